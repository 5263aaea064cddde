//! Scripts that are wrong, wild, or ask for what cannot be made.

use std::fs;

use stillpath::ffi::jpeg;

use crate::common::{Bench, Ran, STILL, one, picture};
use crate::frame;

/// Checks and renders a script over two stills: both must refuse it, before anything is made.
fn refused(text: &str) -> Ran {
    let bench = Bench::new(2);
    bench.script(text);
    bench.run(&["check", "move.lua"]).expect(1);
    let ran = bench.render().expect(1);
    assert!(bench.list("clips").is_empty(), "{:?}", bench.list("clips"));
    ran
}

/// A script with other framing keys, on its line 2.
fn framed(key: &str) -> String {
    one("\"stills\"").replace(
        "pace = stills_per_frame(1),",
        &format!("pace = stills_per_frame(1),\n  framing = framing {{ {key} }},"),
    )
}

/// Fault 58: script: syntax, run error.
#[test]
fn scripts_that_do_not_parse_or_run_stop_at_their_line() {
    refused("local a = {\n  1, 2\nlocal b = 3").says("move.lua:3").says("'}' expected");
    refused("local t = nil\n\nreturn t.x").says("move.lua:3").says("attempt to index a nil value");
    refused("\nerror 'not today'").says("move.lua:2").says("not today");
}

/// Fault 59: script: NaN, nil, empty window.
#[test]
fn numbers_that_are_none_and_windows_of_nothing_stop_the_check_at_their_line() {
    for (key, words) in [
        ("key { at = 0, on = point(0.5, 0.5), zoom = 0 / 0 }", "key.zoom must be a number from 1 to 1000; seen NaN"),
        ("key { at = 0, on = point(0.5, 0.5), zoom = 1 / 0 }", "seen infinity"),
        ("key { at = 0, on = point(0.5, 0.5), zoom = \"2\" }", "write 2 without quotes"),
        ("key { at = 0, on = point(0.5, nil) }", "point.y"),
        ("key { at = 0, show = box(0.2, 0.2, 0, 0.5) }", "box.width must be a number above 0"),
        ("key { at = 0, show = box(0.2, 0.2, 0.5, -0.5) }", "box.height must be a number above 0"),
        ("key { at = 0, on = point(0.5, 0.5), span = 0 }", "key.span must be a number above 0"),
    ] {
        refused(&framed(key)).says(words).says("move.lua:2");
    }
}

/// Fault 60: a window outside the still.
#[test]
fn a_window_that_would_leave_the_still_is_moved_inside_with_a_remark_and_refused_where_strict() {
    // White to its edges: whatever is not white in a frame was never in the still.
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in 1..=8 {
        let white = vec![255; picture(STILL, 0).len()];
        fs::write(bench.still(number), jpeg::encode_rgb(&white, STILL, 92, (2, 2), &[])).unwrap();
    }
    let keys = "key { at = \"start\", on = point(0, 0), zoom = 3 }, key { at = \"end\", on = point(1, 0.98), zoom = 1.2, ease = \"ease-in-out\" }";
    let text = framed(keys).replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\"");
    bench.script(&text);
    bench.render().expect(0).says("move.lua:2");
    for index in 0..8 {
        let path = bench.path(&format!("clips/move-wide/{index:06}.png"));
        let seen = image::open(path).unwrap().to_rgb16();
        assert!(seen.pixels().all(|pixel| pixel.0 == [u16::MAX; 3]), "frame {index} shows a border");
    }
    bench.script(&text.replace("fps = 24", "strict = true, fps = 24"));
    bench.run(&["check", "move.lua"]).expect(1).says("move.lua:2");
}

/// Fault 61: a script without end.
/// Fault 62: a script that eats memory.
#[test]
fn scripts_that_never_end_or_never_stop_growing_end_the_program() {
    for (text, words) in [
        ("while true do end", "and was stopped"),
        ("while true do pcall(function() while true do end end) end", "and was stopped"),
        ("local bomb = ('x'):rep(10 * 1024 * 1024 * 1024)", "of memory and was stopped"),
        ("local t = {}\nwhile true do t[#t + 1] = ('x'):rep(100000) .. #t end", "of memory and was stopped"),
        ("local function f() return 1 + f() end\nf()", "calls were nested too deeply"),
        // The hook that counts instructions never fires inside one call of C: the program must end all the same.
        (
            "local text = ('a'):rep(60)\nlocal hit = text:find(('a*'):rep(40) .. 'b')",
            "ran longer than 7 seconds and was stopped",
        ),
    ] {
        let bench = Bench::new(0);
        bench.script(text);
        bench.run(&["check", "move.lua"]).expect(1).says(words).says("move.lua:");
    }
}

/// Fault 63: files, clock, chance.
#[test]
fn files_processes_the_clock_and_other_code_are_not_there_for_a_script() {
    for (text, name) in [
        ("local f = io.open('/etc/passwd')", "'io'"),
        ("os.execute 'true'", "'os'"),
        ("local now = os.time()", "'os'"),
        ("load 'return 1'", "'load'"),
        ("dofile 'other.lua'", "'dofile'"),
        ("debug.getregistry()", "'debug'"),
    ] {
        refused(text).says(&format!("there is no {name}")).says("move.lua:1");
    }
    refused("require '/etc/passwd'").says("/etc/passwd");
    refused("require '../other'").says("../other");
}

// Fault 64, state kept between frames, cannot happen: a script runs once, before the first frame, and what it says is a
// plan. What is left of it is that the same script over the same stills comes to the same plan.
/// Fault 64: state between frames (a script runs once).
#[test]
fn the_same_script_twice_gives_the_same_plan() {
    let bench = Bench::new(12);
    bench.script(&framed(
        "key { at = \"start\", on = point(math.random(), math.random()), zoom = 1 + math.random() }, key { at = \"end\", on = point(0.5, 0.5), zoom = 2 }",
    ));
    let plan = || bench.run(&["plan", "move.lua", "--json"]).expect(0).out;
    assert_eq!(plan(), plan());
    assert_eq!(bench.planes(), bench.planes());
    assert_eq!(frame(&bench, "7"), frame(&bench, "7"));
}

/// Fault 65: odd size, no rate.
#[test]
fn sizes_and_rates_that_cannot_be_are_refused_with_one_that_can() {
    for (delivery, words) in [
        ("frame = { 1921, 1080 }", "such as 1922x1080"),
        ("frame = { 128, 72 }, fps = 0", "above 0"),
        ("frame = { 128, 72 }, fps = 29.97", "write \"30000/1001\""),
        ("frame = { 128, 72 }, fps = \"29.97\"", "write \"30000/1001\""),
        ("frame = { 128, 72 }, fps = \"fast\"", "frames a second"),
    ] {
        refused(&one("\"stills\"").replace("frame = { 128, 72 }", delivery)).says(words).says("move.lua:2");
    }
}

/// Fault 66: too big for the codec.
#[test]
fn a_delivery_too_big_or_too_fast_for_its_codec_is_refused_before_the_first_frame() {
    for (delivery, words) in [
        ("frame = { 16384, 16384 }", "blocks of 16 x 16: H.264 takes up to 139264"),
        ("frame = { 8192, 4320 }, fps = 240", "too fast for H.264: at this size up to 120.89"),
    ] {
        refused(&one("\"stills\"").replace("frame = { 128, 72 }", delivery)).says(words).says("move.lua:2");
    }
}

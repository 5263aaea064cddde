//! The program as its user meets it: whole renders of small shoots, and what it says when something is wrong.

mod common;

use std::fs;
use std::process::Stdio;
use std::time::{Duration, Instant};

use common::{Bench, STILL, corrupt, cut_short, one, orientation_segment, picture, write_still};
use stillpath::ffi::jpeg;
use stillpath::units::Size;

/// Three shapes, a push-in, one still a frame.
const THREE: &str = r#"
return shot {
  source = stills { "stills" },
  fps = 24,
  pace = stills_per_frame(1),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.6, 0.4), zoom = 1.5, ease = "ease-in-out" },
  },
  deliveries = {
    delivery { "wide", frame = { 128, 72 } },
    delivery { "vertical", frame = { 72, 128 }, fps = 30 },
    delivery { "square", frame = { 96, 96 }, codec = "png" },
  },
}
"#;

#[test]
fn one_script_gives_every_shape_in_one_pass_and_the_sum_comes_out() {
    let bench = Bench::new(12);
    bench.script(THREE);
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("stills: 12 = 12 used"), "{}", ran.out);
    assert_eq!(
        bench.list("clips"),
        ["move-receipt.json", "move-square", "move-strip.png", "move-vertical.mp4", "move-wide.mp4"]
    );
    assert_eq!(bench.list("clips/move-square").len(), 12);
    let json = bench.run(&["render", "move.lua", "--out", "again", "--json"]).expect(0).json();
    assert_eq!(json["stills_decoded"], 12, "each still is decoded once for all three");
    let frames: Vec<_> =
        json["outputs"].as_array().unwrap().iter().map(|output| output["frames"].as_u64().unwrap()).collect();
    assert_eq!(frames, [12, 15, 12]);
}

#[test]
fn one_two_and_eight_threads_and_single_frames_give_the_same_planes() {
    let bench = Bench::new(10);
    bench.script(THREE);
    let planes = |threads: &str| {
        let out = format!("out{threads}");
        let json = bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json();
        json["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect::<Vec<_>>()
    };
    let alone = planes("1");
    assert_eq!(alone, planes("2"));
    assert_eq!(alone, planes("8"));
    for (index, delivery) in ["wide", "vertical", "square"].into_iter().enumerate() {
        for at in ["0", "7"] {
            let name = format!("{delivery}-{at}.png");
            let arguments = ["frame", "move.lua", "--delivery", delivery, "--frame", at, "-o", &name, "--json"];
            let json = bench.run(&arguments).expect(0).json();
            assert_eq!(json["planes"], alone[index][at.parse::<usize>().unwrap()], "{delivery} frame {at}");
        }
    }
    let kept = image::open(bench.path("square-7.png")).unwrap().to_rgb16();
    let sequence = image::open(bench.path("out1/move-square/000007.png")).unwrap().to_rgb16();
    assert_eq!(kept, sequence);
}

#[test]
fn a_rolled_delivery_renders_the_same_on_any_number_of_threads_and_turns_the_picture() {
    let bench = Bench::new(8);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1.2 },
    key { at = "end", on = point(0.5, 0.5), zoom = 1.2, roll = 90, ease = "ease-in-out" },
  },
  deliveries = {
    delivery { "wide", frame = { 128, 72 } },
    delivery { "square", frame = { 96, 96 }, codec = "png", shutter = 360 },
    delivery { "turned", frame = { 90, 160 }, codec = "png",
      framing = framing { key { at = 0, on = point(0.5, 0.5), span = 0.28, roll = -90 } } },
    delivery { "upright", frame = { 160, 90 }, codec = "png",
      framing = framing { key { at = 0, on = point(0.5, 0.5), span = 0.28 * 160 / 90 } } },
  } }"#,
    );
    let planes = |threads: &str| {
        let out = format!("out{threads}");
        let json = bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json();
        json["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect::<Vec<_>>()
    };
    let alone = planes("1");
    assert_eq!(alone, planes("3"));
    // Rolled a quarter turn anticlockwise, the picture turns clockwise: the upright frame turned, to within a code of
    // 255.
    let open = |name: &str| image::open(bench.path(&format!("out1/move-{name}/000000.png"))).unwrap().to_rgb16();
    let (turned, upright) = (open("turned"), image::imageops::rotate90(&open("upright")));
    assert_eq!(turned.dimensions(), upright.dimensions());
    let furthest = turned.iter().zip(upright.iter()).map(|(one, other)| one.abs_diff(*other)).max();
    assert!(furthest.unwrap() <= 257, "{furthest:?}");
    let wide = bench.run(&["plan", "move.lua"]).expect(0);
    assert!(wide.err.contains("its path is bent"), "{}", wide.err);
}

#[test]
fn stills_no_frame_shows_are_not_decoded() {
    let bench = Bench::new(20);
    bench.script(&one("\"stills\"").replace("stills_per_frame(1)", "stills_per_frame(4)"));
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(json["stills_decoded"], 5);
    assert_eq!(json["shots"][0]["tally"]["passed_over"], 15);
}

#[test]
fn shots_on_one_source_are_decoded_in_one_pass() {
    let bench = Bench::new(8);
    bench.script(
        r#"local source = stills { "stills" }
local function cut(name, zoom)
  return shot { name = name, source = source, fps = 24, pace = stills_per_frame(1),
    framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = zoom } },
    deliveries = { delivery { name, frame = { 64, 36 } } } }
end
return { cut("far", 1), cut("near", 2) }"#,
    );
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(json["stills_decoded"], 8);
    assert_eq!(bench.list("clips"), ["move-far.mp4", "move-near.mp4", "move-receipt.json", "move-strip.png"]);
}

#[test]
fn a_pace_that_turns_back_freezes_and_cuts_renders_the_same_planes_on_any_number_of_threads() {
    let bench = Bench::new(12);
    bench.script(
        r#"return {
  shot { name = "there", source = stills { "stills", cuts = { cut(still(2), still(3)) } }, fps = 24,
    pace = pace {
      key { at = "end", rate = stills_per_frame(1) },
      key { at = "start", rate = stills_per_frame(1), reverse = true, freeze = 0.25 },
    },
    deliveries = {
      delivery { "wide", frame = { 128, 72 } },
      delivery { "square", frame = { 72, 72 }, fps = 30, codec = "png" },
    } },
  shot { name = "back", source = stills { "stills" }, fps = 24,
    pace = pace { key { at = "start", rate = stills_per_frame(1), reverse = true } },
    deliveries = { delivery { "backwards", frame = { 128, 72 } } } },
}"#,
    );
    let outputs = |threads: &str| {
        let out = format!("out{threads}");
        bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json()
    };
    let alone = outputs("1");
    for threads in ["2", "7"] {
        let others = outputs(threads);
        assert!(
            (0..3).all(|output| others["outputs"][output]["frame_planes"] == alone["outputs"][output]["frame_planes"])
        );
    }
    // Ten stills there; then the same ten but the last, and all twelve backwards, in one pass.
    assert_eq!(alone["stills_decoded"], 10 + 12);
    let tally = &alone["shots"][0]["tally"];
    assert_eq!((tally["used"].as_u64(), tally["cut"].as_u64()), (Some(10), Some(2)));
    let planes = |output: usize| alone["outputs"][output]["frame_planes"].as_array().unwrap().clone();
    let (wide, backwards) = (planes(0), planes(2));
    assert_eq!((wide.len(), planes(1).len(), backwards.len()), (20 + 6, 33, 12));
    assert!((0..10).all(|frame| wide[frame] == wide[19 - frame]));
    assert!(wide[19..].iter().all(|frame| *frame == wide[0]), "the freeze rests on the first still");
    assert_eq!((&backwards[0], &backwards[11], &backwards[8]), (&wide[9], &wide[0], &wide[1]));
}

#[test]
fn shutters_and_mixed_frames_over_a_turn_render_the_same_planes_on_any_number_of_threads() {
    let bench = Bench::new(16);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, between = "mix",
  pace = pace {
    key { at = still(9), rate = stills_per_frame(3) },
    key { at = still(4), rate = frames_per_still(3), reverse = true },
    key { at = "end", rate = stills_per_frame(2) },
  },
  deliveries = {
    delivery { "wide", frame = { 128, 72 }, shutter = 180 },
    delivery { "square", frame = { 72, 72 }, fps = 30, shutter = 1440, codec = "png" },
    delivery { "tall", frame = { 72, 128 }, fps = 50, light = "encoded" },
  } }"#,
    );
    let outputs = |threads: &str| {
        let out = format!("out{threads}");
        bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json()["outputs"]
            .clone()
    };
    let alone = outputs("1");
    for threads in ["2", "7"] {
        let others = outputs(threads);
        assert!((0..3).all(|output| others[output]["frame_planes"] == alone[output]["frame_planes"]));
    }
}

#[test]
fn a_loop_renders_the_same_planes_on_any_number_of_threads_and_ends_where_it_begins() {
    let bench = Bench::new(48);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1), loop = "0.75s",
  framing = framing { path = "smooth",
    key { at = 0, on = point(0.4, 0.5), zoom = 1.5 },
    key { at = 0.4, on = point(0.6, 0.5), zoom = 2 },
    key { at = 0.9, on = point(0.5, 0.6), zoom = 1.7 } },
  deliveries = {
    delivery { "wide", frame = { 128, 72 } },
    delivery { "square", frame = { 72, 72 }, fps = 30, shutter = 180, codec = "png" },
  } }"#,
    );
    let render = |threads: &str| {
        let out = format!("out{threads}");
        bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json()
    };
    let alone = render("1");
    for threads in ["2", "7"] {
        let others = render(threads);
        assert!(
            (0..2).all(|output| others["outputs"][output]["frame_planes"] == alone["outputs"][output]["frame_planes"])
        );
    }
    // 48 stills, 18 of them for the mix; its frames return to none that the others show.
    assert_eq!(alone["outputs"][0]["frames"], 30);
    assert!(alone["stills_decoded"].as_u64().unwrap() <= 48 + 12, "{}", alone["stills_decoded"]);
}

/// Fault 25: one still.
#[test]
fn a_shoot_of_one_still_makes_a_push_in() {
    let bench = Bench::new(1);
    bench.script(&THREE.replace("stills_per_frame(1)", "over \"1s\""));
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["frames"], 24);
    assert_eq!(json["stills_decoded"], 1);
}

// Six faults of a JPEG sequence: each named, each by the script's policy.

/// Fault 1: a missing number.
#[test]
fn a_missing_still_stops_by_name_unless_the_script_says_what_to_do() {
    let bench = Bench::new(12);
    fs::remove_file(bench.still(7)).unwrap();
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0007");
    assert!(bench.list("clips").is_empty());
    bench.script(&one("\"stills\", missing = \"hold\""));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("12 = 11 used + 1 missing") && ran.out.contains("LAPS0007"), "{}", ran.out);
    bench.script(&one("\"stills\", missing = \"skip\""));
    let json = bench.run(&["render", "move.lua", "--out", "skipped", "--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["frames"], 11);
}

#[test]
fn an_empty_file_stops_by_name_unless_the_script_says_what_to_do() {
    let bench = Bench::new(6);
    fs::write(bench.still(3), b"").unwrap();
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0003").says("empty");
    bench.script(&one("\"stills\", damaged = \"hold\""));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("6 = 5 used + 1 damaged"), "{}", ran.out);
}

#[test]
fn a_half_written_still_is_found_before_the_first_frame() {
    let bench = Bench::new(6);
    let bytes = fs::read(bench.still(4)).unwrap().len();
    cut_short(&bench.still(4), bytes / 2);
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0004").says("rows");
    bench.script(&one("\"stills\", damaged = \"hold\""));
    let planes =
        bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json()["outputs"][0]["frame_planes"]
            .clone();
    assert_eq!(planes[3], planes[2], "the still before is shown, not a stale or grey row");
    assert_ne!(planes[4], planes[2]);
}

/// Fault 26: another size.
#[test]
fn a_still_of_another_size_stops_and_both_are_named() {
    let bench = Bench::new(6);
    write_still(&bench.still(4), Size::new(300, 240), 4);
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0004").says("300x240").says("320x240");
}

/// Fault 27: another orientation.
#[test]
fn an_orientation_that_changes_stops_and_says_how_to_ignore_it() {
    let bench = Bench::new(6);
    let turned = jpeg::encode_rgb(&picture(STILL, 4), STILL, 92, (2, 2), &[(0xE1, &orientation_segment(6))]);
    fs::write(bench.still(4), turned).unwrap();
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0004").says("orientation = \"ignore\"");
    bench.script(&one("\"stills\", orientation = \"ignore\""));
    bench.render().expect(0);
}

/// Fault 2: numbers start anywhere.
#[test]
fn numbers_may_start_anywhere() {
    let bench = Bench::new(0);
    for number in 4991..=4996 {
        write_still(&bench.still(number), STILL, number);
    }
    bench.script(&one("\"stills\""));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("6 = 6 used"), "{}", ran.out);
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn damage_that_only_decoding_shows_follows_the_policy_too() {
    let bench = Bench::new(6);
    corrupt(&bench.still(3));
    bench.script(&one("\"stills\""));
    bench.render().expect(2).says("LAPS0003").says("damaged = \"hold\"");
    assert!(bench.list("clips").is_empty(), "{:?}", bench.list("clips"));

    bench.script(&one("\"stills\", damaged = \"hold\""));
    let held = bench.run(&["render", "move.lua", "--out", "held", "--json"]).expect(0).json();
    let planes = &held["outputs"][0]["frame_planes"];
    assert_eq!(planes[2], planes[1]);
    assert_eq!(held["shots"][0]["stood_in"][0]["slot"], 3);
    let said = bench.run(&["render", "move.lua", "--out", "said"]).expect(0);
    assert!(said.out.contains("6 = 5 used + 1 damaged") && said.out.contains("LAPS0003"), "{}", said.out);

    bench.script(&one("\"stills\", damaged = \"skip\""));
    let skipped = bench.run(&["render", "move.lua", "--out", "skipped", "--json"]).expect(0).json();
    assert_eq!(skipped["outputs"][0]["frames"], 5);
}

#[test]
fn a_web_page_saved_as_a_picture_is_called_one() {
    let bench = Bench::new(4);
    fs::write(bench.still(2), "<!DOCTYPE html><html><body>503 Service Unavailable</body></html>").unwrap();
    bench.script(&one("\"stills\""));
    bench.render().expect(1).says("LAPS0002").says("HTML");
}

// What the machine does wrong, or the user.

#[test]
fn check_reports_what_an_encoder_cannot_make_beside_every_other_mistake_in_the_order_of_lines() {
    let bench = Bench::new(4);
    fs::remove_file(bench.still(2)).unwrap();
    bench.script(
        r#"return shot {
  deliveries = {
    delivery { "odd", frame = { 1921, 1081 } },
    delivery { "fast", frame = { 8192, 4352 }, fps = 240 },
    delivery { "fine", frame = { 65, 65 }, codec = "png" },
  },
  source = stills { "stills" }, pace = stills_per_frame(1),
}"#,
    );
    for arguments in [&["check", "move.lua"][..], &["render", "move.lua", "--out", "clips"]] {
        let ran = bench.run(arguments).expect(1);
        let due = ["'odd' cannot be encoded", "such as 1922x1082", "'fast' cannot be encoded", "LAPS0002 is missing"];
        assert!(
            due.map(|words| ran.err.find(words).unwrap_or_else(|| panic!("no {words}:\n{}", ran.err))).is_sorted(),
            "{}",
            ran.err
        );
        assert!(
            ran.err.contains("move.lua:3") && ran.err.contains("move.lua:4") && !ran.err.contains("'fine'"),
            "{}",
            ran.err
        );
    }
    let said = bench.run(&["check", "move.lua", "--json"]).expect(1).json();
    let mistakes = said["diagnostics"].as_array().unwrap().iter().filter(|one| one["severity"] == "mistake");
    let places: Vec<_> = mistakes.map(|one| one["place"].as_str().unwrap()).collect();
    assert_eq!(places, ["move.lua:3", "move.lua:4", "move.lua:7"]);
    // What is not asked for is nobody's mistake.
    fs::copy(bench.still(1), bench.still(2)).unwrap();
    bench.run(&["check", "move.lua", "--delivery", "fine"]).expect(0);
}

#[test]
fn a_single_frame_never_takes_a_stills_place() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let before = fs::read(bench.still(2)).unwrap();
    let still = "stills/LAPS0002.JPG";
    bench.run(&["frame", "move.lua", "--frame", "0", "-o", still, "--force"]).expect(1).says("among the stills");
    assert_eq!(fs::read(bench.still(2)).unwrap(), before);
}

/// Fault 73: the output is there.
#[test]
fn an_existing_output_is_replaced_only_when_told() {
    let bench = Bench::new(4);
    bench.script(&one("\"stills\""));
    bench.render().expect(0);
    let before = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    bench.render().expect(1).says("already there").says("--force");
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    assert_eq!(fs::read(bench.path("clips/move-wide.mp4")).unwrap(), before, "the same script over the same stills");
}

/// Fault 74: the output among the stills.
#[test]
fn an_output_among_the_stills_is_refused() {
    let bench = Bench::new(4);
    bench.script(&one("\"stills\""));
    bench.run(&["render", "move.lua", "--out", "stills"]).expect(1).says("among the stills");
    bench.script(&one("\"stills/*\"").replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\""));
    bench.run(&["render", "move.lua", "--out", "stills"]).expect(1).says("among the stills");
    assert_eq!(bench.list("stills").len(), 4);
}

#[test]
fn an_unwritable_folder_is_found_before_the_first_frame() {
    let bench = Bench::new(2);
    bench.script(&one("\"stills\""));
    fs::write(bench.path("clips"), "a file where the folder should be").unwrap();
    bench.render().expect(1).says("cannot be written");
}

#[test]
fn wrong_usage_says_so_with_its_own_code() {
    let bench = Bench::new(0);
    bench.run(&["rendre"]).expect(64);
    bench.run(&["render"]).expect(64);
    bench.run(&["render", "move.lua", "--out", "x", "--set", "far"]).expect(64).says("name=value");
    assert!(bench.run(&["--help"]).expect(0).out.contains("render"));
}

#[test]
fn a_delivery_or_frame_that_is_not_there_is_named_with_the_nearest() {
    let bench = Bench::new(3);
    bench.script(THREE);
    bench.run(&["render", "move.lua", "--out", "clips", "--delivery", "wdie"]).expect(1).says("did you mean 'wide'?");
    bench.run(&["frame", "move.lua", "--frame", "0", "-o", "x.png"]).expect(1).says("wide, vertical, square");
    let ran = bench.run(&["frame", "move.lua", "--delivery", "wide", "--frame", "3", "-o", "x.png"]).expect(1);
    ran.says("frames 0 to 2");
    bench.run(&["render", "move.lua", "--out", "clips", "--delivery", "wide"]).expect(0);
    assert_eq!(bench.list("clips"), ["move-wide-receipt.json", "move-wide-strip.png", "move-wide.mp4"]);
}

#[test]
fn names_with_spaces_quotes_and_percent_signs_work() {
    let bench = Bench::new(0);
    for number in 1..=3 {
        write_still(&bench.path(&format!("it's a 50% \"job\"/-still {number:04}.jpg")), STILL, number);
    }
    bench.script(&one(r#""it's a 50% \"job\"""#));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("3 = 3 used"), "{}", ran.out);
}

/// Fault 72: interrupt, kill.
#[test]
fn an_interrupt_stops_cleanly_and_leaves_nothing() {
    let bench = Bench::new(4);
    bench.script(
        &one("\"stills\"")
            .replace("stills_per_frame(1)", "over \"600s\"")
            .replace("{ 128, 72 }", "{ 1920, 1080 }, quality = { crf = 18, preset = \"slow\" }"),
    );
    let mut child = bench.command(&["render", "move.lua", "--out", "clips"]).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    while bench.list("clips").is_empty() && began.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(!bench.list("clips").is_empty(), "the render never began");
    std::thread::sleep(Duration::from_millis(300));
    let killed = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(killed.success());
    let status = child.wait().unwrap();
    assert_eq!(status.code(), Some(130));
    assert!(bench.list("clips").is_empty(), "{:?}", bench.list("clips"));
}

/// Fault 75: two runs, one output.
#[test]
fn two_runs_on_one_output_do_not_mix() {
    let bench = Bench::new(4);
    bench.script(
        &one("\"stills\"")
            .replace("stills_per_frame(1)", "over \"600s\"")
            .replace("{ 128, 72 }", "{ 1920, 1080 }, quality = { crf = 18, preset = \"slow\" }"),
    );
    let mut first = bench.command(&["render", "move.lua", "--out", "clips"]).stderr(Stdio::null()).spawn().unwrap();
    let began = Instant::now();
    while bench.list("clips").is_empty() && began.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(20));
    }
    let second = bench.render();
    first.kill().unwrap();
    first.wait().unwrap();
    second.expect(2).says("another");
    // What the killed run left is taken over.
    bench.script(&one("\"stills\""));
    bench.render().expect(0);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide-strip.png", "move-wide.mp4"]);
}

#[test]
fn the_stills_are_never_touched() {
    let bench = Bench::new(5);
    bench.script(THREE);
    let state = || -> Vec<(String, Vec<u8>, std::time::SystemTime)> {
        let names = bench.list("stills");
        names
            .into_iter()
            .map(|name| {
                let path = bench.path("stills").join(&name);
                let modified = fs::metadata(&path).unwrap().modified().unwrap();
                (name, fs::read(&path).unwrap(), modified)
            })
            .collect()
    };
    let before = state();
    bench.render().expect(0);
    bench.run(&["survey", "stills"]).expect(0);
    assert_eq!(before, state());
}

// Frames of several stills.

/// The one frame, of 16 bits, that is the mean of flat stills of these greys.
fn grey_mean(greys: &[u8], light: &str) -> Vec<u16> {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for (number, &grey) in (1..).zip(greys) {
        let rgb = vec![grey; 3 * STILL.width as usize * STILL.height as usize];
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 95, (2, 2), &[])).unwrap();
    }
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "stills" }}, pace = stills_per_frame({}), shutter = 360, light = "{light}",
  deliveries = {{ delivery {{ "deep", frame = {{ 64, 36 }}, codec = "png" }} }} }}"#,
        greys.len()
    ));
    let json = bench.run(&["render", "move.lua", "--out", light, "--json"]).expect(0).json();
    assert_eq!((&json["stills_decoded"], &json["outputs"][0]["frames"]), (&greys.len().into(), &1.into()));
    image::open(bench.path(&format!("{light}/move-deep/000000.png"))).unwrap().to_rgb16().into_raw()
}

// JOB capability 16's figures.
#[test]
fn the_whole_program_averages_light_black_and_white_are_188_and_one_highlight_in_sixteen_is_71() {
    let mut sixteen = [0; 16];
    sixteen[9] = 255;
    for (greys, light, code) in [
        (&[0, 255][..], "linear", 188.0),
        (&sixteen, "linear", 71.0),
        (&[0, 255], "encoded", 128.0),
        (&sixteen, "encoded", 16.0),
    ] {
        let seen = grey_mean(greys, light);
        assert!(
            seen.iter().all(|&value| (f64::from(value) / 257.0 - code).abs() <= 1.0),
            "{light} {code}: {:?}",
            &seen[..3]
        );
    }
}

#[test]
fn a_scene_that_does_not_change_comes_out_as_if_there_were_one_still() {
    let bench = Bench::new(1);
    for number in 2..=12 {
        fs::copy(bench.still(1), bench.still(number)).unwrap();
    }
    let script = THREE.replace("stills_per_frame(1)", "frames_per_still(1.5)");
    bench.script(&script);
    let planes = |out: &str| -> Vec<_> {
        let json = bench.run(&["render", "move.lua", "--out", out, "--json"]).expect(0).json();
        assert_eq!(json["stills_decoded"], 12, "copies are stills here");
        json["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect()
    };
    let plain = planes("plain");
    for (out, fields) in
        [("long", "shutter = 1440"), ("mixed", "between = \"mix\""), ("codes", "shutter = 900, light = \"encoded\"")]
    {
        bench.script(&script.replace("fps = 24,", &format!("fps = 24, {fields},")));
        assert_eq!(planes(out), plain, "{fields}");
    }
}

#[test]
fn invented_frames_are_counted_in_the_receipt_and_the_same_on_any_number_of_threads_and_alone() {
    let bench = Bench::new(4);
    bench.script(
        &THREE
            .replace("stills_per_frame(1)", "frames_per_still(3)")
            .replace("fps = 24,", "fps = 24, between = \"motion\",")
            .replace("codec = \"png\" }", "codec = \"png\", between = \"mix\" }"),
    );
    let run = |threads: &str| {
        bench.run(&["render", "move.lua", "--out", threads, "--threads", threads, "--json"]).expect(0).json()
    };
    let planes = |json: &serde_json::Value| -> Vec<_> {
        json["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect()
    };
    let alone = run("1");
    let counts: Vec<_> = alone["outputs"].as_array().unwrap().iter().map(|output| output["invented"].clone()).collect();
    // Two of every three frames, but for those of the last still, after which there is none; at 30 a second all but the
    // first.
    assert_eq!(counts, [6, 11, 0]);
    assert_eq!(alone["stills_decoded"], 4);
    for threads in ["2", "8"] {
        assert_eq!(planes(&alone), planes(&run(threads)), "{threads} threads");
    }
    let one = bench
        .run(&["frame", "move.lua", "--delivery", "wide", "--frame", "4", "-o", "one.png", "--json"])
        .expect(0)
        .json();
    assert_eq!(one["planes"], planes(&alone)[0][4]);
    let said = bench.run(&["frame", "move.lua", "--delivery", "wide", "--frame", "4", "-o", "said.png"]).expect(0).out;
    assert!(said.contains("invented between stills LAPS0002 and LAPS0003"), "{said}");
    let text = bench.run(&["render", "move.lua", "--out", "text"]).expect(0).out;
    for count in [6, 11] {
        assert_eq!(
            text.matches(&format!("\n  {count} of them invented between stills by motion\n")).count(),
            1,
            "{text}"
        );
    }
}

#[test]
fn frames_of_several_stills_are_the_same_on_any_number_of_threads_alone_and_after_late_damage() {
    let bench = Bench::new(14);
    corrupt(&bench.still(6));
    bench.script(
        &THREE
            .replace("stills { \"stills\" }", "stills { \"stills\", damaged = \"hold\" }")
            .replace("fps = 24,", "fps = 24, shutter = 900, between = \"mix\",")
            .replace("codec = \"png\" }", "codec = \"png\", shutter = 270, light = \"encoded\" }"),
    );
    let planes = |threads: &str| {
        let out = format!("out{threads}");
        let json = bench.run(&["render", "move.lua", "--out", &out, "--threads", threads, "--json"]).expect(0).json();
        assert_eq!(json["shots"][0]["stood_in"][0]["slot"], 6);
        json["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect::<Vec<_>>()
    };
    let alone = planes("1");
    assert_eq!(alone, planes("2"));
    assert_eq!(alone, planes("5"));
    for (index, delivery) in ["wide", "vertical", "square"].into_iter().enumerate() {
        let ran = bench
            .run(&["frame", "move.lua", "--delivery", delivery, "--frame", "4", "-o", delivery, "--json"])
            .expect(0);
        assert_eq!(ran.json()["planes"], alone[index][4], "{delivery}");
    }
    let said = bench.run(&["frame", "move.lua", "--delivery", "wide", "--frame", "4", "-o", "said.png"]).expect(0).out;
    assert!(said.contains("mean of stills LAPS0005 to LAPS0007"), "{said}");
}

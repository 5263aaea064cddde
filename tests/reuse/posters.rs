//! Posters: a frame of a delivery kept as a picture beside its output.

use std::fs;
use std::process::Command;

use crate::common::{Bench, Ran, corrupt, one};

/// A script of these deliveries over twelve stills, two frames a still.
fn script(deliveries: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = frames_per_still(2),
  framing = framing {{ key {{ at = "start", on = point(0.5, 0.5), zoom = 1 }}, key {{ at = "end", on = point(0.6, 0.4), zoom = 1.5 }} }},
  deliveries = {{ {deliveries} }} }}"#
    )
}

const THREE: &str = r#"
  delivery { "wide", frame = { 128, 72 }, poster = part(0.5) },
  delivery { "square", frame = { 96, 96 }, codec = "png", fps = 30, poster = still(3) },
  delivery { "tall", frame = { 72, 128 }, poster = { "end", "jpeg" } },
"#;

#[test]
fn a_poster_is_to_the_code_the_frame_that_the_command_frame_makes_and_decodes_nothing_twice() {
    let bench = Bench::new(12);
    bench.script(&script(THREE));
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(json["stills_decoded"], 12);
    let posters: Vec<u64> =
        json["outputs"].as_array().unwrap().iter().map(|output| output["poster"]["frame"].as_u64().unwrap()).collect();
    // 12 stills last a second. Half of the shoot is 0.5 s, frame 12 of 24; still 3 comes after 4 / 24 s, frame 5 of 30.
    assert_eq!(posters, [12, 5, 23]);
    let names = ["move-receipt.json", "move-square", "move-square-poster.png", "move-strip.png"];
    let more = ["move-tall-poster.jpg", "move-tall.mp4", "move-wide-poster.png", "move-wide.mp4"];
    assert_eq!(bench.list("clips"), [&names[..], &more].concat());
    for (delivery, at) in [("wide", "12"), ("square", "5")] {
        let name = format!("{delivery}.png");
        bench.run(&["frame", "move.lua", "--delivery", delivery, "--frame", at, "-o", &name]).expect(0);
        let (due, kept) = (bench.path(&name), bench.path(&format!("clips/move-{delivery}-poster.png")));
        assert_eq!(image::open(&due).unwrap().to_rgb16(), image::open(&kept).unwrap().to_rgb16(), "{delivery}");
        assert_eq!(fs::read(due).unwrap(), fs::read(kept).unwrap(), "to the byte, chunks and all");
    }
    let sequence = image::open(bench.path("clips/move-square/000005.png")).unwrap().to_rgb16();
    assert_eq!(image::open(bench.path("clips/move-square-poster.png")).unwrap().to_rgb16(), sequence);
    bench.run(&["frame", "move.lua", "--delivery", "tall", "--frame", "23", "-o", "tall.png"]).expect(0);
    let due = image::open(bench.path("tall.png")).unwrap().to_rgb8();
    let kept = image::open(bench.path("clips/move-tall-poster.jpg")).unwrap().to_rgb8();
    assert_eq!(due.dimensions(), kept.dimensions());
    let error: f64 =
        due.iter().zip(kept.iter()).map(|(one, other)| (f64::from(*one) - f64::from(*other)).powi(2)).sum();
    let psnr = 10.0 * (255.0_f64.powi(2) / (error / due.len() as f64)).log10();
    assert!(psnr > 38.0, "{psnr} dB");
    // Nothing of the posters is in the hashes of frames.
    assert_eq!(json["outputs"][0]["frame_planes"].as_array().unwrap().len(), 24);
}

#[test]
fn a_poster_is_refused_where_something_stands_and_drafts_have_none() {
    let bench = Bench::new(4);
    bench.script(&script(r#"delivery { "wide", frame = { 64, 36 }, poster = 0 }"#));
    bench.run(&["render", "move.lua", "--out", "clips", "--draft"]).expect(0);
    assert_eq!(bench.list("clips"), ["move-wide-strip.draft.png", "move-wide.draft.mp4"]);
    fs::write(bench.path("clips/move-wide-poster.png"), "mine").unwrap();
    bench.render().expect(1).says("move-wide-poster.png is already there");
    assert_eq!(fs::read(bench.path("clips/move-wide-poster.png")).unwrap(), b"mine");
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    image::open(bench.path("clips/move-wide-poster.png")).unwrap();
    bench.run(&["render", "move.lua", "--out", "stills"]).expect(1).says("would be taken for one of them");
}

// A limit on the size of files stands in for a full disk, which only the receipt is too large for.
#[test]
fn a_run_that_is_taken_up_again_makes_the_poster_and_no_other_frame() {
    // Few stills for a long time: a small clip with the hashes of many frames.
    let bench = Bench::new(6);
    let text = one("\"stills\"").replace("stills_per_frame(1)", "frames_per_still(200)");
    bench.script(&text.replace("frame = { 128, 72 }", "frame = { 16, 16 }, poster = part(0.5)"));
    let arguments = "render move.lua --no-strip --out clips";
    bench.run(&["render", "move.lua", "--no-strip", "--out", "whole"]).expect(0);
    let bytes = |name: &str| fs::metadata(bench.path("whole").join(name)).unwrap().len();
    let blocks = (bytes("move-receipt.json") - 1) / 512;
    assert!(bytes("move-wide.mp4") < blocks * 512, "the clip needs the room of its receipt");
    let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec {} {arguments}", env!("CARGO_BIN_EXE_stillpath"));
    let output = Command::new("sh").args(["-c", &limited]).current_dir(bench.folder.path()).output().unwrap();
    Ran::of(output).expect(2).says("only their receipt could not be written");
    let poster = bench.path("clips/move-wide-poster.png");
    let made = fs::read(&poster).unwrap();
    for removed in [false, true] {
        if removed {
            fs::remove_file(&poster).unwrap();
        }
        let output = Command::new("sh").args(["-c", &limited]).current_dir(bench.folder.path()).output().unwrap();
        Ran::of(output).expect(2).says("only their receipt could not be written");
        assert_eq!(fs::read(&poster).unwrap(), made, "removed: {removed}");
    }
    let arguments: Vec<&str> = arguments.split(' ').chain(["--json"]).collect();
    let json = bench.run(&arguments).expect(0).json();
    assert_eq!((&json["outputs"][0]["taken_over"], &json["stills_decoded"]), (&1200.into(), &1.into()));
    assert_eq!(fs::read(&poster).unwrap(), made);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide-poster.png", "move-wide.mp4"]);
}

#[test]
fn a_receipt_lists_the_poster_and_prove_says_when_it_was_changed_or_is_gone() {
    let bench = Bench::new(4);
    bench.script(&script(r#"delivery { "wide", frame = { 64, 36 }, poster = "start", title = "Pier" }"#));
    bench.render().expect(0);
    let receipt: serde_json::Value =
        serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let poster = bench.path("clips/move-wide-poster.png");
    let hash = blake3::hash(&fs::read(&poster).unwrap()).to_hex().to_string();
    let due = serde_json::json!({ "frame": 0, "path": "move-wide-poster.png", "blake3": hash });
    assert_eq!((&receipt["deliveries"][0]["poster"], &receipt["deliveries"][0]["title"]), (&due, &"Pier".into()));
    let prove = || bench.run(&["prove", "clips/move-receipt.json", "--frames", "1"]);
    assert!(prove().expect(0).out.contains("the poster is as the render wrote it"));
    fs::write(&poster, "another").unwrap();
    assert!(prove().expect(1).out.contains("the poster was changed since the render"));
    fs::remove_file(&poster).unwrap();
    assert!(prove().expect(1).out.contains("the poster does not exist"));
}

#[test]
fn moments_that_the_clip_does_not_have_are_mistakes_at_their_line() {
    let bench = Bench::new(6);
    for (moment, said) in [
        ("9", "this poster is past the end: it is at 9 s, but the clip lasts 0.5 s"),
        ("still(7)", "still(7)"),
        ("clock \"14:32\"", "clock"),
    ] {
        bench.script(&script(&format!("delivery {{ \"wide\", frame = {{ 64, 36 }},\n    poster = {moment} }}")));
        let ran = bench.run(&["check", "move.lua"]).expect(1);
        assert!(ran.err.contains(said) && ran.err.contains("move.lua:4"), "{moment}: {}", ran.err);
    }
    // The clip ends before that still is reached.
    let short = script(r#"delivery { "wide", frame = { 64, 36 }, poster = still(5) }"#)
        .replace("fps = 24,", "fps = 24, length = 0.2,");
    bench.script(&short);
    bench.run(&["check", "move.lua"]).expect(1).says("this poster is never reached");
}

#[test]
fn where_the_still_of_a_poster_is_damaged_it_shows_what_its_frame_shows() {
    let bench = Bench::new(6);
    corrupt(&bench.still(4));
    let text = script(r#"delivery { "wide", frame = { 64, 36 }, codec = "png", poster = still(4) }"#);
    bench.script(&text.replace("{ \"stills\" }", "{ \"stills\", damaged = \"hold\" }"));
    bench.render().expect(0);
    let open = |name: &str| image::open(bench.path(&format!("clips/{name}"))).unwrap().to_rgb16();
    assert_eq!(open("move-wide-poster.png"), open("move-wide/000006.png"));
    assert_ne!(open("move-wide-poster.png"), open("move-wide/000008.png"), "stills differ");
}

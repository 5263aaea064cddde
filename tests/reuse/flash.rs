//! `stillpath flash`: finished clips looked at for flashes, and what it says where it cannot.

use std::fs;
use std::process::Command;

use serde_json::Value;
use stillpath::ffi::jpeg;
use stillpath::session::LESSENS;

use crate::common::{Bench, Ran, STILL, put};

/// A shoot of grey stills of these codes.
fn shoot(codes: impl IntoIterator<Item = u8>) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for (index, code) in codes.into_iter().enumerate() {
        let rgb = [code].repeat(3 * STILL.width as usize * STILL.height as usize);
        put(&bench.still(index + 1), jpeg::encode_rgb(&rgb, STILL, 95, (2, 2), &[]));
    }
    bench
}

/// A script over it: fields of the shot, and deliveries.
fn script(fields: &str, deliveries: &str) -> String {
    format!(r#"return shot {{ source = stills {{ "stills" }}, fps = 24, {fields}, deliveries = {{ {deliveries} }} }}"#)
}

const WIDE: &str = r#"delivery { "wide", frame = { 128, 72 } }"#;

/// Three dark stills and three light ones in turn: four flashes a second at a still a frame.
fn four_a_second() -> impl Iterator<Item = u8> {
    (0..48).map(|still| if still % 6 < 3 { 30 } else { 220 })
}

#[test]
fn clips_that_flash_are_named_with_their_frames_whatever_their_codec() {
    let bench = shoot(four_a_second());
    let deliveries = r#"delivery { "wide", frame = { 128, 72 } }, delivery { "cut", frame = { 128, 72 }, codec = "prores" },
        delivery { "frames", frame = { 64, 36 }, codec = "png" }, delivery { "lossless", frame = { 64, 36 }, codec = "ffv1" }"#;
    bench.script(&script("pace = stills_per_frame(1)", deliveries));
    bench.run(&["flash", "move.lua", "--out", "clips"]).expect(2).says("none of the clips of move.lua is in clips");
    bench.render().expect(0);
    let said = bench.run(&["flash", "move.lua", "--out", "clips"]).expect(1).out;
    assert_eq!(said.matches("ABOVE THE LIMIT").count(), 4, "{said}");
    assert_eq!(
        said.matches("frames 3 to 45 (0.12 to 1.92 s): 4 a second, 100 % of a 10-degree field").count(),
        4,
        "{said}"
    );
    assert!(said.contains("nothing is certified") && said.contains("local rules"), "{said}");
    for clip in ["move-wide.mp4", "move-cut.mov", "move-lossless.mkv"] {
        let json = bench.run(&["flash", &format!("clips/{clip}"), "--json"]).expect(1).json();
        let (clip, general) = (&json["clips"][0], &json["clips"][0]["kinds"][0]);
        assert_eq!(
            (&clip["frames"], &clip["rate"], &clip["above"]),
            (&48.into(), &serde_json::json!([24, 1]), &true.into())
        );
        let span = serde_json::json!([{ "first": 3, "last": 45, "flashes": 4, "area": 1.0 }]);
        assert_eq!((&general["kind"], &general["most"], &general["spans"]), (&"general".into(), &4.into(), &span));
        assert_eq!((&json["certified"], &clip["kinds"][1]["most"]), (&Value::Bool(false), &0.into()));
    }
    bench.run(&["flash", "clips/move-frames"]).expect(2).says("type: stillpath flash clips/move-frames --fps 24");
    bench.run(&["flash", "clips/move-frames", "--fps", "24"]).expect(1);
    // Slower frames of the same pictures: two flashes a second.
    let said = bench.run(&["flash", "clips/move-frames", "--fps", "12"]).expect(0).out;
    assert!(said.contains("at most 2 a second"), "{said}");
    let only = bench.run(&["flash", "move.lua", "--out", "clips", "--delivery", "cut", "--json"]).expect(1).json();
    assert_eq!(only["clips"].as_array().unwrap().len(), 1);
}

#[test]
fn a_draft_is_looked_at_where_there_is_no_clip_and_calm_clips_are_within_the_limits() {
    let bench = shoot((0..24).map(|still| 60 + 4 * still));
    bench.script(&script("pace = stills_per_frame(1)", WIDE));
    let refused = bench.run(&["flash", "move.lua", "--out", "clips"]).expect(2);
    // What it says to type, typed.
    let typed = refused.err.split("type: stillpath ").nth(1).unwrap().split(';').next().unwrap().to_owned();
    bench.run(&typed.split(' ').collect::<Vec<_>>()).expect(0);
    let said = bench.run(&["flash", "move.lua", "--out", "clips"]).expect(0).out;
    assert!(said.contains("clips/move-wide.draft.mp4  24 frames of 64x36 at 24 a second"), "{said}");
    assert!(said.contains("general flashes (WCAG 2.2): none"), "{said}");
    assert!(!said.contains("what lessens it") && said.contains("no clearance"), "{said}");
    let json = bench.run(&["render", "move.lua", "--out", "calm", "--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["flashes"], serde_json::json!({ "above": [] }));
    let refused = bench.run(&["flash", "move.lua"]).expect(2);
    let typed = refused.err.split("type: stillpath ").nth(1).unwrap().lines().next().unwrap().to_owned();
    bench.run(&typed.split(' ').collect::<Vec<_>>()).expect(0);
}

#[test]
fn a_display_s_white_brings_its_own_limits_and_the_drawing_shows_every_span() {
    let bench = shoot(four_a_second());
    bench.script(&script("pace = stills_per_frame(1)", WIDE));
    bench.render().expect(0);
    let clip = "clips/move-wide.mp4";
    let said = bench.run(&["flash", clip, "--white", "200", "-o", "flashes.svg"]).expect(1).out;
    assert!(said.contains("flashes on the display (ITU-R BT.1702): ABOVE THE LIMIT"), "{said}");
    assert!(said.contains("a display of 200 cd/m² white"), "{said}");
    let text = fs::read_to_string(bench.path("flashes.svg")).unwrap();
    let drawing = roxmltree::Document::parse(&text).unwrap();
    let bars: Vec<_> = drawing.descendants().filter(|node| node.attribute("class") == Some("flash")).collect();
    let told = |name: &str| bars.iter().map(|bar| bar.attribute(name).unwrap()).collect::<Vec<_>>();
    assert_eq!(
        (told("data-kind"), told("data-first"), told("data-last")),
        (vec!["light", "display"], vec!["3"; 2], vec!["45"; 2])
    );
    let number = |node: &roxmltree::Node<'_, '_>, name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
    // The panel is the first rectangle in the clip's group: 48 frames wide.
    let group = drawing.descendants().find(|node| node.attribute("class") == Some("clip")).unwrap();
    let panel = group.descendants().find(|node| node.has_tag_name("rect")).unwrap();
    let frame = number(&panel, "width") / 48.0;
    for bar in &bars {
        let (left, wide) = (number(bar, "x") - number(&panel, "x"), number(bar, "width"));
        assert!((left - 3.0 * frame).abs() < 0.02 && (wide - 43.0 * frame).abs() < 0.02, "{left} {wide} of {frame}");
    }
    bench.run(&["flash", clip, "-o", "flashes.svg"]).expect(2).says("flashes.svg is already there");
    bench.run(&["flash", clip, "-o", "flashes.png", "--quiet"]).expect(1);
    assert!(fs::read(bench.path("flashes.png")).unwrap().starts_with(b"\x89PNG"));
    bench.run(&["flash", clip, "-o", "flashes.gif"]).expect(2).says("name a file that ends in .svg or .png");
}

#[test]
fn what_it_advises_can_be_typed_and_lessens_the_flashes() {
    let pace = |frames: &str| format!("pace = {frames}");
    // Single stills, 12 times a second: light .133 and .285 of white.
    let single = || shoot((0..48).map(|still| if still % 2 == 0 { 102 } else { 145 }));
    // Every other still .2 and .33; one and a half frames each.
    let fading = || shoot((0..32).map(|still| if still % 2 == 0 { 124 } else { 150 }));
    for (what, _) in LESSENS {
        let (bench, before, after) = match what {
            "level = true" | "shutter = 720" => {
                let before = pace("stills_per_frame(1)");
                (single(), before.clone(), format!("{before}, {what}"))
            }
            "between = \"mix\"" => {
                let before = pace("frames_per_still(1.5)");
                (fading(), before.clone(), format!("{before}, {what}"))
            }
            "rate = frames_per_still(12)" => {
                let slow = format!("pace = pace {{ key {{ at = \"start\", {what} }} }}");
                (single(), pace("stills_per_frame(1)"), slow)
            }
            _ => panic!("{what} is advised and not tried here"),
        };
        for (fields, code) in [(before, 1), (after, 0)] {
            bench.script(&script(&fields, WIDE));
            bench.run(&["render", "move.lua", "--out", "clips", "--force", "--no-strip", "--quiet"]).expect(0);
            let ran = bench.run(&["flash", "clips/move-wide.mp4"]);
            assert_eq!(ran.code, code, "{fields}\n{}", ran.out);
            assert_eq!(ran.out.contains(&format!("  {what:28} ")), code == 1);
        }
    }
}

#[test]
fn what_is_no_clip_is_named_with_what_to_type() {
    let bench = shoot(four_a_second());
    bench.script(&script("pace = stills_per_frame(1)", WIDE));
    bench.render().expect(0);
    fs::write(bench.path("notes.mp4"), "no clip at all, only words").unwrap();
    fs::write(bench.path("empty.mp4"), "").unwrap();
    fs::create_dir(bench.path("nothing")).unwrap();
    let clip = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    fs::write(bench.path("half.mp4"), &clip[..clip.len() / 2]).unwrap();
    for (given, words) in [
        ("notes.mp4", "notes.mp4: no video can be made of it"),
        ("empty.mp4", "empty.mp4: no video can be made of it"),
        ("none.mp4", "none.mp4: it does not exist"),
        ("stills/LAPS0001.JPG", "it is a still picture, and one picture does not flash"),
        ("nothing", "a folder of frames does not say how many are shown a second"),
        ("none.lua", "none.lua is a script: its clips are looked at"),
    ] {
        let ran = bench.run(&["flash", given]).expect(2).says(words);
        assert!(ran.err.contains("help: "), "{}", ran.err);
        assert_eq!(ran.out, "");
    }
    bench.run(&["flash", "nothing", "--fps", "24"]).expect(2).says("there are no frames in this folder");
    bench.run(&["flash", "stills", "--fps", "24"]).expect(2).says("there are no frames in this folder");
    let ran = bench.run(&["flash", "half.mp4"]).expect(2);
    assert!(ran.err.contains("cut short") || ran.err.contains("only"), "{}", ran.err);
    for white in ["0", "-5", "NaN", "inf", "bright"] {
        let ran = bench.run(&["flash", "clips/move-wide.mp4", "--white", white]).expect(64);
        assert!(ran.err.contains("write --white 200"), "{}", ran.err);
    }
    bench.run(&["flash", "clips/move-wide.mp4", "--white", "200"]).expect(1);
    bench.run(&["flash", "clips/move-wide.mp4", "--fps", "0"]).expect(64).says("a frame rate is above 0");
    bench.run(&["flash", "broken.lua", "--out", "clips"]).expect(2);
    let clips = ["flash", "move.lua", "--out", "clips"];
    bench.run(&[&clips[..], &["--delivery", "wied"]].concat()).expect(2).says("did you mean 'wide'?");
    bench.run(&[&clips[..], &["--set", "far=2"]].concat()).expect(2).says("far");
    let refused =
        bench.run(&["flash", "clips/move-wide.mp4", "--out", "clips"]).expect(2).says("--out belongs to a script");
    let typed = refused.err.split("type: stillpath ").nth(1).unwrap().lines().next().unwrap().to_owned();
    bench.run(&typed.split(' ').collect::<Vec<_>>()).expect(1);
}

// FFmpeg's command line makes what our own deliveries never are.
#[test]
fn a_clip_that_ends_too_early_is_looked_at_as_far_as_it_goes_and_not_called_calm() {
    let bench = shoot([0]);
    let ffmpeg = |arguments: &str, output: &str| {
        let words = arguments.split_whitespace().chain(["-loglevel", "error", "-y", output]);
        let ran = Command::new("ffmpeg").args(words).current_dir(bench.folder.path()).output().unwrap();
        assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    };
    ffmpeg("-f lavfi -i testsrc2=s=128x72:r=25:d=2 -c:v libx264 -pix_fmt yuv420p -movflags +faststart", "whole.mp4");
    bench.run(&["flash", "whole.mp4"]).expect(0);
    let whole = fs::read(bench.path("whole.mp4")).unwrap();
    fs::write(bench.path("short.mp4"), &whole[..whole.len() * 2 / 3]).unwrap();
    let ran = bench.run(&["flash", "short.mp4"]).expect(2).says("short.mp4: only ");
    assert!(ran.err.contains("its index promises 50 frames") && ran.err.contains("copy it again"), "{}", ran.err);
    // One frame is a clip, and nothing changes in it.
    ffmpeg("-f lavfi -i color=red:s=64x64:r=25 -frames:v 1 -c:v libx264 -pix_fmt yuv420p", "one.mp4");
    let said = bench.run(&["flash", "one.mp4"]).expect(0).out;
    assert!(said.contains("one.mp4  1 frames of 64x64"), "{said}");
    let hdr = "-color_primaries bt2020 -color_trc smpte2084 -colorspace bt2020nc";
    ffmpeg(&format!("-f lavfi -i color=red:s=64x64:r=25:d=1 -c:v libx264 -pix_fmt yuv420p {hdr}"), "hdr.mp4");
    bench.run(&["flash", "hdr.mp4"]).expect(2).says("it is coded for high dynamic range (PQ)");
    // Full range, BT.601, 4:4:4, no tags at all but the range: the light is the same.
    let light = "if(lt(mod(N\\,6)\\,3)\\,0\\,86)";
    let filter = format!("color=black:s=64x64:r=24:d=2,format=rgb24,geq=r='{light}':g='{light}':b='{light}'");
    for (format, above) in [("-pix_fmt yuvj444p -crf 0", 0), ("-pix_fmt yuv444p10le -crf 0", 0)] {
        ffmpeg(&format!("-f lavfi -i {filter} -c:v libx264 {format}"), "grey.mp4");
        bench.run(&["flash", "grey.mp4"]).expect(above);
    }
    let light = light.replace("86", "93");
    let filter = format!("color=black:s=64x64:r=24:d=2,format=rgb24,geq=r='{light}':g='{light}':b='{light}'");
    for format in ["-pix_fmt yuvj444p -crf 0", "-pix_fmt yuv444p10le -crf 0", "-pix_fmt yuvj420p -crf 1"] {
        ffmpeg(&format!("-f lavfi -i {filter} -c:v libx264 {format}"), "grey.mp4");
        bench.run(&["flash", "grey.mp4"]).expect(1);
    }
}

/// The receipt of `move.lua` in a folder.
fn receipt(bench: &Bench, folder: &str) -> Value {
    serde_json::from_slice(&fs::read(bench.path(folder).join("move-receipt.json")).unwrap()).unwrap()
}

#[test]
fn a_render_says_that_a_clip_flashes_and_its_receipt_in_which_frames() {
    let bench = shoot(four_a_second());
    let deliveries = r#"delivery { "wide", frame = { 128, 72 } }, delivery { "frames", frame = { 64, 36 }, codec = "png" },
        delivery { "deep", frame = { 128, 72 }, codec = "hevc" },
        delivery { "master", frame = "full", every = "still" }"#;
    bench.script(&script("pace = stills_per_frame(1)", deliveries));
    let said = bench.render().expect(0).out;
    for clip in ["wide.mp4", "frames", "deep.mp4"] {
        let line = format!(
            "it flashes up to 4 times a second, above the 3 of WCAG 2.2, in frames 3 to 45: stillpath flash clips/move-{clip}"
        );
        assert!(said.contains(&line), "{said}");
    }
    // What it says to type, typed.
    let typed = said.split(": stillpath ").nth(1).unwrap().lines().next().unwrap();
    bench.run(&typed.split(' ').collect::<Vec<_>>()).expect(1);
    assert_eq!(said.matches("it flashes").count(), 3, "{said}");
    let receipt = receipt(&bench, "clips");
    let due = serde_json::json!({ "general": 4, "above": [[3, 45]] });
    for delivery in 0..3 {
        assert_eq!(receipt["deliveries"][delivery]["flashes"], due);
    }
    assert_eq!(receipt["deliveries"][3]["flashes"], Value::Null, "a master is not made to be watched");
    bench.run(&["prove", "clips/move-receipt.json", "--frames", "1"]).expect(0);
    let json = bench.run(&["render", "move.lua", "--out", "again", "--draft", "--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["flashes"], due, "drafts say it too");
}

// A limit on the size of files stands in for a full disk, which only the receipt is too large for.
#[test]
fn a_run_that_is_taken_up_again_decodes_what_it_has_not_seen_and_says_the_same() {
    let bench = shoot((0..40).map(|still| if still % 2 == 0 { 30 } else { 220 }));
    bench.script(&script("pace = frames_per_still(3)", r#"delivery { "wide", frame = { 16, 16 } }"#));
    bench.run(&["render", "move.lua", "--no-strip", "--out", "whole"]).expect(0);
    let bytes = |name: &str| fs::metadata(bench.path("whole").join(name)).unwrap().len();
    let blocks = (bytes("move-receipt.json") - 1) / 512;
    assert!(bytes("move-wide.mp4") < blocks * 512, "the clip needs the room of its receipt");
    let program = env!("CARGO_BIN_EXE_stillpath");
    let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec {program} render move.lua --no-strip --out clips");
    let output = Command::new("sh").args(["-c", &limited]).current_dir(bench.folder.path()).output().unwrap();
    Ran::of(output).expect(2).says("only their receipt could not be written");
    let said = bench.run(&["render", "move.lua", "--no-strip", "--out", "clips"]).expect(0).out;
    assert!(
        said.contains("kept from an interrupted run") && said.contains("it flashes up to 4 times a second"),
        "{said}"
    );
    let of = |folder: &str| receipt(&bench, folder)["deliveries"][0]["flashes"].clone();
    let (whole, resumed) = (of("whole"), of("clips"));
    assert_eq!(whole, resumed);
    assert_eq!(whole["above"], serde_json::json!([[3, 117]]));
}

#[test]
fn the_command_says_of_a_file_what_its_receipt_says_of_its_frames() {
    // Moving waves, and stills of which every other one is much darker.
    let (moving, flashing) = (Bench::new(16), shoot((0..32).map(|still| if still % 2 == 0 { 40 } else { 200 })));
    for (bench, code) in [(moving, 0), (flashing, 1)] {
        let deliveries = r#"delivery { "wide", frame = { 128, 72 } }, delivery { "square", frame = { 96, 96 } }"#;
        bench.script(&script("pace = stills_per_frame(1)", deliveries));
        bench.run(&["render", "move.lua", "--out", "clips", "--no-strip", "--quiet"]).expect(0);
        let receipt = receipt(&bench, "clips");
        for (index, clip) in ["clips/move-wide.mp4", "clips/move-square.mp4"].into_iter().enumerate() {
            let json = bench.run(&["flash", clip, "--json"]).expect(code).json();
            let (told, general) = (&receipt["deliveries"][index]["flashes"], &json["clips"][0]["kinds"][0]);
            let spans = general["spans"].as_array().unwrap().iter();
            let spans: Vec<Value> = spans.map(|span| serde_json::json!([span["first"], span["last"]])).collect();
            assert_eq!((&told["above"], spans.len()), (&Value::Array(spans.clone()), usize::from(code == 1)), "{clip}");
            assert_eq!(told["general"], if code == 1 { general["most"].clone() } else { Value::Null }, "{clip}");
        }
    }
}

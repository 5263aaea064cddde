//! `explain` from the command line.

use std::fs;

use crate::common::Bench;

const SCRIPT: &str = r#"return shot {
  source = stills { "stills", missing = "hold" },
  fps = 24,
  pace = pace {
    key { at = "start", rate = stills_per_frame(1) },
    key { at = "end", rate = frames_per_still(4), ease = "ease-in" },
    fit = "1s",
  },
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.9, 0.5), zoom = 2, ease = "ease-in-out" },
  },
  deliveries = {
    delivery { "wide", frame = { 128, 72 } },
    delivery { "square", frame = { 96, 96 } },
  },
}
"#;

#[test]
fn a_frame_is_explained_in_a_few_lines_that_name_the_scripts_own() {
    let bench = Bench::new(12);
    fs::remove_file(bench.still(3)).unwrap();
    bench.script(SCRIPT);
    let explained =
        |frame: &str| bench.run(&["explain", "move.lua", "--delivery", "wide", "--frame", frame]).expect(0).out;
    let text = explained("12");
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[0], "frame 12 of 0 to 23 of 'wide' (move.lua:14), at 0.500 s");
    assert!(lines[1].starts_with("still:  LAPS00") && lines[1].contains(", still("), "{text}");
    assert!(
        lines[2].contains("from 24.000 a second (move.lua:5) to 6.000 (move.lua:6); scaled to fit 1 s (move.lua:4)"),
        "{text}"
    );
    assert!(lines[2].contains("% of the way, which \"ease-in\" makes"), "{text}");
    assert!(lines[4].contains("52.2 % of the way, which \"ease-in-out\" makes"), "{text}");
    assert!(
        lines[5].ends_with("the key at 0.000 s (move.lua:10)")
            && lines[6].ends_with("the key at 0.958 s (move.lua:11)"),
        "{text}"
    );
    assert!(text.contains("moved inside: 'wide' by 48 px left (move.lua:11)"), "{text}");
    let held = (0..24).map(|frame| explained(&frame.to_string())).find(|text| text.contains("is held")).unwrap();
    let due =
        "still:  LAPS0002; it is still(3)'s turn, LAPS0003, which is missing: the still before is held (move.lua:2)";
    assert_eq!(held.lines().nth(1), Some(due));
}

#[test]
fn a_frame_is_explained_as_json_and_its_row_is_the_plans() {
    let bench = Bench::new(12);
    bench.script(SCRIPT);
    let json = bench.run(&["explain", "move.lua", "--delivery", "square", "--at", "0.5s", "--json"]).expect(0).json();
    let plan = bench.run(&["plan", "move.lua", "--delivery", "square", "--json"]).expect(0).json();
    assert_eq!(json["row"], plan["plans"][0]["deliveries"][0]["rows"][12]);
    assert_eq!(json["framing"]["way"]["between"]["ease"], "\"ease-in-out\"");
    assert_eq!(json["pace"]["fit"][1], 1.0);
}

#[test]
fn a_moment_or_delivery_that_cannot_be_told_is_refused_with_what_to_write() {
    let bench = Bench::new(4);
    bench.script(SCRIPT);
    let run = |more: &[&str]| bench.run(&[&["explain", "move.lua"], more].concat());
    run(&["--frame", "3"]).expect(1).says("which of the deliveries? wide, square").says("--delivery");
    run(&["--delivery", "wide", "--at", "noon"]).expect(1).says("a moment is 3.5").says("seen \"noon\"");
    run(&["--delivery", "wide", "--at", "14:32"]).expect(1).says("times");
    run(&["--delivery", "wide", "--at", "00:00:00:99"]).expect(1).says("run from 00 to 23");
    run(&["--delivery", "wide", "--at", "-1"]).expect(64);
    for plain in ["3", "0.5"] {
        let said = run(&["--delivery", "wide", "--at", plain]).expect(1).says("a moment is 3.5s");
        said.says(&format!("type --at {plain}s for that second of the clip"));
    }
    run(&["--delivery", "wide"]).expect(64).says("--frame");
    run(&["--delivery", "wide", "--frame", "3", "--at", "2s"]).expect(64);
}

/// The number that used to be typed after `--at`, and what is said to be typed in its place.
#[test]
fn a_frame_is_made_by_its_number_or_by_a_moment_and_a_plain_number_is_asked_about() {
    let bench = Bench::new(12);
    bench.script(SCRIPT);
    let made = |which: [&str; 2]| {
        let path = format!("frame{}.png", which.concat());
        let arguments = ["frame", "move.lua", "--delivery", "wide", "-o", &path, "--json"];
        let json = bench.run(&[&arguments[..], &which].concat()).expect(0).json();
        (json["frame"].as_u64().unwrap(), json["planes"].clone())
    };
    assert_eq!(made(["--at", "0.5s"]), made(["--frame", "12"]));
    assert_eq!(made(["--at", "end"]).0, 23);
    assert_eq!(made(["--at", "00:00:00:07"]).0, 7);
    let run = |more: &[&str]| bench.run(&[&["frame", "move.lua", "--delivery", "wide", "-o", "x.png"], more].concat());
    let said = run(&["--at", "1"]).expect(1).says("--at: a moment is 3.5s, 00:00:03:12, start, end, 14:32");
    said.says("type --at 1s for that second of the clip")
        .says("type --frame 1 for the frame of that number, counted from 0");
    assert_eq!((made(["--at", "1s"]).0, made(["--frame", "1"]).0), (23, 1));
    run(&["--at", "120s"]).expect(1).says("the clip lasts 1 s; seen 120 s");
    run(&["--frame", "120"]).expect(1).says("'wide' has frames 0 to 23; seen 120");
    run(&["--at", "14:32"]).expect(1).says("times");
    run(&["--frame", "0.5"]).expect(64);
    run(&["--frame", "1", "--at", "1s"]).expect(64);
    run(&[]).expect(64).says("--frame");
    // A drawing has no frame of a number.
    let drawn = bench.run(&["draw", "move.lua", "-o", "sheet.svg", "--at", "1"]).expect(1).says("type --at 1s for");
    assert!(!drawn.err.contains("--frame"), "{}", drawn.err);
    bench.run(&["draw", "move.lua", "-o", "sheet.svg", "--at", "1s"]).expect(0);
    bench.script(
        r#"return shot { source = stills { "stills" }, pace = stills_per_frame(1), fps = 24,
  deliveries = { delivery { "master", every = "still", frame = "full", codec = "ffv1" } } }"#,
    );
    let master = ["frame", "move.lua", "-o", "still.png"];
    bench.run(&[&master[..], &["--at", "start"]].concat()).expect(1).says("type --frame N for still N");
    bench.run(&[&master[..], &["--frame", "3"]].concat()).expect(0);
}

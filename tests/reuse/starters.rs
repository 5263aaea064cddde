//! `new`: the starter script of every kind of shoot renders as it is.

use std::fs;

use crate::common::{Bench, cut_short, exif, picture, write_still};
use stillpath::ffi::jpeg;
use stillpath::units::Size;

const LANDSCAPE: Size = Size { width: 480, height: 360 };
const PORTRAIT: Size = Size { width: 360, height: 480 };

/// A still taken so many seconds after noon of a day of May.
fn timed(bench: &Bench, path: &str, size: Size, number: usize, day: usize, seconds: usize) {
    let time = format!("2031:05:{day:02} {:02}:{:02}:{:02}", 12 + seconds / 3600, seconds / 60 % 60, seconds % 60);
    let bytes = jpeg::encode_rgb(&picture(size, number), size, 92, (2, 2), &[(0xE1, &exif(&time))]);
    let path = bench.path(path);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

/// Writes a script for a folder, checks and renders it, and gives its text.
fn rendered(bench: &Bench, folder: &str, script: &str, outputs: &[&str]) -> String {
    bench.run(&["new", folder, "-o", script]).expect(0);
    bench.run(&["check", script]).expect(0);
    let json = bench.run(&["render", script, "--out", "clips", "--json"]).expect(0).json();
    let names: Vec<&str> =
        json["outputs"].as_array().unwrap().iter().map(|one| one["delivery"].as_str().unwrap()).collect();
    assert_eq!(names, outputs);
    fs::read_to_string(bench.path(script)).unwrap()
}

#[test]
fn a_landscape_shoot_with_times_gets_its_times_and_a_key_on_the_clock_that_works() {
    let bench = Bench::new(0);
    for number in 1..=30 {
        timed(&bench, &format!("day/LAPS{number:04}.JPG"), LANDSCAPE, number, 4, 5 * number);
    }
    let text = rendered(&bench, "day", "day.lua", &["wide", "vertical", "square"]);
    for due in [
        "30 stills of 480x360, one every 5 s,\n-- taken from 2031-05-04 12:00:05 to 2031-05-04 12:02:30.",
        "    \"day\",\n",
        "Every still for 8 frames: 10 s.",
        "pace = frames_per_still(8),",
        "    -- key { at = clock \"12:01:20\", on = subject,",
        "stillpath render day.lua --out clips",
        "delivery { \"wide\", frame = { 320, 180 } }",
    ] {
        assert!(text.contains(due), "{due}\n{text}");
    }
    assert!(!text.contains("missing") && !text.contains("damaged") && !text.contains("interval"), "{text}");
    fs::write(bench.path("day.lua"), text.replace("    -- key {", "    key {")).unwrap();
    bench.run(&["check", "day.lua", "--set", "near=2"]).expect(0);
}

#[test]
fn the_commands_that_a_starter_names_work_in_their_order() {
    let bench = Bench::new(0);
    for number in 1..=6 {
        write_still(&bench.path(&format!("a day/LAPS{number:04}.JPG")), LANDSCAPE, number);
    }
    let made = bench.run(&["new", "a day", "-o", "day.lua"]).expect(0);
    assert!(made.out.contains("next: stillpath check day.lua\n"), "{}", made.out);
    let text = fs::read_to_string(bench.path("day.lua")).unwrap();
    let steps: Vec<&str> = text.lines().filter_map(|line| line.strip_prefix("--   stillpath ")).collect();
    let words: Vec<&str> = steps.iter().map(|step| step.split(' ').next().unwrap()).collect();
    assert_eq!(words, ["survey", "check", "live", "draw", "render", "render", "prove"]);
    assert!(steps[0].starts_with("survey \"a day\"  ") && steps[0].contains("`new`"), "{}", steps[0]);
    for step in steps.iter().filter(|step| !step.starts_with("live ")) {
        let command = step.split("  ").next().unwrap().replace("\"a day\"", "a?day");
        let arguments: Vec<String> = command.split(' ').map(|word| word.replace('?', " ")).collect();
        bench.run(&arguments.iter().map(String::as_str).collect::<Vec<_>>()).expect(0);
    }
    for made in ["move.svg", "clips/day-wide.draft.mp4", "clips/day-wide.mp4", "clips/day-receipt.json"] {
        assert!(bench.path(made).exists(), "{made}");
    }
}

#[test]
fn a_shoot_of_two_days_gets_a_key_whose_day_is_said() {
    let bench = Bench::new(0);
    for number in 1..=12 {
        timed(&bench, &format!("days/LAPS{number:04}.JPG"), LANDSCAPE, number, 4 + number / 7, 600 * (number % 7));
    }
    bench.run(&["new", "days"]).expect(0);
    let text = fs::read_to_string(bench.path("days.lua")).unwrap();
    assert!(text.contains("clock \"2031-05-05 12:00:00\""), "{text}");
    fs::write(bench.path("days.lua"), text.replace("    -- key {", "    key {")).unwrap();
    bench.run(&["check", "days.lua"]).expect(0);
}

#[test]
fn a_portrait_shoot_without_times_gets_its_own_shape_first_and_a_place_for_the_interval() {
    let bench = Bench::new(0);
    for number in 1..=4 {
        write_still(&bench.path(&format!("tall/LAPS{number:04}.JPG")), PORTRAIT, number);
    }
    let text = rendered(&bench, "tall", "tall.lua", &["vertical", "wide", "square"]);
    assert!(text.contains("4 stills of 360x480.\n") && text.contains("    -- interval = 5,"), "{text}");
    assert!(text.contains("frames_per_still(12)") && !text.contains("clock"), "{text}");
}

#[test]
fn one_still_becomes_a_push_in() {
    let bench = Bench::new(0);
    write_still(&bench.path("one/LAPS0001.JPG"), LANDSCAPE, 1);
    let text = rendered(&bench, "one", "one.lua", &["wide", "vertical", "square"]);
    assert!(text.contains("1 still of 480x360.\n") && text.contains("pace = over \"8s\","), "{text}");
}

#[test]
fn missing_and_damaged_stills_are_named_and_held() {
    let bench = Bench::new(0);
    for number in [1, 2, 4, 5, 8] {
        write_still(&bench.path(&format!("gaps/LAPS{number:04}.JPG")), LANDSCAPE, number);
    }
    cut_short(&bench.path("gaps/LAPS0005.JPG"), 900);
    let text = rendered(&bench, "gaps", "gaps.lua", &["wide", "vertical", "square"]);
    assert!(
        text.contains("-- 3 stills are missing, \"LAPS0003\" the first:") && text.contains("    missing = \"hold\",\n"),
        "{text}"
    );
    assert!(text.contains("-- \"LAPS0005\" is damaged:") && text.contains("    damaged = \"hold\",\n"), "{text}");
}

#[test]
fn a_long_shoot_runs_at_whole_stills_a_frame() {
    let bench = Bench::new(0);
    let bytes = jpeg::encode_rgb(&picture(Size::new(64, 48), 1), Size::new(64, 48), 60, (2, 2), &[]);
    fs::create_dir_all(bench.path("long")).unwrap();
    for number in 1..=1500 {
        // Every file differs: byte-identical ones might be taken for copies.
        fs::write(bench.path(&format!("long/LAPS{number:04}.JPG")), [&bytes[..], &u32::to_le_bytes(number)].concat())
            .unwrap();
    }
    bench.run(&["new", "long"]).expect(0);
    let text = fs::read_to_string(bench.path("long.lua")).unwrap();
    assert!(text.contains("One still in 3, a frame each: 20.833 s.") && text.contains("stills_per_frame(3)"), "{text}");
}

#[test]
fn a_script_elsewhere_finds_stills_under_any_name() {
    let bench = Bench::new(0);
    let folder = "it's a \"job\"\\ [1]\n-- 50%";
    write_still(&bench.path(&format!("{folder}/LAPS0001.JPG")), LANDSCAPE, 1);
    fs::create_dir_all(bench.path("scripts/own")).unwrap();
    bench.run(&["new", folder, "-o", "scripts/own/a b\n.lua"]).expect(0);
    let text = fs::read_to_string(bench.path("scripts/own/a b\n.lua")).unwrap();
    assert!(text.contains(r#"    "../../it's a \"job\"\\ [1]\n-- 50%","#), "{text}");
    bench.run(&["check", "scripts/own/a b\n.lua"]).expect(0);
    fs::rename(bench.path("scripts/own/a b\n.lua"), bench.path("scripts/own/moved.lua")).unwrap();
    bench.run(&["check", "scripts/own/moved.lua"]).expect(0);
}

#[test]
fn a_script_that_is_there_stays_unless_told_and_nothing_lands_among_the_stills() {
    let bench = Bench::new(3);
    fs::write(bench.path("stills.lua"), "mine").unwrap();
    bench.run(&["new", "stills"]).expect(1).says("already there").says("--force");
    assert_eq!(fs::read_to_string(bench.path("stills.lua")).unwrap(), "mine");
    bench.run(&["new", "stills", "--force"]).expect(0);
    bench.run(&["check", "stills.lua"]).expect(0);
    bench.run(&["new", "stills", "-o", "stills/move.lua"]).expect(1).says("among the stills");
    bench.run(&["new", "stills/LAPS0001.JPG"]).expect(1).says("neither a folder nor a recording");
    bench.run(&["new", "nothing"]).expect(1).says("nothing");
    fs::create_dir(bench.path("empty")).unwrap();
    bench.run(&["new", "empty"]).expect(1).says("no still");
    assert_eq!(bench.list("."), ["empty", "stills", "stills.lua"]);
    assert_eq!(bench.list("stills").len(), 3);
}

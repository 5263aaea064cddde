//! One script, several shoots: `--source`.

use std::fs;

use crate::common::{Bench, STILL, write_still};
use stillpath::units::Size;

const SCRIPT: &str = r#"return shot { source = stills { "stills", missing = "hold" }, fps = 24, pace = stills_per_frame(1),
  deliveries = { delivery { "wide", frame = { 128, 72 } } } }"#;

/// A script in `scripts/`, its own shoot beside it, and two more below the working folder.
fn bench() -> Bench {
    let bench = Bench::new(0);
    for (folder, stills) in [("scripts/stills", 4), ("monday", 6), ("tuesday", 3)] {
        for number in 1..=stills {
            write_still(&bench.path(&format!("{folder}/LAPS{number:04}.JPG")), STILL, number);
        }
    }
    fs::write(bench.path("scripts/move.lua"), SCRIPT).unwrap();
    bench
}

fn frames(bench: &Bench, more: &[&str]) -> usize {
    let arguments = [&["plan", "scripts/move.lua", "--json"], more].concat();
    bench.run(&arguments).expect(0).json()["plans"][0]["deliveries"][0]["rows"].as_array().unwrap().len()
}

#[test]
fn a_source_given_takes_the_place_of_the_scripts_own_and_is_seen_from_the_working_folder() {
    let bench = bench();
    assert_eq!(frames(&bench, &[]), 4);
    assert_eq!(frames(&bench, &["--source", "monday"]), 6);
    assert_eq!(frames(&bench, &["--source", "tuesday/*.JPG"]), 3);
    bench.run(&["check", "scripts/move.lua", "--source", "monday"]).expect(0);
    bench.run(&["render", "scripts/move.lua", "--source", "tuesday", "--out", "clips"]).expect(0);
    bench.run(&["frame", "scripts/move.lua", "--source", "tuesday", "--frame", "2", "-o", "two.png"]).expect(0);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide-strip.png", "move-wide.mp4"]);
    bench
        .run(&["render", "scripts/move.lua", "--source", "monday", "--out", "monday"])
        .expect(1)
        .says("among the stills");
}

#[test]
fn what_the_script_says_about_missing_stills_holds_for_the_source_given() {
    let bench = bench();
    fs::remove_file(bench.path("monday/LAPS0003.JPG")).unwrap();
    assert_eq!(frames(&bench, &["--source", "monday"]), 6);
    fs::write(bench.path("scripts/move.lua"), SCRIPT.replace(", missing = \"hold\"", "")).unwrap();
    bench.run(&["check", "scripts/move.lua", "--source", "monday"]).expect(1).says("LAPS0003 is missing");
}

#[test]
fn a_source_that_is_not_there_is_named_without_blaming_the_script() {
    let bench = bench();
    let ran = bench.run(&["check", "scripts/move.lua", "--source", "wednesday"]).expect(1).says("wednesday");
    assert!(!ran.err.contains("move.lua"), "{}", ran.err);
}

#[test]
fn the_same_move_fits_a_shoot_of_another_shape() {
    let bench = bench();
    for number in 1..=3 {
        write_still(&bench.path(&format!("upright/LAPS{number:04}.JPG")), Size::new(240, 320), number);
    }
    let json = bench.run(&["plan", "scripts/move.lua", "--json", "--source", "upright"]).expect(0).json();
    assert_eq!(json["plans"][0]["deliveries"][0]["rows"][0]["window"]["width"], 240.0);
}

#[test]
fn a_source_in_place_of_several_is_refused_and_in_place_of_one_used_twice_is_not() {
    let bench = bench();
    let two = |first: &str, second: &str| {
        let shot = |name: &str, source: &str| {
            format!(
                "shot {{ name = '{name}', source = stills {{ '{source}' }}, pace = over '1s',\n deliveries = {{ delivery {{ '{name}', frame = {{ 64, 36 }} }} }} }}"
            )
        };
        fs::write(bench.path("scripts/two.lua"), format!("return {{ {}, {} }}", shot("a", first), shot("b", second)))
            .unwrap();
        bench.run(&["check", "scripts/two.lua", "--source", "monday"])
    };
    two("stills", "stills").expect(0);
    two("stills", "more").expect(1).says("this script has several").says("--set day=FOLDER");
}

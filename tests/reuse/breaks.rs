//! Breaks and chosen stills, through the command: what is said, drawn and kept in the receipt, and what is levelled.

use std::fs;

use serde_json::json;
use stillpath::ffi::jpeg;
use stillpath::units::Size;

use crate::common::{Bench, STILL, exif, picture};

const SMALL: Size = Size { width: 96, height: 72 };

/// A shoot of an evening and a morning, a still every ten minutes from 19:00 and from 05:00, each as `of` draws it.
fn night(evening: usize, morning: usize, size: Size, of: impl Fn(usize) -> Vec<u8>) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for index in 0..evening + morning {
        let (day, hour, nth) = if index < evening { (4, 19, index) } else { (5, 5, index - evening) };
        let minutes = hour * 60 + 10 * nth;
        let time = format!("2031:05:{day:02} {:02}:{:02}:00", minutes / 60, minutes % 60);
        let bytes = jpeg::encode_rgb(&of(index), size, 95, (1, 1), &[(0xE1, &exif(&time))]);
        fs::write(bench.still(index + 1), bytes).unwrap();
    }
    bench
}

fn waves(evening: usize, morning: usize) -> Bench {
    night(evening, morning, STILL, |index| picture(STILL, index))
}

fn script(source: &str, shot: &str) -> String {
    format!(
        r#"return shot {{
  source = stills {{ "stills", {source} }}, fps = 24, pace = frames_per_still(2), {shot}
  deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }} }} }}"#
    )
}

#[test]
fn what_a_night_keeps_apart_is_said_drawn_and_in_the_receipt() {
    let bench = waves(4, 4);
    bench.script(&script("", "between = \"mix\","));
    let kept = "kept apart: still 4 and still 5, a gap between";
    let checked = bench.run(&["check", "move.lua"]).expect(0).says(kept).says("across = true in its source mixes them");
    let line = "breaks: 1, nothing is mixed across: still 4 and still 5, a gap between\n";
    assert!(checked.out.contains(line), "{}", checked.out);
    bench.render().expect(0).says(kept);
    let receipt: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let due = json!([{ "before": "LAPS0004", "after": "LAPS0005", "why": "a gap between" }]);
    assert_eq!(receipt["shots"][0]["breaks"], due);
    bench.run(&["prove", "clips/move-receipt.json"]).expect(0);
    let drawn = |source: &str| {
        bench.script(&script(source, "between = \"mix\","));
        bench.run(&["draw", "move.lua", "-o", "sheet.svg", "--force"]).expect(0);
        let sheet = fs::read_to_string(bench.path("sheet.svg")).unwrap();
        (sheet.matches("class=\"break\"").count(), sheet.contains("nothing is mixed across"), sheet.contains(kept))
    };
    assert_eq!((drawn(""), drawn("across = true,")), ((1, true, true), (0, false, false)));
    // What the message says to type, typed.
    let mended = bench.run(&["check", "move.lua"]).expect(0);
    assert!(!mended.err.contains("kept apart") && !mended.out.contains("breaks:"), "{}{}", mended.out, mended.err);
}

#[test]
fn stills_left_out_by_their_clock_are_counted_with_why_wherever_stills_are() {
    let bench = waves(8, 8);
    // 19:00 to 20:10, and 05:00 to 06:10 on the next day, a Monday.
    let chosen =
        "hours = { \"05:00\", \"19:30\" }, days = { \"2031-05-04\", \"2031-05-05\" }, only = every(\"30min\"),";
    bench.script(&script(chosen, ""));
    let sum = "stills: 16 = 5 used + 4 left out by hours + 7 left out by only";
    let checked = bench.run(&["check", "move.lua"]).expect(0);
    assert!(checked.out.contains(sum), "{}", checked.out);
    bench.render().expect(0);
    let receipt: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let tally = &receipt["shots"][0]["tally"];
    assert_eq!([&tally["used"], &tally["hours"], &tally["only"]], [5, 4, 7]);
    assert_eq!(tally.get("days"), None, "no still is on another day");
    let why = |still: usize| receipt["shoots"][0]["stills"][still - 1]["why"].as_str().unwrap().to_owned();
    assert_eq!((&*why(8), &*why(2)), ("left out by hours; not read", "left out by only; not read"));
    bench.run(&["prove", "clips/move-receipt.json"]).expect(0);
    bench.run(&["draw", "move.lua", "-o", "sheet.svg"]).expect(0);
    let sheet = fs::read_to_string(bench.path("sheet.svg")).unwrap();
    assert!(sheet.contains("4 left out by hours, 7 left out by only"), "the sheet's first lines count them");
    let told = bench.run(&["explain", "move.lua", "--delivery", "wide", "--frame", "0"]).expect(0);
    assert!(
        told.out.contains(
            "chosen from its source: hours 05:00 to 19:30, 2031-05-04, 2031-05-05, the nearest to every 30min"
        ),
        "{}",
        told.out
    );
    bench.script(&script("days = \"weekdays\",", ""));
    assert!(bench.run(&["check", "move.lua"]).expect(0).out.contains("16 = 8 used + 8 left out by days"));
}

/// A still of light that flickers by 3 %: an evening that fades, and a morning of twice its light.
fn lit(index: usize, evening: usize) -> Vec<u8> {
    let flicker = 1.0 + 0.03 * (2.4 * index as f64 + 1.3 * (index * index) as f64).sin();
    let light = if index < evening { 1.0 - 0.01 * index as f64 } else { 2.0 - 0.02 * (index - evening) as f64 };
    let mut rgb = Vec::new();
    for y in 0..SMALL.height {
        for x in 0..SMALL.width {
            let box_of = f64::from((x / 8 + 3 * (y / 6)) % 7);
            let linear = (0.05 + 0.03 * box_of) * light * flicker;
            let code = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
            let pattern = f64::from((x * 37 + y * 91) % 64) / 64.0;
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 255")]
            rgb.extend([(255.0 * code + pattern).floor().min(255.0) as u8; 3]);
        }
    }
    rgb
}

#[test]
fn a_table_of_gains_over_a_night_has_on_each_side_what_that_side_has_alone() {
    const EACH: usize = 20;
    let bench = night(EACH, EACH, SMALL, |index| lit(index, EACH));
    for (folder, numbers) in [("evening", 1..=EACH), ("morning", EACH + 1..=2 * EACH)] {
        fs::create_dir_all(bench.path(folder)).unwrap();
        for number in numbers {
            fs::copy(bench.still(number), bench.path(&format!("{folder}/LAPS{number:04}.JPG"))).unwrap();
        }
    }
    // Green gains and levels by name.
    let gains = |folder: &str, source: &str| -> Vec<(String, f64)> {
        bench.script(&script(source, "level = true,").replace("\"stills\"", &format!("\"{folder}\"")));
        let table = bench.run(&["level", "move.lua"]).expect(0).out;
        let line = |line: &str| {
            let fields: Vec<&str> = line.split(',').collect();
            (fields[7].trim_matches('"').to_owned(), fields[2].parse().unwrap())
        };
        table.lines().skip(1).map(line).collect()
    };
    let alone = [gains("evening", ""), gains("morning", "")].concat();
    let apart = gains("stills", "");
    assert_eq!(apart.len(), 2 * EACH);
    for ((name, own), (same, gain)) in alone.iter().zip(&apart) {
        assert_eq!(name, same);
        // Gains are written to a millionth; nothing else differs.
        assert!((own - gain).abs() <= 2e-6, "{name}: {gain}, and alone {own}");
    }
    let kept = "kept apart: still 20 and still 21, a gap between";
    bench.run(&["check", "move.lua"]).expect(0).says(kept).says("across = true in its source reaches across");
    bench.script(&script("across = true,", "level = true,"));
    assert!(!bench.run(&["check", "move.lua"]).expect(0).err.contains("kept apart"));
}

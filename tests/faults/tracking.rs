//! Tracked subjects and covers from outside: found, kept, fed back, and refused where they are lost.

use std::fs;
use std::process::Command;

use stillpath::ffi::jpeg;

use crate::common::{Bench, STILL};

/// Where the thing's left edge is in a still from 1: it goes right by a third of its width a still.
fn left(number: usize) -> usize {
    40 + 12 * (number - 1)
}

/// Stills of a ground with a thing of 36 by 36 over it, at 84 down; none in those that `is_there` leaves out.
fn shoot(count: usize, is_there: impl Fn(usize) -> bool) -> Bench {
    shoot_from(count, is_there, |_| [0, 0])
}

/// The same, seen by a camera that looks so many pixels to the right and down in a still.
fn shoot_from(count: usize, is_there: impl Fn(usize) -> bool, looks: impl Fn(usize) -> [usize; 2]) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    let (width, height) = (STILL.width as usize, STILL.height as usize);
    let noise = |x: usize, y: usize, seed: usize| {
        let mixed = (x * 73_856_093) ^ (y * 19_349_663) ^ (seed * 83_492_791);
        ((mixed ^ (mixed >> 13)).wrapping_mul(0x5bd1_e995) >> 7) % 256
    };
    for number in 1..=count {
        let mut rgb = Vec::with_capacity(3 * width * height);
        for y in 0..height {
            for x in 0..width {
                let [x, y] = [x + looks(number)[0], y + looks(number)[1]];
                let ground = 70 + noise(x / 24, y / 24, 1) / 6;
                let thing = 60 + noise((x + 1000 - left(number)) / 9, y / 9, 7) * 3 / 4;
                let is_it =
                    is_there(number) && (left(number)..left(number) + 36).contains(&x) && (84..120).contains(&y);
                let code = u8::try_from(if is_it { thing } else { ground }).unwrap();
                rgb.extend([code, code, code.saturating_sub(if is_it { 30 } else { 0 })]);
            }
        }
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 92, (1, 1), &[])).unwrap();
    }
    bench
}

/// The key's box in still 2, in fractions of 320 by 240.
const KEY: &str = "key { at = still(2), box(0.1625, 0.35, 0.1125, 0.15) }";

fn script(framing: &str, covers: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = stills_per_frame(1),
  framing = {framing},
  covers = {{ {covers} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 64, 64 }} }} }} }}"#
    )
}

#[test]
fn a_subject_is_followed_from_one_box_kept_in_a_table_and_fed_back_without_a_difference() {
    let bench = shoot(12, |_| true);
    bench.script(&script(&format!("follow {{ {KEY}, zoom = 3, track = true }}"), ""));
    bench.render().expect(0);
    let table = fs::read_to_string(bench.path("clips/move-track.csv")).unwrap();
    let lines: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(lines[0], ["still", "x", "y", "width", "height", "confidence", "state", "name"]);
    assert_eq!(lines.len(), 13, "{table}");
    for (number, line) in (1..).zip(&lines[1..]) {
        let x: f64 = line[1].parse().unwrap();
        let off = x * 320.0 - left(number) as f64;
        assert!(off.abs() < 4.0, "still {number} is off by {off:.2} px: {table}");
        assert_eq!(line[6], if number == 2 { "keyed" } else { "seen" });
        assert_eq!(line[7], format!("LAPS{number:04}"));
    }
    let plan = |bench: &Bench| bench.run(&["plan", "move.lua", "--csv"]).expect(0).out;
    let measured = plan(&bench);
    assert_eq!(measured, plan(&bench), "what is kept says the same");
    fs::copy(bench.path("clips/move-track.csv"), bench.path("boxes.csv")).unwrap();
    bench.script(&script(&format!("follow {{ {KEY}, zoom = 3, track = \"boxes.csv\" }}"), ""));
    assert_eq!(measured, plan(&bench), "and so does the table");
    let explained = bench.run(&["explain", "move.lua", "--frame", "6"]).expect(0).out;
    assert!(explained.contains("found there by tracking"), "{explained}");
    // Edited, the window goes there.
    let edited = table.replace("lost", "seen").replacen(lines[12][1], "0.1", 1);
    fs::write(bench.path("boxes.csv"), edited).unwrap();
    assert_ne!(measured, plan(&bench));
    // Another shoot's.
    fs::write(bench.path("boxes.csv"), table.replace("LAPS0004", "TIDE0004")).unwrap();
    let refused = bench.run(&["check", "move.lua"]).expect(1);
    assert!(refused.err.contains("calls still 4 'TIDE0004'"), "{}", refused.err);
}

#[test]
fn a_tracked_cover_hides_the_thing_in_every_still_and_stops_where_it_is_lost() {
    let bench = shoot(10, |_| true);
    bench.script(&script(
        "framing { key { at = 0, show = box(0, 0, 1, 1) } }",
        &format!("cover {{ {KEY}, track = true }}"),
    ));
    bench.render().expect(0);
    assert!(bench.path("clips/move-cover1-track.csv").exists());
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let covers = plan["plans"][0]["covers"].as_array().unwrap();
    assert!(!covers.is_empty());
    for one in covers {
        for still in one["first"].as_u64().unwrap()..=one["last"].as_u64().unwrap() {
            let area = &one["areas"][0];
            let (x, width) = (area["x"].as_u64().unwrap(), area["width"].as_u64().unwrap());
            let at = left(still as usize + 1) as u64;
            assert!(x <= at && at + 36 <= x + width, "still {}: {x} {width} over {at}", still + 1);
        }
    }
    // Gone from the seventh on: nothing is rendered, and what to type is said.
    let gone = shoot(10, |number| number < 7);
    gone.script(&script(
        "framing { key { at = 0, show = box(0, 0, 1, 1) } }",
        &format!("cover {{ {KEY}, track = true }}"),
    ));
    let refused = gone.render().expect(1);
    assert!(refused.err.contains("what this cover hides is lost in still(7) to still(10)"), "{}", refused.err);
    assert!(refused.err.contains("held = 4"), "{}", refused.err);
    assert!(gone.list("clips").is_empty());
    for typed in ["held = 4", "to = still(6)", "key { at = still(7), box(0.4, 0.4, 0.1, 0.1) }, held = 3"] {
        gone.script(&script(
            "framing { key { at = 0, show = box(0, 0, 1, 1) } }",
            &format!("cover {{ {KEY}, {typed}, track = true }}"),
        ));
        gone.run(&["check", "move.lua"]).expect(0);
    }
}

/// Where the window's middle is in every frame, in pixels across.
fn middles(bench: &Bench) -> Vec<f64> {
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = plan["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    let side = |row: &serde_json::Value, side: &str| row["window"][side].as_f64().unwrap();
    rows.iter().map(|row| side(row, "x") + side(row, "width") / 2.0).collect()
}

#[test]
fn a_subject_is_found_and_covered_in_a_shoot_whose_camera_was_bumped_into() {
    // From the fifth still on the camera looks 6 px to the right and 4 px down.
    let looks = |number: usize| if number < 5 { [0, 0] } else { [6, 4] };
    let bench = shoot_from(12, |_| true, looks);
    let steadied = |framing: &str, covers: &str| script(framing, covers).replace("fps = 24", "steady = true, fps = 24");
    bench.script(&steadied(&format!("follow {{ {KEY}, zoom = 3, track = true }}"), ""));
    // Windows lie over the first view: the thing goes on there as if nothing had happened.
    for (number, middle) in (1..).zip(middles(&bench)) {
        let off = middle - (left(number) as f64 + 18.0);
        assert!(off.abs() < 5.0, "frame of still {number}: {off:.2} px");
    }
    // Covers lie over the stills as they are.
    bench.script(&steadied(
        "framing { key { at = 0, on = point(0.5, 0.5), zoom = 1.2 } }",
        &format!("cover {{ {KEY}, track = true }}"),
    ));
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let mut seen = 0;
    for one in plan["plans"][0]["covers"].as_array().unwrap() {
        for still in one["first"].as_u64().unwrap()..=one["last"].as_u64().unwrap() {
            let area = &one["areas"][0];
            let side = |side: &str| usize::try_from(area[side].as_u64().unwrap()).unwrap();
            let number = usize::try_from(still).unwrap() + 1;
            let [dx, dy] = looks(number);
            let (x, y) = (left(number) - dx, 84 - dy);
            assert!(side("x") <= x && x + 36 <= side("x") + side("width"), "still {number}: {area}");
            assert!(side("y") <= y && y + 36 <= side("y") + side("height"), "still {number}: {area}");
            seen += 1;
        }
    }
    assert_eq!(seen, 12);
}

#[test]
fn a_subject_is_found_in_a_recording() {
    let bench = shoot(16, |_| true);
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-framerate", "25", "-i"])
        .arg(bench.path("stills/LAPS%04d.JPG"))
        .args(["-c:v", "libx264", "-qp", "14", "-g", "6", "-pix_fmt", "yuv420p"])
        .arg(bench.path("thing.mp4"))
        .status();
    assert!(made.unwrap().success());
    let recorded = |fields: &str| {
        script(&format!("follow {{ {KEY}, zoom = 3, track = {fields} }}"), "")
            .replace("stills { \"stills\" }", "recording { \"thing.mp4\" }")
    };
    bench.script(&recorded("true"));
    let found = middles(&bench);
    assert_eq!(found.len(), 16);
    for (number, middle) in (1..).zip(&found) {
        let off = middle - (left(number) as f64 + 18.0);
        assert!(off.abs() < 5.0, "frame {number}: {off:.2} px");
    }
    bench.render().expect(0);
    fs::copy(bench.path("clips/move-track.csv"), bench.path("boxes.csv")).unwrap();
    bench.script(&recorded("\"boxes.csv\""));
    assert_eq!(middles(&bench), found, "and its table says the same");
}

#[test]
fn boxes_on_nothing_and_on_everything_are_refused_with_what_to_do() {
    let bench = shoot(3, |_| true);
    let refused = |area: &str| {
        let key = format!("key {{ at = still(2), {area} }}");
        bench.script(&script(&format!("follow {{ {key}, track = true }}"), ""));
        bench.run(&["check", "move.lua"]).expect(1).err
    };
    // One square of the ground, which is plain.
    let plain = refused("box(0.7525, 0.9025, 0.07, 0.093)");
    assert!(plain.contains("there is nothing in the box in still(2) by which it could be known again"), "{plain}");
    assert!(refused("box(0.02, 0.02, 0.96, 0.96)").contains("nearly fills the still"));
    assert!(refused("box(0.2, 0.2, 0.01, 0.1)").contains("is too small"));
}

#[test]
fn a_table_that_a_cover_reads_is_written_over_by_no_other_cover() {
    let bench = shoot(8, |_| true);
    let whole = "framing { key { at = 0, show = box(0, 0, 1, 1) } }";
    bench.script(&script(whole, &format!("cover {{ {KEY}, track = true }}")));
    bench.render().expect(0);
    let table = bench.path("clips/move-cover1-track.csv");
    let kept = fs::read_to_string(&table).unwrap();
    // Another cover, of another thing, above it: it would have had that name.
    let other = "cover { key { at = still(2), box(0.0, 0.1, 0.2, 0.3) }, track = true, held = 8 }";
    let reads = format!("cover {{ {KEY}, track = \"clips/move-cover1-track.csv\" }}");
    bench.script(&script(whole, &format!("\n  {other},\n  {reads}\n")));
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    assert_eq!(fs::read_to_string(&table).unwrap(), kept);
    assert!(bench.path("clips/move-cover2-track.csv").exists(), "{:?}", bench.list("clips"));
}

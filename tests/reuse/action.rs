//! Where things happen: windows and paces that go by it, over small scenes whose truth is known, and what is said of them.
//! None of these scenes was used to choose a figure.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small pictures, of levels that are clamped"
)]

use std::f64::consts::TAU;
use std::fs;
use std::process::Command;

use stillpath::ffi::jpeg;
use stillpath::units::Size;

use crate::common::{Bench, corrupt, exif};

const SIZE: Size = Size { width: 192, height: 144 };
const STILLS: usize = 64;

/// A number from 0 to 1 that looks random: SplitMix64 (Steele, Lea and Flood 2014, from memory; any mixing would do).
fn noise(seed: u64) -> f64 {
    let mut mixed = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(0x1234_5678_9ABC_DEF1);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    f64::from(u32::try_from((mixed ^ (mixed >> 31)) >> 32).unwrap()) / 4_294_967_296.0
}

fn at(x: f64, y: f64, seed: u64) -> f64 {
    let corner = |x: f64, y: f64| noise(seed << 40 | (x as i64 as u64 & 0xF_FFFF) << 20 | (y as i64 as u64 & 0xF_FFFF));
    let (left, top) = (x.floor(), y.floor());
    let (u, v) = (x - left, y - top);
    let row = |y: f64| corner(left, y) * (1.0 - u) + corner(left + 1.0, y) * u;
    row(top) * (1.0 - v) + row(top + 1.0) * v
}

/// What a scene shows at a pixel of a still, and where its subject is then, where there is one.
struct Scene {
    colour: fn(f64, f64, usize) -> [f64; 3],
    subject: fn(usize) -> Option<[f64; 2]>,
}

fn ground(x: f64, y: f64, seed: u64) -> [f64; 3] {
    let level = 70.0 + 60.0 * at(x / 21.0, y / 17.0, seed) + 30.0 * at(x / 5.0, y / 4.0, seed + 1);
    [level, level * 0.95, level * 0.85]
}

/// In a box around the subject?
fn on(x: f64, y: f64, subject: Option<[f64; 2]>, half: [f64; 2]) -> bool {
    subject.is_some_and(|[sx, sy]| (x - sx).abs() <= half[0] && (y - sy).abs() <= half[1])
}

/// Poplars along the right that sway, and somebody with a barrow who comes and goes at the left.
const TREES: Scene = Scene {
    colour: |x, y, still| {
        let time = still as f64;
        if on(x, y, (TREES.subject)(still), [4.0, 9.0]) {
            return if y < 100.0 { [190.0, 60.0, 50.0] } else { [40.0, 45.0, 80.0] };
        }
        if x > 96.0 && y < 120.0 {
            let sway = 3.5 * (time * 2.3 + x / 9.0).sin() + 2.0 * (time * 1.1 + y / 14.0).sin();
            let leaf = at((x + sway) / 2.5, (y + 1.5 * (time * 1.9 + x / 6.0).cos()) / 2.5, 5);
            return [30.0 + 70.0 * leaf, 60.0 + 110.0 * leaf, 25.0 + 40.0 * leaf];
        }
        ground(x, y, 11)
    },
    subject: |still| {
        ((14..54).contains(&still))
            .then(|| [20.0 + 55.0 * (0.5 - 0.5 * (TAU * (still as f64 - 14.0) / 40.0).cos()), 104.0])
    },
};

/// A lake that glitters, and a boat that comes in from the right.
const WATER: Scene = Scene {
    colour: |x, y, still| {
        if on(x, y, (WATER.subject)(still), [13.0, 4.0]) {
            return [210.0, 120.0, 30.0];
        }
        if y > 56.0 {
            let seed = 400 + still as u64 * 3;
            let wave = at(x / 7.0, y / 2.0, seed) + 0.6 * at(x / 2.0, y / 1.5, seed + 1);
            let glint = if at(x / 3.0, y / 2.0, seed + 2) > 0.93 { 150.0 } else { 0.0 };
            return [40.0 + 35.0 * wave + glint, 70.0 + 40.0 * wave + glint, 100.0 + 45.0 * wave + glint];
        }
        ground(x, y, 23)
    },
    subject: |still| Some([180.0 - 2.5 * still as f64, 74.0]),
};

/// A lamp that flickers, more on one side than on the other, and a cat.
const FLICKER: Scene = Scene {
    colour: |x, y, still| {
        let gain = 0.85 + 0.3 * noise(900 + still as u64) + 0.1 * (noise(1900 + still as u64) - 0.5) * (x / 96.0 - 1.0);
        let plain = if on(x, y, (FLICKER.subject)(still), [7.0, 5.0]) { [60.0, 50.0, 120.0] } else { ground(x, y, 37) };
        plain.map(|channel| channel * gain)
    },
    subject: |still| Some([165.0 - 135.0 * (still as f64 / 63.0), 50.0 + 30.0 * (TAU * still as f64 / 64.0).sin()]),
};

/// A road at night along the lower edge with headlights, and a digger at work at the upper left.
const LIGHTS: Scene = Scene {
    colour: |x, y, still| {
        let mut light = ground(x, y, 53).map(|channel| channel * 0.3);
        if on(x, y, (LIGHTS.subject)(still), [8.0, 6.0]) {
            light = [120.0, 90.0, 20.0];
        }
        let seed = 7000 + still as u64 * 5;
        if noise(seed) < 0.4 {
            let (cx, cy) = (20.0 + 150.0 * noise(seed + 1), 108.0 + 20.0 * noise(seed + 2));
            let far = (x - cx).powi(2) + (1.5 * (y - cy)).powi(2);
            let glow = 330.0 * (-far / 60.0).exp() + 40.0 * (-far / 700.0).exp();
            light = light.map(|channel| channel + glow);
        }
        light
    },
    subject: |still| Some([45.0 + 22.0 * (TAU * still as f64 / 40.0).sin(), 40.0]),
};

/// Where the camera looks in a still: somebody bumps into it now and then, and it stays there.
fn bumped(still: usize) -> [f64; 2] {
    let seed = 50_000 + still as u64 / 6;
    if still < 6 { [0.0, 0.0] } else { [(9.0 * noise(seed) - 4.5).round(), (7.0 * noise(seed + 999) - 3.5).round()] }
}

/// A cart that comes from the left, seen by a camera that is bumped into.
const BUMPS: Scene = Scene {
    colour: |x, y, still| {
        let [dx, dy] = bumped(still);
        let (x, y) = (x + dx, y + dy);
        if on(x, y, (BUMPS.subject)(still), [9.0, 6.0]) { [40.0, 160.0, 70.0] } else { ground(x, y, 83) }
    },
    subject: |still| Some([24.0 + 3.4 * still as f64, 82.0]),
};

/// Nothing but noise.
const EMPTY: Scene = Scene { colour: |x, y, _| ground(x, y, 71), subject: |_| None };

impl Scene {
    fn still(&self, still: usize) -> Vec<u8> {
        let mut rgb = Vec::with_capacity(3 * (SIZE.width * SIZE.height) as usize);
        for y in 0..SIZE.height {
            for x in 0..SIZE.width {
                let colour = (self.colour)(f64::from(x), f64::from(y), still);
                for (channel, level) in colour.into_iter().enumerate() {
                    let seed = (still as u64) << 40 | u64::from(y) << 20 | u64::from(x) << 2 | channel as u64;
                    rgb.push((level + 5.0 * (noise(seed) - 0.5)).round().clamp(0.0, 255.0) as u8);
                }
            }
        }
        rgb
    }

    fn bench(&self, stills: usize) -> Bench {
        self.bench_of(stills, |_| None)
    }

    /// With what a still's Exif says of its time.
    fn bench_of(&self, stills: usize, time: impl Fn(usize) -> Option<String>) -> Bench {
        let bench = Bench::new(0);
        fs::create_dir_all(bench.path("stills")).unwrap();
        for still in 0..stills {
            let time = time(still).map(|time| exif(&time));
            let said: Vec<(u8, &[u8])> = time.iter().map(|time| (0xE1, &time[..])).collect();
            let bytes = jpeg::encode_rgb(&self.still(still), SIZE, 92, (2, 2), &said);
            fs::write(bench.path(&format!("stills/LAPS{:04}.JPG", still + 1)), bytes).unwrap();
        }
        bench
    }
}

/// A script of one delivery, four frames a second and a still each, so that there is time for a window to move.
fn script(shot: &str) -> String {
    format!(
        "local moves = require \"moves\"\nreturn shot {{ source = stills {{ \"stills\", missing = \"skip\", damaged = \"skip\" }}, fps = 4,\n\
         {shot},\n deliveries = {{ delivery {{ \"tall\", frame = {{ 54, 96 }} }} }} }}"
    )
}

const ACTION: &str = "pace = frames_per_still(1), framing = moves.action { zoom = 1 }";

type Window = [f64; 4];

/// The window of every frame: x, y, width, height; and its position on the shoot's axis.
fn planned(bench: &Bench) -> Vec<(Window, f64)> {
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = json["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    let window =
        |row: &serde_json::Value| ["x", "y", "width", "height"].map(|side| row["window"][side].as_f64().unwrap());
    rows.iter().map(|row| (window(row), row["position"].as_f64().unwrap())).collect()
}

fn holds([x, y, width, height]: Window, [sx, sy]: [f64; 2]) -> bool {
    (x..x + width).contains(&sx) && (y..y + height).contains(&sy)
}

/// The share of frames with a subject whose window holds its middle; and that of the window in the middle of the still.
fn held(scene: &Scene) -> (f64, f64, Vec<Window>) {
    let bench = scene.bench(STILLS);
    bench.script(&script(ACTION));
    let windows: Vec<Window> = planned(&bench).into_iter().map(|(window, _)| window).collect();
    assert_eq!(windows.len(), STILLS);
    let middle = [(192.0 - 81.0) / 2.0, 0.0, 81.0, 144.0];
    for [x, y, width, height] in &windows {
        assert!(*x >= 0.0 && x + width <= 192.0 && *y == 0.0 && (*width - 81.0).abs() < 1e-9 && *height == 144.0);
    }
    type At = (usize, [f64; 2]);
    let truth: Vec<At> = (0..STILLS).filter_map(|still| Some((still, (scene.subject)(still)?))).collect();
    let share = |holds: &dyn Fn(&At) -> bool| truth.iter().filter(|one| holds(one)).count() as f64 / truth.len() as f64;
    (
        share(&|(still, subject)| holds(windows[*still], *subject)),
        share(&|(_, subject)| holds(middle, *subject)),
        windows,
    )
}

#[test]
fn a_window_goes_with_what_moves_and_not_with_trees_water_flicker_or_headlights() {
    for (name, scene) in [("trees", &TREES), ("water", &WATER), ("flicker", &FLICKER), ("lights", &LIGHTS)] {
        let (held, middle, windows) = held(scene);
        assert!(held >= 0.9, "{name}: {held:.3} held, {middle:.3} in the middle\n{windows:?}");
        assert!(middle <= 0.7, "{name} is no test: the middle holds {middle:.3}");
    }
    // Nobody is there in the last of these stills, and only the trees move: the window rests.
    let (_, _, windows) = held(&TREES);
    let moves = |from: usize| (windows[from + 1][0] - windows[from][0]).abs();
    assert!((58..63).all(|still| moves(still) < 0.05), "{windows:?}");
}

#[test]
fn a_still_scene_is_shown_from_the_middle_at_an_even_pace_and_that_is_said() {
    let bench = EMPTY.bench(24);
    bench.script(&script("pace = moves.liveliest { length = \"6s\" }, framing = moves.action {}"));
    bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("nothing moves in the stills of 'tall': its window rests in the middle")
        .says("nothing moves in the stills: the pace is even");
    let rows = planned(&bench);
    for (frame, ([x, y, width, height], position)) in rows.iter().enumerate() {
        assert!((x + width / 2.0 - 96.0).abs() < 1e-6 && (y + height / 2.0 - 72.0).abs() < 1e-6, "{rows:?}");
        assert!((width - 81.0 / 1.6).abs() < 1e-6 && (position - frame as f64).abs() < 1e-6, "{rows:?}");
    }
    let said = bench.run(&["explain", "move.lua", "--delivery", "tall", "--frame", "5"]).expect(0).out;
    assert!(said.contains("goes where most moves: nothing moves in this still") && said.contains("it rests"), "{said}");
    bench
        .run(&["new", "stills", "--moves"])
        .expect(1)
        .says("nothing moves in the stills of stills")
        .says("without --moves");
    assert!(!bench.path("stills-push-in.lua").exists());
}

#[test]
fn one_still_two_stills_and_a_damaged_one_are_no_trouble() {
    for stills in [1, 2] {
        let bench = LIGHTS.bench(stills);
        bench.script(&script("pace = over \"2s\", framing = moves.action {}"));
        bench.run(&["check", "move.lua"]).expect(0);
        assert_eq!(planned(&bench).len(), 8);
    }
    let bench = FLICKER.bench(20);
    corrupt(&bench.path("stills/LAPS0010.JPG"));
    fs::remove_file(bench.path("stills/LAPS0015.JPG")).unwrap();
    bench.script(&script(ACTION));
    let rows = planned(&bench);
    assert_eq!(rows.len(), 18);
    let left = (0..20).filter(|still| ![9, 14].contains(still));
    for (still, (window, _)) in left.zip(&rows) {
        assert!(holds(*window, (FLICKER.subject)(still).unwrap()), "{still}: {rows:?}");
    }
}

#[test]
fn what_happens_in_a_recording_is_followed_as_in_stills() {
    let bench = FLICKER.bench(32);
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-framerate", "10", "-i"])
        .arg(bench.path("stills/LAPS%04d.JPG"))
        .args(["-c:v", "libx264", "-qp", "12", "-pix_fmt", "yuv420p"])
        .arg(bench.path("cat.mp4"))
        .status();
    assert!(made.unwrap().success());
    bench.script(&script(ACTION).replace("stills { \"stills\", missing = \"skip\"", "recording { \"cat.mp4\""));
    let rows = planned(&bench);
    assert_eq!(rows.len(), 32);
    for (still, (window, _)) in rows.iter().enumerate() {
        assert!(holds(*window, (FLICKER.subject)(still).unwrap()), "{still}: {rows:?}");
    }
}

#[test]
fn a_camera_that_is_bumped_into_is_no_action_where_it_is_steadied() {
    let bench = BUMPS.bench(48);
    bench.script(&script(&format!("steady = true, {ACTION}")));
    let rows = planned(&bench);
    assert_eq!(rows.len(), 48);
    // Windows lie over the first view, where the scene is.
    let held = rows.iter().enumerate().filter(|(still, (window, _))| holds(*window, (BUMPS.subject)(*still).unwrap()));
    assert!(held.count() >= 46, "{rows:?}");
    let middle = |(window, _): &(Window, f64)| window[0] + window[2] / 2.0;
    let back = rows.windows(2).map(|pair| middle(&pair[0]) - middle(&pair[1])).fold(0.0, f64::max);
    assert!(back < 0.3, "it goes back by {back} px, as the cart never does: {rows:?}");
}

#[test]
fn a_night_that_is_left_out_is_no_action() {
    // Two days, of which an hour each is chosen; in between the light goes and comes, and the cat crosses the room.
    let time = |still: usize| {
        let (day, minute) = (still / 32, still % 32);
        Some(format!("2031:05:{:02} {:02}:{:02}:00", 4 + day, 9 + minute / 12, 5 * (minute % 12)))
    };
    let bench = FLICKER.bench_of(64, time);
    bench.script(
        &script(ACTION).replace("\"stills\", missing", "\"stills\", hours = { \"09:30\", \"11:00\" }, missing"),
    );
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    assert_eq!(json["plans"][0]["breaks"].as_array().unwrap().len(), 1, "{json}");
    let rows = planned(&bench);
    let chosen: Vec<usize> = (0..64).filter(|still| (6..=24).contains(&(still % 32))).collect();
    assert_eq!(rows.len(), chosen.len());
    let held = |(still, (window, _)): &(&usize, &(Window, f64))| holds(*window, (FLICKER.subject)(**still).unwrap());
    let count = chosen.iter().zip(&rows).filter(held).count();
    assert!(count >= rows.len() - 3, "{count} of {}: {rows:?}", rows.len());
}

#[test]
fn the_pace_runs_through_what_is_idle_and_keeps_to_its_limits() {
    let bench = TREES.bench(STILLS);
    bench.script(&script(
        "pace = moves.liveliest { length = \"14s\", slowest = frames_per_still(2), fastest = stills_per_frame(4) }, framing = nil",
    ));
    let positions: Vec<f64> = planned(&bench).into_iter().map(|(_, position)| position).collect();
    assert_eq!(positions.len(), 56);
    let steps: Vec<f64> = positions.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(steps.iter().all(|step| (0.5 - 1e-6..=4.0 + 1e-6).contains(step)), "{steps:?}");
    let mean = |stills: std::ops::Range<f64>| {
        let inside: Vec<f64> =
            steps.iter().zip(&positions).filter(|(_, at)| stills.contains(at)).map(|(step, _)| *step).collect();
        inside.iter().sum::<f64>() / inside.len() as f64
    };
    assert!(mean(20.0..48.0) < 0.6 * mean(0.0..8.0) && mean(20.0..48.0) < 0.8 * mean(54.0..64.0), "{steps:?}");
    bench.script(&script("pace = moves.liveliest { length = \"90s\", slowest = frames_per_still(2) }, framing = nil"));
    bench.run(&["check", "move.lua"]).expect(1).says("from").says("length = \"32s\" at most");
    bench.script(&script(
        "pace = moves.liveliest { slowest = stills_per_frame(4), fastest = stills_per_frame(1) }, framing = nil",
    ));
    bench.run(&["check", "move.lua"]).expect(1).says("the slowest rate, 16 stills a second, is above the fastest, 4");
}

#[test]
fn windows_are_the_same_again_from_what_was_kept_and_reasons_are_told() {
    let bench = FLICKER.bench(24);
    bench.script(&script(ACTION));
    let first = bench.run(&["plan", "move.lua", "--json"]).expect(0).out;
    assert_eq!(bench.run(&["plan", "move.lua", "--json"]).expect(0).out, first);
    fs::remove_dir_all(bench.path("cache")).unwrap();
    assert_eq!(bench.run(&["plan", "move.lua", "--json"]).expect(0).out, first);
    let said = bench.run(&["explain", "move.lua", "--delivery", "tall", "--frame", "12"]).expect(0).out;
    assert!(said.contains("goes where most moves:") && said.contains("% of what moves (move.lua:"), "{said}");
    let json = bench.run(&["explain", "move.lua", "--delivery", "tall", "--frame", "12", "--json"]).expect(0).json();
    assert!(json["framing"]["action"]["held"].as_f64().unwrap() > 0.5, "{json}");
    // A share may be looked at beforehand.
    bench.run(&["look", "move.lua"]).expect(0);
    for form in ["sheet.svg", "strip.png"] {
        let strip = if form == "strip.png" { &["--strip"][..] } else { &[] };
        bench.run(&[&["draw", "move.lua", "-o", form], strip].concat()).expect(0);
    }
}

#[test]
fn three_scripts_for_a_shoot_that_was_looked_at_render_as_they_are() {
    let bench = FLICKER.bench(24);
    let made = bench.run(&["new", "stills", "--moves", "-o", "cat.lua"]).expect(0).out;
    for name in ["push-in", "wide", "vertical"] {
        let script = format!("cat-{name}.lua");
        assert!(made.contains(&format!("next: stillpath check {script}\n")), "{made}");
        bench.run(&["check", &script]).expect(0);
        bench.run(&["plan", &script]).expect(0);
        let text = fs::read_to_string(bench.path(&script)).unwrap();
        assert!(text.contains("% of all that moves") && text.contains("stillpath render"), "{text}");
    }
    bench.run(&["render", "cat-vertical.lua", "--out", "clips", "--draft"]).expect(0);
    assert!(bench.path("clips/cat-vertical-vertical.draft.mp4").exists());
    // The cat is right of the middle in these stills, and below it.
    let text = fs::read_to_string(bench.path("cat-push-in.lua")).unwrap();
    let point = text.split("on = point(").nth(1).unwrap().split(')').next().unwrap();
    let [x, y]: [f64; 2] = point.split(", ").map(|one| one.parse().unwrap()).collect::<Vec<f64>>().try_into().unwrap();
    assert!((0.6..=0.75).contains(&x) && (0.35..0.65).contains(&y), "{point}");
    // They are never replaced, and one that is there keeps all three from being written.
    fs::remove_file(bench.path("cat-push-in.lua")).unwrap();
    fs::write(bench.path("cat-wide.lua"), "mine").unwrap();
    bench.run(&["new", "stills", "--moves", "-o", "cat.lua"]).expect(1).says("cat-wide.lua is already there");
    bench.run(&["new", "stills", "--moves", "--force"]).expect(64);
    assert_eq!(fs::read_to_string(bench.path("cat-wide.lua")).unwrap(), "mine");
    assert!(!bench.path("cat-push-in.lua").exists());
    fs::create_dir(bench.path("empty")).unwrap();
    bench.run(&["new", "empty", "--moves"]).expect(1).says("no still");
    bench.run(&["new", "nothing", "--moves"]).expect(1).says("nothing");
}

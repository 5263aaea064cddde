//! The embedded moves as plans, how they are listed, and moves of the user's own.

use std::fs;

use crate::common::Bench;

/// A script that is nothing but a move, over the shoot at even pace: 9 stills of 320 × 240, a frame each.
fn script(call: &str, frame: &str) -> String {
    format!(
        "local moves = require \"moves\"\nreturn shot {{ source = stills {{ \"stills\" }}, fps = 8, pace = stills_per_frame(1),\n  framing = {call},\n  deliveries = {{ delivery {{ \"clip\", frame = {frame} }} }} }}"
    )
}

/// Every frame's window: x, y, width, height.
fn windows(call: &str, frame: &str) -> Vec<Window> {
    let bench = Bench::new(9);
    bench.script(&script(call, frame));
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = json["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    rows.iter().map(|row| ["x", "y", "width", "height"].map(|name| row["window"][name].as_f64().unwrap())).collect()
}

type Window = [f64; 4];

const WIDE: &str = "{ 128, 72 }";
const TALL: &str = "{ 72, 128 }";

/// The window of a delivery's shape around a point of the still, the largest divided by the zoom.
fn around(frame: &str, on: [f64; 2], zoom: f64) -> Window {
    let shape = if frame == WIDE { 16.0 / 9.0 } else { 9.0 / 16.0 };
    let width = f64::min(320.0, 240.0 * shape) / zoom;
    [320.0 * on[0] - width / 2.0, 240.0 * on[1] - width / shape / 2.0, width, width / shape]
}

/// A window some of the way from one to another: widths go by ratio, corners on straight lines.
fn between(from: Window, to: Window, way: f64) -> Window {
    let width = from[2] * (to[2] / from[2]).powf(way);
    let along = if from[2] == to[2] { way } else { (width - from[2]) / (to[2] - from[2]) };
    std::array::from_fn(|side| from[side] + (to[side] - from[side]) * along)
}

/// The timing functions of CSS Easing Functions Level 1: `ease-in-out`, and what `settle` says of itself.
const IN_OUT: [f64; 4] = [0.42, 0.0, 0.58, 1.0];
const SETTLING: [f64; 4] = [0.1, 0.7, 0.1, 1.0];

/// A cubic Bézier timing function at a share of the time, 0 before and 1 after: its parameter found by halving.
fn eased([x1, y1, x2, y2]: [f64; 4], time: f64) -> f64 {
    let at =
        |one: f64, two: f64, t: f64| 3.0 * (1.0 - t) * (1.0 - t) * t * one + 3.0 * (1.0 - t) * t * t * two + t * t * t;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if at(x1, x2, middle) < time.clamp(0.0, 1.0) { low = middle } else { high = middle }
    }
    at(y1, y2, low)
}

/// Asserts the window of each of nine frames to a ten-thousandth of a pixel, or to `within`.
fn is(call: &str, frame: &str, within: f64, due: impl Fn(f64) -> Window) {
    let seen = windows(call, frame);
    assert_eq!(seen.len(), 9, "{call}");
    for (at, seen) in seen.iter().enumerate() {
        let due = due(f64::from(u32::try_from(at).unwrap()));
        assert!(
            seen.iter().zip(due).all(|(seen, due)| (seen - due).abs() < within),
            "{call} at {at}: {seen:?}, {due:?}"
        );
    }
}

#[test]
fn tilt_travels_up_at_one_closeness() {
    let way = |at: f64| eased(IN_OUT, at / 8.0);
    let ends = [around(WIDE, [0.5, 0.65], 1.5), around(WIDE, [0.5, 0.35], 1.5)];
    is("moves.tilt {}", WIDE, 1e-4, |at| between(ends[0], ends[1], way(at)));
    let ends = [around(TALL, [0.5, 0.3], 2.0), around(TALL, [0.5, 0.7], 2.0)];
    is("moves.tilt { from = point(0.5, 0.3), to = point(0.5, 0.7), zoom = 2 }", TALL, 1e-4, |at| {
        between(ends[0], ends[1], way(at))
    });
}

#[test]
fn reveal_rests_on_the_detail_and_draws_back_to_the_whole() {
    // A quarter of the still is 80 by 60: 60 high is 106.7 wide. Still 3 is that of frame 2.
    let detail = [(320.0 - 60.0 * 16.0 / 9.0) / 2.0, 90.0, 60.0 * 16.0 / 9.0, 60.0];
    is("moves.reveal { leave = still(3) }", WIDE, 1e-4, |at| {
        between(detail, around(WIDE, [0.5, 0.5], 1.0), eased(IN_OUT, (at - 2.0) / 6.0))
    });
    // A box of 64 by 48 around (224, 48): 64 wide is 113.8 high, too much for its place, so that the window is moved
    // down to the edge.
    let detail = [192.0, 0.0, 64.0, 64.0 * 16.0 / 9.0];
    is("moves.reveal { detail = box(0.6, 0.1, 0.2, 0.2), leave = still(2), stop = still(6) }", TALL, 1e-4, |at| {
        between(detail, around(TALL, [0.5, 0.5], 1.0), eased(IN_OUT, (at - 1.0) / 4.0))
    });
}

#[test]
fn breathe_comes_closer_and_is_back_at_the_end() {
    let (whole, close) = (around(WIDE, [0.5, 0.5], 1.0), around(WIDE, [0.5, 0.5], 1.03));
    // Half-way through the shoot is in the middle of the fifth of nine stills.
    is("moves.breathe {}", WIDE, 1e-4, |at| match at {
        at if at < 4.5 => between(whole, close, eased(IN_OUT, at / 4.5)),
        at => between(close, whole, eased(IN_OUT, (at - 4.5) / 3.5)),
    });
}

#[test]
fn settle_is_fast_at_first_lands_softly_and_stays() {
    is("moves.settle { on = point(0.6, 0.4), to = 2, stop = still(7) }", WIDE, 1e-4, |at| {
        between(around(WIDE, [0.5, 0.5], 1.0), around(WIDE, [0.6, 0.4], 2.0), eased(SETTLING, at / 6.0))
    });
}

#[test]
fn push_in_pull_out_and_pan_go_straight_from_one_end_to_the_other() {
    let (whole, close) = (around(WIDE, [0.5, 0.5], 1.0), around(WIDE, [0.5, 0.5], 2.0));
    is("moves.push_in { to = 2, ease = \"linear\" }", WIDE, 1e-4, |at| between(whole, close, at / 8.0));
    is("moves.pull_out { from = 2, ease = \"linear\" }", WIDE, 1e-4, |at| between(close, whole, at / 8.0));
    is("moves.push_in {}", WIDE, 1e-4, |at| between(whole, around(WIDE, [0.5, 0.5], 1.25), eased(IN_OUT, at / 8.0)));
    let ends = [around(WIDE, [0.35, 0.5], 1.5), around(WIDE, [0.65, 0.5], 1.5)];
    is("moves.pan { ease = \"linear\" }", WIDE, 1e-4, |at| between(ends[0], ends[1], at / 8.0));
}

/// The middle of a window.
fn middle([x, y, width, height]: Window) -> [f64; 2] {
    [x + width / 2.0, y + height / 2.0]
}

/// How far it is from each place to the next.
fn steps(places: &[[f64; 2]]) -> Vec<f64> {
    places.windows(2).map(|two| (two[1][0] - two[0][0]).hypot(two[1][1] - two[0][1])).collect()
}

#[test]
fn arc_travels_on_a_curve_through_a_third_point() {
    let call = "moves.arc { from = point(0.3, 0.5), over = point(0.5, 0.6), to = point(0.7, 0.5), middle = still(4), zoom = 2 }";
    let seen = windows(call, TALL);
    assert!(
        seen.iter().all(|[.., width, height]| (width - 67.5).abs() < 1e-6 && (height - 120.0).abs() < 1e-6),
        "{seen:?}"
    );
    let places: Vec<[f64; 2]> = seen.into_iter().map(middle).collect();
    for (at, [x, y]) in [(0, [96.0, 120.0]), (3, [160.0, 144.0]), (8, [224.0, 120.0])] {
        assert!((places[at][0] - x).abs() < 1e-6 && (places[at][1] - y).abs() < 1e-6, "{at}: {places:?}");
    }
    // Always on to the right, bowed: on one side of the straight way between its ends, and of that through the third
    // point.
    assert!(places.windows(2).all(|two| two[1][0] > two[0][0]), "{places:?}");
    for (from, over, to) in [(0, 1, 3), (0, 2, 3), (3, 5, 8), (3, 6, 8), (3, 7, 8)] {
        let straight = places[from][1]
            + (places[to][1] - places[from][1]) * (places[over][0] - places[from][0])
                / (places[to][0] - places[from][0]);
        assert!(places[over][1] > straight, "{over}: {places:?}");
    }
    // It sets off and arrives softly, and passes the third point without stopping.
    let steps = steps(&places);
    assert!(steps[0] < steps[1] && steps[7] < steps[6], "{steps:?}");
    assert!(steps[2].min(steps[3]) > steps[0].max(steps[7]), "{steps:?}");
    let seen = windows("moves.arc {}", WIDE);
    for (at, on) in [(0, [0.35, 0.6]), (8, [0.65, 0.6])] {
        let due = around(WIDE, on, 1.75);
        assert!(seen[at].iter().zip(due).all(|(seen, due)| (seen - due).abs() < 1e-6), "{at}: {seen:?}");
    }
}

#[test]
fn follow_keeps_up_with_what_moves_evenly_and_smooths_what_turns() {
    // A box of 64 by 48 that goes 128 to the right: 48 is 0.8 of a window 60 high.
    let width = 60.0 * 16.0 / 9.0;
    is("moves.follow {}", WIDE, 0.05, |at| [64.0 + 32.0 + 16.0 * at - width / 2.0, 90.0, width, 60.0]);
    // A box that goes right and then down at a sharp corner: kept in every frame with a tenth of the frame's side free,
    // by a window that turns softly.
    let call = "moves.follow { keys = { key { at = still(1), box(0.2, 0.2, 0.2, 0.2) }, key { at = still(5), box(0.6, 0.2, 0.2, 0.2) }, \
         key { at = still(9), box(0.6, 0.6, 0.2, 0.2) } } }";
    let seen = windows(call, WIDE);
    assert_eq!(seen.len(), 9);
    for (at, [x, y, width, height]) in seen.iter().enumerate() {
        let gone = |stills: usize| 0.4 * f64::from(u32::try_from(stills).unwrap()) / 4.0;
        let (left, top) = (320.0 * (0.2 + gone(at.min(4))), 240.0 * (0.2 + gone(at.saturating_sub(4))));
        let free = [
            (left - x) / width,
            (x + width - left - 64.0) / width,
            (top - y) / height,
            (y + height - top - 48.0) / height,
        ];
        // At the upper edge of the still there is less to be free.
        let least = free.map(|free| free.min(0.1));
        assert!(least.iter().all(|free| *free > 0.1 - 1e-3) || *y < 1e-6, "{at}: {free:?}");
        assert!(free.iter().all(|free| *free >= 0.0) && (width / height - 16.0 / 9.0).abs() < 1e-6, "{at}: {free:?}");
    }
    let places: Vec<[f64; 2]> = seen.into_iter().map(middle).collect();
    // The box's own corner is a turn of 90 degrees between steps of 32 and of 24 pixels.
    let bends = places.windows(3).map(|three| {
        let [before, at, after] = [three[0], three[1], three[2]];
        (before[0] - 2.0 * at[0] + after[0]).hypot(before[1] - 2.0 * at[1] + after[1])
    });
    let hardest = bends.fold(0.0, f64::max);
    assert!(hardest < 2.0, "{hardest}: {places:?}");
}

#[test]
fn every_move_is_listed_with_a_line_and_explained_with_its_arguments() {
    let bench = Bench::new(0);
    let listed = bench.run(&["moves"]).expect(0).out;
    let names: Vec<&str> =
        listed.lines().take_while(|line| !line.is_empty()).map(|line| line.split(' ').next().unwrap()).collect();
    for due in [
        "push_in",
        "pull_out",
        "pan",
        "tilt",
        "arc",
        "reveal",
        "follow",
        "breathe",
        "settle",
        "day_cut",
        "action",
        "liveliest",
    ] {
        assert!(names.contains(&due), "{due}: {listed}");
    }
    for name in names {
        let said = bench.run(&["moves", name]).expect(0).out;
        assert!(said.contains(&format!("moves.{name} {{")), "{said}");
        // What it says it takes is what it takes.
        bench.script(&script(&format!("moves.{name} {{ ['?'] = 1 }}"), WIDE));
        let refused = bench.run(&["check", "move.lua"]).expect(1).err;
        let taken = refused.split("available: ").nth(1).unwrap_or_else(|| panic!("{refused}")).lines().next().unwrap();
        let mut explained: Vec<&str> =
            said.split("\n\n").nth(2).unwrap().lines().map(|line| line.split(' ').next().unwrap()).collect();
        explained.sort_unstable();
        assert_eq!(explained.join(", "), taken.trim(), "{name}");
    }
    bench.run(&["moves", "pusn_in"]).expect(1).says("did you mean 'push_in'?");
}

#[test]
fn moves_as_json_have_their_example_and_every_argument_with_its_default() {
    let bench = Bench::new(0);
    let all = bench.run(&["moves", "--json"]).expect(0).json();
    let all = all["moves"].as_array().unwrap();
    assert_eq!(all.len(), 12);
    for one in all {
        let name = one["name"].as_str().unwrap();
        let alone = bench.run(&["moves", name, "--json"]).expect(0).json();
        assert_eq!(alone["moves"].as_array().unwrap(), std::slice::from_ref(one), "one by its name has the same shape");
        let said = bench.run(&["moves", name]).expect(0).out;
        let text = |field: &str| one[field].as_str().unwrap();
        assert!(said.starts_with(text("help")) && ["framing", "pace"].contains(&text("gives")), "{said}");
        assert!(text("example").contains(&format!("moves.{name} {{")), "{one}");
        let arguments = one["arguments"].as_array().unwrap();
        let lines = said.split("\n\n").nth(2).unwrap().lines();
        let told: Vec<String> = arguments
            .iter()
            .map(|argument| ["name", "help", "default"].map(|field| argument[field].as_str().unwrap()))
            .map(|[name, help, default]| format!("{name} {help}; {default}"))
            .collect();
        let due: Vec<String> = lines.map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
        assert_eq!(told, due, "{name}");
    }
    bench.run(&["moves", "pusn_in", "--json"]).expect(1).says("did you mean 'push_in'?");
    bench.run(&["moves", "push_in", "--json", "-o", "x.svg"]).expect(64);
}

#[test]
fn a_move_is_found_beside_the_script_then_in_the_users_own_folder_then_among_those_that_come_with_it() {
    let bench = Bench::new(9);
    let config = bench.path("config");
    let put = |path: &str, zoom: f64| {
        let path = bench.path(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let text = format!(
            "return function(given) return framing {{ key {{ at = 0, on = point(0.5, 0.5), zoom = {zoom} }} }} end"
        );
        fs::write(path, text).unwrap();
    };
    bench.script(&script("moves.tilt {}", WIDE));
    let width = || {
        let ran = bench.command(&["plan", "move.lua", "--json"]).env("XDG_CONFIG_HOME", &config).output().unwrap();
        let json = crate::common::Ran::of(ran).expect(0).json();
        json["plans"][0]["deliveries"][0]["rows"][0]["window"]["width"].as_f64().unwrap()
    };
    assert!((width() - 320.0 / 1.5).abs() < 1e-9, "embedded");
    put("config/stillpath/moves/tilt.lua", 2.0);
    assert!((width() - 160.0).abs() < 1e-9, "the user's own");
    put("moves/tilt.lua", 4.0);
    assert!((width() - 80.0).abs() < 1e-9, "beside the script");
}

#[test]
fn the_users_own_folder_is_below_the_home_folder_where_nothing_else_is_said() {
    let bench = Bench::new(9);
    let own = bench.path("home/.config/stillpath/moves");
    fs::create_dir_all(&own).unwrap();
    fs::write(own.join("rise.lua"), "return require 'moves.tilt'").unwrap();
    bench.script(&script("moves.rise {}", WIDE));
    let ran = bench.command(&["check", "move.lua"]).env("HOME", bench.path("home")).output().unwrap();
    crate::common::Ran::of(ran).expect(0);
    bench.run(&["check", "move.lua"]).expect(1).says("there is no module 'moves.rise'");
}

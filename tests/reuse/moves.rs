//! The embedded moves as plans, how they are listed, and moves of the user's own.

use std::fmt::Write as _;
use std::fs;

use crate::common::Bench;

/// A script that is nothing but a move, over the shoot at even pace: 9 stills of 320 × 240, a frame each.
fn script(call: &str, frame: &str) -> String {
    format!(
        "local moves = require \"moves\"\nreturn shot {{ source = stills {{ \"stills\" }}, fps = 8, pace = stills_per_frame(1),\n  framing = {call},\n  deliveries = {{ delivery {{ \"clip\", frame = {frame} }} }} }}"
    )
}

/// Every frame as `x,y width×height` of the window.
fn table(bench: &Bench, call: &str, frame: &str) -> String {
    bench.script(&script(call, frame));
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let mut out = String::new();
    for row in json["plans"][0]["deliveries"][0]["rows"].as_array().unwrap() {
        let side = |name: &str| row["window"][name].as_f64().unwrap();
        let _infallible = writeln!(out, "{:.1},{:.1} {:.1}x{:.1}", side("x"), side("y"), side("width"), side("height"));
    }
    out
}

const WIDE: &str = "{ 128, 72 }";
const TALL: &str = "{ 72, 128 }";

fn pinned(call: &str, frame: &str, due: &[&str]) {
    let seen = table(&Bench::new(9), call, frame);
    assert_eq!(seen.lines().collect::<Vec<_>>(), due, "{call}\n{seen}");
}

#[test]
fn tilt_travels_up_at_one_closeness() {
    pinned(
        "moves.tilt {}",
        WIDE,
        &[
            "53.3,96.0 213.3x120.0",
            "53.3,93.8 213.3x120.0",
            "53.3,86.7 213.3x120.0",
            "53.3,74.9 213.3x120.0",
            "53.3,60.0 213.3x120.0",
            "53.3,45.1 213.3x120.0",
            "53.3,33.3 213.3x120.0",
            "53.3,26.2 213.3x120.0",
            "53.3,24.0 213.3x120.0",
        ],
    );
    pinned(
        "moves.tilt { from = point(0.5, 0.3), to = point(0.5, 0.7), zoom = 2 }",
        TALL,
        &[
            "126.2,12.0 67.5x120.0",
            "126.2,15.0 67.5x120.0",
            "126.2,24.4 67.5x120.0",
            "126.2,40.1 67.5x120.0",
            "126.2,60.0 67.5x120.0",
            "126.2,79.9 67.5x120.0",
            "126.2,95.6 67.5x120.0",
            "126.2,105.0 67.5x120.0",
            "126.2,108.0 67.5x120.0",
        ],
    );
}

#[test]
fn reveal_rests_on_the_detail_and_draws_back_to_the_whole() {
    pinned(
        "moves.reveal { leave = still(3) }",
        WIDE,
        &[
            "106.7,90.0 106.7x60.0",
            "106.7,90.0 106.7x60.0",
            "106.7,90.0 106.7x60.0",
            "103.3,88.1 113.5x63.8",
            "91.2,81.3 137.6x77.4",
            "67.6,68.0 184.8x103.9",
            "36.0,50.2 248.1x139.5",
            "9.6,35.4 300.9x169.2",
            "0.0,30.0 320.0x180.0",
        ],
    );
    pinned(
        "moves.reveal { detail = box(0.6, 0.1, 0.2, 0.2), leave = still(2), stop = still(6) }",
        TALL,
        &[
            "192.0,0.0 64.0x113.8",
            "192.0,0.0 64.0x113.8",
            "182.9,0.0 70.5x125.3",
            "151.4,0.0 93.0x165.2",
            "109.9,0.0 122.6x217.9",
            "92.5,0.0 135.0x240.0",
            "92.5,0.0 135.0x240.0",
            "92.5,0.0 135.0x240.0",
            "92.5,0.0 135.0x240.0",
        ],
    );
}

#[test]
fn breathe_comes_closer_and_is_back_at_the_end() {
    pinned(
        "moves.breathe {}",
        WIDE,
        &[
            "0.0,30.0 320.0x180.0",
            "0.5,30.3 319.0x179.5",
            "1.9,31.1 316.2x177.9",
            "3.6,32.0 312.8x176.0",
            "4.5,32.6 310.9x174.9",
            "4.5,32.5 311.1x175.0",
            "2.9,31.6 314.2x176.7",
            "0.8,30.5 318.4x179.1",
            "0.0,30.0 320.0x180.0",
        ],
    );
}

#[test]
fn settle_is_fast_at_first_lands_softly_and_stays() {
    pinned(
        "moves.settle { on = point(0.6, 0.4), to = 2, stop = still(7) }",
        WIDE,
        &[
            "0.0,30.0 320.0x180.0",
            "87.4,46.4 195.2x109.8",
            "102.3,49.2 173.9x97.8",
            "107.9,50.2 165.8x93.3",
            "110.5,50.7 162.1x91.2",
            "111.7,50.9 160.4x90.2",
            "112.0,51.0 160.0x90.0",
            "112.0,51.0 160.0x90.0",
            "112.0,51.0 160.0x90.0",
        ],
    );
}

#[test]
fn arc_travels_on_a_curve_through_a_third_point() {
    pinned(
        "moves.arc {}",
        WIDE,
        &[
            "20.6,92.6 182.9x102.9",
            "23.6,89.3 182.9x102.9",
            "30.9,80.5 182.9x102.9",
            "41.2,66.9 182.9x102.9",
            "56.3,50.0 182.9x102.9",
            "81.2,50.4 182.9x102.9",
            "98.2,69.9 182.9x102.9",
            "110.6,85.9 182.9x102.9",
            "116.6,92.6 182.9x102.9",
        ],
    );
    pinned(
        "moves.arc { from = point(0.3, 0.5), over = point(0.5, 0.6), to = point(0.7, 0.5), middle = still(4), zoom = 2 }",
        TALL,
        &[
            "62.2,60.0 67.5x120.0",
            "73.5,64.8 67.5x120.0",
            "97.2,76.3 67.5x120.0",
            "126.2,84.0 67.5x120.0",
            "151.3,78.1 67.5x120.0",
            "168.9,69.8 67.5x120.0",
            "180.8,64.0 67.5x120.0",
            "187.8,61.0 67.5x120.0",
            "190.2,60.0 67.5x120.0",
        ],
    );
}

#[test]
fn follow_keeps_up_with_what_moves_evenly_and_smooths_what_turns() {
    // A box of 64 by 48 that goes 128 to the right: 48 is 0.8 of a window 60 high.
    pinned(
        "moves.follow {}",
        WIDE,
        &[
            "42.7,90.0 106.7x60.0",
            "58.7,90.0 106.7x60.0",
            "74.7,90.0 106.7x60.0",
            "90.7,90.0 106.7x60.0",
            "106.7,90.0 106.7x60.0",
            "122.7,90.0 106.7x60.0",
            "138.7,90.0 106.7x60.0",
            "154.7,90.0 106.7x60.0",
            "170.7,90.0 106.7x60.0",
        ],
    );
    pinned(
        "moves.follow { keys = { key { at = still(1), box(0.2, 0.2, 0.2, 0.2) }, key { at = still(5), box(0.6, 0.2, 0.2, 0.2) }, \
         key { at = still(9), box(0.6, 0.6, 0.2, 0.2) } } }",
        WIDE,
        &[
            "45.0,0.0 189.6x106.7",
            "49.8,9.0 195.5x110.0",
            "54.6,18.0 201.4x113.3",
            "59.3,27.0 207.3x116.6",
            "64.1,36.0 213.2x119.9",
            "68.9,45.0 219.1x123.3",
            "73.7,54.1 225.0x126.6",
            "78.4,63.1 230.9x129.9",
            "83.2,72.1 236.8x133.2",
        ],
    );
}

#[test]
fn ten_thousand_frames_of_three_deliveries_that_follow_take_less_than_a_second_of_a_processor() {
    // Something that wanders and turns every ten stills, over 120 stills.
    let bench = Bench::new(120);
    let mut keys = String::new();
    for (still, number) in (1..=120).step_by(10).zip(1_u32..) {
        let (x, y) = (0.1 * f64::from(number * 3 % 7), 0.15 * f64::from(number * 2 % 5));
        let _infallible = write!(keys, "key {{ at = still({still}), box({x}, {y}, 0.15, 0.1) }}, ");
    }
    bench.script(&format!(
        "return shot {{ source = stills {{ \"stills\" }}, pace = frames_per_still(84), framing = follow {{ margin = 0.05, {keys} }},\n  \
         deliveries = {{ delivery {{ \"wide\", frame = {{ 128, 72 }}, safe = \"title\" }}, \
         delivery {{ \"tall\", frame = {{ 72, 128 }} }}, delivery {{ \"square\", frame = {{ 64, 64 }} }} }} }}"
    ));
    // The shell's own word for the processor time of what it ran: its second line is that of its children.
    let script = "\"$0\" check move.lua 2>/dev/null && times";
    let ran = std::process::Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_stillpath")])
        .current_dir(bench.folder.path())
        .output()
        .unwrap();
    let out = String::from_utf8(ran.stdout).unwrap();
    assert!(out.contains("wide 128x72 at 24: 10080 frames"), "{out}");
    let seconds = |time: &str| {
        let (minutes, seconds) = time.trim_end_matches('s').split_once('m').unwrap();
        minutes.parse::<f64>().unwrap() * 60.0 + seconds.parse::<f64>().unwrap()
    };
    let took: f64 = out.lines().last().unwrap().split(' ').map(seconds).sum();
    assert!(took < 1.0, "{took} s");
}

#[test]
fn push_in_pull_out_and_pan_are_as_they_were() {
    pinned(
        "moves.push_in { to = 2, ease = \"linear\" }",
        WIDE,
        &[
            "0.0,30.0 320.0x180.0",
            "13.3,37.5 293.4x165.1",
            "25.5,44.3 269.1x151.4",
            "36.6,50.6 246.8x138.8",
            "46.9,56.4 226.3x127.3",
            "56.3,61.6 207.5x116.7",
            "64.9,66.5 190.3x107.0",
            "72.8,70.9 174.5x98.1",
            "80.0,75.0 160.0x90.0",
        ],
    );
    pinned(
        "moves.pull_out { from = 2, ease = \"linear\" }",
        WIDE,
        &[
            "80.0,75.0 160.0x90.0",
            "72.8,70.9 174.5x98.1",
            "64.9,66.5 190.3x107.0",
            "56.3,61.6 207.5x116.7",
            "46.9,56.4 226.3x127.3",
            "36.6,50.6 246.8x138.8",
            "25.5,44.3 269.1x151.4",
            "13.3,37.5 293.4x165.1",
            "0.0,30.0 320.0x180.0",
        ],
    );
    pinned(
        "moves.pan { ease = \"linear\" }",
        WIDE,
        &[
            "5.3,60.0 213.3x120.0",
            "17.3,60.0 213.3x120.0",
            "29.3,60.0 213.3x120.0",
            "41.3,60.0 213.3x120.0",
            "53.3,60.0 213.3x120.0",
            "65.3,60.0 213.3x120.0",
            "77.3,60.0 213.3x120.0",
            "89.3,60.0 213.3x120.0",
            "101.3,60.0 213.3x120.0",
        ],
    );
}

#[test]
fn every_move_is_listed_with_a_line_and_explained_with_its_arguments() {
    let bench = Bench::new(0);
    let listed = bench.run(&["moves"]).expect(0).out;
    let names: Vec<&str> =
        listed.lines().take_while(|line| !line.is_empty()).map(|line| line.split(' ').next().unwrap()).collect();
    for due in ["push_in", "pull_out", "pan", "tilt", "arc", "reveal", "follow", "breathe", "settle", "day_cut"] {
        assert!(names.contains(&due), "{due}: {listed}");
    }
    for name in names {
        let said = bench.run(&["moves", name]).expect(0).out;
        assert!(said.contains(&format!("moves.{name} {{")), "{said}");
        // What it says it takes is what it takes.
        bench.script(&script(&format!("moves.{name} {{ ['?'] = 1 }}"), WIDE));
        let refused = bench.run(&["check", "move.lua"]).expect(1).err;
        let taken = refused.split("there is: ").nth(1).unwrap_or_else(|| panic!("{refused}")).lines().next().unwrap();
        let mut explained: Vec<&str> =
            said.split("\n\n").nth(2).unwrap().lines().map(|line| line.split(' ').next().unwrap()).collect();
        explained.sort_unstable();
        assert_eq!(explained.join(", "), taken.trim(), "{name}");
    }
    bench.run(&["moves", "pusn_in"]).expect(1).says("did you mean 'push_in'?");
}

#[test]
fn a_move_is_found_beside_the_script_then_in_the_users_own_folder_then_among_those_that_come_with_it() {
    let bench = Bench::new(9);
    let config = bench.path("config");
    let put = |path: &str, zoom: f64| {
        let path = bench.path(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let text =
            format!("return function(given) return framing {{ key {{ at = 0, on = point(0.5, 0.5), zoom = {zoom} }} }} end");
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

//! Deliveries that are given a size: what their files come to, the whole program from outside.

#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "test files are small")]

mod common;

use std::fs;
use std::process::{Command, Stdio};

use common::{Bench, STILL};
use stillpath::ffi::jpeg;

/// A script of one delivery with these fields, two stills a second: stretches of eight frames.
fn script(fields: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 2, pace = stills_per_frame(1),
  framing = framing {{ key {{ at = "start", on = point(0.5, 0.5), zoom = 1 }}, key {{ at = "end", on = point(0.6, 0.4), zoom = 1.5 }} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 256, 144 }}, {fields} }} }} }}"#
    )
}

/// A shoot of waves.
fn waves() -> Bench {
    Bench::new(40)
}

/// A shoot of noise that lies still in some stills and not in others.
fn noise() -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for number in 1..=40_usize {
        let mut state = if number % 16 < 8 { 1 } else { number as u64 };
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            u8::try_from(state >> 59).unwrap() * 4 + 64
        };
        let rgb: Vec<u8> = (0..3 * STILL.pixels()).map(|_| random()).collect();
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[])).unwrap();
    }
    bench
}

const RENDER: [&str; 7] = ["render", "move.lua", "--no-strip", "--threads", "2", "--out", "clips"];

/// Renders, and gives the file's bytes.
fn made(bench: &Bench, fields: &str) -> Vec<u8> {
    bench.script(&script(fields));
    bench.run(&[&RENDER[..], &["--force"]].concat()).expect(0);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide.mp4"]);
    fs::read(bench.path("clips/move-wide.mp4")).unwrap()
}

/// Asserts that a file has at most its size and at least 97 % of it.
fn fits(file: &[u8], size: usize, what: &str) {
    assert!(file.len() <= size && 100 * file.len() >= 97 * size, "{what}: {} of {size} bytes", file.len());
}

#[test]
fn h264_comes_to_its_size_whatever_is_shown_and_is_proved_at_the_quality_that_was_found() {
    for (scene, bench) in [("waves", waves()), ("noise", noise())] {
        for (size, bytes) in [("60kB", 60_000), ("150 kB", 150_000), ("0.1 MiB", 104_857)] {
            fits(&made(&bench, &format!("size = \"{size}\"")), bytes, scene);
        }
        let receipt: serde_json::Value =
            serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
        assert!(receipt["deliveries"][0]["crf"].as_f64().is_some(), "{receipt}");
        bench.run(&["prove", "clips/move-receipt.json"]).expect(0);
    }
}

#[test]
fn hevc_and_av1_come_to_their_size() {
    let bench = noise();
    fits(&made(&bench, r#"size = "100kB", codec = { "hevc", preset = "ultrafast" }"#), 100_000, "hevc");
    fits(&made(&bench, r#"size = "100kB", codec = { "av1", preset = 12 }"#), 100_000, "av1");
}

#[test]
fn the_bytes_do_not_tell_that_a_run_was_interrupted_on_its_way_to_a_size() {
    let bench = noise();
    let due = made(&bench, "size = \"100kB\"");
    let again = made(&bench, "size = \"100kB\"");
    assert!(due == again, "the same script, stills and threads");
    fs::remove_dir_all(bench.path("clips")).unwrap();
    let part = bench.path("clips/.move-wide.mp4.part");
    let mut interrupted = 0;
    // Each run is stopped a stretch or two later than the one before.
    for stretch in ["000002.stretch", "000004.stretch", "sizes", "000000.stretch"] {
        let mut child = bench.command(&RENDER).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        while !part.join(stretch).exists() && child.try_wait().unwrap().is_none() {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        let stopped = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        interrupted += usize::from(child.wait().unwrap().code() == Some(130) && stopped.success());
    }
    assert!(interrupted > 0, "no run was interrupted");
    let over = bench.path("clips/move-wide.mp4").exists();
    bench.run(&[&RENDER[..], if over { &["--force"] } else { &[] }].concat()).expect(0);
    assert!(fs::read(bench.path("clips/move-wide.mp4")).unwrap() == due);
    assert!(!part.exists(), "nothing is left beside it");
}

#[test]
fn what_is_as_fine_as_can_be_stays_below_its_size_and_what_cannot_be_so_small_is_refused() {
    let bench = waves();
    bench.script(&script("size = \"1GB\", quality = { preset = \"ultrafast\" }"));
    bench.run(&RENDER).expect(0).says("of its size: it is as fine as can be");
    bench.script(&script("size = \"3kB\""));
    let ran = bench.run(&[&RENDER[..], &["--force"]].concat()).expect(2);
    let ran = ran.says("at the coarsest setting there is; its size is 3.00 kB").says("give it a larger size");
    let least = ran.err.split("comes to ").nth(1).unwrap().split(" kB").next().unwrap().parse::<f64>().unwrap();
    fits(&made(&bench, &format!("size = \"{}kB\"", 2.0 * least)), (2000.0 * least) as usize, "the advice");
}

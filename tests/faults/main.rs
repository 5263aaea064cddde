//! Faults and bad inputs as the user meets them: whole runs of the program over small shoots. Numbers are those of
//! `tests/FAULTS.md`.
//!
//! FFmpeg must be there (`scripts/test` installs it): without it some of these tests fail.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "test pictures are small")]
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]

#[path = "../common/mod.rs"]
mod common;

mod astray;
mod colour;
mod content;
mod covers;
mod drafts;
mod exposure;
mod footage;
mod footage_light;
mod growing;
mod levelling;
mod machine;
mod masters;
mod night;
mod recordings;
mod scripts;
mod sequence;
mod shaking;
mod shares;
mod stamps;
mod steadying;
mod tracking;

use std::process::Command;

use common::Bench;

/// One frame of a script's only delivery, as 16-bit R'G'B'.
fn frame(bench: &Bench, at: &str) -> image::ImageBuffer<image::Rgb<u16>, Vec<u16>> {
    bench.run(&["frame", "move.lua", "--frame", at, "-o", "frame.png", "--force"]).expect(0);
    image::open(bench.path("frame.png")).unwrap().to_rgb16()
}

/// The standard output of one of FFmpeg's programs.
fn ffmpeg(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("{program} is needed for this test ({error}): sh scripts/test installs it");
    });
    assert!(output.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

//! A recording's sound in the deliveries, from outside: recordings are made and deliveries read back by FFmpeg's
//! command line.
//!
//! FFmpeg and MediaInfo must be there (`scripts/test` installs them): without them these tests fail.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small numbers of samples")]
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]

#[path = "../common/mod.rs"]
mod common;

mod files;
mod levels;
mod sync;

use std::fs;
use std::path::Path;
use std::process::Command;

use common::Bench;

/// Samples a second of the sounds made here.
const RATE: usize = 48_000;

/// The standard output of one of FFmpeg's programs.
fn ffmpeg(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("{program} is needed for this test ({error}): sh scripts/test installs it");
    });
    assert!(output.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn bytes_of(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|sample| sample.to_le_bytes()).collect()
}

fn samples_in(bytes: &[u8]) -> Vec<f32> {
    bytes.chunks_exact(4).map(|four| f32::from_le_bytes(four.try_into().unwrap())).collect()
}

/// Records pictures at 30 a second with `channels` of sound, samples side by side; `output` says how both are coded.
fn record(bench: &Bench, name: &str, samples: &[f32], channels: usize, output: &[&str]) {
    let raw = bench.path("sound.f32");
    fs::write(&raw, bytes_of(samples)).unwrap();
    let seconds = samples.len() as f64 / (RATE * channels) as f64;
    let pictures = format!("testsrc=size=64x48:rate=30:duration={seconds}");
    let channels = channels.to_string();
    let given =
        ["-v", "error", "-y", "-f", "lavfi", "-i", &pictures, "-f", "f32le", "-ar", "48000", "-ac", &channels, "-i"];
    let path = bench.path(name);
    ffmpeg("ffmpeg", &[&given[..], &[raw.to_str().unwrap()], output, &[path.to_str().unwrap()]].concat());
}

/// H.264 as a small camera makes it.
const PICTURES: [&str; 8] = ["-c:v", "libx264", "-preset", "veryfast", "-g", "30", "-pix_fmt", "yuv420p"];

/// The left side of a file's sound, decoded by FFmpeg's command line at a rate.
fn decoded(path: &Path, rate: usize) -> Vec<f32> {
    let (path, rate) = (path.to_str().unwrap(), rate.to_string());
    let left = ["-af", "pan=mono|c0=c0", "-ar", &rate, "-f", "f32le", "-"];
    samples_in(&ffmpeg("ffmpeg", &[&["-v", "error", "-i", path, "-map", "0:a:0"][..], &left].concat()))
}

/// What ffprobe says of a file, a line an entry.
fn probed(path: &Path, arguments: &[&str]) -> Vec<String> {
    let out = ffmpeg("ffprobe", &[&["-v", "error", "-of", "csv=p=0"], arguments, &[path.to_str().unwrap()]].concat());
    String::from_utf8(out)
        .unwrap()
        .lines()
        .map(|line| line.trim_matches(',').to_owned())
        .filter(|line| !line.is_empty())
        .collect()
}

/// The kinds of a file's streams.
fn streams(path: &Path) -> Vec<String> {
    probed(path, &["-show_entries", "stream=codec_name"])
}

/// A script over a recording that keeps its sound, of H.264 deliveries of these rates, named by number.
fn script(source: &str, pace: &str, rates: &[&str]) -> String {
    let one = |(number, rate): (usize, &&str)| {
        format!(
            "delivery {{ \"d{number}\", frame = {{ 64, 48 }}, fps = {rate}, quality = {{ preset = \"ultrafast\" }} }},"
        )
    };
    let deliveries: String = rates.iter().enumerate().map(one).collect();
    format!(
        "return shot {{ source = {source}, fps = 30, pace = {pace}, sound = \"real-time\",\n  deliveries = {{ {deliveries} }} }}"
    )
}

/// Renders `move.lua`; what the run said.
fn render(bench: &Bench) -> common::Ran {
    bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json", "--no-strip"]).expect(0)
}

/// Decibels of a ratio.
fn decibels(ratio: f64) -> f64 {
    20.0 * ratio.max(1e-12).log10()
}

/// Root mean square.
fn level(samples: &[f32]) -> f64 {
    (samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

/// A tone from its first sample on.
fn tone(hertz: f64, amplitude: f64, seconds: f64) -> Vec<f32> {
    let count = (seconds * RATE as f64) as usize;
    (0..count).map(|at| (amplitude * (std::f64::consts::TAU * hertz * at as f64 / RATE as f64).sin()) as f32).collect()
}

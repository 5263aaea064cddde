//! Finished files, held against what FFmpeg's command line, MediaInfo and a small parser of the tests' own say of them.
//!
//! FFmpeg and MediaInfo must be there (`scripts/test` installs them): without them these tests fail.
#![expect(clippy::cast_possible_truncation, reason = "small numbers of synthetic pictures")]

mod chart;
mod codecs;
mod conformance;
mod disk;
mod faults;
mod moves;
mod sequence;
mod stretches;

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use stillpath::encode;
use stillpath::picture::{Frame, FrameKind, Pixels};
use stillpath::plan::DeliveryPlan;
use stillpath::shot::{Codec, H264, Light, Policy, Sharpness};
use stillpath::units::Size;
use stillpath::work::Written;

const SMALL: Size = Size { width: 64, height: 48 };

fn delivery(codec: Codec, frame: Size, fps: &str) -> DeliveryPlan {
    DeliveryPlan {
        name: "wide".into(),
        frame,
        fps: fps.parse().unwrap(),
        codec,
        sharpness: Sharpness::Even,
        resample: stillpath::shot::Light::Encoded,
        light: Light::Linear,
        room: frame.into(),
        corrected: false,
        sound: [].into(),
        stamps: [].into(),
        unread_sound: Policy::default(),
        every_still: false,
        extras: stillpath::plan::Extras::default(),
        gathered: Vec::new(),
        rooms: Vec::new(),
        rows: Vec::new(),
    }
}

/// H.264 at the default quality, encoded quickly.
fn h264(frame: Size, fps: &str) -> DeliveryPlan {
    delivery(Codec::H264(H264 { preset: "veryfast".into(), ..H264::default() }), frame, fps)
}

/// Frame `index` of a texture that drifts to the right, one pixel a frame, with a little noise.
fn drifting(size: Size, index: u64) -> Frame {
    let mut frame = Frame::new(FrameKind::Yuv420, size);
    let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels else { unreachable!() };
    let mut noise = 0x9E37_79B9_u32 ^ index as u32;
    for (at, sample) in y.iter_mut().enumerate() {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let (column, row) = (at as u64 % u64::from(size.width) + 1_000_000 - index, at as u64 / u64::from(size.width));
        *sample = 60 + ((column / 7 + row / 5) % 8 * 16) as u8 + (noise >> 29) as u8;
    }
    let across = u64::from(size.width / 2);
    for (at, (cb, cr)) in cb.iter_mut().zip(cr.iter_mut()).enumerate() {
        *cb = 110 + (at as u64 % across * 32 / across) as u8;
        *cr = 120 + (index % 16) as u8;
    }
    frame
}

/// Makes a file of so many drifting frames.
fn make(delivery: &DeliveryPlan, path: &Path, frames: u64, threads: usize) -> Written {
    let mut sink = encode::open(delivery, path, threads).unwrap();
    for index in 0..frames {
        sink.write(&drifting(delivery.frame, index)).unwrap();
    }
    sink.finish().unwrap()
}

/// The standard output of a program that has to be there and has to succeed.
fn run(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("{program} is needed for this test ({error}): sh scripts/test installs it");
    });
    assert!(output.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// Streams, container and every frame, as ffprobe sees them.
fn ffprobe(path: &Path) -> Value {
    let shown = ["-v", "error", "-of", "json", "-show_streams", "-show_format", "-show_frames", "-i"];
    serde_json::from_slice(&run("ffprobe", &[&shown[..], &[path.to_str().unwrap()]].concat())).unwrap()
}

/// The video track, as MediaInfo sees it.
fn mediainfo(path: &Path) -> Value {
    let whole: Value = serde_json::from_slice(&run("mediainfo", &["--Output=JSON", path.to_str().unwrap()])).unwrap();
    let tracks = whole["media"]["track"].as_array().unwrap().clone();
    tracks.into_iter().find(|track| track["@type"] == "Video").unwrap()
}

/// Every frame decoded by FFmpeg's command line, as raw bytes of a pixel format.
fn decoded(path: &Path, arguments: &[&str]) -> Vec<u8> {
    let before = ["-v", "error", "-i", path.to_str().unwrap()];
    run("ffmpeg", &[&before[..], arguments, &["-f", "rawvideo", "-"]].concat())
}

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

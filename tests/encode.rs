//! Finished files, held against what FFmpeg's command line, MediaInfo and a small parser of the test's own say of them.
//!
//! FFmpeg and MediaInfo must be there (`scripts/test` installs them): without them these tests fail.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small numbers of synthetic pictures")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use stillpath::encode;
use stillpath::ffi::ffmpeg;
use stillpath::picture::{Frame, FrameKind, Pixels};
use stillpath::plan::DeliveryPlan;
use stillpath::shot::{Codec, H264, Sharpness};
use stillpath::units::{FrameRate, Size};
use stillpath::work::{SinkError, Written};

const SMALL: Size = Size { width: 64, height: 48 };

fn delivery(codec: Codec, frame: Size, fps: &str) -> DeliveryPlan {
    let fps = fps.parse().unwrap();
    DeliveryPlan { name: "wide".into(), frame, fps, codec, sharpness: Sharpness::Even, rows: Vec::new() }
}

fn h264(frame: Size, fps: &str) -> DeliveryPlan {
    let codec = H264 { preset: "veryfast".into(), ..H264::default() };
    delivery(Codec::H264(codec), frame, fps)
}

/// Frame `index` of a texture that drifts to the right, one pixel a frame, with a little noise.
fn drifting(size: Size, index: u64) -> Frame {
    let mut frame = Frame::new(FrameKind::Yuv420, size);
    let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels else { unreachable!() };
    let mut noise = 0x9E37_79B9_u32 ^ index as u32;
    for (at, sample) in y.iter_mut().enumerate() {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let (column, row) = ((at as u64 % u64::from(size.width)).wrapping_sub(index), at as u64 / u64::from(size.width));
        *sample = 60 + ((column / 7 + row / 5) % 8 * 16) as u8 + (noise >> 29) as u8;
    }
    for (at, (cb, cr)) in cb.iter_mut().zip(cr.iter_mut()).enumerate() {
        *cb = 110 + (at as u64 % 32) as u8;
        *cr = 120 + (index % 16) as u8;
    }
    frame
}

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

fn ffprobe(path: &Path) -> Value {
    let arguments = ["-v", "error", "-of", "json", "-show_streams", "-show_format", "-show_frames", path.to_str().unwrap()];
    serde_json::from_slice(&run("ffprobe", &arguments)).unwrap()
}

fn mediainfo(path: &Path) -> Value {
    let whole: Value = serde_json::from_slice(&run("mediainfo", &["--Output=JSON", path.to_str().unwrap()])).unwrap();
    let tracks = whole["media"]["track"].as_array().unwrap().clone();
    tracks.into_iter().find(|track| track["@type"] == "Video").unwrap()
}

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn every_rate_and_length_is_constant_to_the_tick() {
    let folder = tempfile::tempdir().unwrap();
    for rate in ["24", "25", "30", "60", "30000/1001", "24000/1001", "1", "1/2", "12.0", "48000/1001"] {
        for frames in [1, 2, 17, 60] {
            let path = folder.path().join("clip.mp4");
            let written = make(&h264(SMALL, rate), &path, frames, 1);
            assert_eq!(written, Written { path: path.clone(), frames, bytes: fs::metadata(&path).unwrap().len() });
            constant(&path, rate.parse().unwrap(), frames);
        }
    }
    assert_eq!(names_in(folder.path()), ["clip.mp4"]);
}

/// Every frame's time by ffprobe, in ticks: `0, t, 2t …`, nothing rounded, nothing shifted.
fn constant(path: &Path, fps: FrameRate, frames: u64) {
    let probed = ffprobe(path);
    let stream = &probed["streams"][0];
    let rate = format!("{}/{}", fps.numerator(), fps.denominator());
    assert_eq!(stream["r_frame_rate"], rate.as_str());
    assert_eq!(stream["avg_frame_rate"], rate.as_str());
    assert_eq!(stream["nb_frames"], frames.to_string().as_str());
    assert_eq!(stream["start_pts"], 0);
    let timescale: u64 = stream["time_base"].as_str().unwrap().strip_prefix("1/").unwrap().parse().unwrap();
    let tick = timescale * u64::from(fps.denominator()) / u64::from(fps.numerator());
    assert_eq!(
        tick * u64::from(fps.numerator()),
        timescale * u64::from(fps.denominator()),
        "a frame is no whole number of ticks"
    );
    assert_eq!(stream["duration_ts"], frames * tick);
    let shown: Vec<u64> = probed["frames"].as_array().unwrap().iter().map(|frame| frame["pts"].as_u64().unwrap()).collect();
    assert_eq!(shown, (0..frames).map(|index| index * tick).collect::<Vec<_>>());
    assert!(probed["frames"].as_array().unwrap().iter().all(|frame| frame["pkt_duration"] == tick));
    let seconds: f64 = probed["format"]["duration"].as_str().unwrap().parse().unwrap();
    assert!((seconds - frames as f64 / fps.per_second()).abs() < 1e-6, "{seconds} s");

    let seen = mediainfo(path);
    assert_eq!(seen["FrameRate_Mode"], "CFR", "{seen:#}");
    assert_eq!(seen["FrameCount"], frames.to_string().as_str());
}

#[test]
fn frames_of_a_folder_come_back_as_they_went_in() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("made/here/wide");
    let plan = delivery(Codec::Png, Size::new(65, 33), "24");
    let frames: Vec<Frame> = (0..9_u32)
        .map(|index| {
            let mut frame = Frame::new(FrameKind::Rgb16, plan.frame);
            let Pixels::Rgb16(samples) = &mut frame.pixels else { unreachable!() };
            for (at, sample) in samples.iter_mut().enumerate() {
                *sample = (at as u32).wrapping_mul(40_503).wrapping_add(index * 257) as u16;
            }
            frame
        })
        .collect();
    let mut sink = encode::open(&plan, &path, 3).unwrap();
    for frame in &frames {
        sink.write(frame).unwrap();
    }
    let written = sink.finish().unwrap();
    assert_eq!((written.frames, &written.path), (9, &path));
    assert_eq!(names_in(&path), (0..9).map(|index| format!("{index:06}.png")).collect::<Vec<_>>());
    assert_eq!(names_in(path.parent().unwrap()), ["wide"]);
    for (index, frame) in frames.iter().enumerate() {
        let image = image::open(path.join(format!("{index:06}.png"))).unwrap();
        let image::DynamicImage::ImageRgb16(image) = image else { panic!("not 16-bit RGB: {:?}", image.color()) };
        assert_eq!(Pixels::Rgb16(image.into_raw()), frame.pixels, "frame {index}");
    }
}

#[test]
fn zz_scratch() {
    let path = std::path::PathBuf::from("/tmp/enc/clip.mp4");
    for (size, name) in [(Size::new(1920, 1080), "wide"), (SMALL, "small")] {
        make(&h264(size, "30000/1001"), &path.with_file_name(format!("{name}.mp4")), 70, 2);
    }
}

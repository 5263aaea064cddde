//! Moves and ramps after encoding: what the program paints and encodes and FFmpeg's command line decodes, measured there.

#![expect(clippy::print_stdout, reason = "figures of measurements")]

use std::path::Path;

use kurbo::Point;
use stillpath::encode;
use stillpath::geom::Window;
use stillpath::picture::{Frame, FrameKind, Pixels};
use stillpath::sample::Painter;
use stillpath::shot::{Codec, H264};
use stillpath::units::Size;

use crate::chart::{self, Chart};
use crate::{decoded, delivery};

const FRAMES: u32 = 48;

fn luma(frame: &Frame) -> &[u8] {
    let Pixels::Yuv420 { y, .. } = &frame.pixels else { unreachable!("asked for Y'CbCr") };
    y
}

/// Frames through the encoder and back: their luma.
fn there_and_back(codec: H264, frames: &[Frame], path: &Path) -> Vec<Vec<u8>> {
    let size = frames[0].size;
    let mut sink = encode::open(&delivery(Codec::H264(codec), size, "24"), path, 1).unwrap();
    frames.iter().for_each(|frame| sink.write(frame).unwrap());
    sink.finish().unwrap();
    let (all, one) = (decoded(path, &["-pix_fmt", "yuv420p"]), size.pixels() as usize);
    all.chunks(one + one / 2).map(|frame| frame[..one].to_vec()).collect()
}

/// Limited range, black 0 and white 1 (BT.709-6, 3.4 and table of digital levels).
fn light(luma: &[u8]) -> Vec<f32> {
    luma.iter().map(|&code| (f32::from(code) - 16.0) / 219.0).collect()
}

/// Four of the blobs of the chart in `scripts/bench.md`, slower. The bars are our choice; with libx264 as it comes the
/// same frames show RMS 0.050, largest 0.215, acceleration 0.049.
#[test]
fn a_slow_move_survives_the_encoder() {
    let chart = Chart {
        frame: Size::new(640, 480),
        frames: FRAMES,
        zoom: 1.02,
        blobs: [(160.5, 150.3), (480.2, 150.7), (160.9, 330.1), (480.3, 331.4)].map(Point::from).to_vec(),
        sigma: 10.0,
    };
    let folder = tempfile::tempdir().unwrap();
    let mut painter = Painter::new();
    let frames: Vec<Frame> = (0..FRAMES).map(|number| chart.painted(&mut painter, FrameKind::Yuv420, number)).collect();
    let [rms, largest, bend] = chart.followed(frames.iter().map(|frame| light(luma(frame))));
    println!("as painted: RMS {rms:.4}, largest {largest:.3}, acceleration {bend:.4}");
    assert!(rms < 0.012 && largest < 0.04 && bend < 0.022, "the ruler is finer than what it measures");
    let back = there_and_back(H264::default(), &frames, &folder.path().join("move.mp4"));
    let [rms, largest, bend] = chart.followed(back.iter().map(|luma| light(luma)));
    println!("encoded: RMS {rms:.4}, largest {largest:.3}, acceleration {bend:.4}");
    assert!(rms < 0.017 && largest < 0.09 && bend < 0.032);
}

/// A sky of twelve codes over the frame. The mean of each row stays near the ramp; rounded without dither it would go by
/// steps of a code. With libx264 as it comes it is 0.182 codes off.
#[test]
fn a_ramp_survives_the_encoder() {
    let folder = tempfile::tempdir().unwrap();
    let mut painter = Painter::new();
    let size = Size::new(320, 480);
    let twelve = 12.0 / 219.0 * 65_535.0;
    let light = |row: usize| (30_000.0 + twelve * (row as f64 + 0.5) / f64::from(size.height)).round() as u16;
    let samples = (0..size.height as usize).flat_map(|row| vec![light(row); size.width as usize]).collect();
    let still = chart::grey(samples, size);
    let frame = chart::painted(&mut painter, &still, Window::whole(size), (FrameKind::Yuv420, size));
    let frames = vec![frame; 24];
    let must = |row: usize| 16.0 + 219.0 / 65_535.0 * f64::from(light(row));
    let apart = |luma: &[u8]| {
        let rows = luma.chunks(size.width as usize).enumerate();
        let squares = rows.map(|(row, codes)| {
            let mean = codes.iter().map(|&code| f64::from(code)).sum::<f64>() / codes.len() as f64;
            (mean - must(row)).powi(2)
        });
        (squares.sum::<f64>() / f64::from(size.height)).sqrt()
    };
    let rounded: Vec<u8> =
        (0..size.height as usize).flat_map(|row| vec![must(row).round() as u8; size.width as usize]).collect();
    let (painted, banded) = (apart(luma(&frames[0])), apart(&rounded));
    let back = there_and_back(H264::default(), &frames, &folder.path().join("ramp.mp4"));
    assert_eq!(back.len(), frames.len());
    let worst = back.iter().map(|luma| apart(luma)).fold(0.0, f64::max);
    println!("rows off the ramp, codes RMS: painted {painted:.3}, rounded {banded:.3}, encoded {worst:.3}");
    assert!(painted < 0.05 && banded > 0.25, "the ruler tells them apart");
    assert!(worst < 0.15);
}

//! Frames invented between stills, beside the truth and the mean: on fixed-camera footage and on the demo shoot.
//!
//! Every second still is left out and invented again from its neighbours. *Moving* is where the two neighbours differ,
//! by a mask that knows nothing of any flow: the mean over 15 × 15 pixels of the luma codes that they differ by is
//! above 4. *Still* is all the rest. The bars for footage are 1.5 dB above the mean where things move, and not below it
//! where they stand still.

use std::path::Path;
use std::process::Command;

use stillpath::decode::{Decoder, Want};
use stillpath::geom::Window;
use stillpath::level::Gain;
use stillpath::picture::{Frame, FrameKind, Model, Picture, Pixels, Plane, Profile, Samples, Siting};
use stillpath::sample::{Accumulator, Painter, Pair, Part};
use stillpath::shot::{Light, Sharpness};
use stillpath::survey::{Request, survey};
use stillpath::units::Size;

/// Where Debian's package `opencv-doc` puts 795 frames of a fixed camera over a path with walkers, 768 × 576 at 10 a
/// second. They are installed to be tested with and never passed on.
const FOOTAGE: &str = "/usr/share/doc/opencv-doc/examples/data/vtest.avi";
const FOOTAGE_SIZE: Size = Size { width: 768, height: 576 };

const HALVES: [Part; 2] = [Part { weight: 32_768, before: 0 }, Part { weight: 32_768, before: 32_768 }];

/// Luma in codes of 16 bits' depth on the scale of 8: of a frame of R'G'B', by BT.709.
fn luma(frame: &Frame) -> Vec<f64> {
    let Pixels::Rgb16(pixels) = &frame.pixels else { unreachable!("asked for R'G'B'") };
    let of = |rgb: &[u16]| 0.2126 * f64::from(rgb[0]) + 0.7152 * f64::from(rgb[1]) + 0.0722 * f64::from(rgb[2]);
    pixels.chunks(3).map(|rgb| of(rgb) / 257.0).collect()
}

/// The mean and the invented frame half way between two stills.
fn half_way(painter: &mut Painter, pair: &mut Pair, stills: [&Picture; 2], window: Window, size: Size) -> [Frame; 2] {
    let (kind, sharpness) = (FrameKind::Rgb16, Sharpness::Even);
    let mut mean = Accumulator::new(kind, size, Light::Linear);
    for (still, part) in stills.into_iter().zip(HALVES) {
        painter.expose(still, window, sharpness, part, &mut mean).unwrap();
    }
    let mut frames = [Frame::new(kind, size), Frame::new(kind, size)];
    painter.print(&mean, &mut frames[0]);
    painter.lay_out(stills.map(|still| (still, Gain::UNCHANGED, window)), sharpness, (kind, size), pair).unwrap();
    painter.print_between(&mean, pair, 0.5, &mut frames[1]);
    frames
}

fn painted(painter: &mut Painter, still: &Picture, window: Window, size: Size) -> Frame {
    let mut frame = Frame::new(FrameKind::Rgb16, size);
    painter.paint(still, window, Sharpness::Even, &mut frame).unwrap();
    frame
}

/// Squared errors of the mean and of the invented frame, and pixels: where things move, and where they stand still.
#[derive(Default, Clone, Copy)]
struct Errors([[f64; 3]; 2]);

impl Errors {
    fn of(before: &[f64], truth: &[f64], after: &[f64], frames: [&[f64]; 2], size: Size) -> Self {
        let apart: Vec<f64> = before.iter().zip(after).map(|(one, other)| (one - other).abs()).collect();
        let moving = mean_around(&apart, size, 7);
        let mut errors = Self::default();
        for (at, truth) in truth.iter().enumerate() {
            let part = &mut errors.0[usize::from(moving[at] <= 4.0)];
            part[0] += (frames[0][at] - truth).powi(2);
            part[1] += (frames[1][at] - truth).powi(2);
            part[2] += 1.0;
        }
        errors
    }

    fn add(&mut self, other: Self) {
        for (own, other) in self.0.iter_mut().flatten().zip(other.0.iter().flatten()) {
            *own += other;
        }
    }

    /// By how many dB the invented frame is nearer to the truth than the mean: where things move, and where they stand
    /// still.
    fn gains(&self) -> [f64; 2] {
        self.0.map(|[mean, invented, _]| if mean == invented { 0.0 } else { 10.0 * (mean / invented).log10() })
    }

    fn describe(&self, name: &str) -> String {
        let psnr = |error: f64, pixels: f64| 10.0 * (255.0_f64.powi(2) * pixels / error).log10();
        let [moving, still] =
            self.0.map(|[mean, invented, pixels]| (psnr(mean, pixels), psnr(invented, pixels), pixels));
        let share = 100.0 * moving.2 / (moving.2 + still.2);
        format!(
            "{name}: moving ({share:.1} % of it) {:.2} dB invented, {:.2} dB mixed; still {:.3} dB invented, {:.3} dB mixed",
            moving.1, moving.0, still.1, still.0
        )
    }
}

/// The mean over squares of `2 · reach + 1` pixels, what lies inside of them.
fn mean_around(values: &[f64], size: Size, reach: usize) -> Vec<f64> {
    let (width, height) = (size.width as usize, size.height as usize);
    // Sums over everything above and to the left.
    let mut sums = vec![0.0; (width + 1) * (height + 1)];
    for y in 0..height {
        for x in 0..width {
            sums[(y + 1) * (width + 1) + x + 1] =
                values[y * width + x] + sums[y * (width + 1) + x + 1] + sums[(y + 1) * (width + 1) + x]
                    - sums[y * (width + 1) + x];
        }
    }
    let mean = |x: usize, y: usize| {
        let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(width));
        let (top, bottom) = (y.saturating_sub(reach), (y + reach + 1).min(height));
        let at = |x: usize, y: usize| sums[y * (width + 1) + x];
        (at(right, bottom) - at(left, bottom) - at(right, top) + at(left, top))
            / ((right - left) * (bottom - top)) as f64
    };
    (0..width * height).map(|at| mean(at % width, at / width)).collect()
}

/// Frames of the footage, Y'CbCr with chroma at half the size each way, carried to full range as stills are.
fn footage(first: usize, count: usize) -> Vec<Picture> {
    assert!(Path::new(FOOTAGE).exists(), "{FOOTAGE} is missing: scripts/test installs it (Debian's opencv-doc)");
    let (from, to) = (first.to_string(), (first + count - 1).to_string());
    let output = Command::new("ffmpeg")
        .args([
            "-v",
            "error",
            "-i",
            FOOTAGE,
            "-vf",
            &format!("select=between(n\\,{from}\\,{to})"),
            "-fps_mode",
            "passthrough",
        ])
        .args(["-pix_fmt", "yuvj420p", "-f", "rawvideo", "-"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let (width, height) = (FOOTAGE_SIZE.width, FOOTAGE_SIZE.height);
    let luma = FOOTAGE_SIZE.pixels() as usize;
    let frames: Vec<&[u8]> = output.stdout.chunks_exact(luma * 3 / 2).collect();
    assert_eq!(frames.len(), count);
    let half = Siting { step_x: 2.0, step_y: 2.0, origin_x: 0.5, origin_y: 1.0 };
    let plane = |values: &[u8], width: u32, height: u32, siting| Plane {
        samples: Samples::Eight(values.to_vec()),
        width,
        height,
        stride: width as usize,
        siting,
    };
    let picture = |frame: &&[u8]| Picture {
        size: FOOTAGE_SIZE,
        model: Model::YCbCr601,
        planes: vec![
            plane(&frame[..luma], width, height, Siting::FULL),
            plane(&frame[luma..luma * 5 / 4], width / 2, height / 2, half),
            plane(&frame[luma * 5 / 4..], width / 2, height / 2, half),
        ],
        profile: Profile::Srgb,
        first_row: 0,
        end_row: height,
    };
    frames.iter().map(picture).collect()
}

/// Writes the stills before and after, the invented one and the true one side by side, where a folder is named to look
/// at them.
fn show(name: &str, frames: [&Frame; 4]) {
    let Some(folder) = std::env::var_os("STILLPATH_LOOK") else { return };
    for (frame, what) in frames.into_iter().zip(["mixed", "invented", "true", "before"]) {
        let Pixels::Rgb16(pixels) = &frame.pixels else { unreachable!() };
        let picture =
            image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(frame.size.width, frame.size.height, pixels.clone());
        picture.unwrap().save(Path::new(&folder).join(format!("{name}-{what}.png"))).unwrap();
    }
}

#[test]
fn walkers_before_a_fixed_camera_come_out_nearer_to_the_truth_than_mixed_and_the_ground_no_farther() {
    let window = Window::new(0.0, 0.0, f64::from(FOOTAGE_SIZE.width), f64::from(FOOTAGE_SIZE.height));
    let (mut painter, mut pair, mut all) = (Painter::new(), Pair::new(), Errors::default());
    for first in [40, 200, 360, 520, 680] {
        let stills = footage(first, 3);
        let [before, truth, after] =
            [0, 1, 2].map(|at: usize| painted(&mut painter, &stills[at], window, FOOTAGE_SIZE));
        let [mean, invented] = half_way(&mut painter, &mut pair, [&stills[0], &stills[2]], window, FOOTAGE_SIZE);
        show(&format!("walkers-{first}"), [&mean, &invented, &truth, &before]);
        let errors =
            Errors::of(&luma(&before), &luma(&truth), &luma(&after), [&luma(&mean), &luma(&invented)], FOOTAGE_SIZE);
        println!("{}", errors.describe(&format!("frame {}", first + 1)));
        let [moving, still] = errors.gains();
        assert!(
            moving > 0.5 && still >= -0.005,
            "frame {}: {moving:.3} dB where things move, {still:.4} elsewhere",
            first + 1
        );
        all.add(errors);
    }
    println!("{}", all.describe("together"));
    let [moving, still] = all.gains();
    assert!(moving >= 1.5 && still >= 0.0, "{moving:.3} dB where things move, {still:.4} elsewhere");
}

// Most of what moves here is water, whose ripples have nothing in common ten seconds on, and the crane's hook goes
// eight times its own size between two stills: no flow finds either, and the gain is that of boats, tide and clouds.
// Hence a lower bar.
#[test]
fn the_demo_shoot_comes_out_nearer_to_its_truth_than_mixed_and_what_stands_still_no_farther() {
    let folder = tempfile::tempdir().unwrap();
    let size = Size::new(800, 600);
    let request = stillpath::demo::Request { stills: 120, size, seed: 1, threads: 2 };
    stillpath::demo::draw(&request, folder.path(), &|| true).unwrap();
    let paths = vec![folder.path().display().to_string()];
    let shoot = survey(&Request {
        base: std::path::PathBuf::new(),
        paths,
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    })
    .unwrap();
    let (mut painter, mut pair, mut all) = (Painter::new(), Pair::new(), Errors::default());
    let (window, frame) = (Window::new(0.0, 75.0, 800.0, 450.0), Size::new(800, 450));
    let mut decoder = Decoder::new();
    let mut decode = |slot: usize| {
        let still = shoot.still(stillpath::units::SlotIndex(slot)).unwrap();
        decoder.decode(still, Want::rows(0..size.height), None).unwrap()
    };
    let there = |first: &usize| (0..3).all(|at| shoot.still(stillpath::units::SlotIndex(first + at)).is_some());
    for first in (5..118).step_by(16).filter(there) {
        let stills = [0, 1, 2].map(|at| decode(first + at));
        let [before, truth, after] = [0, 1, 2].map(|at: usize| painted(&mut painter, &stills[at], window, frame));
        let [mean, invented] = half_way(&mut painter, &mut pair, [&stills[0], &stills[2]], window, frame);
        show(&format!("demo-{first}"), [&mean, &invented, &truth, &before]);
        let errors = Errors::of(&luma(&before), &luma(&truth), &luma(&after), [&luma(&mean), &luma(&invented)], frame);
        println!("{}", errors.describe(&format!("still {}", first + 2)));
        all.add(errors);
    }
    println!("{}", all.describe("together"));
    let [moving, still] = all.gains();
    assert!(moving >= 1.0 && still >= 0.0, "{moving:.3} dB where things move, {still:.4} elsewhere");
}

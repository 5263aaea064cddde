//! A small fixed scene with things that move through it, noisy as a camera's, in which faults can be planted.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "small pictures, clamped"
)]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use stillpath::ffi::jpeg;
use stillpath::shoot::Shoot;
use stillpath::shot::Pairs;
use stillpath::survey::{Request, survey};
use stillpath::units::Size;

pub(crate) const SIZE: Size = Size { width: 320, height: 240 };

/// What is done to one still.
#[derive(Clone, Copy)]
pub(crate) struct Plant {
    /// Factor of the light.
    pub(crate) gain: f64,
    /// Pixels that the picture lies to the right and down.
    pub(crate) shift: [f64; 2],
    /// Radius of a blur, in pixels.
    pub(crate) blur: usize,
    /// Amplitude of stripes as a share of light, and their phase in turns; there are seven.
    pub(crate) stripes: (f64, f64),
    /// Rows from here on show the scene of another still.
    pub(crate) torn: Option<(u32, usize)>,
    /// Rows in between are shifted in colour and sideways.
    pub(crate) band: Option<(u32, u32)>,
    /// The scene is another one altogether.
    pub(crate) other: bool,
}

impl Default for Plant {
    fn default() -> Self {
        Self { gain: 1.0, shift: [0.0; 2], blur: 0, stripes: (0.0, 0.0), torn: None, band: None, other: false }
    }
}

/// Hashed noise, 0 to 1, the same everywhere.
pub(crate) fn hash(x: i64, y: i64, salt: i64) -> f64 {
    let mut h = (x.wrapping_mul(0x9E37_79B9_7F4A_7C15_u64 as i64)
        ^ y.wrapping_mul(0xC2B2_AE3D_27D4_EB4F_u64 as i64)
        ^ salt.wrapping_mul(0x1656_67B1_9E37_79F9)) as u64;
    h = (h ^ (h >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h = (h ^ (h >> 32)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((h ^ (h >> 29)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Smooth noise of cells of so many pixels.
pub(crate) fn smooth(x: f64, y: f64, cell: f64, salt: i64) -> f64 {
    let (x, y) = (x / cell, y / cell);
    let (fx, fy) = (x.floor(), y.floor());
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (tx, ty) = (ease(x - fx), ease(y - fy));
    let at = |dx: i64, dy: i64| hash(fx as i64 + dx, fy as i64 + dy, salt);
    let top = at(0, 0) * (1.0 - tx) + at(1, 0) * tx;
    let bottom = at(0, 1) * (1.0 - tx) + at(1, 1) * tx;
    top * (1.0 - ty) + bottom * ty
}

/// Codes of the scene that stands still, before light: a texture with detail at every scale.
fn ground(x: f64, y: f64, salt: i64) -> f64 {
    60.0 + 55.0 * smooth(x, y, 47.0, salt) + 35.0 * smooth(x, y, 13.0, salt + 1) + 22.0 * smooth(x, y, 4.0, salt + 2)
}

/// The things that move at a still: place, radius, code.
fn movers(index: usize) -> Vec<Mover> {
    let t = index as f64;
    let lane = |speed: f64, from: f64, y: f64, radius: f64, code: f64| {
        ([(from + speed * t).rem_euclid(360.0) - 20.0, y], radius, code)
    };
    vec![
        lane(6.3, 10.0, 40.0, 11.0, 190.0),
        lane(-4.7, 200.0, 78.0, 9.0, 40.0),
        lane(8.1, 120.0, 120.0, 12.0, 210.0),
        lane(-7.2, 60.0, 165.0, 10.0, 30.0),
        lane(5.2, 250.0, 205.0, 12.0, 180.0),
    ]
}

/// A thing that moves: its centre, radius and code.
pub(crate) type Mover = ([f64; 2], f64, f64);

fn scene(x: f64, y: f64, movers: &[Mover], salt: i64) -> f64 {
    let over = movers.iter().find(|([mx, my], radius, _)| (x - mx).hypot(y - my) < *radius);
    over.map_or_else(|| ground(x, y, salt), |(_, _, code)| *code)
}

/// One still as R'G'B'.
pub(crate) fn still(index: usize, plant: &Plant) -> Vec<u8> {
    still_with(index, plant, None)
}

fn still_with(index: usize, plant: &Plant, more: Option<Mover>) -> Vec<u8> {
    let (width, height) = (SIZE.width as usize, SIZE.height as usize);
    let salt = if plant.other { 77 } else { 5 };
    // The rows of a torn still are another's, its noise and all.
    let of = |y: usize| plant.torn.filter(|(row, _)| y as u32 >= *row).map_or(index, |(_, other)| other);
    let mut codes: Vec<f64> = Vec::with_capacity(width * height);
    for y in 0..height {
        let mut moving = movers(of(y));
        moving.extend(more);
        codes.extend((0..width).map(|x| scene(x as f64 - plant.shift[0], y as f64 - plant.shift[1], &moving, salt)));
    }
    if plant.blur > 0 {
        codes = blurred(&codes, width, plant.blur);
    }
    let mut rgb = Vec::with_capacity(3 * codes.len());
    for (at, code) in codes.iter().enumerate() {
        let (x, y) = (at % width, at / width);
        let wave = (std::f64::consts::TAU * (7.0 * (y as f64 + 0.5) / height as f64 + plant.stripes.1)).sin();
        let light = plant.gain * (1.0 + plant.stripes.0 * wave);
        // Light to codes by the power that sRGB's curve comes near.
        let code = code * light.powf(1.0 / 2.2);
        let off = plant.band.is_some_and(|(from, to)| (from..to).contains(&(y as u32)));
        for (channel, tint) in [1.0, 0.96, 0.88].into_iter().enumerate() {
            let noise = (hash(x as i64, y as i64, (of(y) * 3 + channel) as i64 + 1000) - 0.5) * 6.0;
            let shifted = if off { [70.0, -50.0, 20.0][channel] } else { 0.0 };
            rgb.push((code * tint + noise + shifted).round().clamp(0.0, 255.0) as u8);
        }
    }
    rgb
}

fn blurred(codes: &[f64], width: usize, radius: usize) -> Vec<f64> {
    let height = codes.len() / width;
    let along = |codes: &[f64], step: usize, length: usize, lines: usize, next: usize| {
        let mut out = vec![0.0; codes.len()];
        for line in 0..lines {
            for at in 0..length {
                let near = at.saturating_sub(radius)..(at + radius + 1).min(length);
                let count = near.len() as f64;
                out[line * next + at * step] = near.map(|k| codes[line * next + k * step]).sum::<f64>() / count;
            }
        }
        out
    };
    let across = along(codes, 1, width, height, width);
    along(&across, width, height, width, 1)
}

/// Writes a shoot of `count` stills, `YARD0001.JPG` and so on, with what `plant` says about each, counted from 0.
pub(crate) fn write(folder: &Path, count: usize, plant: impl Fn(usize) -> Plant + Sync) {
    write_with(folder, count, plant, |_| None);
}

/// As [`write`], with one more thing that moves.
pub(crate) fn write_with(
    folder: &Path,
    count: usize,
    plant: impl Fn(usize) -> Plant + Sync,
    more: impl Fn(usize) -> Option<Mover> + Sync,
) {
    let next = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if index >= count {
                        return;
                    }
                    let bytes = jpeg::encode_rgb(&still_with(index, &plant(index), more(index)), SIZE, 93, (2, 2), &[]);
                    fs::write(folder.join(format!("YARD{:04}.JPG", index + 1)), bytes).unwrap();
                }
            });
        }
    });
}

/// The shoot that a folder is.
pub(crate) fn shoot(folder: &Path) -> Shoot {
    let base = folder.to_owned();
    survey(&Request { base, paths: vec![".".into()], obey_orientation: true, pairs: Pairs::Stop, camera: None })
        .unwrap()
}

/// Every `every`-th of the first frames of a video as JPEG stills.
pub(crate) fn frames(video: &Path, every: u32, count: u32) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let status = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(video)
        .args([
            "-vf",
            &format!("select='not(mod(n,{every}))'"),
            "-vsync",
            "0",
            "-frames:v",
            &count.to_string(),
            "-q:v",
            "3",
        ])
        .arg(folder.path().join("WALK%04d.JPG"))
        .stdin(Stdio::null())
        .status();
    assert!(status.unwrap().success(), "ffmpeg did not decode {}", video.display());
    folder
}

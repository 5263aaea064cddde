//! Breathing: sharpness that comes and goes as a slow move passes through the sub-pixel phases.

use stillpath::geom::Window;
use stillpath::picture::Picture;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Field, grey16, paint_rgb};
use crate::texture;

const TILE: usize = 64;
const FRAME: Size = Size { width: 256, height: 256 };

pub(crate) fn still() -> Picture {
    let mut field = texture::photo_like(Size::new(480, 480), 3);
    field.values.iter_mut().for_each(|value| *value = 32_768.0 + 6_500.0 * *value);
    grey16(&field)
}

/// Gradient energy of every tile of a frame.
pub(crate) fn energies(frame: &Field) -> Vec<f64> {
    let tiles = frame.width / TILE;
    let mut energies = vec![0.0; tiles * tiles];
    for y in 0..tiles * TILE - 1 {
        for x in 0..tiles * TILE - 1 {
            let (right, down) = (frame.at(x + 1, y) - frame.at(x, y), frame.at(x, y + 1) - frame.at(x, y));
            energies[y / TILE * tiles + x / TILE] += right * right + down * down;
        }
    }
    energies
}

fn seen(painter: &mut Painter, still: &Picture, phase: f64, scale: f64, sharpness: Sharpness, roll: f64) -> Vec<f64> {
    let side = 256.0 * scale;
    let window = Window::new(60.0 + phase, 60.0 + phase, side, side).rolled(roll);
    let [frame, ..] = paint_rgb(painter, still, window, sharpness, FRAME);
    energies(&frame)
}

/// Swing over a source pixel of diagonal pan: of the tiles' mean, and the mean over the tiles of their own.
pub(crate) fn swing(still: &Picture, scale: f64, sharpness: Sharpness, roll: f64) -> (f64, f64, f64) {
    let mut painter = Painter::new();
    let phases: Vec<Vec<f64>> =
        (0..8).map(|eighth| seen(&mut painter, still, f64::from(eighth) / 8.0, scale, sharpness, roll)).collect();
    let relative = |values: &[f64]| {
        let (least, most) =
            values.iter().fold((f64::MAX, 0.0_f64), |(least, most), &value| (least.min(value), most.max(value)));
        (most - least) / (values.iter().sum::<f64>() / values.len() as f64)
    };
    let whole: Vec<f64> = phases.iter().map(|tiles| tiles.iter().sum::<f64>()).collect();
    let tiles = phases[0].len();
    let swings = (0..tiles).map(|tile| relative(&phases.iter().map(|phase| phase[tile]).collect::<Vec<_>>()));
    let mean = whole.iter().sum::<f64>() / whole.len() as f64;
    (relative(&whole), swings.clone().fold(0.0, f64::max), mean)
}

#[test]
fn a_slow_pan_does_not_breathe() {
    let still = still();
    for scale in [0.96, 1.0, 1.03] {
        let (frame, tile, mean) = swing(&still, scale, Sharpness::Even, 0.0);
        let (frame_full, tile_full, mean_full) = swing(&still, scale, Sharpness::Full, 0.0);
        let kept = mean / mean_full;
        println!(
            "breathing at {scale}: frame {:.2} %, worst tile {:.2} % (full sharpness {:.1} %, {:.1} %); keeps {kept:.3} of its energy",
            100.0 * frame,
            100.0 * tile,
            100.0 * frame_full,
            100.0 * tile_full
        );
        assert!(tile <= 0.04, "{tile} at {scale}");
        assert!(kept >= 0.68, "{kept} at {scale}");
    }
}

#[test]
fn a_zoom_through_one_to_one_changes_sharpness_smoothly() {
    let still = still();
    let mut painter = Painter::new();
    let mut zoom = |sharpness| {
        let mut worst = 0.0_f64;
        let mut last: Option<f64> = None;
        for frame in 0..120 {
            // 0.05 % a frame, through 1:1 in the middle.
            let side = 256.0 * (1.03_f64.ln() * (1.0 - f64::from(frame) / 60.0)).exp();
            let window = Window::new(190.0 - side / 2.0, 190.0 - side / 2.0, side, side);
            let [seen, ..] = paint_rgb(&mut painter, &still, window, sharpness, FRAME);
            let energy = energies(&seen).iter().sum::<f64>();
            worst = worst.max(last.map_or(0.0, |last| (energy / last - 1.0).abs()));
            last = Some(energy);
        }
        worst
    };
    let (even, full) = (zoom(Sharpness::Even), zoom(Sharpness::Full));
    println!(
        "zoom through 1:1: neighbouring frames differ by at most {:.3} % (full sharpness {:.3} %)",
        100.0 * even,
        100.0 * full
    );
    assert!(even <= 0.01, "{even}");
}

//! Shimmer along a zoom: what still changes in a zoomed picture after the zoom is undone, in percent of contrast.
//!
//! Every frame's zoom is known, so it is undone exactly for what a frame can hold. The stretch of the still that all
//! frames show is faded out at its ends (Hann), and its Fourier series is read from each frame's own pixels; of that,
//! the frequencies below the coarsest frame's limit, which all frames carry alike, are laid on one grid. For a picture
//! within that band the sums are exact (a band-limited function's samples add up to its integral), whatever the frame's
//! scale: [`the_ruler`](the_ruler_finds_nothing_in_an_ideal_zoom_and_much_in_an_unfiltered_one) says how exact. What a
//! resampler's sharpness itself changes with the scale is counted as shimmer too.

use std::f64::consts::PI;

use stillpath::geom::Window;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Field, Noise, grey16, paint_rgb};
use crate::{shimmer, texture};

const FRAME: Size = Size { width: 240, height: 144 };
const FRAMES: u32 = 10;
const STILL: Size = Size { width: 1080, height: 760 };

/// Source pixels a frame pixel at the first and the last frame; 2.3 % in ten frames, as a slow push-in closes in or
/// pulls out.
const ZOOMS: [(f64, f64); 5] = [(1.30, 1.33), (1.33, 1.30), (2.70, 2.76), (1.01, 0.99), (1.15, 1.18)];

/// A zoom about a point off the middle, by the same ratio every frame.
fn windows((first, last): (f64, f64)) -> Vec<Window> {
    let window = |frame: u32| {
        let scale = first * (last / first).powf(f64::from(frame) / f64::from(FRAMES - 1));
        let (width, height) = (f64::from(FRAME.width) * scale, f64::from(FRAME.height) * scale);
        Window::new(540.3 - 0.53 * width, 375.8 - 0.46 * height, width, height)
    };
    (0..FRAMES).map(window).collect()
}

/// One axis of undoing a zoom.
struct Axis {
    /// The stretch of the still that all frames show.
    shared: (f64, f64),
    /// How many harmonics of that stretch are kept.
    harmonics: f64,
    /// Where values are wanted, in the still's pixels: the middle half.
    grid: Vec<f64>,
}

impl Axis {
    /// From where each frame begins and its scale.
    fn new(spans: &[(f64, f64)], count: u32) -> Self {
        let begin = spans.iter().map(|span| span.0).fold(f64::MIN, f64::max);
        let end = spans.iter().map(|(start, scale)| start + scale * f64::from(count)).fold(f64::MAX, f64::min);
        let coarsest = spans.iter().map(|span| span.1).fold(0.0, f64::max);
        let length = end - begin;
        // The fade widens every line of the spectrum to its two neighbours: two harmonics stay clear of the limit.
        let harmonics = (length * 0.5 / coarsest).floor() - 2.0;
        let points =
            (0..count / 2).map(|at| begin + length * (0.25 + 0.5 * (f64::from(at) + 0.5) / f64::from(count / 2)));
        Self { shared: (begin, end), harmonics, grid: points.collect() }
    }

    /// What each of a frame's pixels adds to each point of the grid: rows of `count`.
    fn undo(&self, (start, scale): (f64, f64), count: usize) -> Vec<f64> {
        let (begin, end) = self.shared;
        let length = end - begin;
        let terms = 2.0 * self.harmonics + 1.0;
        let mut weights = Vec::with_capacity(self.grid.len() * count);
        for point in &self.grid {
            for pixel in 0..count {
                let place = start + (pixel as f64 + 0.5) * scale;
                let fade = if place > begin && place < end {
                    0.5 - 0.5 * (2.0 * PI * (place - begin) / length).cos()
                } else {
                    0.0
                };
                let turn = PI * (point - place) / length;
                let series = if turn.sin().abs() < 1e-9 { terms } else { (terms * turn).sin() / turn.sin() };
                weights.push(series * fade * scale / length);
            }
        }
        weights
    }
}

/// Percent of contrast that changes over time.
fn left_over(frames: &[Field], windows: &[Window]) -> f64 {
    let (width, height) = (frames[0].width, frames[0].height);
    let across_spans: Vec<_> = windows.iter().map(|window| (window.x, window.width / width as f64)).collect();
    let down_spans: Vec<_> = windows.iter().map(|window| (window.y, window.height / height as f64)).collect();
    let (across, down) = (Axis::new(&across_spans, width as u32), Axis::new(&down_spans, height as u32));
    let mean = frames[0].values.iter().sum::<f64>() / frames[0].values.len() as f64;
    let undone: Vec<Vec<f64>> = frames
        .iter()
        .zip(across_spans.iter().zip(&down_spans))
        .map(|(frame, (across_span, down_span))| {
            let (across, down) = (across.undo(*across_span, width), down.undo(*down_span, height));
            let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
            let centred: Vec<f64> = frame.values.iter().map(|value| value - mean).collect();
            // Column by column of the grid: each frame row to one number, then those down.
            let columns = across.chunks_exact(width).map(|weights| {
                let rows: Vec<f64> = centred.chunks_exact(width).map(|row| dot(row, weights)).collect();
                down.chunks_exact(height).map(|weights| dot(&rows, weights)).collect::<Vec<_>>()
            });
            columns.flatten().collect()
        })
        .collect();
    shimmer::over_time(&undone)
}

fn zoomed(still: &Field, windows: &[Window], sharpness: Sharpness) -> f64 {
    let (still, mut painter) = (grey16(still), Painter::new());
    let frames: Vec<Field> = windows
        .iter()
        .map(|&window| {
            let [seen, ..] = paint_rgb(&mut painter, &still, window, sharpness, FRAME);
            seen
        })
        .collect();
    left_over(&frames, windows)
}

/// Frames of `value` of the still's continuous pixels, at each frame pixel's centre.
fn sampled(windows: &[Window], value: impl Fn(f64, f64) -> f64) -> Vec<Field> {
    let frame = |window: &Window| {
        let (across, down) = (window.width / f64::from(FRAME.width), window.height / f64::from(FRAME.height));
        Field::from_fn(FRAME, |x, y| value(window.x + (x as f64 + 0.5) * across, window.y + (y as f64 + 0.5) * down))
    };
    windows.iter().map(frame).collect()
}

fn photo() -> Field {
    let field = texture::photo_like(STILL, 5);
    let values = field.values.iter().map(|seen| 257.0 * (128.0 + 45.0 * seen).clamp(0.0, 255.0)).collect();
    Field { values, ..field }
}

fn white() -> Field {
    let field = texture::white(STILL, 5);
    let values = field.values.iter().map(|seen| 257.0 * seen).collect();
    Field { values, ..field }
}

#[test]
fn the_ruler_finds_nothing_in_an_ideal_zoom_and_much_in_an_unfiltered_one() {
    let mut noise = Noise(11);
    let still = white();
    for zoom in [ZOOMS[0], ZOOMS[2], ZOOMS[3]] {
        let windows = windows(zoom);
        // Waves of all directions up to nine tenths of the coarsest frame's limit, as an ideal filter lets them
        // through.
        let limit = 0.9 * 0.5 / zoom.0.max(zoom.1);
        let waves: Vec<[f64; 4]> = (0..12)
            .map(|_| [0.0; 4].map(|_: f64| noise.unit()))
            .map(|[across, down, phase, height]| {
                [2.0 * PI * limit * (2.0 * across - 1.0), 2.0 * PI * limit * down, 2.0 * PI * phase, 0.5 + height]
            })
            .collect();
        let ideal = sampled(&windows, |x, y| {
            waves.iter().map(|[across, down, phase, height]| height * (across * x + down * y + phase).cos()).sum()
        });
        let unfiltered = sampled(&windows, |x, y| {
            let (left, top) = (x - 0.5, y - 0.5);
            let (column, row, u, v) = (left.floor() as usize, top.floor() as usize, left.fract(), top.fract());
            let line = |row| (1.0 - u) * still.at(column, row) + u * still.at(column + 1, row);
            (1.0 - v) * line(row) + v * line(row + 1)
        });
        let (ideal, unfiltered) = (left_over(&ideal, &windows), left_over(&unfiltered, &windows));
        println!("zoom {} to {}: ideal {ideal:.4} %, unfiltered bilinear {unfiltered:.1} %", zoom.0, zoom.1);
        assert!(ideal < 0.1, "the floor is {ideal} %");
        // About 1:1 there is little to filter: there it only has to stand out from the floor.
        let bar = if zoom.0 > 1.1 { 16.0 } else { 5.0 };
        assert!(unfiltered > bar, "{unfiltered}");
    }
}

#[test]
fn a_slow_zoom_does_not_shimmer() {
    let (photo, white) = (photo(), white());
    for zoom in ZOOMS {
        let windows = windows(zoom);
        let [photo_seen, white_seen] = [&photo, &white].map(|still| zoomed(still, &windows, Sharpness::Even));
        let [photo_full, white_full] = [&photo, &white].map(|still| zoomed(still, &windows, Sharpness::Full));
        println!(
            "shimmer along {} to {}: photo-like {photo_seen:.2} %, white {white_seen:.2} % (full sharpness: {photo_full:.2} %, {white_full:.2} %)",
            zoom.0, zoom.1
        );
        assert!(photo_seen <= 5.0, "photo-like {photo_seen} % along {zoom:?}");
        assert!(white_seen <= 16.0, "white {white_seen} % along {zoom:?}");
    }
}

//! How alike a pattern and every place of a picture are: normalised correlation of light and of its slopes.
//!
//! Likeness is from -1 to 1, whatever the exposure. Half of it is the weighted normalised cross-correlation of light
//! (J. P. Lewis, "Fast Normalized Cross-Correlation", Vision Interface 1995: the correlation by Fourier transforms, the
//! local sums that normalise it beside it), half that of slopes in four directions, which tells shapes apart where
//! light alone does not.

use std::sync::Arc;

use kurbo::Point;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlannerScalar};

use super::picture::Small;

/// Slopes up, down, left and right.
const SLOPES: usize = 4;
/// The deviation of light, in logarithms, below which it is noise rather than texture.
const NOISE: f32 = 0.012;
/// The share of tints in the likeness of coloured pictures.
const TINTED: f32 = 0.25;
/// The square of a tint, in logarithms, below which there is hardly any.
const FAINT: f32 = 0.02;

/// A grid of light and slopes.
#[derive(Debug, Clone)]
pub(super) struct Patch {
    pub(super) columns: usize,
    pub(super) rows: usize,
    light: Vec<f32>,
    slopes: [Vec<f32>; SLOPES],
    tints: Option<[Vec<f32>; 2]>,
}

impl Patch {
    /// What a picture shows around a point, on a grid whose places are `step` samples apart.
    pub(super) fn cut(picture: &Small, centre: Point, step: f64, columns: usize, rows: usize) -> Self {
        // One more on each side, for slopes.
        let (wide, high) = (columns + 2, rows + 2);
        let values = picture.grid(centre, step, wide, high);
        let mut light = Vec::with_capacity(columns * rows);
        let mut slopes: [Vec<f32>; SLOPES] = std::array::from_fn(|_| Vec::with_capacity(columns * rows));
        for row in 1..=rows {
            for column in 1..=columns {
                let at = row * wide + column;
                light.push(values[at]);
                let across = (values[at + 1] - values[at - 1]) / 2.0;
                let down = (values[at + wide] - values[at - wide]) / 2.0;
                for (plane, slope) in slopes.iter_mut().zip([across, -across, down, -down]) {
                    // The root keeps one hard edge from outweighing everything else.
                    plane.push(slope.max(0.0).sqrt());
                }
            }
        }
        for plane in &mut slopes {
            *plane = softened(plane, columns, rows);
        }
        let tints = picture.tints(centre, step, columns, rows);
        Self { columns, rows, light, slopes, tints }
    }
}

/// Means of three by three, so that a shift of one place does not undo all likeness.
fn softened(plane: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    let weigh = |before: f32, at: f32, after: f32| 0.25 * before + 0.5 * at + 0.25 * after;
    let mut across = Vec::with_capacity(plane.len());
    for line in plane.chunks(columns) {
        across.extend(
            (0..columns).map(|at| weigh(line[at.saturating_sub(1)], line[at], line[(at + 1).min(columns - 1)])),
        );
    }
    let mut out = Vec::with_capacity(plane.len());
    for row in 0..rows {
        let line = |row: usize| &across[row * columns..][..columns];
        let (before, at, after) = (line(row.saturating_sub(1)), line(row), line((row + 1).min(rows - 1)));
        out.extend((0..columns).map(|column| weigh(before[column], at[column], after[column])));
    }
    out
}

/// A patch to be found again, with its light made free of its mean, and all of it weighted and of length 1.
#[derive(Debug, Clone)]
pub(super) struct Pattern {
    pub(super) columns: usize,
    pub(super) rows: usize,
    weights: Vec<f32>,
    light: Vec<f32>,
    slopes: [Vec<f32>; SLOPES],
    tints: Option<[Vec<f32>; 2]>,
    /// The weighted deviation of its light, in logarithms.
    pub(super) texture: f32,
    /// The same of its slopes.
    steepness: f32,
}

impl Pattern {
    /// Of a patch, whose corners count for less than its middle: things are rounder than boxes.
    pub(super) fn of(patch: &Patch) -> Self {
        let (columns, rows) = (patch.columns, patch.rows);
        let weights = weights(columns, rows);
        let sum: f32 = weights.iter().sum();
        let mean = patch.light.iter().zip(&weights).map(|(light, weight)| light * weight).sum::<f32>() / sum;
        let light: Vec<f32> = patch.light.iter().map(|light| light - mean).collect();
        let energy: f32 = light.iter().zip(&weights).map(|(light, weight)| light * light * weight).sum();
        let texture = (energy / sum).sqrt();
        let steep =
            |plane: &Vec<f32>| plane.iter().zip(&weights).map(|(slope, weight)| slope * slope * weight).sum::<f32>();
        let steepness = (patch.slopes.iter().map(steep).sum::<f32>() / sum).sqrt();
        let mut pattern = Self {
            columns,
            rows,
            weights,
            light,
            slopes: patch.slopes.clone(),
            tints: patch.tints.clone(),
            texture,
            steepness,
        };
        pattern.normalise();
        pattern
    }

    /// Takes in a share of a newer one.
    pub(super) fn learn(&mut self, newer: &Self, share: f32) {
        let mix = |own: &mut [f32], new: &[f32]| {
            own.iter_mut().zip(new).for_each(|(own, new)| *own += share * (new - *own));
        };
        mix(&mut self.light, &newer.light);
        for (own, new) in self.slopes.iter_mut().zip(&newer.slopes) {
            mix(own, new);
        }
        if let (Some(own), Some(new)) = (&mut self.tints, &newer.tints) {
            own.iter_mut().zip(new).for_each(|(own, new)| mix(own, new));
        }
        self.texture += share * (newer.texture - self.texture);
        self.steepness += share * (newer.steepness - self.steepness);
        self.normalise();
    }

    fn normalise(&mut self) {
        let length = |planes: &[&[f32]], weights: &[f32]| {
            let energy =
                |plane: &&[f32]| plane.iter().zip(weights).map(|(value, weight)| value * value * weight).sum::<f32>();
            planes.iter().map(energy).sum::<f32>().sqrt().max(1e-6)
        };
        let of_light = length(&[&self.light], &self.weights);
        self.light.iter_mut().for_each(|value| *value /= of_light);
        let planes: Vec<&[f32]> = self.slopes.iter().map(Vec::as_slice).collect();
        let of_slopes = length(&planes, &self.weights);
        self.slopes.iter_mut().flatten().for_each(|value| *value /= of_slopes);
    }

    /// How like another of the same size it is, from -1 to 1.
    pub(super) fn like(&self, other: &Self) -> f32 {
        let dot = |one: &[f32], two: &[f32]| {
            one.iter().zip(two).zip(&self.weights).map(|((one, two), weight)| one * two * weight).sum::<f32>()
        };
        let slopes: f32 = self.slopes.iter().zip(&other.slopes).map(|(one, two)| dot(one, two)).sum();
        let alike = f32::midpoint(dot(&self.light, &other.light), slopes);
        let (Some(own), Some(new)) = (&self.tints, &other.tints) else { return alike };
        let sum = |one: &[Vec<f32>; 2], two: &[Vec<f32>; 2]| dot(&one[0], &two[0]) + dot(&one[1], &two[1]);
        let total: f32 = self.weights.iter().sum();
        with_tint(alike, sum(own, new) / total, sum(own, own) / total, sum(new, new) / total)
    }
}

/// Likeness of light and slopes, and that of tints beside it, from their mean product and squares.
fn with_tint(alike: f32, product: f32, own: f32, other: f32) -> f32 {
    let tint = (2.0 * product + FAINT) / (own + other + FAINT);
    (1.0 - TINTED) * alike + TINTED * tint.max(-1.0)
}

fn weights(columns: usize, rows: usize) -> Vec<f32> {
    let along = |at: usize, count: usize| ((at as f32 + 0.5) / count as f32 - 0.5) * 2.0;
    let mut weights = Vec::with_capacity(columns * rows);
    for row in 0..rows {
        for column in 0..columns {
            let (x, y) = (along(column, columns), along(row, rows));
            let far = (x * x + y * y).sqrt();
            weights.push((1.0 - (far - 0.6).max(0.0) / 0.9).clamp(0.05, 1.0));
        }
    }
    weights
}

/// Likeness by place: the value at column `x` and row `y` is that of the pattern laid with its first place there.
#[derive(Debug, Clone)]
pub(super) struct Map {
    pub(super) columns: usize,
    pub(super) rows: usize,
    pub(super) values: Vec<f32>,
}

/// Finds patterns in patches; keeps what transforms need from one to the next.
pub(super) struct Finder {
    /// The plain kernels: those chosen by processor differ in last bits, and machines that share a render would then find
    /// other tracks.
    planner: FftPlannerScalar<f32>,
}

impl std::fmt::Debug for Finder {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Finder")
    }
}

impl Finder {
    pub(super) fn new() -> Self {
        Self { planner: FftPlannerScalar::new() }
    }

    /// How alike the patterns, all of one size, are to every place of a patch that is at least as large.
    pub(super) fn maps(&mut self, patch: &Patch, patterns: &[&Pattern]) -> Vec<Map> {
        let Some(first) = patterns.first() else { return Vec::new() };
        let (wide, high) = (patch.columns - first.columns + 1, patch.rows - first.rows + 1);
        let mut transform = Transform::new(&mut self.planner, patch.columns, patch.rows);
        let middle = patch.light.iter().sum::<f32>() / patch.light.len().max(1) as f32;
        let light: Vec<f32> = patch.light.iter().map(|light| light - middle).collect();
        let squares: Vec<f32> = light.iter().map(|light| light * light).collect();
        let steep: Vec<f32> =
            (0..light.len()).map(|at| patch.slopes.iter().map(|plane| plane[at].powi(2)).sum()).collect();
        let weights = transform.forward(&first.weights, first.columns);
        let light = transform.forward(&light, patch.columns);
        let sums = transform.correlate(&[(&light, &weights)]);
        let squares = transform.forward(&squares, patch.columns);
        let squares = transform.correlate(&[(&squares, &weights)]);
        let steep = transform.forward(&steep, patch.columns);
        let steep = transform.correlate(&[(&steep, &weights)]);
        let slopes: Vec<Vec<Complex32>> =
            patch.slopes.iter().map(|plane| transform.forward(plane, patch.columns)).collect();
        let tints = patch.tints.as_ref().map(|tints| {
            let squares: Vec<f32> = tints[0].iter().zip(&tints[1]).map(|(red, blue)| red * red + blue * blue).collect();
            let squares = transform.forward(&squares, patch.columns);
            let squares = transform.correlate(&[(&squares, &weights)]);
            (tints.each_ref().map(|plane| transform.forward(plane, patch.columns)), squares)
        });
        let total: f32 = first.weights.iter().sum();
        let (floor, root) = (NOISE * NOISE, total.sqrt());
        let mut maps = Vec::with_capacity(patterns.len());
        for pattern in patterns {
            let weighted = |plane: &[f32]| -> Vec<f32> {
                plane.iter().zip(&pattern.weights).map(|(value, weight)| value * weight).collect()
            };
            let own = transform.forward(&weighted(&pattern.light), pattern.columns);
            let by_light = transform.correlate(&[(&light, &own)]);
            let own: Vec<Vec<Complex32>> =
                pattern.slopes.iter().map(|plane| transform.forward(&weighted(plane), pattern.columns)).collect();
            let pairs: Vec<(&[Complex32], &[Complex32])> =
                slopes.iter().zip(&own).map(|(plane, own)| (plane.as_slice(), own.as_slice())).collect();
            let by_slopes = transform.correlate(&pairs);
            let by_tints = tints.as_ref().zip(pattern.tints.as_ref()).map(|((planes, squares), tints)| {
                let own = tints.each_ref().map(|plane| transform.forward(&weighted(plane), pattern.columns));
                let energy = |plane: &Vec<f32>| {
                    plane.iter().zip(&pattern.weights).map(|(tint, weight)| tint * tint * weight).sum::<f32>()
                };
                let pairs = [(planes[0].as_slice(), own[0].as_slice()), (planes[1].as_slice(), own[1].as_slice())];
                (transform.correlate(&pairs), squares, tints.iter().map(energy).sum::<f32>() / total)
            });
            let mut values = Vec::with_capacity(wide * high);
            for row in 0..high {
                for column in 0..wide {
                    let at = row * patch.columns + column;
                    let spread = ((squares[at] - sums[at] * sums[at] / total).max(0.0) / total + floor).sqrt();
                    let of_light = by_light[at] / (spread * root) * as_strong(spread, pattern.texture);
                    let steep = (steep[at].max(0.0) / total + NOISE).sqrt();
                    let of_slopes = by_slopes[at] / (steep * root) * as_strong(steep, pattern.steepness);
                    let alike = f32::midpoint(of_light, of_slopes);
                    values.push(match &by_tints {
                        Some((products, squares, own)) => {
                            with_tint(alike, products[at] / total, squares[at].max(0.0) / total, *own)
                        }
                        None => alike,
                    });
                }
            }
            maps.push(Map { columns: wide, rows: high, values });
        }
        maps
    }
}

/// How near one contrast is to another, from 0 to 1: the contrast term of Z. Wang et al., "Image Quality Assessment:
/// From Error Visibility to Structural Similarity", IEEE Transactions on Image Processing 13(4), 2004, (9). In logarithms of
/// light contrast stays as it is when the exposure changes.
fn as_strong(one: f32, other: f32) -> f32 {
    2.0 * one * other / (one * one + other * other).max(1e-12)
}

/// Transforms of planes of one size.
struct Transform {
    columns: usize,
    rows: usize,
    across: [Arc<dyn Fft<f32>>; 2],
    down: [Arc<dyn Fft<f32>>; 2],
    scratch: Vec<Complex32>,
    turned: Vec<Complex32>,
}

impl Transform {
    fn new(planner: &mut FftPlannerScalar<f32>, columns: usize, rows: usize) -> Self {
        let across = [planner.plan_fft_forward(columns), planner.plan_fft_inverse(columns)];
        let down = [planner.plan_fft_forward(rows), planner.plan_fft_inverse(rows)];
        let most = across.iter().chain(&down).map(|fft| fft.get_inplace_scratch_len()).max().unwrap_or(0);
        let zero = Complex32::default();
        Self { columns, rows, across, down, scratch: vec![zero; most], turned: vec![zero; columns * rows] }
    }

    /// A plane `wide` columns wide, laid into the corner; its rows become columns.
    fn forward(&mut self, plane: &[f32], wide: usize) -> Vec<Complex32> {
        let mut field = vec![Complex32::default(); self.columns * self.rows];
        for (row, line) in plane.chunks(wide).enumerate() {
            for (at, value) in field[row * self.columns..].iter_mut().zip(line) {
                at.re = *value;
            }
        }
        self.across[0].process_with_scratch(&mut field, &mut self.scratch);
        turn(&field, self.columns, self.rows, &mut self.turned);
        self.down[0].process_with_scratch(&mut self.turned, &mut self.scratch);
        self.turned.clone()
    }

    /// The sum of the correlations of planes with patterns.
    fn correlate(&mut self, pairs: &[(&[Complex32], &[Complex32])]) -> Vec<f32> {
        let mut field = vec![Complex32::default(); self.columns * self.rows];
        for (plane, pattern) in pairs {
            for ((at, plane), pattern) in field.iter_mut().zip(*plane).zip(*pattern) {
                *at += plane * pattern.conj();
            }
        }
        self.down[1].process_with_scratch(&mut field, &mut self.scratch);
        turn(&field, self.rows, self.columns, &mut self.turned);
        self.across[1].process_with_scratch(&mut self.turned, &mut self.scratch);
        let scale = 1.0 / (self.columns * self.rows) as f32;
        self.turned.iter().map(|value| value.re * scale).collect()
    }
}

/// Rows into columns.
fn turn(from: &[Complex32], columns: usize, rows: usize, into: &mut [Complex32]) {
    for row in 0..rows {
        for column in 0..columns {
            into[column * rows + row] = from[row * columns + column];
        }
    }
}

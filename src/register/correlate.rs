//! How far one tile lies from another, by phase correlation.
//!
//! The cross spectrum is divided by its own size (Kuglin and Hines, 1975), so that neither light nor the texture's own
//! spectrum has a say, but for frequencies that hold no more than noise, which count for less. Its inverse transform is
//! looked at in steps of two samples; from the highest point on, the maximum of the same trigonometric polynomial is
//! found by Newton's method. That is the maximum which the matrix transform of Guizar-Sicairos, Thurman and Fienup
//! (Opt. Lett. 33, 156, 2008, doi
//! 10.1364/OL.33.000156) comes near in steps of one part of a sample, without the steps.

#![expect(clippy::cast_precision_loss, reason = "samples of a tile")]

use rustfft::num_complex::Complex;

use super::spectrum::{Fourier, Spectrum};

/// How many times the noise a frequency must hold to count for half.
const OVER_NOISE: f32 = 4.0;
/// Half the largest side.
const MOST_ROWS: usize = 64;
/// Sums that go side by side.
const LANES: usize = 8;
/// A tile that has moved less than this since it was laid out, in samples, and is as alike as this, is not looked for
/// elsewhere.
const NEAR: f64 = 1.5;
const ALIKE: f64 = 0.4;
/// Minimum height of a maximum, in standard deviations of what random phases give: the highest of 4,096 is about 4, and
/// the window, which spreads each frequency over its neighbours, makes that half as much again.
const OUT_OF_NOISE: f64 = 7.5;
/// The least curvature at the maximum, as a share of what an even spectrum has: below, edges run one way only, and
/// along them nothing can be told.
const LEAST_CURVED: f64 = 0.04;

/// How far a tile's content went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shift {
    /// To the right, in samples.
    pub(super) x: f64,
    /// Down.
    pub(super) y: f64,
    /// How alike the two are once laid over each other: 1 where they are the same.
    pub(super) alike: f64,
}

/// Correlates tiles' spectra.
#[derive(Debug)]
pub(super) struct Correlator {
    /// The cross spectrum, laid out as a spectrum is.
    re: Vec<f32>,
    im: Vec<f32>,
    grid: Vec<Complex<f32>>,
    turned: Vec<Complex<f32>>,
}

/// The correlation at a place, its slopes and curvatures.
#[derive(Debug, Clone, Copy, Default)]
struct Height {
    value: f64,
    slope: [f64; 2],
    /// Along x, across, along y.
    curve: [f64; 3],
}

impl Correlator {
    pub(super) fn new(side: usize) -> Self {
        let nothing = Complex::new(0.0, 0.0);
        let half = side / 2;
        let room = half * half / 2;
        Self {
            re: vec![0.0; room],
            im: vec![0.0; room],
            grid: vec![nothing; half * half],
            turned: vec![nothing; half * half],
        }
    }

    /// How far what the earlier tile shows has gone in the later one; none where that cannot be told.
    pub(super) fn between(&mut self, fourier: &mut Fourier, earlier: &Spectrum, later: &Spectrum) -> Option<Shift> {
        self.surer_than(OUT_OF_NOISE, fourier, earlier, later)
    }

    /// The same, where any maximum will do that is not to be expected by chance: what it says is looked at more
    /// closely.
    pub(super) fn roughly(&mut self, fourier: &mut Fourier, earlier: &Spectrum, later: &Spectrum) -> Option<Shift> {
        self.surer_than(OUT_OF_NOISE / 2.0, fourier, earlier, later)
    }

    fn surer_than(
        &mut self,
        deviations: f64,
        fourier: &mut Fourier,
        earlier: &Spectrum,
        later: &Spectrum,
    ) -> Option<Shift> {
        let noise = OVER_NOISE * earlier.noise * later.noise;
        let (mut weights, mut squares) = (0.0_f32, 0.0_f32);
        for at in 0..self.re.len() {
            let (a, b) = (Complex::new(earlier.re[at], earlier.im[at]), Complex::new(later.re[at], later.im[at]));
            let cross = b * a.conj() * fourier.mask[at];
            let size = cross.norm_sqr().sqrt();
            let weight = size * size / (size * size + noise * noise);
            let cross = cross * (weight / size.max(f32::MIN_POSITIVE));
            (self.re[at], self.im[at]) = (cross.re, cross.im);
            weights += weight;
            squares += weight * weight;
        }
        let weights = f64::from(weights);
        // What the sum of so many phases at random comes to.
        let chance = (f64::from(squares) / 2.0).sqrt() / weights;
        let least = deviations * chance;
        if weights <= 0.0 || least > 0.9 {
            return None;
        }
        let near = self.highest(fourier.side, [0.0; 2]);
        let stayed =
            |(at, height): &([f64; 2], Height)| at[0].hypot(at[1]) < NEAR && height.value / weights > ALIKE.max(least);
        let (at, height) = match near.filter(stayed) {
            Some(found) => found,
            None => {
                let start = self.search(fourier);
                self.highest(fourier.side, start)?
            }
        };
        let even = (std::f64::consts::FRAC_PI_2 / 2.0).powi(2);
        let [along, across, down] = height.curve.map(|curve| -curve / weights / even);
        let (middle, apart) = (f64::midpoint(along, down), ((along - down) / 2.0).hypot(across));
        let alike = height.value / weights;
        let found = alike > least && middle - apart > LEAST_CURVED * alike;
        found.then_some(Shift { x: at[0], y: at[1], alike })
    }

    /// The highest place of a grid of two samples, at most a quarter of the side away.
    fn search(&mut self, fourier: &mut Fourier) -> [f64; 2] {
        let (columns, rows) = fourier.columns();
        self.grid.fill(Complex::new(0.0, 0.0));
        for u in 0..columns {
            let column = &mut self.grid[u * rows..(u + 1) * rows];
            for at in 0..rows - 1 {
                // Entry 0 is v = 1 - columns.
                column[(at + rows + 1 - columns) % rows] = Complex::new(self.re[u * rows + at], self.im[u * rows + at]);
            }
        }
        fourier.backward.process_with_scratch(&mut self.grid[..columns * rows], &mut fourier.scratch);
        for u in 0..rows {
            for y in 0..rows {
                self.turned[y * rows + u] = self.grid[u * rows + y];
            }
        }
        fourier.backward.process_with_scratch(&mut self.turned, &mut fourier.scratch);
        let place = |at: usize| 2.0 * if at > rows / 2 { at as f64 - rows as f64 } else { at as f64 };
        let furthest = fourier.side as f64 / 4.0;
        let mut best = ([0.0; 2], f32::MIN);
        for (at, value) in self.turned.iter().enumerate() {
            let place = [place(at % rows), place(at / rows)];
            if value.re > best.1 && place.iter().all(|axis| axis.abs() <= furthest) {
                best = (place, value.re);
            }
        }
        best.0
    }

    /// The maximum that lies uphill, by Newton's method; none where there is none within a few samples.
    fn highest(&self, side: usize, start: [f64; 2]) -> Option<([f64; 2], Height)> {
        let mut at = start;
        for _ in 0..12 {
            let height = self.height(side, at);
            let ([x, y], [xx, xy, yy]) = (height.slope, height.curve);
            let determinant = xx * yy - xy * xy;
            let peaked = determinant > 0.0 && xx < 0.0;
            let step = if peaked {
                [(xy * y - yy * x) / determinant, (xy * x - xx * y) / determinant]
            } else {
                let steep = x.hypot(y).max(f64::MIN_POSITIVE);
                [0.5 * x / steep, 0.5 * y / steep]
            };
            let length = step[0].hypot(step[1]);
            let shorter = if length > 1.0 { 1.0 / length } else { 1.0 };
            at = [at[0] + step[0] * shorter, at[1] + step[1] * shorter];
            if (at[0] - start[0]).hypot(at[1] - start[1]) > 4.0 {
                return None;
            }
            if peaked && length < 1e-3 {
                return Some((at, height));
            }
        }
        None
    }

    fn height(&self, side: usize, [x, y]: [f64; 2]) -> Height {
        let (columns, rows) = (side / 4, side / 2);
        let turn = std::f64::consts::TAU / side as f64;
        let first = 1.0 - columns as f64;
        // Sines and cosines of v · y, and v itself.
        #[expect(clippy::cast_possible_truncation, reason = "sums of thousands of phases")]
        let of =
            |of: &dyn Fn(f64) -> f64| -> [f32; MOST_ROWS] { std::array::from_fn(|at| of(first + at as f64) as f32) };
        let waves = [of(&|v| (turn * v * y).cos()), of(&|v| (turn * v * y).sin()), of(&|v| v)];
        let mut height = Height::default();
        for u in 0..columns {
            let (re, im) = (&self.re[u * rows..(u + 1) * rows], &self.im[u * rows..(u + 1) * rows]);
            let sums = moments(re, im, &waves, rows);
            let (sin, cos) = (turn * u as f64 * x).sin_cos();
            // The moments' real and imaginary parts, turned on by u · x.
            let [real, imaginary] = [0, 1].map(|part| {
                [0, 1, 2].map(|power| {
                    let (re, im) = (sums[2 * power], sums[2 * power + 1]);
                    if part == 0 { re * cos - im * sin } else { re * sin + im * cos }
                })
            });
            let u = turn * u as f64;
            height.value += real[0];
            height.slope[0] -= u * imaginary[0];
            height.slope[1] -= turn * imaginary[1];
            height.curve[0] -= u * u * real[0];
            height.curve[1] -= u * turn * real[1];
            height.curve[2] -= turn * turn * real[2];
        }
        height
    }
}

/// Sums over v of the cross spectrum turned on by v · y, times 1, v and v²: real and imaginary part of each.
fn moments(re: &[f32], im: &[f32], waves: &[[f32; MOST_ROWS]; 3], rows: usize) -> [f64; 6] {
    let mut sums = [[0.0_f32; LANES]; 6];
    let chunks = re.chunks_exact(LANES).zip(im.chunks_exact(LANES));
    let [cosines, sines, numbers] = waves.each_ref().map(|wave| wave[..rows].chunks_exact(LANES));
    for ((re, im), ((cos, sin), v)) in chunks.zip(cosines.zip(sines).zip(numbers)) {
        for lane in 0..LANES {
            let real = re[lane] * cos[lane] - im[lane] * sin[lane];
            let imaginary = re[lane] * sin[lane] + im[lane] * cos[lane];
            sums[0][lane] += real;
            sums[1][lane] += imaginary;
            sums[2][lane] += real * v[lane];
            sums[3][lane] += imaginary * v[lane];
            sums[4][lane] += real * v[lane] * v[lane];
            sums[5][lane] += imaginary * v[lane] * v[lane];
        }
    }
    sums.map(|lanes| f64::from(lanes.iter().sum::<f32>()))
}

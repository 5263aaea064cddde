//! A tile to its spectrum, as far as it is of use.
//!
//! A Hann window takes the tile's edges out. Only frequencies up to a quarter of a cycle a sample are kept: above lie
//! noise, and what making pictures small does to them.

#![expect(clippy::cast_precision_loss, reason = "samples of a tile")]

use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::layout::Grey;

/// Variance of codes that is taken for granted: of rounding them (1/12), of making them small from JPEG's (common
/// practice, no source).
const ROUNDING: f32 = 0.35;
/// A tile shows something if its spectrum is at least this many times that.
const SHOWS: f32 = 4.0;
/// Periods along a tile that are too few to tell its content from its window.
const TOO_SLOW: f32 = 1.6;

/// The spectrum of one tile: frequencies `u` of 0 to a quarter of the side, `v` from minus that to plus that.
#[derive(Debug, Clone)]
pub(super) struct Spectrum {
    /// Real parts, `u` by `u`; see [`Fourier::columns`] for how `v` lies.
    pub(super) re: Vec<f32>,
    /// Imaginary parts.
    pub(super) im: Vec<f32>,
    /// Root of the mean power at high frequencies.
    pub(super) noise: f32,
}

/// Transforms of tiles of one side.
pub(super) struct Fourier {
    /// Samples along a side.
    pub(super) side: usize,
    /// Which of a spectrum's entries count: 1 or 0.
    pub(super) mask: Vec<f32>,
    forward: Arc<dyn Fft<f32>>,
    /// Of half the side, from spectra to correlations.
    pub(super) backward: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    /// Column by column of frequencies.
    buffer: Vec<Complex<f32>>,
    row: Vec<Complex<f32>>,
    pub(super) scratch: Vec<Complex<f32>>,
}

impl Fourier {
    /// Of a side that four divides.
    pub(super) fn new(side: usize, windowed: bool) -> Self {
        let mut planner = FftPlanner::new();
        let (forward, backward) = (planner.plan_fft_forward(side), planner.plan_fft_inverse(side / 2));
        let hann = |at: usize| 0.5 - 0.5 * (std::f32::consts::TAU * (at as f32 + 0.5) / side as f32).cos();
        let window = (0..side).map(|at| if windowed { hann(at) } else { 1.0 }).collect();
        let quarter = side / 4;
        let mut mask = vec![0.0; quarter * 2 * quarter];
        for (at, mask) in mask.iter_mut().enumerate() {
            let (u, v) = ((at / (2 * quarter)) as f32, (at % (2 * quarter)) as f32 - (quarter as f32 - 1.0));
            let far = u.hypot(v);
            // Of a real picture's spectrum one half is the other's mirror image.
            let doubled = u == 0.0 && v <= 0.0;
            *mask = if far >= TOO_SLOW && far <= quarter as f32 - 0.5 && !doubled { 1.0 } else { 0.0 };
        }
        let longest = forward.get_inplace_scratch_len().max(backward.get_inplace_scratch_len());
        let nothing = Complex::new(0.0, 0.0);
        Self {
            side,
            mask,
            forward,
            backward,
            window,
            buffer: vec![nothing; (quarter + 1) * side],
            row: vec![nothing; side],
            scratch: vec![nothing; longest],
        }
    }

    /// How many frequencies `u` there are, and entries for each: those of `v` from `1 - columns` to `columns - 1`, and
    /// one that is never counted.
    pub(super) fn columns(&self) -> (usize, usize) {
        (self.side / 4, self.side / 2)
    }

    /// The spectrum of the tile that begins at `origin`; none where it is not all within the picture, or shows nothing.
    pub(super) fn spectrum(&mut self, grey: Grey<'_>, origin: [i32; 2]) -> Option<Spectrum> {
        let side = self.side;
        let [x, y] = origin.map(|at| usize::try_from(at).ok());
        let (x, y) = (x?, y?);
        if x + side > grey.width || y + side > grey.height {
            return None;
        }
        let lines = grey.samples[y * grey.stride..].chunks(grey.stride).map(|line| &line[x..x + side]).take(side);
        let mean = self.mean(lines.clone());
        let quarter = side / 4;
        // Of all higher frequencies one column is enough to tell the noise by.
        let high = side * 7 / 16;
        let mut lines = lines.zip(&self.window);
        let mut at = 0;
        while let (Some((first, above)), Some((second, below))) = (lines.next(), lines.next()) {
            let samples = first.iter().zip(second).zip(&self.window);
            for (packed, ((first, second), across)) in self.row.iter_mut().zip(samples) {
                let (first, second) = (f32::from(*first) - mean, f32::from(*second) - mean);
                *packed = Complex::new(first * above * across, second * below * across);
            }
            self.forward.process_with_scratch(&mut self.row, &mut self.scratch);
            // Two real rows at once: their sum is symmetrical, their difference the opposite.
            for column in 0..=quarter {
                let u = if column == quarter { high } else { column };
                let (here, there) = (self.row[u], self.row[(side - u) % side].conj());
                let (sum, difference) = (here + there, here - there);
                self.buffer[column * side + at] = sum * 0.5;
                self.buffer[column * side + at + 1] = Complex::new(difference.im, -difference.re) * 0.5;
            }
            at += 2;
        }
        self.forward.process_with_scratch(&mut self.buffer, &mut self.scratch);
        let squares: f32 = self.window.iter().map(|window| window * window).sum();
        let least = ROUNDING * squares * squares;
        let highest = &self.buffer[quarter * side..];
        let noise = highest.iter().map(Complex::norm_sqr).sum::<f32>() / side as f32;
        let (mut re, mut im) = (Vec::with_capacity(self.mask.len()), Vec::with_capacity(self.mask.len()));
        for column in self.buffer.chunks_exact(side).take(quarter) {
            // From 1 - quarter on to quarter.
            for value in column[side + 1 - quarter..].iter().chain(&column[..=quarter]) {
                re.push(value.re);
                im.push(value.im);
            }
        }
        let power = |at: usize| self.mask[at] * (re[at] * re[at] + im[at] * im[at]);
        let counted: f32 = self.mask.iter().sum();
        let shown = (0..re.len()).map(power).sum::<f32>() / counted;
        (shown > SHOWS * least).then(|| Spectrum { re, im, noise: noise.max(least).sqrt() })
    }

    /// The mean through the window.
    fn mean<'a>(&self, lines: impl Iterator<Item = &'a [u8]>) -> f32 {
        let (mut sum, mut weights) = (0.0, 0.0);
        let across: f32 = self.window.iter().sum();
        for (line, down) in lines.zip(&self.window) {
            sum +=
                down * line.iter().zip(&self.window).map(|(sample, window)| f32::from(*sample) * window).sum::<f32>();
            weights += down * across;
        }
        sum / weights
    }
}

impl std::fmt::Debug for Fourier {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Fourier").field("side", &self.side).finish_non_exhaustive()
    }
}

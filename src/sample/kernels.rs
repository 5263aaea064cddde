//! The inner loops, in safe Rust: what every machine can run, and the twin that the SIMD kernels are compared with.
//!
//! Resampling goes down the columns first, over the columns the window needs only, then across. Samples enter as the file
//! has them and are `f32` on the same scale from there on.

use super::weights::{LANES, Table};
use crate::picture::{Plane, Samples};

#[cfg(target_arch = "x86_64")]
use super::kernels_avx2 as avx2;

/// Which set of kernels this machine runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kernels {
    /// Safe Rust.
    Portable,
    /// AVX2 and FMA; only [`Kernels::best`] makes one, after it has seen that the machine has both.
    #[cfg(target_arch = "x86_64")]
    Avx2(avx2::Seen),
}

impl Default for Kernels {
    fn default() -> Self {
        Self::best()
    }
}

impl Kernels {
    /// The fastest set this machine has.
    pub(super) fn best() -> Self {
        #[cfg(target_arch = "x86_64")]
        if let Some(seen) = avx2::Seen::here() {
            return Self::Avx2(seen);
        }
        Self::Portable
    }

    /// Row `row` of the table down, resampled down the columns `left .. left + out.len()` of a plane.
    pub(super) fn down(self, plane: &Plane, table: &Table, row: usize, left: usize, out: &mut [f32]) {
        let (top, weights) = table.of(row);
        match &plane.samples {
            Samples::Eight(samples) => self.weigh_rows(Strip::new(samples, plane.stride, top, left), weights, out),
            Samples::Sixteen(samples) => self.weigh_rows(Strip::new(samples, plane.stride, top, left), weights, out),
        }
    }

    fn weigh_rows<S: Sample>(self, strip: Strip<S>, weights: &[f32], out: &mut [f32]) {
        strip.check(weights.len(), out.len());
        match self {
            Self::Portable => weigh_rows(strip, weights, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::weigh_rows(seen, strip, weights, out),
        }
    }

    /// A strip made by [`Kernels::down`] over the table's span, resampled across. The strip is longer than the span by at
    /// least a table's taps, and finite there.
    pub(super) fn across(self, strip: &[f32], table: &Table, out: &mut [f32]) {
        assert_eq!(out.len(), table.firsts().len(), "a row of the table's length");
        assert!(strip.len() >= table.span().len() + table.taps(), "a strip with room for a table's padding");
        match self {
            Self::Portable => weigh_columns(strip, table, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::weigh_columns(seen, strip, table, out),
        }
    }

    /// Writes a row of 8-bit codes: for every pixel `finish` of three values, dithered.
    pub(super) fn to_codes(self, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
        match self {
            Self::Portable => to_codes(rows, finish, thresholds, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::to_codes(seen, rows, finish, thresholds, out),
        }
    }
}

/// Part of a plane: where its first wanted sample is, and how far on the next row begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strip<'a, S> {
    /// From the first wanted sample on.
    pub samples: &'a [S],
    /// Samples from one row to the next.
    pub stride: usize,
}

impl<'a, S: Sample> Strip<'a, S> {
    fn new(samples: &'a [S], stride: usize, top: usize, left: usize) -> Self {
        Self { samples: &samples[top * stride + left..], stride }
    }

    /// Panics unless `rows` rows of `columns` samples are there: the SIMD kernels rely on it.
    fn check(self, rows: usize, columns: usize) {
        assert!(columns <= self.stride, "columns within a row");
        assert!(rows > 0 && self.samples.len() >= (rows - 1) * self.stride + columns, "rows within the plane");
    }
}

/// A sample as a file has it.
pub(super) trait Sample: Copy + Into<f32> {
    /// Eight samples from `from` on, as `f32`.
    #[cfg(target_arch = "x86_64")]
    fn eight(seen: avx2::Seen, from: &[Self; LANES]) -> core::arch::x86_64::__m256;
}

impl Sample for u8 {
    #[cfg(target_arch = "x86_64")]
    #[inline(always)]
    fn eight(seen: avx2::Seen, from: &[Self; LANES]) -> core::arch::x86_64::__m256 {
        avx2::eight_bytes(seen, from)
    }
}

impl Sample for u16 {
    #[cfg(target_arch = "x86_64")]
    #[inline(always)]
    fn eight(seen: avx2::Seen, from: &[Self; LANES]) -> core::arch::x86_64::__m256 {
        avx2::eight_words(seen, from)
    }
}

/// How three values become one 8-bit code.
#[derive(Debug, Clone, Copy)]
pub(super) struct ToCode {
    /// What each value is multiplied by.
    pub by: [f32; 3],
    /// What is added, in codes.
    pub add: f32,
    /// The lowest and the highest code there may be.
    pub within: [f32; 2],
}

/// The safe twin of going down.
fn weigh_rows<S: Sample>(strip: Strip<S>, weights: &[f32], out: &mut [f32]) {
    const COLUMNS: usize = 256;
    for (part, out) in out.chunks_mut(COLUMNS).enumerate() {
        out.fill(0.0);
        for (row, &weight) in weights.iter().enumerate() {
            let from = row * strip.stride + part * COLUMNS;
            for (sum, &sample) in out.iter_mut().zip(&strip.samples[from..]) {
                *sum += weight * sample.into();
            }
        }
    }
}

/// The safe twin of going across.
fn weigh_columns(strip: &[f32], table: &Table, out: &mut [f32]) {
    let taps = table.taps();
    for ((out, &first), weights) in out.iter_mut().zip(table.firsts()).zip(table.weights().chunks_exact(taps)) {
        let mut sums = [0.0_f32; LANES];
        let samples = &strip[first as usize..first as usize + taps];
        for (samples, weights) in samples.chunks_exact(LANES).zip(weights.chunks_exact(LANES)) {
            for lane in 0..LANES {
                sums[lane] += samples[lane] * weights[lane];
            }
        }
        let halves: [f32; LANES / 2] = std::array::from_fn(|lane| sums[lane] + sums[lane + LANES / 2]);
        *out = (halves[0] + halves[1]) + (halves[2] + halves[3]);
    }
}

/// Adding 2²³ leaves a number below 2²³, rounded to the nearest whole one, in the low bits.
const WHOLE: f32 = 8_388_608.0;

/// Rounds a value from 0 to 65,535 to the nearest whole number.
#[expect(clippy::cast_possible_truncation, reason = "the low 16 bits are the number")]
#[inline(always)]
pub(super) fn round_to_u16(value: f32) -> u16 {
    (value + WHOLE).to_bits() as u16
}

/// The last step to 8 bits: to 1/256 code first, so that a value within 1/512 of a code is that code under any threshold.
#[expect(clippy::cast_possible_truncation, reason = "codes are within 0 and 255")]
#[inline(always)]
pub(super) fn to_codes(rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
    let ([a, b, c], [low, high]) = (rows, finish.within);
    for (((out, a), b), c) in out.chunks_mut(64).zip(a.chunks(64)).zip(b.chunks(64)).zip(c.chunks(64)) {
        for ((((out, a), b), c), &threshold) in out.iter_mut().zip(a).zip(b).zip(c).zip(thresholds) {
            let code = finish.add + finish.by[0] * a + finish.by[1] * b + finish.by[2] * c;
            // `max` first: it turns a NaN into the lowest code.
            let parts = round_to_u16(code.max(low).min(high) * 256.0);
            *out = ((u32::from(parts) + u32::from(threshold)) >> 8) as u8;
        }
    }
}

/// Writes a row of R'G'B' of 16 bits, each channel a sum of three values, rounded.
pub(super) fn to_rgb16(rows: [&[f32]; 3], channels: &[([f32; 3], f32); 3], out: &mut [u16]) {
    let [a, b, c] = rows;
    for (((out, a), b), c) in out.as_chunks_mut::<3>().0.iter_mut().zip(a).zip(b).zip(c) {
        for (out, (by, add)) in out.iter_mut().zip(channels) {
            let value = add + by[0] * a + by[1] * b + by[2] * c;
            *out = round_to_u16(value.clamp(0.0, 65_535.0));
        }
    }
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "made-up pixels")]
mod tests {
    use super::super::weights::{Axis, Grain, Tables};
    use super::*;
    use crate::picture::Siting;
    use crate::shot::Sharpness;

    /// A plane of noise, by the generator of Numerical Recipes.
    fn noise(width: u32, height: u32, sixteen: bool) -> Plane {
        let mut state = 7_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state >> 16
        };
        let stride = width as usize + 5;
        let count = stride * height as usize;
        let samples = if sixteen {
            Samples::Sixteen((0..count).map(|_| next() as u16).collect())
        } else {
            Samples::Eight((0..count).map(|_| (next() >> 8) as u8).collect())
        };
        Plane { samples, width, height, stride, siting: Siting::FULL }
    }

    fn resampled(kernels: Kernels, plane: &Plane, scale: f64, sharpness: Sharpness, grain: Grain) -> Vec<f32> {
        let mut tables = Tables::default();
        let axis = |length: u32, start: f64| {
            let count = ((f64::from(length) - 2.0 * start) / scale) as usize;
            Axis { start, scale, count, length: length as usize }
        };
        let across = tables.find(axis(plane.width, 3.3), sharpness, grain);
        let down = tables.find(axis(plane.height, 0.2), sharpness, grain);
        let (across, down) = (tables.get(across), tables.get(down));
        let mut strip = vec![0.0; across.span().len() + across.taps()];
        let mut out = Vec::new();
        for row in 0..down.firsts().len() {
            kernels.down(plane, down, row, across.span().start, &mut strip[..across.span().len()]);
            let mut line = vec![0.0; across.firsts().len()];
            kernels.across(&strip, across, &mut line);
            out.append(&mut line);
        }
        out
    }

    #[test]
    fn the_simd_kernels_agree_with_their_safe_twin_within_a_sixteenth_of_a_code() {
        let best = Kernels::best();
        assert!(
            !cfg!(target_arch = "x86_64") || best != Kernels::Portable || !std::arch::is_x86_feature_detected!("fma"),
            "nothing to compare with on a machine that has the instructions"
        );
        for (sixteen, grain, per_code) in [(false, Grain::Eight, 1.0), (true, Grain::Sixteen, 257.0)] {
            let plane = noise(203, 61, sixteen);
            for sharpness in [Sharpness::Even, Sharpness::Full] {
                for scale in [0.4, 1.0, 1.3, 2.7, 5.1] {
                    let fast = resampled(best, &plane, scale, sharpness, grain);
                    let safe = resampled(Kernels::Portable, &plane, scale, sharpness, grain);
                    let worst = fast.iter().zip(&safe).map(|(a, b)| (a - b).abs() / per_code).fold(0.0, f32::max);
                    assert!(worst <= 1.0 / 16.0, "{worst} of a code at {scale}");
                    assert!(worst < 1e-3, "{worst} of a code at {scale}: more than f32 accounts for");
                }
            }
        }
    }

    #[test]
    fn the_last_step_is_the_same_on_both_kernels() {
        let values: Vec<f32> = (0..1000_u16).map(|at| f32::from(at) * 0.271 - 8.0).collect();
        let finish = ToCode { by: [0.7, 0.2, 0.1], add: 0.5, within: [16.0, 235.0] };
        let thresholds = std::array::from_fn(|at| (at * 4) as u8);
        let (mut fast, mut safe) = (vec![0; 1000], vec![0; 1000]);
        Kernels::best().to_codes([&values; 3], &finish, &thresholds, &mut fast);
        Kernels::Portable.to_codes([&values; 3], &finish, &thresholds, &mut safe);
        assert_eq!(fast, safe);
    }
}

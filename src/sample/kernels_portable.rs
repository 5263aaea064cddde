//! The inner loops in safe Rust: what every machine can run, and the twin that the SIMD kernels are compared with.
//!
//! Resampling goes down the columns first, over the columns the window needs only, then across. 8-bit samples are
//! resampled in whole numbers, which both sets of kernels add up to the same bit; 16-bit samples in `f32`.
//!
//! Between the two passes an 8-bit sample `v` is `(v − 128) · 2⁷` in an `i16`: fifteen bits, with room for overshoot to
//! twice the range. Weights are below 2 in sum of magnitudes (see [`super::weights`]), so sums across stay within 32
//! bits.

use super::patches::{self, Patches, SamplePath};
use super::strip::PlanePart;
use super::weights::{LANES, Table};

/// Bits after the point of what lies between the two passes, and what it is counted from.
pub(super) const FRACTION: u32 = 7;
pub(super) const MIDDLE: i32 = 128;

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

/// Sums of samples times weights in units of 2⁻ᵇⁱᵗˢ, as they lie between the passes.
#[expect(clippy::cast_possible_truncation, reason = "held within i16 first")]
#[inline(always)]
pub(super) fn to_between(sum: i32, bits: u32) -> i16 {
    let half = 1 << (bits - FRACTION - 1);
    let value = (sum - (MIDDLE << bits) + half) >> (bits - FRACTION);
    value.clamp(i32::from(i16::MIN), i32::from(i16::MAX)) as i16
}

/// What a sum across of values between the passes, times weights in units of 2⁻ᵇⁱᵗˢ, is multiplied by.
#[expect(clippy::cast_precision_loss, reason = "a power of two")]
pub(super) fn from_between(bits: u32) -> f32 {
    ((1_u32 << (bits + FRACTION)) as f32).recip()
}

/// The safe twin of going down, 8 bits.
pub(super) fn down_whole(strip: PlanePart<u8>, weights: &[i16], bits: u32, out: &mut [i16]) {
    const COLUMNS: usize = 256;
    let mut sums = [0_i32; COLUMNS];
    for (part, out) in out.chunks_mut(COLUMNS).enumerate() {
        sums.fill(0);
        for (row, &weight) in weights.iter().enumerate() {
            let from = row * strip.stride + part * COLUMNS;
            let samples = &strip.samples[from..from + out.len()];
            for (sum, &sample) in sums.iter_mut().zip(samples) {
                *sum += i32::from(weight) * i32::from(sample);
            }
        }
        for (out, &sum) in out.iter_mut().zip(&sums) {
            *out = to_between(sum, bits);
        }
    }
}

/// The safe twin of going down, 16 bits.
pub(super) fn down_real(strip: PlanePart<u16>, weights: &[f32], out: &mut [f32]) {
    const COLUMNS: usize = 256;
    for (part, out) in out.chunks_mut(COLUMNS).enumerate() {
        out.fill(0.0);
        for (row, &weight) in weights.iter().enumerate() {
            let from = row * strip.stride + part * COLUMNS;
            for (sum, &sample) in out.iter_mut().zip(&strip.samples[from..]) {
                *sum += weight * f32::from(sample);
            }
        }
    }
}

/// The safe twin of going across, 8 bits; `taps` weights to each of `firsts`.
#[expect(clippy::cast_precision_loss, reason = "f32 holds 24 bits, 14 are promised")]
pub(super) fn across_whole(band: &[i16], taps: usize, firsts: &[u32], weights: &[i16], scale: f32, out: &mut [f32]) {
    for ((out, &first), weights) in out.iter_mut().zip(firsts).zip(weights.chunks_exact(taps)) {
        let values = &band[first as usize..first as usize + taps];
        let sum: i32 = values.iter().zip(weights).map(|(&value, &weight)| i32::from(value) * i32::from(weight)).sum();
        *out = sum as f32 * scale + MIDDLE as f32;
    }
}

/// The safe twin of going across, 16 bits.
pub(super) fn across_real(band: &[f32], table: &Table, out: &mut [f32]) {
    let taps = table.taps();
    for ((out, &first), weights) in out.iter_mut().zip(table.firsts()).zip(table.real().chunks_exact(taps)) {
        let mut sums = [0.0_f32; LANES];
        let samples = &band[first as usize..first as usize + taps];
        for (samples, weights) in samples.chunks_exact(LANES).zip(weights.chunks_exact(LANES)) {
            for lane in 0..LANES {
                sums[lane] += samples[lane] * weights[lane];
            }
        }
        let halves: [f32; LANES / 2] = std::array::from_fn(|lane| sums[lane] + sums[lane + LANES / 2]);
        *out = (halves[0] + halves[1]) + (halves[2] + halves[3]);
    }
}

/// The safe twin of a rolled row, 8 bits.
pub(super) fn rolled_whole(
    plane: PlanePart<u8>,
    patches: Patches<i16>,
    bits: u32,
    mut track: SamplePath,
    out: &mut [f32],
) {
    let unit = patches::unit_of(bits);
    for out in out {
        let spot = track.next(plane.stride, patches.phases);
        let sums = spot.phases.map(|phase| {
            let mut lanes = [0_i32; LANES];
            for (samples, weights) in patches.eights(plane, spot.at, phase) {
                for lane in 0..LANES {
                    lanes[lane] += i32::from(samples[lane]) * i32::from(weights[lane]);
                }
            }
            lanes.iter().sum()
        });
        *out = spot.mixed_whole(sums, unit);
    }
}

/// The safe twin of a rolled row, 16 bits.
pub(super) fn rolled_real(plane: PlanePart<u16>, patches: Patches<f32>, mut track: SamplePath, out: &mut [f32]) {
    for out in out {
        let spot = track.next(plane.stride, patches.phases);
        let sums = spot.phases.map(|phase| {
            let mut lanes = [0.0_f32; LANES];
            for (samples, weights) in patches.eights(plane, spot.at, phase) {
                for lane in 0..LANES {
                    lanes[lane] += f32::from(samples[lane]) * weights[lane];
                }
            }
            lanes.iter().sum()
        });
        *out = spot.mixed_real(sums);
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

/// The last step to 8 bits: to 1/256 code first, so that a value within 1/512 of a code is that code under any
/// threshold.
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

/// The same of 10 bits: thresholds in quarters.
#[expect(clippy::cast_possible_truncation, reason = "10 bits")]
#[inline(always)]
pub(super) fn to_codes10(rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u16]) {
    let ([a, b, c], [low, high]) = (rows, finish.within);
    for (((out, a), b), c) in out.chunks_mut(64).zip(a.chunks(64)).zip(b.chunks(64)).zip(c.chunks(64)) {
        for ((((out, a), b), c), &threshold) in out.iter_mut().zip(a).zip(b).zip(c).zip(thresholds) {
            let code = finish.add + finish.by[0] * a + finish.by[1] * b + finish.by[2] * c;
            let parts = round_to_u16(code.max(low).min(high) * 64.0);
            *out = ((u32::from(parts) + u32::from(threshold >> 2)) >> 6) as u16;
        }
    }
}

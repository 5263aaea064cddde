//! The inner loops, by the fastest set of kernels that the machine has.

use super::kernels_portable::{self as portable, ToCode, round_to_u16};
use super::patches::{Patches, SamplePath};
use super::strip::PlanePart;
use super::weights::Table;
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

/// A row of a plane that has been resampled down and not yet across.
#[derive(Debug, Default)]
pub(super) struct Band {
    whole: Vec<i16>,
    real: Vec<f32>,
}

#[cfg(test)]
impl Band {
    /// Where its buffers are, for the test that they stay there.
    pub(super) fn buffers(&self) -> [usize; 2] {
        [self.whole.as_ptr().addr(), self.real.as_ptr().addr()]
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

    /// Row `row` of a plane resampled by two tables made for its depth. Values are on the samples' own scale,
    /// unclipped.
    pub(super) fn resample(
        self,
        plane: &Plane,
        [across, down]: [&Table; 2],
        row: usize,
        band: &mut Band,
        out: &mut [f32],
    ) {
        assert_eq!(out.len(), across.firsts().len(), "a row of the table's length");
        let (top, weights) = down.of(row);
        let span = across.span();
        // Taps that are there for padding only reach past the span; what they meet there is finite, and counts for
        // nothing.
        let length = span.len() + across.taps();
        match &plane.samples {
            Samples::Eight(samples) => {
                band.whole.resize(band.whole.len().max(length), 0);
                let strip = PlanePart::new(samples, plane.stride, top, span.start);
                self.down_whole(strip, &down.whole()[weights], down.bits(), &mut band.whole[..span.len()]);
                self.across_whole(&band.whole, across, out);
            }
            Samples::Sixteen(samples) => {
                band.real.resize(band.real.len().max(length), 0.0);
                let strip = PlanePart::new(samples, plane.stride, top, span.start);
                self.down_real(strip, &down.real()[weights], &mut band.real[..span.len()]);
                self.across_real(&band.real, across, out);
            }
        }
    }

    fn down_whole(self, strip: PlanePart<u8>, weights: &[i16], bits: u32, out: &mut [i16]) {
        match self {
            Self::Portable => portable::down_whole(strip, weights, bits, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::down_whole(seen, strip, weights, bits, out),
        }
    }

    fn down_real(self, strip: PlanePart<u16>, weights: &[f32], out: &mut [f32]) {
        strip.check(weights.len(), out.len());
        match self {
            Self::Portable => portable::down_real(strip, weights, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::down_real(seen, strip, weights, out),
        }
    }

    fn across_whole(self, band: &[i16], table: &Table, out: &mut [f32]) {
        match self {
            Self::Portable => {
                let scale = portable::from_between(table.bits());
                portable::across_whole(band, table.taps(), table.firsts(), table.whole(), scale, out);
            }
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::across_whole(seen, band, table, out),
        }
    }

    fn across_real(self, band: &[f32], table: &Table, out: &mut [f32]) {
        match self {
            Self::Portable => portable::across_real(band, table, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::across_real(seen, band, table, out),
        }
    }

    /// A row of a rolled frame from 8-bit samples, weights in units of 2⁻ᵇⁱᵗˢ. Values are on the samples' own scale,
    /// unclipped.
    pub(super) fn rolled_whole(
        self,
        plane: PlanePart<u8>,
        patches: Patches<i16>,
        bits: u32,
        track: SamplePath,
        out: &mut [f32],
    ) {
        match self {
            Self::Portable => portable::rolled_whole(plane, patches, bits, track, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::rolled_whole(seen, plane, patches, bits, track, out),
        }
    }

    /// The same from 16-bit samples, weights as they are.
    pub(super) fn rolled_real(self, plane: PlanePart<u16>, patches: Patches<f32>, track: SamplePath, out: &mut [f32]) {
        match self {
            Self::Portable => portable::rolled_real(plane, patches, track, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::rolled_real(seen, plane, patches, track, out),
        }
    }

    /// Writes a row of 8-bit codes: for every pixel `finish` of three values, dithered.
    pub(super) fn to_codes(self, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
        match self {
            Self::Portable => portable::to_codes(rows, finish, thresholds, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::to_codes(seen, rows, finish, thresholds, out),
        }
    }

    /// The same of 10 bits.
    pub(super) fn to_codes10(self, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u16]) {
        match self {
            Self::Portable => portable::to_codes10(rows, finish, thresholds, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(seen) => avx2::to_codes10(seen, rows, finish, thresholds, out),
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
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "made-up pixels"
)]
mod tests {
    use super::super::patches::TILE;
    use super::super::weights::{Depth, OutputAxis, Tables};
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

    fn resampled(kernels: Kernels, plane: &Plane, scale: f64, sharpness: Sharpness) -> Vec<f32> {
        let mut tables = Tables::default();
        let axis = |length: u32, start: f64| {
            let count = ((f64::from(length) - 2.0 * start) / scale) as usize;
            OutputAxis { start, scale, count, length: length as usize }
        };
        let depth = if matches!(plane.samples, Samples::Eight(_)) { Depth::Eight } else { Depth::Sixteen };
        let across = tables.find(axis(plane.width, 3.3), sharpness, depth);
        let down = tables.find(axis(plane.height, 0.2), sharpness, depth);
        let (across, down) = (tables.get(across), tables.get(down));
        let mut band = Band::default();
        let mut out = vec![0.0; across.firsts().len() * down.firsts().len()];
        for (row, out) in out.chunks_exact_mut(across.firsts().len()).enumerate() {
            kernels.resample(plane, [across, down], row, &mut band, out);
        }
        out
    }

    #[test]
    fn the_simd_kernels_agree_with_their_safe_twin() {
        let best = Kernels::best();
        #[cfg(target_arch = "x86_64")]
        assert!(
            best != Kernels::Portable || !is_x86_feature_detected!("avx2") || !is_x86_feature_detected!("fma"),
            "this machine has the instructions, so they are compared"
        );
        for sixteen in [false, true] {
            let plane = noise(203, 61, sixteen);
            for sharpness in [Sharpness::Even, Sharpness::Full] {
                for scale in [0.4, 1.0, 1.3, 2.7, 5.1] {
                    let fast = resampled(best, &plane, scale, sharpness);
                    let safe = resampled(Kernels::Portable, &plane, scale, sharpness);
                    if sixteen {
                        let worst = fast.iter().zip(&safe).map(|(a, b)| (a - b).abs() / 257.0).fold(0.0, f32::max);
                        assert!(worst < 1e-3, "{worst} of an 8-bit code at {scale}: more than f32 accounts for");
                    } else {
                        assert!(fast == safe, "8 bits are exact: {scale} {sharpness:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn rolled_rows_agree_with_their_safe_twin() {
        let (eight, sixteen) = (noise(90, 70, false), noise(90, 70, true));
        let (Samples::Eight(a), Samples::Sixteen(b)) = (&eight.samples, &sixteen.samples) else { unreachable!() };
        let (a, b) = (PlanePart { samples: a, stride: eight.stride }, PlanePart { samples: b, stride: sixteen.stride });
        let mut state = 1_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) as i16
        };
        // Forwards, and backwards from the far corner; the last patch ends with the plane.
        for (start, step) in [([0.3, 0.7], [1.1, 0.4]), ([61.9, 45.2], [-1.3, -0.9]), ([3.0, 46.5], [1.7, 0.0])] {
            for tiles in [vec![0], vec![0, 8, 190, 198], vec![8, 190, 198, 206, 2090, 2098]] {
                for phases in [[38, 38], [6, 13]] {
                    let count = tiles.len() * TILE * (phases[0] + 1) * (phases[1] + 1);
                    let whole: Vec<i16> = (0..count).map(|_| next() / 8).collect();
                    let real: Vec<f32> = (0..count).map(|_| f32::from(next()) * 1e-6).collect();
                    let whole = Patches { tiles: &tiles, weights: &whole, phases };
                    let real = Patches { tiles: &tiles, weights: &real, phases };
                    let track = SamplePath::new(start, step);
                    let [mut fast, mut safe] = [[0.0; 33]; 2];
                    Kernels::best().rolled_whole(a, whole, 14, track, &mut fast);
                    Kernels::Portable.rolled_whole(a, whole, 14, track, &mut safe);
                    assert_eq!(fast, safe, "8 bits are exact");
                    Kernels::best().rolled_real(b, real, track, &mut fast);
                    Kernels::Portable.rolled_real(b, real, track, &mut safe);
                    for (fast, safe) in fast.iter().zip(safe) {
                        assert!((fast - safe).abs() / 257.0 < 1e-2, "{fast} {safe}");
                    }
                }
            }
        }
    }

    #[test]
    fn whole_numbers_stay_within_a_fiftieth_of_a_code_of_f32() {
        let (eight, sixteen) = (noise(203, 61, false), noise(203, 61, true));
        let Samples::Eight(samples) = &eight.samples else { unreachable!() };
        let sixteen = Plane {
            samples: Samples::Sixteen(samples.iter().map(|&sample| u16::from(sample) * 257).collect()),
            ..sixteen
        };
        for sharpness in [Sharpness::Even, Sharpness::Full] {
            for scale in [0.4, 1.0, 1.3, 2.7, 5.1] {
                let whole = resampled(Kernels::best(), &eight, scale, sharpness);
                let real = resampled(Kernels::best(), &sixteen, scale, sharpness);
                let squares = whole.iter().zip(&real).map(|(a, b)| (a - b / 257.0).powi(2));
                let rms = (squares.sum::<f32>() / whole.len() as f32).sqrt();
                assert!(rms < 0.02, "{rms} of a code at {scale} {sharpness:?}");
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
        let finish = ToCode { by: [0.7, 0.2, 0.1], add: 0.5, within: [64.0, 940.0] };
        let (mut fast, mut safe) = (vec![0; 1000], vec![0; 1000]);
        Kernels::best().to_codes10([&values; 3], &finish, &thresholds, &mut fast);
        Kernels::Portable.to_codes10([&values; 3], &finish, &thresholds, &mut safe);
        assert_eq!(fast, safe);
    }
}

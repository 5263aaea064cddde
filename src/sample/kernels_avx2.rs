//! The inner loops for AVX2 and FMA. Each does what its safe twin in [`super::kernels`] does.
#![expect(unsafe_code, reason = "SIMD loads and stores; every length is checked by the safe callers in `kernels`")]

use core::arch::x86_64::{
    __m128i, __m256, _mm_loadl_epi64, _mm_loadu_si128, _mm256_add_ps, _mm256_cvtepi32_ps, _mm256_cvtepu8_epi32,
    _mm256_cvtepu16_epi32, _mm256_fmadd_ps, _mm256_hadd_ps, _mm256_loadu_ps, _mm256_mul_ps, _mm256_permute2f128_ps,
    _mm256_set1_ps, _mm256_setzero_ps, _mm256_storeu_ps,
};

use super::kernels::{self, Sample, Strip, ToCode};
use super::weights::{LANES, Table};

/// Proof that this machine has AVX2 and FMA.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen(());

impl Seen {
    /// Looks for them.
    pub(super) fn here() -> Option<Self> {
        (is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma")).then_some(Self(()))
    }
}

/// Eight bytes as `f32`.
#[inline(always)]
pub(super) fn eight_bytes(_: Seen, from: &[u8; LANES]) -> __m256 {
    // SAFETY: eight bytes are there to read, and `Seen` says that the machine has AVX2.
    unsafe { _mm256_cvtepi32_ps(_mm256_cvtepu8_epi32(_mm_loadl_epi64(from.as_ptr().cast::<__m128i>()))) }
}

/// Eight 16-bit words as `f32`.
#[inline(always)]
pub(super) fn eight_words(_: Seen, from: &[u16; LANES]) -> __m256 {
    // SAFETY: sixteen bytes are there to read, and `Seen` says that the machine has AVX2.
    unsafe { _mm256_cvtepi32_ps(_mm256_cvtepu16_epi32(_mm_loadu_si128(from.as_ptr().cast::<__m128i>()))) }
}

/// Going down: `out[x]` is the weighted sum of the strip's rows at column `x`.
pub(super) fn weigh_rows<S: Sample>(seen: Seen, strip: Strip<S>, weights: &[f32], out: &mut [f32]) {
    // SAFETY: `Seen` says that the machine has AVX2 and FMA.
    unsafe { weigh_rows_with(seen, strip, weights, out) }
}

#[target_feature(enable = "avx2,fma")]
fn weigh_rows_with<S: Sample>(seen: Seen, strip: Strip<S>, weights: &[f32], out: &mut [f32]) {
    const BLOCK: usize = 4 * LANES;
    let columns = out.len();
    let mut column = 0;
    while column + BLOCK <= columns {
        let mut sums = [_mm256_setzero_ps(); 4];
        for (row, &weight) in weights.iter().enumerate() {
            let weight = _mm256_set1_ps(weight);
            let samples = &strip.samples[row * strip.stride + column..][..BLOCK];
            for (sum, eight) in sums.iter_mut().zip(samples.as_chunks::<LANES>().0) {
                *sum = _mm256_fmadd_ps(S::eight(seen, eight), weight, *sum);
            }
        }
        for (sum, out) in sums.into_iter().zip(out[column..column + BLOCK].as_chunks_mut::<LANES>().0) {
            // SAFETY: eight floats are there to write.
            unsafe { _mm256_storeu_ps(out.as_mut_ptr(), sum) };
        }
        column += BLOCK;
    }
    for (column, out) in out.iter_mut().enumerate().skip(column) {
        *out = 0.0;
        for (row, &weight) in weights.iter().enumerate() {
            *out = strip.samples[row * strip.stride + column].into().mul_add(weight, *out);
        }
    }
}

/// Going across: `out[i]` is the weighted sum of the strip's samples from `firsts[i]` on.
pub(super) fn weigh_columns(_: Seen, strip: &[f32], table: &Table, out: &mut [f32]) {
    // SAFETY: `Seen` says that the machine has AVX2 and FMA.
    unsafe { weigh_columns_with(strip, table, out) }
}

#[target_feature(enable = "avx2,fma")]
fn weigh_columns_with(strip: &[f32], table: &Table, out: &mut [f32]) {
    let taps = table.taps();
    let (groups, rest) = out.as_chunks_mut::<LANES>();
    let (first_groups, rest_firsts) = table.firsts().as_chunks::<LANES>();
    let (grouped, rest_weights) = table.weights().split_at(groups.len() * LANES * taps);
    for ((out, firsts), weights) in groups.iter_mut().zip(first_groups).zip(grouped.chunks_exact(LANES * taps)) {
        let mut sums = [_mm256_setzero_ps(); LANES];
        for ((sum, &first), weights) in sums.iter_mut().zip(firsts).zip(weights.chunks_exact(taps)) {
            *sum = dot(&strip[first as usize..first as usize + taps], weights);
        }
        let [a, b, c, d, e, f, g, h] = sums;
        let low = _mm256_hadd_ps(_mm256_hadd_ps(a, b), _mm256_hadd_ps(c, d));
        let high = _mm256_hadd_ps(_mm256_hadd_ps(e, f), _mm256_hadd_ps(g, h));
        let sum = _mm256_add_ps(_mm256_permute2f128_ps::<0x20>(low, high), _mm256_permute2f128_ps::<0x31>(low, high));
        // SAFETY: eight floats are there to write.
        unsafe { _mm256_storeu_ps(out.as_mut_ptr(), sum) };
    }
    for ((out, &first), weights) in rest.iter_mut().zip(rest_firsts).zip(rest_weights.chunks_exact(taps)) {
        let mut lanes = [0.0; LANES];
        let sum = dot(&strip[first as usize..first as usize + taps], weights);
        // SAFETY: eight floats are there to write.
        unsafe { _mm256_storeu_ps(lanes.as_mut_ptr(), sum) };
        *out = lanes.iter().sum();
    }
}

/// Products of samples and weights, added up lane by lane. Both have the same length, a multiple of eight.
#[target_feature(enable = "avx2,fma")]
#[inline]
fn dot(samples: &[f32], weights: &[f32]) -> __m256 {
    let mut pairs = samples.as_chunks::<LANES>().0.iter().zip(weights.as_chunks::<LANES>().0);
    // SAFETY: eight floats are there to read, each time.
    let load = |eight: &[f32; LANES]| unsafe { _mm256_loadu_ps(eight.as_ptr()) };
    let Some((samples, weights)) = pairs.next() else { return _mm256_setzero_ps() };
    let first = _mm256_mul_ps(load(samples), load(weights));
    pairs.fold(first, |sum, (samples, weights)| _mm256_fmadd_ps(load(samples), load(weights), sum))
}

/// The last step to 8 bits: the safe twin, compiled for these instructions.
pub(super) fn to_codes(_: Seen, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
    // SAFETY: `Seen` says that the machine has AVX2.
    unsafe { to_codes_with(rows, finish, thresholds, out) }
}

#[target_feature(enable = "avx2")]
fn to_codes_with(rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
    kernels::to_codes(rows, finish, thresholds, out);
}

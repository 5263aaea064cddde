//! The inner loops for AVX2 and FMA. Each does what its safe twin in [`super::kernels_portable`] does.
#![expect(unsafe_code, reason = "SIMD loads and stores, each of a slice or an array of the right length")]

use core::arch::x86_64::{
    __m128i, __m256, __m256i, _mm_add_epi32, _mm_add_ps, _mm_cvtsi32_si128, _mm_extract_epi32, _mm_loadl_epi64,
    _mm_loadu_si128, _mm_storeu_ps, _mm_unpacklo_epi64, _mm256_add_epi32, _mm256_add_ps, _mm256_castps256_ps128,
    _mm256_castsi128_si256, _mm256_castsi256_si128, _mm256_cvtepi32_ps, _mm256_cvtepu8_epi16, _mm256_cvtepu16_epi32,
    _mm256_extractf128_ps, _mm256_extracti128_si256, _mm256_fmadd_ps, _mm256_hadd_epi32, _mm256_hadd_ps,
    _mm256_inserti128_si256, _mm256_loadu_ps, _mm256_loadu_si256, _mm256_madd_epi16, _mm256_mul_ps, _mm256_packs_epi32,
    _mm256_permute2f128_ps, _mm256_permute2x128_si256, _mm256_permutevar8x32_epi32, _mm256_set1_epi32, _mm256_set1_ps,
    _mm256_setr_epi32, _mm256_setzero_ps, _mm256_setzero_si256, _mm256_sra_epi32, _mm256_storeu_ps,
    _mm256_storeu_si256, _mm256_unpackhi_epi8, _mm256_unpacklo_epi8,
};

use super::kernels_portable::{self as portable, FRACTION, MIDDLE, ToCode};
use super::patches::{Patches, SamplePath, TILE, unit_of};
use super::strip::PlanePart;
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

/// Going down, 8 bits: `out[x]` is the weighted sum of the strip's rows at column `x`.
pub(super) fn down_whole(_: Seen, strip: PlanePart<u8>, weights: &[i16], bits: u32, out: &mut [i16]) {
    strip.check(weights.len(), out.len());
    // SAFETY: `Seen` says that the machine has AVX2, and the strip has been checked.
    let done = unsafe { down_whole_blocks(strip, weights, bits, out) };
    for (column, out) in out.iter_mut().enumerate().skip(done) {
        let products = weights.iter().enumerate();
        let products =
            products.map(|(row, &weight)| i32::from(weight) * i32::from(strip.samples[row * strip.stride + column]));
        *out = portable::to_between(products.sum(), bits);
    }
}

/// All whole blocks, and a last one that overlaps the one before; says how many columns are done: all, unless there are
/// too few for a block.
///
/// # Safety
/// `strip` has `weights.len()` rows of `out.len()` columns.
#[target_feature(enable = "avx2")]
unsafe fn down_whole_blocks(strip: PlanePart<u8>, weights: &[i16], bits: u32, out: &mut [i16]) -> usize {
    let Some(last) = out.len().checked_sub(BLOCK) else { return 0 };
    for column in (0..last).step_by(BLOCK).chain([last]) {
        // SAFETY: every row of the strip, and the output, has a block from this column on.
        unsafe { down_whole_block(strip, weights, bits, column, out.as_mut_ptr().add(column)) };
    }
    out.len()
}

/// Columns that are summed at once.
const BLOCK: usize = 32;

/// A block of columns, two rows at a time: bytes of the two rows are interleaved and multiplied by a pair of weights.
///
/// # Safety
/// `strip` has `weights.len()` rows with a block of columns from `column` on, and `out` has room for a block.
#[target_feature(enable = "avx2")]
#[inline]
#[expect(clippy::cast_possible_wrap, reason = "a shift of 7 or 8")]
unsafe fn down_whole_block(strip: PlanePart<u8>, weights: &[i16], bits: u32, column: usize, out: *mut i16) {
    let zero = _mm256_setzero_si256();
    let shift = _mm_cvtsi32_si128((bits - FRACTION) as i32);
    let mut sums = [_mm256_set1_epi32((1 << (bits - FRACTION - 1)) - (MIDDLE << bits)); 4];
    // SAFETY: the block's first row begins within the strip.
    let mut row = unsafe { strip.samples.as_ptr().add(column) };
    for pair in weights.chunks(2) {
        let (first, second) = (pair[0], pair.get(1).copied().unwrap_or(0));
        let both = _mm256_set1_epi32(i32::from(first.cast_unsigned()) | (i32::from(second) << 16));
        // Of an odd last row both are the same, and the second counts for nothing. SAFETY: a block of each row is there
        // to read; past the last row the pointer is moved, but by no more than the caller's strip has, and not read.
        let (a, b) = unsafe {
            let next = if pair.len() == 2 { row.add(strip.stride) } else { row };
            (_mm256_loadu_si256(row.cast()), _mm256_loadu_si256(next.cast()))
        };
        row = row.wrapping_add(2 * strip.stride);
        let (low, high) = (_mm256_unpacklo_epi8(a, b), _mm256_unpackhi_epi8(a, b));
        sums[0] = _mm256_add_epi32(sums[0], _mm256_madd_epi16(_mm256_unpacklo_epi8(low, zero), both));
        sums[1] = _mm256_add_epi32(sums[1], _mm256_madd_epi16(_mm256_unpackhi_epi8(low, zero), both));
        sums[2] = _mm256_add_epi32(sums[2], _mm256_madd_epi16(_mm256_unpacklo_epi8(high, zero), both));
        sums[3] = _mm256_add_epi32(sums[3], _mm256_madd_epi16(_mm256_unpackhi_epi8(high, zero), both));
    }
    // Unpacking works on halves of a register: columns lie 0–3 and 16–19, 4–7 and 20–23, and so on.
    let front = _mm256_packs_epi32(_mm256_sra_epi32(sums[0], shift), _mm256_sra_epi32(sums[1], shift));
    let back = _mm256_packs_epi32(_mm256_sra_epi32(sums[2], shift), _mm256_sra_epi32(sums[3], shift));
    // SAFETY: a block of words is there to write.
    unsafe {
        _mm256_storeu_si256(out.cast(), _mm256_permute2x128_si256::<0x20>(front, back));
        _mm256_storeu_si256(out.add(BLOCK / 2).cast(), _mm256_permute2x128_si256::<0x31>(front, back));
    }
}

/// Going across, 8 bits: `out[i]` is the weighted sum of the band's values from `firsts[i]` on.
pub(super) fn across_whole(_: Seen, band: &[i16], table: &Table, out: &mut [f32]) {
    let taps = table.taps();
    assert!(band.len() >= table.span().len() + taps, "a band with room for the padding of the last taps");
    let (groups, rest) = out.as_chunks_mut::<LANES>();
    let (first_groups, rest_firsts) = table.firsts().as_chunks::<LANES>();
    let (grouped, rest_weights) = table.whole().split_at(groups.len() * LANES * taps);
    let scale = portable::from_between(table.bits());
    // SAFETY: `Seen` says that the machine has AVX2; a table's firsts lie within its span, so that all taps are within
    // the band.
    unsafe { across_groups(band, taps, first_groups, grouped, scale, groups) };
    portable::across_whole(band, taps, rest_firsts, rest_weights, scale, rest);
}

/// # Safety
/// The band has `taps` values from each of `firsts` on.
#[target_feature(enable = "avx2")]
unsafe fn across_groups(
    band: &[i16],
    taps: usize,
    firsts: &[[u32; LANES]],
    weights: &[i16],
    scale: f32,
    out: &mut [[f32; LANES]],
) {
    for ((out, firsts), weights) in out.iter_mut().zip(firsts).zip(weights.chunks_exact(LANES * taps)) {
        // SAFETY: as the caller promises; there are `taps` weights to each output, 8 or a multiple of 16.
        let sums = unsafe {
            if taps == LANES { eight_taps(band, firsts, weights) } else { many_taps(band, firsts, weights, taps) }
        };
        finish_across(sums, scale, out);
    }
}

/// Eight sums of eight taps each, two to a register.
///
/// # Safety
/// The band has eight values from each of `firsts` on; there are 64 weights.
#[target_feature(enable = "avx2")]
#[inline]
unsafe fn eight_taps(band: &[i16], firsts: &[u32; LANES], weights: &[i16]) -> __m256i {
    let mut sums = [_mm256_setzero_si256(); LANES / 2];
    for (pair, sum) in sums.iter_mut().enumerate() {
        // SAFETY: as the caller promises.
        unsafe {
            let a = _mm_loadu_si128(band.as_ptr().add(firsts[2 * pair] as usize).cast());
            let b = _mm_loadu_si128(band.as_ptr().add(firsts[2 * pair + 1] as usize).cast());
            let weights = _mm256_loadu_si256(weights.as_ptr().add(2 * pair * LANES).cast());
            *sum = _mm256_madd_epi16(_mm256_inserti128_si256::<1>(_mm256_castsi128_si256(a), b), weights);
        }
    }
    let sums = _mm256_hadd_epi32(_mm256_hadd_epi32(sums[0], sums[1]), _mm256_hadd_epi32(sums[2], sums[3]));
    // The outputs of even index are in the lower half.
    _mm256_permutevar8x32_epi32(sums, _mm256_setr_epi32(0, 4, 1, 5, 2, 6, 3, 7))
}

/// Eight sums of a multiple of sixteen taps each.
///
/// # Safety
/// The band has `taps` values from each of `firsts` on; there are eight times `taps` weights.
#[target_feature(enable = "avx2")]
#[inline]
unsafe fn many_taps(band: &[i16], firsts: &[u32; LANES], weights: &[i16], taps: usize) -> __m256i {
    let mut sums = [_mm256_setzero_si256(); LANES];
    for (output, sum) in sums.iter_mut().enumerate() {
        for tap in (0..taps).step_by(2 * LANES) {
            // SAFETY: as the caller promises.
            unsafe {
                let values = _mm256_loadu_si256(band.as_ptr().add(firsts[output] as usize + tap).cast());
                let weights = _mm256_loadu_si256(weights.as_ptr().add(output * taps + tap).cast());
                *sum = _mm256_add_epi32(*sum, _mm256_madd_epi16(values, weights));
            }
        }
    }
    let [a, b, c, d, e, f, g, h] = sums;
    let low = _mm256_hadd_epi32(_mm256_hadd_epi32(a, b), _mm256_hadd_epi32(c, d));
    let high = _mm256_hadd_epi32(_mm256_hadd_epi32(e, f), _mm256_hadd_epi32(g, h));
    _mm256_add_epi32(_mm256_permute2x128_si256::<0x20>(low, high), _mm256_permute2x128_si256::<0x31>(low, high))
}

#[target_feature(enable = "avx2")]
#[inline]
#[expect(clippy::cast_precision_loss, reason = "128")]
fn finish_across(sums: __m256i, scale: f32, out: &mut [f32; LANES]) {
    let scaled = _mm256_mul_ps(_mm256_cvtepi32_ps(sums), _mm256_set1_ps(scale));
    // SAFETY: eight floats are there to write.
    unsafe { _mm256_storeu_ps(out.as_mut_ptr(), _mm256_add_ps(scaled, _mm256_set1_ps(MIDDLE as f32))) };
}

/// Going down, 16 bits.
pub(super) fn down_real(_: Seen, strip: PlanePart<u16>, weights: &[f32], out: &mut [f32]) {
    // SAFETY: `Seen` says that the machine has AVX2 and FMA.
    unsafe { down_real_with(strip, weights, out) }
}

#[target_feature(enable = "avx2,fma")]
fn down_real_with(strip: PlanePart<u16>, weights: &[f32], out: &mut [f32]) {
    const BLOCK: usize = 4 * LANES;
    let (blocks, rest) = out.as_chunks_mut::<BLOCK>();
    let rest_at = blocks.len() * BLOCK;
    for (block, out) in blocks.iter_mut().enumerate() {
        let mut sums = [_mm256_setzero_ps(); 4];
        for (row, &weight) in weights.iter().enumerate() {
            let weight = _mm256_set1_ps(weight);
            let samples = &strip.samples[row * strip.stride + block * BLOCK..][..BLOCK];
            for (sum, eight) in sums.iter_mut().zip(samples.as_chunks::<LANES>().0) {
                // SAFETY: eight words are there to read.
                let words: __m128i = unsafe { _mm_loadu_si128(eight.as_ptr().cast()) };
                *sum = _mm256_fmadd_ps(_mm256_cvtepi32_ps(_mm256_cvtepu16_epi32(words)), weight, *sum);
            }
        }
        for (sum, out) in sums.into_iter().zip(out.as_chunks_mut::<LANES>().0) {
            // SAFETY: eight floats are there to write.
            unsafe { _mm256_storeu_ps(out.as_mut_ptr(), sum) };
        }
    }
    for (column, out) in rest.iter_mut().enumerate() {
        *out = 0.0;
        for (row, &weight) in weights.iter().enumerate() {
            *out = f32::from(strip.samples[row * strip.stride + rest_at + column]).mul_add(weight, *out);
        }
    }
}

/// Going across, 16 bits.
pub(super) fn across_real(_: Seen, band: &[f32], table: &Table, out: &mut [f32]) {
    // SAFETY: `Seen` says that the machine has AVX2 and FMA.
    unsafe { across_real_with(band, table, out) }
}

#[target_feature(enable = "avx2,fma")]
fn across_real_with(band: &[f32], table: &Table, out: &mut [f32]) {
    let taps = table.taps();
    let (groups, rest) = out.as_chunks_mut::<LANES>();
    let (first_groups, rest_firsts) = table.firsts().as_chunks::<LANES>();
    let (grouped, rest_weights) = table.real().split_at(groups.len() * LANES * taps);
    for ((out, firsts), weights) in groups.iter_mut().zip(first_groups).zip(grouped.chunks_exact(LANES * taps)) {
        let mut sums = [_mm256_setzero_ps(); LANES];
        for ((sum, &first), weights) in sums.iter_mut().zip(firsts).zip(weights.chunks_exact(taps)) {
            *sum = dot(&band[first as usize..first as usize + taps], weights);
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
        let sum = dot(&band[first as usize..first as usize + taps], weights);
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

/// A row of a rolled frame, 8 bits.
pub(super) fn rolled_whole(
    _: Seen,
    plane: PlanePart<u8>,
    patches: Patches<i16>,
    bits: u32,
    track: SamplePath,
    out: &mut [f32],
) {
    patches.check(plane, track, out.len());
    // SAFETY: `Seen` says that the machine has AVX2, and the patches have been checked.
    unsafe { rolled_whole_with(plane, patches, bits, track, out) }
}

/// # Safety
/// `patches.check` has passed.
#[target_feature(enable = "avx2")]
unsafe fn rolled_whole_with(
    plane: PlanePart<u8>,
    patches: Patches<i16>,
    bits: u32,
    mut track: SamplePath,
    out: &mut [f32],
) {
    let (unit, length) = (unit_of(bits), patches.length());
    for out in out {
        let spot = track.next(plane.stride, patches.phases);
        let mut sums = [_mm256_setzero_si256(); 3];
        // SAFETY: the check has seen that all of the patch is in the plane, and that all phases have their weights.
        unsafe {
            let mut weights = [patches.weights.as_ptr(); 3];
            for (weights, phase) in weights.iter_mut().zip(spot.phases) {
                *weights = weights.add(phase * length);
            }
            let patch = plane.samples.as_ptr().add(spot.at);
            for &tile in patches.tiles {
                let tile = patch.add(tile);
                let rows = [_mm_loadl_epi64(tile.cast()), _mm_loadl_epi64(tile.add(plane.stride).cast())];
                let samples = _mm256_cvtepu8_epi16(_mm_unpacklo_epi64(rows[0], rows[1]));
                for (sum, weights) in sums.iter_mut().zip(&mut weights) {
                    *sum = _mm256_add_epi32(*sum, _mm256_madd_epi16(samples, _mm256_loadu_si256(weights.cast())));
                    *weights = weights.add(TILE);
                }
            }
        }
        let pairs = _mm256_hadd_epi32(_mm256_hadd_epi32(sums[0], sums[1]), _mm256_hadd_epi32(sums[2], sums[2]));
        let sums = _mm_add_epi32(_mm256_castsi256_si128(pairs), _mm256_extracti128_si256::<1>(pairs));
        let sums = [_mm_extract_epi32::<0>(sums), _mm_extract_epi32::<1>(sums), _mm_extract_epi32::<2>(sums)];
        *out = spot.mixed_whole(sums, unit);
    }
}

/// A row of a rolled frame, 16 bits.
pub(super) fn rolled_real(_: Seen, plane: PlanePart<u16>, patches: Patches<f32>, track: SamplePath, out: &mut [f32]) {
    patches.check(plane, track, out.len());
    // SAFETY: `Seen` says that the machine has AVX2 and FMA, and the patches have been checked.
    unsafe { rolled_real_with(plane, patches, track, out) }
}

/// # Safety
/// `patches.check` has passed.
#[target_feature(enable = "avx2,fma")]
unsafe fn rolled_real_with(plane: PlanePart<u16>, patches: Patches<f32>, mut track: SamplePath, out: &mut [f32]) {
    let length = patches.length();
    for out in out {
        let spot = track.next(plane.stride, patches.phases);
        let mut sums = [_mm256_setzero_ps(); 3];
        // SAFETY: the check has seen that all of the patch is in the plane, and that all phases have their weights.
        unsafe {
            let mut weights = [patches.weights.as_ptr(); 3];
            for (weights, phase) in weights.iter_mut().zip(spot.phases) {
                *weights = weights.add(phase * length);
            }
            let patch = plane.samples.as_ptr().add(spot.at);
            for &tile in patches.tiles {
                let tile = patch.add(tile);
                for row in [tile, tile.add(plane.stride)] {
                    let samples = _mm256_cvtepi32_ps(_mm256_cvtepu16_epi32(_mm_loadu_si128(row.cast())));
                    for (sum, weights) in sums.iter_mut().zip(&mut weights) {
                        *sum = _mm256_fmadd_ps(samples, _mm256_loadu_ps(*weights), *sum);
                        *weights = weights.add(LANES);
                    }
                }
            }
        }
        let pairs = _mm256_hadd_ps(_mm256_hadd_ps(sums[0], sums[1]), _mm256_hadd_ps(sums[2], sums[2]));
        let halves = _mm_add_ps(_mm256_castps256_ps128(pairs), _mm256_extractf128_ps::<1>(pairs));
        let mut sums = [0.0; 4];
        // SAFETY: four floats are there to write.
        unsafe { _mm_storeu_ps(sums.as_mut_ptr(), halves) };
        *out = spot.mixed_real([sums[0], sums[1], sums[2]]);
    }
}

/// The last step to 8 bits: the safe twin, compiled for these instructions.
pub(super) fn to_codes(_: Seen, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
    // SAFETY: `Seen` says that the machine has AVX2.
    unsafe { to_codes_with(rows, finish, thresholds, out) }
}

#[target_feature(enable = "avx2")]
fn to_codes_with(rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u8]) {
    portable::to_codes(rows, finish, thresholds, out);
}

pub(super) fn to_codes10(_: Seen, rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u16]) {
    // SAFETY: `Seen` says that the machine has AVX2.
    unsafe { to_codes10_with(rows, finish, thresholds, out) }
}

#[target_feature(enable = "avx2")]
fn to_codes10_with(rows: [&[f32]; 3], finish: &ToCode, thresholds: &[u8; 64], out: &mut [u16]) {
    portable::to_codes10(rows, finish, thresholds, out);
}

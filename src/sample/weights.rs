//! One axis of a resampling: for every output sample the source samples it is made of, and their weights.
//!
//! The kernel is Lanczos-3, stretched to at least the distance between output samples. Two things set it apart from the
//! textbook form. Weights keep the *first moment* (`Σw = 1` and `Σw·x = 0` about the output sample), so a straight ramp
//! stays straight and an edge sits where the window says, at every sub-pixel phase; plain normalised Lanczos-3 is off
//! by up to 0.02 source pixels (its first moment follows from the kernel itself). And with [`Sharpness::Even`] the
//! kernel is never narrower than suits a slow move, so that sharpness doesn't come and go with the phase.
//!
//! Coordinates here are a plane's own sample indices: sample `i` sits at `i`.

use std::f64::consts::PI;
use std::ops::Range;

use crate::shot::Sharpness;

/// Lobes of the kernel each side of its middle.
pub(super) const LOBES: f64 = 3.0;

/// Values of 32 bits a SIMD register holds. A table's taps are padded with zeros to as many, or to a multiple of twice
/// as many.
pub(super) const LANES: usize = 8;

/// Where [`Sharpness::Even`] settles for a scale far below one source sample an output sample, and how gently it lets
/// go of that as the scale grows. At 1:1 they give a stretch of 1.19.
const EVEN_FLOOR: f64 = 1.15;
const EVEN_BEND: f64 = 0.18;

/// How many source samples the kernel's unit spans when output samples lie `scale` source samples apart.
///
/// `Full` is the larger of `scale` and 1. `Even` is a smooth maximum (a hyperbola) of `scale` and a floor, with no kink
/// for a zoom to cross.
pub(super) fn stretch(scale: f64, sharpness: Sharpness) -> f64 {
    match sharpness {
        Sharpness::Full => scale.max(1.0),
        Sharpness::Even | Sharpness::Positive => 0.5 * (scale + EVEN_FLOOR + (scale - EVEN_FLOOR).hypot(EVEN_BEND)),
    }
}

/// Output samples along one axis, in a plane's sample indices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OutputAxis {
    /// Where the first output sample sits.
    pub start: f64,
    /// From one output sample to the next.
    pub scale: f64,
    /// How many output samples.
    pub count: usize,
    /// How many source samples there are.
    pub length: usize,
}

/// How weights are held, which follows from the depth of the samples they are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Depth {
    /// Whole numbers: 8-bit samples are resampled in exact integers, so a constant stays exactly constant and every
    /// machine makes the same frame. Rounding the weights moves things by about 0.0001 source samples.
    #[default]
    Eight,
    /// `f32`, rounded to multiples of 2⁻²⁰, so that they add up to exactly 1.
    Sixteen,
}

/// The weights of one axis.
#[derive(Debug, Default)]
pub(super) struct Table {
    made_for: Option<(OutputAxis, Sharpness, Depth)>,
    last_used: u64,
    /// First source sample of each output sample, counted from `span.start`.
    firsts: Vec<u32>,
    /// How many of an output sample's taps may differ from zero.
    counts: Vec<u32>,
    /// Weights for 8-bit samples, `taps` an output sample, in units of 2⁻ᵇⁱᵗˢ.
    whole: Vec<i16>,
    bits: u32,
    /// Weights for 16-bit samples, `taps` an output sample.
    real: Vec<f32>,
    taps: usize,
    /// Source samples that are read.
    span: Range<usize>,
    scratch: Vec<f64>,
}

impl Table {
    /// What 8-bit tables' weights are in units of: 2⁻¹⁵ where they fit, else 2⁻¹⁴. Near 1:1 a weight may reach 1, at
    /// the still's edge a little more.
    const BITS: [u32; 2] = [15, 14];

    /// Units of 16-bit tables' weights.
    const BITS_REAL: u32 = 20;

    /// Source samples that any output sample is made of.
    pub(super) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Taps an output sample: [`LANES`], or a multiple of twice that.
    pub(super) fn taps(&self) -> usize {
        self.taps
    }

    /// First taps, counted from the start of [`Self::span`] and within it.
    pub(super) fn firsts(&self) -> &[u32] {
        &self.firsts
    }

    /// All weights of a table for 8-bit samples, [`Self::taps`] an output sample, zero-padded; none for 16 bits.
    pub(super) fn whole(&self) -> &[i16] {
        &self.whole
    }

    /// How many of those units make 1, as a power of two: 14 or 15.
    pub(super) fn bits(&self) -> u32 {
        self.bits
    }

    /// All weights of a table for 16-bit samples, [`Self::taps`] an output sample, zero-padded; none for 8 bits.
    pub(super) fn real(&self) -> &[f32] {
        &self.real
    }

    /// The first source sample of output sample `index` (in the plane), and where its weights are, unpadded.
    pub(super) fn of(&self, index: usize) -> (usize, Range<usize>) {
        let at = index * self.taps;
        (self.span.start + self.firsts[index] as usize, at..at + self.counts[index] as usize)
    }

    fn fill(&mut self, axis: OutputAxis, sharpness: Sharpness, depth: Depth) {
        let bits: &[u32] = if depth == Depth::Eight { &Self::BITS } else { &[Self::BITS_REAL] };
        let _fits = bits.iter().any(|&bits| self.try_fill(axis, sharpness, depth, bits));
        self.made_for = Some((axis, sharpness, depth));
    }

    /// Fills the table with weights in units of 2⁻ᵇⁱᵗˢ; says whether all of them fit.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        clippy::cast_precision_loss,
        reason = "indices of samples in a plane, held inside it; `as i16` saturates, which is looked out for"
    )]
    fn try_fill(&mut self, axis: OutputAxis, sharpness: Sharpness, depth: Depth, bits: u32) -> bool {
        let stretch = stretch(axis.scale, sharpness);
        let reach = LOBES * stretch;
        self.bits = bits;
        let taps = (2.0 * reach).floor() as usize + 1;
        self.taps = if taps <= LANES { LANES } else { taps.next_multiple_of(2 * LANES) };
        self.firsts.clear();
        self.counts.clear();
        self.whole.clear();
        self.real.clear();
        let weights = self.taps * axis.count;
        match depth {
            Depth::Eight => self.whole.resize(weights, 0),
            Depth::Sixteen => self.real.resize(weights, 0.0),
        }
        let (mut span_start, mut span_end) = (usize::MAX, 0);
        let units = f64::from(1_u32 << bits);
        let mut fits = true;
        let last = axis.length as i64 - 1;
        for index in 0..axis.count {
            let centre = axis.start + index as f64 * axis.scale;
            let (from, to) = ((centre - reach).ceil() as i64, (centre + reach).floor() as i64);
            let whole = from >= 0 && to <= last;
            let from = from.clamp(0, last);
            let to = to.clamp(from, last);
            let first = from as usize;
            let count = (to - from) as usize + 1;
            let positive = sharpness == Sharpness::Positive;
            kernel_weights(&mut self.scratch, from as f64 - centre, count, stretch, (whole, positive));
            round_to_units(&mut self.scratch, from as f64 - centre, units);
            let at = index * self.taps..index * self.taps + count;
            match depth {
                Depth::Eight => {
                    for (weight, &units) in self.whole[at].iter_mut().zip(&self.scratch) {
                        *weight = units as i16;
                        fits &= f64::from(*weight) == units;
                    }
                }
                Depth::Sixteen => {
                    for (weight, &whole) in self.real[at].iter_mut().zip(&self.scratch) {
                        *weight = (whole / units) as f32;
                    }
                }
            }
            (span_start, span_end) = (span_start.min(first), span_end.max(first + count));
            self.firsts.push(first as u32);
            self.counts.push(count as u32);
        }
        self.span = span_start.min(span_end)..span_end;
        for first in &mut self.firsts {
            *first -= self.span.start as u32;
        }
        fits
    }
}

/// Fills `weights` with those of `count` samples at `offset`, `offset + 1`, … from the output sample.
///
/// Lanczos-3 is `sinc(x) · sinc(x / 3)`; with `u = πx/3` and `sin 3u = 3 sin u − 4 sin³ u` that is
/// `(sin u / u)² · (1 − 4/3 · sin² u)`, and `u` moves by the same angle from tap to tap, so one sine and cosine an
/// output sample serve all its taps. The first moment is taken out with `g = h · (x − mean)`, `h = cos²(u / 2)`:
/// smooth, odd about the taps' mean, zero at both ends. Of the `positive` kernel
/// only the middle lobe is left, and `h` is the kernel itself. Where the still's edge cuts the kernel short (`!whole`) only
/// the sum is kept.
#[expect(clippy::cast_precision_loss, reason = "a handful of taps")]
fn kernel_weights(weights: &mut Vec<f64>, offset: f64, count: usize, stretch: f64, (whole, positive): (bool, bool)) {
    let turn = PI / LOBES / stretch;
    let (turn_sin, turn_cos) = turn.sin_cos();
    let (mut sin, mut cos) = (offset * turn).sin_cos();
    weights.clear();
    // Sums over the taps of w, w·x, h, h·x, h·x².
    let (mut sum, mut moment) = (0.0, 0.0);
    let (mut window, mut window_1, mut window_2) = (0.0, 0.0, 0.0);
    for tap in 0..count {
        let x = offset + tap as f64;
        let u = x * turn;
        let squared = sin * sin;
        let ratio = if u.abs() < 1e-4 { 1.0 } else { squared / (u * u) };
        let mut weight = ratio * (1.0 - 4.0 / 3.0 * squared);
        let mut h = 0.5 * (1.0 + cos);
        if positive {
            weight = if x.abs() < stretch { weight.max(0.0) } else { 0.0 };
            h = weight;
        }
        sum += weight;
        moment += weight * x;
        window += h;
        window_1 += h * x;
        window_2 += h * x * x;
        weights.push(weight);
        (sin, cos) = (sin * turn_cos + cos * turn_sin, cos * turn_cos - sin * turn_sin);
    }
    if sum < 0.35 * stretch {
        // Too far beyond the last sample for what is left of the kernel to mean anything: the nearest sample.
        let nearest = if offset > 0.0 { 0 } else { count - 1 };
        weights.fill(0.0);
        weights[nearest] = 1.0;
        return;
    }
    let mean = window_1 / window;
    let spread = window_2 - window_1 * mean;
    let tilt = if whole && spread > 0.0 { moment / sum / spread } else { 0.0 };
    let (mut sin, mut cos) = (offset * turn).sin_cos();
    for (tap, weight) in weights.iter_mut().enumerate() {
        let x = offset + tap as f64;
        let h = if positive { *weight } else { 0.5 * (1.0 + cos) };
        *weight = *weight / sum - tilt * h * (x - mean);
        (sin, cos) = (sin * turn_cos + cos * turn_sin, cos * turn_cos - sin * turn_sin);
    }
}

/// Rounds weights to whole units, `units` of which make 1, with a sum of exactly 1; what is left over goes to the tap
/// nearest the output sample.
fn round_to_units(weights: &mut [f64], offset: f64, units: f64) {
    let mut left = units;
    for weight in weights.iter_mut() {
        *weight = (*weight * units).round();
        left -= *weight;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "held inside the taps"
    )]
    let nearest = (-offset).round().clamp(0.0, (weights.len() - 1) as f64) as usize;
    weights[nearest] += left;
}

/// Tables kept between frames: a window that doesn't move along an axis costs nothing there.
#[derive(Debug, Default)]
pub(super) struct Tables {
    tables: Vec<Table>,
    clock: u64,
}

impl Tables {
    /// Enough for six axes of each of five deliveries.
    const KEPT: usize = 32;

    /// Where to [`get`](Self::get) the table of this axis from; made anew, in the place of the one longest unused,
    /// unless it is there already.
    pub(super) fn find(&mut self, axis: OutputAxis, sharpness: Sharpness, depth: Depth) -> usize {
        self.clock += 1;
        let wanted = Some((axis, sharpness, depth));
        let found = self.tables.iter().position(|table| table.made_for == wanted).unwrap_or_else(|| {
            let place = if self.tables.len() < Self::KEPT {
                self.tables.push(Table::default());
                self.tables.len() - 1
            } else {
                let oldest = self.tables.iter().enumerate().min_by_key(|(_, table)| table.last_used);
                oldest.map_or(0, |(place, _)| place)
            };
            self.tables[place].fill(axis, sharpness, depth);
            place
        });
        self.tables[found].last_used = self.clock;
        found
    }

    /// Where the tables' buffers are, for the test that they stay there.
    #[cfg(test)]
    pub(super) fn buffers(&self) -> Vec<usize> {
        let buffers = |table: &Table| {
            let Table { firsts, counts, whole, real, scratch, .. } = table;
            [
                firsts.as_ptr().addr(),
                counts.as_ptr().addr(),
                whole.as_ptr().addr(),
                real.as_ptr().addr(),
                scratch.as_ptr().addr(),
            ]
        };
        self.tables.iter().flat_map(buffers).collect()
    }

    /// The table at a place [`find`](Self::find) gave since.
    pub(super) fn get(&self, place: usize) -> &Table {
        &self.tables[place]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// How far from an output sample its source samples may lie, in source samples.
    fn reach(scale: f64, sharpness: Sharpness) -> f64 {
        LOBES * stretch(scale, sharpness)
    }

    /// `sinc(x) · sinc(x / 3)`, evaluated with 40 digits and rounded to 12.
    const LANCZOS_3: [(f64, f64); 6] = [
        (0.0, 1.0),
        (0.25, 0.890_067_051_71),
        (0.5, 0.607_927_101_854),
        (0.75, 0.270_189_823_046),
        (1.5, -0.135_094_911_523),
        (2.5, 0.024_317_084_074_2),
    ];

    fn table(axis: OutputAxis, sharpness: Sharpness, depth: Depth) -> Table {
        let mut table = Table::default();
        table.fill(axis, sharpness, depth);
        table
    }

    #[test]
    fn the_kernel_is_lanczos_3() {
        let lanczos =
            |x: f64| if x == 0.0 { 1.0 } else { 3.0 * (PI * x).sin() * (PI * x / 3.0).sin() / (PI * x).powi(2) };
        for (x, wanted) in LANCZOS_3 {
            // The whole kernel at this phase, divided by its sum, which is not quite 1.
            let first = x.fract() - 3.0;
            let mut weights = Vec::new();
            kernel_weights(&mut weights, first, 6, 1.0, (false, false));
            let sum: f64 = (0..6).map(|tap| lanczos(first + f64::from(tap))).sum();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 2")]
            let seen = weights[x.floor() as usize + 3] * sum;
            assert!((seen - wanted).abs() < 1e-11, "{x}: {seen}");
        }
    }

    /// One row resampled by `fast_image_resize`, Lanczos-3 of 32-bit floats from a crop box with fractions.
    fn peer(row: &[f32], start: f64, length: f64, count: u32) -> Vec<f32> {
        use fast_image_resize::images::Image;
        use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
        let bytes = row.iter().flat_map(|value| value.to_ne_bytes()).collect();
        let source = Image::from_vec_u8(u32::try_from(row.len()).unwrap(), 1, bytes, PixelType::F32).unwrap();
        let mut resized = Image::new(count, 1, PixelType::F32);
        let options =
            ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Lanczos3)).crop(start, 0.0, length, 1.0);
        Resizer::new().resize(&source, &mut resized, &options).unwrap();
        resized.buffer().as_chunks::<4>().0.iter().map(|bytes| f32::from_ne_bytes(*bytes)).collect()
    }

    #[test]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "made-up samples"
    )]
    fn without_the_moment_weights_are_those_of_an_exact_peer_and_with_it_little_else() {
        let mut state = 3_u32;
        let row: Vec<f32> = (0..400)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 24) as f32
            })
            .collect();
        for scale in [0.6, 1.0, 1.3, 2.7, 6.1] {
            for start in [0.0, 13.37, 400.0 - 60.0 * scale] {
                let wanted = peer(&row, start, 60.0 * scale, 60);
                let stretch = stretch(scale, Sharpness::Full);
                let reach = LOBES * stretch;
                let (mut plain_worst, mut kept_worst) = (0.0_f64, 0.0_f64);
                for (index, &wanted) in wanted.iter().enumerate() {
                    let centre = start + (index as f64 + 0.5) * scale - 0.5;
                    let (low, high) = ((centre - reach).ceil(), (centre + reach).floor());
                    let whole = low >= 0.0 && high <= 399.0;
                    let (from, to) = (low.max(0.0), high.min(399.0));
                    let taps = &row[from as usize..=to as usize];
                    let mut weights = Vec::new();
                    let mut sum = |whole| {
                        kernel_weights(&mut weights, from - centre, taps.len(), stretch, (whole, false));
                        weights.iter().zip(taps).map(|(weight, &tap)| weight * f64::from(tap)).sum::<f64>()
                    };
                    plain_worst = plain_worst.max((sum(false) - f64::from(wanted)).abs());
                    kept_worst = kept_worst.max((sum(whole) - f64::from(wanted)).abs());
                }
                // Of 255: what 32-bit floats round off; and what putting white noise back by up to 0.02 samples comes
                // to, which wide kernels hardly need.
                assert!(plain_worst < 1e-4, "{plain_worst} at {scale} from {start}");
                assert!(kept_worst < 1.5 / stretch.powi(4), "{kept_worst} at {scale} from {start}");
            }
        }
    }

    #[test]
    fn even_sharpness_has_a_floor_and_no_kink() {
        assert!((1.17..1.21).contains(&stretch(1.0, Sharpness::Even)));
        let mut last = stretch(0.1, Sharpness::Even);
        assert!(last >= 1.15);
        let mut last_slope = 0.0;
        for step in 1..4000 {
            let scale = 0.1 + f64::from(step) * 0.001;
            let now = stretch(scale, Sharpness::Even);
            let slope = (now - last) / 0.001;
            assert!(now > scale && (0.0..=1.0).contains(&slope) && (slope - last_slope).abs() < 0.01, "{scale}");
            (last, last_slope) = (now, slope);
        }
        assert!((last - 4.1).abs() < 0.01);
    }

    fn axes() -> impl Strategy<Value = (OutputAxis, Sharpness, Depth)> {
        let sharpness = prop_oneof![Just(Sharpness::Even), Just(Sharpness::Full), Just(Sharpness::Positive)];
        let depth = prop_oneof![Just(Depth::Eight), Just(Depth::Sixteen)];
        (0.05..6.0_f64, 0.0..1.0_f64, 1..60_usize, 1..400_usize, sharpness, depth).prop_map(
            |(scale, part, count, length, sharpness, depth)| {
                #[expect(clippy::cast_precision_loss, reason = "small numbers")]
                let (many, long) = (count as f64, length as f64);
                let scale = scale.min(long / many);
                let start = -0.5 + part * (long - many * scale) + 0.5 * scale;
                (OutputAxis { start, scale, count, length }, sharpness, depth)
            },
        )
    }

    proptest! {
        #[test]
        #[expect(clippy::cast_precision_loss, reason = "small numbers")]
        fn weights_add_up_to_one_and_keep_their_place((axis, sharpness, depth) in axes()) {
            let table = table(axis, sharpness, depth);
            let reach = reach(axis.scale, sharpness);
            prop_assert!(table.span().end <= axis.length && !table.span().is_empty());
            for index in 0..axis.count {
                let (first, at) = table.of(index);
                let unit = f64::from(1_u32 << table.bits()).recip();
                let weights: Vec<f64> = match depth {
                    Depth::Eight => table.whole()[at].iter().map(|&weight| f64::from(weight) * unit).collect(),
                    Depth::Sixteen => table.real()[at].iter().map(|&weight| f64::from(weight)).collect(),
                };
                // The bound that keeps the integer kernels within 32 bits.
                prop_assert!(weights.iter().map(|weight| weight.abs()).sum::<f64>() < 1.99);
                let centre = axis.start + index as f64 * axis.scale;
                prop_assert!(weights.iter().all(|weight| weight.is_finite() && weight.abs() < 2.0));
                prop_assert!(first >= table.span().start && first + weights.len() <= table.span().end);
                let sum: f64 = weights.iter().sum();
                prop_assert_eq!(sum, 1.0);
                if centre - reach >= 0.0 && centre + reach <= axis.length as f64 - 1.0 {
                    let away = |tap: usize| (first + tap) as f64 - centre;
                    let moment: f64 = weights.iter().enumerate().map(|(tap, &weight)| weight * away(tap)).sum();
                    // Half a unit a tap, at worst all one way.
                    let bar = 0.5 * unit * weights.len() as f64 * (reach + 1.0);
                    prop_assert!(moment.abs() < bar, "{} of {}", moment, bar);
                }
            }
        }
    }

    #[test]
    fn a_table_is_made_once_for_an_axis_that_stands_still() {
        let axis = |start: f64| OutputAxis { start, scale: 1.3, count: 20, length: 90 };
        let mut tables = Tables::default();
        let first = tables.find(axis(3.0), Sharpness::Even, Depth::Eight);
        for step in 0..100 {
            tables.find(axis(4.0 + f64::from(step)), Sharpness::Even, Depth::Eight);
            assert_eq!(tables.find(axis(3.0), Sharpness::Even, Depth::Eight), first);
        }
        assert_eq!(tables.tables.len(), Tables::KEPT);
        assert_eq!(tables.get(first).made_for, Some((axis(3.0), Sharpness::Even, Depth::Eight)));
    }
}

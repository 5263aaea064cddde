//! Frames that gather light: by channel the brightest, the darkest or the median of what one window shows of many stills.
//!
//! Every still is resampled as if it were the only one and laid on both grids of the frame as R'G'B'. The brightest and
//! the darkest need one such sheet, whatever the number of stills. A median needs all of them.
//!
//! ## Decisions
//!
//! - By channel and in linear light, as stacks of stills are made in the trade (common practice, no source): by luminance
//!   a frame would take whole pixels from one still or another, and noise would choose between them. sRGB's curve only
//!   rises, so the brightest light is the brightest code, and nothing is converted for it. A median of an even number
//!   of stills is the mean of the two middle ones, in linear light unless a script asks for encoded values.
//! - A median is exact for codes of 16 bits: its samples are R'G'B' of 16 bits, from 0 to 1. It is found by counting, bit
//!   by bit from the highest: how many samples are below a code says whether the median is. That takes 16 counts
//!   whatever the samples are, in steps that a processor does for many pixels at once.
//! - A sheet of the brightest takes 15 bytes a pixel of 4:2:0, 12 of R'G'B' and 24 of 4:4:4, a sheet of a median half of
//!   that. A median's sheets take [`MEDIAN_BYTES`] at most.

use std::sync::Arc;

use super::colour::{Mix, Target};
use super::light::Curve;
use super::{Grid, PaintError, Painter, ranges};
use crate::geom::Window;
use crate::picture::{Chroma, Frame, FrameKind, Picture};
use crate::shot::{Codec, Gather, Light, Sharpness};
use crate::units::Size;

/// The most bytes that the samples of one median take.
pub const MEDIAN_BYTES: u64 = 1 << 30;

/// Pixels of a row that are counted at once: with their samples they stay in a processor's own memory.
const AT_ONCE: usize = 256;

/// How a channel's value is kept: as it is, or as a code of 16 bits.
pub trait Sample: Copy + Default + Send + 'static {
    /// From R'G'B', 0 to 1 and beyond.
    fn of(value: f32) -> Self;
}

impl Sample for f32 {
    fn of(value: f32) -> Self {
        value
    }
}

impl Sample for u16 {
    fn of(value: f32) -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 65,535")]
        let code = (value.clamp(0.0, 1.0) * 65_535.0 + 0.5) as Self;
        code
    }
}

/// What a window shows of a still, or what several show, as R', G' and B' on each grid of a frame.
#[derive(Debug)]
pub struct Sheets<T> {
    kind: FrameKind,
    size: Size,
    /// The luma grid and, of Y'CbCr, the chroma grid: rows of one channel after those of another.
    grids: Vec<[Vec<T>; 3]>,
}

/// Samples of all grids and channels that a codec's frame comes to, at the most.
fn samples(size: Size, codec: &Codec) -> u64 {
    let more_chroma = matches!(codec, Codec::Prores(_) | Codec::Dnxhr | Codec::Ffv1(_));
    if more_chroma { 6 * size.pixels() } else { 3 * (size.pixels() + size.pixels().div_ceil(4)) }
}

/// Bytes of a sheet of the brightest or the darkest, of a codec's frame, at the most.
#[must_use]
pub fn bytes_of_extremes(size: Size, codec: &Codec) -> u64 {
    4 * samples(size, codec)
}

/// Bytes of a still's sheet in a median, of a codec's frame, at the most.
#[must_use]
pub fn bytes_in_a_median(size: Size, codec: &Codec) -> u64 {
    2 * samples(size, codec)
}

/// The most stills that a median of a codec's frames of this size takes, at least two.
#[must_use]
pub fn most_in_a_median(size: Size, codec: &Codec) -> usize {
    let most = (MEDIAN_BYTES / bytes_in_a_median(size, codec)).clamp(2, u64::from(u16::MAX));
    usize::try_from(most).unwrap_or(2)
}

impl<T: Sample> Sheets<T> {
    /// Room for a frame of this kind and size: the one place where their buffers are allocated.
    ///
    /// # Panics
    /// For [`FrameKind::Planes`], which is one still's alone.
    #[must_use]
    pub fn new(kind: FrameKind, size: Size) -> Self {
        assert_ne!(kind, FrameKind::Planes, "a frame of a still's own planes gathers nothing");
        let grid = |size: Size| {
            let samples = size.width as usize * size.height as usize;
            std::array::from_fn(|_| vec![T::default(); samples])
        };
        let chroma = kind.chroma().map(|chroma| grid(chroma.size(size)));
        Self { kind, size, grids: std::iter::once(grid(size)).chain(chroma).collect() }
    }

    /// Takes another's samples over, of the same kind and size.
    pub fn copy_from(&mut self, other: &Self) {
        for (own, other) in self.grids.iter_mut().flatten().zip(other.grids.iter().flatten()) {
            own.copy_from_slice(other);
        }
    }

    fn target(&self) -> Target {
        if self.kind.chroma().is_some() { Target::Differences709 } else { Target::Rgb }
    }
}

impl Sheets<f32> {
    /// Takes the brighter, or the darker, of its own light and another's, of the same kind and size.
    ///
    /// # Panics
    /// For a median, which is no matter of two.
    pub fn gather(&mut self, other: &Self, by: Gather) {
        for (own, other) in self.grids.iter_mut().flatten().zip(other.grids.iter().flatten()) {
            match by {
                Gather::Brightest => take(own, other, |one, other| if other > one { other } else { one }),
                Gather::Darkest => take(own, other, |one, other| if other < one { other } else { one }),
                Gather::Median => panic!("a median is counted over all of its stills"),
            }
        }
    }
}

#[inline]
fn take(own: &mut [f32], other: &[f32], pick: impl Fn(f32, f32) -> f32) {
    own.iter_mut().zip(other).for_each(|(own, other)| *own = pick(*own, *other));
}

impl Painter {
    /// Lays what `window` shows of `picture` on sheets, in place of what they held.
    ///
    /// # Errors
    /// As [`Painter::paint`].
    pub fn lay<T: Sample>(
        &mut self,
        picture: &Picture,
        window: Window,
        sharpness: Sharpness,
        sheets: &mut Sheets<T>,
    ) -> Result<(), PaintError> {
        let conversion = self.conversions.find(picture)?;
        let by_rgb = self.by_rgb(conversion);
        let to_rgb = if by_rgb { Mix::of_rgb(Target::Rgb) } else { Mix::of_samples(picture, Target::Rgb) };
        let sums: [_; 3] = std::array::from_fn(|channel| to_rgb.scaled(channel, 1.0, 0.0));
        let chroma = sheets.kind.chroma().unwrap_or(Chroma::Full);
        let grids = [Grid::luma(window, sheets.size), Grid::chroma(window, sheets.size, chroma)];
        for (sheet, grid) in sheets.grids.iter_mut().zip(grids) {
            let across = grid.across.count;
            self.each_row(picture, grid, sharpness, to_rgb.needs(&[0, 1, 2]), conversion, |row, [a, b, c]| {
                for (channel, (by, add)) in sheet.iter_mut().zip(&sums) {
                    let out = &mut channel[row * across..][..across];
                    for (out, ((a, b), c)) in out.iter_mut().zip(a.iter().zip(b).zip(c)) {
                        *out = T::of(add + by[0] * a + by[1] * b + by[2] * c);
                    }
                }
            })?;
        }
        Ok(())
    }

    /// Fills a frame of the sheets' kind and size with what they show.
    ///
    /// # Panics
    /// Where the frame is of another kind or size.
    pub fn print_sheets(&mut self, sheets: &Sheets<f32>, frame: &mut Frame) {
        assert_eq!(frame.size, sheets.size, "the sheets' own frame");
        let sums = sums_of(sheets);
        self.write_frame(frame, &mut |grid, at, rows| {
            let rgb = sheets.grids[grid].each_ref().map(|channel| &channel[at.clone()]);
            codes(rgb, &sums[grid], rows);
        });
    }

    /// Fills a frame with the median of several stills' samples, which are of its kind and size: of an even number with
    /// the mean of the two middle ones, of their light or of their codes.
    ///
    /// # Panics
    /// Where there are no stills, or more than 65,535, or the frame is of another kind or size.
    pub fn print_median(&mut self, stills: &[Arc<Sheets<u16>>], light: Light, frame: &mut Frame) {
        let first = &stills[0];
        assert_eq!(frame.size, first.size, "the sheets' own frame");
        let sums = sums_of(first);
        let (mut counts, mut medians) = (Counts::default(), [const { Vec::new() }; 3]);
        self.write_frame(frame, &mut |grid, at, rows| {
            for (channel, medians) in medians.iter_mut().enumerate() {
                medians.clear();
                for start in at.clone().step_by(AT_ONCE) {
                    let part = start..(start + AT_ONCE).min(at.end);
                    let samples = stills.iter().map(|still| &still.grids[grid][channel][part.clone()]);
                    counts.median(samples, stills.len(), light, medians);
                }
            }
            codes(medians.each_ref().map(Vec::as_slice), &sums[grid], rows);
        });
    }
}

/// What R', G' and B' are summed to, by grid and code.
type Sums = Vec<Vec<([f32; 3], f32)>>;

fn sums_of<T: Sample>(sheets: &Sheets<T>) -> Sums {
    let (outs, mix) = (ranges(sheets.kind), Mix::of_rgb(sheets.target()));
    let sums = |outs: &[super::CodeRange]| outs.iter().map(|out| out.sum(&mix)).collect();
    if sheets.kind.chroma().is_some() { vec![sums(&outs[..1]), sums(&outs[1..])] } else { vec![sums(&outs)] }
}

/// Codes before the last step of a row of R'G'B'.
fn codes([red, green, blue]: [&[f32]; 3], sums: &[([f32; 3], f32)], rows: &mut [Vec<f32>; 3]) {
    for (row, (by, add)) in rows.iter_mut().zip(sums) {
        row.clear();
        row.extend(
            red.iter()
                .zip(green)
                .zip(blue)
                .map(|((red, green), blue)| add + by[0] * red + by[1] * green + by[2] * blue),
        );
    }
}

/// What a median is counted in.
#[derive(Debug, Default)]
struct Counts {
    found: Vec<u16>,
    below: Vec<u16>,
    next: Vec<u16>,
}

impl Counts {
    /// Adds the medians of some pixels of one channel: `samples` are each still's.
    #[expect(clippy::cast_possible_truncation, reason = "65,535 stills at the most")]
    fn median<'a>(
        &mut self,
        samples: impl Iterator<Item = &'a [u16]> + Clone,
        stills: usize,
        light: Light,
        medians: &mut Vec<f32>,
    ) {
        let Self { found, below, next } = self;
        let rank = ((stills - 1) / 2) as u16;
        let pixels = samples.clone().next().map_or(0, <[u16]>::len);
        found.clear();
        found.resize(pixels, 0);
        // The highest code that no more than `rank` samples are below is the sample of that rank.
        for bit in (0..16).rev() {
            below.clear();
            below.resize(pixels, 0);
            for samples in samples.clone() {
                for ((below, found), sample) in below.iter_mut().zip(&*found).zip(samples) {
                    *below += u16::from(*sample < *found | 1 << bit);
                }
            }
            for (found, below) in found.iter_mut().zip(&*below) {
                *found |= u16::from(*below <= rank) << bit;
            }
        }
        let value = |code: u16| f32::from(code) / 65_535.0;
        if stills % 2 == 1 {
            medians.extend(found.iter().map(|code| value(*code)));
            return;
        }
        // The sample of the next rank: the same code again, or the lowest one above it.
        below.clear();
        below.resize(pixels, 0);
        next.clear();
        next.resize(pixels, u16::MAX);
        for samples in samples {
            for (((below, next), found), sample) in below.iter_mut().zip(&mut *next).zip(&*found).zip(samples) {
                *below += u16::from(*sample <= *found);
                *next = (*next).min(if *sample > *found { *sample } else { u16::MAX });
            }
        }
        let curve = Curve::get();
        medians.extend(found.iter().zip(&*below).zip(&*next).map(|((found, below), next)| {
            let other = if *below > rank + 1 { *found } else { *next };
            if *found == other {
                return value(other);
            }
            match light {
                Light::Linear => curve.value_of(0.5 * (curve.light_of(value(*found)) + curve.light_of(value(other)))),
                Light::Encoded => 0.5 * (value(*found) + value(other)),
            }
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn medians(stills: &[Vec<u16>], light: Light) -> Vec<f32> {
        let mut out = Vec::new();
        Counts::default().median(stills.iter().map(Vec::as_slice), stills.len(), light, &mut out);
        out
    }

    proptest! {
        #[test]
        fn a_median_that_is_counted_is_the_middle_of_the_sorted(
            stills in prop::collection::vec(prop::collection::vec(prop_oneof![any::<u16>(), 0..4_u16, 65_532..=u16::MAX], 9), 1..40)
        ) {
            let found = medians(&stills, Light::Encoded);
            for (pixel, found) in found.iter().enumerate() {
                let mut sorted: Vec<u16> = stills.iter().map(|still| still[pixel]).collect();
                sorted.sort_unstable();
                let (low, high) = (sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
                let due = (f64::from(low) + f64::from(high)) / 2.0;
                prop_assert!((f64::from(*found) * 65_535.0 - due).abs() < 0.01, "{found} {due}");
            }
        }
    }

    // IEC 61966-2-1: black and white are half the light of white together, code 187.5 of 255.
    #[test]
    fn the_two_middle_ones_of_an_even_number_are_averaged_as_light() {
        let code = |light| medians(&[vec![0], vec![u16::MAX]], light)[0] * 255.0;
        assert!((code(Light::Linear) - 187.5).abs() < 0.1 && (code(Light::Encoded) - 127.5).abs() < 0.1);
        assert_eq!(medians(&[vec![7], vec![7], vec![7], vec![9]], Light::Linear), [7.0 / 65_535.0]);
    }

    #[test]
    fn as_many_stills_are_in_a_median_as_a_gibibyte_holds() {
        assert_eq!(most_in_a_median(Size::new(1920, 1080), &Codec::PNG), 69);
        assert_eq!(most_in_a_median(Size::new(16_384, 16_384), &Codec::PNG), 2);
    }
}

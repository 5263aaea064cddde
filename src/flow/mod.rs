//! Dense optical flow: where everything that one picture shows has gone in another, and what lies between the two.
//!
//! In come two lightnesses on one grid; out come, for a moment between them, a way for every pixel and how far it is to
//! be trusted. The flow is measured both ways by dense inverse search (`search`: Kroeger, Timofte, Dai and Van Gool,
//! *Fast Optical Flow using Dense Inverse Search*, ECCV 2016, doi:10.1007/978-3-319-46493-0_29), coarse to fine over a
//! pyramid (`level`), and carried to the moment as Baker, Scharstein, Lewis, Roth, Black and Szeliski do it (`moment`:
//! *A Database and Evaluation Methodology for Optical Flow*, IJCV 92, 2011, doi:10.1007/s11263-010-0390-2).
//!
//! The camera stands still, so most of a picture does not move: nothing that agrees in both pictures to within their
//! noise is ever given a flow. Pixel `i` is at `i` here, and lengths are pixels of the grid they are measured on.
//!
//! ## Decisions
//!
//! - Words: *flow* is where everything one still shows has gone in another, in pixels. *Confidence* is how far the flow
//!   at a pixel is believed, 0 to 1; the rest is the mean. An *invented* frame shows what was between two stills, made
//!   by their flow.
//! - No variational refinement, and half the frame's size from 256 pixels on: on real footage that found more than the
//!   full size did, at a quarter of the cost.
//! - Confidence is the product of two doubts: forward and backward flow disagree, or the stills are no more alike along
//!   the way than in place (over 5 × 5 pixels, a brightness change of the whole picture set aside, less the noise).
//!   Without confidence the frame is the mean, to the bit, so still ground is never worse than `"mix"`.

mod level;
mod moment;
mod search;
mod warp;

pub use warp::{Lattice, warp_row};

use std::ops::Range;

use crate::units::Size;
use level::Level;
use moment::Moment;
use search::{Field, Search};

/// Pictures at least this wide or high are measured at half their size: what moves there is larger than a patch, and a
/// way is still found to a fraction of a pixel.
const HALVED_FROM: u32 = 256;

/// The shorter side of the coarsest pictures is at least this long.
const COARSEST: usize = 12;

/// Levels at the most: what moves by a quarter of the largest frame's width is found.
const LEVELS: usize = 8;

/// Two pictures, the flow between them, and what lies between them at a moment. Owns every buffer, and allocates only
/// where a picture is larger than any before.
#[derive(Debug, Default)]
pub struct Flow {
    /// How many pixels of the pictures lie in one of the finest level, along one axis: 1 or 2.
    step: usize,
    levels: usize,
    whole: Level,
    first: [Level; LEVELS],
    second: [Level; LEVELS],
    search: Search,
    forwards: Field,
    backwards: Field,
    moment: Moment,
    unlike: Unlike,
}

/// What two pictures differ by where nothing moves.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(crate) struct Unlike {
    /// How much lighter the first is, by the median.
    pub(crate) lighter: f32,
    /// The deviation of what is left, from its lower quarter: noise, where at least half of the picture stands still.
    pub(crate) noise: f32,
}

impl Flow {
    /// No pictures yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes two pictures of one size in, lightness from 0 to 255 row by row, and measures the flow both ways.
    ///
    /// # Panics
    /// If a picture does not have the number of samples that its size says.
    pub fn measure(&mut self, size: Size, first: &[f32], second: &[f32]) {
        let (width, height) = (size.width as usize, size.height as usize);
        assert!(first.len() == width * height && second.len() == width * height, "pictures of their size");
        self.step = if size.width.max(size.height) >= HALVED_FROM { 2 } else { 1 };
        self.levels = 0;
        for (picture, pyramid) in [(first, &mut self.first), (second, &mut self.second)] {
            if self.step == 2 {
                self.whole.fill(width, height, picture);
                self.whole.halve(&mut pyramid[0]);
            } else {
                pyramid[0].fill(width, height, picture);
            }
            let mut levels = 1;
            while levels < LEVELS && pyramid[levels - 1].shorter() >= 2 * COARSEST {
                let (finer, coarser) = pyramid.split_at_mut(levels);
                finer[levels - 1].halve(&mut coarser[0]);
                levels += 1;
            }
            self.levels = levels;
        }
        self.unlike = Unlike::of(&self.first[0], &self.second[0]);
        let (first, second) = (&self.first[..self.levels], &self.second[..self.levels]);
        self.search.run(first, second, self.unlike.noise, &mut self.forwards);
        self.search.run(second, first, self.unlike.noise, &mut self.backwards);
    }

    /// Works out what is between the two pictures at a moment, from 0 (the first) to 1 (the second).
    pub fn settle(&mut self, moment: f32) {
        self.moment.settle([&self.first[0], &self.second[0]], [&self.forwards, &self.backwards], self.unlike, moment);
    }

    /// Where a pixel of the first picture is gone in the second, in the pictures' pixels: across and down.
    #[must_use]
    pub fn forwards(&self, x: f32, y: f32) -> [f32; 2] {
        self.whole_way(&self.forwards, x, y)
    }

    /// Where a pixel of the second picture came from in the first.
    #[must_use]
    pub fn backwards(&self, x: f32, y: f32) -> [f32; 2] {
        self.whole_way(&self.backwards, x, y)
    }

    fn whole_way(&self, field: &Field, x: f32, y: f32) -> [f32; 2] {
        #[expect(clippy::cast_precision_loss, reason = "1 or 2")]
        let step = self.step.max(1) as f32;
        let [u, v] = field.sample((x + 0.5) / step - 0.5, (y + 0.5) / step - 0.5);
        [u * step, v * step]
    }

    /// The places of a row of the pictures outside of which nothing is to be trusted; none where nothing is at all.
    fn span(&self, y: f32) -> Option<Range<f32>> {
        #[expect(clippy::cast_precision_loss, reason = "1 or 2")]
        let step = self.step.max(1) as f32;
        let Range { start, end } = self.moment.span((y + 0.5) / step - 0.5)?;
        Some((start + 0.5) * step - 0.5..(end + 0.5) * step - 0.5)
    }

    /// At a place of the pictures, at the moment settled: the way of what is there, from the first picture to the
    /// second, and how far it is to be trusted, 0 to 1. Where that is 0 there is nothing better than the mean of both.
    #[must_use]
    pub fn way(&self, x: f32, y: f32) -> Way {
        #[expect(clippy::cast_precision_loss, reason = "1 or 2")]
        let step = self.step.max(1) as f32;
        let (u, v, confidence) = self.moment.sample((x + 0.5) / step - 0.5, (y + 0.5) / step - 0.5);
        Way { across: u * step, down: v * step, confidence }
    }
}

/// What is known of a pixel between two pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Pixels it goes to the right from the first picture to the second.
    pub across: f32,
    /// Pixels it goes down.
    pub down: f32,
    /// From 0, where both pictures do not agree about it, to 1.
    pub confidence: f32,
}

impl Unlike {
    /// Noise is never taken to be more, in codes: a picture all of which moves has no still part to tell it by.
    const NOISIEST: f32 = 3.0;

    /// Nor less: files are rounded to whole codes.
    const QUIETEST: f32 = 0.5;

    fn of(first: &Level, second: &Level) -> Self {
        const A_CODE: f32 = 16.0;
        const MIDDLE: usize = 64 * 16;
        let mut signed = [0_u32; 2 * MIDDLE + 1];
        let differences =
            || (0..first.height).flat_map(|y| first.row(y).iter().zip(second.row(y)).map(|(one, other)| one - other));
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "held in the table"
        )]
        let bin = |value: f32| (value * A_CODE + MIDDLE as f32 + 0.5).clamp(0.0, 2.0 * MIDDLE as f32) as usize;
        for difference in differences() {
            signed[bin(difference)] += 1;
        }
        let count = first.width * first.height;
        #[expect(clippy::cast_precision_loss, reason = "2,049 entries")]
        let value = |bin: usize| (bin as f32 - MIDDLE as f32) / A_CODE;
        let lighter = value(rank(&signed, count / 2));
        let mut apart = [0_u32; 2 * MIDDLE + 1];
        for difference in differences() {
            apart[bin((difference - lighter).abs())] += 1;
        }
        // Of normal noise a quarter lies within 0.3186 deviations.
        let noise = (value(rank(&apart, count / 4)) / 0.3186).clamp(Self::QUIETEST, Self::NOISIEST);
        Self { lighter, noise }
    }
}

/// The entry that holds the value of a rank.
fn rank(counts: &[u32], rank: usize) -> usize {
    let mut before = 0;
    counts
        .iter()
        .position(|count| {
            before += *count as usize;
            before > rank
        })
        .unwrap_or(0)
}

#[cfg(test)]
mod tests;

//! Levelling: what flickers in a shoot's exposure is taken out, and what its light really did stays.
//!
//! In come small pictures of the stills in linear light, one after the other, and what the camera's headers say of
//! their exposures; out goes a gain a still and channel. Neighbours are compared cell by cell (`compare`), the ratios
//! added up to levels (`meter`), steps and stills that stand out found (`steps`), and a local-linear fit drawn through
//! the rest (`fit`): the gain of a still is what leads from its level to the fit. Everything is in natural logarithms
//! of linear light, so that a fade is a line and a step of exposure a distance. `curve` is the outcome as a table that
//! people may edit.
//!
//! ## Decisions
//!
//! - A *level* is a still's light relative to the first one's, whatever moves in them. A *gain* is what levelling
//!   multiplies a still's linear light by, per channel.
//! - Levels are sums of medians of log ratios between neighbours, refined by Tukey's biweight, over baselines of one
//!   and two stills.
//! - A random flicker also wanders slowly by chance, and no method can tell that from light. Bars on bias are held in
//!   the mean of a shoot and its mirror image.
//! - All whole stills of a shoot are measured, so a still has one gain whatever part of the shoot is used. Gains lie in
//!   the plan by slot.
//! - A frame whose still has a gain other than 1 goes through R'G'B' on its own grid and one table a channel. Every
//!   other frame is painted as ever, to the bit.
//! - Gains from a table (`curve`) are taken as they are; stills it does not list are left alone.
//! - The shape of the roll-off near white (`p`) is our choice.

mod compare;
mod curve;
mod fit;
mod meter;
mod roll;
mod solve;
mod stairs;
mod steps;

pub use curve::{Curve, StillGain};
pub use fit::Smoother;
pub use meter::{Measured, Meter};
pub use roll::{rolled, slope_at_white};
pub use solve::{Flaw, Solved, Wishes, solve};
pub use steps::{Cause, Step, Steps};

/// A still small, in linear light.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Cells across.
    pub across: usize,
    /// Cells down.
    pub down: usize,
    /// Red, green, blue, row by row: the square root of each cell's mean linear light, 65,535 for white. One that is 0
    /// in all three says nothing.
    pub roots: [Vec<u16>; 3],
}

impl Cells {
    /// Makes all cells that an area touches, and those around them, say nothing: what they hold is not looked at any
    /// more.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "cells of a small picture"
    )]
    pub fn hide(&mut self, area: Region) {
        let touched = |from: f64, length: f64, cells: usize| {
            let (first, end) = ((from * cells as f64).floor(), ((from + length) * cells as f64).ceil());
            // A cell's edge pixels may hold some of what is upsampled or scaled beside them.
            (first - 1.0).max(0.0) as usize..((end + 1.0).max(0.0) as usize).min(cells)
        };
        for y in touched(area.y, area.height, self.down) {
            for x in touched(area.x, area.width, self.across) {
                self.roots.iter_mut().for_each(|roots| roots[y * self.across + x] = 0);
            }
        }
    }

    /// The same with its light multiplied, as the still's is when it is painted.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 16 bits")]
    pub fn levelled(&self, gain: Gain) -> Self {
        let mut levelled = self.clone();
        for (roots, gain) in levelled.roots.iter_mut().zip(gain) {
            for root in roots {
                let light = rolled(gain, (f64::from(*root) / 65_535.0).powi(2));
                *root = (light.sqrt() * 65_535.0).round() as u16;
            }
        }
        levelled
    }
}

/// A part of the upright still, in fractions of its width and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width, above 0.
    pub width: f64,
    /// Height, above 0.
    pub height: f64,
}

impl Region {
    /// All of the still.
    pub const WHOLE: Self = Self { x: 0.0, y: 0.0, width: 1.0, height: 1.0 };
}

/// How the three channels add up to luminance (IEC 61966-2-1).
pub(crate) const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// What levelling multiplies the linear light of red, green and blue by.
pub type Gain = [f64; 3];

/// The gain that changes nothing.
pub const UNCHANGED: Gain = [1.0; 3];

#[cfg(test)]
mod tests;

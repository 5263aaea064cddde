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
//!   multiplies a still's linear light by, per channel, and the light that becomes white.
//! - Two stills on either side of a step of exposure have in common what the brighter one does not clip. That range is
//!   rolled off to white on both sides, so that no highlight appears or burns out between two stills; the darker side
//!   fades to it from its own white (`stairs`).
//! - Levels are sums of medians of log ratios between neighbours, refined by Tukey's biweight, over baselines of one
//!   and two stills.
//! - Stills on the two sides of a break (what was left out between them is no flicker) are smoothed each by themselves,
//!   each with a radius of its own, and neither their levels nor what stands out are judged across. The first still after it is
//!   compared with the last before, so that all levels are of one light.
//! - A random flicker also wanders slowly by chance, and no method can tell that from light. Bars on bias are held in
//!   the mean of a shoot and its mirror image.
//! - All whole stills of a shoot are measured, so a still has one gain whatever part of the shoot is used, as long as the
//!   breaks are the same. Gains lie in the plan by slot.
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
        for (roots, by) in levelled.roots.iter_mut().zip(gain.light) {
            for root in roots {
                let light = rolled(by, gain.white, (f64::from(*root) / 65_535.0).powi(2));
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

/// What levelling does to a still's linear light.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Gain {
    /// What red, green and blue are multiplied by.
    pub light: [f64; 3],
    /// The still's light from which on all becomes white, above 0. Below 1, its own white, where a still at a step of
    /// exposure shows more of the highlights than the one on the other side can.
    #[serde(skip_serializing_if = "is_one")]
    pub white: f64,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde passes a reference")]
fn is_one(value: &f64) -> bool {
    *value == 1.0
}

impl Gain {
    /// The gain that changes nothing.
    pub const UNCHANGED: Self = Self { light: [1.0; 3], white: 1.0 };

    /// Red, green and blue multiplied, highlights rolled to the still's own white.
    #[must_use]
    pub fn of(light: [f64; 3]) -> Self {
        Self { light, white: 1.0 }
    }
}

#[cfg(test)]
mod tests;

//! How tiles lie in a small picture.

#![expect(clippy::cast_precision_loss, reason = "samples of a picture")]

use kurbo::{Point, Vec2};
use serde::{Deserialize, Serialize};

use crate::units::Size;

/// Sides of tiles to choose from, in samples: the largest of which there are [`ENOUGH`].
const SIDES: [usize; 3] = [128, 64, 32];
const ENOUGH: usize = 12;
/// Minimum number of the smallest tiles that a picture needs to be registered.
const FEWEST: usize = 6;
/// Space left free on each side, so that tiles can be cut where the picture has moved to: one tile divided by this.
const FREE: usize = 3;
/// The most tiles across and down; in a larger picture they lie apart.
const MOST: [usize; 2] = [12, 9];

/// A small picture of luma as it is coded.
#[derive(Debug, Clone, Copy)]
pub struct Grey<'a> {
    /// Samples, rows of `stride` each.
    pub samples: &'a [u8],
    /// From one row to the next.
    pub stride: usize,
    /// Samples across.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

/// How square tiles lie in the small pictures of a shoot's stills, of which each sample stands for `step × step`
/// pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Layout {
    /// The upright still's size in pixels.
    pub still: Size,
    /// Pixels of the still from one sample to the next.
    pub step: u32,
    /// Samples along a tile's side.
    pub side: usize,
    /// Tiles across.
    pub across: usize,
    /// Tiles down.
    pub down: usize,
}

impl Layout {
    /// For a still of this size, made small by `step`; none where it is too small.
    #[must_use]
    pub fn of(still: Size, step: u32) -> Option<Self> {
        let [width, height] = samples(still, step);
        let along = |length: usize, side: usize| length.saturating_sub(2 * (side / FREE)) / side;
        let fits = |side: usize| [along(width, side).min(MOST[0]), along(height, side).min(MOST[1])];
        let side = SIDES.into_iter().find(|side| fits(*side).iter().product::<usize>() >= ENOUGH).unwrap_or(SIDES[2]);
        let [across, down] = fits(side);
        (across * down >= FEWEST).then_some(Self { still, step, side, across, down })
    }

    /// Size of the small pictures, in samples.
    #[must_use]
    pub fn small(&self) -> Size {
        Size::new(self.still.width.div_ceil(self.step), self.still.height.div_ceil(self.step))
    }

    /// How many tiles there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.across * self.down
    }

    /// The first sample of a tile, across and down: tiles lie in the middles of equal cells within what is left free.
    pub(super) fn origin(&self, tile: usize) -> [i32; 2] {
        let [width, height] = samples(self.still, self.step);
        let axis = |at: usize, count: usize, length: usize| {
            let free = self.side / FREE;
            let edge = |at: usize| free + (length - 2 * free) * at / count;
            edge(at) + (edge(at + 1) - edge(at)).saturating_sub(self.side) / 2
        };
        let [x, y] = [axis(tile % self.across, self.across, width), axis(tile / self.across, self.down, height)];
        [x, y].map(|at| i32::try_from(at).unwrap_or(i32::MAX))
    }

    /// Where a tile's centre lies from the still's own, in samples.
    pub(super) fn centre(&self, tile: usize) -> Vec2 {
        let [x, y] = self.origin(tile).map(|at| f64::from(at) + self.side as f64 / 2.0);
        let half = |length: u32| f64::from(length) / f64::from(self.step) / 2.0;
        Vec2::new(x - half(self.still.width), y - half(self.still.height))
    }

    /// The same as a fraction of the still's width and height.
    pub(super) fn place(&self, tile: usize) -> Point {
        let from_centre = self.centre(tile) * f64::from(self.step);
        let along = |at: f64, length: u32| 0.5 + at / f64::from(length);
        Point::new(along(from_centre.x, self.still.width), along(from_centre.y, self.still.height))
    }

    /// Pixels that the still's corner goes by for each degree of turn.
    pub(super) fn lever(&self) -> f64 {
        f64::from(self.still.width).hypot(f64::from(self.still.height)) / 2.0 * std::f64::consts::PI / 180.0
    }
}

fn samples(still: Size, step: u32) -> [usize; 2] {
    [still.width, still.height].map(|length| length.div_ceil(step) as usize)
}

//! What is hidden in the stills themselves, before a window looks at them.

use std::ops::Range;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use crate::shot::CoverWith;
use crate::units::SlotIndex;

/// The areas hidden in some neighbouring slots' stills.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Covering {
    /// The first slot.
    pub first: SlotIndex,
    /// The last slot, itself among them.
    pub last: SlotIndex,
    /// What is hidden, in the order in which it is done.
    pub areas: Arc<[CoveredArea]>,
}

/// An area of the upright still of which nothing is shown, in whole pixels: a cover's box, and what its file's coding
/// has smeared of it into the pixels around.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema)]
pub struct CoveredArea {
    /// Which of the shot's covers it is, from 0.
    pub cover: usize,
    /// Left edge.
    pub x: u32,
    /// Top edge.
    pub y: u32,
    /// Width, at least 1.
    pub width: u32,
    /// Height, at least 1.
    pub height: u32,
    /// What is shown instead.
    pub with: CoverWith,
}

impl CoveredArea {
    /// Its rows.
    #[must_use]
    pub fn rows(&self) -> Range<u32> {
        self.y..self.y + self.height
    }
}

/// What is hidden in a slot's still.
#[must_use]
pub fn covered_in(covers: &[Covering], slot: SlotIndex) -> &[CoveredArea] {
    covering(covers, slot).map_or(&[], |covering| &covering.areas)
}

/// The one of the coverings that a slot's still is in.
pub(super) fn covering(covers: &[Covering], slot: SlotIndex) -> Option<&Covering> {
    let begun = covers.partition_point(|covering| covering.first <= slot);
    covers[..begun].last().filter(|covering| slot <= covering.last)
}

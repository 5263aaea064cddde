//! How much happens where, still by still.

use crate::units::SlotIndex;

/// How much happens in each tile of each still: what moves counts, what is always busy there (leaves in the wind,
/// water, clouds) and what the light does count little. A byte a tile: 768 bytes a still.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Activity {
    across: usize,
    down: usize,
    /// By slot: from the whole still before to its own, row by row, 255 for a tile that is all in motion. None where
    /// there is no such step.
    steps: Vec<Option<Box<[u8]>>>,
}

impl Activity {
    /// What one tile all in motion counts.
    pub const FULL: u8 = 255;

    /// Of pictures of so many tiles; by slot, how much each tile of a still changed from the whole still before.
    ///
    /// # Panics
    /// Where a step has not as many tiles as that.
    #[must_use]
    pub fn new([across, down]: [usize; 2], steps: Vec<Option<Box<[u8]>>>) -> Self {
        assert!(steps.iter().flatten().all(|tiles| tiles.len() == across * down), "{across} by {down} tiles");
        Self { across, down, steps }
    }

    /// Tiles across and down; both 0 where nothing was measured.
    #[must_use]
    pub fn tiles(&self) -> [usize; 2] {
        [self.across, self.down]
    }

    /// How much changed from the whole still before a slot's to that slot's own, tile by tile, row by row; none where
    /// there is no such step.
    #[must_use]
    pub fn step(&self, to: SlotIndex) -> Option<&[u8]> {
        self.steps.get(to.0)?.as_deref()
    }
}

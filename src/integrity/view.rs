//! What of a still differs from its neighbours, in one component.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::means::{Means, SCALE};

/// The smallest change of level that is told, in codes: of luma, and of a colour difference.
pub(super) const LEAST: [f32; 2] = [3.2, 2.6];
/// Where the neighbours differ by more than this, in codes, a block says nothing: while it lies outside what they span
/// …
const SPREAD_OUTSIDE: [f32; 2] = [6.0, 4.0];
/// … and beside their mean, which is asked where light changes.
const SPREAD_MEAN: [f32; 2] = [20.0, 12.0];

/// What a still is held against.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Ask {
    /// How far outside what the neighbours span.
    Outside,
    /// How far from their mean.
    Mean,
}

/// What differs from the neighbours, in one component and one way of asking.
pub(super) struct View {
    /// In codes; not a number where nothing can be said.
    pub(super) off: Vec<f32>,
    pub(super) width: usize,
    /// Units.
    pub(super) across: usize,
    pub(super) down: usize,
    /// Units from one restart marker to the next; 0 where there are none.
    pub(super) restart: usize,
    pub(super) blocks: [usize; 2],
    pub(super) least: f32,
}

impl View {
    pub(super) fn new(this: &Means, others: [&Means; 2], component: usize, ask: Ask) -> Self {
        let kind = kind(this, component);
        let spread = spread(ask, kind);
        let [before, after] = others.map(|means| &means.planes[component]);
        let plane = &this.planes[component];
        let blocks = plane.values.iter().zip(before.values.iter().zip(&after.values));
        let off = blocks.map(|(this, (before, after))| {
            if before.abs_diff(*after) > spread.unsigned_abs() {
                return f32::NAN;
            }
            f32::from(off(ask, i16::MAX, *this, *before, *after)) / f32::from(SCALE)
        });
        Self {
            off: off.collect(),
            width: this.across * plane.blocks_across,
            across: this.across,
            down: this.down,
            restart: this.restart,
            blocks: [plane.blocks_across, plane.blocks_down],
            least: LEAST[kind],
        }
    }

    /// The share of blocks of which something can be said.
    pub(super) fn known(&self) -> f32 {
        self.off.iter().filter(|off| !off.is_nan()).count() as f32 / self.off.len().max(1) as f32
    }

    /// One row of blocks.
    pub(super) fn line(&self, row: usize) -> &[f32] {
        &self.off[row * self.width..(row + 1) * self.width]
    }

    /// From one row of blocks to another, column by column.
    pub(super) fn jump(&self, from: usize, to: usize) -> Vec<f32> {
        self.line(from).iter().zip(self.line(to)).map(|(from, to)| to - from).collect()
    }

    /// The first and the last row of blocks in a row of units.
    pub(super) fn first(&self, row: usize) -> usize {
        row * self.blocks[1]
    }

    pub(super) fn last(&self, row: usize) -> usize {
        (row + 1) * self.blocks[1] - 1
    }

    /// What differs in the blocks of a unit.
    pub(super) fn of_unit(&self, unit: usize) -> impl Iterator<Item = f32> {
        let (row, column) = (unit / self.across, unit % self.across);
        let [wide, _] = self.blocks;
        (self.first(row)..=self.last(row))
            .flat_map(move |line| self.line(line)[column * wide..(column + 1) * wide].iter().copied())
    }

    /// Whether most of a unit's blocks show something else than the neighbours; none where most say nothing.
    pub(super) fn has_changed(&self, unit: usize) -> Option<bool> {
        let (mut known, mut changed) = (0, 0);
        for off in self.of_unit(unit).filter(|off| !off.is_nan()) {
            known += 1;
            changed += usize::from(off.abs() > 0.6 * self.least);
        }
        (2 * known > self.blocks[0] * self.blocks[1]).then_some(2 * changed > known)
    }
}

pub(super) fn kind(means: &Means, component: usize) -> usize {
    usize::from(means.has_luma && component > 0)
}

/// By how much a block is off, in [`SCALE`]ths of a code; 0 where nothing can be said.
#[inline]
pub(super) fn off(ask: Ask, spread: i16, this: i16, before: i16, after: i16) -> i16 {
    let (low, high) = (before.min(after), before.max(after));
    let off = match ask {
        Ask::Outside => this.saturating_sub(this.clamp(low, high)),
        Ask::Mean => this.saturating_sub(low.saturating_add(high.saturating_sub(low) / 2)),
    };
    if high.saturating_sub(low) > spread { 0 } else { off }
}

#[expect(clippy::cast_possible_truncation, reason = "a few codes")]
pub(super) fn spread(ask: Ask, kind: usize) -> i16 {
    let codes = if ask == Ask::Outside { SPREAD_OUTSIDE[kind] } else { SPREAD_MEAN[kind] };
    (codes * f32::from(SCALE)) as i16
}

//! One still against two neighbours: is there a place from which on its level or its colours are another's?
//!
//! What differs from both neighbours is laid out in the order of coding. Damage begins at one unit and lasts to the next restart
//! marker or to the end, always by the same amount; the blocks on either side of where it begins and ends lie along the edges of
//! two rows of units, with a corner where it begins within a row. That corner, and the evenness of the amount, tell it from
//! light, shadows and passers-by: what begins with a whole row of units is left alone.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::lost::lost;
use super::means::{Means, SCALE};
use super::view::{self, View};

/// The smallest change of level that is told, in codes: of luma, and of a colour difference.
pub(super) const LEAST: [f32; 2] = [3.2, 2.6];
/// Where the neighbours differ by more than this, in codes, a block says nothing: while it lies outside what they span …
const SPREAD_OUTSIDE: [f32; 2] = [6.0, 4.0];
/// … and beside their mean, which is asked where light changes.
const SPREAD_MEAN: [f32; 2] = [20.0, 12.0];
/// The share of blocks that must say something for their mean to be asked.
const KNOWN_FOR_MEAN: f32 = 0.7;
/// Parts of a row that are looked at first.
const PARTS: usize = 8;

/// Where a still ceases to belong to the scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Break {
    /// The row of units it begins in, of [`Means::down`].
    pub row: usize,
    /// The unit in that row.
    pub column: usize,
    /// The component that shows it best.
    pub component: usize,
    /// By how much that is off, in codes of 8 bits.
    pub by: f32,
    /// How well it fits, 0 to 4.
    pub fit: f32,
    /// Rows of units there are.
    pub(super) down: usize,
}

impl Break {
    /// The first row of pixels, of a picture that has `height` of them.
    #[must_use]
    pub fn first_row(&self, height: u32) -> u32 {
        let row = self.row as u64 * u64::from(height) / self.down.max(1) as u64;
        u32::try_from(row).unwrap_or(height)
    }
}

/// What a still is held against.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Ask {
    /// How far outside what the neighbours span.
    Outside,
    /// How far from their mean.
    Mean,
}

/// Finds where `this` ceases to belong to the scene that `before` and `after` show, if it does: two other stills of the same
/// camera, the nearest there are. None where all of it belongs, or where the three are not laid out alike.
#[must_use]
pub fn judge(this: &Means, before: &Means, after: &Means) -> Option<Break> {
    if !this.is_like(before) || !this.is_like(after) {
        return None;
    }
    let mut best: Option<Break> = None;
    for component in 0..this.planes.len() {
        for ask in [Ask::Outside, Ask::Mean] {
            let suspects = suspects(this, [before, after], component, ask);
            if suspects.is_none() && (this.restart == 0 || ask == Ask::Mean) {
                continue;
            }
            let view = View::new(this, [before, after], component, ask);
            if ask == Ask::Outside {
                for found in view.garbled() {
                    best = best.filter(|best| best.fit >= found.fit).or(Some(Break { component, ..found }));
                }
            }
            let rows = suspects.unwrap_or_default();
            if ask == Ask::Mean && view.known() < KNOWN_FOR_MEAN {
                continue;
            }
            for row in rows {
                for found in view.begun_in(row) {
                    if ask == Ask::Mean && !differs_from_both(this, [before, after], component, &found) {
                        continue;
                    }
                    if best.is_none_or(|best| found.fit > best.fit) {
                        best = Some(Break { component, ..found });
                    }
                }
            }
        }
    }
    best.or_else(|| lost(this, [before, after]))
}

/// Whether a still that differs from its neighbours' mean does so from each of them, and is not beside one that is damaged.
fn differs_from_both(this: &Means, others: [&Means; 2], component: usize, found: &Break) -> bool {
    others.into_iter().all(|other| {
        let view = View::new(this, [other; 2], component, Ask::Outside);
        let same = |seen: &Break| (seen.by - found.by).abs() <= 2.0_f32.max(0.5 * found.by.abs());
        view.begun_in(found.row).iter().any(same)
    })
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

/// Rows of units in which damage may begin, by the means of a few parts of each row: nearly always none, which costs little.
fn suspects(this: &Means, others: [&Means; 2], component: usize, ask: Ask) -> Option<Vec<usize>> {
    let kind = kind(this, component);
    let spread = spread(ask, kind);
    let [plane, before, after] = [this, others[0], others[1]].map(|means| &means.planes[component]);
    let width = this.across * plane.blocks_across;
    if width < PARTS {
        return None;
    }
    // Means of the first and the last row of blocks in each row of units, part by part.
    let level = |row: usize| -> [f32; PARTS] {
        std::array::from_fn(|part| {
            let columns = row * width + part * width / PARTS..row * width + (part + 1) * width / PARTS;
            let count = columns.len() as f32;
            let (this, before, after) = (&plane.values[columns.clone()], &before.values[columns.clone()], &after.values[columns]);
            let blocks = this.iter().zip(before).zip(after);
            let sum: i32 = blocks.map(|((this, before), after)| i32::from(off(ask, spread, *this, *before, *after))).sum();
            sum as f32 / count / f32::from(SCALE)
        })
    };
    let ends: Vec<[[f32; PARTS]; 2]> =
        (0..this.down).map(|row| [level(row * plane.blocks_down), level((row + 1) * plane.blocks_down - 1)]).collect();
    let least = 0.45 * LEAST[kind];
    let jumps = |from: usize, to: usize| -> usize {
        let (from, to) = (&ends[from][1], &ends[to][0]);
        let count = |sign: f32| from.iter().zip(to).filter(|(from, to)| sign * (**to - **from) > least).count();
        count(1.0).max(count(-1.0))
    };
    let suspect = |row: usize| {
        let long = (1..=2 + view::GARBAGE.end()).any(|reach| {
            let (from, to) = (row.saturating_sub(1), row + reach.saturating_sub(1));
            to < this.down && from < to && jumps(from, to) * 2 >= PARTS
        });
        long || (this.restart > 0 && ((row > 0 && jumps(row - 1, row) >= 1) || (row + 1 < this.down && jumps(row, row + 1) >= 1)))
    };
    let rows: Vec<usize> = (0..this.down).filter(|row| suspect(*row)).collect();
    (!rows.is_empty()).then_some(rows)
}

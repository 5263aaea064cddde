//! One still against two neighbours: is there a place from which on its level or its colours are another's?
//!
//! What differs from both neighbours is laid out in the order of coding. Damage begins at one unit and lasts to the
//! next restart marker or to the end, always by the same amount; the blocks on either side of where it begins and ends
//! lie along the edges of two rows of units, with a corner where it begins within a row. That corner, and the evenness
//! of the amount, tell it from light, shadows and passers-by: what begins with a whole row of units is left alone.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::breaks::Break;
use super::lost::lost;
use super::means::{Means, SCALE};
use super::search::{GARBAGE, begun_in, garbled};
use super::view::{Ask, LEAST, View, kind, off, spread};

/// The share of blocks that must say something for their mean to be asked.
const KNOWN_FOR_MEAN: f32 = 0.7;
/// Parts of a row that are looked at first.
const PARTS: usize = 8;

/// Finds where `this` ceases to belong to the scene that `before` and `after` show, if it does: two other stills of the
/// same camera, the nearest there are. None where all of it belongs, or where the three are not laid out alike.
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
                for found in garbled(&view) {
                    best = best.filter(|best| best.fit >= found.fit).or(Some(Break { component, ..found }));
                }
            }
            let rows = suspects.unwrap_or_default();
            if ask == Ask::Mean && view.known() < KNOWN_FOR_MEAN {
                continue;
            }
            for row in rows {
                for found in begun_in(&view, row) {
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

/// Whether a still that differs from its neighbours' mean does so from each of them, and is not beside one that is
/// damaged.
fn differs_from_both(this: &Means, others: [&Means; 2], component: usize, found: &Break) -> bool {
    others.into_iter().all(|other| {
        let view = View::new(this, [other; 2], component, Ask::Outside);
        let same = |seen: &Break| (seen.by - found.by).abs() <= 2.0_f32.max(0.5 * found.by.abs());
        begun_in(&view, found.row).iter().any(same)
    })
}

/// Rows of units in which damage may begin, by the means of a few parts of each row: nearly always none, which costs
/// little.
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
            let (this, before, after) =
                (&plane.values[columns.clone()], &before.values[columns.clone()], &after.values[columns]);
            let blocks = this.iter().zip(before).zip(after);
            let sum: i32 =
                blocks.map(|((this, before), after)| i32::from(off(ask, spread, *this, *before, *after))).sum();
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
        let long = (1..=2 + GARBAGE.end()).any(|reach| {
            let (from, to) = (row.saturating_sub(1), row + reach.saturating_sub(1));
            to < this.down && from < to && jumps(from, to) * 2 >= PARTS
        });
        long || (this.restart > 0
            && ((row > 0 && jumps(row - 1, row) >= 1) || (row + 1 < this.down && jumps(row, row + 1) >= 1)))
    };
    let rows: Vec<usize> = (0..this.down).filter(|row| suspect(*row)).collect();
    (!rows.is_empty()).then_some(rows)
}

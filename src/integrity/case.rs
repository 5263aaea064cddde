//! A place where damage may begin, and the tests that it has to stand.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::breaks::Break;
use super::view::View;

/// The smallest damage that is told: the share of the picture's blocks.
pub(super) const SMALLEST: f32 = 0.0035;
/// Units that damage within one row fills at least; fewer than [`SURE`] have to fit better.
pub(super) const FEWEST: usize = 3;
pub(super) const SURE: usize = 6;

/// Which beginning a test is about, and what it is asked with.
pub(super) struct Case<'a> {
    /// Jumps over the edge of what may be wrong: all by the same amount.
    pub(super) over: Vec<f32>,
    /// Jumps where there should be none.
    pub(super) none: Vec<f32>,
    pub(super) row: usize,
    pub(super) column: usize,
    /// What lies within, from the first row that holds nothing but it: rows of units, and columns of the last.
    pub(super) within: Within,
    /// Whether there is a corner, or an end, that nothing in a scene has.
    pub(super) has_corner: bool,
    pub(super) view: &'a View,
}

#[derive(Clone, Copy)]
pub(super) enum Within {
    /// Rows of units `from..to`, and `rest` columns of blocks of the row after.
    Rows { from: usize, to: usize, rest: usize },
    /// Columns of blocks of one row of units.
    Part { row: usize, from: usize, to: usize },
}

/// How far from the amount a block may be and still be off by it: what is added to all blocks is the same for all,
/// however much it is …
pub(super) fn allowed(by: f32) -> f32 {
    2.0_f32.max(0.3 * by.abs()).min(0.45 * by.abs()).min(5.0)
}

/// … and how far from nothing, to be off by nothing.
fn quiet(by: f32) -> f32 {
    1.5_f32.max(0.3 * by.abs()).min(0.45 * by.abs()).min(4.0)
}

impl Case<'_> {
    /// The beginning, where everything fits.
    pub(super) fn verdict(&self) -> Option<Break> {
        let view = self.view;
        // What begins and ends with whole rows may be light, or a blind.
        if !self.has_corner {
            return None;
        }
        let over = known(&self.over);
        if over.len() < FEWEST * view.blocks[0] || (over.len() as f32) < 0.4 * self.over.len() as f32 {
            return None;
        }
        let by = middle(&over)?;
        if by.abs() < view.least {
            return None;
        }
        let is_faint = by.abs() < 1.5 * view.least;
        // Part of a row that has no row beside it may be anything that comes into the picture there.
        let is_part = matches!(self.within, Within::Part { .. });
        let is_alone = is_part && (self.row == 0 || self.row + 1 == view.down);
        if is_part && is_faint {
            return None;
        }
        let is_small = is_faint || is_alone || over.len() < SURE * view.blocks[0];
        let bar = |small: f32, sure: f32| if is_small { small } else { sure };
        let all_by = share(&over, by, allowed(by));
        if all_by < bar(0.8, 0.6) {
            return None;
        }
        let none = known(&self.none);
        let still = if none.len() >= 2 * view.blocks[0] { share(&none, 0.0, quiet(by)) } else { 1.0 };
        if still < 0.75 {
            return None;
        }
        let inside = self.inside();
        if (inside.len() as f32) < SMALLEST * view.off.len() as f32 {
            return None;
        }
        let (inside, above) = (known(&inside), known(&self.above()));
        if inside.len() < FEWEST || above.len() < SURE {
            return None;
        }
        let usual = middle(&above)?;
        let quiet_above = share(&above, usual, quiet(by));
        // An edge of the scene need not lie between blocks: then those it runs through are off by a part of it.
        let next = self.row.checked_sub(1).map(|row| known(view.line(view.last(row)))).unwrap_or_default();
        if !next.is_empty() && share(&next, usual, quiet(by)) < 0.6 {
            return None;
        }
        let lasting = share(&inside, by + usual, 3.0_f32.max(0.4 * by.abs()).min(8.0));
        if lasting < bar(0.8, 0.6) || quiet_above < bar(0.8, 0.6) {
            return None;
        }
        if is_alone && [all_by, still, lasting].into_iter().any(|share| share < 0.95) {
            return None;
        }
        Some(Break {
            row: self.row,
            column: self.column,
            component: 0,
            by,
            fit: all_by + still + quiet_above + lasting,
            down: view.down,
        })
    }

    /// Everything within.
    fn inside(&self) -> Vec<f32> {
        let view = self.view;
        let part = |row: usize, from: usize, to: usize| -> Vec<f32> {
            (view.first(row)..=view.last(row)).flat_map(|line| view.line(line)[from..to].iter().copied()).collect()
        };
        match self.within {
            Within::Rows { from, to, rest } if from >= to => {
                if to < view.down {
                    part(to, 0, rest)
                } else {
                    Vec::new()
                }
            }
            Within::Rows { from, to, .. } => {
                view.off[view.first(from) * view.width..view.first(to) * view.width].to_vec()
            }
            Within::Part { row, from, to } => part(row, from, to),
        }
    }

    /// The rows of blocks above; in the first row what lies left.
    fn above(&self) -> Vec<f32> {
        let view = self.view;
        if self.row > 0 {
            return view.off[view.first(self.row.saturating_sub(2)) * view.width..view.first(self.row) * view.width]
                .to_vec();
        }
        if self.column > 2 { view.line(0)[..self.column * view.blocks[0]].to_vec() } else { Vec::new() }
    }
}

pub(super) fn known(values: &[f32]) -> Vec<f32> {
    values.iter().copied().filter(|value| !value.is_nan()).collect()
}

/// The median of numbers.
pub(super) fn middle(values: &[f32]) -> Option<f32> {
    let mut values = values.to_vec();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

/// The share that lies within `allowed` of `by`.
pub(super) fn share(values: &[f32], by: f32, allowed: f32) -> f32 {
    values.iter().filter(|value| (**value - by).abs() < allowed).count() as f32 / values.len().max(1) as f32
}

//! Breaks: where two stills follow one another on the axis that were not taken one after the other.
//!
//! A *break* lies between two stills that may be shown, one after the other, where something was left out between them:
//! by a cut, by `hours` or `days`, or because the camera took none for longer than ten intervals. The places of the axis
//! up to it are one *side*, those after it the next. Blending, levelling and steadying keep to a side: nothing dissolves
//! yesterday evening into this morning.
//!
//! ## Decisions
//!
//! - `across = true` stands in the source, beside `cuts`: what was left out is a matter of the source, and whether what
//!   remains belongs together is said where that is. Then there are no breaks at all.
//! - A gap is judged by capture times where both stills have one: more than ten intervals (the median one), to the
//!   nearest whole interval. Without times by number: more than ten slots in a row without a still of their own. Where
//!   `only` thins the shoot out, its step is the interval, if that is longer.
//! - A still that is held in the place of missing ones belongs to its own side, and so do the places it is held in: the
//!   break lies before the first place that shows another. A stand-in comes from its own side where that has one.
//! - Every cut is a break for blending, even of one still: what was cut out is to be seen nowhere, and a mixed frame
//!   would show the two stills around it at once for no reason in time. Levelling and steadying take a break for one
//!   only where it is *wide*: more than ten stills or intervals. They go by every still of the shoot, shown or not, and
//!   over a bird's width the light and the tripod are still the same.
//! - A frame exactly at a break belongs to the side whose turn it is: the later one, or the earlier one where the pace
//!   runs backwards.
//! - The join of a loop is mixed where the script asks for that (`loop`), whatever lies between its two ends.

use std::ops::Range;

use crate::diag::Place;
use crate::plan::{Break, BreakCause, LeftOutBy};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

use super::times::{Times, number};

/// Stills, or intervals, that may lie between two stills of one side.
const MOST: usize = 10;

/// Slots that are left out, one after the other.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LeftOut {
    /// What is left out.
    pub(super) slots: Range<usize>,
    /// The `cut(…)` call, or the source's field.
    pub(super) place: Place,
    /// Which it is.
    pub(super) by: LeftOutBy,
}

/// A break of the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AxisBreak {
    /// What the plan says of it.
    pub(super) told: Break,
    /// The first place after it.
    pub(super) place: usize,
    /// Whether more than ten stills or intervals lie between.
    pub(super) wide: bool,
}

/// The breaks between stills that may be shown, by slot in order; their places are still to come. `left_out` is what
/// was left out, in order, and `unit` how many seconds an interval is, or 0 where nobody knows.
pub(super) fn find(whole: &[usize], left_out: &[LeftOut], (times, unit): (&Times, f64)) -> Vec<AxisBreak> {
    let one = |pair: &[usize]| {
        let (before, after) = (pair[0], pair[1]);
        let first = left_out.partition_point(|run| run.slots.end <= before + 1);
        let between = left_out[first..].iter().take_while(|run| run.slots.start < after);
        let out = between.filter_map(|run| BreakCause::of(run.by)).max();
        let gap = is_gap(before, after, times, unit);
        let why = out.unwrap_or(BreakCause::Gap);
        let told = Break { before: SlotIndex(before), after: SlotIndex(after), why };
        (gap || out.is_some()).then_some(AxisBreak { told, place: 0, wide: gap || after - before - 1 > MOST })
    };
    whole.windows(2).filter_map(one).collect()
}

/// Whether a camera left out more than ten units of time between two stills.
fn is_gap(before: usize, after: usize, times: &Times, unit: f64) -> bool {
    match times.units(before, after, unit).filter(|_| unit > 0.0) {
        Some(units) => units.round() > number(MOST),
        None => after - before - 1 > MOST,
    }
}

/// The slots that begin another side for levelling and steadying, in order. All stills of the shoot are measured, so gaps
/// count wherever they are, and what a wide break leaves out is a side of its own.
pub(super) fn sides(shoot: &Shoot, times: &Times, breaks: &[AxisBreak]) -> Vec<usize> {
    let whole: Vec<usize> = (0..shoot.slots.len()).filter(|slot| shoot.still(SlotIndex(*slot)).is_some()).collect();
    let unit = times.interval.unwrap_or(0.0);
    let gaps = whole.windows(2).filter(|pair| is_gap(pair[0], pair[1], times, unit)).map(|pair| pair[1]);
    let wide = breaks.iter().filter(|one| one.wide);
    let mut sides: Vec<usize> = gaps.chain(wide.flat_map(|one| [one.told.before.0 + 1, one.told.after.0])).collect();
    sides.sort_unstable();
    sides.dedup();
    sides
}

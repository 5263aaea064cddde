//! Which stills are missing: gaps in the numbers that capture times, where known, agree with.
//!
//! A constant stride (every second number) and names that are dates or clock times are no gaps; nor are numbers that
//! follow no rule.

use std::collections::BTreeMap;
use std::path::Path;

use super::clock::{median, seconds_between};
use super::name::dcf_folder;
use super::order::{LAST_NUMBER, Order};
use super::{Item, Remark, shown};

mod dates;

/// Missing stills.
#[derive(Debug)]
pub(super) struct Gap {
    /// The place in the sequence they follow.
    pub(super) after: usize,
    /// The names they would have had.
    pub(super) names: Vec<String>,
}

/// All that is missing.
#[derive(Debug, Default)]
pub(super) struct Gaps {
    /// In order.
    pub(super) gaps: Vec<Gap>,
    /// Jumps in the numbers that are no gaps, and why.
    pub(super) remarks: Vec<Remark>,
}

/// From one number to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    /// How many numbers on.
    count: u64,
    /// How the counter got there.
    course: Course,
}

/// How a counter gets from one number to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Course {
    /// Upwards.
    On,
    /// Past 9999 and round to the lowest number.
    Round,
    /// It began again with a new folder: only a capture time can tell that its first stills are missing.
    Again,
}

/// The numbers a counter of four digits can show.
const BLOCK: u64 = LAST_NUMBER + 1;
/// A number this near to 9999 (or past it) has wrapped when a lower one follows.
const NEAR: u64 = 100;
/// A jump this long or longer than the shoot is believed only with capture times.
const FAR: u64 = 1000;
/// The longest gap filled with missing stills.
const MOST_MISSING: u64 = 1_000_000;

/// Finds the missing stills of a sequence.
pub(super) fn gaps(items: &[Item], order: &Order) -> Gaps {
    let sequence = &order.sequence;
    let mut gaps = Gaps::default();
    let period = period(items, sequence);
    let steps = steps(items, order, period);
    let Some(stride) = stride(&steps) else {
        if steps.iter().flatten().any(|step| step.count > 1) {
            gaps.remarks.push(Remark::new(
                "the file numbers follow no rule: gaps in them are not counted as missing stills",
                [],
            ));
        }
        return gaps;
    };
    if dates::all_tell_time(sequence.iter().map(|index| items[*index].name.stem.as_str())) {
        if steps.iter().flatten().any(|step| step.count != stride) {
            gaps.remarks.push(Remark::new(
                "the file names are dates or times: gaps in them are not counted as missing stills",
                [],
            ));
        }
        return gaps;
    }
    let usual: Vec<Option<f64>> = sequence
        .windows(2)
        .zip(&steps)
        .map(|(pair, step)| {
            let seconds = seconds_between(&items[pair[0]], &items[pair[1]]).filter(|seconds| *seconds >= 0.0)?;
            step.is_some_and(|step| step.count == stride).then_some(seconds)
        })
        .collect();
    let mut unfilled = Vec::new();
    for (position, step) in steps.iter().enumerate() {
        let Some(step) = step.filter(|step| step.count > stride) else { continue };
        let (before, after) = (sequence[position], sequence[position + 1]);
        let due = step.count / stride;
        let agreed = agrees(seconds_between(&items[before], &items[after]), due, &usual, position);
        let believed = step.course != Course::Again && step.count < FAR.max(sequence.len() as u64);
        if step.count % stride == 0 && agreed.unwrap_or(believed) && due <= MOST_MISSING {
            let names =
                (1..due).map(|ahead| missing_name(&items[before], &items[after], step.course, ahead * stride, period));
            gaps.gaps.push(Gap { after: position, names: names.collect() });
        } else if step.course != Course::Again {
            unfilled.push((before, after, agreed));
        }
    }
    gaps.remarks.extend(not_counted(items, &unfilled));
    gaps
}

fn not_counted(items: &[Item], jumps: &[(usize, usize, Option<bool>)]) -> Vec<Remark> {
    const SHOWN: usize = 5;
    let mut remarks: Vec<Remark> = jumps
        .iter()
        .take(SHOWN)
        .map(|(before, after, agreed)| {
            let why = match agreed {
                Some(false) => "capture times show no gap of that length",
                _ => "that is too far for missing stills",
            };
            let (from, to) = (shown(&items[*before].path), shown(&items[*after].path));
            Remark::new(
                format!("the numbers jump from {from} to {to}, but {why}: none counted as missing"),
                [*before, *after],
            )
        })
        .collect();
    if jumps.len() > SHOWN {
        remarks.push(Remark::new(
            format!("{} more jumps in the numbers are not counted as missing", jumps.len() - SHOWN),
            jumps[SHOWN..].iter().map(|(_, after, _)| *after),
        ));
    }
    remarks
}

/// How many numbers the counter has: 9,999, or 10,000 where it uses 0.
fn period(items: &[Item], sequence: &[usize]) -> u64 {
    let zero = |index: &usize| {
        let number = items[*index].name.number;
        number.is_some_and(|number| number.digits >= 4 && number.value % BLOCK == 0)
    };
    LAST_NUMBER + u64::from(sequence.iter().any(zero))
}

/// The step from each still to the next, where both are of one counter.
fn steps(items: &[Item], order: &Order, period: u64) -> Vec<Option<Step>> {
    let runs: Vec<String> = order.sequence.iter().map(|index| items[*index].name.run()).collect();
    let dcf = |item: &Item| {
        let folder = item.path.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
        dcf_folder(&folder).is_some() && item.name.number.is_some_and(|number| number.digits == 4)
    };
    (1..order.sequence.len())
        .map(|at| {
            let (before, after) = (&items[order.sequence[at - 1]], &items[order.sequence[at]]);
            if runs[at - 1] != runs[at] && !(dcf(before) && dcf(after)) {
                return None;
            }
            let (from, to) = (before.name.number?, after.name.number?);
            if to.value > from.value {
                return Some(Step { count: to.value - from.value, course: Course::On });
            }
            let round = (to.value % BLOCK + period).checked_sub(from.value % BLOCK)?;
            let counts = from.digits >= 4 && to.digits >= 4;
            if counts && (round <= NEAR || before.folder == after.folder) {
                return Some(Step { count: round, course: Course::Round });
            }
            let again = order.runs[at - 1] != order.runs[at] && to.value <= NEAR;
            again.then_some(Step { count: to.value, course: Course::Again })
        })
        .collect()
}

/// The commonest step: the numbers between one still and the next. Nothing where fewer than half of the steps are a
/// multiple's base, that is, where the numbers follow no rule.
fn stride(steps: &[Option<Step>]) -> Option<u64> {
    let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
    for step in steps.iter().flatten().filter(|step| step.course != Course::Again) {
        *counts.entry(step.count).or_default() += 1;
    }
    let all: usize = counts.values().sum();
    let (stride, often) = counts.into_iter().max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))?;
    (often * 2 >= all && stride > 0).then_some(stride)
}

/// Whether the time from one still to the next speaks for `due` usual intervals rather than one; nothing where it is
/// not known.
fn agrees(seconds: Option<f64>, due: u64, usual: &[Option<f64>], position: usize) -> Option<bool> {
    const NEIGHBOURS: usize = 5;
    const LOOKED_AT: usize = 40;
    let seconds = seconds?;
    let before: Vec<f64> =
        usual[position.saturating_sub(LOOKED_AT)..position].iter().rev().flatten().take(NEIGHBOURS).copied().collect();
    let after: Vec<f64> = usual[position + 1..].iter().take(LOOKED_AT).flatten().take(NEIGHBOURS).copied().collect();
    let both = before.iter().chain(&after).copied().collect();
    let intervals: Vec<f64> =
        [before, after, both].into_iter().filter_map(median).filter(|interval| *interval > 0.0).collect();
    if intervals.is_empty() {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "counts of stills are far below 2^53")]
    let due = due as f64;
    Some(intervals.into_iter().any(|interval| {
        let off = (seconds - due * interval).abs();
        // Half an interval for a late shutter, a seventh of the whole for an interval that is not quite what it says,
        // and a second for clocks that tell no less.
        off <= 0.5 * interval + due * interval / 7.0 + 1.0 && off < (seconds - interval).abs()
    }))
}

/// The name a missing still would have had, `ahead` numbers after `before`.
fn missing_name(before: &Item, after: &Item, course: Course, ahead: u64, period: u64) -> String {
    let on = before.number() + ahead;
    match course {
        Course::Again => after.name.with_number(ahead),
        Course::Round if before.number() % BLOCK + ahead > LAST_NUMBER => after.name.with_number(on - period),
        Course::On | Course::Round => before.name.with_number(on),
    }
}

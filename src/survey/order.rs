//! One order for all files: folder number, then file number, natural order elsewhere; capture times check it, and
//! settle what names leave open.
//!
//! Files are put into *runs*: the folders one counter numbered are a run each, in the counter's order; folders of one
//! DCF number (two cards), and folders that nothing numbers, share a run. Within a run the file number decides,
//! wherever it wraps.
//!
//! ## Decisions
//!
//! - Folders that differ only in digits are taken in turn, unless their times overlap by more than half.
//! - Names win over the clock, except names without a counter that contradict complete, distinct times in more than a
//!   quarter of their neighbours.
//! - A counter that began again within a folder, and a full ring of 0 to 9999, are put in order by complete times that
//!   fall back only there and by less than a day.
//! - A gap in the numbers that times contradict is a note, not missing stills.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::copies::{self, Twins};
use super::name::{dcf_folder, natural};
use super::runs::runs;
use super::{Item, Remark, shown};
use crate::diag::{Diagnostic, Diagnostics};
use crate::shot::Pairs;

/// The order of the files.
#[derive(Debug, Default)]
pub(super) struct Order {
    /// Indices of the items, in order.
    pub(super) sequence: Vec<usize>,
    /// The run of each item of `sequence`.
    pub(super) runs: Vec<usize>,
    /// Items that are byte-identical copies of another: the copy, then the other.
    pub(super) copies: Vec<(usize, usize)>,
    /// Items beside another picture of their name that the script wants instead.
    pub(super) passed: Vec<usize>,
    /// What a person should know.
    pub(super) remarks: Vec<Remark>,
}

/// The highest file number of DCF; the next is 1.
pub(super) const LAST_NUMBER: u64 = 9999;

/// The longest a camera may have been off before its counter began again: a day, in nanoseconds.
const FURTHEST_APART: i128 = 86_400_000_000_000;

/// Orders the files.
///
/// # Errors
/// Two stills that claim one place, where no capture time settles which comes first.
pub(super) fn order(items: &[Item], folders: &[PathBuf], pairs: Pairs) -> Result<Order, Diagnostics> {
    let mut order = Order::default();
    let mut mistakes = Diagnostics::default();
    let Twins { copies, clashes, passed } = copies::within_folders(items, pairs);
    for (first, second) in clashes {
        mistakes.push(copies::mistake(&items[first], &items[second]));
    }
    let mut left_out = vec![false; items.len()];
    for (copy, _) in &copies {
        left_out[*copy] = true;
    }
    for index in &passed {
        left_out[*index] = true;
    }
    order.copies = copies;
    order.passed = passed;
    for (run, members) in runs(items, folders, &left_out).into_iter().enumerate() {
        let (sequence, copies) = match arrange(items, members, &mut order.remarks) {
            Ok(arranged) => arranged,
            Err(found) => {
                mistakes.extend(found);
                continue;
            }
        };
        order.runs.extend(std::iter::repeat_n(run, sequence.len()));
        order.sequence.extend(sequence);
        order.copies.extend(copies);
    }
    if mistakes.is_empty() { Ok(order) } else { Err(shortened(mistakes)) }
}

fn shortened(mut mistakes: Diagnostics) -> Diagnostics {
    const SHOWN: usize = 5;
    let more = mistakes.0.len().saturating_sub(SHOWN);
    mistakes.0.truncate(SHOWN);
    if more > 0
        && let Some(last) = mistakes.0.last_mut()
    {
        last.help.push(format!("{more} more pairs are like this"));
    }
    mistakes
}

type Arranged = (Vec<usize>, Vec<(usize, usize)>);

/// Orders one run: by number, from where the numbers wrap, or by natural order where there is no one number.
fn arrange(items: &[Item], mut members: Vec<usize>, remarks: &mut Vec<Remark>) -> Result<Arranged, Diagnostics> {
    let numbered = has_one_counter(items, &members);
    let key = |index: &usize| (items[*index].number(), &items[*index].path);
    if numbered {
        members.sort_by(|a, b| key(a).cmp(&key(b)));
    } else {
        let by_name = |a: &usize, b: &usize| {
            natural(&items[*a].name.stem, &items[*b].name.stem).then_with(|| items[*a].path.cmp(&items[*b].path))
        };
        members.sort_by(by_name);
    }
    let same_place = |a: usize, b: usize| {
        if numbered {
            items[a].number() == items[b].number()
        } else {
            natural(&items[a].name.stem, &items[b].name.stem).is_eq()
        }
    };
    let mut copies = Vec::new();
    let mut clash = None;
    let mut kept: Vec<usize> = Vec::with_capacity(members.len());
    for index in members {
        match kept.last() {
            Some(last) if same_place(*last, index) => {
                if copies::identical(&items[*last], &items[index]) {
                    copies.push((index, *last));
                    continue;
                }
                clash = clash.or(Some((*last, index)));
            }
            _ => {}
        }
        kept.push(index);
    }
    if let Some((first, second)) = clash {
        let settled = by_time(items, &kept).ok_or_else(|| two_in_one_place(&items[first], &items[second]))?;
        remarks.push(Remark::new(
            format!(
                "{} and {} have the same number: their folders are ordered by capture time",
                shown(&items[first].path),
                shown(&items[second].path)
            ),
            [first, second],
        ));
        return Ok((settled, copies));
    }
    if numbered {
        if let Some(start) = wrap(items, &kept) {
            kept.rotate_left(start);
        } else if let Some((timed, [last, first])) = begun_again(items, &kept) {
            // That the ring goes round is said with the other wraps.
            if items[last].number() != LAST_NUMBER {
                let words = format!(
                    "the numbers begin again after {}, with {}: ordered by capture time",
                    shown(&items[last].path),
                    shown(&items[first].path)
                );
                remarks.push(Remark::new(words, [last, first]));
            }
            kept = timed;
        }
    } else if let Some(timed) = instead_of_names(items, &kept) {
        let [first, second] = [timed[0], timed[1]];
        let words = format!(
            "names such as {} and {} give no order: ordered by capture time",
            shown(&items[first].path),
            shown(&items[second].path)
        );
        remarks.push(Remark::new(words, [first, second]));
        kept = timed;
    }
    Ok((kept, copies))
}

/// Whether one counter numbered these files: they share all but the number, or lie in DCF folders and no number stands
/// twice.
fn has_one_counter(items: &[Item], members: &[usize]) -> bool {
    if members.iter().any(|index| items[*index].name.number.is_none()) {
        return false;
    }
    let Some(first) = members.first().map(|index| items[*index].name.run()) else { return true };
    if members.iter().all(|index| items[*index].name.run() == first) {
        return true;
    }
    let dcf = |index: &usize| {
        let item = &items[*index];
        let folder = item.path.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
        dcf_folder(&folder).is_some() && item.name.number.is_some_and(|number| number.digits == 4)
    };
    let mut numbers: Vec<u64> = members.iter().map(|index| items[*index].number()).collect();
    numbers.sort_unstable();
    let distinct = numbers.windows(2).all(|pair| pair[0] != pair[1]);
    distinct && members.iter().all(dcf)
}

/// Where a run sorted by number really starts: after its widest gap, if that is wider than the one around 9999, and
/// capture times do not say otherwise.
fn wrap(items: &[Item], sorted: &[usize]) -> Option<usize> {
    let counter = |index: usize| items[index].name.number.filter(|number| number.digits >= 4);
    let numbers: Option<Vec<u64>> = sorted.iter().map(|index| counter(*index).map(|number| number.value)).collect();
    let numbers = numbers?;
    let (first, last) = (*numbers.first()?, *numbers.last()?);
    if first / (LAST_NUMBER + 1) != last / (LAST_NUMBER + 1) {
        return None;
    }
    let around = first % (LAST_NUMBER + 1) + LAST_NUMBER - last % (LAST_NUMBER + 1);
    let (start, widest) = numbers.windows(2).map(|pair| pair[1] - pair[0]).enumerate().max_by_key(|(_, gap)| *gap)?;
    if widest <= around.max(1) {
        return None;
    }
    let time = |mut part: std::slice::Iter<'_, usize>, back: bool| {
        if back { part.rev().find_map(|index| items[*index].time) } else { part.find_map(|index| items[*index].time) }
    };
    let (low, high) = sorted.split_at(start + 1);
    match (time(low.iter(), true), time(high.iter(), false)) {
        (Some(low), Some(high)) => low > high,
        _ => around <= sorted.len() as u64,
    }
    .then_some(start + 1)
}

/// The order by capture time of stills whose counter began again, or whose ring of 10,000 numbers is full, with the two
/// where it did: each has a time, and the times fall back only where the numbers leap or the ring may begin, and by less
/// than stills in a row may be apart.
fn begun_again(items: &[Item], sorted: &[usize]) -> Option<(Vec<usize>, [usize; 2])> {
    let times: Vec<i128> = sorted.iter().map(|index| items[*index].time).collect::<Option<_>>()?;
    let numbers: Vec<u64> = sorted.iter().map(|index| items[*index].number()).collect();
    let back: Vec<usize> = (1..times.len()).filter(|at| times[*at] < times[*at - 1]).collect();
    let stride = numbers.windows(2).map(|pair| pair[1] - pair[0]).min()?;
    let is_ring = (numbers.first()?, numbers.last()?) == (&0, &LAST_NUMBER) && back.len() == 1;
    let leaps = |at: &usize| numbers[*at] - numbers[*at - 1] > stride;
    if back.is_empty() || !(is_ring || back.iter().all(leaps)) {
        return None;
    }
    let mut parts: Vec<&[usize]> = Vec::with_capacity(back.len() + 1);
    let ends = back.iter().copied().chain([sorted.len()]);
    ends.fold(0, |from, to| {
        parts.push(&sorted[from..to]);
        to
    });
    let span = |part: &&[usize]| Some((items[*part.first()?].time?, items[*part.last()?].time?));
    parts.sort_by_key(span);
    let spans: Vec<(i128, i128)> = parts.iter().map(span).collect::<Option<_>>()?;
    // A clock that was reset is years off, or the stretches lie over each other.
    let follows = |pair: &[(i128, i128)]| (1..=FURTHEST_APART).contains(&(pair[1].0 - pair[0].1));
    if !spans.windows(2).all(follows) {
        return None;
    }
    let at = parts.windows(2).find(|pair| items[pair[1][0]].number() < items[pair[0][0]].number())?;
    let at = [*at[0].last()?, *at[1].first()?];
    Some((parts.concat(), at))
}

/// The order by capture time, where names without a counter contradict it throughout: no clock steps back that often.
fn instead_of_names(items: &[Item], by_name: &[usize]) -> Option<Vec<usize>> {
    const FEWEST: usize = 4;
    let times: Vec<i128> = by_name.iter().map(|index| items[*index].time).collect::<Option<_>>()?;
    let back = times.windows(2).filter(|pair| pair[1] < pair[0]).count();
    if times.len() < FEWEST || back * 4 <= times.len() {
        return None;
    }
    let mut timed = by_name.to_vec();
    timed.sort_by_key(|index| items[*index].time);
    let distinct = timed.windows(2).all(|pair| items[pair[0]].time != items[pair[1]].time);
    distinct.then_some(timed)
}

/// The order by capture time, if each item has one, no two in one place share one, and each folder stays in its own
/// order.
fn by_time(items: &[Item], members: &[usize]) -> Option<Vec<usize>> {
    let mut folders: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for index in members {
        items[*index].time?;
        folders.entry(items[*index].folder).or_default().push(*index);
    }
    let mut all = Vec::with_capacity(members.len());
    for mut folder in folders.into_values() {
        if let Some(start) = wrap(items, &folder) {
            folder.rotate_left(start);
        }
        if folder.windows(2).any(|pair| items[pair[0]].time > items[pair[1]].time) {
            return None;
        }
        all.extend(folder);
    }
    all.sort_by_key(|index| items[*index].time);
    let told_apart = |pair: &[usize]| {
        let (a, b) = (&items[pair[0]], &items[pair[1]]);
        a.time != b.time || a.folder == b.folder
    };
    all.windows(2).all(told_apart).then_some(all)
}

fn two_in_one_place(first: &Item, second: &Item) -> Diagnostic {
    Diagnostic::mistake(format!(
        "{} and {} have the same number, and no capture time settles which comes first",
        shown(&first.path),
        shown(&second.path)
    ))
    .help(format!("the first is {}", first.path.display()))
    .help(format!("the second is {}", second.path.display()))
    .help("name the stills you mean by a pattern, or put each card's stills into a folder numbered in the order they were taken")
}

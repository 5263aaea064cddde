//! Which stills a source chooses by their own clock: hours of the day, days, and the steps of a clock.
//!
//! ## Decisions
//!
//! - Everything goes by the capture time as it is written, as `clock` does. A still's day is the date of its own time,
//!   so that of `hours = { "22:00", "04:00" }` the part after midnight belongs to the next day.
//! - Both ends of hours are in. Days go before hours, and steps thin out what both leave.
//! - Steps are counted from midnight of the first still's day (the shoot's first, by its own clock), and go on over all
//!   days. Every still lies within half a step of one; the nearest is taken, the earlier of two that are as near. A still
//!   half-way between two steps counts for the later one.
//! - A missing or damaged still is taken for when its neighbours say it was taken. No step chooses one, so `only` leaves
//!   it out: another still of its step is there or none is.
//! - What lies between two stills that are chosen and was left out by hours or days is a break (`breaks`), what `only`
//!   thins out is none: there a gap is more than ten steps.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::plan::LeftOutBy;
use crate::shoot::Shoot;
use crate::shot::{Days, Shot, span};
use crate::units::SlotIndex;

use super::breaks::LeftOut;
use super::times::Times;
use super::words::{self, Ranges};

/// Takes out of the slots used what the shot does not choose, and gives it run by run, in order.
///
/// # Errors
/// A choice that leaves no still.
pub(super) fn leave_out(
    shot: &Shot,
    shoot: &Shoot,
    times: &Times,
    used: &mut [bool],
    found: &mut Diagnostics,
) -> Result<Vec<LeftOut>, Diagnostic> {
    let chosen = &shot.source.chosen;
    let (days, hours, only) = (&chosen.days, &chosen.hours, &chosen.only);
    let first = [
        days.as_ref().map(|days| (&days.place, LeftOutBy::Days)),
        hours.as_ref().map(|hours| (&hours.place, LeftOutBy::Hours)),
        only.as_ref().map(|only| (&only.place, LeftOutBy::Only)),
    ];
    let Some(asked) = first.into_iter().flatten().next() else { return Ok(Vec::new()) };
    if let Some(mistake) = without_times(shoot, times, used, asked) {
        found.push(mistake);
        return Ok(Vec::new());
    }
    let mut by: Vec<Option<(LeftOutBy, &Place)>> = vec![None; used.len()];
    let mut leave = |out: LeftOutBy, place, used: &mut [bool], keeps: &dyn Fn(usize) -> bool| {
        for slot in 0..used.len() {
            if used[slot] && !keeps(slot) {
                (used[slot], by[slot]) = (false, Some((out, place)));
            }
        }
    };
    if let Some(days) = days {
        let day = |slot| times.moment(slot).map(|moment| moment.date());
        remark_empty_days(&days.value, &days.place, used, &day, found);
        leave(LeftOutBy::Days, &days.place, used, &|slot| day(slot).is_some_and(|day| days.value.hold(day)));
        none_left(shoot, used, || format!("days leaves no still: none was taken on {}", days.value.words()))
            .map_or(Ok(()), |mistake| Err(mistake.at(&days.place).word("days").help(times.span())))?;
    }
    if let Some(hours) = hours {
        let keeps = |slot| times.moment(slot).is_some_and(|moment| hours.value.hold(moment.time()));
        leave(LeftOutBy::Hours, &hours.place, used, &keeps);
        none_left(shoot, used, || format!("hours leaves no still: none was taken from {}", hours.value.words()))
            .map_or(Ok(()), |mistake| Err(mistake.at(&hours.place).word("hours").help(times.span())))?;
    }
    if let Some(only) = only {
        let kept = nearest(shoot, times, used, only.value);
        let before = used.iter().filter(|used| **used).count();
        leave(LeftOutBy::Only, &only.place, used, &|slot| kept[slot]);
        let thinned = before - used.iter().filter(|used| **used).count();
        found.0.extend(finer(only.value, times, thinned).map(|remark| remark.at(&only.place).word("only")));
    }
    let mut runs: Vec<LeftOut> = Vec::new();
    for (slot, out) in by.into_iter().enumerate() {
        let Some((by, place)) = out else { continue };
        match runs.last_mut().filter(|run| run.slots.end == slot && run.by == by) {
            Some(run) => run.slots.end = slot + 1,
            None => runs.push(LeftOut { slots: slot..slot + 1, place: place.clone(), by }),
        }
    }
    Ok(runs)
}

/// The mistake of stills used whose time nobody knows.
fn without_times(shoot: &Shoot, times: &Times, used: &[bool], (place, by): (&Place, LeftOutBy)) -> Option<Diagnostic> {
    let word = by.word();
    let whole = |slot: &usize| used[*slot] && shoot.still(SlotIndex(*slot)).is_some();
    let mut timeless = Ranges::default();
    (0..used.len()).filter(whole).filter(|slot| !times.is_known(*slot)).for_each(|slot| timeless.add(slot));
    let &(first, last) = timeless.runs().first()?;
    let mistake = if times.is_empty() {
        let message = format!("{word} needs capture times, and no still of this shoot has one");
        Diagnostic::mistake(message).help("cuts = { cut(still(2), still(3)) } leaves out stills by their numbers")
    } else {
        let named = timeless.named(|slot| shoot.slots[slot].name.clone());
        let has = if timeless.len() == 1 { "has" } else { "have" };
        let message = format!("{named} {has} no capture time, and {word} goes by that");
        let out = if timeless.len() == 1 { "it" } else { "them" };
        let out = if timeless.runs().len() > 1 { "the first of them" } else { out };
        Diagnostic::mistake(message).help(format!(
            "cuts = {{ cut(still({}), still({})) }} leaves {out} out",
            first + 1,
            last + 1
        ))
    };
    Some(mistake.at(place).word(word))
}

/// The mistake of a choice that leaves no still.
fn none_left(shoot: &Shoot, used: &[bool], said: impl FnOnce() -> String) -> Option<Diagnostic> {
    let left = (0..used.len()).any(|slot| used[slot] && shoot.still(SlotIndex(slot)).is_some());
    (!left).then(|| Diagnostic::mistake(said()))
}

/// Dates and ranges of a list on which nothing was taken.
fn remark_empty_days(
    days: &Days,
    place: &Place,
    used: &[bool],
    day: &dyn Fn(usize) -> Option<Date>,
    found: &mut Diagnostics,
) {
    let Days::Dates(ranges) = days else { return };
    let mut taken: Vec<Date> = (0..used.len()).filter(|slot| used[*slot]).filter_map(day).collect();
    taken.sort_unstable();
    let is_empty =
        |[first, last]: &&[Date; 2]| taken.get(taken.partition_point(|day| day < first)).is_none_or(|day| day > last);
    let empty: Vec<[Date; 2]> = ranges.iter().filter(is_empty).copied().collect();
    // Where all are empty, that is a mistake.
    if !empty.is_empty() && empty.len() < ranges.len() {
        let message = format!("no still was taken on {}", Days::Dates(empty).words());
        found.push(Diagnostic::remark(message).at(place).word("days"));
    }
}

/// By slot, whether its still is the one nearest to a step.
fn nearest(shoot: &Shoot, times: &Times, used: &[bool], step: f64) -> Vec<bool> {
    let mut best: BTreeMap<i64, (f64, usize)> = BTreeMap::new();
    for slot in (0..used.len()).filter(|slot| used[*slot] && shoot.still(SlotIndex(*slot)).is_some()) {
        let Some(at) = times.seconds(slot) else { continue };
        let number = (at / step + 0.5).floor();
        #[expect(clippy::cast_possible_truncation, reason = "steps of a shoot")]
        let entry = best.entry(number as i64).or_insert((f64::INFINITY, slot));
        let away = (at - number * step).abs();
        if away < entry.0 {
            *entry = (away, slot);
        }
    }
    let mut kept = vec![false; used.len()];
    best.values().for_each(|(_, slot)| kept[*slot] = true);
    kept
}

/// The remark on a step that is shorter than the interval.
fn finer(step: f64, times: &Times, thinned: usize) -> Option<Diagnostic> {
    let interval = times.interval.filter(|interval| step < 0.999 * interval)?;
    let does = match thinned {
        0 => "nothing is thinned out".to_owned(),
        _ => format!("{} out where they come closer", words::count(thinned, "still")),
    };
    let message =
        format!("a step of {} is finer than the {} s from still to still: {does}", span(step), words::figure(interval));
    Some(
        Diagnostic::remark(message).help(format!(
            "only = every(\"{}\") takes about every second still",
            span((2.0 * interval).round().max(1.0))
        )),
    )
}

//! What breaks keep apart in frames, and what is said of it.
//!
//! In: a shot as resolved, and its frames as laid out. Out: a remark for each break without which some frame would be
//! made of more stills, or which levelling or steadying keep to.

use std::collections::BTreeMap;

use crate::diag::{Diagnostic, Diagnostics};
use crate::shoot::Shoot;
use crate::shot::{Shot, SteadyBy};

use super::axis::Axis;
use super::breaks::AxisBreak;
use super::due::Laid;
use super::resolved::Seen;
use super::times::Times;
use super::words::Ranges;

/// How many breaks are named one by one.
const NAMED: usize = 3;

/// The slots of a shoot that begin another side for a shot's levelling and steadying, in order; none where the shot is
/// refused anyhow.
#[must_use]
pub fn sides_of(shot: &Shot, shoot: &Shoot) -> Vec<usize> {
    let mut said = Diagnostics::default();
    let times = Times::of(shot, shoot, &mut said);
    Axis::lay_out(shot, shoot, &times, &mut said).map_or_else(|_| Vec::new(), |axis| axis.sides)
}

/// By break, the first delivery of those laid out that has frames which it keeps from more stills, and those frames.
pub(super) fn kept_apart(laid: &[Vec<Laid>]) -> BTreeMap<usize, (usize, Ranges)> {
    let mut kept: BTreeMap<usize, (usize, Ranges)> = BTreeMap::new();
    for (delivery, rows) in laid.iter().enumerate() {
        for (frame, (due, _)) in rows.iter().enumerate() {
            let Some(one) = due.kept_from else { continue };
            let (first, frames) = kept.entry(one).or_insert_with(|| (delivery, Ranges::default()));
            if *first == delivery {
                frames.add(frame);
            }
        }
    }
    kept
}

/// What was kept apart and would not have been: each break by itself while they are few.
pub(super) fn remarks(seen: &Seen<'_>) -> Vec<Diagnostic> {
    let (source, made) = (&seen.shot.source, seen.made);
    let steadied = seen.shot.steady.as_ref().is_some_and(|steady| matches!(steady.by, SteadyBy::Measured { .. }));
    let measured = steadied || made.plan.level.as_ref().is_some_and(|level| level.radius.is_some());
    let breaks = made.axis.breaks.iter().enumerate();
    let kept: Vec<(usize, &AxisBreak)> =
        breaks.filter(|(index, one)| made.kept_apart.contains_key(index) || (measured && one.wide)).collect();
    let named = if kept.len() > NAMED + 1 { NAMED } else { kept.len() };
    // Levelling and steadying alone mix nothing.
    let does = if made.kept_apart.is_empty() { "reaches across" } else { "mixes them" };
    let help = format!("across = true in its source {does}");
    let say = |message: String| Diagnostic::remark(message).at(&source.place).help(&help);
    let one = |(index, one): &(usize, &AxisBreak)| {
        let remark = say(format!("kept apart: {}", one.told.words()));
        match made.kept_apart.get(index) {
            Some((delivery, frames)) => remark.over(&seen.shot.deliveries[*delivery].name, frames.runs()),
            None => remark,
        }
    };
    let mut said: Vec<Diagnostic> = kept[..named].iter().map(one).collect();
    if kept.len() > named {
        said.push(say(format!("kept apart in {} more places", kept.len() - named)));
    }
    said
}

//! Where and when things happen, as keys to paste into a script.

#![expect(clippy::cast_precision_loss, reason = "counts of tiles and stills")]

use serde::Serialize;

use crate::measures::{Measures, Step};
use crate::units::SlotIndex;

/// As many are suggested at most.
const MOST: usize = 5;
/// Activity is seen over this share of the shoot at a time, and over so many steps at least.
const SPAN: usize = 24;
const LEAST_STEPS: usize = 3;
/// A tile that changes in the mean this much more often than it does in the whole shoot is where something happens.
const MORE: f64 = 0.1;
/// The share of what happens that is left out on each side of a box.
const LEFT_OUT: f64 = 0.08;
/// Sides of a box, as fractions of the still: windows of all usual shapes can hold it.
const SIDES: [std::ops::RangeInclusive<f64>; 2] = [0.12..=0.4, 0.12..=0.6];

/// A key for something that happens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Suggestion {
    /// When.
    pub at: SlotIndex,
    /// Where: x, y, width, height, in fractions of the still.
    pub show: [f64; 4],
    /// How many tiles change there and then beyond what is usual for them, in the mean.
    pub weight: f64,
}

/// The stretches of a shoot in which most happens beyond what always goes on, in their order.
#[must_use]
pub fn suggestions(measures: &Measures) -> Vec<Suggestion> {
    let spoilt: Vec<SlotIndex> = measures.odd.iter().map(|(slot, _)| *slot).collect();
    let steps: Vec<&Step> = measures
        .steps
        .iter()
        .filter(|step| step.changed.len() == measures.heat.shares.len())
        .filter(|step| !spoilt.contains(&step.from) && !spoilt.contains(&step.to))
        .collect();
    let span = (steps.len() / SPAN).max(LEAST_STEPS);
    if steps.len() < 2 * span {
        return Vec::new();
    }
    let mut found: Vec<(usize, Suggestion)> =
        (0..=steps.len() - span).filter_map(|from| Some((from, happening(&steps[from..from + span], measures)?))).collect();
    found.sort_by(|a, b| b.1.weight.total_cmp(&a.1.weight).then(a.0.cmp(&b.0)));
    let Some(strongest) = found.first().map(|(_, suggestion)| suggestion.weight) else { return Vec::new() };
    let mut chosen: Vec<(usize, Suggestion)> = Vec::new();
    for (from, suggestion) in found {
        let apart = chosen.iter().all(|(other, _)| from.abs_diff(*other) >= 2 * span);
        if apart && chosen.len() < MOST && suggestion.weight > strongest / 4.0 {
            chosen.push((from, suggestion));
        }
    }
    chosen.sort_by_key(|(from, _)| *from);
    chosen.into_iter().map(|(_, suggestion)| suggestion).collect()
}

/// What happens over some steps beyond what always goes on.
fn happening(steps: &[&Step], measures: &Measures) -> Option<Suggestion> {
    let heat = &measures.heat;
    let often = |tile: usize| steps.iter().filter(|step| step.changed[tile]).count() as f64 / steps.len() as f64;
    let more: Vec<f64> = heat
        .shares
        .iter()
        .enumerate()
        .map(|(tile, share)| often(tile) - f64::from(*share))
        .map(|more| if more > MORE { more } else { 0.0 })
        .collect();
    let weight: f64 = more.iter().sum();
    let (columns, rows) = (heat.across, heat.down);
    let across: Vec<f64> = (0..columns).map(|x| (0..rows).map(|y| more[y * columns + x]).sum()).collect();
    let down: Vec<f64> = (0..rows).map(|y| more[y * columns..(y + 1) * columns].iter().sum()).collect();
    if weight <= 0.0 {
        return None;
    }
    let side = |sums: &[f64], sides: &std::ops::RangeInclusive<f64>| {
        let (from, to) = bounds(sums);
        let (middle, length) = (f64::midpoint(from, to), (to - from).clamp(*sides.start(), *sides.end()));
        let start = (middle - length / 2.0).clamp(0.0, 1.0 - length);
        (rounded(start), rounded(length))
    };
    let ((x, width), (y, height)) = (side(&across, &SIDES[0]), side(&down, &SIDES[1]));
    Some(Suggestion { at: steps[steps.len() / 2].to, show: [x, y, width, height], weight })
}

/// The fractions of a side between which most of the sum lies.
fn bounds(sums: &[f64]) -> (f64, f64) {
    let whole: f64 = sums.iter().sum();
    let reach = |sums: &mut dyn Iterator<Item = &f64>| {
        let mut sum = 0.0;
        sums.take_while(|value| {
            sum += **value;
            sum <= LEFT_OUT * whole
        })
        .count() as f64
    };
    let count = sums.len() as f64;
    (reach(&mut sums.iter()) / count, 1.0 - reach(&mut sums.iter().rev()) / count)
}

fn rounded(fraction: f64) -> f64 {
    (fraction * 100.0).round() / 100.0
}

/// Suggestions as the keys of a framing, between a beginning and an end that show everything.
#[must_use]
pub fn suggestions_in_words(suggestions: &[Suggestion]) -> String {
    if suggestions.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "\nwhere and when most happens, to be pasted into a script:\n  framing = framing {\n    key { at = \"start\", on = point(0.5, 0.5), zoom = 1 },\n",
    );
    for Suggestion { at, show: [x, y, width, height], .. } in suggestions {
        out += &format!(
            "    key {{ at = still({}), show = box({x}, {y}, {width}, {height}), ease = \"ease-in-out\" }},\n",
            at.0 + 1
        );
    }
    out + "    key { at = \"end\", on = point(0.5, 0.5), zoom = 1, ease = \"ease-in-out\" },\n  },\n"
}

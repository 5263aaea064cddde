//! Where and when things happen, as keys to paste into a script.
//!
//! ## Decisions
//!
//! - Keys are suggested over an eighth of the shoot at a time, so that what only passes by counts for little.

#![expect(clippy::cast_precision_loss, reason = "counts of tiles and stills")]

use serde::Serialize;

use crate::measures::{Heat, Measures, Step};
use crate::units::SlotIndex;

/// Maximum number of suggestions.
const MOST: usize = 5;
/// Activity is summed over this fraction of the shoot at a time (one in so many), long enough for what passes by to be
/// gone again, and over at least this many steps.
const SPAN: usize = 8;
const LEAST_STEPS: usize = 3;
/// How many stretches begin within the length of one.
const STRIDES: usize = 8;
/// Other stretches are suggested if their fullest part of the picture is at least this share of the fullest stretch's.
const AS_FULL: f64 = 0.75;
/// A tile that changes in the mean this much more often than it does in the whole shoot is where something happens.
const MORE: f64 = 0.1;
/// The share of what happens that is left out on each side of a box.
const LEFT_OUT: f64 = 0.08;
/// Parts of the still in which what happens is sought, as fractions of its sides, the smallest first; a wider one is
/// taken where it is at least this much as full.
const PARTS: [f64; 3] = [0.2, 0.3, 0.4];
const THINNED: f64 = 0.7;
/// Sides of a box, as fractions of the still.
const SIDES: std::ops::RangeInclusive<f64> = 0.12..=0.4;
/// The shape whose windows hold the boxes without leaving the still; others may be moved inside.
const SHAPE: f64 = 16.0 / 9.0;
/// Room left at the still's edge, for the rounding of what is printed.
const EDGE: f64 = 0.015;

/// A key for something that happens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Suggestion {
    /// When.
    pub at: SlotIndex,
    /// Where: x, y, width, height, in fractions of the still.
    pub show: [f64; 4],
    /// How many tiles change there and then beyond what is usual for them, in the mean over the steps.
    pub weight: f64,
}

/// The stretches of a shoot in which most happens beyond what always goes on, in their order. `aspect` is the still's
/// width over its height.
#[must_use]
pub fn suggestions(measures: &Measures, aspect: f64) -> Vec<Suggestion> {
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
    let columns = measures.heat.across;
    let from_to = |from: usize| &steps[from..from + span];
    let mut found: Vec<(usize, f64)> = (0..=steps.len() - span)
        .step_by((span / STRIDES).max(1))
        .filter_map(|from| Some((from, fullest(&excess(from_to(from), &measures.heat), columns, PARTS[0])?.0)))
        .collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let most = found.first().map_or(0.0, |(_, density)| *density);
    let mut chosen: Vec<usize> = Vec::new();
    for (from, density) in found {
        let apart = chosen.iter().all(|other| from.abs_diff(*other) >= span);
        if apart && chosen.len() < MOST && density >= AS_FULL * most {
            chosen.push(from);
        }
    }
    chosen.sort_unstable();
    let suggestion = |from: usize| {
        let steps = from_to(from);
        let (weight, sides) = densest(&excess(steps, &measures.heat), columns)?;
        let centre = sides.map(|(from, to)| f64::midpoint(from, to));
        let show = framed(centre, sides.map(|(from, to)| to - from), aspect);
        Some(Suggestion { at: steps[steps.len() / 2].to, show, weight })
    };
    chosen.into_iter().filter_map(suggestion).collect()
}

/// How much more often each tile changes over some steps than it always does.
fn excess(steps: &[&Step], heat: &Heat) -> Vec<f64> {
    let often = |tile: usize| steps.iter().filter(|step| step.changed[tile]).count() as f64 / steps.len() as f64;
    let more = heat.shares.iter().enumerate().map(|(tile, share)| often(tile) - f64::from(*share));
    more.map(|more| if more > MORE { more } else { 0.0 }).collect()
}

/// Where the part of a size, as a fraction of the still's sides, lies in which the most happens: the mean of its tiles,
/// its first column and row, and how many of either.
fn fullest(more: &[f64], columns: usize, side: f64) -> Option<(f64, [usize; 4])> {
    let rows = more.len().checked_div(columns)?;
    let [wide, high] = [columns, rows].map(|count| tiles(side, count));
    let line = |x: usize, y: usize| more[y * columns + x..][..wide].iter().sum::<f64>();
    let mean = |x: usize, y: usize| (y..y + high).map(|y| line(x, y)).sum::<f64>() / (wide * high) as f64;
    let corners = (0..=rows.checked_sub(high)?).flat_map(|y| (0..=columns - wide).map(move |x| (x, y)));
    corners.map(|(x, y)| (mean(x, y), [x, y, wide, high])).max_by(|a, b| a.0.total_cmp(&b.0))
}

/// How much happens in the part in which the most does, and from where to where that lies, across and down, as
/// fractions: what else goes on at that time elsewhere in the picture has no say in it.
fn densest(more: &[f64], columns: usize) -> Option<(f64, [(f64, f64); 2])> {
    let rows = more.len().checked_div(columns)?;
    let mut parts = PARTS.into_iter().map_while(|side| fullest(more, columns, side));
    let smallest = parts.next().filter(|(density, _)| *density > 0.0)?;
    let thin = THINNED * smallest.0;
    let [x, y, wide, high] = parts.take_while(|(density, _)| *density >= thin).last().unwrap_or(smallest).1;
    let across: Vec<f64> = (x..x + wide).map(|x| (y..y + high).map(|y| more[y * columns + x]).sum()).collect();
    let down: Vec<f64> = (y..y + high).map(|y| more[y * columns + x..][..wide].iter().sum()).collect();
    let within = |from: usize, sums: &[f64], of: usize| {
        let (first, last) = bounds(sums);
        let fraction = |place: f64| (from as f64 + place * sums.len() as f64) / of as f64;
        (fraction(first), fraction(last))
    };
    Some((across.iter().sum(), [within(x, &across, columns), within(y, &down, rows)]))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a few tiles")]
fn tiles(share: f64, count: usize) -> usize {
    ((share * count as f64).round() as usize).clamp(1, count.max(1))
}

/// A box around a place that a window of [`SHAPE`] holds without leaving the still: smaller near the edge, and at last
/// moved.
fn framed(at: [f64; 2], sides: [f64; 2], aspect: f64) -> [f64; 4] {
    // A window's height for its width, both as fractions of the still.
    let slope = aspect / SHAPE;
    let room = |place: f64| 2.0 * (place.min(1.0 - place) - EDGE);
    // The widest window around the place that stays inside.
    let window = room(at[0]).min(room(at[1]) / slope).max(*SIDES.start());
    let width = sides[0].clamp(*SIDES.start(), *SIDES.end()).min(window);
    let height = sides[1].clamp(*SIDES.start(), *SIDES.end()).min(window * slope);
    let wide = width.max(height / slope);
    let inside = |place: f64, length: f64| place.clamp(length / 2.0 + EDGE, 1.0 - length / 2.0 - EDGE);
    let (x, y) = (inside(at[0], wide), inside(at[1], wide * slope));
    [x - width / 2.0, y - height / 2.0, width, height].map(rounded)
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

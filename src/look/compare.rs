//! Each still with the one before: light, shift, activity.

#![expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "counts of a thumbnail's pixels and of stills")]

use super::{Fault, shift};
use crate::measures::{Glance, Heat, Measures, Step};
use crate::units::SlotIndex;

/// Thumbnail pixels a side of a tile.
pub(super) const TILE: usize = 4;
/// A tile has changed where its mean difference is more than this many times the median tile's …
const TIMES_USUAL: f32 = 4.0;
/// … and more than this share of the range, as coded.
const LEAST: f32 = 0.008;
/// Roots of light that are neither black nor white.
const LIT: std::ops::Range<f32> = 0.06..0.97;
/// As large a share of the thumbnail must be lit in both stills for their light to be compared.
const LIT_SHARE: usize = 20;
/// After so many stills places are measured from a nearer one.
const ANCHORED: usize = 64;

/// A glance with its grey thumbnail.
pub(super) struct Seen {
    pub(super) slot: SlotIndex,
    pub(super) glance: Glance,
    pub(super) grey: Vec<f32>,
}

impl Seen {
    pub(super) fn new(slot: SlotIndex, glance: Glance) -> Self {
        let grey = glance.thumbnail.grey();
        Self { slot, glance, grey }
    }
}

/// Compares every measured still with the one before.
///
/// # Errors
/// [`Fault::Stopped`] where `go_on` says so.
pub(super) fn compare(measures: &mut Measures, go_on: &dyn Fn() -> bool) -> Result<(), Fault> {
    let slots: Vec<SlotIndex> = measures.measured().map(|(slot, _)| slot).collect();
    let mut steps = Vec::with_capacity(slots.len());
    let mut counts: Vec<u32> = Vec::new();
    let mut before: Option<Seen> = None;
    let mut places = Places::default();
    for slot in slots {
        if !go_on() {
            return Err(Fault::Stopped);
        }
        // An entry that was removed meanwhile leaves its still without a step.
        let Some(glance) = measures.glance(slot) else { continue };
        let seen = Seen::new(slot, glance);
        if let Some(before) = &before {
            let brighter = brighter(&before.grey, &seen.grey);
            let tiles = Tiles::between(before, &seen, brighter.unwrap_or(0.0));
            let shift = shift::between(&before.glance.profiles, &seen.glance.profiles);
            let place = places.of(before, &seen, shift);
            let changed = tiles.changed();
            if counts.len() != changed.len() {
                counts = vec![0; changed.len()];
                (measures.heat.across, measures.heat.down) = (tiles.across, tiles.down);
            }
            counts.iter_mut().zip(&changed).for_each(|(count, changed)| *count += u32::from(*changed));
            steps.push(Step {
                from: before.slot,
                to: slot,
                brighter,
                shift,
                place,
                activity: changed.iter().filter(|changed| **changed).count() as f64 / changed.len().max(1) as f64,
                difference: difference(&before.grey, &seen.grey),
            });
        } else {
            places.begin(&seen);
        }
        before = Some(seen);
    }
    let shares = counts.iter().map(|count| *count as f32 / steps.len().max(1) as f32).collect();
    measures.heat = Heat { shares, ..std::mem::take(&mut measures.heat) };
    measures.steps = steps;
    Ok(())
}

/// Natural logarithm of how much brighter the later picture is, by the median of its pixels.
pub(super) fn brighter(earlier: &[f32], later: &[f32]) -> Option<f64> {
    let pairs = earlier.iter().zip(later).filter(|(a, b)| LIT.contains(*a) && LIT.contains(*b));
    let mut ratios: Vec<f32> = pairs.map(|(a, b)| b / a).collect();
    if ratios.is_empty() || ratios.len() * LIT_SHARE < earlier.len() {
        return None;
    }
    let middle = ratios.len() / 2;
    let (_, median, _) = ratios.select_nth_unstable_by(middle, f32::total_cmp);
    // Of roots of light.
    Some(2.0 * f64::from(*median).ln())
}

/// Mean difference of two grey thumbnails.
fn difference(a: &[f32], b: &[f32]) -> f64 {
    a.iter().zip(b).map(|(a, b)| f64::from((a - b).abs())).sum::<f64>() / a.len().max(1) as f64
}

/// How much each tile changed from one still to another, the level's own change apart.
pub(super) struct Tiles {
    pub(super) across: usize,
    pub(super) down: usize,
    /// Mean differences, row by row.
    pub(super) differences: Vec<f32>,
}

impl Tiles {
    /// `brighter` is the logarithm of how much brighter the later still is.
    pub(super) fn between(earlier: &Seen, later: &Seen, brighter: f64) -> Self {
        let (width, height) = (later.glance.thumbnail.width, later.glance.thumbnail.height);
        let (across, down) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let mut sums = vec![(0.0, 0_u32); across * down];
        let gain = (-brighter / 2.0).exp() as f32;
        for (at, (a, b)) in earlier.grey.iter().zip(&later.grey).enumerate() {
            let (sum, count) = &mut sums[at / width / TILE * across + at % width / TILE];
            // What was or became white says nothing of what moved.
            *sum += if a.max(*b) < LIT.end { (b * gain - a).abs() } else { (b - a).abs() };
            *count += 1;
        }
        Self { across, down, differences: sums.into_iter().map(|(sum, count)| sum / count.max(1) as f32).collect() }
    }

    /// Which tiles changed by more than noise does.
    pub(super) fn changed(&self) -> Vec<bool> {
        let mut sorted = self.differences.clone();
        sorted.sort_by(f32::total_cmp);
        let usual = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
        let limit = LEAST.max(TIMES_USUAL * usual);
        self.differences.iter().map(|difference| *difference > limit).collect()
    }
}

/// Where each picture lies against the first, measured from a still not too far back rather than added up step by step.
#[derive(Default)]
struct Places {
    anchor: Option<Glance>,
    anchored_at: [f64; 2],
    since: usize,
    last: [f64; 2],
}

impl Places {
    fn begin(&mut self, first: &Seen) {
        self.anchor = Some(first.glance.clone());
    }

    fn of(&mut self, before: &Seen, seen: &Seen, shift: Option<[f64; 2]>) -> Option<[f64; 2]> {
        let from_anchor = |anchor: &Glance| shift::between(&anchor.profiles, &seen.glance.profiles);
        let mut found = (self.since < ANCHORED).then(|| self.anchor.as_ref().and_then(from_anchor)).flatten();
        self.since += 1;
        if found.is_none() {
            (self.anchor, self.anchored_at, self.since) = (Some(before.glance.clone()), self.last, 1);
            found = shift;
        }
        let place = found.map(|found| [self.anchored_at[0] + found[0], self.anchored_at[1] + found[1]]);
        self.last = place.unwrap_or(self.last);
        place
    }
}

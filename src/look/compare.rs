//! Each still with the one before: light, shift, activity; and beside those around it: oddities.

#![expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "counts of a thumbnail's pixels and of stills")]

use std::rc::Rc;

use super::runs::Runs;
use super::{Fault, odd, shift, stripes};
use crate::measures::{Glance, Heat, Measures, Oddity, Step};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// Thumbnail pixels a side of a tile.
pub(super) const TILE: usize = 4;
/// A tile has changed where its mean difference is more than this many times a quiet tile's …
const TIMES_USUAL: f32 = 4.0;
/// … and more than this share of the range, as coded.
pub(super) const LEAST: f32 = 0.008;
/// Roots of light that are neither black nor white.
const LIT: std::ops::Range<f32> = 0.06..0.97;
/// To compare light, one in this many pixels of the thumbnail must be lit in both stills.
const LIT_SHARE: usize = 20;
/// After this many stills places are measured from a nearer one.
const ANCHORED: usize = 64;

/// A glance with its thumbnail as roots of light from 0 to 1.
pub(super) struct Seen {
    pub(super) slot: SlotIndex,
    pub(super) glance: Glance,
    pub(super) grey: Vec<f32>,
    pub(super) channels: [Vec<f32>; 3],
    /// Natural logarithm of the light that the camera's settings let in, where headers tell.
    pub(super) exposure: Option<f64>,
}

impl Seen {
    fn new(slot: SlotIndex, glance: Glance, exposure: Option<f64>) -> Self {
        let grey = glance.thumbnail.grey();
        let channels =
            glance.thumbnail.roots.each_ref().map(|roots| roots.iter().map(|root| f32::from(*root) / 65_535.0).collect());
        Self { slot, glance, grey, channels, exposure }
    }
}

/// Compares every measured still with its neighbours.
///
/// # Errors
/// [`Fault::Stopped`] where `go_on` says so.
pub(super) fn compare(shoot: &Shoot, measures: &mut Measures, go_on: &dyn Fn() -> bool) -> Result<(), Fault> {
    let slots: Vec<SlotIndex> = measures.measured().map(|(slot, _)| slot).collect();
    let mut steps = Vec::with_capacity(slots.len());
    let mut last: Option<Rc<Seen>> = None;
    let mut runs = Runs::default();
    let mut places = Places::default();
    let mut heat = Heat::default();
    for slot in slots {
        if !go_on() {
            return Err(Fault::Stopped);
        }
        // An entry that was removed meanwhile leaves its still without a step.
        let Some(glance) = measures.glance(slot) else { continue };
        let still = shoot.still(slot);
        let exposure = still.and_then(|still| still.settings.light()).map(f64::ln);
        let seen = Rc::new(Seen::new(slot, glance, exposure));
        match &last {
            Some(before) => {
                let turned = still.is_some_and(|still| still.orientation.swaps_sides());
                steps.push(step(before, &seen, turned, &mut places, &mut heat));
            }
            None => places.begin(&seen),
        }
        runs.take(&seen);
        last = Some(seen);
    }
    measures.odd = runs.finish();
    let count = steps.len().max(1) as f32;
    heat.shares = vec![0.0; heat.across * heat.down];
    let tiles = heat.shares.len();
    for changed in steps.iter().map(|step: &Step| &step.changed).filter(|changed| changed.len() == tiles) {
        heat.shares.iter_mut().zip(changed).for_each(|(share, changed)| *share += f32::from(u8::from(*changed)) / count);
    }
    (measures.heat, measures.steps) = (heat, steps);
    odd::by_themselves(measures);
    if shoot.recording.is_some() {
        // Codecs repeat what hardly changes, which leaves the noise no say.
        measures.odd.retain(|(_, oddity)| !matches!(oddity, Oddity::Torn { .. }));
    } else {
        odd::repeated(measures);
    }
    odd::settled(measures);
    measures.odd.sort_by_key(|(slot, _)| *slot);
    Ok(())
}

fn step(before: &Seen, seen: &Seen, turned: bool, places: &mut Places, heat: &mut Heat) -> Step {
    let brighter = brighter(&before.grey, &seen.grey);
    let tiles = Tiles::between(before, seen, brighter.unwrap_or(0.0));
    (heat.across, heat.down) = (tiles.across, tiles.down);
    let shift = shift::between(&before.glance.profiles, &seen.glance.profiles);
    let changed = tiles.changed();
    Step {
        from: before.slot,
        to: seen.slot,
        brighter,
        shift,
        place: places.of(before, seen, shift),
        activity: changed.iter().filter(|changed| **changed).count() as f64 / changed.len().max(1) as f64,
        noise: noise(&before.grey, &seen.grey, brighter.unwrap_or(0.0)),
        stripes: stripes::between(before, seen, turned),
        changed,
    }
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

/// Median difference of two grey thumbnails, the level's own change apart.
fn noise(a: &[f32], b: &[f32], brighter: f64) -> f64 {
    let gain = (-brighter / 2.0).exp() as f32;
    let mut apart: Vec<f32> = a.iter().zip(b).map(|(a, b)| (a - b * gain).abs()).collect();
    if apart.is_empty() {
        return 0.0;
    }
    let middle = apart.len() / 2;
    f64::from(*apart.select_nth_unstable_by(middle, f32::total_cmp).1)
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
        let apart = |a: f32, b: f32| if a.max(b) < LIT.end { (b * gain - a).abs() } else { (b - a).abs() };
        // What was or became white says nothing of what moved.
        for (earlier, later) in earlier.channels.iter().zip(&later.channels) {
            for (at, (a, b)) in earlier.iter().zip(later).enumerate() {
                let (sum, count) = &mut sums[at / width / TILE * across + at % width / TILE];
                *sum += apart(*a, *b);
                *count += 1;
            }
        }
        Self { across, down, differences: sums.into_iter().map(|(sum, count)| sum / count.max(1) as f32).collect() }
    }

    /// As [`Tiles::between`], by grey alone and without each tile's own mean difference: light that changes evenly, however
    /// differently here and there, leaves nothing.
    pub(super) fn structure(earlier: &Seen, later: &Seen, brighter: f64) -> Self {
        let (width, height) = (later.glance.thumbnail.width, later.glance.thumbnail.height);
        let (across, down) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let gain = (-brighter / 2.0).exp() as f32;
        let mut tiles = vec![Vec::with_capacity(TILE * TILE); across * down];
        for (at, (a, b)) in earlier.grey.iter().zip(&later.grey).enumerate() {
            tiles[at / width / TILE * across + at % width / TILE].push(b * gain - a);
        }
        let apart = |tile: Vec<f32>| {
            let mean = tile.iter().sum::<f32>() / tile.len().max(1) as f32;
            tile.iter().map(|difference| (difference - mean).abs()).sum::<f32>() / tile.len().max(1) as f32
        };
        Self { across, down, differences: tiles.into_iter().map(apart).collect() }
    }

    /// From which difference on a tile has changed by more than noise does.
    pub(super) fn limit(&self) -> f32 {
        let mut sorted = self.differences.clone();
        sorted.sort_by(f32::total_cmp);
        // Where half of the picture moves, the noise is that of the quieter half.
        let usual = sorted.get(sorted.len() / 4).copied().unwrap_or(0.0);
        LEAST.max(TIMES_USUAL * usual)
    }

    /// Which tiles changed by more than noise does.
    pub(super) fn changed(&self) -> Vec<bool> {
        let limit = self.limit();
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

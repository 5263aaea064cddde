//! Each still with the one before: light, shift, activity; and beside those around it: oddities.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "counts of a thumbnail's pixels and of stills"
)]

use std::rc::Rc;
use std::sync::Arc;

use super::busy;
use super::moved::Movement;
use super::runs::Runs;
use super::seen::{Seen, brighter};
use super::tiles::Tiles;
use super::{Fault, odd, shift, stripes};
use crate::measures::{Heat, Measures, Oddity, Step, ThumbnailStats};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// After this many stills places are measured from a nearer one.
const ANCHORED: usize = 64;

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
    let mut movement = Movement::default();
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
        let brighter = steps.last().filter(|_| last.is_some()).and_then(|step: &Step| step.brighter);
        movement.take(&seen, brighter.unwrap_or(0.0));
        runs.take(&seen);
        last = Some(seen);
    }
    movement.finish();
    measures.activity = Arc::new(busy::weighed(&movement, shoot.slots.len()));
    measures.odd = runs.finish();
    let count = steps.len().max(1) as f32;
    heat.shares = vec![0.0; heat.across * heat.down];
    let tiles = heat.shares.len();
    for changed in steps.iter().map(|step: &Step| &step.changed).filter(|changed| changed.len() == tiles) {
        heat.shares
            .iter_mut()
            .zip(changed)
            .for_each(|(share, changed)| *share += f32::from(u8::from(*changed)) / count);
    }
    (measures.heat, measures.steps) = (heat, steps);
    odd::by_themselves(measures);
    odd::lighter_or_darker(measures);
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

/// Where each picture lies against the first, measured from a still not too far back rather than added up step by step.
#[derive(Default)]
struct Places {
    anchor: Option<ThumbnailStats>,
    anchored_at: [f64; 2],
    since: usize,
    last: [f64; 2],
}

impl Places {
    fn begin(&mut self, first: &Seen) {
        self.anchor = Some(first.glance.clone());
    }

    fn of(&mut self, before: &Seen, seen: &Seen, shift: Option<[f64; 2]>) -> Option<[f64; 2]> {
        let from_anchor = |anchor: &ThumbnailStats| shift::between(&anchor.profiles, &seen.glance.profiles);
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

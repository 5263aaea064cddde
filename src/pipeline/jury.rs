//! Holds every still that is decoded against those beside it: damage that its decoder cannot tell of
//! ([`crate::integrity`]).
//!
//! A still can be judged when its neighbours have been decoded, and by then its frames may have been painted. So damage
//! found here ends the run, as damage without a stand-in does; whoever began it makes another plan and goes on.

use std::collections::BTreeSet;

use super::batches::Visit;
use super::{Fault, Studio, lock};
use crate::decode::Decoder;
use crate::integrity::{Jury, Means};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// Stills fewer than this have nobody beside them who would be decoded anyway.
const ENOUGH: usize = 3;

/// The stills of a run, and those that are read for their sake alone.
pub(super) struct Bench {
    pub(super) jury: Jury,
    /// Not shown in this run: neighbours of those that are, where there are few, and what an earlier run left unjudged.
    pub(super) witnesses: Vec<SlotIndex>,
}

impl Bench {
    /// For the visits of a run that goes on where another left stills `unjudged`.
    pub(super) fn new(shoot: &Shoot, visits: &[Visit<'_>], unjudged: &[SlotIndex]) -> Self {
        let shown: BTreeSet<SlotIndex> = visits.iter().map(|visit| visit.still.slot).collect();
        let mut all = shown.clone();
        for slot in unjudged {
            all.insert(*slot);
            all.extend(beside(shoot, *slot));
        }
        if (1..ENOUGH).contains(&shown.len()) {
            all.extend(shown.iter().flat_map(|slot| beside(shoot, *slot)));
        }
        let witnesses = all.difference(&shown).copied().collect();
        Self { jury: Jury::new(all), witnesses }
    }
}

/// The nearest whole stills on either side of one.
fn beside(shoot: &Shoot, slot: SlotIndex) -> impl Iterator<Item = SlotIndex> {
    let is_whole = |slot: &SlotIndex| shoot.still(*slot).is_some();
    let before = (0..slot.0).rev().map(SlotIndex).find(is_whole);
    let after = (slot.0 + 1..shoot.slots.len()).map(SlotIndex).find(is_whole);
    before.into_iter().chain(after)
}

/// Reads the witnesses. What cannot be read is no witness.
pub(super) fn call_witnesses(studio: &Studio<'_>, witnesses: &[SlotIndex]) {
    let mut decoder = Decoder::new();
    for slot in witnesses {
        if studio.failed() {
            return;
        }
        let means = studio.shoot.still(*slot).and_then(|still| decoder.means_of(still).ok().flatten());
        hear(studio, *slot, means);
    }
}

/// A still has been decoded, or cannot be: judges whom that allows to be judged.
pub(super) fn hear(studio: &Studio<'_>, slot: SlotIndex, means: Option<Means>) {
    let Some(jury) = &studio.jury else { return };
    let trials = lock(jury).seat(slot, means);
    for trial in trials {
        let rows = studio.shoot.still(trial.slot).map_or(0, |still| still.stored.height);
        if let Some(damage) = trial.damage(rows) {
            studio.fail(Fault::Damaged { slot: trial.slot, damage });
        }
    }
}

//! Holds every still that is decoded against those beside it: damage that its decoder cannot tell of
//! ([`crate::integrity`]).
//!
//! A still can be judged when its neighbours have been decoded, and by then its frames may have been painted. So damage
//! found here ends the run, as damage without a stand-in does; whoever began it makes another plan and goes on.

use std::collections::BTreeSet;
use std::ops::Range;

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
    /// By shoot, that of the run or those joined in it: nobody is held against the stills of another. A recording's has
    /// nobody to judge: codecs tell of damage themselves, and keep to no order that light does not.
    pub(super) juries: Vec<Jury>,
    /// Not shown in this run: neighbours of those that are, where there are few, and what an earlier run left unjudged.
    pub(super) witnesses: Vec<SlotIndex>,
}

impl Bench {
    /// For the visits of a run that goes on where another left stills `unjudged`.
    pub(super) fn new(shoot: &Shoot, visits: &[Visit<'_>], unjudged: &[SlotIndex]) -> Self {
        let (mut juries, mut witnesses) = (Vec::new(), Vec::new());
        for (slots, recording) in shoot.recordings() {
            let is_own = |slot: &SlotIndex| recording.is_none() && slots.contains(&slot.0);
            let shown: BTreeSet<SlotIndex> = visits.iter().map(|visit| visit.still.slot).filter(is_own).collect();
            let mut all = shown.clone();
            for slot in unjudged.iter().copied().filter(is_own) {
                all.insert(slot);
                all.extend(beside(shoot, &slots, slot));
            }
            if (1..ENOUGH).contains(&shown.len()) {
                all.extend(shown.iter().flat_map(|slot| beside(shoot, &slots, *slot)));
            }
            witnesses.extend(all.difference(&shown));
            juries.push(Jury::new(all));
        }
        Self { juries, witnesses }
    }
}

/// The nearest whole stills on either side of one, among the slots of its shoot.
fn beside(shoot: &Shoot, slots: &Range<usize>, slot: SlotIndex) -> impl Iterator<Item = SlotIndex> {
    let is_whole = |slot: &SlotIndex| shoot.still(*slot).is_some();
    let before = (slots.start..slot.0).rev().map(SlotIndex).find(is_whole);
    let after = (slot.0 + 1..slots.end).map(SlotIndex).find(is_whole);
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
    let member = studio.shoot.member_at(slot).map_or(0, |(member, _)| member);
    let Some(jury) = studio.juries.get(member) else { return };
    let trials = lock(jury).seat(slot, means);
    for trial in trials {
        let rows = studio.shoot.still(trial.slot).map_or(0, |still| still.stored.height);
        if let Some(damage) = trial.damage(rows) {
            studio.fail(Fault::Damaged { slot: trial.slot, damage });
        }
    }
}

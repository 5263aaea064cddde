//! Holds every still that is looked at against those beside it, for damage that its decoder cannot tell of
//! ([`crate::integrity`]). Only what stands that is kept for the next look.

use std::collections::BTreeMap;
use std::io;
use std::sync::Mutex;

use super::locked;
use crate::decode::Decoder;
use crate::integrity::{Jury, Means, Trial};
use crate::measures::{Store, ThumbnailStats};
use crate::shoot::{Damage, Still};
use crate::units::SlotIndex;

/// Neighbours on either side that a still may be held against.
pub(super) const BESIDE: usize = 2;

/// What workers share.
pub(super) struct Court<'a> {
    whole: &'a [(SlotIndex, &'a Still)],
    store: &'a Store,
    jury: Mutex<Jury>,
    /// What is kept of stills that have not been judged yet.
    waiting: Mutex<BTreeMap<SlotIndex, (blake3::Hash, ThumbnailStats)>>,
    /// Places of stills that an earlier look vouches for.
    known: Mutex<Vec<usize>>,
    found: Mutex<Vec<(SlotIndex, Damage)>>,
}

impl<'a> Court<'a> {
    /// For these stills, which are in order.
    pub(super) fn new(whole: &'a [(SlotIndex, &'a Still)], store: &'a Store) -> Self {
        let jury = Mutex::new(Jury::new(whole.iter().map(|(slot, _)| *slot)));
        Self { whole, store, jury, waiting: Mutex::default(), known: Mutex::default(), found: Mutex::default() }
    }

    /// A still has been decoded, or cannot be. What is to be kept of it is kept once it has been judged.
    ///
    /// # Errors
    /// What the disk says.
    pub(super) fn hear(
        &self,
        slot: SlotIndex,
        means: Option<Means>,
        keep: Option<(blake3::Hash, ThumbnailStats)>,
    ) -> io::Result<()> {
        if let Some(keep) = keep {
            locked(&self.waiting).insert(slot, keep);
        }
        let trials = locked(&self.jury).seat(slot, means);
        trials.iter().try_for_each(|trial| self.judge(trial))
    }

    /// An earlier look found nothing against the still at this place.
    pub(super) fn vouch(&self, at: usize) {
        locked(&self.known).push(at);
    }

    /// Judges the rest, beside stills that an earlier look vouches for where need be; gives what is damaged, in order.
    ///
    /// # Errors
    /// What the disk says.
    pub(super) fn close(self) -> io::Result<Vec<(SlotIndex, Damage)>> {
        let known = std::mem::take(&mut *locked(&self.known));
        let place = |slot: &SlotIndex| self.whole.binary_search_by_key(slot, |(slot, _)| *slot).ok();
        let mut decoder = Decoder::new();
        for at in known {
            let (slot, still) = self.whole[at];
            let is_asked = locked(&self.waiting).keys().filter_map(place).any(|waiting| waiting.abs_diff(at) <= BESIDE);
            let means = if is_asked { decoder.means_of(still).ok().flatten() } else { None };
            let trials = locked(&self.jury).seat(slot, means);
            trials
                .iter()
                .filter(|trial| locked(&self.waiting).contains_key(&trial.slot))
                .try_for_each(|trial| self.judge(trial))?;
        }
        // Nobody is beside them.
        for (key, glance) in std::mem::take(&mut *locked(&self.waiting)).into_values() {
            self.store.put(&key, &glance)?;
        }
        let mut found = std::mem::take(&mut *locked(&self.found));
        found.sort_by_key(|(slot, _)| *slot);
        Ok(found)
    }

    fn judge(&self, trial: &Trial) -> io::Result<()> {
        let rows = self
            .whole
            .binary_search_by_key(&trial.slot, |(slot, _)| *slot)
            .map_or(0, |at| self.whole[at].1.stored.height);
        let keep = locked(&self.waiting).remove(&trial.slot);
        match (trial.damage(rows), keep) {
            (Some(damage), _) => locked(&self.found).push((trial.slot, damage)),
            (None, Some((key, glance))) => self.store.put(&key, &glance)?,
            (None, None) => {}
        }
        Ok(())
    }
}

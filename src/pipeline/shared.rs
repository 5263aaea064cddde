//! A recording's one sequential decoder, which several workers share: each shows its frame when its turn has come, so
//! that frames are decoded in one go and in order, while the workers paint side by side.
//!
//! ## Decisions
//!
//! - A worker decodes its frame when all visits before have, and paints while the next worker decodes. A pass forwards
//!   is therefore one decode in order, in the memory of a frame a worker. A still shown only beside others comes as a
//!   batch without frames, because frames are decoded in the order of visits.

use std::ops::Range;
use std::sync::{Mutex, PoisonError};

use super::batches::Visit;
use super::reorder::{ReorderBuffer, Stopped};
use crate::decode::SequentialDecoder;
use crate::picture::Picture;
use crate::shoot::{Damage, Recording};
use crate::units::SlotIndex;

/// Lends the sequential decoder by visits, in their order.
pub(super) struct SharedDecoder<'a> {
    sequential: Mutex<SequentialDecoder<'a>>,
    /// The slot of its first frame.
    first: usize,
    /// By visit, how many of those before it are its own.
    turns: Vec<usize>,
    reorder: ReorderBuffer<()>,
}

/// A visit's turn at the sequential decoder; the next visit's has come when this is dropped.
pub(super) struct Turn<'a> {
    reorder: &'a ReorderBuffer<()>,
    turn: usize,
}

impl<'a> SharedDecoder<'a> {
    /// For those of these visits that lie in its slots.
    pub(super) fn new(recording: &'a Recording, slots: &Range<usize>, visits: &[Visit<'_>]) -> Self {
        let own = visits.iter().map(|visit| visit.still.slot.0).filter(|slot| slots.contains(slot));
        let sequential = Mutex::new(SequentialDecoder::new(recording, own.map(|slot| slot - slots.start)));
        let turns = visits.iter().scan(0, |turn, visit| {
            let before = *turn;
            *turn += usize::from(slots.contains(&visit.still.slot.0));
            Some(before)
        });
        Self { sequential, first: slots.start, turns: turns.collect(), reorder: ReorderBuffer::new() }
    }

    /// Waits until all of its visits before this one have had their turn.
    pub(super) fn wait_for(&self, visit: usize) -> Result<Turn<'_>, Stopped> {
        let turn = self.turns[visit];
        self.reorder.wait_for(turn)?;
        Ok(Turn { reorder: &self.reorder, turn })
    }

    /// Decodes a frame, and hands over what there is to remark.
    pub(super) fn show(
        &self,
        slot: SlotIndex,
        spare: Option<Picture>,
        remark: impl FnOnce(&[String]),
    ) -> Result<Picture, Damage> {
        let mut sequential = self.sequential.lock().unwrap_or_else(PoisonError::into_inner);
        let picture = sequential.show(slot.0 - self.first, spare)?;
        remark(sequential.remarks());
        Ok(picture)
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        self.reorder.stop();
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.reorder.advance(self.turn + 1);
    }
}

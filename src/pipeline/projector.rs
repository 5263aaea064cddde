//! A recording's one reel, which several workers share: each shows its frame when its turn has come, so that frames are decoded
//! in one go and in order, while the workers paint side by side.
//!
//! ## Decisions
//!
//! - A worker decodes its frame when all visits before have, and paints while the next worker decodes. A pass forwards is
//!   therefore one decode in order, in the memory of a frame a worker. A still shown only beside others comes as a batch
//!   without frames, because frames are decoded in the order of visits.

use std::sync::{Mutex, PoisonError};

use super::batches::Visit;
use super::turnstile::{Stopped, Turnstile};
use crate::decode::Reel;
use crate::picture::Picture;
use crate::shoot::{Damage, Recording};
use crate::units::SlotIndex;

/// Lends the reel by visits, in their order.
pub(super) struct Projector<'a> {
    reel: Mutex<Reel<'a>>,
    turnstile: Turnstile<()>,
}

/// A visit's turn at the reel; the next visit's has come when this is dropped.
pub(super) struct Turn<'a> {
    turnstile: &'a Turnstile<()>,
    visit: usize,
}

impl<'a> Projector<'a> {
    /// For the frames of these visits.
    pub(super) fn new(recording: &'a Recording, visits: &[Visit<'_>]) -> Self {
        let reel = Mutex::new(Reel::new(recording, visits.iter().map(|visit| visit.still.slot.0)));
        Self { reel, turnstile: Turnstile::new() }
    }

    /// Waits until all visits before have had their turn.
    pub(super) fn wait_for(&self, visit: usize) -> Result<Turn<'_>, Stopped> {
        self.turnstile.wait_for(visit)?;
        Ok(Turn { turnstile: &self.turnstile, visit })
    }

    /// Decodes a frame, and hands over what there is to remark.
    pub(super) fn show(
        &self,
        slot: SlotIndex,
        spare: Option<Picture>,
        remark: impl FnOnce(&[String]),
    ) -> Result<Picture, Damage> {
        let mut reel = self.reel.lock().unwrap_or_else(PoisonError::into_inner);
        let picture = reel.show(slot.0, spare)?;
        remark(reel.remarks());
        Ok(picture)
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        self.turnstile.stop();
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.turnstile.advance(self.visit + 1);
    }
}

//! One delivery's frames of several stills while they are being exposed.
//!
//! Stills are taken in in a frame's own order, whatever worker has them, so that the mean does not depend on the number of
//! threads. Batches are taken in that order too, so whoever waits here waits for a batch that is already being worked on.
//! There are as many exposures as frames are open at once; their buffers circle.

use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex};

use super::lock;
use super::turnstile::Stopped;
use crate::sample::{Exposure, Part};

/// Exposures by the row they are for.
#[derive(Default)]
pub(super) struct Darkroom {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    /// By row: an exposure and the weights it has taken in.
    open: BTreeMap<usize, (u32, Exposure)>,
    spare: Vec<Exposure>,
    stopped: bool,
}

impl Darkroom {
    /// The exposure of a row, when it has taken in all that comes before a part.
    pub(super) fn take(&self, row: usize, part: Part, fresh: impl FnOnce() -> Exposure) -> Result<Exposure, Stopped> {
        let state = lock(&self.state);
        let not_yet = |state: &mut State| {
            part.before > 0 && !state.stopped && state.open.get(&row).is_none_or(|(taken_in, _)| *taken_in != part.before)
        };
        let mut state = self.changed.wait_while(state, not_yet).unwrap_or_else(std::sync::PoisonError::into_inner);
        if state.stopped {
            return Err(Stopped);
        }
        let spare = if part.before > 0 { state.open.remove(&row).map(|(_, exposure)| exposure) } else { state.spare.pop() };
        drop(state);
        Ok(spare.unwrap_or_else(fresh))
    }

    /// Puts the exposure of a row back with a part taken in.
    pub(super) fn put(&self, row: usize, part: Part, exposure: Exposure) {
        lock(&self.state).open.insert(row, (part.before + part.weight, exposure));
        self.changed.notify_all();
    }

    /// Keeps the buffers of an exposure that has been printed.
    pub(super) fn rest(&self, exposure: Exposure) {
        lock(&self.state).spare.push(exposure);
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        lock(&self.state).stopped = true;
        self.changed.notify_all();
    }
}

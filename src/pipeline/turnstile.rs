//! Restores order: lets whoever holds the next row of a delivery pass, and nobody else.

use std::sync::{Condvar, Mutex, PoisonError};

/// One delivery's turnstile, counting rows from 0.
pub(super) struct Turnstile {
    state: Mutex<State>,
    turned: Condvar,
}

struct State {
    next: usize,
    stopped: bool,
}

/// The run has failed elsewhere; nobody passes any more.
pub(super) struct Stopped;

impl Turnstile {
    pub(super) fn new() -> Self {
        Self { state: Mutex::new(State { next: 0, stopped: false }), turned: Condvar::new() }
    }

    /// Waits until every row before `row` has passed. Whoever returns from here is alone until it calls
    /// [`Turnstile::advance`].
    pub(super) fn wait_for(&self, row: usize) -> Result<(), Stopped> {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let not_yet = |state: &mut State| state.next != row && !state.stopped;
        let state = self.turned.wait_while(state, not_yet).unwrap_or_else(PoisonError::into_inner);
        if state.stopped { Err(Stopped) } else { Ok(()) }
    }

    /// Says that every row before `next` has passed.
    pub(super) fn advance(&self, next: usize) {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).next = next;
        self.turned.notify_all();
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).stopped = true;
        self.turned.notify_all();
    }
}

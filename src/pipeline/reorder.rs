//! Restores order: lets whoever holds the next row of a delivery pass, and nobody else.

use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex, PoisonError};

/// One delivery's reorder buffer, counting rows from 0. What is laid aside for a later turn is a `T`.
pub(super) struct ReorderBuffer<T> {
    state: Mutex<State<T>>,
    turned: Condvar,
}

struct State<T> {
    next: usize,
    aside: BTreeMap<usize, T>,
    stopped: bool,
}

/// The run has failed elsewhere; nobody passes any more.
pub(super) struct Stopped;

impl<T> ReorderBuffer<T> {
    pub(super) fn new() -> Self {
        Self { state: Mutex::new(State { next: 0, aside: BTreeMap::new(), stopped: false }), turned: Condvar::new() }
    }

    /// Waits until every row before `row` has passed. Whoever returns from here is alone until it calls
    /// [`ReorderBuffer::advance`].
    pub(super) fn wait_for(&self, row: usize) -> Result<(), Stopped> {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let not_yet = |state: &mut State<T>| state.next != row && !state.stopped;
        let state = self.turned.wait_while(state, not_yet).unwrap_or_else(PoisonError::into_inner);
        if state.stopped { Err(Stopped) } else { Ok(()) }
    }

    /// Lays something aside for whoever brings the turn of its row. Gives it back where that turn has come already: the
    /// caller is alone then, as after [`ReorderBuffer::wait_for`].
    pub(super) fn lay_aside(&self, row: usize, thing: T) -> Option<T> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if state.next == row {
            return Some(thing);
        }
        state.aside.insert(row, thing);
        None
    }

    /// Says that every row before `next` has passed. What was laid aside for that row is the caller's to pass on: it is
    /// still alone.
    pub(super) fn advance(&self, next: usize) -> Option<T> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.next = next;
        let due = state.aside.remove(&next);
        drop(state);
        if due.is_none() {
            self.turned.notify_all();
        }
        due
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).stopped = true;
        self.turned.notify_all();
    }
}

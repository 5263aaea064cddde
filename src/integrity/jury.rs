//! Which stills are held against which, as they are decoded in whatever order.

use std::sync::Arc;

use super::breaks::Break;
use super::judge::judge;
use super::means::Means;
use crate::shoot::Damage;
use crate::units::SlotIndex;

/// As many stills to either side are waited for: should the nearest be damaged, the next one speaks.
const REACH: usize = 2;

/// Calls each still to be judged as soon as those beside it have come.
#[derive(Debug, Default)]
pub struct Jury {
    /// In order.
    slots: Vec<SlotIndex>,
    seats: Vec<Seat>,
}

#[derive(Debug, Default)]
struct Seat {
    /// What has come of its still.
    state: State,
    /// Whether it has been called.
    called: bool,
}

#[derive(Debug, Default)]
enum State {
    #[default]
    Waiting,
    Here(Arc<Means>),
    /// Its still cannot be decoded, or is too unlike the others to be compared; or everyone has been called who might
    /// ask it.
    Gone,
}

/// A still, and the two that it is held against.
#[derive(Debug)]
pub struct Trial {
    /// Which.
    pub slot: SlotIndex,
    this: Arc<Means>,
    others: [Arc<Means>; 2],
}

impl Trial {
    /// Where the still ceases to belong to the scene, if it does.
    #[must_use]
    pub fn verdict(&self) -> Option<Break> {
        judge(&self.this, &self.others[0], &self.others[1])
    }

    /// As [`Trial::verdict`], as damage to a still of that many rows as stored.
    #[must_use]
    pub fn damage(&self, rows: u32) -> Option<Damage> {
        self.verdict().map(|found| Damage::Astray { from: found.first_row(rows), due: rows })
    }
}

impl Jury {
    /// For stills that are going to be decoded, in any order and more than once.
    #[must_use]
    pub fn new(slots: impl IntoIterator<Item = SlotIndex>) -> Self {
        let mut slots: Vec<SlotIndex> = slots.into_iter().collect();
        slots.sort_unstable();
        slots.dedup();
        let seats = slots.iter().map(|_| Seat::default()).collect();
        Self { slots, seats }
    }

    /// A still has been decoded, or cannot be; gives those that can be judged now. What comes again changes nothing.
    pub fn seat(&mut self, slot: SlotIndex, means: Option<Means>) -> Vec<Trial> {
        let Ok(at) = self.slots.binary_search(&slot) else { return Vec::new() };
        if !matches!(self.seats[at].state, State::Waiting) {
            return Vec::new();
        }
        self.seats[at].state = means.map_or(State::Gone, |means| State::Here(Arc::new(means)));
        let trials = self.around(at).filter_map(|at| self.call(at)).collect();
        // Whoever was called now may have been the last to ask those around him.
        for at in at.saturating_sub(2 * REACH)..(at + 2 * REACH + 1).min(self.seats.len()) {
            if self.around(at).all(|other| self.seats[other].called) {
                self.seats[at].state = State::Gone;
            }
        }
        trials
    }

    /// Stills that have come and have not been called yet.
    #[must_use]
    pub fn waiting(&self) -> Vec<SlotIndex> {
        let here =
            self.slots.iter().zip(&self.seats).filter(|(_, seat)| !seat.called && matches!(seat.state, State::Here(_)));
        here.map(|(slot, _)| *slot).collect()
    }

    fn around(&self, at: usize) -> std::ops::Range<usize> {
        at.saturating_sub(REACH)..(at + REACH + 1).min(self.seats.len())
    }

    /// Calls a still, if everyone around it has come and it has not been called.
    fn call(&mut self, at: usize) -> Option<Trial> {
        let all_came = self.around(at).all(|other| !matches!(self.seats[other].state, State::Waiting));
        if self.seats[at].called || !all_came {
            return None;
        }
        self.seats[at].called = true;
        let here = |at: usize| match &self.seats[at].state {
            State::Here(means) => Some(Arc::clone(means)),
            State::Waiting | State::Gone => None,
        };
        let this = here(at)?;
        let around = self.around(at);
        let like = |means: &Arc<Means>| means.is_like(&this);
        let mut before = (around.start..at).rev().filter_map(here).filter(like);
        let mut after = (at + 1..around.end).filter_map(here).filter(like);
        let others = match (before.next(), after.next()) {
            (Some(before), Some(after)) => [before, after],
            (Some(near), None) => [before.next().unwrap_or_else(|| Arc::clone(&near)), near],
            (None, Some(near)) => [after.next().unwrap_or_else(|| Arc::clone(&near)), near],
            (None, None) => return None,
        };
        Some(Trial { slot: self.slots[at], this, others })
    }
}

#[cfg(test)]
mod tests {
    use super::super::means::Plane;
    use super::*;

    fn means(level: i16) -> Means {
        let plane = Plane { values: vec![level; 64], blocks_across: 1, blocks_down: 1 };
        Means { planes: vec![plane], across: 8, down: 8, restart: 0, has_luma: true, tile: None }
    }

    #[test]
    fn every_still_is_called_once_in_whatever_order_they_come() {
        let slots = || (0..9).map(SlotIndex);
        for order in [[0, 1, 2, 3, 4, 5, 6, 7, 8], [8, 7, 6, 5, 4, 3, 2, 1, 0], [4, 0, 8, 1, 7, 2, 6, 3, 5]] {
            let mut jury = Jury::new(slots());
            let mut called: Vec<usize> = Vec::new();
            for at in order {
                called.extend(jury.seat(SlotIndex(at), Some(means(0))).iter().map(|trial| trial.slot.0));
                assert!(jury.seat(SlotIndex(at), Some(means(0))).is_empty(), "what comes again changes nothing");
            }
            called.sort_unstable();
            assert_eq!(called, (0..9).collect::<Vec<_>>());
            assert!(jury.waiting().is_empty());
            assert!(jury.seats.iter().all(|seat| matches!(seat.state, State::Gone)), "nothing is kept");
        }
    }

    #[test]
    fn a_still_is_held_against_the_nearest_on_either_side_and_at_an_end_against_two_on_one() {
        let mut jury = Jury::new([3, 5, 6, 9].map(SlotIndex));
        let mut trials = Vec::new();
        for (slot, level) in [(3, Some(3)), (5, Some(5)), (6, None), (9, Some(9))] {
            trials.extend(jury.seat(SlotIndex(slot), level.map(means)));
        }
        let level = |means: &Means| means.planes[0].values[0];
        let held: Vec<(usize, [i16; 2])> =
            trials.iter().map(|trial| (trial.slot.0, [level(&trial.others[0]), level(&trial.others[1])])).collect();
        assert_eq!(held, [(3, [5, 5]), (5, [3, 9]), (9, [5, 5])]);
    }

    #[test]
    fn a_still_alone_is_never_called_and_waits_for_those_that_have_not_come() {
        let mut jury = Jury::new([1, 2, 3].map(SlotIndex));
        assert!(jury.seat(SlotIndex(2), Some(means(0))).is_empty());
        assert_eq!(jury.waiting(), [SlotIndex(2)]);
        assert!(Jury::new([SlotIndex(1)]).seat(SlotIndex(1), Some(means(0))).is_empty());
    }
}

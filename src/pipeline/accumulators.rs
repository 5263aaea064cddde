//! One delivery's frames of several stills while they are being exposed.
//!
//! Stills are taken in in a frame's own order, whatever worker has them, so that the mean does not depend on the number
//! of threads. Batches are taken in that order too, so whoever waits here waits for a batch that is already being
//! worked on. There are as many accumulators as frames are open at once; their buffers circle.
//!
//! ## Decisions
//!
//! - As many accumulators are open as spans overlap, whatever number of stills they cover. Frames of several stills go
//!   the way in which they take them in.
//! - One case would break the order of waiting: a frame that is done before one due earlier, because the other's last
//!   still has a share too small for this one. It is marked when batches are cut, and laid aside at the reorder buffer.
//! - At most 512 MiB of accumulators, or six, are open. Where more frames lie between the same stills (a very slow
//!   section, a loop's join), the pass is cut and the stills are decoded again. Frames of one still know nothing of
//!   this.

use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex};

use super::lock;
use super::reorder::Stopped;
use crate::sample::{Accumulator, Part};
use crate::units::SlotIndex;

/// A frame of several stills while it is being exposed.
pub(super) struct Exposure {
    /// The mean so far.
    pub(super) mean: Accumulator,
    /// The still that the frame's stamps tell of, once it has been taken in: itself, or what stood in for it.
    pub(super) foremost: Option<SlotIndex>,
}

/// Exposures by the row they are for.
#[derive(Default)]
pub(super) struct Accumulators {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    /// By row: an exposure and the weights it has taken in.
    open: BTreeMap<usize, (u32, Exposure)>,
    spare: Vec<Accumulator>,
    stopped: bool,
}

impl Accumulators {
    /// The exposure of a row, when it has taken in all that comes before a part.
    pub(super) fn take(
        &self,
        row: usize,
        part: Part,
        fresh: impl FnOnce() -> Accumulator,
    ) -> Result<Exposure, Stopped> {
        let state = lock(&self.state);
        let not_yet = |state: &mut State| {
            part.before > 0
                && !state.stopped
                && state.open.get(&row).is_none_or(|(taken_in, _)| *taken_in != part.before)
        };
        let mut state = self.changed.wait_while(state, not_yet).unwrap_or_else(std::sync::PoisonError::into_inner);
        if state.stopped {
            return Err(Stopped);
        }
        let begun = |mean| Exposure { mean, foremost: None };
        let spare = if part.before > 0 {
            state.open.remove(&row).map(|(_, exposure)| exposure)
        } else {
            state.spare.pop().map(begun)
        };
        drop(state);
        Ok(spare.unwrap_or_else(|| begun(fresh())))
    }

    /// Puts the exposure of a row back with a part taken in.
    pub(super) fn put(&self, row: usize, part: Part, exposure: Exposure) {
        lock(&self.state).open.insert(row, (part.before + part.weight, exposure));
        self.changed.notify_all();
    }

    /// Keeps the buffers of an accumulator that has been printed.
    pub(super) fn rest(&self, accumulator: Accumulator) {
        lock(&self.state).spare.push(accumulator);
    }

    /// How many accumulators were ever made: all rest when a run is over.
    #[cfg(test)]
    fn made(&self) -> usize {
        lock(&self.state).spare.len()
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        lock(&self.state).stopped = true;
        self.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Barrier;
    use std::sync::atomic::{AtomicBool, Ordering};

    use super::*;
    use crate::picture::FrameKind;
    use crate::plan::Share;
    use crate::shot::Light;
    use crate::units::Size;

    #[test]
    fn exposures_are_as_many_as_frames_are_open_at_once_however_many_stills_they_take() {
        for stills in [2, 16, 1024] {
            let accumulators = Accumulators::default();
            let fresh = || Accumulator::new(FrameKind::Rgb16, Size::new(4, 4), Light::Linear);
            let weight = Share::WHOLE / stills;
            // Spans twice as long as a frame's time: two frames are open, the second half of one and the first of the
            // next.
            for still in 0..10 * stills {
                for row in [still / (stills / 2), (still / (stills / 2)).wrapping_sub(1)] {
                    let Some(taken_in) = still.checked_sub(row.wrapping_mul(stills / 2)).filter(|_| row < 20) else {
                        continue;
                    };
                    let part = Part { weight, before: taken_in * weight };
                    let exposure =
                        accumulators.take(row as usize, part, fresh).unwrap_or_else(|_| panic!("nobody stopped it"));
                    if taken_in + 1 == stills {
                        accumulators.rest(exposure.mean);
                    } else {
                        accumulators.put(row as usize, part, exposure);
                    }
                }
            }
            assert!(accumulators.made() <= 2, "{} for {stills} stills a frame", accumulators.made());
        }
    }

    #[test]
    fn a_later_still_waits_for_the_one_before_it() {
        let fresh = || Accumulator::new(FrameKind::Rgb16, Size::new(4, 4), Light::Linear);
        let [first, second] = [0, 32_768].map(|before| Part { weight: 32_768, before });
        // In most rounds the later one asks before the first is back, in some after it.
        for round in 0..200 {
            let (accumulators, is_back) = (Accumulators::default(), AtomicBool::new(false));
            let together = Barrier::new(2);
            std::thread::scope(|scope| {
                let later = scope.spawn(|| {
                    together.wait();
                    let taken = accumulators.take(0, second, || panic!("it is there by then")).is_ok();
                    (taken, is_back.load(Ordering::SeqCst))
                });
                let exposure = accumulators.take(0, first, fresh).unwrap_or_else(|_| panic!("nobody stopped it"));
                together.wait();
                (0..round).for_each(|_| std::thread::yield_now());
                is_back.store(true, Ordering::SeqCst);
                accumulators.put(0, first, exposure);
                assert_eq!(later.join().unwrap(), (true, true), "round {round}");
                let stopped = scope.spawn(|| accumulators.take(1, second, fresh).is_err());
                accumulators.stop();
                assert!(stopped.join().unwrap());
            });
        }
    }
}

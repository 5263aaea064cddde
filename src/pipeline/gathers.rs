//! One delivery's frames that gather light, while their stills come.
//!
//! A worker lays its still on sheets of its own, beside the others, and gives it to the group when its turn has come: so
//! stills are painted side by side, and what is gathered does not depend on the number of threads. A frame's light is
//! taken out in its turn too, and printed outside of it.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

use super::groups::{Print, Take};
use super::lock;
use super::reorder::Stopped;
use crate::geom::Window;
use crate::picture::{Frame, FrameKind, Picture};
use crate::sample::{PaintError, Painter, Sheets};
use crate::shot::{Gather, Light, Sharpness};
use crate::units::{Size, SlotIndex};

/// The groups of a delivery.
pub(super) struct Gathers {
    kind: FrameKind,
    size: Size,
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    /// By group: how many steps are done, and what is gathered.
    open: BTreeMap<usize, (usize, Held)>,
    spare: Vec<Sheets<f32>>,
    spare_samples: Vec<Sheets<u16>>,
    stopped: bool,
}

/// What a group holds.
#[derive(Default)]
struct Held {
    /// Of the brightest or the darkest: the heads, and the core after them.
    sheets: Vec<Option<Sheets<f32>>>,
    /// Of a median: the samples of the last stills.
    samples: VecDeque<Arc<Sheets<u16>>>,
    /// How many stills before those are past.
    past: usize,
    /// Whose still each slot's turned out to be.
    shown: BTreeMap<SlotIndex, SlotIndex>,
}

/// Why a still was not taken in.
pub(super) enum Refused {
    Stopped,
    Paint(PaintError),
}

impl From<Stopped> for Refused {
    fn from(_: Stopped) -> Self {
        Self::Stopped
    }
}

impl From<PaintError> for Refused {
    fn from(error: PaintError) -> Self {
        Self::Paint(error)
    }
}

/// The light of one frame, taken out to be printed.
enum FrameLight {
    Sheets(Sheets<f32>),
    Samples(Vec<Arc<Sheets<u16>>>),
}

impl Gathers {
    /// None yet, of frames of a kind and size.
    pub(super) fn new(kind: FrameKind, size: Size) -> Self {
        Self { kind, size, state: Mutex::default(), changed: Condvar::new() }
    }

    /// Paints a still and takes it in when its turn has come; `shown` is whose it turned out to be.
    pub(super) fn take_in(
        &self,
        take: &Take<'_>,
        painter: &mut Painter,
        (picture, window, sharpness): (&Picture, Window, Sharpness),
        shown: SlotIndex,
    ) -> Result<(), Refused> {
        let mut held;
        if take.by == Gather::Median {
            let spare = lock(&self.state).spare_samples.pop();
            let mut own = spare.unwrap_or_else(|| Sheets::new(self.kind, self.size));
            painter.lay(picture, window, sharpness, &mut own)?;
            held = self.turn(take.group, take.step)?;
            held.samples.push_back(Arc::new(own));
        } else {
            let mut own = self.spare();
            painter.lay(picture, window, sharpness, &mut own)?;
            held = self.turn(take.group, take.step)?;
            let rest = held.take(take, own);
            lock(&self.state).spare.extend(rest);
        }
        held.shown.insert(take.layer.slot(), shown);
        self.put(take.group, take.step, held);
        Ok(())
    }

    /// Fills a frame when its turn has come; gives whose still its stamps tell of.
    pub(super) fn print(
        &self,
        print: &Print,
        painter: &mut Painter,
        light: Light,
        frame: &mut Frame,
    ) -> Result<Option<SlotIndex>, Stopped> {
        let mut held = self.turn(print.group, print.step)?;
        let foremost = held.shown.get(&print.turn).copied();
        let taken = if print.by == Gather::Median {
            let (from, to) = (print.stills.0 - held.past, print.stills.1 - held.past);
            let samples = held.samples.range(from..to).cloned().collect();
            let past: Vec<_> = held.samples.drain(..print.past - held.past).collect();
            held.past = print.past;
            self.rest(past);
            FrameLight::Samples(samples)
        } else {
            FrameLight::Sheets(held.give(print, || self.spare()))
        };
        if print.last {
            let rest = held.sheets.into_iter().flatten();
            lock(&self.state).spare.extend(rest);
            self.rest(held.samples);
        } else {
            self.put(print.group, print.step, held);
        }
        match taken {
            FrameLight::Sheets(sheets) => {
                painter.print_sheets(&sheets, frame);
                lock(&self.state).spare.push(sheets);
            }
            FrameLight::Samples(samples) => {
                painter.print_median(&samples, light, frame);
                self.rest(samples);
            }
        }
        Ok(foremost)
    }

    /// What a group holds, when so many of its steps are done.
    fn turn(&self, group: usize, step: usize) -> Result<Held, Stopped> {
        let not_yet = |state: &mut State| {
            step > 0 && !state.stopped && state.open.get(&group).is_none_or(|(done, _)| *done != step)
        };
        let state = lock(&self.state);
        let mut state = self.changed.wait_while(state, not_yet).unwrap_or_else(PoisonError::into_inner);
        if state.stopped {
            return Err(Stopped);
        }
        Ok(state.open.remove(&group).map(|(_, held)| held).unwrap_or_default())
    }

    /// Puts it back with a step done.
    fn put(&self, group: usize, step: usize, held: Held) {
        lock(&self.state).open.insert(group, (step + 1, held));
        self.changed.notify_all();
    }

    fn spare(&self) -> Sheets<f32> {
        let spare = lock(&self.state).spare.pop();
        spare.unwrap_or_else(|| Sheets::new(self.kind, self.size))
    }

    /// Keeps the buffers of samples that nobody holds any more.
    fn rest(&self, samples: impl IntoIterator<Item = Arc<Sheets<u16>>>) {
        let own = samples.into_iter().filter_map(Arc::into_inner);
        lock(&self.state).spare_samples.extend(own);
    }

    /// Sends everyone who waits, or will, away.
    pub(super) fn stop(&self) {
        lock(&self.state).stopped = true;
        self.changed.notify_all();
    }

    /// How many sheets were ever made: all rest when a run is over.
    #[cfg(test)]
    pub(super) fn made(&self) -> [usize; 2] {
        let state = lock(&self.state);
        [state.spare.len(), state.spare_samples.len()]
    }
}

impl Held {
    /// Takes a still's sheets in; gives them back where they are needed no more.
    fn take(&mut self, take: &Take<'_>, own: Sheets<f32>) -> Option<Sheets<f32>> {
        self.sheets.resize_with(take.heads + 1, || None);
        if take.into == take.heads && self.sheets[take.heads].is_none() {
            // All heads are whole: each takes in those after it.
            for head in (1..take.heads).rev() {
                let (before, after) = self.sheets.split_at_mut(head);
                if let (Some(before), Some(after)) = (before.last_mut().and_then(Option::as_mut), &after[0]) {
                    before.gather(after, take.by);
                }
            }
        }
        match &mut self.sheets[take.into] {
            Some(sheets) => {
                sheets.gather(&own, take.by);
                Some(own)
            }
            empty => {
                *empty = Some(own);
                None
            }
        }
    }

    /// The light of a frame: its head with the core, or the core alone.
    fn give(&mut self, print: &Print, spare: impl Fn() -> Sheets<f32>) -> Sheets<f32> {
        let (heads, core) = self.sheets.split_at_mut(print.heads);
        let (core, at) = (&mut core[0], print.head);
        let from = if at < print.heads { &mut heads[at] } else { &mut *core };
        let spent = if print.spends { from.take() } else { None };
        let mut light = spent.unwrap_or_else(|| {
            let mut copy = spare();
            if let Some(from) = from {
                copy.copy_from(from);
            }
            copy
        });
        if at < print.heads
            && let Some(core) = core
        {
            light.gather(core, print.by);
        }
        light
    }
}

//! Flashes in what is being rendered: told in the summary and the receipt.
//!
//! ## Decisions
//!
//! - Frames are looked at on their way to the encoder, by the delivery's own thread. A frame that is the one before is
//!   not looked at again.
//! - Where an interrupted run has made some of them, or they were made before to find the quality for a size, the
//!   finished file is decoded instead: the same command then says the same. What an earlier receipt says of the same
//!   frames is taken over, so of a clip that has grown only the new end is decoded, and two seconds before it. Where the
//!   last change before those lies further back, a span may begin a frame sooner than a look at all of it would say.
//! - Nothing fails because of it: where a clip cannot be looked at, there is no line about it.
//! - A master is not looked at. It is not made to be watched, and its frames are the stills' own planes.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use super::{Watch, flash};
use crate::diag;
use crate::flash::{Averager, Clock, Flashes, Found, Grid, Kind, MOST_FLASHES, Meaning, Seen};
use crate::picture::{Frame, FrameKind};
use crate::pipeline::{Finished, Output};
use crate::plan::DeliveryPlan;
use crate::receipt::{Delivery, FlashesSeen, runs};
use crate::work::{Known, Sink, SinkError, Written};

/// What was seen of a delivery, once it is finished.
pub(super) struct Eye {
    /// None of a master.
    wanted: bool,
    seen: Arc<Mutex<Option<Seen>>>,
}

/// Looks at the frames of outputs on their way to their sinks, of those that get all of their deliveries' frames.
pub(super) fn open<'a>(
    outputs: Vec<Output<'a>>,
    deliveries: &[(&DeliveryPlan, PathBuf)],
) -> (Vec<Output<'a>>, Vec<Eye>) {
    let watched = outputs.into_iter().zip(deliveries).map(|(output, (plan, _))| {
        let eye = Eye { wanted: !plan.every_still, seen: Arc::default() };
        if !eye.wanted || output.sink.kind() == FrameKind::Planes || output.rows.len() != plan.rows.len() {
            return (output, eye);
        }
        let rgb = matches!(output.sink.kind(), FrameKind::Rgb8 | FrameKind::Rgb16);
        let clock = Clock::of(plan.fps);
        let sink = Watching {
            meaning: if rgb { Meaning::Rgb } else { Meaning::DELIVERED },
            averager: Averager::new(Grid::of(plan.frame), None),
            flashes: Flashes::new(plan.frame, clock, None),
            clock,
            time: 0,
            before: None,
            into: Arc::clone(&eye.seen),
            inner: output.sink,
        };
        (Output { sink: Box::new(sink), ..output }, eye)
    });
    watched.unzip()
}

/// Notes what was seen of every delivery; files of which not every frame came by are decoded.
pub(super) fn note(
    finished: &mut [Finished],
    deliveries: &[(&DeliveryPlan, PathBuf)],
    eyes: &[Eye],
    earlier: &[Delivery],
    (quiet, watch): (bool, &Watch),
) {
    for ((finished, (plan, _)), eye) in finished.iter_mut().zip(deliveries).zip(eyes).filter(|(_, eye)| eye.wanted) {
        let seen = eye.seen.lock().unwrap_or_else(PoisonError::into_inner).take();
        finished.flashes = match seen {
            Some(seen) => Some(told(&seen)),
            None => {
                let known = earlier.iter().find(|one| one.name == plan.name).and_then(|one| known(one, finished, plan));
                let (before, from) = known.unwrap_or_default();
                let rate = Some(plan.fps);
                let watched = flash::watched_from(&finished.written.path, rate, (None, from), quiet, watch);
                let whole = watched.ok().filter(|watched| watched.short.is_none());
                whole.map(|watched| both(before, told(&watched.seen)))
            }
        };
    }
}

/// What an earlier receipt says of a clip's first frames, where they are the same, and the first frame that is to be looked
/// at.
fn known(earlier: &Delivery, finished: &Finished, plan: &DeliveryPlan) -> Option<(FlashesSeen, u64)> {
    let same = |(planes, hash): &(&String, &blake3::Hash)| planes.as_str() == hash.to_hex().as_str();
    let same = earlier.planes.iter().zip(&finished.hashes).take_while(same).count() as u64;
    let second = u64::from(plan.fps.numerator().div_ceil(plan.fps.denominator()));
    // Flashes within a second, from an extreme that was there before; and never from behind the end.
    let from = same.min(finished.hashes.len() as u64 - 1).checked_sub(2 * second)?;
    let flashes = earlier.flashes.clone()?;
    let is_before = flashes.above.last().is_none_or(|[_, last]| *last < from);
    is_before.then_some((flashes, from))
}

/// What is true of two ends of a clip.
fn both(before: FlashesSeen, after: FlashesSeen) -> FlashesSeen {
    FlashesSeen {
        general: before.general.max(after.general),
        red: before.red.max(after.red),
        above: runs_of(before.above.into_iter().chain(after.above)),
    }
}

/// What a receipt says of it.
fn told(seen: &Seen) -> FlashesSeen {
    let of = |kind: Kind| seen.kinds.iter().find(|found| found.kind == kind);
    let most = |kind: Kind| of(kind).filter(|found| found.is_above()).map(|found| found.most);
    let above =
        |kind: Kind| of(kind).into_iter().flat_map(|found: &Found| &found.spans).map(|span| [span.first, span.last]);
    FlashesSeen {
        general: most(Kind::General),
        red: most(Kind::Red),
        above: runs_of(above(Kind::General).chain(above(Kind::Red))),
    }
}

/// Runs that overlap made one, in order.
fn runs_of(all: impl Iterator<Item = [u64; 2]>) -> Vec<[u64; 2]> {
    let frames: std::collections::BTreeSet<u64> = all.flat_map(|[first, last]| first..=last).collect();
    runs(frames)
}

/// A line of a render's summary, where something is above a limit: how much, and what to type.
pub(super) fn line(finished: &Finished) -> Option<String> {
    let flashes = finished.flashes.as_ref().filter(|flashes| !flashes.above.is_empty())?;
    let [first, last] = [flashes.above.first()?[0], flashes.above.last()?[1]];
    let most = flashes.general.max(flashes.red)?;
    let path = diag::path(&finished.written.path);
    Some(format!(
        "it flashes up to {most} times a second, above the {MOST_FLASHES} of WCAG 2.2, in frames {first} to {last}: \
         stillpath flash {path}"
    ))
}

/// Looks at frames, and hands them on.
struct Watching {
    inner: Box<dyn Sink>,
    meaning: Meaning,
    averager: Averager,
    flashes: Flashes,
    clock: Clock,
    time: i64,
    before: Option<blake3::Hash>,
    into: Arc<Mutex<Option<Seen>>>,
}

impl Watching {
    fn look(&mut self, frame: &Frame, hash: blake3::Hash) {
        if self.before.replace(hash) == Some(hash) {
            self.flashes.see_same(self.time);
        } else {
            self.flashes.see(self.averager.see(frame, self.meaning), self.time);
        }
        self.time += self.clock.frame;
    }
}

impl Sink for Watching {
    fn kind(&self) -> FrameKind {
        self.inner.kind()
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.look(frame, frame.hash());
        self.inner.write(frame)
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        self.look(frame, known.hash);
        self.inner.write_known(frame, known)
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        let Self { inner, flashes, into, .. } = *self;
        let written = inner.finish()?;
        *into.lock().unwrap_or_else(PoisonError::into_inner) = Some(flashes.finish());
        Ok(written)
    }
}

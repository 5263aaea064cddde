//! A subject on the shoot's axis.
//!
//! A subject is where it is at a still, so its box is a function of the shoot's position alone: whatever the pace, the
//! rate or the fit, a still is always asked to show the same box. A frame is asked to keep the boxes of all stills it
//! shows.

use kurbo::Rect;

use crate::curve::track::{Key, SLACK, Track};
use crate::diag::{Diagnostic, Place};
use crate::geom::{Margins, Window};
use crate::shot::{Follow, Framing, FramingKey};
use crate::track::SpotState;
use crate::units::{Size, SlotIndex};

use super::axis::Axis;
use super::moments::Moments;
use super::times::number;
use super::tracked::{self, FoundAt, Sighted};
use super::words::{self, once};

/// A subject on the shoot's axis.
#[derive(Debug)]
pub(super) struct Followed {
    /// The line of the follow.
    pub(super) place: Place,
    pub(super) follow: Follow,
    /// The line of each key.
    pub(super) keys: Vec<Place>,
    /// Its box, in pixels of the still, by shoot position.
    pub(super) subject: Track<Rect>,
    /// Where it was found, where it is tracked.
    pub(super) sighted: Option<Sighted>,
}

impl Followed {
    /// The subject whose keys have these boxes; nothing where `said` says why not.
    pub(super) fn new(
        framing: &Framing,
        follow: Follow,
        boxes: Option<&[Window]>,
        (moments, known): (&Moments<'_>, &[FoundAt]),
        said: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        let mut positions = Vec::with_capacity(framing.keys.len());
        for key in &framing.keys {
            match moments.of_subject(&key.at) {
                Ok(position) => positions.push(position),
                Err(mistake) => once(mistake.at(&key.place), said),
            }
        }
        if positions.len() < framing.keys.len() {
            return None;
        }
        for (pair, keys) in positions.windows(2).zip(framing.keys.windows(2)) {
            if pair[1] <= pair[0] + SLACK {
                once(out_of_order(pair[0], pair[1], &keys[0], &keys[1]), said);
            }
        }
        let keys = positions.iter().zip(boxes?).zip(&framing.keys);
        let keys = keys.map(|((at, area), key)| Key { at: *at, value: area.rect(), ease: key.ease.clone() });
        let subject = Track::new(keys.collect())?;
        let keys = framing.keys.iter().map(|key| key.place.clone()).collect();
        let sighted = tracked::of_follow(framing, known, moments.axis);
        Some(Self { place: framing.place.clone(), follow, keys, subject, sighted })
    }

    /// The box at a position: straight from key to key at the pace of the shoot, shaped by the keys' eases, and no
    /// farther than the still.
    pub(super) fn subject(&self, position: f64, still: Rect) -> Rect {
        let area = match &self.sighted {
            Some(sighted) => {
                let area = sighted.area(sighted.place(position));
                let (wide, high) = (still.width(), still.height());
                Rect::new(area.x0 * wide, area.y0 * high, area.x1 * wide, area.y1 * high)
            }
            None => self.subject.at(position, |from, to, u| {
                let along = |from: f64, to: f64| from + (to - from) * u;
                Rect::new(along(from.x0, to.x0), along(from.y0, to.y0), along(from.x1, to.x1), along(from.y1, to.y1))
            }),
        };
        let area = area.abs();
        Rect::new(
            area.x0.clamp(still.x0, still.x1),
            area.y0.clamp(still.y0, still.y1),
            area.x1.clamp(still.x0, still.x1),
            area.y1.clamp(still.y0, still.y1),
        )
    }

    /// How its box at a position is known, and how sure it is from 0 to 1, where it is tracked.
    pub(super) fn known(&self, position: f64) -> Option<(SpotState, f64)> {
        let sighted = self.sighted.as_ref()?;
        let spot = sighted.spot(sighted.place(position));
        Some((spot.state, spot.confidence))
    }

    /// Where its keys lie on the shoot's axis, in order.
    pub(super) fn positions(&self) -> impl Iterator<Item = f64> {
        self.subject.keys().iter().map(|key| key.at)
    }

    /// The box that holds the subject in all these stills, of this size.
    pub(super) fn subject_in(&self, axis: &Axis, still: Size, stills: impl IntoIterator<Item = SlotIndex>) -> Rect {
        let still = Window::whole(still).rect();
        let one = |slot| self.subject(number(axis.place_of(slot)), still);
        stills.into_iter().map(one).reduce(|all, one| all.union(one)).unwrap_or(still)
    }

    /// What the box is kept out of, safe box and margin together.
    pub(super) fn margins(&self, safe: Margins) -> Margins {
        safe.and(self.follow.margin)
    }
}

fn out_of_order(before: f64, after: f64, first: &FramingKey, second: &FramingKey) -> Diagnostic {
    let message = if (before - after).abs() <= SLACK {
        "two keys are at the same moment of the shoot".to_owned()
    } else {
        format!(
            "this key lies {} stills into the shoot, before the key above it at {}",
            words::figure(after),
            words::figure(before)
        )
    };
    Diagnostic::mistake(message)
        .at(&second.place)
        .word("at")
        .with(&first.place, "the key above it")
        .help("keys go in the order of the shoot, no two at the same moment: at = still(10), then at = still(20)")
}

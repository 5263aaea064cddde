//! Whether what was tracked is one thing all along: tracked back from its end, it must come out at its beginning.
//!
//! Two things that cross may be taken for one another, and nothing in one picture shows it. Tracked back, the one that
//! was taken over goes its own way (Z. Kalal, K. Mikolajczyk, J. Matas, "Forward-Backward Error: Automatic Detection of
//! Tracking Failures", International Conference on Pattern Recognition 2010). What lies between the end and the place
//! where the two ways part is in doubt.

use std::sync::Arc;

use kurbo::Rect;

use super::{Small, State, Tracker, overlap};

/// Two boxes with less in common are two things.
const APART: f64 = 0.15;
/// After so many pictures in a row the ways have parted.
const PARTED: usize = 2;
/// It may be out of sight for so many pictures of those in which it was seen on the way out.
const UNSEEN: usize = 4;

/// Goes back over a track.
#[derive(Debug, Default)]
pub struct Check {
    tracker: Option<Tracker>,
    /// Pictures since it began.
    open: Vec<usize>,
    parted: usize,
    unseen: usize,
}

impl Check {
    /// The picture before, by a number of the caller's, and where the subject was seen in it on the way out, if it was.
    /// Gives the numbers of pictures that have come into doubt.
    pub fn next(&mut self, number: usize, picture: &Arc<Small>, seen: Option<Rect>) -> Vec<usize> {
        let sight = self.tracker.as_mut().map(|tracker| tracker.next(picture));
        let Some(area) = seen else { return Vec::new() };
        let mut doubted = Vec::new();
        if let Some(sight) = sight {
            let is_seen = sight.state == State::Seen;
            let parts = is_seen && overlap(sight.area, area) < APART;
            self.parted = if parts {
                self.parted + 1
            } else if is_seen {
                0
            } else {
                self.parted
            };
            self.unseen = if is_seen { 0 } else { self.unseen + 1 };
            if self.parted >= PARTED || self.unseen > UNSEEN {
                doubted = std::mem::take(&mut self.open);
                self.tracker = None;
            }
        }
        if self.tracker.is_none() {
            (self.parted, self.unseen) = (0, 0);
            self.tracker = Tracker::new(picture, area).ok();
        }
        self.open.push(number);
        doubted
    }

    /// The picture with the key that all began with: numbers of pictures that have come into doubt.
    pub fn end(mut self, picture: &Arc<Small>, key: Rect) -> Vec<usize> {
        let sight = self.tracker.as_mut().map(|tracker| tracker.next(picture));
        match sight {
            Some(sight) if sight.state == State::Seen && overlap(sight.area, key) < APART => self.open,
            _ => Vec::new(),
        }
    }
}

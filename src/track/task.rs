//! What is to be tracked over a shoot, and what came of it.

use kurbo::Rect;
use serde::{Deserialize, Serialize};

use super::Unfit;
use crate::register::Pose;

/// All that is to be tracked in a shoot's stills.
#[derive(Debug, Clone, Default)]
pub struct Tracking {
    /// One a subject.
    pub tasks: Vec<Task>,
    /// Slots whose stills are looked at, in order: runs that nothing is tracked between.
    pub sides: Vec<Vec<usize>>,
    /// By slot, how its still lies against the view that boxes are over; none where they are over the stills.
    pub stands: Option<Vec<Pose>>,
}

/// One subject.
#[derive(Debug, Clone)]
pub struct Task {
    /// Where it is said to be: slots in order, and boxes in fractions of the upright still.
    pub keys: Vec<(usize, Rect)>,
}

/// Where a subject is in a still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Its box, in fractions of the upright still; where it is lost, where it is thought to be.
    pub area: Rect,
    /// How sure that is, from 0 to 1.
    pub confidence: f64,
    /// How it is known.
    pub state: SpotState,
}

/// How the place of a subject is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SpotState {
    /// A key says so.
    Keyed,
    /// It was seen.
    Seen,
    /// Something was, which may be something else.
    Doubted,
    /// It was not.
    Lost,
}

impl SpotState {
    /// The word for it in tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Keyed => "keyed",
            Self::Seen => "seen",
            Self::Doubted => "doubted",
            Self::Lost => "lost",
        }
    }

    /// From that word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Keyed, Self::Seen, Self::Doubted, Self::Lost].into_iter().find(|state| state.word() == word)
    }
}

/// Where a subject was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// By slot; none for stills that were not looked at.
    pub spots: Vec<Option<Spot>>,
    /// Keys that could not be tracked from, and why.
    pub unfit: Vec<(usize, Unfit)>,
    /// Keys beside which something looks the same.
    pub twins: Vec<usize>,
    /// Keys, one after the other, of which neither leads to the other.
    pub apart: Vec<(usize, usize)>,
}

/// What trackers said from one key, or from many, in one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// In fractions of the upright still.
    pub area: Rect,
    /// From 0 to 1.
    pub confidence: f64,
    /// Whether it was seen.
    pub seen: bool,
}

/// Two boxes are the same place from this overlap on.
const SAME: f64 = 0.3;
/// Two boxes whose middle one is good for both from this overlap on.
const ALIKE: f64 = 0.75;
/// What is in doubt is worth this much of its confidence.
const DOUBTED: f64 = 0.25;
/// Decimals of what is told: those of a table, so that one read back says the same.
const DECIMALS: f64 = 1e6;

impl Found {
    /// What two passes over the stills told of a task, forwards and backwards, by slot. At a key's slot a pass tells
    /// where it had come to before it saw the key. `doubted` are slots where a check parted from the track.
    #[must_use]
    pub fn woven(
        task: &Task,
        sides: &[Vec<usize>],
        slots: usize,
        (forwards, backwards): (&[Option<Told>], &[Option<Told>]),
        doubted: &[usize],
    ) -> Self {
        let mut found = Self { spots: vec![None; slots], ..Self::default() };
        for side in sides {
            for slot in side {
                found.spots[*slot] = Some(spot(task, *slot, forwards[*slot], backwards[*slot]));
            }
            for slot in doubted {
                if let Some(spot) = found.spots[*slot].as_mut().filter(|spot| spot.state == SpotState::Seen) {
                    (spot.state, spot.confidence) = (SpotState::Doubted, spot.confidence * DOUBTED);
                }
            }
            found.hold(side);
            let keys: Vec<&(usize, Rect)> = task.keys.iter().filter(|(slot, _)| side.contains(slot)).collect();
            for pair in keys.windows(2) {
                let (from, to) = (pair[0], pair[1]);
                let misses = |told: Option<Told>, area: Rect| told.is_none_or(|told| overlap(told.area, area) < 0.1);
                // Seen beside the next key, it was something else from some still on.
                let slips = |told: Option<Told>, area: Rect| {
                    told.is_some_and(|told| told.seen && overlap(told.area, area) < 0.1)
                };
                let seen = |told: Option<Told>| told.is_some_and(|told| told.seen);
                let slipped = [slips(forwards[to.0], to.1), slips(backwards[from.0], from.1)];
                for slot in side.iter().copied().filter(|slot| (from.0 + 1..to.0).contains(slot)) {
                    let only = [
                        seen(forwards[slot]) && !seen(backwards[slot]),
                        seen(backwards[slot]) && !seen(forwards[slot]),
                    ];
                    if let Some(spot) = found.spots[slot].as_mut().filter(|spot| spot.state == SpotState::Seen)
                        && slipped.iter().zip(only).any(|(slipped, only)| *slipped && only)
                    {
                        (spot.state, spot.confidence) = (SpotState::Doubted, spot.confidence * DOUBTED);
                    }
                }
                if misses(forwards[to.0], to.1) && misses(backwards[from.0], from.1) {
                    found.apart.push((from.0, to.0));
                }
            }
        }
        for spot in found.spots.iter_mut().flatten() {
            *spot = spot.rounded();
        }
        found
    }

    /// Lays the boxes of stills in which it is lost between those in which it is not; beyond the last they stay.
    fn hold(&mut self, side: &[usize]) {
        let known: Vec<usize> = (0..side.len())
            .filter(|at| self.spots[side[*at]].is_some_and(|spot| spot.state != SpotState::Lost))
            .collect();
        let area = |found: &Self, at: usize| found.spots[side[at]].map(|spot| spot.area);
        for (at, slot) in side.iter().enumerate() {
            if self.spots[*slot].is_none_or(|spot| spot.state != SpotState::Lost) {
                continue;
            }
            let next = known.partition_point(|other| *other < at);
            let (before, after) = (next.checked_sub(1).map(|before| known[before]), known.get(next).copied());
            let held = match (before, after) {
                (Some(before), Some(after)) => {
                    let share = (at - before) as f64 / (after - before) as f64;
                    area(self, before).zip(area(self, after)).map(|(one, two)| between(one, two, share))
                }
                (Some(one), None) | (None, Some(one)) => area(self, one),
                (None, None) => None,
            };
            if let (Some(held), Some(spot)) = (held, &mut self.spots[*slot]) {
                spot.area = held;
            }
        }
    }
}

impl Spot {
    /// As a table has it.
    #[must_use]
    pub fn rounded(self) -> Self {
        let round = |value: f64| (value * DECIMALS).round() / DECIMALS;
        let Rect { x0, y0, .. } = self.area;
        let (x, y, width, height) = (round(x0), round(y0), round(self.area.width()), round(self.area.height()));
        let confidence = (self.confidence * 1e3).round() / 1e3;
        Self { area: Rect::new(x, y, x + width, y + height), confidence, ..self }
    }
}

fn spot(task: &Task, slot: usize, forwards: Option<Told>, backwards: Option<Told>) -> Spot {
    if let Some((_, area)) = task.keys.iter().find(|(key, _)| *key == slot) {
        return Spot { area: *area, confidence: 1.0, state: SpotState::Keyed };
    }
    let seen = |told: Option<Told>| told.filter(|told| told.seen);
    let of =
        |told: Told, share: f64| Spot { area: told.area, confidence: told.confidence * share, state: SpotState::Seen };
    match (seen(forwards), seen(backwards)) {
        (Some(one), Some(two)) => {
            let near = |key: usize| key.abs_diff(slot);
            let before = task.keys.iter().rev().find(|(key, _)| *key < slot).map_or(usize::MAX, |(key, _)| near(*key));
            let after = task.keys.iter().find(|(key, _)| *key > slot).map_or(usize::MAX, |(key, _)| near(*key));
            if overlap(one.area, two.area) >= SAME {
                let share = before as f64 / (before as f64 + after as f64);
                let confidence = one.confidence.max(two.confidence);
                // Where they part, the box that holds both.
                let area = if overlap(one.area, two.area) < ALIKE {
                    one.area.union(two.area)
                } else {
                    between(one.area, two.area, share)
                };
                Spot { area, confidence, state: SpotState::Seen }
            } else {
                let nearer = if before <= after { one } else { two };
                Spot { state: SpotState::Doubted, ..of(nearer, DOUBTED) }
            }
        }
        (Some(one), None) | (None, Some(one)) => of(one, 1.0),
        (None, None) => {
            let area = forwards.or(backwards).map_or_else(|| nearest(task, slot), |told| told.area);
            Spot { area, confidence: 0.0, state: SpotState::Lost }
        }
    }
}

fn nearest(task: &Task, slot: usize) -> Rect {
    task.keys.iter().min_by_key(|(key, _)| key.abs_diff(slot)).map_or(Rect::ZERO, |(_, area)| *area)
}

/// A box on the way from one to another.
#[must_use]
pub fn between(from: Rect, to: Rect, share: f64) -> Rect {
    let along = |from: f64, to: f64| from + (to - from) * share;
    Rect::new(along(from.x0, to.x0), along(from.y0, to.y0), along(from.x1, to.x1), along(from.y1, to.y1))
}

/// The common part of two boxes over what either has, from 0 to 1.
#[must_use]
pub fn overlap(one: Rect, two: Rect) -> f64 {
    let common = one.intersect(two);
    let common = if common.x1 > common.x0 && common.y1 > common.y0 { common.area() } else { 0.0 };
    common / (one.area() + two.area() - common).max(f64::MIN_POSITIVE)
}

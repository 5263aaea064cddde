//! Two coherent motions in one picture: which of them is the camera's.
//!
//! A foreground that moves as one (a crane, a crowd, a field in the wind) agrees as well as the scene behind it does.
//! Links of a stretch of stills are looked at together: their tiles fall into two parties, and the party that goes less
//! far from where it was is the scene, since the camera is fixed. The other party's tiles have no say in that stretch,
//! not even where both lie too near each other to be told apart.

use std::collections::BTreeMap;

use super::link::Link;
use super::{Layout, Registered};
use crate::level::Region;

/// Stills that are looked at together.
const TOGETHER: usize = 32;
/// The farthest stretch that another goes by.
const NEAR: usize = 4;
/// Minimum number of links with two motions.
const FEWEST: usize = 3;

/// Something large that moved by itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// Slots of the first and the last still among those it moves in.
    pub stills: [usize; 2],
    /// The share of tiles that go with it, at most.
    pub share: f64,
    /// The largest box without any of them, as fractions of the still.
    pub beside: Option<Region>,
}

/// Which tiles go with something else than the camera, by stretch.
#[derive(Debug, Default)]
pub(super) struct Rivals {
    moving: BTreeMap<usize, Vec<bool>>,
}

/// What a stretch's links say of its two parties.
struct Parties {
    /// By tile: how much oftener it went with the first than with the second.
    with: Vec<i32>,
    /// How far each went, squares added up.
    gone: [f64; 2],
    links: usize,
}

impl Rivals {
    pub(super) fn of(registered: &Registered, layout: &Layout, region: Option<Region>) -> Self {
        let mut stretches: BTreeMap<usize, Parties> = BTreeMap::new();
        for link in &registered.links {
            let Some(rivals) = link.rivals(layout, region) else { continue };
            let parties = stretches.entry(link.later / TOGETHER).or_insert_with(|| Parties::new(layout));
            parties.hear(rivals);
        }
        let told = stretches.into_iter().filter(|(_, parties)| parties.links >= FEWEST);
        Self { moving: told.map(|(stretch, parties)| (stretch, parties.moving())).collect() }
    }

    /// Whether a tile of a link goes with something else than the camera. A stretch in which that cannot be seen, as
    /// where a swing turns, goes by the nearest one where it can.
    pub(super) fn moves(&self, link: &Link, tile: usize) -> bool {
        let in_stretch = |slot: usize| {
            let stretch = slot / TOGETHER;
            let before = self.moving.range(..=stretch).next_back();
            let after = self.moving.range(stretch..).next();
            let near = before.into_iter().chain(after).filter(|(other, _)| other.abs_diff(stretch) <= NEAR);
            near.min_by_key(|(other, _)| other.abs_diff(stretch)).is_some_and(|(_, moving)| moving[tile])
        };
        in_stretch(link.earlier) || in_stretch(link.later)
    }

    /// What moved, in stretches that follow one another.
    #[expect(clippy::cast_precision_loss, reason = "tiles")]
    pub(super) fn said(&self, layout: &Layout, stills: usize) -> Vec<Rival> {
        let mut said: Vec<(usize, Vec<bool>, Rival)> = Vec::new();
        for (stretch, moving) in &self.moving {
            let share = moving.iter().filter(|moves| **moves).count() as f64 / moving.len().max(1) as f64;
            let last = ((stretch + 1) * TOGETHER).min(stills) - 1;
            match said.last_mut().filter(|(before, ..)| before + 1 == *stretch) {
                Some((before, all, rival)) => {
                    *before = *stretch;
                    all.iter_mut().zip(moving).for_each(|(all, moves)| *all |= *moves);
                    rival.stills[1] = last;
                    rival.share = rival.share.max(share);
                }
                None => {
                    let rival = Rival { stills: [stretch * TOGETHER, last], share, beside: None };
                    said.push((*stretch, moving.clone(), rival));
                }
            }
        }
        said.into_iter().map(|(_, moving, rival)| Rival { beside: largest_beside(layout, &moving), ..rival }).collect()
    }
}

impl Parties {
    fn new(layout: &Layout) -> Self {
        Self { with: vec![0; layout.count()], gone: [0.0; 2], links: 0 }
    }

    /// Two motions of a link, each taken for the party that it has more tiles in common with.
    fn hear(&mut self, motions: [(f64, Vec<usize>); 2]) {
        let leans = |tiles: &[usize]| tiles.iter().map(|tile| self.with[*tile].signum()).sum::<i32>();
        let swapped = leans(&motions[0].1) < leans(&motions[1].1);
        let [first, second] = motions;
        let motions = if swapped { [second, first] } else { [first, second] };
        for (party, ((far, tiles), vote)) in motions.into_iter().zip([1, -1]).enumerate() {
            self.gone[party] += far * far;
            tiles.into_iter().for_each(|tile| self.with[tile] += vote);
        }
        self.links += 1;
    }

    /// The tiles of the party that went farther.
    fn moving(&self) -> Vec<bool> {
        let farther = if self.gone[0] > self.gone[1] { 1 } else { -1 };
        self.with.iter().map(|with| with.signum() == farther).collect()
    }
}

/// The largest box of tiles of which none moves; none where it would be of fewer than six.
fn largest_beside(layout: &Layout, moving: &[bool]) -> Option<Region> {
    let Layout { across, down, .. } = *layout;
    let mut best: Option<(usize, [usize; 4])> = None;
    for top in 0..down {
        let mut free = vec![true; across];
        for bottom in top..down {
            free.iter_mut().enumerate().for_each(|(x, free)| *free &= !moving[bottom * across + x]);
            let mut from = 0;
            for (x, free) in free.iter().chain([&false]).enumerate() {
                if *free {
                    continue;
                }
                let size = (x - from) * (bottom + 1 - top);
                if best.is_none_or(|(most, _)| size > most) && size > 0 {
                    best = Some((size, [from, top, x - 1, bottom]));
                }
                from = x + 1;
            }
        }
    }
    let (_, [left, top, right, bottom]) = best.filter(|(size, _)| *size >= 6)?;
    let [first, last] = [top * across + left, bottom * across + right].map(|tile| layout.place(tile));
    let half = [layout.still.width, layout.still.height]
        .map(|length| f64::from(layout.step) * layout.side as f64 / 2.0 / f64::from(length));
    Some(Region {
        x: first.x - half[0],
        y: first.y - half[1],
        width: last.x - first.x + 2.0 * half[0],
        height: last.y - first.y + 2.0 * half[1],
    })
}

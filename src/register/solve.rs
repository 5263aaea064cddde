//! From what registering found to the stand of every still.

use std::ops::Range;

use super::adjustment::{Group, Tie, adjust};
use super::link::Lie;
use super::rivals::{Rival, Rivals};
use super::shake;
use super::steps::{self, Place};
use super::{Pose, Registered, Sight};
use crate::level::Region;

/// A group of fewer stills is no view of its own, but stills that show something else.
const FEWEST: usize = 3;
/// A bump amid shaking has to be so many times as high as one amid noise.
const SURER: f64 = 2.0;
/// A link's error in samples at which it counts for half.
const USUAL_ERROR: f64 = 0.02;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wishes {
    /// The part of the still that shows what does not move; all of it where none.
    pub region: Option<Region>,
    /// Whether slow changes are taken out too, or bumps alone.
    pub sags: bool,
}

/// The camera moved from one still to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bump {
    /// Slot of the first still after it.
    pub at: usize,
    /// How far the picture went, in pixels and degrees.
    pub by: Pose,
}

/// The camera moved slowly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sag {
    /// Slot of the first still of it.
    pub from: usize,
    /// Slot of the last.
    pub to: usize,
    /// How far the picture went in all, bumps apart, in pixels and degrees.
    pub by: Pose,
}

/// The camera shook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shaking {
    /// Slot of the first still of it.
    pub from: usize,
    /// Slot of the last.
    pub to: usize,
    /// Root mean square of how far the picture lay from where it would have without, in pixels.
    pub rms: f64,
}

/// Another view begins: stands are against its own first still.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct View {
    /// Slot of its first still.
    pub at: usize,
    /// Whether that is the view before enlarged or made smaller: another focal length or focus.
    pub enlarged: bool,
}

/// Why a still could not be placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Too little of it shows anything.
    Blank,
    /// Too little of it looks like the stills around.
    Unlike,
    /// What it looks like contradicts itself.
    Contradicts,
    /// It has another size than most.
    OtherSize,
}

/// What steadying comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// By slot: what the window is to go along with. A still that could not be placed, or is missing, stands as the one
    /// before it.
    pub stands: Vec<Pose>,
    /// By slot: as it was measured, where it could be.
    pub measured: Vec<Option<Pose>>,
    /// In order.
    pub bumps: Vec<Bump>,
    /// In order, one a view at most.
    pub sags: Vec<Sag>,
    /// In order.
    pub shaking: Vec<Shaking>,
    /// What moved by itself, as large as to be taken for the camera's own movement, in order.
    pub rivals: Vec<Rival>,
    /// Share of the picture that shows enough to tell how it lies, in the mean of all pairs that were compared; 1 where
    /// none was.
    pub textured: f64,
    /// Views after the first, in order.
    pub views: Vec<View>,
    /// Stills that could not be placed, in order.
    pub unplaced: Vec<(usize, Reason)>,
    /// Standard deviation of what was measured from still to still, in pixels; the larger of the two axes.
    pub noise: f64,
}

impl Solved {
    /// Whether the camera stood still from beginning to end.
    #[must_use]
    pub fn is_still(&self) -> bool {
        self.stands.iter().all(|stand| *stand == Pose::STILL)
    }
}

/// Solves for the stand of every slot.
#[must_use]
pub fn solve(registered: &Registered, wishes: &Wishes) -> Solved {
    solve_in_sides(registered, wishes, &[])
}

/// The same where `sides` are the slots, in order, that begin another side of a break: each side is judged by itself,
/// and the camera may have been moved between two.
#[must_use]
pub fn solve_in_sides(registered: &Registered, wishes: &Wishes, sides: &[usize]) -> Solved {
    let count = registered.stills.len();
    let mut solved = Solved {
        stands: vec![Pose::STILL; count],
        measured: vec![None; count],
        bumps: Vec::new(),
        sags: Vec::new(),
        shaking: Vec::new(),
        rivals: Vec::new(),
        textured: 1.0,
        views: Vec::new(),
        unplaced: Vec::new(),
        noise: 0.0,
    };
    let Some(layout) = registered.layout else {
        solved.unplaced = (0..count)
            .filter(|slot| registered.stills[*slot] != Sight::Missing)
            .map(|slot| (slot, Reason::Blank))
            .collect();
        return solved;
    };
    let (lever, step) = (layout.lever(), f64::from(layout.step));
    let rivals = Rivals::of(registered, &layout, wishes.region);
    solved.rivals = rivals.said(&layout, count);
    if !registered.links.is_empty() {
        let shares = registered.links.iter().map(|link| link.textured(&layout, wishes.region));
        #[expect(clippy::cast_precision_loss, reason = "pairs of stills")]
        let links = registered.links.len() as f64;
        solved.textured = shares.sum::<f64>() / links;
    }
    let (mut ties, mut enlarged) = (Vec::new(), Vec::new());
    for link in &registered.links {
        match link.lie(&layout, wishes.region, &|tile| rivals.moves(link, tile)) {
            Lie::Moved(stand, error) => {
                let weight = 1.0 / (1.0 + (error / step / USUAL_ERROR).powi(2));
                ties.push(Tie { earlier: link.earlier, later: link.later, stand, weight });
            }
            Lie::Enlarged => enlarged.push((link.earlier, link.later)),
            Lie::Unlike => {}
        }
    }
    let noise = shake::noise_of_links(&ties, lever);
    let (groups, strays): (Vec<Group>, Vec<Group>) =
        adjust(count, &ties, lever, step).into_iter().partition(|group| group.slots.len() >= FEWEST || count <= FEWEST);
    let mut placed = vec![false; count];
    for (at, group) in groups.iter().enumerate() {
        if at > 0 {
            let begins = group.slots[0];
            let joins =
                |(earlier, later): &(usize, usize)| !group.slots.contains(earlier) && group.slots.contains(later);
            solved.views.push(View { at: begins, enlarged: enlarged.iter().any(joins) });
        }
        let sure = group.slots.iter().zip(&group.stands).zip(&group.sure).filter(|(_, sure)| **sure);
        let (slots, stands): (Vec<usize>, Vec<Pose>) = sure.map(|((slot, stand), _)| (*slot, *stand)).unzip();
        for (slot, stand) in slots.iter().zip(&stands) {
            solved.measured[*slot] = Some(*stand);
            placed[*slot] = true;
        }
        let mut begin: Vec<usize> = sides.iter().map(|side| slots.partition_point(|slot| slot < side)).collect();
        begin.retain(|at| (1..slots.len()).contains(at));
        begin.dedup();
        steady((&slots, &stands, &begin), (lever, noise), wishes, &mut solved);
    }
    let alone = if groups.is_empty() { registered.stills.iter().position(|sight| *sight == Sight::Seen) } else { None };
    let stray = |slot: &usize| strays.iter().any(|group| group.slots.contains(slot));
    for (slot, sight) in registered.stills.iter().enumerate().filter(|(slot, _)| !placed[*slot] && Some(*slot) != alone)
    {
        let grouped = groups.iter().any(|group| group.slots.binary_search(&slot).is_ok());
        let reason = match sight {
            Sight::Missing => continue,
            Sight::Blank => Reason::Blank,
            Sight::OtherSize => Reason::OtherSize,
            Sight::Seen if grouped && !stray(&slot) => Reason::Contradicts,
            Sight::Seen => Reason::Unlike,
        };
        solved.unplaced.push((slot, reason));
    }
    let mut before = Pose::STILL;
    for (stand, placed) in solved.stands.iter_mut().zip(&placed) {
        if !placed {
            *stand = before;
        }
        before = *stand;
    }
    solved.bumps.sort_by_key(|bump| bump.at);
    solved.sags.sort_by_key(|sag| sag.from);
    solved
}

/// Tells bumps, sags and shaking of one view from its noise, and writes its stands. `sides` are the places among its
/// stills that begin another side of a break.
fn steady(
    (slots, stands, sides): (&[usize], &[Pose], &[usize]),
    (lever, of_links): (f64, Option<Place>),
    wishes: &Wishes,
    solved: &mut Solved,
) {
    if slots.is_empty() {
        return;
    }
    let places: Vec<Place> = stands.iter().map(|stand| [stand.x, stand.y, stand.turn * lever]).collect();
    let shaken = of_links.map_or_else(Default::default, |noise| shaken(&places, sides, noise));
    let Line { trend, places, edges, noise } = Line::through(places, &shaken, sides);
    solved.noise = solved.noise.max(noise[0]).max(noise[1]);
    let mut smooth = trend.clone();
    for (axis, runs) in shaken.iter().enumerate() {
        runs.iter().cloned().flatten().for_each(|at| smooth[at][axis] = places[at][axis]);
    }
    let apart = |one: Place, other: Place| -> Place { std::array::from_fn(|axis| one[axis] - other[axis]) };
    let stand = |[x, y, turn]: Place| Pose { x, y, turn: turn / lever };
    let mut bumped = [0.0; 3];
    let mut sagged = [0.0; 3];
    for (at, slot) in slots.iter().enumerate() {
        if edges.binary_search(&at).is_ok() {
            let by = apart(trend[at], trend[at - 1]);
            bumped = std::array::from_fn(|axis| bumped[axis] + by[axis]);
            solved.bumps.push(Bump { at: *slot, by: stand(by) });
        } else if at > 0 {
            let by = apart(trend[at], trend[at - 1]);
            sagged = std::array::from_fn(|axis| sagged[axis] + by[axis]);
        }
        let shakes = apart(smooth[at], trend[at]);
        let from_first =
            if wishes.sags { apart(smooth[at], smooth[0]) } else { [0, 1, 2].map(|axis| bumped[axis] + shakes[axis]) };
        solved.stands[*slot] = stand(from_first);
    }
    if sags(&trend, &edges) && wishes.sags {
        solved.sags.push(Sag { from: slots[0], to: slots[slots.len() - 1], by: stand(sagged) });
    }
    for run in union(&shaken) {
        let squares = run.clone().map(|at| {
            let [x, y, _] = apart(smooth[at], trend[at]);
            x * x + y * y
        });
        #[expect(clippy::cast_precision_loss, reason = "stills of a shoot")]
        let rms = (squares.sum::<f64>() / run.len() as f64).sqrt();
        solved.shaking.push(Shaking { from: slots[run.start], to: slots[run.end - 1], rms });
    }
}

/// By axis, the runs of places in which the camera shakes, side by side.
fn shaken(places: &[Place], sides: &[usize], noise: Place) -> [Vec<Range<usize>>; 3] {
    let mut all: [Vec<Range<usize>>; 3] = Default::default();
    let ends = sides.iter().copied().chain([places.len()]);
    let mut start = 0;
    for end in ends {
        for (all, runs) in all.iter_mut().zip(shake::runs(&places[start..end], noise)) {
            all.extend(runs.into_iter().map(|run| start + run.start..start + run.end));
        }
        start = end;
    }
    all
}

/// What the camera did without noise and shaking.
struct Line {
    trend: Vec<Place>,
    /// As measured, but that a camera which stands after a break where it stood before has not moved.
    places: Vec<Place>,
    /// The places before which it steps.
    edges: Vec<usize>,
    /// The largest of its parts.
    noise: Place,
}

impl Line {
    /// Parts in which the camera shakes are looked at by themselves, or their shaking would hide the bumps of others.
    fn through(places: Vec<Place>, shaken: &[Vec<Range<usize>>; 3], sides: &[usize]) -> Self {
        let mut bounds: Vec<usize> = union(shaken).into_iter().flat_map(|run| [run.start, run.end]).collect();
        bounds.extend([0, places.len()]);
        bounds.extend(sides);
        bounds.sort_unstable();
        bounds.dedup();
        let count = places.len();
        let mut line = Self { trend: Vec::with_capacity(count), places, edges: Vec::new(), noise: [0.0; 3] };
        // What the side is brought back by: from where it was measured, so that what camera and tripod do over many
        // breaks adds up to a step in the end.
        let mut back = [0.0; 3];
        let shakes = |part: &Range<usize>| shaken.iter().flatten().any(|run| run.contains(&part.start));
        for part in bounds.windows(2).map(|two| two[0]..two[1]) {
            // Shaking has no normal distribution: what stands out of it has to be surer.
            let by = if shakes(&part) { SURER } else { 1.0 };
            let begins_side = sides.contains(&part.start);
            if begins_side {
                back = [0.0; 3];
            }
            for place in &mut line.places[part.clone()] {
                *place = std::array::from_fn(|axis| place[axis] + back[axis]);
            }
            let noise = steps::noise(&line.places[part.clone()]).map(|noise| by * noise);
            let (mut smooth, edges) = steps::smoothed(&line.places[part.clone()], noise);
            line.noise = std::array::from_fn(|axis| line.noise[axis].max(noise[axis]));
            if let Some(before) = line.trend.last() {
                let square = |axis: usize| (smooth[0][axis] - before[axis]).powi(2);
                let height = (0..3).map(square).sum::<f64>().sqrt();
                let sure = steps::SURE * line.noise.iter().map(|noise| noise * noise).sum::<f64>().sqrt();
                let is_step = height > steps::LEAST.max(sure);
                line.edges.extend(is_step.then_some(part.start));
                if !is_step && begins_side {
                    let by: Place = std::array::from_fn(|axis| before[axis] - smooth[0][axis]);
                    for place in smooth.iter_mut().chain(&mut line.places[part.clone()]) {
                        *place = std::array::from_fn(|axis| place[axis] + by[axis]);
                    }
                    back = by;
                }
            }
            line.edges.extend(edges.iter().map(|edge| part.start + edge));
            line.trend.extend(smooth);
        }
        line
    }
}

/// Runs of any axis, joined where they overlap.
fn union(shaken: &[Vec<Range<usize>>; 3]) -> Vec<Range<usize>> {
    let mut all: Vec<Range<usize>> = shaken.iter().flatten().cloned().collect();
    all.sort_by_key(|run| run.start);
    let mut joined: Vec<Range<usize>> = Vec::new();
    for run in all {
        match joined.last_mut().filter(|last| last.end >= run.start) {
            Some(last) => last.end = last.end.max(run.end),
            None => joined.push(run),
        }
    }
    joined
}

/// Whether anything changes where there is no step.
fn sags(smooth: &[Place], edges: &[usize]) -> bool {
    (1..smooth.len()).any(|at| smooth[at] != smooth[at - 1] && edges.binary_search(&at).is_err())
}

//! Soft edges: a path that would leave the still is bent before it gets there.
//!
//! In: a window a frame, some outside the still, and what must stay as it is. Out: windows inside the still. The change
//! is the one with the least change of acceleration of the window's four edges, dying away within about a second (or
//! sooner, where it would reach farther than what it mends), under limits: every edge inside the still, keys where they are and rests at rest, and no edge accelerating more than the
//! path's own edges do anywhere. Of a window that is rolled, corners take the place of edges; the roll itself is never
//! changed. Where keys leave no such bend the last limit gives way, as little as it can. Frames far from any trouble
//! are left alone to the last bit.
//!
//! It is a quadratic programme, solved by a primal-dual interior-point method (Nocedal and Wright, *Numerical
//! Optimization*, 2006, chapter 16.6; from memory, and the tests check what comes out) on a system as narrow as three
//! frames, so that the cost grows with the frames bent and no faster.
//!
//! ## Decisions
//!
//! - Nothing is clamped one frame at a time: that would show as a jerk. All frames of a path that would leave the still
//!   (also by an overshooting ease) are bent together.
//! - Limits: down and across apart, in pixels of the still per frame squared; no closer than 0.8 of the path's own
//!   width, or of the largest window if that is less.
//! - More than two of the still's longer sides outside is taken for a typing mistake and refused. On a drawing there
//!   are no keys to hold to, so all of it may give.
//!
//! ## Surprises
//!
//! - An augmented Lagrangian bends easy paths well and wanders for minutes on hard ones; the interior point takes 25 to
//!   35 steps on either. A price on acceleration, not a hard limit, keeps every case solvable.

use super::banded::{Banded, REACH};
use crate::geom::{Room, Window};

/// How far outside the still an edge may come to lie, in pixels: what is left is rounding to whoever asked.
pub const EXACT: f64 = 1e-6;

/// How far outside the still a window may come to lie, in pixels, after a bend that was found.
const INSIDE: f64 = 1e-4;

/// Seconds over which a bend dies away: the first of these that keeps it [`NEAR`].
const FADES: [f64; 7] = [1.0, 0.7, 0.5, 0.35, 0.25, 0.18, 0.125];

/// Seconds from the frames outside within which all but [`BEYOND`] of a bend's energy, the squares of what corners
/// move, is to lie; and how many times the excursion it may move a corner.
const NEAR: f64 = 1.5;
const BEYOND: f64 = 0.1;
const TIMES: f64 = 2.0;

/// How many times [`FADES`] a bend reaches beyond the frames that are outside: farther only where it brakes too hard.
const REACHES: [f64; 2] = [5.0, 20.0];

/// A bend may come closer than the path does, down to this share of its width: to slip past an edge, not to dive.
const CLOSER: f64 = 0.8;

/// How hard a moment between two frames is tied: it stays to within about a ten-thousandth of a pixel.
const TIED: f64 = 1e5;

/// How hard the limit on acceleration is kept, in units of it: harder than any bend that can keep it pulls.
const KEPT: f64 = 1e3;

/// The most steps of the method; it takes about thirty.
const STEPS: usize = 120;

/// What a bend leaves as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tie {
    /// The window at a moment between two frames: the frame before, and how far beyond it, 0 to below 1.
    Key(usize, f64),
    /// The window moves from this frame to the next as it did.
    Rest(usize),
}

/// What came of bending a path.
#[derive(Debug, Clone, PartialEq)]
pub struct Bent {
    /// One a frame.
    pub windows: Vec<Window>,
    /// How much wider than the path's own the limit on acceleration had to be: 1 where it held.
    pub widened: f64,
}

/// Bends a path of windows of one shape, however rolled, into the still or the room it has, at least one frame of which
/// is outside.
///
/// `narrowest` is the least width of a window, in pixels.
#[must_use]
pub fn bend(windows: &[Window], room: impl Into<Room>, narrowest: f64, ties: &[Tie], frames_a_second: f64) -> Bent {
    let room = room.into();
    let outside: Vec<f64> = windows.iter().map(|window| outside(*window, room, narrowest)).collect();
    // No frame shows a key between two frames: where one of these has to move, the key has no say.
    let is_out = |frame: usize| outside.get(frame).is_some_and(|outside| *outside > EXACT);
    let has_say = |tie: &&Tie| match **tie {
        Tie::Key(frame, share) => share == 0.0 || !is_out(frame) && !is_out(frame + 1),
        Tie::Rest(_) => true,
    };
    let ties: Vec<Tie> = ties.iter().filter(has_say).copied().collect();
    let most = accelerations(windows);
    let mut best: Option<(Bent, Merit)> = None;
    for fades in FADES {
        let path = Path { room, narrowest, ties: &ties, fades: fades * frames_a_second, most };
        let bent = path.bent_within_reach(windows);
        let is_inside = bent.windows.iter().all(|window| self::outside(*window, room, narrowest) <= INSIDE);
        let merit = Merit {
            is_outside: !is_inside,
            widened: bent.widened,
            far: far(windows, &bent.windows, &outside, frames_a_second),
        };
        if best.as_ref().is_none_or(|(_, other)| merit < *other) {
            best = Some((bent, merit));
        }
        // A shorter bend keeps the limit less easily than a longer one.
        if is_inside && (merit.far <= 1.0 || merit.widened > 1.0) {
            break;
        }
    }
    best.map_or_else(|| Bent { windows: windows.to_vec(), widened: 1.0 }, |(bent, _)| bent)
}

/// What makes one bend worse than another, the first that differs.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Merit {
    /// Whether none was found that leads inside.
    is_outside: bool,
    /// As [`Bent::widened`].
    widened: f64,
    /// As [`far`].
    far: f64,
}

/// How far a window lies outside the room or is short of its least width, in pixels; 0 inside.
fn outside(window: Window, room: Room, narrowest: f64) -> f64 {
    let bounds = window.bounds();
    let sides = [room.left - bounds.x, room.top - bounds.y, bounds.right() - room.right, bounds.bottom() - room.bottom];
    sides.into_iter().fold((narrowest - window.width).max(0.0), f64::max)
}

/// How far from the frames outside a bend reaches: at most 1 where it is near them, in time and in pixels.
fn far(windows: &[Window], bent: &[Window], outside: &[f64], frames_a_second: f64) -> f64 {
    let excursion = outside.iter().copied().fold(0.0, f64::max);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few seconds of frames")]
    let near = (NEAR * frames_a_second).round() as usize;
    // How many frames lie between each frame and the nearest one outside.
    let mut away = vec![usize::MAX; windows.len()];
    let mut since = usize::MAX;
    for frame in (0..windows.len()).chain((0..windows.len()).rev()) {
        since = if outside[frame] > EXACT { 0 } else { since.saturating_add(1) };
        away[frame] = away[frame].min(since);
        if frame + 1 == windows.len() {
            since = if outside[frame] > EXACT { 0 } else { usize::MAX };
        }
    }
    let (mut beyond, mut all, mut most) = (0.0, 0.0, 0.0_f64);
    for ((before, after), away) in windows.iter().zip(bent).zip(&away) {
        for corner in corners_of(&[*before]) {
            let moved = (after.at(*corner) - before.at(*corner)).hypot();
            all += moved * moved;
            beyond += if *away > near { moved * moved } else { 0.0 };
            most = most.max(moved);
        }
    }
    let (beyond, times) = (if all > 0.0 { beyond / all } else { 0.0 }, most / excursion.max(EXACT));
    (beyond / BEYOND).max(times / TIMES)
}

/// The largest acceleration of the edges, or of the corners where windows are rolled, across and down, in pixels a
/// frame a frame.
#[must_use]
pub fn accelerations(windows: &[Window]) -> (f64, f64) {
    windows.windows(3).fold((0.0, 0.0), |(across, down), three| {
        let corners = corners_of(three);
        let corners = corners.iter().map(|corner| second_difference(three, *corner));
        corners.fold((across, down), |(across, down), (x, y)| (x.abs().max(across), y.abs().max(down)))
    })
}

/// A corner of a frame, by its place in fractions of the sides.
type Corner = (f64, f64);

/// The corners that say all: where nothing is rolled two of them lie on all four edges.
fn corners_of(windows: &[Window]) -> &'static [Corner] {
    const CORNERS: [Corner; 4] = [(0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)];
    if windows.iter().all(|window| window.roll == 0.0) { &CORNERS[..2] } else { &CORNERS }
}

/// The acceleration of a corner over three frames, across and down.
fn second_difference(three: &[Window], corner: Corner) -> (f64, f64) {
    let at = |frame: usize| three[frame].at(corner);
    (at(0).x - 2.0 * at(1).x + at(2).x, at(0).y - 2.0 * at(1).y + at(2).y)
}

/// What a corner moves by, across and down, where the window grows by a pixel of width about its centre.
fn growth(window: Window, corner: Corner, shape: f64) -> [f64; 2] {
    let grown = crate::geom::turned(kurbo::Vec2::new(corner.0 - 0.5, (corner.1 - 0.5) * shape), window.roll);
    [grown.x, grown.y]
}

struct Path<'a> {
    room: Room,
    narrowest: f64,
    ties: &'a [Tie],
    /// Frames over which a bend dies away.
    fades: f64,
    most: (f64, f64),
}

impl Path<'_> {
    /// The path bent near the frames outside, or farther from them where it brakes too hard otherwise.
    fn bent_within_reach(&self, windows: &[Window]) -> Bent {
        let mut stretches = self.stretches(windows, REACHES[0]);
        let mut best = self.bent(windows, &stretches);
        for reach in &REACHES[1..] {
            let wider = self.stretches(windows, *reach);
            if best.widened == 1.0 || wider == stretches {
                break;
            }
            let bent = self.bent(windows, &wider);
            if bent.widened < best.widened {
                best = bent;
            }
            stretches = wider;
        }
        best
    }

    /// The path bent over stretches of its frames.
    fn bent(&self, windows: &[Window], stretches: &[(usize, usize)]) -> Bent {
        let mut bent = windows.to_vec();
        for &(first, end) in stretches {
            let change = Excursion { path: self, windows, first, end }.change();
            for (window, change) in bent[first..end].iter_mut().zip(change.chunks_exact(3)) {
                let shape = window.height / window.width;
                window.x += change[0] - change[2] / 2.0;
                window.y += change[1] - change[2] * shape / 2.0;
                window.width += change[2];
                window.height += change[2] * shape;
            }
        }
        // The method keeps a limit to a thousandth of it; where an axis hardly moves, of the other's.
        let (own, seen) = (self.most, accelerations(&bent));
        let beyond = (seen.0 / own.0.max(own.1 * 1e-3)).max(seen.1 / own.1.max(own.0 * 1e-3));
        Bent { windows: bent, widened: if beyond > 1.001 { beyond } else { 1.0 } }
    }

    /// Stretches of frames, first and one past the last, that hold all frames outside and the bends towards them.
    fn stretches(&self, windows: &[Window], reach: f64) -> Vec<(usize, usize)> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few seconds of frames")]
        let reach = (reach * self.fades).ceil().max(8.0) as usize;
        let mut stretches: Vec<(usize, usize)> = Vec::new();
        for (frame, window) in windows.iter().enumerate() {
            if window.inside(self.room, 0.0) && window.width >= self.narrowest {
                continue;
            }
            let (first, end) = (frame.saturating_sub(reach), (frame + reach + 1).min(windows.len()));
            match stretches.last_mut() {
                Some(last) if first <= last.1 => last.1 = end,
                _ => stretches.push((first, end)),
            }
        }
        stretches
    }
}

/// A sum of a few unknowns, held below a limit.
struct Limit {
    terms: [(usize, f64); 6],
    used: usize,
    high: f64,
    /// What going beyond it costs; endless where it must be kept.
    price: f64,
    /// How far the sum is from the limit, above 0.
    room: f64,
    /// How far the sum is allowed beyond the limit, above 0 where there is a price.
    beyond: f64,
    /// How hard the limit pushes back, from 0 to the price.
    push: f64,
}

impl Limit {
    fn new(terms: &[(usize, f64)], high: f64, price: f64) -> Self {
        let mut all = [(0, 0.0); 6];
        all[..terms.len()].copy_from_slice(terms);
        let push = if price.is_finite() { price / 2.0 } else { 1.0 };
        let beyond = if price.is_finite() { 1.0 } else { 0.0 };
        Self { terms: all, used: terms.len(), high, price, room: high.max(1.0), beyond, push: push.min(1.0) }
    }

    fn terms(&self) -> &[(usize, f64)] {
        &self.terms[..self.used]
    }

    /// Whether another limit holds the same sum from the other side.
    fn opposite(&self, other: &Self) -> bool {
        self.used == other.used
            && self.terms().iter().zip(other.terms()).all(|(own, other)| own.0 == other.0 && own.1 == -other.1)
    }

    fn sum(&self, change: &[f64]) -> f64 {
        self.terms().iter().map(|(index, factor)| factor * change[*index]).sum()
    }

    /// How far room and sum are from agreeing.
    fn residual(&self, change: &[f64]) -> f64 {
        self.sum(change) + self.room - self.beyond - self.high
    }

    /// Products that the method brings down to one target, and how many.
    fn gap(&self) -> (f64, f64) {
        let own = self.room * self.push;
        if self.price.is_finite() { (own + self.beyond * (self.price - self.push), 2.0) } else { (own, 1.0) }
    }

    /// What couples a step of the sum to one of the push, `push step = (sum step + offset) / give`: (give, offset).
    fn coupling(&self, change: &[f64], target: f64) -> (f64, f64) {
        let give = self.room / self.push;
        let offset = self.residual(change) + target / self.push - self.room;
        if self.price.is_finite() {
            let left = self.price - self.push;
            (give + self.beyond / left, offset - target / left + self.beyond)
        } else {
            (give, offset)
        }
    }

    /// The steps of room, beyond and push that go with one of the unknowns.
    fn steps(&self, change: &[f64], step: &[f64], target: f64) -> (f64, f64, f64) {
        let (give, offset) = self.coupling(change, target);
        let push = (self.sum(step) + offset) / give;
        let room = (target - self.room * push) / self.push - self.room;
        let beyond = if self.price.is_finite() {
            let left = self.price - self.push;
            (target + self.beyond * push) / left - self.beyond
        } else {
            0.0
        };
        (room, beyond, push)
    }
}

struct Excursion<'a> {
    path: &'a Path<'a>,
    windows: &'a [Window],
    first: usize,
    end: usize,
}

impl Excursion<'_> {
    fn frames(&self) -> usize {
        self.end - self.first
    }

    /// Half the height of a window a pixel wide.
    fn half_shape(&self) -> f64 {
        let window = self.windows[self.first];
        window.height / window.width / 2.0
    }

    /// The ties of this stretch, frames counted from its first.
    fn ties(&self) -> impl Iterator<Item = (usize, Tie)> {
        self.path.ties.iter().filter_map(|tie| {
            let (Tie::Key(frame, _) | Tie::Rest(frame)) = *tie;
            let frame = frame.checked_sub(self.first).filter(|frame| *frame < self.frames())?;
            Some((frame, *tie))
        })
    }

    /// Frames that do not change: at keys, and at the stretch's ends so that what lies beyond is joined without a kink.
    fn fixed(&self) -> Vec<bool> {
        let mut fixed = vec![false; self.frames()];
        let last = fixed.len() - 1;
        if self.first > 0 {
            fixed[..2].fill(true);
        }
        if self.end < self.windows.len() {
            fixed[last - 1..].fill(true);
        }
        for (frame, tie) in self.ties() {
            if tie == Tie::Key(self.first + frame, 0.0) {
                fixed[frame] = true;
            }
        }
        fixed
    }

    /// The second differences of the changes of all four edges, squared and summed; what makes them die away; and ties.
    fn stiffness(&self) -> Banded {
        let mut band = Banded::zeros(3 * self.frames());
        let half = self.half_shape();
        let weights = [2.0, 2.0, 0.5 + 2.0 * half * half];
        let fade = 4.0 / self.path.fades.powi(4);
        for (part, weight) in weights.into_iter().enumerate() {
            let at = |frame: usize, factor: f64| (3 * frame + part, factor);
            for frame in 0..self.frames() {
                square(&mut band, &[at(frame, 1.0)], weight * fade);
            }
            for frame in 1..self.frames().saturating_sub(1) {
                square(&mut band, &[at(frame - 1, 1.0), at(frame, -2.0), at(frame + 1, 1.0)], weight);
            }
            for (frame, tie) in self.ties().filter(|(frame, _)| frame + 1 < self.frames()) {
                let next = frame + 1;
                match tie {
                    Tie::Key(_, share) if share > 0.0 => {
                        square(&mut band, &[at(frame, 1.0 - share), at(next, share)], TIED)
                    }
                    Tie::Key(..) => {}
                    Tie::Rest(_) => square(&mut band, &[at(frame, 1.0), at(next, -1.0)], TIED),
                }
            }
        }
        band
    }

    fn limits(&self, fixed: &[bool]) -> Vec<Limit> {
        let Room { left, top, right, bottom } = self.path.room;
        let sides = [(left, right), (top, bottom)];
        let shape = 2.0 * self.half_shape();
        let mut limits = Vec::with_capacity(13 * self.frames());
        for frame in (0..self.frames()).filter(|frame| !fixed[*frame]) {
            let window = self.windows[self.first + frame];
            let upright = window.roll == 0.0;
            let width = 3 * frame + 2;
            let mut keep =
                |terms: &[(usize, f64)], high: f64| limits.push(Limit::new(terms, high + EXACT / 2.0, f64::INFINITY));
            for (part, (from, to)) in sides.into_iter().enumerate() {
                for corner in corners_of(&[window]) {
                    let (point, share) = (window.at(*corner), growth(window, *corner, shape)[part]);
                    let at = if part == 0 { point.x } else { point.y };
                    // Of an upright window each of the two corners has its own edges to keep.
                    if !upright || share < 0.0 {
                        keep(&[(3 * frame + part, -1.0), (width, -share)], at - from);
                    }
                    if !upright || share > 0.0 {
                        keep(&[(3 * frame + part, 1.0), (width, share)], to - at);
                    }
                }
            }
            let largest = Window::largest(self.path.room, 1.0 / shape, window.roll).width;
            let closest = (CLOSER * window.width.min(largest)).max(self.path.narrowest.min(largest));
            keep(&[(width, -1.0)], window.width - closest);
        }
        let price = KEPT * self.path.most.0.max(self.path.most.1);
        for frame in 1..self.frames().saturating_sub(1) {
            if fixed[frame - 1] && fixed[frame] && fixed[frame + 1] {
                continue;
            }
            let at = self.first + frame;
            let three = &self.windows[at - 1..=at + 1];
            for (part, most) in [self.path.most.0, self.path.most.1].into_iter().enumerate() {
                for corner in corners_of(three) {
                    let own = second_difference(three, *corner);
                    let own = if part == 0 { own.0 } else { own.1 };
                    let shares = [0, 1, 2].map(|index: usize| growth(three[index], *corner, shape)[part]);
                    for way in [1.0, -1.0] {
                        let mut terms = [(0, 0.0); 6];
                        for (index, factor) in [way, -2.0 * way, way].into_iter().enumerate() {
                            let frame = 3 * (frame + index - 1);
                            terms[2 * index] = (frame + part, factor);
                            terms[2 * index + 1] = (frame + 2, factor * shares[index]);
                        }
                        limits.push(Limit::new(&terms, most - way * own, price));
                    }
                }
            }
        }
        limits
    }

    /// The change of every frame's centre and width: `x, y, width` a frame.
    fn change(&self) -> Vec<f64> {
        let fixed = self.fixed();
        let stiffness = self.stiffness();
        let mut limits = self.limits(&fixed);
        let mut change = vec![0.0; 3 * self.frames()];
        let mut stretch = 1.0;
        for _ in 0..STEPS {
            let (gap, count) =
                limits.iter().map(Limit::gap).fold((0.0, 0.0), |sum, gap| (sum.0 + gap.0, sum.1 + gap.1));
            let mean = gap / f64::max(count, 1.0);
            let apart = limits.iter().map(|limit| limit.residual(&change).abs()).fold(0.0, f64::max);
            if mean < 1e-7 && apart < EXACT / 10.0 {
                break;
            }
            let target = mean
                * if stretch > 0.9 {
                    0.05
                } else if stretch > 0.5 {
                    0.2
                } else {
                    0.6
                };
            let mut system = stiffness.clone();
            let mut force: Vec<f64> = stiffness.times(&change).iter().map(|force| -force).collect();
            // Limits on the same sum from both sides stand next to one another: one square does for both.
            for pair in limits.chunk_by(Limit::opposite) {
                let mut weight = 0.0;
                for limit in pair {
                    let (give, offset) = limit.coupling(&change, target);
                    weight += 1.0 / give;
                    for (index, factor) in limit.terms() {
                        force[*index] -= factor * (limit.push + offset / give);
                    }
                }
                square(&mut system, pair[0].terms(), weight);
            }
            for frame in (0..self.frames()).filter(|frame| fixed[*frame]) {
                (3 * frame..3 * frame + 3).for_each(|unknown| system.fix(unknown));
                force[3 * frame..3 * frame + 3].fill(0.0);
            }
            let step = system.solve(&force);
            stretch = 1.0;
            let mut hold = |value: f64, step: f64| {
                if step < 0.0 {
                    stretch = f64::min(stretch, -0.995 * value / step);
                }
            };
            let steps: Vec<(f64, f64, f64)> = limits.iter().map(|limit| limit.steps(&change, &step, target)).collect();
            for (limit, (room, beyond, push)) in limits.iter().zip(&steps) {
                hold(limit.room, *room);
                hold(limit.push, *push);
                if limit.price.is_finite() {
                    hold(limit.beyond, *beyond);
                    hold(limit.price - limit.push, -push);
                }
            }
            for (limit, (room, beyond, push)) in limits.iter_mut().zip(&steps) {
                limit.room += stretch * room;
                limit.beyond += stretch * beyond;
                limit.push += stretch * push;
            }
            change.iter_mut().zip(&step).for_each(|(change, step)| *change += stretch * step);
        }
        for (frame, tie) in self.ties() {
            if let (Tie::Rest(_), true) = (tie, frame + 1 < self.frames()) {
                change.copy_within(3 * frame..3 * frame + 3, 3 * frame + 3);
            }
        }
        change
    }
}

/// Adds the square of a sum, times a weight, to a system.
fn square(band: &mut Banded, terms: &[(usize, f64)], weight: f64) {
    for (row, first) in terms {
        for (column, second) in terms {
            if column <= row && row - column <= REACH {
                band.add(*row, *column, weight * first * second);
            }
        }
    }
}

#[cfg(test)]
mod tests;

//! Soft edges: a path that would leave the still is bent before it gets there.
//!
//! In: a window a frame, some outside the still, and what must stay as it is. Out: windows inside the still. The change is the
//! one with the least change of acceleration of the window's four edges, dying away within about a second, under limits: every
//! edge inside the still, no edge accelerating more than the path's own edges do anywhere, keys where they are and rests at
//! rest. Frames far from any trouble are left alone to the last bit.
//!
//! The limits are met by multipliers (the augmented Lagrangian of Hestenes and of Powell, 1969, for limits on both sides; from
//! memory, and the tests check what comes out), each round by Newton's method on a system as narrow as three frames. Where
//! keys leave no such bend, the limit on acceleration is widened, by what it takes and no more than a quarter beyond.

use super::band::{Band, REACH};
use crate::geom::Window;
use crate::units::Size;

/// Edges come to lie inside the still to within this many pixels; what is left is rounding to whoever asked.
pub const EXACT: f64 = 1e-7;

/// Seconds over which a bend dies away.
const FADES: f64 = 1.0;

/// How many times [`FADES`] a bend reaches beyond the frames that are outside.
const REACHES: f64 = 5.0;

/// How hard a limit pulls back in a round.
const PULL: f64 = 1e3;

/// Rounds of multipliers for one limit on acceleration, and Newton's steps in each.
const ROUNDS: usize = 40;
const STEPS: usize = 30;

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

/// Bends a path of windows of one shape into the still, at least one frame of which is outside.
///
/// `narrowest` is the least width of a window, in pixels.
#[must_use]
pub fn bend(windows: &[Window], still: Size, narrowest: f64, ties: &[Tie], frames_a_second: f64) -> Bent {
    let path = Path { still, narrowest, ties, fades: FADES * frames_a_second, most: accelerations(windows) };
    let mut bent = Bent { windows: windows.to_vec(), widened: 1.0 };
    for (first, end) in path.stretches(windows) {
        let stretch = Stretch { path: &path, windows, first, end };
        let (change, widened) = stretch.change();
        bent.widened = bent.widened.max(widened);
        for (window, change) in bent.windows[first..end].iter_mut().zip(change.chunks_exact(3)) {
            let shape = window.height / window.width;
            window.x += change[0] - change[2] / 2.0;
            window.y += change[1] - change[2] * shape / 2.0;
            window.width += change[2];
            window.height += change[2] * shape;
        }
    }
    bent
}

/// The largest acceleration of the edges, across and down, in pixels a frame a frame.
#[must_use]
pub fn accelerations(windows: &[Window]) -> (f64, f64) {
    let second = |side: fn(Window) -> f64, three: &[Window]| (side(three[0]) - 2.0 * side(three[1]) + side(three[2])).abs();
    windows.windows(3).fold((0.0, 0.0), |(across, down), three| {
        (
            second(|window| window.x, three).max(second(Window::right, three)).max(across),
            second(|window| window.y, three).max(second(Window::bottom, three)).max(down),
        )
    })
}

struct Path<'a> {
    still: Size,
    narrowest: f64,
    ties: &'a [Tie],
    /// Frames over which a bend dies away.
    fades: f64,
    most: (f64, f64),
}

impl Path<'_> {
    /// Stretches of frames, first and one past the last, that hold all frames outside and the bends towards them.
    fn stretches(&self, windows: &[Window]) -> Vec<(usize, usize)> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few seconds of frames")]
        let reach = (REACHES * self.fades).ceil().max(8.0) as usize;
        let mut stretches: Vec<(usize, usize)> = Vec::new();
        for (frame, window) in windows.iter().enumerate() {
            if window.inside(self.still, 0.0) && window.width >= self.narrowest {
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

/// A sum of a few unknowns, held between two limits.
struct Limit {
    terms: [(usize, f64); 6],
    used: usize,
    low: f64,
    high: f64,
    multiplier: f64,
    /// Whether it is one of the limits on acceleration, which may be widened.
    gives: bool,
}

impl Limit {
    fn new(terms: &[(usize, f64)], low: f64, high: f64) -> Self {
        let mut all = [(0, 0.0); 6];
        all[..terms.len()].copy_from_slice(terms);
        Self { terms: all, used: terms.len(), low, high, multiplier: 0.0, gives: false }
    }

    fn terms(&self) -> &[(usize, f64)] {
        &self.terms[..self.used]
    }

    fn sum(&self, change: &[f64]) -> f64 {
        self.terms().iter().map(|(index, factor)| factor * change[*index]).sum()
    }

    /// How far beyond its limits the sum is, with what earlier rounds have taught.
    fn pulled(&self, change: &[f64]) -> f64 {
        let value = self.sum(change) + self.multiplier / PULL;
        value - value.clamp(self.low, self.high)
    }

    fn beyond(&self, change: &[f64]) -> f64 {
        let value = self.sum(change);
        (value - value.clamp(self.low, self.high)).abs()
    }
}

struct Stretch<'a> {
    path: &'a Path<'a>,
    windows: &'a [Window],
    first: usize,
    end: usize,
}

impl Stretch<'_> {
    /// The change of every frame's centre and width (`x, y, width` a frame), and how much the limit on acceleration was
    /// widened for it.
    fn change(&self) -> (Vec<f64>, f64) {
        let stiffness = self.stiffness();
        let mut widened = 1.0;
        loop {
            let (change, held) = self.solve(&stiffness, widened);
            if held || widened > 1e6 {
                return (change, widened);
            }
            widened *= 1.25;
        }
    }

    fn frames(&self) -> usize {
        self.end - self.first
    }

    /// Half the height of a window a pixel wide.
    fn half_shape(&self) -> f64 {
        let window = self.windows[self.first];
        window.height / window.width / 2.0
    }

    /// The second differences of the changes of all four edges, squared and summed, and what makes them die away.
    fn stiffness(&self) -> Band {
        let mut band = Band::zeros(3 * self.frames());
        let half = self.half_shape();
        let weights = [2.0, 2.0, 0.5 + 2.0 * half * half];
        let fade = 4.0 / self.path.fades.powi(4);
        for (part, weight) in weights.into_iter().enumerate() {
            for frame in 0..self.frames() {
                band.add(3 * frame + part, 3 * frame + part, weight * fade);
            }
            for frame in 1..self.frames().saturating_sub(1) {
                let terms = [(frame - 1, 1.0), (frame, -2.0), (frame + 1, 1.0)];
                square(&mut band, &terms.map(|(frame, factor)| (3 * frame + part, factor)), weight);
            }
        }
        band
    }

    fn limits(&self, widened: f64) -> Vec<Limit> {
        let (across, down) = (f64::from(self.path.still.width), f64::from(self.path.still.height));
        let half = self.half_shape();
        let mut limits = Vec::with_capacity(10 * self.frames());
        for frame in 0..self.frames() {
            let window = self.windows[self.first + frame];
            let [x, y, width] = [3 * frame, 3 * frame + 1, 3 * frame + 2];
            let endless = f64::INFINITY;
            limits.push(Limit::new(&[(x, 1.0), (width, -0.5)], -window.x, endless));
            limits.push(Limit::new(&[(x, 1.0), (width, 0.5)], -endless, across - window.right()));
            limits.push(Limit::new(&[(y, 1.0), (width, -half)], -window.y, endless));
            limits.push(Limit::new(&[(y, 1.0), (width, half)], -endless, down - window.bottom()));
            limits.push(Limit::new(&[(width, 1.0)], self.path.narrowest - window.width, endless));
        }
        let most = (self.path.most.0 * widened, self.path.most.1 * widened);
        for frame in 1..self.frames().saturating_sub(1) {
            let at = self.first + frame;
            let own =
                |side: fn(Window) -> f64| side(self.windows[at - 1]) - 2.0 * side(self.windows[at]) + side(self.windows[at + 1]);
            let edges: [(usize, f64, f64, f64); 4] = [
                (0, -0.5, own(|window| window.x), most.0),
                (0, 0.5, own(Window::right), most.0),
                (1, -half, own(|window| window.y), most.1),
                (1, half, own(Window::bottom), most.1),
            ];
            for (part, share, own, most) in edges {
                let mut terms = [(0, 0.0); 6];
                for (index, factor) in [1.0, -2.0, 1.0].into_iter().enumerate() {
                    let frame = 3 * (frame + index - 1);
                    terms[2 * index] = (frame + part, factor);
                    terms[2 * index + 1] = (frame + 2, factor * share);
                }
                limits.push(Limit { gives: true, ..Limit::new(&terms, -most - own, most - own) });
            }
        }
        let mut tie = |terms: [(usize, f64); 2]| {
            limits.extend((0..3).map(|part| Limit::new(&terms.map(|(frame, factor)| (3 * frame + part, factor)), 0.0, 0.0)));
        };
        for one in self.path.ties {
            let (Tie::Key(frame, _) | Tie::Rest(frame)) = *one;
            let Some(frame) = frame.checked_sub(self.first).filter(|frame| *frame < self.frames()) else { continue };
            let next = (frame + 1).min(self.frames() - 1);
            match one {
                Tie::Key(_, share) => tie([(frame, 1.0 - share), (next, *share)]),
                Tie::Rest(_) => tie([(frame, 1.0), (next, -1.0)]),
            }
        }
        // What lies before and after stays, and the change joins it without a kink.
        if self.first > 0 {
            tie([(0, 1.0), (1, 0.0)]);
            tie([(0, 0.0), (1, 1.0)]);
        }
        if self.end < self.windows.len() {
            let last = self.frames() - 1;
            tie([(last, 1.0), (last - 1, 0.0)]);
            tie([(last, 0.0), (last - 1, 1.0)]);
        }
        limits
    }

    /// The least change under the limits, and whether it keeps to them.
    fn solve(&self, stiffness: &Band, widened: f64) -> (Vec<f64>, bool) {
        let mut limits = self.limits(widened);
        let mut change = vec![0.0; 3 * self.frames()];
        let slack = 1e-3 * self.path.most.0.max(self.path.most.1);
        let mut held = false;
        for _ in 0..ROUNDS {
            newton(stiffness, &limits, &mut change);
            held = limits.iter().all(|limit| limit.beyond(&change) <= if limit.gives { slack } else { EXACT });
            if held {
                break;
            }
            for limit in &mut limits {
                limit.multiplier = PULL * limit.pulled(&change);
            }
        }
        (change, held)
    }
}

/// Adds the square of a sum, times a weight, to a system.
fn square(band: &mut Band, terms: &[(usize, f64)], weight: f64) {
    for (row, first) in terms {
        for (column, second) in terms {
            if column <= row && row - column <= REACH {
                band.add(*row, *column, weight * first * second);
            }
        }
    }
}

/// The change with the least cost: stiffness, and how far beyond their limits the sums are pulled.
fn newton(stiffness: &Band, limits: &[Limit], change: &mut Vec<f64>) {
    let cost = |change: &[f64]| {
        let bent: f64 = stiffness.times(change).iter().zip(change).map(|(force, change)| force * change).sum();
        bent / 2.0 + limits.iter().map(|limit| PULL / 2.0 * limit.pulled(change).powi(2)).sum::<f64>()
    };
    let mut now = cost(change);
    for _ in 0..STEPS {
        let mut system = stiffness.clone();
        let mut slope = stiffness.times(change);
        for limit in limits {
            let pulled = limit.pulled(change);
            if pulled == 0.0 && limit.low < limit.high {
                continue;
            }
            for (index, factor) in limit.terms() {
                slope[*index] += PULL * pulled * factor;
            }
            square(&mut system, limit.terms(), PULL);
        }
        let step = system.solve(&slope);
        let fall: f64 = slope.iter().zip(&step).map(|(slope, step)| slope * step).sum();
        let mut share = 1.0;
        loop {
            let next: Vec<f64> = change.iter().zip(&step).map(|(change, step)| change - share * step).collect();
            let next_cost = cost(&next);
            if next_cost <= now - 0.1 * share * fall {
                *change = next;
                now = next_cost;
                break;
            }
            share /= 2.0;
            if share < 1e-3 {
                return;
            }
        }
        if fall <= 1e-18 {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Size = Size { width: 4000, height: 3000 };

    /// Windows 1600 pixels wide and 900 high by the distance of their left edge from the still's.
    fn path(left: impl Fn(f64) -> f64, frames: u32) -> Vec<Window> {
        (0..frames).map(|frame| Window::new(left(f64::from(frame)), 1000.0, 1600.0, 900.0)).collect()
    }

    fn check(windows: &[Window], bent: &Bent) {
        let (own, seen) = (accelerations(windows), accelerations(&bent.windows));
        for window in &bent.windows {
            assert!(window.inside(STILL, EXACT), "{window:?}");
        }
        assert!(
            seen.0 <= own.0 * bent.widened * 1.01 && seen.1 <= own.1 * bent.widened * 1.01 + 1e-3 * own.0,
            "{seen:?} {own:?}"
        );
    }

    #[test]
    fn a_dip_out_of_the_still_is_rounded_off_without_braking_harder() {
        // A parabola that dips 30 px below the edge around frame 100.
        let windows = path(|frame| 0.05 * (frame - 100.0).powi(2) - 30.0, 200);
        let bent = bend(&windows, STILL, 1.0, &[], 24.0);
        check(&windows, &bent);
        assert!(bent.windows[100].x < 10.0, "{:?}", bent.windows[100]);
    }

    #[test]
    fn a_path_is_bent_before_it_gets_to_the_edge_and_not_far_from_it() {
        // A swing of 500 px that goes 30 px beyond the edge once, at frame 600 of 1200.
        let windows = path(|frame| 470.0 + 500.0 * (frame / 1200.0 * std::f64::consts::TAU).cos(), 1200);
        let bent = bend(&windows, STILL, 1.0, &[], 24.0);
        check(&windows, &bent);
        let outside: Vec<usize> = (0..1200).filter(|frame| windows[*frame].x < 0.0).collect();
        let (first, last) = (outside[0], outside[outside.len() - 1]);
        assert!((bent.windows[first - 4].x - windows[first - 4].x).abs() > 0.05);
        assert_eq!(bent.windows[first - 200], windows[first - 200]);
        assert_eq!(bent.windows[last + 200], windows[last + 200]);
        assert_eq!(bent.widened, 1.0);
    }

    #[test]
    fn keys_and_rests_stay_where_they_are() {
        let windows = path(|frame| 40.0 - 70.0 * (frame.min(120.0) / 120.0 * std::f64::consts::PI).sin().max(0.0), 200);
        let mut ties = vec![Tie::Key(0, 0.0), Tie::Key(20, 0.25)];
        ties.extend((120..200).map(|frame| Tie::Key(frame, 0.0)));
        let bent = bend(&windows, STILL, 1.0, &ties, 24.0);
        check(&windows, &bent);
        assert!((bent.windows[0].x - 40.0).abs() < 1e-6 && (bent.windows[150].x - 40.0).abs() < 1e-6);
        let between = |windows: &[Window]| windows[20].x * 0.75 + windows[21].x * 0.25;
        assert!((between(&bent.windows) - between(&windows)).abs() < 1e-6);
    }

    #[test]
    fn a_window_that_grows_beyond_the_still_is_held_at_its_largest() {
        let windows: Vec<Window> = (0..240)
            .map(|frame| {
                let width = 3000.0 + 1100.0 * (f64::from(frame) / 239.0 * std::f64::consts::PI).sin();
                Window::around(kurbo::Point::new(2000.0, 1500.0), width, width * 0.5625)
            })
            .collect();
        let bent = bend(&windows, STILL, 1.0, &[Tie::Key(0, 0.0), Tie::Key(239, 0.0)], 24.0);
        check(&windows, &bent);
        assert!(bent.windows.iter().all(|window| (window.height / window.width - 0.5625).abs() < 1e-9));
        assert!((bent.windows[0].width - 3000.0).abs() < 1e-6);
    }
}

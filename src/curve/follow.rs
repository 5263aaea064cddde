//! Following: the smoothest path of a window that keeps a moving box in the safe part of its frame.
//!
//! In: the box a frame, and what the window looks through ([`Lens`]). Out: a window a frame, inside the still, and
//! which frames no window of that shape can keep the box in. What a frame asks for is linear in the window's place and
//! width (the box in the safe part, the window in the still), so the whole path is one convex quadratic programme
//! ([`smoothest()`]), solved over all frames at once: no frame is clamped on its own.
//!
//! Where a frame cannot be kept, what it asks for gives way before the programme is solved, so that it always has a
//! solution: a box larger than the safe part of the largest window is asked to fill it; a box too near the still's edge
//! asks for the window to lie at that edge.
//!
//! ## Decisions
//!
//! - *Smoothest* is the least sum of squared second differences of place and width, plus squared distances from where
//!   the subject asks the window to be, weighted so that these count for movements slower than four seconds (`LEANS`,
//!   our choice).
//! - Nothing else limits acceleration: at a fixed closeness, a box that nearly fills its safe box drags the window
//!   along as hard as it moves.
//! - With `zoom` or `span` the window keeps its size; without, it comes as close as the safe box allows and widens
//!   rather than jerk.

mod smoothest;

use kurbo::{Point, Rect};

use crate::geom::{Margins, Room, Window};

pub use smoothest::{Affine, Needs, Side, smoothest};

/// Seconds over which the window gives in to the box: what moves to and fro faster than this is not followed unless the
/// safe part asks for it (our choice).
const LEANS: f64 = 4.0;

/// How near its edge of the still a window lies at least where a box is too near that edge to be kept, in pixels.
const NEAR: f64 = 0.01;

/// What a window looks through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// What windows keep to: the upright still, or the room it has.
    pub room: Room,
    /// Width over height of the window.
    pub aspect: f64,
    /// Where in the frame the box's centre tends to be, in fractions.
    pub place: (f64, f64),
    /// What the box is kept out of, on each side of the frame.
    pub margins: Margins,
    /// The window's width in pixels, the largest window's at most; none where it follows the box's size.
    pub width: Option<f64>,
    /// The least width of a window in pixels.
    pub narrowest: f64,
}

/// What following comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// One a frame, inside the still but for rounding (a millionth of a pixel).
    pub windows: Vec<Window>,
    /// The frames in which no window of this shape keeps the box.
    pub missed: Vec<usize>,
}

/// Follows boxes, one a frame, in pixels of the still.
///
/// The path has the least sum of squared second differences of the followed point and of the width (weighted as the
/// four edges of a window around that point), and of squared distances from where the box asks for the window to be,
/// weighted so that these count for movements slower than `LEANS` alone.
#[must_use]
pub fn follow(boxes: &[Rect], lens: &Lens, frames_a_second: f64) -> Followed {
    let mut missed = Vec::new();
    let needs: Vec<Needs> = boxes
        .iter()
        .enumerate()
        .map(|(frame, area)| {
            let (needs, kept) = lens.needs(*area);
            if !kept {
                missed.push(frame);
            }
            needs
        })
        .collect();
    let half = 0.5 / lens.aspect;
    let path = smoothest(&needs, [2.0, 2.0, 0.5 + 2.0 * half * half], LEANS * frames_a_second);
    let windows = path.into_iter().map(|[across, down, width]| lens.window(Point::new(across, down), width)).collect();
    Followed { windows, missed }
}

/// One side of a window and of the box in it.
struct Direction {
    /// The box, from and to.
    area: (f64, f64),
    /// Where the room begins and ends.
    room: (f64, f64),
    /// Fractions of the frame kept free before and after the box.
    margins: (f64, f64),
    place: f64,
    /// The window's length for a width of 1.
    length: f64,
}

impl Direction {
    /// The least width of a window whose safe part is as long as the box; endless where it has none.
    fn least_width(&self) -> f64 {
        let share = 1.0 - self.margins.0 - self.margins.1;
        if share > 0.0 { (self.area.1 - self.area.0) / share / self.length } else { f64::INFINITY }
    }

    /// The widest window inside the still whose margin before (or after) the box has room.
    fn widest(&self) -> (f64, f64) {
        let most = |room: f64, margin: f64| if margin > 0.0 { room / margin / self.length } else { f64::INFINITY };
        (most(self.area.0 - self.room.0, self.margins.0), most(self.room.1 - self.area.1, self.margins.1))
    }

    /// Where the followed point lies for a side to begin at `at`, a share of the side further in.
    fn line(&self, at: f64, share: f64) -> Affine {
        Affine { at, slope: (self.place - share) * self.length }
    }

    /// What a window of any width is asked: inside the still, and the box in its safe part but at edges given up.
    fn side(&self, given_up: (bool, bool)) -> Side {
        let before =
            if given_up.0 { self.line(self.room.0 + NEAR, 0.0) } else { self.line(self.area.0, self.margins.0) };
        let after =
            if given_up.1 { self.line(self.room.1 - NEAR, 1.0) } else { self.line(self.area.1, 1.0 - self.margins.1) };
        Side { lows: [self.line(self.room.0, 0.0), after], highs: [self.line(self.room.1, 1.0), before] }
    }

    /// What a window of one width is asked, and whether that keeps the box.
    fn side_at(&self, width: f64) -> (Side, bool) {
        let at = |line: Affine| line.at + line.slope * width;
        let Side { lows: [first, low], highs: [last, high] } = self.side((false, false));
        let first = at(first);
        let (last, low, high) = (at(last).max(first), at(low), at(high));
        let fits = low <= high + ROUNDING;
        // A box longer than the safe part fills it.
        let (low, high) = if fits { (low.min(high), high.max(low)) } else { (high, low) };
        let kept = fits && low <= last + ROUNDING && high >= first - ROUNDING;
        let flat = |at: f64| [Affine { at, slope: 0.0 }; 2];
        (Side { lows: flat(low.clamp(first, last)), highs: flat(high.clamp(first, last)) }, kept)
    }
}

/// What is no more than rounding, in pixels.
const ROUNDING: f64 = 1e-7;

impl Lens {
    fn axes(&self, area: Rect) -> [Direction; 2] {
        let Margins { left, right, top, bottom } = self.margins;
        [
            Direction {
                area: (area.x0, area.x1),
                room: (self.room.left, self.room.right),
                margins: (left, right),
                place: self.place.0,
                length: 1.0,
            },
            Direction {
                area: (area.y0, area.y1),
                room: (self.room.top, self.room.bottom),
                margins: (top, bottom),
                place: self.place.1,
                length: 1.0 / self.aspect,
            },
        ]
    }

    /// The least width of a window whose safe part has room for a box, in pixels; endless where none has.
    #[must_use]
    pub fn least_width(&self, area: Rect) -> f64 {
        self.axes(area).iter().map(Direction::least_width).fold(self.narrowest, f64::max)
    }

    /// What a frame with the box here asks for, and whether that keeps the box.
    fn needs(&self, area: Rect) -> (Needs, bool) {
        let axes = self.axes(area);
        let largest = Window::largest(self.room, self.aspect, 0.0).width;
        let least = self.least_width(area);
        let target = |width: f64| [area.center().x, area.center().y, width];
        let at = |width: f64| {
            let sides = axes.each_ref().map(|axis| axis.side_at(width));
            let kept = sides.iter().all(|(_, kept)| *kept);
            (Needs { target: target(width), width: (width, width), sides: sides.map(|(side, _)| side) }, kept)
        };
        if let Some(width) = self.width {
            return at(width);
        }
        if least >= largest - ROUNDING {
            return at(largest);
        }
        let mut most = largest;
        let mut given_up = [(false, false); 2];
        for (axis, given_up) in axes.iter().zip(&mut given_up) {
            let (before, after) = axis.widest();
            *given_up = (before < least - ROUNDING, after < least - ROUNDING);
            for (given_up, widest) in [(given_up.0, before), (given_up.1, after)] {
                if !given_up {
                    most = most.min(widest.max(least));
                }
            }
        }
        if given_up.contains(&(true, true)) {
            return (at(largest).0, false);
        }
        let [across, down] = [0, 1].map(|axis: usize| axes[axis].side(given_up[axis]));
        (Needs { target: target(least), width: (least, most), sides: [across, down] }, given_up == [(false, false); 2])
    }

    fn window(&self, point: Point, width: f64) -> Window {
        let height = width / self.aspect;
        Window::new(point.x - self.place.0 * width, point.y - self.place.1 * height, width, height)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::smoothing::accelerations;
    use crate::units::Size;
    use proptest::prelude::*;

    const STILL: Size = Size { width: 4000, height: 3000 };

    fn lens(aspect: f64, margin: f64, width: Option<f64>) -> Lens {
        Lens { room: STILL.into(), aspect, place: (0.5, 0.5), margins: Margins::even(margin), width, narrowest: 2.0 }
    }

    /// How far a box reaches out of the safe part of a window, in pixels of the still.
    fn out(window: Window, area: Rect, margins: Margins) -> f64 {
        let safe = Rect::new(
            window.x + margins.left * window.width,
            window.y + margins.top * window.height,
            window.right() - margins.right * window.width,
            window.bottom() - margins.bottom * window.height,
        );
        (safe.x0 - area.x0).max(area.x1 - safe.x1).max(safe.y0 - area.y0).max(area.y1 - safe.y1)
    }

    /// Whether any window of the lens inside the still keeps a box, by trying widths: another way to the same answer.
    fn can(lens: &Lens, area: Rect) -> bool {
        let largest = Window::largest(lens.room, lens.aspect, 0.0).width;
        let widths: Vec<f64> = match lens.width {
            Some(width) => vec![width],
            None => {
                (0..=4000).map(|step| lens.narrowest + (largest - lens.narrowest) * f64::from(step) / 4000.0).collect()
            }
        };
        widths.into_iter().any(|width| {
            let height = width / lens.aspect;
            let fits = |from: f64, to: f64, still: f64, length: f64, before: f64, after: f64| {
                let low = (to - (1.0 - after) * length).max(0.0);
                low <= (from - before * length).min(still - length) + 1.0
            };
            let Margins { left, right, top, bottom } = lens.margins;
            fits(area.x0, area.x1, 4000.0, width, left, right) && fits(area.y0, area.y1, 3000.0, height, top, bottom)
        })
    }

    #[test]
    fn a_box_at_rest_is_shown_as_close_as_the_safe_part_allows() {
        let area = Rect::new(1500.0, 1000.0, 2100.0, 1300.0);
        let followed = follow(&[area; 48], &lens(2.0, 0.1, None), 24.0);
        for window in followed.windows {
            let due = Window::new(1425.0, 962.5, 750.0, 375.0);
            assert!((window.x - due.x).abs() < 1e-3 && (window.y - due.y).abs() < 1e-3, "{window:?}");
            assert!((window.width - due.width).abs() < 1e-3 && (window.height - due.height).abs() < 1e-3, "{window:?}");
        }
        assert!(followed.missed.is_empty());
    }

    #[test]
    fn a_box_that_is_too_large_fills_the_safe_part_and_one_at_the_edge_draws_the_window_there() {
        let large = follow(&[Rect::new(0.0, 700.0, 4000.0, 2300.0); 10], &lens(0.5, 0.1, None), 24.0);
        assert_eq!(large.missed, (0..10).collect::<Vec<_>>());
        assert!((large.windows[5].width - 1500.0).abs() < 1e-6 && (large.windows[5].x - 1250.0).abs() < 1e-3);
        let edge = follow(&[Rect::new(10.0, 1000.0, 600.0, 1300.0); 10], &lens(2.0, 0.1, None), 24.0);
        assert_eq!(edge.missed.len(), 10);
        assert!(
            edge.windows.iter().all(|window| window.x.abs() < 0.02 && window.width < 800.0),
            "{:?}",
            edge.windows[5]
        );
    }

    /// Boxes that go from key to key in a straight line, 30 frames a way.
    fn boxes(keys: &[(f64, f64, f64, f64)]) -> Vec<Rect> {
        let rect = |(x, y, width, height): (f64, f64, f64, f64)| {
            let (width, height) = (width * 4000.0, height * 3000.0);
            Rect::from_origin_size((x * (4000.0 - width), y * (3000.0 - height)), (width, height))
        };
        let mut boxes = Vec::new();
        for pair in keys.windows(2) {
            let (from, to) = (rect(pair[0]), rect(pair[1]));
            boxes.extend((0..30).map(|step| {
                let u = f64::from(step) / 30.0;
                let along = |from: f64, to: f64| from + (to - from) * u;
                Rect::new(along(from.x0, to.x0), along(from.y0, to.y0), along(from.x1, to.x1), along(from.y1, to.y1))
            }));
        }
        boxes
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

        #[test]
        fn random_boxes_are_kept_wherever_any_window_can_and_windows_stay_inside(
            keys in proptest::collection::vec((0.0..=1.0_f64, 0.0..=1.0_f64, 0.01..0.5_f64, 0.01..0.5_f64), 2..7),
            aspect in 0.4..2.5_f64, place in (0.0..=1.0_f64, 0.0..=1.0_f64), free in any::<bool>(), zoom in 1.0..6.0_f64,
            margins in (0.0..0.3_f64, 0.0..0.3_f64, 0.0..0.3_f64, 0.0..0.3_f64),
        ) {
            let boxes = boxes(&keys);
            let width = (!free).then(|| Window::largest(STILL, aspect, 0.0).width / zoom);
            let margins = Margins { left: margins.0, right: margins.1, top: margins.2, bottom: margins.3 };
            let lens = Lens { margins, place, ..lens(aspect, 0.0, width) };
            let followed = follow(&boxes, &lens, 24.0);
            for (frame, (window, area)) in followed.windows.iter().zip(&boxes).enumerate() {
                prop_assert!(window.inside(STILL, 1e-5), "{} {:?}", frame, window);
                prop_assert!((window.width / window.height / aspect - 1.0).abs() < 1e-9 && window.width >= 2.0 - 1e-6);
                let missed = followed.missed.contains(&frame);
                let out = out(*window, *area, margins);
                prop_assert!(missed || out < 1e-3, "{} is {} px out", frame, out);
                prop_assert!(!missed || !can(&lens, Rect::new(area.x0 - 3.0, area.y0 - 3.0, area.x1 + 3.0, area.y1 + 3.0)), "{} can", frame);
            }
        }

        #[test]
        fn a_followed_path_turns_no_harder_than_windows_set_at_the_keys_and_joined_straight(
            keys in proptest::collection::vec((0.3..=0.7_f64, 0.3..=0.7_f64), 3..7),
            size in (0.05..0.2_f64, 0.05..0.2_f64), zoomed in any::<bool>(),
        ) {
            // A box of one size well inside the still, so that a window centred on it keeps it, at keys and between.
            let keys: Vec<_> = keys.into_iter().map(|(x, y)| (x, y, size.0, size.1)).collect();
            let boxes = boxes(&keys);
            let tight = lens(1.5, 0.1, None).least_width(boxes[0]);
            let lens = lens(1.5, 0.1, zoomed.then_some(tight * 1.2));
            let followed = follow(&boxes, &lens, 24.0);
            prop_assert!(followed.missed.is_empty());
            let width = lens.width.unwrap_or(tight);
            let straight: Vec<Window> = boxes.iter().map(|area| Window::around(area.center(), width, width / 1.5)).collect();
            let (own, naive) = (accelerations(&followed.windows), accelerations(&straight));
            let largest = |pair: (f64, f64)| pair.0.max(pair.1);
            prop_assert!(largest(own) <= largest(naive) + 1e-3, "{:?} {:?}", own, naive);
        }
    }
}

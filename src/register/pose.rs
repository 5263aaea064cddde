//! One still's stand, and what it does to windows.

use kurbo::{Point, Vec2};
use serde::{Deserialize, Serialize};

use crate::geom::{Window, turned};
use crate::units::Size;

/// How a still lies against the view the shoot began with: what that view shows at `p` is shown in this still at
/// `centre + turned(p - centre, turn) + (x, y)`, with the still's own centre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Pose {
    /// How far the picture is shifted to the right, in pixels of the upright still.
    pub x: f64,
    /// How far it is shifted down, in pixels of the upright still.
    pub y: f64,
    /// How far it is turned clockwise about the still's centre, in degrees.
    pub turn: f64,
}

impl Pose {
    /// Where the shoot began.
    pub const STILL: Self = Self { x: 0.0, y: 0.0, turn: 0.0 };

    /// The same still as seen from another: how it lies against the view that `first` has.
    #[must_use]
    pub fn seen_from(self, first: Self) -> Self {
        if first == Self::STILL {
            return self;
        }
        let turn = self.turn - first.turn;
        let shift = Vec2::new(self.x, self.y) - turned(Vec2::new(first.x, first.y), turn);
        Self { x: shift.x, y: shift.y, turn }
    }

    /// The same stand without its turn, if that moves no corner of a still by more than this many pixels.
    #[must_use]
    pub fn upright_within(self, still: Size, pixels: f64) -> Self {
        let corner = f64::from(still.width).hypot(f64::from(still.height)) / 2.0;
        if self.turn.to_radians().abs() * corner <= pixels { Self { turn: 0.0, ..self } } else { self }
    }

    /// What lies so far on the way from this stand to another, from 0 to 1.
    #[must_use]
    pub fn towards(self, other: Self, share: f64) -> Self {
        let along = |from: f64, to: f64| from + (to - from) * share;
        Self { x: along(self.x, other.x), y: along(self.y, other.y), turn: along(self.turn, other.turn) }
    }

    /// Where in this still a point of the first view is.
    #[must_use]
    pub fn point(self, still: Size, point: Point) -> Point {
        let centre = Window::whole(still).centre();
        centre + turned(point - centre, self.turn) + Vec2::new(self.x, self.y)
    }

    /// The window over this still that shows what `window` shows of the first view.
    #[must_use]
    pub fn window(self, still: Size, window: Window) -> Window {
        if self == Self::STILL {
            return window;
        }
        Window::around(self.point(still, window.centre()), window.width, window.height).rolled(window.roll + self.turn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seen from another still a still shows a point where it showed what that other still has there.
    #[test]
    fn a_still_seen_from_another_shows_its_points_where_it_did() {
        let still = Size { width: 400, height: 300 };
        let (first, later) = (Pose { x: -4.0, y: 2.5, turn: -0.4 }, Pose { x: 3.25, y: -1.5, turn: 0.7 });
        let seen = later.seen_from(first);
        for point in [Point::new(0.0, 0.0), Point::new(123.0, 45.0), Point::new(400.0, 300.0)] {
            assert!((seen.point(still, first.point(still, point)) - later.point(still, point)).hypot() < 1e-9);
        }
        assert_eq!(first.seen_from(first), Pose::STILL);
    }

    #[test]
    fn a_turn_that_moves_a_corner_by_less_than_is_seen_is_none() {
        // The corner lies 250 pixels from the middle: 0.03 pixels are 0.00012 radians or 0.006875 degrees.
        let still = Size { width: 400, height: 300 };
        let stand = |turn: f64| Pose { x: 1.0, y: 2.0, turn };
        assert_eq!(stand(0.0068).upright_within(still, 0.03), stand(0.0));
        assert_eq!(stand(-0.0069).upright_within(still, 0.03), stand(-0.0069));
    }

    /// A window's corners over a moved still are where the corners' own points went.
    #[test]
    fn a_window_moves_as_its_corners_do() {
        let still = Size { width: 400, height: 300 };
        let stand = Pose { x: 3.25, y: -1.5, turn: 0.7 };
        let window = Window::new(40.0, 30.0, 160.0, 90.0).rolled(12.0);
        for (there, here) in stand.window(still, window).corners().iter().zip(window.corners()) {
            assert!((*there - stand.point(still, here)).hypot() < 1e-9);
        }
    }
}

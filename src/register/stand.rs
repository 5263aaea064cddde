//! One still's stand, and what it does to windows.

use kurbo::{Point, Vec2};
use serde::{Deserialize, Serialize};

use crate::geom::{Window, turned};
use crate::units::Size;

/// How a still lies against the view the shoot began with: what that view shows at `p` is shown in this still at
/// `centre + turned(p - centre, turn) + (x, y)`, with the still's own centre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Stand {
    /// How far the picture is shifted to the right, in pixels of the upright still.
    pub x: f64,
    /// How far it is shifted down, in pixels of the upright still.
    pub y: f64,
    /// How far it is turned clockwise about the still's centre, in degrees.
    pub turn: f64,
}

impl Stand {
    /// Where the shoot began.
    pub const STILL: Self = Self { x: 0.0, y: 0.0, turn: 0.0 };

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

    /// A window's corners over a moved still are where the corners' own points went.
    #[test]
    fn a_window_moves_as_its_corners_do() {
        let still = Size { width: 400, height: 300 };
        let stand = Stand { x: 3.25, y: -1.5, turn: 0.7 };
        let window = Window::new(40.0, 30.0, 160.0, 90.0).rolled(12.0);
        for (there, here) in stand.window(still, window).corners().iter().zip(window.corners()) {
            assert!((*there - stand.point(still, here)).hypot() < 1e-9);
        }
    }
}

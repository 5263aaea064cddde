//! Windows over an upright still, and **the** pixel-centre rule.
//!
//! Pixel `(i, j)` covers `[i, i + 1) × [j, j + 1)`; its centre is `(i + 0.5, j + 0.5)`. Windows are continuous
//! rectangles in that plane. Luma, chroma (with its siting), previews and drawings all use this one rule.

use kurbo::{Point, Rect};
use serde::{Deserialize, Serialize};

use crate::units::Size;

/// Seconds a pan of one picture width takes at least: a rule of thumb of a cinema-camera maker's handbook, a threshold for a
/// remark and never for a refusal.
pub const SECONDS_A_WIDTH: f64 = 7.0;

/// A rectangle of the upright still that fills the delivery's frame, in continuous source pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Window {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width, above 0.
    pub width: f64,
    /// Height, above 0.
    pub height: f64,
}

impl Window {
    /// The window with this corner and size.
    #[must_use]
    pub fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }

    /// The window of this size around a centre.
    #[must_use]
    pub fn around(centre: Point, width: f64, height: f64) -> Self {
        Self::new(centre.x - width / 2.0, centre.y - height / 2.0, width, height)
    }

    /// The whole of a still.
    #[must_use]
    pub fn whole(still: Size) -> Self {
        Self::new(0.0, 0.0, f64::from(still.width), f64::from(still.height))
    }

    /// The largest window of shape `aspect` (width over height) inside a still, centred.
    #[must_use]
    pub fn largest(still: Size, aspect: f64) -> Self {
        let (width, height) = (f64::from(still.width), f64::from(still.height));
        let fitted = if width / height > aspect { (height * aspect, height) } else { (width, width / aspect) };
        Self::around(Point::new(width / 2.0, height / 2.0), fitted.0, fitted.1)
    }

    /// Centre.
    #[must_use]
    pub fn centre(self) -> Point {
        Point::new(self.x + self.width / 2.0, self.y + self.height / 2.0)
    }

    /// Right edge.
    #[must_use]
    pub fn right(self) -> f64 {
        self.x + self.width
    }

    /// Bottom edge.
    #[must_use]
    pub fn bottom(self) -> f64 {
        self.y + self.height
    }

    /// As a kurbo rectangle.
    #[must_use]
    pub fn rect(self) -> Rect {
        Rect::new(self.x, self.y, self.right(), self.bottom())
    }

    /// Whether every edge lies inside the still, to within `slack` pixels.
    #[must_use]
    pub fn inside(self, still: Size, slack: f64) -> bool {
        self.x >= -slack
            && self.y >= -slack
            && self.right() <= f64::from(still.width) + slack
            && self.bottom() <= f64::from(still.height) + slack
    }

    /// The nearest window of the same size inside the still. A window larger than the still is first made smaller about
    /// its centre, keeping its shape. Edges are exact afterwards: never outside, not by one rounding error.
    #[must_use]
    pub fn moved_inside(self, still: Size) -> Self {
        let (across, down) = (f64::from(still.width), f64::from(still.height));
        let shrink = (across / self.width).min(down / self.height).min(1.0);
        let centre = self.centre();
        let (width, height) = ((self.width * shrink).min(across), (self.height * shrink).min(down));
        let x = (centre.x - width / 2.0).clamp(0.0, across - width);
        let y = (centre.y - height / 2.0).clamp(0.0, down - height);
        Self::new(x, y, width, height)
    }

    /// The rectangle a fraction `u` of the way on the straight line from `self` to `other`.
    ///
    /// Between two windows inside a still it is inside too: a rectangle is a convex combination.
    #[must_use]
    pub fn towards(self, other: Self, u: f64) -> Self {
        let along = |from: f64, to: f64| from + (to - from) * u;
        Self::new(
            along(self.x, other.x),
            along(self.y, other.y),
            along(self.width, other.width),
            along(self.height, other.height),
        )
    }

    /// Where a point of the still lands in a frame of `frame` pixels showing this window.
    #[must_use]
    pub fn to_frame(self, point: Point, frame: Size) -> Point {
        Point::new(
            (point.x - self.x) / self.width * f64::from(frame.width),
            (point.y - self.y) / self.height * f64::from(frame.height),
        )
    }

    /// The corners, from the top left clockwise.
    #[must_use]
    pub fn outline(self) -> [Point; 4] {
        let (right, bottom) = (self.right(), self.bottom());
        [Point::new(self.x, self.y), Point::new(right, self.y), Point::new(right, bottom), Point::new(self.x, bottom)]
    }

    /// How far what stands in the fastest corner moves until the window is `after`, in pixels of a frame of `frame`.
    #[must_use]
    pub fn fastest_corner(self, after: Self, frame: Size) -> f64 {
        let moved = |corner: Point| (after.to_frame(corner, frame) - self.to_frame(corner, frame)).hypot();
        self.outline().into_iter().map(moved).fold(0.0, f64::max)
    }

    /// Output pixels per source pixel across: above 1 the still is being enlarged.
    #[must_use]
    pub fn enlargement(self, frame: Size) -> f64 {
        f64::from(frame.width) / self.width
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Size = Size { width: 4000, height: 3000 };

    #[test]
    fn the_largest_window_touches_two_edges() {
        let wide = Window::largest(STILL, 16.0 / 9.0);
        assert_eq!((wide.x, wide.y, wide.width, wide.height), (0.0, 375.0, 4000.0, 2250.0));
        let tall = Window::largest(STILL, 9.0 / 16.0);
        assert_eq!((tall.x, tall.y, tall.width, tall.height), (1156.25, 0.0, 1687.5, 3000.0));
    }

    #[test]
    fn a_window_moved_inside_keeps_its_size_and_its_shape() {
        let moved = Window::new(-50.0, 2900.0, 1600.0, 900.0).moved_inside(STILL);
        assert_eq!(moved, Window::new(0.0, 2100.0, 1600.0, 900.0));
        let shrunk = Window::new(-500.0, 0.0, 8000.0, 4500.0).moved_inside(STILL);
        assert_eq!((shrunk.width, shrunk.height), (4000.0, 2250.0));
        assert!(shrunk.inside(STILL, 0.0));
    }

    proptest::proptest! {
        #[test]
        fn a_window_moved_inside_is_inside_to_the_last_bit(
            x in -9e3..9e3_f64, y in -9e3..9e3_f64, width in 1e-3..2e4_f64, height in 1e-3..2e4_f64,
            across in 1_u32..70_000, down in 1_u32..70_000,
        ) {
            let still = Size::new(across, down);
            let moved = Window::new(x, y, width, height).moved_inside(still);
            proptest::prop_assert!(moved.inside(still, 0.0), "{:?}", moved);
            proptest::prop_assert!(((moved.width / moved.height) / (width / height) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_middle_of_a_window_lands_in_the_middle_of_the_frame() {
        let window = Window::new(100.0, 200.0, 1920.0, 1080.0);
        let seen = window.to_frame(window.centre(), Size::new(1280, 720));
        assert!((seen.x - 640.0).abs() < 1e-9 && (seen.y - 360.0).abs() < 1e-9);
    }
}

//! Windows over an upright still, and **the** pixel-centre rule.
//!
//! Pixel `(i, j)` covers `[i, i + 1) × [j, j + 1)`; its centre is `(i + 0.5, j + 0.5)`. Windows are continuous
//! rectangles in that plane, turned about their centres where they are rolled. Luma, chroma (with its siting), previews
//! and drawings all use this one rule.

use kurbo::{Point, Rect, Vec2};
use serde::{Deserialize, Serialize};

use crate::units::Size;

/// Seconds a pan of one picture width takes at least: a rule of thumb of a cinema-camera maker's handbook, a threshold
/// for a remark and never for a refusal.
pub const SECONDS_A_WIDTH: f64 = 7.0;

/// A rectangle of the upright still that fills the delivery's frame, in continuous source pixels, turned about its
/// centre.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Window {
    /// Left edge, before the roll.
    pub x: f64,
    /// Top edge, before the roll.
    pub y: f64,
    /// Width, above 0.
    pub width: f64,
    /// Height, above 0.
    pub height: f64,
    /// How far it is turned clockwise about its centre, in degrees; 0 is upright.
    pub roll: f64,
}

/// The upright part of the still that windows keep to: all of it, or what every still shows of the first view where
/// stills are steadied. In continuous pixels of the still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Room {
    /// Left edge.
    pub left: f64,
    /// Top edge.
    pub top: f64,
    /// Right edge, beyond the left one.
    pub right: f64,
    /// Bottom edge, below the top one.
    pub bottom: f64,
}

impl From<Size> for Room {
    /// The whole still.
    fn from(still: Size) -> Self {
        Self { left: 0.0, top: 0.0, right: f64::from(still.width), bottom: f64::from(still.height) }
    }
}

impl Room {
    /// Width in pixels.
    #[must_use]
    pub fn width(self) -> f64 {
        self.right - self.left
    }

    /// Height in pixels.
    #[must_use]
    pub fn height(self) -> f64 {
        self.bottom - self.top
    }

    /// Its middle.
    #[must_use]
    pub fn centre(self) -> Point {
        Point::new(self.left + self.width() / 2.0, self.top + self.height() / 2.0)
    }

    /// As a kurbo rectangle.
    #[must_use]
    pub fn rect(self) -> Rect {
        Rect::new(self.left, self.top, self.right, self.bottom)
    }
}

/// Sine and cosine of an angle in degrees: of whole quarter turns exactly, so that those are exact turns.
#[must_use]
pub fn sin_cos(degrees: f64) -> (f64, f64) {
    if degrees == 0.0 {
        return (0.0, 1.0);
    }
    let quarters = (degrees / 90.0).round();
    let (sin, cos) = (degrees - 90.0 * quarters).to_radians().sin_cos();
    match quarters.rem_euclid(4.0) {
        1.0 => (cos, -sin),
        2.0 => (-sin, -cos),
        3.0 => (-cos, sin),
        _ => (sin, cos),
    }
}

/// A vector turned clockwise (as seen: y points down) by an angle in degrees.
#[must_use]
pub fn turned(vector: Vec2, degrees: f64) -> Vec2 {
    let (sin, cos) = sin_cos(degrees);
    Vec2::new(vector.x * cos - vector.y * sin, vector.x * sin + vector.y * cos)
}

impl Window {
    /// The upright window with this corner and size.
    #[must_use]
    pub fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height, roll: 0.0 }
    }

    /// The same rectangle with this roll, in degrees, in place of its own.
    #[must_use]
    pub fn rolled(self, roll: f64) -> Self {
        Self { roll, ..self }
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

    /// The largest window of shape `aspect` (width over height) and this roll, in degrees, inside a still or the room
    /// it has, centred.
    #[must_use]
    pub fn largest(room: impl Into<Room>, aspect: f64, roll: f64) -> Self {
        let room = room.into();
        let (width, height) = (room.width(), room.height());
        let fitted = if roll == 0.0 {
            if width / height > aspect { (height * aspect, height) } else { (width, width / aspect) }
        } else {
            let (across, down) = Self::new(0.0, 0.0, 1.0, 1.0 / aspect).rolled(roll).extents();
            let fitted = (width / across).min(height / down);
            (fitted, fitted / aspect)
        };
        Self::around(room.centre(), fitted.0, fitted.1).rolled(roll)
    }

    /// The window of this size and roll that has `point` of the still at `place` of the frame, in fractions of its
    /// sides.
    #[must_use]
    pub fn placed(point: Point, place: (f64, f64), (width, height): (f64, f64), roll: f64) -> Self {
        if roll == 0.0 {
            return Self::new(point.x - place.0 * width, point.y - place.1 * height, width, height);
        }
        let to_centre = Vec2::new((0.5 - place.0) * width, (0.5 - place.1) * height);
        Self::around(point + turned(to_centre, roll), width, height).rolled(roll)
    }

    /// The point of the still at `place` of the frame, in fractions of its sides.
    #[must_use]
    pub fn at(self, place: (f64, f64)) -> Point {
        if self.roll == 0.0 {
            return Point::new(self.x + place.0 * self.width, self.y + place.1 * self.height);
        }
        self.centre() + turned(Vec2::new((place.0 - 0.5) * self.width, (place.1 - 0.5) * self.height), self.roll)
    }

    /// Corners: top left, bottom right, top right and bottom left of the frame.
    #[must_use]
    pub fn corners(self) -> [Point; 4] {
        [(0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)].map(|place| self.at(place))
    }

    /// Width and height of the smallest upright rectangle around it.
    #[must_use]
    pub fn extents(self) -> (f64, f64) {
        let (sin, cos) = sin_cos(self.roll);
        let (sin, cos) = (sin.abs(), cos.abs());
        (self.width * cos + self.height * sin, self.width * sin + self.height * cos)
    }

    /// The smallest upright rectangle around it.
    #[must_use]
    pub fn bounds(self) -> Self {
        if self.roll == 0.0 {
            return self;
        }
        let (width, height) = self.extents();
        Self::around(self.centre(), width, height)
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

    /// Whether every corner lies inside the still, or the room it has, to within `slack` pixels.
    #[must_use]
    pub fn inside(self, room: impl Into<Room>, slack: f64) -> bool {
        let (bounds, room) = (self.bounds(), room.into());
        bounds.x >= room.left - slack
            && bounds.y >= room.top - slack
            && bounds.right() <= room.right + slack
            && bounds.bottom() <= room.bottom + slack
    }

    /// The nearest window of the same size and roll inside the still, or the room it has. A window larger than that is
    /// first made smaller about its centre, keeping its shape. Edges are exact afterwards (of a room, where its edges
    /// are whole 1024ths of a pixel): never outside, not by one rounding error.
    #[must_use]
    pub fn moved_inside(self, room: impl Into<Room>) -> Self {
        let room = room.into();
        let (across, down) = (room.width(), room.height());
        let (wide, high) = self.extents();
        let centre = self.centre();
        if self.roll == 0.0 {
            let shrink = (across / wide).min(down / high).min(1.0);
            let (width, height) = ((self.width * shrink).min(across), (self.height * shrink).min(down));
            let x = (centre.x - width / 2.0).clamp(room.left, (room.right - width).max(room.left));
            let y = (centre.y - height / 2.0).clamp(room.top, (room.bottom - height).max(room.top));
            return Self::new(x, y, width, height);
        }
        // What sums of sines round off is kept free at the edges: a thousand-million-millionth of the still, if that
        // does.
        let within = |spare: f64| {
            let shrink = ((across - 2.0 * spare) / wide).min((down - 2.0 * spare) / high).min(1.0);
            let held = |centre: f64, extent: f64, (from, to): (f64, f64)| {
                let half = (extent * shrink / 2.0 + spare).min((to - from) / 2.0);
                centre.clamp(from + half, (to - half).max(from + half))
            };
            let middle = Point::new(
                held(centre.x, wide, (room.left, room.right)),
                held(centre.y, high, (room.top, room.bottom)),
            );
            Self::around(middle, self.width * shrink, self.height * shrink).rolled(self.roll)
        };
        let mut spare = 0.0;
        let mut moved = within(spare);
        for _ in 0..20 {
            if moved.inside(room, 0.0) {
                break;
            }
            spare = f64::max(2.0 * spare, 1e-15 * room.right.max(room.bottom));
            moved = within(spare);
        }
        moved
    }

    /// The rectangle a fraction `u` of the way on the straight line from `self` to `other`.
    ///
    /// Between two windows of one roll inside a still it is inside too: each corner is a convex combination.
    #[must_use]
    pub fn towards(self, other: Self, u: f64) -> Self {
        let along = |from: f64, to: f64| from + (to - from) * u;
        Self {
            x: along(self.x, other.x),
            y: along(self.y, other.y),
            width: along(self.width, other.width),
            height: along(self.height, other.height),
            roll: along(self.roll, other.roll),
        }
    }

    /// Where a point of the still lands in a frame of `frame` pixels showing this window.
    #[must_use]
    pub fn to_frame(self, point: Point, frame: Size) -> Point {
        let point = if self.roll == 0.0 { point } else { self.centre() + turned(point - self.centre(), -self.roll) };
        Point::new(
            (point.x - self.x) / self.width * f64::from(frame.width),
            (point.y - self.y) / self.height * f64::from(frame.height),
        )
    }

    /// The corners, from the top left clockwise.
    #[must_use]
    pub fn outline(self) -> [Point; 4] {
        [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|place| self.at(place))
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

/// What is kept free on each side of a frame, in fractions of its width and height; opposite sides leave room between
/// them.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, schemars::JsonSchema)]
pub struct Margins {
    /// On the left.
    pub left: f64,
    /// On the right.
    pub right: f64,
    /// At the top.
    pub top: f64,
    /// At the bottom.
    pub bottom: f64,
}

impl Margins {
    /// Around the safe action area, 93 % of the frame's width and height: SMPTE ST 2046-1:2009; EBU R 95 (3.5 % an
    /// edge). Made for 16:9; no standard says where it lies in a vertical or square frame, and the fractions are the
    /// same there.
    pub const ACTION: Self = Self::even(0.035);
    /// Around the safe title area, 90 %: SMPTE ST 2046-1:2009; EBU R 95 (5 % an edge). As for [`Margins::ACTION`].
    pub const TITLE: Self = Self::even(0.05);

    /// The same on all sides.
    #[must_use]
    pub const fn even(margin: f64) -> Self {
        Self { left: margin, right: margin, top: margin, bottom: margin }
    }

    /// With so much more on every side.
    #[must_use]
    pub fn and(self, margin: f64) -> Self {
        let Self { left, right, top, bottom } = self;
        Self { left: left + margin, right: right + margin, top: top + margin, bottom: bottom + margin }
    }

    /// The middle of what is left, in fractions of the frame.
    #[must_use]
    pub fn middle(self) -> (f64, f64) {
        (f64::midpoint(self.left, 1.0 - self.right), f64::midpoint(self.top, 1.0 - self.bottom))
    }
}

#[cfg(test)]
mod tests {
    use proptest::strategy::Strategy;

    use super::*;

    const STILL: Size = Size { width: 4000, height: 3000 };

    #[test]
    fn the_largest_window_touches_two_edges() {
        let wide = Window::largest(STILL, 16.0 / 9.0, 0.0);
        assert_eq!((wide.x, wide.y, wide.width, wide.height), (0.0, 375.0, 4000.0, 2250.0));
        let tall = Window::largest(STILL, 9.0 / 16.0, 0.0);
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
            across in 1_u32..70_000, down in 1_u32..70_000, roll in proptest::prop_oneof![
                proptest::prelude::Just(0.0), -360.0..360.0_f64, (-4..=4_i32).prop_map(|quarters| 90.0 * f64::from(quarters)),
            ],
        ) {
            let still = Size::new(across, down);
            let moved = Window::new(x, y, width, height).rolled(roll).moved_inside(still);
            proptest::prop_assert_eq!(moved.roll, roll);
            proptest::prop_assert!(moved.inside(still, 0.0), "{:?}", moved);
            proptest::prop_assert!(((moved.width / moved.height) / (width / height) - 1.0).abs() < 1e-12);
        }
    }

    proptest::proptest! {
        #[test]
        fn a_window_moved_into_a_room_is_inside_it_to_the_last_bit(
            x in -9e3..9e3_f64, y in -9e3..9e3_f64, width in 1e-3..2e4_f64, height in 1e-3..2e4_f64,
            left in 0_u32..200_000, top in 0_u32..200_000, across in 1_u32..9_000_000, down in 1_u32..9_000_000,
            roll in proptest::prop_oneof![proptest::prelude::Just(0.0), -360.0..360.0_f64],
        ) {
            let [left, top, across, down] = [left, top, across, down].map(|parts| f64::from(parts) / 1024.0);
            let room = Room { left, top, right: left + across, bottom: top + down };
            let moved = Window::new(x, y, width, height).rolled(roll).moved_inside(room);
            proptest::prop_assert!(moved.inside(room, 0.0), "{:?}", moved);
            let largest = Window::largest(room, width / height, roll);
            proptest::prop_assert!(largest.inside(room, 1e-9), "{:?}", largest);
        }
    }

    #[test]
    fn quarter_turns_are_exact() {
        assert_eq!(
            [0.0, 90.0, 180.0, 270.0, -90.0, 360.0].map(sin_cos),
            [(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0), (-1.0, 0.0), (0.0, 1.0)]
        );
        for degrees in [-300.0, -12.5, 30.0, 44.0, 46.0, 135.5, 200.0, 359.0_f64] {
            let ((sin, cos), due) = (sin_cos(degrees), degrees.to_radians().sin_cos());
            assert!((sin - due.0).abs() < 1e-15 && (cos - due.1).abs() < 1e-15, "{degrees}");
        }
    }

    #[test]
    fn the_largest_rolled_window_touches_the_still_with_its_corners() {
        // Half a turn changes nothing, a quarter turn makes it as high as it was wide; in between, by hand at 30
        // degrees: a window 1 by 9/16 is cos 30 + 9/16 sin 30 = 1.147275 wide and sin 30 + 9/16 cos 30 = 0.987139 high.
        let largest = |roll| Window::largest(STILL, 16.0 / 9.0, roll);
        assert_eq!(largest(180.0).width, 4000.0);
        assert_eq!(largest(90.0).width, 3000.0);
        let tilted = largest(30.0);
        assert!((tilted.width - 3000.0 / 0.987_139_29).abs() < 1e-3, "{tilted:?}");
        let lowest = tilted.corners().iter().map(|corner| corner.y).fold(0.0, f64::max);
        assert!((lowest - 3000.0).abs() < 1e-9);
    }

    #[test]
    fn a_roll_turns_the_window_clockwise_over_the_still() {
        let window = Window::new(1000.0, 1000.0, 1600.0, 900.0).rolled(90.0);
        // The frame's top left is seen at the window's top right, so the picture turns the other way.
        assert_eq!(window.at((0.0, 0.0)), Point::new(2250.0, 650.0));
        assert_eq!(window.bounds(), Window::new(1350.0, 650.0, 900.0, 1600.0));
    }

    #[test]
    fn a_placed_point_is_where_it_was_placed_whatever_the_roll() {
        let (point, place) = (Point::new(1234.5, 987.6), (0.3, 0.8));
        for roll in [0.0, 5.0, -77.0, 200.0] {
            let window = Window::placed(point, place, (800.0, 450.0), roll);
            assert!((window.at(place) - point).hypot() < 1e-9);
            let seen = window.to_frame(point, Size::new(1000, 1000));
            assert!((seen - Point::new(300.0, 800.0)).hypot() < 1e-9);
        }
    }

    #[test]
    fn the_middle_of_a_window_lands_in_the_middle_of_the_frame() {
        let window = Window::new(100.0, 200.0, 1920.0, 1080.0);
        let seen = window.to_frame(window.centre(), Size::new(1280, 720));
        assert!((seen.x - 640.0).abs() < 1e-9 && (seen.y - 360.0).abs() < 1e-9);
    }
}

//! What all stills show of the first view.
//!
//! ## Decisions
//!
//! - *Room* is the part of the first view that windows keep to: an upright rectangle that every still the shot may
//!   show, stand-ins included, has in common, none of whose edges can be moved out, on whole 1024ths of a pixel.

use super::Pose;
use crate::geom::{Room, sin_cos};
use crate::units::Size;

/// How fine the edges of a room are, in parts of a pixel: windows moved inside it are exact then.
const PARTS: f64 = 1024.0;

/// Rounds of drawing in edges in turn. Each comes nearer to the last by the tangent of the largest turn, 0.36 at the
/// most.
const ROUNDS: usize = 40;

/// The upright part of the first view that every still shows whole, each from where it stands: no edge of it can be
/// moved out without some still's border showing. It lies inside the first view, and its edges on whole 1024ths of a
/// pixel. None where there is none. Stills are turned by [`super::MOST_TURNED`] degrees either way at most.
#[must_use]
pub fn room(still: Size, stands: impl Iterator<Item = Pose> + Clone) -> Option<Room> {
    let whole = Room::from(still);
    let mut room = whole;
    for _ in 0..ROUNDS {
        let before = room;
        room = across(still, room, stands.clone())?;
        room = down(still, room, stands.clone())?;
        if room == before {
            break;
        }
    }
    // What rounds have left over is far below a part, and a part is drawn in for it.
    let spare = if room == whole { 0.0 } else { 1.0 };
    let low = |at: f64| if at == 0.0 { 0.0 } else { ((at * PARTS).ceil() + spare) / PARTS };
    let high = |at: f64, most: f64| if at == most { most } else { ((at * PARTS).floor() - spare) / PARTS };
    let room = Room {
        left: low(room.left),
        top: low(room.top),
        right: high(room.right, whole.right),
        bottom: high(room.bottom, whole.bottom),
    };
    (room.left < room.right && room.top < room.bottom).then_some(room)
}

/// The left and right edges that a room of these top and bottom edges may have.
fn across(still: Size, room: Room, stands: impl Iterator<Item = Pose>) -> Option<Room> {
    let whole = Room::from(still);
    let centre = whole.centre();
    let (mut left, mut right) = (whole.left, whole.right);
    for Pose { x, turn, .. } in stands {
        let (sin, cos) = sin_cos(turn);
        // A point's place across in the still is `centre + (x - centre) cos - (y - centre) sin + shift`.
        let leans = [room.top, room.bottom].map(|edge| (edge - centre.y) * sin);
        let (least, most) = (leans[0].min(leans[1]), leans[0].max(leans[1]));
        left = f64::max(left, centre.x + (most - centre.x - x) / cos);
        right = f64::min(right, centre.x + (whole.right - centre.x + least - x) / cos);
    }
    (left < right).then_some(Room { left, right, ..room })
}

/// The top and bottom edges that a room of these left and right edges may have.
fn down(still: Size, room: Room, stands: impl Iterator<Item = Pose>) -> Option<Room> {
    let whole = Room::from(still);
    let centre = whole.centre();
    let (mut top, mut bottom) = (whole.top, whole.bottom);
    for Pose { y, turn, .. } in stands {
        let (sin, cos) = sin_cos(turn);
        let leans = [room.left, room.right].map(|edge| (edge - centre.x) * sin);
        let (least, most) = (leans[0].min(leans[1]), leans[0].max(leans[1]));
        top = f64::max(top, centre.y + (-least - centre.y - y) / cos);
        bottom = f64::min(bottom, centre.y + (whole.bottom - centre.y - most - y) / cos);
    }
    (top < bottom).then_some(Room { top, bottom, ..room })
}

#[cfg(test)]
mod tests {
    use kurbo::Point;
    use proptest::prelude::*;

    use super::*;

    const STILL: Size = Size { width: 4000, height: 3000 };

    fn corners(room: Room) -> [Point; 4] {
        let Room { left, top, right, bottom } = room;
        [(left, top), (right, top), (left, bottom), (right, bottom)].map(Point::from)
    }

    /// How far the corners of a room lie outside a still, in pixels.
    fn outside(room: Room, stand: Pose) -> f64 {
        let out = |point: Point| (-point.x).max(point.x - 4000.0).max(-point.y).max(point.y - 3000.0);
        corners(room).into_iter().map(|corner| out(stand.point(STILL, corner))).fold(f64::NEG_INFINITY, f64::max)
    }

    #[test]
    fn shifts_alone_take_from_each_side_what_the_farthest_still_lacks() {
        let stand = |x: f64, y: f64| Pose { x, y, turn: 0.0 };
        let stands = [Pose::STILL, stand(12.0, -3.5), stand(-7.0, 2.0)];
        let room = room(STILL, stands.into_iter()).unwrap();
        let part = 1.0 / 1024.0;
        // A still shifted to the right lacks what the first view shows at its right edge.
        let due = Room { left: 7.0 + part, top: 3.5 + part, right: 3988.0 - part, bottom: 2998.0 - part };
        assert_eq!(room, due);
    }

    #[test]
    fn stills_that_all_stand_as_the_first_does_leave_all_of_it() {
        assert_eq!(room(STILL, [Pose::STILL; 3].into_iter()), Some(STILL.into()));
        assert_eq!(room(STILL, [Pose::STILL, Pose { x: 4001.0, y: 0.0, turn: 0.0 }].into_iter()), None);
    }

    proptest! {
        #[test]
        fn every_still_shows_all_of_the_room_and_no_edge_of_it_could_be_farther_out(
            stands in proptest::collection::vec((-300.0..300.0_f64, -300.0..300.0_f64, -3.0..3.0_f64), 1..8),
        ) {
            let stands: Vec<Pose> = stands.into_iter().map(|(x, y, turn)| Pose { x, y, turn }).collect();
            let found = room(STILL, stands.iter().copied()).unwrap();
            for stand in stands.iter().chain([&Pose::STILL]) {
                prop_assert!(outside(found, *stand) <= 0.0, "{:?} {:?}", found, stand);
            }
            let farther = [
                Room { left: found.left - 0.01, ..found },
                Room { top: found.top - 0.01, ..found },
                Room { right: found.right + 0.01, ..found },
                Room { bottom: found.bottom + 0.01, ..found },
            ];
            for farther in farther {
                let out = stands.iter().chain([&Pose::STILL]).any(|stand| outside(farther, *stand) > 0.0);
                prop_assert!(out, "{:?} {:?}", found, farther);
            }
        }
    }
}

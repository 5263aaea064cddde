//! What of the stands is undone, and the stands of stills that could not be placed.

use serde::Serialize;

use super::Stand;
use crate::units::Size;

/// What of a camera's movements is undone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Undo {
    /// All of them.
    #[default]
    All,
    /// Only those from one still to the next: slow ones stay.
    Bumps,
}

/// What moves a corner by this many pixels from one still to the next is a bump, and less is a sag: the least step that is
/// found for certain among those of slow drift.
const BUMP: f64 = 0.5;

/// The stands of all slots where some are not known: on the straight way, slot by slot, from the one known before to the one
/// known after; as the nearest known one where none lies on the other side. All as the first where none is known.
#[must_use]
pub fn filled(stands: &[Option<Stand>]) -> Vec<Stand> {
    let known: Vec<(usize, Stand)> = stands.iter().enumerate().filter_map(|(slot, stand)| Some((slot, (*stand)?))).collect();
    let at = |slot: usize| {
        let after = known.partition_point(|(known, _)| *known < slot);
        match (after.checked_sub(1).map(|before| known[before]), known.get(after).copied()) {
            (_, Some((exact, stand))) if exact == slot => stand,
            (Some((from, before)), Some((to, after))) => {
                #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
                let share = (slot - from) as f64 / (to - from) as f64;
                before.towards(after, share)
            }
            (Some((_, stand)), None) | (None, Some((_, stand))) => stand,
            (None, None) => Stand::STILL,
        }
    };
    (0..stands.len()).map(at).collect()
}

/// The bumps alone: stands that change where the given ones move a corner of the still by half a pixel or more from one known
/// still to the next, and by as much, and nowhere else. Where a still is not known stays as it is.
#[must_use]
pub fn bumps_alone(stands: &[Option<Stand>], still: Size) -> Vec<Option<Stand>> {
    let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
        .map(|(across, down)| kurbo::Point::new(across * f64::from(still.width), down * f64::from(still.height)));
    let moved = |from: Stand, to: Stand| {
        let by = corners.map(|corner| (to.point(still, corner) - from.point(still, corner)).hypot());
        by.into_iter().fold(0.0, f64::max)
    };
    let (mut before, mut bumped): (Option<Stand>, Stand) = (None, Stand::STILL);
    let mut one = |stand: &Option<Stand>| {
        let stand = (*stand)?;
        if let Some(before) = before
            && moved(before, stand) >= BUMP
        {
            bumped = Stand {
                x: bumped.x + stand.x - before.x,
                y: bumped.y + stand.y - before.y,
                turn: bumped.turn + stand.turn - before.turn,
            };
        }
        before = Some(stand);
        Some(bumped)
    };
    stands.iter().map(&mut one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn across(x: f64) -> Option<Stand> {
        Some(Stand { x, y: 0.0, turn: 0.0 })
    }

    #[test]
    fn what_is_not_known_lies_on_the_way_between_what_is() {
        let stands = [None, across(2.0), None, None, across(8.0), None];
        let filled: Vec<f64> = filled(&stands).iter().map(|stand| stand.x).collect();
        assert_eq!(filled, [2.0, 2.0, 4.0, 6.0, 8.0, 8.0]);
        assert_eq!(super::filled(&[None, None]), [Stand::STILL; 2]);
    }

    #[test]
    fn bumps_stay_and_sags_are_left_out() {
        // A hundredth of a pixel a still, and steps of 3 and -1 in it.
        let drift = |still: usize| 0.01 * still as f64;
        let step = |still: usize| {
            if still < 40 {
                0.0
            } else if still < 70 {
                3.0
            } else {
                2.0
            }
        };
        let mut stands: Vec<Option<Stand>> = (0..100).map(|still| across(drift(still) + step(still))).collect();
        stands[41] = None;
        let bumps = bumps_alone(&stands, Size::new(400, 300));
        for (still, bump) in bumps.iter().enumerate() {
            let due = (still != 41).then_some(step(still));
            assert_eq!(bump.is_some(), due.is_some());
            let off = bump.map_or(0.0, |bump| bump.x) - due.unwrap_or(0.0);
            // Each step takes in the hundredth of its own still.
            assert!(off.abs() < 0.021, "{still}: {off}");
        }
    }
}

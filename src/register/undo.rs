//! What of the stands is undone, and the stands of stills that could not be placed.

use serde::Serialize;

use super::Pose;

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

/// The stands of all slots where some are not known: on the straight way, slot by slot, from the one known before to
/// the one known after; as the nearest known one where none lies on the other side. All as the first where none is
/// known. `sides` are the slots that begin another side of a break, in order: no way leads from one to another, and the
/// nearest known stand of the own side counts where it has one.
#[must_use]
pub fn filled(stands: &[Option<Pose>], sides: &[usize]) -> Vec<Pose> {
    let known: Vec<(usize, Pose)> =
        stands.iter().enumerate().filter_map(|(slot, stand)| Some((slot, (*stand)?))).collect();
    let at = |slot: usize| {
        let after = known.partition_point(|(known, _)| *known < slot);
        let apart = |(known, _): &(usize, Pose)| {
            let side = |slot: usize| sides.partition_point(|first| *first <= slot);
            side(*known) != side(slot)
        };
        match (after.checked_sub(1).map(|before| known[before]), known.get(after).copied()) {
            (_, Some((exact, stand))) if exact == slot => stand,
            (Some(before), Some(after)) if apart(&before) && !apart(&after) => after.1,
            (Some(before), Some(after)) if apart(&after) => before.1,
            (Some((from, before)), Some((to, after))) => {
                #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
                let share = (slot - from) as f64 / (to - from) as f64;
                before.towards(after, share)
            }
            (Some((_, stand)), None) | (None, Some((_, stand))) => stand,
            (None, None) => Pose::STILL,
        }
    };
    (0..stands.len()).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn across(x: f64) -> Option<Pose> {
        Some(Pose { x, y: 0.0, turn: 0.0 })
    }

    #[test]
    fn what_is_not_known_lies_on_the_way_between_what_is() {
        let stands = [None, across(2.0), None, None, across(8.0), None];
        let filled: Vec<f64> = filled(&stands, &[]).iter().map(|stand| stand.x).collect();
        assert_eq!(filled, [2.0, 2.0, 4.0, 6.0, 8.0, 8.0]);
        assert_eq!(super::filled(&[None, None], &[]), [Pose::STILL; 2]);
    }

    #[test]
    fn no_way_leads_across_a_break() {
        let stands = [across(2.0), None, None, None, across(8.0)];
        let x = |sides: &[usize]| filled(&stands, sides).iter().map(|stand| stand.x).collect::<Vec<f64>>();
        assert_eq!(x(&[2]), [2.0, 2.0, 8.0, 8.0, 8.0]);
        assert_eq!(x(&[1, 4]), [2.0, 2.0, 2.0, 2.0, 8.0], "a side without a stand stands as the one before");
    }
}

//! Which stills a frame is made of: those that pass while the shutter is open, by how much of each passes.
//!
//! The span of a frame opens at its position and is as long as what goes by in `shutter / 360` of a frame's time. With
//! `between = "mix"` it is at least one still long where the shoot has come on by up to a still since the frame before: a frame
//! a third of the way from still `k` to the next then covers two thirds of `k` and one third of the next, and where the
//! position stands at a whole still that still is shown alone. From one still a frame to two that floor goes down to nothing,
//! evenly, so that a pace may run from slow to fast without a jump. What a mixed frame shows lies between the still whose turn
//! it is and the position itself, and the position has come on by enough before the floor goes, so a clip never steps back,
//! however the pace leaps.
//!
//! `between = "motion"` has the same spans and weights: where it, and not the shutter, makes the span so long, the frame is
//! invented at the moment that the second still's weight says. Where the shutter reaches further, the frame is its mean.

use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::Share;
use crate::shot::{Between, Blend, Pace, Shot};
use crate::units::{POSITION_SLACK, ShootPosition};

use super::axis::OnAxis;
use super::rows::Sheet;

/// Where the span of a frame ends that opens at `position` of the axis and `time` of the clip, and came on by so many stills
/// since the frame before; and whether the frame is invented, if the span holds two stills: where motion alone makes it so long.
pub(super) fn reach(sheet: &Sheet<'_>, position: f64, time: f64, came_on: f64) -> (f64, bool) {
    let blend = sheet.delivery.blend;
    let mut end = position;
    if blend.shutter > 0.0 {
        end = sheet.pace.position(time + blend.shutter / 360.0 / sheet.delivery.fps.per_second()).max(position);
    }
    let floor = position + shortest(came_on);
    if blend.between == Between::Nearest || floor <= end {
        return (end, false);
    }
    (floor, blend.between == Between::Motion)
}

/// Refuses frames of several stills under a pace that runs backwards: their spans are laid out forwards.
pub(super) fn check_way(shot: &Shot, found: &mut Diagnostics) {
    let Pace::Keyed { keys, .. } = &shot.pace.value else { return };
    let Some(back) = keys.iter().find(|key| key.reverse) else { return };
    for delivery in &shot.deliveries {
        let word = match delivery.blend {
            Blend { shutter, .. } if shutter > 0.0 => "shutter",
            Blend { between: Between::Mix | Between::Motion, .. } => "between",
            _ => continue,
        };
        found.push(
            Diagnostic::mistake(format!("'{}' has a {word}, and a pace that runs backwards has none yet", delivery.name))
                .at(&back.place)
                .word("reverse")
                .with(&delivery.place, "the delivery")
                .help(format!("leave out reverse, or {word}")),
        );
    }
}

/// How long a mixed frame's span is at the least, in stills.
fn shortest(came_on: f64) -> f64 {
    (2.0 - came_on).clamp(0.0, 1.0)
}

/// The place whose turn it is, and the stills under the span with their weights: none where one still has it all.
///
/// Weights are proportional to how much of a still the span covers, in whole units that add up to [`Share::WHOLE`]; what
/// rounds to none is left out, and what lies past the axis' end has no weight.
pub(super) fn shares(places: &[OnAxis], from: f64, to: f64) -> (OnAxis, Vec<Share>) {
    let last = places.len() - 1;
    let first = ShootPosition(from).whole().min(last);
    #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
    let (start, stills) = (from.max(first as f64), places.len() as f64);
    let end = to.min(stills);
    #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
    if end <= (first + 1) as f64 + POSITION_SLACK {
        return (places[first], Vec::new());
    }
    // Rounding how far the weights have come, and not each of them, makes them add up.
    let come = |position: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 65,536")]
        let units = ((position - start) / (end - start) * f64::from(Share::WHOLE)).round() as u32;
        units
    };
    let mut shares: Vec<Share> = Vec::new();
    let (mut before, mut heaviest, mut most) = (0, first, 0);
    for (place, on_axis) in places.iter().enumerate().skip(first) {
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let after = come(end.min((place + 1) as f64));
        let weight = after - before;
        if weight > most {
            (heaviest, most) = (place, weight);
        }
        if weight > 0 {
            match shares.last_mut() {
                // A still held in the place of others counts for them too.
                Some(share) if share.shown == on_axis.shown => share.weight += weight,
                _ => shares.push(Share { shown: on_axis.shown, stand_in: on_axis.stand_in, weight }),
            }
        }
        before = after;
        if after == Share::WHOLE {
            break;
        }
    }
    match shares.as_slice() {
        [alone] if alone.shown == places[first].shown => (places[first], Vec::new()),
        [_] => (places[heaviest], Vec::new()),
        _ => (places[first], shares),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SlotIndex;
    use proptest::prelude::*;

    /// Places of which those named show the still before.
    fn places(count: usize, held: &[usize]) -> Vec<OnAxis> {
        let mut shown = 0;
        let place = |slot: usize| {
            if !held.contains(&slot) {
                shown = slot;
            }
            OnAxis { slot: SlotIndex(slot), shown: SlotIndex(shown), stand_in: None }
        };
        (0..count).map(place).collect()
    }

    /// Slots and weights under a span.
    fn under(places: &[OnAxis], from: f64, to: f64) -> Vec<(usize, u32)> {
        shares(places, from, to).1.iter().map(|share| (share.shown.0, share.weight)).collect()
    }

    #[test]
    fn fractional_ends_are_weighted_and_a_span_inside_a_still_is_that_still() {
        let ten = places(10, &[]);
        assert_eq!(under(&ten, 2.5, 5.25), [(2, 11_916), (3, 23_831), (4, 23_831), (5, 5958)]);
        assert_eq!(under(&ten, 3.0, 5.0), [(3, 32_768), (4, 32_768)]);
        assert_eq!((shares(&ten, 3.0, 4.0).0, under(&ten, 3.0, 4.0)), (ten[3], vec![]));
        assert_eq!(under(&ten, 3.25, 3.25), []);
        assert_eq!(under(&ten, 2.999_999_999_9, 4.000_000_000_1), [], "rounding is no span");
    }

    #[test]
    fn a_span_past_the_end_is_shared_out_among_what_is_there() {
        let four = places(4, &[]);
        assert_eq!(under(&four, 2.0, 9.0), [(2, 32_768), (3, 32_768)]);
        assert_eq!((shares(&four, 3.5, 9.0).0, under(&four, 3.5, 9.0)), (four[3], vec![]));
        assert_eq!(under(&four, 4.0, 9.0), []);
    }

    #[test]
    fn a_held_place_counts_for_the_still_shown_in_it() {
        assert_eq!(under(&places(6, &[2, 3]), 1.0, 5.0), [(1, 49_152), (4, 16_384)]);
        assert_eq!(under(&places(6, &[2, 3]), 1.0, 4.0), [], "one still has it all");
    }

    #[test]
    fn mixing_lets_go_between_one_and_two_stills_a_frame() {
        assert_eq!([0.1, 1.0, 1.25, 2.0, 9.0].map(shortest), [1.0, 1.0, 0.75, 0.0, 0.0]);
    }

    proptest! {
        #[test]
        fn weights_add_up_and_follow_what_is_covered(from in 0.0..60.0_f64, length in 0.0..80.0_f64) {
            let places = places(60, &[]);
            let (place, shares) = shares(&places, from, from + length);
            prop_assert!(shares.is_empty() || shares.len() > 1);
            prop_assert!(shares.is_sorted_by(|a, b| a.shown < b.shown));
            if shares.is_empty() {
                prop_assert!(place.slot.0 == ShootPosition(from).whole().min(59) || length > 1e-9);
                return Ok(());
            }
            prop_assert_eq!(shares.iter().map(|share| share.weight).sum::<u32>(), Share::WHOLE);
            let end = (from + length).min(60.0);
            for share in shares {
                #[expect(clippy::cast_precision_loss, reason = "below 60")]
                let still = share.shown.0 as f64;
                let covered = (end.min(still + 1.0) - from.max(still)) / (end - from);
                prop_assert!((f64::from(share.weight) / 65_536.0 - covered).abs() < 1.1 / 65_536.0);
                prop_assert!(share.weight > 0);
            }
        }
    }
}

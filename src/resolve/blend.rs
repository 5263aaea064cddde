//! Which stills a frame is made of: those that pass while the shutter is open, by how much of each passes.
//!
//! The span of a frame opens at its position and goes on as the pace does for `shutter / 360` of a frame's time, back
//! over the same stills where the pace turns: what a still weighs is how far the span goes over it, whichever way.
//!
//! With `between = "mix"` a span is at least one still long where the shoot has come on by up to a still since the
//! frame before: a frame a third of the way from still `k` to the next then covers two thirds of `k` and one third of
//! the next, and where the position stands at a whole still that still is shown alone. It is the same on the way back,
//! so that a slow turn passes without a jump: the span lies above the position then, and what a shutter covers of the
//! way back is moved up by as much. From one still a frame to two that floor goes down to nothing, evenly, so that a
//! pace may run from slow to fast without a jump. What a mixed frame shows lies between the still whose turn it is and
//! the position itself, and the position has come on by enough before the floor goes, so a clip never steps back,
//! however the pace leaps.
//!
//! `between = "motion"` has the same spans and weights: where a span is as long as it is only for that floor and holds
//! two stills, the frame is invented at the moment that the second still's weight says, which is the same picture
//! whichever way the pace runs. Where the shutter reaches further, or a loop mixes its join, the frame is the mean.
//!
//! ## Decisions
//!
//! - A *span* is the stretch of the shoot that a frame covers; the *shutter* is its length in degrees. Weights follow
//!   stills covered, not time. Spans run on past a clip's `length` where there are stills, and are cut at the shoot's
//!   end.
//! - Over a turn a span goes back over the same stills, and each counts as often as it is passed. Mixed frames lie
//!   between the same two stills on the way back as on the way there: a slow turn in the middle of a still would jump
//!   otherwise.
//! - A span is cut at the breaks of the axis (`breaks`): it covers the side that the still whose turn it is lies on,
//!   and what is left of it shares out the whole weight.
//! - Stills stand in a frame in the order in which the end of its span passes them.

use std::ops::Range;

use crate::curve::pace::PacePoint;
use crate::plan::Share;
use crate::shot::Between;
use crate::units::{POSITION_SLACK, ShootPosition};

use super::axis::{Axis, OnAxis};
use super::due::Sheet;
use super::times::number;

/// What a frame covers of the shoot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Span {
    /// The place whose turn it is where the span is no longer than a point.
    due: usize,
    /// From position to position, as the pace goes.
    legs: Vec<(f64, f64)>,
    /// Whether it is as long as it is only because a mixed frame's is so long at the least.
    pub(super) least: bool,
}

impl Span {
    /// The span of a frame that opens at a stand and a time of the clip, and came on by so many stills since the frame
    /// before.
    pub(super) fn of(sheet: &Sheet<'_>, stand: PacePoint, time: f64, came_on: f64) -> Self {
        let (blend, from) = (sheet.delivery.blend, stand.position);
        let mut legs = vec![(from, from)];
        if blend.shutter > 0.0 {
            legs = sheet.pace.legs(time, time + blend.shutter / 360.0 / sheet.delivery.fps.per_second());
            legs[0].0 = from;
        }
        let mut least = false;
        if blend.between != Between::Nearest {
            let floor = shortest(came_on);
            let covered = length(&legs);
            least = covered < floor - POSITION_SLACK;
            if covered <= floor {
                legs = vec![(from, from + floor)];
            } else {
                legs.iter_mut().filter(|(from, to)| to < from).for_each(|leg| *leg = (leg.0 + floor, leg.1 + floor));
            }
        }
        Self { due: stand.whole().min(sheet.axis.places.len() - 1), legs, least }
    }

    /// Whether it runs backwards in the end.
    fn backwards(&self) -> bool {
        self.legs.last().is_some_and(|(from, to)| to < from)
    }

    /// The side of the axis that the span keeps to.
    pub(super) fn side(&self, axis: &Axis) -> Range<usize> {
        axis.side_of(self.due)
    }

    /// The break that cuts the span short, where one does, by its place among those of the axis.
    pub(super) fn kept_from(&self, axis: &Axis) -> Option<usize> {
        let side = self.side(axis);
        let ends = || self.legs.iter().flat_map(|(from, to)| [*from, *to]);
        let beyond = |place: usize| axis.breaks.iter().position(|one| one.place == place);
        let above = ends().any(|end| end > number(side.end) + POSITION_SLACK).then(|| beyond(side.end)).flatten();
        let below =
            || ends().any(|end| end < number(side.start) - POSITION_SLACK).then(|| beyond(side.start)).flatten();
        above.or_else(below)
    }

    /// Its legs on one side, each from its lower end to its upper one, and the lowest and highest of them.
    fn within(&self, side: &Range<usize>) -> (Vec<(f64, f64)>, f64, f64) {
        let last = side.end - 1;
        // A position a rounding error below a whole still has nothing of the still before.
        let bottom = |position: f64| position.max(number(ShootPosition(position).whole().clamp(side.start, last)));
        let ends = |(from, to): &(f64, f64)| (bottom(from.min(*to)), from.max(*to).min(number(side.end)));
        let legs: Vec<(f64, f64)> = self.legs.iter().map(ends).filter(|(low, high)| low < high).collect();
        let low = legs.iter().map(|leg| leg.0).fold(f64::INFINITY, f64::min);
        let high = legs.iter().map(|leg| leg.1).fold(0.0, f64::max);
        (legs, low, high)
    }

    /// The places on one side that it goes over, be it ever so little; the one whose turn it is where it is a point.
    pub(super) fn covers(&self, side: &Range<usize>) -> Range<usize> {
        let (legs, low, high) = self.within(side);
        if legs.is_empty() {
            return self.due..self.due + 1;
        }
        let first = ShootPosition(low).whole().clamp(side.start, side.end - 1);
        first..ShootPosition(high).whole_backwards().clamp(first, side.end - 1) + 1
    }

    /// The place whose turn it is, and the stills under the span with their weights: none where one still has it all.
    /// Of the span counts what lies on one side, a stretch of places that the one whose turn it is lies in.
    ///
    /// Weights are proportional to how far the span goes over a still, in whole units that add up to [`Share::WHOLE`];
    /// what rounds to none is left out, and what lies past the axis' ends has no weight. Stills stand in the order in
    /// which the end of the span goes over them.
    pub(super) fn shares(&self, places: &[OnAxis], side: &Range<usize>) -> (OnAxis, Vec<Share>) {
        if self.legs.iter().all(|(from, to)| from == to) {
            return (places[self.due], Vec::new());
        }
        let (legs, low, high) = self.within(side);
        if legs.is_empty() {
            return (places[self.due], Vec::new());
        }
        let first = ShootPosition(low).whole().clamp(side.start, side.end - 1);
        if high <= number(first + 1) + POSITION_SLACK {
            return (places[first], Vec::new());
        }
        // Rounding how far the weights have come, and not each of them, makes them add up.
        let whole = length(&legs);
        let come = |position: f64| {
            let gone: f64 = legs.iter().map(|(low, high)| position.clamp(*low, *high) - low).sum();
            let gone = if self.backwards() { whole - gone } else { gone };
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 65,536")]
            let units = (gone / whole * f64::from(Share::WHOLE)).round() as u32;
            units
        };
        let top = ShootPosition(high).whole_backwards().clamp(first, side.end - 1);
        let mut shares: Vec<Share> = Vec::new();
        let (mut before, mut heaviest, mut most) = (0, first, 0);
        for step in 0..=top - first {
            let (place, after) = if self.backwards() {
                (top - step, if top - step == first { Share::WHOLE } else { come(number(top - step)) })
            } else {
                (first + step, if first + step == top { Share::WHOLE } else { come(number(first + step + 1)) })
            };
            let weight = after - before;
            if weight > most {
                (heaviest, most) = (place, weight);
            }
            if weight > 0 {
                let OnAxis { shown, stand_in, .. } = places[place];
                match shares.last_mut() {
                    // A still held in the place of others counts for them too.
                    Some(share) if share.shown == shown => share.weight += weight,
                    _ => shares.push(Share { shown, stand_in, weight }),
                }
            }
            before = after;
        }
        match shares.as_slice() {
            [alone] if alone.shown == places[self.due].shown => (places[self.due], Vec::new()),
            [_] => (places[heaviest], Vec::new()),
            _ => (places[self.due], shares),
        }
    }
}

/// How far legs go, in stills.
pub(super) fn length(legs: &[(f64, f64)]) -> f64 {
    legs.iter().map(|(from, to)| (to - from).abs()).sum()
}

/// How long a mixed frame's span is at the least, in stills.
fn shortest(came_on: f64) -> f64 {
    (2.0 - came_on).clamp(0.0, 1.0)
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

    /// The place and stills of a span that goes through these positions.
    fn shares_of(places: &[OnAxis], through: &[f64]) -> (OnAxis, Vec<Share>) {
        let due = if through[1] < through[0] {
            ShootPosition(through[0]).whole_backwards()
        } else {
            ShootPosition(through[0]).whole()
        };
        let legs = through.windows(2).map(|pair| (pair[0], pair[1])).collect();
        Span { due: due.min(places.len() - 1), legs, least: false }.shares(places, &(0..places.len()))
    }

    fn shares(places: &[OnAxis], from: f64, to: f64) -> (OnAxis, Vec<Share>) {
        shares_of(places, &[from, to])
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
    fn a_span_that_runs_backwards_is_the_mirror_of_one_that_runs_forwards_and_a_turn_counts_both_ways() {
        let ten = places(10, &[]);
        let through = |positions: &[f64]| -> Vec<(usize, u32)> {
            shares_of(&ten, positions).1.iter().map(|share| (share.shown.0, share.weight)).collect()
        };
        assert_eq!(through(&[5.25, 2.5]), [(5, 5958), (4, 23_831), (3, 23_831), (2, 11_916)]);
        assert_eq!((shares_of(&ten, &[4.0, 3.0]).0, through(&[4.0, 3.0])), (ten[3], vec![]));
        assert_eq!((shares_of(&ten, &[4.0, 4.0 - 1e-3]).0, through(&[4.0, 4.0 - 1e-3])), (ten[3], vec![]));
        // Half of still 6 there and half of it back again; then all of 5.
        assert_eq!(through(&[6.0, 6.5, 5.0]), [(6, 32_768), (5, 32_768)]);
        assert_eq!(through(&[5.0, 4.5, 6.0]), [(4, 32_768), (5, 32_768)]);
        assert_eq!(through(&[9.0, 10.0, 8.0]), [(9, 43_691), (8, 21_845)]);
        // What a turn leaves out between two legs has no weight.
        assert_eq!(shares_of(&places(10, &[]), &[1.5, 1.0, 1.25]).1, []);
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

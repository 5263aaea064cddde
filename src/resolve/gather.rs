//! Which stills a frame gathers light from: by the shutter, by their number, or all from a moment on.
//!
//! ## Decisions
//!
//! - Where a number of stills is asked for, `"brightest"` and `"darkest"` take those up to the one whose turn it is, and
//!   fewer while there are fewer: a trail grows into the clip and shows nothing of what is to come. `"median"` takes
//!   those around the one whose turn it is, moved inwards at both ends: a median of few stills would show who passes by.
//! - By the order of the shoot, whichever way the pace runs: a position shows the same stills on the way back.
//! - Each still counts once, however long it is shown or held in others' places, and however little of it a shutter
//!   covers.
//! - Nothing is gathered across a break: a growing one begins anew behind it.
//! - Frames through the very same window share their stills, so that a still is painted once for many frames. Where the
//!   window moves each frame paints all of its stills, [`MOST_MOVING`] at the most: that is said, and beyond it refused.
//! - All samples of a median are held while it is counted, in at most 1 GiB ([`sample::MEDIAN_BYTES`]), which says how
//!   many stills a frame of its size may have.

use std::ops::Range;

use super::axis::{Axis, OnAxis};
use super::blend::Span;
use super::due::{Gathers, Laid, Over, Sheet};
use super::framing::{Asks, Clip};
use super::resolved::Seen;
use super::words::{self, Ranges};
use crate::curve::pace::PacePoint;
use crate::diag::{Diagnostic, Diagnostics, Placed};
use crate::geom::Window;
use crate::plan::{Corrections, DeliveryPlan, GatherList, Gathered, Layers, Row, Stood};
use crate::sample;
use crate::shot::{Delivery, Gather, GatherOver, Gathering, Moment, Shot};
use crate::units::ShootPosition;

/// The most stills of a frame whose window moves: each of them is decoded and painted for that frame alone.
const MOST_MOVING: usize = 256;

/// How far the windows of two frames may differ by rounding, in pixels and degrees.
const ROUNDING: f64 = 1e-9;

/// The most stills of all frames of a delivery together: each is a line of what its plan holds.
const MOST_IN_ALL: usize = 100_000_000;

/// What each delivery gathers, none where it gathers nothing; what cannot be had is a mistake in `found`.
pub(super) fn resolve(shot: &Shot, clip: &Clip<'_>, found: &mut Diagnostics) -> Vec<Option<Gathers>> {
    let one = |delivery: &Delivery| {
        let Placed { value, place } = delivery.gather.as_ref()?;
        of(shot, delivery, value, clip).map_err(|mistake| found.push(mistake.at(place).word("gather"))).ok()
    };
    shot.deliveries.iter().map(one).collect()
}

fn of(shot: &Shot, delivery: &Delivery, gathering: &Gathering, clip: &Clip<'_>) -> Result<Gathers, Diagnostic> {
    let (by, axis, name) = (gathering.by, clip.moments.axis, &delivery.name);
    let word = by.keyword();
    if clip.pace.lead() > 0.0 {
        let message = format!("gather = {word:?} does not go with a loop whose join is mixed, in '{name}'");
        return Err(Diagnostic::mistake(message).help(
            "write gather = \"mean\", or leave loop out; a pace that comes back to where it began loops without a mix",
        ));
    }
    let over = match &gathering.over {
        GatherOver::Shutter => Over::Shutter,
        GatherOver::Stills(stills) => {
            let (stills, all) = (*stills as usize, axis.places.len());
            if stills > all {
                let message = format!("'{name}' gathers {stills} stills, and {} are used", words::count(all, "still"));
                let grow = if by == Gather::Median {
                    String::new()
                } else {
                    format!(", or {{ {word:?}, grow = true }} takes all there are")
                };
                return Err(Diagnostic::mistake(message).help(format!("stills = {all} at most{grow}")));
            }
            Over::Stills(stills)
        }
        GatherOver::Grown(None) => Over::Grown(0),
        GatherOver::Grown(Some(moment)) => {
            let position = match moment {
                Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => {
                    clip.moments.position(moment)?
                }
                _ => clip.pace.position(clip.time(shot, delivery, moment, Asks::Gather)?),
            };
            Over::Grown(ShootPosition(position).whole().min(axis.places.len() - 1))
        }
    };
    Ok(Gathers { by, over })
}

/// The places of the axis that a frame gathers, and the break that keeps it from more, if one does, by its place among
/// those of the axis.
pub(super) fn places(
    gathers: Gathers,
    sheet: &Sheet<'_>,
    stand: PacePoint,
    span: &Span,
) -> (Range<usize>, Option<usize>) {
    let axis = sheet.axis;
    let due = stand.whole().min(axis.places.len() - 1);
    let side = axis.side_of(due);
    let break_at = |place: usize| axis.breaks.iter().position(|one| one.place == place);
    match gathers.over {
        Over::Shutter => (span.covers(&side), span.kept_from(axis)),
        Over::Grown(from) if due < from => (due..due + 1, None),
        Over::Grown(from) => {
            let kept = if from < side.start { break_at(side.start) } else { None };
            (from.max(side.start)..due + 1, kept)
        }
        Over::Stills(stills) if gathers.by == Gather::Median => {
            let start = around(due, stills, 0..axis.places.len());
            let own = around(due, stills, side.clone());
            let kept = if start.start < side.start { break_at(side.start) } else { break_at(side.end) };
            (own.clone(), kept.filter(|_| own != start))
        }
        Over::Stills(stills) => {
            let first = (due + 1).saturating_sub(stills);
            let kept = if first < side.start { break_at(side.start) } else { None };
            (first.max(side.start)..due + 1, kept)
        }
    }
}

/// So many places around one, moved inside a stretch of them; all of it where it has no more.
fn around(place: usize, stills: usize, within: Range<usize>) -> Range<usize> {
    let stills = stills.min(within.len());
    let start = place.saturating_sub(stills / 2).clamp(within.start, within.end - stills);
    start..start + stills
}

/// The rows of frames that gather light, and the lists that they gather from.
pub(super) fn rows(
    laid: Vec<Laid>,
    by: Gather,
    axis: &Axis,
    corrections: &mut Corrections<'_>,
) -> (Vec<Row>, Vec<GatherList>) {
    let (mut rows, mut lists) = (Vec::with_capacity(laid.len()), Vec::new());
    for run in laid.chunk_by(|(_, one), (_, other)| same(*one, *other)) {
        let window = run[0].1;
        let gathered = || run.iter().filter_map(|(due, _)| due.gather.clone());
        let from = gathered().map(|places| places.start).min().unwrap_or(0);
        let to = gathered().map(|places| places.end).max().unwrap_or(from);
        let (stills, at) = each_once(&axis.places[from..to]);
        let list = if stills.is_empty() { None } else { Some(corrections.list(&stills, window)) };
        let before = rows.len();
        for (due, _) in run {
            let part = due.gather.as_ref().map(|places| at[places.start - from]..at[places.end - 1 - from] + 1);
            let several = list.as_ref().zip(part).filter(|(_, part)| part.len() > 1);
            let layers = match several {
                Some((list, part)) => {
                    let turn = axis.place_of(due.place.slot).clamp(from, to - 1);
                    let turn = at[turn - from].clamp(part.start, part.end - 1);
                    Layers::Gathered(Gathered { by, list: list.clone(), number: lists.len(), part, turn })
                }
                None => Layers::One(corrections.layer(due.place.shown, due.place.stand_in, window)),
            };
            let super::axis::OnAxis { slot, shown, stand_in } = due.place;
            rows.push(Row { position: due.position, slot, shown, stand_in, window, layers });
        }
        if rows[before..].iter().any(|row| row.layers.gathered().is_some()) {
            lists.extend(list);
        }
    }
    (rows, lists)
}

/// Whether two windows are one that rests: what lies between two keys of the same view differs by rounding.
fn same(one: Window, other: Window) -> bool {
    let sides = |window: Window| [window.x, window.y, window.width, window.height, window.roll];
    sides(one).iter().zip(sides(other)).all(|(one, other)| (one - other).abs() < ROUNDING)
}

/// The stills that stand in places, each once, and for every place which of them it shows.
fn each_once(places: &[OnAxis]) -> (Vec<Stood>, Vec<usize>) {
    let (mut stills, mut at): (Vec<Stood>, Vec<usize>) = (Vec::new(), Vec::with_capacity(places.len()));
    for place in places {
        if stills.last().is_none_or(|(slot, _)| *slot != place.shown) {
            stills.push((place.shown, place.stand_in));
        }
        at.push(stills.len() - 1);
    }
    (stills, at)
}

/// Refuses frames that laid out would gather more than can be made.
pub(super) fn few_enough(shot: &Shot, laid: &[Vec<Laid>], gathers: &[Option<Gathers>], found: &mut Diagnostics) {
    for ((delivery, laid), gathers) in shot.deliveries.iter().zip(laid).zip(gathers) {
        let (Some(gathers), Some(said)) = (gathers, &delivery.gather) else { continue };
        if let Err(mistake) = few(delivery, laid, gathers.by) {
            found.push(mistake.at(&said.place).word("gather"));
        }
    }
}

fn few(delivery: &Delivery, laid: &[Laid], by: Gather) -> Result<(), Diagnostic> {
    let (name, word) = (&delivery.name, by.keyword());
    let of = |laid: &Laid| laid.0.gather.as_ref().map_or(1, Range::len);
    let most = laid.iter().map(of).max().unwrap_or(1);
    if by == Gather::Median {
        let held = sample::most_in_a_median(delivery.frame, &delivery.codec);
        if most > held {
            let message = format!(
                "'{name}' takes the median of {most} stills; of frames of {} at most {held} are held at once, in 1 GiB",
                delivery.frame
            );
            return Err(Diagnostic::mistake(message).help(format!("write gather = {{ \"median\", stills = {held} }}")));
        }
    }
    let moves = moving(laid);
    let (mut frames, mut most_moving) = (Ranges::default(), 0);
    for (frame, laid) in laid.iter().enumerate().filter(|(frame, laid)| moves[*frame] && of(laid) > MOST_MOVING) {
        frames.add(frame);
        most_moving = most_moving.max(of(laid));
    }
    if !frames.is_empty() {
        let message = format!(
            "'{name}' gathers up to {most_moving} stills a frame under a window that moves, and each frame paints all of its \
             own: {MOST_MOVING} are taken at most; {}",
            frames.frames()
        );
        return Err(Diagnostic::mistake(message)
            .over(name, frames.runs())
            .help(format!("write gather = {{ {word:?}, stills = {MOST_MOVING} }}, or a framing that rests there")));
    }
    let all: usize = laid.iter().map(of).sum();
    if all > MOST_IN_ALL {
        let message = format!("the frames of '{name}' gather {all} stills in all; at most {MOST_IN_ALL} are planned");
        return Err(Diagnostic::mistake(message).help("fewer stills a frame, a faster pace, or a shorter clip"));
    }
    Ok(())
}

/// For every frame, whether it gathers through a window that neither the frame before nor the next one has.
fn moving(laid: &[Laid]) -> Vec<bool> {
    let same = |one: usize, other: Option<usize>| {
        let other = other.and_then(|other| laid.get(other));
        other.is_some_and(|other| self::same(other.1, laid[one].1) && other.0.gather.is_some())
    };
    let gathers = |frame: usize| laid[frame].0.gather.as_ref().is_some_and(|places| places.len() > 1);
    let alone = |frame: usize| !same(frame, frame.checked_sub(1)) && !same(frame, Some(frame + 1));
    (0..laid.len()).map(|frame| laid.len() > 1 && gathers(frame) && alone(frame)).collect()
}

/// What gathering under a moving window costs.
pub(super) fn remarks(seen: &Seen<'_>) -> Vec<Diagnostic> {
    let one = |(delivery, plan): (&Delivery, &DeliveryPlan)| {
        let said = delivery.gather.as_ref()?;
        let rows = &plan.rows;
        let list = |frame: Option<usize>| Some(rows.get(frame?)?.layers.gathered()?.number);
        let (mut frames, mut paintings) = (Ranges::default(), 0);
        for (frame, row) in rows.iter().enumerate() {
            let Some(gathered) = row.layers.gathered() else { continue };
            let own = Some(gathered.number);
            if list(frame.checked_sub(1)) != own && list(Some(frame + 1)) != own && rows.len() > 1 {
                frames.add(frame);
                paintings += gathered.part.len();
            }
        }
        if frames.is_empty() {
            return None;
        }
        let message = format!(
            "'{}' gathers light under a window that moves: {} paint {paintings} stills, {} each, where a resting window \
             paints a still once for many; {}",
            plan.name,
            words::count(frames.len(), "frame"),
            words::figure((paintings as f64 / frames.len() as f64).round()),
            frames.frames()
        );
        let remark = Diagnostic::remark(message).at(&said.place).word("gather").over(&plan.name, frames.runs());
        Some(remark.help("a framing that rests, or fewer stills, is quicker"))
    };
    seen.shot.deliveries.iter().zip(&seen.made.plan.deliveries).filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SlotIndex;

    #[test]
    fn a_median_has_as_many_stills_at_both_ends_as_in_the_middle() {
        assert_eq!([0, 1, 2, 5, 8, 9].map(|at| around(at, 5, 0..10)), [0..5, 0..5, 0..5, 3..8, 5..10, 5..10]);
        assert_eq!(around(4, 4, 0..10), 2..6);
        assert_eq!(around(6, 5, 6..9), 6..9, "a side that has fewer");
    }

    #[test]
    fn a_still_that_is_held_counts_once() {
        let place =
            |slot: usize, shown: usize| OnAxis { slot: SlotIndex(slot), shown: SlotIndex(shown), stand_in: None };
        let (stills, at) = each_once(&[place(4, 4), place(5, 4), place(6, 6), place(7, 7)]);
        assert_eq!(stills.iter().map(|still| still.0.0).collect::<Vec<_>>(), [4, 6, 7]);
        assert_eq!(at, [0, 0, 1, 2]);
    }
}

//! Loops: a clip whose last frame runs into its first.
//!
//! What a loop shows goes round: a *lap* is a delivery's frames, and after the last of them comes the first. Two things
//! close it. *Keys* come round again a lap earlier and a lap later, so that the way from the last leads to the first,
//! shaped by the first one's ease and passed at the speed of any other way. *Stills* are mixed: the pace is led in,
//! which is to say that it has been running for as long as the mix lasts when the clip begins, and over that long at
//! the clip's end the stills give way to those of a lap earlier, which lead to the first frame. A pace that comes back
//! by itself to where it began is closed as it is.
//!
//! ## Decisions
//!
//! - A loop lasts as long as its script says (`over`, `fit`, `length`), or by the mix less than its pace would: the
//!   pace has run for the mix's length when the clip begins, on screen at the rate of its first key. So `still(1)` is
//!   seen only mixed, and a key in the lead is refused.
//! - A lap is a delivery's own whole number of frames. `"end"` is one past the last, where the first comes again; a key
//!   there must show what the first key shows.
//! - No frame mixes three laps: the mix is at most as long as the clip and at least two frames.
//! - The way back runs from the last key to the first one's next coming, with the first one's ease, or that of a key at
//!   the end. Holds may run over the join. A drawing must end where it begins. Bends are made over three laps, of which
//!   the middle one is taken.
//! - A pace that ends where it began (by `reverse`, within a millionth of a still) is neither led in nor mixed.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::curve::pace::PaceMap;
use crate::curve::track::SLACK;
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Window;
use crate::plan::Share;
use crate::shot::{FramingKey, Pace, Path, Shot};
use crate::units::{ScreenTime, SlotIndex};

use super::axis::OnAxis;
use super::route::Waypoint;
use super::words;

/// How near, in pixels, the edges of two windows are where one closes what the other began.
const SAME: f64 = 1e-6;

/// How near, in stills, a pace comes to where it began where it closes by itself.
const CLOSED: f64 = 1e-6;

/// The fewest frames of a mix: with one alone nothing would be mixed half and half.
const FEWEST: f64 = 2.0;

/// Whether a pace comes back by itself to where it began, at the end of its clip.
pub(super) fn closes(pace: &PaceMap, shot: &Shot) -> bool {
    let end = shot.length.as_ref().map_or(pace.length(), |limit| limit.value.min(pace.length()));
    (pace.position(end) - pace.position(0.0)).abs() < CLOSED
}

/// Whether a loop of this length can be had; a mistake in `found` where it cannot.
pub(super) fn check(shot: &Shot, pace: &PaceMap, length: ScreenTime, found: &mut Diagnostics) -> bool {
    let Some(looped) = &shot.looped else { return true };
    let mut refuse = |message: String, help: String| {
        found.push(Diagnostic::mistake(message).at(&looped.place).word("loop").help(help));
        false
    };
    let mix = pace.lead();
    if mix == 0.0 {
        let Some(one) = shot.deliveries.iter().find(|delivery| delivery.fps.frames_in(length) < 2) else { return true };
        let message = format!("a loop needs at least two frames, and '{}' has one", one.name);
        return refuse(message, "a slower pace, a higher fps, or no loop".into());
    }
    let mut least = 0.0_f64;
    for delivery in &shot.deliveries {
        least = least.max(FEWEST / delivery.fps.per_second());
        if mix < least - SLACK {
            let message = format!(
                "the join is mixed for {} s, which is less than two frames of '{}'",
                words::figure(mix),
                delivery.name
            );
            return refuse(message, format!("loop = \"{}s\" at least", words::figure_above(least)));
        }
    }
    if length.0 >= mix - SLACK {
        return true;
    }
    // What a pace takes the clip is left of it once the mix has had its share.
    let free = matches!(shot.pace.value, Pace::Constant(_) | Pace::Keyed { fit: None, .. });
    let natural = if free { f64::midpoint(pace.length(), mix) } else { pace.length() };
    let most = shot.length.as_ref().map_or(natural, |limit| limit.value.min(natural));
    if most < least {
        let message = format!(
            "the shoot lasts {} s at this pace, too short for a loop: a mix takes two frames, and the clip as long again",
            words::figure(pace.length() + mix)
        );
        return refuse(message, "a slower pace, a higher fps, or no loop".into());
    }
    let message = format!(
        "the join is mixed for {} s, but the clip lasts only {} s without what is mixed into it",
        words::figure(mix),
        words::figure(length.0.max(0.0))
    );
    refuse(message, format!("loop = \"{}s\" at most, or a slower pace", words::figure_below(most)))
}

/// A key that a lap ends with: the same moment of a loop as the first, so it must show the same.
pub(super) fn check_end<'a>(
    path: &Path,
    (first, last): (&'a FramingKey, &'a FramingKey),
    windows: (Window, Window),
) -> Result<(), Diagnostic> {
    let (one, other) = windows;
    let place = match path {
        // The line says where.
        Path::Drawing(_) => 0.0,
        _ => (one.x - other.x).abs().max((one.y - other.y).abs()),
    };
    if place.max((one.width - other.width).abs()) <= SAME {
        return Ok(());
    }
    Err(Diagnostic::mistake("a loop's end is its beginning, but this key shows another window than the first one")
        .at(&last.place)
        .with(&first.place, "the first key")
        .help("the first key's window here too; or leave this key out, or earlier: the way back to the first is then added"))
}

/// What goes round, a lap earlier, in its own lap, and a lap later. `last` is the key that the first stand of a lap is
/// reached by, where that is not its own.
pub(super) fn unrolled(stands: &[Waypoint], last: Option<&FramingKey>, lap: f64) -> Vec<Waypoint> {
    let mut round = Vec::with_capacity(3 * stands.len());
    for later in [-lap, 0.0, lap] {
        round.extend(stands.iter().map(|stand| Waypoint { at: stand.at + later, ..stand.clone() }));
    }
    if let (Some(last), Some(stand)) = (last, round.get_mut(2 * stands.len())) {
        stand.key = Arc::new(last.clone());
    }
    round
}

/// The stills of a frame that goes over, by so many parts of [`Share::WHOLE`], from one lap to the next. They stand in
/// the order of the shoot, or against it where that is how the next lap begins.
pub(super) fn cross(
    (place, shares): (OnAxis, Vec<Share>),
    next: (OnAxis, Vec<Share>),
    gone: u32,
    backwards: bool,
) -> (OnAxis, Vec<Share>) {
    let mut weights: BTreeMap<SlotIndex, (Option<SlotIndex>, u64)> = BTreeMap::new();
    for ((place, shares), part) in [(&(place, shares), Share::WHOLE - gone), (&next, gone)] {
        let alone = Share { shown: place.shown, stand_in: place.stand_in, weight: Share::WHOLE };
        for share in shares.iter().chain(shares.is_empty().then_some(&alone)) {
            let entry = weights.entry(share.shown).or_insert((share.stand_in, 0));
            entry.1 += u64::from(share.weight) * u64::from(part);
        }
    }
    let mut ordered: Vec<(SlotIndex, (Option<SlotIndex>, u64))> = weights.into_iter().collect();
    if backwards {
        ordered.reverse();
    }
    let (mut sum, mut before) = (0, 0);
    let mut mixed: Vec<Share> = Vec::with_capacity(ordered.len());
    for (shown, (stand_in, weight)) in ordered {
        sum += weight;
        let whole = u64::from(Share::WHOLE);
        let after = u32::try_from((sum + whole / 2) / whole).unwrap_or(Share::WHOLE);
        if after > before {
            mixed.push(Share { shown, stand_in, weight: after - before });
        }
        before = after;
    }
    match mixed.as_slice() {
        [alone] if alone.shown == place.shown => (place, Vec::new()),
        [_] => (next.0, Vec::new()),
        _ => (place, mixed),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path as FilePath;

    use super::super::due::Sheet;
    use super::super::rows::due;
    use super::super::{Known, Resolved, resolve};
    use super::*;
    use crate::curve::arc_length::Drawing;
    use crate::curve::ease::Ease;
    use crate::diag::{Place, Placed};
    use crate::geom::Margins;
    use crate::plan::{Corrections, Row};
    use crate::shoot::{Content, Format, Orientation, Settings, Shoot, Slot, Still};
    use crate::shot::{
        Between, Blend, Closeness, Codec, Delivery, Framing, Moment, PaceKey, Policy, Rate, Sharpness, Source,
        StillPoint, View,
    };
    use crate::units::Size;

    const SIZE: Size = Size { width: 4000, height: 3000 };

    fn line() -> Place {
        Place::new(FilePath::new("shot.lua"), 1)
    }

    fn shoot(stills: usize) -> Shoot {
        let slot = |number: usize| {
            let still = Still {
                path: format!("S{number:04}.JPG").into(),
                format: Format::Jpeg,
                stored: SIZE,
                orientation: Orientation::Upright,
                captured: None,
                bytes: 1,
                modified: 0,
                settings: Settings::default(),
            };
            Slot { name: format!("S{number:04}"), content: Content::Whole(still) }
        };
        let slots = (1..=stills).map(slot).collect();
        Shoot {
            slots,
            size: SIZE,
            interval: None,
            set_aside: Vec::new(),
            notes: Vec::new(),
            recording: None,
            members: Vec::new(),
        }
    }

    fn delivery(name: &str, fps: &str, blend: Blend) -> Delivery {
        Delivery {
            place: line(),
            name: name.into(),
            frame: Size::new(1920, 1080),
            fps: fps.parse().unwrap(),
            codec: Codec::PNG,
            subject_at: (0.5, 0.5),
            safe: Margins::default(),
            framing: None,
            sharpness: Sharpness::Even,
            resample: crate::shot::Light::Encoded,
            blend,
            gather: None,
            sound: None,
            timecode: None,
            stamps: Vec::new(),
            every_still: false,
            extras: crate::shot::Extras::default(),
        }
    }

    fn key(at: Moment, point: (f64, f64), zoom: f64) -> FramingKey {
        let (point, closeness) = (StillPoint::Fraction(point.0, point.1), Closeness::Zoom(zoom));
        let view = View::On { point, closeness };
        FramingKey { place: line(), at, view, ease: Ease::Linear, hold: 0.0, stop: false, roll: 0.0 }
    }

    fn looped(pace: Pace, path: Path) -> Shot {
        let along = |zoom: f64, at| FramingKey {
            view: View::Along { closeness: Closeness::Zoom(zoom) },
            ..key(at, (0.5, 0.5), 1.0)
        };
        let keys = if matches!(path, Path::Drawing(_)) {
            vec![along(3.0, Moment::Screen(0.5)), along(4.0, Moment::Screen(2.0))]
        } else {
            vec![
                key(Moment::Screen(0.5), (0.4, 0.5), 2.0),
                key(Moment::Screen(1.5), (0.6, 0.45), 3.0),
                key(Moment::Screen(2.5), (0.55, 0.6), 2.5),
            ]
        };
        let blended = Blend { shutter: 270.0, between: Between::Mix, ..Blend::default() };
        Shot {
            place: line(),
            name: String::new(),
            source: Source {
                place: line(),
                paths: vec!["stills".into()],
                interval: None,
                missing: Policy::Stop,
                damaged: Policy::Stop,
                from: None,
                to: None,
                cuts: Vec::new(),
                chosen: crate::shot::Chosen::default(),
                across: false,
                obey_orientation: true,
                pairs: crate::shot::Pairs::Stop,
                camera: None,
                recorded: false,
            },
            fps: "24".parse().unwrap(),
            pace: Placed::new(pace, line()),
            length: None,
            looped: Some(Placed::new(0.5, line())),
            framing: Framing { place: line(), keys, path },
            deliveries: vec![
                delivery("plain", "24", Blend::default()),
                delivery("blended", "24", blended),
                delivery("tv", "30000/1001", blended),
            ],
            covers: Vec::new(),
            level: None,
            steady: None,
            strict: false,
            reel: None,
        }
    }

    fn paces() -> Vec<Pace> {
        let keyed = |at, per_frame, reverse| PaceKey {
            place: line(),
            at,
            rate: Some(Rate::StillsPerFrame(per_frame)),
            freeze: None,
            ease: Ease::Linear,
            keep: false,
            reverse,
        };
        let resting = PaceKey { freeze: Some(0.75), ..keyed(Moment::Still(40), 2.0, false) };
        vec![
            Pace::Constant(Rate::StillsPerFrame(1.0)),
            Pace::Constant(Rate::FramesPerStill(2.5)),
            Pace::Over(4.1),
            Pace::Keyed {
                keys: vec![keyed(Moment::Screen(0.0), 0.5, false), keyed(Moment::Screen(2.0), 2.0, false)],
                fit: None,
            },
            Pace::Keyed {
                keys: vec![keyed(Moment::Start, 1.0, false), resting, keyed(Moment::End, 0.5, false)],
                fit: Some(Placed::new(5.0, line())),
            },
            // There and back: it closes by itself. All of it backwards: it does not.
            Pace::Keyed { keys: vec![keyed(Moment::End, 1.0, false), keyed(Moment::Start, 1.0, true)], fit: None },
            Pace::Keyed { keys: vec![keyed(Moment::Start, 1.0, true)], fit: None },
        ]
    }

    fn paths() -> Vec<Path> {
        let drawing = Drawing::parse("M 0.4 0.4 L 0.6 0.4 C 0.7 0.5 0.6 0.6 0.5 0.6 Z").unwrap();
        vec![Path::Straight, Path::Smooth, Path::Flight { rho: 1.4 }, Path::Drawing(drawing)]
    }

    /// Every delivery's rows, with the row one past the last.
    fn rounds(shot: &Shot, stills: usize) -> Vec<Vec<Row>> {
        let shoot = shoot(stills);
        let made = resolve(shot, &shoot, Known::default()).unwrap_or_else(|refused| panic!("{refused:?}"));
        let Resolved { plan, axis, bounds, pace, length, tracks, .. } = made;
        let each = shot.deliveries.iter().zip(&tracks).zip(plan.deliveries);
        let round = each.map(|((delivery, track), plan)| {
            let (axis, pace) = (&axis, &pace);
            let sheet =
                Sheet { delivery, track, pace, axis, bounds, length, strict: false, looped: true, gathers: None };
            let lap = delivery.fps.frames_in(length);
            assert_eq!(lap, plan.rows.len() as u64);
            let keyed = track.keyed().unwrap();
            let window = keyed.window(&keyed.spot(delivery.fps.time_of(lap).0));
            let beyond =
                due(&sheet, i64::try_from(lap).unwrap(), pace.turns()).row(window, &mut Corrections::default());
            [plan.rows, vec![beyond]].concat()
        });
        round.collect()
    }

    fn edges(window: Window) -> [f64; 4] {
        [window.x, window.y, window.right(), window.bottom()]
    }

    /// By how many pixels the fastest edge moves from each row to the next.
    fn steps(rows: &[Row]) -> Vec<f64> {
        let moved = |pair: &[Row]| {
            let (before, after) = (edges(pair[0].window), edges(pair[1].window));
            before.iter().zip(after).map(|(before, after)| (after - before).abs()).fold(0.0, f64::max)
        };
        rows.windows(2).map(moved).collect()
    }

    #[test]
    fn one_past_the_last_frame_shows_what_the_first_does() {
        for (pace, path) in
            paces().into_iter().flat_map(|pace| paths().into_iter().map(move |path| (pace.clone(), path)))
        {
            let shot = looped(pace, path);
            for rows in rounds(&shot, 96) {
                let (first, beyond) = (&rows[0], &rows[rows.len() - 1]);
                let apart =
                    edges(first.window).into_iter().zip(edges(beyond.window)).map(|(one, other)| (one - other).abs());
                assert!(apart.fold(0.0, f64::max) < 1e-6, "{first:?} {beyond:?}");
                assert_eq!(
                    first.shares().collect::<Vec<_>>(),
                    beyond.shares().collect::<Vec<_>>(),
                    "{:?}",
                    shot.pace.value
                );
            }
        }
    }

    #[test]
    fn windows_cross_the_join_at_their_own_speed() {
        for path in paths() {
            let smooth = matches!(path, Path::Smooth);
            let mut shot = looped(Pace::Over(4.0), path);
            // A key at the join itself, and the join in the middle of a way.
            for at in [0.0, 0.5] {
                shot.framing.keys[0].at = Moment::Screen(at);
                for rows in rounds(&shot, 96) {
                    let steps = steps(&rows);
                    let (across, inside) = (steps[steps.len() - 1], &steps[..steps.len() - 1]);
                    let most = inside.iter().copied().fold(0.0, f64::max);
                    assert!(across <= most * 1.001 && across > 0.0, "{across} across the join, {most} elsewhere");
                    if smooth {
                        let change = |pair: &[f64]| (pair[1] - pair[0]).abs();
                        let most = inside.windows(2).map(change).fold(0.0, f64::max);
                        let join = change(&[across, steps[0]]);
                        assert!(join <= most * 1.001, "the speed changes by {join} at the join, by {most} elsewhere");
                    }
                }
            }
        }
    }

    #[test]
    fn a_bent_path_is_bent_across_the_join_too() {
        // Flat out along the left and the upper edge, with the curve outside between the keys, one of them at the join.
        let mut shot = looped(Pace::Over(4.0), Path::Smooth);
        shot.framing.keys = vec![
            key(Moment::Screen(0.2), (0.13, 0.3), 4.0),
            key(Moment::Screen(1.2), (0.5, 0.8), 4.0),
            key(Moment::Screen(2.4), (0.6, 0.5), 4.0),
            key(Moment::Screen(3.8), (0.13, 0.62), 4.0),
        ];
        let shoot = shoot(96);
        let plan = resolve(&shot, &shoot, Known::default()).unwrap().plan;
        assert!(plan.remarks.0.iter().any(|remark| remark.message.contains("its path is bent")), "{:?}", plan.remarks);
        let rows = &plan.deliveries[0].rows;
        let outside = |rows: &[Row]| rows.iter().filter(|row| row.window.x < 1.0).count();
        assert!(outside(&rows[..3]) > 0 || outside(&rows[rows.len() - 3..]) > 0, "the bend is nowhere near the join");
        let round = [&rows[..], &rows[..3]].concat();
        let acceleration = |three: &[Row]| {
            let [one, two, three] = [0, 1, 2].map(|row: usize| edges(three[row].window));
            (0..4).map(|edge| (one[edge] - 2.0 * two[edge] + three[edge]).abs()).fold(0.0, f64::max)
        };
        let all: Vec<f64> = round.windows(3).map(acceleration).collect();
        let most = all[..rows.len() - 2].iter().copied().fold(0.0, f64::max);
        let join = all[rows.len() - 2..].iter().copied().fold(0.0, f64::max);
        assert!(join <= most * 1.01 + 0.02, "{join} px a frame a frame at the join, {most} elsewhere");
    }

    #[test]
    fn crossing_over_gives_every_still_its_part() {
        let place = |slot: usize| OnAxis { slot: SlotIndex(slot), shown: SlotIndex(slot), stand_in: None };
        let share = |slot, weight| Share { shown: SlotIndex(slot), stand_in: None, weight };
        let crossed = |gone, backwards| {
            let (one, next) = ((place(9), vec![]), (place(1), vec![share(1, 16_384), share(2, 49_152)]));
            let (place, shares) = cross(one, next, gone, backwards);
            (place.slot.0, shares.iter().map(|share| (share.shown.0, share.weight)).collect::<Vec<_>>())
        };
        assert_eq!(crossed(0, false), (9, vec![]));
        assert_eq!(crossed(32_768, false), (9, vec![(1, 8192), (2, 24_576), (9, 32_768)]));
        assert_eq!(crossed(32_768, true).1, [(9, 32_768), (2, 24_576), (1, 8192)]);
        assert_eq!(crossed(Share::WHOLE, false).1, [(1, 16_384), (2, 49_152)]);
        assert_eq!(cross((place(4), vec![]), (place(4), vec![]), 20_000, false), (place(4), vec![]));
        assert_eq!(cross((place(4), vec![]), (place(5), vec![]), Share::WHOLE, false), (place(5), vec![]));
    }
}

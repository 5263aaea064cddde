//! Shot and shoot to plan: the last place where anything is decided.
//!
//! In: what the script said, and the catalogue of stills. Out: for every frame of every delivery, the window and the still.
//! The order of the parts is the order of the questions: which slots take room on the shoot's axis (`axis`), where the
//! script's moments lie on it (`moments`), how fast it runs (`pace`), which windows the keys mean (`views`) and when
//! (`framing`), what lies between them (`route`) or keeps up with a subject (`follow`), and what every frame comes to (`rows`),
//! of which stills (`blend`), with what a person should know about it (`remarks`). What is hidden in the stills (`covers`) goes by
//! the axis and by where stills stand (`steady`), which also says what windows keep to; what is heard (`sound`) goes by the pace. A
//! loop is closed by what stands in `lap`.

mod axis;
mod blend;
mod covers;
mod explain;
mod follow;
mod framing;
mod keys;
mod lap;
mod level;
mod moments;
mod pace;
mod remarks;
mod route;
mod rows;
mod sound;
mod steady;
mod subjects;
mod tables;
mod views;
mod words;

use std::borrow::Cow;
use std::sync::Arc;

use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::{Covering, DeliveryPlan, Plan, Reasons, Tally};
use crate::register::Stand;
use crate::shoot::Shoot;
use crate::shot::{Delivery, Shot};
use crate::units::ScreenTime;

pub use explain::When;
pub use keys::keys;
pub use level::{LevelFrom, flicker_of, level};
pub use steady::{stands_measured, stands_of};
pub use subjects::subjects;

/// The most frames of a shot, over all its deliveries: each is a row in memory, and ten million take a gigabyte. It is a
/// day at 115 frames a second.
pub const MOST_FRAMES: u64 = 10_000_000;

/// Resolves a shot over a shoot, as if no still of it had moved against the first.
///
/// # Errors
/// Every mistake found, with remarks among them.
pub fn resolve(shot: &Shot, shoot: &Shoot) -> Result<Plan, Diagnostics> {
    resolve_steadied(shot, shoot, None)
}

/// Resolves a shot over a shoot whose stills stand so, by slot, where that is known: a shot that asks for it is steadied.
///
/// # Errors
/// Every mistake found, with remarks among them.
pub fn resolve_steadied(shot: &Shot, shoot: &Shoot, stands: Option<&[Option<Stand>]>) -> Result<Plan, Diagnostics> {
    look_at_resolved(shot, shoot, stands, |_, _| ()).map(|(plan, ())| plan)
}

/// Says what decided one frame of a delivery: one of `shot`'s, by its place among them.
///
/// # Errors
/// As [`resolve`]; or a frame or moment that the delivery does not have.
pub fn explain(shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<Reasons, Diagnostics> {
    explain_steadied(shot, shoot, None, delivery, when)
}

/// As [`explain()`], over a shoot whose stills stand as for [`resolve_steadied`].
///
/// # Errors
/// As [`explain()`].
pub fn explain_steadied(
    shot: &Shot,
    shoot: &Shoot,
    stands: Option<&[Option<Stand>]>,
    delivery: usize,
    when: &When,
) -> Result<Reasons, Diagnostics> {
    let (plan, reasons) = look_at_resolved(shot, shoot, stands, |seen, moments| explain::explain(seen, moments, delivery, when))?;
    let mut reasons = reasons?;
    reasons.remarks = explain::remarks_on(&reasons, &plan.remarks);
    Ok(reasons)
}

/// Resolves, and lets `look` see all that the plan is made of.
fn look_at_resolved<T>(
    shot: &Shot,
    shoot: &Shoot,
    stands: Option<&[Option<Stand>]>,
    look: impl FnOnce(&remarks::Seen<'_>, &moments::Moments<'_>) -> T,
) -> Result<(Plan, T), Diagnostics> {
    let mut found = Diagnostics::default();
    let shot = &with_full_frames(shot, shoot);
    let times = moments::Times::of(shot, shoot, &mut found);
    let axis = match axis::Axis::lay_out(shot, shoot, &times, &mut found) {
        Ok(axis) => axis,
        Err(empty) => {
            found.extend(empty);
            return Err(found);
        }
    };
    let moments = moments::Moments { shoot, axis: &axis, times: &times };
    let pace = pace::resolve(shot, &moments, &mut found);
    let steady = steady::resolve(shot, shoot, &axis, stands, &mut found);
    let bounds = steady::Bounds::of(shoot.size, steady.as_ref());
    let covers = covers::resolve(shot, &moments, steady.as_ref(), &mut found);
    let views = views::resolve(shot, bounds, &mut found);
    let timed = pace.and_then(|pace| length(shot, &pace, &mut found).map(|length| (pace, length)));
    let timed = timed.filter(|(_, length)| few_enough(shot, axis.places.len(), *length, &mut found));
    let timed = timed.filter(|(pace, length)| lap::check(shot, pace, *length, &mut found));
    let Some((pace, length)) = timed else {
        framing::check_moments(shot, &moments, &mut found);
        return Err(found);
    };
    let tracks = framing::tracks(shot, &moments, &views, bounds, (&pace, length), &mut found);
    if found.refused() {
        return Err(found);
    }
    let mut deliveries = rows_of_all(shot, bounds, &axis, (&pace, length), &tracks, &mut found);
    if found.refused() {
        return Err(found);
    }
    let shared: Arc<[Covering]> = covers.clone().into();
    let steadying = steady.clone().map(Arc::new);
    for plan in &mut deliveries {
        plan.covers = Arc::clone(&shared);
        plan.steady.clone_from(&steadying);
    }
    sound::resolve(shot, &moments, &pace, length, &mut deliveries, &mut found);
    let (tracks, deliveries_seen) = (&tracks[..], &deliveries[..]);
    let seen = remarks::Seen {
        shot,
        shoot,
        axis: &axis,
        bounds,
        pace: &pace,
        length,
        tracks,
        deliveries: deliveries_seen,
        covers: &covers,
    };
    remarks::of_rows(&seen, &mut found);
    covers::remark(&seen, &mut found);
    let looked = look(&seen, &moments);
    let fates = axis.fates(shoot, &deliveries);
    let tally = Tally::of(&fates, shoot);
    let (shot_name, level) = (shot.name.clone(), None);
    let plan = Plan { shot: shot_name, length: length.0, deliveries, level, steady, covers, tally, fates, remarks: found };
    Ok((plan, looked))
}

/// The shot with the frames of its masters, which are the stills' own.
fn with_full_frames<'a>(shot: &'a Shot, shoot: &Shoot) -> Cow<'a, Shot> {
    let mut shot = Cow::Borrowed(shot);
    if shot.deliveries.iter().any(|delivery| delivery.every_still) {
        for delivery in shot.to_mut().deliveries.iter_mut().filter(|delivery| delivery.every_still) {
            delivery.frame = shoot.size;
        }
    }
    shot
}

/// The rows of every delivery, side by side: bending a long path takes a while.
fn rows_of_all(
    shot: &Shot,
    bounds: steady::Bounds,
    axis: &axis::Axis,
    (pace, length): (&crate::curve::pace::PaceMap, ScreenTime),
    tracks: &[Option<framing::Framed<'_>>],
    found: &mut Diagnostics,
) -> Vec<DeliveryPlan> {
    let sheets = shot.deliveries.iter().zip(tracks).filter_map(|(delivery, track)| {
        let track = track.as_ref()?;
        Some(rows::Sheet { delivery, track, pace, axis, bounds, length, strict: shot.strict, looped: shot.looped.is_some() })
    });
    std::thread::scope(|scope| {
        let laying: Vec<_> = sheets
            .map(|sheet| {
                scope.spawn(move || {
                    let mut said = Diagnostics::default();
                    (rows::lay_out(&sheet, &mut said), said)
                })
            })
            .collect();
        let laid = laying.into_iter().map(|one| one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        laid.map(|(plan, said)| {
            found.extend(said);
            plan
        })
        .collect()
    })
}

/// How long the clip is: until the shoot ends, or as long as the shot says where that is sooner.
fn length(shot: &Shot, pace: &crate::curve::pace::PaceMap, found: &mut Diagnostics) -> Option<ScreenTime> {
    let natural = pace.length();
    let (length, place) = match &shot.length {
        None => (natural, &shot.pace.place),
        Some(limit) if limit.value.is_nan() || limit.value <= 0.0 => {
            found.push(
                Diagnostic::mistake(format!("a length must be above 0 s; seen {}", words::figure(limit.value)))
                    .at(&limit.place)
                    .word("length"),
            );
            return None;
        }
        Some(limit) if limit.value > natural * (1.0 + 1e-9) => {
            found.push(
                Diagnostic::mistake(format!(
                    "the shoot ends after {} s at this pace, but the length asks for {} s",
                    words::figure(natural),
                    words::figure(limit.value)
                ))
                .at(&limit.place)
                .word("length")
                .with(&shot.pace.place, "the pace")
                .help(format!("pace = over \"{}s\" makes the whole shoot last that long", words::figure(limit.value)))
                .help(format!("or length = \"{}s\" at most", words::figure_below(natural)))
                .help("or a freeze fills it: pace { …, key { at = \"end\", freeze = \"4s\" } } rests on the last still"),
            );
            return None;
        }
        Some(limit) => (limit.value.min(natural), &limit.place),
    };
    if length > ScreenTime::LONGEST.0 {
        found.push(
            Diagnostic::mistake(format!(
                "a clip lasts at most a day ({} s); this pace makes {} s",
                ScreenTime::LONGEST.0,
                words::figure(length)
            ))
            .at(place)
            .help("a faster rate, or pace = over \"60s\""),
        );
        return None;
    }
    Some(ScreenTime(length))
}

/// Whether the rows fit in memory; a mistake in `found` where they are too many.
fn few_enough(shot: &Shot, stills: usize, length: ScreenTime, found: &mut Diagnostics) -> bool {
    let frames = |delivery: &Delivery| if delivery.every_still { stills as u64 } else { delivery.fps.frames_in(length) };
    let frames: u64 = shot.deliveries.iter().map(frames).sum();
    if frames > MOST_FRAMES {
        let place = shot.length.as_ref().map_or(&shot.pace.place, |limit| &limit.place);
        found.push(
            Diagnostic::mistake(format!("the deliveries come to {frames} frames; at most {MOST_FRAMES} are planned"))
                .at(place)
                .help("a faster pace, a lower fps, or fewer deliveries"),
        );
    }
    frames <= MOST_FRAMES
}

//! Shot and shoot to plan: the last place where anything is decided.
//!
//! In: what the script said, and the catalogue of stills. Out: for every frame of every delivery, the window and the still.
//! The order of the parts is the order of the questions: which slots take room on the shoot's axis (`axis`), where the
//! script's moments lie on it (`moments`), how fast it runs (`pace`), which windows the keys mean (`views`) and when
//! (`framing`), and what every frame comes to (`rows`), with what a person should know about it (`remarks`).

mod axis;
mod framing;
mod moments;
mod pace;
mod remarks;
mod rows;
mod views;
mod words;

use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::Plan;
use crate::shoot::Shoot;
use crate::shot::Shot;
use crate::units::ScreenTime;

/// The most frames of a shot, over all its deliveries: each is a row in memory, and ten million take most of a gigabyte. It is a
/// day at 115 frames a second.
pub const MOST_FRAMES: u64 = 10_000_000;

/// Resolves a shot over a shoot.
///
/// # Errors
/// Every mistake found, with remarks among them.
pub fn resolve(shot: &Shot, shoot: &Shoot) -> Result<Plan, Diagnostics> {
    let mut found = Diagnostics::default();
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
    let views = views::resolve(shot, shoot.size, &mut found);
    let timed = pace.and_then(|pace| length(shot, &pace, &mut found).map(|length| (pace, length)));
    let timed = timed.filter(|(_, length)| few_enough(shot, *length, &mut found));
    let Some((pace, length)) = timed else {
        framing::check_moments(shot, &moments, &mut found);
        return Err(found);
    };
    let tracks = framing::tracks(shot, &moments, &views, &pace, length, &mut found);
    if found.refused() {
        return Err(found);
    }
    let mut deliveries = Vec::with_capacity(shot.deliveries.len());
    for (delivery, track) in shot.deliveries.iter().zip(&tracks) {
        let Some(track) = track else { continue };
        deliveries.push(rows::lay_out(
            &rows::Sheet { delivery, track, pace: &pace, axis: &axis, still: shoot.size, length },
            &mut found,
        ));
    }
    if found.refused() {
        return Err(found);
    }
    remarks::of_rows(
        &remarks::Seen { shot, shoot, axis: &axis, pace: &pace, length, tracks: &tracks, deliveries: &deliveries },
        &mut found,
    );
    let tally = axis.tally(shoot, &deliveries);
    Ok(Plan { shot: shot.name.clone(), length: length.0, deliveries, tally, remarks: found })
}

/// How long the clip is: until the shoot ends, or as long as the shot says where that is sooner.
fn length(shot: &Shot, pace: &crate::curve::pace::PaceMap, found: &mut Diagnostics) -> Option<ScreenTime> {
    let natural = pace.length();
    let (length, place) = match &shot.length {
        None => (natural, &shot.pace.place),
        Some(limit) if limit.value.is_nan() || limit.value <= 0.0 => {
            found.push(
                Diagnostic::mistake(format!("a length lies above 0 s; seen {}", words::figure(limit.value)))
                    .at(&limit.place)
                    .word("length"),
            );
            return None;
        }
        Some(limit) if limit.value > natural * (1.0 + 1e-9) => {
            found.push(
                Diagnostic::mistake(format!(
                    "the shoot ends after {} s at this pace, and the length asks for {} s",
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
                "a clip lasts a day ({} s) at most; this pace makes {} s",
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
fn few_enough(shot: &Shot, length: ScreenTime, found: &mut Diagnostics) -> bool {
    let frames: u64 = shot.deliveries.iter().map(|delivery| delivery.fps.frames_in(length)).sum();
    if frames > MOST_FRAMES {
        let place = shot.length.as_ref().map_or(&shot.pace.place, |limit| &limit.place);
        found.push(
            Diagnostic::mistake(format!("the deliveries come to {frames} frames, and {MOST_FRAMES} are planned at most"))
                .at(place)
                .help("a faster pace, a lower fps, or fewer deliveries"),
        );
    }
    frames <= MOST_FRAMES
}

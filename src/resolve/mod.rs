//! Shot and shoot to plan: the last place where anything is decided.
//!
//! In: what the script said, and the catalogue of stills. Out: for every frame of every delivery, the window and the
//! still. The order of the parts is the order of the questions: when stills were taken (`times`), which slots take room
//! on the shoot's axis (`axis`; by their own clock: `chosen`) and what keeps them apart there (`breaks`), where the script's moments lie on it (`moments`), how fast it runs (`pace`), which
//! windows the keys mean (`views`) and when (`framing`), what lies between them (`leg`, `route`, `corners`) or is followed
//! (`subject`, `follow`) or stands in a table (`listed`), what happens in the stills (`acts`) and is held (`action`), and
//! what every frame (`due`) comes to (`rows`), of which stills (`blend`, `gather`). A shot is resolved
//! once (`resolved`): what a person should know (`remarks`, `apart`, `unused`) and what decided a frame (`explain`) are told from that.
//! What is hidden in the stills (`covers`) goes by the axis and by where stills stand (`steady`), which also says what
//! windows keep to; what is heard (`sound`) goes by the pace, and so does the frame that is a `poster`; what is laid over
//! frames (`stamps`) goes by the stills they show. A loop is closed by what stands in `crossfade`; shots follow one another in a
//! `reel`, whose deliveries are `joined`.

mod action;
mod acts;
mod apart;
mod axis;
mod blend;
mod breaks;
mod chosen;
mod corners;
mod covers;
mod crossfade;
mod due;
mod explain;
mod follow;
mod framing;
mod gather;
mod growth;
mod joined;
mod leg;
mod level;
mod listed;
mod moments;
mod pace;
mod poster;
mod reel;
mod remarks;
mod resolved;
mod route;
mod rows;
mod shape;
mod sound;
mod stamps;
mod steady;
mod subject;
mod tables;
mod timecode;
mod times;
mod tracked;
mod unused;
mod views;
mod words;

use std::borrow::Cow;
use std::sync::Arc;

use crate::diag::{Diagnostic, Diagnostics};
use crate::lettering::Supplies;
use crate::measures::Activity;
use crate::plan::{Corrections, DeliveryPlan, Extras, Levelling, Plan, Tally};
use crate::register::Pose;
use crate::shoot::Shoot;
use crate::shot::{Delivery, Light, Pace, Policy, Sharpness, Shot};
use crate::units::ScreenTime;

pub use acts::goes_by_action;
pub use apart::sides_of;
pub use explain::When;
pub use growth::changes_with_growth;
pub use level::{LevelFrom, flicker_of};
pub use reel::{Made, resolve_all};
pub use resolved::Resolved;
pub use steady::{stands_measured, stands_of};
pub use tracked::{FoundAt, ToTrack, Wanted, found_in, tables_named, to_track, tracks};

/// The most frames of a shot, over all its deliveries: each is a row in memory, and ten million take a gigabyte and a
/// half, or two where damaged stills are held. It is a day at 115 frames a second.
pub const MOST_FRAMES: u64 = 10_000_000;

/// What is known of a shoot's stills beyond the shoot itself.
#[derive(Debug, Clone, Copy, Default)]
pub struct Known<'a> {
    /// By what a shot that asks for it is levelled.
    pub level: Option<LevelFrom<'a>>,
    /// How much happens where in its stills: by that a shot that asks for it is framed and paced.
    pub activity: Option<&'a Arc<Activity>>,
    /// Where the stills stand, by slot: by that a shot that asks for it is steadied.
    pub stands: Option<&'a [Option<Pose>]>,
    /// Where what a shot tracks was found.
    pub tracks: &'a [FoundAt],
    /// The fonts and pictures that its stamps name; those of the working folder where there are none.
    pub supplies: Option<&'a Supplies>,
}

/// Resolves a shot over a shoot of which so much is known.
///
/// # Errors
/// Every mistake found, with remarks among them.
pub fn resolve(shot: &Shot, shoot: &Shoot, known: Known<'_>) -> Result<Resolved, Diagnostics> {
    let mut found = Diagnostics::default();
    let shot = &with_full_frames(shot, shoot);
    let times = times::Times::of(shot, shoot, &mut found);
    let axis = match axis::Axis::lay_out(shot, shoot, &times, &mut found) {
        Ok(axis) => axis,
        Err(empty) => {
            found.extend(empty);
            return Err(found);
        }
    };
    let moments = moments::Moments { shoot, axis: &axis, times: &times };
    let acts = known.activity.filter(|_| goes_by_action(shot)).map(|activity| {
        // What is wrong with covers and stands is said below.
        let mut said = Diagnostics::default();
        let steady = steady::resolve(shot, shoot, &axis, known.stands, &mut said);
        let covers = covers::resolve(shot, &moments, (steady.as_ref(), known.tracks), &mut said);
        Arc::new(acts::Acts::new(activity, shoot.size, &axis.sides, (&covers, steady.as_ref())))
    });
    let pace = pace::resolve(shot, &moments, acts.as_deref(), &mut found);
    let steady = steady::resolve(shot, shoot, &axis, known.stands, &mut found);
    let bounds = steady::Bounds::of(shoot.size, steady.as_ref());
    let covers = covers::resolve(shot, &moments, (steady.as_ref(), known.tracks), &mut found);
    tracked::remark(
        shot,
        (&moments, steady.as_ref()),
        known.tracks,
        |cover, slot| covers::hides(cover, &moments, slot),
        &mut found,
    );
    let views = views::resolve(shot, bounds, &mut found);
    let timed = pace.and_then(|pace| length(shot, &pace, &mut found).map(|length| (pace, length)));
    let timed = timed.filter(|(_, length)| few_enough(shot, axis.places.len(), *length, &mut found));
    let timed = timed.filter(|(pace, length)| crossfade::check(shot, pace, *length, &mut found));
    let Some((pace, length)) = timed else {
        framing::check_moments(shot, &moments, &mut found);
        return Err(found);
    };
    let seen_in_them = (acts.as_ref(), known.tracks);
    let tracks = framing::tracks(shot, &moments, &views, bounds, (&pace, length), seen_in_them, &mut found);
    let clip = framing::Clip { moments: &moments, bounds, pace: &pace, length };
    let posters = poster::posters(shot, &clip, &mut found);
    let gathers = gather::resolve(shot, &clip, &mut found);
    let tracks: Option<Vec<framing::Framed>> = tracks.into_iter().collect();
    let Some(tracks) = tracks.filter(|_| !found.refused()) else { return Err(found) };
    let laid = laid_out(shot, bounds, &axis, (&pace, length), (&tracks, &gathers), &mut found);
    gather::few_enough(shot, &laid, &gathers, &mut found);
    if found.refused() {
        return Err(found);
    }
    let kept_apart = apart::kept_apart(&laid);
    let (mut of_level, shown) =
        (Diagnostics::default(), laid.iter().flatten().flat_map(|(due, _)| due.shown(&axis.places)));
    let level = level::resolve(shot, shoot, known.level, (&covers, &axis.sides), shown, &mut of_level)?;
    let mut corrections = Corrections::new(level.as_ref(), steady.as_ref(), &covers);
    let corrected = steady.is_some() || level.as_ref().is_some_and(Levelling::changes);
    let plans = shot.deliveries.iter().zip(laid).zip(&gathers);
    let mut deliveries: Vec<DeliveryPlan> = plans
        .map(|((delivery, laid), gathers)| {
            planned(delivery, (laid, *gathers), (bounds, &axis, corrected), &mut corrections)
        })
        .collect();
    for (plan, poster) in deliveries.iter_mut().zip(posters) {
        plan.extras.poster = poster;
    }
    sound::resolve(shot, &moments, &pace, length, &mut deliveries, &mut found);
    timecode::resolve(shot, shoot, &mut deliveries, &mut found);
    let stamped = stamps::resolve(shot, shoot, &times, known.supplies, &mut deliveries, &mut found);
    if found.refused() || !stamped {
        return Err(found);
    }
    let fates = axis.fates(shoot, &deliveries);
    let breaks = axis.breaks.iter().map(|one| one.told).collect();
    let (name, tally, remarks) = (shot.name.clone(), Tally::of(&fates, shoot), Diagnostics::default());
    let plan = Plan { shot: name, length: length.0, deliveries, level, steady, covers, breaks, tally, fates, remarks };
    let mut made = Resolved { plan, axis, times, bounds, pace, length, tracks, kept_apart };
    let seen = resolved::Seen { shot, shoot, made: &made };
    remarks::of_rows(&seen, &mut found);
    found.0.extend(apart::remarks(&seen));
    found.0.extend(unused::remarks(&seen));
    found.0.extend(gather::remarks(&seen));
    covers::remark(&seen, &mut found);
    found.extend(of_level);
    made.plan.remarks = found;
    Ok(made)
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

/// The plan of a delivery whose frames are laid out so.
fn planned(
    delivery: &Delivery,
    (laid, gathers): (Vec<due::Laid>, Option<due::Gathers>),
    (bounds, axis, corrected): (steady::Bounds, &axis::Axis, bool),
    corrections: &mut Corrections<'_>,
) -> DeliveryPlan {
    let (rows, gathered) = match gathers {
        Some(gathers) => gather::rows(laid, gathers.by, axis, corrections),
        None => (laid.into_iter().map(|(due, window)| due.row(window, corrections)).collect(), Vec::new()),
    };
    DeliveryPlan {
        name: delivery.name.clone(),
        frame: delivery.frame,
        fps: delivery.fps,
        codec: delivery.codec.clone(),
        sharpness: if delivery.resample == Light::Linear { Sharpness::Positive } else { delivery.sharpness },
        resample: delivery.resample,
        light: delivery.blend.light,
        room: bounds.room,
        rooms: Vec::new(),
        corrected,
        sound: [].into(),
        stamps: [].into(),
        unread_sound: Policy::default(),
        every_still: delivery.every_still,
        extras: Extras {
            purpose: delivery.extras.purpose.as_ref().map(|purpose| Arc::clone(&purpose.value)),
            title: delivery.extras.title.clone(),
            timecode: None,
            poster: None,
            chapters: Vec::new(),
        },
        gathered,
        rows,
    }
}

/// The frames of every delivery, side by side: bending a long path takes a while.
fn laid_out(
    shot: &Shot,
    bounds: steady::Bounds,
    axis: &axis::Axis,
    (pace, length): (&crate::curve::pace::PaceMap, ScreenTime),
    (tracks, gathers): (&[framing::Framed], &[Option<due::Gathers>]),
    found: &mut Diagnostics,
) -> Vec<Vec<due::Laid>> {
    let (strict, looped) = (shot.strict, shot.looped.is_some());
    let sheets = shot.deliveries.iter().zip(tracks).zip(gathers);
    let sheets = sheets.map(|((delivery, track), gathers)| due::Sheet {
        delivery,
        track,
        pace,
        axis,
        bounds,
        length,
        strict,
        looped,
        gathers: *gathers,
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
            let mistake = Diagnostic::mistake(format!(
                "the shoot ends after {} s at this pace, but the length asks for {} s",
                words::figure(natural),
                words::figure(limit.value)
            ))
            .at(&limit.place)
            .word("length")
            .with(&shot.pace.place, "the pace")
            .help(match &shot.pace.value {
                Pace::Keyed { fit: Some(_), .. } => {
                    format!("fit = \"{}s\" makes the whole shoot last that long", words::figure(limit.value))
                }
                _ => format!("pace = over \"{}s\" makes the whole shoot last that long", words::figure(limit.value)),
            })
            .help(format!("or length = \"{}s\" at most", words::figure_below(natural)));
            found.push(match pace::filled(shot, pace, limit.value - natural) {
                Some(help) => mistake.help(format!("or a freeze fills it: {help}")),
                None => mistake,
            });
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
    let frames =
        |delivery: &Delivery| if delivery.every_still { stills as u64 } else { delivery.fps.frames_in(length) };
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

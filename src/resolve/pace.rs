//! The script's pace as a map from screen time to shoot position.
//!
//! ## Decisions
//!
//! - A key with a freeze and no rate lies on the way to the next rate. On the shoot's axis `fit` counts freezes and
//!   scales around them. On screen a key's seconds are the clip's, freezes included; a key at a freeze's very end makes
//!   the rate jump. A key at a frozen position means the first arrival.
//! - The way to the first key, where that is reversed, begins at the shoot's end. The clip ends where the shoot runs
//!   out of stills; a pace on screen that only touches an end where it turns (within a billionth of a still) goes on.
//! - The first arrival at `still(n)` is where that still is first shown: its beginning, or its end for a pace that
//!   begins at the shoot's end.

use crate::curve::ease::Ease;
use crate::curve::lively;
use crate::curve::pace::{Fault, Key, PaceMap, Rest, Timeline};
use crate::curve::time_map::TimeMap;
use crate::curve::track::SLACK;
use crate::diag::{Diagnostic, Diagnostics};
use crate::shot::{Lively, Moment, Pace, PaceKey, Rate, Shot};

use super::acts::Acts;
use super::crossfade;
use super::moments::Moments;
use super::words;

/// Below so many tiles' worth in all of a shoot nothing moves.
const NOTHING: f64 = 1.0;

/// The most steps a step ease may have where it shapes a rate.
const MOST_STEPS: u32 = 10_000;

/// The pace, or nothing where `found` says why not. That of a loop is led in by the length of its mix, unless it closes
/// by itself.
pub(super) fn resolve(
    shot: &Shot,
    moments: &Moments<'_>,
    acts: Option<&Acts>,
    found: &mut Diagnostics,
) -> Option<PaceMap> {
    if let Pace::Lively(lively) = &shot.pace.value {
        return by_what_happens(shot, lively, moments, acts, found);
    }
    let Some(looped) = &shot.looped else { return led_in(shot, 0.0, moments, found) };
    if matches!(&shot.pace.value, Pace::Keyed { keys, .. } if keys.iter().any(|key| key.reverse)) {
        let mut said = Diagnostics::default();
        let pace = led_in(shot, 0.0, moments, &mut said);
        if pace.as_ref().is_none_or(|pace| crossfade::closes(pace, shot)) {
            found.extend(said);
            return pace;
        }
    }
    led_in(shot, looped.value, moments, found)
}

/// The pace of a clip that begins when it has been running for `lead` seconds. What a script says of a length is the
/// clip's.
fn led_in(shot: &Shot, lead: f64, moments: &Moments<'_>, found: &mut Diagnostics) -> Option<PaceMap> {
    let time_map = time_map(shot, moments, found);
    let stills = even(time_map.as_ref(), moments.axis.stills());
    let map = match &shot.pace.value {
        Pace::Constant(rate) => match per_second(*rate, shot, moments) {
            Ok((numerator, denominator)) => Some(PaceMap::constant(stills, numerator, denominator).led_in(lead)),
            Err(mistake) => {
                found.push(mistake.at(&shot.pace.place));
                None
            }
        },
        Pace::Over(seconds) if seconds.is_finite() && *seconds > 0.0 => {
            Some(PaceMap::over(stills, *seconds + lead).led_in(lead))
        }
        Pace::Over(seconds) => {
            found.push(
                Diagnostic::mistake(format!("over takes seconds above 0; seen {}", words::figure(*seconds)))
                    .at(&shot.pace.place)
                    .word("over"),
            );
            None
        }
        Pace::Keyed { keys, fit } => keyed(shot, keys, fit.as_ref(), lead, moments, time_map.as_ref(), found),
        Pace::Lively(_) => None,
    };
    match time_map {
        Some(time_map) => map.map(|map| map.through(time_map)),
        None => map,
    }
}

/// The pace that slows where things happen; even where nobody has looked yet, or nothing moves.
fn by_what_happens(
    shot: &Shot,
    wanted: &Lively,
    moments: &Moments<'_>,
    acts: Option<&Acts>,
    found: &mut Diagnostics,
) -> Option<PaceMap> {
    let (place, stills) = (&shot.pace.place, moments.axis.stills());
    if !(wanted.seconds > 0.0 && wanted.seconds.is_finite()) {
        let message = format!("liveliest takes a length above 0 s; seen {}", words::figure(wanted.seconds));
        found.push(Diagnostic::mistake(message).at(place).word("length"));
        return None;
    }
    let lead = shot.looped.as_ref().map_or(0.0, |looped| looped.value);
    let seconds = wanted.seconds + lead;
    let even = stills / seconds;
    let mut limit = |rate: Option<Rate>, share: f64| match rate.map(|rate| per_second(rate, shot, moments)) {
        None => Some(even * share),
        Some(Ok((numerator, denominator))) => Some(numerator / denominator),
        Some(Err(mistake)) => {
            found.push(mistake.at(place));
            None
        }
    };
    let (slowest, fastest) = (limit(wanted.slowest, Lively::SLOWEST), limit(wanted.fastest, Lively::FASTEST));
    let (slowest, fastest) = (slowest?, fastest?);
    if slowest > fastest {
        let message = format!(
            "the slowest rate, {} stills a second, is above the fastest, {}",
            words::figure(slowest),
            words::figure(fastest)
        );
        let mistake = Diagnostic::mistake(message).at(place).word("liveliest");
        found.push(mistake.help("slowest is where most happens, fastest where nothing does"));
        return None;
    }
    let happens: Vec<f64> =
        moments.axis.places.iter().map(|one| acts.map_or(0.0, |acts| acts.sum(one.shown))).collect();
    let keys = match lively::rates(&happens, seconds, (slowest, fastest)) {
        Ok(keys) => keys,
        Err(lively::OutOfReach { shortest, longest }) => {
            let help = if seconds < shortest {
                format!("length = \"{}s\" at least, or a faster fastest", words::figure_above(shortest - lead))
            } else {
                format!("length = \"{}s\" at most, or a slower slowest", words::figure_below(longest - lead))
            };
            let (shortest, longest) = (words::figure_above(shortest - lead), words::figure_below(longest - lead));
            let message = format!(
                "within its rates this pace lasts from {shortest} s to {longest} s, but length asks for {} s",
                words::figure(wanted.seconds)
            );
            let mistake = Diagnostic::mistake(message).at(place).word("length");
            found.push(mistake.help(help));
            return None;
        }
    };
    if acts.is_some() && happens.iter().sum::<f64>() < NOTHING {
        let message = "nothing moves in the stills: the pace is even";
        found.push(Diagnostic::remark(message).at(place).word("liveliest"));
        return Some(PaceMap::over(stills, seconds).led_in(lead));
    }
    PaceMap::keyed(Timeline::Shoot, &keys, &[], stills, Some(seconds)).ok().map(|map| map.led_in(lead))
}

/// The frames of a recording of variable rate, each lasting until the next is shown, where the pace speaks of real
/// time. Rates in stills count the usual step then.
fn time_map(shot: &Shot, moments: &Moments<'_>, found: &mut Diagnostics) -> Option<TimeMap> {
    let recording = moments.shoot.recording.as_ref().filter(|recording| recording.rate.is_none())?;
    let usual = moments.times.interval?;
    let rates: Vec<Rate> = match &shot.pace.value {
        Pace::Constant(rate) => vec![*rate],
        Pace::Over(_) | Pace::Lively(_) => Vec::new(),
        Pace::Keyed { keys, .. } => keys.iter().filter_map(|key| key.rate).collect(),
    };
    let in_time = |rate: &Rate| matches!(rate, Rate::Times(_));
    if !rates.iter().any(in_time) {
        return None;
    }
    if !rates.iter().all(in_time) {
        let step = words::figure(1000.0 * usual);
        found.push(
            Diagnostic::remark(format!(
                "the recording's rate varies and this pace uses real time: where it counts stills, a still is {step} ms"
            ))
            .at(&shot.pace.place),
        );
    }
    let seconds = &recording.seconds;
    let lasts = |place: &super::axis::OnAxis| match seconds.get(place.slot.0..place.slot.0 + 2) {
        Some([from, to]) => (to - from) / usual,
        _ => 1.0,
    };
    Some(TimeMap::new(moments.axis.places.iter().map(lasts)))
}

/// A position in the time that rates count.
fn even(time_map: Option<&TimeMap>, position: f64) -> f64 {
    time_map.map_or(position, |time_map| time_map.even(position))
}

/// A rate in stills a second, as a fraction of two numbers that are exact where the script's own are.
///
/// `times` counts the shoot's one interval (its median), so it is a constant rate: a pause of the camera takes no
/// screen time.
fn per_second(rate: Rate, shot: &Shot, moments: &Moments<'_>) -> Result<(f64, f64), Diagnostic> {
    let (frames, seconds) = (f64::from(shot.fps.numerator()), f64::from(shot.fps.denominator()));
    let (name, value, fraction) = match rate {
        Rate::StillsPerFrame(value) => ("stills_per_frame", value, (value * frames, seconds)),
        Rate::FramesPerStill(value) => ("frames_per_still", value, (frames, value * seconds)),
        Rate::Percent(value) => ("percent", value, (value * frames, 100.0 * seconds)),
        Rate::Times(value) => {
            let Some(interval) = moments.times.interval else {
                return Err(Diagnostic::mistake(
                    "times needs capture times or an interval, and this shoot has neither",
                )
                .word("times")
                .help("stills { …, interval = 5 } sets the seconds between stills"));
            };
            ("times", value, (value, interval))
        }
    };
    let slowest = crate::curve::pace::SLOWEST;
    if value.is_finite() && fraction.0 / fraction.1 > slowest && (fraction.0 / fraction.1).is_finite() {
        return Ok(fraction);
    }
    let written = format!("{name}({})", words::figure(value));
    let mistake =
        Diagnostic::mistake(format!("a rate must be above 0: a pace always moves; seen {written}")).word(&written);
    Err(if value < 0.0 {
        mistake.help(format!(
            "backwards is written rate = {name}({}), reverse = true: the shoot runs backwards on the way to that key",
            words::figure(-value)
        ))
    } else {
        mistake.help("a key rests with freeze = \"2s\" in place of the rate; the rates of the keys around it go on")
    })
}

fn keyed(
    shot: &Shot,
    keys: &[PaceKey],
    fit: Option<&crate::diag::Placed<f64>>,
    lead: f64,
    moments: &Moments<'_>,
    time_map: Option<&TimeMap>,
    found: &mut Diagnostics,
) -> Option<PaceMap> {
    let Some(first) = keys.first() else {
        found.push(
            Diagnostic::mistake("a pace needs at least one key")
                .at(&shot.pace.place)
                .help("pace = stills_per_frame(1) is one"),
        );
        return None;
    };
    let axis = axis_of(&first.at);
    let before = found.0.len();
    let mut resolved: Vec<Option<Moved>> = Vec::with_capacity(keys.len());
    for key in keys {
        if axis_of(&key.at) != axis {
            let named = |axis| if axis == Timeline::Screen { "the clip's" } else { "the shoot's" };
            found.push(
                Diagnostic::mistake(format!(
                    "a pace is keyed on one axis: this key's moment is on {}, the first one's on {}",
                    named(axis_of(&key.at)),
                    named(axis)
                ))
                .at(&key.place)
                .with(&first.place, "the first key"),
            );
            resolved.push(None);
            continue;
        }
        let moved = one_key(shot, key, moments, found);
        let to_even = |moved: Moved| match axis {
            Timeline::Shoot => Moved { at: even(time_map, moved.at), ..moved },
            Timeline::Screen => moved,
        };
        resolved.push(moved.map(to_even));
    }
    in_order(axis, keys, &resolved, found);
    if keys.iter().all(|key| key.rate.is_none()) {
        found.push(
            Diagnostic::mistake("a pace needs at least one key with a rate")
                .at(&shot.pace.place)
                .help("key { at = \"start\", rate = stills_per_frame(1) } is one"),
        );
    }
    if let Some(fit) = fit.filter(|fit| fit.value.is_nan() || fit.value <= 0.0 || fit.value.is_infinite()) {
        found.push(
            Diagnostic::mistake(format!("fit takes seconds above 0; seen {}", words::figure(fit.value)))
                .at(&fit.place)
                .word("fit"),
        );
    }
    if found.0[before..].iter().any(Diagnostic::is_mistake) {
        return None;
    }
    let resolved: Vec<Moved> = resolved.into_iter().collect::<Option<_>>()?;
    let (mut rated, mut rated_keys, mut rests) = (Vec::new(), Vec::new(), Vec::new());
    for (key, moved) in keys.iter().zip(&resolved) {
        let at = if axis == Timeline::Screen { moved.at + lead } else { moved.at };
        if let Some(rate) = moved.rate {
            rated.push(Key { at, rate, ease: key.ease.clone(), keep: key.keep, backwards: key.reverse });
            rated_keys.push(key);
        }
        rests.extend(key.freeze.map(|seconds| Rest { after: rated.len(), at, seconds }));
    }
    if let (Some(fit), Timeline::Screen) = (fit, axis) {
        let plain = |key: &Key| key.rate == rated[0].rate && !key.keep && !key.backwards;
        if rated.iter().all(plain) && rests.is_empty() {
            return Some(PaceMap::over(even(time_map, moments.axis.stills()), fit.value + lead).led_in(lead));
        }
        found.push(
            Diagnostic::mistake("fit needs keys on the shoot's axis: here it would move the keys' own moments")
                .at(&fit.place)
                .word("fit")
                .with(&first.place, "keyed on the clip's axis")
                .help("key { at = still(1), … }, clock \"14:32\", part(0.25), \"start\" or \"end\""),
        );
        return None;
    }
    let stills = even(time_map, moments.axis.stills());
    let map = match PaceMap::keyed(axis, &rated, &rests, stills, fit.map(|fit| fit.value + lead)) {
        Ok(map) => map.led_in(lead),
        Err(fault) => {
            found.push(faulty(&fault, shot, &rated_keys, !rests.is_empty(), fit));
            return None;
        }
    };
    if axis == Timeline::Screen {
        for (key, resolved) in keys.iter().zip(&resolved).filter(|(_, resolved)| resolved.at > map.length() + 1e-9) {
            found.push(
                Diagnostic::remark(format!(
                    "this key of the pace is at {} s, and the shoot {} at {} s",
                    words::figure(resolved.at),
                    if rated.iter().any(|key| key.backwards) { "runs out" } else { "ends" },
                    words::figure(map.length())
                ))
                .at(&key.place),
            );
        }
    }
    Some(map)
}

/// What to type for a clip that is to go on for `seconds` after the shoot has run out, at rest on its last still; none
/// where the pace cannot say that.
pub(super) fn filled(shot: &Shot, pace: &PaceMap, seconds: f64) -> Option<String> {
    // What is typed must not fall short of the length by a rounding.
    let freeze = |more: f64| format!("freeze = \"{}s\"", words::figure_above(seconds + more));
    if shot.looped.is_some() {
        return None;
    }
    match &shot.pace.value {
        Pace::Constant(rate) => {
            let (name, value) = named(*rate);
            Some(format!(
                "pace = pace {{ key {{ at = \"start\", rate = {name}({}) }}, key {{ at = \"end\", {} }} }} rests on the last still",
                crate::diag::number(value),
                freeze(0.0)
            ))
        }
        Pace::Over(_) | Pace::Lively(_) | Pace::Keyed { fit: Some(_), .. } => None,
        Pace::Keyed { keys, fit: None } => {
            let last = keys.last()?;
            if axis_of(&last.at) == Timeline::Screen {
                let end = words::figure_below(pace.length());
                return Some(format!(
                    "key {{ at = {end}, {} }} as the pace's last rests on the last still",
                    freeze(0.001)
                ));
            }
            let backwards = pace.legs(0.0, pace.length()).last().is_some_and(|(from, to)| to < from);
            let end = if backwards { Moment::Start } else { Moment::End };
            let word = if backwards { "start" } else { "end" };
            if last.at == end {
                let more = last.freeze.unwrap_or(0.0);
                return Some(format!("{} in the key at \"{word}\" rests on the last still", freeze(more)));
            }
            Some(format!("key {{ at = \"{word}\", {} }} as the pace's last rests on the last still", freeze(0.0)))
        }
    }
}

/// A rate's constructor and value.
fn named(rate: Rate) -> (&'static str, f64) {
    match rate {
        Rate::StillsPerFrame(value) => ("stills_per_frame", value),
        Rate::FramesPerStill(value) => ("frames_per_still", value),
        Rate::Percent(value) => ("percent", value),
        Rate::Times(value) => ("times", value),
    }
}

/// The axis a key of a pace lies on.
pub(super) fn axis_of(moment: &Moment) -> Timeline {
    match moment {
        Moment::Screen(_) | Moment::Timecode(_) => Timeline::Screen,
        Moment::Start | Moment::End | Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => {
            Timeline::Shoot
        }
    }
}

/// A key's moment on its axis, and its rate in stills a second.
pub(super) struct Moved {
    pub(super) at: f64,
    pub(super) rate: Option<f64>,
}

/// A key in numbers: its moment on its axis, its rate in stills a second; nothing where `found` says why not.
pub(super) fn one_key(shot: &Shot, key: &PaceKey, moments: &Moments<'_>, found: &mut Diagnostics) -> Option<Moved> {
    let at = match key.at {
        Moment::Screen(seconds) if seconds >= 0.0 && seconds.is_finite() => Ok(seconds),
        Moment::Screen(seconds) => {
            Err(Diagnostic::mistake(format!("screen time begins at 0 s; seen {}", words::figure(seconds))))
        }
        Moment::Timecode(frames) => Ok(shot.fps.time_of(frames).0),
        Moment::Start => Ok(0.0),
        Moment::End => Ok(moments.axis.stills()),
        Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => moments.position(&key.at),
    };
    let rate =
        key.rate.map(|rate| per_second(rate, shot, moments).map(|(numerator, denominator)| numerator / denominator));
    let freeze = match (key.freeze, key.rate) {
        (Some(seconds), _) if !(seconds > 0.0 && seconds.is_finite()) => {
            Err(Diagnostic::mistake(format!("a freeze lasts above 0 s; seen {}", words::figure(seconds)))
                .word("freeze"))
        }
        (None, None) => Err(Diagnostic::mistake("a key of a pace needs a rate, a freeze or both").word("key")),
        (_, None) if key.reverse => {
            Err(Diagnostic::mistake("reverse goes with a rate: it says which way the shoot runs on the way to it")
                .word("reverse"))
        }
        _ => Ok(()),
    };
    let steps = match key.ease {
        Ease::Steps { count, jump } if count > MOST_STEPS || count < jump.fewest_steps() => Err(Diagnostic::mistake(
            format!("this step ease of a pace has {} to {MOST_STEPS} steps; seen {count}", jump.fewest_steps()),
        )
        .word("steps")),
        _ => Ok(()),
    };
    let mut keep = |mistake: Diagnostic| found.push(mistake.at(&key.place));
    let (at, rate) = (at.map_err(&mut keep).ok(), rate.transpose().map_err(&mut keep).ok());
    let (steps, freeze) = (steps.map_err(&mut keep).ok(), freeze.map_err(&mut keep).ok());
    steps.and(freeze)?;
    Some(Moved { at: at?, rate: rate? })
}

/// Says of every key that does not come after the one above it: later on screen and outside its freeze, further on the shoot's axis
/// in the direction of the way. A key that only freezes lies on the way to the next rate, or past the last one.
fn in_order(axis: Timeline, keys: &[PaceKey], moved: &[Option<Moved>], found: &mut Diagnostics) {
    let mut backwards = vec![false; keys.len()];
    let mut way = keys.iter().rev().find(|key| key.rate.is_some()).is_some_and(|key| key.reverse);
    for (index, key) in keys.iter().enumerate().rev() {
        if key.rate.is_some() {
            way = key.reverse;
        }
        backwards[index] = way && axis == Timeline::Shoot;
    }
    let known: Vec<usize> = (0..keys.len()).filter(|index| moved[*index].is_some()).collect();
    let at = |index: usize| moved[index].as_ref().map_or(0.0, |moved| moved.at);
    for pair in known.windows(2) {
        let index = pair[1];
        let (before, after) = (&keys[pair[0]], &keys[index]);
        let (from, to) = (at(pair[0]), at(index));
        if if backwards[index] { to >= from - SLACK } else { to <= from + SLACK } {
            found.push(out_of_order(from, to, axis, backwards[index], before, after));
            continue;
        }
        let rested = from + before.freeze.unwrap_or(0.0);
        if axis == Timeline::Screen && to < rested - SLACK {
            found.push(
                Diagnostic::mistake(format!(
                    "this key of the pace is at {} s, inside the freeze above it, which lasts until {} s",
                    words::figure(to),
                    words::figure(rested)
                ))
                .at(&after.place)
                .with(&before.place, "the freeze")
                .help(format!(
                    "seconds in a pace are the clip's, freezes included: at = {} or later",
                    words::figure_above(rested)
                )),
            );
        }
    }
}

fn out_of_order(
    before: f64,
    after: f64,
    axis: Timeline,
    backwards: bool,
    first: &PaceKey,
    second: &PaceKey,
) -> Diagnostic {
    let written = |at: f64| match axis {
        Timeline::Screen => format!("{} s", words::figure(at)),
        Timeline::Shoot => format!("position {}", words::figure(at)),
    };
    let message = if (before - after).abs() <= SLACK {
        format!("two keys of the pace are at the same moment, {}", written(after))
    } else {
        let side = if backwards { "after" } else { "before" };
        format!("this key of the pace is at {}, {side} the key above it at {}", written(after), written(before))
    };
    let mistake = Diagnostic::mistake(message).at(&second.place).with(&first.place, "the key above it");
    match (axis, backwards) {
        (Timeline::Shoot, true) => {
            mistake.help("reverse = true runs the way to a key backwards, to a still before the key above it")
        }
        (Timeline::Shoot, false) => {
            mistake.help("keys go in order of time").help("reverse = true in this key runs the way to it backwards")
        }
        (Timeline::Screen, _) => mistake.help("keys go in order of time"),
    }
}

fn faulty(
    fault: &Fault,
    shot: &Shot,
    keys: &[&PaceKey],
    freezes: bool,
    fit: Option<&crate::diag::Placed<f64>>,
) -> Diagnostic {
    let (place, wanted) = fit.map_or((&shot.pace.place, 0.0), |fit| (&fit.place, fit.value));
    match fault {
        Fault::Stops { key, lowest } => Diagnostic::mistake(format!(
            "the ease to this key takes the rate down to {} stills a second on its way: a pace always moves",
            words::figure(*lowest)
        ))
        .at(&keys[*key].place)
        .word("ease")
        .help("an ease whose output stays between 0 and 1, such as \"ease-in-out\""),
        Fault::KeptTooLong { kept } => Diagnostic::mistake(format!(
            "the sections marked keep{} already last {} s, but fit asks for {} s in all",
            if freezes { " and the freezes" } else { "" },
            words::figure(*kept),
            words::figure(wanted)
        ))
        .at(place)
        .word("fit")
        .help(format!("fit = \"{}s\" or more, or fewer sections marked keep", words::figure_above(*kept + 1.0))),
        Fault::NothingToFit { kept } => Diagnostic::mistake(format!(
            "every section is marked keep, so the clip lasts {} s, but fit asks for {} s",
            words::figure(*kept),
            words::figure(wanted)
        ))
        .at(place)
        .word("fit")
        .help("leave one section without keep"),
    }
}

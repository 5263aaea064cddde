//! The one unknown, and what the rest comes to.

use super::exact::{Exact, whole};
use super::knowns::{Knowns, Name};
use super::words::{counted, exposed, figure, fraction, spoken};
use crate::diag::Diagnostic;

/// More stills than any shoot has.
const MOST_STILLS: i128 = 1_000_000_000;

/// What the knowns come to. Seconds, stills, degrees.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    pub(super) event: Option<Exact>,
    pub(super) interval: Option<Exact>,
    /// The exact interval, where what a timer can be set to is another.
    pub(super) exact_interval: Option<Exact>,
    pub(super) pause: Option<Exact>,
    pub(super) exposure: Option<Exact>,
    pub(super) angle: Option<Exact>,
    pub(super) stills: Option<i128>,
    /// The length of the clip that is wanted.
    pub(super) clip: Option<Exact>,
    pub(super) fps: Option<Exact>,
    /// Frames that each still is shown for, where that is given or asked for.
    pub(super) hold: Option<Exact>,
    /// How each of these came about, where it was not given.
    pub(super) how: Vec<(Name, String)>,
}

impl Found {
    fn came(&mut self, name: Name, how: String) {
        self.how.push((name, how));
    }

    /// Whether all of it fits.
    pub(super) fn is_known(&self) -> bool {
        let amounts =
            [self.event, self.interval, self.exact_interval, self.pause, self.exposure, self.angle, self.clip];
        amounts.into_iter().chain([self.fps, self.hold, self.frames()]).flatten().all(Exact::is_known)
            && self.stills.is_none_or(|stills| (1..=MOST_STILLS).contains(&stills))
    }

    /// How something came about.
    pub(super) fn how(&self, name: Name) -> Option<&str> {
        self.how.iter().find(|(known, _)| *known == name).map(|(_, how)| how.as_str())
    }

    /// Frames of the clip that is wanted.
    pub(super) fn frames(&self) -> Option<Exact> {
        Some((self.clip? * self.fps?).ceil())
    }
}

/// What an interval timer can be set to: whole seconds, below a second tenths; the interval itself below a tenth.
fn settable(interval: Exact) -> Exact {
    let tenths = (interval * 10).floor() / 10;
    match interval {
        interval if interval >= whole(1) => interval.floor(),
        _ if tenths > whole(0) => tenths,
        _ => interval,
    }
}

/// Refused for want of other knowns: an example that has them.
fn needs(asked: Name, what: &str, example: &str) -> Diagnostic {
    Diagnostic::mistake(format!("--{} ? needs {what}", asked.option()))
        .help(format!("write it as in stillpath reckon {example}"))
}

/// Amounts so large or so small that they cannot be meant.
pub(super) fn beyond() -> Diagnostic {
    Diagnostic::mistake(format!(
        "this comes to more than {MOST_STILLS} stills, or to figures beyond reckoning: a unit may be wrong"
    ))
    .help("write it as in stillpath reckon --event 8h --interval 5s --fps 30")
}

/// Too little to answer anything.
pub(super) fn too_little(knowns: &Knowns) -> Diagnostic {
    let known = knowns.told();
    let seen = if known.is_empty() {
        "nothing is known, so nothing can be reckoned".to_owned()
    } else {
        let names: Vec<String> = known.iter().map(|known| format!("--{}", known.name)).collect();
        format!("nothing follows from {} alone", names.join(" and "))
    };
    Diagnostic::mistake(seen)
        .help("write it as in stillpath reckon --event 8h --interval 5s --fps 30")
        .help("or ask for one of them: stillpath reckon --event 8h --clip 90s --fps 24 --interval '?'")
        .help("or name a shoot that is there: stillpath reckon FOLDER")
}

/// Finds the unknown and what follows.
///
/// # Errors
/// What is missing, or what contradicts itself.
pub(super) fn solve(knowns: &Knowns) -> Result<Found, Diagnostic> {
    let get = |name| knowns.get(name);
    let mut found = Found {
        event: get(Name::Event),
        interval: get(Name::Interval),
        pause: get(Name::Pause),
        exposure: get(Name::Exposure),
        angle: get(Name::Angle),
        stills: get(Name::Stills).map(|stills| stills.to_integer()),
        clip: get(Name::Clip),
        fps: get(Name::Fps),
        hold: get(Name::FramesPerStill),
        ..Found::default()
    };
    pause(knowns, &mut found)?;
    match knowns.asked {
        Some(Name::Interval) => interval(&mut found)?,
        Some(Name::Event) => event(&mut found)?,
        _ => {}
    }
    counted_stills(knowns, &mut found)?;
    if knowns.asked == Some(Name::Pause) {
        let (Some(interval), Some(exposure)) = (found.interval, found.exposure) else {
            return Err(needs(Name::Pause, "--interval and --exposure", "--interval 5s --exposure 1s --pause '?'"));
        };
        if exposure >= interval {
            return Err(no_pause(interval, exposure));
        }
        found.pause = Some(interval - exposure);
        found.came(Name::Pause, format!("{} - {}", spoken(interval), exposed(exposure)));
    }
    shutter(knowns, &mut found)?;
    clip(knowns, &mut found)?;
    Ok(found)
}

/// No room is left for a pause.
fn no_pause(interval: Exact, exposure: Exact) -> Diagnostic {
    let longer = exposure.floor() + 1;
    Diagnostic::mistake(format!(
        "an exposure of {} leaves no pause in an interval of {}",
        exposed(exposure),
        spoken(interval)
    ))
    .help(format!("write a longer interval, as in --interval {}s", longer.to_integer()))
}

/// An interval that is a pause after each exposure.
fn pause(knowns: &Knowns, found: &mut Found) -> Result<(), Diagnostic> {
    let Some(pause) = found.pause else { return Ok(()) };
    if found.interval.is_some() || knowns.asked == Some(Name::Interval) {
        let message = "--pause is what a timer waits after each exposure, --interval from one exposure to the next: one follows from the other";
        return Err(Diagnostic::mistake(message).help("leave --interval out, or ask for the pause with --pause '?'"));
    }
    let Some(exposure) = found.exposure else {
        return Err(Diagnostic::mistake("--pause needs --exposure: an interval is both together")
            .help("write the exposure too, as in --exposure 1/50"));
    };
    found.interval = Some(pause + exposure);
    found.came(Name::Interval, format!("pause {} + exposure {}", spoken(pause), exposed(exposure)));
    Ok(())
}

/// Stills that a clip needs, or that are given.
fn needed(found: &Found) -> Option<(i128, String)> {
    if let Some(stills) = found.stills {
        return Some((stills, counted(stills, "still")));
    }
    let (frames, hold) = (found.frames()?, found.hold.unwrap_or(whole(1)));
    let stills = (frames / hold).ceil().to_integer();
    let shown = if hold == whole(1) { "one a frame".to_owned() } else { format!("{} frames each", figure(hold, 3)) };
    Some((
        stills,
        format!("{} of clip have {frames} frames, {} {shown}", spoken(found.clip?), counted(stills, "still")),
    ))
}

fn interval(found: &mut Found) -> Result<(), Diagnostic> {
    let missing = || {
        let what = "--event, and the clip it is to give (--clip with --fps) or --stills";
        needs(Name::Interval, what, "--event 8h --clip 90s --fps 24 --interval '?'")
    };
    let event = found.event.ok_or_else(missing)?;
    let (stills, why) = needed(found).ok_or_else(missing)?;
    let exact = event / stills;
    let set = settable(exact);
    found.exact_interval = Some(exact);
    found.interval = Some(set);
    found.came(Name::Interval, format!("{} / {stills} ({why})", spoken(event)));
    if set != exact {
        // What will be set gives some stills more.
        found.stills = Some((event / set).ceil().to_integer());
        found.came(Name::Stills, format!("{} / {}", spoken(event), spoken(set)));
    } else if found.stills.is_none() {
        found.stills = Some(stills);
        found.came(Name::Stills, why);
    }
    Ok(())
}

fn event(found: &mut Found) -> Result<(), Diagnostic> {
    let missing = || {
        let what = "--interval, and the clip it is to give (--clip with --fps) or --stills";
        needs(Name::Event, what, "--interval 5s --clip 90s --fps 24 --event '?'")
    };
    let interval = found.interval.ok_or_else(missing)?;
    let (stills, why) = needed(found).ok_or_else(missing)?;
    found.event = Some(interval * stills);
    found.came(Name::Event, format!("{stills} x {} ({why})", spoken(interval)));
    if found.stills.is_none() {
        found.stills = Some(stills);
        found.came(Name::Stills, why);
    }
    Ok(())
}

/// How many stills there are, from event and interval, or from what a clip takes.
fn counted_stills(knowns: &Knowns, found: &mut Found) -> Result<(), Diagnostic> {
    if let (Some(event), Some(interval)) = (found.event, found.interval) {
        let taken = (event / interval).ceil().to_integer();
        match found.stills {
            None => {
                found.stills = Some(taken);
                found.came(Name::Stills, format!("{} / {}", spoken(event), spoken(interval)));
            }
            Some(given)
                if given != taken && knowns.get(Name::Stills).is_some() && knowns.asked != Some(Name::Interval) =>
            {
                let message = format!(
                    "{} at {} are {}, and --stills says {given}: one of the three follows from the others",
                    spoken(event),
                    spoken(interval),
                    counted(taken, "still")
                );
                return Err(Diagnostic::mistake(message).help("leave --stills out, or ask for it with --stills '?'"));
            }
            Some(_) => {}
        }
    } else if let (Some(event), Some(stills), None) = (found.event, found.stills, found.interval) {
        found.interval = Some(event / stills);
        found.came(Name::Interval, format!("{} / {stills}", spoken(event)));
    } else if let (Some(interval), Some(stills), None) = (found.interval, found.stills, found.event) {
        found.event = Some(interval * stills);
        found.came(Name::Event, format!("{stills} x {}", spoken(interval)));
    } else if found.stills.is_none()
        && let Some((stills, why)) = needed(found)
    {
        found.stills = Some(stills);
        found.came(Name::Stills, why);
        if let Some(interval) = found.interval {
            found.event = Some(interval * stills);
            found.came(Name::Event, format!("{stills} x {}", spoken(interval)));
        } else if let Some(event) = found.event {
            found.interval = Some(event / stills);
            found.came(Name::Interval, format!("{} / {stills}", spoken(event)));
        }
    }
    if knowns.asked == Some(Name::Stills) && found.stills.is_none() {
        let what = "--event and --interval, or --clip and --fps";
        return Err(needs(Name::Stills, what, "--event 8h --interval 5s --stills '?'"));
    }
    Ok(())
}

/// The share of the interval for which the shutter is open.
fn shutter(knowns: &Knowns, found: &mut Found) -> Result<(), Diagnostic> {
    if let (Some(angle), Some(interval)) = (found.angle, found.interval) {
        if found.exposure.is_some() {
            let message = "--angle and --exposure both say how long the shutter is open";
            return Err(Diagnostic::mistake(message).help("leave --angle out, or ask for it with --angle '?'"));
        }
        found.exposure = Some(angle / 360 * interval);
        found.came(Name::Exposure, format!("{} x {} / 360", figure(angle, 1), spoken(interval)));
    } else if let (Some(exposure), Some(interval)) = (found.exposure, found.interval) {
        found.angle = Some(exposure * 360 / interval);
        found.came(Name::Angle, format!("360 x {} / {}", exposed(exposure), spoken(interval)));
    }
    if knowns.asked == Some(Name::Exposure) && found.exposure.is_none() {
        return Err(needs(Name::Exposure, "--interval and --angle", "--interval 5s --angle 180 --exposure '?'"));
    }
    if knowns.asked == Some(Name::Angle) && found.angle.is_none() {
        return Err(needs(Name::Angle, "--interval and --exposure", "--interval 5s --exposure 1/50 --angle '?'"));
    }
    Ok(())
}

/// The clip's unknown, and whether there are stills enough for it.
fn clip(knowns: &Knowns, found: &mut Found) -> Result<(), Diagnostic> {
    let stills = found.stills.map(whole);
    match knowns.asked {
        Some(Name::Clip) => {
            let (Some(_), Some(_)) = (stills, found.fps) else {
                let what = "--fps, and --event and --interval or --stills";
                return Err(needs(Name::Clip, what, "--event 8h --interval 5s --fps 30 --clip '?'"));
            };
        }
        Some(Name::Fps) => {
            let (Some(stills), Some(clip)) = (stills, found.clip) else {
                let what = "--clip, and --event and --interval or --stills";
                return Err(needs(Name::Fps, what, "--event 8h --interval 5s --clip 192s --fps '?'"));
            };
            let fps = stills * found.hold.unwrap_or(whole(1)) / clip;
            if fps > whole(i128::from(crate::units::FrameRate::HIGHEST)) {
                let message = format!(
                    "{stills} stills in {} would be {} frames a second, and 480 are the most",
                    spoken(clip),
                    figure(fps, 1)
                );
                return Err(Diagnostic::mistake(message).help("write the rate and leave stills out, as in --fps 60"));
            }
            found.fps = Some(fps);
            found.came(Name::Fps, format!("{} / {}", counted(stills.to_integer(), "still"), spoken(clip)));
        }
        Some(Name::FramesPerStill) => {
            let (Some(stills), Some(frames)) = (
                stills.filter(|_| {
                    knowns.get(Name::Stills).is_some() || found.event.is_some() && found.interval.is_some()
                }),
                found.frames(),
            ) else {
                let what = "--clip and --fps, and --event and --interval or --stills";
                let example = "--event 8h --interval 5s --clip 10m --fps 24 --frames-per-still '?'";
                return Err(needs(Name::FramesPerStill, what, example));
            };
            found.hold = Some(frames / stills);
            found.came(Name::FramesPerStill, format!("{frames} frames / {}", counted(stills.to_integer(), "still")));
        }
        _ => {}
    }
    let (Some(stills), Some(frames), Some(clip), Some(fps)) = (stills, found.frames(), found.clip, found.fps) else {
        return Ok(());
    };
    let hold = found.hold.unwrap_or(whole(1));
    if knowns.asked == Some(Name::Fps) || frames <= (stills * hold).ceil() {
        return Ok(());
    }
    let all = stills * hold / fps;
    let each = if found.hold.is_some() { format!(", {} frames each", figure(hold, 3)) } else { String::new() };
    let mistake = Diagnostic::mistake(format!(
        "a clip of {} at {} a second has {frames} frames, and there are {}{each}",
        spoken(clip),
        fraction(fps),
        counted(stills.to_integer(), "still"),
    ));
    let mistake = mistake
        .help("ask how long each still would be shown: --frames-per-still '?'")
        .help(format!("or take a clip of all of them: --clip {}s", figure((all * 1000).floor() / 1000, 3)));
    Err(if knowns.get(Name::Event).is_some() && knowns.get(Name::Interval).is_some() {
        mistake.help("or ask for the interval that gives this clip: --interval '?'")
    } else {
        mistake
    })
}

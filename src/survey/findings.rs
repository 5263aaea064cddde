//! What the headers of a shoot say is wrong with it, and what to do.

use serde::Serialize;

use super::camera::{self, Change, Room};
use super::clock::spoken;
use super::rhythm::{self, Rhythm};
use crate::finding::{Finding, Gravity, stills};
use crate::shoot::{Content, Shoot};
use crate::units::SlotIndex;

/// Minimum drift of the interval over a shoot that is reported, as a share.
const DRIFT: f64 = 0.02;
/// Below this many degrees of open shutter, things that move appear to jump.
const CHOPPY: f64 = 45.0;

/// Everything the headers of a shoot tell beside the catalogue itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Its intervals, where capture times are known.
    pub rhythm: Option<Rhythm>,
    /// Settings that changed.
    pub changes: Vec<Change>,
    /// Degrees that the shutter was open of an interval: least, usual, most.
    pub shutter: Option<[f64; 3]>,
    /// The settings of the first still, in a line.
    #[serde(skip)]
    pub settings: String,
    /// How near the usual deliveries can come.
    pub rooms: Vec<Room>,
}

/// Reads a shoot's rhythm and settings.
#[must_use]
pub fn report(shoot: &Shoot) -> Report {
    let rhythm = rhythm::rhythm(shoot);
    let interval = rhythm.as_ref().map(|rhythm| rhythm.interval);
    let first = (0..shoot.slots.len()).find_map(|slot| shoot.still(SlotIndex(slot)));
    Report {
        changes: camera::changes(shoot),
        shutter: interval.and_then(|interval| camera::shutter_angles(shoot, interval)),
        settings: first.map_or_else(String::new, |still| camera::in_words(&still.settings)),
        rooms: camera::rooms(shoot.size),
        rhythm,
    }
}

/// The report as people read it.
#[must_use]
pub fn in_words(report: &Report) -> String {
    let mut out = String::new();
    if !report.settings.is_empty() {
        out += &format!("\ncamera: {}\n", report.settings);
    }
    if let Some([least, usual, most]) = report.shutter {
        let range =
            if most > 1.05 * least { format!(" ({} to {})", degrees(least), degrees(most)) } else { String::new() };
        out += &format!(
            "  shutter open for {}° of each interval{range}, where 180° blurs movement naturally\n",
            degrees(usual)
        );
    }
    out += "\ndeepest sharp zoom:\n";
    for room in &report.rooms {
        let soft = if room.deepest < 1.0 { "  enlarged even at zoom 1" } else { "" };
        out += &format!("  {:>9}  {:.2}{soft}\n", room.frame.to_string(), (room.deepest * 100.0).floor() / 100.0);
    }
    out
}

/// What is wrong.
#[must_use]
pub fn findings(shoot: &Shoot, report: &Report) -> Vec<Finding> {
    let mut found = Vec::new();
    absent(shoot, &mut found);
    match &report.rhythm {
        Some(rhythm) => times(rhythm, &mut found),
        // The frames of a recording have times of their own, clock or none.
        None if shoot.slots.len() > 1 && shoot.recording.is_none() => found.push(Finding::new(
            Gravity::Known,
            "no-times",
            "no capture times: the interval and how even it is are unknown, and nothing is guessed",
            "give the interval in the script, stills { …, interval = 5 }; keys by clock are refused, still() and part() work",
        )),
        None => {}
    }
    found.extend(report.changes.iter().map(changed));
    if let Some([_, usual, _]) = report.shutter
        && usual < CHOPPY
    {
        found.push(Finding::new(
            Gravity::Known,
            "shutter",
            format!(
                "the shutter is open for {}° of each interval: what moves fast will jump from still to still",
                degrees(usual)
            ),
            "next time expose for about half the interval, with a neutral-density filter by day; in the script, shutter = 180 or \
             between = \"mix\" softens it",
        ));
    }
    found
}

fn absent(shoot: &Shoot, found: &mut Vec<Finding>) {
    let of = |wanted: fn(&Content) -> bool| -> Vec<SlotIndex> {
        (0..shoot.slots.len()).filter(|slot| wanted(&shoot.slots[*slot].content)).map(SlotIndex).collect()
    };
    let damaged = of(|content| matches!(content, Content::Damaged { .. }));
    if !damaged.is_empty() {
        let verb = if damaged.len() == 1 { "is" } else { "are" };
        let message = format!("{} {verb} damaged", stills(&damaged));
        let advice = "copy again from the card if there is one; else damaged = \"hold\" or \"skip\" in the script";
        found.push(Finding::new(Gravity::Lost, "damaged", message, advice).about(damaged));
    }
    let missing = of(|content| matches!(content, Content::Missing));
    if !missing.is_empty() {
        let verb = if missing.len() == 1 { "is" } else { "are" };
        let message = format!("{} {verb} missing", stills(&missing));
        let advice =
            "look on the cards for files that were not copied; else missing = \"hold\" or \"skip\" in the script";
        found.push(Finding::new(Gravity::Lost, "missing", message, advice).about(missing));
    }
}

fn times(rhythm: &Rhythm, found: &mut Vec<Finding>) {
    let slots = |of: &[(SlotIndex, f64)]| of.iter().map(|(slot, _)| *slot).collect::<Vec<_>>();
    let extreme = |of: &[(SlotIndex, f64)]| of.iter().map(|(_, seconds)| *seconds).fold(0.0, f64::max);
    if !rhythm.back.is_empty() {
        let at = slots(&rhythm.back);
        let message = format!("the clock goes back, by {} at most, at {}", spoken(extreme(&rhythm.back)), stills(&at));
        let advice = "the order by name is kept; put keys on still() rather than on clock times that occur twice";
        found.push(Finding::new(Gravity::Known, "clock-back", message, advice).about(at));
    }
    if !rhythm.pauses.is_empty() {
        let at = slots(&rhythm.pauses);
        let message = format!("no still for up to {} before {}", spoken(extreme(&rhythm.pauses)), stills(&at));
        let advice = "the clip jumps there: end one shot and begin another, or rest on it with a freeze";
        found.push(Finding::new(Gravity::Seen, "pause", message, advice).about(at));
    }
    if !rhythm.outliers.is_empty() {
        let at = slots(&rhythm.outliers);
        let usual = spoken(rhythm.interval);
        let worst = rhythm
            .outliers
            .iter()
            .max_by(|a, b| (a.1 - rhythm.interval).abs().total_cmp(&(b.1 - rhythm.interval).abs()));
        let worst = worst.map_or(0.0, |(_, seconds)| *seconds);
        let message = format!(
            "{} off the interval of {usual} by more than 20 %, the worst by {}",
            come(&at),
            spoken((worst - rhythm.interval).abs())
        );
        let advice = "movement is uneven there; a timer that counts from the end of each exposure does this, a shorter exposure or a \
                      longer interval helps";
        found.push(Finding::new(Gravity::Seen, "interval", message, advice).about(at));
    }
    if let Some([first, last]) = rhythm.drift
        && (last / first - 1.0).abs() > DRIFT
    {
        let message = format!("the interval drifts from {} to {}", spoken(first), spoken(last));
        let advice = "the clip slowly changes its pace; keys by clock still keep their moments";
        found.push(Finding::new(Gravity::Known, "drift", message, advice));
    }
}

fn come(slots: &[SlotIndex]) -> String {
    format!("{} come{}", stills(slots), if slots.len() == 1 { "s" } else { "" })
}

fn changed(change: &Change) -> Finding {
    let Change { what, first: [from, to], slots } = change;
    let times = if slots.len() == 1 { "once".to_owned() } else { format!("{} times", slots.len()) };
    let message = format!("the {what} changes {times}, first from {from} to {to} at still {}", slots[0].0 + 1);
    let (gravity, advice) = match *what {
        "exposure" | "aperture" | "sensitivity" => (
            Gravity::Seen,
            "brightness jumps there, unless the light changed too; next time set it by hand, or ramp it evenly",
        ),
        "exposure mode" | "white balance" => {
            (Gravity::Seen, "next time fix it: what the camera chooses anew for every still causes flicker")
        }
        "focus" | "focal length" => (
            Gravity::Seen,
            "the picture changes its sharpness or its size there: begin another shot at that still (from, to)",
        ),
        "profile" => (Gravity::Known, "each still is converted from its own; next time leave the colour space alone"),
        _ => (Gravity::Known, "each tag is used; orientation = \"ignore\" takes the stills as stored"),
    };
    Finding::new(gravity, "setting", message, advice).about(slots.iter().copied())
}

fn degrees(angle: f64) -> f64 {
    if angle < 10.0 { (angle * 10.0).round() / 10.0 } else { angle.round() }
}

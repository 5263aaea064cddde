//! A recorded video as a shoot: every frame a still, at the time its packet says it is shown.
//!
//! Only the container and its packets are read; nothing is decoded but what FFmpeg needs to see what the stream is.
//!
//! ## Decisions
//!
//! - A frame is found by the time of its packet, as the demuxer gives it after edit lists. Frames that an edit list
//!   hides are decoded but take no slot.
//! - The clock is the container's: QuickTime's creation date with its offset, else `creation_time`, which is UTC.
//! - Times within a tick and a half of even are even; else the rate is variable.
//! - A file without its index is refused. Frames that a sample table promises and the file lacks are missing slots;
//!   elsewhere a header's count is only remarked on.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;
use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp};

use super::clock::{median, spoken};
use super::{Request, find, master, shown};
use crate::decode::header::{self, Kind, VIDEO};
use crate::decode::recording::{Scan, scan};
use crate::diag::{Diagnostic, Diagnostics, fit};
use crate::master::Sidecar;
use crate::shoot::{
    Captured, Content, Damage, Format, Note, Orientation, RecordedSound, Recording, Settings, Shoot, Slot, Still,
};
use crate::units::SlotIndex;

/// A step longer than this many usual ones is a gap.
const GAP: f64 = 3.0;

/// Containers begin to count in 1904 or 1970: an earlier year than this is a clock that was never set.
const FIRST_YEAR: i16 = 1980;

/// Whether what is to be surveyed is one file that is a video by its content.
#[must_use]
pub fn is_recording(request: &Request) -> bool {
    let [path] = &request.paths[..] else { return false };
    let path = request.base.join(path);
    path.is_file() && matches!(header::kind(&path), Ok(Kind::Other(VIDEO)))
}

/// Surveys a recorded video.
///
/// # Errors
/// Mistakes without a place in the script: no such file, no recording, one that cannot be read or shown.
pub fn recording(request: &Request) -> Result<Shoot, Diagnostics> {
    let [written] = &request.paths[..] else {
        let mistake = Diagnostic::mistake(format!("a recording is one file; seen {}", request.paths.len()));
        return Err(mistake.help("a shot for each of them, or stills { … } for files of single frames").into());
    };
    let path: PathBuf = request.base.join(written).components().collect();
    let metadata = fs::metadata(&path).map_err(|error| Diagnostics::from(find::not_there(&path, written, &error)))?;
    if metadata.is_dir() {
        let mistake = Diagnostic::mistake(format!("'{written}' is a folder, but a recording is a file"));
        return Err(mistake.help(format!("stills {{ {written:?} }} reads a folder of stills")).into());
    }
    let scan = scan(&path).map_err(|damage| Diagnostics::from(refused(&path, written, &damage)))?;
    let beside = crate::master::beside(&path);
    let of_no_use = |why: String| {
        let mistake = Diagnostic::mistake(format!("{} cannot be used: {why}", shown(&beside)));
        let help = "it came with its master: copy both again; without it the master is a recording whose frames have numbers only";
        Diagnostics::from(mistake.help(help))
    };
    let is_master = scan.is_master;
    if let Some(sidecar) = Sidecar::read(&beside, is_master).map_err(|error| of_no_use(error.to_string()))? {
        return master::shoot(scan, sidecar).map_err(of_no_use);
    }
    let mut shoot = shoot(scan, request.obey_orientation);
    if is_master {
        let message = format!(
            "it is a master, but its sidecar {} is missing: its stills have neither names nor times",
            shown(&beside)
        );
        shoot.notes.push(Note { message, slots: Vec::new() });
    }
    Ok(shoot)
}

fn refused(path: &Path, written: &str, damage: &Damage) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!("{} cannot be used as a recording: {damage}", shown(path)));
    match damage {
        Damage::NotAPicture(what) if what.starts_with("a still") => {
            mistake.help(format!("write stills {{ {written:?} }}"))
        }
        Damage::NotAPicture(_) | Damage::Corrupt(_) => {
            mistake.help("recordings are MP4, MOV, MKV, WebM, AVI, MXF, MPEG transport or program streams")
        }
        _ => mistake,
    }
}

/// The shoot that a recording is.
fn shoot(scan: Scan, obey_orientation: bool) -> Shoot {
    let (clock, said) = clock(&scan);
    let mut notes = Vec::new();
    let mut note = |message: String, slots: Vec<SlotIndex>| notes.push(Note { message, slots });
    if scan.first != 0.0 {
        let when = scan.first;
        note(
            format!("its first frame is shown at {when:.3} s by its own clock: the shoot begins with that frame"),
            Vec::new(),
        );
    }
    let mut recording = scan.recording;
    recording.clock = said;
    if !obey_orientation {
        recording.orientation = Orientation::Upright;
    }
    let frames = recording.ticks.len();
    let steps: Vec<f64> = recording.seconds.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let interval = match recording.rate {
        _ if steps.is_empty() => recording.rate.map(|(frames, seconds)| f64::from(seconds) / f64::from(frames)),
        Some((frames, seconds)) => Some(f64::from(seconds) / f64::from(frames)),
        None => median(steps.clone()),
    };
    if let (None, Some(usual)) = (recording.rate, interval) {
        let (least, most) =
            steps.iter().fold((f64::INFINITY, 0.0_f64), |(least, most), step| (least.min(*step), most.max(*step)));
        let [least, usual_ms, most] = [least, usual, most].map(|seconds| (seconds * 100_000.0).round() / 100.0);
        note(
            format!(
                "its frames come at uneven times, {least} to {most} ms apart, {usual_ms} ms as a rule: each counts at its own time"
            ),
            Vec::new(),
        );
        let gaps: Vec<SlotIndex> =
            (0..).zip(&steps).filter(|(_, step)| **step > GAP * usual).map(|(slot, _)| SlotIndex(slot)).collect();
        if let Some(first) = gaps.first() {
            let (at, long) = (recording.seconds[first.0], spoken(steps[first.0]));
            let words = match gaps.len() {
                1 => format!("the step at {at:.3} s is a gap, {long} long"),
                count => format!("{count} of the steps are gaps, the first at {at:.3} s, {long} long"),
            };
            note(words, gaps);
        }
    }
    if recording.aspect.0 != recording.aspect.1 {
        let ((across, down), size) = (recording.aspect, recording.squared());
        note(format!("its pixels are not square ({across}:{down}): frames are taken for {size}"), Vec::new());
    }
    if recording.interlaced {
        note("interlaced: of each frame the field taken first is shown, every other line".into(), Vec::new());
    }
    if scan.unseen > 0 {
        note(format!("{} frames are left out by its edit list", scan.unseen), Vec::new());
    }
    if scan.twins > 0 {
        note(format!("{} frames have the same time as another one: left out", scan.twins), Vec::new());
    }
    if let Some(promised) = scan.promised {
        note(format!("its header promises {promised} frames, but it holds {frames}: those are used"), Vec::new());
    }
    if let (Some(lasts), None) = (scan.lasts, scan.promised) {
        let end = scan.first + recording.seconds.last().copied().unwrap_or(0.0) + interval.unwrap_or(0.0);
        note(
            format!(
                "its header says that it lasts {lasts:.2} s, but its frames end at {end:.2} s: the file is cut short; copy it again"
            ),
            Vec::new(),
        );
    }
    if scan.cut_off > 0 {
        let slots = (frames..frames + scan.cut_off).map(SlotIndex).collect();
        let words =
            "the file is cut short, its last {} frames are not in it: copy it again, or end with to = still({})";
        let words = words.replacen("{}", &scan.cut_off.to_string(), 1).replacen("{}", &frames.to_string(), 1);
        note(words, slots);
    }
    let stem = recording.path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let still = |seconds: &f64| {
        Content::Whole(Still {
            path: recording.path.clone(),
            format: Format::Frame,
            stored: recording.squared(),
            orientation: recording.orientation,
            captured: clock.and_then(|clock| later(clock, *seconds)),
            bytes: recording.bytes,
            modified: recording.modified,
            settings: Settings::default(),
        })
    };
    let contents = recording.seconds.iter().map(still).chain((0..scan.cut_off).map(|_| Content::Missing));
    let stem = fit(&stem);
    let slots =
        (1..).zip(contents).map(|(number, content)| Slot { name: format!("{stem}#{number}"), content }).collect();
    let size = recording.orientation.upright(recording.squared());
    Shoot { slots, size, interval, set_aside: Vec::new(), notes, recording: Some(recording), members: Vec::new() }
}

fn later(clock: Captured, seconds: f64) -> Option<Captured> {
    let local = clock.local.checked_add(SignedDuration::try_from_secs_f64(seconds).ok()?).ok()?;
    Some(Captured { local, ..clock })
}

/// When the first frame was taken, and what that goes by.
fn clock(scan: &Scan) -> (Option<Captured>, &'static str) {
    let local = scan.created_locally.as_deref().and_then(with_offset);
    let universal = || {
        let local = Offset::UTC.to_datetime(scan.created.as_deref()?.parse::<Timestamp>().ok()?);
        Some(Captured { local, offset: Some(0) })
    };
    let set = |captured: &Captured| captured.local.year() >= FIRST_YEAR;
    match (local.filter(set), universal().filter(set)) {
        (Some(captured), _) => (Some(captured), "the camera's local time, by what the container says of its making"),
        (None, Some(captured)) => (Some(captured), "UTC: the container says when it was made, and not where"),
        (None, None) => (None, "none: the container does not say when it was made; times(…) still works"),
    }
}

/// A time with an offset as QuickTime writes it: `2026-05-01T14:00:00+0200`.
fn with_offset(text: &str) -> Option<Captured> {
    let parsed = jiff::fmt::strtime::parse("%Y-%m-%dT%H:%M:%S%z", text).ok()?;
    let local: DateTime = parsed.to_datetime().ok()?;
    Some(Captured { local, offset: parsed.offset().map(Offset::seconds) })
}

/// What a recording is, in a few lines.
pub(super) fn write(recording: &Recording, shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    let frames = recording.ticks.len();
    if recording.master.is_some() {
        let (slots, path, codec) = (shoot.slots.len(), shown(&recording.path), &recording.codec);
        writeln!(out, "a master: {frames} of {slots} stills as frames of {}, {codec}, {path}", shoot.size)?;
        return writeln!(out, "clock: {}", recording.clock);
    }
    writeln!(out, "a recording: {frames} frames of {}, {}", shoot.size, shown(&recording.path))?;
    let length = recording.seconds.last().copied().unwrap_or(0.0) + shoot.interval.unwrap_or(0.0);
    let rate = match (recording.rate, shoot.interval) {
        (Some((frames, 1)), _) => format!("{frames} frames a second"),
        (Some((frames, seconds)), _) => {
            format!("{:.3} frames a second ({frames}/{seconds})", f64::from(frames) / f64::from(seconds))
        }
        (None, Some(interval)) => format!("a variable rate, about {:.2} frames a second", 1.0 / interval),
        (None, None) => "no rate".to_owned(),
    };
    writeln!(
        out,
        "{}, {rate}, {}, decoding begins at {} key frames",
        spoken(length),
        recording.codec,
        recording.keys.len()
    )?;
    if let Some(RecordedSound { codec, rate, channels, is_read }) = &recording.sound {
        let (sides, read) =
            (if *channels == 1 { "channel" } else { "channels" }, if *is_read { "" } else { ", which is not read" });
        writeln!(out, "sound: {codec}{read}, {channels} {sides}, {rate} samples a second")?;
    }
    writeln!(out, "clock: {}", recording.clock)
}

//! Where the recording's sound is heard: in the passages of the clip that run in real time.
//!
//! Sound cannot be sped up, slowed, turned or mixed with that of another moment and still be what was heard there, so
//! it is kept where a second of the clip is a second of the recording, and elsewhere there is silence.
//!
//! ## Decisions
//!
//! - A *passage* is a stretch of the clip that runs forwards within a thousandth of real time, without a jump of the
//!   recording (`PaceMap::stretches_near`). Where the rate varies, only a pace in `times(…)` knows real time.
//! - Sound is played at its own speed. Over a passage it is never more than 10 ms from its frames, or the passage is
//!   silent.
//! - Fades are half a cosine of amplitude inside the passage: 0.25 s where the pace changes, rests, turns or a loop is
//!   mixed; 10 ms at a cut and at the clip's ends. What is shorter than two of the former is silent.

use std::sync::Arc;

use crate::curve::pace::PaceMap;
use crate::diag::{Diagnostic, Diagnostics, Place, Placed};
use crate::plan::{DeliveryPlan, Passage, SoundReason, heard_at};
use crate::shoot::{MOST_CHANNELS, Recording};
use crate::shot::{Delivery, Shot};
use crate::units::ScreenTime;

use super::axis::Axis;
use super::moments::Moments;
use super::resolved::Seen;
use super::times::number;
use super::words;

/// How far from 1 a pace in real time may be: a thousandth, which takes in film's 24 a second for television's 23.976.
const REAL_TIME: f64 = 0.001;

/// The most seconds that sound may come early or late within a passage whose pace is not quite 1. From 45 ms early on
/// it is seen (ITU-R BT.1359-1, from memory); this is our choice, well below.
const OUT_OF_STEP: f64 = 0.01;

/// Seconds of a fade where the pace changes, the shoot rests or turns, or a loop is mixed.
const RAMP: f64 = 0.25;

/// Seconds of a fade at a cut and at the clip's ends: nothing clicks, and nothing is missed.
const EDGE: f64 = 0.01;

/// Stretches in real time that are shorter than this are passed on a ramp, and nobody meant them.
const PASSED: f64 = 0.1;

/// Moments nearer than this are one.
const TOGETHER: f64 = 1e-6;

/// Gives the deliveries that keep sound their passages, with what a person should know of them in `found`.
pub(super) fn resolve(
    shot: &Shot,
    moments: &Moments<'_>,
    pace: &PaceMap,
    length: ScreenTime,
    deliveries: &mut [DeliveryPlan],
    found: &mut Diagnostics,
) {
    let asked =
        shot.deliveries.iter().filter_map(|delivery| delivery.sound.as_ref()).min_by_key(|sound| sound.place.line);
    let Some(Placed { place, .. }) = asked else { return };
    let mut said = Vec::new();
    let passages: Arc<[Passage]> = match silence(moments, pace) {
        Some(why) => {
            said.push(Diagnostic::remark(why));
            [].into()
        }
        None => passages(moments, pace, length, &mut said).into(),
    };
    found.0.extend(said.into_iter().map(|remark| remark.at(place).word("sound")));
    let keeping = shot.deliveries.iter().zip(deliveries).filter(|(delivery, _)| delivery.sound.is_some());
    keeping.for_each(|(_, plan)| {
        plan.sound = Arc::clone(&passages);
        plan.unread_sound = shot.source.damaged;
    });
}

/// Why nothing can be heard, whatever the pace.
fn silence(moments: &Moments<'_>, pace: &PaceMap) -> Option<String> {
    let Some(recording) = &moments.shoot.recording else {
        return Some("stills have no sound: the clip is silent".into());
    };
    let Some(sound) = &recording.sound else { return Some("the recording has no sound: the clip is silent".into()) };
    if sound.channels > MOST_CHANNELS {
        let channels = sound.channels;
        return Some(format!(
            "the recording's sound has {channels} channels; at most {MOST_CHANNELS} are mixed: the clip is silent"
        ));
    }
    if !sound.is_read {
        return Some(format!(
            "the recording's sound is coded as {}, which is not read: the clip is silent",
            sound.codec
        ));
    }
    let counts_stills = recording.rate.is_none() && !pace.has_time_map();
    counts_stills.then(|| {
        "the recording's rate varies but the pace counts its frames: only times(1) is real time, so the clip is silent".into()
    })
}

fn passages(moments: &Moments<'_>, pace: &PaceMap, length: ScreenTime, said: &mut Vec<Diagnostic>) -> Vec<Passage> {
    let (Some(recording), Some(interval)) = (&moments.shoot.recording, moments.times.interval) else {
        return Vec::new();
    };
    let clock = Clock { axis: moments.axis, recording, interval };
    // What is mixed at a loop's join is of two moments.
    let end = length.0 - pace.lead();
    let (mut passages, mut short, mut astray) = (Vec::new(), Vec::new(), Vec::new());
    for (from, to) in pace.stretches_near(1.0 / interval, REAL_TIME) {
        let (from, to) = (from.max(0.0), to.min(end));
        if to <= from {
            continue;
        }
        for (from, to) in clock.unbroken(pace, from, to) {
            if to - from < 2.0 * RAMP - TOGETHER {
                if to - from >= PASSED {
                    short.push((from, to));
                }
                continue;
            }
            let (recording, off) = clock.in_step(pace, from, to);
            if off > OUT_OF_STEP {
                astray.push((from, to, off));
                continue;
            }
            let fade = |at: f64| {
                if at < TOGETHER || at > length.0 - TOGETHER || clock.cuts_at(pace, at) { EDGE } else { RAMP }
            };
            passages.push(Passage { from, to, recording, fade_in: fade(from), fade_out: fade(to), member: 0 });
        }
    }
    let first =
        |at: f64, count: usize| format!("{}{} s", if count > 1 { "the first at " } else { "at " }, words::figure(at));
    if let Some((from, _)) = short.first() {
        let (count, least) = (short.len(), words::figure(2.0 * RAMP));
        let stretches = if count == 1 { "1 stretch" } else { &format!("{count} stretches") };
        said.push(Diagnostic::remark(format!(
            "{stretches} in real time, {}, shorter than the {least} s that two fades take: silent there",
            first(*from, count)
        )));
    }
    if let Some((from, _, off)) = astray.first() {
        let message = format!(
            "the pace is not quite real time, and {} its sound would come up to {} ms out of step: silent there",
            first(*from, astray.len()),
            words::figure(off * 1000.0)
        );
        said.push(Diagnostic::remark(message).help("times(1) is real time"));
    }
    if passages.is_empty() && said.is_empty() {
        let message = format!("the clip never runs in real time for {} s: it is silent", words::figure(2.0 * RAMP));
        said.push(Diagnostic::remark(message).help("times(1) is real time: key { at = still(100), rate = times(1) }"));
    }
    passages
}

/// Positions on the shoot's axis as seconds of the recording.
struct Clock<'a> {
    axis: &'a Axis,
    recording: &'a Recording,
    interval: f64,
}

impl Clock<'_> {
    /// The second of the recording at a position; ticks are rounded, so an even rate goes by the count.
    fn second(&self, position: f64) -> f64 {
        let (place, part) = self.place(position);
        let slot = self.axis.places[place].slot.0;
        match self.recording.seconds.get(slot..) {
            Some([from, to, ..]) if self.recording.rate.is_none() => from + (to - from) * part,
            Some([from]) if self.recording.rate.is_none() => from + self.interval * part,
            _ => (number(slot) + part) * self.interval,
        }
    }

    /// The place of a position, and how much of it has gone by.
    fn place(&self, position: f64) -> (usize, f64) {
        let last = self.axis.places.len() - 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positions lie in 0 to the places")]
        let place = (position.max(0.0) as usize).min(last);
        (place, (position - number(place)).clamp(0.0, 1.0))
    }

    /// Whether the recording goes on from one place to the next without a jump.
    fn goes_on(&self, place: usize) -> bool {
        let places = &self.axis.places;
        place == 0 || places.get(place).is_none_or(|after| after.slot.0 == places[place - 1].slot.0 + 1)
    }

    /// The parts of a stretch between jumps: cuts, skipped frames, and the end of what the file holds.
    fn unbroken(&self, pace: &PaceMap, from: f64, to: f64) -> Vec<(f64, f64)> {
        let (first, last) = (self.place(pace.position(from)).0, self.place(pace.position(to)).0);
        let held = |place: usize| self.axis.places[place].slot.0 < self.recording.seconds.len();
        let (mut parts, mut begin) = (Vec::new(), from);
        let mut keep = |begin: f64, end: f64, place: usize| {
            if end > begin && held(place) {
                parts.push((begin, end));
            }
        };
        for place in first + 1..=last {
            if self.goes_on(place) && held(place) == held(place - 1) {
                continue;
            }
            let at = reached(pace, number(place), from, to);
            keep(begin, at, place - 1);
            begin = at;
        }
        // A stretch that ends where a place begins has nothing of that place.
        keep(begin, to, last);
        parts
    }

    /// The second of the recording at the beginning of a passage, by which its sound is never further out of step than
    /// need be; and how far that is.
    fn in_step(&self, pace: &PaceMap, from: f64, to: f64) -> (f64, f64) {
        const LOOKS: u32 = 256;
        let off = |look: u32| {
            let gone = (to - from) * (f64::from(look) + 0.5) / f64::from(LOOKS);
            self.second(pace.position(from + gone)) - gone
        };
        let (least, most) = (0..LOOKS)
            .map(off)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), off| (least.min(off), most.max(off)));
        // To the nanosecond: a rounding below 0 is 0.
        let recording = (f64::midpoint(least, most) * 1e9).round() / 1e9 + 0.0;
        (recording, (most - least) / 2.0)
    }

    /// Whether the recording jumps at a moment of the clip.
    fn cuts_at(&self, pace: &PaceMap, at: f64) -> bool {
        let position = pace.position(at);
        let near = position.round();
        (position - near).abs() < 1e-3 && !self.goes_on(self.place(near).0)
    }
}

/// When the pace reaches a position, between two moments in which it runs forwards.
fn reached(pace: &PaceMap, position: f64, from: f64, to: f64) -> f64 {
    let (mut low, mut high) = (from, to);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if pace.position(middle) < position { low = middle } else { high = middle }
    }
    high
}

/// What is heard of a delivery at a second of its clip, where it keeps sound.
pub(super) fn reason(
    seen: &Seen<'_>,
    moments: &Moments<'_>,
    delivery: &Delivery,
    plan: &DeliveryPlan,
    seconds: f64,
) -> Option<SoundReason> {
    let place: Place = delivery.sound.as_ref()?.place.clone();
    let interval = moments.times.interval?;
    let heard = heard_at(&plan.sound, seconds).map(|passage| (passage.recorded(seconds), passage.gain(seconds)));
    Some(SoundReason { place, pace: seen.made.pace.even_rate(seconds) * interval, heard })
}

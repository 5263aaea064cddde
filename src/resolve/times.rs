//! When the stills were taken, and where among all the slots a script's moments lie.

use jiff::civil::{DateTime, Time};

use crate::diag::{self, Diagnostic, Diagnostics};
use crate::shoot::Shoot;
use crate::shot::{Clock, ClockDay, Moment, Shot};
use crate::units::SlotIndex;

use super::words;

/// A gap between stills wider than this many intervals is a gap: a clock time inside it means the still after it.
const GAP: f64 = 3.0;

const DAY: f64 = 86_400.0;

/// When the stills were taken, in seconds since the midnight before the first one by the camera's local time.
#[derive(Debug, Clone)]
pub(super) struct Times {
    /// The first still's midnight; none where no still carries a time.
    midnight: Option<DateTime>,
    /// Slots with a time, in order.
    taken: Vec<(usize, f64)>,
    /// Slots in all.
    slots: usize,
    /// Seconds from one still to the next: as measured, else as the script says.
    pub(super) interval: Option<f64>,
}

impl Times {
    /// Reads the shoot's times; an `interval` that disagrees with them is a remark.
    pub(super) fn of(shot: &Shot, shoot: &Shoot, found: &mut Diagnostics) -> Self {
        let captured: Vec<(usize, DateTime)> = (0..shoot.slots.len())
            .filter_map(|slot| shoot.captured(SlotIndex(slot)).map(|captured| (slot, captured.local)))
            .collect();
        let midnight = captured.first().map(|(_, local)| local.date().to_datetime(Time::midnight()));
        let taken: Vec<(usize, f64)> = midnight.map_or_else(Vec::new, |midnight| {
            captured.iter().map(|(slot, local)| (*slot, local.duration_since(midnight).as_secs_f64())).collect()
        });
        let is_filmed = shoot.recording.as_ref().is_some_and(|recording| recording.master.is_none());
        if is_filmed && shot.source.interval.is_some() {
            found.push(
                Diagnostic::mistake(
                    "interval is for stills without capture times: a recording's frames have times of their own",
                )
                .at(&shot.source.place)
                .word("interval")
                .help("leave it out; times(1) is real time"),
            );
        } else if let (Some(said), Some(measured)) = (shot.source.interval, shoot.interval) {
            // Times to the whole second leave the median of a fractional interval up to half a second off.
            let whole_seconds = captured.iter().all(|(_, local)| local.subsec_nanosecond() == 0);
            let allowed = 0.05 * said + if whole_seconds { 0.5 } else { 0.0 };
            if (said - measured).abs() > allowed {
                found.push(
                    Diagnostic::remark(format!(
                        "the capture times say {} s from still to still, the script says {} s: the capture times are used",
                        words::figure(measured),
                        words::figure(said)
                    ))
                    .at(&shot.source.place)
                    .word("interval"),
                );
            }
        }
        Self { midnight, taken, slots: shoot.slots.len(), interval: shoot.interval.or(shot.source.interval) }
    }

    /// Whether a slot's still tells when it was taken.
    pub(super) fn is_known(&self, slot: usize) -> bool {
        self.taken.binary_search_by_key(&slot, |(slot, _)| *slot).is_ok()
    }

    /// Whether none does.
    pub(super) fn is_empty(&self) -> bool {
        self.taken.is_empty()
    }

    /// When a slot's still was taken, or would have been, in seconds since the midnight before the first one: as it
    /// tells, or else evenly between its neighbours. None where no still carries a time.
    pub(super) fn seconds(&self, slot: usize) -> Option<f64> {
        let after = self.taken.partition_point(|(taken, _)| *taken < slot);
        let (before, after) = (after.checked_sub(1).map(|at| self.taken[at]), self.taken.get(after).copied());
        let by = |slots: usize| number(slots) * self.interval.unwrap_or(0.0);
        match (before, after) {
            (_, Some((exact, at))) if exact == slot => Some(at),
            (Some((first, from)), Some((last, to))) => {
                Some(from + (to - from) * number(slot - first) / number(last - first))
            }
            (Some((last, at)), None) => Some(at + by(slot - last)),
            (None, Some((first, at))) => Some(at - by(first - slot)),
            (None, None) => None,
        }
    }

    /// The same as a date and a time of day.
    pub(super) fn moment(&self, slot: usize) -> Option<DateTime> {
        let seconds = jiff::SignedDuration::try_from_secs_f64(self.seconds(slot)?).ok()?;
        Some(self.midnight?.saturating_add(seconds))
    }

    /// How many times `unit` seconds lie between two slots' stills by their capture times, below 0 where the clock was
    /// set back; none where one has no time.
    pub(super) fn units(&self, before: usize, after: usize, unit: f64) -> Option<f64> {
        let taken = |slot| self.seconds(slot).filter(|_| self.is_known(slot));
        Some((taken(after)? - taken(before)?) / unit)
    }

    /// Every place the clock stands at this time: by slots, with whether stills were being taken then, and the day.
    /// Times inside gaps count only where there are no others.
    fn hits(&self, clock: &Clock, day: Option<f64>) -> Vec<Hit> {
        let (Some(&(first, begins)), Some(&(last, ends))) = (self.taken.first(), self.taken.last()) else {
            return Vec::new();
        };
        let of_day = clock.time.duration_since(Time::midnight()).as_secs_f64();
        // The moments in `from..to` at which the clock shows that time (on that day), each with its day.
        let moments = |from: f64, to: f64| {
            let first = day.unwrap_or_else(|| ((from - of_day) / DAY).ceil());
            let days = std::iter::successors(Some(first), move |before| day.is_none().then_some(before + 1.0));
            days.map(move |day| (day * DAY + of_day, day))
                .take_while(move |(at, _)| *at < to)
                .filter(move |(at, _)| *at >= from)
        };
        let interval = self.interval.unwrap_or(0.0);
        let mut hits = Vec::new();
        for (at, day) in moments(begins - interval * number(first), begins) {
            hits.push(Hit { slots: number(first) - (begins - at) / interval, in_gap: false, day });
        }
        for pair in self.taken.windows(2) {
            let ((before, from), (after, to)) = (pair[0], pair[1]);
            let spacing = (to - from) / number(after - before);
            let gap = interval > 0.0 && spacing > GAP * interval;
            for (at, day) in moments(from, to).take(if gap { 2 } else { usize::MAX }) {
                let in_gap = gap && at > from;
                let slots = if in_gap { number(after) } else { number(before) + (at - from) / spacing };
                hits.push(Hit { slots, in_gap, day });
            }
        }
        let room = interval * number(self.slots - last);
        for (at, day) in moments(ends, ends + room.max(1e-9)) {
            hits.push(Hit {
                slots: number(last) + if room > 0.0 { (at - ends) / interval } else { 0.0 },
                in_gap: false,
                day,
            });
        }
        if hits.iter().any(|hit| !hit.in_gap) {
            hits.retain(|hit| !hit.in_gap);
        }
        hits.dedup_by(|later, earlier| (later.slots - earlier.slots).abs() < 1e-9);
        hits
    }

    /// From when to when the shoot ran, in words.
    pub(super) fn span(&self) -> String {
        let (Some(midnight), Some(first), Some(last)) = (self.midnight, self.taken.first(), self.taken.last()) else {
            return "the shoot has no capture times".to_owned();
        };
        let written = |seconds: f64| {
            let moment = midnight.saturating_add(jiff::SignedDuration::from_secs_f64(seconds));
            moment.strftime("%Y-%m-%d %H:%M:%S").to_string()
        };
        format!("the shoot runs from {} to {}", written(first.1), written(last.1))
    }

    fn date(&self, day: f64) -> String {
        self.midnight.map_or_else(String::new, |midnight| {
            let date = midnight.saturating_add(jiff::SignedDuration::from_secs_f64(day * DAY)).date();
            date.to_string()
        })
    }
}

/// A place where the clock stands at a time.
#[derive(Debug, Clone, Copy)]
struct Hit {
    slots: f64,
    in_gap: bool,
    day: f64,
}

pub(super) fn number(count: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
    let number = count as f64;
    number
}

/// A fraction of the shoot, checked.
pub(super) fn fraction(part: f64) -> Result<f64, Diagnostic> {
    if (0.0..=1.0).contains(&part) {
        return Ok(part);
    }
    Err(Diagnostic::mistake(format!("part takes a fraction from 0 (start) to 1 (end); seen {}", words::figure(part)))
        .word("part"))
}

/// Where among all the slots, missing ones included, a `still` or `clock` moment lies.
///
/// # Errors
/// A mistake without a place.
pub(super) fn slot_position(moment: &Moment, shoot: &Shoot, times: &Times) -> Result<f64, Diagnostic> {
    match moment {
        Moment::Still(written) => numbered(*written, shoot),
        Moment::StillNamed(name) => named(name, shoot),
        Moment::Clock(clock) => clocked(clock, shoot, times).map(|hit| hit.slots),
        Moment::Start | Moment::Part(_) | Moment::Screen(_) | Moment::Timecode(_) | Moment::End => {
            Err(Diagnostic::mistake("this is not a moment of the shoot")
                .help("still(1), still \"NAME\" or clock \"14:32\""))
        }
    }
}

/// One past the last slot that a `still` or `clock` moment takes in as an end: the still itself, or the last one taken
/// by then.
///
/// # Errors
/// As [`slot_position`].
pub(super) fn slot_end(moment: &Moment, shoot: &Shoot, times: &Times) -> Result<f64, Diagnostic> {
    if let Moment::Clock(clock) = moment {
        let hit = clocked(clock, shoot, times)?;
        return Ok(if hit.in_gap { hit.slots } else { (hit.slots + 1e-9).floor() + 1.0 });
    }
    slot_position(moment, shoot, times).map(|slot| slot + 1.0)
}

fn numbered(written: i64, shoot: &Shoot) -> Result<f64, Diagnostic> {
    let slots = shoot.slots.len();
    let slot = match usize::try_from(written.unsigned_abs()) {
        Ok(counted) if written > 0 && counted <= slots => Some(counted - 1),
        Ok(counted) if written < 0 && counted <= slots => Some(slots - counted),
        _ => None,
    };
    slot.map(number).ok_or_else(|| {
        let mistake = Diagnostic::mistake(format!("there is no still({written})")).word("still");
        mistake.help(format!("this shoot has still(1) to still({slots}); still(-1) is the last"))
    })
}

fn named(name: &str, shoot: &Shoot) -> Result<f64, Diagnostic> {
    let all: Vec<usize> = shoot
        .slots
        .iter()
        .enumerate()
        .filter(|(_, slot)| slot.name == *diag::fit(name))
        .map(|(index, _)| index)
        .collect();
    match all[..] {
        [one] => Ok(number(one)),
        [] => {
            let mut mistake = Diagnostic::mistake(format!("no still is named {name}")).word(name);
            let names: Vec<&str> = shoot.slots.iter().map(|slot| slot.name.as_str()).collect();
            if let Some(near) = diag::nearest(name, &names) {
                mistake = mistake.help(format!("did you mean \"{near}\"?"));
            }
            if let (Some(first), Some(last)) = (names.first(), names.last()) {
                mistake = mistake.help(format!("this shoot runs from {first} to {last}"));
            }
            Err(mistake)
        }
        _ => {
            let written: Vec<String> = all.iter().map(|slot| format!("still({})", slot + 1)).collect();
            Err(Diagnostic::mistake(format!("{} stills are named {name}", all.len()))
                .word(name)
                .help(format!("choose one by its number: {}", words::list(&written))))
        }
    }
}

fn clocked(clock: &Clock, shoot: &Shoot, times: &Times) -> Result<Hit, Diagnostic> {
    let Some(midnight) = times.midnight else {
        return Err(Diagnostic::mistake("clock needs capture times, and no still of this shoot has one")
            .word("clock")
            .help("still(1), still \"NAME\" or part(0.25) work without them"));
    };
    let day = match clock.day {
        ClockDay::Only => None,
        ClockDay::Nth(nth) => Some(f64::from(nth) - 1.0),
        ClockDay::On(date) => Some((date.duration_since(midnight.date()).as_secs_f64() / DAY).round()),
    };
    let hits = times.hits(clock, day);
    match &hits[..] {
        [one] => Ok(*one),
        [] => Err(Diagnostic::mistake(format!("the clock never shows {} during this shoot", clock.text))
            .word(&clock.text)
            .help(times.span())),
        [first, second, ..] if first.day == second.day => {
            let names: Vec<String> = hits
                .iter()
                .map(|hit| {
                    #[expect(
                        clippy::cast_possible_truncation,
                        clippy::cast_sign_loss,
                        reason = "a position among the slots"
                    )]
                    let slot = (hit.slots as usize).min(shoot.slots.len() - 1);
                    format!("still \"{}\"", shoot.slots[slot].name)
                })
                .collect();
            Err(Diagnostic::mistake(format!(
                "the camera's clock was set back: it shows {} at {}",
                clock.text,
                words::list(&names)
            ))
            .word(&clock.text)
            .help(format!("choose one: {}", words::list(&names))))
        }
        _ => {
            let dates: Vec<String> = hits.iter().take(8).map(|hit| times.date(hit.day)).collect();
            let mut written = words::list(&dates);
            if hits.len() > dates.len() {
                written = format!("{}, … ({} days)", dates.join(", "), hits.len());
            }
            Err(Diagnostic::mistake(format!("the clock shows {} more than once: on {written}", clock.text))
                .word(&clock.text)
                .help(format!("choose one: clock \"{} {}\", or clock \"day 2 {}\"", dates[0], clock.text, clock.text)))
        }
    }
}

//! Reads moments, clock times, timecodes and lengths as scripts write them.

use jiff::civil::{Date, Time};

use crate::shot::{Clock, ClockDay, Moment};
use crate::units::{FrameRate, ScreenTime, parse_timecode};

/// The longest screen time a script may name, in seconds.
pub(super) const LONGEST: f64 = ScreenTime::LONGEST.0;

/// The longest step of the clock that stills are chosen by, in seconds: a leap year.
pub(super) const LONGEST_STEP: f64 = 31_622_400.0;

/// Bytes of the longest clock time.
const LONGEST_CLOCK: usize = 64;

/// A moment, or a timecode that waits for the shot's rate.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum DraftMoment {
    Known(Moment),
    /// As written.
    Timecode(String),
}

/// Which axis a moment lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Axis {
    Screen,
    Shoot,
    /// `"start"` and `"end"`: of the clip in a framing, of the shoot in a pace.
    Either,
}

impl DraftMoment {
    pub(super) fn axis(&self) -> Axis {
        match self {
            Self::Timecode(_) | Self::Known(Moment::Screen(_) | Moment::Timecode(_)) => Axis::Screen,
            Self::Known(Moment::Start | Moment::End) => Axis::Either,
            Self::Known(Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_)) => Axis::Shoot,
        }
    }

    /// The moment at the shot's rate.
    ///
    /// # Errors
    /// Says what is wrong with a timecode that the rate does not have.
    pub(super) fn at_rate(&self, fps: FrameRate) -> Result<Moment, String> {
        match self {
            Self::Known(moment) => Ok(moment.clone()),
            Self::Timecode(text) => parse_timecode(text, fps).map(Moment::Timecode),
        }
    }
}

/// A moment from text: `"start"`, `"end"`, `"3.5s"` or `"00:00:03:12"`.
///
/// # Errors
/// What to write instead, where that can be told.
pub(super) fn moment(text: &str) -> Result<DraftMoment, Option<String>> {
    match text {
        "start" => return Ok(DraftMoment::Known(Moment::Start)),
        "end" => return Ok(DraftMoment::Known(Moment::End)),
        _ => {}
    }
    if let Some(seconds) = seconds(text) {
        return if (0.0..=LONGEST).contains(&seconds) {
            Ok(DraftMoment::Known(Moment::Screen(seconds)))
        } else {
            Err(None)
        };
    }
    if looks_like_timecode(text) {
        return Ok(DraftMoment::Timecode(text.to_owned()));
    }
    if clock(text).is_ok() {
        let clip = spoken_seconds(text).map_or(String::new(), |seconds| format!(", a time of the clip \"{seconds}s\""));
        return Err(Some(format!("a time of day is written clock {text:?}{clip}")));
    }
    if text.parse::<f64>().is_ok() {
        return Err(Some(format!("write {text} without quotes, or \"{text}s\"")));
    }
    if let Some(percent) = text.strip_suffix('%').and_then(|digits| digits.trim().parse::<f64>().ok()) {
        return Err((0.0..=100.0)
            .contains(&percent)
            .then(|| format!("write part({})", crate::diag::number(percent / 100.0))));
    }
    Err(spoken_seconds(text).map(|seconds| format!("write \"{seconds}s\"")))
}

/// The seconds that a person may mean by `"5 sec"`, `"1.5 min"`, `"1:30"` or `"90"`: for messages, never for a value.
pub(super) fn spoken_seconds(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase().replacen(',', ".", 1);
    if let Some((minutes, seconds)) = text.split_once(':') {
        let (minutes, seconds) = (minutes.parse::<u32>().ok()?, seconds.parse::<u32>().ok()?);
        return (seconds < 60).then(|| f64::from(minutes) * 60.0 + f64::from(seconds));
    }
    let unit = text.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '.');
    let number: f64 = text[..text.len() - unit.len()].parse().ok()?;
    let seconds = match unit.trim() {
        "" | "s" | "sec" | "secs" | "second" | "seconds" => number,
        "m" | "min" | "mins" | "minute" | "minutes" => number * 60.0,
        "h" | "hour" | "hours" => number * 3600.0,
        "ms" => number / 1000.0,
        _ => return None,
    };
    (seconds > 0.0 && seconds <= LONGEST).then_some(seconds)
}

/// `"20s"` or `"0.5s"` in seconds.
pub(super) fn seconds(text: &str) -> Option<f64> {
    let digits = text.strip_suffix('s')?;
    if !digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') {
        return None;
    }
    digits.parse::<f64>().ok()
}

/// Four groups of digits: what [`parse_timecode`] is asked about once the rate is known.
fn looks_like_timecode(text: &str) -> bool {
    let digits = |group: &str| (1..=3).contains(&group.len()) && group.bytes().all(|byte| byte.is_ascii_digit());
    text.split([':', ';']).count() == 4 && text.split([':', ';']).all(digits)
}

/// A local time: `"14:32"`, `"14:32:05.5"`, `"day 2 14:32"` or `"2026-05-01 14:32"`.
///
/// # Errors
/// Which part is not one.
pub(super) fn clock(text: &str) -> Result<Clock, String> {
    if text.len() > LONGEST_CLOCK {
        return Err(format!("a clock time has at most {LONGEST_CLOCK} letters"));
    }
    if let Some(written) = of_two_halves(text) {
        return Err(format!("hours run from 00 to 23: clock \"{written}\""));
    }
    let mut words = text.split_whitespace();
    let (first, second, third, more) = (words.next(), words.next(), words.next(), words.next());
    let (day, time) = match (first, second, third, more) {
        (Some(time), None, None, None) => (ClockDay::Only, time),
        (Some("day"), Some(number), Some(time), None) => {
            let number = number.parse::<u32>().ok().filter(|number| (1..=100_000).contains(number));
            (ClockDay::Nth(number.ok_or("days are counted from 1: \"day 2 14:32\"")?), time)
        }
        (Some(date), Some(time), None, None) => {
            (ClockDay::On(date_of(date).ok_or(format!("{date:?} is not a date"))?), time)
        }
        _ => return Err("a clock time is \"hh:mm\", \"hh:mm:ss\", \"day 2 hh:mm\" or \"2026-05-01 hh:mm\"".into()),
    };
    let time = time_of(time).ok_or(format!("{time:?} is not a time of day"))?;
    Ok(Clock { day, time, text: text.to_owned() })
}

/// `8:34 pm` as `20:34`.
pub(super) fn of_two_halves(text: &str) -> Option<String> {
    let lower = text.to_lowercase();
    let (time, afternoon) = match (lower.strip_suffix("pm"), lower.strip_suffix("am")) {
        (Some(time), _) => (time, true),
        (None, Some(time)) => (time, false),
        (None, None) => return None,
    };
    let (hour, rest) = time.trim_end().split_once(':').unwrap_or((time.trim_end(), "00"));
    let hour = hour.trim().parse::<u32>().ok().filter(|hour| (1..=12).contains(hour))?;
    Some(format!("{:02}:{rest}", hour % 12 + if afternoon { 12 } else { 0 }))
}

pub(super) fn date_of(text: &str) -> Option<Date> {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return None };
    if year.len() != 4 || month.len() != 2 || day.len() != 2 {
        return None;
    }
    Date::new(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?).ok()
}

pub(super) fn time_of(text: &str) -> Option<Time> {
    let parts: Vec<&str> = text.split(':').collect();
    let (hour, minute, second) = match parts[..] {
        [hour, minute] => (hour, minute, "0"),
        [hour, minute, second] => (hour, minute, second),
        _ => return None,
    };
    let digits = |text: &str| {
        (!text.is_empty() && text.len() <= 2 && text.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| text.parse::<i8>().ok())?
    };
    let (whole, fraction) = second.split_once('.').unwrap_or((second, "0"));
    if fraction.is_empty() || fraction.len() > 9 || !fraction.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let nanoseconds = format!("{fraction:0<9}").parse::<i32>().ok()?;
    Time::new(digits(hour)?, digits(minute)?, digits(whole)?, nanoseconds).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(text: &str, fps: &str) -> Result<Moment, String> {
        moment(text).unwrap().at_rate(fps.parse().unwrap())
    }

    #[test]
    fn a_timecode_waits_for_the_rate_that_it_counts_in() {
        assert_eq!(count("00:00:03:12", "24"), Ok(Moment::Timecode(84)));
        assert_eq!(count("00:00:03:12", "50"), Ok(Moment::Timecode(162)));
        assert_eq!(count("00:01:00;02", "30000/1001"), Ok(Moment::Timecode(1800)));
        assert!(count("00:00:03:24", "24").unwrap_err().contains("from 00 to 23"));
        assert!(count("00:01:00;02", "24").unwrap_err().contains("drop-frame"));
    }

    #[test]
    fn a_clock_time_and_a_quoted_number_are_each_told_how_to_be_written() {
        let clock = moment("14:32").unwrap_err().unwrap();
        assert_eq!(clock, "a time of day is written clock \"14:32\", a time of the clip \"872s\"");
        assert_eq!(moment("1.5").unwrap_err().unwrap(), "write 1.5 without quotes, or \"1.5s\"");
        assert_eq!(moment("0:0:0:0:0"), Err(None));
    }

    #[test]
    fn seconds_need_plain_digits() {
        assert_eq!(seconds("3.5s"), Some(3.5));
        for bad in ["s", "infs", "nans", "-1s", "1e3s", "+1s", " 1s", "1 s", "1,5s"] {
            assert_eq!(seconds(bad), None, "{bad}");
        }
    }

    #[test]
    fn times_as_people_say_them_are_told_how_to_be_written() {
        for (seen, due) in [("5 sec", "write \"5s\""), ("1,5 min", "write \"90s\""), ("50%", "write part(0.5)")] {
            assert_eq!(moment(seen).unwrap_err().unwrap(), due);
        }
        assert_eq!(clock("8:34 pm").unwrap_err(), "hours run from 00 to 23: clock \"20:34\"");
        assert_eq!(clock("12:05am").unwrap_err(), "hours run from 00 to 23: clock \"00:05\"");
    }

    #[test]
    fn clock_times_come_with_a_day_or_without() {
        assert_eq!(clock("14:32").unwrap().day, ClockDay::Only);
        assert_eq!(clock("day 2 14:32:05").unwrap().day, ClockDay::Nth(2));
        let dated = clock("2026-05-01 14:32:05.25").unwrap();
        assert_eq!(dated.day, ClockDay::On(Date::new(2026, 5, 1).unwrap()));
        assert_eq!(dated.time, Time::new(14, 32, 5, 250_000_000).unwrap());
    }

    #[test]
    fn impossible_times_and_dates_are_refused() {
        for bad in [
            "",
            "25:00",
            "14:60",
            "14",
            "14:3x",
            "day 0 14:00",
            "day two 14:00",
            "2026-02-30 14:00",
            "14:00 today now x",
            "-1:00",
        ] {
            assert!(clock(bad).is_err(), "{bad} was taken");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_a_moment_within_a_day_or_is_refused(text in "[-+0-9a-z:;. ]{0,14}|\\PC{0,14}") {
            if let Ok(DraftMoment::Known(Moment::Screen(at))) = moment(&text) {
                assert!((0.0..=LONGEST).contains(&at), "{text}: {at}");
            }
            if let Ok(clock) = clock(&text) {
                assert_eq!(clock.text, text);
            }
        }
    }
}

//! Reads which stills a source chooses by their own clock: `hours`, `days`, and `only` with its step.

use jiff::civil::{Date, Time};
use mlua::Value;

use super::made::{Kind, What};
use super::moments;
use super::reader::Reader;
use super::value::{as_made, plain_number, seen, sequence, short_text, shorten};
use crate::diag::{self, Diagnostic, Placed};
use crate::shot::{Chosen, Days, Hours};

/// The most dates and ranges of a list.
const MOST_DAYS: usize = 10_000;

/// What a source says of it.
pub(super) fn chosen(reader: &Reader) -> Chosen {
    Chosen { hours: hours(reader), days: days(reader), only: only(reader) }
}

fn hours(reader: &Reader) -> Option<Placed<Hours>> {
    let value = reader.raw("hours");
    if value.is_nil() {
        return None;
    }
    let Some(ends) = sequence(&value).and_then(|ends| <[Value; 2]>::try_from(ends).ok()) else {
        let meant = short_text(&value).and_then(|text| spoken_hours(&text));
        reader.refuse("hours", meant.map(|(from, to)| format!("write hours = {{ \"{from}\", \"{to}\" }}")));
        return None;
    };
    let mut number = 0;
    let times = ends.each_ref().map(|end| {
        number += 1;
        time_of_day(reader, &format!("{}.hours[{number}]", reader.form_name()), end)
    });
    let [Some(from), Some(to)] = times else { return None };
    if from == to {
        let message =
            format!("{}.hours must be two different times of day; seen {} twice", reader.form_name(), seen(&ends[0]));
        reader
            .mistake_in("hours", Diagnostic::mistake(message).word("hours").help("leave hours out for the whole day"));
        return None;
    }
    Some(Placed::new(Hours { from, to }, reader.place_of_field("hours")))
}

/// `7-18`, `7:30 to 18` and the like as two times.
fn spoken_hours(text: &str) -> Option<(String, String)> {
    let (from, to) = ["-", "–", " to ", ".."].iter().find_map(|between| text.split_once(between))?;
    Some((spoken_time(from)?, spoken_time(to)?))
}

/// `7`, `7:30`, `7 am` or `24:00` as a time of day is written.
fn spoken_time(text: &str) -> Option<String> {
    let text = text.trim();
    if ["24", "24:00"].contains(&text) {
        return Some("00:00".into());
    }
    let halves = moments::of_two_halves(text);
    let text = halves.as_deref().unwrap_or(text).replace(['.', 'h'], ":");
    let whole = if text.contains(':') { text } else { format!("{text}:00") };
    let time = moments::time_of(whole.trim_end_matches(':'))?;
    Some(time.strftime("%H:%M").to_string())
}

fn time_of_day(reader: &Reader, path: &str, value: &Value) -> Option<Time> {
    let text = short_text(value);
    if let Some(time) = text.as_deref().filter(|text| text.contains(':')).and_then(moments::time_of) {
        return Some(time);
    }
    let message = format!("{path} must be a time of day such as \"07:00\"; seen {}", seen(value));
    let spoken = text.clone().or_else(|| plain_number(value).map(diag::number)).and_then(|text| spoken_time(&text));
    let help = match (spoken, &text) {
        (Some(time), _) => format!("write \"{time}\""),
        (None, Some(text)) => {
            format!("{:?} is not a time of day: they run from \"00:00\" to \"23:59\"", shorten(text))
        }
        (None, None) => "write two times: { \"07:00\", \"18:00\" }".into(),
    };
    reader.mistake_in("hours", Diagnostic::mistake(message).word(word(value, "hours")).help(help));
    None
}

/// What of the line a mistake points at.
fn word(value: &Value, field: &str) -> String {
    short_text(value).filter(|text| !text.is_empty()).map_or_else(|| field.to_owned(), |text| shorten(&text))
}

fn days(reader: &Reader) -> Option<Placed<Days>> {
    let value = reader.raw("days");
    let days = match (short_text(&value), sequence(&value)) {
        _ if value.is_nil() => return None,
        (Some(text), _) if text == Days::KEYWORDS[0] => Days::Weekdays,
        (Some(text), _) if text == Days::KEYWORDS[1] => Days::Weekends,
        (Some(text), _) => {
            let near = diag::nearest(&text, &Days::KEYWORDS).map(|near| format!("did you mean {near:?}?"));
            let date = || moments::date_of(&text).map(|_| format!("write days = {{ {text:?} }}"));
            reader.refuse("days", near.or_else(date));
            return None;
        }
        (None, Some(list)) if !list.is_empty() && list.len() <= MOST_DAYS => {
            reader.state.count(list.len());
            let ranges: Vec<Option<[Date; 2]>> = (1..).zip(&list).map(|(at, one)| dates(reader, at, one)).collect();
            Days::Dates(ranges.into_iter().collect::<Option<_>>()?)
        }
        (None, _) => {
            reader.refuse("days", None);
            return None;
        }
    };
    Some(Placed::new(days, reader.place_of_field("days")))
}

/// One entry of a list of days: a date, or the first and the last of several.
fn dates(reader: &Reader, at: usize, value: &Value) -> Option<[Date; 2]> {
    let path = format!("{}.days[{at}]", reader.form_name());
    let Some(ends) = sequence(value) else { return date(reader, &path, value).map(|date| [date, date]) };
    let Ok([first, last]) = <[Value; 2]>::try_from(ends) else {
        return date(reader, &path, value).map(|one| [one, one]);
    };
    let (from, to) = (date(reader, &format!("{path}[1]"), &first), date(reader, &format!("{path}[2]"), &last));
    let (from, to) = (from?, to?);
    if to < from {
        let message = format!("{path} ends before it begins; seen {{ \"{from}\", \"{to}\" }}");
        let mistake = Diagnostic::mistake(message).word(format!(" \"{from}\", \"{to}\" "));
        reader.mistake_in("days", mistake.help(format!("write {{ \"{to}\", \"{from}\" }}")));
        return None;
    }
    Some([from, to])
}

fn date(reader: &Reader, path: &str, value: &Value) -> Option<Date> {
    let text = short_text(value);
    if let Some(date) = text.as_deref().and_then(moments::date_of) {
        return Some(date);
    }
    let allowed = "a date such as \"2026-03-02\", or the first and the last: { \"2026-03-09\", \"2026-03-13\" }";
    let message = format!("{path} must be {allowed}; seen {}", seen(value));
    let mistake = Diagnostic::mistake(message).word(word(value, "days"));
    let meant = text.as_deref().and_then(spoken_date);
    reader.mistake_in(
        "days",
        match (meant, text) {
            (Some(date), _) => mistake.help(format!("write \"{date}\"")),
            (None, Some(text)) => mistake.help(format!("{:?} is not a date", shorten(&text))),
            (None, None) => mistake,
        },
    );
    None
}

/// `2026-3-2` and `2026/03/02` as dates are written, and the last day of a month for one past it.
fn spoken_date(text: &str) -> Option<Date> {
    let parts: Vec<&str> = text.trim().split(['-', '/', '.']).collect();
    let [year, month, day] = parts[..] else { return None };
    let (year, month, day): (i16, i8, i8) = (year.parse().ok()?, month.parse().ok()?, day.parse().ok()?);
    if !(1000..=9999).contains(&year) || !(1..=31).contains(&day) {
        return None;
    }
    let first = Date::new(year, month, 1).ok()?;
    Some(Date::new(year, month, day).unwrap_or_else(|_| first.last_of_month()))
}

fn only(reader: &Reader) -> Option<Placed<f64>> {
    let value = reader.raw("only");
    if value.is_nil() {
        return None;
    }
    if as_made(&value).is_none() {
        let step = short_text(&value).and_then(|text| step_of(&text).or_else(|| spoken_step(&text)));
        let step = step.or_else(|| plain_number(&value)).filter(|step| is_step(*step));
        reader.refuse("only", step.map(|step| format!("write every(\"{}\")", crate::shot::span(step))));
        return None;
    }
    match reader.made("only", Kind::Every)?.what {
        What::Every(step) => Some(Placed::new(step, reader.place_of_field("only"))),
        _ => None,
    }
}

/// `every(step)`.
pub(super) fn every(reader: &Reader) -> Option<What> {
    let value = reader.raw("step");
    let text = short_text(&value);
    let step = plain_number(&value).or_else(|| step_of(text.as_deref()?));
    if let Some(step) = step.filter(|step| is_step(*step)) {
        return Some(What::Every(step));
    }
    let meant = text.as_deref().filter(|_| step.is_none()).and_then(spoken_step).filter(|step| is_step(*step));
    let help = match (meant, step) {
        (Some(step), _) => Some(format!("write \"{}\"", crate::shot::span(step))),
        (None, Some(0.0)) => Some("leave only out for every still".into()),
        (None, _) => None,
    };
    reader.refuse("step", help);
    None
}

fn is_step(seconds: f64) -> bool {
    seconds > 0.0 && seconds <= moments::LONGEST_STEP
}

/// `30s`, `10min` or `1h` in seconds.
fn step_of(text: &str) -> Option<f64> {
    let (digits, times) = [("min", 60.0), ("h", 3600.0), ("s", 1.0)]
        .into_iter()
        .find_map(|(unit, times)| Some((text.strip_suffix(unit)?, times)))?;
    let plain = digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    digits.parse::<f64>().ok().filter(|_| plain).map(|number| number * times)
}

/// `1 hour`, `10 m` or `2 days` in seconds: for messages, never for a value.
fn spoken_step(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase();
    let unit = text.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '.');
    let number: f64 = text[..text.len() - unit.len()].parse().ok()?;
    let days = match unit.trim() {
        "d" | "day" | "days" => 24.0 * 3600.0,
        "hr" | "hrs" => 3600.0,
        _ => return moments::spoken_seconds(&text),
    };
    Some(number * days)
}

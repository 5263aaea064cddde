//! Amounts with their units, read strictly: what may mean two things is refused with both.

use super::exact::{Exact, whole};
use super::words::spoken;
use crate::diag::Diagnostic;
use crate::units::Size;

/// The longest time that is taken, in seconds: ten years.
const LONGEST: i128 = 3650 * 86_400;

/// A plain number, `12` or `1.5`; none where it is anything else or has too many digits.
pub(super) fn number(text: &str) -> Option<Exact> {
    let (before, after) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let is_number = !before.is_empty() && digits(before) && digits(after) && (!text.contains('.') || !after.is_empty());
    let figures = format!("{before}{after}").trim_matches('0').len();
    if !is_number || before.len() > 9 || after.len() > 6 || figures > 9 {
        return None;
    }
    let all: i128 = format!("{before}{after}").parse().ok()?;
    Some(Exact::new(all, 10_i128.pow(u32::try_from(after.len()).ok()?)))
}

/// An example of what an option takes.
pub(super) fn example(option: &str) -> &'static str {
    match option {
        "event" => "8h30m",
        "interval" => "5s",
        "pause" => "4s",
        "exposure" => "1/50",
        "writing" => "0.5s",
        "clip" => "90s",
        "battery" => "900stills",
        "card" => "64GB",
        "still-takes" => "12MB",
        "across" => "12m",
        "speed" => "1.4m/s",
        "size" => "6000x4000",
        "frame" => "1080x1920",
        "fps" => "24",
        "angle" => "180",
        "number" => "9500",
        "folder-holds" => "5000",
        "mains" => "50",
        "stills" => "5760",
        _ => "2",
    }
}

/// Not what the option takes: what was seen, what is allowed, an example to type.
pub(super) fn refused(option: &str, text: &str, is: &str) -> Diagnostic {
    Diagnostic::mistake(format!("--{option} is {is}; seen {text:?}"))
        .help(format!("write it as in --{option} {}", example(option)))
}

/// The value where it is above 0.
fn above_zero(option: &str, text: &str, value: Exact) -> Result<Exact, Diagnostic> {
    if value > whole(0) { Ok(value) } else { Err(refused(option, text, "above 0")) }
}

/// A length of time in seconds, above 0: `8h`, `8h30`, `8h30m`, `1:30:00`, `90s`, `0.5s`, `1/50`.
pub(super) fn duration(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let text = text.trim();
    let wrong = || refused(option, text, "a length of time with its units: d, h, m, s or ms");
    if number(text).is_some() {
        return Err(without_unit(option, text));
    }
    let seconds = if let Some((over, under)) = text.strip_suffix('s').unwrap_or(text).split_once('/') {
        let (over, under) = number(over.trim()).zip(number(under.trim())).ok_or_else(wrong)?;
        if under == whole(0) {
            return Err(wrong());
        }
        over / under
    } else if text.contains(':') {
        clock(option, text)?
    } else {
        parts(text).ok_or_else(wrong)?
    };
    if seconds > whole(LONGEST) {
        return Err(refused(option, text, "at most 3650d"));
    }
    if seconds > whole(0) && seconds < Exact::new(1, 1_000_000) {
        return Err(refused(option, text, "at least a millionth of a second"));
    }
    above_zero(option, text, seconds)
}

/// A number that may be hours as well as seconds.
fn without_unit(option: &str, text: &str) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!("--{option} {text} has no unit"));
    match option {
        "exposure" | "interval" | "pause" | "writing" => {
            mistake.help(format!("write --{option} {text}s (seconds) or --{option} {text}m (minutes)"))
        }
        _ => mistake.help(format!(
            "write --{option} {text}h (hours), --{option} {text}m (minutes) or --{option} {text}s (seconds)"
        )),
    }
}

/// `1:30:00`; `1:30` may be read in two ways.
fn clock(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let wrong = || refused(option, text, "a length of time with its units: d, h, m, s or ms");
    let part = |digits: &str| digits.parse::<u32>().ok().filter(|_| digits.bytes().all(|byte| byte.is_ascii_digit()));
    let sixty = |digits: &str| part(digits).filter(|value| digits.len() == 2 && *value < 60);
    match text.split(':').collect::<Vec<_>>()[..] {
        [hours, minutes, seconds] => {
            let (hours, minutes, seconds) =
                (part(hours).ok_or_else(wrong)?, sixty(minutes).ok_or_else(wrong)?, sixty(seconds).ok_or_else(wrong)?);
            Ok(whole(hours) * 3600 + whole(minutes) * 60 + whole(seconds))
        }
        [first, second] => {
            let (one, two) = (part(first).ok_or_else(wrong)?, sixty(second).ok_or_else(wrong)?);
            Err(Diagnostic::mistake(format!("--{option} {text} may be {one} h {two} min or {one} min {two} s"))
                .help(format!("write --{option} {one}h{two}m or --{option} {one}m{two}s")))
        }
        _ => Err(wrong()),
    }
}

/// `1d`, `8h30m`, `8h30`, `90s`, `250ms`: units from the largest down, a decimal point in the last part only.
fn parts(text: &str) -> Option<Exact> {
    const UNITS: [(&str, i128, i128); 7] =
        [("d", 86_400, 1), ("h", 3600, 1), ("min", 60, 1), ("m", 60, 1), ("sec", 1, 1), ("s", 1, 1), ("ms", 1, 1000)];
    let (mut rest, mut sum, mut last) = (text, whole(0), None::<Exact>);
    while !rest.is_empty() {
        let digits = rest.find(|letter: char| !(letter.is_ascii_digit() || letter == '.')).unwrap_or(rest.len());
        let (value, after) = rest.split_at(digits);
        let letters = after.find(|letter: char| !letter.is_ascii_alphabetic()).unwrap_or(after.len());
        let (unit, after) = after.split_at(letters);
        // Two digits after hours are minutes: 8h30.
        let unit = if unit.is_empty() && last == Some(whole(3600)) && value.len() == 2 { "m" } else { unit };
        let (_, over, under) = UNITS.into_iter().find(|(name, ..)| *name == unit)?;
        let seconds = Exact::new(over, under);
        if last.is_some_and(|last| seconds >= last) || (value.contains('.') && !after.is_empty()) {
            return None;
        }
        let value = number(value)?;
        // Below a larger unit there is no room for as much as that: 1h90m is a slip.
        if last.is_some_and(|last| value * seconds >= last) {
            return None;
        }
        sum += value * seconds;
        (last, rest) = (Some(seconds), after.trim_start());
    }
    last.map(|_| sum)
}

/// A number with one of some units: the amount in the unit's own terms.
fn with_unit(text: &str, units: &[(&str, Exact)]) -> Option<Exact> {
    let text = text.trim();
    let digits = text.find(|letter: char| !(letter.is_ascii_digit() || letter == '.')).unwrap_or(text.len());
    let (value, unit) = text.split_at(digits);
    let unit = unit.trim();
    let (_, one) = units.iter().find(|(name, _)| name.eq_ignore_ascii_case(unit))?;
    Some(number(value)? * *one)
}

/// Bytes: `64GB`, `9.7MB`. Thousands, as cards are sold.
pub(super) fn bytes(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let units =
        [("kB", whole(1000)), ("MB", whole(1_000_000)), ("GB", whole(10_i128.pow(9))), ("TB", whole(10_i128.pow(12)))];
    let Some(value) = with_unit(text, &units) else {
        let is = "an amount of data in kB, MB, GB or TB";
        if number(text.trim()).is_some() {
            return Err(Diagnostic::mistake(format!("--{option} {} has no unit", text.trim()))
                .help(format!("write --{option} {0}GB or --{option} {0}MB", text.trim())));
        }
        return Err(refused(option, text, is));
    };
    above_zero(option, text, value)
}

const LENGTHS: [(&str, i128); 4] = [("mm", 1), ("cm", 10), ("m", 1000), ("km", 1_000_000)];

/// Metres: `12m`, `80cm`, `0.5km`.
pub(super) fn metres(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let units = LENGTHS.map(|(name, millimetres)| (name, Exact::new(millimetres, 1000)));
    let value = with_unit(text, &units).ok_or_else(|| refused(option, text, "a length in mm, cm, m or km"))?;
    above_zero(option, text, value)
}

/// Metres a second: `1.4m/s`, `5km/h`, `2cm/h`.
pub(super) fn speed(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let wrong = || refused(option, text, "a length over a time, in mm, cm, m or km and s, min, h or d");
    let (length, time) = text.trim().split_once('/').ok_or_else(wrong)?;
    let units = LENGTHS.map(|(name, millimetres)| (name, Exact::new(millimetres, 1000)));
    let times = [("s", 1_i128), ("min", 60), ("h", 3600), ("d", 86_400)];
    let length = with_unit(length, &units).ok_or_else(wrong)?;
    let (_, seconds) = times.into_iter().find(|(name, _)| *name == time.trim()).ok_or_else(wrong)?;
    let speed = length / seconds;
    if speed > whole(300_000_000) {
        return Err(refused(option, text, "no faster than light"));
    }
    above_zero(option, text, speed)
}

/// A plain number from a thousandth to a million, `2` or `1.5` or `5/2`.
pub(super) fn plain(option: &str, text: &str) -> Result<Exact, Diagnostic> {
    let wrong = || refused(option, text, "a plain number from 0.001 to 1000000, of six digits at most");
    let text = text.trim();
    let value = match text.split_once('/') {
        None => number(text).ok_or_else(wrong)?,
        Some((over, under)) => {
            let (over, under) = number(over).zip(number(under)).ok_or_else(wrong)?;
            if under == whole(0) {
                return Err(wrong());
            }
            over / under
        }
    };
    let is_plain = value.over() <= 1_000_000 && value.under() <= 1_000_000 && value >= Exact::new(1, 1000);
    if is_plain { Ok(value) } else { Err(wrong()) }
}

/// A whole number in a range.
pub(super) fn count(option: &str, text: &str, from: u32, to: u32) -> Result<Exact, Diagnostic> {
    let value = text.trim().parse::<u32>().ok().filter(|value| (from..=to).contains(value));
    value.map(whole).ok_or_else(|| refused(option, text, &format!("a whole number from {from} to {to}")))
}

/// Pixels: `6000x4000`, each side 1 to 65535.
pub(super) fn size(option: &str, text: &str) -> Result<Size, Diagnostic> {
    let side = |digits: &str| digits.parse::<u32>().ok().filter(|side| (1..=65_535).contains(side));
    let both = text.trim().split_once('x').and_then(|(width, height)| Some((side(width)?, side(height)?)));
    let is = "WIDTHxHEIGHT in pixels, each 1 to 65535";
    both.map(|(width, height)| Size::new(width, height)).ok_or_else(|| refused(option, text, is))
}

/// How long a charge lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Battery {
    /// So many stills.
    Stills(Exact),
    /// So many seconds.
    Lasts(Exact),
}

/// `900stills` or `4h`.
pub(super) fn battery(text: &str) -> Result<Battery, Diagnostic> {
    let text = text.trim();
    if let Some(stills) = text.strip_suffix("stills") {
        return count("battery", stills, 1, 9_999_999).map(Battery::Stills);
    }
    if number(text).is_some() {
        return Err(Diagnostic::mistake(format!("--battery {text} has no unit"))
            .help(format!("write --battery {text}stills (stills a charge) or --battery {text}h (hours a charge)")));
    }
    duration("battery", text).map(Battery::Lasts)
}

/// The two ends of `2s..30s`, in what `read` reads; the first takes the unit of the second where it has none.
pub(super) fn range(
    option: &str,
    text: &str,
    read: impl Fn(&str) -> Result<Exact, Diagnostic>,
) -> Result<Option<(Exact, Exact)>, Diagnostic> {
    let Some((from, to)) = text.split_once("..") else { return Ok(None) };
    let (from, to) = (from.trim(), to.trim());
    let is_bare = |text: &str| number(text).is_some();
    let in_seconds = matches!(option, "interval" | "pause" | "exposure");
    let unit = match (is_bare(from), is_bare(to)) {
        (true, true) if in_seconds => "s",
        (true, false) => to.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '.'),
        _ => "",
    };
    // A fraction has no unit to lend.
    let unit = if unit.contains(['/', ':']) { "s" } else { unit };
    let ended = |text: &str| if is_bare(text) { format!("{text}{unit}") } else { text.to_owned() };
    let (first, last) = (read(&ended(from))?, read(&ended(to))?);
    if first >= last {
        let said = |value: Exact| if in_seconds { spoken(value) } else { super::words::figure(value, 3) };
        return Err(Diagnostic::mistake(format!(
            "--{option} {text} is a range from a smaller value to a larger one; seen {} to {}",
            said(first),
            said(last)
        ))
        .help(format!("write --{option} {}..{}", ended(to), ended(from))));
    }
    Ok(Some((first, last)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_time_are_read_to_the_fraction() {
        for (text, over, under) in [
            ("8h", 28_800, 1),
            ("8h30", 30_600, 1),
            ("8h30m", 30_600, 1),
            ("1h30min20s", 5_420, 1),
            ("2d", 172_800, 1),
            ("1:30:00", 5_400, 1),
            ("90s", 90, 1),
            ("1.5h", 5_400, 1),
            ("1/50", 1, 50),
            ("1/50s", 1, 50),
            ("250ms", 1, 4),
            ("0.1s", 1, 10),
        ] {
            assert_eq!(duration("event", text).unwrap(), Exact::new(over, under), "{text}");
        }
    }

    #[test]
    fn what_may_be_read_in_two_ways_or_in_none_is_refused() {
        for text in [
            "8", "1:30", "0s", "0/5", "1/0", "-5s", "5x", "h", "", "1h90m", "30s1h", "1.5h30m", "8h5", "1,5h", "inf",
            "99999d", "1:2:3",
        ] {
            assert!(duration("event", text).is_err(), "{text} was taken");
        }
    }

    #[test]
    fn a_range_may_name_its_unit_once() {
        let read = |text: &str| duration("interval", text);
        for text in ["2..30", "2..30s", "2s..30s", "2000ms..0.5m"] {
            assert_eq!(range("interval", text, read).unwrap(), Some((whole(2), whole(30))), "{text}");
        }
        assert!(range("interval", "30..2", read).is_err());
        assert!(range("event", "2..30", |text| duration("event", text)).is_err());
    }
}

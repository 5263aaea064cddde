//! Times in file names: `cam2_2026-06-01_12-00-00`, `20260601T120000Z`, seconds since 1970.
//!
//! Names come in; capture times go out where no header holds another one and all names agree in how they are made.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;

use super::{Item, Remark};
use crate::shoot::Captured;

/// How far a header's time may be from the name's, in seconds: a file is named when it is written.
const APART: i64 = 5;

/// How a name tells its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Made {
    /// Date and time of day, and whether it says that they are UTC.
    Civil { universal: bool },
    /// Seconds, or milliseconds, since 1970.
    Counted,
}

/// Gives items without a capture time that of their names, where all names tell one in the same way. What to say of it.
pub(super) fn fill(items: &mut [Item]) -> Option<Remark> {
    let told: Vec<(Captured, Made)> = items.iter().map(|item| of(&item.name.stem)).collect::<Option<_>>()?;
    let (_, made) = *told.first()?;
    let lacking: Vec<usize> = (0..items.len()).filter(|index| items[*index].captured().is_none()).collect();
    if lacking.is_empty() || told.iter().any(|(_, other)| *other != made) {
        return None;
    }
    // A header's time says whether names tell the same clock.
    let differs = |(item, (told, _)): (&Item, &(Captured, Made))| {
        let Some(header) = item.captured() else { return false };
        header.local.duration_since(told.local).as_secs().abs() > APART
    };
    // Six digits that count from 0 are a time of day only by chance.
    let counts = |(told, _): &(Captured, Made)| told.local.hour() == 0 && told.local.minute() == 0;
    let by_chance = matches!(made, Made::Civil { .. }) && told.iter().all(counts);
    if by_chance || items.iter().zip(&told).any(differs) {
        return None;
    }
    for index in &lacking {
        let captured = Some(told[*index].0);
        match &mut items[*index].read {
            Ok(header) => header.captured = captured,
            Err(refused) => refused.captured = captured,
        }
    }
    let zone = match made {
        Made::Civil { universal: false } => "taken for the camera's local time, for they name no zone",
        Made::Civil { universal: true } => "UTC, as their Z says",
        Made::Counted => "seconds since 1970, which are UTC",
    };
    let first = lacking[0];
    let name = crate::diag::fit(&items[first].name.stem).into_owned();
    Some(Remark::new(format!("capture times are those in the file names, such as {name}: {zone}"), [first]))
}

/// The time in a name.
fn of(stem: &str) -> Option<(Captured, Made)> {
    civil(stem).or_else(|| counted(stem))
}

/// Date, then time of day, their parts apart by at most one of a few signs each.
fn civil(stem: &str) -> Option<(Captured, Made)> {
    let bytes = stem.as_bytes();
    let begins = |at: &usize| bytes[*at].is_ascii_digit() && (*at == 0 || !bytes[*at - 1].is_ascii_digit());
    (0..bytes.len()).filter(begins).find_map(|from| civil_from(bytes, from))
}

fn civil_from(bytes: &[u8], from: usize) -> Option<(Captured, Made)> {
    let mut at = from;
    let mut number = |digits: usize, signs: &[u8]| {
        if at > from && bytes.get(at).is_some_and(|sign| signs.contains(sign)) {
            at += 1;
        }
        let part = bytes.get(at..at + digits)?;
        at += digits;
        part.iter().all(u8::is_ascii_digit).then(|| std::str::from_utf8(part).ok()?.parse::<i16>().ok())?
    };
    let small = |value: i16| i8::try_from(value).ok();
    let (year, month, day) = (number(4, b"")?, small(number(2, b"-_.")?)?, small(number(2, b"-_.")?)?);
    let (hour, minute, second) =
        (small(number(2, b"-_. Tt")?)?, small(number(2, b"-_.:h")?)?, small(number(2, b"-_.:m")?)?);
    let mut rest = &bytes[at..];
    let mut nanoseconds = 0;
    // Milliseconds, where three digits follow.
    let digits = |rest: &[u8]| rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let thousandths = rest.strip_prefix(b".").or_else(|| rest.strip_prefix(b",")).unwrap_or(rest);
    if digits(thousandths) == 3 {
        nanoseconds = std::str::from_utf8(&thousandths[..3]).ok()?.parse::<i32>().ok()? * 1_000_000;
        rest = &thousandths[3..];
    }
    if digits(rest) > 0 || !(1990..2100).contains(&year) {
        return None;
    }
    let universal = rest.first() == Some(&b'Z') && !rest.get(1).is_some_and(u8::is_ascii_alphabetic);
    let local = DateTime::from_parts(
        Date::new(year, month, day).ok()?,
        Time::new(hour, minute, second.min(59), nanoseconds).ok()?,
    );
    Some((Captured { local, offset: universal.then_some(0) }, Made::Civil { universal }))
}

/// The last group of digits as seconds (10 digits) or milliseconds (13) since 1970, from 2001 to 2033.
fn counted(stem: &str) -> Option<(Captured, Made)> {
    let last = stem.split(|letter: char| !letter.is_ascii_digit()).rfind(|group| !group.is_empty())?;
    if !matches!(last.len(), 10 | 13) || !last.starts_with('1') {
        return None;
    }
    let number: i64 = last.parse().ok()?;
    let milliseconds = if last.len() == 10 { number * 1000 } else { number };
    let local = Offset::UTC.to_datetime(Timestamp::from_millisecond(milliseconds).ok()?);
    Some((Captured { local, offset: Some(0) }, Made::Counted))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_their_times() {
        let told = |stem: &str| of(stem).map(|(captured, _)| (captured.local.to_string(), captured.offset));
        let noon = |offset| Some(("2026-06-01T12:00:05".to_owned(), offset));
        assert_eq!(told("cam2_2026-06-01_12-00-05"), noon(None));
        assert_eq!(told("20260601T120005Z"), noon(Some(0)));
        assert_eq!(told("IMG_20260601_120005"), noon(None));
        assert_eq!(told("quay 2026.06.01 12.00.05 west"), noon(None));
        assert_eq!(told("snap-1780315205"), noon(Some(0)));
        assert_eq!(told("1780315205250"), Some(("2026-06-01T12:00:05.25".to_owned(), Some(0))));
        assert_eq!(told("20260601120005123"), Some(("2026-06-01T12:00:05.123".to_owned(), None)));
        for none in ["TIDE0001", "20260601_0001", "20261301_120000", "2026-06-01", "202606011200051", "9780315205"] {
            assert_eq!(told(none), None, "{none}");
        }
    }
}

//! Capture times as numbers, and lengths of time in words.

use jiff::civil::DateTime;

use super::Item;
use crate::shoot::Captured;

const NANOSECONDS: f64 = 1e9;

/// Nanoseconds since 1970, of UTC or of the camera's local time.
pub(super) fn nanoseconds(captured: Captured, universal: bool) -> i128 {
    let local = captured.local.duration_since(DateTime::constant(1970, 1, 1, 0, 0, 0, 0)).as_nanos();
    let offset = if universal { captured.offset.unwrap_or(0) } else { 0 };
    local - i128::from(offset) * 1_000_000_000
}

/// Seconds from one item to another, where both have a time.
pub(super) fn seconds_between(first: &Item, second: &Item) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "differences of capture times need no more than a double's 53 bits")]
    let nanoseconds = (second.time? - first.time?) as f64;
    Some(nanoseconds / NANOSECONDS)
}

/// The value in the middle; of an even count, the mean of the two.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    Some(if values.len() % 2 == 1 { upper } else { (values[middle - 1] + upper) / 2.0 })
}

/// A length of time as people say it: `0.5 s`, `3 min 5 s`, `1 h 0 min`, `2 d 3 h`.
pub(super) fn spoken(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "spoken lengths are far below 2^63 seconds")]
    let whole = seconds.round() as i64;
    match whole {
        ..60 => format!("{} s", (seconds * 1000.0).round() / 1000.0),
        60..3600 => format!("{} min {} s", whole / 60, whole % 60),
        3600..86_400 => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
        _ => format!("{} d {} h", whole / 86_400, whole % 86_400 / 3600),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_spoken_in_two_units() {
        let cases = [
            (0.5, "0.5 s"),
            (59.9996, "1 min 0 s"),
            (185.0, "3 min 5 s"),
            (3600.0, "1 h 0 min"),
            (183_600.0, "2 d 3 h"),
        ];
        for (seconds, words) in cases {
            assert_eq!(spoken(seconds), words);
        }
    }

    #[test]
    fn universal_time_takes_the_offset_off() {
        let local = DateTime::constant(2026, 5, 1, 14, 32, 0, 500_000_000);
        let captured = Captured { local, offset: Some(7200) };
        assert_eq!(nanoseconds(captured, false) - nanoseconds(captured, true), 7_200_000_000_000);
        assert_eq!(nanoseconds(captured, true), 1_777_638_720_500_000_000);
    }
}

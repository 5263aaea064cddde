//! Names whose digits are a date or a clock time, not a counter.

use std::collections::BTreeSet;

/// Whether all of these names tell a time: their last digits are dates (`20260501_143200`, `2026-05-01`), seconds since
/// 1970, or clock times that run more evenly as times than as numbers (`cam_1459`, `cam_1500`).
pub(super) fn all_tell_time<'a>(stems: impl Iterator<Item = &'a str>) -> bool {
    let names: Vec<Vec<&str>> = stems.map(groups).collect();
    !names.is_empty() && (names.iter().all(|groups| is_date(groups)) || are_clock_times(&names))
}

fn groups(stem: &str) -> Vec<&str> {
    stem.split(|letter: char| !letter.is_ascii_digit()).filter(|group| !group.is_empty()).collect()
}

/// Whether the last groups of digits together are a date with or without a time of day, or seconds since 1970.
fn is_date(groups: &[&str]) -> bool {
    let Some(last) = groups.last() else { return false };
    // Seconds (10 digits) or milliseconds (13) since 1970, from 2001 to 2033.
    if matches!(last.len(), 10 | 13) && matches!(last.as_bytes()[0], b'1') {
        return true;
    }
    (1..=groups.len()).any(|taken| {
        let tail = &groups[groups.len() - taken..];
        let whole = tail.concat();
        let starts_with_the_year = matches!(tail[0].len(), 4 | 8) || taken == 1;
        starts_with_the_year && matches!(whole.len(), 8 | 12 | 14 | 17) && digits_are_a_date(&whole)
    })
}

/// `YYYYMMDD`, then hours, minutes, seconds and milliseconds as far as they go.
fn digits_are_a_date(digits: &str) -> bool {
    let part = |from: usize, to: usize| digits.get(from..to).map_or(Some(0), |part| part.parse::<i16>().ok());
    let fields = || {
        let small = |from: usize| i8::try_from(part(from, from + 2)?).ok();
        jiff::civil::Date::new(part(0, 4)?, small(4)?, small(6)?).ok().filter(|date| date.year() >= 1970)?;
        jiff::civil::Time::new(small(8)?, small(10)?, small(12)?, 0).ok()
    };
    fields().is_some()
}

/// Whether numbers of four or six digits are all clock times, and take fewer different steps as times than as numbers.
fn are_clock_times(names: &[Vec<&str>]) -> bool {
    let last: Option<Vec<&str>> = names.iter().map(|groups| groups.last().copied()).collect();
    let Some(last) = last else { return false };
    let numbers: Option<Vec<i64>> = last.iter().map(|digits| digits.parse().ok()).collect();
    let times: Option<Vec<i64>> = last.iter().map(|digits| seconds_of_day(digits)).collect();
    let (Some(numbers), Some(times)) = (numbers, times) else { return false };
    let steps = |values: &[i64]| values.windows(2).map(|pair| pair[1] - pair[0]).collect::<BTreeSet<_>>().len();
    steps(&times) < steps(&numbers)
}

fn seconds_of_day(digits: &str) -> Option<i64> {
    if !matches!(digits.len(), 4 | 6) {
        return None;
    }
    let part = |from: usize, below: i64| {
        digits.get(from..from + 2).map_or(Some(0), |part| part.parse().ok().filter(|value| *value < below))
    };
    Some(part(0, 24)? * 3600 + part(2, 60)? * 60 + part(4, 60)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_told_from_counters() {
        for date in [
            "20260501_143200",
            "2026-05-01 14.32.00",
            "cam2_20260501143200",
            "IMG_20260501_143200123",
            "2026-05-01",
            "1777638720",
        ] {
            assert!(is_date(&groups(date)), "{date}");
        }
        for counter in ["TIDE0001", "cam_20261399", "000000123", "2026_0042", "quay", "tide_19700000"] {
            assert!(!is_date(&groups(counter)), "{counter}");
        }
    }

    #[test]
    fn clock_times_run_evenly_as_times() {
        assert!(all_tell_time(["cam_1458", "cam_1459", "cam_1500", "cam_1501"].into_iter()));
        assert!(all_tell_time(["145950", "145955", "150000", "150005"].into_iter()));
        assert!(!all_tell_time(["cam_0001", "cam_0002", "cam_0004"].into_iter()));
        assert!(!all_tell_time(["cam_0058", "cam_0059", "cam_0060"].into_iter()));
    }
}

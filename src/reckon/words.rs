//! Amounts as people read them.

use super::exact::{Exact, whole};

/// A number with at most so many decimals, rounded half away from 0, without zeros that say nothing.
#[must_use]
pub fn figure(value: Exact, places: u32) -> String {
    let scaled = (value * whole(10_i128.pow(places))).round().to_integer();
    let (sign, digits) = (if scaled < 0 { "-" } else { "" }, scaled.unsigned_abs().to_string());
    let places = places as usize;
    let digits = format!("{digits:0>width$}", width = places + 1);
    let (before, after) = digits.split_at(digits.len() - places);
    let after = after.trim_end_matches('0');
    if after.is_empty() { format!("{sign}{before}") } else { format!("{sign}{before}.{after}") }
}

/// An exposure, as cameras show it: `1/50 s`, `2.5 s`.
#[must_use]
pub fn exposed(seconds: Exact) -> String {
    if seconds.over() == 1 && seconds.under() >= 4 { format!("1/{} s", seconds.under()) } else { spoken(seconds) }
}

/// A length of time: `1/30 s`, `13.333 s`, `3 min 12 s`, `8 h 19 min 54 s`, `2 d 4 h`; parts of a second to a thousandth.
#[must_use]
pub fn spoken(seconds: Exact) -> String {
    // 0.033 would not be said exactly.
    if seconds.over() == 1 && !(seconds * 1000).is_integer() {
        return format!("1/{} s", seconds.under());
    }
    let thousandths = (seconds * whole(1000)).round().to_integer();
    let (minutes, rest) = (thousandths / 60_000, thousandths % 60_000);
    let rest = figure(Exact::new(rest, 1000), 3);
    let parts = [(minutes / 1440, "d"), (minutes / 60 % 24, "h"), (minutes % 60, "min")];
    let mut said: Vec<String> =
        parts.iter().filter(|(count, _)| *count > 0).map(|(count, unit)| format!("{count} {unit}")).collect();
    if rest != "0" || said.is_empty() {
        said.push(format!("{rest} s"));
    }
    said.join(" ")
}

/// A whole number or a fraction: `24`, `24000/1001`.
pub(super) fn fraction(value: Exact) -> String {
    value.to_string()
}

/// An amount of data: `9.7 MB`, `55.872 GB`.
pub(super) fn data(bytes: Exact) -> String {
    let (power, unit) = [(12, "TB"), (9, "GB"), (6, "MB"), (3, "kB")]
        .into_iter()
        .find(|(power, _)| bytes >= whole(10_i128.pow(*power)))
        .unwrap_or((0, "bytes"));
    format!("{} {unit}", figure(bytes / whole(10_i128.pow(power)), 2))
}

/// A length: `85 mm`, `7 m`.
pub(super) fn length(metres: Exact) -> String {
    match metres {
        metres if metres >= whole(1000) => format!("{} km", figure(metres / 1000, 2)),
        metres if metres >= whole(1) => format!("{} m", figure(metres, 2)),
        metres if metres * 100 >= whole(1) => format!("{} cm", figure(metres * 100, 1)),
        metres => format!("{} mm", figure(metres * 1000, 2)),
    }
}

/// A share in percent, to a tenth.
pub(super) fn percent(share: Exact) -> String {
    format!("{} %", figure(share * 100, 1))
}

/// `1 still`, `5760 stills`.
pub(super) fn counted(count: i128, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_rounded_once_and_carry_no_zeros_that_say_nothing() {
        for (over, under, places, due) in [
            (40, 3, 3, "13.333"),
            (1, 2, 0, "1"),
            (2, 1, 3, "2"),
            (-1, 8, 2, "-0.13"),
            (1, 200, 2, "0.01"),
            (999, 1000, 2, "1"),
        ] {
            assert_eq!(figure(Exact::new(over, under), places), due);
        }
    }

    #[test]
    fn lengths_of_time_are_said_in_all_their_units() {
        for (over, under, due) in [
            (29_994, 1, "8 h 19 min 54 s"),
            (192, 1, "3 min 12 s"),
            (1, 50, "0.02 s"),
            (1, 30, "1/30 s"),
            (40, 3, "13.333 s"),
            (187_200, 1, "2 d 4 h"),
            (599_999, 10_000, "1 min"),
            (3, 10, "0.3 s"),
        ] {
            assert_eq!(spoken(Exact::new(over, under)), due);
        }
        assert_eq!([exposed(Exact::new(1, 50)), exposed(Exact::new(5, 2))], ["1/50 s", "2.5 s"]);
    }

    #[test]
    fn data_and_lengths_are_said_in_the_unit_that_fits() {
        assert_eq!(data(whole(55_872_000_000_i64)), "55.87 GB");
        assert_eq!(data(whole(999)), "999 bytes");
        assert_eq!(
            [length(Exact::new(7, 1)), length(Exact::new(1, 20)), length(Exact::new(1, 1000))],
            ["7 m", "5 cm", "1 mm"]
        );
    }
}

//! Numbers as a person writes them.

/// A number in twelve digits at most, none of which says nothing: `1.2` for 0.8 + 0.4, `1e300` and not 301 digits.
///
/// Lua reads it as it stands, but for what is no number or endless.
#[must_use]
pub fn number(value: f64) -> String {
    if value.is_nan() {
        return "NaN (not a number)".into();
    }
    if value.is_infinite() {
        return if value > 0.0 { "infinity".into() } else { "minus infinity".into() };
    }
    let rounded: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    if rounded != 0.0 && !(1e-6..1e15).contains(&rounded.abs()) { format!("{rounded:e}") } else { format!("{rounded}") }
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_have_no_digits_that_rounding_left_or_that_nobody_reads() {
        for (value, due) in [
            (0.8 + 0.4, "1.2"),
            (1e300, "1e300"),
            (-1.5e-9, "-1.5e-9"),
            (0.000_25, "0.00025"),
            (123_456_789.25, "123456789.25"),
            (1.0 / 3.0, "0.333333333333"),
            (0.0, "0"),
            (-2.0, "-2"),
        ] {
            assert_eq!(number(value), due);
        }
        assert_eq!(number(f64::NEG_INFINITY), "minus infinity");
    }
}

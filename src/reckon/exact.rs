//! Fractions of whole numbers: what all amounts are until they are written.

use num_rational::Ratio;

/// An amount, exactly. Amounts that are typed have at most nine digits before the point and six after it, so that no
/// product of those that are formed leaves 128 bits.
pub type Exact = Ratio<i128>;

/// A whole number as an amount.
pub(super) fn whole(value: impl Into<i128>) -> Exact {
    Exact::from_integer(value.into())
}

/// A measured amount as a fraction of small numbers: thousandths; below 0.3 one over a whole number, as exposures are,
/// where that is as near.
#[must_use]
pub fn nearly(value: f64) -> Option<Exact> {
    if !(1e-6..1e9).contains(&value) {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "both are below 1e12")]
    let (over, thousandths) = ((1.0 / value).round() as i128, (value * 1000.0).round() as i128);
    if value < 0.3 { Some(Exact::new(1, over)) } else { Some(Exact::new(thousandths, 1000)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_exposure_becomes_the_fraction_that_the_camera_showed() {
        assert_eq!(nearly(0.02), Some(Exact::new(1, 50)));
        assert_eq!(nearly(1.0 / 8000.0), Some(Exact::new(1, 8000)));
        assert_eq!(nearly(2.5), Some(Exact::new(5, 2)));
        assert_eq!(nearly(f64::NAN), None);
    }
}

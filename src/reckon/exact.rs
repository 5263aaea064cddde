//! Fractions of whole numbers: what all amounts are until they are written.

use std::ops::{Add, AddAssign, Div, Mul, Sub};

use num_rational::Ratio;

/// An amount, exactly; beyond reckoning where its fraction no longer fits into 128 bits, and so is all that follows from
/// it. Among amounts that one is the least.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Exact(Option<Ratio<i128>>);

/// The greatest common divisor, at least 1.
fn shared(one: i128, other: i128) -> i128 {
    let (mut one, mut other) = (one.unsigned_abs(), other.unsigned_abs());
    while other != 0 {
        (one, other) = (other, one % other);
    }
    i128::try_from(one.max(1)).unwrap_or(1)
}

impl Exact {
    /// `over / under`; beyond reckoning where `under` is 0.
    #[must_use]
    pub fn new(over: i128, under: i128) -> Self {
        Self((under != 0).then(|| Ratio::new(over, under)))
    }

    /// A whole number.
    #[must_use]
    pub fn from_integer(value: i128) -> Self {
        Self(Some(Ratio::from_integer(value)))
    }

    /// Whether it fits.
    pub(super) fn is_known(self) -> bool {
        self.0.is_some()
    }

    /// What is above the line; 0 beyond reckoning.
    pub(super) fn over(self) -> i128 {
        self.0.map_or(0, |ratio| *ratio.numer())
    }

    /// What is below the line, above 0.
    pub(super) fn under(self) -> i128 {
        self.0.map_or(1, |ratio| *ratio.denom())
    }

    pub(super) fn is_integer(self) -> bool {
        self.0.is_some_and(|ratio| ratio.is_integer())
    }

    /// The next whole number down.
    pub(super) fn floor(self) -> Self {
        Self(self.0.map(|ratio| ratio.floor()))
    }

    /// The next whole number up.
    pub(super) fn ceil(self) -> Self {
        Self(self.0.map(|_| Ratio::from_integer(-(-self.over()).div_euclid(self.under()))))
    }

    /// The nearest whole number, halves away from 0.
    pub(super) fn round(self) -> Self {
        Self(self.0.map(|ratio| ratio.round()))
    }

    /// The whole number that it is; of any other, without its fraction.
    pub(super) fn to_integer(self) -> i128 {
        self.0.map_or(0, |ratio| ratio.to_integer())
    }

    /// One over it.
    pub(super) fn recip(self) -> Self {
        Self::new(self.under(), if self.is_known() { self.over() } else { 0 })
    }
}

impl Mul for Exact {
    type Output = Self;

    fn mul(self, other: Self) -> Self {
        let both = self.0.zip(other.0).and_then(|_| {
            let (one, two) = (shared(self.over(), other.under()), shared(other.over(), self.under()));
            let over = (self.over() / one).checked_mul(other.over() / two)?;
            Some(Ratio::new_raw(over, (self.under() / two).checked_mul(other.under() / one)?))
        });
        Self(both.map(|ratio| if *ratio.numer() == 0 { Ratio::from_integer(0) } else { ratio }))
    }
}

impl Div for Exact {
    type Output = Self;

    fn div(self, other: Self) -> Self {
        Mul::mul(self, other.recip())
    }
}

impl Add for Exact {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0.zip(other.0).and_then(|_| {
            let common = shared(self.under(), other.under());
            let (one, two) = (other.under() / common, self.under() / common);
            let over = self.over().checked_mul(one)?.checked_add(other.over().checked_mul(two)?)?;
            Some(Ratio::new(over, self.under().checked_mul(one)?))
        }))
    }
}

impl Sub for Exact {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        self + other * whole(-1)
    }
}

impl AddAssign for Exact {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Mul<i128> for Exact {
    type Output = Self;

    fn mul(self, other: i128) -> Self {
        self * whole(other)
    }
}

impl Div<i128> for Exact {
    type Output = Self;

    fn div(self, other: i128) -> Self {
        self / whole(other)
    }
}

impl Add<i128> for Exact {
    type Output = Self;

    fn add(self, other: i128) -> Self {
        self + whole(other)
    }
}

impl Sub<i128> for Exact {
    type Output = Self;

    fn sub(self, other: i128) -> Self {
        self - whole(other)
    }
}

/// A whole number or a fraction: `24`, `24000/1001`.
impl std::fmt::Display for Exact {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            Some(ratio) => write!(f, "{ratio}"),
            None => f.write_str(super::BEYOND),
        }
    }
}

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
    fn amounts_are_reckoned_as_fractions_are_and_what_does_not_fit_is_never_taken_for_a_number() {
        let half = Exact::new(1, 2);
        assert_eq!(half + Exact::new(1, 3), Exact::new(5, 6));
        assert_eq!(half - Exact::new(1, 2), whole(0));
        assert_eq!(Exact::new(-3, 4) * Exact::new(2, 9), Exact::new(-1, 6));
        assert_eq!(half / Exact::new(3, 4), Exact::new(2, 3));
        assert_eq!(
            [Exact::new(7, 2).floor(), Exact::new(7, 2).ceil(), Exact::new(-7, 2).ceil()],
            [3, 4, -3].map(whole)
        );
        assert!(!(half / 0).is_known() && !(half / 0 + whole(1)).is_known() && !Exact::new(1, 0).is_known());
        let large = whole(i128::MAX);
        assert!(!(large * 2).is_known() && !(large * 2 / 2).is_known() && !(large + large).is_known());
        assert_eq!(large * Exact::new(2, i128::MAX), whole(2), "what can be cancelled is cancelled first");
    }

    #[test]
    fn a_measured_exposure_becomes_the_fraction_that_the_camera_showed() {
        assert_eq!(nearly(0.02), Some(Exact::new(1, 50)));
        assert_eq!(nearly(1.0 / 8000.0), Some(Exact::new(1, 8000)));
        assert_eq!(nearly(2.5), Some(Exact::new(5, 2)));
        assert_eq!(nearly(f64::NAN), None);
    }
}

//! The quantities everything else is written in: exact frame rates, moments on the two axes, indices and sizes.
//!
//! Nothing here knows of scripts, stills or pixels' values. Screen time is the finished clip's axis, in seconds;
//! the shoot's axis is counted in stills. The two never mix by accident because they are different types.

mod timecode;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

pub use timecode::{clock_timecode, parse_timecode, timecode};

/// How close to the next whole still a position may be and count as having reached it, in stills.
///
/// Positions are sums of floating-point products; without this a still due at exactly `3` shows one frame late
/// when the sum says `2.9999999999`.
pub const POSITION_SLACK: f64 = 1e-9;

/// Frames a second as an exact fraction, always in lowest terms, both parts positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, schemars::JsonSchema)]
pub struct FrameRate {
    numerator: u32,
    denominator: u32,
}

/// Why a text or a pair of numbers is not a frame rate.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FrameRateError {
    /// Zero, negative, not finite, or above [`FrameRate::HIGHEST`].
    #[error("a frame rate is above 0 and at most 480 frames a second; seen {0}")]
    OutOfRange(String),
    /// A decimal that only approximates a rate of the 1000/1001 family.
    #[error("{seen} is only close to a real frame rate; write \"{exact}\"")]
    Rounded {
        /// What was written.
        seen: String,
        /// The exact rate that was probably meant.
        exact: FrameRate,
    },
    /// Not a number and not `"n/d"`.
    #[error("a frame rate is a whole number or a fraction such as \"30000/1001\"; seen {0}")]
    NotARate(String),
}

impl FrameRate {
    /// The highest rate taken, in frames a second.
    pub const HIGHEST: u32 = 480;

    /// `numerator / denominator` frames a second.
    ///
    /// # Errors
    /// [`FrameRateError::OutOfRange`] where either part is zero or the rate is above [`FrameRate::HIGHEST`].
    pub fn new(numerator: u32, denominator: u32) -> Result<Self, FrameRateError> {
        let refused = || FrameRateError::OutOfRange(format!("{numerator}/{denominator}"));
        if numerator == 0 || denominator == 0 {
            return Err(refused());
        }
        if u64::from(numerator) > u64::from(Self::HIGHEST) * u64::from(denominator) {
            return Err(refused());
        }
        let shared = greatest_common_divisor(numerator, denominator);
        Ok(Self { numerator: numerator / shared, denominator: denominator / shared })
    }

    /// A rate from a number as a script gives it. Whole numbers are exact; a decimal near a member of the 1000/1001
    /// family is refused by naming that member; other decimals are refused.
    ///
    /// # Errors
    /// Every variant of [`FrameRateError`].
    pub fn from_number(rate: f64) -> Result<Self, FrameRateError> {
        if !rate.is_finite() || rate <= 0.0 || rate > f64::from(Self::HIGHEST) {
            return Err(FrameRateError::OutOfRange(rate.to_string()));
        }
        if rate.fract() == 0.0 {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "whole, positive and at most 480"
            )]
            return Self::new(rate as u32, 1);
        }
        for whole in [24_u32, 25, 30, 48, 50, 60, 120] {
            let exact = Self { numerator: whole * 1000, denominator: 1001 };
            if (exact.per_second() - rate).abs() < 0.006 {
                return Err(FrameRateError::Rounded { seen: rate.to_string(), exact });
            }
        }
        Err(FrameRateError::NotARate(rate.to_string()))
    }

    /// Frames.
    #[must_use]
    pub fn numerator(self) -> u32 {
        self.numerator
    }

    /// Seconds those frames take.
    #[must_use]
    pub fn denominator(self) -> u32 {
        self.denominator
    }

    /// Frames a second, rounded to the nearest `f64`.
    #[must_use]
    pub fn per_second(self) -> f64 {
        f64::from(self.numerator) / f64::from(self.denominator)
    }

    /// The screen time at which frame `index` is shown: `index / rate`, rounded once.
    #[must_use]
    pub fn time_of(self, index: u64) -> ScreenTime {
        #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 frames does not exist")]
        ScreenTime((index as f64 * f64::from(self.denominator)) / f64::from(self.numerator))
    }

    /// [`FrameRate::time_of`] for frames before 0 too, in seconds.
    #[must_use]
    pub fn time_around(self, index: i64) -> f64 {
        let time = self.time_of(index.unsigned_abs()).0;
        if index < 0 { -time } else { time }
    }

    /// How many frames a clip of `length` seconds has: all `n >= 0` with `n / rate < length`, unmoved by rounding
    /// (a length within a billionth of a frame of a whole number of frames has that number).
    #[must_use]
    pub fn frames_in(self, length: ScreenTime) -> u64 {
        let frames = length.0 * f64::from(self.numerator) / f64::from(self.denominator);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to be positive; a clip's frames fit"
        )]
        let whole = (frames - 1e-9 - 1e-12 * frames).ceil().max(0.0) as u64;
        whole
    }
}

impl fmt::Display for FrameRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.denominator == 1 {
            write!(f, "{}", self.numerator)
        } else {
            write!(f, "{}/{}", self.numerator, self.denominator)
        }
    }
}

impl FromStr for FrameRate {
    type Err = FrameRateError;

    fn from_str(text: &str) -> Result<Self, FrameRateError> {
        let refused = || FrameRateError::NotARate(format!("{text:?}"));
        if let Some((numerator, denominator)) = text.split_once('/') {
            let part = |digits: &str| digits.trim().parse::<u32>().map_err(|_not_digits| refused());
            return Self::new(part(numerator)?, part(denominator)?);
        }
        Self::from_number(text.trim().parse::<f64>().map_err(|_not_a_number| refused())?)
    }
}

fn greatest_common_divisor(mut a: u32, mut b: u32) -> u32 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Seconds in the finished clip.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct ScreenTime(pub f64);

impl ScreenTime {
    /// The longest clip that is made, and the latest moment a script may name: a day. Beyond it something was mistyped.
    pub const LONGEST: Self = Self(86_400.0);
}

/// A place on the shoot's axis, in stills: `0` is where the first still begins, `N` where the last one ends.
///
/// Still `k` fills `[k, k + 1)`. Skipped slots take no room on this axis.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct ShootPosition(pub f64);

impl ShootPosition {
    /// The whole still this position shows, counted from 0 along the axis.
    #[must_use]
    pub fn whole(self) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped at zero; a shoot's stills fit"
        )]
        let index = (self.0 + POSITION_SLACK).floor().max(0.0) as usize;
        index
    }

    /// The whole still this position shows where the shoot runs backwards: still `k` then fills `(k, k + 1]`, so that
    /// it keeps its share.
    #[must_use]
    pub fn whole_backwards(self) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped at zero; a shoot's stills fit"
        )]
        let index = ((self.0 - POSITION_SLACK).ceil() - 1.0).max(0.0) as usize;
        index
    }
}

/// A slot of a shoot's catalogue, counted from 0 in capture order, missing ones included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, schemars::JsonSchema)]
pub struct SlotIndex(pub usize);

/// Width and height in whole pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Size {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

impl Size {
    /// `width` × `height` pixels.
    #[must_use]
    pub fn new(width: u32, height: u32) -> Self {
        Self { width, height }
    }

    /// Width over height.
    #[must_use]
    pub fn aspect(self) -> f64 {
        f64::from(self.width) / f64::from(self.height)
    }

    /// The same size lying on its side.
    #[must_use]
    pub fn turned(self) -> Self {
        Self { width: self.height, height: self.width }
    }

    /// Pixels in all.
    #[must_use]
    pub fn pixels(self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{}", self.width, self.height)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_kept_in_lowest_terms() {
        assert_eq!(FrameRate::new(60, 2).unwrap(), FrameRate::new(30, 1).unwrap());
        assert_eq!("30000/1001".parse::<FrameRate>().unwrap().to_string(), "30000/1001");
    }

    #[test]
    fn a_rounded_broadcast_rate_is_refused_by_naming_the_exact_one() {
        let seen = FrameRate::from_number(29.97).unwrap_err().to_string();
        assert_eq!(seen, "29.97 is only close to a real frame rate; write \"30000/1001\"");
        assert!(FrameRate::from_number(23.976).unwrap_err().to_string().contains("24000/1001"));
    }

    #[test]
    fn impossible_rates_are_refused() {
        for bad in ["0", "-24", "nan", "inf", "481", "1/0", "0/1", "fast", "", "30000/1001/2"] {
            assert!(bad.parse::<FrameRate>().is_err(), "{bad} was taken");
        }
    }

    #[test]
    fn a_clip_holds_every_frame_shown_before_its_end() {
        let rate = FrameRate::new(24, 1).unwrap();
        assert_eq!(rate.frames_in(ScreenTime(20.0)), 480);
        assert_eq!(rate.frames_in(ScreenTime(0.625)), 15);
        assert_eq!(rate.frames_in(ScreenTime(0.626)), 16);
        assert_eq!(rate.frames_in(ScreenTime(0.0)), 0);
        let broadcast = FrameRate::new(30000, 1001).unwrap();
        for frames in [1_u64, 17, 1000, 107_892] {
            assert_eq!(broadcast.frames_in(broadcast.time_of(frames)), frames);
        }
    }

    #[test]
    fn a_position_a_rounding_error_below_a_still_shows_that_still() {
        assert_eq!(ShootPosition(2.999_999_999_9).whole(), 3);
        assert_eq!(ShootPosition(2.999).whole(), 2);
        assert_eq!(ShootPosition(-0.5).whole(), 0);
    }
}

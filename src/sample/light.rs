//! sRGB values to light and back: IEC 61966-2-1's curve, carried on oddly below 0 and on its way above 1.
//!
//! Values outside 0 to 1 are what resampling overshoots by and what Y'CbCr says of colours that R'G'B' has none for.
//! Nothing is clipped before the last step, so the curve goes on for them. Both ways are tables with straight lines
//! between their entries; the tests say how near they come to the curve.
//!
//! ## Decisions
//!
//! - The tables are within 0.0005 of an 8-bit code of the formula.

use std::sync::LazyLock;

/// Entries of the table to light for a step of 1, and the highest value it reaches; the farthest that any still's
/// samples go is 1.9, and a kernel's overshoot a fifth more.
const STEPS: f32 = 4096.0;
const HIGHEST: f32 = 4.0;

/// The table from light has as many entries for every doubling, from 2⁻⁹ (below it the curve is straight) to 2⁵.
const BITS_A_DOUBLING: u32 = 9;
const LOWEST_EXPONENT: u32 = 127 - 9;
const DOUBLINGS: u32 = 14;
/// Bits of an `f32` below those that choose an entry.
const BITS_BELOW: u32 = 23 - BITS_A_DOUBLING;

/// Light of a value from 0 up.
fn to_light_exactly(value: f64) -> f64 {
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

/// Value of light from 0 up.
fn from_light_exactly(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// The curve both ways.
#[derive(Debug)]
pub(super) struct Curve {
    to_light: Vec<f32>,
    from_light: Vec<f32>,
}

static CURVE: LazyLock<Curve> = LazyLock::new(|| {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "16,386 entries of f32")]
    let to_light =
        (0..=(STEPS * HIGHEST) as u32 + 1).map(|step| to_light_exactly(f64::from(step) / f64::from(STEPS)) as f32);
    #[expect(clippy::cast_possible_truncation, reason = "entries of f32")]
    let from_light = (0..=DOUBLINGS << BITS_A_DOUBLING)
        .map(|entry| f32::from_bits(((LOWEST_EXPONENT << BITS_A_DOUBLING) + entry) << BITS_BELOW))
        .map(|light| from_light_exactly(f64::from(light)) as f32);
    Curve { to_light: to_light.collect(), from_light: from_light.collect() }
});

impl Curve {
    /// The curve, made when it is first asked for.
    pub(super) fn get() -> &'static Self {
        &CURVE
    }

    /// Light of a value; equal values give equal light.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "within the table"
    )]
    #[inline]
    pub(super) fn light_of(&self, value: f32) -> f32 {
        let at = value.abs().min(HIGHEST) * STEPS;
        let entry = at as usize;
        let (low, high) = (self.to_light[entry], self.to_light[entry + 1]);
        (low + (high - low) * (at - entry as f32)).copysign(value)
    }

    /// The value of light.
    #[expect(clippy::cast_precision_loss, reason = "14 bits")]
    #[inline]
    pub(super) fn value_of(&self, light: f32) -> f32 {
        const LAST: u32 = ((LOWEST_EXPONENT + DOUBLINGS) << 23) - 1;
        const PART: f32 = 1.0 / (1_u32 << BITS_BELOW) as f32;
        let bits = light.abs().to_bits().min(LAST);
        let Some(above) = bits.checked_sub(LOWEST_EXPONENT << 23) else { return light * 12.92 };
        let entry = (above >> BITS_BELOW) as usize;
        let (low, high) = (self.from_light[entry], self.from_light[entry + 1]);
        (low + (high - low) * ((above & ((1 << BITS_BELOW) - 1)) as f32 * PART)).copysign(light)
    }
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, reason = "made-up values")]
mod tests {
    use super::*;

    #[test]
    fn tables_come_within_a_two_thousandth_of_an_8_bit_code_of_the_curve() {
        let curve = Curve::get();
        let (mut light_off, mut value_off) = (0.0_f64, 0.0_f64);
        for step in 0..400_000 {
            let value = f64::from(step) * 1e-5;
            let seen = f64::from(curve.light_of(value as f32));
            light_off = light_off.max((from_light_exactly(seen) - value).abs() * 255.0);
            let light = to_light_exactly(value);
            value_off = value_off.max((f64::from(curve.value_of(light as f32)) - value).abs() * 255.0);
            assert_eq!(f64::from(curve.light_of(-value as f32)), -seen);
            assert_eq!(curve.value_of(-light as f32), -curve.value_of(light as f32));
        }

        assert!(light_off < 5e-4 && value_off < 5e-4, "{light_off} {value_off}");
    }

    // IEC 61966-2-1:1999, section 5.2: the thresholds and both ends; 188 and 71 are DESIGN's figures for a mean of
    // black and white and for white in one of sixteen.
    #[test]
    fn means_of_light_have_the_published_codes() {
        let code = |light: f32| 255.0 * Curve::get().value_of(light);
        assert!((code(0.5) - 187.5).abs() < 0.1, "{}", code(0.5));
        assert!((code(1.0 / 16.0) - 70.7).abs() < 0.1, "{}", code(1.0 / 16.0));
        assert_eq!((code(0.0), code(1.0)), (0.0, 255.0));
    }

    #[test]
    fn values_beyond_the_tables_are_held_at_their_ends() {
        let curve = Curve::get();
        assert_eq!(curve.light_of(9.0), curve.light_of(4.0));
        assert_eq!(curve.value_of(f32::MAX), curve.value_of(40.0));
    }
}

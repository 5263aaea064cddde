//! How a gain treats highlights.

/// Light after a gain, for light from 0 to 1: `g·x / (1 + (g − 1)·xᵖ)`, with `p` from 16 down to 1 as the gain is
/// farther from 1.
///
/// White stays white: what is clipped in the still has no more detail to show when it is darkened, and a grey sun would
/// flicker. Below, gains within 6 % of 1 are `g·x` to within a two-hundredth of the change up to half of white. `p` is
/// the largest, up to 16, for which the slope at white stays between a half and 2; beyond a gain of 2 or a half it is
/// 1, and the slope `1 / g`.
#[must_use]
pub fn rolled(gain: f64, light: f64) -> f64 {
    gain * light / (1.0 + (gain - 1.0) * light.powf(exponent(gain)))
}

/// The slope of [`rolled`] at white, by which it is carried on above.
#[must_use]
pub fn slope_at_white(gain: f64) -> f64 {
    (1.0 + (gain - 1.0) * (1.0 - exponent(gain))) / gain
}

fn exponent(gain: f64) -> f64 {
    let room = if gain > 1.0 { (1.0 - gain / 2.0) / (gain - 1.0) } else { (2.0 * gain - 1.0) / (1.0 - gain).max(1e-9) };
    (1.0 + room).clamp(1.0, 16.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn highlights_roll_to_white_and_never_turn_back() {
        for gain in [0.25, 0.5, 0.75, 0.9, 0.97, 1.0, 1.03, 1.1, 1.5, 2.0, 4.0] {
            assert!((rolled(gain, 1.0) - 1.0).abs() < 1e-15 && rolled(gain, 0.0) == 0.0);
            let mut last = 0.0;
            for step in 1..=1000 {
                let light = rolled(gain, f64::from(step) / 1000.0);
                assert!(light > last, "gain {gain}: {light} after {last}");
                last = light;
            }
            let slope = (rolled(gain, 1.0 + 1e-5) - rolled(gain, 1.0 - 1e-5)) / 2e-5;
            assert!((slope - slope_at_white(gain)).abs() < 1e-5, "gain {gain}: {slope}");
            assert!(
                (0.249..=4.001).contains(&slope) && (!(0.5..=2.0).contains(&gain) || (0.499..=2.001).contains(&slope))
            );
        }
    }

    #[test]
    fn up_to_half_of_white_light_is_multiplied_by_the_gain() {
        for gain in [0.94, 0.97, 1.03, 1.06] {
            for light in [0.001, 0.1, 0.3, 0.5] {
                let off = (rolled(gain, light) / light - gain) / (gain - 1.0);
                assert!(off.abs() < 5e-3, "gain {gain}, light {light}: {off}");
            }
        }
        assert_eq!(rolled(1.0, 0.7), 0.7);
    }
}

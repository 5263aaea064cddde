//! How a gain treats highlights.

/// Light after a gain, for light from 0 to 1, where `white` of it becomes white, and all above.
///
/// For a `white` of 1 it is `g·x / (1 + (g − 1)·xᵖ)`, with `p` from 16 down to 1 as the gain is farther from 1; for less,
/// the same of `x / white` with the gain `g·white`, so that dark parts are multiplied by `g` whatever is white.
///
/// White stays white: what is clipped in the still has no more detail to show when it is darkened, and a grey sun would
/// flicker. Below, gains within 6 % of 1 are `g·x` to within a two-hundredth of the change up to half of white. `p` is
/// the largest, up to 16, for which the slope at white stays between a half and 2; beyond a gain of 2 or a half it is
/// 1, and the slope `1 / g`.
#[must_use]
pub fn rolled(gain: f64, white: f64, light: f64) -> f64 {
    let (gain, light) = if white < 1.0 { (gain * white, (light / white).min(1.0)) } else { (gain, light) };
    gain * light / (1.0 + (gain - 1.0) * light.powf(exponent(gain)))
}

/// The slope of [`rolled`] at a white of 1, by which it is carried on above.
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
            assert!((rolled(gain, 1.0, 1.0) - 1.0).abs() < 1e-15 && rolled(gain, 1.0, 0.0) == 0.0);
            let mut last = 0.0;
            for step in 1..=1000 {
                let light = rolled(gain, 1.0, f64::from(step) / 1000.0);
                assert!(light > last, "gain {gain}: {light} after {last}");
                last = light;
            }
            let slope = (rolled(gain, 1.0, 1.0 + 1e-5) - rolled(gain, 1.0, 1.0 - 1e-5)) / 2e-5;
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
                let off = (rolled(gain, 1.0, light) / light - gain) / (gain - 1.0);
                assert!(off.abs() < 5e-3, "gain {gain}, light {light}: {off}");
            }
        }
        assert_eq!(rolled(1.0, 1.0, 0.7), 0.7);
    }

    #[test]
    fn both_sides_of_a_step_show_the_light_they_have_in_common_alike() {
        // One stop: what the darker side records as x the brighter one records as 2x, clipped at 1.
        let half = std::f64::consts::FRAC_1_SQRT_2;
        for step in 0..=1000 {
            let dark = f64::from(step) / 1000.0;
            let (before, after) = (rolled(1.0 / half, 0.5, dark), rolled(half, 1.0, (2.0 * dark).min(1.0)));
            assert!((before - after).abs() < 1e-12, "light {dark}: {before} and {after}");
        }
        assert!((rolled(1.0 / half, 0.5, 0.01) / 0.01 * half - 1.0).abs() < 1e-3);
    }
}

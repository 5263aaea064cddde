//! A gain on linear light, applied to encoded values by one table a channel.

use super::Scratch;
use super::colour::Mix;
use super::light::Curve;
use crate::level::{Gain, rolled, slope_at_white};

/// Steps of a table from 0 to 1. Straight lines between them are within 0.0015 of an 8-bit code of the curve where it
/// bends hardest, at highlights that roll.
const STEPS: usize = 2048;

/// What pictures are levelled by: their linear light is multiplied, and highlights roll to white ([`rolled`]).
#[derive(Debug, Default)]
pub(super) struct Tone {
    gain: Option<Gain>,
    tables: [Table; 3],
}

/// Encoded values after a gain.
#[derive(Debug, Default)]
struct Table {
    /// What light is multiplied by, and the light that becomes white.
    of: Option<(f64, f64)>,
    values: Vec<f32>,
    /// Above 1, where a kernel overshoots, for a step of 1.
    above: f32,
}

impl Tone {
    /// Levels by `gain` from now on; tables are made where they are not there from the last time.
    pub(super) fn set(&mut self, gain: Gain) {
        self.gain = (gain != Gain::UNCHANGED).then_some(gain);
        if self.gain.is_none() {
            return;
        }
        for (channel, by) in gain.light.into_iter().enumerate() {
            let made = Some((by, gain.white));
            if self.tables[channel].of == made {
                continue;
            }
            match self.tables[..channel].iter().position(|table| table.of == made) {
                Some(same) => {
                    let (made, rest) = self.tables.split_at_mut(channel);
                    rest[0].copy(&made[same]);
                }
                None => self.tables[channel].make(by, gain.white),
            }
        }
    }

    /// Whether anything is changed.
    pub(super) fn is_set(&self) -> bool {
        self.gain.is_some()
    }

    /// A row of planes (by `to_rgb`) or of R'G'B' to R'G'B' after the gain.
    pub(super) fn apply(&self, to_rgb: Option<&Mix>, scratch: &mut Scratch) {
        let [a, b, c] = &mut scratch.rows;
        let [red, green, blue] = &self.tables;
        let Some(to_rgb) = to_rgb else {
            for (row, table) in [(a, red), (b, green), (c, blue)] {
                row.iter_mut().for_each(|value| *value = table.value(*value));
            }
            return;
        };
        let sums: [_; 3] = std::array::from_fn(|out| to_rgb.scaled(out, 1.0, 0.0));
        for ((a, b), c) in a.iter_mut().zip(b).zip(c) {
            let [r, g, b_] = sums.map(|(by, add)| add + by[0] * *a + by[1] * *b + by[2] * *c);
            (*a, *b, *c) = (red.value(r), green.value(g), blue.value(b_));
        }
    }
}

impl Table {
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "2,050 entries of f32")]
    fn make(&mut self, gain: f64, white: f64) {
        let curve = Curve::get();
        self.of = Some((gain, white));
        self.values.clear();
        self.values.extend((0..=STEPS).map(|step| {
            let light = f64::from(curve.light_of(step as f32 / STEPS as f32));
            curve.value_of(rolled(gain, white, light) as f32)
        }));
        // So that the last step has an end too.
        self.values.push(1.0);
        self.above = if white < 1.0 { 0.0 } else { slope_at_white(gain) as f32 };
    }

    fn copy(&mut self, other: &Self) {
        (self.of, self.above) = (other.of, other.above);
        self.values.clone_from(&other.values);
    }

    /// Odd below 0.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "within the table"
    )]
    #[inline]
    fn value(&self, value: f32) -> f32 {
        let size = value.abs();
        let at = size.min(1.0) * STEPS as f32;
        let entry = at as usize;
        let (low, high) = (self.values[entry], self.values[entry + 1]);
        let within = low + (high - low) * (at - entry as f32);
        (within + (size - 1.0).max(0.0) * self.above).copysign(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // IEC 61966-2-1's curve, in f64.
    fn light(value: f64) -> f64 {
        if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    }

    fn encoded(light: f64) -> f64 {
        if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
    }

    #[test]
    fn tables_come_within_a_thousandth_of_an_8_bit_code_of_the_formula() {
        let whole = [0.5, 0.8, 0.97, 1.001, 1.03, 1.3, 2.0].map(|gain| (gain, 1.0));
        for (gain, white) in whole.into_iter().chain([(1.3, 0.8), (2.0_f64.sqrt(), 0.5)]) {
            let mut tone = Tone::default();
            tone.set(Gain { light: [gain; 3], white });
            let mut most = 0.0_f64;
            for step in 0..=20_000 {
                let value = f64::from(step) / 20_000.0;
                #[expect(clippy::cast_possible_truncation, reason = "a made-up value")]
                let seen = f64::from(tone.tables[1].value(value as f32));
                most = most.max((seen - encoded(rolled(gain, white, light(value)))).abs() * 255.0);
            }
            // Where all above is white the curve has a corner, which a straight line over a step cuts.
            let bar = if (0.9..1.1).contains(&gain) {
                1e-3
            } else if white < 1.0 {
                0.1
            } else {
                4e-3
            };
            assert!(most < bar, "gain {gain}, white {white}: {most}");
        }
    }

    #[test]
    fn white_stays_white_black_stays_black_and_overshoot_keeps_its_side() {
        let mut tone = Tone::default();
        tone.set(Gain::of([0.9, 1.1, 1.0]));
        for table in &tone.tables {
            assert_eq!((table.value(0.0), table.value(1.0)), (0.0, 1.0));
            assert!(table.value(1.1) > 1.0 && table.value(-0.1) < 0.0);
            assert_eq!(table.value(-0.3), -table.value(0.3));
        }
        tone.set(Gain::UNCHANGED);
        assert!(!tone.is_set());
    }
}

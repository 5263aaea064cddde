//! Stills that are not evenly spaced in time: between their places on the shoot's axis and even time.
//!
//! ## Decisions
//!
//! - Where the rate varies and the pace says `times(…)`, each frame lasts until the next is shown, the last one a usual
//!   step. Rates in stills count usual steps.

/// A piecewise linear map between positions on the shoot's axis, where each still takes 1, and *even* positions, where
/// each takes as much as it lasts, counted in the usual step. Both begin at 0 and are strictly increasing.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeMap {
    /// The even position at which each still begins, and that at which the last one ends.
    even: Vec<f64>,
}

impl TimeMap {
    /// For stills that each last this many usual steps, above 0; at least one still.
    #[must_use]
    pub fn new(lasting: impl IntoIterator<Item = f64>) -> Self {
        let mut even = vec![0.0];
        let mut sum = 0.0;
        for steps in lasting {
            sum += steps;
            even.push(sum);
        }
        Self { even }
    }

    /// The even position of a position on the shoot's axis.
    #[must_use]
    pub fn even(&self, position: f64) -> f64 {
        let last = self.even.len() - 2;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held among the stills")]
        let still = (position.max(0.0) as usize).min(last);
        let (from, to) = (self.even[still], self.even[still + 1]);
        let part = (position - number(still)).clamp(0.0, 1.0);
        from + (to - from) * part
    }

    /// The position on the shoot's axis of an even position.
    #[must_use]
    pub fn position(&self, even: f64) -> f64 {
        let still = self.still(even);
        let (from, to) = (self.even[still], self.even[still + 1]);
        number(still) + ((even - from) / (to - from)).clamp(0.0, 1.0)
    }

    /// Stills a usual step at an even position.
    #[must_use]
    pub fn slope(&self, even: f64) -> f64 {
        let still = self.still(even);
        1.0 / (self.even[still + 1] - self.even[still])
    }

    fn still(&self, even: f64) -> usize {
        let last = self.even.len() - 2;
        self.even.partition_point(|begins| *begins <= even).saturating_sub(1).min(last)
    }
}

fn number(still: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
    let number = still as f64;
    number
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_agree_and_stills_begin_where_they_should() {
        let time_map = TimeMap::new([1.0, 3.0, 0.5, 1.0]);
        for (position, even) in [(0.0, 0.0), (1.0, 1.0), (1.5, 2.5), (2.0, 4.0), (3.0, 4.5), (4.0, 5.5)] {
            assert_eq!((time_map.even(position), time_map.position(even)), (even, position));
        }
        for step in 0..=550 {
            let even = f64::from(step) / 100.0;
            assert!((time_map.even(time_map.position(even)) - even).abs() < 1e-12);
        }
        assert_eq!((time_map.slope(2.0), time_map.slope(4.2)), (1.0 / 3.0, 2.0));
        assert_eq!((time_map.position(-1.0), time_map.position(9.0), time_map.even(9.0)), (0.0, 4.0, 5.5));
    }
}

//! How the ways between keys join: monotone cubics that carry speed over a key, or bring it to rest there.
//!
//! In: values at moments, the ease of each way, the keys that are stopped at. Out: for each way the cubic that turns
//! eased progress into the share of the way that is done. It never turns back, and speed is the same on both sides of a
//! key: the weighted harmonic mean that Fritsch and Butland give (SIAM J. Sci. Stat. Comput. 5(2), 1984; what scipy
//! calls PCHIP), taken over the speeds at which the two eases arrive and leave. An ease that rests at a key therefore
//! makes the other side rest too.
//!
//! ## Decisions
//!
//! - *Even speed* is by arc length, and keys stay at their moments: the length covered is a monotone cubic of time
//!   through the keys, and so is the logarithm of the width. It is scipy's PCHIP where eases are linear, and exactly
//!   even where the keys' moments share out the length.
//! - At the first and the last key the ease decides: `"linear"` sets off at full speed. A step, or an ease with a
//!   vertical tangent, does what it says.
//! - `stop` comes to rest softly, on every path.

use super::ease::Ease;

/// A cubic from 0 to 1 over progress 0 to 1, by its slopes at both ends. Slopes from 0 to 3 make it monotone (Fritsch
/// and Carlson, SIAM J. Numer. Anal. 17(2), 1980; from memory, and proved by the tests).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hermite {
    /// Slope where the way begins, 0 to 3.
    pub leaving: f64,
    /// Slope where it ends, 0 to 3.
    pub arriving: f64,
}

impl Hermite {
    /// Output equals input.
    pub const EVEN: Self = Self { leaving: 1.0, arriving: 1.0 };

    /// A way that rests at the ends asked for and is otherwise as even as that allows: no bend at an end it does not
    /// rest at.
    #[must_use]
    pub fn resting(first: bool, last: bool) -> Self {
        match (first, last) {
            (false, false) => Self::EVEN,
            (true, false) => Self { leaving: 0.0, arriving: 1.5 },
            (false, true) => Self { leaving: 1.5, arriving: 0.0 },
            (true, true) => Self { leaving: 0.0, arriving: 0.0 },
        }
    }

    /// The share of the way done at eased progress `e`; outside 0 to 1 straight on at the end's slope.
    #[must_use]
    pub fn at(self, e: f64) -> f64 {
        if self == Self::EVEN {
            return e;
        }
        if e <= 0.0 {
            return self.leaving * e;
        }
        if e >= 1.0 {
            return 1.0 + self.arriving * (e - 1.0);
        }
        let rest = 1.0 - e;
        self.leaving * e * rest * rest + e * e * (3.0 - 2.0 * e) - self.arriving * e * e * rest
    }

    /// Slope of [`Hermite::at`].
    #[must_use]
    pub fn derivative(self, e: f64) -> f64 {
        let e = e.clamp(0.0, 1.0);
        self.leaving * (1.0 - e) * (1.0 - 3.0 * e) + 6.0 * e * (1.0 - e) + self.arriving * e * (3.0 * e - 2.0)
    }
}

/// A value at a moment, for [`Monotone`].
#[derive(Debug, Clone, Copy)]
pub struct Knot<'a> {
    /// Screen time in seconds.
    pub at: f64,
    /// The value there.
    pub value: f64,
    /// The way to it.
    pub ease: &'a Ease,
    /// Whether it is come to rest at.
    pub stop: bool,
    /// The share of its speed that it is passed at, 0 to 1.
    pub passed: f64,
}

/// One way of a curve: from a value to another, shaped by a cubic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// The value where it begins.
    pub from: f64,
    /// The value where it ends.
    pub to: f64,
    /// How it goes from the one to the other.
    pub shape: Hermite,
}

impl Rise {
    /// The value at eased progress `e`.
    #[must_use]
    pub fn at(self, e: f64) -> f64 {
        self.from + (self.to - self.from) * self.shape.at(e)
    }

    /// Slope of [`Rise::at`].
    #[must_use]
    pub fn derivative(self, e: f64) -> f64 {
        (self.to - self.from) * self.shape.derivative(e)
    }
}

/// A curve through knots: continuous in value and speed, and monotone wherever they and their eases are.
#[derive(Debug, Clone, PartialEq)]
pub struct Monotone {
    /// The way to each knot but the first.
    pub ways: Vec<Rise>,
}

impl Monotone {
    /// Through knots in order of time, no two at one moment, at least one.
    ///
    /// At a first and last knot the slope is that of the parabola through the nearest three, held to the direction of
    /// the way and to three times its speed, as scipy's PCHIP has it.
    #[must_use]
    pub fn new(knots: &[Knot<'_>]) -> Self {
        let gaps: Vec<f64> = knots.windows(2).map(|pair| pair[1].at - pair[0].at).collect();
        let secants: Vec<f64> =
            knots.windows(2).zip(&gaps).map(|(pair, gap)| (pair[1].value - pair[0].value) / gap).collect();
        let mut shapes = vec![Hermite::EVEN; gaps.len()];
        for inner in 1..knots.len().saturating_sub(1) {
            let (before, after) = (inner - 1, inner);
            let arriving = secants[before] * knots[inner].ease.derivative(1.0);
            let leaving = secants[after] * knots[inner + 1].ease.derivative(0.0);
            let speed = if knots[inner].stop { 0.0 } else { joint(gaps[before], arriving, gaps[after], leaving) };
            let speed = speed * knots[inner].passed;
            shapes[before].arriving = slope(speed, arriving);
            shapes[after].leaving = slope(speed, leaving);
        }
        if let (Some(last), [first_gap, .., last_gap]) = (gaps.len().checked_sub(1), &gaps[..]) {
            if knots[1].ease.derivative(1.0) != 0.0 {
                shapes[0].leaving = end(*first_gap, secants[0], gaps[1], secants[1]);
            }
            if knots[last + 1].ease.derivative(0.0) != 0.0 {
                shapes[last].arriving = end(*last_gap, secants[last], gaps[last - 1], secants[last - 1]);
            }
        } else if let [shape] = &mut shapes[..] {
            *shape = Hermite::resting(knots[0].stop, knots[1].stop);
        }
        if let (Some(shape), Some(knot)) = (shapes.first_mut(), knots.first())
            && knot.stop
        {
            shape.leaving = 0.0;
        }
        if let (Some(shape), Some(knot)) = (shapes.last_mut(), knots.last())
            && knot.stop
        {
            shape.arriving = 0.0;
        }
        let ways =
            knots.windows(2).zip(shapes).map(|(pair, shape)| Rise { from: pair[0].value, to: pair[1].value, shape });
        Self { ways: ways.collect() }
    }
}

/// The speed at a knot between a way of `before` seconds that arrives at one speed and one of `after` that leaves at
/// another.
fn joint(before: f64, arriving: f64, after: f64, leaving: f64) -> f64 {
    if arriving * leaving <= 0.0 || arriving.is_nan() || leaving.is_nan() {
        return 0.0;
    }
    let (first, second) = (2.0 * after + before, after + 2.0 * before);
    (first + second) / (first / arriving + second / leaving)
}

/// The slope of the cubic that gives `speed` where the ease alone has `own`; an ease that rests, or arrives infinitely
/// fast, does so whatever the cubic.
fn slope(speed: f64, own: f64) -> f64 {
    if own == 0.0 || !own.is_finite() || !speed.is_finite() { 1.0 } else { speed / own }
}

/// scipy's end slope, as a share of the end way's own speed.
fn end(gap: f64, secant: f64, next_gap: f64, next: f64) -> f64 {
    if secant == 0.0 {
        return 1.0;
    }
    let speed = ((2.0 * gap + next_gap) * secant - gap * next) / (gap + next_gap);
    if speed * secant <= 0.0 {
        0.0
    } else if secant * next <= 0.0 && speed.abs() > 3.0 * secant.abs() {
        3.0
    } else {
        speed / secant
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(times: &[f64], values: &[f64]) -> Monotone {
        let knot =
            |(at, value): (&f64, &f64)| Knot { at: *at, value: *value, ease: &Ease::Linear, stop: false, passed: 1.0 };
        Monotone::new(&times.iter().zip(values).map(knot).collect::<Vec<_>>())
    }

    fn value(times: &[f64], curve: &Monotone, time: f64) -> f64 {
        let to = times.partition_point(|at| *at <= time).clamp(1, times.len() - 1);
        curve.ways[to - 1].at((time - times[to - 1]) / (times[to] - times[to - 1]))
    }

    const TIMES: [f64; 6] = [0.0, 1.0, 2.0, 4.0, 5.0, 8.0];
    const ASKED: [f64; 10] = [0.25, 0.5, 1.5, 2.5, 3.0, 3.5, 4.5, 6.0, 7.0, 7.75];

    #[test]
    fn with_linear_eases_it_is_what_scipy_calls_pchip() {
        // Values of scipy 1.17.1's PchipInterpolator.
        let cases: [([f64; 6], [f64; 10]); 2] = [
            (
                [0.0, 0.0, 1.0, 3.0, 3.0, 10.0],
                [0.0, 0.0, 0.375, 1.59375, 2.25, 2.78125, 3.0, 3.907407407407, 6.37037037037, 9.004484953704],
            ),
            (
                [0.0, 0.5, 3.0, 4.0, 9.0, 10.0],
                [
                    0.0390625,
                    0.1458333333333,
                    1.741666666667,
                    3.315625,
                    3.475,
                    3.646875,
                    6.533536585366,
                    9.584462511292,
                    9.903342366757,
                    9.99429765131,
                ],
            ),
        ];
        for (values, due) in cases {
            let curve = linear(&TIMES, &values);
            for (time, due) in ASKED.iter().zip(due) {
                let seen = value(&TIMES, &curve, *time);
                // The table has 12 decimals.
                assert!((seen - due).abs() < 1e-10, "{seen} for {due} at {time}");
            }
        }
    }

    #[test]
    fn equal_speeds_stay_equal_to_the_last_bits() {
        let curve = linear(&[0.0, 1.0, 3.0, 4.5], &[0.0, 10.0, 30.0, 45.0]);
        for step in 0..=45 {
            let time = f64::from(step) / 10.0;
            assert!((value(&[0.0, 1.0, 3.0, 4.5], &curve, time) - 10.0 * time).abs() < 1e-12);
        }
    }

    #[test]
    fn a_derivative_is_the_finite_difference() {
        let curve = linear(&TIMES, &[0.0, 0.5, 3.0, 4.0, 9.0, 10.0]);
        for to in 1..6 {
            for step in 1..20 {
                let e = f64::from(step) / 20.0;
                let difference = (curve.ways[to - 1].at(e + 1e-6) - curve.ways[to - 1].at(e - 1e-6)) / 2e-6;
                assert!((difference - curve.ways[to - 1].derivative(e)).abs() < 1e-7);
            }
        }
    }

    /// Speed at a knot, from both sides.
    fn speeds(knots: &[Knot<'_>], knot: usize) -> (f64, f64) {
        let curve = Monotone::new(knots);
        let speed = |to: usize, x: f64| {
            let ease = knots[to].ease;
            curve.ways[to - 1].derivative(ease.at(x)) * ease.derivative(x) / (knots[to].at - knots[to - 1].at)
        };
        (speed(knot, 1.0), speed(knot + 1, 0.0))
    }

    #[test]
    fn an_ease_that_rests_makes_the_next_way_set_off_from_rest() {
        let rest = Ease::keyword("ease-in-out").unwrap();
        let knot = |at, value, ease| Knot { at, value, ease, stop: false, passed: 1.0 };
        let knots = [
            knot(0.0, 0.0, &Ease::Linear),
            knot(1.0, 4.0, &rest),
            knot(2.0, 6.0, &Ease::Linear),
            knot(3.0, 9.0, &Ease::Linear),
        ];
        assert_eq!(speeds(&knots, 1), (0.0, 0.0));
        let (arriving, leaving) = speeds(&knots, 2);
        assert!(arriving > 0.5 && (arriving - leaving).abs() < 1e-12);
    }

    #[test]
    fn a_knot_is_passed_at_the_share_of_its_speed_that_is_asked_for() {
        let knot = |at, value, passed| Knot { at, value, ease: &Ease::Linear, stop: false, passed };
        let knots = |passed| [knot(0.0, 0.0, 1.0), knot(1.0, 4.0, passed), knot(2.0, 6.0, 1.0)];
        let (full, half) = (speeds(&knots(1.0), 1), speeds(&knots(0.5), 1));
        assert!((full.0 / 2.0 - half.0).abs() < 1e-12 && (half.0 - half.1).abs() < 1e-12, "{full:?} {half:?}");
        assert_eq!(speeds(&knots(0.0), 1), (0.0, 0.0));
    }

    #[test]
    fn a_stop_is_come_to_rest_at_from_both_sides() {
        let knot = |at, value, stop| Knot { at, value, ease: &Ease::Linear, stop, passed: 1.0 };
        let knots = [knot(0.0, 0.0, true), knot(1.0, 4.0, true), knot(2.0, 6.0, false)];
        assert_eq!(speeds(&knots, 1), (0.0, 0.0));
        assert_eq!(Monotone::new(&knots).ways[0].derivative(0.0), 0.0);
    }

    proptest::proptest! {
        #[test]
        fn monotone_in_is_monotone_out_and_speed_is_the_same_on_both_sides(
            steps in proptest::collection::vec((0.05..5.0_f64, 0.0..9.0_f64, 0.0..=1.0_f64, 0.0..=1.0_f64, proptest::bool::ANY), 3..9),
        ) {
            let eases: Vec<Ease> =
                steps.iter().map(|step| Ease::CubicBezier { x1: 0.3, y1: step.2, x2: 0.6, y2: step.3 }).collect();
            let (mut at, mut value) = (0.0, 0.0);
            let knots: Vec<Knot<'_>> = steps.iter().zip(&eases).map(|(step, ease)| {
                (at, value) = (at + step.0, value + step.1);
                Knot { at, value, ease, stop: step.4, passed: 1.0 }
            }).collect();
            let curve = Monotone::new(&knots);
            for (to, knot) in knots.iter().enumerate().skip(1) {
                let mut last = curve.ways[to - 1].at(0.0);
                for step in 1..=50 {
                    let next = curve.ways[to - 1].at(knot.ease.at(f64::from(step) / 50.0));
                    proptest::prop_assert!(next >= last - 1e-12);
                    last = next;
                }
            }
            for knot in 1..knots.len() - 1 {
                let (arriving, leaving) = speeds(&knots, knot);
                proptest::prop_assert!((arriving - leaving).abs() < 1e-9 * arriving.abs().max(1.0), "{} {}", arriving, leaving);
            }
        }
    }
}

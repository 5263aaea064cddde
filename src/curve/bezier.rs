//! The cubic Bézier behind an ease: from `(0, 0)` to `(1, 1)`, its input never falling.

/// A cubic Bézier from `(0, 0)` to `(1, 1)` as polynomials of its parameter `s`, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bezier {
    across: Cubic,
    up: Cubic,
    /// Slope of the line that continues it below input 0; none where it is vertical there.
    slope_before: Option<f64>,
    /// The same above input 1.
    slope_after: Option<f64>,
}

/// `((a s + b) s + c) s`.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cubic {
    a: f64,
    b: f64,
    c: f64,
}

impl Cubic {
    fn new(first: f64, second: f64) -> Self {
        Self { a: 1.0 - 3.0 * second + 3.0 * first, b: 3.0 * second - 6.0 * first, c: 3.0 * first }
    }

    fn at(self, s: f64) -> f64 {
        ((self.a * s + self.b) * s + self.c) * s
    }

    fn derivative(self, s: f64) -> f64 {
        (3.0 * self.a * s + 2.0 * self.b) * s + self.c
    }

    /// Smallest and largest value over `s` in 0 to 1.
    fn extremes(self) -> (f64, f64) {
        let turns = kurbo::common::solve_quadratic(self.c, 2.0 * self.b, 3.0 * self.a);
        turns
            .iter()
            .filter(|s| (0.0..=1.0).contains(*s))
            .map(|s| self.at(*s))
            .fold((0.0, 1.0), |(least, most): (f64, f64), y| (least.min(y), most.max(y)))
    }
}

impl Bezier {
    /// The curve with control points `(x1, y1)` and `(x2, y2)`; `x1` and `x2` lie in 0 to 1.
    #[must_use]
    pub fn new(x1: f64, y1: f64, x2: f64, y2: f64) -> Self {
        let slope_before = if x1 > 0.0 {
            Some(y1 / x1)
        } else if y1 == 0.0 && x2 > 0.0 {
            Some(y2 / x2)
        } else {
            None
        };
        let slope_after = if x2 < 1.0 {
            Some((1.0 - y2) / (1.0 - x2))
        } else if y2 == 1.0 && x1 < 1.0 {
            Some((1.0 - y1) / (1.0 - x1))
        } else {
            None
        };
        Self { across: Cubic::new(x1, x2), up: Cubic::new(y1, y2), slope_before, slope_after }
    }

    /// Output at input `x`; outside 0 to 1 on the tangent, or the end's value where the tangent is vertical.
    #[must_use]
    pub fn at(self, x: f64) -> f64 {
        if x < 0.0 {
            self.slope_before.map_or(0.0, |slope| slope * x)
        } else if x > 1.0 {
            self.slope_after.map_or(1.0, |slope| 1.0 + slope * (x - 1.0))
        } else {
            self.output(self.parameter(x))
        }
    }

    /// Slope at input `x`; infinite where the tangent is vertical.
    #[must_use]
    pub fn derivative(self, x: f64) -> f64 {
        if x < 0.0 {
            return self.slope_before.unwrap_or(0.0);
        }
        if x > 1.0 {
            return self.slope_after.unwrap_or(0.0);
        }
        let s = self.parameter(x);
        let (run, rise) = (self.across.derivative(s), self.up.derivative(s));
        if run > 1e-12 {
            return rise / run;
        }
        let end = if s < 0.5 { self.slope_before } else { self.slope_after };
        end.unwrap_or(f64::INFINITY.copysign(if rise == 0.0 { 1.0 } else { rise }))
    }

    /// Input at parameter `s`.
    #[must_use]
    pub fn input(self, s: f64) -> f64 {
        self.across.at(s)
    }

    /// How fast the input grows with the parameter, never below 0 but for rounding.
    #[must_use]
    pub fn input_speed(self, s: f64) -> f64 {
        self.across.derivative(s).max(0.0)
    }

    /// Output at parameter `s`.
    #[must_use]
    pub fn output(self, s: f64) -> f64 {
        self.up.at(s)
    }

    /// Smallest and largest output between its ends.
    #[must_use]
    pub fn extremes(self) -> (f64, f64) {
        self.up.extremes()
    }

    /// The parameter at input `x`, 0 to 1: Newton's steps inside a bracket that only shrinks.
    #[must_use]
    pub fn parameter(self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        if x >= 1.0 {
            return 1.0;
        }
        super::root(0.0, 1.0, x, |s| (self.across.at(s) - x, self.across.derivative(s)))
    }
}

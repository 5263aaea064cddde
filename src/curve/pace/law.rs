//! How the position advances under one formula, in closed form or by quadrature, and the inverse of that.
//!
//! A law knows stills gone by and seconds taken; which way the shoot runs meanwhile is its piece's business.

use super::super::bezier::Bezier;
use super::super::integral::Running;
use super::Timeline;

/// How the position advances inside a piece.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Law {
    /// At one rate.
    Constant(f64),
    /// The rate changes evenly along an axis: `rate + slope · (parameter since the beginning)`.
    Even { axis: Timeline, rate: f64, slope: f64 },
    /// The rate follows a Bézier along an axis.
    Curved(Box<Curved>),
}

/// A rate from `rate` to `rate + change` over `width` of an axis along a Bézier.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    pub(super) axis: Timeline,
    pub(super) curve: Bezier,
    pub(super) width: f64,
    pub(super) rate: f64,
    pub(super) change: f64,
}

impl Way {
    fn rate(&self, s: f64) -> f64 {
        self.rate + self.change * self.curve.output(s)
    }

    /// Growth of the other axis with the curve's parameter.
    fn growth(&self, s: f64) -> f64 {
        let along = self.width * self.curve.input_speed(s);
        match self.axis {
            Timeline::Screen => along * self.rate(s),
            Timeline::Shoot => along / self.rate(s),
        }
    }
}

/// A way with its integral along the curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Curved {
    way: Way,
    grown: Running,
}

impl Curved {
    pub(super) fn new(way: Way) -> Self {
        let grown = Running::new(&|s| way.growth(s));
        Self { way, grown }
    }

    /// How far the other axis has come where this one has come `along`.
    fn other(&self, along: f64) -> f64 {
        let s = self.way.curve.parameter(along / self.way.width);
        self.grown.at(&|s| self.way.growth(s), s)
    }

    /// How far this axis has come where the other has come `across`.
    fn own(&self, across: f64) -> f64 {
        self.way.width * self.way.curve.input(self.grown.inverse(&|s| self.way.growth(s), across))
    }
}

impl Law {
    /// Stills gone by `seconds` after the beginning.
    pub(super) fn stills(&self, seconds: f64) -> f64 {
        match self {
            Self::Constant(rate) => rate * seconds,
            Self::Even { axis: Timeline::Screen, rate, slope } => (rate + slope * seconds / 2.0) * seconds,
            Self::Even { axis: Timeline::Shoot, rate, slope } => rate * (slope * seconds).exp_m1() / slope,
            Self::Curved(curved) if curved.way.axis == Timeline::Screen => curved.other(seconds),
            Self::Curved(curved) => curved.own(seconds),
        }
    }

    /// Seconds it takes for `stills` to go by from the beginning.
    pub(super) fn seconds(&self, stills: f64) -> f64 {
        match self {
            Self::Constant(rate) => stills / rate,
            Self::Even { axis: Timeline::Screen, rate, slope } => {
                2.0 * stills / (rate + (rate * rate + 2.0 * slope * stills).max(0.0).sqrt())
            }
            Self::Even { axis: Timeline::Shoot, rate, slope } => (slope * stills / rate).ln_1p() / slope,
            Self::Curved(curved) if curved.way.axis == Timeline::Screen => curved.own(stills),
            Self::Curved(curved) => curved.other(stills),
        }
    }

    /// Stills a second, `seconds` after the beginning.
    pub(super) fn rate(&self, seconds: f64) -> f64 {
        match self {
            Self::Constant(rate) => *rate,
            Self::Even { axis: Timeline::Screen, rate, slope } => rate + slope * seconds,
            Self::Even { axis: Timeline::Shoot, rate, slope } => rate * (slope * seconds).exp(),
            Self::Curved(curved) => {
                let along = if curved.way.axis == Timeline::Screen { seconds } else { curved.own(seconds) };
                curved.way.rate(curved.way.curve.parameter(along / curved.way.width))
            }
        }
    }
}

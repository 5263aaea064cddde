//! Pace: how fast the shoot position advances, its integral, and the inverse of that.
//!
//! Keyed on screen time, the position is the integral of the rate; keyed on the shoot's axis, the time is the integral of
//! `1 / rate`. Rates between two keys follow the ease in the parameter of the keys' axis; outside the keys they hold.
//! Straight ways have closed forms; along a Bézier both integrals run over the curve's own parameter, where they are smooth
//! even at a vertical tangent, by Gauss–Legendre quadrature to about 1e-14.

use crate::units::FrameRate;

use super::bezier::Bezier;
use super::ease::{Ease, Part};
use super::integral::Running;

/// The slowest rate taken, in stills a second: below it a clip of two stills lasts longer than a year.
pub const SLOWEST: f64 = 1e-8;

/// Which axis a pace is keyed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// Seconds of the clip.
    Screen,
    /// Stills.
    Shoot,
}

/// A rate pinned to a moment of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// Seconds or stills, as the axis has it.
    pub at: f64,
    /// Stills a second, above 0.
    pub rate: f64,
    /// The way to this rate from the key before.
    pub ease: Ease,
    /// Whether a fit leaves the way to this key alone.
    pub keep: bool,
}

/// Why keys give no pace.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// The rate is not above [`SLOWEST`] somewhere on the way to a key: an ease overshoots.
    Stops {
        /// Which key.
        key: usize,
        /// The lowest rate on the way to it, in stills a second.
        lowest: f64,
    },
    /// The kept sections already take as long as the whole is to last, or longer.
    KeptTooLong {
        /// Seconds they take.
        kept: f64,
    },
    /// Everything is kept, and does not last as long as asked.
    NothingToFit {
        /// Seconds it lasts.
        kept: f64,
    },
}

/// A stretch of the clip at one rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Where it begins, in seconds.
    pub from: f64,
    /// Where it ends, in seconds.
    pub to: f64,
    /// Stills a second.
    pub rate: f64,
}

/// A pace over a shoot of a known number of stills: screen time to shoot position and back.
#[derive(Debug, Clone, PartialEq)]
pub struct PaceMap {
    stills: f64,
    length: f64,
    pieces: Vec<Piece>,
    /// The exact rate as a fraction of two numbers, where it is the same throughout.
    fraction: Option<(f64, f64)>,
}

/// A section of the pace under one formula, where it begins on both axes.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    time: f64,
    position: f64,
    law: Law,
}

/// How the position advances inside a piece.
#[derive(Debug, Clone, PartialEq)]
enum Law {
    /// At one rate.
    Constant(f64),
    /// The rate changes evenly along an axis: `rate + slope · (parameter since the beginning)`.
    Even { axis: Axis, rate: f64, slope: f64 },
    /// The rate follows a Bézier along an axis.
    Curved(Box<Curved>),
}

/// A rate from `rate` to `rate + change` over `width` of an axis along a Bézier.
#[derive(Debug, Clone, PartialEq)]
struct Way {
    axis: Axis,
    curve: Bezier,
    width: f64,
    rate: f64,
    change: f64,
}

impl Way {
    fn rate(&self, s: f64) -> f64 {
        self.rate + self.change * self.curve.output(s)
    }

    /// Growth of the other axis with the curve's parameter.
    fn growth(&self, s: f64) -> f64 {
        let along = self.width * self.curve.input_speed(s);
        match self.axis {
            Axis::Screen => along * self.rate(s),
            Axis::Shoot => along / self.rate(s),
        }
    }
}

/// A way with its integral along the curve.
#[derive(Debug, Clone, PartialEq)]
struct Curved {
    way: Way,
    grown: Running,
}

impl Curved {
    fn new(way: Way) -> Self {
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
    fn stills(&self, seconds: f64) -> f64 {
        match self {
            Self::Constant(rate) => rate * seconds,
            Self::Even { axis: Axis::Screen, rate, slope } => (rate + slope * seconds / 2.0) * seconds,
            Self::Even { axis: Axis::Shoot, rate, slope } => rate * (slope * seconds).exp_m1() / slope,
            Self::Curved(curved) if curved.way.axis == Axis::Screen => curved.other(seconds),
            Self::Curved(curved) => curved.own(seconds),
        }
    }

    /// Seconds it takes for `stills` to go by from the beginning.
    fn seconds(&self, stills: f64) -> f64 {
        match self {
            Self::Constant(rate) => stills / rate,
            Self::Even { axis: Axis::Screen, rate, slope } => {
                2.0 * stills / (rate + (rate * rate + 2.0 * slope * stills).max(0.0).sqrt())
            }
            Self::Even { axis: Axis::Shoot, rate, slope } => (slope * stills / rate).ln_1p() / slope,
            Self::Curved(curved) if curved.way.axis == Axis::Screen => curved.own(stills),
            Self::Curved(curved) => curved.other(stills),
        }
    }

    /// Stills a second, `seconds` after the beginning.
    fn rate(&self, seconds: f64) -> f64 {
        match self {
            Self::Constant(rate) => *rate,
            Self::Even { axis: Axis::Screen, rate, slope } => rate + slope * seconds,
            Self::Even { axis: Axis::Shoot, rate, slope } => rate * (slope * seconds).exp(),
            Self::Curved(curved) => {
                let along = if curved.way.axis == Axis::Screen { seconds } else { curved.own(seconds) };
                curved.way.rate(curved.way.curve.parameter(along / curved.way.width))
            }
        }
    }
}

/// A piece before it has a place: how wide it is on the keys' axis and how the rate goes.
struct Section {
    width: f64,
    from: f64,
    to: f64,
    curve: Option<Bezier>,
    keep: bool,
}

impl Section {
    fn law(&self, axis: Axis, scale: f64) -> Law {
        let scale = if self.keep { 1.0 } else { scale };
        let (from, change) = (self.from * scale, (self.to - self.from) * scale);
        // Below this change the straight formula is the more exact one.
        if change.abs() <= from * 1e-14 {
            return Law::Constant(from);
        }
        match self.curve {
            Some(curve) => Law::Curved(Box::new(Curved::new(Way { axis, curve, width: self.width, rate: from, change }))),
            None => Law::Even { axis, rate: from, slope: change / self.width },
        }
    }
}

impl PaceMap {
    /// `numerator / denominator` stills a second throughout. Both above 0, as is `stills`.
    #[must_use]
    pub fn constant(stills: f64, numerator: f64, denominator: f64) -> Self {
        Self {
            stills,
            length: stills * denominator / numerator,
            pieces: vec![Piece { time: 0.0, position: 0.0, law: Law::Constant(numerator / denominator) }],
            fraction: Some((numerator, denominator)),
        }
    }

    /// The whole shoot in `seconds`, at one rate.
    #[must_use]
    pub fn over(stills: f64, seconds: f64) -> Self {
        Self { length: seconds, ..Self::constant(stills, stills, seconds) }
    }

    /// The pace that keys give. Their moments grow and are 0 or more, and on the shoot's axis at most `stills`; there is at
    /// least one. A `fit`, heeded on the shoot's axis only, scales all rates but the kept ones so that the whole lasts that long.
    ///
    /// # Errors
    /// Every variant of [`Fault`].
    pub fn keyed(axis: Axis, keys: &[Key], stills: f64, fit: Option<f64>) -> Result<Self, Fault> {
        let sections = sections(axis, keys, stills)?;
        let mut scale = 1.0;
        let fit = fit.filter(|_| axis == Axis::Shoot);
        if let Some(fit) = fit {
            let (mut kept, mut free) = (0.0, 0.0);
            for section in &sections {
                let seconds = section.law(axis, 1.0).seconds(section.width);
                if section.keep { kept += seconds } else { free += seconds }
            }
            if free <= 0.0 {
                if (kept - fit).abs() > 1e-9 * fit {
                    return Err(Fault::NothingToFit { kept });
                }
            } else if kept >= fit {
                return Err(Fault::KeptTooLong { kept });
            } else {
                scale = free / (fit - kept);
            }
        }
        let (mut pieces, mut time, mut position) = (Vec::with_capacity(sections.len()), 0.0, 0.0);
        for section in sections {
            let law = section.law(axis, scale);
            let (seconds, gone) = match axis {
                Axis::Screen => (section.width, law.stills(section.width)),
                Axis::Shoot => (law.seconds(section.width), section.width),
            };
            pieces.push(Piece { time, position, law });
            time += seconds;
            position += gone;
        }
        let mut map = Self { stills, length: 0.0, pieces, fraction: None };
        map.length = fit.unwrap_or_else(|| map.time(stills));
        Ok(map)
    }

    /// Seconds until the shoot ends, the last still's share included.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.length
    }

    /// Stills in the shoot.
    #[must_use]
    pub fn stills(&self) -> f64 {
        self.stills
    }

    /// The shoot position at `time` seconds, 0 to the number of stills.
    #[must_use]
    pub fn position(&self, time: f64) -> f64 {
        let next = self.pieces.partition_point(|piece| piece.time <= time).max(1);
        let piece = &self.pieces[next - 1];
        let gone = piece.law.stills((time - piece.time).max(0.0));
        let end = self.pieces.get(next).map_or(self.stills, |after| after.position.min(self.stills));
        (piece.position + gone).clamp(0.0, end)
    }

    /// The shoot position of frame `index`, exact to one rounding where the rate is the same throughout.
    #[must_use]
    pub fn position_of_frame(&self, index: u64, fps: FrameRate) -> f64 {
        let Some((numerator, denominator)) = self.fraction else { return self.position(fps.time_of(index).0) };
        #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 frames does not exist")]
        let frames = index as f64 * f64::from(fps.denominator());
        ((frames * numerator) / (f64::from(fps.numerator()) * denominator)).min(self.stills)
    }

    /// The first moment, in seconds, at which the shoot stands at `position`, 0 to the number of stills.
    #[must_use]
    pub fn time(&self, position: f64) -> f64 {
        if let Some((numerator, denominator)) = self.fraction {
            return position * denominator / numerator;
        }
        let next = self.pieces.partition_point(|piece| piece.position <= position).max(1);
        let piece = &self.pieces[next - 1];
        let seconds = piece.law.seconds((position - piece.position).max(0.0));
        let end = self.pieces.get(next).map_or(f64::INFINITY, |after| after.time);
        (piece.time + seconds).min(end)
    }

    /// Stills a second at `time`.
    #[must_use]
    pub fn rate(&self, time: f64) -> f64 {
        let next = self.pieces.partition_point(|piece| piece.time <= time).max(1);
        let piece = &self.pieces[next - 1];
        piece.law.rate((time - piece.time).max(0.0))
    }

    /// The stretches of the clip that run at one rate, in order; neighbours of the same rate are one.
    #[must_use]
    pub fn constant_stretches(&self) -> Vec<Stretch> {
        let mut stretches: Vec<Stretch> = Vec::new();
        for (index, piece) in self.pieces.iter().enumerate() {
            let Law::Constant(rate) = piece.law else { continue };
            let to = self.pieces.get(index + 1).map_or(self.length, |after| after.time.min(self.length));
            if to <= piece.time {
                continue;
            }
            match stretches.last_mut() {
                Some(last) if last.to == piece.time && (last.rate - rate).abs() <= 1e-12 * rate => last.to = to,
                _ => stretches.push(Stretch { from: piece.time, to, rate }),
            }
        }
        stretches
    }
}

/// The sections between keys, with the held rates before the first and after the last (endless on screen).
fn sections(axis: Axis, keys: &[Key], stills: f64) -> Result<Vec<Section>, Fault> {
    let held = |width: f64, rate: f64| Section { width, from: rate, to: rate, curve: None, keep: false };
    let mut sections = Vec::with_capacity(keys.len() + 1);
    let (first, last) = (&keys[0], &keys[keys.len() - 1]);
    if first.at > 0.0 {
        sections.push(held(first.at, first.rate));
    }
    for (index, pair) in keys.windows(2).enumerate() {
        let (before, key) = (&pair[0], &pair[1]);
        let (span, change) = (key.at - before.at, key.rate - before.rate);
        let mut lowest = before.rate.min(key.rate);
        for part in key.ease.parts() {
            let level = |y: f64| before.rate + change * y;
            let (section, low) = match part {
                Part::Straight { x0, y0, x1, y1 } => {
                    let section =
                        Section { width: span * (x1 - x0), from: level(y0), to: level(y1), curve: None, keep: key.keep };
                    (section, level(y0).min(level(y1)))
                }
                Part::Curve(curve) => {
                    let (least, most) = curve.extremes();
                    let section = Section { width: span, from: before.rate, to: key.rate, curve: Some(curve), keep: key.keep };
                    (section, level(least).min(level(most)))
                }
            };
            lowest = lowest.min(low);
            sections.push(section);
        }
        if lowest.is_nan() || lowest <= SLOWEST {
            return Err(Fault::Stops { key: index + 1, lowest });
        }
    }
    match axis {
        Axis::Screen => sections.push(held(f64::INFINITY, last.rate)),
        Axis::Shoot if stills > last.at => sections.push(held(stills - last.at, last.rate)),
        Axis::Shoot => {}
    }
    Ok(sections)
}

#[cfg(test)]
mod tests;

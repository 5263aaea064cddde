//! Eases: how one key turns into the next. CSS Easing Functions Level 1 and 2 (W3C Working Draft, 2024-08-29).
//!
//! In: progress, `0` at the key before and `1` at the key itself, and beyond either. Out: progress, which may
//! overshoot.
//!
//! One point is settled against the draft's text: a cubic Bézier whose tangent at an end is vertical holds its end
//! value outside that end, as the shared browser tests (web-platform-tests, `css/css-easing`) have it. The text would
//! draw a line through the far control point; csswg-drafts issue 4046 says that is meant only where the near control
//! point coincides with the end.
//!
//! ## Decisions
//!
//! - To add an ease: a variant of [`Ease`] with its value and derivative and its published numbers in the tests; then a
//!   constructor in `src/script/` and its line in `src/script/fields.rs`, from which the editor's types follow.

use std::fmt;

use serde::Serialize;

use super::bezier::Bezier;

/// An easing function from progress (0 to 1) to progress.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ease {
    /// Output equals input.
    #[default]
    Linear,
    /// `cubic-bezier(x1, y1, x2, y2)`; `x1` and `x2` lie in 0 to 1.
    CubicBezier {
        /// First control point, across.
        x1: f64,
        /// First control point, up.
        y1: f64,
        /// Second control point, across.
        x2: f64,
        /// Second control point, up.
        y2: f64,
    },
    /// `steps(count, jump)`.
    Steps {
        /// Intervals, at least 1 (at least 2 for [`Jump::None`]).
        count: u32,
        /// Where the jumps are.
        jump: Jump,
    },
    /// `linear(…)`: points of (input, output), inputs never decreasing, at least two.
    Points(Vec<(f64, f64)>),
}

/// Where a step ease jumps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Jump {
    /// At the start of each interval (`jump-start`).
    Start,
    /// At the end of each interval (`jump-end`).
    End,
    /// At neither end (`jump-none`).
    None,
    /// At both ends (`jump-both`).
    Both,
}

impl Jump {
    /// The CSS keywords, as scripts write them.
    pub const KEYWORDS: [&'static str; 6] = ["jump-start", "jump-end", "jump-none", "jump-both", "start", "end"];

    /// The jump a CSS keyword stands for.
    #[must_use]
    pub fn keyword(name: &str) -> Option<Self> {
        Some(match name {
            "jump-start" | "start" => Self::Start,
            "jump-end" | "end" => Self::End,
            "jump-none" => Self::None,
            "jump-both" => Self::Both,
            _ => return None,
        })
    }

    /// The fewest intervals steps with this jump can have.
    #[must_use]
    pub fn fewest_steps(self) -> u32 {
        if self == Self::None { 2 } else { 1 }
    }
}

/// A part of an ease over which it is one smooth formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Part {
    /// A straight line from `(x0, y0)` to `(x1, y1)`.
    Straight {
        /// Where it begins.
        x0: f64,
        /// Its output there, coming from the right.
        y0: f64,
        /// Where it ends.
        x1: f64,
        /// Its output there, coming from the left.
        y1: f64,
    },
    /// The whole of a cubic Bézier, 0 to 1.
    Curve(Bezier),
}

/// As scripts write it; the stops of `linear { … }` are left out.
impl fmt::Display for Ease {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(name) = Self::KEYWORDS.iter().find(|name| Self::keyword(name).as_ref() == Some(self)) {
            return write!(f, "{name:?}");
        }
        match self {
            Self::Linear => f.write_str("\"linear\""),
            Self::CubicBezier { x1, y1, x2, y2 } => write!(f, "cubic_bezier({x1}, {y1}, {x2}, {y2})"),
            Self::Steps { count, jump } => {
                let jump = match jump {
                    Jump::Start => "jump-start",
                    Jump::End => "jump-end",
                    Jump::None => "jump-none",
                    Jump::Both => "jump-both",
                };
                write!(f, "steps({count}, {jump:?})")
            }
            Self::Points(_) => f.write_str("linear { … }"),
        }
    }
}

impl Ease {
    /// The CSS keywords, as scripts write them.
    pub const KEYWORDS: [&'static str; 7] =
        ["linear", "ease", "ease-in", "ease-out", "ease-in-out", "step-start", "step-end"];

    /// The ease a CSS keyword stands for.
    #[must_use]
    pub fn keyword(name: &str) -> Option<Self> {
        let bezier = |x1, y1, x2, y2| Self::CubicBezier { x1, y1, x2, y2 };
        Some(match name {
            "linear" => Self::Linear,
            "ease" => bezier(0.25, 0.1, 0.25, 1.0),
            "ease-in" => bezier(0.42, 0.0, 1.0, 1.0),
            "ease-out" => bezier(0.0, 0.0, 0.58, 1.0),
            "ease-in-out" => bezier(0.42, 0.0, 0.58, 1.0),
            "step-start" => Self::Steps { count: 1, jump: Jump::Start },
            "step-end" => Self::Steps { count: 1, jump: Jump::End },
            _ => return None,
        })
    }

    /// `linear(…)` from its stops as written, `(output, input where given)`: a missing first input is 0, a missing last
    /// one is 1 or the largest before it, other missing ones are spread evenly, and inputs never fall. None below two
    /// stops.
    #[must_use]
    pub fn from_stops(stops: &[(f64, Option<f64>)]) -> Option<Self> {
        if stops.len() < 2 {
            return None;
        }
        let last = stops.len() - 1;
        let mut points: Vec<(f64, f64)> = Vec::with_capacity(stops.len());
        let (mut before, mut largest) = (0, f64::NEG_INFINITY);
        for (index, (output, input)) in stops.iter().enumerate() {
            points.push((largest, *output));
            let input = match input {
                Some(input) => *input,
                None if index == 0 => 0.0,
                None if index == last => 1.0,
                None => continue,
            };
            let from = largest;
            largest = largest.max(input);
            points[index].0 = largest;
            for (ahead, point) in (1..index - before).zip(points.iter_mut().skip(before + 1)) {
                point.0 = from + (largest - from) * ratio(ahead, index - before);
            }
            before = index;
        }
        Some(Self::Points(points))
    }

    /// Output progress at input progress `x`, any finite number. Exact to 1e-9 (a cubic Bézier is solved to the last
    /// bits).
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        match self {
            Self::Linear => x,
            Self::CubicBezier { x1, y1, x2, y2 } => Bezier::new(*x1, *y1, *x2, *y2).at(x),
            Self::Steps { count, jump } => stepped(x, *count, *jump, false),
            Self::Points(points) => along(segment(points, x), x, x),
        }
    }

    /// As [`Ease::at`] with CSS's *before flag* set: at a jump, the value before it; of several stops of `linear(…)` at
    /// the first one's input, the first.
    #[must_use]
    pub fn at_before(&self, x: f64) -> f64 {
        match self {
            Self::Steps { count, jump } => stepped(x, *count, *jump, true),
            Self::Points(points) => match points.first() {
                Some(first) if first.0 == x => first.1,
                _ => self.at(x),
            },
            _ => self.at(x),
        }
    }

    /// Slope of the output at `x`, from the right where it has two; 0 on a step; infinite at a vertical tangent.
    #[must_use]
    pub fn derivative(&self, x: f64) -> f64 {
        match self {
            Self::Linear => 1.0,
            Self::CubicBezier { x1, y1, x2, y2 } => Bezier::new(*x1, *y1, *x2, *y2).derivative(x),
            Self::Steps { .. } => 0.0,
            Self::Points(points) => {
                let (from, to) = segment(points, x);
                if to.0 > from.0 { (to.1 - from.1) / (to.0 - from.0) } else { 0.0 }
            }
        }
    }

    /// The smooth parts that make up the ease from input 0 to input 1, in order and without gaps.
    #[must_use]
    pub fn parts(&self) -> Vec<Part> {
        match self {
            Self::Linear => vec![Part::Straight { x0: 0.0, y0: 0.0, x1: 1.0, y1: 1.0 }],
            Self::CubicBezier { x1, y1, x2, y2 } => vec![Part::Curve(Bezier::new(*x1, *y1, *x2, *y2))],
            Self::Steps { count, jump } => (0..*count)
                .map(|step| {
                    let edge = |step: u32| f64::from(step) / f64::from(*count);
                    let level = stepped((f64::from(step) + 0.5) / f64::from(*count), *count, *jump, false);
                    Part::Straight { x0: edge(step), y0: level, x1: edge(step + 1), y1: level }
                })
                .collect(),
            Self::Points(points) => {
                let mut edges = vec![0.0];
                edges.extend(points.iter().map(|point| point.0).filter(|x| *x > 0.0 && *x < 1.0));
                edges.push(1.0);
                edges.dedup();
                edges
                    .windows(2)
                    .map(|pair| {
                        let middle = f64::midpoint(pair[0], pair[1]);
                        let on = |x: f64| along(segment(points, middle), middle, x);
                        Part::Straight { x0: pair[0], y0: on(pair[0]), x1: pair[1], y1: on(pair[1]) }
                    })
                    .collect()
            }
        }
    }
}

fn ratio(part: usize, whole: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of stops written by hand")]
    let ratio = part as f64 / whole as f64;
    ratio
}

/// CSS Easing Level 2 §2.4.1, step by step.
fn stepped(x: f64, count: u32, jump: Jump, before: bool) -> f64 {
    let steps = f64::from(count);
    let scaled = x * steps;
    let mut current = scaled.floor();
    if matches!(jump, Jump::Start | Jump::Both) {
        current += 1.0;
    }
    if before && scaled.fract() == 0.0 {
        current -= 1.0;
    }
    if x >= 0.0 && current < 0.0 {
        current = 0.0;
    }
    let jumps = match jump {
        Jump::Start | Jump::End => steps,
        Jump::None => steps - 1.0,
        Jump::Both => steps + 1.0,
    };
    if x <= 1.0 && current > jumps {
        current = jumps;
    }
    current / jumps
}

/// The two neighbouring points whose line holds at `x`; the end segments also hold outside the ends.
fn segment(points: &[(f64, f64)], x: f64) -> ((f64, f64), (f64, f64)) {
    match points {
        [] => ((0.0, 0.0), (1.0, 1.0)),
        [only] => (*only, *only),
        _ => {
            let begun = points.partition_point(|point| point.0 <= x);
            let from = begun.saturating_sub(1).min(points.len() - 2);
            (points[from], points[from + 1])
        }
    }
}

/// CSS Easing Level 2 §2.1: the height at `x` of the line between two points; where their inputs are equal, the one on
/// `side`'s side, the later point's at the input itself.
fn along((from, to): ((f64, f64), (f64, f64)), side: f64, x: f64) -> f64 {
    if to.0 > from.0 {
        return from.1 + (to.1 - from.1) * ((x - from.0) / (to.0 - from.0));
    }
    if side < from.0 { from.1 } else { to.1 }
}

#[cfg(test)]
mod tests;

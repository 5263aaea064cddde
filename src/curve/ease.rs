//! Eases: how one key turns into the next. CSS Easing Functions Level 1 and 2.

use serde::Serialize;

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

impl Ease {
    /// The CSS keywords, as scripts write them.
    pub const KEYWORDS: [&'static str; 7] = ["linear", "ease", "ease-in", "ease-out", "ease-in-out", "step-start", "step-end"];
}

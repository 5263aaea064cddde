//! Pure maths of motion: eases, keyed tracks, paths over the still, and pace integrals with their inverses. No pixels,
//! no scripts.

pub mod arc_length;
mod banded;
pub mod bezier;
pub mod dwell;
pub mod ease;
pub mod flight;
pub mod follow;
mod integral;
pub mod lively;
pub mod pace;
pub mod pchip;
pub mod smoothing;
pub mod spline;
pub mod time_map;
pub mod track;
pub mod zoom;

/// The root in `low` to `high` of a function that never falls, given as its value and slope: Newton's method, with
/// bisection wherever a step would leave the bracket or shrink it too little.
fn root(mut low: f64, mut high: f64, guess: f64, function: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut s = guess.clamp(low, high);
    let mut last_width = f64::INFINITY;
    for _ in 0..200 {
        let (value, slope) = function(s);
        if value == 0.0 {
            return s;
        }
        if value > 0.0 {
            high = s
        } else {
            low = s
        }
        let width = high - low;
        let newton = s - value / slope;
        let halfway = f64::midpoint(low, high);
        let useful = newton > low && newton < high && (width < 0.7 * last_width || (newton - s).abs() < 0.3 * width);
        let next = if useful { newton } else { halfway };
        last_width = width;
        if (next - s).abs() <= f64::EPSILON * s.abs().max(f64::MIN_POSITIVE) || next == low && next == high {
            return next;
        }
        s = next;
    }
    s
}

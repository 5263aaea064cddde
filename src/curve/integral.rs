//! The running integral of a smooth positive function over 0 to 1, with its inverse.

use std::sync::LazyLock;

/// Points a panel of the quadrature has: exact for polynomials up to degree 31.
const POINTS: usize = 16;

/// How many times a panel may be halved.
const DEEPEST: u32 = 30;

/// How near a panel and its two halves must come. The halves, which are kept, are then about the square as near the
/// truth: halving doubles the distance to the nearest pole in widths of the panel, and the error falls by a power of
/// that. A stricter figure would chase rounding noise, which halving does not lessen, down to the deepest panels.
const AGREED: f64 = 1e-9;

/// Nodes and weights of Gauss–Legendre quadrature on -1 to 1: the roots of the Legendre polynomial by Newton's method
/// from `cos(π (i - 1/4) / (n + 1/2))` (Abramowitz and Stegun, 22.16.6 and 25.4.29; from memory, and proved by the
/// tests).
static NODES: LazyLock<[(f64, f64); POINTS]> = LazyLock::new(|| {
    let order = f64::from(u32::try_from(POINTS).unwrap_or(0));
    std::array::from_fn(|index| {
        let number = f64::from(u32::try_from(index).unwrap_or(0));
        let mut x = (std::f64::consts::PI * (number + 0.75) / (order + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..10 {
            let (mut before, mut now) = (1.0, x);
            let mut degree = 2.0;
            while degree <= order {
                (before, now) = (now, ((2.0 * degree - 1.0) * x * now - (degree - 1.0) * before) / degree);
                degree += 1.0;
            }
            slope = order * (x * now - before) / (x * x - 1.0);
            x -= now / slope;
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    })
});

fn panel(function: &impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let (middle, half) = (f64::midpoint(from, to), (to - from) / 2.0);
    half * NODES.iter().map(|(x, weight)| weight * function(middle + half * x)).sum::<f64>()
}

/// The integral from 0 to `s`, kept as sums up to the knots between panels fine enough for one quadrature each.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Running {
    /// `(s, integral from 0 to s)`, from 0 to 1.
    knots: Vec<(f64, f64)>,
}

impl Running {
    /// Panels over which `function`, positive, is integrated to about 1e-14 of each.
    pub(super) fn new(function: &impl Fn(f64) -> f64) -> Self {
        let mut running = Self { knots: vec![(0.0, 0.0)] };
        running.refine(function, 0.0, 1.0, panel(function, 0.0, 1.0), DEEPEST);
        running
    }

    /// Halves a panel until its halves together differ from it by less than [`AGREED`] of it, and keeps the halves.
    fn refine(&mut self, function: &impl Fn(f64) -> f64, from: f64, to: f64, seen: f64, depth: u32) {
        let middle = f64::midpoint(from, to);
        let (left, right) = (panel(function, from, middle), panel(function, middle, to));
        if depth == 0 || (left + right - seen).abs() <= AGREED * seen.abs() {
            let before = self.whole();
            self.knots.push((middle, before + left));
            self.knots.push((to, before + left + right));
        } else {
            self.refine(function, from, middle, left, depth - 1);
            self.refine(function, middle, to, right, depth - 1);
        }
    }

    /// The integral from 0 to 1.
    pub(super) fn whole(&self) -> f64 {
        self.knots[self.knots.len() - 1].1
    }

    /// The integral from 0 to `s`, `s` in 0 to 1.
    pub(super) fn at(&self, function: &impl Fn(f64) -> f64, s: f64) -> f64 {
        if s >= 1.0 {
            return self.whole();
        }
        let next = self.knots.partition_point(|knot| knot.0 <= s).clamp(1, self.knots.len() - 1);
        let (from, sum) = self.knots[next - 1];
        sum + panel(function, from, s)
    }

    /// Where the integral from 0 reaches `sum`, between 0 and the whole.
    pub(super) fn inverse(&self, function: &impl Fn(f64) -> f64, sum: f64) -> f64 {
        if sum <= 0.0 {
            return 0.0;
        }
        if sum >= self.whole() {
            return 1.0;
        }
        let next = self.knots.partition_point(|knot| knot.1 <= sum).clamp(1, self.knots.len() - 1);
        let ((from, below), (to, above)) = (self.knots[next - 1], self.knots[next]);
        let guess = from + (to - from) * (sum - below) / (above - below);
        super::root(from, to, guess, |s| (below + panel(function, from, s) - sum, function(s)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quadrature_is_exact_for_polynomials_up_to_degree_31() {
        for degree in [0, 1, 7, 30, 31] {
            let seen = panel(&|x: f64| x.powi(degree), 0.0, 1.0);
            assert!((seen - 1.0 / f64::from(degree + 1)).abs() < 1e-15, "degree {degree}: {seen}");
        }
    }

    #[test]
    fn a_rate_that_all_but_stops_costs_few_panels() {
        for c in [1e-2, 1e-8, 1e-14, 1e-18] {
            let running = Running::new(&|s: f64| 1.0 / (c + (s - 0.3) * (s - 0.3)));
            assert!(running.knots.len() < 3000, "c = {c}: {} knots", running.knots.len());
        }
    }

    #[test]
    fn a_narrow_dip_of_the_rate_is_integrated_to_its_closed_form() {
        // ∫ 1 / (c + (s - 1/2)²) ds over 0 to 1 is 2 atan(1 / (2 √c)) / √c.
        for c in [1.0, 1e-2, 1e-4, 1e-6] {
            let function = |s: f64| 1.0 / (c + (s - 0.5) * (s - 0.5));
            let running = Running::new(&function);
            let exact = 2.0 * (0.5 / f64::sqrt(c)).atan() / f64::sqrt(c);
            assert!((running.whole() / exact - 1.0).abs() < 1e-12, "c = {c}: {} for {exact}", running.whole());
            for share in [0.01, 0.3, 0.5, 0.77, 0.999] {
                let s = running.inverse(&function, share * exact);
                assert!((running.at(&function, s) / (share * exact) - 1.0).abs() < 1e-12);
            }
        }
    }
}

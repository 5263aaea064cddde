//! A smooth curve through levels: local-linear fits, applied twice.
//!
//! At every point a line is fitted to the points within a radius, weighted by the tricube of their distance (Cleveland,
//! J. Am. Stat. Assoc. 74, 829–836, 1979; the weights from memory). Unlike a mean it has no bias on a slope, at the
//! ends either. What it leaves is fitted once more and added ("twicing": Tukey, Exploratory Data Analysis, 1977), so
//! that it does not cut the bends of a fade short.
//!
//! The radius is chosen by leaving one out: the largest whose mean squared error of prediction is within one standard
//! error of the least (Breiman and others, Classification and Regression Trees, 1984). Flicker cannot be told ahead and
//! is smoothed over; light that can be followed is. One straight line through all of a run stands for the largest
//! radius of all: light that stays as it is, or fades evenly, is not made to wander with its flicker.
//!
//! ## Decisions
//!
//! - The radius for the colours is chosen apart from that for the light.

/// Radii to choose from for light, in stills, and for colours, which flicker less.
pub(super) const OF_LIGHT: &[f64] = RADII.split_at(2).1;
pub(super) const OF_COLOURS: &[f64] = &RADII;
const RADII: [f64; 13] = [3.0, 4.0, 6.0, 8.0, 11.0, 15.0, 20.0, 27.0, 36.0, 48.0, 64.0, 90.0, 120.0];

/// One line goes through runs of at least so many stills.
const STRAIGHT_FROM: f64 = 40.0;
/// Minimum number of points in a fit; with fewer within its radius it reaches further.
const FEWEST: usize = 5;

/// The fits at a set of points, whatever the values there.
#[derive(Debug, Clone)]
pub struct Smoother<'a> {
    at: &'a [f64],
    /// By point: how far its fit reaches, the points there, and the sums of its weights, times distance, times its
    /// square.
    fits: Vec<Fit>,
    /// Whether one line goes through all of them.
    straight: bool,
}

#[derive(Debug, Clone)]
struct Fit {
    reach: f64,
    points: std::ops::Range<usize>,
    moments: [f64; 3],
}

impl<'a> Smoother<'a> {
    /// Fits at points in rising order, of a radius in their own unit; one line through all where that is infinite.
    #[must_use]
    pub fn new(at: &'a [f64], radius: f64) -> Self {
        if radius.is_infinite() {
            return Self { at, fits: Vec::new(), straight: true };
        }
        let fits = (0..at.len())
            .map(|centre| {
                let reach = (radius + 1.0).max(nearest(at, centre, FEWEST) * (1.0 + 1e-9));
                let first = at.partition_point(|x| *x <= at[centre] - reach);
                let end = at.partition_point(|x| *x < at[centre] + reach);
                let mut moments = [0.0; 3];
                for x in &at[first..end] {
                    let apart = x - at[centre];
                    let weight = tricube(apart / reach);
                    for (moment, power) in moments.iter_mut().zip([1.0, apart, apart * apart]) {
                        *moment += weight * power;
                    }
                }
                Fit { reach, points: first..end, moments }
            })
            .collect();
        Self { at, fits, straight: false }
    }

    /// How much the value at `point` says in the fit at `centre`.
    fn weight(&self, centre: usize, point: usize) -> f64 {
        let Fit { reach, moments: [m0, m1, m2], .. } = self.fits[centre];
        let apart = self.at[point] - self.at[centre];
        let weight = tricube(apart / reach);
        let determinant = m0 * m2 - m1 * m1;
        if determinant > 1e-12 * m0 * m2 { weight * (m2 - apart * m1) / determinant } else { weight / m0 }
    }

    fn once(&self, values: &[f64]) -> Vec<f64> {
        let fit = |(centre, fit): (usize, &Fit)| {
            fit.points.clone().map(|point| self.weight(centre, point) * values[point]).sum()
        };
        self.fits.iter().enumerate().map(fit).collect()
    }

    /// The smooth values.
    ///
    /// # Panics
    /// Where there are fewer values than points.
    #[must_use]
    pub fn smooth(&self, values: &[f64]) -> Vec<f64> {
        if self.straight {
            return Straight::through(self.at, values).smooth(self.at);
        }
        let once = self.once(values);
        let left: Vec<f64> = once.iter().zip(values).map(|(once, value)| value - once).collect();
        once.iter().zip(self.once(&left)).map(|(once, again)| once + again).collect()
    }

    /// Squared errors of predicting each value from all others: `((v − s) / (1 − h))²`, `h` the value's own say in the
    /// smooth value.
    fn left_out(&self, values: &[f64]) -> Vec<f64> {
        let smooth = self.smooth(values);
        let straight = self.straight.then(|| Straight::through(self.at, values));
        let own = |point: usize| {
            if let Some(straight) = &straight {
                return straight.own(self.at[point]);
            }
            let again: f64 = self.fits[point]
                .points
                .clone()
                .map(|other| self.weight(point, other) * self.weight(other, point))
                .sum();
            2.0 * self.weight(point, point) - again
        };
        (0..values.len())
            .map(|point| ((values[point] - smooth[point]) / (1.0 - own(point)).max(0.05)).powi(2))
            .collect()
    }
}

/// The line nearest to all points, by least squares.
struct Straight {
    count: f64,
    /// Mean place, mean value, and the places' squared distances from their mean.
    middle: [f64; 2],
    spread: f64,
    slope: f64,
}

impl Straight {
    #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
    fn through(at: &[f64], values: &[f64]) -> Self {
        let count = at.len().max(1) as f64;
        let middle = [at, values].map(|of| of.iter().sum::<f64>() / count);
        let (mut spread, mut product) = (0.0, 0.0);
        for (x, value) in at.iter().zip(values) {
            spread += (x - middle[0]).powi(2);
            product += (x - middle[0]) * (value - middle[1]);
        }
        Self { count, middle, spread, slope: if spread > 0.0 { product / spread } else { 0.0 } }
    }

    fn smooth(&self, at: &[f64]) -> Vec<f64> {
        at.iter().map(|x| self.middle[1] + self.slope * (x - self.middle[0])).collect()
    }

    /// How much a point's own value says in the line there.
    fn own(&self, x: f64) -> f64 {
        1.0 / self.count + if self.spread > 0.0 { (x - self.middle[0]).powi(2) / self.spread } else { 0.0 }
    }
}

/// How far the `count`-th nearest point lies from that at `centre`, or the farthest where there are fewer.
fn nearest(at: &[f64], centre: usize, count: usize) -> f64 {
    let around = &at[centre.saturating_sub(count)..(centre + count + 1).min(at.len())];
    let mut apart: Vec<f64> = around.iter().map(|x| (x - at[centre]).abs()).collect();
    apart.sort_by(f64::total_cmp);
    apart[(count - 1).min(apart.len() - 1)]
}

fn tricube(u: f64) -> f64 {
    (1.0 - u.abs().powi(3)).max(0.0).powi(3)
}

/// The radius, of some in rising order, that suits several runs of points and values, of which each is smoothed by
/// itself.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
pub(super) fn suitable_radius(radii: &[f64], runs: &[(&[f64], &[f64])]) -> f64 {
    let span = runs.iter().filter_map(|(at, _)| Some(at.last()? - at.first()?)).fold(0.0, f64::max);
    let errors = |radius: f64| -> Vec<f64> {
        runs.iter().flat_map(|(at, values)| Smoother::new(at, radius).left_out(values)).collect()
    };
    // A few points are no shoot whose light one could call straight.
    let line = if span >= STRAIGHT_FROM { Some(&f64::INFINITY) } else { None };
    let scores: Vec<(f64, Vec<f64>)> = radii
        .iter()
        .filter(|radius| 2.0 * **radius <= span)
        .chain(line)
        .map(|radius| (*radius, errors(*radius)))
        .collect();
    let sum = |errors: &[f64]| errors.iter().sum::<f64>();
    let Some((_, least)) = scores.iter().min_by(|(_, one), (_, other)| sum(one).total_cmp(&sum(other))) else {
        return (span / 2.0).max(1.0);
    };
    let within = |errors: &[f64]| {
        let count = errors.len() as f64;
        let more: Vec<f64> = errors.iter().zip(least).map(|(error, least)| error - least).collect();
        let mean = sum(&more) / count;
        let deviation = (more.iter().map(|more| (more - mean).powi(2)).sum::<f64>() / count).sqrt();
        mean <= deviation / count.sqrt()
    };
    scores.iter().rev().find(|(_, errors)| within(errors)).map_or(1.0, |(radius, _)| *radius)
}

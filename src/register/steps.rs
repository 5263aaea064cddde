//! Where a line of stands steps, and what it does between.

#![expect(clippy::cast_precision_loss, reason = "places among a shoot's stills")]

use std::ops::Range;

use crate::level::Smoother;

/// Right, down, and the turn as pixels at the still's corner.
pub(super) type Place = [f64; 3];

/// Minimum step: in pixels, and in standard deviations of its own height.
pub(super) const LEAST: f64 = 0.25;
pub(super) const SURE: f64 = 6.0;
/// Minimum share of that left once the noise is gone.
const LEFT: f64 = 0.8;
/// Stills on each side that a step is looked at over: many where the noise is large, one where a still stands alone.
const AROUND: [usize; 4] = [8, 4, 2, 1];
/// Minimum share of a step over several stills that is made from one to the next.
const AT_ONCE: f64 = 0.6;
/// Minimum change of a sag: in pixels, and in standard deviations. Below, the camera stood still.
const LEAST_SAG: f64 = 0.15;
const SURE_SAG: f64 = 6.0;
/// Radii that a sag is smoothed over, in stills.
const RADII: [f64; 4] = [5.0, 10.0, 20.0, 40.0];
/// With fewer stills than this between two steps, only a line is fitted.
const FEW: usize = 16;

/// Standard deviation of what places do from still to still, by axis: by the median of their second differences.
pub(super) fn noise(places: &[Place]) -> Place {
    std::array::from_fn(|axis| {
        let bends = places.windows(3).map(|three| (three[0][axis] - 2.0 * three[1][axis] + three[2][axis]).abs());
        1.4826 * median(&mut bends.collect::<Vec<f64>>()) / 6.0_f64.sqrt()
    })
}

/// The places before which a step is, in order.
fn find(places: &[Place], noise: Place) -> Vec<usize> {
    let mut edges = Vec::new();
    let mut runs = Vec::from([Range { start: 0, end: places.len() }]);
    while let Some(run) = runs.pop() {
        let surest =
            run.clone().skip(1).map(|at| (at, surety(places, noise, &run, at))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((at, surety)) = surest
            && surety > 1.0
        {
            edges.push(at);
            runs.push(run.start..at);
            runs.push(at..run.end);
        }
    }
    edges.sort_unstable();
    edges
}

/// How far above what is asked the step before `at` lies: above 1 it is one.
fn surety(places: &[Place], noise: Place, run: &Range<usize>, at: usize) -> f64 {
    let near = run.start.max(at.saturating_sub(AROUND[0]))..run.end.min(at + AROUND[0]);
    let slope: Place = std::array::from_fn(|axis| {
        let others = near.clone().skip(1).filter(|other| *other != at);
        median(&mut others.map(|other| places[other][axis] - places[other - 1][axis]).collect::<Vec<f64>>())
    });
    let over = |around: usize| {
        let (before, after) = (run.start.max(at.saturating_sub(around))..at, at..run.end.min(at + around));
        if around > 1 && before.len().min(after.len()) < 2 {
            return 0.0;
        }
        let (mut height, mut once, mut asked) = (0.0, 0.0, 0.0);
        let share = 1.0 / before.len() as f64 + 1.0 / after.len() as f64;
        for axis in 0..3 {
            let mean = |range: &Range<usize>| {
                places[range.clone()].iter().map(|place| place[axis]).sum::<f64>() / range.len() as f64
            };
            let way = f64::midpoint(before.len() as f64, after.len() as f64);
            let jump = mean(&after) - mean(&before) - slope[axis] * way;
            height += jump * jump;
            once += jump * (places[at][axis] - places[at - 1][axis] - slope[axis]);
            asked += noise[axis] * noise[axis] * share;
        }
        let at_once = around == 1 || once >= AT_ONCE * height;
        if at_once { height.sqrt() / LEAST.max(SURE * asked.sqrt()) } else { 0.0 }
    };
    AROUND.into_iter().map(over).fold(0.0, f64::max)
}

/// What the camera did without the noise, and the places before which it steps: those that turn out to be less than a
/// step once the noise is gone are none.
pub(super) fn smoothed(places: &[Place], noise: Place) -> (Vec<Place>, Vec<usize>) {
    let mut edges = find(places, noise);
    loop {
        let bounds: Vec<usize> = std::iter::once(0).chain(edges.iter().copied()).chain([places.len()]).collect();
        let smooth: Vec<Place> = bounds.windows(2).flat_map(|run| between(&places[run[0]..run[1]], noise)).collect();
        let height = |edge: usize| {
            let by = |axis: usize| (smooth[edge][axis] - smooth[edge - 1][axis]).powi(2);
            (0..3).map(by).sum::<f64>().sqrt()
        };
        let lowest = edges.iter().copied().map(|edge| (edge, height(edge))).min_by(|a, b| a.1.total_cmp(&b.1));
        match lowest {
            Some((edge, height)) if height < LEFT * LEAST => edges.retain(|other| *other != edge),
            _ => return (smooth, edges),
        }
    }
}

/// What the camera did between two steps: without the noise, and exactly nothing where it did nothing.
fn between(places: &[Place], noise: Place) -> Vec<Place> {
    let mut smooth = vec![[0.0; 3]; places.len()];
    for axis in 0..3 {
        let values: Vec<f64> = places.iter().map(|place| place[axis]).collect();
        for (smooth, value) in smooth.iter_mut().zip(along(&values, noise[axis])) {
            smooth[axis] = value;
        }
    }
    smooth
}

fn along(values: &[f64], noise: f64) -> Vec<f64> {
    let count = values.len();
    let level = median(&mut values.to_vec());
    if count <= FEW {
        let (slope, error) = line(values, noise);
        let change = (slope * (count as f64 - 1.0)).abs();
        if count < 3 || change < LEAST_SAG || slope.abs() < SURE_SAG * error {
            return vec![mean_of(values); count];
        }
        let middle = (count as f64 - 1.0) / 2.0;
        return (0..count).map(|at| mean_of(values) + slope * (at as f64 - middle)).collect();
    }
    let at: Vec<f64> = (0..count).map(|at| at as f64).collect();
    let widest = RADII[3].min(count as f64 / 3.0);
    let smooth = Smoother::new(&at, widest).smooth(values);
    let range = smooth.iter().copied().fold(f64::MIN, f64::max) - smooth.iter().copied().fold(f64::MAX, f64::min);
    // The smooth line's own noise is about this.
    let own = noise * (2.0 / widest).sqrt();
    if range < LEAST_SAG.max(SURE_SAG * own) {
        return vec![level; count];
    }
    // The widest that the measured places do not contradict.
    let fits = |radius: &f64| {
        let smooth = Smoother::new(&at, *radius).smooth(values);
        let apart =
            smooth.iter().zip(values).map(|(smooth, value)| (smooth - value).powi(2)).sum::<f64>() / count as f64;
        (apart <= (noise * 1.5).powi(2).max(0.02_f64.powi(2))).then_some(smooth)
    };
    let narrowest = || Smoother::new(&at, RADII[0]).smooth(values);
    RADII.iter().rev().filter(|radius| **radius <= widest).find_map(fits).unwrap_or_else(narrowest)
}

fn mean_of(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Slope of the line through values one apart, and its standard error.
fn line(values: &[f64], noise: f64) -> (f64, f64) {
    let middle = (values.len() as f64 - 1.0) / 2.0;
    let from = |at: usize| at as f64 - middle;
    let squares: f64 = (0..values.len()).map(|at| from(at).powi(2)).sum();
    let products: f64 = values.iter().enumerate().map(|(at, value)| from(at) * value).sum();
    (products / squares.max(f64::MIN_POSITIVE), noise / squares.sqrt().max(f64::MIN_POSITIVE))
}

/// The middle value, or the upper of the two; 0 of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

//! The quadratic programme of following.
//!
//! Unknown is the followed point and the window's width in every frame; what a frame asks for concerns that frame
//! alone, so the system stays as narrow as the second differences make it. Solved by Mehrotra's predictor and corrector
//! (Nocedal and Wright,
//! *Numerical Optimization*, 2006, algorithm 16.4; from memory, and the tests check what comes out against other
//! solvers).

use super::super::banded::Banded;

/// Where the followed point lies for a window of some width: `at + slope · width`, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Affine {
    /// For a width of none.
    pub at: f64,
    /// More for every pixel of width.
    pub slope: f64,
}

/// What one coordinate of the followed point stays between.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// What it is no lower than.
    pub lows: [Affine; 2],
    /// What it is no higher than.
    pub highs: [Affine; 2],
}

/// What one frame asks for. Some point and width must have it all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Needs {
    /// Where point (across, down) and width tend to be.
    pub target: [f64; 3],
    /// The least and the largest width.
    pub width: (f64, f64),
    /// Across and down.
    pub sides: [Side; 2],
}

/// What is closer together than this, in pixels, is one.
const ONE: f64 = 2e-6;

/// How far beyond a limit a path may come to lie, in pixels: room for the method where limits leave next to none.
const SLACK: f64 = 1e-7;

/// How close the method comes to the best path: the mean product of room and push, in squared pixels. Pushes of more
/// than [`HARD`] let it stop sooner, for a room that is a product over a large push is soon less than rounding.
const CLOSE: f64 = 1e-8;

/// A hard push, in pixels.
const HARD: f64 = 1e5;

/// The products that the method begins with: far above what any come to, it would rather begin too far from the limits.
const BEGINS: f64 = 1e9;

/// The most steps of the method; it takes about fifteen.
const STEPS: usize = 80;

/// The point (across, down) and the width of every frame: the path that has what all frames ask for and, times
/// `weights`, the least of `leans⁴ / 4 · Σ (second differences)² + Σ (distances from the targets)²`. `leans` is in
/// frames.
#[must_use]
pub fn smoothest(needs: &[Needs], weights: [f64; 3], leans: f64) -> Vec<[f64; 3]> {
    Programme::new(needs, weights, leans.powi(4) / 4.0).solved()
}

/// A sum of one unknown, `sign` times, and the frame's width, `slope` times, held below `high`.
struct Limit {
    unknown: usize,
    sign: f64,
    width: usize,
    slope: f64,
    high: f64,
    /// How far the sum is from the limit, above 0.
    room: f64,
    /// How hard the limit pushes back, above 0.
    push: f64,
}

impl Limit {
    fn sum(&self, of: &[f64]) -> f64 {
        self.sign * of[self.unknown] + self.slope * of[self.width]
    }

    fn residual(&self, path: &[f64]) -> f64 {
        self.sum(path) + self.room - self.high
    }
}

struct Programme {
    weights: [f64; 3],
    stiffness: f64,
    targets: Vec<f64>,
    start: Vec<f64>,
    fixed: Vec<bool>,
    limits: Vec<Limit>,
}

impl Programme {
    fn new(needs: &[Needs], weights: [f64; 3], stiffness: f64) -> Self {
        let targets: Vec<f64> = needs.iter().flat_map(|needs| needs.target).collect();
        let mut start = targets.clone();
        let mut fixed = vec![false; start.len()];
        let mut limits = Vec::new();
        for (frame, needs) in needs.iter().enumerate() {
            let width = 3 * frame + 2;
            let mut keep = |unknown: usize, sign: f64, slope: f64, high: f64| {
                let slope = if unknown == width { 0.0 } else { slope };
                limits.push(Limit { unknown, sign, width, slope, high: high + SLACK, room: 1.0, push: 1.0 });
            };
            let (least, most) = needs.width;
            fixed[width] = most - least < ONE;
            start[width] = f64::midpoint(least, most);
            if !fixed[width] {
                keep(width, 1.0, 0.0, most);
                keep(width, -1.0, 0.0, -least);
            }
            for (part, side) in needs.sides.iter().enumerate() {
                let unknown = 3 * frame + part;
                let at = |line: &Affine| line.at + line.slope * start[width];
                let low = side.lows.iter().map(at).fold(f64::NEG_INFINITY, f64::max);
                let high = side.highs.iter().map(at).fold(f64::INFINITY, f64::min);
                start[unknown] = f64::midpoint(low, high);
                if fixed[width] {
                    fixed[unknown] = high - low < ONE;
                    if !fixed[unknown] {
                        keep(unknown, 1.0, 0.0, high);
                        keep(unknown, -1.0, 0.0, -low);
                    }
                    continue;
                }
                side.highs.iter().for_each(|line| keep(unknown, 1.0, -line.slope, line.at));
                side.lows.iter().for_each(|line| keep(unknown, -1.0, line.slope, -line.at));
            }
        }
        Self { weights, stiffness, targets, start, fixed, limits }
    }

    /// Half the second derivatives of what is to be least.
    fn system(&self) -> Banded {
        let mut matrix = Banded::zeros(self.start.len());
        for (part, weight) in self.weights.into_iter().enumerate() {
            for unknown in (part..self.start.len()).step_by(3) {
                matrix.add(unknown, unknown, weight);
            }
            let bending = [1.0, -2.0, 1.0];
            for first in (part..self.start.len().saturating_sub(6)).step_by(3) {
                for (row, own) in bending.iter().enumerate() {
                    for (column, other) in bending[..=row].iter().enumerate() {
                        matrix.add(first + 3 * row, first + 3 * column, weight * self.stiffness * own * other);
                    }
                }
            }
        }
        matrix
    }

    /// Half the slope of what is to be least. Through differences, and not through the system: a path hardly bends, and
    /// what is left of it after products of thousands is rounding.
    fn slope(&self, path: &[f64]) -> Vec<f64> {
        let mut slope: Vec<f64> = path.iter().zip(&self.targets).map(|(at, target)| at - target).collect();
        for first in 0..path.len().saturating_sub(6) {
            let bend = self.stiffness * (path[first] - 2.0 * path[first + 3] + path[first + 6]);
            slope[first] += bend;
            slope[first + 3] -= 2.0 * bend;
            slope[first + 6] += bend;
        }
        slope.iter_mut().enumerate().for_each(|(unknown, slope)| *slope *= self.weights[unknown % 3]);
        slope
    }

    fn solved(mut self) -> Vec<[f64; 3]> {
        let mut path = self.start.clone();
        let stiff = self.system();
        let mut limits = std::mem::take(&mut self.limits);
        for limit in &mut limits {
            limit.room = (limit.high - limit.sum(&path)).max(1.0);
            limit.push = BEGINS / limit.room;
        }
        let count = f64::max(number(limits.len()), 1.0);
        let mut whole_step = false;
        for _ in 0..STEPS {
            let residuals: Vec<f64> = limits.iter().map(|limit| limit.residual(&path)).collect();
            let (mut mean, mut apart, mut hardest) = (0.0, 0.0, HARD);
            for (limit, residual) in limits.iter().zip(&residuals) {
                mean += limit.room * limit.push / count;
                apart = f64::max(apart, residual.abs());
                hardest = hardest.max(limit.push);
            }
            if mean < CLOSE * hardest / HARD && apart < SLACK && whole_step {
                break;
            }
            let mut matrix = stiff.clone();
            for limit in &limits {
                let weight = limit.push / limit.room;
                matrix.add(limit.unknown, limit.unknown, weight);
                if limit.slope != 0.0 {
                    matrix.add(limit.width, limit.unknown, weight * limit.sign * limit.slope);
                    matrix.add(limit.width, limit.width, weight * limit.slope * limit.slope);
                }
            }
            (0..path.len()).filter(|unknown| self.fixed[*unknown]).for_each(|unknown| matrix.fix(unknown));
            let system = matrix.factored();
            let slope = self.slope(&path);
            // The step towards products of room and push of `due` less what `corrected` says of each.
            let step = |due: f64, corrected: &[f64]| {
                let mut force: Vec<f64> = slope.iter().map(|slope| -slope).collect();
                for (index, (limit, residual)) in limits.iter().zip(&residuals).enumerate() {
                    let due = due - corrected.get(index).unwrap_or(&0.0);
                    let push = (due + limit.push * residual) / limit.room;
                    force[limit.unknown] -= limit.sign * push;
                    force[limit.width] -= limit.slope * push;
                }
                force.iter_mut().zip(&self.fixed).filter(|(_, fixed)| **fixed).for_each(|(force, _)| *force = 0.0);
                let step = system.solve(&force);
                let parts: Vec<(f64, f64)> = limits
                    .iter()
                    .zip(&residuals)
                    .enumerate()
                    .map(|(index, (limit, residual))| {
                        let due = due - corrected.get(index).unwrap_or(&0.0);
                        let room = -residual - limit.sum(&step);
                        (room, (due - limit.push * room) / limit.room - limit.push)
                    })
                    .collect();
                (step, parts)
            };
            let (_, towards) = step(0.0, &[]);
            let (room, push) = (
                reach(&limits, &towards, |limit| limit.room, |part| part.0).min(1.0),
                reach(&limits, &towards, |limit| limit.push, |part| part.1).min(1.0),
            );
            let after: f64 = limits
                .iter()
                .zip(&towards)
                .map(|(limit, part)| (limit.room + room * part.0) * (limit.push + push * part.1))
                .sum();
            if !after.is_finite() {
                break;
            }
            let share = (after / count / mean).powi(3);
            let corrected: Vec<f64> = towards.iter().map(|part| part.0 * part.1).collect();
            let (step, parts) = step(share * mean, &corrected);
            if step.iter().any(|step| !step.is_finite()) {
                break;
            }
            let whole = reach(&limits, &parts, |limit| limit.room, |part| part.0).min(reach(
                &limits,
                &parts,
                |limit| limit.push,
                |part| part.1,
            ));
            let stretch = (0.995 * whole).min(1.0);
            whole_step = stretch > 0.9;
            for (limit, part) in limits.iter_mut().zip(&parts) {
                limit.room += stretch * part.0;
                limit.push += stretch * part.1;
            }
            path.iter_mut().zip(&step).for_each(|(path, step)| *path += stretch * step);
        }
        path.chunks_exact(3).map(|frame| [frame[0], frame[1], frame[2]]).collect()
    }
}

/// How much of a step leaves every room or every push above 0.
fn reach(limits: &[Limit], steps: &[(f64, f64)], value: fn(&Limit) -> f64, step: fn(&(f64, f64)) -> f64) -> f64 {
    let one = |(limit, parts): (&Limit, &(f64, f64))| {
        let step = step(parts);
        if step < 0.0 { -value(limit) / step } else { f64::INFINITY }
    };
    limits.iter().zip(steps).map(one).fold(f64::INFINITY, f64::min)
}

fn number(count: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "limits of a clip")]
    let number = count as f64;
    number
}

#[cfg(test)]
mod tests {
    use super::*;

    const FREE: Affine = Affine { at: -1e6, slope: 0.0 };

    /// A frame whose width is 100, whose point across lies between two ends and tends to another, and is 50 down.
    fn between(low: f64, high: f64, target: f64) -> Needs {
        let flat = |at: f64| Affine { at, slope: 0.0 };
        let across = Side { lows: [flat(low), FREE], highs: [flat(high), flat(1e6)] };
        let down = Side { lows: [flat(50.0); 2], highs: [flat(50.0); 2] };
        Needs { target: [target, 50.0, 100.0], width: (100.0, 100.0), sides: [across, down] }
    }

    #[test]
    fn a_path_between_ends_is_that_of_another_solver() {
        // scipy 1.17.1: lsq_linear([sqrt(8⁴/4) D, I], [0, t], (low, high), method="bvls", tol=1e-15), D the second
        // differences, f = 0..23, t = 100 + 40 sin(f/3) + 5 f, low = t - 12 - 6 cos f, high = t + 10 + 5 sin 2f.
        #[rustfmt::skip]
        let due = [
            110.0, 122.447_040_2, 133.996_832_8, 143.747_873_3, 150.799_377_8, 154.255_358_1, 154.784_126_1, 153.064_307,
            149.785_842_3, 145.649_277_9, 141.363_465_6, 137.642_135_7, 135.200_008_4, 134.749_173_8, 136.761_691, 141.702_870_9,
            150.031_462_3, 161.178_887_7, 174.574_064_8, 189.646_588_5, 205.830_203_2, 222.565_839_5, 239.303_349_7, 256.039_161_7,
        ];
        let needs: Vec<Needs> = (0..24)
            .map(|frame| {
                let f = f64::from(frame);
                let t = 100.0 + 40.0 * (f / 3.0).sin() + 5.0 * f;
                between(t - 12.0 - 6.0 * f.cos(), t + 10.0 + 5.0 * (2.0 * f).sin(), t)
            })
            .collect();
        for (seen, due) in smoothest(&needs, [2.0, 2.0, 0.5], 8.0).iter().zip(due) {
            assert!((seen[0] - due).abs() < 1e-5 && seen[1] == 50.0 && seen[2] == 100.0, "{seen:?} {due}");
        }
    }

    #[test]
    fn a_path_whose_width_is_free_is_that_of_another_solver() {
        // scipy 1.17.1: minimize(method="SLSQP", ftol=1e-14) and "trust-constr" (they differ by 7e-5) of
        // 2 (64 |D p|² + |p - c|²) + (64 |D w|² + |w - 1.25 (10 + f)|²), f = 0..11, c = 150 + 60 sin(f/2), subject to
        // p - 0.4 w ≤ c - (10 + f)/2, p + 0.4 w ≥ c + (10 + f)/2, p - 0.5 w ≥ 0, p + 0.5 w ≤ 230, 10 ≤ w ≤ 300.
        #[rustfmt::skip]
        let due = [
            (171.88, 67.200_01), (181.184_15, 65.734_43), (188.136_73, 65.021_92), (190.348_39, 65.003_26), (185.622_78, 64.837_66),
            (173.808_85, 64.315_05), (157.486_9, 64.434_08), (139.426_3, 65.481_48), (122.411_71, 67.049_66), (109.064_18, 68.039_96),
            (98.756_9, 69.033_09), (90.018_92, 70.371_65),
        ];
        let needs: Vec<Needs> = (0..12)
            .map(|frame| {
                let f = f64::from(frame);
                let (centre, half) = (150.0 + 60.0 * (f / 2.0).sin(), (10.0 + f) / 2.0);
                let line = |at, slope| Affine { at, slope };
                let across = Side {
                    lows: [line(centre + half, -0.4), line(0.0, 0.5)],
                    highs: [line(centre - half, 0.4), line(230.0, -0.5)],
                };
                let down = Side { lows: [FREE; 2], highs: [line(1e6, 0.0); 2] };
                Needs { target: [centre, 0.0, 2.5 * half], width: (10.0, 300.0), sides: [across, down] }
            })
            .collect();
        for (seen, (point, width)) in smoothest(&needs, [2.0, 2.0, 1.0], 4.0).iter().zip(due) {
            assert!((seen[0] - point).abs() < 1e-3 && (seen[2] - width).abs() < 1e-3, "{seen:?} {point} {width}");
        }
    }

    #[test]
    fn a_path_that_is_only_held_at_points_is_the_natural_cubic_spline() {
        // scipy 1.17.1, CubicSpline(bc_type="natural") of X, Y at Q; the path's differences stand for its derivatives.
        const X: [usize; 6] = [0, 1, 2, 4, 5, 8];
        const Y: [f64; 6] = [0.0, 0.0, 1.0, 3.0, 3.0, 10.0];
        let due = [
            (0.5, -0.090_241_343_13),
            (1.5, 0.395_724_029_4),
            (3.0, 2.292_759_706),
            (4.5, 2.966_946_485),
            (6.0, 4.264_194_94),
        ];
        let unit = 100;
        let needs: Vec<Needs> = (0..=8 * unit)
            .map(|frame| match X.iter().position(|x| x * unit == frame) {
                Some(held) => between(100.0 * Y[held], 100.0 * Y[held], 0.0),
                None => between(-1e5, 1e5, 0.0),
            })
            .collect();
        let path = smoothest(&needs, [2.0, 2.0, 1.0], 1e6);
        for (x, y) in due {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 800")]
            let seen = path[(x * 100.0) as usize][0] / 100.0;
            assert!((seen - y).abs() < 2e-4, "{x}: {seen} {y}");
        }
    }
}

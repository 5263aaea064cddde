//! How far one picture lies from another, from the profiles of their tiles.
//!
//! Each tile's two profiles are laid over each other at the whole sample where they look most alike, then by least
//! squares for the rest of the way, gain and offset of the light along with it (Lucas and Kanade, 1981, in one
//! dimension). The tiles' median is the shift: tiles full of things that move are outvoted as long as they are fewer
//! than half. Coarse beside proper registration, but it costs next to nothing.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "samples of a profile: a few hundred at most"
)]

use crate::measures::Profiles;

/// Maximum whole shift looked for, in samples, and as a fraction of the tile (one in so many).
const FURTHEST: usize = 16;
const FURTHEST_SHARE: usize = 4;
/// Profiles correlated less than this, by their slopes, do not look alike.
const ALIKE: f64 = 0.5;
/// Maximum standard error of a tile that counts, in samples.
const SURE: f64 = 0.1;
/// Quorum of tiles.
const VOTERS: usize = 3;

/// How far the later picture lies to the right of and below the earlier one, in pixels of the still.
pub(super) fn between(earlier: &Profiles, later: &Profiles) -> Option<[f64; 2]> {
    let alike = (earlier.columns, earlier.rows, earlier.step) == (later.columns, later.rows, later.step);
    if !alike || earlier.means.len() != later.means.len() {
        return None;
    }
    let tiles = 0..earlier.across * earlier.down;
    let step = f64::from(earlier.step);
    let x = vote(tiles.clone().filter_map(|tile| along(earlier.across_tile(tile), later.across_tile(tile))).collect())?;
    let y = vote(tiles.filter_map(|tile| along(earlier.down_tile(tile), later.down_tile(tile))).collect())?;
    Some([x * step, y * step])
}

fn vote(mut shifts: Vec<f64>) -> Option<f64> {
    if shifts.len() < VOTERS {
        return None;
    }
    shifts.sort_by(f64::total_cmp);
    let middle = shifts.len() / 2;
    Some(if shifts.len() % 2 == 1 { shifts[middle] } else { f64::midpoint(shifts[middle - 1], shifts[middle]) })
}

/// How many samples `later` lies after `earlier`; none where that cannot be told.
fn along(earlier: &[f32], later: &[f32]) -> Option<f64> {
    let furthest = FURTHEST.min(earlier.len() / FURTHEST_SHARE);
    let slopes = |profile: &[f32]| profile.windows(2).map(|pair| f64::from(pair[1] - pair[0])).collect::<Vec<f64>>();
    let (before, after) = (slopes(earlier), slopes(later));
    let (whole, best) = (-(furthest as isize)..=furthest as isize)
        .map(|shift| (shift, correlation(&before, &after, shift)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    if best < ALIKE {
        return None;
    }
    let mut shift = whole as f64;
    let mut error = f64::MAX;
    for _ in 0..3 {
        let (further, of) = refined(earlier, later, shift)?;
        shift += further;
        error = of;
        if (shift - whole as f64).abs() > 1.5 {
            return None;
        }
    }
    (error < SURE).then_some(shift)
}

/// Normalised correlation of `a(x)` with `b(x + shift)` where both are there.
fn correlation(a: &[f64], b: &[f64], shift: isize) -> f64 {
    let from = shift.min(0).unsigned_abs();
    let to = a.len().saturating_sub(shift.max(0).unsigned_abs());
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for x in from..to {
        let (a, b) = (a[x], b[x.wrapping_add_signed(shift)]);
        ab += a * b;
        aa += a * a;
        bb += b * b;
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { -1.0 }
}

/// One step of least squares from `shift` on: `earlier(x) = gain · later(x + shift + more) + offset`. Gives `more` and
/// its standard error.
fn refined(earlier: &[f32], later: &[f32], shift: f64) -> Option<(f64, f64)> {
    // Normal equations for (gain, offset, gain · more) over (later, 1, slope of later).
    let mut matrix = [[0.0; 3]; 3];
    let mut right = [0.0; 3];
    let (mut squares, mut count) = (0.0, 0.0);
    for (x, value) in earlier.iter().enumerate() {
        let Some((there, slope)) = at(later, x as f64 + shift) else { continue };
        let basis = [there, 1.0, slope];
        let value = f64::from(*value);
        for i in 0..3 {
            for j in 0..3 {
                matrix[i][j] += basis[i] * basis[j];
            }
            right[i] += basis[i] * value;
        }
        squares += value * value;
        count += 1.0;
    }
    if count < 8.0 {
        return None;
    }
    let (solution, variance) = solve(matrix, right)?;
    let residual: f64 = squares - solution.iter().zip(right).map(|(s, r)| s * r).sum::<f64>();
    let gain = solution[0];
    if gain <= 0.05 {
        return None;
    }
    let error = (residual.max(0.0) / (count - 3.0) * variance).sqrt() / gain;
    Some((solution[2] / gain, error))
}

/// The solution of three equations, and the last unknown's entry of the inverse.
fn solve(m: [[f64; 3]; 3], right: [f64; 3]) -> Option<([f64; 3], f64)> {
    let cross =
        |a: [f64; 3], b: [f64; 3]| [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
    let dot = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let inverse = [cross(m[1], m[2]), cross(m[2], m[0]), cross(m[0], m[1])];
    let determinant = dot(m[0], inverse[0]);
    let scale = m[0][0] * m[1][1] * m[2][2];
    if determinant.abs() <= 1e-9 * scale.abs() || scale == 0.0 {
        return None;
    }
    // The matrix is its own transpose, so the cofactors' rows are the inverse's.
    Some((inverse.map(|row| dot(row, right) / determinant), inverse[2][2] / determinant))
}

/// Value and slope of a profile between samples, by the cubic through four of them (Catmull-Rom).
fn at(profile: &[f32], x: f64) -> Option<(f64, f64)> {
    let whole = x.floor();
    if whole < 1.0 || whole + 2.0 >= profile.len() as f64 {
        return None;
    }
    #[expect(clippy::cast_sign_loss, reason = "at least 1")]
    let at = whole as usize;
    let t = x - whole;
    let [a, b, c, d] = [profile[at - 1], profile[at], profile[at + 1], profile[at + 2]].map(f64::from);
    let (first, second, third) = ((c - a) / 2.0, a - 2.5 * b + 2.0 * c - d / 2.0, (d - a) / 2.0 + 1.5 * (b - c));
    Some((b + t * (first + t * (second + t * third)), first + t * (2.0 * second + 3.0 * t * third)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Means over samples of a smooth texture that is `shift` samples further on, in a light of its own.
    fn profile(shift: f64, gain: f64, seed: f64) -> Vec<f32> {
        let waves = [(0.021, 30.0), (0.053, 18.0), (0.11, 9.0), (0.19, 5.0)];
        let value = |x: f64| {
            let sum: f64 =
                waves.iter().map(|(f, a)| a * (std::f64::consts::TAU * f * (x - shift) + seed * f * 900.0).sin()).sum();
            gain * (110.0 + sum)
        };
        (0..120).map(|x| value(f64::from(x)) as f32).collect()
    }

    #[test]
    fn a_shift_is_found_whatever_the_light() {
        for shift in [0.0, 0.03, -0.4, 2.5, -7.3, 11.62] {
            for gain in [1.0, 1.2, 0.6] {
                let found = along(&profile(0.0, 1.0, 1.0), &profile(shift, gain, 1.0)).unwrap();
                assert!((found - shift).abs() < 0.02, "{found} for {shift} at {gain}");
            }
        }
    }

    #[test]
    fn tiles_that_move_are_outvoted_and_tiles_without_texture_have_no_say() {
        let picture = |shift: f64, moving: f64| {
            let (across, down, columns, rows) = (4, 3, 120, 120);
            let mut means = Vec::new();
            for tile in 0..12 {
                let of = match tile {
                    0..=4 => moving,
                    5 => f64::NAN,
                    _ => shift,
                };
                for axis in [0.0, 0.5] {
                    means.extend(if of.is_nan() { vec![90.0; 120] } else { profile(of, 1.0, f64::from(tile) + axis) });
                }
            }
            Profiles { step: 4, across, down, columns, rows, means }
        };
        let found = between(&picture(0.0, 0.0), &picture(0.3, 4.0)).unwrap();
        assert!(found.iter().all(|axis| (axis - 1.2).abs() < 0.1), "{found:?}");
        let flat = Profiles { means: vec![90.0; 12 * 240], ..picture(0.0, 0.0) };
        assert_eq!(between(&flat, &flat), None);
    }
}

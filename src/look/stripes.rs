//! Stripes that lamps on the mains leave on a sensor read row by row: they stand elsewhere in every still.

#![expect(clippy::cast_precision_loss, reason = "rows of a thumbnail")]

use std::f64::consts::TAU;

use super::seen::{LIT, Seen};

/// Minimum and maximum number of stripes looked for. Fewer are a light that moves.
const FEWEST: usize = 4;
const MOST: usize = 30;
/// Minimum strength of stripes, in multiples of the median over all numbers of stripes.
const STANDS_OUT: f64 = 3.0;

/// The strongest stripes by which the rows of two stills (columns, where the sensor stood on its side) differ in light:
/// how many there are from edge to edge, and the amplitude of the wave as a share of the light.
pub(super) fn between(earlier: &Seen, later: &Seen, turned: bool) -> Option<[f64; 2]> {
    let (width, height) = (earlier.glance.thumbnail.width, earlier.glance.thumbnail.height);
    let (lines, along) = if turned { (width, height) } else { (height, width) };
    if lines < 16 || later.glance.thumbnail.width != width || later.glance.thumbnail.height != height {
        return None;
    }
    let at = |line: usize, place: usize| if turned { place * width + line } else { line * width + place };
    let ratio = |line: usize| {
        let pairs = (0..along).map(|place| (earlier.grey[at(line, place)], later.grey[at(line, place)]));
        let lit = pairs.filter(|(a, b)| LIT.contains(a) && LIT.contains(b));
        let mut ratios: Vec<f32> = lit.map(|(a, b)| b / a).collect();
        let middle = ratios.len() / 2;
        (ratios.len() * 5 >= along)
            .then(|| 2.0 * f64::from(*ratios.select_nth_unstable_by(middle, f32::total_cmp).1).ln())
    };
    let known: Vec<Option<f64>> = (0..lines).map(ratio).collect();
    if known.iter().flatten().count() * 5 < lines * 4 {
        return None;
    }
    strongest(&filled(&known)?)
}

/// Lines without a value take the one before.
fn filled(known: &[Option<f64>]) -> Option<Vec<f64>> {
    let mut last = known.iter().flatten().next().copied()?;
    Some(
        known
            .iter()
            .map(|value| {
                last = value.unwrap_or(last);
                last
            })
            .collect(),
    )
}

/// The strongest wave in a profile, its slow course apart, where it stands out.
fn strongest(profile: &[f64]) -> Option<[f64; 2]> {
    let count = profile.len();
    let straight = without_course(profile);
    // Hann's window: what is no whole number of waves does not spill over the others. Its mean is a half.
    let windowed: Vec<f64> = straight
        .iter()
        .enumerate()
        .map(|(at, value)| value * (0.5 - 0.5 * (TAU * (at as f64 + 0.5) / count as f64).cos()))
        .collect();
    let amplitude = |waves: f64| {
        let (mut cosine, mut sine) = (0.0, 0.0);
        for (at, value) in windowed.iter().enumerate() {
            let angle = TAU * waves * (at as f64 + 0.5) / count as f64;
            cosine += value * angle.cos();
            sine += value * angle.sin();
        }
        4.0 * cosine.hypot(sine) / count as f64
    };
    let waves = (2 * FEWEST..=2 * MOST.min(count / 3)).map(|half| half as f64 / 2.0);
    let mut found: Vec<[f64; 2]> = waves.map(|waves| [waves, amplitude(waves)]).collect();
    found.sort_by(|a, b| a[1].total_cmp(&b[1]));
    let strongest = found.last().copied()?;
    (strongest[1] > STANDS_OUT * found[found.len() / 2][1]).then_some(strongest)
}

/// A profile less its parabola of least squares: light that comes from elsewhere, and no stripes.
fn without_course(profile: &[f64]) -> Vec<f64> {
    let count = profile.len() as f64;
    let place = |at: usize| (2.0 * at as f64 + 1.0) / count - 1.0;
    // Legendre's first three, which are as good as orthogonal on so many points.
    let basis: [fn(f64) -> f64; 3] = [|_| 1.0, |x| x, |x| 1.5 * x * x - 0.5];
    let mut rest = profile.to_vec();
    for wave in basis {
        let norm: f64 = (0..profile.len()).map(|at| wave(place(at)).powi(2)).sum();
        let share = rest.iter().enumerate().map(|(at, value)| value * wave(place(at))).sum::<f64>() / norm;
        rest.iter_mut().enumerate().for_each(|(at, value)| *value -= share * wave(place(at)));
    }
    rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wave_is_found_with_its_number_and_amplitude_beside_a_slope() {
        for waves in [4.0, 7.5, 12.0] {
            let value = |at: u32| {
                let x = (f64::from(at) + 0.5) / 96.0;
                0.012 * (TAU * waves * x + 0.7).sin() + 0.1 * x - 0.05 * x * x
            };
            let [found, amplitude] = strongest(&(0..96).map(value).collect::<Vec<_>>()).unwrap();
            assert!(
                (found - waves).abs() <= 0.5 && (amplitude - 0.012).abs() < 0.001,
                "{found} of {amplitude} for {waves}"
            );
        }
        let slope = strongest(&(0..96).map(|at| 0.1 * f64::from(at)).collect::<Vec<_>>());
        assert!(slope.is_none_or(|[_, amplitude]| amplitude < 1e-9), "{slope:?}");
    }
}

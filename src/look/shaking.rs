//! Whether the camera shakes from still to still, as the wind shakes a mast.
//!
//! Of three stills of which each was laid over the two others (one of them the first still), the third shift has to be
//! the sum of the first two: what is missing is noise of measuring. What the picture does from still to still beyond
//! that is the camera.

use crate::measures::Step;

/// Minimum root mean square: in pixels, and in multiples of the noise. Our choice, no source.
const LEAST: f64 = 0.3;
const SURE: f64 = 3.0;
/// Minimum number of stills that tell.
const ENOUGH: usize = 12;

/// By how many pixels the camera lies from where it would stand still, root mean square; none where it does not shake.
pub(super) fn shaking(steps: &[&Step]) -> Option<f64> {
    let [across, down] = [0, 1].map(|axis| along(steps, axis));
    let ([x, x_noise], [y, y_noise]) = (across?, down?);
    let (rms, noise) = (x.hypot(y), x_noise.hypot(y_noise));
    (rms > LEAST.max(SURE * noise)).then_some(rms)
}

/// Standard deviation of one axis from still to still, and that of the noise in it; both by medians, which a bump or two
/// leave alone.
fn along(steps: &[&Step], axis: usize) -> Option<[f64; 2]> {
    let (mut bends, mut missing) = (Vec::new(), Vec::new());
    for two in steps.windows(2) {
        if let ([Some(before), Some(after)], true) = ([two[0].place, two[1].place], two[0].to == two[1].from)
            && let [Some(first), Some(second)] = [two[0].shift, two[1].shift]
        {
            bends.push((second[axis] - first[axis]).abs());
            missing.push((after[axis] - before[axis] - second[axis]).abs());
        }
    }
    // 1.4826 makes a median of a normal distribution's sizes its standard deviation; a bend is of six parts (1, 2, 1
    // squared), a triangle of three.
    let deviation = |values: &mut Vec<f64>, parts: f64| {
        let middle = values.len() / 2;
        1.4826 * *values.select_nth_unstable_by(middle, f64::total_cmp).1 / parts.sqrt()
    };
    (bends.len() >= ENOUGH).then(|| [deviation(&mut bends, 6.0), deviation(&mut missing, 3.0)])
}

#[cfg(test)]
#[expect(clippy::cast_precision_loss, reason = "counts of stills")]
mod tests {
    use super::*;
    use crate::units::SlotIndex;

    /// Steps of a camera at these places, measured with an error a still and one a pair.
    fn steps(places: &[f64], error: &dyn Fn(usize) -> f64) -> Vec<Step> {
        let step = |at: usize| Step {
            from: SlotIndex(at - 1),
            to: SlotIndex(at),
            brighter: Some(0.0),
            shift: Some([places[at] - places[at - 1] + error(3 * at), 0.0]),
            place: Some([places[at] - places[0] + error(3 * at + 1), 0.0]),
            activity: 0.0,
            noise: 0.0,
            stripes: None,
            changed: Vec::new(),
        };
        (1..places.len()).map(step).collect()
    }

    fn wild(at: usize) -> f64 {
        (0..4)
            .map(|part| ((at * 4 + part) as f64 * 12.9898).sin() * 43_758.545_3)
            .map(|v| v - v.floor() - 0.5)
            .sum::<f64>()
            * 1.732
    }

    #[test]
    fn shaking_is_told_with_its_size_and_neither_noise_nor_a_bump_nor_a_sag_is_shaking() {
        let told = |places: &[f64], noise: f64| {
            let all = steps(places, &|at| noise * wild(1000 + at));
            shaking(&all.iter().collect::<Vec<_>>())
        };
        let shaken: Vec<f64> = (0..200).map(|at| 2.0 * wild(at)).collect();
        let rms = told(&shaken, 0.1).unwrap();
        assert!((1.6..2.4).contains(&rms), "{rms}");
        let still = vec![0.0; 200];
        assert_eq!((told(&still, 0.05), told(&still, 0.8)), (None, None));
        let bumped: Vec<f64> = (0..200).map(|at| if at < 90 { 0.0 } else { 9.0 } + 0.03 * at as f64).collect();
        assert_eq!(told(&bumped, 0.05), None);
    }
}

//! A pace that runs through what is idle and slows where things happen.
//!
//! In: how much happens at every still, how long all is to last, and the slowest and fastest rates. Out: rates pinned
//! to moments of the shoot, between which the rate goes in straight lines, so it never leaves its limits.
//!
//! A still's time goes from the fastest rate's to the slowest's as more happens there. How much that takes is found
//! by halving, so that the whole lasts as long as asked; where even the slowest rate wherever anything happens is too
//! short, idle stills get slower too.

use super::ease::Ease;
use super::pace::{Key, PaceMap, Timeline};

/// The most rates: what happens is told apart no finer.
const MOST: usize = 400;
/// Seconds of the clip, at an even pace, over which what happens is averaged on each side, so that the rate does not
/// twitch (our choice).
const CALM: f64 = 0.75;
/// What happens less often than this share of the usual is idle, in the mean of the busier stills.
const USUAL: f64 = 0.5;

/// Why there is no such pace: the shortest and the longest it can last within its limits, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfReach {
    /// At the fastest rate throughout.
    pub shortest: f64,
    /// At the slowest rate throughout.
    pub longest: f64,
}

/// The rates of a shoot in which so much happens at each still, that is to last `seconds`: keys on the shoot's axis.
/// `slowest` and `fastest` are stills a second.
///
/// # Errors
/// [`OutOfReach`]; `seconds` is above 0 and `happens` has a still.
pub fn rates(happens: &[f64], seconds: f64, (slowest, fastest): (f64, f64)) -> Result<Vec<Key>, OutOfReach> {
    let stills = number(happens.len());
    let out = OutOfReach { shortest: stills / fastest, longest: stills / slowest };
    let slack = 1e-9 * seconds;
    if seconds < out.shortest - slack || seconds > out.longest + slack {
        return Err(out);
    }
    let lively = levels(&calmed(happens, CALM * stills / seconds));
    let count = happens.len().min(MOST);
    let keys = |more: f64| -> Vec<Key> {
        (0..count)
            .map(|key| {
                let (from, to) = (key * happens.len() / count, (key + 1) * happens.len() / count);
                let level = lively[from..to].iter().sum::<f64>() / number(to - from);
                // Up to 1 what happens is slowed down for, beyond that what is idle too.
                let slowed = if more <= 1.0 {
                    (level * more / (1.0 - more).max(1e-12)).min(1.0)
                } else {
                    f64::from(level > 0.0)
                };
                let slowed = slowed.max(more - 1.0);
                let lasts = 1.0 / fastest + slowed * (1.0 / slowest - 1.0 / fastest);
                let at = number(from + to) / 2.0;
                Key {
                    at,
                    rate: lasts.recip().clamp(slowest, fastest),
                    ease: Ease::Linear,
                    keep: false,
                    backwards: false,
                }
            })
            .collect()
    };
    let lasts = |keys: &[Key]| PaceMap::keyed(Timeline::Shoot, keys, &[], stills, None).map_or(0.0, |map| map.length());
    let (mut low, mut high) = (0.0, 2.0);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if lasts(&keys(middle)) < seconds { low = middle } else { high = middle }
    }
    Ok(keys(high))
}

/// The mean of each over so many on each side, twice.
fn calmed(happens: &[f64], beside: f64) -> Vec<f64> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of stills")]
    let beside = beside.round().max(0.0) as usize;
    let mean = |of: &[f64]| -> Vec<f64> {
        let mut sums = vec![0.0];
        of.iter().for_each(|one| sums.push(sums[sums.len() - 1] + one));
        (0..of.len())
            .map(|at| {
                let (from, to) = (at.saturating_sub(beside), (at + beside + 1).min(of.len()));
                (sums[to] - sums[from]).max(0.0) / number(to - from)
            })
            .collect()
    };
    mean(&mean(happens))
}

/// From 0, where nothing happens, to 1: half where as much happens as usual, among the stills in which anything does.
fn levels(happens: &[f64]) -> Vec<f64> {
    let (sum, squares) = happens.iter().fold((0.0, 0.0), |(sum, squares), one| (sum + one, squares + one * one));
    if sum <= 0.0 {
        return vec![0.0; happens.len()];
    }
    let usual = USUAL * squares / sum;
    happens.iter().map(|one| if *one < 1e-9 * usual { 0.0 } else { one / (one + usual) }).collect()
}

#[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
fn number(of: usize) -> f64 {
    of as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn length(keys: &[Key], stills: usize) -> f64 {
        PaceMap::keyed(Timeline::Shoot, keys, &[], number(stills), None).unwrap().length()
    }

    #[test]
    fn idle_stills_run_and_busy_ones_slow_down() {
        let happens: Vec<f64> = (0..300).map(|still| if (100..200).contains(&still) { 5.0 } else { 0.0 }).collect();
        let keys = rates(&happens, 30.0, (10.0 / 3.0, 40.0)).unwrap();
        assert!((length(&keys, 300) - 30.0).abs() < 1e-6);
        let rate =
            |still: f64| keys.iter().min_by(|a, b| (a.at - still).abs().total_cmp(&(b.at - still).abs())).unwrap().rate;
        assert!(rate(150.0) < 0.3 * rate(20.0) && rate(150.0) < 0.3 * rate(280.0), "{} {}", rate(150.0), rate(20.0));
    }

    #[test]
    fn where_nothing_happens_the_pace_is_even_and_limits_are_told() {
        let keys = rates(&[0.0; 50], 10.0, (1.0, 20.0)).unwrap();
        assert!(keys.iter().all(|key| (key.rate - 5.0).abs() < 1e-6), "{keys:?}");
        assert_eq!(rates(&[0.0; 50], 60.0, (1.0, 20.0)), Err(OutOfReach { shortest: 2.5, longest: 50.0 }));
        assert_eq!(rates(&[1.0; 50], 2.0, (1.0, 20.0)), Err(OutOfReach { shortest: 2.5, longest: 50.0 }));
    }

    proptest! {
        #[test]
        fn it_lasts_as_long_as_asked_and_keeps_to_its_limits(
            happens in proptest::collection::vec(0.0..9.0_f64, 1..900), idle in 0.0..9.0_f64, share in 0.0..=1.0_f64,
            slowest in 0.2..5.0_f64, times in 1.0..30.0_f64,
        ) {
            let happens: Vec<f64> = happens.into_iter().map(|one| (one - idle).max(0.0)).collect();
            let (fastest, stills) = (slowest * times, number(happens.len()));
            let seconds = stills / fastest + share * (stills / slowest - stills / fastest);
            let keys = rates(&happens, seconds, (slowest, fastest)).unwrap();
            prop_assert!((length(&keys, happens.len()) / seconds - 1.0).abs() < 1e-6, "{} of {seconds}", length(&keys, happens.len()));
            prop_assert!(keys.iter().all(|key| key.rate >= slowest - 1e-9 && key.rate <= fastest + 1e-9));
            prop_assert!(keys.windows(2).all(|pair| pair[0].at < pair[1].at));
        }
    }
}

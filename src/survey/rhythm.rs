//! How evenly a shoot was taken: its intervals by the capture times.

#![expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]

use jiff::civil::DateTime;
use serde::Serialize;

use super::Item;
use super::clock::{median, seconds_between};
use super::gaps::Gap;
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// An interval off the usual one by more than this share of it is an outlier.
const OFF: f64 = 0.2;
/// A pause is longer than this many usual intervals.
const PAUSE: f64 = 3.0;
/// Minimum number of intervals that show a drift; with fewer it could be chance.
const ENOUGH: usize = 20;

/// The intervals between stills, in seconds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rhythm {
    /// The usual one: the median.
    pub interval: f64,
    /// Mean over the first and over the last quarter, outliers left out; none for short shoots, and where a
    /// clock of whole seconds cannot tell.
    pub drift: Option<[f64; 2]>,
    /// Stills that come more than 20 % too soon or too late after the one before, without the pauses: the later still,
    /// and seconds since the still before.
    pub outliers: Vec<(SlotIndex, f64)>,
    /// Pauses of more than three intervals: the still after it, and its seconds.
    pub pauses: Vec<(SlotIndex, f64)>,
    /// Where the clock went back: the later still, and by how many seconds.
    pub back: Vec<(SlotIndex, f64)>,
}

/// Median seconds between neighbouring stills by their capture times; where most share a second, the mean.
pub(super) fn interval(items: &[Item], sequence: &[usize], gaps: &[Gap]) -> Option<f64> {
    let mut gaps = gaps.iter().map(|gap| gap.after).peekable();
    let mut steps = Vec::with_capacity(sequence.len());
    for (position, pair) in sequence.windows(2).enumerate() {
        while gaps.next_if(|after| *after < position).is_some() {}
        if gaps.peek() == Some(&position) {
            continue;
        }
        steps.extend(seconds_between(&items[pair[0]], &items[pair[1]]).filter(|seconds| *seconds >= 0.0));
    }
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    match median(steps)? {
        0.0 => (mean > 0.0).then_some(mean),
        usual => Some(usual),
    }
}

/// The rhythm of a shoot; none where fewer than two stills tell their time.
pub(super) fn rhythm(shoot: &Shoot) -> Option<Rhythm> {
    let captured = |slot: usize| Some((slot, shoot.captured(SlotIndex(slot))?));
    let times: Vec<_> = (0..shoot.slots.len()).filter_map(captured).collect();
    let universal = times.iter().all(|(_, captured)| captured.offset.is_some());
    let seconds = |of: &crate::shoot::Captured| {
        let local = of.local.duration_since(DateTime::constant(1970, 1, 1, 0, 0, 0, 0)).as_secs_f64();
        local - if universal { f64::from(of.offset.unwrap_or(0)) } else { 0.0 }
    };
    // A clock of whole seconds rounds every interval by up to one.
    let coarse = times.iter().all(|(_, captured)| captured.local.subsec_nanosecond() == 0);
    let steps: Vec<(usize, f64, f64)> = times
        .windows(2)
        .map(|pair| (pair[1].0, seconds(&pair[1].1) - seconds(&pair[0].1), (pair[1].0 - pair[0].0) as f64))
        .collect();
    let usual = median(steps.iter().map(|(_, seconds, slots)| seconds / slots).filter(|step| *step > 0.0).collect())?;
    let (mut outliers, mut pauses, mut back, mut even) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (slot, seconds, slots) in steps {
        let off = (seconds - slots * usual).abs();
        let slot = SlotIndex(slot);
        if seconds < 0.0 {
            back.push((slot, -seconds));
        } else if seconds > slots * PAUSE * usual {
            pauses.push((slot, seconds));
        } else if off > OFF * usual && !(coarse && off <= 1.0) {
            outliers.push((slot, seconds));
        } else {
            even.push(seconds / slots);
        }
    }
    let mean = |steps: &[f64]| steps.iter().sum::<f64>() / steps.len() as f64;
    let quarter = even.len() / 4;
    let drift = (even.len() >= ENOUGH).then(|| [mean(&even[..quarter]), mean(&even[even.len() - quarter..])]);
    // Either end of either quarter may be rounded by up to a second.
    let told = |[first, last]: &[f64; 2]| !coarse || (last - first).abs() * quarter as f64 > 2.0;
    let drift = drift.filter(told);
    Some(Rhythm { interval: usual, drift, outliers, pauses, back })
}

//! The search for the rate factors at which a file has the size that was asked for.
//!
//! ## Decisions
//!
//! - Bytes fall by about the same ratio with every step of the rate factor. A sample of the stretches, evenly spread, is
//!   encoded at two factors; from those follow the ratio and the factor for all. Then all are encoded. Where the file
//!   misses, as many stretches as it takes are encoded again at a factor near it, evenly spread too.
//! - What is asked is answered from what was asked before (`sizes` in the output's folder): a run that goes on asks the
//!   same questions, and comes to the same factors.
//! - Where nothing hits, the largest file that is not too large is taken.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use crate::shot::Codec;

/// The least part of the size that is aimed at.
pub const LEAST: f64 = 0.97;
/// The part of it in the middle.
const MIDDLE: f64 = 0.985;
/// One stretch in so many is tried first, and at least so many.
const SAMPLE: (usize, usize) = (6, 3);
/// How often it is put right.
const ROUNDS: usize = 10;

/// Stretches that are all moved.
const FEW: usize = 4;

/// A codec's rate factors.
#[derive(Debug, Clone)]
pub struct Scale {
    range: RangeInclusive<f64>,
    /// The smallest step.
    step: f64,
    /// Where the search begins.
    usual: f64,
    /// By how much the logarithm of bytes falls with 1, usually.
    slope: f64,
}

impl Scale {
    /// Of a codec; none where it has no such factor.
    #[must_use]
    pub fn of(codec: &Codec) -> Option<Self> {
        let usual = codec.crf()?;
        let sixth = std::f64::consts::LN_2 / 6.0;
        Some(match codec {
            Codec::Av1(_) => Self { range: 1.0..=63.0, step: 1.0, usual, slope: sixth / 2.0 },
            _ => Self { range: 1.0..=51.0, step: 0.05, usual, slope: sixth },
        })
    }

    /// The nearest factor that there is.
    fn at(&self, crf: f64) -> f64 {
        let crf = crf.clamp(*self.range.start(), *self.range.end());
        // By its number of steps: sums of steps are not all one number.
        let steps = 1.0 / self.step;
        (crf * steps).round() / steps
    }
}

/// Asked what stretches and files come to.
pub trait Trials {
    /// Why no answer is had.
    type Stop;

    /// Bytes of some stretches at their factors.
    ///
    /// # Errors
    /// Where they cannot be told.
    fn bytes(&mut self, crfs: &[f64], which: &[usize]) -> Result<Vec<u64>, Self::Stop>;

    /// Bytes of the whole file at these factors.
    ///
    /// # Errors
    /// As [`Trials::bytes`].
    fn whole(&mut self, crfs: &[f64]) -> Result<u64, Self::Stop>;
}

/// What came of a search.
#[derive(Debug, Clone, PartialEq)]
pub enum Fit {
    /// Factors of the stretches, and the file's bytes.
    Found(Vec<f64>, u64),
    /// Even the coarsest file is too large: its bytes.
    TooLarge(u64),
}

/// Finds factors for stretches of so many frames each, so that the file has at most `size` bytes and at least [`LEAST`]
/// of them.
///
/// # Errors
/// What the trials stop for.
pub fn search<T: Trials>(frames: &[usize], scale: &Scale, size: u64, trials: &mut T) -> Result<Fit, T::Stop> {
    let count = frames.len();
    let all: Vec<usize> = (0..count).collect();
    let sample = spread(count, count.div_ceil(SAMPLE.0).max(SAMPLE.1).min(count));
    #[expect(clippy::cast_precision_loss, reason = "bytes and frames of a file")]
    let (aim, share) = (
        size as f64 * MIDDLE,
        frames.iter().sum::<usize>() as f64 / sample.iter().map(|stretch| frames[*stretch]).sum::<usize>() as f64,
    );
    let mut sampled = |crf: f64| -> Result<f64, T::Stop> {
        let bytes = trials.bytes(&vec![crf; count], &sample)?;
        #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
        let bytes = bytes.iter().sum::<u64>() as f64;
        Ok(bytes.max(1.0) * share)
    };
    let first = scale.at(scale.usual);
    let at_first = sampled(first)?;
    let apart = |crf: f64| if (crf - first).abs() < 1.0 { first + if crf < first { -1.0 } else { 1.0 } } else { crf };
    let second = scale.at(apart(first + (at_first / aim).ln() / scale.slope));
    let (mut slope, mut crf) = (scale.slope, second);
    if (second - first).abs() > scale.step / 2.0 {
        let at_second = sampled(second)?;
        slope = ((at_first / at_second).ln() / (second - first)).clamp(scale.slope / 3.0, scale.slope * 3.0);
        crf = scale.at(second + (at_second / aim).ln() / slope);
    }
    let mut crfs = vec![crf; count];
    let mut best: Option<(Vec<f64>, u64)> = None;
    let mut tried = BTreeSet::new();
    let mut before: Option<(f64, f64)> = None;
    for _ in 0..ROUNDS {
        let bytes = trials.bytes(&crfs, &all)?;
        let file = trials.whole(&crfs)?;
        #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
        let (is, video) = (file as f64, bytes.iter().sum::<u64>() as f64);
        if file <= size {
            if best.as_ref().is_none_or(|(_, known)| *known < file) {
                best = Some((crfs.clone(), file));
            }
            #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
            if is >= LEAST * size as f64 || crfs.iter().all(|crf| *crf <= *scale.range.start()) {
                break;
            }
        } else if crfs.iter().all(|crf| *crf >= *scale.range.end()) {
            return Ok(Fit::TooLarge(file));
        }
        if !tried.insert(crfs.iter().map(|crf| crf.to_bits()).collect::<Vec<_>>()) {
            break;
        }
        // The slope is that of the last two: noise falls far more steeply at some factors than at others.
        #[expect(clippy::cast_precision_loss, reason = "stretches of a file")]
        let now = (crfs.iter().sum::<f64>() / count as f64, video.ln());
        if let Some(before) = before.filter(|before| (before.0 - now.0).abs() > scale.step / 100.0) {
            slope = ((before.1 - now.1) / (now.0 - before.0)).clamp(scale.slope / 3.0, scale.slope * 20.0);
        }
        before = Some(now);
        // So that the pictures alone make up the difference.
        let ratio = ((video + aim - is) / video).max(0.01);
        crfs = nearer(&crfs, &bytes, ratio, slope, scale);
    }
    match best {
        Some((crfs, bytes)) => Ok(Fit::Found(crfs, bytes)),
        // Whatever was tried was too large.
        None => {
            let coarsest = vec![*scale.range.end(); count];
            trials.bytes(&coarsest, &all)?;
            let bytes = trials.whole(&coarsest)?;
            Ok(if bytes <= size { Fit::Found(coarsest, bytes) } else { Fit::TooLarge(bytes) })
        }
    }
}

/// Factors of which so many are moved, evenly spread, that the bytes change by this ratio.
fn nearer(crfs: &[f64], bytes: &[u64], ratio: f64, slope: f64, scale: &Scale) -> Vec<f64> {
    let needed = -ratio.ln() / slope;
    // About half of them are moved twice as far; far ways are gone by all, and so are those of few.
    let step = if needed.abs() > 2.0 || crfs.len() < FEW { needed } else { 2.0 * needed };
    let step = (step.abs() / scale.step).ceil().max(1.0) * scale.step * step.signum();
    #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
    let mut left = bytes.iter().sum::<u64>() as f64 * (ratio - 1.0);
    let mut moved = crfs.to_vec();
    let mut any = false;
    for stretch in spread(crfs.len(), crfs.len()) {
        let to = scale.at(crfs[stretch] + step);
        #[expect(clippy::cast_precision_loss, reason = "bytes of a stretch")]
        let change = bytes[stretch] as f64 * ((-slope * (to - crfs[stretch])).exp() - 1.0);
        // What would go further beyond than it is short of now is left as it is, but for the first.
        if to == crfs[stretch] || any && (left - change).abs() > left.abs() {
            continue;
        }
        any = true;
        left -= change;
        moved[stretch] = to;
    }
    moved
}

/// So many of some stretches, those first that lie in the middle of what is left.
fn spread(count: usize, wanted: usize) -> Vec<usize> {
    let mut order = Vec::with_capacity(count);
    let mut queue = std::collections::VecDeque::from([(0, count)]);
    while let Some((from, to)) = queue.pop_front() {
        if from < to {
            let middle = (from + to) / 2;
            order.push(middle);
            queue.extend([(from, middle), (middle + 1, to)]);
        }
    }
    order.truncate(wanted);
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Av1, H264};

    /// Stretches that weigh so much at 18, by laws of their own, in a file with so much beside them.
    struct Laws {
        at_18: Vec<f64>,
        slopes: Vec<f64>,
        beside: u64,
        encoded: usize,
        known: BTreeSet<(usize, u64)>,
    }

    impl Laws {
        fn of(at_18: Vec<f64>, beside: u64) -> Self {
            let slopes = (0..at_18.len()).map(|stretch| 0.08 + 0.02 * (stretch % 5) as f64).collect();
            Self { at_18, slopes, beside, encoded: 0, known: BTreeSet::new() }
        }

        fn one(&self, stretch: usize, crf: f64) -> u64 {
            (self.at_18[stretch] * (-self.slopes[stretch] * (crf - 18.0)).exp()) as u64 + 100
        }
    }

    impl Trials for Laws {
        type Stop = ();

        fn bytes(&mut self, crfs: &[f64], which: &[usize]) -> Result<Vec<u64>, ()> {
            for stretch in which {
                if self.known.insert((*stretch, crfs[*stretch].to_bits())) {
                    self.encoded += 1;
                }
            }
            Ok(which.iter().map(|stretch| self.one(*stretch, crfs[*stretch])).collect())
        }

        fn whole(&mut self, crfs: &[f64]) -> Result<u64, ()> {
            Ok((0..crfs.len()).map(|stretch| self.one(stretch, crfs[stretch])).sum::<u64>() + self.beside)
        }
    }

    fn scale(codec: &Codec) -> Scale {
        Scale::of(codec).unwrap()
    }

    #[test]
    #[expect(clippy::cast_precision_loss, reason = "bytes of a test")]
    fn a_size_is_hit_whatever_the_stretches_weigh_and_few_are_encoded_more_than_twice() {
        for codec in [Codec::H264(H264::default()), Codec::Av1(Av1::from_quality(75.0))] {
            for count in [1, 2, 3, 7, 20, 61] {
                for size in [1_000_000_u64, 10_000_000, 60_000_000] {
                    let uneven = |stretch: usize| 5e5 * (1.0 + (stretch * 7 % 5) as f64);
                    let mut laws = Laws::of((0..count).map(uneven).collect(), 20_000);
                    let scale = scale(&codec);
                    let Fit::Found(crfs, bytes) = search(&vec![48; count], &scale, size, &mut laws).unwrap() else {
                        panic!("{count} stretches in {size} bytes")
                    };
                    assert_eq!(laws.whole(&crfs), Ok(bytes));
                    let finest = crfs.iter().all(|crf| *crf <= 1.0);
                    // One or two stretches of whole factors come to what they come to.
                    let least = if scale.step == 1.0 && count < 3 { 0.9 } else { LEAST };
                    assert!(bytes <= size, "{count} in {size}: {bytes}");
                    assert!(finest || bytes as f64 >= least * size as f64, "{count} in {size}: {bytes} at {crfs:?}");
                    if count > 6 {
                        assert!(laws.encoded <= 3 * count, "{count} in {size}: {} encoded", laws.encoded);
                    }
                }
            }
        }
    }

    #[test]
    fn what_cannot_be_made_as_small_is_refused_with_what_it_comes_to() {
        let mut laws = Laws::of(vec![1e6; 4], 5000);
        let fit = search(&[48; 4], &scale(&Codec::H264(H264::default())), 6000, &mut laws).unwrap();
        assert_eq!(fit, Fit::TooLarge(laws.whole(&[51.0; 4]).unwrap()));
    }

    #[test]
    fn what_is_fine_already_is_left_below_its_size() {
        let mut laws = Laws::of(vec![1000.0; 4], 0);
        let fit = search(&[48; 4], &scale(&Codec::H264(H264::default())), 1_000_000_000, &mut laws).unwrap();
        assert_eq!(fit, Fit::Found(vec![1.0; 4], laws.whole(&[1.0; 4]).unwrap()));
    }

    #[test]
    fn a_few_of_many_are_spread_evenly() {
        assert_eq!(spread(7, 3), [3, 1, 5]);
        let mut all = spread(10, 10);
        all.sort_unstable();
        assert_eq!(all, (0..10).collect::<Vec<_>>());
    }
}

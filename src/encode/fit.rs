//! The search for the rate factors at which a file has the size that was asked for.
//!
//! ## Decisions
//!
//! - A file is known by one number, its level: a whole part, the factor of all stretches, and a fraction, the part of
//!   them, evenly spread, that have the next factor instead. Bytes fall as the level rises, so the level is searched for
//!   as a root between one that is too large and one that is too small (false position, the Illinois way: Dowell and
//!   Jarratt 1971, BIT 11, 168-174). A level near by shares most stretches, which are not encoded again.
//! - Where it begins is told by a sample of the stretches, encoded at two factors: bytes fall by about the same ratio
//!   with every step of the factor.
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
/// Files that are tried at most.
const ROUNDS: usize = 14;
/// With so many stretches or more, neighbouring whole factors come near enough to any size.
const MANY: usize = 8;

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
    let quantum = if count < MANY { scale.step } else { 1.0_f64.max(scale.step) };
    let levels = Levels { scale, quantum, order: spread(count, count) };
    let mut best: Option<(Vec<f64>, u64)> = None;
    let mut tried = BTreeSet::new();
    let mut bracket = Bracket { fall: slope, ..Bracket::default() };
    let mut level = crf;
    for _ in 0..ROUNDS {
        let mut crfs = levels.at(level);
        if !tried.insert(bits(&crfs)) {
            // A level that means the same factors: the next one that means others, on the side that is looked for.
            level = levels.beside(level, bracket.was_large == Some(true));
            crfs = levels.at(level);
            if !tried.insert(bits(&crfs)) {
                break;
            }
        }
        let file = trials.whole(&crfs)?;
        #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
        let is = file as f64;
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
        level = bracket.next(level, (is / aim).ln()).clamp(*scale.range.start(), *scale.range.end());
    }
    match best {
        Some((crfs, bytes)) => Ok(Fit::Found(crfs, bytes)),
        // Whatever was tried was too large.
        None => {
            let coarsest = vec![*scale.range.end(); count];
            let bytes = trials.whole(&coarsest)?;
            Ok(if bytes <= size { Fit::Found(coarsest, bytes) } else { Fit::TooLarge(bytes) })
        }
    }
}

/// Factors as they are compared.
fn bits(crfs: &[f64]) -> Vec<u64> {
    crfs.iter().map(|crf| crf.to_bits()).collect()
}

/// What a level means.
struct Levels<'a> {
    scale: &'a Scale,
    /// From one factor to the next.
    quantum: f64,
    /// Stretches in the order in which they take the next factor.
    order: Vec<usize>,
}

impl Levels<'_> {
    /// The factors of all stretches.
    fn at(&self, level: f64) -> Vec<f64> {
        let (count, steps) = (self.order.len(), level / self.quantum);
        let (lower, part) = (steps.floor(), steps - steps.floor());
        let mut crfs = vec![self.scale.at(lower * self.quantum); count];
        #[expect(clippy::cast_precision_loss, reason = "stretches of a file")]
        let moved = self.order.iter().enumerate().filter(|(rank, _)| part * count as f64 > *rank as f64 + 0.5);
        for (_, stretch) in moved {
            crfs[*stretch] = self.scale.at((lower + 1.0) * self.quantum);
        }
        crfs
    }

    /// The level at which one stretch more, or one less, has the next factor.
    fn beside(&self, level: f64, above: bool) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "stretches of a file")]
        let apart = self.quantum / self.order.len().max(1) as f64;
        if above { level + apart } else { level - apart }
    }
}

/// Levels on both sides of the one that is looked for, each with the logarithm of what its file is too large by.
#[derive(Default)]
struct Bracket {
    too_large: Option<(f64, f64)>,
    too_small: Option<(f64, f64)>,
    /// By how much that logarithm falls with a level, while only one side is known.
    fall: f64,
    /// The side that the last one was on.
    was_large: Option<bool>,
    last: Option<(f64, f64)>,
}

impl Bracket {
    /// Where to look after a level has turned out to be too large by this, or too small where it is below 0.
    fn next(&mut self, level: f64, excess: f64) -> f64 {
        let is_large = excess > 0.0;
        let (own, other) = if is_large {
            (&mut self.too_large, &mut self.too_small)
        } else {
            (&mut self.too_small, &mut self.too_large)
        };
        *own = Some((level, excess));
        // The side that stays counts half, so that it comes nearer too.
        if self.was_large == Some(is_large)
            && let Some((_, excess)) = other
        {
            *excess /= 2.0;
        }
        self.was_large = Some(is_large);
        if let (Some((low, over)), Some((high, under))) = (self.too_large, self.too_small) {
            let part = (over / (over - under)).clamp(0.05, 0.95);
            return low + part * (high - low);
        }
        if let Some((before, was)) = self.last.replace((level, excess))
            && (level - before).abs() > 1e-9
        {
            self.fall = ((was - excess) / (level - before)).clamp(self.fall / 4.0, self.fall * 4.0);
        }
        // A little farther than that, so that the other side is known soon.
        level + 1.2 * excess / self.fall
    }
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

        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bytes of a test")]
        fn one(&self, stretch: usize, crf: f64) -> u64 {
            (self.at_18[stretch] * (-self.slopes[stretch] * (crf - 18.0)).exp()) as u64 + 100
        }
    }

    impl Laws {
        fn encode(&mut self, crfs: &[f64], which: &[usize]) {
            let anew = which.iter().filter(|stretch| self.known.insert((**stretch, crfs[**stretch].to_bits())));
            self.encoded += anew.count();
        }
    }

    impl Trials for Laws {
        type Stop = ();

        fn bytes(&mut self, crfs: &[f64], which: &[usize]) -> Result<Vec<u64>, ()> {
            self.encode(crfs, which);
            Ok(which.iter().map(|stretch| self.one(*stretch, crfs[*stretch])).collect())
        }

        fn whole(&mut self, crfs: &[f64]) -> Result<u64, ()> {
            self.encode(crfs, &(0..crfs.len()).collect::<Vec<_>>());
            Ok((0..crfs.len()).map(|stretch| self.one(stretch, crfs[stretch])).sum::<u64>() + self.beside)
        }
    }

    fn scale(codec: &Codec) -> Scale {
        Scale::of(codec).unwrap()
    }

    #[test]
    #[expect(clippy::cast_precision_loss, reason = "bytes of a test")]
    fn a_size_is_hit_whatever_the_stretches_weigh_and_many_are_encoded_four_times_at_most_in_the_mean() {
        for codec in [Codec::H264(H264::default()), Codec::Av1(Av1::from_quality(75.0))] {
            for count in [1, 2, 3, 7, 20, 61] {
                for each in [200_000_u64, 1_500_000, 6_000_000] {
                    let size = each * count as u64;
                    let uneven = |stretch: usize| 5e5 * (1.0 + (stretch * 7 % 5) as f64);
                    let mut laws = Laws::of((0..count).map(uneven).collect(), 20_000);
                    let scale = scale(&codec);
                    let Fit::Found(crfs, bytes) = search(&vec![48; count], &scale, size, &mut laws).unwrap() else {
                        panic!("{count} stretches in {size} bytes")
                    };
                    assert_eq!(laws.whole(&crfs), Ok(bytes));
                    let finest = crfs.iter().all(|crf| *crf <= 1.0);
                    // Few stretches of whole factors come to what they come to.
                    let least = if scale.step == 1.0 && count < MANY { 0.9 } else { LEAST };
                    assert!(bytes <= size, "{count} in {size}: {bytes}");
                    assert!(finest || bytes as f64 >= least * size as f64, "{count} in {size}: {bytes} at {crfs:?}");
                    if count >= MANY {
                        assert!(laws.encoded <= 4 * count, "{count} in {size}: {} encoded", laws.encoded);
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

//! How a render is divided into shares that cost alike.
//!
//! ## Decisions
//!
//! - What is divided are stretches, which an interrupted run keeps anyway, in the order of the stills that they show: so
//!   deliveries that show the same stills are in the same share, and each still is decoded in one share, or in two where
//!   a cut between shares falls there.
//! - Work is reckoned from the plan, as for the length of stretches (`src/encode/cut.rs`). Every machine comes to the same
//!   division without asking another.
//! - The largest share is as small as it can be in that order: a render is done when its last share is.

use super::super::prepare::Prepared;
use super::super::rendering::deliveries_of;
use crate::encode;
use crate::units::SlotIndex;

/// A stretch of a delivery, and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    /// Of which shoot the delivery is cut.
    pub(super) shoot: usize,
    /// Which of the deliveries cut from it.
    pub(super) delivery: usize,
    /// Which of that one's stretches.
    pub(super) stretch: usize,
    /// The first still that it shows.
    first: SlotIndex,
    /// Seconds of processor, reckoned.
    pub(super) work: f64,
}

/// All stretches of a render in the order of their stills, but for those of deliveries that are to have a size.
pub(super) fn pieces(prepared: &Prepared) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for (shoot, seen) in prepared.shoots.iter().enumerate() {
        let together = deliveries_of(prepared, shoot).count();
        for (delivery, plan) in deliveries_of(prepared, shoot).enumerate() {
            if plan.codec.size().is_some() {
                continue;
            }
            for (stretch, rows) in encode::cut(plan, seen.size, together).into_iter().enumerate() {
                let rows = &plan.rows[rows];
                let first = rows.iter().flat_map(|row| row.shares().map(|share| share.shown)).min();
                let work = encode::work(plan, rows, seen.size, together);
                pieces.push(Piece { shoot, delivery, stretch, first: first.unwrap_or(SlotIndex(0)), work });
            }
        }
    }
    pieces.sort_by_key(|piece| (piece.shoot, piece.first, piece.delivery, piece.stretch));
    pieces
}

/// The share of each piece, counted from 0, where there are `of` shares. Neighbours in the order given stay together.
pub(super) fn divide(pieces: &[Piece], of: usize) -> Vec<usize> {
    let total: f64 = pieces.iter().map(|piece| piece.work).sum();
    let largest = pieces.iter().map(|piece| piece.work).fold(0.0, f64::max);
    // The least most that a share may cost, by halving what is between too little and enough.
    let (mut little, mut enough) = (largest.max(total / of.max(1) as f64) * (1.0 - 1e-9), total);
    if fill(pieces, little).last().is_none_or(|last| *last < of) {
        enough = little;
    }
    for _ in 0..60 {
        let middle = 0.5 * (little + enough);
        if fill(pieces, middle).last().is_none_or(|last| *last < of) { enough = middle } else { little = middle }
    }
    fill(pieces, enough)
}

/// The share of each piece where each takes what it can up to `most`.
fn fill(pieces: &[Piece], most: f64) -> Vec<usize> {
    let (mut share, mut filled) = (0, 0.0);
    let of = |piece: &Piece| {
        if filled > 0.0 && filled + piece.work > most {
            (share, filled) = (share + 1, 0.0);
        }
        filled += piece.work;
        share
    };
    pieces.iter().map(of).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn of(work: &[f64]) -> Vec<Piece> {
        let piece = |(stretch, work): (usize, &f64)| Piece {
            shoot: 0,
            delivery: 0,
            stretch,
            first: SlotIndex(stretch),
            work: *work,
        };
        work.iter().enumerate().map(piece).collect()
    }

    fn largest(work: &[f64], shares: &[usize]) -> f64 {
        let sums = shares.iter().zip(work).fold(vec![0.0; work.len() + 1], |mut sums, (share, work)| {
            sums[*share] += work;
            sums
        });
        sums.into_iter().fold(0.0, f64::max)
    }

    /// The least largest share, by trying every way to cut.
    fn best(work: &[f64], of: usize) -> f64 {
        match (work.len(), of) {
            (0, _) => 0.0,
            (_, 1) => work.iter().sum(),
            _ => (1..=work.len())
                .map(|first| work[..first].iter().sum::<f64>().max(best(&work[first..], of - 1)))
                .fold(f64::INFINITY, f64::min),
        }
    }

    #[test]
    fn equal_stretches_are_dealt_out_evenly_and_shares_without_any_come_last() {
        assert_eq!(divide(&of(&[1.0; 8]), 4), [0, 0, 1, 1, 2, 2, 3, 3]);
        assert_eq!(divide(&of(&[1.0; 3]), 5), [0, 1, 2]);
        assert_eq!(divide(&of(&[1.0; 3]), 1), [0, 0, 0]);
        assert!(divide(&[], 4).is_empty());
        assert_eq!(divide(&of(&[5.0, 1.0, 1.0, 1.0, 1.0, 1.0]), 2), [0, 1, 1, 1, 1, 1]);
    }

    proptest! {
        #[test]
        fn the_largest_share_is_the_smallest_possible(
            work in proptest::collection::vec(0.1..10.0_f64, 1..9), shares in 1..5_usize,
        ) {
            let divided = divide(&of(&work), shares);
            prop_assert!(divided.is_sorted() && divided[0] == 0 && *divided.last().unwrap() < shares);
            let (is, least) = (largest(&work, &divided), best(&work, shares));
            prop_assert!(is <= least * (1.0 + 1e-6), "{is} is more than {least}: {divided:?}");
        }
    }
}

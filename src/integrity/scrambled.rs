//! Detail that has moved to other blocks, in a picture that is coded in several scans.
//!
//! A scan of AC coefficients (ITU-T T.81, G.1.2.2) holds no differences between blocks, so wrong bytes leave levels alone; but blocks
//! lost or made up in it move the detail of all that follow by as many places. Where nothing else has changed, every other block then
//! has more or less of it than its neighbours in time, and all together as much as before.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::judge::Break;
use super::means::{Detail, Means};

/// Blocks of less detail say nothing.
const TEXTURE: u16 = 48;
/// Rows of blocks on either side of a beginning.
const ROWS: usize = 3;
/// Blocks that must say something, on either side.
const ENOUGH: usize = 60;
/// The share of them that has changed: above, at most; below, at least, and so many times as much.
const ABOVE: f32 = 0.2;
const BELOW: f32 = 0.4;
const TIMES: f32 = 2.5;
/// The share of blocks in which the neighbours themselves differ, at most: water and leaves never hold still.
const RESTLESS: f32 = 0.15;
/// All detail below, against the neighbours': light that changes takes its share from all blocks.
const AS_MUCH: std::ops::Range<f32> = 0.75..1.33;

/// Finds the row from which on the detail of a band is another's, to the end of the picture.
pub(super) fn find(this: &Means, others: [&Means; 2]) -> Option<Break> {
    let bands = this.detail.iter().zip(others[0].detail.iter().zip(&others[1].detail)).enumerate();
    let found = bands.filter_map(|(band, (this, (before, after)))| {
        if before.sums.len() != this.sums.len() || after.sums.len() != this.sums.len() || this.across == 0 {
            return None;
        }
        let row = begins(this, before, after)?;
        Some((band, row, this.sums.len() / this.across))
    });
    let (band, row, down) = found.min_by_key(|(_, row, _)| *row)?;
    Some(Break { row, column: 0, component: band, by: 0.0, fit: 3.0, down })
}

/// What the blocks of some rows come to.
#[derive(Default, Clone, Copy)]
struct Count {
    /// Of detail enough, in which the neighbours agree.
    known: usize,
    changed: usize,
    /// Of detail enough, in which they do not.
    restless: usize,
    detail: f32,
    usual: f32,
}

impl Count {
    fn and(self, other: Self) -> Self {
        Self {
            known: self.known + other.known,
            changed: self.changed + other.changed,
            restless: self.restless + other.restless,
            detail: self.detail + other.detail,
            usual: self.usual + other.usual,
        }
    }

    fn changed(self) -> f32 {
        self.changed as f32 / self.known.max(1) as f32
    }
}

fn begins(this: &Detail, before: &Detail, after: &Detail) -> Option<usize> {
    let lines = [this, before, after].map(|detail| detail.sums.chunks_exact(detail.across));
    let [this, before, after] = lines;
    let rows: Vec<Count> = this.zip(before.zip(after)).map(|(this, (before, after))| count(this, before, after)).collect();
    let over = |rows: &[Count]| rows.iter().copied().fold(Count::default(), Count::and);
    (ROWS..rows.len().saturating_sub(ROWS)).find(|row| {
        let (above, below, rest) = (over(&rows[row - ROWS..*row]), over(&rows[row + 1..row + 1 + ROWS]), over(&rows[row + 1..]));
        above.known >= ENOUGH
            && below.known >= ENOUGH
            && above.changed() <= ABOVE
            && [below, rest].into_iter().all(|part| {
                part.changed() >= BELOW.max(TIMES * above.changed())
                    && part.restless as f32 <= RESTLESS * (part.known + part.restless) as f32
                    && AS_MUCH.contains(&(part.detail / part.usual.max(1.0)))
            })
    })
}

fn count(this: &[u16], before: &[u16], after: &[u16]) -> Count {
    let mut count = Count::default();
    for (this, (before, after)) in this.iter().zip(before.iter().zip(after)) {
        let (low, high) = (*before.min(after), *before.max(after));
        if high.max(*this) < TEXTURE {
            continue;
        }
        if high - low > high / 2 + 16 {
            count.restless += 1;
            continue;
        }
        count.known += 1;
        count.changed += usize::from(this.abs_diff(*this.clamp(&low, &high)) > (*this).max(high) / 2);
        count.detail += f32::from(*this);
        count.usual += f32::midpoint(f32::from(low), f32::from(high));
    }
    count
}

//! Whether the scene is gone from some unit on: what the rest shows has nothing to do with what the neighbours show
//! there.
//!
//! Codecs of pictures lose their way with the first wrong byte, and what they make up lasts to the end of what is coded
//! together: a tile, or the picture. It is told from things that come before the camera by two signs: from block to
//! block it rises and falls as the neighbours do not, though they agree with each other; and it fills every row from
//! edge to edge, beginning within a row or two of units.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]
#![expect(clippy::cast_possible_truncation, reason = "a few codes, a share of units, correlations")]

use super::breaks::Break;
use super::case::SMALLEST;
use super::means::{Means, Plane, SCALE};

/// A block has changed where it lies outside what the neighbours span by so many codes, and so many times what they
/// usually differ by.
const CHANGED: (f32, f32) = (2.0, 3.0);
/// It says nothing where they differ by more, reckoned the same way.
const SPREAD: (f32, f32) = (6.0, 6.0);
/// The share of a unit's known blocks that makes it a changed one.
const MOST: f32 = 0.4;
/// The share of units that have changed: within, at least, and elsewhere, at most.
const SHARES: (f32, f32) = (0.55, 0.2);
/// How well the neighbours' rises and falls agree with each other, at least.
const AGREED: f32 = 0.6;
/// Slopes from block to block count for no more than this, in codes.
const STEEPEST: f32 = 40.0;
/// Units that are lost at least in a tile.
const FEWEST: usize = 3;
/// As many rows of small units may pass between the last that is whole and the first that is lost from edge to edge.
const BLURRED: usize = 3;
/// A row is lost from edge to edge where each of as many parts is.
const PARTS: usize = 4;
/// The share that has changed in the last whole row, at most …
const ABOVE: f32 = 0.25;
/// … and in each part of a row: soon after the beginning, and in the mean of all rows from there on, at least.
const BELOW: (f32, f32) = (0.3, 0.4);
/// The least slope from block to block, in codes: grain and shades have less.
const ROUGH: f32 = 2.5;
/// Neighbours' differences are sampled at about as many blocks.
const SAMPLES: usize = 4096;

/// Finds the unit from which on the scene is gone, if it is.
pub(super) fn lost(this: &Means, [before, after]: [&Means; 2]) -> Option<Break> {
    let tile = this.tile?;
    let others = before.planes.iter().zip(&after.planes);
    this.planes.iter().zip(others).enumerate().find_map(|(component, (plane, (before, after)))| {
        let scene = Scene::new([plane, before, after], [this.across, this.down])?;
        let is_whole = tile[0] >= this.across && tile[1] >= this.down;
        let found = if is_whole { scene.lost_in_picture() } else { scene.lost_in_tile(tile) }?;
        Some(Break { component, ..found })
    })
}

/// One plane of the three.
struct Scene<'a> {
    /// This, before and after.
    planes: [&'a Plane; 3],
    across: usize,
    down: usize,
    /// Blocks of a row.
    width: usize,
    /// Where the neighbours differ by more, a block says nothing; on [`SCALE`].
    spread: u16,
    /// Whether each unit has changed; none where it says nothing.
    changed: Vec<Option<bool>>,
}

impl<'a> Scene<'a> {
    /// None where too little has changed to be told, as in nearly all stills.
    fn new(planes: [&'a Plane; 3], [across, down]: [usize; 2]) -> Option<Self> {
        let [this, before, after] = planes;
        let width = across * this.blocks_across;
        if this.values.len() < width * down * this.blocks_down || this.values.is_empty() {
            return None;
        }
        let step = (this.values.len() / SAMPLES).max(1);
        let mut apart: Vec<u16> = before
            .values
            .iter()
            .zip(&after.values)
            .step_by(step)
            .map(|(before, after)| before.abs_diff(*after))
            .collect();
        let middle = apart.len() / 2;
        let usual = f32::from(*apart.select_nth_unstable(middle).1);
        let bar = |(codes, times): (f32, f32)| (codes * f32::from(SCALE)).max(times * usual) as u16;
        let (far, spread) = (bar(CHANGED), bar(SPREAD));
        let mut counts = vec![(0_u16, 0_u16); across * down];
        for (row, values) in this.values.chunks_exact(width).enumerate() {
            let others = before.values[row * width..].iter().zip(&after.values[row * width..]);
            let units = &mut counts[row / this.blocks_down * across..][..across];
            for (column, (this, (before, after))) in values.iter().zip(others).enumerate() {
                if before.abs_diff(*after) > spread {
                    continue;
                }
                let (known, changed) = &mut units[column / planes[0].blocks_across];
                *known += 1;
                *changed += u16::from(this.abs_diff(*this.clamp(before.min(after), before.max(after))) > far);
            }
        }
        let blocks = this.blocks_across * this.blocks_down;
        let state = |(known, changed): (u16, u16)| {
            (2 * usize::from(known) > blocks).then(|| f32::from(changed) > MOST * f32::from(known))
        };
        let changed: Vec<Option<bool>> = counts.into_iter().map(state).collect();
        let count = changed.iter().filter(|state| **state == Some(true)).count();
        let scene = Self { planes, across, down, width, spread, changed };
        (count >= scene.fewest()).then_some(scene)
    }

    fn fewest(&self) -> usize {
        ((SMALLEST * self.changed.len() as f32) as usize).max(FEWEST)
    }

    /// The share of some units that have changed, and how many say something.
    fn share(&self, units: impl Iterator<Item = usize>) -> (f32, usize) {
        let (mut known, mut changed) = (0_usize, 0_usize);
        for state in units.filter_map(|unit| self.changed[unit]) {
            known += 1;
            changed += usize::from(state);
        }
        (changed as f32 / known.max(1) as f32, known)
    }

    /// Where the changed end of some units, in the order of coding, begins: the earliest place that explains as much.
    fn beginning(&self, order: &[usize]) -> usize {
        let (mut score, mut best) = (0_i32, (0, order.len()));
        for (at, unit) in order.iter().enumerate().rev() {
            score += match self.changed[*unit] {
                Some(true) => 1,
                Some(false) => -1,
                None => 0,
            };
            if score > 0 && score >= best.0 {
                best = (score, at);
            }
        }
        best.1
    }

    fn lost_in_picture(&self) -> Option<Break> {
        let order: Vec<usize> = (0..self.across * self.down).collect();
        let begin = self.beginning(&order);
        let (row, column) = (begin / self.across, begin % self.across);
        // From the first row on there is little to tell it from a cut, and from a whole row on from what is held before
        // the lens.
        if row == 0 || column == 0 || order.len() - begin < (self.across * 6).div_ceil(5) {
            return None;
        }
        let blurred = if self.planes[0].blocks_down >= 4 { 1 } else { BLURRED };
        let above =
            row.checked_sub(blurred).map_or(0.0, |row| self.share(row * self.across..(row + 1) * self.across).0);
        let edge_to_edge = |row: usize| {
            let part = |part: usize| {
                let column = |part: usize| row * self.across + part * self.across / PARTS;
                self.share(column(part)..column(part + 1)).0
            };
            (0..PARTS).map(part).fold(1.0, f32::min)
        };
        let below: Vec<f32> = (row + 1..self.down).map(edge_to_edge).collect();
        let soon = below.iter().take(1 + blurred).copied().fold(0.0, f32::max);
        let lasting = below.get(blurred..).unwrap_or_default();
        let mean = lasting.iter().sum::<f32>() / lasting.len().max(1) as f32;
        if above > ABOVE || soon < BELOW.0 || (mean < BELOW.1 && !lasting.is_empty()) {
            return None;
        }
        self.told(&order, begin, SHARES.1)
    }

    /// As in the picture, tile by tile: around what is lost nothing has changed, and no thing has the shape of a tile's
    /// end.
    fn lost_in_tile(&self, [wide, high]: [usize; 2]) -> Option<Break> {
        let tiles =
            (0..self.down).step_by(high).flat_map(|top| (0..self.across).step_by(wide).map(move |left| (left, top)));
        tiles.into_iter().find_map(|(left, top)| {
            let (right, bottom) = ((left + wide).min(self.across), (top + high).min(self.down));
            let order: Vec<usize> =
                (top..bottom).flat_map(|row| (left..right).map(move |column| row * self.across + column)).collect();
            let begin = self.beginning(&order);
            if order.len() - begin < self.fewest() {
                return None;
            }
            let beside = (top..bottom).flat_map(|row| {
                [left.checked_sub(1), (right < self.across).then_some(right)].map(|column| (row, column))
            });
            let over = (left..right).flat_map(|column| {
                [top.checked_sub(1), (bottom < self.down).then_some(bottom)].map(|row| (row, column))
            });
            let ring = beside
                .filter_map(|(row, column)| Some(row * self.across + column?))
                .chain(over.filter_map(|(row, column)| Some(row? * self.across + column)));
            if self.share(ring).0 > 0.15 {
                return None;
            }
            self.told(&order, begin, 0.1)
        })
    }

    /// Holds the units from `begin` on against the neighbours; elsewhere as large a share as `elsewhere` may have
    /// changed.
    fn told(&self, order: &[usize], begin: usize, elsewhere: f32) -> Option<Break> {
        let inside = &order[begin..];
        let (share, known) = self.share(inside.iter().copied());
        let (other, _) = self.share(order[..begin].iter().copied());
        if share < SHARES.0 || other > elsewhere || 2 * known < inside.len() {
            return None;
        }
        let mut within = vec![false; self.changed.len()];
        inside.iter().for_each(|unit| within[*unit] = true);
        let (agreement, by) = self.agreement(&within);
        let is_lost = agreement.neighbours >= AGREED
            && agreement.slope >= ROUGH
            && by >= 2.0
            && ((agreement.this < 0.4 && agreement.rougher > 1.2)
                || (agreement.this < 0.2 && agreement.rougher > 0.8 && by >= 10.0));
        let unit = inside.first()?;
        is_lost.then(|| Break {
            row: unit / self.across,
            column: unit % self.across,
            component: 0,
            by,
            fit: 2.0 + share + 1.0 - agreement.this.max(0.0),
            down: self.down,
        })
    }

    /// How slopes from block to block agree in some units, and the middle of how far blocks are off.
    fn agreement(&self, within: &[bool]) -> (Agreement, f32) {
        let [this, before, after] = self.planes.map(|plane| &plane.values);
        let step = (this.len() / (16 * SAMPLES)).max(1);
        let mut sums = [0.0_f64; 5];
        let mut count = 0_u32;
        let mut off = Vec::new();
        let code = |value: i16| f32::from(value) / f32::from(SCALE);
        for at in (0..this.len() - 1).step_by(step) {
            let (row, column) = (at / self.width, at % self.width);
            let unit =
                |column: usize| row / self.planes[0].blocks_down * self.across + column / self.planes[0].blocks_across;
            let is_known = |at: usize| before[at].abs_diff(after[at]) <= self.spread;
            if !within[unit(column)] || !is_known(at) {
                continue;
            }
            let (low, high) = (before[at].min(after[at]), before[at].max(after[at]));
            off.push(code(this[at]) - code(this[at].clamp(low, high)));
            if column + 1 < self.width && within[unit(column + 1)] && is_known(at + 1) {
                let slope =
                    |values: &[i16]| f64::from((code(values[at + 1]) - code(values[at])).clamp(-STEEPEST, STEEPEST));
                let (this, before, after) = (slope(this), slope(before), slope(after));
                let due = (before + after) / 2.0;
                let products =
                    [this * this, due * due, this * due, before * after, (before * before + after * after) / 2.0];
                count += 1;
                sums.iter_mut().zip(products).for_each(|(sum, product)| *sum += product);
            }
        }
        let [this, due, both, crossed, each] = sums;
        let sizes: Vec<f32> = off.iter().map(|off| off.abs()).collect();
        let agreement = Agreement {
            this: (both / (this * due).sqrt().max(1e-6)) as f32,
            neighbours: (crossed / each.max(1e-6)) as f32,
            rougher: (this / due.max(0.05 * f64::from(count))).sqrt() as f32,
            slope: (this / f64::from(count.max(1))).sqrt() as f32,
        };
        (agreement, super::case::middle(&sizes).unwrap_or(0.0))
    }
}

/// How alike slopes are.
struct Agreement {
    /// The correlation of this still's with the neighbours' mean.
    this: f32,
    /// That of the neighbours with each other.
    neighbours: f32,
    /// How much steeper this still's are.
    rougher: f32,
    /// This still's, in codes.
    slope: f32,
}

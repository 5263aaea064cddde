//! How much each part of the picture changed from one still to another.

#![expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "counts of a thumbnail's pixels")]

use super::seen::{LIT, Seen};

/// Thumbnail pixels a side of a tile.
pub(super) const TILE: usize = 4;
/// A tile has changed where its mean difference is more than this many times a quiet tile's …
const TIMES_USUAL: f32 = 4.0;
/// … and more than this share of the range, as coded.
pub(super) const LEAST: f32 = 0.008;

/// How much each tile changed from one still to another, the level's own change apart.
pub(super) struct Tiles {
    pub(super) across: usize,
    pub(super) down: usize,
    /// Mean differences, row by row.
    pub(super) differences: Vec<f32>,
}

impl Tiles {
    /// `brighter` is the logarithm of how much brighter the later still is.
    pub(super) fn between(earlier: &Seen, later: &Seen, brighter: f64) -> Self {
        let (width, height) = (later.glance.thumbnail.width, later.glance.thumbnail.height);
        let (across, down) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let mut sums = vec![(0.0, 0_u32); across * down];
        let gain = (-brighter / 2.0).exp() as f32;
        let apart = |a: f32, b: f32| if a.max(b) < LIT.end { (b * gain - a).abs() } else { (b - a).abs() };
        // What was or became white says nothing of what moved.
        for (earlier, later) in earlier.channels.iter().zip(&later.channels) {
            for (at, (a, b)) in earlier.iter().zip(later).enumerate() {
                let (sum, count) = &mut sums[at / width / TILE * across + at % width / TILE];
                *sum += apart(*a, *b);
                *count += 1;
            }
        }
        Self { across, down, differences: sums.into_iter().map(|(sum, count)| sum / count.max(1) as f32).collect() }
    }

    /// As [`Tiles::between`], by grey alone and without each tile's own mean difference: light that changes evenly,
    /// however differently here and there, leaves nothing.
    pub(super) fn structure(earlier: &Seen, later: &Seen, brighter: f64) -> Self {
        let (width, height) = (later.glance.thumbnail.width, later.glance.thumbnail.height);
        let (across, down) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let gain = (-brighter / 2.0).exp() as f32;
        let mut tiles = vec![Vec::with_capacity(TILE * TILE); across * down];
        for (at, (a, b)) in earlier.grey.iter().zip(&later.grey).enumerate() {
            tiles[at / width / TILE * across + at % width / TILE].push(b * gain - a);
        }
        let apart = |tile: Vec<f32>| {
            let mean = tile.iter().sum::<f32>() / tile.len().max(1) as f32;
            tile.iter().map(|difference| (difference - mean).abs()).sum::<f32>() / tile.len().max(1) as f32
        };
        Self { across, down, differences: tiles.into_iter().map(apart).collect() }
    }

    /// From which difference on a tile has changed by more than noise does.
    pub(super) fn limit(&self) -> f32 {
        let mut sorted = self.differences.clone();
        sorted.sort_by(f32::total_cmp);
        // Where half of the picture moves, the noise is that of the quieter half.
        let usual = sorted.get(sorted.len() / 4).copied().unwrap_or(0.0);
        LEAST.max(TIMES_USUAL * usual)
    }

    /// Which tiles changed by more than noise does.
    pub(super) fn changed(&self) -> Vec<bool> {
        let limit = self.limit();
        self.differences.iter().map(|difference| *difference > limit).collect()
    }
}

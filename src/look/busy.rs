//! What moved, weighed by what always moves there.
//!
//! A tile counts by how far its change stands above what is usual: a few times what a quiet tile of the same step
//! changes by (noise, codecs), and what the tile itself does in the stills around, by its median and the spread below
//! that. Leaves in the wind, water and clouds change about as much in every still, so little of them is left; who
//! walks past changes a tile now and then, and counts. A tile that is at work in many stills counts less for each. A
//! step in which most of the picture changed is the light's or the camera's, and counts for nothing, and so does what
//! flashed white and what moved in one tile alone for one still.
//!
//! ## Decisions
//!
//! - The median and the lower half of the spread, not the upper: something that works in a tile for up to half of the
//!   time leaves both alone.
//! - The figures (`TIMES_SPREAD` and so on) were chosen on drawn scenes, none of which is among the tests'.
//! - Under `FEW` steps nobody can tell what is usual, and nothing is weighed down.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tiles' counts"
)]

use std::ops::Range;

use super::moved::{FLASHED, Moved, Movement, STEP};
use crate::measures::Activity;

/// A tile moves where it changed by at least this, in roots of light …
const LEAST: f32 = 0.016;
/// … and by this many times what a quiet tile of the step did, the one that a quarter of them are quieter than …
const TIMES_QUIET: f32 = 4.0;
/// … and by this many times the median of what it does in the stills around …
const TIMES_MEDIAN: f32 = 2.0;
/// … and by its median and this many times the spread from there to the lower quarter.
const TIMES_SPREAD: f32 = 6.0;
/// Steps for which what is usual is found at once, and steps on each side that have a say in it.
const BLOCK: usize = 64;
const BESIDE: usize = 96;
/// With fewer steps than this nothing is usual.
const FEW: usize = 8;
/// Where more than this share of the tiles moves, it is the light or the camera.
const MOST: f32 = 0.6;

/// The activity of a shoot of so many slots.
pub(super) fn weighed(movement: &Movement, slots: usize) -> Activity {
    let tiles = movement.across * movement.down;
    let moved: Vec<&Moved> = movement.steps.iter().filter(|step| step.tiles.len() == tiles).collect();
    let limits: Vec<f32> = moved.iter().map(|step| limit(&step.tiles)).collect();
    let mut weighed: Vec<Vec<u8>> = Vec::with_capacity(moved.len());
    for first in (0..moved.len()).step_by(BLOCK) {
        let block = first..(first + BLOCK).min(moved.len());
        weighed.extend(of_block(&moved, &limits, block, tiles));
    }
    let mut steps: Vec<Option<Box<[u8]>>> = vec![None; slots];
    for at in 0..weighed.len() {
        let near = &weighed[at.saturating_sub(1)..(at + 2).min(weighed.len())];
        if let Some(step) = steps.get_mut(moved[at].to.0) {
            *step = Some(with_company(near, &weighed[at], movement.across, movement.down));
        }
    }
    Activity::new([movement.across, movement.down], steps)
}

fn amplitude(tile: u8) -> f32 {
    f32::from(tile & !FLASHED) * STEP
}

/// From which change on a tile of a step has changed by more than noise does.
fn limit(tiles: &[u8]) -> f32 {
    let mut sorted: Vec<u8> = tiles.iter().map(|tile| tile & !FLASHED).collect();
    sorted.sort_unstable();
    LEAST.max(TIMES_QUIET * sorted.get(sorted.len() / 4).map_or(0.0, |tile| amplitude(*tile)))
}

/// The steps that have a say in what is usual in a block: as many for one at an end of the shoot.
fn around(block: &Range<usize>, steps: usize) -> Range<usize> {
    let all = BLOCK + 2 * BESIDE;
    let from = block.start.saturating_sub(BESIDE).min(steps.saturating_sub(all));
    from..(from + all).min(steps)
}

fn of_block(moved: &[&Moved], limits: &[f32], block: Range<usize>, tiles: usize) -> Vec<Vec<u8>> {
    let around = around(&block, moved.len());
    let known = around.len() >= FEW;
    let mut values = Vec::with_capacity(around.len());
    let mut thresholds = Vec::with_capacity(tiles);
    let mut idle = Vec::with_capacity(tiles);
    for tile in 0..tiles {
        values.clear();
        values.extend(moved[around.clone()].iter().map(|step| step.tiles[tile] & !FLASHED));
        values.sort_unstable();
        let at = |share: usize| values.get(values.len() * share / 4).map_or(0.0, |value| amplitude(*value));
        let (low, median) = (at(1), at(2));
        let usual = (TIMES_MEDIAN * median).max(median + TIMES_SPREAD * (median - low));
        let usual = if known { usual } else { 0.0 };
        let works = |step: &usize| {
            let tile = moved[*step].tiles[tile];
            tile & FLASHED == 0 && amplitude(tile) > usual.max(limits[*step])
        };
        let share = around.clone().filter(works).count() as f32 / around.len().max(1) as f32;
        idle.push(if known { 1.0 - share } else { 1.0 });
        thresholds.push(usual);
    }
    let weigh = |step: usize| {
        let over: Vec<f32> = (0..tiles)
            .map(|tile| amplitude(moved[step].tiles[tile]) / thresholds[tile].max(limits[step]) - 1.0)
            .collect();
        let all = over.iter().filter(|over| **over > 0.0).count() as f32;
        if all > MOST * tiles as f32 {
            return vec![0; tiles];
        }
        let counts = |(tile, over): (usize, f32)| {
            let flashed = moved[step].tiles[tile] & FLASHED != 0;
            let share = if flashed { 0.0 } else { over.clamp(0.0, 1.0) * idle[tile] };
            (share * f32::from(Activity::FULL)).round() as u8
        };
        over.into_iter().enumerate().map(counts).collect()
    };
    block.map(weigh).collect()
}

/// A step without the tiles that move alone: none beside them does, nor they and those beside them in the steps
/// before and after, which are `near` with the step itself.
fn with_company(near: &[Vec<u8>], step: &[u8], across: usize, down: usize) -> Box<[u8]> {
    let keep = |(at, own): (usize, &u8)| {
        if *own == 0 {
            return 0;
        }
        let (x, y) = (at % across, at / across);
        let columns = x.saturating_sub(1)..(x + 2).min(across);
        let rows = y.saturating_sub(1)..(y + 2).min(down);
        let moving = |tiles: &Vec<u8>| {
            let row = |y: usize| tiles[y * across..][columns.clone()].iter().filter(|tile| **tile > 0).count();
            rows.clone().map(row).sum::<usize>()
        };
        if near.iter().map(moving).sum::<usize>() > 1 { *own } else { 0 }
    };
    step.iter().enumerate().map(keep).collect()
}

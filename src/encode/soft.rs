//! Where a frame is soft or calm, and has to be quantised finer than the rest.
//!
//! *Soft* is no detail, but light that changes from place to place. A slow move shows there only as small differences
//! from frame to frame, which an encoder leaves out first: the place then stands still, and jumps. *Calm* is hardly
//! anything but dither, as in a clear sky: without the dither the light goes by steps.
//!
//! ## Decisions
//!
//! - By blocks of 16 × 16, as libx264 and libx265 share bits out. A block is soft where cells of 8 × 8 about it differ
//!   by [`SLOPE`] codes in the mean and none of its own holds detail ([`DETAIL`]); else calm where its codes span
//!   [`CALM`] at most. The limits and steps are our choice, by measurement (`scripts/bench.md`, "Moves after encoding").
//! - Noise is neither: it hides steps itself, and to keep it is dear.

use crate::ffi::ffmpeg::Region;
use crate::units::Size;

/// By how many steps blocks are quantised coarser than the rest: finer, for they are negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Steps {
    /// Soft ones.
    pub(super) soft: i8,
    /// Calm ones.
    pub(super) calm: i8,
}

/// What the means of cells about a soft block differ by at least, in 8-bit codes.
const SLOPE: u32 = 16;
/// Mean size of second differences along a row from which a cell holds detail, in 8-bit codes. White noise of a
/// standard deviation of 1 comes to 2.
const DETAIL: u32 = 5;
/// How far apart the codes of a calm block are at most, of as many bits as there are: dither, and a slope.
const CALM: u32 = 2;

/// Side of a cell.
const CELL: usize = 8;
/// Samples of one.
const SAMPLES: u32 = 64;
/// Side of a block.
const BLOCK: u32 = 16;
/// Second differences that are looked at in a cell: six along every second row.
const LOOKED_AT: u32 = 24;

/// Cells of a frame, kept from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Cells {
    across: usize,
    down: usize,
    cells: Vec<Cell>,
}

#[derive(Debug, Clone, Copy)]
struct Cell {
    sum: u32,
    /// Sum of the sizes of second differences.
    bends: u32,
    least: u32,
    most: u32,
}

impl Cells {
    /// The soft and the calm parts of a frame, by its luma of so many bits a code, from 8 on.
    pub(super) fn regions<T: Copy + Into<u32>>(
        &mut self,
        luma: &[T],
        bits: u32,
        size: Size,
        steps: Steps,
    ) -> Vec<Region> {
        let (width, height) = (size.width as usize, size.height as usize);
        let mut regions: Vec<Region> = Vec::new();
        if width < CELL || height < CELL {
            return regions;
        }
        self.across = 2 * size.width.div_ceil(BLOCK) as usize;
        self.down = 2 * size.height.div_ceil(BLOCK) as usize;
        self.look(luma, width, height);
        for (row, top) in (0..self.down).step_by(2).zip((0..size.height).step_by(BLOCK as usize)) {
            let rows = (top, (top + BLOCK).min(size.height));
            for (column, left) in (0..self.across).step_by(2).zip((0..size.width).step_by(BLOCK as usize)) {
                let Some(steps) = self.steps(column, row, bits - 8, steps) else { continue };
                let right = (left + BLOCK).min(size.width);
                match regions.last_mut() {
                    Some(last) if (last.rows, last.columns.1, last.steps) == (rows, left, steps) => {
                        last.columns.1 = right;
                    }
                    _ => regions.push(Region { rows, columns: (left, right), steps }),
                }
            }
        }
        regions
    }

    fn look<T: Copy + Into<u32>>(&mut self, luma: &[T], width: usize, height: usize) {
        self.cells.clear();
        for row in 0..self.down {
            // Cells that hang over the edge are moved in.
            let top = (row * CELL).min(height - CELL);
            for column in 0..self.across {
                let left = (column * CELL).min(width - CELL);
                let mut cell = Cell { sum: 0, bends: 0, least: u32::MAX, most: 0 };
                for (line, start) in (0..CELL).map(|line| (line, (top + line) * width + left)) {
                    let codes: &[T; CELL] = luma[start..].first_chunk().expect("the plane holds the frame");
                    let codes = codes.map(Into::into);
                    for code in codes {
                        cell.sum += code;
                        (cell.least, cell.most) = (cell.least.min(code), cell.most.max(code));
                    }
                    if line % 2 == 1 {
                        cell.bends += codes.windows(3).map(|of| (of[0] + of[2]).abs_diff(2 * of[1])).sum::<u32>();
                    }
                }
                self.cells.push(cell);
            }
        }
    }

    /// By how many steps the block whose first cell this is departs from the rest, with so many bits beyond 8.
    fn steps(&self, column: usize, row: usize, more: u32, steps: Steps) -> Option<i8> {
        let within = |rows: std::ops::Range<usize>, columns: std::ops::Range<usize>| {
            let columns = columns.start..columns.end.min(self.across);
            (rows.start..rows.end.min(self.down))
                .flat_map(move |row| &self.cells[row * self.across..][..self.across][columns.clone()])
        };
        let span = |of: &mut dyn Iterator<Item = (u32, u32)>| {
            let all = of.fold((u32::MAX, 0), |all, one| (all.0.min(one.0), all.1.max(one.1)));
            all.1 - all.0
        };
        let own = || within(row..row + 2, column..column + 2);
        if own().any(|cell| cell.bends >= (DETAIL * LOOKED_AT) << more) {
            return None;
        }
        let mut about = within(row.saturating_sub(1)..row + 3, column.saturating_sub(1)..column + 3)
            .map(|cell| (cell.sum, cell.sum));
        if span(&mut about) > (SLOPE * SAMPLES) << more {
            return Some(steps.soft);
        }
        (span(&mut own().map(|cell| (cell.least, cell.most))) <= CALM).then_some(steps.calm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOFTER: i8 = -5;
    const CALMER: i8 = -4;

    /// The steps of every block of a frame of 64 × 40: each row of blocks is 16 high but the last.
    fn steps(bits: u32, code: impl Fn(u32, u32) -> u32) -> Vec<Vec<i8>> {
        let size = Size::new(64, 40);
        let luma: Vec<u16> = (0..40 * 64).map(|at| u16::try_from(code(at % 64, at / 64)).unwrap()).collect();
        let mut steps = vec![vec![0; 4]; 3];
        for region in Cells::default().regions(&luma, bits, size, Steps { soft: SOFTER, calm: CALMER }) {
            for column in (region.columns.0..region.columns.1).step_by(16) {
                steps[region.rows.0 as usize / 16][column as usize / 16] = region.steps;
            }
            assert!(region.rows.1 <= 40 && region.columns.1 <= 64);
        }
        steps
    }

    #[test]
    fn slopes_are_soft_dither_is_calm_detail_and_noise_are_neither() {
        let everywhere = |steps| vec![vec![steps; 4]; 3];
        for bits in [8, 10] {
            let more = bits - 8;
            assert_eq!(steps(bits, |x, _| (60 + 2 * x) << more), everywhere(SOFTER));
            assert_eq!(steps(bits, |x, y| 100 + (x + y) % 2), everywhere(CALMER));
            assert_eq!(steps(bits, |x, y| (100 + 40 * ((x / 2 + y / 2) % 2)) << more), everywhere(0));
            assert_eq!(steps(bits, |x, y| (100 + (x * 7 + y * 13 + x * y) % 5) << more), everywhere(0));
        }
    }

    #[test]
    fn every_block_stands_for_itself() {
        let half = steps(8, |x, _| if x < 32 { 100 } else { 100 + 80 * (x % 2) });
        assert_eq!(half, vec![vec![CALMER, SOFTER, 0, 0]; 3], "a block beside something brighter is soft");
    }
}

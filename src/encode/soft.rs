//! Where a frame is soft: no detail, but light that changes from place to place. A slow move shows there only as small
//! differences from frame to frame, which an encoder leaves out first: the place then stands still, and jumps.
//!
//! ## Decisions
//!
//! - By blocks of 16 × 16, as libx264 and libx265 share bits out. A block is soft where cells of 8 × 8 about it differ
//!   by [`SLOPE`] codes in the mean, and no cell of its own is finer than [`DETAIL`]. Both are our choice, by
//!   measurement (`scripts/bench.md`, "Moves after encoding").
//! - Soft blocks are quantised [`STEPS`] finer. A sky that hardly changes is not soft in this sense: it has nothing to
//!   follow.

use crate::ffi::ffmpeg::Region;
use crate::units::Size;

/// Steps by which soft blocks are quantised finer.
const STEPS: i8 = -5;
/// What the means of cells about a block differ by at least, in 8-bit codes.
const SLOPE: u32 = 3;
/// Mean size of second differences along a row that is detail, in 8-bit codes. White noise of 1 % comes to 4.2 in
/// limited range, as much as 1.7 codes of luma.
const DETAIL: u32 = 5;

/// Side of a cell.
const CELL: usize = 8;
/// Side of a block.
const BLOCK: u32 = 16;
/// Second differences that are looked at in a cell: six along every second row.
const LOOKED_AT: u32 = 24;

/// Cells of a frame, kept from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Cells {
    /// Sums of luma.
    sums: Vec<u32>,
    /// Whether second differences are detail.
    detailed: Vec<bool>,
}

impl Cells {
    /// The soft parts of a frame, by its luma of so many bits a code.
    pub(super) fn soft<T: Copy + Into<u32>>(&mut self, luma: &[T], bits: u32, size: Size) -> Vec<Region> {
        let (width, height) = (size.width as usize, size.height as usize);
        if width < CELL || height < CELL {
            return Vec::new();
        }
        let (across, down) = (size.width.div_ceil(BLOCK) as usize, size.height.div_ceil(BLOCK) as usize);
        self.look(luma, bits, (width, height), (2 * across, 2 * down));
        let slope = (SLOPE << (bits - 8)) * (CELL * CELL) as u32;
        let mut regions: Vec<Region> = Vec::new();
        for row in 0..down {
            let rows = (row as u32 * BLOCK, (row as u32 * BLOCK + BLOCK).min(size.height));
            for column in 0..across {
                if !self.is_soft((column, row), (2 * across, 2 * down), slope) {
                    continue;
                }
                let left = column as u32 * BLOCK;
                let right = (left + BLOCK).min(size.width);
                match regions.last_mut() {
                    Some(last) if last.rows == rows && last.columns.1 == left => last.columns.1 = right,
                    _ => regions.push(Region { rows, columns: (left, right), steps: STEPS }),
                }
            }
        }
        regions
    }

    fn look<T: Copy + Into<u32>>(
        &mut self,
        luma: &[T],
        bits: u32,
        (width, height): (usize, usize),
        (across, down): (usize, usize),
    ) {
        let detail = (DETAIL << (bits - 8)) * LOOKED_AT;
        self.sums.clear();
        self.detailed.clear();
        for row in 0..down {
            // Cells that hang over the edge are moved in.
            let top = (row * CELL).min(height - CELL);
            for column in 0..across {
                let left = (column * CELL).min(width - CELL);
                let (mut sum, mut bends) = (0, 0);
                for down in 0..CELL {
                    let start = (top + down) * width + left;
                    let samples: [u32; CELL] = std::array::from_fn(|at| luma[start + at].into());
                    sum += samples.iter().sum::<u32>();
                    if down % 2 == 1 {
                        bends += samples.windows(3).map(|of| (of[0] + of[2]).abs_diff(2 * of[1])).sum::<u32>();
                    }
                }
                self.sums.push(sum);
                self.detailed.push(bends >= detail);
            }
        }
    }

    fn is_soft(&self, (column, row): (usize, usize), (across, down): (usize, usize), slope: u32) -> bool {
        let (left, top) = (2 * column, 2 * row);
        if (top..top + 2).any(|row| (left..left + 2).any(|column| self.detailed[row * across + column])) {
            return false;
        }
        let columns = left.saturating_sub(1)..(left + 3).min(across);
        let (mut least, mut most) = (u32::MAX, 0);
        for row in top.saturating_sub(1)..(top + 3).min(down) {
            for sum in &self.sums[row * across..][columns.clone()] {
                (least, most) = (least.min(*sum), most.max(*sum));
            }
        }
        most - least > slope
    }
}

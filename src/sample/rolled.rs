//! Resampling through a rolled window: one kernel over both directions of the frame.
//!
//! Turned against one another, the frame's rows and the plane's have no axis in common to resample along, so every
//! output sample is a sum over a small patch of the plane. Its weights are the product of the two [`super::weights`]
//! kernels along the frame's own directions, with the zeroth and both first moments kept: a roll of nothing at all
//! gives what an upright window gives, and a roll that begins changes no sharpness.
//!
//! Weights depend on nothing but where between the plane's samples the output sample sits. A [`FilterBank`] holds them
//! for a lattice of such phases; in between, the sums of three neighbouring phases are mixed in the measure that keeps
//! the first moments exact. The lattice is so fine that mixing changes weights by less than a thousandth.
//!
//! ## Decisions
//!
//! - A [`FilterBank`] takes about 0.4 MB and is made anew where roll or zoom change. 8-bit samples are summed in whole
//!   numbers.
//! - Where the still's edge cuts a kernel short, the rest is made to add up to 1 one pixel at a time, which is slow:
//!   only windows that touch an edge have such pixels.

use std::sync::LazyLock;

use super::Grid;
use super::kernels::Kernels;
use super::patches::{Patches, SamplePath, TILE, TILE_COLUMNS, TILE_ROWS};
use super::strip::PlanePart;
use super::weights::{self, Depth, LOBES};
use crate::geom;
use crate::picture::{Plane, Samples, Siting};
use crate::shot::Sharpness;

/// Phases from sample to sample for a kernel as narrow as there is; fewer, the wider it is.
const PHASES: f64 = 38.0;
const FEWEST_PHASES: f64 = 6.0;

/// Weights that a bank has room for at the least, so that one made anew for another zoom finds room: rounding to whole
/// tiles lets their number go up and down.
const FEWEST_WEIGHTS: usize = 1 << 18;

/// Entries of the kernel's table for one unit.
const STEPS: usize = 512;

/// Lanczos-3 and the smooth window that its first moment is taken out with (see [`weights`]), from 0 to 3 and a little
/// beyond.
static KERNEL: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    #[expect(clippy::cast_precision_loss, reason = "1,538 entries")]
    let entry = |step: usize| {
        let u = (step as f64 / STEPS as f64).min(LOBES) * std::f64::consts::PI / LOBES;
        let squared = u.sin().powi(2);
        let ratio = if u == 0.0 { 1.0 } else { squared / (u * u) };
        [ratio * (1.0 - 4.0 / 3.0 * squared), 0.5 * (1.0 + u.cos())]
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "3")]
    (0..LOBES as usize * STEPS + 2).map(entry).collect()
});

/// The middle lobe alone, which its own moment is taken out with.
static MIDDLE: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let entry = |(step, [kernel, _]): (usize, &[f64; 2])| if step < STEPS { [kernel.max(0.0); 2] } else { [0.0; 2] };
    KERNEL.iter().enumerate().map(entry).collect()
});

/// Both functions at a distance below [`LOBES`], to within 2 millionths.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "within the table"
)]
#[inline]
fn kernel_at(table: &[[f64; 2]], distance: f64) -> [f64; 2] {
    let at = distance.abs() * STEPS as f64;
    let entry = at as usize;
    let (part, low, high) = (at - entry as f64, table[entry], table[entry + 1]);
    [low[0] + (high[0] - low[0]) * part, low[1] + (high[1] - low[1]) * part]
}

/// What the weights of one grid over one plane follow from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lattice {
    /// Degrees clockwise.
    pub roll: f64,
    /// From one output sample to the next, along the frame's rows and down its columns, in luma pixels.
    pub scale: [f64; 2],
    /// From one sample of the plane to the next, across and down, in luma pixels.
    pub step: [f64; 2],
}

impl Lattice {
    pub(super) fn new(grid: &Grid, siting: Siting) -> Self {
        Self { roll: grid.roll, scale: [grid.across.step, grid.down.step], step: [siting.step_x, siting.step_y] }
    }
}

/// The kernel over a plane.
#[derive(Debug, Clone, Copy, Default)]
struct Kernel {
    sin: f64,
    cos: f64,
    /// Its unit along the frame's rows and columns, in luma pixels.
    unit: [f64; 2],
    step: [f64; 2],
    /// Whether it is the middle lobe alone.
    positive: bool,
}

/// How far from an output sample the samples of its patch may lie, across and down the still, in luma pixels.
pub(super) fn reach(lattice: Lattice, sharpness: Sharpness) -> [f64; 2] {
    Kernel::new(lattice, sharpness).reach()
}

impl Kernel {
    fn new(Lattice { roll, scale, step }: Lattice, sharpness: Sharpness) -> Self {
        let (sin, cos) = geom::sin_cos(roll);
        // How far apart samples lie in each of the frame's directions: the step across or down where they coincide, and
        // by the ellipse of the two in between.
        let apart = [(step[0] * cos).hypot(step[1] * sin), (step[0] * sin).hypot(step[1] * cos)];
        let unit = [0, 1].map(|way: usize| apart[way] * weights::stretch(scale[way] / apart[way], sharpness));
        Self { sin, cos, unit, step, positive: sharpness == Sharpness::Positive }
    }

    fn reach(&self) -> [f64; 2] {
        let (sin, cos) = (self.sin.abs(), self.cos.abs());
        let [along, down] = self.unit.map(|unit| LOBES * unit);
        [along * cos + down * sin, along * sin + down * cos]
    }

    /// Whether a tile of a patch has samples within reach, wherever the output sample is between the patch's `first`
    /// and the next.
    #[expect(clippy::cast_precision_loss, reason = "a patch of samples")]
    fn reaches(&self, first: [i64; 2], tile: [usize; 2]) -> bool {
        let side = |way: usize, samples: usize| {
            let low = first[way] as f64 + tile[way] as f64 - 1.0;
            let high = low + samples as f64;
            [0.5 * (low + high) * self.step[way], 0.5 * (high - low) * self.step[way]]
        };
        let ([x, half_width], [y, half_height]) = (side(0, TILE_COLUMNS), side(1, TILE_ROWS));
        let Self { sin, cos, unit, .. } = *self;
        let middle = [(x * cos + y * sin).abs(), (y * cos - x * sin).abs()];
        let half = [half_width * cos.abs() + half_height * sin.abs(), half_width * sin.abs() + half_height * cos.abs()];
        (0..2).all(|way| middle[way] - half[way] < LOBES * unit[way])
    }

    /// Fills `weights` row by row with those of `count` samples from `offset` (in samples, from the output sample) on.
    /// Where the still's edge cuts the patch short across or down, the first moment that way is left as it is. Says
    /// whether what is left of the kernel means anything.
    #[expect(clippy::cast_precision_loss, reason = "a patch of samples")]
    fn weights(&self, weights: &mut Vec<f64>, offset: [f64; 2], count: [usize; 2], cut: [bool; 2]) -> bool {
        let Self { sin, cos, unit, step, positive } = *self;
        let table: &[[f64; 2]] = if positive { &MIDDLE } else { &KERNEL };
        weights.clear();
        weights.resize(3 * count[0] * count[1], 0.0);
        // By what is summed (the kernel and what tilts it across and down the still): its sum and its first moments.
        let mut sums = [[0.0; 3]; 3];
        for (row, taps) in weights.chunks_exact_mut(3 * count[0]).enumerate() {
            let y = (offset[1] + row as f64) * step[1];
            for (column, taps) in taps.as_chunks_mut::<3>().0.iter_mut().enumerate() {
                let x = (offset[0] + column as f64) * step[0];
                let (along, down) = ((x * cos + y * sin) / unit[0], (y * cos - x * sin) / unit[1]);
                if along.abs() >= LOBES || down.abs() >= LOBES {
                    continue;
                }
                let ([weight_along, h_along], [weight_down, h_down]) =
                    (kernel_at(table, along), kernel_at(table, down));
                let (tilt_along, tilt_down) = (h_along * along * weight_down, weight_along * h_down * down);
                *taps = [
                    weight_along * weight_down,
                    tilt_along * cos - tilt_down * sin,
                    tilt_along * sin + tilt_down * cos,
                ];
                for (sums, tap) in sums.iter_mut().zip(*taps) {
                    sums[0] += tap;
                    sums[1] += tap * x;
                    sums[2] += tap * y;
                }
            }
        }
        if (cut[0] || cut[1]) && sums[0][0] < 0.35 * 0.35 * unit[0] * unit[1] / (step[0] * step[1]) {
            return false;
        }
        for way in [1, 2] {
            if cut[way - 1] {
                sums[way] = [0.0; 3];
                sums.iter_mut().for_each(|sums| sums[way] = 0.0);
                sums[way][way] = 1.0;
            }
        }
        let by = first_of_inverse(sums);
        for tap in 0..count[0] * count[1] {
            let [weight, across, down] = [0, 1, 2].map(|of: usize| weights[3 * tap + of]);
            // What is cut has no part: its own share of the solution is 0.
            weights[tap] = by[0] * weight + by[1] * across + by[2] * down;
        }
        weights.truncate(count[0] * count[1]);
        true
    }
}

/// How much of each of three functions makes a sum of 1 and first moments of 0, from their sums and moments.
fn first_of_inverse([a, b, c]: [[f64; 3]; 3]) -> [f64; 3] {
    let minor = |p: [f64; 3], q: [f64; 3]| p[1] * q[2] - p[2] * q[1];
    let parts = [minor(b, c), minor(c, a), minor(a, b)];
    let whole = a[0] * parts[0] + b[0] * parts[1] + c[0] * parts[2];
    parts.map(|part| part / whole)
}

/// The weights of all phases of one lattice.
#[derive(Debug, Default)]
pub(super) struct FilterBank {
    made_for: Option<(Lattice, Sharpness, Depth)>,
    last_used: u64,
    kernel: Kernel,
    /// The patch's first sample, counted from the one before the output sample, across and down.
    first: [i64; 2],
    /// Samples of a patch across and down.
    count: [usize; 2],
    /// The first column and row of each tile of a patch that the kernel reaches in any phase.
    tiles: Vec<[usize; 2]>,
    /// The same in samples from a patch's first, in a plane of the stride last seen.
    offsets: Vec<usize>,
    /// Phases from one sample to the next, across and down.
    phases: [usize; 2],
    /// For 8-bit samples, phase by phase and tile by tile, in units of 2⁻ᵇⁱᵗˢ.
    whole: Vec<i16>,
    bits: u32,
    /// For 16-bit samples.
    real: Vec<f32>,
    scratch: Vec<f64>,
}

impl FilterBank {
    /// The most bits of a weight's unit: sums of 8-bit samples stay within 32.
    const MOST_BITS: u32 = 20;

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a patch of samples; weights are made to fit"
    )]
    fn fill(&mut self, lattice: Lattice, sharpness: Sharpness, depth: Depth) {
        let kernel = Kernel::new(lattice, sharpness);
        self.kernel = kernel;
        let reach = kernel.reach();
        let narrowest = kernel.unit[0].min(kernel.unit[1]);
        for way in [0, 1] {
            let whole = (reach[way] / lattice.step[way]).floor();
            self.first[way] = -(whole as i64);
            self.count[way] = 2 * whole as usize + 2;
            self.phases[way] = (PHASES * lattice.step[way] / narrowest).clamp(FEWEST_PHASES, PHASES).ceil() as usize;
        }
        // A roll of half a right angle has the widest patches: buffers are made for them, so that rolling allocates
        // nothing.
        let widest = kernel.unit[0].hypot(kernel.unit[1]) * LOBES;
        let most = |way: usize| 2 * (widest / lattice.step[way]).floor() as usize + 2;
        let most_tiles = most(0).div_ceil(TILE_COLUMNS) * (most(1) / TILE_ROWS);
        self.tiles.clear();
        self.tiles.reserve(most_tiles);
        self.offsets.clear();
        self.offsets.reserve(most_tiles);
        for row in (0..self.count[1]).step_by(TILE_ROWS) {
            for column in (0..self.count[0]).step_by(TILE_COLUMNS) {
                if kernel.reaches(self.first, [column, row]) {
                    self.tiles.push([column, row]);
                }
            }
        }
        let patch = self.tiles.len() * TILE;
        let patches = (self.phases[0] + 1) * (self.phases[1] + 1);
        let room = (patches * most_tiles * TILE).max(FEWEST_WEIGHTS);
        kernel.weights(&mut self.scratch, self.first.map(|first| first as f64), self.count, [false; 2]);
        let peak = self.scratch.iter().fold(0.0, |most: f64, weight| most.max(weight.abs()));
        self.bits = match depth {
            Depth::Eight => ((f64::from(i16::MAX) / (1.1 * peak)).log2().floor() as u32).min(Self::MOST_BITS),
            Depth::Sixteen => Self::MOST_BITS,
        };
        let units = f64::from(1_u32 << self.bits);
        self.whole.clear();
        self.real.clear();
        match depth {
            Depth::Eight => {
                self.whole.reserve(room);
                self.whole.resize(patches * patch, 0);
            }
            Depth::Sixteen => {
                self.real.reserve(room);
                self.real.resize(patches * patch, 0.0);
            }
        }
        for phase in 0..patches {
            let at = [phase % (self.phases[0] + 1), phase / (self.phases[0] + 1)];
            let offset = [0, 1].map(|way: usize| self.first[way] as f64 - at[way] as f64 / self.phases[way] as f64);
            kernel.weights(&mut self.scratch, offset, self.count, [false; 2]);
            self.round_to_units(units);
            for (&[column, row], at) in self.tiles.iter().zip((phase * patch..).step_by(TILE)) {
                for (row, at) in (row..row + TILE_ROWS).zip((at..).step_by(TILE_COLUMNS)) {
                    let weights = &self.scratch[row * self.count[0]..][column..self.count[0]];
                    match depth {
                        Depth::Eight => {
                            for (out, weight) in self.whole[at..at + TILE_COLUMNS].iter_mut().zip(weights) {
                                *out = *weight as i16;
                                debug_assert!(f64::from(*out) == *weight, "weights fit");
                            }
                        }
                        Depth::Sixteen => {
                            let out = self.real[at..at + TILE_COLUMNS].iter_mut();
                            out.zip(weights).for_each(|(out, weight)| *out = (weight / units) as f32);
                        }
                    }
                }
            }
        }
        self.made_for = Some((lattice, sharpness, depth));
    }

    /// Rounds the patch in `scratch` to whole units, with a sum of exactly 1; what is left over goes to the largest
    /// weight.
    fn round_to_units(&mut self, units: f64) {
        let (mut left, mut largest) = (units, 0);
        for tap in 0..self.scratch.len() {
            let weight = (self.scratch[tap] * units).round();
            self.scratch[tap] = weight;
            left -= weight;
            if weight > self.scratch[largest] {
                largest = tap;
            }
        }
        self.scratch[largest] += left;
    }

    /// The rows of a plane that a grid reads.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the plane")]
    pub(super) fn rows(&self, plane: &Plane, grid: &Grid) -> std::ops::Range<usize> {
        let last = [grid.across.count.saturating_sub(1), grid.down.count.saturating_sub(1)];
        let corners = [[0, 0], [last[0], 0], [0, last[1]], last];
        let rows = corners.map(|[column, row]| place(plane.siting, grid, column, row)[1]);
        let top = rows.into_iter().fold(f64::INFINITY, f64::min).floor() as i64 + self.first[1];
        let bottom = rows.into_iter().fold(f64::NEG_INFINITY, f64::max).floor() as i64 + self.first[1];
        let length = i64::from(plane.height);
        let end = (bottom + self.count[1] as i64).clamp(1, length);
        top.clamp(0, end - 1) as usize..end as usize
    }

    /// One row of a grid. Values are on the samples' own scale, unclipped.
    pub(super) fn row(&mut self, kernels: Kernels, plane: &Plane, grid: &Grid, row: usize, out: &mut [f32]) {
        let stride = plane.stride;
        self.offsets.clear();
        self.offsets.extend(self.tiles.iter().map(|[column, row]| row * stride + column));
        let track = self.track(plane.siting, grid, row);
        let inside = track.within(self.last(plane), out.len());
        let (ahead, inner) = (track.after(inside.start), &mut out[inside.clone()]);
        let (tiles, phases) = (self.offsets.as_slice(), self.phases);
        match &plane.samples {
            Samples::Eight(samples) => {
                let patches = Patches { tiles, weights: &self.whole, phases };
                kernels.rolled_whole(PlanePart { samples, stride }, patches, self.bits, ahead, inner);
            }
            Samples::Sixteen(samples) => {
                let patches = Patches { tiles, weights: &self.real, phases };
                kernels.rolled_real(PlanePart { samples, stride }, patches, ahead, inner);
            }
        }
        for column in (0..inside.start).chain(inside.end..out.len()) {
            out[column] = self.at_edge(plane, place(plane.siting, grid, column, row));
        }
    }

    /// The first samples of a row's patches.
    fn track(&self, siting: Siting, grid: &Grid, row: usize) -> SamplePath {
        let start = place(siting, grid, 0, row);
        let (sin, cos) = grid.turn;
        let start = [0, 1].map(|way: usize| start[way] + self.first[way] as f64);
        SamplePath::new(start, [grid.across.step * cos / siting.step_x, grid.across.step * sin / siting.step_y])
    }

    /// The last samples of a plane, across and down, that patches may begin at.
    fn last(&self, plane: &Plane) -> [i64; 2] {
        let column = i64::from(plane.width) - self.count[0] as i64;
        // The padding of a patch's last row reaches into the next, of which there must be as much.
        let padded = self.count[0].next_multiple_of(TILE_COLUMNS) as i64;
        let rows = (plane.samples.len() as i64 - column - padded).div_euclid(plane.stride as i64) + 1;
        [column, rows.min(i64::from(plane.height)) - self.count[1] as i64]
    }

    /// An output sample whose patch the still's edge cuts short: the weights of what is there add up to 1. Too far out
    /// for what is left to mean anything, the samples at the edge stand for those beyond.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        clippy::cast_precision_loss,
        reason = "places within a plane and around it"
    )]
    fn at_edge(&mut self, plane: &Plane, at: [f64; 2]) -> f32 {
        let last = [i64::from(plane.width) - 1, i64::from(plane.height) - 1];
        let first = [0, 1].map(|way: usize| at[way].floor() as i64 + self.first[way]);
        let end = [0, 1].map(|way: usize| first[way] + self.count[way] as i64);
        let held = [0, 1].map(|way: usize| first[way].clamp(0, last[way])..end[way].clamp(1, last[way] + 1));
        // Two more than the reach are in a patch: only a tap that counts makes a cut.
        let reach = self.kernel.reach();
        let cut = [0, 1].map(|way: usize| {
            let reach = reach[way] / self.kernel.step[way];
            at[way] - reach <= -1.0 || at[way] + reach >= last[way] as f64 + 1.0
        });
        let sum = |weights: &[f64], x: std::ops::Range<i64>, y: std::ops::Range<i64>| {
            let across = (x.end - x.start) as usize;
            let rows = y.zip(weights.chunks_exact(across));
            rows.map(|(row, weights)| {
                let line = row.clamp(0, last[1]) as usize * plane.stride;
                let taps = x.clone().zip(weights);
                taps.map(|(column, weight)| weight * value(plane, line + column.clamp(0, last[0]) as usize))
                    .sum::<f64>()
            })
            .sum::<f64>() as f32
        };
        let [x, y] = held;
        let offset = [x.start as f64 - at[0], y.start as f64 - at[1]];
        let count = [(x.end - x.start).max(0) as usize, (y.end - y.start).max(0) as usize];
        if count[0] > 0 && count[1] > 0 && self.kernel.weights(&mut self.scratch, offset, count, cut) {
            return sum(&self.scratch, x, y);
        }
        let offset = [first[0] as f64 - at[0], first[1] as f64 - at[1]];
        self.kernel.weights(&mut self.scratch, offset, self.count, [false; 2]);
        sum(&self.scratch, first[0]..end[0], first[1]..end[1])
    }
}

/// Where an output sample sits in a plane's own samples.
fn place(siting: Siting, grid: &Grid, column: usize, row: usize) -> [f64; 2] {
    let at = grid.place(column, row);
    [(at.x - siting.origin_x) / siting.step_x, (at.y - siting.origin_y) / siting.step_y]
}

fn value(plane: &Plane, at: usize) -> f64 {
    match &plane.samples {
        Samples::Eight(samples) => f64::from(samples[at]),
        Samples::Sixteen(samples) => f64::from(samples[at]),
    }
}

/// Filter banks kept between frames: a window that moves without rolling or zooming costs nothing here.
#[derive(Debug, Default)]
pub(super) struct FilterBanks {
    banks: Vec<FilterBank>,
    clock: u64,
}

impl FilterBanks {
    /// Three a delivery (luma, and chroma on luma's grid and on its own), for five deliveries.
    const KEPT: usize = 15;

    /// Where to [`get`](Self::get) the bank of this lattice from; made anew, in the place of the one longest unused,
    /// unless it is there already.
    pub(super) fn find(&mut self, lattice: Lattice, sharpness: Sharpness, depth: Depth) -> usize {
        self.clock += 1;
        let wanted = Some((lattice, sharpness, depth));
        let found = self.banks.iter().position(|bank| bank.made_for == wanted).unwrap_or_else(|| {
            let place = if self.banks.len() < Self::KEPT {
                self.banks.push(FilterBank::default());
                self.banks.len() - 1
            } else {
                let oldest = self.banks.iter().enumerate().min_by_key(|(_, bank)| bank.last_used);
                oldest.map_or(0, |(place, _)| place)
            };
            self.banks[place].fill(lattice, sharpness, depth);
            place
        });
        self.banks[found].last_used = self.clock;
        found
    }

    /// The bank at a place [`find`](Self::find) gave since.
    pub(super) fn get(&mut self, place: usize) -> &mut FilterBank {
        &mut self.banks[place]
    }

    /// Where the banks' buffers are, for the test that they stay there.
    #[cfg(test)]
    pub(super) fn buffers(&self) -> Vec<usize> {
        let buffers = |bank: &FilterBank| {
            let weights = [bank.whole.as_ptr().addr(), bank.real.as_ptr().addr(), bank.scratch.as_ptr().addr()];
            weights.into_iter().chain([bank.tiles.as_ptr().addr(), bank.offsets.as_ptr().addr()])
        };
        self.banks.iter().flat_map(buffers).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tiles_that_are_kept_hold_all_of_the_weights() {
        for roll in [0.01, 3.0, 22.5, 45.0, 100.0, -61.0] {
            for (scale, step) in
                [([1.0; 2], [1.0; 2]), ([2.0; 2], [2.0, 1.0]), ([2.7; 2], [1.0; 2]), ([0.5, 3.0], [1.0; 2])]
            {
                let mut bank = FilterBank::default();
                bank.fill(Lattice { roll, scale, step }, Sharpness::Even, Depth::Eight);
                let patch = bank.tiles.len() * TILE;
                for weights in bank.whole.chunks_exact(patch) {
                    let sum: i32 = weights.iter().map(|&weight| i32::from(weight)).sum();
                    assert_eq!(sum, 1 << bank.bits, "rolled by {roll} at {scale:?}");
                }
                assert!(bank.whole.chunks_exact(TILE).any(|tile| tile.iter().any(|&weight| weight != 0)));
            }
        }
    }
}

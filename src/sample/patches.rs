//! Where the output samples of a rolled row sit in a plane, and the patches of samples they are summed from.
//!
//! Places are whole numbers with 40 bits after the point: stepping from sample to sample is an addition, what is before
//! the point says which samples, what is behind it which weights, and every machine sees the same. Along a row of 4,000
//! the steps' rounding adds up to 2 billionths of a sample.

use std::ops::Range;

use super::strip::PlanePart;
use super::weights::LANES;

/// A patch is made of tiles of two rows of so many samples.
pub(super) const TILE_COLUMNS: usize = LANES;
pub(super) const TILE_ROWS: usize = 2;
pub(super) const TILE: usize = TILE_ROWS * TILE_COLUMNS;

/// Bits behind the point of a place.
const POINT: u32 = 40;

/// The patches' first samples along a row, in a plane's samples across and down.
#[derive(Debug, Clone, Copy)]
pub(super) struct SamplePath {
    at: [i64; 2],
    step: [i64; 2],
}

/// What one output sample is summed from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    /// The patch's first sample in the plane.
    pub at: usize,
    /// Three neighbouring phases.
    pub phases: [usize; 3],
    /// How much of the second and third.
    shares: [f32; 2],
}

impl SamplePath {
    /// The first patch's first sample, and from one to the next.
    pub(super) fn new(start: [f64; 2], step: [f64; 2]) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "places within 8 million samples")]
        let fixed = |value: f64| (value * (1_u64 << POINT) as f64).round() as i64;
        Self { at: start.map(fixed), step: step.map(fixed) }
    }

    /// The track from a later output sample on.
    pub(super) fn after(self, columns: usize) -> Self {
        let columns = i64::try_from(columns).unwrap_or(i64::MAX);
        let at = |way: usize| self.at[way].saturating_add(self.step[way].saturating_mul(columns));
        Self { at: [at(0), at(1)], ..self }
    }

    /// Which of `count` output samples have patches whose first sample is none before the plane's and none after
    /// `last`.
    pub(super) fn within(self, last: [i64; 2], count: usize) -> Range<usize> {
        let mut columns = 0..i64::try_from(count).unwrap_or(i64::MAX);
        for ((at, step), last) in self.at.into_iter().zip(self.step).zip(last) {
            let end = (last.max(-1) + 1) << POINT;
            // Going backwards is going forwards in a mirror.
            let (at, step, wanted) = if step < 0 { (-at, -step, 1 - end..1) } else { (at, step, 0..end) };
            if step == 0 {
                columns.end = if wanted.contains(&at) { columns.end } else { 0 };
                continue;
            }
            let reaches = |place: i64| -(at - place).div_euclid(step);
            columns = columns.start.max(reaches(wanted.start))..columns.end.min(reaches(wanted.end));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 0 and count")]
        let range = columns.start.min(count as i64) as usize..columns.end.max(0) as usize;
        range.start.min(range.end)..range.end
    }

    /// The next output sample's spot in a plane of this stride, with so many phases from sample to sample. Between
    /// phases, the halves that the lattice's squares fall into say which three.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        clippy::cast_precision_loss,
        reason = "parts of a fixed-point number, of places inside a plane"
    )]
    #[inline(always)]
    pub(super) fn next(&mut self, stride: usize, phases: [usize; 2]) -> Spot {
        let [x, y] = self.at;
        self.at = [x.wrapping_add(self.step[0]), y.wrapping_add(self.step[1])];
        // The phase in the upper half, how far on to the next in the lower one.
        let phase = |place: i64, phases: usize| u64::from((place >> (POINT - 32)) as u32) * phases as u64;
        let (across, down) = (phase(x, phases[0]), phase(y, phases[1]));
        let line = phases[0] + 1;
        let corner = (down >> 32) as usize * line + (across >> 32) as usize;
        // The far half is the near one from the opposite corner; a choice without a branch, which could not be
        // foretold.
        let far = (across as u32).overflowing_add(down as u32).1;
        let share = |part: u64| {
            ((part as u32 ^ u32::from(far).wrapping_neg()) >> 8) as i32 as f32 * (1.0 / (1_u32 << 24) as f32)
        };
        let far = usize::from(far);
        Spot {
            at: (y >> POINT) as usize * stride + (x >> POINT) as usize,
            phases: [corner + far * (line + 1), corner + 1 + far * (line - 1), corner + line - far * (line - 1)],
            shares: [share(across), share(down)],
        }
    }
}

impl Spot {
    /// Mixes the three phases' sums. Equal sums stay what they are, to the bit.
    #[expect(clippy::cast_precision_loss, reason = "f32 holds 24 bits, 14 are promised")]
    #[inline(always)]
    pub(super) fn mixed_whole(&self, sums: [i32; 3], unit: f32) -> f32 {
        let away = |of: usize| (sums[of] - sums[0]) as f32 * self.shares[of - 1];
        (sums[0] as f32 + (away(1) + away(2))) * unit
    }

    /// The same of sums that are on the samples' scale already.
    #[inline(always)]
    pub(super) fn mixed_real(&self, sums: [f32; 3]) -> f32 {
        let away = |of: usize| (sums[of] - sums[0]) * self.shares[of - 1];
        sums[0] + (away(1) + away(2))
    }
}

/// All patches of one plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patches<'a, W> {
    /// Where each tile begins, in samples from the patch's first.
    pub tiles: &'a [usize],
    /// [`TILE`] weights a tile, tile by tile and phase by phase.
    pub weights: &'a [W],
    /// Phases from one sample to the next, across and down; with the next sample's own there is one more.
    pub phases: [usize; 2],
}

impl<W: Copy> Patches<'_, W> {
    /// Weights of one phase.
    pub(super) fn length(&self) -> usize {
        self.tiles.len() * TILE
    }

    /// Panics unless all patches of `count` output samples lie in the plane and all phases have their weights, so that
    /// no kernel need say so for itself.
    pub(super) fn check<S: Copy>(&self, plane: PlanePart<S>, track: SamplePath, count: usize) {
        let [across, down] = self.phases.map(|phases| phases.saturating_add(1));
        assert_eq!(
            Some(self.weights.len()),
            across.checked_mul(down).and_then(|phases| phases.checked_mul(self.length()))
        );
        // Every place lies between the first and the last.
        let ends = [track.at, track.after(count.saturating_sub(1)).at];
        let [left, top] = [0, 1].map(|way: usize| {
            assert!(count == 0 || ends.iter().all(|end| end[way] >= 0), "patches begin within the plane");
            usize::try_from(ends[0][way].max(ends[1][way]) >> POINT).unwrap_or(0)
        });
        let tile = self.tiles.iter().copied().max().unwrap_or(0);
        let end = [left, tile, plane.stride, TILE_COLUMNS]
            .into_iter()
            .fold(top.saturating_mul(plane.stride), usize::saturating_add);
        assert!(count == 0 || end <= plane.samples.len(), "patches end within the plane");
    }

    /// The samples of a patch and their weights, eight by eight.
    pub(super) fn eights<'s, S: Copy>(
        &'s self,
        plane: PlanePart<'s, S>,
        at: usize,
        phase: usize,
    ) -> impl Iterator<Item = (&'s [S; TILE_COLUMNS], &'s [W; TILE_COLUMNS])> {
        let rows = self.tiles.iter().flat_map(move |&tile| [at + tile, at + tile + plane.stride]);
        let samples = rows.filter_map(move |row| plane.samples[row..].first_chunk());
        let weights = &self.weights[phase * self.length()..][..self.length()];
        samples.zip(weights.as_chunks().0)
    }
}

/// What sums are multiplied by, of weights in units of 2⁻ᵇⁱᵗˢ.
#[expect(clippy::cast_precision_loss, reason = "a power of two")]
pub(super) fn unit_of(bits: u32) -> f32 {
    ((1_u32 << bits) as f32).recip()
}

#[cfg(test)]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "places in a small plane"
)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_painted_fast_where_its_patches_are_in_the_plane_and_nowhere_else() {
        let starts = [[0.0, 0.0], [-3.5, 2.25], [41.9, -0.1], [10.0, 30.0], [60.0, 60.0]];
        let steps = [[1.0, 0.0], [0.7, 0.7], [-1.3, 0.4], [0.0, -2.0], [-1.0, -1e-9], [0.0, 0.0]];
        for (start, step) in starts.iter().flat_map(|start| steps.iter().map(move |step| (*start, *step))) {
            for last in [[40, 30], [5, 50], [-2, 9]] {
                let track = SamplePath::new(start, step);
                let seen = track.within(last, 70);
                for column in 0..70 {
                    let at = track.after(column).at.map(|at| at >> POINT);
                    let inside = (0..2).all(|way| (0..=last[way]).contains(&at[way]));
                    assert_eq!(seen.contains(&column), inside, "{column} from {start:?} by {step:?} up to {last:?}");
                }
            }
        }
    }

    #[test]
    fn three_phases_are_mixed_to_the_place_itself() {
        let (phases, line) = ([7, 12], 8);
        let mut track = SamplePath::new([3.0137, 5.77], [0.37, 0.23]);
        for column in 0..60 {
            let spot = track.next(100, phases);
            // The place, as a plane over the lattice of phases shows it: mixing keeps it, as it keeps first moments.
            let [x, y] = [3.0137 + 0.37 * f64::from(column), 5.77 + 0.23 * f64::from(column)];
            let across = spot.phases.map(|phase| (phase % line) as f32 / 7.0);
            let down = spot.phases.map(|phase| (phase / line) as f32 / 12.0);
            assert_eq!(spot.at, y as usize * 100 + x as usize);
            assert!((f64::from(spot.mixed_real(across)) - x.fract()).abs() < 1e-6);
            assert!((f64::from(spot.mixed_real(down)) - y.fract()).abs() < 1e-6);
            assert!(
                spot.shares.iter().all(|share| (0.0..=1.0).contains(share))
                    && spot.shares[0] + spot.shares[1] < 1.0 + 1e-6
            );
        }
    }
}

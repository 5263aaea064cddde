//! The last step to 8 or 10 bits: a threshold for every pixel that depends on the plane and the place alone.
//!
//! A held still therefore gives the same frame every time and costs an encoder nothing, and stretches rendered apart
//! agree. Thresholds are a 64 × 64 tile of blue noise by void and cluster (R. Ulichney, "The void-and-cluster method
//! for dither array generation", Proc. SPIE 1913, 1993, doi 10.1117/12.152707): every one of 256 levels occurs equally
//! often, so the mean is kept, and neighbours differ as much as they can, so no pattern shows.

use std::sync::LazyLock;

/// Side of the tile, in pixels.
pub(super) const SIDE: usize = 64;

const CELLS: usize = SIDE * SIDE;

/// A row of thresholds as it is laid along a row of pixels, over and over.
pub(super) type Thresholds = [u8; SIDE];

/// A plane of the frame, for the sake of its thresholds: no two planes share them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Luma,
    BlueDifference,
    RedDifference,
}

impl Place {
    /// In a frame of R'G'B' one each.
    pub(super) const ALL: [Self; 3] = [Self::Luma, Self::BlueDifference, Self::RedDifference];
}

/// Lays a row of one channel among the three of a row of pixels.
pub(super) fn interleave(channel: &[u8], at: usize, pixels: &mut [u8]) {
    for (pixel, code) in pixels.as_chunks_mut::<3>().0.iter_mut().zip(channel) {
        pixel[at] = *code;
    }
}

/// The thresholds of row `y` of a plane.
pub(super) fn thresholds(place: Place, y: usize) -> Thresholds {
    let (right, down) = match place {
        Place::Luma => (0, 0),
        Place::BlueDifference => (21, 43),
        Place::RedDifference => (43, 21),
    };
    let row = (y + down) % SIDE * SIDE;
    std::array::from_fn(|x| TILE[row + (x + right) % SIDE])
}

/// Thresholds 0 to 255, each 16 times.
static TILE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    #[expect(clippy::cast_possible_truncation, reason = "a rank below 4,096, in sixteenths")]
    let tile = void_and_cluster().iter().map(|rank| (rank * 256 / CELLS) as u8).collect();
    tile
});

/// Points on a torus and how crowded each cell of it is. Whole numbers, so that every machine makes the same tile.
struct Crowd {
    points: Vec<bool>,
    crowding: Vec<i64>,
    /// What a point adds at each distance squared, up to [`Self::FAR`] cells along each axis.
    by_distance: Vec<i64>,
}

impl Crowd {
    const FAR: usize = 9;
    /// Standard deviation of the crowding Ulichney found best.
    const SIGMA: f64 = 1.5;

    fn new() -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "small numbers")]
        let by_distance = (0..=2 * Self::FAR * Self::FAR)
            .map(|squared| (1e9 * (-(squared as f64) / (2.0 * Self::SIGMA * Self::SIGMA)).exp()).round() as i64)
            .collect();
        Self { points: vec![false; CELLS], crowding: vec![0; CELLS], by_distance }
    }

    fn toggle(&mut self, cell: usize) {
        self.points[cell] = !self.points[cell];
        let sign = if self.points[cell] { 1 } else { -1 };
        let (x, y) = (cell % SIDE, cell / SIDE);
        for row in 0..=2 * Self::FAR {
            for column in 0..=2 * Self::FAR {
                let near = (y + SIDE + row - Self::FAR) % SIDE * SIDE + (x + SIDE + column - Self::FAR) % SIDE;
                let squared = row.abs_diff(Self::FAR).pow(2) + column.abs_diff(Self::FAR).pow(2);
                self.crowding[near] += sign * self.by_distance[squared];
            }
        }
    }

    /// The point that is most crowded.
    fn tightest_cluster(&self) -> usize {
        let points = (0..CELLS).filter(|&cell| self.points[cell]);
        points.max_by_key(|&cell| (self.crowding[cell], cell)).unwrap_or(0)
    }

    /// The empty cell that is least crowded.
    fn largest_void(&self) -> usize {
        let empty = (0..CELLS).filter(|&cell| !self.points[cell]);
        empty.min_by_key(|&cell| (self.crowding[cell], cell)).unwrap_or(0)
    }
}

/// The rank of every cell.
fn void_and_cluster() -> Vec<usize> {
    let mut crowd = Crowd::new();
    // A tenth of the cells, thrown by the generator of Numerical Recipes, then evened out.
    let mut state = 1_u32;
    let mut thrown = 0;
    while thrown < CELLS / 10 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let cell = (state >> 20) as usize % CELLS;
        if !crowd.points[cell] {
            crowd.toggle(cell);
            thrown += 1;
        }
    }
    loop {
        let cluster = crowd.tightest_cluster();
        crowd.toggle(cluster);
        let void = crowd.largest_void();
        crowd.toggle(void);
        if void == cluster {
            break;
        }
    }
    let even = crowd.points.clone();
    let mut ranks = vec![0; CELLS];
    for rank in (0..thrown).rev() {
        let cluster = crowd.tightest_cluster();
        crowd.toggle(cluster);
        ranks[cluster] = rank;
    }
    for cell in (0..CELLS).filter(|&cell| even[cell]) {
        crowd.toggle(cell);
    }
    // On a torus the tightest cluster of empty cells is the largest void, so Ulichney's last two phases are one.
    for rank in thrown..CELLS {
        let void = crowd.largest_void();
        crowd.toggle(void);
        ranks[void] = rank;
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_threshold_occurs_equally_often() {
        let mut seen = [0; 256];
        TILE.iter().for_each(|&threshold| seen[usize::from(threshold)] += 1);
        assert!(seen.iter().all(|&times| times == CELLS / 256));
    }

    #[test]
    fn neighbours_differ_more_than_chance_would_have_it() {
        // Of independent uniform thresholds the mean difference between neighbours is 256 / 3.
        let row = thresholds(Place::Luma, 5);
        let below = thresholds(Place::Luma, 6);
        let differences = (0..SIDE - 1).flat_map(|x| [row[x].abs_diff(row[x + 1]), row[x].abs_diff(below[x])]);
        let mean = differences.map(f64::from).sum::<f64>() / (2 * (SIDE - 1)) as f64;
        assert!(mean > 256.0 / 3.0 * 1.1, "{mean}");
    }

    #[test]
    fn planes_do_not_share_their_thresholds() {
        assert_ne!(thresholds(Place::Luma, 0), thresholds(Place::BlueDifference, 0));
        assert_ne!(thresholds(Place::BlueDifference, 0), thresholds(Place::RedDifference, 0));
    }
}

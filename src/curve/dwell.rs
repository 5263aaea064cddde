//! Dwelling: where a window of one size is to be so that it holds most of what happens, and moves only where that
//! pays.
//!
//! In: for every knot (some frames together) how much happens in each tile of the picture. Out: where the window's
//! left upper corner is in every knot. The way is the one that holds most, less what its moves cost: a move by the
//! window's own side costs as much as holding what usually happens for so many knots. Where nothing happens no move
//! pays, so the window rests. Found exactly, over places half a tile apart (Viterbi 1967; the costs are separable, so
//! each knot takes a pass forwards and a pass back along rows and columns: Felzenszwalb and Huttenlocher, *Distance
//! Transforms of Sampled Functions*, 2012; both from memory, and the tests try all ways of small cases).

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tiles and places: some thousands at most"
)]

/// Places are no farther apart than this, in tiles.
const APART: f64 = 0.5;
/// How much the middle of the picture is worth, of what usually happens: it decides where nothing else does.
const MIDDLE: f64 = 1e-6;

/// What a window looks at, in tiles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// Tiles across and down.
    pub tiles: [usize; 2],
    /// Where the window may be: left and top.
    pub from: [f64; 2],
    /// Where the window may be: right and bottom.
    pub to: [f64; 2],
    /// The window's width and height, above 0.
    pub window: [f64; 2],
    /// Where the part of it that is to hold what happens begins, from its left upper corner.
    pub inner: [f64; 2],
    /// That part's width and height.
    pub held: [f64; 2],
}

impl Stage {
    /// The places of one side.
    fn places(&self, side: usize) -> Vec<f64> {
        let (from, room) = (self.from[side], self.to[side] - self.from[side] - self.window[side]);
        if room <= 1e-9 {
            return vec![from + room / 2.0];
        }
        let count = (room / APART).ceil() as usize;
        (0..=count).map(|at| from + room * at as f64 / count as f64).collect()
    }

    /// How much of what happens the window holds with its left upper corner at `at`.
    #[must_use]
    pub fn holds(&self, tiles: &[f32], at: [f64; 2]) -> f64 {
        let [rows, columns] = [1, 0].map(|side| self.shares(side, at[side]));
        rows.iter()
            .map(|(row, share)| {
                let tiles = &tiles[row * self.tiles[0]..];
                share * columns.iter().map(|(column, share)| share * f64::from(tiles[*column])).sum::<f64>()
            })
            .sum()
    }

    /// The tiles of one side that the window holds anything of, each with its share.
    fn shares(&self, side: usize, at: f64) -> Vec<(usize, f64)> {
        let (from, to) = (at + self.inner[side], at + self.inner[side] + self.held[side]);
        let (first, end) = (from.max(0.0).floor() as usize, (to.ceil().max(0.0) as usize).min(self.tiles[side]));
        let share = |tile: usize| (tile, (to.min((tile + 1) as f64) - from.max(tile as f64)).max(0.0));
        (first..end).map(share).collect()
    }

    /// What the window holds at every pair of places, row by row.
    fn all(&self, tiles: &[f32], [columns, rows]: [&[Vec<(usize, f64)>]; 2]) -> Vec<f64> {
        let across = self.tiles[0];
        let lines: Vec<f64> = tiles
            .chunks_exact(across.max(1))
            .flat_map(|line| {
                columns.iter().map(|shares| shares.iter().map(|(tile, share)| share * f64::from(line[*tile])).sum())
            })
            .collect();
        let held = |shares: &Vec<(usize, f64)>| {
            (0..columns.len())
                .map(|column| shares.iter().map(|(row, share)| share * lines[row * columns.len() + column]).sum())
                .collect::<Vec<f64>>()
        };
        rows.iter().flat_map(held).collect()
    }
}

/// The left upper corner of the window in every knot, in tiles; none where nothing happens in any. `patience` is for
/// how many knots the window must hold what usually happens for a move by its own width, or height, to pay.
///
/// # Panics
/// Where a knot has not as many tiles as the stage.
#[must_use]
pub fn dwell(knots: &[Vec<f32>], stage: &Stage, patience: f64) -> Option<Vec<[f64; 2]>> {
    assert!(knots.iter().all(|tiles| tiles.len() == stage.tiles[0] * stage.tiles[1]), "knots of {:?}", stage.tiles);
    let places = [0, 1].map(|side| stage.places(side));
    let shares = [0, 1].map(|side| places[side].iter().map(|at| stage.shares(side, *at)).collect::<Vec<_>>());
    let all = |tiles: &Vec<f32>| stage.all(tiles, [&shares[0], &shares[1]]);
    // Weighed by itself: idle knots have no say.
    let (mut sum, mut squares) = (0.0, 0.0);
    for tiles in knots {
        let most = all(tiles).into_iter().fold(0.0, f64::max);
        (sum, squares) = (sum + most, squares + most * most);
    }
    if sum <= 0.0 {
        return None;
    }
    let usual = squares / sum;
    let costs = [0, 1].map(|side| {
        let apart = places[side].get(1).map_or(0.0, |second| second - places[side][0]);
        patience.max(0.0) * usual * apart / stage.window[side]
    });
    let counts = [places[0].len(), places[1].len()];
    let off = |side: usize, at: usize| {
        let middle = f64::midpoint(stage.from[side], stage.to[side] - stage.window[side]);
        ((places[side][at] - middle) / stage.window[side]).powi(2)
    };
    let bias: Vec<f64> = (0..counts[0] * counts[1])
        .map(|place| MIDDLE * usual * (off(0, place % counts[0]) + off(1, place / counts[0])))
        .collect();
    let mut best = vec![0.0; counts[0] * counts[1]];
    let mut origins: Vec<Vec<u16>> = Vec::with_capacity(knots.len());
    for tiles in knots {
        let mut from: Vec<u16> = (0..best.len()).map(|place| place as u16).collect();
        for row in 0..counts[1] {
            spread(&mut best, &mut from, (row * counts[0], 1, counts[0]), costs[0]);
        }
        for column in 0..counts[0] {
            spread(&mut best, &mut from, (column, counts[0], counts[1]), costs[1]);
        }
        for ((best, held), bias) in best.iter_mut().zip(all(tiles)).zip(&bias) {
            *best += held - bias;
        }
        origins.push(from);
    }
    let mut place = 0;
    for other in 1..best.len() {
        if best[other] > best[place] {
            place = other;
        }
    }
    let mut path = vec![[0.0; 2]; knots.len()];
    for (at, from) in path.iter_mut().zip(&origins).rev() {
        *at = [places[0][place % counts[0]], places[1][place / counts[0]]];
        place = usize::from(from[place]);
    }
    Some(path)
}

/// Lets every place of a line have what its neighbours have less the cost of coming from there, with where it came
/// from.
fn spread(best: &mut [f64], from: &mut [u16], (first, step, count): (usize, usize, usize), cost: f64) {
    let mut pass = |here: usize, there: usize| {
        if best[there] - cost > best[here] {
            best[here] = best[there] - cost;
            from[here] = from[there];
        }
    };
    (1..count).for_each(|at| pass(first + at * step, first + (at - 1) * step));
    (0..count.saturating_sub(1)).rev().for_each(|at| pass(first + at * step, first + (at + 1) * step));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn stage(tiles: [usize; 2], window: [f64; 2]) -> Stage {
        let to = tiles.map(|tiles| tiles as f64);
        Stage { tiles, from: [0.0; 2], to, window, inner: [0.0; 2], held: window }
    }

    #[test]
    fn a_window_holds_the_shares_of_the_tiles_under_it() {
        let stage = stage([4, 2], [1.5, 1.0]);
        let tiles = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0];
        assert!((stage.holds(&tiles, [0.0, 0.0]) - 2.0).abs() < 1e-12);
        assert!(
            (stage.holds(&tiles, [2.25, 0.5]) - (0.75 * 4.0 + 0.75 * 8.0 + 0.75 * 64.0 + 0.75 * 128.0) / 2.0).abs()
                < 1e-12
        );
    }

    #[test]
    fn a_window_goes_where_something_happens_and_rests_where_nothing_does() {
        let knot = |at: Option<usize>| {
            let mut tiles = vec![0.0; 16];
            at.into_iter().for_each(|at| tiles[at] = 1.0);
            tiles
        };
        let mut knots = vec![knot(Some(2)); 20];
        knots.extend(vec![knot(None); 20]);
        knots.extend(vec![knot(Some(13)); 20]);
        let path = dwell(&knots, &stage([16, 1], [4.0, 1.0]), 2.0).unwrap();
        assert!(path[..20].iter().all(|at| at[0] <= 2.0 && at[0] + 4.0 >= 3.0), "{path:?}");
        assert!(path[41..].iter().all(|at| at[0] <= 13.0 && at[0] + 4.0 >= 14.0), "{path:?}");
        // Where nothing happens it is on its way at once or not at all, and rests.
        assert!(path[..20].windows(2).all(|pair| pair[0] == pair[1]), "{path:?}");
        assert!(path[20..40].windows(2).all(|pair| pair[0] == pair[1]), "{path:?}");
        // What comes and goes is not worth the way.
        let mut brief = vec![knot(Some(2)); 20];
        brief[10] = knot(Some(13));
        let path = dwell(&brief, &stage([16, 1], [4.0, 1.0]), 2.0).unwrap();
        assert!(path.windows(2).all(|pair| pair[0] == pair[1]), "{path:?}");
        assert_eq!(dwell(&vec![knot(None); 5], &stage([16, 1], [4.0, 1.0]), 2.0), None);
    }

    proptest! {
        // Against all ways there are.
        #[test]
        fn the_way_is_the_best_of_all(
            knots in proptest::collection::vec(proptest::collection::vec(0.0..4.0_f32, 6), 1..4), patience in 0.0..3.0_f64,
        ) {
            let stage = stage([3, 2], [2.0, 1.5]);
            let places: Vec<[f64; 2]> =
                stage.places(1).iter().flat_map(|y| stage.places(0).into_iter().map(|x| [x, *y])).collect();
            let most = |tiles: &Vec<f32>| places.iter().map(|at| stage.holds(tiles, *at)).fold(0.0, f64::max);
            let (sum, squares) = knots.iter().map(most).fold((0.0, 0.0), |(a, b), most| (a + most, b + most * most));
            prop_assume!(sum > 0.0);
            let usual = squares / sum;
            let worth = |way: &[[f64; 2]]| {
                let held: f64 = way.iter().zip(&knots).map(|(at, tiles)| stage.holds(tiles, *at)).sum();
                let moved: f64 = way
                    .windows(2)
                    .map(|pair| (pair[1][0] - pair[0][0]).abs() / 2.0 + (pair[1][1] - pair[0][1]).abs() / 1.5)
                    .sum();
                held - patience * usual * moved
            };
            let path = dwell(&knots, &stage, patience).unwrap();
            let mut ways: Vec<Vec<[f64; 2]>> = vec![Vec::new()];
            for _ in &knots {
                ways = ways.iter().flat_map(|way| places.iter().map(|at| [&way[..], &[*at]].concat())).collect();
            }
            let best = ways.iter().map(|way| worth(way)).fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(worth(&path) >= best - 1e-4 * usual, "{} of {best}", worth(&path));
        }
    }
}

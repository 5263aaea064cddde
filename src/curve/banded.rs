//! A symmetric, positive system of equations whose entries lie near the diagonal.

/// How many diagonals below the main one.
pub(super) const REACH: usize = 8;

/// The lower half, row by row: `REACH` entries left of the diagonal, then the diagonal.
#[derive(Debug, Clone)]
pub(super) struct Banded(Vec<[f64; REACH + 1]>);

impl Banded {
    /// All zeros, with this many rows.
    pub(super) fn zeros(rows: usize) -> Self {
        Self(vec![[0.0; REACH + 1]; rows])
    }

    /// Adds to one entry and, the matrix being symmetric, to its mirror image. `row` is `column` or up to [`REACH`]
    /// more.
    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        self.0[row][REACH + column - row] += value;
    }

    /// Makes an unknown nothing but itself: its row and column are those of the unit matrix.
    pub(super) fn fix(&mut self, unknown: usize) {
        self.0[unknown] = [0.0; REACH + 1];
        self.0[unknown][REACH] = 1.0;
        for row in unknown + 1..(unknown + REACH + 1).min(self.0.len()) {
            self.0[row][REACH + unknown - row] = 0.0;
        }
    }

    /// The matrix times a vector.
    pub(super) fn times(&self, vector: &[f64]) -> Vec<f64> {
        let mut product = vec![0.0; vector.len()];
        for (row, entries) in self.0.iter().enumerate() {
            for column in row.saturating_sub(REACH)..row {
                let entry = entries[REACH + column - row];
                product[row] += entry * vector[column];
                product[column] += entry * vector[row];
            }
            product[row] += entries[REACH] * vector[row];
        }
        product
    }

    /// The solution for one right-hand side.
    pub(super) fn solve(self, right: &[f64]) -> Vec<f64> {
        self.factored().solve(right)
    }

    /// Cholesky's L D Lᵀ, in place.
    pub(super) fn factored(mut self) -> Factored {
        for row in 0..self.0.len() {
            // Entries are held as L times D until the row's diagonal is done. Those before the first column are 0.
            let (done, rest) = self.0.split_at_mut(row);
            let own = &mut rest[0];
            let nearest = REACH.min(row);
            for back in (1..=nearest).rev() {
                let other = &done[row - back];
                let known: f64 =
                    own[..REACH - back].iter().zip(&other[back..REACH]).map(|(own, other)| own * other).sum();
                own[REACH - back] -= known;
            }
            for back in (1..=nearest).rev() {
                let held = own[REACH - back];
                let lower = held / done[row - back][REACH];
                own[REACH] -= held * lower;
                own[REACH - back] = lower;
            }
        }
        Factored(self.0)
    }
}

/// A system taken apart, ready for any number of right-hand sides.
#[derive(Debug)]
pub(super) struct Factored(Vec<[f64; REACH + 1]>);

impl Factored {
    /// The solution for one right-hand side.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let rows = self.0.len();
        let mut solution = right.to_vec();
        for row in 0..rows {
            for back in (1..=REACH.min(row)).rev() {
                solution[row] -= self.0[row][REACH - back] * solution[row - back];
            }
        }
        for row in (0..rows).rev() {
            solution[row] /= self.0[row][REACH];
        }
        for row in (0..rows).rev() {
            let (before, known) = solution.split_at_mut(row);
            let nearest = REACH.min(row);
            for (entry, lower) in before[row - nearest..].iter_mut().zip(&self.0[row][REACH - nearest..]) {
                *entry -= lower * known[0];
            }
        }
        solution
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_solution_times_the_matrix_is_the_right_hand_side() {
        let rows = 60;
        let mut matrix = Banded::zeros(rows);
        let mut seed = 1_u32;
        let mut chance = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed) / f64::from(u32::MAX) - 0.5
        };
        for row in 0..rows {
            for column in row.saturating_sub(REACH)..row {
                matrix.add(row, column, chance());
            }
            matrix.add(row, row, 20.0);
        }
        let right: Vec<f64> = (0..rows).map(|_| chance()).collect();
        let solution = matrix.clone().solve(&right);
        for (seen, due) in matrix.times(&solution).iter().zip(&right) {
            assert!((seen - due).abs() < 1e-13);
        }
    }
}

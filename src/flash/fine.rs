//! Fine balanced patterns, which are exempt (WCAG 2.2): noise, or a checker of squares below a tenth of a degree.
//!
//! ## Decisions
//!
//! - A tile of 16 × 16 cells is balanced where of the cells that change at once at least a third goes one way and a third
//!   the other. It is fine where less than half of the cells that change lie in a square of a tenth of a degree that goes
//!   one way all over (our choice of figures; the standard gives the tenth alone).

use super::grid::Grid;

/// The side of a tile, in cells.
const TILE: usize = 16;

/// Takes the changes of fine balanced patterns out; whether any is left.
pub(super) fn left(grid: &Grid, changes: &mut [i8]) -> bool {
    let side = grid.tenth();
    if side < 2 {
        // A cell is no smaller than the pattern may be.
        return true;
    }
    let mut any = false;
    for top in (0..grid.down).step_by(TILE) {
        for left in (0..grid.across).step_by(TILE) {
            any |= tile(grid, changes, (left, top), side);
        }
    }
    any
}

/// Whether a change is left in a tile.
fn tile(grid: &Grid, changes: &mut [i8], (left, top): (usize, usize), side: usize) -> bool {
    let (right, bottom) = ((left + TILE).min(grid.across), (top + TILE).min(grid.down));
    let (mut up, mut down) = (0, 0);
    for row in top..bottom {
        let cells = &changes[row * grid.across + left..row * grid.across + right];
        up += cells.iter().filter(|change| **change > 0).count();
        down += cells.iter().filter(|change| **change < 0).count();
    }
    if up + down == 0 {
        return false;
    }
    if 3 * up.min(down) < up + down {
        return true;
    }
    // In a square of `side` cells that all go one way.
    let mut solid = [false; TILE * TILE];
    for row in top..(bottom + 1).saturating_sub(side) {
        for column in left..(right + 1).saturating_sub(side) {
            let first = changes[row * grid.across + column];
            let square = || (row..row + side).flat_map(|y| (column..column + side).map(move |x| (x, y)));
            if first != 0 && square().all(|(x, y)| changes[y * grid.across + x] == first) {
                square().for_each(|(x, y)| solid[(y - top) * TILE + x - left] = true);
            }
        }
    }
    if 2 * solid.iter().filter(|solid| **solid).count() >= up + down {
        return true;
    }
    for row in top..bottom {
        changes[row * grid.across + left..row * grid.across + right].fill(0);
    }
    false
}

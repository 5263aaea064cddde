//! Flashes of a field as a whole: cells at different places in it that change one after the other.
//!
//! Cells count their own changes. Four patches of a field that flash once each are four flashes of it all the same, where
//! each patch is more than a quarter of it. So each field has its own peaks and valleys: frames in which more than a
//! quarter of it gets lighter at once, on balance, and such in which more than a quarter gets darker.
//!
//! ## Decisions
//!
//! - Fields lie a quarter of their width and height apart: a patch that fills most of a quarter is seen in full by one.
//! - On balance: what passes through the picture is lighter at one edge and darker at the other, and is no flash.

use std::collections::VecDeque;

use super::MOST_AREA;
use super::grid::Grid;
use super::seen::Kind;

/// Steps of a field's side from one field to the next.
const STEPS: usize = 4;

/// A change of a whole field.
#[derive(Debug, Clone, Copy)]
struct Change {
    frame: u64,
    time: i64,
    up: bool,
    area: f64,
}

/// What fields flash.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Flashing {
    /// Flashes within the last second, of the field that flashes most.
    pub(super) flashes: u16,
    /// The frame of the first change that belongs to them, and the largest area that changed at once.
    pub(super) first: u64,
    pub(super) area: f64,
}

/// Follows fields along their peaks and valleys.
#[derive(Debug)]
pub(super) struct Fields {
    /// Upper left cells of fields, and their size in cells.
    corners: Vec<(usize, usize)>,
    wide: usize,
    tall: usize,
    /// By field, its last second of changes, up and down in turn, and the way of the last of all.
    changes: Vec<VecDeque<Change>>,
    ways: Vec<Option<bool>>,
    /// By cell, with a column and a row of zeros before, changes upwards less those downwards of all cells above and left.
    sums: Vec<i32>,
}

impl Fields {
    pub(super) fn new(kind: Kind, grid: &Grid) -> Self {
        let (wide, tall) = if kind.is_of_screen() { (grid.across, grid.down) } else { grid.field() };
        let steps = |side: usize, all: usize| {
            let last = all - side;
            let mut at: Vec<usize> = (0..last).step_by((side / STEPS).max(1)).collect();
            at.push(last);
            at
        };
        let rows = steps(tall, grid.down);
        let columns = steps(wide, grid.across);
        let corners: Vec<_> = rows.iter().flat_map(|row| columns.iter().map(move |column| (*column, *row))).collect();
        let count = corners.len();
        Self {
            corners,
            wide,
            tall,
            changes: vec![VecDeque::new(); count],
            ways: vec![None; count],
            sums: vec![0; (grid.across + 1) * (grid.down + 1)],
        }
    }

    /// Takes the next frame's changes, where there are any, and says what flashes within the second that ends with it.
    pub(super) fn see(
        &mut self,
        kind: Kind,
        grid: &Grid,
        changes: Option<&[i8]>,
        (frame, time, second): (u64, i64, i64),
    ) -> Flashing {
        for field in &mut self.changes {
            while field.front().is_some_and(|oldest| time - oldest.time > second) {
                field.pop_front();
            }
        }
        if let Some(changes) = changes {
            self.add_up(grid, changes);
            for (index, (column, row)) in self.corners.iter().enumerate() {
                let net = self.net(grid, (*column, *row));
                let area = kind.share(grid, net.unsigned_abs());
                let up = net > 0;
                if area > MOST_AREA && self.ways[index] != Some(up) {
                    self.ways[index] = Some(up);
                    self.changes[index].push_back(Change { frame, time, up, area });
                }
            }
        }
        let most = self.changes.iter().max_by_key(|field| field.len());
        let Some((field, first)) = most.and_then(|field| Some((field, field.front()?))) else {
            return Flashing::default();
        };
        debug_assert!(field.iter().zip(field.iter().skip(1)).all(|(one, next)| one.up != next.up));
        Flashing {
            flashes: u16::try_from(field.len() / 2).unwrap_or(u16::MAX),
            first: first.frame,
            area: field.iter().map(|change| change.area).fold(0.0, f64::max),
        }
    }

    fn add_up(&mut self, grid: &Grid, changes: &[i8]) {
        let line = grid.across + 1;
        for (row, changes) in changes.chunks(grid.across).enumerate() {
            let (above, this) = self.sums.split_at_mut((row + 1) * line);
            let above = &above[row * line..];
            let mut sum = 0;
            for ((change, above), this) in changes.iter().zip(&above[1..]).zip(&mut this[1..]) {
                sum += i32::from(*change);
                *this = above + sum;
            }
        }
    }

    /// Cells of a field that change upwards less those that change downwards.
    fn net(&self, grid: &Grid, (column, row): (usize, usize)) -> i32 {
        let at = |column: usize, row: usize| self.sums[row * (grid.across + 1) + column];
        let (right, bottom) = (column + self.wide, row + self.tall);
        at(right, bottom) - at(column, bottom) - at(right, row) + at(column, row)
    }
}

//! How a frame is cut into cells, and which of them a field holds.

use crate::units::Size;

/// The screen that WCAG takes, in pixels, and its rectangle for 10 degrees of what a viewer sees there.
const SCREEN: (f64, f64) = (1024.0, 768.0);
const FIELD: (f64, f64) = (341.0, 256.0);
/// The side of a cell at most, in pixels of that screen.
const CELL: f64 = 2.2;
/// A tenth of a degree, likewise: squares of a balanced pattern that are smaller are exempt.
const TENTH: f64 = FIELD.0 / 100.0;

/// A frame in cells.
///
/// A frame is shown as large as it fits on WCAG's screen of 1024 × 768 pixels. Cells are squares of whole pixels, from
/// left to right and row by row; those at the right and lower edge may be cut off.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// The frame, in pixels.
    pub size: Size,
    /// A cell's side, in pixels of the frame.
    pub cell: u32,
    /// The side of the squares whose samples are averaged as they are coded, in pixels; a cell is a whole number of them.
    pub unit: u32,
    /// Cells from left to right.
    pub across: usize,
    /// Rows of cells.
    pub down: usize,
    /// A cell's side, in pixels of WCAG's screen.
    side: f64,
}

impl Grid {
    /// Cuts frames of a size.
    #[must_use]
    pub fn of(size: Size) -> Self {
        let size = Size::new(size.width.max(1), size.height.max(1));
        let scale = (SCREEN.0 / f64::from(size.width)).min(SCREEN.1 / f64::from(size.height));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below the frame's own side")]
        let most = (CELL / scale) as u32;
        let cell = match most {
            0 | 1 => 1,
            2 | 3 => 2,
            _ => most & !3,
        };
        let unit = if cell < 4 { cell } else { cell / 2 };
        let count = |side: u32| side.div_ceil(cell) as usize;
        Self { across: count(size.width), down: count(size.height), side: f64::from(cell) * scale, size, cell, unit }
    }

    /// All cells.
    #[must_use]
    pub fn cells(&self) -> usize {
        self.across * self.down
    }

    /// A field in cells: how many across, and how many down, begun ones whole; none of them more than there are.
    #[must_use]
    pub fn field(&self) -> (usize, usize) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 341 at a cell of a pixel")]
        let cells = |side: f64| ((side / self.side).ceil() as usize).max(1);
        (cells(FIELD.0).min(self.across), cells(FIELD.1).min(self.down))
    }

    /// The share of a field that so many cells fill.
    #[must_use]
    pub fn share_of_field(&self, cells: u32) -> f64 {
        (f64::from(cells) * self.side * self.side / (FIELD.0 * FIELD.1)).min(1.0)
    }

    /// The share of the screen that so many cells fill.
    #[must_use]
    pub fn share_of_screen(&self, cells: u32) -> f64 {
        f64::from(cells) / self.cells() as f64
    }

    /// A tenth of a degree in cells, to the nearest whole one; 0 where a cell is much larger.
    pub(super) fn tenth(&self) -> usize {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few cells at most")]
        let cells = (TENTH / self.side).round() as usize;
        cells
    }
}

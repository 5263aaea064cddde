//! Counts the changes of a kind: how often every cell flashes within a second, and over how much of the screen.

use std::collections::VecDeque;

use super::fields::{Fields, Flashing};
use super::grid::Grid;
use super::seen::{Found, Kind, Span};
use super::{MOST_AREA, MOST_FLASHES};

/// Changes of a cell within a second from which on it flashes too often: two a flash.
const TOO_MANY: usize = 2 * (MOST_FLASHES as usize + 1);

/// The changes of one frame: a bit a cell.
#[derive(Debug)]
struct Entry {
    frame: u64,
    time: i64,
    cells: Vec<u64>,
}

/// Counts one kind of flash.
#[derive(Debug)]
pub(super) struct Watch {
    kind: Kind,
    /// Ticks of a second.
    second: i64,
    /// The last second's frames with changes, the oldest first, and room for more of them.
    ring: VecDeque<Entry>,
    spare: Vec<Vec<u64>>,
    /// By cell, its changes in them.
    counts: Vec<u16>,
    /// By number of changes, how many cells have so many.
    histogram: Vec<u32>,
    fields: Fields,
    /// Flashes of cells within the last second over too much at once.
    of_cells: u16,
    found: Found,
}

impl Watch {
    pub(super) fn new(kind: Kind, grid: &Grid, second: i64) -> Self {
        let cells = grid.cells();
        Self {
            kind,
            second,
            ring: VecDeque::new(),
            spare: Vec::new(),
            counts: vec![0; cells],
            histogram: vec![u32::try_from(cells).unwrap_or(u32::MAX)],
            fields: Fields::new(kind, grid),
            of_cells: 0,
            found: Found { kind, most: 0, too_often: 0.0, spans: Vec::new(), by_frame: Vec::new() },
        }
    }

    pub(super) fn kind(&self) -> Kind {
        self.kind
    }

    /// Takes the next frame's changes, where there are any.
    pub(super) fn see(&mut self, grid: &Grid, changes: Option<&[i8]>, frame: u64, time: i64) {
        let mut stale = false;
        // What happened a second before is within one second still.
        while self.ring.front().is_some_and(|oldest| time - oldest.time > self.second) {
            let Some(oldest) = self.ring.pop_front() else { break };
            each(&oldest.cells, |cell| self.recount(cell, -1));
            self.spare.push(oldest.cells);
            stale = true;
        }
        if let Some(changes) = changes {
            let mut cells = self.spare.pop().unwrap_or_default();
            cells.clear();
            cells.extend(
                changes
                    .chunks(64)
                    .map(|cells| cells.iter().rev().fold(0_u64, |bits, change| bits << 1 | u64::from(*change != 0))),
            );
            each(&cells, |cell| self.recount(cell, 1));
            self.ring.push_back(Entry { frame, time, cells });
        }
        if changes.is_some() || stale {
            self.of_cells = self.flashes(grid);
        }
        let of_field = self.fields.see(self.kind, grid, changes, (frame, time, self.second));
        let flashes = self.of_cells.max(of_field.flashes);
        self.found.by_frame.push(flashes);
        self.found.most = self.found.most.max(u32::from(flashes));
        if changes.is_some() {
            self.judge(grid, u32::from(flashes), of_field);
        }
    }

    /// Notes what there is above a limit, or how near it is.
    fn judge(&mut self, grid: &Grid, flashes: u32, of_field: Flashing) {
        let above = flashes > MOST_FLASHES;
        // No field can hold more of the cells that flash too often than there are.
        if !above && self.kind.share(grid, self.at_least(TOO_MANY)) <= self.found.too_often {
            return;
        }
        let of_field = Some(of_field).filter(|field| u32::from(field.flashes) > MOST_FLASHES);
        let area = self.area(grid, TOO_MANY).max(of_field.map_or(0.0, |field| field.area));
        self.found.too_often = self.found.too_often.max(area);
        let Some(last) = self.ring.back().filter(|_| above).map(|entry| entry.frame) else { return };
        let flashing = |entry: &&Entry| {
            let mut met = false;
            each(&entry.cells, |cell| met |= usize::from(self.counts[cell]) >= TOO_MANY);
            met
        };
        let first = self.ring.iter().find(flashing).map_or(last, |entry| entry.frame);
        let first = of_field.map_or(first, |field| first.min(field.first));
        let span = Span { first, last, flashes, area };
        match self.found.spans.last_mut().filter(|before| before.last + 1 >= first) {
            Some(before) => before.join(span),
            None => self.found.spans.push(span),
        }
    }

    /// Flashes within the last second over too much of the screen at once.
    fn flashes(&self, grid: &Grid) -> u16 {
        let too_large = |changes: usize| {
            self.kind.share(grid, self.at_least(changes)) > MOST_AREA && self.area(grid, changes) > MOST_AREA
        };
        let more = (1..=u16::MAX).take_while(|flashes| too_large(2 * usize::from(*flashes)));
        more.last().unwrap_or(0)
    }

    /// The largest share of a field, or the share of the screen, that cells with so many changes fill.
    fn area(&self, grid: &Grid, changes: usize) -> f64 {
        if self.kind.is_of_screen() {
            return grid.share_of_screen(self.at_least(changes));
        }
        let (wide, tall) = grid.field();
        let flashes = |cell: usize| u32::from(usize::from(self.counts[cell]) >= changes);
        // By column, the cells that flash in the rows of the field, which moves down a row at a time.
        let mut columns = vec![0_u32; grid.across];
        let mut most = 0;
        for row in 0..grid.down {
            for (column, sum) in columns.iter_mut().enumerate() {
                *sum += flashes(row * grid.across + column);
                if row >= tall {
                    *sum -= flashes((row - tall) * grid.across + column);
                }
            }
            if row + 1 >= tall {
                let mut within: u32 = columns[..wide].iter().sum();
                most = most.max(within);
                for (leaving, entering) in columns.iter().zip(&columns[wide..]) {
                    within = within + entering - leaving;
                    most = most.max(within);
                }
            }
        }
        grid.share_of_field(most)
    }

    /// Cells with so many changes or more.
    fn at_least(&self, changes: usize) -> u32 {
        self.histogram.get(changes..).map_or(0, |cells| cells.iter().sum())
    }

    fn recount(&mut self, cell: usize, by: i16) {
        let count = &mut self.counts[cell];
        self.histogram[usize::from(*count)] -= 1;
        *count = count.saturating_add_signed(by);
        let at = usize::from(*count);
        if self.histogram.len() <= at {
            self.histogram.resize(at + 1, 0);
        }
        self.histogram[at] += 1;
    }

    pub(super) fn finish(self) -> Found {
        self.found
    }
}

/// Calls for every bit that is set, by its number.
fn each(bits: &[u64], mut call: impl FnMut(usize)) {
    for (word, bits) in bits.iter().enumerate() {
        let mut left = *bits;
        while left != 0 {
            call(64 * word + left.trailing_zeros() as usize);
            left &= left - 1;
        }
    }
}

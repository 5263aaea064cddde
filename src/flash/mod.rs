//! Flashes in finished frames: where pictures flash more often, over more of the screen, than published limits allow.
//!
//! In: frames in order, each with its time, as means of small cells in linear light ([`Cells`], made of a frame's
//! samples by [`Averager`]). Out: [`Seen`]: spans of frames above a limit, with how often and over how much of the
//! screen. Nothing here knows of a shoot, a script or a file but `clip`, which decodes a finished clip for it.
//!
//! `grid` says how a frame is cut into cells, `means` averages samples, `change` finds the changes of each cell from peak
//! to valley and back, `fine` leaves fine balanced patterns out, `watch` counts those of cells and `fields` those of whole
//! fields, `seen` holds what was found.
//!
//! ## Words
//!
//! - A *change* is what the standards call a transition: from a peak to the next valley, or back, of one cell.
//! - A *flash* is a pair of opposite changes. More than three within one second are too many.
//! - A *field* is the rectangle that stands for 10 degrees of what a viewer sees.
//!
//! ## Decisions
//!
//! - Limits are those of WCAG 2.2, success criterion 2.3.1, and its glossary's "general flash and red flash
//!   thresholds". With a display's white, those of Recommendation ITU-R BT.1702 as well: 20 cd/m², the darker below 160,
//!   over more than a quarter of the screen (taken from texts that quote it, not from the Recommendation itself).
//! - Light is the sRGB curve's of R'G'B', whatever transfer characteristic is tagged: WCAG defines it so, and our clips
//!   hold their stills' values. Light in cd/m² is white times the values to the power 2.4 (ITU-R BT.1886, black at 0).
//! - A cell is about two of the 1024 pixels across which WCAG takes a screen for. A change is counted where all of a
//!   cell changes on average: an edge is right to half a cell.
//! - A cell flashes too often where it has eight changes within a second, both ends included. The field, or the screen,
//!   is above the limit where cells that flash too often fill more than a quarter of it at once; and where more than a
//!   quarter of it changes in single frames eight times, up and down in turn, be it other cells each time.
//! - A fast flash from an extreme that was reached slowly counts from that extreme: WCAG speaks of peaks and valleys.
//! - Black has no colour: below a hundredth of white it is taken for grey (our choice), so that black to red is a change
//!   of colour.

mod change;
mod clip;
mod fields;
mod fine;
mod grid;
mod means;
mod seen;
mod watch;

pub use clip::{Heard, Unseen, Watched, watch_clip, watch_from};
pub use grid::Grid;
pub use means::{Averager, Cells, Meaning, Source};
pub use seen::{Found, Kind, Seen, Span};

use crate::units::{FrameRate, Size};
use change::{Hues, Ridges};
use watch::Watch;

/// Least change of relative luminance that counts, and what the darker state is below (WCAG 2.2, general flash).
const LEAST: f32 = 0.1;
const DARKER: f32 = 0.8;
/// The same in cd/m² (ITU-R BT.1702).
const LEAST_ON_SCREEN: f32 = 20.0;
const DARKER_ON_SCREEN: f32 = 160.0;
/// The most flashes within a second that are allowed (both).
pub const MOST_FLASHES: u32 = 3;
/// The share of a field (WCAG 2.2) or of the screen (ITU-R BT.1702) that flashes may fill.
pub const MOST_AREA: f64 = 0.25;

/// Exact times of frames: a second is a whole number of ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock {
    /// Ticks of a second.
    pub second: i64,
    /// Ticks of a frame.
    pub frame: i64,
}

impl Clock {
    /// That of frames at a constant rate.
    #[must_use]
    pub fn of(rate: FrameRate) -> Self {
        Self { second: i64::from(rate.numerator()), frame: i64::from(rate.denominator()) }
    }
}

/// Looks for flashes in frames that come one after the other.
#[derive(Debug)]
pub struct Flashes {
    grid: Grid,
    light: Ridges,
    hues: Hues,
    display: Option<Ridges>,
    watches: Vec<Watch>,
    changes: Vec<i8>,
    frames: u64,
    last: i64,
    clock: Clock,
}

impl Flashes {
    /// For frames of a size; `white` is a display's white in cd/m², where its light is to be judged too.
    #[must_use]
    pub fn new(size: Size, clock: Clock, white: Option<f64>) -> Self {
        let grid = Grid::of(size);
        let cells = grid.cells();
        let kinds: &[Kind] = match white {
            None => &[Kind::General, Kind::Red],
            Some(_) => &[Kind::General, Kind::Red, Kind::OnScreen, Kind::RedOnScreen],
        };
        Self {
            light: Ridges::new(LEAST, DARKER),
            hues: Hues::default(),
            display: white.map(|_| Ridges::new(LEAST_ON_SCREEN, DARKER_ON_SCREEN)),
            watches: kinds.iter().map(|kind| Watch::new(*kind, &grid, clock.second)).collect(),
            changes: vec![0; cells],
            grid,
            frames: 0,
            last: 0,
            clock,
        }
    }

    /// The same from a frame on that is not the first: what lies before it is not looked at.
    #[must_use]
    pub fn from_frame(self, frame: u64) -> Self {
        Self { frames: frame, ..self }
    }

    /// Looks at the next frame, which is shown from `time` on, in ticks.
    pub fn see(&mut self, cells: &Cells, time: i64) {
        let (frame, grid) = (self.frames, &self.grid);
        for watch in &mut self.watches {
            let changed = match watch.kind() {
                Kind::General => self.light.step(&cells.luminance, &mut self.changes),
                Kind::Red => self.hues.step(cells, &mut self.changes),
                Kind::OnScreen => {
                    self.display.as_mut().is_some_and(|ridges| ridges.step(&cells.display, &mut self.changes))
                }
                // The same changes as of `Red`, over another area: of the frame seen last.
                Kind::RedOnScreen => self.hues.again(&mut self.changes),
            };
            let changed = changed && fine::left(grid, &mut self.changes);
            watch.see(grid, changed.then_some(&self.changes[..]), frame, time);
        }
        self.frames += 1;
        self.last = time;
    }

    /// Takes note of a frame that is the one before once more.
    pub fn see_same(&mut self, time: i64) {
        self.watches.iter_mut().for_each(|watch| watch.see(&self.grid, None, self.frames, time));
        self.frames += 1;
        self.last = time;
    }

    /// What was seen.
    #[must_use]
    pub fn finish(self) -> Seen {
        let ticks = if self.frames == 0 { 0 } else { self.last + self.clock.frame };
        Seen {
            frames: self.frames,
            seconds: ticks as f64 / self.clock.second as f64,
            kinds: self.watches.into_iter().map(Watch::finish).collect(),
        }
    }
}

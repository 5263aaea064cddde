//! What was found in a clip.

use serde::Serialize;

use super::grid::Grid;
use super::{MOST_AREA, MOST_FLASHES};

/// A kind of flash, by the limit it is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Light within a field: WCAG 2.2, general flash.
    General,
    /// Saturated red within a field: WCAG 2.2, red flash.
    Red,
    /// Light on a display of a stated white: ITU-R BT.1702.
    OnScreen,
    /// Saturated red on the whole screen: ITU-R BT.1702.
    RedOnScreen,
}

impl Kind {
    /// In words, as the subject of a line.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::General => "general flashes (WCAG 2.2)",
            Self::Red => "red flashes (WCAG 2.2)",
            Self::OnScreen => "flashes on the display (ITU-R BT.1702)",
            Self::RedOnScreen => "red flashes on the display (ITU-R BT.1702)",
        }
    }

    /// What its area is a share of.
    #[must_use]
    pub fn of_what(self) -> &'static str {
        if self.is_of_screen() { "the screen" } else { "a 10-degree field" }
    }

    pub(super) fn is_of_screen(self) -> bool {
        matches!(self, Self::OnScreen | Self::RedOnScreen)
    }

    /// The share that so many cells would fill side by side.
    pub(super) fn share(self, grid: &Grid, cells: u32) -> f64 {
        if self.is_of_screen() { grid.share_of_screen(cells) } else { grid.share_of_field(cells) }
    }
}

/// Frames that flash above a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Span {
    /// The first frame that shows a change, from 0.
    pub first: u64,
    /// The last one.
    pub last: u64,
    /// The most flashes within a second over more than a quarter of the field or the screen.
    pub flashes: u32,
    /// The largest share of the field or the screen that flashes too often at once, 0 to 1.
    pub area: f64,
}

impl Span {
    /// Takes in a later one that it touches.
    pub(super) fn join(&mut self, other: Self) {
        self.first = self.first.min(other.first);
        self.last = self.last.max(other.last);
        self.flashes = self.flashes.max(other.flashes);
        self.area = self.area.max(other.area);
    }
}

/// What was found of one kind.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// Which.
    pub kind: Kind,
    /// The most flashes within any second over more than a quarter of the field or the screen.
    pub most: u32,
    /// The largest share that ever flashed more than three times within a second, 0 to 1.
    pub too_often: f64,
    /// Frames above the limit, in order.
    pub spans: Vec<Span>,
    /// By frame, flashes over more than a quarter within the second that ends with it.
    #[serde(skip)]
    pub by_frame: Vec<u16>,
}

impl Found {
    /// Whether anything is above the limit: more than [`MOST_FLASHES`] over more than [`MOST_AREA`].
    #[must_use]
    pub fn is_above(&self) -> bool {
        self.most > MOST_FLASHES
    }

    /// Whether cells flash more than three times a second over so little that it is within the limit, but not by much: a
    /// fifth of the field or the screen (our choice).
    #[must_use]
    pub fn is_near(&self) -> bool {
        !self.is_above() && self.too_often > 0.8 * MOST_AREA
    }
}

/// What was seen in a clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Seen {
    /// Frames.
    pub frames: u64,
    /// How long they last.
    pub seconds: f64,
    /// By kind.
    pub kinds: Vec<Found>,
}

impl Seen {
    /// Whether anything is above a limit.
    #[must_use]
    pub fn is_above(&self) -> bool {
        self.kinds.iter().any(Found::is_above)
    }
}

//! Subjects that are found again, from one box in one still, in all the others.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "places of small pictures"
)]

mod check;
mod likeness;
mod picture;
#[cfg(test)]
mod scenes;
mod table;
mod task;
#[cfg(test)]
mod tests;
mod tracker;

pub use check::Check;
pub use picture::Small;
pub use table::{StillSpot, Table};
pub use task::{Found, Spot, SpotState, Task, Told, Tracking, between, overlap};
pub use tracker::Tracker;

use kurbo::Rect;
use serde::{Deserialize, Serialize};

/// Where a subject is in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Its box, in samples; where it was last where it is lost.
    pub area: Rect,
    /// How sure that is, from 0 to 1.
    pub confidence: f64,
    /// Whether it was seen.
    pub state: State,
}

/// Whether a subject was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// It was.
    Seen,
    /// It was not.
    Lost,
}

/// Why a box cannot be tracked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unfit {
    /// Nothing in it can be told from anything else.
    Plain,
    /// It is nearly as large as the picture.
    Fills,
    /// It is too small.
    Tiny,
    /// The still is damaged.
    Damaged,
}

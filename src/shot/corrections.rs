//! What a shot says about its stills' light and the camera's movements.

use serde::Serialize;

use super::StillBox;
use crate::diag::Place;
use crate::level::{Region, Steps};
use crate::register::Undo;

/// How a shot's stills are levelled: what flickers in their exposure is taken out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// The shot's line.
    pub place: Place,
    /// By what.
    pub by: LevelBy,
}

/// What a shot's stills are levelled by.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum LevelBy {
    /// What looking at them measures.
    Measured {
        /// How much of the flicker is taken out, above 0 to 1.
        strength: f64,
        /// How many stills on each side the light is smoothed over; by the shoot where none.
        radius: Option<f64>,
        /// The part of the upright still that is looked at; all of it where none.
        region: Option<StillBox>,
        /// What is done about steps of exposure.
        steps: Steps,
        /// Whether colours are held, or only calmed.
        colour: bool,
    },
    /// A table of gains, its path as written; a relative one starts at the script's folder.
    Curve(String),
}

/// How a shot's stills are steadied: its windows go along with what bumps and sags of the camera did to the picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Steady {
    /// The shot's line.
    pub place: Place,
    /// By what.
    pub by: SteadyBy,
    /// The least part of the still's width, and of its height, that all stills must show of the first view, above 0 to
    /// 1.
    pub room: f64,
}

impl Steady {
    /// The room that must be left where nothing else is said.
    pub const ROOM: f64 = 0.9;
}

/// What a shot's stills are steadied by.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SteadyBy {
    /// What looking at them measures.
    Measured {
        /// The part of the upright still that is looked at; all of it where none.
        region: Option<StillBox>,
        /// What is undone.
        undo: Undo,
    },
    /// A table of stands, its path as written; a relative one starts at the script's folder.
    Table(String),
}

impl From<StillBox> for Region {
    fn from(StillBox { x, y, width, height }: StillBox) -> Self {
        Self { x, y, width, height }
    }
}

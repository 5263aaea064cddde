//! A purpose: the row of the user's table that a delivery was given, with the source of every figure.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::diag::Place;
use crate::geom::Margins;
use crate::units::{FrameRate, Size};

/// A row of the table of purposes.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Purpose {
    /// Its name.
    pub name: String,
    /// Which table it stands in, with the table's date: `"the program's table, 2026-11-30"`.
    pub table: String,
    /// All that it says, by the name of the field.
    pub figures: BTreeMap<String, Figure>,
    /// The line of its name.
    #[serde(skip)]
    pub place: Place,
    /// Frame size in pixels.
    #[serde(skip)]
    pub frame: Option<Size>,
    /// Frames a second.
    #[serde(skip)]
    pub fps: Option<FrameRate>,
    /// The name of its codec, as scripts write it.
    #[serde(skip)]
    pub codec: Option<&'static str>,
    /// What boxes are kept out of, at least.
    #[serde(skip)]
    pub safe: Option<Margins>,
    /// Bits a second on average, at most.
    #[serde(skip)]
    pub most: Option<f64>,
    /// Seconds of the clip, at most.
    #[serde(skip)]
    pub most_seconds: Option<f64>,
    /// Bytes of the output, at most.
    #[serde(skip)]
    pub most_bytes: Option<u64>,
}

/// One thing that a row says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Figure {
    /// As text: `1080x1920`, `30`, `h264`.
    pub value: String,
    /// Where it comes from, with the month or day.
    pub source: String,
    /// Its line.
    #[serde(skip)]
    pub place: Place,
}

impl Purpose {
    /// What it says without the sources: all that matters to what is made, and to what that is held against.
    pub fn values(&self) -> impl Iterator<Item = (&str, &str)> {
        self.figures.iter().map(|(field, figure)| (field.as_str(), figure.value.as_str()))
    }
}

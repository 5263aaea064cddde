//! What a shot says of subjects that are found in all stills from a box in a few.

use serde::Serialize;

/// How a subject is tracked from its keys.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tracked {
    /// By what.
    pub by: TrackedBy,
    /// In how many stills in a row it may be lost at most, its box held and widened; without end where none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held: Option<u32>,
}

/// What says where a tracked subject is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum TrackedBy {
    /// Looking for it in every still.
    Measured,
    /// A table of boxes, its path as written; a relative one starts at the script's folder.
    Table(String),
}

//! What a delivery has beside its frames: a purpose, a title, a poster.

use std::sync::Arc;

use serde::Serialize;

use super::Moment;
use super::purpose::Purpose;
use crate::diag::Placed;

/// What a delivery has beside its frames; nothing by default.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Extras {
    /// The row of the table of purposes that it was given, and who says so.
    pub purpose: Option<Placed<Arc<Purpose>>>,
    /// What the file calls itself.
    pub title: Option<String>,
    /// A frame that is kept as a picture of its own.
    pub poster: Option<Poster>,
}

/// A frame of a delivery that is kept as a picture of its own.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Poster {
    /// Which.
    pub at: Placed<Moment>,
    /// What it is written as.
    pub form: PosterForm,
}

/// What a poster is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PosterForm {
    /// A 16-bit PNG: the frame to the code.
    #[default]
    Png,
    /// A JPEG, for pages that load it.
    Jpeg,
}

impl PosterForm {
    /// Their names, as scripts write them.
    pub const KEYWORDS: [&'static str; 2] = ["png", "jpeg"];

    /// The form of that name.
    #[must_use]
    pub fn from_keyword(name: &str) -> Option<Self> {
        match name {
            "png" => Some(Self::Png),
            "jpeg" => Some(Self::Jpeg),
            _ => None,
        }
    }

    /// What its files' names end in.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::Png => "png",
            Self::Jpeg => "jpg",
        }
    }
}

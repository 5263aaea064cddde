//! What a delivery gathers: the brightest, the darkest or the middle light of many stills.

use serde::Serialize;

use super::Moment;

/// Which light of several stills a frame takes, channel by channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Gather {
    /// The brightest: stars draw trails.
    Brightest,
    /// The darkest: what shines and moves is gone.
    Darkest,
    /// The middle one, or the mean of the two middle ones: what passes by is gone.
    Median,
}

impl Gather {
    /// The word that a script writes.
    #[must_use]
    pub fn keyword(self) -> &'static str {
        match self {
            Self::Brightest => "brightest",
            Self::Darkest => "darkest",
            Self::Median => "median",
        }
    }
}

/// What is gathered, and over which stills.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Gathering {
    /// Which light.
    pub by: Gather,
    /// Over which stills.
    pub over: GatherOver,
}

/// Which stills a frame gathers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum GatherOver {
    /// Those that pass while the shutter is open.
    Shutter,
    /// So many, 2 to [`Gathering::MOST_STILLS`].
    Stills(u32),
    /// All from a moment on up to the one whose turn it is; from the first where no moment is said.
    Grown(Option<Moment>),
}

impl Gathering {
    /// The word for means, which are no gathering of their own.
    pub const MEAN: &'static str = "mean";

    /// The words that a script may write.
    pub const KEYWORDS: [&'static str; 4] = [Self::MEAN, "brightest", "darkest", "median"];

    /// The most stills that a script may ask for.
    pub const MOST_STILLS: u32 = 10_000;
}

//! Breaks: places where two stills follow one another on the axis that were not taken one after the other.

use schemars::JsonSchema;
use serde::Serialize;

use super::fate::LeftOutBy;
use crate::units::SlotIndex;

/// A break between two stills that follow one another on the shot's axis: nothing is mixed, levelled or steadied across.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Break {
    /// The last slot before it whose own still may be shown.
    pub before: SlotIndex,
    /// The first slot after it whose own still may be shown.
    pub after: SlotIndex,
    /// What lies between.
    pub why: BreakCause,
}

/// What lies between the two sides of a break.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BreakCause {
    /// No still for more than ten intervals.
    Gap,
    /// Stills outside the hours chosen.
    Hours,
    /// Stills of other days than those chosen.
    Days,
    /// Stills that a cut leaves out.
    Cut,
}

impl BreakCause {
    /// That of stills left out so; none where their going sets no break.
    #[must_use]
    pub fn of(by: LeftOutBy) -> Option<Self> {
        match by {
            LeftOutBy::Cut => Some(Self::Cut),
            LeftOutBy::Hours => Some(Self::Hours),
            LeftOutBy::Days => Some(Self::Days),
            LeftOutBy::Only => None,
        }
    }

    /// `a cut between`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Gap => "a gap between",
            Self::Hours => "hours left out between",
            Self::Days => "days left out between",
            Self::Cut => "a cut between",
        }
    }
}

impl Break {
    /// `still 3 and still 61, a cut between`: stills counted from 1.
    #[must_use]
    pub fn words(&self) -> String {
        format!("still {} and still {}, {}", self.before.0 + 1, self.after.0 + 1, self.why.words())
    }

    /// Whether a slot is one of the two beside it.
    #[must_use]
    pub fn is_beside(&self, slot: SlotIndex) -> bool {
        [self.before, self.after].contains(&slot)
    }
}

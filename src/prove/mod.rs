//! Holds what a render left against its receipt, its stills and frames made anew from them.
//!
//! In come the receipt, files, and frames as they pass by; out go statements of what is proved and findings of what is
//! not, in words.
//! `session` runs the script again and makes the frames.
//!
//! ## Decisions
//!
//! - A clip is decoded by the demuxer and decoders that recordings use, not by the code that wrote it, and without the
//!   container's colour tags, so that stream and container are checked against the receipt separately.
//! - A clip of more than twice the expected frames is not read further. Names are printed by `diag::plain`.
//! - `--source` is used again as the render was given it. Files that later came to lie beside the stills, and the
//!   `missing` and `damaged` policies, do not change the plan.
//! - A renamed still is found by its hash, among files of the same length that the receipt does not name.
//! - To add a codec: a row in `bar`. A new kind of frame is an arm of `as_frame`.

mod bar;
mod clip;
mod compare;
mod guess;
mod lists;
mod look;
mod places;
mod stills;
mod times;

use serde::Serialize;

pub use bar::{Bar, CHROMA, H264};
pub use clip::{Clip, Judged, judge, short_runs};
pub use compare::{Fit, Thumb, decibels, detail, fit};
pub use guess::{Guess, guess};
pub use lists::{List, ListKind};
pub use look::{Clue, Heard, Looked, Looking, Near};
pub use places::{Evidence, Misplaced, misplaced};
pub use stills::{Candidate, Copied, Held, Outcome, Stills, copied, held};

/// What came of holding something against the receipt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// It is as the receipt says.
    Proved,
    /// It could not be found out.
    Unknown,
    /// It is not as the receipt says.
    Wrong,
}

/// Something that is not proved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Wrong, or not known.
    pub verdict: Verdict,
    /// What it is, in a word for programs.
    pub fault: &'static str,
    /// What it is, for people: a line.
    pub words: String,
}

impl Finding {
    /// Something that is not as the receipt says.
    pub fn wrong(fault: &'static str, words: impl Into<String>) -> Self {
        Self { verdict: Verdict::Wrong, fault, words: words.into() }
    }

    /// Something that could not be found out.
    pub fn unknown(fault: &'static str, words: impl Into<String>) -> Self {
        Self { verdict: Verdict::Unknown, fault, words: words.into() }
    }
}

/// A thing that was held against the receipt: what is proved of it, and what is not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Part {
    /// What: `"receipt"`, `"script"`, `"stills"`, a delivery's file, a folder with a copy.
    pub name: String,
    /// What is proved, a line each.
    pub proved: Vec<String>,
    /// What is not.
    pub findings: Vec<Finding>,
}

impl Part {
    /// Of which nothing is known yet.
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), proved: Vec::new(), findings: Vec::new() }
    }

    /// The worst of its findings.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        self.findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Proved)
    }
}

/// `1 frame`, `2 frames`.
#[must_use]
pub fn count(number: u64, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

/// Some of these names, as they may be printed, and how many more there are.
#[must_use]
pub fn some(names: &[impl AsRef<str>]) -> String {
    const SOME: usize = 3;
    let shown: Vec<_> = names.iter().take(SOME).map(|name| crate::diag::plain(name.as_ref())).collect();
    let more = names.len().saturating_sub(SOME);
    if more > 0 { format!("{} and {more} more", shown.join(", ")) } else { shown.join(", ") }
}

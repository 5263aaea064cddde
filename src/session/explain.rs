//! `explain`: which keys, eases, rates, corrections and lines of the script decided one frame.
//!
//! ## Decisions
//!
//! - The explanation reads the same tracks, pace and rows that the plan is made of (`look_at_resolved` in `resolve`),
//!   so it cannot disagree with the plan.
//! - `--at` with a moment of the clip means the frame on screen then; with a moment of the shoot, the first frame at or
//!   after it. It means the same for `explain`, `frame` and `draw`. A plain number is refused there, for it might be
//!   meant as seconds or as a frame.

use super::prepare::{Encoders, Part, prepare};
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, Watch, pretty};
use crate::diag::{self, Diagnostic};
use crate::shot::Moment;
use crate::{resolve, script};

/// Which frame of a delivery is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameWanted {
    /// By its number, from 0.
    Number(u64),
    /// By a moment as the command line writes it: `3.5s`, `14:32`.
    Moment(String),
}

impl FrameWanted {
    /// Which frame of a part's delivery it is, in the words that plans are asked in.
    ///
    /// # Errors
    /// [`Failure`] where the moment is none.
    pub(super) fn when(&self, part: &Part) -> Result<resolve::When, Failure> {
        match self {
            Self::Number(number) => Ok(resolve::When::Frame(*number)),
            Self::Moment(text) => moment(text, part, true).map(resolve::When::Moment),
        }
    }
}

/// A moment as `--at` takes it; `numbered` says that the command also takes `--frame`.
///
/// # Errors
/// [`Failure`] that says what a moment looks like.
pub(super) fn moment(text: &str, part: &Part, numbered: bool) -> Result<Moment, Failure> {
    script::moment(text, part.shot.fps).map_err(|why| {
        let mut mistake = Diagnostic::mistake(format!("--at: {why}"));
        if let Some(number) = text.parse::<f64>().ok().filter(|number| *number >= 0.0) {
            let number = diag::number(number);
            mistake = mistake.help(format!("type --at {number}s for that second of the clip"));
            if numbered && text.bytes().all(|byte| byte.is_ascii_digit()) {
                mistake = mistake.help(format!("type --frame {number} for the frame of that number, counted from 0"));
            }
        }
        Failure::refused(mistake)
    })
}

/// Explains a frame.
///
/// # Errors
/// [`Failure`] with every mistake of the script, or where it has no such frame.
pub fn explain(options: &ScriptOptions, wanted: &FrameWanted, json: bool, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(options, Encoders::LeftAlone, Looking { watch, quiet: json })?;
    let (part, _) = prepared.one_delivery()?;
    let when = wanted.when(part)?;
    let shoot = &prepared.shoots[part.shoot];
    let reasons = part.made.explain(&part.shot, shoot, 0, &when).map_err(Failure::refused)?;
    let text = if json { pretty(&reasons) } else { reasons.text() };
    Ok(Reply { text, messages: prepared.messages, ..Reply::default() })
}

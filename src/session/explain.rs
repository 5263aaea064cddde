//! `explain`: which keys, eases, rates, corrections and lines of the script decided one frame.
//!
//! ## Decisions
//!
//! - The explanation reads the same tracks, pace and rows that the plan is made of (`look_at_resolved` in `resolve`),
//!   so it cannot disagree with the plan.
//! - `--at` with a moment of the clip means the frame on screen then; with a moment of the shoot, the first frame at or
//!   after it.

use super::prepare::{Encoders, prepare};
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, Watch, pretty};
use crate::diag::Diagnostic;
use crate::{resolve, script};

/// Which frame to explain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameWanted {
    /// By its number, from 0.
    Number(u64),
    /// By a moment as the command line writes it: `3.5s`, `14:32`.
    Moment(String),
}

/// Explains a frame.
///
/// # Errors
/// [`Failure`] with every mistake of the script, or where it has no such frame.
pub fn explain(options: &ScriptOptions, wanted: &FrameWanted, json: bool, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(options, Encoders::LeftAlone, Looking { watch, quiet: json })?;
    let (part, _) = prepared.one_delivery()?;
    let when = match wanted {
        FrameWanted::Number(number) => resolve::When::Frame(*number),
        FrameWanted::Moment(text) => resolve::When::Moment(
            script::moment(text, part.shot.fps)
                .map_err(|why| Failure::refused(Diagnostic::mistake(format!("--at: {why}"))))?,
        ),
    };
    let shoot = &prepared.shoots[part.shoot];
    let reasons = part.made.explain(&part.shot, shoot, 0, &when).map_err(Failure::refused)?;
    let text = if json { pretty(&reasons) } else { reasons.text() };
    Ok(Reply { text, messages: prepared.messages, ..Reply::default() })
}

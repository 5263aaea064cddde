//! Runs a Lua script in a sandbox and gives its shots, or all its mistakes.
//!
//! Comes in: a path, what `--set` gave, the user's own moves folder. Goes out: shots with every place kept and nothing
//! resolved. Constructors record what is wrong with their fields and go on with stand-ins, so that one run finds every
//! mistake; what a script may call, and with what, is written down once, in `fields`.
//!
//! ## Decisions
//!
//! - A shot's `fps` is 24 unless it says otherwise. Points and boxes lie inside the still; zoom is 1 to 1000.
//! - Shots in a list need unique names, because outputs are named after them.
//! - Moves read their arguments with the global `arguments(move, given, defaults)`, so that a mistake in them is
//!   reported on the caller's line.
//! - Cuts stand in the source beside `from` and `to`, not in the pace: they decide which stills take room on the
//!   shoot's axis, so they also work with a bare rate and with `over`.
//! - To add a word: a `Form` or a field in `fields`; a new `Form` also needs an example in `examples`. `sh
//!   scripts/publish` then remakes the published files; a test fails while one is stale.
//!
//! ## Surprises
//!
//! - Lua cuts chunk names to 60 bytes in messages. `x?` between two field reads hides the second mistake: read all
//!   fields first, then unwrap.

mod arguments;
mod assemble;
mod calls;
mod chosen;
mod codec;
mod corrections;
mod covers;
mod dials;
mod editor;
mod embedded;
mod examples;
mod extras;
mod failure;
mod fields;
mod form;
mod gather;
mod hints;
mod listed;
mod made;
mod modules;
mod moments;
mod purposes;
mod reader;
mod reel;
mod reference;
mod sandbox;
mod stamps;
mod state;
mod syntax;
mod tables;
mod tokens;
mod tracked;
mod value;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use serde::Serialize;

use crate::diag::{Diagnostics, Place};
use crate::shot::{Moment, Purpose, Shot, Source};
use crate::units::FrameRate;
use state::State;

/// What to run and with what.
#[derive(Debug, Clone)]
pub struct Request {
    /// The script.
    pub path: PathBuf,
    /// `--set name=value`, in the order given.
    pub settings: Vec<(String, String)>,
    /// The user's own moves folder, searched after the script's own.
    pub user_moves: Option<PathBuf>,
    /// The user's own table of purposes, where there may be one.
    pub user_purposes: Option<PathBuf>,
}

/// What a script came to.
#[derive(Debug, Clone)]
pub struct Script {
    /// At least one.
    pub shots: Vec<Shot>,
    /// The dials it declared.
    pub dials: Vec<Dial>,
    /// What it printed.
    pub messages: Vec<String>,
    /// Remarks that refuse nothing.
    pub remarks: Diagnostics,
    /// What was read: the script itself, then every module in the order in which they were required.
    pub texts: Vec<Text>,
    /// Every source that it named, used or not.
    pub sources: Vec<Arc<Source>>,
}

/// A file of Lua that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// Its path; `builtin:NAME` of a module that comes with the program.
    pub path: PathBuf,
    /// BLAKE3 of its bytes.
    pub blake3: blake3::Hash,
}

/// What the path of a [`Text`] begins with that comes with the program.
pub const BUILTIN: &str = "builtin:";

/// A value a script lets its user set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dial {
    /// Where it is declared.
    pub place: Place,
    /// Its name.
    pub name: String,
    /// What it is now, as a value.
    #[serde(skip)]
    pub given: DialValue,
    /// Its value when nothing is set, as Lua writes it.
    pub default: String,
    /// Its value now.
    pub value: String,
    /// What it may be, in words: `1 to 8`, `true or false`, `one of a, b`.
    pub allowed: String,
    /// The least and the most it may be, where it is a number with both.
    #[serde(skip)]
    pub range: Option<(f64, f64)>,
    /// All it may be, where it is one of a list.
    #[serde(skip)]
    pub choices: Vec<DialValue>,
    /// What it does.
    pub help: String,
}

/// What a dial is set to.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum DialValue {
    /// True or false.
    Truth(bool),
    /// A number without a fraction.
    Whole(i64),
    /// Any other number.
    Number(f64),
    /// A text.
    Text(String),
}

/// What a refused script leaves: its mistakes, and the sources that messages quote.
#[derive(Debug)]
pub struct Refused {
    /// At least one mistake.
    pub diagnostics: Diagnostics,
    /// What it printed before.
    pub messages: Vec<String>,
    /// Every source that it had named by then.
    pub sources: Vec<Arc<Source>>,
}

/// Runs a script.
///
/// It ends: after 7 seconds, 25 million instructions, 128 MiB or calls too deep it is stopped, which is a mistake like
/// any other. Relative module paths start at the script's folder; source paths are left as written.
///
/// # Errors
/// All the mistakes found, at least one.
pub fn run(request: &Request) -> Result<Script, Refused> {
    run_until(request, &AtomicBool::new(false))
}

/// As [`run`], until `stop` is set by somebody: the script is then refused within some hundredths of a second.
///
/// # Errors
/// As [`run`].
pub fn run_until(request: &Request, stop: &AtomicBool) -> Result<Script, Refused> {
    let state = Arc::new(State::default());
    let shots = sandbox::run(request, &state, stop);
    let diagnostics = state.take_diagnostics();
    let messages = state.take_messages();
    let sources = state.take_sources();
    if diagnostics.refused() {
        return Err(Refused { diagnostics, messages, sources });
    }
    let dials = std::mem::take(&mut *state.dials());
    Ok(Script { shots, dials, messages, remarks: diagnostics, texts: state.take_texts(), sources })
}

/// The text a place's file holds: a script or module on disk, or an embedded move (`stillpath:moves/push_in.lua`).
#[must_use]
pub fn source_text(path: &Path) -> Option<String> {
    let embedded =
        embedded::text(path).or_else(|| (path == Path::new(purposes::SHIPPED_PATH)).then_some(purposes::SHIPPED));
    embedded.map(str::to_owned).or_else(|| std::fs::read_to_string(path).ok())
}

/// A moment as the command line is given it: what a script puts in quotes (`3.5s`, `00:00:03:12`, `start`, `end`) or a
/// time of day (`14:32`, `day 2 14:32`); timecode counts at `fps`. A plain number is none: it might be meant as seconds,
/// or as a frame's.
///
/// # Errors
/// What may be written.
pub fn moment(text: &str, fps: FrameRate) -> Result<Moment, String> {
    let none = || {
        format!(
            "a moment is 3.5s, 00:00:03:12, start, end, 14:32, \"day 2 14:32\" or \"2026-05-01 14:32\"; seen {text:?}"
        )
    };
    if text.parse::<f64>().is_ok() {
        return Err(none());
    }
    match (moments::moment(text), moments::clock(text)) {
        (Ok(moment), _) => moment.at_rate(fps),
        (Err(_), Ok(clock)) => Ok(Moment::Clock(clock)),
        (Err(Some(why)), Err(_)) => Err(why),
        (Err(None), Err(_)) => Err(none()),
    }
}

/// The definitions file that the Lua language server reads, for `stillpath types`.
#[must_use]
pub fn editor_types() -> String {
    editor::types()
}

/// The reference page, in Markdown, for `stillpath types --reference`.
#[must_use]
pub fn reference() -> String {
    reference::page()
}

/// An embedded move that a script can call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// What a script calls it: `moves.NAME { … }`.
    pub name: &'static str,
    /// One line of help.
    pub help: &'static str,
    /// An example call, and every argument with what it is and what holds without it, as the move's own file begins.
    pub usage: String,
    /// The field of a shot that it makes a value for: `framing` or `pace`.
    pub gives: &'static str,
}

/// The embedded moves in the order of their names.
#[must_use]
pub fn moves() -> Vec<Move> {
    embedded::moves()
}

/// The rows of the table of purposes: the user's own, where there is such a table at this path, then those of the
/// program's that it does not have.
///
/// # Errors
/// Every mistake in the user's table.
pub fn purposes(user: Option<&Path>) -> Result<Vec<Arc<Purpose>>, Diagnostics> {
    purposes::all(user, tables::of_row).map(|rows| rows.into_iter().map(|row| row.purpose).collect())
}

/// The table of purposes that comes with the program, in TOML.
#[must_use]
pub fn purposes_text() -> &'static str {
    purposes::SHIPPED
}

//! Runs a Lua script in a sandbox and gives its shots, or all its mistakes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::diag::{Diagnostics, Place};
use crate::shot::Shot;

/// What to run and with what.
#[derive(Debug, Clone)]
pub struct Request {
    /// The script.
    pub path: PathBuf,
    /// `--set name=value`, in the order given.
    pub settings: Vec<(String, String)>,
    /// The user's own moves folder, searched after the script's own.
    pub user_moves: Option<PathBuf>,
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
}

/// A value a script lets its user set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dial {
    /// Where it is declared.
    pub place: Place,
    /// Its name.
    pub name: String,
    /// Its value when nothing is set, as Lua writes it.
    pub default: String,
    /// Its value now.
    pub value: String,
    /// What it may be, in words: `1 to 8`, `true or false`, `one of a, b`.
    pub allowed: String,
    /// What it does.
    pub help: String,
}

/// What a refused script leaves: its mistakes, and the sources that messages quote.
#[derive(Debug)]
pub struct Refused {
    /// At least one mistake.
    pub diagnostics: Diagnostics,
    /// What it printed before.
    pub messages: Vec<String>,
}

/// Runs a script.
///
/// # Errors
/// All the mistakes found, at least one.
pub fn run(request: &Request) -> Result<Script, Refused> {
    let _ = request;
    unimplemented!()
}

/// The text a place's file holds: a script on disk, or an embedded move (`moves/push.lua`).
#[must_use]
pub fn source_text(path: &Path) -> Option<String> {
    std::fs::read_to_string(path).ok()
}

/// The embedded moves, by module name, with their Lua text.
#[must_use]
pub fn embedded_moves() -> BTreeMap<&'static str, &'static str> {
    BTreeMap::new()
}

/// The definitions file that the Lua language server reads, for `stillpath types`.
#[must_use]
pub fn editor_types() -> String {
    String::new()
}

/// An embedded move, as `stillpath moves` lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// Module name.
    pub name: String,
    /// One line of help.
    pub help: String,
}

/// The embedded moves in the order of their names.
#[must_use]
pub fn list_moves() -> Vec<Move> {
    Vec::new()
}

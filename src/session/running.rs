//! Runs scripts, with what their user keeps in reach: moves and purposes of their own.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use super::{Failure, REFUSED, Reply};
use crate::script;

/// Runs a script with the user's own moves in reach.
pub(super) fn run(path: &Path, settings: &[(String, String)]) -> Result<script::Script, Failure> {
    run_until(path, settings, &AtomicBool::new(false))
}

/// What a script is run with.
pub(super) fn request(path: &Path, settings: &[(String, String)]) -> script::Request {
    script::Request {
        path: path.to_owned(),
        settings: settings.to_vec(),
        user_moves: user_moves_folder(),
        user_purposes: user_purposes(),
    }
}

/// As [`run`], until it is called off: then it is refused.
pub(super) fn run_until(
    path: &Path,
    settings: &[(String, String)],
    stop: &AtomicBool,
) -> Result<script::Script, Failure> {
    script::run_until(&request(path, settings), stop).map_err(|refused| Failure {
        reply: Reply { notes: refused.diagnostics, messages: refused.messages, ..Reply::default() },
        code: REFUSED,
    })
}

/// The user's own moves: `$XDG_CONFIG_HOME/stillpath/moves`, or `~/.config/stillpath/moves`.
fn user_moves_folder() -> Option<PathBuf> {
    user_folder().map(|folder| folder.join("moves"))
}

/// The user's own table of purposes, there or not: `$XDG_CONFIG_HOME/stillpath/deliveries.toml`, or the same below
/// `~/.config`.
pub(super) fn user_purposes() -> Option<PathBuf> {
    user_folder().map(|folder| folder.join("deliveries.toml"))
}

/// The user's own folder of this program's settings.
fn user_folder() -> Option<PathBuf> {
    let config = std::env::var_os("XDG_CONFIG_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let config = config.or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(config.join("stillpath"))
}

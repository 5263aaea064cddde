//! From a script's path to plans over surveyed shoots: everything that is decided before the first pixel.

use std::path::{Path, PathBuf};

use super::{Failure, REFUSED, Reply, ScriptOptions};
use crate::diag::{Diagnostic, Diagnostics, nearest};
use crate::plan::Plan;
use crate::shoot::Shoot;
use crate::shot::Shot;
use crate::{resolve, script, survey};

/// A script made ready to render.
pub(super) struct Prepared {
    /// The script's file name without extension: the beginning of every output's name.
    pub(super) stem: String,
    /// The distinct shoots.
    pub(super) shoots: Vec<Shoot>,
    /// How each of them was surveyed.
    pub(super) requests: Vec<survey::Request>,
    /// One a shot.
    pub(super) parts: Vec<Part>,
    /// Everything worth knowing.
    pub(super) remarks: Diagnostics,
    /// What the script printed.
    pub(super) messages: Vec<String>,
}

/// One shot, the shoot it is cut from, and its plan.
pub(super) struct Part {
    pub(super) shot: Shot,
    /// Index among [`Prepared::shoots`].
    pub(super) shoot: usize,
    pub(super) plan: Plan,
}

/// Runs the script, surveys its shoots, resolves its shots.
pub(super) fn prepare(options: &ScriptOptions) -> Result<Prepared, Failure> {
    let script = run(&options.script, &options.settings)?;
    let mut found = script.remarks;
    let base = match options.script.parent() {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    };
    check_source_replaced(&options.sources, &script.shots, &mut found);
    let mut prepared = Prepared {
        stem: options.script.file_stem().map_or_else(|| "script".into(), |stem| stem.to_string_lossy().into_owned()),
        shoots: Vec::new(),
        requests: Vec::new(),
        parts: Vec::new(),
        remarks: Diagnostics::default(),
        messages: script.messages,
    };
    check_deliveries_wanted(&options.deliveries, &script.shots, &mut found);
    for shot in script.shots {
        let source = &shot.source;
        let obey_orientation = source.obey_orientation;
        let request = match options.sources.is_empty() {
            true => survey::Request { base: base.clone(), paths: source.paths.clone(), obey_orientation },
            false => survey::Request { base: PathBuf::from("."), paths: options.sources.clone(), obey_orientation },
        };
        let known = prepared.requests.iter().position(|known| *known == request);
        let shoot = match known {
            Some(shoot) => shoot,
            None => match survey::survey(&request) {
                Ok(shoot) => {
                    prepared.shoots.push(shoot);
                    prepared.requests.push(request);
                    prepared.shoots.len() - 1
                }
                Err(mistakes) => {
                    // The script's line has nothing to do with a source given in its place.
                    let placed = |mistake: Diagnostic| match options.sources.is_empty() {
                        true => mistake.at(&source.place),
                        false => mistake,
                    };
                    found.extend(Diagnostics(mistakes.0.into_iter().map(placed).collect()));
                    continue;
                }
            },
        };
        match resolve::resolve(&shot, &prepared.shoots[shoot]) {
            Ok(mut plan) => {
                found.extend(std::mem::take(&mut plan.remarks));
                keep_wanted(&options.deliveries, &mut plan);
                prepared.parts.push(Part { shot, shoot, plan });
            }
            Err(mistakes) => found.extend(mistakes),
        }
    }
    if found.refused() {
        let reply = Reply { notes: found, messages: prepared.messages, ..Reply::default() };
        return Err(Failure { reply, code: REFUSED });
    }
    prepared.remarks = found;
    Ok(prepared)
}

/// Runs a script with the user's own moves in reach.
pub(super) fn run(path: &Path, settings: &[(String, String)]) -> Result<script::Script, Failure> {
    let request = script::Request { path: path.to_owned(), settings: settings.to_vec(), user_moves: user_moves_folder() };
    script::run(&request).map_err(|refused| Failure {
        reply: Reply { notes: refused.diagnostics, messages: refused.messages, ..Reply::default() },
        code: REFUSED,
    })
}

/// Refuses a `--source` in place of several different ones: which of them it is meant for cannot be told.
fn check_source_replaced(sources: &[String], shots: &[Shot], found: &mut Diagnostics) {
    let Some((first, others)) = shots.split_first().filter(|_| !sources.is_empty()) else { return };
    let Some(other) = others.iter().find(|shot| shot.source.paths != first.source.paths) else { return };
    found.push(
        Diagnostic::mistake("--source takes the place of one source, and this script has several")
            .at(&first.source.place)
            .word("stills")
            .with(&other.source.place, "another one")
            .help("a dial names one of several: stills { dial(\"day\", \"stills\") } is set with --set day=FOLDER"),
    );
}

/// Refuses a `--delivery` that no shot has.
fn check_deliveries_wanted(wanted: &[String], shots: &[Shot], found: &mut Diagnostics) {
    let names: Vec<&str> = shots.iter().flat_map(|shot| &shot.deliveries).map(|delivery| delivery.name.as_str()).collect();
    for name in wanted {
        if names.contains(&name.as_str()) {
            continue;
        }
        let mistake = Diagnostic::mistake(format!("no delivery is called '{name}'"));
        found.push(match nearest(name, &names) {
            Some(near) => mistake.help(format!("did you mean '{near}'?")),
            None => mistake.help(format!("there is: {}", names.join(", "))),
        });
    }
}

/// Leaves only the deliveries asked for.
pub(super) fn keep_wanted(wanted: &[String], plan: &mut Plan) {
    if !wanted.is_empty() {
        plan.deliveries.retain(|delivery| wanted.contains(&delivery.name));
    }
}

/// The user's own moves: `$XDG_CONFIG_HOME/stillpath/moves`, or `~/.config/stillpath/moves`.
fn user_moves_folder() -> Option<PathBuf> {
    let config = std::env::var_os("XDG_CONFIG_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let config = config.or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(config.join("stillpath").join("moves"))
}

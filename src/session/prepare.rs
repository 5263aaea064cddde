//! From a script's path to plans over surveyed shoots: everything that is decided before the first pixel.

use std::path::{Path, PathBuf};

use super::{Failure, REFUSED, Reply, ScriptOptions};
use crate::diag::{Diagnostic, Diagnostics, nearest};
use crate::plan::Plan;
use crate::shoot::Shoot;
use crate::shot::Shot;
use crate::{encode, resolve, script, survey};

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
    let request =
        script::Request { path: options.script.clone(), settings: options.settings.clone(), user_moves: user_moves_folder() };
    let script = script::run(&request).map_err(|refused| Failure {
        reply: Reply { notes: refused.diagnostics, messages: refused.messages, ..Reply::default() },
        code: REFUSED,
    })?;
    let mut found = script.remarks;
    let base = match options.script.parent() {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    };
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
        let request =
            survey::Request { base: base.clone(), paths: source.paths.clone(), obey_orientation: source.obey_orientation };
        let known = prepared.requests.iter().position(|known| *known == request);
        let shoot = match known {
            Some(shoot) => shoot,
            None => match survey::survey(&request) {
                Ok(shoot) => {
                    let said = shoot.notes.iter().map(|note| Diagnostic::remark(note.message.clone()).at(&source.place));
                    found.extend(Diagnostics(said.collect()));
                    prepared.shoots.push(shoot);
                    prepared.requests.push(request);
                    prepared.shoots.len() - 1
                }
                Err(mistakes) => {
                    found.extend(Diagnostics(mistakes.0.into_iter().map(|mistake| mistake.at(&source.place)).collect()));
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

/// Says which deliveries their codec cannot make here, each at its line.
pub(super) fn check_codecs(prepared: &Prepared, found: &mut Diagnostics) {
    for part in &prepared.parts {
        for plan in &part.plan.deliveries {
            if let Err(why) = encode::preflight(&plan.codec, plan.frame, plan.fps) {
                let place =
                    part.shot.deliveries.iter().find(|delivery| delivery.name == plan.name).map(|delivery| &delivery.place);
                let mistake = Diagnostic::mistake(why);
                found.push(match place {
                    Some(place) => mistake.at(place),
                    None => mistake,
                });
            }
        }
    }
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

//! From a script's path to plans over surveyed shoots: everything that is decided before the first pixel.

use std::path::{Path, PathBuf};

use super::{Failure, REFUSED, Reply, ScriptOptions, preflight};
use crate::diag::{Diagnostic, Diagnostics};
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
    /// What the script itself is remarked on for; [`Prepared::notes`] has the plans' remarks too.
    remarks: Diagnostics,
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

/// Whether the encoders are to be asked if they can make the deliveries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoders {
    /// For what leads up to a render.
    Asked,
    /// For what comes without one.
    LeftAlone,
}

/// Runs the script, surveys its shoots, resolves its shots.
///
/// # Errors
/// [`Failure`] with all the mistakes that any of these found.
pub(super) fn prepare(options: &ScriptOptions, ask: Encoders) -> Result<Prepared, Failure> {
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
    for mut shot in script.shots {
        if !options.deliveries.is_empty() {
            shot.deliveries.retain(|delivery| options.deliveries.contains(&delivery.name));
        }
        if shot.deliveries.is_empty() {
            continue;
        }
        if ask == Encoders::Asked {
            preflight::encoders(&shot, &mut found);
        }
        match prepared.shoot_of(&shot, &base) {
            Ok(shoot) => match resolve::resolve(&shot, &prepared.shoots[shoot]) {
                Ok(plan) => prepared.parts.push(Part { shot, shoot, plan }),
                Err(mistakes) => found.extend(mistakes),
            },
            Err(mistakes) => found.extend(mistakes),
        }
    }
    prepared.remarks.extend(found);
    if prepared.remarks.refused() {
        let reply = Reply { notes: prepared.notes(), messages: prepared.messages, ..Reply::default() };
        return Err(Failure { reply, code: REFUSED });
    }
    Ok(prepared)
}

impl Prepared {
    /// Everything worth knowing: of the script, then of each plan as it stands.
    pub(super) fn notes(&self) -> Diagnostics {
        let mut notes = self.remarks.clone();
        for part in &self.parts {
            notes.extend(part.plan.remarks.clone());
        }
        notes
    }

    /// The shoot a shot is cut from, surveyed where no shot before it named the same.
    fn shoot_of(&mut self, shot: &Shot, base: &Path) -> Result<usize, Diagnostics> {
        let source = &shot.source;
        let request =
            survey::Request { base: base.to_owned(), paths: source.paths.clone(), obey_orientation: source.obey_orientation };
        if let Some(known) = self.requests.iter().position(|known| *known == request) {
            return Ok(known);
        }
        let shoot = survey::survey(&request)
            .map_err(|mistakes| Diagnostics(mistakes.0.into_iter().map(|mistake| mistake.at(&source.place)).collect()))?;
        let noted = shoot.notes.iter().map(|note| Diagnostic::remark(note.message.clone()).at(&source.place));
        self.remarks.extend(Diagnostics(noted.collect()));
        self.shoots.push(shoot);
        self.requests.push(request);
        Ok(self.shoots.len() - 1)
    }
}

/// Refuses a `--delivery` that no shot has.
fn check_deliveries_wanted(wanted: &[String], shots: &[Shot], found: &mut Diagnostics) {
    let names: Vec<&str> = shots.iter().flat_map(|shot| &shot.deliveries).map(|delivery| delivery.name.as_str()).collect();
    for name in wanted {
        if names.contains(&name.as_str()) {
            continue;
        }
        found.push(Diagnostic::mistake(format!("no delivery is called '{name}'")).nearest(name, &names));
    }
}

/// The user's own moves: `$XDG_CONFIG_HOME/stillpath/moves`, or `~/.config/stillpath/moves`.
fn user_moves_folder() -> Option<PathBuf> {
    let config = std::env::var_os("XDG_CONFIG_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let config = config.or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(config.join("stillpath").join("moves"))
}

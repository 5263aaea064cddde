//! From a script's path to plans over surveyed shoots: everything that is decided before the first pixel.

use std::path::{Path, PathBuf};

use super::{Failure, REFUSED, Reply, ScriptOptions, Watch, preflight, survey as looking, surveyed};
use crate::diag::{Diagnostic, Diagnostics};
use crate::level::Curve;
use crate::measures::Measures;
use crate::plan::{DeliveryPlan, Plan};
use crate::shoot::Shoot;
use crate::shot::{LevelBy, Shot};
use crate::{resolve, script, survey};

/// A script made ready to render.
pub(super) struct Prepared {
    /// The script's file name without extension: the beginning of every output's name.
    pub(super) stem: String,
    /// The distinct shoots.
    pub(super) shoots: Vec<Shoot>,
    /// How each of them was surveyed.
    pub(super) requests: Vec<survey::Request>,
    /// What looking at each of them measured, where a shot asked for it.
    pub(super) measures: Vec<Option<Measures>>,
    /// One a shot.
    pub(super) parts: Vec<Part>,
    /// What the script lets its user set.
    pub(super) dials: Vec<script::Dial>,
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
    /// The table of gains it is levelled by, where there is one.
    pub(super) curve: Option<Curve>,
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

/// How the stills are looked at, where a shot asks for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Looking<'a> {
    pub(super) watch: &'a Watch,
    /// No progress.
    pub(super) quiet: bool,
}

/// Runs the script, surveys its shoots (and looks at those that are to be levelled), resolves its shots.
///
/// # Errors
/// [`Failure`] with all the mistakes that any of these found, or where looking was interrupted.
pub(super) fn prepare(options: &ScriptOptions, ask: Encoders, look: Looking<'_>) -> Result<Prepared, Failure> {
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
        measures: Vec::new(),
        parts: Vec::new(),
        dials: script.dials,
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
        match prepared.shoot_of(&shot, &base, &options.sources) {
            Ok(shoot) => {
                let curve = match curve(&shot, &base) {
                    Ok(curve) => curve,
                    Err(mistake) => {
                        found.push(*mistake);
                        continue;
                    }
                };
                prepared.look_for(&shot, shoot, look)?;
                match resolved(&shot, &prepared.shoots[shoot], prepared.measures[shoot].as_ref(), curve.as_ref()) {
                    Ok(plan) => prepared.parts.push(Part { shot, shoot, curve, plan }),
                    Err(mistakes) => found.extend(mistakes),
                }
            }
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

    /// The one delivery there is.
    ///
    /// # Errors
    /// [`Failure`] where there are several: one is to be named.
    pub(super) fn one_delivery(&self) -> Result<(&Part, &DeliveryPlan), Failure> {
        let all: Vec<_> = self.parts.iter().flat_map(|part| part.plan.deliveries.iter().map(move |plan| (part, plan))).collect();
        if let [one] = all[..] {
            return Ok(one);
        }
        let names: Vec<&str> = all.iter().map(|(_, plan)| plan.name.as_str()).collect();
        let message = format!("which of the deliveries? {}", names.join(", "));
        Err(Failure::refused(Diagnostic::mistake(message).help("name one with --delivery")))
    }

    /// The shoot a shot is cut from, surveyed where no shot before it named the same: its own, seen from the script's folder
    /// `base`, or `instead`, seen from the working folder.
    fn shoot_of(&mut self, shot: &Shot, base: &Path, instead: &[String]) -> Result<usize, Diagnostics> {
        let source = &shot.source;
        let (base, paths) = if instead.is_empty() { (base, &source.paths[..]) } else { (Path::new("."), instead) };
        let request = survey::Request {
            base: base.to_owned(),
            paths: paths.to_vec(),
            obey_orientation: source.obey_orientation,
            pairs: source.pairs,
        };
        let is_it =
            |(known, shoot): (&survey::Request, &Shoot)| *known == request && shoot.recording.is_some() == source.recorded;
        if let Some(known) = self.requests.iter().zip(&self.shoots).position(is_it) {
            return Ok(known);
        }
        // The script's line has nothing to do with a source given in its place.
        let placed = |said: Diagnostic| if instead.is_empty() { said.at(&source.place) } else { said };
        let shoot =
            surveyed(&request, source.recorded).map_err(|mistakes| Diagnostics(mistakes.0.into_iter().map(placed).collect()))?;
        let noted = shoot.notes.iter().map(|note| placed(Diagnostic::remark(note.message.clone())));
        self.remarks.extend(Diagnostics(noted.collect()));
        self.shoots.push(shoot);
        self.requests.push(request);
        self.measures.push(None);
        Ok(self.shoots.len() - 1)
    }

    /// Looks at a shoot where a shot goes by what it measures and nobody has looked yet.
    fn look_for(&mut self, shot: &Shot, shoot: usize, look: Looking<'_>) -> Result<(), Failure> {
        let wanted = shot.level.as_ref().is_some_and(|level| matches!(level.by, LevelBy::Measured { .. }));
        // A shot that is refused without its measures needs none.
        if wanted && self.measures[shoot].is_none() && resolve::resolve(shot, &self.shoots[shoot]).is_ok() {
            self.measures[shoot] = Some(looking::looked(&mut self.shoots[shoot], look.quiet, look.watch)?);
        }
        Ok(())
    }
}

/// The plan of a shot, levelled where it asks for that.
///
/// # Errors
/// Every mistake found.
pub(super) fn resolved(
    shot: &Shot,
    shoot: &Shoot,
    measures: Option<&Measures>,
    curve: Option<&Curve>,
) -> Result<Plan, Diagnostics> {
    let mut plan = resolve::resolve(shot, shoot)?;
    let from = curve.map(resolve::LevelFrom::Curve).or(measures.map(resolve::LevelFrom::Measures));
    if let Some(from) = from {
        resolve::level(&mut plan, shot, shoot, from)?;
    }
    Ok(plan)
}

/// The table of gains that a shot names, seen from the script's folder.
fn curve(shot: &Shot, base: &Path) -> Result<Option<Curve>, Box<Diagnostic>> {
    let Some(level) = &shot.level else { return Ok(None) };
    let LevelBy::Curve(path) = &level.by else { return Ok(None) };
    let path = base.join(path);
    let said = |what: String| Box::new(Diagnostic::mistake(format!("{}: {what}", path.display())).at(&level.place).word("curve"));
    let text = std::fs::read_to_string(&path).map_err(|error| said(error.to_string()))?;
    Curve::from_csv(&text).map(Some).map_err(|error| said(error.to_string()))
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
        found.push(Diagnostic::mistake(format!("no delivery is called '{name}'")).nearest(name, &names));
    }
}

/// The user's own moves: `$XDG_CONFIG_HOME/stillpath/moves`, or `~/.config/stillpath/moves`.
fn user_moves_folder() -> Option<PathBuf> {
    let config = std::env::var_os("XDG_CONFIG_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let config = config.or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(config.join("stillpath").join("moves"))
}

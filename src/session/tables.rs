//! `level` and `steady`: what levelling and steadying do to every still, as tables to read, edit and feed back.

use std::path::{Path, PathBuf};

use super::prepare::{Encoders, Part, Prepared, prepare};
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, Watch, put};
use crate::diag::{self, Diagnostic};
use crate::plan::Plan;
use crate::resolve::{FoundAt, Made};
use crate::shoot::Shoot;
use crate::survey;
use crate::track::{self, Spot, StillSpot};

/// Where a table goes.
#[derive(Debug, Clone)]
pub struct TableOptions {
    /// The file to write; standard output where none.
    pub output: Option<PathBuf>,
    /// Whether an existing file may be replaced.
    pub force: bool,
}

/// Which table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Gains.
    Level,
    /// Stands.
    Steady,
}

impl Kind {
    /// The field of a shot that asks for it.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Level => "level",
            Self::Steady => "steady",
        }
    }

    /// What a script does without it.
    fn nothing(self) -> &'static str {
        match self {
            Self::Level => "the script levels nothing",
            Self::Steady => "the script steadies nothing",
        }
    }

    /// A plan's table, with a line about it; none where the shot does not ask for it.
    pub(super) fn of(self, plan: &Plan, shoot: &Shoot) -> Option<(String, String)> {
        match self {
            Self::Level => plan.level.as_ref().map(|level| (level.curve(shoot).to_csv(), level.summary())),
            Self::Steady => plan.steady.as_ref().map(|steady| (steady.table(shoot).to_csv(), steady.summary())),
        }
    }

    /// Whether a plan has one.
    fn is_of(self, plan: &Plan) -> bool {
        match self {
            Self::Level => plan.level.is_some(),
            Self::Steady => plan.steady.is_some(),
        }
    }

    /// The files that a render keeps a part's tables in, beside its outputs: one, or one for each shot of a reel that has
    /// one, with that shot's plan and stills, for a table is fed back to one shot.
    pub(super) fn kept_in<'a>(self, prepared: &'a Prepared, part: &'a Part, out: &Path) -> Vec<Kept<'a>> {
        let shoot = &prepared.shoots[part.shoot];
        let each: Vec<(Option<&str>, &Plan, &Shoot)> = match (&part.made, &part.shot.reel) {
            (Made::Reel { shots, .. }, Some(reel)) => {
                let names = reel.shots.iter().map(|shot| Some(&*shot.name));
                let plans = shots.iter().map(|made| &made.plan);
                let shoots = shoot.members.iter().map(|member| &member.shoot);
                names.zip(plans).zip(shoots).map(|((name, plan), shoot)| (name, plan, shoot)).collect()
            }
            _ => vec![(None, part.made.plan(), shoot)],
        };
        let name = part.made.plan().shot.as_str();
        let kept = |(of, plan, shoot): (Option<&str>, &'a Plan, &'a Shoot)| {
            let names = [Some(&*prepared.stem), Some(name).filter(|name| !name.is_empty()), of, Some(self.word())];
            let names: Vec<&str> = names.into_iter().flatten().collect();
            self.is_of(plan).then(|| Kept {
                kind: self,
                path: out.join(format!("{}.csv", names.join("-"))),
                plan,
                shoot,
            })
        };
        each.into_iter().filter_map(kept).collect()
    }
}

/// A table that a render keeps beside its outputs.
pub(super) struct Kept<'a> {
    /// What it holds.
    pub(super) kind: Kind,
    /// Its file.
    pub(super) path: PathBuf,
    /// Whose table it is.
    plan: &'a Plan,
    shoot: &'a Shoot,
}

impl Kept<'_> {
    /// Writes it; the line about it.
    ///
    /// # Errors
    /// What the disk says.
    pub(super) fn write(&self) -> Result<String, Box<Diagnostic>> {
        let Some((table, summary)) = self.kind.of(self.plan, self.shoot) else { return Ok(String::new()) };
        write(&self.path, &table).map(|()| summary)
    }
}

/// The files that a render keeps boxes of what is tracked in, beside its outputs: what is followed in `…-track.csv`,
/// what is covered in `…-cover1-track.csv` and so on.
pub(super) fn tracks_kept_in(prepared: &Prepared, part: &Part, out: &Path) -> Vec<PathBuf> {
    track_names(prepared, part).into_iter().map(|(name, _)| out.join(name)).collect()
}

fn track_names<'a>(prepared: &Prepared, part: &'a Part) -> Vec<(String, &'a FoundAt)> {
    let shot = if part.shot.name.is_empty() { String::new() } else { format!("-{}", part.shot.name) };
    let (mut covers, mut follows) = (0, 0);
    // What the script reads is its user's own by now, and not written over.
    let read: Vec<&str> =
        part.tracks().iter().filter_map(|one| Path::new(one.wanted.table()?).file_name()?.to_str()).collect();
    let name = |one: &FoundAt| {
        loop {
            let of = if one.wanted.word == "cover" {
                covers += 1;
                format!("-cover{covers}")
            } else {
                follows += 1;
                if follows == 1 { String::new() } else { format!("-follow{follows}") }
            };
            let name = format!("{}{shot}{of}-track.csv", prepared.stem);
            if !read.contains(&&*name) {
                return name;
            }
        }
    };
    // In the script's order.
    let mut tracks: Vec<&FoundAt> = part.tracks().iter().filter(|one| one.wanted.table().is_none()).collect();
    tracks.sort_by_key(|one| one.wanted.place.line);
    let names: Vec<String> = tracks.iter().copied().map(name).collect();
    names.into_iter().zip(tracks).collect()
}

/// These files, and what is written into each.
pub(super) fn tracks(prepared: &Prepared, part: &Part, out: &Path) -> Vec<(PathBuf, String)> {
    let shoot = &prepared.shoots[part.shoot];
    let table = |one: &FoundAt| {
        let spots = one.found.spots.iter().enumerate();
        let line = |(slot, spot): (usize, &Option<Spot>)| {
            Some(StillSpot { slot, spot: (*spot)?, name: shoot.slots[slot].name.clone() })
        };
        track::Table { lines: spots.filter_map(line).collect() }.to_csv()
    };
    track_names(prepared, part).into_iter().map(|(name, one)| (out.join(name), table(one))).collect()
}

/// Prints or writes the gains of a script's stills.
///
/// # Errors
/// [`Failure`] with every mistake found, where nothing is levelled or several shots are, and where the file cannot be
/// written.
pub fn level(script: &ScriptOptions, options: &TableOptions, watch: &Watch) -> Result<Reply, Failure> {
    table(Kind::Level, script, options, watch)
}

/// Prints or writes the stands of a script's stills.
///
/// # Errors
/// As [`level`].
pub fn steady(script: &ScriptOptions, options: &TableOptions, watch: &Watch) -> Result<Reply, Failure> {
    table(Kind::Steady, script, options, watch)
}

fn table(kind: Kind, script: &ScriptOptions, options: &TableOptions, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(script, Encoders::LeftAlone, Looking { watch, quiet: false })?.apart();
    let word = kind.word();
    let tables: Vec<(&Part, (String, String))> = prepared
        .parts
        .iter()
        .filter_map(|part| Some((part, kind.of(part.made.plan(), &prepared.shoots[part.shoot])?)))
        .collect();
    let (part, (table, summary)) = match &tables[..] {
        [one] => one,
        [] => {
            let mistake = Diagnostic::mistake(kind.nothing());
            return Err(Failure::refused(mistake.help(format!("write {word} = true in its shot {{ … }}"))));
        }
        _ => {
            let names: Vec<&str> = tables.iter().map(|(part, _)| part.made.plan().shot.as_str()).collect();
            let mistake = Diagnostic::mistake(format!("which of the shots? {}", names.join(", ")));
            return Err(Failure::refused(mistake.help("name one of its deliveries with --delivery")));
        }
    };
    let text = match &options.output {
        None => table.clone(),
        Some(path) => {
            let output = std::slice::from_ref(path);
            if prepared.requests_of(part).any(|request| !survey::would_take(request, output).is_empty()) {
                let message = format!("{} lies among the stills and would be taken for one of them", path.display());
                return Err(Failure::refused(Diagnostic::mistake(message).help("write it into another folder")));
            }
            if path.exists() && !options.force {
                let message = format!("{} is already there", path.display());
                return Err(Failure::refused(Diagnostic::mistake(message).help("--force replaces it")));
            }
            put::check(path)?;
            write(path, table).map_err(|mistake| Failure::failed(*mistake))?;
            let path = diag::path(path);
            format!("{path}  {summary}edit it, and feed it back with {word} = {{ curve = \"{path}\" }}\n")
        }
    };
    Ok(Reply { text, notes: prepared.notes(), messages: prepared.messages, closing: None })
}

/// Writes a table under its final name once it is whole.
///
/// # Errors
/// What the disk says.
pub(super) fn write(path: &Path, table: &str) -> Result<(), Box<Diagnostic>> {
    put::write(path, table.as_bytes(), true).map_err(|error| Box::new(put::unwritable(path, &error)))
}

//! From a script's path to plans over surveyed shoots: everything that is decided before the first pixel.
//!
//! ## Decisions
//!
//! - `--source` is relative to the working folder and replaces the script's one source, however often that is used. A
//!   script with several sources is refused. `missing`, `damaged`, `from` and `to` stay the script's own.

use std::path::{Path, PathBuf};

use super::corrected::{curve, named_tables, stands};
use super::running::run;
use super::surveyor::{Anew, Looking, Surveyor};
use super::{Failure, REFUSED, Reply, ScriptOptions, held, listed, preflight};
use crate::diag::{Diagnostic, Diagnostics};
use crate::lettering::Supplies;
use crate::level::Curve;
use crate::measures::Measures;
use crate::plan::DeliveryPlan;
use crate::register::{Pose, Registered};
use crate::resolve::{FoundAt, Known, LevelFrom, Made, Resolved, ToTrack};
use crate::shoot::Shoot;
use crate::shot::{LevelBy, Shot, SteadyBy};
use crate::{resolve, script, survey};

/// A script made ready to render.
pub(super) struct Prepared {
    /// The script's file name without extension: the beginning of every output's name.
    pub(super) stem: String,
    /// The script's folder.
    pub(super) base: PathBuf,
    /// The fonts and pictures that its stamps name.
    pub(super) supplies: Supplies,
    /// What was read of it: itself, then its modules.
    pub(super) texts: Vec<script::Text>,
    /// The distinct shoots, and after them those that reels join.
    pub(super) shoots: Vec<Shoot>,
    /// How each of the first was surveyed.
    pub(super) requests: Vec<survey::Request>,
    /// What looking at each of them measured, where a shot asked for it.
    measures: Vec<Option<Measures>>,
    /// How the stills of each of them lie against one another, where a shot asked for it.
    registered: Vec<Option<Registered>>,
    /// One a shot.
    pub(super) parts: Vec<Part>,
    /// What the script lets its user set.
    pub(super) dials: Vec<script::Dial>,
    /// The tables of windows that its framings name.
    pub(super) tables: Vec<script::Text>,
    /// What the script itself is remarked on for; [`Prepared::notes`] has the plans' remarks too.
    remarks: Diagnostics,
    /// What the script printed.
    pub(super) messages: Vec<String>,
}

/// One shot, or a reel of several, the shoot it is cut from, and its plan.
pub(super) struct Part {
    pub(super) shot: Shot,
    /// Index among [`Prepared::shoots`].
    pub(super) shoot: usize,
    /// What is known for it; for a reel, for each of its shots in order.
    singles: Vec<Single>,
    /// Its plan, and what that was made of.
    pub(super) made: Made,
}

/// What is known for one shot beside its shoot.
struct Single {
    /// Index of the shoot it is cut from among [`Prepared::shoots`].
    shoot: usize,
    /// The table of gains it is levelled by, where there is one.
    curve: Option<Curve>,
    /// By slot, where its stills stand that are to be steadied: none where that is not known.
    stands: Option<Vec<Option<Pose>>>,
    /// Where what it tracks was found.
    tracks: Vec<FoundAt>,
}

/// Whether the encoders are to be asked if they can make the deliveries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoders {
    /// For what leads up to a render.
    Asked,
    /// For what comes without one.
    LeftAlone,
}

/// Runs the script, surveys its shoots (and looks at those that are to be levelled or steadied), resolves its shots.
///
/// # Errors
/// [`Failure`] with all the mistakes that any of these found, or where looking was interrupted.
pub(super) fn prepare(options: &ScriptOptions, ask: Encoders, look: Looking<'_>) -> Result<Prepared, Failure> {
    prepare_with(options, ask, look, &mut Anew)
}

/// As [`prepare()`], by a surveyor who may know the shoots already.
///
/// # Errors
/// As [`prepare()`].
pub(super) fn prepare_with(
    options: &ScriptOptions,
    ask: Encoders,
    look: Looking<'_>,
    surveyor: &mut dyn Surveyor,
) -> Result<Prepared, Failure> {
    prepare_ran(options, run(&options.script, &options.settings)?, ask, look, surveyor)
}

/// As [`prepare_with`], of the script once it has run.
///
/// # Errors
/// As [`prepare()`].
pub(super) fn prepare_ran(
    options: &ScriptOptions,
    script: script::Script,
    ask: Encoders,
    look: Looking<'_>,
    surveyor: &mut dyn Surveyor,
) -> Result<Prepared, Failure> {
    let mut found = script.remarks;
    let base = match options.script.parent() {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    };
    check_source_replaced(&options.sources, &script.shots, &mut found);
    let mut prepared = Prepared {
        stem: options.script.file_stem().map_or_else(|| "script".into(), |stem| stem.to_string_lossy().into_owned()),
        base: base.clone(),
        supplies: Supplies::of(&base),
        texts: script.texts,
        shoots: Vec::new(),
        requests: Vec::new(),
        measures: Vec::new(),
        registered: Vec::new(),
        parts: Vec::new(),
        dials: script.dials,
        tables: Vec::new(),
        remarks: Diagnostics::default(),
        messages: script.messages,
    };
    check_deliveries_wanted(&options.deliveries, &script.shots, &mut found);
    let mut known = Vec::new();
    let mut tables = listed::Tables::default();
    for mut shot in script.shots {
        if !options.deliveries.is_empty() {
            shot.keep_deliveries(|delivery| options.deliveries.contains(&delivery.name));
        }
        if shot.deliveries.is_empty() {
            continue;
        }
        let laid_out = shot.singles_mut().iter_mut().try_for_each(|single| tables.lay_out(single, &base));
        if let Err(mistake) = laid_out {
            found.push(*mistake);
            continue;
        }
        if ask == Encoders::Asked {
            preflight::encoders(&shot, &mut found);
        }
        let mut singles = Vec::new();
        for single in shot.singles() {
            let seen = prepared.look_into(single, (&base, &options.sources), ask, look, surveyor, &mut found)?;
            singles.extend(seen);
        }
        if singles.len() == shot.singles().len() {
            known.push((shot, singles));
        }
    }
    for (shot, singles) in known {
        let shoot = prepared.shown_in(&shot, &singles);
        match prepared.resolved(&shot, shoot, &singles) {
            Ok(made) => prepared.parts.push(Part { shot, shoot, singles, made }),
            Err(mistakes) => found.extend(mistakes),
        }
    }
    prepared.tables = tables.texts();
    prepared.remarks.extend(found);
    if prepared.remarks.refused() {
        let reply = Reply { notes: prepared.notes(), messages: prepared.messages, ..Reply::default() };
        return Err(Failure { reply, code: REFUSED });
    }
    Ok(prepared)
}

impl Part {
    /// Where what it tracks was found; nothing of a reel, whose shots track by themselves.
    pub(super) fn tracks(&self) -> &[FoundAt] {
        if self.shot.reel.is_some() { &[] } else { self.singles.first().map_or(&[], |single| &single.tracks) }
    }

    /// A reel's shots, each by itself; or what there is. Where the script has `several` reels or shots, their names begin
    /// with their reel's.
    fn apart(self, several: bool) -> Vec<Self> {
        match (self.made, self.shot.reel) {
            (Made::Reel { shots, .. }, Some(reel)) => {
                let parts = reel.shots.into_iter().zip(self.singles).zip(shots);
                let name =
                    |shot: &Shot| if several { format!("{}-{}", self.shot.name, shot.name) } else { shot.name.clone() };
                let part = |((shot, single), made): ((Shot, Single), Resolved)| Self {
                    shoot: single.shoot,
                    shot: Shot { name: name(&shot), ..shot },
                    singles: vec![single],
                    made: Made::Shot(Box::new(made)),
                };
                parts.map(part).collect()
            }
            (made, reel) => vec![Self { made, shot: Shot { reel, ..self.shot }, ..self }],
        }
    }
}

impl Prepared {
    /// Surveys the shoot of one shot, and looks at it where the shot asks for that; none where anything is wrong, which
    /// is in `found` then.
    fn look_into(
        &mut self,
        shot: &Shot,
        (base, instead): (&Path, &[String]),
        ask: Encoders,
        look: Looking<'_>,
        surveyor: &mut dyn Surveyor,
        found: &mut Diagnostics,
    ) -> Result<Option<Single>, Failure> {
        let shoot = match self.shoot_of(shot, base, instead, surveyor) {
            Ok(shoot) => shoot,
            Err(mistakes) => {
                found.extend(mistakes);
                return Ok(None);
            }
        };
        let curve = match curve(shot, base) {
            Ok(curve) => curve,
            Err(mistake) => {
                found.push(*mistake);
                return Ok(None);
            }
        };
        self.look_for(shot, shoot, look, surveyor)?;
        let seen = &self.shoots[shoot];
        if ask == Encoders::Asked {
            preflight::masters(shot, seen, found);
        }
        let stands = match stands(shot, seen, self.registered[shoot].as_ref(), base, found) {
            Ok(stands) => stands,
            Err(mistake) => {
                found.push(*mistake);
                return Ok(None);
            }
        };
        let named = match named_tables(shot, seen, base) {
            Ok(named) => named,
            Err(mistake) => {
                found.push(*mistake);
                return Ok(None);
            }
        };
        let knows = known(self.measures_of(shoot), curve.as_ref(), stands.as_deref(), &self.supplies);
        let tracking = match tracking(shot, seen, Known { tracks: &named, ..knows }) {
            Ok(tracking) => tracking,
            Err(mistakes) => {
                found.extend(mistakes);
                return Ok(None);
            }
        };
        let looked = self.track(shoot, tracking, look, surveyor)?;
        Ok(Some(Single { shoot, curve, stands, tracks: [named, looked].concat() }))
    }

    /// The shoot that a shot's frames are made from: its own, or those of a reel's shots joined, after all others.
    fn shown_in(&mut self, shot: &Shot, singles: &[Single]) -> usize {
        if shot.reel.is_none() {
            return singles[0].shoot;
        }
        let shoots = singles.iter().map(|single| self.shoots[single.shoot].clone()).collect();
        self.shoots.push(Shoot::joined(shoots));
        self.shoots.len() - 1
    }

    fn resolved(&self, shot: &Shot, shoot: usize, singles: &[Single]) -> Result<Made, Diagnostics> {
        let known: Vec<Known<'_>> = singles
            .iter()
            .map(|Single { shoot, curve, stands, tracks }| {
                let knows = known(self.measures_of(*shoot), curve.as_ref(), stands.as_deref(), &self.supplies);
                Known { tracks, ..knows }
            })
            .collect();
        resolve::resolve_all(shot, &self.shoots[shoot], &known)
    }

    /// Resolves the parts cut from a shoot anew, of which something else is known by now.
    ///
    /// # Errors
    /// The mistakes of the first that cannot be had.
    pub(super) fn resolve_again(&mut self, shoot: usize) -> Result<(), Diagnostics> {
        for index in 0..self.parts.len() {
            let part = &self.parts[index];
            if part.shoot == shoot {
                self.parts[index].made = self.resolved(&part.shot, shoot, &part.singles)?;
            }
        }
        Ok(())
    }

    /// What looking at a shoot measured, where that was asked for; of those that a reel joins each has its own.
    pub(super) fn measures_of(&self, shoot: usize) -> Option<&Measures> {
        self.measures.get(shoot)?.as_ref()
    }

    /// How the stills of a shoot were found: a reel's, those of each of its shots.
    pub(super) fn requests_of(&self, part: &Part) -> impl Iterator<Item = &survey::Request> {
        part.singles.iter().map(|single| &self.requests[single.shoot])
    }

    /// The shoots that any clip is made from, in order; not those that only a reel shows, joined with others.
    pub(super) fn shown(&self) -> Vec<usize> {
        let is_shown = |shoot: &usize| self.parts.iter().any(|part| part.shoot == *shoot);
        (0..self.shoots.len()).filter(is_shown).collect()
    }

    /// The same with the shots of its reels one by one, in the place of the reels.
    pub(super) fn apart(mut self) -> Self {
        let parts = std::mem::take(&mut self.parts);
        let several = parts.len() > 1;
        self.parts = parts.into_iter().flat_map(|part| part.apart(several)).collect();
        self
    }

    /// Everything worth knowing: of the script, then of each plan as it stands.
    pub(super) fn notes(&self) -> Diagnostics {
        let mut notes = self.remarks.clone();
        for part in &self.parts {
            notes.extend(part.made.plan().remarks.clone());
            notes.extend(held::by_plan(&part.shot, part.made.plan()));
        }
        notes
    }

    /// The same, and what is likely to come out too large for its purpose.
    pub(super) fn notes_and_estimates(&self) -> Diagnostics {
        let mut notes = self.notes();
        self.parts.iter().for_each(|part| notes.extend(held::by_estimate(&part.shot, part.made.plan())));
        notes
    }

    /// The script's name, and the shot's where it has several.
    pub(super) fn title(&self, part: &Part) -> String {
        if part.shot.name.is_empty() { self.stem.clone() } else { format!("{}: {}", self.stem, part.shot.name) }
    }

    /// The one delivery there is.
    ///
    /// # Errors
    /// [`Failure`] where there are several: one is to be named.
    pub(super) fn one_delivery(&self) -> Result<(&Part, &DeliveryPlan), Failure> {
        let all: Vec<_> = self
            .parts
            .iter()
            .flat_map(|part| part.made.plan().deliveries.iter().map(move |plan| (part, plan)))
            .collect();
        if let [one] = all[..] {
            return Ok(one);
        }
        let names: Vec<&str> = all.iter().map(|(_, plan)| plan.name.as_str()).collect();
        let message = format!("which of the deliveries? {}", names.join(", "));
        Err(Failure::refused(Diagnostic::mistake(message).help("name one with --delivery")))
    }

    /// The shoot a shot is cut from, surveyed where no shot before it named the same: its own, seen from the script's
    /// folder `base`, or `instead`, seen from the working folder.
    fn shoot_of(
        &mut self,
        shot: &Shot,
        base: &Path,
        instead: &[String],
        surveyor: &mut dyn Surveyor,
    ) -> Result<usize, Diagnostics> {
        let (source, request) = (&shot.source, request_of(shot, base, instead));
        let is_it = |(known, shoot): (&survey::Request, &Shoot)| {
            *known == request && shoot.recording.is_some() == source.recorded
        };
        if let Some(known) = self.requests.iter().zip(&self.shoots).position(is_it) {
            return Ok(known);
        }
        // The script's line has nothing to do with a source given in its place.
        let placed = |said: Diagnostic| if instead.is_empty() { said.at(&source.place) } else { said };
        let shoot = surveyor
            .survey(&request, source.recorded)
            .map_err(|mistakes| Diagnostics(mistakes.0.into_iter().map(placed).collect()))?;
        let noted = shoot.notes.iter().map(|note| placed(Diagnostic::remark(note.message.clone())));
        self.remarks.extend(Diagnostics(noted.collect()));
        self.shoots.push(shoot);
        self.requests.push(request);
        self.measures.push(None);
        self.registered.push(None);
        Ok(self.shoots.len() - 1)
    }

    /// Looks at a shoot where a shot goes by what it measures and nobody has looked yet.
    fn look_for(
        &mut self,
        shot: &Shot,
        shoot: usize,
        look: Looking<'_>,
        surveyor: &mut dyn Surveyor,
    ) -> Result<(), Failure> {
        let (levelled, steadied) = goes_by_looking(shot);
        // A shot that is refused without its measures needs none.
        let (levelled, steadied) =
            (levelled && self.measures[shoot].is_none(), steadied && self.registered[shoot].is_none());
        let known = Known { supplies: Some(&self.supplies), ..Known::default() };
        if !(levelled || steadied) || resolve::resolve(shot, &self.shoots[shoot], known).is_err() {
            return Ok(());
        }
        let request = &self.requests[shoot];
        if levelled {
            self.measures[shoot] = Some(surveyor.look(request, &mut self.shoots[shoot], look)?);
        }
        if steadied {
            self.registered[shoot] = Some(surveyor.register(request, &mut self.shoots[shoot], look)?);
        }
        Ok(())
    }

    /// Looks for what a shot tracks.
    fn track(
        &mut self,
        shoot: usize,
        (tracking, wanted): ToTrack,
        look: Looking<'_>,
        surveyor: &mut dyn Surveyor,
    ) -> Result<Vec<FoundAt>, Failure> {
        if tracking.tasks.is_empty() {
            return Ok(Vec::new());
        }
        let found = surveyor.track(&mut self.shoots[shoot], &tracking, look)?;
        Ok(wanted.into_iter().zip(found).map(|((wanted, over), found)| FoundAt { wanted, found, over }).collect())
    }
}

/// What is to be looked for in the stills of a shot; nothing where it is refused without that.
fn tracking(shot: &Shot, shoot: &Shoot, knows: Known<'_>) -> Result<ToTrack, Diagnostics> {
    // What strict refuses may be right once it is known where its subject goes.
    let lenient = Shot { strict: false, ..shot.clone() };
    if !resolve::tracks(shot) || resolve::resolve(&lenient, shoot, knows).is_err() {
        return Ok(Default::default());
    }
    resolve::to_track(shot, shoot, knows.stands)
}

/// The shoot that a shot is cut from: its own, seen from the script's folder `base`, or `instead`, seen from the working
/// folder.
pub(super) fn request_of(shot: &Shot, base: &Path, instead: &[String]) -> survey::Request {
    let source = &shot.source;
    let (base, paths) = if instead.is_empty() { (base, &source.paths[..]) } else { (Path::new("."), instead) };
    survey::Request {
        base: base.to_owned(),
        paths: paths.to_vec(),
        obey_orientation: source.obey_orientation,
        pairs: source.pairs,
        camera: source.camera.clone(),
    }
}

/// Whether a shot goes by what looking at its stills measures: for levelling or for what happens in them, for steadying.
pub(super) fn goes_by_looking(shot: &Shot) -> (bool, bool) {
    let levelled = shot.level.as_ref().is_some_and(|level| matches!(level.by, LevelBy::Measured { .. }));
    let levelled = levelled || resolve::goes_by_action(shot);
    let steadied = shot.steady.as_ref().is_some_and(|steady| matches!(steady.by, SteadyBy::Measured { .. }));
    (levelled, steadied)
}

/// What a plan is made with beside a shot and its shoot.
fn known<'a>(
    measures: Option<&'a Measures>,
    curve: Option<&'a Curve>,
    stands: Option<&'a [Option<Pose>]>,
    supplies: &'a Supplies,
) -> Known<'a> {
    let level = curve.map(LevelFrom::Curve).or(measures.map(LevelFrom::Measures));
    Known {
        level,
        activity: measures.map(|measures| &measures.activity),
        stands,
        tracks: &[],
        supplies: Some(supplies),
    }
}

/// Refuses a `--source` in place of several different ones: which of them it is meant for cannot be told.
fn check_source_replaced(sources: &[String], shots: &[Shot], found: &mut Diagnostics) {
    let singles: Vec<&Shot> = shots.iter().flat_map(Shot::singles).collect();
    let Some((first, others)) = singles.split_first().filter(|_| !sources.is_empty()) else { return };
    let Some(other) = others.iter().find(|shot| shot.source.paths != first.source.paths) else { return };
    found.push(
        Diagnostic::mistake("--source replaces one source, but this script has several")
            .at(&first.source.place)
            .word("stills")
            .with(&other.source.place, "another one")
            .help("use a dial to choose one: stills { dial(\"day\", \"stills\") } is set with --set day=FOLDER"),
    );
}

/// Refuses a `--delivery` that no shot has.
pub(super) fn check_deliveries_wanted(wanted: &[String], shots: &[Shot], found: &mut Diagnostics) {
    let names: Vec<&str> =
        shots.iter().flat_map(|shot| &shot.deliveries).map(|delivery| delivery.name.as_str()).collect();
    for name in wanted {
        if names.contains(&name.as_str()) {
            continue;
        }
        found.push(Diagnostic::mistake(format!("no delivery is called '{name}'")).nearest(name, &names));
    }
}

//! The script run again as it was called: is it the same, does it find the same stills, does it come to the same plan?

use std::path::{Path, PathBuf};

use super::{ProveOptions, named};
use crate::decode::whole::whole;
use crate::diag::{Diagnostics, plain};
use crate::prove::{Candidate, Finding, Part, count, some};
use crate::receipt::{FilePath, FileUsed, Receipt};
use crate::script::{self, BUILTIN};
use crate::session::prepare::{self, Encoders, Prepared};
use crate::session::receipt::paths::seen_from;
use crate::session::rendering::mark_damaged;
use crate::session::running;
use crate::session::surveyor::Looking;
use crate::session::surveyor::{Kept, Surveyor as _};
use crate::session::{Failure, INTERRUPTED, ScriptOptions, Watch};
use crate::shoot::{Content, Damage, Shoot};
use crate::shot::Shot;
use crate::survey;
use crate::units::SlotIndex;

/// What came of running the script again.
pub(super) struct Again {
    /// What is proved of the script and its plan.
    pub(super) script: Part,
    /// Its plan, where there is one.
    pub(super) prepared: Option<Prepared>,
    /// The files of its shoots; none where they could not be surveyed.
    pub(super) candidates: Option<Vec<Candidate>>,
    /// By shot of the receipt, whether the plan of it is the same, and which part of `prepared` it is.
    pub(super) fits: Vec<Option<usize>>,
    /// What the script printed.
    pub(super) messages: Vec<String>,
}

/// Runs the script again, surveys its shoots and makes its plans.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn run(receipt: &Receipt, folder: &Path, options: &ProveOptions, watch: &Watch) -> Result<Again, Failure> {
    let mut part = Part::new("script");
    let mut again = Again {
        script: Part::new("script"),
        prepared: None,
        candidates: None,
        fits: vec![None; receipt.shots.len()],
        messages: Vec::new(),
    };
    let Some(path) = receipt.script.path.path().map(|path| folder.join(path)) else {
        part.findings.push(Finding::wrong("script-gone", "the receipt's path of the script is not a valid path"));
        return Ok(Again { script: part, ..again });
    };
    let name = named(&receipt.script.path);
    match whole(&path, false, &mut |_| true) {
        Ok(Some(whole)) if whole.blake3.to_hex().as_str() == receipt.script.blake3 => {}
        Ok(_) => part.findings.push(Finding::wrong("script-changed", format!("{name} was changed since the render"))),
        Err(error) => {
            let gone = error.kind() == std::io::ErrorKind::NotFound;
            let words = if gone { format!("{name} does not exist") } else { format!("{name} cannot be read: {error}") };
            let finding =
                if gone { Finding::wrong("script-gone", words) } else { Finding::unknown("script-unreadable", words) };
            part.findings.push(finding);
            return Ok(Again { script: part, ..again });
        }
    }
    let sources = receipt.script.sources.iter().map(|source| folder.join(source).to_string_lossy().into_owned());
    let script = ScriptOptions {
        script: path,
        settings: receipt.script.dials.clone().into_iter().collect(),
        sources: sources.collect(),
        deliveries: receipt.script.only.clone(),
    };
    let ran = match running::run(&script.script, &script.settings) {
        Ok(ran) => ran,
        Err(failure) => {
            part.findings.push(Finding::unknown(
                "script-refused",
                format!("{name} no longer runs: {}", first(&failure.reply.notes)),
            ));
            return Ok(Again { script: part, messages: failure.reply.messages, ..again });
        }
    };
    again.messages = ran.messages.clone();
    modules(receipt, &script.script, &ran.texts, &mut part);
    let mut surveyor = Kept::default();
    again.candidates = candidates(&script, &ran, &mut surveyor);
    let look = Looking { watch, quiet: options.quiet || options.json };
    match prepare::prepare_with(&script, Encoders::LeftAlone, look, &mut surveyor) {
        Ok(mut prepared) => {
            tables(receipt, &script.script, &prepared.tables, &mut part);
            again.fits = plans(receipt, &mut prepared, &mut part);
            again.prepared = Some(prepared);
        }
        Err(failure) if failure.code == INTERRUPTED => return Err(failure),
        Err(failure) => {
            let words = format!("{name} no longer gives a plan for its stills: {}", first(&failure.reply.notes));
            part.findings.push(Finding::wrong("no-plan", words));
        }
    }
    if part.findings.is_empty() {
        let modules = receipt.script.modules.len() as u64;
        let with =
            if modules == 0 { "is".to_owned() } else { format!("and {} that it uses are", count(modules, "module")) };
        part.proved.push(format!("{name} {with} as at the render; run again, it gives the same plan"));
    }
    Ok(Again { script: part, ..again })
}

/// The first mistake, in a line.
fn first(notes: &Diagnostics) -> String {
    let mistakes = notes.in_order().into_iter().find(|note| note.is_mistake());
    mistakes.map_or_else(|| "it is refused".into(), |note| plain(&note.message).into_owned())
}

/// Holds what the script took in against the receipt.
fn modules(receipt: &Receipt, script: &Path, texts: &[script::Text], part: &mut Part) {
    let base = super::folder_of(script);
    let used = |text: &script::Text| FileUsed {
        path: if text.path.to_string_lossy().starts_with(BUILTIN) {
            FilePath::of(&text.path)
        } else {
            FilePath::of(&seen_from(base, &text.path))
        },
        blake3: text.blake3.to_hex().to_string(),
    };
    let now: Vec<FileUsed> = texts.iter().skip(1).map(used).collect();
    let changed: Vec<String> = receipt
        .script
        .modules
        .iter()
        .filter(|module| !now.contains(module))
        .map(|module| named(&module.path))
        .collect();
    if !changed.is_empty() {
        part.findings
            .push(Finding::wrong("module-changed", format!("what the script uses was changed: {}", some(&changed))));
    } else if now.len() != receipt.script.modules.len() {
        part.findings.push(Finding::wrong("module-changed", "the script uses other modules than it did"));
    }
}

/// Holds the tables of windows that the script takes against the receipt.
fn tables(receipt: &Receipt, script: &Path, tables: &[script::Text], part: &mut Part) {
    let base = super::folder_of(script);
    let used = |text: &script::Text| FileUsed {
        path: FilePath::of(&seen_from(base, &text.path)),
        blake3: text.blake3.to_hex().to_string(),
    };
    let now: Vec<FileUsed> = tables.iter().map(used).collect();
    let due = &receipt.script.tables;
    let changed: Vec<String> =
        due.iter().filter(|table| !now.contains(table)).map(|table| named(&table.path)).collect();
    if !changed.is_empty() {
        let words = format!("a table of windows was changed: {}", some(&changed));
        part.findings.push(Finding::wrong("table-changed", words));
    }
}

/// The files of all shoots that the script names; none where one of them cannot be surveyed.
fn candidates(options: &ScriptOptions, ran: &script::Script, surveyor: &mut Kept) -> Option<Vec<Candidate>> {
    let base = super::folder_of(&options.script);
    let mut all: Vec<Candidate> = Vec::new();
    let mut known: Vec<survey::Request> = Vec::new();
    for shot in ran.shots.iter().flat_map(Shot::singles) {
        let instead = !options.sources.is_empty();
        let (from, paths) = if instead { (Path::new("."), &options.sources) } else { (base, &shot.source.paths) };
        let request = survey::Request {
            base: from.to_owned(),
            paths: paths.clone(),
            obey_orientation: shot.source.obey_orientation,
            pairs: shot.source.pairs,
            camera: shot.source.camera.clone(),
        };
        if known.contains(&request) {
            continue;
        }
        let shoot = surveyor.survey(&request, shot.source.recorded).ok()?;
        known.push(request);
        all.extend(files(&shoot).map(|path| Candidate { seen: FilePath::of(&seen_from(base, &path)), path }));
    }
    all.sort_by(|one, other| one.seen.cmp(&other.seen));
    all.dedup_by(|one, other| one.seen == other.seen);
    Some(all)
}

/// All files of a shoot: a recording; stills, whole or not, and what was set aside.
fn files(shoot: &Shoot) -> impl Iterator<Item = PathBuf> {
    let recording = shoot.recording.as_ref().map(|recording| recording.path.clone());
    let stills = shoot.slots.iter().filter(|_| recording.is_none()).filter_map(|slot| match &slot.content {
        Content::Whole(still) => Some(still.path.clone()),
        Content::Damaged { path, .. } => Some(path.clone()),
        Content::Missing => None,
    });
    let aside = shoot.set_aside.iter().map(|file| file.path.clone());
    stills.chain(aside).chain(recording.clone()).collect::<Vec<_>>().into_iter()
}

/// Holds the plans against the receipt: by shot of the receipt, the part whose plan is the same.
fn plans(receipt: &Receipt, prepared: &mut Prepared, part: &mut Part) -> Vec<Option<usize>> {
    let mut fits = fitting(receipt, prepared);
    if fits.contains(&None) {
        // Of a render that met damaged stills, the plan was made anew without them.
        mark(receipt, prepared);
        fits = fitting(receipt, prepared);
    }
    let same_shots = prepared.parts.len() == receipt.shots.len();
    if !same_shots {
        let (shots, due) = (count(prepared.parts.len() as u64, "shot"), receipt.shots.len());
        part.findings.push(Finding::wrong("other-plan", format!("the script has {shots}, but the receipt {due}")));
    } else if let Some(other) = fits.iter().position(Option::is_none) {
        let shot = &receipt.shots[other].name;
        let of = if shot.is_empty() { String::new() } else { format!(" of shot '{}'", plain(shot)) };
        let words =
            format!("run again over the stills, it gives another plan{of}: its frames are not those of the receipt");
        part.findings.push(Finding::wrong("other-plan", words));
    }
    fits
}

fn fitting(receipt: &Receipt, prepared: &Prepared) -> Vec<Option<usize>> {
    let fits = |(index, shot): (usize, &crate::receipt::Shot)| {
        let mut plan = prepared.parts.get(index)?.made.plan().clone();
        if *plan.hash().to_hex() == *shot.plan {
            return Some(index);
        }
        // Files that came to lie beside the stills change no frame; nor do the words for damage.
        plan.tally.set_aside = shot.tally.set_aside;
        let stills = &receipt.shoots[shot.shoot].stills;
        // Both are in the order of slots; a reel's shoots may have stills of one name.
        let mut left = stills.iter();
        for (name, done) in &mut plan.tally.damaged {
            let mut why =
                left.by_ref().filter(|still| still.name == *name).filter_map(|still| damage(still, &shot.name));
            if let Some(why) = why.next() {
                why.clone_into(done);
            }
        }
        (*plan.hash().to_hex() == *shot.plan).then_some(index)
    };
    receipt.shots.iter().enumerate().map(fits).collect()
}

/// How a still is damaged for a shot, in a receipt's words.
fn damage<'a>(still: &'a crate::receipt::Still, shot: &str) -> Option<&'a str> {
    let why = still.why.as_deref()?.trim_end_matches("; not read");
    let of_shot =
        why.split("; in ").find_map(|reason| reason.trim_start_matches("in ").strip_prefix(&format!("{shot}: ")));
    of_shot.unwrap_or(why).strip_prefix("damaged: ")
}

/// Marks the stills as damaged that the render found to be.
fn mark(receipt: &Receipt, prepared: &mut Prepared) {
    for (shoot, said) in prepared.shown().into_iter().zip(&receipt.shoots) {
        for (slot, still) in said.stills.iter().enumerate() {
            let known = prepared.shoots[shoot].slots.get(slot).filter(|known| known.name == still.name);
            let whole = known.is_some_and(|known| matches!(known.content, Content::Whole(_)));
            let said =
                still.why.as_deref().is_some_and(|why| why.contains("damaged: ") && !why.contains(" shown instead"));
            if whole && said {
                // Where the script says to stop, it stays, and the plan is another.
                let _stays =
                    mark_damaged(prepared, shoot, SlotIndex(slot), Damage::Corrupt("as the receipt says".into()));
            }
        }
    }
}

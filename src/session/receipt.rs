//! The receipt of a render: collected from what it was made of and what it made, written last of all.
//!
//! It says what one run made. A run of some deliveries only has a receipt of its own, with their names in its name, so
//! that it takes nothing from what an earlier receipt says of the others.
//!
//! ## Decisions
//!
//! - A still is hashed by the worker that has just decoded it, from the decoder's own buffer (`Decoder::hash_read`),
//!   whether or not decoding went well: nothing is read twice.
//! - Hashes belong to what a run has *met* (`src/work.rs`), so stretches keep them and a resumed run has them all. What
//!   is still missing at the end (a still that a pass stopped at) is hashed then, as are outputs and recordings. Files
//!   of a PNG sequence were hashed as they were written.
//! - The receipt is written before the kept stretches are removed. If it cannot be written, the same command finds
//!   every output finished.

mod files;
pub(super) mod paths;
mod stills;
mod versions;

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::Instant;

use serde::Deserialize;

use super::outcome::tally_of;
use super::prepare::{Part, Prepared};
use super::{Failure, INTERRUPTED, Reply, ScriptOptions, Watch, bytes, progress, put};
use crate::diag::Diagnostic;
use crate::encode;
use crate::pipeline::{Finished, Outcome};
use crate::plan::{DeliveryPlan, Layers};
use crate::receipt::{
    Break, Correction, Delivery, FORMAT, FilePath, FileUsed, MOST_BYTES, Receipt, Script, Shoot, Shot, Stage, Tally,
    runs,
};
use crate::script::BUILTIN;
use crate::shoot::Content;
use crate::units::SlotIndex;
use crate::work::FileRead;
use files::{hash, hash_all};
use paths::seen_from;
use stills::{InPlaceOf, in_place_of, is_held, seen, set_aside, shown_in};

/// Bytes that are hashed without a word after a render.
const A_WHILE: u64 = 2 << 30;
/// The longest list of names in a receipt's name.
const LONGEST_NAMES: usize = 100;

/// What a receipt is made of.
pub(super) struct Run<'a> {
    pub(super) prepared: &'a Prepared,
    pub(super) script: &'a ScriptOptions,
    /// The folder of the outputs.
    pub(super) out: &'a Path,
    /// The run's `--threads`, or what was taken in its place.
    pub(super) threads: usize,
    /// What came of every shoot.
    pub(super) outcomes: &'a [(usize, Outcome)],
    /// Stills, by shoot, that only decoding showed to be damaged.
    pub(super) damaged: &'a BTreeSet<(usize, SlotIndex)>,
    /// By part, the tables kept beside the outputs: what each corrects, and its file.
    pub(super) tables: Vec<Vec<(&'static str, PathBuf)>>,
    pub(super) stages: Stages,
    /// No progress.
    pub(super) quiet: bool,
    pub(super) watch: &'a Watch,
}

impl Run<'_> {
    /// Says what may take a while.
    fn say(&self, what: &str) {
        if !self.quiet {
            progress::say(&format!("{what}\n"));
        }
    }
}

/// Where time goes.
pub(super) struct Stages {
    ended: Vec<Stage>,
    began: Instant,
}

impl Stages {
    pub(super) fn begin() -> Self {
        Self { ended: Vec::new(), began: Instant::now() }
    }

    /// Ends a stage, which began where the one before it ended.
    pub(super) fn end(&mut self, name: &str, bytes: u64) {
        let seconds = self.began.elapsed().as_secs_f64();
        self.add(name, seconds, bytes);
        self.began = Instant::now();
    }

    /// Notes a part of the stage ended last.
    pub(super) fn add(&mut self, name: &str, seconds: f64, bytes: u64) {
        self.ended.push(Stage { name: name.to_owned(), seconds: (seconds * 1000.0).round() / 1000.0, bytes });
    }

    /// Ends `render` with its parts: all shoots are done.
    pub(super) fn end_render(&mut self, watch: &Watch, written: u64) {
        #[expect(clippy::cast_precision_loss, reason = "nanoseconds of a run of weeks are below 2^53")]
        let seconds = |nanoseconds: u64| nanoseconds as f64 / 1e9;
        let [read, hashing, finishing] =
            [&watch.read, &watch.hashing, &watch.finishing].map(|count| count.load(Ordering::Relaxed));
        self.end("render", read);
        self.add("hash stills", seconds(hashing), read);
        self.add("finish", seconds(finishing), written);
    }
}

/// Where a run's receipt goes: `<out>/<script>-receipt.json`, or with the names of the only deliveries wanted before
/// `receipt`.
pub(super) fn path(prepared: &Prepared, script: &ScriptOptions, out: &Path) -> PathBuf {
    let wanted = prepared.parts.iter().flat_map(|part| &part.made.plan().deliveries).map(|plan| plan.name.as_str());
    path_of(&prepared.stem, wanted, script, out)
}

/// The same, by the names of the deliveries that are made, in the script's order.
pub(super) fn path_of<'a>(
    stem: &str,
    wanted: impl Iterator<Item = &'a str>,
    script: &ScriptOptions,
    out: &Path,
) -> PathBuf {
    let names = wanted.filter(|_| !script.deliveries.is_empty()).collect::<Vec<_>>().join("+");
    let names =
        if names.len() > LONGEST_NAMES { blake3::hash(names.as_bytes()).to_hex()[..16].to_owned() } else { names };
    let names = if names.is_empty() { names } else { format!("{names}-") };
    out.join(format!("{stem}-{names}receipt.json"))
}

/// What stands at a receipt's place and may not be replaced: anything but an earlier receipt of the same script.
pub(super) fn in_the_way(path: &Path, script: &ScriptOptions, force: bool) -> Option<Diagnostic> {
    let there = path.symlink_metadata().ok()?;
    let named = |what: &str| Diagnostic::mistake(format!("{} is already there, {what}", path.display()));
    let help = "--force replaces it; --no-receipt leaves the receipt out; or choose another --out folder";
    if !there.is_file() {
        let mistake = named("and is not a file; the receipt needs that name");
        return Some(mistake.help("--no-receipt leaves the receipt out; or choose another --out folder"));
    }
    match earlier(path) {
        _ if force => None,
        Some(earlier) if earlier == script_seen(script, path) => None,
        Some(_) => Some(named("the receipt of another script").help(help)),
        None => Some(named("and is not a receipt of this program").help(help)),
    }
}

/// The script that a receipt is of, where a file is one.
fn earlier(path: &Path) -> Option<FilePath> {
    #[derive(Deserialize)]
    struct Head {
        format: String,
        script: Of,
    }
    #[derive(Deserialize)]
    struct Of {
        path: FilePath,
    }
    let mut text = Vec::new();
    File::open(path).ok()?.take(MOST_BYTES).read_to_end(&mut text).ok()?;
    let Head { format, script } = serde_json::from_slice(&text).ok()?;
    let kind = FORMAT.trim_end_matches(|letter: char| letter.is_ascii_digit());
    format.starts_with(kind).then_some(script.path)
}

/// The last receipt; none where there is none that can be read.
pub(super) fn last(path: &Path) -> Option<Receipt> {
    let mut text = Vec::new();
    File::open(path).ok()?.take(MOST_BYTES).read_to_end(&mut text).ok()?;
    serde_json::from_slice(&text).ok()
}

/// The script as a receipt at `path` names it.
fn script_seen(script: &ScriptOptions, path: &Path) -> FilePath {
    FilePath::of(&seen_from(folder_of(path), &script.script))
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."))
}

/// Why there is no receipt.
enum Missing {
    /// A file cannot be read or written.
    File(PathBuf, io::Error),
    /// Somebody asked for a stop.
    Stopped,
}

/// Collects and writes the receipt, under another name first.
///
/// # Errors
/// [`Failure`] with code 2 where the disk refuses, 130 where it was interrupted. The outputs are whole by then, and
/// stay.
pub(super) fn write(run: Run<'_>) -> Result<PathBuf, Failure> {
    let path = path(run.prepared, run.script, run.out);
    let written = collect(run, &path).and_then(|receipt| {
        let (_, text) = receipt.sealed();
        write_text(&path, &text).map_err(|error| Missing::File(path.clone(), error))
    });
    let again = "the same command, without --fresh, writes it and makes no frame again";
    match written {
        Ok(()) => Ok(path),
        Err(Missing::File(file, error)) => {
            let mistake = Diagnostic::mistake(format!("{}: {}", file.display(), put::words(&error)));
            let mistake = mistake.help("the outputs are complete and stay; only their receipt could not be written");
            Err(Failure::failed(mistake.help(again).help("or --no-receipt leaves it out")))
        }
        Err(Missing::Stopped) => {
            let closing =
                format!("stillpath: interrupted; the outputs are complete, and only their receipt is missing\n{again}");
            Err(Failure { reply: Reply { closing: Some(closing), ..Reply::default() }, code: INTERRUPTED })
        }
    }
}

/// Writes a text that has its name once it is whole and on the disk.
fn write_text(path: &Path, text: &str) -> io::Result<()> {
    // As any file that is made anew, and not for its owner's eyes only.
    let permissions = std::fs::Permissions::from_mode(0o666);
    let mut file = tempfile::Builder::new().prefix(".receipt").permissions(permissions).tempfile_in(folder_of(path))?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    // Not every file system can; the file itself is safe by then.
    let _not_everywhere = File::open(folder_of(path)).and_then(|folder| folder.sync_all());
    Ok(())
}

fn collect(mut run: Run<'_>, path: &Path) -> Result<Receipt, Missing> {
    let prepared = run.prepared;
    let mut hashed = 0;
    let outputs = outputs(&run);
    if outputs.iter().any(|output| output.finished.written.blake3.is_none() && output.finished.written.bytes > A_WHILE)
    {
        run.say(&format!("hashing {} of outputs", bytes(outputs.iter().map(|out| out.finished.written.bytes).sum())));
    }
    let instead: BTreeMap<usize, InPlaceOf> =
        run.outcomes.iter().map(|(shoot, outcome)| (*shoot, in_place_of(outcome))).collect();
    let (mut deliveries, mut encoders) = (Vec::new(), BTreeMap::new());
    for output in &outputs {
        let (delivery, encoder) = delivery(output, &instead[&output.shoot], &run)?;
        hashed += if output.finished.written.blake3.is_none() { delivery.bytes } else { 0 };
        deliveries.push(delivery);
        encoders.extend(encoder);
    }
    let mut shoots = Vec::new();
    for (index, outcome) in run.outcomes {
        let (index, instead) = (*index, &instead[index]);
        let of_shoot = outputs.iter().enumerate().filter(|(_, output)| output.shoot == index);
        let shown = shown_in(of_shoot.map(|(number, output)| (number, output.plan)), instead);
        let mut files = outcome.files.clone();
        let due =
            shown.keys().copied().chain(run.damaged.iter().filter(|(shoot, _)| *shoot == index).map(|(_, slot)| *slot));
        hashed += hash_the_rest(&mut files, due, &prepared.shoots[index], run.watch)?;
        let (recordings, bytes) = recordings(&run, index)?;
        hashed += bytes;
        let joined = !prepared.shoots[index].members.is_empty();
        let (alone, recordings) = if joined { (None, recordings) } else { (recordings.into_iter().next(), Vec::new()) };
        shoots.push(Shoot {
            recording: alone,
            recordings,
            stills: stills::stills(prepared, index, outcome, &files, shown),
            set_aside: set_aside(prepared, &prepared.shoots[index]),
        });
    }
    let shots = prepared
        .parts
        .iter()
        .zip(&run.tables)
        .map(|(part, tables)| shot(&run, part, tables))
        .collect::<Result<_, _>>()?;
    let codecs = outputs.iter().map(|output| &output.plan.codec);
    let versions = versions::versions(&prepared.shoots, codecs, encoders);
    let script = script(&run, path);
    run.stages.end("hash outputs", hashed);
    let made =
        jiff::Timestamp::now().round(jiff::Unit::Second).unwrap_or_else(|_never| jiff::Timestamp::now()).to_string();
    let (format, hash, stages) = (FORMAT.to_owned(), String::new(), run.stages.ended);
    Ok(Receipt { format, hash, made, versions, script, shoots, shots, deliveries, stages })
}

/// One output: what was planned, and what came of it.
struct Output<'a> {
    shot: usize,
    shoot: usize,
    plan: &'a DeliveryPlan,
    finished: &'a Finished,
}

/// All outputs in the script's order.
fn outputs<'a>(run: &Run<'a>) -> Vec<Output<'a>> {
    let mut of_shoot: BTreeMap<usize, _> =
        run.outcomes.iter().map(|(shoot, outcome)| (*shoot, outcome.finished.iter())).collect();
    let planned = run.prepared.parts.iter().enumerate();
    let planned =
        planned.flat_map(|(shot, part)| part.made.plan().deliveries.iter().map(move |plan| (shot, part.shoot, plan)));
    planned
        .filter_map(|(shot, shoot, plan)| {
            Some(Output { shot, shoot, plan, finished: of_shoot.get_mut(&shoot)?.next()? })
        })
        .collect()
}

/// What there is to say of an output, and the encoder that says in it that it made it.
fn delivery(
    output: &Output<'_>,
    instead: &InPlaceOf,
    run: &Run<'_>,
) -> Result<(Delivery, Option<(String, String)>), Missing> {
    let Output { plan, finished, .. } = output;
    let written = &finished.written;
    let said = |error| Missing::File(written.path.clone(), error);
    let (bytes, blake3, encoder) = match written.blake3 {
        Some(blake3) => (written.bytes, blake3, None),
        None => {
            let hashed = if written.path.is_dir() {
                encode::frames_of(&written.path).and_then(|frames| hash_all(&frames, &run.watch.stop))
            } else {
                hash(&written.path, &run.watch.stop)
            };
            let hashed = hashed.map_err(said)?.ok_or(Missing::Stopped)?;
            (hashed.bytes, hashed.blake3, hashed.encoder)
        }
    };
    let frames_where = |is: &dyn Fn(&crate::plan::Row) -> bool| {
        runs((0..).zip(&plan.rows).filter(|(_, row)| is(row)).map(|(frame, _)| frame))
    };
    let delivery = Delivery {
        name: plan.name.clone(),
        shot: output.shot,
        path: FilePath::of(Path::new(written.path.file_name().unwrap_or_default())),
        bytes,
        blake3: blake3.to_hex().to_string(),
        codec: plan.codec.name().to_owned(),
        crf: finished.crf,
        width: plan.frame.width,
        height: plan.frame.height,
        rate: [plan.fps.numerator(), plan.fps.denominator()],
        frames: written.frames,
        tags: encode::tags(&plan.codec, &written.path).map_err(said)?,
        planes: finished.hashes.iter().map(|hash| hash.to_hex().to_string()).collect(),
        held: frames_where(&|row| is_held(row, instead)),
        mixed: frames_where(&|row| matches!(row.layers, Layers::Mean(_))),
        gathered: frames_where(&|row| row.layers.gathered().is_some()),
        invented: frames_where(&|row| row.layers.are_invented()),
        taken_over: finished.taken_over,
        sound: !plan.sound.is_empty(),
        purpose: plan.extras.purpose.as_ref().map(|purpose| crate::receipt::Purpose {
            name: purpose.name.clone(),
            figures: purpose.values().map(|(field, value)| (field.to_owned(), value.to_owned())).collect(),
        }),
        title: plan.extras.title.clone(),
        poster: poster(plan, run)?,
        flashes: finished.flashes.clone(),
    };
    Ok((delivery, encoder))
}

/// The poster of a delivery, where it has one.
fn poster(plan: &DeliveryPlan, run: &Run<'_>) -> Result<Option<crate::receipt::Poster>, Missing> {
    let (Some(poster), Some(path)) = (plan.extras.poster, super::poster::path(run.out, &run.prepared.stem, plan))
    else {
        return Ok(None);
    };
    let hashed = hash(&path, &run.watch.stop).map_err(|error| Missing::File(path.clone(), error))?;
    let blake3 = hashed.ok_or(Missing::Stopped)?.blake3.to_hex().to_string();
    let path = FilePath::of(Path::new(path.file_name().unwrap_or_default()));
    Ok(Some(crate::receipt::Poster { frame: poster.frame, path, blake3 }))
}

/// Hashes the files of stills whose hash is gone with an interrupted run, or with a pass that ended at a damaged one;
/// the bytes of them. What cannot be read, or is another file by now, has none.
fn hash_the_rest(
    files: &mut BTreeMap<SlotIndex, FileRead>,
    due: impl Iterator<Item = SlotIndex>,
    shoot: &crate::shoot::Shoot,
    watch: &Watch,
) -> Result<u64, Missing> {
    let mut read = 0;
    for slot in due.filter(|slot| shoot.recording_at(*slot).is_none()) {
        let (path, surveyed) = match &shoot.slots[slot.0].content {
            Content::Whole(still) => (&still.path, Some(still.bytes)),
            Content::Damaged { path, .. } => (path, None),
            Content::Missing => continue,
        };
        if files.contains_key(&slot) {
            continue;
        }
        match hash(path, &watch.stop) {
            Ok(None) => return Err(Missing::Stopped),
            Ok(Some(hashed)) if surveyed.is_none_or(|bytes| bytes == hashed.bytes) => {
                read += hashed.bytes;
                files.insert(slot, FileRead { bytes: hashed.bytes, blake3: hashed.blake3, pieces: None });
            }
            Ok(Some(_)) | Err(_) => {}
        }
    }
    Ok(read)
}

/// The recordings that a shoot's stills are frames of, each once, and their bytes.
fn recordings(run: &Run<'_>, shoot: usize) -> Result<(Vec<FileUsed>, u64), Missing> {
    let (mut all, mut read) = (Vec::<FileUsed>::new(), 0);
    for recording in run.prepared.shoots[shoot].recordings().filter_map(|(_, recording)| recording) {
        let path = seen(run.prepared, &recording.path);
        if all.iter().any(|known| known.path == path) {
            continue;
        }
        if recording.bytes > A_WHILE {
            run.say(&format!("hashing {} of {}", bytes(recording.bytes), recording.path.display()));
        }
        let hashed =
            hash(&recording.path, &run.watch.stop).map_err(|error| Missing::File(recording.path.clone(), error))?;
        let hashed = hashed.ok_or(Missing::Stopped)?;
        all.push(FileUsed { path, blake3: hashed.blake3.to_hex().to_string() });
        read += hashed.bytes;
    }
    Ok((all, read))
}

fn shot(run: &Run<'_>, part: &Part, tables: &[(&'static str, PathBuf)]) -> Result<Shot, Missing> {
    let correction = |(kind, path): &(&'static str, PathBuf)| {
        let hashed = hash(path, &run.watch.stop).map_err(|error| Missing::File(path.clone(), error))?;
        let blake3 = hashed.ok_or(Missing::Stopped)?.blake3.to_hex().to_string();
        let table = FilePath::of(Path::new(path.file_name().unwrap_or_default()));
        Ok(Correction { kind: (*kind).to_owned(), table, blake3 })
    };
    let outcome = run.outcomes.iter().find(|(shoot, _)| *shoot == part.shoot).map(|(_, outcome)| outcome);
    let tally = outcome.map(|outcome| tally_of(part, &run.prepared.shoots[part.shoot], outcome)).unwrap_or_default();
    let (damaged, missing) = (tally.damaged.len(), tally.missing.len());
    let crate::plan::Tally { used, passed_over, outside_part, cut, days, hours, only, set_aside, .. } = tally;
    let slots = &run.prepared.shoots[part.shoot].slots;
    let apart = |one: &crate::plan::Break| Break {
        before: slots[one.before.0].name.clone(),
        after: slots[one.after.0].name.clone(),
        why: one.why.words().to_owned(),
    };
    Ok(Shot {
        name: part.made.plan().shot.clone(),
        shoot: run.outcomes.iter().position(|(shoot, _)| *shoot == part.shoot).unwrap_or_default(),
        plan: part.made.plan().hash().to_hex().to_string(),
        tally: Tally { used, passed_over, outside_part, cut, days, hours, only, damaged, missing, set_aside },
        breaks: part.made.plan().breaks.iter().map(apart).collect(),
        corrections: tables.iter().map(correction).collect::<Result<_, _>>()?,
    })
}

fn script(run: &Run<'_>, path: &Path) -> Script {
    let (prepared, script) = (run.prepared, run.script);
    let used = |text: &crate::script::Text| FileUsed {
        path: if text.path.to_string_lossy().starts_with(BUILTIN) {
            FilePath::of(&text.path)
        } else {
            seen(prepared, &text.path)
        },
        blake3: text.blake3.to_hex().to_string(),
    };
    let from_here = |source: &String| seen_from(folder_of(path), Path::new(source)).to_string_lossy().into_owned();
    let mut texts = prepared.texts.iter();
    Script {
        path: script_seen(script, path),
        blake3: texts.next().map(|text| text.blake3.to_hex().to_string()).unwrap_or_default(),
        modules: texts.map(used).collect(),
        tables: prepared.tables.iter().map(used).collect(),
        dials: script.settings.iter().cloned().collect(),
        sources: script.sources.iter().map(from_here).collect(),
        only: script.deliveries.clone(),
        threads: run.threads,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_cannot_be_written_is_the_systems_error_and_a_whole_text_has_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let gone = folder.path().join("gone/move-receipt.json");
        assert_eq!(write_text(&gone, "{}").unwrap_err().kind(), io::ErrorKind::NotFound);
        let path = folder.path().join("move-receipt.json");
        std::fs::create_dir(&path).unwrap();
        assert!(write_text(&path, "{}").is_err());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "what was not given its name is left");
        std::fs::remove_dir(&path).unwrap();
        write_text(&path, "{}").unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "{}");
        assert_ne!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o444, 0o400, "others may read it");
    }
}

//! What the runs that make shares leave for one another, and for the run that joins them: a small file each, in a hidden
//! folder beside the outputs. No frame depends on it, but for stills that one share found damaged: the others, and the
//! join, must plan without them too.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::super::prepare::Prepared;
use super::super::rendering::mark_damaged;
use super::super::{Failure, ScriptOptions, put, receipt};
use super::number::Share;
use crate::encode;
use crate::seal::{self, Sealed};
use crate::shoot::Damage;
use crate::units::SlotIndex;

/// What every note says that it is.
const FORMAT: &str = "stillpath share 1";
/// Bytes that are read of a note at most: room for some ten thousand damaged stills.
const MOST: u64 = 8 << 20;

/// What one run says of its share.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Note {
    format: String,
    hash: String,
    /// Which share, and of how many.
    pub(super) share: [u32; 2],
    /// Its `--threads`.
    pub(super) threads: usize,
    /// What its frames are made with.
    pub(super) made_with: MadeWith,
    /// The machine.
    pub(super) host: String,
    /// The run on it.
    process: u32,
    /// When it began, by that machine's clock.
    pub(super) begun: String,
    /// When it had made all of its share.
    pub(super) ended: Option<String>,
    /// Stills whose damage only decoding showed.
    damaged: Vec<DamagedStill>,
}

/// The program, and what was asked of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct MadeWith {
    /// This program's version, and BLAKE3 of its file.
    pub(super) program: String,
    /// The libraries it encodes with.
    pub(super) libraries: String,
    /// BLAKE3 of the script, its modules, its tables of windows and its settings.
    pub(super) script: String,
}

/// A damaged still, so that it is known again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct DamagedStill {
    shoot: usize,
    slot: SlotIndex,
    /// Its name, size and time.
    file: String,
    damage: Damage,
}

impl Sealed for Note {
    fn replace_hash(&mut self, by: String) -> String {
        std::mem::replace(&mut self.hash, by)
    }
}

impl MadeWith {
    pub(super) fn of(prepared: &Prepared, script: &ScriptOptions) -> Self {
        let mut asked = blake3::Hasher::new();
        for text in prepared.texts.iter().chain(&prepared.tables) {
            asked.update(text.blake3.as_bytes());
        }
        asked.update(format!("{:?} {:?}", script.settings, script.deliveries).as_bytes());
        let program = encode::program().map_or_else(|| "unknown".to_owned(), |hash| hash.to_hex()[..12].to_owned());
        Self {
            program: format!("{} ({program})", env!("CARGO_PKG_VERSION")),
            libraries: crate::ffi::ffmpeg::versions(),
            script: asked.finalize().to_hex().to_string(),
        }
    }
}

impl Note {
    pub(super) fn begin(share: Share, threads: usize, made_with: MadeWith) -> Self {
        let host = rustix::system::uname().nodename().to_string_lossy().into_owned();
        Self {
            format: FORMAT.to_owned(),
            hash: String::new(),
            share: [share.number, share.of],
            threads,
            made_with,
            host,
            process: std::process::id(),
            begun: now(),
            ended: None,
            damaged: Vec::new(),
        }
    }

    /// Notes a still that turned out damaged.
    pub(super) fn add(&mut self, prepared: &Prepared, shoot: usize, slot: SlotIndex, damage: &Damage) {
        let file = known_by(prepared, shoot, slot).unwrap_or_default();
        self.damaged.push(DamagedStill { shoot, slot, file, damage: damage.clone() });
    }

    /// All of the share is made.
    pub(super) fn end(&mut self) {
        self.ended = Some(now());
    }

    /// Who makes or made it, and since when.
    pub(super) fn who(&self) -> String {
        format!("on {} at {} by that machine's clock", self.host, self.begun)
    }
}

fn now() -> String {
    let now = jiff::Timestamp::now();
    now.round(jiff::Unit::Second).unwrap_or(now).to_string()
}

/// What a still is known by.
fn known_by(prepared: &Prepared, shoot: usize, slot: SlotIndex) -> Option<String> {
    let still = prepared.shoots.get(shoot)?.still(slot)?;
    let name = still.path.file_name().unwrap_or_default().to_string_lossy();
    Some(format!("{name} {} {}", still.bytes, still.modified))
}

/// The notes of a render's shares.
pub(in super::super) struct Notes {
    folder: PathBuf,
    pub(super) all: Vec<Note>,
    /// Files in the folder that are none, or were changed.
    pub(super) unread: Vec<PathBuf>,
}

impl Notes {
    /// Those that are there.
    pub(in super::super) fn read(prepared: &Prepared, script: &ScriptOptions, out: &Path) -> Self {
        let folder = folder(prepared, script, out);
        let mut notes = Self { all: Vec::new(), unread: Vec::new(), folder };
        let Ok(entries) = fs::read_dir(&notes.folder) else { return notes };
        let mut paths: Vec<_> = entries.flatten().map(|entry| entry.path()).filter(|path| is_note(path)).collect();
        paths.sort();
        for path in paths {
            match read(&path) {
                Some(note) => notes.all.push(note),
                None => notes.unread.push(path),
            }
        }
        notes
    }

    /// The note of a share.
    pub(super) fn of(&self, share: Share) -> Option<&Note> {
        self.all.iter().find(|note| note.share == [share.number, share.of])
    }

    /// Into how many shares the render was divided, by most of the notes; none without any.
    pub(super) fn shares(&self) -> Option<u32> {
        most(self.all.iter().map(|note| note.share[1]))
    }

    /// `--threads` of most of them.
    pub(in super::super) fn threads(&self) -> Option<usize> {
        most(self.all.iter().map(|note| note.threads))
    }

    /// Writes a note.
    ///
    /// # Errors
    /// [`Failure`] where the disk refuses.
    pub(super) fn write(&self, note: &mut Note) -> Result<(), Failure> {
        let [number, of] = note.share;
        let path = self.folder.join(format!("{number:05}-of-{of:05}.json"));
        note.seal();
        let write = || -> std::io::Result<()> {
            fs::create_dir_all(&self.folder)?;
            let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(&self.folder)?;
            file.write_all(seal::text(note)?.as_bytes())?;
            file.as_file().sync_all()?;
            file.persist(&path).map(drop).map_err(|error| error.error)
        };
        write().map_err(|error| Failure::failed(put::unwritable(&path, &error)))
    }

    /// Marks the stills that shares found damaged, provided that they still are the same ones, and plans again. Gives
    /// those.
    ///
    /// # Errors
    /// [`Failure`] where the plan is refused without them.
    pub(in super::super) fn mark(&self, prepared: &mut Prepared) -> Result<Vec<(usize, SlotIndex)>, Failure> {
        let mut marked = Vec::new();
        for DamagedStill { shoot, slot, file, damage } in self.all.iter().flat_map(|note| &note.damaged) {
            if known_by(prepared, *shoot, *slot).as_ref() == Some(file) {
                mark_damaged(prepared, *shoot, *slot, damage.clone())?;
                marked.push((*shoot, *slot));
            }
        }
        Ok(marked)
    }
}

/// What the names begin with of notes that are not whole yet.
const UNFINISHED: &str = ".share-";

fn is_note(path: &Path) -> bool {
    path.file_name().and_then(|name| name.to_str()).is_some_and(|name| {
        let numbers = name.strip_suffix(".json").and_then(|stem| stem.split_once("-of-"));
        numbers.is_some_and(|(number, of)| number.parse::<u32>().is_ok() && of.parse::<u32>().is_ok())
    })
}

fn read(path: &Path) -> Option<Note> {
    path.symlink_metadata().ok().filter(|found| found.is_file() && found.len() <= MOST)?;
    let mut note: Note = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
    let was = note.seal();
    (note.format == FORMAT && was == note.hash).then_some(note)
}

fn most<T: Ord + Copy>(all: impl Iterator<Item = T>) -> Option<T> {
    let mut counted = std::collections::BTreeMap::new();
    all.for_each(|one| *counted.entry(one).or_insert(0) += 1);
    counted.into_iter().max_by_key(|(_, count)| *count).map(|(one, _)| one)
}

/// Where notes are: named as the receipt is, so that shares of some deliveries only have a folder of their own.
fn folder(prepared: &Prepared, script: &ScriptOptions, out: &Path) -> PathBuf {
    let receipt = receipt::path(prepared, script, out);
    let name = receipt.file_name().unwrap_or_default().to_string_lossy().replace("receipt.json", "shares");
    out.join(format!(".{name}"))
}

/// Removes the notes of a render that is whole. What else there is in their folder stays.
pub(in super::super) fn tidy(prepared: &Prepared, script: &ScriptOptions, out: &Path) {
    let folder = folder(prepared, script, out);
    let Ok(entries) = fs::read_dir(&folder) else { return };
    for path in entries.flatten().map(|entry| entry.path()) {
        let unfinished =
            path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(UNFINISHED.as_bytes()));
        if is_note(&path) || unfinished {
            let _nothing_to_be_done_about_it = fs::remove_file(&path);
        }
    }
    // Gone only if it is empty.
    let _kept_where_it_holds_anything = fs::remove_dir(&folder);
}

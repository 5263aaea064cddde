//! Receipts: which clips renders made, and whether clips, script and stills are still what they say.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use serde::Serialize;

use super::ListOptions;
use super::walk::{Walked, below, shown};
use crate::decode::whole::whole;
use crate::diag::plain;
use crate::encode;
use crate::receipt::{Delivery, FilePath, MOST_BYTES, Receipt, ReceiptError};
use crate::session::{Failure, Watch, progress};
use crate::shot::Codec;
use crate::units::FrameRate;

/// Every receipt that was found.
#[derive(Debug, Default)]
pub(super) struct Receipts(Vec<(PathBuf, Read)>);

/// A receipt, or how it is none, in words.
type Read = Result<Box<Receipt>, (Seal, String)>;

/// Whether a receipt is as a render wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Seal {
    /// Its own hash fits.
    Whole,
    /// It was changed since.
    Edited,
    /// It is no receipt that can be read.
    None,
}

/// How a file is, held against a receipt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum State {
    /// It has the recorded hash.
    Same,
    /// It has the recorded size; its bytes were not read.
    SameSize,
    /// It is there, and the receipt has neither size nor hash of it.
    There,
    /// It has the recorded size, and cannot be read.
    Unreadable,
    /// It has the recorded size and another hash.
    Changed,
    /// It has another size.
    OtherSize,
    /// It is not there.
    Missing,
    /// It does not lie below the folder that is listed.
    Elsewhere,
}

impl State {
    /// As people read it of a file.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Same => "same bytes",
            Self::SameSize => "same size",
            Self::There => "there",
            Self::Unreadable => "UNREADABLE",
            Self::Changed => "CHANGED",
            Self::OtherSize => "OTHER SIZE",
            Self::Missing => "MISSING",
            Self::Elsewhere => "elsewhere, not looked at",
        }
    }

    /// Whether it is not what the receipt says.
    pub(super) fn is_wrong(self) -> bool {
        matches!(self, Self::Changed | Self::OtherSize | Self::Missing | Self::Unreadable)
    }
}

/// A render, by its receipt.
#[derive(Debug, Serialize)]
pub(super) struct Render {
    /// The receipt, seen from the folder that is listed.
    pub(super) receipt: String,
    pub(super) seal: Seal,
    /// What is wrong with the receipt, where it is not whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) wrong: Option<String>,
    /// When it was made, in UTC.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) made: Option<String>,
    /// Its script, and how that is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) script: Option<Held>,
    pub(super) clips: Vec<Clip>,
    /// The stills that it names, by how they are.
    pub(super) stills: BTreeMap<State, usize>,
    /// Folders, seen from the one that is listed, that those stills lie in.
    #[serde(skip)]
    pub(super) folders: BTreeSet<PathBuf>,
}

/// A file that a receipt names.
#[derive(Debug, Serialize)]
pub(super) struct Held {
    /// Seen from the folder that is listed; as the receipt has it where it does not lie there.
    pub(super) path: String,
    pub(super) state: State,
}

/// A delivery.
#[derive(Debug, Serialize)]
pub(super) struct Clip {
    pub(super) delivery: String,
    #[serde(flatten)]
    pub(super) file: Held,
    pub(super) codec: String,
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) frames: u64,
    /// Frames a second, as numerator and denominator.
    pub(super) rate: [u32; 2],
    pub(super) bytes: u64,
}

impl Clip {
    /// `24`, `24000/1001`; as it is written where that is no rate.
    pub(super) fn rate_in_words(&self) -> String {
        let [numerator, denominator] = self.rate;
        let as_written = |_| format!("{numerator}/{denominator}");
        FrameRate::new(numerator, denominator).map_or_else(as_written, |rate| rate.to_string())
    }
}

/// Reads all receipts that were found.
pub(super) fn read(found: &Walked) -> Receipts {
    let one = |path: &PathBuf| (path.clone(), receipt(&found.opened(path)).map(Box::new));
    Receipts(found.receipts.iter().map(one).collect())
}

fn receipt(path: &Path) -> Result<Receipt, (Seal, String)> {
    let none = |why: String| (Seal::None, why);
    let mut text = String::new();
    let mut file = File::open(path).map_err(|error| none(error.to_string()))?.take(MOST_BYTES);
    file.read_to_string(&mut text).map_err(|error| none(error.to_string()))?;
    Receipt::from_json(&text).map_err(|error| {
        let seal = if matches!(error, ReceiptError::Edited { .. }) { Seal::Edited } else { Seal::None };
        (seal, plain(&error.to_string()).into_owned())
    })
}

impl Receipts {
    /// The files and folders that renders made, seen from the folder that is listed: clips, folders of frames, posters,
    /// strips.
    pub(super) fn outputs(&self) -> BTreeSet<PathBuf> {
        let mut outputs = BTreeSet::new();
        for (path, receipt) in &self.0 {
            let folder = path.parent().unwrap_or(Path::new(""));
            let Ok(receipt) = receipt else { continue };
            for delivery in &receipt.deliveries {
                let poster = delivery.poster.as_ref().map(|poster| &poster.path);
                let names = [Some(&delivery.path), poster].into_iter().flatten().filter_map(FilePath::beside);
                for name in names {
                    if let Some(stem) = name.file_stem() {
                        outputs.insert(folder.join(format!("{}-strip.png", stem.to_string_lossy())));
                    }
                    outputs.insert(folder.join(name));
                }
            }
        }
        outputs
    }
}

/// Holds what was found against receipts: by presence and size, and with `--hash` by what files hold.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn held(
    found: &Walked,
    receipts: Receipts,
    options: &ListOptions,
    watch: &Watch,
) -> Result<Vec<Render>, Failure> {
    let done = AtomicU64::new(0);
    let looking = Looking { found, hash: options.hash, done: &done, watch };
    let due = if options.hash { looking.due(&receipts) } else { 0 };
    let quiet = options.quiet || options.json || !options.hash;
    let all = progress::while_hashing(due, quiet, &|| done.load(Ordering::Relaxed), || {
        receipts.0.into_iter().map(|(path, receipt)| looking.render(path, receipt)).collect::<Option<Vec<_>>>()
    });
    all.ok_or_else(Failure::interrupted)
}

struct Looking<'a> {
    found: &'a Walked,
    hash: bool,
    done: &'a AtomicU64,
    watch: &'a Watch,
}

impl Looking<'_> {
    /// Bytes of what would be hashed.
    fn due(&self, receipts: &Receipts) -> u64 {
        let read = receipts.0.iter().filter_map(|(_, receipt)| receipt.as_ref().ok());
        read.flat_map(|receipt| {
            let stills = receipt.shoots.iter().flat_map(|shoot| &shoot.stills).filter_map(|still| still.bytes);
            stills.chain(receipt.deliveries.iter().map(|delivery| delivery.bytes))
        })
        .fold(0, u64::saturating_add)
    }

    /// A render; none where it was interrupted.
    fn render(&self, path: PathBuf, receipt: Read) -> Option<Render> {
        let mut render = Render {
            receipt: shown(&path),
            seal: Seal::Whole,
            wrong: None,
            made: None,
            script: None,
            clips: Vec::new(),
            stills: BTreeMap::new(),
            folders: BTreeSet::new(),
        };
        let receipt = match receipt {
            Ok(receipt) => receipt,
            Err((seal, wrong)) => return Some(Render { seal, wrong: Some(wrong), ..render }),
        };
        render.made = Some(receipt.made.clone());
        let folder = path.parent().unwrap_or(Path::new(""));
        render.clips = receipt.deliveries.iter().map(|one| self.clip(folder, one)).collect::<Option<_>>()?;
        let script = self.seen(folder, &receipt.script.path);
        render.script = Some(self.script(&receipt, script.as_deref()));
        // Of a script elsewhere it is not known where its stills lie.
        let base = script.as_deref().and_then(Path::parent);
        for still in receipt.shoots.iter().flat_map(|shoot| &shoot.stills) {
            let Some(path) = &still.path else { continue };
            let seen = base.and_then(|base| self.seen(base, path));
            let state = match &seen {
                None => State::Elsewhere,
                Some(seen) => self.file(seen, still.bytes, still.blake3.as_deref())?,
            };
            *render.stills.entry(state).or_default() += 1;
            render.folders.extend(seen.as_deref().and_then(Path::parent).map(Path::to_owned));
        }
        for file in receipt.shoots.iter().flat_map(|shoot| shoot.recording.iter().chain(&shoot.recordings)) {
            let seen = base.and_then(|base| self.seen(base, &file.path));
            let state = match &seen {
                None => State::Elsewhere,
                Some(seen) => self.file(seen, None, Some(&file.blake3))?,
            };
            *render.stills.entry(state).or_default() += 1;
        }
        Some(render)
    }

    /// A file that a receipt names from one of the folders; none where it leads out of the folder that is listed.
    fn seen(&self, from: &Path, path: &FilePath) -> Option<PathBuf> {
        let path = path.path()?;
        if path.is_absolute() {
            let root = self.found.root.canonicalize().ok()?;
            return path.strip_prefix(root).ok().map(Path::to_owned);
        }
        below(from, &path)
    }

    /// The script of a receipt: a short file, which is always hashed.
    fn script(&self, receipt: &Receipt, seen: Option<&Path>) -> Held {
        let as_written =
            || receipt.script.path.path().map_or_else(|| "a path that is none".into(), |path| shown(&path));
        let Some(seen) = seen else { return Held { path: as_written(), state: State::Elsewhere } };
        let state = if !self.found.files.contains_key(seen) {
            State::Missing
        } else {
            match std::fs::read(self.found.opened(seen)) {
                Ok(bytes) if blake3::hash(&bytes).to_hex().as_str() == receipt.script.blake3 => State::Same,
                Ok(_) => State::Changed,
                Err(_) => State::Unreadable,
            }
        };
        Held { path: shown(seen), state }
    }

    fn clip(&self, folder: &Path, delivery: &Delivery) -> Option<Clip> {
        let name = delivery.path.beside();
        let state = match &name {
            None => State::Elsewhere,
            Some(name) if Codec::SEQUENCES.contains(&delivery.codec.as_str()) => {
                self.sequence(&folder.join(name), delivery)?
            }
            Some(name) => self.file(&folder.join(name), Some(delivery.bytes), Some(&delivery.blake3))?,
        };
        let path = name.map_or_else(|| "a path that leads elsewhere".into(), |name| shown(&folder.join(name)));
        let &Delivery { width, height, frames, rate, bytes, .. } = delivery;
        let (codec, delivery) = (delivery.codec.clone(), delivery.name.clone());
        Some(Clip { delivery, file: Held { path, state }, codec, width, height, frames, rate, bytes })
    }

    /// A folder of frames.
    fn sequence(&self, seen: &Path, delivery: &Delivery) -> Option<State> {
        let Ok(frames) = encode::frames_of(&self.found.opened(seen)) else { return Some(State::Missing) };
        let inside = |frame: &PathBuf| seen.join(frame.file_name().unwrap_or_default());
        let sizes: Vec<u64> = frames.iter().filter_map(|frame| self.found.files.get(&inside(frame)).copied()).collect();
        if frames.is_empty() {
            return Some(State::Missing);
        }
        if sizes.len() as u64 != delivery.frames || sizes.iter().sum::<u64>() != delivery.bytes {
            return Some(State::OtherSize);
        }
        if !self.hash {
            return Some(State::SameSize);
        }
        let mut all = blake3::Hasher::new();
        for frame in frames {
            match self.hashed(&frame)? {
                Some(hash) => all.update(hash.as_bytes()),
                None => return Some(State::Unreadable),
            };
        }
        Some(if all.finalize().to_hex().as_str() == delivery.blake3 { State::Same } else { State::Changed })
    }

    /// A file as it is; none where it was interrupted.
    fn file(&self, seen: &Path, bytes: Option<u64>, blake3: Option<&str>) -> Option<State> {
        let Some(found) = self.found.files.get(seen) else { return Some(State::Missing) };
        if bytes.is_some_and(|bytes| bytes != *found) {
            return Some(State::OtherSize);
        }
        match (blake3.filter(|_| self.hash), bytes) {
            (None, None) => Some(State::There),
            (None, Some(_)) => Some(State::SameSize),
            (Some(due), _) => Some(match self.hashed(&self.found.opened(seen))? {
                None => State::Unreadable,
                Some(hash) if hash.to_hex().as_str() == due => State::Same,
                Some(_) => State::Changed,
            }),
        }
    }

    /// A file's hash, or that it cannot be read; none where it was interrupted.
    fn hashed(&self, path: &Path) -> Option<Option<blake3::Hash>> {
        let read = whole(path, false, &mut |piece| {
            self.done.fetch_add(piece.len() as u64, Ordering::Relaxed);
            !self.watch.stop.load(Ordering::Relaxed)
        });
        match read {
            Ok(None) => None,
            Ok(Some(whole)) => Some(Some(whole.blake3)),
            Err(_) => Some(None),
        }
    }
}

//! What frames flow into: the sink that every codec implements, the stretches that it keeps until all of them are
//! there, and what comes of one.

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use serde::{Deserialize, Serialize};

use crate::picture::{Frame, FrameKind};
use crate::shoot::Damage;
use crate::units::SlotIndex;

/// Takes a delivery's frames in order and makes its file of them.
///
/// A sink writes under a temporary name that starts with a dot. [`Sink::finish`] flushes, counts, and renames to the
/// final name; a sink that is dropped unfinished removes what it wrote, but for whole [stretches](Stretches) whose keys
/// it was given.
pub trait Sink: Send {
    /// What kind of frame it takes.
    fn kind(&self) -> FrameKind;

    /// Takes the next frame.
    ///
    /// # Errors
    /// Whatever the encoder or the disk says; the sink is of no use afterwards.
    fn write(&mut self, frame: &Frame) -> Result<(), SinkError>;

    /// Takes the next frame with what is known of it: for sinks that keep that beside their frames.
    ///
    /// # Errors
    /// As [`Sink::write`].
    fn write_known(&mut self, frame: &Frame, _known: &Known<'_>) -> Result<(), SinkError> {
        self.write(frame)
    }

    /// Flushes the encoder, checks that as many frames came out as went in, and gives the file its final name.
    ///
    /// # Errors
    /// As [`Sink::write`]; nothing is left under the final name then.
    fn finish(self: Box<Self>) -> Result<Written, SinkError>;
}

/// What is known of a frame, beyond its pixels.
pub struct Known<'a> {
    /// BLAKE3 of its planes.
    pub hash: blake3::Hash,
    /// Asks for what was met so far in decoding the run's stills, those of this frame among them.
    pub met: &'a dyn Fn() -> Met,
}

/// What decoding stills had to say.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Met {
    /// Damage that the plan had a stand-in for.
    pub stood_in: Vec<StoodIn>,
    /// Remarks, and the stills each is true of.
    pub remarks: BTreeMap<String, Vec<SlotIndex>>,
    /// Every way in which colours were coded, and the stills that were.
    pub codings: Vec<(Coding, Vec<SlotIndex>)>,
    /// Stills that have been shown and not yet held against those beside them.
    #[serde(default)]
    pub unjudged: Vec<SlotIndex>,
    /// The stills' files as they were read.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub files: BTreeMap<SlotIndex, FileRead>,
}

/// A still's file as it was read to be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileRead {
    /// Bytes in it.
    pub bytes: u64,
    /// BLAKE3 of all of them.
    #[serde(with = "hex")]
    pub blake3: blake3::Hash,
    /// What [`quick`](crate::decode::key::quick) makes of them, where this run has read them.
    #[serde(skip)]
    pub pieces: Option<blake3::Hash>,
}

/// A hash as its hexadecimal digits.
mod hex {
    use serde::de::Error as _;
    use serde::{Deserialize as _, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(hash: &blake3::Hash, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&hash.to_hex())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<blake3::Hash, D::Error> {
        blake3::Hash::from_hex(String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

/// How a still's colours are coded, as far as that tells it from others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Coding {
    /// In which space.
    pub space: Space,
    /// Whether there is no colour at all.
    pub grey: bool,
}

/// A [`Profile`](crate::picture::Profile) without its bytes: a folder of stills that bring a profile each must not fill
/// the memory.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Space {
    /// sRGB.
    Srgb,
    /// Adobe RGB (1998).
    AdobeRgb,
    /// A profile of the still's own, by the BLAKE3 of its bytes.
    Icc([u8; blake3::OUT_LEN]),
}

/// A still that only decoding showed to be damaged, and the one shown in its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoodIn {
    /// The damaged one.
    pub slot: SlotIndex,
    /// What is wrong with it.
    pub damage: Damage,
    /// The one shown instead.
    pub shown: SlotIndex,
}

impl Met {
    /// What of it is said of these slots, which are in order.
    #[must_use]
    pub fn among(mut self, slots: &[SlotIndex]) -> Self {
        let within = |slot: &SlotIndex| slots.binary_search(slot).is_ok();
        self.stood_in.retain(|entry| within(&entry.slot));
        self.remarks.values_mut().for_each(|said| said.retain(within));
        self.remarks.retain(|_, said| !said.is_empty());
        self.codings.iter_mut().for_each(|(_, slots)| slots.retain(within));
        self.codings.retain(|(_, slots)| !slots.is_empty());
        self.unjudged.retain(within);
        self.files.retain(|slot, _| within(slot));
        self
    }

    /// Notes how the colours of a still are coded.
    pub fn note_coding(&mut self, coding: Coding, slots: impl IntoIterator<Item = SlotIndex>) {
        let known = self.codings.iter().position(|(known, _)| *known == coding).unwrap_or_else(|| {
            self.codings.push((coding, Vec::new()));
            self.codings.len() - 1
        });
        for slot in slots {
            // A still that a pace returns to counts once.
            if let Err(at) = self.codings[known].1.binary_search(&slot) {
                self.codings[known].1.insert(at, slot);
            }
        }
    }

    /// Adds what was met elsewhere, each thing once, stills in order.
    pub fn add(&mut self, other: Self) {
        for entry in other.stood_in {
            if !self.stood_in.iter().any(|known| known.slot == entry.slot) {
                self.stood_in.push(entry);
            }
        }
        self.stood_in.sort_by_key(|entry| entry.slot);
        for (remark, slots) in other.remarks {
            let said = self.remarks.entry(remark).or_default();
            said.extend(slots);
            said.sort_unstable();
            said.dedup();
        }
        for (coding, slots) in other.codings {
            self.note_coding(coding, slots);
        }
        self.unjudged.extend(other.unjudged);
        self.unjudged.sort_unstable();
        self.unjudged.dedup();
        self.files.extend(other.files);
    }
}

/// How a delivery's frames are cut into stretches: each is encoded by itself and kept until all are there, so that a
/// run that was interrupted loses no more than the one it was at.
#[derive(Debug, Clone, Default)]
pub struct Stretches {
    /// Frames of a stretch; the last has what is left.
    pub every: usize,
    /// One each, in order; none where a sink is to take nothing over and to keep nothing.
    pub each: Vec<Stretch>,
}

/// A stretch of a delivery.
#[derive(Debug, Clone)]
pub struct Stretch {
    /// A whole stretch of this key need not be made again.
    pub key: Key,
    /// Its frames among the delivery's.
    pub rows: Range<usize>,
    /// The stills that it shows or might, in order.
    pub slots: Vec<SlotIndex>,
    /// The encoder's rate factor, where it is not the delivery's.
    pub crf: Option<f64>,
}

/// BLAKE3 of everything that a stretch's frames, and what they are encoded to, depend on. What its stills hold is only
/// asked for when the key is: what is made anew is compared with nothing, so nothing of its stills is read beforehand.
#[derive(Clone)]
pub struct Key {
    asked: Arc<dyn Fn(&Met) -> blake3::Hash + Send + Sync>,
    known: Arc<OnceLock<blake3::Hash>>,
}

impl Key {
    /// A key to be made when it is asked for, by what was met in decoding stills till then, or by looking at their
    /// files.
    pub fn later(asked: impl Fn(&Met) -> blake3::Hash + Send + Sync + 'static) -> Self {
        Self { asked: Arc::new(asked), known: Arc::default() }
    }

    /// The key; `met` is what was met so far.
    #[must_use]
    pub fn get(&self, met: &Met) -> blake3::Hash {
        *self.known.get_or_init(|| (self.asked)(met))
    }
}

impl From<blake3::Hash> for Key {
    fn from(known: blake3::Hash) -> Self {
        Self::later(move |_| known)
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Key").field(&self.known.get()).finish()
    }
}

impl Stretches {
    /// The key of the whole output; `met` as for [`Key::get`].
    #[must_use]
    pub fn key(&self, met: &Met) -> blake3::Hash {
        let mut hasher = blake3::Hasher::new();
        for stretch in &self.each {
            hasher.update(stretch.key.get(met).as_bytes());
        }
        hasher.finalize()
    }

    /// Frames of all stretches.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.each.last().map_or(0, |last| last.rows.end)
    }
}

/// A finished output.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Written {
    /// The file, or the folder of a sequence.
    pub path: PathBuf,
    /// Frames in it.
    pub frames: u64,
    /// Bytes in all.
    pub bytes: u64,
    /// What a person should know of it, a line each.
    pub remarks: Vec<String>,
    /// BLAKE3 of the file, or of a sequence's files' hashes in the order of their frames, where the sink knows it.
    #[serde(skip)]
    pub blake3: Option<blake3::Hash>,
}

impl Written {
    /// Of an output whose stretches were left as they are, for another run.
    pub(crate) fn left(path: &Path) -> Self {
        Self { path: path.to_owned(), frames: 0, bytes: 0, remarks: Vec::new(), blake3: None }
    }
}

/// Why an output could not be made.
#[derive(Debug, thiserror::Error)]
pub enum SinkError {
    /// The disk or the folder.
    #[error("{path}: {source}", path = .path.display())]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What the operating system said.
        source: std::io::Error,
    },
    /// The codec library.
    #[error("the {codec} encoder: {message}")]
    Encoder {
        /// Which.
        codec: &'static str,
        /// What it said.
        message: String,
    },
    /// The recording's sound cannot be read, and the policy on damage is to stop.
    #[error("{recording}: its sound cannot be read from {second:.3} s on: {why}", recording = .recording.display())]
    Unheard {
        /// The recording.
        recording: PathBuf,
        /// The second of it from which on nothing can be read.
        second: f64,
        /// What the system or the demuxer said.
        why: String,
    },
    /// The encoder lost or made up frames.
    #[error("{path}: {given} frames were given and {got} came out", path = .path.display())]
    Count {
        /// The output.
        path: PathBuf,
        /// Frames handed in.
        given: u64,
        /// Frames that came out.
        got: u64,
    },
}

//! What a render leaves written down: what was made, from what, with what; enough to prove it later.
//!
//! `session` writes it beside the outputs, `stillpath prove` reads it. Text comes from a file that anybody may have
//! edited: [`Receipt::from_json`] refuses what is not whole.
//!
//! ## Decisions
//!
//! - Seconds are rounded to milliseconds. The receipt's own hash covers its JSON, and a number with more digits need
//!   not survive a round trip through JSON.
//! - A plan's hash (`Plan::hash`) leaves out whatever only says how the script was named.
//! - Receipts are hostile until proved: outputs are single names beside the receipt (`FilePath::beside`), and stills
//!   are those that the script's own survey finds.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde::{Deserialize, Serialize};

use crate::seal::{self, Sealed};

/// The value of [`Receipt::format`]. Another layout takes another number.
pub const FORMAT: &str = "stillpath receipt 1";

/// The most bytes of a receipt that are read: a hundred thousand stills and ten million frames' hashes need less.
pub const MOST_BYTES: u64 = 1 << 30;

/// `DIR/<script>-receipt.json`. Hashes are BLAKE3 in hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Receipt {
    /// [`FORMAT`].
    pub format: String,
    /// Hash of this receipt as compact JSON with this field empty, other fields in the order they have here: a receipt
    /// that was edited no longer fits it.
    pub hash: String,
    /// When the render ended: UTC, RFC 3339.
    pub made: String,
    /// What it was made with.
    pub versions: Versions,
    /// The script it was made by.
    pub script: Script,
    /// The shoots it was made from.
    pub shoots: Vec<Shoot>,
    /// The script's shots, in its order.
    pub shots: Vec<Shot>,
    /// What was made, in the script's order.
    pub deliveries: Vec<Delivery>,
    /// Where time went, in the order in which work was done.
    pub stages: Vec<Stage>,
}

/// Programs and libraries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Versions {
    /// This program's.
    pub stillpath: String,
    /// FFmpeg's libraries', as they give them.
    pub ffmpeg: String,
    /// Codecs that stills were decoded with and deliveries encoded with, by name, as far as they tell.
    pub codecs: BTreeMap<String, String>,
}

/// A path: as text where it is Unicode, else its bytes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum FilePath {
    /// Unicode.
    Text(String),
    /// Anything else, byte by byte in hexadecimal digits.
    Bytes {
        /// Two digits a byte.
        bytes: String,
    },
}

/// A file with what it held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FileUsed {
    /// Seen from the script's folder; what comes with the program has the path `builtin:NAME`.
    pub path: FilePath,
    /// Hash of the whole file.
    pub blake3: String,
}

/// The script, and how it was called.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Script {
    /// Seen from the receipt's folder.
    pub path: FilePath,
    /// Hash of the file.
    pub blake3: String,
    /// Everything that it took in with `require`, in that order.
    pub modules: Vec<FileUsed>,
    /// The tables of windows that its framings name.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub tables: Vec<FileUsed>,
    /// What was given with `--set`, as it was given.
    pub dials: BTreeMap<String, String>,
    /// What was given with `--source`: seen from the receipt's folder, where it is a path.
    pub sources: Vec<String>,
    /// What was given with `--delivery`; all of them where none.
    pub only: Vec<String>,
    /// Encoder threads matter to the bytes of an output: what was given with `--threads`, or taken in its place.
    pub threads: usize,
}

/// The stills of one camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shoot {
    /// The recorded video whose frames the stills are, where they are no files of their own.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub recording: Option<FileUsed>,
    /// Of a reel, which joins several shoots, the recordings among them.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub recordings: Vec<FileUsed>,
    /// One a slot, in order, missing ones included.
    pub stills: Vec<Still>,
    /// Files found and not used, with the reason.
    pub set_aside: Vec<SetAside>,
}

/// A file that was found and not used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    /// Seen from the script's folder.
    pub path: FilePath,
    /// Why.
    pub reason: String,
}

/// One slot of a shoot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Still {
    /// Its name, as keys of scripts may give it; of a missing still the name it would have had.
    pub name: String,
    /// Its file, seen from the script's folder; none where there is none, or where it is a frame of a recording.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub path: Option<FilePath>,
    /// Bytes in the file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bytes: Option<u64>,
    /// Hash of the file as it was read to be decoded, or right after the render where an interrupted run did the
    /// decoding and left no hash; none where it was not read.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub blake3: Option<String>,
    /// Where it is shown.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub shown: Vec<Shown>,
    /// Why it is shown nowhere, or what is shown in its place and why: `"passed over by the pace; not read"`,
    /// `"missing: skipped"`, `"damaged: …; held by …"`, …; by shot where shots differ.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub why: Option<String>,
}

/// Frames of a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shown {
    /// Which, among [`Receipt::deliveries`], from 0.
    pub delivery: usize,
    /// Its frames, from 0: runs of them, each by its first and its last.
    pub frames: Vec<[u64; 2]>,
}

/// One shot of the script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shot {
    /// Its name; empty where the script returns one shot.
    pub name: String,
    /// The shoot it is cut from, among [`Receipt::shoots`], from 0.
    pub shoot: usize,
    /// Hash of its plan as compact JSON: what `plan --json` prints of it, but for what tells how the script was named
    /// and not what is made (`remarks` is an empty list, `place` of `level` and `steady` is `":0"`), and but for the
    /// `layers` of rows and the lists they gather from, which follow from the rest. Of a render that met damaged stills, as it was laid out anew
    /// without them.
    pub plan: String,
    /// Slots of the shoot by what became of them; as many as there are slots, and files set aside.
    pub tally: Tally,
    /// Where two stills that follow one another were not taken one after the other, and nothing is mixed across.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub breaks: Vec<Break>,
    /// Tables that it is corrected by, where it is.
    pub corrections: Vec<Correction>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde passes a reference")]
fn is_none(count: &usize) -> bool {
    *count == 0
}

/// Slots by what became of them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tally {
    /// Their own still is shown.
    pub used: usize,
    /// Whole, and shown in no frame.
    pub passed_over: usize,
    /// Outside `from` and `to`.
    pub outside_part: usize,
    /// Left out by a cut.
    pub cut: usize,
    /// Of other days than those chosen.
    #[serde(skip_serializing_if = "is_none", default)]
    pub days: usize,
    /// Outside the hours chosen.
    #[serde(skip_serializing_if = "is_none", default)]
    pub hours: usize,
    /// Between the steps of the clock.
    #[serde(skip_serializing_if = "is_none", default)]
    pub only: usize,
    /// Damaged.
    pub damaged: usize,
    /// Missing.
    pub missing: usize,
    /// Files set aside.
    pub set_aside: usize,
}

/// Two stills that follow one another and were not taken one after the other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Break {
    /// The name of the last still before it.
    pub before: String,
    /// The name of the first still after it.
    pub after: String,
    /// What lies between: `"a cut between"`, `"a gap between"`.
    pub why: String,
}

/// A table that stills are corrected by.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// `"level"` or `"steady"`.
    pub kind: String,
    /// Its table: the name of a file beside the receipt.
    pub table: FilePath,
    /// Hash of the table.
    pub blake3: String,
}

/// One output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Delivery {
    /// Its name.
    pub name: String,
    /// The shot it belongs to, among [`Receipt::shots`], from 0.
    pub shot: usize,
    /// The name of its file, or of a sequence's folder, beside the receipt.
    pub path: FilePath,
    /// Bytes in it.
    pub bytes: u64,
    /// Hash of the file; of a sequence the hash of its files' hashes, one after the other in the order of their frames.
    pub blake3: String,
    /// What it is coded as.
    pub codec: String,
    /// The coarsest rate factor in it, where it was given a size.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub crf: Option<f64>,
    /// Frame size in pixels.
    pub width: u32,
    /// Frame size in pixels.
    pub height: u32,
    /// Frames a second, as numerator and denominator.
    pub rate: [u32; 2],
    /// Frames in it.
    pub frames: u64,
    /// What its container and its stream say of its colours, where they say anything: `primaries`, `transfer`,
    /// `matrix`, `range`.
    pub tags: BTreeMap<String, String>,
    /// Hash of the planes of every frame as handed to the encoder, in order.
    pub planes: Vec<String>,
    /// Frames in which another still has the place of the one whose turn it is.
    pub held: Vec<[u64; 2]>,
    /// Frames that are the mean of several stills.
    pub mixed: Vec<[u64; 2]>,
    /// Frames that gather the brightest, the darkest or the median light of several stills.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub gathered: Vec<[u64; 2]>,
    /// Frames that show what lay between two stills, made by the motion of what both show: no photograph shows that.
    pub invented: Vec<[u64; 2]>,
    /// Frames taken over from a run that was interrupted.
    pub taken_over: u64,
    /// Whether anything is heard in it.
    pub sound: bool,
    /// The row of the table of purposes that it was given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub purpose: Option<Purpose>,
    /// What the file calls itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub title: Option<String>,
    /// A frame of it that is kept as a picture of its own.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub poster: Option<Poster>,
    /// Flashes seen in it: a measurement, no clearance. None of a master, and where it could not be looked at.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub flashes: Option<FlashesSeen>,
}

/// Flashes by WCAG 2.2 ("general flash and red flash thresholds"), which allows three within any second over more than a
/// quarter of a field of 10 degrees. Told by the frames on their way to the encoder; where an interrupted run had made some
/// of them, by those of the finished file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FlashesSeen {
    /// The most general flashes within any second over more than a quarter of a field, where they are more than three:
    /// fewer are not told, for a decoded file has a few more or less than the frames that it was made of.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub general: Option<u32>,
    /// The most red ones, likewise.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub red: Option<u32>,
    /// Frames with more than three a second of either: runs of them, each by its first and its last.
    pub above: Vec<[u64; 2]>,
}

/// A row of the table of purposes, as it was when a delivery was given it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Purpose {
    /// Its name.
    pub name: String,
    /// What it said, by field.
    pub figures: BTreeMap<String, String>,
}

/// A frame that is kept as a picture of its own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Poster {
    /// Which of the delivery's, from 0.
    pub frame: u64,
    /// The name of its file, beside the receipt.
    pub path: FilePath,
    /// Hash of the file.
    pub blake3: String,
}

/// A stage of the work: `prepare` (script, survey, looking, plan), `render` (decoding, painting, encoding), of that
/// `hash stills` (in seconds of all workers together) and `finish` (from the last frame to the file's name, of the
/// delivery that took longest), `tables and strip`, `hash outputs` (with recordings, and stills that were not hashed
/// yet).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// Which.
    pub name: String,
    /// Seconds it took by the clock, to the millisecond: so that the number read back is the number written.
    pub seconds: f64,
    /// Bytes it read or wrote, where it did.
    pub bytes: u64,
}

/// Why a text is no receipt.
#[derive(Debug, thiserror::Error)]
pub enum ReceiptError {
    /// Not JSON, or JSON of another shape.
    #[error("it is not a receipt of this program: {0}")]
    Shape(#[from] serde_json::Error),
    /// Another layout.
    #[error("its format is '{0}', and only '{FORMAT}' is read")]
    Format(String),
    /// Its hash does not fit.
    #[error("it was edited after it was written: its own hash is {found} and should be {due}")]
    Edited {
        /// What it says.
        found: String,
        /// What it holds.
        due: String,
    },
    /// It names something that it does not hold.
    #[error("it contradicts itself: {0}")]
    Inconsistent(String),
}

impl Sealed for Receipt {
    fn replace_hash(&mut self, by: String) -> String {
        std::mem::replace(&mut self.hash, by)
    }
}

impl Receipt {
    /// What [`Receipt::hash`] has to be.
    #[must_use]
    pub fn own_hash(&self) -> String {
        let mut copy = self.clone();
        let _was = copy.seal();
        copy.hash
    }

    /// As JSON, its hash set.
    #[must_use]
    pub fn sealed(mut self) -> (Self, String) {
        let _not_set_yet = self.seal();
        let text = seal::text(&self).unwrap_or_default();
        (self, text)
    }

    /// Reads one that is whole: its hash fits, and every index in it leads somewhere.
    ///
    /// # Errors
    /// Why it is none.
    pub fn from_json(text: &str) -> Result<Self, ReceiptError> {
        #[derive(Deserialize)]
        struct Head {
            format: String,
        }
        let head: Head = serde_json::from_str(text)?;
        if head.format != FORMAT {
            return Err(ReceiptError::Format(head.format.chars().take(60).collect()));
        }
        let mut receipt: Self = serde_json::from_str(text)?;
        let found = receipt.seal();
        if receipt.hash != found {
            return Err(ReceiptError::Edited { found: found.chars().take(64).collect(), due: receipt.hash });
        }
        receipt.consistent()?;
        Ok(receipt)
    }

    fn consistent(&self) -> Result<(), ReceiptError> {
        let wrong = |what: String| Err(ReceiptError::Inconsistent(what));
        for shot in &self.shots {
            if shot.shoot >= self.shoots.len() {
                return wrong(format!("shot '{}' is cut from a shoot that is not listed", shot.name));
            }
        }
        for delivery in &self.deliveries {
            if delivery.shot >= self.shots.len() {
                return wrong(format!("delivery '{}' belongs to a shot that is not listed", delivery.name));
            }
            if delivery.planes.len() as u64 != delivery.frames {
                let (hashes, frames) = (delivery.planes.len(), delivery.frames);
                return wrong(format!("delivery '{}' has {frames} frames, but the hashes of {hashes}", delivery.name));
            }
            let mut above = delivery.flashes.iter().flat_map(|flashes| &flashes.above);
            if above.any(|[first, last]| first > last || *last >= delivery.frames) {
                return wrong(format!("delivery '{}' flashes in frames that do not exist", delivery.name));
            }
            if delivery.rate.contains(&0) || delivery.width == 0 || delivery.height == 0 {
                return wrong(format!("delivery '{}' has no size or no rate", delivery.name));
            }
        }
        let shown = self.shoots.iter().flat_map(|shoot| &shoot.stills).flat_map(|still| &still.shown);
        for shown in shown {
            let frames = self.deliveries.get(shown.delivery).map_or(0, |delivery| delivery.frames);
            if shown.frames.iter().any(|[first, last]| first > last || *last >= frames) {
                return wrong("a still is listed with frames that do not exist".into());
            }
        }
        Ok(())
    }
}

impl FilePath {
    /// As it is written.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        match path.to_str() {
            Some(text) => Self::Text(text.to_owned()),
            None => Self::Bytes {
                bytes: path.as_os_str().as_encoded_bytes().iter().map(|byte| format!("{byte:02x}")).collect(),
            },
        }
    }

    /// The path; none where its digits are none.
    #[must_use]
    pub fn path(&self) -> Option<PathBuf> {
        match self {
            Self::Text(text) => Some(PathBuf::from(text)),
            Self::Bytes { bytes } => {
                let digit = |at: usize| u8::from_str_radix(bytes.get(at..at + 2)?, 16).ok();
                let bytes = (0..bytes.len()).step_by(2).map(digit).collect::<Option<Vec<u8>>>()?;
                #[cfg(unix)]
                {
                    use std::os::unix::ffi::OsStringExt as _;
                    Some(PathBuf::from(std::ffi::OsString::from_vec(bytes)))
                }
                #[cfg(not(unix))]
                String::from_utf8(bytes).ok().map(PathBuf::from)
            }
        }
    }

    /// The path, where it is a single name: what lies beside the receipt. None where it leads anywhere else.
    #[must_use]
    pub fn beside(&self) -> Option<PathBuf> {
        let path = self.path()?;
        let mut parts = path.components();
        let single = matches!((parts.next(), parts.next()), (Some(std::path::Component::Normal(_)), None));
        single.then_some(path)
    }
}

/// Runs of numbers that follow one another, each by its first and its last. `numbers` are in order.
pub fn runs(numbers: impl IntoIterator<Item = u64>) -> Vec<[u64; 2]> {
    let mut runs = Vec::new();
    numbers.into_iter().for_each(|number| run_on(&mut runs, number));
    runs
}

/// Adds a number, no less than those before it, to [`runs`].
pub fn run_on(runs: &mut Vec<[u64; 2]>, number: u64) {
    match runs.last_mut() {
        Some([_, last]) if *last == number || *last + 1 == number => *last = number,
        _ => runs.push([number, number]),
    }
}

/// The JSON Schema (draft 2020-12) of [`Receipt`].
#[must_use]
pub fn schema() -> serde_json::Value {
    SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<Receipt>().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn receipt() -> Receipt {
        let shown = vec![Shown { delivery: 0, frames: vec![[0, 1]] }];
        let still = Still {
            name: "A1".into(),
            path: Some(FilePath::of(Path::new("shoot/A1.jpg"))),
            bytes: Some(3),
            blake3: Some("00".into()),
            shown,
            why: None,
        };
        Receipt {
            format: FORMAT.into(),
            hash: String::new(),
            made: "2026-01-01T00:00:00Z".into(),
            versions: Versions { stillpath: "0".into(), ffmpeg: "0".into(), codecs: BTreeMap::new() },
            script: Script {
                path: FilePath::Text("a.lua".into()),
                blake3: "00".into(),
                modules: Vec::new(),
                tables: Vec::new(),
                dials: BTreeMap::new(),
                sources: Vec::new(),
                only: Vec::new(),
                threads: 2,
            },
            shoots: vec![Shoot { recording: None, recordings: Vec::new(), stills: vec![still], set_aside: Vec::new() }],
            shots: vec![Shot {
                name: String::new(),
                shoot: 0,
                plan: "00".into(),
                tally: Tally::default(),
                breaks: Vec::new(),
                corrections: Vec::new(),
            }],
            deliveries: vec![Delivery {
                name: "wide".into(),
                shot: 0,
                path: FilePath::Text("a-wide.mp4".into()),
                bytes: 9,
                blake3: "00".into(),
                codec: "h264".into(),
                crf: None,
                width: 16,
                height: 16,
                rate: [24, 1],
                frames: 2,
                tags: BTreeMap::new(),
                planes: vec!["00".into(), "01".into()],
                held: Vec::new(),
                mixed: Vec::new(),
                gathered: Vec::new(),
                invented: Vec::new(),
                taken_over: 0,
                sound: false,
                purpose: None,
                title: None,
                poster: None,
                flashes: None,
            }],
            stages: vec![Stage { name: "render".into(), seconds: 0.1 + 0.2, bytes: 3 }],
        }
    }

    #[test]
    fn a_sealed_receipt_comes_back_and_an_edited_one_is_refused() {
        let (sealed, text) = receipt().sealed();
        assert_eq!(Receipt::from_json(&text).unwrap(), sealed);
        let edited = text.replace("a-wide.mp4", "b-wide.mp4");
        assert!(matches!(Receipt::from_json(&edited), Err(ReceiptError::Edited { .. })));
        let other = text.replace(FORMAT, "stillpath receipt 7");
        assert!(matches!(Receipt::from_json(&other), Err(ReceiptError::Format(format)) if format.ends_with('7')));
        assert!(matches!(Receipt::from_json("{}"), Err(ReceiptError::Shape(_))));
    }

    #[test]
    fn what_does_not_fit_itself_is_refused_although_its_hash_does() {
        let spoilt: [fn(&mut Receipt); 5] = [
            |receipt| receipt.shots[0].shoot = 1,
            |receipt| receipt.deliveries[0].shot = 9,
            |receipt| receipt.deliveries[0].frames = u64::MAX,
            |receipt| receipt.deliveries[0].rate = [24, 0],
            |receipt| receipt.shoots[0].stills[0].shown[0].frames[0] = [1, 2],
        ];
        for spoil in spoilt {
            let mut receipt = receipt();
            spoil(&mut receipt);
            let (_, text) = receipt.sealed();
            assert!(matches!(Receipt::from_json(&text), Err(ReceiptError::Inconsistent(_))));
        }
    }

    #[test]
    fn paths_of_any_bytes_come_back_and_only_single_names_lie_beside() {
        #[cfg(unix)]
        {
            use std::os::unix::ffi::OsStrExt as _;
            let odd = Path::new(std::ffi::OsStr::from_bytes(b"a\xff.jpg"));
            assert_eq!(FilePath::of(odd).path().as_deref(), Some(odd));
        }
        let beside = |text: &str| FilePath::Text(text.into()).beside();
        assert_eq!(beside("a.mp4"), Some(PathBuf::from("a.mp4")));
        assert!(["../a.mp4", "/a.mp4", "x/a.mp4", "..", ".", ""].iter().all(|text| beside(text).is_none()));
        assert_eq!(FilePath::Bytes { bytes: "zz".into() }.path(), None);
    }

    #[test]
    fn runs_are_by_first_and_last() {
        assert_eq!(runs([0, 1, 2, 5, 7, 8]), [[0, 2], [5, 5], [7, 8]]);
        assert!(runs([]).is_empty());
    }
}

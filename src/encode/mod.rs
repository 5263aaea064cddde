//! Frames to files, one codec a file behind [`crate::work::Sink`].
//!
//! A codec brings a check of what it can hold ([`preflight`]), a sink ([`begin`]) and a place for its output
//! ([`output_path`]). Sinks work in a hidden, locked folder beside the output and rename when the file is whole; files
//! of packets are read back before that. Frames are kept there by [stretches](crate::work::Stretches), so that a run goes on
//! where another was interrupted.
//!
//! ## Decisions
//!
//! - To add a codec: a variant of `Codec` in `src/shot/codec.rs`; a file here that gives its `recipe::Recipe`; its
//!   line in `made_by`. Check what it writes with programs that did not make it, as `tests/encode/` does.

mod allowed;
mod av1;
mod clip;
mod cut;
mod dnxhr;
mod ffv1;
mod fit;
mod frames;
mod h264;
mod hashed;
mod hevc;
mod jpeg;
mod level;
mod master;
mod mp4;
mod mux;
mod png;
mod prores;
mod recipe;
mod record;
mod resume;
mod sequence;
mod soft;
mod sound;
mod stretch;
mod tags;
mod temporary;
mod tiff;
mod timing;
mod verify;

use std::io::Read as _;
use std::path::Path;
use std::sync::OnceLock;

pub use cut::{cut, work};
pub use fit::{Fit, LEAST, Scale, Trials, search};
pub use resume::{
    Begun, Kept, Taken, has_grown, is_begun, is_finished, kept, kept_bytes, kept_of, note_sizes, noted_sizes,
    stretch_bytes, tidy,
};

pub use tags::tags;

use mux::Words;
use recipe::{Container, Recipe};
use sequence::FileKind;
use temporary::Unfinished;

use crate::ffi::ffmpeg;
use crate::picture::{Chroma, Frame, FrameKind, Pixels};
use crate::plan::{self, DeliveryPlan, Passage};
use crate::shoot::{Recording, Shoot};
use crate::shot::{Codec, Ffv1, Prores, ProresProfile, Samples};
use crate::units::{FrameRate, Size};
use crate::work::{Sink, SinkError, Stretches};

/// How a delivery is made.
enum Way {
    /// Packets in one file.
    Clip(Box<Recipe>),
    /// A file a frame.
    Sequence(FileKind),
}

/// By which way a codec's deliveries are made, or why they cannot be, in one line.
fn made_by(codec: &Codec, frame: Size, fps: FrameRate, threads: usize) -> Result<Way, String> {
    let recipe = match codec {
        Codec::H264(codec) => h264::recipe(codec, frame, fps)?,
        Codec::Hevc(codec) => hevc::recipe(codec, frame, fps, threads)?,
        Codec::Av1(codec) => av1::recipe(codec, frame, fps, threads)?,
        Codec::Prores(codec) => prores::recipe(*codec, frame, fps)?,
        Codec::Dnxhr => dnxhr::recipe(frame, fps)?,
        Codec::Ffv1(codec) => ffv1::recipe(*codec, frame, fps)?,
        Codec::Png(codec) => return Ok(Way::Sequence(FileKind::Png(*codec))),
        Codec::Tiff => return Ok(Way::Sequence(FileKind::Tiff)),
        Codec::Jpeg(codec) => return Ok(Way::Sequence(FileKind::Jpeg(*codec))),
    };
    Ok(Way::Clip(Box::new(recipe)))
}

/// What kind of frame a codec's deliveries take.
#[must_use]
pub fn kind(codec: &Codec) -> FrameKind {
    match codec {
        Codec::H264(_) => FrameKind::Yuv420,
        Codec::Hevc(_) | Codec::Av1(_) => FrameKind::Yuv10(Chroma::Quarter),
        Codec::Prores(Prores { profile: ProresProfile::Full }) => FrameKind::Yuv10(Chroma::Full),
        Codec::Prores(_) | Codec::Dnxhr => FrameKind::Yuv10(Chroma::Half),
        Codec::Ffv1(Ffv1 { samples }) => match samples {
            Samples::Stills => FrameKind::Planes,
            Samples::Half => FrameKind::Yuv10(Chroma::Half),
            Samples::Full => FrameKind::Yuv10(Chroma::Full),
            Samples::Rgb => FrameKind::Rgb16,
        },
        Codec::Png(png) => FileKind::Png(*png).kind(),
        Codec::Tiff => FileKind::Tiff.kind(),
        Codec::Jpeg(jpeg) => FileKind::Jpeg(*jpeg).kind(),
    }
}

/// What kind of frame a delivery takes.
#[must_use]
pub fn kind_of(delivery: &DeliveryPlan) -> FrameKind {
    match (delivery.every_still, master::is_painted(delivery)) {
        (false, _) => kind(&delivery.codec),
        (true, true) => FrameKind::Rgb16,
        (true, false) => FrameKind::Planes,
    }
}

/// Checks that this codec can make such a file here: the encoder is there and takes the options, the size and rate are
/// within what the codec allows. Says why not otherwise, with the value seen and the range allowed.
///
/// # Errors
/// One line a person can act on.
pub fn preflight(codec: &Codec, frame: Size, fps: FrameRate) -> Result<(), String> {
    match made_by(codec, frame, fps, 1)? {
        Way::Clip(recipe) => recipe.preflight(frame, fps),
        Way::Sequence(file) => file.preflight(frame),
    }
}

/// Checks that this codec can make a master of stills of this size, as [`preflight`] does.
///
/// # Errors
/// One line a person can act on.
pub fn preflight_master(codec: &Codec, still: Size, fps: FrameRate) -> Result<(), String> {
    master::preflight(codec, still, fps)
}

/// Checks that sound can be made here.
///
/// # Errors
/// One line a person can act on.
pub fn preflight_sound() -> Result<(), String> {
    sound::preflight()
}

/// Where a delivery's output goes: `<out>/<stem>-<delivery>.mp4` (or `.mov`, `.mkv`), or the folder
/// `<out>/<stem>-<delivery>` of a sequence.
#[must_use]
pub fn output_path(out: &Path, stem: &str, delivery: &DeliveryPlan) -> std::path::PathBuf {
    let name = format!("{stem}-{}", delivery.name);
    let container = match delivery.codec {
        _ if delivery.every_still => Container::Matroska,
        Codec::H264(_) | Codec::Hevc(_) | Codec::Av1(_) => Container::Mp4,
        Codec::Prores(_) | Codec::Dnxhr => Container::QuickTime,
        Codec::Ffv1(_) => Container::Matroska,
        Codec::Png(_) | Codec::Tiff | Codec::Jpeg(_) => return out.join(name),
    };
    out.join(format!("{name}.{}", container.ending()))
}

/// What stands beside a delivery's output and belongs to it: a master's sidecar.
#[must_use]
pub fn beside_output(output: &Path, delivery: &DeliveryPlan) -> Option<std::path::PathBuf> {
    delivery.every_still.then(|| crate::master::beside(output))
}

/// How many frames a stretch of such a delivery has at most; [`cut()`] makes shorter ones where they are much work.
#[must_use]
pub fn stretch(delivery: &DeliveryPlan) -> usize {
    let DeliveryPlan { codec, fps, .. } = delivery;
    match codec {
        _ if delivery.every_still => master::stretch(codec, *fps),
        Codec::H264(_) | Codec::Hevc(_) | Codec::Av1(_) => timing::stretch(*fps),
        Codec::Ffv1(_) => ffv1::STRETCH,
        // Each frame stands alone, so a stretch costs nothing but its file.
        Codec::Prores(_) | Codec::Dnxhr | Codec::Png(_) | Codec::Tiff | Codec::Jpeg(_) => timing::group(*fps) as usize,
    }
}

/// BLAKE3 of what a delivery's encoded frames depend on beside their pixels: the codec with its options, size, rate,
/// threads, this program and the libraries it encodes with.
#[must_use]
pub fn settings(delivery: &DeliveryPlan, threads: usize) -> blake3::Hash {
    let DeliveryPlan { codec, frame, fps, .. } = delivery;
    let (version, libraries) = (env!("CARGO_PKG_VERSION"), ffmpeg::versions());
    let program = program();
    blake3::hash(format!("{codec:?} {frame} {fps:?} {threads} {version} {program:?} {libraries}").as_bytes())
}

/// BLAKE3 by which one build of this program is told from another on whatever machine; none where its file cannot be read.
///
/// It is of the file's length and its first page where that holds the hash that linkers give a build (the note
/// `NT_GNU_BUILD_ID`, which `readelf -n` shows), and of the whole file elsewhere. The file is read once.
#[must_use]
pub fn program() -> Option<blake3::Hash> {
    /// Where the note is, if there is one.
    const PAGE: usize = 4096;
    static PROGRAM: OnceLock<Option<blake3::Hash>> = OnceLock::new();
    let hash = || -> std::io::Result<blake3::Hash> {
        let mut file = std::fs::File::open(std::env::current_exe()?)?;
        let mut hasher = blake3::Hasher::new();
        hasher.update(&file.metadata()?.len().to_le_bytes());
        let mut page = Vec::new();
        file.by_ref().take(PAGE as u64).read_to_end(&mut page)?;
        hasher.update(&page);
        // Lengths of name and hash, the note's type, its name; all of it little-endian here.
        let is_note = |at: &[u8]| at.starts_with(&[4, 0, 0, 0]) && at.ends_with(b"\x03\0\0\0GNU\0");
        if !page.windows(16).any(is_note) {
            hasher.update_reader(file)?;
        }
        Ok(hasher.finalize())
    };
    *PROGRAM.get_or_init(|| hash().ok())
}

/// Opens a sink that will make `path` from all of the delivery's frames, takes nothing over and keeps nothing;
/// otherwise as [`begin`].
///
/// # Errors
/// [`SinkError`] where the folder, the disk or the encoder refuses.
pub fn open(delivery: &DeliveryPlan, path: &Path, threads: usize) -> Result<Box<dyn Sink>, SinkError> {
    let stretches = Stretches { every: stretch(delivery), each: Vec::new() };
    begin(delivery, None, path, threads, stretches, true).map(|begun| begun.sink)
}

/// Begins to make `path` from a delivery's frames, or goes on where a run was interrupted: whole stretches whose keys
/// are those of `stretches` are taken over, unless it is to begin `fresh`. `threads` is how many the encoder itself may
/// use; `shoot` is what is shown, which matters where its recording is heard, and to masters.
///
/// The folder is made where there is none. What stands at `path` is replaced at the very end, in one rename; whether it
/// may be is for the caller to ask before. A folder is only replaced where it holds nothing but numbered frames.
/// What is kept beside a finished output goes by [`tidy`].
///
/// # Errors
/// [`SinkError`] where the folder, the disk or the encoder refuses, or something is heard and there is no recording, or
/// it is a master of no shoot.
pub fn begin(
    delivery: &DeliveryPlan,
    shoot: Option<&Shoot>,
    path: &Path,
    threads: usize,
    stretches: Stretches,
    fresh: bool,
) -> Result<Begun, SinkError> {
    begin_for(delivery, shoot, path, threads, stretches, (fresh, Goal::Whole))
}

/// What is to come of an output.
#[derive(Debug, Clone, Copy)]
pub enum Goal<'a> {
    /// All of it, under its name.
    Whole,
    /// The same, and its stretches stay for a render of more stills.
    Grown,
    /// Some of its stretches, in order, to be kept; of clips only.
    Some(&'a [usize]),
    /// The same of any output, while other runs may make the others.
    Share(&'a [usize]),
    /// All of it, whose bytes are counted and which goes again, but for the stretches; of clips only.
    Weighed,
}

impl<'a> Goal<'a> {
    /// The stretches that are made, where that is not all of them.
    pub(crate) fn which(self) -> Option<&'a [usize]> {
        match self {
            Self::Some(which) | Self::Share(which) => Some(which),
            Self::Whole | Self::Grown | Self::Weighed => None,
        }
    }

    /// Whether this stretch is among those.
    fn wants(self, index: usize) -> bool {
        self.which().is_none_or(|which| which.contains(&index))
    }
}

/// As [`begin`], with a goal.
///
/// # Errors
/// As [`begin`].
pub fn begin_for(
    delivery: &DeliveryPlan,
    shoot: Option<&Shoot>,
    path: &Path,
    threads: usize,
    stretches: Stretches,
    (fresh, goal): (bool, Goal<'_>),
) -> Result<Begun, SinkError> {
    let recordings: Vec<Option<&Recording>> =
        shoot.into_iter().flat_map(Shoot::recordings).map(|(_, recording)| recording).collect();
    let is_there = |passage: &Passage| recordings.get(passage.member).is_some_and(Option::is_some);
    let sound = match &delivery.sound {
        passages if passages.is_empty() => None,
        passages if passages.iter().all(is_there) => {
            Some(sound::Heard { recordings: &recordings, passages, unread: delivery.unread_sound })
        }
        _ => return Err(sound::unheard("there is no recording to take it from")),
    };
    let mut unfinished = match goal {
        Goal::Share(_) => Unfinished::open_among(path)?,
        Goal::Whole | Goal::Grown | Goal::Some(_) | Goal::Weighed => {
            Unfinished::open(path, !stretches.each.is_empty())?
        }
    };
    if fresh {
        match goal {
            Goal::Share(which) => unfinished.remove_stretches(|index| which.contains(&index)),
            Goal::Whole | Goal::Grown | Goal::Some(_) | Goal::Weighed => unfinished.empty()?,
        }
    }
    if let Goal::Whole | Goal::Grown = goal {
        if let Some(begun) = resume::finished_already(&unfinished, &stretches) {
            return Ok(begun);
        }
        match goal {
            Goal::Grown => unfinished.grow(),
            _ => unfinished.unmark(),
        }
    }
    let all = stretches.clone();
    let refused = |message: String| SinkError::Encoder { codec: delivery.codec.name(), message };
    let (sink, taken): (Box<dyn Sink>, Taken) = if delivery.every_still {
        let shoot = shoot.ok_or_else(|| refused("it is for masters of a shoot".to_owned()))?;
        let (sink, taken) = master::MasterSink::open(delivery, shoot, unfinished, stretches, threads, goal)?;
        (Box::new(sink), taken)
    } else {
        let as_what = (delivery.frame, delivery.fps);
        match made_by(&delivery.codec, delivery.frame, delivery.fps, threads).map_err(refused)? {
            Way::Clip(recipe) => {
                let plan::Extras { title, timecode, chapters, .. } = delivery.extras.clone();
                let chapters = chapters.into_iter().map(|chapter| (chapter.frame, chapter.name)).collect();
                let words = Words { title, timecode, chapters, frames: delivery.rows.len() as u64 };
                let (sink, taken) =
                    clip::ClipSink::open(*recipe, as_what, (words, sound), unfinished, stretches, threads, goal)?;
                (Box::new(sink), taken)
            }
            Way::Sequence(file) => {
                let (sink, taken) =
                    sequence::SequenceSink::open(file, delivery.frame, unfinished, stretches, threads, goal)?;
                (Box::new(sink), taken)
            }
        }
    };
    let mut due = taken.due(&all);
    if let Some(which) = goal.which() {
        due.retain(|rows| which.iter().any(|index| all.each.get(*index).is_some_and(|one| one.rows == *rows)));
    }
    Ok(Begun { sink, due, taken })
}

/// FFmpeg, which encodes, decodes and writes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Versions {
    /// Its release.
    pub release: String,
    /// The library of its codecs.
    pub codecs: String,
}

/// FFmpeg's versions, as its libraries give them.
#[must_use]
pub fn versions() -> Versions {
    let (release, codecs) = ffmpeg::release();
    Versions { release, codecs }
}

/// The files of a finished sequence, in the order of its frames.
///
/// # Errors
/// Where the folder cannot be read, or holds anything but frames.
pub fn frames_of(sequence: &Path) -> std::io::Result<Vec<std::path::PathBuf>> {
    let mut frames = temporary::numbered(sequence)?;
    frames.sort();
    Ok(frames)
}

/// About how many bytes a delivery will take: an estimate to hold against the room left on the disk.
///
/// Sequences count their samples uncompressed, JPEG 3 bits a pixel. H.264 counts 0.15 bits a pixel at CRF 18, halved
/// every 6 steps up: in the middle of what time-lapses of textured scenes took (common practice, no source), and HEVC
/// and AV1 of the same quality as much, where they were not above it; a cap on bits a second holds. ProRes counts what
/// its profile aims at, DNxHR what it takes. All but sequences count twice over, for their stretches are there until
/// the file made of them has its name. A master has FFV1 of 6 bits a pixel, half of what 4:2:0 has (common practice, no
/// source), or HEVC at 0.6 bits (above what the demo's stills took).
#[must_use]
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an estimate of a positive number of bytes"
)]
pub fn predicted_bytes(delivery: &DeliveryPlan) -> u64 {
    let pixels = (delivery.frame.pixels() * delivery.rows.len() as u64) as f64;
    let seconds = delivery.fps.time_of(delivery.rows.len() as u64).0.ceil();
    let sound = predicted_sound(delivery) as f64;
    let by_factor = |bits: f64, steps: f64| bits * (steps / 6.0).exp2();
    // Twice over, unless it is of files.
    let (times, bits) = match &delivery.codec {
        Codec::Png(png) => (1.0, 3.0 * f64::from(png.depth)),
        Codec::Tiff => (1.0, 48.0),
        Codec::Jpeg(_) => (1.0, 3.0),
        Codec::Ffv1(Ffv1 { samples }) => (
            2.0,
            match samples {
                Samples::Stills => 6.0,
                Samples::Half => 10.0,
                Samples::Full => 15.0,
                Samples::Rgb => 36.0,
            },
        ),
        Codec::Hevc(codec) if delivery.every_still => (2.0, by_factor(0.6, 18.0 - codec.crf)),
        Codec::Hevc(codec) => (2.0, by_factor(0.15, 21.0 - codec.crf)),
        Codec::H264(codec) => (2.0, by_factor(0.15, 18.0 - codec.crf)),
        Codec::Av1(codec) => (2.0, by_factor(0.15, 0.5 * (8.0 - f64::from(codec.crf)))),
        Codec::Prores(codec) => (2.0, codec.bits_a_pixel()),
        Codec::Dnxhr => (2.0, Codec::DNXHR_BITS),
    };
    if let Some(size) = delivery.codec.size() {
        return 2 * size;
    }
    let capped = delivery.codec.most().map_or(f64::INFINITY, |most| most as f64 * seconds / 8.0);
    (times * (pixels * bits / 8.0).min(capped) + sound) as u64
}

/// About how many bytes a delivery's finished output will have, by the same estimate: a file counts once, and what it is
/// put together from not at all.
#[must_use]
pub fn predicted_output(delivery: &DeliveryPlan) -> u64 {
    if let Some(size) = delivery.codec.size() {
        return size;
    }
    let (all, sound) = (predicted_bytes(delivery), predicted_sound(delivery));
    let is_file = output_path(Path::new(""), "clip", delivery).extension().is_some();
    if is_file { (all - sound) / 2 + sound } else { all }
}

/// Bytes of what is heard.
fn predicted_sound(delivery: &DeliveryPlan) -> u64 {
    let sound = if delivery.sound.is_empty() { 0 } else { sound::BYTES_A_SECOND };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds of a clip")]
    let seconds = delivery.fps.time_of(delivery.rows.len() as u64).0.ceil() as u64;
    sound * seconds
}

/// Writes one 16-bit RGB frame as a PNG, under a temporary name first.
///
/// # Errors
/// [`SinkError`] where the disk refuses or the frame is of another kind.
pub fn write_png(path: &Path, frame: &Frame) -> Result<(), SinkError> {
    let Pixels::Rgb16(samples) = &frame.pixels else {
        return Err(SinkError::Encoder { codec: "PNG", message: "only 16-bit RGB frames are written".into() });
    };
    let disk = |source| SinkError::Disk { path: path.to_owned(), source };
    let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let aside = tempfile::Builder::new().prefix(".frame-").tempdir_in(folder).map_err(disk)?;
    let unfinished = aside.path().join("frame.png");
    let bytes: Vec<u8> = samples.iter().flat_map(|sample| sample.to_be_bytes()).collect();
    let _its_hash = png::write_file(&unfinished, frame.size, 16, &bytes)?;
    std::fs::rename(&unfinished, path).map_err(disk)
}

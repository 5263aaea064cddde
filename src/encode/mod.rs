//! Frames to files, one codec a file behind [`crate::work::Sink`].
//!
//! A codec brings a check of what it can hold ([`preflight`]), a sink ([`begin`]) and a place for its output
//! ([`output_path`]). Sinks work in a hidden, locked folder beside the output and rename when the file is whole; H.264
//! files are read back before that. Frames are kept there by [stretches](crate::work::Stretches), so that a run goes on
//! where another was interrupted.
//!
//! ## Decisions
//!
//! - To add a codec: a variant of `Codec` in `src/shot.rs`; a file here that implements `Sink`; its lines in
//!   `preflight`, `stretch` and `begin`. Check what it writes with programs that did not make it, as `tests/encode/`
//!   does.

mod allowed;
mod ffv1;
mod frames;
mod h264;
mod hevc;
mod layout;
mod level;
mod master;
mod mp4;
mod mux;
mod png;
mod record;
mod resume;
mod soft;
mod sound;
mod stretch;
mod tags;
mod temporary;
mod timing;
mod verify;

use std::path::Path;

pub use resume::{Begun, Taken, is_begun, is_finished, kept, kept_bytes, tidy};

pub use tags::tags;

use temporary::Unfinished;

use crate::ffi::ffmpeg;
use crate::picture::{Frame, FrameKind, Pixels};
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::shot::Codec;
use crate::units::{FrameRate, Size};
use crate::work::{Sink, SinkError, Stretches};

/// What kind of frame a codec takes.
#[must_use]
pub fn kind(codec: &Codec) -> FrameKind {
    match codec {
        Codec::H264(_) => FrameKind::Yuv420,
        Codec::Png => FrameKind::Rgb16,
        Codec::Ffv1 | Codec::Hevc(_) => FrameKind::Planes,
    }
}

/// What kind of frame a delivery takes.
#[must_use]
pub fn kind_of(delivery: &DeliveryPlan) -> FrameKind {
    match kind(&delivery.codec) {
        FrameKind::Planes if master::is_painted(delivery) => FrameKind::Rgb16,
        kind => kind,
    }
}

/// Checks that this codec can make such a file here: the encoder is there and takes the options, the size and rate are
/// within what the codec allows. Says why not otherwise, with the value seen and the range allowed.
///
/// # Errors
/// One line a person can act on.
pub fn preflight(codec: &Codec, frame: Size, fps: FrameRate) -> Result<(), String> {
    match codec {
        Codec::H264(codec) => h264::preflight(codec, frame, fps),
        Codec::Png => png::preflight(frame),
        Codec::Ffv1 => ffv1::preflight(frame, fps),
        Codec::Hevc(codec) => hevc::preflight(codec, frame, fps),
    }
}

/// Checks that sound can be made here.
///
/// # Errors
/// One line a person can act on.
pub fn preflight_sound() -> Result<(), String> {
    sound::preflight()
}

/// Where a delivery's output goes: `<out>/<stem>-<delivery>.mp4`, or the folder `<out>/<stem>-<delivery>` of a
/// sequence.
#[must_use]
pub fn output_path(out: &Path, stem: &str, delivery: &DeliveryPlan) -> std::path::PathBuf {
    let name = format!("{stem}-{}", delivery.name);
    match delivery.codec {
        Codec::H264(_) => out.join(format!("{name}.mp4")),
        Codec::Png => out.join(name),
        Codec::Ffv1 | Codec::Hevc(_) => out.join(format!("{name}.mkv")),
    }
}

/// What stands beside a delivery's output and belongs to it: a master's sidecar.
#[must_use]
pub fn beside_output(output: &Path, codec: &Codec) -> Option<std::path::PathBuf> {
    codec.is_for_masters().then(|| crate::master::beside(output))
}

/// How many frames a stretch of such a delivery has: as many as are lost at most where a run is interrupted.
#[must_use]
pub fn stretch(codec: &Codec, fps: FrameRate) -> usize {
    match codec {
        Codec::H264(_) => timing::stretch(fps),
        Codec::Png => timing::group(fps) as usize,
        Codec::Ffv1 => ffv1::STRETCH,
        Codec::Hevc(_) => hevc::stretch(fps),
    }
}

/// BLAKE3 of what a delivery's encoded frames depend on beside their pixels: the codec with its options, size, rate,
/// threads, this program and the libraries it encodes with.
#[must_use]
pub fn settings(delivery: &DeliveryPlan, threads: usize) -> blake3::Hash {
    let program = std::env::current_exe().and_then(std::fs::metadata);
    let program = program.map(|file| (file.len(), file.modified().ok()));
    let DeliveryPlan { codec, frame, fps, .. } = delivery;
    let (version, libraries) = (env!("CARGO_PKG_VERSION"), ffmpeg::versions());
    blake3::hash(format!("{codec:?} {frame} {fps:?} {threads} {version} {program:?} {libraries}").as_bytes())
}

/// Opens a sink that will make `path` from all of the delivery's frames, takes nothing over and keeps nothing;
/// otherwise as [`begin`].
///
/// # Errors
/// [`SinkError`] where the folder, the disk or the encoder refuses.
pub fn open(delivery: &DeliveryPlan, path: &Path, threads: usize) -> Result<Box<dyn Sink>, SinkError> {
    let stretches = Stretches { every: stretch(&delivery.codec, delivery.fps), each: Vec::new() };
    begin(delivery, None, path, threads, stretches, true).map(|begun| begun.sink)
}

/// Begins to make `path` from a delivery's frames, or goes on where a run was interrupted: whole stretches whose keys
/// are those of `stretches` are taken over, unless it is to begin `fresh`. `threads` is how many the encoder itself may
/// use; `shoot` is what is shown, which matters where its recording is heard, and to masters.
///
/// The folder is made where there is none. What stands at `path` is replaced at the very end, in one rename; whether it
/// may be is for the caller to ask before. A folder is only replaced where it holds nothing but numbered PNG files.
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
    let sound = match (shoot.and_then(|shoot| shoot.recording.as_ref()), &delivery.sound) {
        (_, passages) if passages.is_empty() => None,
        (Some(recording), passages) => Some(sound::Heard { recording, passages, unread: delivery.unread_sound }),
        (None, _) => return Err(sound::unheard("there is no recording to take it from")),
    };
    let unfinished = Unfinished::open(path, !stretches.each.is_empty())?;
    if fresh {
        unfinished.empty()?;
    }
    if let Some(begun) = resume::finished_already(&unfinished, &stretches) {
        return Ok(begun);
    }
    unfinished.unmark();
    let all = stretches.clone();
    let (sink, taken): (Box<dyn Sink>, Taken) = match &delivery.codec {
        Codec::H264(codec) => {
            let as_what = (delivery.frame, delivery.fps);
            let (sink, taken) = h264::H264Sink::open(codec, as_what, sound, unfinished, stretches, threads)?;
            (Box::new(sink), taken)
        }
        Codec::Png => {
            let (sink, taken) = png::PngSink::open(delivery.frame, unfinished, stretches, threads)?;
            (Box::new(sink), taken)
        }
        Codec::Ffv1 | Codec::Hevc(_) => {
            let refused =
                |message: &str| SinkError::Encoder { codec: delivery.codec.name(), message: message.to_owned() };
            let shoot =
                shoot.filter(|_| delivery.every_still).ok_or_else(|| refused("it is for masters of a shoot"))?;
            let (sink, taken) = master::MasterSink::open(delivery, shoot, unfinished, stretches, threads)?;
            (Box::new(sink), taken)
        }
    };
    Ok(Begun { sink, due: taken.due(&all), taken })
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
/// PNG counts its samples uncompressed. H.264 counts 0.15 bits a pixel at CRF 18, halved every 6 steps up: in the
/// middle of what time-lapses of textured scenes took (common practice, no source); and that twice over, for its
/// stretches are there until the file made of them has its name. A master counts twice over too: FFV1 6 bits a pixel,
/// half of what 4:2:0 has (common practice, no source), HEVC as H.264 at 0.6 bits (above what the demo's stills took).
#[must_use]
pub fn predicted_bytes(delivery: &DeliveryPlan) -> u64 {
    let pixels = delivery.frame.pixels() * delivery.rows.len() as u64;
    let sound = if delivery.sound.is_empty() { 0 } else { sound::BYTES_A_SECOND };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds of a clip")]
    let sound = sound * delivery.fps.time_of(delivery.rows.len() as u64).0.ceil() as u64;
    let pictures = match &delivery.codec {
        Codec::Png => pixels * 6,
        Codec::Ffv1 => 2 * pixels * 6 / 8,
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "an estimate of a positive number of bytes"
        )]
        Codec::Hevc(codec) => (2.0 * pixels as f64 * 0.6 / 8.0 * ((18.0 - codec.crf) / 6.0).exp2()) as u64,
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "an estimate of a positive number of bytes"
        )]
        Codec::H264(codec) => (2.0 * pixels as f64 * 0.15 / 8.0 * ((18.0 - codec.crf) / 6.0).exp2()) as u64,
    };
    pictures + sound
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
    let _its_hash = png::write_file(&unfinished, frame.size, &bytes)?;
    std::fs::rename(&unfinished, path).map_err(disk)
}

//! Frames to files, one codec a file behind [`crate::work::Sink`].
//!
//! A codec brings a check of what it can hold ([`preflight`]), a sink ([`open`]) and a place for its output
//! ([`output_path`]). Sinks write under a temporary, locked name and rename when the file is whole; H.264 files are read back
//! before that.

mod allowed;
mod h264;
mod level;
mod mp4;
mod png;
mod sound;
mod temporary;
mod verify;

use std::path::Path;

use crate::picture::{Frame, FrameKind, Pixels};
use crate::plan::DeliveryPlan;
use crate::shoot::Recording;
use crate::shot::Codec;
use crate::units::{FrameRate, Size};
use crate::work::{Sink, SinkError};

/// What kind of frame a codec takes.
#[must_use]
pub fn kind(codec: &Codec) -> FrameKind {
    match codec {
        Codec::H264(_) => FrameKind::Yuv420,
        Codec::Png => FrameKind::Rgb16,
    }
}

/// Checks that this codec can make such a file here: the encoder is there and takes the options, the size and rate are within
/// what the codec allows. Says why not otherwise, with the value seen and the range allowed.
///
/// # Errors
/// One line a person can act on.
pub fn preflight(codec: &Codec, frame: Size, fps: FrameRate) -> Result<(), String> {
    match codec {
        Codec::H264(codec) => h264::preflight(codec, frame, fps),
        Codec::Png => png::preflight(frame),
    }
}

/// Checks that sound can be made here.
///
/// # Errors
/// One line a person can act on.
pub fn preflight_sound() -> Result<(), String> {
    sound::preflight()
}

/// Where a delivery's output goes: `<out>/<stem>-<delivery>.mp4`, or the folder `<out>/<stem>-<delivery>` of a sequence.
#[must_use]
pub fn output_path(out: &Path, stem: &str, delivery: &DeliveryPlan) -> std::path::PathBuf {
    let name = format!("{stem}-{}", delivery.name);
    match delivery.codec {
        Codec::H264(_) => out.join(format!("{name}.mp4")),
        Codec::Png => out.join(name),
    }
}

/// Opens a sink that will make `path` from the delivery's frames; `threads` is how many the encoder itself may use.
///
/// The folder is made where there is none. What stands at `path` is replaced at the very end, in one rename; whether it may
/// be is for the caller to ask before. A folder is only replaced where it holds nothing but numbered PNG files.
///
/// # Errors
/// [`SinkError`] where the folder, the disk or the encoder refuses.
pub fn open(delivery: &DeliveryPlan, path: &Path, threads: usize) -> Result<Box<dyn Sink>, SinkError> {
    open_with_sound(delivery, None, path, threads)
}

/// As [`open`], of a delivery in which a recording may be heard.
///
/// # Errors
/// As [`open`]; or where something is heard and there is no recording.
pub fn open_with_sound(
    delivery: &DeliveryPlan,
    recording: Option<&Recording>,
    path: &Path,
    threads: usize,
) -> Result<Box<dyn Sink>, SinkError> {
    let sound = match (recording, &delivery.sound) {
        (_, passages) if passages.is_empty() => None,
        (Some(recording), passages) => Some((recording, passages)),
        (None, _) => return Err(sound::unheard("there is no recording to take it from")),
    };
    Ok(match &delivery.codec {
        Codec::H264(codec) => Box::new(h264::H264Sink::open(codec, delivery.frame, delivery.fps, sound, path, threads)?),
        Codec::Png => Box::new(png::PngSink::open(delivery.frame, path, threads)?),
    })
}

/// About how many bytes a delivery will take: an estimate to hold against the room left on the disk.
///
/// PNG counts its samples uncompressed. H.264 counts 0.15 bits a pixel at CRF 18, halved every 6 steps up: in the middle of
/// what time-lapses of textured scenes took (common practice, no source).
#[must_use]
pub fn predicted_bytes(delivery: &DeliveryPlan) -> u64 {
    let pixels = delivery.frame.pixels() * delivery.rows.len() as u64;
    let sound = if delivery.sound.is_empty() { 0 } else { sound::BYTES_A_SECOND };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds of a clip")]
    let sound = sound * delivery.fps.time_of(delivery.rows.len() as u64).0.ceil() as u64;
    let pictures = match &delivery.codec {
        Codec::Png => pixels * 6,
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "an estimate of a positive number of bytes"
        )]
        Codec::H264(codec) => (pixels as f64 * 0.15 / 8.0 * ((18.0 - codec.crf) / 6.0).exp2()) as u64,
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
    png::write_file(&unfinished, frame.size, &bytes)?;
    std::fs::rename(&unfinished, path).map_err(disk)
}

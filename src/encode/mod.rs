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
mod temporary;
mod verify;

use std::path::Path;

use crate::picture::FrameKind;
use crate::plan::DeliveryPlan;
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
    Ok(match &delivery.codec {
        Codec::H264(codec) => Box::new(h264::H264Sink::open(codec, delivery.frame, delivery.fps, path, threads)?),
        Codec::Png => Box::new(png::PngSink::open(delivery.frame, path, threads)?),
    })
}

//! Frames to files, one codec a file behind [`crate::work::Sink`].

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

/// Checks that this codec can make such a file here: the encoder is there, the size and rate are within what the codec
/// allows. Says why not otherwise.
///
/// # Errors
/// One line a person can act on.
pub fn preflight(codec: &Codec, frame: Size, fps: FrameRate) -> Result<(), String> {
    let _ = (codec, frame, fps);
    unimplemented!()
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
/// # Errors
/// [`SinkError`] where the folder, the disk or the encoder refuses.
pub fn open(delivery: &DeliveryPlan, path: &Path, threads: usize, replace: bool) -> Result<Box<dyn Sink>, SinkError> {
    let _ = (delivery, path, threads, replace);
    unimplemented!()
}

/// About how many bytes a delivery will take: an estimate to hold against the room left on the disk.
#[must_use]
pub fn predicted_bytes(delivery: &DeliveryPlan) -> u64 {
    let _ = delivery;
    unimplemented!()
}

/// Writes one 16-bit RGB frame as a PNG, under a temporary name first.
///
/// # Errors
/// [`SinkError`] where the disk refuses.
pub fn write_png(path: &Path, frame: &crate::picture::Frame) -> Result<(), SinkError> {
    let _ = (path, frame);
    unimplemented!()
}

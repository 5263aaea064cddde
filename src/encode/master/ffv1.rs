//! A master in FFV1: a still's samples as they are, to the last bit.
//!
//! ## Surprises
//!
//! - FFmpeg 5.1's FFV1 drops the last column of 4:1:1 chroma where the width is no multiple of 4 (its own command line
//!   does too): such stills are refused.

use super::layout::{self, Held};
use crate::encode::ffv1::{ENCODER, MOST_THREADS, NAME, VERSION, holds, options};
use crate::encode::recipe::present;
use crate::ffi::ffmpeg::{self, Encoder, EncoderSettings, Fault, FrameFormat};
use crate::picture::{Meaning, Model, Picture};
use crate::units::{FrameRate, Size};

/// Says why such frames cannot be held, in one line.
pub(super) fn preflight(size: Size, fps: FrameRate) -> Result<(), String> {
    holds(size)?;
    present(ENCODER, NAME)?;
    let colour = ffmpeg::ColourCodes { primaries: 1, transfer: 1, matrix: 1, range: 2, siting: 0 };
    open(("yuv420p", colour), size, fps, 1).map(|_| ()).map_err(|fault| format!("the {NAME} encoder: {fault}"))
}

/// How a still's samples are held: just as they are.
pub(super) fn held(picture: &Picture) -> Result<Held, String> {
    let (spacing, bits) = (layout::spacing(picture)?, layout::bits(picture));
    let deep = if bits == 8 { String::new() } else { format!("{bits}le") };
    let name = match (picture.model, picture.planes.len()) {
        (Model::Rgb, _) if bits == 8 => "bgr0".to_owned(),
        (Model::Rgb, _) => format!("gbrp{deep}"),
        (_, 1) => format!("gray{deep}"),
        _ => {
            let sampling = layout::sampling(spacing).ok_or("FFmpeg has no layout for the spacing of its chroma")?;
            // FFmpeg 5.1 loses the last column of such chroma (measured; so does its own command line).
            let four = |power: u32, length: u32| power == 2 && !length.is_multiple_of(4);
            if four(spacing.0, picture.size.width) || four(spacing.1, picture.size.height) {
                return Err(format!(
                    "FFmpeg's {NAME} loses chroma of one sample in four pixels where a side is no multiple of 4; HEVC takes it"
                ));
            }
            format!("yuv{sampling}p{deep}")
        }
    };
    if !ffmpeg::encoder_takes(ENCODER, &name) {
        return Err(format!("{NAME} does not take frames of the layout {name}"));
    }
    Ok(Held { layout: name, meaning: Meaning::of(picture) })
}

/// Opens an encoder for frames of such a layout.
pub(super) fn open(
    held: (&str, ffmpeg::ColourCodes),
    size: Size,
    fps: FrameRate,
    threads: usize,
) -> Result<Encoder, Fault> {
    let (layout, colour) = held;
    Encoder::open(&EncoderSettings {
        codec: ENCODER,
        format: FrameFormat { layout, colour },
        size,
        fps,
        group: 1,
        level: VERSION,
        threads: threads.clamp(1, MOST_THREADS),
        options: &options(),
    })
}

/// Writes a row of the layout's bytes.
pub(super) fn fill(picture: &Picture, plane: usize, row: usize, out: &mut [u8]) {
    let bits = layout::bits(picture);
    match (picture.model, &picture.planes[..]) {
        (Model::Rgb, [red, green, blue]) if bits == 8 => {
            let rows = [blue, green, red].map(|plane| layout::bytes(plane, row));
            for (column, pixel) in out.chunks_exact_mut(4).enumerate() {
                pixel.copy_from_slice(&[rows[0][column], rows[1][column], rows[2][column], 0]);
            }
        }
        (model, planes) => {
            // FFmpeg's planes of R'G'B' are green, blue and red.
            let plane = if model == Model::Rgb { &planes[[1, 2, 0][plane]] } else { &planes[plane] };
            if bits == 8 {
                out.copy_from_slice(layout::bytes(plane, row));
                return;
            }
            let up = layout::up(picture);
            for (column, sample) in out.chunks_exact_mut(2).enumerate() {
                #[expect(clippy::cast_possible_truncation, reason = "a code of 16 bits at most")]
                sample.copy_from_slice(&(layout::code(plane, row, column, up) as u16).to_le_bytes());
            }
        }
    }
}

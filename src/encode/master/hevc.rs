//! A master in HEVC: a still's samples at 10 bits. Y'CbCr keeps its matrix, its range and its sampling where HEVC has
//! that; R'G'B' becomes full-range BT.709 Y'CbCr of one sample a pixel.
//!
//! Full-range codes go from 8 bits to 10 by the factor 1023 / 255 and chroma about its zero (ITU-T H.273, 8.3), so that
//! other readers see white as white; limited ones by 4.
//!
//! ## Decisions
//!
//! - libx265's `medium` with `tune = psnr` at CRF 21, in stretches of one group of pictures. Chroma that HEVC has no
//!   sampling for (4:4:0, 4:1:1, 4:2:0 of an odd side) is repeated.

use super::layout::{self, Held};
use crate::encode::hevc::{ENCODER, MOST_THREADS, NAME, holds, plain};
use crate::encode::recipe::present;
use crate::encode::timing::group;
use crate::ffi::ffmpeg::{self, Encoder, EncoderSettings, Fault, FrameFormat};
use crate::picture::{Coding, LumaWeights, Meaning, Model, Picture, Siting};
use crate::shot::Hevc;
use crate::units::{FrameRate, Size};

/// Bits of a code.
const BITS: u32 = 10;
const MOST: f64 = 1023.0;

/// BT.709's weights of R' and B' in luma (BT.709-6).
const RED: f64 = 0.2126;
const BLUE: f64 = 0.0722;

/// Says why such frames cannot be encoded, in one line: all that can be known without a still.
pub(super) fn preflight(codec: &Hevc, size: Size, fps: FrameRate) -> Result<(), String> {
    holds(codec, size)?;
    present(ENCODER, NAME)?;
    let colour = ffmpeg::ColourCodes { primaries: 1, transfer: 1, matrix: 1, range: 2, siting: 0 };
    open(codec, ("yuv444p10le", colour), size, fps, 1)
        .map(|_| ())
        .map_err(|fault| format!("the {NAME} encoder: {fault}"))
}

/// Frames of a stretch: one group of pictures, which stands alone.
pub(super) fn stretch(fps: FrameRate) -> usize {
    group(fps) as usize
}

/// How a still's samples are held.
pub(super) fn held(picture: &Picture) -> Result<Held, String> {
    let spacing = layout::spacing(picture)?;
    let video = |weights, full_range| Model::Video(Coding { weights, full_range, bits: BITS });
    let model = match picture.model {
        Model::YCbCr601 | Model::Grey => video(LumaWeights::Bt601, true),
        Model::Video(coding) => video(coding.weights, coding.full_range),
        // Each pixel has its own of everything.
        Model::Rgb => video(LumaWeights::Bt709, true),
    };
    let mut meaning = Meaning { model, ..Meaning::of(picture) };
    let name = match (picture.model, picture.planes.len()) {
        (Model::Rgb, _) => "yuv444p10le".to_owned(),
        (_, 1) => "gray10le".to_owned(),
        _ => match layout::sampling(spacing) {
            Some(sampling @ ("420" | "422" | "444")) => {
                let Size { width, height } = picture.size;
                let odd = (spacing.0 > 0 && !width.is_multiple_of(2)) || (spacing.1 > 0 && !height.is_multiple_of(2));
                if odd {
                    meaning.sitings = vec![Siting::FULL; 3];
                    "yuv444p10le".to_owned()
                } else {
                    format!("yuv{sampling}p10le")
                }
            }
            // Repeated to one sample a pixel.
            _ => {
                meaning.sitings = vec![Siting::FULL; 3];
                "yuv444p10le".to_owned()
            }
        },
    };
    Ok(Held { layout: name, meaning })
}

/// Opens an encoder for frames of such a layout.
pub(super) fn open(
    codec: &Hevc,
    held: (&str, ffmpeg::ColourCodes),
    size: Size,
    fps: FrameRate,
    threads: usize,
) -> Result<Encoder, Fault> {
    let (layout, colour) = held;
    let own = plain(threads);
    // A master is painted again and not looked at: its bits go where they make samples right, not where they please the
    // eye.
    let tune = ("tune", "psnr".to_owned());
    let options = [("preset", codec.preset.clone()), tune, ("crf", codec.crf.to_string()), ("x265-params", own)];
    Encoder::open(&EncoderSettings {
        codec: ENCODER,
        format: FrameFormat { layout, colour },
        size,
        fps,
        group: group(fps),
        level: 0,
        threads: threads.clamp(1, MOST_THREADS),
        options: &options,
    })
}

/// Makes rows of the layout's bytes from pictures that are alike.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// What the tables are for.
    of: Option<(Model, u32)>,
    luma: Vec<u16>,
    chroma: Vec<u16>,
    /// Whether chroma has more samples in the layout than in the picture.
    repeated: bool,
}

impl Rows {
    /// Gets the tables ready for a picture that is held in this way.
    pub(super) fn prepare(&mut self, picture: &Picture, held: &Held) {
        let chroma = picture.planes.get(1).map(|plane| plane.siting);
        self.repeated = picture.model != Model::Rgb && chroma != held.meaning.sitings.get(1).copied();
        let of = (picture.model, layout::bits(picture));
        if self.of == Some(of) || picture.model == Model::Rgb {
            return;
        }
        let bits = of.1;
        let most = f64::from((1_u32 << bits) - 1);
        let zero = f64::from(1_u32 << (bits - 1));
        let full = !matches!(picture.model, Model::Video(Coding { full_range: false, .. }));
        let table = |make: &dyn Fn(f64) -> f64| (0..1_u32 << bits).map(|code| rounded(make(f64::from(code)))).collect();
        let scale = MOST / most;
        let shift = 2.0_f64.powi(BITS.cast_signed() - bits.cast_signed());
        self.luma = if full { table(&|code| code * scale) } else { table(&|code| code * shift) };
        self.chroma = if full { table(&|code| (code - zero) * scale + 512.0) } else { table(&|code| code * shift) };
        self.of = Some(of);
    }

    /// Writes a row.
    pub(super) fn fill(&self, picture: &Picture, plane: usize, row: usize, out: &mut [u8]) {
        let out = out.chunks_exact_mut(2);
        if picture.model == Model::Rgb {
            let most = if layout::bits(picture) == 8 { 255.0 } else { 65_535.0 };
            for (column, sample) in out.enumerate() {
                let [red, green, blue] =
                    [0, 1, 2].map(|own: usize| f64::from(layout::code(&picture.planes[own], row, column, 0)) / most);
                let luma = RED * red + (1.0 - RED - BLUE) * green + BLUE * blue;
                let value = match plane {
                    0 => luma * MOST,
                    1 => (blue - luma) / (2.0 * (1.0 - BLUE)) * MOST + 512.0,
                    _ => (red - luma) / (2.0 * (1.0 - RED)) * MOST + 512.0,
                };
                sample.copy_from_slice(&rounded(value).to_le_bytes());
            }
            return;
        }
        let (own, table) = (&picture.planes[plane], if plane == 0 { &self.luma } else { &self.chroma });
        let up = layout::up(picture);
        let repeated = plane > 0 && self.repeated;
        // Chroma that the layout has more samples of is repeated: the nearest one.
        let row = if repeated { nearest(row, own.siting.origin_y, own.siting.step_y, own.height) } else { row };
        for (column, sample) in out.enumerate() {
            let column =
                if repeated { nearest(column, own.siting.origin_x, own.siting.step_x, own.width) } else { column };
            sample.copy_from_slice(&table[layout::code(own, row, column, up) as usize].to_le_bytes());
        }
    }
}

/// The sample nearest to a pixel's centre.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a pixel of a frame"
)]
fn nearest(pixel: usize, origin: f64, step: f64, count: u32) -> usize {
    let sample = ((pixel as f64 + 0.5 - origin) / step + 0.5).floor();
    (sample.max(0.0) as usize).min(count as usize - 1)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held within 10 bits")]
fn rounded(value: f64) -> u16 {
    value.round().clamp(0.0, MOST) as u16
}

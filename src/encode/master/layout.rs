//! How a still's planes lie in a master's frames: which layout of FFmpeg's holds them, and what their samples stand
//! for.

use crate::ffi::ffmpeg::ColourCodes;
use crate::picture::{Coding, LumaWeights, Meaning, Model, Picture, Plane, Profile, Samples};

/// ITU-T H.273's numbers, and FFmpeg's own for range and siting.
const BT709: u32 = 1;
const BT601: u32 = 5;
const SRGB_CURVE: u32 = 13;
const UNSPECIFIED: u32 = 2;
const FULL: u32 = 2;
const LIMITED: u32 = 1;
const CENTRE: u32 = 2;
const TOP_LEFT: u32 = 3;
const LEFT: u32 = 1;

/// How a still's samples are held in a master.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Held {
    /// FFmpeg's name of the layout.
    pub(super) layout: String,
    /// What the samples stand for in it.
    pub(super) meaning: Meaning,
}

impl Held {
    /// What the stream says of its colours.
    pub(super) fn colour(&self) -> ColourCodes {
        let (primaries, transfer) = match self.meaning.profile {
            Profile::Srgb => (BT709, SRGB_CURVE),
            Profile::AdobeRgb | Profile::Icc(_) => (UNSPECIFIED, UNSPECIFIED),
            Profile::Light => unreachable!("no decoder makes one, and a master's planes are its stills' own"),
        };
        let (matrix, range) = match self.meaning.model {
            Model::Rgb => (0, FULL),
            Model::YCbCr601 => (BT601, FULL),
            // Grey's matrix is of no use, and one must be said for its range to be kept.
            Model::Grey => (BT601, FULL),
            Model::Video(Coding { weights, full_range, .. }) => {
                (if weights == LumaWeights::Bt709 { BT709 } else { BT601 }, if full_range { FULL } else { LIMITED })
            }
        };
        let siting = match self.meaning.sitings.get(1) {
            Some(chroma) if chroma.step_x > 1.0 => match (chroma.origin_x, chroma.origin_y) {
                (across, down) if across == chroma.step_x / 2.0 && down == chroma.step_y / 2.0 => CENTRE,
                (0.5, 0.5) => TOP_LEFT,
                (0.5, _) => LEFT,
                _ => 0,
            },
            _ => 0,
        };
        ColourCodes { primaries, transfer, matrix, range, siting }
    }
}

/// How many pixels lie from one chroma sample to the next, across and down, as powers of two.
pub(super) fn spacing(picture: &Picture) -> Result<(u32, u32), String> {
    let [luma, blue, red] = &picture.planes[..] else { return Ok((0, 0)) };
    let power = |step: f64| match step {
        1.0 => Some(0),
        2.0 => Some(1),
        4.0 => Some(2),
        _ => None,
    };
    let strange = || format!("its chroma has one sample every {} by {} pixels", blue.siting.step_x, blue.siting.step_y);
    let (across, down) = power(blue.siting.step_x).zip(power(blue.siting.step_y)).ok_or_else(strange)?;
    let due = (luma.width.div_ceil(1 << across), luma.height.div_ceil(1 << down));
    if (blue.width, blue.height) != due || (red.width, red.height) != due || blue.siting != red.siting {
        return Err(strange());
    }
    Ok((across, down))
}

/// The part of a layout's name that says how chroma is spaced.
pub(super) fn sampling((across, down): (u32, u32)) -> Option<&'static str> {
    Some(match (across, down) {
        (0, 0) => "444",
        (1, 0) => "422",
        (1, 1) => "420",
        (0, 1) => "440",
        (2, 0) => "411",
        (2, 2) => "410",
        _ => return None,
    })
}

/// Bits of a picture's codes.
pub(super) fn bits(picture: &Picture) -> u32 {
    match (picture.model, picture.planes.first().map(|plane| &plane.samples)) {
        (Model::Video(coding), _) => coding.bits,
        (_, Some(Samples::Sixteen(_))) => 16,
        _ => 8,
    }
}

/// Whether all planes have one sample a pixel of luma, and the picture its whole size: a recording's pixels need not be
/// square.
pub(super) fn is_plain(picture: &Picture) -> bool {
    let luma = picture.planes.first();
    luma.is_some_and(|luma| {
        luma.siting == crate::picture::Siting::FULL
            && (luma.width, luma.height) == (picture.size.width, picture.size.height)
    })
}

/// A row of a plane of 8-bit samples.
pub(super) fn bytes(plane: &Plane, row: usize) -> &[u8] {
    match &plane.samples {
        Samples::Eight(samples) => &samples[row * plane.stride..][..plane.width as usize],
        Samples::Sixteen(_) => &[],
    }
}

/// A code of a plane, in its own bits: those of more than 8 stand in the high bits of 16 where the model says so.
pub(super) fn code(plane: &Plane, row: usize, column: usize, up: u32) -> u32 {
    let at = row * plane.stride + column;
    match &plane.samples {
        Samples::Eight(samples) => u32::from(samples[at]),
        Samples::Sixteen(samples) => u32::from(samples[at] >> up),
    }
}

/// How far a picture's codes of 16 bits stand above their own.
pub(super) fn up(picture: &Picture) -> u32 {
    16 - if matches!(picture.model, Model::Video(_)) { bits(picture).max(9) } else { 16 }
}

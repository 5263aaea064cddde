//! DNxHR HQX in QuickTime: 10 bits, 4:2:2, every frame by itself and of one number of bytes.
//!
//! ## Surprises
//!
//! - FFmpeg 5.1's DNxHR 444 of Y'CbCr is taken for R'G'B' by MediaInfo: it is left out.

use super::recipe::{Container, Recipe, even_sides, rate_within, sides_within};
use crate::picture::{Chroma, FrameKind};
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "dnxhd";
/// How messages name the codec.
const NAME: &str = "DNxHR";
/// Most threads it is given.
const MOST_THREADS: usize = 16;
/// Frames that FFmpeg's encoder takes (its own limits).
const SHORTEST: Size = Size { width: 256, height: 120 };
const LONGEST: Size = Size { width: 16_384, height: 16_384 };
/// FFmpeg's number of the profile.
const HQX: i32 = 4;

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(size: Size, fps: FrameRate) -> Result<Recipe, String> {
    sides_within(NAME, size, (SHORTEST, LONGEST))?;
    even_sides(NAME, size, (2, 2))?;
    rate_within(NAME, fps)?;
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "dnxhd",
        kind: FrameKind::Yuv10(Chroma::Half),
        layout: "yuv422p10le",
        decoded: "yuv422p10le",
        group: 1,
        level: 0,
        most_threads: MOST_THREADS,
        options: vec![("profile", "dnxhr_hqx".to_owned())],
        finer: None,
        container: Container::QuickTime,
        profile: Some(HQX),
        declarations: Vec::new(),
    })
}

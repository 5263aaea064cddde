//! FFV1 in Matroska: nothing is lost of the frames. Version 3, every frame by itself, every slice with a checksum, so
//! that damage stays in its frame and names it.
//!
//! ## Decisions
//!
//! - One frame a group, stretches of 24 frames. The number of slices is left to FFmpeg, which accepts only some numbers
//!   for some sizes.

use super::recipe::{Container, Recipe, even_sides, rate_within};
use crate::picture::{Chroma, FrameKind};
use crate::shot::{Ffv1, Samples};
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
pub(super) const ENCODER: &str = "ffv1";
/// How messages name the codec.
pub(super) const NAME: &str = "FFV1";
/// The version with slices and checksums.
pub(super) const VERSION: u8 = 3;
/// Most threads it has any use for.
pub(super) const MOST_THREADS: usize = 4;
/// Frames of a stretch: each stands alone, so a stretch costs nothing but its file.
pub(super) const STRETCH: usize = 24;

/// The longest side and the most pixels that FFmpeg allocates a frame for: `(width + 128) × (height + 128)` below 2³¹ /
/// 8 (`av_image_check_size`).
const MOST: u64 = (1 << 31) / 8;

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(codec: Ffv1, size: Size, fps: FrameRate) -> Result<Recipe, String> {
    holds(size)?;
    let (kind, layout) = match codec.samples {
        Samples::Half => (FrameKind::Yuv10(Chroma::Half), "yuv422p10le"),
        Samples::Full => (FrameKind::Yuv10(Chroma::Full), "yuv444p10le"),
        Samples::Rgb => (FrameKind::Rgb16, "gbrp16le"),
        Samples::Stills => return Err("it is for masters of a shoot".to_owned()),
    };
    if let Some(chroma) = kind.chroma() {
        even_sides(NAME, size, chroma.spacing())?;
    }
    rate_within(NAME, fps)?;
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "ffv1",
        kind,
        layout,
        decoded: layout,
        group: 1,
        level: VERSION,
        most_threads: MOST_THREADS,
        options: options().to_vec(),
        finer: None,
        container: Container::Matroska,
        profile: None,
        declarations: Vec::new(),
    })
}

/// The encoder's options. The range coder and the larger contexts: smaller by some percent, for a little more time.
pub(super) fn options() -> [(&'static str, String); 3] {
    [("slicecrc", "1".to_owned()), ("coder", "range_tab".to_owned()), ("context", "1".to_owned())]
}

/// Refuses frames that FFmpeg cannot hold.
pub(super) fn holds(size: Size) -> Result<(), String> {
    let with_edges = (u64::from(size.width) + 128) * (u64::from(size.height) + 128);
    if with_edges >= MOST {
        return Err(format!(
            "frames of {size} are {} million pixels: {NAME} takes about {}",
            size.pixels() / 1_000_000,
            MOST / 1_000_000
        ));
    }
    Ok(())
}

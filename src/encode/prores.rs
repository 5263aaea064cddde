//! ProRes in QuickTime: 10 bits, 4:2:2 or 4:4:4, every frame by itself.

use super::recipe::{Container, Recipe, even_sides, rate_within, sides_within};
use crate::picture::{Chroma, FrameKind};
use crate::shot::{Prores, ProresProfile};
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "prores_ks";
/// How messages name the codec.
const NAME: &str = "ProRes";
/// Most threads it is given.
const MOST_THREADS: usize = 16;
/// Sides that its header can say (SMPTE RDD 36, from memory: two bytes each).
const SHORTEST: Size = Size { width: 16, height: 16 };
const LONGEST: Size = Size { width: 16_384, height: 16_384 };

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(codec: Prores, size: Size, fps: FrameRate) -> Result<Recipe, String> {
    sides_within(NAME, size, (SHORTEST, LONGEST))?;
    let full = codec.profile == ProresProfile::Full;
    let chroma = if full { Chroma::Full } else { Chroma::Half };
    // Chroma is spread over whole blocks, whatever the profile.
    even_sides(NAME, size, (2, 1))?;
    rate_within(NAME, fps)?;
    let profile = match codec.profile {
        ProresProfile::Proxy => 0,
        ProresProfile::Lt => 1,
        ProresProfile::Standard => 2,
        ProresProfile::Hq => 3,
        ProresProfile::Full => 4,
    };
    let mut options = vec![("profile", profile.to_string()), ("vendor", "apl0".to_owned())];
    if full {
        options.push(("alpha_bits", "0".to_owned()));
    }
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "prores",
        kind: FrameKind::Yuv10(chroma),
        layout: if full { "yuv444p10le" } else { "yuv422p10le" },
        // FFmpeg decodes all of 4:4:4 at the depth it may have.
        decoded: if full { "yuv444p12le" } else { "yuv422p10le" },
        group: 1,
        level: 0,
        most_threads: MOST_THREADS,
        options,
        finer: None,
        container: Container::QuickTime,
        profile: Some(profile),
        declarations: Vec::new(),
    })
}

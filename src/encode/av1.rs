//! AV1 in MP4: SVT-AV1, Main profile, 10 bits, 4:2:0.
//!
//! ## Surprises
//!
//! - SVT-AV1 prints to the terminal, past FFmpeg's log, unless the environment says `SVT_LOG=-1` before it is first
//!   used: the program sets that as it starts.
//! - Its rate factor is a whole number, and a cap needs one below 64.

use super::recipe::{Container, Recipe, cap_within, even_sides, rate_within, sides_within};
use super::timing::group;
use crate::picture::{Chroma, FrameKind};
use crate::shot::Av1;
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "libsvtav1";
/// How messages name the codec.
const NAME: &str = "AV1";
/// Most threads it is given.
const MOST_THREADS: usize = 16;
/// Frames that SVT-AV1 takes (its own limits).
const SHORTEST: Size = Size { width: 64, height: 64 };
const LONGEST: Size = Size { width: 16_384, height: 8704 };
/// Frames a second that it takes (its own limit).
const FASTEST: u32 = 240;
/// `seq_profile` of Main (AV1 specification, 6.4.1, from memory).
const MAIN: i32 = 0;

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(codec: &Av1, size: Size, fps: FrameRate, threads: usize) -> Result<Recipe, String> {
    if !(1..=63).contains(&codec.crf) {
        return Err(format!("a crf of {} is outside 1 to 63", codec.crf));
    }
    if codec.preset > Av1::LAST_PRESET {
        return Err(format!("SVT-AV1 has no preset {}; available: 0 to {}", codec.preset, Av1::LAST_PRESET));
    }
    sides_within(NAME, size, (SHORTEST, LONGEST))?;
    let chroma = Chroma::Quarter;
    even_sides(NAME, size, chroma.spacing())?;
    rate_within(NAME, fps)?;
    cap_within(NAME, codec.most)?;
    if fps.numerator() > FASTEST * fps.denominator() {
        return Err(format!("{fps} frames a second are too fast for {NAME}: up to {FASTEST}"));
    }
    // enable-tf: its temporal filter smears slow moves, and takes a third of the time.
    let mut own = format!("enable-tf=0:lp={}", threads.clamp(1, MOST_THREADS));
    if let Some(most) = codec.most {
        own += &format!(":mbr={}", most / 1000);
    }
    let options = vec![("preset", codec.preset.to_string()), ("crf", codec.crf.to_string()), ("svtav1-params", own)];
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "av1",
        kind: FrameKind::Yuv10(chroma),
        layout: "yuv420p10le",
        decoded: "yuv420p10le",
        group: group(fps),
        level: 0,
        most_threads: MOST_THREADS,
        options,
        finer: None,
        container: Container::Mp4,
        profile: Some(MAIN),
        declarations: Vec::new(),
    })
}

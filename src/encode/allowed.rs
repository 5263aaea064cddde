//! What H.264 can hold: sizes, rates and options, each refused with the value seen and the range allowed.

use super::level::{Level, macroblocks};
use crate::shot::H264;
use crate::units::{FrameRate, Size};

/// Shortest side taken: one macroblock.
const SHORTEST: u32 = 16;
/// Longest side libx264 takes.
const LONGEST: u32 = 16_384;
/// Largest numerator or denominator of a rate: MP4 counts a frame's ticks, and H.264 a second's, in 32 bits.
const LARGEST_RATE_PART: u32 = 1_000_000;

/// The level for such a delivery, or why there cannot be one, in one line.
pub(super) fn level(codec: &H264, size: Size, fps: FrameRate) -> Result<Level, String> {
    options_allowed(codec)?;
    size_allowed(size)?;
    if fps.numerator().max(fps.denominator()) > LARGEST_RATE_PART {
        return Err(format!("a frame rate of {fps}: H.264 takes fractions with numbers up to {LARGEST_RATE_PART}"));
    }
    Level::smallest(size, fps).ok_or_else(|| {
        let (across, down) = macroblocks(size);
        #[expect(clippy::cast_precision_loss, reason = "for a message")]
        let most = Level::HIGHEST.rate as f64 / (across * down) as f64;
        format!("{size} at {fps} frames a second is too fast for H.264: at this size up to {most:.2}")
    })
}

fn options_allowed(codec: &H264) -> Result<(), String> {
    if !(1.0..=51.0).contains(&codec.crf) {
        let lossless = "below 1 the stream is lossless, which High profile is not";
        return Err(format!("a crf of {} is outside 1 to 51 ({lossless})", codec.crf));
    }
    named("preset", &codec.preset, &H264::PRESETS)?;
    codec.tune.as_ref().map_or(Ok(()), |tune| named("tune", tune, &H264::TUNES))
}

/// libx264 prints to the terminal when it is handed a name it does not know, so it is not handed any.
fn named(what: &str, seen: &str, names: &[&str]) -> Result<(), String> {
    if names.contains(&seen) {
        Ok(())
    } else {
        Err(format!("x264 has no {what} '{seen}'; available: {}", names.join(", ")))
    }
}

fn size_allowed(size: Size) -> Result<(), String> {
    let shorter = size.width.min(size.height);
    let longer = size.width.max(size.height);
    if shorter < SHORTEST || longer > LONGEST {
        return Err(format!("a frame of {size} pixels: each side of an H.264 frame is {SHORTEST} to {LONGEST} pixels"));
    }
    if !size.width.is_multiple_of(2) || !size.height.is_multiple_of(2) {
        let even = Size::new(size.width.next_multiple_of(2), size.height.next_multiple_of(2));
        return Err(format!("a frame of {size} pixels: H.264 needs even sides, such as {even}"));
    }
    if !Level::HIGHEST.holds_frame(size) {
        let (across, down) = macroblocks(size);
        return Err(format!(
            "a frame of {size} pixels is {} blocks of 16 x 16: H.264 takes up to {} and {} along one side",
            across * down,
            Level::HIGHEST.frame,
            Level::HIGHEST.longest_side()
        ));
    }
    Ok(())
}

//! How a delivery's frames are timed: key frames, stretches, ticks.

use crate::units::FrameRate;

/// Seconds from one key frame to the next at most.
const GROUP_SECONDS: u32 = 2;
/// Seconds of the clip that a stretch has at most: whole groups of pictures, so that its seams cost no key frame.
const STRETCH_SECONDS: u32 = 4;

/// Most frames from one key frame to the next: [`GROUP_SECONDS`], rounded down.
pub(super) fn group(fps: FrameRate) -> u32 {
    (GROUP_SECONDS * fps.numerator() / fps.denominator()).max(1)
}

/// Frames of the longest stretch of a clip: groups of pictures, about [`STRETCH_SECONDS`] long.
pub(super) fn stretch(fps: FrameRate) -> usize {
    (group(fps) * STRETCH_SECONDS.div_ceil(GROUP_SECONDS)) as usize
}

/// Ticks a second: a whole number of them a frame, and enough for players that want milliseconds.
pub(super) fn timescale(fps: FrameRate) -> u32 {
    if fps.numerator() < 10_000 { fps.numerator() * 1000 } else { fps.numerator() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_group_lasts_two_seconds_at_most_and_one_frame_at_least() {
        for (rate, frames) in
            [("24", 48), ("24000/1001", 47), ("30000/1001", 59), ("60", 120), ("1/2", 1), ("1/10", 1), ("480", 960)]
        {
            assert_eq!(group(rate.parse().unwrap()), frames, "{rate}");
        }
    }

    #[test]
    fn a_frame_is_a_whole_number_of_ticks() {
        for (rate, ticks) in
            [("24", 24_000), ("25", 25_000), ("30000/1001", 30_000), ("1/2", 1000), ("120000/1001", 120_000)]
        {
            let fps: FrameRate = rate.parse().unwrap();
            assert_eq!(timescale(fps), ticks, "{rate}");
            assert_eq!(timescale(fps) % fps.numerator(), 0);
        }
    }
}

//! H.264's levels: how large, how fast and how heavy a stream may be that declares one.
//!
//! ITU-T H.264 Annex A, Table A-1 and A.3.1, from memory; `tests/encode.rs` holds the smallest level for a frame
//! against the one libx264 picks itself. Level 1b is left out: 1.1 does for it.

use crate::units::{FrameRate, Size};

/// One row of Table A-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Level {
    /// `level_idc`: ten times the level.
    pub(super) idc: u8,
    /// Macroblocks (16 × 16 pixels) a second.
    pub(super) rate: u64,
    /// Macroblocks a frame.
    pub(super) frame: u64,
    /// Macroblocks of decoded frames kept.
    kept: u64,
    /// Thousands of bits a second into the decoder, before [`HIGH_PROFILE`].
    bit_rate: u64,
    /// Thousands of bits the decoder holds at once, before [`HIGH_PROFILE`].
    bits_held: u64,
}

/// High profile's streams may have 1.25 times the bits (Table A-2, from memory); in thousandths.
const HIGH_PROFILE: u64 = 1250;

/// Decoded frames every stream of ours may keep, whatever the preset: libx264's pyramid of B-frames needs as many.
const KEPT_FRAMES: u64 = 4;

const fn level(idc: u8, rate: u64, frame: u64, kept: u64, bit_rate: u64, bits_held: u64) -> Level {
    Level { idc, rate, frame, kept, bit_rate, bits_held }
}

/// Smallest first.
const LEVELS: [Level; 19] = [
    level(10, 1_485, 99, 396, 64, 175),
    level(11, 3_000, 396, 900, 192, 500),
    level(12, 6_000, 396, 2_376, 384, 1_000),
    level(13, 11_880, 396, 2_376, 768, 2_000),
    level(20, 11_880, 396, 2_376, 2_000, 2_000),
    level(21, 19_800, 792, 4_752, 4_000, 4_000),
    level(22, 20_250, 1_620, 8_100, 4_000, 4_000),
    level(30, 40_500, 1_620, 8_100, 10_000, 10_000),
    level(31, 108_000, 3_600, 18_000, 14_000, 14_000),
    level(32, 216_000, 5_120, 20_480, 20_000, 20_000),
    level(40, 245_760, 8_192, 32_768, 20_000, 25_000),
    level(41, 245_760, 8_192, 32_768, 50_000, 62_500),
    level(42, 522_240, 8_704, 34_816, 50_000, 62_500),
    level(50, 589_824, 22_080, 110_400, 135_000, 135_000),
    level(51, 983_040, 36_864, 184_320, 240_000, 240_000),
    level(52, 2_073_600, 36_864, 184_320, 240_000, 240_000),
    level(60, 4_177_920, 139_264, 696_320, 240_000, 240_000),
    level(61, 8_355_840, 139_264, 696_320, 480_000, 480_000),
    level(62, 16_711_680, 139_264, 696_320, 800_000, 800_000),
];

impl Level {
    /// The largest there is.
    pub(super) const HIGHEST: Self = LEVELS[LEVELS.len() - 1];

    /// The smallest level that holds frames of this size at this rate.
    pub(super) fn smallest(size: Size, fps: FrameRate) -> Option<Self> {
        LEVELS.into_iter().find(|level| level.holds_frame(size) && level.holds_rate(size, fps))
    }

    /// Whether a frame of this size is within the level.
    pub(super) fn holds_frame(self, size: Size) -> bool {
        let (across, down) = macroblocks(size);
        let frame = across * down;
        frame <= self.frame && across.max(down) <= self.longest_side() && frame * KEPT_FRAMES <= self.kept
    }

    /// Whether frames of this size may come this fast.
    fn holds_rate(self, size: Size, fps: FrameRate) -> bool {
        let (across, down) = macroblocks(size);
        u128::from(across * down) * u128::from(fps.numerator()) <= u128::from(self.rate) * u128::from(fps.denominator())
    }

    /// Macroblocks along the longer side: `√(8 · frame)`.
    pub(super) fn longest_side(self) -> u64 {
        (8 * self.frame).isqrt()
    }
}

/// Whole macroblocks across and down that cover a frame.
pub(super) fn macroblocks(size: Size) -> (u64, u64) {
    (u64::from(size.width.div_ceil(16)), u64::from(size.height.div_ceil(16)))
}

/// How heavy a stream turns out to be, frame by frame: which level is known only when it is encoded.
///
/// Every level describes a decoder whose buffer fills at the level's bit rate and from which each frame takes its bits
/// when it is due (Annex C, the hypothetical reference decoder): it must never run dry.
pub(super) struct Load {
    /// Bits in each level's buffer, times the rate's numerator so that they stay whole; none where it has run dry.
    held: [Option<u64>; LEVELS.len()],
    fps: FrameRate,
}

impl Load {
    /// No frame yet; buffers are full.
    pub(super) fn new(fps: FrameRate) -> Self {
        let full = |level: Level| level.bits_held * HIGH_PROFILE * u64::from(fps.numerator());
        Self { held: LEVELS.map(|level| Some(full(level))), fps }
    }

    /// The next frame, in the order of decoding.
    pub(super) fn add(&mut self, bytes: u64) {
        let numerator = u64::from(self.fps.numerator());
        for (held, level) in self.held.iter_mut().zip(LEVELS) {
            let filled = level.bit_rate * HIGH_PROFILE * u64::from(self.fps.denominator());
            let full = level.bits_held * HIGH_PROFILE * numerator;
            *held = held.and_then(|held| held.checked_sub(8 * bytes * numerator)).map(|left| (left + filled).min(full));
        }
    }

    /// The smallest level from `level` up that carries the stream; the highest where none does.
    pub(super) fn level(&self, level: Level) -> Level {
        let carried = LEVELS.into_iter().zip(self.held).skip_while(|(row, _)| *row != level);
        carried.into_iter().find(|(_, held)| held.is_some()).map_or(Level::HIGHEST, |(row, _)| row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn smallest(width: u32, height: u32, rate: &str) -> Option<u8> {
        Level::smallest(Size::new(width, height), rate.parse().unwrap()).map(|level| level.idc)
    }

    #[test]
    fn common_deliveries_get_the_levels_of_the_trade() {
        // 1080p at 30 is level 4 and at 60 level 4.2, 2160p at 30 is 5.1 and at 60 5.2: common practice, no source.
        assert_eq!(smallest(1920, 1080, "24"), Some(40));
        assert_eq!(smallest(1920, 1080, "30"), Some(40));
        assert_eq!(smallest(1080, 1920, "30"), Some(40));
        assert_eq!(smallest(1080, 1080, "30"), Some(32));
        assert_eq!(smallest(1920, 1080, "60"), Some(42));
        assert_eq!(smallest(1280, 720, "30"), Some(31));
        assert_eq!(smallest(3840, 2160, "30"), Some(51));
        assert_eq!(smallest(3840, 2160, "60000/1001"), Some(52));
    }

    #[test]
    fn no_level_holds_what_is_too_large_or_too_fast() {
        assert_eq!(smallest(8192, 4352, "60"), Some(61));
        assert_eq!(smallest(8192, 4352, "120"), Some(62));
        assert_eq!(smallest(8192, 4352, "121"), None);
        assert_eq!(smallest(8208, 4352, "24"), None);
        assert_eq!(smallest(16_880, 16, "24"), Some(60));
        assert_eq!(smallest(16_896, 16, "24"), None);
    }

    /// The level of a second of equal frames, from level 4 up.
    fn level_of(bits_a_second: u64, seconds: u64) -> u8 {
        let mut load = Load::new("25".parse().unwrap());
        for _ in 0..25 * seconds {
            load.add(bits_a_second / 8 / 25);
        }
        load.level(LEVELS[10]).idc
    }

    #[test]
    fn a_stream_heavier_than_its_level_for_long_needs_a_higher_one() {
        // High profile: level 4 carries 25 Mbit/s, 4.1 carries 62.5 Mbit/s.
        assert_eq!(level_of(25_000_000, 60), 40);
        assert_eq!(level_of(26_000_000, 5), 40, "the buffer bears a little more for a short while");
        assert_eq!(level_of(26_000_000, 60), 41);
        assert_eq!(level_of(63_000_000, 300), 50);
        assert_eq!(level_of(2_000_000_000, 5), 62);
    }

    #[test]
    fn one_frame_larger_than_the_decoders_buffer_needs_a_higher_level() {
        let mut load = Load::new("25".parse().unwrap());
        load.add(25_000 * 1250 / 8 + 1);
        assert_eq!(load.level(LEVELS[10]).idc, 41);
    }
}

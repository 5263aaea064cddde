//! H.264's levels: how large, how fast and how heavy a stream may be that declares one.
//!
//! ITU-T H.264 Annex A, Table A-1, from memory; `tests/encode.rs` holds it against what libx264 picks itself.

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
    pub(super) kept: u64,
}

const fn level(idc: u8, rate: u64, frame: u64, kept: u64) -> Level {
    Level { idc, rate, frame, kept }
}

/// Smallest first. Level 1b is left out: 1.1 does for it.
pub(super) const LEVELS: [Level; 19] = [
    level(10, 1_485, 99, 396),
    level(11, 3_000, 396, 900),
    level(12, 6_000, 396, 2_376),
    level(13, 11_880, 396, 2_376),
    level(20, 11_880, 396, 2_376),
    level(21, 19_800, 792, 4_752),
    level(22, 20_250, 1_620, 8_100),
    level(30, 40_500, 1_620, 8_100),
    level(31, 108_000, 3_600, 18_000),
    level(32, 216_000, 5_120, 20_480),
    level(40, 245_760, 8_192, 32_768),
    level(41, 245_760, 8_192, 32_768),
    level(42, 522_240, 8_704, 34_816),
    level(50, 589_824, 22_080, 110_400),
    level(51, 983_040, 36_864, 184_320),
    level(52, 2_073_600, 36_864, 184_320),
    level(60, 4_177_920, 139_264, 696_320),
    level(61, 8_355_840, 139_264, 696_320),
    level(62, 16_711_680, 139_264, 696_320),
];

/// Decoded frames every stream of ours may keep, whatever the preset: libx264's pyramid of B-frames needs as many.
const KEPT_FRAMES: u64 = 4;

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
        assert_eq!(smallest(1080, 1080, "30"), Some(40));
        assert_eq!(smallest(1920, 1080, "60"), Some(42));
        assert_eq!(smallest(1280, 720, "30"), Some(31));
        assert_eq!(smallest(3840, 2160, "30"), Some(51));
        assert_eq!(smallest(3840, 2160, "60000/1001"), Some(52));
    }

    #[test]
    fn no_level_holds_what_is_too_large_or_too_fast() {
        assert_eq!(smallest(8192, 4352, "60"), Some(61));
        assert_eq!(smallest(8192, 4352, "121"), None);
        assert_eq!(smallest(8208, 4352, "24"), None);
        assert_eq!(smallest(16_880, 16, "24"), Some(60));
        assert_eq!(smallest(16_896, 16, "24"), None);
    }
}

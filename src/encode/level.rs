//! Levels of H.264 and HEVC: how large, how fast and how heavy a stream may be that declares one.
//!
//! ITU-T H.264 Annex A, Table A-1 and A.3.1, ITU-T H.265 Annex A, Tables A.8 to A.10, both from memory; `tests/encode/`
//! holds the smallest level for a frame against the one that the encoders pick themselves. H.264's level 1b is left
//! out: 1.1 does for it.

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

/// What a file says of how heavy its stream is, and what it allows with that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Declaration {
    /// The codec's own number of the level.
    pub(super) level: u8,
    /// HEVC's tier; none of H.264.
    pub(super) high_tier: Option<bool>,
    /// Bits a second into the decoder.
    bit_rate: u64,
    /// Bits that the decoder holds at once.
    bits_held: u64,
}

/// Those that carry as many bits a second as a cap allows, with a buffer of a second.
///
/// # Errors
/// The most that any of them carries.
pub(super) fn carrying(declarations: Vec<Declaration>, most: Option<u64>) -> Result<Vec<Declaration>, u64> {
    let Some(most) = most else { return Ok(declarations) };
    let carried = |declaration: &Declaration| declaration.bit_rate.min(declaration.bits_held);
    let heaviest = declarations.iter().map(carried).max().unwrap_or(0);
    let carry: Vec<_> = declarations.into_iter().filter(|declaration| carried(declaration) >= most).collect();
    if carry.is_empty() { Err(heaviest) } else { Ok(carry) }
}

/// What H.264 of a level may come to declare, by its weight: that level and those above it.
pub(super) fn h264(level: Level) -> Vec<Declaration> {
    let above = LEVELS.into_iter().skip_while(|row| *row != level);
    above
        .map(|level| Declaration {
            level: level.idc,
            high_tier: None,
            bit_rate: level.bit_rate * HIGH_PROFILE,
            bits_held: level.bits_held * HIGH_PROFILE,
        })
        .collect()
}

/// A row of HEVC's Tables A.8 and A.10: ten times the level, luma samples a picture and a second; thousands of bits a
/// second in Main tier and in High tier, of which a decoder holds as many at once.
type HevcLevel = (u8, u64, u64, u64, Option<u64>);

/// Smallest first.
const HEVC_LEVELS: [HevcLevel; 13] = [
    (10, 36_864, 552_960, 128, None),
    (20, 122_880, 3_686_400, 1_500, None),
    (21, 245_760, 7_372_800, 3_000, None),
    (30, 552_960, 16_588_800, 6_000, None),
    (31, 983_040, 33_177_600, 10_000, None),
    (40, 2_228_224, 66_846_720, 12_000, Some(30_000)),
    (41, 2_228_224, 133_693_440, 20_000, Some(50_000)),
    (50, 8_912_896, 267_386_880, 25_000, Some(100_000)),
    (51, 8_912_896, 534_773_760, 40_000, Some(160_000)),
    (52, 8_912_896, 1_069_547_520, 60_000, Some(240_000)),
    (60, 35_651_584, 1_069_547_520, 60_000, Some(240_000)),
    (61, 35_651_584, 2_139_095_040, 120_000, Some(480_000)),
    (62, 35_651_584, 4_278_190_080, 240_000, Some(800_000)),
];

/// What HEVC of frames of this size at this rate may come to declare, by its weight: the smallest level in Main tier,
/// then in High tier, then the levels above; nothing where no level is fast enough. A side is `√(8 · picture)` at most.
pub(super) fn hevc(size: Size, fps: FrameRate) -> Vec<Declaration> {
    let holds = |(_, picture, second, ..): &HevcLevel| {
        let longest = u64::from(size.width.max(size.height));
        size.pixels() <= *picture
            && longest.pow(2) <= 8 * picture
            && u128::from(size.pixels()) * u128::from(fps.numerator())
                <= u128::from(*second) * u128::from(fps.denominator())
    };
    let fitting = HEVC_LEVELS.into_iter().filter(holds);
    fitting
        .flat_map(|(level, _, _, main, high)| [(level, false, Some(main)), (level, true, high)])
        .filter_map(|(level, high_tier, thousands)| {
            let bits = 1000 * thousands?;
            Some(Declaration { level: 3 * level, high_tier: Some(high_tier), bit_rate: bits, bits_held: bits })
        })
        .collect()
}

/// Frames of this size a second at HEVC's highest level.
#[expect(clippy::cast_precision_loss, reason = "for a message")]
pub(super) fn fastest_hevc(size: Size) -> f64 {
    let (_, _, second, ..) = HEVC_LEVELS[HEVC_LEVELS.len() - 1];
    second as f64 / size.pixels() as f64
}

/// How heavy a stream turns out to be, frame by frame: what it has to declare is known only when it is encoded.
///
/// Every level describes a decoder whose buffer fills at the level's bit rate and from which each frame takes its bits
/// when it is due (Annex C of both standards, the hypothetical reference decoder): it must never run dry.
pub(super) struct Load {
    declarations: Vec<Declaration>,
    /// Bits in each one's buffer, times the rate's numerator so that they stay whole; none where it has run dry.
    held: Vec<Option<u64>>,
    fps: FrameRate,
}

impl Load {
    /// No frame yet; buffers are full.
    pub(super) fn new(fps: FrameRate, declarations: &[Declaration]) -> Self {
        let full = |declaration: &Declaration| Some(declaration.bits_held * u64::from(fps.numerator()));
        Self { declarations: declarations.to_vec(), held: declarations.iter().map(full).collect(), fps }
    }

    /// The next frame, in the order of decoding.
    pub(super) fn add(&mut self, bytes: u64) {
        let numerator = u64::from(self.fps.numerator());
        for (held, declaration) in self.held.iter_mut().zip(&self.declarations) {
            let filled = declaration.bit_rate * u64::from(self.fps.denominator());
            let full = declaration.bits_held * numerator;
            *held = held.and_then(|held| held.checked_sub(8 * bytes * numerator)).map(|left| (left + filled).min(full));
        }
    }

    /// Which is the first that carries the stream; the last where none does.
    pub(super) fn lightest(&self) -> usize {
        let carries = self.held.iter().position(Option::is_some);
        carries.unwrap_or(self.declarations.len().saturating_sub(1))
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
        let declarations = h264(LEVELS[10]);
        let mut load = Load::new("25".parse().unwrap(), &declarations);
        for _ in 0..25 * seconds {
            load.add(bits_a_second / 8 / 25);
        }
        declarations[load.lightest()].level
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
        let declarations = h264(LEVELS[10]);
        let mut load = Load::new("25".parse().unwrap(), &declarations);
        load.add(25_000 * 1250 / 8 + 1);
        assert_eq!(declarations[load.lightest()].level, 41);
    }

    #[test]
    fn hevc_goes_to_high_tier_before_it_goes_to_a_higher_level() {
        let first = |width, height, rate: &str| {
            let all = hevc(Size::new(width, height), rate.parse().unwrap());
            all.first().map(|declaration| declaration.level)
        };
        // 1080p at 30 is level 4 (idc 120), 2160p at 30 is 5 and at 60 is 5.1: common practice, no source.
        assert_eq!(first(1920, 1080, "30"), Some(120));
        assert_eq!(first(3840, 2160, "30"), Some(150));
        assert_eq!(first(3840, 2160, "60"), Some(153));
        assert_eq!(first(8192, 4320, "120"), Some(186));
        assert_eq!(first(8192, 4320, "121"), None);
        let declarations = hevc(Size::new(1920, 1080), "25".parse().unwrap());
        let declared = |bits_a_second: u64| {
            let mut load = Load::new("25".parse().unwrap(), &declarations);
            (0..25 * 60).for_each(|_| load.add(bits_a_second / 8 / 25));
            let Declaration { level, high_tier, .. } = declarations[load.lightest()];
            (level, high_tier)
        };
        assert_eq!(declared(12_000_000), (120, Some(false)));
        assert_eq!(declared(13_000_000), (120, Some(true)));
        assert_eq!(declared(31_000_000), (123, Some(true)));
    }
}

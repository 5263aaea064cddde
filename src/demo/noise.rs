//! Seeded chance and smooth noise: everything in the harbour that looks accidental comes from here.

use std::num::Wrapping;
use std::sync::LazyLock;

/// A stream of numbers that depends on its seed alone (SplitMix64: Steele, Lea and Flood 2014, doi
/// 10.1145/2660193.2660195).
#[derive(Debug, Clone)]
pub(super) struct Chance(Wrapping<u64>);

impl Chance {
    /// A stream for one purpose: other purposes of the same seed do not disturb it.
    pub(super) fn new(seed: u64, purpose: u64) -> Self {
        let mut chance = Self(Wrapping(seed) ^ (Wrapping(purpose) * Wrapping(0xD1B5_4A32_D192_ED03)));
        chance.bits();
        chance
    }

    fn bits(&mut self) -> u64 {
        self.0 += 0x9E37_79B9_7F4A_7C15;
        let mut z = self.0;
        z = (z ^ (z >> 30)) * Wrapping(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)) * Wrapping(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)).0
    }

    /// Evenly from `low` up to `high`.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.bits() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }
}

/// A number in `[0, 1)` for a cell of the plane.
pub(super) fn cell(i: i32, j: i32, salt: u32) -> f32 {
    let mut h = i.cast_unsigned().wrapping_mul(0x85EB_CA6B)
        ^ j.cast_unsigned().wrapping_mul(0xC2B2_AE35)
        ^ salt.wrapping_mul(0x27D4_EB2F);
    h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
    h = (h ^ (h >> 12)).wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    (h >> 8) as f32 / (1_u32 << 24) as f32
}

/// The whole number at or below `x`, twice; a baseline processor has no instruction for it, and the library's is a
/// call.
#[inline]
pub(super) fn floor(x: f32) -> (i32, f32) {
    let cut = x as i32;
    let whole = cut - i32::from(cut as f32 > x);
    (whole, whole as f32)
}

/// Smooth noise in `[0, 1]`, one bump a unit, with continuous second derivatives (the quintic of Perlin 2002, doi
/// 10.1145/566570.566636, over random values).
pub(super) fn smooth(x: f32, y: f32, salt: u32) -> f32 {
    let ((i, fx), (j, fy)) = (floor(x), floor(y));
    let ease = |t: f32| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (u, v) = (ease(x - fx), ease(y - fy));
    let upper = cell(i, j, salt) * (1.0 - u) + cell(i + 1, j, salt) * u;
    let lower = cell(i, j + 1, salt) * (1.0 - u) + cell(i + 1, j + 1, salt) * u;
    upper * (1.0 - v) + lower * v
}

/// Noise summed over octaves, each half as strong and about twice as fine as the one before; in `[0, 1]`, mean ½.
pub(super) fn layered(x: f32, y: f32, octaves: u32, salt: u32) -> f32 {
    let (mut sum, mut weight, mut total, mut scale) = (0.0, 0.5, 0.0, 1.0);
    for octave in 0..octaves {
        sum += weight * smooth(x * scale, y * scale, salt.wrapping_add(octave * 7919));
        total += weight;
        weight *= 0.5;
        scale *= 2.03;
    }
    sum / total
}

/// 0 below `from`, 1 above `to`, an even slope without corners between.
pub(super) fn step(from: f32, to: f32, x: f32) -> f32 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// The point `t` of the way from `a` to `b`.
#[inline]
pub(super) fn mix(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// A colour from what each of its channels is; three calls, which the compiler then keeps in registers.
#[inline]
pub(super) fn channels(channel: impl Fn(usize) -> f32) -> [f32; 3] {
    [channel(0), channel(1), channel(2)]
}

/// [`mix`] for colours.
#[inline]
pub(super) fn blend(a: [f32; 3], b: [f32; 3], t: f32) -> [f32; 3] {
    channels(|i| mix(a[i], b[i], t))
}

/// Linear light from an sRGB colour written as usual, `0xRRGGBB` (IEC 61966-2-1).
pub(super) fn srgb(code: u32) -> [f32; 3] {
    static LINEAR: LazyLock<[f32; 256]> = LazyLock::new(|| {
        std::array::from_fn(|code| {
            let v = code as f32 / 255.0;
            if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        })
    });
    [16, 8, 0].map(|shift| LINEAR[(code >> shift) as usize & 255])
}

//! How near a delivery's frames have to be to those handed to its encoder.

use super::compare::{Fit, error_at};
use crate::shot::Codec;

/// How near.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bar {
    /// The same, to the bit.
    Exact,
    /// At least so many decibels of luma (peak signal to noise), and [`CHROMA`] less of each difference of colour.
    Decibels(f64),
}

/// Decibels that colour may be further away than luma.
pub const CHROMA: f64 = 4.0;

/// Quality by x264's rate factor, and the decibels of luma that a frame has at least: 38 at 18, which deliveries have that say nothing,
/// straight lines in between. Measured on waves, on white noise (the worst there is) and on the demo's stills, with room to spare:
/// see "Proof" in `DEVELOPERS.md`.
pub const H264: [(f64, f64); 6] = [(1.0, 44.0), (13.0, 40.0), (18.0, 38.0), (28.0, 29.0), (40.0, 20.0), (51.0, 14.0)];

impl Bar {
    /// Of a delivery's codec.
    #[must_use]
    pub fn of(codec: &Codec) -> Self {
        match codec {
            Codec::H264(h264) => Self::Decibels(between(&H264, h264.crf)),
            Codec::Png => Self::Exact,
        }
    }

    /// Whether a frame is near enough.
    #[must_use]
    pub fn holds(self, fit: Fit) -> bool {
        match self {
            Self::Exact => fit.all() <= 0.0,
            Self::Decibels(least) => fit.luma <= error_at(least) && fit.chroma <= error_at(least - CHROMA),
        }
    }
}

/// A value on the straight lines through these points, and that of the nearest beyond them.
fn between(points: &[(f64, f64)], at: f64) -> f64 {
    let after = points.partition_point(|(known, _)| *known < at).clamp(1, points.len() - 1);
    let ((from, low), (to, high)) = (points[after - 1], points[after]);
    low + (high - low) * ((at - from) / (to - from)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::H264 as Settings;

    #[test]
    fn lower_quality_promises_less_and_the_default_38_decibels() {
        let at = |crf: f64| Bar::of(&Codec::H264(Settings { crf, ..Settings::default() }));
        assert_eq!(Bar::of(&Codec::H264(Settings::default())), Bar::Decibels(38.0));
        assert_eq!((at(0.0), at(23.0), at(60.0)), (Bar::Decibels(44.0), Bar::Decibels(33.5), Bar::Decibels(14.0)));
        assert!(Bar::Exact.holds(Fit { luma: 0.0, chroma: 0.0 }) && !Bar::Exact.holds(Fit { luma: 0.0, chroma: 0.1 }));
        let (luma, chroma) = (error_at(38.1), error_at(34.1));
        assert!(Bar::Decibels(38.0).holds(Fit { luma, chroma }) && !Bar::Decibels(38.2).holds(Fit { luma, chroma }));
    }
}

//! How near a delivery's frames have to be to those handed to its encoder.
//!
//! ## Decisions
//!
//! - The bar at the default quality is 38 dB of luma. White noise is only kept at 35.6 dB there, so a frame passes at
//!   34.5 if its error is no more than twice the variance of its own fine detail, and the report says so.
//! - Below 20 dB (a rate factor above 40) neighbouring frames cannot be told apart.

use super::compare::{Fit, error_at};
use crate::shot::{Codec, H264 as H264Settings, ProresProfile};

/// How near.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bar {
    /// The same, to the bit.
    Exact,
    /// Minimum decibels of luma (peak signal to noise); [`CHROMA`] less for each colour difference.
    Decibels {
        /// Of any frame;
        due: f64,
        /// and of one full of noise or fine texture, which takes an encoder more bits than it is given.
        noisy: f64,
    },
}

/// Decibels that colour may be further away than luma.
pub const CHROMA: f64 = 4.0;

/// By x264's rate factor: decibels of luma that are due, 38 at 18, which deliveries have that say nothing; and those
/// of noise. Straight lines in between.
///
/// Measured: the lowest frames of 40 each of the demo's shoot, a still with slight noise (standard deviation 4), a
/// test picture that moves, with noise of 8, and white noise of 30 alone, at presets medium and ultrafast, had 40.4 dB
/// at 13, 35.6 at 18, 30.4 at 23, 25.6 at 28, 19.9 at 34, 19.3 at 40 and 19.3 at 51, all of them of the white noise;
/// the demo's had 43.7, 39.4, 35.7, 32.7, 29.1, 26.0 and 19.4.
pub const H264: [(f64, f64, f64); 8] = [
    (1.0, 44.0, 44.0),
    (13.0, 40.0, 39.0),
    (18.0, 38.0, 34.5),
    (23.0, 33.5, 29.5),
    (28.0, 29.0, 24.5),
    (34.0, 25.0, 19.0),
    (40.0, 20.0, 18.0),
    (51.0, 15.0, 15.0),
];

/// A frame counts as noisy if its error is at most this many times the variance of its fine detail.
const DETAIL: f64 = 2.0;

impl Bar {
    /// Of a delivery's codec.
    #[must_use]
    pub fn of(codec: &Codec) -> Self {
        match codec {
            Codec::H264(h264) => {
                let curve =
                    |value: fn(&(f64, f64, f64)) -> f64| between(&H264.map(|point| (point.0, value(&point))), h264.crf);
                Self::Decibels { due: curve(|point| point.1), noisy: curve(|point| point.2) }
            }
            // Of the demo's stills at 21 a clip from the master had 43.9 dB in its lowest frame, and small test stills
            // 48.0: the same is asked as of a delivery of the same quality, whose scale is three further on.
            Codec::Hevc(hevc) => {
                Self::of(&Codec::H264(H264Settings { crf: hevc.crf - 3.0, ..H264Settings::default() }))
            }
            // Measured beside H.264 of the same quality: `scripts/bench.md`.
            Codec::Av1(av1) => {
                let crf = 18.0 + 0.5 * (f64::from(av1.crf) - 8.0);
                Self::of(&Codec::H264(H264Settings { crf, ..H264Settings::default() }))
            }
            Codec::Prores(prores) => {
                let crf = match prores.profile {
                    ProresProfile::Proxy => 28.0,
                    ProresProfile::Lt => 23.0,
                    ProresProfile::Standard | ProresProfile::Hq | ProresProfile::Full => 18.0,
                };
                Self::of(&Codec::H264(H264Settings { crf, ..H264Settings::default() }))
            }
            Codec::Dnxhr | Codec::Jpeg(_) => Self::of(&Codec::H264(H264Settings::default())),
            Codec::Png(_) | Codec::Tiff | Codec::Ffv1(_) => Self::Exact,
        }
    }

    /// Whether a frame is near enough that has fine detail of this variance.
    #[must_use]
    pub fn holds(self, fit: Fit, detail: f64) -> bool {
        match self {
            Self::Exact => fit.all() <= 0.0,
            Self::Decibels { due, noisy } => {
                let most = error_at(due).max(error_at(noisy).min(DETAIL * detail));
                fit.luma <= most && fit.chroma <= most * 10.0_f64.powf(CHROMA / 10.0)
            }
        }
    }

    /// How many times the error of another frame a frame has to have so that it is clearly the other. Where little is
    /// left of what was encoded, an encoder shows the frame before again and again: then nothing is clear.
    #[must_use]
    pub fn clearly(self) -> f64 {
        match self {
            Self::Decibels { due, .. } if due < 20.0 => f64::INFINITY,
            Self::Decibels { due, .. } if due < 30.0 => 3.0,
            Self::Decibels { .. } | Self::Exact => 2.0,
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
    use H264Settings as Settings;

    #[test]
    fn lower_quality_promises_less_and_the_default_38_decibels() {
        let at = |crf: f64| match Bar::of(&Codec::H264(Settings { crf, ..Settings::default() })) {
            Bar::Decibels { due, noisy } => (due, noisy),
            Bar::Exact => unreachable!(),
        };
        assert_eq!(at(Settings::default().crf), (38.0, 34.5));
        assert_eq!((at(0.0), at(20.5), at(60.0)), ((44.0, 44.0), (35.75, 32.0), (15.0, 15.0)));
        let same = Fit { luma: 0.0, chroma: 0.0 };
        assert!(Bar::Exact.holds(same, 9.0) && !Bar::Exact.holds(Fit { chroma: 0.1, ..same }, 9.0));
    }

    #[test]
    fn only_noise_may_be_further_away() {
        let bar = Bar::Decibels { due: 38.0, noisy: 34.5 };
        let of = |decibels: f64| Fit { luma: error_at(decibels), chroma: error_at(decibels - CHROMA) };
        assert!(bar.holds(of(38.1), 0.0) && !bar.holds(of(37.9), 0.0));
        assert!(bar.holds(of(34.6), 1000.0) && !bar.holds(of(34.4), 1000.0));
        assert!(bar.holds(of(36.0), error_at(36.0)) && !bar.holds(of(36.0), 0.4 * error_at(36.0)));
        assert!(!bar.holds(Fit { chroma: error_at(33.0), ..of(40.0) }, 0.0));
    }
}

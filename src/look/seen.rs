//! A still as it is compared with others: its thumbnail's roots of light, and how much brighter one is than another.

use crate::measures::ThumbnailStats;
use crate::units::SlotIndex;

/// Roots of light that are neither black nor white.
pub(super) const LIT: std::ops::Range<f32> = 0.06..0.97;
/// To compare light, one in this many pixels of the thumbnail must be lit in both stills.
const LIT_SHARE: usize = 20;

/// A glance with its thumbnail as roots of light from 0 to 1.
pub(super) struct Seen {
    pub(super) slot: SlotIndex,
    pub(super) glance: ThumbnailStats,
    pub(super) grey: Vec<f32>,
    pub(super) channels: [Vec<f32>; 3],
    /// Natural logarithm of the light that the camera's settings let in, where headers tell.
    pub(super) exposure: Option<f64>,
}

impl Seen {
    pub(super) fn new(slot: SlotIndex, glance: ThumbnailStats, exposure: Option<f64>) -> Self {
        let grey = glance.thumbnail.grey();
        let channels = glance
            .thumbnail
            .roots
            .each_ref()
            .map(|roots| roots.iter().map(|root| f32::from(*root) / 65_535.0).collect());
        Self { slot, glance, grey, channels, exposure }
    }
}

/// Natural logarithm of how much brighter the later picture is, by the median of its pixels.
pub(super) fn brighter(earlier: &[f32], later: &[f32]) -> Option<f64> {
    let pairs = earlier.iter().zip(later).filter(|(a, b)| LIT.contains(*a) && LIT.contains(*b));
    let mut ratios: Vec<f32> = pairs.map(|(a, b)| b / a).collect();
    if ratios.is_empty() || ratios.len() * LIT_SHARE < earlier.len() {
        return None;
    }
    let middle = ratios.len() / 2;
    let (_, median, _) = ratios.select_nth_unstable_by(middle, f32::total_cmp);
    // Of roots of light.
    Some(2.0 * f64::from(*median).ln())
}

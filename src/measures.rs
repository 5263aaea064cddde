//! What looking at the pixels of a shoot found: levels, shifts, activity, damage.
//!
//! `look` makes it; levelling and steadying, and who prints or draws a survey, read it. The numbers are held in memory,
//! some hundred bytes a still; the small pictures they came from lie in a store on the disk, one a still, and are read
//! when wanted.

mod stretch;
mod thumbnail;

use std::sync::Arc;

use serde::Serialize;

pub use stretch::{LINKED_STILLS, LinkedStills, Made};
pub use thumbnail::{Profiles, Store, THUMBNAIL_STATS, Thumbnail, ThumbnailStats};

use crate::shoot::Damage;
use crate::units::SlotIndex;

/// What looking at a shoot found.
#[derive(Debug, Clone, Serialize)]
pub struct Measures {
    /// One a slot; none where there is no whole still.
    pub stills: Vec<Option<Still>>,
    /// Stills that only decoding showed to be damaged.
    pub damaged: Vec<(SlotIndex, Damage)>,
    /// From every whole still but the first, in order.
    pub steps: Vec<Step>,
    /// Where things moved: how often each tile changed.
    pub heat: Heat,
    /// Stills that show what their neighbours say cannot be.
    pub odd: Vec<(SlotIndex, Oddity)>,
    /// What lies on the sensor, where that was looked for.
    pub spots: Option<Spots>,
    /// Where the small pictures lie, by slot.
    #[serde(skip)]
    glances: Vec<Option<blake3::Hash>>,
    #[serde(skip)]
    store: Arc<Store>,
}

/// What one still measures by itself. Its colours are taken for sRGB whatever its profile says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Still {
    /// Mean of linear light, red, green, blue: 0 to 1.
    pub light: [f64; 3],
    /// Mean luminance (the light's channels weighted as in IEC 61966-2-1): 0 to 1.
    pub luminance: f64,
    /// Mean of luma (BT.601) as coded: 0 to 1.
    pub code: f64,
    /// Luma that half of the picture lies below: 0 to 1. What moves or shines in a small part leaves it alone.
    pub median: f64,
    /// Share of the picture that is black: luma codes of 0 to 7 of 255.
    pub black: f64,
    /// Share of the picture that is white: every channel 250 or more of 255.
    pub white: f64,
    /// Mean difference of neighbouring samples of luma over the mean of luma: about equal for one scene in any light,
    /// less where dew or focus blurs it. Of samples some pixels wide, see [`Profiles::step`].
    pub sharpness: f64,
}

/// From a whole still to the next whole one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// The earlier still.
    pub from: SlotIndex,
    /// The later one.
    pub to: SlotIndex,
    /// Natural logarithm of how much brighter the later one is: the median over small pictures, so that what moves over
    /// less than half of the picture leaves it alone. None where too little of both is neither black nor white.
    pub brighter: Option<f64>,
    /// How far the picture moved, to the right and down, in pixels of the still, to a few tenths of [`Profiles::step`].
    /// None where too little of the two looks alike.
    pub shift: Option<[f64; 2]>,
    /// Where the picture lies against the first one, in the same way.
    pub place: Option<[f64; 2]>,
    /// Share of tiles that changed, the level's own change apart: 0 to 1.
    pub activity: f64,
    /// Median difference of the two small pictures, as coded, the level's own change apart: 0 to 1. In the parts where
    /// nothing moves this is the camera's noise, which a picture given twice does not have.
    pub noise: f64,
    /// Stripes that differ between the two from the sensor's top to its bottom, as lamps on the mains leave them: how
    /// many across the picture, and the share of light by which they differ. None where rows cannot be
    /// compared, or no number of stripes stands out.
    pub stripes: Option<[f64; 2]>,
    /// Which tiles changed, row by row as in [`Heat`].
    #[serde(skip)]
    pub changed: Vec<bool>,
}

/// What is odd about a still beside its neighbours. Rows are shares of the picture's height, from the top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Oddity {
    /// Nothing but black.
    Black,
    /// Nothing but white.
    White,
    /// Brighter than the stills around it, which agree: the natural logarithm of how much.
    Flash(f64),
    /// Darker than the stills around it, which agree: the natural logarithm of how much, negative.
    Dark(f64),
    /// Most of the picture differs from the stills around it, which agree: a share of tiles.
    Other(f64),
    /// A band of rows, from one side to the other, differs from the stills around it, which agree.
    Band {
        /// Where it begins.
        from: f64,
        /// Where it ends.
        to: f64,
    },
    /// One part shows the moment of a neighbour, the other does not: two moments in one picture.
    Torn {
        /// The row they meet at.
        at: f64,
        /// Whether the part above is the one that shows the neighbour's moment.
        above: bool,
        /// Whether that neighbour is the still before.
        before: bool,
    },
    /// The same picture as the still before, while others differ.
    Same,
}

/// What lies on the sensor and stays in place whatever the picture does, in pixels of the upright still.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Spots {
    /// Pixels that shine by themselves, x and y, row by row.
    pub hot: Vec<[u32; 2]>,
    /// Soft dark spots, the darkest first.
    pub dust: Vec<Dust>,
}

/// A soft dark spot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Dust {
    /// Its middle, x and y.
    pub at: [u32; 2],
    /// About how wide it is.
    pub across: u32,
    /// By what share of the code it is darker than what lies around it, in the mean.
    pub darker: f64,
}

/// How often each tile of the picture changed from a still to the next: a share of all steps, row by row.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Heat {
    /// Tiles across.
    pub across: usize,
    /// Tiles down.
    pub down: usize,
    /// 0 to 1 each.
    pub shares: Vec<f32>,
}

impl Measures {
    /// With the small pictures of `glances` in `store`.
    #[must_use]
    pub fn new(stills: Vec<Option<Still>>, glances: Vec<Option<blake3::Hash>>, store: Arc<Store>) -> Self {
        Self {
            stills,
            damaged: Vec::new(),
            steps: Vec::new(),
            heat: Heat::default(),
            odd: Vec::new(),
            spots: None,
            glances,
            store,
        }
    }

    /// The still of a slot small, with its profiles; none where no whole still is there, or where the store has lost
    /// it.
    #[must_use]
    pub fn glance(&self, slot: SlotIndex) -> Option<ThumbnailStats> {
        self.store.get(self.glances.get(slot.0)?.as_ref()?)
    }

    /// Slots that have been measured, in order.
    pub fn measured(&self) -> impl Iterator<Item = (SlotIndex, &Still)> {
        self.stills.iter().enumerate().filter_map(|(slot, still)| Some((SlotIndex(slot), still.as_ref()?)))
    }

    /// The level of every measured still against the first one's: the steps' medians added up, as a factor of light. A
    /// step without a median counts as none.
    #[must_use]
    pub fn levels(&self) -> Vec<(SlotIndex, f64)> {
        let mut sum = 0.0;
        let first = self.measured().next().map(|(slot, _)| (slot, 1.0));
        let steps = self.steps.iter().map(|step| {
            sum += step.brighter.unwrap_or(0.0);
            (step.to, f64::exp(sum))
        });
        first.into_iter().chain(steps).collect()
    }
}

/// Flicker of a curve of levels: the root mean square of each level over the mean of the five around it (fewer at the
/// ends), less one. Slow changes of light leave it near nothing. There is no standard measure for this; common
/// practice, no source.
#[must_use]
pub fn flicker(levels: &[f64]) -> f64 {
    if levels.is_empty() {
        return 0.0;
    }
    let around = |at: usize| &levels[at.saturating_sub(2)..(at + 3).min(levels.len())];
    #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
    let mean = |values: &mut dyn Iterator<Item = f64>, count: usize| values.sum::<f64>() / count as f64;
    let relative = levels.iter().enumerate().map(|(at, level)| {
        let near = around(at);
        level / mean(&mut near.iter().copied(), near.len()) - 1.0
    });
    mean(&mut relative.map(|value| value * value), levels.len()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    // A sine of 4 % on a raised cosine: the value by numpy 2 (RMS of L / m − 1, m the centred mean of five, cut at the
    // ends).
    #[test]
    fn flicker_of_a_known_curve_is_what_its_definition_gives() {
        use std::f64::consts::PI;
        let level = |n: u32| {
            let t = f64::from(n);
            (60.0 + 40.0 * (1.0 - (PI * t / 119.0).cos())) * (1.0 + 0.04 * (2.0 * PI * 0.37 * t).sin())
        };
        let levels: Vec<f64> = (0..120).map(level).collect();
        assert!((flicker(&levels) - 0.030_873_684_379_651).abs() < 1e-12, "{}", flicker(&levels));
        let slow: Vec<f64> = (0..120).map(|n| 1.0 + f64::from(n) / 119.0).collect();
        assert!(flicker(&slow) < 0.002, "a slow rise is no flicker: {}", flicker(&slow));
        assert_eq!(flicker(&[]), 0.0);
    }
}

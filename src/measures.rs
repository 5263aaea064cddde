//! What looking at the pixels of a shoot found: levels, shifts, activity, damage.
//!
//! `look` makes it; levelling and steadying, and who prints or draws a survey, read it. The numbers are held in memory,
//! about two kilobytes a still; the small pictures they came from lie in a store on the disk, one a still, and are read
//! when wanted.

mod activity;
mod stretch;
mod thumbnail;

use std::sync::Arc;

use serde::Serialize;

pub use activity::Activity;
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
    /// How much happens where, still by still.
    #[serde(skip)]
    pub activity: Arc<Activity>,
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
            activity: Arc::default(),
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
/// ends and beside a step that lasts), less one. Slow changes of light leave it near nothing. There is no standard
/// measure for this; common practice, no source.
#[must_use]
pub fn flicker(levels: &[f64]) -> f64 {
    if levels.is_empty() {
        return 0.0;
    }
    #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
    let mean = |values: &mut dyn Iterator<Item = f64>, count: usize| values.sum::<f64>() / count as f64;
    let edges = lasting_steps(levels);
    let bounds: Vec<usize> = [0].into_iter().chain(edges).chain([levels.len()]).collect();
    let squares = bounds.windows(2).flat_map(|two| {
        let run = &levels[two[0]..two[1]];
        run.iter().enumerate().map(move |(at, level)| {
            let near = &run[at.saturating_sub(2)..(at + 3).min(run.len())];
            (level / mean(&mut near.iter().copied(), near.len()) - 1.0).powi(2)
        })
    });
    mean(&mut squares.into_iter(), levels.len()).sqrt()
}

/// Levels on each side that a lasting step is judged by.
const LASTING: usize = 4;
/// Its minimum height: as a natural logarithm, and in standard deviations of what levels do from still to still. What an
/// automatic exposure pumps by is mostly less, and is flicker.
const LEAST_STEP: f64 = 0.12;
const SURE_STEP: f64 = 6.0;
/// Minimum share of it that is made at once.
const AT_ONCE: f64 = 0.6;

/// The places before which a curve of levels steps and stays: where an exposure was changed or a lamp was switched. That
/// is no flicker.
#[must_use]
pub fn lasting_steps(levels: &[f64]) -> Vec<usize> {
    let logs: Vec<f64> = levels.iter().map(|level| level.max(f64::MIN_POSITIVE).ln()).collect();
    let median = |values: &mut Vec<f64>| {
        let middle = values.len() / 2;
        if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
    };
    // Of white noise, second differences have six times the variance; 1.4826 makes a median a standard deviation.
    let mut bends: Vec<f64> = logs.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs()).collect();
    let least = LEAST_STEP.max(SURE_STEP * 1.4826 * median(&mut bends) / 6.0_f64.sqrt());
    let is_step = |at: &usize| {
        let [before, after] =
            [&logs[at - LASTING..*at], &logs[*at..at + LASTING]].map(|side| median(&mut side.to_vec()));
        let height = after - before;
        height.abs() > least && (logs[*at] - logs[at - 1]) / height > AT_ONCE
    };
    (LASTING..(logs.len() + 1).saturating_sub(LASTING)).filter(is_step).collect()
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

    #[test]
    fn a_step_that_lasts_is_no_flicker_and_flicker_is_no_step() {
        // A flicker of 0.03 % and the exposure doubled in the middle: the flicker alone is told.
        let planted = |n: u32| 1.0 + 0.0003 * 2.0_f64.sqrt() * (2.4 * f64::from(n) + 1.3 * f64::from(n * n)).sin();
        let levels: Vec<f64> = (0..60).map(|n| planted(n) * if n < 30 { 1.0 } else { 2.0 }).collect();
        assert_eq!(lasting_steps(&levels), [30]);
        assert!((0.0002..0.0004).contains(&flicker(&levels)), "{}", flicker(&levels));
        // Exposures that alternate by a third of a stop, and one still by itself, are no steps.
        let alternates: Vec<f64> = (0..60).map(|n| if n % 2 == 0 { 1.0 } else { 1.26 }).collect();
        let one: Vec<f64> = (0..60).map(|n| if n == 30 { 1.5 } else { planted(n) }).collect();
        assert!(lasting_steps(&alternates).is_empty() && lasting_steps(&one).is_empty());
        assert!(flicker(&alternates) > 0.08 && flicker(&one) > 0.04);
    }
}

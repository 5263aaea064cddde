//! What a frame is made of: stills, each with all that is done to it before and while it is painted.
//!
//! A frame's layers say everything that its pixels depend on but for what its delivery says of all frames. Whoever
//! paints looks nothing up, so a few rows of a plan can be painted by themselves.

use std::collections::BTreeMap;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use super::covers::covering;
use super::{CoveredArea, Covering, Gathered, Levelling, Share, Steadying};
use crate::geom::Window;
use crate::level::Gain;
use crate::units::SlotIndex;

/// What a frame is made of.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Layers {
    /// One still alone.
    One(Layer),
    /// The mean of several stills, in the order the shoot passes them: at least two, whose weights add up to
    /// [`Share::WHOLE`].
    Mean(Vec<Weighted>),
    /// What was between two stills, invented by the motion of what both show.
    Between(Box<Between>),
    /// The brightest, the darkest or the median light of several stills.
    Gathered(Gathered),
}

/// A still's part in the mean of several.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Weighted {
    /// What is painted of it.
    #[serde(flatten)]
    pub layer: Layer,
    /// Its weight, above 0.
    pub weight: u32,
}

/// A moment between two stills.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Between {
    /// Both, in the order the shoot passes them.
    pub layers: [Layer; 2],
    /// How far the moment is on the way to the second, in parts of [`Share::WHOLE`]: above 0 and below all of it.
    pub way: u32,
}

/// What is painted of a still.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Layer {
    /// The still.
    #[serde(flatten)]
    pub still: Arc<Corrected>,
    /// What of it fills the frame; inside it, always. As it lies over this still: where stills are steadied it differs
    /// from the row's.
    pub window: Window,
    /// What is painted should decoding the still reveal damage; none where the policy is not `hold` or there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stand_in: Option<Box<StandIn>>,
}

/// What is painted in the place of a damaged still.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StandIn {
    /// The other still.
    #[serde(flatten)]
    pub still: Arc<Corrected>,
    /// What of it fills the frame.
    pub window: Window,
}

/// A still with its corrections: one for all the frames that show it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Corrected {
    /// Its slot.
    pub slot: SlotIndex,
    /// What is done to its linear light. Left out of JSON where that is nothing.
    #[serde(skip_serializing_if = "is_unchanged")]
    pub gain: Gain,
    /// What is hidden in it, in the order in which it is done.
    #[serde(skip_serializing_if = "<[CoveredArea]>::is_empty")]
    pub covers: Arc<[CoveredArea]>,
}

fn is_unchanged(gain: &Gain) -> bool {
    *gain == Gain::UNCHANGED
}

impl Layer {
    /// A still that nothing is done to, through a window.
    #[must_use]
    pub fn plain(slot: SlotIndex, stand_in: Option<SlotIndex>, window: Window) -> Self {
        Corrections::default().layer(slot, stand_in, window)
    }

    /// Its slot.
    #[must_use]
    pub fn slot(&self) -> SlotIndex {
        self.still.slot
    }

    /// The same stills through another window, the same of each.
    #[must_use]
    pub fn through(&self, window: Window) -> Self {
        let stand_in =
            self.stand_in.as_ref().map(|other| Box::new(StandIn { still: Arc::clone(&other.still), window }));
        Self { still: Arc::clone(&self.still), window, stand_in }
    }

    fn share(&self, weight: u32) -> Share {
        Share { shown: self.slot(), stand_in: self.stand_in.as_ref().map(|other| other.still.slot), weight }
    }
}

impl Layers {
    /// Every layer with its weight, in the order the shoot passes them; the weights add up to [`Share::WHOLE`]. Gathered
    /// ones have even weights, which say nothing of their part in the frame.
    pub fn each(&self) -> impl Iterator<Item = (&Layer, u32)> {
        let (alone, mean, between, gathered) = match self {
            Self::One(layer) => (Some((layer, Share::WHOLE)), &[][..], None, &[][..]),
            Self::Mean(parts) => (None, &parts[..], None, &[][..]),
            Self::Between(between) => {
                let [first, second] = &between.layers;
                (None, &[][..], Some([(first, Share::WHOLE - between.way), (second, between.way)]), &[][..])
            }
            Self::Gathered(gathered) => (None, &[][..], None, gathered.layers()),
        };
        let mean = mean.iter().map(|part| (&part.layer, part.weight));
        let all = gathered.len();
        #[expect(clippy::cast_possible_truncation, reason = "0 to 65,536")]
        let come = move |layers: usize| (layers * Share::WHOLE as usize / all) as u32;
        let gathered = (0..).zip(gathered).map(move |(at, layer)| (layer, come(at + 1) - come(at)));
        alone.into_iter().chain(mean).chain(between.into_iter().flatten()).chain(gathered)
    }

    /// The stills with their weights.
    pub fn shares(&self) -> impl Iterator<Item = Share> {
        self.each().map(|(layer, weight)| layer.share(weight))
    }

    /// Whether the frame shows more than one still: a mean, an invented one, or one that gathers light.
    #[must_use]
    pub fn are_several(&self) -> bool {
        !matches!(self, Self::One(_))
    }

    /// Whether the frame is invented.
    #[must_use]
    pub fn are_invented(&self) -> bool {
        matches!(self, Self::Between(_))
    }
}

/// How the stills of a shot are corrected, with those that were asked for.
#[derive(Debug, Default)]
pub struct Corrections<'a> {
    level: Option<&'a Levelling>,
    steady: Option<&'a Steadying>,
    covers: &'a [Covering],
    known: BTreeMap<SlotIndex, Arc<Corrected>>,
}

impl<'a> Corrections<'a> {
    /// By these.
    #[must_use]
    pub fn new(level: Option<&'a Levelling>, steady: Option<&'a Steadying>, covers: &'a [Covering]) -> Self {
        Self { level, steady, covers, known: BTreeMap::new() }
    }

    /// What is painted of a slot's still where the frame shows this window of the first view, and of its stand-in.
    pub fn layer(&mut self, slot: SlotIndex, stand_in: Option<SlotIndex>, window: Window) -> Layer {
        let stand_in =
            stand_in.map(|other| Box::new(StandIn { still: self.still(other), window: self.window(window, other) }));
        Layer { still: self.still(slot), window: self.window(window, slot), stand_in }
    }

    /// The layers of a frame that shows these stills, at least one, through a window of the first view: their mean, or
    /// what was between two of them.
    pub fn layers(&mut self, shares: &[Share], invented: bool, window: Window) -> Layers {
        let mut layer = |share: &Share| self.layer(share.shown, share.stand_in, window);
        match shares {
            [alone] => Layers::One(layer(alone)),
            [first, second] if invented => {
                Layers::Between(Box::new(Between { layers: [layer(first), layer(second)], way: second.weight }))
            }
            _ => Layers::Mean(
                shares.iter().map(|share| Weighted { layer: layer(share), weight: share.weight }).collect(),
            ),
        }
    }

    fn window(&self, window: Window, slot: SlotIndex) -> Window {
        self.steady.map_or(window, |steady| steady.window(window, slot))
    }

    fn still(&mut self, slot: SlotIndex) -> Arc<Corrected> {
        let Self { level, covers, known, .. } = self;
        let corrected = || {
            let gain = level.and_then(|level| level.gains.get(slot.0)).copied().unwrap_or(Gain::UNCHANGED);
            Arc::new(Corrected {
                slot,
                gain,
                covers: covering(covers, slot).map_or_else(|| [].into(), |covering| Arc::clone(&covering.areas)),
            })
        };
        Arc::clone(known.entry(slot).or_insert_with(corrected))
    }
}

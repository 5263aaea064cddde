//! Frames that gather light: of many stills the brightest, the darkest or the median, channel by channel.
//!
//! Frames through one window that rests share a list of layers, each with a part of it: a row says from which layer to
//! which, so that a thousand frames that grow over a thousand stills are a thousand layers and not half a million.

use std::ops::Range;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use super::{Corrections, Layer, Layers};
use crate::geom::Window;
use crate::shot::Gather;
use crate::units::SlotIndex;

/// Layers that several frames gather from, in the order of the shoot, each still once.
pub type GatherList = Arc<[Layer]>;

/// What a frame gathers: at least two layers.
#[derive(Debug, Clone)]
pub struct Gathered {
    /// Which light of them.
    pub by: Gather,
    /// What it and its neighbours gather from.
    pub list: GatherList,
    /// Which of the delivery's lists that is.
    pub number: usize,
    /// Its own part of the list.
    pub part: Range<usize>,
    /// The layer of the still whose turn it is, in the list.
    pub turn: usize,
}

/// Frames are made of the same layers or of others, wherever these are kept.
impl PartialEq for Gathered {
    fn eq(&self, other: &Self) -> bool {
        let placed = |one: &Self| (one.by, one.part.len(), one.turn - one.part.start);
        let shared = Arc::ptr_eq(&self.list, &other.list) && self.part.start == other.part.start;
        placed(self) == placed(other) && (shared || self.layers() == other.layers())
    }
}

impl Gathered {
    /// Its layers, in the order of the shoot.
    #[must_use]
    pub fn layers(&self) -> &[Layer] {
        &self.list[self.part.clone()]
    }

    /// The layer of the still whose turn it is.
    #[must_use]
    pub fn foremost(&self) -> &Layer {
        &self.list[self.turn]
    }

    /// The first and the last still.
    #[must_use]
    pub fn ends(&self) -> [SlotIndex; 2] {
        [self.part.start, self.part.end - 1].map(|at| self.list[at].slot())
    }
}

/// What a row of a plan says of its gathered stills.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub(super) struct GatheredSpan {
    /// Which light of them.
    by: Gather,
    /// The first of them in the shoot.
    first: SlotIndex,
    /// The last.
    last: SlotIndex,
    /// How many.
    stills: usize,
}

impl From<&Gathered> for GatheredSpan {
    fn from(gathered: &Gathered) -> Self {
        let [first, last] = gathered.ends();
        Self { by: gathered.by, first, last, stills: gathered.part.len() }
    }
}

/// What a frame gathers, with the layers: a part of one of the delivery's lists.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Gathered")]
struct Stated {
    /// Which light of them.
    by: Gather,
    /// The list of the delivery that they stand in.
    list: usize,
    /// The first of them in the list.
    from: usize,
    /// One past the last.
    to: usize,
    /// The one whose turn it is, of which stamps tell.
    turn: usize,
}

impl Serialize for Gathered {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self { by, number, part, turn, .. } = self;
        Stated { by: *by, list: *number, from: part.start, to: part.end, turn: *turn }.serialize(serializer)
    }
}

impl JsonSchema for Gathered {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        Stated::schema_name()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        Stated::json_schema(generator)
    }
}

/// A still that a frame may gather: its slot, and that of its stand-in.
pub type Stood = (SlotIndex, Option<SlotIndex>);

impl Corrections<'_> {
    /// The layers of stills through one window, for frames to gather from.
    pub fn list(&mut self, stills: &[Stood], window: Window) -> GatherList {
        stills.iter().map(|(slot, stand_in)| self.layer(*slot, *stand_in, window)).collect()
    }
}

impl Layers {
    /// What is gathered, where something is.
    #[must_use]
    pub fn gathered(&self) -> Option<&Gathered> {
        match self {
            Self::Gathered(gathered) => Some(gathered),
            Self::One(_) | Self::Mean(_) | Self::Between(_) => None,
        }
    }
}

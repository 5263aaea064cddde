//! The per-frame table: for every frame of every delivery, the window and the still.
//!
//! Everything is decided by the time a plan exists. The pipeline obeys rows and decides nothing.

mod breaks;
mod covers;
mod csv;
mod diff;
mod extras;
mod fate;
mod gathered;
mod layers;
mod level;
mod reach;
mod reasons;
mod row;
mod sound;
mod stamp;
mod steady;
mod subject;
mod text;

use std::sync::Arc;

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde::Serialize;

pub use breaks::{Break, BreakCause};
pub use covers::{CoveredArea, Covering, covered_in};
pub use csv::csv;
pub use diff::{
    Changed, DeliveryDifference, Differences, Found, Most, ShotDifference, StillChange, WindowChange, differences,
};
pub use extras::{Chapter, Extras, PosterFrame};
pub use fate::{Fate, LeftOutBy};
pub use gathered::{GatherList, Gathered, Stood};
pub use layers::{Between, Corrected, Corrections, Layer, Layers, StandIn, Weighted};
pub use level::Levelling;
pub use reach::{Deepest, Enlarged, Reach};
pub use reasons::{
    ActionReason, CoverReason, FollowReason, FramingReason, KeyedBox, KeyedRate, KeyedWindow, LevelReason, PaceReason,
    PathName, Reasons, ShotReason, SoundReason, StampReason, SteadyReason, StillReason, TableReason, Way,
};
pub use sound::{Passage, heard, heard_at};
pub use stamp::{Font, Image, Lettered, Lines, Shows, Stamped, Typeface};
pub use steady::Steadying;
pub use subject::Subject;
pub use text::{sum, summary, text};

use crate::diag::Diagnostics;
use crate::geom::{Room, Window};
use crate::shot::{Codec, Light, Policy, Sharpness};
use crate::units::{FrameRate, Size, SlotIndex};

/// What `plan --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Plans<'a> {
    /// One a shot, in the script's order.
    pub plans: Vec<&'a Plan>,
}

/// The JSON Schema (draft 2020-12) of [`Plans`].
#[must_use]
pub fn schema() -> serde_json::Value {
    SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<Plans<'_>>().into()
}

/// What one shot over one shoot comes to.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Plan {
    /// The shot's name, empty where the script returns one shot.
    pub shot: String,
    /// Length of the clip in seconds.
    pub length: f64,
    /// One a delivery, in the script's order.
    pub deliveries: Vec<DeliveryPlan>,
    /// How its stills are levelled, where they are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level: Option<Levelling>,
    /// How its stills are steadied, where they are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steady: Option<Steadying>,
    /// What is hidden in which stills, in the order of the slots.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub covers: Vec<Covering>,
    /// Where two stills that follow one another were not taken one after the other, in the order of the slots.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub breaks: Vec<Break>,
    /// What became of every slot.
    pub tally: Tally,
    /// By slot, the same one by one.
    #[serde(skip)]
    pub fates: Vec<Fate>,
    /// What a person should know, frames named.
    pub remarks: Diagnostics,
}

impl Plan {
    /// How its stills are corrected.
    #[must_use]
    pub fn corrections(&self) -> Corrections<'_> {
        Corrections::new(self.level.as_ref(), self.steady.as_ref(), &self.covers)
    }
}

/// One delivery's part of a plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DeliveryPlan {
    /// Its name.
    pub name: String,
    /// Frame size in pixels.
    pub frame: Size,
    /// Frames a second.
    pub fps: FrameRate,
    /// What it is written as.
    pub codec: Codec,
    /// Which kernel.
    pub sharpness: Sharpness,
    /// Whether light is resampled, or encoded values are.
    pub resample: Light,
    /// In which light the stills of a frame are averaged, where it has several.
    pub light: Light,
    /// What its windows keep to: all of a still, or what steadying leaves of it.
    #[serde(skip)]
    pub room: Room,
    /// The same of a reel's later shots, each with its first row.
    #[serde(skip)]
    pub rooms: Vec<(usize, Room)>,
    /// Whether its stills are levelled or steadied: a master's frames are painted then, and else the stills' own
    /// planes.
    #[serde(skip)]
    pub corrected: bool,
    /// Where the recording's sound is heard, in order; nowhere, where the delivery is silent.
    #[serde(skip_serializing_if = "<[Passage]>::is_empty")]
    pub sound: Arc<[Passage]>,
    /// What is laid over its frames, the first below the others.
    #[serde(skip_serializing_if = "<[Stamped]>::is_empty")]
    pub stamps: Arc<[Stamped]>,
    /// What is done where the recording's sound cannot be read: it is damage like a still's, and goes by the same
    /// policy.
    #[serde(skip)]
    pub unread_sound: Policy,
    /// Whether it is a master: a row for every whole still of the part used, all of it, whatever the pace.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub every_still: bool,
    /// What it has beside its frames.
    #[serde(flatten)]
    pub extras: Extras,
    /// Lists of layers that its frames gather from, each for frames of one window that follow one another.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub gathered: Vec<GatherList>,
    /// One a frame, from 0.
    pub rows: Vec<Row>,
}

impl DeliveryPlan {
    /// The same delivery of other frames, in silence.
    #[must_use]
    pub fn with_rows(&self, rows: Vec<Row>) -> Self {
        Self {
            name: self.name.clone(),
            frame: self.frame,
            fps: self.fps,
            codec: self.codec.clone(),
            sharpness: self.sharpness,
            resample: self.resample,
            light: self.light,
            room: self.room,
            rooms: self.rooms.clone(),
            corrected: self.corrected,
            sound: [].into(),
            stamps: Arc::clone(&self.stamps),
            unread_sound: self.unread_sound,
            every_still: self.every_still,
            extras: self.extras.clone(),
            gathered: self.gathered.clone(),
            rows,
        }
    }

    /// What the window of a row keeps to.
    #[must_use]
    pub fn room_of(&self, row: usize) -> Room {
        let begun = self.rooms.partition_point(|(first, _)| *first <= row);
        begun.checked_sub(1).map_or(self.room, |at| self.rooms[at].1)
    }

    /// Its frames that gather light: how many, and of how many stills at the most.
    #[must_use]
    pub fn gathers(&self) -> Option<(usize, usize)> {
        let stills = || self.rows.iter().filter_map(|row| Some(row.layers.gathered()?.part.len()));
        stills().max().map(|most| (stills().count(), most))
    }

    /// How many of its frames are invented.
    #[must_use]
    pub fn invented(&self) -> usize {
        self.rows.iter().filter(|row| row.layers.are_invented()).count()
    }
}

/// One frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Where the shoot stands, in stills along the axis.
    pub position: f64,
    /// The slot whose turn it is.
    pub slot: SlotIndex,
    /// The slot whose still stands there: `slot`, or the one held in its place.
    pub shown: SlotIndex,
    /// The still that stands there should decoding `shown` reveal damage; none where the policy is not `hold` or there
    /// is none.
    pub stand_in: Option<SlotIndex>,
    /// What fills the frame, over the first view where stills are steadied; inside the still, always.
    pub window: Window,
    /// What it is made of, with all that is done to it.
    pub layers: Layers,
}

/// A still's part in a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Share {
    /// The slot whose still is shown.
    pub shown: SlotIndex,
    /// The still to show in its place, as in [`Row::stand_in`].
    pub stand_in: Option<SlotIndex>,
    /// Its weight, above 0; those of a frame add up to [`Share::WHOLE`].
    pub weight: u32,
}

impl Share {
    /// What the weights of a frame add up to.
    pub const WHOLE: u32 = 65_536;
}

impl Row {
    /// A frame of one still alone, uncorrected, through a window.
    #[must_use]
    pub fn plain(slot: SlotIndex, window: Window) -> Self {
        let layers = Layers::One(Layer::plain(slot, None, window));
        Self { position: 0.0, slot, shown: slot, stand_in: None, window, layers }
    }

    /// The layer of the still that stands there, or the first one where that has no part in the frame.
    #[must_use]
    pub fn foremost(&self) -> Option<&Layer> {
        let layers = || self.layers.each().map(|(layer, _)| layer);
        layers().find(|layer| layer.slot() == self.shown).or_else(|| layers().next())
    }

    /// The slots in which what is followed is looked for: all that the frame shows, or where it gathers light the one whose
    /// turn it is.
    pub fn followed(&self) -> impl Iterator<Item = SlotIndex> {
        let gathers = self.layers.gathered().is_some();
        let all = self.shares().map(|share| share.shown);
        gathers.then_some(self.shown).into_iter().chain(all.filter(move |_| !gathers))
    }

    /// The stills of the frame with their weights.
    pub fn shares(&self) -> impl Iterator<Item = Share> {
        self.layers.shares()
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde passes a reference")]
fn is_none(count: &usize) -> bool {
    *count == 0
}

/// Where every still of the shoot went: found = used + the rest, by reason.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Tally {
    /// Slots whose own still is shown in some frame of some delivery.
    pub used: usize,
    /// Slots with a whole still no frame shows: passed over by the pace, or after the clip's end.
    pub passed_over: usize,
    /// Slots outside `from` … `to`.
    pub outside_part: usize,
    /// Slots between those that a cut leaves out.
    pub cut: usize,
    /// Slots of other days than those chosen.
    #[serde(skip_serializing_if = "is_none")]
    pub days: usize,
    /// Slots outside the hours chosen.
    #[serde(skip_serializing_if = "is_none")]
    pub hours: usize,
    /// Slots between the steps of the clock.
    #[serde(skip_serializing_if = "is_none")]
    pub only: usize,
    /// Damaged slots, each by name with what was done.
    pub damaged: Vec<(String, String)>,
    /// Missing slots, each by name with what was done.
    pub missing: Vec<(String, String)>,
    /// Files set aside by the survey.
    pub set_aside: usize,
}

//! What became of every slot of a shoot, one by one and in sum; and the hash that a plan is known by.

use serde::{Serialize, Serializer};

use super::extras::BareExtras;
use super::row::Stated;
use super::{Break, Covering, DeliveryPlan, Levelling, Passage, Plan, Row, Stamped, Steadying, Tally};
use crate::diag::{Diagnostic, Place};
use crate::shoot::Shoot;
use crate::shot::{Codec, Light, Sharpness};
use crate::units::{FrameRate, Size};

/// What became of a slot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Its own still is shown in some frame of some delivery.
    Used,
    /// Its still is whole and no frame shows it: passed over by the pace, or after the clip's end.
    PassedOver,
    /// It lies outside `from` … `to`.
    OutsidePart,
    /// The source leaves it out.
    LeftOut(LeftOutBy),
    /// Its file is damaged: how, and what was done.
    Damaged(String),
    /// There is no file: what was done.
    Missing(String),
}

/// What of a source leaves a slot out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOutBy {
    /// `cuts`.
    Cut,
    /// `hours`.
    Hours,
    /// `days`.
    Days,
    /// `only`.
    Only,
}

impl LeftOutBy {
    /// The field of the source.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Cut => "cuts",
            Self::Hours => "hours",
            Self::Days => "days",
            Self::Only => "only",
        }
    }

    /// `left out by a cut`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Cut => "left out by a cut",
            Self::Hours => "left out by hours",
            Self::Days => "left out by days",
            Self::Only => "left out by only",
        }
    }
}

impl Tally {
    /// How many slots the source leaves out, by what: what leaves out none is not among them.
    #[must_use]
    pub fn left_out(&self) -> Vec<(usize, &'static str)> {
        let by = [
            (self.cut, "left out by cuts"),
            (self.days, LeftOutBy::Days.words()),
            (self.hours, LeftOutBy::Hours.words()),
            (self.only, LeftOutBy::Only.words()),
        ];
        by.into_iter().filter(|(count, _)| *count > 0).collect()
    }

    /// The sum of what became of the slots of a shoot.
    #[must_use]
    pub fn of(fates: &[Fate], shoot: &Shoot) -> Self {
        let mut tally = Self { set_aside: shoot.set_aside.len(), ..Self::default() };
        for (fate, slot) in fates.iter().zip(&shoot.slots) {
            match fate {
                Fate::Used => tally.used += 1,
                Fate::PassedOver => tally.passed_over += 1,
                Fate::OutsidePart => tally.outside_part += 1,
                Fate::LeftOut(LeftOutBy::Cut) => tally.cut += 1,
                Fate::LeftOut(LeftOutBy::Hours) => tally.hours += 1,
                Fate::LeftOut(LeftOutBy::Days) => tally.days += 1,
                Fate::LeftOut(LeftOutBy::Only) => tally.only += 1,
                Fate::Damaged(done) => tally.damaged.push((slot.name.clone(), done.clone())),
                Fate::Missing(done) => tally.missing.push((slot.name.clone(), done.clone())),
            }
        }
        tally
    }
}

impl Plan {
    /// BLAKE3 of the plan as compact JSON, as `plan --json` prints it but for what tells how the script was named and
    /// not what is made: `remarks` is an empty list, and `place` of `level` and `steady` is `":0"`. Rows are without
    /// their `layers`, which follow from the rest; a purpose is its `name`, and `figures` as texts without sources.
    #[must_use]
    pub fn hash(&self) -> blake3::Hash {
        /// [`Plan`], field by field in its order.
        #[derive(Serialize)]
        struct Bare<'a> {
            shot: &'a str,
            length: f64,
            deliveries: Vec<BareDelivery<'a>>,
            #[serde(skip_serializing_if = "Option::is_none")]
            level: Option<Levelling>,
            #[serde(skip_serializing_if = "Option::is_none")]
            steady: Option<Steadying>,
            #[serde(skip_serializing_if = "<[Covering]>::is_empty")]
            covers: &'a [Covering],
            #[serde(skip_serializing_if = "<[Break]>::is_empty")]
            breaks: &'a [Break],
            tally: &'a Tally,
            remarks: [Diagnostic; 0],
        }
        let Self { shot, length, deliveries, level, steady, covers, breaks, tally, .. } = self;
        let nowhere = || Place::new(std::path::Path::new(""), 0);
        let bare = Bare {
            shot,
            length: *length,
            deliveries: deliveries.iter().map(BareDelivery::of).collect(),
            level: level.clone().map(|level| Levelling { place: nowhere(), ..level }),
            steady: steady.clone().map(|steady| Steadying { place: nowhere(), ..steady }),
            covers,
            breaks,
            tally,
            remarks: [],
        };
        let mut hasher = blake3::Hasher::new();
        // A plan always is JSON, and hashing never fails.
        let _infallible = serde_json::to_writer(std::io::BufWriter::new(&mut hasher), &bare);
        hasher.finalize()
    }
}

/// [`DeliveryPlan`], field by field in its order.
#[derive(Serialize)]
struct BareDelivery<'a> {
    name: &'a str,
    frame: Size,
    fps: FrameRate,
    codec: &'a Codec,
    sharpness: Sharpness,
    resample: Light,
    light: Light,
    #[serde(skip_serializing_if = "<[Passage]>::is_empty")]
    sound: &'a [Passage],
    #[serde(skip_serializing_if = "<[Stamped]>::is_empty")]
    stamps: &'a [Stamped],
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    every_still: bool,
    #[serde(flatten)]
    extras: BareExtras<'a>,
    #[serde(serialize_with = "without_layers")]
    rows: &'a [Row],
}

impl<'a> BareDelivery<'a> {
    fn of(plan: &'a DeliveryPlan) -> Self {
        let DeliveryPlan {
            name,
            frame,
            fps,
            codec,
            sharpness,
            resample,
            light,
            sound,
            stamps,
            every_still,
            extras,
            rows,
            ..
        } = plan;
        let resample = *resample;
        let (frame, fps, sharpness, light, every_still) = (*frame, *fps, *sharpness, *light, *every_still);
        let extras = extras.bare();
        Self { name, frame, fps, codec, sharpness, resample, light, sound, stamps, every_still, extras, rows }
    }
}

fn without_layers<S: Serializer>(rows: &&[Row], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(rows.iter().map(Stated::without_layers))
}

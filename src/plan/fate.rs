//! What became of every slot of a shoot, one by one and in sum; and the hash that a plan is known by.

use serde::{Serialize, Serializer};

use super::extras::BareExtras;
use super::row::Stated;
use super::{Covering, DeliveryPlan, Levelling, Passage, Plan, Row, Stamped, Steadying, Tally};
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
    /// A cut leaves it out.
    Cut,
    /// Its file is damaged: how, and what was done.
    Damaged(String),
    /// There is no file: what was done.
    Missing(String),
}

impl Tally {
    /// The sum of what became of the slots of a shoot.
    #[must_use]
    pub fn of(fates: &[Fate], shoot: &Shoot) -> Self {
        let mut tally = Self { set_aside: shoot.set_aside.len(), ..Self::default() };
        for (fate, slot) in fates.iter().zip(&shoot.slots) {
            match fate {
                Fate::Used => tally.used += 1,
                Fate::PassedOver => tally.passed_over += 1,
                Fate::OutsidePart => tally.outside_part += 1,
                Fate::Cut => tally.cut += 1,
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
            tally: &'a Tally,
            remarks: [Diagnostic; 0],
        }
        let Self { shot, length, deliveries, level, steady, covers, tally, .. } = self;
        let nowhere = || Place::new(std::path::Path::new(""), 0);
        let bare = Bare {
            shot,
            length: *length,
            deliveries: deliveries.iter().map(BareDelivery::of).collect(),
            level: level.clone().map(|level| Levelling { place: nowhere(), ..level }),
            steady: steady.clone().map(|steady| Steadying { place: nowhere(), ..steady }),
            covers,
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

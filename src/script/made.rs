//! The values that constructors hand to a script: opaque in Lua, typed here, each with the line that made it.

use std::sync::Arc;

use mlua::{MetaMethod, UserData, UserDataFields, UserDataMethods};

use super::moments::DraftMoment;
use crate::curve::arc_length::Drawing;
use crate::curve::ease::Ease;
use crate::diag::{Place, Placed};
use crate::geom::Margins;
use crate::shot::{
    Between, Blend, Codec, Cover, Cut, Gather, Light, Lively, Path, PosterForm, Purpose, Rate, Sharpness, Shot, Sound,
    Source, Stamp, StillBox, StillPoint,
};
use crate::units::{FrameRate, Size};

/// What a value is, in the script's words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Stills,
    Cut,
    Every,
    Cover,
    Stamp,
    Shot,
    Pace,
    Framing,
    Key,
    Delivery,
    Point,
    Box,
    Drawing,
    Moment,
    Rate,
    Length,
    Ease,
}

impl Kind {
    /// With its article, as in "seen a point".
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Stills => "a source (stills { … } or recording { … })",
            Self::Cut => "a cut",
            Self::Every => "a step of the clock (every)",
            Self::Cover => "a cover",
            Self::Stamp => "a stamp",
            Self::Shot => "a shot",
            Self::Pace => "a pace",
            Self::Framing => "a framing",
            Self::Key => "a key",
            Self::Delivery => "a delivery",
            Self::Point => "a point",
            Self::Box => "a box",
            Self::Drawing => "a drawing",
            Self::Moment => "a moment",
            Self::Rate => "a rate",
            Self::Length => "a length (over)",
            Self::Ease => "an ease",
        }
    }

    /// Its class in the editor types.
    pub(super) fn class(self) -> &'static str {
        match self {
            Self::Stills => "stillpath.Source",
            Self::Cut => "stillpath.Cut",
            Self::Every => "stillpath.Every",
            Self::Cover => "stillpath.Cover",
            Self::Stamp => "stillpath.Stamp",
            Self::Shot => "stillpath.Shot",
            Self::Pace => "stillpath.Pace",
            Self::Framing => "stillpath.Framing",
            Self::Key => "stillpath.Key",
            Self::Delivery => "stillpath.Delivery",
            Self::Point => "stillpath.Point",
            Self::Box => "stillpath.Box",
            Self::Drawing => "stillpath.Drawing",
            Self::Moment => "stillpath.Moment",
            Self::Rate => "stillpath.Rate",
            Self::Length => "stillpath.Length",
            Self::Ease => "stillpath.Ease",
        }
    }

    /// All of them.
    pub(super) const ALL: [Self; 17] = [
        Self::Stills,
        Self::Cut,
        Self::Every,
        Self::Cover,
        Self::Stamp,
        Self::Shot,
        Self::Pace,
        Self::Framing,
        Self::Key,
        Self::Delivery,
        Self::Point,
        Self::Box,
        Self::Drawing,
        Self::Moment,
        Self::Rate,
        Self::Length,
        Self::Ease,
    ];
}

/// A value made by a constructor call.
#[derive(Debug, Clone)]
pub(super) struct Made {
    /// The call.
    pub(super) place: Place,
    /// What came of it.
    pub(super) what: What,
}

/// What a constructor made.
#[derive(Debug, Clone)]
pub(super) enum What {
    Stills(Arc<Source>),
    Cut(Cut),
    /// Seconds.
    Every(f64),
    Cover(Arc<Cover>),
    Stamp(Stamp),
    Shot(Arc<Shot>),
    Pace(Arc<DraftPace>),
    Lively(Lively),
    Framing(Arc<DraftFraming>),
    Key(Arc<DraftKey>),
    Delivery(Arc<DraftDelivery>),
    Point(StillPoint),
    Box(StillBox),
    Drawing(Arc<Drawing>),
    Moment(DraftMoment),
    Rate(Rate),
    Length(f64),
    Ease(Ease),
    /// A call with a mistake in it, already recorded: stands in so that what uses it does not complain again.
    Broken(Kind),
}

impl What {
    pub(super) fn kind(&self) -> Kind {
        match self {
            Self::Stills(_) => Kind::Stills,
            Self::Cut(_) => Kind::Cut,
            Self::Every(_) => Kind::Every,
            Self::Cover(_) => Kind::Cover,
            Self::Stamp(_) => Kind::Stamp,
            Self::Shot(_) => Kind::Shot,
            Self::Pace(_) | Self::Lively(_) => Kind::Pace,
            Self::Framing(_) => Kind::Framing,
            Self::Key(_) => Kind::Key,
            Self::Delivery(_) => Kind::Delivery,
            Self::Point(_) => Kind::Point,
            Self::Box(_) => Kind::Box,
            Self::Drawing(_) => Kind::Drawing,
            Self::Moment(_) => Kind::Moment,
            Self::Rate(_) => Kind::Rate,
            Self::Length(_) => Kind::Length,
            Self::Ease(_) => Kind::Ease,
            Self::Broken(kind) => *kind,
        }
    }
}

/// A key before it is known whether a pace or a framing uses it.
#[derive(Debug, Clone)]
pub(super) struct DraftKey {
    pub(super) place: Place,
    /// None where the call had mistakes in it: such a key is not looked at again.
    pub(super) at: Option<DraftMoment>,
    pub(super) ease: Ease,
    pub(super) rate: Option<Rate>,
    pub(super) keep: bool,
    pub(super) freeze: Option<f64>,
    pub(super) reverse: bool,
    pub(super) on: Option<StillPoint>,
    pub(super) show: Option<StillBox>,
    pub(super) zoom: Option<f64>,
    pub(super) span: Option<f64>,
    pub(super) margin: Option<f64>,
    pub(super) hold: f64,
    pub(super) stop: bool,
    /// The box that stands without a name: where the subject of a follow, or a cover, is.
    pub(super) subject: Option<StillBox>,
    pub(super) roll: f64,
    /// The fields it was given, by name.
    pub(super) given: Vec<&'static str>,
}

/// A keyed pace, whose timecodes still wait for the shot's rate.
#[derive(Debug, Clone)]
pub(super) struct DraftPace {
    pub(super) keys: Vec<Arc<DraftKey>>,
    pub(super) fit: Option<f64>,
}

/// A framing, whose timecodes still wait for the shot's rate.
#[derive(Debug, Clone)]
pub(super) struct DraftFraming {
    pub(super) place: Place,
    pub(super) path: Path,
    pub(super) keys: Vec<Arc<DraftKey>>,
}

/// A delivery, whose rate may still wait for the shot's.
#[derive(Debug, Clone)]
pub(super) struct DraftDelivery {
    pub(super) place: Place,
    pub(super) name: String,
    pub(super) frame: Size,
    pub(super) fps: Option<FrameRate>,
    pub(super) codec: Codec,
    pub(super) subject_at: (f64, f64),
    pub(super) safe: Margins,
    pub(super) framing: Option<Arc<DraftFraming>>,
    pub(super) sharpness: Sharpness,
    pub(super) resample: Light,
    pub(super) blend: DraftBlend,
    /// Nothing where the delivery does not say.
    pub(super) gather: Option<DraftGather>,
    /// Nothing where the delivery does not say.
    pub(super) sound: Option<DraftSound>,
    /// `"clock"`, or a label that goes by the delivery's rate.
    pub(super) timecode: Option<String>,
    /// Nothing where the delivery does not say.
    pub(super) stamps: Option<Vec<Stamp>>,
    pub(super) every_still: bool,
    pub(super) extras: DraftExtras,
}

/// What a delivery has beside its frames.
#[derive(Debug, Clone, Default)]
pub(super) struct DraftExtras {
    pub(super) purpose: Option<Placed<Arc<Purpose>>>,
    pub(super) title: Option<String>,
    /// Its moment may still wait for the shot's rate.
    pub(super) poster: Option<(Placed<DraftMoment>, PosterForm)>,
}

/// What a shot or a delivery says of the recording's sound.
pub(super) type DraftSound = Option<Placed<Sound>>;

/// What a shot or a delivery gathers; none for means.
pub(super) type DraftGather = Option<Placed<DraftGathering>>;

/// A gathering whose moment may still wait for the shot's rate.
#[derive(Debug, Clone)]
pub(super) struct DraftGathering {
    pub(super) by: Gather,
    pub(super) over: DraftOver,
}

/// Over which stills.
#[derive(Debug, Clone)]
pub(super) enum DraftOver {
    Shutter,
    Stills(u32),
    Grown(Option<DraftMoment>),
}

/// What a shot or a delivery says of frames of several stills.
#[derive(Debug, Clone, Copy)]
pub(super) struct DraftBlend {
    pub(super) shutter: Option<f64>,
    pub(super) between: Option<Between>,
    pub(super) light: Option<Light>,
}

impl DraftBlend {
    /// What is said, and of the rest what `otherwise` has.
    pub(super) fn or(self, otherwise: Blend) -> Blend {
        Blend {
            shutter: self.shutter.unwrap_or(otherwise.shutter),
            between: self.between.unwrap_or(otherwise.between),
            light: self.light.unwrap_or(otherwise.light),
        }
    }
}

impl UserData for Made {
    fn add_fields<F: UserDataFields<Self>>(fields: &mut F) {
        fields.add_meta_field(MetaMethod::Type, "constructed");
    }

    fn add_methods<M: UserDataMethods<Self>>(methods: &mut M) {
        // Without this Lua prints an address, and a run would depend on more than its inputs.
        methods.add_meta_method(MetaMethod::ToString, |_, made, ()| Ok(made.what.kind().words()));
    }
}

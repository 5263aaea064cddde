//! A delivery: its frames, what they are made of, and what they are written as.

use serde::Serialize;

use super::extras::Extras;
use super::{Codec, Framing, Gathering, Stamp};
use crate::diag::{Place, Placed};
use crate::geom::Margins;
use crate::units::{FrameRate, Size};

/// A named output.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Delivery {
    /// The `delivery { … }` call.
    pub place: Place,
    /// `[A-Za-z0-9_-]{1,64}`, unique among the script's deliveries ignoring case.
    pub name: String,
    /// Frame size in pixels. A master's is the still's, which is known only with the shoot: [`Delivery::FULL`] until
    /// then.
    pub frame: Size,
    /// Frames a second.
    pub fps: FrameRate,
    /// What it is written as.
    pub codec: Codec,
    /// Where in the frame the point `on`, or the centre of the box, sits: fractions, the middle of `safe` by default.
    pub subject_at: (f64, f64),
    /// What boxes to show or to follow are kept out of; none by default.
    pub safe: Margins,
    /// Keys of its own in place of the shot's.
    pub framing: Option<Framing>,
    /// Which kernel.
    pub sharpness: Sharpness,
    /// Whether light is resampled, or encoded values are.
    pub resample: Light,
    /// When a frame is made of several stills: the shot's where the delivery says nothing.
    pub blend: Blend,
    /// What a frame takes of several stills in place of their mean, and who says so: the shot's where the delivery says
    /// nothing, none for means.
    pub gather: Option<Placed<Gathering>>,
    /// What it keeps of the recording's sound, and who says so; nothing where it is silent.
    pub sound: Option<Placed<Sound>>,
    /// The first frame's timecode, where there is one.
    pub timecode: Option<Timecode>,
    /// What is laid over its frames, the first below the others: the shot's where the delivery says nothing.
    pub stamps: Vec<Stamp>,
    /// Whether it is a master: every whole still of the shoot once, in full, whatever the pace and the framing.
    pub every_still: bool,
    /// What it has beside its frames.
    pub extras: Extras,
}

impl Delivery {
    /// The frame of a master before the shoot is known.
    pub const FULL: Size = Size { width: 0, height: 0 };

    /// Its name for the still's own size, as scripts write it.
    pub const FULL_KEYWORD: &'static str = "full";
}

/// What a file says of the first frame's time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Timecode {
    /// The time of day of the first still that is shown.
    Clock,
    /// `hh:mm:ss:ff`, or `hh:mm:ss;ff` of drop-frame.
    Label(String),
}

/// What is kept of a recording's sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sound {
    /// What was recorded where the pace runs in real time; silence elsewhere.
    RealTime,
}

/// When a frame is made of several stills, and how.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Blend {
    /// How long the shutter is open, in degrees, 0 to [`Blend::WIDEST`]: 360 is a frame's time, 0 gives one still.
    pub shutter: f64,
    /// What becomes of frames between two stills.
    pub between: Between,
    /// In which light stills are averaged.
    pub light: Light,
}

impl Blend {
    /// The widest shutter, in degrees: every frame's time overlaps with three others'. Each frame that is open at once
    /// takes memory, so there is an end to it.
    pub const WIDEST: f64 = 1440.0;
}

/// What becomes of frames between two stills, where the shoot runs at less than a still a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Between {
    /// The still whose turn it is.
    #[default]
    Nearest,
    /// The mean of both, by how far the position has come.
    Mix,
    /// What was between them, invented by the motion of what both show; the mean where that is not known.
    Motion,
}

/// In which light stills are averaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Light {
    /// As light adds up in a camera whose shutter stays open.
    #[default]
    Linear,
    /// The encoded values, as a cross-fade of prints would.
    Encoded,
}

/// Which resampling kernel a delivery asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Sharpness {
    /// Never narrower than suits a slow move: sharpness does not come and go with the sub-pixel phase.
    #[default]
    Even,
    /// The plain kernel.
    Full,
    /// The even kernel's middle alone, softer: nothing is darker than what it is made of. That of linear light, where what
    /// a kernel takes away beside a star would be clipped at black, and light would be gained.
    Positive,
}

//! A delivery: its frames, what they are made of, and what they are written as.

use serde::Serialize;

use super::{Framing, Stamp};
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
    /// What it keeps of the recording's sound, and who says so; nothing where it is silent.
    pub sound: Option<Placed<Sound>>,
    /// What is laid over its frames, the first below the others: the shot's where the delivery says nothing.
    pub stamps: Vec<Stamp>,
    /// Whether it is a master: every whole still of the shoot once, in full, whatever the pace and the framing.
    pub every_still: bool,
}

impl Delivery {
    /// The frame of a master before the shoot is known.
    pub const FULL: Size = Size { width: 0, height: 0 };

    /// Its name for the still's own size, as scripts write it.
    pub const FULL_KEYWORD: &'static str = "full";
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

/// What a delivery is written as.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Codec {
    /// H.264 in MP4.
    H264(H264),
    /// A sequence of 16-bit RGB PNG files.
    Png,
    /// FFV1 in Matroska, for masters: nothing is lost.
    Ffv1,
    /// 10-bit HEVC in Matroska, for masters: little is lost.
    Hevc(Hevc),
}

impl Codec {
    /// Its name, as scripts write it.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::H264(_) => "h264",
            Self::Png => "png",
            Self::Ffv1 => "ffv1",
            Self::Hevc(_) => "hevc",
        }
    }

    /// Whether it is a master's.
    #[must_use]
    pub fn is_for_masters(&self) -> bool {
        matches!(self, Self::Ffv1 | Self::Hevc(_))
    }
}

/// How HEVC is encoded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Hevc {
    /// x265's constant rate factor, 1 to 51.
    pub crf: f64,
    /// x265's preset by its own name.
    pub preset: String,
}

impl Hevc {
    /// x265's presets have the names of x264's.
    pub const PRESETS: [&'static str; 10] = H264::PRESETS;

    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `crf = 36 - quality / 5`, so 75 is CRF 21 and 100
    /// is CRF 16.
    #[must_use]
    pub fn from_quality(quality: f64) -> Self {
        Self { crf: 36.0 - quality / 5.0, preset: "medium".into() }
    }
}

impl Default for Hevc {
    fn default() -> Self {
        Self::from_quality(H264::DEFAULT_QUALITY)
    }
}

/// How H.264 is encoded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct H264 {
    /// x264's constant rate factor, 1 to 51 (0 would be lossless, which High profile is not).
    pub crf: f64,
    /// x264's preset by its own name.
    pub preset: String,
    /// x264's tune by its own name, where asked for.
    pub tune: Option<String>,
}

impl H264 {
    /// x264's presets, fastest first.
    pub const PRESETS: [&'static str; 10] =
        ["ultrafast", "superfast", "veryfast", "faster", "fast", "medium", "slow", "slower", "veryslow", "placebo"];
    /// x264's tunes that keep the stream a constant-rate High profile one.
    pub const TUNES: [&'static str; 5] = ["film", "animation", "grain", "stillimage", "fastdecode"];
    /// Where our own quality scale stands when a delivery says nothing.
    pub const DEFAULT_QUALITY: f64 = 75.0;

    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `crf = 33 - quality / 5`, so 75 is CRF 18 and 100
    /// is CRF 13.
    #[must_use]
    pub fn from_quality(quality: f64) -> Self {
        Self { crf: 33.0 - quality / 5.0, preset: "medium".into(), tune: None }
    }
}

impl Default for H264 {
    fn default() -> Self {
        Self::from_quality(Self::DEFAULT_QUALITY)
    }
}

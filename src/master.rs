//! What a master's video cannot hold: names, numbers, times and settings of its stills, and what their samples stand
//! for. It stands in a sidecar beside the video, `shoot-master.mkv.json`.
//!
//! `encode` writes it, `survey` reads it. Its text comes from a file that anybody may have edited:
//! [`Sidecar::from_json`] refuses what is not whole, and nothing in it says how much is allocated but its own length.
//!
//! ## Decisions
//!
//! - The sidecar tells what samples stand for frame by frame (model, sitings, profile), so profiles may differ; layouts
//!   may not.
//! - It has every slot of the shoot, those left out as damaged ones: numbers, names and the clock, `day 2` included, go
//!   by all of them. The n-th whole slot is the n-th frame.
//! - It fits its video if bytes, frames, times and the length of every packet do; a still overwritten in place changes
//!   none of these. A file cut short has missing stills at its end. Anything else is refused.
//! - It carries its own hash, over JSON with names in order. `serde_json` reads numbers exactly only with
//!   `float_roundtrip`.
//! - The video says by a tag that it is a master, so that a lost sidecar is remarked on.

use std::io;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde::{Deserialize, Serialize};

use crate::picture::{Coding, LumaWeights, Meaning, Model, Profile, Siting};
use crate::receipt::FilePath;
use crate::seal::{self, Sealed as _};
use crate::shoot::{Captured, Content, Damage, Format, MOST_PIXELS, Orientation, Settings, Shoot};
use crate::units::{Size, SlotIndex};

/// The value of [`Sidecar::format`]. Another layout takes another number.
pub const FORMAT: &str = "stillpath master 1";

/// What the format of every version begins with.
const FAMILY: &str = "stillpath master ";

/// The most bytes of a sidecar that are read: a still takes about 500.
pub const MOST_BYTES: u64 = 256 << 20;

/// The most bytes of a colour profile.
const MOST_PROFILE: usize = 16 << 20;

/// Seconds that a clock may be off UTC: more than a day either way is none.
const FARTHEST: i32 = 26 * 3600;

/// What is said of a still that a master leaves out.
const LEFT_OUT: &str = "left out when the master was made";

/// Why files were set aside, of a shoot read from its master.
pub const SET_ASIDE: &str = "set aside when the master was made";

/// The sidecar of a master.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sidecar {
    /// [`FORMAT`].
    pub format: String,
    /// BLAKE3 of this text as compact JSON, names in order, with this field empty: what was edited no longer fits it.
    pub hash: String,
    /// The video it belongs to.
    pub video: Video,
    /// Median seconds between neighbouring stills by their capture times, where known.
    pub interval: Option<f64>,
    /// Every way in which the stills' samples are coded, as the video holds them.
    pub codings: Vec<Coded>,
    /// One a slot, in order. The n-th whole one is the n-th frame.
    pub stills: Vec<Still>,
    /// Files found among the stills and not used, with the reason.
    pub set_aside: Vec<SetAside>,
}

/// What tells the video from others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Video {
    /// Bytes in the file.
    pub bytes: u64,
    /// Frames in it.
    pub frames: usize,
    /// Its codec: `"ffv1"` or `"hevc"`.
    pub codec: String,
    /// FFmpeg's name of its frames' layout.
    pub layout: String,
    /// Frame size in pixels: that of every still when upright.
    pub size: [u32; 2],
    /// Frames a second, as numerator and denominator.
    pub rate: [u32; 2],
}

/// One way in which samples are coded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coded {
    /// What the planes are.
    pub model: CodedModel,
    /// Where each plane's samples sit over the luma grid: pixels from one to the next and the first one's centre,
    /// across and down.
    pub sitings: Vec<CodedSiting>,
    /// The colour space.
    pub profile: CodedProfile,
}

/// [`Siting`] as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CodedSiting {
    /// Across and down.
    pub step: [f64; 2],
    /// Across and down.
    pub origin: [f64; 2],
}

/// [`Model`] as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum CodedModel {
    /// JFIF's Y'CbCr.
    Jfif,
    /// R'G'B'.
    Rgb,
    /// Grey.
    Grey,
    /// Y'CbCr by ITU-T H.273, or its Y' alone.
    Video {
        /// Whether luma is made by BT.709's weights; else by BT.601's.
        bt709: bool,
        /// Whether codes take the whole range.
        full_range: bool,
        /// Bits of a code.
        bits: u32,
    },
}

/// [`Profile`] as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum CodedProfile {
    /// sRGB.
    Srgb,
    /// Adobe RGB (1998).
    AdobeRgb,
    /// An ICC profile's bytes in base 64.
    Icc(String),
}

/// One slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Still {
    /// Its name, as keys of scripts may give it; of a missing still the name it would have had.
    pub name: String,
    /// The name of its file, where there was one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub file: Option<FilePath>,
    /// Bytes in that file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bytes: Option<u64>,
    /// When it was taken, where known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub captured: Option<Captured>,
    /// What became of it.
    pub state: State,
}

/// What became of a slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum State {
    /// It is a frame of the video.
    Whole(Frame),
    /// Its file could not be shown, or not all of it: no frame.
    Damaged(Damage),
    /// There was no file: no frame.
    Missing,
    /// Its file may be whole, and the script's source left it out: no frame.
    LeftOut,
}

/// A still that is a frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Frame {
    /// What its file was.
    pub format: Format,
    /// Its file's size before it was turned upright, in pixels.
    pub stored: [u32; 2],
    /// How it was turned upright: done already in the video.
    pub orientation: Orientation,
    /// How the camera was set.
    pub settings: Settings,
    /// Bytes of the video's packet that holds it.
    pub packet: u64,
    /// BLAKE3 of its planes as they were handed to the encoder, in hexadecimal: one plane after the other, codes of
    /// more than 8 bits little-endian; of a painted still its R'G'B' pixel by pixel.
    pub planes: String,
    /// How its samples are coded, among [`Sidecar::codings`], from 0.
    pub coding: usize,
}

/// A file that was found and not used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    /// Its name.
    pub file: FilePath,
    /// Why.
    pub reason: String,
}

/// Why a text is no sidecar that can be used.
#[derive(Debug, thiserror::Error)]
pub enum SidecarError {
    /// It could not be read.
    #[error("it cannot be read: {0}")]
    Unreadable(#[from] io::Error),
    /// Not JSON, or JSON of another shape.
    #[error("it is incomplete, or not a master's sidecar: {0}")]
    Shape(#[from] serde_json::Error),
    /// Another layout.
    #[error("its format is '{0}', and only '{FORMAT}' is read")]
    Format(String),
    /// Its hash does not fit.
    #[error("it was edited after it was written")]
    Edited,
    /// It names something that it does not hold, or a number that cannot be.
    #[error("it contradicts itself: {0}")]
    Inconsistent(String),
}

/// Where the sidecar of a video stands: beside it, under its name and `.json`.
#[must_use]
pub fn beside(video: &Path) -> PathBuf {
    let mut name = video.file_name().unwrap_or_default().to_owned();
    name.push(".json");
    video.with_file_name(name)
}

impl Sidecar {
    /// What is known of a shoot before the first frame of its master: `frames` are the slots that are frames, in order,
    /// and the video is still to come.
    #[must_use]
    pub fn of(shoot: &Shoot, frames: &[SlotIndex], video: Video) -> Self {
        let named = |path: &Path| Some(FilePath::of(Path::new(path.file_name()?)));
        let one = |(index, slot): (usize, &crate::shoot::Slot)| {
            let (file, bytes, captured, state) = match &slot.content {
                Content::Missing => (None, None, None, State::Missing),
                Content::Damaged { path, damage, captured } => {
                    let left_out = *damage == Damage::Unsupported(LEFT_OUT.into());
                    (
                        named(path),
                        None,
                        *captured,
                        if left_out { State::LeftOut } else { State::Damaged(damage.clone()) },
                    )
                }
                Content::Whole(still) => {
                    let frame = || Frame {
                        format: still.format,
                        stored: [still.stored.width, still.stored.height],
                        orientation: still.orientation,
                        // JSON has no word for a lens focused at infinity.
                        settings: Settings {
                            focus: still.settings.focus.filter(|focus| focus.is_finite()),
                            ..still.settings.clone()
                        },
                        packet: 0,
                        planes: String::new(),
                        coding: 0,
                    };
                    let is_frame = frames.binary_search(&SlotIndex(index)).is_ok();
                    let state = if is_frame { State::Whole(frame()) } else { State::LeftOut };
                    // A frame of a master has no file of its own.
                    let own = shoot.recording.is_none();
                    (own.then(|| named(&still.path)).flatten(), own.then_some(still.bytes), still.captured, state)
                }
            };
            Still { name: slot.name.clone(), file, bytes, captured, state }
        };
        let set_aside = shoot.set_aside.iter().filter_map(|aside| {
            let reason = aside.reason.to_owned();
            Some(SetAside { file: named(&aside.path)?, reason })
        });
        Self {
            format: FORMAT.to_owned(),
            hash: String::new(),
            video,
            interval: shoot.interval,
            codings: Vec::new(),
            stills: shoot.slots.iter().enumerate().map(one).collect(),
            set_aside: set_aside.collect(),
        }
    }

    /// The stills that are frames, in order.
    pub fn frames(&self) -> impl Iterator<Item = &Frame> {
        self.stills.iter().filter_map(|still| match &still.state {
            State::Whole(frame) => Some(frame),
            _ => None,
        })
    }

    /// The same, to be filled in.
    pub fn frames_mut(&mut self) -> impl Iterator<Item = &mut Frame> {
        self.stills.iter_mut().filter_map(|still| match &mut still.state {
            State::Whole(frame) => Some(frame),
            _ => None,
        })
    }

    /// As JSON, its hash set.
    ///
    /// # Errors
    /// Where it cannot be written as JSON.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        let mut value = serde_json::to_value(self)?;
        let _not_set_yet = value.seal();
        seal::text(&value)
    }

    /// Reads the file beside a video; none where there is no such file, or it is something else and `expected` does not
    /// say that there must be one.
    ///
    /// # Errors
    /// Why it is of no use.
    pub fn read(path: &Path, expected: bool) -> Result<Option<Self>, SidecarError> {
        #[derive(Deserialize)]
        struct Head {
            format: String,
        }
        let found = match path.metadata() {
            Ok(found) => found,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) if expected => return Err(error.into()),
            Err(_) => return Ok(None),
        };
        // A pipe would keep everybody waiting.
        if !found.is_file() || found.len() > MOST_BYTES {
            let why = format!("{} bytes, where at most {MOST_BYTES} are read", found.len());
            return if expected { Err(io::Error::other(why).into()) } else { Ok(None) };
        }
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if expected => return Err(error.into()),
            Err(_) => return Ok(None),
        };
        let is_ours = serde_json::from_str::<Head>(&text).is_ok_and(|head| head.format.starts_with(FAMILY));
        if expected || is_ours { Self::from_json(&text).map(Some) } else { Ok(None) }
    }

    /// Reads one that is whole: its hash fits, every index in it leads somewhere, and no number is one that cannot be.
    ///
    /// # Errors
    /// Why it is none.
    pub fn from_json(text: &str) -> Result<Self, SidecarError> {
        let mut value: serde_json::Value = serde_json::from_str(text)?;
        if let Some(format) = value.get("format").and_then(|format| format.as_str())
            && format != FORMAT
        {
            return Err(SidecarError::Format(format.chars().take(60).collect()));
        }
        let sidecar: Self = serde_json::from_value(value.clone())?;
        let found = value.seal();
        if value["hash"] != found {
            return Err(SidecarError::Edited);
        }
        sidecar.consistent().map_err(SidecarError::Inconsistent)?;
        Ok(sidecar)
    }

    fn consistent(&self) -> Result<(), String> {
        let Video { frames, size, rate, .. } = &self.video;
        let size = Size::new(size[0], size[1]);
        if size.width == 0 || size.height == 0 || size.pixels() > MOST_PIXELS {
            return Err(format!("frames of {size} pixels"));
        }
        if rate.contains(&0) || f64::from(rate[0]) / f64::from(rate[1]) > 1000.0 {
            return Err(format!("a rate of {}/{}", rate[0], rate[1]));
        }
        let whole = self.frames().count();
        if whole != *frames || whole == 0 {
            return Err(format!("{whole} whole stills, but {frames} frames"));
        }
        if self.interval.is_some_and(|interval| !interval.is_finite() || interval <= 0.0) {
            return Err("an interval that is not above 0".into());
        }
        for frame in self.frames() {
            if frame.coding >= self.codings.len() {
                return Err("a still refers to a coding that is not listed".into());
            }
            let [width, height] = frame.stored;
            if frame.orientation.upright(Size::new(width, height)) != size {
                return Err(format!("a still of {width} x {height} pixels, but frames of {size}"));
            }
        }
        for coded in &self.codings {
            coded.meaning()?;
        }
        if self.stills.iter().filter_map(|still| still.captured?.offset).any(|offset| offset.abs() > FARTHEST) {
            return Err("a clock impossibly far from UTC".into());
        }
        if self.frames().any(|frame| !can_be(&frame.settings)) {
            return Err("impossible camera settings".into());
        }
        Ok(())
    }
}

/// Whether a camera's settings are numbers above 0, where they are known.
fn can_be(settings: &Settings) -> bool {
    let Settings { exposure, aperture, focus, focal_length, sensitivity, .. } = settings;
    let numbers = [exposure, aperture, focus, focal_length].into_iter().flatten();
    numbers.into_iter().all(|number| number.is_finite() && *number > 0.0) && *sensitivity != Some(0)
}

impl Coded {
    /// What samples stand for, as it is written.
    #[must_use]
    pub fn of(meaning: &Meaning) -> Self {
        let model = match meaning.model {
            Model::YCbCr601 => CodedModel::Jfif,
            Model::Rgb => CodedModel::Rgb,
            Model::Grey => CodedModel::Grey,
            Model::Video(Coding { weights, full_range, bits }) => {
                CodedModel::Video { bt709: weights == LumaWeights::Bt709, full_range, bits }
            }
        };
        let siting = |siting: &Siting| CodedSiting {
            step: [siting.step_x, siting.step_y],
            origin: [siting.origin_x, siting.origin_y],
        };
        let profile = match &meaning.profile {
            Profile::Srgb => CodedProfile::Srgb,
            Profile::AdobeRgb => CodedProfile::AdobeRgb,
            Profile::Icc(bytes) => CodedProfile::Icc(BASE64.encode(bytes)),
            Profile::Light => unreachable!("no decoder makes one, and a master's planes are its stills' own"),
        };
        Self { model, sitings: meaning.sitings.iter().map(siting).collect(), profile }
    }

    /// What it says that samples stand for.
    ///
    /// # Errors
    /// What in it cannot be, in words.
    pub fn meaning(&self) -> Result<Meaning, String> {
        let (model, planes) = match self.model {
            CodedModel::Jfif => (Model::YCbCr601, 3..=3),
            CodedModel::Rgb => (Model::Rgb, 3..=3),
            CodedModel::Grey => (Model::Grey, 1..=1),
            CodedModel::Video { bt709, full_range, bits } => {
                if !(8..=16).contains(&bits) {
                    return Err(format!("codes of {bits} bits"));
                }
                let weights = if bt709 { LumaWeights::Bt709 } else { LumaWeights::Bt601 };
                (Model::Video(Coding { weights, full_range, bits }), 1..=3)
            }
        };
        if !planes.contains(&self.sitings.len()) || self.sitings.len() == 2 {
            return Err(format!("{} planes", self.sitings.len()));
        }
        let siting = |siting: &CodedSiting| {
            let CodedSiting { step: [step_x, step_y], origin: [origin_x, origin_y] } = *siting;
            let can_be = [step_x, step_y].iter().all(|step| (1.0..=4.0).contains(step))
                && [origin_x, origin_y].iter().all(|origin| (-4.0..=8.0).contains(origin));
            can_be.then_some(Siting { step_x, step_y, origin_x, origin_y }).ok_or("impossible sample positions")
        };
        let sitings = self.sitings.iter().map(siting).collect::<Result<Vec<_>, _>>()?;
        if sitings[0] != Siting::FULL {
            return Err("luma without one sample a pixel".into());
        }
        let profile = match &self.profile {
            CodedProfile::Srgb => Profile::Srgb,
            CodedProfile::AdobeRgb => Profile::AdobeRgb,
            CodedProfile::Icc(text) if text.len() / 4 * 3 > MOST_PROFILE => {
                return Err("a colour profile of impossible length".into());
            }
            CodedProfile::Icc(text) => Profile::Icc(
                BASE64.decode(text).map_err(|error| format!("a colour profile in base 64: {error}"))?.into(),
            ),
        };
        Ok(Meaning { model, sitings, profile })
    }
}

impl State {
    /// What is in the slot of a still that is no frame.
    #[must_use]
    pub fn content(&self, file: Option<&FilePath>, captured: Option<Captured>) -> Content {
        let damaged = |damage: Damage| {
            let path = file.and_then(FilePath::beside).unwrap_or_default();
            Content::Damaged { path, damage, captured }
        };
        match self {
            Self::Missing => Content::Missing,
            Self::Damaged(damage) => damaged(damage.clone()),
            Self::LeftOut | Self::Whole(_) => damaged(Damage::Unsupported(LEFT_OUT.into())),
        }
    }
}

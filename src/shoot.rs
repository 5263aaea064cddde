//! The catalogue of a shoot: its stills in capture order, their size, orientation, times and health.
//!
//! `survey` makes it from headers and tails; `resolve` plans over it; `decode` opens what it names.

use std::ops::Range;
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;
use serde::{Deserialize, Serialize, Serializer};

use crate::picture::Meaning;
use crate::units::{Size, SlotIndex};

/// The stills of one fixed camera in capture order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shoot {
    /// One a still, in order, missing ones included.
    pub slots: Vec<Slot>,
    /// Size of every whole still when upright, in pixels.
    pub size: Size,
    /// Median seconds between neighbouring stills by their capture times, where known.
    pub interval: Option<f64>,
    /// Files found and not used, each with its reason.
    pub set_aside: Vec<SetAside>,
    /// What a person should know about the order and the files: wraps, new folders, disagreements, clock steps.
    pub notes: Vec<Note>,
    /// The recorded video whose frames the stills are, where they are no files of their own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recording: Option<Recording>,
    /// The shoots whose slots follow one another in it, where a reel joins several; none of a shoot by itself.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub members: Vec<Member>,
}

/// A shoot among those that a reel joins.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Member {
    /// Its first slot among those of all.
    pub first: usize,
    /// By itself.
    pub shoot: Shoot,
}

/// A recorded video, as far as its container and its packets tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Recording {
    /// The file.
    #[serde(serialize_with = "as_text")]
    pub path: PathBuf,
    /// Bytes in it when it was surveyed: a file that has changed since is refused.
    pub bytes: u64,
    /// Modification time when it was surveyed, in nanoseconds since 1970.
    pub modified: i128,
    /// The codec's name (`"h264"`).
    pub codec: String,
    /// Frames as stored, in samples.
    pub stored: Size,
    /// A sample's width by its height.
    pub aspect: (u32, u32),
    /// How frames are turned to stand upright, after their samples are made square.
    pub orientation: Orientation,
    /// Whether its header says that frames are two fields, taken at two moments.
    pub interlaced: bool,
    /// A tick in seconds, as numerator and denominator.
    pub time_base: (u32, u32),
    /// The sound beside the frames, where there is any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<RecordedSound>,
    /// What its clock is.
    pub clock: &'static str,
    /// Frames a second where their times are even, as numerator and denominator.
    pub rate: Option<(u32, u32)>,
    /// Seconds from the first frame to each, in order.
    pub seconds: Vec<f64>,
    /// When each frame is shown, in ticks: those at the end that the header promises and the file does not hold have
    /// none.
    #[serde(skip)]
    pub ticks: Vec<i64>,
    /// When each of these is decoded, in ticks.
    #[serde(skip)]
    pub decoded: Vec<i64>,
    /// Whether the container gives the times of decoding for those of showing: frames are shown at the same times, in
    /// the order that their own bits say.
    #[serde(skip)]
    pub reordered: bool,
    /// Frames that decoding can begin with, in order.
    #[serde(skip)]
    pub keys: Vec<KeyFrame>,
    /// Which slots its frames are, and what their samples stand for, where it is a master; else the n-th frame is the
    /// n-th slot.
    #[serde(skip)]
    pub master: Option<Master>,
}

/// What its sidecar says of a master's frames.
#[derive(Debug, Clone, PartialEq)]
pub struct Master {
    /// By slot, its frame.
    pub frames: Vec<Option<usize>>,
    /// By frame, its slot.
    pub slots: Vec<usize>,
    /// By frame, which of the meanings its samples have.
    pub codings: Vec<usize>,
    /// What samples stand for.
    pub meanings: Vec<Meaning>,
    /// Whether frames hold to the last bit what the encoder was given.
    pub lossless: bool,
}

/// The sound of a recording, as far as its container tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecordedSound {
    /// The codec's name (`"aac"`).
    pub codec: String,
    /// Samples a second.
    pub rate: u32,
    /// Channels.
    pub channels: u32,
    /// Whether it is of a kind that is decoded.
    pub is_read: bool,
}

/// A frame that decoding can begin with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyFrame {
    /// When it is shown, in ticks.
    pub shown: i64,
    /// When it is decoded, in ticks.
    pub decoded: i64,
}

impl Recording {
    /// Which of the frames is shown at a tick.
    #[must_use]
    pub fn frame_at(&self, shown: i64) -> Option<usize> {
        self.ticks.binary_search(&shown).ok()
    }

    /// Which of the frames a slot's still is, where there is one.
    #[must_use]
    pub fn frame_of(&self, slot: usize) -> Option<usize> {
        let frame = self.master.as_ref().map_or(Some(slot), |master| master.frames.get(slot).copied().flatten());
        frame.filter(|frame| *frame < self.ticks.len())
    }

    /// The slot of one of the frames.
    #[must_use]
    pub fn slot_of(&self, frame: usize) -> usize {
        self.master.as_ref().and_then(|master| master.slots.get(frame).copied()).unwrap_or(frame)
    }

    /// When a slot's still is shown, in ticks, where there is a frame of it.
    #[must_use]
    pub fn shown(&self, slot: usize) -> Option<i64> {
        self.frame_of(slot).map(|frame| self.ticks[frame])
    }

    /// Which of the key frames a frame is decoded from: the last one shown no later.
    #[must_use]
    pub fn key_of(&self, shown: i64) -> usize {
        self.keys.partition_point(|key| key.shown <= shown).saturating_sub(1)
    }

    /// The slots of the frames that may be made of a slot's: those decoded after it from the same key frame, and
    /// itself.
    pub fn made_of(&self, slot: usize) -> impl Iterator<Item = usize> {
        let (key, decoded) = match self.frame_of(slot) {
            Some(frame) => (self.key_of(self.ticks[frame]), self.decoded[frame]),
            None => (usize::MAX, i64::MAX),
        };
        let made = move |other: &usize| self.decoded[*other] >= decoded && self.key_of(self.ticks[*other]) == key;
        (0..self.ticks.len()).filter(made).map(|frame| self.slot_of(frame))
    }

    /// The size of its frames with square samples, before they are turned: rows are kept.
    #[must_use]
    pub fn squared(&self) -> Size {
        let (across, down) = self.aspect;
        let width = (u64::from(self.stored.width) * u64::from(across) + u64::from(down) / 2) / u64::from(down);
        Size::new(u32::try_from(width).unwrap_or(u32::MAX).max(1), self.stored.height)
    }
}

/// One place in the shoot's order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Slot {
    /// File name without extension (`TIDE9950`), [fit to print](crate::diag::fit()); of a missing still the name it
    /// would have had.
    pub name: String,
    /// What is there.
    pub content: Content,
}

/// What a slot holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Content {
    /// A whole still, as far as its header and tail tell.
    Whole(Still),
    /// A file that cannot be shown, or not all of it.
    Damaged {
        /// The file.
        #[serde(serialize_with = "as_text")]
        path: PathBuf,
        /// What is wrong with it.
        damage: Damage,
        /// When it was taken, where the header still tells.
        captured: Option<Captured>,
    },
    /// No file, where the numbers (and the times, where known) say there should be one.
    Missing,
}

/// A still that can be opened.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Still {
    /// The file.
    #[serde(serialize_with = "as_text")]
    pub path: PathBuf,
    /// What it is by its content.
    pub format: Format,
    /// Size as stored, before orientation, in pixels.
    pub stored: Size,
    /// How the stored picture is turned to stand upright; [`Orientation::Upright`] where the script ignores tags.
    pub orientation: Orientation,
    /// When it was taken.
    pub captured: Option<Captured>,
    /// How the camera was set, as far as it wrote that down.
    pub settings: Settings,
    /// Bytes in the file when it was surveyed: a file that has changed since is refused.
    pub bytes: u64,
    /// Modification time when it was surveyed, in nanoseconds since 1970.
    pub modified: i128,
}

/// What a file is, by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// JPEG (JFIF or Exif).
    Jpeg,
    /// PNG.
    Png,
    /// TIFF.
    Tiff,
    /// WebP.
    Webp,
    /// HEIC: pictures coded with H.265 in a HEIF container.
    Heic,
    /// AVIF: pictures coded with AV1 in a HEIF container.
    Avif,
    /// A frame of a recorded video.
    Frame,
}

/// EXIF orientation (tag 0x0112): how the stored picture becomes the upright one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Orientation {
    /// 1: as stored.
    #[default]
    Upright,
    /// 2: mirrored left to right.
    Mirrored,
    /// 3: turned by 180°.
    HalfTurn,
    /// 4: mirrored top to bottom.
    Flipped,
    /// 5: rows become columns (mirrored about the main diagonal).
    Transposed,
    /// 6: turned a quarter clockwise.
    QuarterClockwise,
    /// 7: mirrored about the other diagonal.
    Transversed,
    /// 8: turned a quarter anticlockwise.
    QuarterAnticlockwise,
}

impl Orientation {
    /// From the tag's value; 0 and 9 or more count as 1.
    #[must_use]
    pub fn from_tag(tag: u32) -> Self {
        match tag {
            2 => Self::Mirrored,
            3 => Self::HalfTurn,
            4 => Self::Flipped,
            5 => Self::Transposed,
            6 => Self::QuarterClockwise,
            7 => Self::Transversed,
            8 => Self::QuarterAnticlockwise,
            _ => Self::Upright,
        }
    }

    /// From where it takes a stored point, `(a x + c y, b x + d y)` but for a shift; none where it is no quarter turn
    /// or mirror.
    #[must_use]
    pub fn from_matrix([a, b, c, d]: [i32; 4]) -> Option<Self> {
        Self::ALL.into_iter().find(|orientation| orientation.matrix() == [a, b, c, d].map(i32::signum))
    }

    /// This turn, and after it another.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        let ([a, b, c, d], [e, f, g, h]) = (self.matrix(), next.matrix());
        let both = [e * a + g * b, f * a + h * b, e * c + g * d, f * c + h * d];
        Self::from_matrix(both).unwrap_or_else(|| unreachable!("turns by quarters and mirrors are a group"))
    }

    /// All of them, in the order of their tags.
    pub const ALL: [Self; 8] = [
        Self::Upright,
        Self::Mirrored,
        Self::HalfTurn,
        Self::Flipped,
        Self::Transposed,
        Self::QuarterClockwise,
        Self::Transversed,
        Self::QuarterAnticlockwise,
    ];

    /// `a`, `b`, `c`, `d` of [`Orientation::from_matrix`].
    fn matrix(self) -> [i32; 4] {
        match self {
            Self::Upright => [1, 0, 0, 1],
            Self::Mirrored => [-1, 0, 0, 1],
            Self::HalfTurn => [-1, 0, 0, -1],
            Self::Flipped => [1, 0, 0, -1],
            Self::Transposed => [0, 1, 1, 0],
            Self::QuarterClockwise => [0, 1, -1, 0],
            Self::Transversed => [0, -1, -1, 0],
            Self::QuarterAnticlockwise => [0, -1, 1, 0],
        }
    }

    /// Whether width and height change places.
    #[must_use]
    pub fn swaps_sides(self) -> bool {
        matches!(self, Self::Transposed | Self::QuarterClockwise | Self::Transversed | Self::QuarterAnticlockwise)
    }

    /// The upright size of a picture stored at `stored`.
    #[must_use]
    pub fn upright(self, stored: Size) -> Size {
        if self.swaps_sides() { stored.turned() } else { stored }
    }
}

/// When a still was taken: the camera's local time, and its offset from UTC where the camera wrote one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Captured {
    /// Local time, sub-seconds included.
    pub local: DateTime,
    /// Seconds east of UTC.
    pub offset: Option<i32>,
}

/// How a camera was set for a still, as far as its header tells: Exif's own fields, and not what makers keep to
/// themselves.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Exposure time in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exposure: Option<f64>,
    /// F-number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aperture: Option<f64>,
    /// ISO speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sensitivity: Option<u32>,
    /// Whether the camera chose the exposure (Exif's exposure mode is not manual).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub auto_exposure: Option<bool>,
    /// Whether the camera chose the white balance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub auto_white_balance: Option<bool>,
    /// Distance focused at, in metres; infinite where the camera says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focus: Option<f64>,
    /// Focal length in millimetres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focal_length: Option<f64>,
    /// What its colours are said to be: `"sRGB"`, `"uncalibrated"`, or an ICC profile by the first letters of its hash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile: Option<Box<str>>,
}

impl Settings {
    /// How much light the settings let in against ISO 100 for a second at f/1: exposure × sensitivity / 100 /
    /// aperture². None where one of the three is not known.
    #[must_use]
    pub fn light(&self) -> Option<f64> {
        Some(self.exposure? * f64::from(self.sensitivity?) / 100.0 / self.aperture?.powi(2))
    }
}

/// What is wrong with a file, as far as is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Damage {
    /// No bytes at all.
    #[error("the file is empty")]
    Empty,
    /// It ends before the picture does.
    #[error("the file is cut short: {decoded} of {due} rows are there")]
    CutShort {
        /// Whole rows that decode.
        decoded: u32,
        /// Rows the header promises.
        due: u32,
    },
    /// The decoder met data that cannot be right.
    #[error("the picture data is damaged: {0}")]
    Corrupt(String),
    /// Its decoder has nothing to say, but from a row on its light or its colours are not those of the stills beside
    /// it.
    #[error(
        "the picture data is damaged: from row {from} of {due} on it does not belong to the scene that the stills beside it show"
    )]
    Astray {
        /// The first row, of the picture as stored.
        from: u32,
        /// Rows there are.
        due: u32,
    },
    /// Its first bytes are no picture's.
    #[error("not a picture: {0}")]
    NotAPicture(String),
    /// A picture of a kind that is not read.
    #[error("{0}")]
    Unsupported(String),
    /// The operating system would not give it.
    #[error("cannot be read: {0}")]
    Unreadable(String),
    /// Its size or modification time is not what the survey saw.
    #[error("the file has changed since it was surveyed")]
    Changed,
    /// More pixels than are taken from one still.
    #[error("{0} is more pixels than one still may have ({limit} million)", limit = MOST_PIXELS / 1_000_000)]
    TooLarge(String),
}

/// A path as text, what is not Unicode replaced: one file with an odd name must not make a whole shoot unprintable.
fn as_text<S: Serializer>(path: &Path, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&path.display())
}

/// The most pixels one still may have: beyond it nothing is allocated.
pub const MOST_PIXELS: u64 = 400_000_000;

/// The most channels of a recording's sound that are mixed: the places that a layout can name.
pub const MOST_CHANNELS: u32 = 64;

/// A file found and not used.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetAside {
    /// The file.
    #[serde(serialize_with = "as_text")]
    pub path: PathBuf,
    /// Why, in a few words that are the same for every file set aside for that reason.
    pub reason: &'static str,
}

/// Something a person should know about the shoot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Note {
    /// In one line.
    pub message: String,
    /// The slots concerned, where there are any.
    pub slots: Vec<SlotIndex>,
}

impl Shoot {
    /// The still in a slot, where a whole one is there.
    #[must_use]
    pub fn still(&self, slot: SlotIndex) -> Option<&Still> {
        match &self.slots.get(slot.0)?.content {
            Content::Whole(still) => Some(still),
            Content::Damaged { .. } | Content::Missing => None,
        }
    }

    /// The files of all whole stills.
    pub fn paths(&self) -> impl Iterator<Item = &std::path::Path> {
        (0..self.slots.len()).filter_map(|slot| Some(self.still(SlotIndex(slot))?.path.as_path()))
    }

    /// When the still of a slot was taken, where known (damaged ones included).
    #[must_use]
    pub fn captured(&self, slot: SlotIndex) -> Option<Captured> {
        match &self.slots.get(slot.0)?.content {
            Content::Whole(still) => still.captured,
            Content::Damaged { captured, .. } => *captured,
            Content::Missing => None,
        }
    }

    /// Shoots as one, for a reel: the slots of each after those of the one before. A shoot that is there twice has two
    /// parts, for what is done to its stills may differ.
    #[must_use]
    pub fn joined(shoots: Vec<Self>) -> Self {
        let (mut slots, mut set_aside, mut members) = (Vec::new(), Vec::<SetAside>::new(), Vec::new());
        for shoot in shoots {
            let first = slots.len();
            slots.extend(shoot.slots.iter().cloned());
            for file in &shoot.set_aside {
                if !set_aside.contains(file) {
                    set_aside.push(file.clone());
                }
            }
            members.push(Member { first, shoot });
        }
        let size = members.iter().map(|member| member.shoot.size).max_by_key(|size| size.pixels());
        let size = size.unwrap_or_else(|| Size::new(1, 1));
        Self { slots, size, interval: None, set_aside, notes: Vec::new(), recording: None, members }
    }

    /// Which of the joined shoots a slot is of, and which slot it is there; none of a shoot by itself.
    #[must_use]
    pub fn member_at(&self, slot: SlotIndex) -> Option<(usize, SlotIndex)> {
        let member = self.members.partition_point(|member| member.first <= slot.0).checked_sub(1)?;
        Some((member, SlotIndex(slot.0 - self.members[member].first)))
    }

    /// The size of the stills where this slot's is.
    #[must_use]
    pub fn size_at(&self, slot: SlotIndex) -> Size {
        self.member_at(slot).map_or(self.size, |(member, _)| self.members[member].shoot.size)
    }

    /// The recording that a slot's still is a frame of, and the slot as that counts; none where it is a file of its own.
    #[must_use]
    pub fn recording_at(&self, slot: SlotIndex) -> Option<(&Recording, SlotIndex)> {
        match self.member_at(slot) {
            None => self.recording.as_ref().map(|recording| (recording, slot)),
            Some((member, own)) => self.members[member].shoot.recording.as_ref().map(|recording| (recording, own)),
        }
    }

    /// By shoot, this one or those joined: its slots, and the recording it is of where it is one.
    pub fn recordings(&self) -> impl Iterator<Item = (Range<usize>, Option<&Recording>)> {
        let alone = self.members.is_empty().then_some((0..self.slots.len(), self.recording.as_ref()));
        let slots = |member: &Member| member.first..member.first + member.shoot.slots.len();
        let joined = self.members.iter().map(move |member| (slots(member), member.shoot.recording.as_ref()));
        alone.into_iter().chain(joined)
    }

    /// Marks a still as damaged that only decoding showed to be.
    pub fn mark_damaged(&mut self, slot: SlotIndex, damage: Damage) {
        if let Some((member, own)) = self.member_at(slot) {
            self.members[member].shoot.mark_damaged(own, damage.clone());
        }
        let Some(entry) = self.slots.get_mut(slot.0) else { return };
        if let Content::Whole(still) = &entry.content {
            entry.content = Content::Damaged { path: still.path.clone(), damage, captured: still.captured };
        }
    }
}

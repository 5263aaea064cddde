//! The schemas of OpenTimelineIO that are written, field by field as its reference library writes them (version 0.18:
//! `otio-serialized-schema` in its documentation, and what its own `otio_json` gives for each).

use std::collections::BTreeMap;

use serde::Serialize;

/// The name of a clip's only media.
const DEFAULT_MEDIA: &str = "DEFAULT_MEDIA";

/// A moment: so many frames at a rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "RationalTime.1")]
pub(super) struct RationalTime {
    rate: f64,
    value: f64,
}

impl RationalTime {
    pub(super) fn new(frame: u64, rate: f64) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 frames does not exist")]
        Self { rate, value: frame as f64 }
    }
}

/// From a moment on, for so long.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "TimeRange.1")]
pub(super) struct TimeRange {
    duration: RationalTime,
    start_time: RationalTime,
}

impl TimeRange {
    pub(super) fn new(start_time: RationalTime, duration: RationalTime) -> Self {
        Self { duration, start_time }
    }
}

/// What the format leaves to whoever writes it: ours stands under our name.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub(super) struct Metadata {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) stillpath: Option<Box<Laid>>,
}

/// A clip's metadata under our name.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Laid {
    /// This program's version.
    pub(super) version: &'static str,
    /// The script.
    pub(super) script: String,
    #[serde(skip_serializing_if = "str::is_empty")]
    pub(super) shot: String,
    pub(super) delivery: String,
    /// Whether the media was there when this was written.
    pub(super) is_rendered: bool,
    /// Frame size in pixels.
    pub(super) frame: [u32; 2],
    /// Frames a second, exactly: `24000/1001`.
    pub(super) rate: String,
    /// Frames in it.
    pub(super) frames: usize,
    /// Frames that no photograph shows.
    #[serde(skip_serializing_if = "is_zero")]
    pub(super) invented: usize,
    /// What the numbers of a row are.
    pub(super) columns: [&'static str; 7],
    /// One a frame: place on the shoot's axis, still counted from 1, window over the first view in pixels of the upright
    /// still, roll in degrees.
    pub(super) rows: Vec<[f64; 7]>,
    /// Remarks on the clip as a whole.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) remarks: Vec<String>,
    /// The stills it is cut from.
    pub(super) stills: Stills,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands out references")]
fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// Where the stills are.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Stills {
    /// Numbered files in one folder, as a still a frame.
    Sequence(Box<Sequence>),
    /// Anything else: by slot, the file, none where it is missing.
    Files(Vec<Option<String>>),
    /// Frames of a recorded video.
    Recording(String),
}

/// A file.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "ExternalReference.1")]
pub(super) struct External {
    metadata: Metadata,
    name: String,
    available_range: TimeRange,
    available_image_bounds: Option<()>,
    target_url: String,
}

/// Numbered files.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "ImageSequenceReference.1")]
pub(super) struct Sequence {
    pub(super) metadata: Metadata,
    pub(super) name: String,
    pub(super) available_range: TimeRange,
    pub(super) target_url_base: String,
    pub(super) name_prefix: String,
    pub(super) name_suffix: String,
    pub(super) start_frame: u64,
    pub(super) frame_step: u64,
    pub(super) rate: f64,
    pub(super) frame_zero_padding: usize,
    pub(super) missing_frame_policy: &'static str,
}

/// What a clip shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub(super) enum Media {
    File(External),
    Sequence(Sequence),
}

impl Media {
    pub(super) fn file(target_url: String, available_range: TimeRange) -> Self {
        let (metadata, name, available_image_bounds) = (Metadata::default(), String::new(), None);
        Self::File(External { metadata, name, available_range, available_image_bounds, target_url })
    }
}

/// A place that is marked.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Marker.2")]
pub(super) struct Marker {
    pub(super) metadata: Metadata,
    pub(super) name: String,
    pub(super) color: &'static str,
    pub(super) marked_range: TimeRange,
    pub(super) comment: String,
}

/// A part of some media.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Clip.2")]
pub(super) struct Clip {
    pub(super) metadata: Metadata,
    name: String,
    source_range: TimeRange,
    effects: [(); 0],
    pub(super) markers: Vec<Marker>,
    enabled: bool,
    media_references: BTreeMap<&'static str, Media>,
    active_media_reference_key: &'static str,
}

impl Clip {
    /// All of some media.
    pub(super) fn new(name: &str, media: Media, source_range: TimeRange) -> Self {
        Self {
            metadata: Metadata::default(),
            name: name.to_owned(),
            source_range,
            effects: [],
            markers: Vec::new(),
            enabled: true,
            media_references: BTreeMap::from([(DEFAULT_MEDIA, media)]),
            active_media_reference_key: DEFAULT_MEDIA,
        }
    }
}

/// Nothing, for so long.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Gap.1")]
pub(super) struct Gap {
    metadata: Metadata,
    name: String,
    source_range: TimeRange,
    effects: [(); 0],
    markers: [(); 0],
    enabled: bool,
}

impl Gap {
    pub(super) fn new(source_range: TimeRange) -> Self {
        let (metadata, name) = (Metadata::default(), String::new());
        Self { metadata, name, source_range, effects: [], markers: [], enabled: true }
    }
}

/// What follows one another in a track.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub(super) enum Item {
    Clip(Box<Clip>),
    Gap(Gap),
}

/// Clips one after the other.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Track.1")]
pub(super) struct Track {
    metadata: Metadata,
    name: String,
    source_range: Option<TimeRange>,
    effects: [(); 0],
    markers: [(); 0],
    enabled: bool,
    children: Vec<Item>,
    kind: &'static str,
}

impl Track {
    pub(super) fn new(name: &str, kind: &'static str, children: Vec<Item>) -> Self {
        let (metadata, name, source_range) = (Metadata::default(), name.to_owned(), None);
        Self { metadata, name, source_range, effects: [], markers: [], enabled: true, children, kind }
    }
}

/// Tracks over one another.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Stack.1")]
pub(super) struct Stack {
    metadata: Metadata,
    name: &'static str,
    source_range: Option<TimeRange>,
    effects: [(); 0],
    markers: [(); 0],
    enabled: bool,
    children: Vec<Track>,
}

impl Stack {
    pub(super) fn new(children: Vec<Track>) -> Self {
        let (metadata, name, source_range) = (Metadata::default(), "tracks", None);
        Self { metadata, name, source_range, effects: [], markers: [], enabled: true, children }
    }
}

/// A delivery's shots in order.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "OTIO_SCHEMA", rename = "Timeline.1")]
pub struct Timeline {
    metadata: Metadata,
    name: String,
    global_start_time: Option<RationalTime>,
    tracks: Stack,
}

impl Timeline {
    pub(super) fn new(name: &str, global_start_time: Option<RationalTime>, tracks: Stack) -> Self {
        Self { metadata: Metadata::default(), name: name.to_owned(), global_start_time, tracks }
    }
}

//! Finished deliveries as timelines of OpenTimelineIO, for whoever cuts them on.
//!
//! In: the plans of a delivery, shot by shot, with where its clips and its stills are. Out: one [`Timeline`] as JSON.
//! `schema` is what is written, `sequence` says where stills are numbered files, `laid_down` what is kept of the move.
//!
//! ## Decisions
//!
//! - One timeline a shape (frame and rate), in a file of its own: all timelines of a script would need a collection
//!   around them, and many programs open a timeline and nothing else. A timeline holds the script's shots in order, each
//!   one clip in one track; what is heard is a second track.
//! - A clip's media is the rendered file (`ExternalReference.1`), or the rendered sequence (`ImageSequenceReference.1`),
//!   by a path seen from the timeline's own folder, so that both can be moved together.
//! - The stills are no second media reference of the clip: those have to show the same over the same range, and stills
//!   are neither cropped nor paced. Their sequence stands in the clip's metadata, where it is an object of the same
//!   schema; where they are not numbered one after the other in one folder, their files are listed in its place.
//! - The move stands in metadata under `stillpath`: for every frame the place on the shoot's axis, the still and the
//!   window. No program is promised to repeat it.
//! - Times are whole frames at the delivery's rate, so nothing is rounded but the rate itself, which the format holds as
//!   a double; the fraction stands in the metadata.
//!
//! ## Surprises
//!
//! - OpenTimelineIO 0.18.1 reads a number of 17 digits to within its last bit only, so what it writes again is not what it
//!   read: 30.686075178880742 became …746. Numbers of the move are kept to a billionth. The rates of the 1000/1001 family
//!   come back to the bit.
//! - A range of its does not contain one that begins or ends with it: `TimeRange.contains` is strict.

mod laid_down;
mod schema;
mod sequence;

use std::path::{Path, PathBuf};

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_encode};

use crate::plan::{DeliveryPlan, KeyedWindow, Plan};
use crate::shoot::Shoot;
use crate::shot::Policy;
use crate::units::{FrameRate, parse_timecode};

use schema::{Clip, Gap, Item, Media, RationalTime, Stack, TimeRange, Track};

pub use schema::Timeline;

/// A delivery of one shot.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    /// Its shot's plan.
    pub plan: &'a Plan,
    /// The delivery's own.
    pub delivery: &'a DeliveryPlan,
    /// What it is cut from.
    pub shoot: &'a Shoot,
    /// Its keys.
    pub keys: &'a [KeyedWindow],
    /// What is done where a still is missing.
    pub missing: Policy,
    /// The rendered file, or the folder of a sequence, as seen from the timeline's folder.
    pub media: &'a Path,
    /// Whether that is there.
    pub is_rendered: bool,
    /// The endings of a sequence's files, where the delivery is one.
    pub frames_end: Option<&'static str>,
}

/// What is the same for all parts.
#[derive(Clone, Copy)]
pub struct Script<'a> {
    /// The script's name.
    pub name: &'a str,
    /// The script's file, as it was named.
    pub path: &'a Path,
    /// Turns a path as the survey has it into one as seen from the timeline's folder.
    pub seen: &'a dyn Fn(&Path) -> PathBuf,
}

/// A timeline of this name: a clip of each of the script's shots that have such a delivery, in order.
#[must_use]
pub fn timeline(script: &Script<'_>, name: &str, parts: &[Part<'_>]) -> Timeline {
    let start = parts.first().and_then(|part| {
        let label = part.delivery.extras.timecode.as_deref()?;
        let frame = parse_timecode(label, part.delivery.fps).ok()?;
        Some(at(frame, part.delivery.fps))
    });
    let clips = parts.iter().map(|part| Item::Clip(Box::new(clip(script, part)))).collect();
    let mut tracks = vec![Track::new(name, "Video", clips)];
    if parts.iter().any(|part| !part.delivery.sound.is_empty()) {
        let heard = parts.iter().map(|part| {
            let frames = part.delivery.rows.len() as u64;
            match part.delivery.sound.is_empty() {
                true => Item::Gap(Gap::new(range(0, frames, part.delivery.fps))),
                false => Item::Clip(Box::new(Clip::new(
                    &title(script, part),
                    media(part),
                    range(0, frames, part.delivery.fps),
                ))),
            }
        });
        tracks.push(Track::new(&format!("{name}, sound"), "Audio", heard.collect()));
    }
    Timeline::new(&format!("{}-{name}", script.name), start, Stack::new(tracks))
}

/// A shot's name, or the script's where it has one shot.
fn title(script: &Script<'_>, part: &Part<'_>) -> String {
    if part.plan.shot.is_empty() { script.name.to_owned() } else { part.plan.shot.clone() }
}

fn clip(script: &Script<'_>, part: &Part<'_>) -> Clip {
    let whole = range(0, part.delivery.rows.len() as u64, part.delivery.fps);
    let mut clip = Clip::new(&title(script, part), media(part), whole);
    clip.markers = laid_down::markers(part);
    clip.metadata.stillpath = Some(Box::new(laid_down::metadata(script, part)));
    clip
}

/// The rendered file or sequence.
fn media(part: &Part<'_>) -> Media {
    let DeliveryPlan { fps, rows, .. } = part.delivery;
    let available = range(0, rows.len() as u64, *fps);
    match part.frames_end {
        None => Media::file(url(part.media), available),
        Some(end) => Media::Sequence(schema::Sequence {
            name: String::new(),
            metadata: schema::Metadata::default(),
            available_range: available,
            target_url_base: url(part.media) + "/",
            name_prefix: String::new(),
            name_suffix: format!(".{end}"),
            start_frame: 0,
            frame_step: 1,
            rate: fps.per_second(),
            frame_zero_padding: 6,
            missing_frame_policy: "error",
        }),
    }
}

fn at(frame: u64, fps: FrameRate) -> RationalTime {
    RationalTime::new(frame, fps.per_second())
}

fn range(first: u64, frames: u64, fps: FrameRate) -> TimeRange {
    TimeRange::new(at(first, fps), at(frames, fps))
}

/// What stays as it is in a path of a URL (RFC 3986, 3.3): unreserved characters and the separator of its segments.
const PATH: AsciiSet = NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~').remove(b'/');

/// A path as a URL: relative ones as they are, absolute ones as `file://`; bytes that are no plain letters are escaped.
fn url(path: &Path) -> String {
    let encoded = percent_encode(path.as_os_str().as_encoded_bytes(), &PATH).to_string();
    if path.is_absolute() { format!("file://{encoded}") } else { encoded }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3986, 2.1 and 3.3; RFC 8089 for `file`.
    #[test]
    fn paths_become_urls_and_no_name_breaks_out_of_one() {
        for (path, due) in [
            ("clips/day-wide.mp4", "clips/day-wide.mp4"),
            ("../a b/100%#?.JPG", "../a%20b/100%25%23%3F.JPG"),
            ("/media/größe", "file:///media/gr%C3%B6%C3%9Fe"),
            ("a:b", "a%3Ab"),
        ] {
            assert_eq!(url(Path::new(path)), due);
        }
    }
}

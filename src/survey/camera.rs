//! How the camera was set, what changed on the way, and how close each usual delivery can come.

use serde::Serialize;

use super::clock::median;
use crate::shoot::{Orientation, Settings, Shoot, Still};
use crate::units::{Size, SlotIndex};

/// A setting that did not stay the same.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// What changed (`"exposure"`).
    pub what: &'static str,
    /// From what to what the first time, as people read it.
    pub first: [String; 2],
    /// The stills from which on it was another.
    pub slots: Vec<SlotIndex>,
}

/// How near a delivery can come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Room {
    /// The delivery's frame, in pixels.
    pub frame: Size,
    /// The zoom at which one pixel of the still fills one of the frame: below 1 even the largest window has to be
    /// enlarged.
    pub deepest: f64,
}

/// The frames people deliver most.
const FRAMES: [(u32, u32); 6] = [(1920, 1080), (1080, 1920), (1080, 1080), (1080, 1350), (3840, 2160), (2160, 3840)];

/// How near each usual delivery can come to stills of a size before pixels are enlarged: the least, over the sides, of
/// the largest window's side over the frame's.
#[must_use]
pub(super) fn rooms(still: Size) -> Vec<Room> {
    let room = |(width, height): (u32, u32)| {
        let frame = Size::new(width, height);
        // The largest window of the frame's shape touches two edges: the other side's share is the larger.
        let share = |still: u32, frame: u32| f64::from(still) / f64::from(frame);
        Room { frame, deepest: share(still.width, width).min(share(still.height, height)) }
    };
    FRAMES.map(room).to_vec()
}

/// Degrees that the shutter was open of each interval, 360 for all of it: the least, the usual, the most.
#[must_use]
pub(super) fn shutter_angles(shoot: &Shoot, interval: f64) -> Option<[f64; 3]> {
    let angles = stills(shoot).filter_map(|(_, still)| Some(360.0 * still.settings.exposure? / interval));
    let angles: Vec<f64> = angles.collect();
    let least = angles.iter().copied().fold(f64::INFINITY, f64::min);
    let most = angles.iter().copied().fold(0.0, f64::max);
    Some([least, median(angles)?, most])
}

fn stills(shoot: &Shoot) -> impl Iterator<Item = (SlotIndex, &Still)> {
    (0..shoot.slots.len()).filter_map(|slot| Some((SlotIndex(slot), shoot.still(SlotIndex(slot))?)))
}

/// How a setting reads, where the still tells it.
type Reading = fn(&Still) -> Option<String>;

const SETTINGS: [(&str, Reading); 9] = [
    ("exposure", |still| still.settings.exposure.map(exposure)),
    ("aperture", |still| still.settings.aperture.map(|number| format!("f/{}", rounded(number)))),
    ("sensitivity", |still| still.settings.sensitivity.map(|speed| format!("ISO {speed}"))),
    ("exposure mode", |still| {
        still.settings.auto_exposure.map(|auto| if auto { "automatic" } else { "manual" }.into())
    }),
    ("white balance", |still| {
        still.settings.auto_white_balance.map(|auto| if auto { "automatic" } else { "fixed" }.into())
    }),
    ("focus", |still| still.settings.focus.map(|metres| format!("{} m", rounded(metres)))),
    ("focal length", |still| still.settings.focal_length.map(|length| format!("{} mm", rounded(length)))),
    ("profile", |still| still.settings.profile.as_ref().map(|profile| profile.to_string())),
    ("orientation", |still| {
        (still.orientation != Orientation::Upright).then(|| format!("{:?}", still.orientation).to_lowercase())
    }),
];

/// Every setting that changed on the way. A still that does not tell a setting is passed over, but for the orientation.
#[must_use]
pub(super) fn changes(shoot: &Shoot) -> Vec<Change> {
    let change = |(what, reading): &(&'static str, Reading)| {
        let told = stills(shoot).filter_map(|(slot, still)| match reading(still) {
            None if *what == "orientation" => Some((slot, "upright".to_owned())),
            told => Some((slot, told?)),
        });
        let told: Vec<(SlotIndex, String)> = told.collect();
        let mut turns = told.windows(2).filter(|pair| pair[0].1 != pair[1].1).peekable();
        let first = turns.peek().map(|pair| [pair[0].1.clone(), pair[1].1.clone()])?;
        Some(Change { what, first, slots: turns.map(|pair| pair[1].0).collect() })
    };
    SETTINGS.iter().filter_map(change).collect()
}

/// The settings of a still in a line: `1/60 s, f/8, ISO 100, 24 mm`.
pub(super) fn in_words(settings: &Settings) -> String {
    let words = [
        settings.exposure.map(exposure),
        settings.aperture.map(|number| format!("f/{}", rounded(number))),
        settings.sensitivity.map(|speed| format!("ISO {speed}")),
        settings.focal_length.map(|length| format!("{} mm", rounded(length))),
        settings.auto_exposure.map(|auto| if auto { "automatic exposure" } else { "manual exposure" }.into()),
        settings
            .auto_white_balance
            .map(|auto| if auto { "automatic white balance" } else { "fixed white balance" }.into()),
        settings.profile.as_ref().map(|profile| profile.to_string()),
    ];
    words.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn exposure(seconds: f64) -> String {
    if seconds < 0.3 { format!("1/{} s", (1.0 / seconds).round()) } else { format!("{} s", rounded(seconds)) }
}

fn rounded(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    // JOB, step 2: the tallest 9:16 window of 6000 x 4000 is 2250 x 4000, which is 2.08 at 1080 wide and 1.04 at 2160.
    #[test]
    fn the_deepest_sharp_zoom_is_where_pixels_meet_pixels() {
        let rooms = rooms(Size::new(6000, 4000));
        let deepest = |width, height| rooms.iter().find(|room| room.frame == Size::new(width, height)).unwrap().deepest;
        for (width, height, due) in
            [(1080, 1920, 2.083_333), (2160, 3840, 1.041_667), (1920, 1080, 3.125), (3840, 2160, 1.5625)]
        {
            assert!((deepest(width, height) - due).abs() < 1e-5, "{width}x{height}: {}", deepest(width, height));
        }
    }

    #[test]
    fn exposures_read_as_cameras_show_them() {
        assert_eq!([exposure(1.0 / 60.0), exposure(0.5), exposure(2.0)], ["1/60 s", "0.5 s", "2 s"]);
    }
}

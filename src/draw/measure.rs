//! What curves show: each measure's name, its value at a frame, and the scale it is read on.

use kurbo::Rect;

use super::sheet::{Sheet, SheetRow};
use crate::ink::scale::Scale;

/// What a curve shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// How close, 1 for the largest window.
    Zoom,
    /// The window's centre across, as a fraction of the still's width.
    Across,
    /// And down, of its height.
    Down,
    /// How far the window is turned clockwise, in degrees.
    Roll,
    /// How fast the shoot runs.
    Pace,
    /// The still on screen.
    Still,
    /// Pixels of the frame for one of the still.
    Enlargement,
    /// Pixels the fastest corner moves a frame.
    Speed,
}

impl Measure {
    /// Its name, which a test finds it by.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Zoom => "zoom",
            Self::Across => "across",
            Self::Down => "down",
            Self::Roll => "roll",
            Self::Pace => "pace",
            Self::Still => "still shown",
            Self::Enlargement => "enlargement",
            Self::Speed => "fastest corner",
        }
    }

    /// What is to be known to read it.
    pub(super) fn says(self, sheet: &Sheet<'_>) -> String {
        match self {
            Self::Zoom => {
                "1 is the largest window, of that roll where it is turned; equal ratios are equal heights".into()
            }
            Self::Across => "the window's centre, as a fraction of the still's width from the left".into(),
            Self::Down => "and of its height from the top".into(),
            Self::Roll => "degrees the window is turned clockwise".into(),
            Self::Pace if sheet.interval.is_some() && !sheet.compared => {
                "stills a second; on the right, times real time".into()
            }
            Self::Pace => "stills a second".into(),
            Self::Still => {
                let held = !sheet.compared && sheet.finest().plan.rows.iter().any(|row| row.slot != row.shown);
                let held = if held { "; a bar at the foot: another still is held in its place" } else { "" };
                let apart = !sheet.compared && !sheet.finest().breaks(sheet.breaks).is_empty();
                let apart =
                    if apart { "; a dashed line: stills were left out, and nothing is mixed across" } else { "" };
                format!("counted from 1{held}{apart}")
            }
            Self::Enlargement => "pixels of the frame for one of the still; above 1:1 the still is enlarged".into(),
            Self::Speed => "pixels of the frame a frame; thin lines: a picture width in 7 s, a rule of thumb".into(),
        }
    }

    /// The clip's alone, and not each delivery's.
    pub(super) fn is_shared(self, sheet: &Sheet<'_>) -> bool {
        matches!(self, Self::Pace | Self::Still) && !sheet.compared
    }

    /// Of where windows lie, so that keys stand on it.
    pub(super) fn is_of_windows(self) -> bool {
        matches!(self, Self::Zoom | Self::Across | Self::Down | Self::Roll)
    }

    /// Its value at a frame; none where it takes a frame before or after that is not there.
    pub(super) fn value(self, sheet: &Sheet<'_>, track: &SheetRow<'_>, frame: usize) -> Option<f64> {
        let row = track.row(frame);
        let still = sheet.shoot.size;
        match self {
            Self::Zoom => Some(track.zoom(row.window)),
            Self::Across => Some(row.window.centre().x / f64::from(still.width)),
            Self::Down => Some(row.window.centre().y / f64::from(still.height)),
            Self::Roll => Some(row.window.roll),
            Self::Pace => track.pace(frame),
            Self::Still => Some(row.shown.0 as f64 + 1.0),
            Self::Enlargement => Some(row.window.enlargement(track.plan.frame)),
            Self::Speed => track.speed(frame),
        }
    }

    /// The scale that shows all values from `low` to `high`.
    pub(super) fn scale(self, sheet: &Sheet<'_>, (low, high): (f64, f64), place: Rect) -> Scale {
        // Keys' numbers stand on the upper edge.
        let head = if self.is_of_windows() { 14.0 } else { 5.0 };
        let room =
            |from: f64, to: f64, ratio: bool| Scale { from, to, first: place.y1 - 5.0, last: place.y0 + head, ratio };
        let around = |least: f64| {
            let (middle, half) = (f64::midpoint(low, high), ((high - low) * 0.54).max(least / 2.0));
            (middle - half, middle + half)
        };
        match self {
            Self::Zoom => {
                let (middle, half) = ((low * high).sqrt(), (high / low).powf(0.54).max(1.25_f64.sqrt()));
                room(middle / half, middle * half, true)
            }
            Self::Across => {
                let (from, to) = around(0.1);
                room(from, to, false)
            }
            Self::Down => {
                let (from, to) = around(0.1);
                room(to, from, false)
            }
            Self::Roll => {
                let (from, to) = around(2.0);
                room(from, to, false)
            }
            Self::Still => {
                let (from, to) = around(2.0);
                room(from, to, false)
            }
            Self::Pace => {
                let (low, high) = (low.min(0.0), high.max(0.0));
                let spare = ((high - low) * 0.12).max(0.1);
                room(if low < 0.0 { low - spare } else { 0.0 }, if high > 0.0 { high + spare } else { 0.0 }, false)
            }
            Self::Enlargement => {
                let (low, high) = (low.min(1.0), high.max(1.0));
                let spare = ((high - low) * 0.1).max(0.05);
                room((low - spare).max(0.0), high + spare, false)
            }
            Self::Speed => {
                let limits = sheet.tracks.iter().map(SheetRow::speed_limit);
                room(0.0, limits.fold(high, f64::max) * 1.12, false)
            }
        }
    }
}

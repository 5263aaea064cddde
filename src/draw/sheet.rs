//! What is drawn: a plan's deliveries with their keys, over one still and one clip.

use crate::diag::Diagnostics;
use crate::geom::{SECONDS_A_WIDTH, Window};
use crate::plan::{Break, Covering, DeliveryPlan, KeyedWindow, Row};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// Windows nearer than this at every corner are the same, in pixels of the still.
const SAME: f64 = 0.01;

/// All that a sheet shows.
#[derive(Debug, Clone)]
pub struct Sheet<'a> {
    /// What it is a sheet of.
    pub title: String,
    /// The shoot the clip is cut from.
    pub shoot: &'a Shoot,
    /// Seconds between two stills, where known: what one times real time means.
    pub interval: Option<f64>,
    /// Length of the clip in seconds, above 0.
    pub length: f64,
    /// One a delivery, at least one.
    pub tracks: Vec<SheetRow<'a>>,
    /// What lies under the windows; a plain ground where none.
    pub backdrop: Option<Backdrop>,
    /// What is followed, each once.
    pub subjects: Vec<Subject<'a>>,
    /// What is hidden in which stills.
    pub covers: &'a [Covering],
    /// How many stills its source leaves out, by what.
    pub left_out: Vec<(usize, &'static str)>,
    /// Where the stills of its one shoot were not taken one after the other.
    pub breaks: &'a [Break],
    /// What is worth knowing, and when.
    pub remarks: Vec<Remark>,
    /// Whether the tracks are of several plans, so that each has a pace of its own.
    pub compared: bool,
}

/// One delivery's part.
#[derive(Debug, Clone)]
pub struct SheetRow<'a> {
    /// What it is called on the sheet.
    pub name: String,
    /// Its frames, at least one.
    pub plan: &'a DeliveryPlan,
    /// Its keys in order of time.
    pub keys: &'a [KeyedWindow],
}

/// What is followed.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// Whose frames it is told by: a place among [`Sheet::tracks`].
    pub track: usize,
    /// Where it is in every frame of that, in pixels of the upright still.
    pub boxes: &'a [Window],
    /// How sure that is in every frame, from 0 to 1, 0 where it is lost; nothing where it is not tracked.
    pub confidence: &'a [f64],
    /// The frames of its keys.
    pub keys: &'a [usize],
}

/// A still made small.
#[derive(Debug, Clone)]
pub struct Backdrop {
    /// A JPEG of the whole of it, of any size.
    pub jpeg: Vec<u8>,
    /// What it is called.
    pub name: String,
    /// Whose still it is, where covers are to be shown on it.
    pub slot: Option<SlotIndex>,
}

/// Something said of some moments of the clip.
#[derive(Debug, Clone, PartialEq)]
pub struct Remark {
    /// In words.
    pub text: String,
    /// The line of the script.
    pub place: Option<String>,
    /// From when until when, in seconds, in order; none where it is of the whole.
    pub spans: Vec<(f64, f64)>,
}

impl Remark {
    /// The remarks of a plan where they occur: over the frames they name, or else at the keys whose line they point to.
    #[must_use]
    pub fn all(found: &Diagnostics, tracks: &[SheetRow<'_>]) -> Vec<Self> {
        let at = |diagnostic: &crate::diag::Diagnostic| {
            let Some(frames) = &diagnostic.frames else {
                let keys = tracks.iter().flat_map(|track| track.keys);
                let mut moments: Vec<f64> =
                    keys.filter(|key| Some(&key.place) == diagnostic.place.as_ref()).map(|key| key.seconds).collect();
                moments.sort_by(f64::total_cmp);
                moments.dedup();
                return moments.into_iter().map(|moment| (moment, moment)).collect();
            };
            let plan = tracks.iter().map(|track| track.plan).find(|plan| plan.name == frames.delivery);
            let time = |frame: usize| plan.map_or(0.0, |plan| plan.fps.time_of(frame as u64).0);
            frames.runs.iter().map(|(first, last)| (time(*first), time(last + 1))).collect()
        };
        let remark = |diagnostic: &crate::diag::Diagnostic| Self {
            text: diagnostic.message.clone(),
            place: diagnostic.place.as_ref().map(ToString::to_string),
            spans: at(diagnostic),
        };
        found.in_order().into_iter().map(remark).collect()
    }
}

/// A moment at which deliveries have keys, with the number that it has on the whole sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Numbered {
    /// From 1, in order of time.
    pub(super) number: usize,
    /// The first of the moments, in seconds.
    pub(super) seconds: f64,
    /// Tracks with a key then, and its moment in each.
    pub(super) of: Vec<(usize, f64)>,
}

impl SheetRow<'_> {
    /// How close a window is: 1 is the largest of its roll.
    pub(super) fn zoom(&self, window: Window) -> f64 {
        Window::largest(self.plan.room, self.plan.frame.aspect(), window.roll).width / window.width
    }

    /// The frames, from the second on, that lie on another side of a break than the frame before.
    pub(super) fn breaks(&self, breaks: &[Break]) -> Vec<usize> {
        let side = |frame: usize| breaks.partition_point(|one| one.after <= self.row(frame).shown);
        (1..self.frames()).filter(|frame| side(*frame) != side(frame - 1)).collect()
    }

    /// Whether its windows are those of another in every frame.
    pub(super) fn shows_the_same(&self, other: &Self) -> bool {
        let near = |one: Window, other: Window| {
            one.outline().iter().zip(other.outline()).all(|(one, other)| one.distance(other) < SAME)
        };
        let rows = || self.plan.rows.iter().zip(&other.plan.rows);
        self.plan.fps == other.plan.fps
            && self.frames() == other.frames()
            && rows().all(|(one, other)| near(one.window, other.window))
    }

    /// How many frames there are.
    pub(super) fn frames(&self) -> usize {
        self.plan.rows.len()
    }

    /// When a frame is shown.
    pub(super) fn time(&self, frame: usize) -> f64 {
        self.plan.fps.time_of(frame as u64).0
    }

    /// The last frame shown by a moment.
    pub(super) fn frame_at(&self, seconds: f64) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "at least 0, and a frame of this clip"
        )]
        let frame = (seconds * self.plan.fps.per_second() + 1e-6).floor().max(0.0) as usize;
        frame.min(self.frames().saturating_sub(1))
    }

    /// The frames at whole steps of time.
    pub(super) fn ticks(&self, step: f64) -> Vec<usize> {
        let end = self.time(self.frames());
        let mut frames = Vec::new();
        let mut number = 0.0;
        while number * step < end - 1e-9 && frames.len() < 1000 {
            let frame = self.frame_at(number * step);
            if frames.last() != Some(&frame) {
                frames.push(frame);
            }
            number += 1.0;
        }
        frames
    }

    pub(super) fn row(&self, frame: usize) -> &Row {
        &self.plan.rows[frame]
    }

    /// The frame whose window is smallest, and that window.
    pub(super) fn closest(&self) -> (usize, Window) {
        let rows = self.plan.rows.iter().map(|row| row.window).enumerate();
        let closest = rows.min_by(|(_, one), (_, other)| one.width.total_cmp(&other.width));
        closest.unwrap_or((0, self.plan.rows[0].window))
    }

    /// How far the fastest corner moves until a frame from the one before, in pixels of the frame; none for the first.
    pub(super) fn speed(&self, frame: usize) -> Option<f64> {
        let before = self.plan.rows.get(frame.checked_sub(1)?)?.window;
        Some(before.fastest_corner(self.row(frame).window, self.plan.frame))
    }

    /// The rule of thumb for [`SheetRow::speed`].
    pub(super) fn speed_limit(&self) -> f64 {
        f64::from(self.plan.frame.width) / (SECONDS_A_WIDTH * self.plan.fps.per_second())
    }

    /// Stills a second at a frame, below 0 where the shoot runs backwards.
    pub(super) fn pace(&self, frame: usize) -> Option<f64> {
        let from = frame.min(self.frames().checked_sub(2)?);
        Some((self.row(from + 1).position - self.row(from).position) * self.plan.fps.per_second())
    }
}

impl Sheet<'_> {
    /// The delivery with the most frames, the first of several: what the shoot's own curves are read from.
    pub(super) fn finest_at(&self) -> usize {
        (0..self.tracks.len()).rev().max_by_key(|track| self.tracks[*track].frames()).unwrap_or(0)
    }

    /// As [`Self::finest_at`].
    pub(super) fn finest(&self) -> &SheetRow<'_> {
        &self.tracks[self.finest_at()]
    }

    /// A delivery's keys that lie in the clip.
    pub(super) fn keys_of<'b>(&self, track: &SheetRow<'b>) -> impl Iterator<Item = &'b KeyedWindow> + use<'b> {
        let length = self.length;
        track.keys.iter().filter(move |key| (0.0..length).contains(&key.seconds))
    }

    /// All keys in the clip by number. Keys of several deliveries less than a frame apart are one: the last frame's are.
    pub(super) fn numbered(&self) -> Vec<Numbered> {
        let rates = self.tracks.iter().map(|track| track.plan.fps.per_second());
        let frame = 1.01 / rates.fold(f64::INFINITY, f64::min);
        let of = |(index, track)| self.keys_of(track).map(move |key| (index, key.seconds));
        let mut keys: Vec<(usize, f64)> = self.tracks.iter().enumerate().flat_map(of).collect();
        keys.sort_by(|one, other| one.1.total_cmp(&other.1));
        let mut numbered: Vec<Numbered> = Vec::new();
        for (track, seconds) in keys {
            let joined = numbered
                .iter_mut()
                .rev()
                .find(|known| seconds - known.seconds <= frame && known.of.iter().all(|(other, _)| *other != track));
            match joined {
                Some(known) => known.of.push((track, seconds)),
                None => {
                    numbered.push(Numbered { number: numbered.len() + 1, seconds, of: vec![(track, seconds)] });
                }
            }
        }
        numbered
    }

    /// Deliveries that show the same in every frame, in order: the first of each, then the others.
    pub(super) fn alike(&self) -> Vec<Vec<usize>> {
        let mut alike: Vec<Vec<usize>> = Vec::new();
        for (index, track) in self.tracks.iter().enumerate() {
            match alike.iter_mut().find(|known| self.tracks[known[0]].shows_the_same(track)) {
                Some(known) => known.push(index),
                None => alike.push(vec![index]),
            }
        }
        alike
    }

    /// Whether any window moves.
    pub(super) fn moves(&self) -> bool {
        self.tracks.iter().any(|track| {
            let first = track.row(0).window;
            track.plan.rows.iter().any(|row| row.window != first)
        })
    }

    /// What deliveries are called together.
    pub(super) fn names(&self, tracks: &[usize]) -> String {
        tracks.iter().map(|track| self.tracks[*track].name.as_str()).collect::<Vec<_>>().join(", ")
    }

    /// The local time at which a still was taken, in the form `format` says, where known.
    pub(super) fn taken(&self, slot: SlotIndex, format: &str) -> Option<String> {
        self.shoot.captured(slot).map(|captured| captured.local.strftime(format).to_string())
    }
}

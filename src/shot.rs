//! What the user said, with the places kept and nothing resolved.
//!
//! `script` makes these from Lua; `resolve` turns them, with a [`crate::shoot::Shoot`], into a [`crate::plan::Plan`].
//!
//! ## Decisions
//!
//! - Words: *roll* is how many degrees a window is turned clockwise about its centre, so the picture turns the other
//!   way. A
//!   *hold* is seconds of screen time a window rests at a key, whatever axis the key is on; one that runs into the next
//!   key is refused. A *stop* is a key that is come to rest at and set off from rest. A *subject* is what a follow
//!   keeps in frame. The *safe box* is the part of a delivery's frame that boxes are kept in.
//! - Safe boxes are SMPTE's 93 % and 90 %, or a table of margins. What phones lay over a picture changes, so no
//!   interface of theirs is built in.
//! - To add a path: a variant of `Path`; its maths with published numbers in `src/curve/`; a branch of `Route` in
//!   `src/resolve/route.rs`. Speed over keys (`pchip`), edges (`smoothing`), holds and remarks come with that.

mod chosen;
mod codec;
mod corrections;
mod delivery;
mod extras;
mod gathering;
mod listed;
mod purpose;
mod stamp;
mod tracked;

use jiff::civil::{Date, Time};
use serde::Serialize;

use crate::curve::arc_length::Drawing;
use crate::curve::ease::Ease;
use crate::diag::{Place, Placed};
use crate::shoot::Format;
use crate::units::FrameRate;

pub use chosen::{Chosen, Days, Hours, span};
pub use codec::{Av1, Codec, DEFAULT_QUALITY, Ffv1, H264, Hevc, Jpeg, Png, Prores, ProresProfile, Samples};
pub use corrections::{Level, LevelBy, Steady, SteadyBy};
pub use delivery::{Between, Blend, Delivery, Light, Sharpness, Sound, Timecode};
pub use extras::{Extras, Poster, PosterForm};
pub use gathering::{Gather, GatherOver, Gathering};
pub use listed::{At, Line, Listed, MOST_BYTES, Table, Width, Written, Wrong};
pub use purpose::{Figure, Purpose};
pub use stamp::{Colour, Outline, Piece, Pin, Stamp, StampWhat, Wording, elapsed};
pub use tracked::{Tracked, TrackedBy};

/// One shot: one source, one framing, one pace, and the deliveries cut from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shot {
    /// The `shot { … }` call.
    pub place: Place,
    /// Told apart from other shots of a list by this; empty where a script returns one.
    pub name: String,
    /// Where the stills come from.
    pub source: Source,
    /// The rate that "per frame" units and timecodes mean, in frames a second.
    pub fps: FrameRate,
    /// How fast the shoot runs.
    pub pace: Placed<Pace>,
    /// The clip's length in seconds, where the script limits it.
    pub length: Option<Placed<f64>>,
    /// Whether the clip's last frame runs into its first, and over how many seconds the stills at the join are mixed.
    pub looped: Option<Placed<f64>>,
    /// Where the window goes.
    pub framing: Framing,
    /// What is hidden in the stills themselves, in any order.
    pub covers: Vec<Cover>,
    /// The named outputs, at least one.
    pub deliveries: Vec<Delivery>,
    /// How its stills are levelled, where they are.
    pub level: Option<Level>,
    /// How its stills are steadied, where they are.
    pub steady: Option<Steady>,
    /// Whether windows moved inside the still, and boxes that do not fit, are refused instead of remarked on.
    pub strict: bool,
    /// The shots that follow one another in it, where it is a reel: what else is said here is what its first shot says then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reel: Option<Reel>,
}

/// `reel { … }`: shots that follow one another in one clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reel {
    /// At least one, in order, each with a name of its own and the same deliveries as the others.
    pub shots: Vec<Shot>,
    /// Seconds over which the end of one is mixed with the beginning of the next; 0 where the next follows at once.
    pub mix: Placed<f64>,
}

impl Shot {
    /// Seconds over which the join of a loop is mixed where nothing else is said.
    pub const MIX: f64 = 1.0;

    /// Leaves out the deliveries that are not wanted, in a reel those of its shots too.
    pub fn keep_deliveries(&mut self, mut wanted: impl FnMut(&Delivery) -> bool) {
        let reel = self.reel.iter_mut().flat_map(|reel| &mut reel.shots);
        let own = reel.map(|shot| &mut shot.deliveries);
        own.chain([&mut self.deliveries]).for_each(|deliveries| deliveries.retain(&mut wanted));
    }

    /// As [`Shot::singles`], to be changed.
    pub fn singles_mut(&mut self) -> &mut [Self] {
        if self.reel.is_none() {
            return std::slice::from_mut(self);
        }
        self.reel.as_mut().map_or(&mut [], |reel| &mut reel.shots)
    }

    /// The shots of a reel, or the one shot that this is.
    #[must_use]
    pub fn singles(&self) -> &[Self] {
        self.reel.as_ref().map_or(std::slice::from_ref(self), |reel| &reel.shots)
    }
}

/// `stills { … }` or `recording { … }`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Source {
    /// The call.
    pub place: Place,
    /// Folders, patterns or files as written; relative ones start at the script's folder.
    pub paths: Vec<String>,
    /// Seconds between stills, filling in where there are no capture times.
    pub interval: Option<f64>,
    /// What to do where a still is missing.
    pub missing: Policy,
    /// What to do where a still is damaged.
    pub damaged: Policy,
    /// The first moment used, on the shoot's axis.
    pub from: Option<Placed<Moment>>,
    /// The last moment used, on the shoot's axis.
    pub to: Option<Placed<Moment>>,
    /// What is left out between them, in any order.
    pub cuts: Vec<Cut>,
    /// Which stills are chosen by their own clock.
    #[serde(skip_serializing_if = "Chosen::is_all")]
    pub chosen: Chosen,
    /// Whether what lies on the two sides of a break is mixed, levelled and steadied as if nothing had been left out.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub across: bool,
    /// Whether the stills' orientation tags are obeyed (`orientation = "ignore"` turns that off).
    pub obey_orientation: bool,
    /// Which of two pictures of one name and different kinds is the still.
    pub pairs: Pairs,
    /// The camera whose stills are meant, where there are several's; `"any"` takes all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// Whether the one path is a recorded video, each frame a still: `recording { … }`.
    pub recorded: bool,
}

/// Which of two pictures that have one name and are of different kinds is the still, as of a camera that writes both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Pairs {
    /// None: the shoot is refused, and both are named.
    #[default]
    Stop,
    /// The one of this kind by its content; the other is set aside. Without one of it, as [`Pairs::Stop`].
    Use(Format),
}

impl Pairs {
    /// What a script may say.
    pub const KEYWORDS: [&'static str; 7] = ["stop", "jpeg", "png", "tiff", "webp", "heic", "avif"];

    /// From one of them.
    #[must_use]
    pub fn from_keyword(keyword: &str) -> Option<Self> {
        Self::KEYWORDS.iter().position(|known| *known == keyword).map(|at| Self::ALL[at])
    }

    /// The word for it.
    #[must_use]
    pub fn keyword(self) -> &'static str {
        Self::ALL.iter().position(|known| *known == self).map_or("stop", |at| Self::KEYWORDS[at])
    }

    /// In the order of the words.
    const ALL: [Self; 7] = [
        Self::Stop,
        Self::Use(Format::Jpeg),
        Self::Use(Format::Png),
        Self::Use(Format::Tiff),
        Self::Use(Format::Webp),
        Self::Use(Format::Heic),
        Self::Use(Format::Avif),
    ];
}

/// `cut(from, to)`: stills left out, both ends among them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cut {
    /// The `cut(…)` call.
    pub place: Place,
    /// The first moment left out, on the shoot's axis.
    pub from: Moment,
    /// The last moment left out, on the shoot's axis.
    pub to: Moment,
}

/// What a script wants done about a missing or damaged still.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Policy {
    /// Refuse the shoot.
    #[default]
    Stop,
    /// Show the still before it in its place.
    Hold,
    /// Take no time for it.
    Skip,
}

/// A moment, on either axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Moment {
    /// Seconds of screen time.
    Screen(f64),
    /// A timecode at the shot's rate: a count of its frames.
    Timecode(u64),
    /// The first frame (framing) or the shoot's beginning (pace).
    Start,
    /// Each delivery's last frame (framing) or the shoot's end (pace).
    End,
    /// A slot counted from 1; negative counts from the last.
    Still(i64),
    /// A slot by its file name without extension.
    StillNamed(String),
    /// The camera's local time.
    Clock(Clock),
    /// A fraction of the shoot, 0 to 1.
    Part(f64),
}

/// A local time as a script writes it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Clock {
    /// Which day.
    pub day: ClockDay,
    /// The time of day.
    pub time: Time,
    /// As written.
    pub text: String,
}

/// The day of a [`Clock`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum ClockDay {
    /// The only day it occurs on; refused where there are several.
    Only,
    /// The n-th day of the shoot, from 1.
    Nth(u32),
    /// A date.
    On(Date),
}

/// How fast the shoot position advances.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Pace {
    /// One rate throughout.
    Constant(Rate),
    /// The whole shoot in this many seconds.
    Over(f64),
    /// Keys on one axis.
    Keyed {
        /// In the order written, at least one of them with a rate.
        keys: Vec<PaceKey>,
        /// Seconds the whole is scaled to last.
        fit: Option<Placed<f64>>,
    },
    /// By how much happens in the stills.
    Lively(Lively),
}

/// One key of a pace: a rate, a freeze, or both.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PaceKey {
    /// The `key { … }` call.
    pub place: Place,
    /// When.
    pub at: Moment,
    /// How fast there; none where the key only freezes, and the way goes on past it.
    pub rate: Option<Rate>,
    /// Seconds the shoot rests there.
    pub freeze: Option<f64>,
    /// The way to this key from the one before, in the rate.
    pub ease: Ease,
    /// Whether `fit` leaves the section from the key before to this one alone.
    pub keep: bool,
    /// Whether the way to this key runs backwards.
    pub reverse: bool,
}

/// How fast, in a unit of the trade. All above zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Rate {
    /// Stills a frame of the shot's rate.
    StillsPerFrame(f64),
    /// Frames of the shot's rate a still.
    FramesPerStill(f64),
    /// A multiple of real time; needs capture times or an interval.
    Times(f64),
    /// Percent of one still a frame.
    Percent(f64),
}

/// The keyed track of windows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Framing {
    /// The `framing { … }` call, or the shot's where there is none.
    pub place: Place,
    /// In the order written; none means the largest window throughout.
    pub keys: Vec<FramingKey>,
    /// The line the window follows from key to key.
    pub path: Path,
}

/// The line a window follows from key to key.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Path {
    /// Straight from one window to the next.
    #[default]
    Straight,
    /// One curve through all keys, passed at even speed.
    Smooth,
    /// Up, across and down again between any two keys.
    Flight {
        /// How much is zoomed for how much is panned, above 0.
        rho: f64,
    },
    /// A line drawn over the still, from the first key to the last; keys say how close.
    Drawing(Drawing),
    /// The smoothest that keeps a subject in frame; keys say where it is at some stills.
    Follow(Follow),
    /// As a table says.
    Table(Listed),
    /// The smoothest that holds the part in which most happens; no keys.
    Action(Action),
}

/// How the part in which most happens is held.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Action {
    /// How close: 1 is the largest window inside the still, 2 half as wide; at least 1.
    pub zoom: f64,
    /// How reluctantly the window moves, 0 to 1.
    pub calm: f64,
}

impl Action {
    /// How close where nothing else is said.
    pub const ZOOM: f64 = 1.0;
    /// How reluctant where nothing else is said.
    pub const CALM: f64 = 0.8;
}

/// A pace that runs through what is idle and slows where things happen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lively {
    /// How long all of the shoot lasts, in seconds.
    pub seconds: f64,
    /// The slowest rate; a share of the even one where none.
    pub slowest: Option<Rate>,
    /// The fastest rate; a multiple of the even one where none.
    pub fastest: Option<Rate>,
}

impl Lively {
    /// The slowest rate where nothing else is said, of the even one.
    pub const SLOWEST: f64 = 1.0 / 3.0;
    /// The fastest.
    pub const FASTEST: f64 = 4.0;
}

/// How a subject is followed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Follow {
    /// Fraction of the frame's side kept free around the subject on each side, within the delivery's safe box.
    pub margin: f64,
    /// How close; none where the window follows the subject's size.
    pub closeness: Option<Closeness>,
    /// How it is tracked from its keys, where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub track: Option<Tracked>,
}

/// `cover { … }`: a box of the still of which nothing is shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cover {
    /// The call.
    pub place: Place,
    /// Where it is: one box throughout, or keys in the order written.
    pub area: CoverArea,
    /// The first moment covered, on the shoot's axis; its beginning where none.
    pub from: Option<Placed<Moment>>,
    /// The last moment covered, on the shoot's axis; its end where none.
    pub to: Option<Placed<Moment>>,
    /// What is shown instead.
    pub with: CoverWith,
    /// How what it hides is tracked from its keys, where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub track: Option<Tracked>,
}

/// Where a cover is.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum CoverArea {
    /// The same box in all stills.
    Still(StillBox),
    /// A box that moves from key to key, at least two, or one where it is tracked.
    Keyed(Vec<CoverKey>),
}

/// One key of a cover that moves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoverKey {
    /// The `key { … }` call.
    pub place: Place,
    /// When, on the shoot's axis.
    pub at: Moment,
    /// The box there.
    pub area: StillBox,
    /// The way to this key from the one before.
    pub ease: Ease,
}

/// What a cover shows in place of the still.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum CoverWith {
    /// Mid grey: nothing of the still.
    #[default]
    Fill,
    /// The means of its four quarters, blended into one another: four colours a still, and nothing else.
    Blur,
}

/// One key of a framing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FramingKey {
    /// The `key { … }` call.
    pub place: Place,
    /// When.
    pub at: Moment,
    /// Which window.
    pub view: View,
    /// The way to this key from the one before.
    pub ease: Ease,
    /// Seconds of screen time the window rests here before the next way begins, 0 or more.
    pub hold: f64,
    /// Whether the window comes to rest here and sets off from rest.
    pub stop: bool,
    /// How far the window is turned clockwise about its centre, in degrees, -360 to 360; 0 is upright.
    pub roll: f64,
}

/// Which window, before it is known for which frame shape and which still.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum View {
    /// A point of the still at a place of the frame, at a closeness.
    On {
        /// The point.
        point: StillPoint,
        /// How close.
        closeness: Closeness,
    },
    /// The smallest window that holds a box with a margin around it.
    Show {
        /// The box.
        area: StillBox,
        /// Fraction of the frame's side kept free on each side, 0 to below 0.5.
        margin: f64,
    },
    /// Where the subject of a follow is by then: on the shoot's axis, where "start" and "end" are the first and last
    /// still.
    Subject {
        /// The box around it.
        area: StillBox,
    },
    /// Wherever the drawing is by then, at a closeness.
    Along {
        /// How close.
        closeness: Closeness,
    },
    /// As a table writes it.
    Window(Written),
}

/// How close.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Closeness {
    /// 1 is the largest window of the delivery's shape inside the still; 2 is half as wide.
    Zoom(f64),
    /// The window's width as a fraction of the still's.
    Span(f64),
}

/// A point over the upright still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum StillPoint {
    /// Fractions of its width and height.
    Fraction(f64, f64),
    /// Continuous pixels.
    Pixels(f64, f64),
}

/// A box over the upright still, in fractions of its width and height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StillBox {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width, above 0.
    pub width: f64,
    /// Height, above 0.
    pub height: f64,
}

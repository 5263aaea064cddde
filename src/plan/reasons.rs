//! Why one frame is as it is: the keys, eases, rates and corrections that decided it, each with its line of the script.

use std::fmt::Write as _;

use serde::{Serialize, Serializer};

use super::{BreakCause, CoveredArea, Row};
use crate::curve::ease::Ease;
use crate::diag::{Diagnostic, Place};
use crate::geom::Window;
use crate::level::Gain;
use crate::register::Pose;
use crate::shot::{CoverWith, StillBox};
use crate::track::SpotState;
use crate::units::Size;

/// What decided one frame of one delivery.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reasons {
    /// The delivery's name.
    pub delivery: String,
    /// Of a reel, the shot that has most of the frame.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shot: Option<ShotReason>,
    /// Its line.
    pub place: Place,
    /// Its frame size in pixels.
    pub size: Size,
    /// Which frame, from 0.
    pub frame: u64,
    /// How many it has.
    pub frames: u64,
    /// When it is shown, in seconds of screen time.
    pub seconds: f64,
    /// Its row of the plan.
    pub row: Row,
    /// Why this still.
    pub still: StillReason,
    /// Why at this position.
    pub pace: PaceReason,
    /// Why this window.
    pub framing: FramingReason,
    /// What is hidden in the still shown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub covers: Vec<CoverReason>,
    /// What is heard, where the delivery keeps sound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<SoundReason>,
    /// What is laid over the frame.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stamps: Vec<StampReason>,
    /// What was said of the keys involved: windows moved inside the still, boxes that do not fit, fast moves.
    pub remarks: Vec<Diagnostic>,
    /// In a mix, the reasons of the shot that has the rest of the frame.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mixed: Option<Box<Reasons>>,
}

/// Which shot of a reel a frame is of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShotReason {
    /// The shot's name.
    pub name: String,
    /// Which of that shot's frames it is, from 0.
    pub frame: u64,
    /// How much of the frame is its, above 0 to 1.
    pub part: f64,
}

/// Why a still is shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StillReason {
    /// The name of the still whose turn it is.
    pub due: String,
    /// The name of the one shown.
    pub shown: String,
    /// When that was taken, by the camera's local time, where known.
    pub taken: Option<String>,
    /// What is wrong with the one due, where another is shown.
    pub held: Option<String>,
    /// The stills whose mean the frame is, whose light it gathers, or between which it is invented, with their weights in
    /// parts of [`super::Share::WHOLE`]; none where one fills it alone.
    pub parts: Vec<(String, u32)>,
    /// By what its source chooses stills, in words; empty where it takes all.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub chosen: String,
    /// The breaks that one of its stills is beside, each with the names of the last still before it and the first after.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub breaks: Vec<(String, String, BreakCause)>,
    /// The line that makes a loop of the clip, where the stills of the next lap are mixed in.
    pub join: Option<Place>,
    /// The source's line, which says what to do about that.
    pub place: Place,
    /// How its light is levelled, where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level: Option<LevelReason>,
    /// How its stills are steadied, where they are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steady: Option<SteadyReason>,
}

/// How a frame's stills are steadied.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SteadyReason {
    /// The line that asks for it.
    pub place: Place,
    /// The name of the still that the first view is.
    pub first: String,
    /// The frame's stills by name, each with how it lies against the first view and what is painted of it.
    pub stills: Vec<(String, Pose, Window)>,
}

/// How a still's light is levelled.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LevelReason {
    /// The line that asks for it.
    pub place: Place,
    /// What is done to its linear light.
    pub gain: Gain,
    /// The light it has and the light it is brought to, over the first still's, where it was measured.
    pub levels: Option<[f64; 2]>,
}

/// A cover on the still shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoverReason {
    /// Its line.
    pub place: Place,
    /// What it hides.
    pub area: CoveredArea,
}

/// A stamp over a frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StampReason {
    /// Its line.
    pub place: Place,
    /// What it says; none of a picture.
    pub text: Option<String>,
    /// The file of its picture.
    pub picture: Option<String>,
    /// The still that it tells of.
    pub of: String,
}

/// What is heard when a frame comes on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SoundReason {
    /// The line that keeps sound.
    pub place: Place,
    /// How fast the recording runs there: 1 is real time, below 0 is backwards.
    pub pace: f64,
    /// The second of the recording that is heard, and what its samples are multiplied by; none in silence.
    pub heard: Option<(f64, f64)>,
}

/// Why the shoot stands where it does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PaceReason {
    /// The pace's line.
    pub place: Place,
    /// Stills a second, fitted where the pace is.
    pub rate: f64,
    /// Where the frame lies between keys of the pace; none where it has none.
    pub way: Option<Way<KeyedRate>>,
    /// The line of `fit` and the seconds it asks for.
    pub fit: Option<(Place, f64)>,
}

/// A key of a pace.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyedRate {
    /// Its line.
    pub place: Place,
    /// Its moment in seconds of screen time.
    pub seconds: f64,
    /// Stills a second as written, before any fit.
    pub rate: f64,
}

/// Why the window is where it is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FramingReason {
    /// The framing's line, or the shot's where it has none.
    pub place: Place,
    /// The line from key to key.
    pub path: PathName,
    /// Where the frame lies between keys of the framing; none where it has none and the largest window fills the frame.
    pub way: Option<Way<KeyedWindow>>,
    /// What is followed, where that decides and not keys of windows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub follow: Option<FollowReason>,
    /// The line of a table that has the frame's window, where one has a window for every frame.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub table: Option<TableReason>,
    /// What happens in the still shown, where that decides and not keys of windows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub action: Option<ActionReason>,
}

/// Which line of a table a frame's window is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableReason {
    /// The table's line.
    pub place: Place,
    /// The window there, in the delivery's shape, where the frame has another one.
    pub written: Option<Window>,
}

/// Why a window holds the part that it holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ActionReason {
    /// The line of the action.
    pub place: Place,
    /// How much moves in the still, in tiles that are all in motion.
    pub moves: f64,
    /// Tiles that a still has.
    pub tiles: usize,
    /// The share of that which the window holds, 0 to 1; none where nothing moves.
    pub held: Option<f64>,
    /// The box around the busiest tiles; none where nothing moves.
    pub area: Option<StillBox>,
    /// Whether the window rests.
    pub rests: bool,
    /// How far the window's edges moved since the frame before, across and down, in pixels of the still.
    pub speed: (f64, f64),
    /// How much that changes at this frame, across and down, in pixels of the still a frame a frame.
    pub acceleration: (f64, f64),
    /// The most it changes anywhere in the clip.
    pub most: (f64, f64),
}

/// Why a window follows as it does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FollowReason {
    /// The line of the follow.
    pub place: Place,
    /// Where the still shown lies between the keys that say where the subject is.
    pub way: Way<KeyedBox>,
    /// Where the subject is in the frame's stills.
    pub area: StillBox,
    /// How that is known, and how sure it is from 0 to 1, where the subject is tracked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tracked: Option<(SpotState, f64)>,
    /// Where in the frame its centre sits, in fractions.
    pub sits: (f64, f64),
    /// Room between it and the nearest edge of the safe part, in fractions of the frame's side; below 0 where it has
    /// none.
    pub room: f64,
    /// How far the window's edges moved since the frame before, across and down, in pixels of the still.
    pub speed: (f64, f64),
    /// How much that changes at this frame, across and down, in pixels of the still a frame a frame.
    pub acceleration: (f64, f64),
    /// The most it changes anywhere in the clip.
    pub most: (f64, f64),
}

/// A key of a follow.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyedBox {
    /// Its line.
    pub place: Place,
    /// Where on the shoot's axis it lies, in stills.
    pub position: f64,
    /// The subject's box.
    pub area: StillBox,
}

/// The line a window follows from key to key, by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PathName {
    /// Straight from one window to the next.
    Straight,
    /// One curve through all keys.
    Smooth,
    /// Up, across and down again.
    Flight,
    /// A line drawn over the still.
    Drawing,
    /// After a subject.
    Follow,
    /// As a table says.
    Table,
    /// Where most happens.
    Action,
}

impl PathName {
    /// What follows the share of a way; nothing for the plain one.
    fn words(self) -> &'static str {
        match self {
            Self::Straight | Self::Follow | Self::Table | Self::Action => "",
            Self::Smooth => " along one smooth curve",
            Self::Flight => " in a flight",
            Self::Drawing => " along the drawing",
        }
    }
}

/// A key of a framing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyedWindow {
    /// Its line.
    pub place: Place,
    /// Its moment in seconds of screen time; before 0 or after the end where a loop leads over its join.
    pub seconds: f64,
    /// Its window for this delivery, inside the still.
    pub window: Window,
}

/// Where a frame lies among keys.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Way<K> {
    /// At a key, or before the first or after the last, whose value holds.
    Holds(K),
    /// Between two.
    Between {
        /// The key before.
        from: K,
        /// The key after, whose ease shapes the way.
        to: K,
        /// How much of the way is behind, 0 to 1: in screen time, or on the shoot's axis for a pace keyed there.
        progress: f64,
        /// The ease, as scripts write it.
        #[serde(serialize_with = "as_written")]
        ease: Ease,
        /// What the ease makes of the progress.
        eased: f64,
    },
}

fn as_written<S: Serializer>(ease: &Ease, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(ease)
}

impl Reasons {
    /// In a few lines, as people read them.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = String::new();
        self.write(&mut out).unwrap_or_else(|error| unreachable!("writing to a string never fails: {error}"));
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "frame {} of 0 to {} of '{}' ({}), at {:.3} s",
            self.frame,
            self.frames.saturating_sub(1),
            self.delivery,
            self.place,
            self.seconds
        )?;
        if let Some(ShotReason { name, frame, part }) = &self.shot {
            let other = self.mixed.as_ref().and_then(|other| other.shot.as_ref());
            let mixed = other.map(|other| format!(", mixed with '{}': {:.1} % is its", other.name, part * 100.0));
            writeln!(out, "shot:   '{name}', whose frame {frame} it is{}", mixed.unwrap_or_default())?;
        }
        let still = &self.still;
        write!(out, "still:  {}", still.shown)?;
        if let Some(taken) = &still.taken {
            write!(out, ", taken {taken}")?;
        }
        match &still.held {
            Some(wrong) => writeln!(
                out,
                "; it is still({})'s turn, {}, which {wrong}: the still before is held ({})",
                self.row.slot.0 + 1,
                still.due,
                still.place
            )?,
            None => writeln!(out, ", still({})", self.row.slot.0 + 1)?,
        }
        if let ([(first, _), (second, weight)], true) = (still.parts.as_slice(), self.row.layers.are_invented()) {
            let way = f64::from(*weight) * 100.0 / f64::from(super::Share::WHOLE);
            writeln!(
                out,
                "  invented by motion between {first} and {second}, {way:.1} % of the way: no still shows it"
            )?;
        } else if let (Some(gathered), [(first, _), .., (last, _)]) =
            (self.row.layers.gathered(), still.parts.as_slice())
        {
            let (by, stills) = (gathered.by.keyword(), still.parts.len());
            writeln!(out, "  the {by} light of {stills} stills, by channel: {first} to {last}")?;
        } else if !still.parts.is_empty() {
            const NAMED: usize = 6;
            let part = |(name, weight): &(String, u32)| {
                format!("{name} {:.1} %", f64::from(*weight) * 100.0 / f64::from(super::Share::WHOLE))
            };
            let mut named: Vec<String> = still.parts.iter().take(NAMED).map(part).collect();
            if still.parts.len() > NAMED {
                named.push(format!("and {} more", still.parts.len() - NAMED));
            }
            writeln!(out, "  the mean of {} stills: {}", still.parts.len(), named.join(", "))?;
        }
        if !still.chosen.is_empty() {
            writeln!(out, "  chosen from its source: {} ({})", still.chosen, still.place)?;
        }
        for (before, after, why) in &still.breaks {
            let why = why.words();
            writeln!(
                out,
                "  beside a break, from {before} to {after}, {why}: nothing is mixed across ({})",
                still.place
            )?;
        }
        if let Some(place) = &still.join {
            writeln!(out, "  the loop's end gives way to its beginning ({place})")?;
        }
        if let Some(LevelReason { place, gain: Gain { light: [red, green, blue], white }, levels }) = &still.level {
            write!(out, "level:  light times {red:.4} red, {green:.4} green, {blue:.4} blue")?;
            if let Some([level, target]) = levels {
                write!(out, ": from {level:.4} to {target:.4} of the first still's")?;
            }
            if *white < 1.0 {
                write!(out, ", light above {white:.4} white, as it is across the step of exposure")?;
            }
            writeln!(out, " ({place})")?;
        }
        if let Some(steady) = &still.steady {
            steady.write(out)?;
        }
        for CoverReason { place, area } in &self.covers {
            let CoveredArea { x, y, width, height, with, .. } = area;
            let with = if *with == CoverWith::Blur { "blurred" } else { "filled" };
            writeln!(out, "  covered: {width} by {height} px at {x}, {y}, {with} ({place})")?;
        }
        write!(out, "pace:   position {:.3}, {:.3} stills a second", self.row.position, self.pace.rate)?;
        match &self.pace.way {
            None => write!(out, " throughout ({})", self.pace.place)?,
            Some(Way::Holds(key)) => write!(out, ", held from the key of {:.3} a second ({})", key.rate, key.place)?,
            Some(Way::Between { from, to, progress, ease, eased }) => {
                write!(
                    out,
                    ": {} from {:.3} a second ({}) ",
                    on_the_way(*progress, *eased, ease),
                    from.rate,
                    from.place
                )?;
                write!(out, "to {:.3} ({})", to.rate, to.place)?;
            }
        }
        match &self.pace.fit {
            Some((place, seconds)) => writeln!(out, "; scaled to fit {seconds} s ({place})")?,
            None => writeln!(out)?,
        }
        writeln!(
            out,
            "window: {}; {:.3} pixels of the frame for one of the still",
            written(self.row.window),
            self.row.window.enlargement(self.size)
        )?;
        match &self.framing.way {
            None if self.framing.follow.is_some() || self.framing.action.is_some() => {}
            None if self.framing.table.is_some() => {}
            None => writeln!(out, "  no keys: the largest window of the frame's shape ({})", self.framing.place)?,
            Some(Way::Holds(key)) => writeln!(out, "  holds the key at {:.3} s ({})", key.seconds, key.place)?,
            Some(Way::Between { from, to, progress, ease, eased }) => {
                writeln!(out, "  {}{}", on_the_way(*progress, *eased, ease), self.framing.path.words())?;
                for (word, key) in [("from", from), ("to", to)] {
                    let window = written(key.window);
                    writeln!(out, "  {word:4}  {window}, the key at {:.3} s ({})", key.seconds, key.place)?;
                }
            }
        }
        if let Some(table) = &self.framing.table {
            table.write(out, &self.framing.place)?;
        }
        if let Some(follow) = &self.framing.follow {
            follow.write(out)?;
        }
        if let Some(action) = &self.framing.action {
            action.write(out)?;
        }
        for StampReason { place, text, picture, of } in &self.stamps {
            match (text, picture) {
                (Some(text), _) => writeln!(out, "stamp:  \"{}\", of {of} ({place})", crate::diag::fit(text))?,
                (None, Some(picture)) => writeln!(out, "stamp:  {} ({place})", crate::diag::fit(picture))?,
                (None, None) => {}
            }
        }
        if let Some(SoundReason { place, pace, heard }) = &self.sound {
            match heard {
                Some((second, gain)) => write!(out, "sound:  the recording's at {second:.3} s, times {gain:.3}")?,
                None => write!(out, "sound:  none, at {pace:.3} times real time")?,
            }
            writeln!(out, " ({place})")?;
        }
        for remark in &self.remarks {
            let place = remark.place.as_ref().map(|place| format!(" ({place})")).unwrap_or_default();
            writeln!(out, "  remark: {}{place}", remark.message)?;
        }
        if let Some(mixed) = &self.mixed {
            let part = mixed.shot.as_ref().map_or(0.0, |shot| shot.part);
            writeln!(out, "\nmixed with, for {:.1} % of it:", part * 100.0)?;
            mixed.write(out)?;
        }
        Ok(())
    }
}

impl SteadyReason {
    fn write(&self, out: &mut String) -> std::fmt::Result {
        const NAMED: usize = 6;
        for (name, Pose { x, y, turn }, window) in self.stills.iter().take(NAMED) {
            let (across, down) = (if *x < 0.0 { "left" } else { "right" }, if *y < 0.0 { "up" } else { "down" });
            let turned = if *turn == 0.0 { String::new() } else { format!(" and turned {turn:.4} degrees clockwise") };
            writeln!(
                out,
                "steady: {name} lies {:.2} px {across} and {:.2} px {down}{turned} against {}: painted from {} ({})",
                x.abs(),
                y.abs(),
                self.first,
                written(*window),
                self.place
            )?;
        }
        if self.stills.len() > NAMED {
            writeln!(out, "steady: and {} more", self.stills.len() - NAMED)?;
        }
        Ok(())
    }
}

impl TableReason {
    fn write(&self, out: &mut String, framing: &Place) -> std::fmt::Result {
        write!(out, "  as a table has it for this frame ({}), which {framing} names", self.place)?;
        match self.written {
            None => writeln!(out),
            Some(window) => writeln!(out, "; there it is {}, and was moved inside", written(window)),
        }
    }
}

impl FollowReason {
    /// How a box is known that no key gives.
    fn write_tracked(&self, out: &mut String) -> std::fmt::Result {
        let Some((state, confidence)) = self.tracked else { return Ok(()) };
        let how = match state {
            SpotState::Keyed | SpotState::Seen => format!("found there by tracking, {confidence:.2} sure"),
            SpotState::Doubted => format!("found there by tracking, {confidence:.2} sure: it may be something else"),
            SpotState::Lost => "held there, wider and wider: it is lost".into(),
        };
        writeln!(out, ", {how} ({})", self.place)
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        write!(out, "  follows the subject, {}", boxed(self.area))?;
        match &self.way {
            _ if self.tracked.is_some_and(|(state, _)| state != SpotState::Keyed) => self.write_tracked(out)?,
            Way::Holds(key) => writeln!(out, ", where the key at position {:.3} has it ({})", key.position, key.place)?,
            Way::Between { from, to, progress, ease, eased } => {
                writeln!(out, ", {} ({})", on_the_way(*progress, *eased, ease).trim_end_matches(','), self.place)?;
                for (word, key) in [("from", from), ("to", to)] {
                    writeln!(
                        out,
                        "  {word:4}  {}, the key at position {:.3} ({})",
                        boxed(key.area),
                        key.position,
                        key.place
                    )?;
                }
            }
        }
        let room = if self.room >= -1e-6 { "free" } else { "too little" };
        writeln!(
            out,
            "  its centre sits at {:.3}, {:.3} of the frame; {:.1} % of the frame {room} to the nearest edge of its safe part",
            self.sits.0,
            self.sits.1,
            self.room.abs() * 100.0
        )?;
        writeln!(
            out,
            "  edges move {:.3} px of the still across and {:.3} down, changing by {:.4} and {:.4} a frame ({:.4} and {:.4} at most in the clip)",
            self.speed.0, self.speed.1, self.acceleration.0, self.acceleration.1, self.most.0, self.most.1
        )
    }
}

impl ActionReason {
    fn write(&self, out: &mut String) -> std::fmt::Result {
        match (self.held, self.area) {
            (Some(held), Some(area)) => writeln!(
                out,
                "  goes where most moves: {:.1} of {} tiles move in this still, most of it in {}; the window holds {:.1} % of \
                 what moves ({})",
                self.moves,
                self.tiles,
                boxed(area),
                held * 100.0,
                self.place
            )?,
            _ => writeln!(out, "  goes where most moves: nothing moves in this still ({})", self.place)?,
        }
        if self.rests {
            return writeln!(out, "  it rests: what moves around this moment is in it, or not worth the way");
        }
        writeln!(
            out,
            "  edges move {:.3} px of the still across and {:.3} down, changing by {:.4} and {:.4} a frame ({:.4} and {:.4} at most in the clip)",
            self.speed.0, self.speed.1, self.acceleration.0, self.acceleration.1, self.most.0, self.most.1
        )
    }
}

/// A box as scripts write it.
fn boxed(area: StillBox) -> String {
    format!("box({:.3}, {:.3}, {:.3}, {:.3})", area.x, area.y, area.width, area.height)
}

/// `1920.00 by 1080.00 at 10.00, 20.00, rolled by 5.00 degrees`.
fn written(window: Window) -> String {
    let Window { x, y, width, height, roll } = window;
    let rolled = if roll == 0.0 { String::new() } else { format!(", rolled by {roll:.2} degrees") };
    format!("{width:.2} by {height:.2} at {x:.2}, {y:.2}{rolled}")
}

/// `40.0 % of the way, which "ease-in-out" makes 33.2 %`.
fn on_the_way(progress: f64, eased: f64, ease: &Ease) -> String {
    match ease {
        Ease::Linear => format!("{:.1} % of the way", progress * 100.0),
        _ => format!("{:.1} % of the way, which {ease} makes {:.1} %,", progress * 100.0, eased * 100.0),
    }
}

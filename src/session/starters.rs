//! The texts of three starter scripts for a shoot that was looked at: each a move about the place where most happens,
//! with remarks why.

use std::fmt::Write as _;
use std::path::Path;

use super::starter;
use crate::curve::dwell::{Stage, dwell};
use crate::measures::Activity;
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// What the three are called after the script's own name.
pub(super) const NAMES: [&str; 3] = ["push-in", "wide", "vertical"];

/// How close the windows about the action come, and how much of the way the wide one has come to rest after.
const NEAR: f64 = 1.25;
const RESTS_AT: f64 = 0.7;
/// The place is that of a window so close: one that is hardly closer than the largest could be anywhere.
const SOUGHT: f64 = 2.5;
/// Below so many tiles' worth in all of a shoot nothing moves.
const NOTHING: f64 = 1.0;

/// The place about which most happens.
struct Busy {
    /// In fractions of the still.
    at: [f64; 2],
    /// The share of all that happens that a window at [`NEAR`] around it holds.
    held: f64,
    /// The share of stills in which something happens.
    stills: f64,
}

impl Busy {
    /// None where nothing moves.
    fn of(shoot: &Shoot, activity: &Activity) -> Option<Self> {
        let tiles = activity.tiles().map(|tiles| tiles.max(1));
        let mut sum = vec![0.0_f32; tiles[0] * tiles[1]];
        let (mut steps, mut busy) = (0.0_f64, 0.0_f64);
        for step in (0..shoot.slots.len()).filter_map(|slot| activity.step(SlotIndex(slot))) {
            steps += 1.0;
            busy += f64::from(u8::from(step.iter().any(|tile| *tile > 0)));
            sum.iter_mut().zip(step).for_each(|(sum, tile)| *sum += f32::from(*tile) / f32::from(Activity::FULL));
        }
        let all: f64 = sum.iter().map(|tile| f64::from(*tile)).sum();
        if all < NOTHING {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "tens of tiles")]
        let sides = tiles.map(|tiles| tiles as f64);
        let stage =
            |window: [f64; 2]| Stage { tiles, from: [0.0; 2], to: sides, window, inner: [0.0; 2], held: window };
        let small = sides.map(|side| side / SOUGHT);
        let corner = *dwell(std::slice::from_ref(&sum), &stage(small), 0.0)?.first()?;
        let hundredths = |of: f64| (of * 100.0).round() / 100.0;
        let at = [0, 1].map(|side| hundredths((corner[side] + small[side] / 2.0) / sides[side]));
        let near = sides.map(|side| side / NEAR);
        let inside = |side: usize| (at[side] * sides[side] - near[side] / 2.0).clamp(0.0, sides[side] - near[side]);
        let held = stage(near).holds(&sum, [inside(0), inside(1)]) / all;
        Some(Self { at, held, stills: busy / steps })
    }

    fn why(&self) -> String {
        format!(
            "-- Something moves in {:.0} % of the stills. Most of it lies about point({}, {}): a window {NEAR} times as close there\n\
             -- holds {:.0} % of all that moves. What the wind, water, clouds and lamps do counts little.\n",
            self.stills * 100.0,
            self.at[0],
            self.at[1],
            self.held * 100.0
        )
    }
}

/// The three texts, in the order of [`NAMES`], of scripts with these file names, for stills that they find at
/// `source` and that people know as `folder`. None where nothing moves.
pub(super) fn texts(
    shoot: &Shoot,
    activity: &Activity,
    (source, folder): (&str, &str),
    files: &[&Path],
) -> Option<Vec<String>> {
    let busy = Busy::of(shoot, activity)?;
    let point = format!("point({}, {})", busy.at[0], busy.at[1]);
    let near = format!(
        "-- How close the window is to it; `--set near=1.5` sets it from outside.\n\
         local near = dial(\"near\", {NEAR}, {{ min = 1, max = 8, help = \"how close the window comes\" }})\n"
    );
    let push_in = Script {
        what: "A slow push-in on the part in which most happens",
        why: busy.why()
            + "-- The window comes closer evenly from the first frame to the last, so nobody sees it begin or end.\n",
        dials: near.clone(),
        framing: format!("moves.push_in {{ on = {point}, to = near }}"),
        deliveries: &["wide", "square"],
    };
    let wide = Script {
        what: "A wide that begins about the part in which most happens and ends at rest",
        why: busy.why()
            + "-- The window draws back from there and rests as wide as it can for the last third: room for a title, and for a cut.\n",
        dials: near,
        framing: format!("moves.pull_out {{ on = {point}, from = near, stop = part({RESTS_AT}) }}"),
        deliveries: &["wide"],
    };
    let vertical = Script {
        what: "A vertical that goes where most happens",
        why: busy.why()
            + "-- A tall window holds less than half of a still's width, so this one moves: to what moves in the stills, and only\n\
               -- where that pays. `stillpath explain` says for every frame how much of it the window holds.\n",
        dials: "-- How reluctantly the window moves, from 0 to 1.\n\
                local calm = dial(\"calm\", 0.8, { min = 0, max = 1, help = \"how reluctantly the window moves\" })\n"
            .into(),
        framing: "moves.action { zoom = 1, calm = calm }".into(),
        deliveries: &["vertical"],
    };
    let scripts = [push_in, wide, vertical];
    Some(scripts.iter().zip(files).map(|(script, file)| script.text(shoot, source, folder, file)).collect())
}

/// One of the three.
struct Script {
    what: &'static str,
    why: String,
    dials: String,
    framing: String,
    deliveries: &'static [&'static str],
}

impl Script {
    fn text(&self, shoot: &Shoot, source: &str, folder: &str, file: &Path) -> String {
        let Self { what, why, dials, framing, deliveries } = self;
        let mut rows = String::new();
        for (name, frame) in starter::deliveries(shoot.size).iter().filter(|(name, _)| deliveries.contains(name)) {
            let _infallible =
                writeln!(rows, "    delivery {{ \"{name}\", frame = {{ {}, {} }} }},", frame.width, frame.height);
        }
        format!(
            "-- {what}.\n--\n{head}--\n{steps}--\n{why}
local moves = require \"moves\"

{dials}
return shot {{
  source = {called} {{
    {source:?},
{policies}{interval}  }},

  fps = {fps},

{pace}  --     moves.liveliest {{ length = \"20s\" }}, which runs through what is idle and slows where things happen.

  framing = {framing},

  deliveries = {{
{rows}  }},
}}
",
            head = starter::head(shoot, folder),
            steps = starter::steps(folder, file),
            called = if shoot.recording.is_some() { "recording" } else { "stills" },
            policies = starter::policies(shoot),
            interval = starter::interval(shoot),
            fps = starter::FPS,
            pace = starter::pace(shoot),
        )
    }
}

//! What differs between two plans: frames of deliveries, and by how much.

use std::fmt::Write as _;

use serde::Serialize;

use super::{DeliveryPlan, Layer, Plan, Row, Stamped, sound};
use crate::geom::Window;

/// Windows nearer than this in every edge are the same, in pixels of the still.
const SAME: f64 = 1e-3;

/// What differs between the plans of two scripts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Differences {
    /// Whether nothing does.
    pub same: bool,
    /// One a shot of either script, those of the script before first.
    pub shots: Vec<ShotDifference>,
}

/// What differs in one shot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShotDifference {
    /// Its name, empty where a script returns one.
    pub shot: String,
    /// Which script has it.
    pub found: Found,
    /// Its length in seconds before and after, where it differs.
    pub length: Option<(f64, f64)>,
    /// One a delivery that either script has.
    pub deliveries: Vec<DeliveryDifference>,
}

/// Which of two scripts has something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Found {
    /// The one before only.
    Before,
    /// The one after only.
    After,
    /// Both.
    Both,
}

/// What differs in one delivery.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeliveryDifference {
    /// Its name.
    pub delivery: String,
    /// Which script has it.
    pub found: Found,
    /// What it is written as, where that differs: `fps 24, then 30`.
    pub settings: Vec<String>,
    /// How many frames it has before and after, where that differs.
    pub frames: Option<(usize, usize)>,
    /// Frames whose window differs, of those that both have.
    pub windows: Option<WindowChange>,
    /// Frames that show another still.
    pub stills: Option<StillChange>,
    /// Frames of the same still that are otherwise made: of other shares of stills.
    pub shares: Option<Changed>,
}

/// Frames that differ.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Changed {
    /// How many.
    pub count: usize,
    /// First and last frame of each run, from 0.
    pub runs: Vec<(usize, usize)>,
}

/// Windows that differ, in pixels of the still.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct WindowChange {
    /// Which frames.
    #[serde(flatten)]
    pub frames: Changed,
    /// The most the centre has moved.
    pub centre: Most,
    /// The most the width has changed.
    pub width: Most,
}

/// Other stills.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct StillChange {
    /// Which frames.
    #[serde(flatten)]
    pub frames: Changed,
    /// The most slots of the shoot between the two.
    pub apart: Most,
}

/// The most by which something differs, and the first frame where it does.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Most {
    /// By how much.
    pub by: f64,
    /// From 0.
    pub frame: usize,
}

impl Most {
    fn see(&mut self, frame: usize, by: f64) {
        if by > self.by {
            *self = Self { by, frame };
        }
    }
}

impl Changed {
    fn add(&mut self, frame: usize) {
        self.count += 1;
        match self.runs.last_mut() {
            Some(run) if run.1 + 1 == frame => run.1 = frame,
            _ => self.runs.push((frame, frame)),
        }
    }
}

/// Compares the plans of two scripts: shots and deliveries by name, frames by number.
#[must_use]
pub fn differences(before: &[&Plan], after: &[&Plan]) -> Differences {
    let same_name = |one: &&&Plan, other: &&Plan| one.shot == other.shot;
    let mut shots: Vec<ShotDifference> = before
        .iter()
        .map(|plan| match after.iter().find(|other| same_name(other, plan)) {
            Some(other) => shot_difference(plan, other),
            None => only(plan, Found::Before),
        })
        .collect();
    let new = after.iter().filter(|plan| !before.iter().any(|other| same_name(&other, plan)));
    shots.extend(new.map(|plan| only(plan, Found::After)));
    Differences { same: shots.iter().all(ShotDifference::is_none), shots }
}

fn only(plan: &Plan, found: Found) -> ShotDifference {
    ShotDifference { shot: plan.shot.clone(), found, length: None, deliveries: Vec::new() }
}

fn shot_difference(before: &Plan, after: &Plan) -> ShotDifference {
    let lone = |plan: &DeliveryPlan, found| DeliveryDifference {
        delivery: plan.name.clone(),
        found,
        settings: Vec::new(),
        frames: None,
        windows: None,
        stills: None,
        shares: None,
    };
    let named = |plan: &Plan, name: &str| plan.deliveries.iter().position(|delivery| delivery.name == name);
    let mut deliveries: Vec<DeliveryDifference> = before
        .deliveries
        .iter()
        .map(|plan| match named(after, &plan.name) {
            Some(at) => delivery_difference(plan, &after.deliveries[at]),
            None => lone(plan, Found::Before),
        })
        .collect();
    let new = after.deliveries.iter().filter(|plan| named(before, &plan.name).is_none());
    deliveries.extend(new.map(|plan| lone(plan, Found::After)));
    let length = ((before.length - after.length).abs() > 1e-9).then_some((before.length, after.length));
    ShotDifference { shot: before.shot.clone(), found: Found::Both, length, deliveries }
}

fn delivery_difference(before: &DeliveryPlan, after: &DeliveryPlan) -> DeliveryDifference {
    let mut settings = Vec::new();
    let mut differs = |what: &str, before: String, after: String| {
        if before != after {
            settings.push(format!("{what} {before}, then {after}"));
        }
    };
    differs("frame", before.frame.to_string(), after.frame.to_string());
    differs("fps", before.fps.to_string(), after.fps.to_string());
    differs("codec", format!("{:?}", before.codec), format!("{:?}", after.codec));
    differs("sharpness", format!("{:?}", before.sharpness), format!("{:?}", after.sharpness));
    differs("resample", format!("{:?}", before.resample), format!("{:?}", after.resample));
    differs("light", format!("{:?}", before.light), format!("{:?}", after.light));
    let stamps = |plan: &DeliveryPlan| -> Vec<String> { plan.stamps.iter().map(Stamped::look).collect() };
    let (one, other) = (stamps(before), stamps(after));
    if one != other {
        let said = |stamps: Vec<String>| if stamps.is_empty() { "none".to_owned() } else { stamps.join("; ") };
        settings.push(format!("stamps {}, then {}", said(one), said(other)));
    } else if before.rows.iter().zip(&after.rows).any(|(one, other)| says_something_else((before, one), (after, other)))
    {
        settings.push("stamps say something else of the same stills".into());
    }
    if before.sound != after.sound {
        let said =
            |plan: &DeliveryPlan| if plan.sound.is_empty() { "silent".to_owned() } else { sound::heard(&plan.sound) };
        let (before, after) = (said(before), said(after));
        settings.push(if before == after {
            format!("{after}, of other moments")
        } else {
            format!("{before}, then {after}")
        });
    }
    settings.extend(before.extras.differences(&after.extras));
    let (one, other) = (before.rows.len(), after.rows.len());
    let mut found = DeliveryDifference {
        delivery: before.name.clone(),
        found: Found::Both,
        settings,
        frames: (one != other).then_some((one, other)),
        windows: None,
        stills: None,
        shares: None,
    };
    // Frames of another rate are other moments: nothing would be said by comparing them.
    if before.fps == after.fps {
        for (frame, (before, after)) in before.rows.iter().zip(&after.rows).enumerate() {
            found.compare(frame, before, after);
        }
    }
    found
}

impl DeliveryDifference {
    fn compare(&mut self, frame: usize, before: &Row, after: &Row) {
        if !near(before.window, after.window) {
            let change = self.windows.get_or_insert_default();
            change.frames.add(frame);
            change.centre.see(frame, before.window.centre().distance(after.window.centre()));
            change.width.see(frame, (before.window.width - after.window.width).abs());
        }
        if before.shown != after.shown {
            let change = self.stills.get_or_insert_default();
            change.frames.add(frame);
            change.apart.see(frame, before.shown.0.abs_diff(after.shown.0) as f64);
        } else if is_otherwise_made(before, after) {
            self.shares.get_or_insert_default().add(frame);
        }
    }

    /// Whether nothing differs.
    #[must_use]
    pub fn is_none(&self) -> bool {
        let nothing = self.frames.is_none() && self.windows.is_none() && self.stills.is_none() && self.shares.is_none();
        self.found == Found::Both && self.settings.is_empty() && nothing
    }

    /// What differs, each in a line with the frames it is about; no frames where it is about all.
    #[must_use]
    pub fn said(&self) -> Vec<(String, &[(usize, usize)])> {
        let mut said: Vec<(String, &[(usize, usize)])> =
            self.settings.iter().map(|setting| (setting.clone(), &[][..])).collect();
        if self.settings.iter().any(|setting| setting.starts_with("fps ")) {
            said.push(("its frames are at different moments and are not compared".into(), &[]));
        }
        if let Some((before, after)) = self.frames {
            said.push((format!("{before} frames, then {after}"), &[]));
        }
        if let Some(WindowChange { frames, centre, width }) = &self.windows {
            let mut text =
                format!("window: {}: centre by up to {:.2} px (frame {})", frames.named(), centre.by, centre.frame);
            if width.by > SAME {
                text += &format!(", width by up to {:.2} px (frame {})", width.by, width.frame);
            }
            said.push((text, &frames.runs));
        }
        if let Some(StillChange { frames, apart }) = &self.stills {
            let noun = if apart.by > 1.0 { "stills" } else { "still" };
            let text = format!("still: {}: up to {} {noun} away (frame {})", frames.named(), apart.by, apart.frame);
            said.push((text, &frames.runs));
        }
        if let Some(frames) = &self.shares {
            said.push((format!("shares of stills: {}", frames.named()), &frames.runs));
        }
        said
    }
}

impl ShotDifference {
    fn is_none(&self) -> bool {
        self.found == Found::Both && self.length.is_none() && self.deliveries.iter().all(DeliveryDifference::is_none)
    }
}

impl Changed {
    /// `frame 12`, `frames 12 to 48 and 3 more stretches (120 in all)`.
    fn named(&self) -> String {
        const SHOWN: usize = 4;
        let run = |(first, last): &(usize, usize)| {
            if first == last { first.to_string() } else { format!("{first} to {last}") }
        };
        let mut runs: Vec<String> = self.runs.iter().take(SHOWN).map(run).collect();
        if self.runs.len() > SHOWN {
            runs.push(format!("{} more stretches", self.runs.len() - SHOWN));
        }
        let (last, firsts) =
            runs.split_last().map_or((String::new(), &[][..]), |(last, firsts)| (last.clone(), firsts));
        let listed = if firsts.is_empty() { last } else { format!("{} and {last}", firsts.join(", ")) };
        let noun = if self.count == 1 { "frame" } else { "frames" };
        let sum = if self.runs.len() > 1 { format!(" ({} in all)", self.count) } else { String::new() };
        format!("{noun} {listed}{sum}")
    }
}

impl Differences {
    /// As people read it.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = String::new();
        if self.same {
            out += "no difference\n";
        }
        for shot in self.shots.iter().filter(|shot| !shot.is_none()) {
            let name = if shot.shot.is_empty() { "the shot".to_owned() } else { format!("shot '{}'", shot.shot) };
            let _infallible = match (shot.found, shot.length) {
                (Found::Before, _) => writeln!(out, "{name}: only before"),
                (Found::After, _) => writeln!(out, "{name}: only after"),
                (Found::Both, Some((before, after))) => writeln!(out, "{name}: lasts {before:.3} s, then {after:.3} s"),
                (Found::Both, None) if shot.shot.is_empty() => Ok(()),
                (Found::Both, None) => writeln!(out, "{name}"),
            };
            for delivery in &shot.deliveries {
                let _infallible = match delivery.found {
                    Found::Before => writeln!(out, "{}: only before", delivery.delivery),
                    Found::After => writeln!(out, "{}: only after", delivery.delivery),
                    Found::Both if delivery.is_none() => writeln!(out, "{}: no difference", delivery.delivery),
                    Found::Both => writeln!(out, "{}", delivery.delivery),
                };
                for (line, _) in delivery.said() {
                    let _infallible = writeln!(out, "  {line}");
                }
            }
        }
        out
    }
}

/// Whether two frames of the same still are made of other shares of stills, or in another way.
fn is_otherwise_made(one: &Row, other: &Row) -> bool {
    std::mem::discriminant(&one.layers) != std::mem::discriminant(&other.layers)
        || one.layers.gathered().map(|one| one.by) != other.layers.gathered().map(|other| other.by)
        || one.layers.are_several() && !one.shares().eq(other.shares())
}

/// Whether stamps of one look differ in what they say of the same still.
fn says_something_else((before, one): (&DeliveryPlan, &Row), (after, other): (&DeliveryPlan, &Row)) -> bool {
    let slots = [one, other].map(|row| row.layers.dominant().map(Layer::slot));
    let [Some(slot), Some(other)] = slots else { return false };
    slot == other
        && before.stamps.iter().zip(after.stamps.iter()).any(|(one, other)| one.line(slot) != other.line(slot))
}

fn near(one: Window, other: Window) -> bool {
    one.outline().into_iter().zip(other.outline()).all(|(one, other)| one.distance(other) <= SAME)
}

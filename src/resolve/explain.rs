//! Why one frame is as it is: told from the very tracks, pace and rows that the plan is made of.

use crate::curve::pace::Timeline;
use crate::curve::track::SLACK;
use crate::diag::{Diagnostic, Diagnostics, Place, Placed};
use crate::plan::{
    Break, CoverReason, DeliveryPlan, FramingReason, KeyedRate, KeyedWindow, Layer, LevelReason, PaceReason, PathName,
    Reasons, Row, Share, Shows, StampReason, Stamped, SteadyReason, StillReason, Way, covered_in,
};
use crate::shoot::{Content, Shoot};
use crate::shot::{Moment, Pace, PaceKey, Path, Shot};
use crate::units::SlotIndex;

use super::leg::{Pin, Spot};
use super::moments::Moments;
use super::resolved::{Resolved, Seen};
use super::{pace, words};

/// Which frame to explain.
#[derive(Debug, Clone, PartialEq)]
pub enum When {
    /// By its number, from 0.
    Frame(u64),
    /// The frame on screen at a moment of the clip, or the first at or after a moment of the shoot.
    Moment(Moment),
}

impl Resolved {
    /// Says what decided one frame of a delivery, by its place among those of the shot that was resolved over this
    /// shoot.
    ///
    /// # Errors
    /// A frame or moment that the delivery does not have.
    pub fn explain(&self, shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<Reasons, Diagnostics> {
        let mut reasons = explain(&Seen { shot, shoot, made: self }, &self.moments(shoot), delivery, when)?;
        reasons.remarks = remarks_on(&reasons, &self.plan.remarks);
        Ok(reasons)
    }

    /// The keys of the pace that have a rate, in the order written; none where the pace has no keys.
    #[must_use]
    pub fn pace_keys(&self, shot: &Shot, shoot: &Shoot) -> Vec<KeyedRate> {
        let seen = Seen { shot, shoot, made: self };
        let Pace::Keyed { keys, .. } = &shot.pace.value else { return Vec::new() };
        let rated = Rated::of(&seen, &self.moments(shoot), keys);
        (0..rated.keys.len()).map(|index| rated.told(&seen, index)).collect()
    }

    /// The number of the frame that is meant, of a delivery by its place among those of the shot that was resolved over
    /// this shoot.
    ///
    /// # Errors
    /// A moment that the delivery does not have; a number is given back as it is.
    pub fn frame_at(&self, shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<u64, Diagnostic> {
        if shot.deliveries[delivery].every_still && matches!(when, When::Moment(_)) {
            let name = &self.plan.deliveries[delivery].name;
            let words =
                format!("'{name}' is a master: it has a frame for every still, and no pace that a moment belongs to");
            return Err(
                Diagnostic::mistake(words).help("type --frame N for still N of those that are used, counted from 0")
            );
        }
        frame_at(&Seen { shot, shoot, made: self }, &self.moments(shoot), delivery, when)
    }
}

/// The keys of a pace that have a rate.
struct Rated<'a> {
    axis: Timeline,
    /// Whether the pace turns back: a position alone does not say then between which keys it is.
    turns: bool,
    /// Each with where it lies on that axis, and its rate.
    keys: Vec<(&'a PaceKey, f64, f64)>,
}

impl<'a> Rated<'a> {
    fn of(seen: &Seen<'_>, moments: &Moments<'_>, keys: &'a [PaceKey]) -> Self {
        // What is wrong with a key has been said: there is a plan. A key that only rests has no rate of its own.
        let mut said = Diagnostics::default();
        let rated = keys.iter().filter_map(|key| {
            let moved = pace::one_key(seen.shot, key, moments, &mut said)?;
            Some((key, moved.at, moved.rate?))
        });
        let rated = rated.collect();
        let axis = pace::axis_of(&keys[0].at);
        let turns = axis == Timeline::Shoot && keys.iter().any(|key| key.reverse);
        Self { axis, turns, keys: rated }
    }

    fn told(&self, seen: &Seen<'_>, index: usize) -> KeyedRate {
        let (key, at, rate) = self.keys[index];
        let seconds = match self.axis {
            Timeline::Screen => at,
            Timeline::Shoot if self.turns => seen.made.pace.key_time(index).unwrap_or(seen.made.length.0),
            Timeline::Shoot => seen.made.pace.time(at),
        };
        KeyedRate { place: key.place.clone(), seconds, rate }
    }
}

/// The reasons for one frame of the delivery at `index`, remarks still to come.
///
/// # Errors
/// A mistake without a place: no such frame or moment.
fn explain(seen: &Seen<'_>, moments: &Moments<'_>, index: usize, when: &When) -> Result<Reasons, Diagnostic> {
    let (delivery, plan, framed) =
        (&seen.shot.deliveries[index], &seen.made.plan.deliveries[index], &seen.made.tracks[index]);
    if delivery.every_still {
        let words =
            format!("'{}' is a master: its frames are the stills that its source uses, one after the other", plan.name);
        return Err(Diagnostic::mistake(words).help("explain a frame of another delivery"));
    }
    let frame = frame_at(seen, moments, index, when)?;
    let row = usize::try_from(frame).ok().and_then(|frame| plan.rows.get(frame)).cloned();
    let row = row.ok_or_else(|| {
        Diagnostic::mistake(format!(
            "'{}' has frames 0 to {}; seen {frame}",
            plan.name,
            plan.rows.len().saturating_sub(1)
        ))
    })?;
    let seconds = delivery.fps.time_of(frame).0;

    let slots = &seen.shoot.slots;
    let part = |share: Share| (slots[share.shown.0].name.clone(), share.weight);
    let parts = if row.layers.are_several() { row.shares().map(part).collect() } else { Vec::new() };
    let beside = |one: &&Break| row.shares().any(|share| one.is_beside(share.shown));
    let name = |slot: SlotIndex| slots[slot.0].name.clone();
    let breaks = seen.made.plan.breaks.iter().filter(beside);
    let breaks = breaks.map(|one| (name(one.before), name(one.after), one.why)).collect();
    let lap = delivery.fps.time_of(plan.rows.len() as u64).0;
    let joins = |looped: &&Placed<f64>| seen.made.pace.lead() > 0.0 && seconds > lap - looped.value + SLACK;
    let still = StillReason {
        due: slots[row.slot.0].name.clone(),
        shown: slots[row.shown.0].name.clone(),
        taken: seen.shoot.captured(row.shown).map(|captured| captured.local.strftime("%Y-%m-%d %H:%M:%S").to_string()),
        held: match &slots[row.slot.0].content {
            _ if row.slot == row.shown => None,
            Content::Damaged { damage, .. } => Some(crate::diag::fit(&format!("is damaged ({damage})")).into_owned()),
            Content::Missing | Content::Whole(_) => Some("is missing".to_owned()),
        },
        parts,
        chosen: seen.shot.source.chosen.words(),
        breaks,
        join: seen.shot.looped.as_ref().filter(joins).map(|looped| looped.place.clone()),
        place: seen.shot.source.place.clone(),
        level: of_level(seen, row.shown),
        steady: of_steady(seen, &row),
    };

    let told = |pin: &Pin| KeyedWindow { place: pin.key.place.clone(), seconds: pin.at, window: pin.window };
    let way = framed.keyed().map(|keyed| match keyed.spot(seconds) {
        Spot::Pin(pin) => Way::Holds(told(keyed.pin(pin))),
        Spot::Leg(_, leg, eased) => {
            let (from, to, ease) = (told(&leg.from), told(&leg.to), leg.ease.clone());
            let progress = ((seconds - from.seconds) / (to.seconds - from.seconds)).max(0.0);
            Way::Between { from, to, progress, ease, eased }
        }
    });
    let framing = delivery.framing.as_ref().unwrap_or(&seen.shot.framing);
    let follow = framed.followed().zip(usize::try_from(frame).ok()).map(|(one, frame)| one.reason(seen, index, frame));
    let table = framed.listed().zip(usize::try_from(frame).ok()).and_then(|(one, frame)| one.reason(frame));
    let action = framed.acting().zip(usize::try_from(frame).ok());
    let action = action.and_then(|(one, frame)| one.reason(seen, index, frame));
    Ok(Reasons {
        shot: None,
        mixed: None,
        delivery: plan.name.clone(),
        place: delivery.place.clone(),
        size: plan.frame,
        frame,
        frames: plan.rows.len() as u64,
        seconds,
        pace: of_pace(seen, moments, seconds, row.position),
        covers: of_covers(seen, row.shown),
        stamps: of_stamps(seen, plan, &row),
        sound: super::sound::reason(seen, moments, delivery, plan, seconds),
        row,
        still,
        framing: FramingReason {
            place: framing.place.clone(),
            path: (&framing.path).into(),
            way,
            follow,
            table,
            action,
        },
        remarks: Vec::new(),
    })
}

/// How the stills of a row are steadied.
fn of_steady(seen: &Seen<'_>, row: &Row) -> Option<SteadyReason> {
    let steady = seen.made.plan.steady.as_ref()?;
    let name = |slot: SlotIndex| seen.shoot.slots[slot.0].name.clone();
    let one = |(layer, _): (&Layer, u32)| (name(layer.slot()), steady.stand(layer.slot()), layer.window);
    Some(SteadyReason {
        place: steady.place.clone(),
        first: name(steady.first),
        stills: row.layers.each().map(one).collect(),
    })
}

/// How the light of a slot's still is levelled.
fn of_level(seen: &Seen<'_>, shown: SlotIndex) -> Option<LevelReason> {
    let level = seen.made.plan.level.as_ref()?;
    let (gain, levels) = (*level.gains.get(shown.0)?, level.levels.get(shown.0).copied().flatten());
    Some(LevelReason { place: level.place.clone(), gain, levels })
}

/// The covers on a slot's still.
fn of_covers(seen: &Seen<'_>, shown: SlotIndex) -> Vec<CoverReason> {
    let areas = covered_in(&seen.made.plan.covers, shown).iter();
    areas.map(|area| CoverReason { place: seen.shot.covers[area.cover].place.clone(), area: *area }).collect()
}

/// What is laid over a row's frame.
fn of_stamps(seen: &Seen<'_>, plan: &DeliveryPlan, row: &Row) -> Vec<StampReason> {
    let Some(slot) = row.layers.dominant().map(Layer::slot) else { return Vec::new() };
    let one = |stamp: &Stamped| StampReason {
        place: stamp.place.clone(),
        text: stamp.line(slot).map(|line| line.to_string()),
        picture: match &stamp.shows {
            Shows::Picture(image) => Some(image.picture.clone()),
            Shows::Text(_) => None,
        },
        of: seen.shoot.slots[slot.0].name.clone(),
    };
    plan.stamps.iter().map(one).collect()
}

impl From<&Path> for PathName {
    fn from(path: &Path) -> Self {
        match path {
            Path::Straight => Self::Straight,
            Path::Smooth => Self::Smooth,
            Path::Flight { .. } => Self::Flight,
            Path::Drawing(_) => Self::Drawing,
            Path::Follow(_) => Self::Follow,
            Path::Table(_) => Self::Table,
            Path::Action(_) => Self::Action,
        }
    }
}

/// The remarks of a plan that are about the keys a frame lies between.
fn remarks_on(reasons: &Reasons, found: &Diagnostics) -> Vec<Diagnostic> {
    let mut places = match &reasons.framing.way {
        None => Vec::new(),
        Some(Way::Holds(key)) => vec![&key.place],
        Some(Way::Between { from, to, .. }) => vec![&from.place, &to.place],
    };
    places.extend(reasons.framing.follow.as_ref().map(|follow| &follow.place));
    places.extend(reasons.framing.action.as_ref().map(|action| &action.place));
    let named = format!("'{}'", reasons.delivery);
    let frame = usize::try_from(reasons.frame).unwrap_or(usize::MAX);
    // A remark on a table stands at one of its lines, and names the frames of all that it is about.
    let of_table = |place: &Place, remark: &Diagnostic| {
        let runs = remark.frames.iter().flat_map(|frames| &frames.runs);
        let is_its = reasons.framing.table.as_ref().is_some_and(|table| table.place.file == place.file);
        is_its && runs.into_iter().any(|(first, last)| (*first..=*last).contains(&frame))
    };
    let concerns = |remark: &&Diagnostic| {
        let is_placed = |place: &Place| places.contains(&place) || of_table(place, remark);
        remark.place.as_ref().is_some_and(is_placed) && remark.message.contains(&named)
    };
    found.0.iter().filter(concerns).cloned().collect()
}

fn of_pace(seen: &Seen<'_>, moments: &Moments<'_>, seconds: f64, position: f64) -> PaceReason {
    let (way, fit) = match &seen.shot.pace.value {
        Pace::Keyed { keys, fit } => {
            let rated = Rated::of(seen, moments, keys);
            let along = if rated.axis == Timeline::Screen { seconds } else { position };
            let after = if rated.turns {
                seen.made.pace.keys_passed(seconds)
            } else {
                rated.keys.partition_point(|(_, at, _)| *at <= along + SLACK)
            };
            let way = match rated.keys.get(after) {
                Some((key, at, _)) if after > 0 => {
                    let before = rated.keys[after - 1].1;
                    let even = |at: f64| if rated.axis == Timeline::Shoot { seen.made.pace.even(at) } else { at };
                    let (along, before, at) = (even(along), even(before), even(*at));
                    let progress = ((along - before) / (at - before)).max(0.0);
                    let (from, to) = (rated.told(seen, after - 1), rated.told(seen, after));
                    Some(Way::Between { from, to, progress, ease: key.ease.clone(), eased: key.ease.at(progress) })
                }
                _ => Some(Way::Holds(rated.told(seen, after.saturating_sub(1)))),
            };
            (way, fit.as_ref().map(|fit| (fit.place.clone(), fit.value)))
        }
        Pace::Constant(_) | Pace::Over(_) | Pace::Lively(_) => (None, None),
    };
    PaceReason { place: seen.shot.pace.place.clone(), rate: seen.made.pace.rate(seconds), way, fit }
}

/// The number of the frame that is asked for.
fn frame_at(seen: &Seen<'_>, moments: &Moments<'_>, index: usize, when: &When) -> Result<u64, Diagnostic> {
    let (delivery, frames) = (&seen.shot.deliveries[index], seen.made.plan.deliveries[index].rows.len() as u64);
    let last = frames.saturating_sub(1);
    let screen = |seconds: f64| {
        if seconds > seen.made.length.0 + SLACK {
            let message =
                format!("the clip lasts {} s; seen {} s", words::figure(seen.made.length.0), words::figure(seconds));
            return Err(Diagnostic::mistake(message));
        }
        Ok((0..frames).take_while(|frame| delivery.fps.time_of(*frame).0 <= seconds + SLACK).last().unwrap_or(0))
    };
    match when {
        When::Frame(frame) => Ok(*frame),
        When::Moment(Moment::Start) => Ok(0),
        When::Moment(Moment::End) => Ok(last),
        When::Moment(Moment::Screen(seconds)) => screen(*seconds),
        When::Moment(Moment::Timecode(count)) => screen(seen.shot.fps.time_of(*count).0),
        When::Moment(moment) => {
            let position = moments.position(moment)?;
            let rows = &seen.made.plan.deliveries[index].rows;
            let reached = rows.partition_point(|row| row.position < position - crate::units::POSITION_SLACK) as u64;
            let ends = seen.made.pace.position(seen.made.length.0);
            if position > ends + SLACK {
                let message = format!(
                    "that moment is never reached: the clip ends {} stills into the shoot",
                    words::figure(ends)
                );
                return Err(Diagnostic::mistake(message));
            }
            Ok(reached.min(last))
        }
    }
}

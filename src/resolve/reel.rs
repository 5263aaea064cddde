//! A reel: shots resolved one by one, and their frames one after the other in one plan.
//!
//! The stills of all shots stand in one shoot (`Shoot::joined`), those of each after those of the one before, so that
//! the frames of a mix are means of stills like any other, and whatever renders a plan renders a reel.
//!
//! ## Decisions
//!
//! - A mix takes frames from both shots: a reel of 8 s and 6 s mixed over 1 s lasts 13 s. Of `g` frames of a mix the
//!   `n`-th, from 1, has `n / (g + 1)` of the later shot: none shows one of them alone, and neither comes in with a step.
//! - The stills of each side are mixed as they stand in their own frames, every one through its own window and with its
//!   own light: nothing is mixed that was painted before. A frame that is invented between two stills is their mean then.
//! - A shot is long enough for the mixes at both its ends, which do not touch.
//! - Sound goes down and up with the pictures of a mix, along half a cosine each, so that both together are never louder.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::explain::When;
use super::resolved::Resolved;
use super::{Known, MOST_FRAMES, resolve, words};
use crate::diag::{Diagnostic, Diagnostics, Frames};
use crate::level::Gain;
use crate::plan::{
    Break, Chapter, Corrected, Covering, DeliveryPlan, GatherList, Gathered, KeyedRate, KeyedWindow, Layer, Layers,
    Levelling, Lines, Passage, Plan, PosterFrame, Reasons, Row, Share, Shows, Stamped, StandIn, Steadying, Subject,
    Tally, Weighted,
};
use crate::register::Pose;
use crate::shoot::Shoot;
use crate::shot::{Moment, Reel, Shot};
use crate::units::SlotIndex;

/// What a shot or a reel came to.
#[derive(Debug)]
pub enum Made {
    /// One shot.
    Shot(Box<Resolved>),
    /// Several as one.
    Reel {
        /// The plan of all.
        plan: Box<Plan>,
        /// Each by itself, in order.
        shots: Vec<Resolved>,
    },
}

/// Resolves a shot over its shoot; or a reel over its shots' shoots [joined](Shoot::joined), of each of which so much is
/// known.
///
/// # Errors
/// Every mistake found, with remarks among them.
///
/// # Panics
/// Where there are not as many `known` as there are shots.
pub fn resolve_all(shot: &Shot, shoot: &Shoot, known: &[Known<'_>]) -> Result<Made, Diagnostics> {
    let Some(reel) = &shot.reel else { return resolve(shot, shoot, known[0]).map(|made| Made::Shot(Box::new(made))) };
    assert!(reel.shots.len() == known.len() && shoot.members.len() == known.len(), "a shoot for every shot of a reel");
    let (mut found, mut shots) = (Diagnostics::default(), Vec::new());
    for ((shot, member), known) in reel.shots.iter().zip(&shoot.members).zip(known) {
        match resolve(shot, &member.shoot, *known) {
            Ok(made) => shots.push(made),
            Err(mistakes) => found.extend(mistakes),
        }
    }
    if found.refused() {
        return Err(found);
    }
    let joined = joined(shot, reel, shoot, &shots, &mut found);
    match joined.filter(|_| !found.refused()) {
        Some(plan) => Ok(Made::Reel { plan: Box::new(Plan { remarks: found, ..plan }), shots }),
        None => Err(found),
    }
}

impl Made {
    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        match self {
            Self::Shot(made) => &made.plan,
            Self::Reel { plan, .. } => plan,
        }
    }

    /// As [`Resolved::keys`]; those of a reel's shots at their seconds of the reel.
    #[must_use]
    pub fn keys(&self) -> Vec<Vec<KeyedWindow>> {
        let (plan, shots) = match self {
            Self::Shot(made) => return made.keys(),
            Self::Reel { plan, shots } => (plan, shots),
        };
        let mut all = vec![Vec::new(); plan.deliveries.len()];
        for (shot, made) in shots.iter().enumerate() {
            for ((delivery, keys), all) in plan.deliveries.iter().zip(made.keys()).zip(&mut all) {
                let begins = begins(delivery, shot);
                all.extend(keys.into_iter().map(|key| KeyedWindow { seconds: key.seconds + begins, ..key }));
            }
        }
        all
    }

    /// As [`Resolved::used`].
    #[must_use]
    pub fn used(&self) -> f64 {
        match self {
            Self::Shot(made) => made.used(),
            Self::Reel { shots, .. } => shots.iter().map(Resolved::used).sum(),
        }
    }

    /// As [`Resolved::subjects`]; none of a reel, whose shots follow what they follow.
    #[must_use]
    pub fn subjects(&self) -> Vec<Option<Subject>> {
        match self {
            Self::Shot(made) => made.subjects(),
            Self::Reel { plan, .. } => vec![None; plan.deliveries.len()],
        }
    }

    /// As [`Resolved::pace_keys`]; none of a reel.
    #[must_use]
    pub fn pace_keys(&self, shot: &Shot, shoot: &Shoot) -> Vec<KeyedRate> {
        match self {
            Self::Shot(made) => made.pace_keys(shot, shoot),
            Self::Reel { .. } => Vec::new(),
        }
    }

    /// As [`Resolved::explain`]; a frame of a reel by the shot that has most of it.
    ///
    /// # Errors
    /// A frame or moment that the delivery does not have.
    pub fn explain(&self, shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<Reasons, Diagnostics> {
        let (shots, reel) = match (self, &shot.reel) {
            (Self::Reel { shots, .. }, Some(reel)) => (shots, reel),
            (Self::Shot(made), _) => return made.explain(shot, shoot, delivery, when),
            (Self::Reel { .. }, None) => unreachable!("a reel's plan is made of a reel"),
        };
        let plan = &self.plan().deliveries[delivery];
        let frame = self.frame_at(shot, shoot, delivery, when)?;
        let row = usize::try_from(frame).ok().and_then(|frame| plan.rows.get(frame)).ok_or_else(|| {
            let last = plan.rows.len().saturating_sub(1);
            Diagnostic::mistake(format!("'{}' has frames 0 to {last}; seen {frame}", plan.name))
        })?;
        let (member, _) = shoot.member_at(row.slot).unwrap_or((0, row.slot));
        let own = When::Frame(frame - plan.extras.chapters[member].frame);
        let mut reasons = shots[member].explain(&reel.shots[member], &shoot.members[member].shoot, delivery, &own)?;
        let others = row.shares().filter_map(|share| shoot.member_at(share.shown).map(|(other, _)| other));
        let other = others.filter(|other| *other != member).map(|other| reel.shots[other].name.clone()).next();
        reasons.shot = Some((reel.shots[member].name.clone(), reasons.frame, other));
        (reasons.frame, reasons.frames) = (frame, plan.rows.len() as u64);
        reasons.seconds = plan.fps.time_of(frame).0;
        Ok(reasons)
    }

    /// As [`Resolved::frame_at`].
    ///
    /// # Errors
    /// A moment that the delivery does not have, or a moment of a shoot where several are joined.
    pub fn frame_at(&self, shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<u64, Diagnostic> {
        let plan = match self {
            Self::Shot(made) => return made.frame_at(shot, shoot, delivery, when),
            Self::Reel { plan, .. } => plan,
        };
        let (delivery, length) = (&plan.deliveries[delivery], plan.length);
        let last = (delivery.rows.len() as u64).saturating_sub(1);
        let screen = |seconds: f64| {
            if seconds > length + crate::curve::track::SLACK {
                let (length, seconds) = (words::figure(length), words::figure(seconds));
                return Err(Diagnostic::mistake(format!("the clip lasts {length} s; seen {seconds} s")));
            }
            let shown = |frame: &u64| delivery.fps.time_of(*frame).0 <= seconds + crate::curve::track::SLACK;
            Ok((0..=last).take_while(shown).last().unwrap_or(0))
        };
        match when {
            When::Frame(frame) => Ok(*frame),
            When::Moment(Moment::Start) => Ok(0),
            When::Moment(Moment::End) => Ok(last),
            When::Moment(Moment::Screen(seconds)) => screen(*seconds),
            When::Moment(Moment::Timecode(count)) => screen(shot.fps.time_of(*count).0),
            When::Moment(_) => {
                let message =
                    "a reel has the shoots of all its shots: a moment of one of them is no moment of the reel";
                Err(Diagnostic::mistake(message).help("type --at 3.5s for that second of the reel"))
            }
        }
    }
}

/// When a shot of a reel begins, in seconds.
fn begins(delivery: &DeliveryPlan, shot: usize) -> f64 {
    delivery.extras.chapters.get(shot).map_or(0.0, |chapter| delivery.fps.time_of(chapter.frame).0)
}

/// The plan of all; remarks and mistakes in `found`.
fn joined(shot: &Shot, reel: &Reel, shoot: &Shoot, shots: &[Resolved], found: &mut Diagnostics) -> Option<Plan> {
    let plans: Vec<&Plan> = shots.iter().map(|made| &made.plan).collect();
    let frames: usize = plans.iter().flat_map(|plan| &plan.deliveries).map(|delivery| delivery.rows.len()).sum();
    if frames as u64 > MOST_FRAMES {
        let message = format!("the reel comes to {frames} frames; at most {MOST_FRAMES} are planned");
        found.push(Diagnostic::mistake(message).at(&reel.mix.place).help("fewer shots, or faster paces"));
        return None;
    }
    let mut deliveries = Vec::new();
    for index in 0..shot.deliveries.len() {
        let own: Vec<&DeliveryPlan> = plans.iter().map(|plan| &plan.deliveries[index]).collect();
        deliveries.push(delivery(reel, shoot, shots, &own, found)?);
    }
    let offset = |member: usize| shoot.members[member].first;
    let (mut covers, mut breaks, mut fates, mut tally) = (Vec::new(), Vec::new(), Vec::new(), Tally::default());
    for (member, plan) in plans.iter().enumerate() {
        let later = |slot: SlotIndex| SlotIndex(slot.0 + offset(member));
        let moved =
            |one: &Covering| Covering { first: later(one.first), last: later(one.last), areas: Arc::clone(&one.areas) };
        covers.extend(plan.covers.iter().map(moved));
        breaks.extend(plan.breaks.iter().map(|one| Break {
            before: later(one.before),
            after: later(one.after),
            ..*one
        }));
        fates.extend(plan.fates.iter().cloned());
        add(&mut tally, &plan.tally);
    }
    let begins: Vec<f64> = (0..plans.len()).map(|member| begins(&deliveries[0], member)).collect();
    for (member, ((plan, shot), begins)) in plans.iter().zip(&reel.shots).zip(begins).enumerate() {
        let of = format!("in '{}', which begins at {} s of the reel: ", shot.name, words::figure(begins));
        for mut remark in plan.remarks.0.iter().cloned() {
            if let Some(Frames { delivery, runs }) = &mut remark.frames {
                let first =
                    deliveries.iter().find(|one| one.name == *delivery).map(|one| one.extras.chapters[member].frame);
                let first = usize::try_from(first.unwrap_or(0)).unwrap_or(0);
                runs.iter_mut().for_each(|run| *run = (run.0 + first, run.1 + first));
            }
            remark.message = format!("{of}{}", remark.message);
            found.push(remark);
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "a thousand shots at most")]
    let mixed = reel.mix.value * (plans.len() - 1) as f64;
    Some(Plan {
        shot: shot.name.clone(),
        length: plans.iter().map(|plan| plan.length).sum::<f64>() - mixed,
        deliveries,
        level: levelling(&plans, shoot),
        steady: steadying(&plans, shoot),
        covers,
        breaks,
        tally,
        fates,
        remarks: Diagnostics::default(),
    })
}

/// How the stills of all are levelled, where any shot's are.
fn levelling(plans: &[&Plan], shoot: &Shoot) -> Option<Levelling> {
    let first = plans.iter().find_map(|plan| plan.level.as_ref())?;
    let mut all = Levelling {
        place: first.place.clone(),
        radius: first.radius,
        gains: vec![Gain::UNCHANGED; shoot.slots.len()],
        levels: vec![None; shoot.slots.len()],
        left: Vec::new(),
        cuts: Vec::new(),
    };
    for (plan, member) in plans.iter().zip(&shoot.members) {
        let Some(own) = &plan.level else { continue };
        let later = |slot: &SlotIndex| SlotIndex(slot.0 + member.first);
        all.gains[member.first..][..own.gains.len()].copy_from_slice(&own.gains);
        all.levels[member.first..][..own.levels.len()].copy_from_slice(&own.levels);
        all.left.extend(own.left.iter().map(later));
        all.cuts.extend(own.cuts.iter().map(later));
    }
    Some(all)
}

/// How the stills of all are steadied, where any shot's are.
fn steadying(plans: &[&Plan], shoot: &Shoot) -> Option<Steadying> {
    let (at, first) = plans.iter().enumerate().find_map(|(at, plan)| Some((at, plan.steady.as_ref()?)))?;
    let still = vec![Pose::STILL; shoot.slots.len()];
    let first_slot = SlotIndex(first.first.0 + shoot.members[at].first);
    let mut all =
        Steadying { first: first_slot, stands: still.clone(), unplaced: Vec::new(), table: still, ..first.clone() };
    for (plan, member) in plans.iter().zip(&shoot.members) {
        let Some(own) = &plan.steady else { continue };
        all.stands[member.first..][..own.stands.len()].copy_from_slice(&own.stands);
        all.table[member.first..][..own.table.len()].copy_from_slice(&own.table);
        all.unplaced.extend(own.unplaced.iter().map(|slot| SlotIndex(slot.0 + member.first)));
    }
    Some(all)
}

fn add(all: &mut Tally, one: &Tally) {
    let Tally { used, passed_over, outside_part, cut, days, hours, only, damaged, missing, set_aside } = one;
    all.used += used;
    all.passed_over += passed_over;
    all.outside_part += outside_part;
    all.cut += cut;
    all.days += days;
    all.hours += hours;
    all.only += only;
    all.damaged.extend(damaged.iter().cloned());
    all.missing.extend(missing.iter().cloned());
    all.set_aside += set_aside;
}

/// One delivery of all, whose own parts are these.
fn delivery(
    reel: &Reel,
    shoot: &Shoot,
    shots: &[Resolved],
    own: &[&DeliveryPlan],
    found: &mut Diagnostics,
) -> Option<DeliveryPlan> {
    let first = own[0];
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a mix lasts a day at most")]
    let mix = if own.len() > 1 { (reel.mix.value * first.fps.per_second()).round() as usize } else { 0 };
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let mixes = usize::from(at > 0) + usize::from(at + 1 < own.len());
        if part.rows.len() < mixes * mix {
            let [lasts, wanted] =
                [part.rows.len(), mixes * mix].map(|frames| words::figure(first.fps.time_of(frames as u64).0));
            let message = format!(
                "'{}' lasts {lasts} s, and is to be mixed with its neighbours for {wanted} s in all",
                shot.name
            );
            let most = part.rows.len() as f64 / mixes as f64 / first.fps.per_second();
            found.push(
                Diagnostic::mistake(message)
                    .at(&reel.mix.place)
                    .word("mix")
                    .with(&shot.place, "that shot")
                    .help(format!("mix = \"{}s\" at most, or a longer shot", words::figure_below(most))),
            );
        }
    }
    if found.refused() {
        return None;
    }
    check_pictures(own, found)?;
    check_gathered(reel, own, mix, found)?;
    let (mut rows, mut gathered) = (Vec::<Row>::new(), Vec::<GatherList>::new());
    let (mut chapters, mut rooms, mut sound) = (Vec::new(), Vec::new(), Vec::<Passage>::new());
    let (mut stamps, mut poster, mut axis) = (Vec::<Stamped>::new(), None, 0.0);
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let mut moved = Moved { slots: shoot.members[at].first, axis, known: BTreeMap::new() };
        let mixed = if at > 0 { mix } else { 0 };
        let begins = rows.len() - mixed;
        let lists = gathered.len();
        for list in &part.gathered {
            let list: GatherList = list.iter().map(|layer| moved.layer(layer)).collect();
            gathered.push(list);
        }
        for (number, row) in part.rows.iter().enumerate() {
            let row = moved.row(row, &gathered[lists..], lists);
            match rows.get_mut(begins + number) {
                Some(before) => mix_in(before, row, number + 1, mix),
                None => rows.push(row),
            }
        }
        chapters.push(Chapter { frame: begins as u64, name: shot.name.clone() });
        rooms.push((begins, part.room));
        let later = at + 1 < own.len();
        sound.extend(
            part.sound.iter().map(|passage| heard(passage, at, (part, begins), (mixed, if later { mix } else { 0 }))),
        );
        lay_over(&mut stamps, part, moved.slots);
        if let Some(one) = part.extras.poster.filter(|_| poster.is_none()) {
            poster = Some(PosterFrame { frame: one.frame + begins as u64, ..one });
        }
        axis += shots[at].used();
    }
    let title = own.iter().find_map(|part| part.extras.title.clone());
    let unread =
        own.iter().zip(&reel.shots).find(|(part, _)| !part.sound.is_empty()).map(|(part, _)| part.unread_sound);
    let mut made = first.with_rows(rows);
    made.corrected = own.iter().any(|part| part.corrected);
    made.gathered = gathered;
    made.rooms = rooms.split_off(1);
    made.sound = sound.into();
    made.stamps = stamps.into();
    made.unread_sound = unread.unwrap_or_default();
    (made.extras.title, made.extras.poster, made.extras.chapters) = (title, poster, chapters);
    Some(made)
}

/// What is heard of a shot, at its place in the reel, and as loud as its pictures are there in mixes.
fn heard(passage: &Passage, member: usize, (part, begins): (&DeliveryPlan, usize), mixes: (usize, usize)) -> Passage {
    let seconds = |frames: usize| part.fps.time_of(frames as u64).0;
    let (from, to) = (passage.from + seconds(begins), passage.to + seconds(begins));
    let mixed_in = seconds(begins + mixes.0) - from;
    let mixed_out = to - seconds(begins + part.rows.len() - mixes.1);
    let lasts = to - from;
    let fade_in = if mixes.0 > 0 { passage.fade_in.max(mixed_in.min(lasts)) } else { passage.fade_in };
    let fade_out = if mixes.1 > 0 { passage.fade_out.max(mixed_out.min(lasts)) } else { passage.fade_out };
    Passage { from, to, fade_in, fade_out, member, ..*passage }
}

/// Lays a shot's stamps over the reel: those that look alike are one, with the lines of both.
fn lay_over(stamps: &mut Vec<Stamped>, part: &DeliveryPlan, slots: usize) {
    for stamp in part.stamps.iter() {
        let mut stamp = stamp.clone();
        if let Shows::Text(text) = &mut stamp.shows {
            text.lines = text.lines.moved(slots);
        }
        let alike = |known: &&mut Stamped| known.look() == stamp.look();
        match (stamps.iter_mut().find(alike), &stamp.shows) {
            (Some(Stamped { shows: Shows::Text(known), .. }), Shows::Text(text)) => {
                known.lines = Lines::new(known.lines.each_of().chain(text.lines.each_of()));
            }
            (Some(_), _) => {}
            (None, _) => stamps.push(stamp),
        }
    }
}

/// A picture that is laid over frames stands over all of them: the shots of a reel have the same ones.
fn check_pictures(own: &[&DeliveryPlan], found: &mut Diagnostics) -> Option<()> {
    let pictures = |part: &DeliveryPlan| -> Vec<Stamped> {
        part.stamps.iter().filter(|stamp| matches!(stamp.shows, Shows::Picture(_))).cloned().collect()
    };
    let looks = |stamps: &[Stamped]| stamps.iter().map(Stamped::look).collect::<Vec<_>>();
    let first = pictures(own[0]);
    let Some(other) = own.iter().map(|part| pictures(part)).find(|other| looks(other) != looks(&first)) else {
        return Some(());
    };
    let message =
        format!("a picture stands over all of '{}': every shot of the reel is to have the same ones", own[0].name);
    let place = first.first().or(other.first()).map(|stamp| stamp.place.clone());
    let mistake = Diagnostic::mistake(message)
        .help("write the stamps once, local marks = { stamp { … } }, and stamps = marks in every shot");
    found.push(match place {
        Some(place) => mistake.at(&place).word("stamp"),
        None => mistake,
    });
    None
}

/// What is gathered is no mean, and cannot be mixed as one.
fn check_gathered(reel: &Reel, own: &[&DeliveryPlan], mix: usize, found: &mut Diagnostics) -> Option<()> {
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let begins = if at > 0 { mix } else { 0 };
        let ends = if at + 1 < own.len() { part.rows.len() - mix } else { part.rows.len() };
        let mixed = part.rows[..begins].iter().chain(&part.rows[ends..]);
        if mixed.filter_map(|row| row.layers.gathered()).next().is_some() {
            found.push(
                Diagnostic::mistake(format!(
                    "frames of '{}' that gather light cannot be mixed with another shot's",
                    shot.name
                ))
                .at(&reel.mix.place)
                .word("mix")
                .with(&shot.place, "that shot")
                .help("leave mix out: one shot follows the other at once"),
            );
            return None;
        }
    }
    Some(())
}

/// Moves a shot's rows to their place among all.
struct Moved {
    /// The first of its slots.
    slots: usize,
    /// Stills that the shots before it use.
    axis: f64,
    known: BTreeMap<SlotIndex, Arc<Corrected>>,
}

impl Moved {
    fn slot(&self, slot: SlotIndex) -> SlotIndex {
        SlotIndex(slot.0 + self.slots)
    }

    fn still(&mut self, still: &Corrected) -> Arc<Corrected> {
        let slot = self.slot(still.slot);
        Arc::clone(self.known.entry(slot).or_insert_with(|| Arc::new(Corrected { slot, ..still.clone() })))
    }

    fn layer(&mut self, layer: &Layer) -> Layer {
        let stand_in = layer.stand_in.as_deref();
        let stand_in =
            stand_in.map(|other| Box::new(StandIn { still: self.still(&other.still), window: other.window }));
        Layer { still: self.still(&layer.still), window: layer.window, stand_in }
    }

    /// A row whose lists, moved, are these, the first of them with this number.
    fn row(&mut self, row: &Row, lists: &[GatherList], first: usize) -> Row {
        let layers = match &row.layers {
            Layers::One(layer) => Layers::One(self.layer(layer)),
            Layers::Mean(parts) => Layers::Mean(
                parts.iter().map(|part| Weighted { layer: self.layer(&part.layer), weight: part.weight }).collect(),
            ),
            Layers::Between(between) => {
                let [one, other] = &between.layers;
                let layers = [self.layer(one), self.layer(other)];
                Layers::Between(Box::new(crate::plan::Between { layers, way: between.way }))
            }
            Layers::Gathered(own) => Layers::Gathered(Gathered {
                list: Arc::clone(&lists[own.number]),
                number: first + own.number,
                ..own.clone()
            }),
        };
        let (slot, shown, stand_in) =
            (self.slot(row.slot), self.slot(row.shown), row.stand_in.map(|slot| self.slot(slot)));
        Row { position: row.position + self.axis, slot, shown, stand_in, window: row.window, layers }
    }
}

/// Mixes the `n`-th of the frames of a mix, from 1, into what was there of the shot before.
fn mix_in(before: &mut Row, after: Row, n: usize, frames: usize) {
    let whole = u64::from(Share::WHOLE);
    let later = (whole * n as u64 + (frames as u64).div_ceil(2)) / (frames as u64 + 1);
    let sides = [(&before.layers, whole - later), (&after.layers, later)];
    let mut parts: Vec<Weighted> = Vec::new();
    for (layers, due) in sides {
        let begins = parts.len();
        for (layer, weight) in layers.each() {
            let weight = u32::try_from(u64::from(weight) * due / whole).unwrap_or(Share::WHOLE);
            parts.push(Weighted { layer: layer.clone(), weight });
        }
        let own = &mut parts[begins..];
        let given: u64 = own.iter().map(|part| u64::from(part.weight)).sum();
        if let Some(most) = own.iter_mut().max_by_key(|part| part.weight) {
            most.weight += u32::try_from(due - given).unwrap_or(0);
        }
    }
    parts.retain(|part| part.weight > 0);
    parts.sort_by_key(|part| part.layer.slot());
    let layers = match &parts[..] {
        [alone] => Layers::One(alone.layer.clone()),
        _ => Layers::Mean(parts),
    };
    let Row { position, slot, shown, stand_in, window, .. } = if later > whole / 2 { after } else { before.clone() };
    *before = Row { position, slot, shown, stand_in, window, layers };
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Window;

    fn row(slot: usize) -> Row {
        Row::plain(SlotIndex(slot), Window::new(0.0, 0.0, 16.0, 9.0))
    }

    #[test]
    fn the_frames_of_a_mix_go_over_evenly_and_all_weights_add_up() {
        for frames in [1, 2, 3, 24, 25, 100, 65_535] {
            let mut last = 0;
            for n in [1, 2, frames / 2, frames].into_iter().filter(|n| (1..=frames).contains(n)) {
                let mut mixed = row(3);
                mix_in(&mut mixed, row(7), n, frames);
                let shares: Vec<Share> = mixed.shares().collect();
                assert_eq!(shares.iter().map(|share| share.weight).sum::<u32>(), Share::WHOLE);
                let later = shares.iter().find(|share| share.shown == SlotIndex(7)).unwrap().weight;
                let due = n as f64 / (frames + 1) as f64;
                assert!((f64::from(later) / f64::from(Share::WHOLE) - due).abs() <= 0.5 / f64::from(Share::WHOLE));
                assert!(later >= last);
                last = later;
            }
        }
    }

    #[test]
    fn what_is_mixed_of_several_stills_keeps_their_proportions() {
        let part = |slot: usize, weight| Weighted { layer: row(slot).foremost().unwrap().clone(), weight };
        let before = Layers::Mean(vec![part(1, Share::WHOLE / 4), part(2, 3 * (Share::WHOLE / 4))]);
        let mut mixed = Row { layers: before, ..row(1) };
        mix_in(&mut mixed, row(9), 1, 3);
        let weights: Vec<(usize, u32)> = mixed.shares().map(|share| (share.shown.0, share.weight)).collect();
        // Three quarters of each, and a quarter of the other.
        assert_eq!(weights, [(1, 12_288), (2, 36_864), (9, 16_384)]);
    }
}

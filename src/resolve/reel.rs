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

use std::sync::Arc;

use super::explain::When;
use super::joined;
use super::resolved::Resolved;
use super::{Known, MOST_FRAMES, resolve, words};
use crate::diag::{Diagnostic, Diagnostics, Frames};
use crate::level::Gain;
use crate::plan::{
    Break, Covering, DeliveryPlan, KeyedRate, KeyedWindow, Levelling, Plan, Reasons, Share, ShotReason, Steadying,
    Subject, Tally,
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
    let joined = plan_of(shot, reel, shoot, &shots, &mut found);
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

    /// As [`Resolved::explain`]; a frame of a reel by the shot that has most of it, and that which is mixed with it.
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
        let of = |share: &Share| shoot.member_at(share.shown).map(|(of, _)| of);
        let whole: u32 = row.shares().map(|share| share.weight).sum();
        let reasons = |member: usize| -> Result<Reasons, Diagnostics> {
            let chapter = &plan.extras.chapters[member];
            let own = When::Frame(frame - chapter.frame);
            let mut reasons =
                shots[member].explain(&reel.shots[member], &shoot.members[member].shoot, delivery, &own)?;
            let weight: u32 = row.shares().filter(|share| of(share) == Some(member)).map(|share| share.weight).sum();
            let (name, part) = (reel.shots[member].name.clone(), f64::from(weight) / f64::from(whole));
            reasons.shot = Some(ShotReason { name, frame: reasons.frame, part });
            (reasons.frame, reasons.frames) = (frame, plan.rows.len() as u64);
            reasons.seconds = plan.fps.time_of(frame).0;
            // As loud as it is in the reel, where mixes turn it down.
            let heard = plan
                .sound
                .iter()
                .find(|passage| passage.member == member && (passage.from..passage.to).contains(&reasons.seconds));
            if let Some(sound) = &mut reasons.sound {
                sound.heard = heard.map(|passage| (passage.recorded(reasons.seconds), passage.gain(reasons.seconds)));
            }
            Ok(reasons)
        };
        let mut most = reasons(member)?;
        if let Some(other) = row.shares().filter_map(|share| of(&share)).find(|other| *other != member) {
            most.mixed = Some(Box::new(reasons(other)?));
        }
        Ok(most)
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
fn plan_of(shot: &Shot, reel: &Reel, shoot: &Shoot, shots: &[Resolved], found: &mut Diagnostics) -> Option<Plan> {
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
        deliveries.push(joined::delivery(reel, shoot, shots, &own, found)?);
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

//! The shoot's axis as a shot uses it: which slots take room, and which still stands in each of their places.
//!
//! ## Decisions
//!
//! - Both ends of a cut are left out, as `from` and `to` both take theirs in. What is cut may be missing or damaged,
//!   and never stands in for another still. Positions, `part`, `fit` and the tally know only what is left.

use std::ops::Range;

use crate::diag::{Diagnostic, Diagnostics, Placed};
use crate::plan::{DeliveryPlan, Fate, LeftOutBy};
use crate::shoot::{Content, Shoot, Slot};
use crate::shot::{Moment, Policy, Shot};
use crate::units::SlotIndex;

use super::breaks::{self, AxisBreak, LeftOut};
use super::chosen;
use super::times::{self, Times, number};
use super::words;

/// The slots that take room, in order.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    /// Place `k` fills positions `[k, k + 1)`.
    pub(super) places: Vec<OnAxis>,
    /// By slot, how many places lie before it; one more entry than there are slots.
    before: Vec<usize>,
    /// The slots between `from` and `to`.
    part: Range<usize>,
    /// What is left out of them, in order, no two overlapping.
    left_out: Vec<LeftOut>,
    /// Where two stills that follow one another were not taken one after the other, in order.
    pub(super) breaks: Vec<AxisBreak>,
    /// The slots that begin another side for levelling and steadying, in order.
    pub(super) sides: Vec<usize>,
    /// Whether there would be breaks if the script did not say otherwise.
    pub(super) bridged: bool,
    missing: Policy,
    damaged: Policy,
}

/// One place of the axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct OnAxis {
    /// Whose turn it is.
    pub(super) slot: SlotIndex,
    /// Whose still is shown.
    pub(super) shown: SlotIndex,
    /// Whose still is shown should `shown` turn out damaged.
    pub(super) stand_in: Option<SlotIndex>,
}

impl Axis {
    /// Lays the slots out by the shot's part, cuts and policies. Stills that a policy refuses are mistakes in `found`,
    /// and hold their place meanwhile.
    ///
    /// # Errors
    /// A shoot of which nothing is left.
    pub(super) fn lay_out(
        shot: &Shot,
        shoot: &Shoot,
        times: &Times,
        found: &mut Diagnostics,
    ) -> Result<Self, Diagnostics> {
        let part = part(shot, shoot, times, found);
        let cuts = cuts(shot, shoot, times, &part, found);
        let mut used: Vec<bool> = (0..shoot.slots.len()).map(|slot| part.contains(&slot)).collect();
        for cut in &cuts {
            used[cut.slots.clone()].fill(false);
        }
        let left = used.iter().filter(|used| **used).count();
        if let (0, Some(first)) = (left, cuts.first()) {
            let mistake = Diagnostic::mistake(format!(
                "the cuts leave nothing: the shoot's {} are all in them",
                words::count(part.len(), "slot")
            ));
            return Err(mistake.at(&first.place).word("cut").into());
        }
        let chosen = chosen::leave_out(shot, shoot, times, &mut used, found).map_err(Diagnostics::from)?;
        let left = used.iter().filter(|used| **used).count();
        let mut left_out = [cuts, chosen].concat();
        left_out.sort_by_key(|run| run.slots.start);
        refuse_by_policy(shot, shoot, &used, found);
        let (missing, damaged) = (shot.source.missing, shot.source.damaged);
        let whole: Vec<usize> =
            (0..used.len()).filter(|slot| used[*slot] && shoot.still(SlotIndex(*slot)).is_some()).collect();
        if whole.is_empty() {
            let mistake = if shoot.slots.is_empty() {
                Diagnostic::mistake("the shoot has no stills")
            } else {
                Diagnostic::mistake(format!("none of the {} used is whole", words::count(left, "slot")))
            };
            return Err(mistake.at(&shot.source.place).into());
        }
        let step = shot.source.chosen.only.as_ref().map_or(0.0, |step| step.value);
        let unit = times.interval.unwrap_or(0.0).max(step);
        let mut breaks = breaks::find(&whole, &left_out, (times, unit));
        let bridged = shot.source.across && !breaks.is_empty();
        if shot.source.across {
            breaks.clear();
        }
        let side = |slot: usize| breaks.partition_point(|one| one.told.after.0 <= slot);
        let (mut places, mut before): (Vec<OnAxis>, Vec<usize>) =
            (Vec::with_capacity(left), Vec::with_capacity(shoot.slots.len() + 1));
        for (index, slot) in shoot.slots.iter().enumerate() {
            before.push(places.len());
            let policy = match slot.content {
                Content::Whole(_) => Policy::Hold,
                Content::Damaged { .. } => damaged,
                Content::Missing => missing,
            };
            if !used[index] || policy == Policy::Skip {
                continue;
            }
            let next = whole.partition_point(|whole| *whole <= index);
            let shown = whole[next.saturating_sub(1)];
            let beside = whole.partition_point(|whole| *whole < shown);
            let (earlier, later) = (beside.checked_sub(1).map(|at| whole[at]), whole.get(beside + 1).copied());
            let own = |other: &usize| side(*other) == side(shown);
            let other = earlier.filter(own).or(later.filter(own)).or(earlier).or(later);
            let stand_in = if damaged == Policy::Hold { other.map(SlotIndex) } else { None };
            places.push(OnAxis { slot: SlotIndex(index), shown: SlotIndex(shown), stand_in });
        }
        before.push(places.len());
        for one in &mut breaks {
            one.place = places.partition_point(|place| place.shown < one.told.after);
        }
        let sides = if shot.source.across { Vec::new() } else { breaks::sides(shoot, times, &breaks) };
        Ok(Self { places, before, part, left_out, breaks, sides, bridged, missing, damaged })
    }

    /// How many places there are: the axis runs from 0 to this.
    pub(super) fn stills(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let stills = self.places.len() as f64;
        stills
    }

    /// Which place a slot that takes room has.
    pub(super) fn place_of(&self, slot: SlotIndex) -> usize {
        self.before[slot.0]
    }

    /// Where on the axis a position among all the slots lies: slots without a place take no room.
    pub(super) fn position(&self, slots: f64) -> f64 {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "positions are clamped to the slots"
        )]
        let slot = (slots.max(0.0).floor() as usize).min(self.before.len() - 1);
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let (start, whole) = (self.before[slot] as f64, slot as f64);
        let has_room = self.before.get(slot + 1).is_some_and(|after| *after > self.before[slot]);
        if has_room { start + (slots - whole).clamp(0.0, 1.0) } else { start }
    }

    /// The places on the same side of every break as a place.
    pub(super) fn side_of(&self, place: usize) -> Range<usize> {
        let after = self.breaks.partition_point(|one| one.place <= place);
        let start = after.checked_sub(1).map_or(0, |before| self.breaks[before].place);
        start..self.breaks.get(after).map_or(self.places.len(), |one| one.place)
    }

    /// The slots between `from` and `to`.
    pub(super) fn part(&self) -> Range<usize> {
        self.part.clone()
    }

    /// What is left out that a position among all the slots lies in.
    pub(super) fn left_out_at(&self, slots: f64) -> Option<&LeftOut> {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "positions are clamped to the slots"
        )]
        let slot = slots.max(0.0).floor() as usize;
        let begun = self.left_out.partition_point(|run| run.slots.start <= slot);
        self.left_out[..begun].last().filter(|run| run.slots.contains(&slot))
    }

    /// The used slot nearest to what is left out: the one before it, or else the one after.
    pub(super) fn beside(&self, run: &LeftOut) -> usize {
        let before = self.places.partition_point(|place| place.slot.0 < run.slots.start);
        self.places[before.saturating_sub(1)].slot.0
    }

    /// What became of every slot, given the rows that were made.
    pub(super) fn fates(&self, shoot: &Shoot, deliveries: &[DeliveryPlan]) -> Vec<Fate> {
        let mut used = vec![false; shoot.slots.len()];
        for row in deliveries.iter().flat_map(|delivery| &delivery.rows) {
            row.shares().for_each(|share| used[share.shown.0] = true);
        }
        let fate = |(index, slot): (usize, &Slot)| match (&slot.content, self.left_out_at(number(index))) {
            _ if !self.part.contains(&index) => Fate::OutsidePart,
            (_, Some(run)) => Fate::LeftOut(run.by),
            (content, None) => self.fate(shoot, index, content, used[index]),
        };
        shoot.slots.iter().enumerate().map(fate).collect()
    }

    /// What became of a slot that is not left out.
    fn fate(&self, shoot: &Shoot, index: usize, content: &Content, used: bool) -> Fate {
        match content {
            Content::Whole(_) if used => Fate::Used,
            Content::Whole(_) => Fate::PassedOver,
            Content::Damaged { damage, .. } => {
                Fate::Damaged(format!("{damage}; {}", self.done(shoot, index, self.damaged)))
            }
            Content::Missing => Fate::Missing(self.done(shoot, index, self.missing)),
        }
    }

    fn done(&self, shoot: &Shoot, slot: usize, policy: Policy) -> String {
        match self.places.get(self.before[slot]) {
            Some(place) if policy == Policy::Hold => format!("held by {}", shoot.slots[place.shown.0].name),
            _ => "skipped".to_owned(),
        }
    }
}

/// The slots from `from` to `to`; a moment that cannot be had is a mistake, and the end stays where it was.
fn part(shot: &Shot, shoot: &Shoot, times: &Times, found: &mut Diagnostics) -> Range<usize> {
    let all = shoot.slots.len();
    let mut at = |moment: &Option<Placed<Moment>>, end: End, otherwise: usize| {
        let Some(moment) = moment else { return otherwise };
        edge(&moment.value, end, shoot, times).unwrap_or_else(|mistake| {
            found.push(mistake.at(&moment.place).word(end.word()));
            otherwise
        })
    };
    let from = at(&shot.source.from, End::From, 0);
    let to = at(&shot.source.to, End::To, all);
    if let (true, Some(first), Some(last)) = (from >= to, &shot.source.from, &shot.source.to) {
        found.push(nothing_between(from, to, all).at(&first.place).word("from").with(&last.place, "'to'"));
        return 0..all;
    }
    from..to
}

/// What the shot's cuts leave out, in order. A cut that is empty or begins inside another is a mistake and is passed
/// over.
fn cuts(shot: &Shot, shoot: &Shoot, times: &Times, part: &Range<usize>, found: &mut Diagnostics) -> Vec<LeftOut> {
    let all = shoot.slots.len();
    let mut cuts: Vec<LeftOut> = Vec::with_capacity(shot.source.cuts.len());
    for cut in &shot.source.cuts {
        let (from, to) = (edge(&cut.from, End::From, shoot, times), edge(&cut.to, End::To, shoot, times));
        let mut keep = |mistake: Diagnostic| found.push(mistake.at(&cut.place));
        let (from, to) = (from.map_err(&mut keep).ok(), to.map_err(&mut keep).ok());
        let (Some(from), Some(to)) = (from, to) else { continue };
        if from >= to {
            found.push(
                nothing_between(from, to, all).at(&cut.place).word("cut").help("a cut needs the earlier moment first"),
            );
            continue;
        }
        if to <= part.start || from >= part.end {
            found.push(
                Diagnostic::remark("this cut lies outside the part from 'from' to 'to': it has no effect")
                    .at(&cut.place),
            );
        }
        cuts.push(LeftOut { slots: from..to, place: cut.place.clone(), by: LeftOutBy::Cut });
    }
    cuts.sort_by_key(|cut| (cut.slots.start, cut.slots.end));
    let mut apart: Vec<LeftOut> = Vec::with_capacity(cuts.len());
    for cut in cuts {
        match apart.last() {
            Some(before) if cut.slots.start < before.slots.end => found.push(
                Diagnostic::mistake(format!(
                    "two cuts overlap: one runs to still({}), the other begins at still({})",
                    before.slots.end,
                    cut.slots.start + 1
                ))
                .at(&cut.place)
                .word("cut")
                .with(&before.place, "the other cut")
                .help("make one cut of the two"),
            ),
            _ => apart.push(cut),
        }
    }
    apart
}

/// Which end of a part of the shoot a moment is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    From,
    To,
}

impl End {
    fn word(self) -> &'static str {
        match self {
            Self::From => "from",
            Self::To => "to",
        }
    }
}

pub(super) fn nothing_between(from: usize, to: usize, all: usize) -> Diagnostic {
    Diagnostic::mistake(format!(
        "'from' is still({}) and 'to' is still({to}): nothing lies between them",
        (from + 1).min(all)
    ))
}

/// The first slot of a part that begins at a moment, or one past the last slot of a part that ends there.
///
/// # Errors
/// A mistake without a place: no such moment of the shoot.
pub(super) fn edge(moment: &Moment, end: End, shoot: &Shoot, times: &Times) -> Result<usize, Diagnostic> {
    let all = number(shoot.slots.len());
    let position = match moment {
        Moment::Start => 0.0,
        Moment::End => all,
        Moment::Part(part) => times::fraction(*part)? * all,
        Moment::Screen(_) | Moment::Timecode(_) => {
            let word = end.word();
            let mistake = format!("'{word}' takes a moment of the shoot, not a time of the clip");
            return Err(Diagnostic::mistake(mistake)
                .help(format!("{word} = still(1), still \"NAME\", clock \"14:32\" or part(0.25)")));
        }
        _ if end == End::To => times::slot_end(moment, shoot, times)?,
        _ => times::slot_position(moment, shoot, times)?,
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positions lie in 0 to the slots")]
    let slot = (position - 1e-9).ceil().max(0.0) as usize;
    Ok(slot.min(shoot.slots.len()))
}

/// Names every missing and damaged still of the part that the script wants stopped at.
fn refuse_by_policy(shot: &Shot, shoot: &Shoot, used: &[bool], found: &mut Diagnostics) {
    let mut missing: Vec<usize> = Vec::new();
    let say_missing = |run: &mut Vec<usize>, found: &mut Diagnostics| {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { return };
        let (first, last) = (&shoot.slots[*first].name, &shoot.slots[*last].name);
        let message = match run.len() {
            1 => format!("{first} is missing"),
            2 => format!("{first} and {last} are missing"),
            number => format!("{first} to {last} are missing: {number} stills"),
        };
        found.push(Diagnostic::mistake(message).at(&shot.source.place).help(
            "missing = \"hold\" shows the still before it in its place, missing = \"skip\" takes no time for it",
        ));
        run.clear();
    };
    for (index, slot) in shoot.slots.iter().enumerate() {
        match &slot.content {
            _ if !used[index] => say_missing(&mut missing, found),
            Content::Missing if shot.source.missing == Policy::Stop => missing.push(index),
            Content::Damaged { path, damage, .. } if shot.source.damaged == Policy::Stop => {
                say_missing(&mut missing, found);
                found.push(
                    Diagnostic::mistake(format!("{} is damaged: {damage}", path.display())).at(&shot.source.place).help(
                        "damaged = \"hold\" shows the still before it in its place, damaged = \"skip\" takes no time for it",
                    ),
                );
            }
            _ => say_missing(&mut missing, found),
        }
    }
    say_missing(&mut missing, found);
}

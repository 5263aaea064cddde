//! The shoot's axis as a shot uses it: which slots take room, and which still stands in each of their places.

use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::{DeliveryPlan, Tally};
use crate::shoot::{Content, Shoot};
use crate::shot::{Moment, Policy, Shot};
use crate::units::SlotIndex;

use super::moments::{self, Times};
use super::words;

/// The slots that take room, in order.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    /// Place `k` fills positions `[k, k + 1)`.
    pub(super) places: Vec<OnAxis>,
    /// By slot, how many places lie before it; one more entry than there are slots.
    before: Vec<usize>,
    /// The slots between `from` and `to`.
    part: std::ops::Range<usize>,
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
    /// Lays the slots out by the shot's part and policies. Stills that a policy refuses are mistakes in `found`, and hold
    /// their place meanwhile.
    ///
    /// # Errors
    /// A shoot of which nothing is left.
    pub(super) fn lay_out(shot: &Shot, shoot: &Shoot, times: &Times, found: &mut Diagnostics) -> Result<Self, Diagnostics> {
        let part = part(shot, shoot, times, found);
        refuse_by_policy(shot, shoot, &part, found);
        let (missing, damaged) = (shot.source.missing, shot.source.damaged);
        let whole: Vec<usize> = part.clone().filter(|slot| shoot.still(SlotIndex(*slot)).is_some()).collect();
        if whole.is_empty() {
            let mistake = if shoot.slots.is_empty() {
                Diagnostic::mistake("the shoot has no stills")
            } else {
                Diagnostic::mistake(format!("none of the {} used is whole", words::count(part.len(), "slot")))
            };
            return Err(mistake.at(&shot.source.place).into());
        }
        let (mut places, mut before) = (Vec::with_capacity(part.len()), Vec::with_capacity(shoot.slots.len() + 1));
        for (index, slot) in shoot.slots.iter().enumerate() {
            before.push(places.len());
            let policy = match slot.content {
                Content::Whole(_) => Policy::Hold,
                Content::Damaged { .. } => damaged,
                Content::Missing => missing,
            };
            if !part.contains(&index) || policy == Policy::Skip {
                continue;
            }
            let next = whole.partition_point(|whole| *whole <= index);
            let shown = whole[next.saturating_sub(1)];
            let beside = whole.partition_point(|whole| *whole < shown);
            let other = beside.checked_sub(1).map(|earlier| whole[earlier]).or_else(|| whole.get(beside + 1).copied());
            let stand_in = if damaged == Policy::Hold { other.map(SlotIndex) } else { None };
            places.push(OnAxis { slot: SlotIndex(index), shown: SlotIndex(shown), stand_in });
        }
        before.push(places.len());
        Ok(Self { places, before, part, missing, damaged })
    }

    /// How many places there are: the axis runs from 0 to this.
    pub(super) fn stills(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let stills = self.places.len() as f64;
        stills
    }

    /// Where on the axis a position among all the slots lies: slots without a place take no room.
    pub(super) fn position(&self, slots: f64) -> f64 {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positions are clamped to the slots")]
        let slot = (slots.max(0.0).floor() as usize).min(self.before.len() - 1);
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let (start, whole) = (self.before[slot] as f64, slot as f64);
        let has_room = self.before.get(slot + 1).is_some_and(|after| *after > self.before[slot]);
        if has_room { start + (slots - whole).clamp(0.0, 1.0) } else { start }
    }

    /// The slots between `from` and `to`.
    pub(super) fn part(&self) -> std::ops::Range<usize> {
        self.part.clone()
    }

    /// What became of every slot, given the rows that were made.
    pub(super) fn tally(&self, shoot: &Shoot, deliveries: &[DeliveryPlan]) -> Tally {
        let mut used = vec![false; shoot.slots.len()];
        for row in deliveries.iter().flat_map(|delivery| &delivery.rows) {
            row.shares().for_each(|share| used[share.shown.0] = true);
        }
        let mut tally =
            Tally { outside_part: shoot.slots.len() - self.part.len(), set_aside: shoot.set_aside.len(), ..Tally::default() };
        for index in self.part() {
            let slot = &shoot.slots[index];
            match &slot.content {
                Content::Whole(_) if used[index] => tally.used += 1,
                Content::Whole(_) => tally.passed_over += 1,
                Content::Damaged { damage, .. } => {
                    tally.damaged.push((slot.name.clone(), format!("{damage}; {}", self.done(shoot, index, self.damaged))));
                }
                Content::Missing => tally.missing.push((slot.name.clone(), self.done(shoot, index, self.missing))),
            }
        }
        tally
    }

    fn done(&self, shoot: &Shoot, slot: usize, policy: Policy) -> String {
        match self.places.get(self.before[slot]) {
            Some(place) if policy == Policy::Hold => format!("held by {}", shoot.slots[place.shown.0].name),
            _ => "skipped".to_owned(),
        }
    }
}

/// The slots from `from` to `to`; a moment that cannot be had is a mistake, and the end stays where it was.
fn part(shot: &Shot, shoot: &Shoot, times: &Times, found: &mut Diagnostics) -> std::ops::Range<usize> {
    let all = shoot.slots.len();
    let mut edge = |moment: &Option<crate::diag::Placed<Moment>>, word: &str, otherwise: usize| {
        let Some(moment) = moment else { return otherwise };
        #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
        let slots = all as f64;
        let position = match moment.value {
            Moment::Start => Ok(0.0),
            Moment::End => Ok(slots),
            Moment::Part(part) => moments::fraction(part).map(|part| part * slots),
            Moment::Screen(_) | Moment::Timecode(_) => {
                Err(Diagnostic::mistake(format!("'{word}' takes a moment of the shoot, and a time of the clip was given"))
                    .help(format!("{word} = still(1), still \"NAME\", clock \"14:32\" or part(0.25)")))
            }
            _ if word == "to" => moments::slot_end(&moment.value, shoot, times),
            _ => moments::slot_position(&moment.value, shoot, times),
        };
        match position {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positions lie in 0 to the slots")]
            Ok(position) => ((position - 1e-9).ceil().max(0.0) as usize).min(all),
            Err(mistake) => {
                found.push(mistake.at(&moment.place).word(word));
                otherwise
            }
        }
    };
    let from = edge(&shot.source.from, "from", 0);
    let to = edge(&shot.source.to, "to", all);
    if let (true, Some(first), Some(last)) = (from >= to, &shot.source.from, &shot.source.to) {
        found.push(
            Diagnostic::mistake(format!(
                "'from' is still({}) and 'to' is still({to}): nothing lies between them",
                (from + 1).min(all)
            ))
            .at(&first.place)
            .word("from")
            .with(&last.place, "'to'"),
        );
        return 0..all;
    }
    from..to
}

/// Names every missing and damaged still of the part that the script wants stopped at.
fn refuse_by_policy(shot: &Shot, shoot: &Shoot, part: &std::ops::Range<usize>, found: &mut Diagnostics) {
    let mut missing: Vec<usize> = Vec::new();
    let say_missing = |run: &mut Vec<usize>, found: &mut Diagnostics| {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { return };
        let (first, last) = (&shoot.slots[*first].name, &shoot.slots[*last].name);
        let message = match run.len() {
            1 => format!("{first} is missing"),
            2 => format!("{first} and {last} are missing"),
            number => format!("{first} to {last} are missing: {number} stills"),
        };
        found.push(
            Diagnostic::mistake(message)
                .at(&shot.source.place)
                .help("missing = \"hold\" shows the still before it in its place, missing = \"skip\" takes no time for it"),
        );
        run.clear();
    };
    for index in part.clone() {
        let slot = &shoot.slots[index];
        match &slot.content {
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

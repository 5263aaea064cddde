//! Cuts the rows of all deliveries into batches: the frames that one decoded still serves, in the order they are due. A
//! frame of several stills is in the batch of each, and takes them in in the order in which the batches come.
//!
//! ## Decisions
//!
//! - An invented frame needs two pictures at once: it is one task of the still that comes later in its pass, whose
//!   batch holds the other's picture too. It waits for no accumulator and goes whichever way its pass does. Consecutive
//!   frames between the same stills through the same window reuse the worker's flow; it is the same whoever measures
//!   it.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::cover;
use super::groups::{Group, Print, Step, Take};
use super::passes::{self, Pass, mask_groups, passes};
use crate::plan::{Between, Corrected, DeliveryPlan, Layer, Layers, Row, Share, Weighted};
use crate::sample::{self, Part};
use crate::units::{Size, SlotIndex};

/// Frames a batch paints at the most: a still shown for long is shared out among the workers.
const FRAMES_A_BATCH: usize = 8;

/// All there is to do, in turn.
#[derive(Debug, PartialEq)]
pub(super) struct Work<'a> {
    /// The decodings.
    pub(super) visits: Vec<Visit<'a>>,
    /// The frames.
    pub(super) batches: Vec<Batch<'a>>,
}

/// One decoding of a still.
#[derive(Debug, PartialEq)]
pub(super) struct Visit<'a> {
    /// The still.
    pub(super) still: &'a Corrected,
    /// Shown where the still turns out damaged, if every row that shows it names one.
    pub(super) stand_in: Option<&'a Corrected>,
    /// Luma rows that any frame of this visit reads, upright.
    pub(super) rows: Range<u32>,
    /// What the still's sides are divided by: 1 but in drafts.
    pub(super) denominator: u32,
    /// Batches that need the picture.
    pub(super) batches: usize,
}

/// Some frames of one still.
#[derive(Debug, PartialEq)]
pub(super) struct Batch<'a> {
    /// Which of the visits: batches of one share a picture.
    pub(super) visit: usize,
    /// The still.
    pub(super) slot: SlotIndex,
    /// The visits of other stills that invented frames of this batch need at the same time.
    pub(super) beside: Vec<usize>,
    /// What to paint, in the order it is due in each delivery.
    pub(super) tasks: Vec<Task<'a>>,
}

/// What one still gives to one frame, which is shown for one row or several.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Task<'a> {
    /// Index of the delivery.
    pub(super) output: usize,
    /// Its first row.
    pub(super) row: usize,
    /// Rows it fills: more than one where the window rests on one still.
    pub(super) times: usize,
    /// What to paint.
    pub(super) what: What<'a>,
    /// Whether the frame is done before one that is due earlier: it must be laid aside then, for waiting might never
    /// end.
    pub(super) early: bool,
}

/// What to paint of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum What<'a> {
    /// All of it.
    Whole(&'a Layer),
    /// A still's part in a mean; whether it is the one that the frame's stamps tell of.
    Part(&'a Layer, Part, bool),
    /// All of an invented one, at once, from the visit that comes last.
    Between(&'a Between),
    /// A still's part in frames that gather light.
    Take(Take<'a>),
    /// One of them, all of whose stills have come.
    Print(Print),
}

impl Task<'_> {
    /// Whether all other parts of the frame come before.
    pub(super) fn is_last(&self) -> bool {
        match self.what {
            What::Part(_, part, _) => part.before + part.weight == Share::WHOLE,
            What::Whole(_) | What::Between(_) | What::Print(_) => true,
            What::Take(_) => false,
        }
    }

    /// The slots of an invented frame.
    fn invented(&self) -> Option<[SlotIndex; 2]> {
        match self.what {
            What::Between(between) => Some(between.layers.each_ref().map(Layer::slot)),
            What::Whole(_) | What::Part(..) | What::Take(_) | What::Print(_) => None,
        }
    }
}

/// Everything one still is shown in during a pass.
struct Showing<'a> {
    still: &'a Corrected,
    stand_in: Option<&'a Corrected>,
    rows: Range<u32>,
    denominator: u32,
    tasks: Vec<Task<'a>>,
}

/// The still of a slot, for whoever says which rows of it are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stills {
    pub(super) size: Size,
    /// Whether it is decoded as small as the frames that show it allow.
    pub(super) small: bool,
}

/// Splits the rows of all deliveries. A batch's frames are due, in every delivery, after those of all batches before
/// it, but for those marked [`Task::early`]: so whoever holds the foremost unfinished batch never waits for another,
/// however many take them in turn.
pub(super) fn split<'a>(plans: &[&DeliveryPlan], rows: &[&'a [Row]], stills: &dyn Fn(SlotIndex) -> Stills) -> Work<'a> {
    let (mut visits, mut batches) = (Vec::<Visit<'_>>::new(), Vec::new());
    let mask_groups = mask_groups(rows);
    let in_groups = mask_groups.iter().flat_map(|rows| passes(plans, rows).into_iter().map(move |pass| (rows, pass)));
    for (rows, pass) in in_groups {
        let showings = showings(&pass, plans, rows, stills);
        let in_turn: Vec<(SlotIndex, Showing<'_>)> =
            if pass.backwards { showings.into_iter().rev().collect() } else { showings.into_iter().collect() };
        let first = visits.len();
        let fresh = |(_, showing): &(SlotIndex, Showing<'a>)| Visit {
            still: showing.still,
            stand_in: showing.stand_in,
            rows: showing.rows.clone(),
            denominator: showing.denominator,
            batches: 0,
        };
        visits.extend(in_turn.iter().map(fresh));
        let visit_of: BTreeMap<SlotIndex, usize> =
            (first..).zip(&in_turn).map(|(visit, (slot, _))| (*slot, visit)).collect();
        for (slot, mut showing) in in_turn {
            let due = |task: &Task<'_>| plans[task.output].fps.time_of(task.row as u64).0;
            showing.tasks.sort_by(|a, b| due(a).total_cmp(&due(b)).then(a.output.cmp(&b.output)));
            // A still that is only shown beside others comes in its turn all the same, so that pictures are made in
            // order.
            let all_beside: &[&[Task<'_>]] = if showing.tasks.is_empty() { &[&[]] } else { &[] };
            for tasks in showing.tasks.chunks(FRAMES_A_BATCH).chain(all_beside.iter().copied()) {
                let mut tasks = tasks.to_vec();
                let others = tasks.iter().filter_map(Task::invented).flatten().filter(|other| *other != slot);
                let beside: BTreeSet<usize> = others.map(|other| visit_of[&other]).collect();
                if !beside.is_empty() {
                    // What is between two stills is found once for the frames of one window that follow one another.
                    tasks.sort_by_key(|task| task.output);
                }
                let visit = visit_of[&slot];
                beside.iter().chain([&visit]).for_each(|visit| visits[*visit].batches += 1);
                batches.push(Batch { visit, slot, beside: beside.into_iter().collect(), tasks });
            }
        }
    }
    mark_early(&mut batches, plans.len());
    Work { visits, batches }
}

/// What every still shows during a pass.
fn showings<'a>(
    pass: &Pass,
    plans: &[&DeliveryPlan],
    rows: &[&'a [Row]],
    stills: &dyn Fn(SlotIndex) -> Stills,
) -> BTreeMap<SlotIndex, Showing<'a>> {
    let mut showings: BTreeMap<SlotIndex, Showing<'_>> = BTreeMap::new();
    for (output, (plan, rows)) in plans.iter().zip(rows).enumerate() {
        let taken = pass.rows[output].clone();
        let mut first = taken.start;
        let mut group: Option<Group<'a>> = None;
        for run in rows[taken].chunk_by(passes::shows_the_same) {
            let layers = &run[0].layers;
            if let Some(gathered) = layers.gathered() {
                if !group.as_mut().is_some_and(|group| group.add(first, run.len(), gathered)) {
                    let next = Group::begin(first, run.len(), gathered, pass.backwards);
                    gather(&mut showings, group.replace(next), (output, plan), stills);
                }
                first += run.len();
                continue;
            }
            gather(&mut showings, group.take(), (output, plan), stills);
            for (layer, _) in layers.each() {
                show(&mut showings, layer, plan, stills(layer.slot()));
            }
            let mut give = |layer: &Layer, what: What<'a>| {
                let task = Task { output, row: first, times: run.len(), what, early: false };
                showings.entry(layer.slot()).and_modify(|showing| showing.tasks.push(task));
            };
            match layers {
                Layers::One(layer) => give(layer, What::Whole(layer)),
                Layers::Mean(parts) => {
                    let (mut before, foremost) = (0, layers.dominant());
                    for Weighted { layer, weight } in parts {
                        let is_foremost = foremost.is_some_and(|foremost| std::ptr::eq(foremost, layer));
                        give(layer, What::Part(layer, Part { weight: *weight, before }, is_foremost));
                        before += weight;
                    }
                }
                Layers::Between(between) => {
                    let [one, other] = &between.layers;
                    let comes_last = if pass.backwards { one.slot() < other.slot() } else { one.slot() > other.slot() };
                    give(if comes_last { one } else { other }, What::Between(between));
                }
                Layers::Gathered(_) => {}
            }
            first += run.len();
        }
        gather(&mut showings, group, (output, plan), stills);
    }
    for showing in showings.values_mut() {
        for still in std::iter::once(showing.still).chain(showing.stand_in) {
            showing.rows = cover::with_whole_areas(showing.rows.clone(), &still.covers);
        }
    }
    showings
}

/// Gives every still of a group of frames that gather light what is to be done with it.
fn gather<'a>(
    showings: &mut BTreeMap<SlotIndex, Showing<'a>>,
    group: Option<Group<'a>>,
    (output, plan): (usize, &DeliveryPlan),
    stills: &dyn Fn(SlotIndex) -> Stills,
) {
    for (layer, step, row, times) in group.iter().flat_map(Group::steps) {
        let what = match step {
            Step::Take(take) => {
                show(showings, layer, plan, stills(layer.slot()));
                What::Take(take)
            }
            Step::Print(print) => What::Print(print),
        };
        let task = Task { output, row, times, what, early: false };
        showings.entry(layer.slot()).and_modify(|showing| showing.tasks.push(task));
    }
}

/// Takes in what a frame of a delivery reads of a still, and of the one that may stand in for it.
fn show<'a>(showings: &mut BTreeMap<SlotIndex, Showing<'a>>, layer: &'a Layer, plan: &DeliveryPlan, stills: Stills) {
    // Decoded less small for another of its frames, the still is read in fewer rows for this one.
    let denominator = if stills.small { sample::denominator(layer.window, plan.frame) } else { 1 };
    let reads = |window| sample::rows_read(window, plan.frame, plan.sharpness, stills.size, denominator);
    let stand_in = layer.stand_in.as_deref();
    let other = stand_in.map(|other| &*other.still);
    let read = reads(layer.window);
    let fresh = || Showing { still: &layer.still, stand_in: other, rows: read.clone(), denominator, tasks: Vec::new() };
    let showing = showings.entry(layer.slot()).or_insert_with(fresh);
    showing.denominator = showing.denominator.min(denominator);
    let instead = stand_in.filter(|other| other.window != layer.window).map(|other| reads(other.window));
    for read in std::iter::once(read.clone()).chain(instead) {
        showing.rows = showing.rows.start.min(read.start)..showing.rows.end.max(read.end);
    }
    if other.map(|other| other.slot) != showing.stand_in.map(|other| other.slot) {
        showing.stand_in = None;
    }
}

/// Marks the frames that are done before one due earlier, which happens where spans overlap and the pace leaps.
fn mark_early(batches: &mut [Batch<'_>], outputs: usize) {
    let mut due_later_on = vec![usize::MAX; outputs];
    for task in batches.iter_mut().rev().flat_map(|batch| batch.tasks.iter_mut().rev()).filter(|task| task.is_last()) {
        let due = &mut due_later_on[task.output];
        task.early = *due < task.row;
        *due = task.row.min(*due);
    }
}

#[cfg(test)]
mod tests;

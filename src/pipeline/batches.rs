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

/// The stills that rows are about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stills {
    pub(super) size: Size,
    /// Whether they are decoded as small as the frames that show them allow.
    pub(super) small: bool,
}

/// Splits the rows of all deliveries. A batch's frames are due, in every delivery, after those of all batches before
/// it, but for those marked [`Task::early`]: so whoever holds the foremost unfinished batch never waits for another,
/// however many take them in turn.
pub(super) fn split<'a>(plans: &[&DeliveryPlan], rows: &[&'a [Row]], stills: Stills) -> Work<'a> {
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
    stills: Stills,
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
                show(&mut showings, layer, plan, stills);
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
    stills: Stills,
) {
    for (layer, step, row, times) in group.iter().flat_map(Group::steps) {
        let what = match step {
            Step::Take(take) => {
                show(showings, layer, plan, stills);
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
mod tests {
    use super::super::passes::{decodes, most_open};
    use super::*;
    use crate::geom::Window;
    use crate::plan::{Corrections, CoveredArea, Covering};
    use crate::shot::{Codec, CoverWith, Light, Policy, Sharpness};
    use crate::units::FrameRate;

    fn plan(name: &str, fps: u32, shown: &[usize], moving: bool) -> DeliveryPlan {
        let row = |(index, slot): (usize, &usize)| {
            Row::plain(SlotIndex(*slot), Window::new(if moving { index as f64 } else { 0.0 }, 0.0, 160.0, 90.0))
        };
        DeliveryPlan {
            name: name.into(),
            frame: Size::new(160, 90),
            fps: FrameRate::new(fps, 1).unwrap(),
            codec: Codec::PNG,
            sharpness: Sharpness::Even,
            resample: Light::Encoded,
            light: Light::Linear,
            room: WHOLE.size.into(),
            corrected: false,
            sound: [].into(),
            stamps: [].into(),
            unread_sound: Policy::default(),
            every_still: false,
            extras: crate::plan::Extras::default(),
            gathered: Vec::new(),
            rows: shown.iter().enumerate().map(row).collect(),
        }
    }

    const WHOLE: Stills = Stills { size: Size { width: 400, height: 300 }, small: false };

    fn split_plans(own: &[DeliveryPlan]) -> Vec<Batch<'static>> {
        // Left behind: batches borrow their layers.
        let own: &'static [DeliveryPlan] = own.to_vec().leak();
        let plans: Vec<&DeliveryPlan> = own.iter().collect();
        let rows: Vec<&[Row]> = own.iter().map(|plan| plan.rows.as_slice()).collect();
        split(&plans, &rows, WHOLE).batches
    }

    #[test]
    fn a_still_is_one_batch_for_all_deliveries_and_unshown_stills_are_none() {
        let batches = split_plans(&[plan("a", 10, &[0, 0, 4], true), plan("b", 20, &[0, 0, 0, 0, 4, 4], true)]);
        assert_eq!(batches.iter().map(|batch| (batch.slot.0, batch.tasks.len())).collect::<Vec<_>>(), [(0, 6), (4, 3)]);
        let due: Vec<(usize, usize)> = batches[0].tasks.iter().map(|task| (task.output, task.row)).collect();
        assert_eq!(due, [(0, 0), (1, 0), (1, 1), (0, 1), (1, 2), (1, 3)]);
    }

    /// Which part of its frame a task is.
    fn part(task: &Task<'_>) -> Part {
        match task.what {
            What::Part(_, part, _) => part,
            _ => Part { weight: Share::WHOLE, before: 0 },
        }
    }

    /// The slots of batches in turn.
    fn slots(batches: &[Batch<'_>]) -> Vec<usize> {
        batches.iter().map(|batch| batch.slot.0).collect()
    }

    #[test]
    fn a_pace_that_turns_back_returns_to_its_stills_and_decodes_the_one_it_turns_at_once() {
        let batches = split_plans(&[plan("a", 10, &[0, 1, 2, 2, 1, 0, 0, 1], true)]);
        assert_eq!(slots(&batches), [0, 1, 2, 1, 0, 1]);
        let visits: Vec<usize> = batches.iter().map(|batch| batch.visit).collect();
        assert_eq!(visits, [0, 1, 2, 3, 4, 5]);
    }

    #[test]
    fn deliveries_that_turn_together_share_their_passes() {
        let (slow, fast) = ([0, 1, 2, 3, 2, 1, 0], [0, 0, 1, 1, 2, 2, 3, 3, 2, 2, 1, 1, 0, 0]);
        let batches = split_plans(&[plan("a", 10, &slow, true), plan("b", 20, &fast, true)]);
        assert_eq!(slots(&batches), [0, 1, 2, 3, 2, 1, 0]);
    }

    #[test]
    fn shots_of_other_paces_still_share_one_pass_and_one_that_runs_against_them_has_its_own() {
        let ahead =
            [plan("a", 10, &[0, 1, 2, 3, 4], true), plan("b", 10, &[0, 4], true), plan("c", 10, &[2; 30], true)];
        let batches = split_plans(&ahead);
        assert_eq!(slots(&batches), [0, 1, 2, 2, 2, 2, 3, 4]);
        let batches = split_plans(&[plan("a", 10, &[0, 1, 2], true), plan("b", 10, &[2, 1, 0], true)]);
        assert_eq!(slots(&batches), [0, 1, 2, 2, 1, 0]);
    }

    #[test]
    fn deliveries_that_hide_other_things_in_one_still_have_passes_of_their_own_and_all_others_share_theirs() {
        let mut plans =
            [plan("a", 10, &[0, 1, 2], true), plan("b", 10, &[0, 1, 2], true), plan("c", 10, &[1, 5, 6], true)];
        let area = |x| CoveredArea { cover: 0, x, y: 0, width: 8, height: 8, with: CoverWith::Fill };
        let covering = |slot, x| Covering { first: SlotIndex(slot), last: SlotIndex(slot), areas: [area(x)].into() };
        // The third hides in still 1 what the first does, and something in a still that nobody else shows.
        let covers = [vec![covering(1, 0)], vec![covering(1, 40)], vec![covering(1, 0), covering(6, 40)]];
        for (plan, covers) in plans.iter_mut().zip(&covers) {
            let mut corrections = Corrections::new(None, None, covers);
            for row in &mut plan.rows {
                let shares: Vec<Share> = row.shares().collect();
                row.layers = corrections.layers(&shares, false, row.window);
            }
        }
        assert_eq!(slots(&split_plans(&plans)), [0, 1, 2, 5, 6, 0, 1, 2]);
        let hidden = |batch: &Batch<'_>| match batch.tasks[0].what {
            What::Whole(layer) => layer.still.covers.first().map(|area| area.x),
            What::Part(..) | What::Between(_) => unreachable!("every frame is of one still"),
        };
        let hidden: Vec<Option<u32>> = split_plans(&plans).iter().map(hidden).collect();
        assert_eq!(hidden, [None, Some(0), None, None, Some(40), None, Some(40), None]);
    }

    proptest::proptest! {
        #[test]
        fn every_row_is_painted_once_and_in_the_order_of_its_delivery(
            walks in proptest::collection::vec(proptest::collection::vec(-3_i64..4, 1..60), 1..4),
        ) {
            let walk = |steps: &Vec<i64>| {
                let mut at = 8_i64;
                steps.iter().map(|step| { at = (at + step).clamp(0, 16); usize::try_from(at).unwrap() }).collect::<Vec<_>>()
            };
            let shown: Vec<Vec<usize>> = walks.iter().map(walk).collect();
            let plans: Vec<DeliveryPlan> = (24..).zip(&shown).map(|(fps, shown)| plan("a", fps, shown, true)).collect();
            let batches = split_plans(&plans);
            let mut next = vec![0; plans.len()];
            for batch in &batches {
                for task in &batch.tasks {
                    proptest::prop_assert_eq!(task.row, next[task.output]);
                    proptest::prop_assert_eq!(shown[task.output][task.row], batch.slot.0);
                    next[task.output] += task.times;
                }
            }
            proptest::prop_assert_eq!(next, shown.iter().map(Vec::len).collect::<Vec<_>>());
            let visits: BTreeSet<usize> = batches.iter().map(|batch| batch.visit).collect();
            let plans: Vec<&DeliveryPlan> = plans.iter().collect();
            let rows: Vec<&[Row]> = plans.iter().map(|plan| plan.rows.as_slice()).collect();
            proptest::prop_assert_eq!(visits.len(), decodes(&plans, &rows));
        }
    }

    #[test]
    fn a_resting_window_on_a_held_still_is_painted_once() {
        let batches = split_plans(&[plan("a", 10, &[0, 0, 0, 1], false)]);
        assert_eq!(batches[0].tasks.len(), 1);
        assert_eq!((batches[0].tasks[0].times, batches[1].tasks[0].row), (3, 3));
    }

    #[test]
    fn a_frame_of_several_stills_is_in_the_batch_of_each_and_one_that_ends_early_is_marked() {
        let mut plan = plan("a", 10, &[0, 1, 1, 3], true);
        let share = |slot, weight| Share { shown: SlotIndex(slot), stand_in: None, weight };
        let shares = [share(0, 40_000), share(1, 25_000), share(2, 536)];
        plan.rows[0].layers = Corrections::default().layers(&shares, false, plan.rows[0].window);
        let batches = split_plans(&[plan]);
        let tasks = |slot: usize| batches[slot].tasks.iter().map(|task| (task.row, part(task).before, task.early));
        assert_eq!(tasks(0).collect::<Vec<_>>(), [(0, 0, false)]);
        // Rows 1 and 2 are still 1's alone, and row 0, due before them, still waits for still 2.
        assert_eq!(tasks(1).collect::<Vec<_>>(), [(0, 40_000, false), (1, 0, true), (2, 0, true)]);
        assert_eq!(tasks(2).collect::<Vec<_>>(), [(0, 65_000, false)]);
        assert_eq!(tasks(3).collect::<Vec<_>>(), [(3, 0, false)]);
        assert!(
            batches[2].tasks[0].is_last()
                && !batches[1].tasks[0].is_last()
                && matches!(batches[3].tasks[0].what, What::Whole(_))
        );
    }

    /// A row that is the mean of stills in this order.
    fn mean(plan: &mut DeliveryPlan, row: usize, stills: &[usize]) {
        let weight = Share::WHOLE / u32::try_from(stills.len()).unwrap();
        let shares: Vec<Share> =
            stills.iter().map(|slot| Share { shown: SlotIndex(*slot), stand_in: None, weight }).collect();
        plan.rows[row].layers = Corrections::default().layers(&shares, false, plan.rows[row].window);
    }

    #[test]
    fn frames_of_several_stills_go_their_own_way_and_those_of_a_turn_go_with_the_way_back() {
        let mut plan = plan("a", 10, &[0, 1, 2, 3, 2, 1, 0], true);
        for (row, stills) in [[0, 1], [1, 2], [2, 3], [3, 2], [2, 1], [1, 0]].iter().enumerate() {
            mean(&mut plan, row, stills);
        }
        let batches = split_plans(&[plan]);
        assert_eq!(slots(&batches), [0, 1, 2, 3, 3, 2, 1, 0]);
        assert!(batches.iter().flat_map(|batch| &batch.tasks).all(|task| !task.early));
    }

    #[test]
    fn frames_that_mix_two_far_parts_of_a_shoot_are_kept_open_a_few_at_a_time() {
        // 60 frames of their own, then 60 that mix stills 100 apart.
        let shown: Vec<usize> = (40..160).collect();
        let mut one = plan("a", 10, &shown, true);
        one.frame = Size::new(1920, 1080);
        (60..120).for_each(|row| mean(&mut one, row, &[row - 60, row + 40]));
        let other = DeliveryPlan {
            name: "b".into(),
            fps: FrameRate::new(20, 1).unwrap(),
            rows: vec![one.rows[0].clone(); 240],
            ..one.clone()
        };
        let most = most_open(&one);
        assert_eq!(most, 10);
        let batches = split_plans(&[one, other]);
        let (mut open, mut seen) = (BTreeSet::new(), 0);
        for task in batches.iter().flat_map(|batch| &batch.tasks).filter(|task| !matches!(task.what, What::Whole(_))) {
            if task.is_last() {
                open.remove(&task.row)
            } else {
                open.insert(task.row)
            };
            seen = seen.max(open.len());
        }
        assert_eq!(seen, most);
        // Every still of the frames that mix once, and the other delivery's still once a pass.
        assert_eq!(slots(&batches).iter().filter(|slot| **slot != 40).count(), 59 + 120 - 1);
    }

    #[test]
    fn a_still_of_a_draft_is_decoded_as_small_as_the_closest_of_its_frames_allows() {
        let mut near = plan("a", 10, &[0, 1, 2], false);
        let mut far = plan("b", 10, &[0, 1, 3], false);
        for (plan, widths) in [(&mut near, [79.9, 160.0, 319.0]), (&mut far, [640.0, 320.0, 639.0])] {
            plan.frame = Size::new(80, 45);
            let rows = plan.rows.iter_mut().zip(widths);
            rows.for_each(|(row, width)| *row = Row::plain(row.slot, Window::new(0.0, 0.0, width, width * 0.5625)));
        }
        let (plans, rows) = ([&near, &far], [near.rows.as_slice(), far.rows.as_slice()]);
        let denominators = |small| {
            let work = split(&plans, &rows, Stills { size: Size::new(800, 600), small });
            work.visits.iter().map(|visit| visit.denominator).collect::<Vec<_>>()
        };
        assert_eq!(denominators(true), [1, 2, 2, 4]);
        assert_eq!(denominators(false), [1; 4]);
    }

    #[test]
    fn a_still_shown_for_long_is_shared_out() {
        let batches = split_plans(&[plan("a", 10, &[0; 20], true)]);
        assert_eq!(batches.iter().map(|batch| batch.tasks.len()).collect::<Vec<_>>(), [8, 8, 4]);
        assert!(batches.iter().all(|batch| batch.visit == 0));
    }

    #[test]
    fn an_invented_frame_is_one_task_of_the_later_still_which_needs_both_pictures() {
        let mut plan = plan("a", 10, &[0, 0, 0, 1, 1], true);
        let share = |slot, weight| Share { shown: SlotIndex(slot), stand_in: None, weight };
        for (row, first, weight) in [(1, 0, 40_000), (2, 0, 20_000), (4, 1, 30_000)] {
            let shares = [share(first, Share::WHOLE - weight), share(first + 1, weight)];
            plan.rows[row].layers = Corrections::default().layers(&shares, true, plan.rows[row].window);
        }
        let rows = [plan.rows.as_slice()];
        let work = split(&[&plan], &rows, WHOLE);
        let seen: Vec<_> = work.batches.iter().map(|batch| (batch.slot.0, batch.beside.clone())).collect();
        assert_eq!(seen, [(0, vec![]), (1, vec![0]), (2, vec![1])]);
        let tasks: Vec<_> = work.batches[1].tasks.iter().map(|task| (task.row, task.is_last(), task.early)).collect();
        assert_eq!(tasks, [(1, true, false), (2, true, false), (3, true, false)]);
        let ways = work.batches[1].tasks.iter().map(|task| match task.what {
            What::Between(between) => between.way,
            What::Whole(_) | What::Part(..) => Share::WHOLE,
        });
        assert_eq!(ways.collect::<Vec<_>>(), [40_000, 20_000, Share::WHOLE]);
        assert_eq!(work.batches[1].tasks[0].invented(), Some([SlotIndex(0), SlotIndex(1)]));
        assert_eq!(work.visits.iter().map(|visit| visit.batches).collect::<Vec<_>>(), [2, 2, 1]);
        assert_eq!(decodes(&[&plan], &rows), 3);
    }
}

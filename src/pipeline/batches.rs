//! Cuts the rows of all deliveries into batches: the frames that one decoded still serves, in the order they are due. A frame
//! of several stills is in the batch of each, and takes them in in the order in which the batches come.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::geom::Window;
use crate::plan::{DeliveryPlan, Row, Share, covered_in};
use crate::sample::{self, Exposure, Part};
use crate::units::{Size, SlotIndex};

use super::cover;

/// Frames a batch paints at the most: a still shown for long is shared out among the workers.
const FRAMES_A_BATCH: usize = 8;

/// Bytes that a delivery's frames of several stills may take while they are open, but for [`FEWEST_OPEN`] of them.
const OPEN_BYTES: u64 = 512 << 20;

/// Frames of several stills that may be open at once whatever they take: the widest shutter keeps five open.
const FEWEST_OPEN: u64 = 6;

/// Some frames of one still.
#[derive(Debug, PartialEq)]
pub(super) struct Batch {
    /// Counts the decodings: batches of one visit share a picture.
    pub(super) visit: usize,
    /// The still.
    pub(super) slot: SlotIndex,
    /// Shown where the still turns out damaged, if every row that shows it names one.
    pub(super) stand_in: Option<SlotIndex>,
    /// Luma rows that any frame of this visit reads, upright.
    pub(super) rows: Range<u32>,
    /// Batches of this visit in all.
    pub(super) of_visit: usize,
    /// What to paint, in the order it is due.
    pub(super) tasks: Vec<Task>,
}

/// What one still gives to one frame, which is shown for one row or several.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Task {
    /// Index of the delivery.
    pub(super) output: usize,
    /// Its first row.
    pub(super) row: usize,
    /// Rows it fills: more than one where the window rests on one still.
    pub(super) times: usize,
    /// What to paint.
    pub(super) window: Window,
    /// Which part of the frame: most frames are one still's alone.
    pub(super) part: Part,
    /// Whether the frame is done before one that is due earlier: it must be laid aside then, for waiting might never end.
    pub(super) early: bool,
}

impl Task {
    /// Whether no other still has a part in the frame.
    pub(super) fn is_whole(&self) -> bool {
        self.part.weight == Share::WHOLE
    }

    /// Whether all other parts of the frame come before.
    pub(super) fn is_last(&self) -> bool {
        self.part.before + self.part.weight == Share::WHOLE
    }
}

/// Everything one still is shown in during a pass.
struct Showing {
    stand_in: Option<SlotIndex>,
    rows: Range<u32>,
    tasks: Vec<Task>,
}

/// One pass over the stills in one direction: by output, the rows that it brings.
#[derive(Debug, PartialEq)]
struct Pass {
    backwards: bool,
    rows: Vec<Range<usize>>,
}

/// Cuts the rows of all deliveries into passes. A delivery's rows fall into *sweeps* over which the stills shown go one way;
/// a pass takes the next sweep of every delivery that goes its way, and its way is that of the sweep due first. Where all go
/// forwards that is one pass, in which every still comes once whatever the deliveries' paces; only a pace that turns back
/// returns to a still, or a sweep that ends because too many frames would be open: what is due after it in other deliveries
/// waits for the next pass too, so that they go on sharing their stills. Every pass brings the next rows of a delivery or none,
/// so that a delivery's rows stay in order.
fn passes(plans: &[&DeliveryPlan], rows: &[&[Row]]) -> Vec<Pass> {
    let mut next = vec![0; rows.len()];
    let mut passes = Vec::new();
    loop {
        let sweeps: Vec<Sweep> =
            (0..rows.len()).map(|output| sweep(rows[output], next[output], most_open(plans[output]))).collect();
        let due = |output: usize, row: usize| plans[output].fps.time_of(row as u64).0;
        let waiting = (0..rows.len()).filter(|output| !sweeps[*output].rows.is_empty());
        let Some(first) = waiting.min_by(|one, other| due(*one, next[*one]).total_cmp(&due(*other, next[*other]))) else {
            return passes;
        };
        // A sweep of a single still goes any way.
        let way = sweeps[first].backwards.or_else(|| sweeps.iter().find_map(|sweep| sweep.backwards)).unwrap_or(false);
        let goes = |sweep: &Sweep| sweep.backwards.is_none_or(|backwards| backwards == way);
        let full = (0..rows.len()).filter(|output| sweeps[*output].full && goes(&sweeps[*output]));
        let until = full.map(|output| due(output, sweeps[output].rows.end)).fold(f64::INFINITY, f64::min);
        let taken: Vec<Range<usize>> = (0..rows.len())
            .map(|output| {
                let Range { start, end } = sweeps[output].rows.clone();
                let in_time = (start..end).take_while(|row| due(output, *row) < until).count();
                if goes(&sweeps[output]) { start..start + in_time } else { start..start }
            })
            .collect();
        for (next, taken) in next.iter_mut().zip(&taken) {
            *next = taken.end;
        }
        passes.push(Pass { backwards: way, rows: taken });
    }
}

/// Rows over which the stills shown go one way.
struct Sweep {
    rows: Range<usize>,
    /// Whether that is backwards; none where they stay.
    backwards: Option<bool>,
    /// Whether it ends only because too many frames would be open.
    full: bool,
}

/// The sweep from row `first` on. A frame of several stills goes the way in which it takes them in, and no more than `most` of
/// them are open at once.
fn sweep(rows: &[Row], first: usize, most: usize) -> Sweep {
    let mut backwards = None;
    // The frames that are open: the stills they end with.
    let mut open: Vec<SlotIndex> = Vec::new();
    for row in first..rows.len() {
        let (begins, ends) = ends(&rows[row]);
        let step = if row > first { begins.cmp(&self::ends(&rows[row - 1]).0) } else { Ordering::Equal };
        for way in [step, ends.cmp(&begins)] {
            if way != Ordering::Equal && *backwards.get_or_insert(way == Ordering::Less) != (way == Ordering::Less) {
                return Sweep { rows: first..row, backwards, full: false };
            }
        }
        if begins == ends || row > first && shows_the_same(&rows[row - 1], &rows[row]) {
            continue;
        }
        open.retain(|end| if backwards == Some(true) { *end < begins } else { *end > begins });
        if open.len() >= most {
            return Sweep { rows: first..row, backwards, full: true };
        }
        open.push(ends);
    }
    Sweep { rows: first..rows.len(), backwards, full: false }
}

/// The still that a frame begins with and the one it ends with.
fn ends(row: &Row) -> (SlotIndex, SlotIndex) {
    match row.blend.as_slice() {
        [first, .., last] => (first.shown, last.shown),
        _ => (row.shown, row.shown),
    }
}

fn shows_the_same(one: &Row, other: &Row) -> bool {
    one.shown == other.shown && one.window == other.window && one.blend == other.blend
}

/// How many frames of several stills a delivery may have open at once.
fn most_open(plan: &DeliveryPlan) -> usize {
    let most = (OPEN_BYTES / (Exposure::BYTES_A_PIXEL * plan.frame.pixels())).max(FEWEST_OPEN);
    usize::try_from(most).unwrap_or(usize::MAX)
}

/// The rows of all deliveries, apart by what is hidden in their stills: a decoded still is covered once, for all that see it.
fn coats<'a>(plans: &[&DeliveryPlan], rows: &[&'a [Row]]) -> Vec<Vec<&'a [Row]>> {
    let mut coats: Vec<(usize, Vec<&[Row]>)> = Vec::new();
    for (output, plan) in plans.iter().enumerate() {
        let known = coats.iter().position(|(first, _)| plans[*first].covers == plan.covers);
        let coat = known.unwrap_or_else(|| {
            coats.push((output, vec![&[]; plans.len()]));
            coats.len() - 1
        });
        coats[coat].1[output] = rows[output];
    }
    coats.into_iter().map(|(_, rows)| rows).collect()
}

/// How many times a still is decoded: once for every pass that shows it.
pub(super) fn decodes(plans: &[&DeliveryPlan], rows: &[&[Row]]) -> usize {
    let of_pass = |pass: &Pass| {
        let shown = rows
            .iter()
            .zip(&pass.rows)
            .flat_map(|(rows, taken)| &rows[taken.clone()])
            .flat_map(Row::shares)
            .map(|share| share.shown);
        shown.collect::<BTreeSet<SlotIndex>>().len()
    };
    coats(plans, rows).iter().flat_map(|rows| passes(plans, rows)).map(|pass| of_pass(&pass)).sum()
}

/// Splits the rows of all deliveries. A batch's frames are due, in every delivery, after those of all batches before it, but for
/// those marked [`Task::early`]: so whoever holds the foremost unfinished batch never waits for another, however many take them
/// in turn.
pub(super) fn split(plans: &[&DeliveryPlan], rows: &[&[Row]], still: Size) -> Vec<Batch> {
    let mut batches = Vec::new();
    let mut visit = 0;
    let coats = coats(plans, rows);
    for (rows, pass) in coats.iter().flat_map(|rows| passes(plans, rows).into_iter().map(move |pass| (rows, pass))) {
        let showings = showings(&pass, plans, rows, still);
        let in_turn: Vec<(SlotIndex, Showing)> =
            if pass.backwards { showings.into_iter().rev().collect() } else { showings.into_iter().collect() };
        for (slot, mut showing) in in_turn {
            let due = |task: &Task| plans[task.output].fps.time_of(task.row as u64).0;
            showing.tasks.sort_by(|a, b| due(a).total_cmp(&due(b)).then(a.output.cmp(&b.output)));
            let of_visit = showing.tasks.len().div_ceil(FRAMES_A_BATCH);
            for tasks in showing.tasks.chunks(FRAMES_A_BATCH) {
                let (rows, tasks) = (showing.rows.clone(), tasks.to_vec());
                batches.push(Batch { visit, slot, stand_in: showing.stand_in, rows, of_visit, tasks });
            }
            visit += 1;
        }
    }
    mark_early(&mut batches, plans.len());
    batches
}

/// What every still shows during a pass.
fn showings(pass: &Pass, plans: &[&DeliveryPlan], rows: &[&[Row]], still: Size) -> BTreeMap<SlotIndex, Showing> {
    let mut showings: BTreeMap<SlotIndex, Showing> = BTreeMap::new();
    for (output, (plan, rows)) in plans.iter().zip(rows).enumerate() {
        let taken = pass.rows[output].clone();
        let mut first = taken.start;
        for run in rows[taken].chunk_by(shows_the_same) {
            let window = run[0].window;
            let reads = sample::rows_read(window, plan.frame, plan.sharpness, still);
            let mut before = 0;
            for Share { shown, stand_in, weight } in run[0].shares() {
                let showing =
                    showings.entry(shown).or_insert_with(|| Showing { stand_in, rows: reads.clone(), tasks: Vec::new() });
                showing.rows = showing.rows.start.min(reads.start)..showing.rows.end.max(reads.end);
                if stand_in != showing.stand_in || run.iter().any(|row| row.blend.is_empty() && row.stand_in != stand_in) {
                    showing.stand_in = None;
                }
                let part = Part { weight, before };
                showing.tasks.push(Task { output, row: first, times: run.len(), window, part, early: false });
                before += weight;
            }
            first += run.len();
        }
    }
    for (slot, showing) in &mut showings {
        let covers = showing.tasks.first().map_or(&[][..], |task| &plans[task.output].covers);
        for slot in std::iter::once(*slot).chain(showing.stand_in) {
            showing.rows = cover::with_whole_areas(showing.rows.clone(), covered_in(covers, slot));
        }
    }
    showings
}

/// Marks the frames that are done before one due earlier, which happens where spans overlap and the pace leaps.
fn mark_early(batches: &mut [Batch], outputs: usize) {
    let mut due_later_on = vec![usize::MAX; outputs];
    for task in batches.iter_mut().rev().flat_map(|batch| batch.tasks.iter_mut().rev()).filter(|task| task.is_last()) {
        let due = &mut due_later_on[task.output];
        task.early = *due < task.row;
        *due = task.row.min(*due);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Codec, Light, Sharpness};
    use crate::units::FrameRate;

    fn plan(name: &str, fps: u32, shown: &[usize], moving: bool) -> DeliveryPlan {
        let row = |(index, slot): (usize, &usize)| Row {
            position: 0.0,
            slot: SlotIndex(*slot),
            shown: SlotIndex(*slot),
            stand_in: None,
            blend: Vec::new(),
            window: Window::new(if moving { index as f64 } else { 0.0 }, 0.0, 160.0, 90.0),
        };
        DeliveryPlan {
            name: name.into(),
            frame: Size::new(160, 90),
            fps: FrameRate::new(fps, 1).unwrap(),
            codec: Codec::Png,
            sharpness: Sharpness::Even,
            light: Light::Linear,
            covers: [].into(),
            rows: shown.iter().enumerate().map(row).collect(),
        }
    }

    fn split_plans(plans: &[DeliveryPlan]) -> Vec<Batch> {
        let plans: Vec<&DeliveryPlan> = plans.iter().collect();
        let rows: Vec<&[Row]> = plans.iter().map(|plan| plan.rows.as_slice()).collect();
        split(&plans, &rows, Size::new(400, 300))
    }

    #[test]
    fn a_still_is_one_batch_for_all_deliveries_and_unshown_stills_are_none() {
        let batches = split_plans(&[plan("a", 10, &[0, 0, 4], true), plan("b", 20, &[0, 0, 0, 0, 4, 4], true)]);
        assert_eq!(batches.iter().map(|batch| (batch.slot.0, batch.tasks.len())).collect::<Vec<_>>(), [(0, 6), (4, 3)]);
        let due: Vec<(usize, usize)> = batches[0].tasks.iter().map(|task| (task.output, task.row)).collect();
        assert_eq!(due, [(0, 0), (1, 0), (1, 1), (0, 1), (1, 2), (1, 3)]);
    }

    /// The slots of batches in turn.
    fn slots(batches: &[Batch]) -> Vec<usize> {
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
        let ahead = [plan("a", 10, &[0, 1, 2, 3, 4], true), plan("b", 10, &[0, 4], true), plan("c", 10, &[2; 30], true)];
        let batches = split_plans(&ahead);
        assert_eq!(slots(&batches), [0, 1, 2, 2, 2, 2, 3, 4]);
        let batches = split_plans(&[plan("a", 10, &[0, 1, 2], true), plan("b", 10, &[2, 1, 0], true)]);
        assert_eq!(slots(&batches), [0, 1, 2, 2, 1, 0]);
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
        plan.rows[0].blend = vec![share(0, 40_000), share(1, 25_000), share(2, 536)];
        let batches = split_plans(&[plan]);
        let tasks = |slot: usize| batches[slot].tasks.iter().map(|task| (task.row, task.part.before, task.early));
        assert_eq!(tasks(0).collect::<Vec<_>>(), [(0, 0, false)]);
        // Rows 1 and 2 are still 1's alone, and row 0, due before them, still waits for still 2.
        assert_eq!(tasks(1).collect::<Vec<_>>(), [(0, 40_000, false), (1, 0, true), (2, 0, true)]);
        assert_eq!(tasks(2).collect::<Vec<_>>(), [(0, 65_000, false)]);
        assert_eq!(tasks(3).collect::<Vec<_>>(), [(3, 0, false)]);
        assert!(batches[2].tasks[0].is_last() && !batches[1].tasks[0].is_last() && batches[3].tasks[0].is_whole());
    }

    /// A row that is the mean of stills in this order.
    fn mean(plan: &mut DeliveryPlan, row: usize, stills: &[usize]) {
        let weight = Share::WHOLE / u32::try_from(stills.len()).unwrap();
        plan.rows[row].blend = stills.iter().map(|slot| Share { shown: SlotIndex(*slot), stand_in: None, weight }).collect();
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
        for task in batches.iter().flat_map(|batch| &batch.tasks).filter(|task| !task.is_whole()) {
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
    fn a_still_shown_for_long_is_shared_out() {
        let batches = split_plans(&[plan("a", 10, &[0; 20], true)]);
        assert_eq!(batches.iter().map(|batch| batch.tasks.len()).collect::<Vec<_>>(), [8, 8, 4]);
        assert!(batches.iter().all(|batch| batch.of_visit == 3));
    }
}

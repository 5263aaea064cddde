//! Cuts the rows of all deliveries into batches: the frames that one decoded still serves, in the order they are due. A frame
//! of several stills is in the batch of each.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::geom::Window;
use crate::plan::{DeliveryPlan, Row, Share};
use crate::sample::{self, Part};
use crate::units::{Size, SlotIndex};

/// Frames a batch paints at the most: a still shown for long is shared out among the workers.
const FRAMES_A_BATCH: usize = 8;

/// Some frames of one still.
#[derive(Debug, PartialEq)]
pub(super) struct Batch {
    /// The still.
    pub(super) slot: SlotIndex,
    /// Shown where the still turns out damaged, if every row that shows it names one.
    pub(super) stand_in: Option<SlotIndex>,
    /// Luma rows that any frame of this still reads, upright.
    pub(super) rows: Range<u32>,
    /// Batches of this still in all.
    pub(super) of_slot: usize,
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

/// Everything one still is shown in.
struct Showing {
    stand_in: Option<SlotIndex>,
    rows: Range<u32>,
    tasks: Vec<Task>,
}

/// Splits the rows of all deliveries. Within a delivery the stills shown never go backwards, so the batches, in the order of
/// their stills, bring every delivery's frames in order too, but for those marked [`Task::early`].
pub(super) fn split(plans: &[&DeliveryPlan], rows: &[&[Row]], still: Size) -> Vec<Batch> {
    let mut showings: BTreeMap<SlotIndex, Showing> = BTreeMap::new();
    for (output, (plan, rows)) in plans.iter().zip(rows).enumerate() {
        debug_assert!(rows.is_sorted_by_key(|row| row.shown), "{}: a plan runs backwards", plan.name);
        let mut first = 0;
        for run in rows.chunk_by(|a, b| a.shown == b.shown && a.window == b.window && a.blend == b.blend) {
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
    let mut batches = Vec::new();
    for (slot, mut showing) in showings {
        let due = |task: &Task| plans[task.output].fps.time_of(task.row as u64).0;
        showing.tasks.sort_by(|a, b| due(a).total_cmp(&due(b)).then(a.output.cmp(&b.output)));
        let of_slot = showing.tasks.len().div_ceil(FRAMES_A_BATCH);
        for tasks in showing.tasks.chunks(FRAMES_A_BATCH) {
            batches.push(Batch { slot, stand_in: showing.stand_in, rows: showing.rows.clone(), of_slot, tasks: tasks.to_vec() });
        }
    }
    mark_early(&mut batches, plans.len());
    batches
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

    #[test]
    fn a_still_shown_for_long_is_shared_out() {
        let batches = split_plans(&[plan("a", 10, &[0; 20], true)]);
        assert_eq!(batches.iter().map(|batch| batch.tasks.len()).collect::<Vec<_>>(), [8, 8, 4]);
        assert!(batches.iter().all(|batch| batch.of_slot == 3));
    }
}

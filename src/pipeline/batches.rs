//! Cuts the rows of all deliveries into batches: the frames that one decoded still serves, in the order they are due.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::geom::Window;
use crate::plan::{DeliveryPlan, Row};
use crate::sample;
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

/// One painted frame, shown for one row or several.
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
}

/// Everything one still is shown in.
struct Showing {
    stand_in: Option<SlotIndex>,
    rows: Range<u32>,
    tasks: Vec<Task>,
}

/// Splits the rows of all deliveries. Within a delivery the stills shown never go backwards, so the batches, in the order of
/// their stills, bring every delivery's frames in order too.
pub(super) fn split(plans: &[&DeliveryPlan], rows: &[&[Row]], still: Size) -> Vec<Batch> {
    let mut showings: BTreeMap<SlotIndex, Showing> = BTreeMap::new();
    for (output, (plan, rows)) in plans.iter().zip(rows).enumerate() {
        debug_assert!(rows.is_sorted_by_key(|row| row.shown), "{}: a plan runs backwards", plan.name);
        let mut first = 0;
        for run in rows.chunk_by(|a, b| a.shown == b.shown && a.window == b.window) {
            let row = run[0];
            let reads = sample::rows_read(row.window, plan.frame, plan.sharpness, still);
            let showing = showings.entry(row.shown).or_insert_with(|| Showing {
                stand_in: row.stand_in,
                rows: reads.clone(),
                tasks: Vec::new(),
            });
            showing.rows = showing.rows.start.min(reads.start)..showing.rows.end.max(reads.end);
            if run.iter().any(|row| row.stand_in != showing.stand_in) {
                showing.stand_in = None;
            }
            showing.tasks.push(Task { output, row: first, times: run.len(), window: row.window });
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
    batches
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Codec, Sharpness};
    use crate::units::FrameRate;

    fn plan(name: &str, fps: u32, shown: &[usize], moving: bool) -> DeliveryPlan {
        let row = |(index, slot): (usize, &usize)| Row {
            position: 0.0,
            slot: SlotIndex(*slot),
            shown: SlotIndex(*slot),
            stand_in: None,
            window: Window::new(if moving { index as f64 } else { 0.0 }, 0.0, 160.0, 90.0),
        };
        DeliveryPlan {
            name: name.into(),
            frame: Size::new(160, 90),
            fps: FrameRate::new(fps, 1).unwrap(),
            codec: Codec::Png,
            sharpness: Sharpness::Even,
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
    fn a_still_shown_for_long_is_shared_out() {
        let batches = split_plans(&[plan("a", 10, &[0; 20], true)]);
        assert_eq!(batches.iter().map(|batch| batch.tasks.len()).collect::<Vec<_>>(), [8, 8, 4]);
        assert!(batches.iter().all(|batch| batch.of_slot == 3));
    }
}

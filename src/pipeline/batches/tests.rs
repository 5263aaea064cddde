//! Which frames a decoded still serves, and in which order.

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
        rooms: Vec::new(),
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
    split(&plans, &rows, &|_| WHOLE).batches
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
    let ahead = [plan("a", 10, &[0, 1, 2, 3, 4], true), plan("b", 10, &[0, 4], true), plan("c", 10, &[2; 30], true)];
    let batches = split_plans(&ahead);
    assert_eq!(slots(&batches), [0, 1, 2, 2, 2, 2, 3, 4]);
    let batches = split_plans(&[plan("a", 10, &[0, 1, 2], true), plan("b", 10, &[2, 1, 0], true)]);
    assert_eq!(slots(&batches), [0, 1, 2, 2, 1, 0]);
}

#[test]
fn deliveries_that_hide_other_things_in_one_still_have_passes_of_their_own_and_all_others_share_theirs() {
    let mut plans = [plan("a", 10, &[0, 1, 2], true), plan("b", 10, &[0, 1, 2], true), plan("c", 10, &[1, 5, 6], true)];
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
        _ => unreachable!("every frame is of one still"),
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
        let work = split(&plans, &rows, &|_| Stills { size: Size::new(800, 600), small });
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
    let work = split(&[&plan], &rows, &|_| WHOLE);
    let seen: Vec<_> = work.batches.iter().map(|batch| (batch.slot.0, batch.beside.clone())).collect();
    assert_eq!(seen, [(0, vec![]), (1, vec![0]), (2, vec![1])]);
    let tasks: Vec<_> = work.batches[1].tasks.iter().map(|task| (task.row, task.is_last(), task.early)).collect();
    assert_eq!(tasks, [(1, true, false), (2, true, false), (3, true, false)]);
    let ways = work.batches[1].tasks.iter().map(|task| match task.what {
        What::Between(between) => between.way,
        _ => Share::WHOLE,
    });
    assert_eq!(ways.collect::<Vec<_>>(), [40_000, 20_000, Share::WHOLE]);
    assert_eq!(work.batches[1].tasks[0].invented(), Some([SlotIndex(0), SlotIndex(1)]));
    assert_eq!(work.visits.iter().map(|visit| visit.batches).collect::<Vec<_>>(), [2, 2, 1]);
    assert_eq!(decodes(&[&plan], &rows), 3);
}

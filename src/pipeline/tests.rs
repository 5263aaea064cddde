//! The pipeline with sinks that only look: order, first cause, interrupts, stand-ins.

use std::path::PathBuf;

use super::*;
use crate::ffi::jpeg;
use crate::geom::Window;
use crate::picture::FrameKind;
use crate::plan::Share;
use crate::shoot::{Content, Format, Orientation, Slot, Still};
use crate::shot::{Codec, Light, Sharpness};
use crate::units::{FrameRate, Size};

const STILL: Size = Size { width: 96, height: 64 };

/// A shoot of flat stills, each a little lighter than the one before.
fn shoot(folder: &std::path::Path, count: usize) -> Shoot {
    let slots = (0..count).map(|index| {
        let path = folder.join(format!("{index}.jpg"));
        let grey = vec![u8::try_from(40 + index).unwrap(); 3 * (STILL.width * STILL.height) as usize];
        std::fs::write(&path, jpeg::encode_rgb(&grey, STILL, 95, (2, 2), &[])).unwrap();
        let metadata = std::fs::metadata(&path).unwrap();
        let modified = crate::decode::header::nanoseconds(metadata.modified().unwrap());
        let still = Still {
            path,
            format: Format::Jpeg,
            stored: STILL,
            orientation: Orientation::Upright,
            captured: None,
            settings: crate::shoot::Settings::default(),
            bytes: metadata.len(),
            modified,
        };
        Slot { name: index.to_string(), content: Content::Whole(still) }
    });
    Shoot { slots: slots.collect(), size: STILL, interval: None, set_aside: Vec::new(), notes: Vec::new(), recording: None }
}

fn plan(name: &str, slots: impl Iterator<Item = usize>) -> DeliveryPlan {
    let row = |(index, slot): (usize, usize)| Row {
        position: slot as f64,
        slot: SlotIndex(slot),
        shown: SlotIndex(slot),
        stand_in: slot.checked_sub(1).map(SlotIndex),
        blend: Vec::new(),
        window: Window::new(index as f64 * 0.01, 0.0, 64.0, 36.0),
    };
    DeliveryPlan {
        name: name.into(),
        frame: Size::new(64, 36),
        fps: FrameRate::new(24, 1).unwrap(),
        codec: Codec::Png,
        sharpness: Sharpness::Even,
        light: Light::Linear,
        covers: [].into(),
        rows: slots.enumerate().map(row).collect(),
    }
}

/// The plan of frames of several stills, some of which end before one that is due earlier.
fn blended(name: &str, stills: usize, light: Light) -> DeliveryPlan {
    let mut state = 5_u32;
    let mut next = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % below
    };
    let mut plan = plan(name, (0..stills).flat_map(|still| [still, still]));
    plan.light = light;
    for row in &mut plan.rows {
        let count = (1 + next(9)).min(stills - row.shown.0);
        let mut left = Share::WHOLE;
        for still in row.shown.0..row.shown.0 + count {
            let last = still + 1 == row.shown.0 + count;
            let weight = if last { left } else { 1 + u32::try_from(next(6000)).unwrap() };
            left -= weight;
            row.blend.push(Share { shown: SlotIndex(still), stand_in: still.checked_sub(1).map(SlotIndex), weight });
        }
        if count == 1 {
            row.blend.clear();
        }
    }
    plan
}

/// Keeps the middle luma code of every frame; fails or panics at a given one.
struct Look {
    seen: Arc<Mutex<Vec<u8>>>,
    fails_at: Option<usize>,
    panics_at: Option<usize>,
}

impl Sink for Look {
    fn kind(&self) -> FrameKind {
        FrameKind::Yuv420
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        let mut seen = self.seen.lock().unwrap();
        assert_ne!(self.panics_at, Some(seen.len()), "a sink with a defect");
        if self.fails_at == Some(seen.len()) {
            return Err(SinkError::Encoder { codec: "test", message: "had enough".into() });
        }
        let crate::picture::Pixels::Yuv420 { y, .. } = &frame.pixels else { panic!("another kind of frame") };
        seen.push(y[y.len() / 2]);
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(Written { path: PathBuf::new(), frames: self.seen.lock().unwrap().len() as u64, bytes: 0 })
    }
}

fn output<'a>(plan: &'a DeliveryPlan, seen: &Arc<Mutex<Vec<u8>>>, fails_at: Option<usize>) -> Output<'a> {
    Output { plan, rows: 0..plan.rows.len(), sink: Box::new(Look { seen: Arc::clone(seen), fails_at, panics_at: None }) }
}

#[test]
fn frames_arrive_in_order_whatever_the_number_of_workers() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 40);
    let plans = [plan("each", 0..40), plan("long", (0..120).map(|row| row / 3))];
    for workers in [1, 2, 7] {
        let seen: [Arc<Mutex<Vec<u8>>>; 2] = Default::default();
        let outputs = plans.iter().zip(&seen).map(|(plan, seen)| output(plan, seen, None)).collect();
        let watch = Watch::default();
        let outcome = run(&shoot, outputs, workers, &watch).unwrap();
        assert_eq!(outcome.finished.iter().map(|finished| finished.written.frames).collect::<Vec<_>>(), [40, 120]);
        for seen in &seen {
            let seen = seen.lock().unwrap();
            assert!(seen.is_sorted() && seen.last().unwrap() - seen[0] > 30, "{seen:?}");
        }
        assert_eq!(watch.stills.load(Ordering::Relaxed), 40);
        assert_eq!(watch.frames.load(Ordering::Relaxed), 160);
    }
}

#[test]
fn deliveries_that_turn_back_or_run_against_one_another_arrive_in_order_and_decode_no_more_than_they_must() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 30);
    let there_and_back = |frames_a_still: usize| {
        let way = move |still| std::iter::repeat_n(still, frames_a_still);
        (0..30).flat_map(way).chain((0..30).rev().flat_map(way))
    };
    let plans =
        [plan("turns", there_and_back(1)), plan("slower", there_and_back(9)), plan("back", (0..30).rev()), plan("on", 0..30)];
    for workers in [1, 2, 7] {
        let seen: [Arc<Mutex<Vec<u8>>>; 4] = Default::default();
        let outputs = plans.iter().zip(&seen).map(|(plan, seen)| output(plan, seen, None)).collect();
        let watch = Watch::default();
        let outcome = run(&shoot, outputs, workers, &watch).unwrap();
        assert!(outcome.finished.iter().zip(&plans).all(|(finished, plan)| finished.hashes.len() == plan.rows.len()));
        // The one that only runs on says how each still looks.
        let looks = seen[3].lock().unwrap().clone();
        assert!(looks.is_sorted() && looks[29] - looks[0] > 20);
        for (plan, seen) in plans.iter().zip(&seen) {
            let due: Vec<u8> = plan.rows.iter().map(|row| looks[row.shown.0]).collect();
            assert_eq!(*seen.lock().unwrap(), due, "{}", plan.name);
        }
        // One pass forwards and one back, for all four.
        assert_eq!((watch.stills.load(Ordering::Relaxed), watch.frames.load(Ordering::Relaxed)), (60, 660));
    }
}

#[test]
fn frames_of_several_stills_are_the_same_whatever_the_number_of_workers_and_cost_one_decode_a_still() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 40);
    let plans = [blended("light", 40, Light::Linear), blended("codes", 40, Light::Encoded), plan("each", 0..40)];
    let batches = batches::split(
        &plans.iter().collect::<Vec<_>>(),
        &plans.iter().map(|plan| plan.rows.as_slice()).collect::<Vec<_>>(),
        STILL,
    );
    let early = batches.iter().flat_map(|batch| &batch.tasks).filter(|task| task.early).count();
    assert!(early > 10, "{early} frames are done before one due earlier");
    let hashes = |workers| {
        let outputs = plans.iter().map(|plan| output(plan, &Arc::default(), None)).collect();
        let watch = Watch::default();
        let outcome = run(&shoot, outputs, workers, &watch).unwrap();
        assert_eq!(watch.stills.load(Ordering::Relaxed), 40);
        outcome.finished.into_iter().map(|finished| finished.hashes).collect::<Vec<_>>()
    };
    let alone = hashes(1);
    assert_eq!(alone.iter().map(Vec::len).collect::<Vec<_>>(), [80, 80, 40]);
    for workers in [2, 3, 7] {
        assert_eq!(alone, hashes(workers), "{workers} workers");
    }
}

#[test]
fn a_still_damaged_within_a_span_gives_way_to_its_stand_in() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 6);
    let mut plan = plan("a", std::iter::once(2));
    let share = |(slot, weight)| Share { shown: SlotIndex(slot), stand_in: Some(SlotIndex(slot - 1)), weight };
    plan.rows[0].blend = [(2, 20_000), (3, 25_536), (4, 20_000)].map(share).to_vec();
    let whole = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    std::fs::write(folder.path().join("3.jpg"), "not what it was").unwrap();
    let damaged = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(damaged.stood_in, [StoodIn { slot: SlotIndex(3), damage: Damage::Changed, shown: SlotIndex(2) }]);
    assert_ne!(damaged.finished[0].hashes, whole.finished[0].hashes);
    // Still 2 twice over is what the frame is made of now.
    plan.rows[0].blend[0].weight += plan.rows[0].blend.remove(1).weight;
    let held = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(damaged.finished[0].hashes, held.finished[0].hashes);
    // And the run still stops by the first real cause where nothing stands in.
    plan.rows[0].blend.insert(1, Share { shown: SlotIndex(3), stand_in: None, weight: 1 });
    plan.rows[0].blend[0].weight -= 1;
    let fault = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap_err();
    assert!(matches!(fault, Fault::Damaged { slot: SlotIndex(3), .. }), "{fault}");
}

#[test]
fn the_first_real_cause_is_the_one_that_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 30);
    let plans = [plan("good", 0..30), plan("bad", 0..30)];
    let seen: [Arc<Mutex<Vec<u8>>>; 2] = Default::default();
    let outputs = vec![output(&plans[0], &seen[0], None), output(&plans[1], &seen[1], Some(5))];
    let fault = run(&shoot, outputs, 3, &Watch::default()).unwrap_err();
    assert_eq!(fault.to_string(), "bad: the test encoder: had enough");
    assert_eq!(seen[1].lock().unwrap().len(), 5);
}

#[test]
fn a_defect_in_one_thread_ends_the_run_and_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 30);
    let plans = [plan("good", 0..30), plan("bad", 0..30)];
    let sink = Look { seen: Arc::default(), fails_at: None, panics_at: Some(4) };
    let outputs = vec![output(&plans[0], &Arc::default(), None), Output { plan: &plans[1], rows: 0..30, sink: Box::new(sink) }];
    let fault = run(&shoot, outputs, 3, &Watch::default()).unwrap_err();
    assert!(fault.to_string().contains("a sink with a defect"), "{fault}");
}

#[test]
fn a_run_that_is_asked_to_stop_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 3);
    let plan = plan("a", 0..3);
    let watch = Watch { stop: true.into(), ..Watch::default() };
    let fault = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &watch).unwrap_err();
    assert!(matches!(fault, Fault::Interrupted));
}

#[test]
fn a_damaged_still_gives_way_to_its_stand_in_and_is_listed() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 6);
    // Changed since it was surveyed, which is damage like any other to the pipeline.
    std::fs::write(folder.path().join("3.jpg"), "not what it was").unwrap();
    let plan = plan("a", 0..6);
    let seen = Arc::default();
    let outcome = run(&shoot, vec![output(&plan, &seen, None)], 2, &Watch::default()).unwrap();
    let expected = StoodIn { slot: SlotIndex(3), damage: Damage::Changed, shown: SlotIndex(2) };
    assert_eq!(outcome.stood_in, [expected]);
    let seen = seen.lock().unwrap();
    assert_eq!(seen[3], seen[2]);
}

//! The pipeline with sinks that only look: order, first cause, interrupts, stand-ins.

mod astray;
mod gathered;

use std::path::{Path, PathBuf};

use super::*;
use crate::ffi::jpeg;
use crate::geom::Window;
use crate::picture::FrameKind;
use crate::plan::{Corrections, Layer, Layers, Share};
use crate::shoot::{Content, Format, Orientation, Slot, Still};
use crate::shot::{Codec, Light, Policy, Sharpness};
use crate::units::{FrameRate, Size};

const STILL: Size = Size { width: 96, height: 64 };

fn run(shoot: &Shoot, outputs: Vec<Output<'_>>, workers: usize, watch: &Watch) -> Result<Outcome, Fault> {
    Job::new(shoot, outputs, workers).run(watch)
}

/// A shoot of flat stills, each a little lighter than the one before.
fn shoot(folder: &Path, count: usize) -> Shoot {
    shoot_of(folder, count, |still, _x, _y| u8::try_from(40 + still).unwrap())
}

/// A shoot of grey stills, by still and pixel.
fn shoot_of(folder: &Path, count: usize, grey: impl Fn(usize, u32, u32) -> u8) -> Shoot {
    let slots = (0..count).map(|index| {
        let path = folder.join(format!("{index}.jpg"));
        let rows = (0..STILL.height).flat_map(|y| (0..STILL.width).map(move |x| (x, y)));
        let grey: Vec<u8> = rows.flat_map(|(x, y)| [grey(index, x, y); 3]).collect();
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
    Shoot {
        slots: slots.collect(),
        size: STILL,
        interval: None,
        set_aside: Vec::new(),
        notes: Vec::new(),
        recording: None,
        members: Vec::new(),
    }
}

fn plan(name: &str, slots: impl Iterator<Item = usize>) -> DeliveryPlan {
    let row = |(index, slot): (usize, usize)| {
        let window = Window::new(index as f64 * 0.01, 0.0, 64.0, 36.0);
        let layers = Layers::One(Layer::plain(SlotIndex(slot), slot.checked_sub(1).map(SlotIndex), window));
        Row { position: slot as f64, layers, ..Row::plain(SlotIndex(slot), window) }
    };
    DeliveryPlan {
        name: name.into(),
        frame: Size::new(64, 36),
        fps: FrameRate::new(24, 1).unwrap(),
        codec: Codec::PNG,
        sharpness: Sharpness::Even,
        resample: Light::Encoded,
        light: Light::Linear,
        room: STILL.into(),
        rooms: Vec::new(),
        corrected: false,
        sound: [].into(),
        stamps: [].into(),
        unread_sound: Policy::default(),
        every_still: false,
        extras: crate::plan::Extras::default(),
        gathered: Vec::new(),
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
        let (mut left, mut shares) = (Share::WHOLE, Vec::new());
        for still in row.shown.0..row.shown.0 + count {
            let last = still + 1 == row.shown.0 + count;
            let weight = if last { left } else { 1 + u32::try_from(next(6000)).unwrap() };
            left -= weight;
            shares.push(Share { shown: SlotIndex(still), stand_in: still.checked_sub(1).map(SlotIndex), weight });
        }
        mix(row, &shares);
    }
    plan
}

/// Makes a row the mean of stills.
fn mix(row: &mut Row, shares: &[Share]) {
    row.layers = Corrections::default().layers(shares, false, row.window);
}

/// Makes a row show its stills through another window.
fn look_through(row: &mut Row, window: Window) {
    let shares: Vec<Share> = row.shares().collect();
    row.layers = Corrections::default().layers(&shares, row.layers.are_invented(), window);
    row.window = window;
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
        Ok(Written {
            path: PathBuf::new(),
            frames: self.seen.lock().unwrap().len() as u64,
            bytes: 0,
            remarks: Vec::new(),
            blake3: None,
        })
    }
}

fn output<'a>(plan: &'a DeliveryPlan, seen: &Arc<Mutex<Vec<u8>>>, fails_at: Option<usize>) -> Output<'a> {
    Output {
        plan,
        rows: 0..plan.rows.len(),
        sink: Box::new(Look { seen: Arc::clone(seen), fails_at, panics_at: None }),
    }
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
    let plans = [
        plan("turns", there_and_back(1)),
        plan("slower", there_and_back(9)),
        plan("back", (0..30).rev()),
        plan("on", 0..30),
    ];
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
        &|_| batches::Stills { size: STILL, small: false },
    );
    let early = batches.batches.iter().flat_map(|batch| &batch.tasks).filter(|task| task.early).count();
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

/// Three frames invented between each still and the next, through a window that moves or rests.
fn invented(name: &str, stills: usize, moving: bool) -> DeliveryPlan {
    let mut plan = plan(name, (0..4 * stills - 3).map(|row| row / 4));
    for (index, row) in plan.rows.iter_mut().enumerate() {
        look_through(row, Window::new(if moving { index as f64 * 0.01 } else { 3.0 }, 0.0, 64.0, 36.0));
        let weight = u32::try_from(index % 4).unwrap() * Share::WHOLE / 4;
        if weight > 0 {
            let share = |slot: usize, weight| Share {
                shown: SlotIndex(slot),
                stand_in: slot.checked_sub(1).map(SlotIndex),
                weight,
            };
            let shares = [share(row.shown.0, Share::WHOLE - weight), share(row.shown.0 + 1, weight)];
            row.layers = Corrections::default().layers(&shares, true, row.window);
        }
    }
    plan
}

/// Stills of waves that move by two pixels down and three to the right from one to the next.
fn moving(folder: &Path, count: usize) -> Shoot {
    shoot_of(folder, count, |still, x, y| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "28 to 228")]
        let value =
            |x: f64, y: f64| (128.0 + 50.0 * (0.4 * x + 0.1 * y).sin() + 50.0 * (0.45 * y - 0.2 * x).sin()) as u8;
        value(f64::from(x) - 3.0 * still as f64, f64::from(y) - 2.0 * still as f64)
    })
}

#[test]
fn invented_frames_are_the_same_whatever_the_number_of_workers_or_made_alone_and_are_no_means() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = moving(folder.path(), 9);
    let mut plans = [invented("moves", 9, true), invented("rests", 9, false), plan("each", 0..9)];
    plans[1].light = Light::Encoded;
    let hashes = |plans: &[DeliveryPlan], workers| {
        let outputs = plans.iter().map(|plan| output(plan, &Arc::default(), None)).collect();
        let watch = Watch::default();
        let outcome = run(&shoot, outputs, workers, &watch).unwrap();
        assert_eq!(watch.stills.load(Ordering::Relaxed), 9);
        outcome.finished.into_iter().map(|finished| finished.hashes).collect::<Vec<_>>()
    };
    let once = hashes(&plans, 1);
    assert_eq!(once.iter().map(Vec::len).collect::<Vec<_>>(), [33, 33, 9]);
    for workers in [2, 8] {
        assert_eq!(once, hashes(&plans, workers), "{workers} workers");
    }
    for (plan, hashes) in plans.iter().zip(&once).take(2) {
        for row in [5, 14, 30] {
            let alone = Output { rows: row..row + 1, ..output(plan, &Arc::default(), None) };
            let outcome = run(&shoot, vec![alone], 1, &Watch::default()).unwrap();
            assert_eq!(outcome.finished[0].hashes, [hashes[row]], "row {row} of {}", plan.name);
        }
    }
    let mut means = plans.clone();
    means.iter_mut().flat_map(|plan| &mut plan.rows).for_each(|row| mix(row, &row.shares().collect::<Vec<_>>()));
    let means = hashes(&means, 2);
    for (row, (one, other)) in once[0].iter().zip(&means[0]).enumerate() {
        assert_eq!(one == other, row % 4 == 0, "row {row}: whole stills are themselves, and nothing else is");
    }
}

#[test]
fn invented_frames_backwards_or_through_a_rolled_window_are_as_forwards_and_cost_one_decode_a_still() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = moving(folder.path(), 9);
    let mut there = invented("there", 9, true);
    there
        .rows
        .iter_mut()
        .zip(-8_i16..)
        .for_each(|(row, roll)| look_through(row, row.window.rolled(f64::from(roll) / 4.0)));
    let shift = |row: &mut Row| look_through(row, Window { x: row.window.x + 16.0, y: 12.0, ..row.window });
    there.rows.iter_mut().for_each(shift);
    let mut back = there.clone();
    back.rows.reverse();
    let hashes = |plan: &DeliveryPlan, workers| {
        let watch = Watch::default();
        let outcome = run(&shoot, vec![output(plan, &Arc::default(), None)], workers, &watch).unwrap();
        assert_eq!(watch.stills.load(Ordering::Relaxed), 9);
        outcome.finished[0].hashes.clone()
    };
    let once = hashes(&there, 1);
    for workers in [1, 2, 7] {
        let back: Vec<_> = hashes(&back, workers).into_iter().rev().collect();
        assert_eq!(once, back, "{workers} workers");
    }
    // Where it turns, a pass back begins with what was due last.
    let mut turns = there.clone();
    turns.rows.extend(back.rows.iter().skip(3).cloned());
    let watch = Watch::default();
    let outcome = run(&shoot, vec![output(&turns, &Arc::default(), None)], 3, &watch).unwrap();
    let round: Vec<_> = once.iter().chain(once.iter().rev().skip(3)).copied().collect();
    assert_eq!(outcome.finished[0].hashes, round);
    assert_eq!(watch.stills.load(Ordering::Relaxed), 9 + 8);
}

#[test]
fn a_still_that_others_need_only_beside_their_own_never_holds_a_run_up() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 8);
    let mut far = plan("far", [0, 0, 1].into_iter());
    // Of still 3 there is no frame, and other deliveries show what lies between it and 6.
    let share = |slot, weight| Share { shown: SlotIndex(slot), stand_in: None, weight };
    for (row, stills) in [(0, [0, 1]), (1, [1, 3]), (2, [3, 6])] {
        let shares = stills.map(|still| share(still, Share::WHOLE / 2));
        far.rows[row].layers = Corrections::default().layers(&shares, true, far.rows[row].window);
    }
    for workers in [1, 2, 5] {
        let other = plan("other", 0..8);
        let outputs = [&far, &other].map(|plan| output(plan, &Arc::default(), None)).into_iter().collect();
        let watch = Watch::default();
        run(&shoot, outputs, workers, &watch).unwrap();
        assert_eq!(watch.stills.load(Ordering::Relaxed), 8);
    }
    let work = batches::split(&[&far], &[&far.rows], &|_| batches::Stills { size: STILL, small: false });
    let turns: Vec<usize> = work.batches.iter().map(|batch| batch.visit).collect();
    assert_eq!(turns, [0, 1, 2, 3], "every visit has its turn");
}

#[test]
fn an_invented_frame_between_a_still_and_itself_is_that_still() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = moving(folder.path(), 4);
    let plan = invented("a", 4, false);
    // Still 2 is shown in the place of 3, and nothing moves between the two.
    std::fs::write(folder.path().join("3.jpg"), "not what it was").unwrap();
    let outcome = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(outcome.stood_in, [StoodIn { slot: SlotIndex(3), damage: Damage::Changed, shown: SlotIndex(2) }]);
    let hashes = &outcome.finished[0].hashes;
    assert!(hashes[8..].iter().all(|hash| *hash == hashes[8]) && hashes[7] != hashes[8]);
}

#[test]
fn a_still_damaged_within_a_span_gives_way_to_its_stand_in() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = shoot(folder.path(), 6);
    let mut plan = plan("a", std::iter::once(2));
    let share = |(slot, weight)| Share { shown: SlotIndex(slot), stand_in: Some(SlotIndex(slot - 1)), weight };
    mix(&mut plan.rows[0], &[(2, 20_000), (3, 25_536), (4, 20_000)].map(share));
    let whole = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    std::fs::write(folder.path().join("3.jpg"), "not what it was").unwrap();
    let damaged = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(damaged.stood_in, [StoodIn { slot: SlotIndex(3), damage: Damage::Changed, shown: SlotIndex(2) }]);
    assert_ne!(damaged.finished[0].hashes, whole.finished[0].hashes);
    // Still 2 twice over is what the frame is made of now.
    mix(&mut plan.rows[0], &[(2, 45_536), (4, 20_000)].map(share));
    let held = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(damaged.finished[0].hashes, held.finished[0].hashes);
    // And the run still stops by the first real cause where nothing stands in.
    let alone = Share { stand_in: None, ..share((3, 1)) };
    mix(&mut plan.rows[0], &[share((2, 45_535)), alone, share((4, 20_000))]);
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
    let outputs =
        vec![output(&plans[0], &Arc::default(), None), Output { plan: &plans[1], rows: 0..30, sink: Box::new(sink) }];
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

/// Fault 20: a drive that is gone.
#[test]
fn a_folder_that_vanishes_is_waited_for_and_no_still_takes_anothers_place() {
    let folder = tempfile::tempdir().unwrap();
    let (here, away) = (folder.path().join("card"), folder.path().join("away"));
    std::fs::create_dir(&here).unwrap();
    let shoot = shoot(&here, 5);
    let plan = plan("a", 0..5);
    let whole = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    std::fs::rename(&here, &away).unwrap();
    let watch = Watch::default();
    let back = std::thread::scope(|scope| {
        let running = scope.spawn(|| run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &watch));
        while !watch.waiting.load(Ordering::Relaxed) {
            std::thread::sleep(Duration::from_millis(5));
        }
        std::fs::rename(&away, &here).unwrap();
        running.join().unwrap().unwrap()
    });
    assert_eq!((&back.finished, back.stood_in.len()), (&whole.finished, 0));
    assert!(!watch.waiting.load(Ordering::Relaxed));
    // It stays away, or leaves an empty place as an unmounted drive does.
    std::fs::rename(&here, &away).unwrap();
    for empty in [false, true] {
        if empty {
            std::fs::create_dir(&here).unwrap();
        }
        let watch = Watch { patience: Duration::from_millis(300), ..Watch::default() };
        let fault = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &watch).unwrap_err();
        assert!(matches!(fault, Fault::OutOfReach { slot: SlotIndex(0 | 1), .. }), "{fault}");
    }
    std::fs::remove_dir(&here).unwrap();
    std::fs::rename(&away, &here).unwrap();
    // One file that is gone from among others is a damaged still, and follows the policy.
    std::fs::remove_file(here.join("3.jpg")).unwrap();
    let held = run(&shoot, vec![output(&plan, &Arc::default(), None)], 2, &Watch::default()).unwrap();
    assert_eq!(held.stood_in.iter().map(|entry| entry.slot.0).collect::<Vec<_>>(), [3]);
}

//! Once every queue has been full, a run lives in the buffers it has: no picture, frame or file buffer is allocated
//! again.

#![expect(unsafe_code, reason = "a global allocator that counts is unsafe by its trait")]

use std::alloc::{GlobalAlloc, Layout, System};
use std::fs;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use stillpath::ffi::jpeg;
use stillpath::geom::Window;
use stillpath::picture::{Frame, FrameKind};
use stillpath::pipeline::{Job, Output, Watch};
use stillpath::plan::{Corrections, DeliveryPlan, Row, Share};
use stillpath::shoot::Shoot;
use stillpath::shot::{Codec, Light, Policy, Sharpness};
use stillpath::survey::{Request, survey};
use stillpath::units::{FrameRate, Size, SlotIndex};
use stillpath::work::{Sink, SinkError, Written};

/// Bytes from which an allocation is a buffer of pixels: a plane of a small frame has twice as many.
const LARGE: usize = 64 * 1024;

/// Large allocations so far.
static COUNT: AtomicU64 = AtomicU64::new(0);

struct Counting;

impl Counting {
    fn count(bytes: usize) {
        if bytes >= LARGE {
            COUNT.fetch_add(1, Ordering::Relaxed);
        }
    }
}

// SAFETY: every call goes on to the system's allocator as it came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        Self::count(layout.size());
        // SAFETY: the caller's promise.
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        Self::count(layout.size());
        // SAFETY: the caller's promise.
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, block: *mut u8, layout: Layout, bytes: usize) -> *mut u8 {
        Self::count(bytes);
        // SAFETY: the caller's promise.
        unsafe { System.realloc(block, layout, bytes) }
    }

    unsafe fn dealloc(&self, block: *mut u8, layout: Layout) {
        // SAFETY: the caller's promise.
        unsafe { System.dealloc(block, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

const STILL: Size = Size { width: 1024, height: 768 };
const STILLS: usize = 72;

/// A sink that is slow for a while, so that every buffer there can be is out, and then notes how many there are.
struct Slow {
    kind: FrameKind,
    slow: std::ops::Range<u64>,
    warm: u64,
    written: u64,
    /// Large allocations when the last of the sinks was warm.
    noted: Arc<AtomicU64>,
}

impl Sink for Slow {
    fn kind(&self) -> FrameKind {
        self.kind
    }

    fn write(&mut self, _frame: &Frame) -> Result<(), SinkError> {
        if self.slow.contains(&self.written) {
            std::thread::sleep(Duration::from_millis(40));
        }
        if self.written == self.warm {
            self.noted.fetch_max(COUNT.load(Ordering::Relaxed), Ordering::Relaxed);
        }
        self.written += 1;
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(Written { path: PathBuf::new(), frames: self.written, bytes: 0, remarks: Vec::new(), blake3: None })
    }
}

/// Every frame shows one still, or the mean of up to so many.
fn plan(name: &str, frames_a_still: usize, stills_a_frame: usize, rolls: bool) -> DeliveryPlan {
    let row = |frame: usize| {
        let slot = SlotIndex(frame / frames_a_still);
        let shift = frame as f64 * 0.25;
        let under = slot.0..(slot.0 + stills_a_frame).min(STILLS);
        let count = u32::try_from(under.len()).unwrap();
        let weight = |still: usize| {
            let each = Share::WHOLE / count;
            if still == slot.0 { Share::WHOLE - each * (count - 1) } else { each }
        };
        let share = |still: usize| Share { shown: SlotIndex(still), stand_in: None, weight: weight(still) };
        let shares: Vec<Share> = under.clone().map(share).collect();
        // A roll back and forth: how wide a kernel lies over the planes comes and goes with it.
        let roll = if rolls { 12.0 * (shift * 0.7).sin() } else { 0.0 };
        let window = Window::new(100.0 + shift, 130.0 + shift, 640.0, 360.0).rolled(roll);
        let layers = Corrections::default().layers(&shares, false, window);
        Row { position: slot.0 as f64, slot, shown: slot, stand_in: None, window, layers }
    };
    DeliveryPlan {
        name: name.into(),
        frame: Size::new(640, 360),
        fps: FrameRate::new(24, 1).unwrap(),
        codec: Codec::PNG,
        sharpness: Sharpness::Even,
        resample: stillpath::shot::Light::Encoded,
        light: Light::Linear,
        room: STILL.into(),
        rooms: Vec::new(),
        corrected: false,
        sound: [].into(),
        stamps: [].into(),
        unread_sound: Policy::default(),
        every_still: false,
        extras: stillpath::plan::Extras::default(),
        gathered: Vec::new(),
        rows: (0..STILLS * frames_a_still).map(row).collect(),
    }
}

#[test]
fn after_warming_up_no_large_buffer_is_allocated() {
    let folder = tempfile::tempdir().unwrap();
    let pixels: Vec<u8> = (0..3 * STILL.pixels()).map(|at| (at % 251) as u8).collect();
    let still = jpeg::encode_rgb(&pixels, STILL, 90, (2, 2), &[]);
    for number in 0..STILLS {
        fs::write(folder.path().join(format!("LAPS{number:04}.JPG")), &still).unwrap();
    }
    let paths = vec![folder.path().display().to_string()];
    let shoot = survey(&Request {
        base: PathBuf::new(),
        paths,
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    })
    .unwrap();
    let plans = |stills, rolls| [plan("one", 1, stills, rolls), plan("two", 2, stills, rolls)];
    assert_eq!(allocated_when_warm(&shoot, plans(1, false)), 0, "large allocations in the second half of a run");
    // A worker may wait for another's still where it would wait with a frame in hand: some frames come out later. An
    // exposure is six large buffers or more.
    assert_eq!(
        allocated_when_warm(&shoot, plans(1, true)),
        0,
        "large allocations in the second half of a run that rolls"
    );
    let late = allocated_when_warm(&shoot, plans(3, false));
    assert!(late < 6, "{late} large allocations in the second half of a run of several stills a frame");
    let late = allocated_when_warm(&shoot, plans(2, false).map(invented));
    assert!(late < 6, "{late} large allocations in the second half of a run of invented frames");
}

/// The plan with its frames of two stills invented between them.
fn invented(mut plan: DeliveryPlan) -> DeliveryPlan {
    for row in &mut plan.rows {
        let shares: Vec<Share> = row.shares().collect();
        row.layers = Corrections::default().layers(&shares, true, row.window);
    }
    plan
}

/// How many large allocations the second half of a run makes.
fn allocated_when_warm(shoot: &Shoot, plans: [DeliveryPlan; 2]) -> u64 {
    let before = COUNT.load(Ordering::Relaxed);
    let noted = Arc::new(AtomicU64::new(0));
    // One is slow first and the other then: each has all workers waiting at its door once.
    let sink = |kind, slow, warm| Slow { kind, slow, warm, written: 0, noted: Arc::clone(&noted) };
    let sinks = [sink(FrameKind::Yuv420, 0..12, 36), sink(FrameKind::Rgb16, 40..60, 72)];
    let outputs = plans
        .iter()
        .zip(sinks)
        .map(|(plan, sink)| Output { plan, rows: 0..plan.rows.len(), sink: Box::new(sink) })
        .collect();
    let outcome = Job::new(shoot, outputs, 3).run(&Watch::default()).unwrap();
    let after = COUNT.load(Ordering::Relaxed);
    assert_eq!(outcome.finished.iter().map(|finished| finished.written.frames).collect::<Vec<_>>(), [72, 144]);
    let warm = noted.load(Ordering::Relaxed);
    assert!(warm > before + 10, "the allocator counts nothing");
    after - warm
}

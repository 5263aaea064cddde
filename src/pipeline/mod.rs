//! Decode, resample, convert: rows of plans to frames, in order, bounded.
//!
//! In come the rows of every delivery over one shoot; out go frames into each delivery's sink. Every still is decoded
//! once for all the frames that show it, again only where a pace that turned back returns to it, and not at all where
//! no frame does. Nothing is decided here: rows are obeyed.
//!
//! One word names a stage's function and thread: `develop` (decode and paint, several workers), `deliver` (one a
//! delivery, feeding its sink). Between them stand a `ReorderBuffer`, which restores order once, and a queue of
//! three frames. Frame buffers circle between the two; decoded pictures circle among the workers.
//!
//! ## Decisions
//!
//! - Rows are cut into *passes* over the stills, each one way; only a pace that turns back makes another. A pass is cut
//!   into
//!   *batches*: the frames one still serves, in the order they are due, at most eight; a still shown for longer is
//!   shared out.
//! - A batch's frames are due, in every delivery, after those of all batches before it: whoever holds the foremost
//!   unfinished one waits for nobody. After warm-up nothing is allocated a frame, and memory does not depend on the
//!   number of stills. The first real fault wins.
//! - Stamps are laid over a frame when it is whole, by the worker that made it: what they say is of the still that was
//!   really decoded, so a stand-in's time is its own.
//! - Light is gathered over many stills by groups of frames (`groups`), each still painted once for all of a group.
//! - Only the rows of a still that its windows read are transformed to pixels where the format allows it.

mod accumulators;
mod batches;
mod colours;
mod cover;
mod develop;
mod gathers;
mod groups;
mod jury;
mod lights;
mod passes;
mod reorder;
mod shared;
mod stills;

use std::collections::BTreeMap;
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded, unbounded};

use crate::decode::SmallStills;
use crate::integrity::Jury;
use crate::lettering::Letterer;
use crate::picture::{Frame, Picture};
use crate::plan::{DeliveryPlan, Row};
use crate::receipt::FlashesSeen;
use crate::sample::PaintError;
use crate::shoot::{Damage, Shoot};
use crate::units::SlotIndex;
use crate::work::{FileRead, Known, Met, Sink, SinkError, Written};

use accumulators::Accumulators;
use batches::{Stills, Work};
pub use cover::cover;
use develop::develop;
use gathers::Gathers;
use reorder::ReorderBuffer;
use shared::SharedDecoder;

pub use crate::work::StoodIn;

/// Frames that may wait between painting and a delivery's encoder. More gained nothing when measured.
const QUEUE: usize = 3;

/// One delivery's rows and where its frames go.
pub struct Output<'a> {
    /// The rows and what they are painted as.
    pub plan: &'a DeliveryPlan,
    /// Which of them: all, but for single frames.
    pub rows: Range<usize>,
    /// Takes the frames, in order.
    pub sink: Box<dyn Sink>,
}

/// What a finished delivery came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Finished {
    /// The file.
    pub written: Written,
    /// BLAKE3 of every frame's planes as handed to the sink, in order.
    pub hashes: Vec<blake3::Hash>,
    /// Frames in the file that the sink had from an earlier run.
    pub taken_over: u64,
    /// The coarsest rate factor in it, where factors were looked for.
    pub crf: Option<f64>,
    /// Flashes seen in it, where somebody looked.
    pub flashes: Option<FlashesSeen>,
}

/// Everything a finished run leaves.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// One a delivery, in the order given.
    pub finished: Vec<Finished>,
    /// Damage met on the way that the plan had a stand-in for.
    pub stood_in: Vec<StoodIn>,
    /// What decoding had to remark, and the stills it is true of.
    pub remarks: BTreeMap<String, Vec<SlotIndex>>,
    /// The stills' files as they were read, where all of their detail was decoded.
    pub files: BTreeMap<SlotIndex, FileRead>,
}

/// Why a run stopped: the first real cause.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// A still is damaged and the plan names no stand-in.
    #[error("still {slot} cannot be shown: {damage}", slot = .slot.0 + 1)]
    Damaged {
        /// Which.
        slot: SlotIndex,
        /// What is wrong with it.
        damage: Damage,
    },
    /// A still's drive, share or folder is gone, and did not come back.
    #[error("still {slot} cannot be reached: {damage}", slot = .slot.0 + 1)]
    OutOfReach {
        /// Which.
        slot: SlotIndex,
        /// What the operating system said.
        damage: Damage,
        /// How long it was waited for.
        waited: Duration,
    },
    /// A still's colours cannot be converted.
    #[error("still {slot} cannot be shown: {source}", slot = .slot.0 + 1)]
    Paint {
        /// Which.
        slot: SlotIndex,
        /// Why.
        source: PaintError,
    },
    /// An output cannot be written.
    #[error("{delivery}: {source}")]
    Sink {
        /// Which delivery.
        delivery: String,
        /// Why.
        source: SinkError,
    },
    /// Somebody asked for a stop.
    #[error("interrupted")]
    Interrupted,
    /// A worker panicked: a defect of the program, told as such.
    #[error("a worker stopped unexpectedly: {0}")]
    Panicked(String),
}

/// What a run tells while it goes, and how it is asked to stop.
#[derive(Debug)]
pub struct Watch {
    /// Stills decoded so far.
    pub stills: AtomicU64,
    /// Small stills taken from their store so far.
    pub kept: AtomicU64,
    /// Frames handed to encoders so far, over all deliveries.
    pub frames: AtomicU64,
    /// Bytes of stills read so far, where all of their detail is decoded.
    pub read: AtomicU64,
    /// Nanoseconds that hashing them took so far, of all workers.
    pub hashing: AtomicU64,
    /// Nanoseconds from the last frame handed to an encoder until its file had its name: the longest.
    pub finishing: AtomicU64,
    /// Whether the run waits for stills that are out of reach.
    pub waiting: AtomicBool,
    /// How long it waits for them before it gives up.
    pub patience: Duration,
    /// Set to stop the run.
    pub stop: AtomicBool,
}

/// How long stills out of reach are waited for: time to find a plug, and not a night.
const PATIENCE: Duration = Duration::from_secs(20);

impl Default for Watch {
    fn default() -> Self {
        let [stills, kept, frames, read, hashing, finishing] = [0; 6].map(AtomicU64::new);
        let (waiting, stop, patience) = (AtomicBool::new(false), AtomicBool::new(false), PATIENCE);
        Self { stills, kept, frames, read, hashing, finishing, waiting, patience, stop }
    }
}

/// How much of the stills' detail a run decodes.
#[derive(Debug, Clone, Copy)]
pub enum Detail<'a> {
    /// All of it: for finished frames.
    Whole,
    /// As much as leaves a sample of luma for each pixel of the frames: for drafts. Small stills are taken from this
    /// store where they are there, and kept in it where not. Frames of a recording are decoded whole.
    Small(Option<&'a SmallStills>),
}

/// One run: every output over one shoot.
pub struct Job<'a> {
    /// Whose stills are shown.
    pub shoot: &'a Shoot,
    /// The deliveries.
    pub outputs: Vec<Output<'a>>,
    /// Workers that decode and paint.
    pub workers: usize,
    /// How much of the stills is decoded.
    pub detail: Detail<'a>,
    /// Of a run that goes on from another, be it one that made no frame: what that met in decoding the stills of the
    /// frames it made. Every still is held against those beside it then, for damage that no decoder tells of.
    pub earlier: Option<Met>,
}

impl<'a> Job<'a> {
    /// A run of its own, in whole detail.
    #[must_use]
    pub fn new(shoot: &'a Shoot, outputs: Vec<Output<'a>>, workers: usize) -> Self {
        Self { shoot, outputs, workers, detail: Detail::Whole, earlier: None }
    }

    /// How much there is to do: (decodings of stills, frames to write).
    #[must_use]
    pub fn workload(&self) -> (u64, u64) {
        let (plans, rows) = plans_and_rows(&self.outputs);
        let frames = self.outputs.iter().map(|output| output.rows.len() as u64).sum();
        (passes::decodes(&plans, &rows) as u64, frames)
    }

    /// Runs it.
    ///
    /// # Errors
    /// The first real [`Fault`]; by then every sink has been dropped unfinished, so nothing stands under a final name
    /// that this run would have made, except deliveries whose last frame was already in.
    pub fn run(self, watch: &Watch) -> Result<Outcome, Fault> {
        let Self { shoot, outputs, workers, detail, earlier } = self;
        let (plans, rows) = plans_and_rows(&outputs);
        let small = |slot| matches!(detail, Detail::Small(_)) && shoot.recording_at(slot).is_none();
        let stills = |slot| Stills { size: shoot.size_at(slot), small: small(slot) };
        let work = batches::split(&plans, &rows, &stills);
        let bench = earlier.as_ref().map(|earlier| jury::Bench::new(shoot, &work.visits, &earlier.unjudged));
        let (juries, witnesses) = bench.map(|bench| (bench.juries, bench.witnesses)).unwrap_or_default();
        let earlier = Met { unjudged: Vec::new(), ..earlier.unwrap_or_default() };
        let mut lanes = Vec::new();
        let mut belts = Vec::new();
        for output in &outputs {
            let (queue, arrivals) = bounded(QUEUE);
            let (returns, spares) = unbounded();
            let (reorder, accumulators, kind) = (ReorderBuffer::new(), Accumulators::default(), output.sink.kind());
            let letterer = Letterer::new(&output.plan.stamps, output.plan.frame);
            let gathers = Gathers::new(kind, output.plan.frame);
            lanes.push(Lane { reorder, accumulators, gathers, queue, spares, kind, plan: output.plan, letterer });
            belts.push((arrivals, returns));
        }
        let studio = Studio {
            shoot,
            detail,
            shared: shoot
                .recordings()
                .map(|(slots, recording)| Some(SharedDecoder::new(recording?, &slots, &work.visits)))
                .collect(),
            lanes: &lanes,
            work: &work,
            next: AtomicUsize::new(0),
            pictures: Mutex::new(BTreeMap::new()),
            resting: Mutex::new(Vec::new()),
            met: Mutex::new(earlier),
            juries: juries.into_iter().map(Mutex::new).collect(),
            fault: Mutex::new(None),
            watch,
        };
        let finished = std::thread::scope(|scope| {
            let mut delivering = Vec::new();
            for (output, (arrivals, returns)) in outputs.into_iter().zip(belts) {
                let studio = &studio;
                delivering.push(
                    scope.spawn(move || guarded(studio, || deliver(studio, output, &arrivals, &returns)).flatten()),
                );
            }
            guarded(&studio, || jury::call_witnesses(&studio, &witnesses));
            let developing: Vec<_> =
                (0..workers.max(1)).map(|_| scope.spawn(|| guarded(&studio, || develop(&studio)))).collect();
            for worker in developing {
                let _cause_is_kept = worker.join();
            }
            studio.close();
            delivering.into_iter().map(|sink| sink.join().ok().flatten()).collect::<Option<Vec<Finished>>>()
        });
        let Studio { met, fault, .. } = studio;
        if let Some(fault) = inside(fault) {
            return Err(fault);
        }
        let finished = finished.ok_or_else(|| Fault::Panicked("a delivery ended without a cause".into()))?;
        let Met { mut stood_in, mut remarks, codings, files, unjudged: _ } = inside(met);
        stood_in.sort_by_key(|entry| entry.slot);
        for (remark, slots) in colours::odd_ones(codings) {
            remarks.entry(remark).or_default().extend(slots);
        }
        for slots in remarks.values_mut() {
            slots.sort_unstable();
            // A stand-in is decoded once more for itself, and a still again where a pace returns to it.
            slots.dedup();
        }
        Ok(Outcome { finished, stood_in, remarks, files })
    }
}

/// The deliveries of outputs, and those of their rows that are due.
fn plans_and_rows<'a>(outputs: &[Output<'a>]) -> (Vec<&'a DeliveryPlan>, Vec<&'a [Row]>) {
    let rows = |output: &Output<'a>| &output.plan.rows[output.rows.clone()];
    (outputs.iter().map(|output| output.plan).collect(), outputs.iter().map(rows).collect())
}

/// What every thread of a run shares.
struct Studio<'a> {
    shoot: &'a Shoot,
    detail: Detail<'a>,
    /// Show the frames of a recording; none where stills are files of their own. One a shoot that a reel joins, in order.
    shared: Vec<Option<SharedDecoder<'a>>>,
    lanes: &'a [Lane<'a>],
    work: &'a Work<'a>,
    next: AtomicUsize,
    /// By visit.
    pictures: Mutex<BTreeMap<usize, SharedPicture>>,
    resting: Mutex<Vec<Picture>>,
    met: Mutex<Met>,
    /// Hold stills against those beside them: one a shoot that a reel joins, in order; none where that is not asked for.
    juries: Vec<Mutex<Jury>>,
    fault: Mutex<Option<Fault>>,
    watch: &'a Watch,
}

/// A decoded still, or its stand-in, while any batch still needs it. Whoever comes first decodes; the others wait on
/// the lock.
struct SharedPicture {
    cell: Arc<Mutex<Option<Shown>>>,
    batches_left: usize,
}

/// The picture of a visit, and whether it is that of the still's stand-in.
#[derive(Clone)]
struct Shown {
    picture: Arc<Picture>,
    stood_in: bool,
}

/// One delivery's way from the workers to its encoder.
struct Lane<'a> {
    reorder: ReorderBuffer<Due>,
    accumulators: Accumulators,
    gathers: Gathers,
    queue: Sender<Finish>,
    spares: Receiver<Frame>,
    kind: crate::picture::FrameKind,
    plan: &'a DeliveryPlan,
    /// Draws what is laid over its frames.
    letterer: Letterer,
}

/// A finished frame, to be written so many times.
struct Due {
    frame: Frame,
    times: usize,
}

/// What passes the reorder buffer.
enum Finish {
    /// A frame to be written.
    Frame(Due),
    /// No more frames: the run has failed or is complete.
    Close,
}

impl<'a> Studio<'a> {
    /// Keeps the first real cause and makes everyone stop.
    fn fail(&self, fault: Fault) {
        lock(&self.fault).get_or_insert(fault);
        for lane in self.lanes {
            lane.reorder.stop();
            lane.accumulators.stop();
            lane.gathers.stop();
        }
        self.shared.iter().flatten().for_each(SharedDecoder::stop);
    }

    /// What shows the frames of the recording that a slot's still is one of.
    fn shared_at(&self, slot: SlotIndex) -> Option<&SharedDecoder<'a>> {
        self.shared[self.shoot.member_at(slot).map_or(0, |(member, _)| member)].as_ref()
    }

    fn failed(&self) -> bool {
        if self.watch.stop.load(Ordering::Relaxed) {
            self.fail(Fault::Interrupted);
        }
        lock(&self.fault).is_some()
    }

    /// Tells every delivery that no more frames come.
    fn close(&self) {
        for lane in self.lanes {
            // A delivery that has already failed no longer listens; its cause is kept in `fault`.
            let _gone = lane.queue.send(Finish::Close);
        }
    }
}

/// A delivery's thread: hashes frames, feeds them to the sink, returns their buffers.
fn deliver(
    studio: &Studio<'_>,
    output: Output<'_>,
    arrivals: &Receiver<Finish>,
    returns: &Sender<Frame>,
) -> Option<Finished> {
    let Output { plan, rows, mut sink } = output;
    let mut hashes = Vec::with_capacity(rows.len());
    let fail = |source| studio.fail(Fault::Sink { delivery: plan.name.clone(), source });
    let met = || {
        let unjudged = studio.juries.iter().flat_map(|jury| lock(jury).waiting()).collect();
        Met { unjudged, ..lock(&studio.met).clone() }
    };
    while let Ok(Finish::Frame(Due { frame, times })) = arrivals.recv() {
        let hash = frame.hash();
        for _ in 0..times {
            if studio.failed() {
                return None;
            }
            if let Err(source) = sink.write_known(&frame, &Known { hash, met: &met }) {
                fail(source);
                return None;
            }
            hashes.push(hash);
            studio.watch.frames.fetch_add(1, Ordering::Relaxed);
        }
        // The workers may all be gone by now; then nobody needs the buffer.
        let _unneeded = returns.send(frame);
    }
    if studio.failed() || hashes.len() != rows.len() {
        return None;
    }
    let began = Instant::now();
    match sink.finish() {
        Ok(written) => {
            let took = u64::try_from(began.elapsed().as_nanos()).unwrap_or(u64::MAX);
            studio.watch.finishing.fetch_max(took, Ordering::Relaxed);
            let taken_over = written.frames.saturating_sub(hashes.len() as u64);
            Some(Finished { written, hashes, taken_over, crf: None, flashes: None })
        }
        Err(source) => {
            fail(source);
            None
        }
    }
}

/// Locks, and carries on where another thread panicked: that panic is reported as the cause already.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// What a lock held, when nobody else is left.
fn inside<T>(mutex: Mutex<T>) -> T {
    mutex.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// Does a thread's work. A panic in it fails the run there and then, before others wait for what will never come.
fn guarded<T>(studio: &Studio<'_>, work: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|panic| studio.fail(Fault::Panicked(panic_text(&*panic)))).ok()
}

fn panic_text(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
    text.unwrap_or("no message").to_owned()
}

#[cfg(test)]
mod tests;

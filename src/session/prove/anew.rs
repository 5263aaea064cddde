//! Frames made anew by the render's own pipeline, each held against what a delivery shows while that is decoded along.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::files::ClipFile;
use super::{FramesAnew, ProveOptions};
use crate::diag::plain;
use crate::encode;
use crate::picture::{Frame, FrameKind};
use crate::pipeline::{self, Fault, Output};
use crate::plan::{DeliveryPlan, Layers, Row};
use crate::prove::{self, Bar, Clip, Clue, Finding, Heard, Judged, Looked, Looking, judge, short_runs};
use crate::receipt::{Delivery, Receipt};
use crate::session::outcome::describe_fault;
use crate::session::prepare::{Part, Prepared};
use crate::session::{Failure, Watch, progress};
use crate::shoot::Shoot;
use crate::shot::Codec;
use crate::units::SlotIndex;
use crate::work::{Known, Sink, SinkError, Written};

/// Stills on each side of the one due that are tried where a frame shows another one.
const AROUND: usize = 60;

/// A delivery as it was looked at.
pub(super) struct Proved {
    /// What came of it.
    pub(super) judged: Judged,
    /// How many of its frames were made anew.
    pub(super) anew: u64,
}

/// What is looked at together: a delivery, and the plan that it was made by.
struct Job<'a> {
    delivery: &'a Delivery,
    plan: Option<(&'a Part, &'a DeliveryPlan)>,
    planes: Arc<[Option<blake3::Hash>]>,
    clue: Option<Clue>,
    rows: Vec<u64>,
}

/// Makes frames anew and decodes every delivery to its end. `plans` are the script's, with the part of each of the
/// receipt's shots.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn check(
    receipt: &Receipt,
    files: &[ClipFile],
    plans: Option<(&Prepared, &[Option<usize>])>,
    options: &ProveOptions,
    watch: &Watch,
) -> Result<Vec<Proved>, Failure> {
    let mut random = Random::new(receipt, options.seed);
    let jobs: Vec<Job<'_>> = receipt
        .deliveries
        .iter()
        .zip(files)
        .map(|(delivery, file)| job(delivery, file, plans, options.frames, &mut random))
        .collect();
    let frames: u64 = jobs.iter().filter(|job| job.clue.is_some()).map(|job| job.delivery.frames).sum();
    let heard = Arc::new(Heard::default());
    let quiet = options.quiet || options.json;
    let decoded = || heard.decoded.load(Ordering::Relaxed);
    let all = progress::while_decoding(frames, quiet, &decoded, || {
        along(watch, &heard, || look(&jobs, plans.map(|(prepared, _)| prepared), &heard, options, watch))
    });
    let (looked, mut faults) = all?;
    let mut proved = Vec::new();
    for (index, (job, looked)) in jobs.iter().zip(looked).enumerate() {
        let Some(looked) = looked else {
            let words = "its path in the receipt leads out of the folder; it was not opened";
            let judged = Judged { proved: Vec::new(), findings: vec![Finding::wrong("leads-away", words)] };
            proved.push(Proved { judged, anew: 0 });
            continue;
        };
        let anew = (looked.rows.len() + looked.unlike.len()) as u64;
        let mut judged = judged(job, &looked, plans.map(|(prepared, _)| prepared), watch)?;
        if let Some(fault) = faults.remove(&index) {
            judged
                .findings
                .push(Finding::unknown("not-made-anew", format!("not all frames could be made anew: {fault}")));
        } else if job.plan.is_none() && looked.facts.is_ok() {
            let words = "no frame could be made anew from the stills: see script";
            judged.findings.push(Finding::unknown("not-made-anew", words));
        }
        proved.push(Proved { judged, anew });
    }
    Ok(proved)
}

fn job<'a>(
    delivery: &'a Delivery,
    file: &ClipFile,
    plans: Option<(&'a Prepared, &[Option<usize>])>,
    frames: FramesAnew,
    random: &mut Random,
) -> Job<'a> {
    let part = plans.and_then(|(prepared, fits)| Some(&prepared.parts[fits[delivery.shot]?]));
    let of_name = |part: &'a Part| part.made.plan().deliveries.iter().find(|plan| plan.name == delivery.name);
    let as_long = |plan: &&DeliveryPlan| plan.rows.len() as u64 == delivery.frames;
    let plan = part.and_then(|part| Some((part, of_name(part).filter(as_long)?)));
    let planes: Arc<[_]> = delivery.planes.iter().map(|digits| blake3::Hash::from_hex(digits).ok()).collect();
    let sequence = Codec::SEQUENCES.contains(&delivery.codec.as_str());
    let exact = ["png", "tiff"].contains(&delivery.codec.as_str());
    let clue = file.path.clone().map(|path| Clue {
        kind: match plan {
            Some((_, plan)) => encode::kind_of(plan),
            None => crate::decode::clip::Clip::kind_in(&path, sequence).unwrap_or(FrameKind::Yuv420),
        },
        path,
        bar: plan.map_or(if exact { Bar::Exact } else { Bar::Decibels { due: 0.0, noisy: 0.0 } }, |(_, plan)| {
            bar_of(plan, delivery)
        }),
        planes: Arc::clone(&planes),
        sequence,
    });
    let rows = if plan.is_some() { random.rows(delivery.frames, frames) } else { Vec::new() };
    Job { delivery, plan, planes, clue, rows }
}

/// Has a stop heard while something is done.
fn along<T>(watch: &Watch, heard: &Heard, work: impl FnOnce() -> T) -> T {
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let ear = scope.spawn(|| {
            while !over.load(Ordering::Acquire) {
                std::thread::park_timeout(Duration::from_millis(50));
                if watch.stop.load(Ordering::Relaxed) {
                    heard.stop.store(true, Ordering::Relaxed);
                }
            }
        });
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
        over.store(true, Ordering::Release);
        ear.thread().unpark();
        match result {
            Ok(result) => result,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// A clip shared between the pipeline's sink and whoever decodes the rest of it.
type Shared = Arc<Mutex<Option<Looking>>>;

fn lock<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// By job, what was seen; and why frames could not be made anew.
type Seen = (Vec<Option<Looked>>, BTreeMap<usize, String>);

fn look(
    jobs: &[Job<'_>],
    prepared: Option<&Prepared>,
    heard: &Arc<Heard>,
    options: &ProveOptions,
    watch: &Watch,
) -> Result<Seen, Failure> {
    let mut faults = BTreeMap::new();
    let clips: Vec<Shared> = jobs
        .iter()
        .map(|job| Arc::new(Mutex::new(job.clue.clone().map(|clue| Looking::open(clue, Arc::clone(heard))))))
        .collect();
    for (number, shoot) in prepared.into_iter().flat_map(|prepared| prepared.shoots.iter().enumerate()) {
        let of_shoot: Vec<(usize, DeliveryPlan)> = jobs
            .iter()
            .enumerate()
            .filter_map(|(index, job)| {
                let (_, plan) = job.plan.filter(|(part, _)| part.shoot == number && !job.rows.is_empty())?;
                Some((
                    index,
                    plan.with_rows(
                        job.rows.iter().filter_map(|row| plan.rows.get(usize::try_from(*row).ok()?)).cloned().collect(),
                    ),
                ))
            })
            .collect();
        let sink = |index: usize, plan: &DeliveryPlan| -> Box<dyn Sink> {
            let (clip, rows) = (Arc::clone(&clips[index]), jobs[index].rows.clone().into_iter());
            Box::new(Along { kind: encode::kind_of(plan), clip, rows })
        };
        let outputs =
            of_shoot.iter().map(|(index, plan)| Output { plan, rows: 0..plan.rows.len(), sink: sink(*index, plan) });
        match pipeline::Job::new(shoot, outputs.collect(), workers(options)).run(watch) {
            Ok(_) => {}
            Err(Fault::Interrupted) => return Err(Failure::interrupted()),
            Err(fault) => {
                let words = plain(&describe_fault(&fault, shoot).message).into_owned();
                faults.extend(of_shoot.iter().map(|(index, _)| (*index, words.clone())));
            }
        }
    }
    let mut looked = Vec::new();
    for clip in clips {
        let clip = lock(&clip).take();
        looked.push(clip.map(Looking::finish));
        if watch.stop.load(Ordering::Relaxed) {
            return Err(Failure::interrupted());
        }
    }
    Ok((looked, faults))
}

fn workers(options: &ProveOptions) -> usize {
    options.threads.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
}

/// Takes frames made anew as an encoder would, and holds them against the clip.
struct Along {
    kind: FrameKind,
    clip: Shared,
    rows: std::vec::IntoIter<u64>,
}

impl Sink for Along {
    fn kind(&self) -> FrameKind {
        self.kind
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Default::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        if let (Some(row), Some(clip)) = (self.rows.next(), lock(&self.clip).as_mut()) {
            clip.see(row, known.hash, frame);
        }
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(Written { path: PathBuf::new(), frames: 0, bytes: 0, remarks: Vec::new(), blake3: None })
    }
}

/// How near frames have to be, at the quality that was found where the delivery was given a size.
fn bar_of(plan: &DeliveryPlan, delivery: &Delivery) -> Bar {
    let crf = delivery.crf.filter(|_| plan.codec.size().is_some());
    crf.map_or_else(|| Bar::of(&plan.codec), |crf| Bar::of(&plan.codec.at_crf(crf)))
}

/// Judges a clip; where a frame or two fit nothing, the stills around those due are tried in their places.
fn judged(job: &Job<'_>, looked: &Looked, prepared: Option<&Prepared>, watch: &Watch) -> Result<Judged, Failure> {
    let slots = prepared.zip(job.plan).map(|(prepared, (part, plan))| (&prepared.shoots[part.shoot], (part, plan)));
    let due = |row: u64| {
        let (shoot, (_, plan)) = slots?;
        Some(shoot.slots[plan.rows.get(usize::try_from(row).ok()?)?.shown.0].name.clone())
    };
    let bar = job.plan.map(|(_, plan)| bar_of(plan, job.delivery));
    let nothing = |_| None;
    let clip = Clip { delivery: job.delivery, looked, planes: &job.planes, bar, due: &due, shown: &nothing };
    let mut found: BTreeMap<u64, String> = BTreeMap::new();
    if let (Some((shoot, made)), Some(bar)) = (slots, bar) {
        for row in short_runs(&clip) {
            let seen = looked.strange.iter().find(|(its, _)| *its == row).map(|(_, frame)| frame);
            if let Some(frame) = seen
                && let Some(slot) = shown_by(frame, row, shoot, made, bar, watch)?
            {
                found.insert(row, shoot.slots[slot.0].name.clone());
            }
        }
    }
    let shown = |row: u64| found.get(&row).cloned();
    Ok(judge(&Clip { shown: &shown, ..clip }))
}

/// The still that a frame shows in the place of the one due, among those around it.
fn shown_by(
    frame: &Frame,
    row: u64,
    shoot: &Shoot,
    (part, plan): (&Part, &DeliveryPlan),
    bar: Bar,
    watch: &Watch,
) -> Result<Option<SlotIndex>, Failure> {
    let Some(due) = usize::try_from(row).ok().and_then(|row| plan.rows.get(row)) else { return Ok(None) };
    let around = due.shown.0.saturating_sub(AROUND)..shoot.slots.len().min(due.shown.0 + AROUND + 1);
    let tried: Vec<SlotIndex> =
        around.map(SlotIndex).filter(|slot| *slot != due.shown && shoot.still(*slot).is_some()).collect();
    let mut corrections = part.made.plan().corrections();
    let of_slot = |slot: &SlotIndex| {
        let layers = Layers::One(corrections.layer(*slot, None, due.window));
        Row { slot: *slot, shown: *slot, stand_in: None, layers, ..due.clone() }
    };
    let plan = plan.with_rows(tried.iter().map(of_slot).collect());
    let fits = Arc::new(Mutex::new(Vec::new()));
    let sink = Box::new(Try { kind: encode::kind_of(&plan), frame: frame.clone(), fits: Arc::clone(&fits) });
    let output = Output { plan: &plan, rows: 0..plan.rows.len(), sink };
    match pipeline::Job::new(shoot, vec![output], 1).run(watch) {
        Ok(_) => {}
        Err(Fault::Interrupted) => return Err(Failure::interrupted()),
        // A damaged one among them: then it is not found, and the frame is named all the same.
        Err(_) => return Ok(None),
    }
    let fits = std::mem::take(&mut *lock(&fits));
    let fitting = tried.into_iter().zip(fits).filter_map(|(slot, fit)| Some((slot, fit?)));
    let best = fitting.filter(|(_, (fit, detail))| bar.holds(*fit, *detail));
    let best = best.min_by(|(_, (one, _)), (_, (other, _))| one.all().total_cmp(&other.all()));
    Ok(best.map(|(slot, _)| slot))
}

/// How a frame fits another, with the variance of its fine detail; none where they are of different sizes.
type Tried = Option<(prove::Fit, f64)>;

/// Takes frames and notes how they fit a given one.
struct Try {
    kind: FrameKind,
    frame: Frame,
    fits: Arc<Mutex<Vec<Tried>>>,
}

impl Sink for Try {
    fn kind(&self) -> FrameKind {
        self.kind
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        let fit = prove::fit(frame, &self.frame).map(|fit| (fit, prove::detail(frame)));
        lock(&self.fits).push(fit);
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(Written { path: PathBuf::new(), frames: 0, bytes: 0, remarks: Vec::new(), blake3: None })
    }
}

/// Numbers that repeat: of BLAKE3, by the receipt's hash or a seed that was given.
struct Random(blake3::OutputReader);

impl Random {
    fn new(receipt: &Receipt, seed: Option<u64>) -> Self {
        let seed = seed.map_or_else(|| receipt.hash.clone(), |seed| seed.to_string());
        Self(blake3::Hasher::new_derive_key("stillpath frames to prove").update(seed.as_bytes()).finalize_xof())
    }

    /// Rows to make anew, in order.
    fn rows(&mut self, frames: u64, wanted: FramesAnew) -> Vec<u64> {
        let FramesAnew::Some(random) = wanted else { return (0..frames).collect() };
        if frames <= u64::from(random) + 3 {
            return (0..frames).collect();
        }
        let mut rows = std::collections::BTreeSet::from([0, frames / 2, frames - 1]);
        while (rows.len() as u64) < u64::from(random) + 3 {
            let mut bytes = [0; 8];
            self.0.fill(&mut bytes);
            rows.insert(u64::from_le_bytes(bytes) % frames);
        }
        rows.into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_the_first_the_middle_the_last_and_others_that_repeat_by_their_seed() {
        let drawn = |seed: &str, frames| {
            let reader = blake3::Hasher::new().update(seed.as_bytes()).finalize_xof();
            Random(reader).rows(frames, FramesAnew::Some(10))
        };
        let rows = drawn("a", 4000);
        assert_eq!(rows.len(), 13);
        assert!(rows.is_sorted() && [0, 2000, 3999].iter().all(|row| rows.contains(row)));
        assert_eq!(rows, drawn("a", 4000));
        assert_ne!(rows, drawn("b", 4000));
        assert_eq!(drawn("a", 13), (0..13).collect::<Vec<_>>());
        assert!(drawn("a", 0).is_empty());
    }
}

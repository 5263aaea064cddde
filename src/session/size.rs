//! Deliveries that are to have a size: the rate factors of their stretches, found by encoding some of them, then all.
//!
//! ## Decisions
//!
//! - The search is `encode::search`. It comes before the pass that all deliveries share: that one finds the stretches
//!   whole, and only puts them together.
//! - What was encoded, and what it came to, is kept beside the unfinished output. A run that goes on asks the same
//!   questions and is answered from there.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::resume::{Identities, Made, stretches_at};
use super::{Failure, bytes, progress};
use crate::diag::{self, Diagnostic, Diagnostics};
use crate::encode::{self, Fit, Goal, Scale, Trials};
use crate::pipeline::{Detail, Fault, Finished, Job, Output, Watch};
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::work::{Met, SinkError, Stretches};

/// One delivery, where it goes, and how it is made.
#[derive(Clone, Copy)]
pub(super) struct Sized<'a> {
    pub(super) shoot: &'a Shoot,
    pub(super) plan: &'a DeliveryPlan,
    pub(super) path: &'a Path,
    pub(super) made: Made,
}

/// How frames are made for it.
#[derive(Clone, Copy)]
pub(super) struct Work<'a> {
    pub(super) detail: Detail<'a>,
    pub(super) workers: usize,
    pub(super) quiet: bool,
    pub(super) watch: &'a Watch,
}

/// Why a search has ended.
enum Stop {
    /// It would have to encode.
    Unknown,
    Fault(Fault),
    Failed(Failure),
}

/// Rate factors of a delivery's stretches, where it is to have a size: encodes whatever it takes to find them.
///
/// # Errors
/// [`Failure`] where the disk or an encoder refuses, or where the file is too large whatever is done; within it the fault
/// that ended the pass.
pub(super) fn found(sized: Sized<'_>, work: Work<'_>, fresh: bool) -> Result<Result<Option<Vec<f64>>, Fault>, Failure> {
    let Some(size) = sized.plan.codec.size() else { return Ok(Ok(None)) };
    if fresh {
        encode::tidy(sized.path);
    }
    match search(sized, size, Some(work)) {
        Ok(Fit::Found(crfs, _)) => Ok(Ok(Some(crfs))),
        Ok(Fit::TooLarge(least)) => Err(Failure::failed(
            Diagnostic::mistake(format!(
                "{} comes to {} at the coarsest setting there is; its size is {}",
                sized.path.display(),
                bytes(least),
                bytes(size)
            ))
            .help("give it a larger size, a smaller frame or fewer frames"),
        )),
        Err(Stop::Fault(fault)) => Ok(Err(fault)),
        Err(Stop::Failed(failure)) => Err(failure),
        Err(Stop::Unknown) => Ok(Ok(None)),
    }
}

/// Whether an output stands because an interrupted run had finished it before its others. The factors of one with a size
/// are found by what that run noted.
pub(super) fn is_finished(sized: Sized<'_>) -> bool {
    let Sized { shoot, plan, path, made } = sized;
    if !encode::is_begun(path) {
        return false;
    }
    let crfs = plan.codec.size().map(|size| match search(sized, size, None) {
        Ok(Fit::Found(crfs, _)) => Some(crfs),
        _ => None,
    });
    let stretches = |crfs: Option<&[f64]>| stretches_at(plan, &Identities::of(shoot), made, crfs);
    match crfs {
        Some(None) => false,
        Some(Some(crfs)) => encode::is_finished(path, &stretches(Some(&crfs))),
        None => encode::is_finished(path, &stretches(None)),
    }
}

fn search(sized: Sized<'_>, size: u64, work: Option<Work<'_>>) -> Result<Fit, Stop> {
    let frames: Vec<usize> =
        encode::cut(sized.plan, sized.shoot.size, sized.made.together).iter().map(ExactSizeIterator::len).collect();
    let scale = Scale::of(&sized.plan.codec).ok_or(Stop::Unknown)?;
    let sizes = encode::noted_sizes(sized.path);
    let identities = Identities::of(sized.shoot);
    encode::search(&frames, &scale, size, &mut Asked { sized, work, identities, sizes })
}

/// What is remarked of deliveries that stay below their size.
pub(super) fn remarks<'a>(finished: impl Iterator<Item = (&'a DeliveryPlan, &'a Finished)>) -> Diagnostics {
    let short = finished.filter_map(|(plan, finished)| {
        let (size, is) = (plan.codec.size()?, finished.written.bytes);
        #[expect(clippy::cast_precision_loss, reason = "bytes of a file")]
        let part = is as f64 / size as f64;
        let why = match finished.crf {
            Some(crf) if crf <= 1.0 => "it is as fine as can be",
            _ => "nothing nearer to it could be made of so few frames",
        };
        let words = format!("'{}' has {}, {:.1} % of its size: {why}", plan.name, bytes(is), 100.0 * part);
        (part < encode::LEAST).then(|| Diagnostic::remark(words))
    });
    Diagnostics(short.collect())
}

/// Answers what a search asks.
struct Asked<'a> {
    sized: Sized<'a>,
    /// None where nothing is to be encoded.
    work: Option<Work<'a>>,
    identities: Arc<Identities>,
    /// By key, what is known.
    sizes: BTreeMap<String, u64>,
}

impl Asked<'_> {
    fn stretches(&self, crfs: &[f64]) -> Stretches {
        stretches_at(self.sized.plan, &self.identities, self.sized.made, Some(crfs))
    }

    fn key(stretches: &Stretches, index: usize) -> String {
        stretches.each[index].key.get(&Met::default()).to_string()
    }

    /// Has these stretches whole.
    fn encode(&mut self, stretches: &Stretches, which: &[usize]) -> Result<(), Stop> {
        let work = self.work.ok_or(Stop::Unknown)?;
        let Sized { shoot, plan, path, made } = self.sized;
        let mut which = which.to_vec();
        which.sort_unstable();
        let begun =
            encode::begin_for(plan, Some(shoot), path, made.threads, stretches.clone(), (false, Goal::Some(&which)));
        let encode::Begun { sink, due, taken } = begun.map_err(|error| self.failed(&error))?;
        let rows: Vec<_> = due.into_iter().flat_map(|rows| plan.rows[rows].iter().cloned()).collect();
        if rows.is_empty() {
            return sink.finish().map(drop).map_err(|error| self.failed(&error));
        }
        let due = DeliveryPlan { sound: Arc::clone(&plan.sound), ..plan.with_rows(rows) };
        let outputs = vec![Output { plan: &due, rows: 0..due.rows.len(), sink }];
        let job = Job { detail: work.detail, earlier: Some(taken.met), ..Job::new(shoot, outputs, work.workers) };
        let (stills, frames) = job.workload();
        if !work.quiet {
            progress::say(&format!("{}: encoding {frames} frames for its size\n", diag::path(path)));
        }
        let ran = progress::while_rendering(stills, frames, work.quiet, work.watch, || job.run(work.watch));
        ran.map(drop).map_err(Stop::Fault)
    }

    fn failed(&self, error: &SinkError) -> Stop {
        Stop::Failed(Failure::failed(Diagnostic::mistake(format!("{}: {error}", self.sized.plan.name))))
    }

    fn note(&self) {
        encode::note_sizes(self.sized.path, &self.sizes);
    }
}

impl Trials for Asked<'_> {
    type Stop = Stop;

    fn bytes(&mut self, crfs: &[f64], which: &[usize]) -> Result<Vec<u64>, Stop> {
        let stretches = self.stretches(crfs);
        // Keys are made of what stills hold: nothing is read of them before there is anything to compare with.
        let unknown = |index: &usize| self.sizes.is_empty() || !self.sizes.contains_key(&Self::key(&stretches, *index));
        let missing: Vec<usize> = which.iter().copied().filter(unknown).collect();
        if !missing.is_empty() {
            self.encode(&stretches, &missing)?;
            let made = encode::stretch_bytes(self.sized.path, &stretches);
            for index in missing {
                let bytes = made.get(&index).copied().ok_or(Stop::Unknown)?;
                self.sizes.insert(Self::key(&stretches, index), bytes);
            }
            self.note();
        }
        Ok(which.iter().map(|index| self.sizes.get(&Self::key(&stretches, *index)).copied().unwrap_or(0)).collect())
    }

    fn whole(&mut self, crfs: &[f64]) -> Result<u64, Stop> {
        let stretches = self.stretches(crfs);
        let key = stretches.key(&Met::default()).to_string();
        if let Some(known) = self.sizes.get(&key) {
            return Ok(*known);
        }
        let all: Vec<usize> = (0..stretches.each.len()).collect();
        self.encode(&stretches, &all)?;
        let Sized { shoot, plan, path, made } = self.sized;
        let weighed = encode::begin_for(plan, Some(shoot), path, made.threads, stretches, (false, Goal::Weighed));
        let written = weighed.and_then(|begun| begun.sink.finish()).map_err(|error| self.failed(&error))?;
        self.sizes.insert(key, written.bytes);
        self.note();
        Ok(written.bytes)
    }
}

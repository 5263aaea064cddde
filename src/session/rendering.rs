//! What a render is asked for, and what follows from that: what all runs of it have in common, whether they make all of
//! its outputs or a share of them.

use std::path::{Path, PathBuf};

use super::draft::{self, DraftOptions};
use super::outcome::describe_fault;
use super::prepare::{Part, Prepared, known};
use super::receipt;
use super::resume::Made;
use super::share::number::Share;
use super::size::{self, Sized};
use super::{Failure, ScriptOptions, outputs};
use crate::encode;
use crate::pipeline::Fault;
use crate::plan::DeliveryPlan;
use crate::resolve::{self, Known};
use crate::shoot::Damage;
use crate::shot::Policy;
use crate::units::SlotIndex;

/// How to render.
#[derive(Debug, Clone)]
pub struct RenderOptions {
    /// The folder for the outputs.
    pub out: PathBuf,
    /// Workers that decode and paint; one a processor where none.
    pub threads: Option<usize>,
    /// Whether existing outputs may be replaced.
    pub force: bool,
    /// Whether what an interrupted run left is thrown away.
    pub fresh: bool,
    /// Drafts in place of the deliveries.
    pub draft: Option<DraftOptions>,
    /// Whether a strip of frames is put beside the outputs.
    pub strip: bool,
    /// Whether a receipt is put beside the outputs; never beside drafts.
    pub receipt: bool,
    /// No progress and no summary.
    pub quiet: bool,
    /// The outcome as JSON.
    pub json: bool,
    /// Whether stretches stay when outputs are whole, and outputs that an earlier such run has left are replaced: the shoot
    /// grows.
    pub growing: bool,
    /// How much of it is made by this run.
    pub extent: Extent,
}

/// How much of a render one run makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// All that is not there yet.
    Whole,
    /// One share of the stretches, for another run to join; never of drafts.
    Share(Share),
    /// What shares have made is put together, and nothing made that they should have.
    Joined,
}

/// Refuses where an output, or what comes beside it, would have to take the place of something else.
///
/// # Errors
/// [`Failure`] that names what is there.
pub(super) fn refuse_what_is_in_the_way(
    prepared: &Prepared,
    script: &ScriptOptions,
    options: &RenderOptions,
) -> Result<(), Failure> {
    let drafts = options.draft.is_some();
    let receipted = options.receipt && !drafts;
    let is_there = |part: &Part, plan: &DeliveryPlan, path: &Path| {
        if options.growing && !drafts && encode::has_grown(path) {
            return true;
        }
        let made = made(deliveries_of(prepared, part.shoot).count(), options);
        let plan = draft::made(plan, drafts);
        let sized = Sized { shoot: &prepared.shoots[part.shoot], plan: &plan, path, made };
        !options.fresh && size::is_finished(sized)
    };
    let mut refused = outputs::in_the_way(prepared, &options.out, options.force, drafts, &is_there);
    let receipt = receipted.then(|| receipt::path(prepared, script, &options.out));
    refused.extend(
        receipt.and_then(|path| receipt::in_the_way(&path, script, options.force)).map(Into::into).unwrap_or_default(),
    );
    if refused.refused() {
        return Err(Failure::refused(refused));
    }
    Ok(())
}

/// The deliveries cut from one shoot, in the script's order.
pub(super) fn deliveries_of(prepared: &Prepared, shoot: usize) -> impl Iterator<Item = &DeliveryPlan> {
    prepared.parts.iter().filter(move |part| part.shoot == shoot).flat_map(|part| &part.made.plan.deliveries)
}

/// Workers that decode and paint.
pub(super) fn workers(options: &RenderOptions) -> usize {
    options.threads.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
}

/// How so many deliveries of a shoot are made.
pub(super) fn made(together: usize, options: &RenderOptions) -> Made {
    let threads = encoder_threads(workers(options), together);
    Made { threads, draft: options.draft.is_some(), together, grows: options.growing }
}

/// Threads an encoder gets: two or more where it is alone, so that it keeps up; one where several share the processors.
fn encoder_threads(workers: usize, deliveries: usize) -> usize {
    if deliveries <= 1 { workers.clamp(2, 16) } else { workers.div_ceil(deliveries).max(1) }
}

/// Marks a still that decoding showed to be damaged and resolves again, or says why that is refused.
pub(super) fn mark_damaged(
    prepared: &mut Prepared,
    shoot: usize,
    slot: SlotIndex,
    damage: Damage,
) -> Result<(), Failure> {
    let cut_here = |part: &&Part| part.shoot == shoot;
    if let Some(part) = prepared.parts.iter().filter(cut_here).find(|part| part.shot.source.damaged == Policy::Stop) {
        let fault = Fault::Damaged { slot, damage };
        let mistake = describe_fault(&fault, &prepared.shoots[shoot]).at(&part.shot.source.place);
        return Err(Failure::failed(
            mistake
                .help("say what to do about damaged stills: damaged = \"hold\" (show the one before it) or \"skip\""),
        ));
    }
    // What is made of a recording's damaged frame would only be met frame by frame.
    let made_of_it =
        prepared.shoots[shoot].recording.as_ref().map(|recording| recording.made_of(slot.0).collect::<Vec<_>>());
    for slot in made_of_it.unwrap_or_else(|| vec![slot.0]) {
        prepared.shoots[shoot].mark_damaged(SlotIndex(slot), damage.clone());
    }
    for part in prepared.parts.iter_mut().filter(|part| part.shoot == shoot) {
        let (shoot, measures) = (&prepared.shoots[shoot], prepared.measures[shoot].as_ref());
        let known = known(measures, part.curve.as_ref(), part.stands.as_deref(), &prepared.supplies);
        let known = Known { tracks: &part.tracks, ..known };
        part.made = resolve::resolve(&part.shot, shoot, known).map_err(Failure::refused)?;
    }
    Ok(())
}

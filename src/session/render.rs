//! `render`: every delivery of every shot, one pass a shoot.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde_json::json;

use super::prepare::{Prepared, check_codecs, keep_wanted, prepare};
use super::{Failure, Reply, ScriptOptions, pretty, progress, report};
use crate::diag::{Diagnostic, Diagnostics};
use crate::encode;
use crate::pipeline::{self, Fault, Finished, Outcome, Output, StoodIn, Watch};
use crate::plan::DeliveryPlan;
use crate::resolve;
use crate::shoot::{Damage, Shoot};
use crate::shot::{Codec, Policy};
use crate::survey;
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
    /// No progress and no summary.
    pub quiet: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// Renders.
///
/// # Errors
/// [`Failure`] with code 1 where anything can be known before the first frame, 2 where the render itself fails, 130 where
/// it was interrupted.
pub fn render(script: &ScriptOptions, options: &RenderOptions, watch: &Watch) -> Result<Reply, Failure> {
    let mut prepared = prepare(script)?;
    let mut refused = Diagnostics::default();
    preflight(&prepared, options, &mut refused);
    if refused.refused() {
        return Err(Failure::refused(refused));
    }
    let mut reports = Vec::new();
    for shoot in 0..prepared.shoots.len() {
        let outcome = render_shoot(&mut prepared, shoot, script, options, watch)?;
        prepared.remarks.extend(decoding_remarks(&outcome, &prepared.shoots[shoot]));
        reports.push((shoot, outcome));
    }
    let text = match (options.json, options.quiet) {
        (true, _) => as_json(&prepared, &reports, watch),
        (false, true) => String::new(),
        (false, false) => as_text(&prepared, &reports),
    };
    let notes = if options.quiet { Diagnostics::default() } else { prepared.remarks };
    Ok(Reply { text, messages: prepared.messages, notes, closing: None })
}

/// The deliveries cut from one shoot, in the script's order.
fn deliveries_of(prepared: &Prepared, shoot: usize) -> impl Iterator<Item = &DeliveryPlan> {
    prepared.parts.iter().filter(move |part| part.shoot == shoot).flat_map(|part| &part.plan.deliveries)
}

/// Renders what is cut from one shoot. Stills that turn out damaged are marked, and the plans resolved again, where a
/// script's policy allows it and the plan named no stand-in.
fn render_shoot(
    prepared: &mut Prepared,
    shoot: usize,
    script: &ScriptOptions,
    options: &RenderOptions,
    watch: &Watch,
) -> Result<Outcome, Failure> {
    loop {
        let outcome = {
            let deliveries: Vec<&DeliveryPlan> = deliveries_of(prepared, shoot).collect();
            render_pass(prepared, shoot, &deliveries, options, watch)?
        };
        match outcome {
            Ok(outcome) => return Ok(outcome),
            Err(Fault::Interrupted) => return Err(Failure::interrupted()),
            Err(Fault::Damaged { slot, damage }) => mark_damaged(prepared, shoot, slot, damage, script)?,
            Err(fault) => return Err(Failure::failed(describe_fault(&fault, &prepared.shoots[shoot]))),
        }
        watch.stills.store(0, Ordering::Relaxed);
        watch.frames.store(0, Ordering::Relaxed);
    }
}

/// One pass over a shoot: sinks opened, pipeline run.
fn render_pass(
    prepared: &Prepared,
    shoot: usize,
    deliveries: &[&DeliveryPlan],
    options: &RenderOptions,
    watch: &Watch,
) -> Result<Result<Outcome, Fault>, Failure> {
    let workers = options.threads.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from));
    let encoder_threads = encoder_threads(workers, deliveries.len());
    let mut outputs = Vec::new();
    for plan in deliveries {
        let path = encode::output_path(&options.out, &prepared.stem, plan);
        let sink = encode::open(plan, &path, encoder_threads)
            .map_err(|error| Failure::failed(Diagnostic::mistake(format!("{}: {error}", plan.name))))?;
        outputs.push(Output { plan, rows: 0..plan.rows.len(), sink });
    }
    let (stills, frames) = pipeline::workload(&outputs);
    let quiet = options.quiet || options.json;
    let run = || pipeline::run(&prepared.shoots[shoot], outputs, workers, watch);
    Ok(progress::while_rendering(stills, frames, quiet, watch, run))
}

/// Threads an encoder gets: two or more where it is alone, so that it keeps up; one where several share the processors.
fn encoder_threads(workers: usize, deliveries: usize) -> usize {
    if deliveries <= 1 { workers.clamp(2, 16) } else { workers.div_ceil(deliveries).max(1) }
}

/// Marks a still that decoding showed to be damaged and resolves again, or says why that is refused.
fn mark_damaged(
    prepared: &mut Prepared,
    shoot: usize,
    slot: SlotIndex,
    damage: Damage,
    script: &ScriptOptions,
) -> Result<(), Failure> {
    let cut_here = |part: &&mut super::prepare::Part| part.shoot == shoot;
    if let Some(part) = prepared.parts.iter_mut().filter(cut_here).find(|part| part.shot.source.damaged == Policy::Stop) {
        let fault = Fault::Damaged { slot, damage };
        let mistake = describe_fault(&fault, &prepared.shoots[shoot]).at(&part.shot.source.place);
        return Err(Failure::failed(
            mistake.help("say what to do about damaged stills: damaged = \"hold\" (show the one before it) or \"skip\""),
        ));
    }
    prepared.shoots[shoot].mark_damaged(slot, damage);
    for part in prepared.parts.iter_mut().filter(|part| part.shoot == shoot) {
        part.plan = resolve::resolve(&part.shot, &prepared.shoots[shoot]).map_err(Failure::refused)?;
        prepared.remarks.extend(std::mem::take(&mut part.plan.remarks));
        keep_wanted(&script.deliveries, &mut part.plan);
    }
    Ok(())
}

/// A fault in words, with the still's file where one is to blame.
pub(super) fn describe_fault(fault: &Fault, shoot: &Shoot) -> Diagnostic {
    let named = |slot: SlotIndex, what: &dyn std::fmt::Display| {
        let path = shoot.still(slot).map_or_else(|| shoot.slots[slot.0].name.clone(), |still| still.path.display().to_string());
        Diagnostic::mistake(format!("{path}: {what}"))
    };
    match fault {
        Fault::Damaged { slot, damage } => named(*slot, damage),
        Fault::Paint { slot, source } => named(*slot, source),
        Fault::Sink { .. } | Fault::Interrupted | Fault::Panicked(_) => Diagnostic::mistake(fault.to_string()),
    }
}

/// What decoding had to remark, each once, with the first still it is true of.
pub(super) fn decoding_remarks(outcome: &Outcome, shoot: &Shoot) -> Diagnostics {
    let said = outcome.remarks.iter().map(|(remark, slots)| {
        let first = slots.first().map_or("", |slot| shoot.slots[slot.0].name.as_str());
        match slots.len() {
            1 => Diagnostic::remark(format!("{first}: {remark}")),
            count => Diagnostic::remark(format!("{count} stills, {first} the first: {remark}")),
        }
    });
    Diagnostics(said.collect())
}

/// Finds what would stop the render, before its first frame.
fn preflight(prepared: &Prepared, options: &RenderOptions, refused: &mut Diagnostics) {
    let mut predicted = 0;
    check_codecs(prepared, refused);
    for part in &prepared.parts {
        for plan in &part.plan.deliveries {
            predicted += encode::predicted_bytes(plan);
            let path = encode::output_path(&options.out, &prepared.stem, plan);
            if survey::would_take(&prepared.requests[part.shoot], &path) {
                let message = format!("{} lies among the stills and would be taken for one of them", path.display());
                refused.push(Diagnostic::mistake(message).at(&part.shot.source.place).help("choose another --out folder"));
            }
            if path.exists() && !options.force {
                let message = format!("{} is already there", path.display());
                refused.push(Diagnostic::mistake(message).help("--force replaces it, or choose another --out folder"));
            }
        }
    }
    if !refused.refused() {
        check_folder(&options.out, predicted, refused);
    }
}

/// Makes the output folder, and checks that it can be written and that what is predicted fits.
fn check_folder(out: &Path, predicted: u64, refused: &mut Diagnostics) {
    let unwritable = |error: std::io::Error| Diagnostic::mistake(format!("{} cannot be written: {error}", out.display()));
    if let Err(error) = std::fs::create_dir_all(out).and_then(|()| tempfile::tempfile_in(out)) {
        refused.push(unwritable(error));
        return;
    }
    let free = match rustix::fs::statvfs(out) {
        Ok(disk) => disk.f_bavail.saturating_mul(disk.f_frsize),
        Err(error) => {
            refused.push(unwritable(error.into()));
            return;
        }
    };
    let needed = predicted + predicted / 10;
    if needed > free {
        let message = format!(
            "{} has {} free; about {} are needed (an estimate, with a tenth to spare)",
            out.display(),
            report::bytes(free),
            report::bytes(needed)
        );
        refused.push(Diagnostic::mistake(message).help("make room, choose another --out folder, or render fewer deliveries"));
    }
}

fn as_text(prepared: &Prepared, reports: &[(usize, Outcome)]) -> String {
    let mut text = String::new();
    for (shoot, outcome) in reports {
        for (plan, finished) in deliveries_of(prepared, *shoot).zip(&outcome.finished) {
            let written = &finished.written;
            text += &format!(
                "{}  {} frames of {} at {} a second, {}\n",
                written.path.display(),
                written.frames,
                plan.frame,
                plan.fps,
                report::bytes(written.bytes)
            );
        }
        for part in prepared.parts.iter().filter(|part| part.shoot == *shoot) {
            let mut tally = part.plan.tally.clone();
            tally.used = tally.used.saturating_sub(outcome.stood_in.len());
            let named = |entry: &StoodIn| {
                let shown = &prepared.shoots[*shoot].slots[entry.shown.0].name;
                (prepared.shoots[*shoot].slots[entry.slot.0].name.clone(), format!("{}; {shown} shown instead", entry.damage))
            };
            tally.damaged.extend(outcome.stood_in.iter().map(named));
            text += &report::sum(&tally);
        }
    }
    text
}

fn as_json(prepared: &Prepared, reports: &[(usize, Outcome)], watch: &Watch) -> String {
    let mut outputs = Vec::new();
    let mut shots = Vec::new();
    for (shoot, outcome) in reports {
        for (plan, Finished { written, hashes }) in deliveries_of(prepared, *shoot).zip(&outcome.finished) {
            let mut all = blake3::Hasher::new();
            for hash in hashes {
                all.update(hash.as_bytes());
            }
            let kind = if matches!(plan.codec, Codec::Png) { "png" } else { "h264" };
            outputs.push(json!({
                "delivery": plan.name, "codec": kind, "path": written.path.display().to_string(), "frames": written.frames, "bytes": written.bytes,
                "planes": all.finalize().to_hex().as_str(),
                "frame_planes": hashes.iter().map(|hash| hash.to_hex().to_string()).collect::<Vec<_>>(),
            }));
        }
        let stood_in: Vec<_> = outcome
            .stood_in
            .iter()
            .map(|entry| json!({ "slot": entry.slot.0 + 1, "damage": entry.damage.to_string(), "shown": entry.shown.0 + 1 }))
            .collect();
        for part in prepared.parts.iter().filter(|part| part.shoot == *shoot) {
            shots.push(json!({ "shot": part.plan.shot, "tally": part.plan.tally, "stood_in": stood_in }));
        }
    }
    let decoded = watch.stills.load(Ordering::Relaxed);
    pretty(&json!({ "stills_decoded": decoded, "outputs": outputs, "shots": shots, "remarks": prepared.remarks }))
}

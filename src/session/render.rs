//! `render`: every delivery of every shot, one pass a shoot.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde_json::{Value, json};

use super::draft::{self, Kept};
use super::outcome::{decoding_remarks, describe_fault, stood_in, tally_of};
use super::poster;
use super::prepare::{Encoders, Part, Prepared, prepare};
use super::receipt::{self, Stages};
use super::rendering::{Extent, RenderOptions, deliveries_of, made, mark_damaged, refuse_what_is_in_the_way, workers};
use super::resume::{self, Pass, Saved};
use super::share;
use super::size::{self, Sized, Work};
use super::strip::{self, Strip};
use super::surveyor::Looking;
use super::tables::{self, Kind};
use super::{Failure, Reply, ScriptOptions, bytes, flashing, held, known_files, pretty, progress};
use crate::diag::{self, Diagnostics};
use crate::pipeline::{Detail, Fault, Finished, Job, Outcome, Watch};
use crate::plan::{self, DeliveryPlan};
use crate::receipt::Delivery;
use crate::resolve;
use crate::units::SlotIndex;
use crate::work::Written;

/// Names the shares that are missing, by the records of stretches or by reading all of each.
type Missing<'a> = &'a dyn Fn(&Prepared, bool) -> Diagnostics;

/// What was there before a run.
#[derive(Clone, Copy)]
struct Before<'a> {
    /// Where shares are joined.
    missing: Option<Missing<'a>>,
    /// What the last receipt says of the outputs of a shoot that grows.
    earlier: &'a [Delivery],
}

/// Renders.
///
/// # Errors
/// [`Failure`] with code 1 where anything can be known before the first frame, 2 where the render itself fails, 130
/// where it was interrupted.
pub fn render(script: &ScriptOptions, options: &RenderOptions, watch: &Watch) -> Result<Reply, Failure> {
    if let Extent::Share(share) = options.extent {
        return share::render_share(script, options, share, watch);
    }
    let looking = Looking { watch, quiet: options.quiet || options.json };
    let mut stages = Stages::begin();
    let mut prepared = prepare(script, Encoders::Asked, looking)?;
    stages.end("prepare", 0);
    let notes = share::Notes::read(&prepared, script, &options.out);
    // Frames are the same only where encoders have as many threads.
    let threads = options.threads.or(notes.threads().filter(|_| options.extent == Extent::Joined));
    let options = &RenderOptions { threads, ..options.clone() };
    match render_prepared(&mut prepared, script, options, &notes, stages, watch) {
        Ok((text, remarks)) => {
            let notes = if options.quiet { Diagnostics::default() } else { remarks };
            Ok(Reply { text, messages: prepared.messages, notes, closing: None })
        }
        Err(mut failure) => {
            failure.reply.messages = prepared.messages;
            Err(failure)
        }
    }
}

/// The text for standard output, and the remarks.
fn render_prepared(
    prepared: &mut Prepared,
    script: &ScriptOptions,
    options: &RenderOptions,
    notes: &share::Notes,
    mut stages: Stages,
    watch: &Watch,
) -> Result<(String, Diagnostics), Failure> {
    let drafts = options.draft.is_some();
    let receipted = options.receipt && !drafts;
    refuse_what_is_in_the_way(prepared, script, options)?;
    let (mut reports, mut damaged) = (Vec::new(), BTreeSet::new());
    let missing = |prepared: &Prepared, all_of_it: bool| {
        share::missing(prepared, script, options, notes, workers(options), all_of_it)
    };
    let earlier = if options.growing {
        receipt::last(&receipt::path(prepared, script, &options.out)).map(|last| last.deliveries).unwrap_or_default()
    } else {
        Vec::new()
    };
    let before = Before { missing: Some(&missing), earlier: &earlier };
    if options.extent == Extent::Joined {
        damaged.extend(notes.mark(prepared)?);
        let missing = missing(prepared, false);
        if missing.refused() {
            return Err(Failure::refused(missing));
        }
    }
    if !(drafts || options.quiet || options.json) {
        prepared.parts.iter().flat_map(|part| held::by_estimate(&part.shot, part.made.plan()).0).for_each(|remark| {
            progress::say(&format!("{}\n", remark.message));
        });
    }
    let (kept, mut met) = options.draft.map(|draft| Kept::open(prepared, draft)).unwrap_or_default();
    let detail = kept.detail(options.draft.is_some());
    for shoot in prepared.shown() {
        let outcome = render_shoot(prepared, shoot, detail, options, &mut damaged, before, watch)?;
        met.extend(decoding_remarks(&outcome, &prepared.shoots[shoot]));
        met.extend(size::remarks(deliveries_of(prepared, shoot).zip(&outcome.finished).filter(|_| !drafts)));
        if !drafts {
            let cut_here = prepared.parts.iter().filter(|part| part.shoot == shoot);
            let plans = cut_here.map(|part| (&part.shot, part.made.plan()));
            met.extend(held::by_outcome(plans, &outcome.finished));
        }
        reports.push((shoot, outcome));
    }
    let written =
        reports.iter().flat_map(|(_, outcome)| &outcome.finished).map(|finished| finished.written.bytes).sum();
    stages.end_render(watch, written);
    let mut remarks = prepared.notes();
    if options.growing {
        remarks.0.extend(prepared.parts.iter().flat_map(|part| resolve::changes_with_growth(&part.shot)));
    }
    let tables = keep_tables(prepared, options)?;
    let strip = if options.strip {
        strip::beside_outputs(prepared, &options.out, options.force || options.growing, detail)
    } else {
        Strip::None
    };
    met.extend(kept.remarks());
    remarks.extend(met);
    if let Strip::Failed(why) = &strip {
        remarks.extend(why.clone());
    }
    stages.end("tables and strip", 0);
    let receipt = receipted.then(|| {
        let (out, threads, quiet) = (&*options.out, workers(options), options.quiet || options.json);
        let tables = tables.iter().map(KeptTables::by_kind).collect();
        let (outcomes, damaged) = (&reports[..], &damaged);
        receipt::write(receipt::Run { prepared, script, out, threads, outcomes, damaged, tables, stages, quiet, watch })
    });
    let receipt = receipt.transpose()?;
    known_files().keep();
    // Only now is nothing left to be interrupted in.
    let plans = prepared.parts.iter().flat_map(|part| &part.made.plan().deliveries).filter(|_| !options.growing);
    resume::tidy(plans.map(|plan| draft::path(&options.out, &prepared.stem, plan, drafts)));
    if !drafts {
        share::tidy(prepared, script, &options.out);
    }
    let text = match (options.json, options.quiet) {
        (true, _) => as_json(prepared, &reports, &tables, (&strip, receipt.as_deref()), &remarks, drafts, watch),
        (false, true) => String::new(),
        (false, false) => {
            let draft = options.draft.map(|_| draft_in_words(watch));
            let text = as_text(prepared, &reports, &tables, options);
            let receipt = receipt
                .map(|path| format!("{}  the receipt: what was made, of which stills, with what\n", diag::path(&path)));
            text + &strip.to_string() + &receipt.unwrap_or_default() + &draft.unwrap_or_default()
        }
    };
    Ok((text, remarks))
}

/// The tables that a part is corrected by, kept beside its outputs.
#[derive(Default)]
struct KeptTables {
    /// Each with what it holds and the line about it: one of a kind, or one for each shot of a reel.
    tables: Vec<(Kind, PathBuf, String)>,
    /// The flicker of the stills before and after levelling, where it was measured.
    flicker: Option<[f64; 2]>,
}

impl KeptTables {
    /// Those that there are, each with the field of a shot that asks for it.
    fn by_kind(&self) -> Vec<(&'static str, PathBuf)> {
        self.tables.iter().map(|(kind, path, _)| (kind.word(), path.clone())).collect()
    }

    /// Those of a kind as a report in JSON names them: the one there is, or those of a reel's shots; nothing where there
    /// are none.
    fn named(&self, wanted: Kind, of_reel: bool) -> Option<(&'static str, Value)> {
        let paths = self.tables.iter().filter(|(kind, ..)| *kind == wanted);
        let mut paths: Vec<String> = paths.map(|(_, path, _)| path.display().to_string()).collect();
        match (paths.is_empty(), of_reel) {
            (true, _) => None,
            (false, true) => Some(("tables", json!(paths))),
            (false, false) => Some(("table", json!(paths.remove(0)))),
        }
    }
}

/// Keeps the tables of every part beside its outputs, but for drafts; by part.
fn keep_tables(prepared: &Prepared, options: &RenderOptions) -> Result<Vec<KeptTables>, Failure> {
    if options.draft.is_some() {
        return Ok(prepared.parts.iter().map(|_| KeptTables::default()).collect());
    }
    let keep = |part: &Part| {
        let shoot = &prepared.shoots[part.shoot];
        let mut tables = Vec::new();
        for kept in [Kind::Level, Kind::Steady].into_iter().flat_map(|kind| kind.kept_in(prepared, part, &options.out))
        {
            let summary = kept.write().map_err(|mistake| Failure::failed(*mistake))?;
            tables.push((kept.kind, kept.path, summary));
        }
        let quiet = options.quiet && !options.json;
        let measures = prepared.measures_of(part.shoot).filter(|_| !quiet);
        let flicker = measures.and_then(|measures| resolve::flicker_of(part.made.plan(), &part.shot, shoot, measures));
        for (path, table) in tables::tracks(prepared, part, &options.out) {
            tables::write(&path, &table).map_err(|mistake| Failure::failed(*mistake))?;
        }
        Ok(KeptTables { tables, flicker })
    };
    prepared.parts.iter().map(keep).collect()
}

/// Renders what is cut from one shoot. Stills that turn out damaged are marked, and the plans resolved again, where a
/// script's policy allows it and the plan named no stand-in; `damaged` takes them in.
fn render_shoot(
    prepared: &mut Prepared,
    shoot: usize,
    detail: Detail<'_>,
    options: &RenderOptions,
    damaged: &mut BTreeSet<(usize, SlotIndex)>,
    before: Before<'_>,
    watch: &Watch,
) -> Result<Outcome, Failure> {
    let mut fresh = options.fresh;
    // Shares' frames are left to shares, until a still turns out damaged where two of them meet.
    let mut left_to_shares = options.extent == Extent::Joined;
    loop {
        let before = Before { missing: before.missing.filter(|_| left_to_shares), ..before };
        let (fault, saved) = match render_pass(prepared, shoot, detail, options, fresh, before, watch)? {
            Ok(outcome) => return Ok(outcome),
            Err(ended) => ended,
        };
        match fault {
            Fault::Interrupted => return Err(saved.interrupted()),
            Fault::Damaged { slot, damage } => {
                mark_damaged(prepared, shoot, slot, damage).map_err(|failure| saved.with(failure))?;
                damaged.insert((shoot, slot));
                (fresh, left_to_shares) = (false, false);
            }
            fault => return Err(saved.with(Failure::failed(describe_fault(&fault, &prepared.shoots[shoot])))),
        }
    }
}

/// One pass over a shoot: sinks opened, pipeline run. Of one that fails, what is kept of its outputs.
fn render_pass(
    prepared: &Prepared,
    shoot: usize,
    detail: Detail<'_>,
    options: &RenderOptions,
    fresh: bool,
    before: Before<'_>,
    watch: &Watch,
) -> Result<Result<Outcome, (Fault, Saved)>, Failure> {
    let drafts = options.draft.is_some();
    let plans: Vec<_> = deliveries_of(prepared, shoot).map(|plan| draft::made(plan, drafts)).collect();
    let path = |plan: &DeliveryPlan| draft::path(&options.out, &prepared.stem, plan, drafts);
    let deliveries: Vec<_> = plans.iter().map(|plan| (&**plan, path(plan))).collect();
    let (all, shoot, workers) = (prepared, &prepared.shoots[shoot], workers(options));
    let (made, quiet) = (made(deliveries.len(), options), options.quiet || options.json);
    let mut crfs = Vec::new();
    for (plan, path) in &deliveries {
        let work = Work { detail, workers, quiet, watch };
        match size::found(Sized { shoot, plan, path, made }, work, fresh)? {
            Ok(found) => crfs.push(found),
            Err(fault) => return Ok(Err((fault, Saved::for_size(path)))),
        }
    }
    let mut pass = Pass::begin(shoot, &deliveries, &crfs, made, fresh)?;
    if let Some(missing) = before.missing
        && pass.is_due()
    {
        // Their records said that they are there; now they have been read.
        return Err(Failure::refused(missing(all, true)));
    }
    let posters =
        poster::begin(deliveries.iter().map(|(plan, _)| *plan).filter(|_| !drafts), &options.out, &prepared.stem);
    let (pass, mut outputs) = pass.outputs();
    let (watched, eyes) = flashing::open(outputs, &deliveries);
    outputs = watched;
    outputs.extend(posters.iter().map(poster::Poster::output));
    let job = Job { detail, earlier: Some(pass.met()), ..Job::new(shoot, outputs, workers) };
    let (stills, frames) = job.workload();
    if !quiet && options.extent != Extent::Joined && !options.growing {
        progress::say(&pass.taken_over());
    }
    let ran = progress::while_rendering(stills, frames, quiet, watch, || job.run(watch));
    let mut outcome = match ran {
        Ok(outcome) => outcome,
        Err(fault) => return Ok(Err((fault, pass.saved()))),
    };
    outcome.finished.truncate(deliveries.len());
    posters.iter().try_for_each(poster::Poster::write)?;
    let mut outcome = pass.whole(outcome);
    flashing::note(&mut outcome.finished, &deliveries, &eyes, before.earlier, (quiet, watch));
    Ok(Ok(outcome))
}

/// What a draft is, and what it leaves out.
fn draft_in_words(watch: &Watch) -> String {
    let [decoded, kept] = [&watch.stills, &watch.kept].map(|count| count.load(Ordering::Relaxed));
    format!(
        "drafts: half of each frame's width and height, from stills decoded small ({decoded} decoded, {kept} kept from earlier \
         drafts), encoded quickly as H.264\nleft out: the frames' own size, detail and codec, and tables of gains and stands; render \
         without --draft for the clips themselves\n"
    )
}

fn as_text(
    prepared: &Prepared,
    reports: &[(usize, Outcome)],
    tables: &[KeptTables],
    options: &RenderOptions,
) -> String {
    let draft = options.draft.is_some();
    let mut text = String::new();
    for (shoot, outcome) in reports {
        for (plan, finished) in deliveries_of(prepared, *shoot).zip(&outcome.finished) {
            let written = &finished.written;
            text += &format!(
                "{}  {} frames of {} at {} a second, {}\n",
                diag::path(&written.path),
                written.frames,
                draft::made(plan, draft).frame,
                plan.fps,
                bytes(written.bytes)
            );
            if finished.taken_over > 0 {
                let of = match (options.extent, options.growing) {
                    (Extent::Joined, _) => "made in shares",
                    (_, true) => "kept from before",
                    (_, false) => "kept from an interrupted run",
                };
                text += &format!("  {} of them {of}\n", finished.taken_over);
            }
            if draft {
                text += &format!("  a draft; as frames of {}:\n", plan.frame);
            }
            text += &format!("  {}\n", plan.reach());
            if !plan.sound.is_empty() {
                text += &format!("  {}\n", plan::heard(&plan.sound));
            }
            if let Some(line) = flashing::line(finished) {
                text += &format!("  {line}\n");
            }
            if let Some((gathering, most)) = plan.gathers() {
                text += &format!("  {gathering} of them gather light, of up to {most} stills\n");
            }
            if plan.invented() > 0 {
                text += &format!("  {} of them invented between stills by motion\n", plan.invented());
            }
            if let Some((poster, path)) = plan.extras.poster.zip(poster_of(prepared, plan, written, draft)) {
                text += &format!("{}  the poster: frame {}\n", diag::path(&path), poster.frame);
            }
        }
        for (part, kept) in prepared.parts.iter().zip(tables).filter(|(part, _)| part.shoot == *shoot) {
            for kind in [Kind::Level, Kind::Steady] {
                for (_, path, summary) in kept.tables.iter().filter(|(of, ..)| *of == kind) {
                    text += &format!("{}  {summary}", diag::path(path));
                }
                if let Some([before, after]) = kept.flicker.filter(|_| kind == Kind::Level) {
                    let (before, after) = (100.0 * before, 100.0 * after);
                    text += &format!("  flicker of the stills: {before:.2} % before, {after:.2} % after\n");
                }
            }
            text += &plan::sum(&tally_of(part, &prepared.shoots[*shoot], outcome));
        }
    }
    text
}

/// The poster beside a finished output.
fn poster_of(prepared: &Prepared, plan: &DeliveryPlan, written: &Written, draft: bool) -> Option<PathBuf> {
    poster::path(written.path.parent()?, &prepared.stem, plan).filter(|_| !draft)
}

fn as_json(
    prepared: &Prepared,
    reports: &[(usize, Outcome)],
    tables: &[KeptTables],
    (strip, receipt): (&Strip, Option<&Path>),
    remarks: &Diagnostics,
    draft: bool,
    watch: &Watch,
) -> String {
    let mut outputs = Vec::new();
    let mut shots = Vec::new();
    for (shoot, outcome) in reports {
        for (plan, Finished { written, hashes, taken_over, flashes, .. }) in
            deliveries_of(prepared, *shoot).zip(&outcome.finished)
        {
            let mut all = blake3::Hasher::new();
            for hash in hashes {
                all.update(hash.as_bytes());
            }
            let kind = draft::made(plan, draft).codec.name();
            let mut output = json!({
                "delivery": plan.name, "codec": kind, "path": written.path.display().to_string(), "frames": written.frames, "bytes": written.bytes,
                "reach": plan.reach(),
                "invented": plan.invented(),
                "sound": plan.sound,
                "taken_over": taken_over,
                "flashes": flashes,
                "planes": all.finalize().to_hex().as_str(),
                "frame_planes": hashes.iter().map(|hash| hash.to_hex().to_string()).collect::<Vec<_>>(),
            });
            if let Some((gathering, most)) = plan.gathers() {
                output["gathered"] = json!({ "frames": gathering, "stills": most });
            }
            if let Some((poster, path)) = plan.extras.poster.zip(poster_of(prepared, plan, written, draft)) {
                output["poster"] = json!({ "path": path.display().to_string(), "frame": poster.frame });
            }
            outputs.push(output);
        }
        for (part, kept) in prepared.parts.iter().zip(tables).filter(|(part, _)| part.shoot == *shoot) {
            let stood_in: Vec<_> = stood_in(part, outcome)
                .map(|entry| json!({ "slot": entry.slot.0 + 1, "damage": entry.damage.to_string(), "shown": entry.shown.0 + 1 }))
                .collect();
            let tally = tally_of(part, &prepared.shoots[*shoot], outcome);
            let mut shot = json!({ "shot": part.made.plan().shot, "tally": tally, "stood_in": stood_in });
            let of_reel = part.shot.reel.is_some();
            if let Some((word, tables)) = kept.named(Kind::Level, of_reel) {
                shot["level"] = json!({ word: tables, "flicker": kept.flicker });
            }
            if let (Some((word, tables)), Some(steady)) = (kept.named(Kind::Steady, of_reel), &part.made.plan().steady)
            {
                let (shift, turn) = steady.farthest();
                shot["steady"] = json!({
                    word: tables, "room": steady.room, "lost": steady.lost(), "shift": shift, "turn": turn,
                });
            }
            shots.push(shot);
        }
    }
    let [decoded, kept] = [&watch.stills, &watch.kept].map(|count| count.load(Ordering::Relaxed));
    let strip = strip.path().map(|path| path.display().to_string());
    let receipt = receipt.map(|path| path.display().to_string());
    pretty(&json!({
        "draft": draft, "stills_decoded": decoded, "stills_kept": kept, "outputs": outputs, "strip": strip, "receipt": receipt,
        "shots": shots, "remarks": remarks,
    }))
}

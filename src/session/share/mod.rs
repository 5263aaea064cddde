//! `render --share 3/16` and `join`: one render by many machines.
//!
//! What spreads the work is not here: a job array, or an indexed job (`examples/cluster/`). All this needs is a folder
//! that all machines see. A share makes its stretches of every delivery, as a run does that is interrupted
//! (`src/session/resume.rs`), and leaves them beside the outputs; joining is going on from there.
//!
//! ## Decisions
//!
//! - Shares do not talk with one another, may run twice, at the same time too, in any order, be killed and begun again.
//!   The bytes are those of a render by one machine with the same `--threads`: stretches are the same, and a key says of
//!   each what it was made of and with.
//! - `join` makes no stretch that a share should have made: it names the shares that are missing, or were made of or with
//!   something else. What it does make are deliveries that are to have a size, which need all of their frames to find it,
//!   posters, and frames whose stills turn out damaged where two shares meet.
//! - A share also decodes the stills beside its first and its last, which those are held against (`src/integrity/`).
//! - Stills that decoding shows to be damaged change the plan of all. They stand in a share's note
//!   (`notes.rs`); who comes later plans without them, and `join` names shares that were made before.

mod divide;
mod missing;
mod notes;
pub(super) mod number;
pub(super) mod typed;

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::atomic::Ordering;

use serde_json::json;

use super::outcome::describe_fault;
use super::prepare::{Encoders, Prepared, prepare};
use super::rendering::{RenderOptions, deliveries_of, made, mark_damaged, refuse_what_is_in_the_way, workers};
use super::resume::{Pass, Saved};
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, Watch, known_files, pretty, progress};
use crate::diag::{self, Diagnostic, Diagnostics};
use crate::encode;
use crate::pipeline::{Fault, Job};
use crate::units::SlotIndex;
use crate::work::Met;
use divide::{Piece, divide, pieces};
pub(super) use missing::missing;
use notes::{MadeWith, Note};
pub(super) use notes::{Notes, tidy};
use number::Share;
use typed::join_command;

/// What a share has made of a delivery.
struct Made {
    path: PathBuf,
    delivery: String,
    frames: usize,
    /// Frames that were there already.
    taken_over: usize,
}

/// Makes one share of a render.
///
/// # Errors
/// As [`render`](super::render()).
pub(super) fn render_share(
    script: &ScriptOptions,
    options: &RenderOptions,
    share: Share,
    watch: &Watch,
) -> Result<Reply, Failure> {
    let quiet = options.quiet || options.json;
    let mut prepared = prepare(script, Encoders::Asked, Looking { watch, quiet })?;
    match make(&mut prepared, script, options, share, watch) {
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

fn make(
    prepared: &mut Prepared,
    script: &ScriptOptions,
    options: &RenderOptions,
    share: Share,
    watch: &Watch,
) -> Result<(String, Diagnostics), Failure> {
    refuse_what_is_in_the_way(prepared, script, options)?;
    let notes = Notes::read(prepared, script, &options.out);
    notes.mark(prepared)?;
    let mut remarks = prepared.notes();
    let mut note = Note::begin(share, workers(options), MadeWith::of(prepared, script));
    remarks.0.extend(notes.of(share).filter(|other| other.ended.is_none()).map(|other| begun_already(share, other)));
    notes.write(&mut note)?;
    let mut all = Vec::new();
    for shoot in prepared.shown() {
        let mut fresh = options.fresh;
        all.extend(loop {
            let (fault, saved) = match pass(prepared, shoot, share, options, fresh, watch)? {
                Ok(made) => break made,
                Err(ended) => ended,
            };
            match fault {
                Fault::Interrupted => return Err(saved.interrupted()),
                Fault::Damaged { slot, damage } => {
                    note.add(prepared, shoot, slot, &damage);
                    mark_damaged(prepared, shoot, slot, damage).map_err(|failure| saved.with(failure))?;
                    notes.write(&mut note)?;
                    fresh = false;
                }
                fault => return Err(saved.with(Failure::failed(describe_fault(&fault, &prepared.shoots[shoot])))),
            }
        });
    }
    known_files().keep();
    note.end();
    notes.write(&mut note)?;
    remarks.0.extend(left_to_join(prepared));
    let text = match (options.json, options.quiet) {
        (true, _) => as_json(share, &all, &remarks, watch),
        (false, true) => String::new(),
        (false, false) => as_text(share, &all, &join_command(script, options)),
    };
    Ok((text, remarks))
}

/// Another run of the same share has not ended.
fn begun_already(share: Share, other: &Note) -> Diagnostic {
    Diagnostic::remark(format!("share {share} was begun {} and has not ended", other.who()))
        .help("what it kept is taken over; if it still runs, both may go on: they make the same")
}

/// Deliveries that are to have a size are no share's.
fn left_to_join(prepared: &Prepared) -> Option<Diagnostic> {
    let plans = prepared.parts.iter().flat_map(|part| &part.made.plan().deliveries);
    let sized: Vec<_> = plans.filter(|plan| plan.codec.size().is_some()).map(|plan| plan.name.as_str()).collect();
    (!sized.is_empty()).then(|| {
        Diagnostic::remark(format!(
            "no share makes {}: to find a quality for its size takes all frames",
            sized.join(", ")
        ))
        .help("join makes them whole, on the machine that it runs on")
    })
}

/// One pass over a shoot, for what of it is this share's.
fn pass(
    prepared: &Prepared,
    shoot: usize,
    share: Share,
    options: &RenderOptions,
    fresh: bool,
    watch: &Watch,
) -> Result<Result<Vec<Made>, (Fault, Saved)>, Failure> {
    let all = pieces(prepared);
    let mine = all.iter().zip(divide(&all, share.of as usize)).filter(|(_, of)| *of == share.index());
    let mine: Vec<&Piece> = mine.map(|(piece, _)| piece).filter(|piece| piece.shoot == shoot).collect();
    let of_shoot: Vec<_> = deliveries_of(prepared, shoot).collect();
    let mut deliveries = Vec::new();
    let mut which: Vec<Vec<usize>> = Vec::new();
    for (index, plan) in of_shoot.iter().enumerate() {
        let mut stretches: Vec<_> =
            mine.iter().filter(|piece| piece.delivery == index).map(|piece| piece.stretch).collect();
        stretches.sort_unstable();
        if !stretches.is_empty() {
            deliveries.push((*plan, encode::output_path(&options.out, &prepared.stem, plan)));
            which.push(stretches);
        }
    }
    if deliveries.is_empty() {
        return Ok(Ok(Vec::new()));
    }
    let shoot = &prepared.shoots[shoot];
    let mut pass = Pass::begin_share(shoot, &deliveries, made(of_shoot.len(), options), fresh, &which)?;
    let (pass, outputs) = pass.outputs();
    // Those at both ends are held against stills of other shares.
    let shown: BTreeSet<SlotIndex> =
        outputs.iter().flat_map(|output| &output.plan.rows).flat_map(|row| row.shares().map(|one| one.shown)).collect();
    let ends = Met { unjudged: shown.first().into_iter().chain(shown.last()).copied().collect(), ..Met::default() };
    let mut earlier = pass.met();
    earlier.add(ends);
    let due: Vec<usize> = outputs.iter().map(|output| output.rows.len()).collect();
    let job = Job { earlier: Some(earlier), ..Job::new(shoot, outputs, workers(options)) };
    let (stills, frames) = job.workload();
    let quiet = options.quiet || options.json;
    if !quiet {
        progress::say(&pass.taken_over());
    }
    if let Err(fault) = progress::while_rendering(stills, frames, quiet, watch, || job.run(watch)) {
        return Ok(Err((fault, pass.saved())));
    }
    let made = deliveries.iter().zip(&which).zip(due).map(|(((plan, path), which), due)| {
        let cut = encode::cut(plan, shoot.size, of_shoot.len());
        let frames = which.iter().map(|stretch| cut[*stretch].len()).sum::<usize>();
        Made { path: path.clone(), delivery: plan.name.clone(), frames, taken_over: frames - due }
    });
    Ok(Ok(made.collect()))
}

fn as_text(share: Share, made: &[Made], join: &str) -> String {
    let mut text = String::new();
    for Made { path, frames, taken_over, .. } in made {
        text += &format!("share {share}: {frames} frames of {}", diag::path(path));
        text += &if *taken_over > 0 { format!(", {taken_over} of them there already\n") } else { "\n".to_owned() };
    }
    if made.is_empty() {
        text += &format!("share {share}: there are more shares than stretches, and nothing for this one to make\n");
    }
    text + &format!("when all {} are made: {join}\n", share.of)
}

fn as_json(share: Share, made: &[Made], remarks: &Diagnostics, watch: &Watch) -> String {
    let made: Vec<_> = made
        .iter()
        .map(|Made { path, delivery, frames, taken_over }| {
            json!({ "delivery": delivery, "path": path.display().to_string(), "frames": frames, "taken_over": taken_over })
        })
        .collect();
    pretty(&json!({
        "share": [share.number, share.of], "made": made, "stills_decoded": watch.stills.load(Ordering::Relaxed),
        "remarks": remarks,
    }))
}

//! `frame`: one frame of one delivery, exactly as a whole render makes it.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use serde_json::json;

use super::explain::FrameWanted;
use super::outcome::{decoding_remarks, describe_fault};
use super::prepare::{Encoders, Prepared, prepare};
use super::rendering::mark_damaged;
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, pretty, put};
use crate::diag::{self, Diagnostic};
use crate::encode;
use crate::picture::{Frame, FrameKind};
use crate::pipeline::{Fault, Job, Outcome, Output, Watch};
use crate::plan::Layers;
use crate::survey;
use crate::work::{Met, Sink, SinkError, Written};

/// Which frame, and where to.
#[derive(Debug, Clone)]
pub struct FrameOptions {
    /// Which.
    pub wanted: FrameWanted,
    /// The PNG to write.
    pub output: PathBuf,
    /// Whether an existing file may be replaced.
    pub force: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// Makes one frame. Its stills are held against those beside them, as in a whole render; where one turns out damaged
/// and the script says what to do about it, the frame is the one of the plan made again.
///
/// # Errors
/// [`Failure`] as a render's.
pub fn frame(script: &ScriptOptions, options: &FrameOptions, watch: &Watch) -> Result<Reply, Failure> {
    let mut prepared = prepare(script, Encoders::LeftAlone, Looking { watch, quiet: options.json })?;
    let (part, _) = prepared.one_delivery()?;
    let shoot = part.shoot;
    let output = std::slice::from_ref(&options.output);
    if prepared.requests_of(part).any(|request| !survey::would_take(request, output).is_empty()) {
        let message = format!("{} lies among the stills and would be taken for one of them", options.output.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("write it into another folder")));
    }
    if options.output.exists() && !options.force {
        let message = format!("{} is already there", options.output.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("--force replaces it")));
    }
    put::check(&options.output)?;
    loop {
        let row = row(&prepared, options)?;
        match painted(&prepared, row, watch)? {
            Ok((outcome, kept)) => return reply(prepared, options, row, &outcome, &kept),
            Err(Fault::Interrupted) => return Err(Failure::interrupted()),
            Err(Fault::Damaged { slot, damage }) => mark_damaged(&mut prepared, shoot, slot, damage)?,
            Err(fault) => return Err(Failure::failed(describe_fault(&fault, &prepared.shoots[shoot]))),
        }
    }
}

/// The row of the frame that is wanted.
fn row(prepared: &Prepared, options: &FrameOptions) -> Result<usize, Failure> {
    let (part, plan) = prepared.one_delivery()?;
    let (shoot, when) = (&prepared.shoots[part.shoot], options.wanted.when(part)?);
    let frame = part.made.frame_at(&part.shot, shoot, 0, &when).map_err(Failure::refused)?;
    usize::try_from(frame).ok().filter(|row| *row < plan.rows.len()).ok_or_else(|| {
        let message = format!("'{}' has frames 0 to {}; seen {frame}", plan.name, plan.rows.len().saturating_sub(1));
        Failure::refused(Diagnostic::mistake(message))
    })
}

/// Paints the frame once: what came of the run, and the frame in full depth.
fn painted(prepared: &Prepared, row: usize, watch: &Watch) -> Result<Result<(Outcome, Frame), Fault>, Failure> {
    let (part, plan) = prepared.one_delivery()?;
    // Twice: as the encoder takes it, for the hash, and in full depth, for the file.
    let kept: Arc<Mutex<Option<Frame>>> = Arc::default();
    let encoded = Output { plan, rows: row..row + 1, sink: Box::new(Keep { kind: encode::kind_of(plan), kept: None }) };
    let deep =
        Output { plan, rows: row..row + 1, sink: Box::new(Keep { kind: FrameKind::Rgb16, kept: Some(kept.clone()) }) };
    let job = Job { earlier: Some(Met::default()), ..Job::new(&prepared.shoots[part.shoot], vec![encoded, deep], 1) };
    let outcome = match job.run(watch) {
        Ok(outcome) => outcome,
        Err(fault) => return Ok(Err(fault)),
    };
    let kept = kept.lock().unwrap_or_else(PoisonError::into_inner).take();
    let kept = kept.ok_or_else(|| Failure::failed(Diagnostic::mistake("the frame was not painted")))?;
    Ok(Ok((outcome, kept)))
}

/// Writes the frame, and says what it shows.
fn reply(
    prepared: Prepared,
    options: &FrameOptions,
    row: usize,
    outcome: &Outcome,
    kept: &Frame,
) -> Result<Reply, Failure> {
    let (part, plan) = prepared.one_delivery()?;
    let shoot = &prepared.shoots[part.shoot];
    let said = decoding_remarks(outcome, shoot);
    let hash = outcome.finished[0].hashes[0];
    encode::write_png(&options.output, kept).map_err(|error| {
        Failure::failed(match error {
            SinkError::Disk { source, .. } => put::unwritable(&options.output, &source),
            error => Diagnostic::mistake(error.to_string()),
        })
    })?;
    let shown = &shoot.slots[plan.rows[row].shown.0].name;
    let layers = &plan.rows[row].layers;
    let mut names = layers.shares().map(|share| &shoot.slots[share.shown.0].name);
    let (first, last) = (names.next().unwrap_or(shown), names.last().unwrap_or(shown));
    let stills = match layers {
        Layers::One(_) => format!("still {shown}"),
        Layers::Mean(_) => format!("mean of stills {first} to {last}"),
        Layers::Gathered(gathered) => format!("{} light of stills {first} to {last}", gathered.by.keyword()),
        Layers::Between(_) => format!("invented between stills {first} and {last}"),
    };
    let text = if options.json {
        pretty(&json!({
            "delivery": plan.name, "frame": row, "path": options.output.display().to_string(), "still": shown, "row": plan.rows[row],
            "planes": hash.to_hex().as_str(),
        }))
    } else {
        format!(
            "{}  frame {row} of '{}', {stills}\nplanes: {}\n",
            diag::path(&options.output),
            plan.name,
            hash.to_hex()
        )
    };
    let mut notes = prepared.notes();
    notes.extend(said);
    Ok(Reply { text, messages: prepared.messages, notes, closing: None })
}

/// A sink that keeps the last frame instead of writing it.
struct Keep {
    kind: FrameKind,
    kept: Option<Arc<Mutex<Option<Frame>>>>,
}

impl Sink for Keep {
    fn kind(&self) -> FrameKind {
        self.kind
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        if let Some(kept) = &self.kept {
            *kept.lock().unwrap_or_else(PoisonError::into_inner) = Some(frame.clone());
        }
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(Written { path: PathBuf::new(), frames: 1, bytes: 0, remarks: Vec::new(), blake3: None })
    }
}

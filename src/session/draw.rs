//! `draw`: a motion sheet of every shot, or a strip of frames.

use std::path::{Path, PathBuf};

use super::explain::moment;
use super::pictures;
use super::prepare::{Encoders, Part, Prepared, prepare};
use super::strip::{self, Choice};
use super::surveyor::Looking;
use super::written::{self, Form};
use super::{Failure, Reply, ScriptOptions, put};
use crate::diag::{self, Diagnostic};
use crate::draw::{self, Backdrop, Remark, Sheet, SheetRow};
use crate::picture::Frame;
use crate::pipeline::{Detail, Watch};
use crate::plan::{DeliveryPlan, KeyedWindow, Layer, Row, Subject};
use crate::resolve;
use crate::shoot::Shoot;

/// Pixels of the still under the windows, at most: more than a sheet shows, so that it may be enlarged.
const BACKDROP: f64 = 1280.0 * 960.0;

/// What to draw, and where to.
#[derive(Debug, Clone)]
pub struct DrawOptions {
    /// The SVG or PNG to write.
    pub output: PathBuf,
    /// The only shot wanted; all of them where none.
    pub shot: Option<String>,
    /// The moment whose still lies under the windows, as the command line writes it; half-way through the clip where
    /// none.
    pub at: Option<String>,
    /// A strip of frames in place of sheets.
    pub strip: bool,
    /// Frames of each delivery in a strip, evenly apart; at keys where none.
    pub frames: Option<usize>,
    /// Whether existing files may be replaced.
    pub force: bool,
}

/// Draws.
///
/// # Errors
/// [`Failure`] with every mistake of the script, or where a file cannot be written.
pub fn draw(script: &ScriptOptions, options: &DrawOptions, watch: &Watch) -> Result<Reply, Failure> {
    let form = Form::of(&options.output)?;
    let prepared = prepare(script, Encoders::LeftAlone, Looking { watch, quiet: false })?;
    // A sheet is of one still: of a reel each shot has its own.
    let mut prepared = if options.strip { prepared } else { prepared.apart() };
    if let Some(wanted) = &options.shot {
        only_shot(&mut prepared, wanted)?;
    }
    let shots: Vec<&str> = prepared.parts.iter().map(|part| part.shot.name.as_str()).collect();
    let paths = if options.strip { vec![options.output.clone()] } else { paths(&options.output, &shots) };
    for path in &paths {
        written::check_free(path, options.force, &prepared.requests)?;
    }
    let mut text = String::new();
    let drawings = if options.strip {
        let choice = options.frames.map_or(Choice::Keys, Choice::Even);
        vec![strip::strip(&prepared, choice, form, Detail::Whole, watch)?]
    } else {
        let sheets = prepared.parts.iter().map(|part| sheet(&prepared, part, options, watch));
        sheets.collect::<Result<Vec<_>, _>>()?
    };
    for (path, drawing) in paths.iter().zip(drawings) {
        put::write_or_fail(path, &form.bytes(&drawing)?, options.force)?;
        text += &format!("{}\n", diag::path(path));
    }
    // What there is to remark is on the sheet.
    Ok(Reply { text, messages: prepared.messages, ..Reply::default() })
}

/// Leaves one shot of several.
fn only_shot(prepared: &mut Prepared, wanted: &str) -> Result<(), Failure> {
    if !prepared.parts.iter().any(|part| part.shot.name == wanted) {
        let names: Vec<&str> =
            prepared.parts.iter().map(|part| part.shot.name.as_str()).filter(|name| !name.is_empty()).collect();
        let mistake = Diagnostic::mistake(format!("no shot is called '{wanted}'"));
        let mistake = if names.is_empty() {
            mistake.help("the script returns one shot: leave out --shot")
        } else {
            mistake.nearest(wanted, &names)
        };
        return Err(Failure::refused(mistake));
    }
    prepared.parts.retain(|part| part.shot.name == wanted);
    Ok(())
}

/// A file for every sheet: the one named, or one with the shot's name in it where there are several.
pub(super) fn paths(output: &Path, shots: &[&str]) -> Vec<PathBuf> {
    if let [_] = shots {
        return vec![output.to_owned()];
    }
    let of = |shot: &&str| {
        let mut name = output.file_stem().unwrap_or_default().to_owned();
        name.push(format!("-{}.", shot));
        name.push(output.extension().unwrap_or_default());
        output.with_file_name(name)
    };
    shots.iter().map(of).collect()
}

/// One shot's sheet.
fn sheet(
    prepared: &Prepared,
    part: &Part,
    options: &DrawOptions,
    watch: &Watch,
) -> Result<crate::ink::Drawing, Failure> {
    let shoot = &prepared.shoots[part.shoot];
    let keys = part.made.keys();
    let plan = &part.made.plan().deliveries[0];
    let frame = match &options.at {
        None => plan.rows.len() / 2,
        Some(text) => frame_at(prepared, part, text)?,
    };
    let painted = painted(shoot, plan, &plan.rows[frame], watch).map_err(|mut failure| {
        for note in &mut failure.reply.notes.0 {
            note.help.push("--at MOMENT draws over another still".into());
        }
        failure
    })?;
    let shown = plan.rows[frame].foremost().map_or(plan.rows[frame].shown, Layer::slot);
    let backdrop =
        Backdrop { jpeg: pictures::as_jpeg(&painted), name: shoot.slots[shown.0].name.clone(), slot: Some(shown) };
    let subjects = part.made.subjects();
    let mut sheet = sheet_of(part, shoot, &keys, prepared.title(part), Some(backdrop));
    sheet.subjects = once_each(&subjects);
    Ok(draw::sheet(&sheet))
}

/// The whole of the still that a row shows, as it lies under windows.
pub(super) fn painted(shoot: &Shoot, plan: &DeliveryPlan, row: &Row, watch: &Watch) -> Result<Frame, Failure> {
    let size = pictures::small(shoot.size, BACKDROP);
    let mut painted = pictures::paint(shoot, &[pictures::whole_still(plan, row, shoot, size)], watch)?;
    let frame = painted.pop().and_then(|mut frames| frames.pop());
    frame.ok_or_else(|| Failure::failed(Diagnostic::mistake("the still was not painted")))
}

/// What a part of a script comes to, as it is drawn.
pub(super) fn sheet_of<'a>(
    part: &'a Part,
    shoot: &'a Shoot,
    keys: &'a [Vec<KeyedWindow>],
    title: String,
    backdrop: Option<Backdrop>,
) -> Sheet<'a> {
    let tracks = part.made.plan().deliveries.iter().zip(keys).map(|(plan, keys)| SheetRow {
        name: plan.name.clone(),
        plan,
        keys,
    });
    let tracks: Vec<SheetRow<'_>> = tracks.collect();
    let remarks = Remark::all(&part.made.plan().remarks, &tracks);
    let interval = shoot.interval.or(part.shot.source.interval);
    let plan = part.made.plan();
    let (length, covers, breaks, subjects) = (plan.length, &plan.covers[..], &plan.breaks[..], Vec::new());
    let left_out = plan.tally.left_out();
    Sheet {
        title,
        shoot,
        interval,
        length,
        tracks,
        backdrop,
        subjects,
        covers,
        left_out,
        breaks,
        remarks,
        compared: false,
    }
}

/// What is followed, once however many deliveries follow it: by the one with the most frames.
fn once_each(subjects: &[Option<Subject>]) -> Vec<draw::Subject<'_>> {
    let mut once: Vec<(usize, &Subject)> = Vec::new();
    for (track, subject) in subjects.iter().enumerate() {
        let Some(subject) = subject else { continue };
        match once.iter_mut().find(|(_, known)| known.place == subject.place) {
            Some(known) if known.1.boxes.len() < subject.boxes.len() => *known = (track, subject),
            Some(_) => {}
            None => once.push((track, subject)),
        }
    }
    once.into_iter()
        .map(|(track, subject)| draw::Subject {
            track,
            boxes: &subject.boxes,
            confidence: &subject.confidence,
            keys: &subject.keys,
        })
        .collect()
}

/// The frame of the first delivery at a moment as the command line writes it.
fn frame_at(prepared: &Prepared, part: &Part, text: &str) -> Result<usize, Failure> {
    let (shoot, when) = (&prepared.shoots[part.shoot], resolve::When::Moment(moment(text, part, false)?));
    let frame = part.made.frame_at(&part.shot, shoot, 0, &when).map_err(Failure::refused)?;
    Ok(usize::try_from(frame).unwrap_or(0))
}

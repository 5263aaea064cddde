//! `diff`: which frames of which delivery two scripts make differently, and by how much.
//!
//! ## Decisions
//!
//! - Shots and deliveries are compared by name, frames by number. Deliveries with different frame rates have no frames
//!   to compare.

use std::path::PathBuf;

use super::draw as sheets;
use super::pictures;
use super::prepare::{Encoders, Part, Prepared, prepare};
use super::surveyor::Looking;
use super::written::{self, Form};
use super::{Failure, Reply, ScriptOptions, pretty, put};
use crate::diag::{self, Diagnostic};
use crate::draw::{self, Backdrop, Remark, Sheet, SheetRow};
use crate::pipeline::Watch;
use crate::plan::{self, Differences, Found, KeyedWindow, Layer, Plan, ShotDifference};

/// What to compare with, and what to make of it.
#[derive(Debug, Clone)]
pub struct DiffOptions {
    /// The script after; the one before is what any command is given.
    pub after: PathBuf,
    /// The SVG or PNG to draw it into.
    pub output: Option<PathBuf>,
    /// Whether an existing file may be replaced.
    pub force: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// Compares the plans of two scripts. Dials and sources that are set are set for both.
///
/// # Errors
/// [`Failure`] with every mistake of either script, or where the drawing cannot be written.
pub fn diff(before: &ScriptOptions, options: &DiffOptions, watch: &Watch) -> Result<Reply, Failure> {
    let form = options.output.as_deref().map(Form::of).transpose()?;
    let after = ScriptOptions { script: options.after.clone(), ..before.clone() };
    let look = Looking { watch, quiet: options.json };
    let (before, after) = (prepare(before, Encoders::LeftAlone, look)?, prepare(&after, Encoders::LeftAlone, look)?);
    let found = plan::differences(&plans(&before), &plans(&after));
    let mut text = if options.json { pretty(&found) } else { found.text() };
    let steadied = plans(&before).iter().chain(&plans(&after)).any(|plan| plan.steady.is_some());
    if steadied && !options.json && !found.same {
        text += "windows of steadied shots are compared over the view of each shot's first still\n";
    }
    if let (Some(output), Some(form)) = (&options.output, form) {
        let written = draw_differences(&before, &after, &found, (output, form, options.force), watch)?;
        if !options.json {
            for path in &written {
                text += &format!("{}\n", diag::path(path));
            }
            if written.is_empty() {
                text += &format!("{} is not drawn: no delivery of both differs in its frames\n", diag::path(output));
            }
        }
    }
    let mut messages = before.messages;
    messages.extend(after.messages);
    Ok(Reply { text, messages, ..Reply::default() })
}

fn plans(prepared: &Prepared) -> Vec<&Plan> {
    prepared.parts.iter().map(|part| part.made.plan()).collect()
}

/// A sheet for every shot with deliveries whose frames differ: both ways over one still.
fn draw_differences(
    before: &Prepared,
    after: &Prepared,
    found: &Differences,
    (output, form, force): (&std::path::Path, Form, bool),
    watch: &Watch,
) -> Result<Vec<PathBuf>, Failure> {
    let drawn = |shot: &&ShotDifference| {
        shot.found == Found::Both
            && shot.deliveries.iter().any(|delivery| delivery.found == Found::Both && !delivery.is_none())
    };
    let shots: Vec<&ShotDifference> = found.shots.iter().filter(drawn).collect();
    let names: Vec<&str> = shots.iter().map(|shot| shot.shot.as_str()).collect();
    let paths = sheets::paths(output, &names);
    for path in &paths {
        for requests in [&before.requests, &after.requests] {
            written::check_free(path, force, requests)?;
        }
    }
    for (shot, path) in shots.iter().zip(&paths) {
        let part = |prepared: &'_ Prepared| prepared.parts.iter().position(|part| part.shot.name == shot.shot);
        let (Some(one), Some(other)) = (part(before), part(after)) else { continue };
        let drawing = sheet(before, after, shot, (&before.parts[one], &after.parts[other]), watch)?;
        put::write_or_fail(path, &form.bytes(&drawing)?, force)?;
    }
    Ok(paths)
}

fn sheet(
    before: &Prepared,
    after: &Prepared,
    found: &ShotDifference,
    (one, other): (&Part, &Part),
    watch: &Watch,
) -> Result<crate::ink::Drawing, Failure> {
    let (shoot, shoot_after) = (&before.shoots[one.shoot], &after.shoots[other.shoot]);
    if !(shoot.members.is_empty() && shoot_after.members.is_empty()) {
        let mistake = Diagnostic::mistake("a reel shows the stills of several shoots, which no one sheet can hold");
        return Err(Failure::refused(mistake.help("leave out -o for the differences in words")));
    }
    if shoot.size != shoot_after.size {
        let message = format!(
            "the stills are {} before and {} after, so both cannot be drawn over one",
            shoot.size, shoot_after.size
        );
        return Err(Failure::refused(Diagnostic::mistake(message).help("leave out -o for the differences in words")));
    }
    let (keys, keys_after) = (one.made.keys(), other.made.keys());
    let mut tracks: Vec<SheetRow<'_>> = Vec::new();
    let mut remarks = Vec::new();
    for difference in found.deliveries.iter().filter(|delivery| delivery.found == Found::Both && !delivery.is_none()) {
        for (part, keys, when) in [(one, &keys, "before"), (other, &keys_after, "after")] {
            tracks.extend(track(part, keys, &difference.delivery, when));
        }
        let plan = one.made.plan().deliveries.iter().find(|plan| plan.name == difference.delivery);
        for (text, runs) in difference.said() {
            let time = |frame: usize| plan.map_or(0.0, |plan| plan.fps.time_of(frame as u64).0);
            let spans = runs.iter().map(|(first, last)| (time(*first), time(last + 1))).collect();
            remarks.push(Remark { text: format!("{}: {text}", difference.delivery), place: None, spans });
        }
    }
    let plan = &one.made.plan().deliveries[0];
    let row = &plan.rows[plan.rows.len() / 2];
    let painted = sheets::painted(shoot, plan, row, watch)?;
    let shown = row.foremost().map_or(row.shown, Layer::slot);
    let backdrop = Backdrop { jpeg: pictures::as_jpeg(&painted), name: shoot.slots[shown.0].name.clone(), slot: None };
    let title = format!("{} before, {} after", before.title(one), after.title(other));
    let length = one.made.plan().length.max(other.made.plan().length);
    let backdrop = Some(backdrop);
    let (interval, subjects, covers) = (None, Vec::new(), [].as_slice());
    Ok(draw::sheet(&Sheet {
        title,
        shoot,
        interval,
        length,
        tracks,
        backdrop,
        subjects,
        covers,
        left_out: Vec::new(),
        breaks: &[],
        remarks,
        compared: true,
    }))
}

fn track<'a>(part: &'a Part, keys: &'a [Vec<KeyedWindow>], name: &str, when: &str) -> Option<SheetRow<'a>> {
    let at = part.made.plan().deliveries.iter().position(|plan| plan.name == name)?;
    Some(SheetRow { name: format!("{name} {when}"), plan: &part.made.plan().deliveries[at], keys: &keys[at] })
}

//! `reckon`: what is asked before a camera is set up, answered; or the same of a shoot that is there.
//!
//! ## Decisions
//!
//! - Of a shoot, stills are its whole ones, the interval is its median by the capture times, the exposure that of its
//!   middle still, and a still takes what its files take on average. What is typed goes before what is found.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::written::{self, Form};
use super::{Failure, Reply, bytes, pretty, put};
use crate::diag;
use crate::draw;
use crate::reckon::{Answer, CARE, Knowns, Reckoning, Table, Typed, exposed, nearly};
use crate::shoot::{Shoot, Still};
use crate::shot::Pairs;
use crate::survey as surveys;
use crate::units::SlotIndex;

/// What is known, and what to make of it.
#[derive(Debug, Clone)]
pub struct ReckonOptions {
    /// A shoot that is there: a folder, a pattern or a recording.
    pub folder: Option<String>,
    /// The knowns as typed.
    pub typed: Typed,
    /// The SVG or PNG to draw the sheet into.
    pub sheet: Option<PathBuf>,
    /// Whether an existing sheet may be replaced.
    pub force: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// What was found in a shoot, for the answer's head.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Shot {
    /// As it was named.
    folder: String,
    /// Whole stills.
    stills: usize,
    /// Slots without one.
    missing_or_damaged: usize,
    /// Bytes of all stills.
    bytes: u64,
    /// Median seconds from one to the next, where known.
    #[serde(skip_serializing_if = "Option::is_none")]
    interval: Option<f64>,
    /// The first still's local time, and the last one's.
    #[serde(skip_serializing_if = "Option::is_none")]
    times: Option<[String; 2]>,
    /// Shortest and longest exposure in seconds, where stills tell.
    #[serde(skip_serializing_if = "Option::is_none")]
    exposures: Option<[f64; 2]>,
}

/// What `--json` prints.
#[derive(Serialize)]
struct Told<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    shoot: Option<&'a Shot>,
    #[serde(flatten)]
    reckoning: &'a Reckoning,
}

/// Reckons.
///
/// # Errors
/// [`Failure`] with what to type instead, where the folder holds no shoot, and where the sheet cannot be written.
pub fn reckon(options: &ReckonOptions) -> Result<Reply, Failure> {
    let form = options.sheet.as_deref().map(Form::of).transpose()?;
    let mut knowns = Knowns::of(&options.typed).map_err(Failure::refused)?;
    let shot = options.folder.as_deref().map(|folder| found(folder, &mut knowns)).transpose()?;
    if let (Some(path), Some(_)) = (&options.sheet, form) {
        let requests: Vec<_> = options.folder.iter().map(|folder| request(folder)).collect();
        written::check_free(path, options.force, &requests)?;
    }
    let reckoning = knowns.reckon().map_err(Failure::refused)?;
    let written = match (&options.sheet, form) {
        (Some(path), Some(form)) => {
            let found = shot.as_ref().map(Shot::in_words).unwrap_or_default();
            let drawing = draw::reckoning(&draw::Noted { reckoning: &reckoning, found: &found, care: &CARE });
            put::write_or_fail(path, &form.bytes(&drawing)?, options.force)?;
            Some(path)
        }
        _ => None,
    };
    if options.json {
        return Ok(Reply::text(pretty(&Told { shoot: shot.as_ref(), reckoning: &reckoning })));
    }
    let mut text = shot.as_ref().map(|shot| format!("found: {}\n", shot.in_words())).unwrap_or_default();
    text += &in_words(&reckoning);
    if let Some(path) = written {
        text += &format!("\n{}  to print and take along\n", diag::path(path));
    }
    Ok(Reply::text(text))
}

fn request(folder: &str) -> surveys::Request {
    surveys::Request {
        base: PathBuf::from("."),
        paths: vec![folder.to_owned()],
        obey_orientation: true,
        pairs: Pairs::default(),
        camera: None,
    }
}

/// What a shoot tells, put among the knowns.
fn found(folder: &str, knowns: &mut Knowns) -> Result<Shot, Failure> {
    let request = request(folder);
    let shoot = super::surveyed(&request, surveys::is_recording(&request)).map_err(Failure::refused)?;
    let stills: Vec<&Still> = (0..shoot.slots.len()).filter_map(|slot| shoot.still(SlotIndex(slot))).collect();
    let shot = Shot::of(folder, &shoot, &stills);
    let mut exposures: Vec<f64> = stills.iter().filter_map(|still| still.settings.exposure).collect();
    exposures.sort_by(f64::total_cmp);
    let middle = exposures.get(exposures.len() / 2).copied().and_then(nearly);
    let count = u32::try_from(stills.len()).unwrap_or(u32::MAX);
    let each = if shoot.recording.is_some() { None } else { shot.bytes.checked_div(u64::from(count)) };
    let interval = shoot.interval.and_then(|seconds| nearly((seconds * 1000.0).round() / 1000.0));
    knowns.found(count, shoot.size, interval, middle, each);
    Ok(shot)
}

impl Shot {
    fn of(folder: &str, shoot: &Shoot, stills: &[&Still]) -> Self {
        let captured = |slot: usize| shoot.captured(SlotIndex(slot)).map(|captured| captured.local.to_string());
        let slots = 0..shoot.slots.len();
        let times = slots.clone().find_map(captured).zip(slots.rev().find_map(captured));
        let exposures = || stills.iter().filter_map(|still| still.settings.exposure);
        let (least, most) = (exposures().fold(f64::INFINITY, f64::min), exposures().fold(0.0, f64::max));
        let recorded = shoot.recording.as_ref().map(|recording| recording.bytes);
        Self {
            folder: folder.to_owned(),
            stills: stills.len(),
            missing_or_damaged: shoot.slots.len() - stills.len(),
            bytes: recorded.unwrap_or_else(|| stills.iter().map(|still| still.bytes).sum()),
            interval: shoot.interval,
            times: times.map(|(first, last)| [first, last]),
            exposures: (most > 0.0).then_some([least, most]),
        }
    }

    fn in_words(&self) -> String {
        let mut said =
            format!("{} stills, {}, in {}", self.stills, bytes(self.bytes), diag::path(Path::new(&self.folder)));
        if self.missing_or_damaged > 0 {
            said += &format!("; {} missing or damaged", self.missing_or_damaged);
        }
        match &self.times {
            Some([first, last]) => said += &format!("; {} to {}", first.replace('T', " "), last.replace('T', " ")),
            None if self.interval.is_none() => said += "; no times known, so no interval",
            None => {}
        }
        match self.exposures.map(|exposures| exposures.map(nearly)) {
            Some([Some(least), Some(most)]) if least == most => said + &format!("; exposure {}", exposed(least)),
            Some([Some(least), Some(most)]) => {
                said + &format!("; exposures {} to {}, reckoned with the middle one", exposed(least), exposed(most))
            }
            _ => said,
        }
    }
}

/// A reckoning on one page.
fn in_words(reckoning: &Reckoning) -> String {
    let known: Vec<String> = reckoning.knowns.iter().map(|known| format!("{} {}", known.name, known.value)).collect();
    let mut text = format!("known: {}\n", known.join(", "));
    if let Some(asked) = reckoning.asked {
        text += &format!("asked: {asked}\n");
    }
    if !reckoning.answers.is_empty() {
        text += "\n";
    }
    let widest = |word: &dyn Fn(&Answer) -> usize| reckoning.answers.iter().map(word).max().unwrap_or(0);
    let (labels, values) =
        (widest(&|answer| answer.label.chars().count()), widest(&|answer| answer.value.chars().count()));
    for answer in &reckoning.answers {
        let line = format!("{:labels$}  {:values$}  {}", answer.label, answer.value, answer.how);
        text += line.trim_end();
        text += "\n";
    }
    if let Some(table) = &reckoning.table {
        text += &format!("\n{}", rows(table));
    }
    if !reckoning.warnings.is_empty() {
        text += "\nwatch for:\n";
        for warning in &reckoning.warnings {
            text += &format!("  {}\n    {}\n", warning.text, warning.next);
        }
    }
    text
}

fn rows(table: &Table) -> String {
    let lines: Vec<&Vec<String>> = std::iter::once(&table.head).chain(&table.rows).collect();
    let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..table.head.len()).map(width).collect();
    let line = |line: &&Vec<String>| {
        let cells = line.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}"));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned() + "\n"
    };
    let notes = table.notes.iter().map(|note| format!("{}, as in: {}\n  {}\n", note.short, note.text, note.next));
    let notes: String = notes.collect();
    lines.iter().map(line).collect::<String>() + if notes.is_empty() { "" } else { "\n" } + &notes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_stand_under_their_heads() {
        let notes = Vec::new();
        let table = Table {
            notes,
            head: vec!["interval".into(), "stills".into(), "watch for".into()],
            rows: vec![
                vec!["2 s".into(), "14400".into(), String::new()],
                vec!["30 s".into(), "960".into(), "timer".into()],
            ],
        };
        assert_eq!(rows(&table), "interval  stills  watch for\n2 s       14400\n30 s      960     timer\n");
    }
}

//! A survey as people read it.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use super::clock::spoken;
use super::recording;
use super::{Request, shown};
use crate::shoot::{Content, SetAside, Shoot, Slot};
use crate::shot::Pairs;
use crate::units::SlotIndex;

/// As many names of one kind are listed.
const LISTED: usize = 20;

/// The text of a survey: what there is, in what order, what is missing, damaged and set aside.
#[must_use]
pub fn describe(shoot: &Shoot) -> String {
    let mut out = String::new();
    write(shoot, &mut out).unwrap_or_else(|error| unreachable!("writing to a string never fails: {error}"));
    out
}

fn write(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    if let Some(recorded) = &shoot.recording {
        recording::write(recorded, shoot, out)?;
        if recorded.ticks.len() > 1 && shoot.captured(SlotIndex(0)).is_some() {
            times(shoot, out)?;
        }
        absent(shoot, out)?;
        return notes(shoot, out);
    }
    let count = |wanted: fn(&Content) -> bool| shoot.slots.iter().filter(|slot| wanted(&slot.content)).count();
    let whole = count(|content| matches!(content, Content::Whole(_)));
    let damaged = count(|content| matches!(content, Content::Damaged { .. }));
    let missing = count(|content| matches!(content, Content::Missing));
    writeln!(
        out,
        "{} slots: {whole} whole stills of {}, {damaged} damaged, {missing} missing",
        shoot.slots.len(),
        shoot.size
    )?;
    let aside = shoot.set_aside.len();
    writeln!(out, "{} files found = {whole} used + {damaged} damaged + {aside} set aside", whole + damaged + aside)?;
    order(shoot, out)?;
    times(shoot, out)?;
    absent(shoot, out)?;
    broken(shoot, out)?;
    if aside > 0 {
        writeln!(out, "\nset aside:")?;
        for (reason, files) in by_reason(&shoot.set_aside) {
            let first = shown(&files[0].path);
            let more = if files.len() > 1 { ", …" } else { "" };
            writeln!(out, "  {:>6}  {reason} ({first}{more})", files.len())?;
        }
    }
    notes(shoot, out)
}

fn notes(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    if !shoot.notes.is_empty() {
        writeln!(out, "\nnotes:")?;
        for note in &shoot.notes {
            writeln!(out, "  {}", note.message)?;
        }
    }
    Ok(())
}

/// Folders in order, with the first and last still of each stretch.
fn order(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    let mut stretches: Vec<(&Path, &Path, &Path, usize)> = Vec::new();
    for path in shoot.slots.iter().filter_map(file) {
        let folder = path.parent().unwrap_or(Path::new(""));
        match stretches.last_mut() {
            Some((known, _, last, count)) if *known == folder => (*last, *count) = (path, *count + 1),
            _ => stretches.push((folder, path, path, 1)),
        }
    }
    writeln!(out, "\norder:")?;
    for (folder, first, last, count) in stretches.iter().take(LISTED) {
        let name = |path: &Path| shown(Path::new(path.file_name().unwrap_or_default()));
        writeln!(out, "  {count:>6}  {}: {} … {}", crate::diag::path(folder), name(first), name(last))?;
    }
    match stretches.len().saturating_sub(LISTED) {
        0 => Ok(()),
        more => writeln!(out, "          and {more} more stretches"),
    }
}

fn times(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    let captured = |slot: usize| shoot.captured(SlotIndex(slot));
    let (first, last) = ((0..shoot.slots.len()).find_map(captured), (0..shoot.slots.len()).rev().find_map(captured));
    let (Some(first), Some(last)) = (first, last) else { return writeln!(out, "\ntimes: none known") };
    writeln!(out, "\ntimes: first {}, last {}", first.local, last.local)?;
    match shoot.interval {
        Some(interval) => writeln!(out, "  a still every {} (median)", spoken(interval)),
        None => Ok(()),
    }
}

/// Missing stills, runs of them as one line.
fn absent(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    let runs: Vec<&[Slot]> = shoot
        .slots
        .chunk_by(|a, b| matches!(a.content, Content::Missing) == matches!(b.content, Content::Missing))
        .filter(|run| matches!(run[0].content, Content::Missing))
        .collect();
    if runs.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nmissing:")?;
    for run in runs.iter().take(LISTED) {
        match run {
            [one] => writeln!(out, "       1  {}", one.name)?,
            [first, .., last] => writeln!(out, "  {:>6}  {} … {}", run.len(), first.name, last.name)?,
            [] => {}
        }
    }
    match runs.len().saturating_sub(LISTED) {
        0 => Ok(()),
        more => writeln!(out, "          and {more} more gaps"),
    }
}

fn broken(shoot: &Shoot, out: &mut String) -> std::fmt::Result {
    let damaged: Vec<(&PathBuf, String)> = shoot
        .slots
        .iter()
        .filter_map(|slot| match &slot.content {
            Content::Damaged { path, damage, .. } => Some((path, damage.to_string())),
            Content::Whole(_) | Content::Missing => None,
        })
        .collect();
    if damaged.is_empty() {
        return Ok(());
    }
    writeln!(out, "\ndamaged:")?;
    for (path, damage) in damaged.iter().take(LISTED) {
        writeln!(out, "          {}: {}", shown(path), crate::diag::fit(damage))?;
    }
    match damaged.len().saturating_sub(LISTED) {
        0 => Ok(()),
        more => writeln!(out, "          and {more} more"),
    }
}

/// What to write into a script that is to use the stills just surveyed.
#[must_use]
pub fn advice(shoot: &Shoot, request: &Request) -> String {
    let holds = |wanted: fn(&Content) -> bool| shoot.slots.iter().any(|slot| wanted(&slot.content));
    let missing = holds(|content| matches!(content, Content::Missing));
    let damaged = holds(|content| matches!(content, Content::Damaged { .. }));
    // Rust's escapes are Lua's too.
    let mut fields: Vec<String> = request.paths.iter().map(|path| format!("{path:?}")).collect();
    let policies = [
        (missing, "missing = \"hold\""),
        (damaged, "damaged = \"hold\""),
        (!request.obey_orientation, "orientation = \"ignore\""),
    ];
    if let Pairs::Use(_) = request.pairs {
        fields.push(format!("pairs = {:?}", request.pairs.keyword()));
    }
    if let Some(camera) = &request.camera {
        fields.push(format!("camera = {camera:?}"));
    }
    fields.extend(policies.into_iter().filter(|(wanted, _)| *wanted).map(|(_, field)| field.to_owned()));
    let whose = if request.paths.iter().all(|path| Path::new(path).is_absolute()) {
        "a script"
    } else {
        "a script in this folder"
    };
    let called = if shoot.recording.is_some() { "recording" } else { "stills" };
    let mut text = format!("next: in {whose}, source = {called} {{ {} }}\n", fields.join(", "));
    if missing || damaged {
        text += "  \"hold\" shows the still before in its place, \"skip\" takes no time for it, \"stop\" refuses the shoot\n";
    }
    text
}

fn file(slot: &Slot) -> Option<&Path> {
    match &slot.content {
        Content::Whole(still) => Some(&still.path),
        Content::Damaged { path, .. } => Some(path),
        Content::Missing => None,
    }
}

/// Files set aside, by reason.
pub(super) fn by_reason(set_aside: &[SetAside]) -> BTreeMap<&'static str, Vec<&SetAside>> {
    let mut reasons: BTreeMap<&'static str, Vec<&SetAside>> = BTreeMap::new();
    for file in set_aside {
        reasons.entry(file.reason).or_default().push(file);
    }
    reasons
}

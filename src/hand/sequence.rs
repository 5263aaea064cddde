//! Whether stills are numbered files, one after the other in one folder.

use std::path::{Path, PathBuf};

use crate::shoot::{Content, Shoot, Slot};

/// Numbered files: `FOLDER/PREFIX0001SUFFIX` and so on, a number a slot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Numbered {
    pub(super) folder: PathBuf,
    pub(super) prefix: String,
    pub(super) suffix: String,
    /// The first slot's number.
    pub(super) first: u64,
    /// Digits of a number.
    pub(super) digits: usize,
}

/// A slot's file, where it has one.
pub(super) fn file(slot: &Slot) -> Option<&Path> {
    match &slot.content {
        Content::Whole(still) => Some(&still.path),
        Content::Damaged { path, .. } => Some(path),
        Content::Missing => None,
    }
}

/// The numbers of a shoot's files; none where they are not one run in one folder, or a recording's frames.
pub(super) fn numbered(shoot: &Shoot) -> Option<Numbered> {
    if shoot.recording.is_some() {
        return None;
    }
    let (at, first) = shoot.slots.iter().enumerate().find_map(|(at, slot)| Some((at, file(slot)?)))?;
    let name = first.file_name()?.to_str()?;
    let (stem, suffix) = name.rsplit_once('.').map_or((name, String::new()), |(stem, end)| (stem, format!(".{end}")));
    let prefix = stem.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let digits = stem.len() - prefix.len();
    let number: u64 = stem[prefix.len()..].parse().ok()?;
    let found = Numbered {
        folder: first.parent().unwrap_or(Path::new("")).to_owned(),
        prefix: prefix.to_owned(),
        suffix,
        first: number.checked_sub(at as u64)?,
        digits,
    };
    let due = |slot: usize| {
        let number = found.first + slot as u64;
        found.folder.join(format!("{}{number:0width$}{}", found.prefix, found.suffix, width = found.digits))
    };
    let fits = shoot.slots.iter().enumerate().all(|(at, slot)| file(slot).is_none_or(|path| path == due(at)));
    fits.then_some(found)
}

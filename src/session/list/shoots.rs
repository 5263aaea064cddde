//! Shoots: folders with stills, how many, how large, and of which days.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::days::{Days, days};
use super::receipts::Receipts;
use super::walk::Walked;
use crate::decode::KnownFiles;
use crate::decode::header::Header;
use crate::session::known_files;
use crate::survey::natural;
use crate::units::Size;

/// The fewest stills of a shoot.
const FEWEST: usize = 3;

/// A shoot.
#[derive(Debug)]
pub(super) struct Found {
    /// Its folder as it is opened.
    pub(super) folder: PathBuf,
    /// Its folder, seen from the one that is listed.
    pub(super) seen: PathBuf,
    /// Its stills as they are opened, in natural order.
    pub(super) stills: Vec<PathBuf>,
    pub(super) bytes: u64,
    /// Raw files beside them.
    pub(super) raw: usize,
    /// The upright size of the first still that can be read, and whether any that was looked at has another.
    pub(super) size: Option<Size>,
    pub(super) has_other_sizes: bool,
    pub(super) days: Days,
}

/// The shoots among what was found, not looked at yet, in the order of their folders.
pub(super) fn shoots(found: &Walked, receipts: &Receipts) -> Vec<Found> {
    let outputs = receipts.outputs();
    let mut folders: BTreeMap<PathBuf, (Vec<&Path>, usize)> = BTreeMap::new();
    for still in found.stills.iter().filter(|still| !is_output(still, &outputs)) {
        folders.entry(folder_of(still)).or_default().0.push(still);
    }
    for raw in &found.raw {
        folders.entry(folder_of(raw)).or_default().1 += 1;
    }
    let one = |(seen, (mut stills, raw)): (PathBuf, (Vec<&Path>, usize))| {
        if stills.len() < FEWEST {
            return None;
        }
        stills.sort_by(|one, other| {
            natural(&one.to_string_lossy(), &other.to_string_lossy()).then_with(|| one.cmp(other))
        });
        let bytes = stills.iter().filter_map(|still| found.files.get(*still)).sum();
        let stills = stills.into_iter().map(|still| found.opened(still)).collect();
        let (folder, days) = (found.opened(&seen), Days::default());
        Some(Found { folder, seen, stills, bytes, raw, size: None, has_other_sizes: false, days })
    };
    folders.into_iter().filter_map(one).collect()
}

/// The folder of a shoot that a file belongs to: a card's own folders are one shoot.
fn folder_of(file: &Path) -> PathBuf {
    let folder = file.parent().unwrap_or(Path::new(""));
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    let card = if is_of_a_card(&name) { folder.parent().unwrap_or(Path::new("")) } else { folder };
    card.to_owned()
}

/// Whether a folder is named as cameras name those of a card (JEITA CP-3461, DCF 2.0, section 3.2.2): three digits from
/// 100 on, and five capital letters, digits or underscores.
fn is_of_a_card(name: &str) -> bool {
    let name = name.as_bytes();
    name.len() == 8
        && name[..3].iter().all(u8::is_ascii_digit)
        && name[0] != b'0'
        && name[3..].iter().all(|letter| letter.is_ascii_uppercase() || letter.is_ascii_digit() || *letter == b'_')
}

/// Whether a picture is a render's own: a frame of a sequence, a strip, a poster.
fn is_output(picture: &Path, outputs: &BTreeSet<PathBuf>) -> bool {
    outputs.contains(picture) || picture.parent().is_some_and(|folder| outputs.contains(folder))
}

impl Found {
    /// Reads as many headers as it takes to tell days and size.
    pub(super) fn look(&mut self) {
        let known: &KnownFiles = known_files();
        known.begin(&self.stills);
        let (mut size, mut has_other_sizes) = (None, false);
        let day = |still: usize| {
            let header: Header = known.header(&self.stills[still]).ok()?;
            let upright = header.orientation.upright(header.stored);
            has_other_sizes |= size.is_some_and(|size| size != upright);
            size.get_or_insert(upright);
            header.captured.map(|captured| captured.local.date())
        };
        self.days = days(self.stills.len(), day);
        (self.size, self.has_other_sizes) = (size, has_other_sizes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_folders_of_a_card_are_one_shoot() {
        let seen = |file: &str| folder_of(Path::new(file)).to_string_lossy().into_owned();
        assert_eq!(seen("day/100HARBR/A1.JPG"), "day");
        assert_eq!(seen("day/101HARBR/A1.JPG"), "day");
        assert_eq!(seen("100HARBR/A1.JPG"), "");
        for other in ["099HARBR", "100harbr", "1000HARBR", "100HARB", "stills"] {
            assert_eq!(seen(&format!("day/{other}/A1.JPG")), format!("day/{other}"));
        }
    }
}

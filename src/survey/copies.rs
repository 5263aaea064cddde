//! Two files that claim to be one still: byte-identical copies are set aside, others are a mistake that names both.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::{Item, shown};
use crate::diag::Diagnostic;
use crate::shot::Pairs;

/// The reason that the other picture of a pair is set aside with.
pub(super) const PASSED: &str = "beside a picture of its name that the script wants instead";

/// Pairs of files in one folder that claim to be one still.
#[derive(Debug, Default)]
pub(super) struct Twins {
    /// Byte-identical: the copy, then the other.
    pub(super) copies: Vec<(usize, usize)>,
    /// Different files.
    pub(super) clashes: Vec<(usize, usize)>,
    /// Beside another of the kind that the script wants of a pair.
    pub(super) passed: Vec<usize>,
}

/// Looks for `name (1).jpg` beside `name.jpg`, and for one name with two extensions.
pub(super) fn within_folders(items: &[Item], pairs: Pairs) -> Twins {
    let mut by_stem: HashMap<(usize, String), usize> = HashMap::with_capacity(items.len());
    let mut twins = Twins { passed: passed(items, pairs), ..Twins::default() };
    let mut without = vec![false; items.len()];
    for index in &twins.passed {
        without[*index] = true;
    }
    let mut pair = |copy: usize, original: usize| {
        if identical(&items[copy], &items[original]) {
            twins.copies.push((copy, original));
        } else {
            twins.clashes.push((original, copy));
        }
    };
    let mut marked = Vec::new();
    for (index, item) in items.iter().enumerate().filter(|(index, _)| !without[*index]) {
        if item.name.copied_from().is_some() {
            marked.push(index);
        }
        match by_stem.entry((item.folder, item.name.stem.to_lowercase())) {
            std::collections::hash_map::Entry::Occupied(first) => pair(index, *first.get()),
            std::collections::hash_map::Entry::Vacant(place) => {
                place.insert(index);
            }
        }
    }
    for index in marked {
        let Some(original) = items[index].name.copied_from() else { continue };
        if let Some(first) = by_stem.get(&(items[index].folder, original.to_lowercase())) {
            pair(index, *first);
        }
    }
    // A file may be a copy by its mark and by its extension at once.
    twins.copies.sort_unstable();
    twins.copies.dedup_by_key(|(copy, _)| *copy);
    twins
}

/// The items that have a name of their own but for their kind, where one of the kind wanted goes by it too and they are
/// of another.
fn passed(items: &[Item], pairs: Pairs) -> Vec<usize> {
    let Pairs::Use(wanted) = pairs else { return Vec::new() };
    let is_wanted = |item: &Item| item.read.as_ref().is_ok_and(|header| header.format == wanted);
    let name = |item: &Item| (item.folder, item.name.stem.to_lowercase());
    let used: HashSet<(usize, String)> = items.iter().filter(|item| is_wanted(item)).map(name).collect();
    (0..items.len()).filter(|index| !is_wanted(&items[*index]) && used.contains(&name(&items[*index]))).collect()
}

/// Why two files that claim to be one still cannot both be used.
pub(super) fn mistake(first: &Item, second: &Item) -> Diagnostic {
    let words = format!("{} and {} claim to be the same still, and differ", shown(&first.path), shown(&second.path));
    let help = "move one of them elsewhere, or name the stills you mean by a pattern such as \"stills/TIDE????.JPG\"";
    let mistake = Diagnostic::mistake(words).help(help);
    let format = |item: &Item| item.read.as_ref().ok().map(|header| header.format);
    match (format(first), format(second)) {
        (Some(first), Some(second)) if first != second => {
            mistake.help("where each still is there in two kinds, say which is meant: stills { …, pairs = \"jpeg\" }")
        }
        _ => mistake,
    }
}

/// Whether two files hold the same bytes.
pub(super) fn identical(first: &Item, second: &Item) -> bool {
    first.bytes == second.bytes && same_bytes(first, second).unwrap_or(false)
}

fn same_bytes(first: &Item, second: &Item) -> io::Result<bool> {
    const BLOCK: usize = 64 * 1024;
    let (mut a, mut b) = (File::open(&first.path)?, File::open(&second.path)?);
    // Two stills of one camera often share their first bytes, and seldom those in the middle.
    let middle = first.bytes / 2;
    for (start, most) in [(middle, 4096), (0, u64::MAX)] {
        a.seek(SeekFrom::Start(start))?;
        b.seek(SeekFrom::Start(start))?;
        let (mut a, mut b) = ((&mut a).take(most), (&mut b).take(most));
        let (mut block_a, mut block_b) = (Vec::with_capacity(BLOCK), Vec::with_capacity(BLOCK));
        loop {
            block_a.clear();
            block_b.clear();
            (&mut a).take(BLOCK as u64).read_to_end(&mut block_a)?;
            (&mut b).take(BLOCK as u64).read_to_end(&mut block_b)?;
            if block_a != block_b {
                return Ok(false);
            }
            if block_a.is_empty() {
                break;
            }
        }
    }
    Ok(true)
}

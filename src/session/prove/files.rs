//! Bytes held against hashes: deliveries, tables, stills, second copies of them; and hash lists of the stills.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use super::{ProveOptions, folder_of, named, shown, wrong};
use crate::decode::clip::{ending_of, frame_in};
use crate::decode::whole::whole;
use crate::diag::Diagnostic;
use crate::prove::{
    Candidate, Copied, Finding, Held, List, ListKind, Outcome, Part, Stills, copied, count, held, some,
};
use crate::receipt::{Delivery, FilePath, Receipt};
use crate::session::receipt::paths::seen_from;
use crate::session::{Failure, Watch, bytes, progress, put, written};

/// A delivery's file.
pub(super) struct ClipFile {
    /// Where it is; none where the receipt names something that is not beside it.
    pub(super) path: Option<PathBuf>,
    /// Whether its bytes are those that were delivered; none where they could not be read.
    pub(super) same: Option<bool>,
    /// How many there are.
    pub(super) bytes: Option<u64>,
}

/// What came of it.
pub(super) struct Checked {
    /// By delivery.
    pub(super) clips: Vec<ClipFile>,
    pub(super) tables: Vec<Part>,
    pub(super) stills: Vec<Part>,
    pub(super) copies: Vec<Part>,
    /// Folders with a whole second copy of all stills that have a hash.
    pub(super) whole_copies: Vec<WholeCopy>,
    /// What was written, a line each.
    pub(super) lists: Vec<String>,
}

/// A folder with a second copy of all stills, byte for byte.
#[derive(Debug, Clone, serde::Serialize)]
pub(super) struct WholeCopy {
    pub(super) folder: String,
    /// Whether it lies on the same drive as the shoot: what takes the one may take the other.
    pub(super) one_drive: bool,
}

fn on_one_drive(one: &Path, other: &Path) -> bool {
    let drive = |path: &Path| std::fs::metadata(path).map(|about| std::os::unix::fs::MetadataExt::dev(&about)).ok();
    drive(one).is_some_and(|one| drive(other) == Some(one))
}

/// Refuses lists that could not be written.
///
/// # Errors
/// [`Failure`] with what may be given.
pub(super) fn check_lists(options: &ProveOptions) -> Result<(), Failure> {
    for list in &options.lists {
        if ListKind::of(list).is_none() {
            let mistake = Diagnostic::mistake(format!("a list of hashes ends in .b3 or .sha256; seen {}", shown(list)));
            return Err(Failure::failed(
                mistake.help("--list stills.b3 is for b3sum, --list stills.sha256 for sha256sum"),
            ));
        }
        written::check_free(list, options.force, &[]).map_err(|failure| Failure { code: super::FAILED, ..failure })?;
    }
    Ok(())
}

/// Hashes everything, and holds it against the receipt. Of stills only `candidates` are opened.
///
/// # Errors
/// [`Failure`] where it was interrupted, or a list cannot be written.
pub(super) fn check(
    receipt: &Receipt,
    folder: &Path,
    candidates: Option<&[Candidate]>,
    options: &ProveOptions,
    watch: &Watch,
) -> Result<Checked, Failure> {
    let stills = Stills::of(receipt);
    let done = AtomicU64::new(0);
    let read = |bytes: u64| {
        done.fetch_add(bytes, Ordering::Relaxed);
        !watch.stop.load(Ordering::Relaxed)
    };
    let clips: Vec<Option<PathBuf>> =
        receipt.deliveries.iter().map(|delivery| beside(folder, &delivery.path)).collect();
    let of_stills: u64 = candidates.into_iter().flatten().map(|candidate| length(&candidate.path)).sum();
    let of_clips: u64 = receipt.deliveries.iter().map(|delivery| delivery.bytes).fold(0, u64::saturating_add);
    let due = of_stills.saturating_mul(1 + options.copies.len() as u64).saturating_add(of_clips);
    let quiet = options.quiet || options.json;
    let sha = options.lists.iter().any(|list| ListKind::of(list) == Some(ListKind::Sha256));
    let all = progress::while_hashing(due, quiet, &|| done.load(Ordering::Relaxed), || {
        let clips = receipt
            .deliveries
            .iter()
            .zip(clips)
            .map(|(delivery, path)| clip(delivery, path, &read))
            .collect::<Option<_>>()?;
        let held = match candidates {
            Some(candidates) => Some(held(&stills, candidates, sha, &read)?),
            None => None,
        };
        let originals = held.clone().unwrap_or_else(|| nowhere(&stills));
        let copies = options.copies.iter().map(|copy| Some((copy, copied(copy, &stills, &originals, &read)?)));
        Some((clips, held, copies.collect::<Option<Vec<_>>>()?))
    });
    let Some((clips, held, copies)) = all else { return Err(Failure::interrupted()) };
    let whole = |one: &Held| matches!(one.outcome, Outcome::Same(_));
    let shoot_whole = held.as_ref().is_some_and(|held| !held.is_empty() && held.iter().all(whole));
    let whole_copies = copies.iter().filter(|(_, copied)| shoot_whole && copied.same == stills.hashed.len());
    let first = held.iter().flatten().find_map(|one| one.at.as_deref());
    Ok(Checked {
        clips,
        tables: tables(receipt, folder),
        stills: vec![stills_part(&stills, held.as_deref())],
        whole_copies: whole_copies
            .map(|(folder, _)| WholeCopy {
                folder: shown(folder),
                one_drive: first.is_some_and(|first| on_one_drive(first, folder)),
            })
            .collect(),
        copies: copies.iter().map(|(folder, copied)| copy_part(folder, copied, &stills)).collect(),
        lists: options
            .lists
            .iter()
            .map(|list| write_list(list, held.as_deref(), options.force))
            .collect::<Result<_, _>>()?,
    })
}

/// A file beside the receipt.
fn beside(folder: &Path, name: &FilePath) -> Option<PathBuf> {
    name.beside().map(|name| folder.join(name))
}

fn length(path: &Path) -> u64 {
    std::fs::metadata(path).map_or(0, |about| about.len())
}

/// Stills that could not be looked for.
fn nowhere(stills: &Stills) -> Vec<Held> {
    stills
        .hashed
        .iter()
        .map(|(file, _)| Held { path: file.path.clone(), at: None, outcome: Outcome::Missing })
        .collect()
}

/// Hashes a delivery; nothing where it was interrupted.
fn clip(delivery: &Delivery, path: Option<PathBuf>, read: &dyn Fn(u64) -> bool) -> Option<ClipFile> {
    let Some(path) = path else { return Some(ClipFile { path: None, same: None, bytes: None }) };
    let hashed = if path.is_dir() {
        let mut all = blake3::Hasher::new();
        let (mut readable, mut bytes) = (true, 0);
        for frame in 0..delivery.frames {
            match whole(&frame_in(&path, frame, ending_of(&delivery.codec)), false, &mut |piece| {
                read(piece.len() as u64)
            }) {
                Ok(whole) => {
                    let whole = whole?;
                    all.update(whole.blake3.as_bytes());
                    bytes += whole.bytes;
                }
                Err(_) => {
                    readable = false;
                    break;
                }
            }
        }
        readable.then(|| (all.finalize(), bytes))
    } else {
        match whole(&path, false, &mut |piece| read(piece.len() as u64)) {
            Ok(whole) => whole.map(|whole| Some((whole.blake3, whole.bytes)))?,
            Err(_) => None,
        }
    };
    let same = hashed.map(|(hash, _)| *hash.to_hex() == *delivery.blake3);
    Some(ClipFile { path: Some(path), same, bytes: hashed.map(|(_, bytes)| bytes) })
}

/// The tables that shots are corrected by, and the posters of deliveries.
fn tables(receipt: &Receipt, folder: &Path) -> Vec<Part> {
    let mut parts = Vec::new();
    let corrections = receipt.shots.iter().flat_map(|shot| &shot.corrections);
    let corrections = corrections.map(|correction| ("table", &correction.table, &correction.blake3));
    let posters = receipt.deliveries.iter().filter_map(|delivery| delivery.poster.as_ref());
    let posters = posters.map(|poster| ("poster", &poster.path, &poster.blake3));
    for (what, file, blake3) in corrections.chain(posters) {
        let [changed, gone, unreadable] = match what {
            "table" => ["table-changed", "table-gone", "table-unreadable"],
            _ => ["poster-changed", "poster-gone", "poster-unreadable"],
        };
        let name = named(file);
        let Some(path) = beside(folder, file) else {
            parts.push(wrong(name, "leads-away", "its path in the receipt leads out of the folder; it was not opened"));
            continue;
        };
        parts.push(match whole(&path, false, &mut |_| true) {
            Ok(Some(whole)) if *whole.blake3.to_hex() == **blake3 => {
                Part { proved: vec![format!("the {what} is as the render wrote it")], ..Part::new(name) }
            }
            Ok(_) => wrong(name, changed, format!("the {what} was changed since the render")),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                wrong(name, gone, format!("the {what} does not exist"))
            }
            Err(error) => Part {
                findings: vec![Finding::unknown(unreadable, format!("the {what} cannot be read: {error}"))],
                ..Part::new(name)
            },
        });
    }
    parts
}

fn stills_part(stills: &Stills, held: Option<&[Held]>) -> Part {
    let mut part = Part::new("stills");
    let Some(held) = held else {
        let words = "they could not be found: the script does not name a shoot that can be read";
        part.findings.push(Finding::unknown("stills-not-found", words));
        return part;
    };
    let [mut changed, mut missing, mut renamed, mut unreadable] = [const { Vec::<String>::new() }; 4];
    let (mut same, mut size) = (0_u64, 0);
    for one in held {
        let name = named(&one.path);
        match &one.outcome {
            Outcome::Same(whole) => (same, size) = (same + 1, size + whole.bytes),
            Outcome::Changed => changed.push(name),
            Outcome::Missing => missing.push(name),
            Outcome::Renamed(now) => renamed.push(format!("{name} is now {}", named(now))),
            Outcome::Unreadable(why) => unreadable.push(format!("{name} ({why})")),
        }
    }
    let mut say = |names: &[String], fault, one: &str, many: &str| {
        if !names.is_empty() {
            let words = if names.len() == 1 { one.to_owned() } else { many.replace('#', &names.len().to_string()) };
            part.findings.push(Finding::wrong(fault, format!("{words}: {}", some(names))));
        }
    };
    say(&changed, "still-changed", "a still was changed since the render", "# stills were changed since the render");
    say(&missing, "still-missing", "a still is missing", "# stills are missing");
    say(
        &renamed,
        "still-renamed",
        "a still was renamed, its bytes are the same",
        "# stills were renamed, their bytes are the same",
    );
    if !unreadable.is_empty() {
        part.findings.push(Finding::unknown("still-unreadable", format!("cannot be read: {}", some(&unreadable))));
    }
    let all = held.len();
    part.proved.push(format!("{same} of {all} are what the render read, every byte of them hashed ({})", bytes(size)));
    if !stills.unread.is_empty() {
        let unread = count(stills.unread.len() as u64, "more file");
        part.proved.push(format!("{unread} the render had no need to read: there is no hash to compare them with"));
    }
    part
}

fn copy_part(folder: &Path, copied: &Copied, stills: &Stills) -> Part {
    let mut part = Part::new(format!("copy in {}", shown(folder)));
    let mut say = |paths: &[FilePath], fault, words: &str| {
        if !paths.is_empty() {
            let names: Vec<String> = paths.iter().map(named).collect();
            let words = format!("{} {words}: {}", count(paths.len() as u64, "still"), some(&names));
            part.findings.push(Finding::wrong(fault, words));
        }
    };
    say(&copied.missing, "copy-lacks", "not in it");
    say(&copied.changed, "copy-differs", "in it, but with other bytes");
    say(&copied.itself, "copy-is-itself", "in it, but these are the same files, not a second copy");
    say(&copied.unreadable, "copy-unreadable", "in it that cannot be read");
    let all = stills.hashed.len();
    if copied.same > 0 || part.findings.is_empty() {
        part.proved.push(format!("{} of {all} stills are in it, by their hashes", copied.same));
    }
    part
}

/// Writes a hash list of the stills as they are; the line to tell.
fn write_list(path: &Path, held: Option<&[Held]>, force: bool) -> Result<String, Failure> {
    let Some(kind) = ListKind::of(path) else { return Ok(String::new()) };
    let mut list = List::new(kind);
    let mut different = 0;
    for one in held.into_iter().flatten() {
        match (&one.outcome, &one.at) {
            (Outcome::Same(whole), Some(at)) => list.add(seen_from(folder_of(path), at).as_os_str(), whole),
            _ => different += 1,
        }
    }
    let (lines, files, left_out) = list.finish();
    put::write_or_fail(path, &lines, force)?;
    let mut line = format!(
        "{}  {}, to be checked in its folder with {}",
        shown(path),
        count(files as u64, "still"),
        kind.checked_with()
    );
    if different > 0 {
        line += &format!("; without {different} that are not what the render read");
    }
    if left_out > 0 {
        line += &format!("; without {} whose names it cannot hold", left_out);
    }
    Ok(line)
}

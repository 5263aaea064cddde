//! Stills held against the hashes of a receipt, and second copies of them.

use std::collections::BTreeMap;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Component, Path, PathBuf};

use crate::decode::whole::{Whole, whole};
use crate::receipt::{FilePath, FileUsed, Receipt};

/// A file that the script's shoots hold today.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// As the receipt would call it.
    pub seen: FilePath,
    /// Where it is.
    pub path: PathBuf,
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It holds what the receipt says.
    Same(Box<Whole>),
    /// It holds something else.
    Changed,
    /// It is not there.
    Missing,
    /// It has another name now.
    Renamed(FilePath),
    /// The system does not give it.
    Unreadable(String),
}

/// A file that the receipt has a hash of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// Its path, as the receipt gives it.
    pub path: FilePath,
    /// Where it is, where it was found.
    pub at: Option<PathBuf>,
    /// What became of it.
    pub outcome: Outcome,
}

/// The stills, and recordings, that a receipt has hashes of.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stills {
    /// Each once.
    pub hashed: Vec<(FileUsed, Option<u64>)>,
    /// Files that it names and has no hash of, for the render did not read them.
    pub unread: Vec<FilePath>,
}

impl Stills {
    /// Of a receipt.
    #[must_use]
    pub fn of(receipt: &Receipt) -> Self {
        let (mut hashed, mut unread) = (BTreeMap::new(), Vec::new());
        for shoot in &receipt.shoots {
            for file in shoot.recording.iter().chain(&shoot.recordings) {
                hashed.insert(file.path.clone(), (file.clone(), None));
            }
            for still in &shoot.stills {
                match (&still.path, &still.blake3) {
                    (Some(path), Some(blake3)) => {
                        let file = FileUsed { path: path.clone(), blake3: blake3.clone() };
                        hashed.insert(path.clone(), (file, still.bytes));
                    }
                    (Some(path), None) => unread.push(path.clone()),
                    (None, _) => {}
                }
            }
        }
        unread.retain(|path| !hashed.contains_key(path));
        unread.sort_unstable();
        unread.dedup();
        Self { hashed: hashed.into_values().collect(), unread }
    }
}

/// Does something with each of these on all processors, and gives the results in order; nothing where one gives none.
fn on_all<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> Option<R> + Sync) -> Option<Vec<R>> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(8);
    let share = items.len().div_ceil(threads).max(1);
    let parts = std::thread::scope(|scope| {
        let started: Vec<_> = items
            .chunks(share)
            .map(|part| scope.spawn(|| part.iter().map(&work).collect::<Option<Vec<R>>>()))
            .collect();
        started.into_iter().map(|part| part.join().unwrap_or(None)).collect::<Option<Vec<_>>>()
    })?;
    Some(parts.into_iter().flatten().collect())
}

fn held_against(path: &Path, file: &FileUsed, sha: bool, read: &(dyn Fn(u64) -> bool + Sync)) -> Option<Outcome> {
    Some(match whole(path, sha, &mut |piece| read(piece.len() as u64)) {
        Ok(Some(whole)) if whole.blake3.to_hex().as_str() == file.blake3 => Outcome::Same(Box::new(whole)),
        Ok(Some(_)) => Outcome::Changed,
        Ok(None) => return None,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Outcome::Missing,
        Err(error) => Outcome::Unreadable(error.to_string()),
    })
}

/// Holds every still that a receipt has a hash of against it. Only `candidates` are opened: the files that the
/// script's own shoots hold. What is not among them by name is looked for by its hash among those that the receipt
/// does not name. Nothing where `read`, which hears of the bytes that were read, said stop.
#[must_use]
pub fn held(
    stills: &Stills,
    candidates: &[Candidate],
    sha: bool,
    read: &(dyn Fn(u64) -> bool + Sync),
) -> Option<Vec<Held>> {
    let by_name: BTreeMap<&FilePath, &Path> =
        candidates.iter().map(|candidate| (&candidate.seen, candidate.path.as_path())).collect();
    let mut all = on_all(&stills.hashed, |(file, _)| {
        let at = by_name.get(&file.path).map(|path| path.to_path_buf());
        let outcome = match &at {
            Some(path) => held_against(path, file, sha, read)?,
            None => Outcome::Missing,
        };
        Some(Held { path: file.path.clone(), at, outcome })
    })?;
    let known: std::collections::BTreeSet<&FilePath> =
        stills.hashed.iter().map(|(file, _)| &file.path).chain(&stills.unread).collect();
    let mut others: Vec<&Candidate> = candidates.iter().filter(|candidate| !known.contains(&candidate.seen)).collect();
    for (held, (file, bytes)) in all.iter_mut().zip(&stills.hashed) {
        if held.outcome != Outcome::Missing {
            continue;
        }
        // Others of its length only: reading all of a large shoot for one name would take as long again.
        let long_enough = |candidate: &Candidate| {
            std::fs::metadata(&candidate.path)
                .is_ok_and(|about| about.is_file() && bytes.is_none_or(|bytes| about.len() == bytes))
        };
        for index in 0..others.len() {
            let candidate = others[index];
            if long_enough(candidate) && matches!(held_against(&candidate.path, file, sha, read)?, Outcome::Same(_)) {
                (held.outcome, held.at) = (Outcome::Renamed(candidate.seen.clone()), Some(candidate.path.clone()));
                others.remove(index);
                break;
            }
        }
    }
    Some(all)
}

/// What became of the stills in a second copy.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Copied {
    /// How many hold what the receipt says.
    pub same: usize,
    /// Those that hold something else.
    pub changed: Vec<FilePath>,
    /// Those that are not in it.
    pub missing: Vec<FilePath>,
    /// Those that the system does not give.
    pub unreadable: Vec<FilePath>,
    /// Those that are the very files of the shoot, and no copy.
    pub itself: Vec<FilePath>,
}

/// Holds a second copy of the stills in a folder against the same hashes: by their paths below it, else by their
/// names, wherever below it they are. Nothing where `read` said stop.
#[must_use]
pub fn copied(
    folder: &Path,
    stills: &Stills,
    originals: &[Held],
    read: &(dyn Fn(u64) -> bool + Sync),
) -> Option<Copied> {
    let mut by_name: BTreeMap<std::ffi::OsString, Vec<PathBuf>> = BTreeMap::new();
    for entry in walkdir::WalkDir::new(folder).into_iter().flatten().filter(|entry| entry.file_type().is_file()) {
        by_name.entry(entry.file_name().to_owned()).or_default().push(entry.into_path());
    }
    let same_file = |one: &Path, other: &Path| {
        let id = |path: &Path| std::fs::metadata(path).map(|about| (about.dev(), about.ino())).ok();
        id(one).is_some_and(|one| id(other) == Some(one))
    };
    let items: Vec<(&FileUsed, &Held)> = stills.hashed.iter().map(|(file, _)| file).zip(originals).collect();
    let outcomes = on_all(&items, |(file, original)| {
        let mut outcome = Outcome::Missing;
        let Some(path) = file.path.path() else { return Some((outcome, false)) };
        let within = path.components().all(|part| matches!(part, Component::Normal(_)));
        let named = path.file_name().and_then(|name| by_name.get(name)).into_iter().flatten().cloned();
        let places = within.then(|| folder.join(&path)).into_iter().filter(|path| path.is_file()).chain(named);
        for place in places {
            outcome = held_against(&place, file, false, read)?;
            if let Outcome::Same(_) = outcome {
                let itself = original.at.as_ref().is_some_and(|at| same_file(at, &place));
                return Some((outcome, itself));
            }
        }
        Some((outcome, false))
    })?;
    let mut copied = Copied::default();
    for ((file, _), (outcome, itself)) in items.into_iter().zip(outcomes) {
        match outcome {
            Outcome::Same(_) if itself => copied.itself.push(file.path.clone()),
            Outcome::Same(_) | Outcome::Renamed(_) => copied.same += 1,
            Outcome::Changed => copied.changed.push(file.path.clone()),
            Outcome::Missing => copied.missing.push(file.path.clone()),
            Outcome::Unreadable(_) => copied.unreadable.push(file.path.clone()),
        }
    }
    Some(copied)
}

//! What is known of files from before: their headers, and the pieces that they are told apart by, so that a shoot that
//! grows by a day is surveyed without opening what was there yesterday.
//!
//! ## Decisions
//!
//! - One entry of a store a folder, by the folder's path, for folders with at least [`ENOUGH`] stills: fewer are read
//!   faster than anything is looked up.
//! - A file is the same one where its name, size, times of writing and of any other change, and inode are. The last two
//!   tell of a file that was replaced by one of the same size and given the old time.
//! - Machines that make shares of a render learn of the pieces of their own stills, and add them to what others learnt, so
//!   that whoever joins the shares reads none. Two that write at one time lose what one of them learnt, and nothing else.
//! - Nothing is kept of a file that changed less than [`SETTLED`] before it was read: another change may have come within
//!   one step of the file system's clock. Nor of one whose header was refused, or that may still be being written.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::fs::{self, Metadata};
use std::os::unix::ffi::{OsStrExt as _, OsStringExt as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};

use super::header::{self, Ending, Header, Refused};
use super::key;
use crate::shoot::{Damage, Still};
use crate::store::{Kind, Store, lies_among};

/// A store of what is known of files.
pub const KNOWN_FILES: Kind = Kind { folder: "headers", head: b"stillpath head 1", most: 1_000_000_000 };

/// Stills in a folder from which on it is worth it.
const ENOUGH: usize = 200;
/// How long a file must have been left alone when it is read.
const SETTLED: Duration = Duration::from_secs(3);

/// What is known of files, by their folders.
#[derive(Debug, Default)]
pub struct KnownFiles {
    /// Where it is kept; nothing is without it.
    kept_in: Option<PathBuf>,
    folders: Mutex<BTreeMap<PathBuf, Folder>>,
    opened: AtomicUsize,
    pieced: AtomicUsize,
}

#[derive(Debug, Default)]
struct Folder {
    files: BTreeMap<OsString, Known>,
    changed: bool,
}

/// What is known of one file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Known {
    stamp: Stamp,
    #[serde(skip_serializing_if = "Option::is_none")]
    header: Option<Header>,
    /// [`key::quick`], by the orientation that the still was shown in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pieces: Option<(crate::shoot::Orientation, [u8; blake3::OUT_LEN])>,
}

/// Which file it is, and in what state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Stamp(u64, i64, i64, i64, i64, u64);

impl Stamp {
    fn of(found: &Metadata) -> Self {
        Self(found.size(), found.mtime(), found.mtime_nsec(), found.ctime(), found.ctime_nsec(), found.ino())
    }

    /// Whether the file was left alone for long enough at this time.
    fn is_settled(self, at: SystemTime) -> bool {
        let Stamp(_, written, _, changed, _, _) = self;
        let seconds = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default().saturating_sub(SETTLED).as_secs();
        written.max(changed) < i64::try_from(seconds).unwrap_or(i64::MAX)
    }
}

/// A folder's entry as it is written.
#[derive(Serialize, Deserialize)]
struct Entry {
    /// The folder, by its path's bytes.
    folder: Vec<u8>,
    /// By the bytes of their names.
    files: Vec<(Vec<u8>, Known)>,
}

impl KnownFiles {
    /// What a store in this folder holds, one of [`KNOWN_FILES`]; without one, what this run reads. The folder is made when
    /// there is something to keep.
    #[must_use]
    pub fn new(kept_in: Option<PathBuf>) -> Self {
        Self { kept_in, ..Self::default() }
    }

    /// How many files have been opened.
    #[must_use]
    pub fn opened(&self) -> usize {
        self.opened.load(Ordering::Relaxed)
    }

    /// Of how many files pieces have been read.
    #[must_use]
    pub fn pieced(&self) -> usize {
        self.pieced.load(Ordering::Relaxed)
    }

    /// Reads what is known of files that are about to be asked for.
    pub fn begin<P: AsRef<Path>>(&self, paths: &[P]) {
        let mut counts: BTreeMap<&Path, usize> = BTreeMap::new();
        paths
            .iter()
            .filter_map(|path| path.as_ref().parent())
            .for_each(|folder| *counts.entry(folder).or_default() += 1);
        let mut folders = self.locked();
        for (folder, _) in counts.into_iter().filter(|(_, count)| *count >= ENOUGH) {
            if !folders.contains_key(folder) {
                folders.insert(folder.to_owned(), self.read(folder).unwrap_or_default());
            }
        }
    }

    /// Keeps what was learnt of files, and forgets those that are not among `paths` any more. That it cannot be kept
    /// costs only the time to read it again.
    pub fn end<P: AsRef<Path>>(&self, paths: &[P]) {
        let there: BTreeSet<&Path> = paths.iter().map(AsRef::as_ref).collect();
        let surveyed: BTreeSet<&Path> = there.iter().filter_map(|path| path.parent()).collect();
        for (path, folder) in self.locked().iter_mut().filter(|(path, _)| surveyed.contains(path.as_path())) {
            let before = folder.files.len();
            folder.files.retain(|name, _| there.contains(path.join(name).as_path()));
            folder.changed |= folder.files.len() < before;
            self.write(path, folder);
        }
    }

    /// Keeps what was learnt since.
    pub fn keep(&self) {
        for (path, folder) in self.locked().iter_mut() {
            self.write(path, folder);
        }
    }

    /// A file's header, as [`header::read`] reads it.
    ///
    /// # Errors
    /// As [`header::read`].
    pub fn header(&self, path: &Path) -> Result<Header, Refused> {
        let stamp = fs::metadata(path).ok().filter(Metadata::is_file).map(|found| Stamp::of(&found));
        if let Some(header) = stamp.and_then(|stamp| self.known(path, stamp)?.header) {
            return Ok(header);
        }
        self.opened.fetch_add(1, Ordering::Relaxed);
        let at = SystemTime::now();
        let header = header::read(path)?;
        if let Some(stamp) = stamp.filter(|_| header.ending != Ending::Open) {
            self.learn(path, stamp, at, |known| known.header = Some(header.clone()));
        }
        Ok(header)
    }

    /// A still's pieces, as [`key::quick`] reads them.
    ///
    /// # Errors
    /// As [`key::quick`].
    pub fn pieces(&self, still: &Still) -> Result<blake3::Hash, Damage> {
        let stamp = fs::metadata(&still.path).ok().filter(Metadata::is_file).map(|found| Stamp::of(&found));
        if let Some((orientation, pieces)) = stamp.and_then(|stamp| self.known(&still.path, stamp)?.pieces)
            && orientation == still.orientation
        {
            return Ok(blake3::Hash::from_bytes(pieces));
        }
        self.pieced.fetch_add(1, Ordering::Relaxed);
        let at = SystemTime::now();
        let pieces = key::quick(still)?;
        // Of a still that has changed since it was surveyed these are no pieces that anyone asks for again.
        if let Some(stamp) = stamp.filter(|stamp| stamp.0 == still.bytes) {
            self.learn_pieces(still, stamp, at, &pieces);
        }
        Ok(pieces)
    }

    /// Notes the pieces of a still that has been read for another purpose.
    pub fn note_pieces(&self, still: &Still, pieces: &blake3::Hash) {
        let Ok(found) = fs::metadata(&still.path) else { return };
        let stamp = Stamp::of(&found);
        let Stamp(bytes, seconds, nanoseconds, ..) = stamp;
        let modified = i128::from(seconds) * 1_000_000_000 + i128::from(nanoseconds);
        if (bytes, modified) == (still.bytes, still.modified) {
            self.learn_pieces(still, stamp, SystemTime::now(), pieces);
        }
    }

    fn learn_pieces(&self, still: &Still, stamp: Stamp, at: SystemTime, pieces: &blake3::Hash) {
        self.learn(&still.path, stamp, at, |known| known.pieces = Some((still.orientation, *pieces.as_bytes())));
    }

    fn known(&self, path: &Path, stamp: Stamp) -> Option<Known> {
        let folders = self.locked();
        let known = folders.get(path.parent()?)?.files.get(path.file_name()?)?;
        (known.stamp == stamp).then(|| known.clone())
    }

    fn learn(&self, path: &Path, stamp: Stamp, at: SystemTime, what: impl FnOnce(&mut Known)) {
        if !stamp.is_settled(at) {
            return;
        }
        let mut folders = self.locked();
        let Some((folder, name)) = path.parent().and_then(|folder| folders.get_mut(folder)).zip(path.file_name())
        else {
            return;
        };
        let nothing = || Known { stamp, header: None, pieces: None };
        let known = folder.files.entry(name.to_owned()).or_insert_with(nothing);
        if known.stamp != stamp {
            *known = nothing();
        }
        what(known);
        folder.changed = true;
    }

    fn read(&self, folder: &Path) -> Option<Folder> {
        let mut bytes = Vec::new();
        let store = Store::read_only(self.kept_in.as_ref()?, KNOWN_FILES);
        let entry: Entry = serde_json::from_slice(store.get(&key_of(folder)?, &mut bytes)?).ok()?;
        let canonical = folder.canonicalize().ok()?;
        if entry.folder != canonical.as_os_str().as_bytes() {
            return None;
        }
        let files = entry.files.into_iter().map(|(name, known)| (OsString::from_vec(name), known)).collect();
        Some(Folder { files, changed: false })
    }

    fn write(&self, path: &Path, folder: &mut Folder) {
        let Some((kept_in, key)) = self.kept_in.as_ref().zip(key_of(path)).filter(|_| folder.changed) else { return };
        folder.changed = false;
        let Ok(canonical) = path.canonicalize() else { return };
        // Nothing is written among stills.
        if lies_among(kept_in, [&*path.join("still")]) {
            return;
        }
        let Ok(store) = Store::lasting(kept_in, KNOWN_FILES) else { return };
        // Others may have learnt of other files meanwhile: machines that make shares do.
        for (name, theirs) in self.read(path).unwrap_or_default().files {
            if let Some(ours) = folder.files.get_mut(&name).filter(|ours| ours.stamp == theirs.stamp) {
                let Known { header, pieces, .. } = theirs;
                (ours.header, ours.pieces) = (ours.header.take().or(header), ours.pieces.take().or(pieces));
            }
        }
        let files = folder.files.iter().map(|(name, known)| (name.as_bytes().to_vec(), known.clone())).collect();
        let entry = Entry { folder: canonical.as_os_str().as_bytes().to_vec(), files };
        let _read_again = serde_json::to_vec(&entry).map(|text| store.put(&key, &text));
    }

    fn locked(&self) -> MutexGuard<'_, BTreeMap<PathBuf, Folder>> {
        self.folders.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The key of a folder's entry, whatever path leads to it.
fn key_of(folder: &Path) -> Option<blake3::Hash> {
    Some(blake3::hash(folder.canonicalize().ok()?.as_os_str().as_bytes()))
}

//! What may be kept on the disk to save work: entries of bytes by key, which may go at any time.
//!
//! An entry is a file of its own, `ab/cdef…` by the hexadecimal digits of its key: a head that says whose it is, the
//! hash of the rest, the rest. It gets its name only when it is whole, and counts only where not a bit of it has
//! changed, so runs side by side see an entry, or none, and never a part. A store with a cap throws out what has been
//! unused the longest.
//!
//! ## Decisions
//!
//! - A full store throws out what has been unused the longest, but nothing that was used since the run began: a shoot
//!   larger than the store would otherwise push out each still before its turn came again. Each kind has its own cap
//!   (`Kind::most`); what finds no room is kept for the run alone.
//! - Entries are their owner's alone (mode 0600): small stills are kept before covers are applied.
//! - Clearing and thinning open folders without following links and remove regular files of the right name that begin
//!   as the program's own do.

mod own;

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, SystemTime};

pub use own::{Holding, clear, holding};

/// Bytes of a head.
const HEAD: usize = 16;

/// What every temporary name begins with: one left behind by a run that was killed is known by it.
const UNFINISHED: &str = ".stillpath-";

/// A store with a cap looks at what is there each time it has written this share of it.
const LOOKS_A_CAP: u64 = 32;

/// File systems count time in steps of up to two seconds.
const CLOCK_STEP: Duration = Duration::from_secs(2);

/// A kind of entries: a folder below the user's, and what each of its files begins with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// The folder's name.
    pub folder: &'static str,
    /// How its entries begin. Another way of making them takes another number at its end.
    pub head: &'static [u8; HEAD],
    /// Most bytes of all entries of a store that stays, unless it is told another number.
    pub most: u64,
}

/// The user's own folder for what is kept: `$XDG_CACHE_HOME/stillpath`, or `~/.cache/stillpath`; none where there is no
/// home.
#[must_use]
pub fn user_folder() -> Option<PathBuf> {
    let cache = std::env::var_os("XDG_CACHE_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let cache =
        cache.or_else(|| std::env::home_dir().filter(|home| home.as_os_str() != "").map(|home| home.join(".cache")))?;
    Some(cache.join("stillpath"))
}

/// Whether `folder` is, or lies below, one of the folders that hold these files. One that cannot be looked at counts as
/// if.
pub fn lies_among<'a>(folder: &Path, files: impl IntoIterator<Item = &'a Path>) -> bool {
    let real = |path: &Path| std::path::absolute(path).map(|path| path.canonicalize().unwrap_or(path));
    let Ok(folder) = real(folder) else { return true };
    let mut asked = std::collections::BTreeSet::new();
    files
        .into_iter()
        .filter_map(Path::parent)
        .any(|parent| asked.insert(parent.to_owned()) && real(parent).is_ok_and(|parent| folder.starts_with(parent)))
}

/// Entries of one kind in one folder.
#[derive(Debug)]
pub struct Store {
    folder: PathBuf,
    kind: Kind,
    /// Most bytes of all entries, where there is a limit.
    cap: Option<u64>,
    began: SystemTime,
    tally: Mutex<Tally>,
    /// Where it is of this run only, it goes with the last who knows it.
    _temporary: Option<tempfile::TempDir>,
}

/// What a store with a cap knows of itself.
#[derive(Debug, Default)]
struct Tally {
    /// Bytes written since what is there was looked at; none before the first time.
    written: Option<u64>,
    /// Bytes there then.
    there: u64,
    /// Nothing more fits: all that is there has been used since this run began.
    full: bool,
}

impl Store {
    /// A store that stays: entries of a kind in `folder`, which is made where it is not there. Its cap is the kind's.
    ///
    /// # Errors
    /// What the disk says, also where the folder cannot be written to.
    pub fn lasting(folder: &Path, kind: Kind) -> io::Result<Self> {
        fs::create_dir_all(folder)?;
        // Asked now, and not after the first hour.
        tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder)?;
        Ok(Self::at(folder, kind, Some(kind.most)))
    }

    /// A store for as long as the value lives.
    ///
    /// # Errors
    /// What the disk says.
    pub fn passing(kind: Kind) -> io::Result<Self> {
        let folder = tempfile::Builder::new().prefix("stillpath-").tempdir()?;
        Ok(Self::at(folder.path(), kind, None)).map(|store| Self { _temporary: Some(folder), ..store })
    }

    /// A store that nothing is put into: what is there already can be read.
    #[must_use]
    pub fn read_only(folder: &Path, kind: Kind) -> Self {
        Self::at(folder, kind, Some(0))
    }

    fn at(folder: &Path, kind: Kind, cap: Option<u64>) -> Self {
        let folder = folder.to_owned();
        Self { folder, kind, cap, began: SystemTime::now(), tally: Mutex::default(), _temporary: None }
    }

    /// The same with a limit to the bytes of all its entries, which each run goes over by a thirty-second at most
    /// before it sees what others have written.
    #[must_use]
    pub fn capped(self, bytes: u64) -> Self {
        Self { cap: Some(bytes), ..self }
    }

    /// Reads the entry of a key into `bytes`, whose room is reused, and marks it as used; none where there is none, or
    /// one that is not whole.
    pub fn get<'a>(&self, key: &blake3::Hash, bytes: &'a mut Vec<u8>) -> Option<&'a [u8]> {
        let mut file = File::open(self.path(key)).ok()?;
        bytes.clear();
        file.read_to_end(bytes).ok()?;
        let (hash, body) = bytes.strip_prefix(self.kind.head)?.split_at_checked(blake3::OUT_LEN)?;
        if blake3::hash(body).as_bytes() != hash {
            return None;
        }
        if self.cap.is_some() {
            // On a disk that cannot be written to nothing is ever thrown out either.
            let _only_read = file.set_modified(SystemTime::now());
        }
        Some(body)
    }

    /// Keeps an entry, unless it is larger than the cap, or only what this run has used could make room. Whoever reads
    /// meanwhile sees the old entry or the new one. Says whether it was kept.
    ///
    /// # Errors
    /// What the disk says.
    pub fn put(&self, key: &blake3::Hash, body: &[u8]) -> io::Result<bool> {
        let bytes = (HEAD + blake3::OUT_LEN + body.len()) as u64;
        if !self.make_room(bytes)? {
            return Ok(false);
        }
        let path = self.path(key);
        let parent = path.parent().unwrap_or(&self.folder);
        let begin = || {
            fs::create_dir_all(parent)?;
            tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(parent)
        };
        // Whoever clears the store meanwhile may take the folder away while it is empty.
        let mut file =
            begin().or_else(|error| if error.kind() == io::ErrorKind::NotFound { begin() } else { Err(error) })?;
        for part in [self.kind.head.as_slice(), blake3::hash(body).as_bytes(), body] {
            file.write_all(part)?;
        }
        file.persist(path)?;
        Ok(true)
    }

    /// Whether this many more bytes may be written, after throwing out what has been unused the longest if need be.
    fn make_room(&self, bytes: u64) -> io::Result<bool> {
        let Some(cap) = self.cap else { return Ok(true) };
        let mut tally = self.tally.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if bytes > cap || tally.full {
            return Ok(false);
        }
        let known =
            tally.written.filter(|written| *written <= cap / LOOKS_A_CAP && tally.there + written + bytes <= cap);
        if let Some(written) = known {
            tally.written = Some(written + bytes);
            return Ok(true);
        }
        tally.there = own::thin(&self.folder, self.kind, cap - bytes, self.began - CLOCK_STEP)?;
        tally.full = tally.there + bytes > cap;
        tally.written = Some(bytes);
        Ok(!tally.full)
    }

    /// Two letters a folder: a million files in one are a burden to some systems.
    fn path(&self, key: &blake3::Hash) -> PathBuf {
        let name = key.to_hex();
        self.folder.join(&name[..2]).join(&name[2..])
    }
}

#[cfg(test)]
mod tests;

//! Outputs out of sight until they are whole.
//!
//! `clip.mp4` is made in the folder `.clip.mp4.part` beside it, so that giving it its name is one rename. While it is
//! made the folder is locked: a second run on the same output is refused. In the folder are
//!
//! | name | what |
//! |---|---|
//! | `000000.stretch` … | whole stretches of frames: their packets, or a record of their files |
//! | `000000.unfinished` … | a stretch in the making |
//! | `frame-000000.unfinished` … | a frame's file in the making |
//! | `share-….unfinished` | one for each run that makes a share of the output: its letters are in the names of all that it makes |
//! | `output` | what will have the final name: the file, or the folder of frames |
//! | `sizes` | what stretches and the file came to, where it is to have a size |
//! | `finished` | a record of the output that has its name already, until its run is over, or for good where it grows |
//! | `before` | the same of the one that it took the place of |
//!
//! and whatever else is found there is left alone.
//!
//! ## Decisions
//!
//! - Runs that make shares of an output work in the folder at the same time, on machines whose locks may not reach one
//!   another. So nothing rests on locks: each gives what it makes a name of its own, and the name that counts by a
//!   rename, when it is whole. Two that make the same share make the same bytes; the later rename changes nothing.
//! - The output of a shoot that grows keeps its stretches and its record when it has its name, so that the next render
//!   makes only what is new and knows that it may take the output's place. A clip then takes its room twice; frames of a
//!   sequence are linked, not copied.
//! - Where locks do reach, a run that makes the whole output keeps shares out, and shares keep it out.

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tempfile::NamedTempFile;

use crate::decode::clip::ENDINGS;
use crate::work::SinkError;

/// The folder of an output that is not whole yet. When it is dropped what is not whole goes, and the folder where
/// nothing is left.
pub(super) struct Unfinished {
    target: PathBuf,
    folder: PathBuf,
    _lock: File,
    /// Whether whole stretches stay for the next run.
    keeps: bool,
    /// The file by whose name what this run makes is told from what others make meanwhile; none where it is alone.
    among: Option<NamedTempFile>,
    /// Whether stretches stay when the output has its name.
    grows: bool,
}

impl Unfinished {
    /// Makes the folder, or takes over and locks what an earlier run left. `keeps` says that whole stretches are to
    /// stay when it is dropped.
    ///
    /// # Errors
    /// Where it cannot be made or written to, or another run has the lock.
    pub(super) fn open(target: &Path, keeps: bool) -> Result<Self, SinkError> {
        Self::open_as(target, keeps, false)
    }

    /// Makes the folder, or joins those that work in it: to make a share of the output. All that is whole stays.
    ///
    /// # Errors
    /// Where it cannot be made or written to, or a run that makes all of it has the lock.
    pub(super) fn open_among(target: &Path) -> Result<Self, SinkError> {
        Self::open_as(target, true, true)
    }

    fn open_as(target: &Path, keeps: bool, is_among: bool) -> Result<Self, SinkError> {
        make_parent(target)?;
        let folder = hidden(target, "part")?;
        if folder.symlink_metadata().is_ok_and(|found| !found.is_dir()) {
            return Err(disk(
                &folder,
                io::Error::other("this name is needed for unfinished output, but something else has it"),
            ));
        }
        let lock = locked(&folder, target, is_among, || {
            match fs::create_dir(&folder) {
                Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
                _ => {}
            }
            File::open(&folder)
        })?;
        let among = is_among.then(|| tempfile::Builder::new().prefix(SHARE).suffix(".unfinished").tempfile_in(&folder));
        let among = among.transpose().map_err(|source| disk(&folder, source))?;
        let unfinished = Self { target: target.to_owned(), folder, _lock: lock, keeps, among, grows: false };
        unfinished.clear();
        Ok(unfinished)
    }

    /// Lets the stretches stay when the output has its name: there will be more.
    pub(super) fn grow(&mut self) {
        self.grows = true;
    }

    /// Whether they stay.
    pub(super) fn grows(&self) -> bool {
        self.grows
    }

    /// Whether others may make parts of the output meanwhile.
    pub(super) fn is_among(&self) -> bool {
        self.among.is_some()
    }

    /// What tells this run's names from others', with a full stop before; nothing where it is alone.
    fn token(&self) -> String {
        let name = self.among.as_ref().and_then(|file| file.path().file_stem()?.to_str()?.strip_prefix(SHARE));
        name.map_or_else(String::new, |token| format!(".{token}"))
    }

    /// What it will be.
    pub(super) fn target(&self) -> &Path {
        &self.target
    }

    /// The folder.
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether whole stretches stay for the next run.
    pub(super) fn keeps(&self) -> bool {
        self.keeps
    }

    /// Where a whole stretch is.
    pub(super) fn stretch(&self, index: usize) -> PathBuf {
        stretch_in(&self.folder, index)
    }

    /// Where it is before it is whole.
    pub(super) fn beginning(&self, index: usize) -> PathBuf {
        self.folder.join(format!("{index:06}{}.unfinished", self.token()))
    }

    /// Where the files of frames are before they are whole.
    pub(super) fn beginnings(&self) -> Beginnings {
        Beginnings { folder: self.folder.clone(), token: self.token() }
    }

    /// What will have the final name.
    pub(super) fn output(&self) -> PathBuf {
        self.folder.join("output")
    }

    /// Where it is written down that the output has its name.
    pub(super) fn finished(&self) -> PathBuf {
        finished_in(&self.folder)
    }

    /// Removes stretches by their number.
    pub(super) fn remove_stretches(&self, which: impl Fn(usize) -> bool) {
        self.remove(|name| name.strip_suffix(".stretch").and_then(|digits| digits.parse().ok()).is_some_and(&which));
    }

    /// Removes the record of an output that is not there, or not as it was.
    pub(super) fn unmark(&self) {
        self.remove(|name| name == "finished" || name == "before");
    }

    /// Puts the record of the output aside that is about to be replaced: it stands until then.
    pub(super) fn set_record_aside(&self) -> io::Result<()> {
        match fs::rename(self.finished(), before_in(&self.folder)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        }
    }

    /// Removes all that an earlier run left.
    ///
    /// # Errors
    /// Where there is more in the folder of frames than frames.
    pub(super) fn empty(&self) -> Result<(), SinkError> {
        self.remove(is_ours);
        let output = self.output();
        let Ok(found) = output.symlink_metadata() else { return Ok(()) };
        let gone = if found.is_dir() { remove(&output) } else { fs::remove_file(&output) };
        gone.map_err(|source| disk(&self.target, source))
    }

    /// Puts the file on the disk for good under its final name, in place of what was there. Gives its size in bytes.
    /// `mark` may write down what it is, right before.
    ///
    /// # Errors
    /// What the disk says; the final name is untouched then.
    pub(super) fn place_file(&self, mark: impl FnOnce(Placed) -> io::Result<()>) -> Result<u64, SinkError> {
        let output = self.output();
        let on_disk = || -> io::Result<u64> {
            File::open(&output)?.sync_all()?;
            let placed = Placed::of(&output)?;
            let bytes = placed.bytes;
            mark(placed)?;
            fs::rename(&output, &self.target)?;
            Ok(bytes)
        };
        let bytes = on_disk().map_err(|source| disk(&self.target, source))?;
        self.over();
        Ok(bytes)
    }

    /// As [`place_file`](Self::place_file), of a folder of frames; `frames` is how many there must be.
    ///
    /// # Errors
    /// [`SinkError::Count`] where there are more or fewer, and what the disk says.
    pub(super) fn place_folder(
        &self,
        frames: u64,
        mark: impl FnOnce(Placed) -> io::Result<()>,
    ) -> Result<u64, SinkError> {
        let output = self.output();
        let said = |source| disk(&self.target, source);
        let found = numbered(&output).map_err(said)?;
        if found.len() as u64 != frames {
            return Err(SinkError::Count { path: self.target.clone(), given: frames, got: found.len() as u64 });
        }
        for frame in &found {
            File::open(frame).and_then(|file| file.sync_all()).map_err(said)?;
        }
        File::open(&output).and_then(|folder| folder.sync_all()).map_err(said)?;
        let placed = Placed::of(&output).map_err(said)?;
        let bytes = placed.bytes;
        mark(placed).and_then(|()| self.rename_folder()).map_err(said)?;
        self.over();
        Ok(bytes)
    }

    /// The output has its name: its stretches are of no use any more.
    fn over(&self) {
        sync_parent(&self.target);
        if !self.grows {
            self.remove(|name| name.ends_with(".stretch"));
        }
    }

    fn rename_folder(&self) -> io::Result<()> {
        let output = self.output();
        if self.target.symlink_metadata().is_err() {
            return fs::rename(&output, &self.target);
        }
        numbered(&self.target)?;
        let earlier = hidden(&self.target, "old").map_err(io::Error::other)?;
        fs::rename(&self.target, &earlier)?;
        if let Err(error) = fs::rename(&output, &self.target) {
            fs::rename(&earlier, &self.target)?;
            return Err(error);
        }
        // Whole and in place; what cannot be removed now is removed by the next run.
        let _removed_now_or_later = remove(&earlier);
        Ok(())
    }

    /// Puts right what a run left that was killed while it put a new folder of frames in place of an old one, and
    /// refuses to replace a folder that holds anything but frames.
    ///
    /// # Errors
    /// What stands in the way.
    pub(super) fn settle_folder(&self) -> Result<(), SinkError> {
        let settle = || -> io::Result<()> {
            let earlier = hidden(&self.target, "old").map_err(io::Error::other)?;
            if earlier.exists() {
                if self.target.exists() { remove(&earlier)? } else { fs::rename(&earlier, &self.target)? }
            }
            if self.target.symlink_metadata().is_ok() {
                numbered(&self.target)?;
            }
            Ok(())
        };
        settle().map_err(|source| disk(&self.target, source))
    }

    /// Removes what is not whole, and with it whatever else might be written through by its name.
    fn clear(&self) {
        if self.is_among() {
            let own = format!("{}.unfinished", self.token());
            return self.remove(|name| name.ends_with(&own));
        }
        self.remove(|name| name.ends_with(".unfinished"));
        let output = self.output();
        if output.symlink_metadata().is_ok_and(|found| !found.is_dir()) {
            let _nothing_to_be_done_about_it = fs::remove_file(&output);
        }
    }

    /// Removes files of the folder by name.
    fn remove(&self, which: impl Fn(&str) -> bool) {
        let Ok(entries) = fs::read_dir(&self.folder) else { return };
        for entry in entries.flatten() {
            if entry.file_name().to_str().is_some_and(|name| is_ours(name) && which(name)) {
                let _nothing_to_be_done_about_it = fs::remove_file(entry.path());
            }
        }
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        self.clear();
        if self.is_among() {
            // The next to come may be about to make its first stretch.
            return;
        }
        if !self.keeps {
            let _nothing_to_be_done_about_it = self.empty();
        }
        // Gone only if it is empty.
        let _kept_where_it_holds_anything = fs::remove_dir(&self.folder);
    }
}

/// How often a lock that another has is tried again, and how long after.
const LOCK_TRIES: u32 = 10;
const LOCK_AGAIN: Duration = Duration::from_millis(20);

/// What the names of the files begin with that tell shares' runs apart.
const SHARE: &str = "share-";

/// Where the files of frames are before they are whole.
#[derive(Debug, Clone)]
pub(super) struct Beginnings {
    folder: PathBuf,
    token: String,
}

impl Beginnings {
    /// Of one frame.
    pub(super) fn frame(&self, number: u64) -> PathBuf {
        self.folder.join(format!("frame-{number:06}{}.unfinished", self.token))
    }

    /// Gives a frame's file its name. A run that is alone takes nobody's place; of those that are not, whoever was there
    /// before has written the same.
    ///
    /// # Errors
    /// What the disk says.
    pub(super) fn end(&self, beginning: &Path, whole: &Path) -> io::Result<()> {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        use rustix::io::Errno;
        if !self.token.is_empty() {
            return fs::rename(beginning, whole);
        }
        match renameat_with(CWD, beginning, CWD, whole, RenameFlags::NOREPLACE) {
            // Not every file system can.
            Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) if whole.symlink_metadata().is_err() => {
                fs::rename(beginning, whole)
            }
            Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => Err(io::ErrorKind::AlreadyExists.into()),
            moved => moved.map_err(io::Error::from),
        }
    }
}

/// Whether a file in the folder is one of those it is for.
fn is_ours(name: &str) -> bool {
    let numbered = |digits: &str| digits.len() >= 6 && digits.bytes().all(|digit| digit.is_ascii_digit());
    let token = |token: &str| !token.is_empty() && token.bytes().all(|letter| letter.is_ascii_alphanumeric());
    let begun = |stem: &str| match stem.split_once('.') {
        _ if stem.strip_prefix(SHARE).is_some_and(token) => true,
        Some((digits, rest)) => numbered(digits.strip_prefix("frame-").unwrap_or(digits)) && token(rest),
        None => numbered(stem.strip_prefix("frame-").unwrap_or(stem)),
    };
    ["finished", "before", "sizes"].contains(&name)
        || name.strip_suffix(".stretch").is_some_and(numbered)
        || name.strip_suffix(".unfinished").is_some_and(begun)
}

/// Where it is written down how many bytes stretches came to, in the folder of an unfinished output.
pub(super) fn sizes_in(folder: &Path) -> PathBuf {
    folder.join("sizes")
}

/// The folder of an output that is not whole yet.
///
/// # Errors
/// Where the output has no name.
pub(super) fn folder_of(target: &Path) -> Result<PathBuf, SinkError> {
    hidden(target, "part")
}

pub(super) fn stretch_in(folder: &Path, index: usize) -> PathBuf {
    folder.join(format!("{index:06}.stretch"))
}

pub(super) fn finished_in(folder: &Path) -> PathBuf {
    folder.join("finished")
}

pub(super) fn before_in(folder: &Path) -> PathBuf {
    folder.join("before")
}

/// What an output is known by: moving it keeps this, writing to it does not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Placed {
    pub(super) bytes: u64,
    files: u64,
    /// When any of its files was last written to, in seconds and nanoseconds.
    modified: (i64, i64),
}

impl Placed {
    /// Of a file, or of a folder of frames.
    pub(super) fn of(path: &Path) -> io::Result<Self> {
        let files = if path.is_dir() { numbered(path)? } else { vec![path.to_owned()] };
        let mut placed = Self { bytes: 0, files: files.len() as u64, modified: (0, 0) };
        for file in files {
            let found = file.symlink_metadata()?;
            placed.bytes += found.len();
            placed.modified = placed.modified.max((found.mtime(), found.mtime_nsec()));
        }
        Ok(placed)
    }
}

/// Removes a folder that holds nothing but numbered frames.
pub(super) fn remove(folder: &Path) -> io::Result<()> {
    for frame in numbered(folder)? {
        fs::remove_file(frame)?;
    }
    fs::remove_dir(folder)
}

/// The numbered frames of a folder, which must hold nothing else.
pub(super) fn numbered(folder: &Path) -> io::Result<Vec<PathBuf>> {
    if !folder.symlink_metadata()?.is_dir() {
        return Err(io::Error::other("something here is not a folder of frames"));
    }
    let mut frames = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let ours = name.to_str().and_then(|name| name.rsplit_once('.')).is_some_and(|(digits, ending)| {
            ENDINGS.contains(&ending) && digits.len() >= 6 && digits.bytes().all(|digit| digit.is_ascii_digit())
        });
        if !ours || !entry.file_type()?.is_file() {
            let stranger = format!("the folder holds more than numbered frames: {}", name.display());
            return Err(io::Error::other(stranger));
        }
        frames.push(entry.path());
    }
    Ok(frames)
}

/// The lock on `path`, which `open` makes or opens: one that others may have `among` whom it is taken, or one for this
/// run alone.
fn locked(path: &Path, target: &Path, among: bool, open: impl Fn() -> io::Result<File>) -> Result<File, SinkError> {
    let mut tries = 0;
    loop {
        let file = open().map_err(|source| disk(path, source))?;
        match if among { file.try_lock_shared() } else { file.try_lock() } {
            Ok(()) => {}
            // A program that this one is just starting has the lock too, until it is another program.
            Err(TryLockError::WouldBlock) if tries < LOCK_TRIES => {
                tries += 1;
                std::thread::sleep(LOCK_AGAIN);
                continue;
            }
            Err(TryLockError::WouldBlock) => {
                return Err(disk(
                    target,
                    io::Error::other("another run is making this output; wait for it to end or stop it"),
                ));
            }
            Err(TryLockError::Error(source)) => return Err(disk(path, source)),
        }
        // The run that had the lock may have removed it in between.
        let same = || -> io::Result<bool> {
            let (locked, named) = (file.metadata()?, path.symlink_metadata()?);
            Ok((locked.dev(), locked.ino()) == (named.dev(), named.ino()))
        };
        if same().unwrap_or(false) {
            return Ok(file);
        }
    }
}

/// `.name.ending` beside `target`.
fn hidden(target: &Path, ending: &str) -> Result<PathBuf, SinkError> {
    let Some(name) = target.file_name() else {
        return Err(disk(target, io::Error::other("an output needs a name")));
    };
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(".");
    hidden.push(ending);
    Ok(target.with_file_name(hidden))
}

fn make_parent(target: &Path) -> Result<(), SinkError> {
    let Some(parent) = target.parent().filter(|parent| !parent.as_os_str().is_empty()) else { return Ok(()) };
    fs::create_dir_all(parent).map_err(|source| disk(parent, source))
}

/// Asks the system to write the folder's new entry down. Not every file system can; the file itself is safe by then.
pub(super) fn sync_parent(target: &Path) {
    let parent = target.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let _not_every_file_system_can = File::open(parent).and_then(|folder| folder.sync_all());
}

pub(super) fn disk(path: &Path, source: io::Error) -> SinkError {
    SinkError::Disk { path: path.to_owned(), source }
}

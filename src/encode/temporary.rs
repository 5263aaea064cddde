//! Outputs under a temporary name until they are whole.
//!
//! `clip.mp4` grows as `.clip.mp4.part` in the same folder, so that giving it its name is one rename. While it grows it is
//! locked: a second run on the same output is refused, and what a killed run left is taken over.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use crate::work::SinkError;

/// A file that will be `target` when it is whole; removed when dropped before.
pub(super) struct TemporaryFile {
    target: PathBuf,
    path: PathBuf,
    lock: File,
    kept: bool,
}

impl TemporaryFile {
    /// Makes the folder where there is none, and the temporary file in it, locked and empty or a killed run's.
    ///
    /// # Errors
    /// Where the folder cannot be made or written to, a folder stands in the way, or another run has the lock.
    pub(super) fn create(target: &Path) -> Result<Self, SinkError> {
        make_parent(target)?;
        if target.is_dir() {
            return Err(disk(target, io::Error::other("a folder is in the way of this file")));
        }
        let path = hidden(target, "part")?;
        if path.symlink_metadata().is_ok_and(|found| !found.is_file()) {
            return Err(disk(&path, io::Error::other("this name is needed for the unfinished file; something else is there")));
        }
        let lock = locked(&path, target, || OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path))?;
        Ok(Self { target: target.to_owned(), path, lock, kept: false })
    }

    /// Where it is until it is whole.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Puts it on the disk for good under its final name, in place of what was there. Gives its size in bytes.
    ///
    /// # Errors
    /// What the disk says; the final name is untouched then.
    pub(super) fn keep(mut self) -> Result<u64, SinkError> {
        let on_disk = || -> io::Result<u64> {
            self.lock.sync_all()?;
            let bytes = self.lock.metadata()?.len();
            fs::rename(&self.path, &self.target)?;
            Ok(bytes)
        };
        let bytes = on_disk().map_err(|source| disk(&self.target, source))?;
        self.kept = true;
        sync_parent(&self.target);
        Ok(bytes)
    }
}

impl Drop for TemporaryFile {
    fn drop(&mut self) {
        if !self.kept {
            let _nothing_to_be_done_about_it = fs::remove_file(&self.path);
        }
    }
}

/// A folder of numbered PNG files that will be `target` when it is whole; removed when dropped before.
pub(super) struct TemporaryFolder {
    target: PathBuf,
    path: PathBuf,
    lock: File,
    kept: bool,
}

impl TemporaryFolder {
    /// Makes the temporary folder, locked and empty; a killed run's frames are removed from it.
    ///
    /// # Errors
    /// Where it cannot be made or written to, where another run has the lock, and where `target` is there and holds
    /// anything but numbered PNG files: nothing else is ever removed.
    pub(super) fn create(target: &Path) -> Result<Self, SinkError> {
        make_parent(target)?;
        let path = hidden(target, "part")?;
        let lock = locked(&path, target, || {
            match fs::create_dir(&path) {
                Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
                _ => {}
            }
            File::open(&path)
        })?;
        let earlier = hidden(target, "old")?;
        let tidy = || -> io::Result<()> {
            for frame in numbered(&path)? {
                fs::remove_file(frame)?;
            }
            // A run was killed while it put the new folder in place of the old one.
            if earlier.exists() {
                if target.exists() { remove(&earlier)? } else { fs::rename(&earlier, target)? }
            }
            if target.symlink_metadata().is_ok() {
                numbered(target)?;
            }
            Ok(())
        };
        if let Err(source) = tidy() {
            // Gone only if it is empty: the folder was ours, what is in it is not.
            let _kept_where_it_holds_anything = fs::remove_dir(&path);
            return Err(disk(target, source));
        }
        Ok(Self { target: target.to_owned(), path, lock, kept: false })
    }

    /// Where it is until it is whole.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Where frame `index` goes.
    pub(super) fn frame(folder: &Path, index: u64) -> PathBuf {
        folder.join(format!("{index:06}.png"))
    }

    /// Puts it on the disk for good under its final name, in place of what was there. Gives its bytes
    /// in all; `frames` is how many files there must be.
    ///
    /// # Errors
    /// [`SinkError::Count`] where there are more or fewer, and what the disk says.
    pub(super) fn keep(mut self, frames: u64) -> Result<u64, SinkError> {
        let said = |source| disk(&self.target, source);
        let found = numbered(&self.path).map_err(said)?;
        if found.len() as u64 != frames {
            return Err(SinkError::Count { path: self.target.clone(), given: frames, got: found.len() as u64 });
        }
        let mut bytes = 0;
        for frame in &found {
            let on_disk = || -> io::Result<u64> {
                let file = File::open(frame)?;
                file.sync_all()?;
                Ok(file.metadata()?.len())
            };
            bytes += on_disk().map_err(said)?;
        }
        self.lock.sync_all().map_err(said)?;
        self.rename().map_err(said)?;
        self.kept = true;
        sync_parent(&self.target);
        Ok(bytes)
    }

    fn rename(&self) -> io::Result<()> {
        if self.target.symlink_metadata().is_err() {
            return fs::rename(&self.path, &self.target);
        }
        numbered(&self.target)?;
        let earlier = hidden(&self.target, "old").map_err(io::Error::other)?;
        fs::rename(&self.target, &earlier)?;
        if let Err(error) = fs::rename(&self.path, &self.target) {
            fs::rename(&earlier, &self.target)?;
            return Err(error);
        }
        // Whole and in place; what cannot be removed now is removed by the next run.
        let _removed_now_or_later = remove(&earlier);
        Ok(())
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        if !self.kept {
            let _nothing_to_be_done_about_it = remove(&self.path);
        }
    }
}

/// Removes a folder that holds nothing but numbered PNG files.
fn remove(folder: &Path) -> io::Result<()> {
    for frame in numbered(folder)? {
        fs::remove_file(frame)?;
    }
    fs::remove_dir(folder)
}

/// The numbered PNG files of a folder, which must hold nothing else.
fn numbered(folder: &Path) -> io::Result<Vec<PathBuf>> {
    if !folder.symlink_metadata()?.is_dir() {
        return Err(io::Error::other("there is something here that is not a folder of frames"));
    }
    let mut frames = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let ours = name
            .to_str()
            .and_then(|name| name.strip_suffix(".png"))
            .is_some_and(|digits| digits.len() >= 6 && digits.bytes().all(|digit| digit.is_ascii_digit()));
        if !ours || !entry.file_type()?.is_file() {
            let stranger = format!("the folder holds more than numbered frames: {}", name.display());
            return Err(io::Error::other(stranger));
        }
        frames.push(entry.path());
    }
    Ok(frames)
}

/// The lock on `path`, which `open` makes or opens.
fn locked(path: &Path, target: &Path, open: impl Fn() -> io::Result<File>) -> Result<File, SinkError> {
    loop {
        let file = open().map_err(|source| disk(path, source))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(disk(target, io::Error::other("another run is making this output; wait for it to end or stop it")));
            }
            Err(TryLockError::Error(source)) => return Err(disk(path, source)),
        }
        // The run that had the lock may have given the file its final name, or removed it, in between.
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
fn sync_parent(target: &Path) {
    let parent = target.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let _not_every_file_system_can = File::open(parent).and_then(|folder| folder.sync_all());
}

pub(super) fn disk(path: &Path, source: io::Error) -> SinkError {
    SinkError::Disk { path: path.to_owned(), source }
}

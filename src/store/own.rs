//! Counting and removing a store's own files, and none but these: of the right name, regular, beginning as the
//! program's entries do. Folders are opened without following links and files removed from within them, so that nothing
//! put in their place meanwhile leads out of the store.

use std::ffi::{CStr, CString};
use std::io;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::time::{Duration, SystemTime};

use rustix::fs::{AtFlags, CWD, Dir, FileType, Mode, OFlags, Stat, openat, statat, unlinkat};
use rustix::io::Errno;

use super::{HEAD, Kind, UNFINISHED};

/// What every entry begins with, of whatever kind and version.
const PROGRAM: &[u8] = b"stillpath ";

/// Unfinished files of this age belong to nobody any more.
const ABANDONED: Duration = Duration::from_secs(3600);

/// How much there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct Holding {
    /// Entries.
    pub entries: u64,
    /// Their bytes.
    pub bytes: u64,
}

/// A file by the two folders it lies in.
struct Own {
    shelf: CString,
    name: CString,
    bytes: u64,
    used: SystemTime,
}

/// What the store of a kind in `folder` holds; nothing where it is not there.
///
/// # Errors
/// What the disk says.
pub fn holding(folder: &Path) -> io::Result<Holding> {
    let own = all(folder)?;
    Ok(Holding { entries: own.len() as u64, bytes: own.iter().map(|own| own.bytes).sum() })
}

/// Removes all entries of a store, and what was left unfinished an hour ago or more: what was removed. Its folders go
/// where nothing is left in them.
///
/// # Errors
/// What the disk says.
pub fn clear(folder: &Path, kind: Kind) -> io::Result<Holding> {
    let mut gone = Holding::default();
    for own in all(folder)? {
        if remove(folder, kind, &own)? {
            gone.entries += 1;
            gone.bytes += own.bytes;
        }
    }
    remove_empty_shelves(folder)?;
    Ok(gone)
}

/// Removes the folders of a store that hold nothing.
fn remove_empty_shelves(folder: &Path) -> io::Result<()> {
    let Some(top) = open_folder(CWD, &CString::new(folder.as_os_str().as_encoded_bytes())?)? else { return Ok(()) };
    let mut shelves = Vec::new();
    each(&top, |shelf, stat| {
        if is_hex(shelf, 2) && FileType::from_raw_mode(stat.st_mode) == FileType::Directory {
            shelves.push(shelf.to_owned());
        }
        Ok(())
    })?;
    for shelf in shelves {
        match unlinkat(&top, &*shelf, AtFlags::REMOVEDIR) {
            // Something lies in it, it is gone already, or something else has taken its place.
            Ok(()) | Err(Errno::NOTEMPTY | Errno::EXIST | Errno::NOENT | Errno::NOTDIR | Errno::BUSY) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}

/// Removes the entries that have been unused the longest until `bytes` are left or fewer, but none used since
/// `protected`. Gives the bytes left.
pub(super) fn thin(folder: &Path, kind: Kind, bytes: u64, protected: SystemTime) -> io::Result<u64> {
    let mut own = all(folder)?;
    let mut left = own.iter().map(|own| own.bytes).sum::<u64>();
    own.sort_by_key(|own| own.used);
    for own in own.iter().take_while(|own| own.used < protected) {
        if left <= bytes {
            break;
        }
        if remove(folder, kind, own)? {
            left -= own.bytes;
        }
    }
    Ok(left)
}

/// Every file of a store by name: entries, and unfinished ones that nobody works on.
fn all(folder: &Path) -> io::Result<Vec<Own>> {
    let mut found = Vec::new();
    let Some(top) = open_folder(CWD, &CString::new(folder.as_os_str().as_encoded_bytes())?)? else { return Ok(found) };
    each(&top, |shelf, stat| {
        if !is_hex(shelf, 2) || FileType::from_raw_mode(stat.st_mode) != FileType::Directory {
            return Ok(());
        }
        let Some(open) = open_folder(&top, shelf)? else { return Ok(()) };
        each(&open, |name, stat| {
            let used = modified(stat);
            let abandoned = || name.to_bytes().starts_with(UNFINISHED.as_bytes()) && age(used) >= ABANDONED;
            if FileType::from_raw_mode(stat.st_mode) == FileType::RegularFile && (is_hex(name, 62) || abandoned()) {
                let bytes = u64::try_from(stat.st_size).unwrap_or(0);
                found.push(Own { shelf: shelf.to_owned(), name: name.to_owned(), bytes, used });
            }
            Ok(())
        })
    })?;
    Ok(found)
}

/// Removes a file where it is the program's own; says whether it was.
fn remove(folder: &Path, kind: Kind, own: &Own) -> io::Result<bool> {
    let top = open_folder(CWD, &CString::new(folder.as_os_str().as_encoded_bytes())?)?;
    let Some(shelf) = top.map(|top| open_folder(&top, &own.shelf)).transpose()?.flatten() else { return Ok(false) };
    let unfinished = !is_hex(&own.name, 62);
    // One that never got as far as its head is known by its name alone.
    if !unfinished && !begins_as_ours(&shelf, &own.name, kind)? {
        return Ok(false);
    }
    match unlinkat(&shelf, &*own.name, AtFlags::empty()) {
        Ok(()) => Ok(true),
        // Another run was faster.
        Err(Errno::NOENT) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

fn begins_as_ours(shelf: &OwnedFd, name: &CStr, kind: Kind) -> io::Result<bool> {
    // Not blocking: what stands there now may be a pipe.
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let file = match openat(shelf, name, flags, Mode::empty()) {
        Ok(file) => file,
        Err(Errno::NOENT | Errno::LOOP) => return Ok(false),
        Err(error) => return Err(error.into()),
    };
    let mut head = [0; HEAD];
    let read = rustix::io::read(&file, &mut head)?;
    // Entries of another version begin alike but for the number at the end.
    let words = head.iter().zip(kind.head).take_while(|(seen, due)| seen == due).count();
    Ok(read == HEAD && head.starts_with(PROGRAM) && words >= HEAD - 1)
}

/// A folder, which must be one itself and no link to one; none where it is not.
fn open_folder(within: impl std::os::fd::AsFd, name: &CStr) -> io::Result<Option<OwnedFd>> {
    let flags = OFlags::RDONLY | OFlags::DIRECTORY | OFlags::NOFOLLOW | OFlags::CLOEXEC;
    match openat(within, name, flags, Mode::empty()) {
        Ok(folder) => Ok(Some(folder)),
        Err(Errno::NOENT | Errno::NOTDIR | Errno::LOOP) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn each(folder: &OwnedFd, mut with: impl FnMut(&CStr, &Stat) -> io::Result<()>) -> io::Result<()> {
    for entry in Dir::read_from(folder)? {
        let entry = entry?;
        match statat(folder, entry.file_name(), AtFlags::SYMLINK_NOFOLLOW) {
            Ok(stat) => with(entry.file_name(), &stat)?,
            Err(Errno::NOENT) => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}

fn is_hex(name: &CStr, digits: usize) -> bool {
    let name = name.to_bytes();
    name.len() == digits && name.iter().all(|letter| matches!(letter, b'0'..=b'9' | b'a'..=b'f'))
}

fn modified(stat: &Stat) -> SystemTime {
    let seconds = u64::try_from(stat.st_mtime).unwrap_or(0);
    let nanoseconds = u32::try_from(stat.st_mtime_nsec).unwrap_or(0);
    SystemTime::UNIX_EPOCH + Duration::new(seconds, nanoseconds)
}

fn age(used: SystemTime) -> Duration {
    SystemTime::now().duration_since(used).unwrap_or_default()
}

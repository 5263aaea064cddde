//! A file's bytes, provided that it is the file the survey saw.

use std::fs::{File, Metadata};
use std::io::{self, Read as _};
use std::path::Path;
use std::time::Duration;

use rustix::io::Errno;

use super::header::nanoseconds;
use crate::shoot::{Damage, Still};

/// How often a failing read is tried again, and how long to wait before each.
const RETRIES: [Duration; 2] = [Duration::from_millis(50), Duration::from_millis(250)];

/// Reads a surveyed still into `bytes`, whose room is reused.
///
/// # Errors
/// [`Damage::Changed`], [`Damage::Empty`], or [`Damage::Unreadable`] with what the operating system said last.
pub(super) fn read(still: &Still, bytes: &mut Vec<u8>) -> Result<(), Damage> {
    let mut waits = RETRIES.iter();
    let seen = loop {
        match read_once(&still.path, bytes) {
            Ok(seen) => break seen,
            Err(error) => match waits.next() {
                Some(wait) => std::thread::sleep(*wait),
                None => return Err(Damage::Unreadable(error.to_string())),
            },
        }
    };
    // Taken after the last byte was read: a file still being written shows here.
    if seen.len() != still.bytes
        || bytes.len() as u64 != still.bytes
        || seen.modified().map_or(0, nanoseconds) != still.modified
    {
        return Err(Damage::Changed);
    }
    if bytes.is_empty() { Err(Damage::Empty) } else { Ok(()) }
}

/// What the system says of a file on a drive or a share that has gone.
const GONE: [Errno; 8] = [
    Errno::NODEV,
    Errno::NXIO,
    Errno::STALE,
    Errno::NOTCONN,
    Errno::TIMEDOUT,
    Errno::HOSTDOWN,
    Errno::HOSTUNREACH,
    Errno::NETDOWN,
];

/// Whether a file that cannot be read is not to blame: its folder is not there any more, or is as empty as the place
/// where a drive was, or the system says that the drive or share is gone.
#[must_use]
pub fn is_out_of_reach(path: &Path) -> bool {
    let gone = |error: &io::Error| GONE.iter().any(|gone| error.raw_os_error() == Some(gone.raw_os_error()));
    let Err(error) = std::fs::metadata(path) else { return false };
    let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let empty = || std::fs::read_dir(folder).map_or(true, |mut entries| entries.next().is_none());
    gone(&error) || empty()
}

fn read_once(path: &Path, bytes: &mut Vec<u8>) -> io::Result<Metadata> {
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(path)?.is_file() {
        return Err(io::Error::other("not a regular file"));
    }
    let mut file = File::open(path)?;
    bytes.clear();
    file.read_to_end(bytes)?;
    file.metadata()
}

//! A file's bytes, provided that it is the file the survey saw.

use std::fs::{File, Metadata};
use std::io::{self, Read as _};
use std::path::Path;
use std::time::{Duration, UNIX_EPOCH};

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
    if seen.len() != still.bytes || bytes.len() as u64 != still.bytes || modified(&seen) != still.modified {
        return Err(Damage::Changed);
    }
    if bytes.is_empty() { Err(Damage::Empty) } else { Ok(()) }
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

/// Modification time in nanoseconds since 1970, as [`Still::modified`] keeps it; 0 where the file system has none.
fn modified(seen: &Metadata) -> i128 {
    let Ok(time) = seen.modified() else { return 0 };
    let nanoseconds = |span: Duration| i128::try_from(span.as_nanos()).unwrap_or(i128::MAX);
    match time.duration_since(UNIX_EPOCH) {
        Ok(after) => nanoseconds(after),
        Err(before) => -nanoseconds(before.duration()),
    }
}

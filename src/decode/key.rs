//! Which file something kept is of, by a few pieces of what the file holds and not by where it lies.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};

use crate::shoot::{Damage, Still};

/// Bytes read at each of four places, the file's beginning and end among them.
const PIECE: u64 = 16 * 1024;

/// BLAKE3 of the file's length, the orientation it is shown in, and four pieces of it: a few reads, however long the file. Two
/// files of one key are told apart by the hash of the whole, which the entry holds.
///
/// # Errors
/// [`Damage::Unreadable`] with what the operating system said.
pub fn quick(still: &Still) -> Result<blake3::Hash, Damage> {
    let unreadable = |error: std::io::Error| Damage::Unreadable(error.to_string());
    let mut hasher = blake3::Hasher::new();
    hasher.update(&still.bytes.to_le_bytes());
    hasher.update(format!("{:?}", still.orientation).as_bytes());
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(&still.path).map_err(unreadable)?.is_file() {
        return Err(Damage::Unreadable("not a regular file".into()));
    }
    let mut file = File::open(&still.path).map_err(unreadable)?;
    let last = still.bytes.saturating_sub(PIECE);
    let mut piece = Vec::new();
    for at in [0, last / 3, last / 3 * 2, last] {
        piece.clear();
        file.seek(SeekFrom::Start(at)).map_err(unreadable)?;
        file.by_ref().take(PIECE).read_to_end(&mut piece).map_err(unreadable)?;
        hasher.update(&piece);
    }
    Ok(hasher.finalize())
}

/// The key of a recording's frame, by its file's and the tick it is shown at.
#[must_use]
pub fn of_frame(file: &blake3::Hash, shown: i64) -> blake3::Hash {
    blake3::Hasher::new().update(file.as_bytes()).update(&shown.to_le_bytes()).finalize()
}

//! Which file something kept is of, by a few pieces of what the file holds and not by where it lies.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::Path;

use sha2::{Digest as _, Sha256};

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

/// A whole file's length and BLAKE3, with its SHA-256 where asked for. `read` hears how many bytes were read, and says whether to go on;
/// where not, there is nothing.
///
/// # Errors
/// What the operating system says; or that it is no regular file.
pub fn whole(path: &Path, sha: bool, read: &dyn Fn(u64) -> bool) -> std::io::Result<Option<Whole>> {
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(path)?.is_file() {
        return Err(std::io::Error::other("not a regular file"));
    }
    let mut file = File::open(path)?;
    let (mut hasher, mut sha) = (blake3::Hasher::new(), sha.then(Sha256::new));
    let (mut piece, mut bytes) = (vec![0; 1 << 20], 0);
    loop {
        let count = match file.read(&mut piece) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        hasher.update(&piece[..count]);
        if let Some(sha) = &mut sha {
            sha.update(&piece[..count]);
        }
        bytes += count as u64;
        if !read(count as u64) {
            return Ok(None);
        }
    }
    Ok(Some(Whole { bytes, blake3: hasher.finalize(), sha256: sha.map(|sha| sha.finalize().into()) }))
}

/// What [`whole`] found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whole {
    /// Bytes in it.
    pub bytes: u64,
    /// BLAKE3.
    pub blake3: blake3::Hash,
    /// SHA-256, where asked for.
    pub sha256: Option<[u8; 32]>,
}

/// The key of a recording's frame, by its file's and the tick it is shown at.
#[must_use]
pub fn of_frame(file: &blake3::Hash, shown: i64) -> blake3::Hash {
    blake3::Hasher::new().update(file.as_bytes()).update(&shown.to_le_bytes()).finalize()
}

//! Which file something kept is of, by a few pieces of what the file holds and not by where it lies.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};

use crate::shoot::{Damage, Still};

/// Bytes read at each of four places, the file's beginning and end among them.
const PIECE: usize = 16 * 1024;

/// BLAKE3 of the file's length, the orientation it is shown in, and four pieces of it: a few reads, however long the
/// file. Two files of one key are told apart by the hash of the whole, which the entry holds.
///
/// # Errors
/// [`Damage::Unreadable`] with what the operating system said.
pub fn quick(still: &Still) -> Result<blake3::Hash, Damage> {
    let unreadable = |error: std::io::Error| Damage::Unreadable(error.to_string());
    let mut hasher = begun(still);
    // Asked before opening: opening a pipe would wait for a writer.
    if !std::fs::metadata(&still.path).map_err(unreadable)?.is_file() {
        return Err(Damage::Unreadable("not a regular file".into()));
    }
    let mut file = File::open(&still.path).map_err(unreadable)?;
    let mut piece = Vec::new();
    for at in places(still.bytes) {
        piece.clear();
        file.seek(SeekFrom::Start(at)).map_err(unreadable)?;
        file.by_ref().take(PIECE as u64).read_to_end(&mut piece).map_err(unreadable)?;
        hasher.update(&piece);
    }
    Ok(hasher.finalize())
}

/// [`quick`] of a file that has been read: the same key without another read.
pub(super) fn quick_of(still: &Still, bytes: &[u8]) -> blake3::Hash {
    let mut hasher = begun(still);
    for at in places(still.bytes) {
        let rest = usize::try_from(at).ok().and_then(|at| bytes.get(at..)).unwrap_or_default();
        hasher.update(&rest[..rest.len().min(PIECE)]);
    }
    hasher.finalize()
}

fn begun(still: &Still) -> blake3::Hasher {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&still.bytes.to_le_bytes());
    hasher.update(format!("{:?}", still.orientation).as_bytes());
    hasher
}

/// Where the pieces of a file of so many bytes begin.
fn places(bytes: u64) -> [u64; 4] {
    let last = bytes.saturating_sub(PIECE as u64);
    [0, last / 3, last / 3 * 2, last]
}

/// The key of a recording's frame, by its file's and the tick it is shown at.
#[must_use]
pub fn of_frame(file: &blake3::Hash, shown: i64) -> blake3::Hash {
    blake3::Hasher::new().update(file.as_bytes()).update(&shown.to_le_bytes()).finalize()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shoot::{Format, Orientation, Settings};
    use crate::units::Size;

    #[test]
    fn a_file_that_was_read_has_the_key_of_its_pieces_whatever_its_length() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("A1.jpg");
        for length in [0, 1, PIECE - 1, PIECE, PIECE + 1, 2 * PIECE, 3 * PIECE + 5, 5 * PIECE + 7] {
            let bytes: Vec<u8> = (0..length).map(|at| ((at * 31) >> 5).to_le_bytes()[0]).collect();
            std::fs::write(&path, &bytes).unwrap();
            let still = Still {
                path: path.clone(),
                format: Format::Jpeg,
                stored: Size::new(4, 4),
                orientation: Orientation::Upright,
                captured: None,
                settings: Settings::default(),
                bytes: length as u64,
                modified: 0,
            };
            assert_eq!(quick(&still).unwrap(), quick_of(&still, &bytes), "{length} bytes");
        }
    }
}

//! What an unfinished output keeps on the disk, so that it can be told whether all of it is there and what it is of.
//!
//! A file is a head, a body (packets, or nothing), a record of the body as JSON, its length, and BLAKE3 of everything
//! before: what was cut short or damaged is not taken for whole.
//!
//! ## Decisions
//!
//! - Whole stretches are kept in `.clip.mp4.part` beside the output, one file each: packets, key, the hash of every
//!   frame's planes, what was met in decoding its stills, and BLAKE3 of it all, so that a torn or altered file is made
//!   again.
//! - A file is renamed once it is written, and synced in the background. A kill loses the stretch in the making; a
//!   power cut perhaps the one before too.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::Path;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::work::Met;

/// What every file begins with: another layout takes another number.
const HEAD: &[u8; 16] = b"stillpath part 1";
/// The length of the JSON, and the hash.
const TAIL: u64 = 4 + blake3::OUT_LEN as u64;
/// Bytes read or written at a time.
const PIECE: usize = 1 << 16;

/// What is kept of a stretch, or of a whole output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Record<T> {
    /// What it depends on, in hexadecimal.
    key: String,
    /// BLAKE3 of each frame's planes, likewise.
    planes: Vec<String>,
    /// What was met in decoding its stills.
    pub(super) met: Met,
    /// What else there is to know of the body.
    pub(super) body: T,
}

impl<T> Record<T> {
    pub(super) fn new(key: &blake3::Hash, planes: &[blake3::Hash], met: Met, body: T) -> Self {
        let hex = |hash: &blake3::Hash| hash.to_hex().to_string();
        Self { key: hex(key), planes: planes.iter().map(hex).collect(), met, body }
    }

    /// Whether it has this key and this many frames.
    pub(super) fn fits(&self, key: &blake3::Hash, frames: usize) -> bool {
        self.key == key.to_hex().as_str() && self.planes.len() == frames
    }

    /// BLAKE3 of each frame's planes, none where one is not written as it should be.
    pub(super) fn planes(&self) -> Option<Vec<blake3::Hash>> {
        self.planes.iter().map(|hex| blake3::Hash::from_hex(hex).ok()).collect()
    }
}

/// A file in the making.
pub(super) struct Writer {
    file: BufWriter<File>,
    hasher: blake3::Hasher,
}

impl Writer {
    /// Begins a file, emptying what is there.
    ///
    /// # Errors
    /// What the disk says; so with all of this.
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        let mut writer =
            Self { file: BufWriter::with_capacity(PIECE, File::create(path)?), hasher: blake3::Hasher::new() };
        writer.write(HEAD)?;
        Ok(writer)
    }

    /// Adds to the body.
    pub(super) fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.hasher.update(bytes);
        self.file.write_all(bytes)
    }

    /// Ends the file with its record. What comes back is written, but not yet on the disk for good.
    pub(super) fn finish<T: Serialize>(mut self, record: &Record<T>) -> io::Result<File> {
        let json = serde_json::to_vec(record)?;
        self.write(&json)?;
        self.write(&u32::try_from(json.len()).map_err(io::Error::other)?.to_le_bytes())?;
        let hash = self.hasher.finalize();
        self.file.write_all(hash.as_bytes())?;
        self.file.into_inner().map_err(io::IntoInnerError::into_error)
    }
}

/// The record of a file whose length and head are right: enough to say what it is of.
pub(super) fn glance<T: DeserializeOwned>(path: &Path) -> Option<Record<T>> {
    let mut file = regular(path)?;
    let (json, _) = ends(&mut file)?;
    serde_json::from_slice(&json).ok()
}

/// The record of a file, provided that not a bit of it has changed, and its body to read.
pub(super) fn whole<T: DeserializeOwned>(path: &Path) -> Option<(Record<T>, Body)> {
    let mut file = regular(path)?;
    let (json, bytes) = ends(&mut file)?;
    file.rewind().ok()?;
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader((&mut file).take(bytes - blake3::OUT_LEN as u64)).ok()?;
    let mut hash = [0; blake3::OUT_LEN];
    file.read_exact(&mut hash).ok()?;
    if hasher.finalize() != hash {
        return None;
    }
    file.seek(SeekFrom::Start(HEAD.len() as u64)).ok()?;
    let body = bytes - HEAD.len() as u64 - json.len() as u64 - TAIL;
    Some((serde_json::from_slice(&json).ok()?, Body { file: BufReader::with_capacity(PIECE, file).take(body) }))
}

/// A link must not lead elsewhere, nor a pipe keep anybody waiting.
fn regular(path: &Path) -> Option<File> {
    path.symlink_metadata().ok()?.is_file().then(|| File::open(path).ok())?
}

/// The JSON at a file's end, and the file's length.
fn ends(file: &mut File) -> Option<(Vec<u8>, u64)> {
    let mut head = [0; HEAD.len()];
    file.read_exact(&mut head).ok()?;
    let bytes = file.metadata().ok()?.len();
    let at = bytes.checked_sub(TAIL)?;
    file.seek(SeekFrom::Start(at)).ok()?;
    let mut length = [0; 4];
    file.read_exact(&mut length).ok()?;
    let length = u32::from_le_bytes(length);
    let at = at.checked_sub(u64::from(length)).filter(|at| *at >= HEAD.len() as u64)?;
    file.seek(SeekFrom::Start(at)).ok()?;
    let mut json = vec![0; length as usize];
    file.read_exact(&mut json).ok()?;
    (head == *HEAD).then_some((json, bytes))
}

/// The body of a file that was whole when it was opened.
pub(super) struct Body {
    file: io::Take<BufReader<File>>,
}

impl Body {
    /// Bytes left to read.
    pub(super) fn left(&self) -> u64 {
        self.file.limit()
    }

    /// Reads the next bytes.
    pub(super) fn read_exact(&mut self, bytes: &mut [u8]) -> io::Result<()> {
        self.file.read_exact(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record() -> Record<u8> {
        let hash = |text: &str| blake3::hash(text.as_bytes());
        Record::new(&hash("key"), &[hash("one"), hash("two")], Met::default(), 7)
    }

    fn written(folder: &Path) -> std::path::PathBuf {
        let path = folder.join("000000.stretch");
        let mut writer = Writer::create(&path).unwrap();
        writer.write(b"packets").unwrap();
        writer.finish(&record()).unwrap();
        path
    }

    #[test]
    fn a_file_comes_back_as_it_was_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = written(folder.path());
        let (seen, mut body) = whole::<u8>(&path).unwrap();
        assert_eq!((&seen, glance::<u8>(&path)), (&record(), Some(record())));
        let mut bytes = [0; 7];
        body.read_exact(&mut bytes).unwrap();
        assert_eq!((&bytes, body.left()), (b"packets", 0));
        assert!(seen.fits(&blake3::hash(b"key"), 2));
        assert!(!seen.fits(&blake3::hash(b"key"), 3) && !seen.fits(&blake3::hash(b"yek"), 2));
        assert_eq!(seen.planes().unwrap(), [blake3::hash(b"one"), blake3::hash(b"two")]);
    }

    #[test]
    fn no_file_that_is_cut_short_or_changed_in_any_byte_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = written(folder.path());
        let bytes = std::fs::read(&path).unwrap();
        for length in 0..bytes.len() {
            std::fs::write(&path, &bytes[..length]).unwrap();
            assert!(whole::<u8>(&path).is_none(), "the first {length} bytes");
        }
        for at in 0..bytes.len() {
            let mut changed = bytes.clone();
            changed[at] ^= 0x10;
            std::fs::write(&path, &changed).unwrap();
            assert!(whole::<u8>(&path).is_none(), "byte {at} changed");
        }
        assert!(whole::<u8>(&folder.path().join("none")).is_none());
        assert!(whole::<u8>(folder.path()).is_none());
    }
}

//! Files hashed once a render is over: what it made, recordings, and stills that no run had hashed yet.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use crate::decode::whole::{Whole, whole};

/// What libx264 and its like write into the streams that they make: a word before their version, and what comes after
/// it.
const SIGNATURES: [(&str, &[u8], &[u8]); 2] = [("libx264", b"x264 - ", b" - "), ("libx265", b"x265 (build ", b")")];
/// The longest version that is believed, with the word before it.
const LONGEST: usize = 80;
/// Bytes of a file in which that is looked for.
const MOST_LOOKED_AT: u64 = 256 << 20;

/// A file that was hashed.
pub(super) struct Hashed {
    pub(super) bytes: u64,
    pub(super) blake3: blake3::Hash,
    /// The encoder that says in the file that it made it, with its version.
    pub(super) encoder: Option<(String, String)>,
}

/// Hashes a file. Gives none where `stop` is set meanwhile.
///
/// # Errors
/// What the disk says.
pub(super) fn hash(path: &Path, stop: &AtomicBool) -> io::Result<Option<Hashed>> {
    let (mut seen, mut looked_at, mut encoder) = (Vec::new(), 0, None);
    let whole = whole(path, false, &mut |piece| {
        looked_at += piece.len() as u64;
        // It stands before the first frame, perhaps behind an index, perhaps where two pieces meet.
        if encoder.is_none() && looked_at < MOST_LOOKED_AT {
            seen.drain(..seen.len().saturating_sub(LONGEST));
            seen.extend_from_slice(piece);
            encoder = signature(&seen);
        }
        !stop.load(Ordering::Relaxed)
    })?;
    Ok(whole.map(|Whole { bytes, blake3, .. }| Hashed { bytes, blake3, encoder }))
}

/// Hashes the files of a folder of frames, and then their hashes, in order.
///
/// # Errors
/// What the disk says.
pub(super) fn hash_all(frames: &[PathBuf], stop: &AtomicBool) -> io::Result<Option<Hashed>> {
    let mut all = blake3::Hasher::new();
    let mut bytes = 0;
    for frame in frames {
        let Some(hashed) = hash(frame, stop)? else { return Ok(None) };
        all.update(hashed.blake3.as_bytes());
        bytes += hashed.bytes;
    }
    Ok(Some(Hashed { bytes, blake3: all.finalize(), encoder: None }))
}

/// The encoder that a piece of a file tells of.
fn signature(piece: &[u8]) -> Option<(String, String)> {
    SIGNATURES.iter().find_map(|(name, before, after)| {
        let at = find(piece, before)? + before.len();
        let rest = &piece[at..piece.len().min(at + LONGEST)];
        let version = std::str::from_utf8(&rest[..find(rest, after)?]).ok()?;
        let plain = !version.is_empty() && version.bytes().all(|byte| byte.is_ascii_graphic() || byte == b' ');
        plain.then(|| ((*name).to_owned(), version.to_owned()))
    })
}

fn find(within: &[u8], what: &[u8]) -> Option<usize> {
    let first = what[0];
    let mut at = 0;
    while let Some(next) = within[at..].iter().position(|byte| *byte == first) {
        at += next;
        if within[at..].starts_with(what) {
            return Some(at);
        }
        at += 1;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_files_own_word_of_its_encoder_is_found() {
        let said = |bytes: &[u8]| signature(bytes).map(|(name, version)| format!("{name} {version}"));
        assert_eq!(
            said(b"\0\xFFx264 - core 164 r3095 baee400 - H.264").as_deref(),
            Some("libx264 core 164 r3095 baee400")
        );
        assert_eq!(said(b"xx265 (build 199) - 3.5").as_deref(), Some("libx265 199"));
        assert_eq!(said(b"x264 - \0\xFF - "), None);
        assert_eq!(said(b"x264 - core"), None);
        assert_eq!(said(b"x26"), None);
    }

    #[test]
    fn what_is_read_is_hashed_whole_and_a_stop_is_heard() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("file");
        let bytes: Vec<u8> = (0..3 * (1 << 20) + 7_usize).map(|at| at.to_le_bytes()[1]).collect();
        std::fs::write(&path, &bytes).unwrap();
        let (go, stop) = (AtomicBool::new(false), AtomicBool::new(true));
        let hashed = hash(&path, &go).unwrap().unwrap();
        assert_eq!((hashed.bytes, hashed.blake3), (bytes.len() as u64, blake3::hash(&bytes)));
        assert!(hash(&path, &stop).unwrap().is_none());
        assert!(hash(folder.path(), &go).is_err() && hash(&folder.path().join("none"), &go).is_err());
        let both = hash_all(&[path.clone(), path], &go).unwrap().unwrap();
        let one = blake3::hash(&bytes);
        assert_eq!(both.blake3, blake3::Hasher::new().update(one.as_bytes()).update(one.as_bytes()).finalize());
    }
}

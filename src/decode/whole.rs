//! Whole files by their hashes: what a receipt is held against.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use sha2::{Digest as _, Sha256};

/// A whole file's length and BLAKE3, with its SHA-256 where asked for. `read` is given the bytes piece by piece, in
/// order, and says whether to go on; where not, there is nothing.
///
/// # Errors
/// What the operating system says; or that it is no regular file.
pub fn whole(path: &Path, sha: bool, read: &mut dyn FnMut(&[u8]) -> bool) -> std::io::Result<Option<Whole>> {
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
        if !read(&piece[..count]) {
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

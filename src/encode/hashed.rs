//! A file that is hashed while it is written.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Writes to a new file and hashes what it writes.
pub(super) struct Hashed {
    file: BufWriter<File>,
    hasher: blake3::Hasher,
}

impl Hashed {
    /// A file that is not there yet.
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        Ok(Self { file: BufWriter::new(File::create_new(path)?), hasher: blake3::Hasher::new() })
    }

    /// BLAKE3 of what was written.
    pub(super) fn hash(&self) -> blake3::Hash {
        self.hasher.finalize()
    }
}

impl Write for Hashed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hasher.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

//! One frame as a JPEG: baseline, 4:4:4, with a JFIF marker, which means full-range BT.601 Y'CbCr of sRGB.

use std::io::Write as _;
use std::path::Path;

use super::hashed::Hashed;
use super::temporary::disk;
use crate::ffi::jpeg;
use crate::units::Size;
use crate::work::SinkError;

/// How messages name it.
pub(super) const NAME: &str = "JPEG";
/// Longest side (ITU-T T.81, B.2.2: two bytes; libjpeg stops a little before).
pub(super) const LONGEST: u32 = 65_500;

/// One file; BLAKE3 of its bytes.
pub(super) fn write_file(path: &Path, size: Size, quality: u8, samples: &[u8]) -> Result<blake3::Hash, SinkError> {
    let bytes = jpeg::encode_rgb(samples, size, quality, (1, 1), &[]);
    let write = || -> std::io::Result<blake3::Hash> {
        let mut file = Hashed::create(path)?;
        file.write_all(&bytes)?;
        file.flush()?;
        Ok(file.hash())
    };
    write().map_err(|source| disk(path, source))
}

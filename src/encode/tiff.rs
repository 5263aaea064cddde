//! One frame as a TIFF: R'G'B' of 16 bits, deflated.
//!
//! ## Decisions
//!
//! - Values are sRGB, which a reader of TIFF assumes where no profile is embedded (common practice, no source).

use std::io::{Cursor, Write as _};
use std::path::Path;

use tiff::encoder::{Compression, DeflateLevel, TiffEncoder, colortype::RGB16};

use super::hashed::Hashed;
use super::temporary::disk;
use crate::units::Size;
use crate::work::SinkError;

/// How messages name it.
pub(super) const NAME: &str = "TIFF";
/// Bytes that offsets of 32 bits reach, with room for what is not samples.
const MOST_BYTES: u64 = (1 << 32) - (1 << 24);

/// The longest side where the other is this one's: a file has 4 GiB.
pub(super) fn longest(size: Size) -> u32 {
    let shorter = u64::from(size.width.min(size.height)).max(1);
    u32::try_from(MOST_BYTES / (6 * shorter)).unwrap_or(u32::MAX)
}

/// One file; BLAKE3 of its bytes. Samples are little-endian.
pub(super) fn write_file(path: &Path, size: Size, samples: &[u8]) -> Result<blake3::Hash, SinkError> {
    // The encoder goes back to what it has written, which a hash cannot.
    let mut bytes = Cursor::new(Vec::new());
    let mut encoded = || -> tiff::TiffResult<()> {
        let deflate = Compression::Deflate(DeflateLevel::Fast);
        let mut encoder = TiffEncoder::new(&mut bytes)?.with_compression(deflate);
        let samples: Vec<u16> = samples.as_chunks().0.iter().map(|sample| u16::from_le_bytes(*sample)).collect();
        encoder.write_image::<RGB16>(size.width, size.height, &samples)
    };
    encoded().map_err(|error| SinkError::Encoder { codec: NAME, message: error.to_string() })?;
    let write = || -> std::io::Result<blake3::Hash> {
        let mut file = Hashed::create(path)?;
        file.write_all(bytes.get_ref())?;
        file.flush()?;
        Ok(file.hash())
    };
    write().map_err(|source| disk(path, source))
}

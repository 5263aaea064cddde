//! One frame as a PNG: R'G'B' of 16 or 8 bits, marked sRGB.

use std::io::Write as _;
use std::path::Path;

use super::hashed::Hashed;
use super::temporary::disk;
use crate::units::Size;
use crate::work::SinkError;

/// How messages name it.
pub(super) const NAME: &str = "PNG";
/// Longest side (PNG Specification, third edition, 11.2.1: a four-byte integer below 2^31).
pub(super) const LONGEST: u32 = (1 << 31) - 1;

/// One file; BLAKE3 of its bytes. Samples of 16 bits are big-endian.
pub(super) fn write_file(path: &Path, size: Size, depth: u8, samples: &[u8]) -> Result<blake3::Hash, SinkError> {
    let encoded = || -> Result<blake3::Hash, png::EncodingError> {
        let mut file = Hashed::create(path)?;
        let mut encoder = png::Encoder::new(&mut file, size.width, size.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(if depth == 8 { png::BitDepth::Eight } else { png::BitDepth::Sixteen });
        encoder.set_compression(png::Compression::Fast);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(samples)?;
        writer.finish()?;
        file.flush()?;
        Ok(file.hash())
    };
    encoded().map_err(|error| match error {
        png::EncodingError::IoError(source) => disk(path, source),
        other => SinkError::Encoder { codec: NAME, message: other.to_string() },
    })
}

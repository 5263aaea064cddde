//! A WebP's chunks (RFC 9649): size from the first, tags from the EXIF chunk, and the length the container promises.

use super::{Ending, Source, Tags, checked};
use crate::shoot::Damage;
use crate::units::Size;

/// The longest EXIF chunk taken.
const LONGEST_TAGS: u32 = 1 << 20;

/// Reads size, tags and ending; `tags` keeps what was read even where the rest fails.
pub(super) fn read(source: &mut Source, tags: &mut Tags) -> Result<(Size, Ending), Damage> {
    source.skip(4)?;
    let end = 8 + u64::from(u32::from_le_bytes(source.take()?));
    source.skip(4)?;
    let mut size = None;
    let mut position = 12;
    while position + 8 <= end.min(source.length) {
        let (name, length) = (source.take::<4>()?, u32::from_le_bytes(source.take()?));
        let padded = u64::from(length) + u64::from(length & 1);
        let mut used = 0;
        match &name {
            b"VP8X" if size.is_none() => {
                let [_, _, _, _, w0, w1, w2, h0, h1, h2] = source.take()?;
                used = 10;
                size = Some(checked(1 + u32::from_le_bytes([w0, w1, w2, 0]), 1 + u32::from_le_bytes([h0, h1, h2, 0]))?);
            }
            b"VP8 " if size.is_none() => {
                let [_, _, _, _, _, _, w0, w1, h0, h1] = source.take()?;
                used = 10;
                let side = |low, high| u32::from(u16::from_le_bytes([low, high]) & 0x3fff);
                size = Some(checked(side(w0, w1), side(h0, h1))?);
            }
            b"VP8L" if size.is_none() => {
                let [_, b0, b1, b2, b3] = source.take()?;
                used = 5;
                let bits = u32::from_le_bytes([b0, b1, b2, b3]);
                size = Some(checked(1 + (bits & 0x3fff), 1 + (bits >> 14 & 0x3fff))?);
            }
            b"ANIM" => return Err(Damage::Unsupported("animated WebP is not read".to_owned())),
            b"EXIF" if length <= LONGEST_TAGS && position + 8 + u64::from(length) <= source.length => {
                let block = source.take_many(length.into())?;
                used = length.into();
                tags.take_exif(block.strip_prefix(b"Exif\0\0").unwrap_or(&block));
            }
            _ => {}
        }
        source.skip(padded.saturating_sub(used))?;
        position += 8 + padded;
    }
    let size = size.ok_or_else(|| Damage::Corrupt("it has no picture chunk".to_owned()))?;
    let ending = match source.length.checked_sub(end) {
        None => Ending::Open,
        Some(0) => Ending::Whole,
        Some(more) => Ending::Trailing(more),
    };
    Ok((size, ending))
}

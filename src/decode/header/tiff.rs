//! A TIFF's first directory: size, tags, and whether the strips or tiles it names lie inside the file (TIFF 6.0).

use std::io::{Read, Seek};

use ::tiff::TiffError;
use ::tiff::decoder::{Decoder, ifd::Value};
use ::tiff::tags::{IfdPointer, Tag};

use super::{Ending, Source, Tags, checked, fault};
use crate::decode::body::Body;
use crate::decode::exif::{self, Moment};
use crate::shoot::{Damage, Orientation};
use crate::units::Size;

/// Exif's body serial number.
const BODY_SERIAL_NUMBER: u16 = 0xA431;

/// Reads size, tags and ending; `tags` keeps what was read even where the rest fails.
pub(super) fn read(source: Source, tags: &mut Tags) -> Result<(Size, Ending), Damage> {
    let length = source.length;
    let mut decoder = Decoder::new(source.reader).map_err(damage)?;
    if let Ok(Some(tag)) = decoder.find_tag_unsigned::<u32>(Tag::Orientation) {
        tags.orientation = Orientation::from_tag(tag);
    }
    (tags.captured, tags.body) = told(&mut decoder);
    let (width, height) = decoder.dimensions().map_err(damage)?;
    let size = checked(width, height)?;
    let mut end = 0;
    for (offsets, counts) in [(Tag::StripOffsets, Tag::StripByteCounts), (Tag::TileOffsets, Tag::TileByteCounts)] {
        let offsets = decoder.find_tag_unsigned_vec::<u64>(offsets).map_err(damage)?.unwrap_or_default();
        let counts = decoder.find_tag_unsigned_vec::<u64>(counts).map_err(damage)?.unwrap_or_default();
        let ends = offsets.iter().zip(&counts).map(|(offset, count)| offset.saturating_add(*count));
        end = ends.max().unwrap_or(0).max(end);
    }
    Ok((size, if end > length { Ending::Open } else { Ending::Whole }))
}

/// When it was taken, and by which camera.
fn told<R: Read + Seek>(decoder: &mut Decoder<R>) -> (Option<crate::shoot::Captured>, Option<Body>) {
    let mut texts = Vec::new();
    if let Ok(Some(Value::Ascii(text))) = decoder.find_tag(Tag::DateTime) {
        texts.push((exif::DATE_TIME, text));
    }
    let mut ascii = |tag| match decoder.find_tag(tag) {
        Ok(Some(Value::Ascii(text))) => Some(text.into_bytes()),
        _ => None,
    };
    let (make, model) = (ascii(Tag::Make), ascii(Tag::Model));
    let mut serial = None;
    if let Ok(Some(pointer)) = decoder.find_tag_unsigned::<u64>(Tag::ExifDirectory)
        && let Ok(directory) = decoder.read_directory(IfdPointer(pointer))
    {
        let mut read = decoder.read_directory_tags(&directory);
        for tag in exif::MOMENTS.iter().flat_map(Moment::tags) {
            if let Ok(Some(Value::Ascii(text))) = read.find_tag(Tag::from_u16_exhaustive(tag)) {
                texts.push((tag, text));
            }
        }
        if let Ok(Some(Value::Ascii(text))) = read.find_tag(Tag::from_u16_exhaustive(BODY_SERIAL_NUMBER)) {
            serial = Some(text.into_bytes());
        }
    }
    let of = |tag| texts.iter().find(|(of, _)| *of == tag).map(|(_, text)| text.clone().into_bytes());
    (exif::captured(of), Body::of(make, model, serial))
}

fn damage(error: TiffError) -> Damage {
    match error {
        TiffError::IoError(error) => fault(&error),
        TiffError::UnsupportedError(what) => Damage::Unsupported(format!("a TIFF of a kind that is not read: {what}")),
        other => Damage::Corrupt(other.to_string()),
    }
}

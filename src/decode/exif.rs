//! The few EXIF fields that change what a still's values mean.

use std::path::Path;

use exif::{Exif, In, Reader, Tag, Value};

/// What EXIF says of a still's values. The default is what holds without EXIF.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Meaning {
    /// `YCbCrPositioning` is 2: chroma samples sit on luma samples.
    pub(super) co_sited: bool,
    /// The values are Adobe RGB (1998).
    pub(super) adobe_rgb: bool,
    /// The values are sRGB in so many words.
    pub(super) srgb: bool,
}

/// Reads an EXIF block: the TIFF structure alone, without the `Exif` head of a JPEG segment. Broken parts are passed over.
///
/// Adobe RGB shows in one of three ways: interoperability index `R03` (DCF 2.0, optional file), colour space 2 (written by
/// some cameras; from memory), or an uncalibrated colour space and a file name that starts with `_` (DCF 2.0).
pub(super) fn meaning(block: &[u8], path: &Path) -> Meaning {
    let read = Reader::new().continue_on_error(true).read_raw(block.to_vec());
    let Ok(exif) = read.or_else(|error| error.distill_partial_result(|_| ())) else { return Meaning::default() };
    let space = number(&exif, Tag::ColorSpace);
    let marked_by_name = || path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(b"_"));
    let adobe_rgb = index_is_r03(&exif) || space == Some(2) || (space == Some(0xFFFF) && marked_by_name());
    let co_sited = number(&exif, Tag::YCbCrPositioning) == Some(2);
    Meaning { co_sited, adobe_rgb, srgb: !adobe_rgb && space == Some(1) }
}

fn number(exif: &Exif, tag: Tag) -> Option<u32> {
    exif.get_field(tag, In::PRIMARY)?.value.get_uint(0)
}

fn index_is_r03(exif: &Exif) -> bool {
    let field = exif.get_field(Tag::InteroperabilityIndex, In::PRIMARY);
    field.is_some_and(|field| match &field.value {
        Value::Ascii(parts) => parts.first().is_some_and(|index| index.starts_with(b"R03")),
        _ => false,
    })
}

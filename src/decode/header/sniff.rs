//! What a file is by its first bytes ("magic numbers" of the formats' own specifications, and common practice for
//! text).

use super::{Kind, UNKNOWN, VIDEO};
use crate::shoot::Format;

/// First bytes, where they stand, and what they mean; the first that fits wins.
const SIGNATURES: &[(usize, &[u8], Kind)] = &[
    (0, b"\xff\xd8\xff", Kind::Picture(Format::Jpeg)),
    (0, b"\x89PNG\r\n\x1a\n", Kind::Picture(Format::Png)),
    (0, b"II*\0", Kind::Picture(Format::Tiff)),
    (0, b"MM\0*", Kind::Picture(Format::Tiff)),
    (0, b"II+\0", Kind::Picture(Format::Tiff)),
    (0, b"MM\0+", Kind::Picture(Format::Tiff)),
    (0, b"GIF8", Kind::OtherPicture("GIF")),
    (0, b"BM", Kind::OtherPicture("BMP")),
    (0, b"\xff\x0a", Kind::OtherPicture("JPEG XL")),
    (0, b"\0\0\0\x0cJXL \r\n", Kind::OtherPicture("JPEG XL")),
    (0, b"\0\0\0\x0cjP  \r\n", Kind::OtherPicture("JPEG 2000")),
    (0, b"8BPS", Kind::OtherPicture("layered")),
    (0, b"\x1a\x45\xdf\xa3", Kind::Other(VIDEO)),
    // MPEG's program stream begins with a pack (ISO/IEC 13818-1, 2.5.3.3), MXF with a partition (SMPTE ST 377-1, 7.1).
    (0, b"\0\0\x01\xba", Kind::Other(VIDEO)),
    (0, b"\x06\x0e\x2b\x34\x02\x05\x01\x01\x0d\x01\x02\x01\x01", Kind::Other(VIDEO)),
    (0, b"%PDF", Kind::Other("a PDF document")),
    (0, b"PK\x03\x04", Kind::Other("a ZIP archive")),
    (0, b"\x1f\x8b", Kind::Other("a gzip archive")),
    (0, b"\0\x05\x16\x07", Kind::Other("the resource fork of another file")),
];

/// What the file is whose first bytes these are.
pub(super) fn kind(first: &[u8]) -> Kind {
    if first.is_empty() {
        return Kind::Empty;
    }
    if let Some((_, _, kind)) =
        SIGNATURES.iter().find(|(at, bytes, _)| first.get(*at..).is_some_and(|rest| rest.starts_with(bytes)))
    {
        return kind.clone();
    }
    if first.starts_with(b"RIFF") {
        return match first.get(8..12) {
            Some(b"WEBP") => Kind::Picture(Format::Webp),
            Some(b"AVI ") => Kind::Other(VIDEO),
            _ => Kind::Other("a RIFF file of another kind"),
        };
    }
    match first.get(4..8) {
        Some(b"ftyp") => return boxed(first),
        // QuickTime before it had brands.
        Some(b"moov" | b"mdat" | b"wide" | b"skip" | b"free" | b"pnot") => return Kind::Other(VIDEO),
        _ => {}
    }
    if is_transport_stream(first) { Kind::Other(VIDEO) } else { text(first) }
}

/// Whether packets of MPEG's transport stream follow each other: 188 bytes each, the first one 0x47 (ISO/IEC 13818-1,
/// 2.4.3.2), as cameras write them after 4 bytes of time, or before 16 of correction.
fn is_transport_stream(first: &[u8]) -> bool {
    const PACKETS: usize = 4;
    [(0, 188), (4, 192), (0, 204)].into_iter().any(|(start, length)| {
        let mut marks = (0..PACKETS).map(|packet| first.get(start + packet * length));
        marks.all(|mark| mark == Some(&0x47))
    })
}

/// What a file of boxes is by the brands it bears (ISO/IEC 14496-12, 4.3; 23008-12, 10.2; AVIF 1.1, section 6): the
/// first is its own, the others are those it may be read as.
fn boxed(first: &[u8]) -> Kind {
    let length = first.first_chunk().map_or(0, |length| u32::from_be_bytes(*length)) as usize;
    let listed = first.get(16..length.min(first.len())).unwrap_or_default();
    let bears = |brand: &[u8; 4]| listed.as_chunks::<4>().0.contains(brand);
    match first.get(8..12) {
        Some(b"avif") => Kind::Picture(Format::Avif),
        Some(b"heic" | b"heix" | b"heim" | b"heis") => Kind::Picture(Format::Heic),
        Some(b"mif1" | b"mif2" | b"miaf") if bears(b"avif") => Kind::Picture(Format::Avif),
        Some(b"mif1" | b"mif2" | b"miaf") => Kind::Picture(Format::Heic),
        Some(b"avis" | b"hevc" | b"hevx" | b"msf1") => Kind::OtherPicture("moving HEIC or AVIF"),
        _ => Kind::Other(VIDEO),
    }
}

/// What a file without a signature is, by how it reads.
fn text(first: &[u8]) -> Kind {
    let first = &first[..first.len().min(1024)];
    if first.iter().all(|byte| *byte == 0) {
        return Kind::Other("nothing but zero bytes");
    }
    if first.iter().any(|byte| *byte < 32 && !b"\t\n\r\x0c\x1b".contains(byte)) {
        return Kind::Other(UNKNOWN);
    }
    let words = String::from_utf8_lossy(first).trim_start_matches('\u{feff}').trim_start().to_ascii_lowercase();
    let starts = |openings: &[&str]| openings.iter().any(|opening| words.starts_with(opening));
    if starts(&["<!doctype html", "<html", "<head", "<body"]) || words.contains("<html") {
        Kind::Other("an HTML page")
    } else if starts(&["<svg"]) || (starts(&["<?xml"]) && words.contains("<svg")) {
        Kind::OtherPicture("SVG")
    } else if starts(&["<"]) {
        Kind::Other("an XML text")
    } else if starts(&["{", "["]) {
        Kind::Other("a JSON text")
    } else if starts(&["http/"]) {
        Kind::Other("a web server's answer")
    } else if std::str::from_utf8(first).map_or_else(|error| error.error_len().is_none(), |_text| true) {
        Kind::Other("a text")
    } else {
        Kind::Other(UNKNOWN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_saved_by_a_webcam_script_is_called_a_page() {
        assert_eq!(kind(b"\r\n<!DOCTYPE html><title>502</title>"), Kind::Other("an HTML page"));
        assert_eq!(kind(b"{\"error\": 1}"), Kind::Other("a JSON text"));
        assert_eq!(kind("Kamera außer Betrieb".as_bytes()), Kind::Other("a text"));
    }

    #[test]
    fn pictures_are_told_by_their_signatures() {
        assert_eq!(kind(b"\xff\xd8\xff\xe1"), Kind::Picture(Format::Jpeg));
        assert_eq!(kind(b"RIFF\x10\0\0\0WEBPVP8 "), Kind::Picture(Format::Webp));
        assert_eq!(kind(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), Kind::Picture(Format::Heic));
        assert_eq!(kind(b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif"), Kind::Picture(Format::Avif));
        assert_eq!(kind(b"\0\0\0\x14ftypqt  \0\0\0\0qt  "), Kind::Other(VIDEO));
        assert_eq!(kind(b"\0\0\x01\xba\x44"), Kind::Other(VIDEO));
        assert_eq!(kind(b"\0\0\0\x08wide\0\0\0\0mdat"), Kind::Other(VIDEO));
        for (before, length) in [(0, 188), (4, 192)] {
            let mut stream = vec![0; 5 * length];
            stream.iter_mut().skip(before).step_by(length).for_each(|byte| *byte = 0x47);
            assert_eq!(kind(&stream), Kind::Other(VIDEO));
            stream[before + length] = 0;
            assert_eq!(kind(&stream), Kind::Other(UNKNOWN));
        }
        assert_eq!(kind(b"GIF89a"), Kind::OtherPicture("GIF"));
        assert_eq!(kind(&[0; 64]), Kind::Other("nothing but zero bytes"));
        assert_eq!(kind(b"RIFF"), Kind::Other("a RIFF file of another kind"));
        assert_eq!(kind(b""), Kind::Empty);
    }
}

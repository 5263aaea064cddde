//! The segments of a JPEG file before its picture data (ITU-T T.81, annex B).

use std::io::{self, Read};

/// The marker that ends a picture.
pub(crate) const END_OF_IMAGE: u8 = 0xD9;
/// The marker that begins a scan, and with it picture data.
pub(crate) const START_OF_SCAN: u8 = 0xDA;

/// Start of frame with arithmetic coding, sequential and progressive.
const ARITHMETIC: [u8; 2] = [0xC9, 0xCA];

/// A marker, and what its segment says of its length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Marker {
    /// Its second byte; the first is 0xFF.
    pub(crate) code: u8,
    /// The length of its segment as the file gives it, the two bytes of the length included; none of markers that stand
    /// alone.
    pub(crate) length: Option<u16>,
}

/// Reads on to the next marker outside of picture data; what stands before its 0xFF is passed over, as decoders do.
///
/// # Errors
/// Where the file ends first, or cannot be read.
pub(crate) fn next_marker(file: &mut impl Read) -> io::Result<Marker> {
    let mut byte = || {
        let mut byte = [0];
        file.read_exact(&mut byte).map(|()| byte[0])
    };
    let code = loop {
        while byte()? != 0xFF {}
        let code = loop {
            match byte()? {
                0xFF => {}
                code => break code,
            }
        };
        if code != 0 {
            break code;
        }
    };
    let length =
        if matches!(code, 0x01 | 0xD0..=END_OF_IMAGE) { None } else { Some(u16::from_be_bytes([byte()?, byte()?])) };
    Ok(Marker { code, length })
}

/// The segments of `file` up to the first scan: each marker's code and body. Ends quietly where the file does, or where
/// it is no JPEG. A length that is none is passed over, as libjpeg does.
pub(crate) fn segments(file: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    let mut rest = file.strip_prefix(&[0xFF, 0xD8]).unwrap_or_default();
    std::iter::from_fn(move || {
        let Marker { code, length } = next_marker(&mut rest).ok()?;
        if matches!(code, END_OF_IMAGE | START_OF_SCAN) {
            return None;
        }
        let (body, after) = rest.split_at_checked(length.unwrap_or(0).saturating_sub(2).into())?;
        rest = after;
        Some((code, body))
    })
}

/// Whether the file's picture is arithmetic-coded.
pub(super) fn arithmetic(file: &[u8]) -> bool {
    segments(file).any(|(code, _)| ARITHMETIC.contains(&code))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stray_and_filling_bytes_lone_markers_and_bad_lengths_are_passed_over() {
        let file = b"\xFF\xD8\x07\xFF\x00\xFF\xFF\xE1\x00\x04ab\xFF\x01\xFF\xE2\x00\x00\xFF\xDB\x00\x03c\xFF\xDA\x00\x02\xFF\xE1\x00\x02";
        let due: [(u8, &[u8]); 4] = [(0xE1, b"ab"), (0x01, b""), (0xE2, b""), (0xDB, b"c")];
        assert_eq!(segments(file).collect::<Vec<_>>(), due);
        assert_eq!(segments(&file[..20]).collect::<Vec<_>>(), due[..3], "cut short inside the last");
        assert_eq!(segments(b"GIF89a").count(), 0);
    }
}

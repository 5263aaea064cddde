//! The segments of a JPEG file before its picture data.

/// Start of frame with arithmetic coding, sequential and progressive.
const ARITHMETIC: [u8; 2] = [0xC9, 0xCA];

/// The segments of `file` up to the first scan: each marker's code and body. Ends quietly where the file does, or where it
/// is no JPEG.
pub(crate) fn segments(file: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    let mut rest = file.strip_prefix(&[0xFF, 0xD8]).unwrap_or_default();
    std::iter::from_fn(move || {
        // Bytes between segments do not belong there, yet libjpeg passes over them too.
        let start = rest.windows(2).position(|pair| pair[0] == 0xFF && !matches!(pair[1], 0x00 | 0xFF))?;
        let code = rest[start + 1];
        if matches!(code, 0xD9 | 0xDA) {
            return None;
        }
        rest = &rest[start + 2..];
        if matches!(code, 0x01 | 0xD0..=0xD8) {
            return Some((code, &[][..]));
        }
        let length = usize::from(u16::from_be_bytes([*rest.first()?, *rest.get(1)?]));
        let body = rest.get(2..length.max(2))?;
        rest = &rest[length.max(2)..];
        Some((code, body))
    })
}

/// Whether the file's picture is arithmetic-coded.
pub(super) fn arithmetic(file: &[u8]) -> bool {
    segments(file).any(|(code, _)| ARITHMETIC.contains(&code))
}

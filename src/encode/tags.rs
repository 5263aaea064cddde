//! What a finished file says of its colours, read back.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Read as _};
use std::path::Path;

use super::recipe::Container;
use crate::decode::clip::frame_in;
use crate::ffi::ffmpeg::Colour;
use crate::shot::Codec;

/// `primaries`, `transfer`, `matrix` and `range` of a finished output by FFmpeg's names for them, those that its
/// container or its stream tells; both, where they contradict one another. Of a sequence, what the first file says:
/// PNG's sRGB mark, or JPEG's JFIF marker.
///
/// # Errors
/// Where it cannot be read.
pub fn tags(codec: &Codec, path: &Path) -> io::Result<BTreeMap<String, String>> {
    match codec {
        Codec::Png(_) => {
            let file = BufReader::new(File::open(frame_in(path, 0, "png"))?);
            let reader = png::Decoder::new(file).read_info().map_err(io::Error::other)?;
            let marked = reader.info().srgb.is_some();
            Ok(told(SRGB).filter(|_| marked).collect())
        }
        Codec::Jpeg(_) => {
            let mut head = [0; 11];
            File::open(frame_in(path, 0, "jpg"))?.read_exact(&mut head)?;
            // A JFIF marker right at the start (ITU-T T.871, 10.1) means BT.601's matrix, full range.
            let jfif = head[..4] == [0xFF, 0xD8, 0xFF, 0xE0] && head[6..] == *b"JFIF\0";
            let words =
                [("primaries", "bt709"), ("transfer", "iec61966-2-1"), ("matrix", "smpte170m"), ("range", "pc")];
            Ok(told(words).filter(|_| jfif).collect())
        }
        Codec::Tiff => Ok(BTreeMap::new()),
        Codec::H264(_) | Codec::Hevc(_) | Codec::Av1(_) | Codec::Prores(_) | Codec::Dnxhr | Codec::Ffv1(_) => {
            let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
            let container = if ending == Container::Matroska.ending() { Container::Matroska } else { Container::Mp4 };
            let [container, stream] = container.colours(path).map_err(io::Error::other)?;
            Ok(merged(container, stream))
        }
    }
}

/// What PNG's sRGB mark means (PNG Specification, third edition, 11.3.2.5).
const SRGB: [(&str, &str); 4] =
    [("primaries", "bt709"), ("transfer", "iec61966-2-1"), ("matrix", "gbr"), ("range", "pc")];

fn told(words: [(&str, &str); 4]) -> impl Iterator<Item = (String, String)> {
    words.into_iter().map(|(name, tag)| (name.to_owned(), tag.to_owned()))
}

fn merged(container: Colour, stream: Colour) -> BTreeMap<String, String> {
    let pairs = [
        ("primaries", container.primaries, stream.primaries),
        ("transfer", container.transfer, stream.transfer),
        ("matrix", container.matrix, stream.matrix),
        ("range", container.range, stream.range),
    ];
    let told = |(name, container, stream): (&str, Option<String>, Option<String>)| {
        let tag = match (container, stream) {
            (Some(container), Some(stream)) if container != stream => {
                format!("{container} (container), {stream} (stream)")
            }
            (container, stream) => container.or(stream)?,
        };
        Some((name.to_owned(), tag))
    };
    pairs.into_iter().filter_map(told).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_that_contradict_one_another_are_both_told() {
        let colour = |matrix: &str, range: Option<&str>| Colour {
            primaries: None,
            transfer: None,
            matrix: Some(matrix.into()),
            range: range.map(Into::into),
        };
        let told = |container, stream| merged(container, stream).into_iter().collect::<Vec<_>>();
        let entry = |name: &str, tag: &str| (name.to_owned(), tag.to_owned());
        assert_eq!(
            told(colour("bt709", None), colour("bt709", Some("tv"))),
            [entry("matrix", "bt709"), entry("range", "tv")]
        );
        let both = "bt709 (container), bt470bg (stream)";
        assert_eq!(told(colour("bt709", None), colour("bt470bg", None)), [entry("matrix", both)]);
    }
}

//! What a finished file says of its colours, read back.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader};
use std::path::Path;

use super::temporary::frame_in;
use crate::ffi::ffmpeg::{self, Colour};
use crate::shot::Codec;

/// `primaries`, `transfer`, `matrix` and `range` of a finished output by FFmpeg's names for them, those that its
/// container or its stream tells; both, where they contradict one another. Of a sequence, what the first file's sRGB
/// mark means.
///
/// # Errors
/// Where it cannot be read.
pub fn tags(codec: &Codec, path: &Path) -> io::Result<BTreeMap<String, String>> {
    match codec {
        Codec::H264(_) => {
            let [container, stream] = ffmpeg::colours(path, "mov").map_err(io::Error::other)?;
            Ok(merged(container, stream))
        }
        Codec::Ffv1 | Codec::Hevc(_) => {
            let [container, stream] = ffmpeg::colours(path, "matroska").map_err(io::Error::other)?;
            Ok(merged(container, stream))
        }
        Codec::Png => {
            let file = BufReader::new(File::open(frame_in(path, 0))?);
            let reader = png::Decoder::new(file).read_info().map_err(io::Error::other)?;
            // PNG Specification, third edition, 11.3.2.5.
            let srgb = [("primaries", "bt709"), ("transfer", "iec61966-2-1"), ("matrix", "gbr"), ("range", "pc")];
            let marked = reader.info().srgb.is_some();
            Ok(srgb.into_iter().filter(|_| marked).map(|(name, tag)| (name.to_owned(), tag.to_owned())).collect())
        }
    }
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

//! What a render was made with, as far as programs and libraries tell.

use std::collections::{BTreeMap, BTreeSet};

use crate::encode;
use crate::receipt::Versions;
use crate::shoot::{Content, Format, Shoot};
use crate::shot::Codec;

/// The versions of the crates that the program was built of.
const LOCK: &str = include_str!("../../../Cargo.lock");

/// The version of a crate.
fn built_with(name: &str) -> String {
    let head = format!("name = \"{name}\"\nversion = \"");
    let version = LOCK.split(&head).nth(1).and_then(|rest| rest.split('"').next());
    version.map_or_else(|| name.to_owned(), |version| format!("{name} {version}"))
}

/// This program's, FFmpeg's, and those of the codecs that these shoots and deliveries need. `encoders` are what files
/// say that they were encoded with.
pub(super) fn versions<'a>(
    shoots: &[Shoot],
    codecs: impl Iterator<Item = &'a Codec>,
    encoders: BTreeMap<String, String>,
) -> Versions {
    let ffmpeg = encode::versions();
    let mut codecs: BTreeMap<String, String> = codecs
        .filter_map(|codec| match codec {
            Codec::Png(_) => Some(("png".to_owned(), built_with("png"))),
            Codec::Tiff => Some(("tiff".to_owned(), built_with("tiff"))),
            Codec::Jpeg(_) => Some(("jpeg".to_owned(), built_with("mozjpeg-sys"))),
            // It is FFmpeg that calls it, and the file that tells.
            Codec::H264(_) | Codec::Hevc(_) => None,
            Codec::Av1(_) | Codec::Prores(_) | Codec::Dnxhr | Codec::Ffv1(_) => {
                Some((codec.name().to_owned(), ffmpeg.codecs.clone()))
            }
        })
        .collect();
    for shoot in shoots {
        for recording in shoot.recordings().filter_map(|(_, recording)| recording) {
            codecs.insert(recording.codec.clone(), ffmpeg.codecs.clone());
        }
        let formats: BTreeSet<&str> = shoot.slots.iter().filter_map(|slot| decoder(&slot.content)).collect();
        for format in formats {
            let version = match format {
                "jpeg" => built_with("mozjpeg-sys"),
                "png" => built_with("png"),
                "tiff" => built_with("tiff"),
                "webp" => built_with("image-webp"),
                _ => ffmpeg.codecs.clone(),
            };
            codecs.insert(format.to_owned(), version);
        }
    }
    codecs.extend(encoders);
    Versions { stillpath: env!("CARGO_PKG_VERSION").into(), ffmpeg: ffmpeg.release, codecs }
}

fn decoder(content: &Content) -> Option<&'static str> {
    let Content::Whole(still) = content else { return None };
    Some(match still.format {
        Format::Jpeg => "jpeg",
        Format::Png => "png",
        Format::Tiff => "tiff",
        Format::Webp => "webp",
        Format::Heic => "hevc",
        Format::Avif => "av1",
        Format::Frame => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_decoders_crates_are_found_in_the_list_of_what_was_built() {
        for name in ["mozjpeg-sys", "png", "tiff", "image-webp"] {
            let version = built_with(name);
            assert!(version.strip_prefix(name).is_some_and(|rest| rest.starts_with(' ')), "{version}");
        }
        assert_eq!(built_with("no-such-crate"), "no-such-crate");
    }
}

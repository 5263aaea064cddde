//! What a name says a file is for: the files a camera, a computer or a person puts beside stills.
//!
//! ## Decisions
//!
//! - Camera raw is not developed. What a raw still looks like is a choice (white balance, tone curve, highlights,
//!   noise). LibRaw gives its own plain rendering and not the camera's, brightens each file by its own histogram unless
//!   told not to, and Debian's 0.20 does not know cameras made since 2020; no maintained crate avoids that. Raw files
//!   are counted by kind, with what to do; their previews are not used.
//! - Raw files are no stills, so the JPEG beside one is. Of two kinds that are both read, `pairs` decides by content;
//!   the other is set aside with a reason. A still without such a twin stays, whatever its kind.

use std::path::Path;

use crate::decode::header::{self, Kind};

const STILLS: &[&str] = &["jpg", "jpeg", "jpe", "jfif", "png", "tif", "tiff", "webp", "heic", "heif", "hif", "avif"];
const RAW: &[&str] = &[
    "3fr", "arw", "cr2", "cr3", "crw", "dng", "erf", "iiq", "kdc", "mef", "mos", "mrw", "nef", "nrw", "orf", "pef",
    "raf", "raw", "rw2", "rwl", "sr2", "srf", "srw", "x3f",
];
const VIDEOS: &[&str] =
    &["3gp", "avi", "insv", "lrv", "m2ts", "m4v", "mkv", "mov", "mp4", "mpg", "mts", "mxf", "ts", "webm", "wmv"];
const SIDECARS: &[&str] = &[
    "aae", "cos", "csv", "ctg", "dat", "dop", "gpx", "htm", "html", "ini", "json", "log", "lua", "md", "md5", "mhl",
    "nmea", "pp3", "sha1", "sha256", "srt", "toml", "txt", "wav", "xml", "xmp", "yaml", "yml",
];
const THUMBNAILS: &[&str] = &["thm", "tmb", "tn"];
const THUMBNAIL_NAMES: &[&str] = &["thumb", "thumbs", "thumbnail", "thumbnails", "preview", "previews"];

/// The reasons that pictures which a camera took, and which are not read, are set aside with.
pub(super) const RAW_FILE: &str = "a raw file";
pub(super) const OTHER_PICTURE: &str = "a picture of a kind that is not read";

/// What to do with pictures set aside for a reason, where their kind is not read.
pub(super) fn instead(reason: &str) -> Option<&'static str> {
    match reason {
        RAW_FILE => Some("develop them to TIFF or JPEG, all in one way, or let the camera write a JPEG beside each"),
        OTHER_PICTURE => Some("turn them into PNG or TIFF first"),
        _ => None,
    }
}

/// The reason a recording is set aside with.
pub(super) const VIDEO: &str = header::VIDEO;

/// What a file's name alone says that it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// A still.
    Still,
    /// A camera's raw file.
    Raw,
    /// A video.
    Video,
    /// Anything else.
    Other,
}

/// What a file's name alone says that it is; it is not opened.
#[must_use]
pub fn by_name(path: &Path) -> Named {
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    let is = |list: &[&str]| list.contains(&extension.as_str());
    if thumbnail(&path.file_stem().unwrap_or_default().to_string_lossy()) {
        Named::Other
    } else if is(STILLS) {
        Named::Still
    } else if is(RAW) {
        Named::Raw
    } else if is(VIDEOS) {
        Named::Video
    } else {
        Named::Other
    }
}

/// Why a file is not taken for a still, or nothing where it is.
pub(super) fn file(path: &Path) -> Option<&'static str> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    if name.starts_with("._") {
        return Some("another system's resource fork");
    }
    if name.starts_with('.') {
        return Some("a hidden file");
    }
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    let is = |list: &[&str]| list.contains(&extension.as_str());
    if is(RAW) {
        Some(RAW_FILE)
    } else if is(VIDEOS) {
        Some(VIDEO)
    } else if is(SIDECARS) {
        Some("a sidecar")
    } else if is(THUMBNAILS) || thumbnail(&path.file_stem().unwrap_or_default().to_string_lossy()) {
        Some("a thumbnail")
    } else if is(STILLS) {
        None
    } else {
        match header::kind(path) {
            Ok(Kind::Picture(_)) => None,
            Ok(Kind::OtherPicture(_)) => Some(OTHER_PICTURE),
            Ok(Kind::Empty | Kind::Other(_)) => Some("not a picture"),
            Err(_) => Some("cannot be read, and not named as a picture"),
        }
    }
}

/// Why a file given by its own name is not taken for a still, or nothing where it is: there a still's extension is
/// enough.
pub(super) fn named(path: &Path) -> Option<&'static str> {
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    if STILLS.contains(&extension.as_str()) { None } else { file(path) }
}

/// Why a sub-folder is not searched, or nothing where it is.
pub(super) fn folder(name: &str) -> Option<&'static str> {
    if name.starts_with('.') {
        Some("a hidden folder")
    } else if THUMBNAIL_NAMES.iter().any(|thumbnail| name.eq_ignore_ascii_case(thumbnail)) {
        Some("a folder of thumbnails")
    } else {
        None
    }
}

/// Whether a stem's first or last word says thumbnail.
fn thumbnail(stem: &str) -> bool {
    let word = |word: Option<&str>| {
        word.is_some_and(|word| THUMBNAIL_NAMES.iter().any(|name| word.eq_ignore_ascii_case(name)))
    };
    let separators = ['_', '-', '.', ' '];
    word(stem.split(separators).next()) || word(stem.rsplit(separators).next())
}

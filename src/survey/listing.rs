//! What a survey would read, by names, sizes and times alone: whether one that was made is still good.

use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use super::{Request, find};
use crate::master;

/// What stood on the disk at one time. Two are equal where nothing that a survey reads was added, taken away or written
/// in between, as far as the system's own notes of files tell: sizes, times of writing and of any other change, and
/// which files they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Listing(blake3::Hash);

/// Lists what a survey of a request would read, without opening a file. `recorded` says that it is one recording.
#[must_use]
pub fn listing(request: &Request, recorded: bool) -> Listing {
    let mut listed = blake3::Hasher::new();
    if recorded {
        for written in &request.paths {
            let video = request.base.join(written);
            list(&video, &mut listed);
            list(&master::beside(&video), &mut listed);
        }
        return Listing(listed.finalize());
    }
    match find::find(request) {
        Ok(found) => {
            for (path, kind) in found
                .folders
                .iter()
                .map(|path| (path, "folder"))
                .chain(found.files.iter().map(|file| (&file.path, "still")))
            {
                listed.update(kind.as_bytes());
                list(path, &mut listed);
            }
            for file in &found.set_aside {
                add(&file.path, &mut listed);
                listed.update(file.reason.as_bytes());
            }
        }
        Err(mistakes) => {
            for mistake in &mistakes.0 {
                listed.update(mistake.message.as_bytes());
            }
        }
    }
    Listing(listed.finalize())
}

fn add(path: &Path, listed: &mut blake3::Hasher) {
    let name = path.as_os_str().as_encoded_bytes();
    listed.update(&name.len().to_le_bytes()).update(name);
}

fn list(path: &PathBuf, listed: &mut blake3::Hasher) {
    add(path, listed);
    let Ok(seen) = fs::metadata(path) else {
        listed.update(b"none");
        return;
    };
    // A folder's own times change with files that are none of the shoot's.
    let size = if seen.is_dir() {
        [0; 5]
    } else {
        [seen.mtime(), seen.mtime_nsec(), seen.ctime(), seen.ctime_nsec(), seen.size().cast_signed()]
    };
    for number in size.into_iter().chain([seen.dev().cast_signed(), seen.ino().cast_signed(), i64::from(seen.mode())]) {
        listed.update(&number.to_le_bytes());
    }
}

//! Paths as a receipt has them: seen from a folder, so that all of it can be moved together.

use std::ffi::OsStr;
use std::path::{Component, Path, PathBuf};

/// `path` as it is seen from `folder`, both seen from the working folder: relative where they share more than the root.
/// What is not there (a pattern, a file that is gone) keeps its words; links on the way to it are followed, and what it
/// is itself is not.
pub(in crate::session) fn seen_from(folder: &Path, path: &Path) -> PathBuf {
    if let Ok(below) = path.strip_prefix(folder)
        && below != Path::new("")
        && !below.components().any(|part| part == Component::ParentDir)
    {
        return below.to_owned();
    }
    let (Some(folder), Some(path)) = (real(folder), real_but_for_its_name(path)) else { return path.to_owned() };
    let shared = folder.components().zip(path.components()).take_while(|(one, other)| one == other).count();
    if shared <= 1 {
        return path;
    }
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    let seen: PathBuf = up.chain(path.components().skip(shared)).collect();
    if seen == Path::new("") { PathBuf::from(".") } else { seen }
}

/// The path with all links followed, as far as it is there.
fn real(path: &Path) -> Option<PathBuf> {
    let whole = std::path::absolute(path).ok()?;
    let mut rest: Vec<&OsStr> = Vec::new();
    let mut there = whole.as_path();
    loop {
        if let Ok(real) = there.canonicalize() {
            return Some(rest.iter().rev().fold(real, |path, name| path.join(name)));
        }
        rest.push(there.file_name()?);
        there = there.parent()?;
    }
}

fn real_but_for_its_name(path: &Path) -> Option<PathBuf> {
    match (path.parent(), path.file_name()) {
        (Some(parent), Some(name)) if parent == Path::new("") => Some(real(Path::new("."))?.join(name)),
        (Some(parent), Some(name)) => Some(real(parent)?.join(name)),
        _ => real(path),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_seen_from_where_they_are_read_links_and_all() {
        let folder = tempfile::tempdir().unwrap();
        let at = |below: &str| folder.path().join(below);
        std::fs::create_dir_all(at("job/stills")).unwrap();
        std::fs::create_dir_all(at("far/off/clips")).unwrap();
        std::fs::write(at("job/stills/A1.jpg"), "").unwrap();
        std::os::unix::fs::symlink(at("far/off"), at("job/link")).unwrap();
        let seen = |from: &str, path: &str| seen_from(&at(from), &at(path)).to_str().unwrap().to_owned();
        assert_eq!(seen("job", "job/stills/A1.jpg"), "stills/A1.jpg");
        assert_eq!(seen("far/off/clips", "job/stills/A1.jpg"), "../../../job/stills/A1.jpg");
        assert_eq!(seen("job/link/clips", "job/stills/A1.jpg"), "../../../job/stills/A1.jpg");
        assert_eq!(seen("job", "job/../far/off"), "../far/off");
        assert_eq!(seen("far", "job/stills/*.jpg"), "../job/stills/*.jpg");
        assert_eq!(seen("job", "job"), ".");
        assert_eq!(seen_from(&at("job"), Path::new("/nowhere/A1.jpg")), Path::new("/nowhere/A1.jpg"));
        for (from, path) in [("job/link/clips", "job/stills/A1.jpg"), ("far/off/clips", "job/stills/A1.jpg")] {
            assert!(at(from).join(seen(from, path)).exists(), "{path} is not found from {from}");
        }
    }
}

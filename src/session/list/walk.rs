//! Every file below a folder, in the order of names, with its size; and what was passed over.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use serde::Serialize;
use walkdir::{DirEntry, WalkDir};

use super::stopped;
use crate::session::{Failure, Watch};
use crate::survey::{Named, by_name};

/// Files by what their names say.
#[derive(Debug, Default)]
pub(super) struct Walked {
    /// The folder that was walked, as it was given.
    pub(super) root: PathBuf,
    /// The bytes of every file, by its path seen from the folder.
    pub(super) files: BTreeMap<PathBuf, u64>,
    pub(super) stills: Vec<PathBuf>,
    pub(super) raw: Vec<PathBuf>,
    pub(super) videos: Vec<PathBuf>,
    pub(super) scripts: Vec<PathBuf>,
    pub(super) receipts: Vec<PathBuf>,
    pub(super) passed_over: Vec<PassedOver>,
}

/// What was not looked at.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub(super) struct PassedOver {
    /// Seen from the folder that is listed.
    pub(super) path: String,
    /// Why.
    pub(super) why: String,
}

/// Walks a folder.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn walk(root: &Path, watch: &Watch) -> Result<Walked, Failure> {
    let mut walked = Walked { root: root.to_owned(), ..Walked::default() };
    let is_seen = |entry: &DirEntry| entry.depth() == 0 || !entry.file_name().as_encoded_bytes().starts_with(b".");
    for entry in WalkDir::new(root).sort_by_file_name().into_iter().filter_entry(is_seen) {
        stopped(watch)?;
        match entry {
            Ok(entry) => walked.add(&entry),
            Err(error) => {
                let path = error.path().map_or_else(|| root.to_owned(), Path::to_owned);
                let why = error.io_error().map_or_else(|| "cannot be looked at".to_owned(), ToString::to_string);
                walked.pass_over(&path, format!("cannot be read: {why}"));
            }
        }
    }
    Ok(walked)
}

impl Walked {
    fn add(&mut self, entry: &DirEntry) {
        let path = entry.path();
        let kind = entry.file_type();
        if kind.is_dir() {
            return;
        }
        let about = if kind.is_symlink() { std::fs::metadata(path).ok() } else { entry.metadata().ok() };
        let Some(about) = about else {
            let why = if kind.is_symlink() { "a link to nothing" } else { "cannot be looked at" };
            return self.pass_over(path, why.into());
        };
        if about.is_dir() {
            return self.pass_over(path, "a link to a folder, not followed".into());
        }
        if !about.is_file() {
            return;
        }
        let seen = path.strip_prefix(&self.root).unwrap_or(path).to_owned();
        let extension = seen.extension().unwrap_or_default().to_ascii_lowercase();
        let name = seen.file_name().unwrap_or_default().to_string_lossy();
        let list = if name.ends_with("-receipt.json") {
            Some(&mut self.receipts)
        } else if extension == "lua" {
            Some(&mut self.scripts)
        } else {
            match by_name(&seen) {
                Named::Still => Some(&mut self.stills),
                Named::Raw => Some(&mut self.raw),
                Named::Video => Some(&mut self.videos),
                Named::Other => None,
            }
        };
        if let Some(list) = list {
            list.push(seen.clone());
        }
        self.files.insert(seen, about.len());
    }

    fn pass_over(&mut self, path: &Path, why: String) {
        let path = shown(path.strip_prefix(&self.root).unwrap_or(path));
        self.passed_over.push(PassedOver { path, why });
    }

    /// A path seen from the folder as it is opened.
    pub(super) fn opened(&self, seen: &Path) -> PathBuf {
        self.root.join(seen)
    }
}

/// A path as it is told: the folder itself is `.`.
pub(super) fn shown(path: &Path) -> String {
    if path.as_os_str().is_empty() { ".".into() } else { path.to_string_lossy().into_owned() }
}

/// A path below the folder, seen from one of its folders: without `.` and `..`. None where it leads out of the folder.
pub(super) fn below(from: &Path, path: &Path) -> Option<PathBuf> {
    let mut seen = PathBuf::new();
    for part in from.components().chain(path.components()) {
        match part {
            Component::Normal(name) => seen.push(name),
            Component::CurDir => {}
            Component::ParentDir => {
                if !seen.pop() {
                    return None;
                }
            }
            Component::RootDir | Component::Prefix(_) => return None,
        }
    }
    Some(seen)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_that_leads_out_of_the_folder_is_none_below_it() {
        let seen = |from: &str, path: &str| below(Path::new(from), Path::new(path)).map(|path| shown(&path));
        assert_eq!(seen("clips", "../stills/A.JPG").as_deref(), Some("stills/A.JPG"));
        assert_eq!(seen("a/b", "./../../c").as_deref(), Some("c"));
        assert_eq!(seen("a", "..").as_deref(), Some("."));
        assert_eq!(seen("a", "../../etc/passwd"), None);
        assert_eq!(seen("a", "/etc/passwd"), None);
    }
}

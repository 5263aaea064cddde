//! Whether an output would lie among the stills.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use globset::GlobBuilder;

use super::Request;
use super::find::find;

/// Those of `outputs` (files, or the folders of sequences) that lie where this survey looks for stills: in a folder
/// given, beside any still found, or within a pattern. A later survey would stumble over them, so they are to be
/// refused.
#[must_use]
pub fn would_take<'a>(request: &Request, outputs: &'a [PathBuf]) -> Vec<&'a PathBuf> {
    let given: Vec<PathBuf> = request.paths.iter().map(|written| resolved(&request.base.join(written))).collect();
    let found = find(request).unwrap_or_default();
    let mut folders: Vec<&Path> = found.files.iter().filter_map(|candidate| candidate.path.parent()).collect();
    folders.dedup();
    let folders: BTreeSet<PathBuf> = folders.into_iter().map(resolved).collect();
    let taken = |output: &&PathBuf| {
        let output = resolved(output);
        let Some(parent) = output.parent() else { return false };
        let within = |path: &PathBuf| {
            path == parent || *path == output || fits(path, &output) || fits(path, &output.join("000000.png"))
        };
        // A folder gives the pictures in its direct sub-folders too.
        let below = |path: &PathBuf| is_picture(&output) && parent.parent() == Some(path.as_path());
        folders.contains(parent) || given.iter().any(|path| within(path) || below(path))
    };
    outputs.iter().filter(taken).collect()
}

/// Whether a file's name is that of a picture.
fn is_picture(path: &Path) -> bool {
    let known = ["png", "jpg", "jpeg", "tif", "tiff", "webp", "heic", "heif", "hif", "avif"];
    path.extension().is_some_and(|extension| known.iter().any(|known| extension.eq_ignore_ascii_case(known)))
}

/// Whether a path taken as a pattern fits another.
fn fits(pattern: &Path, path: &Path) -> bool {
    let glob = GlobBuilder::new(&pattern.to_string_lossy()).literal_separator(true).build();
    glob.is_ok_and(|glob| glob.compile_matcher().is_match(path))
}

/// An absolute path with links followed as far as it exists.
fn resolved(path: &Path) -> PathBuf {
    let absolute = std::path::absolute(path).unwrap_or_else(|_no_working_folder| path.to_owned());
    let mut rest = PathBuf::new();
    for ancestor in absolute.ancestors() {
        if let Ok(real) = fs::canonicalize(ancestor) {
            return if rest.as_os_str().is_empty() { real } else { real.join(rest) };
        }
        rest = if rest.as_os_str().is_empty() {
            ancestor.file_name().map(PathBuf::from).unwrap_or_default()
        } else {
            ancestor.file_name().map(PathBuf::from).unwrap_or_default().join(&rest)
        };
    }
    absolute
}

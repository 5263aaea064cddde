//! Whether an output would lie among the stills.

use std::fs;
use std::path::{Path, PathBuf};

use globset::GlobBuilder;

use super::Request;
use super::find::find;

/// Whether `output` (a file, or the folder of a sequence) lies where this survey looks for stills: in a folder given, beside
/// any still found, or within a pattern. A later survey would stumble over it, so it is to be refused.
#[must_use]
pub fn would_take(request: &Request, output: &Path) -> bool {
    let output = resolved(output);
    let Some(parent) = output.parent() else { return false };
    let given = |written: &String| {
        let path = resolved(&request.base.join(written));
        path == parent || fits(&path, &output) || fits(&path, &output.join("000000.png"))
    };
    if request.paths.iter().any(given) {
        return true;
    }
    let Ok(found) = find(request) else { return false };
    found.files.iter().any(|candidate| candidate.path.parent().is_some_and(|folder| resolved(folder) == parent))
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

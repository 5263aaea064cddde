//! What drawings are written as, and where they may be.

use std::path::Path;

use super::{Failure, put};
use crate::diag::Diagnostic;
use crate::ink::Drawing;
use crate::survey;

/// What a drawing is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Svg,
    Png,
}

impl Form {
    /// By a file's extension.
    ///
    /// # Errors
    /// [`Failure`] where it is neither's.
    pub(super) fn of(path: &Path) -> Result<Self, Failure> {
        match path.extension().map(|extension| extension.to_ascii_lowercase()) {
            Some(extension) if extension == "svg" => Ok(Self::Svg),
            Some(extension) if extension == "png" => Ok(Self::Png),
            _ => {
                let mistake =
                    Diagnostic::mistake(format!("a drawing is written as .svg or as .png; seen {}", path.display()));
                Err(Failure::refused(mistake.help("name a file that ends in .svg or .png")))
            }
        }
    }

    /// A drawing's bytes.
    ///
    /// # Errors
    /// [`Failure`] where it is too large for a PNG.
    pub(super) fn bytes(self, drawing: &Drawing) -> Result<Vec<u8>, Failure> {
        match self {
            Self::Svg => Ok(drawing.svg().as_bytes().to_vec()),
            Self::Png => drawing.png().map_err(|error| Failure::failed(Diagnostic::mistake(error.to_string()))),
        }
    }
}

/// Whatever keeps `path` from being written: another file, where `force` is not given, its place among stills, or its
/// folder.
///
/// # Errors
/// [`Failure`] that says which.
pub(super) fn check_free(path: &Path, force: bool, requests: &[survey::Request]) -> Result<(), Failure> {
    let taken = |request: &survey::Request| !survey::would_take(request, &[path.to_owned()]).is_empty();
    if requests.iter().any(taken) {
        let message = format!("{} lies among the stills and would be taken for one of them", path.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("write it into another folder")));
    }
    if path.symlink_metadata().is_ok() && !force {
        let message = format!("{} is already there", path.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("--force replaces it")));
    }
    put::check(path)
}

//! Reads a folder's headers and tails and gives the catalogue of the shoot.

use std::path::PathBuf;

use crate::diag::Diagnostics;
use crate::shoot::Shoot;

/// What to survey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Where relative paths start: the script's folder.
    pub base: PathBuf,
    /// Folders, patterns (`stills/*.JPG`) or files.
    pub paths: Vec<String>,
    /// Whether orientation tags are obeyed.
    pub obey_orientation: bool,
}

/// Surveys a shoot.
///
/// # Errors
/// Mistakes without a place in the script: nothing found, two stills that cannot be ordered, sizes that disagree.
pub fn survey(request: &Request) -> Result<Shoot, Diagnostics> {
    let _ = request;
    unimplemented!()
}

/// Whether a survey made after a render would take `output` (a file, or the folder of a sequence) for part of the shoot.
#[must_use]
pub fn would_take(request: &Request, output: &std::path::Path) -> bool {
    let _ = (request, output);
    unimplemented!()
}

/// The catalogue as people read it.
#[must_use]
pub fn describe(shoot: &Shoot) -> String {
    let _ = shoot;
    unimplemented!()
}

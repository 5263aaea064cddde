//! Reads a folder's headers and tails and gives the catalogue of the shoot.

use std::path::PathBuf;

use crate::diag::Diagnostics;
use crate::shoot::Shoot;

/// What to survey.
#[derive(Debug, Clone)]
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

//! Draws the demo shoot: a harbour basin over a falling tide, with exact truth beside it.

use std::path::{Path, PathBuf};

use crate::units::Size;

/// What to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// Slots in the shoot, the missing one included.
    pub stills: u32,
    /// Size of each, in pixels.
    pub size: Size,
    /// Same seed, same bytes.
    pub seed: u64,
    /// Threads to draw with; the bytes do not depend on it.
    pub threads: usize,
}

/// Draws the shoot below `folder` (`100HARBR/…`, `101HARBR/…`, `truth.json`) and calls `drawn` after every still, from any
/// thread; stops early where that says so.
///
/// # Errors
/// What the disk says, with the file.
pub fn draw(request: &Request, folder: &Path, drawn: &(dyn Fn() -> bool + Sync)) -> Result<(), (PathBuf, std::io::Error)> {
    let _ = (request, folder, drawn);
    unimplemented!()
}

/// The demo's motion script.
#[must_use]
pub fn script() -> &'static str {
    ""
}

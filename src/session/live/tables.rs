//! Files that a script names beside its stills, as they were when a view was made of them.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

/// What a file or a folder shows from outside: none where it is not there.
pub(super) type Stamp = Option<(SystemTime, u64)>;

/// Tables that the script run last names; shared with whoever watches the disk.
pub(super) type Tables = Arc<Mutex<Vec<(PathBuf, Stamp)>>>;

/// The stamp of a path now.
pub(super) fn stamp(path: &Path) -> Stamp {
    let seen = std::fs::metadata(path).ok()?;
    Some((seen.modified().ok()?, seen.len()))
}

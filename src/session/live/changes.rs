//! Notices that the script, a move or a table beside it, or a folder of stills is no longer as it was.
//!
//! ## Decisions
//!
//! - Changes are found by comparing times and lengths every 60 ms (the script, other `.lua` files beside it and in
//!   `moves/`, the tables that it names, the stills' folders). System notifications differ between systems and network disks.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};
use std::time::{Duration, Instant};

use super::server::State;
use super::tables::{Stamp, stamp};
use crate::survey::{Listing, listing};

/// How often it looks at scripts and folders.
const EVERY: Duration = Duration::from_millis(60);

/// How often it looks at every still, at most: a still that is written again in its place leaves its folder as it was.
/// It takes no more than a twentieth of one processor.
const STILLS_EVERY: Duration = Duration::from_secs(1);

/// Counts the version up at every change, for ever.
pub(super) async fn watch(state: Arc<State>) {
    tokio::join!(watch_scripts(&state), watch_stills(&state));
}

/// Counts it up where what a view's surveys would read now is not what they read.
async fn watch_stills(state: &Arc<State>) {
    let mut told: Vec<Listing> = Vec::new();
    loop {
        let began = Instant::now();
        let asked = state.asked.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let listed = tokio::task::spawn_blocking(move || {
            let now = asked.into_iter().map(|one| (listing(&one.request, one.recorded), one.listing));
            now.filter(|(now, was)| now != was).map(|(now, _)| now).collect::<Vec<_>>()
        });
        let Ok(changed) = listed.await else { continue };
        // Told once, even where no page asks for a view.
        if changed.iter().any(|listing| !told.contains(listing)) {
            state.is_another();
        }
        told = changed;
        tokio::time::sleep(STILLS_EVERY.max(20 * began.elapsed())).await;
    }
}

async fn watch_scripts(state: &Arc<State>) {
    let mut before = stamps(state);
    loop {
        tokio::time::sleep(EVERY).await;
        let shared = Arc::clone(state);
        let Ok(now) = tokio::task::spawn_blocking(move || stamps(&shared)).await else { continue };
        let read = state.tables.lock().unwrap_or_else(PoisonError::into_inner).clone();
        // A folder that a view has only now named is no change, unless it has gone since.
        let changed = |(path, stamp): &(PathBuf, Stamp)| match before.iter().find(|(known, _)| known == path) {
            Some((_, was)) => was != stamp,
            // A table may have been saved since the view that named it was made.
            None => match read.iter().find(|(known, _)| known == path) {
                Some((_, was)) => was != stamp,
                None => stamp.is_none(),
            },
        };
        let scripts = |list: &[(PathBuf, Stamp)]| list.iter().filter(|(path, _)| is_script(path)).count();
        if now.iter().any(changed) || scripts(&now) != scripts(&before) {
            state.is_another();
        }
        before = now;
    }
}

fn is_script(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension == "lua")
}

fn stamps(state: &State) -> Vec<(PathBuf, Stamp)> {
    let script = &state.script.script;
    let folder = script.parent().unwrap_or(Path::new(""));
    let mut paths = BTreeSet::from([script.clone()]);
    for folder in [folder.to_owned(), folder.join("moves")] {
        let folder = if folder == Path::new("") { PathBuf::from(".") } else { folder };
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        paths.extend(entries.map(|entry| entry.path()).filter(|path| is_script(path)).take(1000));
    }
    paths.extend(state.stills.folders());
    paths.extend(state.tables.lock().unwrap_or_else(PoisonError::into_inner).iter().map(|(path, _)| path.clone()));
    paths
        .into_iter()
        .map(|path| {
            let stamp = stamp(&path);
            (path, stamp)
        })
        .collect()
}

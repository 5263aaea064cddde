//! `cache`: what is kept on the disk to save work, how much of it, and away with it.

use serde_json::json;

use super::{Failure, Reply, bytes, pretty};
use crate::decode::{KNOWN_FILES, SMALL_STILLS};
use crate::diag::{self, Diagnostic};
use crate::look::TRACKS;
use crate::measures::{LINKED_STILLS, THUMBNAIL_STATS};
use crate::store::{self, Holding, Kind};

/// What to do with what is kept.
#[derive(Debug, Clone, Copy)]
pub struct CacheOptions {
    /// Remove it.
    pub clear: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// Every kind of thing that is kept.
const KINDS: [(Kind, &str); 5] = [
    (THUMBNAIL_STATS, "measurements of stills"),
    (KNOWN_FILES, "headers of stills"),
    (LINKED_STILLS, "how stills lie against one another"),
    (TRACKS, "where tracked subjects are"),
    (SMALL_STILLS, "small stills of drafts"),
];

/// Says what is kept and where, or removes it.
///
/// # Errors
/// [`Failure`] where there is no such folder to speak of, or the disk refuses.
pub fn cache(options: CacheOptions) -> Result<Reply, Failure> {
    let Some(folder) = store::user_folder() else {
        let mistake = Diagnostic::mistake("nothing is kept: no home folder was found");
        return Err(Failure::refused(mistake.help("set XDG_CACHE_HOME to a folder")));
    };
    let mut found = Vec::new();
    for (kind, what) in KINDS {
        let of_kind = folder.join(kind.folder);
        let holding = if options.clear { store::clear(&of_kind, kind) } else { store::holding(&of_kind) };
        let said = |error: std::io::Error| Diagnostic::mistake(format!("{}: {error}", of_kind.display()));
        found.push((kind, what, holding.map_err(|error| Failure::failed(said(error)))?));
    }
    if options.json {
        let of = |(kind, _, Holding { entries, bytes }): &(Kind, &str, Holding)| {
            let holding = match options.clear {
                true => json!({ "entries": entries, "bytes": bytes }),
                false => json!({ "entries": entries, "bytes": bytes, "most": kind.most }),
            };
            (kind.folder.to_owned(), holding)
        };
        let kinds: serde_json::Map<String, serde_json::Value> = found.iter().map(of).collect();
        let what = if options.clear { "removed" } else { "kept" };
        return Ok(Reply::text(pretty(&json!({ "folder": folder.display().to_string(), what: kinds }))));
    }
    let removed = if options.clear { "removed from " } else { "" };
    let mut text = format!("{removed}{}\n", diag::path(&folder));
    for (kind, what, Holding { entries, bytes: count }) in found {
        let entries = if entries == 1 { "1 file".to_owned() } else { format!("{entries} files") };
        let most = if options.clear { String::new() } else { format!(" of {} at most", bytes(kind.most)) };
        text += &format!("  {:<6} {what}: {entries}, {}{most}\n", kind.folder, bytes(count));
    }
    if !options.clear {
        text += "what has been unused the longest is removed first; --keep and STILLPATH_KEEP set the limit for small stills\n";
        text += "--clear removes it all; that costs only the time to make it again\n";
    }
    Ok(Reply::text(text))
}

//! `list`: what lies below a folder: shoots, recordings, scripts, and the clips that receipts tell of.
//!
//! Everything is only read, and no more of it than it takes: names and sizes of all files, the headers of a few stills of
//! each shoot, the text of scripts and receipts. Whole files are read with `--hash` alone.
//!
//! ## Decisions
//!
//! - A shoot is a folder with at least three stills, by their names; the folders that one card fills (`100HARBR`,
//!   `101HARBR`, …) are one shoot, as for `survey`. What a receipt names as its output is none.
//! - Links to folders are named and not followed, so there is no loop, and nothing outside is looked at. Hidden files and
//!   folders are passed over.
//! - Days are found by halving: where two stills of a shoot were taken on one day, those between them were too. Times that
//!   jump back and forth within a shoot may hide a day; `survey` reads every header.
//! - Stills that a receipt names are looked up among the files that were found, and nowhere else.

mod days;
mod page;
mod receipts;
mod scripts;
mod shoots;
mod text;
mod told;
mod walk;

use std::path::PathBuf;

use super::{Failure, Reply, Watch, pretty, put, written};
use crate::diag::{self, Diagnostic};
use crate::survey;
use told::Told;

/// What to list, and how.
#[derive(Debug, Clone)]
pub struct ListOptions {
    /// The folder.
    pub folder: PathBuf,
    /// Whether clips and stills are read to their ends and held against the hashes in receipts.
    pub hash: bool,
    /// The page to write.
    pub output: Option<PathBuf>,
    /// Whether a page that is there may be replaced.
    pub force: bool,
    /// JSON instead of text.
    pub json: bool,
    /// No progress.
    pub quiet: bool,
}

/// Lists what lies below a folder.
///
/// # Errors
/// [`Failure`] with code 1 where there is no such folder, or the page cannot be written; 130 where it was interrupted.
pub fn list(options: &ListOptions, watch: &Watch) -> Result<Reply, Failure> {
    let shown = diag::path(&options.folder);
    let about = std::fs::metadata(&options.folder).map_err(|error| {
        let why = match error.kind() {
            std::io::ErrorKind::NotFound => format!("there is no folder {shown}"),
            _ => format!("{shown} cannot be looked at: {error}"),
        };
        Failure::refused(Diagnostic::mistake(why).help("give the folder that your shoots lie below"))
    })?;
    if !about.is_dir() {
        let mistake = Diagnostic::mistake(format!("{shown} is not a folder"));
        let help = format!("`stillpath survey {}` says what one file holds", put::typed(&options.folder));
        return Err(Failure::refused(mistake.help(help)));
    }
    let form = options.output.as_deref().map(page::check).transpose()?;
    let found = walk::walk(&options.folder, watch)?;
    let receipts = receipts::read(&found);
    let mut shoots = shoots::shoots(&found, &receipts);
    if let Some(path) = &options.output {
        written::check_free(path, options.force, &requests(&shoots))?;
    }
    for shoot in &mut shoots {
        stopped(watch)?;
        shoot.look();
    }
    let scripts = scripts::scripts(&found, watch)?;
    let renders = receipts::held(&found, receipts, options, watch)?;
    let told = Told::of(options, found, &shoots, scripts, renders);
    let text = match (&options.output, form) {
        (Some(path), Some(page::Html)) => {
            let page = page::page(&told, &shoots, watch)?;
            put::write_or_fail(path, page.as_bytes(), options.force)?;
            format!("{}  {}\n", diag::path(path), told.summary())
        }
        _ if options.json => pretty(&told),
        _ => text::text(&told),
    };
    let closing = told.is_empty().then(|| {
        format!(
            "stillpath: there is no shoot, recording, script or clip below {shown}; `stillpath demo {}` draws a shoot to play with",
            put::typed(&options.folder.join("demo"))
        )
    });
    Ok(Reply { text, closing, ..Reply::default() })
}

/// The shoots as a survey is asked for them: a page may not lie among their stills.
fn requests(shoots: &[shoots::Found]) -> Vec<survey::Request> {
    let one = |shoot: &shoots::Found| survey::Request {
        base: PathBuf::new(),
        paths: vec![shoot.folder.to_string_lossy().into_owned()],
        obey_orientation: true,
        pairs: crate::shot::Pairs::default(),
        camera: None,
    };
    shoots.iter().map(one).collect()
}

/// Hears a stop.
fn stopped(watch: &Watch) -> Result<(), Failure> {
    if watch.stop.load(std::sync::atomic::Ordering::Relaxed) { Err(Failure::interrupted()) } else { Ok(()) }
}

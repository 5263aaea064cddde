//! `prove`: what a render left, held against its receipt, its stills and frames made anew.
//!
//! Nothing is opened because a receipt names it, but files beside the receipt, and the script with what that names:
//! the stills hashed are those that the script's own shoots hold.

mod again;
mod anew;
mod files;
mod report;

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::{FAILED, Failure, REFUSED, Reply, Watch};
use crate::diag::{Diagnostic, plain};
use crate::prove::{Finding, Part};
use crate::receipt::{FilePath, MOST_BYTES, Receipt, ReceiptError};

use report::Report;

/// What to prove, and how.
#[derive(Debug, Clone)]
pub struct ProveOptions {
    /// The receipt.
    pub receipt: PathBuf,
    /// Which frames are made anew.
    pub frames: FramesAnew,
    /// What random frames are drawn by; the receipt's hash where none.
    pub seed: Option<u64>,
    /// Folders with a second copy of the stills.
    pub copies: Vec<PathBuf>,
    /// Hash lists of the stills to write; their endings say which.
    pub lists: Vec<PathBuf>,
    /// Whether lists that are there may be replaced.
    pub force: bool,
    /// Workers that decode and paint; one a processor where none.
    pub threads: Option<usize>,
    /// No progress.
    pub quiet: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// Which frames are made anew from the stills.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FramesAnew {
    /// The first, the middle one, the last, and this many at random.
    Some(u32),
    /// Every one.
    All,
}

/// Proves what a render left, as far as that can be done.
///
/// # Errors
/// [`Failure`] with code 1 where something is not as the receipt says, 2 where something could not be found out (or
/// there is no receipt to speak of), 130 where it was interrupted.
pub fn prove(options: &ProveOptions, watch: &Watch) -> Result<Reply, Failure> {
    let receipt = read(&options.receipt)?;
    files::check_lists(options)?;
    let folder = folder_of(&options.receipt);
    let mut report = Report::of(options, &receipt);
    let again = again::run(&receipt, folder, options, watch)?;
    let again::Again { script, prepared, candidates, fits, messages } = again;
    report.parts.push(script);
    let checked = files::check(&receipt, folder, candidates.as_deref(), options, watch)?;
    let lists = checked.lists;
    report.parts.extend(checked.stills);
    let clips =
        anew::check(&receipt, &checked.clips, prepared.as_ref().map(|prepared| (prepared, &fits[..])), options, watch)?;
    report.clips(clips, &checked.clips);
    report.parts.extend(checked.tables);
    report.parts.extend(checked.copies);
    report.whole_copies = checked.whole_copies;
    report.lists = lists;
    let (text, code) = report.finish();
    let reply = Reply { text, messages, ..Reply::default() };
    if code == 0 { Ok(reply) } else { Err(Failure { reply, code }) }
}

/// Reads a receipt.
///
/// # Errors
/// [`Failure`] with code 1 for one that was edited, 2 for everything that is none.
fn read(path: &Path) -> Result<Receipt, Failure> {
    let named = |what: &str| Diagnostic::mistake(format!("{}: {what}", shown(path)));
    let failed = |what: &str| Failure::failed(named(what));
    let about = std::fs::metadata(path).map_err(|error| {
        let help = "give the file that a render put beside its outputs: DIR/<script>-receipt.json";
        Failure::failed(named(&error.to_string()).help(help))
    })?;
    // Asked before opening: opening a pipe would wait for a writer.
    if !about.is_file() {
        return Err(failed("it is not a file"));
    }
    if about.len() > MOST_BYTES {
        return Err(failed(&format!("it has {} bytes; a receipt has at most {MOST_BYTES}", about.len())));
    }
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes));
    read.map_err(|error| failed(&error.to_string()))?;
    let text = String::from_utf8(bytes).map_err(|_bytes| failed("it is not UTF-8 text, so it is not a receipt"))?;
    Receipt::from_json(&text).map_err(|error| {
        let mistake = named(&plain(&error.to_string()));
        match error {
            ReceiptError::Edited { .. } => {
                let help = "not proved: nothing in it can be relied on; use the receipt as the render wrote it";
                Failure { reply: Reply { notes: mistake.help(help).into(), ..Reply::default() }, code: REFUSED }
            }
            ReceiptError::Inconsistent(_) => {
                Failure { reply: Reply { notes: mistake.into(), ..Reply::default() }, code: REFUSED }
            }
            ReceiptError::Shape(_) | ReceiptError::Format(_) => {
                Failure { reply: Reply { notes: mistake.into(), ..Reply::default() }, code: FAILED }
            }
        }
    })
}

/// The folder of a file.
fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."))
}

/// A path as it may be printed.
fn shown(path: &Path) -> String {
    plain(&path.to_string_lossy()).into_owned()
}

/// A receipt's path as it may be printed.
fn named(path: &FilePath) -> String {
    path.path().map_or_else(|| "a path that is none".into(), |path| shown(&path))
}

/// A part with one thing wrong about it.
fn wrong(name: impl Into<String>, fault: &'static str, words: impl Into<String>) -> Part {
    Part { findings: vec![Finding::wrong(fault, words)], ..Part::new(name) }
}

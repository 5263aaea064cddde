//! From folders, patterns and files to the files that may be stills, each path followed once.
//!
//! A folder gives its own files and those of its direct sub-folders (a card's `100HARBR`, `101HARBR`, …); a sub-folder
//! called `DCIM` is entered as if it had been given. Folders further down are set aside by name, not searched.

use std::collections::HashSet;
use std::fs;
use std::path::{Component, Path, PathBuf};

use globset::GlobBuilder;
use walkdir::WalkDir;

use super::{Request, class, shown};
use crate::diag::{Diagnostic, Diagnostics};
use crate::shoot::SetAside;

/// What was found.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Files that should be stills.
    pub(super) files: Vec<Candidate>,
    /// Their folders, each once.
    pub(super) folders: Vec<PathBuf>,
    /// Everything else.
    pub(super) set_aside: Vec<SetAside>,
}

/// A file that should be a still.
#[derive(Debug)]
pub(super) struct Candidate {
    /// The file.
    pub(super) path: PathBuf,
    /// Which of [`Found::folders`] it lies in.
    pub(super) folder: usize,
}

const REACHED: &str = "reached by another path already";

/// Finds the files of a request.
///
/// # Errors
/// A path that is not there, a pattern that fits nothing, a folder that cannot be read.
pub(super) fn find(request: &Request) -> Result<Found, Diagnostics> {
    let mut finder = Finder::default();
    let mut mistakes = Diagnostics::default();
    for written in &request.paths {
        if let Err(found) = finder.input(&request.base, written) {
            mistakes.extend(found);
        }
    }
    if mistakes.is_empty() { Ok(finder.found) } else { Err(mistakes) }
}

#[derive(Debug, Default)]
struct Finder {
    found: Found,
    folders_seen: HashSet<PathBuf>,
    files_seen: HashSet<PathBuf>,
}

impl Finder {
    fn input(&mut self, base: &Path, written: &str) -> Result<(), Diagnostics> {
        let path: PathBuf = base.join(written).components().collect();
        match fs::metadata(&path) {
            Ok(metadata) if metadata.is_dir() => self.folder(&path, 0),
            Ok(_) => self.named(&path),
            Err(_) if written.contains(['*', '?', '[', '{']) => self.pattern(base, written),
            Err(error) => Err(not_there(&path, written, &error).into()),
        }
    }

    /// A folder's files, and at depth 0 those of its sub-folders.
    fn folder(&mut self, path: &Path, depth: usize) -> Result<(), Diagnostics> {
        let unreadable = |error| {
            Diagnostics::from(Diagnostic::mistake(format!("the folder '{}' cannot be read: {error}", path.display())))
        };
        let canonical = fs::canonicalize(path).map_err(unreadable)?;
        if !self.folders_seen.insert(canonical.clone()) {
            self.set_aside(path, REACHED);
            return Ok(());
        }
        let mut entries = fs::read_dir(path).and_then(Iterator::collect::<Result<Vec<_>, _>>).map_err(unreadable)?;
        entries.sort_unstable_by_key(fs::DirEntry::file_name);
        // A link comes after the real files, so that of one file reached twice the real name stays.
        let (links, real): (Vec<_>, Vec<_>) =
            entries.into_iter().partition(|entry| entry.file_type().is_ok_and(|kind| kind.is_symlink()));
        let here = self.found.folders.len();
        self.found.folders.push(path.to_owned());
        let mut below = Vec::new();
        for entry in real.into_iter().chain(links) {
            let path = entry.path();
            let Ok(kind) = entry.file_type() else {
                self.set_aside(&path, "cannot be looked at");
                continue;
            };
            let linked = kind.is_symlink();
            let (folder, regular) = match linked.then(|| fs::metadata(&path)) {
                None => (kind.is_dir(), kind.is_file()),
                Some(Ok(target)) => (target.is_dir(), target.is_file()),
                // A link to nothing is looked at as the file it should be: opening it tells what is wrong.
                Some(Err(_)) => (false, true),
            };
            if folder {
                below.push(path);
            } else if !regular {
                self.set_aside(&path, "not a file");
            } else {
                let target = if linked { fs::canonicalize(&path).ok() } else { None };
                let target = target.unwrap_or_else(|| canonical.join(entry.file_name()));
                self.file(path, target, here);
            }
        }
        for folder in below {
            let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
            match class::folder(&name) {
                Some(reason) => self.set_aside(&folder, reason),
                None if name.eq_ignore_ascii_case("DCIM") && depth <= 1 => self.folder(&folder, 0)?,
                None if depth == 0 => self.folder(&folder, 1)?,
                None => self.set_aside(&folder, "a folder further down, not searched"),
            }
        }
        Ok(())
    }

    /// A file of a folder or a pattern: a still to be, or set aside by its name.
    fn file(&mut self, path: PathBuf, canonical: PathBuf, folder: usize) {
        if let Some(reason) = class::file(&path) {
            self.set_aside(&path, reason);
        } else if !self.files_seen.insert(canonical) {
            self.set_aside(&path, REACHED);
        } else {
            self.found.files.push(Candidate { path, folder });
        }
    }

    /// A file given by its own name.
    fn named(&mut self, path: &Path) -> Result<(), Diagnostics> {
        if !fs::metadata(path).is_ok_and(|metadata| metadata.is_file()) {
            return Err(Diagnostic::mistake(format!("'{}' is neither a file nor a folder", path.display())).into());
        }
        let canonical = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if let Some(reason) = class::named(path) {
            self.set_aside(path, reason);
        } else if !self.files_seen.insert(canonical) {
            self.set_aside(path, REACHED);
        } else {
            let folder = self.folder_of(path);
            self.found.files.push(Candidate { path: path.to_owned(), folder });
        }
        Ok(())
    }

    /// The files and folders that fit a pattern.
    fn pattern(&mut self, base: &Path, written: &str) -> Result<(), Diagnostics> {
        let special = |part: &Component| part.as_os_str().to_string_lossy().contains(['*', '?', '[', '{']);
        let parts = || Path::new(written).components();
        let plain: PathBuf = parts().take_while(|part| !special(part)).collect();
        let rest: PathBuf = parts().skip_while(|part| !special(part)).collect();
        let root = or_here(base.join(plain).components().collect());
        let no_pattern = |error: globset::Error| {
            Diagnostic::mistake(format!("'{written}' is not a valid pattern: {}", error.kind()))
        };
        let glob = GlobBuilder::new(&rest.to_string_lossy()).literal_separator(true).build();
        let glob = glob.map_err(|error| Diagnostics::from(no_pattern(error)))?.compile_matcher();
        let deepest = if rest.to_string_lossy().contains("**") { usize::MAX } else { rest.components().count() };
        let mut walk =
            WalkDir::new(&root).min_depth(1).max_depth(deepest).follow_links(true).sort_by_file_name().into_iter();
        let mut fitted = 0_usize;
        while let Some(entry) = walk.next() {
            let entry = match entry {
                Ok(entry) => entry,
                Err(error) => {
                    let Some(path) = error.path().filter(|path| *path != root).map(Path::to_owned) else { continue };
                    if error.loop_ancestor().is_some() {
                        self.set_aside(&path, REACHED);
                    } else if path.strip_prefix(&root).is_ok_and(|inside| glob.is_match(inside)) {
                        fitted += 1;
                        let folder = self.folder_of(&path);
                        self.file(path.clone(), path, folder);
                    }
                    continue;
                }
            };
            let name = entry.file_name().to_string_lossy();
            if entry.file_type().is_dir()
                && entry.depth() < deepest
                && !written.contains(&*name)
                && let Some(reason) = class::folder(&name)
            {
                self.set_aside(entry.path(), reason);
                walk.skip_current_dir();
                continue;
            }
            if !entry.path().strip_prefix(&root).is_ok_and(|inside| glob.is_match(inside)) {
                continue;
            }
            fitted += 1;
            if entry.file_type().is_dir() {
                walk.skip_current_dir();
                self.folder(entry.path(), 1)?;
            } else if entry.file_type().is_file() {
                let canonical = fs::canonicalize(entry.path()).unwrap_or_else(|_| entry.path().to_owned());
                let folder = self.folder_of(entry.path());
                self.file(entry.into_path(), canonical, folder);
            } else {
                self.set_aside(entry.path(), "not a file");
            }
        }
        if fitted == 0 { Err(fits_nothing(&root, written).into()) } else { Ok(()) }
    }

    fn folder_of(&mut self, path: &Path) -> usize {
        let parent = path.parent().unwrap_or(Path::new("")).to_owned();
        if let Some(known) = self.found.folders.iter().rposition(|folder| *folder == parent) {
            return known;
        }
        self.found.folders.push(parent);
        self.found.folders.len() - 1
    }

    fn set_aside(&mut self, path: &Path, reason: &'static str) {
        self.found.set_aside.push(SetAside { path: path.to_owned(), reason });
    }
}

pub(super) fn not_there(path: &Path, written: &str, error: &std::io::Error) -> Diagnostic {
    let plain: PathBuf =
        Path::new(written).components().filter(|part| !matches!(part, std::path::Component::CurDir)).collect();
    let written = if plain.as_os_str().is_empty() { written.into() } else { plain.to_string_lossy() };
    let mistake = Diagnostic::mistake(match error.kind() {
        std::io::ErrorKind::NotFound => format!("there is no '{written}' ({})", path.display()),
        _ => format!("'{written}' cannot be looked at: {error}"),
    });
    // The first folder above that exists tells which part of the path went wrong.
    let Some(above) = path.ancestors().skip(1).find(|folder| or_here(folder.to_path_buf()).is_dir()) else {
        return mistake;
    };
    let wrong = path.strip_prefix(above).ok().and_then(|rest| rest.components().next());
    match wrong {
        Some(wrong) => near(mistake, above, &wrong.as_os_str().to_string_lossy()),
        None => mistake,
    }
}

fn fits_nothing(root: &Path, written: &str) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!("nothing matches the pattern '{written}' under '{}'", root.display()));
    match root.ancestors().find(|folder| or_here(folder.to_path_buf()).is_dir()) {
        Some(above) if above == root => near(mistake, root, written.rsplit('/').next().unwrap_or(written)),
        Some(above) => match root.strip_prefix(above).ok().and_then(|rest| rest.components().next()) {
            Some(wrong) => near(mistake, above, &wrong.as_os_str().to_string_lossy()),
            None => mistake,
        },
        None => mistake,
    }
}

/// The folder a relative path of no parts means.
fn or_here(folder: PathBuf) -> PathBuf {
    if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder }
}

/// Adds the names in `folder` that are nearest to the one that is not there.
fn near(mistake: Diagnostic, folder: &Path, seen: &str) -> Diagnostic {
    const LOOKED_AT: usize = 10_000;
    let folder = &or_here(folder.to_owned());
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<(usize, String)> = entries
        .take(LOOKED_AT)
        .map(|entry| shown(Path::new(&entry.file_name())))
        .map(|name| (strsim::damerau_levenshtein(&seen.to_lowercase(), &name.to_lowercase()), name))
        .collect();
    names.sort();
    if names.is_empty() {
        return mistake.help(format!("the folder '{}' is empty", folder.display()));
    }
    let nearest: Vec<String> = names.iter().take(3).map(|(_, name)| format!("'{name}'")).collect();
    mistake.help(format!("nearest in '{}': {}", folder.display(), nearest.join(", ")))
}

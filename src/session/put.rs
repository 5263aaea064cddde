//! Files that the command line names: whether they can be written is asked before the work, and they get their names
//! only when they are whole.

use std::io::{Error, ErrorKind, Write as _};
use std::path::Path;

use super::Failure;
use crate::diag::{self, Diagnostic};

/// The folder that a file lies in.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."))
}

/// Refuses, before the work, a file whose folder is not there or takes no file.
///
/// # Errors
/// [`Failure`] that names the file, its folder and what to do.
pub(super) fn check(path: &Path) -> Result<(), Failure> {
    let tried = tempfile::tempfile_in(folder_of(path));
    tried.map(drop).map_err(|error| Failure::refused(unwritable(path, &error)))
}

/// Writes a file under its name only when it is whole; `force` says that one that is there may be replaced.
///
/// # Errors
/// What the disk says, in words that [`unwritable`] takes.
pub(super) fn write(path: &Path, bytes: &[u8], force: bool) -> Result<(), Error> {
    let mut unfinished = tempfile::Builder::new().prefix(".unfinished").tempfile_in(folder_of(path))?;
    unfinished.write_all(bytes)?;
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    unfinished.as_file().set_permissions(mode)?;
    let kept = if force { unfinished.persist(path) } else { unfinished.persist_noclobber(path) };
    kept.map(|_file| ()).map_err(|error| error.error)
}

/// As [`write()`], with the failure as a person reads it.
///
/// # Errors
/// [`Failure`] as of [`unwritable`].
pub(super) fn write_or_fail(path: &Path, bytes: &[u8], force: bool) -> Result<(), Failure> {
    write(path, bytes, force).map_err(|error| Failure::failed(unwritable(path, &error)))
}

/// Why a file could not be written, as a person reads it: by its own name and its folder's, not by the name that it has
/// until it is whole.
pub(super) fn unwritable(path: &Path, error: &Error) -> Diagnostic {
    let folder = folder_of(path);
    let mistake = |why: String| Diagnostic::mistake(format!("{} cannot be written: {why}", path.display()));
    let shown = folder.display();
    match (folder.metadata(), error.kind()) {
        (Ok(found), _) if !found.is_dir() => {
            mistake(format!("{shown} is a file, not a folder")).help("name a file in another folder")
        }
        (Err(_), ErrorKind::NotFound) => mistake(format!("there is no folder {shown}"))
            .help(format!("make it with mkdir -p {}, or name a file in another folder", typed(folder))),
        (_, ErrorKind::PermissionDenied) => mistake(format!("no file may be written in the folder {shown}"))
            .help("name a file in a folder of your own, or change the rights of that one"),
        (_, ErrorKind::ReadOnlyFilesystem) => mistake(format!("the folder {shown} is on a disk that can only be read"))
            .help("name a file on another disk"),
        (_, ErrorKind::StorageFull | ErrorKind::QuotaExceeded) => {
            mistake(format!("there is no room left where the folder {shown} is"))
                .help("make room, or name a file on another disk")
        }
        _ => mistake(words(error)).help("name a file in another folder"),
    }
}

/// What the operating system said, without the name of an unfinished file.
pub(super) fn words(error: &Error) -> String {
    let said = error.to_string();
    said.split(" at path ").next().unwrap_or_default().to_owned()
}

/// A path or another word as a shell takes it.
pub(super) fn typed(folder: &Path) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || "_-./".contains(letter);
    let shown = diag::path(folder);
    if shown.chars().all(plain) { shown } else { format!("'{}'", shown.replace('\'', "'\\''")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_written_names_the_file_its_folder_and_what_to_do() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sheet.svg");
        let said = |path: &Path, kind: ErrorKind| {
            let said = unwritable(path, &Error::from(kind));
            (said.message.replace(&folder.path().display().to_string(), "DIR"), said.help.join("; "))
        };
        for (kind, why) in [
            (ErrorKind::PermissionDenied, "no file may be written in the folder DIR"),
            (ErrorKind::ReadOnlyFilesystem, "the folder DIR is on a disk that can only be read"),
            (ErrorKind::StorageFull, "there is no room left where the folder DIR is"),
        ] {
            let (message, help) = said(&path, kind);
            assert_eq!(message, format!("DIR/sheet.svg cannot be written: {why}"));
            assert!(!help.is_empty());
        }
        let missing = folder.path().join("a b/sheet.svg");
        let (message, help) = said(&missing, ErrorKind::NotFound);
        assert_eq!(message, "DIR/a b/sheet.svg cannot be written: there is no folder DIR/a b");
        assert!(help.contains("/a b'") && help.starts_with("make it with mkdir -p '"), "{help}");
    }

    #[test]
    fn an_unfinished_files_name_is_not_told() {
        let missing = Path::new("/nowhere/at/all");
        let error = tempfile::Builder::new().prefix(".unfinished").tempfile_in(missing).unwrap_err();
        assert!(error.to_string().contains(".unfinished"), "{error}");
        assert!(!words(&error).contains(".unfinished") && words(&error).contains("No such file"), "{}", words(&error));
    }
}

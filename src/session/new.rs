//! `new`: a starter script for a real shoot, which renders as it is.
//!
//! ## Decisions
//!
//! - A script is written only after a plan was made from it, so a starter script always renders.
//! - Stills are named relative to the script where the two share more than the root folder.

use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use super::prepare::run;
use super::{Failure, Reply, put, starter, surveyed};
use crate::diag::{self, Diagnostic};
use crate::{plan as plans, resolve, survey};

/// For which shoot, and where to.
#[derive(Debug, Clone)]
pub struct NewOptions {
    /// The folder of the stills, or a recording.
    pub folder: PathBuf,
    /// The script to write; by default the folder's name with `.lua`, in the working folder.
    pub output: Option<PathBuf>,
    /// Whether an existing file may be replaced.
    pub force: bool,
}

/// Surveys a shoot and writes a script for it, after seeing that it makes a plan.
///
/// # Errors
/// [`Failure`] where there is no shoot to speak of, the script is there already, or the disk refuses.
pub fn new(options: &NewOptions) -> Result<Reply, Failure> {
    let folder = &options.folder;
    let refused = |message: String| Failure::refused(Diagnostic::mistake(message));
    let real =
        folder.canonicalize().map_err(|error| refused(format!("{} cannot be opened: {error}", folder.display())))?;
    let itself = survey::Request {
        base: PathBuf::new(),
        paths: vec![real.to_string_lossy().into_owned()],
        obey_orientation: true,
        pairs: crate::shot::Pairs::Stop,
        camera: None,
    };
    let recorded = survey::is_recording(&itself);
    if !real.is_dir() && !recorded {
        let mistake = Diagnostic::mistake(format!("{} is neither a folder nor a recording", folder.display()));
        return Err(Failure::refused(mistake.help("name the folder the stills are in, or a recorded video")));
    }
    let output = match &options.output {
        Some(output) => output.clone(),
        None => PathBuf::from(if recorded { real.file_stem() } else { real.file_name() }.unwrap_or("shoot".as_ref()))
            .with_added_extension("lua"),
    };
    if output.symlink_metadata().is_ok() && !options.force {
        let mistake = Diagnostic::mistake(format!("{} is already there", output.display()));
        return Err(Failure::refused(mistake.help("--force replaces it, or name another script with -o")));
    }
    put::check(&output)?;
    let beside = put::folder_of(&output);
    let beside =
        beside.canonicalize().map_err(|error| refused(format!("{} cannot be opened: {error}", beside.display())))?;
    let Some(source) = seen_from(&real, &beside) else {
        return Err(refused(format!("the name {} is not Unicode text, so a script cannot hold it", real.display())));
    };
    let request = survey::Request {
        base: beside.clone(),
        paths: vec![source.clone()],
        obey_orientation: true,
        pairs: crate::shot::Pairs::Stop,
        camera: None,
    };
    if !survey::would_take(&request, std::slice::from_ref(&output)).is_empty() {
        let mistake = Diagnostic::mistake(format!("{} would lie among the stills", output.display()));
        return Err(Failure::refused(mistake.help("name a script outside their folder with -o")));
    }
    let shoot = surveyed(&request, recorded).map_err(Failure::refused)?;
    let name = output.file_name().unwrap_or_default();
    let text = starter::text(&shoot, &source, &folder.to_string_lossy(), Path::new(name));

    let unwritable = |error: std::io::Error| Failure::failed(put::unwritable(&output, &error));
    let mut unfinished =
        tempfile::Builder::new().prefix(".new").suffix(".lua").tempfile_in(&beside).map_err(unwritable)?;
    unfinished.write_all(text.as_bytes()).map_err(unwritable)?;
    let script = run(unfinished.path(), &[])?;
    let mut reply = Reply::text(format!("{}\n", diag::path(&output)));
    for shot in &script.shots {
        let made = resolve::resolve(shot, &shoot, resolve::Known::default()).map_err(Failure::refused)?;
        reply.text += &plans::summary(&made.plan);
    }
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    unfinished.as_file().set_permissions(mode).and_then(|()| unfinished.as_file().sync_all()).map_err(unwritable)?;
    let kept = if options.force { unfinished.persist(&output) } else { unfinished.persist_noclobber(&output) };
    kept.map_err(|error| unwritable(error.error))?;
    reply.text += &format!("next: stillpath check {}\n", diag::path(&output));
    Ok(reply)
}

/// How a script in the folder `beside` names `folder`, both canonical: relative where they share more than the root, so
/// that both can be moved together. Nothing where that is no Unicode text.
fn seen_from(folder: &Path, beside: &Path) -> Option<String> {
    let shared = folder.components().zip(beside.components()).take_while(|(one, other)| one == other).count();
    let up = beside.components().skip(shared).map(|_| Component::ParentDir);
    let relative: PathBuf = up.chain(folder.components().skip(shared)).collect();
    let seen = match (shared, relative == Path::new("")) {
        (0 | 1, _) => folder,
        (_, true) => Path::new("."),
        (_, false) => &relative,
    };
    seen.to_str().map(str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_is_named_from_where_the_script_lies() {
        let seen = |folder: &str, beside: &str| seen_from(Path::new(folder), Path::new(beside)).unwrap();
        assert_eq!(seen("/home/a/job/stills", "/home/a/job"), "stills");
        assert_eq!(seen("/home/a/job/stills", "/home/a/scripts/moves"), "../../job/stills");
        assert_eq!(seen("/home/a/job", "/home/a/job"), ".");
        assert_eq!(seen("/media/card", "/home/a/job"), "/media/card");
    }
}

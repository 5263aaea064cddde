//! `new`: a starter script for a real shoot, which renders as it is.
//!
//! ## Decisions
//!
//! - A script is written only after a plan was made from it, so a starter script always renders.
//! - Stills are named relative to the script where the two share more than the root folder.

use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use super::running::run;
use super::survey::looked;
use super::{Failure, Reply, Watch, put, starter, starters, surveyed};
use crate::diag::{self, Diagnostic};
use crate::shoot::Shoot;
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
    /// Whether three scripts are written, each with a move by what happens in the stills, in place of the one: their
    /// names begin with its name. Never replaces a file.
    pub moves: bool,
    /// No progress.
    pub quiet: bool,
}

/// Surveys a shoot and writes a script for it, or three by what looking at it finds, after seeing that each makes a
/// plan.
///
/// # Errors
/// [`Failure`] where there is no shoot to speak of, a script is there already, the disk refuses, or three are asked
/// for and nothing moves.
pub fn new(options: &NewOptions, watch: &Watch) -> Result<Reply, Failure> {
    let real = real_of(&options.folder)?;
    let recorded = survey::is_recording(&request(PathBuf::new(), real.to_string_lossy().into_owned()));
    if !real.is_dir() && !recorded {
        let mistake = Diagnostic::mistake(format!("{} is neither a folder nor a recording", options.folder.display()));
        return Err(Failure::refused(mistake.help("name the folder the stills are in, or a recorded video")));
    }
    let output = match &options.output {
        Some(output) => output.clone(),
        None => PathBuf::from(if recorded { real.file_stem() } else { real.file_name() }.unwrap_or("shoot".as_ref()))
            .with_added_extension("lua"),
    };
    let outputs = if options.moves { starters::NAMES.map(|name| named(&output, name)).to_vec() } else { vec![output] };
    for output in &outputs {
        if output.symlink_metadata().is_ok() && (options.moves || !options.force) {
            let mistake = Diagnostic::mistake(format!("{} is already there", output.display()));
            let force = if options.moves { "" } else { "--force replaces it, or " };
            return Err(Failure::refused(mistake.help(format!("{force}name another script with -o"))));
        }
    }
    put::check(&outputs[0])?;
    let beside = real_of(put::folder_of(&outputs[0]))?;
    let Some(source) = seen_from(&real, &beside) else {
        return Err(refused(format!("the name {} is not Unicode text, so a script cannot hold it", real.display())));
    };
    let request = request(beside.clone(), source.clone());
    if !survey::would_take(&request, &outputs).is_empty() {
        let mistake = Diagnostic::mistake(format!("{} would lie among the stills", outputs[0].display()));
        return Err(Failure::refused(mistake.help("name a script outside their folder with -o")));
    }
    let mut shoot = surveyed(&request, recorded).map_err(Failure::refused)?;
    let folder = options.folder.to_string_lossy();
    let names: Vec<&Path> = outputs.iter().map(|output| Path::new(output.file_name().unwrap_or_default())).collect();
    let (texts, measures) = if options.moves {
        let measures = looked(&mut shoot, options.quiet, watch)?;
        let Some(texts) = starters::texts(&shoot, &measures.activity, (&source, &folder), &names) else {
            let mistake = Diagnostic::mistake(format!(
                "nothing moves in the stills of {folder}: there is no action for three moves to go by"
            ));
            return Err(Failure::refused(
                mistake.help("without --moves `new` writes one script, whose subject you set"),
            ));
        };
        (texts, Some(measures))
    } else {
        (vec![starter::text(&shoot, &source, &folder, names[0])], None)
    };
    let known =
        resolve::Known { activity: measures.as_ref().map(|measures| &measures.activity), ..resolve::Known::default() };
    let (mut unfinished, mut reply) = (Vec::new(), Reply::default());
    for (text, output) in texts.iter().zip(&outputs) {
        let (file, said) = planned(text, output, (&shoot, known))?;
        reply.text += &said;
        unfinished.push(file);
    }
    for (file, output) in unfinished.into_iter().zip(&outputs) {
        let replace = options.force && !options.moves;
        let kept = if replace { file.persist(output) } else { file.persist_noclobber(output) };
        kept.map_err(|error| Failure::failed(put::unwritable(output, &error.error)))?;
    }
    for output in &outputs {
        reply.text += &format!("next: stillpath check {}\n", diag::path(output));
    }
    Ok(reply)
}

/// A script written beside where it is to be, once it makes a plan, and what is said of that.
fn planned(
    text: &str,
    output: &Path,
    (shoot, known): (&Shoot, resolve::Known<'_>),
) -> Result<(tempfile::NamedTempFile, String), Failure> {
    let unwritable = |error: std::io::Error| Failure::failed(put::unwritable(output, &error));
    let beside = real_of(put::folder_of(output))?;
    let mut unfinished =
        tempfile::Builder::new().prefix(".new").suffix(".lua").tempfile_in(&beside).map_err(unwritable)?;
    unfinished.write_all(text.as_bytes()).map_err(unwritable)?;
    let script = run(unfinished.path(), &[])?;
    let mut said = format!("{}\n", diag::path(output));
    for shot in &script.shots {
        said += &plans::summary(&resolve::resolve(shot, shoot, known).map_err(Failure::refused)?.plan);
    }
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    unfinished.as_file().set_permissions(mode).and_then(|()| unfinished.as_file().sync_all()).map_err(unwritable)?;
    Ok((unfinished, said))
}

/// `harbour.lua` as `harbour-wide.lua`.
fn named(script: &Path, name: &str) -> PathBuf {
    let mut file = script.file_stem().unwrap_or_default().to_owned();
    file.push("-");
    file.push(name);
    file.push(".lua");
    script.with_file_name(file)
}

fn refused(message: String) -> Failure {
    Failure::refused(Diagnostic::mistake(message))
}

/// Where a path really is.
fn real_of(path: &Path) -> Result<PathBuf, Failure> {
    path.canonicalize().map_err(|error| refused(format!("{} cannot be opened: {error}", path.display())))
}

/// The stills at a path, as a starter script names them.
fn request(base: PathBuf, path: String) -> survey::Request {
    let pairs = crate::shot::Pairs::Stop;
    survey::Request { base, paths: vec![path], obey_orientation: true, pairs, camera: None }
}

/// How a script in the folder `beside` names `folder`, both canonical: relative where they share more than the root,
/// so that both can be moved together. Nothing where that is no Unicode text.
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

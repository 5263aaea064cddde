//! `level`: what levelling does to every still, as a table to read, edit and feed back.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::prepare::{Encoders, Looking, Part, Prepared, prepare};
use super::{Failure, Reply, ScriptOptions, Watch};
use crate::diag::Diagnostic;
use crate::plan::Levelling;
use crate::survey;

/// Where the table goes.
#[derive(Debug, Clone)]
pub struct LevelOptions {
    /// The file to write; standard output where none.
    pub output: Option<PathBuf>,
    /// Whether an existing file may be replaced.
    pub force: bool,
}

/// Prints or writes the gains of a script's stills.
///
/// # Errors
/// [`Failure`] with every mistake found, where nothing is levelled or several shots are, and where the file cannot be written.
pub fn level(script: &ScriptOptions, options: &LevelOptions, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(script, Encoders::LeftAlone, Looking { watch, quiet: false })?;
    let levelled: Vec<(&Part, &Levelling)> =
        prepared.parts.iter().filter_map(|part| Some((part, part.plan.level.as_ref()?))).collect();
    let (part, levelling) = match levelled[..] {
        [one] => one,
        [] => {
            let mistake = Diagnostic::mistake("the script levels nothing");
            return Err(Failure::refused(mistake.help("write level = true in its shot { … }")));
        }
        _ => {
            let names: Vec<&str> = levelled.iter().map(|(part, _)| part.plan.shot.as_str()).collect();
            let mistake = Diagnostic::mistake(format!("which of the shots? {}", names.join(", ")));
            return Err(Failure::refused(mistake.help("name one of its deliveries with --delivery")));
        }
    };
    let table = levelling.curve(&prepared.shoots[part.shoot]).to_csv();
    let text = match &options.output {
        None => table,
        Some(path) => {
            if !survey::would_take(&prepared.requests[part.shoot], std::slice::from_ref(path)).is_empty() {
                let message = format!("{} lies among the stills and would be taken for one of them", path.display());
                return Err(Failure::refused(Diagnostic::mistake(message).help("write it into another folder")));
            }
            if path.exists() && !options.force {
                let message = format!("{} is already there", path.display());
                return Err(Failure::refused(Diagnostic::mistake(message).help("--force replaces it")));
            }
            write(path, &table).map_err(|mistake| Failure::failed(*mistake))?;
            format!(
                "{}  {}edit it, and feed it back with level = {{ curve = \"{}\" }}\n",
                path.display(),
                levelling.summary(),
                path.display()
            )
        }
    };
    Ok(Reply { text, notes: prepared.notes(), messages: prepared.messages, closing: None })
}

/// The file that a render keeps a part's gains in, beside its outputs; none where it levels nothing.
pub(super) fn kept_in(prepared: &Prepared, part: &Part, out: &Path) -> Option<PathBuf> {
    part.plan.level.as_ref()?;
    let shot = if part.plan.shot.is_empty() { String::new() } else { format!("-{}", part.plan.shot) };
    Some(out.join(format!("{}{shot}-level.csv", prepared.stem)))
}

/// Writes a table under its final name once it is whole.
///
/// # Errors
/// What the disk says.
pub(super) fn write(path: &Path, table: &str) -> Result<(), Box<Diagnostic>> {
    let said = |error: std::io::Error| Box::new(Diagnostic::mistake(format!("{}: {error}", path.display())));
    let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new().prefix(".").tempfile_in(folder).map_err(said)?;
    file.write_all(table.as_bytes()).map_err(said)?;
    file.persist(path).map_err(|error| said(error.error))?;
    Ok(())
}

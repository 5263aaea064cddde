//! `purposes`: the table of purposes, where it stands, and a copy of it to edit.

use std::fmt::Write as _;
use std::io::Write as _;

use serde_json::json;

use super::running::user_purposes;
use super::{Failure, Reply, pretty, put};
use crate::diag::{self, Diagnostic};
use crate::script;
use crate::shot::Purpose;

/// What to do with the table.
#[derive(Debug, Clone, Copy)]
pub struct PurposesOptions {
    /// Copy the program's to where the user's own stands.
    pub copy: bool,
    /// The rows as JSON.
    pub json: bool,
}

/// Lists the rows that a script may take, or copies the program's table into the user's configuration folder. A table
/// that is there is never replaced.
///
/// # Errors
/// [`Failure`] with every mistake in the user's table, or where it cannot be copied.
pub fn purposes(options: PurposesOptions) -> Result<Reply, Failure> {
    let path = user_purposes();
    if options.copy {
        let Some(path) = path else {
            let mistake = Diagnostic::mistake("there is no place for a table: no home folder was found");
            return Err(Failure::refused(mistake.help("set XDG_CONFIG_HOME to a folder")));
        };
        return copy(&path);
    }
    let rows = script::purposes(path.as_deref()).map_err(Failure::refused)?;
    let own = path.as_ref().filter(|path| path.exists());
    if options.json {
        let table = own.map(|path| path.display().to_string());
        return Ok(Reply::text(pretty(&json!({ "table": table, "purposes": rows }))));
    }
    let mut text: String = rows.iter().map(|row| listed(row)).collect();
    text += &match (own, &path) {
        (Some(own), _) => format!("your table: {}\n", diag::path(own)),
        (None, Some(path)) => {
            format!("`stillpath purposes --copy` puts this table into {}, to be edited\n", diag::path(path))
        }
        (None, None) => String::new(),
    };
    text += "in a script: delivery { \"tall\", purpose = \"vertical clip for phones\" }\n";
    Ok(Reply::text(text))
}

/// A row with its figures and their sources.
fn listed(row: &Purpose) -> String {
    let mut text = format!("{:?} ({})\n", row.name, row.table);
    for (field, figure) in &row.figures {
        let (value, source) = (diag::fit(&figure.value), diag::fit(&figure.source));
        let _infallible = writeln!(text, "  {field:<13} {value}  -- {source}");
    }
    text + "\n"
}

/// Copies the program's table to `path`, where nothing may stand.
fn copy(path: &std::path::Path) -> Result<Reply, Failure> {
    let failed = |error: std::io::Error| {
        if error.kind() == std::io::ErrorKind::AlreadyExists {
            let message = format!("{} is already there; nothing was changed", path.display());
            return Failure::refused(Diagnostic::mistake(message).help("edit it, or move it away to begin anew"));
        }
        Failure::failed(Diagnostic::mistake(format!("{}: {}", path.display(), put::words(&error))))
    };
    let folder = path.parent().unwrap_or(path);
    std::fs::create_dir_all(folder).map_err(failed)?;
    // Under its name once it is whole, and never over another.
    let mut whole = tempfile::Builder::new().prefix(".deliveries").tempfile_in(folder).map_err(failed)?;
    whole.write_all(script::purposes_text().as_bytes()).map_err(failed)?;
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    whole.as_file().set_permissions(mode).map_err(failed)?;
    whole.persist_noclobber(path).map_err(|error| failed(error.error))?;
    Ok(Reply::text(format!("{}  the table of purposes, to be edited\n", diag::path(path))))
}

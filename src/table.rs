//! Tables with a line a still, which people may read, edit and feed back: comma-separated, the still's number first, its name last.

use std::collections::BTreeSet;

/// What is wrong with a table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct TableError {
    /// Counted from 1.
    pub line: usize,
    /// What was seen, and what is allowed.
    pub what: String,
}

/// Reads a table of `columns` columns: `still` makes what it is read into of a line's slot (from 0), its fields, the still's number
/// the first of them, and the name in the last, empty where the line ends before it. Blank lines and a first one of headings are
/// passed over.
///
/// # Errors
/// The first line that cannot be understood, or names a still again.
pub fn read<T>(
    text: &str,
    columns: usize,
    still: impl Fn(usize, &[&str], String) -> Result<T, String>,
) -> Result<Vec<T>, TableError> {
    let mut stills = Vec::new();
    let mut known = BTreeSet::new();
    let numbered = text.trim_start_matches('\u{feff}').lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    for (at, line) in numbered {
        let wrong = |what: String| TableError { line: at + 1, what };
        if stills.is_empty() && line.starts_with("still,") {
            continue;
        }
        let fields: Vec<&str> = line.splitn(columns, ',').map(str::trim).collect();
        let slot = fields[0].parse::<usize>().ok().and_then(|still| still.checked_sub(1));
        let slot =
            slot.ok_or_else(|| wrong(format!("a line begins with a still's number, counted from 1; seen '{}'", fields[0])))?;
        let name = fields.get(columns - 1).map_or_else(String::new, |name| (*name).to_owned());
        stills.push(still(slot, &fields, name).map_err(wrong)?);
        if !known.insert(slot) {
            return Err(wrong(format!("still {} is listed twice", slot + 1)));
        }
    }
    Ok(stills)
}

/// A still's name on one line, as tables have it.
#[must_use]
pub fn printable(name: &str) -> String {
    name.chars().map(|letter| if letter.is_control() { '\u{fffd}' } else { letter }).collect::<String>().trim().to_owned()
}

/// Whether what a table calls a still, where it calls it anything, is this name.
#[must_use]
pub fn is_of(written: &str, name: &str) -> bool {
    written.is_empty() || written == printable(name)
}

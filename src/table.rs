//! Tables with a line a still, which people may read, edit and feed back: comma-separated, the still's number first,
//! its name last.

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

/// Writes a table as comma-separated values (RFC 4180): `head`, and then a line a still, fields quoted where they have
/// to be.
#[must_use]
pub fn write<const COLUMNS: usize>(
    head: [&str; COLUMNS],
    stills: impl IntoIterator<Item = [String; COLUMNS]>,
) -> String {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    // Into memory, and UTF-8 as it came.
    let mut line = |fields: &mut dyn Iterator<Item = &str>| writer.write_record(fields).is_ok();
    let mut is_written = line(&mut head.into_iter());
    for fields in stills {
        is_written &= line(&mut fields.iter().map(String::as_str));
    }
    debug_assert!(is_written, "memory takes every line");
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// Reads a table of `columns` columns: `still` makes what it is read into of a line's slot (from 0), its fields, the
/// still's number the first of them, and the name in the last, empty where the line ends before it. Blank lines and a
/// first one of headings are passed over. Commas in a name that somebody wrote without quotes are the name's.
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
    let text = text.trim_start_matches('\u{feff}');
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error.position().map_or(1, csv::Position::line);
            TableError {
                line: usize::try_from(line).unwrap_or(usize::MAX),
                what: "this is no line of fields and commas".into(),
            }
        })?;
        let at = record.position().map_or(1, csv::Position::line);
        let wrong = |what: String| TableError { line: usize::try_from(at).unwrap_or(usize::MAX), what };
        let mut fields: Vec<&str> = record.iter().collect();
        if fields.iter().all(|field| field.is_empty()) || (stills.is_empty() && fields[0] == "still") {
            continue;
        }
        let name = fields.get(columns - 1..).unwrap_or_default().join(", ");
        fields.truncate(columns);
        let slot = fields[0].parse::<usize>().ok().and_then(|still| still.checked_sub(1));
        let slot = slot.ok_or_else(|| {
            wrong(format!("a line begins with a still's number, counted from 1; seen '{}'", fields[0]))
        })?;
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
    name.chars()
        .map(|letter| if letter.is_control() { '\u{fffd}' } else { letter })
        .collect::<String>()
        .trim()
        .to_owned()
}

/// Whether what a table calls a still, where it calls it anything, is this name.
#[must_use]
pub fn is_of(written: &str, name: &str) -> bool {
    written.is_empty() || written == printable(name)
}

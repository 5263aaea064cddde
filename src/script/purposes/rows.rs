//! A table of purposes as it is written: rows, fields, sources, each with its line.

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;

use mlua::{Lua, Value};
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use crate::diag::{Diagnostic, Diagnostics, Place, nearest};
use crate::shot::Figure;

/// The longest table that is read, in bytes.
const LONGEST: usize = 1 << 20;
/// What holds the sources of a row's figures.
const SOURCE: &str = "source";
/// What holds the date of a table.
const DATED: &str = "dated";

/// A value without its place.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::script) enum Plain {
    Text(String),
    Whole(i64),
    Number(f64),
    Truth(bool),
    List(Vec<Plain>),
    Table(Vec<(String, Plain)>),
}

/// A field of a row.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::script) struct Field {
    pub(in crate::script) name: String,
    pub(in crate::script) place: Place,
    pub(in crate::script) value: Plain,
}

/// A row as it is written.
#[derive(Debug)]
pub(in crate::script) struct RawRow {
    pub(in crate::script) name: String,
    pub(in crate::script) place: Place,
    /// In the order of their names.
    pub(in crate::script) fields: Vec<Field>,
    sources: Vec<Field>,
}

impl Plain {
    fn of(value: &DeValue<'_>) -> Self {
        match value {
            DeValue::String(text) => Self::Text(text.to_string()),
            DeValue::Boolean(truth) => Self::Truth(*truth),
            DeValue::Datetime(time) => Self::Text(time.to_string()),
            DeValue::Array(values) => Self::List(values.iter().map(|value| Self::of(value.get_ref())).collect()),
            DeValue::Table(table) => Self::Table(
                table.iter().map(|(name, value)| (name.get_ref().to_string(), Self::of(value.get_ref()))).collect(),
            ),
            DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
                .map_or_else(|_too_long| Self::Text(number.as_str().to_owned()), Self::Whole),
            DeValue::Float(number) => {
                number.as_str().parse().map_or_else(|_none| Self::Text(number.as_str().to_owned()), Self::Number)
            }
        }
    }

    /// As Lua writes it: lists are counted from 1.
    pub(in crate::script) fn to_lua(&self, lua: &Lua) -> mlua::Result<Value> {
        Ok(match self {
            Self::Text(text) => Value::String(lua.create_string(text)?),
            Self::Whole(number) => Value::Integer(*number),
            Self::Number(number) => Value::Number(*number),
            Self::Truth(truth) => Value::Boolean(*truth),
            Self::List(values) => {
                let table = lua.create_table()?;
                for (place, value) in (1..).zip(values) {
                    table.raw_set(place, value.to_lua(lua)?)?;
                }
                Value::Table(table)
            }
            Self::Table(values) => {
                let table = lua.create_table()?;
                for (name, value) in values {
                    table.raw_set(name.as_str(), value.to_lua(lua)?)?;
                }
                Value::Table(table)
            }
        })
    }

    /// The number that it is.
    pub(in crate::script) fn number(&self) -> Option<f64> {
        match self {
            #[expect(clippy::cast_precision_loss, reason = "numbers beyond 2^53 lie outside every range")]
            Self::Whole(number) => Some(*number as f64),
            Self::Number(number) => Some(*number),
            _ => None,
        }
    }

    /// What a table calls itself.
    pub(in crate::script) fn named(&self) -> Option<&Self> {
        let Self::Table(values) = self else { return None };
        values.iter().find(|(name, _)| name == "name").map(|(_, value)| value)
    }
}

impl fmt::Display for Plain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => f.write_str(text),
            Self::Whole(number) => write!(f, "{number}"),
            Self::Number(number) => write!(f, "{}", crate::diag::number(*number)),
            Self::Truth(truth) => write!(f, "{truth}"),
            Self::List(values) => {
                write!(f, "[{}]", values.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))
            }
            Self::Table(values) => {
                let said: Vec<String> = values.iter().map(|(name, value)| format!("{name} = {value}")).collect();
                f.write_str(&said.join(", "))
            }
        }
    }
}

/// Where things of a table stand.
struct Lines<'a> {
    path: &'a Path,
    text: &'a str,
}

impl Lines<'_> {
    fn place(&self, at: usize) -> Place {
        let before = self.text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count();
        Place::new(self.path, u32::try_from(before + 1).unwrap_or(u32::MAX))
    }

    fn of<T>(&self, spanned: &Spanned<T>) -> Place {
        self.place(spanned.span().start)
    }

    fn fields(&self, table: &DeTable<'_>) -> Vec<Field> {
        let field = |(name, value): (&Spanned<DeString<'_>>, &Spanned<DeValue<'_>>)| Field {
            name: name.get_ref().to_string(),
            place: self.of(name),
            value: Plain::of(value.get_ref()),
        };
        table.iter().map(field).collect()
    }
}

/// The date of a table, and its rows in the order in which they stand.
///
/// # Errors
/// Every mistake that can be seen without knowing what a row may say.
pub(in crate::script) fn raw_rows(path: &Path, text: &str) -> Result<(String, Vec<RawRow>), Diagnostics> {
    let lines = Lines { path, text };
    if text.len() > LONGEST {
        let mistake = Diagnostic::mistake(format!("{}: a table of at most {LONGEST} bytes is read", path.display()));
        return Err(mistake.into());
    }
    let root = DeTable::parse(text).map_err(|error| {
        let mistake = Diagnostic::mistake(format!("this is not TOML: {}", error.message()));
        let at = error.span().map_or(0, |span| span.start);
        Diagnostics::from(
            mistake.at(&lines.place(at)).help("texts stand in quotes, and every row begins with [\"its name\"]"),
        )
    })?;
    let mut found = Diagnostics::default();
    let (mut dated, mut rows) = (None, Vec::new());
    for (name, value) in root.get_ref() {
        let place = lines.of(name);
        let name = name.get_ref().to_string();
        match value.get_ref() {
            DeValue::Table(table) if name != DATED => {
                if !is_name(&name) {
                    let mistake =
                        Diagnostic::mistake(format!("a purpose has a name of 1 to 64 letters; seen {name:?}"));
                    found.push(mistake.at(&place));
                }
                let sources =
                    table.iter().find(|(field, _)| field.get_ref() == SOURCE).map(|(_, value)| value.get_ref());
                let sources = match sources {
                    Some(DeValue::Table(sources)) => lines.fields(sources),
                    _ => Vec::new(),
                };
                let mut fields = lines.fields(table);
                fields.retain(|field| field.name != SOURCE || !matches!(field.value, Plain::Table(_)));
                rows.push(RawRow { name, place, fields, sources });
            }
            value if name == DATED && has_month(&Plain::of(value).to_string()) => {
                dated = Some(Plain::of(value).to_string())
            }
            _ if name == DATED => {
                found.push(
                    Diagnostic::mistake("dated must be a day").at(&place).word(DATED).help("write dated = 2026-11-30"),
                );
            }
            _ => {
                let mistake = Diagnostic::mistake(format!("a table of purposes has rows and a date; seen '{name}'"));
                found.push(
                    mistake.at(&place).word(&name).help("a row begins with [\"its name\"], on a line of its own"),
                );
            }
        }
    }
    if dated.is_none() && !found.refused() {
        let mistake = Diagnostic::mistake("this table has no date").at(&lines.place(0));
        found.push(mistake.help("write dated = 2026-11-30 before its first row"));
    }
    rows.sort_by_key(|row| row.place.line);
    if found.refused() { Err(found) } else { Ok((dated.unwrap_or_default(), rows)) }
}

/// Whether a row may be called that.
fn is_name(name: &str) -> bool {
    (1..=64).contains(&name.chars().count()) && !name.trim().is_empty() && !name.contains(char::is_control)
}

/// Whether a month stands in a text: `2026-11`.
fn has_month(text: &str) -> bool {
    let digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    let is_month = |window: &[u8]| {
        digits(&window[..4])
            && window[4] == b'-'
            && digits(&window[5..])
            && (b"01"..=b"12").contains(&&[window[5], window[6]])
    };
    text.as_bytes().windows(7).any(is_month)
}

impl RawRow {
    /// Says which fields a row does not have, and which figures lack a source.
    pub(in crate::script) fn check_fields(&self, known: &[&str], found: &mut Diagnostics) {
        let row = &self.name;
        for field in self.fields.iter().filter(|field| !known.contains(&field.name.as_str())) {
            let mistake = Diagnostic::mistake(format!("{row:?}: a purpose has no field '{}'", field.name));
            let mistake = mistake.at(&field.place).word(&field.name);
            let mistake = match nearest(&field.name, known) {
                Some(near) => mistake.help(format!("did you mean '{near}'?")),
                None => mistake,
            };
            found.push(mistake.help(format!("available: {}, and source.FIELD for each", known.join(", "))));
        }
        let is_known = |field: &&Field| known.contains(&field.name.as_str());
        for field in self.fields.iter().filter(is_known) {
            let source = self.sources.iter().find(|source| source.name == field.name);
            let (place, seen) = match source.map(|source| (&source.place, &source.value)) {
                Some((_, Plain::Text(text))) if has_month(text) => continue,
                Some((place, Plain::Text(text))) => (place, format!("has no month in it: {text:?}")),
                Some((place, other)) => (place, format!("must be a text; seen {other}")),
                None => (&field.place, "is missing".to_owned()),
            };
            let name = &field.name;
            let mistake = Diagnostic::mistake(format!("{row:?}: the source of {name} {seen}")).at(place).word(name);
            found.push(mistake.help(format!("write source.{name} = \"whose figure it is, 2026-11\"")));
        }
        for source in &self.sources {
            if !self.fields.iter().any(|field| field.name == source.name) {
                let message = format!("{row:?}: source.{0} is of no figure: the row has no {0}", source.name);
                found.push(Diagnostic::mistake(message).at(&source.place).word(&source.name));
            }
        }
    }

    /// What it says as texts, with sources; `text` says what a field is where it is more than what was written.
    pub(in crate::script) fn figures(&self, text: impl Fn(&str) -> Option<String>) -> BTreeMap<String, Figure> {
        let figure = |field: &Field| {
            let source = self.sources.iter().find(|source| source.name == field.name);
            let source = source.map_or_else(String::new, |source| source.value.to_string());
            let value = text(&field.name).unwrap_or_else(|| field.value.to_string());
            (field.name.clone(), Figure { value, source, place: field.place.clone() })
        };
        self.fields.iter().map(figure).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::has_month;

    #[test]
    fn a_month_is_four_digits_and_one_of_twelve() {
        assert!(has_month("common practice, no source, 2026-11") && has_month("2026-01-31"));
        for none in ["", "2026", "2026-00", "2026-13", "2026/11", "202-11"] {
            assert!(!has_month(none), "{none}");
        }
    }
}

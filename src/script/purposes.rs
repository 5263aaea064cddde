//! The table of purposes: rows of figures that deliveries take by name.
//!
//! In: the table that comes with the program, and the user's own, where there is one. Out: rows, each with what a script
//! would write in a delivery, and with what the delivery is held against. `tables` reads the former as it reads a
//! script, so that a row can say what a script can.
//!
//! ## Decisions
//!
//! - The user's rows go before the program's of the same name, as a whole; rows that the user's table does not have are
//!   still there.
//! - Every figure needs a source with a month in it: a figure that nobody can check is worth nothing later.
//! - All of a table is read before a row of it is used. A script that uses no purpose reads none.
//! - TOML has no table with both places and names, so a codec's table names its codec: `{ name = "h264", … }` is
//!   `{ "h264", … }` in a script.

mod rows;

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use mlua::{Lua, Table, Value};

use super::fields::DELIVERY;
use super::reader::Reader;
use super::state::State;
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Margins;
use crate::shot::{Codec, Purpose};
use crate::units::{FrameRate, Size};

use rows::{Field, RawRow, raw_rows};

/// The table that comes with the program.
pub(super) const SHIPPED: &str = include_str!("../../scripts/deliveries.toml");
/// Its path, as places name it.
pub(super) const SHIPPED_PATH: &str = "stillpath:deliveries.toml";

/// The fields of a row that bound a delivery and are no part of it, with what they must be.
const BOUNDS: [(&str, &str); 3] = [
    ("most", "bits a second, above 0 and up to 100 000 000 000"),
    ("most_seconds", "seconds, above 0 and up to 86 400"),
    ("most_bytes", "a whole number of bytes, above 0"),
];
/// The fields of a row that are a delivery's.
const OWN: [&str; 5] = ["frame", "fps", "codec", "quality", "safe"];

/// What a row's own fields come to, read as a script's.
pub(super) struct Said {
    pub(super) frame: Option<Size>,
    pub(super) fps: Option<FrameRate>,
    pub(super) codec: Option<Codec>,
    pub(super) safe: Option<Margins>,
}

/// A row that can be taken.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) purpose: Arc<Purpose>,
    /// Its fields as they are written.
    values: Vec<Field>,
}

/// Where the rows of a script's run are kept.
pub(super) struct Shelf {
    user: Option<PathBuf>,
    /// Nothing where the user's table is broken: that is recorded.
    rows: OnceLock<Option<Vec<Row>>>,
}

impl Shelf {
    /// For a user's own table at this path.
    pub(super) fn new(user: Option<PathBuf>) -> Self {
        Self { user, rows: OnceLock::new() }
    }

    fn rows(&self, state: &State, read: fn(&Reader) -> Said) -> Option<&[Row]> {
        let first = || match all(self.user.as_deref(), read) {
            Ok(rows) => Some(rows),
            Err(mistakes) => {
                mistakes.0.into_iter().for_each(|mistake| state.record(mistake));
                None
            }
        };
        self.rows.get_or_init(first).as_deref()
    }
}

/// The row that a delivery names, none where it names none; where there is no such row, that is recorded.
pub(super) fn row(lua: &Lua, reader: &Reader, read: fn(&Reader) -> Said) -> Option<Row> {
    let name = reader.text("purpose")?;
    let shelf = lua.app_data_ref::<Shelf>();
    let shelf = shelf.as_deref();
    let Some(rows) = shelf.and_then(|shelf| shelf.rows(&reader.state, read)) else {
        reader.set_broken();
        return None;
    };
    let found = rows.iter().find(|row| row.purpose.name == name).cloned();
    if found.is_none() {
        let names: Vec<&str> = rows.iter().map(|row| row.purpose.name.as_str()).collect();
        let mistake = Diagnostic::mistake(format!("no purpose is called {:?}", super::value::shorten(&name)));
        let mistake = match crate::diag::nearest(&name, &names) {
            Some(near) => mistake.help(format!("did you mean {near:?}?")),
            None => mistake,
        };
        let listed = names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ");
        let mistake = mistake.word(super::value::shorten(&name)).help(format!("available: {listed}"));
        reader.mistake_in("purpose", mistake.help("`stillpath purposes` lists them with their figures"));
    }
    found
}

impl Row {
    /// A delivery's table with what this row says wherever the script says nothing itself.
    pub(super) fn under(&self, lua: &Lua, reader: &Reader) -> mlua::Result<Table> {
        let whole = lua.create_table()?;
        for (place, (_, value)) in (1..).zip(reader.items()) {
            whole.raw_set(place, value)?;
        }
        for field in DELIVERY.fields {
            whole.raw_set(field.name, reader.raw(field.name))?;
        }
        // A quality is a codec's: another codec leaves the row's behind, and another quality its codec's own settings.
        let sized = reader.has("size");
        let (codec, quality) = (reader.has("codec"), reader.has("quality") || sized);
        for field in self.values.iter().filter(|field| DELIVERY.field(&field.name).is_some()) {
            // Nor has every codec room for a row's cap; what comes out is held against it all the same.
            let other = codec && ["quality", "most"].contains(&field.name.as_str());
            if reader.has(&field.name) || other || sized && field.name == "quality" {
                continue;
            }
            let value = match field.value.named().filter(|_| quality && field.name == "codec") {
                Some(name) => name.to_lua(lua)?,
                None => lua_value(lua, field)?,
            };
            whole.raw_set(field.name.as_str(), value)?;
        }
        Ok(whole)
    }
}

/// A field's value as a script would write it.
fn lua_value(lua: &Lua, field: &Field) -> mlua::Result<Value> {
    let value = field.value.to_lua(lua)?;
    if let (Value::Table(table), "codec") = (&value, field.name.as_str()) {
        let name: Value = table.raw_get("name")?;
        table.raw_set(1, name)?;
        table.raw_set("name", Value::Nil)?;
    }
    Ok(value)
}

/// All rows: the user's, then those of the program's that the user's table does not have.
///
/// # Errors
/// Every mistake in the user's table.
pub(super) fn all(user: Option<&Path>, read: fn(&Reader) -> Said) -> Result<Vec<Row>, Diagnostics> {
    let mut rows = Vec::new();
    if let Some(path) = user {
        match std::fs::read_to_string(path) {
            Ok(text) => rows = table(path, &text, "your table", read)?,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => {
                let mistake = Diagnostic::mistake(format!("{}: {error}", path.display()));
                return Err(mistake.help("it is the table of purposes; remove it to use the program's").into());
            }
        }
    }
    let shipped = table(Path::new(SHIPPED_PATH), SHIPPED, "the program's table", read)?;
    let new = |row: &Row| !rows.iter().any(|own: &Row| own.purpose.name == row.purpose.name);
    let shipped: Vec<Row> = shipped.into_iter().filter(new).collect();
    rows.extend(shipped);
    Ok(rows)
}

/// The rows of one table.
///
/// # Errors
/// Every mistake in it.
fn table(path: &Path, text: &str, whose: &str, read: fn(&Reader) -> Said) -> Result<Vec<Row>, Diagnostics> {
    let (dated, raw) = raw_rows(path, text)?;
    let known = [&OWN[..], &BOUNDS.map(|(name, _)| name)].concat();
    let mut found = Diagnostics::default();
    let mut rows = Vec::new();
    let lua = Lua::new_with(mlua::StdLib::NONE, mlua::LuaOptions::default());
    for row in raw {
        row.check_fields(&known, &mut found);
        match &lua {
            Ok(lua) => rows.extend(made(lua, row, &format!("{whose}, {dated}"), read, &mut found)),
            Err(error) => found.push(Diagnostic::mistake(error.to_string())),
        }
    }
    if found.refused() { Err(found) } else { Ok(rows) }
}

/// A row read as a script's delivery is, and its bounds.
fn made(lua: &Lua, raw: RawRow, table: &str, read: fn(&Reader) -> Said, found: &mut Diagnostics) -> Option<Row> {
    let state = Arc::new(State::default());
    let own = |field: &&Field| OWN.contains(&field.name.as_str());
    let values = lua.create_table().ok()?;
    for field in raw.fields.iter().filter(own) {
        values.raw_set(field.name.as_str(), lua_value(lua, field).ok()?).ok()?;
    }
    let lines = raw.fields.iter().map(|field| (format!("delivery.{}", field.name), field.place.line)).collect();
    let said = read(&Reader::of_row(&state, &raw.place, &DELIVERY, values, lines));
    for mistake in state.take_diagnostics().0 {
        let message = format!("{:?}: {}", raw.name, mistake.message.replacen("delivery.", "", 1));
        // What is said of the call as a whole is of the field that it points at.
        let field = raw.fields.iter().find(|field| mistake.word.as_ref() == Some(&field.name));
        let place = field.map(|field| field.place.clone()).or(mistake.place);
        let message = crate::diag::fit(&message).into_owned();
        let mistake = Diagnostic { message, place, help: Vec::new(), ..mistake };
        found.push(mistake.help("as in a script, but lists are written [1080, 1920], and tables { bottom = 0.2 }"));
    }
    let bound = |name: &str, whole: bool, most: f64, found: &mut Diagnostics| {
        let field = raw.fields.iter().find(|field| field.name == name)?;
        let number = field.value.number().filter(|number| *number > 0.0 && *number <= most);
        let number = number.filter(|number| !whole || number.fract() == 0.0);
        if number.is_none() {
            let must = BOUNDS.iter().find(|(known, _)| *known == name).map_or("", |(_, must)| must);
            let message = format!("{:?}: {name} must be {must}; seen {}", raw.name, field.value);
            found.push(Diagnostic::mistake(message).at(&field.place).word(name));
        }
        number
    };
    let most = bound("most", false, 1e11, found);
    let most_seconds = bound("most_seconds", false, 86_400.0, found);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, above 0 and below 2^53")]
    let most_bytes = bound("most_bytes", true, 9e15, found).map(|bytes| bytes as u64);
    let Said { frame, fps, codec, safe } = said;
    let figures = raw.figures(|field| match field {
        "frame" => frame.map(|frame| frame.to_string()),
        "fps" => fps.map(|fps| fps.to_string()),
        _ => None,
    });
    let codec = codec.as_ref().map(Codec::name).filter(|_| figures.contains_key("codec"));
    let RawRow { name, place, fields: values, .. } = raw;
    let table = table.to_owned();
    let purpose = Purpose { name, table, figures, place, frame, fps, codec, safe, most, most_seconds, most_bytes };
    Some(Row { purpose: Arc::new(purpose), values })
}

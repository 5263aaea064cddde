//! `arguments`: what a move was called with, over its defaults. Its mistakes are the caller's.

use mlua::{Lua, Table, Value};

use super::fields::ARGUMENTS;
use super::reader::Reader;
use super::value::{seen, shorten};
use crate::diag::Diagnostic;

/// Makes `arguments` a global.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    globals.raw_set(
        ARGUMENTS.name,
        lua.create_function(|lua, values| match Reader::open(lua, &ARGUMENTS, values) {
            Some(reader) => merged(lua, &reader),
            None => lua.create_table(),
        })?,
    )
}

fn merged(lua: &Lua, reader: &Reader) -> mlua::Result<Table> {
    let merged = lua.create_table()?;
    let Some(name) = reader.text("move") else { return Ok(merged) };
    let Value::Table(defaults) = reader.raw("defaults") else {
        reader.refuse("defaults", None);
        return Ok(merged);
    };
    let mut names = Vec::new();
    for pair in defaults.pairs::<Value, Value>() {
        let (argument, default) = pair?;
        if let Value::String(text) = &argument {
            names.push(text.to_string_lossy());
        }
        merged.raw_set(argument, default)?;
    }
    names.sort_unstable();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let given = match reader.raw("given") {
        Value::Table(given) => given,
        other => {
            reader.mistake(
                Diagnostic::mistake(format!("{name} takes one table; seen {}", seen(&other)))
                    .word(&name)
                    .help(format!("write {name} {{ … }} with any of: {}", names.join(", "))),
            );
            return Ok(merged);
        }
    };
    let mut unknown = Vec::new();
    for pair in given.pairs::<Value, Value>() {
        let (argument, value) = pair?;
        let text = argument.as_string().map(|text| text.to_string_lossy());
        match text.filter(|text| names.contains(&text.as_str())) {
            Some(text) => merged.raw_set(text, value)?,
            None => unknown.push(argument.as_string().map_or_else(|| seen(&argument), |text| text.to_string_lossy())),
        }
    }
    unknown.sort_unstable();
    for argument in unknown {
        let argument = shorten(&argument);
        reader.mistake(
            Diagnostic::mistake(format!("{name} has no argument '{argument}'"))
                .word(&argument)
                .nearest(&argument, &names),
        );
    }
    Ok(merged)
}

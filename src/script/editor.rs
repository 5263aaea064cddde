//! The definitions that the Lua language server reads (LuaCATS annotations), made from the same forms that check
//! scripts.

use std::fmt::Write as _;

use super::form::{Field, Form, Items, Style, Wants};
use super::made::Kind;
use super::{Move, embedded, fields};

/// The whole definitions file: valid Lua that defines nothing when run.
pub(super) fn types() -> String {
    let mut out = String::from(
        "---@meta\n\n-- What a Stillpath script may call. Made by `stillpath types`; point the Lua language server's\n-- workspace.library at the folder this file is in.\n",
    );
    for kind in Kind::ALL {
        let _infallible = write!(out, "\n---{}\n---@class {}\n", sentence(kind.words()), kind.class());
    }
    for form in fields::all() {
        out += &match form.style {
            Style::Table | Style::TableOrText => class(form) + &table_call(form),
            Style::Inner => class(form),
            Style::Call => call(form),
        };
    }
    out += "\n---What require \"moves\" gives: every move by its name, each also as require \"moves.NAME\".\n---@class stillpath.Moves\n";
    for Move { name, help, gives, .. } in embedded::moves() {
        let kind = if gives == "pace" { Kind::Pace } else { Kind::Framing };
        let _infallible = writeln!(out, "---@field {name} fun(given: table): {} {help}", kind.class());
    }
    out
}

/// The class of a constructor's table.
fn class(form: &Form) -> String {
    let mut out = format!("\n---@class {}\n", form.class());
    if let Some(Items { wants, least, most, what }) = &form.items {
        let key = if *most == 1 { "1" } else { "integer" };
        let optional = if *least == 0 || form.field("table").is_some() { "|nil" } else { "" };
        let _infallible = writeln!(out, "---@field [{key}] {}{optional} {what}", wants.lua_type());
    }
    for field in form.fields {
        let optional = if field.default.is_some() { "?" } else { "" };
        let _infallible =
            writeln!(out, "---@field {}{optional} {} {}", field.name, field.wants.lua_type(), described(field));
    }
    out
}

/// A constructor called with a table.
fn table_call(form: &Form) -> String {
    let returned = form.gives.map(|kind| format!("---@return {}\n", kind.class())).unwrap_or_default();
    let text = if form.style == Style::TableOrText { "|string" } else { "" };
    format!(
        "\n---{}\n---@param fields {}{text}\n{returned}function {}(fields) end\n",
        form.help,
        form.class(),
        form.name
    )
}

/// A constructor called with plain values.
fn call(form: &Form) -> String {
    let mut out = format!("\n---{}\n", form.help);
    // What these two give is what they were given.
    let generic = match form.name {
        "dial" => Some(("number|string|boolean", "default")),
        "arguments" => Some(("table", "defaults")),
        _ => None,
    };
    if let Some((of, _)) = generic {
        let _infallible = writeln!(out, "---@generic T: {of}");
    }
    for field in form.fields {
        let optional = if field.default.is_some() { "?" } else { "" };
        let kind = match generic {
            Some((_, name)) if name == field.name => "T".to_owned(),
            _ => field.wants.lua_type(),
        };
        let _infallible = writeln!(out, "---@param {}{optional} {kind} {}", field.name, described(field));
    }
    match (generic, form.gives) {
        (Some(_), _) => out += "---@return T\n",
        (None, Some(kind)) => out += &format!("---@return {}\n", kind.class()),
        (None, None) => {}
    }
    let _infallible = writeln!(out, "function {}({}) end", form.name, form.names().join(", "));
    out
}

/// A field's help with what is allowed and what holds without it.
fn described(field: &Field) -> String {
    let allowed = match field.wants {
        Wants::Number(_)
        | Wants::Whole { .. }
        | Wants::Seconds
        | Wants::Loop
        | Wants::FrameRate
        | Wants::Name
        | Wants::Frame
        | Wants::StillName => {
            format!("; {}", field.wants.words())
        }
        _ => String::new(),
    };
    let default = field.default.map(|default| format!(" (default: {default})")).unwrap_or_default();
    format!("{}{allowed}{default}", field.help)
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect::<String>() + ".").unwrap_or_default()
}

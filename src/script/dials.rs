//! Dials: values a script lets its user set, typed and ranged by their declaration.

use std::sync::Arc;

use mlua::{Lua, Table, Value};

use super::fields::{self, DIAL_OPTIONS};
use super::reader::Reader;
use super::state::State;
use super::value::{plain_number, seen, short_text};
use super::{Dial, DialValue};
use crate::diag::{Diagnostic, nearest};

/// What a dial may be.
struct Limits {
    min: Option<f64>,
    max: Option<f64>,
    choices: Vec<Value>,
}

/// Makes `dial` a global, over what `--set` gave.
pub(super) fn install(lua: &Lua, globals: &Table, settings: Vec<(String, String)>) -> mlua::Result<()> {
    let settings = Arc::new(settings);
    globals.raw_set(
        "dial",
        lua.create_function(move |lua, arguments| {
            let fallback = |arguments: &mlua::MultiValue| arguments.get(1).cloned().unwrap_or(Value::Nil);
            let default = fallback(&arguments);
            State::of(lua).charge(1)?;
            match Reader::open(lua, fields::call("dial"), arguments) {
                Some(reader) => declare(lua, &reader, &settings),
                None => Ok(default),
            }
        })?,
    )
}

/// Declares one; gives its value, or its default where anything is wrong.
fn declare(lua: &Lua, reader: &Reader, settings: &[(String, String)]) -> mlua::Result<Value> {
    let default = reader.raw("default");
    let name = reader.text("name");
    let usable = match &default {
        Value::Boolean(_) => true,
        Value::String(_) => short_text(&default).is_some(),
        other => plain_number(other).is_some_and(f64::is_finite),
    };
    if !usable && !default.is_nil() {
        reader.refuse("default", None);
    }
    let (limits, help) = options(reader, &default);
    if !reader.is_broken()
        && let Some(reason) = limits.refuses(&default)
    {
        reader.mistake(Diagnostic::mistake(format!("dial.default {reason}; seen {}", seen(&default))).word("dial"));
    }
    let Some(name) = name.filter(|_| usable) else { return Ok(default) };
    let known = reader.state.dials().iter().find(|dial| dial.name == name).map(|dial| dial.place.clone());
    if let Some(first) = known {
        reader.mistake(
            Diagnostic::mistake(format!("the dial '{name}' is declared twice"))
                .word(&name)
                .with(&first, "the first time"),
        );
        return Ok(default);
    }
    let value = match settings.iter().rev().find(|(set, _)| *set == name) {
        Some((_, text)) => set(lua, reader, &name, text, &default, &limits)?,
        None => default.clone(),
    };
    reader.state.dials().push(Dial {
        place: reader.place.clone(),
        name,
        given: typed(&value),
        default: as_lua(&default),
        value: as_lua(&value),
        allowed: limits.words(&default),
        range: limits.min.zip(limits.max),
        choices: limits.choices.iter().map(typed).collect(),
        help,
    });
    Ok(value)
}

fn options(reader: &Reader, default: &Value) -> (Limits, String) {
    let mut limits = Limits { min: None, max: None, choices: Vec::new() };
    let table = match reader.raw("options") {
        Value::Nil => return (limits, String::new()),
        Value::Table(table) => table,
        _ => {
            reader.refuse("options", None);
            return (limits, String::new());
        }
    };
    let own = reader.inner(&DIAL_OPTIONS, table);
    limits.min = own.number("min");
    limits.max = own.number("max");
    let help = own.text("help").unwrap_or_default();
    let is_number = plain_number(default).is_some();
    for name in ["min", "max"] {
        if own.has(name) && !is_number {
            own.mistake(
                Diagnostic::mistake(format!(
                    "{name} is for a dial that is a number; this one's default is {}",
                    seen(default)
                ))
                .word(name),
            );
        }
    }
    if let (Some(min), Some(max)) = (limits.min, limits.max)
        && min > max
    {
        own.mistake(
            Diagnostic::mistake(format!("dial.options.min must be up to max; seen {min} and {max}")).word("min"),
        );
    }
    match own.raw("choices") {
        Value::Nil => {}
        Value::Table(choices) => {
            limits.choices = choices.sequence_values().collect::<mlua::Result<_>>().unwrap_or_default();
            if limits.choices.is_empty() || !limits.choices.iter().all(|choice| same_type(choice, default)) {
                own.mistake(
                    Diagnostic::mistake(
                        "dial.options.choices must be a list of at least one value of the default's type",
                    )
                    .word("choices"),
                );
                limits.choices.clear();
            }
        }
        _ => own.refuse("choices", None),
    }
    if own.is_broken() {
        reader.set_broken();
    }
    (limits, help)
}

fn set(lua: &Lua, reader: &Reader, name: &str, text: &str, default: &Value, limits: &Limits) -> mlua::Result<Value> {
    let (value, wants) = match default {
        Value::Boolean(_) => (text.parse::<bool>().ok().map(Value::Boolean), "true or false"),
        Value::String(_) => (Some(Value::String(lua.create_string(text)?)), "a text"),
        _ => {
            let whole =
                matches!(default, Value::Integer(_)).then(|| text.parse::<i64>().ok()).flatten().map(Value::Integer);
            let number = || text.parse::<f64>().ok().filter(|number| number.is_finite()).map(Value::Number);
            (whole.or_else(number), "a number")
        }
    };
    let refused = match &value {
        None => Some(format!("must be {wants}")),
        Some(value) => limits.refuses(value),
    };
    if let Some(reason) = refused {
        let mistake = Diagnostic::mistake(format!("--set {name}: the dial {reason}; seen {text:?}"))
            .word(name)
            .help(format!("its default is {}", as_lua(default)));
        let with_point = text.replacen(',', ".", 1);
        reader.mistake(match value.is_none() && with_point.parse::<f64>().is_ok() {
            true => mistake.help(format!("decimals take a point: --set {name}={with_point}")),
            false => mistake,
        });
        return Ok(default.clone());
    }
    Ok(value.unwrap_or_else(|| default.clone()))
}

/// Records what was set and is no dial of the script.
pub(super) fn check_settings(state: &State, settings: &[(String, String)]) {
    let dials = state.dials();
    let names: Vec<&str> = dials.iter().map(|dial| dial.name.as_str()).collect();
    let mut unknown = Vec::new();
    for (name, _) in settings.iter().filter(|(name, _)| !names.contains(&name.as_str())) {
        let diagnostic = Diagnostic::mistake(format!("--set {name}: the script has no dial of that name"));
        unknown.push(match (nearest(name, &names), names.is_empty()) {
            (None, true) => diagnostic.help("it declares no dials"),
            _ => diagnostic.nearest(name, &names),
        });
    }
    drop(dials);
    for diagnostic in unknown {
        state.record(diagnostic);
    }
}

impl Limits {
    /// Why a value is not allowed.
    fn refuses(&self, value: &Value) -> Option<String> {
        let number = plain_number(value);
        let low = self.min.is_some_and(|min| number.is_some_and(|number| number < min));
        let high = self.max.is_some_and(|max| number.is_some_and(|number| number > max));
        let strange = !self.choices.is_empty() && !self.choices.iter().any(|choice| same_value(choice, value));
        (low || high || strange).then(|| format!("must be {}", self.words(value)))
    }

    /// What is allowed, in words.
    fn words(&self, default: &Value) -> String {
        if !self.choices.is_empty() {
            return format!("one of {}", self.choices.iter().map(as_lua).collect::<Vec<_>>().join(", "));
        }
        match (default, self.min, self.max) {
            (Value::Boolean(_), ..) => "true or false".into(),
            (Value::String(_), ..) => "a text".into(),
            (_, Some(min), Some(max)) => format!("{min} to {max}"),
            (_, Some(min), None) => format!("{min} or more"),
            (_, None, Some(max)) => format!("up to {max}"),
            (_, None, None) => "a number".into(),
        }
    }
}

fn same_type(one: &Value, other: &Value) -> bool {
    match (plain_number(one), plain_number(other)) {
        (Some(number), Some(_)) => number.is_finite(),
        (None, None) => one.type_name() == other.type_name(),
        _ => false,
    }
}

fn same_value(one: &Value, other: &Value) -> bool {
    match (plain_number(one), plain_number(other)) {
        #[expect(clippy::float_cmp, reason = "a choice is one of the very numbers listed")]
        (Some(one), Some(other)) => one == other,
        (None, None) => one.equals(other).unwrap_or(false),
        _ => false,
    }
}

/// A value that a dial may have, as such.
fn typed(value: &Value) -> DialValue {
    match value {
        Value::Boolean(truth) => DialValue::Truth(*truth),
        Value::Integer(number) => DialValue::Whole(*number),
        Value::Number(number) => DialValue::Number(*number),
        other => DialValue::Text(short_text(other).unwrap_or_else(|| seen(other))),
    }
}

/// A value as Lua writes it.
fn as_lua(value: &Value) -> String {
    match value {
        Value::String(_) => short_text(value).map_or_else(|| seen(value), |text| format!("{text:?}")),
        other => seen(other),
    }
}

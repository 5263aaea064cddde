//! Reads a constructor's fields, checking each against what its form says it takes.
//!
//! A wrong field is recorded with the value seen, the range allowed and the nearest real name, and reading goes on, so
//! that all mistakes are found at once. Everything is read raw: a table's metamethods never run here.

mod typed;

use std::cell::Cell;
use std::collections::BTreeMap;
use std::sync::Arc;

use mlua::{Lua, MultiValue, Table, Value};

use super::fields::{self, ARGUMENTS};
use super::form::{Field, Form, Style, Wants};
use super::hints;
use super::state::State;
use super::tokens::Entry;
use super::value::{count, plain_number, seen, short_text, shorten};
use crate::diag::{Diagnostic, Place};
use crate::units::FrameRate;

/// The field of a framing whose keys are in a file.
const TABLE: &str = "table";

/// Where a constructor's values are.
enum Values {
    Table(Table),
    Call(Vec<Value>),
}

/// A value that has a name, or one that a constructor made.
pub(super) enum Named<T> {
    Name(&'static str),
    Made(T),
}

/// The values a constructor was called with.
pub(super) struct Reader {
    pub(super) state: Arc<State>,
    pub(super) place: Place,
    /// The line of the embedded move that made the call, where one did.
    through: Option<Place>,
    form: &'static Form,
    values: Values,
    broken: Cell<bool>,
    /// Where fields stand that no script has written, by path; a script's are looked for in its text.
    lines: Option<Arc<BTreeMap<String, u32>>>,
    /// Whether a decimal comma made a value without a name of a number's decimals: that has been said.
    comma: Cell<bool>,
}

impl Reader {
    /// Takes a constructor's values, and records every name it does not know and every field that is missing. None
    /// where it was called in another way altogether.
    pub(super) fn open(lua: &Lua, form: &'static Form, arguments: MultiValue) -> Option<Self> {
        let state = State::of(lua);
        let place = state.here(lua)?;
        let values = match form.style {
            Style::Call => {
                if arguments.len() > form.fields.len() {
                    let diagnostic = Diagnostic::mistake(format!(
                        "{} takes {}; seen {} values",
                        form.name,
                        count(form.fields.len(), "value"),
                        arguments.len()
                    ))
                    .at(&place)
                    .word(form.name)
                    .help(format!("write {}", form.call()));
                    let whole: Vec<String> =
                        arguments.iter().filter(|value| matches!(value, Value::Integer(_))).map(seen).collect();
                    let is_cut = whole.len() == arguments.len() && whole.len() == 2 * form.fields.len();
                    let decimals: Vec<String> = whole.chunks(2).map(|pair| pair.join(".")).collect();
                    state.record(match is_cut {
                        true => diagnostic.help(format!(
                            "decimals take a point, not a comma: write {}({})",
                            form.name,
                            decimals.join(", ")
                        )),
                        false => diagnostic,
                    });
                    return None;
                }
                Values::Call(arguments.into_iter().collect())
            }
            Style::Table | Style::TableOrText | Style::Inner => {
                let mut arguments = arguments.into_iter();
                match (arguments.next(), arguments.next()) {
                    (Some(text @ Value::String(_)), None) if form.style == Style::TableOrText => {
                        Values::Table(lua.create_sequence_from([text]).ok()?)
                    }
                    (Some(Value::Table(table)), None) => Values::Table(table),
                    (first, second) => {
                        let seen = if second.is_some() {
                            "several values".into()
                        } else {
                            first.as_ref().map_or("nothing".into(), seen)
                        };
                        state.record(
                            Diagnostic::mistake(format!("{} takes one table; seen {seen}", form.name))
                                .at(&place)
                                .word(form.name)
                                .help(match first.as_ref().and_then(short_text) {
                                    Some(text) if form.items.is_some() => {
                                        let more =
                                            if form.name == "delivery" { ", frame = { 1920, 1080 }" } else { "" };
                                        format!("write {} {{ \"{}\"{more} }}", form.name, shorten(&text))
                                    }
                                    _ => format!("write {}", form.call()),
                                }),
                        );
                        return None;
                    }
                }
            }
        };
        let through = state.through(lua).filter(|_| form.name != ARGUMENTS.name);
        let (broken, comma) = (Cell::new(false), Cell::new(false));
        let reader = Self { state, place, through, form, values, broken, lines: None, comma };
        reader.check_names();
        reader.check_missing();
        Some(reader)
    }

    /// Takes a table within a field of `self`.
    pub(super) fn inner(&self, form: &'static Form, table: Table) -> Self {
        let reader = Self {
            state: Arc::clone(&self.state),
            place: self.place.clone(),
            through: self.through.clone(),
            form,
            values: Values::Table(table),
            broken: Cell::new(false),
            lines: self.lines.clone(),
            comma: Cell::new(false),
        };
        reader.check_names();
        reader.check_missing();
        reader
    }

    /// The same call with other values, which have been looked at.
    pub(super) fn over(&self, table: Table) -> Self {
        Self {
            state: Arc::clone(&self.state),
            place: self.place.clone(),
            through: self.through.clone(),
            form: self.form,
            values: Values::Table(table),
            broken: Cell::new(false),
            lines: self.lines.clone(),
            comma: Cell::new(false),
        }
    }

    /// Takes values that are not a script's: they stand in a table of another kind, at these lines.
    pub(super) fn of_row(
        state: &Arc<State>,
        place: &Place,
        form: &'static Form,
        table: Table,
        lines: BTreeMap<String, u32>,
    ) -> Self {
        Self {
            state: Arc::clone(state),
            place: place.clone(),
            through: None,
            form,
            values: Values::Table(table),
            broken: Cell::new(false),
            lines: Some(Arc::new(lines)),
            comma: Cell::new(false),
        }
    }

    /// Whether any mistake was found: what is made of it only stands in.
    pub(super) fn is_broken(&self) -> bool {
        self.broken.get()
    }

    /// Marks what is made of this as only standing in.
    pub(super) fn set_broken(&self) {
        self.broken.set(true);
    }

    /// Lets what is made of this be used in spite of its mistakes.
    pub(super) fn clear_broken(&self) {
        self.broken.set(false);
    }

    /// What the call is of.
    pub(super) fn form_name(&self) -> &'static str {
        self.form.name
    }

    /// The line of a field, where that can be seen; else the call's.
    pub(super) fn place_of_field(&self, name: &str) -> Place {
        self.place_of(self.entry(&format!("{}.{name}", self.form.name)).as_ref())
    }

    /// Records a mistake of a field.
    pub(super) fn mistake_in(&self, name: &str, diagnostic: Diagnostic) {
        self.mistake_at(&self.place_of_field(name), diagnostic);
    }

    /// Records a mistake of this call.
    pub(super) fn mistake(&self, diagnostic: Diagnostic) {
        self.mistake_at(&self.place, diagnostic);
    }

    fn mistake_at(&self, place: &Place, diagnostic: Diagnostic) {
        self.broken.set(true);
        let diagnostic = diagnostic.at(place);
        self.state.record(match &self.through {
            Some(through) => diagnostic.with(through, "the move passes it on here"),
            None => diagnostic,
        });
    }

    /// Where a value of a table is written, where that can be seen: a call knows its own line, its fields do not.
    fn entry(&self, path: &str) -> Option<Entry> {
        if let Some(lines) = &self.lines {
            let (field, line) = lines.iter().find(|(field, _)| {
                path.strip_prefix(field.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
            })?;
            return Some(Entry { line: *line, word: field.rsplit('.').next().unwrap_or(field).to_owned() });
        }
        if self.form.style == Style::Call || self.through.is_some() {
            return None;
        }
        self.state.entry(&self.place, path)
    }

    /// The word that points at a call: its name, or where several of that name stand on the line, all of the one with
    /// this number in it.
    fn call_with(&self, value: &Value) -> String {
        let name = self.form.name.to_owned();
        let Some(number) = plain_number(value).filter(|_| self.through.is_none()) else { return name };
        self.state.call(&self.place, self.form.name, number).unwrap_or(name)
    }

    fn place_of(&self, entry: Option<&Entry>) -> Place {
        entry.map_or_else(|| self.place.clone(), |entry| Place { line: entry.line, ..self.place.clone() })
    }

    /// Records that a field is not what it must be.
    fn wrong(&self, path: &str, wants: Wants, value: &Value, help: Option<String>) {
        let entry = self.entry(path);
        let mut diagnostic = Diagnostic::mistake(format!("{path} must be {}; seen {}", wants.words(), seen(value)));
        diagnostic = diagnostic.word(match (self.form.style, value, &entry) {
            (Style::Table | Style::TableOrText | Style::Inner, Value::Table(_) | Value::UserData(_), Some(entry)) => {
                entry.word.clone()
            }
            (_, Value::String(_), _) | (Style::Table | Style::TableOrText | Style::Inner, ..) => word_of(path, value),
            (Style::Call, ..) => self.call_with(value),
        });
        let hint = || hints::value(self.form, path, wants, value);
        if let Some(help) = help.or_else(hint) {
            for line in help.lines() {
                diagnostic = diagnostic.help(line);
            }
        } else if let (Wants::Choice(names), Value::String(_)) = (wants, value) {
            diagnostic = diagnostic.help(format!("available: {}", names.join(", ")));
        } else if let Wants::Value(kind) = wants
            && let Some(form) = fields::giving(kind)
        {
            diagnostic = diagnostic.help(match value {
                Value::Table(_) if matches!(form.style, Style::Table | Style::TableOrText) => {
                    format!("write {} in front of the brace: {}", form.name, form.call())
                }
                _ => format!("write {}", form.call()),
            });
        }
        self.mistake_at(&self.place_of(entry.as_ref()), diagnostic);
    }

    /// Records that a text is longer than its field takes.
    fn too_long(&self, path: &str, bytes: usize, most: usize) {
        let entry = self.entry(path);
        let word = match &entry {
            Some(entry) => &entry.word,
            None => self.form.name,
        };
        let message = format!("{path} takes at most {most} bytes of text; seen {bytes}");
        let diagnostic = Diagnostic::mistake(message).word(word);
        self.mistake_at(
            &self.place_of(entry.as_ref()),
            match self.form.name {
                "drawing" => diagnostic.help("draw the line with fewer points, or with fewer decimals"),
                _ => diagnostic.help("make the text shorter"),
            },
        );
    }

    fn check_names(&self) {
        let Values::Table(table) = &self.values else { return };
        let mut unknown = Vec::new();
        let mut places = Vec::new();
        for pair in table.pairs::<Value, Value>() {
            let Ok((name, _)) = pair else { continue };
            match name {
                Value::String(name) => {
                    let name = name.to_string_lossy();
                    if self.form.field(&name).is_none() {
                        unknown.push(name);
                    }
                }
                Value::Integer(place) => places.push(place),
                other => unknown.push(seen(&other)),
            }
        }
        unknown.sort_unstable();
        for name in unknown {
            let diagnostic = Diagnostic::mistake(format!("{} has no field '{}'", self.form.name, shorten(&name)))
                .word(shorten(&name));
            let names = self.form.names();
            let entry = self.entry(&format!("{}.{name}", self.form.name));
            let diagnostic = match hints::field(self.form, &name) {
                Some(hint) => diagnostic.help(hint),
                None if names.is_empty() => diagnostic.help("it takes no named fields"),
                None => diagnostic.nearest(&name, &names),
            };
            self.mistake_at(&self.place_of(entry.as_ref()), diagnostic);
        }
        places.sort_unstable();
        if self.has_decimal_comma(table, &places) {
            return;
        }
        let Some(items) = &self.form.items else {
            if let Some(first) = places.first() {
                let value = table.raw_get::<Value>(*first).unwrap_or(Value::Nil);
                let diagnostic = Diagnostic::mistake(format!(
                    "{} takes named fields only; seen {} without a name",
                    self.form.name,
                    seen(&value)
                ))
                .word(self.form.name)
                .help(format!("its fields are: {}", self.form.names().join(", ")));
                self.mistake(match value {
                    Value::Boolean(_) => diagnostic.help("a field takes one '=': zoom = 1.5"),
                    _ => diagnostic,
                });
            }
            return;
        };
        for (due, seen_at) in (1_i64..).zip(&places) {
            if due != *seen_at {
                self.mistake(
                    Diagnostic::mistake(format!(
                        "{}[{due}] is nil: {} stand one after the other",
                        self.form.name, items.what
                    ))
                    .word(self.form.name),
                );
                return;
            }
        }
        // A table brings its keys along.
        let least = if self.has(TABLE) && self.form.field(TABLE).is_some() { 0 } else { items.least };
        if places.len() < least || places.len() > items.most {
            let due = if items.least == items.most {
                format!("exactly {}", items.least)
            } else {
                format!("at least {}", items.least)
            };
            let due = if places.len() > items.most { format!("at most {}", items.most) } else { due };
            let diagnostic =
                Diagnostic::mistake(format!("{} takes {}, {due}; seen {}", self.form.name, items.what, places.len()))
                    .word(self.form.name);
            self.mistake(match self.form.name {
                "delivery" => diagnostic.help("write delivery { \"wide\", frame = { 1920, 1080 } }"),
                "stills" => diagnostic.help("write stills { \"stills\" }: the folder beside the script"),
                "follow" => diagnostic.help("write key { at = still(10), box(x, y, width, height) }"),
                "recording" => diagnostic.help("write recording \"day.mov\": the file beside the script"),
                _ => diagnostic,
            });
        }
    }

    /// Whether a number without a name is what a decimal comma cut off the field before it; that is said.
    fn has_decimal_comma(&self, table: &Table, places: &[i64]) -> bool {
        let is_number = |place: &i64| plain_number(&table.raw_get(*place).unwrap_or(Value::Nil)).is_some();
        let counts = matches!(self.form.style, Style::Table | Style::TableOrText) && self.form.name != "linear";
        if !counts || self.through.is_some() || !places.iter().any(is_number) {
            return false;
        }
        let Some((field, number)) = self.state.decimal_comma(&self.place, self.form.name) else { return false };
        let written = number.replacen('.', ",", 1);
        let mistake = Diagnostic::mistake(format!("decimals take a point, not a comma; seen {field} = {written}"))
            .word(format!("{field} = {written}"));
        let rate = (field == "fps").then(|| number.parse().map(FrameRate::from_number));
        self.mistake(match rate {
            Some(Ok(Err(why))) => mistake.help(why.to_string()),
            _ => mistake.help(format!("write {field} = {number}")),
        });
        self.comma.set(true);
        true
    }

    fn check_missing(&self) {
        for field in self.form.fields.iter().filter(|field| field.default.is_none()) {
            self.check_given(field);
        }
    }

    /// Records that a field is missing that must be given.
    pub(super) fn must_have(&self, name: &str) {
        if let Some(field) = self.form.field(name) {
            self.check_given(field);
        }
    }

    fn check_given(&self, field: &Field) {
        if !self.raw(field.name).is_nil() {
            return;
        }
        // What stands there may have been a name that nothing set: that has been said.
        if matches!(self.form.style, Style::Table | Style::TableOrText)
            && let Some(entry) = self.entry(&format!("{}.{}", self.form.name, field.name))
            && self.state.has_recorded(&self.place_of(Some(&entry)), "there is no '")
        {
            self.broken.set(true);
            return;
        }
        self.mistake(
            Diagnostic::mistake(format!("{}.{} is missing", self.form.name, field.name))
                .word(self.form.name)
                .help(format!("{} ({}) must be {}", field.name, field.help, field.wants.words())),
        );
    }

    /// A field's value as it stands; nil where it is not given.
    pub(super) fn raw(&self, name: &str) -> Value {
        match &self.values {
            Values::Table(table) => table.raw_get(name).unwrap_or(Value::Nil),
            Values::Call(values) => {
                let index = self.form.fields.iter().position(|field| field.name == name);
                index.and_then(|index| values.get(index)).cloned().unwrap_or(Value::Nil)
            }
        }
    }

    /// Whether a field is given.
    pub(super) fn has(&self, name: &str) -> bool {
        !self.raw(name).is_nil()
    }

    /// A given field with its value and its path, `delivery.frame`.
    fn given(&self, name: &str) -> Option<(&'static Field, Value, String)> {
        let field = self.form.field(name)?;
        let value = self.raw(name);
        (!value.is_nil()).then(|| (field, value, format!("{}.{name}", self.form.name)))
    }

    /// The values without a name, each with its path; gaps between them have been recorded and are left out.
    pub(super) fn items(&self) -> Vec<(String, Value)> {
        let (Values::Table(table), Some(items)) = (&self.values, &self.form.items) else { return Vec::new() };
        (1..=table.raw_len().min(items.most))
            .filter_map(|index| Some((format!("{}[{index}]", self.form.name), table.raw_get::<Value>(index).ok()?)))
            .filter(|(_, value)| !(value.is_nil() || self.comma.get() && plain_number(value).is_some()))
            .collect()
    }

    /// Records that a field given in another way is not what it must be.
    pub(super) fn refuse(&self, name: &str, help: Option<String>) {
        if let Some((field, value, path)) = self.given(name) {
            self.wrong(&path, field.wants, &value, help);
        }
    }
}

/// The word of the source line that a path's mistake points at: the text where the value is one, the field's name
/// otherwise.
fn word_of(path: &str, value: &Value) -> String {
    match short_text(value) {
        Some(text) if text.is_empty() => seen(value),
        Some(text) => shorten(&text),
        None => path.split('[').next().and_then(|path| path.rsplit('.').next()).unwrap_or(path).to_owned(),
    }
}

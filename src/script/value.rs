//! Lua values as constructors and messages see them.

use std::collections::BTreeMap;

use mlua::Value;

use super::made::Made;

/// Bytes of the longest text a field takes.
pub(super) const LONGEST_TEXT: usize = 4096;
/// Bytes of the longest line of a drawing: programs that draw write long ones.
pub(super) const LONGEST_LINE: usize = 1_000_000;

/// The constructor's value that a Lua value is.
pub(super) fn as_made(value: &Value) -> Option<Made> {
    value.as_userdata()?.borrow::<Made>().ok().map(|made| made.clone())
}

/// A number that was written as one: a text that looks like a number is none.
pub(super) fn plain_number(value: &Value) -> Option<f64> {
    match value {
        #[expect(clippy::cast_precision_loss, reason = "numbers beyond 2^53 lie outside every range")]
        Value::Integer(number) => Some(*number as f64),
        Value::Number(number) => Some(*number),
        _ => None,
    }
}

/// A text of sensible length, in UTF-8.
pub(super) fn short_text(value: &Value) -> Option<String> {
    text_within(value, LONGEST_TEXT)
}

/// A text of at most so many bytes, in UTF-8.
pub(super) fn text_within(value: &Value, most: usize) -> Option<String> {
    let text = value.as_string().filter(|text| text.as_bytes().len() <= most)?;
    text.to_str().ok().map(|text| text.to_owned())
}

/// Whether a text is 1 to 64 of `[A-Za-z0-9_-]`.
pub(super) fn is_name(text: &str) -> bool {
    (1..=64).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-')
}

/// A value as messages show it.
pub(super) fn seen(value: &Value) -> String {
    match value {
        Value::Nil => "nil".into(),
        Value::Boolean(truth) => truth.to_string(),
        Value::Integer(number) => number.to_string(),
        Value::Number(number) => crate::diag::number(*number),
        Value::String(text) => {
            let bytes = text.as_bytes();
            let head = String::from_utf8_lossy(&bytes[..bytes.len().min(400)]).into_owned();
            format!("{:?}", shorten(&head))
        }
        Value::Table(_) => "a table".into(),
        Value::Function(_) => "a function".into(),
        Value::UserData(data) => data.borrow::<Made>().map_or("a value".into(), |made| made.what.kind().words().into()),
        other => format!("a {}", other.type_name()),
    }
}

/// At most 60 letters of a text.
pub(super) fn shorten(text: &str) -> String {
    let mut letters = text.chars();
    let head: String = letters.by_ref().take(60).collect();
    if letters.next().is_some() { head + "…" } else { head }
}

/// The values of a table that has nothing but `1 … n`; none where it is no such table.
pub(super) fn sequence(value: &Value) -> Option<Vec<Value>> {
    let mut values = BTreeMap::new();
    for pair in value.as_table()?.pairs::<Value, Value>() {
        let (Value::Integer(index), value) = pair.ok()? else { return None };
        values.insert(index, value);
    }
    let whole = (1..).zip(values.keys()).all(|(due, seen)| due == *seen);
    whole.then(|| values.into_values().collect())
}

/// `1 value`, `2 values`.
pub(super) fn count(number: usize, word: &str) -> String {
    if number == 1 { format!("{number} {word}") } else { format!("{number} {word}s") }
}

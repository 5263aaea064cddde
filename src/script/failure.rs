//! Turns what Lua raises into diagnostics, and knows the limits among it.

use std::sync::Arc;

use mlua::Value;

use super::state::{Limit, State, Stopped};
use super::syntax;
use crate::diag::{Diagnostic, Place};

/// Remembers the limit that an error stands for, if it does.
pub(super) fn notice_limit(state: &State, error: &Value) {
    let is_memory = matches!(error, Value::Error(error) if matches!(root(error), mlua::Error::MemoryError(_)));
    let text = value_text(error);
    if is_memory || text == "not enough memory" || text.ends_with("resulting string too large") {
        state.hit(Limit::Memory);
    } else if text.contains("stack overflow") || text.contains("error in error handling") {
        state.hit(Limit::Depth);
    }
}

/// Records a syntax error in `source` at its line with what it may come from, and gives the error that stops the script
/// for it.
pub(super) fn syntax_error(state: &State, error: &mlua::Error, source: &str) -> mlua::Error {
    let text = error_text(error);
    let Some((place, _, message)) = state.split_message(&text) else {
        run_error(state, &[], &text);
        return mlua::Error::external(Stopped);
    };
    let explained = syntax::explain(source, place.line, message);
    let mut diagnostic = Diagnostic::mistake(syntax::plainer(message, &explained)).at(&place);
    if let Some(word) = explained.word {
        diagnostic = diagnostic.word(word);
    }
    if let Some((line, why)) = explained.related {
        diagnostic = diagnostic.with(&Place::new(Arc::clone(&place.file), line), why);
    }
    if let Some(help) = explained.help {
        diagnostic = diagnostic.help(help);
    }
    state.record(diagnostic);
    mlua::Error::external(Stopped)
}

/// Records an error that stopped a script, with the calls that led to it (the innermost first), unless what stopped it
/// has been recorded already.
pub(super) fn run_error(state: &State, calls: &[Place], text: &str) {
    if text == Stopped.to_string() {
        return;
    }
    let (place, message) = match state.split_message(text) {
        // What is not blamed itself passes the blame to its caller.
        Some((_, false, rest)) => (calls.first().cloned(), rest),
        Some((own, true, rest)) => (Some(own), rest),
        None => (calls.first().cloned(), text),
    };
    let message = message.lines().next().unwrap_or_default();
    let message: String =
        if message.is_empty() { "an error without words".into() } else { message.chars().take(500).collect() };
    // A global that nothing set has been named on this line: what comes of using it says nothing new.
    let global = message.split("(global '").nth(1).and_then(|rest| rest.split('\'').next());
    if let (Some(place), Some(name)) = (&place, global)
        && state.has_recorded(place, &format!("there is no '{name}'"))
    {
        return;
    }
    let mut diagnostic = Diagnostic::mistake(message);
    if let Some(place) = &place {
        diagnostic = diagnostic.at(place);
        let inner = calls.iter().position(|call| call == place).map_or(calls.len(), |index| index + 1);
        for call in &calls[inner..] {
            diagnostic = diagnostic.with(call, "called from here");
        }
    }
    state.record(diagnostic);
}

/// The words of an error value.
pub(super) fn value_text(error: &Value) -> String {
    match error {
        Value::Error(error) => error_text(error),
        Value::String(text) => text.to_string_lossy(),
        Value::Integer(number) => number.to_string(),
        Value::Number(number) => number.to_string(),
        other => format!("an error was raised with {} for its message", super::value::seen(other)),
    }
}

/// The words of an error, without Lua's trace of calls.
pub(super) fn error_text(error: &mlua::Error) -> String {
    match root(error) {
        mlua::Error::RuntimeError(text) => text.split("\nstack traceback:").next().unwrap_or_default().to_owned(),
        mlua::Error::SyntaxError { message, .. } => message.clone(),
        mlua::Error::MemoryError(_) => "not enough memory".into(),
        mlua::Error::ExternalError(own) => own.to_string(),
        other => other.to_string(),
    }
}

/// The error at the bottom of those that wrap it.
fn root(error: &mlua::Error) -> &mlua::Error {
    match error {
        mlua::Error::CallbackError { cause, .. } | mlua::Error::WithContext { cause, .. } => root(cause),
        other => other,
    }
}

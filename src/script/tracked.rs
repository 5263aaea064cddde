//! What a follow and a cover say of tracking: `track`, and how long what is lost may be held.

use mlua::Value;

use super::reader::Reader;
use crate::diag::Diagnostic;
use crate::shot::{Tracked, TrackedBy};

/// How a follow's subject is tracked, where it is: `track` and `lost`.
pub(super) fn of_follow(reader: &Reader) -> Option<Tracked> {
    let held = (reader.text("lost").as_deref() == Some("stop")).then_some(0);
    tracked(reader, "lost", held)
}

/// How what a cover hides is tracked, where it is: `track` and `held`.
pub(super) fn of_cover(reader: &Reader) -> Option<Tracked> {
    let held = reader.whole("held").unwrap_or(0);
    tracked(reader, "held", Some(held))
}

/// Refuses a follow of one key, unless it is tracked from there.
pub(super) fn check_keys(reader: &Reader, written: usize, track: Option<&Tracked>) {
    if written == 1 && track.is_none() && !reader.is_broken() {
        let mistake = Diagnostic::mistake("follow takes keys, at least 2; seen 1").word("follow");
        reader.mistake(mistake.help(
            "a second key says where it goes, and track = true looks for it in every other still; for a box that \
             stays, framing { key { at = 0, show = box(…) } }",
        ));
    }
}

fn tracked(reader: &Reader, beside: &str, held: Option<u32>) -> Option<Tracked> {
    let by = match reader.raw("track") {
        Value::Nil | Value::Boolean(false) => None,
        Value::Boolean(true) => Some(TrackedBy::Measured),
        _ => reader.text("track").map(TrackedBy::Table),
    };
    if by.is_none() && reader.has(beside) && !reader.is_broken() {
        let message = format!("{beside} is about what is tracked, and nothing is");
        reader.mistake(Diagnostic::mistake(message).word(beside).help("it goes with track = true"));
    }
    by.map(|by| Tracked { by, held })
}

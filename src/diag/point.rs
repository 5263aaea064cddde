//! What of a source line a diagnostic points at.

use std::ops::Range;

/// Words of Lua, which are neither fields nor constructors.
const KEYWORDS: [&str; 22] = [
    "and", "break", "do", "else", "elseif", "end", "false", "for", "function", "goto", "if", "in", "local", "nil",
    "not", "or", "repeat", "return", "then", "true", "until", "while",
];

/// The bytes of a source line to underline: the word where it stands there, else the first constructor, else the first
/// field. Without a word it is what the line says: neither its indent nor a comment behind it.
pub(super) fn pointed_at(line: &str, word: Option<&str>) -> Range<usize> {
    let code = code_of(line);
    let Some(word) = word.filter(|word| !word.is_empty()) else { return code };
    let cut = word.strip_suffix('…');
    if let Some(start) = find(line, &code, cut.unwrap_or(word)) {
        let end = start + cut.unwrap_or(word).len();
        return match cut {
            // Of a long text the beginning is the word: all of it is meant.
            Some(_) => start..code.end.min(line[end..].find(['"', '\'']).map_or(code.end, |more| end + more)),
            None => start..end,
        };
    }
    // A call that is written otherwise than it was told.
    if let Some((name, _)) = word.split_once('(') {
        return pointed_at(line, Some(name));
    }
    constructor_or_field(&line[code.clone()])
        .map_or(code.clone(), |name| code.start + name.start..code.start + name.end)
}

/// Where a word begins: by itself where it can be, in the code where it can be.
fn find(line: &str, code: &Range<usize>, word: &str) -> Option<usize> {
    let inner = |letter: Option<char>| letter.is_some_and(is_inner);
    let stands_alone = |start: &usize| {
        let (before, after) = (line[..*start].chars().next_back(), line[start + word.len()..].chars().next());
        let goes_on = inner(before) && inner(word.chars().next()) || inner(word.chars().next_back()) && inner(after);
        !goes_on
    };
    let starts = || line.match_indices(word).map(|(start, _)| start).filter(|start| start + word.len() <= code.end);
    starts().find(stands_alone).or_else(|| starts().next())
}

fn is_inner(letter: char) -> bool {
    letter.is_alphanumeric() || letter == '_'
}

/// What a line says, without its indent, and without a comment behind it.
fn code_of(line: &str) -> Range<usize> {
    let start = line.len() - line.trim_start().len();
    let mut quote = None;
    let mut letters = line.char_indices();
    while let Some((at, letter)) = letters.next() {
        match (quote, letter) {
            (Some(_), '\\') => drop(letters.next()),
            (Some(open), _) => quote = quote.filter(|_| letter != open),
            (None, '"' | '\'') => quote = Some(letter),
            (None, '-') if line[at..].starts_with("--") && at > start => return start..line[..at].trim_end().len(),
            _ => {}
        }
    }
    start..line.trim_end().len().max(start)
}

/// The first name that a bracket or a text follows; else the first that `=` follows.
fn constructor_or_field(code: &str) -> Option<Range<usize>> {
    let mut field = None;
    let mut at = 0;
    while let Some(letter) = code[at..].chars().next() {
        if letter == '"' || letter == '\'' {
            let end = code[at + 1..].find(letter)?;
            at += end + 2;
            continue;
        }
        if !is_inner(letter) || letter.is_ascii_digit() {
            at += letter.len_utf8();
            continue;
        }
        let end = code[at..].find(|letter| !is_inner(letter)).map_or(code.len(), |length| at + length);
        let (name, rest) = (&code[at..end], code[end..].trim_start());
        if !KEYWORDS.contains(&name) {
            if rest.starts_with(['{', '(', '"', '\'']) {
                return Some(at..end);
            }
            if rest.starts_with('=') && !rest.starts_with("==") {
                field.get_or_insert(at..end);
            }
        }
        at = end;
    }
    field
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pointed<'a>(line: &'a str, word: &str) -> &'a str {
        &line[pointed_at(line, Some(word))]
    }

    #[test]
    fn the_word_pointed_at_is_not_a_part_of_another() {
        assert_eq!(pointed_at("local late = key { at = 3 }", Some("at")), 19..21);
        assert_eq!(pointed_at("  delivery { 'wide' }", Some("'wide'")), 13..19);
        assert_eq!(pointed_at("  stationary", Some("at")), 4..6);
        assert_eq!(pointed_at("  none here", Some("at")), 2..11);
        assert_eq!(pointed_at("größe = größer", Some("größer")), 10..18);
    }

    #[test]
    fn where_the_word_does_not_stand_the_constructor_is_pointed_at_or_else_the_field() {
        assert_eq!(pointed("    key { at = 0, on = p },  -- the pier at low tide", "zoom"), "key");
        assert_eq!(pointed("local near = dial(\"near\", 1.25, { min = 1 }) -- how close", "max"), "dial");
        assert_eq!(pointed("  pace = \"(slow)\", -- as slow (as it gets)", "rate"), "pace");
        assert_eq!(pointed("  [\"a = b\"] = 3, fps = 24 -- key { }", "rate"), "fps");
        assert_eq!(pointed("return shot {", "deliveries"), "shot");
        assert_eq!(pointed("if near == 1 then -- key { }", "key {"), "if near == 1 then");
    }

    #[test]
    fn neither_an_indent_nor_a_comment_is_pointed_at() {
        let whole = |line: &'static str| &line[pointed_at(line, None)];
        assert_eq!(whole("  local a = nothing + 1   -- a -- b"), "local a = nothing + 1");
        assert_eq!(whole("  x = \"a -- b\" .. 'it\\'s -- c' -- d"), "x = \"a -- b\" .. 'it\\'s -- c'");
        assert_eq!(whole("  -- only a comment"), "-- only a comment");
        assert_eq!(whole("   "), "");
        assert_eq!(pointed("  zoom = 1, -- at the pier", "at"), "zoom");
    }

    #[test]
    fn a_long_text_is_pointed_at_to_its_end() {
        assert_eq!(pointed("delivery { \"aaaabbbb\", frame = 3 } -- x", "aaaa…"), "aaaabbbb");
        assert_eq!(pointed("delivery { aaaabbbb } -- aaaa\"", "aaaa…"), "aaaabbbb }");
    }
}

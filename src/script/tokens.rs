//! A rough reading of Lua's text, for messages only: which words stand where, and what a constructor's table holds.
//!
//! It takes any text, right or wrong, and decides nothing: what is Lua, Lua says.

use std::collections::HashMap;

/// A word, number, text or sign of the source; comments and blanks are none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Token<'t> {
    pub(super) text: &'t str,
    /// From 1.
    pub(super) line: u32,
    /// Bytes from the beginning of the source.
    pub(super) start: usize,
    /// Bytes from the beginning of its line.
    pub(super) column: usize,
}

impl Token<'_> {
    /// One past its last byte.
    pub(super) fn end(&self) -> usize {
        self.start + self.text.len()
    }

    pub(super) fn is_word(&self) -> bool {
        self.text.starts_with(|first: char| first.is_ascii_alphabetic() || first == '_')
    }

    pub(super) fn is_number(&self) -> bool {
        self.text.trim_start_matches('.').starts_with(|first: char| first.is_ascii_digit())
    }

    pub(super) fn is_text(&self) -> bool {
        self.text.starts_with(['"', '\'']) || self.text.len() > 1 && self.text.starts_with('[')
    }

    pub(super) fn opens(&self) -> bool {
        matches!(self.text, "{" | "(" | "[")
    }

    pub(super) fn closes(&self) -> bool {
        matches!(self.text, "}" | ")" | "]")
    }
}

/// The tokens of a text, in order.
pub(super) fn tokens(text: &str) -> Vec<Token<'_>> {
    let mut found = Vec::new();
    let (mut at, mut line, mut line_start) = (0, 1, 0);
    while let Some(first) = text[at..].chars().next() {
        let rest = &text[at..];
        let (length, counts) = if first.is_whitespace() {
            (first.len_utf8(), false)
        } else if let Some(comment) = rest.strip_prefix("--") {
            (2 + long_bracket(comment).unwrap_or_else(|| comment.find('\n').unwrap_or(comment.len())), false)
        } else {
            (length_of(rest, first), true)
        };
        if counts {
            found.push(Token { text: &rest[..length], line, start: at, column: at - line_start });
        }
        if let Some(last) = rest[..length].rfind('\n') {
            line += u32::try_from(rest[..length].matches('\n').count()).unwrap_or(u32::MAX);
            line_start = at + last + 1;
        }
        at += length;
    }
    found
}

/// The bytes of the token that a text begins with.
fn length_of(rest: &str, first: char) -> usize {
    let goes_on = |letter: char| letter.is_ascii_alphanumeric() || letter == '_';
    let run = |more: fn(char) -> bool| rest.find(|letter| !goes_on(letter) && !more(letter)).unwrap_or(rest.len());
    match first {
        '"' | '\'' => quoted(rest, first),
        '[' => long_bracket(rest).unwrap_or(1),
        _ if first.is_ascii_digit() => run(|letter| letter == '.'),
        '.' if rest[1..].starts_with(|second: char| second.is_ascii_digit()) => run(|letter| letter == '.'),
        _ if goes_on(first) => run(|_| false),
        _ => {
            const PAIRS: [&str; 8] = ["==", "~=", "<=", ">=", "..", "//", "::", "/*"];
            PAIRS.iter().find(|pair| rest.starts_with(**pair)).map_or(first.len_utf8(), |pair| pair.len())
        }
    }
}

/// The bytes of a quoted text, which ends at its quote or with its line.
fn quoted(rest: &str, quote: char) -> usize {
    let mut escaped = false;
    for (at, letter) in rest.char_indices().skip(1) {
        match letter {
            '\n' => return at,
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            _ if letter == quote => return at + 1,
            _ => {}
        }
    }
    rest.len()
}

/// The bytes of `[[ … ]]` or `[=[ … ]=]`, where a text begins with one.
fn long_bracket(rest: &str) -> Option<usize> {
    let inner = rest.strip_prefix('[')?;
    let level = inner.len() - inner.trim_start_matches('=').len();
    inner[level..].strip_prefix('[')?;
    let close = format!("]{}]", "=".repeat(level));
    Some(rest.find(&close).map_or(rest.len(), |at| at + close.len()))
}

/// Where a value of a constructor's table stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    /// From 1.
    pub(super) line: u32,
    /// The field's name, or the first word of a value without one.
    pub(super) word: String,
}

/// Where the value that a path such as `shot.deliveries[2]` or `framing[1]` names is written: in the call of the path's
/// first word on line `line`.
pub(super) fn entry(text: &str, line: u32, path: &str) -> Option<Entry> {
    let tokens = tokens(text);
    let path = path.split(' ').next()?;
    let mut steps = path.split(['.', '[']).map(|step| step.trim_end_matches(']'));
    let constructor = steps.next()?;
    let steps: Vec<&str> = steps.collect();
    let calls = tokens.iter().enumerate().filter(|(_, token)| token.line == line && token.text == constructor);
    calls.into_iter().find_map(|(call, _)| {
        let mut open = call + 1;
        let mut found = None;
        for step in &steps {
            let value = *entries(&tokens, open)?.iter().find(|entry| entry.0 == *step).map(|(_, at)| at)?;
            let named = step.parse::<usize>().is_err();
            found = Some(Entry {
                line: tokens[value].line,
                word: if named { (*step).to_owned() } else { tokens[value].text.to_owned() },
            });
            // The value of a named field stands two tokens on, past the '='.
            open = if named { value + 2 } else { value };
        }
        found
    })
}

/// The call of `constructor` on line `line` that has this number among its values, as it is written; none where the
/// line has one call of that name, or no such call.
pub(super) fn call(text: &str, line: u32, constructor: &str, number: f64) -> Option<String> {
    let on_line = text.lines().nth(line.checked_sub(1)? as usize)?;
    let tokens = tokens(on_line);
    let opens =
        |at: &usize| tokens[*at].text == constructor && tokens.get(at + 1).is_some_and(|token| token.text == "(");
    let calls: Vec<usize> = (0..tokens.len()).filter(opens).collect();
    if calls.len() < 2 {
        return None;
    }
    calls.into_iter().find_map(|call| {
        let end = call + tokens[call..].iter().position(|token| token.text == ")")?;
        let has = (call + 2..end).any(|at| {
            let sign = if tokens[at - 1].text == "-" { -1.0 } else { 1.0 };
            tokens[at].text.parse::<f64>().is_ok_and(|seen| sign * seen == number)
        });
        has.then(|| on_line[tokens[call].start..tokens[end].end()].to_owned())
    })
}

/// A field of a constructor's table on line `line` whose number was written with a decimal comma, with the number as
/// Lua writes it: `at = 1,5` gives `at` and `1.5`.
pub(super) fn decimal_comma(text: &str, line: u32, constructor: &str) -> Option<(String, String)> {
    let tokens = tokens(text);
    let calls = tokens.iter().enumerate().filter(|(_, token)| token.line == line && token.text == constructor);
    calls.into_iter().find_map(|(call, _)| {
        let entries = entries(&tokens, call + 1)?;
        entries.windows(2).find_map(|pair| {
            let (name, at) = &pair[0];
            let [_, equals, whole, comma, decimals, after] = tokens.get(*at..*at + 6)? else { return None };
            let digits = |token: &Token<'_>| token.text.bytes().all(|byte| byte.is_ascii_digit());
            let is_split = equals.text == "=" && comma.text == "," && pair[1].1 == *at + 4;
            let ends = after.closes() || matches!(after.text, "," | ";");
            (is_split && ends && digits(whole) && digits(decimals))
                .then(|| (name.clone(), format!("{}.{}", whole.text, decimals.text)))
        })
    })
}

/// A field that a table constructor gives twice: its name, and the lines of the two.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Twice {
    pub(super) name: String,
    pub(super) first: u32,
    pub(super) second: u32,
    /// The second as it stands in its line, as far as its value's first word.
    pub(super) written: String,
}

/// Every field that stands twice in one table: Lua takes the last without a word.
pub(super) fn given_twice(text: &str) -> Vec<Twice> {
    /// What is open: a table with the fields it has had, another bracket, or a block of statements.
    enum Open<'t> {
        Table(HashMap<&'t str, u32>),
        Bracket,
        Block,
    }
    let tokens = tokens(text);
    let is = |at: usize, text: &str| tokens.get(at).is_some_and(|token| token.text == text);
    let mut open: Vec<Open<'_>> = Vec::new();
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        let begins = at > 0 && ["{", ",", ";"].contains(&tokens[at - 1].text);
        if let (true, Some(Open::Table(fields))) = (begins, open.last_mut()) {
            let name = if token.is_word() && is(at + 1, "=") {
                Some(token.text)
            } else if token.text == "[" && is(at + 2, "]") && is(at + 3, "=") {
                tokens[at + 1].text.strip_prefix(['"', '\'']).and_then(|text| text.strip_suffix(['"', '\'']))
            } else {
                None
            };
            if let Some(name) = name {
                let value = if token.is_word() { at + 2 } else { at + 4 };
                let value = tokens.get(value).filter(|value| value.line == token.line).unwrap_or(token);
                let written = text[token.start..value.end()].to_owned();
                if let Some(first) = fields.insert(name, token.line) {
                    found.push(Twice { name: name.to_owned(), first, second: token.line, written });
                }
            }
        }
        match token.text {
            "{" => open.push(Open::Table(HashMap::new())),
            "(" | "[" => open.push(Open::Bracket),
            "function" | "if" | "do" | "repeat" => open.push(Open::Block),
            "}" | ")" | "]" | "end" | "until" => {
                open.pop();
            }
            _ => {}
        }
    }
    found
}

/// What the table opened by token `open` holds: each entry's name, or its number from 1, with its first token.
fn entries(tokens: &[Token<'_>], open: usize) -> Option<Vec<(String, usize)>> {
    let is = |at: usize, text: &str| tokens.get(at).is_some_and(|token| token.text == text);
    let open = if is(open, "(") { open + 1 } else { open };
    if !is(open, "{") {
        return None;
    }
    let (mut depth, mut due, mut number) = (0_usize, false, 0);
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate().skip(open) {
        if due && depth == 1 && !token.closes() {
            let name = if token.is_word() && is(at + 1, "=") {
                token.text.to_owned()
            } else {
                number += 1;
                number.to_string()
            };
            found.push((name, at));
            due = false;
        }
        if token.opens() {
            depth += 1;
            due = depth == 1;
        } else if token.closes() {
            depth = depth.checked_sub(1)?;
            if depth == 0 {
                break;
            }
        } else if depth == 1 && matches!(token.text, "," | ";") {
            due = true;
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_numbers_texts_and_signs_are_told_apart_and_comments_left_out() {
        let text = "local a = .5 -- b\n--[[ c\nd ]] e == \"f \\\" g\", [==[ h ]] ]==] 'open\n640x480";
        let seen: Vec<(&str, u32)> = tokens(text).iter().map(|token| (token.text, token.line)).collect();
        let due = [
            ("local", 1),
            ("a", 1),
            ("=", 1),
            (".5", 1),
            ("e", 3),
            ("==", 3),
            ("\"f \\\" g\"", 3),
            (",", 3),
            ("[==[ h ]] ]==]", 3),
            ("'open", 3),
            ("640x480", 4),
        ];
        assert_eq!(seen, due);
    }

    #[test]
    fn a_field_and_a_value_of_a_list_are_found_at_their_own_lines() {
        let text = "return shot {\n  pace = over(\n 2),\n  deliveries = {\n    wide,\n    { 'tall' },\n  },\n}";
        let at = |path| entry(text, 1, path).map(|entry| (entry.line, entry.word));
        assert_eq!(at("shot.pace"), Some((2, "pace".into())));
        assert_eq!(at("shot.deliveries[1]"), Some((5, "wide".into())));
        assert_eq!(at("shot.deliveries[2]"), Some((6, "{".into())));
        assert_eq!((at("shot.fps"), at("shot.deliveries[3]"), at("key.at")), (None, None, None));
    }

    #[test]
    fn a_field_is_given_twice_only_within_one_table() {
        let seen = |text: &str| -> Vec<(String, u32, u32)> {
            given_twice(text).into_iter().map(|twice| (twice.name, twice.first, twice.second)).collect()
        };
        let due = |name: &str, first, second| vec![(name.to_owned(), first, second)];
        assert_eq!(seen("key { zoom = 1, on = p,\n zoom = 2 }"), due("zoom", 1, 2));
        assert_eq!(seen("{ a = 1; ['a'] = 2 }"), due("a", 1, 1));
        for once in [
            "{ a = { a = 1 }, b = { a = 2 } }",
            "{ f = function() local x, a = 1, 2; a = 3; if a == 3 then x, a = 4, 5 end end, a = 6 }",
            "{ a == b, a == b }",
            "a = 1; a = 2",
            "{ a = f(b, c), b = 1, -- a = 2\n c = 'a = 3, a = 4' }",
        ] {
            assert_eq!(seen(once), [], "{once}");
        }
    }

    #[test]
    fn a_decimal_comma_is_told_from_two_values() {
        let seen = |text: &str| decimal_comma(text, 1, "key");
        assert_eq!(seen("key { at = 1,5, on = p }"), Some(("at".into(), "1.5".into())));
        assert_eq!(seen("key { on = p, zoom = 2,25 }"), Some(("zoom".into(), "2.25".into())));
        assert_eq!(
            (seen("key { at = 1, on = p }"), seen("key { at = 1, 5 + 2 }"), seen("key { at = x, 5 }")),
            (None, None, None)
        );
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_to_its_end(text in "[\\[\\]{}()=\"'a-c0-1.,\\\\\\n -]{0,40}|\\PC{0,20}") {
            let found = tokens(&text);
            proptest::prop_assert!(found.windows(2).all(|pair| pair[0].end() <= pair[1].start));
            let _found_or_not = (entry(&text, 1, "a.b[1]"), decimal_comma(&text, 1, "a"), given_twice(&text));
        }
    }
}

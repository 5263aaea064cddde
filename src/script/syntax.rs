//! What a syntax error probably comes from, for people who do not write Lua every day: a comma left out, a brace too
//! few, curly quotes, a unit after a number.

use super::tokens::{Token, tokens};

/// What can be said beside Lua's own message.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Explained {
    /// The word to point at.
    pub(super) word: Option<String>,
    /// Another line that matters, with what it has to do with it.
    pub(super) related: Option<(u32, String)>,
    /// What to type.
    pub(super) help: Option<String>,
}

impl Explained {
    fn help(help: impl Into<String>) -> Self {
        Self { help: Some(help.into()), ..Self::default() }
    }

    fn word(mut self, word: &str) -> Self {
        self.word = Some(word.to_owned());
        self
    }

    fn with(mut self, line: u32, why: impl Into<String>) -> Self {
        self.related = Some((line, why.into()));
        self
    }
}

/// Lua's own words: as texts they need quotes.
const RESERVED: [&str; 22] = [
    "and", "break", "do", "else", "elseif", "end", "false", "for", "function", "goto", "if", "in", "local", "nil",
    "not", "or", "repeat", "return", "then", "true", "until", "while",
];

/// Lua's message in plainer words.
pub(super) fn plainer(message: &str, explained: &Explained) -> String {
    // Lua shows the first byte only of a sign that is none of its own.
    if let (Some(start), Some(sign)) = (message.find("'<\\"), explained.word.as_deref().filter(|word| !word.is_ascii()))
    {
        return format!("{}'{sign}'", &message[..start]);
    }
    message
        .replace("near <eof>", "near the end of the script")
        .replace("<eof> expected", "nothing more expected")
        .replace("<name> expected", "a name expected")
}

/// Explains a message of Lua's parser about line `line` of `text`.
pub(super) fn explain(text: &str, line: u32, message: &str) -> Explained {
    let tokens = tokens(text);
    let on_line: Vec<&Token<'_>> = tokens.iter().filter(|token| token.line == line).collect();
    let near = message.rsplit_once(" near ").map_or("", |(_, near)| near);
    let near = near.strip_prefix('\'').and_then(|near| near.strip_suffix('\'')).unwrap_or(near);
    if let Some(strange) = on_line.iter().find(|token| !token.text.is_ascii() && !token.is_text() && !token.is_word()) {
        return strange_sign(strange.text);
    }
    if message.starts_with("unfinished string") || message.starts_with("unfinished long") {
        return Explained::help("the closing quote is missing").word(near);
    }
    if message.contains("escape") || message.contains("\\u{") {
        let path = on_line.iter().find(|token| token.is_text() && token.text.contains('\\'));
        let written = path.map_or("\"C:/stills\"".into(), |path| path.text.replace("\\\\", "/").replace('\\', "/"));
        return Explained::help(format!("write folders with '/', on Windows too: {written}")).word("\\");
    }
    if message.starts_with("malformed number") {
        return malformed(on_line.iter().map(|token| token.text).find(|text| text.starts_with(near)).unwrap_or(near))
            .word(near);
    }
    let Some(index) = place_of(&tokens, line, near) else { return at_the_end(&tokens) };
    let before = index.checked_sub(1).map(|index| tokens[index]);
    let explained = around(&tokens, index, before, message);
    if explained.word.is_some() { explained } else { explained.word(near) }
}

fn strange_sign(sign: &str) -> Explained {
    let help = match sign {
        "“" | "”" | "„" | "‟" | "‘" | "’" | "‚" | "«" | "»" => {
            "put texts in straight quotes, \" and \", not in curly ones"
        }
        "×" => "a size is written with a comma: { 1920, 1080 }",
        "–" | "—" | "−" => "this is a dash, not the minus sign '-'",
        _ => "signs such as this one may stand in texts (\"…\") and comments (-- …) only",
    };
    Explained::help(help).word(sign)
}

fn malformed(number: &str) -> Explained {
    let size = number.split_once('x').filter(|(width, height)| {
        [width, height].iter().all(|side| !side.is_empty() && side.bytes().all(|byte| byte.is_ascii_digit()))
    });
    if let Some((width, height)) = size {
        return Explained::help(format!("a size is written {{ {width}, {height} }}"));
    }
    let digits = number.trim_end_matches(|letter: char| !letter.is_ascii_digit());
    Explained::help(match digits.parse::<f64>() {
        Ok(_) => format!("a number takes no unit: write {digits}, or \"{digits}s\" for seconds"),
        Err(_) => "a number is written in digits, with a point before its decimals: 1.5".into(),
    })
}

/// The token on a line that a message names; the last where the word stands there more than once.
fn place_of(tokens: &[Token<'_>], line: u32, near: &str) -> Option<usize> {
    let stopped = tokens.iter().enumerate().filter(|(_, token)| token.line == line && token.text == near);
    let stopped: Vec<usize> = stopped.map(|(index, _)| index).collect();
    // Of the same words on one line the likeliest is one that stands where none can.
    let odd = stopped.iter().copied().find(|index| {
        let before = index.checked_sub(1).map(|index| tokens[index]);
        before.is_some_and(|before| {
            ends_a_value(&before) && starts_a_value(&tokens[*index]) || before.text == tokens[*index].text
        })
    });
    odd.or(stopped.last().copied())
}

fn ends_a_value(token: &Token<'_>) -> bool {
    token.is_number()
        || token.is_text()
        || token.text == "}"
        || token.text == ")"
        || token.is_word() && !RESERVED.contains(&token.text)
}

fn starts_a_value(token: &Token<'_>) -> bool {
    token.is_number() || token.is_text() || token.text == "{" || token.is_word()
}

/// The message is about token `index`.
fn around(tokens: &[Token<'_>], index: usize, before: Option<Token<'_>>, message: &str) -> Explained {
    let near = tokens[index];
    let Some(before) = before else {
        return match near.text {
            "//" | "/*" | "#" | "/" => Explained::help("a comment begins with --"),
            _ => not_lua(),
        };
    };
    let colon = if near.text == ":" { Some(index) } else { index.checked_sub(1).filter(|at| tokens[*at].text == ":") };
    if let Some(explained) = colon.and_then(|at| colon_at(tokens, at)) {
        return explained;
    }
    match near.text {
        "//" | "/*" | "#" => return Explained::help("a comment begins with --"),
        "}" | ")" if message.contains("<eof> expected") => {
            return Explained::help(format!(
                "there is one '{}' too many here, or its opening one is missing above",
                near.text
            ));
        }
        "-" if before.is_word() && before.end() == near.start => {
            return Explained::help("names are made of letters, digits and '_': write '_' for '-'");
        }
        "," | ";" | "}" | ")" if before.text == "=" => return Explained::help("a value is missing after the '='"),
        "," | ";" => return Explained::help(format!("there is one '{}' too many", near.text)),
        "=" if message.starts_with("')'") => {
            return Explained::help(format!("a ')' may be missing before '{}'", before.text)).word(before.text);
        }
        word if RESERVED.contains(&word) && matches!(before.text, "=" | "," | "(" | "{") => {
            return Explained::help(format!(
                "'{word}' is a word of Lua's own: to use it as a text, put it in quotes, \"{word}\""
            ));
        }
        _ => {}
    }
    if message.starts_with("syntax error") {
        return not_lua();
    }
    if message.starts_with("'}'") || message.starts_with("')'") {
        return unclosed(tokens, &near, &before, message);
    }
    Explained::help("look for a missing comma, bracket or quote in this line and at the end of the one above")
}

/// A ':' where Lua takes none.
fn colon_at(tokens: &[Token<'_>], at: usize) -> Option<Explained> {
    let (before, after) = (tokens.get(at.checked_sub(1)?)?, tokens.get(at + 1)?);
    if before.is_number() && after.is_number() {
        return Some(Explained::help(format!("a time of day is written clock \"{}:{}\"", before.text, after.text)));
    }
    before
        .is_word()
        .then(|| Explained::help(format!("a field takes '=', not ':': write {} = {}", before.text, after.text)))
}

/// A bracket was due to close before `near`.
fn unclosed(tokens: &[Token<'_>], near: &Token<'_>, before: &Token<'_>, message: &str) -> Explained {
    if near.is_word() && RESERVED.contains(&near.text) {
        return at_the_end(&tokens[..tokens.iter().position(|token| token == near).unwrap_or(tokens.len())]);
    }
    if !ends_a_value(before) || !starts_a_value(near) {
        let close = &message[1..2];
        return Explained::help(format!("a '{close}' or a comma may be missing before '{}'", near.text));
    }
    if before.line < near.line {
        return Explained::help("entries are separated by commas")
            .with(before.line, "a comma may be missing at the end of this line");
    }
    if before.is_word() && near.is_number() {
        return Explained::help(format!("put a number in round brackets: {}({})", before.text, near.text));
    }
    Explained::help(format!("a comma may be missing before '{}'", near.text))
}

/// The text ended, or went on with something else, before every bracket was closed: names the one that was probably
/// forgotten.
fn at_the_end(tokens: &[Token<'_>]) -> Explained {
    let indent = |line: u32| tokens.iter().find(|token| token.line == line).map_or(0, |token| token.column);
    let mut open: Vec<&Token<'_>> = Vec::new();
    let mut forgotten = None;
    for token in tokens {
        if token.opens() {
            open.push(token);
        } else if token.closes()
            && let Some(opened) = open.pop()
            && indent(token.line) == token.column
            && indent(opened.line) > token.column
        {
            // A bracket that stands alone at the left closes one further out than the one it closed for Lua.
            forgotten = forgotten.or(Some(opened));
        }
    }
    match forgotten.or(open.last().copied()) {
        Some(token) => {
            let close = closing(token.text);
            Explained::help(format!("a '{close}' is missing: every bracket that is opened must be closed"))
                .with(token.line, format!("this '{}' may have no '{close}'", token.text))
        }
        None => Explained::help("the script ends too soon: something is missing at its end"),
    }
}

fn closing(open: &str) -> &'static str {
    match open {
        "{" => "}",
        "(" => ")",
        _ => "]",
    }
}

fn not_lua() -> Explained {
    Explained::help("a script ends with return shot { … }; `stillpath demo DIR` writes one to start from")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What Lua says of a text, explained.
    fn said(text: &str) -> (String, Explained) {
        let error = mlua::Lua::new().load(text).set_name("=s").into_function().unwrap_err();
        let mlua::Error::SyntaxError { message, .. } = error else { panic!("{error}") };
        let (line, message) = message.strip_prefix("s:").unwrap().split_once(": ").unwrap();
        (message.to_owned(), explain(text, line.parse().unwrap(), message))
    }

    #[test]
    fn the_usual_slips_are_each_told_what_to_type() {
        for (text, due) in [
            ("return f { a = 1 b = 2 }", "a comma may be missing before 'b'"),
            ("return f { at = still 1, on = 2 }", "in round brackets: still(1)"),
            ("return f(0.5 0.5)", "a comma may be missing before '0.5'"),
            ("return f { a = g(1, 2, b = 3 }", "a ')' may be missing before 'b'"),
            ("return f { at = end, b = 1 }", "in quotes, \"end\""),
            ("return f { “wide” }", "straight quotes"),
            ("return f { frame = { 640 × 360 } }", "with a comma"),
            ("return f { zoom: 1.5 }", "write zoom = 1.5"),
            ("return f { clock(20:34) }", "clock \"20:34\""),
            ("return f { \"wide, 1 }", "the closing quote is missing"),
            ("return f { \"C:\\stills\\new\" }", "\"C:/stills/new\""),
            ("return f { frame = 640x360 }", "{ 640, 360 }"),
            ("return f { zoom = 1.5x }", "write 1.5"),
            ("// a note\nreturn f {}", "a comment begins with --"),
            ("local a = 1\n# a note", "a comment begins with --"),
            ("local my-point = 1", "write '_' for '-'"),
            ("return f {}}", "one '}' too many"),
            ("return f { a = , b = 1 }", "a value is missing"),
            ("return f { a = 1,, b = 1 }", "one ',' too many"),
            ("make a wide clip", "return shot { … }"),
        ] {
            let (message, explained) = said(text);
            let help = explained.help.unwrap_or_default();
            assert!(help.contains(due), "{text}\n{message}\n{help}");
        }
    }

    #[test]
    fn a_comma_left_out_at_the_end_of_a_line_is_looked_for_there() {
        let (_, explained) = said("return f {\n  a = 1\n  -- a note\n  b = 2,\n}");
        assert_eq!(explained.related.map(|(line, _)| line), Some(2));
        assert_eq!(explained.word.as_deref(), Some("b"));
    }

    #[test]
    fn a_brace_left_open_is_found_by_the_indent_of_what_closes_it() {
        let (_, explained) = said("return f {\n  a = {\n    b { 1 },\n    b { 2,\n  },\n}\n");
        assert_eq!(explained.related.map(|(line, _)| line), Some(4));
        let (_, explained) = said("return f {\n  a = { 1 },\n");
        assert_eq!(explained.related.map(|(line, _)| line), Some(1));
        let (_, explained) = said("local a = {\n  1, 2\nlocal b = 3");
        assert_eq!(explained.related.map(|(line, _)| line), Some(1));
    }
}

//! What may reach a terminal.
//!
//! Names of files, paths, texts of scripts and what libraries say may hold anything: an escape sequence that moves the
//! cursor, an end of line that forges the next one, a sign that turns the reading order about. Two types stand between
//! them and a terminal: a [`Diagnostic`](super::Diagnostic) is fit from the moment it is made, and the command line
//! writes [`Printed`] and nothing else.

use std::borrow::Cow;
use std::path::Path;

/// The text on one line, fit to print: control and format characters and ends of lines are written as Rust and Lua
/// write them (`\n`, `\u{202e}`); letters and signs of all scripts stay. What is fit stays as it is.
#[must_use]
pub fn fit(text: &str) -> Cow<'_, str> {
    if text.chars().all(is_fit) { Cow::Borrowed(text) } else { Cow::Owned(escaped(text, is_fit)) }
}

/// A path on one line, fit to print.
#[must_use]
pub fn path(path: &Path) -> String {
    fit(&path.display().to_string()).into_owned()
}

/// JSON in which what is not fit is written as JSON writes it: it stands in strings only.
#[must_use]
pub fn fit_json(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for letter in json.chars() {
        if is_fit(letter) || letter == '\n' {
            out.push(letter);
        } else {
            letter.encode_utf16(&mut [0; 2]).iter().for_each(|unit| out += &format!("\\u{unit:04x}"));
        }
    }
    out
}

fn escaped(text: &str, stays: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for letter in text.chars() {
        if stays(letter) { out.push(letter) } else { out.extend(letter.escape_default()) }
    }
    out
}

/// Whether a character may be printed: neither control (Cc) nor end of line (Zl, Zp), nor of those format characters
/// (Cf, Unicode 14) that show nothing themselves. Signs of Arabic and Syriac numbers, which are format characters too,
/// can be seen.
fn is_fit(letter: char) -> bool {
    !letter.is_control()
        && !matches!(
            letter,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
                | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{13430}'..='\u{13438}' | '\u{1bca0}'..='\u{1bca3}'
                | '\u{1d173}'..='\u{1d17a}' | '\u{e0001}' | '\u{e0020}'..='\u{e007f}'
        )
}

/// Text that a terminal may be given.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize)]
pub struct Printed(String);

impl Printed {
    /// Lines: their ends, and tabs, stay; all else is fit. Names in them are to be fit before they are put there: an
    /// end of line that is part of a name cannot be told any more.
    #[must_use]
    pub fn lines(text: &str) -> Self {
        Self(escaped(text, |letter| matches!(letter, '\n' | '\t') || is_fit(letter)))
    }

    /// A table whose lines, as they are here, end with a line feed: each then ends as RFC 4180 ends it, with CRLF. All
    /// else is as in [`Printed::lines`].
    #[must_use]
    pub fn table(text: &str) -> Self {
        Self(Self::lines(text).0.replace('\n', "\r\n"))
    }

    /// What was drawn from parts that are fit, with colours of the drawing's own.
    pub(super) fn drawn(text: String) -> Self {
        Self(text)
    }

    /// The same, and another after it.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        self.0 += &other.0;
        self
    }
}

impl std::ops::Deref for Printed {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for Printed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moves_a_cursor_ends_a_line_or_turns_the_order_about_is_written_out() {
        let due = [
            ("a\u{1b}[31mb", "a\\u{1b}[31mb"),
            ("bell\u{7}", "bell\\u{7}"),
            ("one\nstills: 9 = 9 used\r", "one\\nstills: 9 = 9 used\\r"),
            ("GPJ.\u{202e}exe", "GPJ.\\u{202e}exe"),
            (
                "\u{9b}2J \u{85} \u{2028} \u{2066}x\u{2069} \u{feff} \u{200d} \u{e0041}",
                "\\u{9b}2J \\u{85} \\u{2028} \\u{2066}x\\u{2069} \\u{feff} \\u{200d} \\u{e0041}",
            ),
        ];
        for (text, fitting) in due {
            assert_eq!(fit(text), fitting);
            assert_eq!(fit(&fit(text)), fitting, "what is fit stays");
        }
        assert_eq!(&*Printed::lines("a\tb\nc\u{1b}\r\n"), "a\tb\nc\\u{1b}\\r\n");
        assert_eq!(&*Printed::table("a,b\nc\u{1b},\rd\n"), "a,b\r\nc\\u{1b},\\rd\r\n");
    }

    #[test]
    fn letters_of_all_scripts_stay() {
        for text in [
            "Größe 3 µm “x”",
            "Ελλάδα Кирилл 東京 한국 ไทย हिन्दी עברית العربية",
            "\u{600}١٢ ♞ 🜁 e\u{301} ﬁ",
            "it's \\ \"so\"",
        ] {
            assert!(matches!(fit(text), Cow::Borrowed(same) if same == text), "{text}");
        }
    }

    #[test]
    fn json_stays_json() {
        let text = "a\u{1b}\u{202e}\u{9b}\n\u{e0041}é";
        let json = serde_json::to_string_pretty(&[text]).unwrap();
        let fitting = fit_json(&json);
        assert_eq!(serde_json::from_str::<Vec<String>>(&fitting).unwrap(), [text]);
        assert_eq!(&*Printed::lines(&fitting), fitting);
    }
}

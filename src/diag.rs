//! A diagnostic: how bad, where in the script, what was seen, what is allowed, what to type next.
//!
//! Mistakes and remarks alike are diagnostics. Steps collect them; only the command line prints them.
//!
//! ## Decisions
//!
//! - Nothing of a name, path or text is printed raw. A `Diagnostic` escapes its texts as it is made; the command line
//!   prints `diag::Printed` and nothing else (`.clippy.toml` forbids the streams elsewhere), which passes line ends and
//!   tabs and escapes other control and format characters. A name inside a text of several lines is escaped before it
//!   is put there (`diag::fit`, `diag::path`). JSON has JSON's own escapes.
//! - A slot's name is escaped from the start. Scripts may write it as it is printed, because the escapes are Lua's too.

mod fit;
mod number;
mod point;

use std::collections::{HashMap, HashSet};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde::{Serialize, Serializer};

pub use fit::{Printed, fit, fit_json, path};
pub use number::number;
use point::pointed_at;

/// A line of a script, as it stands in messages: `path:line`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Place {
    /// The script or module, as the user named it.
    pub file: Arc<Path>,
    /// Line, from 1.
    pub line: u32,
}

impl Place {
    /// Line `line` (from 1) of `file`.
    #[must_use]
    pub fn new(file: impl Into<Arc<Path>>, line: u32) -> Self {
        Self { file: file.into(), line }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", path(&self.file), self.line)
    }
}

impl Serialize for Place {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl schemars::JsonSchema for Place {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Place".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "string", "description": "A line of a script: path:line." })
    }
}

/// A value and the line that gave it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Placed<T> {
    /// What was given.
    pub value: T,
    /// Where.
    pub place: Place,
}

impl<T> Placed<T> {
    /// `value` as given at `place`.
    pub fn new(value: T, place: Place) -> Self {
        Self { value, place }
    }
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; nothing is refused.
    Remark,
    /// The script, the shoot or the plan is refused.
    Mistake,
}

/// One mistake or remark. Its texts are each on one line and fit to print, whatever they were made from.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Diagnostic {
    /// How bad.
    pub severity: Severity,
    /// What is the matter, in one line: the value seen and the range allowed are in it.
    pub message: String,
    /// Where in the script, where a line of it is to blame.
    pub place: Option<Place>,
    /// Another line that matters, with what it has to do with it.
    pub related: Vec<(Place, String)>,
    /// The word of the source line to point at, where one is to blame.
    pub word: Option<String>,
    /// What to do or to type next, a line each.
    pub help: Vec<String>,
    /// The frames it is about, where it is about some and not all of a delivery.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frames: Option<Frames>,
}

/// Frames of a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Frames {
    /// Its name.
    pub delivery: String,
    /// First and last frame of each run, from 0, in order.
    pub runs: Vec<(usize, usize)>,
}

impl Diagnostic {
    /// A mistake without a place yet.
    pub fn mistake(message: impl Into<String>) -> Self {
        Self::new(Severity::Mistake, message.into())
    }

    /// A remark without a place yet.
    pub fn remark(message: impl Into<String>) -> Self {
        Self::new(Severity::Remark, message.into())
    }

    fn new(severity: Severity, message: String) -> Self {
        let message = fit(&message).into_owned();
        Self { severity, message, place: None, related: Vec::new(), word: None, help: Vec::new(), frames: None }
    }

    /// The same, said of a line of the script.
    #[must_use]
    pub fn at(mut self, place: &Place) -> Self {
        self.place = Some(place.clone());
        self
    }

    /// The same, with another line that matters.
    #[must_use]
    pub fn with(mut self, place: &Place, why: impl Into<String>) -> Self {
        self.related.push((place.clone(), fit(&why.into()).into_owned()));
        self
    }

    /// The same, pointing at a word of the source line.
    #[must_use]
    pub fn word(mut self, word: impl Into<String>) -> Self {
        self.word = Some(word.into());
        self
    }

    /// The same, said of these frames of a delivery: first and last of each run.
    #[must_use]
    pub fn over(mut self, delivery: &str, runs: &[(usize, usize)]) -> Self {
        self.frames = Some(Frames { delivery: delivery.to_owned(), runs: runs.to_vec() });
        self
    }

    /// The same, with a line of help.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help.push(fit(&help.into()).into_owned());
        self
    }

    /// The same, with "did you mean …?" where one of `names` is near `seen`, and the list of names otherwise.
    #[must_use]
    pub fn nearest(self, seen: &str, names: &[&str]) -> Self {
        match nearest(seen, names) {
            Some(name) => self.help(format!("did you mean '{name}'?")),
            None => self.help(format!("available: {}", names.join(", "))),
        }
    }

    /// Whether anything is refused because of it.
    #[must_use]
    pub fn is_mistake(&self) -> bool {
        self.severity == Severity::Mistake
    }
}

/// The one of `names` that `seen` is most likely a misspelling of, if any is near enough.
#[must_use]
pub fn nearest<'a>(seen: &str, names: &[&'a str]) -> Option<&'a str> {
    // The distance takes memory by the product of the lengths; nothing this long is a misspelling.
    if seen.len() > 200 {
        return None;
    }
    let lower = seen.to_lowercase();
    names
        .iter()
        .map(|name| (strsim::damerau_levenshtein(&lower, &name.to_lowercase()), *name))
        .filter(|(distance, name)| *distance <= (name.len().max(seen.len()) / 3).max(1))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// A name from outside as it may be printed: what would steer a terminal, or turn the order of letters, is spelt out.
#[must_use]
pub fn plain(text: &str) -> std::borrow::Cow<'_, str> {
    let steers = |letter: char| {
        letter.is_control()
            || matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    if !text.contains(steers) {
        return text.into();
    }
    text.chars()
        .fold(String::new(), |mut plain, letter| {
            if steers(letter) {
                plain.extend(letter.escape_default())
            } else {
                plain.push(letter)
            }
            plain
        })
        .into()
}

/// Everything that was found, in the order of finding: the composition asks whether any of it is a mistake. Whoever
/// reads it, as text or as JSON, reads it [in order](Diagnostics::in_order).
#[derive(Debug, Clone, Default, PartialEq, schemars::JsonSchema)]
pub struct Diagnostics(pub Vec<Diagnostic>);

impl Diagnostics {
    /// Adds one.
    pub fn push(&mut self, diagnostic: Diagnostic) {
        self.0.push(diagnostic);
    }

    /// Adds all of another list.
    pub fn extend(&mut self, other: Diagnostics) {
        self.0.extend(other.0);
    }

    /// As they are read: by file (in the order of finding) and line, those without a place last, and each once.
    #[must_use]
    pub fn in_order(&self) -> Vec<&Diagnostic> {
        let mut files: Vec<&Path> = Vec::new();
        let mut seen = HashSet::new();
        let mut ordered = Vec::with_capacity(self.0.len());
        for one in self.0.iter().filter(|one| seen.insert((&one.place, one.message.as_str()))) {
            let rank = one.place.as_ref().map_or((usize::MAX, 0), |place| {
                let file = files.iter().position(|file| **file == *place.file).unwrap_or_else(|| {
                    files.push(&place.file);
                    files.len() - 1
                });
                (file, place.line)
            });
            ordered.push((rank, one));
        }
        ordered.sort_by_key(|(rank, _)| *rank);
        ordered.into_iter().map(|(_, one)| one).collect()
    }

    /// Whether any is a mistake.
    #[must_use]
    pub fn refused(&self) -> bool {
        self.0.iter().any(Diagnostic::is_mistake)
    }

    /// Whether there is none at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl Serialize for Diagnostics {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.in_order())
    }
}

impl From<Diagnostic> for Diagnostics {
    fn from(one: Diagnostic) -> Self {
        Self(vec![one])
    }
}

/// Writes diagnostics as people read them, [in order](Diagnostics::in_order): the message, `path:line`, the source
/// line, the help.
///
/// `read` gives the text of a script by the path a place names, or nothing where it cannot be had, and is asked once a
/// file; `colour` asks for terminal colours.
pub fn render(diagnostics: &Diagnostics, colour: bool, mut read: impl FnMut(&Path) -> Option<String>) -> Printed {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let mut texts: HashMap<&Path, Option<String>> = HashMap::new();
    let mut out = String::new();
    for diagnostic in diagnostics.in_order() {
        let level = match diagnostic.severity {
            Severity::Mistake => Level::ERROR.with_name("mistake"),
            Severity::Remark => Level::NOTE.with_name("remark"),
        };
        let mut sources = Vec::new();
        for (place, label) in diagnostic
            .place
            .iter()
            .map(|place| (place, None))
            .chain(diagnostic.related.iter().map(|(place, why)| (place, Some(why.as_str()))))
            .filter(|(place, why)| why.is_none() || diagnostic.place.as_ref() != Some(*place))
        {
            let text = texts.entry(&place.file).or_insert_with(|| read(&place.file)).as_ref().and_then(|text| {
                let line = text.lines().nth(place.line.saturating_sub(1) as usize)?;
                // A character for a character: the drawing counts them.
                let shown = |letter: char| {
                    if letter == '\t' || fit(letter.encode_utf8(&mut [0; 4])).len() == letter.len_utf8() {
                        letter
                    } else {
                        '\u{fffd}'
                    }
                };
                Some(line.trim_end().chars().map(shown).collect::<String>())
            });
            sources.push((place, label, text));
        }
        let (message, helps) =
            (fit(&diagnostic.message), diagnostic.help.iter().map(|help| fit(help)).collect::<Vec<_>>());
        let mut group = level.primary_title(&*message).elements(Vec::<annotate_snippets::Message>::new());
        let paths: Vec<String> = sources.iter().map(|(place, ..)| path(&place.file)).collect();
        for ((place, label, text), path) in sources.iter().zip(&paths) {
            let Some(text) = text else {
                group = group.element(annotate_snippets::Origin::path(path.as_str()).line(place.line as usize));
                continue;
            };
            let range = pointed_at(text, if label.is_none() { diagnostic.word.as_deref() } else { None });
            let kind = if label.is_none() { AnnotationKind::Primary } else { AnnotationKind::Context };
            let mut annotation = kind.span(range);
            if let Some(label) = label {
                annotation = annotation.label(*label);
            }
            group = group.element(
                Snippet::source(text.as_str())
                    .line_start(place.line as usize)
                    .path(path.as_str())
                    .annotation(annotation),
            );
        }
        for help in &helps {
            group = group.element(Level::HELP.message(&**help));
        }
        let _infallible = writeln!(out, "{}\n", renderer.render(&[group]));
    }
    Printed::drawn(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_outside_are_spelt_out_where_they_would_steer_a_terminal() {
        assert_eq!(plain("day 1/A é.jpg"), "day 1/A é.jpg");
        assert_eq!(plain("a\u{1b}[2J\n\u{202e}b\u{7f}\u{9b}"), "a\\u{1b}[2J\\n\\u{202e}b\\u{7f}\\u{9b}");
    }

    #[test]
    fn a_mistake_shows_its_place_its_line_and_what_to_type() {
        let place = Place::new(Path::new("harbour.lua"), 2);
        let found = Diagnostics::from(
            Diagnostic::mistake("a delivery has no field 'farme'")
                .at(&place)
                .word("farme")
                .nearest("farme", &["frame", "fps"]),
        );
        let text = render(&found, false, |_| Some("local a = 1\n  delivery { farme = 2 }\n".to_owned()));
        assert!(text.contains("mistake: a delivery has no field 'farme'"), "{text}");
        assert!(text.contains("harbour.lua:2"), "{text}");
        assert!(text.contains("delivery { farme = 2 }"), "{text}");
        assert!(text.contains("^^^^^"), "{text}");
        assert!(text.contains("did you mean 'frame'?"), "{text}");
    }

    #[test]
    fn findings_are_read_by_file_and_line_each_once_and_those_without_a_place_last() {
        let at = |file: &str, line, message: &str| Diagnostic::mistake(message).at(&Place::new(Path::new(file), line));
        let found = Diagnostics(vec![
            Diagnostic::mistake("nowhere"),
            at("b.lua", 9, "late"),
            at("a.lua", 3, "elsewhere"),
            at("b.lua", 2, "first of two"),
            at("b.lua", 2, "second of two"),
            at("b.lua", 9, "late"),
        ]);
        let due = ["first of two", "second of two", "late", "elsewhere", "nowhere"];
        assert_eq!(found.in_order().iter().map(|one| one.message.as_str()).collect::<Vec<_>>(), due);
        let text = render(&found, false, |_| None);
        assert!(due.map(|message| text.find(message).unwrap()).is_sorted(), "{text}");
        let json = serde_json::to_value(&found).unwrap();
        assert_eq!(
            json.as_array().unwrap().iter().map(|one| one["message"].as_str().unwrap()).collect::<Vec<_>>(),
            due
        );
    }

    #[test]
    fn a_name_that_is_near_none_lists_them_all() {
        let help = Diagnostic::mistake("x").nearest("zzzzzz", &["frame", "fps"]).help;
        assert_eq!(help, ["available: frame, fps"]);
    }
}

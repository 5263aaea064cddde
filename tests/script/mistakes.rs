//! Scripts with mistakes, each with what it must say written beside it.
//!
//! In `tests/scripts/*.lua`, `--! words` names a mistake whose message holds these words: of the line it stands on, or,
//! where it stands alone, of the next line that does not. `--? words` after it names a line of help of that mistake.
//! Every mistake must be named and every name must be a mistake.

use std::path::{Path, PathBuf};

use stillpath::diag;
use stillpath::script::{self, Request};

struct Expected {
    line: u32,
    words: String,
    help: Vec<String>,
    met: bool,
}

fn expectations(text: &str) -> Vec<Expected> {
    let mut all = Vec::new();
    let mut waiting: Vec<Expected> = Vec::new();
    for (line, content) in (1..).zip(text.lines()) {
        let mut parts = content.split("--! ");
        let alone = parts.next().unwrap_or_default().trim().is_empty();
        let here = parts.map(|part| {
            let mut words = part.split("--? ").map(|words| words.trim().to_owned());
            Expected { line, words: words.next().unwrap_or_default(), help: words.collect(), met: false }
        });
        if alone {
            waiting.extend(here);
        } else {
            all.extend(here);
            all.extend(waiting.drain(..).map(|expected| Expected { line, ..expected }));
        }
    }
    assert!(waiting.is_empty(), "an expectation after the last line");
    all
}

fn check(path: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut expected = expectations(&text);
    assert!(!expected.is_empty(), "{} expects nothing", path.display());
    let request = Request { path: path.to_owned(), settings: Vec::new(), user_moves: None, user_purposes: None };
    let found = match script::run(&request) {
        Ok(_) => Vec::new(),
        Err(refused) => refused.diagnostics.0,
    };
    let mut wrong = Vec::new();
    for diagnostic in &found {
        let line = diagnostic.place.as_ref().filter(|place| &*place.file == path).map_or(0, |place| place.line);
        let named = expected
            .iter_mut()
            .find(|expected| !expected.met && expected.line == line && diagnostic.message.contains(&expected.words));
        match named {
            Some(expected) => {
                expected.met = true;
                for help in &expected.help {
                    if !diagnostic.help.iter().any(|line| line.contains(help)) {
                        wrong.push(format!("{}:{line}: no help {help:?} in {:?}", path.display(), diagnostic.help));
                    }
                }
            }
            None => wrong.push(format!("{}:{line}: not expected: {}", path.display(), diagnostic.message)),
        }
        // A word to point at that is not on the line would silently underline the whole of it.
        if let Some(word) = &diagnostic.word
            && let Some(source) = text.lines().nth(line.saturating_sub(1) as usize)
            && !diagnostic.message.contains("is missing")
            && !source.contains(word.as_str())
        {
            wrong.push(format!(
                "{}:{line}: the word {word:?} is not on the line: {}",
                path.display(),
                diagnostic.message
            ));
        }
    }
    wrong.extend(
        expected
            .iter()
            .filter(|expected| !expected.met)
            .map(|expected| format!("{}:{}: not found: {}", path.display(), expected.line, expected.words)),
    );
    wrong
}

/// Fault 58: script: syntax, run error.
#[test]
fn every_mistake_in_the_test_scripts_is_said_and_no_other() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts");
    let mut scripts: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    scripts.sort();
    assert!(scripts.len() >= 8);
    let wrong: Vec<String> = scripts.iter().flat_map(|path| check(path)).collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn a_mistake_prints_its_place_its_line_and_what_to_type() {
    let folder = super::Folder::new()
        .with("main.lua", super::shot("framing = framing { key { att = 0, on = point(0.5, 0.5) } },"));
    let refused = folder.run(&[]).unwrap_err();
    let text = diag::render(&refused.diagnostics, false, script::source_text);
    for due in ["key has no field 'att'", "main.lua:2", "framing { key { att = 0", "^^^", "did you mean 'at'?"] {
        assert!(text.contains(due), "{due}\n{text}");
    }
}

#[test]
fn of_two_calls_of_one_name_on_a_line_each_mistake_points_at_its_own() {
    let folder = super::Folder::new()
        .with("main.lua", super::shot("framing = nil, covers = nil, name = times(0), source = times(-2),"));
    let refused = folder.run(&[]).unwrap_err();
    let words: Vec<_> = refused.diagnostics.0.iter().filter_map(|one| one.word.as_deref()).collect();
    assert!(words.contains(&"times(0)") && words.contains(&"times(-2)"), "{words:?}");
    let text = diag::render(&refused.diagnostics, false, script::source_text).to_string();
    let under = |word: &str| {
        let lines: Vec<&str> = text.lines().collect();
        let at = lines.iter().position(|line| line.contains(&format!("seen {word}"))).unwrap();
        let marks = lines[at..].iter().position(|line| line.contains("^^^")).unwrap() + at;
        lines[marks].find('^').unwrap().abs_diff(lines[marks - 1].find("name").unwrap())
    };
    assert!(under("0") < under("-2"), "{text}");
}

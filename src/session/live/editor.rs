//! Opens a line of a script in the user's editor, where `STILLPATH_EDITOR` says how.
//!
//! ## Decisions
//!
//! - Only the environment of the program says what is run; a page names a line by an index that a view gave it. The
//!   words of the command are split as a shell splits them, no shell is run, and `{file}` and `{line}` are filled in
//!   after the splitting, so that no name of a file becomes a word of its own.

use std::process::{Command, Stdio};

use crate::diag::Place;

/// The variable that says how: `STILLPATH_EDITOR="edit +{line} {file}"`.
pub(super) const VARIABLE: &str = "STILLPATH_EDITOR";

/// The editor as the environment names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Editor(Vec<String>);

impl Editor {
    /// From the environment; none where the variable is not set.
    ///
    /// # Errors
    /// What is wrong with its words.
    pub(super) fn of_environment() -> Result<Option<Self>, String> {
        std::env::var(VARIABLE).ok().map_or(Ok(None), |text| Self::parse(&text).map(Some))
    }

    /// # Errors
    /// A text that is no command, or that does not say where the file goes.
    fn parse(text: &str) -> Result<Self, String> {
        let words = shlex::split(text).filter(|words| !words.is_empty());
        let words = words.ok_or_else(|| format!("{VARIABLE} is not a command: {text:?}"))?;
        if !words.iter().any(|word| word.contains("{file}")) {
            return Err(format!(
                "{VARIABLE} must say where the file goes, as in \"edit +{{line}} {{file}}\"; seen {text:?}"
            ));
        }
        Ok(Self(words))
    }

    /// The command's words for a line.
    fn words(&self, place: &Place) -> Vec<String> {
        let (file, line) = (place.file.to_string_lossy(), place.line.to_string());
        self.0.iter().map(|word| word.replace("{line}", &line).replace("{file}", &file)).collect()
    }

    /// Opens a line.
    ///
    /// # Errors
    /// A line of no file on the disk, or a program that cannot be run.
    pub(super) fn open(&self, place: &Place) -> Result<(), String> {
        if !place.file.is_file() {
            return Err(format!("{place} is not a file on this computer"));
        }
        let words = self.words(place);
        let quiet = || (Stdio::null(), Stdio::null(), Stdio::null());
        let (input, output, errors) = quiet();
        let mut command = Command::new(&words[0]);
        let child = command.args(&words[1..]).stdin(input).stdout(output).stderr(errors).spawn();
        let mut child = child.map_err(|error| format!("{}: {error}", words[0]))?;
        // Whoever is not waited for stays in the system's list of processes.
        std::thread::spawn(move || child.wait());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn a_name_of_a_file_never_becomes_a_word_of_its_own() {
        let editor = Editor::parse("edit --reuse '+{line}' {file}").unwrap();
        let place = Place::new(Path::new("my lapse; rm -r $HOME {line}.lua"), 7);
        assert_eq!(editor.words(&place), ["edit", "--reuse", "+7", "my lapse; rm -r $HOME {line}.lua"]);
    }

    #[test]
    fn what_is_no_command_is_told() {
        for text in ["", "   ", "edit 'open", "edit {line}"] {
            assert!(Editor::parse(text).unwrap_err().contains(VARIABLE), "{text:?}");
        }
    }

    #[test]
    fn a_line_of_a_file_that_is_not_there_is_not_opened() {
        let editor = Editor::parse("true {file}").unwrap();
        let why = editor.open(&Place::new(Path::new("stillpath:moves/push_in.lua"), 3)).unwrap_err();
        assert!(why.contains("push_in.lua"), "{why}");
    }
}

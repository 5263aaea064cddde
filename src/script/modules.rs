//! Finds the modules that `require` names: beside the script, in the user's own moves folder, then the embedded moves.
//! Never anywhere else.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use mlua::chunk::ChunkMode;
use mlua::{Function, Lua, Table, Value};

use super::state::{State, Stopped};
use super::value::{seen, shorten};
use super::{BUILTIN, Text, embedded, tokens};
use crate::diag::{Diagnostic, Place};

/// Bytes of the longest script or module.
const LONGEST_SOURCE: u64 = 4 << 20;
/// Files of a folder looked at for the name that was meant.
const MOST_LOOKED_AT: usize = 10_000;

/// Why a source cannot be run.
#[derive(Debug, thiserror::Error)]
pub(super) enum SourceError {
    #[error("cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    #[error("is not a file")]
    NotAFile,
    #[error("is larger than {} MiB", LONGEST_SOURCE >> 20)]
    TooLong,
    #[error("is compiled Lua: only source text is run")]
    Compiled,
    #[error("is not UTF-8 text (line {line})")]
    NotText {
        /// The first line that is not.
        line: u32,
    },
}

/// Reads a script or module, ready to load: without a byte-order mark, its `#!` line blanked, line numbers unmoved.
/// Notes in `state` that it was read.
pub(super) fn read(path: &Path, state: &State) -> Result<String, SourceError> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        return Err(SourceError::NotAFile);
    }
    if about.len() > LONGEST_SOURCE {
        return Err(SourceError::TooLong);
    }
    let bytes = std::fs::read(path)?;
    state.took_in(Text { path: path.to_owned(), blake3: blake3::hash(&bytes) });
    if bytes.starts_with(b"\x1b") {
        return Err(SourceError::Compiled);
    }
    let text = String::from_utf8(bytes).map_err(|why| {
        let good = &why.as_bytes()[..why.utf8_error().valid_up_to()];
        let lines = good.iter().filter(|byte| **byte == b'\n').count();
        SourceError::NotText { line: u32::try_from(lines + 1).unwrap_or(u32::MAX) }
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    for twice in tokens::given_twice(text) {
        let place = |line| Place::new(path, line);
        let said =
            format!("'{}' is given twice in this table: Lua takes the last, and the first has no effect", twice.name);
        let mut remark = Diagnostic::remark(said).at(&place(twice.second)).word(twice.written);
        if twice.first != twice.second {
            remark = remark.with(&place(twice.first), "the first");
        }
        state.record(remark.help(format!("leave one '{}' out", twice.name)));
    }
    if text.starts_with('#') {
        let end = text.find('\n').unwrap_or(text.len());
        return Ok(text[end..].to_owned());
    }
    Ok(text.to_owned())
}

/// Which scripts lie where one was looked for: the nearest names first.
pub(super) fn scripts_near(path: &Path) -> Option<String> {
    let folder = if path.is_dir() { path } else { path.parent()? };
    let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let seen = path.file_name()?.to_string_lossy().to_lowercase();
    let files =
        std::fs::read_dir(here).ok()?.flatten().take(MOST_LOOKED_AT).map(|entry| folder.join(entry.file_name()));
    let lua = files.filter(|file| file.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("lua")));
    let distance = |file: &Path| {
        let name = file.file_name().map(|name| name.to_string_lossy().to_lowercase()).unwrap_or_default();
        strsim::damerau_levenshtein(&seen, &name)
    };
    let mut near: Vec<(usize, PathBuf)> = lua.map(|file| (distance(&file), file)).collect();
    near.sort();
    let names: Vec<String> = near.iter().take(3).map(|(_, file)| file.display().to_string()).collect();
    (!names.is_empty()).then(|| format!("scripts there: {}", names.join(", ")))
}

/// Where modules are looked for, and which are being or have been run.
pub(super) struct Modules {
    script: PathBuf,
    user_moves: Option<PathBuf>,
    /// The constructors as they were before the script could change them: embedded moves run in these.
    pristine: Table,
    running: RefCell<Vec<PathBuf>>,
    done: RefCell<BTreeSet<PathBuf>>,
}

/// A module that was found.
enum Found {
    File(PathBuf),
    Embedded(PathBuf, &'static str),
}

impl Modules {
    pub(super) fn new(script: &Path, user_moves: Option<&Path>, pristine: Table) -> Self {
        Self {
            script: script.to_owned(),
            user_moves: user_moves.map(Path::to_owned),
            pristine,
            running: RefCell::default(),
            done: RefCell::default(),
        }
    }

    /// `host.find`: the module's path, and the function that runs it unless it has run already.
    pub(super) fn find(&self, lua: &Lua, name: &Value) -> mlua::Result<(String, Option<Function>)> {
        let state = State::of(lua);
        let stop = |mut diagnostic: Diagnostic| {
            diagnostic.word.get_or_insert_with(|| "require".into());
            let diagnostic = match state.here(lua) {
                Some(place) => diagnostic.at(&place),
                None => diagnostic,
            };
            state.record(diagnostic);
            mlua::Error::external(Stopped)
        };
        let text = name.as_string().and_then(|name| name.to_str().ok().map(|name| name.to_owned()));
        let Some(text) = text.filter(|text| is_module_name(text)) else {
            return Err(stop(
                Diagnostic::mistake(format!(
                    "require takes a module's name, words joined by dots; seen {}",
                    seen(name)
                ))
                .help("write require \"moves\" or require \"folder.module\": never a path"),
            ));
        };
        let found = self.locate(&text).map_err(|why| stop(Diagnostic::mistake(why)))?;
        let Some(found) = found else {
            let names: Vec<&str> = embedded::names().collect();
            let looked = match &self.user_moves {
                Some(folder) => {
                    format!("looked beside the script, in {} and among the embedded moves", folder.display())
                }
                None => "looked beside the script and among the embedded moves".into(),
            };
            let diagnostic = Diagnostic::mistake(format!("there is no module '{}'", shorten(&text))).help(looked);
            let diagnostic = diagnostic.word(text.rsplit('.').next().unwrap_or_default());
            return Err(stop(diagnostic.nearest(&text, &names)));
        };
        let (path, source) = match found {
            Found::File(path) => (path, None),
            Found::Embedded(path, text) => (path, Some(text)),
        };
        let key = path.to_string_lossy().into_owned();
        if self.done.borrow().contains(&path) {
            return Ok((key, None));
        }
        let running = self.running.borrow().clone();
        if let Some(start) = running.iter().position(|other| *other == path).or(path.eq(&self.script).then_some(0)) {
            let chain: Vec<String> = running[start.min(running.len())..]
                .iter()
                .chain([&path])
                .map(|path| path.display().to_string())
                .collect();
            return Err(stop(
                Diagnostic::mistake(format!("module '{text}' requires itself: {}", chain.join(" → ")))
                    .help("move what both need into a third module"),
            ));
        }
        let embedded = source.is_some();
        let source = match source {
            Some(source) => {
                state
                    .took_in(Text { path: format!("{BUILTIN}{text}").into(), blake3: blake3::hash(source.as_bytes()) });
                source.to_owned()
            }
            None => {
                read(&path, &state).map_err(|why| stop(Diagnostic::mistake(format!("{} {why}", path.display()))))?
            }
        };
        let chunk_name = state.add_chunk(path.as_path(), !embedded);
        let mut chunk = lua.load(source.as_str()).set_name(format!("={chunk_name}")).set_mode(ChunkMode::Text);
        if embedded {
            chunk = chunk.set_environment(self.pristine.clone());
        }
        let run = chunk.into_function().map_err(|error| super::failure::syntax_error(&state, &error, &source))?;
        self.running.borrow_mut().push(path);
        Ok((key, Some(run)))
    }

    /// `host.left`: the module at `path` is no longer running; `whole` where it ran to its end.
    pub(super) fn left(&self, path: &str, whole: bool) {
        self.running.borrow_mut().retain(|other| other.to_string_lossy() != path);
        if whole {
            self.done.borrow_mut().insert(PathBuf::from(path));
        }
    }

    fn locate(&self, name: &str) -> Result<Option<Found>, String> {
        let file = |name: &str| PathBuf::from(name.replace('.', "/") + ".lua");
        let beside = self.script.parent().unwrap_or(Path::new(""));
        let mut candidates = vec![(beside, file(name))];
        if let Some(folder) = &self.user_moves {
            candidates.push((folder, file(name)));
            // The user's own folder is a folder of moves: there `moves.rise` is `rise.lua`.
            if let Some(own) = name.strip_prefix("moves.") {
                candidates.push((folder, file(own)));
            }
        }
        let mut itself = None;
        for (root, relative) in candidates {
            let path = root.join(relative);
            if std::fs::symlink_metadata(&path).is_err() {
                continue;
            }
            // A script called `moves.lua` still reaches the embedded moves.
            if path == self.script {
                itself = Some(Found::File(path));
                continue;
            }
            let root = if root.as_os_str().is_empty() { Path::new(".") } else { root };
            let inside = match (path.canonicalize(), root.canonicalize()) {
                (Ok(real), Ok(root)) => real.starts_with(root),
                _ => false,
            };
            if !inside {
                return Err(format!("module '{name}' is a link that leads out of {}", root.display()));
            }
            return Ok(Some(Found::File(path)));
        }
        let embedded = embedded::module(name).map(|(path, text)| Found::Embedded(path, text));
        Ok(embedded.or(itself))
    }
}

/// Words of letters, digits, `_` and `-`, joined by single dots.
fn is_module_name(text: &str) -> bool {
    text.len() <= 200
        && text.split('.').all(|word| {
            !word.is_empty() && word.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-')
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn module_names_are_words_joined_by_dots() {
        for good in ["moves", "moves.push_in", "a-b.c_2"] {
            assert!(is_module_name(good), "{good}");
        }
        for bad in ["", ".", "..", "../secret", "/etc/passwd", "a..b", "a/b", "a\\b", "a.lua\0", "moves.", "ä"] {
            assert!(!is_module_name(bad), "{bad} was taken");
        }
    }
}

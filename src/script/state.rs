//! What a running script has left behind so far: mistakes, messages, the last line entered, the limit it hit.
//!
//! Shared by the thread that runs Lua and the one that waits for it, so that a script that has to be abandoned still
//! gives all that was found before.

use std::collections::{HashMap, HashSet};
use std::path::Path;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use mlua::Lua;

use super::tokens::{self, Entry};
use super::{Dial, Text, embedded};
use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::shot::Source;

/// Mistakes reported in one run; the rest are only counted.
const MOST_MISTAKES: usize = 100;
/// Bytes of printed messages kept.
const MOST_PRINTED: usize = 1 << 20;
/// Values that constructors may make in one run. They live outside Lua's heap, so its memory limit does not see them.
const MOST_MADE: usize = 250_000;

/// A piece of Lua text that has been loaded.
#[derive(Debug, Clone)]
struct Chunk {
    /// What Lua calls it in its own messages.
    name: String,
    /// The path a [`Place`] names.
    path: Arc<Path>,
    /// Whether mistakes are blamed on it, and not on whoever called into it.
    blamed: bool,
}

/// A limit that ended a script.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Limit {
    /// Wall-clock time.
    Time,
    /// Instructions of the Lua machine.
    Instructions,
    /// Bytes, or values made.
    Memory,
    /// Calls within calls.
    Depth,
    /// Nobody waits for it any more.
    CalledOff,
}

/// Ends a script whose reason has already been recorded.
#[derive(Debug, thiserror::Error)]
#[error("stopped")]
pub(super) struct Stopped;

/// All of it.
#[derive(Debug, Default)]
pub(super) struct State {
    found: Mutex<Found>,
    messages: Mutex<Vec<String>>,
    printed: AtomicUsize,
    made: AtomicUsize,
    chunks: Mutex<Vec<Chunk>>,
    /// The last line entered: the chunk's number and the line, packed; 0 where none was.
    last: AtomicU64,
    limit: Mutex<Option<Limit>>,
    dials: Mutex<Vec<Dial>>,
    texts: Mutex<Vec<Text>>,
    sources: Mutex<Vec<Arc<Source>>>,
    /// Where values of tables were found: a mistake in a loop looks once.
    entries: Mutex<HashMap<(Place, String), Option<Entry>>>,
}

#[derive(Debug, Default)]
struct Found {
    diagnostics: Vec<Diagnostic>,
    seen: HashSet<(Option<Place>, String)>,
    more: usize,
}

/// A poisoned lock only says that another thread panicked; what is inside is whole.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl State {
    /// The state of the script that `lua` runs.
    pub(super) fn of(lua: &Lua) -> Arc<Self> {
        lua.app_data_ref::<Arc<Self>>().map(|state| Arc::clone(&state)).unwrap_or_default()
    }

    /// Notes a source that the script names.
    pub(super) fn note_source(&self, source: &Arc<Source>) {
        lock(&self.sources).push(Arc::clone(source));
    }

    /// The sources that it named so far.
    pub(super) fn take_sources(&self) -> Vec<Arc<Source>> {
        std::mem::take(&mut *lock(&self.sources))
    }

    /// Records a diagnostic. The same one of the same line (a loop) counts once.
    pub(super) fn record(&self, diagnostic: Diagnostic) {
        let mut found = lock(&self.found);
        if found.diagnostics.len() >= MOST_MISTAKES {
            found.more += 1;
            return;
        }
        if found.seen.insert((diagnostic.place.clone(), diagnostic.message.clone())) {
            found.diagnostics.push(diagnostic);
        }
    }

    /// Where the value that `path` names in the constructor call at `place` is written, where that can be seen.
    pub(super) fn entry(&self, place: &Place, path: &str) -> Option<Entry> {
        let mut entries = lock(&self.entries);
        if let Some(known) = entries.get(&(place.clone(), path.to_owned())) {
            return known.clone();
        }
        if entries.len() >= MOST_MISTAKES {
            return None;
        }
        let entry = super::source_text(&place.file).and_then(|text| tokens::entry(&text, place.line, path));
        entries.insert((place.clone(), path.to_owned()), entry.clone());
        entry
    }

    /// The call of a constructor with this number among its values, where several of its name stand at `place`.
    pub(super) fn call(&self, place: &Place, constructor: &str, number: f64) -> Option<String> {
        let key = (place.clone(), format!("{constructor}({number})"));
        let found = self.looked_up(key, |text| tokens::call(text, place.line, constructor, number));
        found.map(|entry| entry.word)
    }

    /// The field of the constructor call at `place` that was written with a decimal comma, and its number.
    pub(super) fn decimal_comma(&self, place: &Place, constructor: &str) -> Option<(String, String)> {
        let key = (place.clone(), format!("{constructor},"));
        let found = self.looked_up(key, |text| {
            tokens::decimal_comma(text, place.line, constructor).map(|(field, number)| format!("{field} {number}"))
        });
        found.and_then(|entry| entry.word.split_once(' ').map(|(field, number)| (field.to_owned(), number.to_owned())))
    }

    /// What is read once from the text of a place's file.
    fn looked_up(&self, key: (Place, String), read: impl FnOnce(&str) -> Option<String>) -> Option<Entry> {
        let mut entries = lock(&self.entries);
        if let Some(known) = entries.get(&key) {
            return known.clone();
        }
        if entries.len() >= MOST_MISTAKES {
            return None;
        }
        let line = key.0.line;
        let found = super::source_text(&key.0.file).and_then(|text| read(&text)).map(|word| Entry { line, word });
        entries.insert(key, found.clone());
        found
    }

    /// Whether a diagnostic of this place holds these words.
    pub(super) fn has_recorded(&self, place: &Place, words: &str) -> bool {
        lock(&self.found)
            .diagnostics
            .iter()
            .any(|known| known.place.as_ref() == Some(place) && known.message.contains(words))
    }

    /// Takes what was found.
    pub(super) fn take_diagnostics(&self) -> Diagnostics {
        let mut found = lock(&self.found);
        let mut diagnostics = Diagnostics(std::mem::take(&mut found.diagnostics));
        if found.more > 0 {
            diagnostics.push(Diagnostic::mistake(format!("and {} more like these", found.more)));
        }
        diagnostics
    }

    /// Keeps a printed line, as long as there is room.
    pub(super) fn print(&self, line: String) {
        let length = line.len() + 1;
        let before = self.printed.fetch_add(length, Ordering::Relaxed);
        if before + length <= MOST_PRINTED {
            lock(&self.messages).push(line);
        } else if before <= MOST_PRINTED {
            lock(&self.messages).push("(what was printed after this was not kept)".into());
        }
    }

    /// Notes a file that was read. One that failed and was required again counts once.
    pub(super) fn took_in(&self, text: Text) {
        let mut texts = lock(&self.texts);
        if !texts.contains(&text) {
            texts.push(text);
        }
    }

    /// Takes the files that were read.
    pub(super) fn take_texts(&self) -> Vec<Text> {
        std::mem::take(&mut *lock(&self.texts))
    }

    /// Takes what was printed.
    pub(super) fn take_messages(&self) -> Vec<String> {
        std::mem::take(&mut lock(&self.messages))
    }

    /// Counts `values` more as made. Over the limit the script is stopped: at once where the error is raised, at the
    /// next look at the limits otherwise.
    pub(super) fn charge(&self, values: usize) -> mlua::Result<()> {
        self.count(values);
        if self.limit() == Some(Limit::Memory) { Err(mlua::Error::external(Stopped)) } else { Ok(()) }
    }

    /// Counts `values` more as made, where nothing can be raised.
    pub(super) fn count(&self, values: usize) {
        if self.made.fetch_add(values, Ordering::Relaxed) + values > MOST_MADE {
            self.hit(Limit::Memory);
        }
    }

    /// Remembers that a limit was hit: nothing the script does makes it forgotten.
    pub(super) fn hit(&self, limit: Limit) {
        lock(&self.limit).get_or_insert(limit);
    }

    /// The limit that was hit.
    pub(super) fn limit(&self) -> Option<Limit> {
        *lock(&self.limit)
    }

    /// Makes a chunk known and gives the name to load it by. `blamed` says whether its lines are places for mistakes.
    pub(super) fn add_chunk(&self, path: impl Into<Arc<Path>>, blamed: bool) -> String {
        let path = path.into();
        let mut chunks = lock(&self.chunks);
        let file = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
        // Lua cuts names in its messages at 60 bytes, and this name is how a message's line finds its file again.
        let mut short = String::new();
        for letter in file.chars().filter(|letter| !letter.is_control()) {
            if short.len() + letter.len_utf8() > 40 {
                break;
            }
            short.push(letter);
        }
        let mut name = short.clone();
        let mut copy = 2;
        while chunks.iter().any(|chunk| chunk.name == name) {
            name = format!("{short}({copy})");
            copy += 1;
        }
        chunks.push(Chunk { name: name.clone(), path, blamed });
        name
    }

    /// The number of a chunk whose lines mistakes are blamed on.
    pub(super) fn blamed_chunk(&self, chunk_name: &str) -> Option<u32> {
        let index = lock(&self.chunks).iter().position(|chunk| chunk.name == chunk_name && chunk.blamed)?;
        u32::try_from(index).ok()
    }

    /// Remembers the line being entered. Called for every line: it takes no lock.
    pub(super) fn enter(&self, chunk: u32, line: u32) {
        self.last.store(u64::from(chunk) << 32 | u64::from(line), Ordering::Relaxed);
    }

    /// The last line entered.
    pub(super) fn last_line(&self) -> Option<Place> {
        let last = self.last.load(Ordering::Relaxed);
        let (chunk, line) = (usize::try_from(last >> 32).ok()?, u32::try_from(last & u64::from(u32::MAX)).ok()?);
        (line > 0).then(|| Place::new(Arc::clone(&lock(&self.chunks)[chunk].path), line))
    }

    /// The line being run: the nearest one that mistakes are blamed on. Through `pcall` and Rust there are frames
    /// without a line, and the embedded moves pass the blame to their callers.
    pub(super) fn here(&self, lua: &Lua) -> Option<Place> {
        self.lines_up(lua).find(|(_, blamed)| *blamed).map(|(place, _)| place)
    }

    /// The line of an embedded move that is being run on behalf of [`State::here`].
    pub(super) fn through(&self, lua: &Lua) -> Option<Place> {
        let passing = self.lines_up(lua).take_while(|(_, blamed)| !*blamed).map(|(place, _)| place);
        passing.into_iter().find(|place| embedded::text(&place.file).is_some())
    }

    /// The blamed lines of the calls that led here, the innermost first, at most `most`.
    pub(super) fn calls(&self, lua: &Lua, most: usize) -> Vec<Place> {
        self.lines_up(lua).filter(|(_, blamed)| *blamed).map(|(place, _)| place).take(most).collect()
    }

    /// The lines of the calls that led here, the innermost first, with whether they are blamed.
    fn lines_up<'a>(&'a self, lua: &'a Lua) -> impl Iterator<Item = (Place, bool)> + 'a {
        (0..)
            .map_while(move |level| {
                lua.inspect_stack(level, |frame| {
                    let line = u32::try_from(frame.current_line()?).ok()?;
                    let source = frame.source();
                    self.place_in(source.short_src.as_deref()?, line)
                })
            })
            .flatten()
    }

    /// The place that Lua's `name:line` means, and whether it is blamed.
    pub(super) fn place_in(&self, chunk_name: &str, line: u32) -> Option<(Place, bool)> {
        let chunks = lock(&self.chunks);
        let chunk = chunks.iter().find(|chunk| chunk.name == chunk_name)?;
        Some((Place::new(Arc::clone(&chunk.path), line), chunk.blamed))
    }

    /// Splits a Lua message into the place it starts with and the rest.
    pub(super) fn split_message<'m>(&self, message: &'m str) -> Option<(Place, bool, &'m str)> {
        let chunks = lock(&self.chunks);
        chunks.iter().find_map(|chunk| {
            let rest = message.strip_prefix(chunk.name.as_str())?.strip_prefix(':')?;
            let (line, rest) = rest.split_once(':')?;
            let place = Place::new(Arc::clone(&chunk.path), line.parse().ok()?);
            Some((place, chunk.blamed, rest.trim_start()))
        })
    }

    /// The dials declared so far.
    pub(super) fn dials(&self) -> MutexGuard<'_, Vec<Dial>> {
        lock(&self.dials)
    }
}

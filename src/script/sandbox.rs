//! The Lua machine a script runs in: what it may reach, how long, how much, how deep.
//!
//! The machine lives on a thread of its own. Time and instructions are counted by a hook that Lua calls; a single long
//! call inside C (a pathological pattern) never gets there, so the thread can also be left behind.
//!
//! ## Decisions
//!
//! - A script has 7 s, 25 million instructions, 128 MiB and 250,000 constructed values. A thread stuck inside one long
//!   C call is left behind.
//! - `pairs`, `next`, `tostring`, `string.format` and `table.sort` are replaced: Lua's own depend on hash seeds,
//!   addresses or the clock, and the same script must give the same plan.
//!
//! ## Surprises
//!
//! - An out-of-memory error never reaches an `xpcall` handler.

use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use mlua::chunk::ChunkMode;
use mlua::debug::DebugEvent;
use mlua::{Function, HookTriggers, Lua, LuaOptions, LuaString, MultiValue, StdLib, Table, Value, VmState};

use super::embedded;
use super::failure::{error_text, notice_limit, run_error, syntax_error, value_text};
use super::modules::{self, Modules, SourceError};
use super::purposes::Shelf;
use super::state::{Limit, State, Stopped};
use super::{Request, arguments, assemble, calls, covers, dials, fields, form, reel, stamps, tables};
use crate::curve::ease::Ease;
use crate::diag::{Diagnostic, Place};
use crate::shot::Shot;

/// Wall-clock time a script may take.
const TIME: Duration = Duration::from_secs(7);
/// How much longer it is waited for before its thread is left behind.
const GRACE: Duration = Duration::from_secs(1);
/// How often it is looked whether anybody still waits for it.
const GLANCE: Duration = Duration::from_millis(20);
/// Instructions a script may take: like the time, but the same on every machine.
const INSTRUCTIONS: u64 = 25_000_000;
/// Instructions between two looks at the clock.
const STRIDE: u32 = 1000;
/// Bytes of Lua's heap.
const MEMORY: usize = 128 << 20;
/// Bytes of the thread's stack: enough for the 200 calls through C that Lua allows.
const STACK: usize = 32 << 20;

/// Texts that fields take: without their quotes they would be globals.
const TEXTS: [&str; 8] = ["start", "hold", "skip", "stop", "h264", "png", "even", "full"];

/// Runs the request on a thread of its own until `stop` is set; gives the shots it returned. What went wrong is in
/// `state`.
pub(super) fn run(request: &Request, state: &Arc<State>, stop: &AtomicBool) -> Vec<Shot> {
    let (sender, receiver) = mpsc::sync_channel(1);
    let (request, shared) = (request.clone(), Arc::clone(state));
    let thread = std::thread::Builder::new().name("script".into()).stack_size(STACK).spawn(move || {
        let lua = machine();
        let shots = lua.as_ref().map(|lua| execute(lua, &request, &shared)).unwrap_or_default();
        // Sent before the heap is freed: nobody needs to wait for that.
        let _nobody_waits = sender.send(shots);
    });
    let thread = match thread {
        Ok(thread) => thread,
        Err(why) => {
            state.record(Diagnostic::mistake(format!("the script cannot be run: {why}")));
            return Vec::new();
        }
    };
    let begun = Instant::now();
    let outcome = loop {
        match receiver.recv_timeout(GLANCE) {
            Err(RecvTimeoutError::Timeout) if stop.load(Ordering::Relaxed) => {
                state.hit(Limit::CalledOff);
                record_limit(state, Limit::CalledOff);
                return Vec::new();
            }
            Err(RecvTimeoutError::Timeout) if begun.elapsed() < TIME + GRACE => {}
            outcome => break outcome,
        }
    };
    match outcome {
        Ok(shots) => {
            if let Some(limit) = state.limit() {
                record_limit(state, limit);
            }
            shots
        }
        Err(RecvTimeoutError::Timeout) => {
            state.hit(Limit::Time);
            record_limit(state, Limit::Time);
            Vec::new()
        }
        Err(RecvTimeoutError::Disconnected) => {
            if let Err(panic) = thread.join() {
                std::panic::resume_unwind(panic);
            }
            Vec::new()
        }
    }
}

fn record_limit(state: &State, limit: Limit) {
    let (message, help) = match limit {
        Limit::Time => (
            format!("the script ran longer than {} seconds and was stopped", TIME.as_secs()),
            "look for a loop that does not end, or a text pattern that backtracks too much",
        ),
        Limit::Instructions => (
            format!("the script took more than {} million instructions and was stopped", INSTRUCTIONS / 1_000_000),
            "look for a loop that does not end",
        ),
        Limit::Memory => (
            format!("the script asked for more than {} MiB of memory and was stopped", MEMORY >> 20),
            "look for a text or a table that grows without limit",
        ),
        Limit::Depth => (
            "the script's calls were nested too deeply and it was stopped".to_owned(),
            "look for a function that calls itself without end",
        ),
        Limit::CalledOff => {
            state.record(Diagnostic::mistake("the script was stopped, because it has changed"));
            return;
        }
    };
    let diagnostic = Diagnostic::mistake(message).help(help);
    state.record(match state.last_line() {
        Some(place) => diagnostic.at(&place),
        None => diagnostic,
    });
}

fn machine() -> Option<Lua> {
    Lua::new_with(StdLib::TABLE | StdLib::STRING | StdLib::MATH | StdLib::UTF8, LuaOptions::new()).ok()
}

/// Runs the script in a machine.
fn execute(lua: &Lua, request: &Request, state: &Arc<State>) -> Vec<Shot> {
    let source = match modules::read(&request.path, state) {
        Ok(source) => source,
        Err(why) => {
            let diagnostic = Diagnostic::mistake(format!("{} {why}", request.path.display()));
            let diagnostic = match modules::scripts_near(&request.path) {
                Some(help) => diagnostic.help(help),
                None => diagnostic.help("a script is a plain text file, such as first.lua"),
            };
            state.record(match why {
                SourceError::NotText { line } => diagnostic.at(&Place::new(request.path.as_path(), line)),
                _ => diagnostic,
            });
            return Vec::new();
        }
    };
    let chunk_name = state.add_chunk(request.path.as_path(), true);
    let outcome = (|| {
        let (protected, handler) = furnish(lua, request, state, &source)?;
        let chunk = lua.load(source.as_str()).set_name(format!("={chunk_name}")).set_mode(ChunkMode::Text);
        let chunk = chunk.into_function().map_err(|error| syntax_error(state, &error, &source))?;
        protected.call::<MultiValue>((chunk, handler))
    })();
    match outcome {
        Ok(values) => {
            let mut values = values.into_iter();
            match (values.next(), values.next()) {
                (Some(Value::Boolean(true)), value) if state.limit().is_none() => {
                    dials::check_settings(state, &request.settings);
                    let last = source.trim_end().lines().count().max(1);
                    let last = Place::new(request.path.as_path(), u32::try_from(last).unwrap_or(u32::MAX));
                    return assemble::returned(state, &value.unwrap_or(Value::Nil), &last);
                }
                // The handler has recorded it, but for what Lua raises without one.
                (_, Some(value)) => notice_limit(state, &value),
                _ => {}
            }
        }
        Err(error) => run_error(state, &[], &error_text(&error)),
    }
    Vec::new()
}

/// Furnishes a machine with all a script may reach. Gives Lua's own `xpcall`, and the handler that records what it
/// catches while the lines that led there still stand.
fn furnish(lua: &Lua, request: &Request, state: &Arc<State>, source: &str) -> mlua::Result<(Function, Function)> {
    lua.set_app_data(Arc::clone(state));
    lua.set_app_data(Shelf::new(request.user_purposes.clone()));
    let globals = lua.globals();
    let raw_xpcall: Function = globals.raw_get("xpcall")?;
    calls::install(lua, &globals)?;
    tables::install(lua, &globals)?;
    covers::install(lua, &globals)?;
    stamps::install(lua, &globals)?;
    assemble::install(lua, &globals)?;
    reel::install(lua, &globals)?;
    dials::install(lua, &globals, request.settings.clone())?;
    arguments::install(lua, &globals)?;
    let pristine = lua.create_table()?;
    let host = host(lua, Modules::new(&request.path, request.user_moves.as_deref(), pristine.clone()), source)?;
    let prelude = state.add_chunk(Path::new("(prelude)"), false);
    lua.load(include_str!("prelude.lua")).set_name(format!("={prelude}")).set_mode(ChunkMode::Text).call::<()>(host)?;
    for pair in globals.pairs::<Value, Value>() {
        let (name, value) = pair?;
        pristine.raw_set(name, value)?;
    }
    lock_metatables(lua, &globals)?;
    limit(lua, state)?;
    let handler = {
        let state = Arc::clone(state);
        lua.create_function(move |lua, error: Value| {
            notice_limit(&state, &error);
            if state.limit().is_none() {
                run_error(&state, &state.calls(lua, 4), &value_text(&error));
            }
            Ok(error)
        })?
    };
    Ok((raw_xpcall, handler))
}

/// What the prelude needs of Rust.
fn host(lua: &Lua, modules: Modules, source: &str) -> mlua::Result<Table> {
    let host = lua.create_table()?;
    host.raw_set("settle", lua.create_function(settle)?)?;
    host.raw_set("keys", lua.create_function(|_, table: Table| ordered_keys(&table))?)?;
    host.raw_set("key_after", lua.create_function(|_, (table, before): (Table, Value)| key_after(&table, &before))?)?;
    host.raw_set(
        "print",
        lua.create_function(|lua, line: LuaString| {
            State::of(lua).print(line.to_string_lossy());
            Ok(())
        })?,
    )?;
    let modules = Rc::new(modules);
    let finder = Rc::clone(&modules);
    host.raw_set("find", lua.create_function(move |lua, name: Value| finder.find(lua, &name))?)?;
    host.raw_set(
        "left",
        lua.create_function(move |_, (path, whole): (String, bool)| {
            modules.left(&path, whole);
            Ok(())
        })?,
    )?;
    let hash = blake3::hash(source.as_bytes());
    let half =
        |from: usize| hash.as_bytes()[from..from + 8].iter().fold(0_i64, |seed, byte| (seed << 8) | i64::from(*byte));
    host.raw_set("seed_high", half(0))?;
    host.raw_set("seed_low", half(8))?;
    Ok(host)
}

/// What `pcall` and `xpcall` caught goes on up if it is a limit.
fn settle(lua: &Lua, caught: MultiValue) -> mlua::Result<MultiValue> {
    let state = State::of(lua);
    if matches!(caught.front(), Some(Value::Boolean(false)))
        && let Some(error) = caught.get(1)
    {
        notice_limit(&state, error);
    }
    if state.limit().is_some() { Err(mlua::Error::external(Stopped)) } else { Ok(caught) }
}

/// The keys of a table: whole numbers and numbers, then texts, each in order, then the rest.
fn ordered_keys(table: &Table) -> mlua::Result<Vec<Value>> {
    let mut numbers = Vec::new();
    let mut texts = Vec::new();
    let mut rest = Vec::new();
    for pair in table.pairs::<Value, Value>() {
        let (name, _) = pair?;
        match &name {
            Value::Integer(_) | Value::Number(_) => numbers.push(name),
            Value::String(text) => texts.push((text.as_bytes().to_vec(), name)),
            Value::Boolean(truth) => rest.push((u8::from(*truth), name)),
            _ => rest.push((2, name)),
        }
    }
    let number = |value: &Value| super::value::plain_number(value).unwrap_or(0.0);
    numbers.sort_by(|one, other| number(one).total_cmp(&number(other)));
    texts.sort_by(|one, other| one.0.cmp(&other.0));
    rest.sort_by_key(|(rank, _)| *rank);
    Ok(numbers
        .into_iter()
        .chain(texts.into_iter().map(|(_, name)| name))
        .chain(rest.into_iter().map(|(_, name)| name))
        .collect())
}

fn key_after(table: &Table, before: &Value) -> mlua::Result<Value> {
    let keys = ordered_keys(table)?;
    let from = if before.is_nil() {
        0
    } else {
        keys.iter().position(|name| name == before).map_or(keys.len(), |index| index + 1)
    };
    Ok(keys.into_iter().nth(from).unwrap_or(Value::Nil))
}

/// No way out through a metatable, and a global that nothing ever set is a mistake.
fn lock_metatables(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    let texts: Table = lua.load("getmetatable('')").eval()?;
    texts.raw_set("__metatable", false)?;
    let meta = lua.create_table()?;
    meta.raw_set("__metatable", false)?;
    meta.raw_set(
        "__index",
        lua.create_function(|lua, (_, name): (Value, Value)| {
            let state = State::of(lua);
            if let (Value::String(name), Some(place)) = (&name, state.here(lua)) {
                state.record(unknown_global(lua, &super::value::shorten(&name.to_string_lossy())).at(&place));
            }
            Ok(Value::Nil)
        })?,
    )?;
    globals.set_metatable(Some(meta))
}

/// Says of a global that nothing set what was probably meant.
fn unknown_global(lua: &Lua, name: &str) -> Diagnostic {
    let diagnostic = Diagnostic::mistake(format!("there is no '{name}'")).word(name);
    let gone = [
        "io",
        "os",
        "debug",
        "package",
        "load",
        "loadfile",
        "dofile",
        "loadstring",
        "collectgarbage",
        "coroutine",
        "warn",
    ];
    if gone.contains(&name) {
        return diagnostic.help(
            "a script may depend only on its text and its dials: no files, no clock, no processes, no code from text",
        );
    }
    let quoted = name.replace('_', "-");
    if TEXTS.contains(&name) || Ease::KEYWORDS.contains(&quoted.as_str()) {
        return diagnostic.help(format!("put it in quotes: {quoted:?}"));
    }
    if embedded::is_embedded(name) {
        return diagnostic.help(format!("write local {name} = require \"{name}\" first"));
    }
    let mut names: Vec<String> = lua.globals().pairs::<String, Value>().filter_map(|pair| Some(pair.ok()?.0)).collect();
    names.sort_unstable();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    match crate::diag::nearest(name, &names) {
        Some(near) => diagnostic.help(format!("did you mean '{near}'?")),
        None => {
            let known: Vec<&str> =
                fields::all().iter().filter(|form| form.style != form::Style::Inner).map(|form| form.name).collect();
            diagnostic
                .help(format!("a script can call: {}", known.join(", ")))
                .help(format!("give a name of your own a value before using it: local {name} = …"))
        }
    }
}

/// Sets the limits of time, instructions and memory, and keeps the last line entered.
fn limit(lua: &Lua, state: &Arc<State>) -> mlua::Result<()> {
    let state = Arc::clone(state);
    let start = Instant::now();
    let taken = AtomicU64::new(0);
    lua.set_memory_limit(MEMORY)?;
    // The global hook is the cheaper of mlua's two: it looks nothing up in the registry. It is called for every line.
    let current = RefCell::new((String::new(), None));
    lua.set_global_hook(HookTriggers::new().every_line().every_nth_instruction(STRIDE), move |_, frame| {
        if frame.event() == DebugEvent::Line {
            let (Some(line), Some(name)) = (frame.current_line(), frame.source().short_src) else {
                return Ok(VmState::Continue);
            };
            let mut current = current.borrow_mut();
            if current.0 != name {
                *current = (name.clone().into_owned(), state.blamed_chunk(&name));
            }
            if let Some(chunk) = current.1 {
                state.enter(chunk, u32::try_from(line).unwrap_or(u32::MAX));
            }
            return Ok(VmState::Continue);
        }
        if taken.fetch_add(u64::from(STRIDE), Ordering::Relaxed) > INSTRUCTIONS {
            state.hit(Limit::Instructions);
        } else if start.elapsed() > TIME {
            state.hit(Limit::Time);
        }
        if state.limit().is_some() { Err(mlua::Error::external(Stopped)) } else { Ok(VmState::Continue) }
    })
}

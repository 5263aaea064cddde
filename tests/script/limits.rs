//! Every limit ends a script in a diagnostic, whatever the script does about it: one that went on would hold its test
//! for ever.

use std::sync::{Mutex, PoisonError};

use super::{mistakes, run};

/// One runaway at a time: among many, a limit of the clock might come before the one that is asked for.
static ALONE: Mutex<()> = Mutex::new(());

/// Runs a runaway script: it must end, in one mistake with these words on this line.
fn ends(text: &str, words: &str, line: &str) {
    let alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let outcome = run(text);
    drop(alone);
    let seen = mistakes(&outcome);
    assert!(seen.len() == 1 && seen[0].contains(words), "{text}\n{seen:#?}");
    if !line.is_empty() {
        assert!(seen[0].starts_with(&format!("{line}: ")), "{text}\n{seen:#?}");
    }
}

/// By instructions or, on a slow machine, by the clock.
const LOOP: &str = "and was stopped";
const MEMORY: &str = "of memory and was stopped";
const DEEP: &str = "calls were nested too deeply";

#[test]
fn a_loop_without_end() {
    ends("local n = 0\nwhile true do end", LOOP, "2");
}

#[test]
fn a_loop_that_catches_what_stops_it() {
    ends("while true do pcall(function() while true do end end) end", LOOP, "1");
}

#[test]
fn a_loop_in_the_handler_of_what_stops_it() {
    ends("xpcall(function() while true do end end, function() while true do end end)\nprint 'past it'", LOOP, "1");
}

#[test]
fn a_loop_in_a_metamethod_and_in_a_variable_that_closes() {
    ends("local t = setmetatable({}, { __index = function() while true do end end })\nreturn t.x", LOOP, "");
    ends("do local t <close> = setmetatable({}, { __close = function() while true do end end }) end", LOOP, "1");
}

#[test]
fn a_sort_whose_order_never_settles_still_ends() {
    let seen =
        mistakes(&run("local t = {}\nfor i = 1, 300 do t[i] = i end\ntable.sort(t, function() return true end)"));
    assert_eq!(seen, ["3: a script returns a shot or a list of shots; seen nil"]);
}

#[test]
fn a_ten_gigabyte_text() {
    ends("local bomb = ('x'):rep(10 * 1024 * 1024 * 1024)", MEMORY, "1");
}

#[test]
fn a_ten_gigabyte_text_that_is_caught() {
    ends("local n = 10 * 1024 ^ 3 // 1 | 0\npcall(string.rep, 'x', n)\nprint 'past it'", MEMORY, "2");
    ends("local n = 1024 ^ 3 // 1 | 0\npcall(string.rep, 'x', n)\nprint 'past it'", MEMORY, "2");
}

#[test]
fn a_text_and_a_table_that_grow_without_end() {
    ends("local s = 'x'\nwhile true do s = s .. s end", MEMORY, "2");
    ends("local t = {}\nfor i = 1, math.huge do t[i] = ('x'):rep(100000) .. i end", MEMORY, "2");
}

#[test]
fn values_of_constructors_count_as_memory() {
    ends("local t = {}\nwhile true do t[#t + 1] = point(0, 0) end", MEMORY, "2");
    ends("local t, long = {}, ('x'):rep(4000)\nwhile true do t[#t + 1] = stills { long } end", MEMORY, "2");
    let many = "local keys = {}\nfor i = 1, 9000 do keys[i] = key { at = i / 1000, on = point(0, 0) } end\nwhile true do framing(keys) end";
    ends(many, MEMORY, "3");
}

#[test]
fn calls_that_go_too_deep() {
    ends("local function f() return 1 + f() end\nf()", DEEP, "1");
    ends("local function f() return 1 + f() end\npcall(f)\nprint 'past it'", DEEP, "");
    ends("local function f() pcall(f) end\nf()", DEEP, "1");
    ends("local function f() return xpcall(f, f) end\nf()", LOOP, "1");
    ends("local function f() return (('x'):gsub('x', f)) end\nf()", DEEP, "1");
    ends("local t = {}\nsetmetatable(t, { __index = function(t, k) return t[k + 1] end })\nreturn t[1]", DEEP, "2");
    ends(
        "local t = setmetatable({}, {})\ngetmetatable(t).__tostring = function(t) return tostring(t) end\nprint(t)",
        DEEP,
        "2",
    );
}

#[test]
fn text_nested_too_deep_for_the_parser() {
    let seen = mistakes(&run(&format!("return {}1{}", "(".repeat(5000), ")".repeat(5000))));
    assert!(seen.len() == 1, "{seen:?}");
}

#[test]
fn endless_printing_keeps_what_fits_and_says_that_the_rest_is_gone() {
    let messages = run("for i = 1, 3000 do print(('x'):rep(1000)) end").unwrap_err().messages;
    assert!((1 << 19..=1 << 20).contains(&messages.iter().map(String::len).sum::<usize>()));
    assert_eq!(messages.last().unwrap(), "(what was printed after this was not kept)");
}

#[test]
fn endless_mistakes_are_counted_not_kept() {
    let seen = mistakes(&run("for n = 1, 5000 do point(2, n + 1) end"));
    assert_eq!(seen.len(), 101, "{seen:#?}");
    assert!(seen[100].starts_with("-: and ") && seen[100].ends_with(" more like these"), "{}", seen[100]);
}

#[test]
fn mistakes_found_before_a_limit_are_told_with_it() {
    let seen = mistakes(&run("point(2, 0)\nlocal bomb = ('x'):rep(1 << 30)"));
    assert!(seen.len() == 2 && seen[0].starts_with("1: point.x must be") && seen[1].contains(MEMORY), "{seen:?}");
}

//! Scripts that can only be left behind: one long call inside C never reaches the hook that counts. A test program of
//! its own, because the thread left behind is busy until the program ends.

use stillpath::script::{self, Request};

/// Runs a script that never comes back, and checks that it is no longer waited for, and that this line is named.
fn left_behind(text: &str, line: u32) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("main.lua");
    std::fs::write(&path, text).unwrap();
    let refused =
        script::run(&Request { path, settings: Vec::new(), user_moves: None, user_purposes: None }).unwrap_err();
    let [found] = &refused.diagnostics.0[..] else { panic!("{:?}", refused.diagnostics) };
    assert_eq!(found.message, "the script ran longer than 7 seconds and was stopped");
    assert_eq!(found.place.as_ref().unwrap().line, line);
    assert_eq!(refused.messages, ["before"], "what it printed is kept");
}

#[test]
fn a_pattern_that_tries_too_many_ways_is_left_behind_and_its_line_named() {
    left_behind(
        "print 'before'\nlocal text = ('a'):rep(60)\nlocal hit = text:find(('a*'):rep(40) .. 'b')\nreturn hit",
        3,
    );
}

/// Fault 61: a script without end.
#[test]
fn a_pattern_within_pcall_is_left_behind_too() {
    left_behind(
        "print 'before'\nwhile true do\n  pcall(string.gsub, ('a'):rep(60), ('a-'):rep(40) .. 'b', '')\nend",
        3,
    );
}

#[test]
fn a_table_moved_without_end_is_left_behind_too() {
    left_behind("print 'before'\ntable.move({}, 1, math.maxinteger - 1, 2)", 2);
}

//! What a script cannot reach, however it tries.

use std::collections::BTreeSet;

use super::{Folder, mistakes, run, shot};

/// Scripts that must come to `nil`, an error or a mistake, and never print "out".
const ATTEMPTS: [(&str, &str); 36] = [
    ("files", "if rawget(_G, 'io') then print 'out' end"),
    ("the system", "if rawget(_G, 'os') then print 'out' end"),
    ("debug", "if rawget(_G, 'debug') then print 'out' end"),
    ("package", "if rawget(_G, 'package') then print 'out' end"),
    ("coroutines", "if rawget(_G, 'coroutine') then print 'out' end"),
    ("load", "if rawget(_G, 'load') or rawget(_G, 'loadstring') then print 'out' end"),
    ("loadfile", "if rawget(_G, 'loadfile') or rawget(_G, 'dofile') then print 'out' end"),
    ("the collector", "if rawget(_G, 'collectgarbage') then print 'out' end"),
    ("warnings", "if rawget(_G, 'warn') then print 'out' end"),
    ("bytecode out", "if string.dump then print 'out' end"),
    ("bytecode out through a text", "if ('').dump then print 'out' end"),
    ("a new seed", "if math.randomseed then print 'out' end"),
    ("the metatable of texts", "if getmetatable('') then print 'out' end"),
    ("changing the metatable of texts", "if pcall(setmetatable, '', {}) then print 'out' end"),
    ("the metatable of globals", "if getmetatable(_G) then print 'out' end"),
    ("another metatable for globals", "if pcall(setmetatable, _G, {}) then print 'out' end"),
    ("the metatable of a point", "if getmetatable(point(0, 0)) then print 'out' end"),
    ("a field of a point", "if pcall(function() return point(0, 0).x end) then print 'out' end"),
    ("writing to a point", "if pcall(function() point(0, 0).x = 1 end) then print 'out' end"),
    ("a finalizer", "if pcall(setmetatable, {}, { __gc = function() end }) then print 'out' end"),
    ("a weak table", "if pcall(setmetatable, {}, { __mode = 'k' }) then print 'out' end"),
    ("an address by tostring", "if tostring({}):find '0x' or tostring(print):find '0x' then print 'out' end"),
    ("an address by format", "if pcall(string.format, '%p', {}) then print 'out' end"),
    ("an address by a padded format", "if pcall(string.format, '%-20p', {}) then print 'out' end"),
    ("an address by a text's format", "if ('%s'):format({}):find '0x' then print 'out' end"),
    ("an address in an error", "local _, e = pcall(error, {}) if tostring(e):find '0x' then print 'out' end"),
    ("an absolute module", "if pcall(require, '/etc/passwd') then print 'out' end"),
    ("a module upwards", "if pcall(require, '../secret') then print 'out' end"),
    ("a module upwards by dots", "if pcall(require, '...secret') then print 'out' end"),
    ("a module by a file's name", "if pcall(require, 'main.lua') then print 'out' end"),
    ("a module with a zero byte", "if pcall(require, 'moves\\0x') then print 'out' end"),
    ("the globals of the embedded moves", "framing = function() print 'out' end require 'moves.push_in' {}"),
    ("the library of the embedded moves", "arguments = nil key = nil require 'moves.push_in' {}"),
    (
        "a finalizer by a changed ipairs",
        "ipairs = function() end if pcall(setmetatable, {}, { __gc = print }) then print 'out' end",
    ),
    (
        "a finalizer by a changed rawget",
        "rawget = function() end if pcall(setmetatable, {}, { __gc = print }) then print 'out' end",
    ),
    (
        "a hook by way of an error value",
        "local _, e = pcall(require, 'nowhere') if pcall(function() return e.x end) then print 'out' end",
    ),
];

#[test]
fn every_attempt_to_get_out_fails() {
    for (what, text) in ATTEMPTS {
        let messages = match run(text) {
            Ok(script) => script.messages,
            Err(refused) => {
                let stopped = refused.diagnostics.0.iter().any(|found| found.message.contains("was stopped"));
                assert!(!stopped, "{what}: {:?}", refused.diagnostics);
                refused.messages
            }
        };
        assert!(!messages.contains(&"out".to_owned()), "a script reached {what}");
    }
}

/// Fault 63: files, clock, chance.
#[test]
fn only_the_promised_globals_are_there() {
    let text =
        "local names = {}\nfor name in pairs(_G) do names[#names + 1] = name end\nprint(table.concat(names, ' '))\n";
    let seen = run(&(text.to_owned() + &shot(""))).unwrap().messages;
    assert_eq!(
        seen,
        [
            "_G _VERSION action arguments assert box clock cover cubic_bezier cut delivery dial drawing error every follow frames_per_still framing getmetatable \
          ipairs \
          key linear liveliest math next over pace pairs part pcall percent point print px rawequal rawget rawlen rawset recording reel require select \
          setmetatable shot stamp steps still stills stills_per_frame string table times tonumber tostring type utf8 xpcall"
        ]
    );
}

#[test]
fn a_global_that_is_not_there_is_named_with_what_was_meant() {
    let outcome = run("local t = os.time()\n");
    assert_eq!(mistakes(&outcome), ["1: there is no 'os'"]);
    assert!(outcome.unwrap_err().diagnostics.0[0].help[0].contains("no clock"));
    let outcome = run("local d = delivry { 'wide', frame = { 64, 64 } }\n");
    assert_eq!(mistakes(&outcome), ["1: there is no 'delivry'"]);
    assert_eq!(outcome.unwrap_err().diagnostics.0[0].help, ["did you mean 'delivery'?"]);
    let outcome = run("local track = moves.push_in {}\n");
    assert_eq!(mistakes(&outcome), ["1: there is no 'moves'"]);
    assert_eq!(outcome.unwrap_err().diagnostics.0[0].help, ["write local moves = require \"moves\" first"]);
    assert_eq!(mistakes(&run("local x = point(0, 0).x")), ["1: attempt to index a constructed value"]);
}

#[test]
fn compiled_lua_is_refused_as_script_and_as_module() {
    let compiled = b"\x1bLua\x54\x00\x19\x93\r\n\x1a\n";
    let seen = mistakes(&Folder::new().with("main.lua", compiled).run(&[]));
    assert!(seen.len() == 1 && seen[0].ends_with("is compiled Lua: only source text is run"), "{seen:?}");
    let seen = mistakes(&Folder::new().with("main.lua", "require 'bad'").with("bad.lua", compiled).run(&[]));
    assert!(
        seen.len() == 1 && seen[0].starts_with("1: ") && seen[0].ends_with("is compiled Lua: only source text is run"),
        "{seen:?}"
    );
}

#[test]
fn a_script_that_cannot_be_read_says_why() {
    let folder = Folder::new();
    let seen = mistakes(&folder.run(&[]));
    assert!(seen.len() == 1 && seen[0].contains("main.lua cannot be read"), "{seen:?}");
    std::fs::create_dir(folder.path("main.lua")).unwrap();
    assert!(mistakes(&folder.run(&[]))[0].ends_with("is not a file"));
    let seen = mistakes(&Folder::new().with("main.lua", b"local a = 1\nlocal b = '\xff'\n").run(&[]));
    assert!(seen[0].starts_with("2: ") && seen[0].ends_with("is not UTF-8 text (line 2)"), "{seen:?}");
}

#[cfg(unix)]
#[test]
fn a_module_by_a_link_that_leads_out_is_refused_and_one_within_is_not() {
    use std::os::unix::fs::symlink;
    let elsewhere = Folder::new().with("secret.lua", "print 'out'");
    let folder = Folder::new().with("main.lua", "require 'inner' require 'outer'").with("real.lua", "print 'in'");
    symlink(elsewhere.path("secret.lua"), folder.path("outer.lua")).unwrap();
    symlink(folder.path("real.lua"), folder.path("inner.lua")).unwrap();
    let outcome = folder.run(&[]);
    assert!(mistakes(&outcome)[0].contains("module 'outer' is a link that leads out of"), "{outcome:?}");
    assert_eq!(outcome.unwrap_err().messages, ["in"]);
    let folder = Folder::new().with("main.lua", "require 'deep.secret'");
    symlink(elsewhere.path(""), folder.path("deep")).unwrap();
    assert!(mistakes(&folder.run(&[]))[0].contains("is a link that leads out of"));
}

#[test]
fn a_module_that_is_not_there_says_where_it_was_looked_for_and_what_is_near() {
    let outcome = run("require 'moves.push_inn'\n");
    assert_eq!(mistakes(&outcome), ["1: there is no module 'moves.push_inn'"]);
    let help = &outcome.unwrap_err().diagnostics.0[0].help;
    assert!(
        help[0].starts_with("looked beside the script, in ") && help[1] == "did you mean 'moves.push_in'?",
        "{help:?}"
    );
}

#[test]
fn modules_that_require_each_other_are_shown_as_the_circle_they_are() {
    let folder =
        Folder::new().with("main.lua", "require 'a'").with("a.lua", "\nrequire 'b'").with("b.lua", "require 'a'");
    let outcome = folder.run(&[]);
    let found = &outcome.as_ref().unwrap_err().diagnostics.0;
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].message.starts_with("module 'a' requires itself: ") && found[0].message.contains("b.lua → "),
        "{found:?}"
    );
    assert!(found[0].place.as_ref().unwrap().file.ends_with("b.lua"));
    let seen = mistakes(&Folder::new().with("main.lua", "require 'main'").run(&[]));
    assert!(seen[0].starts_with("1: module 'main' requires itself"), "{seen:?}");
}

#[test]
fn a_script_may_be_called_anything() {
    for name in
        ["hafen: v2.lua", "港の長い長い長い長い長い長い長い長い名前.lua", "[string].lua", "a'b\"c.lua", "no-ending"]
    {
        let folder = Folder::new().with(name, "local x\n\nx.y = 1");
        let request = stillpath::script::Request {
            path: folder.path(name),
            settings: Vec::new(),
            user_moves: None,
            user_purposes: None,
        };
        let found = stillpath::script::run(&request).unwrap_err().diagnostics.0.remove(0);
        assert_eq!(found.message, "attempt to index a nil value (local 'x')");
        assert_eq!(found.place.unwrap().to_string(), format!("{}:3", folder.path(name).display()));
    }
}

#[test]
fn a_module_that_failed_once_is_no_circle() {
    let text = "print(pcall(require, 'a'))\nrequire 'a'";
    let outcome = Folder::new().with("main.lua", text).with("a.lua", "error 'not today'").run(&[]);
    assert_eq!(mistakes(&outcome), ["1: not today"]);
    assert_eq!(outcome.unwrap_err().messages, ["false\ta.lua:1: not today"]);
}

#[test]
fn names_without_end_are_cut_and_compared_with_nothing() {
    let text = "local long = ('x'):rep(20000000)\nlocal a = _G[long]\nlocal b = key { [long] = 1 }\nlocal c = point(long, 0)\nerror(long)";
    for line in mistakes(&run(text)) {
        assert!(line.len() < 1000, "{}", line.len());
    }
    assert_eq!(mistakes(&run(text)).len(), 5);
}

#[test]
fn a_run_error_shows_the_calls_that_led_to_it() {
    let text = "local function inner(t)\n  return t.x.y\nend\nlocal function outer(t)\n  local y = inner(t)\n  return y\nend\nouter({})";
    let refused = run(text).unwrap_err();
    let related: Vec<(u32, &str)> =
        refused.diagnostics.0[0].related.iter().map(|(place, why)| (place.line, why.as_str())).collect();
    assert_eq!(refused.diagnostics.0[0].place.as_ref().unwrap().line, 2);
    assert_eq!(related, [(5, "called from here"), (8, "called from here")]);
}

#[test]
fn a_mistake_that_a_move_hands_on_shows_the_moves_line_too() {
    let folder = Folder::new().with("main.lua", "require 'moves.push_in' { to = 0.5 }");
    let refused = folder.run(&[]).unwrap_err();
    let text = stillpath::diag::render(&refused.diagnostics, false, stillpath::script::source_text);
    for due in
        ["{ to = 0.5 }", "stillpath:moves/push_in.lua:", "zoom = a.to, ease = a.ease", "the move passes it on here"]
    {
        assert!(text.contains(due), "{due}\n{text}");
    }
}

#[test]
fn every_constructor_survives_every_kind_of_value_in_every_field() {
    let types = stillpath::script::editor_types();
    let fields = types.lines().filter_map(|line| line.strip_prefix("---@field ")?.split([' ', '?']).next());
    let fields: BTreeSet<&str> = fields.filter(|name| !name.starts_with('[')).collect();
    let fields: Vec<String> = fields.into_iter().map(|name| format!("{name:?}")).collect();
    let calls = types.lines().filter_map(|line| line.strip_prefix("function ")?.split('(').next());
    let calls: Vec<&str> = calls.collect();
    assert!(fields.len() > 30 && calls.len() == 32);
    // All of them at once would be more than a script may do: two at a time, the last two too.
    let runs = (0..calls.len()).step_by(2).map(|first| {
        let calls = &calls[first.min(calls.len() - 2)..][..2];
        let refused = run(&every_value_in_every_field(calls, &fields)).unwrap_err();
        let count = refused.messages.last().and_then(|count| count.parse::<u64>().ok());
        (refused.diagnostics.0.len(), count.expect("the script came to its end"))
    });
    let (told, calls): (Vec<usize>, Vec<u64>) = runs.unzip();
    // The first 100 mistakes and a line for the rest are told; a pair that takes nearly anything has fewer.
    assert!(told.iter().all(|told| (1..=101).contains(told)) && told.contains(&101), "{told:?}");
    assert!(calls.iter().sum::<u64>() > 20_000);
}

fn every_value_in_every_field(calls: &[&str], fields: &[String]) -> String {
    format!(
        r#"
local calls = {{ {} }}
local fields = {{ {} }}
local values = {{ 0, -1, 1, 1.5, 0 / 0, 1 / 0, 1 << 62, "", "start", "14:32", "\0\xff", {{}}, {{ {{}} }}, {{ 1, 2, 3 }}, print, true,
  point(0, 0), box(0, 0, 1, 1), still(1), over "1s", times(1), "linear", {{ "a" }}, stills {{ "a" }}, steps(2),
  key {{ at = 0, on = point(0, 0) }}, setmetatable({{}}, {{ __index = function() error "no" end }}) }}
local count = 0
for _, call in ipairs(calls) do
  for _, value in ipairs(values) do
    call(value)
    call(value, value, value, value, value)
    call {{ value }}
    call {{ value, value }}
    for _, field in ipairs(fields) do
      call {{ [field] = value }}
      call {{ value, [field] = value, name = "a", frame = {{ 64, 64 }}, at = 0, source = stills {{ "a" }}, pace = over "1s" }}
      count = count + 1
    end
  end
end
print(count)
"#,
        calls.join(", "),
        fields.join(", ")
    )
}

#[test]
fn a_script_called_like_the_moves_still_reaches_them() {
    let folder = Folder::new().with("moves.lua", "print(require 'moves'.push_in)\n".to_owned() + &shot(""));
    let request = stillpath::script::Request {
        path: folder.path("moves.lua"),
        settings: Vec::new(),
        user_moves: None,
        user_purposes: None,
    };
    assert_eq!(stillpath::script::run(&request).unwrap().messages, ["function"]);
}

#[test]
fn a_modules_mistakes_carry_its_own_line() {
    let folder = Folder::new()
        .with("main.lua", "require 'part_one'\nrequire 'part_two'")
        .with("part_one.lua", "\n\npoint(2, 0)")
        .with("part_two.lua", "local x = nil\nreturn x.y");
    let outcome = folder.run(&[]);
    let found = &outcome.as_ref().unwrap_err().diagnostics.0;
    let places: Vec<String> =
        found.iter().map(|found| found.place.as_ref().map(|place| place.to_string()).unwrap_or_default()).collect();
    assert_eq!(
        places,
        [
            format!("{}:3", folder.path("part_one.lua").display()),
            format!("{}:2", folder.path("part_two.lua").display())
        ]
    );
    assert_eq!(found[1].message, "attempt to index a nil value (local 'x')");
}

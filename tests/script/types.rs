//! The editor types, against what scripts can really call.

use std::collections::BTreeSet;

use stillpath::script;

use super::{mistakes, run};

#[test]
fn the_editor_types_are_lua_that_runs_and_defines_what_scripts_can_call() {
    let text = script::editor_types();
    let lua = mlua::Lua::new();
    let before: BTreeSet<String> = lua.globals().pairs::<String, mlua::Value>().map(|pair| pair.unwrap().0).collect();
    lua.load(&text).exec().unwrap();
    let after: BTreeSet<String> = lua.globals().pairs::<String, mlua::Value>().map(|pair| pair.unwrap().0).collect();
    let defined: Vec<&String> = after.difference(&before).collect();
    assert_eq!(defined.len(), 32, "{defined:?}");
    for name in defined {
        // Each is there, and complains when called with what none of them takes.
        assert!(mistakes(&run(&format!("{name}(print, print)")))[0].starts_with("1: "), "{name}");
    }
}

#[test]
fn the_editor_types_mention_every_field_that_a_message_lists() {
    let text = script::editor_types();
    for form in ["shot", "stills", "recording", "pace", "key", "delivery"] {
        let outcome = run(&format!("{form} {{ ['?'] = 1 }}"));
        let refused = outcome.unwrap_err();
        let listed = refused
            .diagnostics
            .0
            .iter()
            .flat_map(|found| &found.help)
            .find_map(|help| help.strip_prefix("available: "));
        let listed: Vec<&str> = listed.unwrap().split(", ").collect();
        let class = format!("---@class stillpath.{}{}Fields\n", form[..1].to_uppercase(), &form[1..]);
        let block = text.split(&class).nth(1).unwrap_or_else(|| panic!("no {class}"));
        let block = block.split("\n\n").next().unwrap();
        for name in listed {
            let mentioned = block.lines().any(|line| {
                line.strip_prefix("---@field ").is_some_and(|line| line.split([' ', '?']).next() == Some(name))
            });
            assert!(mentioned, "{form}.{name} is not in\n{block}");
        }
    }
}

#[test]
fn the_editor_types_say_ranges_defaults_choices_and_moves() {
    let text = script::editor_types();
    for due in [
        "---@meta\n",
        "---@field zoom? number in a framing: 1 is the largest window of the delivery's shape and the key's roll inside the still, 2 half as wide; a number from 1 to 1000 (default: 1)",
        "---@field codec? \"h264\"|\"hevc\"|\"av1\"|\"prores\"|\"dnxhr\"|\"ffv1\"|\"png\"|\"tiff\"|\"jpeg\"|stillpath.",
        "---@field [1] string its name",
        "---@field [integer] stillpath.Key keys",
        "---@param fields stillpath.DeliveryFields\n---@return stillpath.Delivery\nfunction delivery(fields) end",
        "---@param jump? \"jump-start\"|",
        "---@field push_in fun(given: table): stillpath.Framing Push in: ",
        "---@generic T: number|string|boolean",
        "\"ease-in-out\"|",
    ] {
        assert!(text.contains(due), "{due}\n{text}");
    }
}

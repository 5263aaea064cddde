//! Every example script runs over a small demo shoot, with smaller frames and nothing else changed; and the README
//! shows the demo's script as it is.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::Bench;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A small demo shoot, and a script with frames a quarter as wide.
fn prepared(example: &str) -> Bench {
    let bench = Bench::new(0);
    bench.run(&["demo", "demo", "--stills", "24", "--size", "800x600"]).expect(0);
    let text = fs::read_to_string(root().join(example)).unwrap();
    let mut smaller = text.clone();
    for (frame, small) in
        [("{ 1920, 1080 }", "{ 480, 270 }"), ("{ 1080, 1920 }", "{ 270, 480 }"), ("{ 1080, 1080 }", "{ 270, 270 }")]
    {
        smaller = smaller.replace(frame, small);
    }
    assert_ne!(text, smaller, "{example} has no frame of a known size");
    fs::write(bench.path("demo/example.lua"), smaller).unwrap();
    bench
}

fn rendered(example: &str, expected: &[&str]) {
    let bench = prepared(example);
    bench.run(&["check", "demo/example.lua"]).expect(0);
    let json = bench.run(&["render", "demo/example.lua", "--out", "clips", "--json"]).expect(0).json();
    let outputs: Vec<&str> =
        json["outputs"].as_array().unwrap().iter().map(|output| output["delivery"].as_str().unwrap()).collect();
    assert_eq!(outputs, expected);
    let tally = &json["shots"][0]["tally"];
    assert_eq!(tally["used"].as_u64().unwrap() + 1, 24, "{tally}");
    assert_eq!(tally["missing"].as_array().unwrap().len(), 1, "{tally}");
}

#[test]
fn the_harbour_gives_three_shapes() {
    rendered("examples/harbour/harbour.lua", &["wide", "vertical", "square"]);
}

#[test]
fn the_push_in_gives_a_wide_clip() {
    rendered("examples/push_in/push_in.lua", &["wide"]);
}

#[test]
fn one_shoot_gives_two_shapes() {
    rendered("examples/two_shapes/two_shapes.lua", &["wide", "vertical"]);
}

#[test]
fn the_demo_puts_the_harbour_script_beside_its_shoot() {
    let bench = prepared("examples/harbour/harbour.lua");
    let put = fs::read_to_string(bench.path("demo/harbour.lua")).unwrap();
    assert_eq!(put, fs::read_to_string(root().join("examples/harbour/harbour.lua")).unwrap());
    bench.run(&["demo", "demo", "--stills", "3", "--size", "64x64"]).expect(1).says("already holds a demo");
}

#[test]
fn a_demo_never_replaces_what_it_did_not_draw() {
    let bench = Bench::new(0);
    let own = bench.path("demo/shoot/100HARBR/TIDE9941.JPG");
    fs::create_dir_all(own.parent().unwrap()).unwrap();
    fs::write(&own, "somebody's own").unwrap();
    let ran = bench.run(&["demo", "demo", "--stills", "3", "--size", "64x64", "--force"]).expect(1);
    ran.says("nothing in it is replaced");
    assert_eq!(fs::read_to_string(&own).unwrap(), "somebody's own");
}

/// The README's script is the demo's without its comments.
#[test]
fn the_readme_shows_the_script_as_it_is() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let shown = readme.split("<!-- script -->").nth(1).unwrap().split("<!-- end of script -->").next().unwrap();
    let shown = shown.trim().trim_start_matches("```lua").trim_end_matches("```").trim();
    assert_eq!(shown, without_comments(&root().join("examples/harbour/harbour.lua")));
}

fn without_comments(script: &Path) -> String {
    let text = fs::read_to_string(script).unwrap();
    let code = text.lines().filter(|line| !line.trim_start().starts_with("--")).collect::<Vec<_>>().join("\n");
    let mut lines: Vec<&str> = Vec::new();
    for line in code.lines().map(str::trim_end) {
        if !(line.is_empty() && lines.last().is_none_or(|last| last.is_empty())) {
            lines.push(line);
        }
    }
    lines.join("\n").trim().to_owned()
}

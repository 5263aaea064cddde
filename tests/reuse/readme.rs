//! What the README tells people to type works: its commands are run in its own order over a made shoot, and its pieces
//! of scripts are run.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use crate::common::Bench;

/// Commands that are not run here, and why.
const NOT_RUN: [(&str, &str); 2] = [
    ("sh scripts/demo", "installs packages, builds the program and renders 12-megapixel stills"),
    ("sh scripts/test", "installs packages and runs this very test"),
];

/// The script that the README's commands are about, over the stills beside it.
const EVENING: &str = r#"
local near = dial("near", 1.2, { min = 1, max = 2, help = "how close" })
return shot {
  source = stills { "stills", missing = "hold" },
  pace = frames_per_still(1),
  level = true,
  steady = true,
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.5, 0.5), zoom = near, ease = "ease-in-out" },
  },
  deliveries = { delivery { "wide", frame = { 128, 72 } }, delivery { "vertical", frame = { 72, 128 } } },
}"#;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The fenced blocks of a page in one language.
fn fences(page: &str, language: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(page)).unwrap();
    let opening = format!("```{language}");
    let (mut blocks, mut open): (Vec<String>, Option<String>) = (Vec::new(), None);
    for line in text.lines() {
        match &mut open {
            None if line == opening => open = Some(String::new()),
            Some(_) if line == "```" => blocks.extend(open.take()),
            Some(block) => *block += &format!("{line}\n"),
            None => {}
        }
    }
    assert!(open.is_none() && !blocks.is_empty(), "{page} has no whole block of {language}");
    blocks
}

/// Serves the page until it has printed its address, then interrupts it as Ctrl-C does.
fn live(bench: &Bench, arguments: &[&str]) {
    let mut child = bench.command(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
    let interrupted = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    let ended = child.wait_with_output().unwrap();
    assert!(line.starts_with("http://127.0.0.1:"), "{line}{}", String::from_utf8_lossy(&ended.stderr));
    assert!(interrupted.success());
}

/// Tends until the first round is over, then interrupts it as Ctrl-C does.
fn tend(bench: &Bench, arguments: &[&str]) {
    let mut child = bench.command(arguments).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let waits = lines.map(|line| line.contains("waiting for more")).find(|waits| *waits);
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert_eq!(waits, Some(true), "the first round never ended");
}

#[test]
fn every_command_of_the_readme_does_what_it_says_in_the_order_it_stands() {
    let bench = Bench::new(0);
    bench.run(&["demo", "made", "--stills", "24", "--size", "800x600"]).expect(0);
    fs::rename(bench.path("made/shoot"), bench.path("stills")).unwrap();
    fs::write(bench.path("evening.lua"), EVENING).unwrap();

    let blocks = fences("README.md", "sh").concat();
    let commands: Vec<&str> = blocks.lines().map(|line| line.split(" #").next().unwrap().trim()).collect();
    for (command, why) in NOT_RUN {
        assert!(commands.contains(&command), "{command} ({why}) is no longer in the README");
    }
    let mut ran = 0;
    for command in commands {
        if NOT_RUN.iter().any(|(not_run, _)| *not_run == command) {
            continue;
        }
        let mut arguments: Vec<&str> = command.split_whitespace().collect();
        assert_eq!(arguments.remove(0), "stillpath", "{command}");
        match arguments[0] {
            "live" => live(&bench, &arguments),
            "tend" => tend(&bench, &arguments),
            // 120 stills of 12 megapixels take too long here.
            "demo" => drop(bench.run(&[&arguments[..], &["--stills", "6", "--size", "64x64"]].concat()).expect(0)),
            _ => {
                let ran = bench.run(&arguments);
                assert_eq!(ran.code, 0, "{command}\n{}\n{}", ran.out, ran.err);
            }
        }
        for pair in arguments.windows(2).filter(|pair| ["-o", "--picture", "--out"].contains(&pair[0])) {
            assert!(bench.path(pair[1]).exists(), "{command} left no {}", pair[1]);
        }
        ran += 1;
    }
    assert!(ran > 20, "only {ran} commands were found: is the reader of the README broken?");
    for promised in ["stills.lua", "clips/stills-wide.mp4", "clips/stills-wide.draft.mp4", "clips/evening-receipt.json"]
    {
        assert!(bench.path(promised).exists(), "{promised}");
    }
}

/// A piece of a script made whole: fields of a shot, or a delivery.
fn whole(piece: &str) -> String {
    let deliveries = match piece.trim_start().starts_with("delivery") {
        true => piece,
        false => "delivery { \"wide\", frame = { 64, 36 } }",
    };
    let fields = if deliveries == piece { "" } else { piece.trim_end().trim_end_matches(',') };
    let given = |field: &str| fields.contains(&format!("{field} = "));
    let source = if given("source") { "" } else { "source = stills { \"stills\" }," };
    let pace = if given("pace") { "" } else { "pace = over \"20s\"," };
    let comma = if fields.is_empty() { "" } else { "," };
    format!("return shot {{ {source} {pace}\n{fields}{comma}\ndeliveries = {{ {deliveries} }} }}")
}

#[test]
fn every_piece_of_a_script_that_pages_show_runs() {
    let bench = Bench::new(0);
    let mut ran = 0;
    for page in ["README.md", "src/script/reference/head.md", "src/script/reference/tail.md"] {
        for piece in fences(page, "lua") {
            let script = if piece.contains("return shot") { piece } else { whole(&piece) };
            bench.script(&script);
            let outcome = bench.run(&["dials", "move.lua"]);
            assert_eq!(outcome.code, 0, "{page}:\n{script}\n{}", outcome.err);
            ran += 1;
        }
    }
    assert!(ran >= 5, "only {ran} pieces were found");
}

//! Help as it is read: in terminals of any width, and true.

use std::process::Command;

use crate::common::{Bench, Ran};

/// Help in a terminal of so many columns, as far as the program is told of one.
fn help(bench: &Bench, command: &[&str], columns: &str) -> String {
    let mut program: Command = bench.command(&[command, &["--help"]].concat());
    Ran::of(program.env("COLUMNS", columns).output().unwrap()).expect(0).out
}

/// Every command that the program lists.
fn commands(bench: &Bench) -> Vec<String> {
    let text = help(bench, &[], "100");
    let listed = text.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let named = listed.filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    named.map(|line| line.split_whitespace().next().unwrap().to_owned()).filter(|name| name != "help").collect()
}

#[test]
fn what_stands_below_the_options_is_wrapped_once_whatever_the_terminal() {
    let bench = Bench::new(0);
    let commands = commands(&bench);
    assert!(commands.len() >= 18, "{commands:?}");
    for command in commands.iter().map(String::as_str).map(Some).chain([None]) {
        for (columns, width) in [("80", 80), ("100", 100), ("200", 100)] {
            let text = help(&bench, &command.into_iter().collect::<Vec<_>>(), columns);
            let options = text.lines().position(|line| line == "Options:").unwrap();
            let lines: Vec<&str> = text.lines().skip(options).skip_while(|line| !line.is_empty()).collect();
            for pair in lines.windows(2) {
                assert!(pair[0].chars().count() <= width, "{command:?} at {columns}: {}", pair[0]);
                let is_text = |line: &str| !line.is_empty() && !line.starts_with(' ') && !line.ends_with(':');
                let [now, next] = [pair[0], pair[1]];
                if !is_text(now) || next.is_empty() || next.starts_with(' ') {
                    continue;
                }
                // A line ends where the next word would not have fitted.
                let first = next.split(' ').next().unwrap();
                let filled = now.chars().count() + 1 + first.chars().count();
                assert!(filled > width, "{command:?} at {columns} is wrapped twice:\n{now}\n{next}");
            }
            // A command that is to be typed is on one line.
            for line in lines.iter().filter(|line| line.trim_start().starts_with("stillpath ")) {
                assert!(line.starts_with("  "), "{line}");
            }
        }
    }
}

#[test]
fn check_says_when_it_reads_pixels() {
    let bench = Bench::new(0);
    let text = help(&bench, &["check"], "100").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!text.contains("without decoding a pixel"), "{text}");
    assert!(text.contains("Only a script with level = true or steady = true makes it read pixels"), "{text}");
}

//! Outputs that cannot be written: the message names them and their folder, before any work, and says what to do.

use std::fs;

use crate::common::{Bench, Ran, one};

/// Every command that writes a file it is told to, up to its output.
const WRITERS: [(&[&str], &str); 7] = [
    (&["draw", "move.lua", "-o"], "x.svg"),
    (&["draw", "move.lua", "--strip", "-o"], "x.png"),
    (&["frame", "move.lua", "--frame", "0", "-o"], "x.png"),
    (&["survey", "stills", "--picture"], "x.png"),
    (&["level", "move.lua", "-o"], "x.csv"),
    (&["moves", "push_in", "-o"], "x.svg"),
    (&["new", "stills", "-o"], "x.lua"),
];

fn ran(bench: &Bench, command: &[&str], path: &str) -> Ran {
    let ran = bench.run(&[command, &[path]].concat());
    for own in [".drawing", ".unfinished", ".frame-", ".tmp", "temporary"] {
        assert!(!ran.err.contains(own), "{command:?} tells its own file's name:\n{}", ran.err);
    }
    ran
}

#[test]
fn a_folder_that_is_not_there_is_named_with_what_to_type() {
    let bench = Bench::new(4);
    bench.script(&one("\"stills\"").replace("fps = 24", "level = true, fps = 24"));
    for (at, (command, file)) in WRITERS.into_iter().enumerate() {
        let folder = format!("not there {at}/below");
        let path = format!("{folder}/{file}");
        let said = ran(&bench, command, &path).expect(1);
        let said = said.says(&format!("{path} cannot be written: there is no folder {folder}"));
        let typed = format!("mkdir -p '{folder}'");
        said.says(&format!("make it with {typed}, or name a file in another folder"));
        let made = std::process::Command::new("sh").args(["-c", &typed]).current_dir(bench.path("")).status().unwrap();
        assert!(made.success());
        ran(&bench, command, &path).expect(0);
        assert!(bench.path(&path).exists(), "{command:?}");
    }
}

#[test]
fn a_file_where_the_folder_should_be_is_named() {
    let bench = Bench::new(4);
    bench.script(&one("\"stills\"").replace("fps = 24", "level = true, fps = 24"));
    fs::write(bench.path("file"), "a file").unwrap();
    for (command, file) in WRITERS {
        let said = ran(&bench, command, &format!("file/{file}")).expect(1);
        said.says(&format!("file/{file} cannot be written: file is a file, not a folder")).says("another folder");
    }
    let said = ran(&bench, &["render", "move.lua", "--out"], "file/clips").expect(1);
    said.says("the folder file/clips cannot be written: Not a directory").says("choose another --out folder");
}

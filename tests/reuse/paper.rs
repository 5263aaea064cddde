//! What a package brings beside the program: completions for shells and manual pages, for every command there is.

#[allow(dead_code, reason = "the program reads what it parses")]
#[path = "../../src/cli.rs"]
mod cli;

use std::fs;
use std::path::Path;
use std::process::Command;

use clap::CommandFactory;
use clap_complete::Shell;

/// The commands, and the options of each.
fn commands() -> Vec<(String, Vec<String>)> {
    let tree = cli::Cli::command();
    let options = |command: &clap::Command| {
        command.get_arguments().filter_map(|argument| argument.get_long().map(|name| format!("--{name}"))).collect()
    };
    tree.get_subcommands().map(|command| (command.get_name().to_owned(), options(command))).collect()
}

#[test]
fn completions_know_every_command_and_option() {
    let folder = tempfile::tempdir().unwrap();
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        let path = clap_complete::generate_to(shell, &mut cli::Cli::command(), "stillpath", folder.path()).unwrap();
        let text = fs::read_to_string(&path).unwrap();
        for (command, options) in commands() {
            assert!(text.contains(&command), "{shell}: {command}");
            for option in options {
                let told = if shell == Shell::Fish { option.replacen("--", "-l ", 1) } else { option };
                assert!(text.contains(&told), "{shell}: {command} {told}");
            }
        }
    }
    // Bash is everywhere: it completes a command, and an option of it.
    let file = folder.path().join("stillpath.bash");
    let completed = |words: &str, at: usize| {
        let script = format!(
            "source {}; COMP_WORDS=({words}); COMP_CWORD={at}; _stillpath stillpath \"${{COMP_WORDS[{at}]}}\" \"${{COMP_WORDS[{at}-1]}}\"; \
             echo \"${{COMPREPLY[@]}}\"",
            file.display()
        );
        let ran = Command::new("bash").args(["--norc", "-c", &script]).output().unwrap();
        String::from_utf8(ran.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(completed("stillpath expl", 1), "explain");
    assert_eq!(completed("stillpath render --dra", 2), "--draft");
}

#[test]
fn every_command_has_a_manual_page() {
    let folder = tempfile::tempdir().unwrap();
    clap_mangen::generate_to(cli::Cli::command(), folder.path()).unwrap();
    for (command, options) in commands() {
        let page = fs::read_to_string(folder.path().join(format!("stillpath-{command}.1"))).unwrap();
        let page = page.replace('\\', "");
        assert!(options.iter().all(|option| page.contains(option.as_str())), "{command}: {options:?}\n{page}");
    }
}

#[test]
fn a_package_installs_them_where_shells_and_man_look() {
    let manifest = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    for (file, place) in [
        ("paper/man/*.gz", "usr/share/man/man1/"),
        ("paper/completions/stillpath.bash", "usr/share/bash-completion/completions/stillpath"),
        ("paper/completions/_stillpath", "usr/share/zsh/vendor-completions/"),
        ("paper/completions/stillpath.fish", "usr/share/fish/vendor_completions.d/"),
    ] {
        let line = format!("    [\"target/package/{file}\", \"{place}\", \"644\"],");
        assert!(manifest.lines().any(|asset| asset == line), "{line}");
    }
    let script = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts/package")).unwrap();
    assert!(script.contains("--example paperwork") && script.contains("$out/paper/completions"), "{script}");
}

//! Writes what goes into a package beside the program: manual pages, completions for shells, and the licences of all it
//! is made of.
//!
//! Usage: `cargo run --example paperwork -- FOLDER`

#[allow(dead_code, reason = "the program reads what it parses")]
#[path = "../../src/cli.rs"]
mod cli;
mod licences;

use std::path::{Path, PathBuf};

use clap::CommandFactory;
use clap_complete::Shell;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder: PathBuf = std::env::args_os().nth(1).ok_or("usage: paperwork FOLDER")?.into();
    std::fs::create_dir_all(folder.join("man"))?;
    std::fs::create_dir_all(folder.join("completions"))?;
    clap_mangen::generate_to(cli::Cli::command(), folder.join("man"))?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        clap_complete::generate_to(shell, &mut cli::Cli::command(), "stillpath", folder.join("completions"))?;
    }
    std::fs::write(folder.join("LICENCES.txt"), licences::notes(Path::new(env!("CARGO_MANIFEST_DIR")))?)?;
    Ok(())
}

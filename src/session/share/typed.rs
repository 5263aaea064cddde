//! Commands about shares, as they are typed.

use std::path::Path;

use super::super::rendering::RenderOptions;
use super::super::{ScriptOptions, put};
use super::number::Share;

/// The command that makes a share, as it is typed.
pub(super) fn share_command(script: &ScriptOptions, options: &RenderOptions, threads: usize, share: Share) -> String {
    format!("{} --share {share}", command("render", script, &options.out, Some(threads)))
}

/// The command that joins shares.
pub(super) fn join_command(script: &ScriptOptions, options: &RenderOptions) -> String {
    command("join", script, &options.out, None)
}

/// A command over a script and a folder, with all that was said of the script.
pub(in super::super) fn command(name: &str, script: &ScriptOptions, out: &Path, threads: Option<usize>) -> String {
    let mut words = format!("stillpath {name} {}", put::typed(&script.script));
    for (dial, value) in &script.settings {
        words += &format!(" --set {}", put::typed(format!("{dial}={value}").as_ref()));
    }
    for source in &script.sources {
        words += &format!(" --source {}", put::typed(source.as_ref()));
    }
    for delivery in &script.deliveries {
        words += &format!(" --delivery {}", put::typed(delivery.as_ref()));
    }
    words += &format!(" --out {}", put::typed(out));
    threads.map_or_else(|| words.clone(), |threads| format!("{words} --threads {threads}"))
}

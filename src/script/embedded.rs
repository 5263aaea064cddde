//! The moves that are part of the program.
//!
//! ## Decisions
//!
//! - To add a move: a file in `scripts/moves/` whose first comment says in one line what it does, then gives an
//!   example, then lists every argument (`stillpath moves NAME` prints it); its line in `MOVES` here; its plan in
//!   `tests/reuse/moves.rs`, by a formula where there is one; its picture, which `sh scripts/publish` draws from the
//!   example.

use std::path::{Path, PathBuf};

use super::Move;

/// What the path of an embedded move starts with, so that it is never taken for a file of the user's.
const EMBEDDED: &str = "stillpath:";

/// The embedded moves: module name, file, text.
const MOVES: [(&str, &str, &str); 13] = [
    ("moves.action", "moves/action.lua", include_str!("../../scripts/moves/action.lua")),
    ("moves.arc", "moves/arc.lua", include_str!("../../scripts/moves/arc.lua")),
    ("moves.breathe", "moves/breathe.lua", include_str!("../../scripts/moves/breathe.lua")),
    ("moves.day_cut", "moves/day_cut.lua", include_str!("../../scripts/moves/day_cut.lua")),
    ("moves.follow", "moves/follow.lua", include_str!("../../scripts/moves/follow.lua")),
    ("moves", "moves/init.lua", include_str!("../../scripts/moves/init.lua")),
    ("moves.liveliest", "moves/liveliest.lua", include_str!("../../scripts/moves/liveliest.lua")),
    ("moves.pan", "moves/pan.lua", include_str!("../../scripts/moves/pan.lua")),
    ("moves.pull_out", "moves/pull_out.lua", include_str!("../../scripts/moves/pull_out.lua")),
    ("moves.push_in", "moves/push_in.lua", include_str!("../../scripts/moves/push_in.lua")),
    ("moves.reveal", "moves/reveal.lua", include_str!("../../scripts/moves/reveal.lua")),
    ("moves.settle", "moves/settle.lua", include_str!("../../scripts/moves/settle.lua")),
    ("moves.tilt", "moves/tilt.lua", include_str!("../../scripts/moves/tilt.lua")),
];

/// The embedded moves a script can call.
pub(super) fn moves() -> Vec<Move> {
    let moves = MOVES.iter().filter_map(|(name, _, text)| Some((name.strip_prefix("moves.")?, *text)));
    moves
        .map(|(name, text)| {
            let mut head = text
                .lines()
                .map_while(|line| line.strip_prefix("--"))
                .map(|line| line.strip_prefix(' ').unwrap_or(line));
            let help = head.next().unwrap_or_default();
            let usage: Vec<&str> = head.skip_while(|line| line.is_empty()).collect();
            let gives = if ["return pace {", "return liveliest {"].iter().any(|made| text.contains(made)) {
                "pace"
            } else {
                "framing"
            };
            Move { name, help, usage: usage.join("\n"), gives }
        })
        .collect()
}

/// The names of the embedded modules.
pub(super) fn names() -> impl Iterator<Item = &'static str> {
    MOVES.iter().map(|(name, ..)| *name)
}

/// Whether a module of this name is embedded.
pub(super) fn is_embedded(name: &str) -> bool {
    names().any(|own| own == name)
}

/// The path and the text of an embedded module.
pub(super) fn module(name: &str) -> Option<(PathBuf, &'static str)> {
    let (_, file, text) = MOVES.iter().find(|(own, ..)| *own == name)?;
    Some((PathBuf::from(format!("{EMBEDDED}{file}")), *text))
}

/// The text of an embedded move by the path that a place names.
pub(super) fn text(path: &Path) -> Option<&'static str> {
    let file = path.to_str()?.strip_prefix(EMBEDDED)?;
    MOVES.iter().find(|(_, own, _)| *own == file).map(|(_, _, text)| *text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_move_in_the_folder_is_embedded() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts/moves");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| format!("moves/{}", entry.unwrap().file_name().display()))
            .collect();
        files.sort();
        let embedded: Vec<&str> = MOVES.iter().map(|(_, file, _)| *file).collect();
        assert_eq!(files, embedded);
    }
}

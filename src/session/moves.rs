//! `moves`: the moves that come with the program.

use super::{Failure, Reply};
use crate::diag::Diagnostic;
use crate::script::{self, Move};

/// Lists the embedded moves, or says how the one called `name` is called.
///
/// # Errors
/// [`Failure`] where no move has that name.
pub fn moves(name: Option<&str>) -> Result<Reply, Failure> {
    let moves = script::moves();
    let Some(name) = name else { return Ok(Reply::text(listed(&moves))) };
    let wanted = name.strip_prefix("moves.").unwrap_or(name);
    match moves.iter().find(|one| one.name == wanted) {
        Some(one) => Ok(Reply::text(format!(
            "{}\n\n{}\n\nWhat stands after a ';' is what holds where nothing is said.\n",
            one.help, one.usage
        ))),
        None => {
            let names: Vec<&str> = moves.iter().map(|one| one.name).collect();
            Err(Failure::refused(Diagnostic::mistake(format!("no move is called '{name}'")).nearest(wanted, &names)))
        }
    }
}

fn listed(moves: &[Move]) -> String {
    let widest = moves.iter().map(|one| one.name.len()).max().unwrap_or(0);
    let lines: String = moves.iter().map(|one| format!("{:widest$}  {:7}  {}\n", one.name, one.gives, one.help)).collect();
    lines
        + "\nlocal moves = require \"moves\", then framing (or pace) = moves.NAME { … }; `stillpath moves NAME` lists its arguments\n"
}

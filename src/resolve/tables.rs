//! Tables that a script names, held against the shoot they are to be of.

use crate::diag::{Diagnostic, Place};
use crate::shoot::Shoot;
use crate::table;

/// Refuses a line of a table, its slot and its name, that is none of the shoot's. The pair after it is what the
/// table holds, and the command that writes one.
pub(super) fn check_line(
    shoot: &Shoot,
    (slot, name): (usize, &str),
    (what, command): (&str, &str),
    place: &Place,
) -> Result<(), Diagnostic> {
    let wrong = |message: String| Diagnostic::mistake(message).at(place).word("curve");
    let Some(entry) = shoot.slots.get(slot) else {
        return Err(wrong(format!(
            "the table of {what} names still {}, but the shoot has {}",
            slot + 1,
            shoot.slots.len()
        )));
    };
    if !table::is_of(name, &entry.name) {
        let (still, right) = (slot + 1, &entry.name);
        let message = format!("the table of {what} calls still {still} '{name}', but in the shoot it is '{right}'");
        return Err(wrong(message).help(format!("`stillpath {command}` writes a table of the shoot as it is")));
    }
    Ok(())
}

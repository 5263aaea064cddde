//! One size for the whole shoot, or the two stills that disagree.

use super::{Item, shown};
use crate::decode::header::Header;
use crate::diag::{Diagnostic, Diagnostics};
use crate::units::Size;

/// The upright size of all whole stills.
///
/// # Errors
/// The first two neighbours that differ; or that there is no whole still at all.
pub(super) fn agreed(items: &[Item], sequence: &[usize]) -> Result<Size, Diagnostics> {
    let mut whole = sequence.iter().filter_map(|index| Some((&items[*index], items[*index].read.as_ref().ok()?)));
    let Some((mut before, mut last)) = whole.next() else { return Err(none_whole(items, sequence).into()) };
    for (item, header) in whole {
        if upright(header) != upright(last) {
            let count = sequence.iter().filter_map(|index| items[*index].read.as_ref().ok());
            let alike = count.filter(|header| upright(header) == upright(last)).count();
            return Err(disagree((before, last), (item, header), alike).into());
        }
        (before, last) = (item, header);
    }
    Ok(upright(last))
}

fn upright(header: &Header) -> Size {
    header.orientation.upright(header.stored)
}

fn disagree(first: (&Item, &Header), second: (&Item, &Header), alike: usize) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!(
        "stills of one shoot must have one size: {} is {}, {} is {}",
        shown(&first.0.path),
        upright(first.1),
        shown(&second.0.path),
        upright(second.1)
    ))
    .help(format!(
        "{alike} {} of the size {}",
        if alike == 1 { "still is" } else { "stills are" },
        upright(first.1)
    ));
    if first.1.stored == second.1.stored {
        mistake.help(
            "stored, both have one size and differ only in their orientation tags: orientation = \"ignore\" uses them as stored",
        )
    } else {
        mistake.help("survey the stills of one size by a pattern or a folder of their own")
    }
}

fn none_whole(items: &[Item], sequence: &[usize]) -> Diagnostic {
    const SHOWN: usize = 5;
    let mut mistake = Diagnostic::mistake(format!("none of the {} stills found is whole", sequence.len()));
    for index in sequence.iter().take(SHOWN) {
        if let Err(refused) = &items[*index].read {
            mistake = mistake.help(format!("{}: {}", shown(&items[*index].path), refused.damage));
        }
    }
    match sequence.len().saturating_sub(SHOWN) {
        0 => mistake,
        more => mistake.help(format!("and {more} more")),
    }
}

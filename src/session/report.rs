//! What a render says in closing: the outputs, and where every still went.

use std::fmt::Write as _;

use crate::plan::Tally;

/// `120 slots = 117 used + 2 passed over + 1 missing`, and a line for every still that is listed with a reason.
pub(super) fn sum(tally: &Tally) -> String {
    let parts = [
        (tally.used, "used"),
        (tally.passed_over, "passed over by the pace"),
        (tally.outside_part, "outside the part taken"),
        (tally.cut, "left out by cuts"),
        (tally.damaged.len(), "damaged"),
        (tally.missing.len(), "missing"),
    ];
    let total: usize = parts.iter().map(|(count, _)| count).sum();
    let said: Vec<String> = parts.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}")).collect();
    let mut text = format!("stills: {total} = {}\n", said.join(" + "));
    for (what, listed) in [("damaged", &tally.damaged), ("missing", &tally.missing)] {
        for (name, done) in listed {
            let _infallible = writeln!(text, "  {what}: {name}: {done}");
        }
    }
    if tally.set_aside > 0 {
        let _infallible = writeln!(text, "  {} other files set aside (`stillpath survey` says why)", tally.set_aside);
    }
    text
}

/// Bytes in a unit people read.
pub(super) fn bytes(count: u64) -> String {
    indicatif::DecimalBytes(count).to_string()
}

//! What a run met, as people read it: faults, remarks, and the stills it showed in place of others.

use std::collections::BTreeSet;

use super::prepare::Part;
use crate::diag::{Diagnostic, Diagnostics};
use crate::pipeline::{Fault, Outcome, StoodIn};
use crate::plan::Tally;
use crate::shoot::Shoot;
use crate::units::SlotIndex;
use crate::work::SinkError;

/// A fault in words, with the still's file where one is to blame.
pub(super) fn describe_fault(fault: &Fault, shoot: &Shoot) -> Diagnostic {
    let named = |slot: SlotIndex, what: &dyn std::fmt::Display| {
        let path = shoot
            .still(slot)
            .map_or_else(|| shoot.slots[slot.0].name.clone(), |still| still.path.display().to_string());
        Diagnostic::mistake(format!("{path}: {what}"))
    };
    match fault {
        Fault::Damaged { slot, damage } => named(*slot, damage),
        Fault::OutOfReach { slot, damage, waited } => named(*slot, damage)
            .help(format!("its folder, drive or share is gone, and did not come back within {} s", waited.as_secs()))
            .help("no still was replaced by another: connect it again and repeat the command"),
        Fault::Paint { slot, source } => named(*slot, source),
        Fault::Sink { source: SinkError::Unheard { .. }, .. } => Diagnostic::mistake(fault.to_string())
            .help("connect or copy the recording again, or say what to do about it")
            .help("damaged = \"skip\" (or \"hold\") makes the clip silent from there on"),
        Fault::Sink { .. } | Fault::Interrupted | Fault::Panicked(_) => Diagnostic::mistake(fault.to_string()),
    }
}

/// What decoding had to remark, each once, with the first still it is true of; then what is to be said of the sound.
pub(super) fn decoding_remarks(outcome: &Outcome, shoot: &Shoot) -> Diagnostics {
    let heard: BTreeSet<&String> = outcome.finished.iter().flat_map(|finished| &finished.written.remarks).collect();
    let heard = heard.into_iter().map(Diagnostic::remark);
    let said = outcome.remarks.iter().map(|(remark, slots)| {
        let first = slots.first().map_or("", |slot| shoot.slots[slot.0].name.as_str());
        match slots.len() {
            1 => Diagnostic::remark(format!("{first}: {remark}")),
            count => Diagnostic::remark(format!("{count} stills, {first} the first: {remark}")),
        }
    });
    Diagnostics(said.chain(heard).collect())
}

/// The damaged stills met in the render that a shot was to show, each with the one it shows instead.
pub(super) fn stood_in<'a>(part: &'a Part, outcome: &'a Outcome) -> impl Iterator<Item = &'a StoodIn> {
    let shown =
        part.made.plan().deliveries.iter().flat_map(|plan| &plan.rows).map(|row| row.shown).collect::<BTreeSet<_>>();
    outcome.stood_in.iter().filter(move |entry| shown.contains(&entry.slot))
}

/// The plan's tally, with what the render met.
pub(super) fn tally_of(part: &Part, shoot: &Shoot, outcome: &Outcome) -> Tally {
    let mut tally = part.made.plan().tally.clone();
    for StoodIn { slot, damage, shown } in stood_in(part, outcome) {
        let name = |slot: &SlotIndex| shoot.slots[slot.0].name.clone();
        tally.used = tally.used.saturating_sub(1);
        tally.damaged.push((name(slot), format!("{damage}; {} shown instead", name(shown))));
    }
    tally
}

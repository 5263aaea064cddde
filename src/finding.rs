//! What is wrong with a shoot, or worth knowing before it is cut: `survey` finds it in headers, `look` in pixels.

use serde::Serialize;

use crate::units::SlotIndex;

/// One thing found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// How bad it is.
    pub gravity: Gravity,
    /// What it is, in a word for programs (`"flicker"`).
    pub kind: &'static str,
    /// What was found, in a line, with its figure.
    pub message: String,
    /// What to do about it.
    pub advice: String,
    /// The slots concerned, where it is not about all of them.
    pub slots: Vec<SlotIndex>,
}

/// How bad a finding is, the worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Gravity {
    /// Stills that cannot be shown, or show what never was.
    Lost,
    /// What anybody will see in the clip.
    Seen,
    /// What may matter.
    Known,
}

impl Finding {
    /// About the whole shoot.
    #[must_use]
    pub fn new(gravity: Gravity, kind: &'static str, message: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { gravity, kind, message: message.into(), advice: advice.into(), slots: Vec::new() }
    }

    /// About these slots.
    #[must_use]
    pub fn about(mut self, slots: impl IntoIterator<Item = SlotIndex>) -> Self {
        self.slots = slots.into_iter().collect();
        self
    }
}

/// Findings numbered from 1, the worst first and else as they came: two lines each.
#[must_use]
pub fn listed(findings: &[Finding]) -> String {
    let mut findings: Vec<&Finding> = findings.iter().collect();
    findings.sort_by_key(|finding| finding.gravity);
    let line =
        |(at, finding): (usize, &&Finding)| format!("{:>4}  {}\n      {}\n", at + 1, finding.message, finding.advice);
    findings.iter().enumerate().map(line).collect()
}

/// Slots as people count them, runs together: `3, 7–9 and 4 more`.
#[must_use]
pub fn counted(slots: &[SlotIndex]) -> String {
    const SHOWN: usize = 6;
    let runs: Vec<&[SlotIndex]> = slots.chunk_by(|a, b| a.0 + 1 == b.0).collect();
    let words = |run: &&[SlotIndex]| match run {
        [one] => (one.0 + 1).to_string(),
        [first, .., last] => format!("{}–{}", first.0 + 1, last.0 + 1),
        [] => String::new(),
    };
    let shown = runs.iter().take(SHOWN).map(words).collect::<Vec<_>>().join(", ");
    match runs.iter().skip(SHOWN).map(|run| run.len()).sum::<usize>() {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// The stills of some slots as a sentence begins: `still 3`, `4 stills (3, 7–9)`.
#[must_use]
pub fn stills(slots: &[SlotIndex]) -> String {
    match slots {
        [one] => format!("still {}", one.0 + 1),
        _ => format!("{} stills ({})", slots.len(), counted(slots)),
    }
}

/// The line of a script that leaves slots out: `cuts = { cut(still(3), still(3)), … }`, runs as one cut.
#[must_use]
pub fn cuts(slots: &[SlotIndex]) -> String {
    const SHOWN: usize = 6;
    let runs: Vec<&[SlotIndex]> = slots.chunk_by(|a, b| a.0 + 1 == b.0).collect();
    let cut = |run: &&[SlotIndex]| format!("cut(still({}), still({}))", run[0].0 + 1, run[run.len() - 1].0 + 1);
    let shown = runs.iter().take(SHOWN).map(cut).collect::<Vec<_>>().join(", ");
    let more = if runs.len() > SHOWN { ", …" } else { "" };
    format!("cuts = {{ {shown}{more} }}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn findings_are_numbered_the_worst_first() {
        let finding = |gravity, message: &str| Finding::new(gravity, "test", message, "do something");
        let found = [
            finding(Gravity::Known, "a"),
            finding(Gravity::Lost, "b"),
            finding(Gravity::Seen, "c"),
            finding(Gravity::Lost, "d"),
        ];
        let lines = listed(&found);
        let messages: Vec<&str> = lines.lines().step_by(2).collect();
        assert_eq!(messages, ["   1  b", "   2  d", "   3  c", "   4  a"]);
    }

    #[test]
    fn slots_are_counted_from_one_with_their_runs() {
        let slots = |of: &[usize]| of.iter().map(|slot| SlotIndex(*slot)).collect::<Vec<_>>();
        assert_eq!(stills(&slots(&[2])), "still 3");
        assert_eq!(stills(&slots(&[2, 6, 7, 8])), "4 stills (3, 7–9)");
        assert_eq!(counted(&slots(&[0, 2, 4, 6, 8, 10, 12, 13])), "1, 3, 5, 7, 9, 11 and 2 more");
        assert_eq!(cuts(&slots(&[2, 6, 7])), "cuts = { cut(still(3), still(3)), cut(still(7), still(8)) }");
    }
}

//! What is asked before a camera is set up, answered from what is known: arithmetic, without a shoot.
//!
//! In: [`Typed`], a text an option. Out: a [`Reckoning`]: answers, each with its arithmetic beside it, and warnings; or a
//! diagnostic that says what to type.
//!
//! `exact` is what amounts are, `amounts` reads them with their units, `knowns` what was typed, `solve` finds the one unknown and what follows from
//! the rest, `answers` and `warnings` say it, `table` says it for a range, `words` writes amounts as people read them.
//!
//! ## Decisions
//!
//! - Words: a *known* is what was typed; the *unknown* is the one option written as `?`.
//! - Everything is a fraction of whole numbers until it is written: nothing drifts. Only how much a lamp's pulsing shows
//!   needs a sine.
//! - A still is taken when the event begins, and one every interval after that while it lasts: `ceil(event / interval)`
//!   of them. From the first to the last there is an interval less than there are stills.
//! - A clip has every frame that begins before its end (`ceil(clip x fps)`), as deliveries have.
//! - An interval that is asked for comes out exact, and rounded down to what a timer can be set to (whole seconds, below
//!   a second tenths). All that follows is reckoned with what will be set.
//! - Numbers carry their units: `8` may be hours or seconds, `1:30` minutes or hours, and a day of stills is lost by the
//!   wrong guess. Only a range of intervals, `2..30`, is in seconds where it names no unit, as the table's rows are.
//! - How fast a subject is seen to move needs two amounts that can be paced out: its speed, and how wide the picture is
//!   where it moves. Angles of view need a lens's true focal length, which few know.

mod amounts;
mod answers;
mod exact;
mod knowns;
mod solve;
mod table;
mod warnings;
mod words;

use serde::Serialize;

use crate::diag::Diagnostic;

pub use exact::{Exact, nearly};
pub use knowns::{Knowns, Typed};
pub use words::{exposed, figure, spoken};

/// What follows from what is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reckoning {
    /// What was given, as it was understood.
    pub knowns: Vec<Known>,
    /// The option that was asked for with `?`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<&'static str>,
    /// What follows, in the order in which it is read; of a range only what is the same for all of it.
    pub answers: Vec<Answer>,
    /// A row for each value of a range, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub table: Option<Table>,
    /// What to look out for; of a range only what is the same for all of it.
    pub warnings: Vec<Warning>,
}

/// Something that was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Known {
    /// The option, without its hyphens.
    pub name: &'static str,
    /// Its value as people read it.
    pub value: String,
}

/// Something that follows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// One word for programs, the same whatever the values; zoom and the like carry their frame (`zoom 1080x1920`).
    pub name: String,
    /// What it is, for people.
    pub label: String,
    /// As people read it, with its unit.
    pub value: String,
    /// The exact value in [`Answer::unit`], a whole number or a fraction such as `40/3`.
    pub exact: String,
    /// `s`, `stills`, `frames`, `bytes`, `degrees`, `times`, `m`, …
    pub unit: &'static str,
    /// The arithmetic.
    pub how: String,
}

/// Something to look out for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Warning {
    /// A few words for a table's row.
    pub short: String,
    /// What was seen.
    pub text: String,
    /// What to do or to type.
    pub next: String,
}

/// What changes over a range.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Table {
    /// The names of the columns: the option that ranges, answers, and `watch for`.
    pub head: Vec<String>,
    /// A row a value, as people read it.
    pub rows: Vec<Vec<String>>,
    /// What the words under `watch for` say, by the first row that has them.
    pub notes: Vec<Warning>,
}

/// The exact value of an amount whose fraction leaves 128 bits.
const BEYOND: &str = "beyond reckoning";

/// What stands at the foot of a sheet that is taken along.
pub const CARE: [&str; 5] = [
    "Local rules and the site's own come before anything on this sheet.",
    "Mains outdoors: a weatherproof low-voltage supply made for the camera, behind residual-current protection, cables with \
     a drip loop. If unsure, ask a licensed electrician.",
    "Tripod and clamps: weighted and tethered, no footway or exit blocked, nothing unsecured above people, cables taped.",
    "People in the picture: ask first, put up signs where required, keep no more than you need.",
    "Sun: never look at it through an optical finder; hours aimed at it can damage a sensor and start fires.",
];

/// Answers what was typed.
///
/// # Errors
/// A mistake that says what to type instead: an amount without its unit, two unknowns, too little known, knowns that
/// contradict one another, a clip longer than its stills.
pub fn reckon(typed: &Typed) -> Result<Reckoning, Diagnostic> {
    Knowns::of(typed)?.reckon()
}

impl Knowns {
    /// Answers what is known.
    ///
    /// # Errors
    /// As [`reckon()`].
    pub fn reckon(&self) -> Result<Reckoning, Diagnostic> {
        if self.range.is_some() {
            return table::over_range(self);
        }
        let found = solve::solve(self)?;
        if !found.is_known() {
            return Err(solve::beyond());
        }
        let reckoning = Reckoning {
            knowns: self.told(),
            asked: self.asked.map(knowns::Name::option),
            answers: answers::answers(self, &found),
            table: None,
            warnings: warnings::warnings(self, &found),
        };
        if reckoning.answers.iter().any(|answer| answer.exact == BEYOND) {
            return Err(solve::beyond());
        }
        if reckoning.answers.is_empty() {
            return Err(solve::too_little(self));
        }
        Ok(reckoning)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        /// A debug build stops where a product leaves its bits.
        #[test]
        fn no_amounts_that_are_taken_leave_their_bits(picks in proptest::collection::vec(0_usize..8, 21)) {
            let pick = |at: usize, texts: [&str; 6]| texts.get(picks[at]).map(|text| (*text).to_owned());
            let times = ["3650d", "0.000001s", "0.000001/0.999999", "999999999ms", "0.999999999d", "1/8000"];
            let plain = ["1000000", "0.001", "999983/999979", "0.999999/999", "2", "5/3"];
            let data = ["999999999TB", "0.000001kB", "12MB", "0.000001TB", "9.99999999GB", "1kB"];
            let lengths = ["999999999km", "0.000001mm", "12m", "0.999999km", "1cm", "9.99999999km"];
            let speeds = ["299999km/s", "0.000001mm/d", "1.4m/s", "999.999999km/d", "5km/h", "0.999999mm/min"];
            let sizes = ["65535x65535", "1x1", "6000x4000", "65535x1", "1x65535", "4480x2520"];
            let counts = ["1", "2", "9999", "50", "60", "100000000"];
            let rates = ["480", "24000/1001", "1/1000", "60", "999983/999979", "999983/9973"];
            let typed = Typed {
                event: pick(0, times), interval: pick(1, times), pause: None, exposure: pick(2, times),
                angle: None, writing: pick(3, times), clip: pick(4, times), fps: pick(5, rates),
                frames_per_still: pick(6, plain), stills: if picks[0] < 6 { None } else { pick(7, counts) },
                size: pick(8, sizes), format: pick(9, ["jpeg", "raw12", "raw14", "tiff16", "jpeg", "jpeg"]),
                still_takes: pick(10, data), card: pick(11, data), battery: pick(12, times),
                number: pick(13, ["0", "9999", "5000", "1", "2", "3"]),
                folder_holds: pick(14, ["1", "9999", "5000", "2", "3", "4"]),
                frames: pick(15, sizes).into_iter().collect(), across: pick(16, lengths), speed: pick(17, speeds),
                mains: pick(18, ["50", "60", "50", "60", "50", "60"]),
            };
            let _taken_or_refused = reckon(&typed);
            let asked = |one: &dyn Fn(&mut Typed)| {
                let mut typed = typed.clone();
                one(&mut typed);
                let _taken_or_refused = reckon(&typed);
            };
            let unknown = || Some("?".to_owned());
            asked(&|typed| typed.interval = unknown());
            asked(&|typed| typed.event = unknown());
            asked(&|typed| typed.fps = unknown());
            asked(&|typed| typed.frames_per_still = unknown());
            asked(&|typed| typed.card = unknown());
            asked(&|typed| typed.interval = Some("0.000001s..3650d".into()));
        }
    }
}

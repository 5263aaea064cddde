//! Odd stills one after the other: up to three in a row, and at either end of a shoot.
//!
//! A still is judged between the last one with nothing odd about it and the next that agrees with that, so that one odd
//! still is never the measure of another. At the ends all neighbours lie on one side: there it takes two pairs of
//! stills, each of which agrees with itself, to say that a still is odd.
//!
//! ## Decisions
//!
//! - What lasts for four stills is the picture itself. Sun that breaks through for two or three stills by more than 42 %
//!   and by the same amount is called a flash. A change that the settings account for is a step.

use std::collections::VecDeque;
use std::rc::Rc;

use super::odd;
use super::seen::Seen;
use crate::measures::Oddity;
use crate::units::SlotIndex;

/// Maximum run of odd stills; what lasts longer is the picture itself.
pub(super) const MOST: usize = 3;
/// How many stills beside an end are compared with a run there.
const BESIDE: usize = 5;
/// The settings account for a change of light if they explain at least this share of it.
const ACCOUNTS: f64 = 0.5;

/// Takes the stills of a shoot in order, a few at a time in memory.
#[derive(Default)]
pub(super) struct Runs {
    /// The last ones with nothing odd about them, the latest first.
    sound: VecDeque<Rc<Seen>>,
    /// Not judged yet, in order.
    waiting: VecDeque<Rc<Seen>>,
    begun: bool,
    found: Vec<(SlotIndex, Oddity)>,
}

impl Runs {
    /// The next still. Black and white ones are told by themselves and measure no other.
    pub(super) fn take(&mut self, seen: &Rc<Seen>) {
        if odd::alone(&seen.glance.still).is_some() {
            return;
        }
        self.waiting.push_back(Rc::clone(seen));
        if !self.begun && self.waiting.len() >= MOST + BESIDE {
            self.begin();
        }
        while self.begun && self.waiting.len() > MOST {
            self.advance();
        }
    }

    /// What was odd, once all stills have been taken.
    pub(super) fn finish(mut self) -> Vec<(SlotIndex, Oddity)> {
        if !self.begun {
            self.begin();
        }
        while !self.waiting.is_empty() {
            self.advance();
        }
        self.found
    }

    /// The first still with nothing odd about it, and what was odd before.
    fn begin(&mut self) {
        self.begun = true;
        let run = (1..=MOST.min(self.waiting.len())).find_map(|count| {
            let all: Vec<&Seen> = self.waiting.iter().map(|seen| &**seen).collect();
            let (run, beside) = all.split_at(count);
            run.iter().map(|this| at_an_end(this, beside)).collect::<Option<Vec<_>>>()
        });
        self.leave_out(run.unwrap_or_default());
        self.sound.extend(self.waiting.pop_front());
    }

    /// Judges the foremost of those that wait.
    fn advance(&mut self) {
        let (Some(before), Some(_)) = (self.sound.front(), self.waiting.front()) else {
            self.waiting.clear();
            return;
        };
        let between = |count: usize| {
            let after = self.waiting.get(count)?;
            self.waiting.iter().take(count).map(|this| odd::between(before, this, after)).collect::<Option<Vec<_>>>()
        };
        let last = || {
            let beside: Vec<&Seen> = self.sound.iter().map(|seen| &**seen).collect();
            let judged = |this: &Rc<Seen>| at_an_end(this, &beside).or_else(|| odd::torn_at_the_end(&beside, this));
            self.waiting.iter().map(judged).collect::<Option<Vec<_>>>()
        };
        let several = || odd::may_begin_a_run(before, &self.waiting[0]);
        let in_a_row = between(1).or_else(|| if several() { (2..=MOST).find_map(between) } else { None });
        let in_a_row = in_a_row.filter(|run| !self.is_the_laters(before, run));
        let run = in_a_row.or_else(|| if self.waiting.len() <= MOST { last() } else { None });
        self.leave_out(run.unwrap_or_default());
        if let Some(sound) = self.waiting.pop_front() {
            self.sound.push_front(sound);
            self.sound.truncate(BESIDE);
        }
    }

    /// Whether what makes a run torn are rows that it shares with the still after it, and that is the one that took
    /// them: a camera read too early still holds rows of the picture before.
    fn is_the_laters(&self, before: &Seen, run: &[Oddity]) -> bool {
        let shares = |oddity: &Oddity| matches!(oddity, Oddity::Torn { before: false, .. });
        if !run.iter().any(shares) {
            return false;
        }
        let ([_], [this, after]) = (run, [0, 1].map(|at| &self.waiting[at])) else { return true };
        let takes_them = |oddity: Option<Oddity>| matches!(oddity, Some(Oddity::Torn { before: true, .. }));
        match self.waiting.len() {
            2 => takes_them(odd::torn_at_the_end(&[&**this, before], after)),
            // The next one may hold the same rows.
            _ => self.waiting.iter().skip(2).any(|next| takes_them(odd::between(this, after, next))),
        }
    }

    /// Takes the foremost of those that wait for odd.
    fn leave_out(&mut self, run: Vec<Oddity>) {
        let slots: Vec<SlotIndex> = self.waiting.drain(..run.len()).map(|seen| seen.slot).collect();
        self.found.extend(slots.into_iter().zip(run));
    }
}

/// What is odd about a still beside others that all lie before it, or all after it, the nearest first.
fn at_an_end(this: &Seen, beside: &[&Seen]) -> Option<Oddity> {
    let against = |pair: [usize; 2]| odd::beside(beside.get(pair[0])?, this, beside.get(pair[1])?);
    let oddity = against([0, 1])?;
    // A change of settings at an end is a step, and told as one.
    if let (Oddity::Flash(by) | Oddity::Dark(by), Some(own), Some(other)) = (oddity, this.exposure, beside[0].exposure)
        && (own - other) / by > ACCOUNTS
    {
        return None;
    }
    // Two odd ones in a row beside a sound one agree with each other as well.
    let same =
        |pair| against(pair).is_some_and(|other| std::mem::discriminant(&other) == std::mem::discriminant(&oddity));
    (same([2, 3]) || same([3, 4])).then_some(oddity)
}

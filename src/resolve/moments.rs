//! Where a script's moments lie on the shoot's axis.
//!
//! ## Decisions
//!
//! - `to` takes in the still it names. `part()` is of the whole catalogue in `from` and `to`, of the part used in keys.
//! - `day 2` counts calendar days from the first still's. `times(n)` goes by the median interval.
//! - Keys within a billionth of a second of one another are at one moment; a frame that near before a key shows the
//!   key.

use crate::diag::Diagnostic;
use crate::plan::LeftOutBy;
use crate::shoot::Shoot;
use crate::shot::Moment;

use super::axis::Axis;
use super::times::{Times, fraction, number, slot_position};

/// What moments are looked up in.
pub(super) struct Moments<'a> {
    pub(super) shoot: &'a Shoot,
    pub(super) axis: &'a Axis,
    pub(super) times: &'a Times,
}

impl Moments<'_> {
    /// The position on the shot's axis of a moment of the shoot: `still`, `clock` or `part`.
    ///
    /// # Errors
    /// A mistake without a place: no such still or time, or one outside the part of the shoot that is used, or
    /// left out of it.
    pub(super) fn position(&self, moment: &Moment) -> Result<f64, Diagnostic> {
        self.position_beyond(moment, 0.0)
    }

    /// Where a pace that begins at a given end of the shoot first arrives at such a moment: a still is met at its
    /// beginning, or at its end by a pace that comes from there.
    ///
    /// # Errors
    /// As [`Moments::position`].
    pub(super) fn arrival(&self, moment: &Moment, from_end: bool) -> Result<f64, Diagnostic> {
        let whole = matches!(moment, Moment::Still(_) | Moment::StillNamed(_));
        self.position_beyond(moment, if from_end && whole { 1.0 } else { 0.0 })
    }

    /// Where on the shoot's axis a key of a follow, or of a cover, lies.
    ///
    /// # Errors
    /// As [`Moments::position`], and a time of the clip.
    pub(super) fn of_subject(&self, at: &Moment) -> Result<f64, Diagnostic> {
        match at {
            Moment::Start => Ok(0.0),
            Moment::End => Ok(self.axis.stills() - 1.0),
            Moment::Screen(_) | Moment::Timecode(_) => Err(Diagnostic::mistake(
                "a subject's place belongs to a still: a time of the clip does not say which one",
            )
            .word("at")
            .help("at = still(10), still \"NAME\", clock \"14:32\", part(0.25), \"start\" or \"end\"")),
            Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => self.position(at),
        }
    }

    /// The position so many slots after a moment.
    fn position_beyond(&self, moment: &Moment, slots_after: f64) -> Result<f64, Diagnostic> {
        if let Moment::Part(part) = moment {
            return fraction(*part).map(|part| part * self.axis.stills());
        }
        let slots = slot_position(moment, self.shoot, self.times)?;
        let part = self.axis.part();
        if slots < number(part.start) {
            return Err(outside(slots, self.shoot, "before 'from'", part.start));
        }
        if slots >= number(part.end) && part.end < self.shoot.slots.len() {
            return Err(outside(slots, self.shoot, "after 'to'", part.end - 1));
        }
        if let Some(run) = self.axis.left_out_at(slots) {
            let (side, what) = match run.by {
                LeftOutBy::Cut => ("inside a cut", "the cut"),
                LeftOutBy::Hours => ("outside the hours that are used", "the hours"),
                LeftOutBy::Days => ("on a day that is not used", "the days"),
                LeftOutBy::Only => ("between the stills that 'only' keeps", "what is kept"),
            };
            return Err(outside(slots, self.shoot, side, self.axis.beside(run)).with(&run.place, what));
        }
        Ok(self.axis.position(slots + slots_after))
    }
}

fn outside(slots: f64, shoot: &Shoot, side: &str, edge: usize) -> Diagnostic {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a position among the slots")]
    let slot = (slots as usize).min(shoot.slots.len() - 1);
    Diagnostic::mistake(format!("still({}), {}, lies {side}: it is never shown", slot + 1, shoot.slots[slot].name))
        .help(format!("the nearest still used is still({}), {}", edge + 1, shoot.slots[edge].name))
}

//! Levelling as a plan has it: a gain a still, with the levels it comes from.

use schemars::JsonSchema;
use serde::Serialize;

use crate::diag::Place;
use crate::level::{Curve, Gain, StillGain};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// How the stills of a plan are levelled.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Levelling {
    /// The line that asks for it.
    pub place: Place,
    /// How many stills on each side the light is smoothed over (the most, where the parts between breaks differ): none
    /// where a table of gains was given, infinite (null in JSON) where one straight line goes through all.
    pub radius: Option<f64>,
    /// By slot: what is done to its still's linear light.
    pub gains: Vec<Gain>,
    /// By slot, where it was measured: the light it has and the light it is brought to, over the first still's.
    pub levels: Vec<Option<[f64; 2]>>,
    /// Slots whose stills stand out, or compare with none, and are left as they are.
    pub left: Vec<SlotIndex>,
    /// The first slots after steps that nothing is smoothed across.
    pub cuts: Vec<SlotIndex>,
}

impl Levelling {
    /// Whether any still's light is changed.
    #[must_use]
    pub fn changes(&self) -> bool {
        self.gains.iter().any(|gain| *gain != Gain::UNCHANGED)
    }

    /// The gains of a shoot's stills, as a table to be kept and edited.
    #[must_use]
    pub fn curve(&self, shoot: &Shoot) -> Curve {
        let whole = shoot.slots.iter().enumerate().filter(|(slot, _)| shoot.still(SlotIndex(*slot)).is_some());
        let line = |(slot, entry): (usize, &crate::shoot::Slot)| {
            let (gain, levels) =
                (self.gains.get(slot).copied().unwrap_or(Gain::UNCHANGED), self.levels.get(slot).copied());
            StillGain { slot, gain, levels: levels.flatten(), name: entry.name.clone() }
        };
        Curve { lines: whole.map(line).collect() }
    }

    /// `level: gains from 0.971 to 1.028, over 15 stills on each side`.
    #[must_use]
    pub fn summary(&self) -> String {
        let all = || self.gains.iter().flat_map(|gain| gain.light);
        let (least, most) = (all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
        let radius = match self.radius {
            Some(radius) if radius.is_infinite() => "the light one straight line".to_owned(),
            Some(radius) => format!("the light smoothed over {radius} stills on each side"),
            None => "by the table given".to_owned(),
        };
        format!("level: gains from {least:.3} to {most:.3}, {radius}\n")
    }
}

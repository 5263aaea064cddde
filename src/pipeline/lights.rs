//! The stills in linear light that a worker paints from, made once for all of its frames that show them.

use super::stills::Held;
use crate::picture::Picture;
use crate::sample::{PaintError, Painter};
use crate::units::SlotIndex;

/// Stills in linear light, the last used at the end.
#[derive(Debug, Default)]
pub(super) struct Lights {
    made: Vec<(usize, Picture)>,
}

impl Lights {
    /// Makes those that are not there, in the memory of what was used longest ago: no more are kept than a frame needs,
    /// for each takes three full planes of 16 bits.
    pub(super) fn make<'h>(
        &mut self,
        held: impl ExactSizeIterator<Item = &'h Held>,
        painter: &mut Painter,
    ) -> Result<(), (SlotIndex, PaintError)> {
        let needed = held.len().max(1);
        self.made.drain(..self.made.len().saturating_sub(needed));
        for held in held {
            let known = self.made.iter().position(|(visit, _)| *visit == held.visit());
            let light = match known {
                Some(at) => self.made.remove(at),
                None => {
                    let spare = if self.made.len() >= needed { Some(self.made.remove(0).1) } else { None };
                    let light = painter.in_light(&held.picture, spare).map_err(|source| (held.slot, source))?;
                    (held.visit(), light)
                }
            };
            self.made.push(light);
        }
        Ok(())
    }

    /// One that was made just now.
    ///
    /// # Panics
    /// Where it was not.
    #[expect(clippy::expect_used, reason = "made by whoever asks")]
    pub(super) fn of(&self, held: &Held) -> &Picture {
        &self.made.iter().find(|(visit, _)| *visit == held.visit()).expect("made before it is painted").1
    }
}

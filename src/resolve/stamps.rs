//! What is laid over frames: the text of every still that a frame may show, in fonts that have its letters.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use crate::diag::{self, Diagnostic, Diagnostics};
use crate::geom::Margins;
use crate::lettering::{Measured, Measurer, Supplies, Trouble};
use crate::plan::{DeliveryPlan, Lettered, Lines, Shows, Stamped};
use crate::shoot::Shoot;
use crate::shot::{self, Delivery, Piece, Shot, Stamp, StampWhat, Wording};
use crate::units::{Size, SlotIndex};

use super::times::Times;
use super::words;

/// Gives every delivery's plan its stamps; says whether all of them can be made.
pub(super) fn resolve(
    shot: &Shot,
    shoot: &Shoot,
    times: &Times,
    supplies: Option<&Supplies>,
    plans: &mut [DeliveryPlan],
    found: &mut Diagnostics,
) -> bool {
    if shot.deliveries.iter().all(|delivery| delivery.stamps.is_empty()) {
        return true;
    }
    let here = Supplies::of(Path::new("."));
    let shown = plans.iter().filter(|plan| !plan.every_still).flat_map(|plan| &plan.rows).flat_map(|row| row.shares());
    let Some(first) = shown.map(|share| share.shown).min() else { return true };
    let seen = Seen { shoot, times, first, supplies: supplies.unwrap_or(&here) };
    let mut whole = true;
    for (delivery, plan) in shot.deliveries.iter().zip(plans) {
        // A still may show in a frame, or stand in for one that does.
        let shares = plan.rows.iter().flat_map(|row| row.shares());
        let slots: BTreeSet<SlotIndex> =
            shares.flat_map(|share| std::iter::once(share.shown).chain(share.stand_in)).collect();
        let made: Vec<Option<Stamped>> = delivery
            .stamps
            .iter()
            .map(|stamp| match seen.stamped(stamp, delivery, &slots) {
                Ok(stamped) => Some(stamped),
                Err(mistake) => {
                    // Deliveries share the stamps of their shot.
                    let place = mistake.place.clone().unwrap_or_else(|| stamp.place.clone());
                    found.push(mistake.at(&place));
                    None
                }
            })
            .collect();
        whole &= made.iter().all(Option::is_some);
        plan.stamps = made.into_iter().flatten().collect();
    }
    whole
}

/// What stamps are made from.
struct Seen<'a> {
    shoot: &'a Shoot,
    times: &'a Times,
    /// The first still, in the shoot's order, that any frame shows.
    first: SlotIndex,
    supplies: &'a Supplies,
}

impl Seen<'_> {
    fn stamped(&self, stamp: &Stamp, delivery: &Delivery, slots: &BTreeSet<SlotIndex>) -> Result<Stamped, Diagnostic> {
        let shows = match &stamp.what {
            StampWhat::Text(wording) => Shows::Text(self.lettered(wording, stamp, delivery, slots)?),
            StampWhat::Picture(path) => {
                let image = self.supplies.picture(path).map_err(|trouble| of_file(&trouble, path))?;
                let height = stamp.size * f64::from(delivery.frame.width.min(delivery.frame.height));
                let size = Measured { width: height * image.size.aspect(), height };
                check_room(size, "picture", stamp, delivery)?;
                Shows::Picture(image)
            }
        };
        let Stamp { ref place, at, pin, size, .. } = *stamp;
        Ok(Stamped { place: place.clone(), at, pin, within: delivery.safe, size, shows })
    }

    fn lettered(
        &self,
        wording: &Wording,
        stamp: &Stamp,
        delivery: &Delivery,
        slots: &BTreeSet<SlotIndex>,
    ) -> Result<Lettered, Diagnostic> {
        let line = |slot: &SlotIndex| Ok((*slot, self.line(wording, *slot)?));
        let lines = Lines::new(slots.iter().map(line).collect::<Result<Vec<_>, Diagnostic>>()?);
        let letters: BTreeSet<char> = lines.each().iter().flat_map(|line| line.chars()).collect();
        let fonts = self.supplies.typeface(wording.font.as_deref(), &letters);
        let fonts = fonts.map_err(|trouble| match (&trouble, &wording.font) {
            (Trouble::File { .. }, Some(path)) => of_file(&trouble, path),
            (Trouble::Letter(letter), font) => {
                let with = lines.each().iter().find(|line| line.contains(*letter)).map_or("", |line| line);
                let mistake = Diagnostic::mistake(format!("{trouble}, for the stamp {with:?}")).word("text");
                mistake.help(match font {
                    Some(_) => "name another font file in the stamp, or install a font that has it",
                    None => "write font = \"FILE.otf\" in the stamp: a font that has it; or install one",
                })
            }
            (Trouble::File { .. }, None) => Diagnostic::mistake(trouble.to_string()).word("text"),
        })?;
        let fonts = Arc::new(fonts);
        let Wording { said, colour, outline, .. } = wording;
        let made = Lettered { said: said.clone(), colour: *colour, outline: *outline, fonts, lines };
        let measurer = Measurer::new(&made.fonts);
        let widest =
            made.lines.each().iter().max_by(|one, other| measurer.width(one).total_cmp(&measurer.width(other)));
        let height = stamp.size * f64::from(delivery.frame.width.min(delivery.frame.height));
        if let Some(widest) = widest {
            let unset = || Diagnostic::mistake(format!("nothing is to be seen of the stamp {widest:?}")).word("text");
            let measured = Measured::of_line(&made, widest, height).ok_or_else(unset)?;
            check_room(measured, &format!("text {widest:?}"), stamp, delivery)?;
        }
        Ok(made)
    }

    /// What a text says of a slot's still.
    fn line(&self, wording: &Wording, slot: SlotIndex) -> Result<String, Diagnostic> {
        let name = || self.shoot.slots[slot.0].name.clone();
        let mut line = String::new();
        for piece in &wording.pieces {
            line += &match piece {
                Piece::Plain(text) => text.clone(),
                Piece::Name => name(),
                Piece::Number(digits) => format!("{:0digits$}", slot.0 + 1),
                Piece::Clock(format) => {
                    let captured = self.shoot.captured(slot).ok_or_else(|| self.timeless(slot, "clock"))?;
                    captured.local.strftime(format).to_string()
                }
                Piece::Elapsed(format) => {
                    let seconds = self.elapsed(slot)?;
                    shot::elapsed(seconds, format).unwrap_or_default()
                }
            };
        }
        Ok(line)
    }

    /// Seconds from the first still shown to this one: by their capture times, or by the interval where the shoot has
    /// none.
    fn elapsed(&self, slot: SlotIndex) -> Result<f64, Diagnostic> {
        let captured = |slot: SlotIndex| self.shoot.captured(slot);
        match (captured(self.first), captured(slot), self.times.interval) {
            (Some(first), Some(own), _) => {
                let seconds = own.local.duration_since(first.local).as_secs_f64();
                // A clock that was set to another zone on the way, and says so, gained nothing by that.
                let zones = own.offset.zip(first.offset).map_or(0, |(own, first)| own - first);
                Ok(seconds - f64::from(zones))
            }
            (None, None, Some(interval)) => {
                #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
                let stills = slot.0 as f64 - self.first.0 as f64;
                Ok(interval * stills)
            }
            (None, ..) => Err(self.timeless(self.first, "elapsed")),
            (Some(_), None, _) => Err(self.timeless(slot, "elapsed")),
        }
    }

    /// The mistake of a still without a capture time.
    fn timeless(&self, slot: SlotIndex, word: &str) -> Diagnostic {
        let slots = &self.shoot.slots;
        let none = (0..slots.len()).all(|slot| self.shoot.captured(SlotIndex(slot)).is_none());
        let which = if none {
            "no still of this shoot has one".to_owned()
        } else {
            format!("{} has none, and it is shown", slots[slot.0].name)
        };
        let mistake = Diagnostic::mistake(format!("{{{word}}} needs capture times, and {which}")).word("text");
        let mistake = mistake.help("{number} and {name} work without them");
        if none && word == "elapsed" {
            return mistake.help("or say how far the stills are apart: stills { …, interval = 10 }");
        }
        if none {
            mistake
        } else {
            mistake.help(format!("or leave it out: cuts = {{ cut(still({0}), still({0})) }}", slot.0 + 1))
        }
    }
}

/// The mistake of a font or picture file.
fn of_file(trouble: &Trouble, path: &str) -> Diagnostic {
    Diagnostic::mistake(trouble.to_string()).word(path).help("paths start at the script's folder")
}

/// Refuses a stamp that is larger than the delivery's safe box.
fn check_room(size: Measured, what: &str, stamp: &Stamp, delivery: &Delivery) -> Result<(), Diagnostic> {
    let Size { width, height } = delivery.frame;
    let Margins { left, right, top, bottom } = delivery.safe;
    let room = [f64::from(width) * (1.0 - left - right), f64::from(height) * (1.0 - top - bottom)];
    // Edges are moved to whole pixels.
    let room = room.map(|side| (side - 2.0).max(1.0));
    let over = (size.width / room[0]).max(size.height / room[1]);
    if over <= 1.0 {
        return Ok(());
    }
    let is_frame = delivery.safe == Margins::default();
    let (side, seen, room) = if size.width / room[0] >= size.height / room[1] {
        ("wide", size.width, room[0])
    } else {
        ("high", size.height, room[1])
    };
    let fits = (stamp.size / over * 0.999 * 10_000.0).floor() / 10_000.0;
    let word = if matches!(stamp.what, StampWhat::Text(_)) { "text" } else { "picture" };
    let mistake = Diagnostic::mistake(format!(
        "the {what} does not fit into '{}': {} px {side}, and its {} has {}",
        delivery.name,
        words::figure_above(seen),
        if is_frame { "frame" } else { "safe part" },
        words::figure_below(room),
    ));
    let mistake = mistake.word(word).with(&delivery.place, "the delivery");
    Err(if fits > 0.0 { mistake.help(format!("write size = {} at most", diag::number(fits))) } else { mistake })
}

//! Small stills evenly over the shoot, odd ones in the place of those nearest to them, each with its number.

use kurbo::{Point, Rect};

use super::{Request, pictures};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{Badge, FRAME, INK, QUIET};
use crate::ink::svg::Svg;
use crate::measures::Thumbnail;
use crate::units::SlotIndex;

/// Stills at most, and in a row.
const MOST: usize = 24;
const ROW: usize = 12;
/// As few as these stand beside the column on the right.
const SHORT: usize = 4;
/// Space between stills, and below them for their numbers.
const APART: f64 = 8.0;
const CAPTION: f64 = 22.0;
/// No still is taller.
const TALLEST: f64 = 260.0;

/// A still of the strip.
struct Small {
    slot: SlotIndex,
    name: String,
    picture: Thumbnail,
    finding: Option<(usize, Badge)>,
}

/// The rows of stills.
pub(super) struct Strip {
    stills: Vec<Small>,
    row: usize,
    across: f64,
    down: f64,
}

impl Strip {
    /// As many as there are, or as have room: in rows of the `whole` width, few of them in a `short` one.
    pub(super) fn of(request: &Request, whole: f64, short: f64) -> Self {
        let measures = request.measures;
        let slots: Vec<SlotIndex> = measures.measured().map(|(slot, _)| slot).collect();
        let count = slots.len().min(MOST);
        let odd: Vec<SlotIndex> = measures.odd.iter().map(|(slot, _)| *slot).collect();
        let mut chosen: Vec<SlotIndex> =
            (0..count).map(|at| slots[at * (slots.len() - 1) / (count - 1).max(1)]).collect();
        for slot in odd.iter().take(MOST / 2).filter(|slot| slots.contains(slot)) {
            let free = chosen.iter_mut().filter(|other| !odd.contains(other) || *other == slot);
            if let Some(nearest) = free.min_by_key(|other| other.0.abs_diff(slot.0)) {
                *nearest = *slot;
            }
        }
        chosen.sort_unstable();
        let still = |slot: SlotIndex| {
            let finding = request.finding_of(slot);
            let name = request.shoot.slots[slot.0].name.clone();
            Some(Small { slot, name, picture: measures.glance(slot)?.thumbnail, finding })
        };
        let stills: Vec<Small> = chosen.into_iter().filter_map(still).collect();
        // One alone stands in the column instead.
        let stills = if request.measures.steps.is_empty() { Vec::new() } else { stills };
        let rows = stills.len().div_ceil(ROW).max(1);
        let row = stills.len().div_ceil(rows).max(1);
        let width = if stills.len() <= SHORT { short } else { whole };
        let aspect = request.shoot.size.aspect();
        let across = ((width + APART) / row as f64 - APART).min(TALLEST * aspect);
        Self { stills, row, across, down: across / aspect }
    }

    /// Whether the stills leave the column on the right free.
    pub(super) fn is_short(&self) -> bool {
        self.stills.len() <= SHORT
    }

    /// Pixels it needs down the page.
    pub(super) fn height(&self) -> f64 {
        self.stills.len().div_ceil(self.row) as f64 * (self.down + CAPTION + APART)
    }

    pub(super) fn draw(&self, svg: &mut Svg, at: Point) {
        for (index, still) in self.stills.iter().enumerate() {
            let left = at.x + (index % self.row) as f64 * (self.across + APART);
            let top = at.y + (index / self.row) as f64 * (self.down + CAPTION + APART);
            let place = Rect::new(left, top, left + self.across, top + self.down);
            let picture = &still.picture;
            pictures::put(svg, &pictures::on_screen(picture), (picture.width, picture.height), place, "small");
            let (edge, width) = still.finding.map_or((FRAME, 1.0), |(_, badge)| (badge.colour(), 2.0));
            svg.rect(place).text("fill", "none").text("stroke", edge).number("stroke-width", width).empty();
            if let Some((number, badge)) = still.finding {
                badge.draw(svg, Point::new(place.x1 - Badge::RADIUS - 3.0, place.y0 + Badge::RADIUS + 3.0), number);
            }
            let (count, base) = ((still.slot.0 + 1).to_string(), Point::new(left, place.y1 + 15.0));
            Type::SMALL_BOLD.write(svg, base, Anchor::Start, INK, &count);
            let after = Type::SMALL_BOLD.width(&count) + 6.0;
            let name = Type::TICK.cut(&still.name, self.across - after);
            Type::TICK.write(svg, base + (after, 0.0), Anchor::Start, QUIET, &name);
        }
    }
}

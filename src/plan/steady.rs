//! Steadying as a plan has it: where every still stands, and the room that is left.

use schemars::JsonSchema;
use serde::Serialize;

use crate::diag::Place;
use crate::geom::{Room, Window};
use crate::register::{Pose, StillPose, Table};
use crate::shoot::Shoot;
use crate::units::{Size, SlotIndex};

/// How the stills of a plan are steadied. Windows of rows are over the first view; what is painted from a still is
/// [`Steadying::window`] of them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Steadying {
    /// The line that asks for it.
    pub place: Place,
    /// The slot whose still the first view is: the first that the shot may show.
    pub first: SlotIndex,
    /// By slot: how its still lies against the first view.
    pub stands: Vec<Pose>,
    /// Slots, in order, without a stand of their own: their stills could not be placed, or there are none. They stand
    /// between their neighbours.
    pub unplaced: Vec<SlotIndex>,
    /// What every still that the shot may show has in common, over the first view; `zoom = 1` is the largest window
    /// inside it.
    pub room: Room,
    /// The upright still.
    #[serde(skip)]
    pub still: Size,
    /// By slot: how its still lies against the view that the whole shoot began with, as tables have it.
    #[serde(skip)]
    pub table: Vec<Pose>,
}

impl Steadying {
    /// How a slot's still lies against the first view.
    #[must_use]
    pub fn stand(&self, slot: SlotIndex) -> Pose {
        self.stands.get(slot.0).copied().unwrap_or(Pose::STILL)
    }

    /// The window over a slot's still that shows what `window` shows of the first view; inside the still, always.
    #[must_use]
    pub fn window(&self, window: Window, slot: SlotIndex) -> Window {
        let moved = self.stand(slot).window(self.still, window);
        // Rounding alone is left here; the sampler refuses even that.
        if moved.inside(self.still, 0.0) { moved } else { moved.moved_inside(self.still) }
    }

    /// The stands of a shoot's stills, as a table to be kept and edited.
    #[must_use]
    pub fn table(&self, shoot: &Shoot) -> Table {
        let whole = shoot.slots.iter().enumerate().filter(|(slot, _)| shoot.still(SlotIndex(*slot)).is_some());
        let line = |(slot, entry): (usize, &crate::shoot::Slot)| StillPose {
            slot,
            stand: self.table.get(slot).copied().unwrap_or(Pose::STILL),
            name: entry.name.clone(),
        };
        Table { lines: whole.map(line).collect() }
    }

    /// Pixels of the still that no window shows, at its left, top, right and bottom.
    #[must_use]
    pub fn lost(&self) -> [f64; 4] {
        let (whole, room) = (Room::from(self.still), self.room);
        [room.left, room.top, whole.right - room.right, whole.bottom - room.bottom]
    }

    /// The farthest that a still is shifted, in pixels, and turned, in degrees.
    #[must_use]
    pub fn farthest(&self) -> (f64, f64) {
        self.stands.iter().fold((0.0, 0.0), |(shift, turn): (f64, f64), stand| {
            (shift.max(stand.x.hypot(stand.y)), turn.max(stand.turn.abs()))
        })
    }

    /// `steady: stills shifted by up to 12.3 px and turned by up to 0.012 degrees; 3988 by 2990 px are left`.
    #[must_use]
    pub fn summary(&self) -> String {
        let (shift, turn) = self.farthest();
        let turned = if turn > 0.0 { format!(" and turned by up to {turn:.3} degrees") } else { String::new() };
        let [left, top, right, bottom] = self.lost();
        let room = self.room;
        format!(
            "steady: stills shifted by up to {shift:.2} px{turned}; {:.1} by {:.1} px are left ({left:.1} px lost at the left, {right:.1} \
             right, {top:.1} top, {bottom:.1} bottom)\n",
            room.width(),
            room.height()
        )
    }
}

//! What happens in the stills, as windows and paces see it: over the first view of a steadied shoot, without what
//! covers hide, and with nothing across a break.

use std::sync::Arc;

use kurbo::Rect;

use crate::diag::Place;
use crate::geom::Room;
use crate::measures::Activity;
use crate::plan::{Covering, Steadying, covered_in};
use crate::shot::{Action, Pace, Path, Shot};
use crate::units::{Size, SlotIndex};

use super::times::number;
use super::views;

/// How much happens where, still by still.
#[derive(Debug)]
pub(super) struct Acts {
    activity: Arc<Activity>,
    covers: Vec<Covering>,
    steady: Option<Steadying>,
    still: Size,
    /// The slots that begin another side of a break.
    sides: Vec<usize>,
}

/// A framing by what happens.
#[derive(Debug)]
pub(super) struct Acting {
    /// The line that asks for it.
    pub(super) place: Place,
    pub(super) action: Action,
    /// None where nobody has looked yet.
    pub(super) acts: Option<Arc<Acts>>,
}

/// Whether a shot goes by what happens in its stills: its windows, or its pace.
#[must_use]
pub fn goes_by_action(shot: &Shot) -> bool {
    let framings = shot.deliveries.iter().map(|delivery| views::framing_of(shot, delivery));
    matches!(shot.pace.value, Pace::Lively(_)) || framings.into_iter().any(|one| matches!(one.path, Path::Action(_)))
}

impl Acts {
    pub(super) fn new(
        activity: &Arc<Activity>,
        still: Size,
        sides: &[usize],
        (covers, steady): (&[Covering], Option<&Steadying>),
    ) -> Self {
        let (activity, sides) = (Arc::clone(activity), sides.to_vec());
        Self { activity, covers: covers.to_vec(), steady: steady.cloned(), still, sides }
    }

    /// Tiles across and down, at least 1 each.
    pub(super) fn tiles(&self) -> [usize; 2] {
        self.activity.tiles().map(|tiles| tiles.max(1))
    }

    /// How much happens in each tile of a slot's still, 0 to 1, row by row: the mean of the steps to it and from it.
    pub(super) fn at(&self, slot: SlotIndex) -> Vec<f32> {
        let [across, down] = self.tiles();
        let mut tiles = vec![0.0; across * down];
        let step = |slot: usize| {
            let begins = self.sides.binary_search(&slot).is_ok();
            self.activity.step(SlotIndex(slot)).filter(|_| !begins)
        };
        let steps: Vec<&[u8]> = [step(slot.0), step(slot.0 + 1)].into_iter().flatten().collect();
        if steps.is_empty() {
            return tiles;
        }
        #[expect(clippy::cast_precision_loss, reason = "two")]
        let full = f32::from(Activity::FULL) * steps.len() as f32;
        let sum = |tile: usize| steps.iter().map(|step| f32::from(step[tile])).sum::<f32>() / full;
        let size = self.tile();
        let stand = self.steady.as_ref().map(|steady| steady.stand(slot));
        let hidden = covered_in(&self.covers, slot);
        for tile in 0..across * down {
            let happens = sum(tile);
            if happens == 0.0 {
                continue;
            }
            let middle = [tile % across, tile / across];
            let middle = [0, 1].map(|side| (number(middle[side]) + 0.5) * size[side]);
            let inside = |from: u32, length: u32, at: f64| at >= f64::from(from) && at < f64::from(from + length);
            if hidden.iter().any(|one| inside(one.x, one.width, middle[0]) && inside(one.y, one.height, middle[1])) {
                continue;
            }
            let Some(stand) = stand else {
                tiles[tile] = happens;
                continue;
            };
            // Where the first view has what this still has there: turns are too small to move a tile.
            let at = [middle[0] - stand.x, middle[1] - stand.y];
            let seen = [0, 1].map(|side| (at[side] / size[side]).floor());
            if seen[0] >= 0.0 && seen[1] >= 0.0 && seen[0] < number(across) && seen[1] < number(down) {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a tile's place")]
                let place = seen[1] as usize * across + seen[0] as usize;
                tiles[place] += happens;
            }
        }
        tiles
    }

    /// How many tiles' worth happens in a slot's still.
    pub(super) fn sum(&self, slot: SlotIndex) -> f64 {
        self.at(slot).iter().map(|tile| f64::from(*tile)).sum()
    }

    /// The box around those tiles in which half as much happens as in the busiest, or more; none where nothing does.
    pub(super) fn busiest(&self, tiles: &[f32]) -> Option<Rect> {
        let most = tiles.iter().copied().fold(0.0, f32::max);
        let ([across, _], [width, height]) = (self.tiles(), self.tile());
        let busy = tiles.iter().enumerate().filter(|(_, tile)| **tile > 0.0 && **tile >= most / 2.0);
        let rects = busy.map(|(at, _)| {
            let (x, y) = (number(at % across) * width, number(at / across) * height);
            Rect::new(x, y, x + width, y + height)
        });
        rects.reduce(|all, one| all.union(one))
    }

    /// A tile's width and height, in pixels of the still.
    pub(super) fn tile(&self) -> [f64; 2] {
        let [across, down] = self.tiles();
        [f64::from(self.still.width) / number(across), f64::from(self.still.height) / number(down)]
    }

    /// A room in tiles: left and top, right and bottom.
    pub(super) fn in_tiles(&self, room: Room) -> [[f64; 2]; 2] {
        let [width, height] = self.tile();
        [[room.left / width, room.top / height], [room.right / width, room.bottom / height]]
    }
}

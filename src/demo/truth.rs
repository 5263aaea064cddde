//! What the shoot really shows, written beside it.

use serde::Serialize;

use super::exif;
use super::quayside::{BOARD, board_albedo};
use super::world::{Camera, World, tide_metres};
use crate::units::Size;

/// The whole of `truth.json`.
#[derive(Debug, Serialize)]
pub(super) struct Truth {
    size: Size,
    seed: u64,
    /// Seconds between slots.
    interval: f64,
    missing: Option<Missing>,
    bump: Bump,
    slots: Vec<Slot>,
}

#[derive(Debug, Serialize)]
struct Missing {
    slot: u32,
    name: String,
    number: u32,
}

#[derive(Debug, Serialize)]
struct Bump {
    from_slot: u32,
    /// Pixels that the whole picture moves, to the right and down.
    offset: [f64; 2],
}

#[derive(Debug, Serialize)]
struct Slot {
    /// Counted from 0.
    slot: u32,
    /// The name it has or would have.
    name: String,
    /// The file below the folder; none where it is missing.
    file: Option<String>,
    /// Camera's local time and offset from UTC.
    captured: String,
    offset: &'static str,
    /// Centre of the hook's disc in the upright still, in pixels, the bump included; pixel `(i, j)` covers `[i, i +
    /// 1)`.
    hook: [f64; 2],
    /// What all linear light of the still was multiplied by.
    exposure: f64,
    /// Pixels that the picture lies from the first one's.
    bump: [f64; 2],
    /// Metres from the first slot's water.
    tide: f64,
    /// Face of the measuring board in the still, left, top, right, bottom, in pixels.
    board: [f64; 4],
    /// Linear light that the board sends in the mean, red, green, blue, before the exposure.
    board_light: [f64; 3],
}

impl Truth {
    pub(super) fn of(world: &World, size: Size) -> Self {
        let scale = Camera::new(size, (0.0, 0.0)).scale;
        let slots = (0..world.stills).map(|slot| Slot::of(world, slot, size)).collect();
        Self {
            size,
            seed: world.seed,
            interval: 5.0,
            missing: world.missing.map(|slot| Missing { slot, name: exif::name(slot), number: exif::number(slot) }),
            bump: Bump { from_slot: world.bumped_from, offset: [world.bump.0 * scale, world.bump.1 * scale] },
            slots,
        }
    }
}

impl Slot {
    fn of(world: &World, slot: u32, size: Size) -> Self {
        let camera = Camera::new(size, world.offset(slot));
        let moment = world.moment(slot);
        let hook = camera.pixel(moment.hook);
        let (from, to) = (camera.pixel((BOARD[0], BOARD[1]).into()), camera.pixel((BOARD[2], BOARD[3]).into()));
        let offset = world.offset(slot);
        let (light, albedo) = (moment.light().sky, board_albedo());
        let name = exif::name(slot);
        Self {
            slot,
            file: (Some(slot) != world.missing).then(|| name.clone()),
            name,
            captured: exif::captured(slot).to_string(),
            offset: exif::OFFSET,
            hook: [hook.x, hook.y],
            exposure: world.exposure(slot),
            bump: [offset.0 * camera.scale, offset.1 * camera.scale],
            tide: tide_metres(moment.fall),
            board: [from.x, from.y, to.x, to.y],
            board_light: std::array::from_fn(|i| f64::from(light[i] * albedo)),
        }
    }
}

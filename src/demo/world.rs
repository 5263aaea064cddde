//! What happens in the harbour, as pure functions of the slot: tide, light, crane, crates, and the shoot's own faults.
//!
//! Lengths are *scene units*: one pixel of a 4000 × 3000 still. The horizon lies at [`HORIZON`]; a thing's *nearness*
//! is 1 at the front of the pier, less beyond it, more before it, and scales its height below the horizon.

use kurbo::Point;

use super::noise::{Chance, blend, srgb, step};
use crate::units::Size;

/// The scene's extent, in scene units.
pub(super) const SCENE: (f64, f64) = (4000.0, 3000.0);
/// Height of the horizon in the picture.
pub(super) const HORIZON: f64 = 1290.0;
/// Where the lines that run away from the camera meet on the horizon.
pub(super) const VANISHING: f64 = 1500.0;
/// Depth of high water below the horizon at nearness 1.
pub(super) const HIGH_WATER: f64 = 770.0;
/// Share by which that depth grows until low water.
pub(super) const FALL: f64 = 0.2;
/// How far the camera stands above high water, in metres: scales scene units at nearness 1.
const CAMERA_METRES: f64 = 9.0;

/// Nearness of the far shore, the barge and the fishing boat.
pub(super) const SHORE: f64 = 0.15;
pub(super) const BARGE: f64 = 1.08;
pub(super) const BOAT: f64 = 1.40;

/// Top of the pier's front edge, and its corner.
pub(super) const DECK: f64 = 1650.0;
pub(super) const CORNER: f64 = 2250.0;

/// Sides of a crate.
pub(super) const CRATE: (f64, f64) = (128.0, 112.0);
/// From the hook down to the top of the crate below it.
pub(super) const SLING: f64 = 84.0;
/// Where the crane's boom turns.
pub(super) const PIVOT: Point = Point::new(2985.0, 1130.0);
const BOOM: f64 = 1640.0;
/// Height at which the hook travels.
const TRAVEL: f64 = 1235.0;

/// The shoot as a whole: what the seed chose.
#[derive(Debug)]
pub(super) struct World {
    pub(super) stills: u32,
    pub(super) seed: u64,
    /// Slot that has no file; a shoot of fewer than five has them all.
    pub(super) missing: Option<u32>,
    /// First slot after the bump.
    pub(super) bumped_from: u32,
    /// How far everything moves in the picture at the bump, in scene units.
    pub(super) bump: (f64, f64),
    exposure: Vec<f64>,
    cycles: f64,
}

/// One moment of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    /// From 0 at the first slot to 1 at the last.
    pub(super) part: f64,
    /// From 0 at high water to 1 at low.
    pub(super) fall: f64,
    /// Crates already on the pier.
    pub(super) landed: u32,
    /// Whether one hangs on the hook.
    pub(super) carrying: bool,
    /// Centre of the hook's block.
    pub(super) hook: Point,
    /// End of the boom.
    pub(super) tip: Point,
}

/// Light of one moment, linear.
#[derive(Debug, Clone, Copy)]
pub(super) struct Light {
    /// From the whole sky.
    pub(super) sky: [f32; 3],
    /// From the sun, on what faces it.
    pub(super) sun: [f32; 3],
    /// From the lamps, on what is near them.
    pub(super) lamp: [f32; 3],
    /// Of the air between.
    pub(super) haze: [f32; 3],
}

impl World {
    pub(super) fn new(stills: u32, seed: u64) -> Self {
        let mut chance = Chance::new(seed, 1);
        let exposure = (0..stills).map(|_| 1.0 + chance.between(-0.03, 0.03)).collect();
        let mut chance = Chance::new(seed, 2);
        let mut slot = |low: f64, high: f64| (f64::from(stills) * chance.between(low, high)) as u32;
        let (missing, bumped_from) = (slot(0.30, 0.42), slot(0.55, 0.70));
        let missing = (stills >= 5).then_some(missing);
        let bump = (chance.between(4.0, 6.5), chance.between(-4.5, -2.5));
        let cycles = (f64::from(stills) / 24.0).round().clamp(1.0, 6.0);
        Self { stills, seed, missing, bumped_from, bump, exposure, cycles }
    }

    /// What the still's linear light is multiplied by, for the flicker.
    pub(super) fn exposure(&self, slot: u32) -> f64 {
        self.exposure[slot as usize]
    }

    /// How far the picture of a slot lies from the first one's, in scene units.
    pub(super) fn offset(&self, slot: u32) -> (f64, f64) {
        if slot >= self.bumped_from { self.bump } else { (0.0, 0.0) }
    }

    pub(super) fn moment(&self, slot: u32) -> Moment {
        let part = f64::from(slot) / f64::from(self.stills.max(2) - 1);
        let fall = part * (1.2 - 0.2 * part);
        let run = 0.12 + part * (self.cycles - 0.05);
        let landed = run.floor().min(self.cycles - 1.0);
        let within = run - landed;
        let index = landed as u32;
        let (tip, hook) = crane(fall, index, within);
        let carrying = (0.46..0.955).contains(&within);
        Moment { part, fall, landed: index + u32::from(within >= 0.955), carrying, hook, tip }
    }
}

/// Boom's end and hook, `within` (0 to 1) the work on one crate.
fn crane(fall: f64, index: u32, within: f64) -> (Point, Point) {
    let ramp = |from: f64, to: f64| {
        let t = ((within - from) / (to - from)).clamp(0.0, 1.0);
        t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
    };
    let source = barge_crate(fall, index);
    let here = pier_crate(index);
    let before = pier_crate(index.saturating_sub(1));
    let out = ramp(0.05, 0.32);
    let back = ramp(0.60, 0.86);
    let x = before.x + (source.x - before.x) * out + (here.x - source.x) * back;
    let reach = out - back;
    let (pick, drop) = (source.y - SLING, here.y - SLING);
    let start = before.y - SLING;
    let y = TRAVEL
        + (start - TRAVEL) * (1.0 - ramp(0.0, 0.12))
        + (pick - TRAVEL) * (ramp(0.27, 0.43) - ramp(0.48, 0.62))
        + (drop - TRAVEL) * ramp(0.83, 0.95);
    let climb = (34.0 - 12.0 * reach).to_radians();
    let tip = Point::new(x, PIVOT.y - BOOM * climb.sin());
    let sway = 9.0 * (within * 26.0).sin() * (ramp(0.05, 0.2) - ramp(0.25, 0.36) + ramp(0.6, 0.7) - ramp(0.8, 0.9));
    (tip, Point::new(x + sway, y))
}

/// Crates on the barge at first; the last stays, for the upper row stands on it.
pub(super) const CRATES: u32 = 7;

/// Middle of the top of crate `index` as it waits on the barge.
pub(super) fn barge_crate(fall: f64, index: u32) -> Point {
    let (column, level) = if index < 3 { (f64::from(index) + 0.5, 2.0) } else { (f64::from(index - 3), 1.0) };
    Point::new(1290.0 + (CRATE.0 + 6.0) * column, waterline(BARGE, fall) - 62.0 - CRATE.1 * level)
}

/// Middle of the top of crate `index` once it stands on the pier.
pub(super) fn pier_crate(index: u32) -> Point {
    let (column, level) = match index {
        0..3 => (f64::from(index), 1.0),
        3..5 => (f64::from(index - 3) + 0.5, 2.0),
        _ => (1.0, 3.0),
    };
    Point::new(2350.0 + (CRATE.0 + 5.0) * column, DECK - 12.0 - CRATE.1 * level)
}

/// Height of the water's edge in the picture at a nearness.
pub(super) fn waterline(nearness: f64, fall: f64) -> f64 {
    HORIZON + HIGH_WATER * (1.0 + FALL * fall) * nearness
}

/// How far the water has fallen since the first slot, in metres, as a level below 0.
pub(super) fn tide_metres(fall: f64) -> f64 {
    0.0 - CAMERA_METRES * FALL * fall
}

impl Moment {
    /// Centre of the sun.
    pub(super) fn sun(&self) -> Point {
        Point::new(905.0 - 60.0 * self.part, 985.0 + 440.0 * self.part)
    }

    /// How far the lamp numbered `which` has come on, from 0 to 1.
    pub(super) fn lamp(&self, which: u32) -> f32 {
        let at = 0.50 + f64::from(which * 5 % 8) * 0.018;
        step(at as f32, at as f32 + 0.012, self.part as f32)
    }

    /// The light that falls on everything.
    pub(super) fn light(&self) -> Light {
        let t = self.part as f32;
        let along = |stops: &[(f32, u32)], gain: f32| {
            let last = stops.len() - 1;
            let k = stops.iter().position(|stop| stop.0 > t).unwrap_or(last).max(1);
            let (a, b) = (stops[k - 1], stops[k]);
            blend(srgb(a.1), srgb(b.1), step(a.0, b.0, t)).map(|v| v * gain)
        };
        let sunlit = 1.0 - step(0.12, 0.50, t);
        let lit = step(0.50, 0.66, t);
        Light {
            sky: along(&[(0.0, 0xC9CBD2), (0.4, 0xB3A9B0), (0.7, 0x7D829C), (1.0, 0x566486)], 0.92),
            sun: [1.05, 0.60, 0.27].map(|v| v * sunlit),
            lamp: [1.0, 0.58, 0.22].map(|v| v * lit * 0.95),
            haze: along(&[(0.0, 0xF2CFA4), (0.35, 0xE9AE88), (0.65, 0x9A8396), (1.0, 0x4E5B7E)], 0.85),
        }
    }
}

/// From scene units to the pixels of a still.
#[derive(Debug, Clone, Copy)]
pub(super) struct Camera {
    pub(super) size: Size,
    /// Pixels a scene unit.
    pub(super) scale: f64,
    pub(super) x: f64,
    pub(super) y: f64,
}

impl Camera {
    /// The scene covers the still and is centred in it, then moved by `offset` scene units.
    pub(super) fn new(size: Size, offset: (f64, f64)) -> Self {
        let (width, height) = (f64::from(size.width), f64::from(size.height));
        let scale = (width / SCENE.0).max(height / SCENE.1);
        let x = (width - SCENE.0 * scale) / 2.0 + offset.0 * scale;
        let y = (height - SCENE.1 * scale) / 2.0 + offset.1 * scale;
        Self { size, scale, x, y }
    }

    pub(super) fn pixel(&self, point: Point) -> Point {
        Point::new(point.x * self.scale + self.x, point.y * self.scale + self.y)
    }

    pub(super) fn scene(&self, x: f64, y: f64) -> Point {
        Point::new((x - self.x) / self.scale, (y - self.y) / self.scale)
    }

    pub(super) fn transform(&self) -> tiny_skia::Transform {
        let scale = self.scale as f32;
        tiny_skia::Transform::from_row(scale, 0.0, 0.0, scale, self.x as f32, self.y as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hook_and_the_boom_move_without_a_jump() {
        // 4000 slots of six crates: a jump between two jobs would show as a step many times the greatest of a smooth
        // move.
        let world = World::new(4000, 1);
        let mut last = world.moment(0);
        for slot in 1..4000 {
            let moment = world.moment(slot);
            assert!(moment.hook.distance(last.hook) < 16.0, "slot {slot}: {:?} after {:?}", moment.hook, last.hook);
            assert!(moment.tip.distance(last.tip) < 16.0, "slot {slot}: {:?} after {:?}", moment.tip, last.tip);
            assert!(moment.fall > last.fall && moment.landed >= last.landed);
            last = moment;
        }
        assert_eq!(last.landed, 6);
    }

    #[test]
    fn a_crate_is_taken_where_it_stood_and_set_down_where_it_stays() {
        for index in 0..6 {
            let (_, taken) = crane(0.4, index, 0.46);
            assert!(
                (taken.y + SLING - barge_crate(0.4, index).y).abs() < 1e-9
                    && (taken.x - barge_crate(0.4, index).x).abs() < 1e-9
            );
            let (_, left) = crane(0.4, index, 0.955);
            assert!((left.y + SLING - pier_crate(index).y).abs() < 1e-9 && (left.x - pier_crate(index).x).abs() < 1e-9);
        }
    }

    #[test]
    fn flicker_stays_within_three_percent_and_every_seed_has_its_own() {
        let (one, two) = (World::new(120, 1), World::new(120, 2));
        assert!((0..120).all(|slot| (one.exposure(slot) - 1.0).abs() <= 0.03));
        assert!((0..120).any(|slot| (one.exposure(slot) - 1.0).abs() > 0.02));
        assert!((0..120).any(|slot| one.exposure(slot) != two.exposure(slot)));
        assert_ne!(one.bump, two.bump);
    }

    #[test]
    fn the_scene_covers_a_still_of_any_shape() {
        for (width, height) in [(4000, 3000), (1920, 1080), (600, 900), (1, 1)] {
            let camera = Camera::new(Size::new(width, height), (0.0, 0.0));
            let (from, to) = (camera.scene(0.0, 0.0), camera.scene(f64::from(width), f64::from(height)));
            assert!(from.x > -1e-9 && from.y > -1e-9 && to.x < SCENE.0 + 1e-9 && to.y < SCENE.1 + 1e-9);
            let back = camera.pixel(camera.scene(12.25, 7.5));
            assert!(back.distance(Point::new(12.25, 7.5)) < 1e-9);
        }
    }
}

//! Lamps, and panes with light behind them: what shines by itself in a still and in its water.

use super::craft;
use super::noise::{cell, channels, mix};
use super::world::{BARGE, BOAT, Light, Moment, SHORE, waterline};
use super::{pier, quayside};

/// A light with a glow about it: place in the scene, nearness of the water that mirrors it, reach of the glow,
/// strength.
pub(super) type Lamp = ((f32, f32), f64, f32, f32);

pub(super) fn lamps(moment: &Moment) -> Vec<Lamp> {
    let above = |nearness: f64, (x, up): (f32, f32)| (x, waterline(nearness, moment.fall) as f32 + up);
    let mut lamps: Vec<Lamp> =
        pier::LAMPS.iter().zip(0..).map(|(&at, k)| (at, 1.0, 1.0, 0.85 * moment.lamp(k))).collect();
    lamps.push((quayside::LAMP, 4.0, 2.0, moment.lamp(3)));
    lamps.push((above(BARGE, craft::BARGE_LAMP), BARGE, 0.55, 0.8 * moment.lamp(4)));
    lamps.push((above(BOAT, craft::BOAT_LAMP), BOAT, 0.7, 0.8 * moment.lamp(5)));
    lamps.extend((0..9_u8).map(|k| {
        let x = 170.0 + 262.0 * f32::from(k) + 30.0 * cell(i32::from(k), 9, 41);
        ((x, 1272.0), SHORE, 0.32, 0.75 * moment.lamp(u32::from(k) + 6))
    }));
    lamps.retain(|lamp| lamp.3 > 0.0);
    lamps
}

/// A window with light behind it: left, top, right, bottom, the waterline that mirrors it, strength.
pub(super) struct Pane {
    corners: [f32; 4],
    water: f32,
    strength: f32,
}

pub(super) fn panes(moment: &Moment) -> Vec<Pane> {
    let of = |panes: [[f32; 4]; 3], nearness: f64, lamp: u32| {
        let water = waterline(nearness, moment.fall) as f32;
        let strength = moment.lamp(lamp);
        panes.map(|[left, top, right, bottom]| Pane {
            corners: [left, water + top, right, water + bottom],
            water,
            strength,
        })
    };
    let mut panes = Vec::from(of(craft::BARGE_PANES, BARGE, 4));
    panes.extend(of(craft::BOAT_PANES, BOAT, 5));
    panes.retain(|pane| pane.strength > 0.0);
    panes
}

impl Pane {
    pub(super) fn mirrored(&self) -> Self {
        let [left, top, right, bottom] = self.corners;
        Self { corners: [left, 2.0 * self.water - bottom, right, 2.0 * self.water - top], ..*self }
    }

    /// Lights a row whose pixel `k` lies at `(left + k * stride, height)`.
    pub(super) fn over(&self, (start, height, stride): (f32, f32, f32), light: &Light, row: &mut [[f32; 3]]) {
        let [left, top, right, bottom] = self.corners;
        let inside = |at: f32, from: f32, to: f32| (((at - from).min(to - at)) / stride + 0.5).clamp(0.0, 1.0);
        let down = inside(height, top, bottom) * self.strength;
        if down <= 0.0 {
            return;
        }
        let from = ((left - start) / stride - 1.0).max(0.0) as usize;
        let to = (((right - start) / stride + 2.0).max(0.0) as usize).min(row.len());
        let warmth = 0.55 + 0.3 * (1.0 - (height - top) / (bottom - top));
        for (k, pixel) in row.iter_mut().enumerate().take(to).skip(from) {
            let coverage = down * inside(start + k as f32 * stride, left, right);
            *pixel = channels(|i| mix(pixel[i], pixel[i] + warmth * light.lamp[i], coverage));
        }
    }
}

/// Adds a lamp's glow to a row whose pixel `k` lies at `(left + k * stride, height)`.
pub(super) fn glow(
    ((x, y), _, size, strength): Lamp,
    (left, height, stride): (f32, f32, f32),
    light: &Light,
    row: &mut [[f32; 3]],
) {
    let reach = 300.0 * size;
    let dy = height - y;
    if dy.abs() >= reach {
        return;
    }
    let half = (reach * reach - dy * dy).sqrt();
    let from = ((x - half - left) / stride).ceil().max(0.0) as usize;
    let to = (((x + half - left) / stride).floor() + 1.0).clamp(0.0, row.len() as f32) as usize;
    for (k, pixel) in row.iter_mut().enumerate().take(to).skip(from) {
        let dx = left + k as f32 * stride - x;
        let squared = (dx * dx + dy * dy) / (size * size);
        let edge = 1.0 - squared / (300.0 * 300.0);
        let halo = (0.85 / (1.0 + squared / 190.0) + 0.16 / (1.0 + squared / 6000.0)) * edge * edge * strength;
        for (value, lamp) in pixel.iter_mut().zip(light.lamp) {
            *value += halo * mix(lamp, 1.0, 0.10);
        }
    }
}

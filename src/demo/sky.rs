//! The sky: graded colour, a setting sun, clouds that pass. Drawn coarsely, since nothing in it is sharp, and read
//! smoothly.

use super::noise::{blend, channels, layered, mix, smooth, srgb, step};
use super::world::{HORIZON, Moment};

/// Scene units a cell, at least; a cell is never finer than a pixel.
const FINEST: f32 = 5.0;
/// The first cell's corner: above and beside the picture, for the water's sake.
const LEFT: f32 = -80.0;
const TOP: f32 = -260.0;
const RIGHT: f32 = 4080.0;
const BOTTOM: f32 = 1352.0;

/// Linear light on a coarse grid.
#[derive(Debug)]
pub(super) struct Sky {
    cell: f32,
    across: usize,
    down: usize,
    cells: Vec<[f32; 3]>,
    line: Vec<[f32; 3]>,
}

/// Where the clouds are, and how the wind carries them: the seed's choice.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clouds {
    pub(super) salt: u32,
    pub(super) shift: f32,
}

impl Sky {
    /// An empty sky for stills of `grain` scene units a pixel.
    pub(super) fn new(grain: f32) -> Self {
        let cell = grain.max(FINEST);
        let cells = |span: f32| (span / cell).ceil() as usize + 1;
        let (across, down) = (cells(RIGHT - LEFT), cells(BOTTOM - TOP));
        Self { cell, across, down, cells: vec![[0.0; 3]; across * down], line: Vec::new() }
    }

    /// Draws the sky of one moment.
    pub(super) fn draw(&mut self, moment: &Moment, clouds: Clouds) {
        let (across, cell) = (self.across, self.cell);
        let t = moment.part as f32;
        let sun = (moment.sun().x as f32, moment.sun().y as f32);
        let stops = |stops: [u32; 4]| {
            let colours = stops.map(srgb);
            let k = (t * 3.0).min(2.999);
            blend(colours[k as usize], colours[k as usize + 1], k.fract())
        };
        let zenith = stops([0x5E83B4, 0x4E6A9E, 0x35497A, 0x1F2D55]);
        let middle = stops([0xA8B8C8, 0xA99FB2, 0x6C6C94, 0x3C4874]);
        let low = stops([0xF4D6A2, 0xF2AE78, 0xC98078, 0x6E6486]);
        let rim = stops([0xFFE9BE, 0xFFB87C, 0xE07C66, 0x6A5C84]);
        let body = stops([0xA9A8B0, 0x9A8A98, 0x5C5876, 0x343C60]);
        let strength = 1.0 - step(0.30, 0.95, t) * 0.85;
        let disc = 1.0 - step(0.48, 0.56, t);
        for row in 0..self.down {
            let y = TOP + (row as f32 + 0.5) * cell;
            let height = ((HORIZON as f32 - y) / 1500.0).clamp(0.0, 1.25);
            let base = blend(blend(low, middle, step(0.0, 0.36, height)), zenith, step(0.22, 1.1, height));
            let depth = 1.0 / (height + 0.16);
            for column in 0..across {
                let x = LEFT + (column as f32 + 0.5) * cell;
                let away = ((x - sun.0).powi(2) + ((y - sun.1) * 1.25).powi(2)).sqrt();
                let glow = strength
                    * (0.75 / (1.0 + (away / 150.0).powi(2))
                        + 0.42 / (1.0 + (away / 420.0).powi(2))
                        + 0.30 / (1.0 + (away / 1100.0).powi(2)));
                let mut colour: [f32; 3] = channels(|i| base[i] + glow * rim[i] * [1.0, 0.92, 0.8][i]);
                let bright = disc * (1.0 - step(46.0, 56.0, ((x - sun.0).powi(2) + (y - sun.1).powi(2)).sqrt()));
                colour = channels(|i| colour[i] + bright * [2.2, 1.7, 1.0][i]);

                // Clouds lie on a flat ceiling: cells shrink towards the horizon.
                let (u, v) = ((x - 2000.0) * depth / 1500.0 + t * clouds.shift * 2.6 + 40.0, depth * 3.1);
                let spread = smooth(u * 0.55, v * 0.5 + 9.0, clouds.salt + 5);
                let density = layered(u, v, 7, clouds.salt);
                let veil = layered(u * 0.35 + 7.0 + t * clouds.shift * 0.5, v * 2.0, 5, clouds.salt + 17);
                let cover = step(0.47, 0.66, density + 0.22 * (spread - 0.5)) * step(0.0, 0.10, height);
                let wisp = 0.35 * step(0.48, 0.80, veil) * step(0.02, 0.2, height);
                // Light falls from the sun's side: a cloud is bright where it is thinner that way.
                let sunward = layered(u + (sun.0 - x).clamp(-500.0, 500.0) * 1.6e-4, v + 0.11, 6, clouds.salt);
                let lit = (0.5 + 4.5 * (density - sunward) + 0.9 * (0.60 - density)).clamp(0.0, 1.0);
                let near_sun = 1.0 / (1.0 + (away / 700.0).powi(2));
                let cloud: [f32; 3] = channels(|i| {
                    mix(body[i], rim[i], (0.20 + 0.75 * lit) * (0.32 + 0.68 * near_sun)) + 0.25 * glow * rim[i]
                });
                let veiled = blend(colour, blend(middle, rim, 0.25 + 0.6 * near_sun), wisp);
                let clouded = blend(veiled, cloud, cover * 0.90);
                // A shoulder keeps the brightest parts below white, the flicker included.
                self.cells[row * across + column] =
                    clouded.map(|v| if v > 0.6 { 0.6 + 0.34 * (1.0 - (-(v - 0.6) / 0.34).exp()) } else { v });
            }
        }
    }

    /// Fills a row: pixel `k` looks at `(left + k * stride, y)` of the scene.
    pub(super) fn row(&mut self, left: f32, stride: f32, y: f32, row: &mut [[f32; 3]]) {
        let v = ((y - TOP) / self.cell - 0.5).clamp(0.0, (self.down - 2) as f32);
        let j = v as usize;
        let (upper, lower) = (
            &self.cells[j * self.across..(j + 1) * self.across],
            &self.cells[(j + 1) * self.across..(j + 2) * self.across],
        );
        self.line.clear();
        self.line.extend(upper.iter().zip(lower).map(|(&a, &b)| blend(a, b, v - j as f32)));
        let (start, step) = ((left - LEFT) / self.cell - 0.5, stride / self.cell);
        for (k, pixel) in row.iter_mut().enumerate() {
            let u = (start + k as f32 * step).clamp(0.0, (self.across - 2) as f32);
            let i = u as usize;
            *pixel = blend(self.line[i], self.line[i + 1], u - i as f32);
        }
    }
}

//! The water: what it mirrors, broken by ripples that are small far away and large near the quay.

use super::noise::{Chance, channels, floor, mix, step};
use super::world::{FALL, HIGH_WATER, HORIZON, Light, VANISHING};

/// Texels on a side of the ripples' tile.
const TILE: usize = 512;
/// The camera's distance from the pier, in scene units at nearness 1: the picture's focal length.
const DISTANCE: f32 = 3460.0;

/// Slopes of a patch of water that repeats, across and away, summed from above so that any stretch of rows has its mean
/// at the price of two reads.
#[derive(Debug)]
pub(super) struct Ripples {
    /// `TILE + 1` rows of `TILE` running sums, `[across, away]`.
    sums: Vec<[f32; 2]>,
    seed_shift: f32,
}

impl Ripples {
    pub(super) fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed, 3);
        let mut slopes = vec![[0.0_f32; 2]; TILE * TILE];
        let turn = std::f32::consts::TAU / TILE as f32;
        for wave in 0..44 {
            // Whole waves across the tile, so that it repeats without a seam; slopes fall slowly with fineness.
            let count = 2.5 * 1.072_f64.powi(wave);
            let heading = chance.between(-0.95, 0.95) + std::f64::consts::FRAC_PI_2;
            let (m, n) = ((count * heading.cos()).round() as f32, (count * heading.sin()).round() as f32);
            let phase = chance.between(0.0, std::f64::consts::TAU) as f32;
            let length = (m * m + n * n).sqrt().max(1.0);
            let strength = 0.24 / length.powf(0.22);
            let circle: Vec<f32> = (0..TILE).map(|k| (phase + turn * k as f32).sin() * strength).collect();
            for (j, line) in slopes.chunks_exact_mut(TILE).enumerate() {
                for (i, slope) in line.iter_mut().enumerate() {
                    let wave = circle[(m as i32 * i as i32 + n as i32 * j as i32).rem_euclid(TILE as i32) as usize];
                    slope[0] += wave * m / length;
                    slope[1] += wave * n / length;
                }
            }
        }
        let mut sums = vec![[0.0_f32; 2]; (TILE + 1) * TILE];
        for j in 0..TILE {
            for i in 0..TILE {
                let (above, slope) = (sums[j * TILE + i], slopes[j * TILE + i]);
                sums[(j + 1) * TILE + i] = [above[0] + slope[0], above[1] + slope[1]];
            }
        }
        Self { sums, seed_shift: chance.between(0.0, 512.0) as f32 }
    }

    /// Mean slopes of the tile's rows from `from`, `span` of them (not whole), into one line.
    fn line(&self, from: f32, span: f32, line: &mut [[f32; 2]; TILE + 1]) {
        let span = span.max(0.02);
        let start = from.rem_euclid(TILE as f32);
        for (i, slope) in line[..TILE].iter_mut().enumerate() {
            let sum = |at: f32| {
                let turns = (at / TILE as f32).floor();
                let within = at - turns * TILE as f32;
                let j = (within as usize).min(TILE - 1);
                let (a, b, all) = (self.sums[j * TILE + i], self.sums[(j + 1) * TILE + i], self.sums[TILE * TILE + i]);
                let share = within - j as f32;
                [0, 1].map(|k| a[k] + (b[k] - a[k]) * share + turns * all[k])
            };
            let (head, tail) = (sum(start), sum(start + span));
            *slope = [(tail[0] - head[0]) / span, (tail[1] - head[1]) / span];
        }
        line[TILE] = line[0];
    }
}

/// Scratch of one row.
#[derive(Debug)]
pub(super) struct Surface {
    coarse: Box<[[f32; 2]; TILE + 1]>,
    fine: Box<[[f32; 2]; TILE + 1]>,
    slopes: Vec<[f32; 2]>,
}

impl Surface {
    pub(super) fn new() -> Self {
        Self { coarse: Box::new([[0.0; 2]; TILE + 1]), fine: Box::new([[0.0; 2]; TILE + 1]), slopes: Vec::new() }
    }

    /// Slopes of the water along a row at height `y` of the scene; pixel `k` looks at `left + k * stride`. `time` is in
    /// slots.
    pub(super) fn slopes(
        &mut self,
        ripples: &Ripples,
        (fall, time): (f32, f32),
        (left, y, stride): (f32, f32, f32),
        count: usize,
    ) -> &[[f32; 2]] {
        let depth = HIGH_WATER as f32 * (1.0 + FALL as f32 * fall);
        let away = depth / (y - HORIZON as f32);
        let (distance, row_span) = (DISTANCE * away, DISTANCE * away * away / depth * stride);
        let wind = ripples.seed_shift;
        // Texels a scene unit at nearness 1: one tile is 1150 units of long ripples, 310 of short ones.
        let (long, short) = (TILE as f32 / 1150.0, TILE as f32 / 310.0);
        ripples.line(distance * long + time * 31.0 + wind, (row_span * long).min(26.0), &mut self.coarse);
        ripples.line(distance * short - time * 47.0 + wind * 1.7, (row_span * short).min(30.0), &mut self.fine);
        let fine_weight = 0.75 * (1.0 - step(1.2, 5.0, away));
        self.slopes.clear();
        let start = (left - VANISHING as f32) * away;
        let pace = stride * away;
        let read = |line: &[[f32; 2]; TILE + 1], at: f32| {
            let (whole, below) = floor(at);
            let i = whole.cast_unsigned() as usize % TILE;
            let share = at - below;
            let (a, b) = (line[i], line[i + 1]);
            [mix(a[0], b[0], share), mix(a[1], b[1], share)]
        };
        self.slopes.extend((0..count).map(|k| {
            let across = start + k as f32 * pace;
            let a = read(&self.coarse, across * long + time * 17.0);
            let b = read(&self.fine, -across * short + time * 23.0);
            [a[0] + fine_weight * b[0], a[1] + fine_weight * b[1]]
        }));
        &self.slopes
    }
}

/// How far a slope moves the mirrored picture, in scene units at height `y` of the scene.
pub(super) fn reach(y: f32) -> f32 {
    let near = (y - HORIZON as f32) / 1400.0;
    10.0 + 78.0 * near
}

/// Colour of a point of water: the mirrored light and the water's own, by how steeply the surface is seen.
#[inline]
pub(super) fn colour(mirrored: [f32; 3], slope: [f32; 2], y: f32, light: &Light) -> [f32; 3] {
    let near = ((y - HORIZON as f32) / 1500.0).clamp(0.0, 1.0);
    let steep = (near * 0.62 + slope[1] * 0.30).clamp(0.02, 1.0);
    // Schlick's form of Fresnel's law (doi 10.1111/1467-8659.1330233), with a floor that keeps the mirror at dusk.
    let grazing = 1.0 - steep;
    let mirror = 0.10 + 0.82 * grazing * grazing * (0.4 + 0.6 * grazing);
    const BODY: [f32; 3] = [0.052, 0.085, 0.080];
    channels(|i| mirrored[i] * mirror + BODY[i] * (light.sky[i] * 1.1 + light.sun[i] * 0.35) * (1.0 - mirror))
}

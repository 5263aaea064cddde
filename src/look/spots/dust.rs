//! Dust on the sensor: soft dark spots that stay in place while the picture under them changes.
//!
//! How much darker than its surroundings each place is, at a few sizes, is followed over the stills. A scene that
//! stands still has places of its own that are darker in every still, so a spot counts only where everything around it
//! comes and goes: where the means over the stills of the places around it are no more than chance leaves (drifting
//! clouds, water).

#![expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "places in a small picture")]

use super::Luma;
use crate::measures::Dust;

/// Half sides of the squares that are compared with the ring around them, in pixels of the small picture.
const SIZES: [usize; 3] = [2, 4, 7];
/// Minimum number of stills.
const FEWEST: u32 = 8;
/// Minimum darkness of a spot in the mean, as a share of the code around it, …
const DARKER: f32 = 0.012;
/// … in every single still, as a share of that, …
const ALWAYS: f32 = 0.3;
/// … and in multiples of the noise floor of that mean, and of the means around it.
const STANDS_OUT: f32 = 5.0;
/// Minimum change around it from still to still (root mean square), …
const CHANGES: f32 = 0.004;
/// … and maximum of the means there, in multiples of the noise floor.
const NOTHING_STAYS: f32 = 1.6;
/// Beside something bright that stays, a place only looks dark: no mean near a spot is less than this share of its own,
/// the other way.
const BESIDE_BRIGHT: f32 = 0.5;
/// Codes that tell: neither black nor white.
const TELLS: std::ops::Range<f32> = 30.0..250.0;
/// Minimum number of places around a spot that tell.
const TELLING: usize = 40;

/// Takes stills one after the other.
#[derive(Default)]
pub(super) struct Dips {
    width: usize,
    height: usize,
    scale: u32,
    sizes: Vec<Dip>,
}

/// Of one size: by place the sum of dips, of their squares, the least, and how many.
struct Dip {
    sums: Vec<f32>,
    squares: Vec<f32>,
    least: Vec<f32>,
    counts: Vec<u8>,
}

impl Dips {
    pub(super) fn take(&mut self, luma: &Luma, scale: u32) {
        let places = luma.width * luma.height;
        if self.sizes.is_empty() {
            (self.width, self.height, self.scale) = (luma.width, luma.height, scale);
            let dip = |_| Dip {
                sums: vec![0.0; places],
                squares: vec![0.0; places],
                least: vec![f32::MAX; places],
                counts: vec![0; places],
            };
            self.sizes = SIZES.iter().map(dip).collect();
        }
        if (self.width, self.height) != (luma.width, luma.height) {
            return;
        }
        let summed = Summed::new(luma);
        for (dip, half) in self.sizes.iter_mut().zip(SIZES) {
            let reach = 3 * half + 1;
            for y in reach..self.height.saturating_sub(reach) {
                for x in reach..self.width.saturating_sub(reach) {
                    let core = summed.mean(x, y, half);
                    let (outer, inner) = (summed.sum(x, y, reach), summed.sum(x, y, 2 * half));
                    let pixels = (2 * reach + 1).pow(2) - (4 * half + 1).pow(2);
                    let ring = (outer - inner) as f32 / pixels as f32;
                    if !TELLS.contains(&core) || !TELLS.contains(&ring) {
                        continue;
                    }
                    let darker = 1.0 - core / ring;
                    let at = y * self.width + x;
                    dip.sums[at] += darker;
                    dip.squares[at] += darker * darker;
                    dip.least[at] = dip.least[at].min(darker);
                    dip.counts[at] += 1;
                }
            }
        }
    }

    /// The spots, the darkest first.
    pub(super) fn finish(self) -> Vec<Dust> {
        let mut found: Vec<(f32, Dust)> = Vec::new();
        for (dip, half) in self.sizes.iter().zip(SIZES) {
            for y in half..self.height.saturating_sub(half) {
                for x in half..self.width.saturating_sub(half) {
                    if let Some((surety, mean)) = self.spot(dip, half, x, y) {
                        let pixels = |place: usize| (place as u32 * self.scale) + self.scale / 2;
                        let across = (2 * half as u32 + 1) * self.scale;
                        found.push((surety, Dust { at: [pixels(x), pixels(y)], across, darker: f64::from(mean) }));
                    }
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut spots: Vec<Dust> = Vec::new();
        for (_, dust) in found {
            let apart = |other: &Dust| {
                let [x, y] = [0, 1].map(|axis| f64::from(dust.at[axis].abs_diff(other.at[axis])));
                x.hypot(y) > 2.0 * f64::from(dust.across.max(other.across))
            };
            if spots.iter().all(apart) {
                spots.push(dust);
            }
        }
        spots.sort_by(|a, b| b.darker.total_cmp(&a.darker));
        spots
    }

    /// How far a place stands out from chance, and its mean, where it is a spot.
    fn spot(&self, dip: &Dip, half: usize, x: usize, y: usize) -> Option<(f32, f32)> {
        let mean = |at: usize| dip.sums[at] / f32::from(dip.counts[at]);
        let at = y * self.width + x;
        if u32::from(dip.counts[at]) < FEWEST || mean(at) < DARKER || dip.least[at] < ALWAYS * mean(at) {
            return None;
        }
        let highest = (y - half..=y + half).flat_map(|y| (x - half..=x + half).map(move |x| (x, y)));
        if highest.map(|(x, y)| y * self.width + x).any(|other| dip.counts[other] > 0 && mean(other) > mean(at)) {
            return None;
        }
        // Places whose own rings the spot is no part of.
        let (near, far, step) = (5 * half + 2, 9 * half + 6, half.max(2));
        let (mut means, mut changes, mut telling) = (0.0, 0.0, 0_usize);
        for to_y in (y.saturating_sub(far)..(y + far + 1).min(self.height)).step_by(step) {
            for to_x in (x.saturating_sub(far)..(x + far + 1).min(self.width)).step_by(step) {
                let other = to_y * self.width + to_x;
                if dip.counts[other] < dip.counts[at] {
                    continue;
                }
                if to_x.abs_diff(x).max(to_y.abs_diff(y)) < near {
                    if mean(other) < -BESIDE_BRIGHT * mean(at) {
                        return None;
                    }
                    continue;
                }
                let count = f32::from(dip.counts[other]);
                means += mean(other).powi(2);
                changes += (dip.squares[other] / count - mean(other).powi(2)).max(0.0) * count / (count - 1.0);
                telling += 1;
            }
        }
        if telling < TELLING {
            return None;
        }
        let [means, changes] = [means, changes].map(|sum| (sum / telling as f32).sqrt());
        let chance = changes / f32::from(dip.counts[at]).sqrt();
        let is_spot = changes >= CHANGES
            && means <= NOTHING_STAYS * chance
            && mean(at) >= STANDS_OUT * chance
            && mean(at) >= STANDS_OUT * means;
        is_spot.then(|| (mean(at) / chance, mean(at)))
    }
}

/// Sums of a picture over rectangles.
struct Summed {
    across: usize,
    sums: Vec<u32>,
}

impl Summed {
    fn new(luma: &Luma) -> Self {
        let across = luma.width + 1;
        let mut sums = vec![0; across * (luma.height + 1)];
        for (y, row) in luma.codes.chunks_exact(luma.width.max(1)).enumerate() {
            let mut sum = 0;
            for (x, code) in row.iter().enumerate() {
                sum += u32::from(*code);
                sums[(y + 1) * across + x + 1] = sums[y * across + x + 1] + sum;
            }
        }
        Self { across, sums }
    }

    /// Over the square of a half side around a place, all of it inside.
    fn sum(&self, x: usize, y: usize, half: usize) -> u32 {
        let at = |x: usize, y: usize| self.sums[y * self.across + x];
        let (left, top, right, bottom) = (x - half, y - half, x + half + 1, y + half + 1);
        (at(right, bottom) + at(left, top)) - at(left, bottom) - at(right, top)
    }

    fn mean(&self, x: usize, y: usize, half: usize) -> f32 {
        self.sum(x, y, half) as f32 / (2 * half + 1).pow(2) as f32
    }
}

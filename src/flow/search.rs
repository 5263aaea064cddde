//! Dense inverse search (Kroeger et al. 2016): small patches look for their like by gradient descent on the squared
//! difference, their means set aside, from the best of what the coarser level, the neighbours and standing still
//! propose; pixels take the mean of the patches over them, weighted by how well each explains the pixel.
//!
//! *Inverse*: slopes are those of the patch, not of what it is compared with, so that a patch's matrix is made once.

use super::level::{BORDER, Level};

/// A patch's side in pixels, and from one patch to the next.
const PATCH: usize = 8;
const STRIDE: usize = 4;
const AREA: usize = PATCH * PATCH;

/// Steps of descent at the most, and the shortest that is worth another, in pixels squared.
const STEPS: usize = 12;
const SHORTEST: f32 = 1e-4;

/// Squared codes a pixel that are nothing, whatever the noise.
const LEAST: f32 = 0.02;

const AREA_F: f32 = AREA as f32;
const PATCH_F: f32 = PATCH as f32;
/// From a patch's first pixel to its centre.
const HALF: f32 = 0.5 * (PATCH_F - 1.0);

/// A flow, a way a pixel.
#[derive(Debug, Default)]
pub(super) struct Field {
    pub(super) width: usize,
    pub(super) height: usize,
    /// Pixels across and down.
    pub(super) ways: Vec<[f32; 2]>,
}

impl Field {
    fn reshape(&mut self, width: usize, height: usize) {
        (self.width, self.height) = (width, height);
        self.ways.clear();
        self.ways.resize(width * height, [0.0; 2]);
    }

    /// The way at a place, with straight lines between pixels; beyond the edges, theirs.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "held inside"
    )]
    pub(super) fn sample(&self, x: f32, y: f32) -> [f32; 2] {
        let (x, y) = (x.clamp(0.0, (self.width - 1) as f32), y.clamp(0.0, (self.height - 1) as f32));
        let (column, row) = (x as usize, y as usize);
        let (next_column, next_row) = ((column + 1).min(self.width - 1), (row + 1).min(self.height - 1));
        let (right, below) = (x - column as f32, y - row as f32);
        let way = |column: usize, row: usize| self.ways[row * self.width + column];
        let corners = [way(column, row), way(next_column, row), way(column, next_row), way(next_column, next_row)];
        [0, 1].map(|axis: usize| {
            let above = corners[0][axis] + (corners[1][axis] - corners[0][axis]) * right;
            let under = corners[2][axis] + (corners[3][axis] - corners[2][axis]) * right;
            above + (under - above) * below
        })
    }
}

/// The search's own buffers.
#[derive(Debug, Default)]
pub(super) struct Search {
    across: Vec<f32>,
    down: Vec<f32>,
    ways: Vec<[f32; 2]>,
    /// Weights and weighted ways of pixels so far.
    sums: Vec<[f32; 3]>,
    coarser: Field,
}

/// A patch of the first picture.
struct Template {
    values: [f32; AREA],
    across: [f32; AREA],
    down: [f32; AREA],
    /// The inverse of the matrix of slopes, their means set aside; none where slopes go one way only, or not at all.
    inverse: Option<[f32; 3]>,
}

impl Search {
    /// The flow from one pyramid to another, finest level first in both; `noise` is the finest level's.
    pub(super) fn run(&mut self, first: &[Level], second: &[Level], noise: f32, flow: &mut Field) {
        // Four pixels' mean is half as noisy as each.
        let alike = |level: usize| 1.5 * noise * noise * 0.25_f32.powi(i32::try_from(level).unwrap_or(0)) + LEAST;
        let mut coarser = std::mem::take(&mut self.coarser);
        for level in (0..first.len()).rev() {
            let known = (level + 1 < first.len()).then_some(&coarser);
            self.seek_level([&first[level], &second[level]], alike(level), known);
            self.spread([&first[level], &second[level]], flow);
            std::mem::swap(flow, &mut coarser);
        }
        std::mem::swap(flow, &mut coarser);
        self.coarser = coarser;
    }

    /// Finds a way for every patch of a level: once from the top left corner on, where the patches to the left and
    /// above propose theirs, and once back, where those to the right and below do.
    fn seek_level(&mut self, pictures: [&Level; 2], alike: f32, coarser: Option<&Field>) {
        let [first, second] = pictures;
        first.slopes(&mut self.across, &mut self.down);
        let (columns, rows) = (patches(first.width), patches(first.height));
        self.ways.clear();
        self.ways.resize(columns * rows, [0.0; 2]);
        for back in [false, true] {
            for patch in 0..columns * rows {
                let patch = if back { columns * rows - 1 - patch } else { patch };
                let (column, row) = (patch % columns, patch / columns);
                let place = [start(column, first.width), start(row, first.height)];
                let template = Template::of(first, [&self.across, &self.down], place);
                let unmoved = template.unlike(second, place, [0.0; 2]);
                let neighbours = if back {
                    [(column + 1 < columns).then(|| patch + 1), (row + 1 < rows).then(|| patch + columns)]
                } else {
                    [(column > 0).then(|| patch - 1), (row > 0).then(|| patch - columns)]
                };
                if unmoved <= alike * AREA_F {
                    continue;
                }
                let mut best = if back {
                    (self.ways[patch], template.unlike(second, place, self.ways[patch]))
                } else {
                    ([0.0; 2], unmoved)
                };
                let found = best.0;
                let mut propose = |way: [f32; 2]| {
                    if way != best.0 {
                        let unlike = template.unlike(second, place, way);
                        if unlike < best.1 {
                            best = (way, unlike);
                        }
                    }
                };
                for neighbour in neighbours.into_iter().flatten() {
                    propose(self.ways[neighbour]);
                }
                if let (Some(coarser), false) = (coarser, back) {
                    let centre = place.map(|place| (place as f32 + HALF + 0.5) / 2.0 - 0.5);
                    propose(coarser.sample(centre[0], centre[1]).map(|way| 2.0 * way));
                }
                if !back || best.0 != found {
                    best = template.descend(second, place, best);
                }
                self.ways[patch] = best.0;
            }
        }
    }

    /// Gives every pixel the mean way of the patches over it, each by how near it comes to explaining the pixel.
    fn spread(&mut self, pictures: [&Level; 2], flow: &mut Field) {
        let [first, second] = pictures;
        let (columns, rows) = (patches(first.width), patches(first.height));
        self.sums.clear();
        self.sums.resize(first.width * first.height, [0.0; 3]);
        let mut differences = [0.0; AREA];
        for (patch, way) in self.ways.iter().enumerate().take(columns * rows) {
            let place = [start(patch % columns, first.width), start(patch / columns, first.height)];
            let template = values(first, place);
            let mean = differ(&template, second, place, *way, &mut differences);
            for (down, differences) in differences.chunks_exact(PATCH).enumerate().take(first.height - place[1]) {
                let start = (place[1] + down) * first.width + place[0];
                let end = (start + PATCH).min(start - place[0] + first.width);
                for (sums, difference) in self.sums[start..end].iter_mut().zip(differences) {
                    let weight = 1.0 / (difference - mean).abs().max(1.0);
                    sums[0] += weight;
                    sums[1] += weight * way[0];
                    sums[2] += weight * way[1];
                }
            }
        }
        flow.reshape(first.width, first.height);
        for (way, sums) in flow.ways.iter_mut().zip(&self.sums) {
            *way = [sums[1] / sums[0], sums[2] / sums[0]];
        }
    }
}

/// Patches along an axis: every pixel lies in one at least.
fn patches(length: usize) -> usize {
    length.saturating_sub(PATCH).div_ceil(STRIDE) + 1
}

/// Where a patch begins; the last ends at the edge.
fn start(patch: usize, length: usize) -> usize {
    (patch * STRIDE).min(length.saturating_sub(PATCH))
}

/// A patch's own values.
fn values(first: &Level, place: [usize; 2]) -> [f32; AREA] {
    cut(&first.values, first, place)
}

/// A patch of a plane of a level's shape.
fn cut(plane: &[f32], shape: &Level, place: [usize; 2]) -> [f32; AREA] {
    let mut out = [0.0; AREA];
    for (down, out) in out.chunks_exact_mut(PATCH).enumerate() {
        let at = shape.index(place[0], place[1] + down);
        out.copy_from_slice(&plane[at..at + PATCH]);
    }
    out
}

/// What a patch differs by from the second picture a way off, pixel by pixel; returns the mean of that.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "held inside")]
#[inline]
fn differ(template: &[f32; AREA], second: &Level, place: [usize; 2], way: [f32; 2], out: &mut [f32; AREA]) -> f32 {
    let held = |place: usize, way: f32, length: usize| {
        let farthest = (length + 2 * BORDER - PATCH - 2) as f32;
        ((place + BORDER) as f32 + way).clamp(0.0, farthest)
    };
    let (x, y) = (held(place[0], way[0], second.width), held(place[1], way[1], second.height));
    let (column, row) = (x as usize, y as usize);
    let (right, below) = (x - column as f32, y - row as f32);
    let weights = [(1.0 - right) * (1.0 - below), right * (1.0 - below), (1.0 - right) * below, right * below];
    let mut mean = 0.0;
    for (down, (out, template)) in out.chunks_exact_mut(PATCH).zip(template.chunks_exact(PATCH)).enumerate() {
        let at = (row + down) * second.stride + column;
        let (above, under) =
            (&second.values[at..=at + PATCH], &second.values[at + second.stride..=at + second.stride + PATCH]);
        for i in 0..PATCH {
            let there =
                above[i] * weights[0] + above[i + 1] * weights[1] + under[i] * weights[2] + under[i + 1] * weights[3];
            out[i] = there - template[i];
        }
        mean += out.iter().sum::<f32>();
    }
    mean / AREA_F
}

impl Template {
    fn of(first: &Level, slopes: [&[f32]; 2], place: [usize; 2]) -> Self {
        let mut template = Self {
            values: values(first, place),
            across: cut(slopes[0], first, place),
            down: cut(slopes[1], first, place),
            inverse: None,
        };
        let sum = |values: &[f32; AREA]| values.iter().sum::<f32>();
        let product =
            |one: &[f32; AREA], other: &[f32; AREA]| one.iter().zip(other).map(|(one, other)| one * other).sum::<f32>();
        let (across, down) = (sum(&template.across), sum(&template.down));
        let xx = product(&template.across, &template.across) - across * across / AREA_F;
        let xy = product(&template.across, &template.down) - across * down / AREA_F;
        let yy = product(&template.down, &template.down) - down * down / AREA_F;
        let determinant = xx * yy - xy * xy;
        // Where the one slope is a thousandth of the other's, the matrix says nothing along it.
        if determinant > 1e-3 * (xx + yy) * (xx + yy) * 0.25 && xx + yy > LEAST * AREA_F {
            template.inverse = Some([yy / determinant, -xy / determinant, xx / determinant]);
        }
        template
    }

    /// How unlike the second picture is a way off: squares, added up, the mean set aside.
    fn unlike(&self, second: &Level, place: [usize; 2], way: [f32; 2]) -> f32 {
        let mut differences = [0.0; AREA];
        let mean = differ(&self.values, second, place, way, &mut differences);
        squares(&differences, mean)
    }

    /// Goes down from a way for as long as that helps.
    fn descend(&self, second: &Level, place: [usize; 2], from: ([f32; 2], f32)) -> ([f32; 2], f32) {
        let Some([xx, xy, yy]) = self.inverse else { return from };
        let mut differences = [0.0; AREA];
        let (mut best, mut way) = (from, from.0);
        let mut mean = differ(&self.values, second, place, way, &mut differences);
        for _ in 0..STEPS {
            let (mut across, mut down) = (0.0, 0.0);
            for (difference, (slope_across, slope_down)) in differences.iter().zip(self.across.iter().zip(&self.down)) {
                across += (difference - mean) * slope_across;
                down += (difference - mean) * slope_down;
            }
            let step = [xx * across + xy * down, xy * across + yy * down];
            way = [way[0] - step[0], way[1] - step[1]];
            // A patch that runs off by more than its own size has lost its hold.
            if !(way[0] - from.0[0]).hypot(way[1] - from.0[1]).le(&PATCH_F) {
                break;
            }
            mean = differ(&self.values, second, place, way, &mut differences);
            let unlike = squares(&differences, mean);
            if unlike >= best.1 {
                break;
            }
            best = (way, unlike);
            if step[0] * step[0] + step[1] * step[1] < SHORTEST {
                break;
            }
        }
        best
    }
}

fn squares(differences: &[f32; AREA], mean: f32) -> f32 {
    differences.iter().map(|difference| difference * difference).sum::<f32>() - AREA_F * mean * mean
}

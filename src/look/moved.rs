//! What moved from one still to the next, tile by tile, as what a window should go after.
//!
//! Of two small pictures one after the other, each pixel's difference is taken channel by channel, the light's own
//! change apart, and less the mean difference around it: light that changes evenly over some pixels (flicker, a
//! cloud's shadow, the glow of a lamp) leaves little. How much the channels differ from one another counts beside
//! that, for water, leaves and shadows change in light more than in colour. What flashes up white for a still or two
//! (headlights, glints) is marked with all that brightens together with it. `busy` weighs what comes of that.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small pictures"
)]

use std::collections::VecDeque;
use std::rc::Rc;

use super::seen::{LIT, Seen};
use super::tiles::TILE;
use crate::units::SlotIndex;

/// Pixels of the thumbnail around one, itself among them, whose mean difference says what the light did there.
const AROUND: usize = 7;
/// How much brighter than before and after a pixel beside a white flash is, at least, to be a part of it: a root of
/// light.
const BRIGHTENS: f32 = 0.01;
/// How far a flash reaches beyond what is seen of it, in pixels of the thumbnail.
const REACH: usize = 2;
/// Share of a tile's pixels from which on a flash marks it.
const MARKED: f32 = 0.1;
/// What one step of a kept tile means: roots of light, from 0 to 127 of them.
pub(super) const STEP: f32 = 0.002;
/// Set in a kept tile that flashed.
pub(super) const FLASHED: u8 = 0x80;

/// How much every tile changed from a whole still to the next.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Moved {
    pub(super) to: SlotIndex,
    /// Row by row, in units of [`STEP`]; [`FLASHED`] is set beside that.
    pub(super) tiles: Vec<u8>,
}

/// Takes stills one after the other and keeps what moved.
#[derive(Default)]
pub(super) struct Movement {
    recent: VecDeque<Recent>,
    /// The flash of the still before the one in the middle.
    before: Option<Vec<bool>>,
    pub(super) across: usize,
    pub(super) down: usize,
    pub(super) steps: Vec<Moved>,
}

/// A still of which something is still to be told.
#[derive(Clone)]
struct Recent {
    seen: Rc<Seen>,
    /// By what its roots of light are multiplied to be as light as the still's before.
    gain: f32,
    white: Vec<bool>,
    /// Whether the step to it has been told.
    told: bool,
}

impl Movement {
    /// The next still; `brighter` is the logarithm of how much brighter it is than the one before.
    pub(super) fn take(&mut self, seen: &Rc<Seen>, brighter: f64) {
        let size = |seen: &Seen| (seen.glance.thumbnail.width, seen.glance.thumbnail.height);
        if self.recent.back().is_some_and(|last| size(&last.seen) != size(seen)) {
            self.finish();
        }
        let (width, height) = size(seen);
        (self.across, self.down) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let [red, green, blue] = &seen.channels;
        let white = red.iter().zip(green).zip(blue).map(|((r, g), b)| r.max(*g).max(*b) >= LIT.end).collect();
        let gain = (-brighter / 2.0).exp() as f32;
        self.recent.push_back(Recent { seen: Rc::clone(seen), gain, white, told: false });
        if self.recent.len() >= 3 {
            self.tell(self.recent.len() - 3);
        }
        if self.recent.len() > 5 {
            self.recent.pop_front();
        }
    }

    /// Tells what is still to be told, and begins anew.
    pub(super) fn finish(&mut self) {
        for at in 0..self.recent.len() {
            self.tell(at);
        }
        self.recent.clear();
        self.before = None;
    }

    /// The step to the still at `at`, once.
    fn tell(&mut self, at: usize) {
        if std::mem::replace(&mut self.recent[at].told, true) {
            return;
        }
        let flash = self.flash(at);
        if let (Some(before), true) = (&self.before, at > 0) {
            let (earlier, later) = (&self.recent[at - 1], &self.recent[at]);
            let tiles = self.tiles(earlier, later, before, &flash);
            self.steps.push(Moved { to: later.seen.slot, tiles });
        }
        self.before = Some(flash);
    }

    /// Which pixels of a still are part of a white flash: white now, not white in one of the two stills before and in
    /// one of the two after, and whatever brightens together with that.
    fn flash(&self, at: usize) -> Vec<bool> {
        let one = &self.recent[at];
        let sides = [at.saturating_sub(2)..at, at + 1..(at + 3).min(self.recent.len())];
        let mut none = vec![false; one.white.len()];
        if sides.iter().any(std::ops::Range::is_empty) {
            return none;
        }
        let stays = |side: &std::ops::Range<usize>, pixel: usize| side.clone().all(|at| self.recent[at].white[pixel]);
        let seeds: Vec<usize> = (0..one.white.len())
            .filter(|pixel| one.white[*pixel] && !sides.iter().any(|side| stays(side, *pixel)))
            .collect();
        if seeds.is_empty() {
            return none;
        }
        let (width, height) = (one.seen.glance.thumbnail.width, one.seen.glance.thumbnail.height);
        let (before, after) = (&self.recent[at - 1], &self.recent[at + 1]);
        let brightens = |pixel: usize| {
            let own = one.seen.grey[pixel];
            let least = (own * one.gain - before.seen.grey[pixel]).min(own - after.seen.grey[pixel] * after.gain);
            least > BRIGHTENS
        };
        let around = |pixel: usize, far: usize| {
            let (x, y) = (pixel % width, pixel / width);
            let (left, right) = (x.saturating_sub(far), (x + far).min(width - 1));
            (y.saturating_sub(far)..=(y + far).min(height - 1))
                .flat_map(move |y| (left..=right).map(move |x| y * width + x))
        };
        let mut reached = vec![false; none.len()];
        let mut due = seeds;
        due.iter().for_each(|pixel| reached[*pixel] = true);
        while let Some(pixel) = due.pop() {
            for near in around(pixel, 2) {
                if !reached[near] && brightens(near) {
                    reached[near] = true;
                    due.push(near);
                }
            }
        }
        for pixel in (0..reached.len()).filter(|pixel| reached[*pixel]) {
            around(pixel, REACH).for_each(|near| none[near] = true);
        }
        none
    }

    fn tiles(&self, earlier: &Recent, later: &Recent, before: &[bool], flash: &[bool]) -> Vec<u8> {
        let (width, height) = (later.seen.glance.thumbnail.width, later.seen.glance.thumbnail.height);
        let pairs = earlier.seen.channels.iter().zip(&later.seen.channels);
        let channels: Vec<Vec<f32>> = pairs
            .map(|(a, b)| {
                let apart: Vec<f32> = a.iter().zip(b).map(|(a, b)| b * later.gain - a).collect();
                let mean = around(&apart, width, height);
                apart.iter().zip(mean).map(|(apart, mean)| apart - mean).collect()
            })
            .collect();
        let mut sums = vec![(0.0_f32, 0_u16, 0_u16); self.across * self.down];
        for pixel in 0..width * height {
            let [r, g, b] = [0, 1, 2].map(|channel: usize| channels[channel][pixel]);
            let differs = (r.abs() + g.abs() + b.abs()) / 3.0 + (r.max(g).max(b) - r.min(g).min(b));
            let (sum, count, marked) = &mut sums[pixel / width / TILE * self.across + pixel % width / TILE];
            *sum += differs;
            *count += 1;
            *marked += u16::from(before[pixel] || flash[pixel]);
        }
        sums.into_iter()
            .map(|(sum, count, marked)| {
                let count = f32::from(count.max(1));
                let tile = (sum / count / STEP).round().min(127.0) as u8;
                if f32::from(marked) > MARKED * count { tile | FLASHED } else { tile }
            })
            .collect()
    }
}

/// The mean of the square of [`AROUND`] pixels around each pixel, as far as there are any.
fn around(of: &[f32], width: usize, height: usize) -> Vec<f32> {
    let half = AROUND / 2;
    let means = |line: &mut dyn Iterator<Item = f32>, out: &mut Vec<f32>| {
        let mut sums = vec![0.0_f64];
        line.for_each(|value| sums.push(sums[sums.len() - 1] + f64::from(value)));
        let length = sums.len() - 1;
        out.extend((0..length).map(|at| {
            let (from, to) = (at.saturating_sub(half), (at + half + 1).min(length));
            ((sums[to] - sums[from]) / (to - from) as f64) as f32
        }));
    };
    let mut rows = Vec::with_capacity(of.len());
    of.chunks_exact(width.max(1)).for_each(|row| means(&mut row.iter().copied(), &mut rows));
    // Column by column, and back.
    let mut columns = Vec::with_capacity(of.len());
    (0..width).for_each(|x| means(&mut (0..height).map(|y| rows[y * width + x]), &mut columns));
    (0..width * height).map(|at| columns[at % width * height + at / width]).collect()
}

//! What is between two pictures at a moment: the flow carried there (Baker et al. 2011), and how far it is to be
//! trusted.
//!
//! Every pixel of either picture takes its way with it to where it is at that moment; where several come to one place,
//! the one that is most alike at both ends stays. Confidence is lost where nothing comes (what neither picture shows
//! there), where the flows from both pictures say different things (what one of them hides), and where the pictures
//! along the way are no more alike than where they are (what has not moved, and what the flow got wrong).

use super::Unlike;
use std::ops::Range;

use super::level::Level;
use super::search::Field;

/// Lengths over which likeness is measured and confidence is softened, in pixels, odd.
const LIKE: usize = 5;
const SOFT: usize = 5;

/// How much of likeness a pixel of distance from a place costs a way that comes near it, in codes.
const OFF: f32 = 0.2;

/// Flows agree fully within this many pixels plus this share of the way's length, and not at all at twice that.
const AGREE: f32 = 1.5;
const AGREE_BY_LENGTH: f32 = 0.4;

/// The ways at a moment and their confidence.
#[derive(Debug, Default)]
pub(super) struct Moment {
    width: usize,
    height: usize,
    ways: Vec<[f32; 2]>,
    confidence: Vec<f32>,
    /// By row: the pixels outside of which there is no confidence.
    spans: Vec<Range<usize>>,
    /// How unlike the pictures are where they are, along the way kept, and along the one tried.
    unmoved: Vec<f32>,
    kept: Vec<f32>,
    tried: Vec<f32>,
    /// What came to a pixel, and how unlike it is.
    arrived: Vec<Option<[f32; 2]>>,
    unlike: Vec<f32>,
    sums: Vec<f32>,
}

impl Moment {
    /// Works out the ways at a moment from 0 to 1, by the flows from the first picture to the second and back.
    pub(super) fn settle(&mut self, pictures: [&Level; 2], flows: [&Field; 2], apart: Unlike, moment: f32) {
        (self.width, self.height) = (pictures[0].width, pictures[0].height);
        let count = self.width * self.height;
        self.ways.clear();
        self.ways.resize(count, [0.0; 2]);
        self.confidence.clear();
        self.confidence.resize(count, 0.0);
        self.kept.clear();
        self.kept.resize(count, f32::INFINITY);
        self.unlike_along(pictures, apart, moment, |_| [0.0; 2]);
        std::mem::swap(&mut self.unmoved, &mut self.tried);
        for (flow, from_first) in flows.into_iter().zip([true, false]) {
            self.carry(pictures, flow, apart, moment, from_first);
            let arrived = std::mem::take(&mut self.arrived);
            self.unlike_along(pictures, apart, moment, |at| arrived[at].unwrap_or([0.0; 2]));
            for (at, way) in arrived.iter().enumerate() {
                if let Some(way) = way
                    && self.tried[at] < self.kept[at]
                {
                    self.ways[at] = *way;
                    self.kept[at] = self.tried[at];
                }
            }
            self.arrived = arrived;
        }
        let (width, noise) = (self.width, apart.noise);
        for (at, (confidence, way)) in self.confidence.iter_mut().zip(&self.ways).enumerate() {
            if *way == [0.0; 2] {
                continue;
            }
            let gain = (self.unmoved[at] - self.kept[at] - noise) / (0.8 * self.unmoved[at] + noise + 0.5);
            if gain <= 0.0 {
                continue;
            }
            #[expect(clippy::cast_precision_loss, reason = "pixels of a picture")]
            let (x, y) = ((at % width) as f32, (at / width) as f32);
            let there = flows[0].sample(x - moment * way[0], y - moment * way[1]);
            let back = flows[1].sample(x + (1.0 - moment) * way[0], y + (1.0 - moment) * way[1]);
            let off = (there[0] - way[0]).hypot(there[1] - way[1]).max((back[0] + way[0]).hypot(back[1] + way[1]));
            let agreed = (2.0 - off / (AGREE + AGREE_BY_LENGTH * way[0].hypot(way[1]))).clamp(0.0, 1.0);
            *confidence = gain.min(1.0) * agreed;
        }
        mean_around(&mut self.confidence, self.width, SOFT, &mut self.sums);
        self.spans.clear();
        self.spans.extend(self.confidence.chunks_exact(self.width).map(|row| {
            let first = row.iter().position(|confidence| *confidence > 0.0);
            let last = row.iter().rposition(|confidence| *confidence > 0.0);
            first.zip(last).map_or(0..0, |(first, last)| first..last + 1)
        }));
    }

    /// The places of a row, between pixels too, outside of which there is no confidence: none where there is none at
    /// all.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "held inside"
    )]
    pub(super) fn span(&self, y: f32) -> Option<Range<f32>> {
        let row = y.clamp(0.0, (self.height - 1) as f32) as usize;
        let spans = self.spans[row..(row + 2).min(self.height)].iter().filter(|span| !span.is_empty());
        let (first, end) = spans.fold((usize::MAX, 0), |(first, end), span| (first.min(span.start), end.max(span.end)));
        // An edge's confidence goes on beyond it.
        let from = if first == 0 { f32::NEG_INFINITY } else { first as f32 - 1.0 };
        let to = if end == self.width { f32::INFINITY } else { end as f32 };
        (end > 0).then_some(from..to)
    }

    /// How unlike both pictures are along the way that goes through each pixel, into `tried`.
    #[expect(clippy::cast_precision_loss, reason = "pixels of a picture")]
    fn unlike_along(&mut self, pictures: [&Level; 2], apart: Unlike, moment: f32, way: impl Fn(usize) -> [f32; 2]) {
        let [first, second] = pictures;
        self.tried.clear();
        for y in 0..self.height {
            let (one, other) = (first.row(y), second.row(y));
            for x in 0..self.width {
                let way = way(y * self.width + x);
                let difference = if way == [0.0; 2] {
                    one[x] - other[x]
                } else {
                    let (x, y) = (x as f32, y as f32);
                    first.sample(x - moment * way[0], y - moment * way[1])
                        - second.sample(x + (1.0 - moment) * way[0], y + (1.0 - moment) * way[1])
                };
                self.tried.push((difference - apart.lighter).abs());
            }
        }
        mean_around(&mut self.tried, self.width, LIKE, &mut self.sums);
    }

    /// Carries the ways of a picture to the moment, into `arrived`.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "pixels of a picture, held inside"
    )]
    fn carry(&mut self, pictures: [&Level; 2], flow: &Field, apart: Unlike, moment: f32, from_first: bool) {
        let (own, other, gone, sign) = if from_first {
            (pictures[0], pictures[1], moment, 1.0)
        } else {
            (pictures[1], pictures[0], 1.0 - moment, -1.0)
        };
        let count = self.width * self.height;
        self.tried.clear();
        for y in 0..self.height {
            let ways = &flow.ways[y * self.width..(y + 1) * self.width];
            for (x, (here, way)) in own.row(y).iter().zip(ways).enumerate() {
                let there = other.sample(x as f32 + way[0], y as f32 + way[1]);
                self.tried.push((sign * (here - there) - apart.lighter).abs());
            }
        }
        mean_around(&mut self.tried, self.width, LIKE, &mut self.sums);
        self.arrived.clear();
        self.arrived.resize(count, None);
        self.unlike.clear();
        self.unlike.resize(count, f32::INFINITY);
        for (at, way) in flow.ways.iter().enumerate() {
            let (x, y) = ((at % self.width) as f32 + gone * way[0], (at / self.width) as f32 + gone * way[1]);
            let (column, row) = (x.floor(), y.floor());
            for (down, across) in [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)] {
                let (to_x, to_y) = (column + across, row + down);
                if to_x < 0.0 || to_y < 0.0 || to_x >= self.width as f32 || to_y >= self.height as f32 {
                    continue;
                }
                let off = (x - to_x) * (x - to_x) + (y - to_y) * (y - to_y);
                if off >= 1.0 {
                    continue;
                }
                let unlike = self.tried[at] + OFF * off;
                #[expect(clippy::cast_sign_loss, reason = "not below 0")]
                let to = to_y as usize * self.width + to_x as usize;
                if unlike < self.unlike[to] {
                    self.unlike[to] = unlike;
                    self.arrived[to] = Some([sign * way[0], sign * way[1]]);
                }
            }
        }
    }

    /// The way and its confidence at a place, with straight lines between pixels; beyond the edges, theirs.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "held inside"
    )]
    pub(super) fn sample(&self, x: f32, y: f32) -> (f32, f32, f32) {
        let (x, y) = (x.clamp(0.0, (self.width - 1) as f32), y.clamp(0.0, (self.height - 1) as f32));
        let (column, row) = (x as usize, y as usize);
        let (next_column, next_row) = ((column + 1).min(self.width - 1), (row + 1).min(self.height - 1));
        let (right, below) = (x - column as f32, y - row as f32);
        let at = [
            (row * self.width + column, (1.0 - right) * (1.0 - below)),
            (row * self.width + next_column, right * (1.0 - below)),
            (next_row * self.width + column, (1.0 - right) * below),
            (next_row * self.width + next_column, right * below),
        ];
        let confidence = at.iter().map(|(at, weight)| weight * self.confidence[*at]).sum::<f32>();
        // Most of a picture stands still.
        if confidence == 0.0 {
            return (0.0, 0.0, 0.0);
        }
        at.into_iter().fold((0.0, 0.0, confidence), |(u, v, confidence), (at, weight)| {
            let way = self.ways[at];
            (u + weight * way[0], v + weight * way[1], confidence)
        })
    }
}

/// Puts the mean over a square of an odd length in the place of every value; beyond the edges there is nothing.
pub(super) fn mean_around(values: &mut [f32], width: usize, length: usize, sums: &mut Vec<f32>) {
    let (reach, height) = (length / 2, values.len() / width.max(1));
    sums.clear();
    for row in values.chunks_exact(width.max(1)) {
        for x in 0..width {
            let around = &row[x.saturating_sub(reach)..(x + reach + 1).min(width)];
            #[expect(clippy::cast_precision_loss, reason = "a few")]
            sums.push(around.iter().sum::<f32>() / around.len() as f32);
        }
    }
    for y in 0..height {
        let (from, to) = (y.saturating_sub(reach), (y + reach + 1).min(height));
        let out = &mut values[y * width..(y + 1) * width];
        out.fill(0.0);
        for row in sums[from * width..to * width].chunks_exact(width) {
            for (out, sum) in out.iter_mut().zip(row) {
                *out += sum;
            }
        }
        #[expect(clippy::cast_precision_loss, reason = "a few")]
        let share = 1.0 / (to - from) as f32;
        out.iter_mut().for_each(|out| *out *= share);
    }
}

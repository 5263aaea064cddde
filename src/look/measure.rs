//! One small picture to its numbers, its thumbnail and its profiles.
//!
//! ## Decisions
//!
//! - There is no standard for flicker. Ours is the root mean square of each level over the mean of five around it, less
//!   one; a level here is the sum of the steps' medians of pixel ratios.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of pixels of one small picture, and means of codes within their range"
)]

use std::sync::LazyLock;

use crate::measures::{Profiles, Still, Thumbnail, ThumbnailStats};
use crate::picture::{Picture, Samples};

/// Tiles that shifts are measured in: each has a say of its own, so that what moves in some of them is outvoted.
const TILES: [usize; 2] = [4, 3];
/// Luma codes up to here are black.
const BLACK: u8 = 7;
/// Codes from here on, in all channels, are white.
const WHITE: u8 = 250;

/// Linear light of an 8-bit sRGB code (IEC 61966-2-1).
static LIGHT: LazyLock<[f32; 256]> = LazyLock::new(|| {
    std::array::from_fn(|code| {
        let v = code as f64 / 255.0;
        (if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }) as f32
    })
});

/// Measures a picture decoded at one `denominator`-th of its size.
pub(super) fn measure(picture: &Picture, denominator: u32, of: blake3::Hash, modified: i128) -> ThumbnailStats {
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let [red, green, blue] = [0, 1, 2].map(|channel| channel_of(picture, channel));
    let mut sums = Sums::new(width, height, denominator);
    let mut luma = vec![0_u8; width];
    let mut above = vec![0_u8; width];
    for y in 0..height {
        let row = y * width..(y + 1) * width;
        let (red, green, blue) = (&red[row.clone()], &green[row.clone()], &blue[row]);
        for (luma, ((r, g), b)) in luma.iter_mut().zip(red.iter().zip(green).zip(blue)) {
            // BT.601's weights in 65,536ths.
            *luma = ((19_595 * u32::from(*r) + 38_470 * u32::from(*g) + 7_471 * u32::from(*b) + 32_768) >> 16) as u8;
        }
        sums.colours(y, [red, green, blue]);
        sums.luma(y, &luma, (y > 0).then_some(&above));
        std::mem::swap(&mut luma, &mut above);
    }
    let (still, thumbnail, profiles) = sums.finish();
    ThumbnailStats { of, modified, still, thumbnail, profiles }
}

fn channel_of(picture: &Picture, channel: usize) -> &[u8] {
    match &picture.planes[channel].samples {
        Samples::Eight(samples) => samples,
        Samples::Sixteen(_) => unreachable!("small pictures have 8 bits"),
    }
}

/// What grows row by row.
struct Sums {
    width: usize,
    height: usize,
    thumbnail: [usize; 2],
    /// The thumbnail's column of every column.
    column: Vec<usize>,
    light: [Vec<f32>; 3],
    counts: Vec<u32>,
    white: u64,
    histogram: [u64; 256],
    differences: u64,
    profiles: Profiles,
}

impl Sums {
    fn new(width: usize, height: usize, step: u32) -> Self {
        let longer = width.max(height);
        let side = |length: usize| (length * Thumbnail::LONGEST.min(longer)).div_ceil(longer).max(1);
        let thumbnail = [side(width), side(height)];
        let pixels = thumbnail[0] * thumbnail[1];
        let [across, down] = [TILES[0].min(width), TILES[1].min(height)];
        let (columns, rows) = (width / across, height / down);
        let means = vec![0.0; across * down * (columns + rows)];
        Self {
            width,
            height,
            thumbnail,
            column: (0..width).map(|x| x * thumbnail[0] / width).collect(),
            light: std::array::from_fn(|_| vec![0.0; pixels]),
            counts: vec![0; pixels],
            white: 0,
            histogram: [0; 256],
            differences: 0,
            profiles: Profiles { step, across, down, columns, rows, means },
        }
    }

    fn colours(&mut self, y: usize, channels: [&[u8]; 3]) {
        let row = y * self.thumbnail[1] / self.height * self.thumbnail[0];
        for (light, channel) in self.light.iter_mut().zip(channels) {
            let light = &mut light[row..row + self.thumbnail[0]];
            for (code, column) in channel.iter().zip(&self.column) {
                light[*column] += LIGHT[usize::from(*code)];
            }
        }
        for column in &self.column {
            self.counts[row + column] += 1;
        }
        let [red, green, blue] = channels;
        let white = red.iter().zip(green).zip(blue).filter(|((r, g), b)| **r.min(g).min(b) >= WHITE);
        self.white += white.count() as u64;
    }

    fn luma(&mut self, y: usize, luma: &[u8], above: Option<&Vec<u8>>) {
        for code in luma {
            self.histogram[usize::from(*code)] += 1;
        }
        let apart = |a: &[u8], b: &[u8]| a.iter().zip(b).map(|(a, b)| u32::from(a.abs_diff(*b))).sum::<u32>();
        self.differences += u64::from(apart(&luma[1..], &luma[..luma.len() - 1]));
        self.differences += above.map_or(0, |above| u64::from(apart(luma, above)));
        let Profiles { across, down, columns, rows, ref mut means, .. } = self.profiles;
        let tile_row = y / rows;
        if tile_row >= down {
            return;
        }
        for (tile_column, part) in luma.chunks_exact(columns).take(across).enumerate() {
            let means = &mut means[(tile_row * across + tile_column) * (columns + rows)..][..columns + rows];
            let sum: u32 = part.iter().map(|code| u32::from(*code)).sum();
            means[columns + y % rows] = sum as f32 / columns as f32;
            for (mean, code) in means.iter_mut().zip(part) {
                *mean += f32::from(*code) / rows as f32;
            }
        }
    }

    fn finish(self) -> (Still, Thumbnail, Profiles) {
        let pixels = (self.width * self.height) as f64;
        let light: [f64; 3] =
            std::array::from_fn(|channel| self.light[channel].iter().map(|sum| f64::from(*sum)).sum::<f64>() / pixels);
        let codes = |wanted: std::ops::RangeInclusive<u8>| {
            let count: u64 = wanted.map(|code| self.histogram[usize::from(code)]).sum();
            count as f64 / pixels
        };
        let mean =
            self.histogram.iter().enumerate().map(|(code, count)| code as f64 * *count as f64).sum::<f64>() / pixels;
        let neighbours =
            (self.width.saturating_sub(1) * self.height + self.width * self.height.saturating_sub(1)) as f64;
        let still = Still {
            light,
            luminance: 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2],
            code: mean / 255.0,
            median: median(&self.histogram) / 255.0,
            black: codes(0..=BLACK),
            white: self.white as f64 / pixels,
            sharpness: self.differences as f64 / neighbours.max(1.0) / mean.max(1.0),
        };
        let counts = &self.counts;
        let roots = self.light.map(|light| {
            let mean = |(sum, count): (&f32, &u32)| (sum / *count as f32).sqrt();
            light.iter().zip(counts).map(|pixel| (mean(pixel) * 65_535.0).round().clamp(0.0, 65_535.0) as u16).collect()
        });
        (still, Thumbnail { width: self.thumbnail[0], height: self.thumbnail[1], roots }, self.profiles)
    }
}

/// The code that half of the pixels lie below, by straight lines between codes.
fn median(histogram: &[u64; 256]) -> f64 {
    let half = histogram.iter().sum::<u64>() as f64 / 2.0;
    let mut below = 0.0;
    for (code, count) in histogram.iter().enumerate() {
        let count = *count as f64;
        if below + count >= half && count > 0.0 {
            return code as f64 - 0.5 + (half - below) / count;
        }
        below += count;
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Model, Plane, Profile, Siting};
    use crate::units::Size;

    fn picture(width: u32, height: u32, rgb: impl Fn(u32, u32) -> [u8; 3]) -> Picture {
        let plane = |channel: usize| Plane {
            samples: Samples::Eight((0..width * height).map(|at| rgb(at % width, at / width)[channel]).collect()),
            width,
            height,
            stride: width as usize,
            siting: Siting::FULL,
        };
        let size = Size::new(width, height);
        let planes = (0..3).map(plane).collect();
        Picture { size, model: Model::Rgb, planes, profile: Profile::Srgb, first_row: 0, end_row: height }
    }

    fn measured(width: u32, height: u32, rgb: impl Fn(u32, u32) -> [u8; 3]) -> ThumbnailStats {
        measure(&picture(width, height, rgb), 1, blake3::hash(b""), 0)
    }

    // Code 188 is 0.5029 of the light of white by IEC 61966-2-1 (JOB 0.6: half of white is 188 ± 1).
    #[test]
    fn an_even_grey_measures_what_its_code_means() {
        let ThumbnailStats { still, thumbnail, .. } = measured(300, 200, |_, _| [188; 3]);
        for light in still.light {
            assert!((light - 0.502_886).abs() < 1e-5, "{light}");
        }
        assert!((still.code - 188.0 / 255.0).abs() < 1e-9 && (still.median - 188.0 / 255.0).abs() < 1e-9);
        assert_eq!((still.black, still.white, still.sharpness), (0.0, 0.0, 0.0));
        assert_eq!((thumbnail.width, thumbnail.height), (128, 86));
        assert!((thumbnail.light(1, 5000) - 0.502_886).abs() < 1e-4);
    }

    #[test]
    fn shares_of_black_and_white_and_colours_are_counted() {
        let of = |x: u32, _: u32| match x {
            0..25 => [3, 5, 2],
            25..35 => [250, 255, 252],
            35..50 => [255, 255, 100],
            _ => [200, 40, 40],
        };
        let still = measured(100, 60, of).still;
        assert_eq!((still.black, still.white), (0.25, 0.10));
        assert!(still.light[0] > still.light[1] && still.light[1] > still.light[2]);
    }

    #[test]
    fn a_blurred_picture_is_less_sharp_and_a_darker_one_is_not() {
        let wave = |period: f64, gain: f64| {
            move |x: u32, _: u32| {
                [(gain * (100.0 + 60.0 * (f64::from(x) * std::f64::consts::TAU / period).sin())) as u8; 3]
            }
        };
        let [sharp, dark, soft] =
            [wave(6.0, 1.0), wave(6.0, 0.5), wave(18.0, 1.0)].map(|of| measured(180, 90, of).still.sharpness);
        assert!((dark / sharp - 1.0).abs() < 0.03, "{dark} of {sharp}");
        assert!((soft / sharp - 1.0 / 3.0).abs() < 0.06, "{soft} of {sharp}");
    }
}

//! How much brighter one small picture is than another, whatever moves in them.

use super::{Cells, LUMINANCE, Region};

/// Cells darker or brighter than this share of white say nothing: noise and rounding below, clipped pixels among them
/// above.
const DARKEST: f64 = 0.003;
const BRIGHTEST: f64 = 0.85;
/// More cells than this are averaged by fours: it costs a quarter, and tells as much.
const ENOUGH: usize = 6000;
/// Minimum number, and share, of cells that two pictures have in common.
const FEWEST: usize = 12;
const LEAST_PART: f64 = 0.05;
/// Where the middle half of the ratios spreads by more than this (as a standard deviation, in logarithms), the pictures
/// do not show the same.
const UNLIKE: f64 = 0.6;
/// Tukey's constant: ratios more than this many standard deviations from the middle do not count (Beaton and Tukey
/// 1974; 4.685 is 95 % efficient on a normal distribution).
const BIWEIGHT: f64 = 4.685;

/// Logarithms of light of a still's cells within the region: luminance, red, green, blue; NaN where they say nothing.
#[derive(Debug, Clone)]
pub(super) struct Logs([Vec<f32>; 4]);

/// Natural logarithms of how much brighter a picture is than another: luminance, red, green, blue.
pub(super) type Ratio = [f64; 4];

impl Logs {
    pub(super) fn of(cells: &Cells, region: Region) -> Self {
        let columns = side(cells.across, region.x, region.width);
        let rows = side(cells.down, region.y, region.height);
        let step = if columns.len() * rows.len() > ENOUGH { 2 } else { 1 };
        let mut logs: [Vec<f32>; 4] = Default::default();
        for y in rows.step_by(step) {
            for x in columns.clone().step_by(step) {
                let (right, below) = ((x + step).min(cells.across), (y + step).min(cells.down));
                let all = || (y..below).flat_map(|y| (x..right).map(move |x| y * cells.across + x));
                // A hidden cell silences those it would be averaged with.
                if all().any(|at| cells.roots.iter().all(|roots| roots[at] == 0)) {
                    logs.iter_mut().for_each(|log| log.push(f32::NAN));
                    continue;
                }
                let light =
                    cells.roots.each_ref().map(|roots| mean(all().map(|at| (f64::from(roots[at]) / 65_535.0).powi(2))));
                let luminance = light.iter().zip(LUMINANCE).map(|(light, weight)| light * weight).sum();
                let all = [luminance, light[0], light[1], light[2]];
                for (log, light) in logs.iter_mut().zip(all) {
                    #[expect(clippy::cast_possible_truncation, reason = "seven digits do")]
                    log.push(if (DARKEST..=BRIGHTEST).contains(&light) { light.ln() as f32 } else { f32::NAN });
                }
            }
        }
        Self(logs)
    }
}

/// Cells whose centres lie within a stretch; one where the stretch is narrower than a cell.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cells of a picture"
)]
fn side(cells: usize, from: f64, length: f64) -> std::ops::Range<usize> {
    let centre = |edge: f64| (edge * cells as f64 + 0.5).floor().max(0.0) as usize;
    let first = centre(from).min(cells.saturating_sub(1));
    first..centre(from + length).clamp(first + 1, cells.max(first + 1))
}

#[expect(clippy::cast_precision_loss, reason = "four cells")]
fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0_usize), |(sum, count), value| (sum + value, count + 1));
    sum / count as f64
}

/// How much brighter `after` is: per channel the median of the cells' ratios, made finer by Tukey's biweight around it,
/// so that what moves, over less than half of the picture, has no say. None where the two cannot be compared. A channel
/// that is too dark or too bright by itself goes with the luminance.
pub(super) fn compare(before: &Logs, after: &Logs, ratios: &mut Vec<f32>) -> Option<Ratio> {
    let mut middle = |channel: usize| {
        ratios.clear();
        let both = before.0[channel].iter().zip(&after.0[channel]).map(|(before, after)| after - before);
        ratios.extend(both.filter(|ratio| !ratio.is_nan()));
        centre(ratios, before.0[channel].len())
    };
    let luminance = middle(0)?;
    let mut ratio = [luminance; 4];
    for (channel, ratio) in ratio.iter_mut().enumerate().skip(1) {
        *ratio = middle(channel).unwrap_or(luminance);
    }
    Some(ratio)
}

#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "cells of a picture, and seven digits of them"
)]
fn centre(ratios: &mut [f32], cells: usize) -> Option<f64> {
    if ratios.len() < FEWEST.min(cells) || (ratios.len() as f64) < LEAST_PART * cells as f64 {
        return None;
    }
    let median = f64::from(median(ratios)?);
    let mut apart: Vec<f32> = ratios.iter().map(|ratio| (f64::from(*ratio) - median).abs() as f32).collect();
    // 1.4826: from the median absolute deviation of a normal distribution to its standard deviation.
    let spread = 1.4826 * f64::from(self::median(&mut apart)?);
    if spread > UNLIKE {
        return None;
    }
    let reach = BIWEIGHT * spread.max(1e-6);
    let mut centre = median;
    for _ in 0..4 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for ratio in ratios.iter() {
            let apart = f64::from(*ratio) - centre;
            let inside = (1.0 - (apart / reach).powi(2)).max(0.0);
            sum += inside * inside * apart;
            weights += inside * inside;
        }
        if weights <= 0.0 {
            break;
        }
        centre += sum / weights;
    }
    Some(centre)
}

/// The middle value, or the upper of the two.
fn median(values: &mut [f32]) -> Option<f32> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

//! A still's block means ([`crate::integrity`]), as its decoder gives them.

use crate::ffi::jpeg::{DcPlanes, Space};
use crate::integrity::{Means, Plane, SCALE};
use crate::picture::{self, Model, Samples};

/// Pixels a side of a block.
const BLOCK: usize = 8;
/// What a DC coefficient of 0 stands for: mid grey.
const GREY: i32 = 128;

/// Of a JPEG: by its DC coefficients, which are eight times a block's mean less mid grey (ITU-T T.81, A.3.3), so never clipped.
pub(super) fn of_dc((units, planes): DcPlanes, restart: usize, space: Space) -> Means {
    let value = |step: i32| {
        move |coefficient: i16| {
            let code = i32::from(coefficient).saturating_mul(step).saturating_add(GREY * i32::from(SCALE));
            i16::try_from(code.clamp(i32::from(i16::MIN), i32::from(i16::MAX))).unwrap_or_default()
        }
    };
    let planes = planes.into_iter().map(|plane| Plane {
        values: plane.coefficients.into_iter().map(value(plane.step)).collect(),
        blocks_across: plane.blocks[0],
        blocks_down: plane.blocks[1],
    });
    let has_luma = space == Space::YCbCr;
    Means { planes: planes.collect(), across: units[0], down: units[1], restart, has_luma }
}

/// The restart interval that a JPEG's header gives, in units (ITU-T T.81, B.2.4.4); 0 for none.
pub(super) fn restart_interval(file: &[u8]) -> usize {
    let interval = crate::ffi::jpeg::segments(file).filter(|(code, _)| *code == 0xDD).last();
    interval.and_then(|(_, body)| body.first_chunk()).map_or(0, |bytes| usize::from(u16::from_be_bytes(*bytes)))
}

/// Of planes that are whole, of one sample for each square of `denominator` pixels a side.
pub(super) fn of_planes(planes: &[picture::Plane], model: Model, denominator: u32) -> Means {
    let block = (BLOCK / denominator as usize).max(1);
    let Some(first) = planes.first() else { return Means::default() };
    let coarsest = |of: fn(&picture::Plane) -> u32| planes.iter().map(of).min().unwrap_or(1).max(1);
    let (narrow, low) = (coarsest(|plane| plane.width), coarsest(|plane| plane.height));
    let (across, down) = ((narrow as usize).div_ceil(block), (low as usize).div_ceil(block));
    let planes = planes.iter().map(|plane| {
        let of = |side: u32, least: u32| (side.div_ceil(least)).max(1) as usize;
        let (blocks_across, blocks_down) = (of(plane.width, narrow), of(plane.height, low));
        let (columns, rows) = (across * blocks_across, down * blocks_down);
        let mut values = Vec::with_capacity(columns * rows);
        let mut sums = vec![0_u64; columns];
        for row in 0..rows {
            sums.fill(0);
            let bottom = plane.height as usize;
            let lines = (row * block).min(bottom - 1)..((row + 1) * block).min(bottom).max((row * block).min(bottom - 1) + 1);
            let count = lines.len() as u64;
            for line in lines {
                let line = line * plane.stride..line * plane.stride + plane.width as usize;
                match &plane.samples {
                    Samples::Eight(samples) => add(&mut sums, samples[line].iter().map(|code| u64::from(*code) * 257), block),
                    Samples::Sixteen(samples) => add(&mut sums, samples[line].iter().map(|code| u64::from(*code)), block),
                }
            }
            for (column, sum) in sums.iter().enumerate() {
                let from = (column * block).min(plane.width as usize - 1);
                let wide = (((column + 1) * block).min(plane.width as usize).max(from + 1) - from) as u64;
                let sum = if column * block < plane.width as usize { *sum } else { sums[(plane.width as usize - 1) / block] };
                // The last column that holds samples stands for those after it.
                let wide =
                    if column * block < plane.width as usize { wide } else { ((plane.width as usize - 1) % block + 1) as u64 };
                let code = sum * u64::from(SCALE.unsigned_abs()) / (257 * count * wide).max(1);
                values.push(i16::try_from(code).unwrap_or(i16::MAX));
            }
        }
        Plane { values, blocks_across, blocks_down }
    });
    let planes: Vec<Plane> = planes.collect();
    let has_luma = matches!(model, Model::YCbCr601 | Model::Video(_)) && first.width > 0;
    Means { planes, across, down, restart: 0, has_luma }
}

fn add(sums: &mut [u64], samples: impl Iterator<Item = u64>, block: usize) {
    for (at, sample) in samples.enumerate() {
        sums[at / block] += sample;
    }
}

//! A still's block means ([`crate::integrity`]), as its decoder gives them.

use std::ops::Range;

use crate::ffi::jpeg::{self, DcPlanes, Space};
use crate::integrity::{Means, Plane, SCALE};
use crate::picture::{self, Model, Samples};
use crate::shoot::Format;
use crate::units::Size;

/// Pixels a side of a block.
const BLOCK: usize = 8;
/// What a DC coefficient of 0 stands for: mid grey.
const GREY: i32 = 128;

/// Of a JPEG: by its DC coefficients, which are eight times a block's mean less mid grey (ITU-T T.81, A.3.3), so never
/// clipped.
pub(super) fn of_dc((units, planes): DcPlanes, restart: usize, space: Space) -> Means {
    let value = |step: i32, coefficient: i16| {
        let code = i32::from(coefficient).saturating_mul(step).saturating_add(GREY * i32::from(SCALE));
        i16::try_from(code.clamp(i32::from(i16::MIN), i32::from(i16::MAX))).unwrap_or_default()
    };
    let planes = planes.into_iter().map(|plane| Plane {
        values: plane.coefficients.into_iter().map(|coefficient| value(plane.step, coefficient)).collect(),
        blocks_across: plane.blocks[0],
        blocks_down: plane.blocks[1],
    });
    let has_luma = space == Space::YCbCr;
    Means { planes: planes.collect(), across: units[0], down: units[1], restart, has_luma, tile: None }
}

/// The restart interval that a JPEG's header gives, in units (ITU-T T.81, B.2.4.4); 0 for none.
pub(super) fn restart_interval(file: &[u8]) -> usize {
    let interval = jpeg::segments(file).filter(|(code, _)| *code == 0xDD).last();
    interval.and_then(|(_, body)| body.first_chunk()).map_or(0, |bytes| usize::from(u16::from_be_bytes(*bytes)))
}

/// Pixels a side of what a codec codes at a time, where it predicts it from what lies beside it: in HEVC and AV1
/// squares of 64 as encoders choose them nearly always (ITU-T H.265, 6.5.1; AV1, 5.11.1), in VP8 macroblocks of 16 (RFC
/// 6386, 2).
fn coded(format: Format) -> Option<usize> {
    match format {
        Format::Heic | Format::Avif => Some(64),
        Format::Webp => Some(16),
        Format::Jpeg | Format::Png | Format::Tiff | Format::Frame => None,
    }
}

/// Of the planes of a whole picture, as [`of_planes`] gives them, in units of the picture's own codec. Where it was
/// coded in tiles, `tile` is their size.
pub(super) fn of_picture(
    planes: &[picture::Plane],
    model: Model,
    denominator: u32,
    format: Format,
    tile: Option<Size>,
) -> Means {
    let Some(pixels) = coded(format) else { return of_planes(planes, model, denominator, 1) };
    let widths = planes.iter().map(|plane| plane.width);
    let coarsest = widths.clone().max().unwrap_or(1).div_ceil(widths.min().unwrap_or(1).max(1)) as usize;
    let means = of_planes(planes, model, denominator, (pixels / BLOCK / coarsest).max(1));
    // A tile that ends within a unit is as good as none.
    let tile = tile.map(|tile| [tile.width, tile.height].map(|side| side as usize));
    let tile = match tile {
        None => Some([means.across, means.down]),
        Some(sides) => {
            sides.iter().all(|side| *side > 0 && side.is_multiple_of(pixels)).then(|| sides.map(|side| side / pixels))
        }
    };
    Means { tile, ..means }
}

/// Of planes that are whole, of one sample for each square of `denominator` pixels a side. A unit is as many blocks of
/// each plane as lie over `side` of the coarsest, across and down.
fn of_planes(planes: &[picture::Plane], model: Model, denominator: u32, side: usize) -> Means {
    let block = (BLOCK / denominator as usize).max(1);
    let narrowest = planes.iter().map(|plane| plane.width).min().unwrap_or(0);
    let lowest = planes.iter().map(|plane| plane.height).min().unwrap_or(0);
    if narrowest == 0 || lowest == 0 {
        return Means::default();
    }
    let (across, down) = ((narrowest as usize).div_ceil(block * side), (lowest as usize).div_ceil(block * side));
    let of_plane = |plane: &picture::Plane| {
        let (blocks_across, blocks_down) =
            (side * plane.width.div_ceil(narrowest) as usize, side * plane.height.div_ceil(lowest) as usize);
        let columns: Vec<Range<usize>> = blocks(across * blocks_across, block, plane.width as usize).collect();
        let rows = blocks(down * blocks_down, block, plane.height as usize);
        let values =
            rows.flat_map(|rows| columns.iter().map(move |columns| mean(plane, rows.clone(), columns.clone())));
        Plane { values: values.collect(), blocks_across, blocks_down }
    };
    let has_luma = matches!(model, Model::YCbCr601 | Model::Video(_));
    Means { planes: planes.iter().map(of_plane).collect(), across, down, restart: 0, has_luma, tile: None }
}

/// The samples of each of `count` blocks along a side of `length`: those beyond it are the last that is there.
fn blocks(count: usize, block: usize, length: usize) -> impl Iterator<Item = Range<usize>> {
    let last = (length - 1) / block;
    (0..count).map(move |at| {
        let from = at.min(last) * block;
        from..(from + block).min(length)
    })
}

/// The mean of some samples, on [`Plane`]'s scale.
fn mean(plane: &picture::Plane, rows: Range<usize>, columns: Range<usize>) -> i16 {
    let count = (rows.len() * columns.len()) as u64;
    let lines = rows.map(|row| row * plane.stride + columns.start..row * plane.stride + columns.end);
    // 8 bits on the scale of 16 first.
    let sum: u64 = match &plane.samples {
        Samples::Eight(samples) => {
            257 * lines.flat_map(|line| &samples[line]).map(|code| u64::from(*code)).sum::<u64>()
        }
        Samples::Sixteen(samples) => lines.flat_map(|line| &samples[line]).map(|code| u64::from(*code)).sum(),
    };
    i16::try_from(sum * u64::from(SCALE.unsigned_abs()) / (257 * count)).unwrap_or(i16::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Siting;

    fn plane(width: u32, height: u32, code: impl Fn(u32, u32) -> u8) -> picture::Plane {
        let stride = width as usize + 3;
        let samples = (0..height)
            .flat_map(|y| (0..width + 3).map(move |x| (x, y)))
            .map(|(x, y)| if x < width { code(x, y) } else { 9 });
        picture::Plane { samples: Samples::Eight(samples.collect()), width, height, stride, siting: Siting::FULL }
    }

    #[test]
    fn blocks_hold_the_means_of_their_samples_to_the_edges() {
        let luma = plane(20, 18, |x, y| {
            if x < 8 && y < 8 {
                80
            } else if x < 16 {
                40
            } else {
                200
            }
        });
        let chroma = plane(10, 9, |_, _| 100);
        let means = of_planes(&[luma, chroma.clone(), chroma], Model::YCbCr601, 1, 1);
        assert_eq!((means.across, means.down, means.restart, means.has_luma), (2, 2, 0, true));
        let [luma, blue, _] = &means.planes[..] else { panic!() };
        assert_eq!((luma.blocks_across, luma.blocks_down, blue.blocks_across), (2, 2, 1));
        // Four across: the third has four columns of samples, and the fourth, which has none, stands for the same.
        assert_eq!(luma.values[..4], [640, 320, 1600, 1600]);
        assert_eq!(luma.values[12..], [320, 320, 1600, 1600]);
        assert_eq!(blue.values, [800; 4]);
    }
}

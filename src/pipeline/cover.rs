//! Hides areas of a decoded still before anything is resampled: what a kernel finds there afterwards is the cover's
//! own.

use std::ops::Range;

use crate::picture::{Model, Picture, Plane, Samples};
use crate::plan::CoveredArea;
use crate::shot::CoverWith;

/// Areas at least this many pixels long are blurred to two cells along that side, shorter ones to one: a cell is never
/// a pixel or two that could be read.
const TWO_CELLS: u32 = 16;

/// Samples around a plane's part of an area, where it has less than every other of a side's: the file's blocks are
/// larger than what the area was grown by, and reach seven samples further at most. Fewer where the still is decoded
/// small.
const SPARSE: f64 = 7.0;

/// Hides the areas, in their order. One whose rows were not all decoded is filled whatever it asks for: no frame shows
/// it.
pub fn cover(picture: &mut Picture, areas: &[CoveredArea]) {
    let (model, held) = (picture.model, picture.first_row..picture.end_row);
    // From one sample of luma to the next: more than a pixel where the still is decoded small.
    let luma = picture.planes.first().map_or([1.0; 2], |luma| [luma.siting.step_x, luma.siting.step_y]);
    for area in areas {
        let whole = held.start <= area.y && area.y + area.height <= held.end;
        for (index, plane) in picture.planes.iter_mut().enumerate() {
            let (columns, rows) = part(area, plane, luma);
            let cells = match area.with {
                CoverWith::Blur if whole => {
                    Some([area.width, area.height].map(|side| if side < TWO_CELLS { 1 } else { 2 }))
                }
                CoverWith::Blur | CoverWith::Fill => None,
            };
            let (stride, eight, sixteen) = (plane.stride, grey(model, index, false), grey(model, index, true));
            match &mut plane.samples {
                Samples::Eight(samples) => {
                    hide(samples, stride, columns, rows, cells, u8::try_from(eight).unwrap_or(128))
                }
                Samples::Sixteen(samples) => hide(samples, stride, columns, rows, cells, sixteen),
            }
        }
    }
}

/// Extends rows until every area that they touch is whole in them: a blur depends on its whole area.
pub(super) fn with_whole_areas(mut rows: Range<u32>, areas: &[CoveredArea]) -> Range<u32> {
    loop {
        let touched = areas.iter().map(CoveredArea::rows).filter(|area| area.start < rows.end && rows.start < area.end);
        let grown = touched.fold(rows.clone(), |all, area| all.start.min(area.start)..all.end.max(area.end));
        if grown == rows {
            return rows;
        }
        rows = grown;
    }
}

/// The samples of a plane that have any part in an area: columns and rows. A sample stands for the pixels half a step
/// around it. `luma` is the step of luma's own.
fn part(area: &CoveredArea, plane: &Plane, luma: [f64; 2]) -> (Range<usize>, Range<usize>) {
    let axis = |start: u32, length: u32, origin: f64, [step, luma]: [f64; 2], count: u32| {
        let sample = |pixel: f64| (pixel - origin) / step + 0.5;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seven at most")]
        let spare = if step > 2.0 * luma { (SPARSE / luma).ceil() as usize } else { 0 };
        let (low, high) = (sample(f64::from(start)) + 1e-9, sample(f64::from(start + length)) - 1e-9);
        let count = count as usize;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "positions among a plane's samples"
        )]
        let (low, high) = (low.floor().max(0.0) as usize, high.ceil().max(0.0) as usize);
        low.saturating_sub(spare).min(count)..(high + spare).min(count)
    };
    let sits = plane.siting;
    let columns = axis(area.x, area.width, sits.origin_x, [sits.step_x, luma[0]], plane.width);
    (columns, axis(area.y, area.height, sits.origin_y, [sits.step_y, luma[1]], plane.height))
}

/// The code of mid grey in a plane.
fn grey(model: Model, plane: usize, deep: bool) -> u16 {
    match model {
        // Limited range: half of 219 steps above 16.
        Model::Video(coding) => {
            let code = if plane == 0 && !coding.full_range { 126 } else { 128 };
            if deep { code << 8 } else { code }
        }
        Model::YCbCr601 if deep => 128 << 8,
        Model::Rgb | Model::Grey if deep => 128 * 257,
        Model::YCbCr601 | Model::Rgb | Model::Grey => 128,
    }
}

/// A sample that can be averaged.
trait Sample: Copy + Into<u64> {
    /// From a value that lies between samples.
    fn rounded(value: f64) -> Self;
}

impl Sample for u8 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a float saturates")]
    fn rounded(value: f64) -> Self {
        value.round() as Self
    }
}

impl Sample for u16 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a float saturates")]
    fn rounded(value: f64) -> Self {
        value.round() as Self
    }
}

/// Overwrites samples by `fill`, or by the means of so many cells across and down, blended evenly from cell to cell: of
/// what was there no more is left than those means, rounded to the plane's own codes.
fn hide<T: Sample>(
    samples: &mut [T],
    stride: usize,
    columns: Range<usize>,
    rows: Range<usize>,
    cells: Option<[usize; 2]>,
    fill: T,
) {
    if columns.is_empty() || rows.is_empty() {
        return;
    }
    let Some([across, down]) = cells else {
        for row in rows {
            samples[row * stride..][columns.clone()].fill(fill);
        }
        return;
    };
    let cell = |range: &Range<usize>, index: usize, of: usize| {
        let length = range.len();
        let (start, end) = (index * length / of, ((index + 1) * length / of).max(index * length / of + 1));
        range.start + start..range.start + end.min(length)
    };
    let mut means = [[0.0; 2]; 2];
    for (y, line) in means.iter_mut().enumerate() {
        for (x, mean) in line.iter_mut().enumerate() {
            let (columns, rows) = (cell(&columns, x.min(across - 1), across), cell(&rows, y.min(down - 1), down));
            let count = (columns.len() * rows.len()).max(1) as u64;
            let sum: u64 =
                rows.flat_map(|row| &samples[row * stride..][columns.clone()]).map(|sample| (*sample).into()).sum();
            #[expect(clippy::cast_precision_loss, reason = "a code")]
            let rounded = ((sum + count / 2) / count) as f64;
            *mean = rounded;
        }
    }
    // From the first cell's middle, a quarter of the way, to the second's.
    #[expect(clippy::cast_precision_loss, reason = "samples of a still's side")]
    let gone = |index: usize, length: usize| (((index as f64 + 0.5) / length as f64 - 0.25) * 2.0).clamp(0.0, 1.0);
    for (y, row) in rows.clone().enumerate() {
        let down = gone(y, rows.len());
        let [left, right] = [0, 1].map(|x| means[0][x] + (means[1][x] - means[0][x]) * down);
        for (x, sample) in samples[row * stride..][columns.clone()].iter_mut().enumerate() {
            *sample = T::rounded(left + (right - left) * gone(x, columns.len()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Profile, Siting};
    use crate::units::Size;

    const SIZE: Size = Size { width: 64, height: 48 };

    /// A 4:2:0 picture; `code` gives the sample of a plane, column and row.
    fn picture(code: impl Fn(usize, u32, u32) -> u8) -> Picture {
        let half = Siting { step_x: 2.0, step_y: 2.0, origin_x: 1.0, origin_y: 1.0 };
        let plane = |(index, siting): (usize, Siting)| {
            let (width, height) = if index == 0 { (64, 48) } else { (32, 24) };
            let samples =
                (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| code(index, x, y)).collect();
            Plane { samples: Samples::Eight(samples), width, height, stride: width as usize, siting }
        };
        let planes = [Siting::FULL, half, half].into_iter().enumerate().map(plane).collect();
        Picture { size: SIZE, model: Model::YCbCr601, planes, profile: Profile::Srgb, first_row: 0, end_row: 48 }
    }

    fn area(x: u32, y: u32, width: u32, height: u32, with: CoverWith) -> CoveredArea {
        CoveredArea { cover: 0, x, y, width, height, with }
    }

    fn samples(picture: &Picture) -> Vec<Vec<u8>> {
        let bytes = |plane: &Plane| match &plane.samples {
            Samples::Eight(samples) => samples.clone(),
            Samples::Sixteen(_) => panic!("8 bits went in"),
        };
        picture.planes.iter().map(bytes).collect()
    }

    fn noise(seed: u32) -> impl Fn(usize, u32, u32) -> u8 {
        move |plane, x, y| {
            let mixed =
                (seed ^ x.wrapping_mul(0x9E37_79B9) ^ y.wrapping_mul(0x85EB_CA6B) ^ u32::try_from(plane).unwrap())
                    .wrapping_mul(0xC2B2_AE35);
            u8::try_from(mixed >> 24).unwrap()
        }
    }

    #[test]
    fn a_fill_leaves_mid_grey_and_every_sample_outside_as_it_was() {
        let before = samples(&picture(noise(1)));
        let mut covered = picture(noise(1));
        cover(&mut covered, &[area(11, 7, 20, 13, CoverWith::Fill)]);
        for (index, (before, after)) in before.iter().zip(samples(&covered)).enumerate() {
            // Columns and rows of a subsampled plane that hold any of the pixels.
            let (columns, rows, width) = if index == 0 { (11..31, 7..20, 64) } else { (5..16, 3..10, 32) };
            for (at, (before, after)) in before.iter().zip(after).enumerate() {
                let inside = columns.contains(&(at % width)) && rows.contains(&(at / width));
                assert_eq!(after, if inside { 128 } else { *before }, "plane {index}, sample {at}");
            }
        }
    }

    #[test]
    fn a_blur_is_the_same_for_pictures_whose_quarters_have_the_same_means_and_differs_where_they_differ() {
        // The second picture has each quarter's samples in the opposite order.
        let swapped = |plane: usize, x: u32, y: u32| {
            let (left, top, width, height) = if plane == 0 { (16, 8, 16, 8) } else { (8, 4, 8, 4) };
            if !(left..left + 2 * width).contains(&x) || !(top..top + 2 * height).contains(&y) {
                return noise(1)(plane, x, y);
            }
            let opposite = |at: u32, start: u32, length: u32| {
                let cell = start + (at - start) / length * length;
                cell + length - 1 - (at - cell)
            };
            noise(1)(plane, opposite(x, left, width), opposite(y, top, height))
        };
        let [mut one, mut other, mut third] =
            [picture(noise(1)), picture(swapped), picture(|_, x, _| if x < 24 { 20 } else { 99 })];
        assert_ne!(samples(&one), samples(&other));
        for picture in [&mut one, &mut other, &mut third] {
            cover(picture, &[area(16, 8, 32, 16, CoverWith::Blur)]);
        }
        assert_eq!(samples(&one), samples(&other));
        assert_ne!(samples(&one), samples(&third));
        // Flat in its corners, and even in between.
        let row = &samples(&third)[0][64 * 9 + 16..][..32];
        assert_eq!((row[0], row[31]), (60, 99));
        assert!(row.windows(2).all(|pair| pair[1] >= pair[0]));
    }

    #[test]
    fn a_blur_whose_rows_were_not_decoded_is_filled_and_rows_asked_for_take_in_all_that_they_touch() {
        let mut covered = picture(noise(3));
        covered.first_row = 10;
        cover(&mut covered, &[area(16, 8, 32, 16, CoverWith::Blur)]);
        assert_eq!(samples(&covered)[0][64 * 12 + 20], 128);
        let areas = [
            area(0, 8, 4, 10, CoverWith::Fill),
            area(0, 15, 4, 10, CoverWith::Blur),
            area(0, 40, 4, 4, CoverWith::Fill),
        ];
        assert_eq!(with_whole_areas(20..30, &areas), 8..30);
        assert_eq!(with_whole_areas(26..30, &areas), 26..30);
    }
}

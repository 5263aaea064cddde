//! Planes of fewer samples: means of squares, in place.

use std::ops::Range;

use crate::picture::{Plane, Samples};

/// Makes every sample of all planes the mean of a square of `by` by `by`.
pub(super) fn all(planes: &mut [Plane], by: u32) {
    planes.iter_mut().for_each(|one| plane(one, by));
}

/// Makes every sample of a plane the mean of a square of `by` by `by`, rounded to the nearest code, halves to even
/// ones, so that nothing gets brighter on the whole. At the right and lower edges squares are cut short, and sit where
/// whole ones would.
pub(super) fn plane(plane: &mut Plane, by: u32) {
    if by <= 1 {
        return;
    }
    let (size, stride) = ([plane.width as usize, plane.height as usize], plane.stride);
    match &mut plane.samples {
        Samples::Eight(samples) => shrink(samples, size, stride, by as usize),
        Samples::Sixteen(samples) => shrink(samples, size, stride, by as usize),
    }
    (plane.width, plane.height) = (plane.width.div_ceil(by), plane.height.div_ceil(by));
    plane.stride = plane.width as usize;
    plane.siting = plane.siting.of_means(by);
}

/// A sample that sums of 32 bits hold some thousands of.
trait Sample: Copy + Into<u32> {
    fn code(mean: u32) -> Self;
}

impl Sample for u8 {
    #[expect(clippy::cast_possible_truncation, reason = "a mean of such samples")]
    fn code(mean: u32) -> Self {
        mean as Self
    }
}

impl Sample for u16 {
    #[expect(clippy::cast_possible_truncation, reason = "a mean of such samples")]
    fn code(mean: u32) -> Self {
        mean as Self
    }
}

fn shrink<T: Sample>(samples: &mut Vec<T>, [width, height]: [usize; 2], stride: usize, by: usize) {
    let (across, down) = (width.div_ceil(by), height.div_ceil(by));
    let mut columns = vec![0_u32; width];
    for y in 0..down {
        let rows: Range<usize> = y * by..(y * by + by).min(height);
        columns.fill(0);
        for row in rows.clone() {
            for (sum, sample) in columns.iter_mut().zip(&samples[row * stride..][..width]) {
                *sum += (*sample).into();
            }
        }
        // What is written lies before what is still to be read.
        let out = &mut samples[y * across..][..across];
        for (out, columns) in out.iter_mut().zip(columns.chunks(by)) {
            let count = u32::try_from(rows.len() * columns.len()).unwrap_or(u32::MAX);
            *out = T::code(mean(columns.iter().sum(), count));
        }
    }
    samples.truncate(across * down);
}

/// The nearest whole number, the even one of two.
fn mean(sum: u32, count: u32) -> u32 {
    let (whole, rest) = (sum / count, sum % count);
    let up = 2 * rest > count || (2 * rest == count && whole % 2 == 1);
    whole + u32::from(up)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Siting;

    #[test]
    fn samples_become_means_of_squares_and_sit_in_their_middles() {
        let rows: [[u8; 7]; 3] = [[1, 2, 3, 4, 5, 99, 99], [1, 3, 5, 6, 8, 99, 99], [10, 20, 30, 40, 50, 99, 99]];
        let chroma = Siting { step_x: 2.0, step_y: 1.0, origin_x: 1.0, origin_y: 0.5 };
        let mut of = Plane { samples: Samples::Eight(rows.concat()), width: 5, height: 3, stride: 7, siting: chroma };
        plane(&mut of, 2);
        let Samples::Eight(samples) = &of.samples else { panic!("8 bits went in") };
        // 7 / 4 is 2, 18 / 4 is 4 (the even one), 13 / 2 is 6; the last row is half as high.
        assert_eq!((samples.as_slice(), of.stride), ([2, 4, 6, 15, 35, 50].as_slice(), 3));
        assert_eq!((of.width, of.height), (3, 2));
        assert_eq!(of.siting, Siting { step_x: 4.0, step_y: 2.0, origin_x: 2.0, origin_y: 1.0 });
    }

    #[test]
    fn halves_get_no_brighter_on_the_whole() {
        let samples: Vec<u16> = (0..4096_u16).map(|at| at.wrapping_mul(40_503) >> 4).collect();
        let before = samples.iter().map(|sample| f64::from(*sample)).sum::<f64>() / 4096.0;
        let mut of =
            Plane { samples: Samples::Sixteen(samples), width: 64, height: 64, stride: 64, siting: Siting::FULL };
        plane(&mut of, 2);
        let Samples::Sixteen(samples) = &of.samples else { panic!("16 bits went in") };
        let after = samples.iter().map(|sample| f64::from(*sample)).sum::<f64>() / 1024.0;
        assert!((before - after).abs() < 0.05, "{before} became {after}");
    }
}

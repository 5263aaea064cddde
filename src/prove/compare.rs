//! How far one frame is from another: mean squared errors, and small pictures to find frames by.

use crate::picture::{Frame, Picture, Pixels, Plane, Samples};
use crate::units::Size;

/// What two frames differ by, in codes of 8 bits, squared and averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Of luma; of green where frames are red, green and blue.
    pub luma: f64,
    /// Of the worse of the two differences of colour; of red or blue.
    pub chroma: f64,
}

impl Fit {
    /// All of it, the worst first: what frames are told apart by.
    #[must_use]
    pub fn all(self) -> f64 {
        self.luma + self.chroma
    }
}

/// Peak signal to noise in decibels of a mean squared error in codes of 8 bits.
#[must_use]
pub fn decibels(error: f64) -> f64 {
    10.0 * (255.0 * 255.0 / error).log10()
}

/// The mean squared error of a frame with this many decibels.
pub(super) fn error_at(decibels: f64) -> f64 {
    255.0 * 255.0 / 10.0_f64.powf(decibels / 10.0)
}

/// What a decoded frame differs by from the one due; nothing where their sizes or kinds do.
#[must_use]
pub fn fit(due: &Frame, seen: &Frame) -> Option<Fit> {
    if due.size != seen.size {
        return None;
    }
    match (&due.pixels, &seen.pixels) {
        (Pixels::Yuv420 { y, cb, cr }, Pixels::Yuv420 { y: luma, cb: blue, cr: red }) => {
            Some(Fit { luma: error(y, luma), chroma: error(cb, blue).max(error(cr, red)) })
        }
        (Pixels::Yuv10 { chroma, y, cb, cr }, Pixels::Yuv10 { chroma: spacing, y: luma, cb: blue, cr: red })
            if chroma == spacing =>
        {
            let error = |one: &[u16], other: &[u16]| squares(one.iter().zip(other), one.len()) / 16.0;
            Some(Fit { luma: error(y, luma), chroma: error(cb, blue).max(error(cr, red)) })
        }
        (Pixels::Rgb8(one), Pixels::Rgb8(other)) => {
            let of = |colour: usize| squares(one.iter().zip(other).skip(colour).step_by(3), one.len() / 3);
            Some(Fit { luma: of(1), chroma: of(0).max(of(2)) })
        }
        (Pixels::Rgb16(one), Pixels::Rgb16(other)) => {
            let of =
                |colour: usize| squares(one.iter().zip(other).skip(colour).step_by(3), one.len() / 3) / (257.0 * 257.0);
            Some(Fit { luma: of(1), chroma: of(0).max(of(2)) })
        }
        (Pixels::Planes(one), Pixels::Planes(other)) => planes(one, other),
        _ => None,
    }
}

/// Of a master's planes, whatever their depths; the first is luma, or what stands for it.
fn planes(one: &Picture, other: &Picture) -> Option<Fit> {
    let alike = |(one, other): (&Plane, &Plane)| (one.width, one.height) == (other.width, other.height);
    if one.planes.len() != other.planes.len() || !one.planes.iter().zip(&other.planes).all(alike) {
        return None;
    }
    let code = |plane: &Plane, row: usize, column: usize| match &plane.samples {
        Samples::Eight(samples) => f64::from(samples[row * plane.stride + column]),
        Samples::Sixteen(samples) => f64::from(samples[row * plane.stride + column]) / 257.0,
    };
    let error = |(one, other): (&Plane, &Plane)| {
        let (width, height) = (one.width as usize, one.height as usize);
        let rows = (0..height)
            .map(|row| (0..width).map(|at| (code(one, row, at) - code(other, row, at)).powi(2)).sum::<f64>());
        rows.sum::<f64>() / (width * height).max(1) as f64
    };
    let errors: Vec<f64> = one.planes.iter().zip(&other.planes).map(error).collect();
    let (first, rest) = errors.split_first()?;
    Some(Fit { luma: *first, chroma: rest.iter().copied().fold(0.0, f64::max) })
}

/// The mean squared difference of so many pairs of codes.
fn squares<'a, C: Copy + Into<f64> + 'a>(pairs: impl Iterator<Item = (&'a C, &'a C)>, count: usize) -> f64 {
    let sum: f64 = pairs.map(|(one, other)| ((*one).into() - (*other).into()).powi(2)).sum();
    sum / count.max(1) as f64
}

/// The mean squared error of two planes of one size.
fn error(one: &[u8], other: &[u8]) -> f64 {
    // Rows of a megapixel each stay far below 2^64.
    let sum: u64 = one
        .chunks(4096)
        .zip(other.chunks(4096))
        .map(|(one, other)| {
            let squares = one.iter().zip(other).map(|(one, other)| {
                let difference = u32::from(one.abs_diff(*other));
                difference * difference
            });
            u64::from(squares.sum::<u32>())
        })
        .sum();
    sum as f64 / one.len().max(1) as f64
}

/// The variance of a frame's fine detail in codes of 8 bits: of white noise its own; edges count a little. Of luma; 0
/// of red, green and blue, which only what is exact is coded as. The mean square of the difference of two Laplacians,
/// whose weights' squares add up to 36 (J. Immerkær, Fast Noise Variance Estimation, 1996, doi:10.1006/cviu.1996.0060,
/// from memory).
#[must_use]
pub fn detail(frame: &Frame) -> f64 {
    match &frame.pixels {
        Pixels::Yuv420 { y, .. } => fine(y, frame.size),
        Pixels::Yuv10 { y, .. } => fine(y, frame.size) / 16.0,
        Pixels::Rgb8(_) | Pixels::Rgb16(_) | Pixels::Planes(_) => 0.0,
    }
}

/// Of a plane, in its own codes.
fn fine<C: Copy + Into<i32>>(plane: &[C], size: Size) -> f64 {
    let (width, height) = (size.width as usize, size.height as usize);
    if width < 3 || height < 3 {
        return 0.0;
    }
    let mut sum = 0_u64;
    for row in 1..height - 1 {
        let [above, this, below] = [row - 1, row, row + 1].map(|row| &plane[row * width..(row + 1) * width]);
        let columns = above.windows(3).zip(this.windows(3)).zip(below.windows(3));
        sum += columns
            .map(|((above, this), below)| {
                let side = |row: &[C]| -> i32 { row[0].into() - 2 * row[1].into() + row[2].into() };
                let curve = side(above) - 2 * side(this) + side(below);
                u64::from(curve.unsigned_abs()).pow(2)
            })
            .sum::<u64>();
    }
    sum as f64 / 36.0 / ((width - 2) * (height - 2)) as f64
}

/// Blocks of a [`Thumb`] along each side.
const SIDE: usize = 24;

/// A frame's luma (or green) as means of blocks, to find frames by that are far apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Thumb(Vec<u16>);

impl Thumb {
    /// Of a frame.
    #[must_use]
    pub fn of(frame: &Frame) -> Self {
        let (width, height) = (frame.size.width as usize, frame.size.height as usize);
        let mut means = Vec::with_capacity(SIDE * SIDE);
        for down in 0..SIDE {
            let rows = block(down, height);
            for across in 0..SIDE {
                let columns = block(across, width);
                let mut sum = 0_u64;
                for row in rows.clone() {
                    let line = row * width + columns.start..row * width + columns.end;
                    sum += match &frame.pixels {
                        Pixels::Yuv420 { y, .. } => y[line].iter().map(|code| u64::from(*code) * 257).sum::<u64>(),
                        Pixels::Yuv10 { y, .. } => y[line].iter().map(|code| u64::from(*code) * 257 / 4).sum::<u64>(),
                        Pixels::Rgb8(samples) => line.map(|pixel| u64::from(samples[3 * pixel + 1]) * 257).sum::<u64>(),
                        Pixels::Rgb16(samples) => line.map(|pixel| u64::from(samples[3 * pixel + 1])).sum::<u64>(),
                        Pixels::Planes(picture) => match picture.planes.first().map(|plane| (plane, &plane.samples)) {
                            Some((plane, Samples::Eight(samples))) => {
                                let line = row * plane.stride + columns.start..row * plane.stride + columns.end;
                                samples[line].iter().map(|code| u64::from(*code) * 257).sum()
                            }
                            Some((plane, Samples::Sixteen(samples))) => {
                                let line = row * plane.stride + columns.start..row * plane.stride + columns.end;
                                samples[line].iter().map(|code| u64::from(*code)).sum()
                            }
                            None => 0,
                        },
                    };
                }
                let count = (rows.len() * columns.len()).max(1) as u64;
                means.push(u16::try_from(sum / count).unwrap_or(u16::MAX));
            }
        }
        Self(means)
    }

    /// The mean squared difference from another, in codes of 8 bits.
    #[must_use]
    pub fn error(&self, other: &Self) -> f64 {
        let squares = self.0.iter().zip(&other.0).map(|(one, other)| (f64::from(one.abs_diff(*other)) / 257.0).powi(2));
        squares.sum::<f64>() / (SIDE * SIDE) as f64
    }
}

/// The rows or columns of a block: at least one, where there are any.
fn block(index: usize, length: usize) -> std::ops::Range<usize> {
    let first = (index * length / SIDE).min(length.saturating_sub(1));
    first..((index + 1) * length / SIDE).clamp(first + usize::from(length > 0), length)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::FrameKind;
    use crate::units::Size;

    #[test]
    fn errors_are_means_of_squares_and_decibels_are_the_trades() {
        let due = Frame::new(FrameKind::Yuv420, Size::new(4, 2));
        let mut seen = due.clone();
        let Pixels::Yuv420 { y, cr, .. } = &mut seen.pixels else { unreachable!() };
        y[0] += 4;
        cr[1] -= 3;
        assert_eq!(fit(&due, &seen), Some(Fit { luma: 2.0, chroma: 4.5 }));
        // 48.13 dB is what a code of difference everywhere comes to: common practice, no source.
        assert!((decibels(1.0) - 48.13).abs() < 0.01 && (error_at(decibels(7.0)) - 7.0).abs() < 1e-9);
        assert!(decibels(0.0).is_infinite());
        assert_eq!(fit(&due, &Frame::new(FrameKind::Yuv420, Size::new(2, 4))), None);
        let deep = Frame::new(FrameKind::Rgb16, Size::new(4, 2));
        assert_eq!((fit(&due, &deep), fit(&deep, &deep)), (None, Some(Fit { luma: 0.0, chroma: 0.0 })));
    }

    #[test]
    fn detail_is_the_variance_of_noise_and_none_of_a_slope() {
        let mut frame = Frame::new(FrameKind::Yuv420, Size::new(200, 100));
        let Pixels::Yuv420 { y, .. } = &mut frame.pixels else { unreachable!() };
        for (at, code) in (0_u8..200).cycle().zip(y.iter_mut()) {
            *code = at;
        }
        assert!(detail(&frame) < 1e-9);
        let Pixels::Yuv420 { y, .. } = &mut frame.pixels else { unreachable!() };
        let mut noise = 7_u32;
        for code in y.iter_mut() {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *code = 100 + (noise >> 28) as u8;
        }
        // Evenly 0 to 15: a variance of (16² - 1) / 12.
        assert!((detail(&frame) / 21.25 - 1.0).abs() < 0.1, "{}", detail(&frame));
    }

    #[test]
    fn small_pictures_are_means_whatever_the_size() {
        for size in [Size::new(2, 2), Size::new(50, 30), Size::new(96, 160)] {
            let mut frame = Frame::new(FrameKind::Yuv420, size);
            let black = Thumb::of(&frame);
            let Pixels::Yuv420 { y, .. } = &mut frame.pixels else { unreachable!() };
            y.iter_mut().for_each(|code| *code += 10);
            assert!((Thumb::of(&frame).error(&black) - 100.0).abs() < 1e-9, "{size}");
        }
    }
}

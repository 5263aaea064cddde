//! The last step of frames that are made of several stills: rows of codes into a frame's planes.

use super::dither::{self, Place};
use super::kernels::{self, Kernels};
use super::kernels_portable::ToCode;
use super::{Code, CodeRange, Painter, RGB8, RGB16, YUV8, YUV10};
use crate::picture::{Chroma, Frame, Pixels};
use crate::units::Size;

/// What fills rows with codes: of which grid, which of its samples, the rows.
pub(super) type Fill<'a> = dyn FnMut(usize, std::ops::Range<usize>, &mut [Vec<f32>; 3]) + 'a;

impl Painter {
    /// Fills a frame by the ordinary last step with codes that `fill` makes, a row of a grid at a time: it is told which
    /// grid and which of its samples, and puts each code of the grid in a row of its own.
    pub(super) fn write_frame(&mut self, frame: &mut Frame, fill: &mut Fill<'_>) {
        let (kernels, size) = (self.kernels, frame.size);
        let [first, second, third] = match &frame.pixels {
            Pixels::Yuv420 { .. } => YUV8,
            Pixels::Yuv10 { .. } => YUV10,
            Pixels::Rgb8(_) => RGB8,
            Pixels::Rgb16(_) | Pixels::Planes(_) => RGB16,
        };
        let rows = &mut self.scratch.rows;
        let mut each_row = |grid: usize, size: Size, write: &mut dyn FnMut(usize, &[Vec<f32>; 3])| {
            let across = size.width as usize;
            for row in 0..size.height as usize {
                fill(grid, row * across..(row + 1) * across, rows);
                write(row, rows);
            }
        };
        match &mut frame.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                each_row(0, size, &mut |row, codes| write_codes(kernels, &codes[0], first, Place::Luma, row, y));
                each_row(1, Chroma::Quarter.size(size), &mut |row, codes| {
                    write_codes(kernels, &codes[0], second, Place::BlueDifference, row, cb);
                    write_codes(kernels, &codes[1], third, Place::RedDifference, row, cr);
                });
            }
            Pixels::Yuv10 { chroma, y, cb, cr } => {
                each_row(0, size, &mut |row, codes| write_codes(kernels, &codes[0], first, Place::Luma, row, y));
                each_row(1, chroma.size(size), &mut |row, codes| {
                    write_codes(kernels, &codes[0], second, Place::BlueDifference, row, cb);
                    write_codes(kernels, &codes[1], third, Place::RedDifference, row, cr);
                });
            }
            Pixels::Rgb8(pixels) => {
                let mut channel = vec![0; size.width as usize];
                each_row(0, size, &mut |row, codes| {
                    let out = &mut pixels[row * 3 * channel.len()..][..3 * channel.len()];
                    for (at, ((codes, range), place)) in
                        codes.iter().zip([first, second, third]).zip(Place::ALL).enumerate()
                    {
                        write_row(kernels, codes, range, place, row, &mut channel);
                        dither::interleave(&channel, at, out);
                    }
                });
            }
            Pixels::Rgb16(pixels) => each_row(0, size, &mut |row, [red, green, blue]| {
                let unchanged = [([1.0, 0.0, 0.0], 0.0), ([0.0, 1.0, 0.0], 0.0), ([0.0, 0.0, 1.0], 0.0)];
                let out = &mut pixels[row * 3 * red.len()..][..3 * red.len()];
                kernels::to_rgb16([red, green, blue], &unchanged, out);
            }),
            Pixels::Planes(_) => panic!("a frame of a still's own planes is never made of several"),
        }
    }
}

/// The ordinary last step, of a row of codes as they are, into its place in a plane.
fn write_codes<C: Code>(kernels: Kernels, codes: &[f32], range: CodeRange, place: Place, row: usize, plane: &mut [C]) {
    let out = &mut plane[row * codes.len()..][..codes.len()];
    write_row(kernels, codes, range, place, row, out);
}

/// The same into a row by itself.
fn write_row<C: Code>(kernels: Kernels, codes: &[f32], range: CodeRange, place: Place, row: usize, out: &mut [C]) {
    let as_they_are = ToCode { by: [1.0, 0.0, 0.0], add: 0.0, within: range.within };
    C::finish(kernels, [codes; 3], &as_they_are, &dither::thresholds(place, row), out);
}

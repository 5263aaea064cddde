//! Frames of several stills: a weighted mean of what the frame's one window shows of each.
//!
//! Every still is resampled as if it were the only one, made into light by the sRGB curve, and taken into the mean; the
//! mean is encoded again and goes through the ordinary last step, with the ordinary thresholds. Beside the mean of the
//! light an accumulator keeps what the first still alone would give, in codes before the last step: where all stills
//! agree to the bit that is what is printed, so that a scene in which nothing changes comes out as if there had been
//! one still.
//!
//! ## Decisions
//!
//! - A still's *share* is its weight in a frame; the shares of a frame add up to 65,536. An *accumulator* is the
//!   running mean of the stills a frame has taken in so far.
//! - The mean is kept in `f32` on both grids of the frame (21 bytes a pixel). Means of encoded values are of the codes
//!   themselves and take 6 bytes a pixel.

use super::colour::{Mix, Target};
use super::light::Curve;
use super::{CodeRange, Grid, PaintError, Painter, ranges};
use crate::geom::Window;
use crate::picture::{Chroma, Frame, FrameKind, Picture};
use crate::plan::Share;
use crate::shot::{Light, Sharpness};
use crate::units::Size;

/// The mean of the stills taken in so far, of one frame.
///
/// The stills are taken in one after the other, always in the same order: sums of floating-point numbers depend on it.
/// It takes 21 bytes a pixel for 4:2:0, 28 for 4:2:2, 36 for 4:4:4 and 24 for R'G'B', of which all but 6, 8, 12 and 12
/// are the mean of the light and not needed where encoded values are averaged.
#[derive(Debug)]
pub struct Accumulator {
    kind: FrameKind,
    size: Size,
    light: Light,
    /// The luma grid and, of Y'CbCr, the chroma grid.
    sheets: Vec<Sheet>,
}

/// The mean over one grid of the frame.
#[derive(Debug)]
struct Sheet {
    /// What its codes are, in the order of `plain`.
    outs: Vec<CodeRange>,
    /// Mean light of R, G and B; empty where encoded values are averaged.
    light: [Vec<f32>; 3],
    /// By `outs`: the code that the first still alone would give, before the last step. In light, NaN in the first of
    /// them where stills differ; of encoded values, their mean.
    plain: Vec<Vec<f32>>,
}

/// Which part of a frame a still is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// The still's weight, above 0.
    pub weight: u32,
    /// The weights of the stills taken in before it: 0 for the first.
    pub before: u32,
}

impl Part {
    /// The part that the weight is of the whole.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "weights add up to 65,536")]
    pub fn of_whole(self) -> f32 {
        self.weight as f32 / Share::WHOLE as f32
    }

    /// How far the mean goes towards this still; nothing for the first, which *is* the mean.
    #[expect(clippy::cast_precision_loss, reason = "weights add up to 65,536")]
    fn step(self) -> Option<f32> {
        (self.before > 0).then(|| self.weight as f32 / (self.before + self.weight) as f32)
    }
}

impl Accumulator {
    /// Bytes that a pixel of the frame takes at the most, of 4:2:0 and of R'G'B'.
    pub const BYTES_A_PIXEL: u64 = 24;
    /// The same of frames with more chroma.
    pub const BYTES_A_PIXEL_OF_MORE_CHROMA: u64 = 36;

    /// Room for a frame of this kind and size: the one place where an accumulator's buffers are allocated.
    ///
    /// # Panics
    /// For [`FrameKind::Planes`], which is one still's alone.
    #[must_use]
    pub fn new(kind: FrameKind, size: Size, light: Light) -> Self {
        let (width, height) = (size.width as usize, size.height as usize);
        let sheet = |outs: &[CodeRange], samples: usize| {
            let in_light = if light == Light::Linear { samples } else { 0 };
            Sheet {
                outs: outs.to_vec(),
                light: std::array::from_fn(|_| vec![0.0; in_light]),
                plain: outs.iter().map(|_| vec![0.0; samples]).collect(),
            }
        };
        let outs = ranges(kind);
        let sheets = match (kind, kind.chroma()) {
            (FrameKind::Planes, _) => panic!("a frame of a still's own planes is never a mean"),
            (_, Some(chroma)) => {
                let of_chroma = chroma.size(size);
                let samples = of_chroma.width as usize * of_chroma.height as usize;
                vec![sheet(&outs[..1], width * height), sheet(&outs[1..], samples)]
            }
            (_, None) => vec![sheet(&outs, width * height)],
        };
        Self { kind, size, light, sheets }
    }

    /// The kind of frame it is for.
    pub(super) fn kind(&self) -> FrameKind {
        self.kind
    }

    fn target(&self) -> Target {
        if self.kind.chroma().is_some() { Target::Differences709 } else { Target::Rgb }
    }
}

impl Sheet {
    /// Takes a row of a still in.
    fn take(&mut self, at: std::ops::Range<usize>, values: [&[f32]; 3], sums: &Sums, step: Option<f32>) {
        let Self { light, plain, .. } = self;
        let code = |sum: &([f32; 3], f32), x: usize| {
            sum.1 + sum.0[0] * values[0][x] + sum.0[1] * values[1][x] + sum.0[2] * values[2][x]
        };
        let Some(to_rgb) = &sums.to_rgb else {
            for (plain, sum) in plain.iter_mut().zip(&sums.codes) {
                for (x, mean) in plain[at.clone()].iter_mut().enumerate() {
                    let code = code(sum, x);
                    *mean = step.map_or(code, |step| *mean + (code - *mean) * step);
                }
            }
            return;
        };
        let curve = Curve::get();
        let [red, green, blue] = light.each_mut().map(|channel| &mut channel[at.clone()]);
        let channels =
            red.iter_mut().zip(green).zip(blue).enumerate().map(|(x, ((red, green), blue))| (x, [red, green, blue]));
        let Some(step) = step else {
            for (x, means) in channels {
                for (mean, sum) in means.into_iter().zip(to_rgb) {
                    *mean = curve.light_of(code(sum, x));
                }
            }
            for (plain, sum) in plain.iter_mut().zip(&sums.codes) {
                for (x, plain) in plain[at.clone()].iter_mut().enumerate() {
                    *plain = code(sum, x);
                }
            }
            return;
        };
        let plain = &mut plain[0][at];
        for (x, means) in channels {
            let mut differs = false;
            for (mean, sum) in means.into_iter().zip(to_rgb) {
                let further = curve.light_of(code(sum, x)) - *mean;
                differs |= further != 0.0;
                *mean += further * step;
            }
            if differs {
                plain[x] = f32::NAN;
            }
        }
    }

    /// The codes of samples before the last step, into `rows`, one a code.
    fn codes(&self, at: std::ops::Range<usize>, light: Light, sums: &[([f32; 3], f32)], rows: &mut [Vec<f32>; 3]) {
        for (row, plain) in rows.iter_mut().zip(&self.plain) {
            row.clear();
            row.extend_from_slice(&plain[at.clone()]);
        }
        if light == Light::Encoded {
            return;
        }
        let curve = Curve::get();
        for (x, sample) in at.enumerate() {
            if !rows[0][x].is_nan() {
                continue;
            }
            let [red, green, blue] = [0, 1, 2].map(|channel: usize| curve.value_of(self.light[channel][sample]));
            for (row, (by, add)) in rows.iter_mut().zip(sums) {
                row[x] = add + by[0] * red + by[1] * green + by[2] * blue;
            }
        }
    }
}

/// What a still's values are summed to.
struct Sums {
    /// By a sheet's codes.
    codes: Vec<([f32; 3], f32)>,
    /// R', G' and B', where the mean is one of light.
    to_rgb: Option<[([f32; 3], f32); 3]>,
}

impl Painter {
    /// Takes what `window` shows of `picture` into an accumulator, whose stills all have the same window and sharpness,
    /// in their order. The first still of a frame (`part.before` is 0) begins it anew.
    ///
    /// # Errors
    /// As [`Painter::paint`].
    pub fn expose(
        &mut self,
        picture: &Picture,
        window: Window,
        sharpness: Sharpness,
        part: Part,
        accumulator: &mut Accumulator,
    ) -> Result<(), PaintError> {
        let conversion = self.conversions.find(picture)?;
        let by_rgb = self.by_rgb(conversion);
        let mix = |target| if by_rgb { Mix::of_rgb(target) } else { Mix::of_samples(picture, target) };
        let (to_rgb, to_codes) = (mix(Target::Rgb), mix(accumulator.target()));
        let chroma = accumulator.kind.chroma().unwrap_or(Chroma::Full);
        let grids = [Grid::luma(window, accumulator.size), Grid::chroma(window, accumulator.size, chroma)];
        let step = part.step();
        for (sheet, grid) in accumulator.sheets.iter_mut().zip(grids) {
            let sums = Sums {
                codes: sheet.outs.iter().map(|out| out.sum(&to_codes)).collect(),
                to_rgb: (accumulator.light == Light::Linear)
                    .then(|| [0, 1, 2].map(|channel| to_rgb.scaled(channel, 1.0, 0.0))),
            };
            let needs = if sums.to_rgb.is_some() {
                to_rgb.needs(&[0, 1, 2])
            } else {
                sheet.outs.iter().fold([false; 3], |needs, out| {
                    let also = to_codes.needs(&[out.out]);
                    [0, 1, 2].map(|plane: usize| needs[plane] || also[plane])
                })
            };
            let across = grid.across.count;
            self.each_row(picture, grid, sharpness, needs, conversion, |row, values| {
                sheet.take(row * across..(row + 1) * across, values, &sums, step);
            })?;
        }
        Ok(())
    }

    /// Fills a frame of the accumulator's kind and size with the mean of the stills it has taken in.
    ///
    /// # Panics
    /// Where the frame is of another kind or size.
    pub fn print(&mut self, accumulator: &Accumulator, frame: &mut Frame) {
        self.print_with(accumulator, frame, &mut |_plane, _row, _codes| {});
    }

    /// The same, with a last word on the codes of every row of every plane before the last step.
    pub(super) fn print_with(
        &mut self,
        accumulator: &Accumulator,
        frame: &mut Frame,
        retouch: &mut dyn FnMut(usize, usize, &mut [f32]),
    ) {
        assert_eq!(frame.size, accumulator.size, "an accumulator's own frame");
        let from_rgb = Mix::of_rgb(accumulator.target());
        let sums_of = |sheet: &Sheet| sheet.outs.iter().map(|out| out.sum(&from_rgb)).collect::<Vec<_>>();
        let sums: Vec<_> = accumulator.sheets.iter().map(sums_of).collect();
        self.write_frame(frame, &mut |grid, at, rows| {
            let (sheet, row) = (&accumulator.sheets[grid], at.start / at.len().max(1));
            sheet.codes(at, accumulator.light, &sums[grid], rows);
            for (plane, codes) in rows.iter_mut().enumerate().take(sheet.outs.len()) {
                retouch(grid + plane, row, codes);
            }
        });
    }
}

//! Frames invented between two stills: what both show, moved along the flow between them, at a moment; the mean of both
//! where the flow is not to be trusted.
//!
//! Both stills are painted through the frame's one window, or where they are steadied each through its own, so that
//! what stands still in the scene stands still here, and the flow is measured on that. Motion is made of codes before
//! the last step, in the frame's own encoding: along a trusted way both stills agree, and it does not matter in which
//! light their mean is taken. Where they do not, the frame is the ordinary mean, in the delivery's light.

use super::colour::{Mix, Target};
use super::{Accumulator, CodeRange, Grid, PaintError, Painter, YUV8, ranges};
use crate::flow::{self, Flow, Lattice};
use crate::geom::Window;
use crate::level::Gain;
use crate::picture::{Chroma, Frame, FrameKind, Picture};
use crate::shot::Sharpness;
use crate::units::Size;

/// Two stills through one window, and the flow between them. One a worker: its buffers grow to the largest frame and
/// stay.
///
/// It takes 12 to 24 bytes a pixel for Y'CbCr and 32 for R'G'B', and the flow about 40.
#[derive(Debug, Default)]
pub struct Pair {
    stills: [Codes; 2],
    flow: Flow,
    settled: Option<f32>,
}

/// What one still gives, in codes before the last step.
#[derive(Debug, Default)]
struct Codes {
    planes: [Vec<f32>; 3],
    /// Luma's codes of 8 bits, where no plane has those.
    luma: Vec<f32>,
}

impl Codes {
    /// Luma's codes of 8 bits.
    fn luma(&self) -> &[f32] {
        if self.luma.is_empty() { &self.planes[0] } else { &self.luma }
    }
}

impl Pair {
    /// No stills yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }
}

impl Painter {
    /// Lays out what its window shows of each of two stills, levelled by its gain, and measures what moves between
    /// them.
    ///
    /// # Errors
    /// As [`Painter::paint`], with which of the stills is to blame.
    pub fn lay_out(
        &mut self,
        pictures: [(&Picture, Gain, Window); 2],
        sharpness: Sharpness,
        (kind, size): (FrameKind, Size),
        pair: &mut Pair,
    ) -> Result<(), (usize, PaintError)> {
        for (at, ((picture, gain, window), codes)) in pictures.into_iter().zip(&mut pair.stills).enumerate() {
            self.level(gain);
            let chroma = kind.chroma().unwrap_or(Chroma::Full);
            let grids = [Grid::luma(window, size), Grid::chroma(window, size, chroma)];
            self.lay_out_one(picture, grids, sharpness, kind, codes).map_err(|error| (at, error))?;
        }
        let [first, second] = &pair.stills;
        let [first, second] = [first, second].map(Codes::luma);
        pair.flow.measure(size, first, second);
        pair.settled = None;
        Ok(())
    }

    fn lay_out_one(
        &mut self,
        picture: &Picture,
        [luma, chroma]: [Grid; 2],
        sharpness: Sharpness,
        kind: FrameKind,
        codes: &mut Codes,
    ) -> Result<(), PaintError> {
        let Codes { planes: [y, b, r], luma: of_luma } = codes;
        let [first, second, third] = ranges(kind);
        // The flow is measured on codes of 8 bits, whatever the frame's.
        if kind.chroma().is_some() && first == YUV8[0] {
            of_luma.clear();
        } else {
            self.codes(picture, luma, sharpness, Target::Differences709, &mut [(YUV8[0], of_luma)])?;
        }
        if kind.chroma().is_some() {
            self.codes(picture, luma, sharpness, Target::Differences709, &mut [(first, y)])?;
            self.codes(picture, chroma, sharpness, Target::Differences709, &mut [(second, b), (third, r)])
        } else {
            self.codes(picture, luma, sharpness, Target::Rgb, &mut [(first, y), (second, b), (third, r)])
        }
    }

    /// Fills planes with codes before the last step.
    fn codes(
        &mut self,
        picture: &Picture,
        grid: Grid,
        sharpness: Sharpness,
        target: Target,
        outs: &mut [(CodeRange, &mut Vec<f32>)],
    ) -> Result<(), PaintError> {
        let conversion = self.conversions.find(picture)?;
        let mix = if self.by_rgb(conversion) { Mix::of_rgb(target) } else { Mix::of_samples(picture, target) };
        let mut needs = [false; 3];
        for (out, plane) in outs.iter_mut() {
            for (needed, also) in needs.iter_mut().zip(mix.needs(&[out.out])) {
                *needed |= also;
            }
            plane.resize(grid.across.count * grid.down.count, 0.0);
        }
        self.each_row(picture, grid, sharpness, needs, conversion, |row, values| {
            let across = grid.across.count;
            for (out, plane) in outs.iter_mut() {
                let (by, add) = out.sum(&mix);
                for (x, code) in plane[row * across..(row + 1) * across].iter_mut().enumerate() {
                    *code = add + by[0] * values[0][x] + by[1] * values[1][x] + by[2] * values[2][x];
                }
            }
        })
    }

    /// Fills a frame with what is between two stills at a moment, from 0 (the first) to 1: `mean` is their mean, of the
    /// same window, sharpness, kind and size.
    ///
    /// # Panics
    /// Where the frame, the mean or the pair are of different kinds or sizes.
    pub fn print_between(&mut self, mean: &Accumulator, pair: &mut Pair, moment: f32, frame: &mut Frame) {
        if pair.settled != Some(moment) {
            pair.flow.settle(moment);
            pair.settled = Some(moment);
        }
        let (width, height) = (frame.size.width as usize, frame.size.height as usize);
        let whole = Lattice { width, height, step: [1.0; 2], shift: 0.0 };
        let chroma = mean.kind().chroma().map_or(whole, |chroma| {
            let (size, (across, down)) = (chroma.size(frame.size), chroma.spacing());
            let shift = if down == 2 { 0.5 } else { 0.0 };
            Lattice {
                width: size.width as usize,
                height: size.height as usize,
                step: [across, down].map(|step| if step == 2 { 2.0 } else { 1.0 }),
                shift,
            }
        });
        let Pair { stills: [first, second], flow, .. } = pair;
        self.print_with(mean, frame, &mut |plane, row, codes| {
            let lattice = if plane > 0 { chroma } else { whole };
            flow::warp_row(flow, moment, lattice, [&first.planes[plane], &second.planes[plane]], row, codes);
        });
    }
}

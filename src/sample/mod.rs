//! Resampling, conversion, dither: a picture and a window to a finished frame.
//!
//! Planes are resampled straight from where their samples sit to where the frame's do (luma and chroma apart), row by
//! row, and only there converted: the work falls with the window, not with the still. A row never leaves the cache: it
//! is resampled down, then across, converted and written. Nothing is clipped or rounded between a plane's samples and
//! the last step, where frames of 8 and 10 bits are dithered and those of 16 rounded. Values keep the stills' own (sRGB) encoding,
//! which BT.709 frames carry unchanged (common practice, no source).
//!
//! ## Decisions
//!
//! - To *paint* is to fill a frame from a decoded still through a window. Upright rows never go through the kernels for
//!   rolled ones.
//! - BT.709 codes are held within 16 to 235 and 16 to 240: what a still clips at white stays clipped at white.

mod accumulator;
mod colour;
mod dither;
mod invent;
mod kernels;
#[cfg(target_arch = "x86_64")]
mod kernels_avx2;
mod kernels_portable;
mod light;
mod linear;
mod overlay;
mod patches;
mod print;
mod rolled;
mod sheets;
mod strip;
mod tone;
mod weights;

use std::ops::Range;

use kurbo::Point;

use crate::geom::{self, Window};
use crate::level::Gain;
use crate::picture::{Chroma, Frame, FrameKind, Picture, Pixels, Plane, Samples};
use crate::shot::Sharpness;
use crate::units::Size;

pub use accumulator::{Accumulator, Part};
pub use invent::Pair;
pub use overlay::{Overlay, Overlayer, light_of};
pub use sheets::{MEDIAN_BYTES, Sample, Sheets, bytes_in_a_median, bytes_of_extremes, most_in_a_median};

use colour::{Conversion, Conversions, Mix, Target};
use dither::{Place, Thresholds};
use kernels::{Band, Kernels};
use kernels_portable::ToCode;
use rolled::{FilterBanks, Lattice};
use tone::Tone;
use weights::{Depth, OutputAxis, Tables};

/// Paints frames, owning all scratch space. One a worker; nothing is allocated after the first frames.
#[derive(Debug, Default)]
pub struct Painter {
    kernels: Kernels,
    tables: Tables,
    banks: FilterBanks,
    conversions: Conversions,
    tone: Tone,
    scratch: Scratch,
}

/// Rows between the steps.
#[derive(Debug, Default)]
struct Scratch {
    /// A plane's row, resampled down but not across.
    band: Band,
    /// A row on the frame's grid: the picture's planes, or R'G'B' after a profile.
    rows: [Vec<f32>; 3],
    /// The same interleaved, as profiles are applied to it, before and after.
    before: Vec<f32>,
    after: Vec<f32>,
}

/// Why a picture cannot be painted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PaintError {
    /// The embedded colour profile is of no use.
    #[error("the embedded colour profile cannot be used: {0}")]
    Profile(String),
    /// The picture was decoded in part, and the window shows more.
    #[error("rows {} to {} are needed and rows {} to {} were decoded", needed.start, needed.end, held.start, held.end)]
    Rows {
        /// Luma rows the window needs.
        needed: Range<u32>,
        /// Luma rows the picture has.
        held: Range<u32>,
    },
}

/// How a value of the frame becomes a code.
#[derive(Debug, Clone, Copy, PartialEq)]
struct CodeRange {
    /// Which of a [`Mix`]'s three sums it is.
    out: usize,
    /// Codes for a step of 1.
    per_unit: f64,
    /// The code of 0.
    zero: f64,
    /// The lowest and the highest code there may be.
    within: [f32; 2],
}

/// BT.709's codes of Y', Cb and Cr (ITU-R BT.709-6, its digital representation), of 8 bits and of 10.
const YUV8: [CodeRange; 3] = CodeRange::limited(1.0);
const YUV10: [CodeRange; 3] = CodeRange::limited(4.0);
/// Codes of R', G' and B' of which 0 to 1 takes all, of 8 bits and of 16.
const RGB8: [CodeRange; 3] = CodeRange::full(255.0);
const RGB16: [CodeRange; 3] = CodeRange::full(65_535.0);

impl CodeRange {
    /// BT.709's limited range, in which a code of 8 bits counts `scale`.
    const fn limited(scale: f32) -> [Self; 3] {
        let luma = Self {
            out: 0,
            per_unit: 219.0 * scale as f64,
            zero: 16.0 * scale as f64,
            within: [16.0 * scale, 235.0 * scale],
        };
        let difference = Self {
            out: 1,
            per_unit: 224.0 * scale as f64,
            zero: 128.0 * scale as f64,
            within: [16.0 * scale, 240.0 * scale],
        };
        [luma, difference, Self { out: 2, ..difference }]
    }

    /// Of which 0 to 1 takes all.
    const fn full(most: f32) -> [Self; 3] {
        let red = Self { out: 0, per_unit: most as f64, zero: 0.0, within: [0.0, most] };
        [red, Self { out: 1, ..red }, Self { out: 2, ..red }]
    }

    /// The sum that gives the code.
    fn sum(self, mix: &Mix) -> ([f32; 3], f32) {
        mix.scaled(self.out, self.per_unit, self.zero)
    }

    /// The last step to the code.
    fn to_code(self, mix: &Mix) -> ToCode {
        let (by, add) = self.sum(mix);
        ToCode { by, add, within: self.within }
    }
}

/// A sample of a frame of Y'CbCr, as it is written.
trait Code: Copy {
    /// Codes of Y', Cb and Cr.
    const YUV: [CodeRange; 3];

    /// Writes a row: for every sample `finish` of three values, dithered.
    fn finish(kernels: Kernels, rows: [&[f32]; 3], finish: &ToCode, thresholds: &Thresholds, out: &mut [Self]);
}

impl Code for u8 {
    const YUV: [CodeRange; 3] = YUV8;

    fn finish(kernels: Kernels, rows: [&[f32]; 3], finish: &ToCode, thresholds: &Thresholds, out: &mut [Self]) {
        kernels.to_codes(rows, finish, thresholds, out);
    }
}

/// Of 10 bits.
impl Code for u16 {
    const YUV: [CodeRange; 3] = YUV10;

    fn finish(kernels: Kernels, rows: [&[f32]; 3], finish: &ToCode, thresholds: &Thresholds, out: &mut [Self]) {
        kernels.to_codes10(rows, finish, thresholds, out);
    }
}

/// The codes of a kind of frame by grid and channel: of luma and chroma, or of R', G' and B'.
fn ranges(kind: FrameKind) -> [CodeRange; 3] {
    match kind {
        FrameKind::Yuv420 => YUV8,
        FrameKind::Yuv10(_) => YUV10,
        FrameKind::Rgb8 => RGB8,
        FrameKind::Rgb16 | FrameKind::Planes => RGB16,
    }
}

/// Where a grid of the frame has its samples, in the still's continuous pixels.
#[derive(Debug, Clone, Copy)]
struct Grid {
    across: Spacing,
    down: Spacing,
    /// Degrees by which all of it is then turned clockwise, and about which point.
    roll: f64,
    pivot: Point,
    turn: (f64, f64),
}

/// One axis of a grid.
#[derive(Debug, Clone, Copy)]
struct Spacing {
    /// The first sample's centre.
    start: f64,
    /// From one sample to the next.
    step: f64,
    count: usize,
}

impl Grid {
    /// One sample a pixel.
    fn luma(window: Window, frame: Size) -> Self {
        let line = |start: f64, length: f64, pixels: u32| {
            let step = length / f64::from(pixels);
            Spacing { start: start + 0.5 * step, step, count: pixels as usize }
        };
        Self {
            across: line(window.x, window.width, frame.width),
            down: line(window.y, window.height, frame.height),
            roll: window.roll,
            pivot: window.centre(),
            turn: geom::sin_cos(window.roll),
        }
    }

    /// Where there is one sample for two pixels, on the even pixels' centres across and between two rows down: H.264's
    /// default for 4:2:0 (ITU-T H.264 annex E, `chroma_sample_loc_type` 0), and where 4:2:2 has them.
    fn chroma(window: Window, frame: Size, chroma: Chroma) -> Self {
        let luma = Self::luma(window, frame);
        let half = |line: Spacing, shift: f64| Spacing {
            start: line.start + shift * line.step,
            step: 2.0 * line.step,
            count: line.count.div_ceil(2),
        };
        match chroma {
            Chroma::Quarter => Self { across: half(luma.across, 0.0), down: half(luma.down, 0.5), ..luma },
            Chroma::Half => Self { across: half(luma.across, 0.0), ..luma },
            Chroma::Full => luma,
        }
    }

    /// Where one sample is.
    #[expect(clippy::cast_precision_loss, reason = "samples of a frame")]
    #[inline]
    fn place(&self, column: usize, row: usize) -> Point {
        let across = self.across.start + column as f64 * self.across.step - self.pivot.x;
        let down = self.down.start + row as f64 * self.down.step - self.pivot.y;
        let (sin, cos) = self.turn;
        Point::new(self.pivot.x + (across * cos - down * sin), self.pivot.y + (across * sin + down * cos))
    }
}

impl Spacing {
    /// The same samples counted in a plane's own, whose first sits at `origin` and the next `step` further.
    fn within(self, origin: f64, step: f64, length: u32) -> OutputAxis {
        OutputAxis {
            start: (self.start - origin) / step,
            scale: self.step / step,
            count: self.count,
            length: length as usize,
        }
    }
}

impl Painter {
    /// A painter with no scratch space yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Multiplies the linear light of all pictures painted from now on by a gain a channel; highlights roll to white
    /// ([`crate::level::rolled`]). With [`crate::level::Gain::UNCHANGED`] nothing is done at all.
    pub fn level(&mut self, gain: Gain) {
        self.tone.set(gain);
    }

    /// Whether a picture goes through R'G'B' on the frame's grid, for its profile or for its level.
    fn by_rgb(&self, conversion: Option<usize>) -> bool {
        conversion.is_some() || self.tone.is_set()
    }

    /// Fills `frame` with what `window` shows of `picture`. A window is inside the still; beyond its edges, where the
    /// kernel reaches out, there is nothing, and the weights of what is there are made to add up to 1.
    ///
    /// BT.709 codes are held within 16 to 235 and 16 to 240: what a still clips at white stays clipped at white. A
    /// frame of the still's own planes takes them all, whatever the window: it is for whoever asks for such frames to
    /// show nothing else.
    ///
    /// # Errors
    /// [`PaintError`] where the picture's colours cannot be converted or rows are missing.
    pub fn paint(
        &mut self,
        picture: &Picture,
        window: Window,
        sharpness: Sharpness,
        frame: &mut Frame,
    ) -> Result<(), PaintError> {
        let conversion = self.conversions.find(picture)?;
        let kernels = self.kernels;
        let size = frame.size;
        let by_rgb = self.by_rgb(conversion);
        let mix = |target| if by_rgb { Mix::of_rgb(target) } else { Mix::of_samples(picture, target) };
        match &mut frame.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                let grids = [Grid::luma(window, size), Grid::chroma(window, size, Chroma::Quarter)];
                self.paint_yuv(picture, grids, sharpness, (mix(Target::Differences709), conversion), [y, cb, cr])
            }
            Pixels::Yuv10 { chroma, y, cb, cr } => {
                let grids = [Grid::luma(window, size), Grid::chroma(window, size, *chroma)];
                self.paint_yuv(picture, grids, sharpness, (mix(Target::Differences709), conversion), [y, cb, cr])
            }
            Pixels::Rgb8(pixels) => {
                let mix = mix(Target::Rgb);
                let codes = RGB8.map(|range| range.to_code(&mix));
                let grid = Grid::luma(window, size);
                let mut channel = vec![0; grid.across.count];
                self.each_row(picture, grid, sharpness, mix.needs(&[0, 1, 2]), conversion, |row, values| {
                    let out = &mut pixels[row * 3 * grid.across.count..][..3 * grid.across.count];
                    for (at, (codes, place)) in codes.iter().zip(Place::ALL).enumerate() {
                        kernels.to_codes(values, codes, &dither::thresholds(place, row), &mut channel);
                        dither::interleave(&channel, at, out);
                    }
                })
            }
            Pixels::Rgb16(pixels) => {
                let mix = mix(Target::Rgb);
                let channels: [_; 3] = std::array::from_fn(|out| mix.scaled(out, 65_535.0, 0.0));
                let grid = Grid::luma(window, size);
                self.each_row(picture, grid, sharpness, mix.needs(&[0, 1, 2]), conversion, |row, values| {
                    let out = &mut pixels[row * 3 * grid.across.count..][..3 * grid.across.count];
                    kernels::to_rgb16(values, &channels, out);
                })
            }
            Pixels::Planes(planes) => {
                let (needed, held) = (0..picture.size.height, picture.first_row..picture.end_row);
                if needed != held {
                    return Err(PaintError::Rows { needed, held });
                }
                planes.copy_planes(picture);
                Ok(())
            }
        }
    }

    /// Paints planes of Y'CbCr in codes of some depth, on the grids of luma and of chroma.
    fn paint_yuv<C: Code>(
        &mut self,
        picture: &Picture,
        [luma, chroma]: [Grid; 2],
        sharpness: Sharpness,
        (mix, conversion): (Mix, Option<usize>),
        [y, cb, cr]: [&mut [C]; 3],
    ) -> Result<(), PaintError> {
        let kernels = self.kernels;
        let [of_luma, blue, red] = C::YUV.map(|range| range.to_code(&mix));
        self.each_row(picture, luma, sharpness, mix.needs(&[0]), conversion, |row, values| {
            let out = &mut y[row * luma.across.count..][..luma.across.count];
            C::finish(kernels, values, &of_luma, &dither::thresholds(Place::Luma, row), out);
        })?;
        self.each_row(picture, chroma, sharpness, mix.needs(&[1, 2]), conversion, |row, values| {
            let at = row * chroma.across.count..(row + 1) * chroma.across.count;
            C::finish(kernels, values, &blue, &dither::thresholds(Place::BlueDifference, row), &mut cb[at.clone()]);
            C::finish(kernels, values, &red, &dither::thresholds(Place::RedDifference, row), &mut cr[at]);
        })
    }

    /// Calls `finish` with every row of a grid: the planes that are needed (the others are zero), or R'G'B' where there
    /// is a conversion or a level.
    fn each_row(
        &mut self,
        picture: &Picture,
        grid: Grid,
        sharpness: Sharpness,
        needs: [bool; 3],
        conversion: Option<usize>,
        mut finish: impl FnMut(usize, [&[f32]; 3]),
    ) -> Result<(), PaintError> {
        let by_rgb = self.by_rgb(conversion);
        let Self { kernels, tables, banks, conversions, tone, scratch } = self;
        let conversion = conversion.map(|place| conversions.get(place));
        let to_rgb = Mix::of_samples(picture, Target::Rgb);
        let needs = if by_rgb { to_rgb.needs(&[0, 1, 2]) } else { needs };
        let mut places = [None; 3];
        for ((place, plane), needed) in places.iter_mut().zip(&picture.planes).zip(needs) {
            if needed {
                let (found, rows) = if grid.roll == 0.0 {
                    let (across, down) = find_tables(tables, plane, grid, sharpness);
                    (Weights::Axes(across, down), tables.get(down).span())
                } else {
                    let bank = banks.find(Lattice::new(&grid, plane.siting), sharpness, Depth::of(plane));
                    (Weights::FilterBank(bank), banks.get(bank).rows(plane, &grid))
                };
                let rows = luma_rows(plane, rows, picture.size);
                let held = picture.first_row..picture.end_row;
                if rows.start < held.start || rows.end > held.end {
                    return Err(PaintError::Rows { needed: rows, held });
                }
                *place = Some(found);
            }
        }
        for row in &mut scratch.rows {
            row.clear();
            row.resize(grid.across.count, 0.0);
        }
        for row in 0..grid.down.count {
            for ((place, plane), out) in places.iter().zip(&picture.planes).zip(&mut scratch.rows) {
                match *place {
                    None => {}
                    Some(Weights::Axes(across, down)) => {
                        kernels.resample(plane, [tables.get(across), tables.get(down)], row, &mut scratch.band, out);
                    }
                    Some(Weights::FilterBank(bank)) => banks.get(bank).row(*kernels, plane, &grid, row, out),
                }
            }
            if let Some(conversion) = conversion {
                convert(conversion, &to_rgb, scratch)?;
            }
            if tone.is_set() {
                tone.apply(conversion.is_none().then_some(&to_rgb), scratch);
            }
            let [a, b, c] = &scratch.rows;
            finish(row, [a, b, c]);
        }
        Ok(())
    }
}

/// Where the weights of a plane are kept.
#[derive(Debug, Clone, Copy)]
enum Weights {
    /// Of an upright window: across and down.
    Axes(usize, usize),
    /// Of a rolled one.
    FilterBank(usize),
}

impl Depth {
    fn of(plane: &Plane) -> Self {
        match plane.samples {
            Samples::Eight(_) => Self::Eight,
            Samples::Sixteen(_) => Self::Sixteen,
        }
    }
}

/// The tables across and down of one plane.
fn find_tables(tables: &mut Tables, plane: &Plane, grid: Grid, sharpness: Sharpness) -> (usize, usize) {
    let depth = Depth::of(plane);
    let siting = plane.siting;
    let across = grid.across.within(siting.origin_x, siting.step_x, plane.width);
    let down = grid.down.within(siting.origin_y, siting.step_y, plane.height);
    (tables.find(across, sharpness, depth), tables.find(down, sharpness, depth))
}

/// The luma rows on which the samples of some rows of a plane are centred.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "rows of a picture"
)]
fn luma_rows(plane: &Plane, rows: Range<usize>, size: Size) -> Range<u32> {
    let centre = |row: usize| plane.siting.origin_y + row as f64 * plane.siting.step_y;
    let last = size.height.saturating_sub(1);
    let first = (centre(rows.start).floor().max(0.0) as u32).min(last);
    let end = (centre(rows.end.saturating_sub(1)).floor().max(0.0) as u32).min(last) + 1;
    first..end
}

/// A row of planes to R'G'B' from 0 to 1, clipped, and by the profile to sRGB.
fn convert(conversion: &Conversion, to_rgb: &Mix, scratch: &mut Scratch) -> Result<(), PaintError> {
    let [a, b, c] = &mut scratch.rows;
    let (transform, channels) = match conversion {
        Conversion::Same => return Ok(()),
        Conversion::Colour(transform) => (transform, 3),
        Conversion::Grey(transform) => (transform, 1),
        Conversion::Light => {
            let curve = light::Curve::get();
            let sums: [_; 3] = std::array::from_fn(|out| to_rgb.scaled(out, 1.0, 0.0));
            for ((a, b), c) in a.iter_mut().zip(b).zip(c) {
                [*a, *b, *c] = sums.map(|(by, add)| curve.value_of(add + by[0] * *a + by[1] * *b + by[2] * *c));
            }
            return Ok(());
        }
    };
    let sums: [_; 3] = std::array::from_fn(|out| to_rgb.scaled(out, 1.0, 0.0));
    scratch.before.resize(channels * a.len(), 0.0);
    scratch.after.resize(3 * a.len(), 0.0);
    for (((before, a), b), c) in scratch.before.chunks_exact_mut(channels).zip(&*a).zip(&*b).zip(&*c) {
        for (before, (by, add)) in before.iter_mut().zip(&sums) {
            *before = (add + by[0] * a + by[1] * b + by[2] * c).clamp(0.0, 1.0);
        }
    }
    transform.transform(&scratch.before, &mut scratch.after).map_err(|error| PaintError::Profile(error.to_string()))?;
    for (((after, a), b), c) in scratch.after.chunks_exact(3).zip(a).zip(b).zip(c) {
        (*a, *b, *c) = (after[0], after[1], after[2]);
    }
    Ok(())
}

/// The luma rows (upright) of a still of size `still` that [`Painter::paint`] may read for this window and frame,
/// whatever the still's planes and the kind of frame: chroma at up to a quarter of luma's rows is thought of. The still
/// is decoded to one luma sample for each `denominator` of its pixels a side.
#[must_use]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the still")]
pub fn rows_read(window: Window, frame: Size, sharpness: Sharpness, still: Size, denominator: u32) -> Range<u32> {
    let scale = [window.width / f64::from(frame.width), window.height / f64::from(frame.height)];
    let reaches = [1.0, 2.0, 4.0].map(|step| {
        let step = step * f64::from(denominator);
        let reach =
            |scale: [f64; 2]| rolled::reach(Lattice { roll: window.roll, scale, step: [step; 2] }, sharpness)[1];
        step + reach(scale).max(reach(scale.map(|scale| 2.0 * scale)))
    });
    let margin = reaches.into_iter().fold(0.0, f64::max);
    let (height, bounds) = (f64::from(still.height), window.bounds());
    let start = (bounds.y - margin).floor().clamp(0.0, height - 1.0);
    let end = (bounds.bottom() + margin).ceil().clamp(start + 1.0, height);
    start as u32..end as u32
}

/// The most, of 1, 2, 4 and 8, that a still's sides may be divided by so that this frame still has a sample of luma for
/// each of its pixels.
#[must_use]
pub fn denominator(window: Window, frame: Size) -> u32 {
    let pixels = (window.width / f64::from(frame.width)).min(window.height / f64::from(frame.height));
    [8, 4, 2].into_iter().find(|denominator| f64::from(*denominator) <= pixels).unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{FrameKind, Model, Profile, Siting};

    /// Where a painter's buffers are.
    fn buffers(painter: &Painter) -> Vec<usize> {
        let Scratch { band, rows, before, after } = &painter.scratch;
        let rows = rows.iter().map(|row| row.as_ptr().addr());
        let own = rows.chain([before.as_ptr().addr(), after.as_ptr().addr()]).chain(band.buffers());
        own.chain(painter.tables.buffers()).chain(painter.banks.buffers()).collect()
    }

    #[test]
    fn a_move_is_painted_in_the_buffers_of_its_first_frames() {
        painted_in_the_first_buffers(0.0);
    }

    #[test]
    fn so_is_one_that_rolls() {
        painted_in_the_first_buffers(0.75);
    }

    /// `roll` is what every frame adds.
    fn painted_in_the_first_buffers(roll: f64) {
        let size = Size::new(200, 150);
        let half = Siting { step_x: 2.0, step_y: 1.0, origin_x: 1.0, origin_y: 0.5 };
        let plane = |width: u32, siting| {
            let samples = Samples::Eight(vec![90; width as usize * 150]);
            Plane { samples, width, height: 150, stride: width as usize, siting }
        };
        let planes = vec![plane(200, Siting::FULL), plane(100, half), plane(100, half)];
        let profile = Profile::AdobeRgb;
        let picture = Picture { size, model: Model::YCbCr601, planes, profile, first_row: 0, end_row: 150 };
        let mut painter = Painter::new();
        let mut frame = Frame::new(FrameKind::Yuv420, Size::new(64, 48));
        let mut seen = Vec::new();
        for step in 0..60 {
            let closer = f64::from(step);
            let window = Window::new(closer, 0.75 * closer, 200.0 - 2.0 * closer, 150.0 - 1.5 * closer);
            let window = if roll == 0.0 { window } else { window.rolled(roll * closer).moved_inside(size) };
            painter.paint(&picture, window, Sharpness::Even, &mut frame).unwrap();
            // Tables are made anew in the place of old ones, of other axes: by then each has been as large as it gets.
            if step == 20 {
                seen = buffers(&painter);
            }
        }
        assert_eq!(seen, buffers(&painter));
    }
}

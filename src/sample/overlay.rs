//! Lays coloured sheets over finished frames, in linear light.
//!
//! A sheet covers each of its pixels by so much. What is covered in part is made into light, mixed with the sheet's
//! light and encoded again; what is not covered keeps its codes to the bit.
//!
//! ## Decisions
//!
//! - Luma is mixed at every pixel. A chroma sample is the mean, by the weights of its siting, of the chroma that the
//!   pixels around it come to: ¼, ½, ¼ across where it is co-sited with every other pixel, ½, ½ down where it lies
//!   between two rows (common practice for left-sited 4:2:0, no source). Under each of those pixels the frame has the
//!   sample's own chroma. So a sample that nothing covers stays as it is, and one that is all covered has the sheet's
//!   chroma and nothing of what is below.
//! - The last step is the ordinary one: the same thresholds as for the frame. A whole code stays that code.

use super::colour::{LUMA_709, Matrix, Mix, Target, rgb_of_differences};
use super::dither::{self, Place, SIDE};
use super::light::Curve;
use super::{CodeRange, YUV8};
use crate::picture::{Frame, Pixels};

/// Codes of 8 bits; those of 10 are four times as many.
const LUMA: CodeRange = YUV8[0];
const BLUE: CodeRange = YUV8[1];
const RED: CodeRange = YUV8[2];

/// A sheet over a part of a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlay {
    /// The frame's column of its first pixel.
    pub left: usize,
    /// The frame's row of its first pixel.
    pub top: usize,
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Light of R, G and B (sRGB's primaries) times how much of the pixel is covered, and how much that is, 0 to 1; in
    /// rows.
    pub pixels: Vec<[f32; 4]>,
}

/// Light of an sRGB value from 0 to 1, from 0 to 1.
#[must_use]
pub fn light_of(value: f32) -> f32 {
    Curve::get().light_of(value)
}

impl Overlay {
    /// A clear sheet.
    #[must_use]
    pub fn clear((left, top): (usize, usize), (width, height): (usize, usize)) -> Self {
        Self { left, top, width, height, pixels: vec![[0.0; 4]; width * height] }
    }

    /// Lays a coat of one colour (sRGB, 0 to 1) over the sheet, which covers its pixels by so much.
    pub fn coat(&mut self, coverage: &[f32], colour: [f32; 3]) {
        let light = colour.map(light_of);
        for (pixel, coverage) in self.pixels.iter_mut().zip(coverage) {
            let [red, green, blue, below] = pixel.map(|part| part * (1.0 - coverage));
            *pixel =
                [red + light[0] * coverage, green + light[1] * coverage, blue + light[2] * coverage, below + coverage];
        }
    }

    /// The same without the edges that cover nothing; none where all of it covers nothing.
    #[must_use]
    pub fn cropped(self) -> Option<Self> {
        let Self { left, top, width, height, pixels } = &self;
        let covers = |row: usize, column: usize| pixels[row * width + column][3] > 0.0;
        let rows: Vec<usize> = (0..*height).filter(|row| (0..*width).any(|column| covers(*row, column))).collect();
        let columns: Vec<usize> = (0..*width).filter(|column| (0..*height).any(|row| covers(row, *column))).collect();
        let (first, last) = (*rows.first()?, *rows.last()?);
        let (from, to) = (*columns.first()?, *columns.last()?);
        let kept = (first..=last).flat_map(|row| &pixels[row * width + from..=row * width + to]).copied().collect();
        Some(Self { left: left + from, top: top + first, width: to - from + 1, height: last - first + 1, pixels: kept })
    }

    /// What covers a pixel of the frame; nothing outside the sheet.
    #[inline]
    fn at(&self, column: usize, row: usize) -> [f32; 4] {
        match (column.checked_sub(self.left), row.checked_sub(self.top)) {
            (Some(column), Some(row)) if column < self.width && row < self.height => {
                self.pixels[row * self.width + column]
            }
            _ => [0.0; 4],
        }
    }
}

/// A frame's code.
trait Code: Copy {
    fn value(self) -> f32;
    /// From a whole number that it can hold.
    fn of(whole: u32) -> Self;
}

impl Code for u8 {
    fn value(self) -> f32 {
        f32::from(self)
    }

    fn of(whole: u32) -> Self {
        Self::try_from(whole).unwrap_or(Self::MAX)
    }
}

impl Code for u16 {
    fn value(self) -> f32 {
        f32::from(self)
    }

    fn of(whole: u32) -> Self {
        Self::try_from(whole).unwrap_or(Self::MAX)
    }
}

/// A frame's planes of BT.709 Y'CbCr, limited range.
struct Planes<'a, C> {
    luma: &'a mut [C],
    blue: &'a mut [C],
    red: &'a mut [C],
    width: usize,
    height: usize,
    /// Pixels from one chroma sample to the next, across and down: 1 or 2.
    spacing: [usize; 2],
    /// Codes for one of 8 bits.
    unit: f32,
}

/// Lays sheets over frames, owning the scratch space.
#[derive(Debug, Default)]
pub struct Overlayer {
    chroma: Vec<Option<[f32; 2]>>,
}

impl Overlayer {
    /// Lays a sheet over a frame; what sticks out is left out. A frame of a still's own planes is left alone.
    pub fn lay(&mut self, sheet: &Overlay, frame: &mut Frame) {
        let (width, height) = (frame.size.width as usize, frame.size.height as usize);
        match &mut frame.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                let planes = Planes { luma: y, blue: cb, red: cr, width, height, spacing: [2, 2], unit: 1.0 };
                self.lay_over(sheet, planes);
            }
            Pixels::Yuv10 { chroma, y, cb, cr } => {
                let (across, down) = chroma.spacing();
                let spacing = [across as usize, down as usize];
                self.lay_over(sheet, Planes { luma: y, blue: cb, red: cr, width, height, spacing, unit: 4.0 });
            }
            Pixels::Rgb8(pixels) => {
                lay_over_rgb(sheet, pixels, (width, height), 255.0, |place, column, row| {
                    dither::thresholds(place, row)[column % SIDE]
                });
            }
            // Nothing of 16 bits is dithered: half a code makes rounding of it.
            Pixels::Rgb16(pixels) => lay_over_rgb(sheet, pixels, (width, height), 65_535.0, |_, _, _| 128),
            Pixels::Planes(_) => {}
        }
    }

    fn lay_over<C: Code>(&mut self, sheet: &Overlay, planes: Planes<'_, C>) {
        let mixing = Mixing::new();
        let (right, bottom) =
            ((sheet.left + sheet.width).min(planes.width), (sheet.top + sheet.height).min(planes.height));
        if sheet.left >= right || sheet.top >= bottom {
            return;
        }
        // New chroma is of old luma, and new luma of old chroma.
        let [across, down] = planes.spacing;
        // A co-sited sample is also of the pixel before its own.
        let columns = sheet.left / across..(right.div_ceil(across) + across - 1).min(planes.width.div_ceil(across));
        let rows = sheet.top / down..bottom.div_ceil(down).min(planes.height.div_ceil(down));
        self.chroma.clear();
        for row in rows.clone() {
            self.chroma.extend(columns.clone().map(|column| planes.chroma_under(sheet, &mixing, column, row)));
        }
        for row in sheet.top..bottom {
            let thresholds = dither::thresholds(Place::Luma, row);
            for column in sheet.left..right {
                let cover = sheet.at(column, row);
                if cover[3] <= 0.0 {
                    continue;
                }
                let at = row * planes.width + column;
                let value = planes.value(planes.luma[at], LUMA);
                let [blue, red] = planes.chroma_at(column, row);
                let [luma, ..] = mixing.mixed([value, blue, red], cover);
                planes.luma[at] = code(luma, LUMA, planes.unit, thresholds[column % SIDE]);
            }
        }
        let stride = planes.width.div_ceil(across);
        let mut made = self.chroma.iter();
        for row in rows {
            let thresholds = [Place::BlueDifference, Place::RedDifference].map(|place| dither::thresholds(place, row));
            for (column, chroma) in columns.clone().zip(made.by_ref()) {
                let Some([blue, red]) = *chroma else { continue };
                let at = row * stride + column;
                planes.blue[at] = code(blue, BLUE, planes.unit, thresholds[0][column % SIDE]);
                planes.red[at] = code(red, RED, planes.unit, thresholds[1][column % SIDE]);
            }
        }
    }
}

/// The code of a value by the ordinary last step.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held within the codes")]
fn code<C: Code>(value: f32, range: CodeRange, unit: f32, threshold: u8) -> C {
    let [low, high] = range.within.map(|end| end * unit);
    let code = (range.per_unit as f32 * value + range.zero as f32) * unit;
    let parts = (code.max(low).min(high) * 256.0).round() as u32;
    C::of((parts + u32::from(threshold)) >> 8)
}

impl<C: Code> Planes<'_, C> {
    /// The value of a code: Y' from 0 to 1, differences from −1/2 to 1/2.
    #[expect(clippy::cast_possible_truncation, reason = "small numbers")]
    fn value(&self, code: C, range: CodeRange) -> f32 {
        (code.value() / self.unit - range.zero as f32) / range.per_unit as f32
    }

    /// The chroma of a sample.
    fn sample(&self, column: usize, row: usize) -> [f32; 2] {
        let at = row * self.width.div_ceil(self.spacing[0]) + column;
        [self.value(self.blue[at], BLUE), self.value(self.red[at], RED)]
    }

    /// The chroma at a pixel, between the samples around it.
    #[expect(clippy::cast_precision_loss, reason = "pixels of a frame")]
    fn chroma_at(&self, column: usize, row: usize) -> [f32; 2] {
        // Across, samples are co-sited with pixels; down, each lies between two rows.
        let between = |place: f32, samples: usize| {
            let place = place.clamp(0.0, (samples - 1) as f32);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a sample of the plane")]
            let first = place as usize;
            (first, (first + 1).min(samples - 1), place - first as f32)
        };
        let [across, down] = self.spacing;
        let (left, right, further) = between(column as f32 / across as f32, self.width.div_ceil(across));
        let down_place = (row as f32 - (down - 1) as f32 / 2.0) / down as f32;
        let (above, below, lower) = between(down_place, self.height.div_ceil(down));
        let mix = |one: [f32; 2], other: [f32; 2], share: f32| {
            [one[0] + (other[0] - one[0]) * share, one[1] + (other[1] - one[1]) * share]
        };
        let across = |row: usize| match further {
            0.0 => self.sample(left, row),
            _ => mix(self.sample(left, row), self.sample(right, row), further),
        };
        if lower == 0.0 { across(above) } else { mix(across(above), across(below), lower) }
    }

    /// What the chroma of a sample comes to under a sheet; none where that covers none of its pixels.
    fn chroma_under(&self, sheet: &Overlay, mixing: &Mixing, column: usize, row: usize) -> Option<[f32; 2]> {
        const CO_SITED: [(isize, f32); 3] = [(-1, 0.25), (0, 0.5), (1, 0.25)];
        const BETWEEN: [(isize, f32); 2] = [(0, 0.5), (1, 0.5)];
        const ALONE: [(isize, f32); 1] = [(0, 1.0)];
        let [across, down] = self.spacing;
        let across_taps: &[_] = if across == 1 { &ALONE } else { &CO_SITED };
        let down_taps: &[_] = if down == 1 { &ALONE } else { &BETWEEN };
        let own = self.sample(column, row);
        let (mut sum, mut is_covered) = ([0.0; 2], false);
        for (step, by_row) in down_taps {
            let y = (row * down).saturating_add_signed(*step).min(self.height - 1);
            for (step, by_column) in across_taps {
                let x = (column * across).saturating_add_signed(*step).min(self.width - 1);
                let (cover, weight) = (sheet.at(x, y), by_row * by_column);
                let [blue, red] = if cover[3] > 0.0 {
                    is_covered = true;
                    let luma = self.value(self.luma[y * self.width + x], LUMA);
                    let [_, blue, red] = mixing.mixed([luma, own[0], own[1]], cover);
                    [blue, red]
                } else {
                    own
                };
                sum[0] += weight * blue;
                sum[1] += weight * red;
            }
        }
        is_covered.then_some(sum)
    }
}

/// Y'CbCr to light and back.
struct Mixing {
    curve: &'static Curve,
    to_rgb: [[f32; 3]; 3],
    from_rgb: [[f32; 3]; 3],
}

impl Mixing {
    fn new() -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "f32 holds 24 bits, 14 are promised")]
        let narrow = |matrix: Matrix| matrix.map(|row| row.map(|factor| factor as f32));
        Self {
            curve: Curve::get(),
            to_rgb: narrow(rgb_of_differences(LUMA_709)),
            from_rgb: narrow(Mix::of_rgb(Target::Differences709).by),
        }
    }

    /// Y', Cb, Cr with what covers them.
    #[inline]
    fn mixed(&self, differences: [f32; 3], [red, green, blue, cover]: [f32; 4]) -> [f32; 3] {
        let times = |matrix: &[[f32; 3]; 3], values: [f32; 3]| {
            matrix.map(|row| row[0] * values[0] + row[1] * values[1] + row[2] * values[2])
        };
        let mut light = [red, green, blue];
        if cover < 1.0 {
            let below = times(&self.to_rgb, differences).map(|value| self.curve.light_of(value));
            for (light, below) in light.iter_mut().zip(below) {
                *light += below * (1.0 - cover);
            }
        }
        times(&self.from_rgb, light.map(|light| self.curve.value_of(light)))
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held within the codes")]
fn lay_over_rgb<C: Code>(
    sheet: &Overlay,
    pixels: &mut [C],
    (width, height): (usize, usize),
    most: f32,
    threshold: impl Fn(Place, usize, usize) -> u8,
) {
    let curve = Curve::get();
    let (right, bottom) = ((sheet.left + sheet.width).min(width), (sheet.top + sheet.height).min(height));
    for row in sheet.top..bottom {
        for column in sheet.left..right {
            let [red, green, blue, cover] = sheet.at(column, row);
            if cover <= 0.0 {
                continue;
            }
            let at = 3 * (row * width + column);
            let channels = pixels[at..at + 3].iter_mut().zip([red, green, blue]).zip(Place::ALL);
            for ((code, light), place) in channels {
                let below = curve.light_of(code.value() / most);
                let value = curve.value_of(light + below * (1.0 - cover).max(0.0));
                let parts = ((value * most).clamp(0.0, most) * 256.0).round() as u32;
                *code = C::of((parts + u32::from(threshold(place, column, row))) >> 8);
            }
        }
    }
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "made-up pixels")]
mod tests {
    use super::*;
    use crate::picture::FrameKind;
    use crate::units::Size;

    /// A frame of noise, by the generator of Numerical Recipes.
    fn noise(size: Size) -> Frame {
        let mut frame = Frame::new(FrameKind::Yuv420, size);
        let mut state = 7_u32;
        let mut next = |low: u32, high: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (low + (state >> 16) % (high - low + 1)) as u8
        };
        if let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels {
            y.iter_mut().for_each(|code| *code = next(60, 180));
            cb.iter_mut().chain(cr).for_each(|code| *code = next(100, 156));
        }
        frame
    }

    fn planes(frame: &Frame) -> [&[u8]; 3] {
        match &frame.pixels {
            Pixels::Yuv420 { y, cb, cr } => [y, cb, cr],
            _ => panic!("another kind of frame"),
        }
    }

    fn laid(sheet: &Overlay, frame: &Frame) -> Frame {
        let mut frame = frame.clone();
        Overlayer::default().lay(sheet, &mut frame);
        frame
    }

    /// A sheet of one colour that covers its pixels by so much.
    fn sheet(place: (usize, usize), size: (usize, usize), cover: f32, colour: [f32; 3]) -> Overlay {
        let mut sheet = Overlay::clear(place, size);
        sheet.coat(&vec![cover; size.0 * size.1], colour);
        sheet
    }

    // IEC 61966-2-1's curve and ITU-R BT.709-6's matrix and codes, in f64.
    fn light(value: f64) -> f64 {
        let size = value.abs();
        (if size <= 0.040_45 { size / 12.92 } else { ((size + 0.055) / 1.055).powf(2.4) }).copysign(value)
    }

    fn encoded(light: f64) -> f64 {
        let size = light.abs();
        (if size <= 0.003_130_8 { size * 12.92 } else { 1.055 * size.powf(1.0 / 2.4) - 0.055 }).copysign(light)
    }

    fn differences([red, green, blue]: [f64; 3]) -> [f64; 3] {
        let luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
        [luma, (blue - luma) / 1.8556, (red - luma) / 1.5748]
    }

    fn rgb([luma, blue, red]: [f64; 3]) -> [f64; 3] {
        let (red, blue) = (luma + 1.5748 * red, luma + 1.8556 * blue);
        [red, (luma - 0.2126 * red - 0.0722 * blue) / 0.7152, blue]
    }

    /// Y', Cb, Cr under a sheet.
    fn mixed(below: [f64; 3], colour: [f64; 3], cover: f64) -> [f64; 3] {
        let below = rgb(below);
        differences(std::array::from_fn(|at| encoded(light(below[at]) * (1.0 - cover) + light(colour[at]) * cover)))
    }

    fn values(codes: [f64; 3]) -> [f64; 3] {
        [(codes[0] - 16.0) / 219.0, (codes[1] - 128.0) / 224.0, (codes[2] - 128.0) / 224.0]
    }

    #[test]
    fn what_is_all_covered_has_the_sheets_colour_and_what_is_not_keeps_its_codes() {
        let frame = noise(Size::new(40, 24));
        let colour = [0.9, 0.3, 0.1];
        let after = laid(&sheet((9, 5), (14, 10), 1.0, colour), &frame);
        let [luma, blue, red] = differences(colour.map(f64::from));
        let due = [16.0 + 219.0 * luma, 128.0 + 224.0 * blue, 128.0 + 224.0 * red];
        for y in 0..24 {
            for x in 0..40 {
                let (before, after) = (planes(&frame)[0][40 * y + x], planes(&after)[0][40 * y + x]);
                if (9..23).contains(&x) && (5..15).contains(&y) {
                    assert!((f64::from(after) - due[0]).abs() < 1.0, "{after} at {x}, {y}");
                } else {
                    assert_eq!(before, after, "{x}, {y}");
                }
            }
        }
        for plane in [1, 2] {
            for y in 0..12 {
                for x in 0..20 {
                    let (before, after) = (planes(&frame)[plane][20 * y + x], planes(&after)[plane][20 * y + x]);
                    // Sample x is of pixels 2x - 1 to 2x + 1, and of rows 2y and 2y + 1.
                    let columns = [2 * x as i64 - 1, 2 * x as i64, 2 * x as i64 + 1].map(|at| (9..23).contains(&at));
                    let rows = [2 * y, 2 * y + 1].map(|at| (5..15).contains(&at));
                    if columns == [true; 3] && rows == [true; 2] {
                        assert!((f64::from(after) - due[plane]).abs() < 1.0, "{after} in {plane} at {x}, {y}");
                    } else if columns == [false; 3] || rows == [false; 2] {
                        assert_eq!(before, after, "plane {plane}, {x}, {y}");
                    }
                }
            }
        }
        // White and black come out exactly.
        for (colour, code) in [([1.0; 3], 235), ([0.0; 3], 16)] {
            let after = laid(&sheet((8, 4), (8, 8), 1.0, colour), &frame);
            for y in 4..12 {
                assert_eq!(planes(&after)[0][40 * y + 8..40 * y + 16], [code; 8]);
            }
            assert_eq!((planes(&after)[1][20 * 3 + 5], planes(&after)[2][20 * 3 + 5]), (128, 128));
        }
    }

    #[test]
    fn what_is_covered_in_part_is_the_sum_of_light_with_chroma_by_its_siting() {
        // A flat frame: what is between chroma samples is known.
        let mut frame = Frame::new(FrameKind::Yuv420, Size::new(32, 16));
        let below = [90_u8, 110, 150];
        if let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels {
            y.fill(below[0]);
            cb.fill(below[1]);
            cr.fill(below[2]);
        }
        let base = values(below.map(f64::from));
        for (colour, cover) in [([0.2, 0.9, 0.6], 0.5), ([1.0, 1.0, 1.0], 0.1), ([0.0, 0.1, 0.9], 0.85)] {
            let narrow = colour.map(|value: f64| value as f32);
            let due = mixed(base, colour, cover);
            // Pixel 11 alone across: a quarter of sample 5 (pixels 9 to 11) and a quarter of sample 6 (11 to 13); rows 4
            // to 7 are samples 2 and 3.
            let after = laid(&sheet((11, 4), (1, 4), cover as f32, narrow), &frame);
            for (sample, share) in [(4, 0.0), (5, 0.25), (6, 0.25), (7, 0.0)] {
                for plane in [1, 2] {
                    let code = 128.0 + 224.0 * (base[plane] + (due[plane] - base[plane]) * share);
                    for row in [2, 3] {
                        let seen = f64::from(planes(&after)[plane][16 * row + sample]);
                        assert!((seen - code).abs() < 1.01, "{seen} for {code} in {plane}, sample {sample}");
                    }
                }
            }
            // A pixel on its own site: half of its sample. One row of two: half of that.
            let after = laid(&sheet((10, 5), (1, 1), cover as f32, narrow), &frame);
            for plane in [1, 2] {
                let code = 128.0 + 224.0 * (base[plane] + (due[plane] - base[plane]) * 0.25);
                assert!((f64::from(planes(&after)[plane][16 * 2 + 5]) - code).abs() < 1.01);
                assert_eq!(planes(&after)[plane][16 * 3 + 5], below[plane]);
            }
            // Dither keeps the mean of a wide area.
            let after = laid(&sheet((0, 0), (32, 16), cover as f32, narrow), &frame);
            for plane in 0..3 {
                let codes = planes(&after)[plane];
                let mean = codes.iter().map(|code| f64::from(*code)).sum::<f64>() / codes.len() as f64;
                let code = [16.0 + 219.0 * due[0], 128.0 + 224.0 * due[1], 128.0 + 224.0 * due[2]][plane];
                assert!((mean - code).abs() < 0.15, "{mean} for {code} in {plane}");
            }
        }
    }

    #[test]
    fn ten_bit_codes_and_other_spacings_of_chroma_are_laid_over_alike() {
        let (width, height) = (16, 8);
        let colour = [0.7_f32, 0.2, 0.4];
        let sheet = sheet((4, 2), (8, 4), 1.0, colour);
        let due = differences(colour.map(f64::from));
        for spacing in [[2, 2], [2, 1], [1, 1]] {
            let samples = (width / spacing[0]) * (height / spacing[1]);
            let (mut luma, mut blue, mut red) = (vec![300_u16; width * height], vec![512; samples], vec![480; samples]);
            let planes = Planes { luma: &mut luma, blue: &mut blue, red: &mut red, width, height, spacing, unit: 4.0 };
            Overlayer::default().lay_over(&sheet, planes);
            let within = |x: usize, y: usize| (4..12).contains(&x) && (2..6).contains(&y);
            for (at, code) in luma.iter().enumerate() {
                let expected = if within(at % width, at / width) { 4.0 * (16.0 + 219.0 * due[0]) } else { 300.0 };
                assert!((f64::from(*code) - expected).abs() < 1.0, "{spacing:?}: {code} for {expected}");
            }
            // In the middle of the sheet, and far from it.
            let stride = width / spacing[0];
            let middle = 4 / spacing[1] * stride + 8 / spacing[0];
            for (plane, value, below) in [(&blue, due[1], 512), (&red, due[2], 480)] {
                let expected = 4.0 * (128.0 + 224.0 * value);
                assert!((f64::from(plane[middle]) - expected).abs() < 1.0, "{spacing:?}: {}", plane[middle]);
                assert_eq!((plane[0], plane[samples - 1]), (below, below));
            }
        }
    }

    #[test]
    fn sheets_may_reach_to_the_frames_edges_and_beyond_and_empty_edges_are_cropped() {
        let frame = noise(Size::new(12, 8));
        let whole = laid(&sheet((0, 0), (12, 8), 1.0, [0.5; 3]), &frame);
        assert_eq!(whole, laid(&sheet((0, 0), (30, 30), 1.0, [0.5; 3]), &frame));
        assert_eq!(frame, laid(&sheet((12, 8), (4, 4), 1.0, [0.5; 3]), &frame));
        assert_eq!(frame, laid(&sheet((2, 2), (4, 4), 0.0, [0.5; 3]), &frame));
        let mut inner = Overlay::clear((3, 1), (6, 5));
        inner.pixels[2 * 6 + 4] = [0.1, 0.1, 0.1, 0.5];
        let cropped = inner.clone().cropped().unwrap();
        assert_eq!((cropped.left, cropped.top, cropped.width, cropped.height), (7, 3, 1, 1));
        assert_eq!(laid(&inner, &frame), laid(&cropped, &frame));
        assert_eq!(Overlay::clear((0, 0), (4, 4)).cropped(), None);
    }
}

//! A picture in linear light, so that what is resampled is light.
//!
//! A mean of encoded values is darker than the mean of their light: stars, wires and lamps lose light where a frame has
//! fewer pixels than its window. In comes a decoded picture, out goes one of the same rows whose samples are
//! proportional to light, in sRGB's primaries, with colour at luma's own resolution. Painting it costs more: once a
//! still for this, and three full planes for each frame.
//!
//! ## Decisions
//!
//! - Chroma between its samples lies on straight lines; a kernel resamples the outcome anyway.
//! - Samples have 16 bits: the darkest step of ten bits of code is five of them.

use std::ops::Range;
use std::sync::LazyLock;

use super::colour::{Mix, Target};
use super::light::Curve;
use super::{PaintError, Painter, convert};
use crate::picture::{Model, Picture, Plane, Profile, Samples};

/// Light of encoded values, both of 16 bits.
static LIGHT: LazyLock<Box<[u16; 1 << 16]>> = LazyLock::new(|| {
    let curve = Curve::get();
    let mut light = Box::new([0; 1 << 16]);
    for (value, light) in (0..=u16::MAX).zip(light.iter_mut()) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 65,535")]
        let of_value = (65_535.0 * curve.light_of(f32::from(value) / 65_535.0) + 0.5) as u16;
        *light = of_value;
    }
    light
});

impl Painter {
    /// The picture in linear light, in a spare one's memory where that is large enough.
    ///
    /// # Errors
    /// [`PaintError`] where the picture's colours cannot be converted.
    pub fn in_light(&mut self, picture: &Picture, spare: Option<Picture>) -> Result<Picture, PaintError> {
        let conversion = self.conversions.find(picture)?;
        let Self { conversions, scratch, .. } = self;
        let conversion = conversion.map(|place| conversions.get(place));
        let to_rgb = Mix::of_samples(picture, Target::Rgb);
        let luma = &picture.planes[0];
        let (width, height) = (luma.width as usize, luma.height as usize);
        let grey = picture.model == Model::Grey;
        let mut made = spare.map_or_else(Vec::new, |spare| spare.planes).into_iter();
        let mut planes: Vec<Vec<u16>> = (0..if grey { 1 } else { 3 })
            .map(|_| match made.next().map(|plane| plane.samples) {
                Some(Samples::Sixteen(samples)) => samples,
                _ => Vec::new(),
            })
            .collect();
        planes.iter_mut().for_each(|plane| plane.resize(width * height, 0));
        let light: &[u16; 1 << 16] = &LIGHT;
        let rows = rows_held(picture, luma);
        let across: Vec<Option<Vec<(usize, f32)>>> =
            picture.planes.iter().map(|plane| between(plane, luma, width)).collect();
        for row in &mut scratch.rows {
            row.clear();
            row.resize(width, 0.0);
        }
        for row in rows {
            for ((plane, across), out) in picture.planes.iter().zip(&across).zip(&mut scratch.rows) {
                lay(plane, luma, row, &rows_held(picture, plane), across.as_deref(), out);
            }
            match conversion {
                Some(conversion) => convert(conversion, &to_rgb, scratch)?,
                None => {
                    let [red, green, blue] = [0, 1, 2].map(|out| to_rgb.scaled(out, 1.0, 0.0));
                    let sum =
                        |(by, add): ([f32; 3], f32), a: f32, b: f32, c: f32| add + by[0] * a + by[1] * b + by[2] * c;
                    let [a, b, c] = &mut scratch.rows;
                    for ((a, b), c) in a.iter_mut().zip(b).zip(c) {
                        (*a, *b, *c) = (sum(red, *a, *b, *c), sum(green, *a, *b, *c), sum(blue, *a, *b, *c));
                    }
                }
            }
            for (plane, values) in planes.iter_mut().zip(&scratch.rows) {
                for (out, value) in plane[row * width..][..width].iter_mut().zip(values) {
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 65,535")]
                    let value = (value.clamp(0.0, 1.0) * 65_535.0 + 0.5) as u16;
                    *out = light[usize::from(value)];
                }
            }
        }
        let plane = |samples| Plane { samples: Samples::Sixteen(samples), stride: width, ..*luma };
        Ok(Picture {
            size: picture.size,
            model: if grey { Model::Grey } else { Model::Rgb },
            planes: planes.into_iter().map(plane).collect(),
            profile: Profile::Light,
            first_row: picture.first_row,
            end_row: picture.end_row,
        })
    }
}

/// The rows of a plane whose samples lie within those that the picture holds.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rows of a picture")]
fn rows_held(picture: &Picture, plane: &Plane) -> Range<usize> {
    let at = |row: u32| (f64::from(row) - plane.siting.origin_y) / plane.siting.step_y;
    let first = at(picture.first_row).ceil().max(0.0) as usize;
    let end = (at(picture.end_row).ceil().max(0.0) as usize).min(plane.height as usize);
    first.min(end.saturating_sub(1))..end
}

/// For each sample across luma, the sample of a plane at or before it, and how far it lies on the way to the next; none
/// where they coincide.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "samples of a picture"
)]
fn between(plane: &Plane, luma: &Plane, width: usize) -> Option<Vec<(usize, f32)>> {
    let (own, of) = (plane.siting, luma.siting);
    if own == of && plane.width == luma.width {
        return None;
    }
    let last = f64::from(plane.width.saturating_sub(1));
    let place = |x: usize| ((of.origin_x + x as f64 * of.step_x - own.origin_x) / own.step_x).clamp(0.0, last);
    Some((0..width).map(place).map(|at| (at as usize, (at - at.floor()) as f32)).collect())
}

/// A plane's values at the samples of a row of luma, raw, on straight lines between its own.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "samples of a picture"
)]
fn lay(plane: &Plane, luma: &Plane, row: usize, held: &Range<usize>, across: Option<&[(usize, f32)]>, out: &mut [f32]) {
    let (own, of) = (plane.siting, luma.siting);
    let (first, last) = (held.start as f64, held.end.saturating_sub(1) as f64);
    let at = ((of.origin_y + row as f64 * of.step_y - own.origin_y) / own.step_y).clamp(first, last);
    let (above, share) = (at as usize, (at - at.floor()) as f32);
    let below = (above + 1).min(held.end.saturating_sub(1));
    let (width, stride) = (plane.width as usize, plane.stride);
    match &plane.samples {
        Samples::Eight(samples) => {
            let line = |row: usize| &samples[row * stride..][..width];
            mix(line(above), line(below), share, across, out);
        }
        Samples::Sixteen(samples) => {
            let line = |row: usize| &samples[row * stride..][..width];
            mix(line(above), line(below), share, across, out);
        }
    }
}

/// Between two rows and between their samples.
fn mix<T: Copy + Into<f32>>(above: &[T], below: &[T], down: f32, across: Option<&[(usize, f32)]>, out: &mut [f32]) {
    let Some(across) = across else {
        out.iter_mut().zip(above).for_each(|(out, value)| *out = (*value).into());
        return;
    };
    let last = above.len() - 1;
    for (out, (left, share)) in out.iter_mut().zip(across) {
        let right = (left + 1).min(last);
        let [a, b, c, d]: [f32; 4] =
            [above[*left].into(), below[*left].into(), above[right].into(), below[right].into()];
        let (left, right) = (a + (b - a) * down, c + (d - c) * down);
        *out = left + (right - left) * share;
    }
}

//! Stills at a fraction of their size, for looking at and never for a finished frame.
//!
//! ## Decisions
//!
//! - A *small still* has one sample for each square of 2, 4 or 8 pixels a side. libjpeg's reduced transforms are exact
//!   means of squares; planes decoded whole (PNG, TIFF, WebP, inks) are reduced to means here.
//! - It keeps the whole still's coordinates: its planes' sitings say where the means sit (`Siting::of_means`), so
//!   windows, covers, rolls and kernels need know nothing of it and nothing is rounded to the small grid.
//! - libjpeg would decode subsampled chroma with as many samples as luma; it is brought down to its share, which halves
//!   what is kept.

use super::buffers::{self, Shape};
use super::{Decoded, Decoder, header, jpeg, outlived, turn};
use crate::picture::{Coding, LumaWeights, Model, Picture, Plane, Samples};
use crate::shoot::{Damage, Format, Orientation, Still};
use crate::units::Size;

/// The scale of [`Want::Rgb`](super::Want::Rgb) for a still to be looked at: the largest of 1, 2, 4 and 8 that leaves
/// its longer side `at_least` pixels.
#[must_use]
pub fn denominator(stored: Size, at_least: u32) -> u32 {
    let longer = stored.width.max(stored.height);
    [8, 4, 2].into_iter().find(|denominator| longer / denominator >= at_least).unwrap_or(1)
}

impl Decoder {
    /// The file in memory as [`Want::Rgb`](super::Want::Rgb).
    pub(super) fn rgb(&mut self, still: &Still, denominator: u32, spare: Option<Picture>) -> Result<Picture, Damage> {
        if header::format(&self.file)? != Format::Jpeg {
            return Ok(reduced(&self.all_planes(still)?, denominator, spare));
        }
        self.turned(still, spare, |decoder, planes| jpeg::small(decoder, still, denominator, planes))
    }

    /// The file in memory as [`Want::Luma`](super::Want::Luma).
    pub(super) fn luma(&mut self, still: &Still, denominator: u32, spare: Option<Picture>) -> Result<Picture, Damage> {
        if header::format(&self.file)? != Format::Jpeg {
            return Ok(reduced_luma(&self.all_planes(still)?, denominator, spare));
        }
        let picture =
            self.turned(still, spare, |decoder, planes| jpeg::small_luma(decoder, still, denominator, planes))?;
        Ok(if picture.model == Model::Rgb { luma_of(picture) } else { picture })
    }

    fn all_planes(&mut self, still: &Still) -> Result<Picture, Damage> {
        self.planes(still, 1, 0..still.orientation.upright(still.stored).height, Vec::new())
    }

    /// The small planes that `route` makes of the file in memory, turned upright.
    fn turned(
        &mut self,
        still: &Still,
        spare: Option<Picture>,
        route: impl FnOnce(&mut Self, &mut Vec<Plane>) -> Result<Decoded, Damage>,
    ) -> Result<Picture, Damage> {
        self.remarks.clear();
        let mut planes = spare.map(|picture| picture.planes).unwrap_or_default();
        let upright = still.orientation == Orientation::Upright;
        let mut stored = if upright { std::mem::take(&mut planes) } else { std::mem::take(&mut self.stored) };
        let Decoded { size, model, profile, .. } = outlived(|| route(self, &mut stored))?;
        if upright {
            planes = stored;
        } else {
            turn::turn(&stored, size, still.orientation, &mut planes);
            self.stored = stored;
        }
        let size = still.orientation.upright(size);
        Ok(Picture { size, model, planes, profile, first_row: 0, end_row: size.height })
    }
}

/// As [`reduced`], but one plane of luma as it is coded.
#[must_use]
pub fn reduced_luma(whole: &Picture, denominator: u32, spare: Option<Picture>) -> Picture {
    if whole.model == Model::Rgb {
        return luma_of(reduced(whole, denominator, spare));
    }
    let size = Size::new(whole.size.width.div_ceil(denominator), whole.size.height.div_ceil(denominator));
    let mut planes = spare.map(|picture| picture.planes).unwrap_or_default();
    buffers::eight(&mut planes, &[Shape::full(size)]);
    for (code, mean) in
        buffers::bytes(&mut planes[0]).iter_mut().zip(means(&whole.planes[0], whole.size, size, denominator))
    {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a code")]
        let rounded = mean.round().clamp(0.0, 255.0) as u8;
        *code = rounded;
    }
    let profile = whole.profile.clone();
    Picture { size, model: Model::Grey, planes, profile, first_row: 0, end_row: size.height }
}

/// The luma of R'G'B' planes of 8 bits.
fn luma_of(mut picture: Picture) -> Picture {
    let planes = &mut picture.planes;
    if let [red, green, blue] = planes.as_mut_slice() {
        for ((red, green), blue) in buffers::bytes(red).iter_mut().zip(buffers::bytes(green)).zip(buffers::bytes(blue))
        {
            // BT.601's weights in 65,536ths.
            let luma =
                (19_595 * u32::from(*red) + 38_470 * u32::from(*green) + 7_471 * u32::from(*blue) + 32_768) >> 16;
            *red = u8::try_from(luma).unwrap_or(u8::MAX);
        }
        planes.truncate(1);
    }
    Picture { model: Model::Grey, ..picture }
}

/// A whole picture, a recording's frame for one, as R'G'B' of 8 bits with sides `denominator` (1 or more) times
/// smaller, rounded up: means of squares of codes. `spare` is a picture no longer needed.
#[must_use]
pub fn reduced(whole: &Picture, denominator: u32, spare: Option<Picture>) -> Picture {
    let size = Size::new(whole.size.width.div_ceil(denominator), whole.size.height.div_ceil(denominator));
    let mut planes = spare.map(|picture| picture.planes).unwrap_or_default();
    buffers::eight(&mut planes, &[Shape::full(size); 3]);
    let means: Vec<Vec<f32>> = whole.planes.iter().map(|plane| means(plane, whole.size, size, denominator)).collect();
    for at in 0..size.width as usize * size.height as usize {
        let rgb = match (whole.model, means.as_slice()) {
            (Model::YCbCr601, [luma, blue, red, ..]) => {
                // JFIF 1.02: full range, BT.601.
                let (y, cb, cr) = (luma[at], blue[at] - 128.0, red[at] - 128.0);
                [y + 1.402 * cr, y - 0.344_136 * cb - 0.714_136 * cr, y + 1.772 * cb]
            }
            (Model::Video(coding), [luma, rest @ ..]) => {
                of_video(coding, luma[at], rest.first_chunk().map(|[b, r]| [b[at], r[at]]))
            }
            (_, [red, green, blue, ..]) => [red[at], green[at], blue[at]],
            (_, [grey, ..]) => [grey[at]; 3],
            (_, []) => [0.0; 3],
        };
        for (plane, code) in planes.iter_mut().zip(rgb) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a code")]
            let code = code.round().clamp(0.0, 255.0) as u8;
            buffers::bytes(plane)[at] = code;
        }
    }
    let profile = whole.profile.clone();
    Picture { size, model: Model::Rgb, planes, profile, first_row: 0, end_row: size.height }
}

/// R'G'B' of 8 bits of a recording's Y'CbCr, or of its Y' alone (ITU-R BT.601 and BT.709, section 3).
fn of_video(coding: Coding, luma: f32, differences: Option<[f32; 2]>) -> [f32; 3] {
    // Means of more than 8 bits are on the scale of 65,535, where 16 and 235 are 16 · 256 and 235 · 256.
    let code = |code: f32| if coding.bits > 8 && !coding.full_range { code * 257.0 / 256.0 } else { code };
    let (floor, luma_range, range) = if coding.full_range { (0.0, 255.0, 255.0) } else { (16.0, 219.0, 224.0) };
    let luma = (code(luma) - floor) / luma_range * 255.0;
    let [blue, red] = differences.unwrap_or([128.0; 2]).map(|difference| (code(difference) - 128.0) / range * 255.0);
    let (of_red, of_blue) = match coding.weights {
        LumaWeights::Bt601 => (0.299, 0.114),
        LumaWeights::Bt709 => (0.2126, 0.0722),
    };
    let (r, b) = (luma + 2.0 * (1.0 - of_red) * red, luma + 2.0 * (1.0 - of_blue) * blue);
    [r, (luma - of_red * r - of_blue * b) / (1.0 - of_red - of_blue), b]
}

/// Means of a plane over squares of `denominator` pixels, on the scale of 8 bits.
fn means(plane: &Plane, whole: Size, small: Size, denominator: u32) -> Vec<f32> {
    let sample = |at: usize| match &plane.samples {
        Samples::Eight(samples) => f32::from(samples[at]),
        Samples::Sixteen(samples) => f32::from(samples[at]) / 257.0,
    };
    let range = |at: u32, samples: u32, pixels: u32| {
        let edge = |at: u32| {
            let sample = u64::from((at * denominator).min(pixels)) * u64::from(samples) / u64::from(pixels);
            usize::try_from(sample).unwrap_or(usize::MAX)
        };
        let from = edge(at).min(samples as usize - 1);
        from..edge(at + 1).max(from + 1)
    };
    let mut means = Vec::with_capacity(small.width as usize * small.height as usize);
    for y in 0..small.height {
        for x in 0..small.width {
            let (rows, columns) = (range(y, plane.height, whole.height), range(x, plane.width, whole.width));
            #[expect(clippy::cast_precision_loss, reason = "at most 64 samples")]
            let count = (rows.len() * columns.len()) as f32;
            let sum: f32 =
                rows.map(|row| columns.clone().map(|column| sample(row * plane.stride + column)).sum::<f32>()).sum();
            means.push(sum / count);
        }
    }
    means
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_still_is_divided_as_far_as_its_longer_side_allows() {
        let of = |width, height| denominator(Size::new(width, height), 750);
        assert_eq!([of(4000, 3000), of(3000, 4000), of(6000, 4000), of(1920, 1080), of(320, 240)], [4, 4, 8, 2, 1]);
    }
    // ITU-R BT.709, section 3 (and BT.601's the same way): full red is Y' = 16 + 219 · 0.2126, Cr = 240.
    #[test]
    fn a_recordings_codes_become_the_colours_they_stand_for() {
        let coding = |weights, bits, full_range| Coding { weights, full_range, bits };
        let near = |found: [f32; 3], due: [f32; 3]| {
            assert!(found.iter().zip(due).all(|(found, due)| (found - due).abs() < 0.6), "{found:?} for {due:?}");
        };
        near(of_video(coding(LumaWeights::Bt709, 8, false), 62.56, Some([102.33, 240.0])), [255.0, 0.0, 0.0]);
        near(of_video(coding(LumaWeights::Bt601, 8, false), 81.48, Some([90.2, 240.0])), [255.0, 0.0, 0.0]);
        near(of_video(coding(LumaWeights::Bt709, 8, true), 200.0, None), [200.0; 3]);
        // 10 bits: 940 and 512 in the high bits of 16, as means on the scale of 8 bits.
        let ten = |code: f32| code * 64.0 / 257.0;
        near(of_video(coding(LumaWeights::Bt709, 10, false), ten(940.0), Some([ten(512.0); 2])), [255.0; 3]);
    }
}

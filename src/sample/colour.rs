//! What planes mean, as matrices, and embedded profiles as transforms to sRGB.
//!
//! Without a profile everything is linear in the encoded values, so one matrix does it, once: JFIF's Y'CbCr or R'G'B'
//! to BT.709's Y'CbCr or to R'G'B', with no clipping in between. With one, values become R'G'B' from 0 to 1, are
//! clipped there (a profile says nothing about values outside), converted, and go on by the same matrices.

use std::sync::Arc;

use moxcms::{ColorProfile, DataColorSpace, Layout, RenderingIntent, TransformF32Executor, TransformOptions};

use super::PaintError;
use crate::picture::{Coding, LumaWeights, Model, Picture, Plane, Profile, Samples};

/// Three values from three: rows are what comes out, columns what goes in.
pub(super) type Matrix = [[f64; 3]; 3];

/// Weights of R' and B' in luma, JFIF (BT.601-7) and BT.709-6.
const LUMA_601: (f64, f64) = (0.299, 0.114);
pub(super) const LUMA_709: (f64, f64) = (0.2126, 0.0722);

const IDENTITY: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// R'G'B' of Y', Cb, Cr (`Y'` from 0 to 1, the differences from −1/2 to 1/2) by these luma weights.
pub(super) fn rgb_of_differences((red, blue): (f64, f64)) -> Matrix {
    let green = 1.0 - red - blue;
    let (by_blue, by_red) = (2.0 * (1.0 - blue), 2.0 * (1.0 - red));
    [[1.0, 0.0, by_red], [1.0, -by_blue * blue / green, -by_red * red / green], [1.0, by_blue, 0.0]]
}

/// Y', Cb, Cr of R'G'B' by these luma weights.
fn differences_of_rgb((red, blue): (f64, f64)) -> Matrix {
    let luma = [red, 1.0 - red - blue, blue];
    let difference = |own: usize, weight: f64| {
        std::array::from_fn(|from| (f64::from(u8::from(from == own)) - luma[from]) / (2.0 * (1.0 - weight)))
    };
    [luma, difference(2, blue), difference(0, red)]
}

fn product(left: Matrix, right: Matrix) -> Matrix {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| {
            let sum: f64 = (0..3).map(|inner| left[row][inner] * right[inner][column]).sum();
            // JFIF's Y' does not enter BT.709's differences: a remainder of rounding must not make it look as if it
            // did.
            if sum.abs() < 1e-12 { 0.0 } else { sum }
        })
    })
}

/// What a finished frame's values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Target {
    /// R', G', B' from 0 to 1.
    Rgb,
    /// Y' from 0 to 1, Cb and Cr from −1/2 to 1/2, BT.709.
    Differences709,
}

/// Three linear sums of a picture's samples (or of R'G'B' after a profile).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mix {
    /// What samples are multiplied by.
    pub by: Matrix,
    /// What is added to each sum.
    pub add: [f64; 3],
}

impl Mix {
    /// From a picture's samples, as the file has them, to the target.
    pub(super) fn of_samples(picture: &Picture, target: Target) -> Self {
        let meaning = match (picture.model, target) {
            (Model::YCbCr601, target) => of_differences(LUMA_601, target),
            (Model::Video(Coding { weights: LumaWeights::Bt601, .. }), target) => of_differences(LUMA_601, target),
            (Model::Video(Coding { weights: LumaWeights::Bt709, .. }), target) => of_differences(LUMA_709, target),
            (Model::Rgb, target) => Self::of_rgb(target).by,
            (Model::Grey, Target::Rgb) => [[1.0, 0.0, 0.0]; 3],
            (Model::Grey, Target::Differences709) => [[1.0, 0.0, 0.0], [0.0; 3], [0.0; 3]],
        };
        let mut mix = Self { by: meaning, add: [0.0; 3] };
        for (column, plane) in picture.planes.iter().enumerate().take(3) {
            let (zero, span) = match picture.model {
                Model::Video(coding) => video_codes(coding, plane, column > 0),
                Model::YCbCr601 if column > 0 => ((most(plane) + 1.0) / 2.0, most(plane)),
                _ => (0.0, most(plane)),
            };
            for row in 0..3 {
                mix.by[row][column] /= span;
                mix.add[row] -= mix.by[row][column] * zero;
            }
        }
        mix
    }

    /// From R'G'B' from 0 to 1 to the target.
    pub(super) fn of_rgb(target: Target) -> Self {
        let by = match target {
            Target::Rgb => IDENTITY,
            Target::Differences709 => differences_of_rgb(LUMA_709),
        };
        Self { by, add: [0.0; 3] }
    }

    /// Which of the three values going in matter to what comes out at `outs`.
    pub(super) fn needs(&self, outs: &[usize]) -> [bool; 3] {
        std::array::from_fn(|column| outs.iter().any(|&row| self.by[row][column] != 0.0))
    }

    /// The sum that comes out at `out`, times `factor`, plus `add`.
    #[expect(clippy::cast_possible_truncation, reason = "f32 holds 24 bits, 14 are promised")]
    pub(super) fn scaled(&self, out: usize, factor: f64, add: f64) -> ([f32; 3], f32) {
        (self.by[out].map(|by| (by * factor) as f32), (self.add[out] * factor + add) as f32)
    }
}

/// The target's values of Y', Cb, Cr by these luma weights.
fn of_differences(weights: (f64, f64), target: Target) -> Matrix {
    match target {
        Target::Rgb => rgb_of_differences(weights),
        Target::Differences709 if weights == LUMA_709 => IDENTITY,
        Target::Differences709 => product(differences_of_rgb(LUMA_709), rgb_of_differences(weights)),
    }
}

/// A video sample's code of 0 and the codes for a step of 1 (ITU-T H.273, 8.3, equations 23 to 28), in its plane's own
/// units.
fn video_codes(coding: Coding, plane: &Plane, difference: bool) -> (f64, f64) {
    // Codes of more than 8 bits stand in the high bits of 16.
    let unit = if matches!(plane.samples, Samples::Eight(_)) { 1.0 } else { 256.0 };
    let whole = f64::from((1_u32 << coding.bits) - 1) * unit / f64::from(1_u32 << (coding.bits - 8));
    match (coding.full_range, difference) {
        (true, false) => (0.0, whole),
        (true, true) => (128.0 * unit, whole),
        (false, false) => (16.0 * unit, 219.0 * unit),
        (false, true) => (128.0 * unit, 224.0 * unit),
    }
}

/// The highest sample.
fn most(plane: &Plane) -> f64 {
    match plane.samples {
        Samples::Eight(_) => 255.0,
        Samples::Sixteen(_) => 65_535.0,
    }
}

/// An embedded profile, ready to convert with.
pub(super) enum Conversion {
    /// The values are sRGB to within half an 8-bit code: nothing to do.
    Same,
    /// R'G'B' to R'G'B'.
    Colour(Arc<TransformF32Executor>),
    /// Grey to R'G'B'.
    Grey(Arc<TransformF32Executor>),
    /// Linear light to R'G'B' or to grey.
    Light,
}

impl std::fmt::Debug for Conversion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Same => "Same",
            Self::Colour(_) => "Colour",
            Self::Grey(_) => "Grey",
            Self::Light => "Light",
        })
    }
}

/// Conversions made so far: a shoot has one profile, rarely two.
#[derive(Debug, Default)]
pub(super) struct Conversions {
    made: Vec<(Profile, bool, Conversion)>,
}

impl Conversions {
    /// How many are kept: a folder of stills that bring a profile each must not fill the memory.
    const KEPT: usize = 8;

    /// Where to [`get`](Self::get) the conversion of this picture's values to sRGB from; nothing where they are sRGB.
    pub(super) fn find(&mut self, picture: &Picture) -> Result<Option<usize>, PaintError> {
        if picture.profile == Profile::Srgb {
            return Ok(None);
        }
        let grey = picture.model == Model::Grey;
        let found =
            self.made.iter().position(|(profile, was_grey, _)| *profile == picture.profile && *was_grey == grey);
        let place = if let Some(place) = found {
            place
        } else {
            let conversion = conversion(&picture.profile, grey)?;
            if self.made.len() == Self::KEPT {
                self.made.remove(0);
            }
            self.made.push((picture.profile.clone(), grey, conversion));
            self.made.len() - 1
        };
        Ok((!matches!(self.made[place].2, Conversion::Same)).then_some(place))
    }

    /// The conversion at a place [`find`](Self::find) gave last.
    pub(super) fn get(&self, place: usize) -> &Conversion {
        &self.made[place].2
    }
}

/// Relative colorimetric, as matrix profiles have no other intent; no black point compensation (moxcms has none).
fn conversion(profile: &Profile, grey: bool) -> Result<Conversion, PaintError> {
    let refused = |error: moxcms::CmsError| PaintError::Profile(error.to_string());
    let source = match profile {
        Profile::Srgb => return Ok(Conversion::Same),
        Profile::Light => return Ok(Conversion::Light),
        Profile::AdobeRgb => ColorProfile::new_adobe_rgb(),
        Profile::Icc(bytes) => ColorProfile::new_from_slice(bytes).map_err(refused)?,
    };
    let options = TransformOptions {
        rendering_intent: RenderingIntent::RelativeColorimetric,
        // moxcms's vector code for matrix profiles hangs on this, of floats too: four times as fast. Against the exact
        // formulas Adobe RGB and Display P3 come out within 0.04 of an 8-bit code RMS this way, within 0.03 the other.
        prefer_fixed_point: true,
        ..TransformOptions::default()
    };
    let transform =
        |layout| source.create_transform_f32(layout, &ColorProfile::new_srgb(), Layout::Rgb, options).map_err(refused);
    match (source.color_space, grey) {
        (DataColorSpace::Rgb, _) => {
            let transform = transform(Layout::Rgb)?;
            Ok(if changes_nothing(&transform).map_err(refused)? {
                Conversion::Same
            } else {
                Conversion::Colour(transform)
            })
        }
        (DataColorSpace::Gray, true) => Ok(Conversion::Grey(transform(Layout::Gray)?)),
        (space, _) => Err(PaintError::Profile(format!("it describes {space:?}, the picture is {}", picture_is(grey)))),
    }
}

fn picture_is(grey: bool) -> &'static str {
    if grey { "grey" } else { "RGB" }
}

/// Whether a transform leaves every colour of a 9 × 9 × 9 grid within half an 8-bit code of where it was: sRGB by
/// another maker's hand. Such a picture takes the short way, where nothing is clipped either.
fn changes_nothing(transform: &Arc<TransformF32Executor>) -> Result<bool, moxcms::CmsError> {
    let level = |step: u16| f32::from(step) / 8.0;
    let grid: Vec<f32> = (0..729_u16).flat_map(|at| [level(at / 81), level(at / 9 % 9), level(at % 9)]).collect();
    let mut converted = vec![0.0; grid.len()];
    transform.transform(&grid, &mut converted)?;
    Ok(grid.iter().zip(&converted).all(|(from, to)| (from - to).abs() <= 0.5 / 255.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn jfif_luma_does_not_enter_the_differences_of_bt_709() {
        let by = product(differences_of_rgb(LUMA_709), rgb_of_differences(LUMA_601));
        assert_eq!((by[1][0], by[2][0]), (0.0, 0.0));
        assert!((by[0][0] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn differences_and_rgb_are_inverses() {
        let there_and_back = product(rgb_of_differences(LUMA_709), differences_of_rgb(LUMA_709));
        for (row, wanted) in there_and_back.iter().zip(&IDENTITY) {
            for (seen, wanted) in row.iter().zip(wanted) {
                assert!((seen - wanted).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn an_embedded_srgb_profile_needs_no_conversion() {
        let bytes: Arc<[u8]> = ColorProfile::new_srgb().encode().unwrap().into();
        assert!(matches!(conversion(&Profile::Icc(bytes), false), Ok(Conversion::Same)));
        assert!(matches!(conversion(&Profile::AdobeRgb, false), Ok(Conversion::Colour(_))));
    }

    #[test]
    fn a_profile_that_is_none_is_refused() {
        let nonsense: Arc<[u8]> = vec![7; 300].into();
        assert!(matches!(conversion(&Profile::Icc(nonsense), false), Err(PaintError::Profile(_))));
        let grey: Arc<[u8]> = ColorProfile::new_gray_with_gamma(2.2).encode().unwrap().into();
        assert!(matches!(conversion(&Profile::Icc(grey.clone()), true), Ok(Conversion::Grey(_))));
        assert!(matches!(conversion(&Profile::Icc(grey), false), Err(PaintError::Profile(_))));
    }
}

//! Pictures in memory: decoded stills as planes, and finished frames as the encoder takes them.

use std::sync::Arc;

use crate::units::Size;

/// A decoded still, upright: planes as the file has them, never converted.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Upright size of the whole still in luma pixels, also where it was decoded small.
    pub size: Size,
    /// What the planes mean.
    pub model: Model,
    /// Three planes (Y', Cb, Cr or R', G', B'), or one (grey).
    pub planes: Vec<Plane>,
    /// The colour space the values are coded in.
    pub profile: Profile,
    /// First row (luma, upright) that holds decoded pixels; rows above were not asked for.
    pub first_row: u32,
    /// One past the last row that holds decoded pixels.
    pub end_row: u32,
}

/// What a picture's planes mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Model {
    /// JFIF's full-range BT.601 Y'CbCr (Cb and Cr centred on half the range).
    YCbCr601,
    /// R'G'B'.
    Rgb,
    /// One plane of grey.
    Grey,
    /// A recording's Y'CbCr, or its Y' alone.
    Video(Coding),
}

/// How a recording codes Y'CbCr (ITU-T H.273).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Coding {
    /// What luma is made of.
    pub weights: LumaWeights,
    /// Whether codes take the whole range; else luma takes 16 to 235 and the differences 16 to 240, in 8 bits.
    pub full_range: bool,
    /// Bits of a code. More than 8 stand in the high bits of 16.
    pub bits: u32,
}

/// What luma is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LumaWeights {
    /// BT.601's weights.
    Bt601,
    /// BT.709's weights.
    Bt709,
}

/// One plane and where its samples sit over the luma grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// The samples, rows of `stride` each.
    pub samples: Samples,
    /// Samples across that mean something.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Samples from one row to the next, at least `width`.
    pub stride: usize,
    /// Where the samples sit.
    pub siting: Siting,
}

/// A plane's samples at the depth the file gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Samples {
    /// 0 to 255.
    Eight(Vec<u8>),
    /// 0 to 65,535.
    Sixteen(Vec<u16>),
}

impl Samples {
    /// How many there are.
    #[must_use]
    #[expect(clippy::len_without_is_empty, reason = "a plane is never empty")]
    pub fn len(&self) -> usize {
        match self {
            Self::Eight(samples) => samples.len(),
            Self::Sixteen(samples) => samples.len(),
        }
    }
}

/// Where a plane's samples sit over the upright luma plane, per axis: sample `i` has its centre at luma coordinate
/// `origin + i * step`, by the rule that luma pixel `j` has its centre at `j + 0.5`.
///
/// Luma, and every plane that is not subsampled: `step = 1`, `origin = 0.5`. Chroma at half the width, centre-sited:
/// `step = 2`, `origin = 1`; co-sited with the even luma pixels: `step = 2`, `origin = 0.5`. In a still decoded small
/// luma itself has `step = 2`, 4 or 8: coordinates are those of the whole still all the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Siting {
    /// Luma pixels from one sample to the next, across.
    pub step_x: f64,
    /// Luma pixels from one sample to the next, down.
    pub step_y: f64,
    /// Luma coordinate of the first sample's centre, across.
    pub origin_x: f64,
    /// Luma coordinate of the first sample's centre, down.
    pub origin_y: f64,
}

impl Siting {
    /// A plane with one sample a pixel.
    pub const FULL: Self = Self { step_x: 1.0, step_y: 1.0, origin_x: 0.5, origin_y: 0.5 };

    /// Where samples sit that are each the mean of a square of `side` by `side` of these: in its middle.
    #[must_use]
    pub fn of_means(self, side: u32) -> Self {
        let side = f64::from(side);
        let middle = (side - 1.0) / 2.0;
        Self {
            step_x: side * self.step_x,
            step_y: side * self.step_y,
            origin_x: self.origin_x + middle * self.step_x,
            origin_y: self.origin_y + middle * self.step_y,
        }
    }
}

/// The colour space a picture's values are coded in.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Profile {
    /// sRGB (IEC 61966-2-1), tagged or assumed.
    Srgb,
    /// Adobe RGB (1998), marked by EXIF or file name only.
    AdobeRgb,
    /// Whatever the embedded ICC profile says; its bytes.
    Icc(Arc<[u8]>),
    /// sRGB's primaries, samples proportional to light: no file's, but what a painter makes to resample light.
    Light,
}

/// What a picture's samples stand for: everything but the samples themselves.
#[derive(Debug, Clone, PartialEq)]
pub struct Meaning {
    /// What the planes are.
    pub model: Model,
    /// Where each plane's samples sit.
    pub sitings: Vec<Siting>,
    /// The colour space the values are coded in.
    pub profile: Profile,
}

impl Meaning {
    /// What a picture's samples stand for.
    #[must_use]
    pub fn of(picture: &Picture) -> Self {
        let sitings = picture.planes.iter().map(|plane| plane.siting).collect();
        Self { model: picture.model, sitings, profile: picture.profile.clone() }
    }
}

/// How many pixels of a frame have a chroma sample of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Chroma {
    /// One of two each way: 4:2:0.
    Quarter,
    /// One of two across: 4:2:2.
    Half,
    /// Every one: 4:4:4.
    Full,
}

impl Chroma {
    /// Pixels from one sample to the next, across and down.
    #[must_use]
    pub fn spacing(self) -> (u32, u32) {
        match self {
            Self::Quarter => (2, 2),
            Self::Half => (2, 1),
            Self::Full => (1, 1),
        }
    }

    /// Samples across and down of a frame.
    #[must_use]
    pub fn size(self, frame: Size) -> Size {
        let (across, down) = self.spacing();
        Size::new(frame.width.div_ceil(across), frame.height.div_ceil(down))
    }
}

/// What kind of frame a delivery's encoder takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FrameKind {
    /// Y', Cb, Cr, 8 bits, 4:2:0, BT.709 limited range, chroma left-sited (H.264's default).
    Yuv420,
    /// The same of 10 bits, with more chroma where asked for: on the even pixels' centres across, and between two rows
    /// down where there is one for two.
    Yuv10(Chroma),
    /// R'G'B' interleaved, 8 bits, full range, sRGB.
    Rgb8,
    /// R'G'B' interleaved, 16 bits, full range, sRGB.
    Rgb16,
    /// The still's own planes, as its file has them.
    Planes,
}

impl FrameKind {
    /// Bits of a sample; those of a still's own planes are its file's.
    #[must_use]
    pub fn bits(self) -> u32 {
        match self {
            Self::Yuv420 | Self::Rgb8 => 8,
            Self::Yuv10(_) => 10,
            Self::Rgb16 | Self::Planes => 16,
        }
    }

    /// Which samples chroma has, of Y'CbCr.
    #[must_use]
    pub fn chroma(self) -> Option<Chroma> {
        match self {
            Self::Yuv420 => Some(Chroma::Quarter),
            Self::Yuv10(chroma) => Some(chroma),
            Self::Rgb8 | Self::Rgb16 | Self::Planes => None,
        }
    }
}

/// A finished frame, exactly as the encoder takes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Frame size in pixels.
    pub size: Size,
    /// The pixels.
    pub pixels: Pixels,
}

/// A frame's pixels, tightly packed.
#[derive(Debug, Clone, PartialEq)]
pub enum Pixels {
    /// [`FrameKind::Yuv420`]: `width × height` luma, then two planes of `width/2 × height/2`.
    Yuv420 {
        /// Luma.
        y: Vec<u8>,
        /// Blue difference.
        cb: Vec<u8>,
        /// Red difference.
        cr: Vec<u8>,
    },
    /// [`FrameKind::Yuv10`]: `width × height` luma codes from 0 to 1023, then two planes of [`Chroma::size`].
    Yuv10 {
        /// Which samples chroma has.
        chroma: Chroma,
        /// Luma.
        y: Vec<u16>,
        /// Blue difference.
        cb: Vec<u16>,
        /// Red difference.
        cr: Vec<u16>,
    },
    /// [`FrameKind::Rgb8`]: `3 × width × height`.
    Rgb8(Vec<u8>),
    /// [`FrameKind::Rgb16`]: `3 × width × height`, native endian.
    Rgb16(Vec<u16>),
    /// [`FrameKind::Planes`]: all rows of all planes, without padding between them; no plane before the first still.
    Planes(Picture),
}

impl Frame {
    /// A black frame of this kind: the one place where a frame's buffers are allocated.
    #[must_use]
    pub fn new(kind: FrameKind, size: Size) -> Self {
        let (width, height) = (size.width as usize, size.height as usize);
        let pixels = match kind {
            FrameKind::Yuv420 => {
                let chroma = width.div_ceil(2) * height.div_ceil(2);
                Pixels::Yuv420 { y: vec![16; width * height], cb: vec![128; chroma], cr: vec![128; chroma] }
            }
            FrameKind::Yuv10(chroma) => {
                let samples = usize::try_from(chroma.size(size).pixels()).unwrap_or(usize::MAX);
                Pixels::Yuv10 { chroma, y: vec![64; width * height], cb: vec![512; samples], cr: vec![512; samples] }
            }
            FrameKind::Rgb8 => Pixels::Rgb8(vec![0; 3 * width * height]),
            FrameKind::Rgb16 => Pixels::Rgb16(vec![0; 3 * width * height]),
            FrameKind::Planes => Pixels::Planes(Picture {
                size,
                model: Model::Grey,
                planes: Vec::new(),
                profile: Profile::Srgb,
                first_row: 0,
                end_row: size.height,
            }),
        };
        Self { size, pixels }
    }

    /// BLAKE3 of the planes, in plane order, little-endian: what `frame` and `render --json` print.
    #[must_use]
    pub fn hash(&self) -> blake3::Hash {
        let mut hasher = blake3::Hasher::new();
        match &self.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                hasher.update(y).update(cb).update(cr);
            }
            Pixels::Yuv10 { y, cb, cr, .. } => {
                for plane in [y, cb, cr] {
                    hash_words(plane, &mut hasher);
                }
            }
            Pixels::Rgb8(samples) => {
                hasher.update(samples);
            }
            Pixels::Rgb16(samples) => hash_words(samples, &mut hasher),
            Pixels::Planes(picture) => {
                for plane in &picture.planes {
                    match &plane.samples {
                        Samples::Eight(samples) => {
                            hasher.update(samples);
                        }
                        Samples::Sixteen(samples) => hash_words(samples, &mut hasher),
                    }
                }
            }
        }
        hasher.finalize()
    }
}

/// Samples of 16 bits, little-endian.
fn hash_words(samples: &[u16], hasher: &mut blake3::Hasher) {
    let mut bytes = [0; 4096];
    for samples in samples.chunks(bytes.len() / 2) {
        for (bytes, sample) in bytes.as_chunks_mut().0.iter_mut().zip(samples) {
            *bytes = sample.to_le_bytes();
        }
        hasher.update(&bytes[..2 * samples.len()]);
    }
}

impl Picture {
    /// Makes this a copy of another picture's planes without their padding, in the room there is.
    pub fn copy_planes(&mut self, other: &Self) {
        let Self { size, model, planes, profile, first_row, end_row } = self;
        (*size, *model, *first_row, *end_row) = (other.size, other.model, other.first_row, other.end_row);
        if profile != &other.profile {
            profile.clone_from(&other.profile);
        }
        planes.truncate(other.planes.len());
        for (index, from) in other.planes.iter().enumerate() {
            let Plane { width, height, siting, .. } = *from;
            if index == planes.len() {
                planes.push(Plane {
                    samples: Samples::Eight(Vec::new()),
                    width,
                    height,
                    stride: width as usize,
                    siting,
                });
            }
            let to = &mut planes[index];
            (to.width, to.height, to.stride, to.siting) = (width, height, width as usize, siting);
            match (&mut to.samples, &from.samples) {
                (Samples::Eight(to), Samples::Eight(samples)) => copy_rows(samples, from, to),
                (Samples::Sixteen(to), Samples::Sixteen(samples)) => copy_rows(samples, from, to),
                (to, Samples::Eight(samples)) => {
                    let mut own = Vec::new();
                    copy_rows(samples, from, &mut own);
                    *to = Samples::Eight(own);
                }
                (to, Samples::Sixteen(samples)) => {
                    let mut own = Vec::new();
                    copy_rows(samples, from, &mut own);
                    *to = Samples::Sixteen(own);
                }
            }
        }
    }
}

/// The rows of a plane, one after the other.
fn copy_rows<T: Copy>(samples: &[T], plane: &Plane, to: &mut Vec<T>) {
    to.clear();
    for row in samples.chunks(plane.stride.max(1)).take(plane.height as usize) {
        to.extend_from_slice(&row[..plane.width as usize]);
    }
}

//! Synthetic pictures, and frames as plain numbers.

use stillpath::geom::Window;
use stillpath::picture::{Frame, FrameKind, Model, Picture, Pixels, Plane, Profile, Samples, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

/// How a JPEG's chroma lies over its luma, centre-sited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Chroma {
    Full,
    Half,
    Quarter,
}

impl Chroma {
    pub(crate) fn siting(self) -> Siting {
        match self {
            Self::Full => Siting::FULL,
            Self::Half => Siting { step_x: 2.0, step_y: 1.0, origin_x: 1.0, origin_y: 0.5 },
            Self::Quarter => Siting { step_x: 2.0, step_y: 2.0, origin_x: 1.0, origin_y: 1.0 },
        }
    }

    pub(crate) fn size(self, luma: Size) -> Size {
        let siting = self.siting();
        let count = |pixels: u32, step: f64| (f64::from(pixels) / step).ceil() as u32;
        Size::new(count(luma.width, siting.step_x), count(luma.height, siting.step_y))
    }
}

/// Numbers over a grid, row by row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Field {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) values: Vec<f64>,
}

impl Field {
    pub(crate) fn new(size: Size, value: f64) -> Self {
        let (width, height) = (size.width as usize, size.height as usize);
        Self { width, height, values: vec![value; width * height] }
    }

    pub(crate) fn from_fn(size: Size, value: impl Fn(usize, usize) -> f64) -> Self {
        let mut field = Self::new(size, 0.0);
        for (at, out) in field.values.iter_mut().enumerate() {
            *out = value(at % field.width, at / field.width);
        }
        field
    }

    pub(crate) fn at(&self, x: usize, y: usize) -> f64 {
        self.values[y * self.width + x]
    }
}

/// A plane of these values, rounded; rows are padded, as decoders pad them.
pub(crate) fn plane(field: &Field, sixteen: bool, siting: Siting) -> Plane {
    let stride = field.width + 3;
    let padded = |most: f64| {
        let rows = field.values.chunks(field.width);
        rows.flat_map(move |row| row.iter().copied().chain([0.0; 3]).map(move |value| value.round().clamp(0.0, most)))
    };
    let samples = if sixteen {
        Samples::Sixteen(padded(65_535.0).map(|value| value as u16).collect())
    } else {
        Samples::Eight(padded(255.0).map(|value| value as u8).collect())
    };
    Plane { samples, width: field.width as u32, height: field.height as u32, stride, siting }
}

pub(crate) fn picture(model: Model, planes: Vec<Plane>) -> Picture {
    let size = Size::new(planes[0].width, planes[0].height);
    Picture { size, model, planes, profile: Profile::Srgb, first_row: 0, end_row: size.height }
}

/// A grey still of 16 bits, from values of 0 to 65,535.
pub(crate) fn grey16(field: &Field) -> Picture {
    picture(Model::Grey, vec![plane(field, true, Siting::FULL)])
}

/// A JPEG of 8 bits, from Y', Cb, Cr on their own grids.
pub(crate) fn jpeg(luma: &Field, differences: [&Field; 2], chroma: Chroma) -> Picture {
    let differences = differences.map(|field| plane(field, false, chroma.siting()));
    let planes = std::iter::once(plane(luma, false, Siting::FULL)).chain(differences).collect();
    picture(Model::YCbCr601, planes)
}

/// A still that is one colour all over, in 8 bits.
pub(crate) fn flat(model: Model, values: &[u8], chroma: Chroma, size: Size) -> Picture {
    let planes = values.iter().enumerate().map(|(at, &value)| {
        let chroma = if at == 0 { Chroma::Full } else { chroma };
        plane(&Field::new(chroma.size(size), f64::from(value)), false, chroma.siting())
    });
    picture(model, planes.collect())
}

/// A frame of R'G'B', one field a channel, 0 to 65,535.
pub(crate) fn paint_rgb(
    painter: &mut Painter,
    picture: &Picture,
    window: Window,
    sharpness: Sharpness,
    size: Size,
) -> [Field; 3] {
    let mut frame = Frame::new(FrameKind::Rgb16, size);
    painter.paint(picture, window, sharpness, &mut frame).unwrap();
    let Pixels::Rgb16(pixels) = frame.pixels else { unreachable!("asked for R'G'B'") };
    std::array::from_fn(|channel| {
        let values = pixels.iter().skip(channel).step_by(3).map(|&value| f64::from(value)).collect();
        Field { width: size.width as usize, height: size.height as usize, values }
    })
}

/// A frame of Y'CbCr, one field a plane, codes.
pub(crate) fn paint_yuv(
    painter: &mut Painter,
    picture: &Picture,
    window: Window,
    sharpness: Sharpness,
    size: Size,
) -> [Field; 3] {
    let mut frame = Frame::new(FrameKind::Yuv420, size);
    painter.paint(picture, window, sharpness, &mut frame).unwrap();
    let Pixels::Yuv420 { y, cb, cr } = frame.pixels else { unreachable!("asked for Y'CbCr") };
    let (width, height) = (size.width as usize, size.height as usize);
    let field =
        |codes: Vec<u8>, width, height| Field { width, height, values: codes.into_iter().map(f64::from).collect() };
    let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
    [field(y, width, height), field(cb, half_width, half_height), field(cr, half_width, half_height)]
}

/// The generator of Numerical Recipes (Press et al., 2nd ed., section 7.1); its high bits.
pub(crate) struct Noise(pub(crate) u32);

impl Noise {
    pub(crate) fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.0
    }

    /// 0 to 255.
    pub(crate) fn byte(&mut self) -> u8 {
        (self.next() >> 24) as u8
    }

    /// 0 up to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        f64::from(self.next()) / 4_294_967_296.0
    }

    /// Mean 0, variance 1, close enough to normal: the sum of twelve uniform numbers less 6.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

//! PNG, TIFF and WebP: interleaved pixels to planes as stored, at their own depth.
//!
//! ## Decisions
//!
//! - Alpha is composited on black, with a remark.
//!
//! ## Surprises
//!
//! - `image`'s TIFF limits count tags against the picture's own size, so that a small picture loses its profile in
//!   silence.

use std::io::{Cursor, ErrorKind};

use image::codecs::{tiff::TiffDecoder, webp::WebPDecoder};
use image::{ColorType, ImageDecoder, ImageError};

use super::buffers::{self, Shape};
use super::{Decoded, Decoder, check_size, exif, profile};
use crate::picture::{Model, Plane, Profile};
use crate::shoot::{Damage, MOST_PIXELS, Still};
use crate::units::Size;

/// The most bytes a decoder may take for one still: four samples of 16 bits a pixel.
const MOST_BYTES: u64 = MOST_PIXELS * 8;

/// How a row of interleaved samples lies in memory.
#[derive(Debug, Clone, Copy)]
struct Layout {
    /// Samples a pixel: grey, grey and alpha, R'G'B', R'G'B' and alpha.
    channels: usize,
    depth: Depth,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Depth {
    Eight,
    /// Two bytes, the high one first (PNG).
    SixteenHighFirst,
    /// Two bytes in the machine's order.
    SixteenNative,
}

impl Layout {
    fn bytes_a_pixel(self) -> usize {
        self.channels * if self.depth == Depth::Eight { 1 } else { 2 }
    }

    fn colours(self) -> usize {
        if self.channels < 3 { 1 } else { 3 }
    }

    fn model(self) -> Model {
        if self.channels < 3 { Model::Grey } else { Model::Rgb }
    }

    fn prepare(self, planes: &mut Vec<Plane>, size: Size) {
        let shapes = [Shape::full(size); 3];
        let shapes = &shapes[..self.colours()];
        if self.depth == Depth::Eight { buffers::eight(planes, shapes) } else { buffers::sixteen(planes, shapes) }
    }

    /// Deals interleaved pixels out to planes from their sample `at` on. Alpha scales the values as they are coded,
    /// which shows the picture on black. Gives whether any pixel was not opaque.
    fn deal(self, pixels: &[u8], at: usize, planes: &mut [Plane]) -> bool {
        let alpha = self.channels.is_multiple_of(2);
        let mut clear = false;
        for (channel, plane) in planes.iter_mut().enumerate() {
            let pixels = pixels.chunks_exact(self.bytes_a_pixel());
            if self.depth == Depth::Eight {
                for (out, pixel) in buffers::bytes(plane)[at..].iter_mut().zip(pixels) {
                    *out = pixel[channel];
                    if alpha && pixel[self.channels - 1] != u8::MAX {
                        clear = true;
                        let shown = u32::from(*out) * u32::from(pixel[self.channels - 1]);
                        *out = u8::try_from((shown + 127) / 255).unwrap_or(u8::MAX);
                    }
                }
                continue;
            }
            let word = |pixel: &[u8], channel: usize| {
                let bytes = [pixel[2 * channel], pixel[2 * channel + 1]];
                if self.depth == Depth::SixteenNative { u16::from_ne_bytes(bytes) } else { u16::from_be_bytes(bytes) }
            };
            for (out, pixel) in buffers::words(plane)[at..].iter_mut().zip(pixels) {
                *out = word(pixel, channel);
                if alpha && word(pixel, self.channels - 1) != u16::MAX {
                    clear = true;
                    let shown = u64::from(*out) * u64::from(word(pixel, self.channels - 1));
                    *out = u16::try_from((shown + 32_767) / 65_535).unwrap_or(u16::MAX);
                }
            }
        }
        clear
    }
}

fn remark_on_alpha(clear: bool, remarks: &mut Vec<String>) {
    if clear {
        remarks.push("transparent parts are shown on black".into());
    }
}

/// Decodes the PNG in `decoder.file`. Rows are kept as they come, so a file cut short is known to the row.
pub(super) fn png(decoder: &mut Decoder, still: &Still, planes: &mut Vec<Plane>) -> Result<Decoded, Damage> {
    let Decoder { file, pixels, profiles, remarks, .. } = decoder;
    let due = still.stored.height;
    let limits = png::Limits { bytes: usize::try_from(MOST_BYTES).unwrap_or(usize::MAX) };
    let mut png = png::Decoder::new_with_limits(Cursor::new(file.as_slice()), limits);
    png.set_transformations(png::Transformations::EXPAND);
    png.set_ignore_text_chunk(true);
    let header = png.read_header_info().map_err(|error| png_damage(&error, 0, due))?;
    let size = Size::new(header.width, header.height);
    check_size(still, size)?;
    let mut reader = png.read_info().map_err(|error| png_damage(&error, 0, due))?;
    let (colour, depth) = reader.output_color_type();
    let depth = if depth == png::BitDepth::Sixteen { Depth::SixteenHighFirst } else { Depth::Eight };
    let layout = Layout { channels: colour.samples(), depth };
    layout.prepare(planes, size);
    let mut clear = false;
    if reader.info().interlaced {
        // Whole rows are known after the last pass only.
        pixels.resize(layout.bytes_a_pixel() * size.width as usize * size.height as usize, 0);
        reader.next_frame(pixels).map_err(|error| png_damage(&error, 0, due))?;
        clear = layout.deal(pixels, 0, planes);
    } else {
        for y in 0..size.height {
            match reader.next_row() {
                Ok(Some(row)) => clear |= layout.deal(row.data(), y as usize * size.width as usize, planes),
                Ok(None) => return Err(Damage::CutShort { decoded: y, due }),
                Err(error) => return Err(png_damage(&error, y, due)),
            }
        }
    }
    // The last checksums come after the last row. A file that ends there lacks nothing that is seen.
    match reader.finish() {
        Err(error) if !is_end(&error) => return Err(png_damage(&error, size.height, due)),
        _ => remark_on_alpha(clear, remarks),
    }
    let info = reader.info();
    let profile = match (info.coding_independent_code_points, &info.icc_profile) {
        (Some(points), icc) => code_points(points, icc.as_deref(), profiles, layout, remarks)?,
        (None, Some(icc)) => profiles.embedded(icc, layout.model() == Model::Grey, remarks),
        (None, None) if info.srgb.is_some() => Profile::Srgb,
        (None, None) => match info.gama_chunk.map(|gamma| gamma.into_scaled()) {
            // 0.45455 is sRGB's own value there (PNG 3rd edition, 11.3.2.5).
            Some(44_000..=47_000) => Profile::Srgb,
            Some(_) => {
                remarks.push("the gamma chunk is ignored; sRGB is assumed".into());
                Profile::Srgb
            }
            None => profile::without_profile(exif::Meaning::default(), remarks),
        },
    };
    Ok(Decoded { size, model: layout.model(), profile, rows: 0..size.height, tile: None })
}

/// What a PNG's `cICP` chunk means; it wins over `iCCP` (PNG 3rd edition, 4.3). Numbers are those of ITU-T H.273.
fn code_points(
    points: png::CodingIndependentCodePoints,
    icc: Option<&[u8]>,
    profiles: &mut profile::Profiles,
    layout: Layout,
    remarks: &mut Vec<String>,
) -> Result<Profile, Damage> {
    match (points.color_primaries, points.transfer_function) {
        (_, 16 | 18) => Err(Damage::Unsupported("a still coded for high dynamic range (PQ or HLG) is not read".into())),
        (1, 13) => Ok(Profile::Srgb),
        (primaries, transfer) => Ok(match icc {
            Some(icc) => profiles.embedded(icc, layout.model() == Model::Grey, remarks),
            None => {
                remarks.push(format!("colour code points {primaries} and {transfer} are not known; sRGB is assumed"));
                Profile::Srgb
            }
        }),
    }
}

/// Decodes the TIFF in `decoder.file`: its first picture.
pub(super) fn tiff(decoder: &mut Decoder, still: &Still, planes: &mut Vec<Plane>) -> Result<Decoded, Damage> {
    let Decoder { file, pixels, profiles, remarks, .. } = decoder;
    let tiff = TiffDecoder::new(Cursor::new(file.as_slice())).map_err(image_damage)?;
    if tiff.original_color_type().channel_count() == 4 && tiff.color_type().channel_count() == 3 {
        remarks.push("printing inks (CMYK) are converted to R'G'B' by simple multiplication".into());
    }
    through_image(tiff, still, pixels, profiles, remarks, planes, exif::Meaning::default())
}

/// Decodes the WebP in `decoder.file`.
pub(super) fn webp(decoder: &mut Decoder, still: &Still, planes: &mut Vec<Plane>) -> Result<Decoded, Damage> {
    let Decoder { file, pixels, profiles, remarks, .. } = decoder;
    let mut webp = WebPDecoder::new(Cursor::new(file.as_slice())).map_err(image_damage)?;
    if webp.has_animation() {
        return Err(Damage::Unsupported("an animated WebP is not a still".into()));
    }
    let block = webp.exif_metadata().ok().flatten();
    let meaning = block.map(|block| exif::meaning(&block, &still.path)).unwrap_or_default();
    through_image(webp, still, pixels, profiles, remarks, planes, meaning)
}

fn through_image(
    mut decoder: impl ImageDecoder,
    still: &Still,
    pixels: &mut Vec<u8>,
    profiles: &mut profile::Profiles,
    remarks: &mut Vec<String>,
    planes: &mut Vec<Plane>,
    meaning: exif::Meaning,
) -> Result<Decoded, Damage> {
    let (width, height) = decoder.dimensions();
    let size = Size::new(width, height);
    check_size(still, size)?;
    // Before the limits are set: the TIFF reader counts tags against the size of the picture's own buffer.
    let icc = decoder.icc_profile();
    let mut limits = image::Limits::no_limits();
    limits.max_alloc = Some(MOST_BYTES);
    decoder.set_limits(limits).map_err(image_damage)?;
    let (channels, depth) = match decoder.color_type() {
        ColorType::L8 => (1, Depth::Eight),
        ColorType::La8 => (2, Depth::Eight),
        ColorType::Rgb8 => (3, Depth::Eight),
        ColorType::Rgba8 => (4, Depth::Eight),
        ColorType::L16 => (1, Depth::SixteenNative),
        ColorType::La16 => (2, Depth::SixteenNative),
        ColorType::Rgb16 => (3, Depth::SixteenNative),
        ColorType::Rgba16 => (4, Depth::SixteenNative),
        other => return Err(Damage::Unsupported(format!("a still of {other:?} samples is not read"))),
    };
    let layout = Layout { channels, depth };
    let profile = match icc {
        Ok(Some(icc)) => profiles.embedded(&icc, layout.model() == Model::Grey, remarks),
        _ => profile::without_profile(meaning, remarks),
    };
    let bytes = usize::try_from(decoder.total_bytes()).map_err(|_| Damage::TooLarge(size.to_string()))?;
    pixels.resize(bytes, 0);
    decoder.read_image(pixels).map_err(image_damage)?;
    layout.prepare(planes, size);
    remark_on_alpha(layout.deal(pixels, 0, planes), remarks);
    Ok(Decoded { size, model: layout.model(), profile, rows: 0..size.height, tile: None })
}

fn is_end(error: &png::DecodingError) -> bool {
    matches!(error, png::DecodingError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof)
}

fn png_damage(error: &png::DecodingError, rows: u32, due: u32) -> Damage {
    match error {
        _ if is_end(error) => Damage::CutShort { decoded: rows, due },
        png::DecodingError::LimitsExceeded => Damage::Unreadable("there is not enough memory for it".into()),
        error => Damage::Corrupt(format!("{error}, after {rows} of {due} rows")),
    }
}

fn image_damage(error: ImageError) -> Damage {
    match error {
        ImageError::Unsupported(error) => Damage::Unsupported(error.to_string()),
        ImageError::Limits(_) => Damage::Unreadable("there is not enough memory for it".into()),
        ImageError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            Damage::Corrupt("the file ends before the picture does".into())
        }
        error => Damage::Corrupt(error.to_string()),
    }
}

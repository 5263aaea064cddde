//! The frames of a finished sequence, read by libraries that did not write them where there are any: `image` for TIFF and
//! JPEG, `png` for PNG.

use std::fs::{self, File};
use std::io::BufReader;
use std::path::Path;

use image::{DynamicImage, ImageFormat, ImageReader};

use super::Tags;
use crate::picture::{Frame, FrameKind, Pixels};
use crate::shoot::MOST_PIXELS;
use crate::units::Size;

/// How names of a sequence's files may end.
pub const ENDINGS: [&str; 3] = ["png", "tif", "jpg"];

/// The codec's name by that.
pub(super) fn codec(ending: &str) -> &'static str {
    match ending {
        "tif" => "tiff",
        "jpg" => "jpeg",
        _ => "png",
    }
}

/// A file's size in pixels, by its header.
pub(super) fn size(path: &Path, ending: &str) -> Result<Size, String> {
    if ending == "png" {
        let reader = open_png(path)?;
        return Ok(Size::new(reader.info().width, reader.info().height));
    }
    let (width, height) = open(path, ending)?.into_dimensions().map_err(|error| error.to_string())?;
    small(Size::new(width, height))
}

/// What kind of frame a file holds, by its header.
pub(super) fn kind(path: &Path, ending: &str) -> FrameKind {
    match ending {
        "jpg" => FrameKind::Rgb8,
        "png" if open_png(path).is_ok_and(|reader| reader.output_color_type().1 == png::BitDepth::Eight) => {
            FrameKind::Rgb8
        }
        _ => FrameKind::Rgb16,
    }
}

/// Reads a file as a frame of a kind, with what it says of its colours.
pub(super) fn read(path: &Path, ending: &str, kind: FrameKind) -> Result<(Frame, Tags), String> {
    if ending == "png" {
        return read_png(path, kind);
    }
    let size = size(path, ending)?;
    let image = open(path, ending)?.decode().map_err(|error| error.to_string())?;
    let pixels = match (image, kind) {
        (DynamicImage::ImageRgb8(image), FrameKind::Rgb8) => Pixels::Rgb8(image.into_raw()),
        (DynamicImage::ImageRgb16(image), FrameKind::Rgb16) => Pixels::Rgb16(image.into_raw()),
        (image, _) => return Err(format!("its samples are {:?}", image.color())),
    };
    // A JFIF marker means BT.601's matrix of sRGB, full range (ITU-T T.871, 6 and 10.1).
    let jfif = |tag: &str| (ending == "jpg").then(|| tag.to_owned());
    let tags =
        Tags { primaries: jfif("bt709"), transfer: jfif("iec61966-2-1"), matrix: jfif("smpte170m"), range: jfif("pc") };
    Ok((Frame { size, pixels }, tags))
}

fn open(path: &Path, ending: &str) -> Result<ImageReader<BufReader<File>>, String> {
    let about = fs::metadata(path).map_err(|error| error.to_string())?;
    if !about.is_file() {
        return Err("it is not a file".into());
    }
    let file = File::open(path).map_err(|error| error.to_string())?;
    let format = if ending == "tif" { ImageFormat::Tiff } else { ImageFormat::Jpeg };
    Ok(ImageReader::with_format(BufReader::new(file), format))
}

fn small(size: Size) -> Result<Size, String> {
    if size.pixels() > MOST_PIXELS { Err(format!("its header says it is {size}")) } else { Ok(size) }
}

fn open_png(path: &Path) -> Result<png::Reader<BufReader<File>>, String> {
    let about = fs::metadata(path).map_err(|error| error.to_string())?;
    if !about.is_file() {
        return Err("it is not a file".into());
    }
    let file = File::open(path).map_err(|error| error.to_string())?;
    let reader = png::Decoder::new(BufReader::new(file)).read_info().map_err(|error| error.to_string())?;
    small(Size::new(reader.info().width, reader.info().height))?;
    Ok(reader)
}

fn read_png(path: &Path, kind: FrameKind) -> Result<(Frame, Tags), String> {
    let mut reader = open_png(path)?;
    let (size, colour) = (Size::new(reader.info().width, reader.info().height), reader.output_color_type());
    let bytes_of_sample = match (kind, colour) {
        (FrameKind::Rgb16, (png::ColorType::Rgb, png::BitDepth::Sixteen)) => 2,
        (FrameKind::Rgb8, (png::ColorType::Rgb, png::BitDepth::Eight)) => 1,
        _ => return Err(format!("its samples are {:?} of {} bits", colour.0, colour.1 as u8)),
    };
    let mut bytes = vec![0; 3 * bytes_of_sample * size.width as usize * size.height as usize];
    reader.next_frame(&mut bytes).map_err(|error| error.to_string())?;
    reader.finish().map_err(|error| error.to_string())?;
    let pixels = if bytes_of_sample == 1 {
        Pixels::Rgb8(bytes)
    } else {
        Pixels::Rgb16(bytes.as_chunks().0.iter().map(|sample| u16::from_be_bytes(*sample)).collect())
    };
    // What a mark of sRGB means: PNG Specification, third edition, 11.3.2.5.
    let srgb = |tag: &str| reader.info().srgb.map(|_intent| tag.to_owned());
    let tags =
        Tags { primaries: srgb("bt709"), transfer: srgb("iec61966-2-1"), matrix: srgb("gbr"), range: srgb("pc") };
    Ok((Frame { size, pixels }, tags))
}

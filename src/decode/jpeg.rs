//! The JPEG route: to planes as stored, or through pixels where planes would not do.
//!
//! ## Decisions
//!
//! - Every libjpeg warning that can mean wrong pixels is damage, to the end of the data whichever rows a window shows:
//!   blocks outside them are read and not transformed. A tail of zeros counts as cut short.
//! - JPEGs of 12 bits, lossless ones, and luma with fewer samples than chroma are not read.

use std::ops::Range;

use super::buffers::{self, Shape};
use super::{Decoded, Decoder, check_size, means, shrink};
use crate::ffi::jpeg::{self, Component, Failure, Header, Reading, Space};
use crate::picture::{Model, Plane, Siting};
use crate::shoot::{Damage, Still};
use crate::units::Size;

/// So many zeros at a file's end are no picture data: a file system leaves them after a power cut.
const ZERO_TAIL: usize = 16;

/// Decodes the JPEG in `decoder.file` to planes as stored, of one sample for each `denominator` a side of the file's
/// own.
pub(super) fn decode(
    decoder: &mut Decoder,
    still: &Still,
    denominator: u32,
    rows: Range<u32>,
    planes: &mut Vec<Plane>,
) -> Result<Decoded, Damage> {
    let Decoder { file, decompressor, pixels, profiles, remarks, means: block_means, .. } = decoder;
    let file = without_zero_tail(file);
    let due = still.stored.height;
    let mut reading = decompressor.open(file).map_err(|failure| damage(failure, due))?;
    let header = reading.header;
    let size = header.size;
    check_size(still, size)?;
    let notes = profiles.of_jpeg(file, still, header.space, remarks);
    let (model, whole) = (model(&header)?, header.components().iter().all(|component| is_full(component, &header)));
    let rows = if header.space == Space::Inks || (model == Model::Rgb && !whole) {
        reading.pixels(pixels).map_err(|failure| damage(failure, due))?;
        buffers::eight(planes, &[Shape::full(size); 3]);
        match header.space {
            Space::Inks => inks(pixels, adobe(file), planes),
            _ => split(pixels, planes),
        }
        shrink::all(planes, denominator);
        0..size.height
    } else {
        reading.shrink(denominator).map_err(|failure| damage(failure, due))?;
        let header = reading.header;
        let mut shapes = [Shape::full(Size::new(0, 0)); 3];
        for (shape, component) in shapes.iter_mut().zip(header.components()) {
            *shape = plane_shape(component, &header, notes.co_sited);
        }
        buffers::eight(planes, &shapes[..header.components().len()]);
        let rows = to_planes(reading, rows, planes).map_err(|failure| damage(failure, due))?;
        // Chroma comes with more samples than its share, which few frames of a draft would show.
        for (plane, component) in planes.iter_mut().zip(header.components()) {
            shrink::plane(plane, denominator * component.side / jpeg::BLOCK);
        }
        rows
    };
    let restart = means::restart_interval(file);
    *block_means = decompressor.dc().map(|dc| means::of_dc(dc, restart, header.space));
    Ok(Decoded { size, model, profile: notes.profile, rows, tile: None })
}

/// Decodes the JPEG in `decoder.file` to R'G'B' planes of one sample for each `denominator` a side, as stored. Gives
/// the size.
pub(super) fn small(
    decoder: &mut Decoder,
    still: &Still,
    denominator: u32,
    planes: &mut Vec<Plane>,
) -> Result<Decoded, Damage> {
    let Decoder { file, decompressor, pixels, profiles, remarks, means: block_means, .. } = decoder;
    let file = without_zero_tail(file);
    let due = still.stored.height;
    let reading = decompressor.open(file).map_err(|failure| damage(failure, due))?;
    let header = reading.header;
    check_size(still, header.size)?;
    let notes = profiles.of_jpeg(file, still, header.space, remarks);
    model(&header)?;
    let size = reading.scaled(denominator, pixels).map_err(|failure| damage(failure, due))?;
    buffers::eight(planes, &[Shape::full(size); 3]);
    match header.space {
        Space::Inks => inks(pixels, adobe(file), planes),
        _ => split(pixels, planes),
    }
    *block_means = decompressor.dc().map(|dc| means::of_dc(dc, means::restart_interval(file), header.space));
    Ok(Decoded { size, model: Model::Rgb, profile: notes.profile, rows: 0..size.height, tile: None })
}

/// As [`small`], but to one plane of luma; not of inks, which have none.
pub(super) fn small_luma(
    decoder: &mut Decoder,
    still: &Still,
    denominator: u32,
    planes: &mut Vec<Plane>,
) -> Result<Decoded, Damage> {
    let Decoder { file, decompressor, pixels, profiles, remarks, means: block_means, .. } = decoder;
    let file = without_zero_tail(file);
    let due = still.stored.height;
    let reading = decompressor.open(file).map_err(|failure| damage(failure, due))?;
    let header = reading.header;
    check_size(still, header.size)?;
    if header.space == Space::Inks {
        drop(reading);
        return small(decoder, still, denominator, planes);
    }
    let notes = profiles.of_jpeg(file, still, header.space, remarks);
    model(&header)?;
    let size = reading.scaled_luma(denominator, pixels).map_err(|failure| damage(failure, due))?;
    buffers::eight(planes, &[Shape::full(size)]);
    buffers::bytes(&mut planes[0]).copy_from_slice(pixels);
    *block_means = decompressor.dc().map(|dc| means::of_dc(dc, means::restart_interval(file), header.space));
    Ok(Decoded { size, model: Model::Grey, profile: notes.profile, rows: 0..size.height, tile: None })
}

/// Whether the file has the marker of Adobe's encoders, which write inks the other way round.
fn adobe(file: &[u8]) -> bool {
    jpeg::segments(file).any(|(code, body)| code == 0xEE && body.starts_with(b"Adobe"))
}

fn to_planes(reading: Reading, rows: Range<u32>, planes: &mut [Plane]) -> Result<Range<u32>, Failure> {
    match planes {
        [grey] => reading.planes(rows, &mut [buffers::bytes(grey)]),
        [a, b, c] => reading.planes(rows, &mut [buffers::bytes(a), buffers::bytes(b), buffers::bytes(c)]),
        _ => unreachable!("one component, or three"),
    }
}

fn model(header: &Header) -> Result<Model, Damage> {
    let unsupported = |what: String| Err(Damage::Unsupported(what));
    match header.space {
        Space::Grey => Ok(Model::Grey),
        Space::Rgb | Space::Inks => Ok(Model::Rgb),
        Space::YCbCr if header.components().first().is_some_and(|luma| is_full(luma, header)) => Ok(Model::YCbCr601),
        Space::YCbCr => unsupported("a JPEG whose luma has fewer samples than its chroma is not read".into()),
        Space::Unknown => {
            unsupported(format!("a JPEG of {} unknown components is not read", header.components().len()))
        }
    }
}

fn is_full(component: &Component, header: &Header) -> bool {
    // A single component is the picture's grid whatever its factors say.
    header.components().len() == 1 || (component.across, component.down) == (header.most_across, header.most_down)
}

/// A component's plane. Chroma is centred (JFIF 1.02, "the chrominance components are centered"), or co-sited with the
/// first luma sample on both axes (TIFF 6.0, section 21, `YCbCrPositioning` 2, whose tag Exif took over). Of a picture
/// decoded small each sample is the mean of a square of the component's own (libjpeg's jidctred.c averages neighbouring
/// outputs).
fn plane_shape(component: &Component, header: &Header, co_sited: bool) -> Shape {
    let means = jpeg::BLOCK / component.side;
    let axis = |factor: u32, most: u32, length: u32| {
        let step = f64::from(most) / f64::from(factor);
        (step, if co_sited { 0.5 } else { step / 2.0 }, (length * factor).div_ceil(most).div_ceil(means))
    };
    let (step_x, origin_x, width) = axis(component.across, header.most_across, header.size.width);
    let (step_y, origin_y, height) = axis(component.down, header.most_down, header.size.height);
    let siting = Siting { step_x, step_y, origin_x, origin_y }.of_means(means);
    Shape { width, height, stride: component.stride, rows: component.rows, siting }
}

/// Interleaved R'G'B' to planes.
fn split(pixels: &[u8], planes: &mut [Plane]) {
    for (channel, plane) in planes.iter_mut().enumerate() {
        let samples = pixels.iter().skip(channel).step_by(3);
        buffers::bytes(plane).iter_mut().zip(samples).for_each(|(out, sample)| *out = *sample);
    }
}

/// Interleaved C'M'Y'K' to R'G'B' planes: ink on white by the plain product (common practice, no source: without the
/// press's profile there is no better one). Files with an Adobe marker hold 255 for no ink, others 0 for none.
fn inks(pixels: &[u8], inverted: bool, planes: &mut [Plane]) {
    let paper = |ink: u8| u32::from(if inverted { ink } else { 255 - ink });
    for (channel, plane) in planes.iter_mut().enumerate() {
        for (out, pixel) in buffers::bytes(plane).iter_mut().zip(pixels.chunks_exact(4)) {
            let product = paper(pixel[channel]) * paper(pixel[3]);
            *out = u8::try_from((product + 127) / 255).unwrap_or(u8::MAX);
        }
    }
}

fn without_zero_tail(file: &[u8]) -> &[u8] {
    let end = file.iter().rposition(|byte| *byte != 0).map_or(0, |last| last + 1);
    if file.len() - end < ZERO_TAIL { file } else { &file[..end] }
}

/// What libjpeg met, in our words.
fn damage(failure: Failure, due: u32) -> Damage {
    let Failure { fault, ended, rows } = failure;
    match fault.code {
        mozjpeg_sys::JERR_NO_SOI => Damage::NotAPicture("a JPEG's first bytes are missing".into()),
        mozjpeg_sys::JERR_BAD_PRECISION => {
            Damage::Unsupported("a JPEG of more than 8 bits a sample is not read".into())
        }
        mozjpeg_sys::JERR_SOF_UNSUPPORTED => Damage::Unsupported("a lossless or hierarchical JPEG is not read".into()),
        mozjpeg_sys::JERR_NOTIMPL => Damage::Unsupported(format!("a JPEG of {} is not read", fault.text)),
        mozjpeg_sys::JERR_OUT_OF_MEMORY => Damage::Unreadable("there is not enough memory for it".into()),
        _ if ended => Damage::CutShort { decoded: rows, due },
        _ => Damage::Corrupt(format!("{}, after {rows} of {due} rows", fault.text)),
    }
}

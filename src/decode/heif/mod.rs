//! HEIC and AVIF: the container is read here, tiles are decoded by FFmpeg, and planes stay as they are coded.
//!
//! ## Decisions
//!
//! - FFmpeg's H.265 and AV1 decode the tiles, so planes stay as they are coded and nothing new is linked. libheif 1.15
//!   (Debian 12) goes through R'G'B' of 8 bits even where planes are asked for: up to 15 codes off libde265's own
//!   output of the same data (measured). The crates that bind it want 1.17; those in Rust alone are young or of another
//!   licence.
//! - The container turns and crops (`irot`, `imir`, `clap`). EXIF's orientation is not obeyed (ISO/IEC 23008-12), even
//!   where the container says nothing.
//! - `nclx` wins over the bitstream, an ICC profile over both for colours; untagged means BT.601 and the bitstream's
//!   range. Display P3 is converted; PQ, HLG and BT.2020 are refused.
//! - Chroma is centred as in JFIF unless EXIF says co-sited: H.265's default is left, but `heif-enc`, `avifenc` and all
//!   that read them take means of four.
//! - Transparency is not obeyed, with a remark. Depth maps, thumbnails and gain maps are passed over. Moving pictures
//!   (`avis`, `hevc`), `iden` and `iovl` are not read.
//! - A file cut short is always noticed, an overwritten piece of 64 bytes hardly ever (1 of 76 in a HEIC, 1 of 59 in an
//!   AVIF): there are no checksums.

mod boxes;
mod container;
mod items;

use super::buffers::{self, Shape};
use super::{Decoded, Decoder, check_size, exif, profile};
use crate::ffi::ffmpeg::{Component, DecodedFrame, Fault, FootageDecoder, FrameLayout, Packet, StillCoding};
use crate::picture::{Coding, LumaWeights, Model, Plane, Profile, Siting};
use crate::shoot::{Damage, Still};
use crate::units::Size;

pub(super) use container::{Bytes, CodePoints, Codec, Container};
use container::{Crop, Tile};

/// Numbers of ITU-T H.273.
const UNSPECIFIED: u32 = 2;
const PERCEPTUAL_QUANTIZER: u32 = 16;
const HYBRID_LOG_GAMMA: u32 = 18;
const WIDE_GAMUT: u32 = 9;
const DISPLAY_P3: u32 = 12;

/// FFmpeg's number for full range.
const FULL: u32 = 2;

/// A decoder that is kept from tile to tile, and from still to still of one camera.
#[derive(Debug)]
pub(super) struct Opened {
    codec: Codec,
    config: Vec<u8>,
    decoder: FootageDecoder,
}

/// Refuses what cannot be shown in the right colours.
pub(super) fn supported(points: CodePoints) -> Result<(), Damage> {
    let words = match (points.transfer, points.primaries) {
        (PERCEPTUAL_QUANTIZER | HYBRID_LOG_GAMMA, _) => "a still coded for high dynamic range (PQ or HLG) is not read",
        (_, WIDE_GAMUT) => "a still coded for a wide gamut (BT.2020) is not read",
        _ => return Ok(()),
    };
    Err(Damage::Unsupported(words.into()))
}

/// Decodes the HEIC or AVIF in `decoder.file` to planes as stored.
pub(super) fn decode(decoder: &mut Decoder, still: &Still, planes: &mut Vec<Plane>) -> Result<Decoded, Damage> {
    let Decoder { file, profiles, remarks, opened, .. } = decoder;
    let mut file = file.as_slice();
    let container = Container::read(&mut file)?;
    check_size(still, container.crop.size)?;
    let block = container.exif(&mut file);
    let meaning = block.map(|block| exif::meaning(&block, &still.path)).unwrap_or_default();
    let mut mosaic: Option<Mosaic> = None;
    for (index, tile) in (0_u32..).zip(&container.tiles) {
        let bytes = container.coded(&mut file, tile)?;
        let packet = Packet::of(&bytes).map_err(|fault| damage(&fault))?;
        let coder = open(opened, container.codec, tile)?;
        let frame = match coder.still(&packet) {
            Ok(frame) => frame,
            Err(fault) => {
                // What it keeps of damaged data must not reach the next still.
                let damage = damage(&fault);
                *opened = None;
                return Err(damage);
            }
        };
        if mosaic.is_none() {
            mosaic = Some(Mosaic::begin(&container, frame, meaning, planes)?);
        }
        let Some(mosaic) = &mosaic else { continue };
        mosaic.lay(frame, index, planes)?;
    }
    let Some(mosaic) = mosaic else { return Err(Damage::Corrupt("it has no picture data".into())) };
    if mosaic.green_first {
        // Coded green, blue, red (ITU-T H.273, matrix 0).
        planes.rotate_right(1);
    }
    if container.alpha {
        remarks.push("its transparency is ignored: transparent parts are shown as they are coded".into());
    }
    let profile = mosaic.profile(&container, profiles, meaning, remarks);
    let size = container.crop.size;
    let tile = (container.tiles.len() > 1).then_some(mosaic.tile);
    Ok(Decoded { size, model: mosaic.model, profile, rows: 0..size.height, tile })
}

fn open<'a>(opened: &'a mut Option<Opened>, codec: Codec, tile: &Tile) -> Result<&'a mut FootageDecoder, Damage> {
    if opened.as_ref().is_some_and(|opened| opened.codec != codec || opened.config != tile.config) {
        *opened = None;
    }
    let opened = match opened {
        Some(opened) => opened,
        none => {
            let coding = match codec {
                Codec::Hevc => StillCoding::Hevc,
                Codec::Av1 => StillCoding::Av1,
            };
            let decoder = FootageDecoder::of_stills(coding, &tile.config).map_err(|fault| damage(&fault))?;
            none.insert(Opened { codec, config: tile.config.clone(), decoder })
        }
    };
    Ok(&mut opened.decoder)
}

/// What its first tile says of all of them.
#[derive(Debug)]
struct Mosaic {
    layout: FrameLayout,
    /// A tile's size.
    tile: Size,
    columns: u32,
    crop: Crop,
    points: CodePoints,
    model: Model,
    green_first: bool,
}

impl Mosaic {
    /// Makes room for the picture whose first tile this is.
    fn begin(
        container: &Container,
        frame: DecodedFrame<'_>,
        meaning: exif::Meaning,
        planes: &mut Vec<Plane>,
    ) -> Result<Self, Damage> {
        let unsupported = |words: String| Damage::Unsupported(words);
        let layout = frame.layout().map_err(|name| unsupported(format!("samples of the kind {name} are not read")))?;
        let (tile, crop) = (frame.size(), container.crop);
        let coded = frame.colour();
        let points = container.points.unwrap_or(CodePoints {
            primaries: coded.primaries,
            transfer: coded.transfer,
            matrix: coded.matrix,
            full_range: coded.range == FULL || layout.rgb,
        });
        supported(points)?;
        let whole = |(length, spacing): (u32, u32)| length.is_multiple_of(spacing);
        let fit = |component: &Component| {
            whole((tile.width, component.spacing.0)) && whole((tile.height, component.spacing.1))
        };
        if container.tiles.len() > 1 && !layout.components.iter().all(fit) {
            return Err(unsupported("tiles that share a chroma sample are not read".into()));
        }
        let rows = u32::try_from(container.tiles.len()).unwrap_or(u32::MAX).div_ceil(container.columns);
        let reach = |tile: u32, count: u32| u64::from(tile) * u64::from(count);
        let (right, bottom) = (crop.left + crop.size.width, crop.top + crop.size.height);
        if u64::from(right) > reach(tile.width, container.columns) || u64::from(bottom) > reach(tile.height, rows) {
            return Err(Damage::Corrupt(format!(
                "its tiles of {tile} do not fill the {right}x{bottom} that they should"
            )));
        }
        let full_chroma = layout.components.iter().all(|component| component.spacing == (1, 1));
        let green_first = points.matrix == 0 && layout.components.len() == 3 && full_chroma && !layout.rgb;
        let rgb = layout.rgb || green_first;
        let model = match points.matrix {
            _ if rgb && !points.full_range => return Err(unsupported("R'G'B' of limited range is not read".into())),
            _ if rgb => Model::Rgb,
            1 => Model::Video(coding(LumaWeights::Bt709, points, &layout)),
            // MIAF's default is BT.601's matrix (ISO/IEC 23000-22, 7.3.6.4).
            0 | UNSPECIFIED | 5 | 6 => Model::Video(coding(LumaWeights::Bt601, points, &layout)),
            other => {
                return Err(unsupported(format!("its colour matrix (number {other} of ITU-T H.273) is not converted")));
            }
        };
        let mosaic = Self { layout, tile, columns: container.columns, crop, points, model, green_first };
        let shapes: Vec<Shape> =
            mosaic.layout.components.iter().map(|of| mosaic.shape(of, coded.siting, meaning)).collect();
        if mosaic.layout.components[0].depth == 8 {
            buffers::eight(planes, &shapes);
        } else {
            buffers::sixteen(planes, &shapes);
        }
        Ok(mosaic)
    }

    /// First sample and count of a component along an axis of what is shown.
    fn part(from: u32, length: u32, spacing: u32) -> (u32, u32) {
        let first = from / spacing;
        (first, (from + length).div_ceil(spacing) - first)
    }

    fn shape(&self, component: &Component, siting: u32, meaning: exif::Meaning) -> Shape {
        let Crop { left, top, size } = self.crop;
        let (across, down) = component.spacing;
        let ((first_x, width), (first_y, height)) =
            (Self::part(left, size.width, across), Self::part(top, size.height, down));
        let origin = |first: u32, spacing: u32, from: u32, co_sited: bool| {
            let own = if co_sited { 0.5 } else { f64::from(spacing) / 2.0 };
            own + f64::from(first) * f64::from(spacing) - f64::from(from)
        };
        let (co_sited_x, co_sited_y) = co_sited(siting, meaning);
        let siting = Siting {
            step_x: f64::from(across),
            step_y: f64::from(down),
            origin_x: origin(first_x, across, left, co_sited_x),
            origin_y: origin(first_y, down, top, co_sited_y),
        };
        Shape { width, height, stride: width as usize, rows: height as usize, siting }
    }

    /// Copies what is shown of a tile to its place.
    fn lay(&self, frame: DecodedFrame<'_>, index: u32, planes: &mut [Plane]) -> Result<(), Damage> {
        if frame.size() != self.tile || frame.layout().as_ref() != Ok(&self.layout) {
            return Err(Damage::Unsupported("tiles of different sizes or depths are not read".into()));
        }
        let (column, row) = (index % self.columns, index / self.columns);
        for (component, plane) in self.layout.components.iter().zip(planes) {
            let (across, down) = component.spacing;
            let (first_x, _) = Self::part(self.crop.left, self.crop.size.width, across);
            let (first_y, _) = Self::part(self.crop.top, self.crop.size.height, down);
            // Where the tile's first sample lies in the picture as decoded.
            let (tile_x, tile_y) = (column * self.tile.width / across, row * self.tile.height / down);
            let columns = tile_x.max(first_x)..(tile_x + component.width).min(first_x + plane.width);
            let rows = tile_y.max(first_y)..(tile_y + component.height).min(first_y + plane.height);
            if columns.is_empty() {
                continue;
            }
            let (stride, from, to) =
                (plane.stride, (columns.start - first_x) as usize, (columns.end - first_x) as usize);
            let skipped = (columns.start - tile_x) as usize * component.step;
            for y in rows {
                let samples = &frame.row(component, y - tile_y)[skipped..];
                let start = (y - first_y) as usize * stride;
                let range = start + from..start + to;
                if component.depth == 8 {
                    let out = &mut buffers::bytes(plane)[range];
                    out.iter_mut().zip(samples.iter().step_by(component.step)).for_each(|(out, sample)| *out = *sample);
                } else {
                    let out = &mut buffers::words(plane)[range];
                    for (out, sample) in out.iter_mut().zip(samples.chunks(component.step)) {
                        *out = self.fill(component, u16::from_le_bytes([sample[0], sample[1]]));
                    }
                }
            }
        }
        Ok(())
    }

    /// A code of more than 8 bits as planes hold it: R'G'B' takes the whole of 16, Y'CbCr stands in the high ones.
    fn fill(&self, component: &Component, stored: u16) -> u16 {
        let (depth, up) = (component.depth, 16 - component.depth);
        let code = (stored >> component.shift) & (u16::MAX >> up);
        if self.model == Model::Rgb && up > 0 { code << up | code >> (depth - up) } else { code << up }
    }

    /// Which colour space the values are in: an ICC profile first, then code points, then EXIF's word.
    fn profile(
        &self,
        container: &Container,
        profiles: &mut profile::Profiles,
        meaning: exif::Meaning,
        remarks: &mut Vec<String>,
    ) -> Profile {
        let grey = self.layout.components.len() == 1;
        match (&container.icc, self.points.primaries) {
            (Some(_), _) if grey => {
                remarks.push("the embedded profile of grey values is not used; sRGB is assumed".into());
                Profile::Srgb
            }
            (Some(icc), _) => profiles.embedded(icc, false, remarks),
            (None, DISPLAY_P3) if !grey => match moxcms::ColorProfile::new_display_p3().encode() {
                Ok(icc) => profiles.embedded(&icc, false, remarks),
                Err(_) => Profile::Srgb,
            },
            // BT.709's and BT.601's primaries are carried as sRGB's, in stills as in recordings.
            (None, 1 | 5 | 6) => Profile::Srgb,
            (None, 0 | UNSPECIFIED | DISPLAY_P3) => profile::without_profile(meaning, remarks),
            (None, other) => {
                remarks.push(format!("colour primaries {other} are not known; sRGB is assumed"));
                Profile::Srgb
            }
        }
    }
}

fn coding(weights: LumaWeights, points: CodePoints, layout: &FrameLayout) -> Coding {
    Coding { weights, full_range: points.full_range, bits: layout.components[0].depth }
}

/// Whether chroma sits on luma across and down. Where the bitstream says nothing FFmpeg says left for H.265 and nothing
/// for AV1; programs that write stills take the mean of four pixels all the same, as JFIF does, so only a word other
/// than that counts, or EXIF's.
fn co_sited(siting: u32, meaning: exif::Meaning) -> (bool, bool) {
    const TOP_LEFT: u32 = 3;
    const TOP: u32 = 4;
    match siting {
        TOP_LEFT => (true, true),
        TOP => (false, true),
        _ => (meaning.co_sited, meaning.co_sited),
    }
}

/// What FFmpeg met, in our words.
fn damage(fault: &Fault) -> Damage {
    let words = fault.to_string();
    if words.contains("has no decoder for") { Damage::Unsupported(words) } else { Damage::Corrupt(words) }
}

#[cfg(test)]
mod tests;

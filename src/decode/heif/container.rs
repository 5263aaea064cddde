//! The picture that a HEIC or AVIF file is meant to show, as its container describes it (ISO/IEC 23008-12, HEIF): its
//! size, its tiles and where their bytes lie, how it is turned and cropped, what its values mean. No pixel is decoded.

use super::boxes::Numbers;
use super::items::{Extent, Items, Place};
use crate::shoot::{Damage, MOST_PIXELS, Orientation};
use crate::units::Size;

/// The longest `meta` box taken: phones write some kilobytes.
const LONGEST_META: u64 = 1 << 24;
/// The longest EXIF item taken.
const LONGEST_TAGS: u64 = 1 << 20;
/// The most bytes of configurations, and the most stretches, of all tiles together: a list of tiles may name one of
/// them 65,535 times.
const MOST_CONFIGURED: usize = 1 << 24;
const MOST_EXTENTS: usize = 1 << 20;
/// The longest description of a grid.
const LONGEST_GRID: u64 = 64;

/// Something that gives bytes by their place in a file.
pub(in crate::decode) trait Bytes {
    /// How many there are.
    fn length(&self) -> u64;
    /// So many from a place on.
    ///
    /// # Errors
    /// Where the file ends before, or the system does not give them.
    fn at(&mut self, from: u64, length: u64) -> Result<Vec<u8>, Damage>;
}

impl Bytes for &[u8] {
    fn length(&self) -> u64 {
        self.len() as u64
    }

    fn at(&mut self, from: u64, length: u64) -> Result<Vec<u8>, Damage> {
        let range = usize::try_from(from).ok().zip(usize::try_from(from.saturating_add(length)).ok());
        range.and_then(|(from, to)| self.get(from..to)).map(<[u8]>::to_vec).ok_or_else(ends)
    }
}

/// Which codec the tiles are coded with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::decode) enum Codec {
    /// H.265.
    Hevc,
    /// AV1.
    Av1,
}

/// A tile, or the whole of a picture without a grid.
#[derive(Debug, Clone)]
pub(in crate::decode) struct Tile {
    /// Its decoder's configuration: the contents of `hvcC` or `av1C`.
    pub(in crate::decode) config: Vec<u8>,
    extents: Vec<Extent>,
}

/// A part of the decoded picture, in pixels as stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::decode) struct Crop {
    pub(in crate::decode) left: u32,
    pub(in crate::decode) top: u32,
    pub(in crate::decode) size: Size,
}

/// What values mean, by the numbers of ITU-T H.273, and whether they take the full range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::decode) struct CodePoints {
    pub(in crate::decode) primaries: u32,
    pub(in crate::decode) transfer: u32,
    pub(in crate::decode) matrix: u32,
    pub(in crate::decode) full_range: bool,
}

/// The picture a file is meant to show.
#[derive(Debug)]
pub(in crate::decode) struct Container {
    pub(in crate::decode) codec: Codec,
    /// What is shown of the decoded picture, before it is turned.
    pub(in crate::decode) crop: Crop,
    /// How it is turned to stand upright: by the container's own word. EXIF's is not to be obeyed beside it (ISO/IEC
    /// 23008-12, A.2.1; 23000-22, 7.3.6.7).
    pub(in crate::decode) orientation: Orientation,
    /// Tiles across.
    pub(in crate::decode) columns: u32,
    /// Tiles in rows, from the top left corner.
    pub(in crate::decode) tiles: Vec<Tile>,
    pub(in crate::decode) points: Option<CodePoints>,
    pub(in crate::decode) icc: Option<Vec<u8>>,
    /// Whether a picture of its transparency goes with it.
    pub(in crate::decode) alpha: bool,
    exif: Vec<Extent>,
    /// One past the last byte of the file that any of this needs.
    pub(in crate::decode) end: u64,
    beside: Vec<u8>,
}

impl Container {
    /// Reads a file's container.
    ///
    /// # Errors
    /// A header that breaks off or contradicts itself, a picture of a kind that is not read, too many pixels.
    pub(in crate::decode) fn read(file: &mut impl Bytes) -> Result<Self, Damage> {
        let meta = meta(file)?;
        let items = Items::read(&meta).ok_or_else(|| corrupt("its list of pictures cannot be read"))?;
        let primary = items.primary.ok_or_else(|| corrupt("it does not say which of its pictures is meant"))?;
        let kind = *items.kinds.get(&primary).ok_or_else(|| corrupt("the picture it names is not in it"))?;
        let whole = size(&items, primary)?;
        let (whole, columns, parts) = match &kind {
            b"grid" => grid(file, &items, primary, whole)?,
            _ => (whole, 1, vec![primary]),
        };
        let mut codec = None;
        let mut tiles = Vec::with_capacity(parts.len());
        let (mut configured, mut stretches) = (0, 0);
        for part in &parts {
            let (of, config) = coded(&items, *part)?;
            configured += config.len();
            stretches += items.extents(*part).len();
            if configured > MOST_CONFIGURED || stretches > MOST_EXTENTS {
                return Err(corrupt("its list of tiles is too long to be one"));
            }
            if codec.is_some_and(|codec| codec != of) {
                return Err(unsupported("its tiles are coded in two ways"));
            }
            codec = Some(of);
            tiles.push(Tile { config: config.to_vec(), extents: items.extents(*part).to_vec() });
        }
        let codec = codec.ok_or_else(|| corrupt("it has no picture data"))?;
        let (crop, orientation) = shown(&items, primary, whole)?;
        let (points, icc) = colour(&items, primary, parts[0]);
        let exif = items.about(primary, b"cdsc").find(|item| items.kinds.get(item).is_some_and(|kind| kind == b"Exif"));
        let exif = exif.map_or_else(Vec::new, |item| items.extents(item).to_vec());
        let alpha = items.about(primary, b"auxl").any(|item| {
            // Both names of it: ISO/IEC 23008-12, 6.6.2.1.1, and 23091-2's newer one.
            let name = items.property(item, b"auxC").and_then(|body| body.get(4..)).unwrap_or_default();
            name.starts_with(b"urn:mpeg:hevc:2015:auxid:1\0")
                || name.starts_with(b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha\0")
        });
        let needed =
            tiles.iter().flat_map(|tile| &tile.extents).chain(&exif).filter(|extent| extent.place == Place::File);
        let end = needed.map(|extent| extent.from.saturating_add(extent.length)).max().unwrap_or(0);
        let beside = items.beside.to_vec();
        Ok(Self { codec, crop, orientation, columns, tiles, points, icc, alpha, exif, end, beside })
    }

    /// A tile's coded bytes.
    ///
    /// # Errors
    /// Where the file ends before them.
    pub(in crate::decode) fn coded(&self, file: &mut impl Bytes, tile: &Tile) -> Result<Vec<u8>, Damage> {
        gather(file, &tile.extents, &self.beside, u64::MAX)
    }

    /// Its EXIF block from the TIFF header on, where it has one.
    pub(in crate::decode) fn exif(&self, file: &mut impl Bytes) -> Option<Vec<u8>> {
        let mut block = gather(file, &self.exif, &self.beside, LONGEST_TAGS).ok()?;
        // The first four bytes say how many are to be skipped after them (ISO/IEC 23008-12, A.2.1).
        let skip = usize::try_from(Numbers(&block).number(4)?).ok()?.checked_add(4)?;
        (skip < block.len()).then(|| block.split_off(skip))
    }
}

fn ends() -> Damage {
    corrupt("the file ends before the picture does")
}

fn corrupt(words: &str) -> Damage {
    Damage::Corrupt(words.to_owned())
}

fn unsupported(words: &str) -> Damage {
    Damage::Unsupported(words.to_owned())
}

/// What the file's `meta` box holds.
fn meta(file: &mut impl Bytes) -> Result<Vec<u8>, Damage> {
    let mut from = 0_u64;
    loop {
        let left = file.length().saturating_sub(from);
        let inside = || corrupt("the file ends inside its header");
        if left < 8 {
            return Err(inside());
        }
        let head = file.at(from, left.min(16))?;
        let mut numbers = Numbers(&head);
        let (short, name) = (numbers.number(4).ok_or_else(inside)?, numbers.name().ok_or_else(inside)?);
        let (header, length) = match short {
            0 => (8, left),
            1 => (16, numbers.number(8).ok_or_else(inside)?),
            short => (8, short),
        };
        if length < header {
            return Err(corrupt("a box of it is shorter than its own header"));
        }
        if &name != b"meta" {
            from = from.saturating_add(length);
            continue;
        }
        if length > LONGEST_META {
            return Err(corrupt("its header is too long to be one"));
        }
        if length > left {
            return Err(inside());
        }
        return file.at(from + header, length - header);
    }
}

/// The bytes of extents, put together; `most` at most.
fn gather(file: &mut impl Bytes, extents: &[Extent], beside: &[u8], most: u64) -> Result<Vec<u8>, Damage> {
    let mut bytes = Vec::new();
    // Stretches that lie over one another could ask for any amount.
    let most = most.min(file.length().saturating_add(beside.len() as u64));
    for extent in extents {
        let source_length = if extent.place == Place::File { file.length() } else { beside.len() as u64 };
        // A length of 0 means all there is (ISO/IEC 14496-12, 8.11.3.3).
        let length = if extent.length == 0 { source_length.saturating_sub(extent.from) } else { extent.length };
        if extent.from.saturating_add(length) > source_length {
            return Err(ends());
        }
        if (bytes.len() as u64).saturating_add(length) > most {
            return Err(corrupt("a part of it is too long to be one"));
        }
        bytes.extend(match extent.place {
            Place::File => file.at(extent.from, length)?,
            Place::Beside => (&mut &*beside).at(extent.from, length)?,
        });
    }
    if bytes.is_empty() { Err(corrupt("a part of it has no bytes")) } else { Ok(bytes) }
}

/// The size an item is said to have.
fn size(items: &Items<'_>, item: u32) -> Result<Size, Damage> {
    let body = items.property(item, b"ispe").and_then(|body| body.get(4..)).unwrap_or_default();
    let mut numbers = Numbers(body);
    let (Some(width), Some(height)) = (numbers.small(4), numbers.small(4)) else {
        return Err(corrupt("it does not say how large its picture is"));
    };
    checked(Size::new(width, height))
}

fn checked(size: Size) -> Result<Size, Damage> {
    match size.pixels() {
        0 => Err(Damage::Corrupt(format!("its header gives a size of {size}"))),
        pixels if pixels > MOST_PIXELS => Err(Damage::TooLarge(size.to_string())),
        _ => Ok(size),
    }
}

/// A grid's size, how many tiles it has across, and its tiles (ISO/IEC 23008-12, 6.6.2.3).
fn grid(file: &mut impl Bytes, items: &Items<'_>, item: u32, said: Size) -> Result<(Size, u32, Vec<u32>), Damage> {
    let bytes = gather(file, items.extents(item), items.beside, LONGEST_GRID)?;
    let mut numbers = Numbers(&bytes);
    let mut read = || {
        numbers.small(1)?;
        let wide = if numbers.small(1)? & 1 == 0 { 2 } else { 4 };
        let (rows, columns) = (numbers.small(1)? + 1, numbers.small(1)? + 1);
        Some((rows, columns, Size::new(numbers.small(wide)?, numbers.small(wide)?)))
    };
    let (rows, columns, size) = read().ok_or_else(|| corrupt("its grid of tiles cannot be read"))?;
    let (tiles, size) = (items.parts(item).to_vec(), checked(size)?);
    if tiles.len() as u64 != u64::from(rows) * u64::from(columns) || size != said {
        return Err(Damage::Corrupt(format!(
            "it has {} tiles where its grid has {rows} rows of {columns}",
            tiles.len()
        )));
    }
    Ok((size, columns, tiles))
}

/// An item's codec and its configuration.
fn coded<'a>(items: &Items<'a>, item: u32) -> Result<(Codec, &'a [u8]), Damage> {
    let (codec, name) = match items.kinds.get(&item) {
        Some(b"hvc1" | b"hev1") => (Codec::Hevc, b"hvcC"),
        Some(b"av01") => (Codec::Av1, b"av1C"),
        Some(other) => {
            let kind: String = other.iter().map(|letter| char::from(*letter)).filter(char::is_ascii_graphic).collect();
            return Err(Damage::Unsupported(format!("a picture stored as '{kind}' is not read")));
        }
        None => return Err(corrupt("a tile that it names is not in it")),
    };
    let config = items.property(item, name).ok_or_else(|| corrupt("it does not say how its picture is coded"))?;
    Ok((codec, config))
}

/// What is shown of the decoded picture, and how it is turned: properties apply in their order.
fn shown(items: &Items<'_>, item: u32, whole: Size) -> Result<(Crop, Orientation), Damage> {
    let mut crop = Crop { left: 0, top: 0, size: whole };
    let mut orientation = Orientation::Upright;
    for (name, body) in items.of(item) {
        let first = body.first().copied().unwrap_or(0);
        match &name {
            // Quarter turns anticlockwise.
            b"irot" => {
                for _ in 0..first & 3 {
                    orientation = orientation.then(Orientation::QuarterAnticlockwise);
                }
            }
            // ISO/IEC 23008-12:2022, 6.5.12: 0 changes top and bottom about, 1 left and right.
            b"imir" if first & 1 == 0 => orientation = orientation.then(Orientation::Flipped),
            b"imir" => orientation = orientation.then(Orientation::Mirrored),
            b"clap" if orientation != Orientation::Upright => {
                return Err(unsupported("a picture that is turned before it is cropped is not read"));
            }
            b"clap" => {
                crop = cropped(body, crop)
                    .ok_or_else(|| unsupported("a picture cropped by parts of pixels is not read"))?
            }
            _ => {}
        }
    }
    Ok((crop, orientation))
}

/// The clean aperture (ISO/IEC 14496-12, 12.1.4) of a picture, where it is made of whole pixels inside it.
fn cropped(body: &[u8], of: Crop) -> Option<Crop> {
    let mut numbers = Numbers(body);
    let mut ratio = || {
        let (above, below) = (numbers.small(4)?, numbers.small(4)?);
        (below != 0).then_some((i64::from(above.cast_signed()), i64::from(below.cast_signed())))
    };
    let (width, height, across, down) = (ratio()?, ratio()?, ratio()?, ratio()?);
    let side = |(above, below): (i64, i64), (offset, offset_below): (i64, i64), whole: u32| {
        if above % below != 0 {
            return None;
        }
        let length = above / below;
        // The middle of what is shown lies `offset` from the middle of the whole.
        let twice = (i64::from(whole) - length).checked_mul(offset_below)?.checked_add(offset.checked_mul(2)?)?;
        let from = (twice % (2 * offset_below) == 0).then(|| twice / (2 * offset_below))?;
        let inside = length > 0 && from >= 0 && from + length <= i64::from(whole);
        inside.then_some((u32::try_from(from).ok()?, u32::try_from(length).ok()?))
    };
    let ((left, width), (top, height)) = (side(width, across, of.size.width)?, side(height, down, of.size.height)?);
    Some(Crop { left: of.left + left, top: of.top + top, size: Size::new(width, height) })
}

/// What the container says of the colours: of the picture itself, else of its first tile.
fn colour(items: &Items<'_>, primary: u32, tile: u32) -> (Option<CodePoints>, Option<Vec<u8>>) {
    let (mut points, mut icc) = (None, None);
    for (name, body) in items.of(primary).chain(items.of(tile)) {
        if &name != b"colr" {
            continue;
        }
        let mut numbers = Numbers(body);
        match numbers.name() {
            Some(kind) if &kind == b"nclx" => points = points.or(code_points(numbers)),
            Some(kind) if &kind == b"prof" || &kind == b"rICC" => icc = icc.or(Some(numbers.0.to_vec())),
            _ => {}
        }
    }
    (points, icc)
}

fn code_points(mut numbers: Numbers<'_>) -> Option<CodePoints> {
    let (primaries, transfer, matrix) = (numbers.small(2)?, numbers.small(2)?, numbers.small(2)?);
    Some(CodePoints { primaries, transfer, matrix, full_range: numbers.small(1)? & 0x80 != 0 })
}

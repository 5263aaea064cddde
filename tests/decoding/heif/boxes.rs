//! A HEIC of tiles as phones write it, put together box by box (ISO/IEC 14496-12 and 23008-12).

use std::path::Path;

/// Bytes with a box's header before them.
fn boxed(name: &[u8; 4], body: &[&[u8]]) -> Vec<u8> {
    let body = body.concat();
    let length = u32::try_from(body.len() + 8).unwrap();
    [&length.to_be_bytes()[..], name, &body].concat()
}

/// The same, of a box with version and flags.
fn full(name: &[u8; 4], version: u8, body: &[&[u8]]) -> Vec<u8> {
    boxed(name, &[&[version, 0, 0, 0], &body.concat()])
}

/// The content of the first box of this name anywhere in a file that holds it once.
fn content<'a>(file: &'a [u8], name: &[u8; 4]) -> &'a [u8] {
    let at = file.windows(4).position(|window| window == name).unwrap();
    let length = u32::from_be_bytes(file[at - 4..at].try_into().unwrap()) as usize;
    &file[at + 4..at - 4 + length]
}

/// The pictures of a file of `heif-enc` as a plain stream (ITU-T H.265, annex B): parameter sets from `hvcC` (ISO/IEC
/// 14496-15,
/// 8.3.3.1), then the data of `mdat`.
pub(super) fn stream(file: &[u8]) -> Vec<u8> {
    let number = |bytes: &[u8]| bytes.iter().fold(0, |number, byte| number << 8 | usize::from(*byte));
    let mut out = Vec::new();
    let mut config = &content(file, b"hvcC")[22..];
    let arrays = config[0];
    config = &config[1..];
    for _ in 0..arrays {
        let units = number(&config[1..3]);
        config = &config[3..];
        for _ in 0..units {
            let length = number(&config[..2]);
            out.extend([0, 0, 0, 1]);
            out.extend(&config[2..2 + length]);
            config = &config[2 + length..];
        }
    }
    let mut data = content(file, b"mdat");
    while data.len() > 4 {
        let length = number(&data[..4]);
        out.extend([0, 0, 0, 1]);
        out.extend(&data[4..4 + length]);
        data = &data[4 + length..];
    }
    out
}

/// What values mean, by the numbers of ITU-T H.273.
pub(super) fn nclx(primaries: u16, transfer: u16, matrix: u16, full_range: bool) -> Vec<u8> {
    let [primaries, transfer, matrix] = [primaries, transfer, matrix].map(u16::to_be_bytes);
    boxed(b"colr", &[b"nclx", &primaries, &transfer, &matrix, &[if full_range { 0x80 } else { 0 }]])
}

/// What a grid is told beside its tiles.
#[derive(Default)]
pub(in crate::decoding) struct Grid<'a> {
    pub(in crate::decoding) columns: u8,
    pub(in crate::decoding) rows: u8,
    /// What is shown of it, from the top left corner.
    pub(in crate::decoding) width: u16,
    pub(in crate::decoding) height: u16,
    /// Side of a tile.
    pub(in crate::decoding) tile: u32,
    /// Properties of the whole: `irot`, `imir`, `colr`.
    pub(in crate::decoding) properties: Vec<Vec<u8>>,
    /// An EXIF block.
    pub(in crate::decoding) exif: &'a [u8],
}

/// A quarter turn anticlockwise so many times.
pub(super) fn irot(times: u8) -> Vec<u8> {
    boxed(b"irot", &[&[times]])
}

/// A mirror: 0 changes top and bottom about, 1 left and right.
pub(super) fn imir(axis: u8) -> Vec<u8> {
    boxed(b"imir", &[&[axis]])
}

/// A HEIC whose picture is a grid of the pictures in these files of `heif-enc`.
pub(in crate::decoding) fn grid(tiles: &[impl AsRef<Path>], grid: &Grid<'_>) -> Vec<u8> {
    let files: Vec<Vec<u8>> = tiles.iter().map(|tile| std::fs::read(tile).unwrap()).collect();
    let count = u16::try_from(files.len()).unwrap();
    let (whole, exif) = (count + 1, count + 2);
    // Tiles are hidden: no pictures to be shown of their own.
    let kind = |item: u16, kind: &[u8; 4]| {
        boxed(b"infe", &[&[2, 0, 0, u8::from(item < whole)], &item.to_be_bytes(), &[0, 0], kind, &[0]])
    };
    let mut kinds: Vec<Vec<u8>> = (1..=count).map(|item| kind(item, b"hvc1")).collect();
    kinds.extend([kind(whole, b"grid"), kind(exif, b"Exif")]);
    let iinf = full(b"iinf", 0, &[&(count + 2).to_be_bytes(), &kinds.concat()]);
    let size = |width: u32, height: u32| full(b"ispe", 0, &[&width.to_be_bytes(), &height.to_be_bytes()]);
    // Properties 1 and 2 are the tiles', from 3 on the whole's.
    let mut properties = vec![boxed(b"hvcC", &[content(&files[0], b"hvcC")]), size(grid.tile, grid.tile)];
    properties.push(size(grid.width.into(), grid.height.into()));
    properties.extend(grid.properties.iter().cloned());
    let last = u8::try_from(properties.len()).unwrap();
    let mut owned: Vec<Vec<u8>> = (1..=count).map(|item| [&item.to_be_bytes()[..], &[2, 0x81, 2]].concat()).collect();
    owned.push(
        [&whole.to_be_bytes()[..], &[last - 2], &(3..=last).map(|property| property | 0x80).collect::<Vec<_>>()]
            .concat(),
    );
    let ipma = full(b"ipma", 0, &[&u32::from(count + 1).to_be_bytes(), &owned.concat()]);
    let iprp = boxed(b"iprp", &[&boxed(b"ipco", &[&properties.concat()]), &ipma]);
    let parts: Vec<u8> = (1..=count).flat_map(u16::to_be_bytes).collect();
    let dimg = boxed(b"dimg", &[&whole.to_be_bytes(), &count.to_be_bytes(), &parts]);
    let cdsc = boxed(b"cdsc", &[&exif.to_be_bytes(), &1_u16.to_be_bytes(), &whole.to_be_bytes()]);
    let iref = full(b"iref", 0, &[&dimg, &cdsc]);
    let described =
        [&[0, 0, grid.rows - 1, grid.columns - 1][..], &grid.width.to_be_bytes(), &grid.height.to_be_bytes()].concat();
    let data: Vec<&[u8]> = files.iter().map(|file| content(file, b"mdat")).collect();
    let tags = [&[0; 4][..], grid.exif].concat();
    let ftyp = boxed(b"ftyp", &[b"heic", &[0; 4], b"mif1heic"]);
    // Two ways round: where the data lies depends on how long what comes before it is, and that does not.
    let meta = |data_at: u32| {
        let mut entries = Vec::new();
        let mut at = data_at;
        let mut entry = |item: u16, method: u16, from: u32, length: usize| {
            entries.extend(item.to_be_bytes());
            entries.extend(method.to_be_bytes());
            entries.extend([0, 0, 0, 1]);
            entries.extend(from.to_be_bytes());
            entries.extend(u32::try_from(length).unwrap().to_be_bytes());
        };
        for (item, data) in (1..).zip(&data) {
            entry(item, 0, at, data.len());
            at += u32::try_from(data.len()).unwrap();
        }
        entry(whole, 1, 0, described.len());
        entry(exif, 0, at, tags.len());
        let iloc = full(b"iloc", 1, &[&[0x44, 0], &(count + 2).to_be_bytes(), &entries]);
        let hdlr = full(b"hdlr", 0, &[&[0; 4], b"pict", &[0; 13]]);
        let pitm = full(b"pitm", 0, &[&whole.to_be_bytes()]);
        full(b"meta", 0, &[&hdlr, &pitm, &iloc, &iinf, &iprp, &iref, &boxed(b"idat", &[&described])])
    };
    let before = u32::try_from(ftyp.len() + meta(0).len() + 8).unwrap();
    [ftyp, meta(before), boxed(b"mdat", &[&data.concat(), &tags])].concat()
}

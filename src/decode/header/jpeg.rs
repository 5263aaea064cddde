//! A JPEG's markers up to its picture data, and its end mark (ITU-T T.81, annex B).

use std::io::BufRead;

use super::tail::Tail;
use super::{Ending, Source, Tags, checked, fault};
use crate::ffi::jpeg::{END_OF_IMAGE, Marker, START_OF_SCAN, next_marker};
use crate::shoot::Damage;
use crate::units::Size;

/// Reads size, tags and ending; `tags` keeps what was read even where the rest fails.
pub(super) fn read(source: &mut Source, tags: &mut Tags) -> Result<(Size, Ending), Damage> {
    source.skip(2)?;
    let mut frame = None;
    match walk(source, tags, &mut frame) {
        Ok(()) => {}
        Err(Damage::Corrupt(why)) => return Err(frame.map_or(Damage::Corrupt(why), nothing_of)),
        Err(other) => return Err(other),
    }
    let Some(size) = frame else { return Err(Damage::Corrupt("its picture data comes before its size".to_owned())) };
    let data = source.position()?;
    let ending = match Tail::read(source, data)?.ending(&[0xff, END_OF_IMAGE]) {
        Some(ending) => ending,
        None => scan_for_the_end(source, data)?,
    };
    Ok((size, ending))
}

fn nothing_of(size: Size) -> Damage {
    Damage::CutShort { decoded: 0, due: size.height }
}

/// Walks the segments to the first scan's data.
fn walk(source: &mut Source, tags: &mut Tags, frame: &mut Option<Size>) -> Result<(), Damage> {
    loop {
        let Marker { code, length } = next_marker(&mut source.reader).map_err(|error| fault(&error))?;
        match code {
            END_OF_IMAGE => return Err(Damage::Corrupt("it ends before its picture data".to_owned())),
            START_OF_SCAN => return source.skip(of_body(length)?),
            0xc0..=0xcf if !matches!(code, 0xc4 | 0xc8 | 0xcc) => {
                *frame = Some(start_of_frame(source, code, of_body(length)?)?)
            }
            0xe1 => {
                let payload = source.take_many(of_body(length)?)?;
                if let Some(block) = payload.strip_prefix(b"Exif\0") {
                    tags.take_exif(block.get(1..).unwrap_or_default());
                }
            }
            // An ICC profile (ICC.1:2010, annex B.4), or the first piece of one.
            0xe2 if tags.settings.profile.as_ref().is_none_or(|profile| !profile.starts_with("ICC")) => {
                let payload = source.take_many(of_body(length)?)?;
                if let Some(profile) = payload.strip_prefix(b"ICC_PROFILE\0") {
                    tags.settings.profile = Some(super::profile_name(profile));
                }
            }
            _ => source.skip(of_body(length)?)?,
        }
    }
}

/// The length of a segment's body; nothing of markers that stand alone.
fn of_body(length: Option<u16>) -> Result<u64, Damage> {
    u64::from(length.unwrap_or(2))
        .checked_sub(2)
        .ok_or_else(|| Damage::Corrupt("a segment of its header has no length".to_owned()))
}

fn start_of_frame(source: &mut Source, marker: u8, length: u64) -> Result<Size, Damage> {
    let [precision, y1, y0, x1, x0, components] = source.take()?;
    source.skip(length.saturating_sub(6))?;
    let unsupported = |what: &str| Err(Damage::Unsupported(format!("{what} JPEG is not read")));
    match marker {
        0xc0..=0xc2 | 0xc9 | 0xca => {}
        0xc3 | 0xcb => return unsupported("lossless"),
        _ => return unsupported("hierarchical"),
    }
    if precision != 8 {
        return unsupported(&format!("{precision}-bit"));
    }
    if !matches!(components, 1 | 3 | 4) {
        return unsupported(&format!("{components}-component"));
    }
    let (width, height) = (u16::from_be_bytes([x1, x0]), u16::from_be_bytes([y1, y0]));
    if height == 0 {
        return Err(Damage::Unsupported("a JPEG that gives its height after its picture data is not read".to_owned()));
    }
    checked(width.into(), height.into())
}

/// Reads on from the first scan's data to the end mark: for files with a long block after the picture, or none.
fn scan_for_the_end(source: &mut Source, data: u64) -> Result<Ending, Damage> {
    source.go_to(data)?;
    let mut position = data;
    let mut after_ff = false;
    loop {
        let buffer = source.reader.fill_buf().map_err(|error| fault(&error))?;
        if buffer.is_empty() {
            return Ok(Ending::Open);
        }
        let mut marker = None;
        for (index, byte) in buffer.iter().enumerate() {
            match (after_ff, *byte) {
                (true, 0xff) | (false, 0xff) => after_ff = true,
                (true, 0 | 0xd0..=0xd7) => after_ff = false,
                (true, code) => {
                    marker = Some((index + 1, code));
                    break;
                }
                (false, _) => {}
            }
        }
        let used = marker.map_or(buffer.len(), |(used, _)| used);
        source.reader.consume(used);
        position += used as u64;
        match marker {
            None => {}
            Some((_, END_OF_IMAGE)) => return Ok(Ending::Trailing(source.length.saturating_sub(position))),
            Some(_) => {
                after_ff = false;
                let Ok(length) = source.take().and_then(|bytes| of_body(Some(u16::from_be_bytes(bytes)))) else {
                    return Ok(Ending::Open);
                };
                source.skip(length)?;
                position += length + 2;
            }
        }
    }
}

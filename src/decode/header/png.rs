//! A PNG's chunks up to its picture data, and its end chunk (PNG Specification, third edition, clause 5).

use super::tail::Tail;
use super::{Ending, Source, Tags, checked};
use crate::shoot::Damage;
use crate::units::Size;

/// The whole of the end chunk after its length: name and checksum.
const END: &[u8] = b"IEND\xae\x42\x60\x82";

/// The longest EXIF chunk taken.
const LONGEST_TAGS: u32 = 1 << 20;

/// Reads size, tags and ending; `tags` keeps what was read even where the rest fails.
pub(super) fn read(source: &mut Source, tags: &mut Tags) -> Result<(Size, Ending), Damage> {
    source.skip(8)?;
    let (length, name) = chunk(source)?;
    if &name != b"IHDR" || length != 13 {
        return Err(Damage::Corrupt("its first chunk is not its header".to_owned()));
    }
    let size = checked(u32::from_be_bytes(source.take()?), u32::from_be_bytes(source.take()?))?;
    source.skip(5 + 4)?;
    let mut tagged = false;
    let data = loop {
        let cut = |damage| match damage {
            Damage::Corrupt(_) => Damage::CutShort { decoded: 0, due: size.height },
            other => other,
        };
        let (length, name) = chunk(source).map_err(cut)?;
        match &name {
            b"IDAT" => break source.position()?,
            b"IEND" => return Err(Damage::CutShort { decoded: 0, due: size.height }),
            b"eXIf" if length <= LONGEST_TAGS => {
                tags.take_exif(&source.take_many(length.into()).map_err(cut)?);
                tagged = true;
                source.skip(4)?;
            }
            _ => source.skip(u64::from(length) + 4)?,
        }
    };
    let tail = Tail::read(source, data)?;
    // The EXIF chunk may also come after the picture data: then it is looked for near the end.
    if !tagged
        && let Some((length, rest)) = tail.around(b"eXIf")
        && let Ok(length) = usize::try_from(u32::from_be_bytes(length))
        && let Some(block) = rest.get(..length)
    {
        tags.take_exif(block);
    }
    Ok((size, tail.ending(END).unwrap_or(Ending::Open)))
}

fn chunk(source: &mut Source) -> Result<(u32, [u8; 4]), Damage> {
    Ok((u32::from_be_bytes(source.take()?), source.take()?))
}

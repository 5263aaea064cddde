//! A HEIC's or an AVIF's container: size, orientation and tags, and whether all it names lies inside the file.

use super::{Ending, Source, Tags, fault};
use crate::decode::heif::{self, Bytes, Container};
use crate::shoot::Damage;
use crate::units::Size;

/// Reads size, tags and ending; `tags` keeps what was read even where the rest fails.
pub(super) fn read(source: &mut Source, tags: &mut Tags) -> Result<(Size, Ending), Damage> {
    let container = Container::read(source)?;
    if let Some(block) = container.exif(source) {
        tags.take_exif(&block);
    }
    // The container turns the picture; what EXIF says of that has been done already, or is not so.
    tags.orientation = container.orientation;
    if let Some(icc) = &container.icc {
        tags.settings.profile = Some(super::profile_name(icc));
    }
    if let Some(points) = container.points {
        heif::supported(points)?;
    }
    let ending = if container.end > source.length() { Ending::Open } else { Ending::Whole };
    Ok((container.crop.size, ending))
}

impl Bytes for Source {
    fn length(&self) -> u64 {
        self.length
    }

    fn at(&mut self, from: u64, length: u64) -> Result<Vec<u8>, Damage> {
        if from.saturating_add(length) > self.length {
            return Err(fault(&std::io::ErrorKind::UnexpectedEof.into()));
        }
        self.go_to(from)?;
        self.take_many(length)
    }
}

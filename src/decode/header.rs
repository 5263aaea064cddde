//! What a file's first and last bytes say: its kind, size, orientation, capture time, and whether it has an end.
//!
//! A path comes in; a [`Header`] or what is wrong goes out. No pixel is decoded and nothing is allocated for one, so a
//! shoot of 100,000 stills is read in seconds. A file without the end its kind promises is only told apart from a whole
//! one by decoding: see [`super::test_decode`].

mod heif;
mod jpeg;
mod png;
mod sniff;
mod tail;
mod tiff;
mod webp;

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};

use super::body::Body;
use super::exif;
use crate::shoot::{Captured, Damage, Format, MOST_PIXELS, Orientation, Settings, Still};
use crate::units::Size;

/// What the first and last bytes of a picture say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// What it is by its content.
    pub format: Format,
    /// Size as stored, before orientation, in pixels.
    pub stored: Size,
    /// The orientation tag, upright where there is none.
    pub orientation: Orientation,
    /// When it was taken, where it says so.
    pub captured: Option<Captured>,
    /// How the camera was set, where it says so.
    pub settings: Settings,
    /// Which camera it was, where it says so.
    pub body: Option<Body>,
    /// Whether the end is there.
    pub ending: Ending,
    /// Bytes in the file.
    pub bytes: u64,
    /// Modification time in nanoseconds since 1970.
    pub modified: i128,
}

impl Header {
    /// The still of the file at `path`, whose header this is.
    #[must_use]
    pub fn still(&self, path: &Path) -> Still {
        Still {
            path: path.to_owned(),
            format: self.format,
            stored: self.stored,
            orientation: self.orientation,
            captured: self.captured,
            settings: self.settings.clone(),
            bytes: self.bytes,
            modified: self.modified,
        }
    }
}

/// How a file ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Ending {
    /// With the end mark of its kind.
    Whole,
    /// With so many bytes after the end mark: some cameras append a block of their own.
    Trailing(u64),
    /// Without an end mark: cut short, or whole and carelessly written. Only decoding tells.
    Open,
}

/// What is wrong with a file, and when it was taken where its header still tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// What is wrong.
    pub damage: Damage,
    /// When it was taken.
    pub captured: Option<Captured>,
}

/// What bytes are called that say nothing.
pub const UNKNOWN: &str = "bytes of no known kind";

/// What a recording is called.
pub const VIDEO: &str = "a video";

/// What a file is by its first bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A picture of a kind that is read.
    Picture(Format),
    /// A picture of a kind that is not read (`"GIF"`).
    OtherPicture(&'static str),
    /// Something else (`"an HTML page"`).
    Other(&'static str),
    /// No bytes at all.
    Empty,
}

/// What the tags of a picture say of it.
#[derive(Debug, Clone, Default)]
struct Tags {
    orientation: Orientation,
    captured: Option<Captured>,
    settings: Settings,
    body: Option<Body>,
}

impl Tags {
    /// Takes over what an EXIF block says.
    fn take_exif(&mut self, block: &[u8]) {
        let Some(block) = exif::Block::read(block) else { return };
        self.orientation = block.orientation().unwrap_or(self.orientation);
        self.captured = block.captured().or(self.captured);
        self.body = block.body().or(self.body.take());
        // An embedded profile says more than a tag.
        let profile = self.settings.profile.take();
        self.settings = block.settings();
        self.settings.profile = profile.or(self.settings.profile.take());
    }
}

/// Reads a picture's header and tail.
///
/// # Errors
/// What is wrong with the file, as far as its first and last bytes tell: empty, no picture, a kind that is not read,
/// too many pixels, a header that breaks off, or what the operating system said.
pub fn read(path: &Path) -> Result<Header, Refused> {
    let mut tags = Tags::default();
    read_into(path, &mut tags).map_err(|damage| Refused { damage, captured: tags.captured })
}

/// What a file is by its first bytes.
///
/// # Errors
/// [`Damage::Unreadable`] with what the operating system said.
pub fn kind(path: &Path) -> Result<Kind, Damage> {
    Ok(sniff::kind(Source::open(path)?.first_bytes()?))
}

/// The format of a picture that is read, by its first bytes.
///
/// # Errors
/// What else the file is.
pub(super) fn format(first: &[u8]) -> Result<Format, Damage> {
    match sniff::kind(first) {
        Kind::Picture(format) => Ok(format),
        Kind::OtherPicture(kind) => Err(Damage::Unsupported(format!("{kind} pictures are not read"))),
        Kind::Other(what) => Err(Damage::NotAPicture(what.to_owned())),
        Kind::Empty => Err(Damage::Empty),
    }
}

fn read_into(path: &Path, tags: &mut Tags) -> Result<Header, Damage> {
    let mut source = Source::open(path)?;
    let format = format(source.first_bytes()?)?;
    let (bytes, modified) = (source.length, source.modified);
    let (stored, ending) = match format {
        Format::Jpeg => jpeg::read(&mut source, tags),
        Format::Png => png::read(&mut source, tags),
        Format::Tiff => tiff::read(source, tags),
        Format::Webp => webp::read(&mut source, tags),
        Format::Heic | Format::Avif => heif::read(&mut source, tags),
        // No first bytes say so: a recording is no picture.
        Format::Frame => Err(Damage::NotAPicture("a video".into())),
    }?;
    let settings = std::mem::take(&mut tags.settings);
    Ok(Header {
        format,
        stored,
        orientation: tags.orientation,
        captured: tags.captured,
        settings,
        body: tags.body.take(),
        ending,
        bytes,
        modified,
    })
}

/// Refuses sizes that no still has.
fn checked(width: u32, height: u32) -> Result<Size, Damage> {
    let size = Size::new(width, height);
    match size.pixels() {
        0 => Err(Damage::Corrupt(format!("its header gives a size of {size}"))),
        pixels if pixels > MOST_PIXELS => Err(Damage::TooLarge(size.to_string())),
        _ => Ok(size),
    }
}

/// What an embedded ICC profile is called: two of the same bytes have one name.
fn profile_name(icc: &[u8]) -> Box<str> {
    format!("ICC profile {}", &blake3::hash(icc).to_hex()[..8]).into()
}

/// An input fault as damage: the end of the file where more of the header was due, or what the operating system said.
fn fault(error: &io::Error) -> Damage {
    match error.kind() {
        io::ErrorKind::UnexpectedEof => Damage::Corrupt("the file ends inside its header".to_owned()),
        _ => Damage::Unreadable(error.to_string()),
    }
}

/// A file opened for reading, with what the operating system says of it.
struct Source {
    reader: BufReader<File>,
    length: u64,
    modified: i128,
}

impl Source {
    const BUFFER: usize = 16 * 1024;

    fn open(path: &Path) -> Result<Self, Damage> {
        let opened = File::open(path).and_then(|file| Ok((file.metadata()?, file)));
        let (metadata, file) = opened.map_err(|error| Damage::Unreadable(error.to_string()))?;
        Ok(Self {
            reader: BufReader::with_capacity(Self::BUFFER, file),
            length: metadata.len(),
            modified: metadata.modified().map_or(0, nanoseconds),
        })
    }

    /// The first bytes of the file, as many as one read gives, without going past them.
    fn first_bytes(&mut self) -> Result<&[u8], Damage> {
        self.reader.fill_buf().map_err(|error| fault(&error))
    }

    fn take<const N: usize>(&mut self) -> Result<[u8; N], Damage> {
        let mut bytes = [0; N];
        self.reader.read_exact(&mut bytes).map_err(|error| fault(&error))?;
        Ok(bytes)
    }

    fn take_many(&mut self, count: u64) -> Result<Vec<u8>, Damage> {
        if count > self.length {
            return Err(fault(&io::ErrorKind::UnexpectedEof.into()));
        }
        let mut bytes = Vec::new();
        let taken = self.reader.by_ref().take(count).read_to_end(&mut bytes).map_err(|error| fault(&error))?;
        if taken as u64 == count { Ok(bytes) } else { Err(fault(&io::ErrorKind::UnexpectedEof.into())) }
    }

    fn skip(&mut self, count: u64) -> Result<(), Damage> {
        let count = i64::try_from(count).map_err(|_past_any_file| fault(&io::ErrorKind::UnexpectedEof.into()))?;
        self.reader.seek_relative(count).map_err(|error| fault(&error))
    }

    fn position(&mut self) -> Result<u64, Damage> {
        self.reader.stream_position().map_err(|error| fault(&error))
    }

    fn go_to(&mut self, offset: u64) -> Result<(), Damage> {
        self.reader.seek(SeekFrom::Start(offset)).map(|_offset| ()).map_err(|error| fault(&error))
    }
}

/// A modification time in nanoseconds since 1970, negative before.
#[must_use]
pub fn nanoseconds(time: std::time::SystemTime) -> i128 {
    let count = |duration: std::time::Duration| i128::try_from(duration.as_nanos()).unwrap_or(i128::MAX);
    match time.duration_since(UNIX_EPOCH) {
        Ok(after) => count(after),
        Err(before) => -count(before.duration()),
    }
}

//! The only opener of stills: a file to planes, upright, with a report of damage.
//!
//! A picture comes back whole where it was asked for, or not at all: a decoder's warning counts as damage, because what
//! follows one is stale, grey or shifted. Nothing is ever opened for writing.

pub mod body;
mod buffers;
mod exif;
mod file;
mod heif;
mod jpeg;
mod kept;
mod known;
mod means;
mod profile;
mod raster;
mod sequential;
mod shrink;
mod small;
mod sound;
mod turn;

pub mod clip;
pub mod header;
pub mod key;
pub mod recording;
pub mod whole;

pub use file::is_out_of_reach;
pub use kept::{SMALL_STILLS, SmallStills};
pub use known::{KNOWN_FILES, KnownFiles};
pub use sequential::SequentialDecoder;

pub use small::{denominator, reduced, reduced_luma};
pub use sound::{RATE, Tape, Unread};

use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::ffi::jpeg::Decompressor;
use crate::integrity::Means;
use crate::picture::{Model, Picture, Plane, Profile};
use crate::shoot::{Damage, Format, MOST_PIXELS, Orientation, Still};
use crate::units::Size;

/// Decodes stills one after another, reusing its buffers. One a worker.
#[derive(Debug, Default)]
pub struct Decoder {
    /// The file being decoded.
    file: Vec<u8>,
    decompressor: Decompressor,
    /// Interleaved pixels, where a file cannot be decoded to planes.
    pixels: Vec<u8>,
    /// Planes as stored, where they have to be turned.
    stored: Vec<Plane>,
    /// An entry of the store of small stills.
    entry: Vec<u8>,
    profiles: profile::Profiles,
    /// FFmpeg's decoder of the last HEIC or AVIF.
    opened: Option<heif::Opened>,
    remarks: Vec<String>,
    /// The still last decoded at a pixel a block.
    means: Option<Means>,
}

/// What is wanted of a still, always upright. `scale` is the side, 1, 2, 4 or 8 pixels of the file's own, of the
/// squares that each become one sample, their mean; of JPEGs libjpeg makes it while decoding, which costs little more
/// than reading the data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Want {
    /// The planes that the file has, for a frame. Size, rows and places stay those of the whole still: the planes'
    /// sitings tell where the samples are.
    Planes {
        /// The luma rows that are decoded at least; the picture says which were, and the others hold whatever the
        /// buffers held.
        rows: Range<u32>,
        /// The side of a sample's square.
        scale: u32,
    },
    /// R'G'B' of 8 bits, for looking at. The picture's size is the small one's, rounded up. All of the file's data is
    /// read, so damage shows as in all rows of [`Want::Planes`].
    Rgb {
        /// The side of a sample's square.
        scale: u32,
    },
    /// As [`Want::Rgb`], but one plane of luma (BT.601, as coded), which costs less.
    Luma {
        /// The side of a sample's square.
        scale: u32,
    },
}

impl Want {
    /// The planes that the file has, in its own size: these luma rows at least.
    #[must_use]
    pub fn rows(rows: Range<u32>) -> Self {
        Self::Planes { rows, scale: 1 }
    }

    /// All of the planes that the file of a still has, in its own size.
    #[must_use]
    pub fn whole(still: &Still) -> Self {
        Self::rows(0..still.orientation.upright(still.stored).height)
    }
}

/// A still's file, read and not yet decoded.
#[derive(Debug)]
pub struct InMemory<'a> {
    decoder: &'a mut Decoder,
    still: &'a Still,
}

impl InMemory<'_> {
    /// What the file holds.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.decoder.file
    }

    /// Decodes it.
    ///
    /// # Errors
    /// As [`Decoder::decode`].
    pub fn decode(self, want: Want, spare: Option<Picture>) -> Result<Picture, Damage> {
        let Self { decoder, still } = self;
        match want {
            Want::Planes { rows, scale } => {
                decoder.planes(still, scale, rows, spare.map(|picture| picture.planes).unwrap_or_default())
            }
            Want::Rgb { scale } => decoder.rgb(still, scale, spare),
            Want::Luma { scale } => decoder.luma(still, scale, spare),
        }
    }
}

/// What a route makes of a file beside its planes.
struct Decoded {
    /// Size as stored.
    size: Size,
    model: Model,
    profile: Profile,
    /// The stored rows that hold decoded pixels.
    rows: Range<u32>,
    /// The size of tiles that were coded each alone, where there are several.
    tile: Option<Size>,
}

impl Decoder {
    /// A decoder with no buffers yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Decodes a still. `spare` is a picture no longer needed, whose buffers may be used again: after a few stills of
    /// one kind no pixel buffer is allocated.
    ///
    /// # Errors
    /// What is wrong with the file: a picture is whole where it was asked for, or there is none. The decoder can be
    /// used again after an error.
    pub fn decode(&mut self, still: &Still, want: Want, spare: Option<Picture>) -> Result<Picture, Damage> {
        self.read(still)?.decode(want, spare)
    }

    /// Reads a still's file, to be decoded or not.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn read<'a>(&'a mut self, still: &'a Still) -> Result<InMemory<'a>, Damage> {
        if let Err(damage) = file::read(still, &mut self.file) {
            self.file.clear();
            return Err(damage);
        }
        Ok(InMemory { decoder: self, still })
    }

    /// BLAKE3 of the file that [`Decoder::decode`] has just read for a still, whatever came of decoding it, and what
    /// [`key::quick`] makes of it; none where it could not be read.
    #[must_use]
    pub fn hash_read(&self, still: &Still) -> Option<[blake3::Hash; 2]> {
        (!self.file.is_empty()).then(|| [blake3::hash(&self.file), key::quick_of(still, &self.file)])
    }

    /// The planes of the file in memory ([`Want::Planes`]), in the room of `planes`.
    fn planes(
        &mut self,
        still: &Still,
        denominator: u32,
        rows: Range<u32>,
        mut planes: Vec<Plane>,
    ) -> Result<Picture, Damage> {
        self.remarks.clear();
        let upright = still.orientation.upright(still.stored);
        let turned = still.orientation != Orientation::Upright;
        let decoded = if turned {
            let mut stored = std::mem::take(&mut self.stored);
            let decoded = self.stored(still, denominator, 0..still.stored.height, &mut stored)?;
            turn::turn(&stored, decoded.size, still.orientation, &mut planes);
            self.stored = stored;
            Decoded { rows: 0..upright.height, ..decoded }
        } else {
            self.stored(still, denominator, rows, &mut planes)?
        };
        let Decoded { model, profile, rows, .. } = decoded;
        Ok(Picture { size: upright, model, planes, profile, first_row: rows.start, end_row: rows.end })
    }

    /// What a person should know of the still last decoded: a profile that could not be used, a choice that was made.
    /// The same words for every still of which the same is true.
    #[must_use]
    pub fn remarks(&self) -> &[String] {
        &self.remarks
    }

    /// The block means of the still last decoded, to be held against its neighbours': of a JPEG all of them, whichever
    /// rows were asked for.
    #[must_use]
    pub fn means(&mut self) -> Option<Means> {
        self.means.take()
    }

    /// Reads a still for its block means alone: of a JPEG nothing is decoded to pixels.
    ///
    /// # Errors
    /// As [`Decoder::decode`].
    pub fn means_of(&mut self, still: &Still) -> Result<Option<Means>, Damage> {
        let rows = if still.format == Format::Jpeg { 0..1 } else { 0..still.orientation.upright(still.stored).height };
        let upright = Still { orientation: Orientation::Upright, ..still.clone() };
        self.decode(&upright, Want::rows(rows), None)?;
        Ok(self.means())
    }

    /// Decodes the file in memory as it is stored.
    fn stored(
        &mut self,
        still: &Still,
        denominator: u32,
        rows: Range<u32>,
        planes: &mut Vec<Plane>,
    ) -> Result<Decoded, Damage> {
        self.means = None;
        let format = header::format(&self.file)?;
        let route = |decoder: &mut Self| match format {
            Format::Jpeg => jpeg::decode(decoder, still, denominator, rows, planes),
            Format::Png => raster::png(decoder, still, planes).inspect(|_| shrink::all(planes, denominator)),
            Format::Tiff => raster::tiff(decoder, still, planes).inspect(|_| shrink::all(planes, denominator)),
            Format::Webp => raster::webp(decoder, still, planes).inspect(|_| shrink::all(planes, denominator)),
            Format::Heic | Format::Avif => {
                heif::decode(decoder, still, planes).inspect(|_| shrink::all(planes, denominator))
            }
            Format::Frame => {
                Err(Damage::Unsupported("a recording's frames are decoded in order, one after another".into()))
            }
        };
        let decoded = outlived(|| route(self))?;
        if format != Format::Jpeg {
            self.means = Some(means::of_picture(planes, decoded.model, denominator, format, decoded.tile));
        }
        Ok(decoded)
    }
}

/// What a route gives. A damaged file must not take the whole run down, whatever bug it finds in a library.
fn outlived<T>(route: impl FnOnce() -> Result<T, Damage>) -> Result<T, Damage> {
    catch_unwind(AssertUnwindSafe(route))
        .unwrap_or_else(|_| Err(Damage::Corrupt("its decoder gave up in the middle".into())))
}

/// Decodes a whole still to see whether all of its rows are there.
///
/// # Errors
/// As [`Decoder::decode`].
pub fn test_decode(still: &Still) -> Result<(), Damage> {
    Decoder::new().decode(still, Want::whole(still), None).map(|_| ())
}

/// Refuses a header that is not the surveyed one, or promises too much, before anything is allocated.
fn check_size(still: &Still, size: Size) -> Result<(), Damage> {
    if size.pixels() > MOST_PIXELS {
        return Err(Damage::TooLarge(size.to_string()));
    }
    if size == still.stored { Ok(()) } else { Err(Damage::Changed) }
}

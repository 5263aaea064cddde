//! Stills decoded small, kept on the disk: to the last bit what decoding gives, by what their files hold.
//!
//! An entry holds the planes as grey PNGs one after another (in the fastest of that format's ways: a third to a half of
//! the bytes, read back in a few milliseconds), and in front of them, as JSON, what they mean and what there was to
//! remark.
//!
//! ## Decisions
//!
//! - To be kept a still is decoded whole. Where that shows damage that no frame looks at, it is decoded again as far as
//!   frames look, so policies meet the same damage in drafts and renders. Frames of recordings are not kept.

use std::io::Cursor;

use serde::{Deserialize, Serialize};

use super::buffers::{self, Shape};
use super::header::nanoseconds;
use super::{Decoder, file, key, means};
use crate::picture::{Model, Picture, Plane, Profile, Samples, Siting};
use crate::shoot::{Damage, Orientation, Still};
use crate::store::{Kind, Store};
use crate::units::Size;

/// How small stills are kept below the user's folder. Another way of decoding or keeping them takes another number.
pub const SMALL_STILLS: Kind = Kind { folder: "small", head: b"stillpath small1", most: 4_000_000_000 };

/// A store of small stills. Whatever the disk has against it, stills are decoded all the same.
#[derive(Debug)]
pub struct SmallStills {
    store: Store,
    trouble: std::sync::Mutex<Option<std::io::Error>>,
}

impl SmallStills {
    /// In this store, which is one of [`SMALL_STILLS`].
    #[must_use]
    pub fn new(store: Store) -> Self {
        Self { store, trouble: std::sync::Mutex::default() }
    }

    /// What the disk said first when something could not be kept.
    #[must_use]
    pub fn trouble(self) -> Option<std::io::Error> {
        self.trouble.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn put(&self, key: &blake3::Hash, body: &[u8]) {
        let trouble = || self.trouble.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let had = trouble().is_some();
        if let Some(error) = (!had).then(|| self.store.put(key, body).err()).flatten() {
            trouble().get_or_insert(error);
        }
    }
}

/// What stands in front of an entry's planes.
#[derive(Serialize, Deserialize)]
struct Front {
    /// The hash of the whole file.
    of: String,
    /// Its modification time.
    modified: String,
    size: [u32; 2],
    model: KeptModel,
    profile: KeptProfile,
    remarks: Vec<String>,
    planes: Vec<KeptPlane>,
}

#[derive(Serialize, Deserialize)]
enum KeptModel {
    YCbCr601,
    Rgb,
    Grey,
}

#[derive(Serialize, Deserialize)]
enum KeptProfile {
    Srgb,
    AdobeRgb,
    /// So many bytes before the planes.
    Icc(usize),
}

#[derive(Serialize, Deserialize)]
struct KeptPlane {
    width: u32,
    height: u32,
    deep: bool,
    /// The siting's numbers, to the last bit.
    siting: [u64; 4],
    bytes: usize,
}

impl Decoder {
    /// As [`Decoder::decode`] of all rows as [`Want::Planes`](super::Want::Planes), from the store where it is there,
    /// and kept there where not. Says whether it was there.
    ///
    /// # Errors
    /// As [`Decoder::decode`]; trouble with the store is none.
    pub fn decode_kept(
        &mut self,
        still: &Still,
        denominator: u32,
        kept: &SmallStills,
        spare: Option<Picture>,
    ) -> Result<(Picture, bool), Damage> {
        let mut planes = spare.map(|picture| picture.planes).unwrap_or_default();
        let rows = 0..still.orientation.upright(still.stored).height;
        // What is wrong with a file is for decoding to say.
        let key = is_as_surveyed(still).then(|| key::quick(still).ok()).flatten();
        let key =
            key.map(|key| blake3::Hasher::new().update(key.as_bytes()).update(&denominator.to_le_bytes()).finalize());
        if let Some(key) = &key {
            let mut entry = std::mem::take(&mut self.entry);
            let found = self.found((still, denominator), kept, key, &mut entry, &mut planes);
            self.entry = entry;
            if let Some(picture) = found {
                return Ok((picture, true));
            }
        }
        self.read(still)?;
        let picture = self.planes(still, denominator, rows, planes)?;
        if let Some(key) = &key
            && let Some(entry) = packed(&picture, still, &blake3::hash(&self.file), &self.remarks)
        {
            kept.put(key, &entry);
        }
        Ok((picture, false))
    }

    /// The picture in the entry of a key, where there is one and it is of this very file.
    fn found(
        &mut self,
        (still, denominator): (&Still, u32),
        kept: &SmallStills,
        key: &blake3::Hash,
        entry: &mut Vec<u8>,
        planes: &mut Vec<Plane>,
    ) -> Option<Picture> {
        let (length, rest) = kept.store.get(key, entry)?.split_first_chunk::<4>()?;
        let (front, rest) = rest.split_at_checked(u32::from_le_bytes(*length) as usize)?;
        let front: Front = serde_json::from_slice(front).ok()?;
        let size = still.orientation.upright(still.stored);
        // Copied or touched since, the file is the same one where all of its bytes are.
        let mut same =
            || file::read(still, &mut self.file).is_ok_and(|()| *blake3::hash(&self.file).to_hex() == *front.of);
        if front.size != [size.width, size.height] || (front.modified != still.modified.to_string() && !same()) {
            return None;
        }
        let (profile, rest) = match front.profile {
            KeptProfile::Srgb => (Profile::Srgb, rest),
            KeptProfile::AdobeRgb => (Profile::AdobeRgb, rest),
            KeptProfile::Icc(bytes) => {
                let (icc, rest) = rest.split_at_checked(bytes)?;
                (Profile::Icc(icc.into()), rest)
            }
        };
        unpack(&front.planes, rest, size, planes)?;
        self.remarks = front.remarks;
        let model = match front.model {
            KeptModel::YCbCr601 => Model::YCbCr601,
            KeptModel::Rgb => Model::Rgb,
            KeptModel::Grey => Model::Grey,
        };
        // Blocks lie in the order of coding in pictures that were not turned alone.
        let upright = still.orientation == Orientation::Upright;
        self.means = upright.then(|| means::of_picture(planes, model, denominator, still.format, None));
        let planes = std::mem::take(planes);
        Some(Picture { size, model, planes, profile, first_row: 0, end_row: size.height })
    }
}

/// Whether a file has the length and the time that the survey saw.
fn is_as_surveyed(still: &Still) -> bool {
    std::fs::metadata(&still.path)
        .is_ok_and(|seen| seen.len() == still.bytes && seen.modified().map_or(0, nanoseconds) == still.modified)
}

/// A picture as an entry: the length of the JSON, the JSON, a profile's bytes, the planes.
fn packed(picture: &Picture, still: &Still, of: &blake3::Hash, remarks: &[String]) -> Option<Vec<u8>> {
    let model = match picture.model {
        Model::YCbCr601 => KeptModel::YCbCr601,
        Model::Rgb => KeptModel::Rgb,
        Model::Grey => KeptModel::Grey,
        Model::Video(_) => return None,
    };
    let (profile, icc) = match &picture.profile {
        Profile::Srgb => (KeptProfile::Srgb, None),
        Profile::AdobeRgb => (KeptProfile::AdobeRgb, None),
        Profile::Icc(icc) => (KeptProfile::Icc(icc.len()), Some(icc)),
        Profile::Light => return None,
    };
    let (mut files, mut planes) = (Vec::new(), Vec::new());
    for plane in &picture.planes {
        let before = files.len();
        let Siting { step_x, step_y, origin_x, origin_y } = plane.siting;
        write_plane(plane, &mut files).ok()?;
        planes.push(KeptPlane {
            width: plane.width,
            height: plane.height,
            deep: matches!(plane.samples, Samples::Sixteen(_)),
            siting: [step_x, step_y, origin_x, origin_y].map(f64::to_bits),
            bytes: files.len() - before,
        });
    }
    let front = Front {
        of: of.to_hex().to_string(),
        modified: still.modified.to_string(),
        size: [picture.size.width, picture.size.height],
        model,
        profile,
        remarks: remarks.to_vec(),
        planes,
    };
    let front = serde_json::to_vec(&front).ok()?;
    let mut entry = u32::try_from(front.len()).ok()?.to_le_bytes().to_vec();
    entry.extend(front);
    entry.extend(icc.into_iter().flat_map(|icc| icc.iter()));
    entry.extend(files);
    Some(entry)
}

fn write_plane(plane: &Plane, file: &mut Vec<u8>) -> Result<(), png::EncodingError> {
    let mut encoder = png::Encoder::new(file, plane.width, plane.height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::Filter::Sub);
    let rows = plane.height as usize;
    let bytes: Vec<u8> = match &plane.samples {
        Samples::Eight(samples) => {
            encoder.set_depth(png::BitDepth::Eight);
            samples.chunks(plane.stride).take(rows).flat_map(|row| &row[..plane.width as usize]).copied().collect()
        }
        Samples::Sixteen(samples) => {
            encoder.set_depth(png::BitDepth::Sixteen);
            let rows = samples.chunks(plane.stride).take(rows).flat_map(|row| &row[..plane.width as usize]);
            rows.flat_map(|sample| sample.to_be_bytes()).collect()
        }
    };
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()
}

/// Reads planes back, in the room that `planes` has.
fn unpack(kept: &[KeptPlane], mut files: &[u8], whole: Size, planes: &mut Vec<Plane>) -> Option<()> {
    let shape = |plane: &KeptPlane| {
        let [step_x, step_y, origin_x, origin_y] = plane.siting.map(f64::from_bits);
        Shape {
            siting: Siting { step_x, step_y, origin_x, origin_y },
            ..Shape::full(Size::new(plane.width, plane.height))
        }
    };
    let deep = kept.first()?.deep;
    let fits = |plane: &KeptPlane| {
        plane.deep == deep && (1..=whole.width).contains(&plane.width) && plane.height <= whole.height
    };
    if kept.len() > 3 || !kept.iter().all(fits) {
        return None;
    }
    let shapes: Vec<Shape> = kept.iter().map(shape).collect();
    if deep {
        buffers::sixteen(planes, &shapes)
    } else {
        buffers::eight(planes, &shapes)
    }
    for (kept, plane) in kept.iter().zip(planes) {
        let (file, rest) = files.split_at_checked(kept.bytes)?;
        files = rest;
        read_plane(file, plane).ok().flatten()?;
    }
    Some(())
}

fn read_plane(file: &[u8], plane: &mut Plane) -> Result<Option<()>, png::DecodingError> {
    let mut decoder = png::Decoder::new(Cursor::new(file));
    // The store has hashed them already.
    decoder.ignore_checksums(true);
    let mut reader = decoder.read_info()?;
    let due = if matches!(plane.samples, Samples::Eight(_)) { png::BitDepth::Eight } else { png::BitDepth::Sixteen };
    let info = reader.info();
    if (info.width, info.height, info.color_type, info.bit_depth)
        != (plane.width, plane.height, png::ColorType::Grayscale, due)
    {
        return Ok(None);
    }
    match &mut plane.samples {
        Samples::Eight(samples) => {
            reader.next_frame(samples)?;
        }
        Samples::Sixteen(samples) => {
            for row in samples.chunks_mut(plane.stride) {
                let Some(bytes) = reader.next_row()? else { return Ok(None) };
                row.iter_mut()
                    .zip(bytes.data().as_chunks().0)
                    .for_each(|(sample, bytes)| *sample = u16::from_be_bytes(*bytes));
            }
        }
    }
    Ok(Some(()))
}

//! What the parts share: stills made on the spot.

mod astray;
mod colour;
mod damage;
mod heif;
mod lost;
mod mutated;
mod oracle;
mod planes;
mod raster;
mod small;
mod windows;

use std::path::Path;
use std::time::UNIX_EPOCH;

use stillpath::decode::{Decoder, Want};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::picture::{Picture, Samples};
use stillpath::shoot::{Damage, Format, Orientation, Still};
use stillpath::units::Size;
use tempfile::TempDir;

/// Every luma-to-chroma ratio that cameras and programs write.
pub(crate) const SUBSAMPLINGS: [(u8, u8); 5] = [(1, 1), (2, 1), (2, 2), (1, 2), (4, 1)];

/// A folder of stills that goes away with the test.
pub(crate) struct Folder(TempDir);

impl Folder {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// A still of these bytes, as the survey would list it.
    pub(crate) fn still(&self, name: &str, format: Format, stored: Size, bytes: &[u8]) -> Still {
        let path = self.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let seen = std::fs::metadata(&path).unwrap();
        let modified = seen.modified().unwrap().duration_since(UNIX_EPOCH).unwrap().as_nanos();
        Still {
            path,
            format,
            stored,
            orientation: Orientation::Upright,
            captured: None,
            settings: stillpath::shoot::Settings::default(),
            bytes: seen.len(),
            modified: i128::try_from(modified).unwrap(),
        }
    }

    pub(crate) fn jpeg(&self, stored: Size, bytes: &[u8]) -> Still {
        self.still("still.jpg", Format::Jpeg, stored, bytes)
    }
}

/// A scene with slopes, edges and grain, so that a shifted, stale or grey row is never like the right one.
/// Interleaved, `channels` samples a pixel.
pub(crate) fn scene(size: Size, channels: u32) -> Vec<u8> {
    let mut state = 0x2545_F491_u32;
    let mut samples = Vec::new();
    for y in 0..size.height {
        for x in 0..size.width {
            for channel in 0..channels {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                let slope = (x * (2 + channel) + y * (5 - channel)) % 160;
                let edge = if (x / 11 + y / 7 + channel).is_multiple_of(3) { 48 } else { 0 };
                samples.push(u8::try_from(20 + slope + edge + state % 16).unwrap());
            }
        }
    }
    samples
}

/// Quality 90, baseline, no restarts.
pub(crate) fn encoding(colour: Colour, subsampling: (u8, u8)) -> Encoding<'static> {
    Encoding { quality: 90, colour, subsampling, coding: Coding::Baseline, restart_rows: 0, markers: &[] }
}

pub(crate) fn ycbcr(size: Size, subsampling: (u8, u8)) -> Vec<u8> {
    encode(&scene(size, 3), size, &encoding(Colour::YCbCr, subsampling))
}

/// The rows of a plane without their padding.
pub(crate) fn rows(picture: &Picture, plane: usize) -> Vec<Vec<u8>> {
    let plane = &picture.planes[plane];
    let Samples::Eight(samples) = &plane.samples else { panic!("more than 8 bits") };
    samples.chunks(plane.stride).take(plane.height as usize).map(|row| row[..plane.width as usize].to_vec()).collect()
}

/// The whole picture of a JPEG that is whole.
pub(crate) fn decoded(jpeg: &[u8], size: Size) -> Picture {
    Decoder::new().decode(&Folder::new().jpeg(size, jpeg), Want::rows(0..size.height), None).unwrap()
}

/// What is wrong with a JPEG that is not.
pub(crate) fn damage_of(jpeg: &[u8], size: Size) -> Damage {
    Decoder::new().decode(&Folder::new().jpeg(size, jpeg), Want::rows(0..size.height), None).unwrap_err()
}

/// A file with other bytes from `at` on.
pub(crate) fn patched(file: &[u8], at: usize, bytes: &[u8]) -> Vec<u8> {
    let mut file = file.to_vec();
    file[at..at + bytes.len()].copy_from_slice(bytes);
    file
}

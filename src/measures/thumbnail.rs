//! A still small, with what it measures: what is kept of it on the disk.
//!
//! ## Decisions
//!
//! - A *glance* is a still made small, with its measurements. *Activity* is the share of a picture's tiles that changed
//!   since the still before.

use std::io;
use std::path::Path;
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use super::Still;
use crate::store::{self, Kind};

/// How glances are kept below the user's folder. Another way of measuring takes another number.
/// About 100 kB a still: 4 GB are 40,000 stills.
pub const THUMBNAIL_STATS: Kind = Kind { folder: "look", head: b"stillpath look 2", most: 4_000_000_000 };

/// A still small, with what it measures.
#[derive(Debug, Clone, PartialEq)]
pub struct ThumbnailStats {
    /// BLAKE3 of the whole file it was made from.
    pub of: blake3::Hash,
    /// That file's modification time, in nanoseconds since 1970.
    pub modified: i128,
    /// Its numbers.
    pub still: Still,
    /// The still, small.
    pub thumbnail: Thumbnail,
    /// Its profiles.
    pub profiles: Profiles,
}

/// A still so small that its longer side has [`Thumbnail::LONGEST`] pixels at most.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Thumbnail {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Red, green, blue: each pixel the square root of its mean linear light, 65,535 for white, row by row. The root is
    /// about as even to the eye as the codes are, and squaring it gives the light.
    pub roots: [Vec<u16>; 3],
}

impl Thumbnail {
    /// Pixels on the longer side at most.
    pub const LONGEST: usize = 128;

    /// Linear light of a pixel, 0 to 1.
    #[must_use]
    pub fn light(&self, channel: usize, at: usize) -> f64 {
        let root = f64::from(self.roots[channel][at]) / 65_535.0;
        root * root
    }

    /// Square root of each pixel's luminance, 0 to 1 (the channels' light weighted as in IEC 61966-2-1).
    #[must_use]
    pub fn grey(&self) -> Vec<f32> {
        let [red, green, blue] = &self.roots;
        let light = |root: u16| (f32::from(root) / 65_535.0).powi(2);
        let pixels = red.iter().zip(green).zip(blue);
        pixels.map(|((r, g), b)| (0.2126 * light(*r) + 0.7152 * light(*g) + 0.0722 * light(*b)).sqrt()).collect()
    }
}

/// Means of luma along the columns and rows of tiles: enough to tell how far a picture moved.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Profiles {
    /// Pixels of the still from one sample to the next.
    pub step: u32,
    /// Tiles across.
    pub across: usize,
    /// Tiles down.
    pub down: usize,
    /// Samples across a tile: one a column.
    pub columns: usize,
    /// Samples down a tile: one a row.
    pub rows: usize,
    /// Tile by tile: `columns` means of columns, then `rows` means of rows, 0 to 255.
    pub means: Vec<f32>,
}

impl Profiles {
    /// Means of a tile's columns.
    #[must_use]
    pub fn across_tile(&self, tile: usize) -> &[f32] {
        &self.means[tile * (self.columns + self.rows)..][..self.columns]
    }

    /// Means of a tile's rows.
    #[must_use]
    pub fn down_tile(&self, tile: usize) -> &[f32] {
        &self.means[tile * (self.columns + self.rows) + self.columns..][..self.rows]
    }
}

/// The part of an entry that is written as JSON.
#[derive(Serialize, Deserialize)]
struct Front {
    of: String,
    modified: String,
    /// The still's numbers, to the last bit.
    still: [u64; 9],
    thumbnail: [usize; 2],
    step: u32,
    tiles: [usize; 2],
    samples: [usize; 2],
}

impl ThumbnailStats {
    /// As an entry of the store: the length of the JSON, the JSON, the numbers, little-endian.
    fn to_bytes(&self) -> Vec<u8> {
        let Self { thumbnail, profiles, .. } = self;
        let front = Front {
            of: self.of.to_hex().to_string(),
            modified: self.modified.to_string(),
            still: bits(&self.still),
            thumbnail: [thumbnail.width, thumbnail.height],
            step: profiles.step,
            tiles: [profiles.across, profiles.down],
            samples: [profiles.columns, profiles.rows],
        };
        let front = serde_json::to_vec(&front).unwrap_or_default();
        let mut body = u32::try_from(front.len()).unwrap_or(0).to_le_bytes().to_vec();
        body.extend(front);
        body.extend(thumbnail.roots.iter().flatten().flat_map(|root| root.to_le_bytes()));
        body.extend(profiles.means.iter().flat_map(|mean| mean.to_le_bytes()));
        body
    }

    /// The entry.
    fn from_bytes(body: &[u8]) -> Option<Self> {
        let (length, rest) = body.split_first_chunk::<4>()?;
        let (front, numbers) = rest.split_at_checked(u32::from_le_bytes(*length) as usize)?;
        let front: Front = serde_json::from_slice(front).ok()?;
        let ([width, height], [across, down], [columns, rows]) = (front.thumbnail, front.tiles, front.samples);
        let pixels = width.checked_mul(height)?;
        let means = across.checked_mul(down)?.checked_mul(columns.checked_add(rows)?)?;
        let (roots, profiles) = numbers.split_at_checked(pixels.checked_mul(6)?)?;
        if profiles.len() != means.checked_mul(4)? {
            return None;
        }
        let roots: Vec<u16> = roots.as_chunks().0.iter().map(|bytes| u16::from_le_bytes(*bytes)).collect();
        let channel = |at: usize| roots[at * pixels..(at + 1) * pixels].to_vec();
        let means = profiles.as_chunks().0.iter().map(|bytes| f32::from_le_bytes(*bytes)).collect();
        Some(Self {
            of: blake3::Hash::from_hex(front.of).ok()?,
            modified: front.modified.parse().ok()?,
            still: still(front.still),
            thumbnail: Thumbnail { width, height, roots: [channel(0), channel(1), channel(2)] },
            profiles: Profiles { step: front.step, across, down, columns, rows, means },
        })
    }
}

fn bits(still: &Still) -> [u64; 9] {
    let Still { light: [red, green, blue], luminance, code, median, black, white, sharpness } = *still;
    [red, green, blue, luminance, code, median, black, white, sharpness].map(f64::to_bits)
}

fn still(bits: [u64; 9]) -> Still {
    let [red, green, blue, luminance, code, median, black, white, sharpness] = bits.map(f64::from_bits);
    Still { light: [red, green, blue], luminance, code, median, black, white, sharpness }
}

/// Glances, one file each, by keys that their makers choose: in a folder that stays, and once that is full in one for
/// this run.
#[derive(Debug)]
pub struct Store {
    kept: store::Store,
    /// A run goes on working with what it has measured, whether or not there is room to keep it for the next.
    overflow: OnceLock<store::Store>,
}

impl Store {
    /// A store that stays, in a folder that is made where it is not there. Its cap is that of [`THUMBNAIL_STATS`].
    ///
    /// # Errors
    /// What the disk says, also where the folder cannot be written to.
    pub fn lasting(folder: &Path) -> io::Result<Self> {
        store::Store::lasting(folder, THUMBNAIL_STATS).map(Self::of)
    }

    /// A store for as long as the value lives.
    ///
    /// # Errors
    /// What the disk says.
    pub fn passing() -> io::Result<Self> {
        store::Store::passing(THUMBNAIL_STATS).map(Self::of)
    }

    fn of(kept: store::Store) -> Self {
        Self { kept, overflow: OnceLock::new() }
    }

    /// Keeps a glance, at least for this run. Whoever reads meanwhile sees the old entry or the new one, and never a
    /// part.
    ///
    /// # Errors
    /// What the disk says.
    pub fn put(&self, key: &blake3::Hash, glance: &ThumbnailStats) -> io::Result<()> {
        let bytes = glance.to_bytes();
        if self.kept.put(key, &bytes)? {
            return Ok(());
        }
        if self.overflow.get().is_none() {
            // Of two made at once one goes again, still empty.
            let _other = self.overflow.set(store::Store::passing(THUMBNAIL_STATS)?);
        }
        self.overflow.get().map_or(Ok(()), |overflow| overflow.put(key, &bytes).map(|_kept| ()))
    }

    /// The glance of a key; none where there is no entry, or one that is not whole.
    #[must_use]
    pub fn get(&self, key: &blake3::Hash) -> Option<ThumbnailStats> {
        let from = |store: &store::Store| ThumbnailStats::from_bytes(store.get(key, &mut Vec::new())?);
        from(&self.kept).or_else(|| from(self.overflow.get()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn glance() -> ThumbnailStats {
        let still = Still {
            light: [0.1, 0.2, 0.3],
            luminance: 0.2,
            code: 0.5,
            median: 0.4,
            black: 0.0,
            white: 0.01,
            sharpness: 0.123_456_789,
        };
        let roots = [0_u16, 100, 200].map(|from| (from..from + 6).collect());
        let means: Vec<f32> = (0..2_u16 * 7).map(|at| f32::from(at) / 3.0).collect();
        ThumbnailStats {
            of: blake3::hash(b"a file"),
            modified: -5,
            still,
            thumbnail: Thumbnail { width: 3, height: 2, roots },
            profiles: Profiles { step: 4, across: 2, down: 1, columns: 4, rows: 3, means },
        }
    }

    #[test]
    fn what_is_kept_comes_back() {
        let store = Store::passing().unwrap();
        let key = blake3::hash(b"a key");
        assert_eq!(store.get(&key), None);
        store.put(&key, &glance()).unwrap();
        assert_eq!(store.get(&key), Some(glance()));
    }

    #[test]
    fn what_a_full_store_has_no_room_for_is_there_as_long_as_the_run() {
        let folder = tempfile::tempdir().unwrap();
        let full = || Store::of(store::Store::lasting(folder.path(), THUMBNAIL_STATS).unwrap().capped(900));
        let store = full();
        let keys: Vec<blake3::Hash> = (0..8_u8).map(|of| blake3::hash(&[of])).collect();
        keys.iter().for_each(|key| store.put(key, &glance()).unwrap());
        assert!(keys.iter().all(|key| store.get(key) == Some(glance())));
        let kept = crate::store::holding(folder.path()).unwrap();
        assert!(kept.bytes <= 900 && (1..8).contains(&kept.entries), "{kept:?}");
        assert_eq!(keys.iter().filter(|key| full().get(key).is_some()).count() as u64, kept.entries);
    }

    #[test]
    fn an_entry_without_its_end_is_none() {
        let bytes = glance().to_bytes();
        assert_eq!(ThumbnailStats::from_bytes(&bytes), Some(glance()));
        assert!((0..bytes.len()).all(|length| ThumbnailStats::from_bytes(&bytes[..length]).is_none()));
    }
}

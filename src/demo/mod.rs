//! Draws the demo shoot: a harbour basin over a falling tide, with exact truth beside it.
//!
//! In comes a [`Request`], out go stills and `truth.json`. Everything is made of maths and seeded noise: what stands
//! still is drawn once for each of the two camera positions as surfaces without light, what moves is drawn anew as
//! vector shapes, and every still lights, mirrors and mixes them. Places in the truth come from the same functions as
//! the picture.

#![expect(
    clippy::cast_possible_truncation,
    reason = "pixels and colours: every cast here is of a value inside a still, or clamps as it should"
)]

mod canvas;
mod craft;
mod crane;
mod exif;
mod lamps;
mod layer;
mod noise;
mod pier;
mod quayside;
mod shore;
mod sky;
mod still;
mod stone;
mod truth;
mod water;
mod world;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};

use crate::ffi::jpeg;
use crate::units::Size;

/// What to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// Slots in the shoot, the missing one included.
    pub stills: u32,
    /// Size of each, in pixels.
    pub size: Size,
    /// Same seed, same bytes.
    pub seed: u64,
    /// Threads to draw with; the bytes do not depend on it.
    pub threads: usize,
}

/// JPEG quality of the stills, and how far apart their chroma samples lie: 4:2:2.
const QUALITY: u8 = 92;
const SUBSAMPLING: (u8, u8) = (2, 1);

/// The script that goes with the shoot, looking for it in `shoot` beside itself.
#[must_use]
pub fn script() -> &'static str {
    include_str!("../../examples/harbour/harbour.lua")
}

/// Draws the shoot below `folder` (`100HARBR/…`, `101HARBR/…`, `truth.json`) and calls `drawn` after every still, from
/// any thread; stops early where that says so.
///
/// # Errors
/// What the disk says, with the file.
pub fn draw(request: &Request, folder: &Path, drawn: &(dyn Fn() -> bool + Sync)) -> Result<(), (PathBuf, io::Error)> {
    let world = world::World::new(request.stills, request.seed);
    let slots: Vec<u32> = (0..request.stills).filter(|&slot| Some(slot) != world.missing).collect();
    for &slot in &slots {
        let path = folder.join(exif::name(slot));
        let parent = path.parent().unwrap_or(folder);
        std::fs::create_dir_all(parent).map_err(|error| (parent.to_owned(), error))?;
    }
    let path = folder.join("truth.json");
    let text = serde_json::to_string_pretty(&truth::Truth::of(&world, request.size))
        .map_err(|error| (path.clone(), error.into()))?;
    std::fs::write(&path, text + "\n").map_err(|error| (path, error))?;

    let setting = still::Setting::new(world, request.size, request.threads);
    let next = AtomicU32::new(0);
    let fault = Mutex::new(None);
    std::thread::scope(|scope| {
        for _ in 0..request.threads.max(1).min(slots.len()) {
            scope.spawn(|| {
                let mut brush = still::Brush::new(request.size);
                while let Some(&slot) = slots.get(next.fetch_add(1, Ordering::Relaxed) as usize) {
                    brush.draw(&setting, slot);
                    if let Err(error) = write(&brush.rgb, request.size, slot, folder) {
                        // The first fault stops the rest: no thread takes another slot.
                        next.store(u32::MAX / 2, Ordering::Relaxed);
                        fault.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).get_or_insert(error);
                        return;
                    }
                    if !drawn() {
                        next.store(u32::MAX / 2, Ordering::Relaxed);
                        return;
                    }
                }
            });
        }
    });
    fault.into_inner().unwrap_or_else(|poisoned| poisoned.into_inner()).map_or(Ok(()), Err)
}

/// One slot of a shoot alone: R'G'B', 8 bits, rows tightly packed. Slots are counted from 0; of the one that is missing in
/// the shoot there is a picture too.
#[must_use]
pub fn picture(request: &Request, slot: u32) -> Vec<u8> {
    let setting = still::Setting::new(world::World::new(request.stills, request.seed), request.size, request.threads);
    let mut brush = still::Brush::new(request.size);
    brush.draw(&setting, slot.min(request.stills.saturating_sub(1)));
    brush.rgb
}

fn write(rgb: &[u8], size: Size, slot: u32, folder: &Path) -> Result<(), (PathBuf, io::Error)> {
    let path = folder.join(exif::name(slot));
    let block = exif::block(slot).map_err(|error| (path.clone(), io::Error::other(error)))?;
    let bytes = jpeg::encode_rgb(rgb, size, QUALITY, SUBSAMPLING, &[(0xE1, &block)]);
    std::fs::write(&path, bytes).map_err(|error| (path, error))
}

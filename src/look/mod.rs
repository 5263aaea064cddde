//! Looks at the pixels of a shoot, each still once at a fraction of its size, and gives what they measure.
//!
//! A [`Shoot`] comes in, [`Measures`] go out. Workers measure stills on their own (`measure`), a recording's frames
//! come in order from one sequential decoder (`footage`); each still's result is kept in a
//! store by what the file holds, so that the next look reads no picture again; one pass over the small results
//! compares each still with those around it (`compare`, `shift`, `odd`, `runs`) and says what happened where
//! (`moved`, `busy`). Memory does not grow with the number of stills but for their numbers. A few stills are decoded
//! once more for what lies on the sensor (`spots`).
//!
//! ## Decisions
//!
//! - Stills are measured at the smallest of 1, 1/2, 1/4, 1/8 that leaves the longer side at least 750 pixels, by
//!   libjpeg's own scaled decoding. Colours are taken for sRGB whatever the profile.
//! - What is kept of a still (about 100 kB) goes by four pieces of its bytes; where the file's time differs from the
//!   entry's, the hash of the whole file decides.
//! - A recording is decoded once from end to end. Its frames are called neither torn nor repeated, because codecs
//!   repeat what hardly changes.
//! - A shoot may be looked at in parts, by many machines: each keeps what it measures in a store that all of them
//!   see, and looking at all of it then finds everything there. A part's first and last stills are judged beside
//!   those of the parts next to it, so what is kept is what one look would keep.
//! - What happened where comes of the kept small pictures alone, so whatever was looked at before needs no other
//!   look, and one look finds what any other does.
//! - TIFFs tell no settings, and camera makers' own fields are not read: focus and white balance change unseen unless
//!   Exif's own fields say so.

mod busy;
mod compare;
mod court;
mod findings;
mod footage;
mod keys;
mod measure;
mod moved;
mod odd;
mod runs;
mod seen;
mod shaking;
mod shift;
mod spots;
mod stand;
mod stripes;
mod tiles;
mod track;

use court::Court;

pub use findings::{findings, flicker, in_words};
pub use keys::{Suggestion, suggestions, suggestions_in_words};
pub use spots::spots;
pub use stand::{register, register_part};
pub use track::{TRACKS, TracksFound, track};

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use crate::decode::{Decoder, Want, denominator, key};
use crate::integrity::Means;
use crate::measures::{Measures, Store, ThumbnailStats};
use crate::picture::Picture;
use crate::shoot::{Damage, Shoot, Still};
use crate::store::lies_among;
use crate::units::SlotIndex;

/// Stills are measured at the smallest scale that leaves their longer side at least this many pixels.
const AT_LEAST: u32 = 750;

/// How to look.
#[derive(Debug, Clone)]
pub struct Request {
    /// Where results are kept for the next look; none keeps them for this one only.
    pub cache: Option<PathBuf>,
    /// Workers.
    pub threads: usize,
}

/// Why looking ended early.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// It was told to stop.
    #[error("interrupted")]
    Stopped,
    /// The small pictures cannot be kept, not even for this run.
    #[error("what was measured cannot be kept: {0}")]
    Disk(#[from] std::io::Error),
}

/// What came of one still.
type Looked = Result<(crate::measures::Still, blake3::Hash), Damage>;

/// Looks at every whole still of a shoot. `seen` is called after each, from any thread; where it says so, looking
/// stops.
///
/// # Errors
/// [`Fault`]; damage to stills is no fault, but among the measures.
pub fn look(shoot: &Shoot, request: &Request, seen: &(dyn Fn() -> bool + Sync)) -> Result<Measures, Fault> {
    let store = Arc::new(store(shoot, request)?);
    let whole = whole(shoot);
    let looked = match &shoot.recording {
        Some(recording) => footage::in_order(recording, &whole, &store, seen)?,
        None => on_workers(&whole, 0..whole.len(), &store, request.threads, seen)?,
    };
    let (mut stills, mut glances) = (vec![None; shoot.slots.len()], vec![None; shoot.slots.len()]);
    let mut damaged = Vec::new();
    for ((slot, _), looked) in whole.iter().zip(looked) {
        match looked {
            Ok((still, key)) => (stills[slot.0], glances[slot.0]) = (Some(still), Some(key)),
            Err(damage) => damaged.push((*slot, damage)),
        }
    }
    let mut measures = Measures::new(stills, glances, store);
    measures.damaged = damaged;
    compare::compare(shoot, &mut measures, seen)?;
    Ok(measures)
}

/// Looks at those whole stills of a shoot that are in `part`, one of equal parts, and keeps what they measure, so
/// that looking at all of them finds it. Gives how many those are. The stills beside them are decoded too: the first
/// and the last are held against them.
///
/// # Errors
/// [`Fault`], also where nothing can be kept for others to find.
pub fn look_part(
    shoot: &Shoot,
    request: &Request,
    part: impl Fn(usize) -> Range<usize>,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<usize, Fault> {
    let store = Store::lasting(lasting_folder(shoot, request)?)?;
    let whole = whole(shoot);
    let mine = part(whole.len());
    if let Some(recording) = &shoot.recording {
        footage::in_order(recording, &whole[mine.clone()], &store, seen)?;
    } else {
        let around = mine.start.saturating_sub(court::BESIDE)..(mine.end + court::BESIDE).min(whole.len());
        let own = mine.start - around.start..mine.end - around.start;
        on_workers(&whole[around], own, &store, request.threads, seen)?;
    }
    Ok(mine.len())
}

/// The whole stills of a shoot.
fn whole(shoot: &Shoot) -> Vec<(SlotIndex, &Still)> {
    (0..shoot.slots.len()).filter_map(|slot| Some((SlotIndex(slot), shoot.still(SlotIndex(slot))?))).collect()
}

/// The folder of the store asked for, where others find it.
fn lasting_folder<'a>(shoot: &Shoot, request: &'a Request) -> Result<&'a Path, Fault> {
    let folder =
        request.cache.as_ref().ok_or_else(|| std::io::Error::other("there is no home folder to keep it in"))?;
    if lies_among(folder, shoot.paths()) {
        let error = format!("{} lies among the stills", folder.display());
        return Err(Fault::Disk(std::io::Error::other(error)));
    }
    Ok(folder)
}

/// The store asked for, unless it cannot be written to or lies among the stills: then one for this run.
fn store(shoot: &Shoot, request: &Request) -> Result<Store, Fault> {
    let lasting = request.cache.as_ref().filter(|folder| !lies_among(folder, shoot.paths()));
    match lasting.map(|folder| Store::lasting(folder)) {
        Some(Ok(store)) => Ok(store),
        Some(Err(_)) | None => Ok(Store::passing()?),
    }
}

/// Looks at those stills that are its `own`; the others are witnesses, of which nothing is kept.
fn on_workers(
    whole: &[(SlotIndex, &Still)],
    own: Range<usize>,
    store: &Store,
    threads: usize,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Looked>, Fault> {
    let next = AtomicUsize::new(0);
    let stopped = AtomicBool::new(false);
    let disk = Mutex::new(None);
    let court = Court::new(whole, store);
    let work = || {
        let mut worker = Worker::default();
        let mut mine = Vec::new();
        while !stopped.load(Ordering::Relaxed) {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some((slot, still)) = whole.get(at) else { break };
            if !own.contains(&at) {
                // What cannot be read is no witness.
                let means = worker.decoder.means_of(still).ok().flatten();
                if let Err(error) = court.hear(*slot, means, None) {
                    locked(&disk).get_or_insert(error);
                    stopped.store(true, Ordering::Relaxed);
                }
                continue;
            }
            let looked = match worker.look(still, store) {
                Glanced::Damaged(damage) => court.hear(*slot, None, None).map(|()| Err(damage)),
                Glanced::Known(still, key) => {
                    court.vouch(at);
                    Ok(Ok((still, key)))
                }
                Glanced::New { key, glance, means } => {
                    let still = glance.still;
                    court.hear(*slot, means, Some((key, *glance))).map(|()| Ok((still, key)))
                }
            };
            match looked {
                Ok(looked) => mine.push((at, looked)),
                Err(error) => {
                    locked(&disk).get_or_insert(error);
                    stopped.store(true, Ordering::Relaxed);
                }
            }
            if !seen() {
                stopped.store(true, Ordering::Relaxed);
            }
        }
        mine
    };
    let mut looked: Vec<(usize, Looked)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.clamp(1, whole.len().max(1))).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|worker| worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    if let Some(error) = locked(&disk).take() {
        return Err(Fault::Disk(error));
    }
    if stopped.load(Ordering::Relaxed) {
        return Err(Fault::Stopped);
    }
    looked.sort_by_key(|(at, _)| *at);
    let places: Vec<usize> = looked.iter().map(|(at, _)| *at).collect();
    let mut looked: Vec<Looked> = looked.into_iter().map(|(_, looked)| looked).collect();
    for (slot, damage) in court.close()? {
        let at = whole.binary_search_by_key(&slot, |(slot, _)| *slot).ok();
        if let Some(at) = at.and_then(|at| places.binary_search(&at).ok()) {
            looked[at] = Err(damage);
        }
    }
    Ok(looked)
}

/// Locks, and carries on where another thread panicked: that panic is on its way already.
fn locked<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// What came of looking at one still.
enum Glanced {
    /// It was kept: this still was whole, and belonged to the scene, when it was looked at before.
    Known(crate::measures::Still, blake3::Hash),
    /// It was decoded.
    New { key: blake3::Hash, glance: Box<ThumbnailStats>, means: Option<Means> },
    /// It could not be.
    Damaged(Damage),
}

/// What one worker keeps from still to still.
#[derive(Default)]
struct Worker {
    decoder: Decoder,
    picture: Option<Picture>,
}

impl Worker {
    /// One still's numbers, from the store where they are there.
    fn look(&mut self, still: &Still, store: &Store) -> Glanced {
        self.glance(still, store).unwrap_or_else(Glanced::Damaged)
    }

    fn glance(&mut self, still: &Still, store: &Store) -> Result<Glanced, Damage> {
        let key = key::quick(still)?;
        let kept = store.get(&key);
        if let Some(kept) = kept.as_ref().filter(|kept| kept.modified == still.modified) {
            return Ok(Glanced::Known(kept.still, key));
        }
        let file = self.decoder.read(still)?;
        let of = blake3::hash(file.bytes());
        // Copied or touched since, the file is the same one where all of its bytes are.
        if let Some(kept) = kept.filter(|kept| kept.of == of) {
            return Ok(Glanced::Known(kept.still, key));
        }
        let scale = denominator(still.stored, AT_LEAST);
        let picture = file.decode(Want::Rgb { scale }, self.picture.take())?;
        let glance = Box::new(measure::measure(&picture, scale, of, still.modified));
        self.picture = Some(picture);
        Ok(Glanced::New { key, glance, means: self.decoder.means() })
    }
}

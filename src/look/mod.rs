//! Looks at the pixels of a shoot, each still once at a fraction of its size, and gives what they measure.
//!
//! A [`Shoot`] comes in, [`Measures`] go out. Workers measure stills on their own (`measure`), a recording's frames come in order
//! from one reel (`footage`); each still's result is kept in a
//! store by what the file holds, so that the next look reads no picture again; one pass over the small results compares
//! each still with its neighbours (`compare`, `shift`). Memory does not grow with the number of stills but for their numbers.

mod compare;
mod findings;
mod footage;
mod keys;
mod measure;
mod odd;
mod shift;
mod stripes;

pub use findings::{findings, flicker, in_words};
pub use keys::{Suggestion, suggestions, suggestions_in_words};

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use crate::decode::{Decoder, denominator, key};
use crate::measures::{Measures, Store};
use crate::picture::Picture;
use crate::shoot::{Damage, Shoot, Still};
use crate::store::lies_among;
use crate::units::SlotIndex;

/// Stills are measured at the smallest scale that leaves their longer side so many pixels.
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

/// Looks at every whole still of a shoot. `seen` is called after each, from any thread; where it says so, looking stops.
///
/// # Errors
/// [`Fault`]; damage to stills is no fault, but among the measures.
pub fn look(shoot: &Shoot, request: &Request, seen: &(dyn Fn() -> bool + Sync)) -> Result<Measures, Fault> {
    let store = Arc::new(store(shoot, request)?);
    let whole: Vec<(SlotIndex, &Still)> =
        (0..shoot.slots.len()).filter_map(|slot| Some((SlotIndex(slot), shoot.still(SlotIndex(slot))?))).collect();
    let looked = match &shoot.recording {
        Some(recording) => footage::in_order(recording, &whole, &store, seen)?,
        None => on_workers(&whole, &store, request.threads, seen)?,
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

/// The store asked for, unless it cannot be written to or lies among the stills: then one for this run.
fn store(shoot: &Shoot, request: &Request) -> Result<Store, Fault> {
    let lasting = request.cache.as_ref().filter(|folder| !lies_among(folder, shoot.paths()));
    match lasting.map(|folder| Store::lasting(folder)) {
        Some(Ok(store)) => Ok(store),
        Some(Err(_)) | None => Ok(Store::passing()?),
    }
}

fn on_workers(
    whole: &[(SlotIndex, &Still)],
    store: &Store,
    threads: usize,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Looked>, Fault> {
    let next = AtomicUsize::new(0);
    let stopped = AtomicBool::new(false);
    let disk = Mutex::new(None);
    let work = || {
        let mut worker = Worker::default();
        let mut mine = Vec::new();
        while !stopped.load(Ordering::Relaxed) {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some((_, still)) = whole.get(at) else { break };
            match worker.look(still, store) {
                Ok(looked) => mine.push((at, looked)),
                Err(error) => {
                    disk.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).get_or_insert(error);
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
        workers.into_iter().flat_map(|worker| worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    });
    if let Some(error) = disk.into_inner().unwrap_or_else(|poisoned| poisoned.into_inner()) {
        return Err(Fault::Disk(error));
    }
    if stopped.load(Ordering::Relaxed) {
        return Err(Fault::Stopped);
    }
    looked.sort_by_key(|(at, _)| *at);
    Ok(looked.into_iter().map(|(_, looked)| looked).collect())
}

/// What one worker keeps from still to still.
#[derive(Default)]
struct Worker {
    decoder: Decoder,
    picture: Option<Picture>,
}

impl Worker {
    /// One still's numbers, from the store where they are there; kept there where not.
    fn look(&mut self, still: &Still, store: &Store) -> std::io::Result<Looked> {
        let key = match key::quick(still) {
            Ok(key) => key,
            Err(damage) => return Ok(Err(damage)),
        };
        let kept = store.get(&key);
        if let Some(kept) = kept.as_ref().filter(|kept| kept.modified == still.modified) {
            return Ok(Ok((kept.still, key)));
        }
        let of = match self.decoder.read(still) {
            Ok(file) => blake3::hash(file),
            Err(damage) => return Ok(Err(damage)),
        };
        // Copied or touched since, the file is the same one where all of its bytes are.
        if let Some(kept) = kept.filter(|kept| kept.of == of) {
            return Ok(Ok((kept.still, key)));
        }
        let scale = denominator(still.stored, AT_LEAST);
        let picture = match self.decoder.small_of_read(still, scale, self.picture.take()) {
            Ok(picture) => picture,
            Err(damage) => return Ok(Err(damage)),
        };
        let glance = measure::measure(&picture, scale, of, still.modified);
        self.picture = Some(picture);
        store.put(&key, &glance)?;
        Ok(Ok((glance.still, key)))
    }
}

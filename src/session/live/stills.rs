//! Stills in small, by number: a number means one file or frame as a survey saw it, with what a plan covers in it
//! covered. Numbers are given out by views only, and only for stills that some frame shows.
//!
//! ## Decisions
//!
//! - No request holds a path. Only stills that some frame shows have a number; a still that is covered differently gets
//!   another number.
//! - Pictures are the stills' own codes, without colour conversion. Covers are applied at full size, as in a render,
//!   before the picture is reduced.

use std::collections::{BTreeSet, HashMap, VecDeque};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::body::Bytes;
use tokio::sync::Semaphore;

use super::footage::Footage;
use crate::decode::{Decoder, Want, denominator, reduced};
use crate::ffi::jpeg;
use crate::picture::{Model, Picture, Samples};
use crate::pipeline::cover;
use crate::plan::{CoveredArea, Covering, covered_in};
use crate::shoot::{Recording, Shoot, Still};
use crate::units::SlotIndex;

/// Pixels of a small still's longer side, at least, where the still has them: those of the page's preview.
const LONGER_SIDE: u32 = 960;

/// Bytes of finished pictures that are kept.
const KEPT: usize = 256 << 20;

/// Pictures that are made at once.
const AT_ONCE: usize = 2;

/// All stills that views have named.
pub(super) struct Stills {
    inner: Mutex<Inner>,
    footage: Footage,
    turns: Semaphore,
}

impl Default for Stills {
    fn default() -> Self {
        Self { inner: Mutex::default(), footage: Footage::default(), turns: Semaphore::new(AT_ONCE) }
    }
}

#[derive(Default)]
struct Inner {
    known: Vec<Known>,
    numbers: HashMap<Key, usize>,
    folders: BTreeSet<PathBuf>,
    made: HashMap<usize, Bytes>,
    order: VecDeque<usize>,
    bytes: usize,
}

/// What a number stands for.
#[derive(Clone)]
struct Known {
    still: Arc<Still>,
    /// The recording that it is a frame of, and which.
    frame: Option<(Arc<Recording>, usize)>,
    areas: Arc<[CoveredArea]>,
}

/// What tells two pictures apart: the file as it was, the frame or the way it is turned, and what is covered.
#[derive(PartialEq, Eq, Hash)]
struct Key {
    path: PathBuf,
    modified: i128,
    bytes: u64,
    turn: u8,
    frame: Option<usize>,
    areas: Arc<[CoveredArea]>,
}

impl Stills {
    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The numbers of a shoot's stills by slot, as a plan covers them; none for those that `shown` leaves out or that
    /// are not there.
    pub(super) fn numbers(&self, shoot: &Shoot, covers: &[Covering], shown: &[bool]) -> Vec<Option<usize>> {
        let recording = shoot.recording.clone().map(Arc::new);
        let mut inner = self.lock();
        let slots = (0..shoot.slots.len()).map(|at| {
            let still = shown[at].then(|| shoot.still(SlotIndex(at))).flatten()?;
            let frame = recording.as_ref().map(|recording| (Arc::clone(recording), at));
            Some(inner.number(still, frame, covered_in(covers, SlotIndex(at)).into()))
        });
        slots.collect()
    }

    pub(super) fn knows(&self, number: usize) -> bool {
        number < self.lock().known.len()
    }

    /// The folders that stills lie in.
    pub(super) fn folders(&self) -> BTreeSet<PathBuf> {
        self.lock().folders.clone()
    }

    /// A picture that is there already.
    pub(super) fn ready(&self, number: usize) -> Option<Bytes> {
        self.lock().made.get(&number).cloned()
    }

    /// A known still in small, as a JPEG.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub(super) async fn jpeg(&self, number: usize) -> Result<Bytes, String> {
        if let Some(ready) = self.ready(number) {
            return Ok(ready);
        }
        let known = self.lock().known.get(number).cloned().ok_or("there is no such still")?;
        let frame = match &known.frame {
            Some((recording, slot)) => Some(self.footage.show(recording, *slot).await?),
            None => None,
        };
        let Ok(_turn) = self.turns.acquire().await else { return Err("the page is closing".into()) };
        if let Some(ready) = self.ready(number) {
            return Ok(ready);
        }
        let made = tokio::task::spawn_blocking(move || small(&known.still, frame.as_ref(), &known.areas)).await;
        let made = made.unwrap_or_else(|_| Err("its decoder gave up".into()))?;
        self.lock().keep(number, &made);
        Ok(made)
    }
}

impl Inner {
    fn number(&mut self, still: &Still, frame: Option<(Arc<Recording>, usize)>, areas: Arc<[CoveredArea]>) -> usize {
        let key = Key {
            path: still.path.clone(),
            modified: still.modified,
            bytes: still.bytes,
            turn: still.orientation as u8,
            frame: frame.as_ref().map(|(_, slot)| *slot),
            areas: Arc::clone(&areas),
        };
        if let Some(number) = self.numbers.get(&key) {
            return *number;
        }
        if let Some(folder) = still.path.parent().filter(|folder| !self.folders.contains(*folder)) {
            self.folders.insert(folder.to_owned());
        }
        self.known.push(Known { still: Arc::new(still.clone()), frame, areas });
        let number = self.known.len() - 1;
        self.numbers.insert(key, number);
        number
    }

    /// Keeps a picture, and lets go of the oldest where they take too much.
    fn keep(&mut self, number: usize, made: &Bytes) {
        if self.made.insert(number, made.clone()).is_none() {
            self.order.push_back(number);
            self.bytes += made.len();
        }
        while self.bytes > KEPT {
            let Some(oldest) = self.order.pop_front() else { break };
            self.bytes -= self.made.remove(&oldest).map_or(0, |dropped| dropped.len());
        }
    }
}

/// A still's or a frame's own codes in small, whatever colour space they are in: for looking at where things are. What
/// is covered is covered before anything is made smaller, exactly as a render does it.
fn small(still: &Still, frame: Option<&Picture>, areas: &[CoveredArea]) -> Result<Bytes, String> {
    let scale = denominator(still.stored, LONGER_SIDE);
    let picture = match frame {
        Some(frame) if areas.is_empty() => reduced(frame, scale, None),
        Some(frame) => covered(frame.clone(), areas, scale),
        None if areas.is_empty() => {
            Decoder::new().decode(still, Want::Rgb { scale }, None).map_err(|damage| damage.to_string())?
        }
        None => {
            let whole = Decoder::new().decode(still, Want::whole(still), None).map_err(|damage| damage.to_string())?;
            covered(whole, areas, scale)
        }
    };
    encoded(&picture)
}

fn covered(mut whole: Picture, areas: &[CoveredArea], scale: u32) -> Picture {
    cover(&mut whole, areas);
    reduced(&whole, scale, None)
}

fn encoded(picture: &Picture) -> Result<Bytes, String> {
    let eight = |plane: usize| match &picture.planes[plane].samples {
        Samples::Eight(samples) => Ok((samples, picture.planes[plane].stride)),
        Samples::Sixteen(_) => Err("its small picture has more than 8 bits".to_owned()),
    };
    let all = match picture.model {
        Model::Rgb => [eight(0)?, eight(1)?, eight(2)?],
        Model::Grey => [eight(0)?; 3],
        Model::YCbCr601 | Model::Video(_) => return Err("its small picture is not R'G'B'".into()),
    };
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let mut rgb = Vec::with_capacity(width * height * 3);
    for y in 0..height {
        for x in 0..width {
            rgb.extend(all.map(|(samples, stride)| samples[y * stride + x]));
        }
    }
    Ok(jpeg::encode_rgb(&rgb, picture.size, 82, (2, 2), &[]).into())
}

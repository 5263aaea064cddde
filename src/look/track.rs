//! Looks for subjects in the stills of a shoot: small stills in, where each subject is out.
//!
//! Three passes over the stills: backwards, forwards, and backwards again. In the first two every subject is tracked from
//! each of its keys to the next, to the end of its side or the shoot. What lies beyond its last key, and before its first,
//! is tracked back from its end, on the pass after it. A few small stills at a time are decoded by all workers together,
//! and then gone through in order, so memory does not grow with the shoot. What was found is kept in a store by the
//! keys, the stills and their stands, so that the next look decodes nothing.
//!
//! ## Decisions
//!
//! - Small stills are in colour and have at least 640 samples along their longer side.
//! - Where the shoot is steadied, small stills are laid over the first view before anybody looks at them: what is
//!   tracked has the coordinates of the script's boxes, and a bump of the camera is none of the subject's.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "places and codes of small pictures"
)]

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use kurbo::{Point, Rect};
use serde::{Deserialize, Serialize};

use super::{Fault, Request};
use crate::decode::{Decoder, SequentialDecoder, Want, denominator, key, reduced};
use crate::picture::{Picture, Samples};
use crate::register::Pose;
use crate::shoot::{Damage, Shoot};
use crate::store::{Kind, Store, lies_among};
use crate::track::{Check, Found, Small, Spot, SpotState, State, Task, Told, Tracker, Tracking, Unfit};
use crate::units::{Size, SlotIndex};

/// Where subjects were found.
pub const TRACKS: Kind = Kind { folder: "tracks", head: b"stillpath track2", most: 200_000_000 };

/// Stills are looked at by the smallest scale that leaves their longer side at least this many samples.
const AT_LEAST: u32 = 640;
/// Small stills in memory: so many a worker, for so many workers at most.
const A_WORKER: usize = 2;
const MOST_WORKERS: usize = 8;

/// What was found, and what was damaged on the way.
pub type TracksFound = (Vec<Found>, Vec<(SlotIndex, Damage)>);

/// Looks for all of it, one [`Found`] a task, and gives what was damaged on the way. `seen` is called after each still
/// of each pass, from any thread; where it says so, looking stops.
///
/// # Errors
/// [`Fault`]; damage to stills is none.
pub fn track(
    shoot: &Shoot,
    tracking: &Tracking,
    request: &Request,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<TracksFound, Fault> {
    let store = kept(shoot, request)?;
    let key = key_of(shoot, tracking);
    if let Some(key) = &key
        && let Some(found) = get(&store, key, tracking.tasks.len(), shoot.slots.len())
    {
        return Ok((found, Vec::new()));
    }
    let mut run = Run::new(shoot, tracking, request.threads, seen);
    // What the first pass tells is checked by the second, and what that tells by a third.
    let (backwards, _) = run.pass(true, true, None)?;
    let (forwards, parted) = run.pass(false, true, Some(&backwards))?;
    let (_, doubted) = run.pass(true, false, Some(&forwards))?;
    let mut found: Vec<Found> = Vec::with_capacity(tracking.tasks.len());
    for (at, task) in tracking.tasks.iter().enumerate() {
        let told = (&forwards[at][..], &backwards[at][..]);
        let doubted = [&parted[at][..], &doubted[at][..]].concat();
        let mut one = Found::woven(task, &tracking.sides, shoot.slots.len(), told, &doubted);
        one.unfit = std::mem::take(&mut run.unfit[at]);
        one.twins = std::mem::take(&mut run.twins[at]);
        found.push(one);
    }
    if let Some(key) = key.filter(|_| run.damaged.is_empty()) {
        put(&store, &key, &found)?;
    }
    Ok((found, run.damaged))
}

/// By what files hold, keys and stands; none where a file cannot be read.
fn key_of(shoot: &Shoot, tracking: &Tracking) -> Option<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    for task in &tracking.tasks {
        hasher.update(format!("{:?}", task.keys).as_bytes());
    }
    hasher.update(format!("{:?} {:?}", shoot.size, tracking.stands).as_bytes());
    let mut file = None;
    for side in &tracking.sides {
        hasher.update(b"side");
        for slot in side {
            let still = shoot.still(SlotIndex(*slot))?;
            let own = match &shoot.recording {
                None => key::quick(still).ok()?,
                Some(recording) => {
                    let of = match file {
                        Some(file) => file,
                        None => *file.insert(key::quick(still).ok()?),
                    };
                    key::of_frame(&of, recording.shown(*slot).unwrap_or(i64::MIN))
                }
            };
            hasher.update(own.as_bytes());
            let modified = shoot.recording.as_ref().map_or(still.modified, |recording| recording.modified);
            hasher.update(format!("{slot} {modified}").as_bytes());
        }
    }
    Some(hasher.finalize())
}

/// What was told of one task, by slot.
type Line = Vec<Option<Told>>;

/// A small still, or nothing where it is damaged or of another size.
type Shown = Option<Arc<Small>>;

struct Run<'a> {
    shoot: &'a Shoot,
    tracking: &'a Tracking,
    threads: usize,
    seen: &'a (dyn Fn() -> bool + Sync),
    scale: u32,
    decoders: Vec<Worker<'a>>,
    damaged: Vec<(SlotIndex, Damage)>,
    unfit: Vec<Vec<(usize, Unfit)>>,
    twins: Vec<Vec<usize>>,
}

#[derive(Default)]
struct Worker<'a> {
    decoder: Decoder,
    sequential: Option<SequentialDecoder<'a>>,
    picture: Option<Picture>,
    frame: Option<Picture>,
}

impl<'a> Run<'a> {
    fn new(shoot: &'a Shoot, tracking: &'a Tracking, threads: usize, seen: &'a (dyn Fn() -> bool + Sync)) -> Self {
        let scale = denominator(shoot.size, AT_LEAST);
        let threads = if shoot.recording.is_some() { 1 } else { threads.clamp(1, MOST_WORKERS) };
        let mut decoders: Vec<Worker<'a>> = (0..threads).map(|_| Worker::default()).collect();
        if let Some(recording) = &shoot.recording {
            let slots = tracking.sides.iter().flatten().copied();
            decoders[0].sequential = Some(SequentialDecoder::new(recording, slots));
        }
        let tasks = tracking.tasks.len();
        let (unfit, twins) = (vec![Vec::new(); tasks], vec![Vec::new(); tasks]);
        Self { shoot, tracking, threads, seen, scale, decoders, damaged: Vec::new(), unfit, twins }
    }

    /// What each task's trackers tell on the way through all sides, by slot; none where nothing is `tracked`. And the
    /// slots of each task, on the way to its first key, at which what the pass before has told came into doubt.
    fn pass(
        &mut self,
        backwards: bool,
        tracked: bool,
        before: Option<&[Line]>,
    ) -> Result<(Vec<Line>, Vec<Vec<usize>>), Fault> {
        let tracking = self.tracking;
        let mut told = vec![vec![None; self.shoot.slots.len()]; tracking.tasks.len()];
        let mut doubted = vec![Vec::new(); tracking.tasks.len()];
        for side in &tracking.sides {
            let mut order = side.clone();
            if backwards {
                order.reverse();
            }
            let key = |task: &Task, slot: usize| task.keys.iter().find(|(key, _)| *key == slot).map(|(_, area)| *area);
            // Nothing is tracked before the first key on the way, and nothing is to be checked after it.
            let firsts: Vec<Option<usize>> =
                tracking.tasks.iter().map(|task| order.iter().position(|slot| key(task, *slot).is_some())).collect();
            let keys = firsts.iter().flatten();
            let first = if before.is_some() { keys.clone().min().map(|_| 0) } else { keys.clone().min().copied() };
            let end = if tracked { order.len() } else { keys.max().map_or(0, |last| last + 1) };
            let order = &order[first.unwrap_or(order.len()).min(end)..end];
            let is_checked = |first: &Option<usize>| (before.is_some() && first.is_some()).then(Check::default);
            let mut checks: Vec<Option<Check>> = firsts.iter().map(is_checked).collect();
            let mut trackers: Vec<Option<Tracker>> = tracking.tasks.iter().map(|_| None).collect();
            for slots in order.chunks(self.threads * A_WORKER) {
                let shown = self.show(slots)?;
                for (slot, small) in slots.iter().zip(shown) {
                    for (at, task) in tracking.tasks.iter().enumerate() {
                        if let (Some(before), Some(small)) = (before, &small) {
                            let seen = before[at][*slot].filter(|told| told.seen).map(|told| self.samples(told.area));
                            match (key(task, *slot), checks[at].take()) {
                                (Some(area), Some(check)) => doubted[at].extend(check.end(small, self.samples(area))),
                                (None, Some(mut check)) => {
                                    doubted[at].extend(check.next(*slot, small, seen));
                                    checks[at] = Some(check);
                                }
                                (_, None) => {}
                            }
                        }
                        if !tracked {
                            continue;
                        }
                        if let (Some(tracker), Some(small)) = (&mut trackers[at], &small) {
                            let sight = tracker.next(small);
                            let (area, confidence) = (self.fractions(sight.area), sight.confidence);
                            told[at][*slot] = Some(Told { area, confidence, seen: sight.state == State::Seen });
                        }
                        let Some(area) = key(task, *slot) else { continue };
                        trackers[at] = match &small {
                            Some(small) => match Tracker::new(small, self.samples(area)) {
                                Ok(tracker) => Some(tracker),
                                Err(unfit) => self.cannot(at, *slot, unfit),
                            },
                            None => self.cannot(at, *slot, Unfit::Damaged),
                        };
                        if trackers[at].as_ref().is_some_and(Tracker::has_twin) && !self.twins[at].contains(slot) {
                            self.twins[at].push(*slot);
                        }
                    }
                }
            }
        }
        Ok((told, doubted))
    }

    fn cannot(&mut self, task: usize, slot: usize, unfit: Unfit) -> Option<Tracker> {
        if !self.unfit[task].contains(&(slot, unfit)) {
            self.unfit[task].push((slot, unfit));
        }
        None
    }

    /// Some small stills, decoded side by side.
    fn show(&mut self, slots: &[usize]) -> Result<Vec<Shown>, Fault> {
        let next = AtomicUsize::new(0);
        let (shoot, scale, seen, stands) = (self.shoot, self.scale, self.seen, self.tracking.stands.as_deref());
        let goes_on = AtomicBool::new(true);
        let work = |worker: &mut Worker<'a>| {
            let mut mine = Vec::new();
            loop {
                let at = next.fetch_add(1, Ordering::Relaxed);
                let Some(slot) = slots.get(at) else { break };
                let stand = stands.and_then(|stands| stands.get(*slot)).copied().unwrap_or(Pose::STILL);
                mine.push((at, worker.small(shoot, *slot, scale, stand)));
                if !seen() {
                    goes_on.store(false, Ordering::Relaxed);
                    break;
                }
            }
            mine
        };
        let made: Vec<(usize, Result<Shown, Damage>)> = std::thread::scope(|scope| {
            let workers: Vec<_> = self.decoders.iter_mut().map(|worker| scope.spawn(|| work(worker))).collect();
            let joined =
                workers.into_iter().map(|one| one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
            joined.flatten().collect()
        });
        if !goes_on.load(Ordering::Relaxed) {
            return Err(Fault::Stopped);
        }
        let mut shown = vec![None; slots.len()];
        for (at, one) in made {
            match one {
                Ok(small) => shown[at] = small,
                Err(damage) if self.damaged.iter().all(|(slot, _)| slot.0 != slots[at]) => {
                    self.damaged.push((SlotIndex(slots[at]), damage));
                }
                Err(_) => {}
            }
        }
        self.damaged.sort_by_key(|(slot, _)| *slot);
        Ok(shown)
    }

    fn samples(&self, area: Rect) -> Rect {
        let (wide, high) = self.sides();
        Rect::new(area.x0 * wide, area.y0 * high, area.x1 * wide, area.y1 * high)
    }

    fn fractions(&self, area: Rect) -> Rect {
        let (wide, high) = self.sides();
        Rect::new(area.x0 / wide, area.y0 / high, area.x1 / wide, area.y1 / high)
    }

    /// The still's sides in samples, whose last may lie half outside it.
    fn sides(&self) -> (f64, f64) {
        let scale = f64::from(self.scale);
        (f64::from(self.shoot.size.width) / scale, f64::from(self.shoot.size.height) / scale)
    }
}

impl Worker<'_> {
    /// A slot's still small, laid over the first view.
    fn small(&mut self, shoot: &Shoot, slot: usize, scale: u32, stand: Pose) -> Result<Shown, Damage> {
        let Some(still) = shoot.still(SlotIndex(slot)) else { return Ok(None) };
        let picture = match &mut self.sequential {
            Some(sequential) => {
                let frame = sequential.show(slot, self.frame.take())?;
                let picture = reduced(&frame, scale, self.picture.take());
                self.frame = Some(frame);
                picture
            }
            None => self.decoder.read(still)?.decode(Want::Rgb { scale }, self.picture.take())?,
        };
        let small = small_of(&picture, shoot.size, scale, stand);
        self.picture = Some(picture);
        Ok(small.map(Arc::new))
    }
}

/// A small picture as trackers take it; none of another size than the shoot's.
fn small_of(picture: &Picture, still: Size, scale: u32, stand: Pose) -> Option<Small> {
    let due = Size::new(still.width.div_ceil(scale), still.height.div_ceil(scale));
    if picture.size != due {
        return None;
    }
    let (width, height) = (due.width as usize, due.height as usize);
    let planes: Vec<(&[u8], usize)> = picture
        .planes
        .iter()
        .filter_map(|plane| match &plane.samples {
            Samples::Eight(samples) => Some((&samples[..], plane.stride)),
            _ => None,
        })
        .collect();
    let laid: Vec<Vec<u8>> = planes.iter().map(|plane| over(*plane, (width, height), still, scale, stand)).collect();
    match &laid[..] {
        [red, green, blue] => Some(Small::colour([red, green, blue], width, width, height)),
        [grey, ..] => Some(Small::grey(grey, width, width, height)),
        [] => None,
    }
}

/// A plane as it lies over the first view, read between its samples; beyond its edge that goes on.
fn over(
    (samples, stride): (&[u8], usize),
    (width, height): (usize, usize),
    still: Size,
    scale: u32,
    stand: Pose,
) -> Vec<u8> {
    if stand == Pose::STILL {
        return samples.chunks(stride).take(height).flat_map(|row| &row[..width]).copied().collect();
    }
    let scale = f64::from(scale);
    let mut laid = Vec::with_capacity(width * height);
    let place = |at: usize| (at as f64 + 0.5) * scale;
    for row in 0..height {
        for column in 0..width {
            let point = stand.point(still, Point::new(place(column), place(row)));
            let (x, y) = (point.x / scale - 0.5, point.y / scale - 0.5);
            let (x, y) = (x.clamp(0.0, (width - 1) as f64), y.clamp(0.0, (height - 1) as f64));
            let (left, top) = (x as usize, y as usize);
            let (right, bottom) = ((left + 1).min(width - 1), (top + 1).min(height - 1));
            let at = |row: usize, column: usize| f64::from(samples[row * stride + column]);
            let (u, v) = (x - left as f64, y - top as f64);
            let above = at(top, left) + (at(top, right) - at(top, left)) * u;
            let below = at(bottom, left) + (at(bottom, right) - at(bottom, left)) * u;
            laid.push((above + (below - above) * v + 0.5) as u8);
        }
    }
    laid
}

/// The store asked for, unless it cannot be written to or lies among the stills: then one for this run.
fn kept(shoot: &Shoot, request: &Request) -> std::io::Result<Store> {
    let lasting = request.cache.as_ref().filter(|folder| !lies_among(folder, shoot.paths()));
    lasting.and_then(|folder| Store::lasting(folder, TRACKS).ok()).map_or_else(|| Store::passing(TRACKS), Ok)
}

/// What is kept of a [`Found`].
#[derive(Serialize, Deserialize)]
struct Kept {
    /// Slot, left, top, width, height, confidence, state.
    spots: Vec<(usize, [f64; 4], f64, SpotState)>,
    unfit: Vec<(usize, Unfit)>,
    twins: Vec<usize>,
    apart: Vec<(usize, usize)>,
}

fn get(store: &Store, key: &blake3::Hash, tasks: usize, slots: usize) -> Option<Vec<Found>> {
    let mut bytes = Vec::new();
    let kept: Vec<Kept> = serde_json::from_slice(store.get(key, &mut bytes)?).ok()?;
    let found = |one: Kept| {
        let mut spots = vec![None; slots];
        for (slot, [x, y, width, height], confidence, state) in one.spots {
            let area = Rect::new(x, y, x + width, y + height);
            *spots.get_mut(slot)? = Some(Spot { area, confidence, state }.rounded());
        }
        Some(Found { spots, unfit: one.unfit, twins: one.twins, apart: one.apart })
    };
    let found: Option<Vec<Found>> = kept.into_iter().map(found).collect();
    found.filter(|found| found.len() == tasks)
}

fn put(store: &Store, key: &blake3::Hash, found: &[Found]) -> std::io::Result<()> {
    let spot = |(slot, spot): (usize, &Option<Spot>)| {
        let Spot { area, confidence, state } = (*spot)?;
        Some((slot, [area.x0, area.y0, area.width(), area.height()], confidence, state))
    };
    let one = |found: &Found| Kept {
        spots: found.spots.iter().enumerate().filter_map(spot).collect(),
        unfit: found.unfit.clone(),
        twins: found.twins.clone(),
        apart: found.apart.clone(),
    };
    let kept: Vec<Kept> = found.iter().map(one).collect();
    store.put(key, &serde_json::to_vec(&kept).map_err(std::io::Error::other)?).map(|_| ())
}

//! Registers the stills of a shoot: how each lies against some before it, tile by tile.
//!
//! Every [`EVERY`]-th still is an *anchor*. The stills up to the next one, itself too, are compared with the anchor and
//! with the still before them; an anchor also with some anchors before. So errors do not add up from still to still,
//! and light that changes over the day is bridged by stills that still look alike. A stretch from anchor to anchor is a
//! piece of work of its own, and what is kept on the disk: by what its files hold.
//!
//! ## Decisions
//!
//! - Every 32nd still is an anchor; anchors are compared with those 1, 2, 4 and 8 before. One robust least squares
//!   settles all links.
//! - Stills are halved by libjpeg's scaled decoding of luma alone, where that leaves the longer side 1,000 samples.

use std::collections::VecDeque;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use super::{Fault, Request};
use crate::decode::{Decoder, SequentialDecoder, Want, denominator, key, reduced_luma};
use crate::integrity::{Jury, Trial};
use crate::measures::{LINKED_STILLS, LinkedStills, Made};
use crate::picture::{Picture, Samples};
use crate::register::{Grey, Layout, Link, Registered, Registrar, Sight, Tiles};
use crate::shoot::{Damage, Recording, Shoot, Still};
use crate::store::{Store, lies_among};
use crate::units::SlotIndex;

/// Stills from one anchor to the next.
const EVERY: usize = 32;
/// How many anchors back an anchor is compared with, beside the one before it.
const BACK: [usize; 3] = [2, 4, 8];
/// Anchors that are kept in memory.
const KEPT: usize = 12;
/// Stills that a still is compared with, one after the other, until one looks alike.
const RECENT: usize = 3;
/// After this many stills in a row that look like those just before but not like the anchor, a new anchor begins.
const UNLIKE: usize = 3;
/// How far a stretch goes on past its end where the stills there look like none before.
const BEYOND: usize = 4;
/// Stills are registered at half their size if their longer side then has at least this many samples; at a quarter
/// bumps are off by more than a tenth of a pixel (figures: `scripts/bench.md`).
const AT_LEAST: u32 = 1000;
const SMALLEST: u32 = 2;

/// Registers every whole still of a shoot, and gives what was damaged in it. `seen` is called after each, from any
/// thread; where it says so, registering stops. What is kept is of another kind than what [`super::look`] keeps,
/// [`LINKED_STILLS`], and has a folder of its own.
///
/// # Errors
/// [`Fault`]; damage to stills is none.
pub fn register(
    shoot: &Shoot,
    request: &Request,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<(Registered, Vec<(SlotIndex, Damage)>), Fault> {
    let whole = whole(shoot);
    let mut registered =
        Registered { stills: vec![Sight::Missing; shoot.slots.len()], layout: None, links: Vec::new() };
    let Some(layout) = layout(shoot) else {
        for (slot, _) in &whole {
            registered.stills[*slot] = Sight::Blank;
        }
        return Ok((registered, Vec::new()));
    };
    registered.layout = Some(layout);
    let store = kept(shoot, request)?;
    let run = Run::new(&whole, shoot.recording.as_ref(), layout, &store, seen);
    let mut damaged = Vec::new();
    for (first, stretch, broken) in run.all(0..run.stretches(), request.threads)? {
        let slot = |at: usize| whole[first + at].0;
        for (at, sight) in stretch.stills.iter().enumerate() {
            registered.stills[slot(at)] = *sight;
        }
        let links = stretch.links.into_iter();
        let whose =
            |link: Link| Link { earlier: whole[first + link.later - link.earlier].0, later: slot(link.later), ..link };
        registered.links.extend(links.map(whose));
        damaged.extend(broken.into_iter().map(|(at, damage)| (SlotIndex(whole[at].0), damage)));
    }
    damaged.sort_by_key(|(slot, _)| *slot);
    damaged.dedup_by_key(|(slot, _)| *slot);
    for (slot, _) in &damaged {
        registered.stills[slot.0] = Sight::Missing;
    }
    registered.links.sort_by_key(|link| (link.later, link.earlier));
    registered.links.dedup_by_key(|link| (link.later, link.earlier));
    Ok((registered, damaged))
}

/// Registers those stretches of a shoot's stills that are in `part`, one of equal parts, and keeps what comes of it, so
/// that registering all of them finds it. Gives how many stills those have.
///
/// # Errors
/// [`Fault`], also where nothing can be kept for others to find.
pub fn register_part(
    shoot: &Shoot,
    request: &Request,
    part: impl Fn(usize) -> Range<usize>,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<usize, Fault> {
    let folder = super::lasting_folder(shoot, request)?;
    let store = Store::lasting(folder, LINKED_STILLS)?;
    let whole = whole(shoot);
    let Some(layout) = layout(shoot) else { return Ok(0) };
    let run = Run::new(&whole, shoot.recording.as_ref(), layout, &store, seen);
    let mine = part(run.stretches());
    run.all(mine.clone(), request.threads)?;
    Ok((mine.end * EVERY).min(whole.len()) - (mine.start * EVERY).min(whole.len()))
}

/// The whole stills of a shoot, by slot.
fn whole(shoot: &Shoot) -> Vec<(usize, &Still)> {
    (0..shoot.slots.len()).filter_map(|slot| Some((slot, shoot.still(SlotIndex(slot))?))).collect()
}

/// How a shoot's stills are cut into tiles; none where they are too small.
fn layout(shoot: &Shoot) -> Option<Layout> {
    Layout::of(shoot.size, denominator(shoot.size, AT_LEAST).min(SMALLEST))
}

/// The store asked for, unless it cannot be written to or lies among the stills: then one for this run.
fn kept(shoot: &Shoot, request: &Request) -> std::io::Result<Store> {
    let lasting = request.cache.as_ref().filter(|folder| !lies_among(folder, shoot.paths()));
    lasting
        .and_then(|folder| Store::lasting(folder, LINKED_STILLS).ok())
        .map_or_else(|| Store::passing(LINKED_STILLS), Ok)
}

/// A stretch by the place of its first still, and what was damaged in it.
type Measured = (usize, LinkedStills, Vec<(usize, Damage)>);

/// What all workers know.
struct Run<'a> {
    /// Whole stills with their slots.
    whole: &'a [(usize, &'a Still)],
    recording: Option<&'a Recording>,
    layout: Layout,
    store: &'a Store,
    seen: &'a (dyn Fn() -> bool + Sync),
    anchors: Mutex<VecDeque<(usize, Arc<Anchor>)>>,
    next: AtomicUsize,
    stopped: AtomicBool,
}

/// An anchor as others are compared with it.
struct Anchor {
    tiles: Result<Tiles, Lack>,
    made: Made,
}

/// Why there are no tiles of a still.
#[derive(Clone)]
enum Lack {
    OtherSize,
    Damaged(Damage),
}

impl<'a> Run<'a> {
    fn new(
        whole: &'a [(usize, &'a Still)],
        recording: Option<&'a Recording>,
        layout: Layout,
        store: &'a Store,
        seen: &'a (dyn Fn() -> bool + Sync),
    ) -> Self {
        let (anchors, next, stopped) = (Mutex::default(), AtomicUsize::new(0), AtomicBool::new(false));
        Self { whole, recording, layout, store, seen, anchors, next, stopped }
    }

    /// How many stretches there are.
    fn stretches(&self) -> usize {
        self.whole.len().div_ceil(EVERY)
    }

    /// These stretches, in order.
    fn all(&self, which: Range<usize>, threads: usize) -> Result<Vec<Measured>, Fault> {
        self.next.store(which.start, Ordering::Relaxed);
        // A recording is decoded once, from its first frame to its last.
        let threads = if self.recording.is_some() { 1 } else { threads.clamp(1, which.len().max(1)) };
        let work = || -> std::io::Result<Vec<Measured>> {
            let mut worker = Worker::new(self);
            let mut mine = Vec::new();
            while !self.stopped.load(Ordering::Relaxed) {
                let stretch = self.next.fetch_add(1, Ordering::Relaxed);
                if stretch >= which.end {
                    break;
                }
                let measured =
                    worker.stretch(stretch * EVERY).inspect_err(|_| self.stopped.store(true, Ordering::Relaxed));
                mine.push(measured?);
            }
            Ok(mine)
        };
        let mine: Vec<std::io::Result<Vec<Measured>>> = std::thread::scope(|scope| {
            let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
            workers
                .into_iter()
                .map(|worker| worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect()
        });
        let mut all: Vec<Measured> = mine.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect();
        if self.stopped.load(Ordering::Relaxed) {
            return Err(Fault::Stopped);
        }
        all.sort_by_key(|(first, ..)| *first);
        Ok(all)
    }

    fn seen(&self) {
        if !(self.seen)() {
            self.stopped.store(true, Ordering::Relaxed);
        }
    }

    /// The key of a still, or of a recording's frame by that of its file.
    fn key(&self, at: usize, file: &mut Option<blake3::Hash>) -> Result<blake3::Hash, Damage> {
        let (slot, still) = self.whole[at];
        let Some(recording) = self.recording else { return key::quick(still) };
        let file = match file {
            Some(file) => file,
            None => file.insert(key::quick(still)?),
        };
        Ok(key::of_frame(file, recording.shown(slot).unwrap_or(i64::MIN)))
    }

    fn modified(&self, at: usize) -> i128 {
        self.recording.map_or(self.whole[at].1.modified, |recording| recording.modified)
    }

    fn known(&self, at: usize) -> Option<Arc<Anchor>> {
        let anchors = self.anchors.lock().unwrap_or_else(PoisonError::into_inner);
        anchors.iter().find(|(of, _)| *of == at).map(|(_, anchor)| Arc::clone(anchor))
    }

    fn remember(&self, at: usize, anchor: &Arc<Anchor>) {
        let mut anchors = self.anchors.lock().unwrap_or_else(PoisonError::into_inner);
        if anchors.iter().all(|(of, _)| *of != at) {
            anchors.push_front((at, Arc::clone(anchor)));
            anchors.truncate(KEPT);
        }
    }
}

/// The stills that a stretch takes in.
struct Reach {
    first: usize,
    /// Its last, the next anchor where there is one.
    end: usize,
    /// The last it may go on to.
    beyond: usize,
    /// Anchors before its first that its last is compared with.
    back: Vec<usize>,
}

impl Reach {
    fn new(first: usize, count: usize) -> Self {
        let next = first + EVERY;
        let whole = next < count;
        let (end, beyond) = if whole { (next, (next + BEYOND).min(count - 1)) } else { (count - 1, count - 1) };
        let back = BACK.iter().filter(|_| whole).filter_map(|back| next.checked_sub(back * EVERY)).collect();
        Self { first, end, beyond, back }
    }

    fn stills(&self) -> impl Iterator<Item = usize> {
        (self.first..=self.beyond).chain(self.back.iter().copied())
    }
}

struct Worker<'a> {
    run: &'a Run<'a>,
    decoder: Decoder,
    sequential: Option<SequentialDecoder<'a>>,
    frame: Option<Picture>,
    registrar: Registrar,
    file: Option<blake3::Hash>,
}

impl<'a> Worker<'a> {
    fn new(run: &'a Run<'a>) -> Self {
        let sequential =
            run.recording.map(|recording| SequentialDecoder::new(recording, run.whole.iter().map(|(slot, _)| *slot)));
        Self {
            run,
            decoder: Decoder::new(),
            sequential,
            frame: None,
            registrar: Registrar::new(run.layout),
            file: None,
        }
    }

    /// A still small, and what it was made from.
    fn show(&mut self, at: usize, spare: Option<Picture>) -> (Made, Result<Picture, Lack>) {
        let (slot, still) = self.run.whole[at];
        let mut made = Made { modified: self.run.modified(at).to_string(), of: None };
        let step = self.run.layout.step;
        let picture = match &mut self.sequential {
            Some(sequential) => sequential.show(slot, self.frame.take()).map(|frame| {
                let picture = reduced_luma(&frame, step, spare);
                self.frame = Some(frame);
                picture
            }),
            None => self.decoder.read(still).and_then(|file| {
                made.of = Some(blake3::hash(file.bytes()).to_hex().to_string());
                file.decode(Want::Luma { scale: step }, spare)
            }),
        };
        let right =
            |picture: Picture| if picture.size == self.run.layout.small() { Ok(picture) } else { Err(Lack::OtherSize) };
        (made, picture.map_err(Lack::Damaged).and_then(right))
    }

    fn anchor(&mut self, at: usize) -> Arc<Anchor> {
        if let Some(known) = self.run.known(at) {
            return known;
        }
        let (made, picture) = self.show(at, None);
        let anchor =
            Arc::new(Anchor { tiles: picture.map(|picture| self.registrar.tiles(grey(&picture), None)), made });
        self.run.remember(at, &anchor);
        anchor
    }

    /// A stretch from the store where it is there; kept there where not.
    fn stretch(&mut self, first: usize) -> std::io::Result<Measured> {
        let reach = Reach::new(first, self.run.whole.len());
        let key = self.key(&reach);
        if let Some(key) = &key
            && let Some(kept) = LinkedStills::get(self.run.store, key)
            && self.is_of(&kept, &reach)
        {
            (reach.first..reach.end.min(reach.first + EVERY - 1) + 1).for_each(|_| self.run.seen());
            return Ok((first, kept, Vec::new()));
        }
        let (stretch, damaged) = self.measure(&reach);
        if let Some(key) = key.filter(|_| damaged.is_empty() && !self.run.stopped.load(Ordering::Relaxed)) {
            stretch.put(self.run.store, &key)?;
        }
        Ok((first, stretch, damaged))
    }

    /// By what the files hold, and how they are compared; none where one of them cannot be read.
    fn key(&mut self, reach: &Reach) -> Option<blake3::Hash> {
        let mut hasher = blake3::Hasher::new();
        hasher.update(format!("{:?} {} {:?}", self.run.layout, reach.end - reach.first, reach.back.len()).as_bytes());
        for at in reach.stills() {
            hasher.update(self.run.key(at, &mut self.file).ok()?.as_bytes());
        }
        Some(hasher.finalize())
    }

    /// Whether a kept stretch is of these files to their last byte.
    fn is_of(&mut self, kept: &LinkedStills, reach: &Reach) -> bool {
        let mut stills = reach.stills();
        let of = |(at, made): (usize, &Made)| {
            if made.modified == self.run.modified(at).to_string() {
                return true;
            }
            if self.run.recording.is_some() {
                return false;
            }
            // Copied or touched since, the file is the same one where all of its bytes are. What was not read made no
            // difference.
            let Some(of) = &made.of else { return true };
            self.decoder.read(self.run.whole[at].1).is_ok_and(|file| *blake3::hash(file.bytes()).to_hex() == **of)
        };
        kept.made.len() == reach.stills().count() && stills.by_ref().zip(&kept.made).all(of)
    }

    fn measure(&mut self, reach: &Reach) -> (LinkedStills, Vec<(usize, Damage)>) {
        let blank = |at: usize| Made { modified: self.run.modified(at).to_string(), of: None };
        let mut stretch =
            LinkedStills { made: reach.stills().map(blank).collect(), stills: Vec::new(), links: Vec::new() };
        let mut damaged = Vec::new();
        let lacks = |at: usize, lack: &Lack, damaged: &mut Vec<(usize, Damage)>| match lack {
            Lack::OtherSize => Sight::OtherSize,
            Lack::Damaged(damage) => {
                damaged.push((at, damage.clone()));
                Sight::Missing
            }
        };
        let anchor = self.anchor(reach.first);
        let mut jury = Jury::new((reach.first..=reach.end).map(SlotIndex));
        let mut astray = self.hear(&mut jury, reach.first);
        self.run.seen();
        stretch.made[0] = anchor.made.clone();
        let mut recent: VecDeque<(usize, Arc<Tiles>)> = VecDeque::new();
        match &anchor.tiles {
            Ok(tiles) => {
                stretch.stills.push(tiles.sight());
                if tiles.sight() == Sight::Seen {
                    recent.push_front((reach.first, Arc::new(tiles.clone())));
                }
            }
            Err(lack) => stretch.stills.push(lacks(reach.first, lack, &mut damaged)),
        }
        let mut base = recent.front().cloned();
        let mut unlike = 0;
        let mut spare = None;
        let mut last = reach.end;
        let mut at = reach.first;
        while at < last && !self.run.stopped.load(Ordering::Relaxed) {
            at += 1;
            let (made, picture) = self.show(at, spare.take());
            astray.extend(self.hear(&mut jury, at));
            stretch.made[at - reach.first] = made;
            if at < reach.first + EVERY {
                self.run.seen();
            }
            let picture = match picture {
                Ok(picture) => picture,
                Err(lack) => {
                    stretch.stills.push(lacks(at, &lack, &mut damaged));
                    last = if at == last { (last + 1).min(reach.beyond) } else { last };
                    continue;
                }
            };
            let mut tiles = self.registrar.tiles(grey(&picture), recent.front().map(|(_, tiles)| &**tiles));
            stretch.stills.push(tiles.sight());
            let mut linked = false;
            if tiles.sight() == Sight::Seen {
                let mut compare = |registrar: &mut Registrar, (earlier, before): (usize, &Tiles)| {
                    let link = registrar.link((at - earlier, before), (at - reach.first, &mut tiles), grey(&picture));
                    let found = link.is_some();
                    stretch.links.extend(link);
                    found
                };
                let like_base =
                    base.as_ref().is_some_and(|(earlier, before)| compare(&mut self.registrar, (*earlier, before)));
                let others = recent.iter().filter(|(earlier, _)| base.as_ref().is_none_or(|(base, _)| base != earlier));
                let like_recent =
                    others.into_iter().any(|(earlier, before)| compare(&mut self.registrar, (*earlier, before)));
                if at == reach.end {
                    for (place, back) in reach.back.iter().enumerate() {
                        let before = self.anchor(*back);
                        if let Ok(tiles) = &before.tiles {
                            compare(&mut self.registrar, (*back, tiles));
                        }
                        stretch.made[reach.beyond - reach.first + 1 + place] = before.made.clone();
                    }
                }
                linked = like_base || like_recent;
                unlike = if like_base || !like_recent { 0 } else { unlike + 1 };
                if base.is_none() || unlike >= UNLIKE {
                    base = recent.front().cloned();
                    unlike = 0;
                }
            }
            if at == reach.first + EVERY {
                let tiles = Ok(self.registrar.tiles(grey(&picture), None));
                self.run.remember(at, &Arc::new(Anchor { tiles, made: stretch.made[at - reach.first].clone() }));
            }
            if tiles.sight() == Sight::Seen {
                recent.push_front((at, Arc::new(tiles)));
                recent.truncate(RECENT);
                if base.is_none() {
                    base = recent.front().cloned();
                }
            }
            spare = Some(picture);
            if at == last && !linked {
                last = (last + 1).min(reach.beyond);
            }
        }
        damaged.extend(astray);
        (stretch, damaged)
    }

    /// A still of a stretch has been decoded just now, or could not be: damage that only its neighbours tell of, by
    /// place.
    fn hear(&mut self, jury: &mut Jury, at: usize) -> Vec<(usize, Damage)> {
        let trials = jury.seat(SlotIndex(at), self.decoder.means());
        let damage = |trial: &Trial| Some((trial.slot.0, trial.damage(self.run.whole[trial.slot.0].1.stored.height)?));
        trials.iter().filter_map(damage).collect()
    }
}

fn grey(picture: &Picture) -> Grey<'_> {
    let plane = &picture.planes[0];
    let Samples::Eight(samples) = &plane.samples else { unreachable!("small pictures have 8 bits") };
    Grey { samples, stride: plane.stride, width: plane.width as usize, height: plane.height as usize }
}

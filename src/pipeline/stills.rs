//! The pictures of a run's stills: decoded once a visit, covered, waited for where they are out of reach, let go when
//! no frame needs them any more.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::decode::{self, Decoder, Want};
use crate::geom::Window;
use crate::level::Gain;
use crate::picture::Picture;
use crate::plan::{Corrected, Layer};
use crate::shoot::{Damage, Still};
use crate::units::SlotIndex;
use crate::work::FileRead;

use super::batches::Visit;
use super::reorder::Stopped;
use super::{Detail, Fault, SharedPicture, Shown, StoodIn, Studio, colours, cover, jury, lock};

/// How often stills out of reach are looked for.
const LOOK_AGAIN: Duration = Duration::from_millis(250);

/// A still's picture while a worker needs it.
pub(super) struct Held {
    visit: usize,
    pub(super) slot: SlotIndex,
    pub(super) picture: Arc<Picture>,
    /// Whether the picture is that of the still's stand-in.
    stood_in: bool,
}

impl Held {
    /// Which decoding of a still it is.
    pub(super) fn visit(&self) -> usize {
        self.visit
    }

    /// The slot whose still is held: that of a layer of this still, or of its stand-in.
    pub(super) fn shown(&self, layer: &Layer) -> SlotIndex {
        match &layer.stand_in {
            Some(other) if self.stood_in => other.still.slot,
            _ => layer.slot(),
        }
    }

    /// The window that a layer of this still has over what is held, and what its light is multiplied by.
    pub(super) fn through(&self, layer: &Layer) -> (Window, Gain) {
        match &layer.stand_in {
            Some(other) if self.stood_in => (other.window, other.still.gain),
            _ => (layer.window, layer.still.gain),
        }
    }
}

/// The picture of a visit, decoded by whoever comes first.
pub(super) fn hold(studio: &Studio<'_>, visit: usize, decoder: &mut Decoder) -> Result<Held, Option<Fault>> {
    let cell = {
        let mut pictures = lock(&studio.pictures);
        let fresh = || SharedPicture { cell: Arc::default(), batches_left: studio.work.visits[visit].batches };
        pictures.entry(visit).or_insert_with(fresh).cell.clone()
    };
    let mut held = lock(&cell);
    let Shown { picture, stood_in } = match &*held {
        Some(shown) => shown.clone(),
        None => {
            // A recording's frames are decoded in the order they are due, by whoever has the next.
            let shared = studio.shared_at(studio.work.visits[visit].still.slot);
            let turn = shared.map(|shared| shared.wait_for(visit));
            let turn = turn.transpose().map_err(|Stopped| None)?;
            let (picture, stood_in) = develop_still(studio, visit, decoder)?;
            drop(turn);
            held.insert(Shown { picture: Arc::new(picture), stood_in }).clone()
        }
    };
    Ok(Held { visit, slot: studio.work.visits[visit].still.slot, picture, stood_in })
}

/// Says that one batch fewer needs a picture; after the last its buffers rest.
pub(super) fn let_go(studio: &Studio<'_>, held: Held) {
    let Held { visit, picture, .. } = held;
    drop(picture);
    let mut pictures = lock(&studio.pictures);
    if let Some(shared) = pictures.get_mut(&visit) {
        shared.batches_left -= 1;
        if shared.batches_left == 0
            && let Some(shared) = pictures.remove(&visit)
            && let Some(picture) = lock(&shared.cell).take().and_then(|shown| Arc::into_inner(shown.picture))
        {
            lock(&studio.resting).push(picture);
        }
    }
}

/// Decodes a still in the detail of the run; says whether it came from a store.
fn decoded(
    studio: &Studio<'_>,
    visit: &Visit<'_>,
    decoder: &mut Decoder,
    still: &Still,
    spare: Option<Picture>,
) -> Result<(Picture, bool), Damage> {
    let Visit { denominator, rows, .. } = visit;
    if let (2.., Detail::Small(Some(store))) = (denominator, studio.detail) {
        return decoder.decode_kept(still, *denominator, store, spare);
    }
    let want = Want::Planes { rows: rows.clone(), scale: *denominator };
    decoder.decode(still, want, spare).map(|picture| (picture, false))
}

/// Notes what the file held that was just read, whether or not it could be decoded: what is made of it is to be proved
/// by that.
fn note_file(studio: &Studio<'_>, slot: SlotIndex, still: &Still, decoder: &Decoder) {
    if !matches!(studio.detail, Detail::Whole) {
        return;
    }
    studio.watch.read.fetch_add(still.bytes, Ordering::Relaxed);
    // A still that a pace returns to is the same: a file that has changed is refused.
    if lock(&studio.met).files.contains_key(&slot) {
        return;
    }
    let began = Instant::now();
    let Some([blake3, pieces]) = decoder.hash_read(still) else { return };
    let took = u64::try_from(began.elapsed().as_nanos()).unwrap_or(u64::MAX);
    studio.watch.hashing.fetch_add(took, Ordering::Relaxed);
    lock(&studio.met).files.insert(slot, FileRead { bytes: still.bytes, blake3, pieces: Some(pieces) });
}

/// Decodes the still of a visit, or its stand-in where that is damaged and the plan names one; says whether that is it.
fn develop_still(studio: &Studio<'_>, visit: usize, decoder: &mut Decoder) -> Result<(Picture, bool), Option<Fault>> {
    let visit = &studio.work.visits[visit];
    let mut decode_once = |Corrected { slot, covers, .. }: &Corrected| -> Result<Picture, Damage> {
        let slot = *slot;
        let spare = lock(&studio.resting).pop();
        let still = studio.shoot.still(slot).ok_or_else(|| Damage::Unreadable("no whole still in this slot".into()))?;
        let remark = |remarks: &[String]| {
            for remark in remarks {
                lock(&studio.met).remarks.entry(remark.clone()).or_default().push(slot);
            }
        };
        let mut picture = match studio.shared_at(slot) {
            Some(shared) => {
                let picture = shared.show(slot, spare, remark)?;
                studio.watch.stills.fetch_add(1, Ordering::Relaxed);
                picture
            }
            None => {
                let decoded = decoded(studio, visit, decoder, still, spare);
                note_file(studio, slot, still, decoder);
                jury::hear(studio, slot, decoder.means());
                let (picture, kept) = decoded?;
                remark(decoder.remarks());
                let counter = if kept { &studio.watch.kept } else { &studio.watch.stills };
                counter.fetch_add(1, Ordering::Relaxed);
                picture
            }
        };
        lock(&studio.met).note_coding(colours::coding_of(&picture), [slot]);
        cover::cover(&mut picture, covers);
        Ok(picture)
    };
    // What is gone with its drive is no damaged still: no policy puts another in its place.
    let mut decode = |still: &Corrected| -> Result<Result<Picture, Damage>, Option<Fault>> {
        let (slot, began) = (still.slot, Instant::now());
        loop {
            let damage = match decode_once(still) {
                Err(damage @ Damage::Unreadable(_)) => damage,
                other => return Ok(other),
            };
            let path = studio.shoot.still(slot).map(|still| still.path.as_path());
            if !path.is_some_and(decode::is_out_of_reach) {
                return Ok(Err(damage));
            }
            let waited = began.elapsed();
            if waited >= studio.watch.patience {
                return Err(Some(Fault::OutOfReach { slot, damage, waited }));
            }
            studio.watch.waiting.store(true, Ordering::Relaxed);
            std::thread::sleep(LOOK_AGAIN);
            if studio.failed() {
                return Err(None);
            }
            studio.watch.waiting.store(path.is_some_and(decode::is_out_of_reach), Ordering::Relaxed);
        }
    };
    let damage = match decode(visit.still)? {
        Ok(picture) => return Ok((picture, false)),
        Err(damage) => damage,
    };
    let slot = visit.still.slot;
    let Some(stand_in) = visit.stand_in else { return Err(Some(Fault::Damaged { slot, damage })) };
    let shown = stand_in.slot;
    let picture = decode(stand_in)?.map_err(|damage| Some(Fault::Damaged { slot: shown, damage }))?;
    let mut met = lock(&studio.met);
    if !met.stood_in.iter().any(|entry| entry.slot == slot) {
        met.stood_in.push(StoodIn { slot, damage, shown });
    }
    Ok((picture, true))
}

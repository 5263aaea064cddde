//! A recording's frames, looked at in one decode from its first to its last.

use super::{AT_LEAST, Fault, Looked, measure};
use crate::decode::{SequentialDecoder, denominator, key, reduced};
use crate::measures::Store;
use crate::picture::Picture;
use crate::shoot::{Recording, Still};
use crate::units::SlotIndex;

/// As with stills, but that a frame is known by its file and the time it is shown at: what was kept of a file that has
/// been written or copied since is measured again.
pub(super) fn in_order(
    recording: &Recording,
    whole: &[(SlotIndex, &Still)],
    store: &Store,
    seen: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Looked>, Fault> {
    let Some((_, first)) = whole.first() else { return Ok(Vec::new()) };
    let file = match key::quick(first) {
        Ok(file) => file,
        Err(damage) => return Ok(vec![Err(damage); whole.len()]),
    };
    let kept = |slot: &SlotIndex| {
        let key = key::of_frame(&file, recording.shown(slot.0).unwrap_or(i64::MIN));
        let kept = store.get(&key).filter(|kept| kept.modified == recording.modified);
        (key, kept.map(|kept| kept.still))
    };
    let kept: Vec<_> = whole.iter().map(|(slot, _)| kept(slot)).collect();
    let unknown = whole.iter().zip(&kept).filter(|(_, (_, kept))| kept.is_none()).map(|((slot, _), _)| slot.0);
    let mut sequential = SequentialDecoder::new(recording, unknown);
    let (mut frame, mut small): (Option<Picture>, Option<Picture>) = (None, None);
    let mut looked = Vec::with_capacity(whole.len());
    for ((slot, still), (key, kept)) in whole.iter().zip(kept) {
        looked.push(match kept {
            Some(kept) => Ok((kept, key)),
            None => match sequential.show(slot.0, frame.take()) {
                Ok(shown) => {
                    let scale = denominator(still.stored, AT_LEAST);
                    let picture = reduced(&shown, scale, small.take());
                    let glance = measure::measure(&picture, scale, key, recording.modified);
                    (frame, small) = (Some(shown), Some(picture));
                    store.put(&key, &glance)?;
                    Ok((glance.still, key))
                }
                Err(damage) => Err(damage),
            },
        });
        if !seen() {
            return Err(Fault::Stopped);
        }
    }
    Ok(looked)
}

//! The stills of a receipt: which were there, what they held, where each is shown, and why where not.

use std::collections::BTreeMap;
use std::path::Path;

use super::paths::seen_from;
use crate::pipeline::Outcome;
use crate::plan::{DeliveryPlan, Fate, Row};
use crate::receipt::{FilePath, SetAside, Shown, Still, run_on};
use crate::session::prepare::{Part, Prepared};
use crate::shoot::{Content, Shoot};
use crate::units::SlotIndex;
use crate::work::FileRead;

/// The stills shown in others' places, by those.
pub(super) type InPlaceOf = BTreeMap<SlotIndex, SlotIndex>;

/// Which stills decoding showed to be damaged, and which were shown instead.
pub(super) fn in_place_of(outcome: &Outcome) -> InPlaceOf {
    outcome.stood_in.iter().map(|entry| (entry.slot, entry.shown)).collect()
}

/// The slots whose stills fill a frame, or are parts of it.
pub(super) fn stills_of<'a>(row: &'a Row, instead: &'a InPlaceOf) -> impl Iterator<Item = SlotIndex> + 'a {
    row.shares().map(|share| *instead.get(&share.shown).unwrap_or(&share.shown))
}

/// Whether a frame shows another still in the place of the one whose turn it is.
pub(super) fn is_held(row: &Row, instead: &InPlaceOf) -> bool {
    row.slot != row.shown || row.shares().any(|share| instead.contains_key(&share.shown))
}

/// By slot, the frames that show its still, by delivery.
type ShownIn = BTreeMap<SlotIndex, BTreeMap<usize, Vec<[u64; 2]>>>;

/// Where the stills of a shoot are shown in these deliveries, each with its number in the receipt.
pub(super) fn shown_in<'a>(
    deliveries: impl Iterator<Item = (usize, &'a DeliveryPlan)>,
    instead: &InPlaceOf,
) -> ShownIn {
    let mut shown = ShownIn::new();
    for (delivery, plan) in deliveries {
        for (frame, row) in (0..).zip(&plan.rows) {
            for slot in stills_of(row, instead) {
                run_on(shown.entry(slot).or_default().entry(delivery).or_default(), frame);
            }
        }
    }
    shown
}

/// The stills of one shoot, in order.
pub(super) fn stills(
    prepared: &Prepared,
    index: usize,
    outcome: &Outcome,
    files: &BTreeMap<SlotIndex, FileRead>,
    mut shown: ShownIn,
) -> Vec<Still> {
    let shoot = &prepared.shoots[index];
    let parts: Vec<&Part> = prepared.parts.iter().filter(|part| part.shoot == index).collect();
    let still = |(at, slot): (usize, &crate::shoot::Slot)| {
        let at = SlotIndex(at);
        let (path, surveyed) = match &slot.content {
            Content::Whole(still) => (Some(&still.path), Some(still.bytes)),
            Content::Damaged { path, .. } => (Some(path), None),
            Content::Missing => (None, None),
        };
        let file = path.filter(|_| shoot.recording_at(at).is_none());
        let read = files.get(&at).filter(|_| file.is_some());
        let shown = shown.remove(&at).unwrap_or_default();
        let shown: Vec<_> = shown.into_iter().map(|(delivery, frames)| Shown { delivery, frames }).collect();
        Still {
            name: slot.name.clone(),
            path: file.map(|path| seen(prepared, path)),
            bytes: file.and_then(|_| read.map(|read| read.bytes).or(surveyed)),
            blake3: read.map(|read| read.blake3.to_hex().to_string()),
            why: why(&parts, shoot, at, outcome, shown.is_empty(), file.is_some() && read.is_none()),
            shown,
        }
    };
    shoot.slots.iter().enumerate().map(still).collect()
}

/// Files of a shoot that were found and not used.
pub(super) fn set_aside(prepared: &Prepared, shoot: &Shoot) -> Vec<SetAside> {
    let files = shoot.set_aside.iter();
    files.map(|file| SetAside { path: seen(prepared, &file.path), reason: file.reason.to_owned() }).collect()
}

/// A path as the script's folder sees it.
pub(super) fn seen(prepared: &Prepared, path: &Path) -> FilePath {
    FilePath::of(&seen_from(&prepared.base, path))
}

/// Why a slot's own still is shown nowhere, or what is shown in its place and why.
fn why(
    parts: &[&Part],
    shoot: &Shoot,
    slot: SlotIndex,
    outcome: &Outcome,
    shown_nowhere: bool,
    unread: bool,
) -> Option<String> {
    let stood_in = outcome.stood_in.iter().find(|entry| entry.slot == slot);
    let reasons = parts.iter().filter_map(|part| {
        let reason = match (part.made.plan().fates.get(slot.0)?, stood_in) {
            (Fate::Used, Some(entry)) => {
                format!("damaged: {}; {} shown instead", entry.damage, shoot.slots[entry.shown.0].name)
            }
            (Fate::Damaged(done), _) => format!("damaged: {done}"),
            (Fate::Missing(done), _) => format!("missing: {done}"),
            (Fate::PassedOver, _) if shown_nowhere => "passed over by the pace".to_owned(),
            (Fate::OutsidePart, _) if shown_nowhere => "outside the part from 'from' to 'to'".to_owned(),
            (Fate::LeftOut(by), _) if shown_nowhere => by.words().to_owned(),
            _ => return None,
        };
        Some((part.made.plan().shot.as_str(), reason))
    });
    let reasons: Vec<(&str, String)> = reasons.collect();
    let (_, first) = reasons.first()?;
    let mut text = if reasons.iter().all(|(_, reason)| reason == first) {
        first.clone()
    } else {
        reasons.iter().map(|(shot, reason)| format!("in {shot}: {reason}")).collect::<Vec<_>>().join("; ")
    };
    if unread {
        text += "; not read";
    }
    Some(text)
}

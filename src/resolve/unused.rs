//! What a script says that changes nothing: a person who wrote it waits for something that will not come.
//!
//! In: a shot as resolved. Out: a remark for the ease of a first key, for `keep` where nothing is scaled, for `across`
//! where there is no break, for a `shutter`, a `between` or a `gather` without which every frame of a delivery would be the
//! same, and for a `sharpness` where light is resampled.

use crate::curve::ease::Ease;
use crate::diag::{Diagnostic, Place, Placed};
use crate::plan::DeliveryPlan;
use crate::shot::{Between, Blend, CoverArea, Delivery, Gathering, Light, Pace, Sharpness};

use super::due::Sheet;
use super::framing::Framed;
use super::resolved::Seen;
use super::rows;
use super::views;
use super::words;

/// A remark for each.
pub(super) fn remarks(seen: &Seen<'_>) -> Vec<Diagnostic> {
    let mut found = first_eases(seen);
    found.extend(kept(seen));
    found.extend(across(seen));
    for ((delivery, framed), plan) in seen.shot.deliveries.iter().zip(&seen.made.tracks).zip(&seen.made.plan.deliveries)
    {
        if !delivery.every_still {
            match &delivery.gather {
                Some(gather) => found.extend(gathers(gather, plan)),
                None => found.extend(blends(seen, delivery, framed)),
            }
            found.extend(sharpness(delivery));
        }
    }
    found
}

/// Eases of keys that no way leads to.
fn first_eases(seen: &Seen<'_>) -> Vec<Diagnostic> {
    let mut first: Vec<(&Place, &Ease)> = Vec::new();
    if let Pace::Keyed { keys, .. } = &seen.shot.pace.value {
        first.extend(keys.first().map(|key| (&key.place, &key.ease)));
    }
    for cover in &seen.shot.covers {
        if let CoverArea::Keyed(keys) = &cover.area {
            first.extend(keys.first().map(|key| (&key.place, &key.ease)));
        }
    }
    // Round a loop a way leads from the last key to the first.
    for delivery in seen.shot.deliveries.iter().filter(|_| seen.shot.looped.is_none()) {
        first.extend(views::framing_of(seen.shot, delivery).keys.first().map(|key| (&key.place, &key.ease)));
    }
    let mut said: Vec<Diagnostic> = Vec::new();
    for (place, _) in first.into_iter().filter(|(_, ease)| **ease != Ease::Linear) {
        let remark = Diagnostic::remark("the ease of the first key has no effect: no way leads to it")
            .at(place)
            .word("ease")
            .help("leave ease out here: it shapes the way to its own key from the one before");
        if !said.contains(&remark) {
            said.push(remark);
        }
    }
    said
}

/// Keys that a fit is to leave alone, where there is none.
fn kept(seen: &Seen<'_>) -> Option<Diagnostic> {
    let Pace::Keyed { keys, fit: None } = &seen.shot.pace.value else { return None };
    let key = keys.iter().find(|key| key.keep)?;
    let remark = Diagnostic::remark("keep has no effect without fit: no rate of this pace is scaled")
        .at(&key.place)
        .word("keep")
        .with(&seen.shot.pace.place, "the pace");
    let seconds = words::figure(seen.made.length.0);
    Some(remark.help(format!("leave keep out, or write fit = \"{seconds}s\" in the pace for a clip of that length")))
}

/// Breaks that are to be passed over, where there are none.
fn across(seen: &Seen<'_>) -> Option<Diagnostic> {
    let source = &seen.shot.source;
    (source.across && !seen.made.axis.bridged).then(|| {
        let message = "across has no effect: no stills were left out between two that are shown";
        Diagnostic::remark(message).at(&source.place).word("across").help("leave across out")
    })
}

/// A shutter and a blend between stills that leave every frame of a delivery as it would be without them.
fn blends(seen: &Seen<'_>, delivery: &Delivery, framed: &Framed) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let say = |what: String, why: &str, word: &str, help: &str| {
        let message = format!("{what} has no effect in '{}': {why}", delivery.name);
        Diagnostic::remark(message).at(&delivery.place).word(word).help(help)
    };
    let Blend { shutter, between, .. } = delivery.blend;
    if shutter > 0.0 && is_same(seen, (delivery, framed), Blend { shutter: 0.0, ..delivery.blend }) {
        found.push(say(
            format!("shutter = {}", words::figure(shutter)),
            "no two stills pass while it is open",
            "shutter",
            "leave shutter out, or let more stills pass: a faster pace, or a larger angle",
        ));
    }
    let name = match between {
        Between::Nearest => return found,
        Between::Mix => "mix",
        Between::Motion => "motion",
    };
    if is_same(seen, (delivery, framed), Blend { between: Between::Nearest, ..delivery.blend }) {
        found.push(say(
            format!("between = \"{name}\""),
            "no frame lies between two stills, at one still a frame and faster or where the pace rests on stills",
            "between",
            "leave between out: it shows where the pace is below one still a frame",
        ));
    }
    found
}

/// What is to be gathered, where no frame has two stills.
fn gathers(gather: &Placed<Gathering>, plan: &DeliveryPlan) -> Option<Diagnostic> {
    let word = gather.value.by.keyword();
    plan.gathers().is_none().then(|| {
        let message = format!("gather = {word:?} has no effect in '{}': no frame has two stills", plan.name);
        Diagnostic::remark(message).at(&gather.place).word("gather").help(
            "leave gather out, or let more stills pass: a faster pace, a larger shutter, or stills = 31 in the gather",
        )
    })
}

/// A kernel that is asked for where light is resampled, which has its own.
fn sharpness(delivery: &Delivery) -> Option<Diagnostic> {
    let has_none = delivery.sharpness == Sharpness::Full && delivery.resample == Light::Linear;
    let message = || {
        format!("sharpness = \"full\" has no effect in '{}': light is resampled by a kernel of its own", delivery.name)
    };
    has_none.then(|| {
        let remark = Diagnostic::remark(message()).at(&delivery.place).word("sharpness");
        remark.help("leave sharpness out, or leave resample out")
    })
}

/// Whether every frame shows the same stills in the same measure with another blend.
fn is_same(seen: &Seen<'_>, (delivery, track): (&Delivery, &Framed), other: Blend) -> bool {
    let made = seen.made;
    let (pace, axis, bounds, length) = (&made.pace, &made.axis, made.bounds, made.length);
    let (strict, looped, turns) = (seen.shot.strict, seen.shot.looped.is_some(), pace.turns());
    let changed = Delivery { blend: other, ..delivery.clone() };
    let [own, other] = [delivery, &changed].map(|delivery| Sheet {
        delivery,
        track,
        pace,
        axis,
        bounds,
        length,
        strict,
        looped,
        gathers: None,
    });
    let frames = i64::try_from(delivery.fps.frames_in(length).max(1)).unwrap_or(i64::MAX);
    (0..frames).all(|frame| {
        let [own, other] = [&own, &other].map(|sheet| rows::due(sheet, frame, turns));
        own.place == other.place && own.blend == other.blend && own.invented == other.invented
    })
}

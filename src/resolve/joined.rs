//! One delivery of a reel: the frames of its shots one after the other, mixed where they meet, with what is heard and laid
//! over them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::resolved::Resolved;
use super::words;
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Window;
use crate::plan::{
    Between, Chapter, Corrected, DeliveryPlan, GatherList, Gathered, Layer, Layers, Lines, Passage, PosterFrame, Row,
    Share, Shows, Stamped, StandIn, Weighted,
};
use crate::shoot::Shoot;
use crate::shot::Reel;
use crate::units::SlotIndex;

/// One delivery of all, whose own parts are these.
pub(super) fn delivery(
    reel: &Reel,
    shoot: &Shoot,
    shots: &[Resolved],
    own: &[&DeliveryPlan],
    found: &mut Diagnostics,
) -> Option<DeliveryPlan> {
    let first = own[0];
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a mix lasts a day at most")]
    let mix = if own.len() > 1 { (reel.mix.value * first.fps.per_second()).round() as usize } else { 0 };
    if own.len() > 1 && mix == 0 && reel.mix.value > 0.0 {
        let message =
            format!("a mix of {} s is less than half a frame of '{}'", words::figure(reel.mix.value), first.name);
        let help = "leave mix out: one shot follows the other at once";
        found.push(Diagnostic::mistake(message).at(&reel.mix.place).word("mix").help(help));
    }
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let mixes = usize::from(at > 0) + usize::from(at + 1 < own.len());
        // A frame at least is its own.
        if part.rows.len() <= mixes * mix {
            let [lasts, wanted] =
                [part.rows.len(), mixes * mix].map(|frames| words::figure(first.fps.time_of(frames as u64).0));
            let message = format!(
                "'{}' lasts {lasts} s, and is to be mixed with its neighbours for {wanted} s in all",
                shot.name
            );
            let most = first.fps.time_of((part.rows.len().saturating_sub(1) / mixes.max(1)) as u64).0;
            found.push(
                Diagnostic::mistake(message)
                    .at(&reel.mix.place)
                    .word("mix")
                    .with(&shot.place, "that shot")
                    .help(format!("mix = \"{}s\" at most, or a longer shot", words::figure_below(most))),
            );
        }
    }
    if found.refused() {
        return None;
    }
    check_pictures(own, found)?;
    check_gathered(reel, own, mix, found)?;
    let (mut rows, mut gathered) = (Vec::<Row>::new(), Vec::<GatherList>::new());
    let (mut chapters, mut rooms, mut sound) = (Vec::new(), Vec::new(), Vec::<Passage>::new());
    let (mut stamps, mut poster, mut axis) = (Vec::<Stamped>::new(), None, 0.0);
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let mut moved = Moved { slots: shoot.members[at].first, axis, known: BTreeMap::new() };
        let mixed = if at > 0 { mix } else { 0 };
        let begins = rows.len() - mixed;
        let mut lesser = Vec::new();
        let lists = gathered.len();
        for list in &part.gathered {
            let list: GatherList = list.iter().map(|layer| moved.layer(layer)).collect();
            gathered.push(list);
        }
        for (number, row) in part.rows.iter().enumerate() {
            let row = moved.row(row, &gathered[lists..], lists);
            match rows.get_mut(begins + number) {
                Some(before) => lesser.push(mix_in(before, row, number + 1, mix)),
                None => rows.push(row),
            }
        }
        chapters.push(Chapter { frame: begins as u64, name: shot.name.clone(), lesser });
        rooms.push((begins, part.room));
        let later = at + 1 < own.len();
        sound.extend(
            part.sound.iter().map(|passage| heard(passage, at, (part, begins), (mixed, if later { mix } else { 0 }))),
        );
        lay_over(&mut stamps, part, moved.slots);
        if let Some(one) = part.extras.poster.filter(|_| poster.is_none()) {
            poster = Some(PosterFrame { frame: one.frame + begins as u64, ..one });
        }
        axis += shots[at].used();
    }
    let title = own.iter().find_map(|part| part.extras.title.clone());
    let unread =
        own.iter().zip(&reel.shots).find(|(part, _)| !part.sound.is_empty()).map(|(part, _)| part.unread_sound);
    let mut made = first.with_rows(rows);
    made.corrected = own.iter().any(|part| part.corrected);
    made.gathered = gathered;
    made.rooms = rooms.split_off(1);
    made.sound = sound.into();
    made.stamps = stamps.into();
    made.unread_sound = unread.unwrap_or_default();
    (made.extras.title, made.extras.poster, made.extras.chapters) = (title, poster, chapters);
    Some(made)
}

/// What is heard of a shot, at its place in the reel, and as loud as its pictures are there in mixes.
fn heard(passage: &Passage, member: usize, (part, begins): (&DeliveryPlan, usize), mixes: (usize, usize)) -> Passage {
    let seconds = |frames: usize| part.fps.time_of(frames as u64).0;
    let (from, to) = (passage.from + seconds(begins), passage.to + seconds(begins));
    let mixed_in = seconds(begins + mixes.0) - from;
    let mixed_out = to - seconds(begins + part.rows.len() - mixes.1);
    let lasts = to - from;
    let fade_in = if mixes.0 > 0 { passage.fade_in.max(mixed_in.min(lasts)) } else { passage.fade_in };
    let fade_out = if mixes.1 > 0 { passage.fade_out.max(mixed_out.min(lasts)) } else { passage.fade_out };
    Passage { from, to, fade_in, fade_out, member, ..*passage }
}

/// Lays a shot's stamps over the reel: those that look alike are one, with the lines of both.
fn lay_over(stamps: &mut Vec<Stamped>, part: &DeliveryPlan, slots: usize) {
    for stamp in part.stamps.iter() {
        let mut stamp = stamp.clone();
        if let Shows::Text(text) = &mut stamp.shows {
            text.lines = text.lines.moved(slots);
        }
        let alike = |known: &&mut Stamped| known.look() == stamp.look();
        match (stamps.iter_mut().find(alike), &stamp.shows) {
            (Some(Stamped { shows: Shows::Text(known), .. }), Shows::Text(text)) => {
                known.lines = Lines::new(known.lines.each_of().chain(text.lines.each_of()));
            }
            (Some(_), _) => {}
            (None, _) => stamps.push(stamp),
        }
    }
}

/// A picture that is laid over frames stands over all of them: the shots of a reel have the same ones.
fn check_pictures(own: &[&DeliveryPlan], found: &mut Diagnostics) -> Option<()> {
    let pictures = |part: &DeliveryPlan| -> Vec<Stamped> {
        part.stamps.iter().filter(|stamp| matches!(stamp.shows, Shows::Picture(_))).cloned().collect()
    };
    let looks = |stamps: &[Stamped]| stamps.iter().map(Stamped::look).collect::<Vec<_>>();
    let first = pictures(own[0]);
    let Some(other) = own.iter().map(|part| pictures(part)).find(|other| looks(other) != looks(&first)) else {
        return Some(());
    };
    let message =
        format!("a picture stands over all of '{}': every shot of the reel is to have the same ones", own[0].name);
    let place = first.first().or(other.first()).map(|stamp| stamp.place.clone());
    let mistake = Diagnostic::mistake(message)
        .help("write the stamps once, local marks = { stamp { … } }, and stamps = marks in every shot");
    found.push(match place {
        Some(place) => mistake.at(&place).word("stamp"),
        None => mistake,
    });
    None
}

/// What is gathered is no mean, and cannot be mixed as one.
fn check_gathered(reel: &Reel, own: &[&DeliveryPlan], mix: usize, found: &mut Diagnostics) -> Option<()> {
    for (at, (part, shot)) in own.iter().zip(&reel.shots).enumerate() {
        let begins = if at > 0 { mix } else { 0 };
        let ends = if at + 1 < own.len() { part.rows.len() - mix } else { part.rows.len() };
        let mixed = part.rows[..begins].iter().chain(&part.rows[ends..]);
        if mixed.filter_map(|row| row.layers.gathered()).next().is_some() {
            found.push(
                Diagnostic::mistake(format!(
                    "frames of '{}' that gather light cannot be mixed with another shot's",
                    shot.name
                ))
                .at(&reel.mix.place)
                .word("mix")
                .with(&shot.place, "that shot")
                .help("leave mix out: one shot follows the other at once"),
            );
            return None;
        }
    }
    Some(())
}

/// Moves a shot's rows to their place among all.
struct Moved {
    /// The first of its slots.
    slots: usize,
    /// Stills that the shots before it use.
    axis: f64,
    known: BTreeMap<SlotIndex, Arc<Corrected>>,
}

impl Moved {
    fn slot(&self, slot: SlotIndex) -> SlotIndex {
        SlotIndex(slot.0 + self.slots)
    }

    fn still(&mut self, still: &Corrected) -> Arc<Corrected> {
        let slot = self.slot(still.slot);
        Arc::clone(self.known.entry(slot).or_insert_with(|| Arc::new(Corrected { slot, ..still.clone() })))
    }

    fn layer(&mut self, layer: &Layer) -> Layer {
        let stand_in = layer.stand_in.as_deref();
        let stand_in =
            stand_in.map(|other| Box::new(StandIn { still: self.still(&other.still), window: other.window }));
        Layer { still: self.still(&layer.still), window: layer.window, stand_in }
    }

    /// A row whose lists, moved, are these, the first of them with this number.
    fn row(&mut self, row: &Row, lists: &[GatherList], first: usize) -> Row {
        let layers = match &row.layers {
            Layers::One(layer) => Layers::One(self.layer(layer)),
            Layers::Mean(parts) => Layers::Mean(
                parts.iter().map(|part| Weighted { layer: self.layer(&part.layer), weight: part.weight }).collect(),
            ),
            Layers::Between(between) => {
                let [one, other] = &between.layers;
                let layers = [self.layer(one), self.layer(other)];
                Layers::Between(Box::new(Between { layers, way: between.way }))
            }
            Layers::Gathered(own) => Layers::Gathered(Gathered {
                list: Arc::clone(&lists[own.number]),
                number: first + own.number,
                ..own.clone()
            }),
        };
        let (slot, shown, stand_in) =
            (self.slot(row.slot), self.slot(row.shown), row.stand_in.map(|slot| self.slot(slot)));
        Row { position: row.position + self.axis, slot, shown, stand_in, window: row.window, layers }
    }
}

/// Mixes the `n`-th of the frames of a mix, from 1, into what was there of the shot before; gives the window of the one of
/// both whose place the row is not.
fn mix_in(before: &mut Row, after: Row, n: usize, frames: usize) -> Window {
    let whole = u64::from(Share::WHOLE);
    let later = (whole * n as u64 + (frames as u64).div_ceil(2)) / (frames as u64 + 1);
    let sides = [(&before.layers, whole - later), (&after.layers, later)];
    let mut parts: Vec<Weighted> = Vec::new();
    for (layers, due) in sides {
        let begins = parts.len();
        for (layer, weight) in layers.each() {
            let weight = u32::try_from(u64::from(weight) * due / whole).unwrap_or(Share::WHOLE);
            parts.push(Weighted { layer: layer.clone(), weight });
        }
        let own = &mut parts[begins..];
        let given: u64 = own.iter().map(|part| u64::from(part.weight)).sum();
        if let Some(most) = own.iter_mut().max_by_key(|part| part.weight) {
            most.weight += u32::try_from(due - given).unwrap_or(0);
        }
    }
    parts.retain(|part| part.weight > 0);
    parts.sort_by_key(|part| part.layer.slot());
    let layers = match &parts[..] {
        [alone] => Layers::One(alone.layer.clone()),
        _ => Layers::Mean(parts),
    };
    let (row, lesser) = if later > whole / 2 { (after, before.window) } else { (before.clone(), after.window) };
    *before = Row { layers, ..row };
    lesser
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(slot: usize) -> Row {
        Row::plain(SlotIndex(slot), Window::new(0.0, 0.0, 16.0, 9.0))
    }

    #[test]
    fn the_frames_of_a_mix_go_over_evenly_and_all_weights_add_up() {
        for frames in [1, 2, 3, 24, 25, 100, 65_535] {
            let mut last = 0;
            let some = std::collections::BTreeSet::from([1, 2.min(frames), (frames / 2).max(1), frames]);
            for n in some {
                let mut mixed = row(3);
                mix_in(&mut mixed, row(7), n, frames);
                let shares: Vec<Share> = mixed.shares().collect();
                assert_eq!(shares.iter().map(|share| share.weight).sum::<u32>(), Share::WHOLE);
                let later = shares.iter().find(|share| share.shown == SlotIndex(7)).unwrap().weight;
                let due = n as f64 / (frames + 1) as f64;
                assert!((f64::from(later) / f64::from(Share::WHOLE) - due).abs() <= 0.5 / f64::from(Share::WHOLE));
                assert!(later >= last);
                last = later;
            }
        }
    }

    #[test]
    fn what_is_mixed_of_several_stills_keeps_their_proportions() {
        let part = |slot: usize, weight| Weighted { layer: row(slot).foremost().unwrap().clone(), weight };
        let before = Layers::Mean(vec![part(1, Share::WHOLE / 4), part(2, 3 * (Share::WHOLE / 4))]);
        let mut mixed = Row { layers: before, ..row(1) };
        mix_in(&mut mixed, row(9), 1, 3);
        let weights: Vec<(usize, u32)> = mixed.shares().map(|share| (share.shown.0, share.weight)).collect();
        // Three quarters of each, and a quarter of the other.
        assert_eq!(weights, [(1, 12_288), (2, 36_864), (9, 16_384)]);
    }
}

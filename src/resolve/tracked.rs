//! Subjects that are found in every still: what is to be looked for, and where it is by the places of the axis.
//!
//! ## Decisions
//!
//! - Nothing is tracked across a break (`breaks`), nor in what `from`, `to` and cuts leave out: each side needs a key
//!   of its own, or `across = true` in the source.
//! - Boxes are over the first view where the shot is steadied, as those of keys are.
//! - A box that is held where the subject is lost grows by a tenth of its sides a still, up to twice; one that is
//!   hardly sure by up to a quarter. A cover is never smaller than its nearest key, and larger by a tenth in every still but
//!   its keys' (our choices).
//! - A cover that loses what it hides is a mistake before the first frame, unless the script says how long it may be
//!   held: a frame that shows what was to be hidden cannot be taken back.

use kurbo::Rect;

use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::plan::Steadying;
use crate::shoot::Shoot;
use crate::shot::{Cover, CoverArea, Framing, FramingKey, Moment, Path, Shot, StillBox, Tracked, TrackedBy, View};
use crate::track::{Found, Spot, SpotState, Table, Task, Tracking, Unfit, between, overlap};
use crate::units::SlotIndex;

use super::axis::Axis;
use super::moments::Moments;
use super::tables;
use super::times::{Times, number};

/// Growth of a held box a still, of its sides, and the most of it.
const A_STILL: f64 = 0.1;
const MOST_GROWN: f64 = 1.0;
/// Growth of a box of which nothing is sure.
const UNSURE: f64 = 0.25;
/// Growth of every box of a cover that no key gives.
const COVERED: f64 = 0.1;
/// Confidence below which a person should look.
const HARDLY: f64 = 0.3;
/// Overlap from which on a table and a key say the same.
const AGREES: f64 = 0.5;
/// Stretches of stills that are named one by one.
const NAMED: usize = 4;

/// A subject of a shot, by all that says where it is: lines alone do not tell two covers of one loop apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// The line that asks for it.
    pub place: Place,
    /// `follow` or `cover`.
    pub word: &'static str,
    by: TrackedBy,
    keys: Vec<(Moment, StillBox)>,
}

/// Where a subject was found.
#[derive(Debug, Clone)]
pub struct FoundAt {
    /// Which it is.
    pub wanted: Wanted,
    /// Where it was found.
    pub found: Found,
    /// The still whose view its boxes lie over, where that was looked for in a steadied shot.
    pub over: Option<SlotIndex>,
}

/// Something of a shot that is tracked.
pub(super) struct Asked<'a> {
    place: &'a Place,
    pub(super) word: &'static str,
    track: &'a Tracked,
    keys: Vec<(&'a Place, &'a Moment, StillBox)>,
    /// The cover that asks for it.
    cover: Option<&'a Cover>,
}

impl Wanted {
    /// The table that says where it is, where one does.
    #[must_use]
    pub fn table(&self) -> Option<&str> {
        match &self.by {
            TrackedBy::Table(path) => Some(path),
            TrackedBy::Measured => None,
        }
    }
}

impl<'a> Asked<'a> {
    /// All that is tracked in a shot: what is followed, then what is covered.
    pub(super) fn all(shot: &'a Shot) -> Vec<Self> {
        let framings =
            std::iter::once(&shot.framing).chain(shot.deliveries.iter().filter_map(|one| one.framing.as_ref()));
        let mut all: Vec<Self> = Vec::new();
        for framing in framings {
            let Path::Follow(follow) = &framing.path else { continue };
            let Some(track) = &follow.track else { continue };
            let one = Self { place: &framing.place, word: "follow", track, keys: keys_of(framing), cover: None };
            if all.iter().all(|other| other.wanted() != one.wanted()) {
                all.push(one);
            }
        }
        all.extend(shot.covers.iter().filter_map(Self::cover));
        all
    }

    fn cover(cover: &'a Cover) -> Option<Self> {
        let (track, CoverArea::Keyed(keys)) = (cover.track.as_ref()?, &cover.area) else { return None };
        let keys = keys.iter().map(|key| (&key.place, &key.at, key.area)).collect();
        Some(Self { place: &cover.place, word: "cover", track, keys, cover: Some(cover) })
    }

    /// Which it is.
    fn wanted(&self) -> Wanted {
        let keys = self.keys.iter().map(|(_, at, area)| ((*at).clone(), *area)).collect();
        Wanted { place: self.place.clone(), word: self.word, by: self.track.by.clone(), keys }
    }
}

/// The boxes of a follow.
fn keys_of(framing: &Framing) -> Vec<(&Place, &Moment, StillBox)> {
    let key = |key: &FramingKey| match &key.view {
        View::Subject { area } => Some(*area),
        _ => None,
    };
    framing.keys.iter().filter_map(|one| Some((&one.place, &one.at, key(one)?))).collect()
}

/// What a follow tracks.
pub(super) fn of_follow(framing: &Framing, known: &[FoundAt], axis: &Axis) -> Option<Sighted> {
    let Path::Follow(follow) = &framing.path else { return None };
    let asked = Asked {
        place: &framing.place,
        word: "follow",
        track: follow.track.as_ref()?,
        keys: keys_of(framing),
        cover: None,
    };
    sighted(&asked.wanted(), known, axis)
}

/// What a cover tracks.
pub(super) fn of_cover(cover: &Cover, known: &[FoundAt], axis: &Axis) -> Option<Sighted> {
    sighted(&Asked::cover(cover)?.wanted(), known, axis)
}

/// The tables of boxes that a shot names, each with the line that does.
#[must_use]
pub fn tables_named(shot: &Shot) -> Vec<(Wanted, String)> {
    let named = |one: Asked<'_>| match &one.track.by {
        TrackedBy::Table(path) => Some((one.wanted(), path.clone())),
        TrackedBy::Measured => None,
    };
    Asked::all(shot).into_iter().filter_map(named).collect()
}

/// Whether a shot goes by what looking for subjects finds.
#[must_use]
pub fn tracks(shot: &Shot) -> bool {
    Asked::all(shot).iter().any(|one| one.track.by == TrackedBy::Measured)
}

/// What is to be looked for, and of each which it is, with the still whose view its boxes lie over.
pub type ToTrack = (Tracking, Vec<(Wanted, Option<SlotIndex>)>);

/// What is to be looked for in the stills of a shot, where those stand so, each with the still whose view its boxes lie
/// over; nothing where the shot is refused anyhow.
///
/// # Errors
/// Keys that lie on no whole still.
pub fn to_track(
    shot: &Shot,
    shoot: &Shoot,
    stands: Option<&[Option<crate::register::Pose>]>,
) -> Result<ToTrack, Diagnostics> {
    let mut said = Diagnostics::default();
    let times = Times::of(shot, shoot, &mut said);
    let Ok(axis) = Axis::lay_out(shot, shoot, &times, &mut said) else { return Ok(Default::default()) };
    let moments = Moments { shoot, axis: &axis, times: &times };
    let steady = super::steady::resolve(shot, shoot, &axis, stands, &mut said);
    let mut found = Diagnostics::default();
    let (mut tasks, mut wanted) = (Vec::new(), Vec::new());
    for one in Asked::all(shot).into_iter().filter(|one| one.track.by == TrackedBy::Measured) {
        let mut keys: Vec<(usize, Rect)> = Vec::new();
        for (place, at, area) in &one.keys {
            let Ok(position) = moments.of_subject(at) else { continue };
            let on = axis.places[place_at(position, &axis)];
            if on.slot != on.shown {
                let name = &shoot.slots[on.slot.0].name;
                let mistake =
                    Diagnostic::mistake(format!("{name} is missing or damaged: nothing can be tracked from it"));
                found.push(
                    mistake
                        .at(place)
                        .word("at")
                        .help(format!("put the key on a whole still: at = still({})", on.shown.0 + 1)),
                );
                continue;
            }
            keys.push((on.slot.0, Rect::new(area.x, area.y, area.x + area.width, area.y + area.height)));
        }
        keys.sort_by_key(|(slot, _)| *slot);
        keys.dedup_by_key(|(slot, _)| *slot);
        tasks.push(Task { keys });
        wanted.push((one.wanted(), steady.as_ref().map(|steady| steady.first)));
    }
    let mut sides = Vec::new();
    let mut place = 0;
    while place < axis.places.len() {
        let side = axis.side_of(place);
        place = side.end.max(place + 1);
        let own = axis.places[side].iter().filter(|place| place.slot == place.shown).map(|place| place.slot.0);
        sides.push(own.collect());
    }
    let stands = steady.map(|steady| steady.stands);
    if found.refused() { Err(found) } else { Ok((Tracking { tasks, sides, stands }, wanted)) }
}

/// The place of the axis that a position lies in.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the axis")]
fn place_at(position: f64, axis: &Axis) -> usize {
    (position.max(0.0) as usize).min(axis.places.len() - 1)
}

/// What a table of boxes says of a shoot.
///
/// # Errors
/// A table that is of other stills than the shoot's, or of none.
pub fn found_in(table: &Table, wanted: Wanted, shoot: &Shoot) -> Result<FoundAt, Diagnostic> {
    let place = &wanted.place;
    let mut spots = vec![None; shoot.slots.len()];
    for line in &table.lines {
        tables::check_line(shoot, (line.slot, &line.name), ("boxes", "render"), place)
            .map_err(|mistake| mistake.word("track"))?;
        spots[line.slot] = Some(line.spot);
    }
    if table.lines.is_empty() {
        let mistake = Diagnostic::mistake("the table of boxes has no line").at(place).word("track");
        return Err(mistake.help("track = true looks for it, and a render writes such a table"));
    }
    Ok(FoundAt { wanted, found: Found { spots, ..Found::default() }, over: None })
}

/// A subject by the places of the axis.
#[derive(Debug, Clone)]
pub(super) struct Sighted {
    /// In fractions of the still.
    spots: Vec<Spot>,
    /// By place, how many stills away the nearest one is in which it was seen; 0 there.
    away: Vec<usize>,
    /// Boxes of the nearest keys.
    keyed: Vec<Rect>,
}

/// What is tracked in one line, by the places of the axis: nothing where it is not known, as before anybody has looked.
fn sighted(wanted: &Wanted, known: &[FoundAt], axis: &Axis) -> Option<Sighted> {
    let found = &known.iter().find(|one| one.wanted == *wanted)?.found;
    let spots: Vec<Option<Spot>> =
        axis.places.iter().map(|place| found.spots.get(place.shown.0).copied().flatten()).collect();
    let seen: Vec<usize> =
        (0..spots.len()).filter(|at| spots[*at].is_some_and(|spot| spot.state != SpotState::Lost)).collect();
    let keys: Vec<usize> =
        (0..spots.len()).filter(|at| spots[*at].is_some_and(|spot| spot.state == SpotState::Keyed)).collect();
    let any: Vec<usize> = (0..spots.len()).filter(|at| spots[*at].is_some()).collect();
    let nearest = |among: &[usize], at: usize| {
        let next = among.partition_point(|other| *other < at);
        let (before, after) = (next.checked_sub(1).map(|before| among[before]), among.get(next).copied());
        [before, after].into_iter().flatten().min_by_key(|other| other.abs_diff(at))
    };
    let held = |at: usize| -> Option<Spot> {
        let next = any.partition_point(|other| *other < at);
        let (before, after) = (next.checked_sub(1).map(|before| any[before]), any.get(next).copied());
        let area = match (before, after) {
            (Some(before), Some(after)) => {
                let share = number(at - before) / number(after - before);
                between(spots[before]?.area, spots[after]?.area, share)
            }
            (Some(one), None) | (None, Some(one)) => spots[one]?.area,
            (None, None) => return None,
        };
        Some(Spot { area, confidence: 0.0, state: SpotState::Lost })
    };
    let whole: Option<Vec<Spot>> = (0..spots.len()).map(|at| spots[at].or_else(|| held(at))).collect();
    let away = (0..spots.len()).map(|at| nearest(&seen, at).map_or(usize::MAX, |near| near.abs_diff(at))).collect();
    let area = |at: usize| nearest(&keys, at).and_then(|key| spots[key]).map(|spot| spot.area);
    let whole = whole?;
    let keyed = (0..whole.len()).map(|at| area(at).unwrap_or(whole[at].area)).collect();
    Some(Sighted { spots: whole, away, keyed })
}

impl Sighted {
    /// The place of a position.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the axis")]
    pub(super) fn place(&self, position: f64) -> usize {
        (position.max(0.0) as usize).min(self.spots.len() - 1)
    }

    /// What is known at a place.
    pub(super) fn spot(&self, place: usize) -> Spot {
        self.spots[place]
    }

    /// The box at a place, in fractions of the still: wider where that is in doubt.
    pub(super) fn area(&self, place: usize) -> Rect {
        let spot = self.spots[place];
        match spot.state {
            SpotState::Keyed => spot.area,
            SpotState::Seen => grown(spot.area, UNSURE * (1.0 - spot.confidence / 0.5).clamp(0.0, 1.0)),
            SpotState::Doubted => grown(spot.area, UNSURE),
            SpotState::Lost => grown(spot.area, (A_STILL * number(self.away[place])).min(MOST_GROWN)),
        }
    }

    /// The box of a cover at a place: never smaller than its nearest key.
    pub(super) fn cover(&self, place: usize) -> Rect {
        let (area, key) = (self.area(place), self.keyed[place]);
        if self.spots[place].state == SpotState::Keyed {
            return area;
        }
        let size = (area.width().max(key.width()), area.height().max(key.height()));
        grown(Rect::from_center_size(area.center(), size), COVERED)
    }

    /// Stretches of places of which that is true.
    fn stretches(&self, is: impl Fn(&Spot) -> bool, within: impl Fn(usize) -> bool) -> Vec<std::ops::Range<usize>> {
        let mut found: Vec<std::ops::Range<usize>> = Vec::new();
        for (at, _) in self.spots.iter().enumerate().filter(|(at, spot)| is(spot) && within(*at)) {
            match found.last_mut() {
                Some(last) if last.end == at => last.end = at + 1,
                _ => found.push(at..at + 1),
            }
        }
        found
    }
}

/// A box with so much of its sides more, half of it on each side.
fn grown(area: Rect, share: f64) -> Rect {
    area.inflate(area.width() * share / 2.0, area.height() * share / 2.0)
}

/// Says of all that is tracked where it is lost, hardly sure, or cannot be; `covered` says of a line's place of the
/// axis whether its cover hides anything there.
pub(super) fn remark(
    shot: &Shot,
    (moments, steady): (&Moments<'_>, Option<&Steadying>),
    known: &[FoundAt],
    covered: impl Fn(&Cover, SlotIndex) -> bool,
    found: &mut Diagnostics,
) {
    let (shoot, axis) = (moments.shoot, moments.axis);
    for one in Asked::all(shot) {
        let wanted = one.wanted();
        let own = known.iter().find(|known| known.wanted == wanted);
        let Some(sighted) = sighted(&wanted, known, axis) else {
            if own.is_some() {
                let message = "the table of boxes says nothing of the stills that are used";
                found.push(
                    Diagnostic::mistake(message)
                        .at(one.place)
                        .word("track")
                        .help("track = true looks for it in these, and a render writes such a table"),
                );
            }
            continue;
        };
        found.0.extend(own.and_then(|own| over_another_view(&one, own, steady, shoot)));
        if let TrackedBy::Table(_) = one.track.by {
            found.0.extend(elsewhere(&one, &sighted, moments));
        }
        if let Some(of) = own.map(|known| &known.found) {
            unfit(&one, of, shoot, found);
            let still = |slot: &usize| format!("still({})", slot + 1);
            for (from, to) in &of.apart {
                let message = format!(
                    "tracked from {} it is elsewhere in {}, and back: the two keys may show different things",
                    still(from),
                    still(to)
                );
                found.push(Diagnostic::remark(message).at(one.place).word("track").help(format!(
                    "look at both, and put another key between them: key {{ at = still({}), box(…) }}",
                    (from + to) / 2 + 1
                )));
            }
            for slot in &of.twins {
                let message = format!(
                    "beside the box in {} something looks the same: which of them is seen later is hardly sure",
                    still(slot)
                );
                found.push(
                    Diagnostic::remark(message)
                        .at(one.place)
                        .word("track")
                        .help("a box that takes in what tells it apart, and more keys"),
                );
            }
        }
        let within = |at: usize| one.cover.is_none_or(|cover| covered(cover, axis.places[at].slot));
        // A cover that may lie over something else hides nothing for sure.
        let is_lost = |spot: &Spot| match spot.state {
            SpotState::Lost => true,
            SpotState::Doubted => one.word == "cover",
            SpotState::Keyed | SpotState::Seen => false,
        };
        let lost = sighted.stretches(is_lost, within);
        let most = one.track.held.map_or(usize::MAX, |held| usize::try_from(held).unwrap_or(usize::MAX));
        let long = lost.iter().filter(|stretch| stretch.len() > most).count();
        if let Some(first) = lost.iter().find(|stretch| long == 0 || stretch.len() > most) {
            found.push(lost_in(&one, &lost, first, long > 0, axis));
        }
        let parted = sighted.stretches(|spot| spot.state == SpotState::Doubted && !is_lost(spot), within);
        if !parted.is_empty() {
            let message = format!("what is tracked may be something else in {}", named(&parted, axis));
            found.push(Diagnostic::remark(message).at(one.place).word("track").help(format!(
                "look there, and correct it: key {{ at = still({}), box(…) }}",
                axis.places[parted[0].start].slot.0 + 1
            )));
        }
        let unsure = sighted.stretches(|spot| spot.state == SpotState::Seen && spot.confidence < HARDLY, within);
        if !unsure.is_empty() {
            let message = format!("what is tracked is hardly sure in {}", named(&unsure, axis));
            found.push(Diagnostic::remark(message).at(one.place).word("track").help(format!(
                "look there, and correct it: key {{ at = still({}), box(…) }}",
                axis.places[unsure[0].start].slot.0 + 1
            )));
        }
    }
}

/// Boxes that were found over another first view than frames have now: one still of it has turned out damaged since.
fn over_another_view(one: &Asked<'_>, own: &FoundAt, steady: Option<&Steadying>, shoot: &Shoot) -> Option<Diagnostic> {
    let (before, now) = (own.over?, steady?.first);
    (before != now).then(|| {
        let [before, now] = [before, now].map(|slot| &shoot.slots[slot.0].name);
        Diagnostic::mistake(format!("what is tracked was found over the view of {before}, and frames begin with {now}"))
            .at(one.place)
            .word("track")
            .help("give the same command again: it is looked for anew")
    })
}

/// Keys of the script that a table contradicts: it goes before them, and one that was added to correct it does nothing.
fn elsewhere(one: &Asked<'_>, sighted: &Sighted, moments: &Moments<'_>) -> Vec<Diagnostic> {
    let differs = |(place, at, area): &(&Place, &Moment, StillBox)| {
        let on = place_at(moments.of_subject(at).ok()?, moments.axis);
        let key = Rect::new(area.x, area.y, area.x + area.width, area.y + area.height);
        (overlap(sighted.spot(on).area, key) < AGREES).then(|| {
            let still = moments.axis.places[on].slot.0 + 1;
            Diagnostic::mistake(format!(
                "the table of boxes has what is tracked elsewhere than this key, in still({still})"
            ))
            .at(place)
            .word("key")
            .help("edit its line in the table, or the key, until they agree")
            .help("or track = true looks for it anew, from the keys")
        })
    };
    one.keys.iter().filter_map(differs).collect()
}

/// What is said where a subject is lost; a mistake where it must not be.
fn lost_in(
    one: &Asked<'_>,
    lost: &[std::ops::Range<usize>],
    first: &std::ops::Range<usize>,
    refused: bool,
    axis: &Axis,
) -> Diagnostic {
    let at = axis.places[first.start].slot.0 + 1;
    let longest = lost.iter().map(std::ops::Range::len).max().unwrap_or(0);
    let what = if one.word == "cover" { "what this cover hides" } else { "the subject" };
    let message = format!("{what} is lost in {}", named(lost, axis));
    let key = match one.track.by {
        TrackedBy::Measured => format!("where it is there: key {{ at = still({at}), box(…) }}"),
        TrackedBy::Table(_) => format!("where it is there: the line of still({at}) in the table, with keyed or seen"),
    };
    match (one.word, refused) {
        ("cover", true) => Diagnostic::mistake(format!("{message}: nothing says where it is to be hidden"))
            .at(one.place)
            .word("track")
            .help(key)
            .help("to = still(…) where it has left, and a cover of its own where it comes back")
            .help(format!("or held = {longest} holds the box there, wider and wider: watch it over its whole length")),
        ("cover", false) => Diagnostic::remark(format!("{message}: its box is held there, wider and wider"))
            .at(one.place)
            .word("track")
            .help("watch this cover over its whole length"),
        (_, true) => Diagnostic::mistake(message)
            .at(one.place)
            .word("track")
            .help(key)
            .help("or lost = \"hold\" holds its box there, wider and wider"),
        _ => Diagnostic::remark(format!("{message}: its box is held there, wider and wider"))
            .at(one.place)
            .word("track")
            .help(key),
    }
}

/// `still(3) to still(9), still(20) and 2 more stretches`.
fn named(stretches: &[std::ops::Range<usize>], axis: &Axis) -> String {
    let still = |place: usize| format!("still({})", axis.places[place].slot.0 + 1);
    let one = |stretch: &std::ops::Range<usize>| match stretch.len() {
        1 => still(stretch.start),
        _ => format!("{} to {}", still(stretch.start), still(stretch.end - 1)),
    };
    let mut words: Vec<String> = stretches.iter().take(NAMED).map(one).collect();
    if stretches.len() > NAMED {
        words.push(format!("and {} more", stretches.len() - NAMED));
    }
    words.join(", ")
}

/// Keys that nothing can be tracked from.
fn unfit(one: &Asked<'_>, of: &Found, shoot: &Shoot, found: &mut Diagnostics) {
    for (slot, why) in &of.unfit {
        let still = format!("still({})", slot + 1);
        let (message, help) = match why {
            Unfit::Plain => (
                format!("there is nothing in the box in {still} by which it could be known again"),
                "a box around something with edges or patterns; or two keys without track",
            ),
            Unfit::Fills => (
                format!("the box in {still} nearly fills the still: there is nowhere to look for it"),
                "a smaller box; or two keys without track",
            ),
            Unfit::Tiny => (
                format!("the box in {still} is too small for the size at which stills are looked at"),
                "a larger box, around more of the same thing; or two keys without track",
            ),
            Unfit::Damaged => (
                format!("{} cannot be decoded: nothing can be tracked from it", shoot.slots[*slot].name),
                "put the key on another still",
            ),
        };
        found.push(Diagnostic::mistake(message).at(one.place).word("track").help(help));
    }
}

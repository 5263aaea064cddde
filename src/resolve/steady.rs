//! Steadying: where a shot's stills stand, the room that is left, and what a person should know of it.
//!
//! Windows are laid out over the first view, which is that of the first still the shot may show; they keep to the room
//! that all of its stills have in common there. What is painted of a still is the window as it lies over that still.
//!
//! ## Decisions
//!
//! - The *first view* is how the camera stood at the first still that the shot may show, so `from` decides it. Rows
//!   have the window over it; `DeliveryPlan::window` is what is painted of each of the row's stills, so a mean is
//!   registered, and what is invented is measured on both stills through their own windows.
//! - Stands in a table are against the shoot's first view whatever part is used. A still without a stand stands on the
//!   straight way between its neighbours; a cover hides what it would hide from where both neighbours stand as well.
//! - Nothing is measured across a break (`breaks`) but where the camera stands: no sag and no noise is smoothed over it,
//!   and a still without a stand stands as the nearest of its own side.
//! - Room takes the still's place wherever windows are kept inside, in bends and follows too. Speeds, zooms and remarks
//!   are of the first view. Less than 0.9 of a side is refused (our choice; `room`).
//! - A turn that moves no corner by more than 0.03 pixels counts as none, so that the upright painter is used. Covered
//!   boxes that go along grow to the upright box around them and by half a pixel, before they grow to the squares of
//!   their file.

use std::collections::BTreeSet;

use super::axis::Axis;
use super::tables;
use super::words::{self, Ranges};
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Room;
use crate::level::Region;
use crate::plan::Steadying;
use crate::register::{self, Pose, Solved, Table};
use crate::shoot::Shoot;
use crate::shot::{Shot, Steady, SteadyBy};
use crate::units::{Size, SlotIndex};

/// Turns that move no corner of the still by more than this many pixels are none: what is painted upright is painted
/// faster, and no eye sees the difference.
const UNTURNED: f64 = 0.03;

/// Where less of the picture shows any texture, and the camera went farther than so many pixels, it may not have been the
/// camera.
const TEXTURED: f64 = 0.6;
const FAR: f64 = 5.0;

/// Room lost on a side, in pixels, that is not worth a word.
const UNSAID: f64 = 0.005;

/// What windows keep to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounds {
    /// The upright still: what fractions and pixels of a script are of.
    pub(super) still: Size,
    /// Where windows may be.
    pub(super) room: Room,
}

impl Bounds {
    /// The whole still, or what steadying leaves of it.
    pub(super) fn of(still: Size, steady: Option<&Steadying>) -> Self {
        Self { still, room: steady.map_or(still.into(), |steady| steady.room) }
    }

    /// What it is called in messages.
    pub(super) fn words(self) -> &'static str {
        if self.room == self.still.into() { "the still" } else { "what all steadied stills show" }
    }
}

/// The stands of a shoot's slots by a table: none for stills it does not list.
///
/// # Errors
/// A table that is of other stills than the shoot's.
pub fn stands_of(table: &Table, wanted: &Steady, shoot: &Shoot) -> Result<Vec<Option<Pose>>, Diagnostic> {
    let mut stands = vec![None; shoot.slots.len()];
    for line in &table.lines {
        tables::check_line(shoot, (line.slot, &line.name), ("stands", "steady"), &wanted.place)?;
        stands[line.slot] = Some(line.stand);
    }
    Ok(stands)
}

/// The stands of a shoot's slots as they were measured: none for stills that could not be placed. With what a person
/// should know of it.
#[must_use]
pub fn stands_measured(solved: &Solved, shot: &Shot, shoot: &Shoot) -> (Vec<Option<Pose>>, Diagnostics) {
    let unplaced: BTreeSet<usize> = solved.unplaced.iter().map(|(slot, _)| *slot).collect();
    let known = |slot: usize| !unplaced.contains(&slot) && shoot.still(SlotIndex(slot)).is_some();
    let stands = solved.stands.iter().enumerate().map(|(slot, stand)| known(slot).then_some(*stand)).collect();
    let mut found = Diagnostics::default();
    let Some(wanted) = &shot.steady else { return (stands, found) };
    let name = |slot: usize| shoot.slots[slot].name.as_str();
    let mut say = |message: String| found.push(Diagnostic::remark(message).at(&wanted.place).word("steady"));
    let far = |bump: &register::Bump| bump.by.x.hypot(bump.by.y);
    if let Some(worst) = solved.bumps.iter().max_by(|one, other| far(one).total_cmp(&far(other))) {
        let turned = if worst.by.turn.abs() < 0.0005 {
            String::new()
        } else {
            format!(", turned by {} degrees", words::figure(worst.by.turn))
        };
        say(format!(
            "{} of the camera undone, the largest before {}: {} px across and {} px down{turned}",
            words::count(solved.bumps.len(), "bump"),
            name(worst.at),
            words::figure(worst.by.x),
            words::figure(worst.by.y)
        ));
    }
    for sag in &solved.sags {
        say(format!(
            "slow movement of the camera undone from {} to {}: {} px across and {} px down",
            name(sag.from),
            name(sag.to),
            words::figure(sag.by.x),
            words::figure(sag.by.y)
        ));
    }
    for shaking in &solved.shaking {
        say(format!(
            "shaking of the camera undone from {} to {}: {} px from where it stands, root mean square",
            name(shaking.from),
            name(shaking.to),
            words::figure(shaking.rms)
        ));
    }
    for view in &solved.views {
        let how = if view.enlarged { ", enlarged or made smaller" } else { "" };
        say(format!("the view changes at {}{how}: what follows is steadied separately", name(view.at)));
    }
    for rival in &solved.rivals {
        found.push(moves_by_itself(rival, wanted, shoot));
    }
    let farthest = solved.stands.iter().map(|stand| stand.x.hypot(stand.y)).fold(0.0, f64::max);
    if solved.textured < TEXTURED && farthest > FAR {
        let message = format!(
            "only {:.0} % of the picture shows enough texture to tell how the camera lies, and that moved by up to {} px",
            100.0 * solved.textured,
            words::figure(farthest)
        );
        found.push(Diagnostic::remark(message).at(&wanted.place).word("steady").help(
            "if it is not the camera that moved: steady = { region = box(x, y, width, height) } measures only where \
             nothing else moves, or leave steady out",
        ));
    }
    (stands, found)
}

/// Something large that moved beside the camera: it was left out, and how to say so.
fn moves_by_itself(rival: &register::Rival, wanted: &Steady, shoot: &Shoot) -> Diagnostic {
    let [first, last] = rival.stills.map(|slot| shoot.slots[slot].name.as_str());
    let message = format!(
        "something moves by itself in {:.0} % of the picture, between {first} and {last}: the camera is steadied by the rest",
        100.0 * rival.share
    );
    let remark = Diagnostic::remark(message).at(&wanted.place).word("steady");
    match rival.beside {
        Some(Region { x, y, width, height }) => {
            // Inwards, to a hundredth.
            let [left, top] = [x, y].map(|at| (at * 100.0).ceil() / 100.0);
            let [across, down] =
                [(x + width, left), (y + height, top)].map(|(end, from)| ((end - from) * 100.0).floor() / 100.0);
            remark.help(format!(
                "steady = {{ region = box({left:.2}, {top:.2}, {across:.2}, {down:.2}) }} measures beside it only"
            ))
        }
        None => remark.help("steady = { region = box(x, y, width, height) } measures only where nothing else moves"),
    }
}

/// How a shot is steadied whose stills stand so, by slot; none where it does not ask for that. Too little room is a
/// mistake in `found`, and all of the still is left meanwhile.
pub(super) fn resolve(
    shot: &Shot,
    shoot: &Shoot,
    axis: &Axis,
    stands: Option<&[Option<Pose>]>,
    found: &mut Diagnostics,
) -> Option<Steadying> {
    let (wanted, stands) = (shot.steady.as_ref()?, stands?);
    let table = register::filled(stands, &axis.sides);
    let stand = |slot: SlotIndex| table.get(slot.0).copied().unwrap_or(Pose::STILL);
    let used: BTreeSet<SlotIndex> =
        axis.places.iter().flat_map(|place| std::iter::once(place.shown).chain(place.stand_in)).collect();
    let first = axis.places.first()?.shown;
    let view = View { still: shoot.size, first: stand(first) };
    let unplaced: Vec<SlotIndex> =
        (0..shoot.slots.len()).map(SlotIndex).filter(|slot| stands.get(slot.0).is_none_or(Option::is_none)).collect();
    remark_unplaced(wanted, shoot, unplaced.iter().filter(|slot| used.contains(slot)), found);
    let from_here: Vec<Pose> = (0..shoot.slots.len()).map(|slot| view.sees(stand(SlotIndex(slot)))).collect();
    let room = register::room(shoot.size, used.iter().map(|slot| from_here[slot.0]));
    let room = match room.filter(|room| share_left(*room, shoot.size) >= wanted.room) {
        Some(room) => {
            remark_lost(wanted, (shoot.size, room), &shoot.slots[first.0].name, found);
            room
        }
        None => {
            let used: Vec<SlotIndex> = used.into_iter().collect();
            found.push(too_little(wanted, shoot, &used, &|slot| stand(slot), room));
            shoot.size.into()
        }
    };
    let place = wanted.place.clone();
    Some(Steadying { place, first, stands: from_here, unplaced, room, still: shoot.size, table })
}

/// The view that stands are told against.
struct View {
    still: Size,
    first: Pose,
}

impl View {
    fn sees(&self, stand: Pose) -> Pose {
        stand.seen_from(self.first).upright_within(self.still, UNTURNED)
    }
}

/// The lesser of the shares of a still's width and height that a room leaves.
fn share_left(room: Room, still: Size) -> f64 {
    (room.width() / f64::from(still.width)).min(room.height() / f64::from(still.height))
}

fn remark_unplaced<'a>(
    wanted: &Steady,
    shoot: &Shoot,
    unplaced: impl Iterator<Item = &'a SlotIndex>,
    found: &mut Diagnostics,
) {
    let mut ranges = Ranges::default();
    unplaced.for_each(|slot| ranges.add(slot.0));
    if ranges.is_empty() {
        return;
    }
    let named = ranges.named(|slot| shoot.slots[slot].name.clone());
    let count = words::count(ranges.len(), "still");
    let (why, word) = match wanted.by {
        SteadyBy::Table(_) => ("not in the table of stands", "curve"),
        SteadyBy::Measured { .. } => ("that could not be placed", "steady"),
    };
    let stand = if ranges.len() == 1 { "stands" } else { "stand" };
    let message = format!("{count} {why} {stand} between those before and after: {named}");
    found.push(Diagnostic::remark(message).at(&wanted.place).word(word));
}

/// `12.3 px at the left and 4 px at the top, 0.31 % of the width and 0.13 % of the height`.
fn lost(still: Size, room: Room) -> Option<String> {
    let whole = Room::from(still);
    let sides = [
        (room.left, "left"),
        (whole.right - room.right, "right"),
        (room.top, "top"),
        (whole.bottom - room.bottom, "bottom"),
    ];
    let said: Vec<String> = sides
        .into_iter()
        .filter(|(lost, _)| *lost > UNSAID)
        .map(|(lost, side)| format!("{} px at the {side}", words::figure_above(lost)))
        .collect();
    let percent = |left: f64, of: f64| words::figure_above(((1.0 - left / of) * 100.0).max(0.0));
    let (across, down) = (percent(room.width(), whole.width()), percent(room.height(), whole.height()));
    (!said.is_empty()).then(|| format!("{}, {across} % of the width and {down} % of the height", words::list(&said)))
}

fn remark_lost(wanted: &Steady, (still, room): (Size, Room), first: &str, found: &mut Diagnostics) {
    let Some(lost) = lost(still, room) else { return };
    let message = format!(
        "steadying takes {lost}: zoom = 1 is the largest window inside what is left; plans, drawings, diff and the live page \
         show windows over the view of {first}, the first still, and what is painted moves along with the camera"
    );
    found.push(Diagnostic::remark(message).at(&wanted.place).word("steady"));
}

/// The mistake of stills that have too little in common, with what leaves enough.
fn too_little(
    wanted: &Steady,
    shoot: &Shoot,
    used: &[SlotIndex],
    stand: &dyn Fn(SlotIndex) -> Pose,
    room: Option<Room>,
) -> Diagnostic {
    let still = shoot.size;
    let least = words::figure(100.0 * (1.0 - wanted.room));
    let lost = room.and_then(|room| lost(still, room));
    let lost = lost.unwrap_or_else(|| "all of the still".to_owned());
    let message = format!("steadying would take {lost}, and at most {least} % of a side is allowed");
    let view = View { still, first: stand(used[0]) };
    let away = |slot: &SlotIndex| {
        let Pose { x, y, .. } = view.sees(stand(*slot));
        x.hypot(y)
    };
    // The first of those that are equally far.
    let farthest = used.iter().rev().max_by(|one, other| away(one).total_cmp(&away(other))).unwrap_or(&used[0]);
    let Pose { x, y, turn } = view.sees(stand(*farthest));
    let turned = if turn == 0.0 { String::new() } else { format!(" and turned by {} degrees", words::figure(turn)) };
    let mistake = Diagnostic::mistake(message).at(&wanted.place).word("steady").help(format!(
        "{} lies farthest from {}: {} px across and {} px down{turned}",
        shoot.slots[farthest.0].name,
        shoot.slots[used[0].0].name,
        words::figure(x),
        words::figure(y)
    ));
    // The longest parts from the beginning and to the end that have room enough, by halving: more stills never have
    // more room.
    let enough = |slots: &[SlotIndex]| {
        let Some(first) = slots.first() else { return true };
        let view = View { still, first: stand(*first) };
        let room = register::room(still, slots.iter().map(|slot| view.sees(stand(*slot))));
        room.is_some_and(|room| share_left(room, still) >= wanted.room)
    };
    let longest = |takes: &dyn Fn(usize) -> bool| {
        let (mut fits, mut too_many) = (1, used.len());
        while too_many - fits > 1 {
            let middle = usize::midpoint(fits, too_many);
            if takes(middle) { fits = middle } else { too_many = middle }
        }
        fits
    };
    let to = longest(&|count| enough(&used[..count]));
    let from = longest(&|count| enough(&used[used.len() - count..]));
    let stills = words::count(used.len(), "still");
    let mut mistake = mistake;
    if to > 1 {
        let last = used[to - 1].0 + 1;
        mistake =
            mistake.help(format!("to = still({last}) in its source keeps {to} of the {stills}; cuts leave out others"));
    }
    if from > 1 {
        let first = used[used.len() - from].0 + 1;
        mistake = mistake.help(format!("from = still({first}) in its source keeps {from} of the {stills}"));
    }
    if let (SteadyBy::Measured { region: None, .. }, true) = (&wanted.by, to.max(from) > 1) {
        mistake = mistake.help("region = box(…) measures there only, if something large moved and not the camera");
    }
    match room {
        Some(room) => mistake.help(format!(
            "steady = {{ room = {} }} accepts what is left",
            words::figure_below(share_left(room, still))
        )),
        None => mistake,
    }
}

//! Stills that show what their neighbours say cannot be.
//!
//! All of these are judged beside two stills that agree with each other, so that what really changes is left alone;
//! which two, `runs` says.
//!
//! ## Decisions
//!
//! - From which change on a still is odd is our choice, tried on scenes of our own; no source.
//! - A tear shows only where something moves on either side of it. Of two stills that share a part, the later one is
//!   called torn. Rows from a moment that no other still shows (in the first still, or in consecutive torn stills) are
//!   not found.

#![expect(clippy::cast_precision_loss, reason = "counts of tiles")]

use super::seen::{Seen, brighter};
use super::tiles::{LEAST, Tiles};
use crate::measures::{Measures, Oddity, Step};
use crate::units::SlotIndex;

/// A still is black, or white, if more of it than this is.
const ALL_BUT: f64 = 0.97;
/// A flash, or a dip, changes the light by at least this factor (natural logarithm) …
const FLASH: f64 = 0.35;
/// … and by at least this many times the difference between its two neighbours.
const AGREE: f64 = 4.0;
/// A still is brighter or darker for itself from this factor on (natural logarithm), …
const LIGHTER: f64 = 0.06;
/// … where that is at least so many times what stills around it usually are off, …
const TIMES_OFF: f64 = 7.0;
/// … and so many times the difference between its two neighbours. Stills around are those so far away.
const TIMES_APART: f64 = 3.0;
const AROUND_LIGHT: usize = 10;
/// From this share of odd tiles on it is another picture.
const OTHER: f64 = 0.6;
/// Minimum share of odd tiles inside a band, and maximum outside.
const INSIDE: f64 = 0.6;
const OUTSIDE: f64 = 0.08;
/// Minimum height of a band, in rows of tiles.
const BAND: usize = 2;
/// Minimum number of changed tiles on each side of a tear, and of columns they lie in.
const TORN_TILES: usize = 6;
const TORN_COLUMNS: usize = 4;
/// The share of those that must show the neighbour's moment on one side, at least, and on the other, at most: there,
/// what the movers reach only in the next still rightly looks as it did in the one before. [`REPEATS`] is the proof.
const TORN_AGREE: f64 = 0.9;
const TORN_DIFFER: f64 = 0.6;
/// A tile shows a neighbour's moment where it differs from it by less than this share of what the neighbours differ by.
const SHOWS: f32 = 0.3;
/// The part of a torn still that shows a neighbour's moment is that picture again, noise and all: its middle tile
/// differs from it by less than this share of what the neighbours differ by there. The other part's middle tile does
/// not.
const REPEATS: f32 = 0.15;
/// A still is the same as the one before where the two differ by less than this share of the noise between those around
/// them (no more than a file coded anew does), …
const SAME: f64 = 0.25;
/// … or where nothing has moved while at least this much of the picture, and this share of what usually does, moves in
/// every step around (a picture coded anew, however coarsely).
const LEAST_MOVED: f64 = 0.01;
const MOVES_ON: f64 = 0.5;
/// Noise is at least this much, as coded, and is taken over this many steps on each side.
const NOISE: f64 = 0.0006;
const AROUND: usize = 5;

/// What is odd about a still between two others.
pub(super) fn between(before: &Seen, this: &Seen, after: &Seen) -> Option<Oddity> {
    beside(before, this, after).or_else(|| {
        let across = structure(before, after)?;
        torn(&[(structure(before, this)?, true), (structure(this, after)?, false)], &across)
    })
}

/// What is odd about a still beside two others, wherever they lie: all but a tear, which takes one on each side.
pub(super) fn beside(one: &Seen, this: &Seen, other: &Seen) -> Option<Oddity> {
    // Black and white are told by a still alone.
    if !alike(one, this) || !alike(one, other) || alone(&this.glance.still).is_some() {
        return None;
    }
    let light = |seen: &Seen| seen.glance.still.luminance.max(1e-6).ln();
    let (up, apart) = ([light(this) - light(one), light(this) - light(other)], light(other) - light(one));
    if up[0].abs().min(up[1].abs()) > FLASH.max(AGREE * apart.abs()) && up[0].signum() == up[1].signum() {
        let by = f64::midpoint(up[0], up[1]);
        return Some(if by > 0.0 { Oddity::Flash(by) } else { Oddity::Dark(by) });
    }
    let tiles = |a: &Seen, b: &Seen| Some(Tiles::between(a, b, brighter(&a.grey, &b.grey)?));
    different(&tiles(one, this)?, &tiles(this, other)?, &tiles(one, other)?)
}

/// Whether a still differs from the one before it as the first of several odd ones would: asked before any others are
/// compared.
pub(super) fn may_begin_a_run(before: &Seen, this: &Seen) -> bool {
    let light = |seen: &Seen| seen.glance.still.luminance.max(1e-6).ln();
    let (Some(brighter), Some(structure)) = (brighter(&before.grey, &this.grey), structure(before, this)) else {
        return alike(before, this);
    };
    if (light(this) - light(before)).abs() > FLASH {
        return true;
    }
    let tiles = Tiles::between(before, this, brighter);
    let odd = |row: &[f32]| row.iter().filter(|difference| **difference > 2.0 * LEAST).count();
    let rows: Vec<usize> = tiles.differences.chunks_exact(tiles.across).map(odd).collect();
    let full = rows.iter().filter(|row| **row as f64 >= INSIDE * tiles.across as f64).count();
    // One end of the picture is the same again, and the other is not.
    let quarter = structure.differences.len() / 4;
    let [first, last] = [&structure.differences[..quarter], &structure.differences[3 * quarter..]].map(middle);
    full >= BAND || first.min(last) < SHOWS * first.max(last)
}

/// Whether the last still holds rows of the one before it. `sound` are those before, the latest first.
pub(super) fn torn_at_the_end(sound: &[&Seen], this: &Seen) -> Option<Oddity> {
    let [before, earlier, ..] = sound else { return None };
    torn(&[(structure(before, this)?, true)], &structure(earlier, before)?)
}

fn structure(a: &Seen, b: &Seen) -> Option<Tiles> {
    if !alike(a, b) {
        return None;
    }
    Some(Tiles::structure(a, b, brighter(&a.grey, &b.grey)?))
}

fn alike(a: &Seen, b: &Seen) -> bool {
    (a.glance.thumbnail.width, a.glance.thumbnail.height) == (b.glance.thumbnail.width, b.glance.thumbnail.height)
}

pub(super) fn alone(still: &crate::measures::Still) -> Option<Oddity> {
    match still {
        still if still.black > ALL_BUT => Some(Oddity::Black),
        still if still.white > ALL_BUT => Some(Oddity::White),
        _ => None,
    }
}

/// Black and white stills, whatever their neighbours are.
pub(super) fn by_themselves(measures: &mut Measures) {
    let found: Vec<(SlotIndex, Oddity)> =
        measures.measured().filter_map(|(slot, still)| Some((slot, alone(still)?))).collect();
    measures.odd.extend(found);
}

/// Stills whose light alone is off between two that agree, by less than [`FLASH`]: told by the middle of all pixels, which
/// no mover reaches, and by how even the light is around.
pub(super) fn lighter_or_darker(measures: &mut Measures) {
    let off = |pair: &[Step]| Some((pair[0].brighter? - pair[1].brighter?) / 2.0);
    let offs: Vec<Option<f64>> = measures.steps.windows(2).map(off).collect();
    let is_odd = |slot: SlotIndex| measures.odd.iter().any(|(odd, _)| *odd == slot);
    let usual = |at: usize| {
        let near = at.saturating_sub(AROUND_LIGHT)..(at + AROUND_LIGHT + 1).min(offs.len());
        // What lies beside an odd still is off because of it.
        let mut around: Vec<f64> =
            near.filter(|other| other.abs_diff(at) > 1).filter_map(|other| offs[other]).map(f64::abs).collect();
        around.sort_by(f64::total_cmp);
        (around.len() >= AROUND_LIGHT / 2).then(|| around[around.len() / 2])
    };
    let found: Vec<(SlotIndex, Oddity)> = measures
        .steps
        .windows(2)
        .zip(&offs)
        .enumerate()
        .filter_map(|(at, (pair, off))| {
            let (off, apart) = ((*off)?, pair[0].brighter? + pair[1].brighter?);
            let clear =
                off.abs() > LIGHTER && off.abs() > TIMES_OFF * usual(at)? && off.abs() > TIMES_APART * apart.abs();
            let alone = [pair[0].from, pair[0].to, pair[1].to].into_iter().all(|slot| !is_odd(slot));
            (clear && alone).then(|| (pair[0].to, if off > 0.0 { Oddity::Flash(off) } else { Oddity::Dark(off) }))
        })
        .collect();
    measures.odd.extend(found);
}

/// Stills that repeat the one before, in a shoot whose stills differ.
pub(super) fn repeated(measures: &mut Measures) {
    let blank: Vec<SlotIndex> = measures.odd.iter().map(|(slot, _)| *slot).collect();
    let middle = |at: usize, of: fn(&Step) -> f64| {
        let around = &measures.steps[at.saturating_sub(AROUND)..(at + AROUND + 1).min(measures.steps.len())];
        let mut values: Vec<f64> = around.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let coded_anew = |at: usize, step: &Step| {
        let least = LEAST_MOVED.max(MOVES_ON * middle(at, |step| step.activity));
        let near = at.saturating_sub(AROUND)..(at + AROUND + 1).min(measures.steps.len());
        step.activity == 0.0
            && near.len() > AROUND
            && near.filter(|other| *other != at).all(|other| measures.steps[other].activity > least)
    };
    let steps = measures.steps.iter().enumerate();
    let same = steps.filter(|(at, step)| {
        let usual = middle(*at, |step| step.noise);
        let repeats = (usual > NOISE && step.noise < SAME * usual) || coded_anew(*at, step);
        repeats && !blank.contains(&step.to)
    });
    let found: Vec<(SlotIndex, Oddity)> = same.map(|(_, step)| (step.to, Oddity::Same)).collect();
    measures.odd.extend(found);
}

/// Takes back what was said of a still only because its neighbour is odd, and of two stills that share a part says it
/// of the later one: a camera read too early still holds rows of the picture before.
pub(super) fn settled(measures: &mut Measures) {
    let next: Vec<(SlotIndex, SlotIndex)> = measures.steps.iter().map(|step| (step.from, step.to)).collect();
    let odd = measures.odd.clone();
    let holds =
        |slot: SlotIndex, wanted: fn(&Oddity) -> bool| odd.iter().any(|(at, oddity)| *at == slot && wanted(oddity));
    let later = |slot: SlotIndex, wanted: fn(&Oddity) -> bool| {
        next.iter().any(|(from, to)| *from == slot && holds(*to, wanted))
    };
    let earlier = |slot: SlotIndex, wanted: fn(&Oddity) -> bool| {
        next.iter().any(|(from, to)| *to == slot && holds(*from, wanted))
    };
    let strange: fn(&Oddity) -> bool = |oddity| !matches!(oddity, Oddity::Torn { .. } | Oddity::Same);
    measures.odd.retain(|(slot, oddity)| match oddity {
        Oddity::Torn { before, .. } => {
            let shared = !before && later(*slot, |oddity| matches!(oddity, Oddity::Torn { before: true, .. }));
            !shared && !later(*slot, strange) && !earlier(*slot, strange)
        }
        Oddity::Same => !holds(*slot, |oddity| matches!(oddity, Oddity::Torn { .. })),
        _ => true,
    });
}

/// A picture, or a band of one, that differs from both neighbours where those agree.
fn different(from_before: &Tiles, to_after: &Tiles, across: &Tiles) -> Option<Oddity> {
    // Noise as it is between the two that should agree: a strange picture has no quiet part to tell it by.
    let limit = 2.0 * across.limit();
    let differ = |at: usize| from_before.differences[at].min(to_after.differences[at]);
    let odd: Vec<bool> =
        (0..across.differences.len()).map(|at| differ(at) > limit && across.differences[at] < limit / 2.0).collect();
    let rows: Vec<usize> = odd.chunks_exact(across.across).map(|row| row.iter().filter(|odd| **odd).count()).collect();
    let share = |rows: &[usize]| rows.iter().sum::<usize>() as f64 / (rows.len() * across.across).max(1) as f64;
    if share(&rows) > OTHER {
        return Some(Oddity::Other(share(&rows)));
    }
    let full = |count: &usize| *count as f64 >= INSIDE * across.across as f64;
    let first = rows.iter().position(full)?;
    let last = rows.iter().rposition(full)?;
    let outside = [&rows[..first], &rows[last + 1..]].concat();
    // A row of tiles on the edge is partly inside.
    let near = |row: usize| row + 1 == first || row == last + 1;
    let around: Vec<usize> = rows
        .iter()
        .enumerate()
        .filter(|(row, _)| (*row < first || *row > last) && !near(*row))
        .map(|(_, count)| *count)
        .collect();
    let band = last + 1 - first >= BAND
        && !outside.is_empty()
        && share(&rows[first..=last]) >= INSIDE
        && share(&around) <= OUTSIDE;
    let height = across.down as f64;
    band.then(|| Oddity::Band { from: first as f64 / height, to: (last + 1) as f64 / height })
}

/// Two moments in one picture: on one side of a row everything that changes between the neighbours is as in one of
/// them, on the other side it is not. `sides` are what it differs by from one or both of them, and whether that is the
/// still before.
fn torn(sides: &[(Tiles, bool)], across: &Tiles) -> Option<Oddity> {
    let limit = 2.0 * across.limit();
    let active: Vec<usize> = (0..across.differences.len()).filter(|at| across.differences[*at] > limit).collect();
    let tiles_end = across.differences.len();
    let mut best: Option<(f64, Oddity)> = None;
    for (tiles, before) in sides {
        for row in 1..across.down {
            let parts: [Vec<usize>; 2] = [
                active.iter().copied().filter(|at| at / across.across < row).collect(),
                active.iter().copied().filter(|at| at / across.across >= row).collect(),
            ];
            let enough = |part: &[usize]| {
                let mut columns: Vec<usize> = part.iter().map(|at| at % across.across).collect();
                columns.sort_unstable();
                columns.dedup();
                part.len() >= TORN_TILES && columns.len() >= TORN_COLUMNS
            };
            if !parts.iter().all(|part| enough(part)) {
                continue;
            }
            let shows = |part: &[usize]| {
                let shown = part.iter().filter(|at| tiles.differences[**at] < SHOWS * across.differences[**at]);
                shown.count() as f64 / part.len() as f64
            };
            let [above, below] = [shows(&parts[0]), shows(&parts[1])];
            let (more, less) = (above.max(below), above.min(below));
            // The row of tiles that the tear runs through is partly of either.
            let edge = row * across.across;
            let parts = [0..edge.saturating_sub(across.across), (edge + across.across).min(tiles_end)..tiles_end];
            let [repeated, other] = if above > below {
                parts
            } else {
                let [above, below] = parts;
                [below, above]
            };
            let repeats = |side: std::ops::Range<usize>| {
                middle(&tiles.differences[side.clone()]) < REPEATS * middle(&across.differences[side])
            };
            if !repeats(repeated) || repeats(other) {
                continue;
            }
            if more >= TORN_AGREE && less <= TORN_DIFFER && best.is_none_or(|(score, _)| more - less > score) {
                let at = row as f64 / across.down as f64;
                best = Some((more - less, Oddity::Torn { at, above: above > below, before: *before }));
            }
        }
    }
    best.map(|(_, oddity)| oddity)
}

fn middle(differences: &[f32]) -> f32 {
    let mut sorted = differences.to_vec();
    sorted.sort_by(f32::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

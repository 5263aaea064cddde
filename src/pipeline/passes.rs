//! Cuts the rows of all deliveries into passes over the stills.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::groups;
use crate::plan::{CoveredArea, DeliveryPlan, Gathered, Layer, Layers, Row};
use crate::sample::{self, Accumulator};
use crate::shot::{Codec, Gather};
use crate::units::SlotIndex;

/// Bytes that a delivery's frames of several stills may take while they are open, but for [`FEWEST_OPEN`] of them.
const OPEN_BYTES: u64 = 512 << 20;

/// Frames of several stills that may be open at once whatever they take: the widest shutter keeps five open.
const FEWEST_OPEN: u64 = 6;

/// One pass over the stills in one direction: by output, the rows that it brings.
#[derive(Debug, PartialEq)]
pub(super) struct Pass {
    pub(super) backwards: bool,
    pub(super) rows: Vec<Range<usize>>,
}

/// Cuts the rows of all deliveries into passes. A delivery's rows fall into *sweeps* over which the stills shown go one
/// way; a pass takes the next sweep of every delivery that goes its way, and its way is that of the sweep due first.
/// Where all go forwards that is one pass, in which every still comes once whatever the deliveries' paces; only a pace
/// that turns back returns to a still, or a sweep that ends because too many frames would be open: what is due after it
/// in other deliveries waits for the next pass too, so that they go on sharing their stills. Every pass brings the next
/// rows of a delivery or none, so that a delivery's rows stay in order.
pub(super) fn passes(plans: &[&DeliveryPlan], rows: &[&[Row]]) -> Vec<Pass> {
    let mut next = vec![0; rows.len()];
    let mut passes = Vec::new();
    loop {
        let sweeps: Vec<Sweep> =
            (0..rows.len()).map(|output| sweep(rows[output], next[output], most_open(plans[output]))).collect();
        let due = |output: usize, row: usize| plans[output].fps.time_of(row as u64).0;
        let waiting = (0..rows.len()).filter(|output| !sweeps[*output].rows.is_empty());
        let Some(first) = waiting.min_by(|one, other| due(*one, next[*one]).total_cmp(&due(*other, next[*other])))
        else {
            return passes;
        };
        // A sweep of a single still goes any way.
        let way = sweeps[first].backwards.or_else(|| sweeps.iter().find_map(|sweep| sweep.backwards)).unwrap_or(false);
        let goes = |sweep: &Sweep| sweep.backwards.is_none_or(|backwards| backwards == way);
        let full = (0..rows.len()).filter(|output| sweeps[*output].full && goes(&sweeps[*output]));
        let until = full.map(|output| due(output, sweeps[output].rows.end)).fold(f64::INFINITY, f64::min);
        let taken: Vec<Range<usize>> = (0..rows.len())
            .map(|output| {
                let Range { start, end } = sweeps[output].rows.clone();
                let in_time = (start..end).take_while(|row| due(output, *row) < until).count();
                if goes(&sweeps[output]) { start..start + in_time } else { start..start }
            })
            .collect();
        for (next, taken) in next.iter_mut().zip(&taken) {
            *next = taken.end;
        }
        passes.push(Pass { backwards: way, rows: taken });
    }
}

/// Rows over which the stills shown go one way.
struct Sweep {
    rows: Range<usize>,
    /// Whether that is backwards; none where they stay.
    backwards: Option<bool>,
    /// Whether it ends only because too many frames would be open.
    full: bool,
}

/// The sweep from row `first` on. A frame of several stills goes the way in which it takes them in, and no more than
/// `most` of them are open at once. An invented frame is made at once of both its stills, so it goes any way and is
/// never open. Frames that gather light are open by the head they begin with, or by all of a median's stills, and go any
/// way.
fn sweep(rows: &[Row], first: usize, most: usize) -> Sweep {
    let mut backwards = None;
    let mut open: Vec<Open> = Vec::new();
    let mut group: Option<[&Gathered; 2]> = None;
    for row in first..rows.len() {
        let reach = Reach::of(&rows[row]);
        let before = if row > first { Reach::of(&rows[row - 1]) } else { reach };
        for way in reach.ways_after(before) {
            if *backwards.get_or_insert(way) != way {
                return Sweep { rows: first..row, backwards, full: false };
            }
        }
        if row > first && shows_the_same(&rows[row - 1], &rows[row]) {
            continue;
        }
        if reach.at_once {
            group = None;
            continue;
        }
        let way = backwards == Some(true);
        let (begins, ends) = if reach.any_way && way { (reach.ends, reach.begins) } else { (reach.begins, reach.ends) };
        open.retain(|open| if way { open.ends < begins } else { open.ends > begins });
        let next = rows[row].layers.gathered();
        let joined = group.zip(next).filter(|(group, next)| groups::joins(*group, next, way));
        let mut takes = next.map_or(1, |next| if next.by == Gather::Median { next.part.len() } else { 1 });
        let together =
            joined.filter(|(group, next)| next.by == Gather::Median || groups::begin_together(group[1], next, way));
        // The last that is open is the group's.
        if let Some(last) = together.and_then(|_| open.pop()) {
            takes = takes.max(last.takes);
        }
        if !open.is_empty() && open.iter().map(|open| open.takes).sum::<usize>() + takes > most {
            return Sweep { rows: first..row, backwards, full: true };
        }
        open.push(Open { ends, takes });
        group = next.map(|next| [joined.map_or(next, |(group, _)| group[0]), next]);
    }
    Sweep { rows: first..rows.len(), backwards, full: false }
}

/// A frame, or several that begin with the same still, whose stills are coming.
struct Open {
    /// The last of them.
    ends: SlotIndex,
    /// How much of what may be open at once it takes.
    takes: usize,
}

/// Which stills a frame takes in, and how.
#[derive(Debug, Clone, Copy)]
struct Reach {
    begins: SlotIndex,
    ends: SlotIndex,
    /// Whether all of it is done when the last of its stills comes: it has no way of its own then.
    at_once: bool,
    /// Whether its stills may come in any order: it begins with the first of the shoot here.
    any_way: bool,
}

impl Reach {
    fn of(row: &Row) -> Self {
        let at_once = matches!(row.layers, Layers::One(_) | Layers::Between(_));
        if let Some(gathered) = row.layers.gathered() {
            let [begins, ends] = gathered.ends();
            return Self { begins, ends, at_once, any_way: true };
        }
        let mut slots = row.layers.each().map(|(layer, _)| layer.slot());
        let begins = slots.next().unwrap_or(row.shown);
        Self { begins, ends: slots.last().unwrap_or(begins), at_once, any_way: false }
    }

    fn low(self) -> SlotIndex {
        self.begins.min(self.ends)
    }

    fn high(self) -> SlotIndex {
        self.begins.max(self.ends)
    }

    /// The ways in which a pass must go that brings this frame after the one before: whether backwards; both where none
    /// does.
    fn ways_after(self, before: Self) -> impl Iterator<Item = bool> {
        let (forwards, backwards) = if self.any_way || before.any_way {
            let forwards = self.low() > before.low() || self.high() > before.high();
            (forwards, self.low() < before.low() || self.high() < before.high())
        } else if self.at_once && before.at_once {
            (self.low() > before.low(), self.high() < before.high())
        } else {
            let first = |reach: Self, of_these: fn(Self) -> SlotIndex| {
                if reach.at_once { of_these(reach) } else { reach.begins }
            };
            (first(self, Self::high) > first(before, Self::high), first(self, Self::low) < first(before, Self::low))
        };
        let own = (!self.at_once && !self.any_way && self.begins != self.ends).then_some(self.ends < self.begins);
        forwards.then_some(false).into_iter().chain(backwards.then_some(true)).chain(own)
    }
}

/// Whether two frames are the same picture.
pub(super) fn shows_the_same(one: &Row, other: &Row) -> bool {
    one.layers == other.layers
}

/// How many frames of several stills a delivery may have open at once; of those that gather light how many heads, or how
/// many stills of medians.
pub(super) fn most_open(plan: &DeliveryPlan) -> usize {
    if !plan.gathered.is_empty()
        && let Some(gathered) = plan.rows.iter().find_map(|row| row.layers.gathered())
    {
        let (size, codec) = (plan.frame, &plan.codec);
        let most = match gathered.by {
            Gather::Median => (OPEN_BYTES / sample::bytes_in_a_median(size, codec)).max(1),
            Gather::Brightest | Gather::Darkest => {
                (OPEN_BYTES / sample::bytes_of_extremes(size, codec)).max(FEWEST_OPEN)
            }
        };
        return usize::try_from(most).unwrap_or(usize::MAX);
    }
    let bytes = match plan.codec {
        Codec::Prores(_) | Codec::Dnxhr | Codec::Ffv1(_) => Accumulator::BYTES_A_PIXEL_OF_MORE_CHROMA,
        _ => Accumulator::BYTES_A_PIXEL,
    };
    let most = (OPEN_BYTES / (bytes * plan.frame.pixels())).max(FEWEST_OPEN);
    usize::try_from(most).unwrap_or(usize::MAX)
}

/// The rows of all deliveries, apart by what is hidden in their stills: a decoded still is covered once, for all that
/// see it.
pub(super) fn mask_groups<'a>(rows: &[&'a [Row]]) -> Vec<Vec<&'a [Row]>> {
    if !rows.iter().copied().flatten().any(|row| row.layers.each().any(|(layer, _)| is_covered(layer))) {
        return vec![rows.to_vec()];
    }
    let mut mask_groups: Vec<(Hidden<'_>, Vec<&[Row]>)> = Vec::new();
    for (output, own) in rows.iter().enumerate() {
        let hidden = hidden_in(own);
        let is_like = |known: &Hidden<'_>| {
            hidden
                .iter()
                .all(|(slot, areas)| known.get(slot).is_none_or(|known| std::ptr::eq(*known, *areas) || known == areas))
        };
        let known = mask_groups.iter().position(|(known, _)| is_like(known));
        let group = known.unwrap_or_else(|| {
            mask_groups.push((Hidden::new(), vec![&[]; rows.len()]));
            mask_groups.len() - 1
        });
        mask_groups[group].0.extend(hidden);
        mask_groups[group].1[output] = own;
    }
    mask_groups.into_iter().map(|(_, rows)| rows).collect()
}

/// By slot, what is hidden in its still.
type Hidden<'a> = BTreeMap<SlotIndex, &'a [CoveredArea]>;

/// What is hidden in the stills of rows and in those that may stand in for them.
fn hidden_in(rows: &[Row]) -> Hidden<'_> {
    let layers = rows.iter().flat_map(|row| row.layers.each().map(|(layer, _)| layer));
    let stills =
        layers.flat_map(|layer| std::iter::once(&layer.still).chain(layer.stand_in.as_ref().map(|other| &other.still)));
    stills.map(|still| (still.slot, &*still.covers)).collect()
}

fn is_covered(layer: &Layer) -> bool {
    !layer.still.covers.is_empty() || layer.stand_in.as_ref().is_some_and(|other| !other.still.covers.is_empty())
}

/// How many times a still is decoded: once for every pass that shows it.
pub(super) fn decodes(plans: &[&DeliveryPlan], rows: &[&[Row]]) -> usize {
    let of_pass = |pass: &Pass| {
        let shown = rows
            .iter()
            .zip(&pass.rows)
            .flat_map(|(rows, taken)| &rows[taken.clone()])
            .flat_map(Row::shares)
            .map(|share| share.shown);
        shown.collect::<BTreeSet<SlotIndex>>().len()
    };
    mask_groups(rows).iter().flat_map(|rows| passes(plans, rows)).map(|pass| of_pass(&pass)).sum()
}

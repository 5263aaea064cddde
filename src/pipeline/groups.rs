//! Frames that gather light from one list, taken together: each of their stills is painted once for all of them.
//!
//! Consecutive frames through one resting window gather from runs of stills that overlap. What only the first of them
//! still have is kept apart by where frames begin, a *head* each; what all have is the *core*, and so is what comes
//! after: a frame is its head with the heads after it, and the core as it is when the frame's last still has come. That
//! is how M. van Herk ("A fast algorithm for local minimum and maximum filters on rectangular and octagonal kernels",
//! Pattern Recognition Letters 13, 1992, doi 10.1016/0167-8655(92)90069-C) and J. Gil and M. Werman ("Computing 2-D min,
//! median, and max filters", IEEE Trans. Pattern Analysis and Machine Intelligence 15, 1993, doi 10.1109/34.211471) run
//! over a line of samples, here of pictures: two comparisons a frame and pixel, however many stills it gathers.
//!
//! ## Decisions
//!
//! - A group ends where a frame has none of the first one's stills, or where as many heads are open as there is room
//!   for ([`super::passes`]): its stills are decoded again then. A growing gather has no head and is one group.
//! - A median has neither heads nor a core: the samples of its stills stay until no frame has them any more.
//! - Stills are taken in whichever way the pass goes: neither the brightest light nor a median depends on their order.

use std::sync::Arc;

use crate::plan::{Gathered, Layer};
use crate::shot::Gather;
use crate::units::SlotIndex;

/// A still is taken in by a group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Take<'a> {
    /// What is painted.
    pub(super) layer: &'a Layer,
    /// Which light.
    pub(super) by: Gather,
    /// The group: its first row.
    pub(super) group: usize,
    /// What has been done in the group before.
    pub(super) step: usize,
    /// Where it is taken: a head, or the core after all of them.
    pub(super) into: usize,
    /// How many heads there are.
    pub(super) heads: usize,
}

/// A frame of a group is printed, all of whose stills have been taken in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Print {
    /// Which light.
    pub(super) by: Gather,
    /// The group: its first row.
    pub(super) group: usize,
    /// What has been done in the group before.
    pub(super) step: usize,
    /// The head it begins with, or the core after all of them.
    pub(super) head: usize,
    /// How many heads there are.
    pub(super) heads: usize,
    /// Whether no frame after it begins there.
    pub(super) spends: bool,
    /// Of the stills taken in so far, which are its own: the first, and one past the last.
    pub(super) stills: (usize, usize),
    /// How many of them no frame after it has.
    pub(super) past: usize,
    /// Whether it is the group's last.
    pub(super) last: bool,
    /// The slot whose still stamps tell of.
    pub(super) turn: SlotIndex,
}

/// What is done with a still for a group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Step<'a> {
    Take(Take<'a>),
    Print(Print),
}

/// A frame of a group, which fills a row or several.
struct Member<'a> {
    row: usize,
    times: usize,
    gathered: &'a Gathered,
}

/// Consecutive frames that are gathered together.
pub(super) struct Group<'a> {
    backwards: bool,
    members: Vec<Member<'a>>,
}

/// Where a frame begins and ends, counted the way the pass goes.
fn along(gathered: &Gathered, backwards: bool) -> (isize, isize) {
    let (start, end) = (gathered.part.start.cast_signed(), gathered.part.end.cast_signed());
    if backwards { (-end, -start) } else { (start, end) }
}

/// Whether a frame belongs to a group with this first and this last one.
pub(super) fn joins([first, last]: [&Gathered; 2], next: &Gathered, backwards: bool) -> bool {
    let [first_end, (last_start, last_end)] = [(0, along(first, backwards).1), along(last, backwards)];
    let (start, end) = along(next, backwards);
    let shares = if next.by == Gather::Median { last_end } else { first_end.1 };
    let same = first.by == next.by && Arc::ptr_eq(&first.list, &next.list);
    same && start >= last_start && end >= last_end && start < shares
}

/// Whether two frames of a group begin with the same still.
pub(super) fn begin_together(one: &Gathered, other: &Gathered, backwards: bool) -> bool {
    along(one, backwards).0 == along(other, backwards).0
}

impl<'a> Group<'a> {
    /// A group that begins with a frame: its first row, and how many it fills.
    pub(super) fn begin(row: usize, times: usize, gathered: &'a Gathered, backwards: bool) -> Self {
        Self { backwards, members: vec![Member { row, times, gathered }] }
    }

    /// Adds the next frame, where it belongs to the group.
    pub(super) fn add(&mut self, row: usize, times: usize, gathered: &'a Gathered) -> bool {
        let ends = [self.members.first(), self.members.last()].map(|member| member.map(|member| member.gathered));
        let joins = matches!(ends, [Some(first), Some(last)] if joins([first, last], gathered, self.backwards));
        if joins {
            self.members.push(Member { row, times, gathered });
        }
        joins
    }

    /// All steps in turn: with the still that each is done with, the row that is next to be printed, and how many rows
    /// that frame fills.
    pub(super) fn steps(&self) -> Vec<(&'a Layer, Step<'a>, usize, usize)> {
        let at: Vec<(isize, isize)> =
            self.members.iter().map(|member| along(member.gathered, self.backwards)).collect();
        let mut begins: Vec<isize> = at.iter().map(|(start, _)| *start).collect();
        begins.dedup();
        let heads = begins.len() - 1;
        let (group, first, end) = (self.members[0].row, at[0].0, at[at.len() - 1].1);
        let by = self.members[0].gathered.by;
        let list = &self.members[0].gathered.list;
        let since = |place: isize| (place - first).cast_unsigned();
        let (mut steps, mut next) = (Vec::new(), 0);
        for place in first..end {
            let layer = &list[(if self.backwards { -place - 1 } else { place }).cast_unsigned()];
            let into = begins.partition_point(|begin| *begin <= place) - 1;
            let Member { row, times, .. } = self.members[next];
            let take = Take { layer, by, group, step: steps.len(), into, heads };
            steps.push((layer, Step::Take(take), row, times));
            while let Some(Member { row, times, gathered }) = self.members.get(next).filter(|_| at[next].1 == place + 1)
            {
                let after = at.get(next + 1);
                let print = Print {
                    by,
                    group,
                    step: steps.len(),
                    head: begins.partition_point(|begin| *begin <= at[next].0) - 1,
                    heads,
                    spends: after.is_none_or(|(start, _)| *start != at[next].0),
                    stills: (since(at[next].0), since(at[next].1)),
                    past: after.map_or(since(end), |(start, _)| since(*start)),
                    last: after.is_none(),
                    turn: gathered.foremost().slot(),
                };
                steps.push((layer, Step::Print(print), *row, *times));
                next += 1;
            }
        }
        steps
    }
}

//! What a delivery's frames are laid out from, and what each is due to show.

use std::ops::Range;

use crate::curve::pace::PaceMap;
use crate::geom::Window;
use crate::plan::{Corrections, Row, Share};
use crate::shot::{Delivery, Gather};
use crate::units::{ScreenTime, SlotIndex};

use super::axis::{Axis, OnAxis};
use super::framing::Framed;
use super::steady::Bounds;

/// What a delivery's rows are made from.
pub(super) struct Sheet<'a> {
    pub(super) delivery: &'a Delivery,
    pub(super) track: &'a Framed,
    pub(super) pace: &'a PaceMap,
    pub(super) axis: &'a Axis,
    pub(super) bounds: Bounds,
    pub(super) length: ScreenTime,
    pub(super) strict: bool,
    /// Whether the last frame runs into the first.
    pub(super) looped: bool,
    /// What it gathers, where it does.
    pub(super) gathers: Option<Gathers>,
}

/// What a delivery gathers, with its moment found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gathers {
    pub(super) by: Gather,
    pub(super) over: Over,
}

/// Over which stills.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Over {
    Shutter,
    Stills(usize),
    /// From this place of the axis on.
    Grown(usize),
}

/// What a frame is due to show, before it is known through which window.
pub(super) struct Due {
    pub(super) position: f64,
    pub(super) place: OnAxis,
    pub(super) blend: Vec<Share>,
    /// The break that keeps it from more stills, where one does, by its place among those of the axis.
    pub(super) kept_from: Option<usize>,
    /// Whether the blend is what the frame is invented between.
    pub(super) invented: bool,
    /// The places of the axis that it gathers light from.
    pub(super) gather: Option<Range<usize>>,
}

/// A frame laid out: what it shows, through which window of the first view.
pub(super) type Laid = (Due, Window);

impl Due {
    /// The row of the frame through its window, of stills corrected so.
    pub(super) fn row(self, window: Window, corrections: &mut Corrections<'_>) -> Row {
        let Self { position, place: OnAxis { slot, shown, stand_in }, blend, invented, .. } = self;
        let alone = [Share { shown, stand_in, weight: Share::WHOLE }];
        let shares = if blend.is_empty() { &alone[..] } else { &blend };
        let layers = corrections.layers(shares, invented, window);
        Row { position, slot, shown, stand_in, window, layers }
    }

    /// The slots whose stills it shows, of an axis of these places, the one that stands at its place among them.
    pub(super) fn shown(&self, places: &[OnAxis]) -> impl Iterator<Item = SlotIndex> {
        let gathered = self.gather.clone().map_or(&[][..], |gathered| &places[gathered]);
        let blend = self.blend.iter().map(|share| share.shown);
        blend.chain(gathered.iter().map(|place| place.shown)).chain([self.place.shown])
    }
}

//! One page on which a whole shoot is seen: its stills, light, steadiness, activity, gaps and findings.
//!
//! A [`Shoot`], its [`Measures`] and findings come in; a drawing goes out. Nothing here decides anything. `strip` is the
//! row of small stills, `charts` the curves over the slots, `slots` the band beneath them with the findings at their
//! places, `heat` where things move, `findings` the list in words. All of it is drawn with what is in [`crate::ink`].

mod charts;
mod findings;
mod heat;
mod pictures;
mod slots;
mod strip;

use kurbo::{Point, Rect, Vec2};

use crate::finding::{Finding, Gravity};
use crate::ink::Drawing;
use crate::ink::look::Badge;
use crate::ink::scale::{Scale, short, span};
use crate::ink::space::{self, BETWEEN, CURVE, END, ENDS, GAP, GUTTER, LINE, MARGIN, TOP, WIDTH};
use crate::measures::Measures;
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// Width of the column right of the curves.
const COLUMN: f64 = 400.0;

/// What the page shows.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// The shoot.
    pub shoot: &'a Shoot,
    /// What looking at it found.
    pub measures: &'a Measures,
    /// What is wrong with it, the worst first.
    pub findings: &'a [Finding],
    /// Stills at which something happens.
    pub happenings: &'a [SlotIndex],
}

impl Request<'_> {
    /// The number of the worst finding about a slot, with its badge.
    fn finding_of(&self, slot: SlotIndex) -> Option<(usize, Badge)> {
        let at = self.findings.iter().position(|finding| finding.slots.contains(&slot))?;
        Some((at + 1, badge(self.findings[at].gravity)))
    }
}

/// The badge of a finding's number.
fn badge(gravity: Gravity) -> Badge {
    match gravity {
        Gravity::Lost => Badge::Lost,
        Gravity::Seen => Badge::Seen,
        Gravity::Known => Badge::Known,
    }
}

/// A slot as people count it.
fn number(slot: SlotIndex) -> f64 {
    slot.0 as f64 + 1.0
}

/// Draws the page.
#[must_use]
pub fn draw(request: &Request) -> Drawing {
    let whole = WIDTH - 2.0 * MARGIN;
    let column = WIDTH - MARGIN - COLUMN;
    let stills = strip::Strip::of(request, whole, column - GAP - MARGIN);
    let curves_top = TOP + stills.height() + if stills.height() > 0.0 { 36.0 } else { 24.0 };
    // Few stills leave room for the column beside them.
    let column_top = if stills.is_short() { TOP } else { curves_top - 24.0 };
    let (left, right) = (MARGIN + GUTTER, column - GAP - ENDS);
    // A slot is as wide as the way from one to the next, and its value stands in the middle.
    let count = request.shoot.slots.len().max(1) as f64;
    let across = Scale { from: 0.5, to: count + 0.5, first: left, last: right, ratio: false };
    let lanes = slots::Lanes::of(request, across);
    let heat = heat::Column::of(request, Rect::new(column, column_top, WIDTH - MARGIN, f64::INFINITY));
    // Curves are as tall as makes both columns end together.
    let spare = column_top + heat.height() - curves_top - lanes.height() - LINE;
    let curve = (spare / 3.0 - BETWEEN).clamp(CURVE, 2.0 * CURVE);
    let panel = |index: usize| {
        Rect::new(left, curves_top, right, curves_top + curve) + Vec2::new(0.0, (curve + BETWEEN) * index as f64)
    };
    let band = Rect::new(left, panel(3).y0, right, panel(3).y0 + lanes.height());
    let list_top = (band.y1 + LINE).max(column_top + heat.height()) + GAP;
    let list = findings::List::of(request, Rect::new(MARGIN, list_top, WIDTH - MARGIN, f64::INFINITY));
    let height = (list_top + list.height() + END).ceil();
    let page = space::page((WIDTH, height), &title(request.shoot), &facts(request.shoot), |svg| {
        stills.draw(svg, Point::new(MARGIN, TOP));
        charts::light(svg, request, panel(0), across);
        charts::places(svg, request, panel(1), across);
        charts::activity(svg, request, panel(2), across);
        lanes.draw(svg, request, band, across);
        heat.draw(svg, request);
        list.draw(svg);
    });
    Drawing(page)
}

/// From which still to which.
fn title(shoot: &Shoot) -> String {
    let (first, last) = (shoot.slots.first(), shoot.slots.last());
    match (first, last) {
        (Some(first), Some(last)) if first.name != last.name => format!("{} to {}", first.name, last.name),
        (Some(first), _) => first.name.clone(),
        _ => "no stills".into(),
    }
}

/// How many stills, how large, how far apart, and when.
fn facts(shoot: &Shoot) -> String {
    let count = shoot.slots.len();
    let mut facts = format!("{count} {} of {}", if count == 1 { "still" } else { "stills" }, shoot.size);
    if let Some(interval) = shoot.interval {
        facts += &format!(", one every {} s", short(interval));
    }
    let taken = |slot: usize| shoot.captured(SlotIndex(slot)).map(|captured| captured.local);
    if let (Some(from), Some(to)) = (taken(0), taken(count.saturating_sub(1))) {
        facts += &format!(", {}", span(from, to));
    }
    facts
}

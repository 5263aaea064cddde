//! The band of slots beneath the curves: which hold a whole still, and which slots the findings are about.

use kurbo::{Point, Rect};

use super::{Request, badge, charts, number};
use crate::ink::axes;
use crate::ink::letters::Type;
use crate::ink::look::{BAR, Badge, FRAME, LOST, PANEL, QUIET};
use crate::ink::scale::Scale;
use crate::ink::svg::Svg;
use crate::shoot::{Content, Shoot};
use crate::units::SlotIndex;

/// Height of the band, and of a line of findings beneath it.
const BAND: f64 = 20.0;
const LANE: f64 = 20.0;
/// Lines of findings at most: of many findings the worst have one.
const LANES: usize = 6;
/// One slot among thousands is still a line.
const LEAST: f64 = 2.0;

/// What a slot holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Held {
    Whole,
    Damaged,
    Missing,
}

impl Held {
    pub(super) const ALL: [Self; 3] = [Self::Whole, Self::Damaged, Self::Missing];

    fn of(content: &Content) -> Self {
        match content {
            Content::Whole(_) => Self::Whole,
            Content::Damaged { .. } => Self::Damaged,
            Content::Missing => Self::Missing,
        }
    }

    /// In words, with how many there are.
    pub(super) fn counted(self, shoot: &Shoot) -> String {
        let count = shoot.slots.iter().filter(|slot| Self::of(&slot.content) == self).count();
        let word = match self {
            Self::Whole => "whole",
            Self::Damaged => "damaged",
            Self::Missing => "missing",
        };
        format!("{count} {word}")
    }

    /// Draws it: whole is quiet, damaged dark, missing an empty box.
    pub(super) fn draw(self, svg: &mut Svg, place: Rect) {
        let rect = svg.rect(place).text("class", "slots").text("data-held", &self.name());
        match self {
            Self::Whole => rect.text("fill", FRAME).number("fill-opacity", 0.55).empty(),
            Self::Damaged => {
                rect.text("fill", LOST).empty();
                if place.width() >= 7.0 {
                    let (from, to) = (place.inset(-3.0).origin(), Point::new(place.x1 - 3.0, place.y1 - 3.0));
                    svg.line(&[from, to]).text("stroke", PANEL).number("stroke-width", 1.2).empty();
                }
            }
            Self::Missing => rect.text("fill", PANEL).text("stroke", LOST).number("stroke-width", 1.4).empty(),
        }
    }

    fn name(self) -> String {
        format!("{self:?}").to_lowercase()
    }
}

/// Which finding's bars are in which line.
pub(super) struct Lanes {
    /// By finding, where it is about certain slots and has a line.
    of: Vec<Option<usize>>,
    count: usize,
}

impl Lanes {
    /// Each finding in the first line that is free where it and its number stand.
    pub(super) fn of(request: &Request, across: Scale) -> Self {
        let mut busy: Vec<Vec<(f64, f64)>> = Vec::new();
        let of = request.findings.iter().map(|finding| {
            let (first, last) = (finding.slots.iter().min()?, finding.slots.iter().max()?);
            let (from, to) = (across.at(number(*first) - 0.5), across.at(number(*last) + 0.5));
            let (from, to) = (from - Badge::RADIUS - 2.0, to.max(from + 2.0 * Badge::RADIUS) + 2.0);
            let free = |lane: &Vec<(f64, f64)>| lane.iter().all(|(first, last)| to < *first || from > *last);
            let lane = busy.iter().position(free).unwrap_or(busy.len());
            if lane == LANES {
                return None;
            }
            if lane == busy.len() {
                busy.push(Vec::new());
            }
            busy[lane].push((from, to));
            Some(lane)
        });
        let of = of.collect();
        Self { of, count: busy.len() }
    }

    /// Pixels that band and lines need.
    pub(super) fn height(&self) -> f64 {
        BAND + if self.count == 0 { 0.0 } else { 8.0 + self.count as f64 * LANE }
    }

    pub(super) fn draw(&self, svg: &mut Svg, request: &Request, place: Rect, across: Scale) {
        let says =
            if self.count == 0 { "" } else { "what each holds, and what the findings are about, by their numbers" };
        axes::heading(svg, place, "slots", says, Type::HEADING);
        axes::panel(svg, place);
        let ticks = charts::ticks(across);
        axes::upright(svg, place, across, &ticks);
        let slots = &request.shoot.slots;
        let mut at = 0;
        let mut runs: Vec<(Held, usize, usize)> = Vec::new();
        for run in slots.chunk_by(|one, other| Held::of(&one.content) == Held::of(&other.content)) {
            runs.push((Held::of(&run[0].content), at, at + run.len()));
            at += run.len();
        }
        // Whole ones first, so that a thin line of another is not covered.
        runs.sort_by_key(|(held, ..)| *held != Held::Whole);
        for (held, from, to) in runs {
            let (left, right) = (across.at(from as f64 + 0.5), across.at(to as f64 + 0.5));
            let inset = if held == Held::Missing { 0.7 } else { 0.0 };
            let band =
                Rect::new(left + inset, place.y0 + inset, right.max(left + LEAST) - inset, place.y0 + BAND - inset);
            held.draw(svg, band);
        }
        for (index, (finding, lane)) in request.findings.iter().zip(&self.of).enumerate() {
            let Some(lane) = lane else { continue };
            let y = place.y0 + BAND + 4.0 + (*lane as f64 + 0.5) * LANE;
            let badge = badge(finding.gravity);
            let mut slots: Vec<SlotIndex> = finding.slots.clone();
            slots.sort_unstable();
            for run in slots.chunk_by(|one, other| one.0 + 1 == other.0) {
                let (from, to) = (across.at(number(run[0]) - 0.5), across.at(number(run[run.len() - 1]) + 0.5));
                let bar = Rect::new(from, y - 3.5, to.max(from + LEAST), y + 3.5);
                let bar = svg.rect(bar).text("class", "finding").number("data-finding", (index + 1) as f64);
                bar.text("fill", badge.colour()).number("fill-opacity", BAR).empty();
            }
            let first = across.at(slots.first().map_or(1.0, |slot| number(*slot)));
            let x = first.clamp(place.x0 + Badge::RADIUS, place.x1 - Badge::RADIUS);
            badge.draw(svg, Point::new(x, y), index + 1);
        }
        let edge = svg.line(&[Point::new(place.x0, place.y0 + BAND), Point::new(place.x1, place.y0 + BAND)]);
        edge.text("stroke", QUIET).number("stroke-width", 0.8).empty();
        charts::write_slots(svg, place, across);
    }
}

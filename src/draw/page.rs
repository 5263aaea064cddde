//! Where everything stands on a motion sheet, and on the small card of a move.

use kurbo::{Rect, Vec2};

use super::curves;
use super::keys::{self, Keys};
use super::legend::{self, Legend};
use super::measure::Measure;
use super::remarks::{Lanes, List};
use super::sheet::Sheet;
use super::still;
use crate::ink::letters::FAMILIES;
use crate::ink::look::PAPER;
use crate::ink::scale::Scale;
use crate::ink::space::{self, BETWEEN, CURVE, END, ENDS, GAP, GUTTER, LINE, MARGIN, NEXT, TOP, WIDTH};
use crate::ink::svg::Svg;

/// The largest still of a sheet, in pixels, and the least height that it is given so that the column beside it is full.
const STILL: (f64, f64) = (1020.0, 765.0);
const SMALLEST: f64 = 540.0;
/// The share of the column beside a still that is full enough.
const FULL: f64 = 0.75;

/// The curves of a sheet, top down; that of the roll where a window is rolled.
fn measures(sheet: &Sheet<'_>) -> Vec<Measure> {
    let rolls = sheet.tracks.iter().any(|track| (0..track.frames()).any(|frame| track.row(frame).window.roll != 0.0));
    let roll = rolls.then_some(Measure::Roll);
    let place = [Measure::Zoom, Measure::Across, Measure::Down].into_iter().chain(roll);
    place.chain([Measure::Pace, Measure::Still, Measure::Enlargement, Measure::Speed]).collect()
}

/// Keys with pictures as tall as this stand well beside the still, where there is room.
const FINE: f64 = 72.0;

/// Where keys and remarks stand.
struct Parts {
    keys: Keys,
    list: List,
    /// Whether the keys stand beneath the still, and how far down all that stands there reaches.
    beneath: Option<f64>,
    /// Whether the remarks stand at the foot of the page.
    at_foot: bool,
}

impl Parts {
    /// Beside the still, in `column` from `top`, as far as there is room; else keys in rows across the page, from `under`,
    /// and remarks at the foot.
    fn of(sheet: &Sheet<'_>, column: Rect, top: f64, under: f64) -> Self {
        let beside = |from: f64, to: f64| Rect::new(column.x0, from, column.x1, to.max(from));
        let (keys, list) = (Keys::of(sheet), List::of(sheet, beside(top, column.y1)));
        let (room, remarks) = (column.y1 - top, list.height());
        let parted = if remarks > 0.0 { GAP } else { 0.0 };
        let with_remarks = keys.clone().within(sheet, beside(top, column.y1 - remarks - parted), keys::TALLEST);
        let fits = with_remarks.height(sheet) + parted + remarks <= room;
        if fits && (with_remarks.pictures() >= FINE || sheet.backdrop.is_none()) {
            let list = List::of(sheet, beside(top + with_remarks.height(sheet) + parted, column.y1));
            return Self { keys: with_remarks, list, beneath: None, at_foot: false };
        }
        let alone = keys.clone().within(sheet, beside(top, column.y1), keys::TALLEST);
        if remarks <= room && remarks > 0.0 || alone.pictures() < FINE {
            let across = Rect::new(MARGIN, under, WIDTH - MARGIN, under + STILL.1);
            let keys = keys.across(sheet, across);
            let beneath = Some(under + keys.height(sheet));
            return Self { keys, list, beneath, at_foot: remarks > room };
        }
        Self { keys: alone, list, beneath: None, at_foot: true }
    }
}

/// What stands above the curves.
struct Head {
    still: Rect,
    legend: Legend,
    parts: Parts,
    /// How far down still, caption and legend reach.
    under: f64,
    /// The share of the column beside the still that is full.
    full: f64,
}

impl Head {
    /// With the still as large as fits into this height.
    fn of(sheet: &Sheet<'_>, height: f64) -> Self {
        let room = Rect::new(MARGIN, TOP, MARGIN + STILL.0 * height / STILL.1, TOP + height);
        let still = space::fitted(sheet.shoot.size, room);
        let column = Rect::new(still.x1 + GAP, still.y0, WIDTH - MARGIN, still.y1);
        let legend = Legend::of(sheet, column);
        let beside = column.y0 + legend.height() + 16.0;
        let caption = LINE * still::caption_lines(sheet, still.width()).len() as f64;
        let under = (still.y1 + caption).max(column.y0 + legend.height());
        let parts = Parts::of(sheet, column, beside, under + GAP);
        let keys = if parts.beneath.is_none() { parts.keys.height(sheet) } else { 0.0 };
        let list = if parts.at_foot { 0.0 } else { parts.list.height() };
        let full = (legend.height() + 16.0 + keys + list) / column.height();
        Self { still, legend, parts, under, full }
    }

    /// With the largest still that leaves no empty column beside it.
    fn fitting(sheet: &Sheet<'_>) -> Self {
        let mut best = Self::of(sheet, STILL.1);
        let mut height = STILL.1;
        while best.full < FULL && height - 25.0 >= SMALLEST {
            height -= 25.0;
            let other = Self::of(sheet, height);
            if other.full > best.full && other.parts.at_foot == best.parts.at_foot {
                best = other;
            }
        }
        best
    }
}

/// A motion sheet as SVG. Legend, keys and remarks stand beside the still as far as they have room there, else beneath;
/// the pictures of the keys take what room is left.
pub(super) fn sheet(sheet: &Sheet<'_>) -> String {
    let Head { still, legend, parts, under, .. } = Head::fitting(sheet);
    let mut top = parts.beneath.unwrap_or(under) + BETWEEN;
    let (left, right) = (MARGIN + GUTTER, WIDTH - MARGIN - ENDS);
    let lanes = Lanes::of(sheet);
    let lane_place = Rect::new(left, top, right, top + lanes.height());
    if lanes.height() > 0.0 {
        top = lane_place.y1 + BETWEEN;
    }
    let measures = measures(sheet);
    let mut end = top + NEXT * (measures.len() - 1) as f64 + CURVE + LINE;
    let list = if parts.at_foot {
        let list = List::of(sheet, Rect::new(MARGIN, end + GAP, WIDTH - MARGIN, f64::INFINITY));
        end += if list.height() > 0.0 { GAP + list.height() } else { 0.0 };
        list
    } else {
        parts.list
    };
    let height = (end + END).ceil();

    space::page((WIDTH, height), &sheet.title, &legend::facts(sheet), |svg| {
        still::draw(svg, sheet, still);
        still::caption(svg, sheet, still);
        legend.draw(svg, sheet);
        parts.keys.draw(svg, sheet, still);
        list.draw(svg);
        let time = Scale { from: 0.0, to: sheet.length, first: left, last: right, ratio: false };
        lanes.draw(svg, sheet, lane_place, time);
        for (index, measure) in measures.iter().enumerate() {
            let place = Rect::new(left, top, right, top + CURVE) + Vec2::new(0.0, NEXT * index as f64);
            curves::draw(svg, sheet, *measure, place, time, false);
        }
    })
}

/// A small picture of a move: a still with the window over it, and its zoom and place.
pub(super) fn card(sheet: &Sheet<'_>, measures: &[Measure]) -> String {
    let (width, margin, curve, next) = (760.0, 16.0, 54.0, 100.0);
    let still = space::fitted(sheet.shoot.size, Rect::new(margin, margin, margin + 400.0, margin + 300.0));
    let place = Rect::new(still.x1 + 52.0, margin + 20.0, width - margin - 14.0, margin + 20.0 + curve);
    let height = still.y1.max(place.y1 + next * (measures.len() as f64 - 1.0) + 20.0) + margin;
    Svg::document(width, height, &sheet.title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, width, height)).text("fill", PAPER).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            still::draw(svg, sheet, still);
            let time = Scale { from: 0.0, to: sheet.length, first: place.x0, last: place.x1, ratio: false };
            for (index, measure) in measures.iter().enumerate() {
                let place = place + Vec2::new(0.0, next * index as f64);
                curves::draw(svg, sheet, *measure, place, time, true);
            }
        });
    })
}

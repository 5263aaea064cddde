//! Where everything stands on a motion sheet, and on the small card of a move.

use kurbo::{Rect, Vec2};

use super::curves;
use super::keys::Keys;
use super::legend::{self, Legend};
use super::measure::Measure;
use super::remarks::{Lanes, List};
use super::sheet::Sheet;
use super::still;
use crate::ink::letters::FAMILIES;
use crate::ink::look::PAPER;
use crate::ink::scale::Scale;
use crate::ink::space::{self, CURVE, END, ENDS, GAP, GUTTER, LINE, MARGIN, NEXT, TOP, WIDTH};
use crate::ink::svg::Svg;

/// The largest still of a sheet, in pixels.
const STILL: (f64, f64) = (1020.0, 765.0);

/// The curves of a sheet, top down; that of the roll where a window is rolled.
fn measures(sheet: &Sheet<'_>) -> Vec<Measure> {
    let rolls = sheet.tracks.iter().any(|track| (0..track.frames()).any(|frame| track.row(frame).window.roll != 0.0));
    let roll = rolls.then_some(Measure::Roll);
    let place = [Measure::Zoom, Measure::Across, Measure::Down].into_iter().chain(roll);
    place.chain([Measure::Pace, Measure::Still, Measure::Enlargement, Measure::Speed]).collect()
}

/// A motion sheet as SVG. Legend, keys and remarks stand beside the still as far as they have room there, else at the
/// foot; the pictures of the keys take what room is left.
pub(super) fn sheet(sheet: &Sheet<'_>) -> String {
    let still = space::fitted(sheet.shoot.size, Rect::new(MARGIN, TOP, MARGIN + STILL.0, TOP + STILL.1));
    let column = Rect::new(still.x1 + GAP, still.y0, WIDTH - MARGIN, still.y1);
    let legend = Legend::of(sheet, column);
    let below = column.y0 + legend.height() + 16.0;
    let foot = |top: f64| Rect::new(MARGIN, top, WIDTH - MARGIN, f64::INFINITY);

    let list = List::of(sheet, Rect::new(column.x0, below, column.x1, column.y1));
    let keys = Keys::of(sheet);
    let parted = if list.height() > 0.0 { GAP } else { 0.0 };
    let both = keys.least() + parted + list.height() <= column.y1 - below;
    let keys_beside = both || keys.least() <= column.y1 - below;
    let keys_end = if both { column.y1 - list.height() - parted } else { column.y1 };
    let keys = if keys_beside {
        let keys = keys.within(sheet, Rect::new(column.x0, below, column.x1, keys_end.max(below)));
        (keys, true)
    } else {
        (keys, false)
    };

    let caption = LINE * still::caption_lines(sheet, still.width()).len() as f64;
    let legend_end = if keys_beside { below } else { below - 16.0 };
    let mut top = (still.y1 + caption).max(legend_end) + 46.0;
    let lanes = Lanes::of(sheet);
    let left = MARGIN + GUTTER;
    let right = WIDTH - MARGIN - ENDS;
    let lane_place = Rect::new(left, top, right, top + lanes.height());
    if lanes.height() > 0.0 {
        top = lane_place.y1 + NEXT - CURVE;
    }
    let measures = measures(sheet);
    let curves_top = top;
    let mut end = curves_top + NEXT * (measures.len() - 1) as f64 + CURVE + LINE;
    let keys = match keys {
        (keys, true) => keys,
        (keys, false) => {
            // As at the foot of a page: rows of pictures no taller than a curve.
            let keys = keys.within(sheet, Rect::new(MARGIN, end + GAP, WIDTH - MARGIN, end + GAP + STILL.1));
            end += GAP + keys.height(sheet);
            keys
        }
    };
    let list = if both {
        let under = below + keys.height(sheet) + parted;
        List::of(sheet, Rect::new(column.x0, under, column.x1, column.y1))
    } else {
        let list = List::of(sheet, foot(end + GAP));
        end += if list.height() > 0.0 { GAP + list.height() } else { 0.0 };
        list
    };
    let height = (end + END).ceil();

    space::page((WIDTH, height), &sheet.title, &legend::facts(sheet), |svg| {
        still::draw(svg, sheet, still);
        still::caption(svg, sheet, still);
        legend.draw(svg, sheet);
        keys.draw(svg, sheet, still);
        list.draw(svg);
        let time = Scale { from: 0.0, to: sheet.length, first: left, last: right, ratio: false };
        lanes.draw(svg, sheet, lane_place, time);
        for (index, measure) in measures.iter().enumerate() {
            let place = Rect::new(left, curves_top, right, curves_top + CURVE) + Vec2::new(0.0, NEXT * index as f64);
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

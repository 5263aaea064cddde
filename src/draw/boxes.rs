//! What is followed and what is covered, over a still: boxes of no delivery, so white, and told apart by their corners
//! and their hatching.

use kurbo::{Affine, BezPath, Point, Rect, Shape as _};

use super::sheet::{Sheet, Subject};
use crate::ink::labels::{Chip, Labels};
use crate::ink::letters::Type;
use crate::ink::look::{CASING, EDGE, Look, SHADE, THIN_CASING, WHITE};
use crate::ink::scale::{figure, round_seconds};
use crate::ink::svg::{Element, Svg};
use crate::plan::covered_in;
use crate::units::SlotIndex;

/// Pixels from one line of a hatching to the next.
const HATCH: f64 = 12.0;

/// Boxes nearer than this to one drawn already are that one.
const SAME: f64 = 0.6;

/// A box of a frame, on the sheet.
struct Placed {
    frame: usize,
    area: Rect,
    /// When it is there, where a key says so.
    key: Option<f64>,
}

/// Hatches what is covered in the still that lies under everything.
pub(super) fn covers(svg: &mut Svg, sheet: &Sheet<'_>, onto: Affine) {
    let Some(slot) = sheet.backdrop.as_ref().and_then(|backdrop| backdrop.slot) else { return };
    for area in areas(sheet, slot) {
        let place = onto.transform_rect_bbox(area.1);
        cased_by(svg, &hatching(place), (1.0, THIN_CASING), |line| line.text("class", "hatching"));
        cased(svg, &place.to_path(0.1), 1.4, |line| {
            line.text("class", "cover").number("data-cover", area.0 as f64).number("data-slot", slot.0 as f64)
        });
    }
}

/// Covers by number with their areas, in pixels of the still.
fn areas(sheet: &Sheet<'_>, slot: SlotIndex) -> Vec<(usize, Rect)> {
    let rect = |area: &crate::plan::CoveredArea| {
        let (x, y) = (f64::from(area.x), f64::from(area.y));
        (area.cover, Rect::new(x, y, x + f64::from(area.width), y + f64::from(area.height)))
    };
    covered_in(sheet.covers, slot).iter().map(rect).collect()
}

/// Lines from the lower left to the upper right, within a box.
fn hatching(place: Rect) -> BezPath {
    let mut lines = BezPath::new();
    let mut at = ((place.x0 + place.y0) / HATCH).ceil() * HATCH;
    while at < place.x1 + place.y1 {
        let from = Point::new((at - place.y1).max(place.x0), (at - place.x0).min(place.y1));
        let to = Point::new((at - place.y0).min(place.x1), (at - place.x1).max(place.y0));
        lines.move_to(from);
        lines.line_to(to);
        at += HATCH;
    }
    lines
}

/// Draws where what is followed is: its corners at ticks of time, its whole box too at its keys.
pub(super) fn subjects(svg: &mut Svg, sheet: &Sheet<'_>, onto: Affine) {
    for subject in &sheet.subjects {
        for one in placed(sheet, subject, onto) {
            let name = &sheet.tracks[subject.track].plan.name;
            if one.key.is_some() {
                cased(svg, &one.area.to_path(0.1), 1.0, |line| {
                    line.text("class", "subject").text("data-delivery", name).number("data-frame", one.frame as f64)
                });
            }
            let (width, class) = if one.key.is_some() { (3.0, "subject-corners") } else { (1.6, "subject-between") };
            cased(svg, &corners(one.area), width, |line| {
                line.text("class", class).text("data-delivery", name).number("data-frame", one.frame as f64)
            });
        }
    }
}

/// Names the boxes, where there is room.
pub(super) fn name(svg: &mut Svg, sheet: &Sheet<'_>, onto: Affine, labels: &mut Labels) {
    let write = |svg: &mut Svg, labels: &mut Labels, text: String, area: Rect| {
        let chip = Chip { text, set: Type::SMALL, look: Look::NONE, marked: false };
        let size = chip.size();
        let (above, below) = (area.y0 - size.height - 4.0, area.y1 + 4.0);
        let corners = [
            (area.x0, above),
            (area.x0, below),
            (area.x1 - size.width, above),
            (area.x1 - size.width, below),
            (area.x0 + 4.0, area.y0 + 4.0),
        ];
        if let Some(place) = labels.place(size, corners.map(Point::from)) {
            chip.draw(svg, place);
        }
    };
    for subject in &sheet.subjects {
        for one in placed(sheet, subject, onto) {
            if let Some(seconds) = one.key {
                write(svg, labels, format!("subject {} s", figure(seconds, 0.1)), one.area);
            } else if subject.confidence.get(one.frame).is_some_and(|sure| *sure <= 0.0) {
                let seconds = sheet.tracks[subject.track].time(one.frame);
                write(svg, labels, format!("lost {} s", figure(seconds, 0.1)), one.area);
            }
        }
    }
    let Some(slot) = sheet.backdrop.as_ref().and_then(|backdrop| backdrop.slot) else { return };
    for (_, area) in areas(sheet, slot) {
        write(svg, labels, "cover".into(), onto.transform_rect_bbox(area));
    }
}

/// What the boxes mean, in words; empty where there are none.
pub(super) fn legend(sheet: &Sheet<'_>) -> String {
    let slot = sheet.backdrop.as_ref().and_then(|backdrop| backdrop.slot);
    let covered = slot.is_some_and(|slot| !covered_in(sheet.covers, slot).is_empty());
    let subject =
        if sheet.subjects.is_empty() { "" } else { "White corners: what is followed, its whole box at its keys. " };
    let elsewhere = if covered || sheet.covers.is_empty() { "" } else { "Covers: none on this still. " };
    let cover = if covered { "Hatched: what covers hide in this still. " } else { elsewhere };
    format!("{subject}{cover}").trim_end().to_owned()
}

/// A subject's boxes at its keys and, where they are others, at the ticks of the sheet.
fn placed(sheet: &Sheet<'_>, subject: &Subject<'_>, onto: Affine) -> Vec<Placed> {
    let track = &sheet.tracks[subject.track];
    let at = |frame: usize| onto.transform_rect_bbox(subject.boxes[frame].rect());
    let keys =
        subject.keys.iter().map(|frame| Placed { frame: *frame, area: at(*frame), key: Some(track.time(*frame)) });
    let step = round_seconds(sheet.length / 10.0);
    let ticks = track.ticks(step).into_iter().map(|frame| Placed { frame, area: at(frame), key: None });
    let mut placed: Vec<Placed> = Vec::new();
    for one in keys.chain(ticks) {
        let near = |other: &Placed| {
            let (one, other) = (one.area, other.area);
            [one.x0 - other.x0, one.y0 - other.y0, one.x1 - other.x1, one.y1 - other.y1]
                .iter()
                .all(|off| off.abs() < SAME)
        };
        if !placed.iter().any(near) {
            placed.push(one);
        }
    }
    placed
}

/// The four corners of a box, a quarter of its shorter side long.
fn corners(area: Rect) -> BezPath {
    let arm = (area.width().min(area.height()) / 4.0).min(16.0);
    let mut path = BezPath::new();
    for (x, y, across, down) in [
        (area.x0, area.y0, arm, arm),
        (area.x1, area.y0, -arm, arm),
        (area.x1, area.y1, -arm, -arm),
        (area.x0, area.y1, arm, -arm),
    ] {
        path.move_to((x + across, y));
        path.line_to((x, y));
        path.line_to((x, y + down));
    }
    path
}

/// A white line with a dark edge, which stands out on anything.
fn cased(svg: &mut Svg, path: &BezPath, width: f64, of: impl Fn(Element<'_>) -> Element<'_>) {
    cased_by(svg, path, (width, CASING), of);
}

/// The same, with an edge of its own width.
fn cased_by(svg: &mut Svg, path: &BezPath, (width, edge): (f64, f64), of: impl Fn(Element<'_>) -> Element<'_>) {
    svg.path(path)
        .text("fill", "none")
        .text("stroke", SHADE)
        .number("stroke-width", width + edge)
        .number("stroke-opacity", EDGE)
        .empty();
    of(svg.path(path)).text("fill", "none").text("stroke", WHITE).number("stroke-width", width).empty();
}

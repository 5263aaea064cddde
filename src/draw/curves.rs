//! Curves over the time of the clip: zoom, place, roll, pace, still, enlargement, speed. Deliveries with the same values
//! share one line.

use kurbo::{Point, Rect};

use super::measure::Measure;
use super::sheet::Sheet;
use super::still::NEAR;
use crate::ink::axes::{self, End};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{Badge, FRAME, INK, Look, PANEL, QUIET, WARNING, dashed};
use crate::ink::scale::{Scale, figure, round_seconds, short};
use crate::ink::svg::Svg;
use crate::ink::thin::thinned;
use crate::units::SlotIndex;

/// Lines nowhere further apart than this are the same, in pixels: with what thinning leaves out, a drawn line lies within
/// a quarter of a pixel of every delivery's that it stands for.
const SAME: f64 = 0.2;

/// A delivery's line, and the other deliveries that have the same.
struct Line {
    track: usize,
    also: Vec<usize>,
    points: Vec<Point>,
}

/// One curve with its axes in `place`; `time` is the axis across. `small` leaves out what a small picture has no room
/// for.
pub(super) fn draw(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, time: Scale, small: bool) {
    let tracks: Vec<usize> =
        if measure.is_shared(sheet) { vec![sheet.finest_at()] } else { (0..sheet.tracks.len()).collect() };
    let values: Vec<Vec<Option<f64>>> = tracks
        .iter()
        .map(|track| {
            let track = &sheet.tracks[*track];
            (0..track.frames()).map(|frame| measure.value(sheet, track, frame)).collect()
        })
        .collect();
    let all = values.iter().flatten().flatten();
    let range = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(*value), high.max(*value)));
    let known = range.0.is_finite() && range.1.is_finite();
    let scale = measure.scale(sheet, if known { range } else { (1.0, 1.0) }, place);

    let group = svg.element("g").text("class", "curve").text("data-measure", measure.name());
    let group = group.exact("data-from", scale.from).exact("data-to", scale.to).exact("data-first", scale.first);
    let group = group.exact("data-last", scale.last).text("data-ratio", if scale.ratio { "yes" } else { "no" });
    let group = group.exact("data-time", time.to).exact("data-left", time.first).exact("data-right", time.last);
    group.holding(|svg| {
        let set = if small { Type::SMALL_BOLD } else { Type::HEADING };
        axes::heading(
            svg,
            place,
            measure.name(),
            if small { String::new() } else { measure.says(sheet) }.as_str(),
            set,
        );
        axes::panel(svg, place);
        axes::upright(svg, place, time, &time_ticks(time, place.width()));
        level(svg, sheet, measure, place, scale, small);
        references(svg, sheet, measure, place, scale);
        let mut lines: Vec<Line> = Vec::new();
        for (track, values) in tracks.iter().zip(&values) {
            let points = points(sheet, measure, (*track, values), time, scale);
            match lines.iter_mut().find(|line| same(&line.points, &points)) {
                Some(line) => line.also.push(*track),
                None => lines.push(Line { track: *track, also: Vec::new(), points }),
            }
        }
        for line in lines.iter().filter(|line| !line.points.is_empty()) {
            draw_line(svg, sheet, measure, (line, lines.len()), (time, scale));
        }
        if measure.is_of_windows() {
            number_keys(svg, sheet, place, time);
        }
        if !measure.is_shared(sheet) && !small {
            let ends: Vec<End> = tracks
                .iter()
                .filter_map(|track| {
                    let of = |line: &&Line| line.track == *track || line.also.contains(track);
                    let end = lines.iter().find(of)?.points.last()?.y;
                    Some((Look::of(*track), sheet.tracks[*track].name.clone(), end))
                })
                .collect();
            axes::name_ends(svg, &ends, place);
        }
        if measure == Measure::Still && !sheet.compared {
            held(svg, sheet, place, time);
            apart(svg, sheet, place, time);
        }
        write_time(svg, place, time);
    });
}

/// The values' own axis.
fn level(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, scale: Scale, small: bool) {
    let most = axes::most_figures(place);
    let mut ticks = scale.ticks(most);
    if measure == Measure::Still {
        ticks.retain(|tick| tick.fract() == 0.0 && *tick >= 1.0 && *tick <= sheet.shoot.slots.len() as f64);
    }
    let step = axes::step(&ticks, scale);
    if measure == Measure::Enlargement {
        // The 1:1 line is written there.
        ticks.retain(|tick| (scale.at(*tick) - scale.at(1.0)).abs() > 11.0);
    }
    axes::level(svg, place, scale, &ticks, step);
    let beside = |svg: &mut Svg, y: f64, text: &str| {
        Type::TICK.write(svg, Point::new(place.x1 + 8.0, y + 4.0), Anchor::Start, QUIET, text);
    };
    if measure == Measure::Still && !small && !sheet.compared {
        for tick in &ticks {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a still's number, from 1")]
            let slot = SlotIndex((tick.max(1.0) as usize) - 1);
            if let Some(taken) = sheet.taken(slot, "%b %-d, %H:%M:%S") {
                beside(svg, scale.at(*tick), &taken);
            }
        }
    }
    if let (Measure::Pace, Some(interval), false) = (measure, sheet.interval, small || sheet.compared) {
        let real = Scale { from: scale.from * interval, to: scale.to * interval, ..scale };
        let ticks = real.ticks(most);
        let step = ticks.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
        for tick in &ticks {
            let y = real.at(*tick);
            svg.line(&[Point::new(place.x1, y), Point::new(place.x1 + 5.0, y)]).text("stroke", FRAME).empty();
            beside(svg, y, &format!("× {}", figure(*tick, if step.is_finite() { step } else { 1.0 })));
        }
    }
}

/// Lines that values are read against.
fn references(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, scale: Scale) {
    let across = |y: f64| [Point::new(place.x0, y), Point::new(place.x1, y)];
    match measure {
        Measure::Enlargement => {
            let y = scale.at(1.0);
            let above = Rect::new(place.x0, place.y0, place.x1, y);
            svg.rect(above).text("fill", WARNING).number("fill-opacity", 0.06).empty();
            svg.line(&across(y))
                .text("class", "one-to-one")
                .text("stroke", WARNING)
                .number("stroke-width", 1.4)
                .empty();
            let at = Point::new(place.x0 - 7.0, y + 4.0);
            Type::TICK_BOLD.write(svg, at, Anchor::End, WARNING, "1:1");
        }
        Measure::Speed => {
            for (index, track) in sheet.tracks.iter().enumerate() {
                let y = scale.at(track.speed_limit());
                let look = Look::of(index);
                let line = svg.line(&across(y)).text("class", "rule-of-thumb").text("data-delivery", &track.plan.name);
                dashed(line.text("stroke", look.dark).number("stroke-width", 0.9), look).empty();
                look.mark.draw(svg, Point::new(place.x0 + 8.0 + 12.0 * index as f64, y), 3.2, look.dark, PANEL);
            }
        }
        _ => {}
    }
}

/// A delivery's values where they are drawn.
fn points(
    sheet: &Sheet<'_>,
    measure: Measure,
    (track, values): (usize, &[Option<f64>]),
    time: Scale,
    scale: Scale,
) -> Vec<Point> {
    let track = &sheet.tracks[track];
    let mut points: Vec<Point> = Vec::new();
    for (frame, value) in values.iter().enumerate() {
        let Some(value) = value else { continue };
        let (x, y) = (time.at(track.time(frame)), scale.at(*value));
        // A still is there until the next one is.
        if let (Measure::Still, Some(last)) = (measure, points.last())
            && last.y != y
        {
            points.push(Point::new(x, last.y));
        }
        points.push(Point::new(x, y));
    }
    // The last frame is on screen until the clip ends.
    if let Some(last) = points.last() {
        points.push(Point::new(time.at(track.time(track.frames()).min(sheet.length)).max(last.x), last.y));
    }
    points
}

/// Whether no point of either of two lines, both from left to right, lies further than [`SAME`] from the other.
fn same(one: &[Point], other: &[Point]) -> bool {
    let near = |at: Point, line: &[Point]| {
        let first = line.partition_point(|point| point.x < at.x - SAME).saturating_sub(1);
        let pieces = line[first..].windows(2).take_while(|pair| pair[0].x <= at.x + SAME);
        pieces.into_iter().any(|pair| crate::ink::thin::distance(at, pair[0], pair[1]) <= SAME)
    };
    let all = |one: &[Point], other: &[Point]| one.iter().all(|at| near(*at, other));
    !one.is_empty() && !other.is_empty() && all(one, other) && all(other, one)
}

/// One line; in ink where it is that of all deliveries.
fn draw_line(
    svg: &mut Svg,
    sheet: &Sheet<'_>,
    measure: Measure,
    (line, lines): (&Line, usize),
    (time, scale): (Scale, Scale),
) {
    let (track, look) = (&sheet.tracks[line.track], Look::of(line.track));
    let of_all = measure.is_shared(sheet) || (lines == 1 && !line.also.is_empty());
    let colour = if of_all { INK } else { look.dark };
    let drawn = svg.line(&thinned(&line.points, NEAR)).text("class", "value").text("data-delivery", &track.plan.name);
    let also: Vec<&str> = line.also.iter().map(|track| sheet.tracks[*track].plan.name.as_str()).collect();
    // No name of a delivery has a slash: each is part of a file's.
    let drawn = if also.is_empty() { drawn } else { drawn.text("data-also", &also.join("/")) };
    let drawn = drawn.text("stroke", colour).number("stroke-width", 1.8).text("stroke-linejoin", "round");
    (if of_all { drawn } else { dashed(drawn, look) }).empty();
    if measure.is_of_windows() {
        for key in sheet.keys_of(track) {
            let frame = track.frame_at(key.seconds);
            if let Some(value) = measure.value(sheet, track, frame) {
                let (at, mark) = (Point::new(time.at(track.time(frame)), scale.at(value)), look.mark);
                if of_all { Look::NONE.mark } else { mark }.draw(svg, at, 3.8, colour, PANEL);
            }
        }
    }
}

/// The keys' numbers along the upper edge of a panel, as the list of keys has them.
fn number_keys(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect, time: Scale) {
    let mut taken = f64::NEG_INFINITY;
    for key in sheet.numbered() {
        // Where its mark is: at the frame that is on screen then.
        let Some((track, seconds)) = key.of.first() else { continue };
        let track = &sheet.tracks[*track];
        let x = time.at(track.time(track.frame_at(*seconds)));
        svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)])
            .text("stroke", QUIET)
            .number("stroke-width", 0.8)
            .text("stroke-dasharray", "1 3")
            .empty();
        let x = x.clamp(place.x0 + 9.0, place.x1 - 9.0);
        if x - taken > 2.0 * Badge::RADIUS {
            Badge::Key.draw(svg, Point::new(x, place.y0), key.number);
            taken = x;
        }
    }
}

/// Bars at the foot while another still is held in the place of the one due.
fn held(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect, time: Scale) {
    let track = sheet.finest();
    let mut frame = 0;
    while frame < track.frames() {
        let is_held = |frame: usize| track.row(frame).slot != track.row(frame).shown;
        if !is_held(frame) {
            frame += 1;
            continue;
        }
        let from = frame;
        while frame < track.frames() && is_held(frame) {
            frame += 1;
        }
        let (left, right) = (time.at(track.time(from)), time.at(track.time(frame)));
        let bar = Rect::new(left, place.y1 - 6.0, right.max(left + 3.0), place.y1);
        svg.rect(bar).text("class", "held").text("fill", WARNING).empty();
    }
}

/// Upright lines where the shoot goes on after a break.
fn apart(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect, time: Scale) {
    let track = sheet.finest();
    for frame in track.breaks(sheet.breaks) {
        let x = time.at(track.time(frame));
        svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)])
            .text("class", "break")
            .text("stroke", WARNING)
            .number("stroke-width", 1.0)
            .text("stroke-dasharray", "4 3")
            .empty();
    }
}

/// The round moments beneath the axis across.
pub(super) fn time_ticks(time: Scale, width: f64) -> Vec<f64> {
    let step = round_seconds((time.to - time.from) / (width / 80.0).max(2.0));
    let mut ticks = Vec::new();
    let mut number = 0.0;
    while number * step <= time.to * (1.0 + 1e-9) && ticks.len() < 1000 {
        ticks.push(number * step);
        number += 1.0;
    }
    ticks
}

/// The axis across, written beneath.
pub(super) fn write_time(svg: &mut Svg, place: Rect, time: Scale) {
    let ticks = time_ticks(time, place.width());
    let step = ticks.get(1).copied().unwrap_or(1.0);
    let figures: Vec<(f64, String)> = ticks.iter().map(|tick| (time.at(*tick), figure(*tick, step))).collect();
    axes::beneath(svg, place, &figures, (time.last, &format!("{} s", short(time.to))));
}

//! Curves over the time of the clip: zoom, place, roll, pace, still, enlargement, speed.

use kurbo::{Point, Rect};

use super::labels::spread;
use super::letters::{Anchor, Type};
use super::look::{FRAME, INK, Look, PANEL, QUIET, RULE, WARNING};
use super::scale::{Scale, figure, short};
use super::sheet::{Sheet, SheetRow};
use super::still::{NEAR, dashed};
use super::svg::Svg;
use super::thin::thinned;
use crate::geom::Window;
use crate::units::SlotIndex;

/// What a curve shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// How close, 1 for the largest window.
    Zoom,
    /// The window's centre across, as a fraction of the still's width.
    Across,
    /// And down, of its height.
    Down,
    /// How far the window is turned clockwise, in degrees.
    Roll,
    /// How fast the shoot runs.
    Pace,
    /// The still on screen.
    Still,
    /// Pixels of the frame for one of the still.
    Enlargement,
    /// Pixels the fastest corner moves a frame.
    Speed,
}

impl Measure {
    /// Its name, which a test finds it by.
    fn name(self) -> &'static str {
        match self {
            Self::Zoom => "zoom",
            Self::Across => "across",
            Self::Down => "down",
            Self::Roll => "roll",
            Self::Pace => "pace",
            Self::Still => "still shown",
            Self::Enlargement => "enlargement",
            Self::Speed => "fastest corner",
        }
    }

    /// What is to be known to read it.
    fn says(self, sheet: &Sheet<'_>) -> String {
        match self {
            Self::Zoom => "1 is the largest window; equal ratios are equal heights".into(),
            Self::Across => "the window's centre, as a fraction of the still's width from the left".into(),
            Self::Down => "and of its height from the top".into(),
            Self::Roll => "degrees the window is turned clockwise".into(),
            Self::Pace if sheet.interval.is_some() && !sheet.compared => {
                "stills a second; on the right, times real time".into()
            }
            Self::Pace => "stills a second".into(),
            Self::Still => {
                let held = !sheet.compared && sheet.finest().plan.rows.iter().any(|row| row.slot != row.shown);
                let held = if held { "; a bar at the foot: another is held in its place" } else { "" };
                format!("counted from 1{held}")
            }
            Self::Enlargement => "pixels of the frame for one of the still; above 1:1 the still is enlarged".into(),
            Self::Speed => "pixels of the frame a frame; thin lines: a picture width in 7 s, a rule of thumb".into(),
        }
    }

    /// The clip's alone, and not each delivery's.
    fn is_shared(self, sheet: &Sheet<'_>) -> bool {
        matches!(self, Self::Pace | Self::Still) && !sheet.compared
    }

    fn value(self, sheet: &Sheet<'_>, track: &SheetRow<'_>, frame: usize) -> Option<f64> {
        let row = track.row(frame);
        let still = sheet.shoot.size;
        match self {
            Self::Zoom => {
                let largest = Window::largest(track.plan.room, track.plan.frame.aspect(), row.window.roll);
                Some(largest.width / row.window.width)
            }
            Self::Across => Some(row.window.centre().x / f64::from(still.width)),
            Self::Down => Some(row.window.centre().y / f64::from(still.height)),
            Self::Roll => Some(row.window.roll),
            Self::Pace => track.pace(frame),
            Self::Still => Some(row.shown.0 as f64 + 1.0),
            Self::Enlargement => Some(row.window.enlargement(track.plan.frame)),
            Self::Speed => track.speed(frame),
        }
    }

    /// The scale that shows all values from `low` to `high`.
    fn scale(self, sheet: &Sheet<'_>, (low, high): (f64, f64), place: Rect) -> Scale {
        let room =
            |from: f64, to: f64, ratio: bool| Scale { from, to, first: place.y1 - 5.0, last: place.y0 + 5.0, ratio };
        let around = |least: f64| {
            let (middle, half) = (f64::midpoint(low, high), ((high - low) * 0.54).max(least / 2.0));
            (middle - half, middle + half)
        };
        match self {
            Self::Zoom => {
                let (middle, half) = ((low * high).sqrt(), (high / low).powf(0.54).max(1.25_f64.sqrt()));
                room(middle / half, middle * half, true)
            }
            Self::Across => {
                let (from, to) = around(0.1);
                room(from, to, false)
            }
            Self::Down => {
                let (from, to) = around(0.1);
                room(to, from, false)
            }
            Self::Roll => {
                let (from, to) = around(2.0);
                room(from, to, false)
            }
            Self::Still => {
                let (from, to) = around(2.0);
                room(from, to, false)
            }
            Self::Pace => {
                let (low, high) = (low.min(0.0), high.max(0.0));
                let spare = ((high - low) * 0.12).max(0.1);
                room(if low < 0.0 { low - spare } else { 0.0 }, if high > 0.0 { high + spare } else { 0.0 }, false)
            }
            Self::Enlargement => {
                let (low, high) = (low.min(1.0), high.max(1.0));
                let spare = ((high - low) * 0.1).max(0.05);
                room((low - spare).max(0.0), high + spare, false)
            }
            Self::Speed => {
                let limits = sheet.tracks.iter().map(SheetRow::speed_limit);
                room(0.0, limits.fold(high, f64::max) * 1.12, false)
            }
        }
    }
}

/// One curve with its axes in `place`; `time` is the axis across. `small` leaves out what a small picture has no room
/// for.
pub(super) fn draw(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, time: Scale, small: bool) {
    let tracks: Vec<(usize, &SheetRow<'_>)> =
        if measure.is_shared(sheet) { vec![(0, sheet.finest())] } else { sheet.tracks.iter().enumerate().collect() };
    let range =
        tracks.iter().flat_map(|(_, track)| (0..track.frames()).filter_map(|frame| measure.value(sheet, track, frame)));
    let range = range.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let known = range.0.is_finite() && range.1.is_finite();
    let scale = measure.scale(sheet, if known { range } else { (1.0, 1.0) }, place);

    let group = svg.element("g").text("class", "curve").text("data-measure", measure.name());
    let group = group.exact("data-from", scale.from).exact("data-to", scale.to).exact("data-first", scale.first);
    let group = group.exact("data-last", scale.last).text("data-ratio", if scale.ratio { "yes" } else { "no" });
    let group = group.exact("data-time", time.to).exact("data-left", time.first).exact("data-right", time.last);
    group.holding(|svg| {
        heading(svg, sheet, measure, place, small);
        svg.rect(place).text("fill", PANEL).text("stroke", FRAME).empty();
        axes(svg, sheet, measure, place, time, scale, small);
        references(svg, sheet, measure, place, scale);
        if known {
            let ends: Vec<(Look, String, f64)> = tracks
                .iter()
                .map(|(index, track)| {
                    let look = Look::of(*index);
                    curve(svg, sheet, measure, (track, look), time, scale);
                    let last = (0..track.frames())
                        .rev()
                        .find_map(|frame| measure.value(sheet, track, frame))
                        .unwrap_or(scale.from);
                    (look, track.name.clone(), scale.at(last))
                })
                .collect();
            if !measure.is_shared(sheet) && !small {
                name_ends(svg, &ends, place);
            }
        }
        if measure == Measure::Still && !sheet.compared {
            held(svg, sheet, place, time);
        }
    });
}

fn heading(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, small: bool) {
    let at = Point::new(place.x0, place.y0 - 7.0);
    let set = if small { Type::SMALL_BOLD } else { Type::HEADING };
    set.write(svg, at, Anchor::Start, INK, measure.name());
    if !small {
        let after = set.width(measure.name()) + 10.0;
        let text = Type::SMALL.cut(&measure.says(sheet), place.width() - after);
        Type::SMALL.write(svg, at + (after, 0.0), Anchor::Start, QUIET, &text);
    }
}

fn axes(svg: &mut Svg, sheet: &Sheet<'_>, measure: Measure, place: Rect, time: Scale, scale: Scale, small: bool) {
    for tick in time_ticks(time, place.width()) {
        let x = time.at(tick);
        if x > place.x0 + 0.5 && x < place.x1 - 0.5 {
            svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)]).text("stroke", RULE).empty();
        }
    }
    let set = Type { size: 11.0, bold: false };
    let most = (place.height() / 18.0).clamp(2.0, 6.0);
    let mut ticks = scale.ticks(most);
    if measure == Measure::Still {
        ticks.retain(|tick| tick.fract() == 0.0 && *tick >= 1.0 && *tick <= sheet.shoot.slots.len() as f64);
    }
    let step = ticks.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(f64::INFINITY, f64::min);
    if measure == Measure::Enlargement {
        // The 1:1 line is written there.
        ticks.retain(|tick| (scale.at(*tick) - scale.at(1.0)).abs() > 11.0);
    }
    let step = if step.is_finite() { step } else { scale.from.abs().max(0.001) * 0.01 };
    for tick in ticks {
        let y = scale.at(tick);
        svg.line(&[Point::new(place.x0, y), Point::new(place.x1, y)]).text("stroke", RULE).empty();
        let at = Point::new(place.x0 - 7.0, y + 4.0);
        set.write(svg, at, Anchor::End, QUIET, &figure(tick, step));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a still's number, from 1")]
        let slot = SlotIndex((tick.max(1.0) as usize) - 1);
        if measure == Measure::Still
            && !small
            && !sheet.compared
            && let Some(taken) = sheet.taken(slot, "%b %-d, %H:%M:%S")
        {
            set.write(svg, Point::new(place.x1 + 7.0, y + 4.0), Anchor::Start, QUIET, &taken);
        }
    }
    if let (Measure::Pace, Some(interval), false) = (measure, sheet.interval, small || sheet.compared) {
        let real = Scale { from: scale.from * interval, to: scale.to * interval, ..scale };
        let ticks = real.ticks(most);
        let step = ticks.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
        for tick in &ticks {
            let y = real.at(*tick);
            svg.line(&[Point::new(place.x1, y), Point::new(place.x1 + 5.0, y)]).text("stroke", FRAME).empty();
            let text = format!("× {}", figure(*tick, if step.is_finite() { step } else { 1.0 }));
            set.write(svg, Point::new(place.x1 + 8.0, y + 4.0), Anchor::Start, QUIET, &text);
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
            svg.rect(above).text("fill", WARNING).number("fill-opacity", 0.07).empty();
            svg.line(&across(y))
                .text("class", "one-to-one")
                .text("stroke", WARNING)
                .number("stroke-width", 1.4)
                .empty();
            let set = Type { size: 11.0, bold: true };
            set.write(svg, Point::new(place.x0 - 7.0, y + 4.0), Anchor::End, WARNING, "1:1");
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

fn curve(
    svg: &mut Svg,
    sheet: &Sheet<'_>,
    measure: Measure,
    (track, look): (&SheetRow<'_>, Look),
    time: Scale,
    scale: Scale,
) {
    let mut points: Vec<Point> = Vec::new();
    for frame in 0..track.frames() {
        let Some(value) = measure.value(sheet, track, frame) else { continue };
        let (x, y) = (time.at(track.time(frame)), scale.at(value));
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
    let colour = if measure.is_shared(sheet) { INK } else { look.dark };
    let line = svg.line(&thinned(&points, NEAR)).text("class", "value").text("data-delivery", &track.plan.name);
    let line = line.text("stroke", colour).number("stroke-width", 1.8).text("stroke-linejoin", "round");
    (if measure.is_shared(sheet) { line } else { dashed(line, look) }).empty();
    if matches!(measure, Measure::Zoom | Measure::Across | Measure::Down) {
        for key in track.keys.iter().filter(|key| key.seconds < sheet.length) {
            let frame = track.frame_at(key.seconds);
            if let Some(value) = measure.value(sheet, track, frame) {
                look.mark.draw(svg, Point::new(time.at(track.time(frame)), scale.at(value)), 4.2, look.dark, PANEL);
            }
        }
    }
}

/// Names the curves at their ends.
fn name_ends(svg: &mut Svg, ends: &[(Look, String, f64)], place: Rect) {
    let set = Type { size: 11.0, bold: false };
    let heights: Vec<f64> = ends.iter().map(|(.., y)| *y).collect();
    let apart = (place.height() / ends.len() as f64).min(14.0);
    if apart < 12.0 {
        return;
    }
    let heights = spread(&heights, apart, place.y0 + 5.0, place.y1 - 5.0);
    for ((look, name, end), y) in ends.iter().zip(heights) {
        let line = [Point::new(place.x1, *end), Point::new(place.x1 + 7.0, y)];
        svg.line(&line).text("stroke", look.dark).number("stroke-width", 0.8).empty();
        look.mark.draw(svg, Point::new(place.x1 + 13.0, y), 4.0, look.dark, PANEL);
        set.write(svg, Point::new(place.x1 + 21.0, y + 4.0), Anchor::Start, look.dark, &set.cut(name, 92.0));
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

/// The round moments beneath the axis across.
pub(super) fn time_ticks(time: Scale, width: f64) -> Vec<f64> {
    let step = super::scale::round_seconds((time.to - time.from) / (width / 80.0).max(2.0));
    let mut ticks = Vec::new();
    let mut number = 0.0;
    while number * step <= time.to * (1.0 + 1e-9) && ticks.len() < 1000 {
        ticks.push(number * step);
        number += 1.0;
    }
    ticks
}

/// The axis across, written beneath the last curve.
pub(super) fn write_time(svg: &mut Svg, place: Rect, time: Scale) {
    let set = Type { size: 11.0, bold: false };
    let ticks = time_ticks(time, place.width());
    let step = ticks.get(1).copied().unwrap_or(1.0);
    let end = format!("{} s", short(time.to));
    let end_from = time.last - set.width(&end) / 2.0 - 8.0;
    for tick in ticks {
        let x = time.at(tick);
        let text = figure(tick, step);
        if x + set.width(&text) / 2.0 < end_from {
            set.write(svg, Point::new(x, place.y1 + 16.0), Anchor::Middle, QUIET, &text);
        }
    }
    set.write(svg, Point::new(time.last, place.y1 + 16.0), Anchor::Middle, INK, &end);
}

//! Where everything stands on a motion sheet, and on the small card of a move.

use kurbo::{Point, Rect};

use super::boxes;
use super::curves::{self, Measure};
use super::letters::{Anchor, FAMILIES, Type};
use super::look::{BAR, FRAME, INK, Look, PANEL, PAPER, QUIET, RULE, WARNING};
use super::scale::{Scale, short};
use super::sheet::{Sheet, SheetRow};
use super::still::{self, dashed};
use super::svg::Svg;
use crate::geom::Window;

/// A sheet's width in pixels.
pub(super) const WIDTH: f64 = 1600.0;
const MARGIN: f64 = 40.0;
/// Room left and right of the curves.
const GUTTER: f64 = 64.0;
const ENDS: f64 = 126.0;
/// Height of a curve, and from one to the next.
const CURVE: f64 = 96.0;
const NEXT: f64 = 126.0;
/// Height of a line of remarks' bars.
const LANE: f64 = 20.0;
/// More remarks than these are counted.
const REMARKS: usize = 14;

/// The curves of a sheet, top down; that of the roll where a window is rolled.
fn measures(sheet: &Sheet<'_>) -> Vec<Measure> {
    let rolls = sheet.tracks.iter().any(|track| (0..track.frames()).any(|frame| track.row(frame).window.roll != 0.0));
    let roll = rolls.then_some(Measure::Roll);
    let place = [Measure::Zoom, Measure::Across, Measure::Down].into_iter().chain(roll);
    place.chain([Measure::Pace, Measure::Still, Measure::Enlargement, Measure::Speed]).collect()
}

/// A motion sheet as SVG.
pub(super) fn sheet(sheet: &Sheet<'_>) -> String {
    let still = still::fitted(sheet.shoot.size, Rect::new(MARGIN, 84.0, MARGIN + 1020.0, 84.0 + 765.0));
    let column = Rect::new(still.x1 + 30.0, still.y0, WIDTH - MARGIN, still.y1);
    let legend_end = column.y0 + legend_height(sheet);
    // Beside the still where there is room, else at the foot.
    let narrow = List::of(sheet, Rect::new(column.x0, legend_end + 22.0, column.x1, column.y1));
    let beside = narrow.height() <= column.y1 - narrow.place.y0;
    let boxes = if boxes::legend(sheet).is_empty() { 0.0 } else { 14.0 };
    let top = (still.y1 + boxes).max(legend_end) + 54.0;
    let lanes = Lanes::of(sheet);
    let lanes_height = 14.0 + lanes.count as f64 * LANE;
    let lane_place = Rect::new(MARGIN + GUTTER, top, WIDTH - MARGIN - ENDS, top + lanes_height);
    let curves_top = if lanes.count == 0 { top + 14.0 } else { lane_place.y1 + 34.0 };
    let measures = measures(sheet);
    let curves_end = curves_top + NEXT * (measures.len() - 1) as f64 + CURVE;
    let list = if beside {
        narrow
    } else {
        List::of(sheet, Rect::new(MARGIN, curves_end + 44.0, WIDTH - MARGIN, f64::INFINITY))
    };
    let end = if beside { curves_end + 16.0 } else { list.place.y0 + list.height() };
    let height = (end + 30.0).ceil();

    Svg::document(WIDTH, height, &sheet.title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, WIDTH, height)).text("fill", PAPER).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            title(svg, sheet);
            still::draw(svg, sheet, still);
            still::caption(svg, sheet, still);
            draw_legend(svg, sheet, column);
            list.draw(svg);
            let time = Scale { from: 0.0, to: sheet.length, first: lane_place.x0, last: lane_place.x1, ratio: false };
            lanes.draw(svg, sheet, lane_place, time);
            let mut place = Rect::new(lane_place.x0, curves_top, lane_place.x1, curves_top + CURVE);
            for measure in &measures {
                curves::draw(svg, sheet, *measure, place, time, false);
                place = place + kurbo::Vec2::new(0.0, NEXT);
            }
            curves::write_time(svg, place - kurbo::Vec2::new(0.0, NEXT), time);
        });
    })
}

/// A small picture of a move: a still with the window over it, and its zoom and place.
pub(super) fn card(sheet: &Sheet<'_>, measures: &[Measure]) -> String {
    let (width, margin, curve, next) = (760.0, 14.0, 62.0, 92.0);
    let still = still::fitted(sheet.shoot.size, Rect::new(margin, margin, margin + 400.0, margin + 300.0));
    let place = Rect::new(still.x1 + 58.0, margin + 18.0, width - margin - 14.0, margin + 18.0 + curve);
    let height = still.y1.max(place.y1 + next * (measures.len() as f64 - 1.0) + 20.0) + margin;
    Svg::document(width, height, &sheet.title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, width, height)).text("fill", PAPER).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            still::draw(svg, sheet, still);
            let time = Scale { from: 0.0, to: sheet.length, first: place.x0, last: place.x1, ratio: false };
            let mut place = place;
            for measure in measures {
                curves::draw(svg, sheet, *measure, place, time, true);
                place = place + kurbo::Vec2::new(0.0, next);
            }
            curves::write_time(svg, place - kurbo::Vec2::new(0.0, next), time);
        });
    })
}

fn title(svg: &mut Svg, sheet: &Sheet<'_>) {
    let facts = facts(sheet);
    let room = WIDTH - 2.0 * MARGIN;
    let text = Type::TITLE.cut(&sheet.title, room - Type::BODY.width(&facts) - 30.0);
    Type::TITLE.write(svg, Point::new(MARGIN, 50.0), Anchor::Start, INK, &text);
    Type::BODY.write(svg, Point::new(WIDTH - MARGIN, 50.0), Anchor::End, QUIET, &facts);
    svg.line(&[Point::new(MARGIN, 66.0), Point::new(WIDTH - MARGIN, 66.0)]).text("stroke", FRAME).empty();
}

/// What clip it is, from what shoot.
fn facts(sheet: &Sheet<'_>) -> String {
    let slots = sheet.shoot.slots.len();
    let noun = if slots == 1 { "still" } else { "stills" };
    let mut facts = format!("{} s from {slots} {noun} of {}", short(sheet.length), sheet.shoot.size);
    let last = crate::units::SlotIndex(slots.saturating_sub(1));
    let (from, to) = (sheet.taken(crate::units::SlotIndex(0), "%Y-%m-%d %H:%M"), sheet.taken(last, "%Y-%m-%d %H:%M"));
    if let (Some(from), Some(to)) = (from, to) {
        facts += &format!(", {from} to {to}");
    }
    facts
}

/// What a delivery comes to, in lines.
fn legend_lines(track: &SheetRow<'_>) -> Vec<String> {
    let plan = track.plan;
    let noun = if track.frames() == 1 { "frame" } else { "frames" };
    let mut lines = vec![format!("{} at {} a second, {} {noun}", plan.frame, plan.fps, track.frames())];
    let largest = Window::largest(plan.room, plan.frame.aspect(), 0.0).width;
    let zoom = |window: Window| largest / window.width;
    let widest = plan.rows.iter().map(|row| zoom(row.window)).fold(f64::INFINITY, f64::min);
    let (frame, closest) = track.closest();
    lines.push(if zoom(closest) - widest < 1e-9 {
        format!("zoom {} throughout", short(widest))
    } else {
        format!("zoom {} to {}, closest at {} s", short(widest), short(zoom(closest)), short(track.time(frame)))
    });
    let (sharp, enlarged) = (largest / f64::from(plan.frame.width), closest.enlargement(plan.frame));
    lines.push(match (enlarged <= 1.0 + 1e-6, sharp >= 1.0) {
        (true, _) => format!("sharp throughout; 1:1 would be zoom {}", short(sharp)),
        (false, true) => format!("sharp up to zoom {}; enlarged up to {} times", short(sharp), short(enlarged)),
        (false, false) => format!("never sharp; enlarged up to {} times", short(enlarged)),
    });
    let speeds = (1..track.frames()).filter_map(|frame| Some((frame, track.speed(frame)?)));
    if let Some((frame, speed)) =
        speeds.max_by(|(_, one), (_, other)| one.total_cmp(other)).filter(|(_, speed)| *speed > 1e-9)
    {
        let (at, limit) = (short(track.time(frame)), short(track.speed_limit()));
        lines.push(format!("moves up to {} px a frame, at {at} s; rule of thumb {limit}", short(speed)));
    } else {
        lines.push("does not move".into());
    }
    lines
}

fn legend_height(sheet: &Sheet<'_>) -> f64 {
    sheet.tracks.iter().map(|track| 34.0 + 18.0 * legend_lines(track).len() as f64).sum()
}

fn draw_legend(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    let mut y = place.y0 + 6.0;
    for (index, track) in sheet.tracks.iter().enumerate() {
        let look = Look::of(index);
        let sample = [Point::new(place.x0, y + 6.0), Point::new(place.x0 + 64.0, y + 6.0)];
        let line = svg.line(&sample).text("stroke", look.dark).number("stroke-width", 2.4);
        dashed(line, look).empty();
        look.mark.draw(svg, Point::new(place.x0 + 32.0, y + 6.0), 6.0, look.dark, PAPER);
        let name = Type::HEADING.cut(&track.name, place.width() - 80.0);
        Type::HEADING.write(svg, Point::new(place.x0 + 78.0, y + 11.0), Anchor::Start, INK, &name);
        y += 30.0;
        for line in legend_lines(track) {
            let line = Type::BODY.cut(&line, place.width() - 78.0);
            Type::BODY.write(svg, Point::new(place.x0 + 78.0, y), Anchor::Start, QUIET, &line);
            y += 18.0;
        }
        y += 4.0;
    }
}

/// The disc that a remark is known by.
fn number(svg: &mut Svg, at: Point, number: usize) {
    let disc = kurbo::Circle::new(at, 8.0);
    svg.path(&kurbo::Shape::to_path(&disc, 0.02)).text("fill", WARNING).empty();
    let set = Type { size: 10.5, bold: true };
    set.write(svg, at + (0.0, 3.8), Anchor::Middle, PANEL, &number.to_string());
}

/// What is said of a plan, or of two.
fn word(sheet: &Sheet<'_>) -> &'static str {
    if sheet.compared { "differences" } else { "remarks" }
}

/// The remarks in words.
struct List {
    place: Rect,
    /// The lines of each.
    said: Vec<Vec<String>>,
    /// How many there is no room for.
    more: usize,
    /// What they are called.
    word: &'static str,
}

impl List {
    const LINE: f64 = 18.0;
    const INDENT: f64 = 26.0;

    fn of(sheet: &Sheet<'_>, place: Rect) -> Self {
        let remarks = &sheet.remarks;
        let said = remarks.iter().take(REMARKS).map(|remark| {
            let at = remark.place.as_ref().map_or_else(String::new, |place| format!(" ({place})"));
            Type::BODY.lines(&format!("{}{at}", remark.text), place.width() - Self::INDENT)
        });
        Self { place, said: said.collect(), more: remarks.len().saturating_sub(REMARKS), word: word(sheet) }
    }

    fn height(&self) -> f64 {
        let lines: usize = self.said.iter().map(Vec::len).sum();
        let heading = if self.said.is_empty() { 0.0 } else { 26.0 };
        let more = if self.more > 0 { 24.0 } else { 0.0 };
        heading + lines as f64 * Self::LINE + self.said.len() as f64 * 6.0 + more
    }

    fn draw(&self, svg: &mut Svg) {
        if self.said.is_empty() {
            return;
        }
        let Point { x, y } = self.place.origin();
        Type::HEADING.write(svg, Point::new(x, y + 12.0), Anchor::Start, INK, self.word);
        let mut y = y + 38.0;
        for (index, lines) in self.said.iter().enumerate() {
            number(svg, Point::new(x + 9.0, y - 4.5), index + 1);
            for line in lines {
                Type::BODY.write(svg, Point::new(x + Self::INDENT, y), Anchor::Start, INK, line);
                y += Self::LINE;
            }
            y += 6.0;
        }
        if self.more > 0 {
            let text = format!("and {} more, which `stillpath check` says", self.more);
            Type::BODY.write(svg, Point::new(x + Self::INDENT, y), Anchor::Start, QUIET, &text);
        }
    }
}

/// Which remark's bar is in which line.
struct Lanes {
    /// By remark, where it has a moment at all.
    of: Vec<Option<usize>>,
    count: usize,
    /// What the remarks are called.
    word: &'static str,
}

impl Lanes {
    /// Remarks that are of a part of the clip, each in the first line that is free while it lasts.
    fn of(sheet: &Sheet<'_>) -> Self {
        let mut busy: Vec<Vec<(f64, f64)>> = Vec::new();
        let of = sheet.remarks.iter().take(REMARKS).map(|remark| {
            let whole = (remark.spans.first()?.0, remark.spans.last()?.1);
            let free = |lane: &Vec<(f64, f64)>| lane.iter().all(|(from, to)| whole.1 < *from || whole.0 > *to);
            let lane = busy.iter().position(free).unwrap_or(busy.len());
            if lane == busy.len() {
                busy.push(Vec::new());
            }
            busy[lane].push(whole);
            Some(lane)
        });
        let of = of.collect();
        Self { of, count: busy.len(), word: word(sheet) }
    }

    fn draw(&self, svg: &mut Svg, sheet: &Sheet<'_>, place: Rect, time: Scale) {
        if self.count == 0 {
            return;
        }
        Type::HEADING.write(svg, Point::new(place.x0, place.y0 - 7.0), Anchor::Start, INK, self.word);
        let after = Type::HEADING.width(self.word) + 10.0;
        Type::SMALL.write(
            svg,
            Point::new(place.x0 + after, place.y0 - 7.0),
            Anchor::Start,
            QUIET,
            "by their numbers in the list",
        );
        svg.rect(place).text("fill", PANEL).text("stroke", FRAME).empty();
        for tick in curves::time_ticks(time, place.width()).into_iter().skip(1) {
            let x = time.at(tick);
            if x < place.x1 - 0.5 {
                svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)]).text("stroke", RULE).empty();
            }
        }
        for (index, lane) in self.of.iter().enumerate() {
            let Some(lane) = lane else { continue };
            let y = place.y0 + 7.0 + (*lane as f64 + 0.5) * LANE;
            let within = |seconds: f64| time.at(seconds.clamp(0.0, sheet.length));
            for (from, to) in &sheet.remarks[index].spans {
                let bar = Rect::new(within(*from), y - 3.5, within(*to).max(within(*from) + 3.0), y + 3.5);
                let bar = svg.rect(bar).text("class", "remark").number("data-remark", (index + 1) as f64);
                bar.text("fill", WARNING).number("fill-opacity", BAR).empty();
            }
            let first = sheet.remarks[index].spans.first().map_or(0.0, |span| span.0);
            let x = (within(first) + 2.0).clamp(place.x0 + 10.0, place.x1 - 10.0);
            number(svg, Point::new(x, y), index + 1);
        }
    }
}

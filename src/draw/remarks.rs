//! What is worth knowing of a shot: in words, and over the frames that it is about.

use kurbo::{Point, Rect};

use super::curves;
use super::sheet::Sheet;
use crate::ink::axes;
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{BAR, Badge, INK, QUIET, WARNING};
use crate::ink::scale::Scale;
use crate::ink::space::{HEADING, LINE};
use crate::ink::svg::Svg;

/// Height of a line of bars.
const LANE: f64 = 20.0;
/// More remarks than these are counted.
const REMARKS: usize = 14;

/// What is said of a plan, or of two.
fn word(sheet: &Sheet<'_>) -> &'static str {
    if sheet.compared { "differences" } else { "remarks" }
}

/// The remarks in words.
pub(super) struct List {
    pub(super) place: Rect,
    /// The lines of each.
    said: Vec<Vec<String>>,
    /// How many there is no room for.
    more: usize,
    /// What they are called.
    word: &'static str,
}

impl List {
    const INDENT: f64 = 26.0;

    pub(super) fn of(sheet: &Sheet<'_>, place: Rect) -> Self {
        let remarks = &sheet.remarks;
        let said = remarks.iter().take(REMARKS).map(|remark| {
            let at = remark.place.as_ref().map_or_else(String::new, |place| format!(" ({place})"));
            Type::BODY.lines(&format!("{}{at}", remark.text), place.width() - Self::INDENT)
        });
        Self { place, said: said.collect(), more: remarks.len().saturating_sub(REMARKS), word: word(sheet) }
    }

    pub(super) fn height(&self) -> f64 {
        let lines: usize = self.said.iter().map(Vec::len).sum();
        let heading = if self.said.is_empty() { 0.0 } else { HEADING };
        let more = if self.more > 0 { 24.0 } else { 0.0 };
        heading + lines as f64 * LINE + self.said.len() as f64 * 6.0 + more
    }

    pub(super) fn draw(&self, svg: &mut Svg) {
        if self.said.is_empty() {
            return;
        }
        let Point { x, y } = self.place.origin();
        Type::HEADING.write(svg, Point::new(x, y + 12.0), Anchor::Start, INK, self.word);
        let mut y = y + 38.0;
        for (index, lines) in self.said.iter().enumerate() {
            Badge::Seen.draw(svg, Point::new(x + 9.0, y - 4.5), index + 1);
            for line in lines {
                Type::BODY.write(svg, Point::new(x + Self::INDENT, y), Anchor::Start, INK, line);
                y += LINE;
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
pub(super) struct Lanes {
    /// By remark, where it has a moment at all.
    of: Vec<Option<usize>>,
    count: usize,
    /// What the remarks are called.
    word: &'static str,
}

impl Lanes {
    /// Remarks that are of a part of the clip, each in the first line that is free while it lasts.
    pub(super) fn of(sheet: &Sheet<'_>) -> Self {
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

    /// Pixels that the lines need; 0 where there are none.
    pub(super) fn height(&self) -> f64 {
        if self.count == 0 { 0.0 } else { 14.0 + self.count as f64 * LANE }
    }

    pub(super) fn draw(&self, svg: &mut Svg, sheet: &Sheet<'_>, place: Rect, time: Scale) {
        if self.count == 0 {
            return;
        }
        axes::heading(svg, place, self.word, "by their numbers in the list", Type::HEADING);
        axes::panel(svg, place);
        axes::upright(svg, place, time, &curves::time_ticks(time, place.width()));
        curves::write_time(svg, place, time);
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
            Badge::Seen.draw(svg, Point::new(x, y), index + 1);
        }
    }
}

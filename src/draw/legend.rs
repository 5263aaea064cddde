//! What clip a sheet is of, and what its deliveries come to, in words.

use kurbo::{Point, Rect};

use super::sheet::{Sheet, SheetRow};
use crate::geom::Window;
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{INK, Look, PAPER, QUIET, dashed};
use crate::ink::scale::{short, span};
use crate::ink::space::{GAP, LINE};
use crate::ink::svg::Svg;
use crate::units::SlotIndex;

/// Room for the sample of a line, left of the words.
const SAMPLE: f64 = 70.0;
/// The least width of a delivery's words with its sample.
const LEAST: f64 = 400.0;

/// What clip it is, from what shoot.
pub(super) fn facts(sheet: &Sheet<'_>) -> String {
    let slots = sheet.shoot.slots.len();
    let noun = if slots == 1 { "still" } else { "stills" };
    let mut facts = format!("{} s from {slots} {noun} of {}", short(sheet.length), sheet.shoot.size);
    let taken = |slot: usize| sheet.shoot.captured(SlotIndex(slot)).map(|captured| captured.local);
    if let (Some(from), Some(to)) = (taken(0), taken(slots.saturating_sub(1))) {
        facts += &format!(", {}", span(from, to));
    }
    for (count, what) in &sheet.left_out {
        facts += &format!(", {count} {what}");
    }
    facts
}

/// What a delivery comes to, in lines.
fn legend_lines(track: &SheetRow<'_>) -> Vec<String> {
    let plan = track.plan;
    let noun = if track.frames() == 1 { "frame" } else { "frames" };
    let mut lines = vec![format!("{} at {} a second, {} {noun}", plan.frame, plan.fps, track.frames())];
    let zooms = || plan.rows.iter().map(|row| track.zoom(row.window)).enumerate();
    let widest = zooms().map(|(_, zoom)| zoom).fold(f64::INFINITY, f64::min);
    let (frame, closest) = zooms().rev().max_by(|(_, one), (_, other)| one.total_cmp(other)).unwrap_or((0, widest));
    lines.push(if closest - widest < 1e-9 {
        format!("zoom {} throughout", short(widest))
    } else {
        format!("zoom {} to {}, closest at {} s", short(widest), short(closest), short(track.time(frame)))
    });
    let (_, smallest) = track.closest();
    // Of the roll that the smallest window has, as its zoom is.
    let largest = Window::largest(plan.room, plan.frame.aspect(), smallest.roll).width;
    let (sharp, enlarged) = (largest / f64::from(plan.frame.width), smallest.enlargement(plan.frame));
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

/// A legend laid out in as many columns as there is room for.
pub(super) struct Legend {
    place: Rect,
    columns: usize,
    /// The lines of each delivery.
    said: Vec<Vec<String>>,
}

impl Legend {
    pub(super) fn of(sheet: &Sheet<'_>, place: Rect) -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a page has few columns")]
        let most = ((place.width() + GAP) / (LEAST + GAP)).floor().max(1.0) as usize;
        let columns = most.min(sheet.tracks.len()).max(1);
        let width = (place.width() + GAP) / columns as f64 - GAP - SAMPLE;
        let wrapped = |track| legend_lines(track).iter().flat_map(|line| Type::BODY.lines(line, width)).collect();
        let said = sheet.tracks.iter().map(wrapped).collect();
        Self { place, columns, said }
    }

    fn rows(&self) -> impl Iterator<Item = f64> {
        let tallest = |row: &[Vec<String>]| row.iter().map(Vec::len).max().unwrap_or(0) as f64;
        self.said.chunks(self.columns).map(move |row| 30.0 + LINE * tallest(row) + 6.0)
    }

    /// Pixels that it needs.
    pub(super) fn height(&self) -> f64 {
        self.rows().sum()
    }

    pub(super) fn draw(&self, svg: &mut Svg, sheet: &Sheet<'_>) {
        let width = (self.place.width() + GAP) / self.columns as f64;
        let mut top = self.place.y0;
        for (row, height) in self.rows().enumerate() {
            for (column, said) in self.said.iter().skip(row * self.columns).take(self.columns).enumerate() {
                let left = self.place.x0 + column as f64 * width;
                let index = row * self.columns + column;
                one(svg, Point::new(left, top), width - GAP, (&sheet.tracks[index].name, Look::of(index)), said);
            }
            top += height;
        }
    }
}

/// A delivery's line and mark, its name, and what it comes to.
fn one(svg: &mut Svg, at: Point, width: f64, (name, look): (&str, Look), said: &[String]) {
    let (x, y) = (at.x, at.y + 6.0);
    let line = svg.line(&[Point::new(x, y), Point::new(x + 56.0, y)]);
    dashed(line.text("stroke", look.dark).number("stroke-width", 2.4), look).empty();
    look.mark.draw(svg, Point::new(x + 28.0, y), 6.0, look.dark, PAPER);
    let name = Type::HEADING.cut(name, width - SAMPLE);
    Type::HEADING.write(svg, Point::new(x + SAMPLE, y + 5.0), Anchor::Start, INK, &name);
    for (index, line) in said.iter().enumerate() {
        Type::BODY.write(svg, Point::new(x + SAMPLE, y + 24.0 + LINE * index as f64), Anchor::Start, QUIET, line);
    }
}

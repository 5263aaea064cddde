//! A contact strip: chosen frames of each delivery in a row, each with its number and its time.

use base64::Engine as _;
use kurbo::{Point, Rect};

use super::letters::{Anchor, FAMILIES, Type};
use super::look::{FRAME, INK, PAPER, QUIET};
use super::svg::Svg;
use crate::units::Size;

const MARGIN: f64 = 24.0;
const GAP: f64 = 12.0;

/// A row for every delivery.
#[derive(Debug, Clone)]
pub struct Strip {
    /// What it is a strip of.
    pub title: String,
    /// One a delivery, at least one.
    pub rows: Vec<StripRow>,
}

/// Some frames of a delivery.
#[derive(Debug, Clone)]
pub struct StripRow {
    /// What it is called, and what it comes to.
    pub name: String,
    /// The rest of that line.
    pub facts: String,
    /// In order, all of one size.
    pub frames: Vec<StripFrame>,
}

/// A frame made small.
#[derive(Debug, Clone)]
pub struct StripFrame {
    /// Its number, from 0.
    pub number: usize,
    /// When it is shown, as people write it.
    pub time: String,
    /// Its size in pixels, which it is shown in.
    pub size: Size,
    /// A PNG or JPEG of it.
    pub image: Vec<u8>,
}

/// A strip as SVG: every frame a pixel a pixel.
pub(super) fn draw(strip: &Strip) -> String {
    let width_of = |row: &StripRow| row.frames.iter().map(|frame| f64::from(frame.size.width) + GAP).sum::<f64>() - GAP;
    let width = (strip.rows.iter().map(width_of).fold(480.0, f64::max) + 2.0 * MARGIN).ceil();
    let tallest = |row: &StripRow| row.frames.iter().map(|frame| f64::from(frame.size.height)).fold(0.0, f64::max);
    let heights: Vec<f64> = strip.rows.iter().map(|row| tallest(row) + 64.0).collect();
    let height = 58.0 + heights.iter().sum::<f64>() + 2.0;
    Svg::document(width, height, &strip.title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, width, height)).text("fill", PAPER).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            let title = Type { size: 18.0, bold: true }.cut(&strip.title, width - 2.0 * MARGIN);
            Type { size: 18.0, bold: true }.write(svg, Point::new(MARGIN, 36.0), Anchor::Start, INK, &title);
            let mut top = 58.0;
            for (row, height) in strip.rows.iter().zip(heights) {
                draw_row(svg, row, top, width);
                top += height;
            }
        });
    })
}

fn draw_row(svg: &mut Svg, row: &StripRow, top: f64, width: f64) {
    let name = Type::HEADING.cut(&row.name, width / 2.0);
    Type::HEADING.write(svg, Point::new(MARGIN, top + 14.0), Anchor::Start, INK, &name);
    let after = MARGIN + Type::HEADING.width(&name) + 10.0;
    let facts = Type::SMALL.cut(&row.facts, width - MARGIN - after);
    Type::SMALL.write(svg, Point::new(after, top + 14.0), Anchor::Start, QUIET, &facts);
    let mut x = MARGIN;
    for frame in &row.frames {
        let (across, down) = (f64::from(frame.size.width), f64::from(frame.size.height));
        let place = Rect::new(x, top + 24.0, x + across, top + 24.0 + down);
        let kind = if frame.image.starts_with(b"\x89PNG") { "png" } else { "jpeg" };
        let image = base64::engine::general_purpose::STANDARD.encode(&frame.image);
        let element = svg.element("image").text("class", "frame").number("data-frame", frame.number as f64);
        let element =
            element.number("x", place.x0).number("y", place.y0).number("width", across).number("height", down);
        element.text("href", &format!("data:image/{kind};base64,{image}")).empty();
        svg.rect(place.inflate(0.5, 0.5)).text("fill", "none").text("stroke", FRAME).empty();
        let text = Type::SMALL.cut(&format!("{} · {}", frame.number, frame.time), across);
        Type::SMALL.write(svg, Point::new(x, place.y1 + 16.0), Anchor::Start, QUIET, &text);
        x += across + GAP;
    }
}

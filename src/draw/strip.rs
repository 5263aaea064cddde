//! A contact strip: chosen frames of each delivery in a row, each with its number and its time.

use base64::Engine as _;
use kurbo::{Point, Rect};

use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{FRAME, INK, Look, PAPER, QUIET};
use crate::ink::space::{self, HEADING, MARGIN, TOP};
use crate::ink::svg::Svg;
use crate::units::Size;

/// Between frames.
const GAP: f64 = 12.0;
/// Room for what stands under a frame, and to the next row.
const CAPTION: f64 = 34.0;

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
    /// Its place among the deliveries of its shot, which its mark goes by.
    pub delivery: usize,
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
    let heights: Vec<f64> = strip.rows.iter().map(|row| HEADING + tallest(row) + CAPTION + GAP).collect();
    let height = TOP + heights.iter().sum::<f64>();
    let frames: usize = strip.rows.iter().map(|row| row.frames.len()).sum();
    let facts = if frames == 1 { "1 frame".to_owned() } else { format!("{frames} frames") };
    space::page((width, height.ceil()), &strip.title, &facts, |svg| {
        let mut top = TOP;
        for (row, height) in strip.rows.iter().zip(heights) {
            draw_row(svg, row, top, width);
            top += height;
        }
    })
}

fn draw_row(svg: &mut Svg, row: &StripRow, top: f64, width: f64) {
    let look = Look::of(row.delivery);
    look.mark.draw(svg, Point::new(MARGIN + 7.0, top + 9.0), 6.0, look.dark, PAPER);
    let left = MARGIN + 22.0;
    let name = Type::HEADING.cut(&row.name, width / 2.0);
    Type::HEADING.write(svg, Point::new(left, top + 14.0), Anchor::Start, INK, &name);
    let after = left + Type::HEADING.width(&name) + 10.0;
    let facts = Type::SMALL.cut(&row.facts, width - MARGIN - after);
    Type::SMALL.write(svg, Point::new(after, top + 14.0), Anchor::Start, QUIET, &facts);
    let mut x = MARGIN;
    for frame in &row.frames {
        let (across, down) = (f64::from(frame.size.width), f64::from(frame.size.height));
        let place = Rect::new(x, top + HEADING, x + across, top + HEADING + down);
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

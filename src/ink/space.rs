//! The distances of all large drawings, in pixels.

use kurbo::{Point, Rect};

use super::letters::{Anchor, FAMILIES, Type};
use super::look::{FRAME, INK, PAPER, QUIET};
use super::svg::Svg;

/// Width of a sheet or a page, and room at its edges.
pub(crate) const WIDTH: f64 = 1600.0;
pub(crate) const MARGIN: f64 = 40.0;
/// From one part to what stands beside or beneath it.
pub(crate) const GAP: f64 = 30.0;
/// Where the first part begins, under the title.
pub(crate) const TOP: f64 = 84.0;
/// Room left of curves for their figures, and right of them for their names.
pub(crate) const GUTTER: f64 = 64.0;
pub(crate) const ENDS: f64 = 126.0;
/// Height of a curve, room for figures and a heading between two, and from the top of one to that of the next.
pub(crate) const CURVE: f64 = 96.0;
pub(crate) const BETWEEN: f64 = 54.0;
pub(crate) const NEXT: f64 = CURVE + BETWEEN;
/// From one line of text to the next.
pub(crate) const LINE: f64 = 18.0;
/// From a part's heading to its first line.
pub(crate) const HEADING: f64 = 26.0;
/// From the last thing to the lower edge.
pub(crate) const END: f64 = 30.0;

/// A document of this size on paper, with its title and facts over a rule.
pub(crate) fn page((width, height): (f64, f64), title: &str, facts: &str, draw: impl FnOnce(&mut Svg)) -> String {
    Svg::document(width, height, title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, width, height)).text("fill", PAPER).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            let room = width - 2.0 * MARGIN;
            let facts = Type::BODY.cut(facts, room * 0.7);
            let text = Type::TITLE.cut(title, room - Type::BODY.width(&facts) - GAP);
            Type::TITLE.write(svg, Point::new(MARGIN, 50.0), Anchor::Start, INK, &text);
            Type::BODY.write(svg, Point::new(width - MARGIN, 50.0), Anchor::End, QUIET, &facts);
            svg.line(&[Point::new(MARGIN, 66.0), Point::new(width - MARGIN, 66.0)]).text("stroke", FRAME).empty();
            draw(svg);
        });
    })
}

/// The largest rectangle of a picture's shape at the top left of some room.
pub(crate) fn fitted(shape: crate::units::Size, room: Rect) -> Rect {
    let largest = (room.width() / f64::from(shape.width)).min(room.height() / f64::from(shape.height));
    let size = kurbo::Size::new(f64::from(shape.width) * largest, f64::from(shape.height) * largest);
    Rect::from_origin_size(room.origin(), size)
}

//! A curve's panel: its heading, its ground, the rules that values are read against, the names at the curves' ends.

use kurbo::{Point, Rect};

use super::labels::spread;
use super::letters::{Anchor, Type};
use super::look::{FRAME, INK, Look, PANEL, QUIET, RULE};
use super::scale::{Scale, figure};
use super::svg::Svg;

/// A curve's name over its panel, and what is to be known to read it.
pub(crate) fn heading(svg: &mut Svg, place: Rect, name: &str, says: &str, set: Type) {
    let at = Point::new(place.x0, place.y0 - 14.0);
    set.write(svg, at, Anchor::Start, INK, name);
    if !says.is_empty() {
        let after = set.width(name) + 10.0;
        let text = Type::SMALL.cut(says, place.width() - after);
        Type::SMALL.write(svg, at + (after, 0.0), Anchor::Start, QUIET, &text);
    }
}

/// A panel's ground.
pub(crate) fn panel(svg: &mut Svg, place: Rect) {
    svg.rect(place).text("fill", PANEL).text("stroke", FRAME).empty();
}

/// Upright rules at some values of the axis across.
pub(crate) fn upright(svg: &mut Svg, place: Rect, across: Scale, ticks: &[f64]) {
    for x in ticks.iter().map(|tick| across.at(*tick)) {
        if x > place.x0 + 0.5 && x < place.x1 - 0.5 {
            svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)]).text("stroke", RULE).empty();
        }
    }
}

/// The most figures that a panel of this height has room for.
pub(crate) fn most_figures(place: Rect) -> f64 {
    (place.height() / 18.0).clamp(2.0, 6.0)
}

/// How far apart some ticks are; 1 % of the value where there is one only.
pub(crate) fn step(ticks: &[f64], scale: Scale) -> f64 {
    let step = ticks.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(f64::INFINITY, f64::min);
    if step.is_finite() { step } else { scale.from.abs().max(0.001) * 0.01 }
}

/// Level rules at some values of the axis up, with their figures on the left.
pub(crate) fn level(svg: &mut Svg, place: Rect, scale: Scale, ticks: &[f64], step: f64) {
    for tick in ticks {
        let y = scale.at(*tick);
        svg.line(&[Point::new(place.x0, y), Point::new(place.x1, y)]).text("stroke", RULE).empty();
        Type::TICK.write(svg, Point::new(place.x0 - 7.0, y + 4.0), Anchor::End, QUIET, &figure(*tick, step));
    }
}

/// Figures beneath a panel, from left to right; none where the one before or the last one stands, which is in ink and
/// always written.
pub(crate) fn beneath(svg: &mut Svg, place: Rect, figures: &[(f64, String)], last: (f64, &str)) {
    let (set, y) = (Type::TICK, place.y1 + 16.0);
    let half = |text: &str| set.width(text) / 2.0;
    let end_from = last.0 - half(last.1) - 8.0;
    let mut taken = f64::NEG_INFINITY;
    for (x, text) in figures {
        if x - half(text) > taken && x + half(text) < end_from {
            set.write(svg, Point::new(*x, y), Anchor::Middle, QUIET, text);
            taken = x + half(text) + 6.0;
        }
    }
    set.write(svg, Point::new(last.0, y), Anchor::Middle, INK, last.1);
}

/// The name of a curve, the height of its end, and how it is drawn.
pub(crate) type End = (Look, String, f64);

/// Names curves at their ends, right of a panel, each beside its mark.
pub(crate) fn name_ends(svg: &mut Svg, ends: &[End], place: Rect) {
    let set = Type::TICK;
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

//! Labels that never lie on one another: each takes the first place that is free, or is left out.

use kurbo::{Point, Rect, Size};

use super::letters::{Anchor, Type};
use super::look::{CHIP, Look, SHADE};
use super::svg::Svg;

/// What room is taken within some bounds.
#[derive(Debug)]
pub(crate) struct Labels {
    bounds: Rect,
    taken: Vec<Rect>,
}

impl Labels {
    /// All of `bounds` is free.
    pub(crate) fn within(bounds: Rect) -> Self {
        Self { bounds, taken: Vec::new() }
    }

    /// Keeps labels off a place.
    pub(crate) fn keep_off(&mut self, place: Rect) {
        self.taken.push(place);
    }

    /// The first of some corners (top left) at which a label of this size lies within the bounds and on no other.
    pub(crate) fn place(&mut self, size: Size, corners: impl IntoIterator<Item = Point>) -> Option<Rect> {
        let free = |place: &Rect| {
            let (inside, apart) = (self.bounds.inflate(0.01, 0.01), place.inflate(1.0, 1.0));
            inside.contains_rect(*place) && !self.taken.iter().any(|taken| taken.overlaps(apart))
        };
        let place = corners.into_iter().map(|corner| Rect::from_origin_size(corner, size)).find(free)?;
        self.taken.push(place);
        Some(place)
    }
}

/// A label on a still: a mark and a text on a dark ground.
#[derive(Debug)]
pub(crate) struct Chip {
    /// What it says.
    pub(crate) text: String,
    /// How it is set.
    pub(crate) set: Type,
    /// Whose it is.
    pub(crate) look: Look,
    /// Whether it begins with the mark.
    pub(crate) marked: bool,
}

impl Chip {
    const INSET: f64 = 5.0;

    fn mark_room(&self) -> f64 {
        if self.marked { 14.0 } else { 0.0 }
    }

    /// The room it takes.
    pub(crate) fn size(&self) -> Size {
        Size::new(self.set.width(&self.text) + self.mark_room() + 2.0 * Self::INSET, self.set.size + 6.0)
    }

    /// Draws it.
    pub(crate) fn draw(&self, svg: &mut Svg, place: Rect) {
        svg.plate(place, 3.0).text("fill", SHADE).number("fill-opacity", CHIP).text("class", "chip").empty();
        let middle = place.center().y;
        if self.marked {
            let at = Point::new(place.x0 + Self::INSET + 4.5, middle);
            self.look.mark.draw(svg, at, 4.5, self.look.light, "none");
        }
        let at = Point::new(place.x0 + Self::INSET + self.mark_room(), middle + self.set.size * 0.36);
        self.set.write(svg, at, Anchor::Start, self.look.light, &self.text);
    }
}

/// Moves heights apart until neighbours are `apart`, all of them between `top` and `bottom` where they fit: each as
/// near its own as the order allows.
pub(crate) fn spread(heights: &[f64], apart: f64, top: f64, bottom: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|one, other| heights[*one].total_cmp(&heights[*other]));
    let mut placed: Vec<f64> = order.iter().map(|index| heights[*index]).collect();
    for at in 0..placed.len() {
        let least = if at == 0 { top } else { placed[at - 1] + apart };
        placed[at] = placed[at].max(least);
    }
    for at in (0..placed.len()).rev() {
        let most = if at + 1 == placed.len() { bottom } else { placed[at + 1] - apart };
        placed[at] = placed[at].min(most);
    }
    let mut spread = vec![0.0; heights.len()];
    for (height, index) in placed.into_iter().zip(order) {
        spread[index] = height;
    }
    spread
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_takes_the_first_free_place_or_none() {
        let mut labels = Labels::within(Rect::new(0.0, 0.0, 100.0, 40.0));
        let corners = [Point::new(5.0, 5.0), Point::new(50.0, 5.0), Point::new(90.0, 5.0)];
        let size = Size::new(40.0, 20.0);
        assert_eq!(labels.place(size, corners).unwrap().x0, 5.0);
        assert_eq!(labels.place(size, corners).unwrap().x0, 50.0);
        assert!(labels.place(size, corners).is_none());
    }

    #[test]
    fn heights_are_spread_in_their_order() {
        let spread = spread(&[50.0, 50.0, 49.0], 10.0, 0.0, 100.0);
        assert_eq!(spread, [59.0, 69.0, 49.0]);
        assert_eq!(super::spread(&[95.0, 96.0], 10.0, 0.0, 100.0), [90.0, 100.0]);
    }
}

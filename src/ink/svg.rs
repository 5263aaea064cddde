//! Writes SVG: elements and attributes in the order given, everything that is not ours escaped.

use std::collections::BTreeMap;

use kurbo::{BezPath, PathEl, Point, Rect};

/// A document in the making.
#[derive(Debug, Default)]
pub(crate) struct Svg {
    text: String,
    /// What is drawn again and again, by its name.
    shapes: BTreeMap<String, String>,
}

/// An element whose attributes are being written.
#[must_use]
pub(crate) struct Element<'a> {
    svg: &'a mut Svg,
    name: &'static str,
}

impl Svg {
    /// A document of this size in pixels, holding what `draw` writes.
    pub(crate) fn document(width: f64, height: f64, title: &str, draw: impl FnOnce(&mut Self)) -> String {
        let mut svg = Self::default();
        let root = svg.element("svg").text("xmlns", "http://www.w3.org/2000/svg").number("width", width);
        root.number("height", height)
            .text("viewBox", &format!("0 0 {} {}", shortest(width), shortest(height)))
            .holding(|svg| {
                svg.element("title").saying(title);
                draw(svg);
                svg.write_shapes();
            });
        svg.text.push('\n');
        svg.text
    }

    /// Begins an element; it must be ended by one of [`Element`]'s last words.
    pub(crate) fn element(&mut self, name: &'static str) -> Element<'_> {
        self.text.push('<');
        self.text.push_str(name);
        Element { svg: self, name }
    }

    /// Keeps an outline under a name, once, for [`Self::place`]; `outline` is asked for what is not kept yet.
    pub(crate) fn keep(&mut self, name: &str, outline: impl FnOnce() -> String) {
        if !self.shapes.contains_key(name) {
            self.shapes.insert(name.to_owned(), outline());
        }
    }

    /// Draws the outline kept under a name so far along.
    pub(crate) fn place(&mut self, name: &str, across: f64) {
        let shape = self.element("use").text("href", &format!("#{name}"));
        (if across == 0.0 { shape } else { shape.number("x", across) }).empty();
    }

    /// Where they are looked for by name does not matter; at the end all are known.
    fn write_shapes(&mut self) {
        if self.shapes.is_empty() {
            return;
        }
        let shapes = std::mem::take(&mut self.shapes);
        self.element("defs").holding(|svg| {
            for (name, outline) in &shapes {
                svg.element("path").text("id", name).text("d", outline).empty();
            }
        });
    }

    /// A rectangle.
    pub(crate) fn rect(&mut self, rect: Rect) -> Element<'_> {
        let rectangle = self.element("rect").number("x", rect.x0).number("y", rect.y0);
        rectangle.number("width", rect.width()).number("height", rect.height())
    }

    /// A rectangle with round corners of this radius.
    pub(crate) fn plate(&mut self, rect: Rect, radius: f64) -> Element<'_> {
        self.rect(rect).number("rx", radius)
    }

    /// A circle.
    pub(crate) fn circle(&mut self, centre: Point, radius: f64) -> Element<'_> {
        self.element("circle").number("cx", centre.x).number("cy", centre.y).number("r", radius)
    }

    /// A path of kurbo's.
    pub(crate) fn path(&mut self, path: &BezPath) -> Element<'_> {
        self.element("path").text("d", &drawn(path))
    }

    /// Points joined by straight lines.
    pub(crate) fn line(&mut self, points: &[Point]) -> Element<'_> {
        let mut text = String::with_capacity(12 * points.len());
        for (at, point) in points.iter().enumerate() {
            if at > 0 {
                text.push(' ');
            }
            text += &format!("{},{}", shortest(point.x), shortest(point.y));
        }
        self.element("polyline").text("points", &text).text("fill", "none")
    }
}

impl Element<'_> {
    /// An attribute with a text.
    pub(crate) fn text(self, name: &str, value: &str) -> Self {
        self.svg.text.push(' ');
        self.svg.text.push_str(name);
        self.svg.text.push_str("=\"");
        escape(value, &mut self.svg.text);
        self.svg.text.push('"');
        self
    }

    /// An attribute with a number, to a hundredth.
    pub(crate) fn number(self, name: &str, value: f64) -> Self {
        let text = shortest(value);
        self.text(name, &text)
    }

    /// An attribute with a number in full.
    pub(crate) fn exact(self, name: &str, value: f64) -> Self {
        self.text(name, &value.to_string())
    }

    /// Ends it with nothing inside.
    pub(crate) fn empty(self) {
        self.svg.text.push_str("/>");
    }

    /// Ends it with a text inside.
    pub(crate) fn saying(self, text: &str) {
        self.svg.text.push('>');
        escape(text, &mut self.svg.text);
        self.close();
    }

    /// Ends it with other elements inside.
    pub(crate) fn holding(self, draw: impl FnOnce(&mut Svg)) {
        self.svg.text.push('>');
        draw(self.svg);
        self.svg.text.push('\n');
        self.close();
    }

    fn close(self) {
        self.svg.text.push_str("</");
        self.svg.text.push_str(self.name);
        self.svg.text.push('>');
    }
}

/// Adds a text so that it is only a text: what XML gives a meaning is escaped, what it cannot hold (XML 1.0, 2.2) is
/// replaced.
fn escape(text: &str, into: &mut String) {
    for letter in text.chars() {
        match letter {
            '&' => into.push_str("&amp;"),
            '<' => into.push_str("&lt;"),
            '>' => into.push_str("&gt;"),
            '"' => into.push_str("&quot;"),
            '\'' => into.push_str("&#39;"),
            '\u{FFFE}' | '\u{FFFF}' => into.push('\u{FFFD}'),
            letter if letter.is_control() => into.push('\u{FFFD}'),
            letter => into.push(letter),
        }
    }
}

/// A number to a hundredth of a pixel, none that says nothing. What is no number is drawn at 0.
pub(crate) fn shortest(value: f64) -> String {
    if !value.is_finite() {
        return "0".into();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.to_owned() }
}

fn drawn(path: &BezPath) -> String {
    let at = |point: Point| format!("{} {}", shortest(point.x), shortest(point.y));
    let parts = path.elements().iter().map(|element| match *element {
        PathEl::MoveTo(to) => format!("M{}", at(to)),
        PathEl::LineTo(to) => format!("L{}", at(to)),
        PathEl::QuadTo(by, to) => format!("Q{} {}", at(by), at(to)),
        PathEl::CurveTo(by, then, to) => format!("C{} {} {}", at(by), at(then), at(to)),
        PathEl::ClosePath => "Z".to_owned(),
    });
    parts.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_only_a_text_whatever_is_in_it() {
        let hostile = "<img src=x onerror=\"alert('1')\">&amp;\u{1}\n";
        let text = Svg::document(10.0, 20.0, hostile, |svg| svg.element("g").text("data-name", hostile).empty());
        let parsed = roxmltree::Document::parse(&text).unwrap();
        let expected = "<img src=x onerror=\"alert('1')\">&amp;\u{FFFD}\u{FFFD}";
        assert_eq!(parsed.descendants().filter(|node| node.is_element()).count(), 3);
        assert_eq!(parsed.descendants().find(|node| node.has_tag_name("title")).unwrap().text(), Some(expected));
        assert_eq!(
            parsed.descendants().find(|node| node.has_tag_name("g")).unwrap().attribute("data-name"),
            Some(expected)
        );
    }

    #[test]
    fn numbers_carry_no_decimals_that_say_nothing() {
        assert_eq!([shortest(3.0), shortest(-0.001), shortest(0.126), shortest(f64::NAN)], ["3", "0", "0.13", "0"]);
    }

    #[test]
    fn a_path_of_kurbos_comes_back_from_its_text() {
        let text = "M1 2L3 4C5 6 7 8 9 10Z";
        assert_eq!(drawn(&BezPath::from_svg(text).unwrap()), text);
    }
}

//! The letters of all drawings: how wide a text is, how it is cut to a width, how it is written.
//!
//! ## Decisions
//!
//! - Two embedded fonts (Inter's Latin, Greek and Cyrillic letters under a name of their own, `fonts/LICENSE`).
//! - A drawing carries its letters as outlines, each letter once, placed by `<use>`. Viewers without our fonts show the
//!   same picture, those included that read no fonts out of a drawing, as image viewers and office programs do. The
//!   words lie invisible over their outlines, as wide as these: a reader aloud reads them, a search finds them, a mouse
//!   selects them. That takes 10 kB on the card of a move and 30 to 130 kB on a page or a sheet, whose pictures take as
//!   much. A font cut down to the letters used, inside the drawing, would take less on a large sheet and about as much on
//!   a card; but most viewers outside browsers ignore it, and then nothing looks the same.
//! - A text with a letter that our fonts lack is written visibly, in the viewer's fonts.

use std::fmt::Write as _;
use std::sync::LazyLock;

use kurbo::Point;
use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::svg::Svg;

/// The two weights that come with the program; `fonts/LICENSE` says from where.
pub(crate) const REGULAR: &[u8] = include_bytes!("fonts/sans-regular.otf");
pub(crate) const BOLD: &[u8] = include_bytes!("fonts/sans-semibold.otf");

/// What a viewer takes for letters that our fonts lack, and for the invisible words.
pub(crate) const FAMILIES: &str = "Stillpath Sans, Inter, Segoe UI, Helvetica Neue, Arial, sans-serif";

static FACES: LazyLock<[Option<Face<'static>>; 2]> =
    LazyLock::new(|| [REGULAR, BOLD].map(|font| Face::parse(font, 0).ok()));

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Type {
    /// Height of the letters' body in pixels.
    pub(crate) size: f64,
    /// Whether it is the heavier weight.
    pub(crate) bold: bool,
}

/// Where a text's given point is along it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

impl Type {
    pub(crate) const TITLE: Self = Self { size: 22.0, bold: true };
    pub(crate) const HEADING: Self = Self { size: 14.0, bold: true };
    pub(crate) const BODY: Self = Self { size: 13.0, bold: false };
    pub(crate) const SMALL: Self = Self { size: 12.0, bold: false };
    /// Figures beside an axis.
    pub(crate) const TICK: Self = Self { size: 11.0, bold: false };
    pub(crate) const TICK_BOLD: Self = Self { size: 11.0, bold: true };
    pub(crate) const SMALL_BOLD: Self = Self { size: 12.0, bold: true };

    fn face(self) -> Option<&'static Face<'static>> {
        FACES[usize::from(self.bold)].as_ref()
    }

    /// How wide a letter is, in pixels; none where the fonts do not have it.
    fn advance(self, letter: char) -> Option<f64> {
        let face = self.face()?;
        let glyph = face.glyph_index(letter)?;
        Some(f64::from(face.glyph_hor_advance(glyph)?) / f64::from(face.units_per_em()) * self.size)
    }

    /// How wide a text is, in pixels; a letter that the fonts lack is taken to be as wide as high.
    pub(crate) fn width(self, text: &str) -> f64 {
        text.chars().map(|letter| self.advance(letter).unwrap_or(self.size)).sum()
    }

    /// As much of a text as fits, with "…" where that is not all.
    pub(crate) fn cut(self, text: &str, width: f64) -> String {
        if self.width(text) <= width {
            return text.to_owned();
        }
        let room = width - self.width("…");
        let mut used = 0.0;
        let kept = text.chars().take_while(|letter| {
            used += self.advance(*letter).unwrap_or(self.size);
            used <= room
        });
        kept.collect::<String>().trim_end().to_owned() + "…"
    }

    /// A text in lines no wider than `width`; a word that is wider is cut.
    pub(crate) fn lines(self, text: &str, width: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match lines.last_mut() {
                Some(line) if self.width(line) + self.width(" ") + self.width(word) <= width => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(self.cut(word, width)),
            }
        }
        lines
    }

    /// Writes a text with its baseline at a point: its outlines, and the words themselves for readers and searches.
    pub(crate) fn write(self, svg: &mut Svg, at: Point, anchor: Anchor, colour: &str, text: &str) {
        let width = self.width(text);
        let known = text.chars().all(|letter| self.advance(letter).is_some());
        let mut element = svg.element("text").number("x", at.x).number("y", at.y).number("font-size", self.size);
        if self.bold {
            element = element.text("font-weight", "600");
        }
        let left = match anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => width / 2.0,
            Anchor::End => width,
        };
        match anchor {
            Anchor::Start => {}
            Anchor::Middle => element = element.text("text-anchor", "middle"),
            Anchor::End => element = element.text("text-anchor", "end"),
        }
        if known && text.chars().count() > 1 {
            element = element.number("textLength", width);
        }
        if !known {
            return element.text("fill", colour).saying(text);
        }
        element.text("fill-opacity", "0").saying(text);
        let at = at - (left, 0.0);
        self.outlined(svg, at, colour, text);
    }

    /// The outlines of a text of known letters that begins at a point.
    fn outlined(self, svg: &mut Svg, at: Point, colour: &str, text: &str) {
        let Some(face) = self.face() else { return };
        let scale = self.size / f64::from(face.units_per_em());
        let place =
            format!("translate({} {})scale({scale:.5})", super::svg::shortest(at.x), super::svg::shortest(at.y));
        svg.element("g").text("fill", colour).text("transform", &place).holding(|svg| {
            let mut across = 0.0;
            for glyph in text.chars().filter_map(|letter| face.glyph_index(letter)) {
                let name = format!("{}{}", if self.bold { "b" } else { "r" }, glyph.0);
                let outline = outline(face, glyph);
                if !outline.is_empty() {
                    svg.keep(&name, || outline);
                    svg.place(&name, across);
                }
                across += f64::from(face.glyph_hor_advance(glyph).unwrap_or(0));
            }
        });
    }
}

/// A letter's outline as a path, in the font's units, down the page; empty for a space.
fn outline(face: &Face<'_>, glyph: GlyphId) -> String {
    let mut pen = Pen::default();
    let _bounds = face.outline_glyph(glyph, &mut pen);
    pen.0
}

/// Writes an outline as a path; the fonts' coordinates are whole numbers.
#[derive(Default)]
struct Pen(String);

impl Pen {
    fn to(&mut self, command: char, points: &[(f32, f32)]) {
        self.0.push(command);
        for (index, (x, y)) in points.iter().enumerate() {
            let space = if index == 0 { "" } else { " " };
            let _written = write!(self.0, "{space}{} {}", x.round(), 0.0 - y.round());
        }
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.to('M', &[(x, y)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.to('L', &[(x, y)]);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.to('Q', &[(x1, y1), (x, y)]);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.to('C', &[(x1, y1), (x2, y2), (x, y)]);
    }

    fn close(&mut self) {
        self.0.push('Z');
    }
}

/// Whether the fonts have every letter of a text.
pub(crate) fn has_all(text: &str) -> bool {
    text.chars().all(|letter| letter.is_control() || Type::BODY.advance(letter).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fonts_have_the_letters_that_the_drawings_are_written_in() {
        assert!(has_all("Zoom × 1:1 … größer Ελλ Кадр − ≤ ° ½ → ·"));
        assert!(!has_all("漢"));
    }

    #[test]
    fn every_letter_that_is_placed_is_there_and_every_one_that_is_seen_is_placed() {
        let texts = [(Type::BODY, "größer × 1:1 – Ελλ Кадр"), (Type::HEADING, "across, zoom ½"), (Type::SMALL, "°")];
        let svg = Svg::document(100.0, 100.0, "letters", |svg| {
            for (set, text) in texts {
                set.write(svg, Point::new(1.0, 2.0), Anchor::End, "#000000", text);
            }
        });
        let document = roxmltree::Document::parse(&svg).unwrap();
        let kept: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
        let placed: Vec<&str> = document.descendants().filter_map(|node| node.attribute("href")).collect();
        let seen = texts.iter().flat_map(|(_, text)| text.chars()).filter(|letter| *letter != ' ').count();
        assert_eq!(placed.len(), seen);
        assert!(placed.iter().all(|name| kept.contains(&name.trim_start_matches('#'))), "{placed:?} {kept:?}");
        let outlines = document.descendants().filter_map(|node| node.attribute("d"));
        assert!(outlines.clone().all(|outline| outline.starts_with('M') && outline.ends_with('Z')));
        assert!(outlines.count() < seen, "a letter that comes twice is kept once");
        // The words are there too, for whoever searches.
        assert!(texts.iter().all(|(_, text)| document.descendants().any(|node| node.text() == Some(text))));
    }

    #[test]
    fn a_text_with_a_letter_of_other_fonts_is_left_to_the_viewer() {
        let svg = Svg::document(100.0, 100.0, "letters", |svg| {
            Type::BODY.write(svg, Point::ZERO, Anchor::Start, "#123456", "still 漢");
        });
        assert!(svg.contains("fill=\"#123456\">still 漢</text>") && !svg.contains("<use"), "{svg}");
    }

    #[test]
    fn a_text_is_cut_and_broken_to_its_room() {
        let set = Type::BODY;
        let text = "a rather long remark about frames 12 to 48";
        assert!(set.width(&set.cut(text, 100.0)) <= 100.0);
        assert_eq!(set.cut(text, 1e3), text);
        let lines = set.lines(text, 120.0);
        assert!(lines.len() > 1 && lines.iter().all(|line| set.width(line) <= 120.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
    }

    #[test]
    fn bold_letters_are_wider() {
        assert!(Type::SMALL_BOLD.width("vertical") > Type::SMALL.width("vertical"));
    }
}

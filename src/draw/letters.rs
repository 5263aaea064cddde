//! The letters of all drawings: how wide a text is, how it is cut to a width, how it is written.
//!
//! ## Decisions
//!
//! - Two embedded fonts (Inter's Latin, Greek and Cyrillic letters under a name of their own, `fonts/LICENSE`); system
//!   fonts only where a name has other letters. Texts carry their width, so that a viewer with other fonts does not let
//!   them overlap.

use std::sync::LazyLock;

use kurbo::Point;
use ttf_parser::Face;

use super::svg::Svg;

/// The two weights that come with the program; `fonts/LICENSE` says from where.
pub(super) const REGULAR: &[u8] = include_bytes!("fonts/sans-regular.otf");
pub(super) const BOLD: &[u8] = include_bytes!("fonts/sans-semibold.otf");

/// The fonts' family, and what a viewer without them takes.
pub(super) const FAMILIES: &str = "Stillpath Sans, Inter, Segoe UI, Helvetica Neue, Arial, sans-serif";

static FACES: LazyLock<[Option<Face<'static>>; 2]> =
    LazyLock::new(|| [REGULAR, BOLD].map(|font| Face::parse(font, 0).ok()));

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    /// Height of the letters' body in pixels.
    pub(super) size: f64,
    /// Whether it is the heavier weight.
    pub(super) bold: bool,
}

/// Where a text's given point is along it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Type {
    pub(super) const TITLE: Self = Self { size: 22.0, bold: true };
    pub(super) const HEADING: Self = Self { size: 14.0, bold: true };
    pub(super) const BODY: Self = Self { size: 13.0, bold: false };
    pub(super) const SMALL: Self = Self { size: 12.0, bold: false };
    pub(super) const SMALL_BOLD: Self = Self { size: 12.0, bold: true };

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
    pub(super) fn width(self, text: &str) -> f64 {
        text.chars().map(|letter| self.advance(letter).unwrap_or(self.size)).sum()
    }

    /// As much of a text as fits, with "…" where that is not all.
    pub(super) fn cut(self, text: &str, width: f64) -> String {
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
    pub(super) fn lines(self, text: &str, width: f64) -> Vec<String> {
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

    /// Writes a text with its baseline at a point. Its width is written too, so that a viewer with other fonts keeps
    /// it.
    pub(super) fn write(self, svg: &mut Svg, at: Point, anchor: Anchor, colour: &str, text: &str) {
        let width = self.width(text);
        let known = text.chars().all(|letter| self.advance(letter).is_some());
        let mut element = svg.element("text").number("x", at.x).number("y", at.y).number("font-size", self.size);
        if self.bold {
            element = element.text("font-weight", "600");
        }
        match anchor {
            Anchor::Start => {}
            Anchor::Middle => element = element.text("text-anchor", "middle"),
            Anchor::End => element = element.text("text-anchor", "end"),
        }
        if known && text.chars().count() > 1 {
            element = element.number("textLength", width).text("lengthAdjust", "spacingAndGlyphs");
        }
        element.text("fill", colour).saying(text);
    }
}

/// Whether the fonts have every letter of a text.
pub(super) fn has_all(text: &str) -> bool {
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

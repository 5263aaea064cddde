//! Sets a line of text: how large its letters are, how wide it is, and as a tree that resvg draws.

use std::fmt::Write as _;
use std::sync::Arc;

use resvg::usvg::{FontResolver, Node, Options, Tree, fontdb};
use ttf_parser::Face;

use super::supplies::face;
use crate::plan::{Font, Lettered, Typeface};
use crate::shot::Outline;

/// A line of text, set with its baseline at 0 and its first letter's origin at 0, in pixels.
pub(super) struct SetLine {
    /// The letters, white.
    pub(super) letters: Tree,
    /// The letters with the line around them, white; none where there is no outline.
    pub(super) outlined: Option<Tree>,
    /// The box that is placed: the line's, with the outline around it. Left, top, right, bottom.
    pub(super) area: [f64; 4],
    /// Where there is anything to be seen.
    pub(super) ink: [f64; 4],
}

/// The fonts of a typeface, ready to set lines.
pub(super) struct Setter {
    fonts: Arc<fontdb::Database>,
    ids: Vec<fontdb::ID>,
    metrics: Metrics,
    typeface: Arc<Typeface>,
}

/// A font's sizes, as parts of its em.
#[derive(Debug, Clone, Copy)]
struct Metrics {
    above: f64,
    below: f64,
    /// The widest digit.
    digit: f64,
}

impl Metrics {
    fn of(face: &Face<'_>) -> Self {
        let part = |units: f64| units / f64::from(face.units_per_em());
        let digits = ('0'..='9').filter_map(|digit| advance(face, digit));
        Self {
            above: part(f64::from(face.ascender())),
            below: part(-f64::from(face.descender())),
            digit: digits.fold(0.0, f64::max),
        }
    }

    /// The em of a line of this height.
    fn em(self, height: f64) -> f64 {
        height / (self.above + self.below)
    }
}

/// How far a letter's successor stands from it, as a part of the em.
fn advance(face: &Face<'_>, letter: char) -> Option<f64> {
    let glyph = face.glyph_index(letter)?;
    Some(f64::from(face.glyph_hor_advance(glyph)?) / f64::from(face.units_per_em()))
}

/// How wide lines of a typeface are, by the widths of their letters alone: to find the widest of many.
pub struct Measurer<'a> {
    faces: Vec<Face<'a>>,
    digit: f64,
}

impl<'a> Measurer<'a> {
    /// Of a typeface.
    #[must_use]
    pub fn new(typeface: &'a Typeface) -> Self {
        let faces: Vec<Face<'a>> = typeface.fonts.iter().filter_map(face).collect();
        let digit = faces.first().map_or(0.0, |face| Metrics::of(face).digit);
        Self { faces, digit }
    }

    /// A line's width as a multiple of its em.
    #[must_use]
    pub fn width(&self, line: &str) -> f64 {
        let of = |letter: char| match letter {
            '0'..='9' => self.digit,
            _ => self.faces.iter().find_map(|face| advance(face, letter)).unwrap_or(0.0),
        };
        line.chars().map(of).sum()
    }
}

/// How large a stamp is in a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Pixels across.
    pub width: f64,
    /// Pixels down.
    pub height: f64,
}

impl Measured {
    /// A line of this height, as it is set.
    #[must_use]
    pub fn of_line(lettered: &Lettered, line: &str, height: f64) -> Option<Self> {
        let set = Setter::new(&lettered.fonts)?.set(line, height, lettered.outline)?;
        let ([left, top, right, bottom], ink) = (set.area, set.ink);
        let (left, top) = (left.min(ink[0]), top.min(ink[1]));
        Some(Self { width: right.max(ink[2]) - left, height: bottom.max(ink[3]) - top })
    }
}

impl Setter {
    pub(super) fn new(typeface: &Arc<Typeface>) -> Option<Self> {
        let metrics = Metrics::of(&face(typeface.fonts.first()?)?);
        let mut fonts = fontdb::Database::new();
        let mut ids = Vec::new();
        for Font { bytes, index, .. } in &typeface.fonts {
            let loaded = fonts.load_font_source(fontdb::Source::Binary(Arc::new(Arc::clone(bytes))));
            let of_index = |id: &&fontdb::ID| fonts.face(**id).is_some_and(|face| face.index == *index);
            ids.push(*loaded.iter().find(of_index)?);
        }
        Some(Self { fonts: Arc::new(fonts), ids, metrics, typeface: Arc::clone(typeface) })
    }

    /// Sets a line of this height, in pixels; none where nothing is to be seen of it.
    pub(super) fn set(&self, line: &str, height: f64, outline: Option<Outline>) -> Option<SetLine> {
        let Metrics { above, below, .. } = self.metrics;
        let em = self.metrics.em(height);
        let (shifts, trailing) = self.shifts(line, em);
        let around = outline.map_or(0.0, |outline| outline.width * height);
        let letters = self.tree(line, em, &shifts, "")?;
        let stroke = format!(r##" stroke="#fff" stroke-width="{}" stroke-linejoin="round""##, 2.0 * around);
        let outlined = if around > 0.0 { Some(self.tree(line, em, &shifts, &stroke)?) } else { None };
        let text = letters.root().children().iter().find_map(|node| match node {
            Node::Text(text) => Some(text),
            _ => None,
        })?;
        let width = f64::from(text.bounding_box().right()) + trailing;
        let ink = outlined.as_ref().unwrap_or(&letters).root().abs_stroke_bounding_box();
        let ink = [ink.left(), ink.top(), ink.right(), ink.bottom()].map(f64::from);
        let area = [-around, -above * em - around, width + around, below * em + around];
        Some(SetLine { letters, outlined, area, ink })
    }

    /// How far each letter is moved on so that digits take equal room, and what is left after the last; nothing where
    /// there are no digits.
    fn shifts(&self, line: &str, em: f64) -> (Vec<f64>, f64) {
        let Some(face) = self.typeface.fonts.first().and_then(face) else { return (Vec::new(), 0.0) };
        let mut left_over = 0.0;
        let shifts = line.chars().map(|letter| {
            let own = match letter {
                '0'..='9' => advance(&face, letter).map_or(0.0, |own| (self.metrics.digit - own) / 2.0 * em),
                _ => 0.0,
            };
            std::mem::replace(&mut left_over, own) + own
        });
        (shifts.collect(), left_over)
    }

    fn tree(&self, line: &str, em: f64, shifts: &[f64], more: &str) -> Option<Tree> {
        let mut svg = format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="8" height="8"><text x="0" y="0" font-size="{em}" fill="#fff" xml:space="preserve"{more}"##
        );
        if line.contains(|letter: char| letter.is_ascii_digit()) {
            svg += r#" font-kerning="none" dx=""#;
            for shift in shifts {
                let _infallible = write!(svg, "{shift} ");
            }
            svg.push('"');
        }
        svg.push('>');
        for letter in line.chars() {
            match letter {
                '&' => svg += "&amp;",
                '<' => svg += "&lt;",
                '>' => svg += "&gt;",
                _ => svg.push(letter),
            }
        }
        svg += "</text></svg>";
        let first = *self.ids.first()?;
        let ids = &self.ids;
        let resolver = FontResolver {
            select_font: Box::new(move |_, _| Some(first)),
            select_fallback: Box::new(move |letter, used, fonts| {
                let has = |id: &fontdb::ID| {
                    let has = |bytes: &[u8], index| Face::parse(bytes, index).ok()?.glyph_index(letter);
                    fonts.with_face_data(*id, has).flatten().is_some()
                };
                ids.iter().copied().find(|id| !used.contains(id) && has(id))
            }),
        };
        let options = Options { fontdb: Arc::clone(&self.fonts), font_resolver: resolver, ..Options::default() };
        Tree::from_str(&svg, &options).ok()
    }
}

//! The findings in words: what was found, and what to do, in two columns read downwards.

use kurbo::{Point, Rect};

use super::{Request, badge};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{Badge, INK, QUIET};
use crate::ink::space::{GAP, HEADING, LINE};
use crate::ink::svg::Svg;

/// As many findings have room.
const MOST: usize = 16;
/// Room for a number.
const INDENT: f64 = 26.0;
/// From one finding to the next.
const APART: f64 = 8.0;

/// A finding in lines.
struct Said {
    badge: Badge,
    message: Vec<String>,
    advice: Vec<String>,
}

impl Said {
    fn height(&self) -> f64 {
        LINE * (self.message.len() + self.advice.len()) as f64 + APART
    }
}

/// All of them.
pub(super) struct List {
    place: Rect,
    said: Vec<Said>,
    more: usize,
}

impl List {
    pub(super) fn of(request: &Request, place: Rect) -> Self {
        let width = (place.width() - GAP) / 2.0 - INDENT;
        let said = request.findings.iter().take(MOST).map(|finding| Said {
            badge: badge(finding.gravity),
            message: Type::BODY.lines(&finding.message, width),
            advice: Type::BODY.lines(&finding.advice, width),
        });
        Self { place, said: said.collect(), more: request.findings.len().saturating_sub(MOST) }
    }

    /// How many stand in the first column, and how high the higher of both is then: as low as can be.
    fn split(&self) -> (usize, f64) {
        let height = |said: &[Said]| said.iter().map(Said::height).sum::<f64>();
        let higher = |at: usize| height(&self.said[..at]).max(height(&self.said[at..]));
        let splits = (0..=self.said.len()).rev().map(|at| (at, higher(at)));
        splits.min_by(|(_, one), (_, other)| one.total_cmp(other)).unwrap_or((0, 0.0))
    }

    /// Pixels that the list needs.
    pub(super) fn height(&self) -> f64 {
        let (_, columns) = self.split();
        let last = if self.more > 0 || self.said.is_empty() { LINE } else { 0.0 };
        HEADING + columns + last
    }

    pub(super) fn draw(&self, svg: &mut Svg) {
        let Rect { x0, y0, .. } = self.place;
        Type::HEADING.write(svg, Point::new(x0, y0 + 12.0), Anchor::Start, INK, "findings");
        let after = Type::HEADING.width("findings") + 10.0;
        let says =
            if self.said.is_empty() { "nothing found wrong" } else { "the worst first; what to do stands beneath" };
        Type::SMALL.write(svg, Point::new(x0 + after, y0 + 12.0), Anchor::Start, QUIET, says);
        let (first, _) = self.split();
        let second = x0 + (self.place.width() + GAP) / 2.0;
        let (mut x, mut y) = (x0, y0 + HEADING + 12.0);
        for (index, said) in self.said.iter().enumerate() {
            if index == first {
                (x, y) = (second, y0 + HEADING + 12.0);
            }
            said.badge.draw(svg, Point::new(x + 9.0, y - 4.5), index + 1);
            let lines = said.message.iter().map(|line| (line, INK)).chain(said.advice.iter().map(|line| (line, QUIET)));
            for (line, colour) in lines {
                Type::BODY.write(svg, Point::new(x + INDENT, y), Anchor::Start, colour, line);
                y += LINE;
            }
            y += APART;
        }
        if self.more > 0 {
            let text = format!("and {} more, which `stillpath survey` says", self.more);
            let at = Point::new(x0 + INDENT, y0 + self.height() - 4.0);
            Type::BODY.write(svg, at, Anchor::Start, QUIET, &text);
        }
    }
}

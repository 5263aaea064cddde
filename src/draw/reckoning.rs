//! A reckoning on a sheet of paper to take along: black on white, A5 where all of it has room, else A4 (ISO 216), 96
//! pixels an inch.

use kurbo::{Point, Rect};

use crate::ink::letters::{Anchor, FAMILIES, Type};
use crate::ink::svg::Svg;
use crate::reckon::{Reckoning, Table};

/// Black on white: a printer in the field has nothing else.
const BLACK: &str = "#000000";
const WHITE: &str = "#ffffff";
/// Width and height in pixels of 148 x 210 and of 210 x 297 mm.
const A5: (f64, f64) = (559.0, 794.0);
const A4: (f64, f64) = (794.0, 1123.0);
const MARGIN: f64 = 30.0;
const LINE: f64 = 14.5;
const GAP: f64 = 10.0;
/// Answers, and the arithmetic beside them.
const BODY: Type = Type::TICK;
const STRONG: Type = Type::TICK_BOLD;
/// What is written in by hand on the spot.
const BY_HAND: [&str; 3] = ["first still at", "first file number", "cards and batteries"];

/// What stands on a sheet.
#[derive(Debug, Clone, Copy)]
pub struct Noted<'a> {
    /// The answers.
    pub reckoning: &'a Reckoning,
    /// What was found in a shoot, in a line; empty where none was looked at.
    pub found: &'a str,
    /// What stands at its foot.
    pub care: &'a [&'a str],
}

/// One line, or a rule.
enum Piece {
    /// Pieces of text, each at a place across, heavy or not.
    Line(Vec<(f64, bool, String)>),
    /// Room.
    Gap(f64),
    /// A line across.
    Rule,
    /// A line with a place to write on.
    ByHand(Vec<&'static str>),
}

impl Piece {
    fn height(&self) -> f64 {
        match self {
            Self::Line(_) => LINE,
            Self::Gap(height) => *height,
            Self::Rule => GAP,
            Self::ByHand(_) => 2.0 * LINE,
        }
    }
}

/// The sheet as SVG.
pub(super) fn draw(noted: &Noted<'_>) -> String {
    let height = |pieces: &[Piece]| pieces.iter().map(Piece::height).sum::<f64>();
    let room = |(_, height): (f64, f64)| height - 2.0 * MARGIN - 34.0;
    let small = pieces(noted, A5.0 - 2.0 * MARGIN);
    let foot = |width: f64| height(&care(noted, width - 2.0 * MARGIN));
    let (paper, body) = if height(&small) + foot(A5.0) <= room(A5) && noted.reckoning.table.is_none() {
        (A5, small)
    } else {
        (A4, pieces(noted, A4.0 - 2.0 * MARGIN))
    };
    // What is longer than a page makes the page longer: nothing is left out.
    let needed = height(&body) + foot(paper.0) + 2.0 * MARGIN + 34.0;
    let paper = (paper.0, paper.1.max(needed.ceil()));
    let title = "Stillpath reckoning";
    Svg::document(paper.0, paper.1, title, |svg| {
        svg.rect(Rect::new(0.0, 0.0, paper.0, paper.1)).text("fill", WHITE).empty();
        svg.element("g").text("font-family", FAMILIES).holding(|svg| {
            Type { size: 17.0, bold: true }.write(
                svg,
                Point::new(MARGIN, MARGIN + 14.0),
                Anchor::Start,
                BLACK,
                "Before the first still",
            );
            rule(svg, paper.0, MARGIN + 22.0);
            put(svg, &body, paper.0, MARGIN + 34.0);
            let foot = care(noted, paper.0 - 2.0 * MARGIN);
            put(svg, &foot, paper.0, paper.1 - MARGIN - height(&foot));
        });
    })
}

fn rule(svg: &mut Svg, width: f64, y: f64) {
    let line = [Point::new(MARGIN, y), Point::new(width - MARGIN, y)];
    svg.line(&line).text("stroke", BLACK).number("stroke-width", 0.7).empty();
}

fn put(svg: &mut Svg, pieces: &[Piece], width: f64, top: f64) {
    let mut y = top;
    for piece in pieces {
        match piece {
            Piece::Line(texts) => {
                for (x, heavy, text) in texts {
                    let set = if *heavy { STRONG } else { BODY };
                    set.write(svg, Point::new(MARGIN + x, y + 11.0), Anchor::Start, BLACK, text);
                }
            }
            Piece::Gap(_) => {}
            Piece::Rule => rule(svg, width, y + GAP / 2.0),
            Piece::ByHand(names) => {
                let each = (width - 2.0 * MARGIN) / names.len() as f64;
                for (at, name) in names.iter().enumerate() {
                    let (from, base) = (MARGIN + each * at as f64, y + 1.6 * LINE);
                    BODY.write(svg, Point::new(from, base - 3.0), Anchor::Start, BLACK, name);
                    let line = [Point::new(from + BODY.width(name) + 4.0, base), Point::new(from + each - 10.0, base)];
                    svg.line(&line).text("stroke", BLACK).number("stroke-width", 0.7).empty();
                }
            }
        }
        y += piece.height();
    }
}

/// A text over as many lines as it needs, from a place across.
fn text(into: &mut Vec<Piece>, heavy: bool, from: f64, width: f64, text: &str) {
    let set = if heavy { STRONG } else { BODY };
    into.extend(set.lines(text, width - from).into_iter().map(|line| Piece::Line(vec![(from, heavy, line)])));
}

fn pieces(noted: &Noted<'_>, width: f64) -> Vec<Piece> {
    let reckoning = noted.reckoning;
    let mut all = Vec::new();
    if !noted.found.is_empty() {
        text(&mut all, false, 0.0, width, &format!("Found: {}", noted.found));
    }
    let known: Vec<String> = reckoning.knowns.iter().map(|known| format!("{} {}", known.name, known.value)).collect();
    text(&mut all, false, 0.0, width, &format!("Known: {}", known.join(", ")));
    all.push(Piece::Rule);
    let widest = |words: &dyn Fn(usize) -> f64| (0..reckoning.answers.len()).map(words).fold(0.0, f64::max);
    let labels = widest(&|at| BODY.width(&reckoning.answers[at].label)) + 10.0;
    let values = widest(&|at| STRONG.width(&reckoning.answers[at].value)) + 10.0;
    for answer in &reckoning.answers {
        let mut how = BODY.lines(&answer.how, width - labels - values).into_iter();
        let mut line = vec![(0.0, false, answer.label.clone()), (labels, true, answer.value.clone())];
        line.extend(how.next().map(|how| (labels + values, false, how)));
        all.push(Piece::Line(line));
        all.extend(how.map(|how| Piece::Line(vec![(labels + values, false, how)])));
    }
    if let Some(table) = &reckoning.table {
        if !reckoning.answers.is_empty() {
            all.push(Piece::Rule);
        }
        rows(&mut all, table, width);
        all.push(Piece::Gap(GAP));
        for note in &table.notes {
            text(&mut all, false, 0.0, width, &format!("{}, as in: {}; {}", note.short, note.text, note.next));
        }
    }
    if !reckoning.warnings.is_empty() {
        all.push(Piece::Rule);
        text(&mut all, true, 0.0, width, "Watch for");
        for warning in &reckoning.warnings {
            text(&mut all, false, 0.0, width, &format!("• {}", warning.text));
            text(&mut all, false, 8.0, width, &format!("{}.", warning.next));
        }
    }
    all.push(Piece::Gap(GAP));
    all.push(Piece::ByHand(BY_HAND.to_vec()));
    all
}

/// A table; heads that are wider than their column's cells are broken over lines.
fn rows(into: &mut Vec<Piece>, table: &Table, width: f64) {
    let longest = |column: usize| {
        let cells = table.rows.iter().map(|row| BODY.width(&row[column]));
        let words = table.head[column].split(' ').map(|word| STRONG.width(word));
        cells.chain(words).fold(0.0, f64::max) + 12.0
    };
    let last = table.head.len() - 1;
    let mut from: Vec<f64> = vec![0.0];
    from.extend((0..last).scan(0.0, |at, column| {
        *at += longest(column);
        Some(*at)
    }));
    let room = |column: usize| {
        if column == last { (width - from[last]).max(60.0) } else { from[column + 1] - from[column] - 6.0 }
    };
    let mut put = |cells: &[String], heavy: bool| {
        let set = if heavy { STRONG } else { BODY };
        let broken: Vec<Vec<String>> =
            cells.iter().enumerate().map(|(column, cell)| set.lines(cell, room(column))).collect();
        for line in 0..broken.iter().map(Vec::len).max().unwrap_or(0) {
            let there = broken
                .iter()
                .enumerate()
                .filter_map(|(column, lines)| Some((from[column], heavy, lines.get(line)?.clone())));
            into.push(Piece::Line(there.collect()));
        }
    };
    put(&table.head, true);
    table.rows.iter().for_each(|row| put(row, false));
}

fn care(noted: &Noted<'_>, width: f64) -> Vec<Piece> {
    let mut all = vec![Piece::Rule];
    for line in noted.care {
        text(&mut all, false, 0.0, width, line);
    }
    all
}

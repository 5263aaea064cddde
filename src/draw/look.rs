//! How deliveries are told apart: by dashes and the shape of their marks first, by colour last.
//!
//! ## Decisions
//!
//! - Colours are ours, dark on paper and light on stills, and tested for contrast (WCAG 2.2) in greys and for
//!   colour-blind eyes, on a white still too: every line there has a dark edge. What is followed and what is covered is
//!   white.

use kurbo::{BezPath, Circle, Point, Rect, Shape as _};

use super::svg::Svg;

/// The paper and what is written on it.
pub(super) const PAPER: &str = "#fbfaf6";
pub(super) const PANEL: &str = "#ffffff";
pub(super) const INK: &str = "#20262b";
pub(super) const QUIET: &str = "#59626a";
pub(super) const RULE: &str = "#d9d7cf";
pub(super) const FRAME: &str = "#a9a79e";
/// What a person should look at, beside a shape that says so.
pub(super) const WARNING: &str = "#9b2d12";
/// What lies over a still, so that lines stand out on it.
pub(super) const SHADE: &str = "#0b1013";
/// How much of [`SHADE`] lies over a still, and how much along the edges of what is drawn there.
pub(super) const SHADING: f64 = 0.42;
pub(super) const EDGE: f64 = 0.85;
/// How much of its colour has the line of a window between keys, and the bar of a remark.
pub(super) const BETWEEN: f64 = 0.75;
pub(super) const BAR: f64 = 0.7;
/// What is no delivery's, on a still.
pub(super) const WHITE: &str = "#ffffff";

/// How one delivery is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Look {
    /// On paper.
    pub(super) dark: &'static str,
    /// On a still.
    pub(super) light: &'static str,
    /// Lengths of dashes and gaps in pixels; empty for an unbroken line.
    pub(super) dashes: &'static str,
    /// The shape of its marks.
    pub(super) mark: Mark,
}

/// The shape of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Disc,
    Square,
    Triangle,
    Diamond,
    Cross,
    Wedge,
}

/// In the order of deliveries; the seventh looks like the first again.
const LOOKS: [Look; 6] = [
    Look { dark: "#2563e0", light: "#86a8ff", dashes: "", mark: Mark::Disc },
    Look { dark: "#700d12", light: "#ff8066", dashes: "9 5", mark: Mark::Square },
    Look { dark: "#8c6d12", light: "#f5f04a", dashes: "2 4", mark: Mark::Triangle },
    Look { dark: "#0d5f45", light: "#8ff0c0", dashes: "12 4 2 4", mark: Mark::Diamond },
    Look { dark: "#b0269a", light: "#d886d0", dashes: "5 3", mark: Mark::Cross },
    Look { dark: "#2c3038", light: "#f2f4f7", dashes: "7 3 2 3 2 3", mark: Mark::Wedge },
];

impl Look {
    /// Of what is no delivery's.
    pub(super) const NONE: Self = Self { dark: INK, light: WHITE, dashes: "", mark: Mark::Disc };

    /// The look of the delivery at `index`.
    pub(super) fn of(index: usize) -> Self {
        LOOKS[index % LOOKS.len()]
    }
}

impl Mark {
    /// Its outline around a point, `radius` pixels across the half.
    pub(super) fn outline(self, at: Point, radius: f64) -> BezPath {
        let polygon = |corners: &[(f64, f64)]| {
            let mut path = BezPath::new();
            for (index, (x, y)) in corners.iter().enumerate() {
                let corner = Point::new(at.x + x * radius, at.y + y * radius);
                if index == 0 { path.move_to(corner) } else { path.line_to(corner) }
            }
            path.close_path();
            path
        };
        match self {
            Self::Disc => Circle::new(at, radius * 0.95).to_path(0.02),
            Self::Square => Rect::from_center_size(at, (radius * 1.7, radius * 1.7)).to_path(0.1),
            Self::Triangle => polygon(&[(0.0, -1.1), (1.05, 0.8), (-1.05, 0.8)]),
            Self::Diamond => polygon(&[(0.0, -1.2), (1.0, 0.0), (0.0, 1.2), (-1.0, 0.0)]),
            Self::Cross => {
                let (arm, thin) = (1.05, 0.36);
                polygon(&[
                    (-thin, -arm),
                    (thin, -arm),
                    (thin, -thin),
                    (arm, -thin),
                    (arm, thin),
                    (thin, thin),
                    (thin, arm),
                    (-thin, arm),
                    (-thin, thin),
                    (-arm, thin),
                    (-arm, -thin),
                    (-thin, -thin),
                ])
            }
            Self::Wedge => polygon(&[(0.0, 1.1), (1.05, -0.8), (-1.05, -0.8)]),
        }
    }

    /// Draws it in one colour with an edge of another.
    pub(super) fn draw(self, svg: &mut Svg, at: Point, radius: f64, fill: &str, edge: &str) {
        svg.path(&self.outline(at, radius)).text("fill", fill).text("stroke", edge).number("stroke-width", 1.2).empty();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contrast(one: &str, other: &str) -> f64 {
        seen(code(one), code(other), &EYES[0].1)
    }

    /// WCAG 2.2, 1.4.11 and 1.4.3: 3 for what is drawn, 4.5 for what is written.
    #[test]
    fn lines_stand_out_from_paper_and_shade_and_writing_is_read_on_paper() {
        for look in LOOKS {
            assert!(contrast(look.dark, PANEL) >= 4.5, "{look:?}: {}", contrast(look.dark, PANEL));
            assert!(contrast(look.light, SHADE) >= 7.0, "{look:?}: {}", contrast(look.light, SHADE));
        }
        for written in [INK, QUIET, WARNING] {
            assert!(contrast(written, PAPER) >= 4.5, "{written}: {}", contrast(written, PAPER));
        }
    }

    /// What a person sees of linear light, as matrices in rows: with all three cones, and without one of them (Machado,
    /// Oliveira and Fernandes 2009, table of severity 1.0, doi:10.1109/TVCG.2009.113).
    const EYES: [(&str, [[f64; 3]; 3]); 4] = [
        ("all cones", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protanopia",
            [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
        ),
        (
            "deuteranopia",
            [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
        ),
        (
            "tritanopia",
            [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
        ),
    ];

    type Code = [f64; 3];

    fn code(colour: &str) -> Code {
        [1, 3, 5].map(|at| f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()))
    }

    /// One colour laid over another, as SVG does it: in the encoded values.
    fn over(colour: Code, share: f64, ground: Code) -> Code {
        [0, 1, 2].map(|part| colour[part] * share + ground[part] * (1.0 - share))
    }

    /// Contrast (WCAG 2.2) of two colours, each as these eyes see it; with all cones that is also their contrast in
    /// greys.
    fn seen(one: Code, other: Code, eyes: &[[f64; 3]; 3]) -> f64 {
        let luminance = |colour: Code| {
            let linear = colour.map(|code| {
                let code = code / 255.0;
                if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
            });
            let part = |row: &[f64; 3]| (0..3).map(|at| row[at] * linear[at]).sum::<f64>().clamp(0.0, 1.0);
            0.2126 * part(&eyes[0]) + 0.7152 * part(&eyes[1]) + 0.0722 * part(&eyes[2])
        };
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    /// 3 for what is drawn (WCAG 2.2, 1.4.11): on the worst ground there is, a white still, and on paper.
    #[test]
    fn lines_stand_out_in_greys_and_for_eyes_that_lack_a_cone() {
        let (white, shade) = (code(WHITE), code(SHADE));
        let edge = over(shade, EDGE, over(shade, SHADING, white));
        for (name, eyes) in &EYES {
            let stands_out = |what: &str, line: Code, ground: Code| {
                let contrast = seen(line, ground, eyes);
                assert!(contrast >= 3.0, "{what}, {name}: {contrast:.2}");
            };
            for look in LOOKS {
                stands_out(look.light, code(look.light), edge);
                stands_out(look.light, over(code(look.light), BETWEEN, edge), edge);
                for paper in [PANEL, PAPER] {
                    stands_out(look.dark, code(look.dark), code(paper));
                }
            }
            stands_out("boxes", white, edge);
            stands_out("a remark's bar", over(code(WARNING), BAR, code(PANEL)), code(PANEL));
            stands_out("a remark's number", code(PANEL), code(WARNING));
        }
        // The check can fail: the colours without their edges would not do.
        assert!(seen(code(LOOKS[0].light), over(shade, SHADING, white), &EYES[0].1) < 3.0);
    }

    /// The page draws with the same colours, on a still that nothing shades.
    #[test]
    fn the_live_page_has_the_same_looks_with_edges_that_are_dark_enough() {
        let (page, sheet) =
            (include_str!("../session/live/page/shapes.js"), include_str!("../session/live/page/style.css"));
        for look in LOOKS {
            let line = format!("{{ dark: \"{}\", light: \"{}\", dashes: \"{}\" }}", look.dark, look.light, look.dashes);
            assert!(page.contains(&line), "{line}");
        }
        let edge = sheet.split("#over .edge {").nth(1).unwrap().split('}').next().unwrap();
        assert!(edge.contains(&format!("stroke: {SHADE}")), "{edge}");
        let share: f64 = edge.split("stroke-opacity: ").nth(1).unwrap().split(';').next().unwrap().parse().unwrap();
        let edge = over(code(SHADE), share, code(WHITE));
        for ((name, eyes), look) in EYES.iter().flat_map(|eyes| LOOKS.iter().map(move |look| (eyes, look))) {
            let contrast = seen(code(look.light), edge, eyes);
            assert!(contrast >= 3.0, "{}, {name}: {contrast:.2}", look.light);
        }
    }

    #[test]
    fn no_two_deliveries_share_their_dashes_or_their_marks() {
        for (index, one) in LOOKS.iter().enumerate() {
            for other in &LOOKS[index + 1..] {
                assert!(one.dashes != other.dashes && one.mark != other.mark && one.dark != other.dark);
            }
        }
    }
}

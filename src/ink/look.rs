//! The colours, dashes and marks of all drawings. Deliveries are told apart by dashes and the shape of their marks first,
//! by colour last; so are findings, by the shape of their badges.
//!
//! ## Decisions
//!
//! - Colours are ours, dark on paper and light on stills, and tested for contrast (WCAG 2.2) in greys and for
//!   colour-blind eyes, on a white still too: a still keeps its light, and every line on it has a dark edge. What is
//!   followed and what is covered is white.
//! - Paper is warm, what is written on it nearly black. What is wrong is crimson, darker where stills are lost, grey where
//!   it only may matter: a ladder of lightness, which every eye sees.
//! - Where much changes a picture turns yellow, the lightest colour there is, over greys that stay dark.
//! - Of a shoot or a clip as a whole curves are in ink; a second curve beside it is dashed.

use kurbo::{BezPath, Circle, Point, Rect, Shape as _};

use super::letters::{Anchor, Type};
use super::svg::{Element, Svg};

/// The paper and what is written on it.
pub(crate) const PAPER: &str = "#fbfaf6";
pub(crate) const PANEL: &str = "#ffffff";
pub(crate) const INK: &str = "#20262b";
pub(crate) const QUIET: &str = "#59626a";
pub(crate) const RULE: &str = "#d9d7cf";
pub(crate) const FRAME: &str = "#a9a79e";
/// What a person should look at, beside a shape that says so.
pub(crate) const WARNING: &str = "#b3123f";
/// Stills that cannot be shown, or show what never was.
pub(crate) const LOST: &str = "#2a0718";
/// What may matter.
pub(crate) const KNOWN: &str = "#6f7b87";
/// Where most changes, over a grey picture of at most this light.
pub(crate) const HEAT: [u8; 3] = [255, 240, 92];
pub(crate) const HEAT_GREY: f64 = 0.42;
/// What stands for a still that is not there.
pub(crate) const GROUND: &str = "#2c363d";
/// What lies over a still, so that lines stand out on it.
pub(crate) const SHADE: &str = "#0b1013";
/// How much of [`SHADE`] lies along the edges of what is drawn on a still, and under what is written there.
pub(crate) const EDGE: f64 = 0.92;
pub(crate) const CHIP: f64 = 0.88;
/// How much wider than its line an edge is, in pixels; along a thin line.
pub(crate) const CASING: f64 = 2.6;
pub(crate) const THIN_CASING: f64 = 1.8;
/// How much of its colour has the line of a window between keys, and the bar of a remark.
pub(crate) const BETWEEN: f64 = 0.75;
pub(crate) const BAR: f64 = 0.7;
/// And the area beneath a single curve.
pub(crate) const BEHIND: f64 = 0.1;
/// What is no delivery's, on a still.
pub(crate) const WHITE: &str = "#ffffff";

/// How one delivery is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Look {
    /// On paper.
    pub(crate) dark: &'static str,
    /// On a still.
    pub(crate) light: &'static str,
    /// Lengths of dashes and gaps in pixels; empty for an unbroken line.
    pub(crate) dashes: &'static str,
    /// The shape of its marks.
    pub(crate) mark: Mark,
}

/// The shape of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
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
    pub(crate) const NONE: Self = Self { dark: INK, light: WHITE, dashes: "", mark: Mark::Disc };

    /// The look of the delivery at `index`.
    pub(crate) fn of(index: usize) -> Self {
        LOOKS[index % LOOKS.len()]
    }
}

/// A line with a delivery's dashes.
pub(crate) fn dashed(line: Element<'_>, look: Look) -> Element<'_> {
    if look.dashes.is_empty() { line } else { line.text("stroke-dasharray", look.dashes) }
}

impl Mark {
    /// Its outline around a point, `radius` pixels across the half.
    pub(crate) fn outline(self, at: Point, radius: f64) -> BezPath {
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
    pub(crate) fn draw(self, svg: &mut Svg, at: Point, radius: f64, fill: &str, edge: &str) {
        let shape =
            if self == Self::Disc { svg.circle(at, radius * 0.95) } else { svg.path(&self.outline(at, radius)) };
        shape.text("fill", fill).text("stroke", edge).number("stroke-width", 1.2).empty();
    }
}

/// What stands by a number: its shape says how much it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Badge {
    /// Stills are lost: a square.
    Lost,
    /// What anybody will see: a disc.
    Seen,
    /// What may matter: a ring.
    Known,
    /// A key of a track: a white plate with an edge of ink.
    Key,
}

impl Badge {
    /// Half of its height in pixels.
    pub(crate) const RADIUS: f64 = 8.0;

    /// Its colour.
    pub(crate) fn colour(self) -> &'static str {
        match self {
            Self::Lost => LOST,
            Self::Seen => WARNING,
            Self::Known => KNOWN,
            Self::Key => INK,
        }
    }

    /// Draws it around a point, with its number.
    pub(crate) fn draw(self, svg: &mut Svg, at: Point, number: usize) {
        svg.element("g").text("class", "badge").number("data-number", number as f64).holding(|svg| {
            self.draw_shape(svg, at);
            let set = Type { size: if number < 100 { 10.5 } else { 8.5 }, bold: true };
            let colour = if matches!(self, Self::Lost | Self::Seen) { PANEL } else { INK };
            set.write(svg, at + (0.0, set.size * 0.36), Anchor::Middle, colour, &number.to_string());
        });
    }

    /// Draws it around a point, without a number.
    pub(crate) fn draw_shape(self, svg: &mut Svg, at: Point) {
        let radius = Self::RADIUS;
        match self {
            Self::Lost => {
                let square = Rect::from_center_size(at, (2.0 * radius - 1.0, 2.0 * radius - 1.0));
                svg.path(&square.to_path(0.1)).text("fill", LOST).empty();
            }
            Self::Seen => svg.circle(at, radius).text("fill", WARNING).empty(),
            Self::Known => {
                let ring = svg.circle(at, radius - 0.8).text("fill", PANEL);
                ring.text("stroke", KNOWN).number("stroke-width", 1.6).empty();
            }
            Self::Key => {
                let plate = Rect::from_center_size(at, (2.0 * radius - 2.0, 2.0 * radius - 2.0));
                svg.plate(plate, 3.5).text("fill", PANEL).text("stroke", INK).number("stroke-width", 0.9).empty();
            }
        }
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
        for written in [INK, QUIET, WARNING, LOST] {
            assert!(contrast(written, PAPER) >= 4.5, "{written}: {}", contrast(written, PAPER));
        }
        // On a badge of its colour.
        for filled in [WARNING, LOST] {
            assert!(contrast(PANEL, filled) >= 4.5, "{filled}");
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

    /// Linear light of a colour (IEC 61966-2-1).
    fn linear(colour: Code) -> Code {
        colour.map(|code| {
            let code = code / 255.0;
            if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
        })
    }

    /// Contrast (WCAG 2.2) of two colours, each as these eyes see it; with all cones that is also their contrast in
    /// greys.
    fn seen(one: Code, other: Code, eyes: &[[f64; 3]; 3]) -> f64 {
        let luminance = |colour: Code| {
            let linear = linear(colour);
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
        let (edge, chip) = (over(shade, EDGE, white), over(shade, CHIP, white));
        for (name, eyes) in &EYES {
            let stands_out = |what: &str, line: Code, ground: Code| {
                let contrast = seen(line, ground, eyes);
                assert!(contrast >= 3.0, "{what}, {name}: {contrast:.2}");
            };
            for look in LOOKS {
                stands_out(look.light, code(look.light), edge);
                stands_out(look.light, over(code(look.light), BETWEEN, edge), edge);
                // What is written on a still is read too: 1.4.3.
                assert!(seen(code(look.light), chip, eyes) >= 4.5, "{}, {name}", look.light);
                for paper in [PANEL, PAPER] {
                    stands_out(look.dark, code(look.dark), code(paper));
                }
            }
            stands_out("boxes", white, edge);
            stands_out("a remark's bar", over(code(WARNING), BAR, code(PANEL)), code(PANEL));
            for badge in [Badge::Lost, Badge::Seen, Badge::Known, Badge::Key] {
                stands_out("a badge", code(badge.colour()), code(PAPER));
            }
            let grey = [255.0 * HEAT_GREY; 3];
            stands_out("where most changes", HEAT.map(f64::from), grey);
        }
        // The check can fail: the colours without their edges would not do.
        assert!(seen(code(LOOKS[0].light), white, &EYES[0].1) < 3.0);
    }

    /// CIELAB (CIE 1976, white of D65) of a colour as these eyes see it.
    fn lab(colour: Code, eyes: &[[f64; 3]; 3]) -> [f64; 3] {
        let linear = linear(colour);
        let part = |row: &[f64; 3]| (0..3).map(|at| row[at] * linear[at]).sum::<f64>().clamp(0.0, 1.0);
        let [r, g, b] = [part(&eyes[0]), part(&eyes[1]), part(&eyes[2])];
        // IEC 61966-2-1, over the white point.
        let x = (0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b) / 0.950_47;
        let y = 0.212_672_9 * r + 0.715_152_2 * g + 0.072_175_0 * b;
        let z = (0.019_333_9 * r + 0.119_192_0 * g + 0.950_304_1 * b) / 1.088_83;
        let root = |t: f64| if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 };
        [116.0 * root(y) - 16.0, 500.0 * (root(x) - root(y)), 200.0 * (root(y) - root(z))]
    }

    /// The two of some colours that are nearest to each other to some eyes: how far apart, in CIELAB, and which.
    fn nearest(colours: &[&'static str]) -> (f64, String) {
        let mut nearest = (f64::INFINITY, String::new());
        for (name, eyes) in &EYES {
            for (index, one) in colours.iter().enumerate() {
                for other in &colours[index + 1..] {
                    let (a, b) = (lab(code(one), eyes), lab(code(other), eyes));
                    let apart = (0..3).map(|at| (a[at] - b[at]).powi(2)).sum::<f64>().sqrt();
                    if apart < nearest.0 {
                        nearest = (apart, format!("{one} and {other}, {name}: {apart:.1}"));
                    }
                }
            }
        }
        nearest
    }

    /// A distance of 2.3 is just seen between two patches side by side (Mahy, Van Eycken and Oosterlinck 1994); lines
    /// far apart want several times that. The dark six reach 18.8 and the light six 14.6 at their nearest pair, the
    /// badges 24.
    #[test]
    fn every_two_deliveries_and_every_two_badges_look_apart_to_all_kinds_of_eyes() {
        for (colours, bar) in [
            (LOOKS.map(|look| look.dark).to_vec(), 18.5),
            (LOOKS.map(|look| look.light).to_vec(), 14.5),
            (vec![LOST, WARNING, KNOWN], 24.0),
        ] {
            let (apart, which) = nearest(&colours);
            assert!(apart >= bar, "{which}");
        }
        // The check can fail, and knows the scale: white lies 100 from black.
        assert!((nearest(&[WHITE, "#000000"]).0 - 100.0).abs() < 0.5);
        assert!(nearest(&["#c02020", "#20a020"]).0 < 40.0);
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

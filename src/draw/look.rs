//! How deliveries are told apart: by dashes and the shape of their marks first, by colour last.

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
    Look { dark: "#0f5e6b", light: "#7fe3ee", dashes: "", mark: Mark::Disc },
    Look { dark: "#b4530a", light: "#ffb35c", dashes: "9 5", mark: Mark::Square },
    Look { dark: "#5b3a8e", light: "#d3b8ff", dashes: "2 4", mark: Mark::Triangle },
    Look { dark: "#3d6b1c", light: "#b7ec8a", dashes: "12 4 2 4", mark: Mark::Diamond },
    Look { dark: "#a32458", light: "#ff9fc4", dashes: "5 3", mark: Mark::Cross },
    Look { dark: "#44505c", light: "#e4e8ec", dashes: "7 3 2 3 2 3", mark: Mark::Wedge },
];

impl Look {
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

    /// Relative luminance (WCAG 2.2, "relative luminance").
    fn luminance(colour: &str) -> f64 {
        let part = |at: usize| {
            let code = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
            if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
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

    #[test]
    fn no_two_deliveries_share_their_dashes_or_their_marks() {
        for (index, one) in LOOKS.iter().enumerate() {
            for other in &LOOKS[index + 1..] {
                assert!(one.dashes != other.dashes && one.mark != other.mark && one.dark != other.dark);
            }
        }
    }
}

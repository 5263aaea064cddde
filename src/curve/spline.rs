//! The centripetal Catmull-Rom curve: smooth through every point, without loops or cusps between two of them.
//!
//! Knots lie the square root of the distance apart (Barry and Goldman, SIGGRAPH 1988, give the curve by its pyramid;
//! the spacing is Lee's, Computer-Aided Design 21(6), 1989; both from memory, and the tests hold the curve against the
//! pyramid).

use kurbo::{CubicBez, Point};

/// The pieces between neighbouring points, no two neighbours at one place. Before the first and after the last point
/// stands the mirror image of their neighbour, so that the curve sets off straight towards it.
#[must_use]
pub fn catmull_rom(points: &[Point]) -> Vec<CubicBez> {
    let mirrored = |end: Point, neighbour: Point| end + (end - neighbour);
    (1..points.len())
        .map(|to| {
            let (from, at) = (points[to - 1], points[to]);
            let before = if to >= 2 { points[to - 2] } else { mirrored(from, at) };
            let after = points.get(to + 1).copied().unwrap_or_else(|| mirrored(at, from));
            piece([before, from, at, after])
        })
        .collect()
}

/// The piece from the second to the third of four points, as a Bézier: its tangents are those of the parabolas through
/// three points each.
fn piece([before, from, to, after]: [Point; 4]) -> CubicBez {
    let (first, middle, last) = (before.distance(from).sqrt(), from.distance(to).sqrt(), to.distance(after).sqrt());
    let leaving = ((from - before) / first - (to - before) / (first + middle) + (to - from) / middle) * middle;
    let arriving = ((to - from) / middle - (after - from) / (middle + last) + (after - to) / last) * middle;
    CubicBez::new(from, from + leaving / 3.0, to - arriving / 3.0, to)
}

#[cfg(test)]
mod tests {
    use kurbo::{ParamCurve, ParamCurveDeriv};

    use super::*;

    const POINTS: [Point; 4] = [Point::new(0.0, 0.0), Point::new(1.0, 2.0), Point::new(4.0, 1.0), Point::new(5.0, 5.0)];

    #[test]
    fn it_has_the_values_of_barry_and_goldmans_pyramid() {
        // Computed by the pyramid with numpy 2.4.6, t linear in the knot interval.
        for (t, x, y) in [
            (0.1, 1.229250510316, 2.029729571898),
            (0.25, 1.658163892441, 1.909524681188),
            (0.5, 2.501015551288, 1.46659899655),
            (0.75, 3.343359434492, 1.040373813637),
            (0.9, 3.771480686611, 0.9462217056182),
        ] {
            let seen = catmull_rom(&POINTS)[1].eval(t);
            assert!((seen.x - x).abs() < 1e-10 && (seen.y - y).abs() < 1e-10, "{seen:?} at {t}");
        }
    }

    #[test]
    fn it_heads_the_same_way_on_both_sides_of_a_point() {
        let pieces = catmull_rom(&POINTS);
        for pair in pieces.windows(2) {
            let heading = |curve: &CubicBez, t| curve.deriv().eval(t).to_vec2().normalize();
            assert!((heading(&pair[0], 1.0) - heading(&pair[1], 0.0)).hypot() < 1e-12);
        }
    }

    #[test]
    fn points_on_a_line_are_joined_by_it() {
        let points = [0.0, 1.0, 5.0, 6.0].map(|x| Point::new(x, 2.0 * x));
        for piece in catmull_rom(&points) {
            for step in 0..=10 {
                let seen = piece.eval(f64::from(step) / 10.0);
                assert!((seen.y - 2.0 * seen.x).abs() < 1e-12);
            }
        }
    }
}

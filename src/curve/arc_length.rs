//! A line over the still followed at even speed: through points, or as drawn.
//!
//! In: points, or an SVG path. Out: the point at a distance along it, in pixels. The curves and their speeds are
//! kurbo's; their lengths are integrated once and inverted for every point asked for.
//!
//! ## Decisions
//!
//! - Along a drawing, keys say when and how close. The length is shared out by the time between the first and the last
//!   key, holds apart.
//! - A smooth curve sets off straight towards its second key.
//!
//! ## Surprises
//!
//! - kurbo's cubic for a straight line stands still at both ends, and its parser accepts an empty text as a path.

use kurbo::{Affine, BezPath, CubicBez, ParamCurve, ParamCurveDeriv, PathEl, PathSeg, Point, Shape};
use serde::Serialize;

use super::integral::Running;

/// Points nearer than this, in pixels, are one.
const ONE_POINT: f64 = 1e-9;

/// One smooth piece, with its length so far.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    curve: CubicBez,
    length: Running,
}

impl Piece {
    fn new(curve: CubicBez) -> Self {
        Self { length: Running::new(&|t| speed(&curve, t)), curve }
    }
}

fn speed(curve: &CubicBez, t: f64) -> f64 {
    curve.deriv().eval(t).to_vec2().hypot()
}

/// A line by its length, in pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcLengthPath {
    start: Point,
    pieces: Vec<Piece>,
    /// How far along each piece begins.
    begins: Vec<f64>,
    length: f64,
    /// Whether it begins again where it ends.
    closed: bool,
}

impl ArcLengthPath {
    fn of(start: Point, curves: impl Iterator<Item = CubicBez>) -> Self {
        let mut path = Self { start, pieces: Vec::new(), begins: Vec::new(), length: 0.0, closed: false };
        for curve in curves {
            let piece = Piece::new(curve);
            path.begins.push(path.length);
            path.length += piece.length.whole();
            path.pieces.push(piece);
        }
        path
    }

    /// The centripetal Catmull-Rom curve through points, at least one, and how far along it each of them lies.
    /// Neighbours at one place are passed as one point.
    #[must_use]
    pub fn through(points: &[Point]) -> (Self, Vec<f64>) {
        let mut apart: Vec<Point> = Vec::with_capacity(points.len());
        let mut which = Vec::with_capacity(points.len());
        for point in points {
            if apart.last().is_none_or(|last| last.distance(*point) > ONE_POINT) {
                apart.push(*point);
            }
            which.push(apart.len() - 1);
        }
        let start = apart.first().copied().unwrap_or_default();
        let path = Self::of(start, super::spline::catmull_rom(&apart).into_iter());
        let along = which.into_iter().map(|point| path.begins.get(point).copied().unwrap_or(path.length)).collect();
        (path, along)
    }

    /// Its length in pixels.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.length
    }

    /// The same line, which is begun again at its end and ended before its beginning.
    #[must_use]
    pub fn closed(self) -> Self {
        Self { closed: true, ..self }
    }

    /// The point this many pixels along; beyond an end straight on, or round again if it is closed.
    #[must_use]
    pub fn at(&self, along: f64) -> Point {
        let along = if self.closed { along.rem_euclid(self.length) } else { along };
        let index = self.begins.partition_point(|begin| *begin <= along).saturating_sub(1);
        let Some(piece) = self.pieces.get(index) else { return self.start };
        let within = along - self.begins[index];
        let whole = piece.length.whole();
        let t = piece.length.inverse(&|t| speed(&piece.curve, t), within);
        let point = piece.curve.eval(t);
        let beyond = if within < 0.0 { within } else { (within - whole).max(0.0) };
        if beyond == 0.0 {
            return point;
        }
        let heading = piece.curve.deriv().eval(t).to_vec2();
        if heading.hypot() > 0.0 { point + heading.normalize() * beyond } else { point }
    }
}

/// A line drawn over the still as an SVG path, in fractions of the still's width and height: one stroke, inside the
/// still.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drawing(BezPath);

impl Drawing {
    /// Reads an SVG path (kurbo's parser).
    ///
    /// # Errors
    /// What is wrong with it, in words: no path at all, several strokes, a single point, or a line that leaves the
    /// still.
    pub fn parse(text: &str) -> Result<Self, String> {
        let path = BezPath::from_svg(text).map_err(|error| format!("it is not an SVG path ({error})"))?;
        let strokes = path.elements().iter().filter(|element| matches!(element, PathEl::MoveTo(_))).count();
        if strokes > 1 {
            return Err(format!("it lifts the pen: {strokes} strokes, one M each"));
        }
        if !path.is_finite() {
            return Err("it has an infinite number".into());
        }
        let box_ = path.bounding_box();
        if path.segments().next().is_none() || box_.width().max(box_.height()) < 1e-6 {
            return Err("it has only one point, and a line needs two".into());
        }
        if box_.x0 < -1e-9 || box_.y0 < -1e-9 || box_.x1 > 1.0 + 1e-9 || box_.y1 > 1.0 + 1e-9 {
            return Err(format!(
                "it leaves the still: across it runs from {} to {}, down from {} to {}",
                box_.x0, box_.x1, box_.y0, box_.y1
            ));
        }
        Ok(Self(path))
    }

    /// Whether it ends where it begins.
    #[must_use]
    pub fn closes(&self) -> bool {
        let ends = self.0.segments().last().map(|segment| segment.end());
        matches!((self.0.elements().first(), ends), (Some(PathEl::MoveTo(start)), Some(end)) if start.distance(end) < 1e-9)
    }

    /// As a line over a still of this size in pixels.
    #[must_use]
    pub fn over(&self, width: f64, height: f64) -> ArcLengthPath {
        let path = Affine::scale_non_uniform(width, height) * &self.0;
        let start = match path.elements().first() {
            Some(PathEl::MoveTo(start)) => *start,
            _ => Point::ORIGIN,
        };
        let cubic = |segment: PathSeg| match segment {
            // A straight piece of even speed: kurbo's own cubic of a line stands still at both ends.
            PathSeg::Line(line) => {
                CubicBez::new(line.p0, line.p0.lerp(line.p1, 1.0 / 3.0), line.p0.lerp(line.p1, 2.0 / 3.0), line.p1)
            }
            other => other.to_cubic(),
        };
        let curves = path
            .segments()
            .map(cubic)
            .filter(|curve| [curve.p1, curve.p2, curve.p3].iter().any(|point| point.distance(curve.p0) > ONE_POINT));
        ArcLengthPath::of(start, curves)
    }
}

#[cfg(test)]
mod tests {
    use kurbo::ParamCurveArclen;

    use super::*;

    #[test]
    fn lengths_are_the_published_ones_and_kurbos() {
        // Cubics: closed form, mpmath quadrature.
        for (points, due) in [
            ([(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0)], 2.0),
            ([(0.0, 0.0), (0.25, 0.1), (0.25, 1.0), (1.0, 1.0)], 1.509794083447104),
            ([(1000.0, 800.0), (1800.0, 800.0), (2800.0, 2600.0), (3600.0, 2600.0)], 3229.6743490117333),
            ([(1.0, 0.0), (1.0, 0.5522847498307936), (0.5522847498307936, 1.0), (0.0, 1.0)], 1.5710166980738557),
        ] {
            let curve = CubicBez::new(points[0], points[1], points[2], points[3]);
            let seen = ArcLengthPath::of(curve.p0, [curve].into_iter()).length();
            assert!((seen / due - 1.0).abs() < 1e-9, "{seen} for {due}");
            assert!((seen / curve.arclen(1e-9) - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn half_the_length_of_the_ease_curve_lies_where_quadrature_puts_it() {
        let curve = CubicBez::new((0.0, 0.0), (0.25, 0.1), (0.25, 1.0), (1.0, 1.0));
        let path = ArcLengthPath::of(curve.p0, [curve].into_iter());
        // mpmath: half-length at t = 0.576133278783.
        assert!(path.at(path.length() / 2.0).distance(curve.eval(0.576133278783)) < 1e-10);
    }

    #[test]
    fn equal_lengths_along_are_equal_distances_on_the_still() {
        let points = [(0.0, 0.0), (900.0, 100.0), (1000.0, 900.0), (3000.0, 800.0)].map(Point::from);
        let (path, along) = ArcLengthPath::through(&points);
        for (point, along) in points.iter().zip(&along) {
            assert!(path.at(*along).distance(*point) < 1e-6);
        }
        let steps = 20_000;
        let step = path.length() / f64::from(steps);
        for index in 0..steps {
            let at = |index: i32| path.at(step * f64::from(index));
            // A chord is shorter than its arc by the square of the bend: 1e-6 of it here.
            assert!((at(index).distance(at(index + 1)) / step - 1.0).abs() < 2e-5, "at {index}");
        }
    }

    #[test]
    fn neighbours_at_one_place_are_one_point() {
        let points = [(0.0, 0.0), (0.0, 0.0), (3.0, 4.0), (3.0, 4.0), (3.0, 4.0)].map(Point::from);
        let (_, along) = ArcLengthPath::through(&points);
        assert_eq!(along[..2], [0.0, 0.0]);
        assert!(along[2..].iter().all(|along| (along - 5.0).abs() < 1e-12));
        let (still, along) = ArcLengthPath::through(&points[..2]);
        assert_eq!((still.length(), still.at(0.0), along), (0.0, points[0], vec![0.0, 0.0]));
    }

    #[test]
    fn a_drawing_is_followed_in_pixels_at_even_speed() {
        let path = Drawing::parse("M 0.1 0.5 L 0.5 0.5 Q 0.9 0.5 0.9 0.9").unwrap().over(1000.0, 500.0);
        assert!(path.at(200.0).distance(Point::new(300.0, 250.0)) < 1e-9);
        let step = path.length() / 1000.0;
        for index in 0..1000 {
            let at = |index: i32| path.at(step * f64::from(index));
            assert!((at(index).distance(at(index + 1)) / step - 1.0).abs() < 1e-4);
        }
        assert!(path.at(path.length()).distance(Point::new(900.0, 450.0)) < 1e-9);
    }

    #[test]
    fn what_is_no_line_over_the_still_is_said_in_words() {
        for (text, said) in [
            ("", "only one point"),
            ("M 0.5 0.5", "only one point"),
            ("M 0.5 0.5 L 0.5 0.5 Z", "only one point"),
            ("M 0 0 L 1 1 M 0 1 L 1 0", "lifts the pen: 2 strokes"),
            ("L 0.5 0.5", "not an SVG path"),
            ("M 0.5 half", "not an SVG path"),
            ("M 0 0 L 3 0.5", "it leaves the still: across it runs from 0 to 3"),
            ("M 0 0 L 1e999 0", "infinite number"),
        ] {
            let seen = Drawing::parse(text).unwrap_err();
            assert!(seen.contains(said), "{text}: {seen}");
        }
    }
}

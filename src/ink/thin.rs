//! Fewer points for the same line: what a sheet of a long clip is drawn with.

use kurbo::Point;

/// The points of a line that say all of it to within `tolerance`: no point left out lies further from the line that is
/// left. Ramer, Computer Graphics and Image Processing 1, 244–256 (1972); Douglas and Peucker, Cartographica 10,
/// 112–122 (1973).
pub(crate) fn thinned(points: &[Point], tolerance: f64) -> Vec<Point> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut kept = vec![false; points.len()];
    (kept[0], kept[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let (mut farthest, mut most) = (from, tolerance);
        for (at, point) in points.iter().enumerate().take(to).skip(from + 1) {
            let distance = distance(*point, points[from], points[to]);
            if distance > most {
                (farthest, most) = (at, distance);
            }
        }
        if farthest > from {
            kept[farthest] = true;
            open.extend([(from, farthest), (farthest, to)]);
        }
    }
    points.iter().zip(kept).filter(|(_, kept)| *kept).map(|(point, _)| *point).collect()
}

/// From a point to the nearest of a line from one point to another.
pub(crate) fn distance(point: Point, from: Point, to: Point) -> f64 {
    let along = to - from;
    let length = along.hypot2();
    let part = if length > 0.0 { ((point - from).dot(along) / length).clamp(0.0, 1.0) } else { 0.0 };
    (point - (from + along * part)).hypot()
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn no_point_lies_further_from_the_thinned_line_than_the_tolerance(
            heights in proptest::collection::vec(-50.0..50.0_f64, 2..120), tolerance in 0.01..20.0_f64,
        ) {
            let points: Vec<Point> = heights.iter().enumerate().map(|(at, y)| Point::new(at as f64, *y)).collect();
            let thin = thinned(&points, tolerance);
            for point in &points {
                let nearest = thin.windows(2).map(|pair| distance(*point, pair[0], pair[1])).fold(f64::INFINITY, f64::min);
                proptest::prop_assert!(nearest <= tolerance + 1e-9);
            }
        }
    }

    #[test]
    fn a_straight_line_keeps_its_ends_only() {
        let points: Vec<Point> = (0..100).map(|at| Point::new(f64::from(at), 2.0 * f64::from(at))).collect();
        assert_eq!(thinned(&points, 0.01), [points[0], points[99]]);
        assert!(thinned(&[], 1.0).is_empty());
    }
}

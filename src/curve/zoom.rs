//! The way between two windows: zoom is perceived as a ratio, so the width moves geometrically.

use crate::geom::Window;

/// The window at eased progress `e` on the way from one window to another of the same shape.
///
/// The width is `w0 · (w1 / w0)^e`; the rectangle lies on the straight line between the two at the parameter that gives
/// that width, `u = expm1(L e) / expm1(L)` with `L = ln(w1 / w0)`, and `u = e` where `L` is 0. Corners run straight,
/// the one point both windows show at the same place of the frame stays there, and for `e` in 0 to 1 a window between
/// two windows inside a still is inside it. Ends are exact.
///
/// Where the rolls differ, the roll moves evenly by `e`, and what runs straight is the point of the still at `place` of
/// the frame (fractions of its sides), so that a point both show there stays there; corners swing round it, perhaps out
/// of the still.
#[must_use]
pub fn between(from: Window, to: Window, place: (f64, f64), e: f64) -> Window {
    if e == 0.0 {
        return from;
    }
    if e == 1.0 {
        return to;
    }
    let log_ratio = (to.width / from.width).ln();
    let u = if log_ratio == 0.0 { e } else { (log_ratio * e).exp_m1() / log_ratio.exp_m1() };
    let straight = from.towards(to, u);
    if from.roll == to.roll {
        return straight.rolled(from.roll);
    }
    let point = from.at(place).lerp(to.at(place), u);
    Window::placed(point, place, (straight.width, straight.height), from.roll + (to.roll - from.roll) * e)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIDDLE: (f64, f64) = (0.5, 0.5);

    #[test]
    fn a_steady_push_closes_in_by_the_same_ratio_every_frame() {
        let (from, to) = (Window::new(0.0, 375.0, 4000.0, 2250.0), Window::new(1900.0, 1100.0, 1000.0, 562.5));
        let ratio = 0.25_f64.powf(0.01);
        for step in 0..100 {
            let at = |step: i32| between(from, to, MIDDLE, f64::from(step) / 100.0);
            assert!((at(step + 1).width / at(step).width - ratio).abs() < 1e-12);
            assert!((at(step).width / at(step).height - 16.0 / 9.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_point_both_windows_show_at_one_place_stays_there() {
        // The point (2480, 1440) sits at (0.6, 0.4) of both.
        let window =
            |width: f64| Window::new(2480.0 - 0.6 * width, 1440.0 - 0.4 * width * 0.5625, width, width * 0.5625);
        for step in 0..=50 {
            let seen = between(window(3200.0), window(700.0), MIDDLE, f64::from(step) / 50.0);
            assert!(((2480.0 - seen.x) / seen.width - 0.6).abs() < 1e-12);
            assert!(((1440.0 - seen.y) / seen.height - 0.4).abs() < 1e-12);
        }
    }

    #[test]
    fn a_zoom_of_almost_nothing_is_a_pan() {
        let (from, to) = (Window::new(0.0, 0.0, 1600.0, 900.0), Window::new(800.0, 0.0, 1600.0 * (1.0 + 1e-15), 900.0));
        assert!((between(from, to, MIDDLE, 0.25).x - 200.0).abs() < 1e-9);
        let pan = Window::new(800.0, 0.0, 1600.0, 900.0);
        assert_eq!(between(from, pan, MIDDLE, 0.25).x, 200.0);
    }

    #[test]
    fn a_point_stays_in_its_place_while_the_window_closes_in_and_rolls() {
        let (point, place) = (kurbo::Point::new(2480.0, 1440.0), (0.6, 0.4));
        let window = |width: f64, roll: f64| Window::placed(point, place, (width, width * 0.5625), roll);
        let (from, to) = (window(3200.0, -5.0), window(700.0, 40.0));
        for step in 0..=50 {
            let e = f64::from(step) / 50.0;
            let seen = between(from, to, place, e);
            assert!((seen.at(place) - point).hypot() < 1e-9);
            assert!((seen.roll - (45.0 * e - 5.0)).abs() < 1e-12);
        }
    }

    #[test]
    fn windows_of_one_roll_run_straight_and_stay_inside() {
        let still = crate::units::Size::new(4000, 3000);
        let (from, to) =
            (Window::largest(still, 1.5, 25.0), Window::new(0.0, 0.0, 300.0, 200.0).rolled(25.0).moved_inside(still));
        for step in 0..=100 {
            let seen = between(from, to, (0.1, 0.9), f64::from(step) / 100.0);
            assert!(seen.roll == 25.0 && seen.inside(still, 1e-9), "{seen:?}");
        }
    }
}

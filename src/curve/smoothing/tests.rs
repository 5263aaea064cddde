//! What a bend keeps to: edges, keys, acceleration, and the frames it is there for.

use super::*;
use crate::units::Size;

const STILL: Size = Size { width: 4000, height: 3000 };

/// Windows 1600 pixels wide and 900 high by the distance of their left edge from the still's.
fn path(left: impl Fn(f64) -> f64, frames: u32) -> Vec<Window> {
    (0..frames).map(|frame| Window::new(left(f64::from(frame)), 1000.0, 1600.0, 900.0)).collect()
}

fn check(windows: &[Window], bent: &Bent) {
    let (own, seen) = (accelerations(windows), accelerations(&bent.windows));
    for window in &bent.windows {
        assert!(window.inside(STILL, EXACT), "{window:?}");
    }
    assert!(
        seen.0 <= own.0 * bent.widened * 1.01 && seen.1 <= own.1 * bent.widened * 1.01 + 1e-3 * own.0,
        "{seen:?} {own:?}"
    );
}

#[test]
fn a_dip_out_of_the_still_is_rounded_off_without_braking_harder() {
    // A parabola that dips 30 px below the edge around frame 100.
    let windows = path(|frame| 0.05 * (frame - 100.0).powi(2) - 30.0, 200);
    let bent = bend(&windows, STILL, 1.0, &[], 24.0);
    check(&windows, &bent);
    assert!(bent.windows[100].x < 10.0, "{:?}", bent.windows[100]);
}

#[test]
fn a_path_is_bent_before_it_gets_to_the_edge_and_not_far_from_it() {
    // A swing of 500 px that goes 30 px beyond the edge once, at frame 600 of 1200.
    let windows = path(|frame| 470.0 + 500.0 * (frame / 1200.0 * std::f64::consts::TAU).cos(), 1200);
    let bent = bend(&windows, STILL, 1.0, &[], 24.0);
    check(&windows, &bent);
    let outside: Vec<usize> = (0..1200).filter(|frame| windows[*frame].x < 0.0).collect();
    let (first, last) = (outside[0], outside[outside.len() - 1]);
    assert!((bent.windows[first - 4].x - windows[first - 4].x).abs() > 0.05);
    assert_eq!(bent.windows[first - 200], windows[first - 200]);
    assert_eq!(bent.windows[last + 200], windows[last + 200]);
    assert_eq!(bent.widened, 1.0);
}

#[test]
fn keys_and_rests_stay_where_they_are() {
    let windows = path(|frame| 40.0 - 70.0 * (frame.min(120.0) / 120.0 * std::f64::consts::PI).sin().max(0.0), 200);
    let mut ties = vec![Tie::Key(0, 0.0), Tie::Key(20, 0.25)];
    ties.extend((120..200).map(|frame| Tie::Key(frame, 0.0)));
    let bent = bend(&windows, STILL, 1.0, &ties, 24.0);
    check(&windows, &bent);
    assert!((bent.windows[0].x - 40.0).abs() < 1e-6 && (bent.windows[150].x - 40.0).abs() < 1e-6);
    let between = |windows: &[Window]| windows[20].x * 0.75 + windows[21].x * 0.25;
    assert!((between(&bent.windows) - between(&windows)).abs() < 1e-6);
}

#[test]
fn a_window_that_grows_beyond_the_still_is_held_at_its_largest() {
    let windows: Vec<Window> = (0..240)
        .map(|frame| {
            let width = 3000.0 + 1100.0 * (f64::from(frame) / 239.0 * std::f64::consts::PI).sin();
            Window::around(kurbo::Point::new(2000.0, 1500.0), width, width * 0.5625)
        })
        .collect();
    let bent = bend(&windows, STILL, 1.0, &[Tie::Key(0, 0.0), Tie::Key(239, 0.0)], 24.0);
    check(&windows, &bent);
    assert!(bent.windows.iter().all(|window| (window.height / window.width - 0.5625).abs() < 1e-9));
    assert!((bent.windows[0].width - 3000.0).abs() < 1e-6);
}

/// Paths from one random window to another, rolled or not, by an ease that may overshoot, of which some frames lead
/// out of the still by up to 300 px and the keys do not.
fn random_paths(count: usize) -> Vec<Vec<Window>> {
    let mut state = 12345_u64;
    let mut next = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(state >> 32).unwrap()) / f64::from(u32::MAX)
    };
    let mut paths = Vec::new();
    while paths.len() < count {
        let mut key = || {
            let (width, roll) = (800.0 + 2200.0 * next(), if next() < 0.5 { 0.0 } else { 60.0 * next() - 30.0 });
            let centre = kurbo::Point::new(4000.0 * next(), 3000.0 * next());
            Window::around(centre, width, width * 0.5625).rolled(roll).moved_inside(STILL)
        };
        let (from, to) = (key(), key());
        let frames = 48.0 + (next() * 100.0).floor();
        let y2 = if next() < 0.5 { 1.0 } else { 1.0 + 0.5 * next() };
        let ease = crate::curve::ease::Ease::CubicBezier { x1: 0.4, y1: 0.0, x2: 0.5, y2 };
        let window = |share: f64| {
            let centre = from.centre() + (to.centre() - from.centre()) * share;
            let width = from.width * (to.width / from.width).powf(share);
            Window::around(centre, width, width * 0.5625).rolled(from.roll + (to.roll - from.roll) * share)
        };
        let moments = (0..200).map(f64::from).take_while(|frame| *frame <= frames);
        let windows: Vec<Window> = moments.map(|frame| window(ease.at(frame / frames))).collect();
        let (least, most) = windows
            .iter()
            .map(|window| excursion(*window))
            .fold((0.0_f64, 0.0_f64), |(_, most), out| (out, most.max(out)));
        if excursion(from) == 0.0 && least == 0.0 && (0.5..300.0).contains(&most) {
            paths.push(windows);
        }
    }
    paths
}

/// How far the farthest corner lies outside the still; rounding is not outside.
fn excursion(window: Window) -> f64 {
    let corners = window.corners();
    let out = corners.map(|corner| (-corner.x).max(corner.x - 4000.0).max(-corner.y).max(corner.y - 3000.0));
    out.into_iter().fold(0.0, f64::max).max(1e-6) - 1e-6
}

#[test]
fn a_bend_stays_near_the_frames_outside_and_is_no_larger_than_twice_what_it_mends() {
    for windows in random_paths(60) {
        let ties = [Tie::Key(0, 0.0), Tie::Key(windows.len() - 1, 0.0)];
        let bent = bend(&windows, STILL, 1.0, &ties, 24.0);
        check(&windows, &bent);
        assert_eq!(bent.widened, 1.0);
        let out: Vec<usize> = (0..windows.len()).filter(|frame| excursion(windows[*frame]) > 0.0).collect();
        let most = windows.iter().map(|window| excursion(*window)).fold(0.0, f64::max);
        let (mut near, mut all) = (0.0, 0.0);
        for (frame, (before, after)) in windows.iter().zip(&bent.windows).enumerate() {
            let moved = before.corners().into_iter().zip(after.corners());
            let moved: Vec<f64> = moved.map(|(before, after)| before.distance(after)).collect();
            assert!(moved.iter().all(|moved| *moved <= 2.0 * most + 1e-3), "{moved:?} for {most}");
            let energy: f64 = moved.iter().map(|moved| moved * moved).sum();
            all += energy;
            if out.iter().any(|other| other.abs_diff(frame) <= 36) {
                near += energy;
            }
        }
        assert!(near >= 0.9 * all, "{near} of {all}");
    }
}

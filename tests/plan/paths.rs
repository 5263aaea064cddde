//! Smooth curves, flights and drawings: speed that does not jump at a key, rests, points that stay where they are on
//! screen, and edges that a path is bent away from.

use stillpath::curve::arc_length::Drawing;
use stillpath::curve::ease::Ease;
use stillpath::curve::flight::{Flight, View as Seen};
use stillpath::curve::smoothing::accelerations;
use stillpath::geom::Window;
use stillpath::plan::Plan;
use stillpath::shot::{Closeness, FramingKey, Moment, Pace, Path, Rate, Shot, StillPoint, View};
use stillpath::units::Size;

use super::build::*;

/// A shot of one wide delivery at 24 that lasts `seconds`.
fn along(path: Path, seconds: u32, keys: Vec<FramingKey>) -> Shot {
    let mut shot = shot();
    shot.pace.value = Pace::Over(f64::from(seconds));
    shot.framing.path = path;
    shot.framing.keys = keys;
    shot
}

fn flight() -> Path {
    Path::Flight { rho: Flight::RHO }
}

fn drawn(line: &str) -> Path {
    Path::Drawing(Drawing::parse(line).unwrap())
}

/// A key of a drawing.
fn closer(at_line: u32, at: Moment, zoom: f64) -> FramingKey {
    framing_key(at_line, at, View::Along { closeness: Closeness::Zoom(zoom) })
}

fn windows(plan: &Plan) -> Vec<Window> {
    plan.deliveries[0].rows.iter().map(|row| row.window).collect()
}

/// How far the centre moves from each frame to the next, in pixels of the still.
fn steps(windows: &[Window]) -> Vec<f64> {
    windows.windows(2).map(|pair| pair[1].centre().distance(pair[0].centre())).collect()
}

/// Speed just before and just after a frame, each drawn on from the two steps on its side.
fn speeds(windows: &[Window], frame: usize) -> (f64, f64) {
    let steps = steps(windows);
    (1.5 * steps[frame - 1] - 0.5 * steps[frame - 2], 1.5 * steps[frame] - 0.5 * steps[frame + 1])
}

fn corner() -> Vec<FramingKey> {
    vec![
        on(11, Moment::Start, (0.3, 0.35), 2.5),
        on(12, Moment::Screen(8.0), (0.6, 0.4), 3.0),
        on(13, Moment::Screen(18.0), (0.65, 0.7), 4.0),
        on(14, Moment::Screen(24.0), (0.4, 0.65), 3.0),
    ]
}

#[test]
fn on_a_smooth_path_speed_does_not_jump_at_a_key_and_the_heading_neither() {
    let seen = windows(&plan(&along(Path::Smooth, 30, corner()), &shoot(100)));
    for key in [8 * 24, 18 * 24] {
        let (before, after) = speeds(&seen, key);
        assert!((before - after).abs() <= 0.02 && before > 1.0, "{before} {after}");
        let heading = |frame: usize| (seen[frame + 1].centre() - seen[frame].centre()).normalize();
        assert!((heading(key) - heading(key - 1)).hypot() < 0.1);
        let zoomed = |frame: usize| (seen[frame + 1].width / seen[frame].width).ln() * 1920.0;
        assert!((zoomed(key) - zoomed(key - 1)).abs() < 0.1);
    }
    let straight = windows(&plan(&along(Path::Straight, 30, corner()), &shoot(100)));
    let (before, after) = speeds(&straight, 8 * 24);
    let heading = |frame: usize| (straight[frame + 1].centre() - straight[frame].centre()).normalize();
    assert!((heading(8 * 24) - heading(8 * 24 - 1)).hypot() > 0.5);
    assert!((before - after).abs() > 0.5, "the straight path jumps, or this test sees nothing: {before} {after}");
}

#[test]
fn a_smooth_path_goes_through_its_keys_and_is_even_where_their_moments_are() {
    let mut keys = corner();
    keys.truncate(3);
    let mut shot = along(Path::Smooth, 30, keys);
    let seen = windows(&plan(&shot, &shoot(100)));
    let straight = {
        shot.framing.path = Path::Straight;
        windows(&plan(&shot, &shoot(100)))
    };
    for frame in [0, 8 * 24, 18 * 24, 700] {
        assert_eq!(seen[frame], straight[frame]);
    }
    // Three points on a line, at moments that share the line out: one speed throughout.
    let keys = [(0.0, 0.25), (4.0, 0.4), (12.0, 0.7)];
    let keys = keys.map(|(at, x)| on(11, Moment::Screen(at), (x, 0.5), 3.0)).to_vec();
    let seen = windows(&plan(&along(Path::Smooth, 12, keys), &shoot(100)));
    for step in steps(&seen) {
        assert!((step / (0.45 * 4000.0 / 288.0) - 1.0).abs() < 1e-6, "{step}");
    }
}

#[test]
fn a_window_comes_to_rest_at_a_stop_and_sets_off_from_rest_on_every_path() {
    for path in [Path::Straight, Path::Smooth, flight()] {
        let mut keys = corner();
        keys[1].stop = true;
        let seen = windows(&plan(&along(path.clone(), 30, keys), &shoot(100)));
        let (before, after) = speeds(&seen, 8 * 24);
        assert!(before.abs() < 0.02 && after.abs() < 0.02, "{path:?}: {before} {after}");
    }
}

#[test]
fn a_window_rests_at_a_key_for_as_long_as_it_holds() {
    for path in [Path::Straight, Path::Smooth, flight(), drawn("M 0.3 0.4 Q 0.6 0.3 0.7 0.6")] {
        let mut keys = corner();
        if let Path::Drawing(_) = path {
            keys = vec![
                closer(11, Moment::Start, 2.5),
                closer(12, Moment::Screen(8.0), 3.0),
                closer(13, Moment::Screen(18.0), 3.0),
            ];
        }
        keys[1].hold = 2.5;
        let seen = windows(&plan(&along(path.clone(), 30, keys), &shoot(100)));
        for frame in 8 * 24..=8 * 24 + 60 {
            assert_eq!(seen[frame], seen[8 * 24], "{path:?} at {frame}");
        }
        assert!(seen[8 * 24 + 63] != seen[8 * 24] && seen[8 * 24 - 3] != seen[8 * 24], "{path:?}");
    }
}

#[test]
fn a_hold_that_leaves_no_time_is_refused_and_one_past_the_end_is_remarked_on() {
    let mut keys = corner();
    keys[1].hold = 10.0;
    assert_eq!(
        refused(&along(Path::Smooth, 30, keys), &shoot(100)),
        "mistake shot.lua:12: this key holds until 18 s, but the key below it is at 18 s (shot.lua:13 the key below it) \
         [hold = 5 at most leaves half the time for the way to the next key]\n"
    );
    let mut keys = corner();
    keys[3].hold = 10.0;
    let seen = written(&plan(&along(Path::Smooth, 30, keys), &shoot(100)).remarks);
    assert!(
        seen.contains("shot.lua:14: this key holds for 10 s, but the clip ends before that [hold = 6 is what"),
        "{seen}"
    );
}

#[test]
fn a_flight_is_the_published_curve_between_its_keys_and_lands_at_each() {
    let keys = vec![
        on(11, Moment::Start, (0.3, 0.4), 6.0),
        on(12, Moment::Screen(6.0), (0.7, 0.55), 5.0),
        on(13, Moment::Screen(12.0), (0.5, 0.5), 4.0),
    ];
    let two = windows(&plan(&along(flight(), 12, keys[..2].to_vec()), &shoot(100)));
    let seen = |x, y, zoom| Seen { point: kurbo::Point::new(4000.0 * x, 3000.0 * y), width: 4000.0 / zoom };
    let due = Flight::new(seen(0.3, 0.4, 6.0), seen(0.7, 0.55, 5.0), Flight::RHO);
    for (frame, window) in two.iter().enumerate().take(144) {
        let due = due.at(f64::from(u32::try_from(frame).unwrap()) / 144.0);
        assert!(window.centre().distance(due.point) < 1e-6 && (window.width - due.width).abs() < 1e-6);
    }
    assert!(two[72].width > 1.3 * two[0].width, "it rises");
    let three = windows(&plan(&along(flight(), 12, keys), &shoot(100)));
    let (before, after) = speeds(&three, 144);
    assert!(before.abs() < 0.05 && after.abs() < 0.05, "{before} {after}");
}

#[test]
fn a_flight_between_equal_views_is_remarked_on_and_stands_still() {
    let keys = vec![on(11, Moment::Start, (0.3, 0.4), 6.0), on(12, Moment::End, (0.3, 0.4), 6.0)];
    let plan = plan(&along(flight(), 4, keys), &shoot(100));
    assert!(windows(&plan).windows(2).all(|pair| pair[0] == pair[1]));
    let said = written(&plan.remarks);
    assert!(said.contains("remark shot.lua:12: the flight to this key goes nowhere"), "{said}");
}

#[test]
fn a_drawing_is_followed_at_even_speed_with_the_zoom_of_its_keys() {
    let keys = vec![closer(11, Moment::Start, 2.0), closer(12, Moment::Screen(5.0), 4.0), closer(13, Moment::End, 2.0)];
    let plan = plan(&along(drawn("M 0.3 0.5 C 0.4 0.2 0.6 0.8 0.7 0.5"), 10, keys), &shoot(100));
    let seen = windows(&plan);
    assert_eq!(seen.len(), 240);
    let steps = steps(&seen);
    let mean = steps.iter().sum::<f64>() / 239.0;
    assert!(steps.iter().all(|step| (step / mean - 1.0).abs() < 1e-3), "{mean} {steps:?}");
    assert!(seen[0].centre().distance(kurbo::Point::new(1200.0, 1500.0)) < 1e-6);
    assert!(seen[239].centre().distance(kurbo::Point::new(2800.0, 1500.0)) < 1e-6);
    assert!((seen[120].width - 1000.0).abs() < 1e-6 && (seen[0].width - 2000.0).abs() < 1e-6);
    assert!(!written(&plan.remarks).contains("bent"));
}

#[test]
fn a_drawing_with_one_key_is_refused() {
    let said = refused(&along(drawn("M 0.3 0.5 L 0.7 0.5"), 10, vec![closer(11, Moment::Start, 2.0)]), &shoot(100));
    assert!(said.starts_with("mistake shot.lua:11: a drawing is followed from the first key to the last"), "{said}");
}

#[test]
fn a_zoom_on_one_point_keeps_it_at_its_place_on_screen_whatever_the_path() {
    for path in [Path::Straight, Path::Smooth, flight()] {
        for ease in [Ease::Linear, Ease::keyword("ease-in-out").unwrap()] {
            let mut keys = vec![
                on(11, Moment::Start, (0.5, 0.5), 1.5),
                on(12, Moment::Screen(3.0), (0.5, 0.5), 4.0),
                on(13, Moment::Screen(7.0), (0.5, 0.5), 2.0),
            ];
            keys.iter_mut().for_each(|key| key.ease = ease.clone());
            let mut shot = along(path.clone(), 8, keys);
            shot.deliveries[0].subject_at = (0.4, 0.55);
            for window in windows(&plan(&shot, &shoot(120))) {
                let seen = window.to_frame(kurbo::Point::new(2000.0, 1500.0), Size::new(1920, 1080));
                assert!((seen.x - 768.0).abs() < 0.02 && (seen.y - 594.0).abs() < 0.02, "{path:?} {seen:?}");
            }
        }
    }
}

#[test]
fn a_constant_push_closes_in_at_one_ratio_whatever_the_path() {
    for path in [Path::Straight, Path::Smooth, flight()] {
        let keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 3.0)];
        let seen = windows(&plan(&along(path, 5, keys), &shoot(120)));
        let even = 3.0_f64.ln() / 119.0;
        for pair in seen.windows(2) {
            assert!(((pair[0].width / pair[1].width).ln() / even - 1.0).abs() < 0.005);
        }
    }
}

#[test]
fn keys_on_the_shoots_axis_hold_to_their_still_whatever_the_pace() {
    for path in [Path::Straight, Path::Smooth, flight()] {
        let keys = [(1, 0.3, 2.0), (31, 0.7, 3.0), (61, 0.5, 4.0)];
        let keys = keys.map(|(still, x, zoom)| on(11, Moment::Still(still), (x, 0.5), zoom)).to_vec();
        let mut shot = along(path, 1, keys);
        let mut seen: Vec<Vec<Window>> = Vec::new();
        for pace in [Rate::StillsPerFrame(1.0), Rate::FramesPerStill(3.0), Rate::StillsPerFrame(0.5)] {
            shot.pace.value = Pace::Constant(pace);
            let plan = plan(&shot, &shoot(90));
            let first = |slot: usize| plan.deliveries[0].rows.iter().find(|row| row.slot.0 == slot).unwrap().window;
            seen.push([0, 30, 60].map(first).to_vec());
        }
        for other in &seen[1..] {
            assert_eq!(other, &seen[0]);
        }
    }
}

/// The path of a shot that nothing bends: the same shot in the middle of a still so large that no edge is near.
fn unbent(shot: &Shot, still: Size) -> Vec<Window> {
    let mut shot = shot.clone();
    let (across, down) = (f64::from(still.width), f64::from(still.height));
    let room = 20.0;
    let largest = Window::largest(still, shot.deliveries[0].frame.aspect(), 0.0);
    for key in &mut shot.framing.keys {
        let View::On { point: StillPoint::Fraction(x, y), closeness: Closeness::Zoom(zoom) } = key.view else {
            panic!("by point")
        };
        let key_window =
            Window::around(kurbo::Point::new(x * across, y * down), largest.width / zoom, largest.height / zoom);
        let centre = key_window.moved_inside(still).centre();
        let point = StillPoint::Pixels(centre.x + across * (room - 1.0) / 2.0, centre.y + down * (room - 1.0) / 2.0);
        key.view = View::On { point, closeness: Closeness::Zoom(zoom * room) };
    }
    let mut large = shoot(100);
    large.size = Size::new(still.width * 20, still.height * 20);
    let moved = |window: Window| {
        Window::new(
            window.x - across * (room - 1.0) / 2.0,
            window.y - down * (room - 1.0) / 2.0,
            window.width,
            window.height,
        )
    };
    windows(&plan(&shot, &large)).into_iter().map(moved).collect()
}

/// Bends a shot and holds it against the same shot unbent; gives the frames that differ.
fn bent(shot: &Shot, size: Size) -> (Vec<usize>, String) {
    let mut shoot = shoot(100);
    shoot.size = size;
    let plan = plan(shot, &shoot);
    let (seen, own) = (windows(&plan), unbent(shot, size));
    assert!(own.iter().any(|window| !window.inside(size, 1.0)), "nothing to bend");
    assert!(seen.iter().all(|window| window.inside(size, 0.0)));
    let (most, limit) = (accelerations(&seen), accelerations(&own));
    let said = written(&plan.remarks);
    if !said.contains("nothing gentler") {
        let within = |seen: f64, limit: f64| seen <= 1.002 * limit + 2e-3 * limit.max(0.01);
        assert!(within(most.0, limit.0.max(limit.1)) && within(most.1, limit.1.max(limit.0)), "{most:?} {limit:?}");
    }
    let frames = (0..seen.len()).filter(|frame| (seen[*frame].x - own[*frame].x).abs() > 0.1).collect();
    (frames, said)
}

#[test]
fn an_ease_that_overshoots_out_of_the_still_is_bent_before_it_gets_there() {
    let mut key = on(12, Moment::Screen(4.0), (0.26, 0.5), 2.0);
    key.ease = Ease::CubicBezier { x1: 0.3, y1: 0.0, x2: 0.5, y2: 1.3 };
    let shot = along(Path::Straight, 6, vec![on(11, Moment::Start, (0.5, 0.5), 2.0), key]);
    let (frames, said) = bent(&shot, Size::new(4000, 3000));
    let outside = unbent(&shot, Size::new(4000, 3000)).iter().position(|window| window.x < 0.0).unwrap();
    assert!(frames[0] > 0 && frames[0] < outside - 5, "{frames:?} {outside}");
    assert!(said.contains("shot.lua:12: 'wide' would leave the still by up to "), "{said}");
    assert!(said.contains("[an ease whose output stays between 0 and 1"), "{said}");
    let mut shot = shot;
    shot.strict = true;
    assert!(refused(&shot, &shoot(100)).contains("would leave the still by up to"));
}

#[test]
fn a_smooth_path_that_swings_out_of_the_still_is_bent() {
    let keys = vec![
        on(11, Moment::Start, (0.5, 0.3), 4.0),
        on(12, Moment::Screen(6.0), (0.14, 0.4), 4.0),
        on(13, Moment::Screen(12.0), (0.14, 0.7), 4.0),
        on(14, Moment::Screen(18.0), (0.5, 0.75), 4.0),
    ];
    let (frames, said) = bent(&along(Path::Smooth, 18, keys), Size::new(4000, 3000));
    assert!(!frames.is_empty());
    assert!(!said.contains("nothing gentler"), "{said}");
}

#[test]
fn a_flight_that_rises_above_the_still_is_held_below_it() {
    // Case C of the published table leaves a picture of 4608 pixels: its width peaks at 4938.06.
    let size = Size::new(4608, 3456);
    let peak = Flight::new(
        Seen { point: kurbo::Point::new(1000.0, 800.0), width: 4608.0 },
        Seen { point: kurbo::Point::new(3600.0, 2600.0), width: 1920.0 },
        Flight::RHO,
    );
    assert!((peak.at(0.19061905418088).width - 4938.0611034885).abs() < 1e-6);
    let mut shot = along(
        flight(),
        10,
        vec![on(11, Moment::Start, (0.25, 0.3), 1.6), on(12, Moment::Screen(9.0), (0.78, 0.75), 2.4)],
    );
    shot.deliveries[0] = delivery("wide", 1600, 1200, "24");
    let (frames, said) = bent(&shot, size);
    assert!(!frames.is_empty() && said.contains("its path is bent") && !said.contains("nothing gentler"), "{said}");
}

#[test]
fn a_drawing_too_near_an_edge_for_its_zoom_is_bent() {
    let keys = vec![closer(11, Moment::Start, 2.0), closer(12, Moment::Screen(12.0), 2.0)];
    let shot = along(drawn("M 0.5 0.5 C 0.5 0.2 0.1 0.3 0.2 0.6 S 0.5 0.8 0.6 0.5"), 12, keys);
    let plan = plan(&shot, &shoot(100));
    assert!(windows(&plan).iter().all(|window| window.inside(Size::new(4000, 3000), 0.0)));
    let said = written(&plan.remarks);
    assert!(said.contains("its path is bent, by up to "), "{said}");
}

/// How hard a delivery's window turns on screen, frame by frame, in pixels a frame squared: at the middle of the frame,
/// told by positions alone.
fn on_screen(plan: &stillpath::plan::Plan) -> Vec<f64> {
    let rows = &plan.deliveries[0].rows;
    let frame = plan.deliveries[0].frame;
    let speeds: Vec<kurbo::Vec2> = rows
        .windows(2)
        .map(|pair| {
            (pair[1].window.centre() - pair[0].window.centre()) * (f64::from(frame.width) / pair[0].window.width)
        })
        .collect();
    speeds.windows(2).map(|pair| (pair[1] - pair[0]).hypot()).collect()
}

fn median(values: &[f64]) -> f64 {
    let mut moving: Vec<f64> = values.iter().copied().filter(|value| *value > 1e-6).collect();
    moving.sort_by(f64::total_cmp);
    moving[moving.len() / 2]
}

#[test]
fn keys_that_turn_back_on_a_smooth_path_are_come_to_rest_at_softly() {
    let (a, b) = ((0.4, 0.5), (0.6, 0.5));
    for points in [vec![a, b, a], vec![a, b, a, b], vec![a, b, (0.402, 0.51)], vec![a, b, (0.45, 0.58)]] {
        let mut shot = shot();
        shot.pace.value = Pace::Over(20.0);
        shot.framing.path = stillpath::shot::Path::Smooth;
        shot.framing.keys = (11..)
            .zip(&points)
            .map(|(line, point)| on(line, Moment::Screen(f64::from(line - 11) * 6.0), *point, 2.0))
            .collect();
        let plan = plan(&shot, &shoot(480));
        let turns = on_screen(&plan);
        let end = 144 * (points.len() - 1);
        // Setting off and arriving are the ease's own, "linear" here.
        let most = turns[3..end - 3].iter().copied().fold(0.0, f64::max);
        // A quarter of a pixel is seen by nobody; a curve may turn as hard as a soft start does: the rule of thumb's
        // speed, 11.4 pixels a frame, within half a second.
        let is_curve = points.last().is_some_and(|last| *last != a && *last != b);
        let bar = (3.0 * median(&turns[3..end - 3])).max(if is_curve { 0.952 } else { 0.24 });
        assert!(most <= bar * 1.01, "{points:?}: {most} px a frame squared, {bar} allowed");
        for (index, point) in points.iter().enumerate() {
            let centre = plan.deliveries[0].rows[144 * index].window.centre();
            assert!((centre - kurbo::Point::new(point.0 * 4000.0, point.1 * 3000.0)).hypot() < 1e-6, "{centre:?}");
        }
        assert!(!written(&plan.remarks).contains("turns sharply"), "{}", written(&plan.remarks));
    }
}

#[test]
fn a_corner_that_a_straight_path_passes_at_full_speed_is_remarked_on_and_a_stop_mends_it() {
    let mut shot = shot();
    shot.pace.value = Pace::Over(20.0);
    shot.framing.keys = vec![
        on(11, Moment::Screen(0.0), (0.4, 0.5), 2.0),
        on(12, Moment::Screen(6.0), (0.6, 0.5), 2.0),
        on(13, Moment::Screen(12.0), (0.4, 0.5), 2.0),
    ];
    let said = written(&plan(&shot, &shoot(480)).remarks);
    assert!(said.contains("shot.lua:12: 'wide' turns sharply in frame 144"), "{said}");
    assert!(said.contains("[stop = true in this key comes to rest there] [or path = \"smooth\""), "{said}");
    shot.framing.keys[1].stop = true;
    assert_eq!(written(&plan(&shot, &shoot(480)).remarks), "");
    // A way that goes straight on has no corner, and one slow enough is seen by nobody.
    shot.framing.keys[1].stop = false;
    shot.framing.keys[2] = on(13, Moment::Screen(12.0), (0.8, 0.5), 2.5);
    shot.framing.keys[0].view = on(11, Moment::Screen(0.0), (0.4, 0.5), 2.5).view;
    shot.framing.keys[1].view = on(12, Moment::Screen(6.0), (0.6, 0.5), 2.5).view;
    let said = written(&plan(&shot, &shoot(480)).remarks);
    assert!(!said.contains("turns sharply"), "{said}");
}

//! Places, closeness and boxes as windows: inside the still, shaped as the frame, moved or refused with a word.

use stillpath::curve::ease::Ease;
use stillpath::geom::Window;
use stillpath::shot::{Closeness, Framing, Moment, Shot, StillPoint, View};

use super::build::*;

/// A still picture for one frame, framed by one key.
fn framed(key: stillpath::shot::FramingKey) -> Shot {
    let mut shot = shot();
    shot.framing.keys = vec![key];
    shot
}

fn window(shot: &Shot) -> Window {
    plan(shot, &shoot(1)).deliveries[0].rows[0].window
}

fn near(seen: Window, expected: (f64, f64, f64, f64)) {
    let seen = (seen.x, seen.y, seen.width, seen.height);
    let off = [seen.0 - expected.0, seen.1 - expected.1, seen.2 - expected.2, seen.3 - expected.3];
    assert!(off.iter().all(|off| off.abs() < 1e-9), "{seen:?} for {expected:?}");
}

#[test]
fn no_framing_is_the_largest_window_of_each_shape() {
    let mut shot = shot();
    shot.deliveries = vec![
        delivery("wide", 1920, 1080, "24"),
        delivery("tall", 1080, 1920, "24"),
        delivery("square", 1080, 1080, "24"),
    ];
    let plan = plan(&shot, &shoot(1));
    let windows: Vec<Window> = plan.deliveries.iter().map(|delivery| delivery.rows[0].window).collect();
    near(windows[0], (0.0, 375.0, 4000.0, 2250.0));
    near(windows[1], (1156.25, 0.0, 1687.5, 3000.0));
    near(windows[2], (500.0, 0.0, 3000.0, 3000.0));
}

#[test]
fn a_zoom_is_a_fraction_of_the_largest_window_and_a_span_of_the_still() {
    near(window(&framed(on(11, Moment::Start, (0.5, 0.5), 2.0))), (1000.0, 937.5, 2000.0, 1125.0));
    let span = View::On { point: StillPoint::Pixels(2000.0, 1500.0), closeness: Closeness::Span(0.4) };
    let mut key = on(11, Moment::Start, (0.5, 0.5), 1.0);
    key.view = span;
    near(window(&framed(key)), (1200.0, 1050.0, 1600.0, 900.0));
}

#[test]
fn a_delivery_says_where_in_its_frame_the_point_sits() {
    let mut shot = framed(on(11, Moment::Start, (0.5, 0.5), 2.0));
    shot.deliveries[0].subject_at = (0.25, 0.4);
    near(window(&shot), (2000.0 - 500.0, 1500.0 - 450.0, 2000.0, 1125.0));
}

#[test]
fn a_delivery_may_bring_keys_of_its_own() {
    let mut shot = framed(on(11, Moment::Start, (0.5, 0.5), 2.0));
    shot.deliveries.push(delivery("own", 1920, 1080, "24"));
    shot.deliveries[1].framing = Some(Framing {
        place: line(61),
        keys: vec![on(62, Moment::Start, (0.5, 0.5), 4.0)],
        path: stillpath::shot::Path::Straight,
    });
    let plan = plan(&shot, &shoot(1));
    assert_eq!(
        plan.deliveries.iter().map(|delivery| delivery.rows[0].window.width).collect::<Vec<_>>(),
        [2000.0, 1000.0]
    );
}

#[test]
fn a_box_is_held_by_the_smallest_window_with_its_margin() {
    // 800 by 600 pixels: the height decides in a wide frame, the width in a tall one.
    let mut shot = framed(show(11, Moment::Start, (0.4, 0.4, 0.2, 0.2), 0.0));
    near(window(&shot), (2000.0 - 1600.0 / 3.0, 1200.0, 3200.0 / 3.0, 600.0));
    shot = framed(show(11, Moment::Start, (0.4, 0.4, 0.2, 0.2), 0.1));
    near(window(&shot), (2000.0 - 2000.0 / 3.0, 1125.0, 4000.0 / 3.0, 750.0));
    shot.deliveries = vec![delivery("tall", 1080, 1920, "24")];
    near(window(&shot), (1500.0, 1500.0 - 8000.0 / 9.0, 1000.0, 16000.0 / 9.0));
}

#[test]
fn a_box_off_the_frames_middle_still_has_its_margin_on_every_side() {
    let mut shot = framed(show(11, Moment::Start, (0.4, 0.4, 0.2, 0.2), 0.1));
    shot.deliveries[0].subject_at = (0.5, 0.4);
    // The centre is 0.4 down: 0.3 of the height lies between the margin and it, for half the box's 600 pixels.
    near(window(&shot), (2000.0 - 8000.0 / 9.0, 1100.0, 16000.0 / 9.0, 1000.0));
}

#[test]
fn a_window_that_would_leave_the_still_is_moved_inside_with_a_remark() {
    let mut shot = framed(on(11, Moment::Start, (0.9, 0.5), 1.6));
    shot.deliveries.push(delivery("square", 1080, 1080, "24"));
    let plan = plan(&shot, &shoot(1));
    near(plan.deliveries[0].rows[0].window, (1500.0, 796.875, 2500.0, 1406.25));
    assert_eq!(
        written(&plan.remarks),
        "remark shot.lua:11: the window at this key would leave the still and is moved inside: 'wide' by 850 px left and \
         'square' by 537.5 px left [zoom 5 or more keeps the point at its place in 'wide'] \
         [zoom 3.75 or more keeps the point at its place in 'square']\n"
    );
    shot.strict = true;
    assert!(refused(&shot, &shoot(1)).starts_with("mistake shot.lua:11: the window at this key would leave the still"));
}

#[test]
fn the_zoom_named_keeps_the_point_at_its_place() {
    let plan = plan(&framed(on(11, Moment::Start, (0.9, 0.5), 5.0)), &shoot(1));
    assert!(!written(&plan.remarks).contains("moved inside"), "{}", written(&plan.remarks));
    near(plan.deliveries[0].rows[0].window, (3200.0, 1275.0, 800.0, 450.0));
}

#[test]
fn a_window_larger_than_the_still_is_made_the_largest_with_a_remark() {
    let mut key = on(11, Moment::Start, (0.5, 0.5), 0.8);
    let seen = plan(&framed(key.clone()), &shoot(1));
    near(seen.deliveries[0].rows[0].window, (0.0, 375.0, 4000.0, 2250.0));
    let said = "the window at this key would be larger than the still and becomes the largest that fits";
    assert_eq!(written(&seen.remarks), format!("remark shot.lua:11: {said}: 'wide' shows zoom 1 for zoom 0.8\n"));
    key.view = View::On { point: StillPoint::Fraction(0.5, 0.5), closeness: Closeness::Span(0.9) };
    let mut shot = framed(key);
    shot.deliveries = vec![delivery("tall", 1080, 1920, "24")];
    let seen = plan(&shot, &shoot(1));
    near(seen.deliveries[0].rows[0].window, (1156.25, 0.0, 1687.5, 3000.0));
    assert!(written(&seen.remarks).contains("'tall' shows span 0.421 for span 0.9"));
    shot.strict = true;
    let said = "larger than the still, which strict refuses: 'tall' would show span 0.421 for span 0.9 [strict = false in the shot";
    assert!(refused(&shot, &shoot(1)).contains(said), "{}", refused(&shot, &shoot(1)));
}

#[test]
fn a_box_that_fits_no_window_is_shown_as_far_as_it_goes_and_the_cut_is_named() {
    let mut shot = framed(show(11, Moment::Start, (0.0, 0.0, 1.0, 1.0), 0.0));
    shot.deliveries.push(delivery("tall", 1080, 1920, "24"));
    let seen = plan(&shot, &shoot(1));
    near(seen.deliveries[0].rows[0].window, (0.0, 375.0, 4000.0, 2250.0));
    near(seen.deliveries[1].rows[0].window, (1156.25, 0.0, 1687.5, 3000.0));
    assert_eq!(
        written(&seen.remarks),
        "remark shot.lua:11: the box at this key does not fit and is shown as far as possible: 'wide' cuts 12.5 % at the top and \
         12.5 % at the bottom and 'tall' cuts 28.9 % at the left and 28.9 % at the right\n"
    );
    shot.strict = true;
    let said = "the box at this key does not fit, which strict refuses: 'wide' would cut 12.5 % at the top";
    assert!(refused(&shot, &shoot(1)).contains(said));
}

#[test]
fn a_box_that_fits_without_its_margin_is_shown_whole() {
    // 2200 of 2250 pixels high, at the still's top edge: all of it can be shown, its margin cannot.
    let shot = framed(show(11, Moment::Start, (0.2, 0.0, 0.3, 2200.0 / 3000.0), 0.1));
    let seen = plan(&shot, &shoot(1));
    near(seen.deliveries[0].rows[0].window, (0.0, 0.0, 4000.0, 2250.0));
    assert!(written(&seen.remarks).contains("'wide' shows all of it, with less margin or out of place"));
}

#[test]
fn what_can_be_no_window_is_refused() {
    for (key, said) in [
        (on(11, Moment::Start, (0.5, 0.5), 0.0), "zoom must be above 0; seen 0"),
        (on(11, Moment::Start, (0.5, 0.5), -3.0), "zoom must be above 0; seen -3"),
        (on(11, Moment::Start, (0.5, 0.5), f64::NAN), "zoom must be above 0; seen NaN"),
        (on(11, Moment::Start, (0.5, 0.5), f64::INFINITY), "zoom must be above 0; seen inf"),
        (on(11, Moment::Start, (0.5, 0.5), 1e5), "less than one pixel"),
        (
            on(11, Moment::Start, (1.5, 0.5), 2.0),
            "the point (6000, 1500) lies outside the still, which is 4000 by 3000 pixels",
        ),
        (on(11, Moment::Start, (f64::NAN, 0.5), 2.0), "lies outside the still"),
        (
            show(11, Moment::Start, (0.5, 0.5, 0.6, 0.2), 0.0),
            "the box (0.5, 0.5, 0.6, 0.2) does not lie inside the still",
        ),
        (show(11, Moment::Start, (0.5, 0.5, 0.0, 0.2), 0.0), "does not lie inside the still"),
        (show(11, Moment::Start, (0.5, 0.5, 0.2, 0.2), 0.5), "margin must be from 0 to below 0.5; seen 0.5"),
    ] {
        let refused = refused(&framed(key), &shoot(1));
        assert!(refused.starts_with("mistake shot.lua:11: ") && refused.contains(said), "{said}: {refused}");
        assert_eq!(refused.lines().count(), 1, "{refused}");
    }
}

#[test]
fn the_point_of_a_pure_zoom_stays_at_its_place_on_screen_and_the_push_is_even() {
    let mut shot = shot();
    shot.deliveries[0].subject_at = (0.4, 0.55);
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.5), on(12, Moment::End, (0.5, 0.5), 4.0)];
    let plan = plan(&shot, &shoot(120));
    let delivery = &plan.deliveries[0];
    for row in &delivery.rows {
        let seen = row.window.to_frame(kurbo::Point::new(2000.0, 1500.0), delivery.frame);
        assert!((seen.x - 768.0).abs() < 1e-9 && (seen.y - 594.0).abs() < 1e-9, "{seen:?}");
    }
    let even = (4.0_f64 / 1.5).ln() / 119.0;
    for pair in delivery.rows.windows(2) {
        assert!(((pair[0].window.width / pair[1].window.width).ln() / even - 1.0).abs() < 1e-9);
    }
}

#[test]
fn an_overshoot_with_room_for_it_is_no_mistake() {
    let mut shot = shot();
    let mut key = on(12, Moment::End, (0.4, 0.5), 2.0);
    key.ease = Ease::CubicBezier { x1: 0.3, y1: 0.0, x2: 0.5, y2: 1.6 };
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 2.0), key];
    let least = plan(&shot, &shoot(25)).deliveries[0].rows.iter().map(|row| row.window.x).fold(f64::INFINITY, f64::min);
    assert!(least < 600.0 && least > 500.0, "{least}");
}

#[test]
fn an_endless_overshoot_is_refused_and_makes_no_window_of_nothing() {
    let mut shot = shot();
    let mut key = on(12, Moment::End, (0.5, 0.5), 4.0);
    key.ease = Ease::CubicBezier { x1: 0.3, y1: -1e9, x2: 0.5, y2: 1e9 };
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), key];
    assert!(refused(&shot, &shoot(25)).contains("overshoots out of the still in 'wide', without end"));
}

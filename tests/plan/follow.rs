//! Following: what is pinned to stills, what is said where it cannot be kept, and how smooth it is.

use stillpath::curve::smoothing::accelerations;
use stillpath::geom::{Margins, Window};
use stillpath::plan::{Plan, Way};
use stillpath::resolve::When;
use stillpath::shot::{Closeness, Follow, Framing, FramingKey, Moment, Pace, Path, Rate, Shot, StillBox, View};

use super::build::*;

/// A follow on line 10.
fn follow(keys: Vec<FramingKey>) -> Framing {
    Framing { place: line(10), keys, path: Path::Follow(Follow { margin: 0.0, closeness: None, track: None }) }
}

fn zoomed(keys: Vec<FramingKey>, zoom: f64) -> Framing {
    let closeness = Some(Closeness::Zoom(zoom));
    Framing { path: Path::Follow(Follow { margin: 0.0, closeness, track: None }), ..follow(keys) }
}

/// A key of a follow.
fn at(at_line: u32, at: Moment, area: (f64, f64, f64, f64)) -> FramingKey {
    framing_key(at_line, at, View::Subject { area: area_of(area) })
}

fn area_of((x, y, width, height): (f64, f64, f64, f64)) -> StillBox {
    StillBox { x, y, width, height }
}

/// Something that crosses the still and turns, in 100 stills.
fn turning() -> Vec<FramingKey> {
    vec![
        at(11, Moment::Still(5), (0.2, 0.5, 0.12, 0.12)),
        at(12, Moment::Still(30), (0.5, 0.35, 0.14, 0.12)),
        at(13, Moment::Still(31), (0.51, 0.35, 0.14, 0.12)),
        at(14, Moment::Still(80), (0.35, 0.6, 0.1, 0.1)),
    ]
}

/// A shot of three shapes that follows.
fn three(framing: Framing) -> Shot {
    let mut shot = shot();
    shot.framing = framing;
    shot.deliveries = vec![
        delivery("wide", 1920, 1080, "24"),
        delivery("tall", 1080, 1920, "30000/1001"),
        delivery("square", 1080, 1080, "50"),
    ];
    shot.deliveries[0].safe = Margins::TITLE;
    shot.deliveries[1].safe = Margins { left: 0.05, right: 0.15, top: 0.1, bottom: 0.25 };
    shot
}

/// Room between a box of the still of 4000 by 3000 and the nearest edge of a delivery's safe box, in pixels of the
/// still.
fn room(window: Window, area: StillBox, safe: Margins) -> f64 {
    let (left, top) = (area.x * 4000.0 - window.x, area.y * 3000.0 - window.y);
    let (right, bottom) =
        (window.right() - (area.x + area.width) * 4000.0, window.bottom() - (area.y + area.height) * 3000.0);
    let across = (left - safe.left * window.width).min(right - safe.right * window.width);
    let down = (top - safe.top * window.height).min(bottom - safe.bottom * window.height);
    across.min(down)
}

/// The windows of a delivery's frames that show a still, counted from 1.
fn windows_at(plan: &Plan, delivery: usize, still: usize) -> Vec<Window> {
    plan.deliveries[delivery].rows.iter().filter(|row| row.shown.0 + 1 == still).map(|row| row.window).collect()
}

/// Three ways to time a shoot of 100 stills: slow, a ramp that is fitted, and to and fro with a freeze.
fn paces() -> Vec<stillpath::diag::Placed<Pace>> {
    let mut slow = shot().pace;
    slow.value = Pace::Constant(Rate::FramesPerStill(3.0));
    let ramp = vec![
        rate(31, Moment::Start, Rate::StillsPerFrame(0.5)),
        rate(32, Moment::Still(60), Rate::StillsPerFrame(1.0)),
        rate(33, Moment::End, Rate::FramesPerStill(4.0)),
    ];
    let turns = vec![
        rate(31, Moment::Start, Rate::FramesPerStill(2.0)),
        freeze(32, Moment::Still(30), 1.0),
        rate(33, Moment::Still(90), Rate::FramesPerStill(2.0)),
        back(34, Moment::Still(50), 0.5),
        rate(35, Moment::End, Rate::FramesPerStill(2.0)),
    ];
    vec![slow, keyed(ramp, Some(14.0)), keyed(turns, None)]
}

#[test]
fn keys_of_a_framing_hold_to_their_still_however_it_is_timed() {
    let mut shot = three(Framing { place: line(10), keys: Vec::new(), path: Path::Straight });
    shot.framing.keys = vec![
        on(11, Moment::Still(5), (0.4, 0.5), 2.0),
        on(12, Moment::Still(30), (0.6, 0.45), 3.0),
        on(13, Moment::Still(80), (0.5, 0.6), 2.0),
    ];
    let mut seen: Vec<Vec<Window>> = Vec::new();
    for (pace, rate) in paces().into_iter().take(2).zip(["24", "25"]) {
        for delivery in &mut shot.deliveries {
            delivery.fps = fps(rate);
        }
        shot.pace = pace;
        // On the moment of the key itself: the track's own value, which every frame that falls on it shows.
        let keyed = [(11, 5_i64), (12, 30), (13, 80)].iter().flat_map(|(place, still)| {
            let at = explain(&shot, &shoot(100), 1, &When::Moment(Moment::Still(*still))).unwrap();
            let keys = match at.framing.way.unwrap() {
                Way::Holds(key) => vec![key],
                Way::Between { from, to, .. } => vec![from, to],
            };
            keys.into_iter().filter(|key| key.place.line == *place).map(|key| key.window).collect::<Vec<_>>()
        });
        seen.push(keyed.collect());
    }
    assert_eq!(seen[0].len(), 3);
    assert_eq!(seen[0], seen[1]);
    // With a frame on the keys whatever the pace, that frame's window is the key's.
    shot.deliveries[1].fps = fps("24");
    for frames in [1.0, 2.0, 5.0] {
        shot.pace.value = Pace::Constant(Rate::FramesPerStill(frames));
        let plan = plan(&shot, &shoot(100));
        let held: Vec<Window> = [5, 30, 80].into_iter().map(|still| windows_at(&plan, 1, still)[0]).collect();
        assert_eq!(held, seen[0], "{frames}");
    }
}

#[test]
fn the_subject_is_kept_at_every_keyed_still_however_it_is_timed() {
    for pace in paces() {
        for framing in [follow(turning()), zoomed(turning(), 2.2)] {
            let mut shot = three(framing);
            shot.pace = pace.clone();
            let plan = plan(&shot, &shoot(100));
            assert!(!written(&plan.remarks).contains("no window of"), "{}", written(&plan.remarks));
            for (index, delivery) in shot.deliveries.iter().enumerate() {
                for (key, still) in shot.framing.keys.iter().zip([5, 30, 31, 80]) {
                    let View::Subject { area } = key.view else { panic!() };
                    let windows = windows_at(&plan, index, still);
                    assert!(!windows.is_empty());
                    for window in windows {
                        assert!(
                            room(window, area, delivery.safe) > -1e-3,
                            "'{}' at still({still}): {window:?}",
                            delivery.name
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn what_a_still_asks_to_show_does_not_change_with_pace_rate_or_fit() {
    let mut asked: Vec<Vec<StillBox>> = Vec::new();
    for (pace, rate) in paces().into_iter().zip(["24", "30", "25"]) {
        let mut shot = three(follow(turning()));
        shot.deliveries[1].fps = fps(rate);
        shot.pace = pace;
        let seen: Vec<StillBox> = [1_u32, 5, 17, 30, 31, 66, 80, 100]
            .iter()
            .map(|still| {
                let frame = plan(&shot, &shoot(100)).deliveries[1]
                    .rows
                    .iter()
                    .position(|row| row.shown.0 + 1 == *still as usize);
                let frame = frame.unwrap_or_else(|| panic!("still {still} is not shown"));
                explain(&shot, &shoot(100), 1, &When::Frame(frame as u64)).unwrap().framing.follow.unwrap().area
            })
            .collect();
        asked.push(seen);
    }
    assert_eq!(asked[0], asked[1]);
    assert_eq!(asked[0], asked[2]);
    let View::Subject { area } = turning()[1].view else { panic!() };
    assert!((asked[0][3].x - area.x).abs() < 1e-12 && (asked[0][3].width - area.width).abs() < 1e-12);
}

#[test]
fn a_frame_of_several_stills_keeps_the_subject_of_each() {
    let mut shot = three(follow(turning()));
    shot.deliveries.truncate(1);
    shot.deliveries[0].blend.shutter = 720.0;
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(2.0));
    let plan = plan(&shot, &shoot(100));
    let explained = explain(&shot, &shoot(100), 0, &When::Frame(5)).unwrap();
    let row = &plan.deliveries[0].rows[5];
    let shown: Vec<usize> = row.shares().map(|share| share.shown.0).collect();
    assert_eq!(shown, [10, 11, 12, 13]);
    // From still(5) at 4 to still(30) at 29 it goes 0.3 across and 0.02 wider: all of it from still(11) to still(14).
    let x = |position: f64| 0.2 + 0.3 * (position - 4.0) / 25.0;
    let right = |position: f64| x(position) + 0.12 + 0.02 * (position - 4.0) / 25.0;
    let area = explained.framing.follow.unwrap().area;
    assert!((area.x - x(10.0)).abs() < 1e-9 && (area.x + area.width - right(13.0)).abs() < 1e-9, "{area:?}");
    assert!(room(row.window, area, shot.deliveries[0].safe) > -1e-3);
}

#[test]
fn frames_in_which_no_window_can_keep_it_are_named_and_strict_refuses_them() {
    // From well inside to the still's right edge, where the title margin has no room.
    let mut shot = three(follow(vec![
        at(11, Moment::Start, (0.4, 0.45, 0.1, 0.1)),
        at(12, Moment::Still(50), (0.9, 0.45, 0.1, 0.1)),
        at(13, Moment::End, (0.9, 0.45, 0.1, 0.1)),
    ]));
    shot.deliveries.truncate(1);
    let seen = plan(&shot, &shoot(100));
    let said = written(&seen.remarks);
    assert!(
        said.contains("remark shot.lua:10: no window of 'wide' keeps the subject in its safe part in frames 4")
            && said.contains(
                "to 99: it is up to 5 % of the frame outside it there, at the right, never outside the frame"
            )
            && said.contains("it comes too near the still's edge"),
        "{said}"
    );
    let missed: usize = said.split("in frames ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    for (frame, row) in seen.deliveries[0].rows.iter().enumerate() {
        let x = 0.4 + 0.5 * (row.position / 49.0).min(1.0);
        let room = room(row.window, area_of((x, 0.45, 0.1, 0.1)), Margins::TITLE);
        assert_eq!(room > -1e-3, frame < missed, "frame {frame}: {room}");
        assert!(row.window.inside(shoot(1).size, 0.0));
    }
    shot.strict = true;
    assert!(refused(&shot, &shoot(100)).contains("mistake shot.lua:10: no window of 'wide' keeps"));
    // Too large for any window of the shape, and for the zoom that was asked for.
    shot.strict = false;
    let whole =
        |share: f64| vec![at(11, Moment::Start, (0.0, 0.1, 1.0, share)), at(12, Moment::End, (0.0, 0.15, 1.0, share))];
    shot.framing = follow(whole(0.8));
    assert!(written(&plan(&shot, &shoot(100)).remarks).contains("too large for the largest window"));
    shot.framing = zoomed(turning(), 8.0);
    let said = written(&plan(&shot, &shoot(100)).remarks);
    assert!(said.contains("has room for it; without zoom and span the window follows its size"), "{said}");
    let zoom: f64 = said.split("zoom = ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    shot.framing = zoomed(turning(), zoom);
    assert!(!written(&plan(&shot, &shoot(100)).remarks).contains("no window of"), "{zoom}");
}

#[test]
fn a_follow_that_says_nothing_of_where_is_refused_with_what_to_type() {
    let key = |at_line, moment| at(at_line, moment, (0.4, 0.4, 0.1, 0.1));
    let cases = [
        (
            vec![key(11, Moment::Still(10)), key(12, Moment::Still(5))],
            "shot.lua:12: this key lies 4 stills into the shoot, before",
        ),
        (
            vec![key(11, Moment::Still(10)), key(12, Moment::Still(10))],
            "shot.lua:12: two keys are at the same moment of the shoot",
        ),
        (
            vec![key(11, Moment::Start), key(12, Moment::Still(1))],
            "shot.lua:12: two keys are at the same moment of the shoot",
        ),
        (
            vec![key(11, Moment::Start), key(12, Moment::Screen(2.0))],
            "shot.lua:12: a subject's place belongs to a still",
        ),
        (vec![key(11, Moment::Start), key(12, Moment::Still(101))], "shot.lua:12: there is no still(101)"),
        (
            vec![key(11, Moment::Start), at(12, Moment::End, (0.9, 0.1, 0.2, 0.1))],
            "shot.lua:12: the box (0.9, 0.1, 0.2, 0.1) does not lie",
        ),
        (
            vec![key(11, Moment::Start), at(12, Moment::End, (0.9, f64::NAN, 0.1, 0.1))],
            "shot.lua:12: the box (0.9, NaN, 0.1, 0.1)",
        ),
        (
            vec![key(11, Moment::Start), at(12, Moment::End, (0.5, 0.5, 0.0, 0.1))],
            "shot.lua:12: the box (0.5, 0.5, 0, 0.1)",
        ),
    ];
    for (keys, due) in cases {
        let said = refused(&three(follow(keys)), &shoot(100));
        assert!(said.contains(due) && said.matches("mistake").count() == 1 && said.contains('['), "{due}\n{said}");
    }
    for (margin, due) in [
        (0.5, "margin must be from 0 to below 0.5"),
        (f64::NAN, "seen NaN"),
        (0.45, "leaves nothing of the safe box of 'wide'"),
    ] {
        let mut shot = three(follow(turning()));
        shot.framing.path = Path::Follow(Follow { margin, closeness: None, track: None });
        assert!(refused(&shot, &shoot(100)).contains(due), "{due}");
    }
    let said = refused(&three(zoomed(turning(), 1e6)), &shoot(100));
    assert!(said.contains("makes a window of less than one pixel"), "{said}");
    let mut wide = three(follow(turning()));
    wide.framing.path = Path::Follow(Follow { margin: 0.0, closeness: Some(Closeness::Span(0.9)), track: None });
    let said = written(&plan(&wide, &shoot(100)).remarks);
    assert!(said.contains("'tall' shows span 0.421 for span 0.9"), "{said}");
}

#[test]
fn a_follow_moves_more_evenly_than_windows_set_at_its_keys() {
    let mut shot = three(follow(turning()));
    shot.deliveries.truncate(1);
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(4.0));
    let windows =
        |shot: &Shot| plan(shot, &shoot(100)).deliveries[0].rows.iter().map(|row| row.window).collect::<Vec<_>>();
    let own = accelerations(&windows(&shot));
    let reasons = explain(&shot, &shoot(100), 0, &When::Frame(120)).unwrap();
    let text = reasons.text();
    assert_eq!(reasons.framing.follow.unwrap().most, own);
    for due in [
        "follows the subject, box(0.",
        "the key at position 30.000 (shot.lua:13)",
        "at most in the clip",
        "free to the nearest edge",
    ] {
        assert!(text.contains(due), "{due}\n{text}");
    }
    let keys = [(11, 5, 0), (12, 30, 1), (13, 31, 2), (14, 80, 3)].map(|(at_line, still, key)| {
        let View::Subject { area } = turning()[key].view else { panic!() };
        show(at_line, Moment::Still(still), (area.x, area.y, area.width, area.height), 0.0)
    });
    shot.framing = Framing { keys: keys.to_vec(), path: Path::Straight, ..shot.framing };
    let straight = accelerations(&windows(&shot));
    assert!(own.0 < straight.0 / 2.0 && own.1 < straight.1 / 2.0, "{own:?} {straight:?}");
}

#[test]
fn a_box_to_show_keeps_out_of_what_the_delivery_keeps_free() {
    let mut shot = shot();
    shot.framing.keys = vec![show(11, Moment::Start, (0.4, 0.4, 0.2, 0.1), 0.05)];
    shot.deliveries = vec![delivery("tall", 1080, 1920, "24")];
    let without = plan(&shot, &shoot(2)).deliveries[0].rows[0].window;
    // 800 by 300 px in 0.9 of the frame's width.
    assert!((without.width - 800.0 / 0.9).abs() < 1e-6);
    let safe = Margins { left: 0.0, right: 0.1, top: 0.1, bottom: 0.3 };
    shot.deliveries[0].safe = safe;
    shot.deliveries[0].subject_at = safe.middle();
    let window = plan(&shot, &shoot(2)).deliveries[0].rows[0].window;
    assert!((window.width - 800.0 / 0.8).abs() < 1e-6, "{window:?}");
    let area = area_of((0.4, 0.4, 0.2, 0.1));
    assert!(room(window, area, safe.and(0.05)).abs() < 1e-6);
    let centre = ((2000.0 - window.x) / window.width, (1350.0 - window.y) / window.height);
    assert!((centre.0 - 0.45).abs() < 1e-9 && (centre.1 - 0.4).abs() < 1e-9, "{centre:?}");
}

#[test]
fn safe_boxes_are_those_of_the_standards() {
    // SMPTE ST 2046-1:2009: 93 % and 90 % of width and height. In 1920 by 1080: 67.2, 37.8 and 96, 54.
    let inset = |margins: Margins| {
        (margins.left * 1920.0, margins.top * 1080.0, margins.right * 1920.0, margins.bottom * 1080.0)
    };
    let near = |one: (f64, f64, f64, f64), x: f64, y: f64| {
        [one.0 - x, one.1 - y, one.2 - x, one.3 - y].iter().all(|apart| apart.abs() < 1e-9)
    };
    assert!(near(inset(Margins::ACTION), 67.2, 37.8), "{:?}", inset(Margins::ACTION));
    assert!(near(inset(Margins::TITLE), 96.0, 54.0), "{:?}", inset(Margins::TITLE));
    assert_eq!(Margins::default().middle(), (0.5, 0.5));
}

//! What `explain` says of a frame, against the plan and against the maths done here once more.

use crate::build::*;
use stillpath::curve::ease::Ease;
use stillpath::curve::zoom;
use stillpath::diag::Diagnostics;
use stillpath::plan::{Reasons, Way};
use stillpath::resolve::When;
use stillpath::shoot::Shoot;
use stillpath::shot::{Moment, Pace, Rate, Shot};

/// A shot with everything in it: a fitted pace on the shoot's axis, eased keys on several axes, two shapes and rates.
fn everything() -> (Shot, Shoot) {
    let mut shot = shot();
    shot.fps = fps("24");
    let mut keys = vec![
        rate(21, Moment::Start, Rate::StillsPerFrame(2.0)),
        rate(22, Moment::Part(0.4), Rate::FramesPerStill(2.0)),
        rate(23, Moment::Part(0.8), Rate::StillsPerFrame(1.0)),
    ];
    keys[1].ease = Ease::keyword("ease-in-out").unwrap();
    shot.pace = keyed(keys, Some(8.0));
    shot.framing.keys = vec![
        on(11, Moment::Screen(0.5), (0.5, 0.5), 1.0),
        on(12, Moment::Still(40), (0.9, 0.45), 2.5),
        on(13, Moment::End, (0.3, 0.6), 1.5),
    ];
    shot.framing.keys[1].ease = Ease::CubicBezier { x1: 0.4, y1: 0.0, x2: 0.2, y2: 1.0 };
    shot.deliveries = vec![delivery("wide", 1920, 1080, "24"), delivery("vertical", 1080, 1920, "30000/1001")];
    (shot, shoot_every(100, "2031-05-04 12:00:00", 5.0))
}

fn at(shot: &Shot, shoot: &Shoot, delivery: usize, frame: u64) -> Reasons {
    explain(shot, shoot, delivery, &When::Frame(frame)).unwrap_or_else(|refused| panic!("{}", written(&refused)))
}

#[test]
fn every_frames_reasons_add_up_to_its_row() {
    let (shot, shoot) = everything();
    let plan = plan(&shot, &shoot);
    let mut ways = [0, 0];
    for (index, delivery) in plan.deliveries.iter().enumerate() {
        let mut scales: Vec<f64> = Vec::new();
        for (frame, row) in delivery.rows.iter().enumerate() {
            let reasons = at(&shot, &shoot, index, frame as u64);
            assert_eq!(reasons.row, *row);
            let window = match &reasons.framing.way {
                Some(Way::Holds(key)) => key.window,
                Some(Way::Between { from, to, progress, ease, eased }) => {
                    ways[index] += 1;
                    let gone = (reasons.seconds - from.seconds) / (to.seconds - from.seconds);
                    assert!((gone - progress).abs() < 1e-12 && (ease.at(*progress) - eased).abs() < 1e-12);
                    zoom::between(from.window, to.window, (0.5, 0.5), *eased)
                }
                None => panic!("frame {frame} has no keys"),
            };
            for (one, other) in [(window.x, row.window.x), (window.y, row.window.y), (window.width, row.window.width)] {
                assert!((one - other).abs() < 1e-9, "frame {frame}: {window:?} {row:?}");
            }
            let unfitted = match reasons.pace.way.unwrap() {
                Way::Holds(key) => key.rate,
                Way::Between { from, to, eased, .. } => from.rate + (to.rate - from.rate) * eased,
            };
            scales.push(reasons.pace.rate / unfitted);
        }
        // A fit scales all rates alike.
        assert!(scales.iter().all(|scale| (scale / scales[0] - 1.0).abs() < 1e-9), "{scales:?}");
    }
    assert!(ways.iter().all(|ways| *ways > 100), "{ways:?}");
}

#[test]
fn the_rate_said_is_how_fast_the_plans_positions_advance() {
    let (shot, shoot) = everything();
    let rows = &plan(&shot, &shoot).deliveries[0].rows;
    for frame in 1..rows.len() - 1 {
        let measured = (rows[frame + 1].position - rows[frame - 1].position) * 12.0;
        let said = at(&shot, &shoot, 0, frame as u64).pace.rate;
        assert!((measured / said - 1.0).abs() < 0.02, "frame {frame}: {measured} measured, {said} said");
    }
}

#[test]
fn a_frame_is_found_by_a_moment_of_the_clip_or_of_the_shoot() {
    let (shot, shoot) = everything();
    let rows = &plan(&shot, &shoot).deliveries[0].rows;
    let frame = |moment: Moment| explain(&shot, &shoot, 0, &When::Moment(moment)).unwrap().frame;
    assert_eq!(frame(Moment::Start), 0);
    assert_eq!(frame(Moment::End), rows.len() as u64 - 1);
    assert_eq!((frame(Moment::Screen(1.0)), frame(Moment::Screen(1.04)), frame(Moment::Timecode(30))), (24, 24, 30));
    for still in [1, 40, 77, 100] {
        let found = usize::try_from(frame(Moment::Still(still))).unwrap();
        assert!(rows[found].position >= still as f64 - 1.0 - 1e-9, "still {still}: frame {found}");
        assert!(
            found == 0 || rows[found - 1].position < still as f64 - 1.0,
            "still {still}: frame {found} is not the first"
        );
    }
    // Every 5 s from noon: 12:04:00 is still 49, at position 48.
    assert_eq!(frame(clock("12:04")), frame(Moment::Still(49)));
}

#[test]
fn a_frame_or_moment_that_is_not_there_is_refused_with_what_is() {
    let (shot, shoot) = everything();
    let refused = |when: &When| written(&explain(&shot, &shoot, 0, when).unwrap_err());
    let frames = plan(&shot, &shoot).deliveries[0].rows.len();
    assert!(refused(&When::Frame(9999)).contains(&format!("'wide' has frames 0 to {}; seen 9999", frames - 1)));
    assert!(refused(&When::Moment(Moment::Screen(8.5))).contains("the clip lasts 8 s; seen 8.5 s"));
    assert!(refused(&When::Moment(Moment::Still(101))).contains("there is no still(101)"));
}

#[test]
fn windows_moved_inside_and_stills_held_are_said() {
    let (mut shot, mut shoot) = everything();
    shot.source.missing = stillpath::shot::Policy::Hold;
    lose(&mut shoot, 40);
    let reasons = explain(&shot, &shoot, 0, &When::Moment(Moment::Still(40))).unwrap();
    assert_eq!((reasons.still.due.as_str(), reasons.still.shown.as_str()), ("STIL0040", "STIL0039"));
    assert_eq!(reasons.still.held.as_deref(), Some("is missing"));
    let said = written(&Diagnostics(reasons.remarks.clone()));
    assert!(
        said.contains("shot.lua:12: the window at this key would leave the still and is moved inside: 'wide'"),
        "{said}"
    );
    let early = at(&shot, &shoot, 0, 0);
    assert!(matches!(early.framing.way, Some(Way::Holds(_))) && early.still.held.is_none());
    assert!(!written(&Diagnostics(early.remarks)).contains("moved inside"));
}

#[test]
fn without_keys_the_largest_window_and_the_one_rate_are_the_reasons() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    shot.framing.keys.clear();
    let reasons = explain(&shot, &shoot(10), 0, &When::Frame(3)).unwrap();
    assert!(reasons.framing.way.is_none() && reasons.pace.way.is_none() && reasons.pace.fit.is_none());
    assert_eq!(reasons.row.slot.0, 1);
    let text = reasons.text();
    assert!(text.contains("no keys: the largest window of the frame's shape") && text.contains("throughout"), "{text}");
}

#[test]
fn keys_of_a_pace_that_turns_back_on_the_shoots_axis_are_said() {
    let (mut shot, shoot) = everything();
    let mut keys = vec![
        rate(21, Moment::Start, Rate::StillsPerFrame(2.0)),
        rate(22, Moment::Still(61), Rate::StillsPerFrame(1.0)),
        back(23, Moment::Still(31), 0.5),
        rate(24, Moment::End, Rate::StillsPerFrame(2.0)),
    ];
    keys[2].ease = Ease::keyword("ease-out").unwrap();
    keys.insert(2, freeze(25, Moment::Still(41), 1.0));
    shot.pace = keyed(keys, None);
    shot.framing.keys.clear();
    let plan = plan(&shot, &shoot);
    let mut between = std::collections::BTreeSet::new();
    for frame in 0..plan.deliveries[0].rows.len() {
        let reasons = at(&shot, &shoot, 0, frame as u64);
        let frozen = reasons.pace.rate == 0.0;
        let said = match reasons.pace.way.unwrap() {
            Way::Holds(key) => key.rate,
            Way::Between { from, to, progress, eased, ease } => {
                between.insert((from.place.line, to.place.line));
                assert!(
                    from.seconds <= reasons.seconds + 1e-9 && reasons.seconds <= to.seconds + 1e-9,
                    "frame {frame}"
                );
                assert!((0.0..=1.0 + 1e-9).contains(&progress) && (ease.at(progress) - eased).abs() < 1e-12);
                from.rate + (to.rate - from.rate) * eased
            }
        };
        assert!(
            frozen || (reasons.pace.rate.abs() / said - 1.0).abs() < 1e-9,
            "frame {frame}: {} {said}",
            reasons.pace.rate
        );
    }
    assert_eq!(between.into_iter().collect::<Vec<_>>(), [(21, 22), (22, 23), (23, 24)]);
}

#[test]
fn what_is_invented_is_said_to_be_and_means_beside_it_are_not() {
    use stillpath::diag::Placed;
    use stillpath::shot::Between;
    let (mut shot, shoot) = (shot(), shoot(3));
    shot.pace = Placed::new(Pace::Constant(Rate::FramesPerStill(3.0)), line(3));
    let mut words = |between, frame| {
        shot.deliveries[0].blend.between = between;
        at(&shot, &shoot, 0, frame).text()
    };
    let said = "  invented by motion between STIL0002 and STIL0003, 66.7 % of the way: no still shows it\n";
    let made = words(Between::Motion, 5);
    assert!(made.contains(said) && !made.contains("the mean of"), "{made}");
    assert!(!words(Between::Motion, 6).contains("invented"), "a whole still");
    let mixed = words(Between::Mix, 5);
    assert!(mixed.contains("  the mean of 2 stills: ") && !mixed.contains("invented"), "{mixed}");
}

#[test]
fn the_path_the_mean_and_the_join_are_said() {
    use stillpath::curve::arc_length::Drawing;
    use stillpath::diag::Placed;
    use stillpath::shot::{Closeness, Path, View};
    let (mut shot, shoot) = everything();
    shot.deliveries[0].blend.shutter = 360.0;
    let words = |shot: &Shot, frame| at(shot, &shoot, 0, frame).text();
    let mean = "  the mean of 2 stills: STIL0003 49.2 %, STIL0004 50.8 %\n";
    assert!(words(&shot, 2).contains(mean), "{}", words(&shot, 2));
    assert!(!words(&shot, 90).contains("curve"));
    for (path, said) in [(Path::Smooth, " along one smooth curve\n"), (Path::Flight { rho: 1.4 }, " in a flight\n")] {
        shot.framing.path = path;
        assert!(words(&shot, 90).contains(said), "{}", words(&shot, 90));
    }
    let along = |key: &mut stillpath::shot::FramingKey| key.view = View::Along { closeness: Closeness::Zoom(2.0) };
    shot.framing.keys.iter_mut().for_each(along);
    shot.framing.path = Path::Drawing(Drawing::parse("M 0.3 0.3 L 0.6 0.5 L 0.4 0.6 Z").unwrap());
    assert!(words(&shot, 90).contains(" along the drawing\n"), "{}", words(&shot, 90));
    (shot.looped, shot.framing.keys[2].at) = (Some(Placed::new(1.0, line(5))), Moment::Screen(7.5));
    let last = words(&shot, 191);
    assert!(last.contains("  the loop's end gives way to its beginning (shot.lua:5)\n"), "{last}");
    assert!(last.contains("the key at 8.500 s (shot.lua:11)"), "over the join to the first key, a lap later: {last}");
    assert!(!words(&shot, 160).contains("gives way"));
    // The row is the plan's own all the same.
    assert_eq!(at(&shot, &shoot, 0, 191).row, plan(&shot, &shoot).deliveries[0].rows[191]);
    // What a cut leaves out is passed over in silence; the stills beside it are said by name.
    let (mut cut, shoot) = everything();
    cut.source.cuts = vec![stillpath::shot::Cut { place: line(8), from: Moment::Still(10), to: Moment::Still(30) }];
    let after = explain(&cut, &shoot, 0, &When::Moment(Moment::Still(31))).unwrap();
    assert!(after.row.position >= 9.0 - 1e-9);
    assert_eq!(after.still.due, format!("STIL{:04}", after.row.position.floor() + 1.0 + 21.0));
}

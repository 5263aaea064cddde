//! Random keys and paces: windows inside, nothing that is no number, positions that never turn back; and large plans.
//! How long those take, `tests/speed/scale.rs` measures.

use proptest::prelude::*;
use stillpath::curve::arc_length::Drawing;
use stillpath::curve::ease::Ease;
use stillpath::geom::Margins;
use stillpath::shot::{Closeness, Follow, FramingKey, Moment, Pace, Path, Rate, StillBox, View};
use stillpath::units::Size;

use super::build::*;
use super::large::{bare, large, large_paths, take_path};

fn any_ease() -> impl Strategy<Value = Ease> {
    ease_up_to(0.0..=1.0)
}

fn ease_up_to(up: std::ops::RangeInclusive<f64>) -> impl Strategy<Value = Ease> {
    let side = 0.0..=1.0_f64;
    prop_oneof![
        Just(Ease::Linear),
        (side.clone(), up.clone(), side, up).prop_map(|(x1, y1, x2, y2)| Ease::CubicBezier { x1, y1, x2, y2 }),
    ]
}

/// Whether a refusal says that a path leads out of the still by more than two of its longer sides: one that leads out
/// by less must be bent.
fn leads_too_far_out(message: &str, still: Size) -> bool {
    let Some((before, _)) = message.split_once(" px, too far to be bent") else {
        return message.contains("without end, too far to be bent");
    };
    let outside: f64 = before.rsplit(' ').next().unwrap().parse().unwrap();
    outside > 2.0 * f64::from(still.width.max(still.height)) - 0.001
}

fn any_roll() -> impl Strategy<Value = f64> {
    prop_oneof![3 => Just(0.0), 2 => -30.0..30.0_f64, 1 => -360.0..=360.0_f64]
}

fn any_path() -> impl Strategy<Value = Path> {
    prop_oneof![
        Just(Path::Straight),
        Just(Path::Smooth),
        (0.5..2.0_f64).prop_map(|rho| Path::Flight { rho }),
        proptest::collection::vec((0.0..=1.0_f64, 0.0..=1.0_f64), 2..6).prop_map(|points| {
            let line: Vec<String> = points.iter().map(|(x, y)| format!("{x} {y}")).collect();
            Path::Drawing(Drawing::parse(&format!("M {}", line.join(" L "))).unwrap())
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn windows_of_random_paths_stay_inside_and_are_numbers(
        path in any_path(),
        framed in proptest::collection::vec(
            (0.3..6.0_f64, (0.0..=1.0_f64, 0.0..=1.0_f64), 0.5..20.0_f64, ease_up_to(-0.2..=1.2), (0.0..=0.25_f64, any::<bool>(), any_roll())), 2..6,
        ),
        place in (0.0..=1.0_f64, 0.0..=1.0_f64),
        still in (400_u32..9000, 400_u32..9000),
    ) {
        let mut shot = shot();
        let mut shoot = shoot(50);
        shoot.size = Size::new(still.0, still.1);
        shot.deliveries = vec![delivery("wide", 1920, 1080, "24"), delivery("tall", 1080, 1920, "30000/1001")];
        shot.deliveries[1].subject_at = place;
        let mut at = 0.0;
        let drawn = matches!(path, Path::Drawing(_));
        shot.framing.path = path;
        shot.framing.keys = framed.into_iter().map(|(gap, point, zoom, ease, (hold, stop, roll))| {
            at += gap;
            let mut key = on(11, Moment::Screen(at), point, zoom);
            if drawn {
                key.view = View::Along { closeness: Closeness::Zoom(zoom) };
            }
            FramingKey { ease, hold, stop, roll, ..key }
        }).collect();
        shot.pace.value = Pace::Over(at + 1.0);
        let plan = match resolve(&shot, &shoot) {
            Ok(plan) => plan,
            // A path that leads out by more than can be bent is refused, which is said; nothing else may be.
            Err(found) if found.0.iter().filter(|found| found.is_mistake()).all(|found| leads_too_far_out(&found.message, shoot.size)) => {
                return Err(TestCaseError::reject("too far to be bent"));
            }
            Err(found) => return Err(TestCaseError::fail(written(&found))),
        };
        for delivery in &plan.deliveries {
            for row in &delivery.rows {
                let window = row.window;
                prop_assert!(window.inside(shoot.size, 0.0), "{:?}", window);
                prop_assert!(window.width >= 1.0 - 1e-6, "{:?}", window);
                prop_assert!((window.width / window.height / delivery.frame.aspect() - 1.0).abs() < 1e-9, "{:?}", window);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// Fault 60: a window outside the still.
    #[test]
    fn windows_of_random_keys_stay_inside_and_positions_never_turn_back(
        framed in proptest::collection::vec((0.1..3.0_f64, 0.0..=1.0_f64, 0.0..=1.0_f64, 0.5..40.0_f64, any_ease()), 1..6),
        paced in proptest::collection::vec((1_i64..40, 0.02..9.0_f64, any_ease()), 1..5),
        place in (0.0..=1.0_f64, 0.0..=1.0_f64),
        still in (200_u32..9000, 200_u32..9000),
    ) {
        let mut shot = shot();
        let mut shoot = shoot(200);
        shoot.size = Size::new(still.0, still.1);
        shot.deliveries = vec![delivery("wide", 1920, 1080, "24"), delivery("tall", 1080, 1920, "30000/1001")];
        shot.deliveries[1].subject_at = place;
        let mut number = 0;
        let keys = paced.into_iter().map(|(gap, per_frame, ease)| {
            number += gap;
            let mut key = rate(31, Moment::Still(number), Rate::StillsPerFrame(per_frame));
            key.ease = ease;
            key
        });
        shot.pace = keyed(keys.collect(), Some(20.0));
        let mut at = 0.0;
        shot.framing.keys = framed.into_iter().map(|(gap, x, y, zoom, ease)| {
            at += gap;
            let mut key = on(11, Moment::Screen(at), (x, y), zoom);
            key.ease = ease;
            key
        }).collect();
        let plan = match resolve(&shot, &shoot) {
            Ok(plan) => plan,
            Err(found) => return Err(TestCaseError::fail(written(&found))),
        };
        for delivery in &plan.deliveries {
            let aspect = delivery.frame.aspect();
            let mut last = -1.0;
            for row in &delivery.rows {
                let window = row.window;
                prop_assert!(window.inside(shoot.size, 0.0), "{:?}", window);
                prop_assert!(window.width > 0.0 && (window.width / window.height / aspect - 1.0).abs() < 1e-9, "{:?}", window);
                prop_assert!(row.position >= last && row.position < 200.0 + 1e-9);
                prop_assert!(row.shown.0 < 200);
                last = row.position;
            }
        }
        let tally = &plan.tally;
        prop_assert_eq!(tally.used + tally.passed_over + tally.outside_part + tally.cut + tally.damaged.len() + tally.missing.len(), 200);
    }
}

proptest! {
    #[test]
    fn a_box_is_wholly_in_its_window_unless_a_remark_says_what_is_cut(
        corner in (0.0..0.9_f64, 0.0..0.9_f64), share in (0.01..=1.0_f64, 0.01..=1.0_f64),
        margin in 0.0..0.4_f64, place in (0.0..=1.0_f64, 0.0..=1.0_f64), tall in any::<bool>(),
    ) {
        let mut shot = shot();
        let area = (corner.0, corner.1, share.0 * (1.0 - corner.0), share.1 * (1.0 - corner.1));
        shot.framing.keys = vec![show(11, Moment::Start, area, margin)];
        shot.deliveries = vec![if tall { delivery("tall", 1080, 1920, "24") } else { delivery("wide", 1920, 1080, "24") }];
        shot.deliveries[0].subject_at = place;
        let plan = plan(&shot, &shoot(1));
        let window = plan.deliveries[0].rows[0].window;
        let remarks = written(&plan.remarks);
        let (x, y, right, bottom) =
            (area.0 * 4000.0, area.1 * 3000.0, (area.0 + area.2) * 4000.0, (area.1 + area.3) * 3000.0);
        let held = x >= window.x - 1e-6
            && y >= window.y - 1e-6
            && right <= window.right() + 1e-6
            && bottom <= window.bottom() + 1e-6;
        let cut = remarks.contains(" cuts ");
        prop_assert!(held != cut || (held && remarks.contains("less than 0.1 %")), "{:?} {:?} {}", area, window, remarks);
        if !remarks.contains("does not fit") && !remarks.contains("moved inside") {
            let seen = ((x + right) / 2.0 - window.x) / window.width;
            prop_assert!((seen - place.0).abs() < 1e-3);
            let free = (x - window.x).min(window.right() - right) / window.width;
            prop_assert!(free > margin - 1e-3, "{} free of {}", free, margin);
        }
    }
}

/// Whether every window of a plan over stills of 4000 by 3000 lies inside them and has its delivery's shape.
fn is_inside(plan: &stillpath::plan::Plan) -> bool {
    plan.deliveries.iter().all(|delivery| {
        let shape = f64::from(delivery.frame.width) / f64::from(delivery.frame.height);
        delivery.rows.iter().all(|row| {
            let window = row.window;
            let inside = window.x >= -1e-6
                && window.y >= -1e-6
                && window.right() <= 4000.0 + 1e-6
                && window.bottom() <= 3000.0 + 1e-6;
            inside && (window.width / window.height / shape - 1.0).abs() < 1e-6
        })
    })
}

#[test]
fn ten_thousand_frames_of_three_deliveries_stay_inside_along_every_path() {
    let (mut shot, shoot) = large();
    let lengths =
        |plan: &stillpath::plan::Plan| plan.deliveries.iter().map(|delivery| delivery.rows.len()).collect::<Vec<_>>();
    for (path, bent) in large_paths() {
        take_path(&mut shot, path);
        let plan = plan(&shot, &shoot);
        assert_eq!(lengths(&plan), [10_000; 3]);
        assert!(is_inside(&plan), "{:?}", shot.framing.path);
        // Keys near the edges: a straight way between two of them stays inside, curves through them do not.
        let said = written(&plan.remarks).matches("its path is bent").count();
        assert_eq!(said > 0, bent, "{said} bent along {:?}", shot.framing.path);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn random_subjects_are_kept_where_no_remark_says_otherwise(
        keyed in proptest::collection::vec((1_i64..12, (0.0..=1.0_f64, 0.0..=1.0_f64), (0.02..0.5_f64, 0.02..0.5_f64), any_ease()), 2..7),
        zoom in 1.0..5.0_f64, free in any::<bool>(), margin in 0.0..0.2_f64, place in (0.0..=1.0_f64, 0.0..=1.0_f64),
        per_frame in 0.1..4.0_f64, shutter in 0.0..720.0_f64, still in (200_u32..9000, 200_u32..9000),
    ) {
        let mut shot = shot();
        let mut shoot = shoot(80);
        shoot.size = Size::new(still.0, still.1);
        shot.deliveries = vec![delivery("wide", 1920, 1080, "24"), delivery("tall", 1080, 1920, "30000/1001")];
        shot.deliveries[0].safe = Margins { left: 0.0, right: 0.1, top: 0.05, bottom: 0.3 };
        shot.deliveries[1].subject_at = place;
        shot.deliveries[1].blend.shutter = shutter;
        shot.pace.value = Pace::Constant(Rate::StillsPerFrame(per_frame));
        shot.framing.path = Path::Follow(Follow { margin, closeness: (!free).then_some(Closeness::Zoom(zoom)), track: None });
        let mut number = 0;
        shot.framing.keys = keyed.into_iter().map(|(gap, corner, side, ease)| {
            number += gap;
            let area = StillBox { x: corner.0 * (1.0 - side.0), y: corner.1 * (1.0 - side.1), width: side.0, height: side.1 };
            FramingKey { ease, ..framing_key(11, Moment::Still(number), View::Subject { area }) }
        }).collect();
        let plan = match resolve(&shot, &shoot) {
            Ok(plan) => plan,
            Err(found) => return Err(TestCaseError::fail(written(&found))),
        };
        let remarks = written(&plan.remarks);
        for (delivery, asked) in plan.deliveries.iter().zip(&shot.deliveries) {
            let (across, down) = (f64::from(still.0), f64::from(still.1));
            let free = asked.safe.and(margin);
            for row in &delivery.rows {
                let window = row.window;
                prop_assert!(window.inside(shoot.size, 0.0), "{:?}", window);
                prop_assert!((window.width / window.height / delivery.frame.aspect() - 1.0).abs() < 1e-9, "{:?}", window);
            }
            if remarks.contains(&format!("no window of '{}'", delivery.name)) {
                continue;
            }
            for (key, row) in shot.framing.keys.iter().flat_map(|key| delivery.rows.iter().map(move |row| (key, row))) {
                let (Moment::Still(number), View::Subject { area }) = (&key.at, &key.view) else { continue };
                if row.shares().all(|share| i64::try_from(share.shown.0).unwrap() + 1 != *number) {
                    continue;
                }
                let window = row.window;
                let room = [
                    area.x * across - window.x - free.left * window.width,
                    window.right() - free.right * window.width - (area.x + area.width) * across,
                    area.y * down - window.y - free.top * window.height,
                    window.bottom() - free.bottom * window.height - (area.y + area.height) * down,
                ];
                prop_assert!(room.iter().all(|room| *room > -1e-3), "{:?} {:?}", room, window);
            }
        }
    }
}

/// Fault 22: 100,000 stills.
#[test]
fn of_a_hundred_thousand_stills_every_frame_shows_the_one_that_is_due() {
    let (shot, shoot) = bare(100_000);
    let plan = plan(&shot, &shoot);
    assert_eq!(plan.tally.missing.len(), 33_330);
    // Every frame shows the still that is due, or the one held in its place.
    for row in &plan.deliveries[0].rows {
        let lost = row.slot.0 >= 9 && (row.slot.0 - 9) % 3 == 0;
        assert_eq!(row.shown.0, row.slot.0 - usize::from(lost), "{row:?}");
    }
    assert_eq!(plan.deliveries[0].rows.last().unwrap().slot.0, 99_989);
}

//! What steadying makes of a plan: windows, the room that is left, covers, and what is said of them.

use proptest::prelude::*;
use stillpath::curve::ease::Ease;
use stillpath::diag::{Diagnostics, Placed};
use stillpath::geom::{Room, Window};
use stillpath::plan::{Layers, Plan, Row, covered_in};
use stillpath::register::{Pose, Undo};
use stillpath::resolve::{Known, When, resolve as resolved};
use stillpath::shoot::{Content, Format, Shoot};
use stillpath::shot::{
    Between, Closeness, Cover, CoverArea, CoverWith, Follow, FramingKey, Moment, Pace, Path, Rate, Shot, Steady,
    SteadyBy, StillBox, View,
};
use stillpath::units::{Size, SlotIndex};

use super::build::*;

const STILL: Size = Size { width: 4000, height: 3000 };

/// What the edge of a room may be short of, in pixels: it lies on a whole 1024th.
const PART: f64 = 2.0 / 1024.0;

fn at(x: f64, y: f64, turn: f64) -> Option<Pose> {
    Some(Pose { x, y, turn })
}

/// A shot steadied on line 7.
fn steadied(shot: Shot) -> Shot {
    let by = SteadyBy::Measured { region: None, undo: Undo::All };
    Shot { steady: Some(Steady { place: line(7), by, room: Steady::ROOM }), ..shot }
}

fn known(stands: &[Option<Pose>]) -> Known<'_> {
    Known { stands: Some(stands), ..Known::default() }
}

fn resolve_with(shot: &Shot, shoot: &Shoot, stands: &[Option<Pose>]) -> Result<Plan, Diagnostics> {
    resolved(shot, shoot, known(stands)).map(|made| made.plan)
}

/// What is painted of the still that a row shows alone.
fn painted(row: &Row) -> Window {
    let Layers::One(layer) = &row.layers else { panic!("several stills") };
    layer.window
}

fn plan_with(shot: &Shot, shoot: &Shoot, stands: &[Option<Pose>]) -> Plan {
    resolve_with(shot, shoot, stands).unwrap_or_else(|refused| panic!("refused: {}", written(&refused)))
}

fn refused_with(shot: &Shot, shoot: &Shoot, stands: &[Option<Pose>]) -> String {
    match resolve_with(shot, shoot, stands) {
        Ok(plan) => panic!("not refused:\n{}", stillpath::plan::summary(&plan)),
        Err(found) => written(&found),
    }
}

/// Ten stills, the second half of which is bumped.
fn bumped(x: f64, y: f64) -> Vec<Option<Pose>> {
    (0..10).map(|still| if still < 5 { at(0.0, 0.0, 0.0) } else { at(x, y, 0.0) }).collect()
}

#[test]
fn a_window_goes_along_with_the_picture_and_the_row_keeps_that_of_the_first_view() {
    let span = |line: u32, at: Moment, point: (f64, f64), span: f64| {
        let point = stillpath::shot::StillPoint::Fraction(point.0, point.1);
        framing_key(line, at, View::On { point, closeness: Closeness::Span(span) })
    };
    let mut shot = shot();
    shot.framing.keys = vec![span(11, Moment::Start, (0.5, 0.5), 0.5), span(12, Moment::End, (0.6, 0.45), 0.3)];
    let plain = plan(&shot, &shoot(10));
    let steadied = plan_with(&steadied(shot), &shoot(10), &bumped(12.5, -3.25));
    let delivery = &steadied.deliveries[0];
    let windows = |plan: &Plan| plan.deliveries[0].rows.iter().map(|row| (row.shown, row.window)).collect::<Vec<_>>();
    assert_eq!(windows(&plain), windows(&steadied));
    for row in &delivery.rows {
        let painted = painted(row);
        if row.shown.0 < 5 {
            assert_eq!(painted, row.window, "no stand, no change at all");
        } else {
            assert_eq!((painted.width, painted.height, painted.roll), (row.window.width, row.window.height, 0.0));
            assert!((painted.x - row.window.x - 12.5).abs() < 1e-9 && (painted.y - row.window.y + 3.25).abs() < 1e-9);
        }
    }
}

#[test]
fn zoom_1_is_the_largest_window_inside_what_all_stills_show_and_the_loss_is_said() {
    let plan = plan_with(&steadied(shot()), &shoot(10), &bumped(12.0, -40.0));
    let steady = plan.steady.as_ref().unwrap();
    // Shifted to the right and up, a still lacks what the first view shows at its right and at its top.
    let due = Room { left: 0.0, top: 40.0, right: 3988.0, bottom: 3000.0 };
    for (found, due) in [
        (steady.room.left, due.left),
        (steady.room.top, due.top),
        (steady.room.right, due.right),
        (steady.room.bottom, due.bottom),
    ] {
        assert!((found - due).abs() <= PART, "{:?}", steady.room);
    }
    let window = plan.deliveries[0].rows[0].window;
    let largest = Window::largest(steady.room, 16.0 / 9.0, 0.0);
    assert_eq!(window, largest);
    assert!((window.width - 3988.0).abs() <= PART && (window.centre().y - 1520.0).abs() <= PART, "{window:?}");
    let said = written(&plan.remarks);
    assert!(
        said.contains(
            "remark shot.lua:7: steadying takes 12.001 px at the right and 40.001 px at the top, 0.301 % of the width and 1.334 % of the height"
        ),
        "{said}"
    );
    assert!(
        stillpath::plan::summary(&plan)
            .contains("steady: stills shifted by up to 41.76 px; 3988.0 by 2960.0 px are left")
    );
    assert_eq!(plan.deliveries[0].reach().sharp.unwrap().zoom, 1.0);
}

#[test]
fn keys_outside_the_room_are_moved_inside_with_a_remark_and_refused_where_strict() {
    let mut shot = steadied(shot());
    shot.framing.keys = vec![on(11, Moment::Start, (1.0, 1.0), 2.0)];
    let plan = plan_with(&shot, &shoot(10), &bumped(12.0, 40.0));
    let window = plan.deliveries[0].rows[0].window;
    assert!((window.right() - 3988.0).abs() <= PART && (window.bottom() - 2960.0).abs() <= PART, "{window:?}");
    let said = written(&plan.remarks);
    assert!(
        said.contains(
            "shot.lua:11: the window at this key would leave what all steadied stills show and is moved inside"
        ),
        "{said}"
    );
    shot.strict = true;
    assert!(
        refused_with(&shot, &shoot(10), &bumped(12.0, 40.0))
            .contains("mistake shot.lua:11: the window at this key would leave")
    );
    // Far from any edge nothing is moved, and places are of the whole still.
    shot.framing.keys = vec![on(11, Moment::Start, (0.25, 0.5), 4.0)];
    let plan = plan_with(&shot, &shoot(10), &bumped(12.0, 40.0));
    assert_eq!(plan.deliveries[0].rows[0].window.centre(), (1000.0, 1500.0).into());
}

#[test]
fn what_steadying_takes_moves_a_window_without_a_word_and_refuses_none() {
    let mut shot = steadied(shot());
    shot.strict = true;
    let at = |shot: &Shot| {
        let plan = plan_with(shot, &shoot(10), &bumped(12.0, 40.0));
        let said = written(&plan.remarks);
        assert!(said.lines().count() == 1 && said.contains("steadying takes"), "{said}");
        (plan.deliveries[0].rows[0].window, plan.steady.as_ref().unwrap().room)
    };
    // All of the picture, about its middle: the middle of the room, as where nothing is said at all.
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0)];
    let (window, room) = at(&shot);
    assert!((window.centre() - room.centre()).hypot() <= PART, "{window:?} {room:?}");
    // A window that only the camera's movement leaves outside.
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.002)];
    let (window, room) = at(&shot);
    assert!(window.inside(room, PART));
    shot.framing.keys = vec![on(11, Moment::Start, (0.751, 0.5), 2.01)];
    assert!(at(&shot).0.inside(room, PART));
}

#[test]
fn a_path_that_would_leave_the_room_is_bent() {
    let mut shot = steadied(shot());
    shot.pace.value = Pace::Over(4.0);
    let ease = Ease::CubicBezier { x1: 0.3, y1: 0.0, x2: 0.4, y2: 1.4 };
    let last = FramingKey { ease, ..on(12, Moment::Screen(2.0), (0.74, 0.5), 2.0) };
    shot.framing.keys = vec![on(11, Moment::Start, (0.4, 0.5), 2.0), last];
    let plan = plan_with(&shot, &shoot(10), &bumped(12.0, 40.0));
    let said = written(&plan.remarks);
    assert!(said.contains("'wide' would leave what all steadied stills show by up to"), "{said}");
    let room = plan.steady.as_ref().unwrap().room;
    assert!(plan.deliveries[0].rows.iter().all(|row| row.window.inside(room, 0.0)));
}

#[test]
fn too_little_room_stops_with_the_figure_and_what_to_type() {
    let stands: Vec<Option<Pose>> =
        (0..10).map(|still| if still < 4 { at(0.0, 0.0, 0.0) } else { at(-500.0, 12.0, 0.0) }).collect();
    let mut shot = steadied(shot());
    let said = refused_with(&shot, &shoot(10), &stands);
    for due in [
        "mistake shot.lua:7: steadying would take 500.001 px at the left and 12.001 px at the bottom, 12.501 % of the width and 0.401 % of the height, and at most 10 % of a side is allowed",
        "STIL0005 lies farthest from STIL0001: -500 px across and 12 px down",
        "to = still(4) in its source keeps 4 of the 10 stills",
        "from = still(5) in its source keeps 6 of the 10 stills",
        "region = box(…)",
        "steady = { room = 0.874 } accepts what is left",
    ] {
        assert!(said.contains(due), "{due}\n{said}");
    }
    // What it says to type does.
    shot.source.from = Some(Placed::new(Moment::Still(5), line(2)));
    let from = plan_with(&shot, &shoot(10), &stands);
    assert_eq!(from.steady.as_ref().unwrap().room, STILL.into(), "the first view is that of the first still used");
    assert!(!written(&from.remarks).contains("steadying takes"), "{}", written(&from.remarks));
    shot.source.from = None;
    shot.source.to = Some(Placed::new(Moment::Still(4), line(2)));
    plan_with(&shot, &shoot(10), &stands);
    shot.source.to = None;
    shot.steady.as_mut().unwrap().room = 0.874;
    plan_with(&shot, &shoot(10), &stands);
    // Stills with nothing in common.
    let nothing = refused_with(&shot, &shoot(10), &bumped(5000.0, 0.0));
    assert!(nothing.contains("steadying would take all of the still"), "{nothing}");
}

#[test]
fn a_still_that_could_not_be_placed_stands_between_its_neighbours_and_is_named() {
    let mut stands = bumped(12.0, 0.0);
    (stands[4], stands[9]) = (None, None);
    let plan = plan_with(&steadied(shot()), &shoot(10), &stands);
    let steady = plan.steady.as_ref().unwrap();
    let across: Vec<f64> = steady.stands.iter().map(|stand| stand.x).collect();
    assert_eq!(across, [0.0, 0.0, 0.0, 0.0, 6.0, 12.0, 12.0, 12.0, 12.0, 12.0]);
    let said = written(&plan.remarks);
    assert!(
        said.contains("2 stills that could not be placed stand between those before and after: STIL0005 and STIL0010"),
        "{said}"
    );
}

#[test]
fn turns_that_no_corner_shows_are_none_and_others_turn_the_window() {
    // A corner lies 2500 pixels from the middle: 0.0005 degrees move it by 0.022 pixels, 0.05 degrees by 2.2.
    let stands = [at(0.0, 0.0, 0.0), at(1.0, 0.0, 0.0005), at(1.0, 0.0, 0.05)];
    let plan = plan_with(&steadied(shot()), &shoot(3), &stands);
    let delivery = &plan.deliveries[0];
    let rolls: Vec<f64> = delivery.rows.iter().map(|row| painted(row).roll).collect();
    assert_eq!(rolls, [0.0, 0.0, 0.05]);
}

#[test]
fn a_table_has_every_stills_stand_against_the_first_of_the_shoot_whatever_part_is_used() {
    let stands: Vec<Option<Pose>> = (0..10).map(|still| at(f64::from(still), 0.0, 0.01 * f64::from(still))).collect();
    let mut shot = steadied(shot());
    shot.source.from = Some(Placed::new(Moment::Still(4), line(2)));
    let plan = plan_with(&shot, &shoot(10), &stands);
    let steady = plan.steady.as_ref().unwrap();
    assert_eq!((steady.first, steady.stands[3]), (SlotIndex(3), Pose::STILL));
    let table = steady.table(&shoot(10)).to_csv();
    assert_eq!(table.lines().nth(6), Some("6,5.0000,0.0000,0.050000,STIL0006"));
    // The fourth still shows at a point what the first view of the shoot has there; the tenth shows it where its own
    // stand says.
    let point = (321.0, 2100.0).into();
    let first = stands[3].unwrap().point(STILL, point);
    let there = stands[9].unwrap().point(STILL, point);
    assert!((steady.stands[9].point(STILL, first) - there).hypot() < 1e-9);
}

fn png(stills: usize) -> Shoot {
    let mut shoot = shoot(stills);
    for slot in &mut shoot.slots {
        if let Content::Whole(still) = &mut slot.content {
            still.format = Format::Png;
        }
    }
    shoot
}

#[test]
fn a_cover_goes_along_with_its_still_and_never_uncovers_what_it_hides() {
    let area = StillBox { x: 0.1, y: 0.2, width: 0.05, height: 0.1 };
    let cover = Cover {
        place: line(30),
        area: CoverArea::Still(area),
        from: None,
        to: None,
        with: CoverWith::Fill,
        track: None,
    };
    let shot = steadied(Shot { covers: vec![cover], ..shot() });
    let mut stands = bumped(12.25, -3.0);
    stands[4] = None;
    stands[7] = at(12.25, -3.0, 0.3);
    let plan = plan_with(&shot, &png(10), &stands);
    let hidden = |still: usize| {
        let area = covered_in(&plan.covers, SlotIndex(still))[0];
        [area.x, area.y, area.x + area.width, area.y + area.height]
    };
    assert_eq!(hidden(0), [400, 600, 600, 900], "where nothing moved it is the box itself");
    // 412.25 to 612.25 and 597 to 897, and half a pixel on each side for what was measured.
    assert_eq!(hidden(5), [411, 596, 613, 898]);
    // Where the still could not be placed it is hidden from where both its neighbours stand.
    let [left, top, right, bottom] = hidden(4);
    assert!(left <= 400 && top <= 596 && right >= 613 && bottom >= 900, "{:?}", hidden(4));
    // A turned still: every corner of the box in the first view lies in what is hidden of it.
    let stand = plan.steady.as_ref().unwrap().stand(SlotIndex(7));
    let [left, top, right, bottom] = hidden(7).map(f64::from);
    for corner in [(400.0, 600.0), (600.0, 600.0), (400.0, 900.0), (600.0, 900.0)] {
        let there = stand.point(STILL, corner.into());
        assert!(
            there.x >= left && there.x <= right && there.y >= top && there.y <= bottom,
            "{there:?} {:?}",
            hidden(7)
        );
    }
}

#[test]
fn a_frame_is_explained_with_the_stand_of_each_of_its_stills() {
    let mut shot = steadied(shot());
    shot.deliveries[0].blend.shutter = 720.0;
    let stands = bumped(12.5, -3.25);
    let shoot = shoot(10);
    let told = resolved(&shot, &shoot, known(&stands)).unwrap().explain(&shot, &shoot, 0, &When::Frame(4)).unwrap();
    let steady = told.still.steady.as_ref().unwrap();
    let names: Vec<(&str, f64)> = steady.stills.iter().map(|(name, stand, _)| (name.as_str(), stand.x)).collect();
    assert_eq!(names, [("STIL0005", 0.0), ("STIL0006", 12.5)]);
    let text = told.text();
    assert!(
        text.contains("steady: STIL0006 lies 12.50 px right and 3.25 px up against STIL0001: painted from "),
        "{text}"
    );
    assert!(text.contains("(shot.lua:7)"), "{text}");
    let json = serde_json::to_value(plan_with(&shot, &shoot, &stands)).unwrap();
    assert_eq!(json["steady"]["stands"][7]["x"], 12.5);
    assert!(json["steady"]["room"]["right"].as_f64().unwrap() < 3988.0);
}

fn any_stand() -> impl Strategy<Value = Option<Pose>> {
    prop_oneof![
        6 => (-60.0..60.0_f64, -60.0..60.0_f64, prop_oneof![Just(0.0), -0.5..0.5_f64]).prop_map(|(x, y, turn)| at(x, y, turn)),
        1 => Just(None),
    ]
}

fn any_framing() -> impl Strategy<Value = (Path, Vec<FramingKey>)> {
    let key = (0.0..=1.0_f64, 0.0..=1.0_f64, 0.8..6.0_f64, prop_oneof![2 => Just(0.0), 1 => -10.0..10.0_f64]);
    let keys = proptest::collection::vec(key, 1..4).prop_map(|keys| {
        let one = |(index, (x, y, zoom, roll)): (usize, (f64, f64, f64, f64))| FramingKey {
            roll,
            ..on(11, Moment::Screen(index as f64), (x, y), zoom)
        };
        keys.into_iter().enumerate().map(one).collect::<Vec<_>>()
    });
    let follow = proptest::collection::vec((0.0..0.9_f64, 0.0..0.9_f64), 2..4).prop_map(|places| {
        let one = |(index, (x, y)): (usize, (f64, f64))| {
            let area = StillBox { x, y, width: 0.1, height: 0.1 };
            framing_key(11, Moment::Still(1 + 5 * i64::try_from(index).unwrap()), View::Subject { area })
        };
        let keys = places.into_iter().enumerate().map(one).collect();
        (Path::Follow(Follow { margin: 0.05, closeness: None, track: None }), keys)
    });
    prop_oneof![(prop_oneof![Just(Path::Straight), Just(Path::Smooth), Just(Path::Flight { rho: 1.4 })], keys), follow,]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    /// No still's border shows, whatever moved and whichever stills a frame is made of.
    ///
    /// Fault 43: bumps and sags.
    #[test]
    fn no_window_of_any_still_of_any_frame_leaves_that_still(
        stands in proptest::collection::vec(any_stand(), 20),
        (path, keys) in any_framing(),
        shutter in prop_oneof![Just(0.0), 90.0..1440.0_f64],
        between in prop_oneof![Just(Between::Nearest), Just(Between::Mix), Just(Between::Motion)],
        looped in any::<bool>(),
        backwards in any::<bool>(),
        hold in any::<bool>(),
    ) {
        let mut shot = steadied(shot());
        shot.framing.path = path;
        shot.framing.keys = keys;
        shot.deliveries = vec![delivery("wide", 1920, 1080, "24"), delivery("tall", 1080, 1920, "30000/1001")];
        for delivery in &mut shot.deliveries {
            (delivery.blend.shutter, delivery.blend.between) = (shutter, between);
        }
        if hold {
            shot.source.damaged = stillpath::shot::Policy::Hold;
        }
        shot.pace = if backwards {
            let per_frame = Rate::StillsPerFrame(1.0);
            keyed(vec![rate(31, Moment::Still(15), per_frame), back(32, Moment::Still(2), 1.0)], Some(4.0))
        } else {
            Placed::new(Pace::Over(4.0), line(3))
        };
        shot.looped = (looped && !backwards).then(|| Placed::new(0.25, line(5)));
        let shoot = shoot(20);
        let plan = match resolve_with(&shot, &shoot, &stands) {
            Ok(plan) => plan,
            Err(found) => {
                let said = written(&found);
                // Roll may lead out too far to be bent, keys may not fit a pace: both are said, and neither is about
                // steadying.
                prop_assert!(!said.contains("steadying"), "{}", said);
                return Err(TestCaseError::reject("refused"));
            }
        };
        for delivery in &plan.deliveries {
            let room = delivery.room;
            for row in &delivery.rows {
                prop_assert!(row.window.inside(room, 1e-9), "{:?} {:?}", row.window, room);
                for (layer, _) in row.layers.each() {
                    let stand_in = layer.stand_in.as_ref().map(|other| (other.still.slot, other.window));
                    for (slot, painted) in std::iter::once((layer.slot(), layer.window)).chain(stand_in) {
                        prop_assert!(painted.inside(shoot.size, 0.0), "{:?} of {:?}", painted, slot);
                        // Rounding apart it is the row's window where the still stands.
                        let due = plan.steady.as_ref().unwrap().stand(slot).window(shoot.size, row.window);
                        let off = painted.corners().into_iter().zip(due.corners()).map(|(one, other)| (one - other).hypot());
                        prop_assert!(off.fold(0.0, f64::max) < 1e-6, "{:?} for {:?}", painted, due);
                    }
                }
            }
        }
    }
}

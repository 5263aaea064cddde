//! What becomes of subjects that are tracked: boxes, what is said where they are lost, and what is to be looked for.

use stillpath::curve::ease::Ease;
use stillpath::diag::{Diagnostics, Placed};
use stillpath::plan::{Plan, covered_in};
use stillpath::register::Pose;
use stillpath::resolve::{self, FoundAt, Known};
use stillpath::shoot::{Content, Format, Shoot};
use stillpath::shot::{
    Cover, CoverArea, CoverKey, CoverWith, Cut, Follow, Framing, Moment, Path, Policy, Shot, Steady, SteadyBy,
    StillBox, Tracked, TrackedBy, View,
};
use stillpath::track::{SpotState, Table};
use stillpath::units::SlotIndex;

use super::build::{framing_key, line, lose, shoot, shot, written};

const AREA: StillBox = StillBox { x: 0.4, y: 0.4, width: 0.1, height: 0.1 };

/// PNG, so that boxes do not grow by what files smear.
fn png(stills: usize) -> Shoot {
    let mut shoot = shoot(stills);
    for slot in &mut shoot.slots {
        if let Content::Whole(still) = &mut slot.content {
            still.format = Format::Png;
        }
    }
    shoot
}

fn track(held: Option<u32>) -> Option<Tracked> {
    Some(Tracked { by: TrackedBy::Table("boxes.csv".into()), held })
}

fn covering(held: u32) -> Shot {
    let keys = vec![CoverKey { place: line(31), at: Moment::Still(1), area: AREA, ease: Ease::Linear }];
    let (area, with) = (CoverArea::Keyed(keys), CoverWith::Fill);
    let cover = Cover { place: line(30), area, from: None, to: None, with, track: track(Some(held)) };
    Shot { covers: vec![cover], ..shot() }
}

fn following(held: Option<u32>) -> Shot {
    let keys = vec![framing_key(11, Moment::Still(1), View::Subject { area: AREA })];
    let path = Path::Follow(Follow { margin: 0.0, closeness: None, track: track(held) });
    Shot { framing: Framing { place: line(10), keys, path }, ..shot() }
}

/// What a table of boxes says of a shot's one subject.
fn known(shot: &Shot, shoot: &Shoot, table: &str) -> Vec<FoundAt> {
    let table = Table::from_csv(table).unwrap();
    let wanted = resolve::tables_named(shot);
    wanted.into_iter().map(|(wanted, _)| resolve::found_in(&table, wanted, shoot).unwrap()).collect()
}

fn planned(shot: &Shot, shoot: &Shoot, table: &str) -> Result<Plan, Diagnostics> {
    let tracks = known(shot, shoot, table);
    resolve::resolve(shot, shoot, Known { tracks: &tracks, ..Known::default() }).map(|made| made.plan)
}

fn refused(shot: &Shot, shoot: &Shoot, table: &str) -> String {
    written(&planned(shot, shoot, table).unwrap_err())
}

/// Left, top, right and bottom of what is hidden in a still (from 1).
fn hidden(plan: &Plan, still: usize) -> [u32; 4] {
    let area = covered_in(&plan.covers, SlotIndex(still - 1))[0];
    [area.x, area.y, area.x + area.width, area.y + area.height]
}

/// Six stills in which it goes right by a box each; lost in the fourth and fifth.
const BOXES: &str = "still,x,y,width,height,confidence,state,name
1,0.4,0.4,0.1,0.1,1,keyed,
2,0.5,0.4,0.08,0.08,1,seen,
3,0.6,0.4,0.1,0.1,0.9,seen,
4,0.65,0.4,0.1,0.1,0,lost,
5,0.7,0.4,0.1,0.1,0,lost,
6,0.75,0.4,0.1,0.1,1,seen,
";

#[test]
fn a_cover_that_loses_what_it_hides_stops_the_render_and_says_what_to_type() {
    let said = refused(&covering(0), &png(6), BOXES);
    assert!(said.contains("what this cover hides is lost in still(4) to still(5): nothing says where"), "{said}");
    assert!(said.contains("the line of still(4) in the table, with keyed or seen"), "{said}");
    assert!(said.contains("held = 2 holds the box there"), "{said}");
    assert!(refused(&covering(1), &png(6), BOXES).contains("lost in still(4) to still(5)"), "one is not enough");
    let plan = planned(&covering(2), &png(6), BOXES).unwrap();
    assert!(written(&plan.remarks).contains("watch this cover over its whole length"), "{:?}", plan.remarks);
}

#[test]
fn a_cover_that_may_lie_over_something_else_has_lost_it_too() {
    let boxes = BOXES.replace("lost", "doubted");
    assert!(refused(&covering(0), &png(6), &boxes).contains("is lost in still(4) to still(5)"));
    // Outside what it covers nothing is lost.
    let mut short = covering(0);
    short.covers[0].to = Some(stillpath::diag::Placed::new(Moment::Still(3), line(32)));
    planned(&short, &png(6), BOXES).unwrap();
}

#[test]
fn a_tracked_cover_is_never_smaller_than_its_key_and_grows_with_doubt() {
    let plan = planned(&covering(5), &png(6), BOXES).unwrap();
    assert_eq!(hidden(&plan, 1), [1600, 1200, 2000, 1500], "the key's own box");
    // Seen at 0.08 of the width: the key's 0.1 and a tenth more, around the same middle, 0.54.
    assert_eq!(hidden(&plan, 2), [1940, 1155, 2380, 1485]);
    let width = |still: usize| hidden(&plan, still)[2] - hidden(&plan, still)[0];
    assert!(width(4) > width(3) && width(5) == width(4), "one still from where it was seen, on either side");
    let long = (7..=30).map(|still| format!("{still},0.75,0.4,0.1,0.1,0,lost,\n")).collect::<String>();
    let plan = planned(&covering(30), &png(30), &format!("{BOXES}{long}")).unwrap();
    let sides = |still: usize| hidden(&plan, still)[2] - hidden(&plan, still)[0];
    assert!((7..16).all(|still| sides(still + 1) > sides(still)), "wider and wider");
    assert_eq!(sides(17), sides(30), "up to twice its sides");
}

#[test]
fn a_window_follows_the_boxes_and_says_where_they_are_held() {
    let plan = planned(&following(None), &png(6), BOXES).unwrap();
    for row in &plan.deliveries[0].rows {
        let at = [0.45, 0.54, 0.65, 0.70, 0.75, 0.80][row.shown.0] * 4000.0;
        assert!(row.window.x < at && at < row.window.x + row.window.width, "{row:?}");
    }
    let said = written(&plan.remarks);
    assert!(said.contains("the subject is lost in still(4) to still(5): its box is held there"), "{said}");
    let said = refused(&following(Some(0)), &png(6), BOXES);
    assert!(said.contains("the subject is lost in still(4) to still(5)") && said.contains("lost = \"hold\""), "{said}");
    let doubted = BOXES.replace("0.9,seen", "0.1,seen").replace("0,lost", "0.2,doubted");
    let said = written(&planned(&following(None), &png(6), &doubted).unwrap().remarks);
    assert!(
        said.contains("hardly sure in still(3)") && said.contains("something else in still(4) to still(5)"),
        "{said}"
    );
}

#[test]
fn a_table_of_other_stills_is_refused() {
    let shot = covering(0);
    let refused = |table: &str| {
        let (wanted, _) = resolve::tables_named(&shot).remove(0);
        written(&resolve::found_in(&Table::from_csv(table).unwrap(), wanted, &png(3)).unwrap_err().into())
    };
    let line = |still: u32, name: &str| format!("{still},0.4,0.4,0.1,0.1,1,seen,{name}\n");
    assert!(refused(&line(9, "")).contains("names still 9, but the shoot has 3"));
    assert!(refused(&line(2, "TIDE7")).contains("calls still 2 'TIDE7'"));
    assert!(refused("still,x,y\n").contains("the table of boxes has no line"));
}

#[test]
fn two_covers_in_one_line_keep_their_own_boxes() {
    let mut shot = covering(0);
    let mut other = shot.covers[0].clone();
    other.track = Some(Tracked { by: TrackedBy::Table("others.csv".into()), held: Some(0) });
    shot.covers.push(other);
    for (cover, x) in shot.covers.iter_mut().zip([0.1, 0.7]) {
        let CoverArea::Keyed(keys) = &mut cover.area else { panic!("a cover with keys") };
        keys[0].area = StillBox { x, ..AREA };
    }
    let shoot = png(1);
    let table = |x: f64| Table::from_csv(&format!("1,{x},0.4,0.1,0.1\n")).unwrap();
    let wanted = resolve::tables_named(&shot);
    let tracks: Vec<FoundAt> = wanted
        .into_iter()
        .zip([0.1, 0.7])
        .map(|((wanted, _), x)| resolve::found_in(&table(x), wanted, &shoot).unwrap())
        .collect();
    let made = resolve::resolve(&shot, &shoot, Known { tracks: &tracks, ..Known::default() }).unwrap();
    let left: Vec<u32> = covered_in(&made.plan.covers, SlotIndex(0)).iter().map(|area| area.x).collect();
    assert_eq!(left, [400, 2800]);
}

#[test]
fn a_table_that_is_of_something_else_hides_nothing_and_is_refused() {
    // The key says where it is in the first still; the table is another cover's.
    let elsewhere = BOXES.replace("1,0.4,0.4", "1,0.8,0.4");
    let said = refused(&covering(2), &png(6), &elsewhere);
    assert!(said.contains("elsewhere than this key, in still(1)") && said.contains("until they agree"), "{said}");
    // It says nothing of what is left of the shoot.
    let mut later = covering(2);
    later.source.from = Some(Placed::new(Moment::Still(4), line(2)));
    let CoverArea::Keyed(keys) = &mut later.covers[0].area else { panic!("a cover with keys") };
    keys[0].at = Moment::Still(4);
    let early: String = BOXES.lines().take(4).map(|line| format!("{line}\n")).collect();
    let said = refused(&later, &png(6), &early);
    assert!(said.contains("the table of boxes says nothing of the stills that are used"), "{said}");
}

fn measured(mut shot: Shot) -> Shot {
    for cover in &mut shot.covers {
        cover.track = Some(Tracked { by: TrackedBy::Measured, held: Some(0) });
    }
    shot
}

#[test]
fn what_is_left_out_and_what_lies_behind_a_break_is_not_looked_at_from_here() {
    let mut shot = measured(covering(0));
    shot.source.missing = Policy::Skip;
    shot.source.cuts = vec![Cut { place: line(3), from: Moment::Still(5), to: Moment::Still(6) }];
    shot.source.to = Some(stillpath::diag::Placed::new(Moment::Still(9), line(3)));
    let mut shoot = png(12);
    lose(&mut shoot, 3);
    let (tracking, wanted) = resolve::to_track(&shot, &shoot, None).unwrap();
    assert_eq!(tracking.sides, [vec![0, 1, 3], vec![6, 7, 8]]);
    assert_eq!(tracking.tasks[0].keys.len(), 1);
    assert!(tracking.stands.is_none() && wanted.len() == 1);
    shot.source.across = true;
    assert_eq!(resolve::to_track(&shot, &shoot, None).unwrap().0.sides, [vec![0, 1, 3, 6, 7, 8]]);
}

#[test]
fn a_key_on_a_missing_still_is_refused() {
    let mut shot = measured(covering(0));
    shot.source.missing = Policy::Hold;
    let mut shoot = png(5);
    lose(&mut shoot, 3);
    let CoverArea::Keyed(keys) = &mut shot.covers[0].area else { panic!() };
    keys[0].at = Moment::Still(3);
    let said = written(&resolve::to_track(&shot, &shoot, None).err().unwrap());
    assert!(said.contains("is missing or damaged: nothing can be tracked from it"), "{said}");
    assert!(said.contains("at = still(2)"), "{said}");
}

#[test]
fn a_steadied_shoot_is_tracked_over_its_first_view() {
    let mut shot = measured(covering(0));
    shot.steady = Some(Steady { place: line(7), by: SteadyBy::Table("stands.csv".into()), room: 0.5 });
    let stands: Vec<Option<Pose>> =
        (0..4).map(|still| Some(Pose { x: f64::from(still) * 10.0, y: 0.0, turn: 0.0 })).collect();
    let (tracking, _) = resolve::to_track(&shot, &png(4), Some(&stands)).unwrap();
    let stands = tracking.stands.unwrap();
    assert_eq!(stands.iter().map(|stand| stand.x).collect::<Vec<f64>>(), [0.0, 10.0, 20.0, 30.0]);
}

#[test]
fn states_are_words_of_their_own() {
    for state in [SpotState::Keyed, SpotState::Seen, SpotState::Doubted, SpotState::Lost] {
        assert_eq!(SpotState::from_word(state.word()), Some(state));
    }
    assert_eq!(SpotState::from_word("gone"), None);
}

//! Which slots take room, which still stands in for which, and where every one of them went.

use stillpath::plan::Plan;
use stillpath::shoot::Shoot;
use stillpath::shot::{Moment, Policy, Shot};
use stillpath::units::SlotIndex;

use super::build::*;
use stillpath::diag::Placed;

/// The plan, with the sum of its tally checked.
fn accounted(shot: &Shot, shoot: &Shoot) -> Plan {
    let plan = plan(shot, shoot);
    let tally = &plan.tally;
    let sum =
        tally.used + tally.passed_over + tally.outside_part + tally.cut + tally.damaged.len() + tally.missing.len();
    assert_eq!(sum, shoot.slots.len(), "{tally:?}");
    plan
}

#[test]
fn missing_and_damaged_stills_stop_the_plan_and_are_all_named() {
    let mut shoot = shoot(12);
    for number in [3, 6, 7, 9, 10, 11] {
        lose(&mut shoot, number);
    }
    spoil(&mut shoot, 5);
    let expected = "\
mistake shot.lua:2: STIL0003 is missing [missing = \"hold\" shows the still before it in its place, missing = \"skip\" takes no time for it]
mistake shot.lua:2: STIL0005.JPG is damaged: the file is cut short: 10 of 3000 rows are there [damaged = \"hold\" shows the still before it in its place, damaged = \"skip\" takes no time for it]
mistake shot.lua:2: STIL0006 and STIL0007 are missing [missing = \"hold\" shows the still before it in its place, missing = \"skip\" takes no time for it]
mistake shot.lua:2: STIL0009 to STIL0011 are missing: 3 stills [missing = \"hold\" shows the still before it in its place, missing = \"skip\" takes no time for it]
";
    assert_eq!(refused(&shot(), &shoot), expected);
}

#[test]
fn a_held_slot_keeps_its_place_and_shows_the_still_before_it() {
    let (mut shot, mut shoot) = (shot(), shoot(6));
    (shot.source.missing, shot.source.damaged) = (Policy::Hold, Policy::Hold);
    lose(&mut shoot, 3);
    spoil(&mut shoot, 4);
    let plan = accounted(&shot, &shoot);
    assert_eq!(shown(&plan), [1, 2, 2, 2, 5, 6]);
    assert_eq!(plan.deliveries[0].rows[3].slot, SlotIndex(3));
    assert_eq!(plan.tally.missing, [("STIL0003".to_owned(), "held by STIL0002".to_owned())]);
    let damage = "the file is cut short: 10 of 3000 rows are there; held by STIL0002";
    assert_eq!(plan.tally.damaged, [("STIL0004".to_owned(), damage.to_owned())]);
}

#[test]
fn a_held_first_slot_shows_the_still_after_it() {
    let (mut shot, mut shoot) = (shot(), shoot(4));
    shot.source.missing = Policy::Hold;
    lose(&mut shoot, 1);
    lose(&mut shoot, 2);
    assert_eq!(shown(&accounted(&shot, &shoot)), [3, 3, 3, 4]);
}

#[test]
fn a_skipped_slot_takes_no_time_and_moves_no_key() {
    let (mut shot, mut shoot) = (shot(), shoot(6));
    shot.source.missing = Policy::Skip;
    shot.framing.keys = vec![on(11, Moment::Still(1), (0.5, 0.5), 1.0), on(12, Moment::Still(5), (0.5, 0.5), 2.0)];
    lose(&mut shoot, 3);
    let plan = accounted(&shot, &shoot);
    assert_eq!(shown(&plan), [1, 2, 4, 5, 6]);
    // Still 5 is the fourth that takes room.
    assert_eq!(plan.deliveries[0].rows[3].window.width, 2000.0);
    assert_eq!(plan.tally.missing, [("STIL0003".to_owned(), "skipped".to_owned())]);
}

#[test]
fn a_key_on_a_skipped_slot_comes_with_the_still_after_it() {
    let (mut shot, mut shoot) = (shot(), shoot(6));
    shot.source.missing = Policy::Skip;
    shot.framing.keys = vec![on(11, Moment::Still(1), (0.5, 0.5), 1.0), on(12, Moment::Still(3), (0.5, 0.5), 2.0)];
    lose(&mut shoot, 3);
    let plan = plan(&shot, &shoot);
    assert_eq!((plan.deliveries[0].rows[2].slot, plan.deliveries[0].rows[2].window.width), (SlotIndex(3), 2000.0));
}

#[test]
fn a_stand_in_is_named_only_where_damage_is_held() {
    let (mut shot, shoot) = (shot(), shoot(3));
    assert!(plan(&shot, &shoot).deliveries[0].rows.iter().all(|row| row.stand_in.is_none()));
    shot.source.damaged = Policy::Hold;
    let stand_ins: Vec<_> = plan(&shot, &shoot).deliveries[0].rows.iter().map(|row| row.stand_in).collect();
    assert_eq!(stand_ins, [Some(SlotIndex(1)), Some(SlotIndex(0)), Some(SlotIndex(1))]);
}

#[test]
fn from_and_to_take_a_part_with_both_its_ends() {
    let (mut shot, shoot) = (shot(), shoot(10));
    shot.source.from = Some(Placed::new(Moment::Still(3), line(2)));
    shot.source.to = Some(Placed::new(Moment::StillNamed("STIL0006".into()), line(2)));
    let plan = accounted(&shot, &shoot);
    assert_eq!(shown(&plan), [3, 4, 5, 6]);
    assert_eq!(plan.tally.outside_part, 6);
}

#[test]
fn two_parts_that_meet_at_a_fraction_share_no_still() {
    let (mut shot, shoot) = (shot(), shoot(7));
    shot.source.to = Some(Placed::new(Moment::Part(0.5), line(2)));
    assert_eq!(shown(&accounted(&shot, &shoot)), [1, 2, 3, 4]);
    shot.source.to = None;
    shot.source.from = Some(Placed::new(Moment::Part(0.5), line(2)));
    assert_eq!(shown(&accounted(&shot, &shoot)), [5, 6, 7]);
}

#[test]
fn a_part_by_the_clock_holds_the_stills_taken_in_it() {
    let mut shot = shot();
    let shoot = shoot_every(10, "2031-05-04T14:00:00", 60.0);
    shot.source.from = Some(Placed::new(clock("14:02:30"), line(2)));
    shot.source.to = Some(Placed::new(clock("14:05:30"), line(2)));
    assert_eq!(shown(&accounted(&shot, &shoot)), [4, 5, 6]);
}

#[test]
fn a_part_that_ends_in_the_night_holds_no_still_of_the_morning() {
    let mut shot = shot();
    let mut times: Vec<String> = (10..18).map(|hour| format!("2031-05-04T{hour:02}:00:00")).collect();
    times.extend((6..9).map(|hour| format!("2031-05-05T{hour:02}:00:00")));
    let shoot = shoot_at(&times.iter().map(String::as_str).collect::<Vec<_>>(), 3600.0);
    shot.source.to = Some(Placed::new(clock("22:00"), line(2)));
    assert_eq!(shown(&accounted(&shot, &shoot)), [1, 2, 3, 4, 5, 6, 7, 8]);
    shot.source.from = shot.source.to.take();
    assert_eq!(shown(&accounted(&shot, &shoot)), [9, 10, 11]);
}

#[test]
fn faults_outside_the_part_stop_nothing() {
    let (mut shot, mut shoot) = (shot(), shoot(10));
    lose(&mut shoot, 2);
    spoil(&mut shoot, 9);
    shot.source.from = Some(Placed::new(Moment::Still(3), line(2)));
    shot.source.to = Some(Placed::new(Moment::Still(-3), line(2)));
    let plan = accounted(&shot, &shoot);
    assert_eq!((plan.tally.used, plan.tally.outside_part), (6, 4));
}

#[test]
fn a_part_turned_about_is_refused_with_both_its_ends() {
    let (mut shot, shoot) = (shot(), shoot(10));
    shot.source.from = Some(Placed::new(Moment::Still(6), line(21)));
    shot.source.to = Some(Placed::new(Moment::Still(3), line(22)));
    let expected =
        "mistake shot.lua:21: 'from' is still(6) and 'to' is still(3): nothing lies between them (shot.lua:22 'to')\n";
    assert_eq!(refused(&shot, &shoot), expected);
}

#[test]
fn from_takes_no_time_of_the_clip() {
    let (mut shot, shoot) = (shot(), shoot(10));
    shot.source.from = Some(Placed::new(Moment::Screen(2.0), line(2)));
    assert!(refused(&shot, &shoot).contains("'from' takes a moment of the shoot"));
}

#[test]
fn a_shoot_of_which_nothing_is_whole_is_refused() {
    let (mut shot, mut shoot) = (shot(), shoot(2));
    shot.source.missing = Policy::Skip;
    lose(&mut shoot, 1);
    lose(&mut shoot, 2);
    assert_eq!(refused(&shot, &shoot), "mistake shot.lua:2: none of the 2 slots used is whole\n");
    shoot.slots.clear();
    assert_eq!(refused(&shot, &shoot), "mistake shot.lua:2: the shoot has no stills\n");
}

#[test]
fn stills_the_pace_steps_over_are_counted_apart() {
    let mut shot = shot();
    shot.pace.value = stillpath::shot::Pace::Constant(stillpath::shot::Rate::StillsPerFrame(3.0));
    let plan = accounted(&shot, &shoot(10));
    assert_eq!(shown(&plan), [1, 4, 7, 10]);
    assert_eq!((plan.tally.used, plan.tally.passed_over), (4, 6));
}

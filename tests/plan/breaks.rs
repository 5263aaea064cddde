//! Breaks: what was left out between two stills is not mixed across, whether a cut or a night lies between.

use proptest::prelude::*;
use stillpath::plan::{self, BreakCause, Plan, Row};
use stillpath::resolve::When;
use stillpath::shoot::Shoot;
use stillpath::shot::{Between, Cut, Moment, Pace, PaceKey, Policy, Rate, Shot};

use super::build::*;

/// A frame a line: its stills (from 1), each with its weight in thousandths; `~` where it is invented between them.
fn stills(plan: &Plan) -> Vec<String> {
    let one = |row: &Row| {
        let shares = row.shares().map(|share| format!("{}:{:.0}", share.shown.0 + 1, f64::from(share.weight) / 65.536));
        let invented = if row.layers.are_invented() { "~" } else { "" };
        invented.to_owned() + &shares.collect::<Vec<_>>().join(" ")
    };
    plan.deliveries[0].rows.iter().map(one).collect()
}

fn blended(rate: Rate, shutter: f64, between: Between) -> Shot {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(rate);
    (shot.deliveries[0].blend.shutter, shot.deliveries[0].blend.between) = (shutter, between);
    shot
}

/// The same without stills 4 to 6 of its source.
fn cut(mut shot: Shot) -> Shot {
    shot.source.cuts = vec![Cut { place: line(21), from: Moment::Still(4), to: Moment::Still(6) }];
    shot
}

fn across(mut shot: Shot) -> Shot {
    shot.source.across = true;
    shot
}

/// Three stills in the evening and three in the morning, ten minutes apart.
fn night() -> Shoot {
    let evening = ["2031-05-04T20:00:00", "2031-05-04T20:10:00", "2031-05-04T20:20:00"];
    let morning = ["2031-05-05T05:00:00", "2031-05-05T05:10:00", "2031-05-05T05:20:00"];
    shoot_at(&[evening, morning].concat(), 600.0)
}

/// Breaks as `before after why`, stills from 1.
fn breaks(plan: &Plan) -> Vec<(usize, usize, BreakCause)> {
    plan.breaks.iter().map(|one| (one.before.0 + 1, one.after.0 + 1, one.why)).collect()
}

const HALVES: Rate = Rate::FramesPerStill(2.0);

#[test]
fn nothing_is_mixed_across_a_cut_unless_the_source_says_so() {
    let mixed = cut(blended(HALVES, 0.0, Between::Mix));
    let apart = plan(&mixed, &shoot(8));
    let whole = ["1:1000", "1:500 2:500", "2:1000", "2:500 3:500", "3:1000"];
    assert_eq!(stills(&apart)[..5], whole);
    assert_eq!(stills(&apart)[5..], ["3:1000", "7:1000", "7:500 8:500", "8:1000", "8:1000"]);
    assert_eq!(breaks(&apart), [(3, 7, BreakCause::Cut)]);
    let mixed = plan(&across(mixed), &shoot(8));
    assert_eq!(stills(&mixed)[..5], whole);
    assert_eq!(stills(&mixed)[5..], ["3:500 7:500", "7:1000", "7:500 8:500", "8:1000", "8:1000"]);
    assert_eq!(breaks(&mixed), []);
    assert_eq!(written(&mixed.remarks), "");
}

#[test]
fn nothing_is_mixed_across_a_cut_on_the_way_back_either() {
    let mut mixed = cut(blended(HALVES, 0.0, Between::Mix));
    mixed.pace = keyed(vec![PaceKey { rate: Some(HALVES), ..back(31, Moment::End, 1.0) }], None);
    let back = |shot: &Shot| stills(&plan(shot, &shoot(8)));
    // The axis is stills 1, 2, 3, 7, 8; the pace comes from its end at 5.
    let apart = ["8:1000", "8:1000", "8:1000", "7:500 8:500", "3:1000", "3:1000", "3:1000"];
    assert_eq!(back(&mixed)[..7], apart, "{:?}", back(&mixed));
    assert_eq!(back(&across(mixed))[4..6], ["7:1000", "3:500 7:500"]);
}

#[test]
fn nothing_is_invented_across_a_cut() {
    let motion = cut(blended(HALVES, 0.0, Between::Motion));
    let apart = plan(&motion, &shoot(8));
    let due = ["1:1000", "~1:500 2:500", "2:1000", "~2:500 3:500", "3:1000", "3:1000", "7:1000", "~7:500 8:500"];
    assert_eq!(stills(&apart)[..8], due);
    assert_eq!(stills(&plan(&across(motion), &shoot(8)))[5], "~3:500 7:500");
}

#[test]
fn a_shutter_is_cut_at_a_break_and_what_is_left_has_the_whole_weight() {
    // Two stills a frame, and the shutter open for two frames: four stills of 1, 2, 3, 7, 8.
    let open = cut(blended(Rate::StillsPerFrame(2.0), 720.0, Between::Nearest));
    assert_eq!(stills(&plan(&open, &shoot(8))), ["1:333 2:333 3:333", "3:1000", "8:1000"]);
    assert_eq!(stills(&plan(&across(open), &shoot(8))), ["1:250 2:250 3:250 7:250", "3:333 7:333 8:333", "8:1000"]);
    // A span that begins in the middle of a still is cut at its whole ones: 1.5 to 4 of 1.5 to 5.5.
    let open = cut(blended(Rate::StillsPerFrame(1.5), 960.0, Between::Nearest));
    assert_eq!(stills(&plan(&open, &shoot(8)))[1], "2:333 3:667");
    // Backwards the side is the one that the frame's own still is on.
    let mut back_again = cut(blended(Rate::StillsPerFrame(2.0), 720.0, Between::Nearest));
    back_again.pace = keyed(vec![back(31, Moment::End, 2.0)], None);
    assert_eq!(stills(&plan(&back_again, &shoot(8))), ["8:500 7:500", "3:333 2:333 1:333", "1:1000"]);
}

#[test]
fn a_night_between_two_stills_keeps_them_apart_by_their_capture_times() {
    let mixed = blended(HALVES, 0.0, Between::Mix);
    let apart = plan(&mixed, &night());
    assert_eq!(stills(&apart)[3..9], ["2:500 3:500", "3:1000", "3:1000", "4:1000", "4:500 5:500", "5:1000"]);
    assert_eq!(breaks(&apart), [(3, 4, BreakCause::Gap)]);
    assert_eq!(stills(&plan(&across(mixed), &night()))[5], "3:500 4:500");
    let motion = blended(HALVES, 0.0, Between::Motion);
    assert_eq!(stills(&plan(&motion, &night()))[5], "3:1000");
    assert_eq!(stills(&plan(&across(motion), &night()))[5], "~3:500 4:500");
    let open = blended(Rate::StillsPerFrame(2.0), 360.0, Between::Nearest);
    assert_eq!(stills(&plan(&open, &night())), ["1:500 2:500", "3:1000", "5:500 6:500"]);
    assert_eq!(stills(&plan(&across(open), &night()))[1], "3:500 4:500");
}

#[test]
fn more_than_ten_intervals_are_a_gap_and_ten_are_none() {
    let gap = |seconds: u32| {
        let minutes =
            |seconds: u32| format!("2031-05-04T{:02}:{:02}:{:02}", 6 + seconds / 3600, seconds / 60 % 60, seconds % 60);
        let times = [0, 60, 120, 120 + seconds, 180 + seconds].map(minutes);
        breaks(&plan(&shot(), &shoot_at(&times.each_ref().map(String::as_str), 60.0)))
    };
    // Ten intervals and a little, as a camera's clock rounds them, are ten.
    assert_eq!([gap(60), gap(600), gap(620)], [[], [], []] as [[_; 0]; 3]);
    assert_eq!([gap(660), gap(7200)], [[(3, 4, BreakCause::Gap)], [(3, 4, BreakCause::Gap)]]);
}

#[test]
fn without_times_more_than_ten_missing_stills_in_a_row_are_a_gap() {
    for policy in [Policy::Hold, Policy::Skip] {
        let seen = |last: usize| {
            let (mut shot, mut shoot) = (blended(HALVES, 0.0, Between::Mix), shoot(20));
            shot.source.missing = policy;
            (5..=last).for_each(|number| lose(&mut shoot, number));
            let plan = plan(&shot, &shoot);
            let mixed = stills(&plan).contains(&format!("4:500 {}:500", last + 1));
            (breaks(&plan), mixed)
        };
        assert_eq!(seen(14), (vec![], true));
        assert_eq!(seen(15), (vec![(4, 16, BreakCause::Gap)], false));
    }
}

#[test]
fn what_is_held_belongs_to_its_own_side_and_so_does_a_stand_in() {
    let (mut held, mut shoot) = (cut(blended(HALVES, 0.0, Between::Mix)), shoot(9));
    (held.source.missing, held.source.damaged) = (Policy::Hold, Policy::Hold);
    // The first one after the cut is missing: the last before it is held, and gives way at once.
    lose(&mut shoot, 7);
    let plan = plan(&held, &shoot);
    assert_eq!(stills(&plan)[3..10], ["2:500 3:500", "3:1000", "3:1000", "3:1000", "3:1000", "8:1000", "8:500 9:500"]);
    assert_eq!(breaks(&plan), [(3, 8, BreakCause::Cut)]);
    // Should still 8 turn out damaged, 9 is shown: it is the nearest of its own side. Across, it is the one before.
    let stand_in = |plan: &Plan| plan.deliveries[0].rows[8].stand_in.map(|slot| slot.0 + 1);
    assert_eq!(stand_in(&plan), Some(9));
    assert_eq!(stand_in(&super::build::plan(&across(held), &shoot)), Some(3));
}

#[test]
fn what_was_kept_apart_is_named_once_a_break_and_counted_where_there_are_many() {
    let named = |shot: &Shot, shoot: &Shoot| written(&plan(shot, shoot).remarks);
    let help = "[across = true in its source mixes them]\n";
    assert_eq!(
        named(&cut(blended(HALVES, 0.0, Between::Mix)), &shoot(8)),
        format!("remark shot.lua:2: kept apart: still 3 and still 7, a cut between {help}")
    );
    let night_said = format!("remark shot.lua:2: kept apart: still 3 and still 4, a gap between {help}");
    assert_eq!(named(&blended(HALVES, 0.0, Between::Mix), &night()), night_said);
    // Where no frame lies between the two, nothing is said.
    assert_eq!(named(&cut(shot()), &shoot(8)), "");
    assert!(!named(&cut(blended(Rate::FramesPerStill(1.0), 0.0, Between::Mix)), &shoot(8)).contains("kept apart"));
    let mut many = blended(HALVES, 0.0, Between::Mix);
    let one = |number| Cut { place: line(21), from: Moment::Still(number), to: Moment::Still(number) };
    many.source.cuts = (1..=9).map(|number| one(3 * number)).collect();
    let said = named(&many, &shoot(40));
    assert_eq!(said.matches("kept apart: still ").count(), 3);
    assert!(said.contains("kept apart: still 2 and still 4, a cut between"), "{said}");
    assert!(said.ends_with(&format!("kept apart in 6 more places {help}")), "{said}");
}

#[test]
fn a_frame_beside_a_break_says_so_and_json_lists_breaks() {
    let mixed = cut(blended(HALVES, 0.0, Between::Mix));
    let text = |frame| explain(&mixed, &shoot(8), 0, &When::Frame(frame)).unwrap().text();
    let said = "  beside a break, from STIL0003 to STIL0007, a cut between: nothing is mixed across (shot.lua:2)\n";
    assert!(text(5).contains(said) && text(6).contains(said), "{}", text(5));
    assert!(!text(2).contains("break"), "{}", text(2));
    let json = serde_json::to_value(plan(&mixed, &shoot(8))).unwrap();
    assert_eq!(json["breaks"], serde_json::json!([{ "before": 2, "after": 6, "why": "cut" }]));
    assert_eq!(serde_json::to_value(plan(&across(mixed), &shoot(8))).unwrap().get("breaks"), None);
}

#[test]
fn a_loops_join_is_mixed_whatever_lies_between_its_ends() {
    let mut looped = cut(blended(HALVES, 0.0, Between::Mix));
    looped.looped = Some(stillpath::diag::Placed::new(0.125, line(5)));
    let rows = stills(&plan(&looped, &shoot(8)));
    assert!(rows.iter().any(|row| row.contains("1:") && row.contains("8:")), "{rows:?}");
    assert!(!rows.iter().any(|row| row.contains("3:") && row.contains("7:")), "{rows:?}");
}

#[test]
fn across_that_changes_nothing_is_remarked_on() {
    let said = |shot: &Shot| written(&plan(&across(shot.clone()), &shoot(8)).remarks);
    let unused = "remark shot.lua:2: across has no effect: no stills were left out between two that are shown \
                  [leave across out]\n";
    assert_eq!(said(&shot()), unused);
    assert_eq!(said(&cut(blended(HALVES, 0.0, Between::Mix))), "");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_the_pace_no_frame_has_stills_of_two_sides_and_all_weights_add_up(
        per_frame in 0.05..5.0_f64,
        shutter in prop_oneof![Just(0.0), 0.0..1440.0_f64],
        mixed in proptest::bool::ANY,
        backwards in proptest::bool::ANY,
        cuts in proptest::collection::btree_set(1_i64..19, 1..6),
    ) {
        let mut shot = blended(Rate::StillsPerFrame(1.0), shutter, if mixed { Between::Mix } else { Between::Nearest });
        let key = rate(31, Moment::Start, Rate::StillsPerFrame(per_frame));
        shot.pace = keyed(vec![if backwards { back(31, Moment::End, per_frame) } else { key }], None);
        let one = |number: &i64| Cut { place: line(21), from: Moment::Still(3 * number), to: Moment::Still(3 * number) };
        shot.source.cuts = cuts.iter().map(one).collect();
        let plan = plan(&shot, &shoot(60));
        prop_assert_eq!(plan.breaks.len(), cuts.len());
        for row in &plan.deliveries[0].rows {
            let sides: std::collections::BTreeSet<usize> =
                row.shares().map(|share| plan.breaks.partition_point(|one| one.after <= share.shown)).collect();
            prop_assert_eq!(sides.len(), 1);
            prop_assert_eq!(row.shares().map(|share| share.weight).sum::<u32>(), plan::Share::WHOLE);
        }
    }
}

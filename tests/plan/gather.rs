//! Which stills a frame gathers light from: by number, by the shutter, growing; at both ends, at breaks, through windows
//! that move.

use std::sync::Arc;

use proptest::prelude::*;
use stillpath::diag::Placed;
use stillpath::plan::{self, Layers, Plan, Row};
use stillpath::resolve::When;
use stillpath::shot::{Cut, Gather, GatherOver, Gathering, Moment, Pace, PaceKey, Policy, Rate, Shot};

use super::build::*;

/// A frame a line: its stills, from 1.
fn stills(plan: &Plan) -> Vec<String> {
    let one = |row: &Row| {
        let slots: Vec<usize> = row.shares().map(|share| share.shown.0 + 1).collect();
        match &row.layers {
            Layers::Gathered(gathered) => format!("{} {slots:?}", gathered.by.keyword()),
            _ => format!("{slots:?}"),
        }
    };
    plan.deliveries[0].rows.iter().map(one).collect()
}

/// The first and the last still of each frame, from 1.
fn ends(plan: &Plan) -> Vec<(usize, usize)> {
    let ends = |row: &Row| {
        let slots: Vec<usize> = row.shares().map(|share| share.shown.0 + 1).collect();
        (slots[0], slots[slots.len() - 1])
    };
    plan.deliveries[0].rows.iter().map(ends).collect()
}

/// A shot that gathers, said on line 41.
fn gathering(by: Gather, over: GatherOver) -> Shot {
    let mut shot = shot();
    shot.deliveries[0].gather = Some(Placed::new(Gathering { by, over }, line(41)));
    shot
}

#[test]
fn a_number_of_stills_ends_with_the_one_whose_turn_it_is_and_a_median_lies_around_it() {
    let seen = |by| stills(&plan(&gathering(by, GatherOver::Stills(3)), &shoot(5)));
    assert_eq!(
        seen(Gather::Brightest),
        ["[1]", "brightest [1, 2]", "brightest [1, 2, 3]", "brightest [2, 3, 4]", "brightest [3, 4, 5]"]
    );
    assert_eq!(seen(Gather::Darkest)[4], "darkest [3, 4, 5]");
    assert_eq!(
        seen(Gather::Median),
        ["median [1, 2, 3]", "median [1, 2, 3]", "median [2, 3, 4]", "median [3, 4, 5]", "median [3, 4, 5]"]
    );
}

#[test]
fn a_shutter_gathers_every_still_that_passes_while_it_is_open() {
    let mut shot = gathering(Gather::Brightest, GatherOver::Shutter);
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(2.5));
    shot.deliveries[0].blend.shutter = 360.0;
    assert_eq!(ends(&plan(&shot, &shoot(8))), [(1, 3), (3, 5), (6, 8), (8, 8)]);
    shot.deliveries[0].blend.shutter = 720.0;
    assert_eq!(ends(&plan(&shot, &shoot(8))), [(1, 5), (3, 8), (6, 8), (8, 8)]);
}

#[test]
fn a_growing_one_begins_with_its_moment_on_either_axis() {
    let grown = |from| plan(&gathering(Gather::Darkest, GatherOver::Grown(from)), &shoot(6));
    assert_eq!(ends(&grown(None)), [(1, 1), (1, 2), (1, 3), (1, 4), (1, 5), (1, 6)]);
    let late = [(1, 1), (2, 2), (3, 3), (3, 4), (3, 5), (3, 6)];
    for from in
        [Moment::Still(3), Moment::StillNamed("STIL0003".into()), Moment::Screen(2.0 / 24.0), Moment::Timecode(2)]
    {
        assert_eq!(ends(&grown(Some(from.clone()))), late, "{from:?}");
    }
    assert_eq!(ends(&grown(Some(Moment::Part(0.5))))[4], (4, 5));
    let refused = refused(&gathering(Gather::Darkest, GatherOver::Grown(Some(Moment::Still(9)))), &shoot(6));
    assert!(refused.contains("shot.lua:41"), "{refused}");
    let late = gathering(Gather::Darkest, GatherOver::Grown(Some(Moment::Screen(9.0))));
    let refused = super::build::refused(&late, &shoot(6));
    assert!(refused.contains("this moment is past the end") && refused.contains("shot.lua:41"), "{refused}");
}

#[test]
fn frames_through_one_window_share_their_layers_and_others_do_not() {
    let resting = plan(&gathering(Gather::Brightest, GatherOver::Grown(None)), &shoot(50));
    assert_eq!((resting.deliveries[0].gathered.len(), resting.deliveries[0].gathered[0].len()), (1, 50));
    let lists: Vec<_> = resting.deliveries[0].rows.iter().filter_map(|row| row.layers.gathered()).collect();
    assert!(lists.windows(2).all(|pair| Arc::ptr_eq(&pair[0].list, &pair[1].list)));
    let mut moving = gathering(Gather::Brightest, GatherOver::Stills(4));
    moving.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::Still(11), (0.5, 0.5), 2.0)];
    let plan = plan(&moving, &shoot(20));
    // The window comes to rest with the eleventh frame.
    assert_eq!(plan.deliveries[0].gathered.len(), 10, "the first frame is one still");
    assert_eq!(plan.deliveries[0].gathers(), Some((19, 4)));
    for row in &plan.deliveries[0].rows {
        assert!(row.layers.each().all(|(layer, _)| layer.window == row.window));
    }
    // Between two keys of one view nothing moves.
    let mut held = gathering(Gather::Brightest, GatherOver::Stills(4));
    held.framing.keys = vec![on(11, Moment::Start, (0.37, 0.61), 1.7), on(12, Moment::End, (0.37, 0.61), 1.7)];
    assert_eq!(super::build::plan(&held, &shoot(20)).deliveries[0].gathered.len(), 1);
    let said = written(&plan.remarks);
    assert!(said.contains("9 frames paint 33 stills, 4 each") && said.contains("frames 1 to 9"), "{said}");
    assert!(said.contains("shot.lua:41"), "{said}");
}

#[test]
fn what_a_moving_window_would_cost_too_much_is_refused_with_what_to_type() {
    let mut shot = gathering(Gather::Brightest, GatherOver::Stills(300));
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 2.0)];
    let said = refused(&shot, &shoot(400));
    assert!(said.contains("gathers up to 300 stills a frame under a window that moves"), "{said}");
    assert!(said.contains("write gather = { \"brightest\", stills = 256 }, or a framing that rests there"), "{said}");
    shot.deliveries[0].gather.as_mut().unwrap().value.over = GatherOver::Stills(256);
    assert_eq!(plan(&shot, &shoot(400)).deliveries[0].gathers(), Some((399, 256)));
    shot.deliveries[0].gather.as_mut().unwrap().value.over = GatherOver::Stills(300);
    shot.framing.keys.truncate(1);
    assert_eq!(plan(&shot, &shoot(400)).deliveries[0].gathers(), Some((399, 300)));
}

#[test]
fn nothing_is_gathered_across_a_break_unless_the_source_says_so() {
    let cut = |by, over| {
        let mut shot = gathering(by, over);
        shot.source.cuts = vec![Cut { place: line(21), from: Moment::Still(4), to: Moment::Still(6) }];
        shot
    };
    for (by, over, apart, across) in [
        (Gather::Brightest, GatherOver::Stills(3), [(1, 3), (7, 7), (7, 8)], [(1, 3), (2, 7), (3, 8)]),
        (Gather::Darkest, GatherOver::Grown(None), [(1, 3), (7, 7), (7, 8)], [(1, 3), (1, 7), (1, 8)]),
        (Gather::Median, GatherOver::Stills(3), [(1, 3), (7, 9), (7, 9)], [(2, 7), (3, 8), (7, 9)]),
    ] {
        let mut shot = cut(by, over);
        let made = plan(&shot, &shoot(9));
        // The last two frames before the break and the first after it.
        let seen = ends(&made);
        assert_eq!([seen[2], seen[3], seen[4]], apart, "{by:?}");
        assert!(written(&made.remarks).contains("kept apart: still 3 and still 7"), "{}", written(&made.remarks));
        shot.source.across = true;
        let seen = ends(&plan(&shot, &shoot(9)));
        assert_eq!([seen[2], seen[3], seen[4]], across, "{by:?}");
    }
}

#[test]
fn a_still_held_for_missing_ones_counts_once_and_stand_ins_go_with_the_layers() {
    let mut shoot = shoot(7);
    lose(&mut shoot, 3);
    lose(&mut shoot, 4);
    let mut shot = gathering(Gather::Brightest, GatherOver::Stills(4));
    (shot.source.missing, shot.source.damaged) = (Policy::Hold, Policy::Hold);
    let made = plan(&shot, &shoot);
    assert_eq!(
        stills(&made),
        [
            "[1]",
            "brightest [1, 2]",
            "brightest [1, 2]",
            "brightest [1, 2]",
            "brightest [2, 5]",
            "brightest [2, 5, 6]",
            "brightest [2, 5, 6, 7]"
        ]
    );
    let stand_ins: Vec<usize> = made.deliveries[0].rows[6]
        .layers
        .each()
        .map(|(layer, _)| layer.stand_in.as_ref().map_or(0, |other| other.still.slot.0 + 1))
        .collect();
    assert_eq!(stand_ins, [1, 2, 5, 6]);
    shot.source.missing = Policy::Skip;
    assert_eq!(ends(&plan(&shot, &shoot)), [(1, 1), (1, 2), (1, 5), (1, 6), (2, 7)]);
    assert_eq!(plan(&shot, &shoot).tally.used, 5);
}

#[test]
fn a_position_gathers_the_same_on_the_way_back_and_a_loop_that_mixes_is_refused() {
    let mut shot = gathering(Gather::Brightest, GatherOver::Stills(3));
    let key = |at: Moment, reverse| PaceKey { reverse, ..rate(31, at, Rate::StillsPerFrame(1.0)) };
    shot.pace = keyed(vec![key(Moment::Still(1), false), key(Moment::End, false), key(Moment::Still(1), true)], None);
    let made = plan(&shot, &shoot(6));
    let seen = ends(&made);
    assert_eq!(seen[..6], [(1, 1), (1, 2), (1, 3), (2, 4), (3, 5), (4, 6)]);
    assert_eq!(seen[6..], [(4, 6), (3, 5), (2, 4), (1, 3), (1, 2), (1, 1)]);
    shot.looped = Some(Placed::new(0.2, line(5)));
    assert_eq!(ends(&plan(&shot, &shoot(6))).len(), 12, "it comes back by itself and mixes nothing");
    let mut mixed = gathering(Gather::Brightest, GatherOver::Stills(3));
    mixed.looped = Some(Placed::new(0.2, line(5)));
    let said = refused(&mixed, &shoot(60));
    assert!(said.contains("does not go with a loop whose join is mixed"), "{said}");
}

#[test]
fn a_gather_longer_than_the_shoot_and_a_median_larger_than_its_room_are_refused() {
    let said = refused(&gathering(Gather::Brightest, GatherOver::Stills(90)), &shoot(60));
    assert!(said.contains("'wide' gathers 90 stills, and 60 stills are used"), "{said}");
    assert!(said.contains("stills = 60 at most, or { \"brightest\", grow = true } takes all there are"), "{said}");
    let mut large = gathering(Gather::Median, GatherOver::Stills(70));
    let said = refused(&large, &shoot(80));
    assert!(said.contains("at most 69 are held at once, in 1 GiB"), "{said}");
    assert!(said.contains("write gather = { \"median\", stills = 69 }"), "{said}");
    large.deliveries[0].gather.as_mut().unwrap().value.over = GatherOver::Stills(69);
    assert_eq!(plan(&large, &shoot(80)).deliveries[0].gathers(), Some((80, 69)));
}

#[test]
fn a_plan_says_what_it_gathers_in_every_form() {
    let shot = gathering(Gather::Median, GatherOver::Stills(3));
    let made = plan(&shot, &shoot(5));
    assert!(plan::text(&made).contains("       2=4 "), "{}", plan::text(&made));
    let summary = plan::summary(&made);
    assert!(summary.contains("; 5 frames gather the median light of up to 3 stills"), "{summary}");
    let json = serde_json::to_value(&made).unwrap();
    let delivery = &json["deliveries"][0];
    assert_eq!(delivery["gathered"][0].as_array().unwrap().len(), 5);
    let row = &delivery["rows"][2];
    assert_eq!(row["gathered"], serde_json::json!({ "by": "median", "first": 1, "last": 3, "stills": 3 }));
    let layers = serde_json::json!({ "gathered": { "by": "median", "list": 0, "from": 1, "to": 4, "turn": 2 } });
    assert_eq!(row["layers"], layers);
    assert!(row.get("blend").is_none());
    let shoot = shoot(5);
    let csv = plan::csv([(&made, &shoot)]);
    assert_eq!(csv.matches(",median,").count(), 15, "{csv}");
    let explained = explain(&shot, &shoot, 0, &When::Frame(2)).unwrap().text();
    assert!(explained.contains("the median light of 3 stills, by channel: STIL0002 to STIL0004"), "{explained}");
    let other = plan(&gathering(Gather::Brightest, GatherOver::Stills(3)), &shoot);
    let differences = plan::differences(&[&made], &[&other]);
    assert!(
        !differences.same && differences.text().contains("shares of stills: frames 0 to 4"),
        "{}",
        differences.text()
    );
}

proptest! {
    /// Every frame has the stills that the rule says, each once, in order, and the one whose turn it is among them.
    #[test]
    fn frames_have_the_stills_that_the_rule_says(count in 2_usize..40, wanted in 2_u32..40, per_frame in 0.2..5.0_f64, by in 0..3) {
        let by = [Gather::Brightest, Gather::Darkest, Gather::Median][usize::try_from(by).unwrap()];
        let wanted = wanted.min(u32::try_from(count).unwrap());
        let mut shot = gathering(by, GatherOver::Stills(wanted));
        shot.pace.value = Pace::Constant(Rate::StillsPerFrame(per_frame));
        let made = plan(&shot, &shoot(count));
        for row in &made.deliveries[0].rows {
            let slots: Vec<usize> = row.shares().map(|share| share.shown.0).collect();
            prop_assert!(slots.windows(2).all(|pair| pair[0] + 1 == pair[1]));
            prop_assert!(slots.contains(&row.slot.0));
            let (wanted, turn) = (wanted as usize, row.slot.0);
            if by == Gather::Median {
                prop_assert_eq!(slots.len(), wanted);
                let ideal = turn as isize - (wanted / 2) as isize;
                let start = ideal.clamp(0, (count - wanted) as isize);
                prop_assert_eq!(slots[0] as isize, start);
            } else {
                prop_assert_eq!((slots.len(), slots[slots.len() - 1]), (wanted.min(turn + 1), turn));
            }
            let weights: u32 = row.shares().map(|share| share.weight).sum();
            prop_assert_eq!(weights, plan::Share::WHOLE);
            if let Some(gathered) = row.layers.gathered() {
                prop_assert_eq!(gathered.foremost().slot(), row.slot);
            }
        }
    }
}

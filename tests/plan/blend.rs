//! Which stills a frame is made of: shutters, mixed frames in slow sections, held slots, both ends.

use proptest::prelude::*;
use stillpath::plan::{self, Plan, Row};
use stillpath::shot::{Between, Moment, Pace, PaceKey, Policy, Rate, Shot};

use super::build::*;

/// A frame a line: its stills (from 1), each with its weight in thousandths.
fn stills(plan: &Plan, delivery: usize) -> Vec<String> {
    let one = |row: &Row| {
        let shares = row.shares().map(|share| format!("{}:{:.0}", share.shown.0 + 1, f64::from(share.weight) / 65.536));
        shares.collect::<Vec<_>>().join(" ")
    };
    plan.deliveries[delivery].rows.iter().map(one).collect()
}

fn blended(rate: Rate, shutter: f64, between: Between) -> Shot {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(rate);
    (shot.deliveries[0].blend.shutter, shot.deliveries[0].blend.between) = (shutter, between);
    shot
}

#[test]
fn a_shutter_of_360_degrees_is_open_for_a_frames_time_and_others_in_proportion() {
    let seen = |rate, shutter| stills(&plan(&blended(rate, shutter, Between::Nearest), &shoot(8)), 0);
    let four = Rate::StillsPerFrame(4.0);
    assert_eq!(seen(four, 0.0), ["1:1000", "5:1000"]);
    assert_eq!(seen(four, 360.0), ["1:250 2:250 3:250 4:250", "5:250 6:250 7:250 8:250"]);
    assert_eq!(seen(four, 180.0), ["1:500 2:500", "5:500 6:500"]);
    assert_eq!(seen(four, 135.0), ["1:667 2:333", "5:667 6:333"]);
    // The second frame's 8 stills would run past the end: what is there shares the weight.
    assert_eq!(seen(four, 720.0)[1], "5:250 6:250 7:250 8:250");
    assert_eq!(seen(four, 720.0)[0].split(' ').count(), 8);
    assert_eq!(seen(Rate::StillsPerFrame(2.5), 360.0)[1], "3:200 4:400 5:400");
    assert_eq!(
        seen(Rate::StillsPerFrame(1.0), 360.0),
        (1..=8).map(|still| format!("{still}:1000")).collect::<Vec<_>>()
    );
}

#[test]
fn degrees_are_of_each_deliverys_own_frame() {
    let mut shot = blended(Rate::StillsPerFrame(4.0), 360.0, Between::Nearest);
    shot.deliveries.push(delivery("double", 1080, 1080, "48"));
    shot.deliveries[1].blend.shutter = 360.0;
    let plan = plan(&shot, &shoot(8));
    assert_eq!(stills(&plan, 1), ["1:500 2:500", "3:500 4:500", "5:500 6:500", "7:500 8:500"]);
}

#[test]
fn a_shutter_is_open_as_the_pace_runs_while_it_is() {
    // From 1 to 5 stills a frame over the shoot's first 12 stills: every frame's stills end where the next one's begin.
    let mut shot = blended(Rate::StillsPerFrame(1.0), 360.0, Between::Nearest);
    let keys =
        [(1, 1.0), (13, 5.0)].map(|(still, per_frame)| rate(31, Moment::Still(still), Rate::StillsPerFrame(per_frame)));
    shot.pace = keyed(keys.to_vec(), None);
    let plan = plan(&shot, &shoot(30));
    let rows = &plan.deliveries[0].rows;
    for pair in rows.windows(2) {
        let (last, first) = (pair[0].shares().last().unwrap().shown, pair[1].shares().next().unwrap().shown);
        assert!(first == last || first.0 == last.0 + 1, "{pair:?}");
    }
    assert_eq!(plan.tally.used, 30);
}

#[test]
fn mixed_frames_follow_the_position_and_whole_stills_stay_whole() {
    let seen = |rate| stills(&plan(&blended(rate, 0.0, Between::Mix), &shoot(3)), 0);
    assert_eq!(seen(Rate::FramesPerStill(1.0)), ["1:1000", "2:1000", "3:1000"]);
    assert_eq!(seen(Rate::FramesPerStill(2.0)), ["1:1000", "1:500 2:500", "2:1000", "2:500 3:500", "3:1000", "3:1000"]);
    assert_eq!(seen(Rate::FramesPerStill(4.0))[5..8], ["2:750 3:250", "2:500 3:500", "2:250 3:750"]);
    // Two stills a frame and more are no slow section; half-way there the span is half a still.
    assert_eq!(
        stills(&plan(&blended(Rate::StillsPerFrame(2.0), 0.0, Between::Mix), &shoot(5)), 0),
        ["1:1000", "3:1000", "5:1000"]
    );
    let half_way = stills(&plan(&blended(Rate::StillsPerFrame(1.25), 0.0, Between::Mix), &shoot(5)), 0);
    assert_eq!(half_way, ["1:1000", "2:1000", "3:667 4:333", "4:333 5:667"]);
    assert_eq!(stills(&plan(&blended(Rate::FramesPerStill(2.0), 0.0, Between::Nearest), &shoot(2)), 0)[1], "1:1000");
}

/// Which frames are invented.
fn invented(plan: &Plan) -> Vec<bool> {
    plan.deliveries[0].rows.iter().map(|row| row.layers.are_invented()).collect()
}

#[test]
fn motion_invents_the_frames_that_mixing_mixes_and_no_other() {
    for rate in
        [Rate::FramesPerStill(2.0), Rate::FramesPerStill(4.0), Rate::StillsPerFrame(1.25), Rate::StillsPerFrame(2.0)]
    {
        let mixed = plan(&blended(rate, 0.0, Between::Mix), &shoot(6));
        let made = plan(&blended(rate, 0.0, Between::Motion), &shoot(6));
        assert_eq!(stills(&made, 0), stills(&mixed, 0));
        let blended: Vec<bool> = made.deliveries[0].rows.iter().map(|row| row.layers.are_several()).collect();
        assert_eq!(invented(&made), blended, "{rate:?}");
        assert_eq!(made.deliveries[0].invented(), blended.iter().filter(|blended| **blended).count());
        assert!(!invented(&mixed).contains(&true));
    }
}

#[test]
fn a_shutter_that_reaches_further_than_motion_gives_its_mean() {
    let seen = |rate, shutter| {
        let plan = plan(&blended(rate, shutter, Between::Motion), &shoot(8));
        invented(&plan).into_iter().zip(stills(&plan, 0)).nth(1).unwrap()
    };
    // Half a frame a still under 180 degrees covers a quarter of a still, under 1080 one and a half.
    assert_eq!(seen(Rate::FramesPerStill(2.0), 180.0), (true, "1:500 2:500".into()));
    assert_eq!(seen(Rate::FramesPerStill(2.0), 1080.0), (false, "1:333 2:667".into()));
    assert_eq!(seen(Rate::StillsPerFrame(4.0), 180.0), (false, "5:500 6:500".into()));
}

#[test]
fn what_is_held_in_a_missing_stills_place_is_not_invented_from_itself() {
    let mut shoot = shoot(4);
    lose(&mut shoot, 2);
    let mut shot = blended(Rate::FramesPerStill(2.0), 0.0, Between::Motion);
    shot.source.missing = Policy::Hold;
    let plan = plan(&shot, &shoot);
    assert_eq!(stills(&plan, 0)[1..4], ["1:1000", "1:1000", "1:500 3:500"]);
    assert_eq!(invented(&plan)[1..4], [false, false, true]);
}

#[test]
fn invented_frames_are_told_in_the_table_the_summary_the_json_and_a_remark() {
    let made = plan(&blended(Rate::FramesPerStill(2.0), 0.0, Between::Motion), &shoot(3));
    let column: Vec<String> = plan::text(&made)
        .lines()
        .skip(2)
        .filter_map(|line| line.split_whitespace().nth(3).map(str::to_owned))
        .collect();
    assert_eq!(column, ["1", "1~2", "2", "2~3", "3", "3"]);
    let summary = plan::summary(&made);
    assert!(summary.contains("; 2 frames are invented between two stills") && !summary.contains("means"), "{summary}");
    let rows = serde_json::to_value(&made.deliveries[0].rows).unwrap();
    assert_eq!((&rows[1]["invented"], rows[0].get("invented")), (&serde_json::json!(true), None));
    let remarks = written(&made.remarks);
    assert!(
        remarks.contains(
            "2 of the 6 frames of 'wide' will be invented by motion and are no evidence of what was there: frames 1 and 3"
        ),
        "{remarks}"
    );
}

#[test]
fn a_shutter_is_open_backwards_too_and_over_a_turn() {
    let seen = |shutter| {
        let mut shot = blended(Rate::StillsPerFrame(4.0), shutter, Between::Nearest);
        shot.pace = keyed(vec![rate(31, Moment::End, Rate::StillsPerFrame(4.0)), back(32, Moment::Start, 4.0)], None);
        stills(&plan(&shot, &shoot(8)), 0)
    };
    assert_eq!(seen(0.0), ["1:1000", "5:1000", "8:1000", "4:1000"]);
    let there = ["1:250 2:250 3:250 4:250", "5:250 6:250 7:250 8:250"];
    assert_eq!(seen(360.0), [there[0], there[1], "8:250 7:250 6:250 5:250", "4:250 3:250 2:250 1:250"]);
    // The second frame goes over its four stills and back again: each twice, so each as much as before.
    assert_eq!(seen(720.0)[1], "8:250 7:250 6:250 5:250");
    // Stills 5 to 8 there, and two of them back.
    assert_eq!(seen(540.0)[1], "8:333 7:333 6:167 5:167");
    assert_eq!(seen(135.0)[2..], ["8:667 7:333", "4:667 3:333"]);
}

#[test]
fn mixed_frames_follow_the_position_there_and_back() {
    let mut shot = blended(Rate::FramesPerStill(4.0), 0.0, Between::Mix);
    // Turns at the end, at a whole still and in the middle of one; and a rest on the way back.
    let quarter = |at_line, at| PaceKey { rate: Some(Rate::FramesPerStill(4.0)), ..back(at_line, at, 1.0) };
    let keys = vec![
        rate(31, Moment::End, Rate::FramesPerStill(4.0)),
        freeze(32, Moment::Part(0.9), 0.5),
        quarter(33, Moment::Still(3)),
        rate(34, Moment::Part(0.75), Rate::FramesPerStill(4.0)),
        quarter(35, Moment::Start),
    ];
    shot.pace = keyed(keys, None);
    let plan = plan(&shot, &shoot(6));
    let rows = &plan.deliveries[0].rows;
    assert_eq!(rows.len(), 24 + 16 + 12 + 10 + 18);
    for (frame, row) in rows.iter().enumerate() {
        let middle: f64 = row.shares().map(|share| share.shown.0 as f64 * f64::from(share.weight) / 65_536.0).sum();
        assert!((middle - row.position.min(5.0)).abs() < 1e-4, "frame {frame}: {middle} at {}", row.position);
    }
}

#[test]
fn what_is_invented_between_two_stills_is_the_same_whichever_way_the_pace_runs() {
    let mut shot = blended(Rate::FramesPerStill(4.0), 0.0, Between::Motion);
    let quarter = PaceKey { rate: Some(Rate::FramesPerStill(4.0)), ..back(32, Moment::Start, 1.0) };
    shot.pace = keyed(vec![rate(31, Moment::End, Rate::FramesPerStill(4.0)), quarter], None);
    let plan = plan(&shot, &shoot(6));
    let rows = &plan.deliveries[0].rows;
    let seen: Vec<_> =
        rows.iter().map(|row| (row.position, row.shares().collect::<Vec<_>>(), row.layers.are_invented())).collect();
    // It turns after 24 frames, so frames 24 - n and 24 + n stand at the same position.
    assert_eq!(seen.len(), 48);
    for ahead in 1..24 {
        let (there, back) = (&seen[24 - ahead], &seen[24 + ahead]);
        assert!((there.0 - back.0).abs() < 1e-9);
        assert_eq!((&there.1, there.2), (&back.1, back.2), "{ahead} frames from the turn");
        assert_eq!(there.2, there.0 < 5.0 && ahead % 4 != 0, "{ahead} frames from the turn");
    }
}

#[test]
fn held_slots_count_with_the_still_shown_in_their_place() {
    let mut shoot = shoot(8);
    lose(&mut shoot, 2);
    spoil(&mut shoot, 5);
    let mut shot = blended(Rate::StillsPerFrame(4.0), 360.0, Between::Nearest);
    (shot.source.missing, shot.source.damaged) = (Policy::Hold, Policy::Hold);
    let held = plan(&shot, &shoot);
    assert_eq!(stills(&held, 0), ["1:500 3:250 4:250", "4:250 6:250 7:250 8:250"]);
    let stand_ins: Vec<_> =
        held.deliveries[0].rows[1].shares().map(|share| share.stand_in.map(|slot| slot.0 + 1)).collect();
    assert_eq!(stand_ins, [Some(3), Some(4), Some(6), Some(7)]);
    assert_eq!((held.tally.used, held.tally.passed_over), (6, 0));
    (shot.source.missing, shot.source.damaged) = (Policy::Skip, Policy::Skip);
    assert_eq!(stills(&plan(&shot, &shoot), 0), ["1:250 3:250 4:250 6:250", "7:500 8:500"]);
}

#[test]
fn the_table_the_summary_and_the_json_tell_of_several_stills_only_where_there_are() {
    let plain = plan(&blended(Rate::FramesPerStill(2.0), 0.0, Between::Nearest), &shoot(3));
    assert!(!plan::text(&plain).contains("..") && !plan::summary(&plain).contains("means of"));
    assert!(!serde_json::to_string(&plain).unwrap().contains("\"blend\""));
    let mixed = plan(&blended(Rate::FramesPerStill(2.0), 0.0, Between::Mix), &shoot(3));
    let column: Vec<String> = plan::text(&mixed)
        .lines()
        .skip(2)
        .filter_map(|line| line.split_whitespace().nth(3).map(str::to_owned))
        .collect();
    assert_eq!(column, ["1", "1..2", "2", "2..3", "3", "3"]);
    assert!(plan::summary(&mixed).contains("; 2 frames are means of several stills, of up to 2"));
    let json: serde_json::Value = serde_json::to_value(&mixed.deliveries[0].rows[1]).unwrap();
    assert_eq!(json["blend"][1], serde_json::json!({ "shown": 1, "stand_in": null, "weight": 32_768 }));
}

#[test]
fn a_cadence_that_blending_evens_out_is_no_remark() {
    let remarks =
        |shutter, between| written(&plan(&blended(Rate::FramesPerStill(1.5), shutter, between), &shoot(40)).remarks);
    assert!(remarks(0.0, Between::Nearest).contains("uneven cadence"));
    assert!(remarks(180.0, Between::Nearest).contains("uneven cadence"));
    assert_eq!(remarks(360.0, Between::Nearest), "");
    assert_eq!(remarks(0.0, Between::Mix), "");
    assert!(!remarks(0.0, Between::Motion).contains("uneven"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn weights_of_every_frame_add_up_and_what_is_shown_never_steps_back(
        paced in proptest::collection::vec((1_i64..40, 0.02..9.0_f64, proptest::bool::ANY), 1..5),
        shutter in prop_oneof![Just(0.0), 0.0..1440.0_f64],
        mixed in proptest::bool::ANY,
        lost in proptest::collection::vec(2_usize..200, 0..30),
    ) {
        let mut shot = blended(Rate::StillsPerFrame(1.0), shutter, if mixed { Between::Mix } else { Between::Nearest });
        shot.source.missing = Policy::Hold;
        let mut number = 0;
        let keys = paced.into_iter().map(|(gap, per_frame, leap)| {
            number += gap;
            let mut key = rate(31, Moment::Still(number), Rate::StillsPerFrame(per_frame));
            if leap {
                key.ease = stillpath::curve::ease::Ease::Steps { count: 1, jump: stillpath::curve::ease::Jump::End };
            }
            key
        });
        shot.pace = keyed(keys.collect(), None);
        let mut shoot = shoot(200);
        lost.iter().for_each(|number| lose(&mut shoot, *number));
        let plan = plan(&shot, &shoot);
        let mut last = 0.0;
        for row in &plan.deliveries[0].rows {
            prop_assert_eq!(row.shares().map(|share| share.weight).sum::<u32>(), 65_536);
            prop_assert_eq!(row.layers.are_several(), row.shares().count() > 1);
            let shown: Vec<_> = row.shares().map(|share| share.shown).collect();
            prop_assert!(shown.is_sorted_by(|a, b| a < b));
            let middle: f64 = row.shares().map(|share| share.shown.0 as f64 * f64::from(share.weight) / 65_536.0).sum();
            // Held stills move the middle about, and weights are whole.
            prop_assert!(!lost.is_empty() || middle > last - 0.01, "{} after {}", middle, last);
            last = middle;
        }
    }

    #[test]
    fn a_pace_that_turns_about_steps_no_further_than_it_runs(
        turns in proptest::collection::vec((1.0..60.0_f64, 0.02..1.0_f64), 1..6),
        shutter in prop_oneof![Just(0.0), 0.0..1440.0_f64],
    ) {
        let mut shot = blended(Rate::StillsPerFrame(1.0), shutter, Between::Mix);
        let mut position: f64 = 0.0;
        let mut keys = Vec::new();
        for (index, (way, per_frame)) in turns.iter().enumerate() {
            let backwards = index % 2 == 1;
            let to = if backwards { position - way } else { position + way }.clamp(0.0, 80.0);
            if (to - position).abs() < 0.01 {
                continue;
            }
            position = to;
            keys.push(PaceKey { reverse: backwards, ..rate(31, Moment::Part(position / 80.0), Rate::StillsPerFrame(*per_frame)) });
        }
        shot.pace = keyed(keys, None);
        let plan = plan(&shot, &shoot(80));
        let rows = &plan.deliveries[0].rows;
        let mut last: Option<f64> = None;
        for row in rows {
            prop_assert_eq!(row.shares().map(|share| share.weight).sum::<u32>(), 65_536);
            let shown: Vec<_> = row.shares().map(|share| share.shown).collect();
            let in_order = |way: std::cmp::Ordering| shown.windows(2).all(|pair| pair[0].cmp(&pair[1]) == way);
            prop_assert!(in_order(std::cmp::Ordering::Less) || in_order(std::cmp::Ordering::Greater));
            let middle: f64 = row.shares().map(|share| share.shown.0 as f64 * f64::from(share.weight) / 65_536.0).sum();
            // Rates are up to a still a frame; a span that changes its length at a change of rate adds as much again.
            prop_assert!(last.is_none_or(|last| (middle - last).abs() < 2.1), "{} after {:?}", middle, last);
            prop_assert!(shutter > 360.0 || (middle - row.position.min(79.0)).abs() < 1e-3, "{} at {}", middle, row.position);
            last = Some(middle);
        }
    }
}

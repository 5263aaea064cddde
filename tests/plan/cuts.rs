//! Cuts: stills left out take no time, show nowhere, and hold no key.

use stillpath::diag::Placed;
use stillpath::shot::{Cut, Moment, Pace, Policy, Rate};

use super::build::*;

/// A cut on a line of its own.
fn cut(at_line: u32, from: Moment, to: Moment) -> Cut {
    Cut { place: line(at_line), from, to }
}

fn stills(from: i64, to: i64) -> [Moment; 2] {
    [Moment::Still(from), Moment::Still(to)]
}

fn cuts(given: &[(u32, i64, i64)]) -> Vec<Cut> {
    let one = |(at_line, from, to): &(u32, i64, i64)| {
        let [from, to] = stills(*from, *to);
        cut(*at_line, from, to)
    };
    given.iter().map(one).collect()
}

#[test]
fn several_cuts_leave_out_their_stills_with_both_ends_and_the_sum_comes_out() {
    let (mut shot, mut shoot) = (shot(), shoot(20));
    shot.source.missing = Policy::Hold;
    // Within a cut, before one, and after one.
    for number in [4, 11, 18] {
        lose(&mut shoot, number);
    }
    shot.source.cuts = cuts(&[(22, 12, 17), (21, 3, 5)]);
    shot.source.to = Some(Placed::new(Moment::Still(19), line(2)));
    let plan = plan(&shot, &shoot);
    assert_eq!(shown(&plan), [1, 2, 6, 7, 8, 9, 10, 10, 10, 19], "a held slot never shows a still that was cut");
    let tally = &plan.tally;
    assert_eq!((tally.used, tally.outside_part, tally.cut, tally.missing.len()), (8, 1, 9, 2));
    assert_eq!(
        tally.used + tally.passed_over + tally.outside_part + tally.cut + tally.damaged.len() + tally.missing.len(),
        20
    );
    assert!(
        stillpath::plan::summary(&plan)
            .contains("stills: 20 = 8 used + 1 outside the part used + 9 left out by cuts + 2 missing")
    );
}

#[test]
fn what_is_cut_may_be_missing_or_damaged() {
    let (mut shot, mut shoot) = (shot(), shoot(10));
    lose(&mut shoot, 4);
    spoil(&mut shoot, 5);
    shot.source.cuts = cuts(&[(21, 4, 5)]);
    assert_eq!(shown(&plan(&shot, &shoot)), [1, 2, 3, 6, 7, 8, 9, 10]);
}

#[test]
fn a_night_is_cut_by_the_clock_and_the_totals_are_exact() {
    let mut shot = shot();
    // Two days of a still every ten minutes from six in the morning.
    let shoot = shoot_every(288, "2031-05-04T06:00:00", 600.0);
    shot.source.cuts = vec![cut(21, clock("2031-05-04 22:00"), clock("2031-05-05 04:50"))];
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    let plan = plan(&shot, &shoot);
    // 22:00 to 04:50, both ends: 42 stills. 246 are left, two frames each at 24.
    assert_eq!((plan.tally.cut, plan.tally.used), (42, 246));
    assert_eq!((plan.length, plan.deliveries[0].rows.len()), (20.5, 492));
    assert_eq!(plan.deliveries[0].rows[192].slot.0, 138, "05:00 comes right after 21:50");
}

#[test]
fn keys_keep_to_their_stills_across_a_cut() {
    let (mut shot, shoot) = (shot(), shoot(100));
    shot.framing.keys = vec![on(11, Moment::Still(1), (0.5, 0.5), 1.0), on(12, Moment::Still(80), (0.25, 0.5), 4.0)];
    let at_80 = |shot: &stillpath::shot::Shot| {
        let plan = plan(shot, &shoot);
        plan.deliveries[0].rows.iter().find(|row| row.slot.0 == 79).unwrap().window
    };
    let whole = at_80(&shot);
    shot.source.cuts = cuts(&[(21, 10, 50)]);
    assert_eq!(at_80(&shot), whole);
}

#[test]
fn a_key_inside_a_cut_is_refused_with_both_lines_in_a_pace_and_in_a_framing() {
    let (mut shot, shoot) = (shot(), shoot(30));
    shot.source.cuts = cuts(&[(21, 10, 20)]);
    shot.framing.keys = vec![
        on(11, Moment::Still(9), (0.5, 0.5), 1.0),
        on(12, Moment::StillNamed("STIL0010".into()), (0.5, 0.5), 1.0),
        on(13, Moment::Still(21), (0.5, 0.5), 1.0),
    ];
    let help = "[the nearest still used is still(9), STIL0009]";
    let framing = format!(
        "mistake shot.lua:12: still(10), STIL0010, lies inside a cut: it is never shown (shot.lua:21 the cut) {help}\n"
    );
    assert_eq!(refused(&shot, &shoot), framing);
    shot.pace = keyed(
        vec![
            rate(31, Moment::Start, Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Still(20), Rate::StillsPerFrame(2.0)),
        ],
        None,
    );
    let pace = format!(
        "mistake shot.lua:32: still(20), STIL0020, lies inside a cut: it is never shown (shot.lua:21 the cut) {help}\n"
    );
    assert_eq!(refused(&shot, &shoot), pace + &framing);
}

#[test]
fn cuts_that_overlap_are_empty_or_leave_nothing_are_refused() {
    let (mut shot, shoot) = (shot(), shoot(30));
    shot.source.cuts = cuts(&[(21, 10, 20), (22, 20, 25)]);
    let overlap = "mistake shot.lua:22: two cuts overlap: one runs to still(20), the other begins at still(20) \
                   (shot.lua:21 the other cut) [make one cut of the two]\n";
    assert_eq!(refused(&shot, &shoot), overlap);
    shot.source.cuts = cuts(&[(21, 20, 10)]);
    let empty = "mistake shot.lua:21: 'from' is still(20) and 'to' is still(10): nothing lies between them \
                 [a cut needs the earlier moment first]\n";
    assert_eq!(refused(&shot, &shoot), empty);
    shot.source.cuts = vec![cut(21, Moment::Start, Moment::Still(12)), cut(22, Moment::Still(13), Moment::End)];
    assert_eq!(
        refused(&shot, &shoot),
        "mistake shot.lua:21: the cuts leave nothing: the shoot's 30 slots are all in them\n"
    );
    shot.source.cuts = vec![cut(21, Moment::Still(3), Moment::Still(99)), cut(22, Moment::Part(f64::NAN), Moment::End)];
    let refused = refused(&shot, &shoot);
    assert!(refused.contains("shot.lua:21: there is no still(99)"), "{refused}");
    assert!(refused.contains("shot.lua:22: part takes a fraction from 0 (start) to 1 (end); seen NaN"), "{refused}");
}

#[test]
fn a_cut_outside_the_part_that_is_used_is_remarked_on() {
    let (mut shot, shoot) = (shot(), shoot(30));
    shot.source.from = Some(Placed::new(Moment::Still(11), line(2)));
    shot.source.cuts = cuts(&[(21, 5, 10), (22, 29, 30)]);
    let plan = plan(&shot, &shoot);
    assert_eq!((plan.tally.outside_part, plan.tally.cut, plan.tally.used), (10, 2, 18));
    let expected = "remark shot.lua:21: this cut lies outside the part from 'from' to 'to': it has no effect\n";
    assert_eq!(written(&plan.remarks), expected);
}

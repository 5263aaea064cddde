//! Freezes and reversed sections, and keys that hold to their stills whatever the pace.

use stillpath::curve::ease::Ease;
use stillpath::diag::Placed;
use stillpath::geom::Window;
use stillpath::shot::{Moment, Pace, PaceKey, Rate, Shot};

use super::build::*;

fn frozen(key: PaceKey, seconds: f64) -> PaceKey {
    PaceKey { freeze: Some(seconds), ..key }
}

fn steady(at_line: u32, at: Moment) -> PaceKey {
    rate(at_line, at, Rate::StillsPerFrame(1.0))
}

#[test]
fn a_freeze_shows_its_still_for_exactly_its_seconds_more() {
    let mut shot = shot();
    shot.pace =
        keyed(vec![rate(31, Moment::Start, Rate::FramesPerStill(2.0)), freeze(32, Moment::Still(41), 1.5)], None);
    let plan = plan(&shot, &shoot(100));
    assert_eq!((plan.length, plan.deliveries[0].rows.len()), (100.0 / 12.0 + 1.5, 236));
    let shown = shown(&plan);
    for still in 1..=100 {
        let frames = shown.iter().filter(|shown| **shown == still).count();
        assert_eq!(frames, if still == 41 { 2 + 36 } else { 2 }, "still {still}");
    }
    assert!(shown.is_sorted() && plan.remarks.is_empty(), "{}", written(&plan.remarks));
}

#[test]
fn a_key_at_a_frozen_still_comes_when_it_is_first_shown() {
    let mut shot = shot();
    shot.pace = keyed(vec![steady(31, Moment::Start), freeze(32, Moment::Still(49), 2.0)], None);
    shot.framing.keys = vec![on(11, Moment::Still(49), (0.5, 0.5), 1.0), on(12, Moment::Screen(4.0), (0.5, 0.5), 2.0)];
    let plan = plan(&shot, &shoot(96));
    let widths: Vec<f64> = plan.deliveries[0].rows.iter().map(|row| row.window.width).collect();
    assert_eq!((widths[48], widths[96]), (4000.0, 2000.0));
    assert!((widths[72] - 4000.0 / 2.0_f64.sqrt()).abs() < 1e-9, "the window moves while the shoot rests");
}

#[test]
fn a_length_past_the_shoots_end_is_allowed_where_a_freeze_fills_it() {
    let mut shot = shot();
    shot.length = Some(Placed::new(7.0, line(7)));
    shot.pace = keyed(vec![steady(31, Moment::Start), freeze(32, Moment::End, 2.0)], None);
    let last = |plan: &stillpath::plan::Plan| plan.deliveries[0].rows[119..].iter().all(|row| row.shown.0 == 119);
    let filled = plan(&shot, &shoot(120));
    assert!((filled.length, filled.deliveries[0].rows.len()) == (7.0, 168) && last(&filled));
    assert!(filled.remarks.is_empty(), "{}", written(&filled.remarks));
    // Half of the freeze, and too little of one.
    shot.length = Some(Placed::new(6.0, line(7)));
    assert_eq!(plan(&shot, &shoot(120)).deliveries[0].rows.len(), 144);
    shot.length = Some(Placed::new(7.5, line(7)));
    assert!(
        refused(&shot, &shoot(120)).contains("the shoot ends after 7 s at this pace, but the length asks for 7.5 s")
    );
}

#[test]
fn a_freeze_counts_in_a_fit_and_one_that_exceeds_it_is_refused() {
    let mut shot = shot();
    let keys = vec![steady(31, Moment::Start), frozen(rate(32, Moment::Still(61), Rate::StillsPerFrame(3.0)), 4.0)];
    shot.pace = keyed(keys.clone(), Some(10.0));
    let plan = plan(&shot, &shoot(100));
    assert_eq!((plan.length, plan.deliveries[0].rows.len()), (10.0, 240));
    assert!(shown(&plan).iter().filter(|still| **still == 61).count() >= 96);
    shot.pace = keyed(keys, Some(4.0));
    let expected =
        "mistake shot.lua:4: the sections marked keep and the freezes already last 4 s, but fit asks for 4 s in all";
    assert!(refused(&shot, &shoot(100)).starts_with(expected));
}

#[test]
fn seconds_of_a_pace_on_screen_count_its_freezes() {
    let mut shot = shot();
    let keys = |second: f64| {
        vec![frozen(steady(31, Moment::Screen(1.0)), 2.0), rate(32, Moment::Screen(second), Rate::StillsPerFrame(2.0))]
    };
    shot.pace = keyed(keys(3.0), None);
    let plan = plan(&shot, &shoot(72));
    let positions: Vec<f64> =
        [24, 25, 72, 73, 95].iter().map(|frame| plan.deliveries[0].rows[*frame].position).collect();
    assert_eq!(positions.iter().map(|position| position.round()).collect::<Vec<_>>(), [24.0, 24.0, 24.0, 26.0, 70.0]);
    assert_eq!(plan.deliveries[0].rows.len(), 96);
    shot.pace = keyed(keys(2.5), None);
    let expected = "mistake shot.lua:32: this key of the pace is at 2.5 s, inside the freeze above it, which lasts until 3 s \
                    (shot.lua:31 the freeze) [seconds in a pace are the clip's, freezes included: at = 3 or later]\n";
    assert_eq!(refused(&shot, &shoot(72)), expected);
}

#[test]
fn a_reversed_section_shows_every_still_its_share_and_no_still_twice_as_long() {
    let mut shot = shot();
    shot.pace =
        keyed(vec![steady(31, Moment::Still(5)), back(32, Moment::Still(3), 1.0), steady(33, Moment::End)], None);
    let there = plan(&shot, &shoot(6));
    assert_eq!(shown(&there), [1, 2, 3, 4, 4, 3, 3, 4, 5, 6]);
    let positions: Vec<f64> = there.deliveries[0].rows.iter().map(|row| row.position).collect();
    let due = [0.0, 1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 3.0, 4.0, 5.0];
    assert!(positions.iter().zip(due).all(|(seen, due)| (seen - due).abs() < 1e-12), "{positions:?}");
    assert!(there.remarks.is_empty(), "{}", written(&there.remarks));
    // The whole shoot backwards: half as many stills a frame, and a still that is held.
    shot.pace = keyed(vec![back(31, Moment::Start, 0.5)], None);
    assert_eq!(shown(&plan(&shot, &shoot(3))), [3, 3, 2, 2, 1, 1]);
}

#[test]
fn a_pace_that_turns_back_for_good_says_what_it_never_reaches() {
    let mut shot = shot();
    shot.pace = keyed(vec![steady(31, Moment::Still(5)), back(32, Moment::Start, 1.0)], None);
    let turned = plan(&shot, &shoot(10));
    assert_eq!(shown(&turned), [1, 2, 3, 4, 4, 3, 2, 1]);
    assert_eq!((turned.tally.used, turned.tally.passed_over), (4, 6));
    let expected =
        "remark shot.lua:3: the pace turns back before the shoot's end: 6 stills from STIL0005 on are never reached\n";
    assert_eq!(written(&turned.remarks), expected);
    shot.framing.keys = vec![on(11, Moment::Still(8), (0.5, 0.5), 1.0)];
    let expected = "mistake shot.lua:11: this key is never reached: the pace turns back before it \
                    [the pace comes 4 stills into the shoot: a moment before that, or another turn]\n";
    assert_eq!(refused(&shot, &shoot(10)), expected);
    shot.framing.keys.clear();
    shot.pace = keyed(vec![back(31, Moment::Start, 1.0)], None);
    shot.length = Some(Placed::new(0.25, line(7)));
    let cut_short = plan(&shot, &shoot(10));
    assert_eq!(shown(&cut_short), [10, 9, 8, 7, 6, 5]);
    let expected = "remark shot.lua:7: the clip ends at 0.25 s, before the shoot does: 4 stills up to STIL0004 are never reached\n";
    assert_eq!(written(&cut_short.remarks), expected);
}

#[test]
fn keys_turned_about_are_refused_with_what_to_type() {
    let mut shot = shot();
    shot.pace = keyed(vec![steady(31, Moment::Still(3)), back(32, Moment::Still(6), 1.0)], None);
    let expected = "mistake shot.lua:32: this key of the pace is at position 5, after the key above it at position 2 \
                    (shot.lua:31 the key above it) \
                    [reverse = true runs the way to a key backwards, to a still before the key above it]\n";
    assert_eq!(refused(&shot, &shoot(10)), expected);
    shot.pace = keyed(vec![steady(31, Moment::Still(6)), steady(32, Moment::Still(3))], None);
    assert!(refused(&shot, &shoot(10)).contains("[reverse = true in this key runs the way to it backwards]"));
    // A key that only freezes lies on the way to the rate after it.
    let keys =
        |freeze_at| vec![steady(31, Moment::Still(8)), freeze(32, freeze_at, 1.0), back(33, Moment::Still(2), 1.0)];
    shot.pace = keyed(keys(Moment::Still(5)), None);
    let frozen = shown(&plan(&shot, &shoot(10)));
    assert_eq!(frozen[..10], [1, 2, 3, 4, 5, 6, 7, 7, 6, 5]);
    assert!(frozen[10..34].iter().all(|still| *still == 5) && frozen[34] == 4);
    shot.pace = keyed(keys(Moment::Still(9)), None);
    assert!(
        refused(&shot, &shoot(10)).starts_with("mistake shot.lua:32: this key of the pace is at position 8, after")
    );
}

#[test]
fn two_keys_at_one_moment_and_freezes_and_rates_that_are_none_are_refused() {
    let mut shot = shot();
    let mut said = |keys: Vec<PaceKey>| {
        shot.pace = keyed(keys, None);
        refused(&shot, &shoot(10))
    };
    for again in [
        steady(32, Moment::Still(4)),
        freeze(32, Moment::StillNamed("STIL0004".into()), 1.0),
        back(32, Moment::Still(4), 1.0),
    ] {
        let said = said(vec![steady(31, Moment::Still(4)), again]);
        assert!(
            said.starts_with(
                "mistake shot.lua:32: two keys of the pace are at the same moment, position 3 (shot.lua:31"
            ),
            "{said}"
        );
    }
    for seconds in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let said = said(vec![steady(31, Moment::Start), freeze(32, Moment::Still(4), seconds)]);
        assert!(said.starts_with("mistake shot.lua:32: a freeze lasts above 0 s; seen "), "{said}");
    }
    assert!(
        said(vec![freeze(31, Moment::Start, 1.0)])
            .starts_with("mistake shot.lua:3: a pace needs at least one key with a rate")
    );
    let idle = PaceKey { rate: None, ..steady(32, Moment::Still(4)) };
    assert!(
        said(vec![steady(31, Moment::Start), idle])
            .contains("shot.lua:32: a key of a pace needs a rate, a freeze or both")
    );
    let aimless = PaceKey { reverse: true, ..freeze(32, Moment::Still(4), 1.0) };
    assert!(said(vec![steady(31, Moment::Start), aimless]).contains("shot.lua:32: reverse goes with a rate"));
    for none in [f64::NAN, 0.0, -2.0] {
        let said = said(vec![
            steady(31, Moment::Start),
            rate(32, Moment::Still(4), Rate::Times(none)),
            back(33, Moment::Start, none),
        ]);
        assert!(
            said.contains("shot.lua:32: times needs") && said.contains("shot.lua:33: a rate must be above 0"),
            "{said}"
        );
    }
}

/// The window in the first frame that shows a slot (from 1).
fn window_at(shot: &Shot, shoot: &stillpath::shoot::Shoot, number: usize) -> Window {
    plan(shot, shoot).deliveries[0].rows.iter().find(|row| row.slot.0 + 1 == number).unwrap().window
}

#[test]
fn keys_on_the_shoots_axis_hold_to_their_stills_when_pace_rate_and_fit_change() {
    let shoot = shoot_every(240, "2031-05-04T14:00:00", 60.0);
    let mut shot = shot();
    let eased = |mut key: stillpath::shot::FramingKey| {
        key.ease = Ease::keyword("ease-in-out").unwrap();
        key
    };
    shot.framing.keys = vec![
        on(11, Moment::Still(25), (0.5, 0.5), 1.5),
        eased(on(12, clock("15:36"), (0.3, 0.6), 4.0)),
        eased(on(13, Moment::StillNamed("STIL0193".into()), (0.7, 0.4), 2.0)),
    ];
    let due = [25, 97, 193].map(|number| window_at(&shot, &shoot, number));
    assert!((due[0].width / due[1].width - 4.0 / 1.5).abs() < 1e-9 && (due[2].width - 2000.0).abs() < 1e-9);
    let stills = |number, per_frame| rate(30, Moment::Still(number), Rate::StillsPerFrame(per_frame));
    let held = stillpath::curve::ease::Ease::Steps { count: 1, jump: stillpath::curve::ease::Jump::End };
    let stepped = |number, per_frame| PaceKey { ease: held.clone(), ..stills(number, per_frame) };
    for (name, rate, pace) in [
        ("slower", "24", Placed::new(Pace::Constant(Rate::FramesPerStill(2.0)), line(3))),
        ("at 30 a second, three frames a still", "30", Placed::new(Pace::Over(24.0), line(3))),
        ("in steps", "24", keyed(vec![stills(1, 2.0), stepped(49, 0.5), stepped(193, 4.0)], None)),
        ("fitted, with a freeze", "30", keyed(vec![stills(1, 2.0), freeze(31, Moment::Still(97), 2.0)], Some(10.0))),
    ] {
        shot.deliveries = vec![delivery("wide", 1920, 1080, rate)];
        shot.pace = pace;
        for (number, due) in [25, 97, 193].into_iter().zip(due) {
            let seen = window_at(&shot, &shoot, number);
            let apart = [seen.x - due.x, seen.y - due.y, seen.width - due.width, seen.height - due.height];
            assert!(apart.iter().all(|apart| apart.abs() < 1e-6), "{name}, still {number}: {seen:?} for {due:?}");
        }
    }
    // Backwards the same keys come in the other order, each when its still is first shown.
    shot.framing.keys.reverse();
    shot.framing.keys.retain(|key| !matches!(key.at, Moment::Clock(_)));
    shot.deliveries = vec![delivery("wide", 1920, 1080, "24")];
    shot.pace = keyed(vec![back(31, Moment::Start, 1.0)], None);
    assert_eq!([25, 193].map(|number| window_at(&shot, &shoot, number)), [due[0], due[2]]);
}

/// From fifty times a still a frame down to real time, over stills taken every twelve seconds.
#[test]
fn a_ramp_from_5000_percent_down_to_real_time_keeps_to_its_closed_form_on_both_axes() {
    let shoot = shoot_every(3000, "2031-05-04T06:00:00", 12.0);
    // 1200 stills a second, and one in twelve seconds.
    let (fast, slow) = (1200.0, 1.0 / 12.0);
    let mut shot = shot();
    shot.length = Some(Placed::new(40.0, line(7)));
    shot.pace = keyed(
        vec![rate(31, Moment::Screen(0.0), Rate::Percent(5000.0)), rate(32, Moment::Screen(4.0), Rate::Times(1.0))],
        None,
    );
    for (frame, row) in plan(&shot, &shoot).deliveries[0].rows.iter().enumerate() {
        let time = frame as f64 / 24.0;
        let ramped = time.min(4.0);
        let due = fast * ramped + (slow - fast) * ramped * ramped / 8.0 + slow * (time - ramped);
        assert!((row.position - due).abs() <= 1e-6, "frame {frame}: {} for {due}", row.position);
    }
    shot.pace = keyed(
        vec![rate(31, Moment::Start, Rate::Percent(5000.0)), rate(32, Moment::Still(2401), Rate::Times(1.0))],
        None,
    );
    let slope = (slow - fast) / 2400.0;
    let ramp = (slow / fast).ln() / slope;
    for (frame, row) in plan(&shot, &shoot).deliveries[0].rows.iter().enumerate() {
        let time = frame as f64 / 24.0;
        let due = if time < ramp { fast * (slope * time).exp_m1() / slope } else { 2400.0 + slow * (time - ramp) };
        assert!((row.position - due).abs() <= 1e-6, "frame {frame}: {} for {due}", row.position);
    }
}

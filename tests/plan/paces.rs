//! Paces as a script says them: units, fits, lengths, and what is refused.

use stillpath::curve::ease::Ease;
use stillpath::diag::Placed;
use stillpath::resolve::When;
use stillpath::shot::{Moment, Pace, Rate, Shot};

use super::build::*;

#[test]
fn two_frames_a_still_show_every_still_exactly_twice_for_ten_thousand_frames() {
    let mut shot = shot();
    shot.fps = fps("30000/1001");
    shot.deliveries = vec![delivery("wide", 1920, 1080, "30000/1001")];
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    let plan = plan(&shot, &shoot(5000));
    let expected: Vec<usize> = (0..10_000).map(|frame| frame / 2 + 1).collect();
    assert_eq!(shown(&plan), expected);
    assert!(plan.remarks.is_empty(), "{}", written(&plan.remarks));
}

#[test]
fn thirds_of_a_still_stay_exact() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(3.0));
    let expected: Vec<usize> = (0..9000).map(|frame| frame / 3 + 1).collect();
    assert_eq!(shown(&plan(&shot, &shoot(3000))), expected);
}

#[test]
fn every_unit_of_rate_means_what_it_says() {
    let shoot = shoot_every(240, "2031-05-04T14:00:00", 5.0);
    for (rate, length) in [
        (Rate::StillsPerFrame(2.0), 5.0),
        (Rate::FramesPerStill(2.0), 20.0),
        (Rate::Percent(50.0), 20.0),
        (Rate::Percent(400.0), 2.5),
        // Twenty minutes of stills at 60 times real time.
        (Rate::Times(60.0), 20.0),
    ] {
        let mut shot = shot();
        shot.pace.value = Pace::Constant(rate);
        assert_eq!(plan(&shot, &shoot).length, length, "{rate:?}");
    }
}

#[test]
fn times_needs_capture_times_or_an_interval() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::Times(60.0));
    assert!(refused(&shot, &shoot(10)).contains("times needs capture times or an interval"));
    shot.source.interval = Some(6.0);
    assert_eq!(plan(&shot, &shoot(10)).length, 1.0);
}

#[test]
fn a_pace_that_does_not_move_is_refused() {
    for rate in
        [Rate::StillsPerFrame(0.0), Rate::FramesPerStill(-2.0), Rate::Percent(f64::NAN), Rate::FramesPerStill(1e300)]
    {
        let mut shot = shot();
        shot.pace.value = Pace::Constant(rate);
        let refused = refused(&shot, &shoot(10));
        assert!(refused.contains("mistake shot.lua:3: a rate must be above 0: a pace always moves"), "{refused}");
    }
    let mut shot = shot();
    shot.pace.value = Pace::Over(-1.0);
    assert!(refused(&shot, &shoot(10)).contains("over takes seconds above 0; seen -1"));
}

#[test]
fn a_clip_of_more_than_a_day_is_refused_before_a_row_is_made() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(1e6));
    assert!(refused(&shot, &shoot(10)).contains("a clip lasts at most a day (86400 s); this pace makes 416666.667 s"));
}

#[test]
fn a_ramp_between_two_stills_is_timed_by_its_logarithm() {
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Still(1), Rate::StillsPerFrame(4.0)),
            rate(32, Moment::Still(97), Rate::StillsPerFrame(1.0)),
        ],
        None,
    );
    // From 96 to 24 stills a second over 96 stills: 96 ln(4) / 72 s, then three stills at 24.
    let plan = plan(&shot, &shoot(99));
    assert!((plan.length - (96.0 * 4.0_f64.ln() / 72.0 + 3.0 / 24.0)).abs() < 1e-12);
    let rows = &plan.deliveries[0].rows;
    // dp/dt = 96 - 3 p / 4: p = 128 (1 - e^(-3 t / 4)), here after a second.
    assert!((rows[24].position - 128.0 * (1.0 - (-0.75_f64).exp())).abs() < 1e-9);
}

#[test]
fn a_ramp_on_screen_time_gains_the_area_under_it() {
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Screen(0.0), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Screen(2.0), Rate::StillsPerFrame(2.0)),
        ],
        None,
    );
    let plan = plan(&shot, &shoot(120));
    // 24 t + 6 t²: 13.5 stills after half a second and 72 after two, then 48 a second.
    let rows = &plan.deliveries[0].rows;
    assert!((rows[12].position - 13.5).abs() < 1e-12 && (rows[48].position - 72.0).abs() < 1e-12);
    assert!((plan.length - 3.0).abs() < 1e-12);
}

#[test]
fn a_pace_keyed_on_both_axes_is_refused_with_both_lines() {
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Still(1), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Screen(2.0), Rate::StillsPerFrame(2.0)),
        ],
        None,
    );
    let expected = "mistake shot.lua:32: a pace is keyed on one axis: this key's moment is on the clip's, the first one's on \
                    the shoot's (shot.lua:31 the first key)\n";
    assert_eq!(refused(&shot, &shoot(10)), expected);
}

#[test]
fn pace_keys_out_of_order_are_refused_with_both_lines() {
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Still(6), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Still(3), Rate::StillsPerFrame(2.0)),
        ],
        None,
    );
    let refused = refused(&shot, &shoot(10));
    assert!(
        refused.contains("shot.lua:32: this key of the pace is at position 2, before the key above it at position 5")
    );
    assert!(refused.contains("(shot.lua:31 the key above it)"));
}

#[test]
fn an_overshooting_ease_that_stops_the_pace_is_refused_at_its_key() {
    let mut shot = shot();
    let mut key = rate(32, Moment::Still(8), Rate::StillsPerFrame(4.0));
    key.ease = Ease::CubicBezier { x1: 0.3, y1: -2.0, x2: 0.7, y2: 1.0 };
    shot.pace = keyed(vec![rate(31, Moment::Still(1), Rate::StillsPerFrame(1.0)), key], None);
    let refused = refused(&shot, &shoot(10));
    assert!(refused.contains("mistake shot.lua:32: the ease to this key takes the rate down to -"), "{refused}");
}

#[test]
fn a_fit_makes_the_clip_exactly_as_long_and_keeps_what_it_is_told() {
    let mut shot = shot();
    let mut kept = rate(34, Moment::Still(81), Rate::FramesPerStill(2.0));
    kept.keep = true;
    shot.pace = keyed(
        vec![
            rate(31, Moment::Still(1), Rate::StillsPerFrame(2.0)),
            rate(32, Moment::Still(41), Rate::StillsPerFrame(2.0)),
            rate(33, Moment::Still(61), Rate::FramesPerStill(2.0)),
            kept,
            rate(35, Moment::Still(101), Rate::StillsPerFrame(2.0)),
        ],
        Some(20.0),
    );
    let plan = plan(&shot, &shoot(120));
    assert_eq!((plan.length, plan.deliveries[0].rows.len()), (20.0, 480));
    let frames = plan.deliveries[0].rows.iter().filter(|row| (60.0..80.0).contains(&row.position)).count();
    assert_eq!(frames, 40);
    shot.pace.value = match shot.pace.value {
        Pace::Keyed { keys, .. } => Pace::Keyed { keys, fit: Some(Placed::new(1.5, line(4))) },
        other => other,
    };
    let refused = refused(&shot, &shoot(120));
    let expected = "mistake shot.lua:4: the sections marked keep already last 1.667 s, but fit asks for 1.5 s in all";
    assert!(refused.contains(expected), "{refused}");
}

#[test]
fn a_fit_on_screen_time_is_refused_but_for_an_even_pace() {
    let mut shot = shot();
    let keys = |second: f64| {
        vec![
            rate(31, Moment::Screen(0.0), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Screen(1.0), Rate::StillsPerFrame(second)),
        ]
    };
    shot.pace = keyed(keys(2.0), Some(10.0));
    assert!(refused(&shot, &shoot(100)).contains("mistake shot.lua:4: fit needs keys on the shoot's axis"));
    shot.pace = keyed(keys(1.0), Some(10.0));
    assert_eq!(plan(&shot, &shoot(100)).length, 10.0);
}

#[test]
fn a_freeze_that_fills_a_length_is_as_long_as_what_is_missing() {
    let mut shot = shot();
    shot.length = Some(Placed::new(20.0, line(7)));
    let said = refused(&shot, &shoot(96));
    assert!(said.contains("the shoot ends after 4 s") && said.contains("freeze = \"16s\""), "{said}");
}

#[test]
fn stills_never_reached_and_passed_over_come_to_what_the_tally_has() {
    // The last frame begins at 0.917 s: the clip's end lies in still 8, whose first frame would be the next one.
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(3.0));
    shot.length = Some(Placed::new(0.95, line(7)));
    shot.deliveries = vec![delivery("wide", 1920, 1080, "12")];
    let made = plan(&shot, &shoot(18));
    let expected = "remark shot.lua:7: the clip ends at 0.95 s, before the shoot does: 10 stills from STIL0009 on are never reached\n";
    assert!(written(&made.remarks).contains(expected), "{}", written(&made.remarks));
    assert!(stillpath::plan::summary(&made).contains("10 passed over"), "{}", stillpath::plan::summary(&made));
    // Without a length the pace steps over the last still as over the others.
    shot.length = None;
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(2.0));
    shot.deliveries = vec![delivery("wide", 1920, 1080, "24")];
    let made = plan(&shot, &shoot(10));
    assert!(written(&made.remarks).contains("5 of 10 stills are shown in no frame"), "{}", written(&made.remarks));
    assert!(stillpath::plan::summary(&made).contains("5 passed over"));
}

#[test]
fn a_key_of_a_pace_that_is_not_there_hides_no_other_mistake() {
    let mut shot = shot();
    let per_frame = Rate::StillsPerFrame(1.0);
    shot.pace = keyed(
        vec![
            rate(31, Moment::Still(1), per_frame),
            rate(32, Moment::Still(99), per_frame),
            rate(33, Moment::Still(50), Rate::StillsPerFrame(0.0)),
            rate(34, Moment::Still(20), per_frame),
            rate(35, Moment::Still(10), per_frame),
            rate(36, Moment::Screen(2.0), per_frame),
        ],
        Some(-1.0),
    );
    let said = refused(&shot, &shoot(60));
    for due in [
        "shot.lua:32: ",
        "shot.lua:33: a rate must be",
        "shot.lua:35: this key of the pace is at position 9, before",
        "shot.lua:36: a pace is keyed on one axis",
        "shot.lua:4: fit takes",
    ] {
        assert!(said.contains(due), "{due}\n{said}");
    }
    shot.pace = keyed(vec![rate(31, Moment::Start, per_frame)], None);
    shot.framing.keys = vec![
        on(11, Moment::Screen(99.0), (0.5, 0.5), 1.0),
        on(12, Moment::Screen(2.0), (0.5, 0.5), 1.0),
        on(13, Moment::Screen(1.0), (0.5, 0.5), 1.0),
    ];
    let said = refused(&shot, &shoot(60));
    assert!(said.contains("shot.lua:11: this key is past the end"), "{said}");
    assert!(said.contains("shot.lua:13: this key is at 1 s, before the key above it at 2 s"), "{said}");
}

#[test]
fn a_shorter_length_ends_the_clip_and_a_longer_one_is_refused() {
    let mut shot = shot();
    shot.length = Some(Placed::new(2.0, line(7)));
    let short = plan(&shot, &shoot(120));
    assert_eq!((short.length, short.deliveries[0].rows.len()), (2.0, 48));
    assert_eq!(
        written(&short.remarks),
        "remark shot.lua:7: the clip ends at 2 s, before the shoot does: 72 stills from STIL0049 on are never reached\n"
    );
    shot.length = Some(Placed::new(9.0, line(7)));
    let expected = "mistake shot.lua:7: the shoot ends after 5 s at this pace, but the length asks for 9 s (shot.lua:3 the pace) \
                    [pace = over \"9s\" makes the whole shoot last that long] [or length = \"5s\" at most] \
                    [or a freeze fills it: pace = pace { key { at = \"start\", rate = stills_per_frame(1) }, key { at = \"end\", freeze = \"4s\" } } rests on the last still]\n";
    assert_eq!(refused(&shot, &shoot(120)), expected);
    shot.length = Some(Placed::new(5.0, line(7)));
    assert!(plan(&shot, &shoot(120)).remarks.is_empty());
    shot.length = Some(Placed::new(0.0, line(7)));
    assert!(refused(&shot, &shoot(120)).contains("a length must be above 0 s; seen 0"));
}

#[test]
fn the_last_still_keeps_its_share() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(5.0));
    let shown = shown(&plan(&shot, &shoot(3)));
    assert_eq!(shown, [1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 3, 3, 3, 3, 3]);
}

#[test]
fn more_frames_than_a_table_can_hold_are_refused_before_the_table_is_made() {
    let mut shot = shot();
    shot.pace.value = Pace::Over(86_400.0);
    shot.deliveries = vec![delivery("fast", 64, 36, "100"), delivery("slow", 64, 36, "24")];
    let refused = refused(&shot, &shoot(2));
    assert!(refused.contains("the deliveries come to 10713600 frames; at most 10000000 are planned"), "{refused}");
    shot.deliveries.pop();
    shot.pace.value = Pace::Over(360.0);
    assert_eq!(plan(&shot, &shoot(2)).deliveries[0].rows.len(), 36_000);
}

/// The only shot of a script of one line of pace, and what is said where there is none.
fn scripted(pace: &str) -> Result<Shot, String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("days.lua");
    let text = format!(
        "local moves = require 'moves'\nreturn shot {{ source = stills {{ 's' }}, pace = {pace},\n  deliveries = {{ delivery {{ 'wide', frame = {{ 1920, 1080 }} }} }} }}"
    );
    std::fs::write(&path, text).unwrap();
    let request = stillpath::script::Request { path, settings: Vec::new(), user_moves: None, user_purposes: None };
    match stillpath::script::run(&request) {
        Ok(script) => Ok(script.shots[0].clone()),
        Err(refused) => Err(written(&refused.diagnostics)),
    }
}

#[test]
fn a_day_cut_rushes_the_nights_between_dusk_and_dawn_and_no_other_time() {
    // Every ten minutes from noon for three days: three nights, of which each takes 60 stills.
    let shoot = shoot_every(432, "2031-05-04T12:00:00", 600.0);
    let rate = |shot: &Shot, text: &str| {
        let reasons =
            explain(shot, &shoot, 0, &When::Moment(clock(text))).unwrap_or_else(|found| panic!("{}", written(&found)));
        reasons.pace.rate / 24.0
    };
    let shot = scripted("moves.day_cut { nights = 3 }").unwrap();
    for (text, due) in [
        ("day 1 13:00", 1.0),
        ("day 1 19:50", 1.0),
        ("day 1 21:00", 20.0),
        ("day 2 01:00", 20.0),
        ("day 2 12:00", 1.0),
        ("day 3 01:00", 20.0),
        ("day 4 11:00", 1.0),
    ] {
        assert!((rate(&shot, text) / due - 1.0).abs() < 1e-6, "{text}: {}", rate(&shot, text));
    }
    // 252 stills of days at a frame each, and 180 of nights that fly by.
    let frames = plan(&shot, &shoot).deliveries[0].rows.len();
    assert!((255..280).contains(&frames), "{frames}");
    let fitted = scripted("moves.day_cut { night = stills_per_frame(4), nights = 2, first = 2, dusk = '23:45', dawn = '04:00', ramp = 20, fit = '10s' }").unwrap();
    assert_eq!(plan(&fitted, &shoot).deliveries[0].rows.len(), 240);
    // The ramp runs past midnight.
    assert!((rate(&fitted, "day 3 02:00") / rate(&fitted, "day 2 22:00") - 4.0).abs() < 1e-6);
    assert!((rate(&fitted, "day 2 02:00") / rate(&fitted, "day 2 22:00") - 1.0).abs() < 1e-6);
    assert!(refused(&scripted("moves.day_cut { nights = 4 }").unwrap(), &shoot).contains("the clock never shows"));
    let said = scripted("moves.day_cut { dusk = '8pm' }").unwrap_err();
    assert!(said.contains("days.lua:2") && said.contains("clock.time must be a time"), "{said}");
    let said = refused(&scripted("moves.day_cut {}").unwrap(), &super::build::shoot(20));
    assert!(said.contains("clock needs capture times"), "{said}");
}

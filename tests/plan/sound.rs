//! Where a recording's sound is heard, as passages of the plan.

use stillpath::curve::ease::Ease;
use stillpath::diag::Placed;
use stillpath::plan::{Passage, Plan};
use stillpath::shoot::{Orientation, RecordedSound, Recording, Shoot};
use stillpath::shot::{Cut, Moment, Pace, PaceKey, Policy, Rate, Shot, Sound};
use stillpath::units::Size;

use super::build::*;

/// A recording of so many frames at 30 a second, with sound.
fn recorded(frames: usize) -> Shoot {
    let mut shoot = shoot(frames);
    shoot.interval = Some(1.0 / 30.0);
    let ticks: Vec<i64> = (0..i64::try_from(frames).unwrap()).collect();
    shoot.recording = Some(Recording {
        path: "day.mp4".into(),
        bytes: 1,
        modified: 0,
        codec: "h264".into(),
        stored: Size::new(4000, 3000),
        aspect: (1, 1),
        orientation: Orientation::Upright,
        interlaced: false,
        time_base: (1, 30),
        sound: Some(RecordedSound { codec: "aac".into(), rate: 48_000, channels: 2, is_read: true }),
        clock: "none",
        rate: Some((30, 1)),
        seconds: (0..frames).map(|frame| f64::from(u32::try_from(frame).unwrap()) / 30.0).collect(),
        decoded: ticks.clone(),
        ticks,
        reordered: false,
        keys: Vec::new(),
        master: None,
    });
    shoot
}

/// A shot of such a recording that keeps its sound on line 7.
fn heard(pace: Placed<Pace>) -> Shot {
    let mut shot = shot();
    shot.pace = pace;
    shot.source.recorded = true;
    shot.deliveries[0].sound = Some(Placed::new(Sound::RealTime, line(7)));
    shot
}

fn times(at: Moment, times: f64) -> PaceKey {
    rate(11, at, Rate::Times(times))
}

fn eased(key: PaceKey, ease: &str) -> PaceKey {
    PaceKey { ease: Ease::keyword(ease).unwrap(), ..key }
}

/// The passages of the first delivery as `from..to recording in/out`, a line each.
fn passages(plan: &Plan) -> String {
    let written = |passage: &Passage| {
        let Passage { from, to, recording, fade_in, fade_out, .. } = passage;
        format!("{from:.3}..{to:.3} {recording:.3} {fade_in}/{fade_out}\n")
    };
    plan.deliveries[0].sound.iter().map(written).collect()
}

/// The passages of a pace over 20 s of recording, and what is said of the sound.
fn of(pace: Placed<Pace>) -> (String, String) {
    let plan = plan(&heard(pace), &recorded(600));
    (passages(&plan), said(&plan))
}

fn said(plan: &Plan) -> String {
    let about = |line: &&str| line.starts_with("remark shot.lua:7");
    written(&plan.remarks).lines().filter(about).map(|line| format!("{line}\n")).collect()
}

fn none() -> String {
    String::new()
}

#[test]
fn real_time_throughout_is_heard_throughout_with_the_shortest_fades() {
    let constant = |rate| Placed::new(Pace::Constant(rate), line(3));
    assert_eq!(of(constant(Rate::Times(1.0))), ("0.000..20.000 0.000 0.01/0.01\n".into(), none()));
    // 30 stills a second by the shot's rate of 24.
    assert_eq!(of(constant(Rate::StillsPerFrame(1.25))), ("0.000..20.000 0.000 0.01/0.01\n".into(), none()));
    assert_eq!(of(Placed::new(Pace::Over(20.0), line(3))), ("0.000..20.000 0.000 0.01/0.01\n".into(), none()));
}

#[test]
fn any_other_pace_is_silent_and_the_check_says_so() {
    for rate in [Rate::Times(2.0), Rate::Times(0.5), Rate::Percent(2000.0)] {
        let (passages, said) = of(Placed::new(Pace::Constant(rate), line(3)));
        assert_eq!(passages, "");
        assert!(
            said.contains("the clip never runs in real time for 0.5 s: it is silent [times(1) is real time"),
            "{said}"
        );
    }
}

#[test]
fn a_pace_that_slows_to_real_time_for_a_while_is_heard_between_its_ramps() {
    let keys = vec![
        times(Moment::Start, 20.0),
        times(Moment::Still(241), 1.0),
        times(Moment::Still(331), 1.0),
        times(Moment::End, 20.0),
    ];
    // Keyed on the shoot's axis: 8 s of recording from 20 times to 1 take 8 ln(20) / 19 = 1.2614 s, then 3 s follow,
    // and half a millisecond of either ramp.
    let (passages, said) = of(keyed(keys, None));
    assert_eq!((passages.as_str(), said.as_str()), ("1.261..4.262 8.000 0.25/0.25\n", ""));
}

#[test]
fn what_a_ramp_has_within_a_thousandth_of_real_time_is_heard_too() {
    // From 1.1 down to 1 in 2 s: 1.1 - 0.05 t is below 1.001 from 1.98 s on; by then 2.1 s of the recording less 20 ms
    // have gone.
    let keys = vec![times(Moment::Screen(0.0), 1.1), times(Moment::Screen(2.0), 1.0), times(Moment::Screen(4.0), 1.0)];
    assert_eq!(of(keyed(keys, None)), ("1.980..19.900 2.080 0.25/0.01\n".into(), none()));
}

#[test]
fn a_pace_that_rests_or_turns_back_is_silent_meanwhile() {
    let mut keys = vec![times(Moment::Start, 1.0), freeze(12, Moment::Still(151), 2.0), times(Moment::End, 1.0)];
    assert_eq!(
        of(keyed(keys.clone(), None)),
        ("0.000..5.000 0.000 0.01/0.25\n7.000..22.000 5.000 0.25/0.01\n".into(), none())
    );
    keys = vec![
        times(Moment::Start, 1.0),
        times(Moment::Still(301), 1.0),
        PaceKey { reverse: true, ..times(Moment::Still(151), 1.0) },
        times(Moment::End, 1.0),
    ];
    // Forwards for 10 s, backwards for 5, and from second 5 on to the end.
    let turned = "0.000..10.000 0.000 0.01/0.25\n15.000..30.000 5.000 0.25/0.01\n";
    assert_eq!(of(keyed(keys, None)), (turned.into(), none()));
}

#[test]
fn a_cut_parts_the_sound_as_it_parts_the_pictures() {
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.source.cuts = vec![Cut { place: line(8), from: Moment::Still(91), to: Moment::Still(300) }];
    let plan = plan(&shot, &recorded(600));
    assert_eq!(passages(&plan), "0.000..3.000 0.000 0.01/0.01\n3.000..13.000 10.000 0.01/0.01\n");
}

#[test]
fn a_part_of_the_recording_is_heard_from_where_it_begins() {
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.source.from = Some(Placed::new(Moment::Still(61), line(8)));
    shot.source.to = Some(Placed::new(Moment::Still(240), line(8)));
    assert_eq!(passages(&plan(&shot, &recorded(600))), "0.000..6.000 2.000 0.01/0.01\n");
    shot.length = Some(Placed::new(4.0, line(9)));
    assert_eq!(passages(&plan(&shot, &recorded(600))), "0.000..4.000 2.000 0.01/0.01\n");
}

#[test]
fn skipped_frames_are_a_jump_and_held_ones_are_not() {
    let mut shoot = recorded(600);
    spoil(&mut shoot, 301);
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.source.damaged = Policy::Hold;
    assert_eq!(passages(&plan(&shot, &shoot)), "0.000..20.000 0.000 0.01/0.01\n");
    shot.source.damaged = Policy::Skip;
    assert_eq!(passages(&plan(&shot, &shoot)), "0.000..10.000 0.000 0.01/0.01\n10.000..19.967 10.033 0.01/0.01\n");
}

#[test]
fn frames_that_the_file_promises_and_does_not_hold_are_silent() {
    let mut shoot = recorded(600);
    (541..=600).for_each(|number| lose(&mut shoot, number));
    shoot.recording.as_mut().unwrap().seconds.truncate(540);
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.source.missing = Policy::Hold;
    assert_eq!(passages(&plan(&shot, &shoot)), "0.000..18.000 0.000 0.01/0.25\n");
}

#[test]
fn the_mix_at_a_loops_join_is_silent() {
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.looped = Some(Placed::new(2.0, line(9)));
    // The pace has run for 2 s when the clip begins, which lasts 18 s.
    assert_eq!(passages(&plan(&shot, &recorded(600))), "0.000..16.000 2.000 0.01/0.25\n");
}

#[test]
fn stretches_too_short_for_two_fades_are_silent_and_named() {
    let keys = vec![
        times(Moment::Screen(0.0), 4.0),
        times(Moment::Screen(1.0), 1.0),
        times(Moment::Screen(1.3), 1.0),
        times(Moment::Screen(2.0), 4.0),
    ];
    let (passages, said) = of(keyed(keys, None));
    assert_eq!(passages, "");
    assert!(
        said.contains("1 stretch in real time, at 1 s, shorter than the 0.5 s that two fades take: silent there"),
        "{said}"
    );
    // Passed on the way from one pace to another: nobody meant it.
    let keys = vec![
        times(Moment::Screen(0.0), 1.0),
        times(Moment::Screen(2.0), 1.0),
        times(Moment::Screen(3.0), 3.0),
        eased(times(Moment::Screen(4.0), 0.5), "ease"),
    ];
    let (passages, said) = of(keyed(keys, None));
    assert_eq!((passages.as_str(), said.as_str()), ("0.000..2.001 0.000 0.01/0.25\n", ""));
}

#[test]
fn a_pace_that_is_almost_real_time_is_heard_as_long_as_it_keeps_in_step() {
    // 1.0005 times for 20 s is 5 ms at either end; for 60 s it would be 15.
    let almost = || Placed::new(Pace::Constant(Rate::Times(1.0005)), line(3));
    let (passages, said) = of(almost());
    assert_eq!((passages.as_str(), said.as_str()), ("0.000..19.990 0.005 0.01/0.01\n", ""));
    let long = plan(&heard(almost()), &recorded(1800));
    assert_eq!(self::passages(&long), "");
    assert!(self::said(&long).contains("at 0 s its sound would come up to 14.9"), "{}", self::said(&long));
}

#[test]
fn frames_at_uneven_times_are_heard_at_their_own_times_where_the_pace_speaks_of_real_time() {
    let mut shoot = recorded(300);
    let recording = shoot.recording.as_mut().unwrap();
    // The hundredth step takes 2 s.
    recording.seconds.iter_mut().skip(100).for_each(|seconds| *seconds += 2.0 - 1.0 / 30.0);
    recording.rate = None;
    let shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    let plan_of = |shot: &Shot| plan(shot, &shoot);
    assert_eq!(passages(&plan_of(&shot)), "0.000..11.967 0.000 0.01/0.01\n");
    let keys = vec![times(Moment::Start, 2.0), times(Moment::Still(91), 1.0), times(Moment::End, 1.0)];
    // 3 s of the recording at 2 to 1 times take 3 ln 2 = 2.0794 s, the last 3 ms of them within a thousandth of real
    // time.
    assert_eq!(passages(&plan_of(&heard(keyed(keys, None)))), "2.076..11.046 2.997 0.25/0.01\n");
    let counted = plan_of(&heard(Placed::new(Pace::Constant(Rate::StillsPerFrame(1.25)), line(3))));
    assert_eq!(passages(&counted), "");
    assert!(said(&counted).contains("only times(1) is real time"), "{}", said(&counted));
}

#[test]
fn a_recording_without_sound_or_with_one_that_is_not_read_is_silent_and_said_to_be() {
    let shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    let mut shoot = recorded(60);
    shoot.recording.as_mut().unwrap().sound.as_mut().unwrap().is_read = false;
    let unread = plan(&shot, &shoot);
    assert_eq!(
        said(&unread),
        "remark shot.lua:7: the recording's sound is coded as aac, which is not read: the clip is silent\n"
    );
    shoot.recording.as_mut().unwrap().sound = None;
    let mute = plan(&shot, &shoot);
    assert_eq!(said(&mute), "remark shot.lua:7: the recording has no sound: the clip is silent\n");
    assert_eq!(passages(&mute) + &passages(&unread), "");
}

#[test]
fn only_deliveries_that_keep_sound_have_it_and_plans_print_it() {
    let mut shot = heard(Placed::new(Pace::Constant(Rate::Times(1.0)), line(3)));
    shot.deliveries.push(delivery("mute", 1080, 1920, "25"));
    let plan = plan(&shot, &recorded(60));
    let json = serde_json::to_value(&plan).unwrap();
    assert_eq!(json["deliveries"][0]["sound"][0]["to"], 2.0);
    assert!(json["deliveries"][1].get("sound").is_none());
    let text = stillpath::plan::text(&plan);
    let line = "  sound     0.000      2.000 s, the recording's from 0.000 s on; fades in for 0.01 s, out for 0.01 s\n";
    assert_eq!(text.matches(line).count(), 1, "{text}");
    let summary = stillpath::plan::summary(&plan);
    assert_eq!(summary.matches("; sound of 1 passage, 2.000 s\n").count(), 1, "{summary}");
}

#[test]
fn a_frame_is_explained_with_what_is_heard_when_it_comes_on() {
    let keys = vec![times(Moment::Screen(0.0), 1.0), times(Moment::Screen(2.0), 1.0), times(Moment::Screen(3.0), 3.0)];
    let shot = heard(keyed(keys, None));
    let explained = |frame| {
        let when = stillpath::resolve::When::Frame(frame);
        super::build::explain(&shot, &recorded(600), 0, &when).unwrap().text()
    };
    assert!(
        explained(24).contains("sound:  the recording's at 1.000 s, times 1.000 (shot.lua:7)"),
        "{}",
        explained(24)
    );
    assert!(explained(60).contains("sound:  none, at 2.000 times real time (shot.lua:7)"), "{}", explained(60));
    let plain = super::build::explain(&super::build::shot(), &recorded(600), 0, &stillpath::resolve::When::Frame(3));
    assert!(!plain.unwrap().text().contains("sound:"));
}

//! Where moments lie, and what is said where they lie nowhere.

use stillpath::shot::{Moment, Pace, Rate, Shot};

use super::build::*;

/// A shot at one frame a second and one still a frame, whose zoom reaches 2 at `moment`: the frame where it does says
/// where the moment lies.
fn aimed(moment: Moment) -> Shot {
    let mut shot = shot();
    shot.fps = fps("1");
    shot.deliveries = vec![delivery("wide", 1920, 1080, "1")];
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, moment, (0.5, 0.5), 2.0)];
    shot
}

/// The position of a moment after the start, read off the first window on the way to it: `w = 4000 · 2^(-1 /
/// position)`.
fn lands(moment: Moment, shoot: &stillpath::shoot::Shoot) -> f64 {
    let width = plan(&aimed(moment), shoot).deliveries[0].rows[1].window.width;
    let position = 1.0 / (4000.0 / width).log2();
    (position * 1e6).round() / 1e6
}

#[test]
fn stills_are_counted_from_one_and_from_the_end() {
    let shoot = shoot(10);
    assert_eq!(lands(Moment::Still(4), &shoot), 3.0);
    assert_eq!(lands(Moment::Still(-1), &shoot), 9.0);
    assert_eq!(lands(Moment::StillNamed("STIL0006".into()), &shoot), 5.0);
    assert_eq!(lands(Moment::Part(0.25), &shoot), 2.5);
    for (number, help) in [(0, "still(1) to still(10)"), (11, "still(1) to still(10)"), (-11, "still(-1) is the last")]
    {
        let refused = refused(&aimed(Moment::Still(number)), &shoot);
        assert!(refused.contains(&format!("there is no still({number})")) && refused.contains(help), "{refused}");
    }
}

#[test]
fn a_name_no_still_has_is_refused_with_the_nearest() {
    let expected = "mistake shot.lua:12: no still is named SITL0006 [did you mean \"STIL0006\"?] \
                    [this shoot runs from STIL0001 to STIL0010]\n";
    assert_eq!(refused(&aimed(Moment::StillNamed("SITL0006".into())), &shoot(10)), expected);
}

#[test]
fn a_name_two_stills_have_is_refused_with_their_numbers() {
    let mut shoot = shoot(5);
    shoot.slots[3].name = "STIL0002".into();
    let refused = refused(&aimed(Moment::StillNamed("STIL0002".into())), &shoot);
    assert!(
        refused.contains("2 stills are named STIL0002 [choose one by its number: still(2) and still(4)]"),
        "{refused}"
    );
}

#[test]
fn a_fraction_beyond_the_shoot_is_refused() {
    assert!(
        refused(&aimed(Moment::Part(1.5)), &shoot(5))
            .contains("part takes a fraction from 0 (start) to 1 (end); seen 1.5")
    );
}

#[test]
fn a_clock_time_between_two_stills_lies_between_them() {
    let shoot = shoot_every(10, "2031-05-04T14:00:00", 60.0);
    assert_eq!(lands(clock("14:03"), &shoot), 3.0);
    assert_eq!(lands(clock("14:03:15"), &shoot), 3.25);
    assert_eq!(lands(clock("2031-05-04 14:06:30"), &shoot), 6.5);
    assert_eq!(lands(clock("day 1 14:06:30"), &shoot), 6.5);
    // The last still keeps its share.
    assert_eq!(lands(clock("14:09:30"), &shoot), 9.5);
}

#[test]
fn a_clock_time_inside_a_gap_is_the_still_after_it() {
    let times = ["14:00:00", "14:01:00", "14:02:00", "14:09:00", "14:10:00"].map(|time| format!("2031-05-04T{time}"));
    let shoot = shoot_at(&times.each_ref().map(String::as_str), 60.0);
    assert_eq!(lands(clock("14:02:01"), &shoot), 3.0);
    assert_eq!(lands(clock("14:08:59"), &shoot), 3.0);
    assert_eq!(lands(clock("14:02"), &shoot), 2.0);
    assert_eq!(lands(clock("14:09:30"), &shoot), 3.5);
}

#[test]
fn three_intervals_are_not_a_gap_yet() {
    let times = ["14:00:00", "14:01:00", "14:02:00", "14:05:00", "14:06:00"].map(|time| format!("2031-05-04T{time}"));
    let shoot = shoot_at(&times.each_ref().map(String::as_str), 60.0);
    assert_eq!(lands(clock("14:03:30"), &shoot), 2.5);
}

#[test]
fn missing_stills_are_no_gap_in_time() {
    let (mut shot, mut shoot) = (aimed(clock("14:05:30")), shoot_every(12, "2031-05-04T14:00:00", 60.0));
    for number in 4..=9 {
        lose(&mut shoot, number);
    }
    shot.source.missing = stillpath::shot::Policy::Hold;
    let width = plan(&shot, &shoot).deliveries[0].rows[1].window.width;
    assert!((1.0 / (4000.0 / width).log2() - 5.5).abs() < 1e-9);
}

#[test]
fn a_bare_time_of_two_days_is_refused_listing_the_dates() {
    let shoot = shoot_every(90, "2031-05-04T12:00:00", 3600.0);
    let refused = refused(&aimed(clock("14:30")), &shoot);
    let expected = "mistake shot.lua:12: the clock shows 14:30 more than once: on 2031-05-04, 2031-05-05, 2031-05-06 and \
                    2031-05-07 [choose one: clock \"2031-05-04 14:30\", or clock \"day 2 14:30\"]\n";
    assert_eq!(refused, expected);
    assert_eq!(lands(clock("day 2 14:30"), &shoot), 26.5);
    assert_eq!(lands(clock("2031-05-06 14:30"), &shoot), 50.5);
}

#[test]
fn a_bare_time_that_only_one_days_stills_were_taken_at_is_that_day() {
    let mut times: Vec<String> = (8..12).map(|hour| format!("2031-05-04T{hour:02}:00:00")).collect();
    times.extend((8..16).map(|hour| format!("2031-05-05T{hour:02}:00:00")));
    let shoot = shoot_at(&times.iter().map(String::as_str).collect::<Vec<_>>(), 3600.0);
    // On the first day 14:30 fell into the night's gap; nobody was taking stills.
    assert_eq!(lands(clock("14:30"), &shoot), 10.5);
    // In the night it is the morning's first still.
    assert_eq!(lands(clock("20:00"), &shoot), 4.0);
    assert!(refused(&aimed(clock("09:30")), &shoot).contains("on 2031-05-04 and 2031-05-05"));
}

#[test]
fn a_shoot_of_one_still_in_two_days_has_a_bare_time_twice() {
    let shoot = shoot_every(3, "2031-05-04T12:00:00", 172_800.0);
    assert!(refused(&aimed(clock("14:30")), &shoot).contains("on 2031-05-04, 2031-05-05, 2031-05-06"));
    assert_eq!(lands(clock("day 4 12:00"), &shoot), 1.5);
}

#[test]
fn a_clock_set_back_gives_a_time_twice_and_the_stills_are_named() {
    let times = ["02:57:00", "02:58:00", "02:59:00", "02:00:00", "02:01:00", "02:59:30", "03:00:30"];
    let times = times.map(|time| format!("2031-10-26T{time}"));
    let shoot = shoot_at(&times.each_ref().map(String::as_str), 60.0);
    // After the clock was set back 02:58:30 lies in a gap, so it means the first time round.
    assert_eq!(lands(clock("02:58:30"), &shoot), 1.5);
    let again =
        shoot_at(&["2031-10-26T02:00:00", "2031-10-26T02:01:00", "2031-10-26T02:00:00", "2031-10-26T02:01:00"], 60.0);
    let refused = refused(&aimed(clock("02:00:30")), &again);
    assert!(
        refused.contains(
            "the camera's clock was set back: it shows 02:00:30 at still \"STIL0001\" and still \"STIL0003\""
        )
    );
}

#[test]
fn a_time_the_shoot_never_saw_is_refused_with_its_span() {
    let shoot = shoot_every(10, "2031-05-04T14:00:00", 60.0);
    let expected = "mistake shot.lua:12: the clock never shows 15:30 during this shoot \
                    [the shoot runs from 2031-05-04 14:00:00 to 2031-05-04 14:09:00]\n";
    assert_eq!(refused(&aimed(clock("15:30")), &shoot), expected);
    assert!(refused(&aimed(clock("day 2 14:05")), &shoot).contains("never shows"));
}

#[test]
fn the_clock_needs_capture_times() {
    let mut shot = aimed(clock("14:30"));
    shot.source.interval = Some(5.0);
    assert!(refused(&shot, &shoot(5)).contains("clock needs capture times, and no still of this shoot has one"));
}

#[test]
fn stills_without_a_time_are_filled_in_from_their_neighbours() {
    let mut shoot = shoot_every(10, "2031-05-04T14:00:00", 60.0);
    for number in [1, 2, 5, 9, 10] {
        let stillpath::shoot::Content::Whole(still) = &mut shoot.slots[number - 1].content else { panic!() };
        still.captured = None;
    }
    assert_eq!(lands(clock("14:01:30"), &shoot), 1.5);
    assert_eq!(lands(clock("14:04"), &shoot), 4.0);
    assert_eq!(lands(clock("14:08:30"), &shoot), 8.5);
}

#[test]
fn an_interval_the_capture_times_deny_is_a_remark() {
    let (mut shot, shoot) = (shot(), shoot_every(10, "2031-05-04T14:00:00", 5.0));
    shot.source.interval = Some(3.0);
    let expected = "remark shot.lua:2: the capture times say 5 s from still to still, the script says 3 s: \
                    the capture times are used\n";
    assert_eq!(written(&plan(&shot, &shoot).remarks), expected);
    shot.source.interval = Some(5.2);
    assert!(plan(&shot, &shoot).remarks.is_empty());
}

#[test]
fn a_key_outside_the_part_that_is_used_is_refused_with_the_nearest_still() {
    let mut shot = aimed(Moment::Still(2));
    shot.source.from = Some(stillpath::diag::Placed::new(Moment::Still(4), line(2)));
    let expected = "mistake shot.lua:12: still(2), STIL0002, lies before 'from': it is never shown \
                    [the nearest still used is still(4), STIL0004]\n";
    assert_eq!(refused(&shot, &shoot(10)), expected);
    shot.source.from = None;
    shot.source.to = Some(stillpath::diag::Placed::new(Moment::Still(6), line(2)));
    shot.framing.keys[1].at = Moment::Still(8);
    assert!(refused(&shot, &shoot(10)).contains("lies after 'to'"));
}

#[test]
fn a_key_past_the_end_is_refused_with_the_last_moment_allowed() {
    let expected = "mistake shot.lua:12: this key is past the end: it is at 12.5 s, but the clip lasts 10 s \
                    [at = \"end\" is the last frame; at = 10 at most]\n";
    assert_eq!(refused(&aimed(Moment::Screen(12.5)), &shoot(10)), expected);
    assert!(refused(&aimed(Moment::Screen(-1.0)), &shoot(10)).contains("screen time begins at 0 s"));
    assert!(refused(&aimed(Moment::Timecode(11)), &shoot(10)).contains("frame 11 at 1 a second"));
    assert_eq!(lands(Moment::Timecode(7), &shoot(10)), 7.0);
}

#[test]
fn a_key_the_clip_ends_before_is_refused() {
    let mut shot = aimed(Moment::Still(9));
    shot.length = Some(stillpath::diag::Placed::new(5.0, line(7)));
    let refused = refused(&shot, &shoot(10));
    assert!(refused.contains("this key is never reached: it would come at 8 s, and the clip ends at 5 s"), "{refused}");
}

#[test]
fn keys_out_of_order_or_at_one_moment_are_refused_with_both_lines() {
    let mut shot = aimed(Moment::Still(3));
    shot.framing.keys.push(on(13, Moment::Screen(1.0), (0.5, 0.5), 1.0));
    let expected = "mistake shot.lua:13: this key is at 1 s, before the key above it at 2 s (shot.lua:12 the key above it) \
                    [keys go in order of time, no two at the same moment]\n";
    assert_eq!(refused(&shot, &shoot(10)), expected);
    shot.framing.keys[2].at = Moment::Screen(2.0);
    assert!(refused(&shot, &shoot(10)).contains("two keys are at the same moment, 2 s (shot.lua:12 the key above it)"));
}

#[test]
fn a_fit_that_reorders_keys_is_refused_with_its_own_line() {
    let mut shot = aimed(Moment::Screen(4.0));
    shot.framing.keys.push(on(13, Moment::Still(6), (0.5, 0.5), 1.0));
    assert_eq!(plan(&shot, &shoot(10)).deliveries[0].rows.len(), 10);
    shot.pace = keyed(vec![rate(31, Moment::Start, Rate::StillsPerFrame(1.0))], Some(6.0));
    let refused = refused(&shot, &shoot(10));
    assert!(refused.contains("shot.lua:13: this key is at 3 s, before the key above it at 4 s"), "{refused}");
    assert!(refused.contains("(shot.lua:12 the key above it) (shot.lua:4 the fit that times the shoot)"), "{refused}");
}

#[test]
fn the_end_is_each_deliverys_last_frame() {
    let mut shot = aimed(Moment::End);
    shot.deliveries = vec![delivery("wide", 1920, 1080, "4"), delivery("tall", 1080, 1920, "5")];
    shot.pace.value = Pace::Over(2.0);
    let plan = plan(&shot, &shoot(8));
    for (delivery, (before, last)) in plan.deliveries.iter().zip([(6, 7), (8, 9)]) {
        let largest = delivery.rows[0].window.width;
        assert_eq!(delivery.rows[last].window.width, largest / 2.0);
        assert!(delivery.rows[before].window.width > largest / 2.0);
        assert_eq!(delivery.rows.len(), last + 1);
    }
}

#[test]
fn a_key_at_a_still_stays_on_it_however_the_shoot_is_timed() {
    for (pace, rate) in
        [(Pace::Over(3.0), "24"), (Pace::Over(11.0), "30"), (Pace::Constant(Rate::FramesPerStill(2.0)), "24")]
    {
        let mut shot = shot();
        shot.pace.value = pace;
        shot.deliveries = vec![delivery("wide", 1920, 1080, rate)];
        shot.framing.keys = vec![
            on(11, Moment::Start, (0.5, 0.5), 1.0),
            on(12, Moment::Still(13), (0.6, 0.5), 2.0),
            on(13, Moment::Still(14), (0.6, 0.5), 2.0),
            on(14, Moment::End, (0.5, 0.5), 1.0),
        ];
        let plan = plan(&shot, &shoot(24));
        let on_it: Vec<_> = plan.deliveries[0].rows.iter().filter(|row| row.slot.0 == 12).collect();
        assert!(!on_it.is_empty());
        for row in on_it {
            assert!((row.window.x - 1400.0).abs() < 1e-6 && (row.window.width - 2000.0).abs() < 1e-6, "{row:?}");
        }
    }
}

/// The frame of the poster at a moment, of a delivery at `rate` frames a second over 10 stills of half a second each.
fn poster(moment: Moment, rate: &str) -> Result<u64, String> {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(12.0));
    let at = stillpath::diag::Placed::new(moment, line(61));
    let poster = Some(stillpath::shot::Poster { at, form: stillpath::shot::PosterForm::Png });
    shot.deliveries = vec![delivery("wide", 1920, 1080, rate)];
    shot.deliveries[0].extras.poster = poster;
    match resolve(&shot, &shoot(10)) {
        Ok(plan) => Ok(plan.deliveries[0].extras.poster.unwrap().frame),
        Err(found) => Err(written(&found)),
    }
}

#[test]
fn a_poster_shows_what_is_on_screen_at_a_time_of_the_clip_and_a_still_when_it_first_comes() {
    // 120 frames of 24 a second, 150 of 30, 15 of 3: the stills come at 0, 0.5, 1 s and so on.
    for (moment, rate, frame) in [
        (Moment::Start, "24", 0),
        (Moment::End, "24", 119),
        (Moment::End, "30000/1001", 149),
        (Moment::Screen(0.5), "24", 12),
        (Moment::Screen(0.499), "24", 11),
        (Moment::Screen(5.0), "24", 119),
        (Moment::Timecode(13), "24", 13),
        // Frame 13 of the shot's 24 is 0.5416 s: the frame on screen then is the 16th of 30 (0.5333 s), the first of 3.
        (Moment::Timecode(13), "30", 16),
        (Moment::Timecode(13), "3", 1),
        (Moment::Still(2), "24", 12),
        (Moment::Still(2), "30", 15),
        // At 0.5 s: between the frames at 0.333 and 0.667 s.
        (Moment::Still(2), "3", 2),
        (Moment::Part(0.5), "24", 60),
        (Moment::Part(1.0), "24", 119),
        (Moment::Part(0.0), "24", 0),
    ] {
        assert_eq!(poster(moment.clone(), rate), Ok(frame), "{moment:?} at {rate}");
    }
    for (moment, said) in [
        (
            Moment::Screen(5.1),
            "mistake shot.lua:61: this poster is past the end: it is at 5.1 s, but the clip lasts 5 s",
        ),
        (Moment::Still(11), "mistake shot.lua:61: there is no still(11)"),
        (clock("14:32"), "mistake shot.lua:61: "),
    ] {
        let refused = poster(moment, "24").unwrap_err();
        assert!(refused.contains(said), "{said}\n{refused}");
    }
}

#[test]
fn a_poster_of_a_pace_that_runs_backwards_shows_its_still_when_that_comes() {
    let mut shot = shot();
    shot.pace = keyed(vec![back(31, Moment::Start, 1.0)], None);
    let at = stillpath::diag::Placed::new(Moment::Still(3), line(61));
    shot.deliveries[0].extras.poster =
        Some(stillpath::shot::Poster { at, form: stillpath::shot::PosterForm::default() });
    let plan = plan(&shot, &shoot(10));
    let delivery = &plan.deliveries[0];
    let frame = usize::try_from(delivery.extras.poster.unwrap().frame).unwrap();
    assert_eq!(
        delivery.rows[frame].shown.0,
        2,
        "{:?}",
        delivery.rows.iter().map(|row| row.shown.0).collect::<Vec<_>>()
    );
}

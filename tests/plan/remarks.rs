//! What a plan says of itself, with the frames concerned.

use stillpath::curve::ease::{Ease, Jump};
use stillpath::shot::{Moment, Pace, Policy, Rate};

use super::build::*;

#[test]
fn a_window_smaller_than_its_frame_is_named_with_the_enlargement_and_the_frames() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(10.0));
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 4.0)];
    let remarks = written(&plan(&shot, &shoot(60)).remarks);
    // The window is 4000 · 4^(-f / 599) wide: below 1920 from frame 317.1 on, 1000 at the end.
    let expected = "remark shot.lua:12: 'wide' enlarges the still up to 1.92 times in frames 318 to 599: its window is smaller than \
                    its frame of 1920x1080 [zoom 2.083 at most keeps a pixel of the still for every pixel of 'wide']\n";
    assert_eq!(remarks, expected);
}

#[test]
fn a_frame_larger_than_the_still_says_so() {
    let mut shot = shot();
    shot.deliveries = vec![delivery("huge", 7680, 4320, "24")];
    let remarks = written(&plan(&shot, &shoot(2)).remarks);
    assert!(remarks.contains("'huge' enlarges the still up to 1.92 times in frames 0 to 1"), "{remarks}");
    assert!(remarks.contains("even the largest window has only 4000 x 2250 pixels of the still"), "{remarks}");
}

#[test]
fn a_pan_faster_than_a_picture_width_in_seven_seconds_is_named() {
    let pan = |seconds: f64| {
        let mut shot = shot();
        shot.pace.value = Pace::Over(20.0);
        // From the left edge to the right one at zoom 2: one width of the window, 1920 output pixels.
        shot.framing.keys = vec![
            on(11, Moment::Screen(1.0), (0.25, 0.5), 2.0),
            on(12, Moment::Screen(1.0 + seconds), (0.75, 0.5), 2.0),
        ];
        written(&plan(&shot, &shoot(480)).remarks)
    };
    assert_eq!(pan(7.0), "");
    let expected = "remark shot.lua:12: 'wide' moves up to 20 pixels a frame in frames 25 to 120; a picture width in 7 s, the rule of \
                    thumb, is 11.429 [about 7 s for the way to this key, instead of 4 s, would stay within it]\n";
    assert_eq!(pan(4.0), expected);
}

#[test]
fn a_fast_push_is_measured_at_its_corners() {
    let mut shot = shot();
    shot.pace.value = Pace::Over(20.0);
    shot.framing.keys =
        vec![on(11, Moment::Screen(0.0), (0.5, 0.5), 1.0), on(12, Moment::Screen(1.0), (0.5, 0.5), 2.0)];
    let remarks = written(&plan(&shot, &shoot(480)).remarks);
    // Every frame the corners, 1101.45 pixels from the middle, move out by 2^(1/24) - 1 of that.
    assert!(
        remarks.contains(&format!(
            "moves up to {:.3} pixels a frame in frames 1 to 24",
            1101.453 * (2.0_f64.powf(1.0 / 24.0) - 1.0)
        )),
        "{remarks}"
    );
}

#[test]
fn a_step_ease_cuts_and_is_no_pan() {
    let mut shot = shot();
    let mut key = on(12, Moment::Screen(1.0), (0.75, 0.5), 2.0);
    key.ease = Ease::Steps { count: 2, jump: Jump::End };
    shot.framing.keys = vec![on(11, Moment::Screen(0.0), (0.25, 0.5), 2.0), key];
    let plan = plan(&shot, &shoot(48));
    assert!(plan.remarks.is_empty(), "{}", written(&plan.remarks));
    let xs: Vec<f64> = [0, 11, 12, 23, 24].map(|frame: usize| plan.deliveries[0].rows[frame].window.x).to_vec();
    assert_eq!(xs, [0.0, 0.0, 1000.0, 1000.0, 2000.0]);
}

#[test]
fn stills_shown_two_three_two_three_frames_are_an_uneven_cadence() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.5));
    let expected = "remark shot.lua:3: 'wide' shows stills for 3, 2, 3, 2, … frames at an even pace: an uneven cadence in frames 0 to 49 \
                    [frames_per_still(3) is even in 'wide']\n";
    assert_eq!(written(&plan(&shot, &shoot(20)).remarks), expected);
    for even in [1.0, 2.0, 3.0, 7.0] {
        shot.pace.value = Pace::Constant(Rate::FramesPerStill(even));
        assert!(plan(&shot, &shoot(20)).remarks.is_empty());
    }
}

#[test]
fn a_delivery_at_another_rate_than_the_shot_is_uneven_by_itself() {
    let mut shot = shot();
    shot.deliveries.push(delivery("tall", 1080, 1920, "30"));
    let remarks = written(&plan(&shot, &shoot(48)).remarks);
    assert_eq!(
        remarks,
        "remark shot.lua:3: 'tall' shows stills for 2, 1, 1, 1, … frames at an even pace: an uneven cadence in frames 0 to 59 \
         [frames_per_still(0.8) is even in 'tall']\n"
    );
    shot.deliveries.remove(0);
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(0.8));
    assert!(plan(&shot, &shoot(48)).remarks.is_empty());
}

#[test]
fn for_a_pace_over_so_many_seconds_the_even_rate_is_named_with_its_length() {
    let mut shot = shot();
    shot.pace.value = Pace::Over(20.0);
    let remarks = written(&plan(&shot, &shoot(100)).remarks);
    assert!(remarks.contains("'wide' shows stills for 5, 5, 4, 5, … frames"), "{remarks}");
    assert!(remarks.contains("[frames_per_still(5) is even in 'wide' and lasts 20.833 s]"), "{remarks}");
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(5.0));
    assert!(plan(&shot, &shoot(100)).remarks.is_empty());
}

#[test]
fn where_no_short_figure_is_even_the_shots_own_rate_is_named() {
    let mut shot = shot();
    shot.deliveries = vec![delivery("tv", 1920, 1080, "30000/1001")];
    let remarks = written(&plan(&shot, &shoot(48)).remarks);
    assert!(
        remarks.contains("[fps = \"30000/1001\" in the shot, and frames_per_still(1), is even in 'tv']"),
        "{remarks}"
    );
    shot.fps = fps("30000/1001");
    assert!(plan(&shot, &shoot(48)).remarks.is_empty());
}

#[test]
fn stills_passed_one_two_one_two_at_a_time_are_an_uneven_cadence() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(1.5));
    let remarks = written(&plan(&shot, &shoot(30)).remarks);
    assert!(remarks.contains("'wide' goes on by 1, 2, 1, 2, … stills a frame at an even pace"), "{remarks}");
    assert!(remarks.contains("[stills_per_frame(2) is even in 'wide']"), "{remarks}");
}

#[test]
fn stills_no_frame_shows_are_counted_with_the_frames_that_pass_them() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(4.0));
    let expected = "remark shot.lua:3: 27 of 37 stills are shown in no frame (STIL0002 to STIL0004, STIL0006 to STIL0008, STIL0010 to \
                    STIL0012, STIL0014 to STIL0016 and 5 more stretches); 'wide' passes over up to 3 at once in frames 0 to 9\n";
    assert_eq!(written(&plan(&shot, &shoot(37)).remarks), expected);
}

#[test]
fn a_still_held_far_longer_than_the_others_is_named() {
    let (mut shot, mut shoot) = (shot(), shoot(48));
    shot.source.missing = Policy::Hold;
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    for number in 11..=17 {
        lose(&mut shoot, number);
    }
    let expected = "remark shot.lua:3: 'wide' shows some stills for more than 4 times as long as most, which it shows for 2 frames: \
                    STIL0010 in frames 18 to 33\n";
    assert_eq!(written(&plan(&shot, &shoot).remarks), expected);
}

#[test]
fn a_pace_key_after_the_end_is_named() {
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Screen(0.0), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Screen(9.0), Rate::StillsPerFrame(1.0)),
        ],
        None,
    );
    let remarks = written(&plan(&shot, &shoot(48)).remarks);
    assert_eq!(remarks, "remark shot.lua:32: this key of the pace is at 9 s, and the shoot ends at 2 s\n");
}

#[test]
fn a_rate_of_a_few_percent_and_a_clip_of_hours_are_remarked_on() {
    let mut shot = shot();
    shot.pace.value = Pace::Constant(Rate::Percent(1.2));
    let expected = "remark shot.lua:3: percent(1.2) shows each still for 83.333 frames, 3.472 s \
                    [percent(120) is 1.2 stills a frame; 100 is one]\n";
    assert!(
        written(&plan(&shot, &shoot(10)).remarks).contains(expected),
        "{}",
        written(&plan(&shot, &shoot(10)).remarks)
    );
    shot.pace.value = Pace::Constant(Rate::Percent(5.0));
    assert!(!written(&plan(&shot, &shoot(10)).remarks).contains("percent"));
    shot.deliveries = vec![delivery("slow", 1920, 1080, "1")];
    shot.pace.value = Pace::Over(3.0 * 3600.0 + 1.0);
    let expected = "remark shot.lua:3: the clip lasts 3 hours [a faster rate; pace = over \"60s\" makes the whole shoot last a \
                    minute]\n";
    assert!(written(&plan(&shot, &shoot(10)).remarks).contains(expected));
    shot.pace.value = Pace::Over(3.0 * 3600.0);
    assert!(!written(&plan(&shot, &shoot(10)).remarks).contains("hours"));
}

#[test]
fn what_has_no_effect_is_said() {
    let still = Rate::FramesPerStill(2.0);
    let ease = Ease::keyword("ease-in-out").unwrap();
    let mut shot = shot();
    shot.pace = keyed(
        vec![
            stillpath::shot::PaceKey { ease: ease.clone(), ..rate(31, Moment::Start, still) },
            stillpath::shot::PaceKey { keep: true, ease: ease.clone(), ..rate(32, Moment::End, still) },
        ],
        None,
    );
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 1.1)];
    shot.framing.keys[0].ease = ease.clone();
    shot.framing.keys[1].ease = ease;
    // A shutter open for a quarter of a still's time, at whole and half stills: never over two.
    shot.deliveries[0].blend.shutter = 180.0;
    let expected = "remark shot.lua:31: the ease of the first key has no effect: no way leads to it \
                    [leave ease out here: it shapes the way to its own key from the one before]\n\
                    remark shot.lua:11: the ease of the first key has no effect: no way leads to it \
                    [leave ease out here: it shapes the way to its own key from the one before]\n\
                    remark shot.lua:32: keep has no effect without fit: no rate of this pace is scaled (shot.lua:3 the pace) \
                    [leave keep out, or write fit = \"8s\" in the pace for a clip of that length]\n\
                    remark shot.lua:60: shutter = 180 has no effect in 'wide': no two stills pass while it is open \
                    [leave shutter out, or let more stills pass: a faster pace, or a larger angle]\n";
    let seen = written(&plan(&shot, &shoot(96)).remarks);
    assert_eq!(seen, expected);
    // Where they have one nothing is said: round a loop, under a fit, at a faster pace.
    shot.looped = Some(stillpath::diag::Placed::new(1.0, line(7)));
    shot.pace = keyed(vec![rate(31, Moment::Start, still)], None);
    shot.framing.keys[1].at = Moment::Screen(4.0);
    shot.deliveries[0].blend.shutter = 0.0;
    shot.deliveries[0].blend.between = stillpath::shot::Between::Mix;
    assert!(!written(&plan(&shot, &shoot(96)).remarks).contains("no effect"));
}

#[test]
fn a_blend_between_stills_is_said_to_do_nothing_at_a_still_a_frame() {
    let seen = |pace, between| {
        let mut shot = shot();
        shot.pace.value = Pace::Constant(pace);
        shot.deliveries[0].blend.between = between;
        written(&plan(&shot, &shoot(60)).remarks)
    };
    use stillpath::shot::Between;
    let said = seen(Rate::StillsPerFrame(1.0), Between::Mix);
    assert!(said.starts_with("remark shot.lua:60: between = \"mix\" has no effect in 'wide'"), "{said}");
    let said = seen(Rate::StillsPerFrame(1.0), Between::Motion);
    assert!(said.contains("between = \"motion\" has no effect"), "{said}");
    assert_eq!(seen(Rate::FramesPerStill(3.0), Between::Mix), "");
}

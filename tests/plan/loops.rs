//! Loops: which stills are mixed at the join, how keys come round, and what cannot be closed.

use stillpath::diag::Placed;
use stillpath::plan::Plan;
use stillpath::shot::{Between, Moment, Pace, Path, Rate, Shot};

use super::build::*;

/// A shot of one still a frame at 8 frames a second that mixes for so many seconds. `loop` is on line 5.
fn looped(mix: f64) -> Shot {
    let mut shot = shot();
    shot.fps = fps("8");
    shot.deliveries = vec![delivery("wide", 1920, 1080, "8")];
    shot.looped = Some(Placed::new(mix, line(5)));
    shot
}

/// Every frame's stills (from 1), each with its weight in thousandths.
fn stills(plan: &Plan) -> Vec<String> {
    let rows = plan.deliveries[0].rows.iter();
    rows.map(|row| {
        let shares = row.shares().map(|share| format!("{}:{:.0}", share.shown.0 + 1, f64::from(share.weight) / 65.536));
        shares.collect::<Vec<_>>().join(" ")
    })
    .collect()
}

#[test]
fn the_end_of_a_loop_gives_way_to_the_stills_before_its_beginning() {
    // 12 stills, 4 of them for the mix: the clip is still 5 to still 12, and 1 to 4 lead into 5.
    let plan = plan(&looped(0.5), &shoot(12));
    let due = ["5:1000", "6:1000", "7:1000", "8:1000", "9:1000", "2:250 10:750", "3:500 11:500", "4:750 12:250"];
    assert_eq!(stills(&plan), due);
    assert_eq!(plan.length, 1.0);
    assert!(plan.remarks.is_empty(), "{}", written(&plan.remarks));
    // Half as fast, every still for two frames.
    let mut slow = looped(0.5);
    slow.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    let seen = stills(&super::plan(&slow, &shoot(6)));
    assert_eq!(seen[..2], ["3:1000", "3:1000"]);
    assert_eq!(seen[4..], ["5:1000", "1:250 5:750", "2:500 6:500", "2:750 6:250"]);
}

#[test]
fn what_a_script_says_of_a_length_is_the_clips_own() {
    let mut shot = looped(1.0);
    shot.pace.value = Pace::Over(5.0);
    let evenly = plan(&shot, &shoot(60));
    assert_eq!((evenly.length, evenly.deliveries[0].rows.len()), (5.0, 40));
    // 60 stills in the clip and the mix together.
    assert_eq!(evenly.deliveries[0].rows[0].position, 10.0);
    shot.pace = keyed(
        vec![rate(31, Moment::Start, Rate::StillsPerFrame(1.0)), rate(32, Moment::End, Rate::StillsPerFrame(3.0))],
        Some(5.0),
    );
    assert_eq!(plan(&shot, &shoot(60)).length, 5.0);
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(1.0));
    shot.length = Some(Placed::new(3.0, line(6)));
    let limited = plan(&shot, &shoot(60));
    assert_eq!((limited.length, limited.deliveries[0].rows[0].slot.0), (3.0, 8));
}

#[test]
fn seconds_and_stills_are_where_they_are_in_any_clip() {
    let mut shot = looped(0.5);
    shot.framing.keys = vec![on(11, Moment::Screen(0.0), (0.5, 0.5), 1.0), on(12, Moment::Still(21), (0.5, 0.5), 2.0)];
    let keyed_still = plan(&shot, &shoot(40));
    let rows = &keyed_still.deliveries[0].rows;
    let at = rows.iter().position(|row| row.slot.0 == 20).unwrap();
    assert_eq!((at, rows[at].window.width, rows[0].window.width), (16, 2000.0, 4000.0));
    // The way back has twenty frames; half-way the zoom is half-way too.
    assert!((rows[at + 10].window.width - 4000.0 / 2_f64.sqrt()).abs() < 1e-9);
    // A pace keyed on screen time is led in at its first rate.
    shot.framing.keys.clear();
    shot.pace = keyed(
        vec![
            rate(31, Moment::Screen(0.0), Rate::StillsPerFrame(1.0)),
            rate(32, Moment::Screen(2.0), Rate::StillsPerFrame(3.0)),
        ],
        None,
    );
    let ramp = plan(&shot, &shoot(100));
    assert!((ramp.deliveries[0].rows[0].position - 4.0).abs() < 1e-9);
    assert!((ramp.deliveries[0].rows[16].position - 36.0).abs() < 1e-9);
}

#[test]
fn a_key_at_the_end_is_the_first_key_again_and_shapes_the_way_to_it() {
    let mut shot = looped(0.5);
    shot.framing.keys = vec![
        on(11, Moment::Start, (0.5, 0.5), 1.0),
        on(12, Moment::Screen(2.0), (0.5, 0.5), 2.0),
        on(13, Moment::End, (0.5, 0.5), 1.0),
    ];
    let closed = plan(&shot, &shoot(36));
    let rows = &closed.deliveries[0].rows;
    assert_eq!((rows.len(), rows[0].window.width), (32, 4000.0));
    // The end is one past the last frame: that one is still on its way.
    assert!((rows[31].window.width - 4000.0 * 0.5_f64.powf(1.0 / 16.0)).abs() < 1e-9, "{}", rows[31].window.width);
    let open = |keys: usize| {
        let mut shot = shot.clone();
        shot.framing.keys.truncate(keys);
        plan(&shot, &shoot(36)).deliveries[0].rows.clone()
    };
    assert_eq!(open(2), *rows, "without it the way back is added");
    shot.framing.keys[2] = on(13, Moment::End, (0.5, 0.5), 1.5);
    let expected = "mistake shot.lua:13: a loop's end is its beginning, but this key shows another window than the first one \
                    (shot.lua:11 the first key) [the first key's window here too; or leave this key out, or earlier: the way \
                    back to the first is then added]\n";
    assert_eq!(refused(&shot, &shoot(36)), expected);
}

#[test]
fn a_hold_may_run_over_the_join_and_no_further_than_the_first_key() {
    let mut shot = looped(0.5);
    shot.framing.keys =
        vec![on(11, Moment::Screen(1.0), (0.5, 0.5), 1.0), on(12, Moment::Screen(3.0), (0.5, 0.5), 2.0)];
    shot.framing.keys[1].hold = 1.5;
    let rows = plan(&shot, &shoot(36)).deliveries[0].rows.clone();
    assert_eq!(
        [24, 31, 0, 4, 8].map(|frame: usize| rows[frame].window.width),
        [2000.0, 2000.0, 2000.0, 2000.0, 4000.0]
    );
    assert!((rows[6].window.width - 4000.0 / 2_f64.sqrt()).abs() < 1e-9);
    shot.framing.keys[1].hold = 2.0;
    assert!(
        refused(&shot, &shoot(36)).contains("shot.lua:12: this key holds until 5 s, but the key below it is at 5 s")
    );
}

#[test]
fn a_drawing_closes_or_is_refused() {
    use stillpath::curve::arc_length::Drawing;
    use stillpath::shot::{Closeness, View};
    let mut shot = looped(0.5);
    shot.framing.keys = vec![framing_key(11, Moment::Start, View::Along { closeness: Closeness::Zoom(4.0) })];
    shot.framing.path = Path::Drawing(Drawing::parse("M 0.3 0.3 L 0.7 0.3 L 0.7 0.7 Z").unwrap());
    let rows = plan(&shot, &shoot(36)).deliveries[0].rows.clone();
    let centre = |frame: usize| rows[frame].window.centre();
    assert!((centre(0).x - 1200.0).abs() < 1e-6 && (centre(0).y - 900.0).abs() < 1e-6);
    let length: f64 = 1600.0 + 1200.0 + 2000.0;
    for frame in 0..31 {
        let step = centre(frame).distance(centre(frame + 1));
        assert!(step <= length / 32.0 + 1e-6, "{step}");
    }
    assert!((centre(31).distance(centre(0)) - length / 32.0).abs() < 1e-6);
    shot.framing.path = Path::Drawing(Drawing::parse("M 0.3 0.3 L 0.7 0.3 L 0.7 0.7").unwrap());
    let expected = "mistake shot.lua:1: a loop's window comes back to where it set off, but this drawing ends elsewhere \
                    [a Z at its end leads back to its beginning: drawing(\"M … Z\")]\n";
    assert_eq!(refused(&shot, &shoot(36)), expected);
}

#[test]
fn a_pace_that_comes_back_by_itself_is_not_mixed() {
    let mut shot = looped(0.5);
    shot.pace = keyed(vec![rate(31, Moment::End, Rate::StillsPerFrame(1.0)), back(32, Moment::Start, 1.0)], None);
    let there_and_back = plan(&shot, &shoot(8));
    assert_eq!(there_and_back.length, 2.0);
    assert!(there_and_back.deliveries[0].rows.iter().all(|row| !row.layers.are_several()));
    // All of it backwards ends where it did not begin.
    shot.pace = keyed(vec![back(31, Moment::Start, 1.0)], None);
    assert_eq!(stills(&plan(&shot, &shoot(12)))[4..], ["4:1000", "11:250 3:750", "10:500 2:500", "9:750 1:250"]);
}

#[test]
fn a_freeze_and_a_shutter_go_round_too() {
    let mut shot = looped(0.5);
    shot.pace = keyed(
        vec![freeze(31, Moment::Screen(0.0), 0.5), rate(32, Moment::Screen(1.0), Rate::StillsPerFrame(1.0))],
        None,
    );
    let frozen = plan(&shot, &shoot(12));
    assert_eq!(stills(&frozen)[..5], ["5:1000", "5:1000", "5:1000", "5:1000", "5:1000"]);
    assert_eq!(stills(&frozen).last().unwrap(), "4:750 12:250");
    let mut shot = looped(0.5);
    shot.deliveries[0].blend.shutter = 720.0;
    let seen = stills(&plan(&shot, &shoot(12)));
    assert_eq!(
        (seen[0].as_str(), seen[6].as_str(), seen[7].as_str()),
        ("5:500 6:500", "3:250 4:250 11:250 12:250", "4:375 5:375 12:250")
    );
}

#[test]
fn motion_goes_round_but_the_stills_of_the_join_are_mixed() {
    let mut shot = looped(0.5);
    shot.pace = Placed::new(Pace::Constant(Rate::FramesPerStill(2.0)), line(3));
    shot.deliveries[0].blend.between = Between::Motion;
    let made = plan(&shot, &shoot(12));
    shot.deliveries[0].blend.between = Between::Mix;
    assert_eq!(stills(&made), stills(&plan(&shot, &shoot(12))));
    let rows = &made.deliveries[0].rows;
    for (frame, row) in rows.iter().enumerate() {
        let joins = frame + 4 > rows.len();
        assert_eq!(row.layers.are_invented(), !joins && row.shares().count() == 2, "frame {frame} of {}", rows.len());
        assert!(!joins || row.layers.are_several());
    }
    assert!(made.deliveries[0].invented() > 5);
}

#[test]
fn what_cannot_be_closed_is_refused_with_what_to_type() {
    let said = |mix: f64, stills: usize, change: &dyn Fn(&mut Shot)| {
        let mut shot = looped(mix);
        change(&mut shot);
        refused(&shot, &shoot(stills))
    };
    let as_it_is = |_: &mut Shot| ();
    assert_eq!(
        said(1.0, 12, &as_it_is),
        "mistake shot.lua:5: the join is mixed for 1 s, but the clip lasts only 0.5 s without what is mixed into it \
         [loop = \"0.75s\" at most, or a slower pace]\n"
    );
    assert!(said(4.0, 12, &as_it_is).contains("loop = \"0.75s\" at most"), "longer than all there is");
    assert!(said(2.0, 60, &|shot| shot.pace.value = Pace::Over(1.5)).contains("loop = \"1.5s\" at most"));
    assert!(said(2.0, 60, &|shot| shot.length = Some(Placed::new(1.0, line(6)))).contains("loop = \"1s\" at most"));
    assert_eq!(
        said(0.125, 12, &as_it_is),
        "mistake shot.lua:5: the join is mixed for 0.125 s, which is less than two frames of 'wide' [loop = \"0.25s\" at least]\n"
    );
    assert_eq!(
        said(0.25, 3, &as_it_is),
        "mistake shot.lua:5: the shoot lasts 0.375 s at this pace, too short for a loop: a mix takes two frames, and the clip as \
         long again [a slower pace, a higher fps, or no loop]\n"
    );
    let at_once = said(0.5, 1, &|shot| {
        let keys = vec![rate(31, Moment::End, Rate::StillsPerFrame(2.0)), back(32, Moment::Start, 2.0)];
        shot.pace = keyed(keys, None);
    });
    assert!(at_once.contains("a loop needs at least two frames, and 'wide' has one"), "{at_once}");
    let early = said(0.5, 40, &|shot| {
        shot.framing.keys = vec![on(11, Moment::Still(2), (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 1.0)];
    });
    assert_eq!(
        early,
        "mistake shot.lua:11: this key comes before the loop's first frame: the shoot's first 0.5 s are only mixed into the \
         clip's end [at = 0 is the first frame, 4 stills into the shoot; a shorter loop = seconds begins earlier]\n"
    );
}

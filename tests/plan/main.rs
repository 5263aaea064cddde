//! Plans, proved as rounded tables and as the words of their diagnostics: no pixel is touched.

mod blend;
mod breaks;
mod build;
mod chosen;
mod covers;
mod cuts;
mod explain;
mod follow;
mod gather;
mod large;
mod layers;
mod loops;
mod moments;
mod paces;
mod paths;
mod random;
mod remarks;
mod rolls;
mod sound;
mod stamps;
mod steady;
mod stills;
mod tracked;
mod turns;
mod windows;

use build::*;
use stillpath::shot::{Moment, Pace, Rate};

#[test]
fn a_constant_pace_and_straight_framing_keys_make_the_plain_table() {
    let mut shot = shot();
    shot.fps = fps("4");
    shot.deliveries = vec![delivery("wide", 1920, 1080, "4")];
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    shot.framing.keys =
        vec![on(11, Moment::Screen(0.0), (0.5, 0.5), 1.0), on(12, Moment::Screen(1.0), (0.5, 0.5), 2.0)];
    // The width halves in four equal ratios: 4000 / 2^(1/4) = 3363.59, and so on.
    let expected = "\
0 0.000 1 0.0,375.0 4000.0x2250.0
1 0.500 1 318.2,554.0 3363.6x1892.0
2 1.000 2 585.8,704.5 2828.4x1591.0
3 1.500 2 810.8,831.1 2378.4x1337.9
4 2.000 3 1000.0,937.5 2000.0x1125.0
5 2.500 3 1000.0,937.5 2000.0x1125.0
";
    assert_eq!(table(&plan(&shot, &shoot(3))), expected);
}

#[test]
fn a_shoot_of_one_still_carries_a_whole_push_in() {
    let mut shot = shot();
    shot.pace.value = Pace::Over(6.0);
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), 2.0)];
    let plan = plan(&shot, &shoot(1));
    let rows = &plan.deliveries[0].rows;
    assert_eq!(rows.len(), 144);
    assert_eq!((rows[0].window.width, rows[143].window.width), (4000.0, 2000.0));
    assert!(plan.remarks.is_empty(), "{}", written(&plan.remarks));
}

#[test]
fn every_delivery_gets_all_the_frames_that_begin_before_the_end() {
    let mut shot = shot();
    shot.deliveries = vec![
        delivery("wide", 1920, 1080, "24"),
        delivery("tall", 1080, 1920, "30"),
        delivery("tv", 1280, 720, "30000/1001"),
    ];
    shot.pace.value = Pace::Over(20.0);
    let plan = plan(&shot, &shoot(100));
    let frames: Vec<usize> = plan.deliveries.iter().map(|delivery| delivery.rows.len()).collect();
    assert_eq!(frames, [480, 600, 600]);
    assert_eq!(plan.length, 20.0);
}

#[test]
fn a_plan_prints_as_a_table_and_as_a_summary() {
    let mut shot = shot();
    shot.deliveries = vec![delivery("wide", 1920, 1080, "24")];
    shot.framing.keys = vec![on(11, Moment::Start, (0.5, 0.5), 2.0)];
    let plan = plan(&shot, &shoot(2));
    let expected = "\
wide 1920x1080 at 24
  frame   seconds   position     still          x          y      width     height enlarged
      0     0.000      0.000         1    1000.00     937.50    2000.00    1125.00    0.960
      1     0.042      1.000         2    1000.00     937.50    2000.00    1125.00    0.960

";
    assert_eq!(stillpath::plan::text(&plan), expected);
    assert_eq!(
        stillpath::plan::summary(&plan),
        "wide 1920x1080 at 24: 2 frames, 0.083 s; deepest 0.960 output pixels per pixel of the still (frame 0); \
         still(1) to still(2)\n\
         stills: 2 = 2 used\n"
    );
    let json = serde_json::to_value(&plan).unwrap();
    assert_eq!(json["deliveries"][0]["rows"][1]["window"]["width"], 2000.0);
    assert_eq!(json["deliveries"][0]["fps"]["numerator"], 24);
}

#[test]
fn mistakes_of_every_part_are_reported_together() {
    let mut shot = shot();
    let mut shoot = shoot(10);
    lose(&mut shoot, 4);
    shot.pace.value = Pace::Constant(Rate::StillsPerFrame(0.0));
    shot.framing.keys = vec![on(11, Moment::Still(99), (0.5, 0.5), 1.0), on(12, Moment::End, (0.5, 0.5), -1.0)];
    let refused = refused(&shot, &shoot);
    for said in
        ["STIL0004 is missing", "a rate must be above 0", "there is no still(99)", "zoom must be above 0; seen -1"]
    {
        assert!(refused.contains(said), "{said}\n{refused}");
    }
}

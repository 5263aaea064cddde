//! Plans, proved as rounded tables and as the words of their diagnostics: no pixel is touched.

mod build;

use build::*;
use stillpath::shot::{Moment, Pace, Rate};

#[test]
fn a_constant_pace_and_straight_framing_keys_make_the_plain_table() {
    let mut shot = shot();
    shot.fps = fps("4");
    shot.deliveries = vec![delivery("wide", 1920, 1080, "4")];
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    shot.framing.keys = vec![on(11, Moment::Screen(0.0), (0.5, 0.5), 1.0), on(12, Moment::Screen(1.0), (0.5, 0.5), 2.0)];
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

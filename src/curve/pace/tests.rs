//! Pace against closed forms, and both its ways against one another.

use proptest::prelude::*;

use super::super::ease::Jump;
use super::*;

fn key(at: f64, rate: f64, ease: Ease) -> Key {
    Key { at, rate, ease, keep: false }
}

fn keyed(axis: Axis, keys: &[Key], stills: f64) -> PaceMap {
    PaceMap::keyed(axis, keys, stills, None).unwrap()
}

/// Position at `time` by summing rate over half a million midpoints, sharing nothing with the closed forms.
fn summed_position(rate: impl Fn(f64) -> f64, time: f64) -> f64 {
    let steps = 500_000;
    let width = time / f64::from(steps);
    (0..steps).map(|step| rate((f64::from(step) + 0.5) * width) * width).sum()
}

#[test]
fn two_frames_a_still_show_every_still_exactly_twice() {
    let fps = FrameRate::new(30_000, 1001).unwrap();
    let pace = PaceMap::constant(5000.0, 30_000.0, 2.0 * 1001.0);
    for frame in 0..10_000_u64 {
        let position = pace.position_of_frame(frame, fps);
        assert_eq!(position, f64::from(u32::try_from(frame).unwrap()) / 2.0);
    }
    assert_eq!(fps.frames_in(crate::units::ScreenTime(pace.length())), 10_000);
}

#[test]
fn on_screen_a_straight_ramp_gains_the_area_of_its_trapezium() {
    let pace = keyed(Axis::Screen, &[key(1.0, 2.0, Ease::Linear), key(5.0, 10.0, Ease::Linear)], 100.0);
    for (time, position) in [(0.0, 0.0), (1.0, 2.0), (3.0, 10.0), (5.0, 26.0), (6.0, 36.0)] {
        assert!((pace.position(time) - position).abs() < 1e-12, "{time}: {}", pace.position(time));
        assert!((pace.time(position) - time).abs() < 1e-12);
    }
    assert!((pace.length() - 12.4).abs() < 1e-12);
    assert_eq!(pace.rate(3.0), 6.0);
}

#[test]
fn on_the_shoots_axis_a_straight_ramp_takes_a_logarithm_of_time() {
    let pace = keyed(Axis::Shoot, &[key(0.0, 2.0, Ease::Linear), key(80.0, 18.0, Ease::Linear)], 100.0);
    // dt/dp = 1 / (2 + p / 5): t = 5 ln(1 + p / 10).
    for position in [0.0, 1.0, 10.0, 40.0, 80.0_f64] {
        let time = 5.0 * (1.0 + position / 10.0).ln();
        assert!((pace.time(position) - time).abs() < 1e-12);
        assert!((pace.position(time) - position).abs() < 1e-11);
    }
    assert!((pace.length() - (5.0 * 9.0_f64.ln() + 20.0 / 18.0)).abs() < 1e-12);
}

#[test]
fn on_screen_an_eased_ramp_gains_the_integral_of_its_curve() {
    let ease = Ease::keyword("ease-in-out").unwrap();
    let pace = keyed(Axis::Screen, &[key(0.0, 4.0, Ease::Linear), key(6.0, 1.0, ease.clone())], 50.0);
    for time in [0.5, 2.0, 3.0, 5.9, 6.0] {
        let summed = summed_position(|t| 4.0 - 3.0 * ease.at(t / 6.0), time);
        assert!((pace.position(time) - summed).abs() < 1e-9, "{time}: {} for {summed}", pace.position(time));
    }
    // The ease is its own half-turn, so the whole way runs at the mean rate.
    assert!((pace.position(6.0) - 15.0).abs() < 1e-12);
}

#[test]
fn on_the_shoots_axis_an_eased_ramp_takes_the_integral_of_one_over_its_rate() {
    let ease = Ease::keyword("ease").unwrap();
    let pace = keyed(Axis::Shoot, &[key(0.0, 30.0, Ease::Linear), key(40.0, 1.0, ease.clone())], 40.0);
    for position in [1.0, 10.0, 25.0, 39.0, 40.0] {
        let summed = summed_position(|p| 1.0 / (30.0 - 29.0 * ease.at(p / 40.0)), position);
        assert!((pace.time(position) - summed).abs() < 1e-9, "{position}: {} for {summed}", pace.time(position));
    }
}

#[test]
fn a_step_ease_makes_the_rate_jump() {
    let steps = Ease::Steps { count: 2, jump: Jump::End };
    let pace = keyed(Axis::Shoot, &[key(0.0, 1.0, Ease::Linear), key(10.0, 5.0, steps)], 15.0);
    // Five stills at 1, five at 3, five at 5.
    let expected = 5.0 + 5.0 / 3.0 + 1.0;
    assert!((pace.length() - expected).abs() < 1e-12);
    assert_eq!(pace.constant_stretches().iter().map(|stretch| stretch.rate).collect::<Vec<_>>(), [1.0, 3.0, 5.0]);
}

#[test]
fn an_ease_that_takes_the_rate_to_nothing_is_a_fault_with_its_key() {
    let back = Ease::CubicBezier { x1: 0.3, y1: -1.5, x2: 0.7, y2: 1.0 };
    let keys = [key(0.0, 1.0, Ease::Linear), key(5.0, 2.0, Ease::Linear), key(10.0, 8.0, back)];
    for axis in [Axis::Screen, Axis::Shoot] {
        match PaceMap::keyed(axis, &keys, 20.0, None) {
            Err(Fault::Stops { key: 2, lowest }) => assert!(lowest < 0.0, "{lowest}"),
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_fit_lasts_exactly_as_long_and_leaves_kept_sections_alone() {
    let mut keys = [
        key(0.0, 8.0, Ease::Linear),
        key(20.0, 8.0, Ease::Linear),
        key(60.0, 2.0, Ease::keyword("ease-in-out").unwrap()),
        key(70.0, 2.0, Ease::Linear),
        key(100.0, 8.0, Ease::Linear),
    ];
    keys[3].keep = true;
    let pace = PaceMap::keyed(Axis::Shoot, &keys, 120.0, Some(20.0)).unwrap();
    assert_eq!(pace.length(), 20.0);
    assert!((pace.time(120.0) - 20.0).abs() < 1e-12, "{}", pace.time(120.0));
    // The kept ten stills at 2 a second.
    assert!((pace.time(70.0) - pace.time(60.0) - 5.0).abs() < 1e-12);
    let free = keyed(Axis::Shoot, &keys, 120.0);
    let scale = free.rate(0.0) / pace.rate(0.0);
    assert!(((free.time(60.0) - free.time(20.0)) * scale - (pace.time(60.0) - pace.time(20.0))).abs() < 1e-12);
    assert_eq!(PaceMap::keyed(Axis::Shoot, &keys, 120.0, Some(4.0)), Err(Fault::KeptTooLong { kept: 5.0 }));
}

#[test]
fn stretches_at_one_rate_are_found_and_joined() {
    let keys = [key(0.0, 2.0, Ease::Linear), key(10.0, 2.0, Ease::Linear), key(20.0, 4.0, Ease::Linear)];
    let pace = keyed(Axis::Shoot, &keys, 40.0);
    let ramp = 10.0_f64 / 2.0 * 2.0_f64.ln();
    let stretches = pace.constant_stretches();
    assert_eq!(stretches.len(), 2);
    assert_eq!((stretches[0].from, stretches[0].to, stretches[0].rate), (0.0, 5.0, 2.0));
    assert!((stretches[1].from - (5.0 + ramp)).abs() < 1e-12 && (stretches[1].to - stretches[1].from - 5.0).abs() < 1e-12);
}

fn any_ease() -> impl Strategy<Value = Ease> {
    let side = 0.0..=1.0_f64;
    prop_oneof![
        Just(Ease::Linear),
        (side.clone(), side.clone(), side.clone(), side.clone()).prop_map(|(x1, y1, x2, y2)| Ease::CubicBezier {
            x1,
            y1,
            x2,
            y2
        }),
        (2_u32..9, prop_oneof![Just(Jump::Start), Just(Jump::End), Just(Jump::None), Just(Jump::Both)])
            .prop_map(|(count, jump)| Ease::Steps { count, jump }),
        (side.clone(), side.clone(), side).prop_map(|(x, y, z)| Ease::Points(vec![(0.0, y), (x, z), (1.0, 1.0)])),
    ]
}

proptest! {
    #[test]
    fn forward_and_inverse_agree_to_1e_9_and_never_turn_back(
        on_screen in any::<bool>(),
        ways in proptest::collection::vec((0.5..20.0_f64, 0.05..60.0_f64, any_ease()), 1..6),
        shares in proptest::collection::vec(0.0..=1.0_f64, 20),
    ) {
        let (mut at, mut keys) = (0.0, Vec::new());
        for (gap, rate, ease) in ways {
            at += gap;
            keys.push(key(at, rate, ease));
        }
        let axis = if on_screen { Axis::Screen } else { Axis::Shoot };
        let pace = keyed(axis, &keys, at + 7.5);
        let mut last = (-1.0, -1.0);
        let mut shares = shares;
        shares.sort_by(f64::total_cmp);
        for share in shares {
            let time = share * pace.length();
            let position = pace.position(time);
            prop_assert!(position.is_finite() && (0.0..=at + 7.5).contains(&position));
            prop_assert!((pace.time(position) - time).abs() < 1e-9, "time {} came back as {}", time, pace.time(position));
            prop_assert!((pace.position(pace.time(position)) - position).abs() < 1e-9);
            prop_assert!(time >= last.0 && position >= last.1);
            last = (time, position);
        }
    }
}

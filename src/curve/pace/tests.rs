//! Pace against closed forms, and both its ways against one another.

use proptest::prelude::*;

use super::super::ease::Jump;
use super::*;

fn key(at: f64, rate: f64, ease: Ease) -> Key {
    Key { at, rate, ease, keep: false, backwards: false }
}

fn keyed(axis: Axis, keys: &[Key], stills: f64) -> PaceMap {
    PaceMap::keyed(axis, keys, &[], stills, None).unwrap()
}

#[test]
fn two_frames_a_still_show_every_still_exactly_twice() {
    let fps = FrameRate::new(30_000, 1001).unwrap();
    let pace = PaceMap::constant(5000.0, 30_000.0, 2.0 * 1001.0);
    for frame in 0..10_000_u64 {
        let position = pace.stand_of_frame(frame, fps).position;
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

/// Python's mpmath 1.4.1 with 40 digits: over `parameter` of a way `width` wide from one rate to another, the integral of the
/// rate and that of one over the rate. The upright curve is cubic-bezier(1, 0, 0, 1), whose tangent is vertical in the middle.
#[test]
fn eased_ramps_agree_with_40_digit_integrals_to_1e_9_on_both_axes() {
    #[rustfmt::skip]
    let table = [
        ("ease", [30.0, 1.0, 40.0], 10.0, 253.301191129578, 0.403681993100126),
        ("ease", [30.0, 1.0, 40.0], 20.0, 370.07738702674, 1.33306679055813),
        ("ease", [30.0, 1.0, 40.0], 36.0, 420.033777366412, 8.02228175649315),
        ("ease", [30.0, 1.0, 40.0], 40.0, 424.25, 11.8251105441286),
        ("ease-in-out", [30.0, 1.0, 40.0], 10.0, 287.727891947761, 0.34808671551971),
        ("ease-in-out", [30.0, 1.0, 40.0], 20.0, 500.675, 0.828644669166516),
        ("ease-in-out", [30.0, 1.0, 40.0], 36.0, 615.245145947041, 4.26269049402957),
        ("ease-in-out", [30.0, 1.0, 40.0], 40.0, 620.0, 7.6927336602945),
        ("ease-in", [0.5, 24.0, 10.0], 2.5, 3.18033382772416, 2.60119964115909),
        ("ease-in", [0.5, 24.0, 10.0], 5.0, 15.9535226188416, 3.13886781955165),
        ("ease-in", [0.5, 24.0, 10.0], 9.0, 70.8079181194701, 3.45221845143514),
        ("ease-in", [0.5, 24.0, 10.0], 10.0, 92.89, 3.49761419039112),
        ("upright", [30.0, 1.0, 40.0], 10.0, 297.402601698844, 0.336268331786398),
        ("upright", [30.0, 1.0, 40.0], 20.0, 563.75, 0.715139959468934),
        ("upright", [30.0, 1.0, 40.0], 36.0, 615.859062885413, 7.97002424409517),
        ("upright", [30.0, 1.0, 40.0], 40.0, 620.0, 11.8375613213447),
        ("upright", [0.5, 24.0, 10.0], 2.5, 1.7761970696308, 3.77936249298466),
        ("upright", [0.5, 24.0, 10.0], 5.0, 9.84375, 4.81326717763637),
        ("upright", [0.5, 24.0, 10.0], 9.0, 98.5285519154551, 4.99527248435457),
        ("upright", [0.5, 24.0, 10.0], 10.0, 122.5, 5.03698882898452),
    ];
    for (name, [from, to, width], parameter, rate, one_over_rate) in table {
        let upright = Ease::CubicBezier { x1: 1.0, y1: 0.0, x2: 0.0, y2: 1.0 };
        let keys = [key(0.0, from, Ease::Linear), key(width, to, Ease::keyword(name).unwrap_or(upright))];
        let position = keyed(Axis::Screen, &keys, 1e4).position(parameter);
        let time = keyed(Axis::Shoot, &keys, 1e4).time(parameter);
        assert!((position - rate).abs() < 1e-9, "{name} at {parameter}: {position} for {rate}");
        assert!((time - one_over_rate).abs() < 1e-9, "{name} at {parameter}: {time} for {one_over_rate}");
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
        match PaceMap::keyed(axis, &keys, &[], 20.0, None) {
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
    let pace = PaceMap::keyed(Axis::Shoot, &keys, &[], 120.0, Some(20.0)).unwrap();
    assert_eq!(pace.length(), 20.0);
    assert!((pace.time(120.0) - 20.0).abs() < 1e-12, "{}", pace.time(120.0));
    // The kept ten stills at 2 a second.
    assert!((pace.time(70.0) - pace.time(60.0) - 5.0).abs() < 1e-12);
    let free = keyed(Axis::Shoot, &keys, 120.0);
    let scale = free.rate(0.0) / pace.rate(0.0);
    assert!(((free.time(60.0) - free.time(20.0)) * scale - (pace.time(60.0) - pace.time(20.0))).abs() < 1e-12);
    assert_eq!(PaceMap::keyed(Axis::Shoot, &keys, &[], 120.0, Some(4.0)), Err(Fault::KeptTooLong { kept: 5.0 }));
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
        ways in proptest::collection::vec((0.5..20.0_f64, -2.0..3.0_f64, any_ease()), 1..6),
        shares in proptest::collection::vec(0.0..=1.0_f64, 20),
    ) {
        let (mut at, mut keys) = (0.0, Vec::new());
        for (gap, rate, ease) in ways {
            at += gap;
            keys.push(key(at, 10.0_f64.powf(rate), ease));
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

//! Pace against closed forms, and both its ways against one another.

use proptest::prelude::*;

use super::super::ease::Jump;
use super::*;

fn key(at: f64, rate: f64, ease: Ease) -> Key {
    Key { at, rate, ease, keep: false, backwards: false }
}

fn keyed(axis: Timeline, keys: &[Key], stills: f64) -> PaceMap {
    PaceMap::keyed(axis, keys, &[], stills, None).unwrap()
}

#[test]
fn two_frames_a_still_show_every_still_exactly_twice() {
    let fps = FrameRate::new(30_000, 1001).unwrap();
    let pace = PaceMap::constant(5000.0, 30_000.0, 2.0 * 1001.0);
    for frame in 0..10_000_u64 {
        let position = pace.stand_of_frame(frame.cast_signed(), fps).position;
        assert_eq!(position, f64::from(u32::try_from(frame).unwrap()) / 2.0);
    }
    assert_eq!(fps.frames_in(crate::units::ScreenTime(pace.length())), 10_000);
}

#[test]
fn on_screen_a_straight_ramp_gains_the_area_of_its_trapezium() {
    let pace = keyed(Timeline::Screen, &[key(1.0, 2.0, Ease::Linear), key(5.0, 10.0, Ease::Linear)], 100.0);
    for (time, position) in [(0.0, 0.0), (1.0, 2.0), (3.0, 10.0), (5.0, 26.0), (6.0, 36.0)] {
        assert!((pace.position(time) - position).abs() < 1e-12, "{time}: {}", pace.position(time));
        assert!((pace.time(position) - time).abs() < 1e-12);
    }
    assert!((pace.length() - 12.4).abs() < 1e-12);
    assert_eq!(pace.rate(3.0), 6.0);
}

#[test]
fn on_the_shoots_axis_a_straight_ramp_takes_a_logarithm_of_time() {
    let pace = keyed(Timeline::Shoot, &[key(0.0, 2.0, Ease::Linear), key(80.0, 18.0, Ease::Linear)], 100.0);
    // dt/dp = 1 / (2 + p / 5): t = 5 ln(1 + p / 10).
    for position in [0.0, 1.0, 10.0, 40.0, 80.0_f64] {
        let time = 5.0 * (1.0 + position / 10.0).ln();
        assert!((pace.time(position) - time).abs() < 1e-12);
        assert!((pace.position(time) - position).abs() < 1e-11);
    }
    assert!((pace.length() - (5.0 * 9.0_f64.ln() + 20.0 / 18.0)).abs() < 1e-12);
}

/// Python's mpmath 1.4.1 with 40 digits: over `parameter` of a way `width` wide from one rate to another, the integral
/// of the rate and that of one over the rate. The upright curve is cubic-bezier(1, 0, 0, 1), whose tangent is vertical
/// in the middle.
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
        let position = keyed(Timeline::Screen, &keys, 1e4).position(parameter);
        let time = keyed(Timeline::Shoot, &keys, 1e4).time(parameter);
        assert!((position - rate).abs() < 1e-9, "{name} at {parameter}: {position} for {rate}");
        assert!((time - one_over_rate).abs() < 1e-9, "{name} at {parameter}: {time} for {one_over_rate}");
    }
}

#[test]
fn a_step_ease_makes_the_rate_jump() {
    let steps = Ease::Steps { count: 2, jump: Jump::End };
    let pace = keyed(Timeline::Shoot, &[key(0.0, 1.0, Ease::Linear), key(10.0, 5.0, steps)], 15.0);
    // Five stills at 1, five at 3, five at 5.
    let expected = 5.0 + 5.0 / 3.0 + 1.0;
    assert!((pace.length() - expected).abs() < 1e-12);
    assert_eq!(pace.constant_stretches().iter().map(|stretch| stretch.rate).collect::<Vec<_>>(), [1.0, 3.0, 5.0]);
}

#[test]
fn an_ease_that_takes_the_rate_to_nothing_is_a_fault_with_its_key() {
    let back = Ease::CubicBezier { x1: 0.3, y1: -1.5, x2: 0.7, y2: 1.0 };
    let keys = [key(0.0, 1.0, Ease::Linear), key(5.0, 2.0, Ease::Linear), key(10.0, 8.0, back)];
    for axis in [Timeline::Screen, Timeline::Shoot] {
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
    let pace = PaceMap::keyed(Timeline::Shoot, &keys, &[], 120.0, Some(20.0)).unwrap();
    assert_eq!(pace.length(), 20.0);
    assert!((pace.time(120.0) - 20.0).abs() < 1e-12, "{}", pace.time(120.0));
    // The kept ten stills at 2 a second.
    assert!((pace.time(70.0) - pace.time(60.0) - 5.0).abs() < 1e-12);
    let free = keyed(Timeline::Shoot, &keys, 120.0);
    let scale = free.rate(0.0) / pace.rate(0.0);
    assert!(((free.time(60.0) - free.time(20.0)) * scale - (pace.time(60.0) - pace.time(20.0))).abs() < 1e-12);
    assert_eq!(PaceMap::keyed(Timeline::Shoot, &keys, &[], 120.0, Some(4.0)), Err(Fault::KeptTooLong { kept: 5.0 }));
}

#[test]
fn stretches_at_one_rate_are_found_and_joined() {
    let keys = [key(0.0, 2.0, Ease::Linear), key(10.0, 2.0, Ease::Linear), key(20.0, 4.0, Ease::Linear)];
    let pace = keyed(Timeline::Shoot, &keys, 40.0);
    let ramp = 10.0_f64 / 2.0 * 2.0_f64.ln();
    let stretches = pace.constant_stretches();
    assert_eq!(stretches.len(), 2);
    assert_eq!((stretches[0].from, stretches[0].to, stretches[0].rate), (0.0, 5.0, 2.0));
    assert!(
        (stretches[1].from - (5.0 + ramp)).abs() < 1e-12 && (stretches[1].to - stretches[1].from - 5.0).abs() < 1e-12
    );
}

/// A key whose way runs backwards.
fn back(at: f64, rate: f64) -> Key {
    Key { backwards: true, ..key(at, rate, Ease::Linear) }
}

#[test]
fn a_rest_stops_the_shoot_for_its_seconds_and_moves_all_that_comes_after() {
    let keys = [key(0.0, 2.0, Ease::Linear), key(80.0, 18.0, Ease::Linear)];
    let free = keyed(Timeline::Shoot, &keys, 100.0);
    // On the way, at a key, and at the shoot's end.
    let rests =
        [(1, 30.0, 1.5), (2, 80.0, 0.25), (2, 100.0, 3.0)].map(|(after, at, seconds)| Rest { after, at, seconds });
    let pace = PaceMap::keyed(Timeline::Shoot, &keys, &rests, 100.0, None).unwrap();
    assert!((pace.length() - (free.length() + 4.75)).abs() < 1e-12);
    for (position, rested, rest) in
        [(10.0, 0.0, 0.0), (30.0, 0.0, 1.5), (50.0, 1.5, 0.0), (80.0, 1.5, 0.25), (90.0, 1.75, 0.0), (100.0, 1.75, 3.0)]
    {
        let arrival = free.time(position) + rested;
        assert!((pace.time(position) - arrival).abs() < 1e-12, "{position}: {} for {arrival}", pace.time(position));
        for share in [0.0, 0.3, 1.0] {
            assert!((pace.position(arrival + share * rest) - position).abs() < 1e-9);
        }
        assert_eq!(pace.rate(arrival + 0.1) == 0.0, rest > 0.0);
    }
    let rests: Vec<f64> = pace.rests().map(|(from, to)| to - from).collect();
    assert!(rests.iter().zip([1.5, 0.25, 3.0]).all(|(seen, due)| (seen - due).abs() < 1e-12));
}

#[test]
fn a_fit_counts_the_rests_and_refuses_those_that_exceed_it() {
    let keys = [key(0.0, 2.0, Ease::Linear), key(80.0, 18.0, Ease::Linear)];
    let rests = [Rest { after: 1, at: 30.0, seconds: 4.0 }];
    let pace = PaceMap::keyed(Timeline::Shoot, &keys, &rests, 100.0, Some(20.0)).unwrap();
    assert_eq!(pace.length(), 20.0);
    assert!((pace.time(100.0) - 20.0).abs() < 1e-12 && (pace.time(30.1) - pace.time(30.0)) > 4.0);
    assert_eq!(PaceMap::keyed(Timeline::Shoot, &keys, &rests, 100.0, Some(4.0)), Err(Fault::KeptTooLong { kept: 4.0 }));
}

#[test]
fn on_screen_a_rest_takes_its_seconds_out_of_the_way_and_leaves_the_keys_where_they_are() {
    // From 2 to 10 stills a second over 8 s of which the shoot moves for 5: 30 stills, after 4 before the first key.
    let keys = [key(2.0, 2.0, Ease::Linear), key(10.0, 10.0, Ease::Linear)];
    let rests = [Rest { after: 1, at: 4.0, seconds: 3.0 }];
    let pace = PaceMap::keyed(Timeline::Screen, &keys, &rests, 100.0, None).unwrap();
    for (time, position) in [(2.0, 4.0), (4.0, 11.2), (5.5, 11.2), (7.0, 11.2), (10.0, 34.0), (11.0, 44.0)] {
        assert!((pace.position(time) - position).abs() < 1e-12, "{time}: {}", pace.position(time));
    }
    assert!((pace.time(11.2) - 4.0).abs() < 1e-12);
    // A key at the very end of a rest: the rate jumps.
    let keys = [key(0.0, 2.0, Ease::Linear), key(2.0, 2.0, Ease::Linear), key(5.0, 8.0, Ease::Linear)];
    let rests = [Rest { after: 2, at: 2.0, seconds: 3.0 }];
    let pace = PaceMap::keyed(Timeline::Screen, &keys, &rests, 20.0, None).unwrap();
    assert_eq!([1.0, 2.0, 4.9, 5.0, 6.0].map(|time| pace.position(time)), [2.0, 4.0, 4.0, 4.0, 12.0]);
    assert_eq!(pace.length(), 7.0);
    let stretches: Vec<(f64, f64, f64)> =
        pace.constant_stretches().iter().map(|at| (at.from, at.to, at.rate)).collect();
    assert_eq!(stretches, [(0.0, 2.0, 2.0), (5.0, 7.0, 8.0)]);
}

#[test]
fn a_pace_turns_back_at_a_key_and_again_and_shows_every_still_its_share() {
    let keys = [key(8.0, 4.0, Ease::Linear), back(4.0, 4.0), key(12.0, 4.0, Ease::Linear)];
    let pace = keyed(Timeline::Shoot, &keys, 12.0);
    assert_eq!(pace.length(), 5.0);
    let stills: Vec<usize> =
        (0..20).map(|frame| pace.stand_of_frame(frame, FrameRate::new(4, 1).unwrap()).whole()).collect();
    assert_eq!(stills, [0, 1, 2, 3, 4, 5, 6, 7, 7, 6, 5, 4, 4, 5, 6, 7, 8, 9, 10, 11]);
    // First arrivals, and how far it comes.
    assert_eq!([4.0, 8.0, 9.0, 12.0].map(|position| pace.time(position)), [1.0, 2.0, 4.25, 5.0]);
    assert_eq!([1.0, 2.5, 3.9, 4.25, 5.0].map(|time| pace.furthest(time)), [4.0, 8.0, 8.0, 9.0, 12.0]);
    assert_eq!([0.5, 2.5, 3.5].map(|time| pace.rate(time)), [4.0, -4.0, 4.0]);
    assert_eq!(pace.constant_stretches().len(), 3);
}

#[test]
fn a_pace_that_runs_backwards_from_the_end_is_the_mirror_of_one_that_runs_forwards() {
    let fps = FrameRate::new(24, 1).unwrap();
    for axis in [Timeline::Screen, Timeline::Shoot] {
        let ease = || Ease::keyword("ease-in-out").unwrap();
        let (first, second) =
            if axis == Timeline::Screen { ((0.0, 0.0), (4.0, 4.0)) } else { ((0.0, 100.0), (60.0, 40.0)) };
        let ahead = keyed(axis, &[key(first.0, 30.0, Ease::Linear), key(second.0, 6.0, ease())], 100.0);
        let keys = [back(first.1, 30.0), Key { ease: ease(), ..back(second.1, 6.0) }];
        let mirrored = keyed(axis, &keys, 100.0);
        assert!(mirrored.begins_at_end() && (mirrored.length() - ahead.length()).abs() < 1e-12);
        for frame in 0..fps.frames_in(crate::units::ScreenTime(ahead.length())) {
            let (one, other) =
                (ahead.stand_of_frame(frame.cast_signed(), fps), mirrored.stand_of_frame(frame.cast_signed(), fps));
            assert!((100.0 - one.position - other.position).abs() < 1e-9);
            assert_eq!(one.whole() + other.whole(), 99, "frame {frame}");
            assert!((mirrored.time(other.position) - ahead.time(one.position)).abs() < 1e-9);
        }
    }
}

#[test]
fn a_pace_on_screen_ends_where_it_runs_out_of_stills_and_turns_where_it_only_touches_the_end() {
    // Ten stills forwards, then back past the beginning after three more seconds.
    let pace = keyed(Timeline::Screen, &[key(2.0, 5.0, Ease::Linear), back(9.0, 5.0)], 40.0);
    assert!((pace.length() - 4.0).abs() < 1e-12 && pace.position(4.0) < 1e-12);
    assert_eq!(pace.time(10.0), 2.0);
    assert_eq!(pace.time(10.1), f64::INFINITY);
    // To the very end, and back: it does not stop there.
    let pace = keyed(Timeline::Screen, &[key(4.0, 10.0, Ease::Linear), back(8.0, 10.0)], 40.0);
    assert!(
        (pace.length() - 8.0).abs() < 1e-9 && pace.position(4.0) == 40.0 && (pace.position(5.0) - 30.0).abs() < 1e-12
    );
    // Past the end before the turn.
    let pace = keyed(Timeline::Screen, &[key(4.1, 10.0, Ease::Linear), back(8.0, 10.0)], 40.0);
    assert!((pace.length() - 4.0).abs() < 1e-12);
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

/// Random ways: gaps on the axis, rates as powers of ten, eases, whether each runs backwards, whether a rest begins at
/// its key.
type Ways = Vec<(f64, f64, Ease, bool, Option<f64>)>;

fn any_ways(turning: bool) -> impl Strategy<Value = Ways> {
    let turned = if turning { any::<bool>().boxed() } else { Just(false).boxed() };
    let rest = proptest::option::of(0.1..4.0_f64);
    proptest::collection::vec((0.5..20.0_f64, -2.0..3.0_f64, any_ease(), turned, rest), 1..7)
}

/// The pace of random ways. On the shoot's axis a way goes only as far as there are stills.
fn random_pace(axis: Timeline, ways: Ways, stills: f64) -> PaceMap {
    let mut keys: Vec<Key> = Vec::new();
    let mut rests = Vec::new();
    let (mut at, mut rested) = (if axis == Timeline::Shoot && ways[0].3 { stills } else { 0.0 }, 0.0);
    for (gap, rate, ease, backwards, rest) in ways {
        let next = match axis {
            Timeline::Screen => at + gap + rested,
            Timeline::Shoot if backwards => at - gap.min(at),
            Timeline::Shoot => at + gap.min(stills - at),
        };
        if next == at {
            continue;
        }
        (at, rested) = (next, if axis == Timeline::Screen { rest.unwrap_or(0.0) } else { 0.0 });
        keys.push(Key { backwards, ..key(at, 10.0_f64.powf(rate), ease) });
        rests.extend(rest.map(|seconds| Rest { after: keys.len(), at, seconds }));
    }
    PaceMap::keyed(axis, &keys, &rests, stills, None).unwrap()
}

proptest! {
    #[test]
    fn forward_and_inverse_agree_to_1e_9_wherever_the_pace_moves_and_it_never_jumps(
        on_screen in any::<bool>(),
        ways in any_ways(true),
        stills in 15.0..80.0_f64,
        mut shares in proptest::collection::vec(0.0..=1.0_f64, 40),
    ) {
        let pace = random_pace(if on_screen { Timeline::Screen } else { Timeline::Shoot }, ways, stills);
        shares.sort_by(f64::total_cmp);
        let mut furthest = 0.0_f64;
        for share in shares {
            let time = share * pace.length();
            let position = pace.position(time);
            prop_assert!(position.is_finite() && (0.0..=stills).contains(&position));
            let arrival = pace.time(position);
            prop_assert!(arrival <= time + 1e-9, "{} is first met at {}, after {}", position, arrival, time);
            prop_assert!((pace.position(arrival) - position).abs() < 1e-9);
            let came = (pace.furthest(time) - if pace.begins_at_end() { stills } else { 0.0 }).abs();
            let here = (position - if pace.begins_at_end() { stills } else { 0.0 }).abs();
            prop_assert!(came >= here - 1e-9 && came >= furthest - 1e-9);
            // Where it has never been before and does not rest, the arrival is now.
            if here > furthest + 1e-6 && came <= here + 1e-12 && pace.rate(time) != 0.0 {
                prop_assert!((arrival - time).abs() < 1e-9, "time {} came back as {}", time, arrival);
            }
            furthest = furthest.max(came);
            let rate = pace.rate(time).abs().max(pace.rate(time + 1e-7).abs());
            let step = (pace.position(time + 1e-7) - position).abs();
            prop_assert!(step <= rate * 1.01e-7 + 1e-9, "a jump of {} at {}", step, time);
        }
        let end = pace.position(pace.length());
        prop_assert!(end.min(stills - end) < 1e-6, "it ends at {} of {}", end, stills);
    }
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
        let axis = if on_screen { Timeline::Screen } else { Timeline::Shoot };
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

#[test]
fn a_pace_that_is_led_in_is_the_same_pace_seen_from_later_on() {
    let fps = FrameRate::new(30_000, 1001).unwrap();
    let turning =
        [key(0.0, 20.0, Ease::Linear), key(2.0, 30.0, Ease::Linear), back(4.0, 10.0), key(6.0, 5.0, Ease::Linear)];
    let rests = [Rest { after: 2, at: 2.5, seconds: 0.5 }];
    let resting = PaceMap::keyed(Timeline::Screen, &turning, &rests, 100.0, None).unwrap();
    for pace in [PaceMap::constant(100.0, 24.0, 1.0), resting] {
        let led = pace.clone().led_in(1.5);
        assert!((led.length() - (pace.length() - 1.5)).abs() < 1e-12);
        for step in -45..150 {
            let time = f64::from(step) / 30.0;
            assert!((led.position(time) - pace.position(time + 1.5)).abs() < 1e-9);
            assert_eq!(led.rate(time), pace.rate(time + 1.5));
            let (one, other) =
                (led.stand_of_frame(i64::from(step), fps), pace.stand(fps.time_around(i64::from(step)) + 1.5));
            assert!((one.position - other.position).abs() < 1e-9 && one.backwards == other.backwards);
        }
        for still in 0..50 {
            let (one, other) = (led.time(f64::from(still)), pace.time(f64::from(still)));
            assert!(one == other || (one + 1.5 - other).abs() < 1e-12);
        }
        assert!(led.rests().zip(pace.rests()).all(|(one, other)| one.0 + 1.5 == other.0 && one.1 + 1.5 == other.1));
    }
}

#[test]
fn the_legs_between_two_moments_join_and_turn_where_the_pace_does() {
    let turning =
        [key(0.0, 10.0, Ease::Linear), key(2.0, 10.0, Ease::Linear), back(3.0, 10.0), key(4.0, 10.0, Ease::Linear)];
    let pace = keyed(Timeline::Screen, &turning, 100.0);
    assert!(pace.turns() && !keyed(Timeline::Screen, &turning[..2], 100.0).turns());
    let near = |seen: Vec<(f64, f64)>, due: &[(f64, f64)]| {
        assert_eq!(seen.len(), due.len(), "{seen:?}");
        assert!(
            seen.iter().zip(due).all(|(one, other)| (one.0 - other.0).abs() < 1e-9 && (one.1 - other.1).abs() < 1e-9),
            "{seen:?}"
        );
    };
    near(pace.legs(0.5, 1.5), &[(5.0, 15.0)]);
    near(pace.legs(1.5, 2.5), &[(15.0, 20.0), (20.0, 15.0)]);
    near(pace.legs(1.5, 3.5), &[(15.0, 20.0), (20.0, 10.0), (10.0, 15.0)]);
    near(pace.legs(2.0, 3.0), &[(20.0, 10.0)]);
    assert_eq!([0.0, 1.9, 2.5, 3.5, 9.0].map(|time| pace.keys_passed(time)), [1, 1, 2, 3, 4]);
    assert_eq!([0, 1, 2, 3].map(|key| pace.key_time(key)), [Some(0.0), Some(2.0), Some(3.0), Some(4.0)]);
}

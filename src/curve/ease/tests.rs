//! Eases against published values.

use proptest::prelude::*;

use super::*;

fn bezier(x1: f64, y1: f64, x2: f64, y2: f64) -> Ease {
    Ease::CubicBezier { x1, y1, x2, y2 }
}

/// The five curves of the tables below.
fn curves() -> [Ease; 5] {
    let keyword = |name| Ease::keyword(name).unwrap();
    [keyword("ease"), keyword("ease-in"), keyword("ease-out"), keyword("ease-in-out"), bezier(0.5, 1.0, 0.5, 0.0)]
}

/// CSS Easing Level 2 §2.3.1 evaluated with 40 digits; npm's bezier-easing 3.2.0 agrees to 1.7e-16.
#[test]
fn cubic_beziers_agree_with_the_40_digit_table_to_1e_9() {
    #[rustfmt::skip]
    let table = [
        (0.1, [0.0947963057160432, 0.0170266096515629, 0.160572154237533, 0.0197224535483112, 0.185378114036465]),
        (0.2, [0.295244334267822, 0.0622820001367323, 0.308366066680687, 0.0816598562658975, 0.335504967606851]),
        (0.25, [0.408510591355396, 0.0934646507188249, 0.37813813082511, 0.12916193104732, 0.394107456974982]),
        (0.3, [0.513315160973358, 0.129576760845353, 0.445185967471337, 0.187395906705313, 0.439973310268161]),
        (0.4, [0.68254050597814, 0.214860938752893, 0.570880230703683, 0.331883870097646, 0.491135047276531]),
        (0.5, [0.802403387584857, 0.315356812572539, 0.684643187427461, 0.5, 0.5]),
        (0.6, [0.88522930987612, 0.429119769296317, 0.785139061247107, 0.668116129902354, 0.508864952723469]),
        (0.7, [0.94076461429764, 0.554814032528663, 0.870423239154647, 0.812604093294687, 0.560026689731839]),
        (0.75, [0.960458978348974, 0.62186186917489, 0.906535349281175, 0.87083806895268, 0.605892543025018]),
        (0.8, [0.975625355623567, 0.691633933319313, 0.937717999863268, 0.918340143734103, 0.664495032393149]),
        (0.9, [0.994316477484556, 0.839427845762467, 0.982973390348437, 0.980277546451689, 0.814621885963535]),
    ];
    for (x, row) in table {
        for (ease, expected) in curves().iter().zip(row) {
            let seen = ease.at(x);
            assert!((seen - expected).abs() < 1e-13, "{ease:?} at {x}: {seen} for {expected}");
        }
    }
}

/// The same source, outside 0 to 1.
#[test]
fn outside_its_range_a_cubic_bezier_runs_on_along_its_tangent() {
    let third = 0.862068965517241;
    let sixth = 0.172413793103448;
    let table = [
        (-0.5, [-0.2, 0.0, -third, 0.0, -1.0]),
        (-0.1, [-0.04, 0.0, -sixth, 0.0, -0.2]),
        (1.1, [1.0, 1.0 + sixth, 1.0, 1.0, 1.2]),
        (1.5, [1.0, 1.0 + third, 1.0, 1.0, 2.0]),
    ];
    for (x, row) in table {
        for (ease, expected) in curves().iter().zip(row) {
            assert!((ease.at(x) - expected).abs() < 1e-13, "{ease:?} at {x}: {} for {expected}", ease.at(x));
        }
    }
}

/// web-platform-tests `css/css-easing/cubic-bezier-timing-functions-output.html`; the draft's text would give 0.75 and
/// 0.25.
#[test]
fn a_vertical_tangent_holds_the_end_value_as_the_browser_tests_have_it() {
    let (over, under) = (bezier(0.0, 1.5, 1.0, 1.5), bezier(0.0, -0.5, 1.0, -0.5));
    assert_eq!((over.at(1.5), over.at(-0.5)), (1.0, 0.0));
    assert_eq!((under.at(-0.5), under.at(1.5)), (0.0, 1.0));
    assert_eq!((over.at(0.0), over.at(1.0), under.at(0.0), under.at(1.0)), (0.0, 1.0, 0.0, 1.0));
}

/// web-platform-tests' chained curves, evaluated with 40 digits.
#[test]
fn chained_overshooting_curves_agree_with_the_browser_tests() {
    let (over, twice, under) = (bezier(0.0, 1.5, 1.0, 1.5), bezier(0.5, 1.0, 0.5, 0.0), bezier(0.0, -0.5, 1.0, -0.5));
    for (ease, x, alone, chained) in [
        (&over, 0.23, 0.9943318003, 0.988706655442),
        (&over, 0.24, 1.00950339897, 1.01900679794),
        (&over, 0.7, 1.29901822214, 1.59803644427),
        (&over, 0.99, 1.08294596545, 1.16589193091),
        (&under, 0.01, -0.0829459654538, -0.165891930908),
        (&under, 0.3, -0.299018222136, -0.598036444271),
    ] {
        assert!((ease.at(x) - alone).abs() < 1e-10, "{x}: {}", ease.at(x));
        assert!((twice.at(ease.at(x)) - chained).abs() < 1e-10, "{x}: {}", twice.at(ease.at(x)));
    }
    assert!((over.at(0.233_687_939_614) - 1.0).abs() < 1e-10);
    assert!(under.at(0.766_312_060_386).abs() < 1e-10);
}

/// CSS Easing Level 2 §2.4.1, before flag not set.
#[test]
fn steps_agree_with_the_drafts_algorithm() {
    let third = 1.0 / 3.0;
    let inputs = [-0.25, -0.01, 0.0, 0.1, 0.25, 0.4, 0.5, 0.75, 0.99, 1.0, 1.01, 1.25];
    for (jump, outputs) in [
        (Jump::Start, [0.0, 0.0, 0.25, 0.25, 0.5, 0.5, 0.75, 1.0, 1.0, 1.0, 1.25, 1.5]),
        (Jump::End, [-0.25, -0.25, 0.0, 0.0, 0.25, 0.25, 0.5, 0.75, 0.75, 1.0, 1.0, 1.25]),
        (Jump::None, [-third, -third, 0.0, 0.0, third, third, 2.0 * third, 1.0, 1.0, 1.0, 4.0 * third, 5.0 * third]),
        (Jump::Both, [0.0, 0.0, 0.2, 0.2, 0.4, 0.4, 0.6, 0.8, 0.8, 1.0, 1.0, 1.2]),
    ] {
        let ease = Ease::Steps { count: 4, jump };
        for (x, expected) in inputs.into_iter().zip(outputs) {
            assert!((ease.at(x) - expected).abs() < 1e-15, "{jump:?} at {x}: {} for {expected}", ease.at(x));
        }
    }
}

#[test]
fn before_a_jump_the_before_flag_gives_the_step_before() {
    let steps = |jump| Ease::Steps { count: 4, jump };
    assert_eq!((steps(Jump::End).at_before(0.25), steps(Jump::End).at_before(0.3)), (0.0, 0.25));
    assert_eq!((steps(Jump::Start).at_before(0.0), steps(Jump::Start).at_before(0.5)), (0.0, 0.5));
    assert_eq!((steps(Jump::Both).at_before(0.0), steps(Jump::End).at_before(0.0)), (0.0, 0.0));
    assert_eq!(steps(Jump::End).at_before(1.0), 0.75);
}

/// web-platform-tests `css/css-easing/linear-timing-functions-output.html`.
#[test]
fn linear_points_agree_with_the_browser_tests() {
    let even = |outputs: [f64; 3]| Ease::from_stops(&outputs.map(|output| (output, None))).unwrap();
    for (ease, outputs) in
        [(even([0.0, 1.5, 1.0]), [0.0, 0.75, 1.5, 1.25, 1.0]), (even([1.0, -0.5, 0.0]), [1.0, 0.25, -0.5, -0.25, 0.0])]
    {
        for (x, expected) in [0.0, 0.25, 0.5, 0.75, 1.0].into_iter().zip(outputs) {
            assert!((ease.at(x) - expected).abs() < 1e-15);
        }
    }
}

#[test]
fn linear_points_run_on_along_their_end_segments() {
    let ease = Ease::from_stops(&[(0.0, None), (1.5, None), (1.0, None)]).unwrap();
    assert_eq!((ease.at(-0.5), ease.at(1.5)), (-1.5, 0.5));
    let upright = Ease::Points(vec![(0.0, 0.2), (0.0, 0.4), (1.0, 0.8), (1.0, 0.9)]);
    assert_eq!([-1.0, 0.0, 1.0, 2.0].map(|x| upright.at(x)), [0.2, 0.4, 0.9, 0.9]);
}

/// CSS Easing Level 2 §2.1.2 and its tests of serialisation.
#[test]
fn stops_without_inputs_are_filled_in_and_inputs_never_fall() {
    let points = |stops: &[(f64, Option<f64>)]| match Ease::from_stops(stops) {
        Some(Ease::Points(points)) => points,
        other => panic!("{other:?}"),
    };
    assert_eq!(points(&[(0.0, Some(0.2)), (0.5, Some(0.1)), (1.0, None)]), [(0.2, 0.0), (0.2, 0.5), (1.0, 1.0)]);
    assert_eq!(
        points(&[(0.0, None), (0.5, None), (0.7, None), (1.0, None)])[1..3],
        [(1.0 / 3.0, 0.5), (2.0 / 3.0, 0.7)]
    );
    assert_eq!(points(&[(0.0, None), (0.5, Some(1.5)), (1.0, None)])[2].0, 1.5);
    assert_eq!(Ease::from_stops(&[(0.0, None)]), None);
}

#[test]
fn every_keyword_has_an_ease_and_no_other_word_has() {
    for name in Ease::KEYWORDS {
        let ease = Ease::keyword(name).unwrap();
        assert_eq!(ease.at(1.0), 1.0, "{name}");
    }
    assert_eq!(Ease::keyword("ease_in"), None);
    assert_eq!(
        (Ease::keyword("step-start").unwrap().at(0.0), Ease::keyword("step-end").unwrap().at(0.999)),
        (1.0, 0.0)
    );
}

#[test]
fn every_jump_keyword_is_a_jump_and_start_and_end_are_short_for_two() {
    let jumps = Jump::KEYWORDS.map(|name| Jump::keyword(name).unwrap());
    assert_eq!(jumps, [Jump::Start, Jump::End, Jump::None, Jump::Both, Jump::Start, Jump::End]);
    assert_eq!(Jump::keyword("jump"), None);
}

#[test]
fn the_parts_of_an_ease_tile_it_and_give_its_values() {
    let points = Ease::Points(vec![(0.2, 0.0), (0.2, 0.5), (0.6, 0.4), (1.5, 1.0)]);
    let steps = Ease::Steps { count: 5, jump: Jump::Both };
    for ease in [Ease::Linear, points, steps] {
        let mut end = 0.0;
        for part in ease.parts() {
            let Part::Straight { x0, y0, x1, y1 } = part else { panic!("{part:?}") };
            assert_eq!(x0, end);
            for share in [0.001, 0.5, 0.999] {
                let x = x0 + (x1 - x0) * share;
                assert!((ease.at(x) - (y0 + (y1 - y0) * share)).abs() < 1e-12, "{ease:?} at {x}");
            }
            end = x1;
        }
        assert_eq!(end, 1.0);
    }
}

proptest! {
    #[test]
    fn ease_out_is_ease_in_turned_about_and_ease_in_out_is_its_own(x in -0.5..1.5_f64) {
        let [_, ease_in, ease_out, in_out, _] = curves();
        prop_assert!((ease_out.at(x) - (1.0 - ease_in.at(1.0 - x))).abs() < 1e-12);
        prop_assert!((in_out.at(x) + in_out.at(1.0 - x) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_bezier_with_heights_in_range_never_falls_and_stays_in_range(
        x1 in 0.0..=1.0_f64, y1 in 0.0..=1.0_f64, x2 in 0.0..=1.0_f64, y2 in 0.0..=1.0_f64,
        a in 0.0..=1.0_f64, b in 0.0..=1.0_f64,
    ) {
        let ease = bezier(x1, y1, x2, y2);
        let (low, high) = (ease.at(a.min(b)), ease.at(a.max(b)));
        prop_assert!((0.0..=1.0).contains(&low) || low.abs() < 1e-12 || (low - 1.0).abs() < 1e-12);
        prop_assert!(low <= high + 1e-12, "{} at {}, {} at {}", low, a.min(b), high, a.max(b));
    }

    #[test]
    fn the_input_at_a_solved_parameter_is_the_input_asked_for(x1 in 0.0..=1.0_f64, x2 in 0.0..=1.0_f64, x in 0.0..=1.0_f64) {
        let curve = Bezier::new(x1, 0.3, x2, 0.8);
        prop_assert!((curve.input(curve.parameter(x)) - x).abs() < 1e-14);
    }

    #[test]
    fn the_slope_is_the_finite_difference(
        x1 in 0.05..0.95_f64, y1 in -1.0..2.0_f64, x2 in 0.05..0.95_f64, y2 in -1.0..2.0_f64, x in -0.3..1.3_f64,
    ) {
        let ease = bezier(x1, y1, x2, y2);
        let step = 1e-6;
        prop_assume!(x.abs() > 1e-5 && (x - 1.0).abs() > 1e-5);
        let seen = (ease.at(x + step) - ease.at(x - step)) / (2.0 * step);
        let slope = ease.derivative(x);
        // Where two control points nearly face each other the curve is steep and bends fast.
        prop_assume!(slope.abs() < 20.0);
        prop_assert!((slope - seen).abs() < 1e-4 * (1.0 + slope * slope), "{} for {}", slope, seen);
    }
}

/// CSS Easing Level 2, "linear easing function output", step by step from the draft's text: what `linear()` gives, with
/// its before flag.
fn by_the_draft(points: &[(f64, f64)], x: f64, before: bool) -> f64 {
    if x == points[0].0 && before {
        return points[0].1;
    }
    if let Some(point) = points.iter().rfind(|point| point.0 == x) {
        return point.1;
    }
    let last = points.len() - 1;
    let (from, to) = if x < points[0].0 {
        if points[0].0 == points[1].0 {
            return points[0].1;
        }
        (points[0], points[1])
    } else if x > points[last].0 {
        if points[last - 1].0 == points[last].0 {
            return points[last].1;
        }
        (points[last - 1], points[last])
    } else {
        (*points.iter().rfind(|point| point.0 < x).unwrap(), *points.iter().find(|point| point.0 > x).unwrap())
    };
    from.1 + (to.1 - from.1) * (x - from.0) / (to.0 - from.0)
}

proptest::proptest! {
    #[test]
    fn linear_points_are_what_the_draft_says_wherever_stops_share_an_input(
        stops in proptest::collection::vec((-2.0..3.0_f64, proptest::option::of(-1_i32..6)), 2..7),
        asked in -8_i32..28,
    ) {
        let stops: Vec<(f64, Option<f64>)> =
            stops.into_iter().map(|(output, input)| (output, input.map(|input| f64::from(input) / 4.0))).collect();
        let ease = Ease::from_stops(&stops).unwrap();
        let Ease::Points(points) = &ease else { panic!("{ease:?}") };
        // Quarters, where stops lie, and what lies between them.
        let x = f64::from(asked) / 8.0;
        proptest::prop_assert!((ease.at(x) - by_the_draft(points, x, false)).abs() < 1e-12, "{:?} at {}", points, x);
        proptest::prop_assert!((ease.at_before(x) - by_the_draft(points, x, true)).abs() < 1e-12, "{:?} before {}", points, x);
    }
}

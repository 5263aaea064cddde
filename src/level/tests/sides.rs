//! Breaks: what lies on two sides of a night is levelled each by itself.

use super::*;

const EACH: usize = 48;

/// A still of an evening and a morning: the morning begins with so many times the light the evening ends with, and its
/// light falls from the other side. Each fades its own way and flickers by 3 %.
fn cells(still: usize, flicker: f64, morning_light: f64) -> Cells {
    let (across, down) = (32, 24);
    let morning = still >= EACH;
    let own = (still % EACH) as f64 / (EACH - 1) as f64;
    let light = if morning { morning_light * (1.0 - 0.4 * own) } else { 0.6 + 0.4 * own } * flicker;
    let mut roots: [Vec<u16>; 3] = Default::default();
    for y in 0..down {
        for x in 0..across {
            let texture = 0.06 + 0.1 * (0.5 + 0.5 * ((x * x + 3 * y) as f64 * 0.7).sin());
            let from = if morning { across - 1 - x } else { x } as f64 / across as f64;
            let light = (texture * light * (0.75 + 0.5 * from)).min(1.0);
            roots.iter_mut().for_each(|roots| roots.push((light.sqrt() * 65_535.0).round() as u16));
        }
    }
    Cells { across, down, roots }
}

/// The gains of some stills, with a break before still 48 where `apart`.
fn gains(
    stills: std::ops::Range<usize>,
    cells: &dyn Fn(usize) -> Cells,
    apart: bool,
    wishes: &Wishes,
) -> (Vec<f64>, Solved) {
    let mut meter = Meter::new(Region::WHOLE);
    let measured: Vec<_> = stills
        .clone()
        .map(|still| {
            if apart && still == EACH {
                meter.begin_side();
            }
            meter.take(&cells(still))
        })
        .collect();
    let at: Vec<f64> = stills.map(|still| still as f64).collect();
    let solved = solve(&at, &measured, &vec![None; at.len()], wishes);
    (solved.gains.iter().map(|gain| gain.light[1].ln()).collect(), solved)
}

#[test]
fn each_side_of_a_night_is_levelled_as_it_would_be_alone() {
    let mut chance = Chance(3);
    let flicker: Vec<f64> = (0..2 * EACH).map(|_| 1.0 + 0.03 * chance.normal()).collect();
    for (light, radius) in [(2.0, Some(12.0)), (2.0, None), (1.06, Some(12.0)), (1.06, None)] {
        let wishes = Wishes { radius, ..PLAIN };
        let of = |stills, apart| gains(stills, &|still| cells(still, flicker[still], light), apart, &wishes);
        let alone = [of(0..EACH, false).0, of(EACH..2 * EACH, false).0].concat();
        let off = |(gains, _): &(Vec<f64>, Solved)| most(gains.iter().zip(&alone).map(|(gain, alone)| gain - alone));
        let (apart, across) = (of(0..2 * EACH, true), of(0..2 * EACH, false));
        println!(
            "{light} times the light, radius {radius:?}: {:.1e} off in sides, {:.4} across",
            off(&apart),
            off(&across)
        );
        assert!(off(&apart) < 1e-9, "nothing but rounding differs: {} off", off(&apart));
        // Twice the light was seen for a step before; so little was smoothed over.
        assert!(light > 1.5 || off(&across) > 0.01, "{} off", off(&across));
        let [Step { at: EACH, cause: Cause::Apart, .. }] = apart.1.steps[..] else { panic!("{:?}", apart.1.steps) };
        // All levels are of one light: the morning's is told to be about as many times the evening's.
        let level = |still: usize| apart.1.levels[still].unwrap()[0];
        let risen = level(EACH) - level(EACH - 1) - (flicker[EACH] / flicker[EACH - 1]).ln();
        assert!((risen - light.ln()).abs() < 0.1, "{risen}");
    }
}

#[test]
fn a_morning_that_compares_with_no_evening_is_measured_from_its_own_first_still() {
    let mut meter = Meter::new(Region::WHOLE);
    let flat = |root: u16| Cells { across: 8, down: 8, roots: [vec![root; 64], vec![root; 64], vec![root; 64]] };
    let checked = |dark: u16| {
        let roots: Vec<u16> = (0..64).map(|at| if at % 2 == 0 { dark } else { 50_000 }).collect();
        Cells { across: 8, down: 8, roots: [roots.clone(), roots.clone(), roots] }
    };
    assert!(meter.take(&flat(20_000)).is_some());
    meter.begin_side();
    assert_eq!(meter.take(&flat(0)), None, "a black still begins no side");
    let first = meter.take(&checked(5_000)).unwrap();
    assert!(first.another_side && !first.another_view);
    let second = meter.take(&checked(5_000)).unwrap();
    assert!(!second.another_side && (second.level - first.level).abs() < 1e-9);
}

//! Levelling against scenes whose truth is known in closed form.
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]
#![expect(clippy::cast_possible_truncation, reason = "made-up pictures")]

mod bound;
mod sides;

use std::f64::consts::PI;

use super::*;

/// Numbers as evenly spread as chance gives them, the same on every machine (a 64-bit linear congruential generator,
/// Knuth's multiplier).
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / 4_294_967_296.0
    }

    /// Box and Muller.
    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.even()).ln()).sqrt() * (2.0 * PI * self.even()).cos()
    }
}

const STILLS: usize = 240;
const OBJECT: std::ops::Range<usize> = 110..120;

/// JOB 0.5's scene: light that halves over 240 stills, each exposed 3 % off at random, and an object of three times the
/// light that covers a fifth of the picture for ten stills. Its small pictures carry the noise and rounding of 8-bit
/// stills averaged over some 30 by 30 pixels.
struct Scene {
    flicker: Vec<f64>,
    object: bool,
    /// What red and blue of each still are multiplied by.
    cast: Vec<[f64; 2]>,
}

impl Scene {
    fn new(seed: u64, sign: f64) -> Self {
        let mut chance = Chance(seed);
        let flicker = (0..STILLS).map(|_| 1.0 + sign * 0.03 * chance.normal()).collect();
        Self { flicker, object: true, cast: vec![[1.0; 2]; STILLS] }
    }

    fn fade(still: usize) -> f64 {
        1.0 - 0.5 * still as f64 / (STILLS - 1) as f64
    }

    fn cells(&self, still: usize) -> Cells {
        let (across, down) = (48, 36);
        let mut chance = Chance(still as u64 * 7919 + 1);
        let mut roots: [Vec<u16>; 3] = Default::default();
        let object = self.object && OBJECT.contains(&still);
        let left = (still.saturating_sub(OBJECT.start)) * 3;
        for y in 0..down {
            for x in 0..across {
                // A texture of four to one, another mix of colours everywhere.
                let texture = 0.08 + 0.24 * (0.5 + 0.5 * ((x * x + 3 * y) as f64 * 0.7).sin());
                let covered = object && (left..left + across / 5 + 1).contains(&x);
                let scene = if covered { 3.0 * texture } else { texture };
                for (channel, roots) in roots.iter_mut().enumerate() {
                    let cast = [self.cast[still][0], 1.0, self.cast[still][1]][channel];
                    let tint = 0.7 + 0.3 * ((x + 5 * y + 11 * channel) as f64 * 0.3).cos();
                    let noise = 1.0 + 0.004 * chance.normal();
                    let light = (scene * tint * Self::fade(still) * self.flicker[still] * cast * noise).min(1.0);
                    roots.push((light.sqrt() * 65_535.0).round() as u16);
                }
            }
        }
        Cells { across, down, roots }
    }

    fn solved(&self, wishes: &Wishes) -> Solved {
        let mut meter = Meter::new(Region::WHOLE);
        let measured: Vec<_> = (0..STILLS).map(|still| meter.take(&self.cells(still))).collect();
        let at: Vec<f64> = (0..STILLS).map(|still| still as f64).collect();
        solve(&at, &measured, &[None; STILLS], wishes)
    }

    /// Logarithms of what the levelled light of each still is over the true fade, by channel, the mean of all apart:
    /// what all stills are exposed off by in the mean, nobody can know.
    fn errors(&self, wishes: &Wishes) -> Vec<[f64; 3]> {
        let gains = self.solved(wishes).gains;
        let mut errors: Vec<[f64; 3]> = gains
            .iter()
            .enumerate()
            .map(|(still, gain)| {
                let cast = [self.cast[still][0], 1.0, self.cast[still][1]];
                [0, 1, 2].map(|channel: usize| (gain.light[channel] * cast[channel] * self.flicker[still]).ln())
            })
            .collect();
        for channel in 0..3 {
            let mean = errors.iter().map(|error| error[channel]).sum::<f64>() / STILLS as f64;
            errors.iter_mut().for_each(|error| error[channel] -= mean);
        }
        errors
    }
}

const PLAIN: Wishes = Wishes { strength: 1.0, radius: None, steps: Steps::Join, colour: false };

fn most(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, |most: f64, value| most.max(value.abs()))
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt()
}

// The bars are JOB's capability 15. Of one shoot, the levelled fade also wanders with what the random exposures of a
// radius have in common, which no method can tell from light: 3 % by the square root of 240 / 3 at the ends for the
// best straight line. So bias is what is left in the mean of a shoot and its mirror image, in which every still is off
// the other way.
#[test]
fn a_fade_keeps_its_light_and_loses_its_flicker_and_an_object_does_not_pump() {
    for seed in 1..=3 {
        let green = |scene: &Scene| scene.errors(&PLAIN).iter().map(|error| error[1]).collect::<Vec<f64>>();
        let scene = Scene::new(seed, 1.0);
        let seen = scene.errors(&PLAIN);
        let one: Vec<f64> = seen.iter().map(|error| error[1]).collect();
        let steps: Vec<f64> = one.windows(2).map(|two| two[1] - two[0]).collect();
        let mirrored = green(&Scene::new(seed, -1.0));
        let bias: Vec<f64> = one.iter().zip(&mirrored).map(|(one, other)| f64::midpoint(*one, *other)).collect();
        let empty = green(&Scene { object: false, ..Scene::new(seed, 1.0) });
        let pumping = most(one.iter().zip(&empty).map(|(with, without)| with - without));
        let colour = most(seen.iter().flat_map(|[red, green, blue]| [red - green, blue - green]));
        let (frames, wander) = (rms(&steps), most(one.iter().copied()));
        println!(
            "seed {seed}: frame to frame {:.3} % (most {:.3}), pumping {:.3} %, bias {:.3} % (ends {:.3}, {:.3}), colour {:.3} %, \
             wander {:.2} %",
            100.0 * frames,
            100.0 * most(steps.iter().copied()),
            100.0 * pumping,
            100.0 * most(bias.iter().copied()),
            100.0 * bias[0],
            100.0 * bias[STILLS - 1],
            100.0 * colour,
            100.0 * wander
        );
        assert!(frames <= 0.002 && most(steps.iter().copied()) <= 0.004, "frame to frame");
        assert!(pumping <= 0.005, "pumping {pumping}");
        assert!(most(bias.iter().copied()) <= 0.005, "bias");
        assert!(colour <= 0.002, "colour {colour}");
        // Three standard deviations of the best line's end.
        assert!(wander <= 3.0 * 0.03 / (STILLS as f64 / 3.0).sqrt() * 1.6, "wander {wander}");
    }
}

/// ORACLES 11's curve: `60 + 80 (1 − cos(πt / 119)) / 2`, and `1 + 0.04 sin(2π · 0.37 t)` on it.
fn oracle() -> (Vec<f64>, Vec<f64>) {
    let base: Vec<f64> = (0..120).map(|t| 60.0 + 40.0 * (1.0 - (PI * f64::from(t) / 119.0).cos())).collect();
    let levels = base.iter().zip(0..).map(|(base, t)| base * (1.0 + 0.04 * (2.0 * PI * 0.37 * f64::from(t)).sin()));
    (base.clone(), levels.collect())
}

fn deviation_of_differences(values: &[f64], times: usize) -> f64 {
    let mut values = values.to_vec();
    for _ in 0..times {
        values = values.windows(2).map(|two| two[1] - two[0]).collect();
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    rms(&values.iter().map(|value| value - mean).collect::<Vec<f64>>())
}

#[test]
fn the_published_curve_loses_its_flicker_and_keeps_its_ramp() {
    let (base, levels) = oracle();
    // The vector's own figures, so that it is the same vector.
    assert!((deviation_of_differences(&levels, 1) - 5.414_205_945).abs() < 1e-8);
    assert!((deviation_of_differences(&levels, 2) - 9.955_116_906).abs() < 1e-8);
    let at: Vec<f64> = (0..120).map(f64::from).collect();
    let measured: Vec<_> = levels
        .iter()
        .map(|level| {
            Some(Measured {
                level: (level / levels[0]).ln(),
                channels: [(level / levels[0]).ln(); 3],
                another_view: false,
                another_side: false,
            })
        })
        .collect();
    for (radius, bar) in [(Some(11.0), 0.003), (Some(15.0), 0.002), (Some(20.0), 0.004), (None, 0.011)] {
        let solved = solve(&at, &measured, &[None; 120], &Wishes { radius, ..PLAIN });
        let off = most(
            solved.gains.iter().zip(&base).zip(&levels).map(|((gain, base), level)| gain.light[1] * level / base - 1.0),
        );
        let brought: Vec<f64> = solved.gains.iter().zip(&levels).map(|(gain, level)| gain.light[1] * level).collect();
        println!(
            "radius {}: base / L to within {:.3} %; second differences {:.4} of 9.9551 (base alone 0.0196)",
            solved.radius,
            100.0 * off,
            deviation_of_differences(&brought, 2)
        );
        assert!(off < bar, "radius {radius:?}: {off}");
        assert!(deviation_of_differences(&brought, 2) < 0.12);
    }
}

// Values by numpy 2.4: for every point `polyfit(d, v, 1, w=sqrt(tricube))` over the points within the radius, its value
// at the point; the same again of what that leaves, added.
#[test]
fn the_fit_agrees_with_an_independent_least_squares_solver() {
    let levels: Vec<f64> = oracle().1.iter().map(|level| level.ln()).collect();
    let check = |at: &[f64], radius: f64, wanted: &[(usize, f64)]| {
        let values: Vec<f64> = at.iter().map(|at| levels[*at as usize]).collect();
        let smooth = Smoother::new(at, radius).smooth(&values);
        for (place, wanted) in wanted {
            assert!((smooth[*place] - wanted).abs() < 1e-11, "{place}: {} for {wanted}", smooth[*place]);
        }
    };
    let even: Vec<f64> = (0..120).map(f64::from).collect();
    check(
        &even,
        15.0,
        &[
            (0, 4.095_683_906_980_948),
            (1, 4.095_693_854_710_626_5),
            (7, 4.107_233_779_703_815),
            (59, 4.599_384_830_659_4),
            (60, 4.609_967_668_923_709_5),
            (100, 4.905_338_933_687_703),
            (118, 4.940_334_830_650_459),
            (119, 4.940_261_116_788_625),
        ],
    );
    let uneven: Vec<f64> = (0..120).filter(|at| !matches!(at, 30..=33 | 77)).map(f64::from).collect();
    check(
        &uneven,
        11.0,
        &[
            (0, 4.097_160_939_498_464),
            (29, 4.260_685_133_326_318_5),
            (30, 4.313_799_953_654_053),
            (72, 4.760_315_268_649_521),
            (73, 4.776_428_633_393_333),
            (114, 4.939_712_796_415_235),
        ],
    );
}

#[test]
fn a_line_of_levels_is_left_alone_to_its_very_ends_whatever_the_gaps() {
    let at: Vec<f64> = (0..200).filter(|at| at % 7 != 3 && !(90..120).contains(at)).map(f64::from).collect();
    let line: Vec<f64> = at.iter().map(|at| 0.3 - 0.01 * at).collect();
    for radius in [1.0, 6.0, 40.0, 400.0] {
        let off = most(Smoother::new(&at, radius).smooth(&line).iter().zip(&line).map(|(smooth, line)| smooth - line));
        assert!(off < 1e-11, "radius {radius}: {off}");
    }
}

/// Levels as they are, red and blue with them.
fn plain_levels(levels: &[f64]) -> Vec<Option<Measured>> {
    levels
        .iter()
        .map(|&level| Some(Measured { level, channels: [level; 3], another_view: false, another_side: false }))
        .collect()
}

fn solve_levels(levels: &[f64], exposures: &[Option<f64>], wishes: &Wishes) -> Solved {
    let at: Vec<f64> = (0..levels.len()).map(|at| at as f64).collect();
    solve(&at, &plain_levels(levels), exposures, wishes)
}

fn brought(levels: &[f64], solved: &Solved) -> Vec<f64> {
    levels.iter().zip(&solved.gains).map(|(level, gain)| level + gain.light[1].ln()).collect()
}

#[test]
fn light_that_falls_through_the_camera_s_steps_becomes_one_even_change() {
    // A third of a stop more every 18 stills, while the light falls by as much, and a flicker of 2 %.
    let third = 2.0_f64.ln() / 3.0;
    let mut chance = Chance(4);
    let stills = 180;
    let exposures: Vec<Option<f64>> = (0..stills).map(|still| Some(-3.0 + third * (still / 18) as f64)).collect();
    let light = |still: usize| -1.15 * third * still as f64 / 18.0;
    let levels: Vec<f64> = (0..stills)
        .map(|still| light(still) + third * (still / 18) as f64 + 0.02 * (2.0 * chance.even() - 1.0))
        .collect();
    let solved = solve_levels(&levels, &exposures, &PLAIN);
    assert_eq!(solved.steps.iter().filter(|step| step.cause == Cause::Exposure).count(), 9);
    assert_eq!(solved.steps.len(), 9);
    let brought = brought(&levels, &solved);
    let steps: Vec<f64> = brought.windows(2).map(|two| two[1] - two[0]).collect();
    // 0.15 of a third of a stop in 18 stills is what the camera did not make up for.
    let even = -0.15 * third / 18.0;
    println!("steps of {even:.5}: {:.5} off at most", most(steps.iter().map(|step| step - even)));
    assert!(most(steps.iter().map(|step| step - even)) < 0.004);
    assert!(most(solved.gains.iter().map(|gain| gain.light[1].ln())) < third / 2.0 + 0.04);
}

#[test]
fn a_step_marked_as_a_cut_stays_and_is_not_smeared() {
    let mut chance = Chance(9);
    let stop = 2.0_f64.ln();
    let level = |still: usize| if still < 60 { 0.0 } else { stop };
    let levels: Vec<f64> = (0..120).map(|still| level(still) - 0.002 * still as f64 + 0.02 * chance.normal()).collect();
    let exposures: Vec<Option<f64>> = (0..120).map(|still| Some(level(still))).collect();
    let told = solve_levels(&levels, &exposures, &Wishes { steps: Steps::Cut, ..PLAIN });
    let untold = solve_levels(&levels, &[None; 120], &PLAIN);
    for (solved, cause) in [(&told, Cause::Exposure), (&untold, Cause::Sudden)] {
        assert!(
            matches!(solved.steps[..], [Step { at: 60, height, cause: seen }] if (height - stop).abs() < 0.05 && seen == cause)
        );
        let off = brought(&levels, solved)
            .into_iter()
            .enumerate()
            .map(|(still, seen)| seen - level(still) + 0.002 * still as f64);
        assert!(most(off) < 0.025, "no side of the cut draws the other along");
    }
    // Joined, one stop is made up for over the whole shoot, by .8 of it on the darker side at most, more of what has farther to go.
    let joined = solve_levels(&levels, &exposures, &PLAIN);
    let steps = brought(&levels, &joined).windows(2).map(|two| two[1] - two[0]).collect::<Vec<f64>>();
    assert!(most(steps.iter().copied()) < 0.02, "{}", most(steps.iter().copied()));
    assert!(most(joined.gains.iter().map(|gain| gain.light[1].ln())) < 0.8 * stop + 0.08);
}

#[test]
fn settings_that_the_pixels_do_not_follow_are_no_step_and_automatic_ones_that_jitter_are_flicker() {
    let flat = vec![0.0; 60];
    let told: Vec<Option<f64>> = (0..60).map(|still| Some(if still < 30 { 0.0 } else { 0.7 })).collect();
    let solved = solve_levels(&flat, &told, &PLAIN);
    assert!(solved.steps.is_empty() && most(solved.gains.iter().map(|gain| gain.light[1] - 1.0)) < 1e-12);

    let mut chance = Chance(2);
    let third = 2.0_f64.ln() / 3.0;
    let jitter: Vec<f64> = (0..100).map(|_| if chance.even() < 0.4 { third } else { 0.0 }).collect();
    let told: Vec<Option<f64>> = jitter.iter().copied().map(Some).collect();
    let solved = solve_levels(&jitter, &told, &Wishes { steps: Steps::Cut, ..PLAIN });
    assert!(solved.flaws.is_empty(), "{:?}", solved.flaws);
    let steps: Vec<f64> = brought(&jitter, &solved).windows(2).map(|two| two[1] - two[0]).collect();
    println!("jitter of a third of a stop: {:.4} from still to still in place of {third:.4}", rms(&steps));
    assert!(rms(&steps) < 0.05 * third);
}

#[test]
fn stills_that_stand_out_are_left_as_they_are_and_draw_none_along() {
    let mut chance = Chance(5);
    let fade: Vec<f64> = (0..150).map(|still| -0.004 * f64::from(still)).collect();
    let clean: Vec<f64> = fade.iter().map(|level| level + 0.01 * chance.normal()).collect();
    let mut levels = clean.clone();
    for (still, by) in [(0, -2.5), (40, 0.9), (41, 0.8), (100, -4.0), (149, 1.1)] {
        levels[still] += by;
    }
    let solved = solve_levels(&levels, &[None; 150], &PLAIN);
    let named: Vec<usize> = solved.flaws.iter().map(|(still, _)| *still).collect();
    assert_eq!(named, [0, 40, 41, 100, 149]);
    assert!(named.iter().all(|still| solved.gains[*still] == Gain::UNCHANGED));
    assert!(solved.steps.is_empty());
    let wishes = Wishes { radius: Some(solved.radius), ..PLAIN };
    let without = solve_levels(&clean, &[None; 150], &wishes);
    let drawn = most(
        (0..150)
            .filter(|still| !named.contains(still))
            .map(|still| (solved.gains[still].light[1] / without.gains[still].light[1]).ln()),
    );
    println!("five odd stills change the others' gains by {:.4} % at most", 100.0 * drawn);
    assert!(drawn < 0.012, "{drawn}");
}

#[test]
fn three_in_a_row_stand_out_at_either_end_too_whatever_the_slope() {
    for (slope, flicker) in [(0.0, 0.01), (-0.004, 0.01), (-0.06, 0.005), (0.06, 0.01), (0.0, 0.03)] {
        let mut chance = Chance(11);
        let clean: Vec<f64> = (0..150).map(|still| slope * f64::from(still) + flicker * chance.normal()).collect();
        let none = solve_levels(&clean, &[None; 150], &PLAIN);
        assert!(none.flaws.is_empty() && none.steps.is_empty(), "slope {slope}: {:?} {:?}", none.flaws, none.steps);
        for row in [0..1, 0..2, 0..3, 70..73, 147..150, 148..150, 149..150] {
            for by in [0.6, -1.4] {
                let mut levels = clean.clone();
                row.clone().for_each(|still| levels[still] += by);
                let solved = solve_levels(&levels, &[None; 150], &Wishes { radius: Some(none.radius), ..PLAIN });
                let named: Vec<usize> = solved.flaws.iter().map(|(still, _)| *still).collect();
                assert_eq!(named, row.clone().collect::<Vec<_>>(), "slope {slope}, {by} at {row:?}");
                assert!(solved.steps.is_empty(), "{:?}", solved.steps);
                let ratio = |still: usize| (solved.gains[still].light[1] / none.gains[still].light[1]).ln();
                let drawn = most((0..150).filter(|still| !named.contains(still)).map(ratio));
                assert!(drawn < 1.5 * flicker, "slope {slope}, {by} at {row:?}: {drawn}");
            }
        }
    }
}

#[test]
fn black_stills_compare_with_none_and_are_bridged() {
    let scene = Scene { object: false, ..Scene::new(3, 1.0) };
    let black = Cells { across: 48, down: 36, roots: std::array::from_fn(|_| vec![200; 48 * 36]) };
    let mut meter = Meter::new(Region::WHOLE);
    let mut seen = Vec::new();
    for still in 0..40 {
        let cells = scene.cells(still);
        seen.push(meter.take(if [0, 10, 11, 12, 25].contains(&still) { &black } else { &cells }));
    }
    for (still, seen) in seen.iter().enumerate() {
        assert_eq!(seen.is_none(), [0, 10, 11, 12, 25].contains(&still), "still {still}");
    }
    let [one, other] = [9, 13].map(|still| seen[still].unwrap().level);
    let due = (Scene::fade(13) * scene.flicker[13] / Scene::fade(9) / scene.flicker[9]).ln();
    assert!((other - one - due).abs() < 0.001, "{} for {due}", other - one);
}

/// Fault 42: focus or zoom changed.
#[test]
fn another_view_begins_anew_and_is_not_levelled_to_the_old_one() {
    let scene = Scene { object: false, ..Scene::new(6, 1.0) };
    let zoomed = |still: usize| {
        let Cells { across, down, roots } = scene.cells(still);
        // Upside down and in much higher contrast: nothing compares.
        let turned = |root: u16| (65_535.0 * (f64::from(root) / 40_000.0).powi(3).min(1.0)).round() as u16;
        let roots = roots.map(|roots| roots.into_iter().rev().map(turned).collect());
        Cells { across, down, roots }
    };
    let mut meter = Meter::new(Region::WHOLE);
    let measured: Vec<_> =
        (0..60).map(|still| meter.take(&if still < 30 { scene.cells(still) } else { zoomed(still) })).collect();
    let firsts: Vec<usize> = (0..60).filter(|still| measured[*still].is_some_and(|one| one.another_view)).collect();
    assert_eq!(firsts, [32], "two strays, and a third that is like them");
    let at: Vec<f64> = (0..60).map(f64::from).collect();
    let solved = solve(&at, &measured, &[None; 60], &PLAIN);
    assert!(matches!(solved.steps[..], [Step { at: 32, cause: Cause::View, .. }]), "{:?}", solved.steps);
    assert_eq!(solved.flaws, [(30, Flaw::Unlike), (31, Flaw::Unlike)]);
}

#[test]
fn a_white_balance_that_flickers_is_calmed_and_one_that_drifts_is_left() {
    let mut chance = Chance(8);
    let cast: Vec<[f64; 2]> = (0..STILLS)
        .map(|still| [1.0 + 0.1 * still as f64 / 239.0, 1.0].map(|drift| drift * (1.0 + 0.02 * chance.normal())))
        .collect();
    let scene = Scene { cast: cast.clone(), object: false, ..Scene::new(2, 1.0) };
    let gains = scene.solved(&PLAIN).gains;
    let ratios = |gains: bool, solved: &[Gain]| -> Vec<f64> {
        (0..STILLS)
            .map(|still| {
                (cast[still][0] * if gains { solved[still].light[0] / solved[still].light[1] } else { 1.0 }).ln()
            })
            .collect()
    };
    let jumps = |ratios: &[f64]| rms(&ratios.windows(2).map(|two| two[1] - two[0]).collect::<Vec<f64>>());
    let (before, after) = (ratios(false, &gains), ratios(true, &gains));
    println!(
        "red over green from still to still: {:.2} % before, {:.2} % after",
        100.0 * jumps(&before),
        100.0 * jumps(&after)
    );
    assert!(jumps(&after) < 0.15 * jumps(&before));
    let drift = after[STILLS - 1] - after[0];
    assert!((drift - 1.1_f64.ln()).abs() < 0.015, "the drift stays: {drift}");
}

#[test]
fn a_white_balance_that_drifts_and_jumps_is_held_where_colour_is_asked_for() {
    let mut chance = Chance(12);
    let cast: Vec<[f64; 2]> = (0..STILLS)
        .map(|still| {
            let jumped = [0.0, 0.05, 0.02, -0.03][still / 60];
            let drift = 0.04 * (0.02 * still as f64).sin();
            [1.0 + jumped + drift, 1.0 - jumped / 2.0 - drift].map(|cast| cast * (1.0 + 0.005 * chance.normal()))
        })
        .collect();
    let scene = Scene { cast: cast.clone(), object: false, ..Scene::new(3, 1.0) };
    let gains = scene.solved(&Wishes { colour: true, ..PLAIN }).gains;
    let spread = |levelled: bool, at: [usize; 2]| -> [f64; 2] {
        let cast = |still: usize| [cast[still][0], 1.0, cast[still][1]];
        let gain = |still: usize, channel: usize| if levelled { gains[still].light[channel] } else { 1.0 };
        let one = |still: usize, channel: usize| (cast(still)[channel] * gain(still, channel)).ln();
        let ratios: Vec<f64> = (0..STILLS).map(|still| one(still, at[0]) - one(still, at[1])).collect();
        let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
        let apart: Vec<f64> = ratios.iter().map(|ratio| ratio - mean).collect();
        [rms(&apart), most(apart.iter().copied())]
    };
    for (name, at) in [("red over green", [0, 1]), ("blue over green", [2, 1])] {
        let ([before, _], [after, worst]) = (spread(false, at), spread(true, at));
        println!(
            "{name}: {:.2} % before, {:.3} % after, {:.3} % at worst",
            100.0 * before,
            100.0 * after,
            100.0 * worst
        );
        assert!(before > 0.01 && after < 0.002 && worst < 0.005, "{name}: {after} {worst}");
    }
}

#[test]
fn only_the_region_is_looked_at() {
    let mut chance = Chance(12);
    let mut inside = Meter::new(Region { x: 0.0, y: 0.0, width: 0.5, height: 1.0 });
    let mut everywhere = Meter::new(Region::WHOLE);
    let mut due = 0.0;
    for still in 0..12 {
        // The left third flickers; the rest, which is more than half, is lit by a lamp of its own.
        let flicker = if still == 0 { 1.0 } else { 1.0 + 0.05 * chance.normal() };
        let light = |x: usize| if x < 24 { 0.2 * flicker } else { 0.3 };
        let roots: Vec<u16> = (0..72 * 20).map(|at| (f64::sqrt(light(at % 72)) * 65_535.0).round() as u16).collect();
        let cells = Cells { across: 72, down: 20, roots: std::array::from_fn(|_| roots.clone()) };
        due = f64::ln(flicker);
        let seen = inside.take(&cells).unwrap().level;
        assert!((seen - due).abs() < 1e-3, "{seen} for {due}");
        let seen = everywhere.take(&cells).unwrap().level;
        assert!(seen.abs() < 1e-6);
    }
    assert!(due.abs() > 1e-3);
}

#[test]
fn a_handful_of_stills_is_levelled_as_far_as_it_goes() {
    for count in 0..8 {
        let levels: Vec<f64> = (0..count).map(|still| if still % 2 == 0 { 0.01 } else { -0.01 }).collect();
        let solved = solve_levels(&levels, &vec![None; count], &PLAIN);
        assert_eq!(solved.gains.len(), count);
        assert!(
            solved.gains.iter().flat_map(|gain| gain.light).all(|gain| gain.is_finite() && (gain.ln()).abs() <= 0.021),
            "{count}: {:?}",
            solved.gains
        );
    }
}

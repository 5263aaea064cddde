//! Fainter faults, and ones that used to be called by another's name.

#![allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_wrap,
    clippy::print_stdout,
    reason = "a few dozen stills, and figures"
)]

use std::fs;

use stillpath::ffi::jpeg;
use stillpath::look;

use super::planted::{found, looked, words};
use super::scene::{self, Plant};

fn at(number: usize, planted: Plant) -> impl Fn(usize) -> Plant + Sync {
    move |index| if index + 1 == number { planted } else { Plant::default() }
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn a_still_a_little_brighter_or_darker_is_found() {
    for (gain, due) in [(1.3, "flash 12"), (1.1, "flash 12"), (0.9, "dark 12"), (0.8, "dark 12")] {
        let (findings, _) = found(24, at(12, Plant { gain, ..Plant::default() }));
        assert_eq!(words(&findings), [due], "{gain}: {findings:#?}");
    }
}

#[test]
fn a_step_of_light_a_ramp_and_a_flicker_are_no_odd_stills() {
    let step = |index: usize| Plant { gain: if index < 15 { 1.0 } else { 1.2 }, ..Plant::default() };
    let ramp =
        |index: usize| Plant { gain: 1.0 + 0.4 * (index.min(20) as f64 - 10.0).max(0.0) / 10.0, ..Plant::default() };
    for plant in [&step as &(dyn Fn(usize) -> Plant + Sync), &ramp] {
        assert_eq!(found(30, plant).1.odd, []);
    }
    let flicker = |index: usize| Plant { gain: 1.0 + 0.08 * scene::hash(index as i64, 0, 9), ..Plant::default() };
    let (findings, measures) = found(60, flicker);
    assert_eq!((words(&findings), measures.odd), (vec!["flicker".to_owned()], vec![]));
}

#[test]
fn sun_that_comes_and_goes_is_no_flash() {
    let gain = |index: usize| match index {
        10 | 12 => 1.5,
        11 => 1.9,
        _ => 1.0,
    };
    let (findings, _) = found(24, |index| Plant { gain: gain(index), ..Plant::default() });
    assert_eq!(words(&findings), ["sun 11 12 13"], "{findings:#?}");
}

/// Fault 43: bumps and sags.
#[test]
fn one_still_that_lies_elsewhere_is_no_bump_and_a_bump_back_is_two() {
    for shift in [[2.0, -1.0], [-0.9, 0.3], [6.0, 3.0]] {
        let (findings, _) = found(24, at(12, Plant { shift, ..Plant::default() }));
        assert_eq!(words(&findings), ["displaced 12"], "{findings:#?}");
    }
    let away = |index: usize| Plant {
        shift: if (10..18).contains(&index) { [2.0, -1.0] } else { [0.0; 2] },
        ..Plant::default()
    };
    assert_eq!(words(&found(30, away).0), ["bump 11 19"]);
}

/// Fault 40: the last picture given again.
#[test]
fn a_picture_given_twice_is_found_however_coarsely_it_is_coded_anew() {
    for quality in [95, 85, 75, 60] {
        let folder = tempfile::tempdir().unwrap();
        scene::write(folder.path(), 24, |_| Plant::default());
        // What was read of the file before, written once more.
        let before = image::open(folder.path().join("YARD0009.JPG")).unwrap().to_rgb8().into_raw();
        let again = jpeg::encode_rgb(&before, scene::SIZE, quality, (2, 2), &[]);
        fs::write(folder.path().join("YARD0010.JPG"), again).unwrap();
        let (shoot, measures) = looked(folder.path());
        let [step, usual] = [8, 5].map(|at| &measures.steps[at]);
        let said = words(&look::findings(&shoot, &measures));
        let figures = [step.noise, usual.noise, step.activity, usual.activity];
        println!(
            "coded anew at {quality}: noise {} of {}, {} moved of {}",
            figures[0], figures[1], figures[2], figures[3]
        );
        assert_eq!(said, ["same 10"], "at {quality}: {figures:?}");
    }
}

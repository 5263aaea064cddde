//! Faults planted in the pixels of small shoots: each is found, at its still, and nothing else is.

use std::fs;
use std::path::Path;

use stillpath::finding::{Finding, Gravity};
use stillpath::look;
use stillpath::measures::{Measures, Oddity};
use stillpath::shoot::Shoot;
use stillpath::units::SlotIndex;

use super::scene::{self, Plant};

pub(crate) fn looked(folder: &Path) -> (Shoot, Measures) {
    let shoot = scene::shoot(folder);
    let mut measures = look::look(&shoot, &look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    measures.spots = look::spots(&shoot, &measures, &|| true).unwrap();
    (shoot, measures)
}

/// What looking finds in a shoot of `count` stills with these plants.
pub(crate) fn found(count: usize, plant: impl Fn(usize) -> Plant + Sync) -> (Vec<Finding>, Measures) {
    let folder = tempfile::tempdir().unwrap();
    scene::write(folder.path(), count, plant);
    let (shoot, measures) = looked(folder.path());
    assert_eq!(measures.damaged, []);
    (look::findings(&shoot, &measures), measures)
}

/// Findings as `kind slots…`, slots counted from 1.
pub(crate) fn words(findings: &[Finding]) -> Vec<String> {
    let slots = |finding: &Finding| finding.slots.iter().map(|slot| format!(" {}", slot.0 + 1)).collect::<String>();
    findings.iter().map(|finding| format!("{}{}", finding.kind, slots(finding))).collect()
}

/// A plant at one still, counted from 1, of an otherwise sound shoot.
fn at(number: usize, planted: Plant) -> impl Fn(usize) -> Plant + Sync {
    move |index| if index + 1 == number { planted } else { Plant::default() }
}

#[test]
fn a_sound_shoot_of_hundreds_of_noisy_stills_raises_no_alarm() {
    let (findings, measures) = found(300, |_| Plant::default());
    assert_eq!(words(&findings), Vec::<String>::new(), "{findings:#?}");
    assert_eq!(measures.odd, []);
    assert!(look::flicker(&measures) < 0.001, "{}", look::flicker(&measures));
    // Five discs of about 360 pixels, where they come and where they go, over tiles of 100 pixels.
    let activity: f64 = measures.steps.iter().map(|step| step.activity).sum::<f64>() / measures.steps.len() as f64;
    assert!((0.03..0.15).contains(&activity), "{activity}");
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
/// Fault 39: torn: two moments in one picture.
#[test]
fn each_planted_oddity_is_found_at_its_still_and_nothing_else_is() {
    let sound = Plant::default();
    let cases: [(Plant, &str); 8] = [
        (Plant { gain: 0.0, ..sound }, "black 12"),
        (Plant { gain: 60.0, ..sound }, "white 12"),
        (Plant { gain: 1.8, ..sound }, "flash 12"),
        (Plant { gain: 0.5, ..sound }, "dark 12"),
        (Plant { other: true, ..sound }, "other 12"),
        (Plant { band: Some((140, 240)), ..sound }, "band 12"),
        (Plant { band: Some((90, 130)), ..sound }, "band 12"),
        (Plant { torn: Some((118, 10)), ..sound }, "torn 12"),
    ];
    for (planted, due) in cases {
        let (findings, measures) = found(20, at(12, planted));
        assert_eq!(words(&findings), [due], "{findings:#?}");
        if let Some((SlotIndex(11), Oddity::Band { from, to })) = measures.odd.first() {
            let (top, bottom) = planted.band.unwrap();
            let row = |row: u32| f64::from(row) / 240.0;
            assert!((from - row(top)).abs() < 0.06 && (to - row(bottom)).abs() < 0.06, "{from} to {to}");
        }
        if let Some((_, Oddity::Torn { at, above, before })) = measures.odd.first() {
            assert!((at - 118.0 / 240.0).abs() < 0.1 && !above && *before, "{:?}", measures.odd);
        }
    }
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn black_stills_are_found_two_in_a_row_and_at_either_end() {
    let (findings, _) =
        found(20, |index| Plant { gain: if matches!(index, 0 | 1 | 19) { 0.0 } else { 1.0 }, ..Plant::default() });
    assert_eq!(words(&findings), ["black 1 2 20"], "{findings:#?}");
}

/// Fault 40: the last picture given again.
#[test]
fn a_picture_given_twice_is_found_although_its_file_differs() {
    let folder = tempfile::tempdir().unwrap();
    scene::write(folder.path(), 20, |_| Plant::default());
    // The very picture of the still before, in a file of another time.
    let comment: (u8, &[u8]) = (0xFE, b"12:00:45");
    let again =
        stillpath::ffi::jpeg::encode_rgb(&scene::still(8, &Plant::default()), scene::SIZE, 93, (2, 2), &[comment]);
    fs::write(folder.path().join("YARD0010.JPG"), again).unwrap();
    let (shoot, measures) = looked(folder.path());
    assert_eq!(words(&look::findings(&shoot, &measures)), ["same 10"]);
}

#[test]
fn flicker_is_measured_for_what_it_is() {
    // ± 2 % by turns: a level over the mean of five around it is 0.8 · 2 % off, or 1.2 · 2 %, by turns of the mean.
    let gain = |index: usize| if index.is_multiple_of(2) { 1.02 } else { 0.98 };
    let (findings, measures) = found(40, |index| Plant { gain: gain(index), ..Plant::default() });
    assert_eq!(words(&findings), ["flicker"]);
    assert_eq!(findings[0].gravity, Gravity::Seen);
    let due = stillpath::measures::flicker(&(0..40).map(gain).collect::<Vec<f64>>());
    let seen = look::flicker(&measures);
    assert!((seen / due - 1.0).abs() < 0.1, "{seen} for {due}");
}

#[test]
fn a_slow_change_of_light_is_no_flicker() {
    let (findings, _) = found(60, |index| Plant { gain: 1.0 - 0.5 * index as f64 / 59.0, ..Plant::default() });
    assert_eq!(words(&findings), Vec::<String>::new());
}

/// Fault 43: bumps and sags.
#[test]
fn a_bump_is_found_with_its_size_and_a_sag_is_told_from_it() {
    let bump = |index: usize| Plant { shift: if index < 15 { [0.0; 2] } else { [1.5, -0.8] }, ..Plant::default() };
    let (findings, measures) = found(30, bump);
    assert_eq!(words(&findings), ["bump 16"], "{findings:#?}");
    let shift = measures.steps[14].shift.unwrap();
    assert!((shift[0] - 1.5).abs() < 0.2 && (shift[1] + 0.8).abs() < 0.2, "{shift:?}");
    let sag = |index: usize| Plant { shift: [0.0, 0.05 * index as f64], ..Plant::default() };
    let (findings, measures) = found(100, sag);
    assert_eq!(words(&findings), ["sag"], "{findings:#?}");
    let place = measures.steps[98].place.unwrap();
    assert!((place[1] - 4.95).abs() < 0.5 && place[0].abs() < 0.5, "{place:?}");
}

/// Fault 43: bumps and sags.
#[test]
fn a_camera_that_shakes_is_told_with_its_size_and_no_still_is_blamed() {
    for sigma in [0.8, 3.0] {
        let wild = |at: usize| {
            let part = |part: usize| ((at * 4 + part) as f64 * 12.9898).sin() * 43_758.545_3;
            (0..4).map(part).map(|value| value - value.floor() - 0.5).sum::<f64>() * 1.732
        };
        let shaken =
            |index: usize| Plant { shift: [sigma * wild(2 * index), sigma * wild(2 * index + 1)], ..Plant::default() };
        let (findings, _) = found(60, shaken);
        assert_eq!(words(&findings), ["shake"], "{sigma}: {findings:#?}");
        let said = findings[0].message.split_whitespace().find_map(|word| word.parse::<f64>().ok()).unwrap();
        assert!((said / (sigma * 2.0_f64.sqrt()) - 1.0).abs() < 0.35, "{said} px said of {sigma}");
    }
}

/// Fault 42: focus or zoom changed.
#[test]
fn a_soft_still_is_found_and_a_lens_that_dews_over_too() {
    let (findings, _) = found(30, at(14, Plant { blur: 3, ..Plant::default() }));
    assert_eq!(words(&findings), ["soft 14"], "{findings:#?}");
    let dew = |index: usize| Plant { blur: if index < 35 { 0 } else { 1 + (index - 35) / 7 }, ..Plant::default() };
    let (findings, _) = found(60, dew);
    assert!(findings.iter().any(|finding| finding.kind == "softened"), "{findings:#?}");
}

/// Fault 45: stripes by lamps on the mains.
#[test]
fn stripes_of_lamps_on_the_mains_are_found_and_counted() {
    let (findings, _) = found(24, |index| Plant { stripes: (0.01, 0.37 * index as f64), ..Plant::default() });
    assert_eq!(words(&findings), ["stripes"], "{findings:#?}");
    assert!(findings[0].message.starts_with("about 7 stripes"), "{}", findings[0].message);
}

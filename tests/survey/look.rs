//! Looking at pixels: what the store keeps and refuses, and the demo's truth.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::Value;
use stillpath::look::{self, Fault, Request};
use stillpath::measures::Measures;
use stillpath::shoot::Shoot;
use stillpath::units::{Size, SlotIndex};

use super::camera::Card;
use super::scene::shoot;

fn look(shoot: &Shoot, cache: Option<&Path>, threads: usize) -> Measures {
    look::look(shoot, &Request { cache: cache.map(PathBuf::from), threads }, &|| true).unwrap()
}

/// Everything measured, as printed.
fn printed(measures: &Measures) -> String {
    serde_json::to_string(measures).unwrap()
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let files = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(Result::unwrap);
    files.filter(|entry| entry.file_type().is_file()).map(|entry| entry.path().to_owned()).collect()
}

#[test]
fn what_was_measured_is_kept_by_content_and_a_spoilt_entry_is_measured_again() {
    let (card, cache) = (Card::new(), tempfile::tempdir().unwrap());
    card.stills((1..=6).map(|number| format!("YARD{number:04}.JPG")));
    let first = printed(&look(&shoot(card.path()), Some(cache.path()), 2));
    let kept = entries(cache.path());
    assert_eq!(kept.len(), 6);
    assert_eq!(printed(&look(&shoot(card.path()), Some(cache.path()), 1)), first, "from the store, to the last bit");
    assert_eq!(printed(&look(&shoot(card.path()), None, 1)), first, "without one, on one thread");

    let elsewhere = tempfile::tempdir().unwrap();
    for file in entries(card.path()) {
        fs::copy(&file, elsewhere.path().join(file.file_name().unwrap())).unwrap();
    }
    assert_eq!(printed(&look(&shoot(elsewhere.path()), Some(cache.path()), 2)), first);
    assert_eq!(entries(cache.path()), kept, "a copy of a still is the same still, wherever it lies");

    fs::write(&kept[0], b"").unwrap();
    let mut bytes = fs::read(&kept[1]).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&kept[1], &bytes).unwrap();
    assert_eq!(printed(&look(&shoot(card.path()), Some(cache.path()), 2)), first);
    assert_ne!(fs::read(&kept[1]).unwrap(), bytes, "a spoilt entry is replaced");
}

#[test]
fn a_still_changed_in_place_is_measured_again_even_where_the_key_cannot_tell() {
    let (card, cache) = (Card::new(), tempfile::tempdir().unwrap());
    // Long enough that the key's four pieces leave most of the file out; the quantisation table stands at its
    // beginning.
    let noise = |seed: u32| {
        let mut state = seed;
        let rgb: Vec<u8> = (0..3 * 640 * 480)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                state.to_le_bytes()[3]
            })
            .collect();
        stillpath::ffi::jpeg::encode_rgb(&rgb, Size::new(640, 480), 90, (1, 1), &[])
    };
    let bytes = noise(1);
    let path = card.put("YARD0001.JPG", &bytes);
    let before = look(&shoot(card.path()), Some(cache.path()), 1);
    let mut changed = bytes.clone();
    let at = bytes.len() / 6;
    changed[at] ^= 0x01;
    fs::write(&path, &changed).unwrap();
    let after = look(&shoot(card.path()), Some(cache.path()), 1);
    assert_eq!(entries(cache.path()).len(), 1, "one key for both");
    let same = after.damaged.is_empty() && after.stills == before.stills;
    assert!(!same, "what was kept of the old bytes was taken for the new ones");
}

#[test]
fn nothing_is_kept_among_the_stills() {
    let card = Card::new();
    card.stills((1..=3).map(|number| format!("YARD{number:04}.JPG")));
    let before = entries(card.path());
    let looked = look(&shoot(card.path()), Some(&card.path().join("cache")), 1);
    assert_eq!(looked.measured().count(), 3);
    assert_eq!(entries(card.path()), before);
}

#[test]
fn looking_ends_when_told_so() {
    let card = Card::new();
    card.stills((1..=9).map(|number| format!("YARD{number:04}.JPG")));
    let seen = AtomicUsize::new(0);
    let go_on = || seen.fetch_add(1, Ordering::Relaxed) < 3;
    let ended = look::look(&shoot(card.path()), &Request { cache: None, threads: 1 }, &go_on);
    assert!(matches!(ended, Err(Fault::Stopped)), "{ended:?}");
    assert_eq!(seen.load(Ordering::Relaxed), 4);
}

#[test]
fn damage_that_only_decoding_shows_is_found_and_the_still_has_no_measures() {
    let card = Card::new();
    card.stills((1..=5).map(|number| format!("YARD{number:04}.JPG")));
    let path = card.path().join("YARD0003.JPG");
    let mut bytes = fs::read(&path).unwrap();
    let at = bytes.len() - 40;
    // A restart marker where none is due.
    bytes[at..at + 2].copy_from_slice(&[0xFF, 0xD4]);
    fs::write(&path, &bytes).unwrap();
    let measures = look(&shoot(card.path()), None, 2);
    assert_eq!(measures.damaged.iter().map(|(slot, _)| *slot).collect::<Vec<_>>(), [SlotIndex(2)]);
    assert!(measures.stills[2].is_none());
    let pairs: Vec<(usize, usize)> = measures.steps.iter().map(|step| (step.from.0, step.to.0)).collect();
    assert_eq!(pairs, [(0, 1), (1, 3), (3, 4)]);
}

/// Fault 43: bumps and sags.
#[test]
fn the_demos_bump_and_flicker_are_found_where_its_truth_says() {
    let folder = tempfile::tempdir().unwrap();
    let size = Size::new(1200, 900);
    stillpath::demo::draw(&stillpath::demo::Request { stills: 36, size, seed: 4, threads: 2 }, folder.path(), &|| true)
        .unwrap();
    let truth: Value = serde_json::from_slice(&fs::read(folder.path().join("truth.json")).unwrap()).unwrap();
    let stills = shoot(folder.path());
    let mut measures = look(&stills, None, 2);
    measures.spots = look::spots(&stills, &measures, &|| true).unwrap();
    let kinds: Vec<&str> = look::findings(&stills, &measures).iter().map(|finding| finding.kind).collect();
    assert_eq!(kinds, ["flicker", "bump"], "and nothing else, its dusk and its lamps included");
    let of = |slot: SlotIndex, field: &str| truth["slots"][slot.0][field].clone();
    let bump = truth["bump"]["from_slot"].as_u64().unwrap();
    assert_eq!(measures.steps.len(), 34, "one of 36 is missing");
    for step in &measures.steps {
        let at = |slot, axis: usize| of(slot, "bump")[axis].as_f64().unwrap();
        let due = [0, 1].map(|axis| at(step.to, axis) - at(step.from, axis));
        let found = step.shift.unwrap();
        // Half a sample: the tide falls across half of this picture.
        assert!((0..2).all(|axis| (found[axis] - due[axis]).abs() < 0.5), "{step:?} moved by {due:?}");
        assert_eq!(found[0] > 1.0, step.to.0 as u64 == bump, "{step:?}");
    }
    // The evening falls too, and evenly: what is left beside a straight line over three stills in a row is the flicker.
    let levels = measures.levels();
    let threes: Vec<_> = levels.windows(3).filter(|three| three[2].0.0 - three[0].0.0 == 2).collect();
    let beside = |value: &dyn Fn(&(SlotIndex, f64)) -> f64| -> Vec<f64> {
        threes
            .iter()
            .map(|three| value(&three[1]).ln() - (value(&three[0]).ln() + value(&three[2]).ln()) / 2.0)
            .collect()
    };
    let seen = beside(&|(_, level)| *level);
    let due = beside(&|(slot, _)| of(*slot, "exposure").as_f64().unwrap());
    let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let correlation = sum(&seen, &due) / (sum(&seen, &seen) * sum(&due, &due)).sqrt();
    assert!(correlation > 0.97, "{correlation}: {seen:?} for {due:?}");
}

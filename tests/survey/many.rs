//! A folder of 100,000 stills: all listed, in their order. How long that takes, `tests/speed/scale.rs` measures.

use std::fs;

use crate::camera::{Card, slots};

/// A folder of `count` stills: links to a few files, as no file system likes 100,000 small ones for one test.
fn card_of(count: usize) -> Card {
    const ORIGINALS: usize = 10;
    let card = Card::new();
    let names: Vec<String> = (0..ORIGINALS).map(|at| format!(".original{at}")).collect();
    for (at, name) in names.iter().enumerate() {
        card.still(name, u32::try_from(at).unwrap());
    }
    fs::create_dir(card.path().join("stills")).unwrap();
    for number in 1..=count {
        let original = card.path().join(&names[number % ORIGINALS]);
        fs::hard_link(original, card.path().join(format!("stills/tide_{number}.jpg"))).unwrap();
    }
    card
}

/// Fault 22: 100,000 stills.
#[test]
fn a_hundred_thousand_stills_are_listed_in_their_order() {
    let card = card_of(100_000);
    let shoot = card.survey_of(&["stills"]).unwrap();
    let names = slots(&shoot);
    assert_eq!(names.len(), 100_000);
    assert!(names.iter().enumerate().all(|(at, name)| *name == format!("tide_{}", at + 1)));
}

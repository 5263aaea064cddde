//! A folder of 100,000 stills: listed in seconds, with no step that grows faster than the folder.

use std::fs;
use std::time::{Duration, Instant};

use crate::camera::{Card, slots};

/// The bar: 100,000 stills in one folder are listed in less.
const BAR: Duration = Duration::from_secs(10);

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

fn seconds_for(count: usize) -> Duration {
    let card = card_of(count);
    let started = Instant::now();
    let shoot = card.survey_of(&["stills"]).unwrap();
    let took = started.elapsed();
    let names = slots(&shoot);
    assert_eq!(names.len(), count);
    assert!(names.iter().enumerate().all(|(at, name)| *name == format!("tide_{}", at + 1)));
    took
}

#[test]
#[expect(clippy::print_stderr, reason = "the measured time is what the test is run for")]
fn a_hundred_thousand_stills_are_listed_in_under_ten_seconds() {
    let few = seconds_for(10_000);
    let many = seconds_for(100_000);
    eprintln!("10,000 stills listed in {few:.2?}, 100,000 in {many:.2?} (bar: {BAR:?})");
    assert!(many < BAR, "100,000 stills took {many:.2?}");
}

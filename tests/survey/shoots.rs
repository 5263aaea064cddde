//! Twelve synthetic shoots: the order is right, or the survey stops and names the two stills in conflict.

use crate::camera::{Card, notes, slots};

#[test]
fn a_plain_run_is_ordered_by_its_numbers() {
    let card = Card::new();
    card.stills(["TIDE4991.JPG", "TIDE4992.JPG", "TIDE4993.JPG"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE4991", "TIDE4992", "TIDE4993"]);
    assert_eq!(shoot.interval, Some(5.0));
    assert_eq!(shoot.size.to_string(), "48x32");
    assert_eq!(notes(&shoot), "");
}

#[test]
fn numbers_wrap_after_9999() {
    let card = Card::new();
    card.stills(["TIDE9998.JPG", "TIDE9999.JPG", "TIDE0001.JPG", "TIDE0002.JPG"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE9998", "TIDE9999", "TIDE0001", "TIDE0002"]);
    assert_eq!(notes(&shoot).lines().count(), 1);
    assert!(notes(&shoot).contains("the numbers wrap from"), "{}", notes(&shoot));
}

//! Missing stills: gaps in the numbers that capture times agree with, and everything that is no gap.

use crate::camera::{Card, notes, slots};

#[test]
fn a_missing_number_is_a_slot_with_the_name_it_would_have_had() {
    let card = Card::new();
    for (name, seconds) in [("TIDE0001.JPG", 0), ("TIDE0002.JPG", 5), ("TIDE0005.JPG", 20), ("TIDE0006.JPG", 25)] {
        card.still(name, seconds);
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001", "TIDE0002", "-TIDE0003", "-TIDE0004", "TIDE0005", "TIDE0006"]);
    assert_eq!(shoot.interval, Some(5.0));
    assert!(!notes(&shoot).contains("a pause of"), "{}", notes(&shoot));
}

#[test]
fn a_missing_number_counts_without_capture_times() {
    let card = Card::new();
    for name in ["a8.jpg", "a9.jpg", "a11.jpg", "a12.jpg"] {
        card.timeless(name);
    }
    assert_eq!(slots(&card.shoot()), ["a8", "a9", "-a10", "a11", "a12"]);
}

/// Fault 1: a missing number.
#[test]
fn numbers_left_out_while_the_clock_ran_evenly_are_no_gap() {
    let card = Card::new();
    for (name, seconds) in [("a01.jpg", 0), ("a02.jpg", 5), ("a05.jpg", 10), ("a06.jpg", 15)] {
        card.still(name, seconds);
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a01", "a02", "a05", "a06"]);
    assert!(notes(&shoot).contains("capture times show no gap of that length"), "{}", notes(&shoot));
}

#[test]
fn every_second_number_is_a_stride_and_a_hole_in_it_is_one_still() {
    let card = Card::new();
    card.stills(["a02.jpg", "a04.jpg", "a06.jpg", "a08.jpg"]);
    assert_eq!(slots(&card.shoot()), ["a02", "a04", "a06", "a08"]);
    let card = Card::new();
    for name in ["a02.jpg", "a04.jpg", "a06.jpg", "a10.jpg", "a12.jpg"] {
        card.timeless(name);
    }
    assert_eq!(slots(&card.shoot()), ["a02", "a04", "a06", "-a08", "a10", "a12"]);
}

#[test]
fn names_that_are_dates_or_clock_times_have_no_gaps() {
    for names in [
        ["20260501_145950.jpg", "20260501_145955.jpg", "20260501_150000.jpg", "20260501_150010.jpg"],
        ["cam-2026-05-30.jpg", "cam-2026-05-31.jpg", "cam-2026-06-01.jpg", "cam-2026-06-02.jpg"],
        ["cam_1458.jpg", "cam_1459.jpg", "cam_1500.jpg", "cam_1501.jpg"],
    ] {
        let card = Card::new();
        for name in names {
            card.timeless(name);
        }
        let expected: Vec<&str> = names.iter().map(|name| name.trim_end_matches(".jpg")).collect();
        assert_eq!(slots(&card.shoot()), expected);
    }
}

#[test]
fn a_gap_across_the_wrap_has_numbers_on_both_sides() {
    let card = Card::new();
    for (name, seconds) in
        [("TIDE9996.JPG", 0), ("TIDE9997.JPG", 5), ("TIDE9998.JPG", 10), ("TIDE0002.JPG", 25), ("TIDE0003.JPG", 30)]
    {
        card.still(name, seconds);
    }
    assert_eq!(
        slots(&card.shoot()),
        ["TIDE9996", "TIDE9997", "TIDE9998", "-TIDE9999", "-TIDE0001", "TIDE0002", "TIDE0003"]
    );
}

#[test]
fn a_gap_across_a_new_folder_is_found() {
    let card = Card::new();
    for name in ["100HARBR/TIDE9997.JPG", "100HARBR/TIDE9998.JPG", "101HARBR/TIDE0001.JPG", "101HARBR/TIDE0002.JPG"] {
        card.timeless(name);
    }
    assert_eq!(slots(&card.shoot()), ["TIDE9997", "TIDE9998", "-TIDE9999", "TIDE0001", "TIDE0002"]);
}

#[test]
fn a_counter_that_begins_again_at_2_misses_1_only_if_the_clock_says_so() {
    for (pause, expected) in [
        (10, vec!["TIDE4999", "TIDE5000", "-TIDE0001", "TIDE0002", "TIDE0003"]),
        (5, vec!["TIDE4999", "TIDE5000", "TIDE0002", "TIDE0003"]),
    ] {
        let card = Card::new();
        card.still("100HARBR/TIDE4999.JPG", 0);
        card.still("100HARBR/TIDE5000.JPG", 5);
        card.still("101HARBR/TIDE0002.JPG", 5 + pause);
        card.still("101HARBR/TIDE0003.JPG", 10 + pause);
        assert_eq!(slots(&card.shoot()), expected);
    }
}

#[test]
fn numbers_without_any_rule_are_no_gaps() {
    let card = Card::new();
    for name in ["a003.jpg", "a010.jpg", "a011.jpg", "a040.jpg", "a055.jpg"] {
        card.timeless(name);
    }
    let shoot = card.shoot();
    assert_eq!(shoot.slots.len(), 5);
    assert!(notes(&shoot).contains("follow no rule"), "{}", notes(&shoot));
}

#[test]
fn a_jump_too_far_to_be_missing_stills_fills_nothing() {
    let card = Card::new();
    for name in ["a1.jpg", "a2.jpg", "a3.jpg", "a900000000000.jpg", "a900000000001.jpg"] {
        card.timeless(name);
    }
    let shoot = card.shoot();
    assert_eq!(shoot.slots.len(), 5);
    assert!(notes(&shoot).contains("too far for missing stills"), "{}", notes(&shoot));
}

#[test]
fn a_change_of_interval_does_not_hide_a_gap() {
    let card = Card::new();
    let times = [0, 5, 10, 15, 20, 80, 140, 260, 320];
    let numbers = [1, 2, 3, 4, 5, 6, 7, 9, 10];
    for (number, seconds) in numbers.into_iter().zip(times) {
        card.still(&format!("a{number:02}.jpg"), seconds);
    }
    assert_eq!(slots(&card.shoot()), ["a01", "a02", "a03", "a04", "a05", "a06", "a07", "-a08", "a09", "a10"]);
}

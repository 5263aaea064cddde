//! Synthetic shoots: the order is right, or the survey stops and names the two stills in conflict.

use std::fs;

use crate::camera::{Card, Tags, noon_plus, notes, slots, words};
use stillpath::units::SlotIndex;

#[test]
fn a_plain_run_is_ordered_by_its_numbers_from_any_start() {
    let card = Card::new();
    card.stills(["TIDE4991.JPG", "TIDE4992.JPG", "TIDE4993.JPG"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE4991", "TIDE4992", "TIDE4993"]);
    assert_eq!(shoot.interval, Some(5.0));
    assert_eq!(shoot.size.to_string(), "48x32");
    assert_eq!(notes(&shoot), "");
}

#[test]
fn one_still_is_a_shoot() {
    let card = Card::new();
    card.still("TIDE0001.JPG", 0);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001"]);
    assert_eq!(shoot.interval, None);
}

#[test]
fn numbers_wrap_after_9999_within_one_folder() {
    let card = Card::new();
    card.stills(["TIDE9998.JPG", "TIDE9999.JPG", "TIDE0001.JPG", "TIDE0002.JPG"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE9998", "TIDE9999", "TIDE0001", "TIDE0002"]);
    assert_eq!(notes(&shoot).lines().count(), 1, "{}", notes(&shoot));
    assert!(notes(&shoot).contains("/TIDE9999.JPG to"), "{}", notes(&shoot));
    assert_eq!(shoot.notes[0].slots, [SlotIndex(1), SlotIndex(2)]);
}

/// Fault 3: numbers wrap.
#[test]
fn numbers_wrap_without_capture_times_too_and_by_way_of_0000() {
    let card = Card::new();
    for name in ["TIDE9998.JPG", "TIDE9999.JPG", "TIDE0000.JPG", "TIDE0001.JPG"] {
        card.timeless(name);
    }
    assert_eq!(slots(&card.shoot()), ["TIDE9998", "TIDE9999", "TIDE0000", "TIDE0001"]);
}

#[test]
fn a_wide_gap_that_capture_times_place_in_order_is_no_wrap() {
    let card = Card::new();
    card.stills(["TIDE0001.JPG", "TIDE0002.JPG", "TIDE9998.JPG", "TIDE9999.JPG"]);
    assert_eq!(slots(&card.shoot()), ["TIDE0001", "TIDE0002", "TIDE9998", "TIDE9999"]);
}

// ORACLES 10: 100X/IMG_9998, 100X/IMG_9999, 101X/IMG_0001 in that order.
#[test]
fn a_new_folder_goes_on_after_the_last_with_or_without_a_wrap() {
    let card = Card::new();
    card.stills(["100HARBR/TIDE9998.JPG", "100HARBR/TIDE9999.JPG", "101HARBR/TIDE0001.JPG", "101HARBR/TIDE0002.JPG"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE9998", "TIDE9999", "TIDE0001", "TIDE0002"]);
    assert_eq!(notes(&shoot), "a new folder after 100HARBR/TIDE9999.JPG: 101HARBR/TIDE0001.JPG; the numbers wrap\n");
    let card = Card::new();
    card.stills(["DCIM/109HARBR/TIDE0100.JPG", "DCIM/110HARBR/TIDE0101.JPG"]);
    assert_eq!(slots(&card.shoot()), ["TIDE0100", "TIDE0101"]);
}

#[test]
fn a_counter_that_begins_again_in_a_new_folder_leaves_no_gap() {
    let card = Card::new();
    card.stills(["100HARBR/TIDE4999.JPG", "100HARBR/TIDE5000.JPG", "101HARBR/TIDE0001.JPG", "101HARBR/TIDE0002.JPG"]);
    assert_eq!(slots(&card.shoot()), ["TIDE4999", "TIDE5000", "TIDE0001", "TIDE0002"]);
}

#[test]
fn folders_named_by_day_are_ordered_by_day() {
    let card = Card::new();
    for name in ["day 2/a1.jpg", "day 10/a1.jpg", "day 10/a2.jpg", "day 1/a1.jpg"] {
        card.timeless(name);
    }
    let shoot = card.shoot();
    let order: Vec<String> = shoot
        .slots
        .iter()
        .enumerate()
        .map(|(at, _)| {
            shoot
                .still(SlotIndex(at))
                .unwrap()
                .path
                .parent()
                .unwrap()
                .file_name()
                .unwrap()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert_eq!(order, ["day 1", "day 2", "day 10", "day 10"]);
}

#[test]
fn two_cards_with_numbers_of_their_own_are_one_run() {
    let card = Card::new();
    card.still("first/TIDE0003.JPG", 10);
    card.still("first/TIDE0004.JPG", 15);
    card.still("second/TIDE0001.JPG", 0);
    card.still("second/TIDE0002.JPG", 5);
    assert_eq!(slots(&card.survey_of(&["first", "second"]).unwrap()), ["TIDE0001", "TIDE0002", "TIDE0003", "TIDE0004"]);
}

/// Fault 5: one number twice.
#[test]
fn two_cards_with_the_same_numbers_are_ordered_by_capture_time() {
    let card = Card::new();
    card.still("left/DCIM/100HARBR/TIDE0001.JPG", 10);
    card.still("left/DCIM/100HARBR/TIDE0002.JPG", 15);
    card.still("right/DCIM/100HARBR/TIDE0001.JPG", 0);
    card.still("right/DCIM/100HARBR/TIDE0002.JPG", 5);
    let shoot = card.survey_of(&["left/DCIM", "right/DCIM"]).unwrap();
    let times: Vec<i8> = (0..4).map(|at| shoot.captured(SlotIndex(at)).unwrap().local.second()).collect();
    assert_eq!(times, [0, 5, 10, 15]);
    assert!(notes(&shoot).contains("ordered by capture time"), "{}", notes(&shoot));
}

#[test]
fn two_cards_with_the_same_numbers_and_no_times_stop_the_survey_naming_both_stills() {
    let card = Card::new();
    card.timeless("left/100HARBR/TIDE0001.JPG");
    card.put("right/100HARBR/TIDE0001.JPG", &crate::camera::encoded(48, 32, 9, image::ImageFormat::Jpeg));
    let mistakes = words(&card.survey_of(&["left", "right"]).unwrap_err());
    assert!(mistakes.contains("have the same number"), "{mistakes}");
    assert!(
        mistakes.contains("left/100HARBR/TIDE0001.JPG") && mistakes.contains("right/100HARBR/TIDE0001.JPG"),
        "{mistakes}"
    );
}

#[test]
fn a_second_card_written_in_parallel_is_set_aside_as_copies() {
    let card = Card::new();
    for name in ["TIDE0001.JPG", "TIDE0002.JPG"] {
        let first = card.still(&format!("left/100HARBR/{name}"), 0);
        card.put(format!("right/100HARBR/{name}"), &fs::read(first).unwrap());
    }
    let shoot = card.survey_of(&["left", "right"]).unwrap();
    assert_eq!(slots(&shoot), ["TIDE0001", "TIDE0002"]);
    assert_eq!(shoot.set_aside.len(), 2);
    assert!(shoot.set_aside.iter().all(|file| file.path.to_string_lossy().contains("right")));
}

#[test]
fn numbered_folders_filled_side_by_side_are_one_run_and_its_copies_are_set_aside() {
    let card = Card::new();
    for (at, name) in ["TIDE0001.JPG", "TIDE0002.JPG", "TIDE0003.JPG"].into_iter().enumerate() {
        let first = card.still(&format!("card 1/{name}"), u32::try_from(at).unwrap() * 5);
        card.put(format!("card 2/{name}"), &fs::read(first).unwrap());
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001", "TIDE0002", "TIDE0003"]);
    assert_eq!(shoot.set_aside.len(), 3);
    let card = Card::new();
    for at in 0..6 {
        card.still(&format!("card {}/a{}.jpg", at % 2 + 1, at / 2 + 1), at * 5);
    }
    assert_eq!(slots(&card.shoot()), ["a1", "a1", "a2", "a2", "a3", "a3"]);
}

#[test]
fn numbered_folders_keep_their_order_over_a_reset_clock() {
    let card = Card::new();
    card.still("day 1/a1.jpg", 500);
    card.still("day 1/a2.jpg", 505);
    card.still("day 2/a1.jpg", 0);
    card.still("day 2/a2.jpg", 5);
    let shoot = card.shoot();
    let seconds: Vec<i8> = (0..4).map(|at| shoot.captured(SlotIndex(at)).unwrap().local.second()).collect();
    assert_eq!(seconds, [20, 25, 0, 5]);
    assert!(notes(&shoot).contains("the clock steps back by 8 min 25 s"), "{}", notes(&shoot));
}

#[test]
fn a_change_of_padding_does_not_change_the_order() {
    let card = Card::new();
    card.stills(["tide_8.jpg", "tide_9.jpg", "tide_10.jpg", "tide_11.jpg"]);
    assert_eq!(slots(&card.shoot()), ["tide_8", "tide_9", "tide_10", "tide_11"]);
    let card = Card::new();
    card.stills(["tide_0998.jpg", "tide_0999.jpg", "tide_01000.jpg", "tide_01001.jpg"]);
    assert_eq!(slots(&card.shoot()), ["tide_0998", "tide_0999", "tide_01000", "tide_01001"]);
}

#[test]
fn a_copy_with_a_number_in_brackets_is_set_aside_where_it_is_identical() {
    let card = Card::new();
    card.stills(["TIDE0001.jpg", "TIDE0002.jpg"]);
    card.put("TIDE0001 (1).jpg", &fs::read(card.path().join("TIDE0001.jpg")).unwrap());
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001", "TIDE0002"]);
    assert_eq!(shoot.set_aside[0].reason, "a byte-identical copy of another still");
    assert!(notes(&shoot).contains("TIDE0001 (1).jpg is a byte-identical copy of"), "{}", notes(&shoot));
}

#[test]
fn a_copy_that_differs_stops_the_survey_naming_both_stills() {
    let card = Card::new();
    card.stills(["TIDE0001.jpg", "TIDE0001 (1).jpg", "TIDE0002.jpg"]);
    let mistakes = words(&card.survey().unwrap_err());
    assert!(mistakes.contains("TIDE0001.jpg and ") && mistakes.contains("TIDE0001 (1).jpg claim"), "{mistakes}");
}

#[test]
fn bracketed_numbers_without_an_original_are_a_run_like_any_other() {
    let card = Card::new();
    card.stills(["tide (1).jpg", "tide (2).jpg", "tide (10).jpg"]);
    let names = slots(&card.shoot());
    assert_eq!((names.first().unwrap().as_str(), names.last().unwrap().as_str()), ("tide (1)", "tide (10)"));
}

/// Fault 47: the clock steps.
#[test]
fn an_hour_back_in_autumn_keeps_the_order_by_name_and_is_said() {
    let card = Card::new();
    for (name, seconds) in [("a0001.jpg", 7200), ("a0002.jpg", 7205), ("a0003.jpg", 3610), ("a0004.jpg", 3615)] {
        card.still(name, seconds);
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a0001", "a0002", "a0003", "a0004"]);
    assert!(notes(&shoot).contains("the clock steps back by 59 min 55 s"), "{}", notes(&shoot));
    assert_eq!(shoot.interval, Some(5.0));
}

#[test]
fn an_hour_back_is_no_step_where_the_camera_writes_its_offset() {
    let card = Card::new();
    let times =
        [("2026:10:25 02:59:55", "+02:00"), ("2026:10:25 02:00:00", "+01:00"), ("2026:10:25 02:00:05", "+01:00")];
    for (at, (taken, offset)) in times.into_iter().enumerate() {
        let tags = Tags { taken: Some(taken), offset: Some(offset), ..Tags::default() };
        card.put(format!("a{at}.jpg"), &tags.jpeg(48, 32, 1));
    }
    let shoot = card.shoot();
    assert_eq!(notes(&shoot), "");
    assert_eq!(shoot.interval, Some(5.0));
    assert_eq!(shoot.captured(SlotIndex(1)).unwrap().offset, Some(3600));
}

/// Fault 47: the clock steps.
#[test]
fn a_clock_that_was_reset_keeps_the_order_by_name_and_is_said() {
    let card = Card::new();
    card.still("a0001.jpg", 500);
    card.still("a0002.jpg", 505);
    let reset = Tags { taken: Some("2015:01:01 00:00:00"), ..Tags::default() };
    card.put("a0003.jpg", &reset.jpeg(48, 32, 1));
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a0001", "a0002", "a0003"]);
    assert!(notes(&shoot).contains("steps back by 4138 d"), "{}", notes(&shoot));
    assert_eq!(shoot.notes[0].slots, [SlotIndex(1), SlotIndex(2)]);
}

// ORACLES 10: the sub-second is a decimal fraction: "5" is later than "25".
/// Fault 48: equal seconds.
#[test]
fn equal_seconds_are_told_apart_by_their_fraction() {
    let card = Card::new();
    let write = |name: &str, fraction: &str, mark: u8| {
        let taken = noon_plus(0);
        let tags = Tags { taken: Some(&taken), fraction: Some(fraction), ..Tags::default() };
        card.put(name, &tags.jpeg(48, 32, mark));
    };
    write("left/100HARBR/TIDE0001.JPG", "5", 1);
    write("right/100HARBR/TIDE0001.JPG", "25", 2);
    write("right/100HARBR/TIDE0002.JPG", "75", 3);
    let shoot = card.survey_of(&["left", "right"]).unwrap();
    let parts: Vec<i32> =
        (0..3).map(|at| shoot.captured(SlotIndex(at)).unwrap().local.subsec_nanosecond() / 10_000_000).collect();
    assert_eq!(parts, [25, 50, 75]);
    assert_eq!(shoot.interval, Some(0.25));
}

/// Fault 48: equal seconds.
#[test]
fn equal_times_are_ordered_by_number() {
    let card = Card::new();
    for name in ["a10.jpg", "a9.jpg", "a11.jpg"] {
        card.still(name, 0);
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a9", "a10", "a11"]);
    assert_eq!(shoot.interval, None);
}

#[test]
fn mixed_extensions_and_cases_are_one_run() {
    let card = Card::new();
    card.stills(["TIDE0001.JPG", "tide0002.jpeg", "Tide0003.jpg", "TIDE0004.JPE"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001", "tide0002", "Tide0003", "TIDE0004"]);
    assert_eq!(notes(&shoot), "");
}

#[test]
fn raw_files_beside_their_jpegs_are_set_aside_with_a_count() {
    let card = Card::new();
    card.stills(["TIDE0001.JPG", "TIDE0002.JPG"]);
    for raw in ["TIDE0001.DNG", "TIDE0002.dng"] {
        card.put(raw, b"II*\0\x08\0\0\0");
    }
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["TIDE0001", "TIDE0002"]);
    assert_eq!(shoot.set_aside.iter().filter(|file| file.reason == "a raw file").count(), 2);
}

#[test]
fn a_picture_beside_a_different_one_of_its_name_stops_the_survey() {
    let card = Card::new();
    card.still("TIDE0001.JPG", 0);
    card.put("TIDE0001.PNG", &crate::camera::encoded(48, 32, 1, image::ImageFormat::Png));
    let mistakes = words(&card.survey().unwrap_err());
    assert!(mistakes.contains("TIDE0001.JPG and ") && mistakes.contains("TIDE0001.PNG claim"), "{mistakes}");
}

/// Fault 37: the same still twice.
#[test]
fn identical_stills_with_numbers_of_their_own_are_kept_and_listed() {
    let card = Card::new();
    let stale = fs::read(card.still("cam0001.jpg", 0)).unwrap();
    card.put("cam0002.jpg", &stale);
    card.still("cam0003.jpg", 10);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["cam0001", "cam0002", "cam0003"]);
    assert!(notes(&shoot).contains("cam0002.jpg is byte-identical to the still before: kept"), "{}", notes(&shoot));
}

#[test]
fn two_runs_in_one_folder_follow_each_other_in_natural_order() {
    let card = Card::new();
    card.stills(["quay-a1.jpg", "quay-a2.jpg", "quay-b1.jpg", "quay-b2.jpg"]);
    assert_eq!(slots(&card.shoot()), ["quay-a1", "quay-a2", "quay-b1", "quay-b2"]);
}

#[test]
fn names_that_tell_no_order_give_way_to_capture_times() {
    let card = Card::new();
    card.stills(["3fa8.jpg", "e01b.jpg", "07cc.jpg", "b2.jpg", "9d4e.jpg", "1a.jpg"]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["3fa8", "e01b", "07cc", "b2", "9d4e", "1a"]);
    assert!(notes(&shoot).contains("give no order: ordered by capture time"), "{}", notes(&shoot));
}

/// What a webcam's script leaves: no capture times, a folder a day, numbers that begin again, an error page under a
/// still's name, a still cut off by a lost connection.
#[test]
fn a_webcams_snapshots_go_on_where_its_numbers_begin_again() {
    let card = Card::new();
    for day in ["2031-05-04", "2031-05-05"] {
        for number in 1..=4 {
            card.timeless(&format!("{day}/snap{number:04}.jpg"));
        }
    }
    let whole = std::fs::read(card.path().join("2031-05-05/snap0003.jpg")).unwrap();
    for (name, bytes) in [
        ("2031-05-04/snap0002.jpg", &b"<!DOCTYPE html><title>502</title>"[..]),
        ("2031-05-05/snap0003.jpg", &whole[..whole.len() / 2]),
    ] {
        let file = std::fs::File::options().write(true).truncate(true).open(card.path().join(name)).unwrap();
        std::io::Write::write_all(&mut &file, bytes).unwrap();
        file.set_modified(std::time::SystemTime::now() - std::time::Duration::from_secs(3600)).unwrap();
    }
    let shoot = card.shoot();
    let due = ["snap0001", "!snap0002", "snap0003", "snap0004", "snap0001", "snap0002", "!snap0003", "snap0004"];
    assert_eq!(slots(&shoot), due);
    assert!(notes(&shoot).contains("a new folder after 2031-05-04/snap0004.jpg"), "{}", notes(&shoot));
    assert!(crate::camera::damage(&shoot, "snap0002").to_string().contains("an HTML page"));
}

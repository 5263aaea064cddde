//! Two cameras in one place, counters that begin again, and times in file names.

use stillpath::diag::Diagnostics;
use stillpath::shoot::Shoot;
use stillpath::shot::Pairs;
use stillpath::survey::{Request, advice, survey};

use super::camera::{Card, Tags, noon_plus, notes, slots, words};

/// A still of a camera.
fn of(card: &Card, name: &str, seconds: Option<u32>, model: Option<&str>, serial: Option<&str>) {
    let taken = seconds.map(noon_plus);
    let mark = u8::try_from(name.bytes().map(u32::from).sum::<u32>() % 251).unwrap();
    card.put(name, &Tags { taken: taken.as_deref(), model, serial, ..Tags::default() }.jpeg(48, 32, mark));
}

fn request(card: &Card, camera: Option<&str>) -> Request {
    Request {
        base: card.path().to_owned(),
        paths: vec![".".to_owned()],
        obey_orientation: true,
        pairs: Pairs::Stop,
        camera: camera.map(str::to_owned),
    }
}

fn chosen(card: &Card, camera: Option<&str>) -> Result<Shoot, Diagnostics> {
    survey(&request(card, camera))
}

#[test]
fn two_cameras_by_turns_stop_and_either_can_be_chosen() {
    const SERIALS: [&str; 2] = ["QX-70031142", "QX-70031187"];
    // Interleaved by number, by prefix, and by folder; other models, and one model with two serial numbers.
    let names: [fn(u32) -> [String; 2]; 3] = [
        |at| [format!("TIDE{:04}.JPG", 2 * at + 1), format!("TIDE{:04}.JPG", 2 * at + 2)],
        |at| [format!("east{:04}.JPG", at + 1), format!("west{:04}.JPG", at + 1)],
        |at| [format!("100EASTA/TIDE{:04}.JPG", at + 1), format!("101WESTA/TIDE{:04}.JPG", at + 1)],
    ];
    for name in names {
        for (models, called) in
            [(["Oak 5", "Elm 7x"], ["Oak 5", "Elm 7x"]), (["Oak 5", "Oak 5"], ["Oak 5 42", "Oak 5 87"])]
        {
            let card = Card::new();
            for at in 0..6 {
                for (which, name) in name(at).iter().enumerate() {
                    let seconds = 10 * at + 5 * u32::try_from(which).unwrap();
                    of(&card, name, Some(seconds), Some(models[which]), Some(SERIALS[which]));
                }
            }
            let said = words(&chosen(&card, None).unwrap_err());
            assert!(said.contains("the stills of 2 cameras"), "{said}");
            for called in called {
                assert!(said.contains(&format!("camera = {called:?}: 6 stills")), "{said}");
                let shoot = chosen(&card, Some(called)).unwrap();
                assert_eq!((shoot.slots.len(), shoot.set_aside.len()), (6, 6), "{called}");
                assert_eq!(shoot.interval, Some(10.0));
                let printed = serde_json::to_string(&shoot).unwrap() + &said;
                assert!(!printed.contains("700311"), "a serial number is nobody's business: {printed}");
                assert!(advice(&shoot, &request(&card, Some(called))).contains(&format!("camera = {called:?}")));
            }
            let said = words(&chosen(&card, Some("Ash")).unwrap_err());
            assert!(said.contains("no still is of a camera called \"Ash\"") && said.contains(called[1]), "{said}");
        }
    }
}

#[test]
fn all_cameras_can_be_taken_and_what_does_not_say_goes_with_its_fellows() {
    let card = Card::new();
    for at in 0..4 {
        of(&card, &format!("east{at:04}.JPG"), Some(10 * at), Some("Oak 5"), None);
        of(&card, &format!("west{at:04}.JPG"), Some(10 * at + 5), Some("Elm 7x"), None);
    }
    card.put("west0004.JPG", b"");
    assert_eq!(
        slots(&chosen(&card, Some("elm 7x")).unwrap()),
        ["west0000", "west0001", "west0002", "west0003", "!west0004"]
    );
    assert_eq!(chosen(&card, Some("Oak 5")).unwrap().slots.len(), 4);
    assert_eq!(chosen(&card, Some("any")).unwrap().slots.len(), 9);
}

#[test]
fn a_camera_that_was_replaced_goes_on_with_a_note() {
    let card = Card::new();
    for at in 0..8 {
        let model = if at < 4 { "Oak 5" } else { "Elm 7x" };
        of(&card, &format!("TIDE{:04}.JPG", at + 1), Some(10 * at), Some(model), None);
    }
    let shoot = chosen(&card, None).unwrap();
    assert_eq!(shoot.slots.len(), 8);
    assert!(notes(&shoot).contains("/TIDE0005.JPG on: Elm 7x after Oak 5"), "{}", notes(&shoot));
    // One camera, some of whose stills were written by a program that drops the tags.
    let card = Card::new();
    (0..4).for_each(|at| of(&card, &format!("TIDE{at:04}.JPG"), Some(10 * at), (at != 2).then_some("Oak 5"), None));
    assert_eq!((chosen(&card, None).unwrap().slots.len(), notes(&card.shoot())), (4, String::new()));
}

#[test]
fn a_counter_that_begins_again_in_one_folder_is_put_in_order_by_its_times() {
    let card = Card::new();
    let numbers: Vec<u32> = (500..530).chain(0..30).collect();
    card.stills(numbers.iter().map(|number| format!("cam{number:03}.jpg")));
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), numbers.iter().map(|number| format!("cam{number:03}")).collect::<Vec<_>>());
    assert!(notes(&shoot).contains("cam529.jpg, with"), "{}", notes(&shoot));
    // A clock that was reset is no new beginning, …
    let card = Card::new();
    (1..=20).for_each(|number| drop(card.still(&format!("cam{number:03}.jpg"), 600 + 5 * number)));
    for number in 31..=50 {
        let taken = format!("2001:01:01 00:{:02}:{:02}", number / 12, 5 * (number % 12));
        card.put(format!("cam{number:03}.jpg"), &Tags { taken: Some(&taken), ..Tags::default() }.jpeg(48, 32, 9));
    }
    assert_eq!(slots(&card.shoot())[0], "cam001");
    // … nor is one that was set back by a quarter of an hour.
    let card = Card::new();
    for number in 1..=200 {
        if number != 100 {
            card.still(&format!("cam{number:03}.jpg"), 3600 + 10 * number - if number > 100 { 900 } else { 0 });
        }
    }
    assert_eq!(slots(&card.shoot())[0], "cam001");
}

#[test]
fn the_ring_of_numbers_ends_with_0000_where_times_say_so() {
    let card = Card::new();
    let name = |number: u32| format!("TIDE{number:04}.JPG");
    let taken =
        |at: u32| format!("2026:05:{:02} {:02}:{:02}:{:02}", 1 + at / 17_280, at / 720 % 24, at / 12 % 60, at % 12 * 5);
    for at in 0..10_000 {
        let taken = taken(at);
        let number = (at + 1) % 10_000;
        card.put(name(number), &Tags { taken: Some(&taken), ..Tags::default() }.jpeg(16, 8, 3));
    }
    let names = slots(&card.shoot());
    assert_eq!((names[0].as_str(), names[9999].as_str(), names.len()), ("TIDE0001", "TIDE0000", 10_000));
}

#[test]
fn composed_and_decomposed_names_are_one_run() {
    let card = Card::new();
    // "Höhe" with one letter or two for the second.
    for number in 1..=12 {
        let stem = if number % 2 == 0 { "H\u{f6}he" } else { "Ho\u{308}he" };
        card.timeless(&format!("{stem}{number}.jpg"));
    }
    let due: Vec<String> = (1..=12).map(|number| format!("H\u{f6}he{number}")).collect();
    assert_eq!(slots(&card.shoot()), due);
}

#[test]
fn times_in_file_names_are_capture_times_where_headers_have_none() {
    type Name = fn(u32) -> String;
    let cases: [(Name, &str); 4] = [
        (|at| format!("cam2_2026-06-01_12-{:02}-00.jpg", 3 * at), "taken for the camera's local time"),
        (|at| format!("20260601T12{:02}00Z.jpg", 3 * at), "UTC, as their Z says"),
        (|at| format!("{}.jpg", 1_780_315_200 + 180 * at), "seconds since 1970, which are UTC"),
        (
            |at| format!("snap-{}.jpg", 1_780_315_200_000_u64 + 180_000 * u64::from(at)),
            "seconds since 1970, which are UTC",
        ),
    ];
    for (name, zone) in cases {
        let card = Card::new();
        (0..10).filter(|at| *at != 6).for_each(|at| drop(card.timeless(&name(at))));
        let shoot = card.shoot();
        assert_eq!(shoot.interval, Some(180.0), "{}", name(0));
        let first = shoot.captured(stillpath::units::SlotIndex(0)).unwrap();
        assert_eq!(first.local.to_string(), "2026-06-01T12:00:00", "{}", name(0));
        assert!(
            notes(&shoot).contains("capture times are those in the file names") && notes(&shoot).contains(zone),
            "{}",
            notes(&shoot)
        );
        // One name that tells no time: none is believed.
        card.timeless("a-still.jpg");
        assert_eq!(card.shoot().interval, None);
    }
    // Headers go first.
    let card = Card::new();
    (0..4).for_each(|at| drop(card.still(&format!("2026-05-01_12-00-{:02}.jpg", 5 * at), 5 * at + 1)));
    assert_eq!(notes(&card.shoot()), "");
    assert_eq!(card.shoot().captured(stillpath::units::SlotIndex(0)).unwrap().local.second(), 1);
}

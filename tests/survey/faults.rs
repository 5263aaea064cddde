//! Damaged, odd and foreign files: each is a slot with its damage, or set aside with a reason, or said in a note; never
//! lost.

use std::fs;
use std::io::Write;
use std::thread;
use std::time::Duration;

use image::ImageFormat;
use stillpath::shoot::{Content, Damage, Format, Orientation};
use stillpath::survey::{Request, survey};
use stillpath::units::SlotIndex;

use crate::camera::{Card, Tags, damage, encoded, noon_plus, notes, slots, words};

/// A card with stills 1, 2 and 4, on which the test puts a third.
fn card() -> Card {
    let card = Card::new();
    for (name, seconds) in [("a01.jpg", 0), ("a02.jpg", 5), ("a04.jpg", 15)] {
        card.still(name, seconds);
    }
    card
}

fn whole_jpeg() -> Vec<u8> {
    let taken = noon_plus(10);
    Tags { taken: Some(&taken), ..Tags::default() }.jpeg(48, 32, 3)
}

#[test]
fn an_empty_file_keeps_its_place() {
    let card = card();
    card.put("a03.jpg", b"");
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a01", "a02", "!a03", "a04"]);
    assert_eq!(damage(&shoot, "a03"), &Damage::Empty);
}

/// Fault 16: no picture.
#[test]
fn a_file_that_is_no_picture_is_called_what_it_is() {
    for (bytes, what) in [
        (&b"<!DOCTYPE html><html><title>502 Bad Gateway</title></html>"[..], "an HTML page"),
        (&[0; 5000][..], "nothing but zero bytes"),
        (&[1, 2, 3, 0xfe, 0xff][..], "bytes of no known kind"),
        (b"camera offline", "a text"),
    ] {
        let card = card();
        card.put("a03.jpg", bytes);
        assert_eq!(damage(&card.shoot(), "a03"), &Damage::NotAPicture(what.to_owned()));
    }
}

#[test]
fn a_picture_of_a_kind_that_is_not_read_is_damage_where_a_still_should_be() {
    let card = card();
    card.put("a03.jpg", b"GIF89a\x01\0\x01\0");
    assert_eq!(damage(&card.shoot(), "a03"), &Damage::Unsupported("GIF pictures are not read".to_owned()));
}

#[test]
fn a_jpeg_cut_short_says_how_many_rows_are_there_and_keeps_its_time() {
    let card = card();
    let taken = noon_plus(10);
    let whole = Tags { taken: Some(&taken), ..Tags::default() }.jpeg(48, 32, 3);
    card.put("a03.jpg", &whole[..whole.len() - 200]);
    let shoot = card.shoot();
    let Damage::CutShort { decoded, due: 32 } = damage(&shoot, "a03") else { panic!("{:?}", damage(&shoot, "a03")) };
    assert!(*decoded < 32, "{decoded}");
    assert!(shoot.captured(SlotIndex(2)).is_some());
}

#[test]
fn pictures_of_every_other_kind_cut_short_are_damaged_too() {
    let tiff = Tags::default().tiff(48, 32);
    for (name, whole) in [
        ("a03.png", encoded(48, 32, 3, ImageFormat::Png)),
        ("a03.webp", encoded(48, 32, 3, ImageFormat::WebP)),
        ("a03.tif", tiff),
    ] {
        let card = card();
        card.put(name, &whole);
        assert_eq!(slots(&card.shoot()), ["a01", "a02", "a03", "a04"], "{name}");
        card.put(name, &whole[..whole.len() * 2 / 3]);
        let shoot = card.shoot();
        assert_eq!(slots(&shoot), ["a01", "a02", "!a03", "a04"], "{name}");
        let found = damage(&shoot, "a03");
        assert!(matches!(found, Damage::CutShort { .. } | Damage::Corrupt(_)), "{name}: {found}");
    }
}

#[test]
fn a_jpeg_cut_short_and_filled_with_zeros_is_found_too() {
    let card = card();
    let mut bytes = whole_jpeg();
    let length = bytes.len();
    bytes[length - 200..].fill(0);
    bytes.extend([0; 40_000]);
    card.put("a03.jpg", &bytes);
    assert_eq!(slots(&card.shoot()), ["a01", "a02", "!a03", "a04"]);
}

#[test]
fn a_jpeg_that_ends_in_its_header_is_damaged() {
    let whole = whole_jpeg();
    let frame = whole.windows(2).position(|pair| pair == b"\xff\xc0").unwrap();
    for (cut, found) in [
        (12, Damage::Corrupt("the file ends inside its header".to_owned())),
        (frame + 3, Damage::Corrupt("the file ends inside its header".to_owned())),
        (frame + 25, Damage::CutShort { decoded: 0, due: 32 }),
    ] {
        let card = card();
        card.put("a03.jpg", &whole[..cut]);
        assert_eq!(damage(&card.shoot(), "a03"), &found);
    }
}

#[test]
fn a_jpeg_without_an_end_mark_but_with_all_rows_is_used_and_said() {
    let card = card();
    let whole = whole_jpeg();
    card.put("a03.jpg", &whole[..whole.len() - 2]);
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a01", "a02", "a03", "a04"]);
    assert!(notes(&shoot).contains("a03.jpg is without an end mark, but with all rows: used"), "{}", notes(&shoot));
}

#[test]
fn bytes_after_the_end_mark_are_ignored_and_said_once() {
    let short = [&whole_jpeg()[..], b"camera block"].concat();
    let long = [&whole_jpeg()[..], &[0x55; 100_000]].concat();
    let second_picture = [&whole_jpeg()[..], &[0; 30_000], &whole_jpeg()[..], &[0; 30_000]].concat();
    for bytes in [short, long, second_picture] {
        let card = card();
        card.put("a03.jpg", &bytes);
        card.put("a05.jpg", &bytes);
        let shoot = card.shoot();
        assert_eq!(slots(&shoot), ["a01", "a02", "a03", "a04", "a05"]);
        let said = notes(&shoot);
        assert_eq!(said.matches("followed by bytes after the picture's end").count(), 1, "{said}");
        assert!(said.contains("2 stills, "), "{said}");
    }
}

#[test]
fn jpegs_of_kinds_that_are_not_read_are_named_by_kind() {
    for (marker, precision, what) in [
        (0xc1, 12, "12-bit JPEG is not read"),
        (0xc3, 8, "lossless JPEG is not read"),
        (0xc5, 8, "hierarchical JPEG is not read"),
    ] {
        let card = card();
        let mut bytes = whole_jpeg();
        let frame = bytes.windows(2).position(|pair| pair == b"\xff\xc0").unwrap();
        bytes[frame + 1] = marker;
        bytes[frame + 4] = precision;
        card.put("a03.jpg", &bytes);
        assert_eq!(damage(&card.shoot(), "a03"), &Damage::Unsupported(what.to_owned()));
    }
}

/// Fault 36: more pixels than can be.
#[test]
fn more_pixels_than_a_still_may_have_are_refused_by_the_header_alone() {
    let jpeg = {
        let mut bytes = whole_jpeg();
        let frame = bytes.windows(2).position(|pair| pair == b"\xff\xc0").unwrap();
        bytes[frame + 5..frame + 9].copy_from_slice(&[0xff, 0xf0, 0xff, 0xf0]);
        bytes
    };
    let png = {
        let mut bytes = encoded(48, 32, 1, ImageFormat::Png);
        bytes[16..24].copy_from_slice(&[0, 1, 0x86, 0xa0, 0, 1, 0x86, 0xa0]);
        bytes
    };
    for (bytes, size) in [(jpeg, "65520x65520"), (png, "100000x100000")] {
        let card = card();
        card.put("a03.jpg", &bytes);
        assert_eq!(damage(&card.shoot(), "a03"), &Damage::TooLarge(size.to_owned()));
    }
}

#[test]
fn content_counts_where_an_extension_lies() {
    let card = card();
    card.put("a03.jpg", &encoded(48, 32, 1, ImageFormat::Png));
    card.put("a05", &encoded(48, 32, 2, ImageFormat::Jpeg));
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a01", "a02", "a03", "a04", "a05"]);
    assert_eq!(shoot.still(SlotIndex(2)).unwrap().format, Format::Png);
    assert!(notes(&shoot).contains("a03.jpg is named .jpg and PNG by content"), "{}", notes(&shoot));
    assert!(notes(&shoot).contains("a05 is without an extension and JPEG by content"), "{}", notes(&shoot));
}

/// Fault 8: sidecars, thumbnails, raw; pairs.
#[test]
fn every_file_found_is_used_or_listed_with_a_reason() {
    let card = card();
    for name in [
        "._a01.jpg",
        ".DS_Store",
        "a01.xmp",
        "a01.thm",
        "a01.dng",
        "notes.txt",
        "clip.mp4",
        "thumb_a01.jpg",
        "Thumbs.db",
        "a02.gif",
        "a02.bin",
    ] {
        card.put(name, b"something");
    }
    card.put("a03.jpg", b"");
    card.put("previews/a01.jpg", b"x");
    card.put("100HARBR/deeper/a01.jpg", b"x");
    let shoot = card.shoot();
    let found = shoot.slots.iter().filter(|slot| !matches!(slot.content, Content::Missing)).count();
    // Four stills, eleven other files, and two folders that are not searched.
    assert_eq!((found, shoot.set_aside.len()), (4, 13));
    let reason = |name: &str| shoot.set_aside.iter().find(|file| file.path.ends_with(name)).map(|file| file.reason);
    for (name, expected) in [
        ("._a01.jpg", "another system's resource fork"),
        (".DS_Store", "a hidden file"),
        ("a01.xmp", "a sidecar"),
        ("a01.thm", "a thumbnail"),
        ("a01.dng", "a raw file"),
        ("notes.txt", "a sidecar"),
        ("clip.mp4", "a video"),
        ("thumb_a01.jpg", "a thumbnail"),
        ("Thumbs.db", "a thumbnail"),
        ("a02.gif", "not a picture"),
        ("a02.bin", "not a picture"),
        ("previews", "a folder of thumbnails"),
        ("100HARBR/deeper", "a folder further down, not searched"),
    ] {
        assert_eq!(reason(name), Some(expected), "{name}");
    }
    let text = stillpath::survey::describe(&shoot);
    assert!(text.contains("17 files found = 3 used + 1 damaged + 13 set aside"), "{text}");
}

/// Fault 17: still being written.
#[test]
fn a_file_still_being_written_is_waited_for() {
    let card = card();
    let whole = whole_jpeg();
    let path = card.path().join("a03.jpg");
    let mut file = fs::File::create(&path).unwrap();
    file.write_all(&whole[..whole.len() / 2]).unwrap();
    let writer = thread::spawn(move || {
        thread::sleep(Duration::from_millis(300));
        file.write_all(&whole[whole.len() / 2..]).unwrap();
    });
    let shoot = card.shoot();
    writer.join().unwrap();
    assert_eq!(slots(&shoot), ["a01", "a02", "a03", "a04"]);
}

/// Fault 19: unreadable.
#[cfg(unix)]
#[test]
fn a_file_that_cannot_be_opened_keeps_the_systems_own_words() {
    let card = card();
    std::os::unix::fs::symlink("nowhere", card.path().join("a03.jpg")).unwrap();
    let shoot = card.shoot();
    let Damage::Unreadable(why) = damage(&shoot, "a03") else { panic!("{:?}", damage(&shoot, "a03")) };
    assert!(why.contains("os error 2"), "{why}");
}

#[cfg(unix)]
#[test]
fn a_pipe_is_never_opened() {
    let card = card();
    let status = std::process::Command::new("mkfifo").arg(card.path().join("a03.jpg")).status().unwrap();
    assert!(status.success());
    let shoot = card.shoot();
    assert_eq!(slots(&shoot), ["a01", "a02", "-a03", "a04"]);
    assert_eq!(shoot.set_aside[0].reason, "not a file");
}

#[cfg(unix)]
#[test]
fn odd_names_are_names() {
    use std::os::unix::ffi::OsStrExt;
    let card = Card::new();
    let names: [&[u8]; 5] =
        [b"-rf 1.jpg", b"\"q'uo%te%d\" 2.jpg", b"two\nlines 3.jpg", b"[a]*? 4.jpg", b"ti\xe9de 5.jpg"];
    for name in names {
        card.put(std::ffi::OsStr::from_bytes(name), &encoded(48, 32, name[0], ImageFormat::Jpeg));
    }
    let shoot = card.shoot();
    assert_eq!(shoot.slots.len(), 5);
    for (at, _) in shoot.slots.iter().enumerate() {
        assert!(fs::metadata(&shoot.still(SlotIndex(at)).unwrap().path).is_ok());
    }
    let json = serde_json::to_string(&shoot).unwrap();
    assert!(json.contains("ti\u{fffd}de 5"), "{json}");
    let single = card.survey_of(&["[a]*? 4.jpg", "-rf 1.jpg"]).unwrap();
    assert_eq!(slots(&single), ["-rf 1", "[a]*? 4"]);
}

#[cfg(unix)]
#[test]
fn links_are_followed_once_and_hard_links_are_stills_of_their_own() {
    use std::os::unix::fs::symlink;
    let card = card();
    let card_path = card.path();
    symlink(".", card_path.join("round")).unwrap();
    symlink("a01.jpg", card_path.join("a00.jpg")).unwrap();
    fs::hard_link(card_path.join("a01.jpg"), card_path.join("a03.jpg")).unwrap();
    let shoot = card.survey_of(&[".", card_path.to_str().unwrap(), "a02.jpg"]).unwrap();
    assert_eq!(slots(&shoot), ["a01", "a02", "a03", "a04"]);
    let twice = shoot.set_aside.iter().filter(|file| file.reason == "reached by another path already").count();
    assert_eq!((twice, shoot.set_aside.len()), (4, 4));
}

#[test]
fn an_empty_folder_says_that_it_is_empty_and_a_folder_of_other_things_says_what_is_there() {
    let card = Card::new();
    let empty = words(&card.survey().unwrap_err());
    assert!(empty.contains("'.' holds no stills") && empty.contains("it is empty"), "{empty}");
    card.put("TIDE0001.DNG", b"II*\0");
    card.put("TIDE0002.DNG", b"II*\0");
    let raw = words(&card.survey().unwrap_err());
    assert!(raw.contains("set aside: 2 (a raw file: 2 DNG), such as"), "{raw}");
}

#[test]
fn a_path_that_is_not_there_names_the_nearest_that_is() {
    let card = Card::new();
    card.still("stills/TIDE0001.JPG", 0);
    let folder = words(&card.survey_of(&["stils"]).unwrap_err());
    assert!(folder.contains("there is no 'stils'") && folder.contains("'stills'"), "{folder}");
    let roundabout = words(&card.survey_of(&["./stills/./../stils"]).unwrap_err());
    assert!(roundabout.contains("there is no 'stills/../stils'"), "{roundabout}");
    let pattern = words(&card.survey_of(&["stills/*.JPEG"]).unwrap_err());
    assert!(
        pattern.contains("nothing matches the pattern 'stills/*.JPEG'") && pattern.contains("'TIDE0001.JPG'"),
        "{pattern}"
    );
    let above = words(&card.survey_of(&["stils/*.JPG"]).unwrap_err());
    assert!(above.contains("'stills'"), "{above}");
    let both = card.survey_of(&["stils", "nothing/*"]).unwrap_err();
    assert_eq!(both.0.len(), 2);
    let broken = words(&card.survey_of(&["stills/[a.JPG"]).unwrap_err());
    assert!(broken.contains("is not a valid pattern"), "{broken}");
}

#[test]
fn patterns_and_lists_take_what_they_name() {
    let card = Card::new();
    card.stills(["100HARBR/TIDE0001.JPG", "100HARBR/TIDE0002.JPG", "101HARBR/TIDE0003.JPG"]);
    card.put("100HARBR/notes.txt", b"x");
    assert_eq!(slots(&card.survey_of(&["*/*.JPG"]).unwrap()).len(), 3);
    assert_eq!(slots(&card.survey_of(&["1?1HARBR"]).unwrap()), ["TIDE0003"]);
    assert_eq!(slots(&card.survey_of(&["100HARBR/TIDE000[2-9].JPG"]).unwrap()), ["TIDE0002"]);
    assert_eq!(slots(&card.survey_of(&["**/*.JPG"]).unwrap()).len(), 3);
    assert_eq!(slots(&card.survey_of(&["101HARBR/TIDE0003.JPG", "100HARBR"]).unwrap()).len(), 3);
    card.put("100HARBR/.cache/TIDE0001.JPG", b"x");
    let hidden = card.survey_of(&["**/*.JPG"]).unwrap();
    assert_eq!((slots(&hidden).len(), hidden.set_aside[0].reason), (3, "a hidden folder"));
    card.still("thumb_4.jpg", 20);
    let named = card.survey_of(&["thumb_4.jpg", "100HARBR/notes.txt"]).unwrap();
    assert_eq!((slots(&named), named.set_aside.len()), (vec!["thumb_4".to_owned()], 1));
}

#[test]
fn a_folder_whose_name_looks_like_a_pattern_is_a_folder() {
    let card = Card::new();
    card.still("[tide]*/a1.jpg", 0);
    assert_eq!(slots(&card.survey_of(&["[tide]*"]).unwrap()), ["a1"]);
    let base = card.path().join("[tide]*");
    let request = Request {
        base,
        paths: vec!["a?.jpg".to_owned()],
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    assert_eq!(slots(&survey(&request).unwrap()), ["a1"]);
}

#[test]
fn stills_of_two_sizes_stop_the_survey_naming_the_first_pair() {
    let card = card();
    let taken = noon_plus(10);
    card.put("a03.jpg", &Tags { taken: Some(&taken), ..Tags::default() }.jpeg(48, 30, 3));
    let mistakes = words(&card.survey().unwrap_err());
    assert!(mistakes.contains("a02.jpg is 48x32, ") && mistakes.contains("a03.jpg is 48x30"), "{mistakes}");
    assert!(mistakes.contains("3 stills are of the size 48x32"), "{mistakes}");
}

#[test]
fn an_orientation_tag_that_turns_one_still_stops_the_survey_and_offers_to_ignore_it() {
    let card = card();
    card.put("a03.jpg", &Tags { orientation: Some(6), ..Tags::default() }.jpeg(48, 32, 3));
    let mistakes = words(&card.survey().unwrap_err());
    assert!(mistakes.contains("a03.jpg is 32x48") && mistakes.contains("orientation = \"ignore\""), "{mistakes}");
    let request = Request {
        base: card.path().to_owned(),
        paths: vec![".".to_owned()],
        obey_orientation: false,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    let shoot = survey(&request).unwrap();
    assert_eq!(shoot.size.to_string(), "48x32");
    assert_eq!(shoot.still(SlotIndex(2)).unwrap().orientation, Orientation::Upright);
}

#[test]
fn an_orientation_tag_that_keeps_the_size_is_obeyed_and_said() {
    let card = card();
    card.put("a03.jpg", &Tags { orientation: Some(3), ..Tags::default() }.jpeg(48, 32, 3));
    let shoot = card.shoot();
    assert_eq!(shoot.still(SlotIndex(2)).unwrap().orientation, Orientation::HalfTurn);
    assert!(notes(&shoot).contains("the orientation tag changes"), "{}", notes(&shoot));
}

#[test]
fn stills_without_capture_times_are_ordered_by_name_and_that_is_said() {
    let card = Card::new();
    for name in ["a2.jpg", "a10.jpg", "a1.jpg"] {
        card.timeless(name);
    }
    assert!(notes(&card.shoot()).contains("no still has a capture time"));
    card.still("a3.jpg", 5);
    assert!(notes(&card.shoot()).contains("3 of 4 stills have no capture time"), "{}", notes(&card.shoot()));
}

#[test]
fn a_shoot_without_one_whole_still_is_refused_with_what_is_wrong() {
    let card = Card::new();
    card.put("a1.jpg", b"");
    card.put("a2.jpg", b"<html>");
    let mistakes = words(&card.survey().unwrap_err());
    assert!(mistakes.contains("none of the 2 stills found is whole"), "{mistakes}");
    assert!(mistakes.contains("a1.jpg: the file is empty") && mistakes.contains("an HTML page"), "{mistakes}");
}

#[test]
fn raw_files_and_pictures_of_other_kinds_without_a_still_of_their_name_are_counted_and_said() {
    let card = card();
    let gif = b"GIF89a, and more";
    for name in ["a01.ARW", "b07.ARW", "b08.NEF"] {
        card.put(name, b"II*\0 the raw data of a camera");
    }
    card.put("b09.gif", gif);
    let shoot = card.shoot();
    // The raw file of a pair is the still's own, and needs no word.
    let said: Vec<&str> = shoot.notes.iter().map(|note| note.message.as_str()).collect();
    assert!(
        said.iter().any(|said| said.starts_with("2 files (1 ARW, 1 NEF), ")
            && said.contains("b07.ARW the first, are each a raw file")),
        "{said:?}"
    );
    assert!(said.iter().any(|said| said.contains("b09.gif is a picture of a kind that is not read")), "{said:?}");
    let only = Card::new();
    only.put("b09.gif", gif);
    let mistake = &only.survey().unwrap_err().0[0];
    assert!(mistake.help.iter().any(|help| help.contains("turn them into PNG or TIFF")), "{mistake:?}");
}

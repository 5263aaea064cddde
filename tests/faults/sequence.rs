//! Order, names, and files that are no stills.

use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;

use stillpath::ffi::jpeg;

use crate::common::{Bench, Ran, STILL, cut_short, one, picture, put, write_still};

/// A shoot of these files below `stills`, the pictures numbered from 1 in this order.
fn shoot(names: &[&str]) -> Bench {
    let bench = Bench::new(0);
    for (index, name) in names.iter().enumerate() {
        write_still(&bench.path("stills").join(name), STILL, index + 1);
    }
    bench.script(&one("\"stills\""));
    bench
}

/// The frames of a shoot with nothing wrong: what every order must come to.
fn plain(count: usize) -> Vec<String> {
    let bench = Bench::new(count);
    bench.script(&one("\"stills\""));
    bench.planes()
}

/// Fault 4: a new folder.
#[test]
fn numbers_that_wrap_into_a_new_folder_go_on_and_the_render_says_so() {
    let bench =
        shoot(&["100HARBR/LAPS9998.JPG", "100HARBR/LAPS9999.JPG", "101HARBR/LAPS0001.JPG", "101HARBR/LAPS0002.JPG"]);
    assert_eq!(bench.planes(), plain(4));
    bench.render().expect(0).says("a new folder after 100HARBR/LAPS9999.JPG: 101HARBR/LAPS0001.JPG; the numbers wrap");
}

/// Fault 3: numbers wrap.
#[test]
fn numbers_that_wrap_within_a_folder_go_on_and_the_check_says_so() {
    let bench = shoot(&["LAPS9998.JPG", "LAPS9999.JPG", "LAPS0001.JPG", "LAPS0002.JPG"]);
    assert_eq!(bench.planes(), plain(4));
    bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("the numbers wrap from stills/LAPS9999.JPG to stills/LAPS0001.JPG");
}

/// Fault 5: one number twice.
#[test]
fn two_stills_of_one_number_stop_the_render_and_both_are_named() {
    let bench = shoot(&["left/100HARBR/LAPS0001.JPG", "right/100HARBR/LAPS0001.JPG"]);
    bench.script(&one("\"stills/left\", \"stills/right\""));
    let ran = bench.render().expect(1).says("have the same number");
    ran.says("left/100HARBR/LAPS0001.JPG").says("right/100HARBR/LAPS0001.JPG").says("move.lua:1");
    assert!(bench.list("clips").is_empty());
}

/// Fault 6: no padding.
#[test]
fn numbers_without_padding_are_shown_in_natural_order() {
    assert_eq!(shoot(&["quay8.jpg", "quay9.jpg", "quay10.jpg", "quay11.jpg"]).planes(), plain(4));
}

/// Fault 7: copies.
#[test]
fn a_copy_is_dropped_with_a_note_where_it_is_identical_and_stops_the_render_where_not() {
    let bench = shoot(&["LAPS0001.jpg", "LAPS0002.jpg", "LAPS0003.jpg"]);
    fs::copy(bench.path("stills/LAPS0002.jpg"), bench.path("stills/LAPS0002 (1).jpg")).unwrap();
    assert_eq!(bench.planes(), plain(3));
    bench.render().expect(0).says("LAPS0002 (1).jpg is a byte-identical copy of stills/LAPS0002.jpg: set aside");
    write_still(&bench.path("stills/LAPS0002 (1).jpg"), STILL, 9);
    bench
        .run(&["render", "move.lua", "--out", "other"])
        .expect(1)
        .says("LAPS0002.jpg and stills/LAPS0002 (1).jpg claim");
}

/// Fault 8: sidecars, thumbnails, raw; pairs.
/// Fault 9: mixed extensions.
#[test]
fn files_that_are_no_stills_are_ignored_with_a_count_and_extensions_may_mix() {
    let bench = shoot(&["LAPS0001.JPG", "LAPS0002.jpeg", "laps0003.jpg", "LAPS0004.JPE"]);
    let strangers = ["LAPS0001.DNG", "LAPS0002.xmp", "LAPS0003.THM", "._LAPS0004.JPG", ".DS_Store", "thumb_1.jpg"];
    for name in strangers {
        fs::write(bench.path("stills").join(name), "something else").unwrap();
    }
    assert_eq!(bench.planes(), plain(4));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("4 = 4 used") && ran.out.contains("6 other files set aside"), "{}", ran.out);
}

/// Does to a still what a camera, a card or a network does.
type Spoil = fn(&Path);

/// What the third of six stills may turn out to be, and the word that says so.
const DAMAGED: [(&str, Spoil); 5] = [
    ("the file is empty", |path| put(path, "")),
    ("of 240 rows", |path| cut_short(path, 4000)),
    ("an HTML page", |path| put(path, "<!DOCTYPE html><html><body>502 Bad Gateway</body></html>")),
    ("nothing but zero bytes", |path| put(path, [0; 4096])),
    ("cannot be read", |path| {
        fs::remove_file(path).unwrap();
        std::os::unix::fs::symlink("gone.jpg", path).unwrap();
    }),
];

/// Fault 10: an empty file.
/// Fault 11: a JPEG cut short.
/// Fault 16: no picture.
#[test]
fn every_damage_follows_every_policy_and_no_other_frame_differs() {
    let clean = plain(6);
    let without_third: Vec<String> = [&clean[..2], &clean[3..]].concat();
    let held: Vec<String> = [&clean[..2], &clean[1..2], &clean[3..]].concat();
    for (words, damage) in DAMAGED {
        let bench = Bench::new(6);
        damage(&bench.still(3));
        bench.script(&one("\"stills\""));
        bench.render().expect(1).says("LAPS0003").says(words);
        assert!(bench.list("clips").is_empty());
        for (policy, expected) in [("hold", &held), ("skip", &without_third)] {
            bench.script(&one(&format!("\"stills\", damaged = \"{policy}\"")));
            assert_eq!(bench.planes(), *expected, "{words}, {policy}");
            let ran = bench.run(&["render", "move.lua", "--out", policy]).expect(0);
            assert!(ran.out.contains("6 = 5 used + 1 damaged"), "{words}, {policy}: {}", ran.out);
            let listed = ran.out.lines().any(|line| line.contains("damaged: LAPS0003") && line.contains(words));
            assert!(listed, "{words}, {policy}: {}", ran.out);
        }
    }
}

/// Fault 12: no end mark, all rows.
/// Fault 13: bytes after the end.
#[test]
fn a_missing_end_mark_and_bytes_after_one_change_no_frame_and_are_said() {
    let bench = Bench::new(4);
    bench.script(&one("\"stills\""));
    let clean = bench.planes();
    let bytes = fs::read(bench.still(2)).unwrap();
    assert_eq!(bytes[bytes.len() - 2..], [0xFF, 0xD9]);
    put(&bench.still(2), &bytes[..bytes.len() - 2]);
    for number in [3, 4] {
        let block = [&fs::read(bench.still(number)).unwrap()[..], b"a camera's own block", &[0x55; 3000]].concat();
        fs::write(bench.still(number), block).unwrap();
    }
    assert_eq!(bench.planes(), clean);
    let ran = bench.render().expect(0).says("LAPS0002.JPG is without an end mark, but with all rows: used");
    let ran = ran.says("2 stills, stills/LAPS0003.JPG the first, are followed by bytes after the picture's end");
    assert_eq!(ran.err.matches("followed by bytes").count(), 1, "{}", ran.err);
}

/// Fault 15: an extension that lies.
#[test]
fn content_counts_where_an_extension_lies_and_that_is_said() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let clean = bench.planes();
    // The very pixels of the JPEG, so that the frame must be nearly the same: a PNG named .JPG.
    let pixels = image::open(bench.still(2)).unwrap();
    pixels.save_with_format(bench.still(2), image::ImageFormat::Png).unwrap();
    let seen = bench.planes();
    assert_eq!((&seen[0], &seen[2]), (&clean[0], &clean[2]));
    bench.render().expect(0).says("LAPS0002.JPG is named .jpg and PNG by content: the content counts");
}

/// Fault 21: odd names.
#[test]
fn names_of_any_bytes_work_for_stills_scripts_and_outputs() {
    let bench = Bench::new(0);
    let names: [&[u8]; 5] =
        [b"-rf 1.jpg", b"\"q'uo%03d\" 2.jpg", b"two\nlines 3.jpg", b"$(x) `y` 4.jpg", b"fl\xf6w 5.jpg"];
    for name in names {
        let path = bench.path("stills").join(OsStr::from_bytes(name));
        write_still(&path, STILL, 1);
    }
    for (index, script) in [&b"-it's 100%\n.lua"[..], b"fl\xf6w \"2\".lua"].into_iter().enumerate() {
        let script = Path::new(".").join(OsStr::from_bytes(script));
        fs::write(bench.folder.path().join(&script), one("\"stills\"")).unwrap();
        let out = bench.folder.path().join(OsStr::from_bytes(b"-out %d\n\xf6")).join(index.to_string());
        let mut command = bench.command(&["render"]);
        let ran = Ran::of(command.arg(&script).arg("--out").arg(&out).output().unwrap()).expect(0);
        assert!(ran.out.contains("5 = 5 used"), "{}", ran.out);
        let made: Vec<_> = fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        // A script's name that is no Unicode gives its output the nearest that is.
        let stem = script.file_stem().unwrap().to_string_lossy();
        let mut due = [format!("{stem}-wide.mp4"), format!("{stem}-wide-strip.png"), format!("{stem}-receipt.json")]
            .map(std::ffi::OsString::from);
        let mut made = made;
        made.sort();
        due.sort();
        assert_eq!(made, due);
        let mut command = bench.command(&["render", "--json", "--force"]);
        let json = Ran::of(command.arg(&script).arg("--out").arg(&out).output().unwrap()).expect(0).json();
        assert_eq!(json["outputs"][0]["frames"], 5);
    }
    let json = bench.run(&["survey", "stills", "--json"]).expect(0).json();
    assert_eq!(json["slots"].as_array().unwrap().len(), 5);
}

/// Fault 23: links in a circle.
#[test]
fn links_that_lead_round_are_followed_once() {
    let bench = Bench::new(3);
    std::os::unix::fs::symlink(".", bench.path("stills/round")).unwrap();
    std::os::unix::fs::symlink("../stills", bench.path("stills/about")).unwrap();
    std::os::unix::fs::symlink("LAPS0001.JPG", bench.path("stills/LAPS0009.JPG")).unwrap();
    for source in ["\"stills\"", "\"stills/**/*.JPG\"", "\"stills\", \"stills/round\", \"stills/LAPS0002.JPG\""] {
        bench.script(&one(source));
        let ran = bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
        assert!(ran.out.contains("3 = 3 used"), "{source}: {}", ran.out);
        assert!(ran.out.contains("other files set aside"), "{source}: {}", ran.out);
    }
}

/// Fault 24: nothing there.
#[test]
fn an_empty_folder_and_a_pattern_that_fits_nothing_stop_with_what_is_near() {
    let bench = Bench::new(2);
    fs::create_dir(bench.path("empty")).unwrap();
    for (source, words) in [
        ("\"empty\"", "it is empty"),
        ("\"stils\"", "'stills'"),
        ("\"stills/*.JPEG\"", "'LAPS0001.JPG'"),
        ("\"stils/*.JPG\"", "'stills'"),
    ] {
        bench.script(&one(source));
        bench.render().expect(1).says(words).says("move.lua:1");
        assert!(bench.list("clips").is_empty());
    }
}

/// Fault 11: a JPEG cut short.
#[test]
fn a_half_written_still_shows_neither_grey_nor_stale_rows() {
    // A white still among black ones, cut in the middle: a stale row would be black, a grey one grey.
    let bench = Bench::new(0);
    for number in 1..=4 {
        let value = if number == 3 { 255 } else { 0 };
        let rgb = vec![value; picture(STILL, 0).len()];
        fs::create_dir_all(bench.path("stills")).unwrap();
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[])).unwrap();
    }
    let whole = fs::read(bench.still(3)).unwrap();
    cut_short(&bench.still(3), whole.len() - 300);
    let deep = one("\"stills\", damaged = \"hold\"").replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\"");
    bench.script(&deep);
    bench.render().expect(0);
    for index in 0..4 {
        let path = bench.path(&format!("clips/move-wide/{index:06}.png"));
        let frame = image::open(path).unwrap().to_rgb16();
        assert!(frame.pixels().all(|pixel| pixel.0 == [0; 3]), "frame {index}");
    }
}

/// Fault 21: odd names.
#[test]
fn a_name_forges_no_line_and_no_sign_in_it_reaches_the_terminal_but_letters_do() {
    let bench = Bench::new(5);
    // Clears the screen, rings, ends the line, says a sum of its own, turns the order about.
    let forged = "LAPS0003\u{1b}[2J\u{7}\nstills: 9 = 9 used\nGr\u{f6}\u{df}e \u{6771}\u{4eac}\u{202e}";
    fs::rename(bench.still(3), bench.path(&format!("stills/{forged}.JPG"))).unwrap();
    crate::common::put(&bench.path(&format!("stills/{forged}.JPG")), b"");
    bench.script(
        "return shot { source = stills { \"stills\", missing = \"skip\", damaged = \"hold\" }, fps = 24, pace = stills_per_frame(1),
  deliveries = { delivery { \"wide\", frame = { 64, 36 }, codec = \"png\" } } }",
    );
    let said = |arguments: &[&str]| {
        let ran = bench.run(arguments).expect(0);
        let all = format!("{}{}", ran.out, ran.err);
        let strange = |letter: &char| letter.is_control() && *letter != '\n' || *letter == '\u{202e}';
        assert_eq!(all.chars().find(strange), None, "{arguments:?}: {all}");
        assert!(!all.lines().any(|line| line.trim_start().starts_with("stills: 9")), "{arguments:?}: {all}");
        all
    };
    let named = "LAPS0003\\u{1b}[2J\\u{7}\\nstills: 9 = 9 used\\nGröße 東京\\u{202e}";
    for arguments in [&["check", "move.lua"][..], &["survey", "stills"], &["explain", "move.lua", "--frame", "2"]] {
        assert!(said(arguments).contains(named), "{}", said(arguments));
    }
    let out = "clips\u{1b}[2J\nstills: 9 = 9 used";
    let rendered = said(&["render", "move.lua", "--out", out, "--no-strip"]);
    assert!(
        rendered.contains(named) && rendered.contains("clips\\u{1b}[2J\\nstills: 9 = 9 used/move-wide"),
        "{rendered}"
    );
    // JSON says the same name, whole and fit too, and scripts may give it as it is written there.
    let json = bench.run(&["survey", "stills", "--json"]).expect(0);
    assert!(!json.out.contains('\u{202e}') && json.json()["slots"][2]["name"] == named, "{}", json.out);
    bench.script(&format!(
        "return shot {{ source = stills {{ \"stills\", missing = \"skip\", damaged = \"hold\" }}, pace = stills_per_frame(1),
  framing = framing {{ key {{ at = still \"{named}\", on = point(0.5, 0.5), zoom = 2 }} }},
  deliveries = {{ delivery {{ \"wide\", frame = {{ 64, 36 }} }} }} }}"
    ));
    said(&["check", "move.lua"]);
    bench.script("return shot { sauce = \"\u{1b}[2J\" }");
    let ran = bench.run(&["check", "move.lua"]).expect(1);
    assert!(!ran.err.contains('\u{1b}') && ran.err.contains("sauce"), "{}", ran.err);
}

//! The twelve kinds of disorder that a shoot comes in, in one table: the whole order, or a stop that names the two
//! stills in conflict. What each does beside that is tested in `shoots.rs` and `missing.rs`.

use std::fs;

use stillpath::shoot::{Content, Shoot};
use stillpath::shot::Pairs;
use stillpath::survey::{Request, survey};

use crate::camera::{Card, Tags, encoded, noon_plus, words};

/// How a shoot comes out.
enum Due {
    /// Paths below the card in order, `-NAME` where a still is missing; and words that must be among the notes.
    Order(&'static [&'static str], &'static str),
    /// Two stills that both must be named.
    Stop(&'static str, &'static str),
}

struct Case {
    what: &'static str,
    write: fn(&Card),
    /// What is surveyed.
    paths: &'static [&'static str],
    pairs: Pairs,
    due: Due,
}

/// Stills every 5 seconds.
fn stills(card: &Card, names: &[&str]) {
    card.stills(names);
}

fn copy(card: &Card, from: &str, to: &str) {
    card.put(to, &fs::read(card.path().join(from)).unwrap());
}

fn png(card: &Card, name: &str) {
    card.put(name, &encoded(48, 32, 1, image::ImageFormat::Png));
}

const HERE: &[&str] = &["."];
const CARDS: &[&str] = &["left", "right"];

const CASES: &[Case] = &[
    Case {
        what: "wrap",
        write: |card| stills(card, &["T9998.JPG", "T9999.JPG", "T0001.JPG", "T0002.JPG"]),
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["T9998.JPG", "T9999.JPG", "T0001.JPG", "T0002.JPG"], "the numbers wrap from"),
    },
    Case {
        what: "new folder",
        write: |card| {
            stills(card, &["100QUAYS/T9998.JPG", "100QUAYS/T9999.JPG", "101QUAYS/T0001.JPG", "101QUAYS/T0002.JPG"])
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(
            &["100QUAYS/T9998.JPG", "100QUAYS/T9999.JPG", "101QUAYS/T0001.JPG", "101QUAYS/T0002.JPG"],
            "a new folder after 100QUAYS/T9999.JPG: 101QUAYS/T0001.JPG",
        ),
    },
    Case {
        what: "two cards, told apart by the clock",
        write: |card| stills(card, &["right/T0001.JPG", "left/T0001.JPG", "right/T0002.JPG", "left/T0002.JPG"]),
        paths: CARDS,
        pairs: Pairs::Stop,
        due: Due::Order(
            &["right/T0001.JPG", "left/T0001.JPG", "right/T0002.JPG", "left/T0002.JPG"],
            "ordered by capture time",
        ),
    },
    Case {
        what: "two cards without a clock",
        write: |card| {
            card.timeless("left/T0001.JPG");
            card.put("right/T0001.JPG", &encoded(48, 32, 9, image::ImageFormat::Jpeg));
        },
        paths: CARDS,
        pairs: Pairs::Stop,
        due: Due::Stop("left/T0001.JPG", "right/T0001.JPG"),
    },
    Case {
        what: "padding change",
        write: |card| stills(card, &["t_8.jpg", "t_9.jpg", "t_0010.jpg", "t_0011.jpg", "t_00012.jpg"]),
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["t_8.jpg", "t_9.jpg", "t_0010.jpg", "t_0011.jpg", "t_00012.jpg"], ""),
    },
    Case {
        what: "(1) copies, identical",
        write: |card| {
            stills(card, &["T0001.jpg", "T0002.jpg", "T0003.jpg"]);
            copy(card, "T0002.jpg", "T0002 (1).jpg");
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["T0001.jpg", "T0002.jpg", "T0003.jpg"], "T0002 (1).jpg is a byte-identical copy of"),
    },
    Case {
        what: "(1) copies, different",
        write: |card| stills(card, &["T0001.jpg", "T0002.jpg", "T0002 (1).jpg"]),
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Stop("/T0002.jpg and", "T0002 (1).jpg claim"),
    },
    Case {
        what: "an hour back in autumn",
        write: |card| {
            for (name, seconds) in [("a1.jpg", 7190), ("a2.jpg", 7195), ("a3.jpg", 3600), ("a4.jpg", 3605)] {
                card.still(name, seconds);
            }
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["a1.jpg", "a2.jpg", "a3.jpg", "a4.jpg"], "the clock steps back by 59 min 55 s"),
    },
    Case {
        what: "clock reset",
        write: |card| {
            card.still("a1.jpg", 500);
            card.still("a2.jpg", 505);
            for (name, taken) in [("a3.jpg", "2015:01:01 00:00:00"), ("a4.jpg", "2015:01:01 00:00:05")] {
                card.put(name, &Tags { taken: Some(taken), ..Tags::default() }.jpeg(48, 32, name.as_bytes()[1]));
            }
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["a1.jpg", "a2.jpg", "a3.jpg", "a4.jpg"], "the clock steps back by 4138 d"),
    },
    Case {
        what: "sub-seconds",
        write: |card| {
            let taken = noon_plus(0);
            for (name, fraction, mark) in
                [("left/T1.JPG", "5", 1), ("right/T1.JPG", "25", 2), ("right/T2.JPG", "75", 3)]
            {
                let tags = Tags { taken: Some(&taken), fraction: Some(fraction), ..Tags::default() };
                card.put(name, &tags.jpeg(48, 32, mark));
            }
        },
        paths: CARDS,
        pairs: Pairs::Stop,
        // "5" is half a second, later than a quarter (Exif 2.31, SubSecTime).
        due: Due::Order(&["right/T1.JPG", "left/T1.JPG", "right/T2.JPG"], "ordered by capture time"),
    },
    Case {
        what: "mixed extensions",
        write: |card| {
            stills(card, &["T0001.JPG", "t0002.jpeg", "T0003.jpg", "T0004.JPE"]);
            png(card, "T0005.png");
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["T0001.JPG", "t0002.jpeg", "T0003.jpg", "T0004.JPE", "T0005.png"], ""),
    },
    Case {
        what: "raw + JPEG pairs",
        write: |card| {
            stills(card, &["T0001.JPG", "T0002.JPG"]);
            card.put("T0001.ARW", b"II*\0 raw data");
            card.put("T0002.ARW", b"II*\0 raw data");
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["T0001.JPG", "T0002.JPG"], ""),
    },
    Case {
        what: "pairs of two kinds that are read, nothing said",
        write: |card| {
            stills(card, &["T0001.JPG", "T0002.JPG"]);
            png(card, "T0001.PNG");
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Stop("T0001.JPG and", "T0001.PNG claim"),
    },
    Case {
        what: "pairs of two kinds that are read, by the script's word",
        write: |card| {
            stills(card, &["T0001.JPG", "T0002.JPG"]);
            png(card, "T0001.PNG");
        },
        paths: HERE,
        pairs: Pairs::Use(stillpath::shoot::Format::Png),
        // A still that has no PNG beside it stays.
        due: Due::Order(&["T0001.PNG", "T0002.JPG"], ""),
    },
    Case {
        what: "gaps",
        write: |card| {
            for (name, seconds) in [("T0001.JPG", 0), ("T0002.JPG", 5), ("T0005.JPG", 20), ("T0006.JPG", 25)] {
                card.still(name, seconds);
            }
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(&["T0001.JPG", "T0002.JPG", "-T0003", "-T0004", "T0005.JPG", "T0006.JPG"], ""),
    },
    Case {
        what: "duplicates",
        write: |card| {
            stills(card, &["T0001.JPG", "T0002.JPG"]);
            copy(card, "T0002.JPG", "T0003.JPG");
            card.still("T0004.JPG", 15);
        },
        paths: HERE,
        pairs: Pairs::Stop,
        due: Due::Order(
            &["T0001.JPG", "T0002.JPG", "T0003.JPG", "T0004.JPG"],
            "T0003.JPG is byte-identical to the still before",
        ),
    },
];

/// Paths below the card in order, `-NAME` where a still is missing.
fn order(card: &Card, shoot: &Shoot) -> Vec<String> {
    let one = |slot: &stillpath::shoot::Slot| match &slot.content {
        Content::Whole(still) => still.path.strip_prefix(card.path()).unwrap().to_string_lossy().into_owned(),
        Content::Damaged { path, damage, .. } => panic!("{}: {damage}", path.display()),
        Content::Missing => format!("-{}", slot.name),
    };
    shoot.slots.iter().map(one).collect()
}

/// Fault 8: sidecars, thumbnails, raw; pairs.
#[test]
fn every_disorder_comes_out_in_its_whole_order_or_stops_and_names_both_stills() {
    for case in CASES {
        let card = Card::new();
        (case.write)(&card);
        let paths = case.paths.iter().map(|path| (*path).to_owned()).collect();
        let request =
            Request { base: card.path().to_owned(), paths, obey_orientation: true, pairs: case.pairs, camera: None };
        match (&case.due, survey(&request)) {
            (Due::Order(due, said), Ok(shoot)) => {
                assert_eq!(order(&card, &shoot), *due, "{}", case.what);
                let notes = crate::camera::notes(&shoot);
                assert!(notes.contains(said), "{}: {notes}", case.what);
                let files = |content: &Content| !matches!(content, Content::Missing);
                let found = shoot.slots.iter().filter(|slot| files(&slot.content)).count() + shoot.set_aside.len();
                assert_eq!(found, written(card.path()), "{}: every file is a slot or set aside", case.what);
            }
            (Due::Stop(first, second), Err(mistakes)) => {
                let words = words(&mistakes);
                assert!(words.contains(first) && words.contains(second), "{}: {words}", case.what);
            }
            (Due::Order(..), Err(mistakes)) => panic!("{}: {}", case.what, words(&mistakes)),
            (Due::Stop(..), Ok(shoot)) => panic!("{}: ordered as {:?}", case.what, order(&card, &shoot)),
        }
    }
}

/// Files in a folder and below.
fn written(folder: &std::path::Path) -> usize {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| if path.is_dir() { written(&path) } else { 1 }).sum()
}

/// Fault 8: sidecars, thumbnails, raw; pairs.
#[test]
fn of_a_pair_the_kind_that_the_script_wants_is_the_still_whichever_way_it_is_named() {
    let card = Card::new();
    card.stills(["T0001.JPG", "T0002.JPG"]);
    png(&card, "T0001.PNG");
    // A PNG by its content, whatever its name says.
    png(&card, "T0002.TIF");
    let of = |pairs| {
        survey(&Request {
            base: card.path().to_owned(),
            paths: vec![".".into()],
            obey_orientation: true,
            pairs,
            camera: None,
        })
    };
    let shoot = of(Pairs::Use(stillpath::shoot::Format::Png)).unwrap();
    assert_eq!(order(&card, &shoot), ["T0001.PNG", "T0002.TIF"]);
    assert_eq!(shoot.set_aside.len(), 2);
    assert!(
        shoot.set_aside.iter().all(|file| file.reason == "beside a picture of its name that the script wants instead")
    );
    let shoot = of(Pairs::Use(stillpath::shoot::Format::Jpeg)).unwrap();
    assert_eq!(order(&card, &shoot), ["T0001.JPG", "T0002.JPG"]);
    // Neither is a TIFF: there is nothing to choose by.
    let mistakes = words(&of(Pairs::Use(stillpath::shoot::Format::Tiff)).unwrap_err());
    assert!(mistakes.contains("T0001.JPG and ") && mistakes.contains("pairs = \"jpeg\""), "{mistakes}");
}

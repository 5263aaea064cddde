//! `reckon`: twenty cases worked by hand, what is refused with what to type in its place, tables, sheets, and a shoot
//! reckoned backwards.
//!
//! Where no other source stands beside a case, the arithmetic is a division or two, and what is divided is common
//! practice, no source.

use std::fs;

use crate::common::{Bench, exif, picture};
use stillpath::ffi::jpeg;
use stillpath::units::Size;

/// The exact value of an answer, and `-` where there is none.
fn exact(json: &serde_json::Value, name: &str) -> String {
    let answers = json["answers"].as_array().unwrap();
    let answer = answers.iter().find(|answer| answer["name"] == name);
    answer.map_or_else(|| "-".to_owned(), |answer| answer["exact"].as_str().unwrap().to_owned())
}

fn reckoned(bench: &Bench, arguments: &str) -> serde_json::Value {
    let arguments: Vec<&str> = arguments.split_whitespace().collect();
    bench.run(&[&["reckon", "--json"], &arguments[..]].concat()).expect(0).json()
}

/// What is typed, and the exact values due by their names.
type Case = (&'static str, &'static [(&'static str, &'static str)]);

/// In seconds, stills, bytes, degrees, times, metres.
const CASES: [Case; 24] = [
    // 1. 8 h = 28,800 s; / 5 s = 5,760; 5,760 / 30 = 192 s = 3 min 12 s; one still a frame runs 30 x 5 = 150 times as fast.
    ("--event 8h --interval 5s --fps 30", &[("stills", "5760"), ("clip", "192"), ("slowest", "150")]),
    // 2. From the first of 9,999 to the last are 9,998 intervals: 9,998 x 3 s = 29,994 s = 8 h 19 min 54 s.
    ("--stills 9999 --interval 3s", &[("first to last", "29994"), ("event", "29997")]),
    // 3. A still of 4,480 x 2,520 and a frame of 3,840 x 2,160: 4,480 / 3,840 = 7 / 6, its window 6 / 7 = 85.7 % as wide.
    ("--size 4480x2520 --frame 3840x2160", &[("zoom 3840x2160", "7/6")]),
    // 4. A still of 3,840 x 2,160 has 2,160 lines for 1,080: room of 2.
    ("--size 3840x2160 --frame 1920x1080", &[("zoom 1920x1080", "2")]),
    // 5. Two frames a still at 24 a second show 24 / 2 = 12 stills a second.
    ("--fps 24 --frames-per-still 2", &[("stills a second", "12")]),
    // 6. The tallest 9:16 window of 6,000 x 4,000 is 2,250 x 4,000: 2,250 / 1,080 = 25 / 12 = 2.08; at 2,160 half of it, 1.04.
    (
        "--size 6000x4000 --frame 1080x1920 --frame 2160x3840",
        &[("zoom 1080x1920", "25/12"), ("zoom 2160x3840", "25/24")],
    ),
    // 7. 90 s at 24 are 2,160 frames; 28,800 / 2,160 = 40 / 3 s; set to 13 s that is 28,800 / 13 = 2,215.4, so 2,216 stills.
    (
        "--event 8h --clip 90s --fps 24 --interval ?",
        &[("interval", "40/3"), ("interval to set", "13"), ("stills", "2216")],
    ),
    // 8. 192 s at 30 are 5,760 frames; 28,800 / 5,760 = 5 s, which a timer has: nothing is rounded.
    (
        "--event 8h --clip 192s --fps 30 --interval ?",
        &[("interval", "5"), ("interval to set", "-"), ("stills", "5760")],
    ),
    // 9. 2 min at 25 are 3,000 frames; x 4 s = 12,000 s = 3 h 20 min.
    ("--interval 4s --clip 2m --fps 25 --event ?", &[("event", "12000"), ("stills", "3000")]),
    // 10. 5,760 stills in 192 s: 5,760 / 192 = 30 a second.
    ("--event 8h --interval 5s --clip 192s --fps ?", &[("fps", "30")]),
    // 11. 10 min at 24 are 14,400 frames; / 5,760 stills = 5 / 2 frames each.
    ("--event 8h --interval 5s --clip 10m --fps 24 --frames-per-still ?", &[("frames per still", "5/2")]),
    // 12. 90 s at 24000/1001 are 2,160,000 / 1,001 = 2,157.8: frames begin before the end, so 2,158.
    ("--clip 90s --fps 24000/1001 --stills ?", &[("stills", "2158")]),
    // 13. 1,000 stills at 30000/1001: 1,000 x 1,001 / 30,000 = 1,001 / 30 = 33.367 s, not 33.333.
    ("--stills 1000 --fps 30000/1001", &[("clip", "1001/30")]),
    // 14. 360 x (1 / 50) / 5 = 1.44 degrees; at 50 Hz 2 x 50 / 50 = 2 whole pulses of light.
    ("--interval 5s --exposure 1/50 --mains 50", &[("angle", "36/25"), ("pulses", "2")]),
    // 15. 180 degrees of 5 s are 5 / 2 s.
    ("--interval 5s --angle 180 --exposure ?", &[("exposure", "5/2")]),
    // 16. A pause of 2 s after an exposure of 1 s is a still every 3 s (JOB: 2 s + 1 s exposure is 3 s): 28,800 / 3 = 9,600.
    ("--event 8h --pause 2s --exposure 1s", &[("interval", "3"), ("stills", "9600")]),
    // 17. 5,760 x 12 MB = 69.12 GB; 64 GB / 12 MB = 5,333.3, so 5,333 on a card and 2 cards.
    ("--event 8h --interval 5s --still-takes 12MB --card 64GB", &[("bytes", "69120000000"), ("cards", "2")]),
    // 18. 900 stills a charge: 5,760 / 900 = 6.4, so 7 charges and 6 swaps. 4 h a charge: 14,400 / 5 = 2,880; 2 charges, 1 swap.
    ("--event 8h --interval 5s --battery 900stills", &[("swaps", "6")]),
    ("--event 8h --interval 5s --battery 4h", &[("swaps", "1")]),
    // 19. 9,999 - 9,500 = 499 numbers left; 5,760 / 2,000 = 2.88, so 3 folders.
    ("--event 8h --interval 5s --number 9500 --folder-holds 2000", &[("numbers left", "499"), ("folders", "3")]),
    // 20. 1.4 m/s x 5 s = 7 m, of 12 m 7 / 12; 12 / 7 = 1.7 stills to cross. 5 km/h = 25 / 18 m/s; x 2 s = 25 / 9 m.
    ("--interval 5s --speed 1.4m/s --across 12m", &[("step", "7"), ("share", "7/12"), ("crossing", "12/7")]),
    ("--interval 2s --speed 5km/h", &[("step", "25/9")]),
    // 21. 10 s at 3 s: stills at 0, 3, 6 and 9 s.
    ("--event 10s --interval 3s", &[("stills", "4"), ("first to last", "9")]),
    // 22. 8 h in 90 s is 320 times; 5,760 / 2,160 = 8 / 3 stills a frame.
    ("--event 8h --interval 5s --clip 90s --fps 24", &[("times", "320"), ("pace", "8/3"), ("longest clip", "240")]),
];

#[test]
fn cases_worked_by_hand_come_out_to_the_fraction() {
    let bench = Bench::new(0);
    for (typed, due) in CASES {
        let json = reckoned(&bench, typed);
        for (name, value) in due {
            assert_eq!(exact(&json, name), *value, "{name} of {typed}: {json:#}");
        }
    }
}

/// What is typed; what is said of it; what its help says to type, and what of it is put in the place of what.
type Refused = (&'static str, &'static str, &'static [(&'static str, &'static str, &'static str)]);

const REFUSED: [Refused; 26] = [
    (
        "--event 3650d --interval 0.001s",
        "a unit may be wrong",
        &[(
            "--event 8h --interval 5s --fps 30",
            "--event 3650d --interval 0.001s",
            "--event 8h --interval 5s --fps 30",
        )],
    ),
    (
        "--event 8 --interval 5s",
        "--event 8 has no unit",
        &[
            ("--event 8h", "--event 8", "--event 8h"),
            ("--event 8m", "--event 8", "--event 8m"),
            ("--event 8s", "--event 8", "--event 8s"),
        ],
    ),
    (
        "--event 8h --interval 5",
        "--interval 5 has no unit",
        &[("--interval 5s", "--interval 5", "--interval 5s"), ("--interval 5m", "--interval 5", "--interval 5m")],
    ),
    (
        "--event 1:30 --interval 5s",
        "may be 1 h 30 min or 1 min 30 s",
        &[("--event 1h30m", "--event 1:30", "--event 1h30m"), ("--event 1m30s", "--event 1:30", "--event 1m30s")],
    ),
    ("--event 8..12 --interval 5s", "--event 8 has no unit", &[("--event 8h", "--event 8..12", "--event 8h..12h")]),
    (
        "--event soon --interval 5s",
        "a length of time with its units",
        &[("--event 8h30m", "--event soon", "--event 8h30m")],
    ),
    ("--event 8h --interval 0s", "above 0", &[("--interval 5s", "--interval 0s", "--interval 5s")]),
    (
        "--event 8h --interval 30..2",
        "from a smaller value to a larger one",
        &[("--interval 2s..30s", "--interval 30..2", "--interval 2s..30s")],
    ),
    (
        "--stills 100 --fps 0",
        "above 0 and at most 480",
        &[("--fps 24", "--fps 0", "--fps 24"), ("--fps 24000/1001", "--fps 0", "--fps 24000/1001")],
    ),
    (
        "--stills 100 --fps 29.97",
        "only close to a real frame rate",
        &[("--fps 30000/1001", "--fps 29.97", "--fps 30000/1001")],
    ),
    ("--event ? --interval ? --stills 9", "two unknowns", &[("--interval 5s", "--interval ?", "--interval 5s")]),
    ("--event 8h..9h --interval 2..30", "two ranges", &[("--interval 5s", "--interval 2..30", "--interval 5s")]),
    ("--exposure 1/50 --mains 55", "50 or 60", &[("--mains 50", "--mains 55", "--mains 50")]),
    (
        "--event 8h --interval 5s --battery 900",
        "--battery 900 has no unit",
        &[
            ("--battery 900stills", "--battery 900", "--battery 900stills"),
            ("--battery 900h", "--battery 900", "--battery 900h"),
        ],
    ),
    (
        "--event 8h --interval 5s --still-takes 12MB --card 64",
        "--card 64 has no unit",
        &[("--card 64GB", "--card 64", "--card 64GB"), ("--card 64MB", "--card 64", "--card 64MB")],
    ),
    (
        "--event 8h --interval 5s --still-takes ?",
        "cannot be asked for",
        &[("--still-takes 12MB", "--still-takes ?", "--still-takes 12MB")],
    ),
    (
        "--event 8h --interval 5s --format png",
        "--format is one of jpeg",
        &[("--still-takes 12MB", "--format png", "--still-takes 12MB")],
    ),
    ("--size 6000", "WIDTHxHEIGHT", &[("--size 6000x4000", "--size 6000", "--size 6000x4000")]),
    ("--interval 5s --speed fast", "a length over a time", &[("--speed 1.4m/s", "--speed fast", "--speed 1.4m/s")]),
    (
        "--event 8h --pause 2s",
        "--pause needs --exposure",
        &[("--exposure 1/50", "--pause 2s", "--pause 2s --exposure 1/50")],
    ),
    (
        "--event 8h --pause 2s --interval 5s --exposure 1s",
        "one follows from the other",
        &[("leave --interval out", " --interval 5s", ""), ("--pause '?'", "--pause 2s", "--pause ?")],
    ),
    (
        "--interval 5s --angle 180 --exposure 1s",
        "both say how long",
        &[("leave --angle out", "--angle 180", ""), ("--angle '?'", "--angle 180", "--angle ?")],
    ),
    (
        "--event 8h --interval 5s --stills 5000",
        "one of the three follows",
        &[("leave --stills out", "--stills 5000", ""), ("--stills '?'", "--stills 5000", "--stills ?")],
    ),
    (
        "--event 8h --interval ?",
        "--interval ? needs --event, and the clip",
        &[(
            "--event 8h --clip 90s --fps 24 --interval '?'",
            "--event 8h --interval ?",
            "--event 8h --clip 90s --fps 24 --interval ?",
        )],
    ),
    (
        "--event 8h --interval 5s --clip 10m --fps 30",
        "has 18000 frames, and there are 5760 stills",
        &[
            ("--frames-per-still '?'", "--fps 30", "--fps 30 --frames-per-still ?"),
            ("--clip 192s", "--clip 10m", "--clip 192s"),
            ("--interval '?'", "--interval 5s", "--interval ?"),
        ],
    ),
    (
        "--event 8h",
        "nothing follows from --event alone",
        &[
            ("--event 8h --interval 5s --fps 30", "--event 8h", "--event 8h --interval 5s --fps 30"),
            (
                "--event 8h --clip 90s --fps 24 --interval '?'",
                "--event 8h",
                "--event 8h --clip 90s --fps 24 --interval ?",
            ),
        ],
    ),
];

#[test]
fn what_is_refused_says_what_to_type_and_that_is_taken() {
    let bench = Bench::new(0);
    let run = |typed: &str| bench.run(&[&["reckon"], &typed.split_whitespace().collect::<Vec<_>>()[..]].concat());
    for (typed, said, instead) in REFUSED {
        let ran = run(typed).expect(1).says(said);
        let help: String = ran.err.lines().filter(|line| line.contains("help:")).collect();
        assert!(!instead.is_empty());
        for (told, old, new) in instead {
            assert!(help.contains(told), "{typed}: {told:?} is not in {help}");
            assert!(typed.contains(old), "{typed}: no {old}");
            run(&typed.replacen(old, new, 1)).expect(0);
        }
    }
    // Every unknown that wants for knowns names some that will do.
    let mut tried = 0;
    for asked in ["event", "interval", "pause", "exposure", "angle", "clip", "fps", "frames-per-still", "stills"] {
        let ran = run(&format!("--{asked} ?")).expect(1).says(&format!("--{asked} ? needs "));
        for line in ran.err.lines().filter_map(|line| line.split_once("stillpath reckon ").map(|(_, rest)| rest)) {
            assert!(line.contains(&format!("--{asked} '?'")), "{line}");
            run(&line.replace('\'', "")).expect(0);
            tried += 1;
        }
    }
    assert_eq!(tried, 9);
    run("").expect(1).says("nothing is known");
}

/// What is typed, what is warned of, and what is typed in the place of what so that it is gone.
type Warned = (&'static str, &'static str, Option<(&'static str, &'static str)>);

const WARNED: [Warned; 14] = [
    (
        "--event 1h --interval 2s --exposure 1s --writing 1s",
        "interval too short",
        Some(("--interval 2s", "--interval 3s")),
    ),
    ("--event 8h --interval 2s --exposure 1s", "timer", None),
    ("--interval 5s --exposure 1/40 --mains 50", "mains flicker", Some(("1/40", "1/50"))),
    ("--interval 5s --exposure 1/50 --mains 60", "mains flicker", Some(("1/50", "1/60"))),
    ("--event 8h --interval 5s --still-takes 12MB --card 32GB", "card full", Some(("--card 32GB", "--card ?"))),
    ("--event 8h --interval 5s --battery 900stills", "battery empty", None),
    ("--event 8h --interval 5s --number 9500", "numbers wrap", None),
    ("--event 8h --interval 5s --folder-holds 5000", "folder full", None),
    ("--size 3000x2000 --frame 3840x2160", "frame too large", None),
    ("--interval 5s --speed 1.4m/s --across 12m", "too fast", None),
    ("--event 8h --interval 5s --card 64GB", "unused", Some(("--card 64GB", "--card 64GB --still-takes 12MB"))),
    ("--event 8h --interval 5s --across 12m", "unused", Some(("--across 12m", "--across 120m --speed 1.4m/s"))),
    ("--event 8h --interval 5s --mains 50", "unused", Some(("--mains 50", "--mains 50 --exposure 1/50"))),
    ("--event 8h --interval 5s --clip 90s", "unused", Some(("--clip 90s", "--clip 90s --fps 24"))),
];

#[test]
fn what_goes_wrong_on_the_spot_is_warned_of_and_what_is_said_to_type_ends_it() {
    let bench = Bench::new(0);
    let shorts = |typed: &str| -> Vec<String> {
        let json = reckoned(&bench, typed);
        json["warnings"].as_array().unwrap().iter().map(|one| one["short"].as_str().unwrap().to_owned()).collect()
    };
    for (typed, short, instead) in WARNED {
        assert!(shorts(typed).contains(&short.to_owned()), "{typed}: {:?}", shorts(typed));
        if let Some((old, new)) = instead {
            let after = shorts(&typed.replacen(old, new, 1));
            assert!(!after.contains(&short.to_owned()), "{typed}, {new}: {after:?}");
        }
    }
    // 1/50 and 1/100 are whole pulses at 50 Hz, 1/60 and 1/120 at 60 Hz; a second at either.
    for even in
        ["1/50 --mains 50", "1/100 --mains 50", "1/60 --mains 60", "1/120 --mains 60", "1s --mains 50", "1s --mains 60"]
    {
        assert!(!shorts(&format!("--exposure {even}")).contains(&"mains flicker".to_owned()), "{even}");
    }
    // Both end before the event: the battery after 900 stills, the card after 32 GB / 12 MB = 2,666.
    let json = reckoned(&bench, "--event 8h --interval 5s --still-takes 12MB --card 32GB --battery 900stills");
    let texts: Vec<&str> =
        json["warnings"].as_array().unwrap().iter().map(|one| one["text"].as_str().unwrap()).collect();
    assert_eq!(
        texts,
        [
            "the battery is empty first, after 900 stills, 1 h 15 min into the event",
            "the card is full after 2666 stills, 3 h 42 min 10 s into the event"
        ]
    );
}

#[test]
fn a_range_gives_a_row_for_each_useful_value() {
    let bench = Bench::new(0);
    let json = reckoned(&bench, "--event 8h --fps 24 --interval 2..30");
    let table = &json["table"];
    let rows: Vec<Vec<&str>> = table["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row.as_array().unwrap().iter().map(|cell| cell.as_str().unwrap()).collect())
        .collect();
    let column = |name: &str| table["head"].as_array().unwrap().iter().position(|head| head == name).unwrap();
    let intervals: Vec<&str> = rows.iter().map(|row| row[0]).collect();
    assert_eq!(intervals, ["2 s", "3 s", "4 s", "5 s", "6 s", "8 s", "10 s", "12 s", "15 s", "20 s", "25 s", "30 s"]);
    // 28,800 / 8 = 3,600; / 24 = 150 s.
    assert_eq!((rows[5][column("stills")], rows[5][column("clip")]), ("3600", "2 min 30 s"));
    // Where a value does not do, its row says why: 10 min at 24 need 14,400 stills, which only 2 s gives.
    let json = reckoned(&bench, "--event 8h --fps 24 --clip 10m --interval 2..30");
    let rows = json["table"]["rows"].as_array().unwrap();
    assert_eq!(rows[0].as_array().unwrap().last().unwrap(), "");
    assert!(
        rows[1]
            .as_array()
            .unwrap()
            .last()
            .unwrap()
            .as_str()
            .unwrap()
            .contains("14400 frames, and there are 9600 stills")
    );
    // What is asked for may follow from a range: 12 h / 2,160 = 20 s.
    let text =
        bench.run(&["reckon", "--event", "8h..12h", "--clip", "90s", "--fps", "24", "--interval", "?"]).expect(0).out;
    assert!(text.lines().any(|line| line.starts_with("12 h") && line.contains("20 s")), "{text}");
}

#[test]
fn a_sheet_is_black_on_white_fits_its_paper_and_says_what_the_text_says() {
    let bench = Bench::new(0);
    let all = "--event 8h --interval 5s --exposure 1/40 --mains 50 --fps 24 --clip 90s --size 6000x4000 --format jpeg --card 32GB \
               --battery 900stills --number 9500 --folder-holds 5000 --across 12m --speed 1.4m/s --writing 0.5s";
    // ISO 216: A5 is 148 x 210 mm, A4 210 x 297; 96 pixels an inch of 25.4 mm, to the pixel.
    for (typed, paper) in [
        ("--event 8h --interval 5s --fps 30", (148.0, 210.0)),
        (all, (210.0, 297.0)),
        ("--event 8h --fps 24 --interval 2..30", (210.0, 297.0)),
    ] {
        let arguments: Vec<&str> = typed.split_whitespace().collect();
        bench.run(&[&["reckon", "--sheet", "sheet.svg", "--force"], &arguments[..]].concat()).expect(0);
        let svg = fs::read_to_string(bench.path("sheet.svg")).unwrap();
        let page = roxmltree::Document::parse(&svg).unwrap();
        let side = |name: &str| page.root_element().attribute(name).unwrap().parse::<f64>().unwrap();
        let (width, height) = (side("width") * 25.4 / 96.0, side("height") * 25.4 / 96.0);
        assert!((width - paper.0).abs() < 0.3 && (height - paper.1).abs() < 0.3, "{typed}: {width} x {height} mm");
        for node in page.descendants() {
            for name in ["fill", "stroke"] {
                let colour = node.attribute(name).unwrap_or("none");
                assert!(["none", "#000000", "#ffffff"].contains(&colour), "{colour}");
            }
        }
        let words: Vec<&str> =
            page.descendants().filter(|node| node.has_tag_name("text")).filter_map(|node| node.text()).collect();
        let json = reckoned(&bench, typed);
        for answer in json["answers"].as_array().unwrap() {
            assert!(words.contains(&answer["value"].as_str().unwrap()), "{typed}: {answer}");
        }
        for foot in ["Local rules and the site's own", "licensed electrician", "ask first"] {
            assert!(words.iter().any(|line| line.contains(foot)), "{foot}: {words:?}");
        }
        // Every text ends within the page and above its foot.
        for node in page.descendants().filter(|node| node.has_tag_name("text")) {
            let at = |name: &str| node.attribute(name).map_or(0.0, |text| text.parse::<f64>().unwrap());
            assert!(
                at("x") + at("textLength") <= side("width") - 25.0 && at("y") < side("height"),
                "{:?}",
                node.text()
            );
        }
    }
    bench
        .run(&["reckon", "--event", "8h", "--interval", "5s", "--sheet", "sheet.svg"])
        .expect(1)
        .says("is already there");
    bench
        .run(&["reckon", "--event", "8h", "--interval", "5s", "--sheet", "sheet.pdf"])
        .expect(1)
        .says(".svg or as .png");
}

/// Stills of 320 x 240, five seconds apart by their Exif times.
fn shoot(count: u32) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    let size = Size::new(320, 240);
    for number in 0..count {
        let seconds = 5 * number;
        let time = format!("2031:05:04 12:{:02}:{:02}", seconds / 60, seconds % 60);
        let still = jpeg::encode_rgb(&picture(size, number as usize), size, 92, (2, 2), &[(0xE1, &exif(&time)[..])]);
        fs::write(bench.still(number as usize + 1), still).unwrap();
    }
    bench
}

#[test]
fn a_shoot_that_is_there_is_reckoned_backwards() {
    let bench = shoot(24);
    let json = reckoned(&bench, "stills --frame 160x90 --exposure 1s");
    let bytes: u64 = (1..=24).map(|number| fs::metadata(bench.still(number)).unwrap().len()).sum();
    assert_eq!((&json["shoot"]["stills"], &json["shoot"]["bytes"]), (&24.into(), &bytes.into()));
    assert_eq!(json["shoot"]["times"], serde_json::json!(["2031-05-04T12:00:00", "2031-05-04T12:01:55"]));
    // 24 stills at 24 a second last 1 s, at 25 24 / 25 s; 23 x 5 s = 115 s; 320 / 160 = 2; 360 x 1 / 5 = 72 degrees.
    for (name, due) in [
        ("clip at 24", "1"),
        ("clip at 25", "24/25"),
        ("clip at 30000/1001", "1001/1250"),
        ("first to last", "115"),
        ("zoom 160x90", "2"),
        ("angle", "72"),
    ] {
        assert_eq!(exact(&json, name), due, "{name}: {json:#}");
    }
    // What is typed goes before what is found: 24 x 10 s.
    assert_eq!(exact(&reckoned(&bench, "stills --interval 10s"), "event"), "240");
    let before = bench.list("stills");
    bench.run(&["reckon", "stills", "--sheet", "stills/LAPS0001.JPG"]).expect(1);
    assert_eq!(bench.list("stills"), before);
    bench.run(&["reckon", "nowhere"]).expect(1).says("nowhere");
}

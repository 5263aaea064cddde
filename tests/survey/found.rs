//! What headers tell beside the order, and what the program says and draws of a whole shoot.

use std::process::Command;

use stillpath::finding::Finding;
use stillpath::shoot::Shoot;
use stillpath::survey::{findings, report};

use super::camera::{Card, Tags, noon_plus};
use super::scene::{self, Plant};

fn found(card: &Card) -> Vec<Finding> {
    let shoot = card.shoot();
    findings(&shoot, &report(&shoot))
}

fn finding<'a>(findings: &'a [Finding], kind: &str) -> &'a Finding {
    findings.iter().find(|finding| finding.kind == kind).unwrap_or_else(|| panic!("no {kind} among {findings:#?}"))
}

fn numbers(finding: &Finding) -> Vec<usize> {
    finding.slots.iter().map(|slot| slot.0 + 1).collect()
}

/// A still of some light with more in its EXIF block than a time: `entries` are of the Exif directory.
fn still_with(card: &Card, name: &str, seconds: u32, gain: f64, entries: &[(exif::Tag, exif::Value)]) {
    let taken = exif::Value::Ascii(vec![noon_plus(seconds).into_bytes()]);
    let field = |(tag, value): (exif::Tag, exif::Value)| exif::Field { tag, ifd_num: exif::In::PRIMARY, value };
    let fields: Vec<exif::Field> =
        [(exif::Tag::DateTimeOriginal, taken)].into_iter().chain(entries.iter().cloned()).map(field).collect();
    let mut writer = exif::experimental::Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut bare = std::io::Cursor::new(Vec::new());
    writer.write(&mut bare, false).unwrap();
    let mut segment = b"Exif\0\0".to_vec();
    segment.extend(bare.into_inner());
    let rgb = scene::still(seconds as usize, &Plant { gain, ..Plant::default() });
    card.put(name, &stillpath::ffi::jpeg::encode_rgb(&rgb, scene::SIZE, 80, (2, 2), &[(0xE1, &segment)]));
}

fn ratio(above: u32, below: u32) -> exif::Value {
    exif::Value::Rational(vec![exif::Rational { num: above, denom: below }])
}

/// Fault 46: no capture times.
#[test]
fn a_shoot_without_capture_times_says_so_and_guesses_no_interval() {
    let card = Card::new();
    (1..=4).for_each(|number| drop(card.timeless(&format!("YARD{number:04}.JPG"))));
    let shoot = card.shoot();
    assert_eq!((shoot.interval, report(&shoot).rhythm), (None, None));
    assert!(finding(&found(&card), "no-times").message.contains("nothing is guessed"));
}

/// Fault 49: an uneven interval.
/// Fault 50: a pause of hours.
#[test]
fn intervals_off_by_more_than_a_fifth_are_named_and_lesser_ones_are_not() {
    let card = Card::new();
    // 10 s apart, but for 11.9, 12.1 and 7 s, of a clock with tenths; and one pause.
    let tenths = [0, 100, 100, 119, 100, 121, 100, 70, 100, 100, 6000, 100, 100];
    let mut time: u32 = 0;
    for (at, step) in (0_u8..).zip(tenths) {
        time += step;
        let (taken, tenths) = (noon_plus(time / 10), (time % 10).to_string());
        let tags = Tags { taken: Some(&taken), fraction: Some(&tenths), ..Tags::default() };
        card.put(format!("YARD{:04}.JPG", at + 1), &tags.jpeg(48, 32, at));
    }
    let findings = found(&card);
    assert_eq!(numbers(finding(&findings, "interval")), [6, 8]);
    assert_eq!(numbers(finding(&findings, "pause")), [11]);
}

#[test]
fn a_clock_of_whole_seconds_makes_no_outliers_of_its_rounding() {
    let card = Card::new();
    // 3.4 s apart, cut to whole seconds: 3, 3, 4, 3, 4, …
    (0..30_u32).for_each(|at| drop(card.still(&format!("YARD{:04}.JPG", at + 1), at * 34 / 10)));
    assert_eq!(found(&card), []);
}

/// Fault 49: an uneven interval.
#[test]
fn an_interval_that_drifts_is_said_with_both_ends() {
    let card = Card::new();
    let mut time = 0;
    for at in 0..60_u32 {
        card.still(&format!("YARD{:04}.JPG", at + 1), time);
        time += 20 + at / 20;
    }
    let findings = found(&card);
    assert_eq!(finding(&findings, "drift").message, "the interval drifts from 20 s to 22 s");
}

/// Fault 41: the exposure changed.
/// Fault 42: focus or zoom changed.
#[test]
fn settings_that_change_are_found_at_their_stills_and_the_shutter_angle_is_told() {
    let card = Card::new();
    for at in 0..10_u32 {
        let exposure = if at < 4 { ratio(1, 100) } else { ratio(1, 25) };
        let speed = exif::Value::Short(vec![if at < 7 { 100 } else { 400 }]);
        let balance = exif::Value::Short(vec![u16::from(at != 8)]);
        let length = if at < 9 { ratio(24, 1) } else { ratio(35, 1) };
        let entries = [
            (exif::Tag::ExposureTime, exposure),
            (exif::Tag::FNumber, ratio(8, 1)),
            (exif::Tag::PhotographicSensitivity, speed),
            (exif::Tag::WhiteBalance, balance),
            (exif::Tag::FocalLength, length),
            (exif::Tag::ColorSpace, exif::Value::Short(vec![1])),
        ];
        still_with(&card, &format!("YARD{:04}.JPG", at + 1), at * 2, 1.0, &entries);
    }
    let shoot = card.shoot();
    let report = report(&shoot);
    let told: Vec<(&str, Vec<usize>, String)> = report
        .changes
        .iter()
        .map(|change| (change.what, change.slots.iter().map(|slot| slot.0 + 1).collect(), change.first.join(" to ")))
        .collect();
    assert_eq!(
        told,
        [
            ("exposure", vec![5], "1/100 s to 1/25 s".into()),
            ("sensitivity", vec![8], "ISO 100 to ISO 400".into()),
            ("white balance", vec![9, 10], "fixed to automatic".into()),
            ("focal length", vec![10], "24 mm to 35 mm".into()),
        ]
    );
    // 360° × exposure / interval: 1/100 s and 1/25 s of 2 s.
    let angles = report.shutter.unwrap();
    assert!((angles[0] - 1.8).abs() < 1e-9 && (angles[2] - 7.2).abs() < 1e-9, "{angles:?}");
    // The pixels did not follow the settings: these stills are all of one light.
    let measures =
        stillpath::look::look(&shoot, &stillpath::look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    let seen = stillpath::look::findings(&shoot, &measures);
    assert_eq!(numbers(finding(&seen, "exposure-follows")), [5, 8]);
}

/// A shoot of twelve stills: what their exposure is one part of a second of, and the light in their pixels, up to a
/// still and from it on.
fn of_two_exposures(change: u32, [before, after]: [(u32, f64); 2]) -> (Card, Shoot) {
    let card = Card::new();
    for at in 0..12_u32 {
        let (below, gain) = if at < change { before } else { after };
        let entries = [
            (exif::Tag::ExposureTime, ratio(1, below)),
            (exif::Tag::FNumber, ratio(8, 1)),
            (exif::Tag::PhotographicSensitivity, exif::Value::Short(vec![100])),
        ];
        still_with(&card, &format!("YARD{:04}.JPG", at + 1), at * 2, gain, &entries);
    }
    let shoot = card.shoot();
    (card, shoot)
}

#[test]
fn an_exposure_that_was_changed_just_after_the_beginning_is_a_step_and_no_flash() {
    let (_card, shoot) = of_two_exposures(2, [(50, 2.0), (100, 1.0)]);
    let measures =
        stillpath::look::look(&shoot, &stillpath::look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    assert_eq!(measures.odd, []);
    assert_eq!(numbers(finding(&stillpath::look::findings(&shoot, &measures), "exposure-step")), [3]);
}

/// Fault 41: the exposure changed.
#[test]
fn an_exposure_that_was_changed_and_shows_is_found_at_its_still_with_its_size() {
    let (_card, shoot) = of_two_exposures(6, [(100, 1.0), (50, 2.0)]);
    let measures =
        stillpath::look::look(&shoot, &stillpath::look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    let seen = stillpath::look::findings(&shoot, &measures);
    let step = finding(&seen, "exposure-step");
    assert_eq!(numbers(step), [7]);
    assert!(step.message.contains("by 1.0 stops"), "{}", step.message);
    assert!(seen.iter().all(|finding| finding.kind != "exposure-follows"), "{seen:#?}");
}

/// The program, with a cache of its own.
fn stillpath(card: &Card, arguments: &[&str]) -> std::process::Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpath"));
    command
        .current_dir(card.path())
        .args(arguments)
        .env("NO_COLOR", "1")
        .env("XDG_CACHE_HOME", card.path().join("cache"));
    command.output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn what_happens_where_and_when_becomes_keys_that_check_clean() {
    let card = Card::new();
    let stills = card.path().join("stills");
    std::fs::create_dir(&stills).unwrap();
    let start = 1.0_f64;
    scene::write_with(
        &stills,
        120,
        |_| Plant::default(),
        |index| {
            // Something works to and fro at the lower right from still 70 to still 90.
            let busy = (70..90).contains(&index);
            busy.then(|| {
                (
                    [250.0 + 14.0 * (1.7 * index as f64 + start).sin(), 180.0 + 9.0 * (2.3 * index as f64).cos()],
                    9.0,
                    225.0,
                )
            })
        },
    );
    let output = stillpath(&card, &["survey", "stills", "--look"]);
    let said = text(&output.stdout);
    assert!(output.status.success(), "{said}{}", text(&output.stderr));
    let start = said.find("  framing = framing {").unwrap_or_else(|| panic!("no keys in:\n{said}"));
    let framing = &said[start..start + said[start..].find("\n  },\n").unwrap() + 6];
    let script = format!(
        "return shot {{ source = stills {{ \"stills\", interval = 5 }}, pace = over \"120s\",\n{framing}  deliveries = {{ delivery {{ \
         \"wide\", frame = {{ 64, 36 }} }} }} }}\n"
    );
    std::fs::write(card.path().join("keys.lua"), &script).unwrap();
    let checked = stillpath(&card, &["check", "keys.lua"]);
    let notes = text(&checked.stderr);
    assert!(checked.status.success(), "{script}\n{notes}");
    // The stills of this card do not tell their times, which every check says.
    assert!(notes.contains("no mistakes, 1 remark") && notes.contains("ordered by name alone"), "{script}\n{notes}");

    let json: serde_json::Value =
        serde_json::from_slice(&stillpath(&card, &["survey", "stills", "--look", "--json"]).stdout).unwrap();
    let strongest = json["keys"]
        .as_array()
        .unwrap()
        .iter()
        .max_by(|a, b| a["weight"].as_f64().unwrap().total_cmp(&b["weight"].as_f64().unwrap()))
        .unwrap();
    let at = strongest["at"].as_u64().unwrap();
    let show: Vec<f64> = strongest["show"].as_array().unwrap().iter().map(|side| side.as_f64().unwrap()).collect();
    assert!((70..=90).contains(&at), "{strongest}");
    let holds = |place: f64, from: f64, length: f64| (from..=from + length).contains(&place);
    assert!(holds(250.0 / 320.0, show[0], show[2]) && holds(180.0 / 240.0, show[1], show[3]), "{strongest}");
    assert_eq!(json["measures"]["steps"].as_array().unwrap().len(), 119);
}

#[test]
fn the_page_is_drawn_and_neither_replaces_anything_nor_lies_among_the_stills() {
    let card = Card::new();
    let stills = card.path().join("stills");
    std::fs::create_dir(&stills).unwrap();
    scene::write(&stills, 30, |index| Plant { gain: if index == 11 { 2.0 } else { 1.0 }, ..Plant::default() });
    let draw =
        |arguments: &[&str]| stillpath(&card, &[&["survey", "stills", "--quiet", "--picture"], arguments].concat());
    let output = draw(&["page.png"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let page = image::open(card.path().join("page.png")).unwrap().into_rgb8();
    assert_eq!(page.width(), 1600);
    // Letters, curves and stills: dark ink and the colours of both curves are all there.
    let count = |wanted: fn(&[u8; 3]) -> bool| page.pixels().filter(|pixel| wanted(&pixel.0)).count();
    assert!(count(|[r, g, b]| r.max(g).max(b) < &60) > 2000, "no letters");
    assert!(
        count(|pixel| *pixel == [0x25, 0x63, 0xe0]) > 300 && count(|pixel| *pixel == [0x70, 0x0d, 0x12]) > 200,
        "no curves"
    );
    let again = draw(&["page.png"]);
    assert_eq!(again.status.code(), Some(1));
    assert!(text(&again.stderr).contains("is already there"), "{}", text(&again.stderr));
    assert!(draw(&["page.png", "--force"]).status.success());
    for (name, why) in [
        ("stills/page.png", "among the stills"),
        ("page.jpg", "written as .svg or as .png"),
        ("nowhere/page.png", "there is no folder nowhere"),
    ] {
        let refused = draw(&[name]);
        assert_eq!(refused.status.code(), Some(1));
        assert!(text(&refused.stderr).contains(why), "{}", text(&refused.stderr));
    }
    assert!(!stills.join("page.png").exists());
}

#[test]
fn curves_slots_and_findings_of_the_page_lie_over_one_axis() {
    let card = Card::new();
    let stills = card.path().join("stills");
    std::fs::create_dir(&stills).unwrap();
    scene::write(&stills, 24, |index| Plant { gain: if index == 11 { 2.0 } else { 1.0 }, ..Plant::default() });
    let mut files: Vec<_> = std::fs::read_dir(&stills).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    std::fs::remove_file(&files[7]).unwrap();
    let whole = std::fs::read(&files[16]).unwrap();
    std::fs::write(&files[16], &whole[..whole.len() / 3]).unwrap();
    let run = |arguments: &[&str]| {
        let output = stillpath(&card, &[&["survey", "stills", "--quiet"], arguments].concat());
        assert!(output.status.success(), "{}", text(&output.stderr));
        output
    };
    run(&["--picture", "page.svg"]);
    let json: serde_json::Value = serde_json::from_slice(&run(&["--look", "--json"]).stdout).unwrap();
    let svg = std::fs::read_to_string(card.path().join("page.svg")).unwrap();
    let page = roxmltree::Document::parse(&svg).unwrap();
    let of_class =
        |class: &str| -> Vec<_> { page.descendants().filter(|node| node.attribute("class") == Some(class)).collect() };
    let number = |node: &roxmltree::Node, name: &str| -> f64 { node.attribute(name).unwrap().parse().unwrap() };

    let charts = of_class("chart");
    let names: Vec<_> = charts.iter().map(|chart| chart.attribute("data-measure").unwrap()).collect();
    assert_eq!(names, ["light", "camera", "movement"]);
    let (left, right) = (number(&charts[0], "data-left"), number(&charts[0], "data-right"));
    assert!(charts.iter().all(|chart| (number(chart, "data-left"), number(chart, "data-right")) == (left, right)));
    // The edge before a slot, counted from 0.
    let edge = |slot: f64| left + (right - left) * slot / 24.0;
    let near = |at: f64, due: f64| (at - due).abs() <= 1.0;
    for (held, slot) in [("missing", 7.0), ("damaged", 16.0)] {
        let rects: Vec<_> =
            of_class("slots").into_iter().filter(|rect| rect.attribute("data-held") == Some(held)).collect();
        let (x, width) = (number(&rects[0], "x"), number(&rects[0], "width"));
        assert!(near(x, edge(slot)) && near(x + width, edge(slot + 1.0)), "{held}: {x} {width}");
    }
    // Every value stands in the middle of its slot.
    let line = charts[0].descendants().find(|node| node.attribute("data-curve") == Some("each still")).unwrap();
    let points: Vec<f64> = line
        .attribute("points")
        .unwrap()
        .split(' ')
        .map(|point| point.split_once(',').unwrap().0.parse().unwrap())
        .collect();
    assert!(near(points[0], edge(0.5)) && near(points[points.len() - 1], edge(23.5)), "{points:?}");
    let flash = edge(11.5);
    assert!(points.iter().any(|x| near(*x, flash)), "{points:?}");
    // Findings about certain slots stand at these, by the numbers of the list.
    let findings = json["findings"].as_array().unwrap();
    let mut placed = 0;
    for (index, finding) in findings.iter().enumerate() {
        let bars: Vec<_> =
            of_class("finding").into_iter().filter(|bar| number(bar, "data-finding") == (index + 1) as f64).collect();
        for slot in finding["slots"].as_array().unwrap() {
            let middle = edge(slot.as_f64().unwrap() + 0.5);
            let over =
                |bar: &roxmltree::Node| (number(bar, "x")..=number(bar, "x") + number(bar, "width")).contains(&middle);
            assert!(bars.iter().any(over), "finding {}: {finding}", index + 1);
            placed += 1;
        }
    }
    assert!(placed >= 3, "{findings:?}");
    // Colours are named by words beside marks, and the picture of movement says what it shows.
    let words: Vec<&str> = page.descendants().filter_map(|node| node.text()).collect();
    for due in
        ["each still", "slow course", "across", "down", "1 missing", "1 damaged", "where it moves", "never changes"]
    {
        assert!(words.contains(&due), "{due}: {words:?}");
    }
    let badges = of_class("badge").len();
    assert!(badges >= findings.len() + 3, "{badges} badges");
}

//! Drawings read back: what they show is where the plan has it, and nothing in a name is more than a name.

#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "frames and pixels of small pictures")]

use std::fs;

use roxmltree::{Document, Node};
use serde_json::Value;

use crate::common::{Bench, Ran, write_still};
use stillpath::units::Size;

/// How far a drawing may be off, in pixels of the sheet.
const NEAR: f64 = 0.25;

/// A way through four keys, its pace ramped, for two shapes at two rates.
const WAY: &str = r#"return shot { source = stills { "stills", interval = 10, missing = "hold" }, fps = 12,
  pace = pace { key { at = "start", rate = frames_per_still(3) }, key { at = "end", rate = frames_per_still(6), ease = "ease-in" } },
  framing = framing { path = "smooth",
    key { at = "start",   on = point(0.30, 0.35), zoom = 1.6 },
    key { at = part(0.3), on = point(0.65, 0.30), zoom = 2.4, ease = "ease-in-out" },
    key { at = part(0.7), on = point(0.60, 0.65), zoom = 1.8, hold = 0.5 },
    key { at = "end",     on = point(0.35, 0.60), zoom = 3 } },
  deliveries = { delivery { "wide", frame = { 128, 72 } }, delivery { "tall", frame = { 108, 192 }, fps = 25 } } }"#;

pub(super) fn way() -> Bench {
    let bench = Bench::new(12);
    fs::remove_file(bench.still(5)).unwrap();
    bench.script(WAY);
    bench
}

pub(super) fn drawn(bench: &Bench, arguments: &[&str]) -> String {
    let file = "sheet.svg";
    let all: Vec<&str> = ["draw", "move.lua", "-o", file, "--force"].iter().chain(arguments).copied().collect();
    bench.run(&all).expect(0);
    fs::read_to_string(bench.path(file)).unwrap()
}

pub(super) fn number(node: Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).unwrap_or_else(|| panic!("{:?} has no {name}", node.tag_name())).parse().unwrap()
}

pub(super) fn of_class<'a>(document: &'a Document<'a>, class: &str) -> Vec<Node<'a, 'a>> {
    document.descendants().filter(|node| node.attribute("class") == Some(class)).collect()
}

/// The corners of a path of straight lines.
fn corners(node: Node<'_, '_>) -> Vec<(f64, f64)> {
    let numbers = node.attribute("d").unwrap().replace(['M', 'L', 'Z'], " ");
    let numbers: Vec<f64> = numbers.split_whitespace().map(|number| number.parse().unwrap()).collect();
    numbers.chunks(2).map(|pair| (pair[0], pair[1])).collect()
}

fn points(node: Node<'_, '_>) -> Vec<(f64, f64)> {
    let point = |text: &str| {
        let (x, y) = text.split_once(',').unwrap();
        (x.parse().unwrap(), y.parse().unwrap())
    };
    node.attribute("points").unwrap().split(' ').map(point).collect()
}

fn distance_to_line(at: (f64, f64), line: &[(f64, f64)]) -> f64 {
    let to_piece = |pair: &[(f64, f64)]| {
        let ((ax, ay), (bx, by)) = (pair[0], pair[1]);
        let (dx, dy) = (bx - ax, by - ay);
        let length = dx * dx + dy * dy;
        let part = if length > 0.0 { (((at.0 - ax) * dx + (at.1 - ay) * dy) / length).clamp(0.0, 1.0) } else { 0.0 };
        (at.0 - ax - part * dx).hypot(at.1 - ay - part * dy)
    };
    line.windows(2).map(to_piece).fold(f64::INFINITY, f64::min)
}

/// A delivery of the plan.
fn delivery<'a>(plan: &'a Value, name: &str) -> &'a Value {
    plan["deliveries"].as_array().unwrap().iter().find(|delivery| delivery["name"] == name).unwrap()
}

fn rows(delivery: &Value) -> &Vec<Value> {
    delivery["rows"].as_array().unwrap()
}

fn rate(delivery: &Value) -> f64 {
    delivery["fps"]["numerator"].as_f64().unwrap() / delivery["fps"]["denominator"].as_f64().unwrap()
}

fn window(row: &Value) -> [f64; 4] {
    ["x", "y", "width", "height"].map(|side| row["window"][side].as_f64().unwrap())
}

#[test]
fn windows_and_the_way_of_their_centres_are_where_the_plan_has_them() {
    let bench = way();
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let plan = &json["plans"][0];
    // Where the still is, by the picture of it: 320 by 240 pixels.
    let still = document.descendants().find(|node| node.has_tag_name("image")).unwrap();
    let (left, top, scale) = (number(still, "x"), number(still, "y"), number(still, "width") / 320.0);
    assert!((number(still, "height") / 240.0 - scale).abs() < 1e-3);
    let mut seen = 0;
    for class in ["key", "between"] {
        for node in of_class(&document, class) {
            let delivery = delivery(plan, node.attribute("data-delivery").unwrap());
            let [x, y, width, height] = window(&rows(delivery)[number(node, "data-frame") as usize]);
            let due = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)];
            for (at, (x, y)) in corners(node).into_iter().zip(due) {
                let off = (at.0 - left - x * scale).hypot(at.1 - top - y * scale);
                assert!(off <= NEAR, "{class}: {off} px off");
                seen += 1;
            }
        }
    }
    // Four keys of two deliveries, and a window halfway between each two.
    assert_eq!(seen, 4 * 2 * (4 + 3), "corners");
    let ways = of_class(&document, "way");
    assert_eq!(ways.len(), 2);
    for node in ways {
        let line = points(node);
        for row in rows(delivery(plan, node.attribute("data-delivery").unwrap())) {
            let [x, y, width, height] = window(row);
            let centre = (left + (x + width / 2.0) * scale, top + (y + height / 2.0) * scale);
            assert!(distance_to_line(centre, &line) <= NEAR, "{centre:?}");
        }
        // And nothing is drawn where no centre is.
        assert!(line.len() < rows(delivery(plan, node.attribute("data-delivery").unwrap())).len());
    }
}

/// Left, top, right and bottom of a path of straight lines.
fn bounds(node: Node<'_, '_>) -> [f64; 4] {
    let corners = corners(node);
    let side = |of: fn(&(f64, f64)) -> f64, pick: fn(f64, f64) -> f64| corners.iter().map(of).reduce(pick).unwrap();
    [side(|at| at.0, f64::min), side(|at| at.1, f64::min), side(|at| at.0, f64::max), side(|at| at.1, f64::max)]
}

#[test]
fn what_is_followed_and_what_is_covered_is_drawn_where_the_plan_has_it() {
    let bench = Bench::new(20);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 12, pace = frames_per_still(6),
  framing = follow { key { at = still(1), box(0.1, 0.2, 0.15, 0.2) }, key { at = still(14), box(0.55, 0.5, 0.15, 0.2) } },
  covers = { cover { box(0.7, 0.1, 0.1, 0.15) },
             cover { key { at = still(1), box(0.1, 0.8, 0.05, 0.1) }, key { at = still(20), box(0.5, 0.8, 0.05, 0.1) }, with = "blur" } },
  deliveries = { delivery { "wide", frame = { 128, 72 } }, delivery { "tall", frame = { 72, 128 }, fps = 25 } } }"#,
    );
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let still = document.descendants().find(|node| node.has_tag_name("image")).unwrap();
    let (left, top, scale) = (number(still, "x"), number(still, "y"), number(still, "width") / 320.0);
    let off = |node: Node<'_, '_>, due: [f64; 4]| {
        let due = [left + due[0] * scale, top + due[1] * scale, left + due[2] * scale, top + due[3] * scale];
        bounds(node).into_iter().zip(due).map(|(at, due)| (at - due).abs()).fold(0.0, f64::max)
    };
    // The subject's boxes, whole and by their corners, against what `explain` says of the same frames.
    let mut seen = Vec::new();
    for class in ["subject", "subject-corners", "subject-between"] {
        for node in of_class(&document, class) {
            let (delivery, frame) = (node.attribute("data-delivery").unwrap(), node.attribute("data-frame").unwrap());
            let explained = bench
                .run(&["explain", "move.lua", "--delivery", delivery, "--frame", frame, "--json"])
                .expect(0)
                .json();
            let [x, y, width, height] = ["x", "y", "width", "height"]
                .map(|side| explained["framing"]["follow"]["area"][side].as_f64().unwrap());
            let due = [x * 320.0, y * 240.0, (x + width) * 320.0, (y + height) * 240.0];
            assert!(off(node, due) <= NEAR, "{class}, frame {frame}: {} px off", off(node, due));
            seen.push((class, frame.to_owned()));
        }
    }
    // Followed by both deliveries and drawn once, at both keys and in between.
    assert_eq!(seen.iter().filter(|(class, _)| *class == "subject").count(), 2, "{seen:?}");
    assert!(seen.iter().filter(|(class, _)| *class == "subject-between").count() >= 5, "{seen:?}");
    // The covers of the still that lies under everything, smear and all.
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let covers = of_class(&document, "cover");
    assert_eq!(covers.len(), 2);
    for node in covers {
        let slot = number(node, "data-slot");
        let coverings = json["plans"][0]["covers"].as_array().unwrap().iter();
        let covering = coverings
            .clone()
            .find(|covering| covering["first"].as_f64().unwrap() <= slot && slot <= covering["last"].as_f64().unwrap())
            .unwrap();
        let area = covering["areas"]
            .as_array()
            .unwrap()
            .iter()
            .find(|area| area["cover"] == number(node, "data-cover") as u64);
        let [x, y, width, height] = ["x", "y", "width", "height"].map(|side| area.unwrap()[side].as_f64().unwrap());
        let due = [x, y, x + width, y + height];
        assert!(off(node, due) <= NEAR, "{} px off", off(node, due));
    }
    // The hatching stays inside its box.
    let boxes: Vec<[f64; 4]> = of_class(&document, "cover").into_iter().map(bounds).collect();
    for hatch in of_class(&document, "hatching") {
        for (x, y) in corners(hatch) {
            let inside = |area: &[f64; 4]| {
                x >= area[0] - NEAR && x <= area[2] + NEAR && y >= area[1] - NEAR && y <= area[3] + NEAR
            };
            assert!(boxes.iter().any(inside), "{x}, {y}");
        }
    }
    assert!(svg.contains("White corners: what is followed") && svg.contains("Hatched: what covers hide"));
    assert!(!drawn(&way(), &[]).contains("White corners"));
}

/// What a curve is of, from the plan's own numbers.
fn measured(measure: &str, delivery: &Value, frame: usize) -> Option<f64> {
    let row = &rows(delivery)[frame];
    let [x, y, width, height] = window(row);
    let (across, down) = (delivery["frame"]["width"].as_f64().unwrap(), delivery["frame"]["height"].as_f64().unwrap());
    Some(match measure {
        "zoom" => (320.0_f64).min(240.0 * across / down) / width,
        "across" => (x + width / 2.0) / 320.0,
        "down" => (y + height / 2.0) / 240.0,
        "enlargement" => across / width,
        "still shown" => row["shown"].as_f64().unwrap() + 1.0,
        "pace" => {
            let from = frame.min(rows(delivery).len() - 2);
            let position = |frame: usize| rows(delivery)[frame]["position"].as_f64().unwrap();
            (position(from + 1) - position(from)) * rate(delivery)
        }
        "fastest corner" => {
            let [x0, y0, width0, height0] = window(&rows(delivery)[frame.checked_sub(1)?]);
            let corner = |(u, v): (f64, f64)| {
                let (px, py) = (x0 + u * width0, y0 + v * height0);
                ((px - x) / width * across - u * across).hypot((py - y) / height * down - v * down)
            };
            [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)].map(corner).into_iter().fold(0.0, f64::max)
        }
        other => panic!("what is {other}?"),
    })
}

#[test]
fn every_curve_has_every_frame_where_the_plan_has_it() {
    let bench = way();
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let plan = &json["plans"][0];
    let length = plan["length"].as_f64().unwrap();
    let curves = of_class(&document, "curve");
    let names: Vec<&str> = curves.iter().map(|curve| curve.attribute("data-measure").unwrap()).collect();
    assert_eq!(names, ["zoom", "across", "down", "pace", "still shown", "enlargement", "fastest corner"]);
    for curve in curves {
        let measure = curve.attribute("data-measure").unwrap();
        let ratio = curve.attribute("data-ratio") == Some("yes");
        let scaled = |value: f64| if ratio { value.ln() } else { value };
        let (from, to) = (scaled(number(curve, "data-from")), scaled(number(curve, "data-to")));
        let (first, last) = (number(curve, "data-first"), number(curve, "data-last"));
        let height = |value: f64| first + (last - first) * (scaled(value) - from) / (to - from);
        let (left, right) = (number(curve, "data-left"), number(curve, "data-right"));
        assert!((number(curve, "data-time") - length).abs() < 1e-9);
        let frame_of_it = curve.children().find(|node| node.has_tag_name("rect")).unwrap();
        let (top, bottom) = (number(frame_of_it, "y"), number(frame_of_it, "y") + number(frame_of_it, "height"));
        let lines: Vec<Node<'_, '_>> =
            curve.descendants().filter(|node| node.attribute("class") == Some("value")).collect();
        let shared = matches!(measure, "pace" | "still shown");
        // Deliveries whose values are the same share one.
        let of = |line: Node<'_, '_>| -> Vec<String> {
            let also = line.attribute("data-also").into_iter().flat_map(|names| names.split('/'));
            [line.attribute("data-delivery").unwrap()].into_iter().chain(also).map(str::to_owned).collect()
        };
        let lines: Vec<(Node<'_, '_>, String)> =
            lines.into_iter().flat_map(|line| of(line).into_iter().map(move |name| (line, name))).collect();
        assert_eq!(lines.len(), if shared { 1 } else { 2 }, "{measure}");
        for (line, name) in lines {
            let delivery = delivery(plan, &name);
            let line = points(line);
            for frame in 0..rows(delivery).len() {
                let Some(value) = measured(measure, delivery, frame) else { continue };
                let at = (left + (right - left) * frame as f64 / rate(delivery) / length, height(value));
                assert!((top..=bottom).contains(&at.1), "{measure}, frame {frame}: {value} is off the scale");
                let off = distance_to_line(at, &line);
                assert!(off <= NEAR, "{measure}, frame {frame}: {off} px off");
            }
        }
        for node in curve.descendants().filter(|node| node.attribute("class") == Some("one-to-one")) {
            assert!((points(node)[0].1 - height(1.0)).abs() <= NEAR);
        }
        for node in curve.descendants().filter(|node| node.attribute("class") == Some("rule-of-thumb")) {
            let delivery = delivery(plan, node.attribute("data-delivery").unwrap());
            // A picture width in seven seconds.
            let limit = delivery["frame"]["width"].as_f64().unwrap() / (7.0 * rate(delivery));
            assert!((points(node)[0].1 - height(limit)).abs() <= NEAR);
        }
    }
    assert_eq!(of_class(&document, "rule-of-thumb").len(), 2);
    assert_eq!(of_class(&document, "one-to-one").len(), 1);
    // Still 5 is missing and still 4 held in its place: one run, seen at the foot of its curve.
    assert_eq!(of_class(&document, "held").len(), 1);
}

#[test]
fn a_roll_has_a_curve_of_its_own_with_every_frame_where_the_plan_has_it() {
    let bench = Bench::new(12);
    bench.script(
        r#"return shot { source = stills { "stills" }, pace = frames_per_still(4), framing = framing {
             key { at = "start", on = point(0.5, 0.5), zoom = 2, roll = -4 }, key { at = "end", on = point(0.5, 0.5), zoom = 2, roll = 9 } },
           deliveries = { delivery { "wide", frame = { 160, 90 } } } }"#,
    );
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let (plan, curves) = (&json["plans"][0], of_class(&document, "curve"));
    let curve = curves.into_iter().find(|curve| curve.attribute("data-measure") == Some("roll")).unwrap();
    let [from, to, first, last, left, right] =
        ["from", "to", "first", "last", "left", "right"].map(|name| number(curve, &format!("data-{name}")));
    let line = curve.descendants().find(|node| node.attribute("class") == Some("value")).unwrap();
    let (line, wide) = (points(line), delivery(plan, "wide"));
    for (frame, row) in rows(wide).iter().enumerate() {
        let roll = row["window"]["roll"].as_f64().unwrap();
        let across = left + (right - left) * frame as f64 / rate(wide) / plan["length"].as_f64().unwrap();
        let off = distance_to_line((across, first + (last - first) * (roll - from) / (to - from)), &line);
        assert!(off <= NEAR, "frame {frame}: {off} px off");
    }
    assert_eq!(rows(wide)[0]["window"]["roll"], -4.0);
}

#[test]
fn remarks_stand_over_the_frames_they_name() {
    let bench = way();
    let svg = drawn(&bench, &["--delivery", "wide"]);
    let document = Document::parse(&svg).unwrap();
    let json = bench.run(&["plan", "move.lua", "--json", "--delivery", "wide"]).expect(0).json();
    let plan = &json["plans"][0];
    let (length, rate) = (plan["length"].as_f64().unwrap(), rate(&plan["deliveries"][0]));
    let curve = of_class(&document, "curve")[0];
    let (left, right) = (number(curve, "data-left"), number(curve, "data-right"));
    let mut due: Vec<(f64, f64)> = Vec::new();
    for remark in plan["remarks"].as_array().unwrap() {
        let Some(runs) = remark["frames"]["runs"].as_array() else { continue };
        for run in runs {
            let at = |frame: f64| left + (right - left) * (frame / rate).min(length) / length;
            due.push((at(run[0].as_f64().unwrap()), at(run[1].as_f64().unwrap() + 1.0)));
        }
    }
    assert!(!due.is_empty(), "{plan:#}");
    let bars: Vec<(f64, f64)> = of_class(&document, "remark")
        .into_iter()
        .map(|bar| (number(bar, "x"), number(bar, "x") + number(bar, "width")))
        .collect();
    for (from, to) in due {
        assert!(
            bars.iter().any(|bar| (bar.0 - from).abs() <= NEAR && (bar.1 - to).abs() <= NEAR),
            "{from} to {to}: {bars:?}"
        );
    }
}

#[test]
fn no_label_on_the_still_lies_on_another() {
    let svg = drawn(&way(), &[]);
    let document = Document::parse(&svg).unwrap();
    let boxes: Vec<[f64; 4]> = of_class(&document, "chip")
        .into_iter()
        .map(|chip| {
            let (left, top) = (number(chip, "x"), number(chip, "y"));
            [left, top, left + number(chip, "width"), top + number(chip, "height")]
        })
        .collect();
    assert!(boxes.len() >= 8, "{} labels", boxes.len());
    for (index, one) in boxes.iter().enumerate() {
        for other in &boxes[index + 1..] {
            let apart = one[2] <= other[0] || other[2] <= one[0] || one[3] <= other[1] || other[3] <= one[1];
            assert!(apart, "{one:?} and {other:?}");
        }
    }
}

#[test]
fn a_name_is_only_a_name_in_a_drawing() {
    let bench = Bench::new(0);
    for number in 1..=4 {
        let name = format!("stills/<img src=x onerror=\"alert('{number}')\">&\u{6f22}{number}.JPG");
        write_still(&bench.path(&name), Size::new(320, 240), number);
    }
    bench.script(&crate::common::one("\"stills\""));
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let known = ["svg", "title", "g", "rect", "path", "polyline", "text", "image", "defs", "use", "circle"];
    for node in document.descendants().filter(Node::is_element) {
        assert!(known.contains(&node.tag_name().name()), "{:?}", node.tag_name());
        for attribute in node.attributes() {
            assert!(!attribute.name().starts_with("on"), "{attribute:?}");
            let here = ["data:image/jpeg;base64,", "#"].iter().any(|start| attribute.value().starts_with(start));
            let outside = attribute.name() == "href" && !here;
            assert!(!outside, "{attribute:?}");
        }
    }
    let said = document
        .descendants()
        .filter_map(|node| node.text())
        .any(|text| text.contains("<img src=x onerror=\"alert('3')\">"));
    assert!(said, "the still is not named");
    bench.run(&["draw", "move.lua", "-o", "sheet.png"]).expect(0);
}

pub(super) fn pixels(path: &std::path::Path) -> image::RgbImage {
    image::open(path).unwrap_or_else(|error| panic!("{}: {error}", path.display())).to_rgb8()
}

#[test]
fn a_sheet_as_png_is_the_same_drawing_with_its_letters() {
    let bench = way();
    let svg = drawn(&bench, &[]);
    bench.run(&["draw", "move.lua", "-o", "sheet.PNG"]).expect(0);
    let png = pixels(&bench.path("sheet.PNG"));
    let document = Document::parse(&svg).unwrap();
    let root = document.root_element();
    assert_eq!((f64::from(png.width()), f64::from(png.height())), (number(root, "width"), number(root, "height")));
    assert_eq!(png.width(), 1600);
    // Every text has left ink where it stands.
    let mut written = 0;
    for text in
        document.descendants().filter(|node| node.has_tag_name("text") && node.attribute("textLength").is_some())
    {
        let (x, y, width, size) =
            (number(text, "x"), number(text, "y"), number(text, "textLength"), number(text, "font-size"));
        let left = match text.attribute("text-anchor") {
            Some("middle") => x - width / 2.0,
            Some("end") => x - width,
            _ => x,
        };
        let range = |from: f64, length: f64| from.floor() as u32..(from + length).ceil() as u32;
        let mut shades: Vec<u8> = range(y - size * 0.8, size * 0.8)
            .flat_map(|y| range(left, width).map(move |x| (x, y)))
            .map(|(x, y)| png.get_pixel(x, y).0[1])
            .collect();
        shades.sort_unstable();
        assert!(shades[shades.len() - 1] - shades[0] > 60, "no ink of {:?}", text.text());
        written += 1;
    }
    assert!(written > 60, "{written} texts");
}

#[test]
fn a_static_shot_and_one_of_two_frames_have_sheets() {
    let bench = Bench::new(3);
    bench.script(&crate::common::one("\"stills\""));
    let svg = drawn(&bench, &[]);
    assert!(svg.contains("does not move"));
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = frames_per_still(1), length = 2 / 24,
  framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = 1 }, key { at = "end", on = point(0.5, 0.5), zoom = 2 } },
  deliveries = { delivery { "wide", frame = { 128, 72 } } } }"#,
    );
    let svg = drawn(&bench, &["--at", "start"]);
    let document = Document::parse(&svg).unwrap();
    assert_eq!(of_class(&document, "key").len(), 2);
    bench.script(&crate::common::one("\"stills/LAPS0001.JPG\""));
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    assert_eq!(of_class(&document, "curve").len(), 7);
    assert!(of_class(&document, "value").iter().all(|line| !points(*line).is_empty()));
}

#[test]
fn what_cannot_be_drawn_is_refused_and_nothing_is_replaced_unasked() {
    let bench = way();
    let draw = |arguments: &[&str]| -> Ran {
        bench.run(&["draw", "move.lua"].iter().chain(arguments).copied().collect::<Vec<_>>())
    };
    draw(&["-o", "sheet.pdf"]).expect(1).says("a drawing is written as .svg or as .png; seen sheet.pdf");
    draw(&["-o", "sheet"]).expect(1).says(".svg or as .png");
    draw(&["-o", "nowhere/sheet.svg"]).expect(1).says("nowhere/sheet.svg cannot be written");
    draw(&["-o", "stills/sheet.png"]).expect(1).says("lies among the stills");
    draw(&["-o", "stills/below/sheet.png"]).expect(1).says("lies among the stills");
    draw(&["-o", "a.svg", "--delivery", "wdie"]).expect(1).says("did you mean 'wide'?");
    draw(&["-o", "a.svg", "--shot", "dawn"]).expect(1).says("leave out --shot");
    draw(&["-o", "a.svg", "--at", "noonish"]).expect(1).says("--at: a moment is");
    draw(&["-o", "a.svg", "--at", "9999s"]).expect(1).says("the clip lasts");
    draw(&["-o", "a.svg", "--frames", "4"]).expect(64);
    draw(&[]).expect(64);
    fs::write(bench.path("mine.svg"), "mine").unwrap();
    draw(&["-o", "mine.svg"]).expect(1).says("mine.svg is already there");
    assert_eq!(fs::read_to_string(bench.path("mine.svg")).unwrap(), "mine");
    draw(&["-o", "mine.svg", "--force"]).expect(0);
    assert_ne!(fs::read_to_string(bench.path("mine.svg")).unwrap(), "mine");
    bench.script("return shot {");
    draw(&["-o", "a.svg"]).expect(1).says("move.lua:1");
    assert_eq!(bench.list("."), ["mine.svg", "move.lua", "stills"]);
}

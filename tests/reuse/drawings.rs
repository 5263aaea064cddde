//! What drawings say and how they look: numbers of keys, deliveries that are alike, light, strips, differences, moves.

#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of small pictures")]

use std::fs;
use std::path::PathBuf;

use roxmltree::{Document, Node};
use serde_json::Value;

use super::pictures::{drawn, number, of_class, pixels, way};
use crate::common::Bench;

/// The badges with a number in some part of a drawing.
fn numbers(node: Node<'_, '_>) -> Vec<u32> {
    node.descendants().filter_map(|node| node.attribute("data-number")).map(|number| number.parse().unwrap()).collect()
}

#[test]
fn deliveries_that_show_the_same_are_drawn_once_with_all_their_names() {
    let bench = Bench::new(8);
    let script = |deliveries: &str| {
        format!(
            r#"return shot {{ source = stills {{ "stills" }}, fps = 12, pace = frames_per_still(3),
  framing = framing {{ key {{ at = 0, on = point(0.4, 0.4), zoom = 1.5 }}, key {{ at = "end", on = point(0.6, 0.6), zoom = 2 }} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }}, delivery {{ "big", frame = {{ 256, 144 }} }}, {deliveries} }} }}"#
        )
    };
    bench.script(&script(r#"delivery { "tall", frame = { 72, 128 } }"#));
    let svg = drawn(&bench, &[]);
    let document = Document::parse(&svg).unwrap();
    let of: Vec<_> = of_class(&document, "key")
        .into_iter()
        .map(|node| (node.attribute("data-delivery").unwrap(), node.attribute("data-also").unwrap_or("")))
        .collect();
    assert_eq!(of, [("wide", "big"), ("wide", "big"), ("tall", ""), ("tall", "")]);
    let chips: Vec<&str> = document.descendants().filter_map(|node| node.text()).collect();
    assert!(chips.contains(&"1 wide, big") && chips.contains(&"2 wide, big") && chips.contains(&"1 tall"), "{chips:?}");
    for curve in of_class(&document, "curve") {
        let lines = curve.descendants().filter(|node| node.attribute("class") == Some("value"));
        let also: Vec<_> = lines.map(|line| line.attribute("data-also").unwrap_or("")).collect();
        match curve.attribute("data-measure").unwrap() {
            // All three by the same centre, as still and pace; larger frames are enlarged more and move further.
            "zoom" | "across" | "down" => assert_eq!(also, ["big/tall"], "{curve:?}"),
            "pace" | "still shown" => assert_eq!(also, [""]),
            _ => assert_eq!(also.len(), 3, "{curve:?}"),
        }
        // Named at its end all the same.
        if curve.attribute("data-measure") == Some("zoom") {
            let names: Vec<&str> = curve.descendants().filter_map(|node| node.text()).collect();
            assert!(["wide", "big", "tall"].iter().all(|name| names.contains(name)), "{names:?}");
        }
    }
}

#[test]
fn keys_have_one_number_at_windows_on_curves_and_in_the_list() {
    let svg = drawn(&way(), &[]);
    let document = Document::parse(&svg).unwrap();
    for curve in of_class(&document, "curve") {
        let is_of_windows = ["zoom", "across", "down"].contains(&curve.attribute("data-measure").unwrap());
        // The third key's hold ends in a key of its own.
        let due: &[u32] = if is_of_windows { &[1, 2, 3, 4, 5] } else { &[] };
        assert_eq!(numbers(curve), due, "{:?}", curve.attribute("data-measure"));
    }
    let listed = of_class(&document, "keys");
    assert_eq!(numbers(listed[0]), [1, 2, 3, 4, 5]);
    // A picture of what each shows, for each delivery.
    assert_eq!(of_class(&document, "shown").len(), 2 * 5);
    let still = of_class(&document, "still")[0];
    let chips: Vec<&str> = still.descendants().filter_map(|node| node.text()).collect();
    for chip in ["1 wide", "1 tall", "2 wide", "3, 4 wide", "5 tall"] {
        assert!(chips.contains(&chip), "{chip}: {chips:?}");
    }
    // Every panel has its own figures.
    for curve in of_class(&document, "curve") {
        assert!(curve.descendants().any(|node| node.text().is_some_and(|text| text.ends_with(" s"))), "{curve:?}");
    }
}

#[test]
fn the_legend_counts_zoom_as_the_curve_does() {
    let bench = Bench::new(4);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 12, pace = frames_per_still(3),
  framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = 1.25, roll = 6 }, key { at = "end", on = point(0.5, 0.5), zoom = 1.25, roll = 6 } },
  deliveries = { delivery { "wide", frame = { 128, 72 } } } }"#,
    );
    let svg = drawn(&bench, &[]);
    assert!(svg.contains("zoom 1.25 throughout"), "{svg}");
}

#[test]
fn a_still_on_a_sheet_keeps_its_light() {
    let bench = Bench::new(3);
    bench.script(&crate::common::one("\"stills\""));
    let svg = drawn(&bench, &["--at", "start"]);
    bench.run(&["draw", "move.lua", "--at", "start", "-o", "light.png"]).expect(0);
    let sheet = pixels(&bench.path("light.png"));
    let document = Document::parse(&svg).unwrap();
    let image = document.descendants().find(|node| node.has_tag_name("image")).unwrap();
    use base64::Engine as _;
    let jpeg = image.attribute("href").unwrap().trim_start_matches("data:image/jpeg;base64,");
    let jpeg = base64::engine::general_purpose::STANDARD.decode(jpeg).unwrap();
    let still = image::load_from_memory(&jpeg).unwrap().to_rgb8();
    let (left, top) = (number(image, "x"), number(image, "y"));
    let scale = number(image, "width") / f64::from(still.width());
    // Most of the picture has no line over it: the median difference is that of scaling alone.
    let mut off: Vec<u8> = Vec::new();
    for (x, y, pixel) in still.enumerate_pixels().filter(|(x, y, _)| x % 7 == 3 && y % 5 == 2) {
        let at = |side: u32, from: f64| (from + (f64::from(side) + 0.5) * scale) as u32;
        let seen = sheet.get_pixel(at(x, left), at(y, top)).0;
        off.push((0..3).map(|part| seen[part].abs_diff(pixel.0[part])).max().unwrap());
    }
    off.sort_unstable();
    assert!(off[off.len() / 2] <= 4, "{} codes off in the middle", off[off.len() / 2]);
}

#[test]
fn a_strip_shows_frames_as_the_render_makes_them() {
    let bench = way();
    bench.run(&["draw", "move.lua", "--strip", "-o", "strip.png"]).expect(0);
    bench.run(&["draw", "move.lua", "--strip", "-o", "strip.svg"]).expect(0);
    let svg = fs::read_to_string(bench.path("strip.svg")).unwrap();
    let document = Document::parse(&svg).unwrap();
    let strip = pixels(&bench.path("strip.png"));
    // The frames of this script are so small that the strip has them in full size.
    let frames: Vec<Node<'_, '_>> =
        of_class(&document, "frame").into_iter().filter(|frame| number(*frame, "width") == 128.0).collect();
    assert_eq!(frames.len(), 7);
    assert_eq!(number(frames[0], "data-frame"), 0.0);
    for frame in [frames[0], frames[3], frames[6]] {
        let at = frame.attribute("data-frame").unwrap();
        bench.run(&["frame", "move.lua", "--delivery", "wide", "--frame", at, "-o", "frame.png", "--force"]).expect(0);
        let image::DynamicImage::ImageRgb16(due) = image::open(bench.path("frame.png")).unwrap() else {
            panic!("not 16 bits")
        };
        let (left, top) = (number(frame, "x") as u32, number(frame, "y") as u32);
        for (x, y, pixel) in due.enumerate_pixels() {
            let seen = strip.get_pixel(left + x, top + y).0;
            let due = pixel.0.map(|code| ((u32::from(code) + 128) / 257) as u8);
            assert_eq!(seen, due, "frame {at} at {x}, {y}");
        }
        let texts: Vec<&str> = document.descendants().filter_map(|node| node.text()).collect();
        assert!(texts.iter().any(|text| text.starts_with(&format!("{at} · 00:00:"))), "{texts:?}");
    }
    bench.run(&["draw", "move.lua", "--strip", "--frames", "3", "-o", "three.svg"]).expect(0);
    let three = fs::read_to_string(bench.path("three.svg")).unwrap();
    assert_eq!(of_class(&Document::parse(&three).unwrap(), "frame").len(), 6);
}

#[test]
fn a_render_says_where_the_strip_is_and_how_far_it_is_sharp_and_leaves_other_files_alone() {
    let bench = way();
    let ran = bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    assert!(ran.out.contains("deepest sharp zoom") || ran.out.contains("no frame is sharp"), "{}", ran.out);
    assert!(ran.out.contains("clips/move-strip.png"), "{}", ran.out);
    pixels(&bench.path("clips/move-strip.png"));
    // Somebody's own file of that name is not replaced, and the clip is made all the same.
    fs::write(bench.path("clips/move-wide-strip.png"), "mine").unwrap();
    fs::remove_file(bench.path("clips/move-wide.mp4")).unwrap();
    let ran = bench.run(&["render", "move.lua", "--out", "clips", "--delivery", "wide"]).expect(0);
    assert!(ran.out.contains("no strip of frames: clips/move-wide-strip.png is already there"), "{}", ran.out);
    assert_eq!(fs::read_to_string(bench.path("clips/move-wide-strip.png")).unwrap(), "mine");
    let json = bench
        .run(&["render", "move.lua", "--out", "clips", "--delivery", "wide", "--json", "--force"])
        .expect(0)
        .json();
    assert_eq!(json["strip"], "clips/move-wide-strip.png");
    assert!(json["outputs"][0]["reach"]["one_to_one"].as_f64().unwrap() > 2.4, "{}", json["outputs"][0]["reach"]);
    bench.run(&["render", "move.lua", "--out", "other", "--no-strip"]).expect(0);
    bench.run(&["render", "move.lua", "--out", "quiet", "--quiet"]).expect(0);
    assert_eq!(bench.list("other"), ["move-receipt.json", "move-tall.mp4", "move-wide.mp4"]);
    assert_eq!(bench.list("quiet"), ["move-receipt.json", "move-tall.mp4", "move-wide.mp4"]);
}

#[test]
fn a_strip_never_lies_where_it_would_be_taken_for_a_still() {
    let bench = Bench::new(3);
    bench.script(&crate::common::one("\".\""));
    let ran = bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    assert!(ran.out.contains("no strip of frames: clips/move-wide-strip.png lies among the stills"), "{}", ran.out);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide.mp4"]);
}

#[test]
fn a_diff_names_the_frames_that_differ_and_by_how_much() {
    let bench = Bench::new(20);
    let script = |zoom: &str, rate: &str| {
        format!(
            r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = {rate},
  framing = framing {{ key {{ at = 0, on = point(0.5, 0.5), zoom = 1 }}, key {{ at = still(11), on = point(0.5, 0.5), zoom = 1 }},
    key {{ at = "end", on = point(0.5, 0.5), zoom = {zoom} }} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }} }} }}"#
        )
    };
    bench.script(&script("1.6", "stills_per_frame(1)"));
    fs::write(bench.path("closer.lua"), script("2", "stills_per_frame(1)")).unwrap();
    fs::write(bench.path("faster.lua"), script("1.6", "stills_per_frame(2)")).unwrap();
    let ran = bench.run(&["diff", "move.lua", "move.lua"]).expect(0);
    assert_eq!(ran.out, "no difference\n");
    let json = bench.run(&["diff", "move.lua", "closer.lua", "--json"]).expect(0).json();
    let wide = &json["shots"][0]["deliveries"][0];
    assert_eq!((&json["same"], &wide["windows"]["runs"]), (&Value::from(false), &serde_json::json!([[11, 19]])));
    // 320 / 1.6 = 200 pixels wide before, 160 after; the centre stays.
    assert!((wide["windows"]["width"]["by"].as_f64().unwrap() - 40.0).abs() < 1e-6, "{wide}");
    assert_eq!(wide["windows"]["width"]["frame"], 19);
    assert!(wide["windows"]["centre"]["by"].as_f64().unwrap() < 1e-6 && wide["stills"].is_null(), "{wide}");
    let ran = bench.run(&["diff", "move.lua", "closer.lua", "-o", "diff.svg"]).expect(0);
    assert!(
        ran.out.contains("window: frames 11 to 19") && ran.out.contains("width by up to 40.00 px (frame 19)"),
        "{}",
        ran.out
    );
    let svg = fs::read_to_string(bench.path("diff.svg")).unwrap();
    assert!(svg.contains("wide before") && svg.contains("wide after"));
    let ran = bench.run(&["diff", "move.lua", "faster.lua"]).expect(0);
    // Frame n showed still n, and shows still 2n: the last of the ten that both have, 9 away.
    assert!(ran.out.contains("20 frames, then 10"), "{}", ran.out);
    assert!(ran.out.contains("still: frames 1 to 9: up to 9 stills away (frame 9)"), "{}", ran.out);
    bench.run(&["diff", "move.lua", "closer.lua", "-o", "diff.svg"]).expect(1).says("already there");
    bench.run(&["diff", "move.lua", "gone.lua"]).expect(1).says("gone.lua");
    let ran = bench.run(&["diff", "move.lua", "move.lua", "-o", "none.svg"]).expect(0);
    assert!(ran.out.contains("none.svg is not drawn") && !bench.path("none.svg").exists(), "{}", ran.out);
}

#[test]
fn every_move_has_a_fresh_picture() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let bench = Bench::new(0);
    let listed = bench.run(&["moves"]).expect(0).out;
    let names: Vec<&str> =
        listed.lines().take_while(|line| !line.is_empty()).map(|line| line.split(' ').next().unwrap()).collect();
    assert!(names.len() >= 7, "{names:?}");
    for name in &names {
        let file = format!("{name}.svg");
        bench.run(&["moves", name, "-o", &file]).expect(0);
        let published = fs::read_to_string(root.join("examples/moves").join(&file)).unwrap_or_default();
        let made = fs::read_to_string(bench.path(&file)).unwrap();
        assert!(published == made, "examples/moves/{file} is stale: `sh scripts/publish` makes it again");
        assert!(made.len() < 40_000, "{file} has {} bytes", made.len());
        // Over a picture, not over a plain ground.
        assert!(made.contains("data:image/jpeg;base64,"), "{file}");
    }
    let mut drawn: Vec<String> = fs::read_dir(root.join("examples/moves"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    drawn.sort();
    assert_eq!(drawn, names.iter().map(|name| format!("{name}.svg")).collect::<Vec<_>>());
    bench.run(&["moves", "push_up", "-o", "x.svg"]).expect(1).says("did you mean 'push_in'?");
    bench.run(&["moves", "push_in", "-o", "push_in.svg"]).expect(1).says("already there");
}

#[test]
fn several_shots_have_a_sheet_each_and_one_can_be_chosen() {
    let bench = Bench::new(4);
    bench.script(
        r#"local source = stills { "stills" }
local function cut(name)
  return shot { name = name, source = source, pace = stills_per_frame(1), deliveries = { delivery { name, frame = { 64, 36 } } } }
end
return { cut "dawn", cut "dusk" }"#,
    );
    bench.run(&["draw", "move.lua", "-o", "out.svg"]).expect(0);
    assert!(
        bench.path("out-dawn.svg").exists() && bench.path("out-dusk.svg").exists() && !bench.path("out.svg").exists()
    );
    bench.run(&["draw", "move.lua", "-o", "one.svg", "--shot", "dusk"]).expect(0);
    assert!(fs::read_to_string(bench.path("one.svg")).unwrap().contains("move: dusk"));
    bench.run(&["draw", "move.lua", "-o", "none.svg", "--shot", "dust"]).expect(1).says("did you mean 'dusk'?");
    bench.run(&["draw", "move.lua", "--strip", "-o", "strip.png"]).expect(0);
}

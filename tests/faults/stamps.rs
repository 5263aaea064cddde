//! Stamps as they come out: letters held against resvg's own, pictures against the sum of light, and whose time a frame
//! says.

use std::fs;
use std::path::Path;

use image::{ImageBuffer, Rgb, Rgba};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Node, Options, Tree, fontdb};

use super::common::{Bench, STILL, corrupt, exif, picture};
use super::frame;

/// The letters that come with the program.
const LETTERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/ink/fonts/sans-semibold.otf");

type Frame = ImageBuffer<Rgb<u16>, Vec<u16>>;

/// A script over the stills with more fields for its shot and for its one delivery.
fn script(bench: &Bench, shot: &str, delivery: &str) {
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "stills", damaged = "hold", missing = "hold" }}, fps = 24, {shot}
  deliveries = {{ delivery {{ "wide", {delivery} }} }} }}"#
    ));
}

/// The first frame with these stamps, and without any.
fn stamped(bench: &Bench, stamps: &str, delivery: &str) -> [Frame; 2] {
    [stamps, ""].map(|stamps| {
        script(bench, &format!("pace = stills_per_frame(1), stamps = {{ {stamps} }},"), delivery);
        frame(bench, "0")
    })
}

// IEC 61966-2-1's curve, in f64.
fn light(value: f64) -> f64 {
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

fn encoded(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// A code of 16 bits under a colour (a value from 0 to 1) that covers so much of it, by the sum of light.
fn under(below: u16, colour: f64, cover: f64) -> f64 {
    65_535.0 * encoded(light(f64::from(below) / 65_535.0) * (1.0 - cover) + light(colour) * cover)
}

/// How much of each pixel of a frame resvg covers with a line of text, from its own picture of 8 by 8 samples a pixel;
/// `right` and `bottom` is where its box ends.
fn letters(text: &str, (width, height): (u32, u32), line: f64, (right, bottom): (f64, f64)) -> Vec<f64> {
    let bytes = fs::read(LETTERS).unwrap();
    let face = ttf_parser::Face::parse(&bytes, 0).unwrap();
    let (above, below) = (f64::from(face.ascender()), -f64::from(face.descender()));
    let em = line * f64::from(face.units_per_em()) / (above + below);
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(bytes.clone());
    let family = fonts.faces().next().unwrap().families[0].0.clone();
    let options = Options { fontdb: std::sync::Arc::new(fonts), ..Options::default() };
    let svg = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text font-family="{family}" font-weight="600" font-size="{em}">{text}</text></svg>"##
    );
    let tree = Tree::from_str(&svg, &options).unwrap();
    let Some(Node::Text(set)) = tree.root().children().first() else { panic!("no text in {svg}") };
    let x = (right - f64::from(set.bounding_box().width())).round();
    let y = (bottom - line + em * above / f64::from(face.units_per_em())).round();
    let mut drawn = Pixmap::new(8 * width, 8 * height).unwrap();
    let by = Transform::from_row(8.0, 0.0, 0.0, 8.0, 8.0 * x as f32, 8.0 * y as f32);
    resvg::render(&tree, by, &mut drawn.as_mut());
    let mut cover = vec![0.0; (width * height) as usize];
    for (at, pixel) in drawn.pixels().iter().enumerate() {
        let (column, row) = (at % (8 * width) as usize / 8, at / (8 * width) as usize / 8);
        cover[row * width as usize + column] += f64::from(pixel.alpha()) / (255.0 * 64.0);
    }
    cover
}

#[test]
fn letters_are_as_resvg_draws_them_mixed_with_the_frame_in_linear_light_and_nothing_else_changes() {
    let bench = Bench::new(1);
    for (size, line) in [((256, 144), 0.125 * 144.0), ((640, 360), 0.125 * 360.0)] {
        let delivery = format!("frame = {{ {}, {} }}", size.0, size.1);
        let stamp =
            r##"stamp { text = "Quay", size = 0.125, at = point(0.95, 0.9), colour = "#ffc020", outline = false }"##;
        let [with, without] = stamped(&bench, stamp, &delivery);
        let cover = letters("Quay", size, line, (0.95 * f64::from(size.0), 0.9 * f64::from(size.1)));
        let colour = [255.0, 192.0, 32.0].map(|code| code / 255.0);
        let (mut most, mut sum, mut covered, mut partly) = (0.0_f64, 0.0, 0, 0);
        for ((one, other), cover) in with.pixels().zip(without.pixels()).zip(&cover) {
            if *cover == 0.0 {
                assert_eq!(one, other, "a pixel that no letter covers");
                continue;
            }
            covered += 1;
            partly += usize::from(*cover < 1.0);
            for ((code, below), colour) in one.0.iter().zip(other.0).zip(colour) {
                let off = (f64::from(*code) - under(below, colour, *cover)).abs() / 257.0;
                most = most.max(off);
                sum += off;
            }
        }
        let mean = sum / (3 * covered) as f64;
        println!(
            "{size:?}: {covered} pixels covered, {partly} in part; off by {mean:.3} codes of 255, {most:.1} at most"
        );
        // One takes coverage from 4 by 4 samples a pixel, the other from 8 by 8: measured 0.31 and 4.5 at the smaller size, 0.20 and 9.0 at the larger.
        assert!(covered > 200 && partly > 150, "{covered} {partly}");
        assert!(mean < 0.6 && most < 12.0, "{mean} {most}");
        assert!(with.pixels().any(|pixel| pixel.0 == [65_535, 192 * 257, 32 * 257]), "no pixel is all covered");
    }
}

/// The columns and rows of a frame's pixels that two frames differ in, first and last.
fn differing(one: &Frame, other: &Frame) -> Option<[u32; 4]> {
    let pixels = one.enumerate_pixels().filter(|(x, y, pixel)| other.get_pixel(*x, *y) != *pixel);
    pixels.fold(None, |ends, (x, y, _)| {
        let [left, top, right, bottom] = ends.unwrap_or([x, y, x, y]);
        Some([left.min(x), top.min(y), right.max(x), bottom.max(y)])
    })
}

#[test]
fn a_stamp_stays_in_the_safe_part_wherever_it_is_pinned_and_its_edges_are_sharp_at_every_size() {
    let bench = Bench::new(1);
    for (width, height) in [(160, 90), (640, 360), (90, 160)] {
        let delivery =
            format!("frame = {{ {width}, {height} }}, safe = {{ left = 0.1, right = 0.2, top = 0.15, bottom = 0.25 }}");
        let [_, without] = stamped(&bench, "", &delivery);
        for at in ["point(0, 0)", "point(1, 1)", "point(0.5, 0.99)"] {
            let stamp = format!("stamp {{ text = \"Øj|gÅ\", at = {at}, size = 0.2, outline = 0.1 }}");
            script(&bench, &format!("pace = stills_per_frame(1), stamps = {{ {stamp} }},"), &delivery);
            let with = frame(&bench, "0");
            let [left, top, right, bottom] = differing(&with, &without).expect("it is to be seen");
            let (w, h) = (f64::from(width), f64::from(height));
            let inside = f64::from(left) >= 0.1 * w && f64::from(right + 1) <= 0.8 * w;
            let inside = inside && f64::from(top) >= 0.15 * h && f64::from(bottom + 1) <= 0.75 * h;
            assert!(inside, "{width} x {height} {at}: {left} {top} {right} {bottom}");
        }
    }
    // Across the stems of an H in black on the frame's light: one pixel between the picture and the letter at most.
    fs::write(
        bench.still(1),
        stillpath::ffi::jpeg::encode_rgb(&vec![200; 3 * STILL.pixels() as usize], STILL, 95, (1, 1), &[]),
    )
    .unwrap();
    for (width, height) in [(320, 180), (1280, 720)] {
        let stamp = r##"stamp { text = "H", at = point(0.5, 0.5), size = 0.5, outline = false, colour = "#000000" }"##;
        let [with, without] = stamped(&bench, stamp, &format!("frame = {{ {width}, {height} }}"));
        let [_, top, _, bottom] = differing(&with, &without).unwrap();
        let row = top + (bottom - top) / 4;
        let below = f64::from(without.get_pixel(width / 2, row).0[1]);
        let shades: Vec<f64> = (0..width).map(|x| f64::from(with.get_pixel(x, row).0[1]) / below).collect();
        let edges = shades.windows(2).filter(|pair| (pair[0] > 0.5) != (pair[1] > 0.5)).count();
        let between = shades.iter().filter(|shade| (0.02..0.98).contains(*shade)).count();
        assert!(edges == 4 && between <= 4, "{width}: {edges} edges, {between} pixels in between");
    }
}

/// Writes a picture of 40 by 20: an opaque left half, a right half of half opacity, and a clear border of 2.
fn logo(path: &Path) {
    let pixel = |x: u32, y: u32| match () {
        () if !(2..38).contains(&x) || !(2..18).contains(&y) => Rgba([255, 0, 0, 0]),
        () if x < 20 => Rgba([20, 200, 90, 255]),
        () => Rgba([240, 240, 40, 128]),
    };
    ImageBuffer::<Rgba<u8>, _>::from_fn(40, 20, pixel).save(path).unwrap();
}

#[test]
fn a_picture_is_laid_over_in_linear_light_and_its_clear_parts_change_nothing() {
    let bench = Bench::new(1);
    logo(&bench.path("logo.png"));
    let own = image::open(bench.path("logo.png")).unwrap().to_rgba8();
    // As high as it is, so that nothing is resampled.
    let stamp = r#"stamp { picture = "logo.png", at = point(0.25, 0.5), pin = "top-left", size = 20 / 90 }"#;
    let [with, without] = stamped(&bench, stamp, "frame = { 160, 90 }");
    assert_eq!(differing(&with, &without), Some([42, 47, 77, 62]));
    let mut most = 0.0_f64;
    for (x, y, pixel) in own.enumerate_pixels() {
        let (one, other) = (with.get_pixel(40 + x, 45 + y), without.get_pixel(40 + x, 45 + y));
        for channel in 0..3 {
            let due = under(other.0[channel], f64::from(pixel.0[channel]) / 255.0, f64::from(pixel.0[3]) / 255.0);
            most = most.max((f64::from(one.0[channel]) - due).abs());
        }
    }
    println!("a picture with alpha: off by {most:.2} codes of 65,535 at most");
    assert!(most <= 2.0, "{most}");
    // Made smaller, it keeps its light: the mean over black is that of the picture.
    fs::write(
        bench.still(1),
        stillpath::ffi::jpeg::encode_rgb(&vec![0; 3 * STILL.pixels() as usize], STILL, 95, (1, 1), &[]),
    )
    .unwrap();
    let [small, black] = stamped(&bench, &stamp.replace("20 / 90", "10 / 90"), "frame = { 160, 90 }");
    for channel in 0..3 {
        let sum: f64 = small.pixels().map(|pixel| light(f64::from(pixel.0[channel]) / 65_535.0)).sum();
        let below: f64 = black.pixels().map(|pixel| light(f64::from(pixel.0[channel]) / 65_535.0)).sum();
        let due: f64 =
            own.pixels().map(|pixel| light(f64::from(pixel.0[channel]) / 255.0) * f64::from(pixel.0[3]) / 255.0).sum();
        let off = (sum - below) / (due / 4.0) - 1.0;
        assert!(off.abs() < 0.02, "channel {channel}: {off}");
    }
}

/// The hashes of all frames of a script with these fields in its shot.
fn planes(bench: &Bench, shot: &str) -> Vec<String> {
    script(bench, shot, "frame = { 128, 72 }");
    bench.planes()
}

#[test]
fn a_stand_in_says_its_own_number_and_a_mean_that_of_the_still_with_the_largest_share() {
    let bench = Bench::new(6);
    corrupt(&bench.still(3));
    let numbered =
        planes(&bench, r#"pace = stills_per_frame(1), stamps = { stamp { text = "{number}", size = 0.2 } },"#);
    let plain = |text: &str, rest: &str| {
        planes(&bench, &format!("{rest} stamps = {{ stamp {{ text = \"{text}\", size = 0.2 }} }},"))
    };
    // The stand-in is still 2 with all that it says.
    assert_eq!(numbered[2], numbered[1]);
    let rest = "pace = stills_per_frame(1),";
    let [two, four] = ["2", "4"].map(|text| plain(text, rest));
    assert_eq!((&numbered[1], &numbered[2], &numbered[3]), (&two[1], &two[2], &four[3]));
    assert_ne!(numbered[2], four[2], "text is to be seen");

    for between in ["mix", "motion"] {
        let rest = format!("pace = frames_per_still(4), between = \"{between}\",");
        let numbered = planes(&bench, &format!("{rest} stamps = {{ stamp {{ text = \"{{number}}\", size = 0.2 }} }},"));
        let texts = ["1", "2", "4", "5"].map(|text| plain(text, &rest));
        // A quarter, a half and three quarters of the way from still 1 to 2; then from 4 to 5.
        let due = [(0, 0), (1, 0), (2, 0), (3, 1), (4, 1), (12, 2), (13, 2), (14, 2), (15, 3)];
        for (frame, text) in due {
            assert_eq!(numbered[frame], texts[text][frame], "{between}, frame {frame}");
            assert!((0..4).all(|other| other == text || numbered[frame] != texts[other][frame]), "{between} {frame}");
        }
        // From 2 to 3, for which 2 stands in: whatever the shares, it says 2. From 3 on to 4 it says 2, then 4.
        for frame in 4..=10 {
            assert_eq!(numbered[frame], texts[1][frame], "{between}, frame {frame}");
        }
        assert_eq!(numbered[11], texts[2][11], "{between}");
    }
}

#[test]
fn stamps_are_in_plans_explanations_drafts_and_threads_make_no_difference() {
    let bench = Bench::new(5);
    for number in 1..=5 {
        let time = format!("2031:05:04 23:58:{:02}", 10 * number);
        let rgb = picture(STILL, number);
        fs::write(
            bench.still(number),
            stillpath::ffi::jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[(0xE1, &exif(&time))]),
        )
        .unwrap();
    }
    fs::remove_file(bench.still(3)).unwrap();
    let shot = r#"pace = stills_per_frame(1), stamps = { stamp { text = "{clock:%H:%M:%S} {name} {elapsed:%m:%S}", size = 0.08 } },"#;
    let whole = planes(&bench, shot);
    let plan = bench.run(&["plan", "move.lua"]).expect(0).out;
    for said in ["23:58:10 LAPS0001 0:00", "23:58:20 LAPS0002 0:10", "23:58:50 LAPS0005 0:40"] {
        assert!(plan.contains(said), "{said}: {plan}");
    }
    assert_eq!(plan.matches("LAPS0002").count(), 2, "held, it says its own time\n{plan}");
    let explained = bench.run(&["explain", "move.lua", "--frame", "2"]).expect(0).out;
    assert!(explained.contains("stamp:  \"23:58:20 LAPS0002 0:10\", of LAPS0002 (move.lua:1)"), "{explained}");
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let lines = &json["plans"][0]["deliveries"][0]["stamps"][0]["text"]["lines"];
    assert_eq!(lines[1], serde_json::json!({ "text": "23:58:20 LAPS0002 0:10", "slots": [[1, 1]] }));
    let one = bench.run(&["render", "move.lua", "--out", "one", "--threads", "1", "--json"]).expect(0).json();
    assert_eq!(one["outputs"][0]["frame_planes"], serde_json::json!(whole));
    bench.run(&["prove", "planes/move-receipt.json"]).expect(0);
    let draft = |name: &str| {
        let json =
            bench.run(&["render", "move.lua", "--out", name, "--draft", "--keep", "0", "--json"]).expect(0).json();
        json["outputs"][0]["frame_planes"].clone()
    };
    let stamped = draft("drafts");
    script(&bench, "pace = stills_per_frame(1),", "frame = { 128, 72 }");
    let (bare, diff) = (draft("bare"), bench.run(&["plan", "move.lua"]).expect(0).out);
    assert!((0..5).all(|frame| stamped[frame] != bare[frame]), "a draft has its stamps too");
    assert!(!diff.contains("stamp"), "{diff}");
}

#[test]
fn what_a_stamp_lacks_is_said_before_anything_is_rendered() {
    let bench = Bench::new(3);
    let refused = |stamp: &str, said: &[&str]| {
        script(&bench, &format!("pace = stills_per_frame(1), stamps = {{ {stamp} }},"), "frame = { 128, 72 }");
        let ran = bench.render().expect(1);
        for said in said {
            assert!(ran.err.contains(said), "{stamp} does not say {said:?}:\n{}", ran.err);
        }
        assert!(ran.err.contains("move.lua:1:"), "{}", ran.err);
        assert!(bench.list("clips").is_empty(), "{:?}", bench.list("clips"));
    };
    refused(
        r#"stamp { text = "{clock}" }"#,
        &["{clock} needs capture times, and no still of this shoot has one", "{number} and {name} work without them"],
    );
    refused(r#"stamp { text = "{elapsed}" }"#, &["{elapsed} needs capture times", "interval = 10"]);
    refused(
        r#"stamp { text = "a", font = "none.otf" }"#,
        &["none.otf: No such file", "paths start at the script's folder"],
    );
    fs::write(bench.path("false.otf"), "no font at all").unwrap();
    refused(r#"stamp { text = "a", font = "false.otf" }"#, &["false.otf: this is no font"]);
    refused(r#"stamp { picture = "none.png" }"#, &["none.png: No such file"]);
    fs::write(bench.path("false.png"), "no picture at all").unwrap();
    refused(r#"stamp { picture = "false.png" }"#, &["false.png: this is no picture of a kind that is read"]);
    refused(r#"stamp { picture = "stills" }"#, &["stills: this is no file"]);
    // A header alone, of a picture that would take gigabytes.
    ImageBuffer::<Rgba<u8>, _>::new(4, 4).save(bench.path("huge.png")).unwrap();
    let mut huge = fs::read(bench.path("huge.png")).unwrap();
    huge[16..24].copy_from_slice(&[0, 0, 0x75, 0x30, 0, 0, 0x75, 0x30]);
    let crc = crc32(&huge[12..29]);
    huge[29..33].copy_from_slice(&crc.to_be_bytes());
    fs::write(bench.path("huge.png"), huge).unwrap();
    refused(r#"stamp { picture = "huge.png" }"#, &["at most 16777216 pixels; this has 30000x30000"]);
    ImageBuffer::<Rgba<u8>, _>::new(4, 4).save(bench.path("clear.png")).unwrap();
    refused(r#"stamp { picture = "clear.png" }"#, &["all of it is clear"]);
    logo(&bench.path("logo.png"));
    refused(r#"stamp { picture = "logo.png", size = 1 }"#, &["the picture does not fit into 'wide'", "write size = "]);
    let long = r#"stamp { text = "a text that is far longer than this frame is wide", size = 0.1 }"#;
    refused(long, &["does not fit into 'wide'", "px wide, and its frame has 126", "write size = 0.0"]);
    // What it says fits, fits.
    let size = script_size(long, &bench);
    script(&bench, &format!("pace = stills_per_frame(1), stamps = {{ {size} }},"), "frame = { 128, 72 }");
    bench.run(&["check", "move.lua"]).expect(0);
    // The last of the private letters, which no font has.
    refused("stamp { text = \"a\u{10fffd}\" }", &["no font here has the letter", "U+10FFFD", "write font = "]);
    // One still has no time of its own.
    let rgb = picture(STILL, 1);
    for number in [1, 3] {
        let time = format!("2031:05:04 12:00:{:02}", 10 * number);
        fs::write(
            bench.still(number),
            stillpath::ffi::jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[(0xE1, &exif(&time))]),
        )
        .unwrap();
    }
    refused(
        r#"stamp { text = "{clock}" }"#,
        &["LAPS0002 has none, and it is shown", "cuts = { cut(still(2), still(2)) }"],
    );
}

/// The CRC of a PNG's chunk (ISO/IEC 15948, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 })
    })
}

/// The stamp with the size that the refusal of the bench's script advises.
fn script_size(stamp: &str, bench: &Bench) -> String {
    script(bench, &format!("pace = stills_per_frame(1), stamps = {{ {stamp} }},"), "frame = { 128, 72 }");
    let said = bench.run(&["check", "move.lua"]).expect(1).err;
    let size = said.split("write size = ").nth(1).and_then(|rest| rest.split(' ').next()).expect("it advises a size");
    stamp.replace("size = 0.1", &format!("size = {size}"))
}

#[test]
fn letters_that_a_font_lacks_come_from_the_programs_own() {
    let bench = Bench::new(1);
    let fonts = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/ink/fonts");
    fs::copy(fonts.join("sans-regular.otf"), bench.path("own.otf")).unwrap();
    let stamp = |font: &str| format!("stamp {{ text = \"Größe Ωμ Кадр\", size = 0.1, {font} }}");
    let [regular, without] = stamped(&bench, &stamp("font = \"own.otf\""), "frame = { 160, 90 }");
    let [semibold, _] = stamped(&bench, &stamp(""), "frame = { 160, 90 }");
    assert!(regular != without && semibold != without && regular != semibold);
    // A running clock keeps its width: all digits take equal room.
    let ends = |text: &str| {
        let stamp = format!("stamp {{ text = \"|{text}|\", size = 0.2, at = point(0.05, 0.5), outline = false }}");
        let [with, without] = stamped(&bench, &stamp, "frame = { 320, 180 }");
        differing(&with, &without).unwrap()
    };
    let [left, _, right, _] = ends("11:11");
    for text in ["00:00", "14:47", "88:08"] {
        let other = ends(text);
        assert_eq!((left, right), (other[0], other[2]), "{text}");
    }
}

//! Covers from outside: shoots that differ in nothing but what is covered come out the same to the last bit, in every
//! delivery.

use std::fs;
use std::path::Path;

use stillpath::ffi::jpeg;
use stillpath::units::Size;

use crate::common::{Bench, STILL, orientation_segment, picture};
use crate::recordings::film;

/// The secret's box in pixels of an upright still: 0.3, 0.35, 0.2, 0.25 of 320 by 240.
const SECRET: [u32; 4] = [96, 84, 160, 144];
const COVER: &str = "cover { box(0.3, 0.35, 0.2, 0.25) }";

/// A still whose secret is loud noise by a seed: blocks of random bits, in each of the channels.
fn secretive(size: Size, index: usize, [left, top, right, bottom]: [u32; 4], seed: u32) -> Vec<u8> {
    let mut rgb = picture(size, index);
    let mut state = seed.wrapping_mul(0x9E37_79B9) ^ u32::try_from(index).unwrap();
    for y in top..bottom {
        for x in left..right {
            for channel in 0..3 {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                rgb[((y * size.width + x) * 3 + channel) as usize] = if state >> 31 == 0 { 0 } else { 255 };
            }
        }
    }
    rgb
}

/// A shoot of six JPEGs of 4:2:0 with such secrets.
fn shoot(seed: u32) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for number in 1..=6 {
        let rgb = secretive(STILL, number, SECRET, seed);
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[])).unwrap();
    }
    bench
}

/// Deliveries of every kind: wide, vertical, rolled, of several stills, close up on the secret, and through its edge.
fn script(covers: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = frames_per_still(1.5), covers = {{ {covers} }},
  deliveries = {{
    delivery {{ "wide", frame = {{ 128, 72 }} }},
    delivery {{ "vertical", frame = {{ 72, 128 }}, codec = "png" }},
    delivery {{ "rolled", frame = {{ 96, 96 }}, framing = framing {{
      key {{ at = "start", on = point(0.4, 0.45), zoom = 1.5 }}, key {{ at = "end", on = point(0.4, 0.45), zoom = 2, roll = 40 }} }} }},
    delivery {{ "mixed", frame = {{ 128, 72 }}, between = "mix", shutter = 720, light = "linear" }},
    delivery {{ "close", frame = {{ 160, 160 }}, codec = "png", sharpness = "full", framing = framing {{
      key {{ at = "start", show = box(0.3, 0.35, 0.2, 0.25) }}, key {{ at = "end", on = point(0.3, 0.35), zoom = 6 }} }} }},
  }} }}"#
    )
}

/// The hashes of all frames of all deliveries, by delivery.
fn planes(bench: &Bench, script: &str) -> Vec<(String, Vec<String>)> {
    bench.script(script);
    let json = bench.run(&["render", "move.lua", "--out", "planes", "--force", "--json"]).expect(0).json();
    let of = |output: &serde_json::Value| {
        let frames = output["frame_planes"].as_array().unwrap().iter().map(|hash| hash.as_str().unwrap().to_owned());
        (output["delivery"].as_str().unwrap().to_owned(), frames.collect())
    };
    json["outputs"].as_array().unwrap().iter().map(of).collect()
}

/// One frame as `frame` writes it, at full depth.
fn close(bench: &Bench, at: &str) -> Vec<u8> {
    bench.run(&["frame", "move.lua", "--delivery", "close", "--frame", at, "-o", "close.png", "--force"]).expect(0);
    fs::read(bench.path("close.png")).unwrap()
}

#[test]
fn what_is_covered_cannot_be_told_from_any_frame_of_any_delivery() {
    let [one, other] = [1, 2].map(shoot);
    let covered = script(COVER);
    assert_eq!(planes(&one, &covered), planes(&other, &covered));
    for at in ["0", "4", "8"] {
        assert_eq!(close(&one, at), close(&other, at), "frame {at}");
    }
    let files = |bench: &Bench| {
        ["move-wide.mp4", "move-vertical/000003.png"].map(|name| fs::read(bench.path("planes").join(name)).unwrap())
    };
    assert_eq!(files(&one), files(&other));
    // Without the cover every frame of every delivery tells them apart.
    let bare = script("");
    for ((name, one), (_, other)) in planes(&one, &bare).iter().zip(planes(&other, &bare)) {
        assert!(one.iter().zip(&other).all(|(one, other)| one != other), "{name}");
    }
    // And so does a box that is too small by one square of a JPEG.
    let small = script("cover { box(0.35, 0.35, 0.15, 0.25) }");
    assert_ne!(planes(&one, &small), planes(&other, &small));
}

#[test]
fn a_cover_that_moves_hides_what_moves_in_every_still_between_its_keys() {
    let moving = |seed: u32| {
        let bench = Bench::new(0);
        fs::create_dir_all(bench.path("stills")).unwrap();
        for number in 1..=6_u32 {
            // Along the straight line from 0.1 of the width at still(1) to 0.6 at still(6).
            let left = 32 + (number - 1) * 32;
            let rgb = secretive(STILL, number as usize, [left, 72, left + 48, 120], seed);
            fs::write(bench.still(number as usize), jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[])).unwrap();
        }
        bench
    };
    let [one, other] = [1, 2].map(moving);
    let keyed = script(
        "cover { key { at = still(1), box(0.1, 0.3, 0.15, 0.2) }, key { at = still(6), box(0.6, 0.3, 0.15, 0.2) } }",
    );
    assert_eq!(planes(&one, &keyed), planes(&other, &keyed));
    let part = script(
        "cover { key { at = still(1), box(0.1, 0.3, 0.15, 0.2) }, key { at = still(6), box(0.6, 0.3, 0.15, 0.2) }, to = still(4) }",
    );
    let (one, other) = (planes(&one, &part), planes(&other, &part));
    // A frame and a half a still: frames 0 to 5 show stills 1 to 4.
    assert_eq!(one[0].1[..6], other[0].1[..6]);
    assert_ne!(one[0].1[6], other[0].1[6]);
}

#[test]
fn boxes_are_those_of_the_upright_still_whatever_its_orientation_and_chroma() {
    // No side is a whole number of squares, so that it matters from which corner they are counted.
    let stored = Size { width: 317, height: 235 };
    for subsampling in [(1, 1), (2, 1), (1, 2), (2, 2), (4, 1)] {
        for orientation in 1..=8_u8 {
            let turned = |seed: u32| {
                let bench = Bench::new(0);
                fs::create_dir_all(bench.path("stills")).unwrap();
                let upright =
                    if orientation < 5 { stored } else { Size { width: stored.height, height: stored.width } };
                let at = |x: f64, y: f64| (x * f64::from(upright.width), y * f64::from(upright.height));
                let ((x0, y0), (x1, y1)) = (at(0.3, 0.35), at(0.5, 0.6));
                let mut rgb = picture(stored, 1);
                let mut state = seed;
                for y in 0..stored.height {
                    for x in 0..stored.width {
                        let (width, height) = (stored.width - 1, stored.height - 1);
                        // Where a stored pixel stands upright, by the tag's definition (Exif 2.32, 4.6.4 A).
                        let (right, down) = match orientation {
                            1 => (x, y),
                            2 => (width - x, y),
                            3 => (width - x, height - y),
                            4 => (x, height - y),
                            5 => (y, x),
                            6 => (height - y, x),
                            7 => (height - y, width - x),
                            _ => (y, width - x),
                        };
                        let (right, down) = (f64::from(right) + 0.5, f64::from(down) + 0.5);
                        if (x0..x1).contains(&right) && (y0..y1).contains(&down) {
                            for channel in 0..3 {
                                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                                rgb[((y * stored.width + x) * 3 + channel) as usize] =
                                    if state >> 31 == 0 { 0 } else { 255 };
                            }
                        }
                    }
                }
                let segment = orientation_segment(orientation);
                let bytes = jpeg::encode_rgb(&rgb, stored, 92, subsampling, &[(0xE1, &segment)]);
                fs::write(bench.still(1), bytes).unwrap();
                bench
            };
            let text = |covers: &str| {
                format!(
                    r#"return shot {{ source = stills {{ "stills" }}, pace = frames_per_still(1), covers = {{ {covers} }},
  deliveries = {{ delivery {{ "close", frame = {{ 64, 64 }}, codec = "png", framing = framing {{
    key {{ at = "start", show = box(0.2, 0.25, 0.4, 0.45) }} }} }} }} }}"#
                )
            };
            let [one, other] = [1, 2].map(turned);
            let covered = text(COVER);
            assert_eq!(planes(&one, &covered), planes(&other, &covered), "{subsampling:?}, orientation {orientation}");
            let bare = text("");
            assert_ne!(planes(&one, &bare), planes(&other, &bare), "{subsampling:?}, orientation {orientation}");
        }
    }
}

/// A PNG of 8 bits a channel.
fn write_png(path: &Path, rgb: &[u8]) {
    image::save_buffer(path, rgb, STILL.width, STILL.height, image::ColorType::Rgb8).unwrap();
}

#[test]
fn outside_a_cover_nothing_changes_by_a_bit_and_inside_is_grey() {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    write_png(&bench.path("stills/A0001.png"), &picture(STILL, 1));
    let show = |covers: &str| {
        bench.script(&format!(
            r#"return shot {{ source = stills {{ "stills" }}, pace = frames_per_still(1), covers = {{ {covers} }},
  deliveries = {{ delivery {{ "whole", frame = {{ 320, 240 }}, codec = "png", sharpness = "full" }} }} }}"#
        ));
        super::frame(&bench, "0")
    };
    let (before, after) = (show(""), show(COVER));
    let [left, top, right, bottom] = SECRET;
    // At one pixel a pixel the kernel is zero at all pixels but its own.
    for (x, y, pixel) in after.enumerate_pixels() {
        let inside = (left..right).contains(&x) && (top..bottom).contains(&y);
        let due = if inside { [128 * 257; 3] } else { before.get_pixel(x, y).0 };
        assert_eq!(pixel.0, due, "{x}, {y}");
    }
}

#[test]
fn a_blur_gives_away_the_means_of_four_quarters_and_nothing_else() {
    let quarters = |seed: u32| {
        let bench = Bench::new(0);
        fs::create_dir_all(bench.path("stills")).unwrap();
        let mut rgb = picture(STILL, 1);
        let noise = secretive(STILL, 1, SECRET, seed);
        let [left, top, right, bottom] = SECRET;
        let (wide, high) = ((right - left) / 2, (bottom - top) / 2);
        for y in top..bottom {
            for x in left..right {
                // Each quarter holds noise beside its negative, so that its mean is 63.5 whatever the noise.
                let at = |x: u32, y: u32| ((y * STILL.width + x) * 3) as usize;
                let half = (x - left) % wide / (wide / 2);
                let from = x - half * (wide / 2);
                for channel in 0..3 {
                    let code = noise[at(from, y) + channel] / 2;
                    rgb[at(x, y) + channel] = if half == 0 { code } else { 127 - code };
                }
            }
        }
        assert_eq!((wide % 2, high * 2), (0, bottom - top));
        write_png(&bench.path("stills/A0001.png"), &rgb);
        bench
    };
    let [one, other] = [1, 2].map(quarters);
    let blurred = script("cover { box(0.3, 0.35, 0.2, 0.25), with = \"blur\" }");
    assert_eq!(planes(&one, &blurred), planes(&other, &blurred));
    assert_ne!(planes(&one, &script("")), planes(&other, &script("")));
    assert_ne!(planes(&one, &blurred), planes(&one, &script(COVER)));
}

#[test]
fn a_blur_is_the_same_whatever_rows_its_delivery_reads_and_whoever_shares_the_still() {
    let bench = shoot(1);
    let text = |others: &str| {
        format!(
            r#"return shot {{ source = stills {{ "stills" }}, pace = frames_per_still(1),
  covers = {{ cover {{ box(0.3, 0.35, 0.2, 0.5), with = "blur" }} }},
  deliveries = {{ delivery {{ "close", frame = {{ 64, 36 }}, framing = framing {{ key {{ at = "start", on = point(0.4, 0.4), zoom = 8 }} }} }}{others} }} }}"#
        )
    };
    let alone = planes(&bench, &text(""));
    let shared = planes(&bench, &text(r#", delivery { "wide", frame = { 128, 72 } }"#));
    assert_eq!(alone[0], shared[0]);
}

#[test]
fn levelling_does_not_look_at_what_is_covered() {
    // Stills that flicker, and in more than half of each a secret whose light flickers by a seed.
    let flickering = |seed: u32| {
        let bench = Bench::new(0);
        fs::create_dir_all(bench.path("stills")).unwrap();
        let mut state = seed;
        for number in 1..=14_u32 {
            let gain = 0.8 + 0.05 * f64::from(number * 7 % 5);
            let mut rgb: Vec<u8> = picture(STILL, 1)
                .into_iter()
                .map(|code| u8::try_from((f64::from(code) * gain) as u32).unwrap())
                .collect();
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let secret = (state >> 24) / 2;
            for y in 24..224 {
                for x in 16..240 {
                    for channel in 0..3 {
                        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        rgb[((y * STILL.width + x) * 3 + channel) as usize] =
                            u8::try_from(secret + (state >> 25)).unwrap();
                    }
                }
            }
            fs::write(bench.still(number as usize), jpeg::encode_rgb(&rgb, STILL, 92, (2, 2), &[])).unwrap();
        }
        bench
    };
    // The last two stills are in no delivery, and have a say in the light of those that are.
    let text = |covers: &str| {
        format!(
            r#"return shot {{ source = stills {{ "stills", to = still(12) }}, fps = 24, pace = stills_per_frame(1), level = true,
  covers = {{ {covers} }}, deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }}, delivery {{ "rest", frame = {{ 64, 64 }}, codec = "png" }} }} }}"#
        )
    };
    let [one, other] = [1, 2].map(flickering);
    let table = |bench: &Bench| fs::read_to_string(bench.path("planes/move-level.csv")).unwrap();
    let covered = text("cover { box(0.05, 0.1, 0.7, 0.8333) }");
    assert_eq!(planes(&one, &covered), planes(&other, &covered));
    assert_eq!(table(&one), table(&other));
    let gains: Vec<f64> =
        table(&one).lines().skip(1).map(|line| line.split(',').nth(2).unwrap().parse().unwrap()).collect();
    assert!(gains.iter().any(|gain| (gain - 1.0).abs() > 0.05), "what is not covered is levelled: {gains:?}");
    let bare = text("");
    planes(&one, &bare);
    planes(&other, &bare);
    assert_ne!(table(&one), table(&other), "without a cover the secret is measured too");
}

#[test]
fn shots_of_one_source_each_have_their_own_covers() {
    let bench = shoot(1);
    let shot = |name: &str, covers: &str| {
        format!(
            r#"shot {{ name = "{name}", source = stills {{ "stills" }}, pace = frames_per_still(1), covers = {{ {covers} }},
  deliveries = {{ delivery {{ "{name}", frame = {{ 64, 64 }} }} }} }}"#
        )
    };
    let (open, shut) = (shot("open", ""), shot("shut", COVER));
    let both = planes(&bench, &format!("return {{ {open}, {shut} }}"));
    assert_eq!(both[0], planes(&bench, &format!("return {open}"))[0]);
    assert_eq!(both[1], planes(&bench, &format!("return {shut}"))[0]);
    assert_ne!(both[0].1, both[1].1);
}

#[test]
fn a_recordings_frames_are_covered_too() {
    // FFV1 loses nothing: frames that differ in the box alone are decoded as ones that differ in the box alone.
    let filmed = |seed: u32| {
        let bench = Bench::new(0);
        let frames = (0..6_u32).map(move |number| {
            let mut frame: Vec<u8> =
                (0..256 * 64 * 3 / 2_u32).map(|at| u8::try_from(40 + (at * 7 + number * 13) % 150).unwrap()).collect();
            let mut state = seed;
            for y in 24..40 {
                for x in 96..128 {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    frame[y * 256 + x] = if state >> 31 == 0 { 30 } else { 220 };
                }
            }
            frame
        });
        film(&bench.path("day.mkv"), frames, &["-s", "256x64", "-r", "30"], &["-c:v", "ffv1"]);
        bench
    };
    let [one, other] = [1, 2].map(filmed);
    let text = |covers: &str| {
        format!(
            r#"return shot {{ source = recording "day.mkv", fps = 30, pace = pace {{ key {{ at = "start", rate = stills_per_frame(1) }},
    key {{ at = still(5), rate = stills_per_frame(1) }}, key {{ at = still(2), rate = stills_per_frame(1), reverse = true }} }},
  covers = {{ {covers} }}, deliveries = {{ delivery {{ "wide", frame = {{ 256, 64 }} }} }} }}"#
        )
    };
    let covered = text("cover { box(0.375, 0.375, 0.125, 0.25) }");
    assert_eq!(planes(&one, &covered), planes(&other, &covered));
    assert_ne!(planes(&one, &text("")), planes(&other, &text("")));
}

#[test]
fn the_check_and_explain_say_what_is_covered() {
    let bench = shoot(1);
    bench.script(&script(COVER));
    bench.run(&["check", "move.lua"]).expect(0).says("this cover takes at most 6.021 % of the still, 68 by 68 px");
    let ran = bench.run(&["explain", "move.lua", "--delivery", "wide", "--frame", "3"]).expect(0);
    assert!(ran.out.contains("  covered: 68 by 68 px at 94, 78, filled (move.lua:1)"), "{}", ran.out);
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let area = &json["plans"][0]["covers"][0]["areas"][0];
    assert_eq!(
        [&area["x"], &area["y"], &area["width"], &area["height"]].map(|side| side.as_u64().unwrap()),
        [94, 78, 68, 68]
    );
}

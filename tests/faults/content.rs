//! Orientation, profiles, kinds of colour, depth.

use std::borrow::Cow;
use std::fs;

use moxcms::ColorProfile;
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode, encode_rgb};
use stillpath::units::Size;

use crate::colour::{adobe_rgb_segment, png_still};
use crate::common::{Bench, STILL, one, orientation_segment, picture};
use crate::frame;

/// Stored cells, left to right and top to bottom, and how each orientation shows them: Pillow's `exif_transpose`,
/// libvips' `autorot` and Exif 2.32's table of visual edges agree. A tag of 0 or 9 and more counts as 1.
const SHOWN: [(u8, &[&[usize]]); 10] = [
    (1, &[&[1, 2, 3], &[4, 5, 6]]),
    (2, &[&[3, 2, 1], &[6, 5, 4]]),
    (3, &[&[6, 5, 4], &[3, 2, 1]]),
    (4, &[&[4, 5, 6], &[1, 2, 3]]),
    (5, &[&[1, 4], &[2, 5], &[3, 6]]),
    (6, &[&[4, 1], &[5, 2], &[6, 3]]),
    (7, &[&[6, 3], &[5, 2], &[4, 1]]),
    (8, &[&[3, 6], &[2, 5], &[1, 4]]),
    (0, &[&[1, 2, 3], &[4, 5, 6]]),
    (9, &[&[1, 2, 3], &[4, 5, 6]]),
];

/// The colours of the cells 1 to 6.
const CELLS: [[u8; 3]; 6] =
    [[200, 40, 40], [40, 200, 40], [40, 40, 200], [200, 200, 40], [40, 200, 200], [200, 40, 200]];

/// Fault 29: mirrored orientations.
#[test]
fn every_orientation_is_applied_once_mirrored_ones_too() {
    const CELL: usize = 32;
    let size = Size::new(3 * CELL as u32, 2 * CELL as u32);
    let stored: Vec<u8> =
        (0..2 * CELL).flat_map(|y| (0..3 * CELL).flat_map(move |x| CELLS[y / CELL * 3 + x / CELL])).collect();
    for (tag, shown) in SHOWN {
        let bench = Bench::new(0);
        fs::create_dir(bench.path("stills")).unwrap();
        let jpeg = encode_rgb(&stored, size, 95, (1, 1), &[(0xE1, &orientation_segment(tag))]);
        fs::write(bench.still(1), jpeg).unwrap();
        let (across, down) = (shown[0].len() * CELL, shown.len() * CELL);
        bench.script(&one("\"stills\"").replace("{ 128, 72 }", &format!("{{ {across}, {down} }}, codec = \"png\"")));
        let seen = frame(&bench, "0");
        for (row, cells) in shown.iter().enumerate() {
            for (column, cell) in cells.iter().enumerate() {
                let at = |index: usize| (index * CELL + CELL / 2) as u32;
                let pixel = seen.get_pixel(at(column), at(row)).0;
                let off =
                    pixel.iter().zip(CELLS[cell - 1]).map(|(seen, meant)| seen.abs_diff(u16::from(meant) * 257)).max();
                assert!(off.unwrap() <= 3 * 257, "tag {tag}, row {row}, column {column}: {pixel:?} is not cell {cell}");
            }
        }
    }
}

/// Runs a program that is not ours.
fn tool(program: &str, arguments: &[&str]) {
    crate::ffmpeg(program, arguments);
}

/// The frames of a shoot of one still in `stills`, as 16-bit R'G'B'.
fn shown(bench: &Bench, name: &str, frame_size: (u32, u32)) -> image::ImageBuffer<image::Rgb<u16>, Vec<u16>> {
    let (across, down) = frame_size;
    let source = format!("\"stills/{name}\"");
    bench.script(&one(&source).replace("{ 128, 72 }", &format!("{{ {across}, {down} }}, codec = \"png\"")));
    frame(bench, "0")
}

// Fault 28. The cells of `SHOWN` as AVIF, turned by its container (ISO/IEC 23008-12, 6.5.10 and 6.5.12) and told so by
// EXIF too, as phones do.
/// Fault 28: orientation in the container and in EXIF.
#[test]
fn an_orientation_told_by_the_container_and_by_exif_is_applied_once() {
    const CELL: usize = 32;
    let stored: Vec<u8> =
        (0..2 * CELL).flat_map(|y| (0..3 * CELL).flat_map(move |x| CELLS[y / CELL * 3 + x / CELL])).collect();
    // Quarter turns anticlockwise, then 0 for top and bottom changed about or 1 for left and right.
    let told: [(u8, &[&str]); 8] = [
        (1, &[]),
        (2, &["--imir", "1"]),
        (3, &["--irot", "2"]),
        (4, &["--imir", "0"]),
        (5, &["--irot", "3", "--imir", "1"]),
        (6, &["--irot", "3"]),
        (7, &["--irot", "1", "--imir", "1"]),
        (8, &["--irot", "1"]),
    ];
    for (tag, container) in told {
        let bench = Bench::new(0);
        fs::create_dir(bench.path("stills")).unwrap();
        let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
        image::save_buffer(path("cells.png"), &stored, 96, 64, image::ExtendedColorType::Rgb8).unwrap();
        fs::write(path("exif"), &orientation_segment(tag)[6..]).unwrap();
        let (exif, png, avif) = (path("exif"), path("cells.png"), path("stills/cells.avif"));
        tool(
            "avifenc",
            &[&["-s", "9", "--min", "0", "--max", "10", "--exif", &exif][..], container, &[&png, &avif]].concat(),
        );
        let (_, cells) = SHOWN.iter().find(|(of, _)| *of == tag).unwrap();
        let seen = shown(&bench, "cells.avif", ((cells[0].len() * CELL) as u32, (cells.len() * CELL) as u32));
        for (row, cells) in cells.iter().enumerate() {
            for (column, cell) in cells.iter().enumerate() {
                let at = |index: usize| (index * CELL + CELL / 2) as u32;
                let pixel = seen.get_pixel(at(column), at(row)).0;
                let off =
                    pixel.iter().zip(CELLS[cell - 1]).map(|(seen, meant)| seen.abs_diff(u16::from(meant) * 257)).max();
                assert!(off.unwrap() <= 5 * 257, "tag {tag}, row {row}, column {column}: {pixel:?} is not cell {cell}");
            }
        }
    }
}

/// The most that two frames differ by, in codes of 8 bits, and the mean.
fn apart(
    one: &image::ImageBuffer<image::Rgb<u16>, Vec<u16>>,
    other: &image::ImageBuffer<image::Rgb<u16>, Vec<u16>>,
) -> f64 {
    assert_eq!(one.dimensions(), other.dimensions());
    let off: u64 = one.as_raw().iter().zip(other.as_raw()).map(|(one, other)| u64::from(one.abs_diff(*other))).sum();
    off as f64 / one.as_raw().len() as f64 / 257.0
}

#[test]
fn a_heic_and_an_avif_look_like_the_png_they_were_made_of() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    let (png, heic, avif) = (path("stills/1.png"), path("stills/2.heic"), path("stills/3.avif"));
    image::save_buffer(&png, &picture(STILL, 1), STILL.width, STILL.height, image::ExtendedColorType::Rgb8).unwrap();
    tool("heif-enc", &["-q", "95", &png, "-o", &heic]);
    tool("avifenc", &["-s", "8", "--min", "0", "--max", "8", "-y", "420", &png, &avif]);
    let due = shown(&bench, "1.png", (320, 240));
    for name in ["2.heic", "3.avif"] {
        let off = apart(&shown(&bench, name, (320, 240)), &due);
        println!("{name}: {off:.2} codes off its PNG in the mean");
        assert!(off < 1.5, "{name} is {off:.2} codes off in the mean");
    }
    // All three are one shoot, whose sums come out.
    bench.script(&one("\"stills\""));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("3 = 3 used"), "{}", ran.out);
}

// Fault 35: coded by programs that are not ours, from one picture; each is shown as the plain one is, or named and
// refused.
/// Fault 35: JPEGs of rare kinds (12 bits by a header alone).
#[test]
fn jpegs_of_every_kind_are_shown_alike_or_stop_with_what_they_are() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    let head = format!("P6 {} {} 255\n", STILL.width, STILL.height);
    fs::write(path("plain.ppm"), [head.as_bytes(), &picture(STILL, 1)].concat()).unwrap();
    let ppm = path("plain.ppm");
    let kinds: [(&str, &[&str]); 6] = [
        ("1.jpg", &["-sample", "2x2"]),
        ("2.jpg", &["-sample", "1x2"]),
        ("3.jpg", &["-sample", "4x1"]),
        ("4.jpg", &["-sample", "2x2", "-progressive"]),
        ("5.jpg", &["-sample", "2x2", "-arithmetic"]),
        ("6.jpg", &["-sample", "2x1", "-restart", "1"]),
    ];
    for (name, arguments) in kinds {
        let out = path(&format!("stills/{name}"));
        tool("cjpeg", &[&["-quality", "95"], arguments, &["-outfile", &out, &ppm]].concat());
    }
    let due = shown(&bench, "1.jpg", (320, 240));
    for (name, arguments) in &kinds[1..] {
        let off = apart(&shown(&bench, name, (320, 240)), &due);
        println!("{arguments:?}: {off:.2} codes off 4:2:0 in the mean");
        // What is coded otherwise and sampled alike is the same to the bit.
        let most = if arguments[1] == "2x2" { 0.0 } else { 1.5 };
        assert!(off <= most, "{arguments:?} is {off:.2} codes off in the mean");
    }
    tool(
        "ffmpeg",
        &["-v", "error", "-i", &ppm, "-c:v", "ljpeg", "-f", "image2", "-update", "1", &path("stills/1.jpg"), "-y"],
    );
    bench.script(&one("\"stills\""));
    bench.run(&["render", "move.lua", "--out", "other"]).expect(1).says("1.jpg").says("lossless");
}

/// Fault 27: another orientation.
#[test]
fn an_orientation_that_keeps_the_size_is_obeyed_still_by_still_and_said() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let plain = bench.planes();
    // The second still stored upside down, with the tag that says so, at a quality that hardly shows.
    let half_turned: Vec<u8> = picture(STILL, 2).chunks(3).rev().flatten().copied().collect();
    for (number, pixels, tag) in [(1, picture(STILL, 2), 1), (2, half_turned, 3)] {
        let jpeg = encode_rgb(&pixels, STILL, 100, (1, 1), &[(0xE1, &orientation_segment(tag))]);
        fs::write(bench.still(number), jpeg).unwrap();
    }
    bench.script(&one("\"stills\"").replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\""));
    let (upright, turned) = (frame(&bench, "0"), frame(&bench, "1"));
    let furthest = upright.as_raw().iter().zip(turned.as_raw()).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
    assert!(furthest <= 3 * 257, "{furthest}");
    bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("the orientation tag changes from stills/LAPS0001.JPG to stills/LAPS0002.JPG");
    bench.script(&one("\"stills\", orientation = \"ignore\""));
    assert_eq!(bench.planes()[2], plain[2]);
}

/// Fault 30: no profile, a broken one.
#[test]
fn a_missing_profile_is_taken_for_srgb_and_a_broken_one_too_and_both_are_said() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let clean = bench.planes();
    bench
        .render()
        .expect(0)
        .says("3 stills, LAPS0001 the first: the file does not say its colour space; sRGB is assumed");
    let whole = ColorProfile::new_adobe_rgb().encode().unwrap();
    for (icc, words) in [(&whole[..whole.len() / 2], "cannot be used"), (&b"no profile at all"[..], "cannot be used")] {
        let segment = [b"ICC_PROFILE\0\x01\x01", icc].concat();
        fs::write(bench.still(2), encode_rgb(&picture(STILL, 2), STILL, 92, (2, 2), &[(0xE2, &segment)])).unwrap();
        assert_eq!(bench.planes(), clean);
        let ran = bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
        ran.says("LAPS0002: the embedded colour profile").says(words).says("sRGB is assumed");
    }
    // A profile of the wrong class: grey, for a picture in colour.
    let grey = ColorProfile::new_gray_with_gamma(1.8).encode().unwrap();
    let segment = [b"ICC_PROFILE\0\x01\x01", &grey[..]].concat();
    fs::write(bench.still(2), encode_rgb(&picture(STILL, 2), STILL, 92, (2, 2), &[(0xE2, &segment)])).unwrap();
    assert_eq!(bench.planes(), clean);
    let ran = bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    ran.says("LAPS0002: the embedded colour profile cannot be used (it is not one of R'G'B' values)");
}

/// Fault 32: the profile changes.
/// Fault 33: grey or CMYK among colour.
#[test]
fn stills_of_other_profiles_grey_and_inks_are_each_converted_and_said() {
    let rgb = picture(STILL, 5);
    let grey: Vec<u8> = rgb.chunks(3).map(|pixel| pixel[1]).collect();
    let inks: Vec<u8> = rgb.chunks(3).flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255]).collect();
    let how = |colour, markers| Encoding {
        quality: 95,
        colour,
        subsampling: (1, 1),
        coding: Coding::Baseline,
        restart_rows: 0,
        markers,
    };
    let adobe = adobe_rgb_segment();
    let p3 = ColorProfile::new_display_p3().encode().unwrap();
    let kinds = [
        encode(&rgb, STILL, &how(Colour::YCbCr, &[])),
        encode(&rgb, STILL, &how(Colour::YCbCr, &[])),
        encode(&rgb, STILL, &how(Colour::YCbCr, &[(0xE1, &adobe)])),
        png_still(STILL, &rgb, |info| info.icc_profile = Some(Cow::Owned(p3))),
        encode(&grey, STILL, &how(Colour::Grey, &[])),
        encode(&inks, STILL, &how(Colour::Cmyk, &[])),
    ];
    let alone: Vec<String> = kinds
        .iter()
        .map(|bytes| {
            let bench = Bench::new(1);
            fs::write(bench.still(1), bytes).unwrap();
            bench.script(&one("\"stills\""));
            bench.planes().remove(0)
        })
        .collect();
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for (index, bytes) in kinds.iter().enumerate() {
        fs::write(bench.still(index + 1), bytes).unwrap();
    }
    bench.script(&one("\"stills\""));
    assert_eq!(bench.planes(), alone, "each still is what it is alone");
    let distinct: std::collections::BTreeSet<&String> = alone.iter().collect();
    assert_eq!(distinct.len(), 5, "but for the first two, which are the same, all differ");
    let ran = bench.render().expect(0);
    let ran = ran.says("LAPS0003: in Adobe RGB (1998), unlike most of the shoot: converted");
    let ran = ran.says("LAPS0004: in a colour profile of its own, unlike most of the shoot: converted");
    let ran = ran.says("LAPS0005: grey, in sRGB, unlike most of the shoot: converted");
    ran.says("LAPS0006: printing inks (CMYK) are converted to R'G'B' by simple multiplication");
}

#[test]
fn a_shoot_in_one_profile_has_no_odd_ones() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in 1..=3 {
        let jpeg = encode_rgb(&picture(STILL, number), STILL, 92, (2, 2), &[(0xE1, &adobe_rgb_segment())]);
        fs::write(bench.still(number), jpeg).unwrap();
    }
    bench.script(&one("\"stills\""));
    let ran = bench.render().expect(0);
    assert!(!ran.err.contains("unlike most") && !ran.err.contains("assumed"), "{}", ran.err);
}

/// Fault 34: 16 bits, alpha.
#[test]
fn sixteen_bit_stills_stay_sixteen_bits_deep() {
    // A ramp of 7 in 65,535 a pixel, shown pixel for pixel: 8 bits would hold 5 steps of it, moments keep it a ramp.
    let value = |x: u32| u16::try_from(30_000 + 7 * x).unwrap();
    let still =
        image::ImageBuffer::from_fn(192, 108, |x, _| image::Rgb([value(x), 65_535 - value(x), 20_000 + 3 * x as u16]));
    for name in ["LAPS0001.png", "LAPS0001.tif"] {
        let bench = Bench::new(0);
        fs::create_dir(bench.path("stills")).unwrap();
        image::DynamicImage::ImageRgb16(still.clone()).save(bench.path("stills").join(name)).unwrap();
        bench.script(&one("\"stills\"").replace("{ 128, 72 }", "{ 192, 108 }, codec = \"png\""));
        let seen = frame(&bench, "0");
        let inside = (8..184).flat_map(|x| (8..100).map(move |y| (x, y)));
        let off = |(x, y): (u32, u32)| {
            let (seen, meant) = (seen.get_pixel(x, y).0, still.get_pixel(x, y).0);
            seen.iter().zip(meant).map(|(seen, meant)| seen.abs_diff(meant)).max().unwrap()
        };
        let furthest = inside.map(off).max().unwrap();
        assert!(furthest <= 4, "{name}: {furthest} of 65,535");
    }
}

/// Fault 34: 16 bits, alpha.
#[test]
fn transparent_parts_are_shown_on_black_and_said_to_be() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    let half = image::RgbaImage::from_fn(128, 72, |x, _| image::Rgba([200, 100, 50, if x < 64 { 255 } else { 0 }]));
    half.save(bench.path("stills/LAPS0001.png")).unwrap();
    bench.script(&one("\"stills\"").replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\""));
    let seen = frame(&bench, "0");
    assert_eq!(seen.get_pixel(20, 36).0, [200 * 257, 100 * 257, 50 * 257]);
    assert_eq!(seen.get_pixel(100, 36).0, [0; 3]);
    bench.render().expect(0).says("LAPS0001: transparent parts are shown on black");
}

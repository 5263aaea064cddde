//! Real photographs: those of Debian's package `lomiri-wallpapers-16.04` (CC0, CC-BY and CC-BY-SA; fetched by
//! `scripts/test`, never committed). Progressive JPEGs of 12 to 16 megapixels, 4:2:0 and 4:2:2, without EXIF.
//!
//! Photographs with a camera's own EXIF, and one whose orientation tag lies, are in no package this small: they are not
//! fetched.
#![expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "small pictures")]
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]

#[path = "common/mod.rs"]
mod common;

use std::path::{Path, PathBuf};
use std::process::Command;

use common::Bench;
use stillpath::decode::header::{self, Ending};
use stillpath::decode::{Decoder, Want};
use stillpath::picture::{Model, Picture, Samples};
use stillpath::shoot::{Format, Orientation, Still};
use stillpath::units::Size;

const FOLDER: &str = "/usr/share/backgrounds";

/// Name, size, and how many luma samples share a chroma sample across and down.
const PHOTOGRAPHS: [(&str, Size, (u32, u32)); 3] = [
    ("seeding_by_Clements_Engelhardt.jpg", Size { width: 5312, height: 2988 }, (2, 2)),
    ("Dragonfly_by_Bolly.jpg", Size { width: 4224, height: 3168 }, (2, 1)),
    ("sunset_by_Aitzol_Berasategi.jpg", Size { width: 4272, height: 2848 }, (2, 1)),
];

fn photograph(name: &str) -> PathBuf {
    let path = Path::new(FOLDER).join(name);
    assert!(
        path.exists(),
        "{} is missing: sh scripts/test installs it (Debian's lomiri-wallpapers-16.04)",
        path.display()
    );
    path
}

/// The standard output of a program.
fn run(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program).args(arguments).output();
    let output = output
        .unwrap_or_else(|error| panic!("{program} is needed for this test ({error}): sh scripts/test installs it"));
    assert!(output.status.success(), "{program}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn still(path: &Path) -> Still {
    header::read(path).unwrap().still(path)
}

fn samples(picture: &Picture, plane: usize) -> Vec<u8> {
    let plane = &picture.planes[plane];
    let Samples::Eight(samples) = &plane.samples else { panic!("more than 8 bits") };
    samples
        .chunks(plane.stride)
        .take(plane.height as usize)
        .flat_map(|row| row[..plane.width as usize].to_vec())
        .collect()
}

#[test]
fn their_headers_tell_their_sizes_and_that_nothing_else_is_known() {
    for (name, size, _) in PHOTOGRAPHS {
        let header = header::read(&photograph(name)).unwrap();
        assert_eq!(
            (header.format, header.stored, header.orientation),
            (Format::Jpeg, size, Orientation::Upright),
            "{name}"
        );
        assert_eq!((header.captured, header.settings.exposure, header.ending), (None, None, Ending::Whole), "{name}");
    }
    // Stills of two sizes are no shoot: both are named.
    let bench = Bench::new(0);
    std::fs::create_dir(bench.path("stills")).unwrap();
    for (name, ..) in PHOTOGRAPHS {
        std::os::unix::fs::symlink(photograph(name), bench.path(&format!("stills/{name}"))).unwrap();
    }
    bench.run(&["survey", "stills"]).expect(1).says("seeding_by").says("Dragonfly_by");
    let one = bench.run(&["survey", &format!("stills/{}", PHOTOGRAPHS[0].0)]).expect(0);
    assert!(one.out.contains("1 whole stills of 5312x2988") && one.out.contains("times: none known"), "{}", one.out);
}

// libjpeg-turbo's own program for luma, FFmpeg for all planes: both round their transforms in their own way.
#[test]
fn they_decode_to_what_libjpeg_and_ffmpeg_decode_them_to() {
    for (name, size, (across, down)) in PHOTOGRAPHS {
        let path = photograph(name);
        let picture = Decoder::new().decode(&still(&path), Want::rows(0..size.height), None).unwrap();
        assert_eq!((picture.size, picture.model), (size, Model::YCbCr601));
        let grey = run("djpeg", &["-grayscale", "-pnm", path.to_str().unwrap()]);
        let luma = &grey[grey.len() - size.pixels() as usize..];
        assert!(samples(&picture, 0) == luma, "{name}: luma is not djpeg's");
        let mut due = &run("ffmpeg", &["-v", "error", "-i", path.to_str().unwrap(), "-f", "rawvideo", "-"])[..];
        for plane in 0..3 {
            let (width, height) = if plane == 0 { (1, 1) } else { (across, down) };
            let count = (size.width.div_ceil(width) * size.height.div_ceil(height)) as usize;
            let (own, rest) = due.split_at(count);
            due = rest;
            let seen = samples(&picture, plane);
            assert_eq!(seen.len(), count, "{name}: plane {plane}");
            let far = seen.iter().zip(own).map(|(seen, due)| seen.abs_diff(*due));
            let (most, off) = far.fold((0, 0_usize), |(most, off), far| (far.max(most), off + usize::from(far > 1)));
            println!("{name}, plane {plane}: {most} codes off at most, {off} of {count} by more than 1");
            assert!(
                most <= 2 && off * 1000 < count,
                "{name}: plane {plane} is {most} codes off, {off} samples by more than 1"
            );
        }
        assert!(due.is_empty(), "{name}: FFmpeg has another subsampling");
    }
}

/// Frames of a script's one delivery as luma.
fn frames(bench: &Bench, size: (usize, usize)) -> Vec<Vec<f64>> {
    let folder = bench.path("clips/move-wide");
    let read = |name: &String| {
        let image = image::open(folder.join(name)).unwrap().to_rgb16();
        assert_eq!((image.width() as usize, image.height() as usize), size);
        image
            .pixels()
            .map(|pixel| {
                (0.2126 * f64::from(pixel[0]) + 0.7152 * f64::from(pixel[1]) + 0.0722 * f64::from(pixel[2])) / 257.0
            })
            .collect()
    };
    bench.list("clips/move-wide").iter().map(read).collect()
}

/// A frame between its pixels, by Catmull and Rom's cubic.
fn at(frame: &[f64], width: usize, x: f64, y: f64) -> f64 {
    let weights = |t: f64| {
        [
            ((2.0 - t) * t - 1.0) * t / 2.0,
            ((3.0 * t - 5.0) * t * t + 2.0) / 2.0,
            ((4.0 - 3.0 * t) * t + 1.0) * t / 2.0,
            (t - 1.0) * t * t / 2.0,
        ]
    };
    let (left, top) = (x.floor(), y.floor());
    let (across, down) = (weights(x - left), weights(y - top));
    #[expect(clippy::cast_sign_loss, reason = "a border is left out all round")]
    let first = (top as usize - 1) * width + left as usize - 1;
    let row = |row: usize| {
        across.iter().zip(&frame[first + row * width..][..4]).map(|(weight, value)| weight * value).sum::<f64>()
    };
    down.iter().enumerate().map(|(index, weight)| weight * row(index)).sum()
}

/// How far a frame is from where the plan says that the frame before it has moved to: the one shift that explains the
/// difference best (least squares by the gradient, as Lucas and Kanade).
fn shift(
    before: &[f64],
    after: &[f64],
    (width, height): (usize, usize),
    map: impl Fn(f64, f64) -> (f64, f64),
) -> [f64; 2] {
    const BORDER: usize = 20;
    let (mut a, mut b, mut c, mut along, mut down) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for y in BORDER..height - BORDER {
        for x in BORDER..width - BORDER {
            let (from_x, from_y) = map(x as f64, y as f64);
            let here = y * width + x;
            let (slope_x, slope_y) =
                ((after[here + 1] - after[here - 1]) / 2.0, (after[here + width] - after[here - width]) / 2.0);
            let off = after[here] - at(before, width, from_x, from_y);
            a += slope_x * slope_x;
            b += slope_x * slope_y;
            c += slope_y * slope_y;
            along += slope_x * off;
            down += slope_y * off;
        }
    }
    let determinant = a * c - b * b;
    [(c * along - b * down) / determinant, (a * down - b * along) / determinant]
}

#[test]
fn a_slow_push_in_over_one_of_them_has_no_jitter() {
    const SIZE: (usize, usize) = (480, 270);
    let bench = Bench::new(0);
    std::fs::create_dir(bench.path("stills")).unwrap();
    std::os::unix::fs::symlink(photograph(PHOTOGRAPHS[0].0), bench.path("stills/seeds.jpg")).unwrap();
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = frames_per_still(24),
  framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = 1.02 }, key { at = "end", on = point(0.52, 0.49), zoom = 1.12 } },
  deliveries = { delivery { "wide", frame = { 480, 270 }, codec = "png" } } }"#,
    );
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = plan["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    bench.render().expect(0);
    let frames = frames(&bench, SIZE);
    assert_eq!((frames.len(), rows.len()), (24, 24));
    let mut worst: f64 = 0.0;
    let mut squares = 0.0;
    for (pair, window) in frames.windows(2).zip(rows.windows(2)) {
        let number = |index: usize, name: &str| window[index]["window"][name].as_f64().unwrap();
        let along = |place: f64, origin: &str, side: &str, pixels: usize| {
            let source = number(1, origin) + (place + 0.5) * number(1, side) / pixels as f64;
            (source - number(0, origin)) * pixels as f64 / number(0, side) - 0.5
        };
        let map = |x: f64, y: f64| (along(x, "x", "width", SIZE.0), along(y, "y", "height", SIZE.1));
        for off in shift(&pair[0], &pair[1], SIZE, map) {
            worst = worst.max(off.abs());
            squares += off * off;
        }
    }
    let mean = (squares / (2.0 * 23.0)).sqrt();
    println!("off the planned movement by {mean:.4} px RMS, {worst:.4} at most");
    // Windows cut to whole pixels of the frame would be off by 0.29 RMS (the spread of rounding).
    assert!(mean < 0.02 && worst < 0.05, "{mean:.4} px RMS, {worst:.4} at most");
}

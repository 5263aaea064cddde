//! What a recording's picture is: colours by matrix and range, depth, turns, shapes of pixels, fields, and what is
//! refused.

use std::fs;

use crate::common::Bench;
use crate::recordings::{HEIGHT, WIDTH, film, film_numbered, numbered, script};

/// Encodes what a source of FFmpeg's command line draws.
fn draw(bench: &Bench, name: &str, source: &str, output: &[&str]) {
    let path = bench.path(name);
    let head = ["-v", "error", "-y", "-f", "lavfi", "-i", source, "-frames:v", "4"];
    crate::ffmpeg("ffmpeg", &[&head[..], output, &[path.to_str().unwrap()]].concat());
}

/// The first frame of a recording, as a delivery of this size shows it.
fn first(bench: &Bench, name: &str, width: u32, height: u32) -> image::ImageBuffer<image::Rgb<u16>, Vec<u16>> {
    bench.script(&format!(
        r#"return shot {{ source = recording {name:?}, pace = stills_per_frame(1),
          deliveries = {{ delivery {{ "wide", frame = {{ {width}, {height} }}, codec = "png", sharpness = "full" }} }} }}"#
    ));
    crate::frame(bench, "0")
}

#[test]
fn matrix_and_range_are_obeyed_as_tagged() {
    let bench = Bench::new(0);
    for (matrix, name) in [("bt709", "bt709"), ("bt601", "smpte170m")] {
        for (range, tag) in [("limited", "tv"), ("full", "pc")] {
            // R'G'B' to Y'CbCr by FFmpeg's scaler, kept without loss.
            let convert = format!("scale=out_color_matrix={matrix}:out_range={range},format=yuv420p");
            let coded = ["-c:v", "libx264", "-qp", "0", "-colorspace", name, "-color_range", tag];
            draw(
                &bench,
                "flat.mp4",
                "color=c=0xC04020:s=64x64,format=rgb24",
                &[&["-vf", &convert][..], &coded].concat(),
            );
            let shown = first(&bench, "flat.mp4", 64, 64).get_pixel(32, 32).0.map(|code| f64::from(code) / 257.0);
            for (shown, due) in shown.iter().zip([192.0, 64.0, 32.0]) {
                // Each of three codes is rounded once, and the blue difference counts almost twice.
                assert!((shown - due).abs() < 2.0, "{matrix}, {range}: {shown} for {due}");
            }
        }
    }
}

#[test]
fn what_says_nothing_of_its_matrix_goes_by_its_size_and_that_is_said() {
    let bench = Bench::new(0);
    for (size, matrix, name) in [("64x64", "bt601", "BT.601"), ("1280x720", "bt709", "BT.709")] {
        let convert = format!("scale=out_color_matrix={matrix}:out_range=limited,format=yuv420p");
        let source = format!("color=c=0xC04020:s={size},format=rgb24");
        draw(
            &bench,
            "flat.mkv",
            &source,
            &["-vf", &convert, "-c:v", "libx264", "-qp", "0", "-bsf:v", "h264_metadata=matrix_coefficients=2"],
        );
        let shown = first(&bench, "flat.mkv", 64, 64).get_pixel(32, 32).0.map(|code| f64::from(code) / 257.0);
        assert!(
            shown.iter().zip([192.0, 64.0, 32.0]).all(|(shown, due): (&f64, f64)| (shown - due).abs() < 2.0),
            "{size}: {shown:?}"
        );
        bench
            .run(&["frame", "move.lua", "--frame", "0", "-o", "said.png", "--force"])
            .expect(0)
            .says(&format!("{name} goes with its size"));
    }
}

/// Ten bits are read at their depth: a ramp of single 10-bit codes comes out even, which 8 bits could not show.
#[test]
fn ten_bits_are_read_at_their_depth() {
    let bench = Bench::new(0);
    let ramp = "nullsrc=s=256x64,format=yuv420p10le,geq=lum='300+X':cb=512:cr=512";
    for coded in [
        &["-c:v", "ffv1"][..],
        &["-c:v", "libx265", "-x265-params", "lossless=1:log-level=none"],
        &["-c:v", "libx264", "-qp", "0"],
    ] {
        draw(&bench, "ramp.mkv", ramp, &[coded, &["-colorspace", "bt709", "-color_range", "tv"]].concat());
        let shown = first(&bench, "ramp.mkv", 256, 64);
        for x in 8..248 {
            // 64 is black and 940 white (ITU-R BT.709-6).
            let due = f64::from(300 + x - 64) / 876.0 * 65_535.0;
            let seen = f64::from(shown.get_pixel(x, 32).0[1]);
            assert!((seen - due).abs() < 4.0, "{coded:?}: {seen} at {x}, {due} due");
        }
    }
}

/// Fault 53: high dynamic range.
#[test]
fn high_dynamic_range_and_wide_gamut_are_refused_and_not_squashed() {
    let bench = Bench::new(0);
    for (curve, word) in [("smpte2084", "PQ"), ("arib-std-b67", "HLG"), ("bt2020-10", "BT.2020")] {
        let tags = ["-color_primaries", "bt2020", "-color_trc", curve, "-colorspace", "bt2020nc"];
        let coded = ["-vf", "format=yuv420p10le", "-c:v", "libx265", "-x265-params", "log-level=none"];
        draw(&bench, "bright.mp4", "testsrc2=s=128x64", &[&coded[..], &tags].concat());
        bench.script(&script(r#"recording "bright.mp4""#, "over \"1s\""));
        bench.run(&["check", "move.lua"]).expect(1).says(word).says("export it as");
    }
}

// Fault 52.
/// Fault 52: a rotation matrix.
#[test]
fn a_display_matrix_turns_frames_once_as_ffmpeg_turns_them() {
    let bench = Bench::new(0);
    let plain = bench.path("plain.mp4");
    draw(
        &bench,
        "plain.mp4",
        "testsrc2=s=128x64,hue=s=0",
        &["-vf", "scale=out_color_matrix=bt709,format=yuv420p", "-c:v", "libx264", "-qp", "0", "-colorspace", "bt709"],
    );
    for turn in ["90", "180", "270"] {
        let (turned, stills) = (bench.path("turned.mp4"), bench.path("due.png"));
        let rotate = format!("rotate={turn}");
        let (plain, turned) = (plain.to_str().unwrap(), turned.to_str().unwrap());
        crate::ffmpeg("ffmpeg", &["-v", "error", "-y", "-i", plain, "-c", "copy", "-metadata:s:v:0", &rotate, turned]);
        let convert = "scale=in_color_matrix=bt709:flags=accurate_rnd+full_chroma_int+bilinear";
        crate::ffmpeg(
            "ffmpeg",
            &[
                "-v",
                "error",
                "-y",
                "-i",
                turned,
                "-frames:v",
                "1",
                "-vf",
                convert,
                "-pix_fmt",
                "rgb24",
                stills.to_str().unwrap(),
            ],
        );
        let due = image::open(&stills).unwrap().to_rgb8();
        let size = if turn == "180" { (128, 64) } else { (64, 128) };
        assert_eq!(due.dimensions(), size, "what FFmpeg shows at {turn}");
        let shown = first(&bench, "turned.mp4", size.0, size.1);
        let apart: f64 = shown
            .pixels()
            .zip(due.pixels())
            .map(|(shown, due)| (f64::from(shown.0[1]) / 257.0 - f64::from(due.0[1])).abs())
            .sum();
        let mean = apart / f64::from(size.0 * size.1);
        println!("turned by {turn}: {mean:.2} codes apart in the mean");
        assert!(mean < 1.0, "{turn}: {mean} codes apart");
    }
    let text = fs::read_to_string(bench.path("move.lua")).unwrap();
    bench.script(&text.replace("recording \"turned.mp4\"", "recording { \"turned.mp4\", orientation = \"ignore\" }"));
    let plan = bench.run(&["survey", "turned.mp4", "--ignore-orientation"]).expect(0);
    assert!(plan.out.contains("128x64"), "{}", plan.out);
}

// Fault 54.
/// Fault 54: interlaced, pixels not square.
#[test]
fn pixels_that_are_not_square_are_shown_in_their_shape() {
    let bench = Bench::new(0);
    film(
        &bench.path("wide.mp4"),
        (0..4).map(numbered),
        &["-s", "256x64", "-r", "30"],
        &["-c:v", "libx264", "-qp", "0", "-vf", "setsar=3/2"],
    );
    let survey = bench.run(&["survey", "wide.mp4"]).expect(0);
    assert!(survey.out.contains("384x64") && survey.out.contains("3:2"), "{}", survey.out);
    let shown = first(&bench, "wide.mp4", 384, 64);
    bench.script(&fs::read_to_string(bench.path("move.lua")).unwrap());
    bench.run(&["frame", "move.lua", "--frame", "3", "-o", "frame.png", "--force"]).expect(0);
    let third = image::open(bench.path("frame.png")).unwrap().to_rgb16();
    // Each of the sixteen blocks is 24 pixels wide then: the last two are bright in frame 3, and dark in frame 0.
    for block in 0..16 {
        let middle =
            |frame: &image::ImageBuffer<image::Rgb<u16>, Vec<u16>>| frame.get_pixel(block * 24 + 12, 32).0[1] > 32_768;
        assert_eq!((middle(&shown), middle(&third)), (false, block >= 14), "block {block}");
    }
    // An edge between two blocks lies where it should, to a small part of a pixel: half its step is reached at 336.
    let across = |x: u32| f64::from(third.get_pixel(x, 32).0[1]);
    let (low, high) = (across(320), across(350));
    let half = (326..346).map(|x| (across(x) - low) / (high - low)).map(|part| 1.0 - part).sum::<f64>() + 326.0;
    assert!((half - 336.0).abs() < 0.05, "the edge lies at {half}");
}

// Fault 54.
/// Fault 54: interlaced, pixels not square.
#[test]
fn of_interlaced_frames_the_field_taken_first_is_shown() {
    let bench = Bench::new(0);
    // Two moments woven into each frame: its even lines are one number, its odd lines the next.
    let woven = |frame: usize| {
        let (upper, lower) = (numbered(2 * frame), numbered(2 * frame + 1));
        let mut woven = upper.clone();
        for row in (1..HEIGHT).step_by(2) {
            woven[row * WIDTH..(row + 1) * WIDTH].copy_from_slice(&lower[row * WIDTH..(row + 1) * WIDTH]);
        }
        woven
    };
    for (name, order, lower_first) in [("upper.mkv", "setfield=tff", 0), ("lower.mkv", "setfield=bff", 1)] {
        let coded = ["-c:v", "libx264", "-qp", "0", "-vf", order, "-flags", "+ildct+ilme"];
        film(&bench.path(name), (0..20).map(woven), &["-s", "256x64", "-r", "25"], &coded);
        bench.script(&script(&format!("recording {name:?}"), "stills_per_frame(1)"));
        bench.render().expect(0).says("the field taken first");
        for frame in 0..20_usize {
            let shown = image::open(bench.path(&format!("clips/move-wide/{frame:06}.png"))).unwrap().into_luma8();
            for y in [1, 16, 31, 32, 62] {
                let number = (0..16)
                    .fold(0, |number, bit| 2 * number + usize::from(shown.get_pixel(bit * 16 + 8, y).0[0] > 128));
                assert_eq!(number, 2 * frame + lower_first, "{name}, frame {frame}, row {y}");
            }
        }
        fs::remove_dir_all(bench.path("clips")).unwrap();
    }
}

/// A header that promises more frames than there are: the frames are believed.
#[test]
fn a_header_that_lies_is_not_believed_and_that_is_said() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.avi", 68, &["-c:v", "mpeg4", "-bf", "0"]);
    let mut bytes = fs::read(bench.path("day.avi")).unwrap();
    let (main, stream) = (find(&bytes, b"avih"), find(&bytes, b"strh"));
    // The main header's total of frames, and the stream's length (Microsoft's AVI RIFF file reference).
    bytes[main + 8 + 16..main + 8 + 20].copy_from_slice(&444_u32.to_le_bytes());
    bytes[stream + 8 + 32..stream + 8 + 36].copy_from_slice(&444_u32.to_le_bytes());
    fs::write(bench.path("day.avi"), bytes).unwrap();
    bench.script(&script(r#"recording "day.avi""#, "stills_per_frame(1)"));
    bench.render().expect(0).says("promises 444 frames, but it holds 68");
    assert_eq!(bench.list("clips/move-wide").len(), 68);
}

fn find(bytes: &[u8], name: &[u8]) -> usize {
    bytes.windows(name.len()).position(|window| window == name).unwrap()
}

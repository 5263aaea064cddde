//! Levelling over what real cameras recorded (Debian's opencv-doc, installed by `scripts/test`), measured in parts of
//! the picture where nothing moves by FFmpeg's own scaling, before and after.
#![expect(clippy::print_stdout, reason = "measured figures are what these tests are run for")]

use std::path::Path;
use std::process::Command;

use crate::common::Bench;
use crate::ffmpeg;

const EXAMPLES: &str = "/usr/share/doc/opencv-doc";

/// Parts of the picture as x, y, width and height in fractions.
type Part = [f64; 4];

/// Natural logarithms of the light of each part, frame by frame, of a clip.
fn levels(clip: &Path, parts: &[Part]) -> Vec<Vec<f64>> {
    let (width, height) = (160_usize, 120_usize);
    let scaled = format!("scale={width}:{height}:flags=area");
    let raw = ["-vsync", "0", "-f", "rawvideo", "-pix_fmt", "gray", "-"];
    let codes = ffmpeg("ffmpeg", &[&["-v", "error", "-i", clip.to_str().unwrap(), "-vf", &scaled][..], &raw].concat());
    let mean = |frame: &[u8], [x, y, wide, high]: Part| {
        let side = |at: f64, length: usize| (at * length as f64) as usize;
        let (columns, rows) = (side(x, width)..side(x + wide, width), side(y, height)..side(y + high, height));
        let codes = rows.flat_map(|row| columns.clone().map(move |column| frame[row * width + column]));
        let (sum, count) =
            codes.fold((0.0, 0.0), |(sum, count), code| (sum + (f64::from(code) / 255.0).powf(2.2), count + 1.0));
        f64::ln(sum / count)
    };
    let frames: Vec<&[u8]> = codes.chunks_exact(width * height).collect();
    parts.iter().map(|part| frames.iter().map(|frame| mean(frame, *part)).collect()).collect()
}

/// Root mean square and most of what levels change by from frame to frame.
fn steps(levels: &[f64]) -> [f64; 2] {
    let steps: Vec<f64> = levels.windows(2).map(|two| (two[1] - two[0]).abs()).collect();
    let squares = steps.iter().map(|step| step * step).sum::<f64>() / steps.len() as f64;
    [squares.sqrt(), steps.into_iter().fold(0.0, f64::max)]
}

/// Renders a recording as it is and levelled; the levels of parts in both, frame by frame. Without loss: light that goes
/// through H.264 wanders by 0.1 % from frame to frame, more than these stills do.
fn before_and_after(bench: &Bench, stills: usize, parts: &[Part]) -> [Vec<Vec<f64>>; 2] {
    ["", "level = true,"].map(|level| {
        bench.script(&format!(
            r#"return shot {{ source = recording {{ "clip", to = still({stills}) }}, fps = 24, pace = stills_per_frame(1), {level}
  deliveries = {{ delivery {{ "whole", frame = {{ 160, 120 }}, codec = "ffv1" }} }} }}"#
        ));
        bench.run(&["render", "move.lua", "--out", "clips", "--force", "--no-strip"]).expect(0);
        levels(&bench.path("clips/move-whole.mkv"), parts)
    })
}

#[test]
fn an_automatic_exposure_that_steps_is_evened_out() {
    let bench = Bench::new(0);
    let unpacked =
        Command::new("gzip").arg("-dc").arg(Path::new(EXAMPLES).join("opencv4/html/box.mp4.gz")).output().unwrap();
    std::fs::write(bench.path("box.mp4"), unpacked.stdout).unwrap();
    // Its slices break the syntax, so that it counts as damaged from its first frame on: FFmpeg's decoder guesses, and
    // codes it anew.
    let (from, to) = (bench.path("box.mp4"), bench.path("clip.mp4"));
    let anew =
        ["-vf", "scale=320:240:flags=area", "-vsync", "0", "-c:v", "libx264", "-preset", "veryfast", "-crf", "8"];
    ffmpeg("ffmpeg", &[&["-v", "quiet", "-i", from.to_str().unwrap()][..], &anew, &[to.to_str().unwrap()]].concat());
    std::fs::rename(to, bench.path("clip")).unwrap();
    // The cloth on the table where no hand or box comes, at its right and in its middle.
    let parts = [[0.55, 0.8, 0.4, 0.17], [0.35, 0.85, 0.15, 0.12]];
    let [before, after] = before_and_after(&bench, 450, &parts);
    assert_eq!(before[0].len(), 450);
    // One step of 13 % is above the 12 % from which a sudden step is left as a cut, and said; the others are of 4 %.
    bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("the light changes at once before clip#363, 0.25 stops darker: left as a cut");
    for (before, after) in before.iter().zip(&after) {
        let without_cut = |levels: &[f64]| {
            let [one, other] = [steps(&levels[..362]), steps(&levels[362..])];
            let (count, more) = (361.0, levels.len() as f64 - 363.0);
            let squares = one[0] * one[0] * count + other[0] * other[0] * more;
            [(squares / (count + more)).sqrt(), one[1].max(other[1])]
        };
        let ([rms_before, most_before], [rms_after, most_after]) = (without_cut(before), without_cut(after));
        println!("{rms_before:.5} to {rms_after:.5} RMS, {most_before:.4} to {most_after:.4} at most, the cut apart");
        assert!(rms_after < 0.75 * rms_before && most_after < 0.5 * most_before);
    }
}

#[test]
fn a_fixed_exposure_is_not_made_worse() {
    let bench = Bench::new(0);
    std::fs::copy(Path::new(EXAMPLES).join("examples/data/vtest.avi"), bench.path("clip")).unwrap();
    // Grass, and pavement at its edge.
    let parts = [[0.02, 0.62, 0.3, 0.2], [0.62, 0.85, 0.3, 0.12]];
    let [before, after] = before_and_after(&bench, 200, &parts);
    for (before, after) in before.iter().zip(&after) {
        let ([rms_before, most_before], [rms_after, most_after]) = (steps(before), steps(after));
        println!("{rms_before:.5} to {rms_after:.5} RMS, {most_before:.4} to {most_after:.4} at most");
        // A tenth of the bar for what flickers, 0.2 % from frame to frame: as far below what can be seen as what was
        // there.
        assert!(rms_after <= rms_before + 0.0002, "{rms_after} after {rms_before}");
    }
}

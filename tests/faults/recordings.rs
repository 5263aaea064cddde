//! Recorded videos as sources, from outside: every frame carries its number in its pixels, and every delivered frame is read back.

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::common::{Bench, Ran};

/// Frames are this wide: sixteen blocks, one a bit of the frame's number.
pub(crate) const WIDTH: usize = 256;
pub(crate) const HEIGHT: usize = 64;

const DARK: u8 = 48;
const BRIGHT: u8 = 208;

/// A frame of planar 4:2:0 whose luma shows a number in binary, most significant bit first.
pub(crate) fn numbered(number: usize) -> Vec<u8> {
    let row: Vec<u8> = (0..WIDTH).map(|x| if number >> (15 - x / 16) & 1 == 1 { BRIGHT } else { DARK }).collect();
    let mut frame = row.repeat(HEIGHT);
    frame.resize(WIDTH * HEIGHT * 3 / 2, 128);
    frame
}

/// Has FFmpeg's command line encode raw frames of planar 4:2:0 into `path`; `input` says how they are read, `output` how written.
pub(crate) fn film(path: &Path, frames: impl Iterator<Item = Vec<u8>>, input: &[&str], output: &[&str]) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuv420p"]).args(input).args(["-i", "-"]).args(output);
    let mut running = command.arg(path).stdin(Stdio::piped()).spawn().unwrap();
    let mut pipe = running.stdin.take().unwrap();
    for frame in frames {
        pipe.write_all(&frame).unwrap();
    }
    drop(pipe);
    assert!(running.wait().unwrap().success());
}

/// Numbered frames at 30 a second as H.264 with B-frames and a key frame every 24.
pub(crate) fn film_numbered(bench: &Bench, name: &str, frames: usize, output: &[&str]) {
    let coded = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-g", "24", "-bf", "2", "-pix_fmt", "yuv420p"];
    film(&bench.path(name), (0..frames).map(numbered), &["-s", "256x64", "-r", "30"], &[&coded, output].concat());
}

/// A script of one PNG delivery that is the recording's own size.
pub(crate) fn script(source: &str, pace: &str) -> String {
    format!(
        r#"return shot {{ source = {source}, fps = 30, pace = {pace},
  deliveries = {{ delivery {{ "wide", frame = {{ {WIDTH}, {HEIGHT} }}, codec = "png" }} }} }}"#
    )
}

/// The number that a delivered frame shows.
fn number_in(path: &Path) -> usize {
    let frame = image::open(path).unwrap().into_luma8();
    (0..16).fold(0, |number, bit| 2 * number + usize::from(frame.get_pixel(bit * 16 + 8, 32).0[0] > 128))
}

/// The numbers that a rendered sequence shows.
fn numbers(bench: &Bench, folder: &str) -> Vec<usize> {
    bench.list(folder).iter().map(|name| number_in(&bench.path(folder).join(name))).collect()
}

/// The slots that the plan shows, from 0.
fn planned(bench: &Bench) -> Vec<usize> {
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = plan["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    rows.iter().map(|row| usize::try_from(row["shown"].as_u64().unwrap()).unwrap()).collect()
}

/// Renders `move.lua` and compares what is shown with what was planned; the numbers, and what the run said.
fn rendered(bench: &Bench) -> (Vec<usize>, Ran) {
    let ran = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0);
    let shown = numbers(bench, "clips/move-wide");
    assert_eq!(shown, planned(bench));
    (shown, ran)
}

#[test]
fn every_frame_of_a_recording_is_a_still_in_the_order_of_showing() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 100, &[]);
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(1)"));
    let (shown, ran) = rendered(&bench);
    assert_eq!(shown, (0..100).collect::<Vec<_>>());
    assert_eq!(ran.json()["stills_decoded"], 100);
    bench.script(&script(r#"recording { "day.mp4", from = still(31), to = still "day#40" }"#, "stills_per_frame(1)"));
    assert_eq!(rendered(&bench).0, (30..40).collect::<Vec<_>>());
}

#[test]
fn a_speed_up_of_thousands_of_percent_with_a_ramp_down_to_real_time_shows_each_frame_planned() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 6000, &[]);
    let pace = r#"pace {
        key { at = "start",     rate = percent(5000) },
        key { at = still(1001), rate = percent(5000) },
        key { at = still(2000), rate = percent(2000), ease = "ease-in-out" },
        key { at = still(4000), rate = times(1), ease = "ease-in-out" },
        key { at = still(4060), rate = times(1) },
        key { at = "end",       rate = percent(4000), ease = "ease-in" } }"#;
    bench.script(&script(r#"recording "day.mp4""#, pace));
    let (shown, ran) = rendered(&bench);
    assert!((4000..4060).all(|frame| shown.contains(&frame)), "real time shows every frame: {shown:?}");
    assert!(
        shown[..20] == (0..20).map(|frame| 50 * frame).collect::<Vec<_>>() && shown.windows(2).all(|pair| pair[0] <= pair[1]),
        "{shown:?}"
    );
    // Each frame shown is developed once, and no other.
    let mut distinct = shown.clone();
    distinct.dedup();
    assert_eq!(ran.json()["stills_decoded"], distinct.len());
    // One worker or several: the same planes.
    let one = bench.run(&["render", "move.lua", "--out", "one", "--json", "--threads", "1"]).expect(0).json();
    let five = bench.run(&["render", "move.lua", "--out", "five", "--json", "--threads", "5"]).expect(0).json();
    assert_eq!(one["outputs"][0]["planes"], five["outputs"][0]["planes"]);
}

#[test]
fn a_frame_asked_for_alone_is_the_frame_of_the_render() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 200, &[]);
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(7)"));
    let planes = bench.planes();
    for at in [0, 3, 13, 28] {
        let json =
            bench.run(&["frame", "move.lua", "--at", &at.to_string(), "-o", "one.png", "--force", "--json"]).expect(0).json();
        assert_eq!(json["planes"], planes[at]);
        assert_eq!(number_in(&bench.path("one.png")), 7 * at);
    }
}

#[test]
fn a_pace_that_turns_back_shows_a_recording_backwards() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 150, &[]);
    let pace = r#"pace { key { at = "start", rate = stills_per_frame(2) }, key { at = still(120), rate = stills_per_frame(2) },
        key { at = still(10), rate = stills_per_frame(1), reverse = true }, key { at = "end", rate = stills_per_frame(3) } }"#;
    bench.script(&script(r#"recording "day.mp4""#, pace));
    let (shown, _) = rendered(&bench);
    assert!(shown.windows(2).any(|pair| pair[1] < pair[0]) && shown.contains(&118) && *shown.last().unwrap() > 140, "{shown:?}");
}

/// A frame of waves that have gone three pixels to the right and two down for every frame before it.
fn waves(number: usize) -> Vec<u8> {
    let value = |x: f64, y: f64| (128.0 + 45.0 * (0.3 * x + 0.1 * y).sin() + 45.0 * (0.35 * y - 0.15 * x).sin()) as u8;
    let at = |x: usize, y: usize| value(x as f64 - 3.0 * number as f64, y as f64 - 2.0 * number as f64);
    let mut frame: Vec<u8> = (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| at(x, y))).collect();
    frame.resize(WIDTH * HEIGHT * 3 / 2, 128);
    frame
}

#[test]
fn between_the_frames_of_a_recording_motion_is_invented_there_and_back_and_nearer_to_the_truth_than_mixed() {
    let bench = Bench::new(0);
    let coded = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "10", "-g", "8", "-bf", "2", "-pix_fmt", "yuv420p"];
    film(&bench.path("all.mp4"), (0..41).map(waves), &["-s", "256x64", "-r", "30"], &coded);
    film(&bench.path("half.mp4"), (0..21).map(|number| waves(2 * number)), &["-s", "256x64", "-r", "15"], &coded);
    let render = |source: &str, rest: &str, threads: &str| {
        bench.script(&script(&format!("recording \"{source}\""), "PACE").replace("PACE", rest));
        bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json", "--threads", threads]).expect(0).json()
    };
    let frames = || -> Vec<Vec<u8>> {
        let path = bench.path("clips/move-wide");
        bench.list("clips/move-wide").iter().map(|name| image::open(path.join(name)).unwrap().into_luma8().into_raw()).collect()
    };
    render("all.mp4", "frames_per_still(1)", "2");
    let truth = frames();
    let far = |made: &[Vec<u8>]| {
        let squares = |one: &[u8], other: &[u8]| -> f64 {
            one.iter().zip(other).map(|(one, other)| (f64::from(*one) - f64::from(*other)).powi(2)).sum::<f64>()
                / one.len() as f64
        };
        (1..40).step_by(2).map(|frame| squares(&made[frame], &truth[frame])).sum::<f64>() / 20.0
    };
    render("half.mp4", "frames_per_still(2), between = \"mix\"", "2");
    let mixed = far(&frames());
    let once = render("half.mp4", "frames_per_still(2), between = \"motion\"", "1");
    let invented = far(&frames());
    assert!(invented < mixed / 4.0, "a mean squared error of {invented} invented, {mixed} mixed");
    assert_eq!((&once["outputs"][0]["invented"], &once["stills_decoded"]), (&serde_json::json!(20), &serde_json::json!(21)));
    let again = render("half.mp4", "frames_per_still(2), between = \"motion\"", "5");
    assert_eq!(once["outputs"][0]["planes"], again["outputs"][0]["planes"]);
    // Back over the same frames: the same pictures, each decoded once more.
    let pace = "pace { key { at = \"end\", rate = frames_per_still(2) },
        key { at = \"start\", rate = frames_per_still(2), reverse = true } }, between = \"motion\"";
    let round = render("half.mp4", pace, "3");
    let planes = |json: &serde_json::Value| json["outputs"][0]["frame_planes"].as_array().unwrap().clone();
    let (there, round) = (planes(&once), planes(&round));
    assert_eq!((there.len(), round.len()), (42, 84));
    assert_eq!(round[..42], there);
    for frame in 1..42 {
        assert_eq!(round[42 + frame], there[42 - frame], "{frame} frames after the turn");
    }
}

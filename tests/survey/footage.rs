//! Real footage of a camera that stands still (Debian's opencv-doc, installed by `scripts/test`): no false alarm, and
//! an automatic exposure for what it is. Frames are made stills for the test and never kept.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use stillpath::look;
use stillpath::measures::Measures;
use stillpath::shoot::Shoot;
use stillpath::survey;
use stillpath::units::SlotIndex;

use super::scene;

const EXAMPLES: &str = "/usr/share/doc/opencv-doc";

/// Every `every`-th of the first frames of a video as JPEG stills, looked at.
fn stills(video: &Path, every: u32, count: u32) -> (Shoot, Measures) {
    let folder = scene::frames(video, every, count);
    let shoot = scene::shoot(folder.path());
    let mut measures = look::look(&shoot, &look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    measures.spots = look::spots(&shoot, &measures, &|| true).unwrap();
    assert_eq!(measures.measured().count(), count as usize);
    (shoot, measures)
}

// ORACLES: global shift at most 0.05 px over the clip, mean luma from 117.01 to 123.59, here of JPEGs made of the
// frames.
#[test]
fn people_who_walk_past_a_fixed_camera_raise_no_alarm_but_are_seen_to_move() {
    let (shoot, measures) = stills(&Path::new(EXAMPLES).join("examples/data/vtest.avi"), 2, 120);
    let findings = look::findings(&shoot, &measures);
    assert!(findings.is_empty(), "{findings:#?}");
    for step in &measures.steps {
        assert!(step.shift.unwrap().iter().all(|axis| axis.abs() < 0.3), "{step:?}");
        assert!((0.005..0.3).contains(&step.activity), "{step:?}");
    }
    for (slot, still) in measures.measured() {
        assert!((116.0..125.5).contains(&(255.0 * still.code)), "{slot:?}: {}", 255.0 * still.code);
    }
}

// ORACLES: shift at most 0.35 px, mean luma from 121.3 to 138.3: an automatic exposure that drifts.
#[test]
fn an_automatic_exposure_is_measured_on_a_real_camera() {
    let folder = tempfile::tempdir().unwrap();
    let video = folder.path().join("box.mp4");
    let unpacked =
        Command::new("gzip").arg("-dc").arg(Path::new(EXAMPLES).join("opencv4/html/box.mp4.gz")).output().unwrap();
    std::fs::write(&video, unpacked.stdout).unwrap();
    let (_, measures) = stills(&video, 4, 110);
    let codes: Vec<f64> = measures.measured().map(|(_, still)| 255.0 * still.code).collect();
    let (least, most) = (codes.iter().copied().fold(255.0, f64::min), codes.iter().copied().fold(0.0, f64::max));
    assert!((120.0..124.0).contains(&least) && (135.0..139.5).contains(&most), "{least} to {most}");
    let flicker = look::flicker(&measures);
    assert!((0.003..0.02).contains(&flicker), "{flicker}");
}

/// A recording of the noisy scene, 10 frames a second, with a flash at one frame.
fn recorded(path: &Path, frames: usize, flash: usize) {
    let size = format!("{}x{}", scene::SIZE.width, scene::SIZE.height);
    let read = ["-v", "error", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", &size, "-r", "10", "-i", "-"];
    let written = ["-vf", "scale=out_color_matrix=bt709:out_range=tv", "-colorspace", "bt709", "-color_range", "tv"];
    let coded = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "16", "-g", "12", "-bf", "2", "-pix_fmt", "yuv420p"];
    let mut running =
        Command::new("ffmpeg").args(read).args(written).args(coded).arg(path).stdin(Stdio::piped()).spawn().unwrap();
    let mut pipe = running.stdin.take().unwrap();
    for index in 0..frames {
        let gain = if index == flash { 1.8 } else { 1.0 };
        pipe.write_all(&scene::still(index, &scene::Plant { gain, ..scene::Plant::default() })).unwrap();
    }
    drop(pipe);
    assert!(running.wait().unwrap().success());
}

#[test]
fn a_recording_is_looked_at_in_one_decode_and_measures_what_its_frames_do_as_stills() {
    let folder = tempfile::tempdir().unwrap();
    let video = folder.path().join("yard.mp4");
    recorded(&video, 40, 20);
    let request = survey::Request {
        base: folder.path().to_owned(),
        paths: vec!["yard.mp4".into()],
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    let shoot = survey::recording(&request).unwrap();
    let cache = tempfile::tempdir().unwrap();
    let look = |cache: Option<&Path>| {
        look::look(&shoot, &look::Request { cache: cache.map(Path::to_owned), threads: 2 }, &|| true).unwrap()
    };
    let measures = look(Some(cache.path()));
    let printed = |measures: &Measures| serde_json::to_string(measures).unwrap();
    assert_eq!((measures.measured().count(), &measures.damaged), (40, &Vec::new()));
    let findings = look::findings(&shoot, &measures);
    let found: Vec<_> = findings.iter().map(|finding| (finding.kind, finding.slots.clone())).collect();
    assert_eq!(found, [("flash", vec![SlotIndex(20)])], "{findings:#?}");
    for (slot, still) in measures.measured() {
        let gain = if slot.0 == 20 { 1.8 } else { 1.0 };
        let rgb = scene::still(slot.0, &scene::Plant { gain, ..scene::Plant::default() });
        let due = rgb
            .chunks_exact(3)
            .map(|rgb| 0.299 * f64::from(rgb[0]) + 0.587 * f64::from(rgb[1]) + 0.114 * f64::from(rgb[2]));
        let due = due.sum::<f64>() / f64::from(scene::SIZE.width * scene::SIZE.height) / 255.0;
        assert!((still.code - due).abs() < 0.004, "{slot:?}: {} for {due}", still.code);
    }
    assert_eq!(printed(&look(Some(cache.path()))), printed(&measures), "from the store, to the last bit");
    assert_eq!(printed(&look(None)), printed(&measures), "without one");

    let mut program = Command::new(env!("CARGO_BIN_EXE_stillpath"));
    program.current_dir(folder.path()).args(["survey", "yard.mp4", "--look"]).env("XDG_CACHE_HOME", cache.path());
    let output = program.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success() && said.contains("is much brighter than the stills around it"), "{said}");
}

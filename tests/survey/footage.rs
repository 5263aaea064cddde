//! Real footage of a camera that stands still (Debian's opencv-doc, installed by `scripts/test`): no false alarm, and an automatic
//! exposure for what it is. Frames are made stills for the test and never kept.

use std::path::Path;
use std::process::{Command, Stdio};

use stillpath::look;
use stillpath::measures::Measures;
use stillpath::shoot::Shoot;
use stillpath::survey;

const EXAMPLES: &str = "/usr/share/doc/opencv-doc";

/// Every `every`-th of the first frames of a video as JPEG stills, looked at.
fn stills(video: &Path, every: u32, count: u32) -> (Shoot, Measures) {
    let folder = tempfile::tempdir().unwrap();
    let status = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(video)
        .args(["-vf", &format!("select='not(mod(n,{every}))'"), "-vsync", "0", "-frames:v", &count.to_string(), "-q:v", "3"])
        .arg(folder.path().join("WALK%04d.JPG"))
        .stdin(Stdio::null())
        .status();
    assert!(status.unwrap().success(), "ffmpeg did not decode {}", video.display());
    let request = survey::Request { base: folder.path().to_owned(), paths: vec![".".into()], obey_orientation: true };
    let shoot = survey::survey(&request).unwrap();
    let measures = look::look(&shoot, &look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    assert_eq!(measures.measured().count(), count as usize);
    (shoot, measures)
}

// ORACLES: global shift at most 0.05 px over the clip, mean luma from 117.01 to 123.59, here of JPEGs made of the frames.
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
    let unpacked = Command::new("gzip").arg("-dc").arg(Path::new(EXAMPLES).join("opencv4/html/box.mp4.gz")).output().unwrap();
    std::fs::write(&video, unpacked.stdout).unwrap();
    let (_, measures) = stills(&video, 4, 110);
    let codes: Vec<f64> = measures.measured().map(|(_, still)| 255.0 * still.code).collect();
    let (least, most) = (codes.iter().copied().fold(255.0, f64::min), codes.iter().copied().fold(0.0, f64::max));
    assert!((120.0..124.0).contains(&least) && (135.0..139.5).contains(&most), "{least} to {most}");
    let flicker = look::flicker(&measures);
    assert!((0.003..0.02).contains(&flicker), "{flicker}");
}

//! Registering: the demo's bump, real footage of cameras that stand still, what is kept and when it is measured again.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};

use stillpath::demo;
use stillpath::ffi::jpeg;
use stillpath::look::{self, Fault, Request};
use stillpath::register::{Pose, Reason, Registered, Solved, Wishes, solve};
use stillpath::shoot::Shoot;
use stillpath::survey;
use stillpath::units::Size;

use super::scene::{self, frames, shoot};

const EXAMPLES: &str = "/usr/share/doc/opencv-doc";
const ALL: Wishes = Wishes { region: None, sags: true };

fn registered(shoot: &Shoot, cache: Option<&Path>, threads: usize) -> Registered {
    let (registered, damaged) =
        look::register(shoot, &Request { cache: cache.map(PathBuf::from), threads }, &|| true).unwrap();
    assert_eq!(damaged, []);
    registered
}

fn solved(shoot: &Shoot) -> Solved {
    solve(&registered(shoot, None, 2), &ALL)
}

/// The farthest that any still was measured from the first, in pixels.
fn farthest(solved: &Solved) -> f64 {
    solved.measured.iter().flatten().map(|stand| stand.x.hypot(stand.y)).fold(0.0, f64::max)
}

// The demo's truth: everything moves by its bump from one still on, water, boats and clouds move on their own.
/// Fault 43: bumps and sags.
#[test]
fn the_demos_bump_is_found_at_its_still_to_a_tenth_of_a_pixel() {
    let folder = tempfile::tempdir().unwrap();
    let request = demo::Request { stills: 40, size: Size::new(1200, 900), seed: 1, threads: 2 };
    demo::draw(&request, folder.path(), &|| true).unwrap();
    let truth: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.path().join("truth.json")).unwrap()).unwrap();
    let (from, offset) = (truth["bump"]["from_slot"].as_u64().unwrap(), &truth["bump"]["offset"]);
    let due = [0, 1].map(|axis| offset[axis].as_f64().unwrap());
    let solved = solved(&shoot(folder.path()));
    let [bump] = solved.bumps.as_slice() else { panic!("{:?}", solved.bumps) };
    assert_eq!(bump.at as u64, from);
    for (at, stand) in solved.stands.iter().enumerate() {
        let due = if (at as u64) < from { [0.0; 2] } else { due };
        let apart = (stand.x - due[0]).hypot(stand.y - due[1]);
        assert!(apart < 0.1 && stand.turn.abs() < 0.01, "still {at}: {stand:?} for {due:?}");
    }
    assert!(solved.unplaced.is_empty() && solved.views.is_empty());
}

// ORACLES, section 12: a fixed camera, shift at most 0.05 px over the clip by phase correlation of whole frames, people
// walk through it.
#[test]
fn people_who_walk_past_a_fixed_camera_move_no_still() {
    let folder = frames(&Path::new(EXAMPLES).join("examples/data/vtest.avi"), 4, 199);
    let solved = solved(&shoot(folder.path()));
    assert!(
        solved.is_still() && solved.bumps.is_empty() && solved.sags.is_empty(),
        "{:?} {:?}",
        solved.bumps,
        solved.sags
    );
    assert!(solved.unplaced.is_empty() && solved.views.is_empty(), "{:?}", solved.unplaced);
    assert!(farthest(&solved) < 0.1, "{}", farthest(&solved));
}

// ORACLES, section 12: a fixed camera with a hand and a box before it, shift at most 0.35 px, an exposure that drifts.
#[test]
fn a_hand_before_the_camera_is_no_bump() {
    let video = tempfile::Builder::new().suffix(".mp4").tempfile().unwrap();
    let unpacked =
        Command::new("gzip").arg("-dc").arg(Path::new(EXAMPLES).join("opencv4/html/box.mp4.gz")).output().unwrap();
    fs::write(video.path(), unpacked.stdout).unwrap();
    let folder = frames(video.path(), 4, 110);
    let solved = solved(&shoot(folder.path()));
    assert!(farthest(&solved) < 0.4, "{}", farthest(&solved));
    assert_eq!(solved.bumps, []);
    assert!(solved.unplaced.is_empty() && solved.views.is_empty(), "{:?}", solved.unplaced);
}

/// Stills of the noisy scene, with a bump.
fn card(count: usize, bumped_from: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for index in 0..count {
        let shift = if index < bumped_from { [0.0; 2] } else { [1.6, -0.7] };
        let rgb = scene::still(index, &scene::Plant { shift, ..scene::Plant::default() });
        let bytes = jpeg::encode_rgb(&rgb, scene::SIZE, 92, (2, 2), &[]);
        fs::write(folder.path().join(format!("YARD{:04}.JPG", index + 1)), bytes).unwrap();
    }
    folder
}

fn entries(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let files = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(Result::unwrap);
    let files = files.filter(|entry| entry.file_type().is_file());
    files.map(|entry| (entry.path().to_owned(), fs::read(entry.path()).unwrap())).collect()
}

#[test]
fn stretches_are_kept_by_content_and_only_those_that_changed_are_measured_again() {
    let (folder, cache) = (card(70, 40), tempfile::tempdir().unwrap());
    let first = registered(&shoot(folder.path()), Some(cache.path()), 2);
    let solved = solve(&first, &ALL);
    assert_eq!(solved.bumps.iter().map(|bump| bump.at).collect::<Vec<usize>>(), [40]);
    assert!(solved.stands[40..].iter().all(|stand| (stand.x - 1.6).hypot(stand.y + 0.7) < 0.1), "{:?}", solved.bumps);
    let kept = entries(cache.path());
    assert_eq!(kept.len(), 3, "stretches of 32, 32 and 6 stills");
    assert_eq!(registered(&shoot(folder.path()), Some(cache.path()), 1), first, "from the store, to the last bit");
    assert_eq!(registered(&shoot(folder.path()), None, 1), first, "without one, on one thread");

    let elsewhere = tempfile::tempdir().unwrap();
    for (path, bytes) in entries(folder.path()) {
        fs::write(elsewhere.path().join(path.file_name().unwrap()), bytes).unwrap();
    }
    assert_eq!(registered(&shoot(elsewhere.path()), Some(cache.path()), 2), first);
    assert_eq!(entries(cache.path()), kept, "a copy of a still is the same still, wherever it lies");

    let black = jpeg::encode_rgb(&[2; 3 * 320 * 240], scene::SIZE, 92, (2, 2), &[]);
    fs::write(elsewhere.path().join("YARD0070.JPG"), black).unwrap();
    let changed = registered(&shoot(elsewhere.path()), Some(cache.path()), 2);
    assert_eq!(entries(cache.path()).len(), 4, "one stretch is new");
    assert_eq!(solve(&changed, &ALL).unplaced, [(69, Reason::Blank)]);
}

#[test]
fn a_recording_is_registered_in_one_decode_and_stands_as_its_frames_do_as_stills() {
    let (folder, there) = (card(40, 21), tempfile::tempdir().unwrap());
    let video = there.path().join("yard.mp4");
    let coded = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "14", "-g", "12", "-bf", "2", "-pix_fmt", "yuv420p"];
    let mut made = Command::new("ffmpeg");
    made.args(["-v", "error", "-framerate", "10", "-i"]).arg(folder.path().join("YARD%04d.JPG"));
    assert!(made.args(coded).arg(&video).stdin(Stdio::null()).status().unwrap().success());
    let request = survey::Request {
        base: there.path().to_owned(),
        paths: vec!["yard.mp4".into()],
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    let shoot = survey::recording(&request).unwrap();
    let cache = tempfile::tempdir().unwrap();
    let first = registered(&shoot, Some(cache.path()), 2);
    let solved = solve(&first, &ALL);
    assert_eq!(solved.bumps.iter().map(|bump| bump.at).collect::<Vec<usize>>(), [21]);
    assert!(solved.stands[..21].iter().all(|stand| *stand == Pose::STILL));
    assert!(solved.stands[21..].iter().all(|stand| (stand.x - 1.6).hypot(stand.y + 0.7) < 0.1), "{:?}", solved.bumps);
    assert_eq!(registered(&shoot, Some(cache.path()), 2), first, "from the store, to the last bit");
}

#[test]
fn registering_stops_when_told_to_and_counts_every_still() {
    let folder = card(36, 99);
    let shoot = shoot(folder.path());
    let seen = AtomicUsize::new(0);
    let count = |most: usize| {
        seen.store(0, Ordering::Relaxed);
        look::register(&shoot, &Request { cache: None, threads: 2 }, &|| {
            seen.fetch_add(1, Ordering::Relaxed) + 1 < most
        })
    };
    assert!(count(usize::MAX).is_ok());
    assert_eq!(seen.load(Ordering::Relaxed), 36);
    assert!(matches!(count(5), Err(Fault::Stopped)));
}

//! How long large work takes, and how that grows: plans of 30,000 frames along every path, shoots of 10,000 and 100,000
//! stills resolved and listed. A step that grew with the square of the stills would show as a hundredfold where tenfold
//! is due.
#![expect(clippy::print_stdout, reason = "the figures are the point")]

#[path = "../plan/build.rs"]
#[allow(dead_code, reason = "tests use more of it")]
mod build;
#[path = "../plan/large.rs"]
mod large;

use std::fs;
use std::time::{Duration, Instant};

use stillpath::survey::{Request, survey};
use stillpath::units::Size;

/// The least time of three.
fn least(mut work: impl FnMut()) -> Duration {
    let times = (0..3).map(|_| {
        let began = Instant::now();
        work();
        began.elapsed()
    });
    times.min().unwrap_or_default()
}

/// What the same work takes on so many stills and on ten times as many.
fn grown(what: &str, of: impl Fn(usize) -> Duration) {
    let (few, many) = (of(10_000), of(100_000));
    let times = many.as_secs_f64() / few.as_secs_f64();
    println!("{what}: {few:.2?} for 10,000 stills, {many:.2?} for 100,000, {times:.1} times");
}

fn main() {
    let (mut shot, shoot) = large::large();
    for (path, _) in large::large_paths() {
        large::take_path(&mut shot, path);
        let took = least(|| drop(build::plan(&shot, &shoot)));
        println!("30,000 frames along {:?}: {took:.2?}", shot.framing.path);
    }
    grown("resolved", |stills| {
        let (shot, shoot) = large::bare(stills);
        least(|| drop(build::plan(&shot, &shoot)))
    });
    grown("listed", |stills| {
        let folder = tempfile::tempdir().expect("a folder");
        let file = stillpath::ffi::jpeg::encode_rgb(&[90; 3 * 32 * 24], Size::new(32, 24), 90, (2, 2), &[]);
        let original = folder.path().join(".original");
        fs::write(&original, file).expect("a still");
        fs::create_dir(folder.path().join("stills")).expect("a folder");
        // A file may have 65,000 names on some disks.
        for number in 1..=stills {
            let from = folder.path().join(format!(".original{}", number / 50_000));
            if !from.exists() {
                fs::copy(&original, &from).expect("a still");
            }
            fs::hard_link(from, folder.path().join(format!("stills/tide_{number}.jpg"))).expect("a link");
        }
        let request = Request {
            base: folder.path().to_owned(),
            paths: vec!["stills".into()],
            obey_orientation: true,
            pairs: stillpath::shot::Pairs::Stop,
            camera: None,
        };
        least(|| drop(survey(&request)))
    });
}

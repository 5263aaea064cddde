//! Recordings, encoders, signals, locales.

use std::fs;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use stillpath::ffi::jpeg;

use crate::common::{Bench, Ran, STILL, one, picture, put};
use crate::ffmpeg;

/// Fault 57: a recording cut short, or given as stills.
#[test]
fn a_recording_given_as_stills_stops_with_a_message_that_says_so() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    bench.render().expect(0);
    let clip = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    fs::create_dir(bench.path("recorded")).unwrap();
    for (name, bytes) in [("day.mp4", &clip[..]), ("cut.mp4", &clip[..clip.len() / 2]), ("day.MOV", &clip[..])] {
        fs::write(bench.path("recorded").join(name), bytes).unwrap();
        for source in [format!("\"recorded/{name}\""), "\"recorded\"".to_owned()] {
            bench.script(&one(&source));
            let ran = bench.run(&["render", "move.lua", "--out", "other"]).expect(1);
            ran.says("(a video)").says("source = recording").says("move.lua:1");
            assert!(bench.list("other").is_empty());
        }
    }
    // Under a still's name it is a damaged still, and what it is is said.
    put(&bench.still(2), &clip);
    bench.script(&one("\"stills\""));
    bench.run(&["render", "move.lua", "--out", "other"]).expect(1).says("LAPS0002").says("a video");
}

/// Fault 71: the last frames.
#[test]
fn clips_of_every_length_hold_all_their_frames_to_the_last() {
    // Each still a grey of its own, so that every frame tells which it is.
    let grey = |number: usize| u8::try_from(20 + 4 * number).unwrap();
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in 1..=49 {
        let rgb = vec![grey(number); picture(STILL, 0).len()];
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 95, (2, 2), &[])).unwrap();
    }
    // Shorter and longer than what the encoder holds back, and one more than a group of pictures.
    for count in [1, 2, 3, 17, 49] {
        bench.script(&one(&format!("\"stills\", to = still({count})")));
        let json = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json();
        assert_eq!(json["outputs"][0]["frames"], count);
        let clip = bench.path("clips/move-wide.mp4");
        let clip = clip.to_str().unwrap();
        let shown = ["-v", "error", "-count_frames", "-show_entries", "stream=nb_read_frames", "-of", "csv=p=0", clip];
        assert_eq!(String::from_utf8(ffmpeg("ffprobe", &shown)).unwrap().trim(), count.to_string());
        let planes = ffmpeg("ffmpeg", &["-v", "error", "-i", clip, "-pix_fmt", "yuv420p", "-f", "rawvideo", "-"]);
        for (index, planes) in planes.chunks_exact(128 * 72 * 3 / 2).enumerate() {
            let luma = planes[..128 * 72].iter().map(|code| f64::from(*code)).sum::<f64>() / (128.0 * 72.0);
            let meant = 16.0 + 219.0 * f64::from(grey(index + 1)) / 255.0;
            // Neighbours are 3.4 codes apart.
            assert!((luma - meant).abs() < 1.0, "{count} frames: frame {index} is {luma:.1} where {meant:.1} is due");
        }
    }
}

/// Fault 72: interrupt, kill.
#[test]
fn a_termination_stops_as_cleanly_as_an_interrupt_and_a_kill_leaves_no_final_name() {
    for (signal, code) in [("-TERM", Some(130)), ("-KILL", None)] {
        let bench = Bench::new(4);
        bench.script(
            &one("\"stills\"")
                .replace("stills_per_frame(1)", "over \"600s\"")
                .replace("{ 128, 72 }", "{ 1280, 720 }, quality = { crf = 18, preset = \"slow\" }"),
        );
        let mut child = bench.command(&["render", "move.lua", "--out", "clips"]).stderr(Stdio::null()).spawn().unwrap();
        let began = Instant::now();
        let unfinished = bench.path("clips/.move-wide.mp4.part/000000.unfinished");
        // Once some of it is on the disk, the encoder is in the middle of its work.
        while fs::metadata(&unfinished).map_or(0, |found| found.len()) == 0 && began.elapsed() < Duration::from_secs(20)
        {
            std::thread::sleep(Duration::from_millis(20));
        }
        let killed = Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap();
        assert!(killed.success());
        assert_eq!(child.wait().unwrap().code(), code, "{signal}");
        // Of a stretch that was whole by then the next run makes use; of what was not, a clean stop leaves nothing.
        let left = bench.list("clips");
        assert!(left.iter().all(|name| name == ".move-wide.mp4.part"), "{signal}: {left:?}");
        if code.is_some() {
            assert!(!unfinished.exists(), "{signal}");
        } else {
            assert_eq!(left.len(), 1, "{signal}");
        }
        // The next run goes on as if nothing had been; nothing is asked of the user.
        bench.script(&one("\"stills\""));
        bench.render().expect(0);
        assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide-strip.png", "move-wide.mp4"], "{signal}");
    }
}

/// Fault 79: a decimal comma.
#[test]
fn a_decimal_comma_in_the_locale_changes_nothing() {
    let bench = Bench::new(3);
    // A comma locale made on the spot (`locales` holds what it is made of), and a program that does heed it.
    let locales = bench.path("locales");
    fs::create_dir(&locales).unwrap();
    let made =
        Command::new("localedef").args(["-i", "de_DE", "-f", "UTF-8", "./de_DE.UTF-8"]).current_dir(&locales).status();
    let installs = "localedef and the package locales are needed for this test: sh scripts/test installs them";
    assert!(made.expect(installs).success(), "{installs}");
    let german = |command: &mut Command| {
        command.env("LOCPATH", &locales).env("LC_ALL", "de_DE.UTF-8");
    };
    let mut heeding = Command::new("/usr/bin/printf");
    german(heeding.args(["%.1f", "1,5"]));
    assert_eq!(
        heeding.output().unwrap().stdout,
        b"1,5",
        "the locale is not in force, so this test would prove nothing"
    );

    let text = one("\"stills\"").replace("{ 128, 72 }", "{ 128, 72 }, quality = { crf = 17.5 }").replace(
        "pace = stills_per_frame(1),",
        "pace = stills_per_frame(0.75), framing = framing { key { at = 0, on = point(tonumber(\"0.45\"), .5), zoom = zoom } },",
    );
    bench.script(&format!("local zoom = dial(\"zoom\", 1.5, {{ min = 1, max = 8 }})\n{text}"));
    let run = |comma: bool, arguments: &[&str]| {
        let mut command = bench.command(arguments);
        command.env("LC_ALL", "C");
        if comma {
            german(&mut command);
        }
        Ran::of(command.output().unwrap()).expect(0).out
    };
    for arguments in
        [&["plan", "move.lua"][..], &["plan", "move.lua", "--json"], &["plan", "move.lua", "--set", "zoom=2.25"]]
    {
        assert_eq!(run(false, arguments), run(true, arguments));
    }
    run(false, &["render", "move.lua", "--out", "point"]);
    run(true, &["render", "move.lua", "--out", "comma"]);
    let clip = |folder: &str| fs::read(bench.path(folder).join("move-wide.mp4")).unwrap();
    assert_eq!(clip("point"), clip("comma"));
}

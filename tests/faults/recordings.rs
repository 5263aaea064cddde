//! Recorded videos as sources, from outside: every frame carries its number in its pixels, and every delivered frame is
//! read back.

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

/// Has FFmpeg's command line encode raw frames of planar 4:2:0 into `path`; `input` says how they are read, `output`
/// how written.
pub(crate) fn film(path: &Path, frames: impl Iterator<Item = Vec<u8>>, input: &[&str], output: &[&str]) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    let mut command = Command::new("ffmpeg");
    command
        .args(["-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuv420p"])
        .args(input)
        .args(["-i", "-"])
        .args(output);
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

/// Fault 56: inexact seeking.
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
        shown[..20] == (0..20).map(|frame| 50 * frame).collect::<Vec<_>>()
            && shown.windows(2).all(|pair| pair[0] <= pair[1]),
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

/// Fault 56: inexact seeking.
#[test]
fn a_frame_asked_for_alone_is_the_frame_of_the_render() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 200, &[]);
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(7)"));
    let planes = bench.planes();
    for at in [0, 3, 13, 28] {
        let json = bench
            .run(&["frame", "move.lua", "--frame", &at.to_string(), "-o", "one.png", "--force", "--json"])
            .expect(0)
            .json();
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
    assert!(
        shown.windows(2).any(|pair| pair[1] < pair[0]) && shown.contains(&118) && *shown.last().unwrap() > 140,
        "{shown:?}"
    );
}

/// When ffprobe says that each frame is shown, in seconds after the first.
fn shown_at(path: &Path) -> Vec<f64> {
    let path = path.to_str().unwrap();
    let out = crate::ffmpeg(
        "ffprobe",
        &["-v", "error", "-select_streams", "v", "-show_entries", "frame=pts_time", "-of", "csv=p=0", path],
    );
    let text = String::from_utf8(out).unwrap();
    let times: Vec<f64> = text.lines().filter_map(|line| line.trim_matches(',').parse().ok()).collect();
    times.iter().map(|time| time - times[0]).collect()
}

/// Frames that FFmpeg's command line shows, by their numbers.
fn shown_by_ffmpeg(path: &Path) -> Vec<usize> {
    let raw = [
        "-v",
        "error",
        "-i",
        path.to_str().unwrap(),
        "-vsync",
        "passthrough",
        "-f",
        "rawvideo",
        "-pix_fmt",
        "gray",
        "-",
    ];
    let bit = |frame: &[u8], bit: usize| usize::from(frame[32 * WIDTH + bit * 16 + 8] > 128);
    let frames = crate::ffmpeg("ffmpeg", &raw);
    frames.chunks(WIDTH * HEIGHT).map(|frame| (0..16).fold(0, |number, place| 2 * number + bit(frame, place))).collect()
}

// Fault 51.
/// Fault 51: variable frame rate.
#[test]
fn frames_at_uneven_times_are_shown_by_their_times_and_never_by_a_count() {
    let bench = Bench::new(0);
    // About 25 a second, on a raster of 1/30 s, then every 100 ms, then a pause of 2 s; ticks of a millisecond.
    let times = "setpts='(N*40+gte(N,50)*(N-50)*60+gte(N,90)*2000)/1000/TB'";
    film_numbered(&bench, "day.mp4", 120, &["-vf", times, "-vsync", "passthrough", "-video_track_timescale", "1000"]);
    let shown = shown_at(&bench.path("day.mp4"));
    assert!((shown[60] - 3.0).abs() < 0.002 && (shown[95] - 8.5).abs() < 0.002, "{shown:?}");
    for (factor, keyed) in
        [(1.0, "times(1)"), (2.0, "times(2)"), (1.0, r#"pace { key { at = "start", rate = times(1) } }"#)]
    {
        bench.script(&script(r#"recording "day.mp4""#, keyed));
        let (numbers, _) = rendered(&bench);
        for (frame, number) in numbers.iter().enumerate() {
            let moment = frame as f64 / 30.0 * factor;
            let due = shown.iter().rposition(|shown| *shown <= moment + 1e-6).unwrap();
            assert_eq!(*number, due, "frame {frame} of {keyed}, at {moment} s");
        }
        // The last frame lasts as long as most do.
        let length = numbers.len() as f64 / 30.0;
        assert!((length - (shown[119] + 0.04) / factor).abs() < 0.1, "{length} s of {keyed}");
    }
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(1)"));
    assert_eq!(rendered(&bench).0, (0..120).collect::<Vec<_>>());
    bench.run(&["survey", "day.mp4"]).expect(0);
    let said = bench.run(&["survey", "day.mp4"]).out;
    assert!(
        said.contains("variable rate")
            && said.contains("33 to 2100 ms apart")
            && said.contains("the step at 5.900 s is a gap, 2.1 s long"),
        "{said}"
    );
}

// Fault 55.
/// Fault 55: edit lists, late first times.
#[test]
fn the_first_frame_shown_is_the_first_still_whatever_edit_lists_and_clocks_say() {
    let bench = Bench::new(0);
    film_numbered(&bench, "whole.mp4", 90, &[]);
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    let whole = path("whole.mp4");
    // An edit list that begins between two key frames; times that begin late; a transport stream, which begins at 1.4
    // s.
    crate::ffmpeg("ffmpeg", &["-v", "error", "-ss", "1.3", "-i", &whole, "-c", "copy", &path("edited.mp4")]);
    crate::ffmpeg("ffmpeg", &["-v", "error", "-itsoffset", "5", "-i", &whole, "-c", "copy", &path("late.mkv")]);
    crate::ffmpeg("ffmpeg", &["-v", "error", "-i", &whole, "-c", "copy", &path("stream.ts")]);
    for (name, first) in [("edited.mp4", 39), ("late.mkv", 0), ("stream.ts", 0)] {
        let due = shown_by_ffmpeg(&bench.path(name));
        assert_eq!(due[0], first, "{name}");
        bench.script(&script(&format!("recording {name:?}"), "stills_per_frame(1)"));
        let json = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json();
        assert_eq!(numbers(&bench, "clips/move-wide"), due, "{name}");
        assert_eq!(json["stills_decoded"], due.len());
        // Some frames alone, by seeking.
        for at in [0, 7, due.len() - 1] {
            bench.run(&["frame", "move.lua", "--frame", &at.to_string(), "-o", "one.png", "--force"]).expect(0);
            assert_eq!(number_in(&bench.path("one.png")), due[at], "{name}, frame {at}");
        }
        // And backwards.
        bench.script(&script(
            &format!("recording {name:?}"),
            "pace { key { at = \"start\", rate = stills_per_frame(1), reverse = true } }",
        ));
        bench.run(&["render", "move.lua", "--out", "back", "--force"]).expect(0);
        assert_eq!(numbers(&bench, "back/move-wide"), due.iter().rev().copied().collect::<Vec<_>>(), "{name}");
    }
}

#[test]
fn a_recordings_clock_is_the_containers_plus_each_frames_own_time() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 150, &["-metadata", "creation_time=2031-05-04T12:00:00Z"]);
    let source = r#"recording { "day.mp4", from = clock "12:00:02", to = clock "2031-05-04 12:00:03" }"#;
    bench.script(&script(source, "stills_per_frame(1)"));
    assert_eq!(rendered(&bench).0, (60..91).collect::<Vec<_>>());
    let survey = bench.run(&["survey", "day.mp4"]).expect(0);
    assert!(survey.out.contains("2031-05-04T12:00:00") && survey.out.contains("30 frames a second"), "{}", survey.out);
    film_numbered(&bench, "night.mp4", 30, &[]);
    bench.script(&script(r#"recording { "night.mp4", from = clock "12:00" }"#, "times(1)"));
    bench.run(&["check", "move.lua"]).expect(1).says("clock needs capture times");
    bench.script(&script(r#"recording { "night.mp4" }"#, "times(1)"));
    assert_eq!(rendered(&bench).0, (0..30).collect::<Vec<_>>());
}

// Fault 57.
/// Debian's `opencv-doc` holds a recording whose header promises 444 frames where 68 are there.
#[test]
fn a_header_that_lies_about_its_frames_is_not_believed_and_that_is_said() {
    const LYING: &str = "/usr/share/doc/opencv-doc/examples/data/tree.avi";
    assert!(
        std::path::Path::new(LYING).exists(),
        "{LYING} is missing: sh scripts/test installs it (Debian's opencv-doc)"
    );
    let probe =
        ["-v", "error", "-count_frames", "-show_entries", "stream=nb_frames,nb_read_frames", "-of", "csv=p=0", LYING];
    assert_eq!(String::from_utf8(crate::ffmpeg("ffprobe", &probe)).unwrap().trim(), "444,68");
    let bench = Bench::new(0);
    let said = bench.run(&["survey", LYING]).expect(0).out;
    assert!(said.contains("a recording: 68 frames of 320x240"), "{said}");
    assert!(said.contains("its header promises 444 frames, but it holds 68: those are used"), "{said}");
    assert!(!said.contains("give the interval in the script"), "its frames have times of their own: {said}");
    bench.script(&format!(
        r#"return shot {{ source = recording "{LYING}", fps = 24, pace = frames_per_still(1),
  deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }} }} }}"#
    ));
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["frame_planes"].as_array().unwrap().len(), 68);
}

/// Fault 57: a recording cut short, or given as stills.
#[test]
fn a_recording_cut_short_stops_with_a_hint_and_its_whole_part_can_be_used() {
    let bench = Bench::new(0);
    film_numbered(&bench, "late.mp4", 200, &[]);
    film_numbered(&bench, "early.mp4", 200, &["-movflags", "+faststart"]);
    for name in ["late.mp4", "early.mp4"] {
        let bytes = fs::read(bench.path(name)).unwrap();
        fs::write(bench.path(name), &bytes[..bytes.len() * 6 / 10]).unwrap();
    }
    bench.script(&script(r#"recording "late.mp4""#, "stills_per_frame(1)"));
    bench.render().expect(1).says("its index is missing").says("repair").says("move.lua:1");
    bench.script(&script(r#"recording "early.mp4""#, "stills_per_frame(1)"));
    let ran = bench.render().expect(1).says("are missing").says("the file is cut short").says("to = still(");
    let left: usize = ran.err.split("to = still(").nth(1).unwrap().split(')').next().unwrap().parse().unwrap();
    assert!((60..180).contains(&left), "{left}");
    bench.script(&script(&format!(r#"recording {{ "early.mp4", to = still({left}) }}"#), "stills_per_frame(1)"));
    assert_eq!(rendered(&bench).0, (0..left).collect::<Vec<_>>());
    bench.script(&script(r#"recording { "early.mp4", missing = "skip" }"#, "stills_per_frame(1)"));
    assert_eq!(rendered(&bench).0.len(), left);
}

/// Fault 57: a recording cut short, or given as stills.
/// Without its index at the end a demuxer calls every frame of an AVI a key frame: only the frames' own bits tell.
#[test]
fn an_avi_without_its_index_shows_the_frames_it_holds_however_many_are_passed_over() {
    let bench = Bench::new(0);
    for coded in [
        &["-c:v", "mpeg4", "-bf", "0"][..],
        &["-c:v", "msmpeg4", "-bf", "0"],
        &["-c:v", "ffv1", "-level", "3", "-bf", "0"],
    ] {
        film_numbered(&bench, "day.avi", 100, &[coded, &["-g", "40"]].concat());
        let bytes = fs::read(bench.path("day.avi")).unwrap();
        let index = bytes.windows(4).rposition(|name| name == b"idx1").unwrap();
        fs::write(bench.path("day.avi"), &bytes[..index * 85 / 100]).unwrap();
        let survey = bench.run(&["survey", "day.avi"]).expect(0).out;
        assert!(survey.contains("its header promises 100 frames"), "{survey}");
        let keys: usize = survey.split("begins at ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        assert!((2..=3).contains(&keys), "{coded:?}: {survey}");
        bench.script(&script(r#"recording "day.avi""#, "stills_per_frame(7)"));
        let shown = rendered(&bench).0;
        assert_eq!(shown, (0..shown.len()).map(|frame| 7 * frame).collect::<Vec<_>>(), "{coded:?}");
        assert!(shown.len() >= 8, "{coded:?}: {shown:?}");
    }
}

/// Fault 57: a recording cut short, or given as stills.
#[test]
fn a_matroska_file_that_ends_before_its_header_says_is_named() {
    let bench = Bench::new(0);
    for (name, coded) in [("day.mkv", &[][..]), ("day.webm", &["-c:v", "libvpx", "-crf", "10"])] {
        film_numbered(&bench, name, 200, coded);
        let whole = bench.run(&["survey", name]).expect(0).out;
        assert!(!whole.contains("cut short"), "{whole}");
        let bytes = fs::read(bench.path(name)).unwrap();
        fs::write(bench.path(name), &bytes[..bytes.len() * 6 / 10]).unwrap();
        let said = bench.run(&["survey", name]).expect(0).out;
        assert!(said.contains("its header says that it lasts 6.67 s, but its frames end at"), "{said}");
        bench.script(&script(&format!("recording {name:?}"), "stills_per_frame(1)"));
        bench.run(&["check", "move.lua"]).expect(0).says("the file is cut short; copy it again");
    }
}

/// Debian's `opencv-doc` holds a recording whose first packet has a slice that cannot be and is not needed, and whose
/// container gives the times of decoding for those of showing. FFmpeg's command line is the witness of its 455 frames.
#[test]
fn a_slice_that_nobody_needs_damages_no_frame_and_frames_come_in_the_order_they_are_shown_in() {
    let bench = Bench::new(0);
    let packed = "/usr/share/doc/opencv-doc/opencv4/html/box.mp4.gz";
    let unpacked = Command::new("gzip").args(["-dc", packed]).output().unwrap();
    assert!(unpacked.status.success(), "{packed} is missing: sh scripts/test installs it (Debian's opencv-doc)");
    fs::write(bench.path("box.mp4"), unpacked.stdout).unwrap();
    let raw =
        ["-v", "quiet", "-i", bench.path("box.mp4").to_str().unwrap(), "-vsync", "passthrough"].map(str::to_owned);
    let gray = ["-f", "rawvideo", "-pix_fmt", "gray", "-vf", "scale=80:60:flags=area:in_range=tv:out_range=pc", "-"];
    let raw: Vec<&str> = raw.iter().map(String::as_str).chain(gray).collect();
    let due = crate::ffmpeg("ffmpeg", &raw);
    assert_eq!(due.len(), 455 * 80 * 60);
    for (source, pace, frames) in [
        (r#"recording { "box.mp4", to = still(90) }"#, "stills_per_frame(1)", (0..90).collect::<Vec<_>>()),
        (r#"recording "box.mp4""#, "stills_per_frame(23)", (0..455).step_by(23).collect()),
    ] {
        bench.script(&script(source, pace).replace("{ 256, 64 }", "{ 80, 60 }"));
        bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
        for (name, frame) in bench.list("clips/move-wide").iter().zip(&frames) {
            let shown = image::open(bench.path("clips/move-wide").join(name)).unwrap().into_luma8();
            let apart = |other: usize| {
                let due = &due[other * 80 * 60..][..80 * 60];
                shown.iter().zip(due).map(|(one, other)| f64::from(one.abs_diff(*other))).sum::<f64>() / 4800.0
            };
            // The two ways of scaling and weighing are less than that apart, and no other frame near it is nearer.
            assert!(apart(*frame) < 3.0, "frame {frame} is {} codes from FFmpeg's", apart(*frame));
            for other in (frame.saturating_sub(4)..frame + 5).filter(|other| *other < 455) {
                assert!(apart(*frame) < apart(other) + 0.1, "frame {frame} is nearer to frame {other} of FFmpeg's");
            }
        }
        assert_eq!(bench.list("clips/move-wide").len(), frames.len());
    }
}

/// What is a recording to a script is one to every command.
#[test]
fn streams_as_cameras_and_recorders_write_them_are_surveyed() {
    let bench = Bench::new(0);
    let coded = ["-c:v", "mpeg2video", "-g", "12"];
    for (name, more) in
        [("day.ts", &[][..]), ("day.m2ts", &["-mpegts_m2ts_mode", "1"]), ("day.mpg", &coded), ("day.mxf", &coded)]
    {
        film_numbered(&bench, name, 60, more);
        let said = bench.run(&["survey", name]).expect(0).out;
        assert!(said.contains("a recording: 60 frames of 256x64"), "{name}: {said}");
    }
}

#[test]
fn an_index_that_promises_frames_without_end_is_refused_before_there_is_a_slot_for_each() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 30, &[]);
    let mut bytes = fs::read(bench.path("day.mp4")).unwrap();
    // The table of times (ISO/IEC 14496-12, 8.6.1.2): version and flags, how many entries, the frames of the first one.
    let at = bytes.windows(4).position(|name| name == b"stts").unwrap() + 12;
    bytes[at..at + 4].copy_from_slice(&0x7FFF_FFFF_u32.to_be_bytes());
    fs::write(bench.path("day.mp4"), bytes).unwrap();
    bench.script(&script(r#"recording { "day.mp4", missing = "hold" }"#, "stills_per_frame(1)"));
    bench.run(&["check", "move.lua"]).expect(1).says("its index promises 2147483647 frames; at most 10000000 are read");
}

// Fault 56, and 14 for recordings.
#[test]
fn a_frame_whose_data_is_damaged_is_never_shown_nor_those_made_of_it() {
    let bench = Bench::new(0);
    // The lower quarter is busy, so that a frame has data enough for its loss to show.
    let busy = |number: usize| {
        let (mut frame, mut seed) = (numbered(number), number as u32);
        for sample in &mut frame[48 * WIDTH..HEIGHT * WIDTH] {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample = (seed >> 24) as u8;
        }
        frame
    };
    let coded =
        ["-c:v", "libx264", "-preset", "veryfast", "-g", "24", "-bf", "2", "-sc_threshold", "0", "-pix_fmt", "yuv420p"];
    let path = bench.path("day.mp4");
    film(&path, (0..120).map(busy), &["-s", "256x64", "-r", "30"], &coded);
    let probe = ["-v", "error", "-select_streams", "v", "-show_entries", "packet=size,pos", "-of", "csv=p=0"];
    let text = String::from_utf8(crate::ffmpeg("ffprobe", &[&probe[..], &[path.to_str().unwrap()]].concat())).unwrap();
    let packets: Vec<(usize, usize)> = text
        .lines()
        .map(|line| line.trim_matches(',').split_once(',').unwrap())
        .map(|(size, at)| (at.parse().unwrap(), size.parse().unwrap()))
        .collect();
    // In the group of 48 to 71, between frames 51 and 54: with it goes all that is decoded after it. Of lost data only
    // what breaks the syntax can be told.
    let (at, size) = packets[52];
    let mut bytes = fs::read(&path).unwrap();
    bytes[at + size / 3..at + size].fill(0);
    fs::write(&path, bytes).unwrap();
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(1)"));
    bench.render().expect(2).says("day.mp4").says("damaged").says("damaged = \"hold\"");
    bench.script(&script(r#"recording { "day.mp4", damaged = "skip" }"#, "stills_per_frame(1)"));
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    assert_eq!(numbers(&bench, "clips/move-wide"), (0..52).chain(72..120).collect::<Vec<_>>());
    bench.script(&script(r#"recording { "day.mp4", damaged = "hold" }"#, "stills_per_frame(1)"));
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    let held = numbers(&bench, "clips/move-wide");
    assert_eq!(
        (held.len(), &held[..53], &held[72..]),
        (120, &[(0..52).collect::<Vec<_>>(), vec![51]].concat()[..], &(72..120).collect::<Vec<_>>()[..])
    );
}

/// Fault 57: a recording cut short, or given as stills.
#[test]
fn stills_given_as_a_recording_and_other_files_are_told_apart_from_one() {
    let bench = Bench::new(2);
    film_numbered(&bench, "day.mp4", 5, &[]);
    fs::write(bench.path("page.mp4"), "<!doctype html><title>404</title>").unwrap();
    fs::write(bench.path("empty.mp4"), "").unwrap();
    let says = |source: &str, words: &[&str]| {
        bench.script(&script(source, "over \"1s\""));
        let ran = bench.run(&["check", "move.lua"]).expect(1).says("move.lua:1");
        for word in words {
            assert!(ran.err.contains(word), "{source}: {word} is not in\n{}", ran.err);
        }
    };
    says(r#"recording "stills""#, &["is a folder", "stills { \"stills\" }"]);
    says(r#"recording "stills/LAPS0001.JPG""#, &["a still", "write stills {"]);
    says(r#"recording "dya.mp4""#, &["there is no 'dya.mp4'", "day.mp4"]);
    says(r#"recording "page.mp4""#, &["an HTML page"]);
    says(r#"recording "empty.mp4""#, &["the file is empty"]);
    says(r#"recording { "day.mp4", "other.mp4" }"#, &["recording takes one file"]);
    says(r#"recording { "day.mp4", interval = 3 }"#, &["interval"]);
    says(r#"stills { "day.mp4" }"#, &["a recorded video is a source of its own", "recording"]);
    // A picture's own container is no recording.
    let before = fs::read(bench.path("day.mp4")).unwrap();
    bench.script(&script(r#"recording "day.mp4""#, "stills_per_frame(1)"));
    rendered(&bench);
    assert_eq!(fs::read(bench.path("day.mp4")).unwrap(), before, "a recording is only read");
}

#[test]
fn a_starter_script_for_a_recording_renders_as_it_is() {
    let bench = Bench::new(0);
    film_numbered(&bench, "day.mp4", 60, &["-metadata", "creation_time=2031-05-04T12:00:00Z"]);
    bench.run(&["new", "day.mp4"]).expect(0);
    assert!(fs::read_to_string(bench.path("day.lua")).unwrap().contains("source = recording {\n    \"day.mp4\","));
    let ran = bench.run(&["render", "day.lua", "--out", "clips"]).expect(0);
    assert!(ran.out.contains("60 = 60 used"), "{}", ran.out);
    bench.run(&["new", "day.lua"]).expect(1).says("is neither a folder nor a recording");
}

#[test]
fn an_output_never_takes_the_recordings_own_place() {
    let bench = Bench::new(0);
    film_numbered(&bench, "clips/move-wide.mp4", 10, &[]);
    let before = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    bench.script(&script(r#"recording "clips/move-wide.mp4""#, "over \"1s\"").replace(", codec = \"png\"", ""));
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(1).says("among the stills");
    assert_eq!(fs::read(bench.path("clips/move-wide.mp4")).unwrap(), before);
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
        bench
            .list("clips/move-wide")
            .iter()
            .map(|name| image::open(path.join(name)).unwrap().into_luma8().into_raw())
            .collect()
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
    assert_eq!(
        (&once["outputs"][0]["invented"], &once["stills_decoded"]),
        (&serde_json::json!(20), &serde_json::json!(21))
    );
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

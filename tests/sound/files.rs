//! The files: one sound track beside the pictures where sound is kept, as long as they are, tagged; none elsewhere; and
//! damage that never costs a picture.

use std::fs;

use serde_json::Value;

use super::{Bench, PICTURES, RATE, decibels, decoded, ffmpeg, level, probed, record, render, script, streams, tone};

fn recorded(seconds: f64) -> Bench {
    let bench = Bench::new(0);
    record(&bench, "day.mp4", &tone(1000.0, 0.25, seconds), 1, &[&PICTURES[..], &["-c:a", "aac"]].concat());
    bench
}

#[test]
fn a_delivery_with_sound_has_one_track_of_it_as_long_as_its_pictures() {
    let bench = recorded(4.0);
    bench.script(&script("recording \"day.mp4\"", "times(1)", &["24", "25", "\"30000/1001\"", "60"]));
    let json = render(&bench).json();
    for number in 0..4 {
        let path = bench.path(&format!("clips/move-d{number}.mp4"));
        assert_eq!(json["outputs"][number]["sound"][0]["to"], 4.0);
        assert_eq!(streams(&path), ["h264", "aac"]);
        let of = |stream: &str, entries: &str| -> Vec<f64> {
            let line =
                probed(&path, &["-select_streams", stream, "-show_entries", &format!("stream={entries}")]).remove(0);
            line.split(',').map(|value| value.parse().unwrap()).collect()
        };
        assert_eq!(of("a", "sample_rate,channels,start_time"), [48_000.0, 2.0, 0.0]);
        let (pictures, sound) = (of("v", "duration")[0], of("a", "duration")[0]);
        assert!((pictures - sound).abs() <= 0.5 / RATE as f64 + 1e-6, "{pictures} s of pictures, {sound} s of sound");
        // The end of the last block is not part of the clip: a player hears it as silence.
        let samples = decoded(&path, RATE).len() as f64 / RATE as f64;
        assert!((0.0..0.0214).contains(&(samples - sound)), "{samples} s are decoded of {sound} s");
        let whole: Value =
            serde_json::from_slice(&ffmpeg("mediainfo", &["--Output=JSON", path.to_str().unwrap()])).unwrap();
        let tracks = whole["media"]["track"].as_array().unwrap();
        let kind = |kind: &str| tracks.iter().find(|track| track["@type"] == kind).unwrap();
        let (audio, video) = (kind("Audio"), kind("Video"));
        assert_eq!((&audio["Format"], &audio["Format_AdditionalFeatures"]), (&"AAC".into(), &"LC".into()), "{audio:#}");
        assert_eq!((&audio["Channels"], &audio["SamplingRate"]), (&"2".into(), &"48000".into()), "{audio:#}");
        assert_eq!(video["FrameRate_Mode"], "CFR");
        assert_eq!(audio["Delay"].as_str().unwrap_or("0").parse::<f64>().unwrap(), 0.0, "{audio:#}");
    }
}

#[test]
fn without_the_word_there_is_no_sound_and_a_delivery_may_do_without() {
    let bench = recorded(3.0);
    let plain = script("recording \"day.mp4\"", "times(1)", &["24", "25"]).replace("sound = \"real-time\",", "");
    bench.script(&plain);
    render(&bench);
    assert_eq!(streams(&bench.path("clips/move-d0.mp4")), ["h264"]);
    let silent = fs::read(bench.path("clips/move-d1.mp4")).unwrap();
    let one =
        script("recording \"day.mp4\"", "times(1)", &["24", "25"]).replace("fps = 25,", "fps = 25, sound = \"none\",");
    bench.script(&one);
    render(&bench);
    assert_eq!(streams(&bench.path("clips/move-d0.mp4")), ["h264", "aac"]);
    // To the byte what it is without the word.
    assert!(fs::read(bench.path("clips/move-d1.mp4")).unwrap() == silent);
    // The same the other way round.
    bench.script(&plain.replace("fps = 24,", "fps = 24, sound = \"real-time\","));
    render(&bench);
    assert_eq!(streams(&bench.path("clips/move-d0.mp4")), ["h264", "aac"]);
    assert!(fs::read(bench.path("clips/move-d1.mp4")).unwrap() == silent);
    // And again: the same bytes.
    let first = fs::read(bench.path("clips/move-d0.mp4")).unwrap();
    render(&bench);
    assert!(fs::read(bench.path("clips/move-d0.mp4")).unwrap() == first);
}

#[test]
fn where_nothing_can_be_heard_there_is_no_track_and_the_check_says_why() {
    let bench = recorded(3.0);
    let check = |source: &str, pace: &str, says: &str| {
        bench.script(&script(source, pace, &["24"]));
        bench.run(&["check", "move.lua"]).expect(0).says(says);
        render(&bench);
        assert_eq!(streams(&bench.path("clips/move-d0.mp4")), ["h264"], "{says}");
    };
    check("recording \"day.mp4\"", "times(20)", "the clip never runs in real time for 0.5 s: it is silent");
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    ffmpeg("ffmpeg", &["-v", "error", "-i", &path("day.mp4"), "-an", "-c", "copy", &path("mute.mp4")]);
    check("recording \"mute.mp4\"", "times(1)", "the recording has no sound: the clip is silent");
    // WMA is none of what is read.
    ffmpeg("ffmpeg", &["-v", "error", "-i", &path("day.mp4"), "-c:v", "copy", "-c:a", "wmav2", &path("odd.mkv")]);
    check(
        "recording \"odd.mkv\"",
        "times(1)",
        "the recording's sound is coded as wmav2, which is not read: the clip is silent",
    );
    // Nor are more channels than a layout has places.
    fs::write(bench.path("wide.s16"), vec![0; 65 * 2 * 8000 * 3]).unwrap();
    let wide = [
        "-f",
        "s16le",
        "-ar",
        "8000",
        "-ac",
        "65",
        "-i",
        &path("wide.s16"),
        "-map",
        "0:v",
        "-map",
        "1:a",
        "-c",
        "copy",
    ];
    ffmpeg("ffmpeg", &[&["-v", "error", "-i", &path("day.mp4")][..], &wide, &[&path("wide.mkv")]].concat());
    let words = "the recording's sound has 65 channels; at most 64 are mixed: the clip is silent";
    check("recording \"wide.mkv\"", "times(1)", words);
    bench.run(&["survey", "odd.mkv"]).expect(0);
    let said = bench.run(&["survey", "day.mp4"]).expect(0).out;
    assert!(said.contains("sound: aac, 1 channel, 48000 samples a second"), "{said}");
    // Sequences of pictures hold none, whatever the shot says.
    bench.script(
        &script("recording \"day.mp4\"", "times(1)", &["24"])
            .replace("quality = { preset = \"ultrafast\" }", "codec = \"png\""),
    );
    let ran = render(&bench);
    assert!(ran.json()["outputs"][0]["sound"].as_array().unwrap().is_empty());
}

#[test]
fn damaged_sound_is_silent_where_it_is_damaged_and_said_and_no_picture_is_lost() {
    let bench = recorded(6.0);
    let path = bench.path("day.mp4");
    bench.script(&script("recording \"day.mp4\"", "times(1)", &["30"]));
    let whole = render(&bench).json();
    // A packet of each half second from 2 s to 4 s is written over.
    let packets: Vec<(f64, usize, usize)> =
        probed(&path, &["-select_streams", "a", "-show_entries", "packet=pts_time,size,pos"])
            .iter()
            .map(|line| {
                let parts: Vec<&str> = line.split(',').collect();
                (parts[0].parse().unwrap(), parts[1].parse().unwrap(), parts[2].parse().unwrap())
            })
            .collect();
    let mut bytes = fs::read(&path).unwrap();
    let mut spoilt = Vec::new();
    for due in [2.0, 2.5, 3.0, 3.5] {
        let (time, size, at) = packets.iter().find(|(time, _, _)| *time >= due).unwrap();
        bytes[*at..at + size].fill(0xFF);
        spoilt.push(*time);
    }
    super::common::put(&path, bytes);
    let ran = render(&bench);
    let damaged = ran.json();
    assert_eq!(damaged["outputs"][0]["planes"], whole["outputs"][0]["planes"], "pictures are as they were");
    let remarks = damaged["remarks"].to_string();
    let words =
        format!("4 pieces of the recording's sound cannot be decoded, from {:.3} s of it on: silent there", spoilt[0]);
    assert!(remarks.contains(&words), "{words}\n{remarks}");
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    let from = |second: f64, length: f64| {
        let at = (second * RATE as f64) as usize;
        decibels(level(&heard[at..at + (length * RATE as f64) as usize]) / level(&tone(1000.0, 0.25, 1.0)))
    };
    // In the middle of each lost block it is quiet, and before the next all is well and in its place.
    for time in spoilt {
        let (lost, after) = (from(time + 0.008, 0.006), from(time + 0.1, 0.3));
        assert!(lost < -6.0 && after.abs() < 0.2, "{time} s: {lost} dB there, {after} dB after");
    }
    assert!(from(0.1, 1.8).abs() < 0.2 && from(4.1, 1.7).abs() < 0.2);
}

#[test]
fn sound_that_ends_before_the_pictures_leaves_silence_and_nothing_to_say() {
    let bench = recorded(6.0);
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    let given = [
        "-v",
        "error",
        "-i",
        &path("day.mp4"),
        "-t",
        "3",
        "-i",
        &path("day.mp4"),
        "-map",
        "0:v",
        "-map",
        "1:a",
        "-c",
        "copy",
    ];
    ffmpeg("ffmpeg", &[&given[..], &[&path("short.mp4")]].concat());
    bench.script(&script("recording \"short.mp4\"", "times(1)", &["24"]));
    let said = render(&bench).json()["remarks"].to_string();
    assert!(!said.contains("sound"), "{said}");
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    assert!(heard.len() >= 6 * RATE - 1 && heard[(3.1 * RATE as f64) as usize..].iter().all(|sample| *sample == 0.0));
    assert!(decibels(level(&heard[RATE..2 * RATE]) / level(&tone(1000.0, 0.25, 1.0))).abs() < 0.2);
}

#[test]
fn a_frame_asked_for_alone_and_the_strip_have_nothing_to_do_with_sound() {
    let bench = recorded(3.0);
    bench.script(&script("recording \"day.mp4\"", "times(1)", &["24"]));
    bench.run(&["frame", "move.lua", "--frame", "10", "-o", "one.png"]).expect(0);
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    assert!(bench.path("clips/move-d0-strip.png").is_file());
    let said = bench.run(&["render", "move.lua", "--out", "again"]).expect(0).out;
    assert!(said.contains("  sound of 1 passage, 3.000 s\n"), "{said}");
    let explained = bench.run(&["explain", "move.lua", "--at", "1.5s"]).expect(0).out;
    assert!(explained.contains("sound:  the recording's at 1.500 s, times 1.000"), "{explained}");
}

/// `read` of a bad disk, to be laid over the C library's: it fails from a byte of a file on, once another file is
/// there.
const BAD_DISK: &str = r#"
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
ssize_t read(int file, void *to, size_t count) {
    char link[64], path[4096];
    const char *bad = getenv("BAD_FILE"), *from = getenv("BAD_FROM"), *once = getenv("BAD_ONCE");
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = bad ? readlink(link, path, sizeof path - 1) : 0;
    path[length > 0 ? length : 0] = 0;
    char *name = strrchr(path, '/');
    if (length > 0 && name && !strcmp(name + 1, bad) && lseek(file, 0, SEEK_CUR) >= atol(from) && !access(once, F_OK)) {
        errno = EIO;
        return -1;
    }
    return ((ssize_t (*)(int, void *, size_t))dlsym(RTLD_NEXT, "read"))(file, to, count);
}
"#;

#[test]
fn sound_that_the_disk_refuses_stops_the_render_or_is_silent_from_there_on_as_the_script_says_of_damage() {
    let bench = Bench::new(0);
    let first = ["-c:a", "pcm_s16le", "-movflags", "+faststart"];
    record(&bench, "day.mov", &tone(1000.0, 0.25, 6.0), 1, &[&PICTURES[..], &first].concat());
    fs::write(bench.path("disk.c"), BAD_DISK).unwrap();
    let (code, disk) = (bench.path("disk.c"), bench.path("disk.so"));
    let (code, disk) = (code.to_str().unwrap(), disk.to_str().unwrap());
    ffmpeg("cc", &["-shared", "-fPIC", "-o", disk, code, "-ldl"]);
    // Where the sound of the third second lies. What is put together appears once all pictures are there, and nothing
    // but sound is read after that.
    let packets = probed(&bench.path("day.mov"), &["-select_streams", "a", "-show_entries", "packet=pts_time,pos"]);
    let at =
        packets.iter().find_map(|line| line.split_once(',').filter(|(time, _)| time.parse::<f64>().unwrap() >= 3.0));
    let run = |arguments: &[&str]| {
        let mut command = bench.command(&[&["render", "move.lua", "--no-strip"], arguments].concat());
        command.env("LD_PRELOAD", disk).env("BAD_FILE", "day.mov").env("BAD_FROM", at.unwrap().1);
        super::common::Ran::of(command.env("BAD_ONCE", "clips/.move-d0.mp4.part/output").output().unwrap())
    };
    bench.script(&script("recording \"day.mov\"", "times(1)", &["30"]));
    let stopped =
        run(&["--out", "clips"]).expect(2).says("day.mov: its sound cannot be read from ").says("Input/output error");
    assert!(!bench.path("clips/move-d0.mp4").exists());
    // What the message says to type.
    let advice = "damaged = \"skip\"";
    stopped.says(advice).says("180 of 180 frames");
    bench.script(&script(&format!("recording {{ \"day.mov\", {advice} }}"), "times(1)", &["30"]));
    let silent = run(&["--out", "clips", "--json"]).expect(0).json();
    assert_eq!(silent["outputs"][0]["taken_over"], 180, "all pictures were kept");
    let remarks = silent["remarks"].to_string();
    let (_, said) =
        remarks.split_once("the recording's sound cannot be read from ").unwrap_or_else(|| panic!("{remarks}"));
    let (from, said) = said.split_once(" s to ").unwrap();
    let from: f64 = from.parse().unwrap();
    assert!((2.0..4.0).contains(&from) && said.starts_with("6.000 s of it: silent there ("), "{remarks}");
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    let part = |from: f64, to: f64| level(&heard[(from * RATE as f64) as usize..(to * RATE as f64) as usize]);
    assert!(decibels(part(0.1, from - 0.05) / level(&tone(1000.0, 0.25, 1.0))).abs() < 0.2);
    assert!(part(from + 0.05, 6.0) < 1e-4, "{}", part(from + 0.05, 6.0));
    // The disk is well again.
    bench.script(&script("recording \"day.mov\"", "times(1)", &["30"]));
    let whole = render(&bench).json();
    assert!(!whole["remarks"].to_string().contains("sound"), "{}", whole["remarks"]);
    assert_eq!(whole["outputs"][0]["planes"], silent["outputs"][0]["planes"]);
}

/// OpenTimelineIO: picture and sound are tracks over one another, each as long as the clips in it; a gap keeps the place
/// of a clip that is silent. Fields of `Gap.1` as its reference library 0.18.1 writes them, less `color`.
#[test]
fn a_timeline_has_a_track_of_what_is_heard_with_a_gap_where_a_shot_is_silent() {
    let bench = recorded(3.0);
    let shot = |name: &str, sound: &str| {
        format!(
            "shot {{ name = \"{name}\", source = recording \"day.mp4\", fps = 30, pace = times(1), {sound} deliveries = {{ delivery {{ \"{name}\", frame = {{ 64, 48 }} }} }} }}"
        )
    };
    bench.script(&format!("return {{ {}, {} }}", shot("heard", "sound = \"real-time\","), shot("silent", "")));
    bench.run(&["hand", "move.lua", "-o", "edit.otio"]).expect(0);
    let timeline: Value = serde_json::from_str(&fs::read_to_string(bench.path("edit.otio")).unwrap()).unwrap();
    let tracks = timeline["tracks"]["children"].as_array().unwrap();
    assert_eq!([&tracks[0]["kind"], &tracks[1]["kind"]], ["Video", "Audio"]);
    let schemas = |track: &Value| -> Vec<String> {
        track["children"]
            .as_array()
            .unwrap()
            .iter()
            .map(|item| item["OTIO_SCHEMA"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(
        (schemas(&tracks[0]), schemas(&tracks[1])),
        (vec!["Clip.2".into(); 2], vec!["Clip.2".into(), "Gap.1".into()])
    );
    let ranges = |track: &Value| -> Vec<Value> {
        track["children"].as_array().unwrap().iter().map(|item| item["source_range"].clone()).collect()
    };
    assert_eq!(ranges(&tracks[0]), ranges(&tracks[1]));
    assert!(ranges(&tracks[0]).iter().all(|range| range["duration"]["value"] == 90.0));
    let fields: Vec<&String> = tracks[1]["children"][1].as_object().unwrap().keys().collect();
    assert_eq!(fields, ["OTIO_SCHEMA", "effects", "enabled", "markers", "metadata", "name", "source_range"]);
    let (picture, heard) = (&tracks[0]["children"][0], &tracks[1]["children"][0]);
    assert_eq!(picture["media_references"], heard["media_references"], "both are of one file");
    assert_eq!(picture["metadata"]["stillpath"]["stills"]["recording"], "day.mp4");
}

//! The files: one sound track beside the pictures where sound is kept, as long as they are, tagged; none elsewhere; and damage that
//! never costs a picture.

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
            let line = probed(&path, &["-select_streams", stream, "-show_entries", &format!("stream={entries}")]).remove(0);
            line.split(',').map(|value| value.parse().unwrap()).collect()
        };
        assert_eq!(of("a", "sample_rate,channels,start_time"), [48_000.0, 2.0, 0.0]);
        let (pictures, sound) = (of("v", "duration")[0], of("a", "duration")[0]);
        assert!((pictures - sound).abs() <= 0.5 / RATE as f64 + 1e-6, "{pictures} s of pictures, {sound} s of sound");
        // The end of the last block is not part of the clip: a player hears it as silence.
        let samples = decoded(&path, RATE).len() as f64 / RATE as f64;
        assert!((0.0..0.0214).contains(&(samples - sound)), "{samples} s are decoded of {sound} s");
        let whole: Value = serde_json::from_slice(&ffmpeg("mediainfo", &["--Output=JSON", path.to_str().unwrap()])).unwrap();
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
    let one = script("recording \"day.mp4\"", "times(1)", &["24", "25"]).replace("fps = 25,", "fps = 25, sound = \"none\",");
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
    check("recording \"day.mp4\"", "times(20)", "the clip runs nowhere in real time for 0.5 s: it is silent");
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    ffmpeg("ffmpeg", &["-v", "error", "-i", &path("day.mp4"), "-an", "-c", "copy", &path("mute.mp4")]);
    check("recording \"mute.mp4\"", "times(1)", "the recording has no sound: the clip is silent");
    // WMA is none of what is read.
    ffmpeg("ffmpeg", &["-v", "error", "-i", &path("day.mp4"), "-c:v", "copy", "-c:a", "wmav2", &path("odd.mkv")]);
    check("recording \"odd.mkv\"", "times(1)", "the recording's sound is coded as wmav2, which is not read: the clip is silent");
    bench.run(&["survey", "odd.mkv"]).expect(0);
    let said = bench.run(&["survey", "day.mp4"]).expect(0).out;
    assert!(said.contains("sound: aac, 1 channel, 48000 samples a second"), "{said}");
    // Sequences of pictures hold none, whatever the shot says.
    bench.script(
        &script("recording \"day.mp4\"", "times(1)", &["24"]).replace("quality = { preset = \"ultrafast\" }", "codec = \"png\""),
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
    let packets: Vec<(f64, usize, usize)> = probed(&path, &["-select_streams", "a", "-show_entries", "packet=pts_time,size,pos"])
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
    let words = format!("4 pieces of the recording's sound cannot be decoded, from {:.3} s of it on: silent there", spoilt[0]);
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
    let given =
        ["-v", "error", "-i", &path("day.mp4"), "-t", "3", "-i", &path("day.mp4"), "-map", "0:v", "-map", "1:a", "-c", "copy"];
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
    bench.run(&["frame", "move.lua", "--at", "10", "-o", "one.png"]).expect(0);
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    assert!(bench.path("clips/move-d0-strip.png").is_file());
    let said = bench.run(&["render", "move.lua", "--out", "again"]).expect(0).out;
    assert!(said.contains("  sound of 1 passage, 3.000 s\n"), "{said}");
    let explained = bench.run(&["explain", "move.lua", "--at", "1.5s"]).expect(0).out;
    assert!(explained.contains("sound:  the recording's at 1.500 s, times 1.000"), "{explained}");
}

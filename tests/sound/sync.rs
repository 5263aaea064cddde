//! What was heard when a frame was taken is heard when that frame is shown.

use std::path::Path;

use serde_json::Value;

use super::{Bench, PICTURES, RATE, decoded, ffmpeg, probed, record, render, samples_in, script};

/// The rate at which chirps are looked for.
const LOOKED: usize = 24_000;

/// A chirp from 500 to 6000 Hz, 20 ms long, rising and falling as half a cosine: its middle is found to a fraction of a
/// millisecond whatever a codec does to it.
fn chirp(rate: usize) -> Vec<f32> {
    let count = rate / 50;
    let one = |at: usize| {
        let (gone, seconds) = (at as f64 / count as f64, at as f64 / rate as f64);
        let phase = std::f64::consts::TAU * (500.0 * seconds + 5500.0 * seconds * seconds / 0.04);
        (0.6 * (std::f64::consts::PI * gone).sin() * phase.sin()) as f32
    };
    (0..count).map(one).collect()
}

/// When the chirps of a recording begin, in seconds: at uneven steps, so that none is taken for another.
fn moments(seconds: f64) -> Vec<f64> {
    let mut at = 0.31;
    let mut all = Vec::new();
    let mut step = 0;
    while at < seconds - 0.1 {
        all.push(at);
        at += 0.37 + 0.05 * f64::from(step * step % 7);
        step += 1;
    }
    all
}

fn chirps(seconds: f64) -> Vec<f32> {
    let mut samples = vec![0.0; (seconds * RATE as f64) as usize];
    let one = chirp(RATE);
    for moment in moments(seconds) {
        let at = (moment * RATE as f64).round() as usize;
        samples[at..at + one.len()].copy_from_slice(&one);
    }
    samples
}

/// Where whole chirps are in samples at [`LOOKED`], in samples: the peaks of what is left by a matched filter.
fn found(samples: &[f32]) -> Vec<f64> {
    let one = chirp(LOOKED);
    let own: f32 = one.iter().map(|sample| sample * sample).sum();
    let like: Vec<f32> = samples
        .windows(one.len())
        .map(|window| window.iter().zip(&one).map(|(seen, due)| seen * due).sum::<f32>() / own)
        .collect();
    let apart = LOOKED / 10;
    let mut peaks = Vec::new();
    for at in 1..like.len().saturating_sub(1) {
        let near = &like[at.saturating_sub(apart)..(at + apart).min(like.len())];
        if like[at] > 0.8 && near.iter().all(|other| *other <= like[at]) {
            let (before, here, after) = (f64::from(like[at - 1]), f64::from(like[at]), f64::from(like[at + 1]));
            peaks.push(at as f64 + (before - after) / (2.0 * (before - 2.0 * here + after)));
        }
    }
    peaks
}

/// When FFmpeg's command line hears the chirps of a recording, in seconds after the first frame that it shows.
fn heard_in(path: &Path) -> Vec<f64> {
    let first: f64 = probed(path, &["-select_streams", "v", "-show_entries", "frame=pts_time"])
        .iter()
        .find_map(|line| line.split(',').next().unwrap().parse().ok())
        .unwrap();
    let rate: usize =
        probed(path, &["-select_streams", "a", "-show_entries", "stream=sample_rate"])[0].parse().unwrap();
    let frames: Vec<(f64, usize)> =
        probed(path, &["-select_streams", "a", "-show_entries", "frame=pts_time,nb_samples"])
            .iter()
            .filter_map(|line| line.split_once(','))
            .map(|(time, count)| (time.parse().unwrap(), count.trim_matches(',').parse().unwrap()))
            .collect();
    // Samples as they come out of the decoder, one frame after the other.
    let raw = ["-v", "error", "-i", path.to_str().unwrap(), "-map", "0:a:0", "-ac", "1", "-f", "f32le", "-"];
    let samples = samples_in(&ffmpeg("ffmpeg", &raw));
    assert_eq!(samples.len(), frames.iter().map(|(_, count)| count).sum::<usize>(), "every sample has its frame");
    assert_eq!(rate % LOOKED, 0, "the recordings of these tests are at 48,000 samples a second");
    let thin: Vec<f32> = thinned(&samples, rate / LOOKED);
    let second = |peak: f64| {
        let (mut at, mut sample) = (0.0, peak * (rate / LOOKED) as f64);
        for (time, count) in &frames {
            at = *time;
            if sample < *count as f64 {
                break;
            }
            sample -= *count as f64;
        }
        at + sample / rate as f64 - first
    };
    found(&thin).into_iter().map(second).collect()
}

/// Every so many-th sample of what is left below the new limit: chirps end at 6000 Hz, so a mean of neighbours will do.
fn thinned(samples: &[f32], by: usize) -> Vec<f32> {
    // Centred on the sample kept, so that nothing moves.
    let at = |at: usize| samples.get(at).copied().unwrap_or(0.0);
    (0..samples.len() / by)
        .map(|kept| (kept * by).checked_sub(1).map_or(0.0, at) * 0.25 + at(kept * by) * 0.5 + at(kept * by + 1) * 0.25)
        .collect()
}

/// The passages of a delivery by its rows alone: when a frame is on screen whose place in the recording runs on in real
/// time, and what second that is. A recording's frames are 1/30 s apart.
fn real_time(delivery: &Value) -> Vec<(f64, f64)> {
    let rate = delivery["fps"]["numerator"].as_f64().unwrap() / delivery["fps"]["denominator"].as_f64().unwrap();
    let at = |row: &Value| row["position"].as_f64().unwrap() / 30.0;
    let rows = delivery["rows"].as_array().unwrap();
    let mut moments = Vec::new();
    for (frame, pair) in rows.windows(2).enumerate() {
        if ((at(&pair[1]) - at(&pair[0])) * rate - 1.0).abs() < 0.001 {
            moments.push((frame as f64 / rate, at(&pair[0])));
        }
    }
    moments
}

const PACE: &str = "pace {
    key { at = \"start\",    rate = times(20) },
    key { at = still(91),  rate = times(1), ease = \"ease-in-out\" },
    key { at = still(181), rate = times(1) },
    key { at = still(400), rate = times(30), ease = \"ease-in\" },
    key { at = still(661), rate = times(1), ease = \"ease-out\" },
    key { at = still(781), rate = times(1) },
    key { at = \"end\",      rate = times(20) } }";

/// Renders a recording's chirps at three rates; how far each is from its place at worst, in seconds, and how many there
/// were.
fn out_of_step(bench: &Bench, name: &str) -> (f64, usize) {
    bench.script(&script(&format!("recording {name:?}"), PACE, &["24", "25", "\"30000/1001\""]));
    render(bench);
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let recorded = heard_in(&bench.path(name));
    let (mut worst, mut count) = (0.0_f64, 0);
    for (number, delivery) in plan["plans"][0]["deliveries"].as_array().unwrap().iter().enumerate() {
        let path = bench.path(&format!("clips/move-d{number}.mp4"));
        let heard: Vec<f64> = found(&decoded(&path, LOOKED)).iter().map(|peak| peak / LOOKED as f64).collect();
        // What is heard of a passage but in its fades, by the frames shown around it.
        let moments = real_time(delivery);
        let mut due = Vec::new();
        for second in &recorded {
            let around = |gone: f64| moments.iter().any(|(_, at)| (at - second - gone).abs() < 0.05);
            if let (true, true, Some((clip, at))) =
                (around(-0.35), around(0.35), moments.iter().find(|(_, at)| (at - second).abs() < 0.05))
            {
                due.push(clip + (second - at));
            }
        }
        assert!(due.len() >= 6, "{name}, delivery {number}: {due:?} of {} chirps", recorded.len());
        for due in &due {
            let off = heard.iter().map(|heard| (heard - due).abs()).fold(f64::INFINITY, f64::min);
            assert!(off < 0.001, "{name}, delivery {number}: {due} s is {off} s away from any of {heard:?}");
            worst = worst.max(off);
        }
        count += due.len();
        // Chirps are heard where they are due or in a fade beside that, and nowhere else.
        for heard in &heard {
            let off = moments.iter().map(|(clip, _)| (clip - heard).abs()).fold(f64::INFINITY, f64::min);
            assert!(off < 0.1, "{name}, delivery {number}: a chirp at {heard} s");
        }
    }
    (worst, count)
}

#[test]
fn chirps_come_out_within_a_millisecond_of_the_frames_they_were_recorded_with_whatever_the_file() {
    let bench = Bench::new(0);
    let sound = chirps(32.0);
    for (name, coded) in [
        ("aac.mp4", &["-c:a", "aac", "-b:a", "160k"][..]),
        ("pcm.mov", &["-c:a", "pcm_s16le"]),
        ("opus.mkv", &["-c:a", "libopus", "-b:a", "128k"]),
        ("vorbis.mkv", &["-c:a", "libvorbis"]),
        ("flac.mkv", &["-c:a", "flac"]),
        ("mp2.ts", &["-c:a", "mp2", "-b:a", "192k"]),
        ("ac3.ts", &["-c:a", "ac3", "-b:a", "192k"]),
    ] {
        record(&bench, name, &sound, 1, &[&PICTURES, coded].concat());
        let (worst, count) = out_of_step(&bench, name);
        println!("{name}: {count} chirps, {:.3} ms at worst", worst * 1000.0);
    }
    record(
        &bench,
        "mp3.avi",
        &sound,
        1,
        &["-c:v", "mpeg4", "-q:v", "3", "-g", "30", "-c:a", "libmp3lame", "-b:a", "192k"],
    );
    let (worst, count) = out_of_step(&bench, "mp3.avi");
    println!("mp3.avi: {count} chirps, {:.3} ms at worst", worst * 1000.0);
}

// Fault 55, of sound.
/// Fault 55: edit lists, late first times.
#[test]
fn late_first_times_and_edit_lists_move_sound_and_pictures_alike() {
    let bench = Bench::new(0);
    record(&bench, "whole.mp4", &chirps(36.0), 1, &[&PICTURES[..], &["-c:a", "aac"]].concat());
    let path = |name: &str| bench.path(name).to_str().unwrap().to_owned();
    let whole = path("whole.mp4");
    // An edit list that begins between two key frames; times that begin late; sound that begins 0.7 s after the
    // pictures, and before.
    ffmpeg("ffmpeg", &["-v", "error", "-ss", "1.3", "-i", &whole, "-c", "copy", &path("edited.mp4")]);
    ffmpeg("ffmpeg", &["-v", "error", "-itsoffset", "5", "-i", &whole, "-c", "copy", &path("late.mkv")]);
    let beside = |offset: &str, name: &str| {
        let maps = ["-map", "0:v", "-map", "1:a", "-c", "copy"];
        let given = ["-v", "error", "-i", &whole, "-itsoffset", offset, "-i", &whole];
        ffmpeg("ffmpeg", &[&given[..], &maps, &[&path(name)]].concat());
    };
    beside("0.7", "after.mp4");
    beside("-0.4", "before.mp4");
    beside("0.7", "after.ts");
    for name in ["edited.mp4", "late.mkv", "after.mp4", "before.mp4", "after.ts"] {
        let (worst, count) = out_of_step(&bench, name);
        println!("{name}: {count} chirps, {:.3} ms at worst", worst * 1000.0);
    }
}

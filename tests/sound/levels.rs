//! How loud what is heard is: as it was recorded in a passage, rising and falling evenly at its ends, and nothing
//! elsewhere.

use super::{Bench, PICTURES, RATE, decibels, decoded, ffmpeg, level, record, render, samples_in, script, tone};

/// Two sides of the same samples.
fn both(samples: &[f32]) -> Vec<f32> {
    samples.iter().flat_map(|sample| [*sample, *sample]).collect()
}

/// A passage of a delivery's plan: from, to.
fn passage(bench: &Bench, number: usize) -> (f64, f64) {
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let passage = &plan["plans"][0]["deliveries"][0]["sound"][number];
    (passage["from"].as_f64().unwrap(), passage["to"].as_f64().unwrap())
}

fn at(samples: &[f32], from: f64, to: f64) -> &[f32] {
    &samples[(from * RATE as f64) as usize..(to * RATE as f64) as usize]
}

#[test]
fn a_tone_keeps_its_level_in_a_passage_fades_at_its_ends_and_leaves_silence_elsewhere() {
    let bench = Bench::new(0);
    let recorded = tone(1000.0, 0.25, 20.0);
    record(&bench, "tone.mov", &both(&recorded), 2, &[&PICTURES[..], &["-c:a", "pcm_s16le"]].concat());
    let pace =
        "pace { key { at = \"start\", rate = times(20) }, key { at = still(241), rate = times(1), ease = \"ease-in-out\" },
        key { at = still(361), rate = times(1) }, key { at = \"end\", rate = times(20), ease = \"ease-in-out\" } }";
    bench.script(&script("recording \"tone.mov\"", pace, &["24"]));
    render(&bench);
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    let (from, to) = passage(&bench, 0);
    let change = decibels(level(at(&heard, from + 0.3, to - 0.3)) / level(&recorded));
    println!("a tone of 1 kHz comes out {change:+.3} dB louder");
    assert!(change.abs() < 0.2, "{change} dB");
    // AAC frames overlap by 2048 samples, 43 ms; farther than that from a passage there is none of it.
    let elsewhere = [at(&heard, 0.0, from - 0.05), &heard[((to + 0.05) * RATE as f64) as usize..]].concat();
    let loudest = elsewhere.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    println!("elsewhere {:.1} dB at most", decibels(f64::from(loudest)));
    assert!(elsewhere.len() > RATE && decibels(f64::from(loudest)) < -80.0, "{loudest}");
    // Levels of 10 ms, ten periods of the tone.
    let steps = |from: f64| -> Vec<f64> {
        (0..25).map(|step| from + 0.01 * f64::from(step)).map(|from| level(at(&heard, from, from + 0.01))).collect()
    };
    let (rising, falling) = (steps(from), steps(to - 0.25));
    assert!(rising.windows(2).all(|pair| pair[1] > pair[0] - 1e-4), "{rising:?}");
    assert!(falling.windows(2).all(|pair| pair[1] < pair[0] + 1e-4), "{falling:?}");
    // Half a cosine: half as loud in the middle.
    for (what, middle) in [("rising", from + 0.125), ("falling", to - 0.125)] {
        let half = level(at(&heard, middle - 0.005, middle + 0.005)) / level(&recorded);
        assert!((half - 0.5).abs() < 0.02, "{what}: {half} in the middle of the fade");
    }
}

#[test]
fn what_is_left_before_encoding_is_digital_silence_to_the_sample() {
    // A delivery all of whose passages lie in a part of the recording without sound is encoded from zeros: AAC of zeros
    // decodes to zeros, and of anything else does not.
    let bench = Bench::new(0);
    let mut sound = tone(440.0, 0.5, 12.0);
    sound[3 * RATE..9 * RATE].fill(0.0);
    record(&bench, "rest.mov", &sound, 1, &[&PICTURES[..], &["-c:a", "pcm_s16le"]].concat());
    let pace = "pace { key { at = \"start\", rate = times(10) }, key { at = still(150), rate = times(10) },
        key { at = still(151), rate = times(1) }, key { at = still(241), rate = times(1) },
        key { at = still(242), rate = times(10) } }";
    bench.script(&script("recording \"rest.mov\"", pace, &["30"]));
    render(&bench);
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    assert!(
        heard.len() > 3 * RATE && heard.iter().all(|sample| *sample == 0.0),
        "{:?}",
        heard.iter().find(|one| **one != 0.0)
    );
}

#[test]
fn reverse_freeze_and_other_paces_are_silent_and_what_is_beside_them_is_heard() {
    let bench = Bench::new(0);
    let sound = tone(1000.0, 0.25, 12.0);
    record(&bench, "tone.mp4", &sound, 1, &[&PICTURES[..], &["-c:a", "aac"]].concat());
    let pace = "pace { key { at = \"start\", rate = times(1) }, key { at = still(61), freeze = \"1s\" },
        key { at = still(121), rate = times(1) }, key { at = still(91), rate = times(1), reverse = true },
        key { at = still(151), rate = times(1) }, key { at = still(152), rate = times(0.5) } }";
    bench.script(&script("recording { \"tone.mp4\", to = still(180) }", pace, &["25"]));
    render(&bench);
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    let whole = level(&sound);
    // Forwards to 2 s, a freeze to 3 s, forwards to 5 s, backwards to 6 s, forwards to 8 s, then at half the pace.
    for (from, to, is_heard) in [
        (0.05, 1.7, true),
        (2.05, 2.95, false),
        (3.3, 4.7, true),
        (5.05, 5.95, false),
        (6.3, 7.7, true),
        (8.1, 8.9, false),
    ] {
        let change = decibels(level(at(&heard, from, to)) / whole);
        assert!(if is_heard { change.abs() < 0.2 } else { change < -70.0 }, "{change} dB from {from} to {to} s");
    }
}

#[test]
fn every_rate_and_number_of_channels_comes_out_on_two_sides_at_its_level() {
    let bench = Bench::new(0);
    let one = tone(1000.0, 0.25, 3.0);
    let silent = vec![0.0; one.len()];
    let beside = |sides: &[&[f32]]| -> Vec<f32> {
        (0..one.len()).flat_map(|at| sides.iter().map(move |side| side[at])).collect()
    };
    let five = |alone: usize| {
        let sides: Vec<&[f32]> = (0..6).map(|side| if side == alone { &one[..] } else { &silent[..] }).collect();
        beside(&sides)
    };
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let quarter = ["-ar", "11025", "-c:a", "pcm_s16le"];
    let (plain, film) = (["-c:a", "pcm_s16le"], ["-c:a", "pcm_s24le", "-ar", "44100"]);
    // Left, right, centre, low, left and right surround: what each has of the two sides (ITU-R BS.775-3, from memory).
    for (name, samples, channels, coded, due) in [
        ("mono.mov", one.clone(), 1, &plain[..], [1.0, 1.0]),
        ("slow.mov", one.clone(), 1, &quarter[..], [1.0, 1.0]),
        ("left.mov", beside(&[&one, &silent]), 2, &film[..], [1.0, 0.0]),
        ("right.mkv", beside(&[&silent, &one]), 2, &["-c:a", "flac"][..], [0.0, 1.0]),
        ("centre.mov", five(2), 6, &plain[..], [half, half]),
        ("low.mov", five(3), 6, &plain[..], [0.0, 0.0]),
        ("surround.mov", five(4), 6, &plain[..], [half, 0.0]),
        ("front.mkv", five(1), 6, &["-c:a", "ac3", "-b:a", "448k"][..], [0.0, 1.0]),
    ] {
        record(&bench, name, &samples, channels, &[&PICTURES, coded].concat());
        bench.script(&script(&format!("recording {name:?}"), "times(1)", &["24"]));
        render(&bench);
        let path = bench.path("clips/move-d0.mp4");
        let raw = samples_in(&ffmpeg("ffmpeg", &["-v", "error", "-i", path.to_str().unwrap(), "-f", "f32le", "-"]));
        for (side, due) in due.into_iter().enumerate() {
            let heard: Vec<f32> = raw.iter().skip(side).step_by(2).copied().collect();
            let seen = level(at(&heard, 0.2, 2.8)) / level(&one);
            let right = if due > 0.0 { decibels(seen / due).abs() < 0.2 } else { decibels(seen) < -60.0 };
            assert!(right, "{name}: side {side} has {seen:.4} of it, and {due:.4} are due");
        }
    }
}

#[test]
fn what_several_channels_come_to_beyond_full_scale_is_held_there() {
    let bench = Bench::new(0);
    let one = tone(500.0, 0.9, 2.0);
    let all: Vec<f32> = one.iter().flat_map(|sample| [*sample; 6]).collect();
    record(&bench, "loud.mov", &all, 6, &[&PICTURES[..], &["-c:a", "pcm_s16le"]].concat());
    bench.script(&script("recording \"loud.mov\"", "times(1)", &["24"]));
    render(&bench);
    let heard = decoded(&bench.path("clips/move-d0.mp4"), RATE);
    let most = at(&heard, 0.2, 1.8).iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    assert!((0.95..1.3).contains(&most), "{most}: a codec rings a little where a wave is cut off");
}

#[test]
fn in_a_reel_one_recording_goes_down_while_the_next_comes_up_and_stills_are_silent() {
    let bench = Bench::new(60);
    for (name, hertz) in [("low.mov", 500.0), ("high.mov", 2000.0)] {
        record(&bench, name, &both(&tone(hertz, 0.25, 4.0)), 2, &[&PICTURES[..], &["-c:a", "pcm_s16le"]].concat());
    }
    let clips = "{ delivery { \"wide\", frame = { 64, 48 }, fps = 30, quality = { preset = \"ultrafast\" } } }";
    let shot = |source: &str, pace: &str, sound: &str| {
        format!("  shot {{ source = {source}, fps = 30, pace = {pace}, {sound} deliveries = {clips} }},\n")
    };
    let real = "sound = \"real-time\",";
    let shots = [
        shot("recording \"low.mov\"", "times(1)", real),
        shot("recording \"high.mov\"", "times(1)", real),
        shot("stills { \"stills\" }", "stills_per_frame(1)", ""),
    ];
    bench.script(&format!("return reel {{ mix = \"1s\",\n{} }}", shots.concat()));
    render(&bench);
    // 4 s, 4 s and 2 s with two mixes of a second: 8 s.
    let heard = decoded(&bench.path("clips/move-wide.mp4"), RATE);
    // What an AAC frame of 1024 samples holds beyond that is not taken off by all readers.
    assert!((8 * RATE..8 * RATE + 1024).contains(&heard.len()), "{}", heard.len());
    // Of each tone, by correlation over whole periods of both: its amplitude.
    let amplitude = |hertz: f64, from: f64| {
        let part = at(&heard, from, from + 0.02);
        let wave = |quarter: f64| {
            let phase = |at: usize| std::f64::consts::TAU * hertz * at as f64 / RATE as f64 + quarter;
            part.iter().enumerate().map(|(at, sample)| f64::from(*sample) * phase(at).sin()).sum::<f64>()
        };
        2.0 * wave(0.0).hypot(wave(std::f64::consts::FRAC_PI_2)) / part.len() as f64
    };
    // The mix is from 3 s to 4 s. Half a cosine each, read at the middle of what is looked at.
    for (from, second) in [(2.5, 0.0), (3.24, 0.146_447), (3.49, 0.5), (3.74, 0.853_553), (4.5, 1.0)] {
        let seen = [amplitude(500.0, from) / 0.25, amplitude(2000.0, from) / 0.25];
        for (seen, due) in seen.into_iter().zip([1.0 - second, second]) {
            assert!((seen - due).abs() < 0.03, "at {from} s: {seen}, {due} due");
        }
    }
    assert!(level(at(&heard, 7.1, 7.9)) < 1e-3, "stills are silent");
    // Into the stills the tone falls over the whole of the mix, from 6 s to 7 s.
    assert!((amplitude(2000.0, 6.24) / 0.25 - 0.853_553).abs() < 0.03);
}

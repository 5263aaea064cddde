//! Fault 14: stills whose data are wrong from some place on although every code fits, through the whole program.

use std::fs;

use super::Bench;
use stillpath::decode::{Decoder, Want, header};
use stillpath::ffi::jpeg;
use stillpath::units::Size;

const SIZE: Size = Size { width: 320, height: 240 };
/// The one that is spoilt, from 1.
const SPOILT: usize = 5;

/// A wall with a window, in grain of its own each time, and someone walking by.
fn view(index: usize) -> Vec<u8> {
    let mut state = 0x9E37_79B9_u32 ^ (index as u32).wrapping_mul(0x85EB_CA6B);
    let mut rgb = Vec::new();
    for y in 0..SIZE.height {
        for x in 0..SIZE.width {
            let wall = 90.0 + 40.0 * (f64::from(x) * 0.05).sin() + 30.0 * (f64::from(y) * 0.07).cos();
            let walker = x.abs_diff(30 * index as u32) < 8 && y > 150;
            let window = (120..180).contains(&x) && (60..110).contains(&y);
            for channel in 0..3 {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                let value = if walker {
                    60.0
                } else if window {
                    200.0
                } else {
                    wall + 6.0 * f64::from(channel)
                };
                rgb.push((value + f64::from(state % 7)) as u8);
            }
        }
    }
    rgb
}

/// A shoot of which one still decodes without a word and is wrong in its lower part.
pub(super) fn shoot(count: usize) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for number in 1..=count {
        fs::write(bench.still(number), jpeg::encode_rgb(&view(number), SIZE, 92, (2, 2), &[])).unwrap();
    }
    let path = bench.still(SPOILT);
    let whole = fs::read(&path).unwrap();
    let mut decoder = Decoder::new();
    let decoded = |decoder: &mut Decoder, bytes: &[u8]| {
        fs::write(&path, bytes).unwrap();
        let still = header::read(&path).ok()?.still(&path);
        decoder.decode(&still, Want::rows(0..SIZE.height), None).ok()
    };
    let due = decoded(&mut decoder, &whole).unwrap();
    let level = |picture: &stillpath::picture::Picture| {
        let stillpath::picture::Samples::Eight(samples) = &picture.planes[0].samples else { panic!("8 bits") };
        let lower = &samples[samples.len() * 3 / 4..];
        lower.iter().map(|code| f64::from(*code)).sum::<f64>() / lower.len() as f64
    };
    // A byte at a time, from the upper third on, until one is found that no decoder minds.
    for at in whole.len() / 3..whole.len() / 2 {
        for flip in [0x40, 0x10, 0x04] {
            let mut spoilt = whole.clone();
            spoilt[at] ^= flip;
            if spoilt[at] == 0xFF || whole[at - 1] == 0xFF || whole[at] == 0xFF {
                continue;
            }
            if decoded(&mut decoder, &spoilt).is_some_and(|seen| (level(&seen) - level(&due)).abs() > 12.0) {
                return bench;
            }
        }
    }
    panic!("no byte shifts the level in silence");
}

fn script(bench: &Bench, damaged: &str, stills: &str) {
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "{stills}" {damaged} }}, fps = 24, pace = stills_per_frame(1),
  deliveries = {{ delivery {{ "wide", frame = {{ 160, 90 }}, codec = "png" }} }} }}"#
    ));
}

fn planes(bench: &Bench, out: &str) -> Vec<String> {
    let ran = bench.run(&["render", "move.lua", "--out", out, "--json"]).expect(0);
    let outcome: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let planes = outcome["outputs"][0]["frame_planes"].as_array().unwrap();
    planes.iter().map(|hash| hash.as_str().unwrap().to_owned()).collect()
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn a_still_that_decodes_in_silence_and_is_wrong_stops_the_render_by_name_and_follows_the_policy() {
    let bench = shoot(9);
    script(&bench, "", "stills");
    let ran = bench.run(&["render", "move.lua", "--out", "clips"]).expect(2);
    for words in ["LAPS0005", "does not belong to the scene", "damaged = \"hold\""] {
        assert!(ran.err.contains(words), "{words} in {}", ran.err);
    }
    assert!(!bench.path("clips/move-wide").exists());
    // What it says helps: the one before it is shown in its place, or it takes no time.
    script(&bench, ", damaged = \"hold\"", "stills");
    let held = planes(&bench, "held");
    assert_eq!(held.len(), 9);
    assert_eq!(held[SPOILT - 1], held[SPOILT - 2]);
    assert_eq!(held.iter().collect::<std::collections::BTreeSet<_>>().len(), 8, "no other frame is another's");
    script(&bench, ", damaged = \"skip\"", "stills");
    let skipped = planes(&bench, "skipped");
    let mut without = held.clone();
    without.remove(SPOILT - 1);
    assert_eq!(skipped, without);
    // One frame is told as a whole render tells it, and is the one that a whole render makes.
    let at = (SPOILT - 1).to_string();
    for (damaged, planes) in
        [("", None), (", damaged = \"hold\"", Some(&held)), (", damaged = \"skip\"", Some(&skipped))]
    {
        script(&bench, damaged, "stills");
        let ran = bench.run(&["frame", "move.lua", "--frame", &at, "-o", "frame.png", "--force"]);
        match planes {
            None => assert!(ran.expect(2).err.contains("LAPS0005")),
            Some(planes) => assert!(ran.expect(0).out.contains(&planes[SPOILT - 1]), "{damaged}"),
        }
    }
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn it_is_found_in_drafts_by_small_stills_that_were_kept_too_and_by_looking() {
    let bench = shoot(9);
    script(&bench, "", "stills");
    let cache = bench.path("cache");
    let cached = |arguments: &[&str]| {
        let output = bench.command(arguments).env("XDG_CACHE_HOME", &cache).output().unwrap();
        (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    for round in ["first", "kept"] {
        let (code, said) = cached(&["render", "move.lua", "--out", "clips", "--draft"]);
        assert!(code == Some(2) && said.contains("LAPS0005"), "{round}: {said}");
    }
    for round in ["first", "kept"] {
        let output = bench.command(&["survey", "stills", "--look"]).env("XDG_CACHE_HOME", &cache).output().unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        assert!(said.contains("LAPS0005") && said.contains("does not belong to the scene"), "{round}: {said}");
    }
    for word in ["level", "steady"] {
        bench.script(&format!(
            r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = stills_per_frame(1), {word} = true,
  deliveries = {{ delivery {{ "wide", frame = {{ 160, 90 }} }} }} }}"#
        ));
        let (code, said) = cached(&["check", "move.lua"]);
        assert!(code != Some(0) && said.contains("LAPS0005"), "{word}: {said}");
    }
}

//! Twelve faults, each put into a whole clip and named as what it is, although the receipt's hash of the file is made
//! to fit.

use std::fs;
use std::path::Path;

use super::{FRAMES, SCRIPT, encode, encode_as, faults, ffmpeg, frames, prove, rendered, resealed};

/// What `prove` finds in a clip made from the whole one's frames, every frame made anew.
fn found(folder: &str, make: impl FnOnce(Vec<Vec<u8>>, &Path)) -> Vec<(String, String)> {
    let bench = rendered();
    resealed(bench, folder, |clip| make(frames(&bench.path("clips/move-wide.mp4")), clip));
    faults(&prove(bench, folder, &["--frames", "all", "--json"]).expect(1))
}

/// Asserts that one fault was found, of this kind and with these words.
fn only(found: &[(String, String)], fault: &str, words: &str) {
    assert!(
        found.len() == 1 && found[0].0 == fault && found[0].1.contains(words),
        "{fault}, {words:?} where {found:#?} was found"
    );
}

#[test]
fn a_frame_dropped_is_named() {
    let dropped = found("dropped", |mut frames, clip| {
        frames.remove(17);
        encode(&frames, clip);
    });
    only(&dropped, "frame-dropped", "frame 17 was dropped");
    // The times of the others kept: a gap.
    let gap = found("gap", |mut frames, clip| {
        frames.remove(17);
        let stretch = "setpts='(N+gte(N,17))/24/TB'";
        encode_as("128x72", &frames, &["-vf", stretch, "-fps_mode", "vfr"], clip);
    });
    only(&gap, "frame-dropped", "frame 17 was dropped");
}

#[test]
fn a_frame_doubled_is_named() {
    let inserted = found("doubled", |mut frames, clip| {
        frames.insert(17, frames[16].clone());
        encode(&frames, clip);
    });
    only(&inserted, "frame-doubled", "frame 16 is doubled");
    let instead = found("instead", |mut frames, clip| {
        frames[17] = frames[16].clone();
        encode(&frames, clip);
    });
    only(&instead, "frame-doubled", "frame 16 is doubled: it stands in the place of frame 17 too");
}

#[test]
fn two_frames_swapped_are_named() {
    let near = found("swapped", |mut frames, clip| {
        frames.swap(17, 18);
        encode(&frames, clip);
    });
    only(&near, "frames-swapped", "frames 17 and 18 are swapped");
    let far = found("swapped-far", |mut frames, clip| {
        frames.swap(5, 31);
        encode(&frames, clip);
    });
    only(&far, "frames-swapped", "frames 5 and 31 are swapped");
}

#[test]
fn full_range_tagged_limited_is_named_and_a_wrong_tag_too() {
    let full = found("full", |mut frames, clip| {
        let pixels = 128 * 72;
        for frame in &mut frames {
            for (at, code) in frame.iter_mut().enumerate() {
                let (zero, scale) = if at < pixels { (16.0, 255.0 / 219.0) } else { (128.0, 255.0 / 224.0) };
                let centre = if at < pixels { 0.0 } else { 128.0 };
                *code = ((f64::from(*code) - zero) * scale + centre).round().clamp(0.0, 255.0) as u8;
            }
        }
        encode(&frames, clip);
    });
    only(&full, "wrong-range", "its codes take the full range instead of the limited one");
    let tagged = found("tagged-full", |frames, clip| encode_as("128x72", &frames, &["-color_range", "pc"], clip));
    assert!(
        tagged.iter().all(|(fault, words)| fault == "wrong-range" && words.contains("'pc' for range, expected 'tv'")),
        "{tagged:?}"
    );
}

#[test]
fn a_wrong_matrix_is_named_in_the_pixels_and_in_the_tags() {
    let pixels = found("matrix", |frames, clip| {
        let convert = "scale=in_color_matrix=bt709:out_color_matrix=bt601:flags=accurate_rnd+full_chroma_int";
        encode_as("128x72", &frames, &["-vf", convert], clip);
    });
    only(&pixels, "wrong-matrix", "made with the matrix of BT.601");
    let tags = found("matrix-tag", |frames, clip| encode_as("128x72", &frames, &["-colorspace", "smpte170m"], clip));
    assert_eq!(tags.len(), 2, "container and stream: {tags:?}");
    assert!(
        tags.iter().all(|(fault, words)| fault == "wrong-matrix" && words.contains("'smpte170m' for matrix, expected 'bt709'"))
    );
}

#[test]
fn a_file_cut_short_is_named() {
    let bench = rendered();
    let whole = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    resealed(bench, "cut", |clip| fs::write(clip, &whole[..whole.len() * 2 / 3]).unwrap());
    let cut = faults(&prove(bench, "cut", &["--frames", "all", "--json"]).expect(1));
    only(&cut, "cut-short", "the file is cut short: its index promises 40 frames");
}

#[test]
fn a_rotated_clip_is_named_whether_its_pixels_are_turned_or_only_a_flag_says_so() {
    let flag = found("rotated", |_, clip| {
        let whole = rendered().path("clips/move-wide.mp4");
        let copy = [
            "-i",
            whole.to_str().unwrap(),
            "-c",
            "copy",
            "-metadata:s:v:0",
            "rotate=90",
            "-video_track_timescale",
            "24000",
        ];
        ffmpeg(&[&copy[..], &["-movflags", "+faststart+write_colr", clip.to_str().unwrap()]].concat(), b"");
    });
    only(&flag, "rotated", "rotated: by 90 degrees");
    let turned = found("turned", |frames, clip| encode_as("128x72", &frames, &["-vf", "hflip,vflip"], clip));
    only(&turned, "rotated", "upside down (rotated by 180 degrees)");
    let quarter = found("quarter", |frames, clip| encode_as("128x72", &frames, &["-vf", "transpose=clock"], clip));
    only(&quarter, "rotated", "rotated by 90 degrees, clockwise");
}

#[test]
fn a_variable_rate_is_named() {
    let varies = found("varies", |frames, clip| {
        let late = "setpts='(N+0.4*gte(N,20))/24/TB'";
        encode_as(
            "128x72",
            &frames,
            &["-vf", &format!("settb=1/24000,{late}"), "-fps_mode", "vfr", "-enc_time_base", "1/24000"],
            clip,
        );
    });
    only(&varies, "variable-rate", "variable rate): frame 20 is shown at 0.8500 s, expected at 0.8333 s");
}

#[test]
fn a_clip_off_by_one_at_the_start_is_named() {
    let late = found("late", |mut frames, clip| {
        frames.remove(0);
        frames.push(frames[FRAMES - 2].clone());
        encode(&frames, clip);
    });
    only(&late, "off-by-one-at-start", "off by one at the start: frame 0 is missing");
    let early = found("early", |mut frames, clip| {
        frames.insert(0, vec![90; frames[0].len()]);
        encode(&frames, clip);
    });
    only(&early, "off-by-one-at-start", "off by one at the start: 1 frame too many before frame 0");
}

/// The frames that another script makes of other stills.
fn others(folder: &str, script: &str, swap: Option<(usize, usize)>) -> Vec<Vec<u8>> {
    let bench = super::common::Bench::new(FRAMES);
    if let Some((one, other)) = swap {
        fs::copy(bench.still(other), bench.still(one)).unwrap();
        // Two stills of the same bytes are one still and its copy.
        let mut bytes = fs::read(bench.still(one)).unwrap();
        bytes.push(0);
        fs::write(bench.still(one), bytes).unwrap();
    }
    bench.script(script);
    bench.run(&["render", "move.lua", "--out", folder, "--no-strip"]).expect(0);
    frames(&bench.path(folder).join("move-wide.mp4"))
}

#[test]
fn another_still_shown_in_one_frame_is_named() {
    let others = others("others", SCRIPT, Some((21, 31)));
    let one = found("another", |mut frames, clip| {
        frames[20].clone_from(&others[20]);
        encode(&frames, clip);
    });
    only(&one, "another-still", "frame 20 shows still LAPS0031, expected still LAPS0021");
}

#[test]
fn a_stretch_of_an_older_script_is_named() {
    let older = others("older", &SCRIPT.replace("zoom = 1.5", "zoom = 2.5"), None);
    let stretch = found("stretch", |mut frames, clip| {
        frames.splice(20..30, older[20..30].iter().cloned());
        encode(&frames, clip);
    });
    only(&stretch, "another-script", "frames 20 to 29 are not what this script makes of these stills");
}

#[test]
fn the_last_frame_missing_is_named() {
    let last = found("last", |mut frames, clip| {
        frames.pop();
        encode(&frames, clip);
    });
    only(&last, "last-frame-missing", "the last frame, 39, is missing");
}

#[test]
fn of_some_frames_only_what_lies_between_them_is_named_and_how_to_find_out_more() {
    let bench = rendered();
    resealed(bench, "some", |clip| {
        let mut frames = frames(&bench.path("clips/move-wide.mp4"));
        frames.remove(17);
        encode(&frames, clip);
    });
    let ran = prove(bench, "some", &[]).expect(1);
    assert!(ran.out.contains("dropped") && ran.out.contains("--frames all` tells which frames exactly"), "{}", ran.out);
}

#[test]
fn in_a_sequence_every_fault_is_told_to_the_bit_without_a_frame_made_anew() {
    let bench = super::common::Bench::new(24);
    bench.script(&SCRIPT.replace("quality = { crf = 1 }", "codec = \"png\""));
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let frame = |number: usize| bench.path(&format!("clips/move-wide/{number:06}.png"));
    let told = || faults(&prove(&bench, "clips", &["--frames", "0", "--json"]).expect(1));
    let swap = |one: usize, other: usize| {
        fs::rename(frame(one), bench.path("aside")).unwrap();
        fs::rename(frame(other), frame(one)).unwrap();
        fs::rename(bench.path("aside"), frame(other)).unwrap();
    };
    prove(&bench, "clips", &["--frames", "0"]).expect(0);
    swap(4, 9);
    let swapped = told();
    assert!(swapped.iter().any(|(fault, words)| fault == "frames-swapped" && words.contains("4 and 9")), "{swapped:?}");
    swap(4, 9);
    fs::rename(frame(7), bench.path("aside")).unwrap();
    let dropped = told();
    assert!(dropped.iter().any(|(fault, words)| fault == "frame-dropped" && words.contains("frame 7")), "{dropped:?}");
    fs::copy(frame(6), frame(7)).unwrap();
    let doubled = told();
    assert!(doubled.iter().any(|(fault, words)| fault == "frame-doubled" && words.contains("frame 6")), "{doubled:?}");
}

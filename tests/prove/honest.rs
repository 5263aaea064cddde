//! Whole receipts prove.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};

use super::common::Bench;
use super::{SCRIPT, encode, faults, ffmpeg, frames, prove, rendered, resealed};

#[test]
fn a_whole_receipt_proves_and_says_what_rests_on_what() {
    let bench = rendered();
    let ran = prove(bench, "clips", &[]).expect(0);
    for words in [
        "PROVED. All of it is as the receipt says.",
        "40 of 40 are what the render read",
        "40 frames of 128x72, decoded to the end",
        "13 frames made anew from the stills fit",
        "byte for byte what was delivered",
        "13 of 40 frames were made anew from the stills and compared.",
    ] {
        assert!(ran.out.contains(words), "{words:?} is not said:\n{}", ran.out);
    }
    assert!(!ran.out.to_lowercase().contains("delete") && ran.out.lines().count() <= 24, "{}", ran.out);
    // What it says to type works.
    let advice = ran.out.lines().find_map(|line| line.trim().strip_prefix("`stillpath ")?.split('`').next()).unwrap();
    let all = bench.run(&advice.split(' ').collect::<Vec<_>>()).expect(0);
    assert!(all.out.contains("all 40 frames made anew from the stills fit"), "{}", all.out);
    assert!(all.out.contains("Every one of the 40 frames was made anew"), "{}", all.out);
    let again = |seed: &str| prove(bench, "clips", &["--frames", "3", "--seed", seed, "--json"]).expect(0).json();
    assert_eq!(again("5"), again("5"));
    assert_eq!(again("5")["frames_made_anew"], 6);
}

#[test]
fn the_same_frames_encoded_by_another_program_fit_and_only_the_bytes_are_others() {
    let bench = rendered();
    resealed(bench, "honest", |clip| encode(&frames(&bench.path("clips/move-wide.mp4")), clip));
    assert_eq!(faults(&prove(bench, "honest", &["--frames", "all", "--json"])), []);
    // Without the receipt's consent.
    fs::create_dir_all(bench.path("other")).unwrap();
    fs::copy(bench.path("honest/move-wide.mp4"), bench.path("other/move-wide.mp4")).unwrap();
    fs::copy(bench.path("clips/move-receipt.json"), bench.path("other/move-receipt.json")).unwrap();
    let ran = prove(bench, "other", &["--json"]).expect(1);
    let found = faults(&ran);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "other-bytes");
}

#[test]
fn several_shots_dials_modules_sources_tables_sequences_and_damaged_stills_prove() {
    let bench = Bench::new(14);
    fs::create_dir(bench.path("own")).unwrap();
    fs::write(bench.path("own/place.lua"), "return { zoom = 1.2 }\n").unwrap();
    bench.script(
        r#"local own = require "own.place"
local near = dial("near", 1.3, { min = 1, max = 2, help = "how close" })
local source = stills { "stills", missing = "skip", damaged = "hold" }
local function cut(name, more)
  return shot { name = name, source = source, fps = 24, pace = stills_per_frame(1), level = true,
    framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = own.zoom }, key { at = "end", on = point(0.5, 0.5), zoom = near } },
    deliveries = more }
end
return {
  cut("one", { delivery { "wide", frame = { 96, 54 } }, delivery { "sequence", frame = { 54, 96 }, codec = "png" } }),
  cut("two", { delivery { "mixed", frame = { 64, 64 }, shutter = 360 } }),
}"#,
    );
    fs::rename(bench.path("stills"), bench.path("other")).unwrap();
    fs::remove_file(bench.path("other/LAPS0004.JPG")).unwrap();
    super::common::corrupt(&bench.path("other/LAPS0009.JPG"));
    bench.run(&["render", "move.lua", "--out", "clips", "--set", "near=1.6", "--source", "other"]).expect(0);
    let ran = prove(&bench, "clips", &["--frames", "all"]).expect(0);
    assert!(ran.out.contains("every frame is the one that the receipt says, to the bit"), "{}", ran.out);
    // A file that came to lie beside the stills changes no frame.
    fs::write(bench.path("other/notes.txt"), "fog from 11 on").unwrap();
    prove(&bench, "clips", &[]).expect(0);
    fs::write(bench.path("own/place.lua"), "return { zoom = 1.25 }\n").unwrap();
    let found = faults(&prove(&bench, "clips", &["--json"]).expect(1));
    assert!(
        found.iter().any(|(fault, words)| fault == "module-changed" && words.contains("own/place.lua")),
        "{found:?}"
    );
    assert!(found.iter().any(|(fault, _)| fault == "other-plan"), "{found:?}");
}

#[test]
fn stills_that_only_the_render_found_to_be_damaged_are_skipped_again() {
    let bench = Bench::new(12);
    super::common::corrupt(&bench.still(5));
    let two = SCRIPT.replace("{ \"stills\" }", "{ \"stills\", damaged = \"skip\" }");
    bench.script(&two);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let ran = prove(&bench, "clips", &["--frames", "all"]).expect(0);
    assert!(ran.out.contains("all 11 frames made anew from the stills fit"), "{}", ran.out);
}

#[test]
fn a_clip_of_a_recording_with_its_sound_proves_and_the_recording_changed_is_named() {
    let bench = Bench::new(0);
    let pictures =
        ["-f", "lavfi", "-i", "testsrc2=size=320x240:rate=24:duration=2", "-f", "lavfi", "-i", "sine=duration=2"];
    ffmpeg(
        &[&pictures[..], &["-c:v", "libx264", "-c:a", "aac", bench.path("day.mov").to_str().unwrap()]].concat(),
        b"",
    );
    let of_recording = SCRIPT
        .replace("stills { \"stills\" }", "recording \"day.mov\"")
        .replace("stills_per_frame(1)", "times(1), sound = \"real-time\"");
    bench.script(&of_recording);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let ran = prove(&bench, "clips", &["--frames", "all"]).expect(0);
    assert!(ran.out.contains("1 of 1 are what the render read"), "{}", ran.out);
    let mut bytes = fs::read(bench.path("day.mov")).unwrap();
    // A word in a tag: no frame is another.
    let at = bytes.windows(4).position(|word| word == b"Lavf").unwrap();
    bytes[at] = b'l';
    fs::write(bench.path("day.mov"), bytes).unwrap();
    let found = faults(&prove(&bench, "clips", &["--json"]).expect(1));
    assert!(found.iter().any(|(fault, words)| fault == "still-changed" && words.contains("day.mov")), "{found:?}");
    assert_eq!(found.len(), 1, "{found:?}");
}

#[test]
fn at_any_quality_honest_frames_are_neither_too_coarse_nor_taken_for_their_neighbours() {
    let bench = Bench::new(24);
    for (folder, quality) in [("low", "{ crf = 40, preset = \"veryfast\" }"), ("default", "75")] {
        // Slow enough for neighbours to be alike.
        let slow = SCRIPT.replace("stills_per_frame(1)", "frames_per_still(2)").replace("{ crf = 1 }", quality);
        bench.script(&slow);
        bench.run(&["render", "move.lua", "--out", folder]).expect(0);
        assert_eq!(faults(&prove(&bench, folder, &["--frames", "all", "--json"])), [], "{folder}");
    }
}

#[test]
fn stills_full_of_noise_prove_although_less_is_kept_of_them_than_is_due() {
    let size = super::common::STILL;
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    let mut noise = 7_u32;
    for number in 1..=8 {
        let codes = (0..3 * size.pixels()).map(|_| {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            78 + (noise >> 24) as u8 % 100
        });
        let codes: Vec<u8> = codes.collect();
        fs::write(bench.still(number), stillpath::ffi::jpeg::encode_rgb(&codes, size, 97, (1, 1), &[])).unwrap();
    }
    // A pixel of the still fills one of the frame: no noise is averaged away.
    bench.script(
        &SCRIPT
            .replace("{ crf = 1 }", "{ crf = 23 }")
            .replace("zoom = 1.5", "zoom = 2.5")
            .replace("zoom = 1 ", "zoom = 2.4 "),
    );
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let ran = prove(&bench, "clips", &["--frames", "all"]).expect(0);
    assert!(ran.out.contains("(33.5 due, less for a frame full of noise, such as this one)"), "{}", ran.out);
}

#[test]
fn an_interrupt_ends_it_at_once() {
    let bench = rendered();
    // A copy that takes long to read, and no room.
    fs::create_dir_all(bench.path("slow/stills")).unwrap();
    fs::File::create(bench.path("slow/stills/LAPS0001.JPG")).unwrap().set_len(1 << 40).unwrap();
    let mut command = bench.command(&["prove", "clips/move-receipt.json", "--copy", "slow"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // It is at work, and listens, once it tells how far it is.
    let mut told = BufReader::new(child.stderr.take().unwrap()).lines();
    assert!(told.next().unwrap().unwrap().contains("hashed"));
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(130));
    fs::remove_dir_all(bench.path("slow")).unwrap();
}

#[test]
fn a_master_proves_against_its_stills_and_a_frame_that_is_another_is_named() {
    let bench = Bench::new(6);
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1), deliveries = {
  delivery { "master", frame = "full", every = "still" }, delivery { "small", frame = "full", every = "still", codec = "hevc" } } }"#,
    );
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let ran = prove(&bench, "clips", &["--frames", "all"]).expect(0);
    assert!(ran.out.contains("every frame is the one that the receipt says, to the bit; all made anew"), "{}", ran.out);
    assert!(ran.out.contains("all 6 frames made anew from the stills fit"), "{}", ran.out);
    // Another still in a frame, in a file whose hash was made to fit: the frames of the middle, changed about.
    let master = bench.path("clips/move-master.mkv");
    let other = bench.path("other.mkv");
    let swap = "[0:v]trim=end_frame=2,setpts=N/24/TB[a];[0:v]trim=start_frame=2:end_frame=3,setpts=N/24/TB[b];\
[0:v]trim=start_frame=3:end_frame=4,setpts=N/24/TB[c];[0:v]trim=start_frame=4,setpts=N/24/TB[d];[a][c][b][d]concat=n=4";
    let [from, to] = [&master, &other].map(|path| path.to_str().unwrap().to_owned());
    let arguments = ["-v", "error", "-i", &from, "-filter_complex", swap, "-c:v", "ffv1", "-level", "3", &to];
    assert!(Command::new("ffmpeg").args(arguments).status().unwrap().success());
    fs::rename(&other, &master).unwrap();
    let bytes = fs::read(&master).unwrap();
    let mut receipt = super::receipt(&bench, "clips");
    let delivery = receipt.deliveries.iter_mut().find(|delivery| delivery.name == "master").unwrap();
    (delivery.bytes, delivery.blake3) = (bytes.len() as u64, blake3::hash(&bytes).to_hex().to_string());
    super::seal(&bench, "clips", receipt);
    let found = faults(&prove(&bench, "clips", &["--frames", "all", "--json"]).expect(1));
    assert!(found.iter().any(|(fault, _)| fault.contains("swap") || fault.contains("another")), "{found:?}");
}

//! Runs that are interrupted, and the next ones: the whole program from outside.
//!
//! FFmpeg must be there (`scripts/test` installs it): without it these tests fail.
#![expect(clippy::cast_possible_truncation, reason = "test pictures are small")]

mod common;

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use common::{Bench, Ran, STILL, picture};
use serde_json::Value;
use stillpath::ffi::jpeg;

/// Two stills a second shown for two frames each: a stretch of 8 frames shows 4 stills, and no still is shown in two
/// stretches.
const SCRIPT: &str = r#"
return shot {
  source = stills { "stills" },
  fps = 2,
  pace = frames_per_still(2),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.6, 0.4), zoom = 1.5 },
  },
  deliveries = {
    delivery { "wide", frame = { 640, 360 }, quality = { crf = 18, preset = "slow" } },
    delivery { "square", frame = { 96, 96 }, codec = "png" },
  },
}
"#;

const STILLS: usize = 50;
const FRAMES: u64 = 100;
const STRETCH: u64 = 8;

/// The shoot and the script.
fn bench() -> Bench {
    let bench = Bench::new(STILLS);
    bench.script(SCRIPT);
    bench
}

/// Begins a render into a folder.
fn begin(bench: &Bench, out: &str, more: &[&str]) -> Child {
    let arguments = [&["render", "move.lua", "--threads", "2", "--no-strip", "--out", out], more].concat();
    bench.command(&arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Renders into a folder, to the end.
fn render(bench: &Bench, out: &str, more: &[&str]) -> Ran {
    Ran::of(begin(bench, out, more).wait_with_output().unwrap())
}

/// Renders into a folder, to the end; the outcome.
fn outcome(bench: &Bench, out: &str, more: &[&str]) -> Value {
    render(bench, out, &[more, &["--json"]].concat()).expect(0).json()
}

fn send(signal: &str, child: &Child) {
    assert!(Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap().success());
}

/// Waits until a file of a run is there, and says whether it came.
fn wait_for(path: &Path, child: &mut Child) -> bool {
    let began = Instant::now();
    while !path.exists() && began.elapsed() < Duration::from_secs(60) {
        if child.try_wait().unwrap().is_some() {
            return false;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    path.exists()
}

/// Interrupts a render as soon as a file is there.
fn interrupted_at(bench: &Bench, out: &str, file: &str, signal: &str) -> Ran {
    let mut child = begin(bench, out, &[]);
    assert!(wait_for(&bench.path(out).join(file), &mut child), "the render never came to {file}");
    send(signal, &child);
    Ran::of(child.wait_with_output().unwrap())
}

/// Hashes of all frames, by output.
fn planes(outcome: &Value) -> Vec<Value> {
    outcome["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect()
}

/// Frames taken over, by output.
fn taken_over(outcome: &Value) -> Vec<u64> {
    outcome["outputs"].as_array().unwrap().iter().map(|output| output["taken_over"].as_u64().unwrap()).collect()
}

/// The bytes of the clip, and of every file of the sequence.
fn bytes(bench: &Bench, out: &str) -> Vec<Vec<u8>> {
    let frames = bench.list(&format!("{out}/move-square"));
    let files = frames.iter().map(|name| bench.path(out).join("move-square").join(name));
    files.chain([bench.path(out).join("move-wide.mp4")]).map(|file| fs::read(file).unwrap()).collect()
}

/// A run's receipt without what tells that run from another.
fn receipt(bench: &Bench, out: &str) -> Value {
    let mut receipt: Value =
        serde_json::from_slice(&fs::read(bench.path(out).join("move-receipt.json")).unwrap()).unwrap();
    for field in ["hash", "made", "stages"] {
        receipt[field] = Value::Null;
    }
    receipt["deliveries"].as_array_mut().unwrap().iter_mut().for_each(|delivery| delivery["taken_over"] = Value::Null);
    receipt
}

/// Whole stretches, and frames in them, of an output that is not there yet.
fn kept(bench: &Bench, out: &str, name: &str, every: u64) -> u64 {
    let names = bench.list(&format!("{out}/.{name}.part"));
    names.iter().filter(|name| name.ends_with(".stretch")).count() as u64 * every
}

/// Whether nothing is kept of the clip any more.
fn kept_folder_is_gone(bench: &Bench, out: &str) -> bool {
    !bench.path(out).join(".move-wide.mp4.part").exists()
}

/// A source of numbers that look random.
struct Random(u64);

impl Random {
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }
}

// JOB, capability 8.
/// Fault 72: interrupt, kill.
#[test]
fn killed_at_twenty_moments_a_render_comes_out_as_if_it_had_never_been_and_loses_no_more_than_a_stretch() {
    let bench = bench();
    bench.script(&SCRIPT.replace("{ 640, 360 }", "{ 320, 180 }").replace("slow", "medium"));
    let began = Instant::now();
    let whole = outcome(&bench, "whole", &[]);
    let mut time = u64::try_from(began.elapsed().as_millis()).unwrap();
    assert_eq!(bench.list("whole"), ["move-receipt.json", "move-square", "move-wide.mp4"]);
    assert_eq!(taken_over(&whole), [0, 0]);
    assert_eq!(whole["stills_decoded"], STILLS);
    let due = bytes(&bench, "whole");
    let (mut random, mut lost, mut saved) = (Random(8), 0, 0);
    for kill in 0..20 {
        let out = format!("out{kill}");
        loop {
            let mut child = begin(&bench, &out, &[]);
            std::thread::sleep(Duration::from_millis(random.below(time)));
            child.kill().unwrap();
            // With its receipt there and what was kept tidied away, it was over but for its last words.
            let over = bench.path(&out).join("move-receipt.json").exists() && kept_folder_is_gone(&bench, &out);
            if child.wait().unwrap().code().is_none() && !over {
                break;
            }
            // It had come to its end: the machine is less busy than when the time was taken.
            fs::remove_dir_all(bench.path(&out)).unwrap();
            time = time * 7 / 8;
        }
        // No more than one stretch was in the making, and nothing that is not whole has its name.
        let left = bench.list(&format!("{out}/.move-wide.mp4.part"));
        let unfinished: Vec<&String> = left.iter().filter(|name| name.ends_with(".unfinished")).collect();
        let frames = kept(&bench, &out, "move-wide.mp4", STRETCH);
        assert!(unfinished.len() <= 1, "{left:?}");
        if let [unfinished] = unfinished[..] {
            assert_eq!(*unfinished, format!("{:06}.unfinished", frames / STRETCH));
            lost += 1;
        }
        let clip = bench.path(&out).join("move-wide.mp4");
        let receipted = bench.path(&out).join("move-receipt.json").exists();
        assert!(!receipted || clip.exists(), "kill {kill}: a receipt of what is not whole");
        if clip.exists() {
            assert!(fs::read(&clip).unwrap() == due[due.len() - 1], "kill {kill}: it has its name and is not whole");
        }
        let there = clip.exists();
        let json = outcome(&bench, &out, &[]);
        assert_eq!(planes(&json), planes(&whole));
        assert!(bytes(&bench, &out) == due, "kill {kill}: the bytes tell");
        assert_eq!(receipt(&bench, &out), receipt(&bench, "whole"), "kill {kill}: the receipt tells");
        assert_eq!(bench.list(&out), ["move-receipt.json", "move-square", "move-wide.mp4"]);
        let taken = taken_over(&json);
        assert_eq!(taken[0], if there { FRAMES } else { frames.min(FRAMES) });
        // A still is decoded only where a frame that is due shows it.
        let decoded = json["stills_decoded"].as_u64().unwrap();
        assert_eq!(decoded, (FRAMES - taken[0].min(taken[1])).div_ceil(2), "{taken:?}");
        saved += STILLS as u64 - decoded;
    }
    assert!(
        lost >= 5 && saved >= STILLS as u64,
        "the kills hit nothing: {lost} stretches were lost, {saved} stills saved"
    );
    let clip = bench.path("out19/move-wide.mp4");
    let shown = ["-v", "error", "-show_entries", "frame=pts", "-of", "csv=p=0", clip.to_str().unwrap()];
    let shown = Command::new("ffprobe").args(shown).output().unwrap().stdout;
    let shown = String::from_utf8(shown).unwrap();
    let lines = shown.lines().map(|line| line.trim_end_matches(',')).filter(|line| !line.is_empty());
    let shown: Vec<u64> = lines.map(|line| line.parse().unwrap()).collect();
    assert_eq!(shown, (0..FRAMES).map(|frame| frame * shown[1]).collect::<Vec<_>>());
}

/// Fault 72: interrupt, kill.
#[test]
fn an_interrupt_keeps_whole_stretches_and_says_what_to_type_and_fresh_throws_them_away() {
    let bench = bench();
    let whole = outcome(&bench, "whole", &[]);
    let ran = interrupted_at(&bench, "clips", ".move-wide.mp4.part/000001.stretch", "-INT").expect(130);
    let frames = kept(&bench, "clips", "move-wide.mp4", STRETCH);
    let words =
        format!("interrupted; {frames} of 100 frames of clips/move-wide.mp4 are kept, in clips/.move-wide.mp4.part");
    let ran =
        ran.says(&words).says("give the same command to go on from there; with --fresh it starts from the beginning");
    assert!(!ran.err.contains("start again"), "{}", ran.err);
    assert!(bench.list("clips").iter().all(|name| name.starts_with('.')), "{:?}", bench.list("clips"));
    assert!(bench.list("clips/.move-wide.mp4.part").iter().all(|name| name.ends_with(".stretch")));
    // A copy of what is kept, for another way on.
    let copied = Command::new("cp").arg("-r").arg(bench.path("clips")).arg(bench.path("fresh")).status().unwrap();
    assert!(copied.success());
    let ran = render(&bench, "clips", &[]).expect(0);
    assert!(ran.out.contains(&format!("{frames} of them kept from an interrupted run")), "{}", ran.out);
    ran.says(&format!("clips/move-wide.mp4: going on; {frames} of 100 frames are there from an interrupted run"));
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-square", "move-wide.mp4"]);
    let json = outcome(&bench, "fresh", &["--fresh"]);
    assert_eq!((taken_over(&json), &json["stills_decoded"]), (vec![0, 0], &STILLS.into()));
    assert_eq!(planes(&json), planes(&whole));
    assert!(bytes(&bench, "clips") == bytes(&bench, "whole") && bytes(&bench, "fresh") == bytes(&bench, "whole"));
}

/// Fault 76: what is kept is another script's or version's.
#[test]
fn a_changed_script_or_still_costs_only_its_own_stretches() {
    let bench = bench();
    interrupted_at(&bench, "script", ".move-wide.mp4.part/000002.stretch", "-KILL");
    for copy in ["still", "other"] {
        let copied = Command::new("cp").arg("-r").arg(bench.path("script")).arg(bench.path(copy)).status().unwrap();
        assert!(copied.success());
    }
    let frames = kept(&bench, "script", "move-wide.mp4", STRETCH);
    // From frame 30 on the window goes elsewhere: the first three stretches stay as they are.
    let held =
        SCRIPT.replace("key { at = \"end\"", "key { at = 15, on = point(0.53, 0.47), zoom = 1.2 }, key { at = \"end\"");
    bench.script(&held);
    interrupted_at(&bench, "tail", ".move-wide.mp4.part/000002.stretch", "-KILL");
    bench.script(&held.replace("zoom = 1.5 }", "zoom = 1.6 }"));
    let json = outcome(&bench, "tail", &[]);
    assert_eq!(taken_over(&json)[0], 3 * STRETCH);
    bench.script(SCRIPT);
    // Another codec setting changes everything.
    bench.script(&SCRIPT.replace("crf = 18", "crf = 19"));
    assert_eq!(taken_over(&outcome(&bench, "script", &["--delivery", "wide"]))[0], 0);
    bench.script(SCRIPT);
    // One still of the second stretch, of the same size and time: what it holds tells.
    let still = bench.still(6);
    let (modified, length) = (fs::metadata(&still).unwrap().modified().unwrap(), fs::metadata(&still).unwrap().len());
    let mut bytes = jpeg::encode_rgb(&picture(STILL, 99), STILL, 92, (2, 2), &[]);
    let padding = usize::try_from(length).unwrap().checked_sub(bytes.len());
    bytes.extend(vec![0; padding.unwrap_or(0)]);
    fs::write(&still, &bytes).unwrap();
    fs::File::options().append(true).open(&still).unwrap().set_modified(modified).unwrap();
    let json = outcome(&bench, "still", &[]);
    assert_eq!(taken_over(&json)[0], frames - STRETCH);
    let anew = outcome(&bench, "anew", &[]);
    assert_eq!(planes(&json), planes(&anew));
    // Other threads of the encoder give other bytes.
    let arguments = ["render", "move.lua", "--no-strip", "--out", "other", "--threads", "7", "--json"];
    assert_eq!(taken_over(&bench.run(&arguments).expect(0).json())[0], 0);
}

#[test]
fn a_changed_line_of_a_path_table_makes_its_stretch_anew_and_no_other() {
    let bench = bench();
    let framing = SCRIPT.split_once("framing = ").unwrap().1;
    let mut depth = 0_usize;
    let end = framing.find(|letter| {
        depth = depth + usize::from(letter == '{') - usize::from(letter == '}');
        letter == '}' && depth == 0
    });
    let whole = &framing[..=end.unwrap()];
    let table = |other: u64| {
        let line = |frame: u64| format!("{frame},{},20,160,90\n", if frame == other { 41 } else { 40 });
        format!("frame,x,y,width,height\n{}", (0..100).map(line).collect::<String>())
    };
    fs::write(bench.path("path.csv"), table(1000)).unwrap();
    bench.script(&SCRIPT.replace(whole, "framing { table = \"path.csv\" }"));
    interrupted_at(&bench, "clips", ".move-wide.mp4.part/000003.stretch", "-KILL");
    let frames = kept(&bench, "clips", "move-wide.mp4", STRETCH);
    fs::write(bench.path("path.csv"), table(STRETCH + 2)).unwrap();
    assert_eq!(taken_over(&outcome(&bench, "clips", &[]))[0], frames - STRETCH);
}

#[test]
fn a_changed_stamp_makes_its_frames_anew_and_an_unchanged_one_keeps_them() {
    let bench = bench();
    let stamped = |text: &str| {
        let stamps = format!("  stamps = {{ stamp {{ text = \"{text}\" }} }},\n  deliveries = {{");
        SCRIPT.replace("  deliveries = {", &stamps)
    };
    bench.script(&stamped("{number}"));
    interrupted_at(&bench, "clips", ".move-wide.mp4.part/000002.stretch", "-KILL");
    let copied = Command::new("cp").arg("-r").arg(bench.path("clips")).arg(bench.path("other")).status().unwrap();
    assert!(copied.success());
    let frames = kept(&bench, "clips", "move-wide.mp4", STRETCH);
    assert!(frames >= STRETCH);
    assert_eq!(taken_over(&outcome(&bench, "clips", &[]))[0], frames);
    bench.script(&stamped("{number}."));
    assert_eq!(taken_over(&outcome(&bench, "other", &[]))[0], 0);
}

#[test]
fn an_output_that_was_finished_before_the_interrupt_is_not_made_again_nor_in_the_way() {
    let bench = Bench::new(STILLS);
    fs::rename(bench.path("stills"), bench.path("morning")).unwrap();
    let copied = Command::new("cp").arg("-r").arg(bench.path("morning")).arg(bench.path("evening")).status().unwrap();
    assert!(copied.success());
    let day = |preset: &str| {
        let cut = |name: &str, preset: &str| {
            let shot =
                SCRIPT.replace("\"stills\"", &format!("\"{name}\"")).replace("return ", "").replace("slow", preset);
            shot.replace("shot {", &format!("shot {{ name = \"{name}\",")).replace("\"wide\"", &format!("\"{name}\""))
        };
        let shots = [cut("morning", "ultrafast"), cut("evening", preset)].map(|shot| {
            let line = shot.lines().find(|line| line.contains("codec = \"png\"")).unwrap().to_owned();
            shot.replace(&line, "")
        });
        format!("return {{ {} }}", shots.join(","))
    };
    bench.script(&day("slow"));
    let whole = outcome(&bench, "whole", &[]);
    interrupted_at(&bench, "clips", ".move-evening.mp4.part/000001.stretch", "-INT").expect(130);
    assert_eq!(bench.list("clips"), [".move-evening.mp4.part", ".move-morning.mp4.part", "move-morning.mp4"]);
    let before = fs::metadata(bench.path("clips/move-morning.mp4")).unwrap().modified().unwrap();
    // Another file of that name is in the way as ever.
    fs::copy(bench.path("clips/move-morning.mp4"), bench.path("kept.mp4")).unwrap();
    fs::write(bench.path("clips/move-morning.mp4"), "somebody else's").unwrap();
    render(&bench, "clips", &[]).expect(1).says("already there");
    assert_eq!(fs::read(bench.path("clips/move-morning.mp4")).unwrap(), b"somebody else's");
    fs::rename(bench.path("kept.mp4"), bench.path("clips/move-morning.mp4")).unwrap();
    fs::File::options().append(true).open(bench.path("clips/move-morning.mp4")).unwrap().set_modified(before).unwrap();
    let json = outcome(&bench, "clips", &[]);
    assert_eq!(taken_over(&json)[0], FRAMES);
    let due = FRAMES - taken_over(&json)[1];
    assert!(due < FRAMES && json["stills_decoded"] == due / 2, "{:?}", taken_over(&json));
    assert_eq!(planes(&json), planes(&whole));
    assert_eq!(bench.list("clips"), ["move-evening.mp4", "move-morning.mp4", "move-receipt.json"]);
    for name in ["move-evening.mp4", "move-morning.mp4"] {
        assert!(fs::read(bench.path("clips").join(name)).unwrap() == fs::read(bench.path("whole").join(name)).unwrap());
    }
    assert_eq!(fs::metadata(bench.path("clips/move-morning.mp4")).unwrap().modified().unwrap(), before);
    // Now it is an output like any other.
    render(&bench, "clips", &[]).expect(1).says("already there");
}

/// Fault 20: a drive that is gone.
#[test]
fn a_drive_that_vanishes_ends_the_run_resumable_and_no_frame_is_wrong() {
    let bench = bench();
    let whole = outcome(&bench, "whole", &[]);
    let mut child = begin(&bench, "clips", &["--wait", "1"]);
    assert!(wait_for(&bench.path("clips/.move-wide.mp4.part/000000.stretch"), &mut child));
    fs::rename(bench.path("stills"), bench.path("away")).unwrap();
    let ran = Ran::of(child.wait_with_output().unwrap()).expect(2);
    let ran = ran
        .says("waiting for the stills")
        .says("did not come back within 1 s")
        .says("no still was replaced by another");
    ran.says("of 100 frames of clips/move-wide.mp4").says("give the same command to go on from there");
    let frames = kept(&bench, "clips", "move-wide.mp4", STRETCH);
    assert!((STRETCH..FRAMES).contains(&frames), "{frames}");
    fs::rename(bench.path("away"), bench.path("stills")).unwrap();
    let json = outcome(&bench, "clips", &[]);
    assert_eq!(taken_over(&json)[0], frames);
    assert_eq!(planes(&json), planes(&whole));
    assert!(bytes(&bench, "clips") == bytes(&bench, "whole"));
    assert_eq!(bench.list("stills").len(), STILLS, "nothing was written among the stills");
}

#[test]
fn what_was_said_of_the_stills_of_a_stretch_taken_over_is_said_again() {
    let bench = bench();
    // A grey one among colours: without what the first run saw, most of what is left might be taken for the odd one.
    let grey = image::GrayImage::from_fn(STILL.width, STILL.height, |x, y| image::Luma([(x + y) as u8 / 4]));
    grey.save(bench.still(7).with_extension("jpg")).unwrap();
    fs::rename(bench.still(7).with_extension("jpg"), bench.still(7)).unwrap();
    bench.script(&SCRIPT.replace("\"stills\" }", "\"stills\", damaged = \"hold\" }"));
    common::corrupt(&bench.still(3));
    let whole = outcome(&bench, "whole", &[]);
    assert_eq!(whole["shots"][0]["stood_in"][0]["slot"], 3);
    interrupted_at(&bench, "clips", ".move-wide.mp4.part/000001.stretch", "-KILL");
    let json = outcome(&bench, "clips", &[]);
    assert!(taken_over(&json)[0] >= 2 * STRETCH);
    assert_eq!(json["shots"], whole["shots"]);
    assert_eq!(receipt(&bench, "clips"), receipt(&bench, "whole"));
    assert!(whole["remarks"].to_string().contains("grey, in sRGB, unlike most of the shoot"), "{}", whole["remarks"]);
    assert_eq!(json["remarks"], whole["remarks"]);
    assert_eq!(planes(&json), planes(&whole));
}

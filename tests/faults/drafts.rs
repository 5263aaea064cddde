//! Drafts from outside: never in a finished file's place, from small stills that are kept, and whatever happens to
//! these.

use std::fs;
use std::path::PathBuf;

use serde_json::Value;
use stillpath::ffi::jpeg;
use stillpath::units::Size;

use crate::common::{Bench, STILL, corrupt, one, picture};
use crate::ffmpeg;
use crate::recordings::film;

/// Deliveries of every kind.
const ALL: &str = r#"return shot { source = stills { "stills" }, fps = 24, pace = frames_per_still(1.5),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 }, key { at = "end", on = point(0.6, 0.4), zoom = 1.5 } },
  deliveries = {
    delivery { "wide", frame = { 128, 72 } },
    delivery { "tall", frame = { 70, 126 }, codec = "png" },
    delivery { "mixed", frame = { 96, 96 }, between = "mix", shutter = 720 },
    delivery { "moved", frame = { 96, 96 }, between = "motion" },
    delivery { "rolled", frame = { 64, 64 }, framing = framing {
      key { at = "start", on = point(0.5, 0.5), zoom = 2 }, key { at = "end", on = point(0.5, 0.5), zoom = 2, roll = 30 } } },
  } }"#;

/// A draft's outcome.
fn draft(bench: &Bench, more: &[&str]) -> Value {
    bench
        .run(&[&["render", "move.lua", "--out", "clips", "--draft", "--no-strip", "--json"], more].concat())
        .expect(0)
        .json()
}

/// The hashes of all frames of all deliveries.
fn planes(outcome: &Value) -> Vec<Value> {
    outcome["outputs"].as_array().unwrap().iter().map(|output| output["frame_planes"].clone()).collect()
}

fn counts(outcome: &Value) -> [u64; 2] {
    ["stills_decoded", "stills_kept"].map(|name| outcome[name].as_u64().unwrap())
}

/// The files of small stills.
fn kept(bench: &Bench) -> Vec<PathBuf> {
    let shelves = bench.list("cache/stillpath/small").into_iter().map(|shelf| format!("cache/stillpath/small/{shelf}"));
    shelves
        .flat_map(|shelf| bench.list(&shelf).into_iter().map(move |name| format!("{shelf}/{name}")))
        .map(|below| bench.path(&below))
        .collect()
}

#[test]
fn a_draft_is_half_as_large_never_takes_a_finished_files_place_and_says_what_it_is() {
    let bench = Bench::new(6);
    bench.script(ALL);
    bench.render().expect(0);
    let finished = [
        "move-mixed.mp4",
        "move-moved.mp4",
        "move-receipt.json",
        "move-rolled.mp4",
        "move-strip.png",
        "move-tall",
        "move-wide.mp4",
    ];
    assert_eq!(bench.list("clips"), finished);
    let bytes = |name: &str| fs::read(bench.path("clips").join(name)).unwrap();
    let before = finished.map(|name| if name == "move-tall" { Vec::new() } else { bytes(name) });
    let rows = |arguments: &[&str]| bench.run(arguments).expect(0).out;
    let plan = rows(&["plan", "move.lua", "--json"]);
    // The second draft takes the first one's place without being told; finished files are not asked for.
    for kept in ["0 kept", "6 kept"] {
        let ran = bench.run(&["render", "move.lua", "--out", "clips", "--draft"]).expect(0);
        for said in [
            "frames of 64x36",
            "a draft; as frames of 128x72",
            "deepest sharp zoom",
            "drafts: half of",
            "left out:",
            kept,
        ] {
            assert!(ran.out.contains(said), "{said}: {}", ran.out);
        }
    }
    assert_eq!(rows(&["plan", "move.lua", "--json"]), plan);
    let drafts = [
        "mixed.draft.mp4",
        "moved.draft.mp4",
        "rolled.draft.mp4",
        "strip.draft.png",
        "tall.draft.mp4",
        "wide.draft.mp4",
    ];
    let mut all: Vec<String> = finished.iter().map(|name| (*name).to_owned()).collect();
    all.extend(drafts.iter().map(|name| format!("move-{name}")));
    all.sort();
    assert_eq!(bench.list("clips"), all);
    assert_eq!(finished.map(|name| if name == "move-tall" { Vec::new() } else { bytes(name) }), before);
    // H.264 whatever the delivery is: sides are even, so 70 by 126 becomes 36 by 64.
    let show = ["-v", "error", "-show_entries", "stream=codec_name,width,height,nb_frames", "-of", "csv=p=0"];
    for (name, due) in [("wide", "h264,64,36,9"), ("tall", "h264,36,64,9"), ("rolled", "h264,32,32,9")] {
        let path = bench.path(&format!("clips/move-{name}.draft.mp4"));
        let seen = ffmpeg("ffprobe", &[&show[..], &[path.to_str().unwrap()]].concat());
        assert_eq!(String::from_utf8(seen).unwrap().trim(), due, "{name}");
    }
    // What is no file is nobody's draft.
    fs::remove_file(bench.path("clips/move-wide.draft.mp4")).unwrap();
    fs::create_dir(bench.path("clips/move-wide.draft.mp4")).unwrap();
    bench
        .run(&["render", "move.lua", "--out", "clips", "--draft"])
        .expect(1)
        .says("move-wide.draft.mp4 is already there");
}

#[test]
fn the_second_draft_decodes_nothing_and_shows_the_same_frames_on_any_number_of_threads() {
    let bench = Bench::new(9);
    bench.script(ALL);
    let first = draft(&bench, &["--threads", "1"]);
    assert_eq!((counts(&first), &first["draft"]), ([9, 0], &Value::Bool(true)));
    for threads in ["3", "1", "2"] {
        let again = draft(&bench, &["--threads", threads]);
        assert_eq!((counts(&again), planes(&again)), ([0, 9], planes(&first)), "{threads} threads");
    }
    let unkept = draft(&bench, &["--threads", "3", "--keep", "0"]);
    assert_eq!((counts(&unkept), planes(&unkept)), ([9, 0], planes(&first)), "nothing is taken from the store either");
    // A still of other content, under the same name, is another still.
    fs::write(bench.still(4), jpeg::encode_rgb(&picture(STILL, 99), STILL, 92, (2, 2), &[])).unwrap();
    assert_eq!(counts(&draft(&bench, &[])), [1, 8]);
    // And one of the same content under another name is known.
    fs::rename(bench.path("stills"), bench.path("moved")).unwrap();
    bench.script(&ALL.replace("\"stills\"", "\"moved\""));
    assert_eq!(counts(&draft(&bench, &[])), [0, 9]);
    // Finished frames know nothing of all that.
    let finished = bench.run(&["render", "move.lua", "--out", "finished", "--json"]).expect(0).json();
    assert_eq!((counts(&finished), &finished["draft"]), ([9, 0], &Value::Bool(false)));
}

#[test]
fn small_stills_that_are_damaged_or_gone_are_made_again() {
    let bench = Bench::new(5);
    bench.script(&one("\"stills\""));
    let first = draft(&bench, &[]);
    let files = kept(&bench);
    assert_eq!(files.len(), 5);
    for (number, file) in files.iter().enumerate() {
        let bytes = fs::read(file).unwrap();
        match number {
            0 => fs::write(file, &bytes[..bytes.len() / 2]).unwrap(),
            1 => fs::write(file, b"").unwrap(),
            2 => fs::remove_file(file).unwrap(),
            _ => {
                let mut spoilt = bytes;
                let at = spoilt.len() - number * 7;
                spoilt[at] ^= 0x20;
                fs::write(file, spoilt).unwrap();
            }
        }
    }
    let again = draft(&bench, &[]);
    assert_eq!((counts(&again), planes(&again)), ([5, 0], planes(&first)));
    assert_eq!(counts(&draft(&bench, &[])), [0, 5]);
}

#[test]
fn what_is_kept_is_capped_told_and_cleared_and_nothing_else_is_touched() {
    let bench = Bench::new(8);
    bench.script(&one("\"stills\""));
    draft(&bench, &[]);
    let sizes: Vec<u64> = kept(&bench).iter().map(|file| file.metadata().unwrap().len()).collect();
    let (all, most) = (sizes.iter().sum::<u64>(), *sizes.iter().max().unwrap());
    let told = bench.run(&["cache", "--json"]).expect(0).json();
    assert_eq!(told["kept"]["small"], serde_json::json!({ "entries": 8, "bytes": all, "most": 4_000_000_000_u64 }));
    assert_eq!([&told["kept"]["look"]["most"], &told["kept"]["stands"]["most"]], [4_000_000_000_u64, 1_000_000_000]);
    let ran = bench.run(&["cache"]).expect(0);
    assert!(ran.out.contains(" of 4.00 GB at most\n") && ran.out.contains(" of 1.00 GB at most\n"), "{}", ran.out);
    assert!(ran.out.contains("cache/stillpath") && ran.out.contains("small stills of drafts: 8 files"), "{}", ran.out);

    fs::write(bench.path("cache/stillpath/small/notes.txt"), b"mine").unwrap();
    fs::write(bench.path("cache/mine.txt"), b"mine").unwrap();
    let gone = bench.run(&["cache", "--clear", "--json"]).expect(0).json();
    assert_eq!(gone["removed"]["small"], serde_json::json!({ "entries": 8, "bytes": all }));
    assert_eq!(bench.list("cache/stillpath/small"), ["notes.txt"]);
    assert!(bench.path("cache/stillpath/small/notes.txt").exists() && bench.path("cache/mine.txt").exists());
    assert!(bench.still(1).exists());
    assert_eq!(bench.run(&["cache", "--json"]).expect(0).json()["kept"]["small"]["entries"], 0);
    fs::remove_file(bench.path("cache/stillpath/small/notes.txt")).unwrap();

    // Room for three: the same three serve every later draft of this shoot.
    let cap = (3 * most).to_string();
    assert_eq!(counts(&draft(&bench, &["--threads", "1", "--keep", &cap])), [8, 0]);
    let three = kept(&bench);
    assert!((3..=4).contains(&three.len()), "{three:?}");
    assert!(three.iter().map(|file| file.metadata().unwrap().len()).sum::<u64>() <= 3 * most);
    let count = three.len() as u64;
    assert_eq!(counts(&draft(&bench, &["--threads", "1", "--keep", &cap])), [8 - count, count]);
    // By the environment, and what is no size is said.
    let keep = |size: &str| {
        let mut command = bench.command(&["render", "move.lua", "--out", "clips", "--draft", "--no-strip", "--json"]);
        crate::common::Ran::of(command.env("STILLPATH_KEEP", size).output().unwrap())
    };
    assert_eq!(counts(&keep("0").expect(0).json()), [8, 0]);
    keep("much").expect(64).says("STILLPATH_KEEP is 'much': write a number of bytes");
    bench.run(&["render", "move.lua", "--out", "clips", "--keep", "1GB"]).expect(64);
}

#[test]
fn a_folder_that_nothing_can_be_kept_in_is_only_remarked_on() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let due = planes(&draft(&bench, &[]));
    fs::write(bench.path("file"), b"").unwrap();
    for (cache, said) in [("file", "small stills are not kept for the next draft"), ("stills", "lies among the stills")]
    {
        let mut command = bench.command(&["render", "move.lua", "--out", "clips", "--draft", "--json"]);
        let ran = crate::common::Ran::of(command.env("XDG_CACHE_HOME", bench.path(cache)).output().unwrap()).expect(0);
        let outcome = ran.json();
        assert_eq!((counts(&outcome), planes(&outcome)), ([3, 0], due.clone()));
        assert!(ran.err.contains(said), "{}", ran.err);
    }
    assert_eq!(bench.list("stills").len(), 3);
}

/// A still whose secret is loud noise by a seed, at 0.3, 0.35, 0.2, 0.25 of it.
fn secretive(size: Size, index: usize, seed: u32) -> Vec<u8> {
    let mut rgb = picture(size, index);
    let mut state = seed.wrapping_mul(0x9E37_79B9) ^ u32::try_from(index).unwrap();
    for y in size.height * 35 / 100..size.height * 60 / 100 {
        for x in size.width * 30 / 100..size.width / 2 {
            for channel in 0..3 {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                rgb[((y * size.width + x) * 3 + channel) as usize] = if state >> 31 == 0 { 0 } else { 255 };
            }
        }
    }
    rgb
}

#[test]
fn covers_hide_in_drafts_what_they_hide_in_finished_frames() {
    // No side is a whole number of squares. Frames of a side of 64, 32 and 16 halve to an eighth, a quarter and half of
    // the still.
    let size = Size::new(317, 235);
    let script = |covers: &str| {
        format!(
            r#"return {{ shot {{ name = "covered", source = stills {{ "stills" }}, fps = 24, pace = frames_per_still(1), covers = {{ {covers} }},
  deliveries = {{
    delivery {{ "eighth", frame = {{ 32, 32 }} }}, delivery {{ "quarter", frame = {{ 96, 96 }} }},
    delivery {{ "half", frame = {{ 200, 200 }}, sharpness = "full" }},
    delivery {{ "close", frame = {{ 64, 64 }}, framing = framing {{ key {{ at = "start", show = box(0.25, 0.3, 0.3, 0.35) }} }} }},
    delivery {{ "rolled", frame = {{ 64, 64 }}, framing = framing {{ key {{ at = "start", on = point(0.4, 0.45), zoom = 1.5, roll = 20 }} }} }},
  }} }} }}"#
        )
    };
    for subsampling in [(1, 1), (2, 1), (2, 2), (1, 2), (4, 1)] {
        let shoot = |seed: u32| {
            let bench = Bench::new(0);
            fs::create_dir_all(bench.path("stills")).unwrap();
            for number in 1..=2 {
                fs::write(
                    bench.still(number),
                    jpeg::encode_rgb(&secretive(size, number, seed), size, 92, subsampling, &[]),
                )
                .unwrap();
            }
            bench
        };
        let [first, second] = [1, 2].map(shoot);
        let deliveries = ["eighth", "quarter", "half", "close", "rolled"];
        let of = |bench: &Bench, delivery: &str, covers: &str| {
            bench.script(&script(covers));
            planes(&draft(bench, &["--delivery", delivery]))
        };
        let cover = "cover { box(0.3, 0.35, 0.2, 0.25) }";
        for delivery in deliveries {
            assert_eq!(of(&first, delivery, cover), of(&second, delivery, cover), "{subsampling:?}, {delivery}");
        }
        // Stills lie in the store without covers, which are laid over them as they come from it; only their owner may
        // read them.
        let bare = [&first, &second].map(|bench| of(bench, "close", ""));
        assert_ne!(bare[0], bare[1], "{subsampling:?}");
        assert_eq!(of(&first, "close", cover), of(&second, "close", cover), "{subsampling:?}");
        use std::os::unix::fs::PermissionsExt;
        assert!(kept(&first).iter().all(|file| file.metadata().unwrap().permissions().mode() & 0o077 == 0));
    }
}

#[test]
fn damage_is_met_in_drafts_where_finished_frames_meet_it_and_follows_the_same_policy() {
    let bench = Bench::new(6);
    corrupt(&bench.still(3));
    // Below the middle of the still, which no frame of the first delivery shows: it is damage all the same.
    let text = |policy: &str, at: f64| {
        format!(
            r#"return shot {{ source = stills {{ "stills", damaged = "{policy}" }}, fps = 24, pace = frames_per_still(1),
  framing = framing {{ key {{ at = 0, on = point(0.5, {at}), zoom = 3 }} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 64, 36 }} }} }} }}"#
        )
    };
    for (at, codes) in [(0.1, [2, 0, 0]), (0.8, [2, 0, 0])] {
        for (policy, code) in ["stop", "hold", "skip"].into_iter().zip(codes) {
            bench.script(&text(policy, at));
            let arguments = ["render", "move.lua", "--out", "clips", "--force", "--json"];
            let finished = bench.run(&arguments).expect(code);
            let drafted = bench.run(&[&arguments[..], &["--draft"]].concat()).expect(code);
            if code == 0 {
                let (finished, drafted) = (finished.json(), drafted.json());
                assert_eq!(finished["shots"], drafted["shots"], "{policy} at {at}");
                assert_eq!(finished["outputs"][0]["frames"], drafted["outputs"][0]["frames"]);
            }
        }
    }
}

#[test]
fn drafts_of_recordings_and_of_pngs_work_too_and_only_stills_are_kept() {
    let bench = Bench::new(0);
    let frames = (0..6_u32).map(|number| {
        (0..256 * 64 * 3 / 2_u32).map(|at| u8::try_from(40 + (at * 7 + number * 13) % 150).unwrap()).collect()
    });
    film(&bench.path("day.mkv"), frames, &["-s", "256x64", "-r", "30"], &["-c:v", "ffv1"]);
    let clip = |source: &str| {
        format!(
            r#"return shot {{ source = {source}, fps = 30, pace = stills_per_frame(1),
  deliveries = {{ delivery {{ "wide", frame = {{ 64, 32 }} }} }} }}"#
        )
    };
    bench.script(&clip("recording \"day.mkv\""));
    for _ in 0..2 {
        assert_eq!(counts(&draft(&bench, &[])), [6, 0]);
    }
    assert!(kept(&bench).is_empty());
    fs::create_dir_all(bench.path("stills")).unwrap();
    for number in 1..=3 {
        let path = bench.path(&format!("stills/A{number:04}.png"));
        image::save_buffer(path, &picture(STILL, number), STILL.width, STILL.height, image::ColorType::Rgb8).unwrap();
    }
    bench.script(&clip("stills { \"stills\" }"));
    let first = draft(&bench, &[]);
    let again = draft(&bench, &[]);
    assert_eq!((counts(&first), counts(&again), planes(&first)), ([3, 0], [0, 3], planes(&again)));
}

#[test]
fn a_drafts_file_shows_the_colours_of_the_finished_file() {
    let bench = Bench::new(6);
    bench.script(ALL);
    bench.render().expect(0);
    draft(&bench, &["--delivery", "wide"]);
    // Mean codes of each plane over all frames.
    let means = |name: &str, pixels: usize| {
        let path = bench.path("clips").join(name);
        let raw = ffmpeg(
            "ffmpeg",
            &["-v", "error", "-i", path.to_str().unwrap(), "-f", "rawvideo", "-pix_fmt", "yuv420p", "-"],
        );
        let mut sums = [0.0; 3];
        for frame in raw.chunks_exact(pixels * 3 / 2) {
            let (luma, chroma) = frame.split_at(pixels);
            let (blue, red) = chroma.split_at(pixels / 4);
            for (sum, plane) in sums.iter_mut().zip([luma, blue, red]) {
                *sum += plane.iter().map(|code| f64::from(*code)).sum::<f64>() / plane.len() as f64 / 9.0;
            }
        }
        assert_eq!(raw.len(), 9 * pixels * 3 / 2);
        sums
    };
    let (finished, draft) = (means("move-wide.mp4", 128 * 72), means("move-wide.draft.mp4", 64 * 36));
    println!("mean codes {finished:.3?} of the finished file, {draft:.3?} of its draft");
    assert!(finished.iter().zip(draft).all(|(one, other)| (one - other).abs() <= 1.0), "{finished:?}, {draft:?}");
}

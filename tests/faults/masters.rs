//! Masters: a whole shoot as one video that opens as the shoot it was made from. What stands in a file is held against
//! FFmpeg's and libjpeg's command lines, which did not make it.

use std::fs;
use std::io::Cursor;
use std::path::Path;

use moxcms::ColorProfile;
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::units::Size;

use crate::colour::{adobe_rgb_segment, png_still};
use crate::common::{Bench, corrupt, exif, orientation_segment, picture};
use crate::ffmpeg;

/// A push-in, wide and vertical, and a master where one is asked for.
fn script(source: &str, master: &str) -> String {
    format!(
        r#"return shot {{ source = {source}, fps = 24, pace = frames_per_still(1.5),
  framing = framing {{
    key {{ at = clock "12:00", on = point(0.5, 0.5), zoom = 1 }},
    key {{ at = still "LAPS0007", on = point(0.6, 0.4), zoom = 2, ease = "ease-in-out" }},
  }},
  deliveries = {{
    delivery {{ "wide", frame = {{ 64, 36 }} }},
    delivery {{ "vertical", frame = {{ 36, 64 }}, codec = "png" }},{master}
  }} }}"#
    )
}

const STILLS: &str = r#"stills { "stills", missing = "hold", damaged = "hold" }"#;
const MASTER: &str = r#"recording { "clips/move-master.mkv", missing = "hold", damaged = "hold" }"#;
const LOSSLESS: &str = r#"delivery { "master", frame = "full", every = "still" }"#;
const HEVC: &str = r#"delivery { "master", frame = "full", every = "still", codec = "hevc" }"#;

fn jpeg(colour: Colour, subsampling: (u8, u8), size: Size, index: usize, markers: &[(u8, &[u8])]) -> Vec<u8> {
    let rgb = picture(size, index);
    let samples = if matches!(colour, Colour::Grey) { rgb.into_iter().step_by(3).collect() } else { rgb };
    encode(
        &samples,
        size,
        &Encoding { quality: 92, colour, subsampling, coding: Coding::Baseline, restart_rows: 0, markers },
    )
}

/// A 16-bit PNG whose low bits are not those of 8.
fn deep_png(size: Size, index: usize) -> Vec<u8> {
    let samples: Vec<u16> =
        picture(size, index).iter().zip(0_u16..).map(|(high, low)| u16::from(*high) << 8 | low & 255).collect();
    let image: image::ImageBuffer<image::Rgb<u16>, _> =
        image::ImageBuffer::from_raw(size.width, size.height, samples).unwrap();
    let mut file = Cursor::new(Vec::new());
    image.write_to(&mut file, image::ImageFormat::Png).unwrap();
    file.into_inner()
}

/// Seven slots: the third is missing, the fifth cut short; the first says when it was taken.
fn shoot(extension: &str, still: impl Fn(usize, &[(u8, &[u8])]) -> Vec<u8>) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in (1..=7).filter(|number| *number != 3) {
        let time = exif(&format!("2031:05:04 12:00:{:02}", 5 * number - 5));
        let mut bytes = still(number, &[(0xE1, &time)]);
        if number == 5 {
            bytes.truncate(bytes.len() * 2 / 3);
        }
        let path = bench.path(&format!("stills/LAPS{number:04}.{extension}"));
        crate::common::put(&path, bytes);
    }
    bench
}

/// What a script comes to: its plan, and by delivery the hash of every frame.
fn run(bench: &Bench, text: &str, out: &str) -> (serde_json::Value, serde_json::Value) {
    bench.script(text);
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rendered = bench.run(&["render", "move.lua", "--out", out, "--force", "--no-strip", "--json"]).expect(0).json();
    (plan, rendered["outputs"].clone())
}

/// Makes a master of a shoot beside two clips, and the same clips from the master. Asserts that the plans are equal;
/// gives the frames' hashes of both.
fn both_ways(bench: &Bench, what: &str, master: &str) -> [Vec<serde_json::Value>; 2] {
    let (from_stills, clips) = run(bench, &script(STILLS, master), "clips");
    assert_eq!(clips[2]["frames"], 5, "{what}: the whole stills");
    let (from_master, again) = run(bench, &script(MASTER, ""), "again");
    for delivery in 0..2 {
        let [one, other] = [&from_stills, &from_master].map(|plan| &plan["plans"][0]["deliveries"][delivery]);
        assert_eq!(one, other, "{what}");
    }
    assert_eq!(from_stills["plans"][0]["tally"], from_master["plans"][0]["tally"], "{what}");
    [clips, again].map(|outputs| (0..2).map(|delivery| outputs[delivery]["frame_planes"].clone()).collect())
}

#[test]
fn a_clip_from_the_lossless_master_is_the_clip_from_the_stills_frame_hash_by_frame_hash() {
    let odd = Size::new(101, 75);
    let plain =
        |colour, subsampling| shoot("JPG", move |number, markers| jpeg(colour, subsampling, odd, number, markers));
    let marked = |extra: (u8, Vec<u8>), subsampling| {
        shoot("JPG", move |number, markers| {
            let all: Vec<(u8, &[u8])> =
                markers.iter().copied().filter(|(code, _)| *code != extra.0).chain([(extra.0, &extra.1[..])]).collect();
            jpeg(Colour::YCbCr, subsampling, odd, number, &all)
        })
    };
    let profile = [b"ICC_PROFILE\0\x01\x01", &ColorProfile::new_display_p3().encode().unwrap()[..]].concat();
    let shoots = [
        ("4:2:0, odd", "yuv420p", plain(Colour::YCbCr, (2, 2))),
        ("4:2:2", "yuv422p", plain(Colour::YCbCr, (2, 1))),
        ("4:4:4", "yuv444p", plain(Colour::YCbCr, (1, 1))),
        ("4:4:0", "yuv440p", plain(Colour::YCbCr, (1, 2))),
        ("grey", "gray", plain(Colour::Grey, (1, 1))),
        ("R'G'B' in a JPEG", "bgr0", plain(Colour::Rgb, (1, 1))),
        ("PNG", "bgr0", shoot("png", |number, _| png_still(odd, &picture(odd, number), |_| {}))),
        ("PNG of 16 bits", "gbrp16le", shoot("png", |number, _| deep_png(odd, number))),
        ("an ICC profile", "yuv420p", marked((0xE2, profile), (2, 2))),
    ];
    for (what, layout, bench) in shoots {
        let is_png = what.starts_with("PNG");
        if is_png {
            // PNGs of this kind say nothing of their time.
            let text = |source: &str, master: &str| script(source, master).replace("clock \"12:00\"", "still(1)");
            let (_, clips) = run(&bench, &text(STILLS, LOSSLESS), "clips");
            let (_, again) = run(&bench, &text(MASTER, ""), "again");
            assert_eq!(clips[2]["frames"], 5, "{what}");
            (0..2).for_each(|delivery| {
                assert_eq!(clips[delivery]["frame_planes"], again[delivery]["frame_planes"], "{what}")
            });
        } else {
            let [clips, again] = both_ways(&bench, what, LOSSLESS);
            assert_eq!(clips, again, "{what}");
        }
        in_the_file(&bench, layout, what);
    }
}

/// Has FFmpeg's command line decode a master: its layout, and frames whose planes have the hashes that the sidecar
/// tells.
fn in_the_file(bench: &Bench, layout: &str, what: &str) -> (Vec<u8>, usize) {
    let path = bench.path("clips/move-master.mkv");
    let path = path.to_str().unwrap();
    let said = ffmpeg(
        "ffprobe",
        &["-v", "error", "-show_entries", "stream=codec_name,pix_fmt,r_frame_rate", "-of", "csv=p=0", path],
    );
    assert_eq!(String::from_utf8(said).unwrap().trim(), format!("ffv1,{layout},24/1"), "{what}");
    // Packed R'G'B' is hashed plane by plane; FFmpeg has planes of it in another order.
    let asked = if layout == "bgr0" { "gbrp" } else { layout };
    let raw = ffmpeg(
        "ffmpeg",
        &["-v", "error", "-i", path, "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", asked, "-"],
    );
    let sidecar: serde_json::Value = serde_json::from_slice(&fs::read(format!("{path}.json")).unwrap()).unwrap();
    let whole: Vec<&serde_json::Value> =
        sidecar["stills"].as_array().unwrap().iter().filter_map(|still| still["state"].get("whole")).collect();
    assert_eq!(raw.len() % whole.len(), 0, "{what}");
    let bytes = raw.len() / whole.len();
    for (frame, still) in raw.chunks(bytes).zip(&whole) {
        let planes: Vec<&[u8]> = frame.chunks(bytes / 3).collect();
        let hash = match what {
            // Painted: pixel by pixel.
            "levelled" => {
                let samples: Vec<_> = [2, 0, 1].iter().map(|plane: &usize| planes[*plane].chunks(2)).collect();
                let pixels = samples[0].clone().zip(samples[1].clone()).zip(samples[2].clone());
                blake3::hash(&pixels.flat_map(|((red, green), blue)| [red, green, blue].concat()).collect::<Vec<u8>>())
            }
            _ if asked.starts_with("gbrp") => blake3::hash(&[planes[2], planes[0], planes[1]].concat()),
            _ => blake3::hash(frame),
        };
        assert_eq!(still["planes"], hash.to_hex().as_str(), "{what}");
    }
    (raw, bytes)
}

#[test]
fn luma_in_the_master_is_what_djpeg_makes_of_the_still_and_deep_samples_what_ffmpeg_does() {
    let size = Size::new(96, 72);
    let bench = shoot("JPG", |number, markers| jpeg(Colour::YCbCr, (2, 2), size, number, markers));
    run(&bench, &script(STILLS, LOSSLESS), "clips");
    let (raw, bytes) = in_the_file(&bench, "yuv420p", "4:2:0");
    for (frame, number) in [1, 2, 4, 6, 7].into_iter().enumerate() {
        let grey = ffmpeg("djpeg", &["-grayscale", "-pnm", bench.still(number).to_str().unwrap()]);
        let pixels = size.pixels() as usize;
        assert!(raw[frame * bytes..][..pixels] == grey[grey.len() - pixels..], "still {number}");
    }
    let bench = shoot("png", |number, _| deep_png(size, number));
    run(&bench, &script(STILLS, LOSSLESS).replace("clock \"12:00\"", "still(1)"), "clips");
    let (raw, bytes) = in_the_file(&bench, "gbrp16le", "16 bits");
    for (frame, number) in [1, 2, 4, 6, 7].into_iter().enumerate() {
        let path = bench.path(&format!("stills/LAPS{number:04}.png"));
        let own = ffmpeg(
            "ffmpeg",
            &["-v", "error", "-i", path.to_str().unwrap(), "-f", "rawvideo", "-pix_fmt", "gbrp16le", "-"],
        );
        assert!(raw[frame * bytes..][..bytes] == own, "still {number}");
    }
}

#[test]
fn turned_adobe_rgb_and_covered_stills_come_out_of_their_master_as_they_were() {
    let size = Size::new(98, 75);
    for (what, marker) in [("turned", orientation_segment(6)), ("Adobe RGB", adobe_rgb_segment())] {
        let bench = Bench::new(0);
        fs::create_dir(bench.path("stills")).unwrap();
        for number in 1..=4 {
            fs::write(bench.still(number), jpeg(Colour::YCbCr, (2, 1), size, number, &[(0xE1, &marker)])).unwrap();
        }
        // Covers of the script for the stills hide the same pixels of the master, and nothing is hidden twice where it
        // is covered.
        let text = |source: &str, master: &str| {
            script(source, master)
                .replace("clock \"12:00\"", "\"start\"")
                .replace("still \"LAPS0007\"", "\"end\"")
                .replace("  deliveries", "  covers = { cover { box(0.3, 0.3, 0.1, 0.1) } },\n  deliveries")
        };
        let (plan, clips) = run(&bench, &text(STILLS, LOSSLESS), "clips");
        // A master made without the cover, and the cover in the script that reads it.
        let bare = |source: &str, master: &str| {
            text(source, master).lines().filter(|line| !line.contains("covers")).collect::<String>()
        };
        run(&bench, &bare(STILLS, LOSSLESS), "clips");
        let (from_master, again) = run(&bench, &text(MASTER, ""), "again");
        assert_eq!(plan["plans"][0]["covers"], from_master["plans"][0]["covers"], "{what}");
        (0..2).for_each(|delivery| {
            assert_eq!(clips[delivery]["frame_planes"], again[delivery]["frame_planes"], "{what}")
        });
    }
}

/// Peak signal to noise of luma, in decibels, over the frames of two sequences; luma by BT.709's weights, in codes of
/// 16 bits.
fn luma_psnr(one: &Path, other: &Path) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    let mut names: Vec<_> = fs::read_dir(one).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    for name in names {
        let [one, other] = [one, other].map(|folder| image::open(folder.join(&name)).unwrap().to_rgb16());
        for (one, other) in one.pixels().zip(other.pixels()) {
            let luma = |pixel: &image::Rgb<u16>| {
                let [red, green, blue] = pixel.0.map(f64::from);
                0.2126 * red + 0.7152 * green + 0.0722 * blue
            };
            sum += ((luma(one) - luma(other)) / 65_535.0).powi(2);
            count += 1.0;
        }
    }
    -10.0 * (sum / count).log10()
}

#[test]
fn a_clip_from_an_hevc_master_is_within_45_decibels_whatever_the_stills_are() {
    let size = Size::new(160, 120);
    let odd = Size::new(161, 121);
    let plain = |colour, subsampling, size| {
        shoot("JPG", move |number, markers| jpeg(colour, subsampling, size, number, markers))
    };
    let shoots = [
        ("4:2:0", "yuv420p10le", plain(Colour::YCbCr, (2, 2), size)),
        ("4:2:0, odd", "yuv444p10le", plain(Colour::YCbCr, (2, 2), odd)),
        ("4:2:2", "yuv422p10le", plain(Colour::YCbCr, (2, 1), size)),
        ("4:4:0", "yuv444p10le", plain(Colour::YCbCr, (1, 2), size)),
        ("grey", "gray10le", plain(Colour::Grey, (1, 1), size)),
        ("R'G'B'", "yuv444p10le", plain(Colour::Rgb, (1, 1), size)),
    ];
    for (what, layout, bench) in shoots {
        both_ways(&bench, what, HEVC);
        let path = bench.path("clips/move-master.mkv");
        let entries = "stream=codec_name,pix_fmt,color_range";
        let said =
            ffmpeg("ffprobe", &["-v", "error", "-show_entries", entries, "-of", "csv=p=0", path.to_str().unwrap()]);
        assert_eq!(String::from_utf8(said).unwrap().trim(), format!("hevc,{layout},pc"), "{what}");
        let psnr = luma_psnr(&bench.path("clips/move-vertical"), &bench.path("again/move-vertical"));
        println!("{what}: {psnr:.1} dB");
        assert!(psnr >= 45.0, "{what}: {psnr:.2} dB");
    }
}

#[test]
fn a_still_overwritten_in_the_master_is_named_and_the_policy_goes_for_it() {
    let size = Size::new(96, 72);
    let bench = shoot("JPG", |number, markers| jpeg(Colour::YCbCr, (2, 2), size, number, markers));
    run(&bench, &script(STILLS, LOSSLESS), "clips");
    let (_, whole) = run(&bench, &script(MASTER, ""), "again");
    let path = bench.path("clips/move-master.mkv");
    let entries = ["-v", "error", "-show_entries", "packet=pos,size", "-of", "csv=p=0", path.to_str().unwrap()];
    let packets = String::from_utf8(ffmpeg("ffprobe", &entries)).unwrap();
    // The fourth frame is the sixth still.
    let numbers: Vec<usize> =
        packets.lines().nth(3).unwrap().split(',').map(|number| number.parse().unwrap()).collect();
    let (bytes, position) = (numbers[0], numbers[1]);
    let mut file = fs::read(&path).unwrap();
    file[position + bytes / 2..][..8].iter_mut().for_each(|byte| *byte ^= 0x55);
    fs::write(&path, file).unwrap();
    bench.script(
        &script(&MASTER.replace("damaged = \"hold\"", "damaged = \"skip\""), "").replace("LAPS0007", "LAPS0004"),
    );
    bench.run(&["render", "move.lua", "--out", "skipped", "--json"]).expect(0);
    let (_, held) = run(&bench, &script(MASTER, ""), "held");
    let [whole, held] = [whole, held].map(|outputs| outputs[0]["frame_planes"].as_array().unwrap().clone());
    assert_eq!(whole.len(), held.len());
    // Stills 6 and 5, which it is held in place of, are frames 6 to 8 of eleven: the others are as they were.
    let differ: Vec<usize> = (0..whole.len()).filter(|frame| whole[*frame] != held[*frame]).collect();
    assert!(!differ.is_empty() && differ.iter().all(|frame| (7..=8).contains(frame)), "{differ:?}");
    // The one that is damaged already stops a script that says nothing; of the other cuts leave it alone to be found.
    let stops = r#"recording { "clips/move-master.mkv", missing = "hold", cuts = { cut(still(5), still(5)) } }"#;
    bench.script(&script(stops, ""));
    let ran = bench.run(&["render", "move.lua", "--out", "stopped"]).expect(2);
    ran.says("damaged").says("damaged = \"hold\"");
}

#[test]
fn a_sidecar_that_is_missing_cut_off_edited_or_anothers_is_said_and_never_believed() {
    let size = Size::new(96, 72);
    let bench = shoot("JPG", |number, markers| jpeg(Colour::YCbCr, (2, 2), size, number, markers));
    run(&bench, &script(STILLS, LOSSLESS), "clips");
    let sidecar = bench.path("clips/move-master.mkv.json");
    let text = fs::read_to_string(&sidecar).unwrap();
    let master = fs::read(bench.path("clips/move-master.mkv")).unwrap();
    let check = |words: &str| {
        bench.script(&script(MASTER, ""));
        bench.run(&["check", "move.lua"]).expect(1).says("move-master.mkv.json cannot be used").says(words);
    };
    fs::write(&sidecar, &text[..text.len() / 2]).unwrap();
    check("it is incomplete");
    fs::write(&sidecar, text.replace("LAPS0002", "LAPS0009")).unwrap();
    check("it was edited after it was written");
    fs::write(&sidecar, text.replace("stillpath master 1", "stillpath master 2")).unwrap();
    check("its format is 'stillpath master 2'");
    // Another video of the same stills: its packets are others.
    let one_less = STILLS.replace("\"stills\",", "\"stills\", from = still(2),");
    run(&bench, &script(&one_less, LOSSLESS).replace("clock \"12:00\"", "\"start\""), "clips");
    fs::write(&sidecar, &text).unwrap();
    check("it belongs to another video");
    // Numbers that cannot be, sealed as if they were whole.
    fs::write(bench.path("clips/move-master.mkv"), &master).unwrap();
    let hostile: [(&[&str], serde_json::Value, &str); 6] = [
        (
            &["video", "size"],
            serde_json::json!([4_000_000_000_u32, 4_000_000_000_u32]),
            "frames of 4000000000x4000000000",
        ),
        (&["video", "frames"], serde_json::json!(4_000_000_000_u64), "but 4000000000 frames"),
        (&["video", "rate"], serde_json::json!([24, 0]), "a rate of 24/0"),
        (&["interval"], serde_json::json!(-5.0), "an interval"),
        (&["codings"], serde_json::json!([]), "a still refers to a coding that is not listed"),
        (&["stills"], serde_json::json!([]), "0 whole stills"),
    ];
    for (path, number, words) in hostile {
        let mut value: serde_json::Value = serde_json::from_str(&text).unwrap();
        let field = path.iter().fold(&mut value, |value, name| &mut value[*name]);
        *field = number;
        value["hash"] = "".into();
        let hash = blake3::hash(&serde_json::to_vec(&value).unwrap()).to_hex().to_string();
        value["hash"] = hash.into();
        fs::write(&sidecar, value.to_string()).unwrap();
        check(words);
    }
    // Without it the master is a recording, and that is said.
    fs::remove_file(&sidecar).unwrap();
    let plain = r#"return shot { source = recording "clips/move-master.mkv", pace = stills_per_frame(1),
      deliveries = { delivery { "wide", frame = { 64, 36 } } } }"#;
    bench.script(plain);
    bench.run(&["check", "move.lua"]).expect(0).says("it is a master, but its sidecar").says("is missing");
    // Cut short, its last stills are missing ones.
    fs::write(&sidecar, &text).unwrap();
    fs::write(bench.path("clips/move-master.mkv"), &master[..master.len() * 3 / 4]).unwrap();
    bench.script(&script(MASTER, ""));
    let ran = bench.run(&["check", "move.lua"]).expect(0).says("the master is cut short");
    assert!(ran.out.contains("missing: LAPS0007"), "{}", ran.out);
}

#[test]
fn a_levelled_or_drafted_master_is_painted_and_one_that_cannot_be_is_refused_in_time() {
    let size = Size::new(96, 72);
    let bench = shoot("JPG", |number, markers| jpeg(Colour::YCbCr, (2, 2), size, number, markers));
    fs::write(bench.path("gains.csv"), "still,red,green,blue\n2,1.1,1.1,1.1\n").unwrap();
    let levelled = script(STILLS, LOSSLESS).replace("fps = 24,", "fps = 24, level = { curve = \"gains.csv\" },");
    let (_, clips) = run(&bench, &levelled, "clips");
    in_the_file(&bench, "gbrp16le", "levelled");
    // In a script that does not level it again it looks as the levelled stills do, but for being painted twice.
    let (_, again) = run(&bench, &script(MASTER, ""), "again");
    assert_eq!(clips[0]["frames"], again[0]["frames"]);
    let psnr = luma_psnr(&bench.path("clips/move-vertical"), &bench.path("again/move-vertical"));
    println!("levelled: {psnr:.1} dB");
    assert!(psnr > 40.0, "{psnr:.2} dB");
    let drafted = bench.run(&["render", "move.lua", "--out", "drafts", "--draft", "--no-strip"]).expect(0);
    assert!(drafted.out.contains("a draft"), "{}", drafted.out);
    bench.script(&levelled);
    bench.run(&["render", "move.lua", "--out", "drafts", "--draft", "--no-strip", "--keep", "0"]).expect(0);
    assert!(bench.list("drafts").contains(&"move-master.draft.mp4".to_owned()), "{:?}", bench.list("drafts"));
    // What is there is not replaced in silence, the sidecar alone neither.
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(1).says("move-master.mkv is already there");
    let bare = r#"return shot { source = stills { "stills", missing = "skip", damaged = "skip" }, pace = stills_per_frame(1),
      deliveries = { delivery { "master", frame = "full", every = "still" } } }"#;
    bench.script(bare);
    fs::remove_file(bench.path("clips/move-master.mkv")).unwrap();
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(1).says("move-master.mkv.json is already there");
    // Chroma that FFmpeg would lose some of, without a word.
    let narrow = Size::new(98, 72);
    let four = Bench::new(0);
    fs::create_dir(four.path("stills")).unwrap();
    fs::write(four.still(1), jpeg(Colour::YCbCr, (4, 1), narrow, 1, &[])).unwrap();
    four.script(bare);
    four.run(&["render", "move.lua", "--out", "clips"]).expect(2).says("a side is no multiple of 4");
    fs::write(four.still(1), jpeg(Colour::YCbCr, (4, 1), size, 1, &[])).unwrap();
    four.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    in_the_file(&four, "yuv411p", "4:1:1");
    // Stills of another layout among them: named, with what to do.
    fs::write(bench.still(6), jpeg(Colour::YCbCr, (1, 1), size, 6, &[])).unwrap();
    let ran = bench.run(&["render", "move.lua", "--out", "mixed"]).expect(2);
    let ran = ran.says(
        "still(6), LAPS0006, cannot be a frame of this master: it is coded as yuv444p, but the stills before it as yuv420p",
    );
    ran.says("cuts = { cut(still(6), still(6)) }");
    bench.script(&bare.replace("\"stills\",", "\"stills\", cuts = { cut(still(6), still(6)) },"));
    bench.run(&["render", "move.lua", "--out", "mixed", "--no-strip"]).expect(0);
    assert_eq!(bench.list("mixed"), ["move-master.mkv", "move-master.mkv.json", "move-receipt.json"]);
    // A still that was left out keeps its place, its name and its time.
    let reads = r#"return shot { source = recording { "mixed/move-master.mkv", missing = "skip", damaged = "skip" },
      pace = stills_per_frame(1), framing = framing { key { at = still "LAPS0007", on = point(0.5, 0.5), zoom = 1 } },
      deliveries = { delivery { "wide", frame = { 64, 36 } } } }"#;
    bench.script(reads);
    let ran = bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("1 of the shoot's stills were left out when the master was made");
    assert!(ran.out.contains("left out when the master was made"), "{}", ran.out);
    // A master of a master, and none of any other recording.
    bench.script(&reads.replace("delivery { \"wide\", frame = { 64, 36 } }", LOSSLESS));
    bench.run(&["render", "move.lua", "--out", "copy", "--no-strip"]).expect(0);
    fs::remove_file(bench.path("mixed/move-master.mkv.json")).unwrap();
    bench.run(&["check", "move.lua"]).expect(1).says("would be a master of a recording");
}

#[test]
fn a_master_that_is_stopped_goes_on_from_its_whole_stretches_and_its_bytes_do_not_tell() {
    let size = Size::new(64, 48);
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in 1..=60 {
        fs::write(bench.still(number), jpeg(Colour::YCbCr, (2, 2), size, number, &[])).unwrap();
    }
    let text = format!(
        "return shot {{ source = stills {{ \"stills\" }}, pace = stills_per_frame(1), deliveries = {{ {LOSSLESS} }} }}"
    );
    bench.script(&text);
    bench.run(&["render", "move.lua", "--out", "unbroken", "--no-strip"]).expect(0);
    let whole = fs::read(bench.still(59)).unwrap();
    corrupt(&bench.still(59));
    // It is found while frames before it are still on their way: one stretch of 24 is there at least.
    bench
        .run(&["render", "move.lua", "--out", "clips", "--no-strip", "--threads", "1"])
        .expect(2)
        .says("of 60 frames of");
    fs::write(bench.still(59), whole).unwrap();
    let ran = bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    assert!(ran.out.contains("of them kept from an interrupted run"), "{}", ran.out);
    for name in ["move-master.mkv", "move-master.mkv.json"] {
        let [one, other] = ["unbroken", "clips"].map(|folder| fs::read(bench.path(folder).join(name)).unwrap());
        assert!(one == other, "{name}");
    }
    assert_eq!(bench.list("clips"), ["move-master.mkv", "move-master.mkv.json", "move-receipt.json"]);
}

//! Reels: shots that follow one another in one clip, held against the same shots rendered one by one, against light
//! mixed by hand, and against what other programs read of the file.

use std::fs;
use std::process::Command;

use serde_json::Value;
use stillpath::ffi::jpeg;
use stillpath::units::Size;

use crate::common::{Bench, corrupt, exif, picture, write_still};

/// Stills of another size than a bench's, of another day.
const SMALL: Size = Size { width: 200, height: 150 };

/// Twelve stills, and ten others in the folder `later`, that say when they were taken.
fn bench() -> Bench {
    let bench = Bench::new(12);
    fs::create_dir(bench.path("later")).unwrap();
    for number in 1..=10 {
        let time = exif(&format!("2031:05:04 12:00:{:02}", 2 * number));
        let bytes = jpeg::encode_rgb(&picture(SMALL, 3 * number), SMALL, 92, (2, 2), &[(0xE1, &time[..])]);
        fs::write(bench.path(&format!("later/LATE{number:04}.JPG")), bytes).unwrap();
    }
    bench
}

/// Both shots with what stands for `DELIVERIES`, between what begins and what ends it.
fn script(begins: &str, [first, second]: [&str; 2], ends: &str) -> String {
    format!(
        r#"
return {begins}
  shot {{ name = "dawn", source = stills {{ "stills", damaged = "hold", missing = "hold" }}, fps = 4, pace = frames_per_still(1),
    framing = framing {{ key {{ at = "start", on = point(0.5, 0.5), zoom = 1 }}, key {{ at = "end", on = point(0.6, 0.4), zoom = 1.5 }} }},
    deliveries = {{ {first} }} }},
  shot {{ name = "noon", source = stills {{ "later", damaged = "hold" }}, fps = 4, pace = frames_per_still(1),
    shutter = 720, level = true, deliveries = {{ {second} }} }},
{ends}
"#
    )
}

const WIDE: &str = r#"delivery { "wide", frame = { 128, 72 }, quality = { crf = 18, preset = "medium" } }"#;

fn reel(mix: &str) -> String {
    script(&format!("reel {{ name = \"year\", {mix}"), [WIDE, WIDE], "}")
}

fn planes(bench: &Bench, text: &str, out: &str) -> Vec<Vec<String>> {
    bench.script(text);
    let json = bench.run(&["render", "move.lua", "--out", out, "--json"]).expect(0).json();
    let of = |output: &Value| {
        output["frame_planes"].as_array().unwrap().iter().map(|plane| plane.as_str().unwrap().to_owned()).collect()
    };
    json["outputs"].as_array().unwrap().iter().map(of).collect()
}

#[test]
fn a_reel_holds_the_very_frames_of_its_shots_and_mixes_only_where_they_meet() {
    let bench = bench();
    let other = WIDE.replace("wide", "other");
    let singles = planes(&bench, &script("{", [WIDE, &other], "}"), "singles");
    let (first, second) = (&singles[0], &singles[1]);
    assert_eq!((first.len(), second.len()), (12, 10));

    let cut = planes(&bench, &reel(""), "cut");
    assert_eq!(cut, [[&first[..], &second[..]].concat()], "one after the other");

    // A second of four frames a second.
    let mixed = &planes(&bench, &reel("mix = \"1s\","), "mixed")[0];
    assert_eq!(mixed.len(), 12 + 10 - 4);
    assert_eq!(mixed[..8], first[..8]);
    assert_eq!(mixed[12..], second[4..]);
    assert!(mixed[8..12].iter().all(|frame| !first.contains(frame) && !second.contains(frame)), "none shows one alone");

    // The file has a chapter a shot, by FFmpeg's command line.
    let path = bench.path("mixed/move-wide.mp4");
    let probe = Command::new("ffprobe")
        .args([
            "-v",
            "error",
            "-show_chapters",
            "-count_packets",
            "-show_streams",
            "-of",
            "json",
            path.to_str().unwrap(),
        ])
        .output()
        .expect("ffprobe is needed for this test: sh scripts/test installs it");
    let probe: Value = serde_json::from_slice(&probe.stdout).unwrap();
    let chapter = |chapter: &Value| {
        let second = |field: &str| chapter[field].as_str().unwrap().parse::<f64>().unwrap();
        (chapter["tags"]["title"].as_str().unwrap().to_owned(), second("start_time"), second("end_time"))
    };
    let chapters: Vec<_> = probe["chapters"].as_array().unwrap().iter().map(chapter).collect();
    assert_eq!(chapters, [("dawn".to_owned(), 0.0, 2.0), ("noon".to_owned(), 2.0, 4.5)]);
    assert_eq!(probe["streams"][0]["nb_read_packets"], "18");
}

#[test]
fn what_is_mixed_is_light() {
    // Flat pictures without loss: what comes out can be worked out by hand.
    let bench = Bench::new(0);
    let (dark, bright) = (40_u8, 230_u8);
    for (folder, grey) in [("a", dark), ("b", bright)] {
        fs::create_dir(bench.path(folder)).unwrap();
        for number in 0..6 {
            let flat = image::RgbImage::from_pixel(64, 36, image::Rgb([grey; 3]));
            flat.save(bench.path(&format!("{folder}/{number}.png"))).unwrap();
        }
    }
    bench.script(
        r#"
local frames = { delivery { "frames", frame = { 64, 36 }, fps = 2, codec = "png" } }
return reel { mix = 2,
  shot { source = stills { "a" }, fps = 2, pace = frames_per_still(1), deliveries = frames },
  shot { source = stills { "b" }, fps = 2, pace = frames_per_still(1), deliveries = frames },
}"#,
    );
    bench.render().expect(0);
    // IEC 61966-2-1.
    let light = |code: f64| {
        let value = code / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    let code =
        |light: f64| 255.0 * if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    let names = bench.list("clips/move-frames");
    assert_eq!(names.len(), 6 + 6 - 4, "{names:?}");
    for (frame, name) in names.iter().enumerate() {
        let seen = image::open(bench.path(&format!("clips/move-frames/{name}"))).unwrap().to_rgb8();
        let mean = seen.pixels().map(|pixel| f64::from(pixel.0[1])).sum::<f64>() / f64::from(64 * 36);
        // Of four frames of a mix the n-th has n fifths of the later shot.
        let later = (frame as f64 - 1.0).clamp(0.0, 5.0) / 5.0;
        let due = code(light(f64::from(dark)) * (1.0 - later) + light(f64::from(bright)) * later);
        assert!((mean - due).abs() < 0.6, "frame {frame}: {mean}, {due} due");
    }
}

#[test]
fn a_reel_is_made_in_shares_taken_up_again_and_proved_like_any_clip() {
    let bench = bench();
    let text = reel("mix = \"1s\",");
    bench.script(&text);
    let render = |out: &str, more: &[&str]| {
        bench.run(&[&["render", "move.lua", "--threads", "2", "--no-strip", "--out", out], more].concat())
    };
    render("whole", &[]).expect(0);
    render("shares", &["--share", "2/2"]).expect(0);
    bench.run(&["join", "move.lua", "--no-strip", "--out", "shares"]).expect(1).says("share 1/2");
    render("shares", &["--share", "1/2"]).expect(0);
    bench.run(&["join", "move.lua", "--no-strip", "--out", "shares"]).expect(0);
    let clip = |out: &str| fs::read(bench.path(out).join("move-wide.mp4")).unwrap();
    assert!(clip("whole") == clip("shares"), "byte for byte");
    let proved = bench.run(&["prove", "shares/move-receipt.json", "--frames", "all"]).expect(0);
    assert!(proved.out.contains("PROVED") && proved.out.contains("22 of 22"), "{}", proved.out);

    // Another chapter's name is another file, of the same frames.
    bench.script(&text.replace("\"noon\"", "\"midday\""));
    render("whole", &["--force"]).expect(0);
    assert!(clip("whole") != clip("shares"));
    let other = bench.run(&["prove", "shares/move-receipt.json"]).expect(1).out;
    assert!(other.contains("it gives another plan of shot 'year'"), "{other}");
}

#[test]
fn a_still_that_decoding_shows_to_be_damaged_goes_by_the_policy_of_its_own_shot() {
    let bench = bench();
    corrupt(&bench.path("later/LATE0006.JPG"));
    bench.script(&reel("mix = \"1s\","));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("LATE0006"), "{}", ran.out);
    let receipt: Value = serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let stills = receipt["shoots"][0]["stills"].as_array().unwrap();
    let spoilt = stills.iter().find(|still| still["name"] == "LATE0006").unwrap();
    assert!(spoilt["why"].as_str().unwrap().contains("damaged"), "{spoilt}");
    assert_eq!((receipt["shoots"].as_array().unwrap().len(), stills.len()), (1, 22));
    bench.run(&["prove", "clips/move-receipt.json"]).expect(0);

    // The first shot may hold; it is the second that says stop.
    let strict = reel("").replace("\"later\", damaged = \"hold\"", "\"later\"").replace("level = true, ", "");
    bench.script(&strict);
    let refused = bench.run(&["render", "move.lua", "--out", "strict"]).expect(2);
    assert!(refused.err.contains("LATE0006") && refused.err.contains("stills { \"later\" }"), "{}", refused.err);
    // Drafts decode small, and recordings and stills of any size.
    bench.run(&["render", "move.lua", "--draft", "--out", "drafts", "--delivery", "wide"]).expect(2);
    bench.script(&reel("mix = \"1s\","));
    bench.run(&["render", "move.lua", "--draft", "--out", "drafts"]).expect(0);
}

#[test]
fn the_tables_of_a_reel_are_those_of_its_shots_and_are_fed_back_to_them() {
    let bench = bench();
    bench.script(&reel("mix = \"1s\","));
    let json = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    let kept = "clips/move-year-noon-level.csv";
    assert_eq!(json["shots"][0]["level"]["tables"], serde_json::json!([kept]), "{json}");
    // The one shot that levels: the same table.
    bench.run(&["level", "move.lua", "-o", "gains.csv"]).expect(0);
    let table = fs::read(bench.path("gains.csv")).unwrap();
    assert_eq!(fs::read(bench.path(kept)).unwrap(), table);
    assert_eq!(String::from_utf8_lossy(&table).lines().filter(|line| line.contains("LATE")).count(), 10);
    let fed = reel("mix = \"1s\",").replace("level = true", "level = { curve = \"gains.csv\" }");
    bench.script(&fed);
    bench.run(&["render", "move.lua", "--out", "fed"]).expect(0);
    // Gains that are given leave nothing to be measured: the columns of levels are empty.
    let gains = |table: &[u8]| -> Vec<String> {
        let text = String::from_utf8_lossy(table);
        text.lines().map(|line| line.split(',').take(5).collect::<Vec<_>>().join(",")).collect()
    };
    assert_eq!(gains(&fs::read(bench.path("fed/move-year-noon-level.csv")).unwrap()), gains(&table));
    // A table of the user's own by that name is not written over.
    bench.script(&reel("mix = \"1s\","));
    fs::create_dir(bench.path("mine")).unwrap();
    fs::write(bench.path("mine/move-year-noon-level.csv"), "mine").unwrap();
    bench.run(&["render", "move.lua", "--out", "mine"]).expect(1).says("move-year-noon-level.csv is already there");
}

#[test]
fn what_is_said_of_a_frame_is_said_of_the_shot_that_has_most_of_it() {
    let bench = bench();
    let stamped = WIDE
        .replace("frame", "stamps = { stamp { text = \"{name}\", at = point(0.5, 0.9) } }, poster = still(4), frame");
    let plain = stamped.replace("poster = still(4), ", "");
    bench.script(&script("reel { name = \"year\", mix = 1,", [&plain, &stamped], "}"));
    let told = |at: &[&str]| bench.run(&[&["explain", "move.lua"], at].concat()).expect(0).out;
    let first = told(&["--frame", "3"]);
    assert!(
        first.starts_with("frame 3 of 0 to 17 of 'wide'") && first.contains("shot:   'dawn', whose frame 3 it is"),
        "{first}"
    );
    let mixed = told(&["--frame", "9"]);
    // Frame 9 is the second of the four of the mix: two fifths of it are the later shot's.
    assert!(mixed.contains("shot:   'dawn', whose frame 9 it is, mixed with 'noon': 60.0 % is its"), "{mixed}");
    let (_, other) = mixed.split_once("\nmixed with, for 40.0 % of it:\n").expect("both sides");
    assert!(other.contains("shot:   'noon', whose frame 1 it is\nstill:  LATE0002"), "{other}");
    let second = told(&["--at", "3s"]);
    assert!(second.contains("frame 12 of 0 to 17") && second.contains("'noon', whose frame 4 it is"), "{second}");
    bench
        .run(&["explain", "move.lua", "--at", "12:00:06"])
        .expect(1)
        .says("a moment of one of them is no moment of the reel");
    bench.run(&["explain", "move.lua", "--frame", "18"]).expect(1).says("'wide' has frames 0 to 17; seen 18");

    let plan: Value = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let delivery = &plan["plans"][0]["deliveries"][0];
    assert_eq!(delivery["chapters"][1]["frame"], 8);
    // The fourth still of the second shot is shown in its frames 3, 11 of the reel.
    assert_eq!(delivery["poster"]["frame"], 11);
    let lines = &delivery["stamps"][0]["text"]["lines"];
    let says = |name: &str| lines.as_array().unwrap().iter().any(|line| line["text"] == name);
    assert!(delivery["stamps"].as_array().unwrap().len() == 1 && says("LAPS0001") && says("LATE0010"), "{lines}");

    // A sheet is of one shot's still, a strip of the reel's frames.
    bench.run(&["draw", "move.lua", "-o", "sheet.svg"]).expect(0);
    assert!(bench.path("sheet-dawn.svg").exists() && bench.path("sheet-noon.svg").exists());
    bench.run(&["draw", "move.lua", "--strip", "-o", "strip.svg"]).expect(0);
    bench.run(&["frame", "move.lua", "--frame", "9", "-o", "nine.png"]).expect(0);
    let csv = bench.run(&["plan", "move.lua", "--csv"]).expect(0).out;
    assert!(csv.contains("LATE0004") && csv.contains("LAPS0012"), "{csv}");
    bench.run(&["hand", "move.lua", "-o", "cut.otio"]).expect(0);
    let laid: Value = serde_json::from_slice(&fs::read(bench.path("cut.otio")).unwrap()).unwrap();
    let markers = &laid["tracks"]["children"][0]["children"][0]["markers"];
    let at = |name: &str| {
        let marker = markers.as_array().unwrap().iter().find(|marker| marker["name"] == name).unwrap();
        marker["marked_range"]["start_time"]["value"].as_f64().unwrap()
    };
    assert_eq!((at("dawn"), at("noon")), (0.0, 8.0), "{markers}");
}

#[test]
fn what_cannot_be_joined_is_refused_with_what_to_type() {
    let bench = bench();
    bench.script(&reel("mix = \"2s\","));
    // Two shots meet once: of 10 frames eight fit in the mix. Twelve do not, nor do all ten.
    bench.run(&["check", "move.lua"]).expect(0);
    bench.script(&reel("mix = \"3s\","));
    let long = bench.run(&["check", "move.lua"]).expect(1);
    let said = "'noon' lasts 2.5 s, and is to be mixed with its neighbours for 3 s in all";
    assert!(long.err.contains(said) && long.err.contains("mix = \"2.25s\" at most"), "{}", long.err);
    bench.script(&reel("mix = \"2.5s\","));
    bench.run(&["check", "move.lua"]).expect(1);
    bench.script(&reel("mix = \"2.25s\","));
    bench.run(&["check", "move.lua"]).expect(0);

    bench.script(&reel("mix = \"0.1s\","));
    bench.run(&["check", "move.lua"]).expect(1).says("a mix of 0.1 s is less than half a frame of 'wide'");

    write_still(&bench.path("mark.jpg"), Size::new(16, 16), 1);
    let marked = WIDE.replace("frame", "stamps = { stamp { picture = \"mark.jpg\" } }, frame");
    bench.script(&script("reel {", [&marked, WIDE], "}"));
    let one = bench.run(&["check", "move.lua"]).expect(1);
    assert!(one.err.contains("every shot of the reel is to have the same ones"), "{}", one.err);
    bench.script(&script("reel {", [&marked, &marked], "}"));
    bench.run(&["check", "move.lua"]).expect(0);

    // A --source cannot be meant for both.
    bench.script(&reel(""));
    bench.run(&["check", "move.lua", "--source", "later"]).expect(1).says("--source replaces one source");
}

#[test]
fn stills_of_one_name_in_two_shoots_are_told_apart_when_a_reel_is_proved() {
    let bench = Bench::new(8);
    for number in 1..=8 {
        write_still(&bench.path(&format!("again/LAPS{number:04}.JPG")), SMALL, 2 * number);
    }
    corrupt(&bench.path("again/LAPS0004.JPG"));
    let text = reel("mix = \"0.5s\",").replace("\"later\", damaged = \"hold\"", "\"again\", damaged = \"skip\"");
    bench.script(&text);
    bench.render().expect(0);
    let proved = bench.run(&["prove", "clips/move-receipt.json", "--frames", "all"]).expect(0).out;
    assert!(proved.contains("gives the same plan") && proved.contains("PROVED"), "{proved}");
}

#[test]
fn what_differs_only_in_the_lesser_part_of_a_mix_is_another_plan() {
    let bench = bench();
    // Of the first shot's frames only the last two differ, which the second shot has most of.
    let ends = |zoom: &str| {
        let keys = "key { at = still(10), on = point(0.5, 0.5), zoom = 1.2 }, key { at = still(12), on = point(0.5, 0.5), zoom = ZOOM }";
        let text = reel("mix = \"1s\",");
        let (before, after) = text.split_once("framing {").unwrap();
        let (_, after) = after.split_once("} },").unwrap();
        format!("{before}framing {{ {} }},{after}", keys.replace("ZOOM", zoom))
    };
    fs::write(bench.path("near.lua"), ends("1.6")).unwrap();
    bench.script(&ends("1.5"));
    let differs = bench.run(&["diff", "move.lua", "near.lua"]).expect(0).out;
    assert!(differs.contains("other windows where noon is mixed with the shot before"), "{differs}");
    let same = bench.run(&["diff", "move.lua", "move.lua"]).expect(0).out;
    assert!(same.contains("no difference"), "{same}");
    // No one sheet holds the stills of two shoots.
    let refused = bench.run(&["diff", "move.lua", "near.lua", "-o", "both.svg"]).expect(1);
    assert!(refused.err.contains("leave out -o for the differences in words"), "{}", refused.err);
}

#[test]
fn the_shots_of_two_reels_have_sheets_of_their_own() {
    let bench = bench();
    let one = |name: &str| {
        let delivery = WIDE.replace("wide", name);
        script(&format!("reel {{ name = \"{name}\","), [&delivery, &delivery], "}")
            .replace("name = \"dawn\", ", "")
            .replace("name = \"noon\", ", "")
            .replace("return ", "")
    };
    bench.script(&format!("return {{ {}, {} }}", one("first"), one("second")));
    bench.run(&["draw", "move.lua", "-o", "sheet.svg"]).expect(0);
    for sheet in ["first-1", "first-2", "second-1", "second-2"] {
        assert!(bench.path(&format!("sheet-{sheet}.svg")).exists(), "{sheet}: {:?}", bench.list("."));
    }
}

#[test]
fn frames_that_gather_light_follow_at_once_and_are_not_mixed() {
    let bench = bench();
    let gathered = |mix: &str| reel(mix).replace("shutter = 720, ", "gather = { \"brightest\", grow = true }, ");
    bench.script(&gathered("mix = \"1s\","));
    let refused = bench.run(&["check", "move.lua"]).expect(1);
    let said = "frames of 'noon' that gather light cannot be mixed with another shot's";
    assert!(refused.err.contains(said) && refused.err.contains("leave mix out"), "{}", refused.err);
    bench.script(&gathered(""));
    bench.run(&["check", "move.lua"]).expect(0);
    // Those of a lone shot, after another one.
    let reeled = &planes(&bench, &gathered(""), "reeled")[0];
    let alone = gathered("").replace("reel { name = \"year\", ", "{").replace(WIDE, "WIDE");
    let alone = alone.replacen("WIDE", WIDE, 1).replace("WIDE", &WIDE.replace("wide", "other"));
    assert_eq!(reeled[12..], planes(&bench, &alone, "alone")[1]);
}

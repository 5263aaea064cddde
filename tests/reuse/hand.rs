//! What is handed over: the plan as comma-separated values, and deliveries as timelines, both read by programs that did
//! not make them.
//!
//! Python must be there (`scripts/test` installs it): without it the table's test fails.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

use crate::common::{Bench, STILL, exif, picture, write_still};
use stillpath::ffi::jpeg;

/// Fourteen slots, the fourth missing and held; a mean of several stills, what is invented, a roll; names that want
/// quotes.
const SCRIPT: &str = r#"
local source = stills { "stills", missing = "hold" }
local framing = framing {
  key { at = "start", on = point(0.5, 0.5), zoom = 1 },
  key { at = "end", on = point(0.6, 0.4), zoom = 1.5, roll = 3 },
}
return {
  shot { name = "first", source = source, fps = 24, pace = frames_per_still(2), framing = framing, deliveries = {
    delivery { "wide", frame = { 128, 72 }, fps = "24000/1001", between = "mix" },
    delivery { "tall", frame = { 72, 128 }, fps = "30000/1001" },
    delivery { "frames", frame = { 64, 64 }, fps = 60, between = "motion", codec = "png" },
  } },
  shot { name = "second", source = source, fps = 24, pace = stills_per_frame(2), deliveries = {
    delivery { "second-wide", frame = { 128, 72 }, fps = "24000/1001", timecode = "01:00:00:00" },
    delivery { "second-tall", frame = { 72, 128 }, fps = "30000/1001" },
  } },
}
"#;

/// Stills with times, two seconds apart, one of them missing.
fn bench() -> Bench {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    for number in (1..=14).filter(|number| *number != 4) {
        let time = exif(&format!("2031:05:04 12:00:{:02}", 2 * number));
        let bytes = jpeg::encode_rgb(&picture(STILL, number), STILL, 92, (2, 2), &[(0xE1, &time[..])]);
        fs::write(bench.still(number), bytes).unwrap();
    }
    bench.script(SCRIPT);
    bench
}

/// Runs a Python script, with arguments; what it printed.
fn python(interpreter: &str, script: &str, arguments: &[&str]) -> String {
    let ran = Command::new(interpreter).args(["-c", script]).args(arguments).output();
    let ran = ran
        .unwrap_or_else(|error| panic!("{interpreter} is needed for this test ({error}): sh scripts/test installs it"));
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8(ran.stdout).unwrap()
}

#[test]
fn a_plan_as_comma_separated_values_says_what_its_json_says() {
    let bench = bench();
    let json = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let table = bench.run(&["plan", "move.lua", "--csv"]).expect(0).out;
    // RFC 4180, 2: CRLF after every line, one line of headings, as many fields in every line.
    assert!(table.ends_with("\r\n") && table.matches('\n').count() == table.matches("\r\n").count());
    assert_eq!(table.matches("weight").count(), 1);
    fs::write(bench.path("plan.csv"), &table).unwrap();
    let read = "import csv, json, sys; print(json.dumps(list(csv.reader(open(sys.argv[1], newline=''), strict=True))))";
    let lines: Vec<Vec<String>> =
        serde_json::from_str(&python("python3", read, &[bench.path("plan.csv").to_str().unwrap()])).unwrap();
    let head = &lines[0];
    assert!(lines.iter().all(|line| line.len() == head.len()));
    let mut lines = lines[1..].iter();
    let (mut means, mut between, mut rolled, mut held) = (0, 0, 0, 0);
    for plan in json["plans"].as_array().unwrap() {
        for delivery in plan["deliveries"].as_array().unwrap() {
            let (over, under) = (&delivery["fps"]["numerator"], &delivery["fps"]["denominator"]);
            let rate = over.as_f64().unwrap() / under.as_f64().unwrap();
            for (frame, row) in delivery["rows"].as_array().unwrap().iter().enumerate() {
                let alone = [json!({ "shown": row["shown"], "weight": 65_536 })];
                let shares = row["blend"].as_array().map_or(&alone[..], |blend| &blend[..]);
                means += usize::from(shares.len() > 1 && row["invented"].is_null());
                between += usize::from(row["invented"] == true);
                held += usize::from(row["slot"] != row["shown"]);
                let mut sum = 0.0;
                for (at, share) in shares.iter().enumerate() {
                    let line = lines.next().unwrap();
                    let field = |name: &str| &line[head.iter().position(|known| known == name).unwrap()];
                    let number = |name: &str| field(name).parse::<f64>().unwrap();
                    let text = |value: &Value| value.as_str().unwrap().to_owned();
                    assert_eq!([field("shot"), field("delivery")], [&text(&plan["shot"]), &text(&delivery["name"])]);
                    assert_eq!(number("frame"), frame as f64);
                    assert!((number("seconds") - frame as f64 / rate).abs() < 1e-12);
                    assert_eq!(number("position"), row["position"].as_f64().unwrap());
                    assert_eq!(number("turn"), row["slot"].as_f64().unwrap() + 1.0);
                    assert_eq!(number("still"), share["shown"].as_f64().unwrap() + 1.0);
                    assert_eq!(*field("name"), format!("LAPS{:04}", number("still")));
                    assert_eq!(*field("captured"), format!("2031-05-04T12:00:{:02}", 2.0 * number("still")));
                    assert_eq!(number("weight"), share["weight"].as_f64().unwrap() / 65_536.0);
                    sum += number("weight");
                    let layer = match &row["layers"] {
                        layers if layers["one"].is_object() => &layers["one"],
                        layers if layers["mean"].is_array() => &layers["mean"][at],
                        layers => &layers["between"]["layers"][at],
                    };
                    for side in ["x", "y", "width", "height", "roll"] {
                        assert_eq!(number(side), row["window"][side].as_f64().unwrap(), "{side}");
                        assert_eq!(number(&format!("still_{side}")), layer["window"][side].as_f64().unwrap(), "{side}");
                    }
                    rolled += usize::from(number("roll") != 0.0);
                    assert_eq!(number("frame_width"), delivery["frame"]["width"].as_f64().unwrap());
                }
                assert_eq!(sum, 1.0);
            }
        }
    }
    assert!(lines.next().is_none());
    assert!(means > 5 && between > 5 && rolled > 20 && held > 1, "{means} {between} {rolled} {held}");
}

#[test]
fn a_name_that_wants_quotes_has_them_and_no_name_ends_a_line() {
    let bench = Bench::new(0);
    for (number, name) in ["a,\"b\" 1", "a,\"b\" 2"].into_iter().enumerate() {
        write_still(&bench.path(&format!("stills/{name}.JPG")), STILL, number);
    }
    bench.script(&crate::common::one("\"stills\""));
    let table = bench.run(&["plan", "move.lua", "--csv"]).expect(0).out;
    assert!(table.contains(",\"a,\"\"b\"\" 1\","), "{table}");
    assert_eq!(table.lines().count(), 3);
}

/// The fields of each schema, as OpenTimelineIO 0.18.1 writes them itself (`otio_json` of one object of each), less
/// `color`, which came late, and of sequences `available_image_bounds`; both may be left out.
const FIELDS: [(&str, &str); 10] = [
    ("Timeline.1", "metadata name global_start_time tracks"),
    ("Stack.1", "metadata name source_range effects markers enabled children"),
    ("Track.1", "metadata name source_range effects markers enabled children kind"),
    ("Clip.2", "metadata name source_range effects markers enabled media_references active_media_reference_key"),
    ("Gap.1", "metadata name source_range effects markers enabled"),
    ("ExternalReference.1", "metadata name available_range available_image_bounds target_url"),
    (
        "ImageSequenceReference.1",
        "metadata name available_range target_url_base name_prefix name_suffix start_frame frame_step rate \
         frame_zero_padding missing_frame_policy",
    ),
    ("Marker.2", "metadata name color marked_range comment"),
    ("TimeRange.1", "duration start_time"),
    ("RationalTime.1", "rate value"),
];

/// Every object of a schema within a value, its fields held against [`FIELDS`]; how many of each are counted.
fn schemas(value: &Value, seen: &mut BTreeSet<String>) {
    match value {
        Value::Array(values) => values.iter().for_each(|value| schemas(value, seen)),
        Value::Object(fields) => {
            if let Some(schema) = fields.get("OTIO_SCHEMA").and_then(Value::as_str) {
                let due = FIELDS.iter().find(|(name, _)| *name == schema).unwrap_or_else(|| panic!("{schema}")).1;
                let due: BTreeSet<&str> = due.split_whitespace().chain(["OTIO_SCHEMA"]).collect();
                assert_eq!(fields.keys().map(String::as_str).collect::<BTreeSet<_>>(), due, "{schema}");
                seen.insert(schema.to_owned());
            }
            fields.values().for_each(|value| schemas(value, seen));
        }
        _ => {}
    }
}

fn read(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// A timeline's name, its rate as a fraction, and its clips' deliveries with their frames.
type Due = (&'static str, [f64; 2], &'static [(&'static str, u32)]);

const DUE: [Due; 3] = [
    ("128x72", [24_000.0, 1001.0], &[("wide", 28), ("second-wide", 7)]),
    ("72x128", [30_000.0, 1001.0], &[("tall", 35), ("second-tall", 9)]),
    ("frames", [60.0, 1.0], &[("frames", 70)]),
];

#[test]
fn each_delivery_is_a_timeline_of_the_published_schemas_with_exact_ranges() {
    let bench = bench();
    let ran = bench.run(&["hand", "move.lua", "-o", "hand over.otio"]).expect(0);
    let plans = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let mut seen = BTreeSet::new();
    for (name, [over, under], frames) in DUE {
        let timeline = read(&bench.path(&format!("hand over-{name}.otio")));
        schemas(&timeline, &mut seen);
        assert_eq!(timeline["name"], format!("move-{name}"));
        let clips = timeline["tracks"]["children"][0]["children"].as_array().unwrap();
        assert_eq!((timeline["tracks"]["children"].as_array().unwrap().len(), clips.len()), (1, frames.len()));
        for ((clip, (delivery, frames)), plan) in clips.iter().zip(frames).zip(plans["plans"].as_array().unwrap()) {
            let plan = plan["deliveries"].as_array().unwrap().iter().find(|plan| plan["name"] == *delivery).unwrap();
            let rows = plan["rows"].as_array().unwrap();
            assert_eq!(rows.len(), *frames as usize, "{name}");
            let range = |range: &Value, first: f64, count: f64| {
                for (side, due) in [("start_time", first), ("duration", count)] {
                    assert_eq!(
                        (&range[side]["value"], &range[side]["rate"]),
                        (&json!(due), &json!(over / under)),
                        "{name}"
                    );
                }
            };
            range(&clip["source_range"], 0.0, f64::from(*frames));
            let media = &clip["media_references"]["DEFAULT_MEDIA"];
            range(&media["available_range"], 0.0, f64::from(*frames));
            let laid = &clip["metadata"]["stillpath"];
            assert_eq!((&laid["is_rendered"], &laid["frames"]), (&json!(false), &json!(frames)));
            for (row, due) in laid["rows"].as_array().unwrap().iter().zip(rows) {
                let window = &due["window"];
                // To a billionth: what is longer does not survive the reference library.
                let same =
                    |one: &Value, other: &Value| (one.as_f64().unwrap() - other.as_f64().unwrap()).abs() <= 0.51e-9;
                assert!(same(&row[0], &due["position"]));
                for (at, side) in ["x", "y", "width", "height", "roll"].iter().enumerate() {
                    assert!(same(&row[at + 2], &window[side]), "{row} {window}");
                }
            }
            let stills = &laid["stills"]["sequence"];
            let due = json!(["stills/", "LAPS", ".JPG", 1, 4, "hold"]);
            let names = [
                "target_url_base",
                "name_prefix",
                "name_suffix",
                "start_frame",
                "frame_zero_padding",
                "missing_frame_policy",
            ];
            assert_eq!(json!(names.map(|field| &stills[field])), due);
            range(&stills["available_range"], 0.0, 14.0);
            let keys: Vec<&Value> =
                clip["markers"].as_array().unwrap().iter().filter(|marker| marker["color"] == "GREEN").collect();
            if *frames >= 28 {
                range(&keys[0]["marked_range"], 0.0, 1.0);
                range(&keys[1]["marked_range"], f64::from(*frames) - 1.0, 1.0);
                assert!(keys[0]["comment"].as_str().unwrap().starts_with("move.lua:4: window "), "{}", keys[0]);
            }
        }
    }
    let due: BTreeSet<String> =
        FIELDS.iter().map(|(name, _)| (*name).to_owned()).filter(|name| name != "Gap.1").collect();
    assert_eq!(seen, due);
    // 01:00:00:00 stands on the second shot: where the timeline begins is the first one's to say.
    assert!(read(&bench.path("hand over-128x72.otio"))["global_start_time"].is_null());
    let frames = read(&bench.path("hand over-frames.otio"));
    let media = &frames["tracks"]["children"][0]["children"][0]["media_references"]["DEFAULT_MEDIA"];
    assert_eq!(
        (&media["target_url_base"], &media["name_suffix"], &media["frame_zero_padding"]),
        (&json!("move-frames/"), &json!(".png"), &json!(6))
    );
    assert!(ran.err.contains("is not there yet; the timeline names it all the same"), "{}", ran.err);
}

#[test]
fn a_timeline_says_whether_its_clips_are_there_and_of_this_script() {
    let bench = Bench::new(6);
    let script = crate::common::one("\"stills\"");
    bench.script(&script);
    fs::create_dir(bench.path("my clips")).unwrap();
    let hand = || bench.run(&["hand", "move.lua", "-o", "my clips/edit.otio", "--force"]).expect(0);
    let ran = hand().says("my clips/move-wide.mp4 is not there yet");
    // What it says to type is typed, as a shell takes it.
    let typed =
        ran.err.lines().find_map(|line| line.split_once("make it with stillpath ").map(|(_, typed)| typed)).unwrap();
    let words = shlex::split(typed).unwrap();
    bench.run(&words.iter().map(String::as_str).collect::<Vec<_>>()).expect(0);
    let ran = hand();
    assert_eq!(ran.err, "", "the clip is there");
    let clip = &read(&bench.path("my clips/edit.otio"))["tracks"]["children"][0]["children"][0];
    assert_eq!(clip["metadata"]["stillpath"]["is_rendered"], true);
    let target = clip["media_references"]["DEFAULT_MEDIA"]["target_url"].as_str().unwrap();
    assert!(bench.path("my clips").join(target).is_file());
    assert_eq!(clip["metadata"]["stillpath"]["stills"]["sequence"]["target_url_base"], "../stills/");
    // From elsewhere, with the names that a URL cannot hold escaped.
    bench.run(&["hand", "move.lua", "-o", "edit.otio", "--clips", "my clips"]).expect(0);
    let clip = &read(&bench.path("edit.otio"))["tracks"]["children"][0]["children"][0];
    assert_eq!(clip["media_references"]["DEFAULT_MEDIA"]["target_url"], "my%20clips/move-wide.mp4");
    // Another plan: what the receipt says no longer fits, and what is said to type makes it fit.
    bench.script(&script.replace("stills_per_frame(1)", "stills_per_frame(2)"));
    let ran = hand().says("was made by another plan than the script makes now");
    let typed = ran
        .err
        .lines()
        .find_map(|line| line.split_once("make it anew with stillpath ").map(|(_, typed)| typed))
        .unwrap();
    let words = shlex::split(typed).unwrap();
    bench.run(&words.iter().map(String::as_str).collect::<Vec<_>>()).expect(0);
    assert_eq!(hand().err, "");
}

#[test]
fn what_no_timeline_can_be_written_to_is_refused_and_says_what_to_type() {
    let bench = Bench::new(3);
    bench.script(&crate::common::one("\"stills\""));
    bench.run(&["hand", "move.lua", "-o", "edit.xml"]).expect(1).says("a timeline is written as .otio; seen edit.xml");
    bench.run(&["hand", "move.lua", "-o", "edit.otio"]).expect(0);
    bench
        .run(&["hand", "move.lua", "-o", "edit.otio"])
        .expect(1)
        .says("edit.otio is already there")
        .says("--force replaces it");
    bench.run(&["hand", "move.lua", "-o", "edit.otio", "--force"]).expect(0);
    bench.run(&["hand", "move.lua", "-o", "nowhere/edit.otio"]).expect(1).says("there is no folder nowhere");
    // Stills that are not numbered one after the other are listed.
    fs::rename(bench.still(3), bench.path("stills/OTHER0001.JPG")).unwrap();
    bench.run(&["hand", "move.lua", "-o", "edit.otio", "--force"]).expect(0);
    let stills =
        &read(&bench.path("edit.otio"))["tracks"]["children"][0]["children"][0]["metadata"]["stillpath"]["stills"];
    let files = stills["files"].as_array().unwrap_or_else(|| panic!("{stills}"));
    assert!(files.len() == 3 && files.contains(&json!("stills/OTHER0001.JPG")), "{files:?}");
}

/// What the library makes of each file, as JSON; it fails where writing and reading again changes anything, or drops a
/// field of ours.
const LIBRARY: &str = r#"
import json, os, sys
from urllib.parse import unquote
import opentimelineio as otio

def kept(ours, theirs, at):
    if isinstance(ours, dict):
        for name, value in ours.items():
            assert name in theirs, f"{at}.{name} is gone"
            kept(value, theirs[name], f"{at}.{name}")
    elif isinstance(ours, list):
        assert len(ours) == len(theirs), at
        for number, pair in enumerate(zip(ours, theirs)):
            kept(*pair, f"{at}[{number}]")
    else:
        assert ours == theirs, f"{at}: {ours} became {theirs}"

told = []
for path in sys.argv[1:]:
    timeline = otio.adapters.read_from_file(path)
    assert isinstance(timeline, otio.schema.Timeline)
    text = otio.adapters.write_to_string(timeline, "otio_json")
    again = otio.adapters.read_from_string(text, "otio_json")
    assert again.is_equivalent_to(timeline)
    kept(json.load(open(path)), json.loads(text), "timeline")
    clips = []
    for clip in timeline.find_clips():
        media, found = clip.media_reference, clip.available_range()
        stills = clip.metadata["stillpath"]["stills"]["sequence"]
        assert isinstance(stills, otio.schema.ImageSequenceReference)
        folder = os.path.dirname(os.path.abspath(path))
        there = [os.path.exists(os.path.join(folder, unquote(stills.target_url_for_image_number(number))))
                 for number in range(stills.number_of_images_in_sequence())]
        parent = clip.range_in_parent()
        assert clip.trimmed_range() == found
        for marked in (marker.marked_range for marker in clip.markers):
            assert found.start_time <= marked.start_time and marked.end_time_exclusive() <= found.end_time_exclusive()
        clips.append({
            "name": clip.name,
            "kind": type(media).__name__,
            "frames": clip.duration().to_frames(),
            "rate": clip.duration().rate.hex(),
            "begins": parent.start_time.to_frames(),
            "stills": there,
            "last": stills.end_frame(),
            "markers": [marker.name for marker in clip.markers],
        })
    told.append({"name": timeline.name, "frames": timeline.duration().to_frames(), "clips": clips})
print(json.dumps(told))
"#;

/// With `STILLPATH_OTIO` set to a Python that has `opentimelineio` (`sh scripts/otio` makes one) this must pass; without
/// it, the `python3` there is is asked whether it has it.
#[test]
fn the_reference_library_reads_what_is_handed_over_and_writes_it_again_unchanged() {
    let wanted = std::env::var("STILLPATH_OTIO").ok().filter(|python| !python.is_empty());
    let interpreter = wanted.clone().unwrap_or_else(|| "python3".into());
    let has_it =
        Command::new(&interpreter).args(["-c", "import opentimelineio"]).output().is_ok_and(|ran| ran.status.success());
    assert!(has_it || wanted.is_none(), "STILLPATH_OTIO is {interpreter}, which cannot import opentimelineio");
    if !has_it {
        #[expect(clippy::print_stderr, reason = "who reads the log is to know what was not asked")]
        {
            eprintln!("NOT TRIED: {interpreter} has no opentimelineio; sh scripts/otio tries it");
        }
        return;
    }
    let bench = bench();
    bench.run(&["hand", "move.lua", "-o", "edit.otio"]).expect(0);
    let paths: Vec<String> =
        DUE.iter().map(|(name, ..)| bench.path(&format!("edit-{name}.otio")).to_string_lossy().into_owned()).collect();
    let told: Value =
        serde_json::from_str(&python(&interpreter, LIBRARY, &paths.iter().map(String::as_str).collect::<Vec<_>>()))
            .unwrap();
    for ((name, [over, under], frames), told) in DUE.iter().zip(told.as_array().unwrap()) {
        assert_eq!(
            (&told["name"], &told["frames"]),
            (&json!(format!("move-{name}")), &json!(frames.iter().map(|(_, frames)| frames).sum::<u32>()))
        );
        let mut begins = 0;
        let clips = told["clips"].as_array().unwrap();
        assert_eq!(clips.len(), frames.len());
        for ((clip, (_, frames)), shot) in clips.iter().zip(*frames).zip(["first", "second"]) {
            // The very double, to its last bit: 1,001 is exact, and so is the quotient's rounding.
            let rate = python("python3", &format!("print(({over} / {under}).hex())"), &[]);
            let rate = rate.trim();
            let kind = if *name == "frames" { "ImageSequenceReference" } else { "ExternalReference" };
            let due = json!([shot, kind, frames, rate, begins, 14]);
            assert_eq!(json!(["name", "kind", "frames", "rate", "begins", "last"].map(|field| &clip[field])), due);
            // All stills are found by the library's own names but the one that is missing.
            let there: Vec<bool> = (1..=14).map(|number| number != 4).collect();
            assert_eq!(clip["stills"], json!(there));
            begins += frames;
        }
    }
}

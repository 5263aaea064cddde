//! The receipt that a render leaves, held against the files themselves and against what `plan` and `render` print.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};
use stillpath::receipt::{FilePath, Receipt};

use crate::common::{Bench, Ran, STILL, corrupt, one, put, write_still};

/// Fourteen slots: one missing and skipped, one whose file is empty and one whose data is broken, both held, two
/// outside the part, one cut out; two deliveries of one pace, a mix and what is invented.
const SCRIPT: &str = r#"
local own = require "own"
local zoom = dial("zoom", 1.2, { min = 1, max = 4, help = "how close" })
return shot {
  source = stills { "stills", missing = "skip", damaged = "hold", to = still(12), cuts = { cut(still(2), still(2)) } },
  fps = 12, pace = frames_per_still(2), level = { curve = "gains.csv" },
  framing = framing { key { at = "start", on = point(0.5, 0.5), zoom = zoom }, key { at = "end", on = own.place, zoom = 1.5 } },
  deliveries = {
    delivery { "mixed", frame = { 128, 72 }, between = "mix" },
    delivery { "moving", frame = { 64, 64 }, between = "motion", codec = "png" },
  },
}
"#;

const MODULE: &str = "local moves = require \"moves\"\nreturn { place = point(0.6, 0.4) }\n";

fn text(bench: &Bench, name: &str) -> String {
    fs::read_to_string(bench.path(name)).unwrap()
}

/// A receipt that fits itself, as JSON.
fn receipt(bench: &Bench, name: &str) -> Value {
    let text = text(bench, name);
    Receipt::from_json(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
    serde_json::from_str(&text).unwrap()
}

fn hash(path: &Path) -> String {
    blake3::hash(&fs::read(path).unwrap()).to_hex().to_string()
}

/// Frames of runs.
fn frames(runs: &Value) -> BTreeSet<u64> {
    let of = |run: &Value| run[0].as_u64().unwrap()..=run[1].as_u64().unwrap();
    runs.as_array().unwrap().iter().flat_map(of).collect()
}

fn list<'a>(value: &'a Value, field: &str) -> &'a Vec<Value> {
    value[field].as_array().unwrap_or_else(|| panic!("{field} of {value}"))
}

/// JSON without the white space between its words.
fn compact(pretty: &str) -> String {
    let (mut out, mut quoted, mut escaped) = (String::new(), false, false);
    for letter in pretty.chars() {
        if quoted || !letter.is_whitespace() {
            out.push(letter);
        }
        quoted ^= letter == '"' && !escaped;
        escaped = quoted && letter == '\\' && !escaped;
    }
    out
}

fn odd_shoot() -> Bench {
    let bench = Bench::new(14);
    bench.script(&SCRIPT.replace("{ curve = \"gains.csv\" }", "true"));
    fs::write(bench.path("own.lua"), MODULE).unwrap();
    bench.run(&["level", "move.lua", "-o", "gains.csv"]).expect(0);
    bench.script(SCRIPT);
    fs::remove_file(bench.still(4)).unwrap();
    put(&bench.still(6), b"");
    corrupt(&bench.still(9));
    bench
}

#[test]
fn a_receipt_says_what_was_made_from_what_and_every_hash_in_it_is_right() {
    let bench = odd_shoot();
    let ran = bench
        .run(&["render", "move.lua", "--out", "clips", "--set", "zoom=1.3", "--threads", "2", "--json"])
        .expect(0)
        .json();
    assert_eq!(ran["receipt"], "clips/move-receipt.json");
    let receipt = receipt(&bench, "clips/move-receipt.json");
    let schema: Value = serde_json::from_str(include_str!("../../scripts/receipt.schema.json")).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let faults: Vec<String> =
        validator.iter_errors(&receipt).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
    assert!(!validator.is_valid(&json!({ "format": "stillpath receipt 1" })));

    let script = &receipt["script"];
    assert_eq!(
        (&script["path"], &script["dials"], &script["threads"]),
        (&json!("../move.lua"), &json!({ "zoom": "1.3" }), &json!(2))
    );
    assert_eq!(script["blake3"], hash(&bench.path("move.lua")));
    assert_eq!(script["modules"][0], json!({ "path": "own.lua", "blake3": hash(&bench.path("own.lua")) }));
    let moves = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts/moves/init.lua");
    assert_eq!(script["modules"][1], json!({ "path": "builtin:moves", "blake3": hash(&moves) }));
    let codecs = &receipt["versions"]["codecs"];
    assert!(
        codecs["jpeg"].as_str().unwrap().starts_with("mozjpeg-sys ")
            && codecs["png"].as_str().unwrap().starts_with("png ")
    );
    assert!(codecs["libx264"].as_str().unwrap().starts_with("core "), "{codecs}");
    assert_eq!(receipt["versions"]["stillpath"], env!("CARGO_PKG_VERSION"));

    stills(&bench, &receipt);
    deliveries(&bench, &receipt, &ran);
    let shot = &receipt["shots"][0];
    let level =
        json!([{ "kind": "level", "table": "move-level.csv", "blake3": hash(&bench.path("clips/move-level.csv")) }]);
    assert_eq!(shot["corrections"], level);
    let tally = shot["tally"].as_object().unwrap();
    assert_eq!(tally.values().map(|count| count.as_u64().unwrap()).sum::<u64>(), 14, "{tally:?}");
    let due =
        json!({ "used": 8, "passed_over": 0, "outside_part": 2, "cut": 1, "damaged": 2, "missing": 1, "set_aside": 0 });
    assert_eq!(shot["tally"], due);
    let stages: Vec<&str> = list(&receipt, "stages").iter().map(|stage| stage["name"].as_str().unwrap()).collect();
    assert_eq!(stages, ["prepare", "render", "hash stills", "finish", "tables and strip", "hash outputs"]);
}

/// Every still, by its file.
fn stills(bench: &Bench, receipt: &Value) {
    let stills = list(&receipt["shoots"][0], "stills");
    assert_eq!(stills.len(), 14);
    for (number, still) in (1..).zip(stills) {
        assert_eq!(still["name"], format!("LAPS{number:04}"));
        let why = still["why"].as_str().unwrap_or("");
        let words = match number {
            2 => "left out by a cut; not read",
            4 => "missing: skipped",
            6 => "damaged: the file is empty; held by LAPS0005; not read",
            9 => "damaged: the picture data is damaged",
            13 | 14 => "outside the part from 'from' to 'to'; not read",
            _ => "",
        };
        assert!(why.starts_with(words) && why.is_empty() == words.is_empty(), "{number}: {why}");
        assert_eq!(still.get("shown").is_some(), words.is_empty(), "{number}");
        if number == 4 {
            assert!(still.get("path").is_none() && still.get("bytes").is_none() && still.get("blake3").is_none());
            continue;
        }
        assert_eq!(still["path"], format!("stills/LAPS{number:04}.JPG"));
        // What was read to be decoded is hashed, whatever came of it.
        assert_eq!(still.get("blake3").is_some(), !why.contains("not read"), "{number}");
        if let Some(seen) = still.get("blake3") {
            assert_eq!(
                (seen, &still["bytes"]),
                (&json!(hash(&bench.still(number))), &json!(fs::metadata(bench.still(number)).unwrap().len()))
            );
        }
    }
    let b3sum = Command::new("b3sum").arg("--no-names").arg(bench.still(1)).output();
    if let Ok(said) = b3sum {
        assert_eq!(String::from_utf8(said.stdout).unwrap().trim(), stills[0]["blake3"]);
    }
}

/// Every delivery, by its files, by what `render --json` says of its frames, and by the plan's rows.
fn deliveries(bench: &Bench, receipt: &Value, ran: &Value) {
    let plan = bench.run(&["plan", "move.lua", "--set", "zoom=1.3", "--json"]).expect(0).json();
    let instead = |slot: u64| {
        let stood_in = list(&ran["shots"][0], "stood_in").iter().find(|entry| entry["slot"] == slot + 1);
        stood_in.map_or(slot, |entry| entry["shown"].as_u64().unwrap() - 1)
    };
    assert_eq!(instead(8), 7);
    let stills = list(&receipt["shoots"][0], "stills");
    for (index, delivery) in list(receipt, "deliveries").iter().enumerate() {
        assert_eq!(delivery["planes"], ran["outputs"][index]["frame_planes"]);
        let rows = list(&plan["plans"][0]["deliveries"][index], "rows");
        assert_eq!((&delivery["frames"], &delivery["rate"]), (&json!(rows.len()), &json!([12, 1])));
        let (mut held, mut mixed, mut invented) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        let mut shown = vec![BTreeSet::new(); stills.len()];
        for (frame, row) in (0..).zip(rows) {
            let blend: Vec<u64> = row.get("blend").map_or_else(
                || vec![row["shown"].as_u64().unwrap()],
                |blend| blend.as_array().unwrap().iter().map(|share| share["shown"].as_u64().unwrap()).collect(),
            );
            if row["slot"] != row["shown"] || blend.iter().any(|slot| instead(*slot) != *slot) {
                held.insert(frame);
            }
            if row.get("invented").is_some() {
                invented.insert(frame);
            } else if blend.len() > 1 {
                mixed.insert(frame);
            }
            for slot in blend {
                shown[usize::try_from(instead(slot)).unwrap()].insert(frame);
            }
        }
        assert!(!held.is_empty());
        assert_eq!((mixed.is_empty(), invented.is_empty()), (index == 1, index == 0));
        assert_eq!([&delivery["held"], &delivery["mixed"], &delivery["invented"]].map(frames), [held, mixed, invented]);
        for (still, due) in stills.iter().zip(shown) {
            let none = Vec::new();
            let said = still.get("shown").map_or(&none, |shown| shown.as_array().unwrap());
            let said = said.iter().find(|entry| entry["delivery"] == index).map(|entry| frames(&entry["frames"]));
            assert_eq!(said.unwrap_or_default(), due, "{}", still["name"]);
        }
    }
    let [clip, sequence] = [0, 1].map(|index| &receipt["deliveries"][index]);
    let tags = |transfer: &str, matrix: &str, range: &str| json!({ "primaries": "bt709", "transfer": transfer, "matrix": matrix, "range": range });
    assert_eq!((&clip["path"], &clip["codec"]), (&json!("move-mixed.mp4"), &json!("h264")));
    assert_eq!(
        (&clip["blake3"], &clip["tags"]),
        (&json!(hash(&bench.path("clips/move-mixed.mp4"))), &tags("bt709", "bt709", "tv"))
    );
    assert_eq!((&sequence["path"], &sequence["codec"]), (&json!("move-moving"), &json!("png")));
    let mut all = blake3::Hasher::new();
    for name in bench.list("clips/move-moving") {
        all.update(blake3::hash(&fs::read(bench.path("clips/move-moving").join(name)).unwrap()).as_bytes());
    }
    assert_eq!(sequence["blake3"], all.finalize().to_hex().to_string());
    assert_eq!(sequence["tags"], tags("iec61966-2-1", "gbr", "pc"));
}

/// Compact JSON of a plan without what its rows end with: their layers.
fn without_layers(plan: &str) -> String {
    let mut parts = plan.split(",\"layers\":{\"one\":");
    let mut out = parts.next().unwrap().to_owned();
    for part in parts {
        let mut open = 1;
        let end = part.find(|letter: char| {
            open += i32::from(letter == '{') - i32::from(letter == '}');
            open == 0
        });
        out += &part[end.unwrap() + 1..];
    }
    out
}

#[test]
fn a_plans_hash_is_that_of_its_compact_json_wherever_the_script_is_called_from() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let ran = bench.render().expect(0);
    assert!(ran.out.contains("clips/move-receipt.json  the receipt"), "{}", ran.out);
    let seen = receipt(&bench, "clips/move-receipt.json")["shots"][0]["plan"].clone();
    let printed = compact(&bench.run(&["plan", "move.lua", "--json"]).expect(0).out);
    let plan = printed.strip_prefix("{\"plans\":[").and_then(|rest| rest.strip_suffix("]}")).unwrap();
    assert!(plan.contains("\"remarks\":[]"), "{plan}");
    assert_eq!(seen, blake3::hash(without_layers(plan).as_bytes()).to_hex().to_string());
    let script = bench.path("move.lua");
    bench.run(&["render", script.to_str().unwrap(), "--out", "other", "--no-strip"]).expect(0);
    let other = receipt(&bench, "other/move-receipt.json");
    assert_eq!((&other["shots"][0]["plan"], &other["script"]["path"]), (&seen, &json!("../move.lua")));
}

#[test]
fn names_of_any_bytes_are_found_again_by_their_bytes() {
    let bench = Bench::new(0);
    let folder = bench.path("stills").join(OsStr::from_bytes(b"fl\xf6w"));
    for number in 1..=3 {
        write_still(&folder.join(format!("LAPS{number:04}.JPG")), STILL, number);
    }
    bench.script(&one("\"stills\""));
    bench.render().expect(0);
    let receipt = Receipt::from_json(&text(&bench, "clips/move-receipt.json")).unwrap();
    for still in &receipt.shoots[0].stills {
        let path = still.path.as_ref().and_then(FilePath::path).unwrap();
        assert_eq!(Some(hash(&bench.folder.path().join(path))), still.blake3);
    }
}

#[test]
fn a_recording_is_hashed_whole_and_its_frames_are_no_files() {
    let bench = Bench::new(6);
    bench.script(&one("\"stills\""));
    bench.run(&["render", "move.lua", "--out", "day", "--no-strip", "--no-receipt"]).expect(0);
    assert_eq!(bench.list("day"), ["move-wide.mp4"]);
    bench.script(
        &one("").replace("stills {  }", "recording \"day/move-wide.mp4\"").replace("{ 128, 72 }", "{ 64, 36 }"),
    );
    bench.render().expect(0);
    let receipt = receipt(&bench, "clips/move-receipt.json");
    let shoot = &receipt["shoots"][0];
    assert_eq!(
        shoot["recording"],
        json!({ "path": "day/move-wide.mp4", "blake3": hash(&bench.path("day/move-wide.mp4")) })
    );
    let stills = list(shoot, "stills");
    assert_eq!(stills.len(), 6);
    for (frame, still) in stills.iter().enumerate() {
        assert!(still.get("path").is_none() && still.get("blake3").is_none(), "{still}");
        assert_eq!(still["shown"], json!([{ "delivery": 0, "frames": [[frame, frame]] }]));
    }
}

#[test]
fn only_a_receipt_of_the_same_script_is_replaced_without_force() {
    let bench = Bench::new(3);
    bench.script(&one("\"stills\""));
    let there = bench.path("clips/move-receipt.json");
    fs::create_dir(bench.path("clips")).unwrap();
    fs::write(&there, "{\"format\": \"my own\"}").unwrap();
    bench
        .render()
        .expect(1)
        .says("is already there, and is not a receipt of this program")
        .says("--no-receipt leaves the receipt out");
    assert_eq!(bench.list("clips"), ["move-receipt.json"]);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-receipt", "--no-strip"]).expect(0);
    assert_eq!(fs::read_to_string(&there).unwrap(), "{\"format\": \"my own\"}");
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    receipt(&bench, "clips/move-receipt.json");
    // Its own is replaced, one of a script elsewhere is not.
    fs::remove_file(bench.path("clips/move-wide.mp4")).unwrap();
    bench.render().expect(0);
    fs::remove_file(bench.path("clips/move-wide.mp4")).unwrap();
    fs::create_dir(bench.path("elsewhere")).unwrap();
    fs::write(bench.path("elsewhere/move.lua"), one("\"../stills\"")).unwrap();
    bench
        .run(&["render", "elsewhere/move.lua", "--out", "clips"])
        .expect(1)
        .says("is already there, the receipt of another script");
    // A folder of that name is never replaced.
    fs::remove_file(&there).unwrap();
    fs::create_dir(&there).unwrap();
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(1).says("is not a file");
    assert!(!bench.path("clips/move-wide.mp4").exists());
}

#[test]
fn a_run_of_some_deliveries_has_a_receipt_of_its_own_and_drafts_have_none() {
    let bench = Bench::new(4);
    bench.script(
        &one("\"stills\"").replace("deliveries = {", "deliveries = { delivery { \"tall\", frame = { 48, 64 } },"),
    );
    bench.run(&["render", "move.lua", "--out", "clips", "--draft", "--no-strip"]).expect(0);
    assert_eq!(bench.list("clips"), ["move-tall.draft.mp4", "move-wide.draft.mp4"]);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let whole = text(&bench, "clips/move-receipt.json");
    bench.run(&["render", "move.lua", "--out", "clips", "--delivery", "tall", "--force", "--no-strip"]).expect(0);
    assert_eq!(text(&bench, "clips/move-receipt.json"), whole);
    let tall = receipt(&bench, "clips/move-tall-receipt.json");
    assert_eq!((list(&tall, "deliveries").len(), &tall["script"]["only"]), (1, &json!(["tall"])));
    assert_eq!(
        tall["deliveries"][0]["planes"],
        serde_json::from_str::<Value>(&whole).unwrap()["deliveries"][0]["planes"]
    );
}

// A limit on the size of files stands in for a full disk: both reach the program as an error of the same calls.
#[test]
fn a_full_disk_under_the_receipt_costs_only_the_receipt_and_the_same_command_writes_it() {
    let bench = Bench::new(24);
    // One still for a long time: a small clip with the hashes of many frames.
    bench.script(
        &one("\"stills\"").replace("stills_per_frame(1)", "frames_per_still(100)").replace("{ 128, 72 }", "{ 16, 16 }"),
    );
    let arguments = ["render", "move.lua", "--no-strip", "--out"];
    bench.run(&[&arguments[..], &["whole"]].concat()).expect(0);
    let [clip, receipt_bytes] =
        ["move-wide.mp4", "move-receipt.json"].map(|name| fs::metadata(bench.path("whole").join(name)).unwrap().len());
    let blocks = (receipt_bytes - 1) / 512;
    assert!(clip < blocks * 512, "the clip needs the room of its receipt: {clip} of {receipt_bytes}");
    let program = env!("CARGO_BIN_EXE_stillpath");
    let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec {program} {} clips", arguments.join(" "));
    let output = Command::new("sh")
        .args(["-c", &limited])
        .current_dir(bench.folder.path())
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    let ran = Ran::of(output).expect(2).says("clips/move-receipt.json: File too large");
    ran.says("the outputs are complete and stay; only their receipt could not be written")
        .says("the same command, without --fresh, writes it");
    assert_eq!(bench.list("clips"), [".move-wide.mp4.part", "move-wide.mp4"]);
    assert_eq!(hash(&bench.path("clips/move-wide.mp4")), hash(&bench.path("whole/move-wide.mp4")));
    bench.run(&[&arguments[..], &["clips"]].concat()).expect(0);
    assert_eq!(bench.list("clips"), ["move-receipt.json", "move-wide.mp4"]);
    let [mut one, mut other] = ["whole", "clips"].map(|out| receipt(&bench, &format!("{out}/move-receipt.json")));
    assert_eq!(other["deliveries"][0]["taken_over"], other["deliveries"][0]["frames"]);
    for receipt in [&mut one, &mut other] {
        for field in ["hash", "made", "stages"] {
            receipt[field] = Value::Null;
        }
        receipt["deliveries"][0]["taken_over"] = Value::Null;
    }
    assert_eq!(one, other);
}

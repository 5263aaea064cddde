//! Purposes: rows of a table that deliveries take, that the user owns, and that deliveries are held against.

use std::fs;

use crate::common::{Bench, Ran};

/// A script of one delivery, a still a frame.
fn script(delivery: &str) -> String {
    format!(
        "return shot {{ source = stills {{ \"stills\" }}, fps = 24, pace = stills_per_frame(1),\n\
         deliveries = {{ delivery {{ {delivery} }} }} }}"
    )
}

/// The path of the user's table in a bench.
const TABLE: &str = "config/stillpath/deliveries.toml";

/// Runs the program with the bench's own configuration folder.
fn run(bench: &Bench, arguments: &[&str]) -> Ran {
    Ran::of(bench.command(arguments).env("XDG_CONFIG_HOME", bench.path("config")).output().unwrap())
}

/// Gives the bench a table of its own.
fn own(bench: &Bench, text: &str) {
    fs::create_dir_all(bench.path("config/stillpath")).unwrap();
    fs::write(bench.path(TABLE), text).unwrap();
}

/// A small row.
const SMALL: &str = r#"dated = 2026-11-30
["small clip"]
frame = [128, 72]
source.frame = "common practice, no source, 2026-11"
fps = "30000/1001"
source.fps = "common practice, no source, 2026-11"
codec = "h264"
source.codec = "common practice, no source, 2026-11"
quality = { crf = 20, preset = "fast" }
source.quality = "common practice, no source, 2026-11"
safe = { bottom = 0.2 }
source.safe = "common practice, no source, 2026-11"
"#;

#[test]
fn a_purpose_gives_frame_rate_codec_quality_and_safe_box_and_the_script_overrides_each() {
    let bench = Bench::new(3);
    own(&bench, SMALL);
    let plan = |delivery: &str| {
        bench.script(&script(delivery));
        run(&bench, &["plan", "move.lua", "--json"]).expect(0).json()["plans"][0]["deliveries"][0].clone()
    };
    let by_row = plan("\"one\", purpose = \"small clip\"");
    assert_eq!(by_row["frame"], serde_json::json!({ "width": 128, "height": 72 }));
    assert_eq!(by_row["fps"], serde_json::json!({ "numerator": 30000, "denominator": 1001 }));
    assert_eq!(by_row["codec"], serde_json::json!({ "h264": { "crf": 20.0, "preset": "fast", "tune": null } }));
    let figures = &by_row["purpose"]["figures"];
    assert_eq!((&figures["frame"]["value"], &figures["fps"]["value"]), (&"128x72".into(), &"30000/1001".into()));
    assert_eq!(figures["safe"]["source"], "common practice, no source, 2026-11");
    assert_eq!(by_row["purpose"]["table"], "your table, 2026-11-30");
    // A box shown sits in the middle of what the safe box leaves: 0.4 of the height, where a fifth is kept free below.
    let boxed = |safe: &str| {
        let framing = "framing = framing { key { at = 0, show = box(0.4, 0.4, 0.2, 0.2) } }";
        let row = plan(&format!("\"one\", purpose = \"small clip\", {framing}{safe}"))["rows"][0].clone();
        let [y, height] = ["y", "height"].map(|field| row["window"][field].as_f64().unwrap());
        (0.5 * 240.0 - y) / height
    };
    assert!((boxed("") - 0.4).abs() < 1e-6, "{}", boxed(""));
    assert!((boxed(", safe = { bottom = 0.4 }") - 0.3).abs() < 1e-6, "what the script says goes before its row");
    let own = plan("\"one\", purpose = \"small clip\", frame = { 64, 64 }, fps = 24, codec = \"png\"");
    assert_eq!((&own["frame"]["height"], &own["fps"]["numerator"]), (&64.into(), &24.into()));
    assert_eq!(
        own["codec"],
        serde_json::json!({ "png": { "depth": 16 } }),
        "a quality of the row's codec is left behind with it"
    );
    let finer = plan("\"one\", purpose = \"small clip\", quality = 100");
    assert_eq!(finer["codec"]["h264"]["crf"], 13.0);
}

#[test]
fn every_row_of_the_programs_table_makes_a_delivery_and_says_what_it_is() {
    let bench = Bench::new(3);
    let listed = run(&bench, &["purposes", "--json"]).expect(0).json();
    let rows = listed["purposes"].as_array().unwrap();
    let names: Vec<&str> = rows.iter().map(|row| row["name"].as_str().unwrap()).collect();
    assert_eq!(
        names,
        [
            "vertical clip for phones",
            "wide clip for the web",
            "square post",
            "editor's intermediate",
            "archive",
            "signage loop"
        ]
    );
    assert_eq!(listed["table"], serde_json::Value::Null);
    let text = run(&bench, &["purposes"]).expect(0).out;
    for row in rows {
        let name = row["name"].as_str().unwrap();
        bench.script(&script(&format!("\"one\", purpose = \"{name}\"")));
        let plan = run(&bench, &["plan", "move.lua", "--json"]).expect(0).json();
        let delivery = &plan["plans"][0]["deliveries"][0];
        let figures = row["figures"].as_object().unwrap();
        let frame = format!("{}x{}", delivery["frame"]["width"], delivery["frame"]["height"]);
        assert_eq!(figures["frame"]["value"], frame, "{name}");
        for (field, figure) in figures {
            let (value, source) = (figure["value"].as_str().unwrap(), figure["source"].as_str().unwrap());
            assert!(source.contains("2026-"), "{name}: {field}: {source}");
            assert!(text.contains(value) && text.contains(source), "{text}");
        }
    }
    assert!(text.contains("config/stillpath/deliveries.toml"), "{text}");
}

#[test]
fn check_says_where_a_delivery_breaks_its_row_with_the_rows_source() {
    let bench = Bench::new(48);
    let bounds = "most = 60_000\nsource.most = \"a client's sheet, 2026-10\"\nmost_seconds = 1.5\n\
                  source.most_seconds = \"a client's letter, 2026-09-30\"\nmost_bytes = 2_000\n\
                  source.most_bytes = \"a client's sheet, 2026-10\"\n";
    own(&bench, &format!("{SMALL}{bounds}"));
    bench.script(&script("\"one\", purpose = \"small clip\", frame = { 160, 90 }, fps = 24, safe = \"title\""));
    let checked = run(&bench, &["check", "move.lua"]).expect(0);
    for said in [
        "'one' has frames of 160x90; its purpose, \"small clip\", of 128x72",
        "'one' runs at 24 frames a second; its purpose, \"small clip\", at 30000/1001",
        "'one' keeps 0.05 at the bottom of its frame free; its purpose, \"small clip\", 0.2 at the bottom at least",
        "'one' lasts 2 s; its purpose, \"small clip\", takes 1.5 s at most",
        "(an estimate); its purpose, \"small clip\", takes 2.00 kB at most",
        "the row's source: a client's letter, 2026-09-30",
        "most_seconds = 1.5",
    ] {
        assert!(checked.err.contains(said), "{said}\n{}", checked.err);
    }
    assert!(!checked.err.contains("is written as"), "the codec is the row's: {}", checked.err);
    // Once it is there, its bytes are held against the row, and the estimate is no longer told.
    let rendered = run(&bench, &["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    let (said, bytes) = (rendered["remarks"].to_string(), rendered["outputs"][0]["bytes"].as_u64().unwrap());
    assert!(bytes > 2_000 && !said.contains("an estimate"), "{said}");
    assert!(said.contains("'one' has ") && said.contains("takes 2.00 kB at most"), "{said}");
    let aloud = run(&bench, &["render", "move.lua", "--out", "again"]).expect(0);
    let estimate = aloud.err.find("(an estimate)").unwrap();
    assert!(estimate < aloud.err.find("has frames of 160x90").unwrap(), "told before the first frame: {}", aloud.err);
    let draft = run(&bench, &["render", "move.lua", "--out", "clips", "--draft"]).expect(0);
    assert!(!draft.err.contains("takes 2.00 kB"), "{}", draft.err);
    // The encoder is held to the row's bits a second; one that cannot be is held against them.
    let plan = run(&bench, &["plan", "move.lua", "--json"]).expect(0).json();
    assert_eq!(plan["plans"][0]["deliveries"][0]["codec"]["h264"]["most"], 60_000);
    bench.script(&script("\"one\", purpose = \"small clip\", codec = \"png\""));
    let other = run(&bench, &["check", "move.lua"]).expect(0);
    for said in ["'one' is written as png; its purpose, \"small clip\", as h264", "Mbit/s at most"] {
        assert!(other.err.contains(said), "{said}\n{}", other.err);
    }
}

#[test]
fn a_delivery_that_keeps_to_its_row_is_not_remarked_on() {
    let bench = Bench::new(4);
    let bounds = "most = 50_000_000\nsource.most = \"no source, 2026-10\"\nmost_seconds = 1.5\n\
                  source.most_seconds = \"no source, 2026-09-30\"\nmost_bytes = 20_000_000\n\
                  source.most_bytes = \"no source, 2026-10\"\n";
    own(&bench, &format!("{SMALL}{bounds}"));
    bench.script(&script("\"one\", purpose = \"small clip\", safe = { bottom = 0.25 }"));
    for arguments in [&["check", "move.lua"][..], &["render", "move.lua", "--out", "clips"]] {
        let ran = run(&bench, arguments).expect(0);
        assert!(!ran.err.contains("its purpose"), "{}", ran.err);
    }
}

#[test]
fn a_broken_table_is_told_by_file_and_line_with_what_is_allowed() {
    let bench = Bench::new(2);
    bench.script(&script("\"one\", purpose = \"archive\""));
    let row = |fields: &str| format!("dated = 2026-11-30\n[\"own\"]\n{fields}\n");
    let sourced =
        |field: &str, value: &str| row(&format!("{field} = {value}\nsource.{field} = \"no source, 2026-11\""));
    for (text, line, said) in [
        ("dated = 2026-11-30\n[\"own\"\n".to_owned(), 2, "this is not TOML"),
        ("[\"own\"]\n".to_owned(), 1, "this table has no date"),
        ("dated = true\n".to_owned(), 1, "dated must be a day"),
        ("dated = 2026-11-30\nrows = 3\n".to_owned(), 2, "a table of purposes has rows and a date; seen 'rows'"),
        (row("frame = [64, 64]"), 3, "\"own\": the source of frame is missing"),
        (row("frame = [64, 64]\nsource.frame = \"somebody\""), 4, "the source of frame has no month in it"),
        (row("source.frame = \"no source, 2026-11\""), 3, "source.frame is of no figure"),
        (sourced("farme", "[64, 64]"), 3, "\"own\": a purpose has no field 'farme'"),
        (sourced("farme", "[64, 64]"), 3, "did you mean 'frame'?"),
        (sourced("colour", "1"), 3, "available: frame, fps, codec, quality, safe, most, most_seconds, most_bytes"),
        (sourced("frame", "[64, 8]"), 3, "\"own\": frame[2] must be a whole number from 16 to 16384; seen 8"),
        (sourced("frame", "\"full\""), 3, "frame = \"full\" goes with every = \"still\""),
        (sourced("fps", "29.97"), 3, "\"own\": fps must be frames a second"),
        (sourced("codec", "\"h265\""), 3, "\"own\": codec must be"),
        (sourced("quality", "101"), 3, "\"own\": quality must be a number from 0 to 100; seen 101"),
        (sourced("quality", "{ crf = 99 }"), 3, "\"own\": quality.crf must be a number from 1 to 51; seen 99"),
        (sourced("safe", "{ left = 0.5, right = 0.5 }"), 3, "\"own\": safe leaves nothing"),
        (sourced("most", "0"), 3, "\"own\": most must be bits a second, above 0"),
        (
            sourced("most_seconds", "\"20s\""),
            3,
            "\"own\": most_seconds must be seconds, above 0 and up to 86 400; seen 20s",
        ),
        (sourced("most_bytes", "1.5"), 3, "\"own\": most_bytes must be a whole number of bytes, above 0; seen 1.5"),
    ] {
        own(&bench, &text);
        for arguments in [&["check", "move.lua"][..], &["purposes"]] {
            let ran = run(&bench, arguments).expect(1);
            assert!(ran.err.contains(said), "{said}\n{text}\n{}", ran.err);
            assert!(ran.err.contains(&format!("deliveries.toml:{line}")), "line {line}\n{text}\n{}", ran.err);
        }
        // A script that takes no row is not held up.
        bench.script(&script("\"one\", frame = { 64, 64 }"));
        run(&bench, &["check", "move.lua"]).expect(0);
        bench.script(&script("\"one\", purpose = \"archive\""));
    }
}

#[test]
fn the_table_is_copied_to_be_edited_and_an_edited_one_is_never_replaced() {
    let bench = Bench::new(2);
    let copied = run(&bench, &["purposes", "--copy"]).expect(0);
    assert!(copied.out.contains(TABLE), "{}", copied.out);
    let text = fs::read_to_string(bench.path(TABLE)).unwrap();
    assert_eq!(text, fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/scripts/deliveries.toml")).unwrap());
    // One row edited, all others thrown away: those of the program's are still there.
    let edited = SMALL.replace("small clip", "square post");
    own(&bench, &edited);
    run(&bench, &["purposes", "--copy"]).expect(1).says("is already there; nothing was changed");
    assert_eq!(fs::read_to_string(bench.path(TABLE)).unwrap(), edited);
    assert_eq!(bench.list("config/stillpath"), ["deliveries.toml"]);
    let listed = run(&bench, &["purposes", "--json"]).expect(0).json();
    let frame = |name: &str| {
        let rows = listed["purposes"].as_array().unwrap();
        rows.iter().find(|row| row["name"] == name).unwrap()["figures"]["frame"]["value"].clone()
    };
    assert_eq!((frame("square post"), frame("signage loop")), ("128x72".into(), "1920x1080".into()));
    assert_eq!(listed["purposes"].as_array().unwrap().len(), 6);
    assert!(listed["table"].as_str().unwrap().ends_with(TABLE));
}

#[test]
fn a_receipt_holds_the_row_and_a_later_change_of_it_shows() {
    let bench = Bench::new(4);
    let bound = "most_seconds = 9\nsource.most_seconds = \"no source, 2026-10\"\n";
    own(&bench, &format!("{SMALL}{bound}"));
    bench.script(&script("\"one\", purpose = \"small clip\""));
    run(&bench, &["render", "move.lua", "--out", "clips"]).expect(0);
    let receipt: serde_json::Value =
        serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let purpose = &receipt["deliveries"][0]["purpose"];
    assert_eq!((&purpose["name"], &purpose["figures"]["fps"]), (&"small clip".into(), &"30000/1001".into()));
    assert_eq!(purpose["figures"]["most_seconds"], "9");
    let prove = || run(&bench, &["prove", "clips/move-receipt.json", "--frames", "1"]);
    prove().expect(0);
    // Another row, and a row's source in other words, change nothing of it.
    own(&bench, &format!("{SMALL}{}\n[\"more\"]\n", bound.replace("no source", "nobody knows")));
    prove().expect(0);
    own(&bench, &format!("{SMALL}{}", bound.replace("= 9", "= 8")));
    let changed = prove().expect(1);
    assert!(changed.out.contains("it gives another plan"), "{}", changed.out);
}

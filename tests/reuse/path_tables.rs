//! A path from a table, from outside: what `plan --csv` writes is read back as it is, and what cannot be read is named.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::process::Command;

use serde_json::Value;

use crate::common::{Bench, Ran};
use crate::served::{Page, next_version};

/// A shot of 24 stills with two deliveries of other rates and shapes, and a framing in place of FRAMING.
const SHOT: &str = r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1), FRAMING
  deliveries = { delivery { "wide", frame = { 128, 72 } }, delivery { "tall", frame = { 72, 128 }, fps = 30 } } }"#;

/// Keys that zoom, roll, and hold, off round numbers.
const KEYS: &str = r#"framing = framing { path = "smooth",
    key { at = 0, on = point(0.43, 0.51), zoom = 1.7 },
    key { at = part(0.37), on = px(171.3, 119.7), zoom = 2.2, roll = 3.5, ease = "ease-in-out" },
    key { at = "end", on = point(0.5, 0.47), span = 0.413, roll = -1.25, hold = 0.2 } },"#;

const HEAD: &str = "frame,x,y,width,height";

fn with(framing: &str) -> String {
    SHOT.replace("FRAMING", framing)
}

fn bench() -> Bench {
    Bench::new(24)
}

fn windows(bench: &Bench, script: &str) -> Vec<Vec<Value>> {
    let json = bench.run(&["plan", script, "--json"]).expect(0).json();
    let deliveries = json["plans"][0]["deliveries"].as_array().unwrap();
    let rows =
        |delivery: &Value| delivery["rows"].as_array().unwrap().iter().map(|row| row["window"].clone()).collect();
    deliveries.iter().map(rows).collect()
}

/// A table of 24 frames whose window moves right by a pixel a frame.
fn frames(line: impl Fn(u32) -> String) -> String {
    let lines: Vec<String> = (0..24).map(|frame| line(frame) + "\n").collect();
    format!("{HEAD}\n{}", lines.concat())
}

fn one_delivery(framing: &str) -> String {
    with(framing).replace(", delivery { \"tall\", frame = { 72, 128 }, fps = 30 }", "")
}

#[test]
fn what_plan_writes_as_csv_is_read_back_as_the_same_windows_to_the_last_digit() {
    let bench = bench();
    for (more, name) in [("", "plain"), (" shutter = 360,", "mixed"), (" loop = \"0.2s\",", "looped")] {
        let keys = if name == "looped" {
            KEYS.replace("at = \"end\"", "at = part(0.6)").replace(", hold = 0.2", "")
        } else {
            KEYS.into()
        };
        fs::write(bench.path("keys.lua"), with(&format!("{keys}{more}"))).unwrap();
        let csv = bench.run(&["plan", "keys.lua", "--csv"]).expect(0).out;
        assert!(csv.lines().count() > 50, "{csv}");
        fs::write(bench.path("path.csv"), csv).unwrap();
        fs::write(bench.path("table.lua"), with(&format!("framing = framing {{ table = \"path.csv\" }},{more}")))
            .unwrap();
        let (due, seen) = (windows(&bench, "keys.lua"), windows(&bench, "table.lua"));
        assert_eq!((due[0].len(), due[1].len()), (seen[0].len(), seen[1].len()), "{name}");
        assert_eq!(due, seen, "{name}");
        assert_ne!(due[0][3], due[0][9]);
        // Another program may lay fields out anew, and read and write them as it likes.
        let same = bench.run(&["diff", "keys.lua", "table.lua"]).expect(0);
        assert!(same.out.contains("no difference"), "{}", same.out);
    }
}

#[test]
fn a_table_of_keys_goes_as_keys_of_a_script_do() {
    let bench = bench();
    fs::write(
        bench.path("keys.csv"),
        "seconds,centre_x,centre_y,zoom,roll,ease,hold\n0,150,110,1.7,0,,\n0.4,171.3,119.7,2.2,3.5,ease-in-out,0.1\n0.9,160,120,1.5,0,linear,\n",
    )
    .unwrap();
    let written = r#"key { at = 0, on = px(150, 110), zoom = 1.7 },
      key { at = 0.4, on = px(171.3, 119.7), zoom = 2.2, roll = 3.5, ease = "ease-in-out", hold = 0.1 },
      key { at = 0.9, on = px(160, 120), zoom = 1.5 } },"#;
    for path in ["", "path = \"smooth\", ", "path = \"flight\", rho = 1.2, "] {
        fs::write(bench.path("keys.lua"), with(&format!("framing = framing {{ {path}{written}"))).unwrap();
        fs::write(bench.path("table.lua"), with(&format!("framing = framing {{ {path}table = \"keys.csv\" }},")))
            .unwrap();
        let (due, seen) = (windows(&bench, "keys.lua"), windows(&bench, "table.lua"));
        for (one, other) in due.iter().flatten().zip(seen.iter().flatten()) {
            for side in ["x", "y", "width", "height", "roll"] {
                let (one, other) = (one[side].as_f64().unwrap(), other[side].as_f64().unwrap());
                assert!((one - other).abs() < 1e-9, "{path}: {side} is {other} for {one}");
            }
        }
    }
    // By stills, at their moments.
    fs::write(bench.path("keys.csv"), "still,centre_x,centre_y,width\n1,160,120,160\nLAPS0013,160,120,80\n").unwrap();
    let seen = windows(&bench, "table.lua");
    assert_eq!((seen[0][0]["width"].as_f64(), seen[0][12]["width"].as_f64()), (Some(160.0), Some(80.0)));
    let explained = bench.run(&["explain", "table.lua", "--delivery", "wide", "--frame", "12"]).expect(0).out;
    assert!(explained.contains("the key at 0.500 s (keys.csv:3)"), "{explained}");
}

#[test]
fn windows_outside_are_moved_inside_shapes_are_mended_and_both_are_said_or_refused() {
    let bench = bench();
    bench.script(&one_delivery("framing = framing { table = \"path.csv\" },"));
    // 16 by 9 all through: to the right of the still from frame 14 on.
    let table = frames(|frame| format!("{frame},{},50,160,90", 100 + 5 * frame));
    fs::write(bench.path("path.csv"), &table).unwrap();
    let said = bench.run(&["check", "move.lua"]).expect(0).err;
    let moved =
        "the table's windows would leave the still in 'wide' and are moved inside, by up to 55 px, in frames 13 to 23";
    assert!(said.contains(moved) && said.contains("path.csv:25") && said.contains("move.lua:1"), "{said}");
    let seen = windows(&bench, "move.lua");
    assert_eq!((seen[0][12]["x"].as_f64(), seen[0][23]["x"].as_f64()), (Some(160.0), Some(160.0)));
    let explained = bench.run(&["explain", "move.lua", "--frame", "20"]).expect(0).out;
    assert!(
        explained.contains("as a table has it for this frame (path.csv:22), which move.lua:1 names; there it is"),
        "{explained}"
    );
    assert!(explained.contains("remark: the table's windows would leave"), "{explained}");
    let inside = bench.run(&["explain", "move.lua", "--frame", "3"]).expect(0).out;
    assert!(inside.contains("(path.csv:5), which move.lua:1 names\n") && !inside.contains("would leave"), "{inside}");
    bench.script(&one_delivery("strict = true, framing = framing { table = \"path.csv\" },"));
    bench.run(&["check", "move.lua"]).expect(1).says("which strict refuses: by up to 55 px");
    // What the message says to type.
    bench.script(&one_delivery("strict = false, framing = framing { table = \"path.csv\" },"));
    bench.run(&["check", "move.lua"]).expect(0);
    // A square window keeps its centre and its width.
    fs::write(bench.path("path.csv"), frames(|frame| format!("{frame},60,40,160,160"))).unwrap();
    let said = bench.run(&["check", "move.lua"]).expect(0).err;
    let mended = "the table's windows have another shape than 'wide': they keep their centre and width, and their height changes by up to 70 px, in frames 0 to 23";
    assert!(said.contains(mended), "{said}");
    let window = &windows(&bench, "move.lua")[0][7];
    assert_eq!((window["x"].as_f64(), window["width"].as_f64()), (Some(60.0), Some(160.0)));
    assert_eq!((window["y"].as_f64(), window["height"].as_f64()), (Some(75.0), Some(90.0)));
    // Rounded to whole pixels, nothing is said.
    fs::write(bench.path("path.csv"), frames(|frame| format!("{frame},60,40,161,91"))).unwrap();
    let said = bench.run(&["check", "move.lua"]).expect(0).err;
    assert!(!said.contains("the table's windows"), "{said}");
    // Of keys both are said once for all lines, with the first of them.
    fs::write(bench.path("path.csv"), "seconds,x,y,width,height\n0,-20,50,160,90\n0.5,-30,50,160,100\n").unwrap();
    let said = bench.run(&["check", "move.lua"]).expect(0).err;
    assert!(
        said.contains("is moved inside: 'wide' by 20 px right in line 2 and 'wide' by 30 px right in line 3"),
        "{said}"
    );
    assert!(said.contains("changes in height: 'wide' by 10 px in line 3"), "{said}");
}

#[test]
fn a_table_that_does_not_fit_or_cannot_be_read_is_refused_with_its_line_and_what_to_do() {
    let bench = bench();
    bench.script(&one_delivery("framing = framing { table = \"path.csv\" },"));
    let whole = frames(|frame| format!("{frame},20,20,160,90"));
    let refused = |text: &[u8]| {
        fs::write(bench.path("path.csv"), text).unwrap();
        bench.run(&["check", "move.lua"]).expect(1)
    };
    let without = |frame: &str| {
        let lines: Vec<&str> = whole.lines().filter(|line| !line.starts_with(&format!("{frame},"))).collect();
        lines.join("\n")
    };
    refused(without("7").as_bytes()).says("frame 7 is missing before frame 8").says("path.csv:9");
    let fewer = refused(without("23").as_bytes()).says("the table has 23 frames for 'wide', which has 24");
    assert!(fewer.err.contains("length = \"0.958s\" in the shot"), "{}", fewer.err);
    // What it says to type.
    bench.script(&one_delivery("length = \"0.958s\", framing = framing { table = \"path.csv\" },"));
    bench.run(&["check", "move.lua"]).expect(0);
    bench.script(&one_delivery("framing = framing { table = \"path.csv\" },"));
    refused((whole.clone() + "24,20,20,160,90\n").as_bytes())
        .says("the table has 25 frames for 'wide', which has 24")
        .says("leave out the lines from frame 24 on");
    refused((whole.clone() + "3,20,20,160,90\n").as_bytes()).says("frame 3 comes after frame 23").says("path.csv:26");
    refused((whole.clone() + "23,20,20,160,90\n").as_bytes()).says("frame 23 has a line already, line 25");
    refused(whole.replace("5,20,20", "5,nan,20").as_bytes()).says("x must be a number").says("path.csv:7");
    refused(whole.replace("5,20,20", "5,,20").as_bytes()).says("seen nothing");
    refused(whole.replace("5,20,20", "5,20,5,20").as_bytes()).says("has 6 fields").says("decimals take a point");
    refused(whole.replace("width", "widht").as_bytes())
        .says("there is no column 'widht'")
        .says("did you mean 'width'?");
    refused(b"").says("it is empty").says("stillpath plan SCRIPT --csv > path.csv");
    refused(b"\xff\xfe\0x").says("path.csv:1");
    refused(whole.replace("160,90", "0.4,0.225").as_bytes()).says("less than one pixel").says("column span");
    let timed = |fps: f64| {
        let line = |frame: u32| format!("{frame},{},20,20,160,90", f64::from(frame) / fps);
        frames(line).replace("frame,x", "frame,seconds,x")
    };
    refused(timed(25.0).as_bytes()).says("which has 24 frames a second").says("path.csv:9");
    fs::write(bench.path("path.csv"), timed(24.0)).unwrap();
    bench.run(&["check", "move.lua"]).expect(0);
    // What cannot be opened is said at the script's line.
    fs::remove_file(bench.path("path.csv")).unwrap();
    bench.run(&["check", "move.lua"]).expect(1).says("path.csv: there is no such file").says("move.lua:1");
    fs::create_dir(bench.path("path.csv")).unwrap();
    bench.run(&["check", "move.lua"]).expect(1).says("path.csv: it is not a file");
    fs::remove_dir(bench.path("path.csv")).unwrap();
    assert!(Command::new("mkfifo").arg(bench.path("path.csv")).status().unwrap().success());
    bench.run(&["check", "move.lua"]).expect(1).says("path.csv: it is not a file");
    fs::remove_file(bench.path("path.csv")).unwrap();
    // Nothing of a file without blocks is read: it is too large by its length alone.
    fs::File::create(bench.path("path.csv")).unwrap().set_len(300 << 20).unwrap();
    bench.run(&["check", "move.lua"]).expect(1).says("a table of windows has at most 268435456");
    let about = fs::metadata(bench.path("path.csv")).unwrap().permissions().mode();
    assert_ne!(about & 0o400, 0);
}

#[test]
fn what_does_not_go_with_a_table_is_said_in_the_script() {
    let bench = bench();
    fs::write(bench.path("path.csv"), frames(|frame| format!("{frame},20,20,160,90"))).unwrap();
    let refused = |framing: &str| -> Ran {
        bench.script(&one_delivery(&format!("framing = framing {{ {framing} }},")));
        bench.run(&["check", "move.lua"]).expect(1)
    };
    refused("table = \"path.csv\", key { at = 0, on = point(0.5, 0.5), zoom = 2 }").says("not both");
    refused("table = \"path.csv\", path = drawing(\"M 0.1 0.5 L 0.9 0.5\")").says("a drawing does not go with a table");
    refused("of = \"wide\", key { at = 0, on = point(0.5, 0.5), zoom = 2 }").says("of goes with table");
    refused("table = 7").says("framing.table must be");
    refused("table = \"path.csv\", path = \"smooth\"").says("no way between its lines");
    refused("").says("framing takes keys, at least 1");
    // Whose lines: of another delivery's, by name.
    let named = fs::read_to_string(bench.path("path.csv")).unwrap();
    let lines = |name: &str| -> String { named.lines().skip(1).map(|line| format!("{line},{name}\n")).collect() };
    fs::write(bench.path("path.csv"), format!("{HEAD},delivery\n{}{}", lines("first"), lines("second"))).unwrap();
    refused("table = \"path.csv\"").says("none of 'wide'").says("of = \"first\" beside table");
    bench.script(&one_delivery("framing = framing { table = \"path.csv\", of = \"first\" },"));
    bench.run(&["check", "move.lua"]).expect(0);
}

#[test]
fn a_table_is_drawn_rendered_named_in_the_receipt_and_proved() {
    let bench = bench();
    bench.script(&one_delivery("framing = framing { table = \"path.csv\" },"));
    let table = frames(|frame| format!("{frame},{},50,160,90", 10 + 3 * frame));
    fs::write(bench.path("path.csv"), &table).unwrap();
    bench.run(&["draw", "move.lua", "-o", "sheet.svg"]).expect(0);
    let drawn = fs::read_to_string(bench.path("sheet.svg")).unwrap();
    fs::write(bench.path("path.csv"), frames(|frame| format!("{frame},{},50,160,90", 10 + 6 * frame))).unwrap();
    bench.run(&["draw", "move.lua", "-o", "other.svg"]).expect(0);
    assert_ne!(drawn, fs::read_to_string(bench.path("other.svg")).unwrap(), "the way is drawn");
    fs::write(bench.path("path.csv"), &table).unwrap();
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    let receipt: Value = serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    let hash = blake3::hash(table.as_bytes()).to_hex().to_string();
    assert_eq!(receipt["script"]["tables"], serde_json::json!([{ "path": "path.csv", "blake3": hash }]));
    bench.run(&["prove", "clips/move-receipt.json"]).expect(0);
    // A table that says the same in other words is another one; the plan tells what it changes.
    fs::write(bench.path("path.csv"), table.replace("160,90", "160.0,90")).unwrap();
    let ran = bench.run(&["prove", "clips/move-receipt.json"]).expect(1);
    assert!(ran.out.contains("a table of windows was changed: path.csv"), "{}", ran.out);
    fs::write(bench.path("path.csv"), table.replace("23,79,50", "23,80,50")).unwrap();
    let ran = bench.run(&["prove", "clips/move-receipt.json", "--json"]).expect(1);
    assert!(ran.out.contains("table-changed") && ran.out.contains("other-plan"), "{}", ran.out);
    fs::remove_file(bench.path("path.csv")).unwrap();
    let ran = bench.run(&["prove", "clips/move-receipt.json", "--json"]).expect(1);
    assert!(ran.out.contains("no-plan") && ran.out.contains("there is no such file"), "{}", ran.out);
}

#[test]
fn the_live_page_sees_a_table_that_is_saved_again() {
    let bench = bench();
    bench.script(&one_delivery("framing = framing { table = \"path.csv\" },"));
    let table = |step: u32| frames(|frame| format!("{frame},{},50,160,90", 10 + step * frame));
    fs::write(bench.path("path.csv"), table(1)).unwrap();
    let page = Page::serve(&bench, &[]);
    let last = |view: &Value| view["plan"]["shots"][0]["deliveries"][0]["x"][23].as_f64();
    assert_eq!(last(&page.view()), Some(33.0));
    let mut events = page.events();
    fs::write(bench.path("path.csv"), table(2)).unwrap();
    next_version(&mut events);
    page.view_that(|view| last(view) == Some(56.0));
    fs::remove_file(bench.path("path.csv")).unwrap();
    page.view_that(|view| view["refused"] == true);
    fs::write(bench.path("path.csv"), table(3)).unwrap();
    page.view_that(|view| last(view) == Some(79.0));
}

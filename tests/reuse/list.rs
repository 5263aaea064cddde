//! `list` from outside: what lies below a folder, told without a byte being written there.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::Path;
use std::time::SystemTime;

use serde_json::{Value, json};

use crate::common::{Bench, STILL, cut_short, exif, one, picture, write_still};
use stillpath::ffi::jpeg;

/// Stills of three days, ten a day, in a card's two folders below `footage/site`.
fn three_days(bench: &Bench) {
    for number in 0..30_usize {
        let path = bench.path(&format!("footage/site/{}HARBR/LAPS{number:04}.JPG", 100 + number / 20));
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let taken = exif(&format!("2026:05:{:02} 10:{:02}:00", 4 + number / 10, number));
        fs::write(path, jpeg::encode_rgb(&picture(STILL, number), STILL, 90, (2, 2), &[(0xE1, &taken)])).unwrap();
    }
}

/// A folder with a shoot, scripts, a rendered clip, a video, and what is passed over.
fn footage() -> Bench {
    let bench = Bench::new(0);
    three_days(&bench);
    for number in 1..=6 {
        write_still(&bench.path(&format!("footage/evening/stills/LAPS{number:04}.JPG")), STILL, number);
    }
    fs::write(bench.path("footage/evening/move.lua"), one("\"stills\"")).unwrap();
    fs::write(
        bench.path("footage/site/broken.lua"),
        "local s = stills { \"../site\" }\nreturn shot { source = s, pase = 3 }\n",
    )
    .unwrap();
    fs::write(bench.path("footage/site/module.lua"), "return { zoom = 1.2 }\n").unwrap();
    fs::write(bench.path("footage/day.mov"), b"no more than a name").unwrap();
    fs::write(bench.path("footage/evening/talk.lua"), "return shot { source = recording \"../day.mov\", pace = times(1),\n deliveries = { delivery { \"cut\", frame = { 64, 36 } } } }\n").unwrap();
    bench.run(&["render", "footage/evening/move.lua", "--out", "footage/evening/clips"]).expect(0);
    bench
}

fn listed(bench: &Bench, more: &[&str]) -> Value {
    bench.run(&[&["list", "footage", "--json"], more].concat()).expect(0).json()
}

/// Every file below a folder with its bytes' hash and time of writing.
fn everything(folder: &Path) -> BTreeMap<String, (u64, SystemTime)> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            let about = fs::symlink_metadata(entry.path()).unwrap();
            all.insert(entry.path().to_string_lossy().into_owned(), (about.len(), about.modified().unwrap()));
            if about.is_dir() {
                folders.push(entry.path());
            }
        }
    }
    all
}

#[test]
fn shoots_scripts_videos_and_clips_are_listed_and_nothing_is_written() {
    let bench = footage();
    let before = everything(&bench.path("footage"));
    let told = listed(&bench, &[]);
    let text = bench.run(&["list", "footage"]).expect(0).out;
    bench.run(&["list", "footage", "-o", "list.html"]).expect(0);
    assert_eq!(before, everything(&bench.path("footage")));
    assert_eq!(told["format"], "stillpath-list-1");
    let shoots = told["shoots"].as_array().unwrap();
    assert_eq!(shoots.iter().map(|shoot| &shoot["path"]).collect::<Vec<_>>(), ["evening/stills", "site"], "{told}");
    let (evening, site) = (&shoots[0], &shoots[1]);
    assert_eq!((&site["stills"], &site["size"], &site["undated"]), (&json!(30), &json!([320, 240]), &json!(0)));
    let days = [("2026-05-04", 10), ("2026-05-05", 10), ("2026-05-06", 10)];
    assert_eq!(site["days"], json!(days.map(|(date, stills)| json!({ "date": date, "stills": stills }))));
    assert_eq!((&evening["undated"], &evening["days"]), (&json!(6), &json!([])));
    assert_eq!(evening["scripts"], json!(["evening/move.lua"]));
    assert_eq!(evening["receipts"], json!(["evening/clips/move-receipt.json"]));
    assert_eq!(site["scripts"], json!(["site/broken.lua"]));
    let bytes: u64 = (1..=6)
        .map(|number| fs::metadata(bench.path(&format!("footage/evening/stills/LAPS{number:04}.JPG"))).unwrap().len())
        .sum();
    assert_eq!(evening["bytes"], bytes);
    // A module is no script; a script with a mistake is one all the same, and its source is known.
    let scripts = told["scripts"].as_array().unwrap();
    assert_eq!(
        scripts.iter().map(|one| &one["path"]).collect::<Vec<_>>(),
        ["evening/move.lua", "evening/talk.lua", "site/broken.lua"]
    );
    assert!(
        scripts[2]["mistakes"].as_u64().unwrap() > 0 && scripts[2]["first_mistake"].as_str().unwrap().contains("pase"),
        "{told}"
    );
    assert_eq!(scripts[2]["sources"], json!([{ "written": "../site", "recording": false }]));
    assert_eq!(
        told["videos"],
        json!([{ "path": "day.mov", "bytes": 19, "draft": false, "scripts": ["evening/talk.lua"] }])
    );
    let render = &told["renders"][0];
    assert_eq!((&render["seal"], &render["stills"]), (&json!("whole"), &json!({ "same-size": 6 })));
    assert_eq!(render["script"], json!({ "path": "evening/move.lua", "state": "same" }));
    assert_eq!(render["clips"][0]["path"], "evening/clips/move-wide.mp4");
    assert_eq!((&render["clips"][0]["state"], &render["clips"][0]["frames"]), (&json!("same-size"), &json!(6)));
    for said in [
        "2 shoots with 36 stills",
        "2026-05-04 to 2026-05-06, 3 days",
        "320 x 240",
        "a recording of evening/talk.lua",
        "evening/clips/move-receipt.json  as rendered",
        "128 x 72, 6 frames at 24, h264: same size",
        "by presence and size only",
    ] {
        assert!(text.contains(said), "no {said:?} in:\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 120), "{text}");
    assert_eq!(text, bench.run(&["list", "footage"]).expect(0).out);
}

#[test]
fn what_is_no_longer_as_the_receipt_says_is_told_by_size_and_with_hash_by_bytes() {
    let bench = footage();
    let state = |more: &[&str]| {
        let told = listed(&bench, more);
        let render = &told["renders"][0];
        (render["clips"][0]["state"].clone(), render["stills"].clone(), render["script"]["state"].clone())
    };
    assert_eq!(state(&["--hash"]), (json!("same"), json!({ "same": 6 }), json!("same")));
    // One byte of a still, and of the clip: only their hashes tell.
    for file in ["footage/evening/stills/LAPS0003.JPG", "footage/evening/clips/move-wide.mp4"] {
        let mut bytes = fs::read(bench.path(file)).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        fs::write(bench.path(file), bytes).unwrap();
    }
    assert_eq!(state(&[]), (json!("same-size"), json!({ "same-size": 6 }), json!("same")));
    assert_eq!(state(&["--hash"]), (json!("changed"), json!({ "same": 5, "changed": 1 }), json!("same")));
    let text = bench.run(&["list", "footage", "--hash", "--quiet"]).expect(0).out;
    assert!(text.contains("NOT AS RENDERED") && text.contains("5 same bytes, 1 CHANGED"), "{text}");
    cut_short(&bench.path("footage/evening/clips/move-wide.mp4"), 100);
    fs::remove_file(bench.path("footage/evening/stills/LAPS0005.JPG")).unwrap();
    fs::write(bench.path("footage/evening/move.lua"), one("\"stills\", missing = \"hold\"")).unwrap();
    assert_eq!(state(&[]), (json!("other-size"), json!({ "same-size": 5, "missing": 1 }), json!("changed")));
    fs::remove_file(bench.path("footage/evening/clips/move-wide.mp4")).unwrap();
    assert_eq!(state(&[]).0, "missing");
    // A receipt that was edited, and a file that only has a receipt's name.
    let receipt = bench.path("footage/evening/clips/move-receipt.json");
    let text = fs::read_to_string(&receipt).unwrap();
    fs::write(&receipt, text.replacen("\"frames\": 6", "\"frames\": 5", 1)).unwrap();
    fs::write(bench.path("footage/no-receipt.json"), "{}").unwrap();
    let told = listed(&bench, &[]);
    assert_eq!((&told["renders"][0]["seal"], &told["renders"][1]["seal"]), (&json!("edited"), &json!("none")));
    assert!(bench.run(&["list", "footage"]).expect(0).out.contains("edited since"));
}

/// A receipt that leads out of the folder has nothing opened for it.
#[test]
fn links_hidden_folders_and_paths_out_of_the_folder_are_not_followed() {
    let bench = footage();
    symlink(bench.path("footage"), bench.path("footage/site/again")).unwrap();
    symlink(bench.path("nowhere"), bench.path("footage/site/gone.JPG")).unwrap();
    for number in 1..=4 {
        write_still(&bench.path(&format!("footage/.trash/LAPS{number:04}.JPG")), STILL, number);
    }
    for number in 1..=2 {
        write_still(&bench.path(&format!("footage/two/LAPS{number:04}.JPG")), STILL, number);
    }
    let told = listed(&bench, &[]);
    assert_eq!(told["shoots"].as_array().unwrap().len(), 2, "{told}");
    let passed = json!([
        { "path": "site/again", "why": "a link to a folder, not followed" },
        { "path": "site/gone.JPG", "why": "a link to nothing" },
    ]);
    assert_eq!(told["passed_over"], passed);
    // Listed from within, the stills lie elsewhere.
    let clips = bench.run(&["list", "footage/evening/clips", "--json", "--hash"]).expect(0).json();
    assert_eq!(clips["renders"][0]["stills"], json!({ "elsewhere": 6 }));
    assert_eq!(clips["renders"][0]["script"]["state"], "elsewhere");
    assert_eq!(clips["renders"][0]["clips"][0]["state"], "same");
    // A folder that cannot be read is named. Root reads everything.
    let closed = bench.path("footage/closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o000)).unwrap();
    let is_root = fs::read_dir(&closed).is_ok();
    let told = listed(&bench, &[]);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
    assert_eq!(told["passed_over"].as_array().unwrap().len(), if is_root { 2 } else { 3 }, "{told}");
}

#[test]
fn frames_strips_and_posters_of_a_render_are_no_shoot() {
    let bench = Bench::new(6);
    bench.script(&one("\"stills\"").replace("{ 128, 72 }", "{ 128, 72 }, codec = \"png\", poster = 0"));
    bench.run(&["render", "move.lua", "--out", "clips"]).expect(0);
    let told = bench.run(&["list", ".", "--json", "--hash"]).expect(0).json();
    assert_eq!(told["shoots"].as_array().unwrap().len(), 1, "{told}");
    assert_eq!(
        (&told["shoots"][0]["path"], &told["renders"][0]["clips"][0]["state"]),
        (&json!("stills"), &json!("same"))
    );
    fs::remove_file(bench.path("clips/move-wide/000003.png")).unwrap();
    let told = bench.run(&["list", ".", "--json"]).expect(0).json();
    assert_eq!(told["renders"][0]["clips"][0]["state"], "other-size");
}

#[test]
fn the_page_stands_alone_shows_stills_and_takes_names_as_texts() {
    let bench = footage();
    for number in 1..=9 {
        write_still(&bench.path(&format!("footage/<b>&\"quoted\"/L{number}.JPG")), STILL, number);
    }
    bench.run(&["list", "footage", "-o", "list.html"]).expect(0);
    let page = fs::read_to_string(bench.path("list.html")).unwrap();
    assert!(page.starts_with("<!doctype html>") && page.ends_with("</html>\n"));
    assert!(page.contains("&lt;b&gt;&amp;&quot;quoted&quot;") && !page.contains("<b>"));
    assert_eq!(page.matches("data:image/jpeg;base64,/9j/").count(), 8 + 6 + 8);
    assert!(!page.contains("://") && !page.contains("<script") && !page.contains("<link"), "it needs nothing else");
    bench.run(&["list", "footage", "-o", "list.html"]).expect(1).says("is already there").says("--force");
    bench.run(&["list", "footage", "-o", "list.html", "--force"]).expect(0);
    assert_eq!(page, fs::read_to_string(bench.path("list.html")).unwrap());
    bench.run(&["list", "footage", "-o", "list.svg"]).expect(1).says("written as .html");
}

#[test]
fn an_empty_folder_is_no_fault_and_no_folder_is() {
    let bench = Bench::new(2);
    fs::create_dir(bench.path("empty")).unwrap();
    let ran = bench.run(&["list", "empty"]).expect(0).says("there is no shoot, recording, script or clip below empty");
    // What it says to type.
    assert!(ran.err.contains("`stillpath demo empty/demo`"), "{}", ran.err);
    bench.run(&["demo", "empty/demo", "--stills", "3", "--size", "64x64"]).expect(0);
    assert_eq!(bench.run(&["list", "empty", "--json"]).expect(0).json()["shoots"][0]["stills"], 3);
    bench.run(&["list", "nowhere"]).expect(1).says("there is no folder nowhere");
    bench
        .run(&["list", "stills/LAPS0001.JPG"])
        .expect(1)
        .says("is not a folder")
        .says("stillpath survey stills/LAPS0001.JPG");
}

#[test]
fn many_stills_are_told_by_a_few_headers_and_what_is_known_of_them_is_not_read_again() {
    let bench = Bench::new(0);
    let taken = |day: u32| exif(&format!("2026:06:{day:02} 12:00:00"));
    let still = |day: u32| jpeg::encode_rgb(&picture(STILL, 1), STILL, 60, (2, 2), &[(0xE1, &taken(day))]);
    let days: Vec<Vec<u8>> = (1..=5).map(still).collect();
    fs::create_dir_all(bench.path("footage/long")).unwrap();
    for number in 0..2000_usize {
        // Only the first is a file of its own: 2,000 names for five files.
        let path = bench.path(&format!("footage/long/L{number:05}.JPG"));
        let first = bench.path(&format!("footage/long/L{:05}.JPG", number / 400 * 400));
        if number % 400 == 0 {
            fs::write(&path, &days[number / 400]).unwrap();
        } else {
            fs::hard_link(first, path).unwrap();
        }
    }
    let told = listed(&bench, &[]);
    let seen: Vec<u64> =
        told["shoots"][0]["days"].as_array().unwrap().iter().map(|day| day["stills"].as_u64().unwrap()).collect();
    assert_eq!(seen, [400; 5]);
    assert!(!bench.path("cache").exists(), "nothing is kept of it");
}

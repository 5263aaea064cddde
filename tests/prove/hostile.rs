//! Receipts and deliveries that are not what they should be: each a clear word, nothing opened that has no business
//! there, no hang.

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::Command;

use stillpath::receipt::{FilePath, Receipt};

use super::common::{Bench, Ran};
use super::{encode, encode_as, faults, frames, named, prove, receipt, rendered, resealed, seal};

/// Proves a text in the place of a receipt.
fn of_text(bench: &Bench, folder: &str, text: &str) -> Ran {
    fs::create_dir_all(bench.path(folder)).unwrap();
    fs::write(bench.path(folder).join("move-receipt.json"), text).unwrap();
    prove(bench, folder, &[])
}

/// Proves the clip with a receipt in which something was changed and sealed again.
fn of_changed(folder: &str, change: impl FnOnce(&mut Receipt)) -> Ran {
    let bench = rendered();
    fs::create_dir_all(bench.path(folder)).unwrap();
    fs::copy(bench.path("clips/move-wide.mp4"), bench.path(folder).join("move-wide.mp4")).unwrap();
    let mut receipt = receipt(bench, "clips");
    change(&mut receipt);
    seal(bench, folder, receipt);
    prove(bench, folder, &["--json"])
}

fn has(ran: Ran, fault: &str, words: &str) {
    let found = faults(&ran.expect(1));
    assert!(
        found.iter().any(|(its, said)| its == fault && said.contains(words)),
        "{fault}, {words:?} is not in {found:#?}"
    );
}

#[test]
fn what_is_no_receipt_is_refused_in_a_line() {
    let bench = rendered();
    let whole = fs::read_to_string(bench.path("clips/move-receipt.json")).unwrap();
    let text = |text: &str| of_text(bench, "texts", text);
    text("").expect(2).says("it is not a receipt of this program");
    text("a receipt").expect(2).says("it is not a receipt of this program");
    text("{\"format\": \"stillpath receipt 7\"}").expect(2).says("its format is 'stillpath receipt 7'");
    text("{\"format\": \"\\u001b[2J\"}").expect(2).says("\\u{1b}[2J");
    text(&"[".repeat(50_000)).expect(2).says("it is not a receipt");
    let nested = format!("\"sources\": [{}", "[".repeat(50_000));
    text(&whole.replacen("\"sources\": [", &nested, 1)).expect(2).says("it is not a receipt");
    let frames = "\"frames\": 40";
    assert!(whole.contains(frames));
    for number in ["-1", "1e400", "NaN", "18446744073709551616", "4.5", "\"40\"", "null"] {
        text(&whole.replacen(frames, &format!("\"frames\": {number}"), 1)).expect(2).says("it is not a receipt");
    }
    text(&whole.replacen(frames, "\"frames\": 18446744073709551615", 1)).expect(1).says("it was edited");
    text(&whole.replacen("\"width\"", "\"breadth\"", 1)).expect(2).says("unknown field");
    text(&whole.replace("LAPS0012", "LAPS0013")).expect(1).says("it was edited after it was written");
    fs::write(bench.path("texts/move-receipt.json"), b"\xff\xfe{}").unwrap();
    prove(bench, "texts", &[]).expect(2).says("not UTF-8");
    prove(bench, "nowhere", &[]).expect(2).says("give the file that a render put beside its outputs");
    prove(bench, "clips/move-receipt.json", &[]).expect(2);
    bench.run(&["prove", "clips"]).expect(2).says("it is not a file");
}

#[test]
fn receipts_of_a_hundred_megabytes_and_more_are_refused() {
    let bench = rendered();
    let path = bench.path("long.json");
    fs::File::create(&path).unwrap().set_len(100_000_000).unwrap();
    bench.run(&["prove", "long.json"]).expect(2).says("it is not a receipt");
    fs::File::create(&path).unwrap().set_len(1 << 32).unwrap();
    bench.run(&["prove", "long.json"]).expect(2).says("it has 4294967296 bytes; a receipt has at most");
    fs::remove_file(path).unwrap();
}

#[test]
fn paths_that_lead_away_are_not_followed() {
    for path in ["../clips/move-wide.mp4", "/etc/hostname", "..", "", "sub/move-wide.mp4"] {
        has(
            of_changed("away", |receipt| receipt.deliveries[0].path = named(path)),
            "leads-away",
            "leads out of the folder",
        );
    }
    let bytes = |receipt: &mut Receipt| receipt.deliveries[0].path = FilePath::Bytes { bytes: "zz".into() };
    has(of_changed("away", bytes), "leads-away", "leads out of the folder");
    // A still is opened because the script's shoot holds it, and for no other reason.
    let bench = rendered();
    fs::write(bench.path("secret"), "nobody's business").unwrap();
    let steal = |receipt: &mut Receipt| {
        let still = &mut receipt.shoots[0].stills[3];
        still.path = Some(named("secret"));
        still.blake3 = Some(blake3::hash(b"nobody's business").to_hex().to_string());
    };
    has(of_changed("steal", steal), "still-missing", "secret");
    let script = |receipt: &mut Receipt| receipt.script.path = named("../../../../../../etc/hostname");
    let ran = of_changed("script", script);
    let name = fs::read_to_string("/etc/hostname").unwrap_or_default();
    assert!(name.trim().is_empty() || !ran.out.contains(name.trim()), "{}", ran.out);
    assert_eq!(ran.code, 1);
}

#[test]
fn hostile_numbers_and_names_do_no_harm() {
    let of_delivery = |change: fn(&mut stillpath::receipt::Delivery)| {
        of_changed("numbers", |receipt| change(&mut receipt.deliveries[0]))
    };
    has(of_delivery(|delivery| delivery.bytes = u64::MAX), "other-bytes", "18446744073709551615");
    has(
        of_delivery(|delivery| (delivery.width, delivery.height) = (u32::MAX, u32::MAX)),
        "size",
        "expected 4294967295x4294967295",
    );
    has(of_delivery(|delivery| delivery.rate = [u32::MAX, 1]), "variable-rate", "frame 1 is shown at 0.0417 s");
    has(of_delivery(|delivery| delivery.planes[7] = "7".repeat(1_000_000)), "not-made-alike", "frame 7");
    let slot = |receipt: &mut Receipt| receipt.shoots[0].stills[0].shown[0].delivery = usize::MAX;
    assert_eq!(of_changed("numbers", slot).says("with frames that do not exist").code, 1);
    // No delivery, no shot, no still: nothing to prove is nothing proved.
    let empty = |receipt: &mut Receipt| (receipt.deliveries, receipt.shoots[0].stills) = (Vec::new(), Vec::new());
    assert_eq!(of_changed("numbers", empty).code, 2);
}

#[test]
fn deliveries_that_are_gone_or_replaced_by_something_else_are_named() {
    let bench = rendered();
    let with = |folder: &str, make: &dyn Fn(&Path)| {
        fs::create_dir_all(bench.path(folder)).unwrap();
        fs::copy(bench.path("clips/move-receipt.json"), bench.path(folder).join("move-receipt.json")).unwrap();
        make(&bench.path(folder).join("move-wide.mp4"));
        let receipt = format!("{folder}/move-receipt.json");
        // A hang is a failure of its own.
        let program = bench.command(&[]).get_program().to_owned();
        let mut command = Command::new("timeout");
        command.arg("120").arg(program).args(["prove", &receipt, "--json"]).current_dir(bench.folder.path());
        Ran::of(command.env("XDG_CACHE_HOME", bench.path("cache")).output().unwrap())
    };
    has(with("gone", &|_| ()), "gone", "it does not exist");
    has(with("folder", &|path| fs::create_dir(path).unwrap()), "something-else", "a folder is in its place");
    let fifo = |path: &Path| assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
    has(with("fifo", &fifo), "something-else", "neither a file nor a folder");
    has(with("text", &|path| fs::write(path, "no video at all").unwrap()), "no-video", "no video can be made of it");
    has(with("empty", &|path| fs::write(path, "").unwrap()), "no-video", "no video can be made of it");
    // What the system does not give: a link that leads to itself stands for a file that is locked, which root opens
    // all the same.
    let locked = with("locked", &|path| symlink(path, path).unwrap()).expect(2);
    assert!(
        faults(&locked).iter().any(|(fault, words)| fault == "unreadable" && words.contains("cannot be read")),
        "{}",
        locked.out
    );
    let still = |path: &Path| _ = fs::copy(bench.still(1), path).unwrap();
    with("still", &still).expect(1);
    // Another video altogether: another size, another count.
    let other = |path: &Path| encode_as("64x36", &vec![vec![100; 64 * 36 * 3 / 2]; 7], &[], path);
    let ran = with("other", &other);
    has(ran, "size", "its frames are 64x36, expected 128x72");
}

#[test]
fn a_header_that_lies_about_size_or_length_is_named() {
    let bench = rendered();
    let whole = fs::read(bench.path("clips/move-wide.mp4")).unwrap();
    let find = |what: &[u8]| whole.windows(what.len()).position(|window| window == what).unwrap();
    let lied = |folder: &str, at: usize, bytes: &[u8]| {
        resealed(bench, folder, |clip| {
            let mut lying = whole.clone();
            lying[at..at + bytes.len()].copy_from_slice(bytes);
            fs::write(clip, lying).unwrap();
        });
        prove(bench, folder, &["--json"])
    };
    // Width and height of the sample entry stand 28 bytes behind its name's beginning (ISO/IEC 14496-12, 12.1.3).
    has(
        lied("wide", find(b"avc1\0\0\0\0\0\0") + 28, &[0x40, 0, 0x40, 0]),
        "header-lies",
        "its header says that its frames are 16384x16384",
    );
    // The durations of version 0 of a movie header and of a media header stand 20 bytes behind their names' beginnings
    // (8.2.2, 8.4.2).
    let words = "its header says that it lasts";
    has(lied("long", find(b"mvhd") + 20, &[0x7F, 0, 0, 0]), "header-lies", words);
    has(lied("short", find(b"mdhd") + 20, &[0, 0, 0x10, 0]), "header-lies", words);
}

#[test]
fn far_more_frames_than_are_due_end_the_reading() {
    let bench = rendered();
    resealed(bench, "endless", |clip| {
        let few = frames(&bench.path("clips/move-wide.mp4"));
        let many: Vec<Vec<u8>> = few.iter().cycle().take(1200).cloned().collect();
        encode(&many, clip);
    });
    has(prove(bench, "endless", &["--json"]), "endless", "expected 40");
}

#[test]
fn names_with_control_characters_are_never_printed_raw() {
    let evil = "a\u{1b}[2Jb\r\n\u{202e}.mp4";
    let bench = rendered();
    let ran = of_changed("evil", |receipt| {
        receipt.deliveries[0].path = named(evil);
        receipt.deliveries[0].codec = evil.into();
        receipt.shoots[0].stills[2].path = Some(named(evil));
        receipt.script.path = named(evil);
        receipt.made = evil.into();
        receipt.versions.stillpath = evil.into();
    });
    assert_eq!(ran.code, 1);
    let text = prove(bench, "evil", &[]).expect(1);
    for said in [&text.out, &text.err] {
        assert!(!said.contains(['\u{1b}', '\r', '\u{202e}']), "{said:?}");
    }
    assert!(text.out.contains("a\\u{1b}[2Jb\\r\\n\\u{202e}.mp4"), "{}", text.out);
}

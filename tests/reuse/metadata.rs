//! What files say beside their pictures: nothing that a camera or its owner wrote, and a title only where it is asked for.
//!
//! ExifTool must be there (`scripts/test` installs it): without it these tests fail.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use serde_json::Value as Json;
use stillpath::ffi::jpeg;

use crate::common::{Bench, STILL, picture};

/// What the stills say of who took them with what.
const SERIAL: &str = "SER1AL-77031";
const LENS: &str = "LENS-SER1AL-5150";
const OWNER: &str = "Owner Of No Name";
const ARTIST: &str = "Artist Of No Name";
const COPYRIGHT: &str = "Rights Of No Name";
const NOTE: &str = "Maker Note Of No Name";
const PRIVATE: [&str; 6] = [SERIAL, LENS, OWNER, ARTIST, COPYRIGHT, NOTE];

/// An EXIF segment with all of it, and a place on the earth.
fn segment() -> Vec<u8> {
    let text = |tag, text: &str| Field { tag, ifd_num: In::PRIMARY, value: Value::Ascii(vec![text.into()]) };
    let degrees = |tag, degrees: u32| {
        let parts = [degrees, 12, 34].map(|num| Rational { num, denom: 1 });
        Field { tag, ifd_num: In::PRIMARY, value: Value::Rational(parts.to_vec()) }
    };
    let fields = [
        text(Tag::DateTimeOriginal, "2031:05:04 12:00:00"),
        text(Tag::BodySerialNumber, SERIAL),
        text(Tag::LensSerialNumber, LENS),
        text(Tag::CameraOwnerName, OWNER),
        text(Tag::Artist, ARTIST),
        text(Tag::Copyright, COPYRIGHT),
        Field { tag: Tag::MakerNote, ifd_num: In::PRIMARY, value: Value::Undefined(NOTE.into(), 0) },
        text(Tag::GPSLatitudeRef, "N"),
        degrees(Tag::GPSLatitude, 47),
        text(Tag::GPSLongitudeRef, "E"),
        degrees(Tag::GPSLongitude, 8),
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut bytes = std::io::Cursor::new(Vec::new());
    writer.write(&mut bytes, false).unwrap();
    [b"Exif\0\0", &bytes.into_inner()[..]].concat()
}

/// Everything that ExifTool finds in a file, by group and name.
fn tags(path: &Path) -> Vec<(String, String)> {
    let output = Command::new("exiftool").args(["-json", "-G1", "-a", "-u", "-ee"]).arg(path).output();
    let output = output.expect("exiftool is there: scripts/test installs libimage-exiftool-perl");
    let found: Json = serde_json::from_slice(&output.stdout).unwrap();
    let found = found[0].as_object().unwrap();
    found.iter().map(|(name, value)| (name.clone(), value.to_string())).collect()
}

/// What of a file's tags tells who took the stills, with what, where.
fn telling(path: &Path) -> Vec<(String, String)> {
    // The system's own of the file are no part of it.
    let own = tags(path).into_iter().filter(|(name, _)| !name.starts_with("System:") && name != "SourceFile");
    let words = ["gps", "serial", "owner", "artist", "copyright", "makernote", "author", "creator", "make", "model"];
    let names = |name: &str| words.iter().any(|word| name.to_lowercase().contains(word));
    own.filter(|(name, value)| names(name) || PRIVATE.iter().any(|text| value.contains(text))).collect()
}

/// All files below a folder, hidden ones included.
fn files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files(&path, into) } else { into.push(path) }
    }
}

#[test]
fn no_output_holds_a_serial_number_an_owner_or_a_place_and_a_title_only_where_asked() {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for number in 1..=6 {
        let bytes = jpeg::encode_rgb(&picture(STILL, number), STILL, 92, (2, 2), &[(0xE1, &segment())]);
        fs::write(bench.still(number), bytes).unwrap();
    }
    // What is looked for can be found.
    let still = telling(&bench.still(1));
    for due in ["SerialNumber", "LensSerialNumber", "OwnerName", "Artist", "Copyright", "GPSLatitude", "GPSLongitude"] {
        assert!(still.iter().any(|(name, _)| name.ends_with(&format!(":{due}"))), "{due}: {still:?}");
    }
    bench.script(
        r#"return { shot { name = "secret_shot_name", source = stills { "stills", interval = 1 }, fps = 24, pace = stills_per_frame(1),
  deliveries = {
    delivery { "plain", frame = { 128, 72 }, poster = "start" },
    delivery { "named", frame = { 128, 72 }, title = "Pier at dusk, größer", poster = { "end", "jpeg" } },
    delivery { "pictures", frame = { 64, 64 }, codec = "png" },
    delivery { "hevc", frame = { 128, 72 }, codec = { "hevc", preset = "ultrafast" }, title = "Pier" },
    delivery { "av1", frame = { 128, 72 }, codec = { "av1", preset = 12 } },
    delivery { "prores", frame = { 128, 72 }, codec = "prores", title = "Pier", timecode = "clock" },
    delivery { "dnxhr", frame = { 256, 144 }, codec = "dnxhr" },
    delivery { "ffv1", frame = { 128, 72 }, codec = "ffv1", title = "Pier" },
    delivery { "tiff", frame = { 64, 64 }, codec = "tiff" },
    delivery { "jpeg", frame = { 64, 64 }, codec = "jpeg" },
    delivery { "lossless", frame = "full", every = "still" },
    delivery { "small", frame = "full", every = "still", codec = "hevc" },
  } } }"#,
    );
    bench.render().expect(0);
    bench.run(&["render", "move.lua", "--out", "drafts", "--draft"]).expect(0);
    bench.run(&["frame", "move.lua", "--delivery", "plain", "--frame", "0", "-o", "clips/frame.png"]).expect(0);
    bench.run(&["draw", "move.lua", "-o", "clips/sheet.png"]).expect(0);
    bench.run(&["draw", "move.lua", "-o", "clips/sheet.svg"]).expect(0);
    let mut all = Vec::new();
    ["clips", "drafts"].iter().for_each(|folder| files(&bench.path(folder), &mut all));
    let endings = |ending: &str| all.iter().filter(|path| path.to_string_lossy().ends_with(ending)).count();
    // Clips of every codec and a draft of each delivery, masters with sidecars and the receipt; sequences, two strips,
    // posters, a frame, sheets.
    assert_eq!([".mp4", ".mov", ".mkv", ".json"].map(endings), [4 + 12, 2, 1 + 2, 2 + 1], "{all:?}");
    assert_eq!([".tif", ".jpg", ".svg"].map(endings), [6, 6 + 1, 1], "{all:?}");
    assert_eq!(endings(".png"), 6 + 2 + 1 + 1 + 1, "{all:?}");
    for path in &all {
        let bytes = fs::read(path).unwrap();
        for text in PRIVATE {
            let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
            let held = [text.as_bytes(), &wide].iter().any(|due| bytes.windows(due.len()).any(|seen| seen == *due));
            assert!(!held, "{} holds {text:?}", path.display());
        }
        // The receipt and the sidecars of masters are JSON: they say which stills were used, and ExifTool reads their
        // fields as tags.
        if path.extension().is_none_or(|extension| extension != "json") {
            assert_eq!(telling(path), [], "{}", path.display());
            let shot = b"secret_shot_name";
            let drawn = path.extension().is_some_and(|extension| extension == "svg");
            assert!(drawn || !bytes.windows(shot.len()).any(|seen| seen == shot), "{}", path.display());
        }
    }
    let titles = |name: &str| -> Vec<String> {
        let found = tags(&bench.path(name)).into_iter();
        found.filter(|(name, _)| name.ends_with(":Title")).map(|(_, value)| value).collect()
    };
    assert_eq!(titles("clips/move-named.mp4"), ["\"Pier at dusk, größer\""]);
    for titled in ["move-hevc.mp4", "move-prores.mov", "move-ffv1.mkv"] {
        assert!(titles(&format!("clips/{titled}")).contains(&"\"Pier\"".to_owned()), "{titled}");
    }
    for untitled in [
        "move-av1.mp4",
        "move-dnxhr.mov",
        "move-plain.mp4",
        "move-lossless.mkv",
        "move-small.mkv",
        "move-plain-poster.png",
    ] {
        assert_eq!(titles(&format!("clips/{untitled}")), [""; 0], "{untitled}");
    }
}

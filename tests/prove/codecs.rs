//! Deliveries of every codec, rendered from one script and proved; and each of them cut short.

use std::fs;

use super::{Bench, faults, prove};

const SCRIPT: &str = r#"
local function one(name, codec, more)
  local made = { name, frame = { 256, 128 }, codec = codec }
  for field, value in pairs(more or {}) do made[field] = value end
  return delivery(made)
end
return shot {
  source = stills { "stills" }, fps = 4, pace = stills_per_frame(1),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.6, 0.4), zoom = 1.5 },
  },
  deliveries = {
    one("h264", { "h264", preset = "veryfast" }, { timecode = "10:00:00:00" }),
    one("hevc", { "hevc", preset = "ultrafast" }),
    one("av1", { "av1", preset = 12 }),
    one("prores", "prores"),
    one("full", { "prores", profile = "4444" }),
    one("dnxhr", "dnxhr"),
    one("ffv1", "ffv1"),
    one("rgb", { "ffv1", samples = "rgb" }),
    one("png", { "png", depth = 8 }),
    one("tiff", "tiff"),
    one("jpeg", "jpeg"),
  },
}
"#;

#[test]
fn deliveries_of_every_codec_prove() {
    let bench = Bench::new(10);
    bench.script(SCRIPT);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    prove(&bench, "clips", &["--frames", "3"]).expect(0);

    // Without the stills nothing can be made anew; what the files themselves say still holds.
    fs::rename(bench.path("stills"), bench.path("away")).unwrap();
    let ran = prove(&bench, "clips", &["--json"]);
    let found: Vec<String> = faults(&ran).into_iter().map(|(fault, _)| fault).collect();
    assert!(
        !found.iter().any(|fault| ["codec", "cut-short", "another-kind", "damaged"].contains(&fault.as_str())),
        "{found:?}"
    );
    fs::rename(bench.path("away"), bench.path("stills")).unwrap();

    let clips = bench.path("clips");
    for name in ["h264.mp4", "hevc.mp4", "av1.mp4", "prores.mov", "full.mov", "dnxhr.mov", "ffv1.mkv", "rgb.mkv"] {
        let path = clips.join(format!("move-{name}"));
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, &bytes[..bytes.len() * 4 / 5]).unwrap();
    }
    for (name, last) in [("png", "000009.png"), ("tiff", "000009.tif"), ("jpeg", "000009.jpg")] {
        fs::remove_file(clips.join(format!("move-{name}")).join(last)).unwrap();
    }
    let ran = prove(&bench, "clips", &["--json", "--frames", "1"]).expect(1);
    let json = ran.json();
    let parts = json["parts"].as_array().unwrap();
    for name in ["h264", "hevc", "av1", "prores", "full", "dnxhr", "ffv1", "rgb", "png", "tiff", "jpeg"] {
        let part = parts.iter().find(|part| part["name"].as_str().is_some_and(|own| own.contains(name)));
        let part = part.unwrap_or_else(|| panic!("{name}: {json:#}"));
        assert!(!part["findings"].as_array().unwrap().is_empty(), "{name}: {part:#}");
    }
}

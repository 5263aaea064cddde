//! What a render left, proved; and every fault that was seeded in it, found by what it is.
//!
//! Faulty clips are made with FFmpeg's command line, which has to be there (`scripts/test` installs it).
#![expect(clippy::cast_possible_truncation, reason = "codes of synthetic pictures")]

mod codecs;
#[path = "../common/mod.rs"]
mod common;
mod faults;
mod honest;
mod hostile;
mod stills;

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;
use stillpath::receipt::{FilePath, Receipt};

use common::{Bench, Ran};

/// Frames of [`rendered`]'s clip.
const FRAMES: usize = 40;
/// Bytes of one of its frames, 4:2:0.
const BYTES: usize = 128 * 72 * 3 / 2;

/// A push-in over forty stills, hardly compressed.
const SCRIPT: &str = r#"
return shot {
  source = stills { "stills" }, fps = 24, pace = stills_per_frame(1),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.6, 0.4), zoom = 1.5, ease = "ease-in-out" },
  },
  deliveries = { delivery { "wide", frame = { 128, 72 }, quality = { crf = 1 } } },
}
"#;

/// Forty stills and their clip, with a receipt: made once, never changed.
fn rendered() -> &'static Bench {
    static MADE: OnceLock<Bench> = OnceLock::new();
    MADE.get_or_init(|| {
        let bench = Bench::new(FRAMES);
        bench.script(SCRIPT);
        bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
        bench
    })
}

/// The receipt in a folder.
fn receipt(bench: &Bench, folder: &str) -> Receipt {
    Receipt::from_json(&fs::read_to_string(bench.path(folder).join("move-receipt.json")).unwrap()).unwrap()
}

/// Writes a receipt that fits itself.
fn seal(bench: &Bench, folder: &str, receipt: Receipt) {
    fs::write(bench.path(folder).join("move-receipt.json"), receipt.sealed().1).unwrap();
}

/// A folder beside the clips with a clip in its name's place, and a receipt in which the hash of the file is made to
/// fit.
fn resealed(bench: &Bench, folder: &str, make: impl FnOnce(&Path)) {
    fs::create_dir_all(bench.path(folder)).unwrap();
    let clip = bench.path(folder).join("move-wide.mp4");
    make(&clip);
    let mut receipt = receipt(bench, "clips");
    let bytes = fs::read(&clip).unwrap();
    (receipt.deliveries[0].bytes, receipt.deliveries[0].blake3) =
        (bytes.len() as u64, blake3::hash(&bytes).to_hex().to_string());
    seal(bench, folder, receipt);
}

fn prove(bench: &Bench, folder: &str, more: &[&str]) -> Ran {
    let receipt = format!("{folder}/move-receipt.json");
    bench.run(&[&["prove", &receipt][..], more].concat())
}

/// The faults found, as programs and as people are told them.
fn faults(ran: &Ran) -> Vec<(String, String)> {
    let json = ran.json();
    let parts = json["parts"].as_array().unwrap().iter();
    let findings = parts.flat_map(|part| part["findings"].as_array().unwrap().clone());
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    findings.map(|finding| (text(&finding["fault"]), text(&finding["words"]))).collect()
}

fn ffmpeg(arguments: &[&str], input: &[u8]) -> Vec<u8> {
    let mut command = Command::new("ffmpeg");
    command
        .args(["-v", "error", "-y"])
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().unwrap_or_else(|error| panic!("ffmpeg is needed for this test ({error})"));
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let feeder = std::thread::spawn(move || drop(stdin.write_all(&input)));
    let output = child.wait_with_output().unwrap();
    feeder.join().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// The decoded frames of a clip, 4:2:0.
fn frames(clip: &Path) -> Vec<Vec<u8>> {
    let raw = ffmpeg(&["-i", clip.to_str().unwrap(), "-f", "rawvideo", "-pix_fmt", "yuv420p", "-"], b"");
    raw.chunks(BYTES).map(<[u8]>::to_vec).collect()
}

/// Makes a clip of frames of this size, without loss, tagged as deliveries are; `more` comes before its name.
fn encode_as(size: &str, frames: &[Vec<u8>], more: &[&str], clip: &Path) {
    let input =
        ["-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", size, "-r", "24", "-i", "-", "-c:v", "libx264", "-qp", "0"];
    let tags = ["-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv"];
    let rest = ["-video_track_timescale", "24000", "-movflags", "+faststart+write_colr"];
    ffmpeg(&[&input[..], &tags, &rest, more, &[clip.to_str().unwrap()]].concat(), &frames.concat());
}

fn encode(frames: &[Vec<u8>], clip: &Path) {
    encode_as("128x72", frames, &[], clip);
}

fn named(text: &str) -> FilePath {
    FilePath::Text(text.into())
}

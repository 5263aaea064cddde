//! What several test programs share: small shoots made on the spot, and the program itself.

#![allow(dead_code, reason = "each test program uses its own part of this")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "test pictures are small and their values clamped"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, SystemTime};

use stillpath::ffi::jpeg;
use stillpath::units::Size;

/// A small still: diagonal waves that move with `index`, so that every still and every row differs.
pub(crate) fn picture(size: Size, index: usize) -> Vec<u8> {
    let mut rgb = Vec::with_capacity(3 * size.pixels() as usize);
    for y in 0..size.height {
        for x in 0..size.width {
            let wave = |fx: f64, fy: f64, phase: f64| {
                let angle = f64::from(x) * fx + f64::from(y) * fy + phase;
                (128.0 + 90.0 * angle.sin()) as u8
            };
            rgb.extend([wave(0.11, 0.05, index as f64), wave(0.03, 0.13, 1.0), wave(0.07, -0.09, index as f64 * 0.3)]);
        }
    }
    rgb
}

/// Writes one still as a JPEG of quality 92, 4:2:0.
pub(crate) fn write_still(path: &Path, size: Size, index: usize) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, jpeg::encode_rgb(&picture(size, index), size, 92, (2, 2), &[])).unwrap();
}

/// A script of one small delivery, a still a frame; `source` stands for the fields of the source.
pub(crate) fn one(source: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ {source} }}, fps = 24, pace = stills_per_frame(1),
  deliveries = {{ delivery {{ "wide", frame = {{ 128, 72 }} }} }} }}"#
    )
}

/// A folder with `stills/LAPS0001.JPG …` and a script beside it.
pub(crate) struct Bench {
    pub(crate) folder: tempfile::TempDir,
}

/// The size of a [`Bench`]'s stills.
pub(crate) const STILL: Size = Size { width: 320, height: 240 };

impl Bench {
    /// A shoot of `count` stills numbered from 1.
    pub(crate) fn new(count: usize) -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        for number in 1..=count {
            write_still(&bench.still(number), STILL, number);
        }
        bench
    }

    /// The file of a still.
    pub(crate) fn still(&self, number: usize) -> PathBuf {
        self.path(&format!("stills/LAPS{number:04}.JPG"))
    }

    /// A path below the folder.
    pub(crate) fn path(&self, below: &str) -> PathBuf {
        self.folder.path().join(below)
    }

    /// Writes the script `move.lua`.
    pub(crate) fn script(&self, text: &str) -> PathBuf {
        let path = self.path("move.lua");
        fs::write(&path, text).unwrap();
        path
    }

    /// Runs the program in the folder.
    pub(crate) fn run(&self, arguments: &[&str]) -> Ran {
        Ran::of(self.command(arguments).output().unwrap())
    }

    /// Renders `move.lua` into the folder `clips`.
    pub(crate) fn render(&self) -> Ran {
        self.run(&["render", "move.lua", "--out", "clips"])
    }

    /// Renders `move.lua` into a folder of its own; the hash of every frame of the first delivery.
    pub(crate) fn planes(&self) -> Vec<String> {
        let json = self.run(&["render", "move.lua", "--out", "planes", "--force", "--json"]).expect(0).json();
        let planes = json["outputs"][0]["frame_planes"].as_array().unwrap();
        planes.iter().map(|plane| plane.as_str().unwrap().to_owned()).collect()
    }

    /// The program, to be run in the folder.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpath"));
        command.current_dir(self.folder.path()).args(arguments).env("NO_COLOR", "1").env_remove("XDG_CONFIG_HOME");
        command.env("XDG_CACHE_HOME", self.path("cache"));
        command
    }

    /// Everything in a folder below, dot files included, in order.
    pub(crate) fn list(&self, below: &str) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.path(below)) else { return Vec::new() };
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

/// What a run of the program left.
#[derive(Debug)]
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Ran {
    pub(crate) fn of(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    /// Asserts the exit code, showing everything otherwise.
    pub(crate) fn expect(self, code: i32) -> Self {
        assert_eq!(self.code, code, "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        self
    }

    /// Asserts that standard error holds this.
    pub(crate) fn says(self, text: &str) -> Self {
        assert!(self.err.contains(text), "standard error does not say {text:?}:\n{}", self.err);
        self
    }

    /// Standard output as JSON.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}:\n{}", self.out))
    }
}

/// The first `bytes` of a file only, as a camera leaves it whose battery dies.
pub(crate) fn cut_short(path: &Path, bytes: usize) {
    let whole = fs::read(path).unwrap();
    put(path, &whole[..bytes.min(whole.len())]);
}

/// Writes a file as if an hour ago, so that nobody waits for one still being written.
pub(crate) fn put(path: &Path, bytes: impl AsRef<[u8]>) {
    fs::write(path, bytes).unwrap();
    let file = fs::File::options().append(true).open(path).unwrap();
    file.set_modified(SystemTime::now() - Duration::from_secs(3600)).unwrap();
}

/// Overwrites part of a JPEG's entropy-coded data, end marker left in place, so that only decoding can tell.
pub(crate) fn corrupt(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let middle = bytes.len() / 2;
    // A restart marker where none is due: certain to be noticed, unlike flipped bits.
    bytes[middle..middle + 2].copy_from_slice(&[0xFF, 0xD4]);
    fs::write(path, bytes).unwrap();
}

/// An Exif segment that holds only an orientation.
pub(crate) fn orientation_segment(orientation: u8) -> Vec<u8> {
    let mut segment = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    segment.extend([orientation, 0, 0, 0, 0, 0, 0]);
    segment
}

/// An Exif segment that holds only a capture time (`2031:05:04 12:00:00`), in tag 0x9003.
pub(crate) fn exif(time: &str) -> Vec<u8> {
    assert_eq!(time.len(), 19);
    let mut segment = b"Exif\0\0MM\0*\0\0\0\x08".to_vec();
    // One entry of the first directory: the Exif directory, at 26.
    segment.extend(b"\0\x01\x87\x69\0\x04\0\0\0\x01\0\0\0\x1A\0\0\0\0");
    // One entry there: 20 letters, at 44.
    segment.extend(b"\0\x01\x90\x03\0\x02\0\0\0\x14\0\0\0\x2C\0\0\0\0");
    segment.extend(time.as_bytes());
    segment.push(0);
    segment
}

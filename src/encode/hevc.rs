//! HEVC in MP4: libx265, Main 10, 4:2:0, parameter sets in the file's head alone (`hvc1`).
//!
//! ## Decisions
//!
//! - libx265 declares a level that holds size and rate; the finished file declares another tier or level where the
//!   stream is heavier, as a decoder-buffer model has it.
//!
//! - Slow moves survive, as in `h264.rs`: figures in `scripts/bench.md`, "Moves after encoding".
//!
//! ## Surprises
//!
//! - Told a level (`level-idc`), libx265 keeps to its bits a second, whatever the rate factor: it is not told any.
//! - libx265 prints to the terminal, past FFmpeg's log, unless told `log-level=none`.

use super::level;
use super::recipe::{Container, Recipe, cap_within, even_sides, rate_within, too_heavy};
use super::soft::Steps;
use super::timing::group;
use crate::picture::{Chroma, FrameKind};
use crate::shot::Hevc;
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
pub(super) const ENCODER: &str = "libx265";
/// How messages name the codec.
pub(super) const NAME: &str = "HEVC";
/// Most threads it is given.
pub(super) const MOST_THREADS: usize = 16;
/// Shortest side taken: a coding tree block of libx265's.
const SHORTEST: u32 = 64;
/// Luma samples of a picture at level 6.2, the highest (ITU-T H.265, Table A.8, from memory), and along one side: `√(8
/// · most)`.
const MOST_PICTURE: u64 = 35_651_584;
const LONGEST: u64 = 16_888;
/// `general_profile_idc` of Main 10 (ITU-T H.265 A.3.3, from memory).
const MAIN_10: i32 = 2;

/// What keeps a slow move going: bits are not taken from places because others are made of them, nor from the frames
/// between, and soft places are quantised finer.
const MOVES: &str = ":cutree=0:pbratio=1.1";

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(codec: &Hevc, size: Size, fps: FrameRate, threads: usize) -> Result<Recipe, String> {
    holds(codec, size)?;
    let chroma = Chroma::Quarter;
    even_sides(NAME, size, chroma.spacing())?;
    rate_within(NAME, fps)?;
    cap_within(NAME, codec.most)?;
    let declarations = level::hevc(size, fps);
    if declarations.is_empty() {
        let fastest = level::fastest_hevc(size);
        return Err(format!("{size} at {fps} frames a second is too fast for {NAME}: up to {fastest:.2}"));
    }
    let declarations = level::carrying(declarations, codec.most);
    let declarations = declarations.map_err(|heaviest| too_heavy(NAME, codec.most, heaviest))?;
    let mut own = plain(threads) + MOVES;
    if let Some(most) = codec.most {
        let kilobits = most / 1000;
        own += &format!(":vbv-maxrate={kilobits}:vbv-bufsize={kilobits}");
    }
    let options = vec![("preset", codec.preset.clone()), ("crf", codec.crf.to_string()), ("x265-params", own)];
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "hevc",
        kind: FrameKind::Yuv10(chroma),
        layout: "yuv420p10le",
        decoded: "yuv420p10le",
        group: group(fps),
        level: 0,
        most_threads: MOST_THREADS,
        options,
        finer: Some(Steps { soft: -9, calm: -4 }),
        container: Container::Mp4,
        profile: Some(MAIN_10),
        declarations,
    })
}

/// What x265 is told whatever it encodes: its words would go past FFmpeg's log, and groups are closed.
pub(super) fn plain(threads: usize) -> String {
    format!("log-level=none:open-gop=0:info=0:pools={}", threads.clamp(1, MOST_THREADS))
}

/// Refuses what no level or no preset is for.
pub(super) fn holds(codec: &Hevc, size: Size) -> Result<(), String> {
    if !(1.0..=51.0).contains(&codec.crf) {
        return Err(format!("a crf of {} is outside 1 to 51", codec.crf));
    }
    if !Hevc::PRESETS.contains(&codec.preset.as_str()) {
        return Err(format!("x265 has no preset '{}'; available: {}", codec.preset, Hevc::PRESETS.join(", ")));
    }
    let longest = u64::from(size.width.max(size.height));
    if size.pixels() > MOST_PICTURE || longest > LONGEST || size.width.min(size.height) < SHORTEST {
        return Err(format!(
            "frames of {size} are {:.1} million pixels: {NAME} takes up to {:.1} million, and sides of {SHORTEST} to {LONGEST}",
            millions(size.pixels()),
            millions(MOST_PICTURE)
        ));
    }
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "for a message")]
fn millions(pixels: u64) -> f64 {
    pixels as f64 / 1e6
}

//! H.264 in MP4: libx264, High profile, exact constant rate, tags in stream and container, index first. Every stretch
//! of frames is encoded by an encoder of its own, opened alike, whether or not a run was interrupted: so the bytes of
//! the file do not tell.
//!
//! ## Decisions
//!
//! - The level is the smallest that holds size and rate, raised in the finished file where a decoder-buffer model says
//!   that the stream needs more.
//! - `crf` below 1 would be lossless, which High profile is not, and is refused.
//! - The track counts in ticks of the rate's numerator (a thousand times that below 10,000), so that every frame lasts
//!   the same whole number of ticks. With the default movie timescale of 1000, lengths at 1000/1001 rates would be
//!   rounded.
//! - A cap on bits a second is a decoder's buffer of one second that is filled at that rate.
//! - Slow moves survive. A place that is soft moves by small differences from frame to frame, which libx264 leaves out
//!   at first: the place stands still, and jumps. So no block is skipped before it is looked at, no block's last small
//!   coefficients are dropped, bits are shared out by the frame's own spread of detail (`aq-mode` 2), and soft blocks are
//!   quantised finer ([`super::soft`]), calm ones too. A tune or a preset changes none of these four. Figures: `scripts/bench.md`,
//!   "Moves after encoding".
//!
//! ## Surprises
//!
//! - libx264 prints to the terminal, past FFmpeg's log, for an unknown preset, tune or profile; so names are checked
//!   before. An unknown x264 parameter, or a level that cannot be kept, is only a warning to FFmpeg. Preset `ultrafast`
//!   is not High profile without `8x8dct=1`. FFmpeg warns above 16 encoder threads.
//! - libx264's `b_tff` follows the frames' own flag, not its parameter. FFmpeg's `-pix_fmt gray` expands limited range:
//!   compare planes as `yuv420p`.

use super::allowed;
use super::level;
use super::recipe::{Container, Recipe, cap_within, too_heavy};
use super::soft::Steps;
use super::timing::group;
use crate::picture::FrameKind;
use crate::shot::H264;
use crate::units::{FrameRate, Size};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "libx264";
/// How messages name the codec.
const NAME: &str = "H.264";
/// Most threads libx264 is given; beyond it FFmpeg warns that quality suffers.
const MOST_THREADS: usize = 16;
/// `profile_idc` of High (ITU-T H.264 A.2.4, from memory).
const HIGH_PROFILE: i32 = 100;

/// 8x8dct: without it (preset ultrafast) the stream is not High. force-cfr: the stream says that its rate is fixed.
/// cpu-independent: the same bytes on every processor.
const STREAM: &str = "open-gop=0:8x8dct=1:force-cfr=1:cpu-independent=1";
/// What keeps a slow move going; see "Decisions".
const MOVES: &str = "fast-pskip=0:dct-decimate=0:aq-mode=2";

/// One parameter set for all rate factors: without it the stretches of a file of a size would not fit together.
const STITCHED: &str = "stitchable=1";

/// How such files are made, or why they cannot be, in one line.
pub(super) fn recipe(codec: &H264, size: Size, fps: FrameRate) -> Result<Recipe, String> {
    let level = allowed::level(codec, size, fps)?;
    cap_within(NAME, codec.most)?;
    let declarations = level::carrying(level::h264(level), codec.most);
    let declarations = declarations.map_err(|heaviest| too_heavy(NAME, codec.most, heaviest))?;
    let mut options = vec![
        ("preset", codec.preset.clone()),
        ("crf", codec.crf.to_string()),
        ("profile", "high".to_owned()),
        (
            "x264-params",
            if codec.size.is_some() { [STREAM, MOVES, STITCHED].join(":") } else { [STREAM, MOVES].join(":") },
        ),
    ];
    if let Some(tune) = &codec.tune {
        options.push(("tune", tune.clone()));
    }
    if let Some(most) = codec.most {
        options.extend([("maxrate", most.to_string()), ("bufsize", most.to_string())]);
    }
    Ok(Recipe {
        name: NAME,
        encoder: ENCODER,
        codec: "h264",
        kind: FrameKind::Yuv420,
        layout: "yuv420p",
        decoded: "yuv420p",
        group: group(fps),
        level: declarations.first().map_or(level.idc, |declaration| declaration.level),
        most_threads: MOST_THREADS,
        options,
        finer: Some(Steps { soft: -5, calm: -4 }),
        container: Container::Mp4,
        profile: Some(HIGH_PROFILE),
        declarations,
    })
}

#[cfg(test)]
mod tests {
    use super::super::recipe::present;
    use super::*;

    /// Fault 68: no encoder.
    #[test]
    fn a_missing_encoder_is_named_with_what_brings_it() {
        let (size, fps) = (Size::new(64, 48), FrameRate::new(24, 1).unwrap());
        let recipe = recipe(&H264::default(), size, fps).unwrap();
        assert_eq!(recipe.preflight(size, fps), Ok(()));
        let words = "this FFmpeg has no libx266, which H.264 needs: install Debian's libavcodec59, which has it";
        assert!(present("libx266", NAME).unwrap_err().starts_with(words));
        assert!(present("libx266", NAME).unwrap_err().contains("this one encodes \"h264\""));
    }
}

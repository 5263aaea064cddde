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
//! - Slow moves survive. A place that is soft moves by small differences from frame to frame, which libx264 leaves out
//!   at first: the place stands still, and jumps. So no block is skipped before it is looked at, no block's last small
//!   coefficients are dropped, bits are shared out by the frame's own spread of detail (`aq-mode` 2), and soft blocks are
//!   quantised finer ([`super::soft`]), calm ones too. A tune or a preset changes none of these four. Figures: `scripts/bench.md`,
//!   "Moves after encoding".
//! - A file is read back (size, profile, level, tags, every time, length, key frames) before it gets its name.
//!
//! ## Surprises
//!
//! - libx264 prints to the terminal, past FFmpeg's log, for an unknown preset, tune or profile; so names are checked
//!   before. An unknown x264 parameter, or a level that cannot be kept, is only a warning to FFmpeg. Preset `ultrafast`
//!   is not High profile without `8x8dct=1`. FFmpeg warns above 16 encoder threads.
//! - libx264's `b_tff` follows the frames' own flag, not its parameter. FFmpeg's `-pix_fmt gray` expands limited range:
//!   compare planes as `yuv420p`.

use std::path::PathBuf;

use super::level::Level;
use super::mux::{self, Muxed};
use super::resume::Taken;
use super::soft::Cells;
use super::sound::{Heard, Soundtrack, samples_of, unheard};
use super::stretch::{StretchWriter, counted, failed, not_put_together};
use super::temporary::{Unfinished, disk};
use super::timing::{group, timescale};
use super::verify::as_promised;
use super::{allowed, mp4};
use crate::ffi::ffmpeg::{self, Encoder, EncoderSettings, Fault, FrameFormat};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::shot::H264;
use crate::units::{FrameRate, Size};
use crate::work::{Known, Met, Sink, SinkError, Stretches, Written};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "libx264";
/// How messages name the codec.
const NAME: &str = "H.264";
/// Most threads libx264 is given; beyond it FFmpeg warns that quality suffers.
const MOST_THREADS: usize = 16;

/// 8x8dct: without it (preset ultrafast) the stream is not High. force-cfr: the stream says that its rate is fixed.
/// cpu-independent: the same bytes on every processor.
const STREAM: &str = "open-gop=0:8x8dct=1:force-cfr=1:cpu-independent=1";
/// What keeps a slow move going; see "Decisions".
const MOVES: &str = "fast-pskip=0:dct-decimate=0:aq-mode=2";

/// Says why such a file cannot be made, in one line: everything that can be known without a frame, the encoder's own
/// word included.
pub(super) fn preflight(codec: &H264, size: Size, fps: FrameRate) -> Result<(), String> {
    preflight_with(ENCODER, codec, size, fps)
}

/// [`preflight`] with an encoder by FFmpeg's name of it.
fn preflight_with(encoder: &str, codec: &H264, size: Size, fps: FrameRate) -> Result<(), String> {
    let level = allowed::level(codec, size, fps)?;
    present(encoder)?;
    open_encoder(codec, size, fps, level, 1).map(|_| ()).map_err(|fault| format!("the {NAME} encoder: {fault}"))
}

fn present(encoder: &str) -> Result<(), String> {
    if ffmpeg::encoder_exists(encoder) {
        return Ok(());
    }
    Err(format!("this FFmpeg has no {encoder}, which {NAME} needs: install Debian's libavcodec59, which has it"))
}

fn open_encoder(codec: &H264, size: Size, fps: FrameRate, level: Level, threads: usize) -> Result<Encoder, Fault> {
    let mut options = vec![
        ("preset", codec.preset.clone()),
        ("crf", codec.crf.to_string()),
        ("profile", "high".to_owned()),
        ("x264-params", [STREAM, MOVES].join(":")),
    ];
    if let Some(tune) = &codec.tune {
        options.push(("tune", tune.clone()));
    }
    Encoder::open(&EncoderSettings {
        codec: ENCODER,
        format: FrameFormat::BT709,
        size,
        fps,
        group: group(fps),
        level: level.idc,
        threads: threads.clamp(1, MOST_THREADS),
        options: &options,
    })
}

/// One file in the making.
pub(super) struct H264Sink {
    codec: H264,
    size: Size,
    fps: FrameRate,
    level: Level,
    threads: usize,
    sound: Option<Soundtrack>,
    /// The recording whose sound that is.
    recording: Option<PathBuf>,
    cells: Cells,
    stretches: StretchWriter,
}

impl H264Sink {
    /// A sink for what is not whole yet.
    pub(super) fn open(
        codec: &H264,
        (size, fps): (Size, FrameRate),
        sound: Option<Heard<'_>>,
        unfinished: Unfinished,
        stretches: Stretches,
        threads: usize,
    ) -> Result<(Self, Taken), SinkError> {
        let level = allowed::level(codec, size, fps).map_err(refused)?;
        let (stretches, taken) = StretchWriter::open(NAME, unfinished, stretches)?;
        let recording = sound.map(|heard| heard.recording.path.clone());
        let sound = sound.map(Soundtrack::open).transpose().map_err(unheard)?;
        let mut sink = Self {
            codec: codec.clone(),
            size,
            fps,
            level,
            threads,
            sound,
            recording,
            cells: Cells::default(),
            stretches,
        };
        if !sink.stretches.turns().is_over() {
            sink.stretches.begin(sink.encoder()?)?;
        }
        Ok((sink, taken))
    }

    fn encoder(&self) -> Result<Encoder, SinkError> {
        open_encoder(&self.codec, self.size, self.fps, self.level, self.threads)
            .map_err(|fault| refused(fault.to_string()))
    }
}

impl Sink for H264Sink {
    fn kind(&self) -> FrameKind {
        FrameKind::Yuv420
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Met::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        let Pixels::Yuv420 { y, cb, cr } = &frame.pixels else {
            return Err(refused("it takes 4:2:0 frames and was given another kind".to_owned()));
        };
        if frame.size != self.size {
            return Err(refused(format!("it was opened for {} and given a frame of {}", self.size, frame.size)));
        }
        if self.stretches.turns().is_over() {
            return Err(refused("it was given more frames than announced".to_owned()));
        }
        if !self.stretches.is_begun() {
            self.stretches.begin(self.encoder()?)?;
        }
        let regions = self.cells.regions(y, 8, self.size);
        self.stretches.add(known, |encoder| {
            encoder.hint(&regions)?;
            encoder.send([y, cb, cr])
        })
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        let stretches = self.stretches.finish()?;
        let encoder = self.encoder()?;
        let Self { stretches: StretchWriter { unfinished, turns, .. }, size, fps, level, sound, recording, .. } = *self;
        let output = unfinished.output();
        let is_heard = sound.is_some();
        let muxed = mux::mux(&output, &stretches, &encoder, sound, fps, timescale(fps));
        let muxed =
            muxed.map_err(|trouble| not_put_together(NAME, unfinished.target(), recording.as_deref(), trouble))?;
        drop(encoder);
        let Muxed { planes, met, load, remarks, .. } = muxed;
        let frames = planes.len() as u64;
        counted(unfinished.target(), turns.due().unwrap_or(frames), frames)?;
        let heavy = load.level(level);
        if heavy != level {
            mp4::declare_level(&output, heavy.idc).map_err(|source| disk(unfinished.target(), source))?;
        }
        let facts = ffmpeg::read_back(&output, "mov").map_err(|fault| failed(NAME, unfinished.target(), &fault))?;
        counted(unfinished.target(), frames, facts.packets.len() as u64)?;
        let samples = is_heard.then(|| samples_of(frames, fps));
        as_promised(&facts, size, fps, heavy, samples).map_err(refused)?;
        let bytes = unfinished.place_file(|placed| turns.mark(&unfinished, &planes, met, placed))?;
        Ok(Written { path: unfinished.target().to_owned(), frames, bytes, remarks, blake3: None })
    }
}

fn refused(message: String) -> SinkError {
    SinkError::Encoder { codec: NAME, message }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fault 68: no encoder.
    #[test]
    fn a_missing_encoder_is_named_with_what_brings_it() {
        let with =
            |encoder| preflight_with(encoder, &H264::default(), Size::new(64, 48), FrameRate::new(24, 1).unwrap());
        assert_eq!(with(ENCODER), Ok(()));
        let words = "this FFmpeg has no libx266, which H.264 needs: install Debian's libavcodec59, which has it";
        assert_eq!(with("libx266").unwrap_err(), words);
    }
}

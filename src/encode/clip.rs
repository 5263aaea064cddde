//! One file of packets in the making, whatever its codec: exact constant rate, tags in stream and container, index
//! first. Every stretch of frames is encoded by an encoder of its own, opened alike, whether or not a run was
//! interrupted: so the bytes of the file do not tell.
//!
//! ## Decisions
//!
//! - What codecs differ by is a [`Recipe`]; there is one sink.
//! - The track counts in ticks of the rate's numerator (a thousand times that below 10,000), so that every frame lasts
//!   the same whole number of ticks. With the default movie timescale of 1000, lengths at 1000/1001 rates would be
//!   rounded. Matroska counts milliseconds: every frame stands at the nearest.
//! - A file is read back (size, profile, level, tags, every time, length, key frames) before it gets its name.

use super::Goal;
use super::mp4;
use super::mux::{self, Muxed, Words};
use super::recipe::Recipe;
use super::resume::Taken;
use super::soft::Cells;
use super::sound::{Heard, Soundtrack, samples_of, unheard};
use super::stretch::{StretchWriter, counted, failed, not_put_together};
use super::temporary::{Unfinished, disk};
use super::verify::{Promise, as_promised};
use crate::ffi::ffmpeg::{Encoder, Fault};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::units::{FrameRate, Size};
use crate::work::{Known, Met, Sink, SinkError, Stretches, Written};

/// One file in the making.
pub(super) struct ClipSink {
    recipe: Recipe,
    size: Size,
    fps: FrameRate,
    threads: usize,
    words: Words,
    cells: Cells,
    sound: Option<Soundtrack>,
    stretches: StretchWriter,
    end: End,
}

/// What becomes of the stretches in the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// A file with its name.
    Placed,
    /// They stay.
    Left,
    /// A file that is weighed and goes.
    Weighed,
}

impl ClipSink {
    /// A sink for what is not whole yet.
    pub(super) fn open(
        recipe: Recipe,
        (size, fps): (Size, FrameRate),
        (words, sound): (Words, Option<Heard<'_>>),
        unfinished: Unfinished,
        stretches: Stretches,
        threads: usize,
        goal: Goal<'_>,
    ) -> Result<(Self, Taken), SinkError> {
        let (stretches, taken) = StretchWriter::open(recipe.name, unfinished, stretches, goal)?;
        let end = match goal {
            Goal::Whole | Goal::Grown => End::Placed,
            Goal::Some(_) | Goal::Share(_) => End::Left,
            Goal::Weighed => End::Weighed,
        };
        let sound = sound.map(Soundtrack::open).transpose().map_err(unheard)?;
        let cells = Cells::default();
        let mut sink = Self { recipe, size, fps, threads, words, cells, sound, stretches, end };
        if !sink.stretches.turns().is_over() {
            sink.stretches.begin(sink.encoder()?)?;
        }
        Ok((sink, taken))
    }

    fn encoder(&self) -> Result<Encoder, SinkError> {
        let crf = self.stretches.turns().crf();
        self.recipe.open_at(self.size, self.fps, self.threads, crf).map_err(|fault| self.refused(fault.to_string()))
    }

    fn refused(&self, message: String) -> SinkError {
        refused(&self.recipe, message)
    }
}

impl Sink for ClipSink {
    fn kind(&self) -> FrameKind {
        self.recipe.kind
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Met::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        if !is_of(frame, self.recipe.kind) {
            return Err(self.refused("it was given another kind of frame".to_owned()));
        }
        if frame.size != self.size {
            return Err(self.refused(format!("it was opened for {} and given a frame of {}", self.size, frame.size)));
        }
        if self.stretches.turns().is_over() {
            return Err(self.refused("it was given more frames than announced".to_owned()));
        }
        if !self.stretches.is_begun() {
            self.stretches.begin(self.encoder()?)?;
        }
        let regions = match (&frame.pixels, self.recipe.finer) {
            (Pixels::Yuv420 { y, .. }, Some(steps)) => self.cells.regions(y, 8, self.size, steps),
            (Pixels::Yuv10 { y, .. }, Some(steps)) => self.cells.regions(y, 10, self.size, steps),
            _ => Vec::new(),
        };
        self.stretches.add(known, |encoder| {
            encoder.hint(&regions)?;
            send(encoder, frame)
        })
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        if self.end == End::Left {
            self.stretches.settle()?;
            return Ok(Written::left(self.stretches.unfinished.target()));
        }
        let stretches = self.stretches.finish()?;
        let encoder = self.encoder()?;
        let Self { stretches: StretchWriter { unfinished, turns, .. }, recipe, size, fps, words, sound, end, .. } =
            *self;
        let (output, target) = (unfinished.output(), unfinished.target());
        let is_heard = sound.is_some();
        let muxed = mux::mux(&output, &stretches, &encoder, sound, fps, &recipe, &words);
        let muxed = muxed.map_err(|trouble| not_put_together(recipe.name, target, trouble))?;
        drop(encoder);
        let Muxed { planes, met, load, remarks, .. } = muxed;
        let frames = planes.len() as u64;
        counted(target, turns.due().unwrap_or(frames), frames)?;
        if end == End::Weighed {
            let bytes = std::fs::metadata(&output).map_err(|source| disk(&output, source))?.len();
            return Ok(Written { path: target.to_owned(), frames, bytes, remarks, blake3: None });
        }
        let declared = load.lightest();
        let declaration = recipe.declarations.get(declared);
        if let Some(heavier) = declaration.filter(|_| declared > 0) {
            mp4::declare(&output, heavier).map_err(|source| disk(target, source))?;
        }
        let facts = recipe.container.read_back(&output).map_err(|fault| failed(recipe.name, target, &fault))?;
        counted(target, frames, facts.packets.len() as u64)?;
        let sound = is_heard.then(|| samples_of(frames, fps));
        let timecode = words.timecode.is_some();
        as_promised(
            &facts,
            &Promise { recipe: &recipe, size, fps, declaration, sound, timecode, chapters: &words.chapters },
        )
        .map_err(|why| refused(&recipe, why))?;
        let bytes = unfinished.place_file(|placed| turns.mark(&unfinished, &planes, met, placed))?;
        Ok(Written { path: target.to_owned(), frames, bytes, remarks, blake3: None })
    }
}

fn refused(recipe: &Recipe, message: String) -> SinkError {
    SinkError::Encoder { codec: recipe.name, message }
}

/// Hands a frame's samples to an encoder.
fn send(encoder: &mut Encoder, frame: &Frame) -> Result<(), Fault> {
    match &frame.pixels {
        Pixels::Yuv420 { y, cb, cr } => encoder.send([y, cb, cr]),
        Pixels::Yuv10 { y, cb, cr, .. } => encoder.send_rows(|plane, row, out| {
            let (bytes, _) = out.as_chunks_mut::<2>();
            let samples = &[y, cb, cr][plane][row * bytes.len()..];
            for (bytes, sample) in bytes.iter_mut().zip(samples) {
                *bytes = sample.to_le_bytes();
            }
        }),
        // FFmpeg's planes of R'G'B' are green, blue and red.
        Pixels::Rgb16(samples) => encoder.send_rows(|plane, row, out| {
            let (bytes, _) = out.as_chunks_mut::<2>();
            let pixels = &samples[row * 3 * bytes.len()..];
            for (bytes, sample) in bytes.iter_mut().zip(pixels.iter().skip([1, 2, 0][plane]).step_by(3)) {
                *bytes = sample.to_le_bytes();
            }
        }),
        Pixels::Rgb8(_) | Pixels::Planes(_) => unreachable!("no recipe is for such frames"),
    }
}

/// Whether a frame is of a kind.
fn is_of(frame: &Frame, kind: FrameKind) -> bool {
    match (&frame.pixels, kind) {
        (Pixels::Yuv420 { .. }, FrameKind::Yuv420) | (Pixels::Rgb16(_), FrameKind::Rgb16) => true,
        (Pixels::Yuv10 { chroma, .. }, FrameKind::Yuv10(due)) => *chroma == due,
        _ => false,
    }
}

//! A sequence of picture files, `000000.png` on, compressed by a few workers of the sink's own. Whichever of them ends
//! a stretch writes a record of its files.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

use crossbeam_channel::{Receiver, Sender};

use super::frames::{Frames, Pile};
use super::resume::{Taken, Turns};
use super::temporary::{Beginnings, Unfinished, disk};
use super::{Goal, jpeg, png, tiff};
use crate::decode::clip::{ending_of, frame_in};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::shot::{Jpeg, Png};
use crate::units::Size;
use crate::work::{Known, Met, Sink, SinkError, Stretches, Written};

/// Frames that wait for a worker at most.
const WAITING: usize = 2;

/// What kind of file each frame becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FileKind {
    Png(Png),
    Tiff,
    Jpeg(Jpeg),
}

impl FileKind {
    /// How messages name it.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Png(_) => png::NAME,
            Self::Tiff => tiff::NAME,
            Self::Jpeg(_) => jpeg::NAME,
        }
    }

    /// How names of its files end.
    pub(super) fn ending(self) -> &'static str {
        ending_of(match self {
            Self::Png(_) => "png",
            Self::Tiff => "tiff",
            Self::Jpeg(_) => "jpeg",
        })
    }

    /// What kind of frame it is made of.
    pub(super) fn kind(self) -> FrameKind {
        match self {
            Self::Png(Png { depth: 8 }) | Self::Jpeg(_) => FrameKind::Rgb8,
            Self::Png(_) | Self::Tiff => FrameKind::Rgb16,
        }
    }

    /// Says why such a sequence cannot be made, in one line.
    pub(super) fn preflight(self, size: Size) -> Result<(), String> {
        let longest = match self {
            Self::Png(_) => png::LONGEST,
            Self::Tiff => tiff::longest(size),
            Self::Jpeg(_) => jpeg::LONGEST,
        };
        let sides = 1..=longest;
        if sides.contains(&size.width) && sides.contains(&size.height) {
            return Ok(());
        }
        Err(format!("a frame of {size} pixels: each side of a {} is 1 to {longest} pixels", self.name()))
    }

    /// A file's bytes, of samples as they lie in it.
    fn write(self, path: &std::path::Path, size: Size, samples: &[u8]) -> Result<blake3::Hash, SinkError> {
        match self {
            Self::Png(Png { depth }) => png::write_file(path, size, depth, samples),
            Self::Tiff => tiff::write_file(path, size, samples),
            Self::Jpeg(Jpeg { quality }) => jpeg::write_file(path, size, quality, samples),
        }
    }
}

/// One frame on its way to its file: samples as its file has them, rows without padding.
struct Job {
    index: u64,
    samples: Vec<u8>,
    pile: Arc<Pile>,
}

/// The first thing that went wrong in any worker.
type FirstFault = Arc<Mutex<Option<SinkError>>>;

/// One sequence in the making.
pub(super) struct SequenceSink {
    jobs: Option<Sender<Job>>,
    spare: Receiver<Vec<u8>>,
    workers: Vec<JoinHandle<()>>,
    fault: FirstFault,
    file: FileKind,
    size: Size,
    turns: Turns,
    /// The stretch in the making, and BLAKE3 of the planes of its frames so far.
    pile: Arc<Pile>,
    planes: Vec<blake3::Hash>,
    failed: bool,
    /// Whether its stretches stay, and no folder gets its name.
    is_left: bool,
    /// Cleared of what is not whole after the workers have gone.
    frames: Frames,
}

impl SequenceSink {
    /// A sink for the frames that are not there yet.
    pub(super) fn open(
        file: FileKind,
        size: Size,
        unfinished: Unfinished,
        stretches: Stretches,
        threads: usize,
        goal: Goal<'_>,
    ) -> Result<(Self, Taken), SinkError> {
        let (frames, taken) = Frames::open(unfinished, file.ending(), &stretches, goal)?;
        let mut turns = Turns::new(stretches, &taken);
        let is_left = goal.which().is_some();
        if let Some(which) = goal.which() {
            turns.only(which);
        }
        let count = threads.max(1);
        let (jobs, queue) = crossbeam_channel::bounded::<Job>(WAITING);
        let (give_back, spare) = crossbeam_channel::bounded(count + WAITING);
        for _ in 0..count + WAITING {
            let _has_room = give_back.try_send(Vec::new());
        }
        let fault = FirstFault::default();
        let pile = Arc::new(frames.pile(&turns));
        let mut sink = Self {
            jobs: Some(jobs),
            spare,
            workers: Vec::new(),
            fault,
            file,
            size,
            turns,
            pile,
            planes: Vec::new(),
            failed: false,
            is_left,
            frames,
        };
        for _ in 0..count {
            let worker = Worker {
                folder: sink.frames.folder(),
                beginnings: sink.frames.beginnings(),
                file,
                size,
                queue: queue.clone(),
                give_back: give_back.clone(),
                fault: Arc::clone(&sink.fault),
            };
            let started = thread::Builder::new().name(file.ending().into()).spawn(move || worker.run());
            sink.workers.push(started.map_err(|source| disk(sink.frames.target(), source))?);
        }
        Ok((sink, taken))
    }

    /// Fails with what went wrong in a worker, and from then on always.
    fn healthy(&mut self) -> Result<(), SinkError> {
        if self.failed {
            return Err(self.stopped());
        }
        let fault = self.fault.lock().unwrap_or_else(PoisonError::into_inner).take();
        self.failed = fault.is_some();
        fault.map_or(Ok(()), Err)
    }

    fn stopped(&self) -> SinkError {
        self.refused("its workers have stopped".to_owned())
    }

    fn refused(&self, message: String) -> SinkError {
        SinkError::Encoder { codec: self.file.name(), message }
    }

    /// Lets the workers end and waits for them.
    fn join(&mut self) -> Result<(), SinkError> {
        drop(self.jobs.take());
        let mut whole = true;
        for worker in self.workers.drain(..) {
            whole &= worker.join().is_ok();
        }
        self.healthy()?;
        if whole { Ok(()) } else { Err(self.stopped()) }
    }
}

impl Sink for SequenceSink {
    fn kind(&self) -> FrameKind {
        self.file.kind()
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Met::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        if frame.size != self.size {
            return Err(self.refused(format!("it was opened for {} and given a frame of {}", self.size, frame.size)));
        }
        self.healthy()?;
        if self.turns.is_over() {
            return Err(self.refused("it was given more frames than announced".to_owned()));
        }
        let mut buffer = self.spare.recv().map_err(|_no_worker_left| self.stopped())?;
        match (&frame.pixels, self.file.kind()) {
            (Pixels::Rgb16(samples), FrameKind::Rgb16) => {
                buffer.resize(2 * samples.len(), 0);
                let little = self.file == FileKind::Tiff;
                for (bytes, sample) in buffer.as_chunks_mut().0.iter_mut().zip(samples) {
                    *bytes = if little { sample.to_le_bytes() } else { sample.to_be_bytes() };
                }
            }
            (Pixels::Rgb8(samples), FrameKind::Rgb8) => {
                buffer.clear();
                buffer.extend_from_slice(samples);
            }
            _ => return Err(self.refused("it was given another kind of frame".to_owned())),
        }
        let index = (self.turns.rows().start + self.planes.len()) as u64;
        let job = Job { index, samples: buffer, pile: Arc::clone(&self.pile) };
        self.planes.push(known.hash);
        let ends = self.planes.len() == self.turns.rows().len();
        if ends {
            self.pile.close(&self.planes, (known.met)().among(self.turns.slots()));
        }
        let jobs = self.jobs.as_ref().ok_or_else(|| self.stopped())?;
        jobs.send(job).map_err(|_no_worker_left| self.stopped())?;
        if ends {
            self.planes.clear();
            self.turns.next();
            self.pile = Arc::new(self.frames.pile(&self.turns));
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        self.join()?;
        if self.is_left {
            return Ok(Written::left(self.frames.target()));
        }
        let given = self.turns.rows().start + self.planes.len();
        let frames = if self.turns.is_over() { self.turns.due().unwrap_or(0) } else { given as u64 };
        if frames == 0 {
            return Err(self.refused("no frame was given".to_owned()));
        }
        let (bytes, blake3) = self.frames.place(&self.turns, frames)?;
        Ok(Written { path: self.frames.target().to_owned(), frames, bytes, remarks: Vec::new(), blake3 })
    }
}

impl Drop for SequenceSink {
    fn drop(&mut self) {
        // No worker may write into the folder while it is being cleared.
        let _nobody_to_tell = self.join();
    }
}

struct Worker {
    folder: PathBuf,
    beginnings: Beginnings,
    file: FileKind,
    size: Size,
    queue: Receiver<Job>,
    give_back: Sender<Vec<u8>>,
    fault: FirstFault,
}

impl Worker {
    fn run(self) {
        let mut failed = false;
        for Job { index, samples, pile } in &self.queue {
            if !failed {
                let (path, beginning) =
                    (frame_in(&self.folder, index, self.file.ending()), self.beginnings.frame(index));
                let written = self.file.write(&beginning, self.size, &samples).and_then(|hash| {
                    let whole = self.beginnings.end(&beginning, &path);
                    whole.and_then(|()| pile.add(index, hash, &self.folder)).map_err(|source| disk(&path, source))
                });
                if let Err(fault) = written {
                    failed = true;
                    self.fault.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(fault);
                }
            }
            let _sink_is_gone = self.give_back.try_send(samples);
        }
    }
}

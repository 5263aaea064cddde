//! A sequence of 16-bit RGB PNG files, `000000.png` on, compressed by a few workers of the sink's own. Whichever of
//! them ends a stretch writes a record of its files.

use std::fs::File;
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

use crossbeam_channel::{Receiver, Sender};

use super::frames::{Frames, Pile};
use super::resume::{Taken, Turns};
use super::temporary::{Unfinished, disk, frame_in};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::units::Size;
use crate::work::{Known, Met, Sink, SinkError, Stretches, Written};

/// Longest side of a PNG (PNG Specification, third edition, 11.2.1: a four-byte integer below 2^31).
const LONGEST: u32 = (1 << 31) - 1;

/// Frames that wait for a worker at most.
const WAITING: usize = 2;

/// Says why such a sequence cannot be made, in one line.
pub(super) fn preflight(size: Size) -> Result<(), String> {
    let sides = 1..=LONGEST;
    if sides.contains(&size.width) && sides.contains(&size.height) {
        return Ok(());
    }
    Err(format!("a frame of {size} pixels: each side of a PNG is 1 to {LONGEST} pixels"))
}

/// One frame on its way to its file: big-endian samples, rows without padding.
struct Job {
    index: u64,
    samples: Vec<u8>,
    pile: Arc<Pile>,
}

/// The first thing that went wrong in any worker.
type FirstFault = Arc<Mutex<Option<SinkError>>>;

/// One sequence in the making.
pub(super) struct PngSink {
    jobs: Option<Sender<Job>>,
    spare: Receiver<Vec<u8>>,
    workers: Vec<JoinHandle<()>>,
    fault: FirstFault,
    size: Size,
    turns: Turns,
    /// The stretch in the making, and BLAKE3 of the planes of its frames so far.
    pile: Arc<Pile>,
    planes: Vec<blake3::Hash>,
    failed: bool,
    /// Cleared of what is not whole after the workers have gone.
    frames: Frames,
}

impl PngSink {
    /// A sink for the frames that are not there yet.
    pub(super) fn open(
        size: Size,
        unfinished: Unfinished,
        stretches: Stretches,
        threads: usize,
    ) -> Result<(Self, Taken), SinkError> {
        let (frames, taken) = Frames::open(unfinished, &stretches)?;
        let turns = Turns::new(stretches, &taken);
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
            size,
            turns,
            pile,
            planes: Vec::new(),
            failed: false,
            frames,
        };
        for _ in 0..count {
            let worker = Worker {
                folder: sink.frames.folder(),
                size,
                queue: queue.clone(),
                give_back: give_back.clone(),
                fault: Arc::clone(&sink.fault),
            };
            let started = thread::Builder::new().name("png".into()).spawn(move || worker.run());
            sink.workers.push(started.map_err(|source| disk(sink.frames.target(), source))?);
        }
        Ok((sink, taken))
    }

    /// Fails with what went wrong in a worker, and from then on always.
    fn healthy(&mut self) -> Result<(), SinkError> {
        if self.failed {
            return Err(stopped());
        }
        let fault = self.fault.lock().unwrap_or_else(PoisonError::into_inner).take();
        self.failed = fault.is_some();
        fault.map_or(Ok(()), Err)
    }

    /// Lets the workers end and waits for them.
    fn join(&mut self) -> Result<(), SinkError> {
        drop(self.jobs.take());
        let mut whole = true;
        for worker in self.workers.drain(..) {
            whole &= worker.join().is_ok();
        }
        self.healthy()?;
        if whole { Ok(()) } else { Err(stopped()) }
    }
}

impl Sink for PngSink {
    fn kind(&self) -> FrameKind {
        FrameKind::Rgb16
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Met::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        let Pixels::Rgb16(samples) = &frame.pixels else {
            return Err(refused("it takes 16-bit RGB frames and was given another kind".to_owned()));
        };
        if frame.size != self.size {
            return Err(refused(format!("it was opened for {} and given a frame of {}", self.size, frame.size)));
        }
        self.healthy()?;
        if self.turns.is_over() {
            return Err(refused("it was given more frames than announced".to_owned()));
        }
        let mut buffer = self.spare.recv().map_err(|_no_worker_left| stopped())?;
        buffer.resize(2 * samples.len(), 0);
        for (bytes, sample) in buffer.as_chunks_mut().0.iter_mut().zip(samples) {
            *bytes = sample.to_be_bytes();
        }
        let index = (self.turns.rows().start + self.planes.len()) as u64;
        let job = Job { index, samples: buffer, pile: Arc::clone(&self.pile) };
        self.planes.push(known.hash);
        let ends = self.planes.len() == self.turns.rows().len();
        if ends {
            self.pile.close(&self.planes, (known.met)().among(self.turns.slots()));
        }
        let jobs = self.jobs.as_ref().ok_or_else(stopped)?;
        jobs.send(job).map_err(|_no_worker_left| stopped())?;
        if ends {
            self.planes.clear();
            self.turns.next();
            self.pile = Arc::new(self.frames.pile(&self.turns));
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        self.join()?;
        let given = self.turns.rows().start + self.planes.len();
        let frames = if self.turns.is_over() { self.turns.due().unwrap_or(0) } else { given as u64 };
        if frames == 0 {
            return Err(refused("no frame was given".to_owned()));
        }
        let (bytes, blake3) = self.frames.place(&self.turns, frames)?;
        Ok(Written { path: self.frames.target().to_owned(), frames, bytes, remarks: Vec::new(), blake3 })
    }
}

impl Drop for PngSink {
    fn drop(&mut self) {
        // No worker may write into the folder while it is being cleared.
        let _nobody_to_tell = self.join();
    }
}

struct Worker {
    folder: PathBuf,
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
                let path = frame_in(&self.folder, index);
                let written = write_file(&path, self.size, &samples)
                    .and_then(|hash| pile.add(index, hash, &self.folder).map_err(|source| disk(&path, source)));
                if let Err(fault) = written {
                    failed = true;
                    self.fault.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(fault);
                }
            }
            let _sink_is_gone = self.give_back.try_send(samples);
        }
    }
}

/// Writes to a file and hashes what it writes.
struct Hashed {
    file: File,
    hasher: blake3::Hasher,
}

impl io::Write for Hashed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hasher.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// One 16-bit RGB file, marked sRGB; BLAKE3 of its bytes. `samples` are big-endian.
pub(super) fn write_file(path: &Path, size: Size, samples: &[u8]) -> Result<blake3::Hash, SinkError> {
    let encoded = || -> Result<blake3::Hash, png::EncodingError> {
        let mut file = BufWriter::new(Hashed { file: File::create_new(path)?, hasher: blake3::Hasher::new() });
        let mut encoder = png::Encoder::new(&mut file, size.width, size.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Sixteen);
        encoder.set_compression(png::Compression::Fast);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(samples)?;
        writer.finish()?;
        file.flush()?;
        Ok(file.get_ref().hasher.finalize())
    };
    encoded().map_err(|error| match error {
        png::EncodingError::IoError(source) => disk(path, source),
        other => refused(other.to_string()),
    })
}

fn stopped() -> SinkError {
    refused("its workers have stopped".to_owned())
}

fn refused(message: String) -> SinkError {
    SinkError::Encoder { codec: "PNG", message }
}

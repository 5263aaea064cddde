//! A sequence of 16-bit RGB PNG files, `000000.png` on, compressed by a few workers of the sink's own.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

use crossbeam_channel::{Receiver, Sender};

use super::temporary::{TemporaryFolder, disk};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::units::Size;
use crate::work::{Sink, SinkError, Written};

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
}

/// The first thing that went wrong in any worker.
type FirstFault = Arc<Mutex<Option<SinkError>>>;

/// One sequence in the making.
pub(super) struct PngSink {
    jobs: Option<Sender<Job>>,
    spare: Receiver<Vec<u8>>,
    workers: Vec<JoinHandle<()>>,
    fault: FirstFault,
    folder: Option<TemporaryFolder>,
    path: PathBuf,
    size: Size,
    given: u64,
    failed: bool,
}

impl PngSink {
    pub(super) fn open(size: Size, path: &Path, threads: usize) -> Result<Self, SinkError> {
        let folder = TemporaryFolder::create(path)?;
        let unfinished = folder.path().to_owned();
        let count = threads.max(1);
        let (jobs, queue) = crossbeam_channel::bounded::<Job>(WAITING);
        let (give_back, spare) = crossbeam_channel::bounded(count + WAITING);
        for _ in 0..count + WAITING {
            let _has_room = give_back.try_send(Vec::new());
        }
        let fault = FirstFault::default();
        let mut sink = Self {
            jobs: Some(jobs),
            spare,
            workers: Vec::new(),
            fault,
            folder: Some(folder),
            path: path.to_owned(),
            size,
            given: 0,
            failed: false,
        };
        for _ in 0..count {
            let worker = Worker {
                folder: unfinished.clone(),
                size,
                queue: queue.clone(),
                give_back: give_back.clone(),
                fault: Arc::clone(&sink.fault),
            };
            let started = thread::Builder::new().name("png".into()).spawn(move || worker.run());
            sink.workers.push(started.map_err(|source| disk(path, source))?);
        }
        Ok(sink)
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
        let Pixels::Rgb16(samples) = &frame.pixels else {
            return Err(refused("it takes 16-bit RGB frames and was handed another kind".to_owned()));
        };
        if frame.size != self.size {
            return Err(refused(format!("it was opened for {} and handed a frame of {}", self.size, frame.size)));
        }
        self.healthy()?;
        let mut buffer = self.spare.recv().map_err(|_no_worker_left| stopped())?;
        buffer.resize(2 * samples.len(), 0);
        for (bytes, sample) in buffer.as_chunks_mut().0.iter_mut().zip(samples) {
            *bytes = sample.to_be_bytes();
        }
        let job = Job { index: self.given, samples: buffer };
        let jobs = self.jobs.as_ref().ok_or_else(stopped)?;
        jobs.send(job).map_err(|_no_worker_left| stopped())?;
        self.given += 1;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        self.join()?;
        if self.given == 0 {
            return Err(refused("no frame was given".to_owned()));
        }
        let folder = self.folder.take().ok_or_else(stopped)?;
        let bytes = folder.keep(self.given)?;
        Ok(Written { path: self.path.clone(), frames: self.given, bytes, remarks: Vec::new() })
    }
}

impl Drop for PngSink {
    fn drop(&mut self) {
        // No worker may write into the folder while it is being removed.
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
        for job in &self.queue {
            if !failed {
                let path = TemporaryFolder::frame(&self.folder, job.index);
                if let Err(fault) = write_file(&path, self.size, &job.samples) {
                    failed = true;
                    self.fault.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(fault);
                }
            }
            let _sink_is_gone = self.give_back.try_send(job.samples);
        }
    }
}

/// One 16-bit RGB file, marked sRGB. `samples` are big-endian.
pub(super) fn write_file(path: &Path, size: Size, samples: &[u8]) -> Result<(), SinkError> {
    let encoded = || -> Result<(), png::EncodingError> {
        let mut file = BufWriter::new(File::create_new(path)?);
        let mut encoder = png::Encoder::new(&mut file, size.width, size.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Sixteen);
        encoder.set_compression(png::Compression::Fast);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(samples)?;
        writer.finish()?;
        file.flush()?;
        Ok(())
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

//! H.264 in MP4: libx264, High profile, exact constant rate, tags in stream and container, index first. Every stretch of frames is
//! encoded by an encoder of its own, opened alike, whether or not a run was interrupted: so the bytes of the file do not tell.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};

use super::level::Level;
use super::mux::{self, Muxed, Packets, Trouble};
use super::record::{self, Record, Writer};
use super::resume::{Taken, Turns};
use super::sound::{Heard, Soundtrack, samples_of, unheard};
use super::temporary::{Unfinished, disk, sync_parent};
use super::verify::as_promised;
use super::{allowed, mp4};
use crate::ffi::ffmpeg::{self, Encoder, EncoderSettings, Fault, Packet};
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
/// Seconds from one key frame to the next at most.
const GROUP_SECONDS: u32 = 2;
/// Seconds of the clip that an interrupted run loses at most.
const STRETCH_SECONDS: u32 = 10;

/// Says why such a file cannot be made, in one line: everything that can be known without a frame, the encoder's own word
/// included.
pub(super) fn preflight(codec: &H264, size: Size, fps: FrameRate) -> Result<(), String> {
    preflight_with(ENCODER, codec, size, fps)
}

/// [`preflight`] with an encoder by FFmpeg's name of it.
fn preflight_with(encoder: &str, codec: &H264, size: Size, fps: FrameRate) -> Result<(), String> {
    let level = allowed::level(codec, size, fps)?;
    present(encoder)?;
    open_encoder(codec, size, fps, level, 1).map(|_| ()).map_err(|fault| format!("the {NAME} encoder: {fault}"))
}

/// Most frames from one key frame to the next: [`GROUP_SECONDS`], rounded down.
pub(super) fn group(fps: FrameRate) -> u32 {
    (GROUP_SECONDS * fps.numerator() / fps.denominator()).max(1)
}

/// Frames of a stretch: groups of pictures, about [`STRETCH_SECONDS`] long.
pub(super) fn stretch(fps: FrameRate) -> usize {
    (group(fps) * STRETCH_SECONDS.div_ceil(GROUP_SECONDS)) as usize
}

/// Ticks a second: a whole number of them a frame, and enough for players that want milliseconds.
pub(super) fn timescale(fps: FrameRate) -> u32 {
    if fps.numerator() < 10_000 { fps.numerator() * 1000 } else { fps.numerator() }
}

fn present(encoder: &str) -> Result<(), String> {
    if ffmpeg::encoder_exists(encoder) {
        return Ok(());
    }
    Err(format!("this FFmpeg has no {encoder}, which {NAME} is made with: install Debian's libavcodec59, which has it"))
}

fn open_encoder(codec: &H264, size: Size, fps: FrameRate, level: Level, threads: usize) -> Result<Encoder, Fault> {
    let mut options = vec![
        ("preset", codec.preset.clone()),
        ("crf", codec.crf.to_string()),
        ("profile", "high".to_owned()),
        // 8x8dct: without it (preset ultrafast) the stream is not High. force-cfr: the stream says that its rate is fixed.
        // cpu-independent: the same bytes on every processor.
        ("x264-params", "open-gop=0:8x8dct=1:force-cfr=1:cpu-independent=1".to_owned()),
    ];
    if let Some(tune) = &codec.tune {
        options.push(("tune", tune.clone()));
    }
    Encoder::open(&EncoderSettings {
        codec: ENCODER,
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
    packet: Packet,
    turns: Turns,
    making: Option<Making>,
    settling: Settling,
    sound: Option<Soundtrack>,
    /// The recording whose sound that is.
    recording: Option<PathBuf>,
    unfinished: Unfinished,
}

/// The stretch in the making.
struct Making {
    encoder: Encoder,
    writer: Writer,
    planes: Vec<blake3::Hash>,
    got: u64,
    /// When its first packet is decoded, in frames.
    first: Option<i64>,
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
        let target = unfinished.target();
        if target.is_dir() {
            return Err(disk(target, io::Error::other("a folder is in the way of this file")));
        }
        let packet = Packet::new().map_err(|fault| failed(unfinished.target(), &fault))?;
        let recording = sound.map(|heard| heard.recording.path.clone());
        let sound = sound.map(Soundtrack::open).transpose().map_err(unheard)?;
        let mut taken = Taken::default();
        for (index, stretch) in stretches.each.iter().enumerate() {
            if let Some((record, _packets)) = record::whole::<Packets>(&unfinished.stretch(index))
                && record.fits(&stretch.key.get(&Met::default()), stretch.rows.len())
            {
                taken.add(index, record);
            }
        }
        let turns = Turns::new(stretches, &taken);
        let mut sink = Self {
            codec: codec.clone(),
            size,
            fps,
            level,
            threads,
            packet,
            turns,
            making: None,
            settling: Settling(None),
            sound,
            recording,
            unfinished,
        };
        if !sink.turns.is_over() {
            sink.making = Some(sink.begin()?);
        }
        Ok((sink, taken))
    }

    fn encoder(&self) -> Result<Encoder, SinkError> {
        open_encoder(&self.codec, self.size, self.fps, self.level, self.threads).map_err(|fault| refused(fault.to_string()))
    }

    /// Begins the stretch whose turn it is.
    fn begin(&self) -> Result<Making, SinkError> {
        let encoder = self.encoder()?;
        let writer = Writer::create(&self.unfinished.beginning(self.turns.index())).map_err(|source| self.disk(source))?;
        Ok(Making { encoder, writer, planes: Vec::with_capacity(self.turns.rows().len()), got: 0, first: None })
    }

    fn keep_packets(&mut self, making: &mut Making) -> Result<(), SinkError> {
        while making.encoder.receive(&mut self.packet).map_err(|fault| self.failed(&fault))? {
            making.first.get_or_insert(self.packet.times().1);
            mux::keep(&self.packet, &mut making.writer).map_err(|source| self.disk(source))?;
            making.got += 1;
        }
        Ok(())
    }

    /// Makes a stretch whole. It is there for the next run at once; that it survives a power cut is seen to aside.
    fn end(&mut self, mut making: Making, met: Met) -> Result<(), SinkError> {
        making.encoder.flush().map_err(|fault| self.failed(&fault))?;
        self.keep_packets(&mut making)?;
        counted(self.unfinished.target(), making.planes.len() as u64, making.got)?;
        let packets = Packets { delay: -making.first.unwrap_or(0), extradata: making.encoder.extradata().to_vec() };
        let key = self.turns.key().get(&met);
        let record = Record::new(&key, &making.planes, met.among(self.turns.slots()), packets);
        let file = making.writer.finish(&record).map_err(|source| self.disk(source))?;
        let whole = self.unfinished.stretch(self.turns.index());
        fs::rename(self.unfinished.beginning(self.turns.index()), &whole).map_err(|source| self.disk(source))?;
        self.turns.next();
        self.settling.wait().map_err(|source| self.disk(source))?;
        self.settling = Settling::begin(file, whole).map_err(|source| self.disk(source))?;
        Ok(())
    }

    fn disk(&self, source: io::Error) -> SinkError {
        disk(self.unfinished.target(), source)
    }

    fn failed(&self, fault: &Fault) -> SinkError {
        failed(self.unfinished.target(), fault)
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
            return Err(refused("it takes 4:2:0 frames and was handed another kind".to_owned()));
        };
        if frame.size != self.size {
            return Err(refused(format!("it was opened for {} and handed a frame of {}", self.size, frame.size)));
        }
        if self.turns.is_over() {
            return Err(refused("it was handed a frame more than there are".to_owned()));
        }
        let mut making = match self.making.take() {
            Some(making) => making,
            None => self.begin()?,
        };
        making.planes.push(known.hash);
        making.encoder.send([y, cb, cr]).map_err(|fault| self.failed(&fault))?;
        if making.planes.len() == self.turns.rows().len() {
            return self.end(making, (known.met)());
        }
        self.keep_packets(&mut making)?;
        self.making = Some(making);
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        if let Some(making) = self.making.take().filter(|making| !making.planes.is_empty()) {
            self.end(making, Met::default())?;
        }
        self.settling.wait().map_err(|source| self.disk(source))?;
        let stretches: Vec<_> = (0..self.turns.index()).map(|index| self.unfinished.stretch(index)).collect();
        if stretches.is_empty() {
            return Err(refused("no frame was given".to_owned()));
        }
        let encoder = self.encoder()?;
        let Self { unfinished, size, fps, level, turns, sound, recording, .. } = *self;
        let output = unfinished.output();
        let is_heard = sound.is_some();
        let muxed = mux::mux(&output, &stretches, &encoder, sound, fps, timescale(fps)).map_err(|trouble| match trouble {
            Trouble::Ffmpeg(fault) => failed(unfinished.target(), &fault),
            Trouble::Stretch(path, what) => disk(&path, io::Error::new(io::ErrorKind::InvalidData, what)),
            Trouble::Unread(unread) => {
                SinkError::Unheard { recording: recording.unwrap_or_default(), second: unread.from, why: unread.why }
            }
        })?;
        drop(encoder);
        let Muxed { planes, met, load, remarks } = muxed;
        let frames = planes.len() as u64;
        counted(unfinished.target(), turns.due().unwrap_or(frames), frames)?;
        let heavy = load.level(level);
        if heavy != level {
            mp4::declare_level(&output, heavy.idc).map_err(|source| disk(unfinished.target(), source))?;
        }
        let facts = ffmpeg::read_back(&output, "mov").map_err(|fault| failed(unfinished.target(), &fault))?;
        counted(unfinished.target(), frames, facts.packets.len() as u64)?;
        let samples = is_heard.then(|| samples_of(frames, fps));
        as_promised(&facts, size, fps, heavy, samples).map_err(refused)?;
        let bytes = unfinished.place_file(|placed| turns.mark(&unfinished, &planes, met, placed))?;
        Ok(Written { path: unfinished.target().to_owned(), frames, bytes, remarks, blake3: None })
    }
}

/// The stretch before, on its way to the disk: it must be there before the folder is let go.
struct Settling(Option<JoinHandle<io::Result<()>>>);

impl Settling {
    fn begin(file: fs::File, path: PathBuf) -> io::Result<Self> {
        let settle = move || {
            file.sync_all()?;
            sync_parent(&path);
            Ok(())
        };
        thread::Builder::new().name("sync".into()).spawn(settle).map(|thread| Self(Some(thread)))
    }

    /// Waits until the stretch is on the disk for good.
    fn wait(&mut self) -> io::Result<()> {
        let Some(thread) = self.0.take() else { return Ok(()) };
        thread.join().unwrap_or_else(|_panic| Err(io::Error::other("a stretch could not be kept")))
    }
}

impl Drop for Settling {
    fn drop(&mut self) {
        let _nobody_to_tell = self.wait();
    }
}

fn counted(path: &Path, given: u64, got: u64) -> Result<(), SinkError> {
    if given == got { Ok(()) } else { Err(SinkError::Count { path: path.to_owned(), given, got }) }
}

/// What FFmpeg says, told apart: the disk, or the encoder.
fn failed(path: &Path, fault: &Fault) -> SinkError {
    match fault.system() {
        Some(source) => disk(path, source),
        None => refused(fault.to_string()),
    }
}

fn refused(message: String) -> SinkError {
    SinkError::Encoder { codec: NAME, message }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_lost_or_made_up_are_counted() {
        let path = Path::new("clips/harbour-wide.mp4");
        assert!(counted(path, 480, 480).is_ok());
        for got in [479, 481, 0] {
            let words = format!("clips/harbour-wide.mp4: 480 frames were given and {got} came out");
            assert_eq!(counted(path, 480, got).unwrap_err().to_string(), words);
        }
    }

    #[test]
    fn a_missing_encoder_is_named_with_what_brings_it() {
        let with = |encoder| preflight_with(encoder, &H264::default(), Size::new(64, 48), FrameRate::new(24, 1).unwrap());
        assert_eq!(with(ENCODER), Ok(()));
        let words = "this FFmpeg has no libx266, which H.264 is made with: install Debian's libavcodec59, which has it";
        assert_eq!(with("libx266").unwrap_err(), words);
    }

    #[test]
    fn a_group_lasts_two_seconds_at_most_and_one_frame_at_least() {
        for (rate, frames) in
            [("24", 48), ("24000/1001", 47), ("30000/1001", 59), ("60", 120), ("1/2", 1), ("1/10", 1), ("480", 960)]
        {
            assert_eq!(group(rate.parse().unwrap()), frames, "{rate}");
        }
    }

    #[test]
    fn a_frame_is_a_whole_number_of_ticks() {
        for (rate, ticks) in [("24", 24_000), ("25", 25_000), ("30000/1001", 30_000), ("1/2", 1000), ("120000/1001", 120_000)] {
            let fps: FrameRate = rate.parse().unwrap();
            assert_eq!(timescale(fps), ticks, "{rate}");
            assert_eq!(timescale(fps) % fps.numerator(), 0);
        }
    }
}

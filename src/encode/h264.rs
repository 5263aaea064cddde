//! H.264 in MP4: libx264, High profile, exact constant rate, tags in stream and container, index first.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::level::{Level, Load};
use super::sound::{Soundtrack, samples_of, ticks_of_both, unheard};
use super::temporary::{TemporaryFile, disk};
use super::verify::as_promised;
use super::{allowed, mp4};
use crate::ffi::ffmpeg::{self, Encoder, EncoderSettings, Fault, Muxer, MuxerSettings, Packet};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::plan::Passage;
use crate::shoot::Recording;
use crate::shot::H264;
use crate::units::{FrameRate, Size};
use crate::work::{Sink, SinkError, Written};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "libx264";
/// How messages name the codec.
const NAME: &str = "H.264";
/// Most threads libx264 is given; beyond it FFmpeg warns that quality suffers.
const MOST_THREADS: usize = 16;
/// Seconds from one key frame to the next at most.
const GROUP_SECONDS: u32 = 2;

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
    encoder: Encoder,
    muxer: Muxer,
    packet: Packet,
    file: TemporaryFile,
    path: PathBuf,
    size: Size,
    fps: FrameRate,
    level: Level,
    load: Load,
    sound: Option<Soundtrack>,
    given: u64,
    got: u64,
}

impl H264Sink {
    pub(super) fn open(
        codec: &H264,
        size: Size,
        fps: FrameRate,
        sound: Option<(&Recording, &Arc<[Passage]>)>,
        path: &Path,
        threads: usize,
    ) -> Result<Self, SinkError> {
        let level = allowed::level(codec, size, fps).map_err(refused)?;
        let file = TemporaryFile::create(path)?;
        let encoder = open_encoder(codec, size, fps, level, threads).map_err(|fault| refused(fault.to_string()))?;
        let sound = sound.map(|(recording, passages)| Soundtrack::open(recording, passages)).transpose().map_err(unheard)?;
        let timescale = timescale(fps);
        let options = [
            ("movflags", "faststart+write_colr".to_owned()),
            ("video_track_timescale", timescale.to_string()),
            // The lengths in the file's head count in this: in milliseconds most of them would be rounded.
            ("movie_timescale", sound.as_ref().map_or(timescale, |_| ticks_of_both(timescale)).to_string()),
        ];
        let settings = MuxerSettings { format: "mp4", fps, timescale, options: &options };
        let heard = sound.as_ref().map(Soundtrack::encoder);
        let muxer = Muxer::open(file.path(), &encoder, heard, &settings).map_err(|fault| failed(path, &fault))?;
        let packet = Packet::new().map_err(|fault| failed(path, &fault))?;
        let (path, load) = (path.to_owned(), Load::new(fps));
        Ok(Self { encoder, muxer, packet, file, path, size, fps, level, load, sound, given: 0, got: 0 })
    }

    fn write_packets(&mut self) -> Result<(), SinkError> {
        while self.encoder.receive(&mut self.packet).map_err(|fault| failed(&self.path, &fault))? {
            self.load.add(self.packet.bytes());
            if let Some(sound) = &mut self.sound {
                let due = samples_of(u64::try_from(self.packet.decoded()).unwrap_or(0), self.fps);
                sound.write_until(due, &mut self.muxer).map_err(|fault| failed(&self.path, &fault))?;
            }
            self.muxer.write(&mut self.packet).map_err(|fault| failed(&self.path, &fault))?;
            self.got += 1;
        }
        Ok(())
    }
}

impl Sink for H264Sink {
    fn kind(&self) -> FrameKind {
        FrameKind::Yuv420
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        let Pixels::Yuv420 { y, cb, cr } = &frame.pixels else {
            return Err(refused("it takes 4:2:0 frames and was handed another kind".to_owned()));
        };
        if frame.size != self.size {
            return Err(refused(format!("it was opened for {} and handed a frame of {}", self.size, frame.size)));
        }
        self.given += 1;
        self.encoder.send([y, cb, cr]).map_err(|fault| failed(&self.path, &fault))?;
        self.write_packets()
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        if self.given == 0 {
            return Err(refused("no frame was given".to_owned()));
        }
        self.encoder.flush().map_err(|fault| failed(&self.path, &fault))?;
        self.write_packets()?;
        let Self { mut muxer, file, path, size, fps, level, load, sound, given, got, .. } = *self;
        counted(&path, given, got)?;
        let samples = sound.is_some().then(|| samples_of(given, fps));
        let remarks = sound.zip(samples).map(|(sound, samples)| sound.finish(samples, &mut muxer)).transpose();
        let remarks = remarks.map_err(|fault| failed(&path, &fault))?.unwrap_or_default();
        muxer.finish().map_err(|fault| failed(&path, &fault))?;
        let heavy = load.level(level);
        if heavy != level {
            mp4::declare_level(file.path(), heavy.idc).map_err(|source| disk(&path, source))?;
        }
        let facts = ffmpeg::read_back(file.path(), "mov").map_err(|fault| failed(&path, &fault))?;
        counted(&path, given, facts.packets.len() as u64)?;
        as_promised(&facts, size, fps, heavy, samples).map_err(refused)?;
        let bytes = file.keep()?;
        Ok(Written { path, frames: given, bytes, remarks })
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

//! H.264 in MP4: libx264, High profile, exact constant rate, tags in stream and container, index first.

use std::path::{Path, PathBuf};

use super::level::{Level, Load, macroblocks};
use super::mp4;
use super::temporary::{TemporaryFile, disk};
use crate::ffi::ffmpeg::{self, Colour, Encoder, EncoderSettings, Fault, Muxer, MuxerSettings, Packet, StreamFacts};
use crate::picture::{Frame, FrameKind, Pixels};
use crate::shot::H264;
use crate::units::{FrameRate, Size};
use crate::work::{Sink, SinkError, Written};

/// FFmpeg's name of the encoder.
const ENCODER: &str = "libx264";
/// How messages name the codec.
const NAME: &str = "H.264";
/// Shortest side taken: one macroblock.
const SHORTEST: u32 = 16;
/// Longest side libx264 takes.
const LONGEST: u32 = 16_384;
/// Largest numerator or denominator of a rate: MP4 counts a frame's ticks, and H.264 a second's, in 32 bits.
const LARGEST_RATE_PART: u32 = 1_000_000;
/// `profile_idc` of High (ITU-T H.264 A.2.4, from memory).
const HIGH_PROFILE: i32 = 100;
/// Seconds from one key frame to the next at most.
const GROUP_SECONDS: u32 = 2;

/// Says why such a file cannot be made, in one line.
pub(super) fn preflight(codec: &H264, size: Size, fps: FrameRate) -> Result<(), String> {
    if !ffmpeg::encoder_exists(ENCODER) {
        return Err(format!(
            "H.264 needs FFmpeg with {ENCODER}, and this one has none: install Debian's libavcodec59 (sh scripts/demo does)"
        ));
    }
    if !(1.0..=51.0).contains(&codec.crf) {
        return Err(format!("crf {} is outside 1 to 51 (below 1 the stream is lossless, which High profile is not)", codec.crf));
    }
    size_allowed(size)?;
    if fps.numerator().max(fps.denominator()) > LARGEST_RATE_PART {
        return Err(format!("a frame rate of {fps}: H.264 takes fractions with numbers up to {LARGEST_RATE_PART}"));
    }
    let Some(level) = Level::smallest(size, fps) else {
        let (across, down) = macroblocks(size);
        #[expect(clippy::cast_precision_loss, reason = "for a message")]
        let most = Level::HIGHEST.rate as f64 / (across * down) as f64;
        return Err(format!("{size} at {fps} frames a second is too fast for H.264: at this size up to {most:.2}"));
    };
    open_encoder(codec, size, fps, level, 1).map(|_| ()).map_err(|fault| format!("the {NAME} encoder refuses: {fault}"))
}

fn size_allowed(size: Size) -> Result<(), String> {
    let shorter = size.width.min(size.height);
    let longer = size.width.max(size.height);
    if shorter < SHORTEST || longer > LONGEST {
        return Err(format!("a frame of {size} pixels: each side of an H.264 frame is {SHORTEST} to {LONGEST} pixels"));
    }
    if !size.width.is_multiple_of(2) || !size.height.is_multiple_of(2) {
        let even = Size::new(size.width.next_multiple_of(2), size.height.next_multiple_of(2));
        return Err(format!("a frame of {size} pixels: H.264's sides are even, {even} would do"));
    }
    if !Level::HIGHEST.holds_frame(size) {
        let (across, down) = macroblocks(size);
        return Err(format!(
            "a frame of {size} pixels is {} blocks of 16 x 16: H.264 takes up to {} and {} along one side",
            across * down,
            Level::HIGHEST.frame,
            Level::HIGHEST.longest_side()
        ));
    }
    Ok(())
}

/// Most frames from one key frame to the next: [`GROUP_SECONDS`], rounded down.
fn group(fps: FrameRate) -> u32 {
    (GROUP_SECONDS * fps.numerator() / fps.denominator()).max(1)
}

/// Ticks a second: a whole number of them a frame, and enough for players that want milliseconds.
fn timescale(fps: FrameRate) -> u32 {
    if fps.numerator() < 10_000 { fps.numerator() * 1000 } else { fps.numerator() }
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
    Encoder::open(&EncoderSettings { codec: ENCODER, size, fps, group: group(fps), level: level.idc, threads, options: &options })
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
    given: u64,
    got: u64,
}

impl H264Sink {
    pub(super) fn open(codec: &H264, size: Size, fps: FrameRate, path: &Path, threads: usize) -> Result<Self, SinkError> {
        let level =
            Level::smallest(size, fps).ok_or_else(|| refused(format!("{size} at {fps} frames a second: no level allows it")))?;
        let file = TemporaryFile::create(path)?;
        let encoder = open_encoder(codec, size, fps, level, threads).map_err(|fault| refused(fault.to_string()))?;
        let timescale = timescale(fps);
        let options = [
            ("movflags", "faststart+write_colr".to_owned()),
            ("video_track_timescale", timescale.to_string()),
            // The clip's length in the file's head counts in this too: in milliseconds most lengths would be rounded.
            ("movie_timescale", timescale.to_string()),
        ];
        let muxer = Muxer::open(file.path(), &encoder, &MuxerSettings { format: "mp4", fps, timescale, options: &options })
            .map_err(|fault| failed(path, &fault))?;
        let packet = Packet::new().map_err(|fault| failed(path, &fault))?;
        Ok(Self { encoder, muxer, packet, file, path: path.to_owned(), size, fps, level, load: Load::new(fps), given: 0, got: 0 })
    }

    fn write_packets(&mut self) -> Result<(), SinkError> {
        while self.encoder.receive(&mut self.packet).map_err(|fault| failed(&self.path, &fault))? {
            self.load.add(self.packet.bytes());
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
        let Self { muxer, file, path, size, fps, level, load, given, got, .. } = *self;
        counted(&path, given, got)?;
        muxer.finish().map_err(|fault| failed(&path, &fault))?;
        let heavy = load.level(level);
        if heavy != level {
            mp4::declare_level(file.path(), heavy.idc).map_err(|source| disk(&path, source))?;
        }
        let facts = ffmpeg::read_back(file.path(), "mov").map_err(|fault| failed(&path, &fault))?;
        counted(&path, given, facts.packets.len() as u64)?;
        as_promised(&facts, size, fps, heavy).map_err(refused)?;
        let bytes = file.keep()?;
        Ok(Written { path, frames: given, bytes })
    }
}

fn counted(path: &Path, given: u64, got: u64) -> Result<(), SinkError> {
    if given == got { Ok(()) } else { Err(SinkError::Count { path: path.to_owned(), given, got }) }
}

/// Holds a file read back against what a delivery promises: size, tags, and a frame at every tick that is due.
fn as_promised(facts: &StreamFacts, size: Size, fps: FrameRate, level: Level) -> Result<(), String> {
    let is = |what: &str, seen: String, due: String| {
        if seen == due { Ok(()) } else { Err(format!("the finished file is not right: {what} is {seen} where {due} is due")) }
    };
    is("its size", facts.size.to_string(), size.to_string())?;
    is("its profile", facts.profile.to_string(), HIGH_PROFILE.to_string())?;
    is("its level", facts.level.to_string(), level.idc.to_string())?;
    let bt709 = || Some("bt709".to_owned());
    let due = Colour { primaries: bt709(), transfer: bt709(), matrix: bt709(), range: Some("tv".to_owned()) };
    is("the container's colour", format!("{:?}", facts.container), format!("{due:?}"))?;
    is("the stream's colour", format!("{:?}", facts.stream), format!("{due:?}"))?;
    let timescale = timescale(fps);
    is("its time base", format!("{}/{}", facts.time_base.0, facts.time_base.1), format!("1/{timescale}"))?;
    let tick = i64::from(timescale / fps.numerator()) * i64::from(fps.denominator());
    is("the first time", facts.start.to_string(), "0".to_owned())?;
    let mut times: Vec<i64> = facts.packets.iter().map(|packet| packet.pts).collect();
    times.sort_unstable();
    let mut due = 0;
    for (index, time) in times.iter().enumerate() {
        is(&format!("the time of frame {index}"), time.to_string(), due.to_string())?;
        due += tick;
    }
    is("its length", facts.duration.to_string(), due.to_string())?;
    for (index, packet) in facts.packets.iter().enumerate() {
        is(&format!("the duration of packet {index}"), packet.duration.to_string(), tick.to_string())?;
    }
    let mut since_key = group(fps);
    for (index, packet) in facts.packets.iter().enumerate() {
        since_key = if packet.key { 0 } else { since_key + 1 };
        if since_key >= group(fps) {
            return Err(format!("the finished file is not right: no key frame in the {} packets to {index}", group(fps)));
        }
    }
    Ok(())
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

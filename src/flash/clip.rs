//! A finished clip, decoded to its end and looked at for flashes.
//!
//! What is coded decides: matrix and range of the stream's tags, times of its packets. Files of high dynamic range are
//! refused, for the limits say nothing of them.

use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use super::grid::Grid;
use super::means::{Averager, Meaning, Source, add_to};
use super::{Clock, Flashes, Seen};
use crate::decode::clip::{Clip, ClipError};
use crate::ffi::ffmpeg::{ColourCodes, DecodedFrame, Footage, FootageDecoder, FrameLayout, Packet, Received};
use crate::picture::Frame;
use crate::shoot::MOST_PIXELS;
use crate::units::{FrameRate, Size};

/// Who hears how far it is, and says when to stop.
#[derive(Debug, Default)]
pub struct Heard {
    /// Frames looked at so far.
    pub frames: AtomicU64,
    /// Set to stop.
    pub stop: AtomicBool,
}

/// A clip that was looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Watched {
    /// Frame size in pixels.
    pub size: Size,
    /// Frames a second; none where they have no constant rate.
    pub rate: Option<FrameRate>,
    /// What was seen.
    pub seen: Seen,
    /// Why not all of it could be looked at, where that is so.
    pub short: Option<String>,
}

/// Why a clip could not be looked at.
#[derive(Debug, thiserror::Error)]
pub enum Unseen {
    /// It cannot be opened.
    #[error(transparent)]
    Clip(#[from] ClipError),
    /// There is none in it.
    #[error("there is no frame in it")]
    NoFrames,
    /// A folder of pictures says nothing of their rate.
    #[error("a folder of frames does not say how many are shown a second")]
    NoRate,
    /// High dynamic range.
    #[error("it is coded for high dynamic range ({0}), for which these limits say nothing")]
    HighRange(&'static str),
    /// Its samples are of a kind that is not read.
    #[error("its samples are {0}, which are not read")]
    Samples(String),
    /// Somebody asked for a stop.
    #[error("interrupted")]
    Stopped,
}

/// Decodes a clip, or the folder of a sequence, to its end and looks for flashes. `rate` is that of a sequence, `white` a
/// display's white in cd/m².
///
/// # Errors
/// [`Unseen`]; a clip that ends too early is none, see [`Watched::short`].
pub fn watch_clip(path: &Path, rate: Option<FrameRate>, white: Option<f64>, heard: &Heard) -> Result<Watched, Unseen> {
    watch_from(path, rate, white, 0, heard)
}

/// The same of its frames from one on, counted from 0: of a clip whose first frame is shown at 0.
///
/// # Errors
/// As [`watch_clip`].
pub fn watch_from(
    path: &Path,
    rate: Option<FrameRate>,
    white: Option<f64>,
    from: u64,
    heard: &Heard,
) -> Result<Watched, Unseen> {
    if path.is_dir() {
        return sequence(path, rate.ok_or(Unseen::NoRate)?, white, from, heard);
    }
    video(path, white, from, heard)
}

/// A frame size's way from samples to flashes.
struct Eyes {
    size: Size,
    averager: Averager,
    flashes: Flashes,
}

impl Eyes {
    fn new(size: Size, clock: Clock, white: Option<f64>, from: u64) -> Self {
        let averager = Averager::new(Grid::of(size), white);
        Self { size, averager, flashes: Flashes::new(size, clock, white).from_frame(from) }
    }

    fn see(&mut self, source: &impl Source, meaning: Meaning, time: i64, heard: &Heard) {
        self.flashes.see(self.averager.see(source, meaning), time);
        heard.frames.fetch_add(1, Ordering::Relaxed);
    }
}

fn sequence(path: &Path, rate: FrameRate, white: Option<f64>, from: u64, heard: &Heard) -> Result<Watched, Unseen> {
    let kind = Clip::kind_in(path, true).ok_or(Unseen::NoFrames)?;
    let mut clip = Clip::open(path, kind, true)?;
    let (size, clock) = (clip.facts().size, Clock::of(rate));
    let mut eyes = Eyes::new(size, clock, white, from);
    clip.pass_over(usize::try_from(from).unwrap_or(usize::MAX));
    let (mut frames, mut short) = (i64::try_from(from).unwrap_or(i64::MAX), None);
    while let Some(came) = clip.next().map_err(ClipError::NoVideo)? {
        if heard.stop.load(Ordering::Relaxed) {
            return Err(Unseen::Stopped);
        }
        match came.frame {
            Ok(frame) if frame.size == size => eyes.see(&frame, Meaning::Rgb, frames * clock.frame, heard),
            Ok(Frame { size, .. }) => short = Some(format!("frame {frames} is {size}")),
            Err(why) => short = Some(format!("frame {frames}: {why}")),
        }
        if short.is_some() {
            break;
        }
        frames += 1;
    }
    if frames == 0 {
        return Err(short.map_or(Unseen::NoFrames, |why| ClipError::NoVideo(why).into()));
    }
    Ok(Watched { size, rate: Some(rate), seen: eyes.flashes.finish(), short })
}

fn video(path: &Path, white: Option<f64>, from: u64, heard: &Heard) -> Result<Watched, Unseen> {
    let about = std::fs::metadata(path).map_err(ClipError::from)?;
    if !about.is_file() {
        return Err(ClipError::SomethingElse("it is neither a file nor a folder").into());
    }
    // Asked first: FFmpeg's words for it are its own.
    std::fs::File::open(path).map_err(ClipError::from)?;
    let said = |fault: crate::ffi::ffmpeg::Fault| match fault.system() {
        Some(error) => ClipError::Unreadable(error.to_string()),
        None => ClipError::NoVideo(fault.to_string()),
    };
    let mut footage = Footage::open(path).map_err(said)?;
    let facts = footage.facts();
    if facts.size.pixels() > MOST_PIXELS {
        return Err(ClipError::NoVideo(format!("its header says its frames are {}", facts.size)).into());
    }
    let mut decoder = FootageDecoder::open_quick(&footage).map_err(said)?;
    let mut packet = Packet::new().map_err(said)?;
    let rate = facts.rate.and_then(|(numerator, denominator)| FrameRate::new(numerator, denominator).ok());
    let mut times = Times::new(rate, facts.time_base);
    if from > 0 {
        footage.seek(times.begin(from)).map_err(said)?;
    }
    let (mut eyes, mut frames, mut ended, mut short): (Option<Eyes>, u64, bool, Option<String>) =
        (None, from, false, None);
    loop {
        if heard.stop.load(Ordering::Relaxed) {
            return Err(Unseen::Stopped);
        }
        match decoder.receive() {
            Ok(Received::Frame) => {
                let frame = decoder.frame();
                let layout = frame.layout().map_err(Unseen::Samples)?;
                let decoded = Decoded { frame, layout };
                let meaning = decoded.meaning(frame.colour())?;
                if frame.is_damaged() {
                    short.get_or_insert_with(|| format!("frame {frames} is damaged"));
                }
                let time = times.next(frame.shown());
                if times.frame(time) < from {
                    continue;
                }
                let eyes = eyes.get_or_insert_with(|| Eyes::new(frame.size(), times.clock, white, from));
                if frame.size() != eyes.size {
                    short.get_or_insert(format!("frame {frames} is {}, the ones before {}", frame.size(), eyes.size));
                    break;
                }
                eyes.see(&decoded, meaning, time, heard);
                frames += 1;
            }
            Ok(Received::End) => break,
            Ok(Received::Hungry) if ended => break,
            Ok(Received::Hungry) => match footage.read(&mut packet) {
                Ok(Some(read)) => {
                    if read.broken {
                        short.get_or_insert_with(|| "its data is cut short".into());
                    }
                    if let Err(fault) = decoder.send(Some(&packet), true) {
                        short.get_or_insert_with(|| fault.to_string());
                    }
                }
                Ok(None) => {
                    ended = true;
                    // What is left comes out; an end told twice is none.
                    let _told = decoder.send(None, true);
                }
                Err(fault) => {
                    short.get_or_insert_with(|| fault.to_string());
                    break;
                }
            },
            Err(fault) => drop(short.get_or_insert_with(|| fault.to_string())),
        }
    }
    let Some(eyes) = eyes else { return Err(short.map_or(Unseen::NoFrames, |why| ClipError::NoVideo(why).into())) };
    if let Some(promised) = facts.promised.filter(|promised| *promised > frames) {
        short = Some(format!("its index promises {promised} frames, and {frames} can be decoded"));
    }
    Ok(Watched { size: eyes.size, rate: rate.filter(|_| times.even), seen: eyes.flashes.finish(), short })
}

/// The exact time of every frame.
struct Times {
    clock: Clock,
    /// Ticks of a tick of the container.
    tick: i64,
    first: Option<i64>,
    last: Option<i64>,
    /// Whether all frames came at their rate.
    even: bool,
    /// Whether the next frame is one in the middle of a clip.
    begins: bool,
}

impl Times {
    /// For frames at about a constant rate, where one is given, in a container's time base.
    fn new(rate: Option<FrameRate>, (numerator, denominator): (u32, u32)) -> Self {
        let (base, ticks) = (i64::from(denominator), i64::from(numerator));
        let (clock, tick) = match rate {
            Some(rate) => {
                let (frames, seconds) = (i64::from(rate.numerator()), i64::from(rate.denominator()));
                (Clock { second: frames * base, frame: seconds * base }, ticks * frames)
            }
            None => (Clock { second: base, frame: ticks }, ticks),
        };
        Self { clock, tick, first: None, last: None, even: rate.is_some(), begins: false }
    }

    /// Lets frames begin somewhere before this one, of a clip whose first is shown at 0: the tick to go to, two of the
    /// longest groups of pictures that clips have here before it.
    fn begin(&mut self, frame: u64) -> i64 {
        const BEFORE: i64 = 4;
        let time = i64::try_from(frame).unwrap_or(i64::MAX).saturating_mul(self.clock.frame);
        self.first = Some(0);
        self.begins = true;
        time.saturating_sub(BEFORE * self.clock.second).max(0) / self.tick.max(1)
    }

    /// Which frame is shown then.
    fn frame(&self, time: i64) -> u64 {
        u64::try_from((time + self.clock.frame / 2) / self.clock.frame.max(1)).unwrap_or(0)
    }

    /// When the next frame is shown: in steps of whole frames where its container's rounding allows it.
    fn next(&mut self, shown: Option<i64>) -> i64 {
        let mut due = self.last.map_or(0, |last| last.saturating_add(self.clock.frame));
        let Some(shown) = shown else {
            self.last = Some(due);
            return due;
        };
        let first = *self.first.get_or_insert(shown);
        let exact = i128::from(shown).saturating_sub(i128::from(first)).saturating_mul(i128::from(self.tick));
        let frame = i128::from(self.clock.frame);
        let whole = (exact + frame / 2).div_euclid(frame) * frame;
        let time = if self.even && 4 * (exact - whole).abs() <= frame { whole } else { exact };
        let time = i64::try_from(time).unwrap_or(i64::MAX).max(self.last.unwrap_or(0));
        if std::mem::take(&mut self.begins) {
            due = time;
        }
        self.even &= time == due;
        self.last = Some(time);
        time
    }
}

/// A decoded frame with how its samples lie.
struct Decoded<'a> {
    frame: DecodedFrame<'a>,
    layout: FrameLayout,
}

impl Decoded<'_> {
    /// What its samples mean, by its tags (numbers of ITU-T H.273).
    fn meaning(&self, colour: ColourCodes) -> Result<Meaning, Unseen> {
        match colour.transfer {
            16 => return Err(Unseen::HighRange("PQ")),
            18 => return Err(Unseen::HighRange("HLG")),
            _ => (),
        }
        if self.layout.rgb {
            return Ok(Meaning::Rgb);
        }
        let weights = match colour.matrix {
            5 | 6 => (0.299, 0.114),
            9 | 10 => (0.2627, 0.0593),
            // Nothing said: by the size, as players do (common practice, no source).
            2 if self.frame.size().height < 720 => (0.299, 0.114),
            _ => (0.2126, 0.0722),
        };
        let full = if self.layout.components.len() == 1 { colour.range != 1 } else { colour.range == 2 };
        Ok(Meaning::Video { weights, full })
    }
}

impl Source for Decoded<'_> {
    fn depth(&self) -> u32 {
        self.layout.components.first().map_or(8, |component| component.depth)
    }

    fn components(&self) -> usize {
        self.layout.components.len()
    }

    fn spacing(&self, component: usize) -> (u32, u32) {
        self.layout.components[component].spacing
    }

    fn add(&self, component: usize, row: u32, sums: &mut Vec<u32>) {
        let component = &self.layout.components[component];
        let bytes = self.frame.row(component, row);
        if component.depth + component.shift > 8 {
            let word = |word: &[u8]| u32::from(u16::from_le_bytes([word[0], word[1]]) >> component.shift);
            match component.step {
                2 => add_to(sums, bytes.as_chunks::<2>().0.iter().map(|bytes| word(bytes))),
                step => add_to(sums, bytes.chunks(step).map(word)),
            }
        } else if component.step == 1 {
            add_to(sums, bytes.iter().map(|code| u32::from(*code)));
        } else {
            add_to(sums, bytes.iter().step_by(component.step).map(|code| u32::from(*code)));
        }
    }

    fn bytes(&self, component: usize, row: u32) -> Option<&[u8]> {
        let of = &self.layout.components[component];
        (of.depth + of.shift <= 8 && of.step == 1).then(|| self.frame.row(of, row))
    }
}

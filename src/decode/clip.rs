//! A finished clip decoded to its end, frame after frame, for proofs: the way of recordings and stills, which no
//! encoder shares.
//!
//! In comes a file or the folder of a sequence; out go facts of its container and every frame in the order of showing,
//! as the kind of frame that its encoder was given. Whatever the header promises, only what is decoded counts.

mod frames;

pub use frames::ENDINGS;

use std::collections::VecDeque;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use crate::ffi::ffmpeg::{Component, DecodedFrame, Footage, FootageDecoder, FrameLayout, Packet, Received};
use crate::picture::{Chroma, Frame, FrameKind, Model, Picture, Pixels, Plane, Profile, Samples, Siting};
use crate::shoot::{MOST_PIXELS, Orientation};
use crate::units::Size;

pub use crate::ffi::ffmpeg::Colour as Tags;

/// What a clip's container says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipFacts {
    /// The codec's name.
    pub codec: String,
    /// Frames as stored, in samples.
    pub size: Size,
    /// A sample's width by its height.
    pub aspect: (u32, u32),
    /// How frames are turned to be shown; none where they are by something else than quarters and mirrors.
    pub turned: Option<Orientation>,
    /// Whether frames are two fields.
    pub interlaced: bool,
    /// A tick in seconds, as numerator and denominator.
    pub time_base: (u32, u32),
    /// Frames a second as the container gives them, as numerator and denominator.
    pub rate: Option<(u32, u32)>,
    /// Frames that the header promises.
    pub promised: Option<u64>,
    /// Colour tags of the container alone.
    pub tags: Tags,
    /// Whether there is sound beside the pictures.
    pub sound: bool,
    /// Frames as the container alone says, where it does.
    pub told: Option<Size>,
    /// Seconds that it lasts by its header: by its track, and by the whole file.
    pub lasts: [Option<f64>; 2],
}

/// One frame that came out.
#[derive(Debug)]
pub struct ClipFrame {
    /// When it is shown, in ticks; none where nothing says so.
    pub shown: Option<i64>,
    /// Colour tags of the stream alone.
    pub tags: Tags,
    /// What the decoder found wrong on the way to it.
    pub damage: Option<String>,
    /// Its samples; or what they are, where they are not of the kind due.
    pub frame: Result<Frame, String>,
}

/// Why a clip cannot be decoded.
#[derive(Debug, thiserror::Error)]
pub enum ClipError {
    /// There is none.
    #[error("it does not exist")]
    NotThere,
    /// Something else has its name.
    #[error("{0}")]
    SomethingElse(&'static str),
    /// The system does not give it.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
    /// FFmpeg makes nothing of it.
    #[error("no video can be made of it: {0}")]
    NoVideo(String),
}

impl From<io::Error> for ClipError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Self::NotThere,
            _ => Self::Unreadable(error.to_string()),
        }
    }
}

/// A clip being decoded.
#[derive(Debug)]
pub struct Clip {
    facts: ClipFacts,
    kind: FrameKind,
    from: Source,
}

#[derive(Debug)]
enum Source {
    Video(Box<Video>),
    Sequence { folder: PathBuf, ending: &'static str, left: VecDeque<u64> },
}

#[derive(Debug)]
struct Video {
    footage: Footage,
    decoder: FootageDecoder,
    packet: Packet,
    /// What went wrong since the last frame came.
    damage: Option<String>,
    ended: bool,
}

impl Clip {
    /// Opens a file, or the folder of a sequence, whose frames are of a kind.
    ///
    /// # Errors
    /// [`ClipError`]; nothing but a regular file, or a folder of such, is opened.
    pub fn open(path: &Path, kind: FrameKind, sequence: bool) -> Result<Self, ClipError> {
        let about = fs::metadata(path)?;
        match (about.is_dir(), about.is_file(), sequence) {
            (true, _, true) => Self::sequence(path, kind),
            (_, true, false) => Self::video(path, kind),
            (true, ..) => Err(ClipError::SomethingElse("a folder is in its place")),
            (_, true, true) => Err(ClipError::SomethingElse("a file is in the place of its folder")),
            _ => Err(ClipError::SomethingElse("it is neither a file nor a folder")),
        }
    }

    /// Passes over the first frames of a sequence, without reading them.
    pub fn pass_over(&mut self, frames: usize) {
        if let Source::Sequence { left, .. } = &mut self.from {
            left.drain(..frames.min(left.len()));
        }
    }

    /// What kind of frame a file, or the folder of a sequence, seems to hold: for those of which nothing else tells.
    #[must_use]
    pub fn kind_in(path: &Path, sequence: bool) -> Option<FrameKind> {
        if sequence {
            let first = fs::read_dir(path).ok()?.flatten().filter_map(|entry| number(&entry.path())).min()?;
            return Some(frames::kind(&frame_in(path, first.0, first.1), first.1));
        }
        let layout = Footage::open(path).ok()?.layout_name();
        Some(match layout.as_str() {
            "yuv420p10le" => FrameKind::Yuv10(Chroma::Quarter),
            "yuv422p10le" => FrameKind::Yuv10(Chroma::Half),
            "yuv444p10le" | "yuv444p12le" => FrameKind::Yuv10(Chroma::Full),
            "gbrp16le" => FrameKind::Rgb16,
            _ => FrameKind::Yuv420,
        })
    }

    fn video(path: &Path, kind: FrameKind) -> Result<Self, ClipError> {
        // Asked first: FFmpeg's words for it are its own.
        File::open(path)?;
        let said = |fault: crate::ffi::ffmpeg::Fault| match fault.system() {
            Some(error) => ClipError::Unreadable(error.to_string()),
            None => ClipError::NoVideo(fault.to_string()),
        };
        let footage = Footage::open(path).map_err(said)?;
        let about = footage.facts();
        if about.size.pixels() > MOST_PIXELS {
            return Err(ClipError::NoVideo(format!("its header says its frames are {}", about.size)));
        }
        let (tags, told) = footage.told();
        let facts = ClipFacts {
            codec: about.codec,
            size: about.size,
            aspect: about.aspect,
            turned: about.matrix.map_or(Some(Orientation::Upright), Orientation::from_matrix),
            interlaced: about.interlaced,
            time_base: about.time_base,
            rate: about.rate,
            promised: about.promised,
            tags,
            sound: about.sound.is_some(),
            told: Some(told).filter(|size| size.pixels() > 0),
            lasts: footage.lasts(),
        };
        let decoder = FootageDecoder::open_untold(&footage).map_err(said)?;
        let packet = Packet::new().map_err(said)?;
        Ok(Self {
            facts,
            kind,
            from: Source::Video(Box::new(Video { footage, decoder, packet, damage: None, ended: false })),
        })
    }

    /// Frames are numbered by their files: `000000.png` on.
    fn sequence(folder: &Path, kind: FrameKind) -> Result<Self, ClipError> {
        let mut left = Vec::new();
        for entry in fs::read_dir(folder)? {
            left.extend(number(&entry?.path()));
        }
        left.sort_unstable();
        let ending = left.first().map_or("png", |(_, ending)| *ending);
        let left: VecDeque<u64> = left.iter().filter(|(_, own)| *own == ending).map(|(number, _)| *number).collect();
        let size = match left.front() {
            Some(first) => frames::size(&frame_in(folder, *first, ending), ending),
            None => Err("it holds no frame".into()),
        };
        let facts = ClipFacts {
            codec: frames::codec(ending).into(),
            size: size.map_err(ClipError::NoVideo)?,
            aspect: (1, 1),
            turned: Some(Orientation::Upright),
            interlaced: false,
            time_base: (1, 1),
            rate: None,
            promised: Some(left.len() as u64),
            tags: Tags::default(),
            sound: false,
            told: None,
            lasts: [None; 2],
        };
        Ok(Self { facts, kind, from: Source::Sequence { folder: folder.to_owned(), ending, left } })
    }

    /// What the container says.
    #[must_use]
    pub fn facts(&self) -> &ClipFacts {
        &self.facts
    }

    /// The next frame; nothing after the last.
    ///
    /// # Errors
    /// Why the rest cannot be had.
    #[expect(clippy::should_implement_trait, reason = "a clip that fails is at its end")]
    pub fn next(&mut self) -> Result<Option<ClipFrame>, String> {
        match &mut self.from {
            Source::Video(video) => video.next(self.kind),
            Source::Sequence { folder, ending, left } => {
                let Some(number) = left.pop_front() else { return Ok(None) };
                let path = frame_in(folder, number, ending);
                let (frame, tags) = match frames::read(&path, ending, self.kind) {
                    Ok((frame, tags)) => (Ok(frame), tags),
                    Err(why) => (Err(why), Tags::default()),
                };
                Ok(Some(ClipFrame { shown: i64::try_from(number).ok(), tags, damage: None, frame }))
            }
        }
    }
}

impl Video {
    fn next(&mut self, kind: FrameKind) -> Result<Option<ClipFrame>, String> {
        loop {
            match self.decoder.receive() {
                Ok(Received::Frame) => {
                    if self.decoder.met_errors() || self.decoder.frame().is_damaged() {
                        self.damage.get_or_insert_with(|| "its data is damaged".into());
                    }
                    let frame = self.decoder.frame();
                    let damage = self.damage.take();
                    return Ok(Some(ClipFrame {
                        shown: frame.shown(),
                        tags: frame.tags(),
                        damage,
                        frame: as_frame(frame, kind),
                    }));
                }
                Ok(Received::End) => return Ok(None),
                Ok(Received::Hungry) if self.ended => return Ok(None),
                Ok(Received::Hungry) => self.feed()?,
                // The frame is lost; what comes after it may be made of it.
                Err(fault) => drop(self.damage.get_or_insert(fault.to_string())),
            }
        }
    }

    fn feed(&mut self) -> Result<(), String> {
        match self.footage.read(&mut self.packet).map_err(|fault| fault.to_string())? {
            Some(packet) => {
                if packet.broken {
                    self.damage.get_or_insert_with(|| "its data is cut short".into());
                }
                if let Err(fault) = self.decoder.send(Some(&self.packet), true) {
                    self.damage.get_or_insert(fault.to_string());
                }
            }
            None => {
                self.ended = true;
                // What is left comes out; an end told twice is none.
                let _told = self.decoder.send(None, true);
            }
        }
        Ok(())
    }
}

/// A decoded frame as an encoder takes it; or what it is, where it is of another kind.
fn as_frame(decoded: DecodedFrame<'_>, kind: FrameKind) -> Result<Frame, String> {
    let size = decoded.size();
    let layout = decoded.layout().map_err(|name| format!("its samples are {name}"))?;
    let [first, others @ ..] = &layout.components[..] else { return Err("it has no samples".into()) };
    let spacing = others.first().map_or((1, 1), |second| second.spacing);
    let described = || {
        let colours = match (layout.components.len(), layout.rgb) {
            (1, _) => "grey".to_owned(),
            (_, true) => "red, green and blue".to_owned(),
            (_, false) => format!("luma with chroma at every {} by {}", spacing.0, spacing.1),
        };
        format!("its samples are {colours} of {} bits", first.depth)
    };
    let code = |sample: &[u8], shift: u32| match sample {
        [low, high, ..] => u16::from_le_bytes([*low, *high]) >> shift,
        [low] => u16::from(*low) >> shift,
        [] => 0,
    };
    match kind {
        FrameKind::Yuv420 => {
            if layout.rgb || layout.components.len() != 3 || first.depth != 8 || spacing != (2, 2) {
                return Err(described());
            }
            let plane = |index: usize| {
                let component = &layout.components[index];
                let mut plane = Vec::with_capacity(component.width as usize * component.height as usize);
                for row in 0..component.height {
                    plane.extend(decoded.row(component, row).iter().step_by(component.step));
                }
                plane
            };
            Ok(Frame { size, pixels: Pixels::Yuv420 { y: plane(0), cb: plane(1), cr: plane(2) } })
        }
        FrameKind::Yuv10(chroma) => {
            // Some decoders give deeper samples than there are.
            let deeper = first.depth.checked_sub(10);
            let Some(deeper) = deeper.filter(|_| !layout.rgb && layout.components.len() == 3) else {
                return Err(described());
            };
            if spacing != chroma.spacing() {
                return Err(described());
            }
            let plane = |index: usize| {
                let component = &layout.components[index];
                let mut plane = Vec::with_capacity(component.width as usize * component.height as usize);
                for row in 0..component.height {
                    let samples = decoded.row(component, row).chunks(component.step);
                    plane.extend(samples.map(|sample| code(sample, component.shift + deeper)));
                }
                plane
            };
            Ok(Frame { size, pixels: Pixels::Yuv10 { chroma, y: plane(0), cb: plane(1), cr: plane(2) } })
        }
        FrameKind::Rgb8 => Err(described()),
        FrameKind::Rgb16 => {
            if !layout.rgb || layout.components.len() != 3 || first.depth != 16 {
                return Err(described());
            }
            let mut samples = vec![0; 3 * size.width as usize * size.height as usize];
            for (colour, component) in layout.components.iter().enumerate() {
                for row in 0..component.height {
                    let into = &mut samples[3 * row as usize * size.width as usize..][..3 * size.width as usize];
                    let from = decoded.row(component, row);
                    for (index, sample) in into.iter_mut().skip(colour).step_by(3).enumerate() {
                        *sample = code(&from[index * component.step..][..2], component.shift);
                    }
                }
            }
            Ok(Frame { size, pixels: Pixels::Rgb16(samples) })
        }
        FrameKind::Planes => Ok(Frame { size, pixels: Pixels::Planes(planes(decoded, &layout)) }),
    }
}

/// A master's planes, as they were coded: what they stand for is its sidecar's to say.
fn planes(decoded: DecodedFrame<'_>, layout: &FrameLayout) -> Picture {
    let size = decoded.size();
    let plane = |component: &Component| {
        let (width, height) = (component.width, component.height);
        let rows = (0..height).map(|row| decoded.row(component, row));
        let samples = if component.depth > 8 {
            // Codes of 10 bits stand on the scale of 16.
            let most = (1_u64 << component.depth) - 1;
            let full = |code: u16| u16::try_from(u64::from(code) * 65_535 / most).unwrap_or(u16::MAX);
            let code = |bytes: &[u8]| u16::from_le_bytes([bytes[0], bytes[1]]) >> component.shift;
            Samples::Sixteen(rows.flat_map(|row| row.chunks(component.step).map(|bytes| full(code(bytes)))).collect())
        } else {
            Samples::Eight(rows.flat_map(|row| row.iter().step_by(component.step).copied()).collect())
        };
        Plane { samples, width, height, stride: width as usize, siting: Siting::FULL }
    };
    let model = if layout.rgb {
        Model::Rgb
    } else if layout.components.len() == 1 {
        Model::Grey
    } else {
        Model::YCbCr601
    };
    let planes = layout.components.iter().map(plane).collect();
    Picture { size, model, planes, profile: Profile::Srgb, first_row: 0, end_row: size.height }
}

/// The file of a frame in a sequence's folder.
#[must_use]
pub fn frame_in(folder: &Path, number: u64, ending: &str) -> PathBuf {
    folder.join(format!("{number:06}.{ending}"))
}

/// How names of a sequence's files end, by the name of its codec.
#[must_use]
pub fn ending_of(codec: &str) -> &'static str {
    frames::ENDINGS.into_iter().find(|ending| frames::codec(ending) == codec).unwrap_or("png")
}

/// The number of a frame's file, as [`frame_in`] calls it, and how its name ends.
fn number(path: &Path) -> Option<(u64, &'static str)> {
    let (digits, ending) = path.file_name()?.to_str()?.rsplit_once('.')?;
    let ending = frames::ENDINGS.into_iter().find(|known| *known == ending)?;
    let number = digits.bytes().all(|digit| digit.is_ascii_digit()).then(|| digits.parse::<u64>().ok())??;
    (digits == format!("{number:06}")).then_some((number, ending))
}

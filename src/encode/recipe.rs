//! What makes one codec's files differ from another's: everything that [`super::clip`] has to know of it.

use std::path::Path;

use super::level::Declaration;
use super::soft::Steps;
use crate::ffi::ffmpeg::{self, ColourCodes, Encoder, EncoderSettings, Fault, FrameFormat, StreamFacts};
use crate::picture::FrameKind;
use crate::units::{FrameRate, Size};

/// How files of a codec are made.
#[derive(Debug, Clone)]
pub(super) struct Recipe {
    /// How messages name the codec.
    pub(super) name: &'static str,
    /// FFmpeg's name of the encoder.
    pub(super) encoder: &'static str,
    /// FFmpeg's name of the codec.
    pub(super) codec: &'static str,
    /// What kind of frame the encoder is given.
    pub(super) kind: FrameKind,
    /// FFmpeg's name of how those samples lie.
    pub(super) layout: &'static str,
    /// FFmpeg's name of how its decoder gives them.
    pub(super) decoded: &'static str,
    /// Most frames from one key frame to the next.
    pub(super) group: u32,
    /// What the encoder is told to declare: a level, a version; 0 where that is its own affair.
    pub(super) level: u8,
    /// Most threads it is given.
    pub(super) most_threads: usize,
    /// The encoder's own options by name.
    pub(super) options: Vec<(&'static str, String)>,
    /// How much finer soft and calm places are quantised, where the encoder can be told.
    pub(super) finer: Option<Steps>,
    /// What the packets are put into.
    pub(super) container: Container,
    /// The profile that the file has to declare, by FFmpeg's number, where there is one.
    pub(super) profile: Option<i32>,
    /// What the file may declare of its weight, the lightest first, which the encoder itself declares; nothing where
    /// the codec has no such limits.
    pub(super) declarations: Vec<Declaration>,
}

/// What packets are put into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Container {
    Mp4,
    QuickTime,
    Matroska,
}

impl Container {
    /// FFmpeg's name of its writer.
    pub(super) fn writer(self) -> &'static str {
        match self {
            Self::Mp4 => "mp4",
            Self::QuickTime => "mov",
            Self::Matroska => "matroska",
        }
    }

    /// FFmpeg's name of its reader.
    fn reader(self) -> &'static str {
        match self {
            Self::Mp4 | Self::QuickTime => "mov",
            Self::Matroska => "matroska",
        }
    }

    /// How names of its files end.
    pub(super) fn ending(self) -> &'static str {
        match self {
            Self::Mp4 => "mp4",
            Self::QuickTime => "mov",
            Self::Matroska => "mkv",
        }
    }

    /// Reads a file back.
    pub(super) fn read_back(self, path: &Path) -> Result<StreamFacts, Fault> {
        ffmpeg::read_back(path, self.reader())
    }

    /// What a file says of its colours: the container, and the stream.
    pub(super) fn colours(self, path: &Path) -> Result<[ffmpeg::Colour; 2], Fault> {
        ffmpeg::colours(path, self.reader())
    }
}

impl Recipe {
    /// What values of the frames mean, by ITU-T H.273's numbers.
    pub(super) fn colour(&self) -> ColourCodes {
        match self.kind {
            FrameKind::Rgb8 | FrameKind::Rgb16 | FrameKind::Planes => {
                ColourCodes { primaries: 1, transfer: 13, matrix: 0, range: 2, siting: 0 }
            }
            FrameKind::Yuv420 | FrameKind::Yuv10(_) => FrameFormat::BT709.colour,
        }
    }

    /// Opens an encoder.
    pub(super) fn open(&self, size: Size, fps: FrameRate, threads: usize) -> Result<Encoder, Fault> {
        self.open_at(size, fps, threads, None)
    }

    /// Opens an encoder, at another rate factor where one is given.
    pub(super) fn open_at(
        &self,
        size: Size,
        fps: FrameRate,
        threads: usize,
        crf: Option<f64>,
    ) -> Result<Encoder, Fault> {
        let mut options = self.options.clone();
        for (_, value) in options.iter_mut().filter(|(name, _)| *name == "crf") {
            *value = crf.map_or_else(|| value.clone(), |crf| crf.to_string());
        }
        Encoder::open(&EncoderSettings {
            codec: self.encoder,
            format: FrameFormat { layout: self.layout, colour: self.colour() },
            size,
            fps,
            group: self.group,
            level: self.level,
            threads: threads.clamp(1, self.most_threads),
            options: &options,
        })
    }

    /// Says why such files cannot be made here, in one line: the encoder is not there, or refuses.
    pub(super) fn preflight(&self, size: Size, fps: FrameRate) -> Result<(), String> {
        present(self.encoder, self.name)?;
        self.open(size, fps, 1).map(|_| ()).map_err(|fault| format!("the {} encoder: {fault}", self.name))
    }
}

/// Says that an encoder is not there, and what is near.
pub(super) fn present(encoder: &str, name: &str) -> Result<(), String> {
    if ffmpeg::encoder_exists(encoder) {
        return Ok(());
    }
    let there: Vec<&str> =
        ENCODERS.into_iter().filter(|(own, _)| ffmpeg::encoder_exists(own)).map(|(_, word)| word).collect();
    let there = if there.is_empty() { String::new() } else { format!("; this one encodes {}", there.join(", ")) };
    Err(format!("this FFmpeg has no {encoder}, which {name} needs: install Debian's libavcodec59, which has it{there}"))
}

/// The encoders that there may be, and the words by which scripts ask for them.
const ENCODERS: [(&str, &str); 6] = [
    ("libx264", "\"h264\""),
    ("libx265", "\"hevc\""),
    ("libsvtav1", "\"av1\""),
    ("prores_ks", "\"prores\""),
    ("dnxhd", "\"dnxhr\""),
    ("ffv1", "\"ffv1\""),
];

/// Refuses sides that are not even where chroma is coarser than luma.
pub(super) fn even_sides(name: &str, size: Size, (across, down): (u32, u32)) -> Result<(), String> {
    if size.width.is_multiple_of(across) && size.height.is_multiple_of(down) {
        return Ok(());
    }
    let even = Size::new(size.width.next_multiple_of(across), size.height.next_multiple_of(down));
    let what = if down == 1 { "an even width" } else { "even sides" };
    Err(format!("a frame of {size} pixels: {name} needs {what}, such as {even}"))
}

/// Refuses frames whose sides are not within these.
pub(super) fn sides_within(name: &str, size: Size, (shortest, longest): (Size, Size)) -> Result<(), String> {
    let fits = (shortest.width..=longest.width).contains(&size.width)
        && (shortest.height..=longest.height).contains(&size.height);
    if fits {
        return Ok(());
    }
    Err(format!("a frame of {size} pixels: {name} takes {shortest} to {longest}"))
}

/// Refuses rates that the container cannot count.
pub(super) fn rate_within(name: &str, fps: FrameRate) -> Result<(), String> {
    if fps.numerator().max(fps.denominator()) > LARGEST_RATE_PART {
        return Err(format!("a frame rate of {fps}: {name} takes fractions with numbers up to {LARGEST_RATE_PART}"));
    }
    Ok(())
}

/// Largest numerator or denominator of a rate: MP4 counts a frame's ticks, and streams a second's, in 32 bits.
const LARGEST_RATE_PART: u32 = 1_000_000;

/// Refuses a cap that is no cap.
pub(super) fn cap_within(name: &str, most: Option<u64>) -> Result<(), String> {
    match most {
        Some(bits) if bits < SMALLEST_CAP => {
            Err(format!("most = {bits} bits a second: {name} needs at least {SMALLEST_CAP}, such as most = \"12M\""))
        }
        _ => Ok(()),
    }
}

/// Says that no level carries so many bits a second.
pub(super) fn too_heavy(name: &str, most: Option<u64>, heaviest: u64) -> String {
    format!("most = {} bits a second: no level of {name} carries more than {heaviest}", most.unwrap_or(0))
}

/// Bits a second below which no encoder keeps a picture.
const SMALLEST_CAP: u64 = 50_000;
